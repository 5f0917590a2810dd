//! Plans rebuilt from nothing through the editor: every pattern by what the screen asks for, the demo on the real screen.
//!
//! A pattern is read as the editor would show it, typed in again field by field, and must mean the same.

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::edit_view::{PlanAsk, PlanEdit};
use evendraw::desk::model::Model;
use evendraw::desk::view::Ask;
use evendraw::plan::edit::Document;
use evendraw::plan::edit::fields::kind_of;
use evendraw::plan::edit::layout::{Node, Path};
use evendraw::plan::edit::value::{Takes, shown};
use evendraw::plan::{DEMO, Plan};

use crate::drive::{Driven, Folder, press, window};

/// Whoever works the editor.
trait Hand {
    fn edit(&self) -> &PlanEdit;
    fn add(&mut self, what: &str);
    fn select(&mut self, path: &str);
    fn type_in(&mut self, caption: &str, of: &str, key: &str, words: &str);
}

/// By what the screen asks for.
struct Asks(Model);

impl Asks {
    fn ask(&mut self, ask: PlanAsk) {
        self.0.carry_out(Ask::Plan(ask));
        self.0.tick(0.0);
    }
}

impl Hand for Asks {
    fn edit(&self) -> &PlanEdit {
        &self.0.view().edit
    }

    fn add(&mut self, what: &str) {
        self.ask(PlanAsk::Add(what.to_owned()));
    }

    fn select(&mut self, path: &str) {
        self.ask(PlanAsk::Select(path.to_owned()));
    }

    fn type_in(&mut self, _: &str, of: &str, key: &str, words: &str) {
        self.ask(PlanAsk::Set(
            of.to_owned(),
            key.to_owned(),
            words.to_owned(),
        ));
    }
}

/// By mouse and keyboard on the real screen.
struct Screen(Driven);

impl Screen {
    fn chord(&mut self, key: Key) {
        self.0.key_press_modifiers(Modifiers::COMMAND, key);
        self.0.step();
    }

    fn typed(&mut self, words: &str) {
        self.0.event(egui::Event::Text(words.to_owned()));
        self.0.step();
        self.0.step();
    }
}

impl Hand for Screen {
    fn edit(&self) -> &PlanEdit {
        &self.0.state().model.view().edit
    }

    fn add(&mut self, what: &str) {
        let words = self.edit().additions.iter().find(|own| own.what == what);
        let words = words.map(|own| format!("{} {}", own.words, own.about));
        let words = words.unwrap_or_else(|| panic!("{what} cannot be added"));
        self.chord(Key::N);
        self.0.step();
        self.typed(&words);
        press(&mut self.0, Key::Enter);
        self.0.step();
    }

    fn select(&mut self, path: &str) {
        // Up or down the outline, by key.
        let place = |edit: &PlanEdit, path: &str| {
            let at = edit.rows.iter().position(|row| row.path == path);
            at.unwrap_or_else(|| panic!("{path} is not in the outline"))
        };
        for _ in 0..200 {
            let edit = self.edit();
            if edit.at == path {
                return;
            }
            let key = if place(edit, path) < place(edit, &edit.at) {
                Key::PageUp
            } else {
                Key::PageDown
            };
            press(&mut self.0, key);
        }
        panic!("never at {path}, at {}", self.edit().at);
    }

    fn type_in(&mut self, caption: &str, _: &str, _: &str, words: &str) {
        self.0
            .get_by_role_and_label(Role::TextInput, caption)
            .focus();
        self.0.step();
        self.0.step();
        self.chord(Key::A);
        self.typed(words);
    }
}

/// Types every field of a table in again.
fn fields(hand: &mut impl Hand, source: &Document, from: &Path, to: &str) {
    let Some(kind) = kind_of(from) else {
        panic!("{from} is no table of a plan");
    };
    let stage = source.words(from, "do");
    let mut list: Vec<_> = kind.fields.iter().collect();
    // What a stage is comes first: it decides which fields there are.
    list.sort_by_key(|field| field.key != "do");
    for field in list {
        let path = from.key(&field.key);
        let typed = |path: &Path, takes: &Takes| {
            let toml = source.raw_value(path)?;
            Some(shown(&toml, takes))
        };
        if field.takes == Takes::Table {
            for below in &field.below {
                if let Some(words) = typed(&path.key(&below.key), &below.takes) {
                    let caption = format!("{} {}", field.key, below.key);
                    hand.type_in(&caption, &format!("{to}/{}", field.key), &below.key, &words);
                }
            }
        } else if let Some(words) = typed(&path, &field.takes) {
            let is_there = |edit: &PlanEdit| {
                let mut fields = edit.fields.iter();
                fields.any(|own| own.of == to && own.key == field.key)
            };
            assert!(
                is_there(hand.edit()),
                "{to}: no field {} for {stage:?}",
                field.key
            );
            hand.type_in(&field.key, to, &field.key, &words);
        }
    }
}

