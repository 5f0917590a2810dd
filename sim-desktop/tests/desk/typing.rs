//! Values typed where a reading would be: the field has the keyboard, an instrument that types is heard in it, a click wrench has one
//! key a click. Through the accessibility tree, on the real desk with a real journal.

use egui::{Event, Key};
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::model::Model;
use evendraw::desk::view::{Ask, Mark};
use evendraw::job::Job;
use evendraw::plan::Plan;
use evendraw::store::Purpose;

use crate::drive::{Driven, Folder, joint, press, record, window};

const PLAN: &str = r#"
[build]
title = "Strainer, harbour pump 7"

[[tool]]
id = "D1"
kind = "display"
capacity = "120 N·m"
step = "0.1 N·m"
accuracy = "2 %"

[[tool]]
id = "W1"
kind = "click"
capacity = "100 N·m"
step = "0.5 N·m"

[[joint]]
id = "flange"
title = "Flange"
positions = { 1 = [0, 0], 2 = [60, 0], 3 = [60, 60], 4 = [0, 60] }
reuse = "free"

[[joint.stage]]
do = "tighten"
torque = "45 N·m"

[[joint.stage]]
do = "repeat"

[[joint.stage]]
do = "turn"
angle = "90°"
"#;

/// Real work on the flange, with this tool in hand.
fn flange(folder: &Folder, tool: &str) -> Driven {
    let plan = Plan::parse("strainer.toml", PLAN)
        .unwrap_or_else(|errors| panic!("{}", errors.report(false)));
    drop(Job::create(&folder.path().join("strainer.evj"), plan, Purpose::Job).expect("a journal"));
    let mut model = Model::in_folder("strainer.toml", PLAN, folder.path());
    model.begin(Purpose::Job);
    model.carry_out(Ask::OpenJoint("flange".to_owned()));
    model.carry_out(Ask::Person("R. Falk".to_owned()));
    model.carry_out(Ask::Tool(tool.to_owned()));
    let mut harness = window(model);
    harness.step();
    harness.step();
    harness
}

/// Types into whatever has the keyboard, as a person or an instrument does.
fn type_text(harness: &mut Driven, text: &str) {
    harness.event(Event::Text(text.to_owned()));
    harness.step();
}

fn enter(harness: &mut Driven, text: &str) {
    type_text(harness, text);
    press(harness, Key::Enter);
    harness.step();
}

fn words(harness: &Driven) -> Vec<&str> {
    let rows = record(harness).iter().filter(|row| row.attempt > 0);
    rows.map(|row| row.what.as_str()).collect()
}

#[test]
fn a_typed_display_works_with_comma_point_and_units() {
    let folder = Folder::new("typed-display");
    let mut harness = flange(&folder, "D1");
    assert!(harness.get_by_label("Torque in N·m").is_focused());
    enter(&mut harness, "45,2");
    // In the list, and said as what the key recorded.
    let echoed = "1: 45.20 N·m, read from the display (0.1 N·m, 2 %), accepted";
    assert!(harness.query_all_by_label_contains(echoed).count() > 0);
    // The keyboard stays in the field; an instrument that types its unit is heard too.
    assert!(harness.get_by_label("Torque in N·m").is_focused());
    enter(&mut harness, "33.2 lbf·ft");
    // Tab goes on to the angle that the display shows as well.
    type_text(&mut harness, "45.4");
    harness.key_press(Key::Tab);
    harness.step();
    assert!(harness.get_by_label("Angle in °").is_focused());
    enter(&mut harness, "31");
    enter(&mut harness, "44");
    assert_eq!(
        words(&harness),
        [
            "45.20 N·m, read from the display (0.1 N·m, 2 %), accepted",
            "45.01 N·m, read from the display (0.1 N·m, 2 %), accepted",
            "45.40 N·m, 31.0°, read from the display (0.1 N·m, 2 %), accepted",
            "44.00 N·m, read from the display (0.1 N·m, 2 %), accepted; within the uncertainty of the limit 43.20 N·m",
        ]
    );
    assert!(
        record(&harness)
            .iter()
            .all(|row| row.mark != Some(Mark::Unmeasured))
    );
}

