//! The builds opened lately: listed where a plan is opened, and found again after their folder was moved, with everything in it.

use std::fs;
use std::path::Path;

use egui::Key;
use egui::accesskit::Role;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use evendraw::desk::model::Model;
use evendraw::job::Job;
use evendraw::job::status::Kept;
use evendraw::plan::Plan;
use evendraw::recent::Recent;
use evendraw::store::{self, Purpose, Traces};

use crate::drive::{
    COVER, Driven, Folder, at_work, one_verdict, press, to_the_end, wait_until, window,
};

/// A plan on disk, opened with the list of recent builds in a folder beside.
fn opened(folder: &Folder, path: &Path) -> Model {
    let mut model = Model::open(Some(path)).unwrap();
    model.set_browser(false);
    model.set_pace(50.0);
    model.set_recent(Recent::in_folder(&folder.path().join("state")));
    model
}

/// Goes to where a plan is opened, and waits until the list is read.
fn looked_for(harness: &mut Driven) -> Vec<String> {
    press(harness, Key::F6);
    press(harness, Key::O);
    wait_until(harness, "the list is read", |window| {
        std::thread::sleep(std::time::Duration::from_millis(2));
        window.model.wants_frame_after().is_none() || !window.model.view().recent.is_empty()
    });
    harness.step();
    let rows = harness.query_all_by_role(Role::Button);
    rows.filter_map(|row| row.accesskit_node().label())
        .filter(|label| label.contains("Harbour pump"))
        .collect()
}

#[test]
fn a_plan_is_opened_from_the_list_with_how_far_it_is() {
    let folder = Folder::new("recent-list");
    let plans: Vec<_> = ["seven", "eight", "nine"]
        .iter()
        .map(|name| {
            let path = folder.path().join(name).join("cover.toml");
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            let text = COVER.replace("Harbour pump 7", &format!("Harbour pump {name}"));
            fs::write(&path, text).unwrap();
            path
        })
        .collect();
    // The one is pulled on, the next is looked at.
    let mut harness = window(opened(&folder, &plans[0]));
    one_verdict(&mut harness);
    drop(harness);
    drop(opened(&folder, &plans[1]));
    let mut harness = window(opened(&folder, &plans[2]));
    let rows = looked_for(&mut harness);
    assert_eq!(rows.len(), 2, "not the one in front: {rows:?}");
    assert_eq!(rows[0], "Harbour pump eight: not begun");
    assert!(
        rows[1].starts_with("Harbour pump seven: rehearsed just now; "),
        "{rows:?}"
    );
    assert!(rows[1].contains(" %; next: "), "{rows:?}");
    // The builds have the first keys, the dialog the one behind them.
    press(&mut harness, Key::Num2);
    harness.step();
    let view = harness.state().model.view();
    assert_eq!(view.status.title, "Harbour pump seven");
    assert_eq!(view.plan.path.as_deref(), Some(plans[0].as_path()));
    drop(harness);
    // One that is gone is told, and nothing is opened for it.
    fs::remove_dir_all(plans[1].parent().unwrap()).unwrap();
    let mut harness = window(opened(&folder, &plans[2]));
    let rows = looked_for(&mut harness);
    let gone = format!("gone or moved: it was {}", plans[1].display());
    let at = rows.iter().position(|row| row.contains(&gone));
    assert!(at.is_some(), "{rows:?}");
    press(&mut harness, [Key::Num1, Key::Num2][at.unwrap()]);
    harness.step();
    let view = harness.state().model.view();
    assert_eq!(view.status.title, "Harbour pump nine");
    assert!(
        view.notice
            .as_ref()
            .is_some_and(|notice| notice.bad && notice.words.contains("cannot be read")),
        "{:?}",
        view.notice
    );
}

#[test]
fn a_folder_of_a_build_is_moved_whole() {
    let folder = Folder::new("recent-moved");
    let (old, new) = (folder.path().join("old"), folder.path().join("new place"));
    fs::create_dir_all(&old).unwrap();
    let path = old.join("cover.toml");
    fs::write(&path, COVER).unwrap();
    // A rehearsal with its curves, then real work: a value read, a reminder, and the joint given to an adapter.
    let mut harness = window(opened(&folder, &path));
    press(&mut harness, Key::Enter);
    to_the_end(&mut harness);
    drop(harness);
    drop(at_work(opened(&folder, &path)));
    {
        let plan = Plan::parse("cover.toml", COVER).unwrap();
        let mut job = Job::create(&old.join("cover.evj"), plan, Purpose::Job).unwrap();
        job.set_wall_time(1_777_000_000);
        let at = evendraw_core::unit::Instant::from_micros(1);
        job.remind("cover", "order two M6 clips", "", at).unwrap();
        job.leave_to_adapter(0, "EV-4411").unwrap();
    }
    let said = |folder: &Path, name: &str| {
        let content = store::read(&folder.join(name)).unwrap();
        let (plan, text) = content.plan().unwrap();
        let plan = Plan::parse(&plan, &text).unwrap();
        let status = Kept::of(&plan, &content, None).status();
        let rows = content.facts.len();
        let at = status.joints[0].at_adapter.clone();
        (status.headline(), status.open, status.exceptions, rows, at)
    };
    let curves = |folder: &Path| {
        let traces = Traces::beside(&folder.join("cover.rehearsal.evj"));
        let content = store::read(&folder.join("cover.rehearsal.evj")).unwrap();
        let entries = store::entries_of(&content.facts, 0);
        entries
            .filter(|entry| traces.load(0, entry.seq).is_some())
            .count()
    };
    let before = (
        said(&old, "cover.evj"),
        said(&old, "cover.rehearsal.evj"),
        curves(&old),
    );
    assert!(before.2 > 0);
    fs::rename(&old, &new).unwrap();
    let after = (
        said(&new, "cover.evj"),
        said(&new, "cover.rehearsal.evj"),
        curves(&new),
    );
    assert_eq!(after, before);
    // It is gone on with at the new place, and told from there alone.
    let moved = new.join("cover.toml");
    let mut harness = window(opened(&folder, &moved));
    assert!(harness.state().model.view().record.len() > 1);
    let rows = looked_for(&mut harness);
    assert!(rows.is_empty(), "the old place is told no more: {rows:?}");
    let list = Recent::in_folder(&folder.path().join("state"));
    let seen = list.seen(jiff::Zoned::now().date());
    assert_eq!(seen.len(), 1);
    assert_eq!(seen[0].plan, moved);
    assert!(seen[0].how.as_ref().is_some_and(|how| !how.rehearsal));
}
