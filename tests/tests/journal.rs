//! The journal's format: golden bytes, one spelling each, and recovery at every byte.
//!
//! `core/JOURNAL.md` is the written format. Golden lines are added for a new kind or version, never edited:
//! `EVENDRAW_GOLDEN=add cargo test -p evendraw-tests --test journal` appends what is missing.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use evendraw_core::crc::crc32;
use evendraw_core::journal::{
    DecodeError, EncodeError, FIRST_SEED, Found, Frame, OVERHEAD, Scan, decode_entry, encode,
    encode_entry, frame_at,
};
use evendraw_core::limits::{PAYLOAD_MAX, RECORD_MAX};
use evendraw_core::procedure::EngineState;
use evendraw_core::record::*;
use evendraw_core::text::Text;
use evendraw_core::unit::{Angle, Instant, Length, Torque};
use evendraw_core::verdict::{Reason, Reasons, Verdict};
use proptest::prelude::*;

/// The number of the last kind that there is.
const LAST: u8 = 30;
/// Frames of [`journal`]: one of each kind, and a host's.
const FRAMES: u32 = 31;

fn text(words: &str) -> Text {
    Text::new(words).expect("short")
}

/// One record of every kind, in the order of their numbers.
fn one_of_each() -> Vec<Record> {
    let torque = Torque::from_millinewton_meters;
    let angle = Angle::from_millidegrees;
    let reasons = Reasons::NONE
        .with(Reason::TorqueHigh)
        .with(Reason::OutOfOrder);
    vec![
        Started {
            rules: 1,
            procedure: 0xDEAD_BEEF,
            rehearsal: true,
        }
        .into(),
        Begun { step: 1_023 }.into(),
        Attempt {
            step: 300,
            fastener: 63,
            stage: 15,
            attempt: 31,
            pulls: 6,
            verdict: Verdict::Rejected,
            reasons,
            peak: torque(41_250),
            final_torque: torque(-1),
            angle: Some(angle(90_500)),
            prevailing: Added::Given(torque(8_500)),
            restart: Some(torque(38_000)),
            trace: 0x1234_5678,
            took_ms: 70_000,
        }
        .into(),
        Done {
            step: 4,
            manner: Manner::Paper,
        }
        .into(),
        Answered {
            step: 5,
            yes: false,
            note: text("end play 0.3 mm"),
        }
        .into(),
        Measured {
            step: 6,
            length: Length::from_micrometers(-120),
            verdict: Verdict::Accepted,
        }
        .into(),
        Waited {
            step: 7,
            seconds: 14_400,
            verdict: Verdict::Accepted,
        }
        .into(),
        Person {
            name: text("R. Falk"),
            role: Role::Witness,
        }
        .into(),
        Tool {
            id: text("A1"),
            waiver: text("spare, M. Odum"),
        }
        .into(),
        Condition {
            found: text("oiled"),
            matches: true,
        }
        .into(),
        Anchor {
            unix_seconds: 1_764_000_000,
        }
        .into(),
        Zero {
            taken: false,
            offset: torque(12_000),
        }
        .into(),
        Loosened {
            fastener: 3,
            elsewhere: true,
            cause: text("bracket off"),
        }
        .into(),
        Fitted { fastener: 9 }.into(),
        Skipped {
            step: 8,
            reason: text("no access, R. Falk"),
        }
        .into(),
        Noted {
            fastener: None,
            doubt: Doubt::Raised,
            text: text("felt wrong · ½"),
        }
        .into(),
        Decided {
            step: 9,
            decision: Decision::Restart(2),
            note: text("loosened fully"),
        }
        .into(),
        Marked { fastener: 0 }.into(),
        Rechecked {
            step: 10,
            peak: torque(40_000),
            moved: Some(angle(0)),
            verdict: Verdict::Accepted,
        }
        .into(),
        Pass {
            stage: 2,
            pass: 3,
            moved: 1,
            next: AfterPass::Again,
        }
        .into(),
        Moment { moment: 7 }.into(),
        Due {
            stage: 1,
            state: EngineState::Hot,
        }
        .into(),
        Apart {
            note: text("one washer less"),
        }
        .into(),
        Recovered {
            dropped: 17,
            quarantined: 4_096,
        }
        .into(),
        Running {
            fastener: 63,
            torque: torque(8_500),
            seen: Seen::Typed,
        }
        .into(),
        Read {
            step: 300,
            fastener: 63,
            stage: 15,
            attempt: 2,
            way: Way::Eye,
            verdict: Verdict::Rejected,
            reasons,
            torque: Some(torque(48_200)),
            angle: Some(angle(91_000)),
            moved: true,
            prevailing: Added::Typed(torque(8_500)),
            stated: text("1 N·m, 4 %"),
        }
        .into(),
        BySetting {
            step: 301,
            fastener: 0,
            stage: 1,
            attempt: 1,
            verdict: Verdict::Accepted,
            reasons: Reasons::NONE,
            setting: torque(41_300),
            stands_for: torque(45_000),
            moved: false,
            prevailing: Added::Nothing,
        }
        .into(),
        Reassigned {
            of: 300,
            attempt: Attempt {
                step: 9,
                fastener: 8,
                stage: 0,
                attempt: 1,
                pulls: 1,
                verdict: Verdict::Accepted,
                reasons: Reasons::NONE.with(Reason::OutOfOrder),
                peak: torque(20_100),
                final_torque: torque(20_050),
                angle: Some(angle(36_000)),
                prevailing: Added::Nothing,
                restart: None,
                trace: 0x0BAD_CAFE,
                took_ms: 900,
            },
        }
        .into(),
        Withdrawn {
            of: 12,
            reason: text("R. Falk: wrong key"),
        }
        .into(),
        Revised::Joint {
            procedure: 0x1234_5678,
            fasteners: 10,
            stages: [0, 1, 255, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14],
            condition: Some(true),
            apart: false,
            moments: 0b101,
            due: 0b1_0000_0000,
            pass: 2,
            moved: 3,
            not_converged: Some(4),
            judged: Some(300),
            reasons,
            steps: [32, 0, 33, 65, 96, 128, 161, 192, 0, 0, 0, 0, 0, 0, 0, 31],
        }
        .into(),
    ]
}

