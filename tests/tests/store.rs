//! The journal on disk: cut at every byte, damaged at every byte, locked, never mixed.

use std::fs;
use std::path::{Path, PathBuf};

use evendraw::job::{Job, Told};
use evendraw::plan::Plan;
use evendraw::rehearsal::answers::Answers;
use evendraw::rehearsal::{Options, Rehearsal, WorkError};
use evendraw::store::{Fact, HostFact, Journal, Purpose, StoreError, Traces, read};
use evendraw_core::journal::{FIRST_SEED, Found, Frame, Scan, encode, frame_at};
use evendraw_core::record::{Begun, Entry, Record, Skipped, Started};
use evendraw_core::text::Text;
use evendraw_core::unit::Instant;

const PLAN: &str = "[build]\ntitle = \"Harbour pump 7 · Förderpumpe\"\n";

fn entries() -> Vec<Entry> {
    let entry = |seq, record| Entry {
        joint: 0,
        seq,
        boot: 1,
        at: Instant::from_micros(u64::from(seq) * 1000),
        record,
    };
    vec![
        entry(
            1,
            Started {
                rules: 1,
                procedure: 7,
                rehearsal: false,
            }
            .into(),
        ),
        entry(2, Begun { step: 3 }.into()),
        entry(
            3,
            Skipped {
                step: 3,
                reason: Text::new("Ada: later").expect("short"),
            }
            .into(),
        ),
    ]
}

#[test]
fn a_cut_at_any_byte_keeps_every_whole_record_before_it_and_says_what_was_torn() {
    let folder = tempfile::tempdir().expect("a folder");
    let whole = folder.path().join("whole.evj");
    let mut journal = Journal::create(&whole, Purpose::Job, "pump.toml", PLAN).expect("created");
    let mut ends = vec![];
    for entry in entries() {
        journal.append(std::slice::from_ref(&entry)).expect("kept");
        ends.push(fs::metadata(&whole).expect("a file").len());
    }
    drop(journal);
    let bytes = fs::read(&whole).expect("bytes");
    let header = usize::try_from(ends[0]).expect("small") - 1;
    for cut in header..=bytes.len() {
        let path = folder.path().join("cut.evj");
        let _ = fs::remove_file(&path);
        fs::write(&path, &bytes[..cut]).expect("written");
        let (mut journal, content) = Journal::open(&path, Purpose::Job).expect("opened");
        let kept = ends.iter().filter(|end| **end <= cut as u64).count();
        assert_eq!(
            content.entries().cloned().collect::<Vec<_>>(),
            entries()[..kept],
            "cut at {cut}"
        );
        let torn: usize = content
            .damage
            .iter()
            .map(|damage| damage.to - damage.from)
            .sum();
        let sound = if kept == 0 {
            cut - torn
        } else {
            usize::try_from(ends[kept - 1]).expect("small")
        };
        assert_eq!(torn, cut - sound, "cut at {cut}");
        // And it goes on from there.
        journal.append(&entries()[kept..]).expect("kept");
        drop(journal);
        let again = read(&path).expect("read");
        assert_eq!(again.entries().cloned().collect::<Vec<_>>(), entries());
        assert!(again.damage.is_empty());
        assert_eq!(
            again.plan(),
            Some(("pump.toml".to_owned(), PLAN.to_owned()))
        );
    }
}

#[test]
fn a_flip_of_any_byte_is_reported_and_loses_at_most_two_records() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("flip.evj");
    let mut journal = Journal::create(&path, Purpose::Job, "pump.toml", PLAN).expect("created");
    journal.append(&entries()).expect("kept");
    drop(journal);
    let bytes = fs::read(&path).expect("bytes");
    for at in 0..bytes.len() {
        let mut flipped = bytes.clone();
        flipped[at] ^= 0x40;
        fs::write(&path, &flipped).expect("written");
        let content = read(&path).expect("read");
        assert!(!content.damage.is_empty(), "flip at {at} went unnoticed");
        let kept: Vec<Entry> = content.entries().cloned().collect();
        assert!(
            kept.len() + 2 >= entries().len(),
            "flip at {at} lost more than two"
        );
        assert!(
            kept.iter().all(|entry| entries().contains(entry)),
            "flip at {at} made up a record"
        );
    }
}

