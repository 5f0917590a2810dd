//! The pictures of "Your first evening", taken from the real desk on the plan of that page and compared with the committed ones, so that
//! they cannot grow old; and the window's picture, held to the file that a menu shows.
//!
//! `UPDATE_SNAPSHOTS=true cargo test -p evendraw --test desk guide` draws them anew; look at them before committing.

use egui::{Event, Key, Vec2};
use egui_kittest::kittest::Queryable as _;
use egui_kittest::{SnapshotOptions, SnapshotResults};
use evendraw::desk::model::Model;
use evendraw::desk::view::Mark;

use crate::drive::{Driven, Folder, joint, pictured, press, verdicts, wait_until};

const SIZE: Vec2 = Vec2::new(1000.0, 640.0);

/// The plan as it stands on the page.
fn plan() -> &'static str {
    let page = include_str!("../../FIRST-EVENING.md");
    let (_, plan) = page.split_once("```toml\n").expect("a plan");
    plan.split_once("```").expect("its end").0
}

fn evening(folder: &Folder) -> Driven {
    let mut model = Model::in_folder("winch.toml", plan(), folder.path());
    model.set_browser(false);
    pictured(model, SIZE, "guide")
}

fn typed(desk: &mut Driven, text: &str) {
    desk.event(Event::Text(text.to_owned()));
    desk.step();
}

fn entered(desk: &mut Driven, text: &str) {
    typed(desk, text);
    press(desk, Key::Enter);
    desk.step();
}

/// Answers what is asked with what is advised, until something can be pulled.
fn to_the_pull(desk: &mut Driven) {
    for _ in 0..6 {
        if joint(desk).prompt.is_none() {
            return;
        }
        press(desk, Key::Enter);
        desk.step();
    }
    panic!("still asked: {:?}", joint(desk).prompt);
}

/// Until nothing is said of what was recorded last.
fn at_rest(desk: &mut Driven) {
    for _ in 0..120 {
        desk.step();
    }
}

fn accepted(desk: &Driven) -> usize {
    let fasteners = joint(desk).fasteners.iter();
    fasteners.filter(|one| one.mark == Mark::Accepted).count()
}

#[test]
fn the_pictures_of_the_first_evening_are_those_of_the_window() {
    let mut results = SnapshotResults::new();
    let folder = Folder::new("first-evening-rehearsed");
    let mut desk = evening(&folder);
    desk.snapshot("begin");
    press(&mut desk, Key::R);
    press(&mut desk, Key::Enter);
    to_the_pull(&mut desk);
    press(&mut desk, Key::H);
    wait_until(&mut desk, "under load", |window| {
        let view = window.model.view();
        let live = view.joint.as_ref().map(|joint| &joint.live);
        let value = live.and_then(|live| live.gauges.first()?.value);
        value.is_some_and(|value| value > 3.5)
    });
    desk.step();
    desk.snapshot("rehearse");
    wait_until(&mut desk, "a verdict", |window| verdicts(window) > 0);
    at_rest(&mut desk);
    press(&mut desk, Key::O);
    desk.step();
    assert!(desk.query_by_label_contains("was on which").is_some());
    desk.snapshot("put_right");
    results.extend_harness(&mut desk);
    drop(desk);

    let folder = Folder::new("first-evening");
    let mut desk = evening(&folder);
    press(&mut desk, Key::W);
    press(&mut desk, Key::Enter);
    assert_eq!(
        joint(&desk).prompt.as_ref().map(|card| card.title.as_str()),
        Some("Who works")
    );
    entered(&mut desk, "M. Lindqvist");
    to_the_pull(&mut desk);
    for value in ["5", "4.9", "5.1"] {
        entered(&mut desk, value);
    }
    assert_eq!(accepted(&desk), 3);
    typed(&mut desk, "5.0");
    desk.snapshot("work");
    press(&mut desk, Key::Enter);
    desk.step();
    at_rest(&mut desk);
    press(&mut desk, Key::F8);
    desk.step();
    desk.snapshot("hand_over");
    press(&mut desk, Key::F3);
    desk.step();
    for value in ["9", "9.1", "9", "9.9"] {
        entered(&mut desk, value);
    }
    assert!(joint(&desk).prompt.is_some());
    desk.snapshot("rejected");
    // As advised: off, and again from its first stage.
    press(&mut desk, Key::Enter);
    desk.step();
    to_the_pull(&mut desk);
    assert_eq!(verdicts(desk.state()), 8);
    for value in ["5", "9"] {
        entered(&mut desk, value);
    }
    assert!(joint(&desk).finished, "{:?}", joint(&desk).prompt);
    press(&mut desk, Key::F2);
    press(&mut desk, Key::A);
    desk.step();
    if desk.query_by_label_contains("Which").is_some() {
        press(&mut desk, Key::Num1);
    }
    desk.step();
    desk.state_mut()
        .model
        .carry_out(evendraw::desk::view::Ask::OpenJoint("bearing".to_owned()));
    desk.step();
    press(&mut desk, Key::F3);
    to_the_pull(&mut desk);
    entered(&mut desk, "40");
    for _ in 0..2 {
        press(&mut desk, Key::Enter);
        desk.step();
    }
    assert_eq!(verdicts(desk.state()), 12);
    at_rest(&mut desk);
    desk.snapshot("click");
    results.extend_harness(&mut desk);
}

/// `share/evendraw.png`, which a menu shows, is what the window shows.
#[test]
fn the_picture_of_the_window_is_that_of_the_menu() {
    let side = 128;
    let dots = evendraw::desk::icon(side);
    let picture = image::RgbaImage::from_raw(u32::from(side), u32::from(side), dots);
    let picture = picture.expect("as many dots as that takes");
    let options = SnapshotOptions::new().output_path("share");
    egui_kittest::image_snapshot_options(&picture, "evendraw", &options);
    let entry = include_str!("../../share/evendraw.desktop");
    for line in [
        "Exec=evendraw %f",
        "Icon=evendraw",
        "StartupWMClass=evendraw",
    ] {
        assert!(entry.lines().any(|own| own == line), "{line}");
    }
}
