//! Changes of a plan's text: what they do, and that they do nothing else.

use proptest::prelude::*;

use super::item::Item;
use super::layout::Path;
use super::{Document, EditError, Where};

fn path(text: &str) -> Path {
    text.parse().unwrap()
}

const PLAN: &str = r#"# The pump.
[build]
title    = "Harbour pump 7"   # as painted on it
document = 'section 6'

# Torque wrench of the shop.
[[tool]]
id = "A1"
kind = "adapter"
capacity = "200 N·m"

[[joint]] # the head
id        = "head"
positions = { 1 = [0, 0],  2 = [90, 0] } # measured
access.lever  = "300 mm"
access.offset = "25 mm"

[[joint.stage]]
do = "tighten"
torque = "20 N·m"

# a trial first
[[joint.block]]
mock_up = true

[[joint.block.stage]]
do = "tighten"
torque = "30 N·m"

[[joint.stage]]
do = "turn"
angle = "90°"

[[joint]]
id = "cover"
circle = { number = 4, diameter = "80 mm" }
stage = [{ do = "tighten", torque = "9 N·m" }, { do = "fit" }]
"#;

/// What is changed, as lines taken away and lines put in.
fn difference(old: &str, new: &str) -> (Vec<String>, Vec<String>) {
    let (old, new): (Vec<&str>, Vec<&str>) = (old.lines().collect(), new.lines().collect());
    let start = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
    let end = old[start..]
        .iter()
        .rev()
        .zip(new[start..].iter().rev())
        .take_while(|(a, b)| a == b)
        .count();
    let own = |lines: &[&str]| -> Vec<String> {
        lines[start..lines.len() - end]
            .iter()
            .map(|line| (*line).to_owned())
            .collect()
    };
    (own(&old), own(&new))
}

fn changed(change: impl FnOnce(&mut Document)) -> (Vec<String>, Vec<String>) {
    let mut document = Document::new(PLAN);
    change(&mut document);
    let text = document.text().to_owned();
    assert!(document.layout().is_some(), "{text}");
    assert!(document.undo());
    assert_eq!(document.text(), PLAN);
    assert!(document.redo());
    assert_eq!(document.text(), text);
    difference(PLAN, &text)
}

fn set(of: &str, key: &str, toml: &str) -> (Vec<String>, Vec<String>) {
    let of = path(of);
    let kind = super::fields::kind_of(&of).unwrap();
    changed(|document| document.set(&of, key, toml, &kind.order()).unwrap())
}

#[test]
fn a_value_is_changed_where_it_stands_and_its_comment_stays() {
    assert_eq!(
        set("build", "title", "\"Pump 8\""),
        (
            vec!["title    = \"Harbour pump 7\"   # as painted on it".to_owned()],
            vec!["title    = \"Pump 8\"   # as painted on it".to_owned()],
        )
    );
    assert_eq!(
        set("joint/1/stage/0", "torque", "\"10 N·m\"").1,
        ["stage = [{ do = \"tighten\", torque = \"10 N·m\" }, { do = \"fit\" }]"]
    );
    assert_eq!(
        set("joint/0/access", "lever", "\"310 mm\"").1,
        ["access.lever  = \"310 mm\""]
    );
}

#[test]
fn a_new_key_goes_where_it_usually_stands_set_as_its_neighbours_are() {
    assert_eq!(
        set("build", "unit", "\"serial 4411\""),
        (vec![], vec!["unit     = \"serial 4411\"".to_owned()])
    );
    assert_eq!(
        set("joint/0", "thread", "\"M10\"").1,
        ["thread    = \"M10\""]
    );
    assert_eq!(
        set("joint/0/access", "angle", "\"0°\"").1,
        ["access.angle  = \"0°\""]
    );
    assert_eq!(
        set("joint/1/circle", "first_at", "\"0°\"").1,
        ["circle = { number = 4, diameter = \"80 mm\", first_at = \"0°\" }"]
    );
    assert_eq!(
        set("joint/1/stage/1", "name", "\"new\"").1,
        ["stage = [{ do = \"tighten\", torque = \"9 N·m\" }, { do = \"fit\", name = \"new\" }]"]
    );
    assert_eq!(
        set("joint/1/access", "lever", "\"300 mm\"").1,
        ["access = { lever = \"300 mm\" }"]
    );
    assert_eq!(
        set("joint/0/stage/0", "within", "\"±5 %\"").1,
        ["within = \"±5 %\""]
    );
}

