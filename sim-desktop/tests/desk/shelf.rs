//! The shelf at the desk: read in the background, the rows of the command, sorted, filtered, opened.

use std::path::Path;

use egui::Key;
use egui::accesskit::Role;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use evendraw::desk::model::Model;
use evendraw::desk::view::Ask;
use evendraw::job::Job;
use evendraw::plan::Plan;
use evendraw::store::Purpose;
use serde_json::Value;

use crate::drive::{COVER, Driven, Folder, press, wait_until, window};

/// Two journals, one of them without its plan beside it, a plan that waits for a part, a rehearsal, and a file of noise.
fn shop(folder: &Folder) {
    let path = folder.path();
    let begun = |name: &str, title: &str, purpose| {
        let text = COVER.replace("Harbour pump 7", title);
        let plan = Plan::parse("cover.toml", &text).unwrap();
        Job::create(&path.join(name), plan, purpose).unwrap();
        text
    };
    let text = begun("seven.evj", "Harbour pump 7", Purpose::Job);
    std::fs::write(path.join("seven.toml"), text).unwrap();
    std::fs::create_dir_all(path.join("north")).unwrap();
    begun("north/eight.evj", "Harbour pump 8", Purpose::Job);
    begun("nine.rehearsal.evj", "Harbour pump 9", Purpose::Rehearsal);
    let needs = COVER.replace(
        "order = \"cross\"",
        "order = \"cross\"\nneeds = [\"gasket\"]",
    );
    let ordered = format!("{needs}\n[[part]]\nname = \"gasket\"\non_order = true\n");
    std::fs::write(path.join("ten.toml"), ordered).unwrap();
    std::fs::write(path.join("noise.evj"), "no journal").unwrap();
}

fn on_shelf(folder: &Folder) -> Driven {
    shop(folder);
    // Not on the shelf itself, which is read while the window begins a journal of its own.
    let mut model = Model::in_folder("seven.toml", COVER, &folder.path().join(".away"));
    model.set_browser(false);
    model.carry_out(Ask::ReadShelf(folder.path().to_owned()));
    let mut harness = window(model);
    press(&mut harness, Key::Num0);
    wait_until(&mut harness, "the folder is read", |window| {
        std::thread::sleep(std::time::Duration::from_millis(2));
        !window.model.view().shelf.running
    });
    harness.step();
    harness
}

/// The rows on the screen, by what a screen reader is told.
fn listed(harness: &Driven) -> Vec<String> {
    let rows = harness.query_all_by_role(Role::Row);
    rows.filter_map(|row| row.accesskit_node().label())
        .collect()
}

fn names(harness: &Driven) -> Vec<String> {
    let first = |row: String| row.split(',').next().unwrap_or_default().to_owned();
    listed(harness).into_iter().map(first).collect()
}

/// What the command lists.
fn commanded(folder: &Path, sort: &str) -> Vec<String> {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let folder = folder.to_str().unwrap();
    let line = ["evendraw", "shelf", folder, "--sort", sort, "--json"].map(Into::into);
    evendraw::command::run(line, &mut out, &mut err, false);
    let text = String::from_utf8(out).unwrap();
    text.lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .filter_map(|row| Some(row["build"].as_str()?.to_owned()))
        .collect()
}

#[test]
fn the_table_is_that_of_the_command_by_every_column() {
    let folder = Folder::new("shelf");
    let mut harness = on_shelf(&folder);
    for sort in [
        "name",
        "state",
        "progress",
        "worked",
        "retorques",
        "doubts",
        "tools",
        "parts",
    ] {
        assert_eq!(names(&harness), commanded(folder.path(), sort), "{sort}");
        press(&mut harness, Key::ArrowRight);
    }
    let parts = names(&harness);
    assert_eq!(parts[0], "ten");
    // The column again turns it round; a rehearsal is a key away.
    harness
        .get_by_role_and_label(Role::ColumnHeader, "Parts")
        .click();
    harness.step();
    harness.step();
    let turned: Vec<String> = parts.into_iter().rev().collect();
    assert_eq!(names(&harness), turned);
    press(&mut harness, Key::H);
    assert!(names(&harness).contains(&"nine.rehearsal".to_owned()));
    let passed = &harness.state().model.view().shelf.passed;
    let noise = "noise: nothing in it reads as a journal";
    assert!(
        passed.iter().any(|line| line.starts_with(noise)),
        "{passed:?}"
    );
}

#[test]
fn typing_filters_and_enter_opens_the_build() {
    let folder = Folder::new("shelf-filter");
    let mut harness = on_shelf(&folder);
    press(&mut harness, Key::Slash);
    harness.step();
    harness
        .get_by_label("Only builds with these words (/)")
        .type_text("eight");
    harness.step();
    harness.step();
    assert_eq!(names(&harness), ["north/eight"]);
    // The first Enter ends the typing, the next one opens; once more, and it is open all the same.
    harness.key_press(Key::Enter);
    harness.step();
    assert_eq!(harness.state().model.view().status.title, "Harbour pump 7");
    for _ in 0..2 {
        press(&mut harness, Key::Enter);
        harness.step();
        press(&mut harness, Key::Num0);
    }
    // Its plan lies in the journal alone.
    let view = harness.state().model.view();
    assert_eq!(view.status.title, "Harbour pump 8");
    assert!(!view.status.rehearsal, "the job, not a rehearsal of it");
    assert!(
        view.build.journal.ends_with("eight.evj"),
        "{}",
        view.build.journal
    );
    // The shelf stands as it was left.
    assert_eq!(view.shelf.rows.len(), 4);
}

#[test]
fn reading_is_stopped_and_says_how_far_it_came() {
    let folder = Folder::new("shelf-stop");
    shop(&folder);
    let text = COVER.replace("order = \"cross\"", "order = \"listed\"");
    for number in 0..400 {
        std::fs::write(folder.path().join(format!("plan-{number}.toml")), &text).unwrap();
    }
    // Not on the shelf itself, which is read while the window begins a journal of its own.
    let mut model = Model::in_folder("seven.toml", COVER, &folder.path().join(".away"));
    model.carry_out(Ask::ReadShelf(folder.path().to_owned()));
    model.carry_out(Ask::StopShelf);
    let mut harness = window(model);
    wait_until(&mut harness, "it stopped", |window| {
        std::thread::sleep(std::time::Duration::from_millis(2));
        !window.model.view().shelf.running
    });
    let shelf = &harness.state().model.view().shelf;
    assert!(shelf.stopped);
    assert!(shelf.done < shelf.of, "{} of {}", shelf.done, shelf.of);
}
