//! Plans at the desk: chosen, watched, wrong, and written from the form.

use std::path::{Path, PathBuf};

use egui::Key;
use egui::accesskit::Role;
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::model::Model;
use evendraw::desk::view::{Ask, Wanted};

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

#[test]
fn a_plan_from_the_form_passes_the_check_of_the_command_line() {
    let folder = Folder::new("form");
    let path = folder.path().join("flange.toml");
    let mut harness = window(Model::in_folder("cover.toml", COVER, folder.path()));
    press(&mut harness, Key::F6);
    press(&mut harness, Key::E);
    harness.step();
    let fill = |harness: &mut Driven, caption: &str, words: &str| {
        harness
            .get_by_role_and_label(Role::TextInput, caption)
            .focus();
        harness.step();
        // What stands there already is typed over.
        harness.key_press_modifiers(egui::Modifiers::COMMAND, Key::A);
        harness.step();
        harness.event(egui::Event::Text(words.to_owned()));
        harness.step();
    };
    for (caption, words) in [
        ("Title of the build", "Harbour pump 7"),
        ("Name of the joint", "Outlet flange"),
        ("Thread, if known", "M16"),
        ("Property class, if known", "8.8"),
        ("First pass, torque", "30 N·m"),
        ("Last pass, torque", "110 N·m"),
        ("Save as", &path.display().to_string()),
    ] {
        fill(&mut harness, caption, words);
    }
    harness
        .get_by_role_and_label(Role::Button, "Save and open it")
        .click();
    harness.step();
    harness.step();
    assert!(path.exists(), "{}", notice(&harness));
    let view = harness.state().model.view();
    assert_eq!(
        (view.status.title.as_str(), view.status.joints.len()),
        ("Harbour pump 7", 1)
    );
    let check = std::process::Command::new(env!("CARGO_BIN_EXE_evendraw"))
        .args(["check".as_ref(), path.as_os_str()])
        .output()
        .unwrap();
    assert!(
        check.status.success(),
        "{}{}",
        String::from_utf8_lossy(&check.stdout),
        String::from_utf8_lossy(&check.stderr)
    );
    // A file that is there is never written over.
    let kept = std::fs::read_to_string(&path).unwrap();
    let again = Ask::SavePlan(path.clone(), COVER.to_owned());
    harness.state_mut().model.carry_out(again);
    harness.step();
    assert!(notice(&harness).contains("never written over"));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), kept);
}
