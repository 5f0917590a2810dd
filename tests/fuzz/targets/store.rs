//! A journal of any bytes behind a sound beginning: it opens or is refused; opened, it is gone on with, and nothing that was read is
//! lost by that.
#![no_main]

use std::path::Path;

use evendraw::store::{Content, HostFact, Journal, Purpose, read_on};
use evendraw_core::journal::{FIRST_SEED, Frame, OVERHEAD, encode, frame_at};
use evendraw_core::limits::PAYLOAD_MAX;
use libfuzzer_sys::fuzz_target;

mod memory;

use memory::Memory;

/// Frames with right sums: kind, version and length, then the payload; what does not fit is the bare end.
fn chained(mut journal: Vec<u8>, mut rest: &[u8]) -> Vec<u8> {
    let content = Content::of(&journal);
    let (mut seed, mut at, mut sequence) = (FIRST_SEED, 0, 0);
    while let Some((frame, sum, length)) = frame_at(&journal[at..], seed) {
        (seed, at, sequence) = (sum, at + length, frame.sequence);
    }
    assert!(content.damage.is_empty());
    while let [kind, version, length, after @ ..] = rest {
        if *kind == 255 {
            journal.extend_from_slice(after);
            break;
        }
        let (payload, after) = after.split_at(after.len().min(usize::from(*length)));
        rest = after;
        sequence += 1;
        let mut room = [0; PAYLOAD_MAX + OVERHEAD];
        let frame = Frame {
            kind: *kind,
            version: *version,
            sequence,
            payload,
        };
        let written = encode(&frame, seed, &mut room).expect("fits");
        seed = frame_at(written, seed).expect("its own").1;
        journal.extend_from_slice(written);
    }
    journal
}

fuzz_target!(|bytes: &[u8]| {
    let Some((how, bytes)) = bytes.split_first() else {
        return;
    };
    let path = Path::new("/a/a.evj");
    let journal = if how % 4 == 0 {
        bytes.to_vec()
    } else {
        let disk = Memory::default();
        let made = Journal::create_on(disk.clone(), path, Purpose::Job, "p.toml", "[build]\n");
        drop(made.expect("a new journal"));
        let (_, begun) = read_on(&disk, path).expect("its own");
        chained(begun, bytes)
    };
    let disk = Memory::with(path, &journal);
    let before = Content::of(&journal);
    let Ok((mut opened, content)) = Journal::open_on(disk.clone(), path, Purpose::Job) else {
        return;
    };
    assert_eq!(content.facts, before.facts);
    let _ = (
        content.rehearsal(),
        content.plan(),
        content.beginning_lost(),
        content.last_boot(),
    );
    let more = [HostFact::AtAdapter {
        joint: 0,
        serial: "4411".to_owned(),
    }];
    let kept = opened.append_facts(&more);
    let (after, _) = read_on(&disk, path).expect("still a journal");
    assert!(after.facts.starts_with(&before.facts), "a fact is lost");
    if kept.is_ok() {
        assert_eq!(after.facts.len(), before.facts.len() + 1);
    }
});