/// The largest of every kind that has a text, and the largest attempt.
fn largest() -> Vec<Record> {
    let long = text(&"w".repeat(48));
    let most = Torque::MAX;
    vec![
        Attempt {
            step: u16::MAX,
            fastener: u8::MAX,
            stage: u8::MAX,
            attempt: u8::MAX,
            pulls: u8::MAX,
            verdict: Verdict::Unknown,
            reasons: Reason::ALL.into_iter().fold(Reasons::NONE, Reasons::with),
            peak: most,
            final_torque: -most,
            angle: Some(Angle::MAX),
            prevailing: Added::Typed(most),
            restart: Some(most),
            trace: u32::MAX,
            took_ms: u32::MAX,
        }
        .into(),
        Tool {
            id: long.clone(),
            waiver: long.clone(),
        }
        .into(),
        Decided {
            step: u16::MAX,
            decision: Decision::Restart(255),
            note: long.clone(),
        }
        .into(),
        Noted {
            fastener: Some(255),
            doubt: Doubt::Settled,
            text: long,
        }
        .into(),
        Anchor {
            unix_seconds: i64::MIN,
        }
        .into(),
        Revised::Joint {
            procedure: u32::MAX,
            fasteners: u8::MAX,
            stages: [u8::MAX; 16],
            condition: Some(false),
            apart: true,
            moments: u8::MAX,
            due: u16::MAX,
            pass: u8::MAX,
            moved: u8::MAX,
            not_converged: Some(u8::MAX),
            judged: Some(u16::MAX),
            reasons: Reason::ALL.into_iter().fold(Reasons::NONE, Reasons::with),
            steps: [u8::MAX; 16],
        }
        .into(),
        Revised::Fastener {
            fastener: u8::MAX,
            from: u8::MAX,
            flags: u8::MAX,
            cycles: u8::MAX,
            turned: u16::MAX,
            left_at: u16::MAX,
            running: u32::MAX,
            steps: [u8::MAX; 16],
        }
        .into(),
    ]
}

