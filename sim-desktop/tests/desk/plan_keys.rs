//! The map of keys against the plan screen itself: what it prints on its buttons and what it takes from the keyboard, all of it has a row.

use std::collections::BTreeSet;

use egui::accesskit::Role;
use egui::{Key, Modifiers, Theme, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use evendraw::desk::view::DeskView;

use crate::drawing::{LID, laid};
use crate::drive::{Folder, press};
use crate::pictures::{Scene, harness};

type Window = Harness<'static, Scene>;

/// The rows of the map that hold at the plan: its own page, and of the other the keys of the job.
fn mapped(view: &DeskView) -> BTreeSet<String> {
    let mut window = at_the_plan(view, &[]);
    window.key_press(Key::F1);
    window.run();
    let mut caps = rows(&window, "Anywhere", "Keys of the work");
    window.key_press(Key::F3);
    window.run();
    caps.extend(rows(&window, "The job", "Keys of the plan"));
    caps
}

/// The keys of this group of the map and those to the right of it: `Ctrl Z, Y` is two of them. Below stands the button to the other page.
fn rows(window: &Window, group: &str, other: &str) -> BTreeSet<String> {
    let head = window.get_by_label(group).rect();
    let below = window
        .get_by_role_and_label(Role::Button, other)
        .rect()
        .top();
    let labels = window.get_all_by_role(Role::Label);
    let rows = labels.filter(|node| {
        let own = node.rect();
        own.left() >= head.left() && own.top() >= head.bottom() && own.bottom() <= below
    });
    // What a label says is its value.
    let rows = rows.filter_map(|node| node.accesskit_node().value());
    let mut caps = BTreeSet::new();
    for row in rows {
        let Some((cap, _)) = row.split_once(": ") else {
            continue;
        };
        let mut held = "";
        for key in cap.split(", ") {
            let (own, key) = key.rsplit_once(' ').unwrap_or(("", key));
            held = if own.is_empty() { held } else { own };
            match key {
                "Arrows" => caps.extend(
                    ["Left", "Right", "Up", "Down"]
                        .map(|way| format!("{held} {way}").trim().to_owned()),
                ),
                _ => drop(caps.insert(format!("{held} {key}").trim().to_owned())),
            }
        }
    }
    caps
}

/// Takes the keyboard out of whatever was pressed, and forgets what was asked.
fn settled(mut window: Window) -> Window {
    window.ctx.memory_mut(|memory| {
        if let Some(focused) = memory.focused() {
            memory.surrender_focus(focused);
        }
    });
    window.run();
    window.state_mut().asked.clear();
    window
}

/// The plan screen after these keys.
fn at_the_plan(view: &DeskView, keys: &[Key]) -> Window {
    let mut window = harness(view.clone(), Theme::Light, Vec2::new(1280.0, 800.0), 1.0);
    for key in [&[Key::F6], keys].concat() {
        window.key_press(key);
        window.run();
    }
    settled(window)
}

/// The same after a press on this.
fn pressed(mut window: Window, role: Role, words: &str) -> Window {
    window
        .get_by(|node| {
            node.role() == role && node.label().is_some_and(|own| own.starts_with(words))
        })
        .click();
    window.run();
    settled(window)
}

/// Everything that is seen or said, what was asked for, and where the keyboard is.
fn seen(window: &Window) -> (String, String, Option<egui::Id>) {
    let nodes = window.get_all_by(|_| true).map(|node| {
        let own = node.accesskit_node();
        let said = (own.role(), own.label(), own.value(), own.toggled());
        format!("{said:?}\n")
    });
    let focused = window.ctx.memory(|memory| memory.focused());
    (
        nodes.collect(),
        format!("{:?}", window.state().asked),
        focused,
    )
}

/// What this key is called on buttons and on the map.
fn cap(held: &str, key: Key) -> String {
    let name = match key {
        Key::Delete => "Del",
        Key::ArrowUp => "Up",
        Key::ArrowDown => "Down",
        Key::ArrowLeft => "Left",
        Key::ArrowRight => "Right",
        Key::PageUp => "PgUp",
        Key::PageDown => "PgDn",
        Key::Escape => "Esc",
        own => own.name(),
    };
    format!("{held} {name}").trim().to_owned()
}

/// What the window shows, by its name, and how it is brought to show it.
type State<'v> = (&'static str, Box<dyn Fn() -> Window + 'v>);

/// Ways to the states of the plan screen in which it takes keys: a line in hand, the drawing, a fastener in hand, the picture.
fn states(view: &DeskView) -> Vec<State<'_>> {
    let drawn = || at_the_plan(view, &[Key::M]);
    vec![
        ("written", Box::new(|| at_the_plan(view, &[]))),
        ("drawn", Box::new(drawn)),
        (
            "a fastener in hand",
            Box::new(move || pressed(drawn(), Role::Button, "Fastener 2 at")),
        ),
        (
            "picture",
            Box::new(move || pressed(drawn(), Role::RadioButton, "Picture")),
        ),
    ]
}

