//! A working sheet typed back, and the evening laid out: on the real desk with a real journal.

use egui::accesskit::Role;
use egui::{Event, Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::model::Model;
use evendraw::desk::view::Mark;
use evendraw::store::Purpose;

use crate::drive::{Driven, Folder, press, window};

const PLAN: &str = r#"
[build]
title = "Strainer, harbour pump 7"

[[tool]]
id = "D1"
kind = "display"
capacity = "120 N·m"
step = "0.1 N·m"

[[joint]]
id = "flange"
title = "Flange"
positions = { 1 = [0, 0], 2 = [60, 0], 3 = [60, 60] }

[[joint.stage]]
do = "tighten"
torque = "45 N·m"

[[joint.stage]]
do = "check"
ask = "Does the strainer turn freely?"
"#;

fn desk(folder: &Folder) -> Driven {
    let mut model = Model::in_folder("strainer.toml", PLAN, folder.path());
    model.begin(Purpose::Job);
    window(model)
}

fn type_into(harness: &mut Driven, label: &str, text: &str) {
    harness
        .get_by_role_and_label(Role::TextInput, label)
        .focus();
    harness.step();
    harness.event(Event::Text(text.to_owned()));
    harness.step();
}

fn record_it(harness: &mut Driven) {
    harness.key_press_modifiers(Modifiers::COMMAND, Key::Enter);
    harness.step();
    harness.step();
}

#[test]
fn a_whole_sheet_is_typed_back_on_one_screen() {
    let folder = Folder::new("paper");
    let mut harness = desk(&folder);
    press(&mut harness, Key::F4);
    harness.step();
    press(&mut harness, Key::I);
    harness.step();
    harness.step();
    type_into(&mut harness, "Name", "R. Falk");
    type_into(&mut harness, "Date on the paper, 2026-05-04", "2026-02-20");
    type_into(&mut harness, "Stage 1, tool", "D1");
    type_into(&mut harness, "Fastener 1, stage 1", "45,2");
    type_into(&mut harness, "Fastener 2, stage 1", "402");
    type_into(&mut harness, "Fastener 3, stage 1", "x");
    type_into(&mut harness, "Stage 2", "yes");
    record_it(&mut harness);
    // One cell is far off: it is pointed at, and nothing is recorded.
    let facts = |harness: &Driven| harness.state().model.view().record.len();
    assert_eq!(facts(&harness), 0);
    assert!(
        harness
            .query_by_label("Fastener 2, stage 1 is wrong")
            .is_some(),
        "the cell is outlined"
    );
    assert!(
        harness
            .query_by_label_contains("fastener 2, stage 1, value: 402.0 N·m is above")
            .is_some()
    );
    // Typed anew.
    harness
        .get_by_role_and_label(Role::TextInput, "Fastener 2, stage 1")
        .focus();
    harness.step();
    harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    harness.step();
    harness.event(Event::Text("45.0".to_owned()));
    harness.step();
    record_it(&mut harness);
    let status = &harness.state().model.view().status;
    let marks: Vec<Option<Mark>> = status.joints[0]
        .fasteners
        .iter()
        .map(|fastener| fastener.cells[0].mark)
        .collect();
    assert_eq!(
        marks,
        [
            Some(Mark::Accepted),
            Some(Mark::Accepted),
            Some(Mark::Unmeasured)
        ]
    );
    let cell = &status.joints[0].fasteners[0].cells[0];
    assert_eq!(
        cell.behind(),
        "read from the display, tool D1, typed later, paper of 2026-02-20"
    );
    assert!(
        harness
            .query_by_label_contains("Everything is recorded")
            .is_some(),
        "nothing is open any more"
    );
    press(&mut harness, Key::Escape);
    harness.step();
    harness.step();
    assert!(harness.query_by_label("Type paper back").is_some());
}

#[test]
fn the_evening_is_laid_out_by_one_key() {
    let folder = Folder::new("evening-out");
    let mut harness = desk(&folder);
    press(&mut harness, Key::F2);
    harness.step();
    press(&mut harness, Key::N);
    for _ in 0..200 {
        harness.step();
        let tonight = harness.state().model.view().tonight.as_ref();
        if tonight.is_some_and(|tonight| tonight.seconds().is_some()) {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    for words in [
        "Flange: 4 steps; ",
        "D1: display",
        "to show 45.00 N·m",
        "stage 2: ",
        "All of it: ",
    ] {
        assert!(
            harness.query_by_label_contains(words).is_some(),
            "{words}: {:?}",
            harness.state().model.view().tonight
        );
    }
    press(&mut harness, Key::Escape);
    harness.step();
    harness.step();
    assert!(harness.query_by_label("Tonight").is_some());
    assert!(harness.state().model.view().tonight.is_none());
}