#[test]
fn a_rehearsal_and_a_job_never_mix_and_one_program_writes_at_a_time() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("job.evj");
    let journal = Journal::create(&path, Purpose::Job, "pump.toml", PLAN).expect("created");
    assert!(matches!(
        Journal::open(&path, Purpose::Job),
        Err(StoreError::InUse { .. })
    ));
    assert!(matches!(
        Journal::create(&path, Purpose::Job, "pump.toml", PLAN),
        Err(StoreError::Io { .. })
    ));
    drop(journal);
    assert!(matches!(
        Journal::open(&path, Purpose::Rehearsal),
        Err(StoreError::OtherPurpose {
            rehearsal: false,
            ..
        })
    ));
    let text = folder.path().join("text.txt");
    fs::write(&text, "not a journal").expect("written");
    assert!(matches!(
        Journal::open(&text, Purpose::Job),
        Err(StoreError::NotAJournal { .. })
    ));
    assert!(matches!(read(&text), Err(StoreError::NotAJournal { .. })));
}

#[test]
fn a_changed_plan_stands_beside_the_first_one() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("job.evj");
    let long = "# α\n".repeat(400);
    let mut journal = Journal::create(&path, Purpose::Job, "pump.toml", PLAN).expect("created");
    journal
        .append_facts(&[HostFact::PartArrived {
            part: "head gasket".to_owned(),
        }])
        .expect("kept");
    journal.change_plan("pump.toml", &long).expect("kept");
    drop(journal);
    let content = read(&path).expect("read");
    assert_eq!(content.plan(), Some(("pump.toml".to_owned(), long)));
}

/// The first frame says what a journal is. Where it is lost the records are read on, and say it again.
#[test]
fn damage_in_the_first_frame_hides_no_record_and_makes_no_job_of_a_rehearsal() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("first.evj");
    for (purpose, rehearsal) in [(Purpose::Job, false), (Purpose::Rehearsal, true)] {
        let _ = fs::remove_file(&path);
        let mut journal = Journal::create(&path, purpose, "pump.toml", PLAN).expect("created");
        let started = Started {
            rules: 1,
            procedure: 7,
            rehearsal,
        };
        let mut kept = entries();
        kept[0].record = started.into();
        journal.append(&kept).expect("kept");
        drop(journal);
        let bytes = fs::read(&path).expect("bytes");
        let (_, _, first) = frame_at(&bytes, FIRST_SEED).expect("the first frame");
        let other = match purpose {
            Purpose::Job => Purpose::Rehearsal,
            Purpose::Rehearsal => Purpose::Job,
        };
        for at in 0..first {
            let mut flipped = bytes.clone();
            flipped[at] ^= 0x11;
            fs::write(&path, &flipped).expect("written");
            let content = read(&path).expect("read");
            assert_eq!(
                content.entries().cloned().collect::<Vec<_>>(),
                kept,
                "flip at {at}"
            );
            assert_eq!(content.damage[0].from, 0, "flip at {at}");
            assert_eq!(content.rehearsal(), Some(rehearsal), "flip at {at}");
            assert!(content.beginning_lost().is_some(), "flip at {at}");
            assert_eq!(content.plan(), None, "flip at {at}");
            assert!(
                matches!(
                    Journal::open(&path, other),
                    Err(StoreError::OtherPurpose { .. })
                ),
                "flip at {at}"
            );
        }
        // Where the start is lost as well nothing says what it is, and it is gone on with as neither.
        let mut flipped = bytes.clone();
        let start = Scan::new(&bytes)
            .find_map(|found| match found {
                Found::Frame { frame, offset, .. } if frame.kind == 1 => Some(offset),
                _ => None,
            })
            .expect("a start");
        flipped[0] ^= 1;
        flipped[start] ^= 0x40;
        fs::write(&path, &flipped).expect("written");
        let content = read(&path).expect("read");
        assert_eq!(content.rehearsal(), None);
        assert!(content.entries().count() > 0);
        for purpose in [Purpose::Job, Purpose::Rehearsal] {
            assert!(matches!(
                Journal::open(&path, purpose),
                Err(StoreError::BeginningLost { .. })
            ));
        }
        assert_eq!(
            fs::read(&path).expect("bytes"),
            flipped,
            "opening changed it"
        );
    }
}

/// A sound frame may have the last number there is, in a journal that was tampered with.
#[test]
fn a_journal_whose_numbers_are_used_up_says_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("last.evj");
    let journal = Journal::create(&path, Purpose::Job, "pump.toml", PLAN).expect("created");
    drop(journal);
    let mut bytes = fs::read(&path).expect("bytes");
    let seed = u32::from_le_bytes(*bytes.last_chunk().expect("a sum"));
    let frame = Frame {
        kind: 200,
        version: 1,
        sequence: u32::MAX,
        payload: b"the last",
    };
    let mut room = [0; 64];
    bytes.extend_from_slice(encode(&frame, seed, &mut room).expect("room"));
    fs::write(&path, &bytes).expect("written");
    let (mut journal, _) = Journal::open(&path, Purpose::Job).expect("opened");
    assert!(matches!(
        journal.append(&entries()),
        Err(StoreError::Full { .. })
    ));
    let fact = HostFact::Handover {
        text: "one more".to_owned(),
    };
    assert!(matches!(
        journal.append_facts(&[fact]),
        Err(StoreError::Full { .. })
    ));
    drop(journal);
    assert_eq!(fs::read(&path).expect("bytes"), bytes);
}