#[test]
fn what_is_taken_away_takes_its_lines_and_nothing_else() {
    let removed = |of: &str| changed(|document| document.remove(&path(of)).unwrap()).0;
    assert_eq!(removed("build/document"), ["document = 'section 6'"]);
    assert_eq!(
        removed("joint/0/access"),
        ["access.lever  = \"300 mm\"", "access.offset = \"25 mm\""]
    );
    assert_eq!(removed("joint/0/block/0").len(), 8);
    assert_eq!(removed("joint/0/block/0")[0], "# a trial first");
    let (_, put) = changed(|document| document.remove(&path("joint/1/stage/0")).unwrap());
    assert_eq!(put, ["stage = [{ do = \"fit\" }]"]);
    let (_, put) = changed(|document| document.remove(&path("joint/1/circle/number")).unwrap());
    assert_eq!(put, ["circle = { diameter = \"80 mm\" }"]);
    let label = Path::default().key("joint").at(0).key("positions").key("2");
    let (_, put) = changed(|document| document.remove(&label).unwrap());
    assert_eq!(put, ["positions = { 1 = [0, 0] } # measured"]);
}

#[test]
fn the_only_thing_of_a_row_takes_the_comma_behind_it() {
    for (text, of, left) in [
        ("a = { b = 2, }\n", "a/b", "a = {  }\n"),
        ("a = [1 ,]\n", "a/0", "a = [ ]\n"),
        (
            "a = [\n  1 # one, alone\n  , # two\n]\n",
            "a/0",
            "a = [\n   # one, alone\n   # two\n]\n",
        ),
        ("a = [ 1, 2, ]\n", "a/1", "a = [ 1, ]\n"),
        ("a = [ [1], [2, 3] ]\n", "a/0/0", "a = [ [], [2, 3] ]\n"),
    ] {
        let mut document = Document::new(text);
        document.remove(&path(of)).unwrap();
        assert_eq!(document.text(), left);
        assert!(document.layout().is_some(), "{left}");
    }
}

#[test]
fn stages_are_added_moved_and_told_in_the_order_of_the_file() {
    let mut document = Document::new(PLAN);
    let steps = |document: &Document| -> Vec<String> {
        let steps = document.steps(&path("joint/0"));
        steps.iter().map(ToString::to_string).collect()
    };
    assert_eq!(
        steps(&document),
        ["joint/0/stage/0", "joint/0/block/0", "joint/0/stage/1"]
    );
    let item = Item::new().text("do", "fit");
    let to = Where::After(path("joint/0/block/0"));
    let added = document.add(&path("joint/0/stage"), &item, &to).unwrap();
    assert_eq!(added, path("joint/0/stage/1"));
    assert_eq!(document.words(&added, "do").as_deref(), Some("fit"));
    assert_eq!(steps(&document).len(), 4);
    // Upwards, past the block.
    document.swap(&path("joint/0/block/0"), &added).unwrap();
    assert_eq!(
        steps(&document),
        [
            "joint/0/stage/0",
            "joint/0/stage/1",
            "joint/0/block/0",
            "joint/0/stage/2"
        ]
    );
    assert!(document.text().contains("# a trial first\n[[joint.block]]"));
    // In the list in brackets, and a joint at the end.
    let added = document
        .add(&path("joint/1/stage"), &item, &Where::Last)
        .unwrap();
    assert_eq!(added, path("joint/1/stage/2"));
    let joint = Item::new().text("id", "sump").with("stage", item);
    let added = document.add(&path("joint"), &joint, &Where::Last).unwrap();
    assert_eq!(added, path("joint/2"));
    assert!(
        document
            .text()
            .ends_with("\n\n[[joint]]\nid = \"sump\"\n\n[[joint.stage]]\ndo = \"fit\"\n")
    );
    // A tool goes to the tools, in front of the joints.
    let tool = Item::new().text("id", "B2");
    let added = document.add(&path("tool"), &tool, &Where::Last).unwrap();
    assert_eq!(added, path("tool/1"));
    while document.undo() {}
    assert_eq!(document.text(), PLAN);
}

#[test]
fn a_plan_is_begun_from_nothing() {
    let mut document = Document::new("");
    document
        .set(&path("build"), "title", "\"Pump\"", &[])
        .unwrap();
    let joint = document
        .add(
            &path("joint"),
            &Item::new().text("id", "head"),
            &Where::Last,
        )
        .unwrap();
    document
        .add(
            &joint.key("stage"),
            &Item::new().text("do", "tighten"),
            &Where::Last,
        )
        .unwrap();
    assert_eq!(
        document.text(),
        "[build]\ntitle = \"Pump\"\n\n[[joint]]\nid = \"head\"\n\n[[joint.stage]]\ndo = \"tighten\"\n"
    );
}

#[test]
fn what_cannot_be_done_changes_nothing() {
    let mut document = Document::new(PLAN);
    for (of, key, toml) in [
        ("build", "title", "no quotes"),
        ("build", "title", "1\ntitle = 2"),
        ("build", "title", ""),
    ] {
        assert_eq!(
            document.set(&path(of), key, toml, &[]),
            Err(EditError::Value)
        );
    }
    assert_eq!(document.remove(&path("joint/7")), Err(EditError::Missing));
    let mut broken = Document::new("[[joint\n");
    assert_eq!(
        broken.set(&path("joint/0"), "id", "\"a\"", &[]),
        Err(EditError::Broken)
    );
    assert_eq!(document.text(), PLAN);
    assert!(!document.can_undo());
}

