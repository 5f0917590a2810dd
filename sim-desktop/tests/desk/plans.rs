//! Plans at the desk: chosen, watched, and wrong.

use std::path::{Path, PathBuf};

use egui::Key;
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::model::Model;
use evendraw::desk::view::Wanted;

use crate::drive::{COVER, Driven, Folder, press, wait_until, window};

fn written(folder: &Folder, name: &str, text: &str) -> PathBuf {
    let path = folder.path().join(name);
    std::fs::write(&path, text).unwrap();
    path
}

fn notice(harness: &Driven) -> String {
    let view = harness.state().model.view();
    view.notice
        .as_ref()
        .map_or_else(String::new, |notice| notice.words.clone())
}

/// Stands for the system's dialog: the other plan of the folder was chosen.
fn other_plan(wanted: Wanted, folder: &Path) -> Option<PathBuf> {
    assert_eq!(wanted, Wanted::Plan);
    Some(folder.join("other.toml"))
}

/// A dialog that was closed, or could not be shown.
fn nothing(_: Wanted, _: &Path) -> Option<PathBuf> {
    None
}

#[test]
fn a_plan_is_chosen_in_a_dialog_while_the_desk_goes_on() {
    let folder = Folder::new("dialog");
    let path = written(&folder, "cover.toml", COVER);
    written(
        &folder,
        "other.toml",
        &COVER.replace("Harbour pump 7", "Harbour pump 8"),
    );
    let mut model = Model::open(Some(&path)).unwrap();
    model.set_picker(other_plan);
    let mut harness = window(model);
    press(&mut harness, Key::F6);
    press(&mut harness, Key::O);
    press(&mut harness, Key::Num1);
    wait_until(&mut harness, "the other plan is open", |window| {
        std::thread::sleep(std::time::Duration::from_millis(2));
        window.model.view().status.title == "Harbour pump 8"
    });
}

#[test]
fn without_a_dialog_the_path_is_typed() {
    let folder = Folder::new("no-dialog");
    let path = written(&folder, "cover.toml", COVER);
    let other = written(
        &folder,
        "other.toml",
        &COVER.replace("Harbour pump 7", "Harbour pump 8"),
    );
    let mut model = Model::open(Some(&path)).unwrap();
    model.set_picker(nothing);
    let mut harness = window(model);
    press(&mut harness, Key::F6);
    press(&mut harness, Key::O);
    press(&mut harness, Key::Num1);
    wait_until(&mut harness, "it is said", |window| {
        std::thread::sleep(std::time::Duration::from_millis(2));
        let notice = &window.model.view().notice;
        notice
            .as_ref()
            .is_some_and(|notice| notice.words.contains("type the path (O)"))
    });
    press(&mut harness, Key::O);
    harness.step();
    harness.event(egui::Event::Text(other.display().to_string()));
    harness.step();
    press(&mut harness, Key::Enter);
    assert_eq!(harness.state().model.view().status.title, "Harbour pump 8");
    // A path that leads nowhere is said, and the plan at hand stays.
    press(&mut harness, Key::O);
    harness.step();
    harness.event(egui::Event::Text("nowhere.toml".to_owned()));
    harness.step();
    press(&mut harness, Key::Enter);
    assert!(notice(&harness).contains("nowhere.toml cannot be read"));
    assert_eq!(harness.state().model.view().status.title, "Harbour pump 8");
}

#[test]
fn a_change_on_disk_is_read_at_once_and_what_is_wrong_is_shown_at_its_line() {
    let folder = Folder::new("watched");
    let path = written(&folder, "cover.toml", COVER);
    let mut harness = window(Model::open(Some(&path)).unwrap());
    press(&mut harness, Key::F6);
    let save = |text: &str, seconds: u64| {
        std::fs::write(&path, text).unwrap();
        // The clock of a file system may be coarse.
        let file = std::fs::File::options().append(true).open(&path).unwrap();
        let later = std::time::SystemTime::now() + std::time::Duration::from_secs(seconds);
        file.set_modified(later).unwrap();
    };
    let wrong = COVER.replace("torque = \"15 N·m\"", "torque = \"15 lb\"");
    save(&wrong, 10);
    harness.step();
    harness.step();
    let line = wrong
        .lines()
        .position(|line| line.contains("15 lb"))
        .unwrap()
        + 1;
    assert_eq!(harness.state().model.view().plan.findings[0].line, line);
    assert!(
        harness
            .query_by_label_contains(&format!("Line {line}, column"))
            .is_some()
    );
    save(&COVER.replace("Harbour pump 7", "Harbour pump 9"), 20);
    harness.step();
    harness.step();
    let view = harness.state().model.view();
    assert!(view.plan.findings.is_empty());
    assert_eq!(view.status.title, "Harbour pump 9");
}
