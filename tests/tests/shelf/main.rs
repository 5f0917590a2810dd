//! A shelf of builds: recalled, listed, exported; with damaged, locked, foreign and newer journals among them.

mod make;

use std::fs;

use evendraw::job::Job;
use evendraw::plan::Plan;
use evendraw::store::{Purpose, read};
use evendraw_core::record::Record;
use evendraw_core::verdict::Verdict;

use make::{Size, Work};

const SMALL: Size = Size {
    builds: 20,
    joints: 3,
    fasteners: 6,
};

/// What the generator appends in one go is byte for byte what a job keeps record by record, synced and read back.
#[test]
fn the_store_writes_the_same_bytes_in_one_go() {
    let folder = tempfile::tempdir().expect("a folder");
    for number in [2, 3, 5] {
        make::build(folder.path(), number, SMALL);
        let path = folder.path().join("live.evj");
        let _ = fs::remove_file(&path);
        let _ = fs::remove_dir_all(folder.path().join("live.evj.traces"));
        let plan = Plan::parse("pump.toml", &make::plan(number, SMALL)).expect("a plan");
        let mut work = Work::new(Job::create(&path, plan, Purpose::Job).expect("a job"), number);
        work.run(number);
        drop(work);
        let made = folder.path().join(make::name(number)).join("pump.evj");
        assert!(fs::read(&path).expect("live") == fs::read(made).expect("made"), "build {number}");
    }
}

/// Otherwise the figures would be those of a shelf of rejected pulls.
#[test]
fn most_pulls_of_the_shelf_are_accepted_and_some_are_not() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut accepted, mut others) = (0, 0);
    for number in 0..SMALL.builds {
        make::build(folder.path(), number, SMALL);
        let content = read(&folder.path().join(make::name(number)).join("pump.evj")).expect("read");
        for entry in content.entries() {
            if let Record::Attempt(attempt) = &entry.record {
                if attempt.verdict == Verdict::Accepted {
                    accepted += 1;
                } else {
                    eprintln!("{number} {} {:?} {:?}", entry.seq, attempt.reasons.iter().map(|r| r.word()).collect::<Vec<_>>(), attempt);
                    others += 1;
                }
            }
        }
    }
    assert!(accepted > 1_000 && others > 0 && others < accepted / 20, "{accepted} {others}");
}