fn entry(seq: u32, record: Record) -> Entry {
    Entry {
        joint: 2,
        seq,
        boot: 40,
        at: Instant::from_micros(u64::from(seq) * 1_000_003),
        record,
    }
}

/// A journal of one of each kind with a host's frame in the middle, and where each frame begins.
fn journal() -> (Vec<u8>, Vec<usize>) {
    let (mut bytes, mut starts, mut seed) = (Vec::new(), Vec::new(), FIRST_SEED);
    let mut room = [0; PAYLOAD_MAX + OVERHEAD];
    let mut sequence = 0;
    for record in one_of_each() {
        sequence += 1;
        starts.push(bytes.len());
        let frame =
            encode_entry(&entry(sequence, record), sequence, seed, &mut room).expect("fits");
        seed = frame_at(frame, seed).expect("its own").1;
        bytes.extend_from_slice(frame);
        if sequence == 12 {
            sequence += 1;
            starts.push(bytes.len());
            let plan = Frame {
                kind: 200,
                version: 9,
                sequence,
                payload: "[build]\n".as_bytes(),
            };
            let frame = encode(&plan, seed, &mut room).expect("fits");
            seed = frame_at(frame, seed).expect("its own").1;
            bytes.extend_from_slice(frame);
        }
    }
    (bytes, starts)
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02X}");
        text
    })
}

/// Everything that a scan finds, checked to lie end to end over the whole journal.
fn scanned(bytes: &[u8]) -> Vec<Found<'_>> {
    let mut at = 0;
    let mut all = Vec::new();
    for found in Scan::new(bytes) {
        let (from, to) = match found {
            Found::Frame { frame, offset, .. } => (offset, offset + OVERHEAD + frame.payload.len()),
            Found::Damaged { from, to } | Found::Torn { from, to } => (from, to),
        };
        assert!(from == at && to > from, "{found:?} after byte {at}");
        at = to;
        all.push(found);
    }
    assert_eq!(at, bytes.len(), "bytes left without a word");
    all
}

fn sequences(found: &[Found<'_>]) -> Vec<u32> {
    found
        .iter()
        .filter_map(|found| match found {
            Found::Frame { frame, .. } => Some(frame.sequence),
            _ => None,
        })
        .collect()
}

#[test]
fn golden_bytes_of_every_kind_and_version_stay() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/golden/journal.txt");
    let mut text = std::fs::read_to_string(&path).expect("the golden file");
    let golden: BTreeMap<(u8, u8), String> = text
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .map(|line| {
            let mut words = line.split_whitespace();
            let mut number = || words.next()?.parse().ok();
            let key = (number().expect("kind"), number().expect("version"));
            (key, words.next().expect("bytes").to_owned())
        })
        .collect();
    let add = std::env::var("EVENDRAW_GOLDEN").is_ok_and(|value| value == "add");
    let records = one_of_each();
    let kinds: Vec<u8> = records.iter().map(Record::kind).collect();
    assert_eq!(
        kinds,
        (1..=LAST).collect::<Vec<u8>>(),
        "one of each, in order"
    );
    for record in records {
        let kind = record.kind();
        // Its line was made before there were 28 and 29.
        let seq = if kind == 30 { 28 } else { u32::from(kind) };
        let entry = entry(seq, record);
        let mut room = [0; RECORD_MAX + OVERHEAD];
        let bytes = encode_entry(&entry, seq, FIRST_SEED, &mut room).expect("fits");
        let version = entry.record.version();
        match golden.get(&(kind, version)) {
            Some(line) => assert_eq!(&hex(bytes), line, "kind {kind}, version {version}"),
            None if add => writeln!(text, "{kind} {version} {}", hex(bytes)).expect("text"),
            None => panic!("kind {kind}, version {version} has no golden line"),
        }
        let (frame, ..) = frame_at(bytes, FIRST_SEED).expect("proves itself");
        assert_eq!(decode_entry(&frame), Ok(Some(entry)));
    }
    if add {
        std::fs::write(&path, text).expect("written");
    }
}