#[test]
fn what_was_torn_twice_at_the_same_place_is_kept_twice() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("torn.evj");
    drop(Journal::create(&path, Purpose::Job, "pump.toml", PLAN).expect("created"));
    let sound = fs::read(&path).expect("bytes");
    let aside = |behind: &str| {
        let name = format!("torn.evj.torn-at-{}{behind}", sound.len());
        fs::read(folder.path().join(name)).ok()
    };
    for torn in [&b"first"[..], b"second", b"second"] {
        fs::write(&path, [&sound, torn].concat()).expect("written");
        drop(Journal::open(&path, Purpose::Job).expect("opened"));
        assert_eq!(fs::read(&path).expect("bytes"), sound);
    }
    assert_eq!(aside("").as_deref(), Some(&b"first"[..]));
    assert_eq!(aside("-2").as_deref(), Some(&b"second"[..]));
    assert_eq!(aside("-3"), None, "the same bytes are set aside once");
}

/// A failed write of several frames, then a shorter one: the last of the failed frames has its seed in front of it.
#[test]
fn a_journal_that_failed_to_write_begins_where_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("moved.evj");
    let away = folder.path().join("away.evj");
    let mut journal = Journal::create(&path, Purpose::Job, "pump.toml", PLAN).expect("created");
    fs::rename(&path, &away).expect("moved");
    assert!(
        journal
            .change_plan("pump.toml", &"# a long plan\n".repeat(200))
            .is_err()
    );
    fs::rename(&away, &path).expect("moved back");
    journal.append(&entries()).expect("kept");
    drop(journal);
    let content = read(&path).expect("read");
    assert!(content.damage.is_empty(), "{:?}", content.damage);
    assert_eq!(content.plan().map(|(_, text)| text).as_deref(), Some(PLAN));
}

/// A rehearsal of one flange, whose journal somebody lays hands on when the first verdict is told.
fn rehearse_and(path: &Path, what: impl Fn(&Path)) -> (Vec<Told>, Result<(), WorkError<String>>) {
    let plan = evendraw_tests::emulator::workspace().join("tests/fixtures/patterns/P01.toml");
    let text = fs::read_to_string(plan).expect("the plan");
    let plan = Plan::parse("P01.toml", &text).expect("it reads");
    let answers = Answers::read(&[], &plan, "a steady hand").expect("nothing given");
    let job = Job::create(path, plan, Purpose::Rehearsal).expect("created");
    let mut rehearsal = Rehearsal::new(job, Options::default(), answers);
    rehearsal.open_all().expect("opened");
    let mut told: Vec<Told> = Vec::new();
    let worked = rehearsal.work(0, &mut |_: &Job, one: &Told| {
        if told.is_empty() {
            what(path);
        }
        told.push(one.clone());
        Ok(())
    });
    (told, worked.map(drop))
}

fn attempts(path: &Path) -> usize {
    read(path)
        .expect("a journal")
        .entries()
        .filter(|entry| matches!(entry.record, Record::Attempt(_)))
        .count()
}

fn curves(path: &Path) -> usize {
    fs::read_dir(format!("{}.traces", path.display())).map_or(0, |files| files.count())
}

fn failure(worked: Result<(), WorkError<String>>) -> String {
    match worked {
        Err(error) => error.to_string(),
        Ok(()) => panic!("the work went on"),
    }
}

#[test]
fn work_stops_when_the_journal_is_deleted_and_what_is_known_is_in_a_new_one() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.evj");
    let (told, worked) = rehearse_and(&path, |path| fs::remove_file(path).expect("deleted"));
    let rescued = folder.path().join("a.rescued.evj");
    let words = failure(worked);
    assert!(
        words.contains("deleted or replaced") && words.contains("a.rescued.evj"),
        "{words}"
    );
    assert!(!path.exists());
    // The verdict told, and the one that was to be told next.
    assert_eq!(told.len(), 1);
    let known = attempts(&rescued);
    assert!(known >= told.len(), "{known}");
    // The curves are found from the new journal, wherever they were put.
    let traces = Traces::beside(&rescued);
    for entry in read(&rescued).expect("a journal").entries() {
        if let Record::Attempt(attempt) = &entry.record {
            let curve = traces.proved(entry.joint, entry.seq, attempt.trace);
            assert!(curve.is_some(), "record {} has lost its curve", entry.seq);
        }
    }
    assert!(Journal::open(&rescued, Purpose::Rehearsal).is_ok());
}

