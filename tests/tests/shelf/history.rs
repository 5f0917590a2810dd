//! History: what like joints showed over builds, held against a plain scan; and forerunners as peers.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use evendraw::job::{Forerunners, Job};
use evendraw::plan::{JointPlan, Plan};
use evendraw::shelf::Shelf;
use evendraw::shelf::history::{History, Spread};
use evendraw::store::{Purpose, read};
use evendraw_core::peers::What;
use evendraw_core::record::Record;

use super::make::{self, Work};
use super::{SMALL, evendraw, objects, shelf_of};

fn history(folder: &Path) -> History {
    let mut history = History::default();
    let shelf = Shelf::open(folder).expect("a shelf").with_history();
    let done: Result<(), ()> = shelf.read(|read| {
        history.take(&read.found.path, &read.history);
        Ok(())
    });
    done.expect("nothing refuses");
    history
}

/// Rotation at the first stage, in a plain scan of the journals.
#[test]
fn distributions_of_the_first_stage_are_those_of_a_plain_scan() {
    let folder = shelf_of(0..12);
    let history = history(folder.path());
    let mut all = 0;
    for (like, group) in history.groups() {
        if like.stage != 0 || like.what() != What::Rotation {
            continue;
        }
        let mut plain = Vec::new();
        for (path, values) in &group.joints {
            let content = read(path).expect("a journal");
            // How far each fastener turned at its first stage, over every try at it.
            let mut turned: BTreeMap<(u8, u8), i32> = BTreeMap::new();
            for entry in content.entries() {
                if let Record::Attempt(own) = &entry.record
                    && own.stage == 0
                    && let Some(angle) = own.angle
                {
                    *turned.entry((entry.joint, own.fastener)).or_default() += angle.millidegrees();
                }
            }
            for value in values {
                let known = turned.values().any(|turned| turned == value);
                assert!(known, "{value} stands in no record of {}", path.display());
                plain.push(*value);
            }
        }
        plain.sort_unstable();
        assert_eq!(group.values(None), plain);
        let spread = Spread::of(&plain).expect("values");
        // The middle has as many on one side as on the other.
        let below = plain.iter().filter(|value| **value < spread.median).count();
        let above = plain.iter().filter(|value| **value > spread.median).count();
        assert!(
            below.abs_diff(above) <= 1 + plain.len() / 10,
            "{below} {above}"
        );
        all += plain.len();
    }
    assert!(all > 100, "{all}");
}

/// What peers there are when forerunners are given decides, and what came of it is an ordinary record: it stands without them.
#[test]
fn a_joint_unlike_its_forerunners_is_doubted_and_stays_so() {
    let folder = shelf_of(0..12);
    let history = history(folder.path());
    let room = tempfile::tempdir().expect("a folder");
    let doubts = |forerunners: Option<Forerunners>| {
        let path = room.path().join("new.evj");
        let _ = fs::remove_file(&path);
        let plan = Plan::parse("pump.toml", &make::plan(12, SMALL)).expect("a plan");
        let mut job = Job::create(&path, plan, Purpose::Job).expect("a job");
        if let Some(forerunners) = forerunners {
            job.set_forerunners(forerunners);
        }
        let mut work = Work::new(job, 12);
        work.run(12);
        drop(work);
        let content = read(&path).expect("kept");
        content
            .entries()
            .filter(|entry| match &entry.record {
                Record::Noted(note) => note.text.as_str().starts_with("unlike peers, stage 1"),
                _ => false,
            })
            .count()
    };
    let alone = doubts(None);
    // The shop's own forerunners turn alike: nothing more is found than among the peers of the joint.
    assert_eq!(doubts(Some(history.forerunners(None))), alone);
    // Forerunners that turned by five degrees, where these turn by thirteen.
    let others = |_: &JointPlan, stage: u8, _: u32, what: What| -> Arc<[i32]> {
        if (stage, what) == (0, What::Rotation) {
            (4_900..5_100).collect()
        } else {
            Arc::from([])
        }
    };
    let beside = doubts(Some(Forerunners::new(Arc::new(others))));
    assert!(beside > alone + 5, "{beside} {alone}");
}

/// Of the build itself nothing counts as its forerunner, and a thread written otherwise is the same thread.
#[test]
fn a_build_is_not_its_own_forerunner() {
    let folder = shelf_of(0..12);
    let shop = folder.path().to_str().expect("a name");
    let journal = folder.path().join(make::name(3)).join("pump.evj");
    let journal = journal.to_str().expect("a name");
    let (_, out, _) = evendraw(&["history", shop, "--journal", journal, "--json"]);
    let beside = objects(&out);
    let (_, out, _) = evendraw(&["history", shop, "--json"]);
    let all = objects(&out);
    let first = &beside[0];
    assert_eq!(first["record"], "forerunners");
    let own: Vec<_> = beside
        .iter()
        .filter(|one| {
            ["joint", "stage", "what"]
                .iter()
                .all(|key| one[*key] == first[*key])
        })
        .collect();
    let group = all
        .iter()
        .find(|one| {
            one["what"] == first["what"]
                && one["stage"] == first["stage"]
                && one["values"] == first["before"].as_u64().unwrap_or(0) + own.len() as u64
        })
        .expect("its group, with its own values besides");
    assert!(group["builds"].as_u64() > Some(1), "{group}");
    let (status, _, err) = evendraw(&["history", shop, "--journal", "nowhere.evj"]);
    assert_eq!(status, 2);
    assert!(err.contains("nowhere.evj"), "{err}");
}