/// What an attempt of the first version said of a running torque was that it was measured; the rest is as it was.
#[test]
fn an_attempt_of_version_1_is_read() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/golden/journal.txt");
    let text = std::fs::read_to_string(&path).expect("the golden file");
    let line = text.lines().find_map(|line| line.strip_prefix("3 1 "));
    let bytes: Vec<u8> = line
        .expect("the golden line of version 1")
        .as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(std::str::from_utf8(pair).expect("hex"), 16).expect("hex"))
        .collect();
    let (frame, ..) = frame_at(&bytes, FIRST_SEED).expect("proves itself");
    let read = decode_entry(&frame).expect("reads").expect("a record");
    let Record::Attempt(now) = one_of_each().swap_remove(2) else {
        panic!("the third is an attempt");
    };
    let old = Attempt {
        prevailing: Added::Nothing,
        ..now
    };
    assert_eq!(read, entry(3, old.into()));
    // The option in front of the running torque, set; and a running torque behind it: 1 N·m is 2,000 in zigzag.
    let payload = frame.payload;
    let at = payload.len() - (4 + 5 + 3 + 1);
    assert_eq!(payload[at], 0, "no running torque");
    let measured = [&payload[..at], &[1, 0xD0, 0x0F], &payload[at + 1..]].concat();
    let mut room = [0; PAYLOAD_MAX + OVERHEAD];
    let frame = Frame {
        payload: &measured,
        ..frame
    };
    let bytes = encode(&frame, FIRST_SEED, &mut room).expect("fits");
    let (frame, ..) = frame_at(bytes, FIRST_SEED).expect("proves itself");
    let read = decode_entry(&frame).expect("reads").expect("a record");
    let Record::Attempt(read) = read.record else {
        panic!("an attempt");
    };
    let newton_meter = Torque::from_millinewton_meters(1_000);
    assert_eq!(read.prevailing, Added::Measured(newton_meter));
}

/// CRC-32/ISO-HDLC of a whole frame by another implementation: Python 3's zlib.crc32, run by hand with the seed as its second
/// argument over the first golden line without its last four bytes. All 24 lines agreed.
#[test]
fn a_golden_frame_has_the_sum_that_zlib_finds() {
    let mut room = [0; 64];
    let record = one_of_each().remove(0);
    let bytes = encode_entry(&entry(1, record), 1, FIRST_SEED, &mut room).expect("fits");
    let (summed, sum) = bytes.split_last_chunk::<4>().expect("a sum");
    assert_eq!(crc32(FIRST_SEED, summed), u32::from_le_bytes(*sum));
    assert_eq!(u32::from_le_bytes(*sum), ZLIB_SUM);
}

const ZLIB_SUM: u32 = 0xF088_D51F;

#[test]
fn the_largest_records_fit_their_place() {
    for record in largest() {
        let kind = record.kind();
        let entry = Entry {
            joint: u8::MAX,
            seq: u32::MAX,
            boot: u16::MAX,
            at: Instant::from_micros(u64::MAX),
            record,
        };
        let mut room = [0; RECORD_MAX + OVERHEAD];
        let bytes = encode_entry(&entry, u32::MAX, 0, &mut room)
            .unwrap_or_else(|error| panic!("kind {kind}: {error}"));
        let (frame, ..) = frame_at(bytes, 0).expect("proves itself");
        assert_eq!(decode_entry(&frame), Ok(Some(entry)));
    }
}