fn rebuild(hand: &mut impl Hand, text: &str) {
    let source = Document::new(text);
    let root = Path::default();
    let layout = source.layout().unwrap();
    if layout.root.get("build").is_some() {
        hand.select("build");
        fields(hand, &source, &root.key("build"), "build");
    }
    for list in &kind_of(&root).unwrap().lists {
        let path = root.key(list);
        for index in 0..source.len_of(&path) {
            hand.add(list);
            let own = path.at(index);
            assert_eq!(hand.edit().at, own.to_string());
            fields(hand, &source, &own, &own.to_string());
            if list != "joint" {
                continue;
            }
            let variants = own.key("variant");
            for index in 0..source.len_of(&variants) {
                hand.select(&own.to_string());
                hand.add("variant");
                let at = variants.at(index);
                fields(hand, &source, &at, &at.to_string());
            }
            for step in source.steps(&own) {
                hand.select(&own.to_string());
                step_of(hand, &source, &step);
            }
        }
    }
}

fn step_of(hand: &mut impl Hand, source: &Document, step: &Path) {
    let kind = |path: &Path| source.words(path, "do").unwrap();
    if let Some(Node::Table(_)) = source.layout().unwrap().get(step)
        && step.item().unwrap().0.last_key() == Some("stage")
    {
        hand.add(&format!("stage {}", kind(step)));
        assert_eq!(hand.edit().at, step.to_string());
        fields(hand, source, step, &step.to_string());
        return;
    }
    hand.add("block");
    assert_eq!(hand.edit().at, step.to_string());
    fields(hand, source, step, &step.to_string());
    let stages = step.key("stage");
    for index in 0..source.len_of(&stages) {
        let own = stages.at(index);
        if index == 0 {
            hand.select(&own.to_string());
        } else {
            hand.add(&format!("stage {}", kind(&own)));
        }
        assert_eq!(hand.edit().at, own.to_string());
        fields(hand, source, &own, &own.to_string());
    }
}

/// A value with labels as texts, and one of them as a list.
fn plain(value: &toml::Value, key: &str) -> toml::Value {
    use toml::Value;
    match value {
        Value::Integer(number) if !["seconds", "min", "max", "cycles", "turns"].contains(&key) => {
            Value::String(number.to_string())
        }
        Value::Array(list) => {
            let list: Vec<Value> = list.iter().map(|own| plain(own, key)).collect();
            match list.as_slice() {
                [one @ Value::String(_)] => one.clone(),
                _ => Value::Array(list),
            }
        }
        Value::Table(table) => {
            let table = table.iter();
            Value::Table(
                table
                    .map(|(key, own)| (key.clone(), plain(own, key)))
                    .collect(),
            )
        }
        other => other.clone(),
    }
}

fn same(name: &str, old: &str, new: &str) {
    let read = |text: &str| -> toml::Value {
        let table: toml::Table = text
            .parse()
            .unwrap_or_else(|error| panic!("{error}\n{text}"));
        plain(&toml::Value::Table(table), "")
    };
    let lines = |text: &str| toml::to_string_pretty(&read(text)).unwrap();
    assert!(
        read(old) == read(new),
        "{name}:\n{}\n{}",
        lines(old),
        lines(new)
    );
    // And what is worked from is the same.
    let parse = |text: &str| {
        Plan::parse(name, text).unwrap_or_else(|errors| panic!("{}\n{text}", errors.report(false)))
    };
    let (old, new) = (parse(old), parse(new));
    for (a, b) in old.joints().iter().zip(new.joints()) {
        let procedures = |joint: &evendraw::plan::Joint| -> Vec<_> {
            let plans = joint.plans().iter();
            plans.map(|plan| plan.procedure.clone()).collect()
        };
        assert_eq!(procedures(a), procedures(b), "{name}: {}", a.id());
    }
    assert_eq!(old.joints().len(), new.joints().len());
}

#[test]
fn every_pattern_is_rebuilt_from_nothing_and_means_the_same() {
    let folder = Folder::new("rebuilt");
    let patterns = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/fixtures/patterns");
    for number in 1..=27 {
        let name = format!("P{number:02}.toml");
        let text = std::fs::read_to_string(format!("{patterns}/{name}")).unwrap();
        // The beginnings of the desk are these very plans.
        let beginning = evendraw::plan::beginnings::named(&format!("P{number}")).unwrap();
        assert_eq!(beginning.text, text, "{name}");
        let mut hand = Asks(Model::in_folder(
            "cover.toml",
            crate::drive::COVER,
            folder.path(),
        ));
        hand.ask(PlanAsk::Begin(String::new()));
        rebuild(&mut hand, &text);
        same(&name, &text, &hand.edit().text);
        assert_eq!(hand.edit().errors, 0);
        // All of it taken back: what it was begun with.
        while hand.edit().can_undo {
            hand.ask(PlanAsk::Undo);
        }
        assert_eq!(&*hand.edit().text, "[build]\ntitle = \"\"\n");
    }
}

#[test]
fn the_demo_is_rebuilt_on_the_real_screen_and_means_the_same() {
    let folder = Folder::new("rebuilt-demo");
    let mut harness = window(Model::in_folder(
        "cover.toml",
        crate::drive::COVER,
        folder.path(),
    ));
    press(&mut harness, Key::F6);
    press(&mut harness, Key::E);
    press(&mut harness, Key::Enter);
    harness.step();
    let mut hand = Screen(harness);
    rebuild(&mut hand, DEMO);
    let edit = hand.edit();
    assert_eq!(edit.first_line, 1, "all of it is shown");
    same("demo.toml", DEMO, edit.text.as_ref());
    assert_eq!(edit.errors, 0);
}
