//! Fasteners drawn over a picture of the part: scaled by two points, clicked where the bolt heads are, put in line, labelled,
//! ordered and run through, by mouse and by keys alone.
//!
//! `flange.png` is drawn, not photographed: eight bolt holes on a circle of 360 pixels round the middle of 480, the first at the top.

use std::time::Duration;

use egui::accesskit::Role;
use egui::{Key, Modifiers, Theme, Vec2, vec2};
use egui_kittest::kittest::Queryable as _;

use evendraw::desk::model::Model;

use crate::drive::{COVER, Driven, Folder, joint, press, verdicts, wait_until, window};
use crate::editor::{chord, click, edit, fill, notice, opened, text, typed};
use crate::{pictures, scenes};

const FLANGE: &[u8] = include_bytes!("flange.png");

/// A lid that is drawn from nothing.
pub(crate) const LID: &str = "[build]\ntitle = \"Harbour pump 7\"\n\n[[joint]]\nid = \"lid\"\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\n";

/// The drawing of the only joint, with the picture laid under it.
pub(crate) fn laid(folder: &Folder, plan: &str) -> Driven {
    std::fs::create_dir(folder.path().join("camera")).unwrap();
    let photo = folder.path().join("camera/flange.png");
    std::fs::write(&photo, FLANGE).unwrap();
    let (mut harness, _) = opened(folder, "pump.toml", plan);
    press(&mut harness, Key::ArrowDown);
    press(&mut harness, Key::M);
    click(&mut harness, Role::RadioButton, "Picture");
    choose(&mut harness, &photo.display().to_string());
    harness
}

/// Chooses a file by typing its path.
fn choose(harness: &mut Driven, path: &str) {
    press(harness, Key::C);
    harness.step();
    typed(harness, path);
    press(harness, Key::Enter);
    harness.step();
    harness.step();
}

fn shift(harness: &mut Driven, key: Key) {
    harness.key_press_modifiers(Modifiers::SHIFT, key);
    harness.step();
    harness.step();
}

fn clicked(harness: &mut Driven, at: egui::Pos2) {
    harness.drag_at(at);
    harness.step();
    harness.drop_at(at);
    harness.step();
    harness.step();
}

fn middle(harness: &Driven, words: &str) -> egui::Pos2 {
    let node = harness.get_by(|node| {
        let spoken = node.label();
        spoken.is_some_and(|own| own.starts_with(words))
    });
    node.rect().center()
}

#[test]
fn a_picture_is_kept_small_and_scaled_by_keys_alone_and_bolt_heads_are_clicked_on_it() {
    let folder = Folder::new("drawing-picture");
    let mut harness = laid(&folder, LID);
    assert!(
        text(&harness).contains("picture = { file = \"pump-lid.png\" }\n"),
        "{}",
        notice(&harness)
    );
    assert!(
        std::fs::metadata(folder.path().join("pump-lid.png"))
            .unwrap()
            .len()
            < 60_000
    );
    let picture = edit(&harness).drawing.clone().unwrap().picture.unwrap();
    assert!(picture.shown.is_ok() && !picture.is_scaled);
    // Two points in one row, by arrows and Enter. Not by Tab: nothing has the keyboard now.
    press(&mut harness, Key::ArrowRight);
    shift(&mut harness, Key::ArrowRight);
    press(&mut harness, Key::Enter);
    for _ in 0..3 {
        shift(&mut harness, Key::ArrowLeft);
    }
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(
        harness
            .query_by_label_contains("Type below what lies between them")
            .is_some()
    );
    // The keyboard is in the line already.
    typed(&mut harness, "far");
    press(&mut harness, Key::Enter);
    assert!(notice(&harness).contains("180 mm"), "{}", notice(&harness));
    // Both points are still there, and so is the keyboard.
    harness.step();
    typed(&mut harness, "90 mm");
    press(&mut harness, Key::Enter);
    harness.step();
    let picture = edit(&harness).drawing.clone().unwrap().picture.unwrap();
    assert!(picture.is_scaled, "{}", notice(&harness));
    assert!(
        text(&harness).contains("places = [[45, 0], [-45, 0]]"),
        "{}",
        text(&harness)
    );
    // By mouse now: the holes at the top and at the bottom, 360 pixels apart and 180 mm on the metal.
    let ground = harness.get_by_label("Where the fasteners sit").rect();
    // The whole picture is in the drawing, so its middle is the drawing's.
    let side = ground.height() / 1.06 / 480.0;
    click(&mut harness, Role::RadioButton, "Picture");
    clicked(&mut harness, ground.center() - vec2(0.0, 180.0 * side));
    clicked(&mut harness, ground.center() + vec2(0.0, 180.0 * side));
    harness.step();
    typed(&mut harness, "180 mm");
    press(&mut harness, Key::Enter);
    harness.step();
    let picture = edit(&harness).drawing.clone().unwrap().picture.unwrap();
    assert!(
        (picture.laid.scale() - 0.5).abs() < 0.01,
        "{} mm a pixel",
        picture.laid.scale()
    );
    click(&mut harness, Role::RadioButton, "Place");
    let ground = harness.get_by_label("Where the fasteners sit").rect();
    let side = ground.height() / 1.06 / 480.0;
    for (right, up) in [(0.0, 180.0), (180.0, 0.0), (0.0, -180.0), (-180.0, 0.0)] {
        clicked(
            &mut harness,
            ground.center() + vec2(right * side, -up * side),
        );
    }
    let drawing = edit(&harness).drawing.clone().unwrap();
    assert_eq!(drawing.fasteners.len(), 4, "{}", text(&harness));
    for ((_, x, y), (right, up)) in
        drawing
            .fasteners
            .iter()
            .zip([(0.0, 90.0), (90.0, 0.0), (0.0, -90.0), (-90.0, 0.0)])
    {
        // To the step that clicks keep to.
        assert!((x - right).abs() < 3.0 && (y - up).abs() < 3.0, "{x} {y}");
    }
    // Fasteners that are known scale a picture too.
    click(&mut harness, Role::RadioButton, "Picture");
    press(&mut harness, Key::B);
    assert!(text(&harness).contains("sheet = true"));
    assert_eq!(edit(&harness).errors, 0, "{:?}", edit(&harness).faults);
    press(&mut harness, Key::Delete);
    assert!(!text(&harness).contains("picture"));
    while edit(&harness).can_undo {
        chord(&mut harness, Key::Z);
    }
    assert_eq!(text(&harness), LID);
}