#[test]
fn what_is_not_known_is_refused_and_a_hosts_kind_is_carried() {
    let frame = |kind, version, payload| Frame {
        kind,
        version,
        sequence: 1,
        payload,
    };
    assert_eq!(
        decode_entry(&frame(LAST + 1, 1, &[])),
        Err(DecodeError::Kind { found: LAST + 1 })
    );
    assert_eq!(
        decode_entry(&frame(0, 1, &[])),
        Err(DecodeError::Kind { found: 0 })
    );
    assert_eq!(
        decode_entry(&frame(2, 2, &[])),
        Err(DecodeError::Version { kind: 2, found: 2 })
    );
    assert_eq!(
        decode_entry(&frame(2, 1, &[])),
        Err(DecodeError::Content { kind: 2 })
    );
    assert_eq!(decode_entry(&frame(128, 77, b"anything")), Ok(None));
    // Step 5 in two bytes instead of one.
    assert_eq!(
        decode_entry(&frame(2, 1, &[0, 1, 1, 0, 0x85, 0x00])),
        Err(DecodeError::Content { kind: 2 })
    );
    let long = [7; PAYLOAD_MAX + 1];
    let mut room = [0; PAYLOAD_MAX + OVERHEAD + 1];
    assert_eq!(
        encode(&frame(200, 1, &long), 0, &mut room),
        Err(EncodeError::TooLong {
            given: PAYLOAD_MAX + 1,
            allowed: PAYLOAD_MAX
        })
    );
    let longest = frame(200, 1, &long[..PAYLOAD_MAX]);
    let bytes = encode(&longest, 5, &mut room).expect("the longest fits");
    assert_eq!(frame_at(bytes, 5).map(|(frame, ..)| frame), Some(longest));
    assert_eq!(
        encode(&longest, 0, &mut [0; 100]),
        Err(EncodeError::Buffer { size: 100 })
    );
}

#[test]
fn a_cut_at_every_byte_keeps_every_whole_frame_and_tells_of_the_rest() {
    let (bytes, starts) = journal();
    for cut in 0..=bytes.len() {
        let found = scanned(&bytes[..cut]);
        let mut whole = starts.iter().skip(1).filter(|&&start| start <= cut).count();
        if cut == bytes.len() {
            whole += 1;
        }
        let expected: Vec<u32> = (1..).take(whole).collect();
        assert_eq!(sequences(&found), expected, "cut at {cut}");
        let torn = found
            .iter()
            .any(|found| matches!(found, Found::Torn { .. }));
        let at_an_end = cut == bytes.len() || starts.contains(&cut);
        assert_eq!(torn, !at_an_end, "cut at {cut}");
        assert!(
            !found
                .iter()
                .any(|found| matches!(found, Found::Damaged { .. })),
            "cut at {cut}"
        );
    }
}

#[test]
fn every_flipped_bit_is_set_aside_with_at_most_two_frames() {
    let (bytes, starts) = journal();
    for at in 0..bytes.len() {
        for bit in 0..8 {
            let mut damaged = bytes.clone();
            damaged[at] ^= 1 << bit;
            let found = scanned(&damaged);
            let kept = sequences(&found);
            assert!(
                kept.len() + 2 >= starts.len(),
                "byte {at}, bit {bit}: kept {kept:?}"
            );
            assert!(
                kept.is_sorted_by(|one, next| one < next),
                "byte {at}, bit {bit}"
            );
            let told = found.iter().any(|found| match *found {
                Found::Damaged { from, to } | Found::Torn { from, to } => (from..to).contains(&at),
                Found::Frame { .. } => false,
            });
            assert!(told, "byte {at}, bit {bit}: damage without a word");
            for found in &found {
                if let Found::Frame { frame, offset, .. } = found {
                    let end = offset + OVERHEAD + frame.payload.len();
                    assert_eq!(
                        damaged[*offset..end],
                        bytes[*offset..end],
                        "byte {at}, bit {bit}"
                    );
                }
            }
        }
    }
}

#[test]
fn lost_and_invented_stretches_are_set_aside_and_reading_goes_on() {
    let (bytes, starts) = journal();
    for &start in &starts[2..20] {
        for length in [1, 4, 12, 40] {
            let mut shorter = bytes.clone();
            shorter.drain(start..start + length);
            let kept = sequences(&scanned(&shorter));
            assert!(
                kept.ends_with(&[FRAMES - 2, FRAMES - 1, FRAMES]) && kept.starts_with(&[1, 2]),
                "{start} {length}: {kept:?}"
            );
            let mut longer = bytes.clone();
            longer.splice(start..start, std::iter::repeat_n(0xFF, length));
            let kept = sequences(&scanned(&longer));
            assert!(
                kept.ends_with(&[FRAMES - 2, FRAMES - 1, FRAMES]) && kept.starts_with(&[1, 2]),
                "{start} {length}: {kept:?}"
            );
        }
    }
}