#[test]
fn typing_on_in_a_field_is_one_change() {
    let mut document = Document::new(PLAN);
    for typed in ["\"4\"", "\"45\"", "\"45 N·m\""] {
        document
            .set(&path("joint/0/stage/0"), "torque", typed, &[])
            .unwrap();
    }
    document.undo();
    assert_eq!(document.text(), PLAN);
}

#[test]
fn faults_are_told_at_their_field() {
    let mut document = Document::new(PLAN);
    document
        .set(&path("joint/0/block/0/stage/0"), "torque", "\"30 lb\"", &[])
        .unwrap();
    let checked = document.check("pump.toml");
    let at: Vec<String> = checked
        .faults
        .iter()
        .map(|fault| fault.path.to_string())
        .collect();
    assert!(
        at.contains(&"joint/0/block/0/stage/0/torque".to_owned()),
        "{:?}",
        checked.faults
    );
}

/// A change by numbers: what, where, with which text.
fn play(document: &mut Document, (what, at, words): (u8, usize, String)) {
    let Some(layout) = document.layout() else {
        if !document.undo() {
            document.set_text(PLAN);
        }
        return;
    };
    let mut paths: Vec<Path> = layout
        .sections
        .iter()
        .map(|section| section.path.clone())
        .collect();
    paths.extend(["joint/1/stage/0", "joint/0/access", "joint/1/circle"].map(path));
    let of = paths[at % paths.len()].clone();
    let toml = super::item::quoted(&words);
    let keys = ["title", "torque", "note", "order", "odd key"];
    let key = keys[at % keys.len()];
    let item = Item::new().text("do", &words);
    let list = of.item().map(|(list, _)| list);
    // Whatever cannot be done is refused and changes nothing.
    let head = path("joint/0");
    let far = f64::from(u8::try_from(at % 251).unwrap());
    let _ = match what % 14 {
        0 | 1 => document.set(&of, key, &toml, &["title", "torque", "order"]),
        2 => document.remove(&of.key(key)),
        3 => document.remove(&of),
        4 => match list {
            Some(list) => document.add(&list, &item, &Where::After(of)).map(drop),
            None => Ok(()),
        },
        5 => {
            let steps = document.steps(&path("joint/0"));
            match steps.get(at % steps.len().max(1)..) {
                Some([first, second, ..]) => document.swap(first, second),
                _ => Ok(()),
            }
        }
        6 => {
            let mut text = document.text().to_owned();
            let byte = text.floor_char_boundary(at.wrapping_mul(7) % (text.len() + 1));
            text.insert_str(byte, &words);
            document.set_text(&text);
            Ok(())
        }
        7 => document.rename(&of.key(key), &words),
        8 => document.put_fastener(&head, far, 5.0).map(drop),
        9 => document.move_fastener(&head, "1", far, -far),
        10 => document
            .lay_picture(&path("joint/1"), "pump.png")
            .and_then(|()| {
                let pixels = [(1.0, 1.0), (far + 9.0, 4.5)];
                document.scale_picture(&path("joint/1"), pixels, &[(0.0, 0.0), (far, 3.0)])
            }),
        11 => document.check_line(&of, &words, jiff::civil::date(2026, 11, 29), "5f3a9c21"),
        12 => document.forget_checks(&head),
        _ => {
            document.undo();
            Ok(())
        }
    };
}

proptest! {
    /// Whatever is done, taking it all back gives the same bytes, and doing it all again the same end.
    #[test]
    fn everything_taken_back_gives_the_same_bytes(
        changes in proptest::collection::vec((any::<u8>(), 0_usize..4000, "[a-z 0-9\"'#=\\[\\]{}\n·°]{0,6}"), 1..40)
    ) {
        let mut document = Document::new(PLAN);
        for change in changes {
            play(&mut document, change);
        }
        let end = document.text().to_owned();
        let mut taken_back = 0;
        while document.undo() {
            taken_back += 1;
        }
        prop_assert_eq!(document.text(), PLAN);
        for _ in 0..taken_back {
            document.redo();
        }
        prop_assert_eq!(document.text(), end);
    }

    /// A typed change leaves a text that is laid out, with what was set in it and every comment still there.
    #[test]
    fn a_typed_change_never_breaks_the_text(what in 0_u8..6, at in 0_usize..400, words in "[a-z 0-9\"'#=·°]{0,6}") {
        let mut document = Document::new(PLAN);
        play(&mut document, (what, at, words));
        prop_assert!(document.layout().is_some(), "{}", document.text());
        if what < 2 {
            let comments = PLAN.lines().filter(|line| line.contains('#'));
            for comment in comments.filter_map(|line| line.split_once('#')) {
                prop_assert!(document.text().contains(comment.1));
            }
        }
    }
}