/// The keys of a keyboard that a hand reaches for; those of the screens themselves are held against the map in `keys.rs`.
fn keyboard() -> Vec<(&'static str, Modifiers, Key)> {
    let arrows = [
        Key::ArrowLeft,
        Key::ArrowRight,
        Key::ArrowUp,
        Key::ArrowDown,
    ];
    let others = [
        Key::Enter,
        Key::Escape,
        Key::Delete,
        Key::Insert,
        Key::Space,
        Key::PageUp,
        Key::PageDown,
        Key::Home,
        Key::End,
    ];
    let letters = Key::ALL.iter().copied().filter(|key| {
        let name = key.name();
        name.len() == 1 && name.bytes().all(|byte| byte.is_ascii_alphabetic())
    });
    let plain: Vec<Key> = letters.chain(others).chain(arrows).collect();
    assert_eq!(plain.len(), 26 + others.len() + arrows.len());
    let with = |held, modifiers| move |key: &Key| (held, modifiers, *key);
    let all = plain.iter().map(with("", Modifiers::NONE));
    let all = all.chain(plain.iter().map(with("Ctrl", Modifiers::COMMAND)));
    all.chain(arrows.iter().map(with("Shift", Modifiers::SHIFT)))
        .collect()
}

/// A joint with two fasteners, a picture under them, and a stage in hand that a second person can compare.
fn view(name: &str) -> DeskView {
    let folder = Folder::new(name);
    let plan = LID.replace(
        "id = \"lid\"\n",
        "id = \"lid\"\npositions = { 1 = [0, 0], 2 = [60, 0] }\n",
    );
    let mut desk = laid(&folder, &plan);
    press(&mut desk, Key::M);
    press(&mut desk, Key::ArrowDown);
    let mut view = desk.state().model.view().clone();
    // Whatever was written last is not saved yet.
    std::sync::Arc::make_mut(&mut view.edit).unsaved = true;
    let drawing = view.edit.drawing.as_ref();
    assert!(drawing.is_some_and(|own| own.picture.is_some()) && !view.edit.check.is_empty());
    view
}

#[test]
fn every_key_that_the_plan_screen_prints_has_its_row() {
    let view = view("keys-printed");
    let map = mapped(&view);
    let mut printed = BTreeSet::new();
    for (state, make) in states(&view) {
        let window = make();
        for node in window.get_all_by(|_| true) {
            let Some(key) = node
                .accesskit_node()
                .data()
                .keyboard_shortcut()
                .map(str::to_owned)
            else {
                continue;
            };
            assert!(
                map.contains(&key),
                "{state}: {key} is printed, and is not on the map"
            );
            printed.insert(key);
        }
    }
    for wanted in ["A", "S", "M", "K", "R", "C", "B", "Del", "Ctrl Z"] {
        assert!(printed.contains(wanted), "{wanted} of {printed:?}");
    }
}

#[test]
fn every_key_that_the_plan_screen_takes_has_its_row() {
    let view = view("keys-taken");
    let map = mapped(&view);
    let mut taken = BTreeSet::new();
    for (state, make) in states(&view) {
        let mut window = make();
        let mut before = seen(&window);
        for (held, modifiers, key) in keyboard() {
            window.key_press_modifiers(modifiers, key);
            window.step();
            window.step();
            if seen(&window) == before {
                continue;
            }
            let cap = cap(held, key);
            assert!(
                map.contains(&cap),
                "{state}: {cap} does something, and is not on the map"
            );
            taken.insert(cap);
            // Where nothing but a question to the model came of it, the window is as it was.
            let is_same = seen(&window).0 == before.0;
            window = if is_same { settled(window) } else { make() };
            before = seen(&window);
        }
    }
    for wanted in [
        "A",
        "E",
        "F",
        "R",
        "C",
        "B",
        "L",
        "K",
        "J",
        "X",
        "M",
        "Del",
        "Enter",
        "Up",
        "Left",
        "PgDn",
        "Shift Right",
        "Ctrl D",
        "Ctrl Enter",
        "Ctrl N",
        "Ctrl Up",
        "Ctrl Y",
        "Ctrl S",
    ] {
        assert!(taken.contains(wanted), "{wanted} of {taken:?}");
    }
    // And what the map promises of the plan is so: each of its rows was met by a key that does something.
    let promised = {
        let mut window = at_the_plan(&view, &[]);
        window.key_press(Key::F1);
        window.run();
        rows(&window, "The plan, written", "Keys of the work")
    };
    // A table is pasted, not typed.
    for cap in promised {
        let is_known = taken.contains(&cap) || cap == "Ctrl V";
        assert!(is_known, "{cap} is on the map of the plan and does nothing");
    }
}
