//! An evening at the desk: work or rehearsal said first, taken up where it was left.

use egui::Key;
use egui::accesskit::Role;
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::model::Model;
use evendraw::desk::view::Mark;
use evendraw::store;

use crate::drive::{
    COVER, Folder, asking, joint, one_verdict, press, record, verdicts, wait_until,
};

fn cover_of(folder: &Folder) -> Model {
    let mut model = Model::in_folder("cover.toml", COVER, folder.path());
    model.set_pace(50.0);
    model.set_browser(false);
    model
}

#[test]
fn work_or_rehearse_is_asked_first_and_nothing_is_written_before_something_is_done() {
    let folder = Folder::new("asked-first");
    let plan = COVER.replace("order = ", "condition = \"dry\"\norder = ");
    let work = folder.path().join("cover.evj");
    let rehearsal = folder.path().join("cover.rehearsal.evj");
    let mut desk = asking(Model::in_folder("cover.toml", &plan, folder.path()));
    assert!(desk.query_by_label("Work or rehearse?").is_some());
    // Nothing below the card goes on: no joint opens, no reading is taken.
    desk.state_mut()
        .model
        .carry_out(evendraw::desk::view::Ask::OpenJoint("cover".to_owned()));
    desk.step();
    assert!(desk.state().model.view().joint.is_none());
    press(&mut desk, Key::W);
    press(&mut desk, Key::Enter);
    assert!(!desk.state().model.view().status.rehearsal);
    let asked = joint(&desk).prompt.clone().expect("who works");
    assert_eq!(asked.title, "Who works");
    assert!(!work.exists() && !rehearsal.exists(), "looked at only");
    desk.event(egui::Event::Text("R. Falk".to_owned()));
    desk.step();
    press(&mut desk, Key::Enter);
    assert!(work.exists(), "the first act of work");
    press(&mut desk, Key::Enter);
    assert!(!rehearsal.exists());
    drop(desk);
    // Taken up again: what was done last, when, by whom, and what is next, on one card; Enter goes on.
    let mut desk = asking(Model::in_folder("cover.toml", &plan, folder.path()));
    let card = desk.state().model.view().start.clone().expect("a card");
    let told = card.what_now.join(" ");
    assert!(
        told.contains("Work, just now, R. Falk: cover, ")
            && told.contains("next: Discharge cover, fastener 1"),
        "{told}"
    );
    assert_eq!(card.choices[0].words, "Go on with the work");
    let before = store::read(&work).unwrap();
    press(&mut desk, Key::Enter);
    let view = desk.state().model.view();
    assert!(
        !view.status.rehearsal && view.joint.is_some(),
        "where it was left"
    );
    assert_eq!(
        store::read(&work).unwrap().facts[..before.facts.len()],
        before.facts[..]
    );
}

#[test]
fn the_demo_says_what_it_is_and_how_to_get_to_a_build_of_ones_own() {
    let folder = Folder::new("demo-first");
    let demo = || Model::in_folder("demo.toml", evendraw::plan::DEMO, folder.path());
    let mut desk = asking(demo());
    assert!(desk.query_by_label_contains("This is the demo").is_some());
    assert!(desk.query_by_label_contains("O opens a plan").is_some());
    press(&mut desk, Key::O);
    assert!(desk.query_by_label("Which plan?").is_some());
    press(&mut desk, Key::Escape);
    press(&mut desk, Key::E);
    assert_eq!(desk.state().desk.screen, evendraw::desk::app::Screen::Plan);
    drop(desk);
    // By pointer alone.
    let mut desk = asking(demo());
    let rehearse = desk.get_by_role_and_label(Role::Button, "Rehearse it");
    rehearse.click();
    desk.step();
    desk.step();
    assert!(desk.state().model.view().status.rehearsal);
}

#[test]
fn the_question_comes_back_by_key_and_only_so() {
    let folder = Folder::new("asked-again");
    let mut desk = asking(cover_of(&folder));
    press(&mut desk, Key::R);
    press(&mut desk, Key::Enter);
    assert!(desk.state().model.view().status.rehearsal);
    press(&mut desk, Key::V);
    assert!(desk.query_by_label("Work or rehearse?").is_some());
    press(&mut desk, Key::W);
    assert!(!desk.state().model.view().status.rehearsal);
    assert!(!folder.path().join("cover.evj").exists());
}

#[test]
fn what_a_key_recorded_is_said_and_taken_back_and_a_pull_is_put_on_the_fastener_it_was_on() {
    let folder = Folder::new("put-right");
    let mut desk = asking(cover_of(&folder));
    press(&mut desk, Key::R);
    one_verdict(&mut desk);
    // The pull was on 3: chosen, it is judged there, and 1 is next again.
    let before = verdicts(desk.state());
    press(&mut desk, Key::O);
    let choice = desk.get_by_role_and_label(Role::Button, "3");
    choice.click();
    desk.step();
    desk.step();
    assert_eq!(joint(&desk).next().unwrap().label, "1");
    assert_eq!(verdicts(desk.state()), before + 1, "both records stay");
    let rows = record(&desk);
    let moved = rows
        .iter()
        .find(|row| row.words.contains("put right, the pull of"));
    assert_eq!(moved.map(|row| row.fastener.as_str()), Some("3"));
    assert!(rows.iter().any(|row| row.is_put_right && row.attempt > 0));
    // Felt wrong, by mistake: it is said, and one key takes it back. Both lines stay.
    press(&mut desk, Key::W);
    assert_eq!(joint(&desk).fasteners[2].mark, Mark::Doubtful);
    let said = "Backspace takes it back";
    assert!(desk.query_by_label_contains(said).is_some());
    press(&mut desk, Key::Backspace);
    assert_eq!(joint(&desk).fasteners[2].mark, Mark::Accepted);
    let rows = record(&desk);
    assert!(
        rows.iter()
            .any(|row| row.is_put_right && row.words.contains("felt wrong"))
    );
    assert!(rows.iter().any(|row| row.words.contains("withdrawn")));
    // And it is so after a restart.
    let stood = joint(&desk).fasteners.clone();
    drop(desk);
    let mut desk = asking(cover_of(&folder));
    press(&mut desk, Key::Enter);
    assert_eq!(joint(&desk).fasteners, stood);
    // The curve went with the pull.
    let rows = record(&desk);
    let moved = rows
        .iter()
        .find(|row| row.words.contains("put right, the pull of"));
    assert!(moved.is_some_and(|row| row.traced));
}

#[test]
fn choosing_a_fastener_takes_the_tool_there_and_says_that_it_is_out_of_order() {
    let folder = Folder::new("chosen");
    let mut desk = asking(cover_of(&folder));
    press(&mut desk, Key::R);
    press(&mut desk, Key::Enter);
    assert_eq!(joint(&desk).next().unwrap().label, "1");
    press(&mut desk, Key::ArrowRight);
    let chosen = joint(&desk).next().unwrap().label.clone();
    assert_ne!(chosen, "1");
    assert_eq!(joint(&desk).out_of_turn.as_deref(), Some("1"));
    assert!(desk.query_by_label_contains("OUT OF ORDER").is_some());
    press(&mut desk, Key::H);
    wait_until(&mut desk, "a verdict", |window| verdicts(window) > 0);
    let row = record(&desk).iter().find(|row| row.attempt > 0).unwrap();
    assert_eq!(row.fastener, chosen);
    assert!(row.words.contains("order"), "{}", row.words);
    press(&mut desk, Key::Escape);
    assert_eq!(joint(&desk).next().unwrap().label, "1");
}