/// Erased flash reads FF, a file that the system lengthened before a power cut reads 00: both are a torn tail, however long.
#[test]
fn an_empty_tail_is_torn_and_costs_no_frame() {
    let (bytes, _) = journal();
    for fill in [0x00, 0xFF] {
        for length in [1, 11, 12, 13, 600, 100_000] {
            let mut longer = bytes.clone();
            longer.resize(bytes.len() + length, fill);
            let found = scanned(&longer);
            assert_eq!(sequences(&found), (1..=FRAMES).collect::<Vec<u32>>());
            let torn = Found::Torn {
                from: bytes.len(),
                to: longer.len(),
            };
            assert_eq!(found.last(), Some(&torn), "{length} of {fill:02X}");
        }
    }
}

#[test]
fn a_journal_put_together_wrongly_is_noticed() {
    let (bytes, starts) = journal();
    // The same frame twice, two frames exchanged, an older piece appended again.
    let mut twice = bytes.clone();
    twice.splice(starts[5]..starts[5], bytes[starts[4]..starts[5]].to_vec());
    assert!(
        scanned(&twice)
            .iter()
            .any(|found| matches!(found, Found::Damaged { .. }))
    );
    let mut exchanged = bytes[..starts[4]].to_vec();
    exchanged.extend_from_slice(&bytes[starts[5]..starts[6]]);
    exchanged.extend_from_slice(&bytes[starts[4]..starts[5]]);
    exchanged.extend_from_slice(&bytes[starts[6]..]);
    assert!(
        scanned(&exchanged)
            .iter()
            .any(|found| matches!(found, Found::Damaged { .. }))
    );
    let mut again = bytes.clone();
    again.extend_from_slice(&bytes[starts[3]..starts[9]]);
    let found = scanned(&again);
    assert_eq!(sequences(&found), (1..=FRAMES).collect::<Vec<u32>>());
    assert!(matches!(found.last(), Some(Found::Torn { .. })));
}

proptest! {
    /// L8: whatever bytes read as a record would be written as the same bytes.
    #[test]
    fn what_reads_is_written_the_same(kind in 1_u8..=25, changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..4), cut in 0_usize..4, longer in 0_usize..3) {
        let record = one_of_each().remove(usize::from(kind) - 1);
        let mut room = [0; RECORD_MAX + OVERHEAD];
        let frame = encode_entry(&entry(9, record), 9, 1, &mut room).expect("fits");
        let mut payload = frame_at(frame, 1).expect("its own").0.payload.to_vec();
        for (at, byte) in changes {
            let at = at.index(payload.len());
            payload[at] = byte;
        }
        payload.truncate(payload.len().saturating_sub(cut));
        payload.extend(std::iter::repeat_n(0, longer));
        let changed = Frame { kind, version: 1, sequence: 9, payload: &payload };
        if let Ok(Some(entry)) = decode_entry(&changed) {
            let mut room = [0; RECORD_MAX + OVERHEAD];
            let again = encode_entry(&entry, 9, 1, &mut room).expect("fits");
            prop_assert_eq!(frame_at(again, 1).expect("its own").0, changed);
        }
    }

    #[test]
    fn any_bytes_are_scanned_to_their_end(bytes in proptest::collection::vec(any::<u8>(), 0..3_000)) {
        prop_assert_eq!(sequences(&scanned(&bytes)), Vec::<u32>::new());
    }

    #[test]
    fn a_journal_with_anything_done_to_it_gives_only_true_frames(from in any::<prop::sample::Index>(), length in 0_usize..200, with in proptest::collection::vec(any::<u8>(), 0..200)) {
        let (bytes, _) = journal();
        let from = from.index(bytes.len());
        let to = (from + length).min(bytes.len());
        let mut changed = bytes.clone();
        changed.splice(from..to, with);
        let whole = scanned(&bytes);
        for found in scanned(&changed) {
            if let Found::Frame { frame, .. } = found {
                let is_true = whole.iter().any(|other| matches!(other, Found::Frame { frame: own, .. } if *own == frame));
                prop_assert!(is_true, "{:?} was never written", frame);
            }
        }
    }
}