#[test]
fn what_is_no_picture_says_so_and_changes_nothing() {
    let folder = Folder::new("drawing-none");
    let mut harness = laid(&folder, COVER);
    let before = text(&harness);
    let wrong = folder.path().join("wrong.png");
    std::fs::write(&wrong, "no picture").unwrap();
    choose(&mut harness, &wrong.display().to_string());
    assert!(
        notice(&harness).contains("neither PNG nor JPEG"),
        "{}",
        notice(&harness)
    );
    // Cut off in the middle.
    std::fs::write(&wrong, &FLANGE[..FLANGE.len() / 2]).unwrap();
    choose(&mut harness, &wrong.display().to_string());
    assert!(
        notice(&harness).contains("the picture is broken"),
        "{}",
        notice(&harness)
    );
    choose(
        &mut harness,
        &folder.path().join("none.png").display().to_string(),
    );
    assert!(
        notice(&harness).contains("none.png"),
        "{}",
        notice(&harness)
    );
    assert_eq!(text(&harness), before);
    // The same picture once more is the same file.
    let photo = folder.path().join("camera/flange.png");
    choose(&mut harness, &photo.display().to_string());
    assert_eq!(text(&harness), before);
    // Taken away from beside the plan, it is missed where it would be.
    std::fs::remove_file(folder.path().join("pump-cover.png")).unwrap();
    press(&mut harness, Key::ArrowUp);
    press(&mut harness, Key::F);
    let picture = edit(&harness).drawing.clone().unwrap().picture.unwrap();
    assert!(picture.shown.unwrap_err().contains("pump-cover.png"));
    // A plan that has no file has no place for a picture.
    press(&mut harness, Key::E);
    typed(&mut harness, "castle nut");
    press(&mut harness, Key::Enter);
    assert!(
        notice(&harness).contains("not saved"),
        "{}",
        notice(&harness)
    );
}

#[test]
fn front_label_line_and_mirror_are_typed() {
    let folder = Folder::new("drawing-keys");
    let (mut harness, _) = opened(
        &folder,
        "cover.toml",
        &COVER.replace("order = \"cross\"\n", ""),
    );
    press(&mut harness, Key::ArrowDown);
    press(&mut harness, Key::M);
    press(&mut harness, Key::F);
    assert!(text(&harness).contains("front = \"left\"\n"));
    press(&mut harness, Key::F);
    assert!(text(&harness).contains("front = \"top\"\n"));
    click(&mut harness, Role::Button, "FRONT: right");
    assert!(text(&harness).contains("front = \"right\"\n"));
    fill(&mut harness, "Lay out all of them", "align 3, 4, 1");
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(
        text(&harness).contains("1 = [35, 60]"),
        "{}",
        text(&harness)
    );
    fill(&mut harness, "Lay out all of them", "mirror");
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(text(&harness).contains("front = \"left\"\n"));
    assert!(
        text(&harness).contains("2 = [-57, 19]"),
        "{}",
        text(&harness)
    );
    press(&mut harness, Key::Escape);
    // In hand by Space, moved by arrows, given another label by L.
    harness
        .get_by(|node| {
            node.label()
                .is_some_and(|own| own.starts_with("Fastener 2 at"))
        })
        .focus();
    harness.step();
    press(&mut harness, Key::Space);
    harness.step();
    press(&mut harness, Key::ArrowLeft);
    press(&mut harness, Key::ArrowLeft);
    let drawing = edit(&harness).drawing.clone().unwrap();
    let (_, x, _) = drawing.fasteners.iter().find(|own| own.0 == "2").unwrap();
    assert!(*x < -57.0, "{x}");
    press(&mut harness, Key::Escape);
    harness.step();
    let at = middle(&harness, "Fastener 2 at");
    clicked(&mut harness, at);
    press(&mut harness, Key::L);
    harness.step();
    chord(&mut harness, Key::A);
    typed(&mut harness, "2b");
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(
        text(&harness).contains("2b = ["),
        "{}: {}",
        notice(&harness),
        text(&harness)
    );
    let at = middle(&harness, "Fastener 3 at");
    clicked(&mut harness, at);
    press(&mut harness, Key::L);
    harness.step();
    chord(&mut harness, Key::A);
    typed(&mut harness, "2b");
    press(&mut harness, Key::Enter);
    harness.step();
    assert!(
        notice(&harness).contains("no two fasteners"),
        "{}",
        notice(&harness)
    );
    // A new one by the cross.
    press(&mut harness, Key::Escape);
    press(&mut harness, Key::ArrowUp);
    shift(&mut harness, Key::ArrowUp);
    press(&mut harness, Key::Enter);
    assert_eq!(edit(&harness).drawing.clone().unwrap().fasteners.len(), 6);
}

