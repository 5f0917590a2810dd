//! One key, one record: everything out of the ordinary that a mechanic does beside pulling.

use egui::Key;
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::model::Model;
use evendraw::desk::view::Mark;

use crate::drive::{
    COVER, Driven, Folder, cover, joint, one_verdict, press, record, to_the_end, wait_until, window,
};

/// Presses the keys; exactly one row more is in the record, and it says this.
fn one_record(harness: &mut Driven, keys: &[Key], says: &str) {
    let before = record(harness).len();
    for key in keys {
        press(harness, *key);
    }
    let rows = record(harness);
    let new: Vec<&str> = rows[before..]
        .iter()
        .map(|row| row.words.as_str())
        .collect();
    assert!(
        new.len() == 1 && new[0].contains(says),
        "{keys:?} should leave one record that says `{says}`, and left {new:?}; {:?}",
        harness.state().model.view().notice
    );
}

/// Types into the line that lies over the screen.
fn typed(harness: &mut Driven, words: &str) {
    harness.step();
    harness.event(egui::Event::Text(words.to_owned()));
    harness.step();
}

/// As the cover, with two tools in date, a part on order and a question.
fn cover_with_more() -> String {
    let tool = |id: &str| {
        format!(
            "[[tool]]\nid = \"{id}\"\nkind = \"adapter\"\ncapacity = \"100 N·m\"\nlowest = \"5 N·m\"\n\
             calibrated = 2026-05-04\ndue = 2099-05-04\n\n"
        )
    };
    let check = "\n[[joint.stage]]\ndo = \"check\"\nask = \"Does the shaft turn freely?\"\n";
    COVER.replacen(
        "[[joint]]",
        &format!("{}{}[[joint]]", tool("A1"), tool("A2")),
        1,
    ) + check
}

#[test]
fn felt_wrong_loosened_left_out_and_done_again() {
    let folder = Folder::new("key-exceptions");
    let mut harness = cover(&folder);
    one_verdict(&mut harness);
    one_record(&mut harness, &[Key::W], "FELT WRONG (felt wrong)");
    assert_eq!(joint(&harness).fasteners[0].mark, Mark::Doubtful);
    one_record(&mut harness, &[Key::L], "loosened");
    // K asks why; a digit answers.
    one_record(&mut harness, &[Key::K, Key::Num1], "not within reach now");
    one_record(&mut harness, &[Key::R], "to be done again");
}

#[test]
fn a_person_and_a_tool_are_changed() {
    let folder = Folder::new("key-changed");
    let text = cover_with_more();
    let mut harness = window(Model::in_folder("cover.toml", &text, folder.path()));
    press(&mut harness, Key::Enter);
    press(&mut harness, Key::P);
    typed(&mut harness, "M. Ahlers");
    one_record(&mut harness, &[Key::Enter], "operator: M. Ahlers");
    one_record(&mut harness, &[Key::T, Key::Num2], "tool A2");
    let build = &harness.state().model.view().build;
    assert_eq!(
        (build.person.as_deref(), build.tool.as_deref()),
        (Some("M. Ahlers"), Some("A2"))
    );
}

#[test]
fn a_part_has_arrived() {
    let folder = Folder::new("key-part");
    let text = COVER
        .replacen(
            "order = \"cross\"",
            "order = \"cross\"\nneeds = [\"cover seal\"]",
            1,
        )
        .replacen(
            "[[joint]]",
            "[[part]]\nname = \"cover seal\"\non_order = true\n\n[[joint]]",
            1,
        );
    let mut harness = window(Model::in_folder("cover.toml", &text, folder.path()));
    assert_eq!(
        harness.state().model.view().status.joints[0].mark,
        Mark::Waiting
    );
    one_record(&mut harness, &[Key::A], "part arrived: cover seal");
    assert_eq!(
        harness.state().model.view().status.joints[0].mark,
        Mark::Ready
    );
}

#[test]
fn a_check_and_a_condition_are_answered() {
    let folder = Folder::new("key-answered");
    let text = cover_with_more().replacen(
        "order = \"cross\"",
        "order = \"cross\"\ncondition = \"oiled\"",
        1,
    );
    let mut model = Model::in_folder("cover.toml", &text, folder.path());
    model.set_pace(50.0);
    let mut harness = window(model);
    press(&mut harness, Key::Enter);
    one_record(&mut harness, &[Key::Enter], "oiled");
    press(&mut harness, Key::J);
    wait_until(&mut harness, "the question", |window| {
        let joint = window.model.view().joint.as_ref();
        joint.is_some_and(|joint| joint.prompt.is_some())
    });
    one_record(&mut harness, &[Key::N], "answered NO");
}

#[test]
fn a_second_person_looks_and_is_not_the_first() {
    let folder = Folder::new("key-second");
    let mut harness = cover(&folder);
    one_verdict(&mut harness);
    press(&mut harness, Key::P);
    typed(&mut harness, "M. Ahlers");
    press(&mut harness, Key::Enter);
    // The one who works cannot be the second.
    let before = record(&harness).len();
    press(&mut harness, Key::I);
    typed(&mut harness, "m. ahlers");
    press(&mut harness, Key::Enter);
    assert_eq!(record(&harness).len(), before);
    assert!(
        harness
            .query_by_label("m. ahlers works here; a second person is somebody else")
            .is_some()
    );
    press(&mut harness, Key::I);
    typed(&mut harness, "R. Falk");
    one_record(&mut harness, &[Key::Enter], "witness: R. Falk");
    // Named once, the second time is one digit.
    one_record(&mut harness, &[Key::I, Key::Num1], "witness: R. Falk");
    let build = &harness.state().model.view().build;
    assert_eq!(
        (build.person.as_deref(), build.witness.as_deref()),
        (Some("M. Ahlers"), Some("R. Falk")),
        "the second person does not become the one who works"
    );
}