#[test]
fn a_value_far_from_any_that_makes_sense_is_asked_for_once_more() {
    let folder = Folder::new("typed-doubted");
    let mut harness = flange(&folder, "D1");
    enter(&mut harness, "452");
    harness.get_by_label_contains("452.0 N·m is above the 120 N·m that tool D1 can show");
    assert_eq!(words(&harness), Vec::<&str>::new());
    // Something else is no answer to that question.
    enter(&mut harness, "4.5");
    harness.get_by_label_contains("4.50 N·m is far from the target of 45.00 N·m");
    enter(&mut harness, "4.5");
    assert_eq!(
        words(&harness),
        ["4.50 N·m, read from the display (0.1 N·m, 2 %), rejected: torque below the window"]
    );
    // What cannot be read is told, and nothing is recorded.
    enter(&mut harness, "45 apples");
    assert_eq!(words(&harness).len(), 1);
    harness.get_by_label_contains("apples");
    enter(&mut harness, "45");
    assert_eq!(words(&harness).len(), 2);
}

#[test]
fn escape_gives_the_keys_back_and_a_digit_takes_them_again() {
    let folder = Folder::new("typed-escape");
    let mut harness = flange(&folder, "D1");
    enter(&mut harness, "45");
    // A letter behind a digit is part of what is typed; into an empty field it is a key as ever.
    type_text(&mut harness, "4");
    type_text(&mut harness, "w");
    press(&mut harness, Key::W);
    assert!(
        !record(&harness)
            .iter()
            .any(|row| row.what.contains("FELT WRONG"))
    );
    press(&mut harness, Key::Enter);
    harness.event(Event::Text("w".to_owned()));
    press(&mut harness, Key::W);
    harness.step();
    assert!(
        record(&harness)
            .iter()
            .any(|row| row.what.contains("FELT WRONG"))
    );
    press(&mut harness, Key::T);
    harness.step();
    harness.get_by_label_contains("Which tool is in use now?");
    press(&mut harness, Key::Escape);
    harness.step();
    assert!(harness.get_by_label("Torque in N·m").is_focused());
    press(&mut harness, Key::Escape);
    harness.step();
    assert!(!harness.get_by_label("Torque in N·m").is_focused());
    type_text(&mut harness, "4");
    harness.step();
    assert!(harness.get_by_label("Torque in N·m").is_focused());
    enter(&mut harness, "5.1");
    assert_eq!(words(&harness).len(), 2);
    assert!(
        words(&harness)[1].starts_with("45.10 N·m"),
        "{:?}",
        words(&harness)
    );
}

#[test]
fn a_click_wrench_is_set_once_a_stage_and_then_has_one_key() {
    let folder = Folder::new("typed-click");
    let mut harness = flange(&folder, "W1");
    harness.get_by_label_contains("Set W1 to 45.00 N·m, and type it back as set");
    enter(&mut harness, "54");
    harness.get_by_label_contains("It is to be set to 45.00 N·m, not 54");
    enter(&mut harness, "45.0");
    assert_eq!(words(&harness), Vec::<&str>::new());
    for _ in 0..4 {
        harness.get_by_label("It clicked");
        press(&mut harness, Key::Enter);
        harness.step();
    }
    assert_eq!(words(&harness), ["by setting 45.00 N·m, accepted"; 4]);
    // Another stage: it is set and typed back again, and whether it moved is one key more.
    enter(&mut harness, "45");
    harness.get_by_label("It clicked, and stood still");
    press(&mut harness, Key::O);
    harness.step();
    assert_eq!(words(&harness)[4], "by setting 45.00 N·m, moved, accepted");
    for _ in 0..3 {
        press(&mut harness, Key::Enter);
        harness.step();
    }
    // One moved, so the pass is made again, with the same setting.
    for _ in 0..4 {
        press(&mut harness, Key::Enter);
        harness.step();
    }
    // A click tells no angle: the desk says so, and which tool does.
    let prompt = joint(&harness)
        .prompt
        .as_ref()
        .expect("another tool is wanted");
    assert!(
        prompt
            .words
            .contains("Tool W1 of kind `click` tells no angle"),
        "{}",
        prompt.words
    );
    press(&mut harness, Key::Enter);
    harness.step();
    harness.step();
    assert!(harness.get_by_label("Angle in °").is_focused());
    enter(&mut harness, "91");
    assert_eq!(
        words(&harness)[12],
        "91.0°, read from the display (0.1 N·m, 2 %), accepted"
    );
}
