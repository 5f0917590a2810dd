//! The journal given back on the emulated board: only on proof, and its power cut in between.

mod adapter_rig;

use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use adapter_rig::{Rig, blank_flash, entries};
use evendraw_core::crc::crc32;
use evendraw_core::journal::{FIRST_SEED, OVERHEAD, encode_entry};
use evendraw_core::limits::RECORD_MAX;
use evendraw_core::link::{PullJournal, Refused, Reply, Request};
use evendraw_core::record::{Doubt, Entry, Noted};
use evendraw_core::text::Text;
use evendraw_core::unit::Instant;

const SECTOR: usize = 4096;
/// Where the journal begins on the board's chip: behind nine places of two sectors.
const JOURNAL: usize = 18 * SECTOR;
/// Sectors that the journal fills, and one that it has begun.
const FULL: u32 = 60;

fn remark(number: u32) -> Entry {
    let noted = Noted {
        fastener: None,
        doubt: Doubt::None,
        text: Text::cut("a remark of a build that is finished"),
    };
    Entry {
        joint: 5,
        seq: number,
        boot: 3,
        at: Instant::from_micros(u64::from(number) * 1_000),
        record: noted.into(),
    }
}

/// A chip with a long journal of remarks, written by the written format alone; its last number and sum.
fn long_journal(folder: &Path) -> (PathBuf, u32, u32) {
    let image = blank_flash(folder);
    let mut bytes = fs::read(&image).expect("the image");
    let (mut sequence, mut seed) = (0_u32, FIRST_SEED);
    let mut room = [0; RECORD_MAX + OVERHEAD];
    for number in 1..=FULL + 1 {
        let at = JOURNAL + SECTOR * usize::try_from(number - 1).expect("small");
        let mut header = b"EDJ1".to_vec();
        let parts = [number, sequence, seed].map(u32::to_le_bytes);
        let sum = parts
            .iter()
            .fold(crc32(0, b"EDJ1"), |sum, part| crc32(sum, part));
        let [number_bytes, sequence_bytes, seed_bytes] = parts;
        for part in [number_bytes, sequence_bytes, sum.to_le_bytes(), seed_bytes] {
            header.extend(part);
        }
        bytes[at..at + header.len()].copy_from_slice(&header);
        let mut used = at + header.len();
        loop {
            let frame = encode_entry(&remark(sequence + 1), sequence + 1, seed, &mut room);
            let frame = frame.expect("fits");
            if used + frame.len() > at + SECTOR || number > FULL && used > at + 400 {
                break;
            }
            bytes[used..used + frame.len()].copy_from_slice(frame);
            used += frame.len();
            sequence += 1;
            seed = u32::from_le_bytes(*frame.last_chunk().expect("a sum"));
        }
    }
    fs::write(&image, bytes).expect("the image");
    (image, sequence, seed)
}

fn given(rig: &mut Rig, question: Request<'_>) -> Result<u32, Refused> {
    match rig.ask(&question).borrowed() {
        Reply::Given { first } => Ok(first),
        Reply::Refused { why, .. } => Err(why),
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_journal_is_given_back_on_proof_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let (image, last, sum) = long_journal(folder.path());
    assert_eq!(entries(&image).len(), usize::try_from(last).expect("small"));
    let mut rig = Rig::start(&image);
    rig.still(50);
    rig.identify();
    let kept = PullJournal::after(last, sum);
    // Nothing but the whole journal's sum is a proof; asked without one, it says what is there.
    for wrong in [
        PullJournal::after(last, sum ^ 1),
        PullJournal::after(last - 1, sum),
        PullJournal::from_start(),
    ] {
        assert_eq!(given(&mut rig, wrong.kept(last)), Err(Refused::Journal));
    }
    assert_eq!(given(&mut rig, PullJournal::from_start().kept(0)), Ok(1));
    assert_eq!(given(&mut rig, kept.kept(last / 2)), Ok(1));
    rig.still(600);
    let half = given(&mut rig, kept.kept(0)).expect("only asked");
    assert!(
        half > last / 2 - 100 && half <= last / 2 + 1,
        "{half} of {last}"
    );
    given(&mut rig, kept.kept(last)).expect("proved");
    rig.still(600);
    let first = given(&mut rig, kept.kept(0)).expect("only asked");
    assert!(first > last - 100 && first <= last, "{first} of {last}");
    // What is pulled from the start begins there, and goes on.
    let mut pull = PullJournal::from_start();
    let reply = rig.ask(&pull.request());
    let gap = pull.answered(&reply.borrowed()).expect("frames").gap;
    assert_eq!(gap.map(|gap| (gap.from, gap.to)), Some((1, first)));
    rig.make_circle(3);
    rig.still(300);
    rig.pull(10.1, 30.0);
    rig.cut();
    let there = entries(&image);
    assert_eq!(there.first().map(|entry| entry.seq), Some(first));
    assert!(there.iter().any(|entry| entry.joint == 0 && entry.boot > 3));
}

#[test]
fn forty_power_cuts_while_it_is_given_back_lose_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let (made, last, sum) = long_journal(folder.path());
    let fresh = fs::read(&made).expect("the image");
    let mut state = 0x5eed_u32;
    let (mut partly, mut freed) = (0, 0);
    for cut in 0..40 {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        // Every other time it goes on with what the cut before left.
        if cut % 2 == 0 {
            fs::write(&made, &fresh).expect("the image");
        }
        let mut rig = Rig::start(&made);
        rig.still(30);
        rig.identify();
        given(&mut rig, PullJournal::after(last, sum).kept(last)).expect("proved");
        thread::sleep(Duration::from_micros(u64::from(state >> 12) % 3_000));
        rig.cut();
        let there = entries(&made);
        let first = there
            .first()
            .map(|entry| entry.seq)
            .expect("the last one stays");
        let all: Vec<Entry> = (first..=last).map(remark).collect();
        assert_eq!(there, all, "cut {cut}");
        partly += u32::from(first > 1 && first < last - 100);
        freed += u32::from(first > 1);
    }
    println!(
        "40 cuts: {freed} times something was freed, {partly} times it was cut in between; nothing lost"
    );
    assert!(freed > 20 && partly > 0, "{freed}, {partly}");
}