#[test]
fn a_plan_that_wants_a_second_person_says_so_until_one_has_looked() {
    let folder = Folder::new("second-wanted");
    let text = COVER.replacen(
        "order = \"cross\"",
        "order = \"cross\"\nsecond_look = [\"2\", \"5\"]",
        1,
    );
    let mut model = Model::in_folder("cover.toml", &text, folder.path());
    model.set_pace(50.0);
    let mut harness = window(model);
    press(&mut harness, Key::Enter);
    to_the_end(&mut harness);
    let wanted = "second person is to look at 2, 5";
    assert!(harness.query_by_label_contains(wanted).is_some());
    press(&mut harness, Key::F2);
    assert!(
        harness
            .query_by_label_contains("2, 5: not witnessed")
            .is_some()
    );
    press(&mut harness, Key::F3);
    press(&mut harness, Key::I);
    typed(&mut harness, "R. Falk");
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(harness.query_by_label_contains(wanted).is_none());
}

#[test]
fn paint_marks_go_on_one_by_one_and_only_on_what_is_final() {
    let folder = Folder::new("key-paint");
    let mut harness = cover(&folder);
    one_verdict(&mut harness);
    let before = record(&harness).len();
    press(&mut harness, Key::M);
    assert_eq!(record(&harness).len(), before, "nothing is final yet");
    to_the_end(&mut harness);
    for _ in 0..5 {
        one_record(&mut harness, &[Key::M], "marked as final");
    }
    assert!(
        joint(&harness)
            .fasteners
            .iter()
            .all(|fastener| fastener.marked)
    );
    harness.step();
    assert!(
        harness
            .query_by_label_contains("Fastener 3, final, paint mark on")
            .is_some()
    );
    let before = record(&harness).len();
    press(&mut harness, Key::M);
    assert_eq!(record(&harness).len(), before, "all of them are marked");
}

#[test]
fn a_final_fastener_is_checked_again_and_does_not_move() {
    let folder = Folder::new("key-check");
    let mut harness = cover(&folder);
    press(&mut harness, Key::Enter);
    to_the_end(&mut harness);
    let before = record(&harness).len();
    press(&mut harness, Key::C);
    harness.step();
    assert!(joint(&harness).checking_again && !joint(&harness).finished);
    assert!(harness.query_by_label_contains("Check again").is_some());
    // Esc leaves it, with nothing on record.
    press(&mut harness, Key::Escape);
    harness.step();
    assert!(joint(&harness).finished, "back where it was");
    assert_eq!(record(&harness).len(), before);
    press(&mut harness, Key::C);
    press(&mut harness, Key::H);
    wait_until(&mut harness, "the check is on record", |window| {
        window.model.view().record.len() > before
    });
    let row = record(&harness).last().unwrap().clone();
    assert!(
        record(&harness).len() == before + 1 && row.words.contains("checked again"),
        "{row:?}"
    );
    assert_eq!(row.mark, Some(Mark::Accepted), "{row:?}");
    harness.step();
    assert!(
        harness
            .query_by_label_contains("checked again: it did not move")
            .is_some()
    );
    assert!(joint(&harness).finished, "and the joint is final as before");
}

#[test]
fn torque_is_read_in_the_manuals_unit_and_kept_as_it_was() {
    let folder = Folder::new("key-unit");
    let text = COVER
        .replacen("40 N·m", "29.5 lbf·ft", 1)
        .replacen("15 N·m", "11 lbf·ft", 1);
    let mut model = Model::in_folder("cover.toml", &text, folder.path());
    model.set_pace(50.0);
    let mut harness = window(model);
    one_verdict(&mut harness);
    let before = (record(&harness).to_vec(), joint(&harness).live.clone());
    assert!(
        harness
            .query_by_label_contains("lbf·ft, window 9.9 to 12.1 lbf·ft")
            .is_some(),
        "the plan's own unit is read first"
    );
    assert_eq!(before.1.gauges[0].beside, "(13.4 to 16.4 N·m)");
    press(&mut harness, Key::Q);
    harness.step();
    let live = &joint(&harness).live;
    let (gauge, own) = (&live.gauges[0], &before.1.gauges[0]);
    assert_eq!((gauge.unit.as_str(), own.unit.as_str()), ("N·m", "lbf·ft"));
    assert_eq!(before.1.curve.unit, "lbf·ft");
    // [NIST SP 811: 1 lbf·ft = 1.355 818 N·m] 11 lbf·ft ± 10 %.
    assert!((own.target.unwrap() - 11.0).abs() < 1e-3, "{own:?}");
    assert!((gauge.high.unwrap() / own.high.unwrap() - 1.355_818).abs() < 1e-4);
    assert_eq!(record(&harness), before.0, "nothing on record changes");
    press(&mut harness, Key::Q);
    harness.step();
    assert_eq!(joint(&harness).live, before.1);
}