#[test]
fn work_stops_when_another_file_is_put_in_the_journals_place() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.evj");
    let (told, worked) = rehearse_and(&path, |path| {
        // As a program that keeps two folders alike does it: a copy beside, then its name.
        let copy = path.with_extension("copy");
        fs::copy(path, &copy).expect("a copy");
        fs::rename(&copy, path).expect("replaced");
    });
    let words = failure(worked);
    assert!(words.contains("a.rescued.evj"), "{words}");
    assert_eq!(told.len(), 1);
    assert_eq!(attempts(&path), 1, "nothing is written into the other file");
    assert!(attempts(&folder.path().join("a.rescued.evj")) >= 1);
}

#[test]
fn work_stops_when_the_folder_is_moved_and_the_curves_go_with_the_journal() {
    let folder = tempfile::tempdir().expect("a folder");
    let (old, new) = (folder.path().join("bay"), folder.path().join("moved"));
    fs::create_dir(&old).expect("a folder");
    let path = old.join("a.evj");
    let (told, worked) = rehearse_and(&path, |_| fs::rename(&old, &new).expect("moved"));
    let words = failure(worked);
    if cfg!(target_os = "linux") {
        let now = new.join("a.evj");
        assert!(
            words.contains("was moved") && words.contains(&*now.display().to_string()),
            "{words}"
        );
        assert!(!old.exists(), "the old place is not made again");
        assert!(attempts(&now) >= told.len());
        assert_eq!(curves(&now), attempts(&now));
        // Also of a journal that was opened and not begun here.
        let (mut journal, _) = Journal::open(&now, Purpose::Rehearsal).expect("opened");
        fs::rename(&new, &old).expect("moved back");
        assert_eq!(journal.place(), fs::canonicalize(&path).expect("a path"));
    }
    assert_eq!(told.len(), 1);
}

#[test]
fn two_programs_never_write_for_one_name() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.evj");
    let mut first = Journal::create(&path, Purpose::Job, "pump.toml", PLAN).expect("created");
    // Deleted under the first one's feet: the second begins anew, and the first tells nobody that it kept anything.
    fs::remove_file(&path).expect("deleted");
    let mut second = Journal::create(&path, Purpose::Job, "pump.toml", PLAN).expect("created");
    let kept = match first.append(&entries()) {
        Err(StoreError::Gone { kept, .. }) => kept.expect("a new file"),
        other => panic!("{other:?}"),
    };
    second.append(&entries()[..1]).expect("kept");
    assert_eq!(read(&path).expect("read").entries().count(), 1);
    assert_eq!(read(&kept).expect("read").entries().count(), 3);
    // The new file is the first one's as long as it is open.
    assert!(matches!(
        Journal::open(&kept, Purpose::Job),
        Err(StoreError::InUse { .. })
    ));
}

/// Curves of a journal that is gone lie where those of its successor go.
#[test]
fn a_curve_is_never_written_over_and_each_journal_finds_its_own() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.evj");
    let (_, worked) = rehearse_and(&path, |_| {});
    worked.expect("worked");
    let (first, before) = (read(&path).expect("read"), all_of(&path));
    fs::rename(&path, folder.path().join("first.evj")).expect("moved");
    let (_, worked) = rehearse_and(&path, |_| {});
    worked.expect("worked");
    for (name, bytes) in before {
        assert_eq!(
            fs::read(&name).expect("a curve"),
            bytes,
            "{}",
            name.display()
        );
    }
    let traces = Traces::beside(&path);
    let second = read(&path).expect("read");
    for fact in first.facts.iter().chain(&second.facts) {
        if let Fact::Entry(entry) = fact
            && let Record::Attempt(attempt) = &entry.record
        {
            let own = traces.proved(entry.joint, entry.seq, attempt.trace);
            assert!(own.is_some(), "record {} has lost its curve", entry.seq);
        }
    }
}

fn all_of(path: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let files = fs::read_dir(format!("{}.traces", path.display())).expect("curves");
    let paths = files.map(|file| file.expect("a file").path());
    paths
        .map(|path| (path.clone(), fs::read(path).expect("bytes")))
        .collect()
}

#[test]
fn a_lost_curve_is_told_with_its_verdict() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.evj");
    fs::write(folder.path().join("a.evj.traces"), "in the way").expect("written");
    let (told, worked) = rehearse_and(&path, |_| {});
    worked.expect("the work goes on");
    assert!(told.len() > 3);
    for one in told {
        let why = one.curve_lost.expect("told");
        assert!(why.contains("a.evj.traces"), "{why}");
    }
}
