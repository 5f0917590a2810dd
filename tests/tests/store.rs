//! The journal on disk: cut at every byte, damaged at every byte, locked, never mixed.

use std::fs;

use evendraw::store::{HostFact, Journal, Purpose, StoreError, read};
use evendraw_core::record::{Begun, Entry, Skipped, Started};
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
    let begins = usize::try_from(fs::metadata(&path).expect("a file").len()).expect("small");
    journal.append(&entries()).expect("kept");
    drop(journal);
    let bytes = fs::read(&path).expect("bytes");
    for at in begins..bytes.len() {
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