fn rests(harness: &Driven) -> bool {
    let output = harness.output();
    output
        .viewport_output
        .values()
        .all(|own| own.repaint_delay > Duration::from_secs(1))
}

#[test]
fn the_order_runs_once_through_and_then_rests() {
    let folder = Folder::new("drawing-run");
    let (mut harness, _) = opened(&folder, "cover.toml", COVER);
    press(&mut harness, Key::ArrowDown);
    press(&mut harness, Key::M);
    harness.run();
    assert!(rests(&harness));
    let order = edit(&harness).drawing.clone().unwrap().order;
    harness.key_press(Key::R);
    harness.step();
    let mut seen: Vec<String> = Vec::new();
    for _ in 0..200 {
        harness.step();
        for label in &order {
            let words = format!("fastener {label}. R stops it");
            if harness.query_by_label_contains(&words).is_some() && seen.last() != Some(label) {
                seen.push(label.clone());
                assert!(!rests(&harness));
            }
        }
    }
    assert_eq!(seen, order);
    assert!(rests(&harness));
    // Stopped in between.
    press(&mut harness, Key::R);
    press(&mut harness, Key::R);
    harness.step();
    assert!(harness.query_by_label_contains("R stops it").is_none());
    assert!(rests(&harness));
}

/// The lid on its picture.
fn on_a_picture() -> String {
    LID.replace(
        "id = \"lid\"\n",
        "id = \"lid\"\nfront = \"left\"\npicture = { file = \"flange.png\", pixels = [[240, 60], [240, 420]], places = [[0, 90], [0, -90]] }\ncircle = { number = 8, diameter = \"180 mm\" }\norder = \"cross\"\n",
    )
}

#[test]
fn the_picture_lies_faint_under_the_map_of_the_joint() {
    let mut results = egui_kittest::SnapshotResults::new();
    for (theme, size, name) in [
        (
            Theme::Light,
            Vec2::new(1000.0, 640.0),
            "joint_on_picture_light",
        ),
        (
            Theme::Dark,
            Vec2::new(1000.0, 640.0),
            "joint_on_picture_dark",
        ),
    ] {
        let folder = Folder::new(name);
        let path = folder.path().join("lid.toml");
        std::fs::write(&path, on_a_picture()).unwrap();
        let mut model = Model::open(Some(&path)).unwrap();
        model.set_browser(false);
        let mut desk = window(model);
        // A file that is not there takes nothing away but itself; it is seen once it comes, and once it changes.
        press(&mut desk, Key::Enter);
        assert_eq!(joint(&desk).fasteners.len(), 8);
        assert!(joint(&desk).picture.is_none());
        std::fs::write(folder.path().join("flange.png"), FLANGE).unwrap();
        press(&mut desk, Key::H);
        wait_until(&mut desk, "the picture is there", |window| {
            let joint = window.model.view().joint.as_ref();
            joint.is_some_and(|joint| joint.picture.is_some())
        });
        wait_until(&mut desk, "one is done", |window| verdicts(window) > 0);
        let mut view = desk.state().model.view().clone();
        // What tells the time of day is no part of the picture.
        view.status.last = None;
        let mut harness = pictures::harness(view, theme, size, 1.0);
        harness.key_press(Key::F3);
        harness.run();
        harness.snapshot(name);
        results.extend_harness(&mut harness);
    }
}

#[test]
fn a_picture_under_the_places_looks_as_it_did() {
    let plan = on_a_picture();
    let mut results = egui_kittest::SnapshotResults::new();
    for (theme, size, name) in [
        (Theme::Light, Vec2::new(1000.0, 640.0), "drawing_light"),
        (Theme::Dark, Vec2::new(800.0, 500.0), "drawing_dark"),
    ] {
        let mut view = scenes::desk();
        // The picture lies beside this file.
        view.edit = evendraw::desk::model::plan_written("tests/desk/lid.toml", &plan, "joint/0");
        let mut harness = pictures::harness(view, theme, size, 1.0);
        harness.key_press(Key::F6);
        harness.run();
        harness.key_press(Key::M);
        harness.run();
        harness.snapshot(name);
        results.extend_harness(&mut harness);
    }
}
