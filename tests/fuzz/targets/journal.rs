//! The journal: any bytes are told of to their end; what reads as a record is written the same (L8).
#![no_main]

use evendraw_core::crc::crc32;
use evendraw_core::journal::{
    FIRST_SEED, Found, Frame, OVERHEAD, Scan, decode_entry, encode, encode_entry, frame_at,
};
use evendraw_core::limits::{PAYLOAD_MAX, RECORD_MAX};
use libfuzzer_sys::fuzz_target;

fn scan(bytes: &[u8]) -> usize {
    let (mut at, mut frames, mut last) = (0, 0, 0);
    for found in Scan::new(bytes) {
        let (from, to) = match found {
            Found::Frame { frame, offset, .. } => {
                assert!(frame.sequence > last);
                last = frame.sequence;
                frames += 1;
                let _ = decode_entry(&frame);
                (offset, offset + OVERHEAD + frame.payload.len())
            }
            Found::Damaged { from, to } | Found::Torn { from, to } => (from, to),
        };
        assert!(from == at && to > from);
        at = to;
    }
    assert_eq!(at, bytes.len());
    frames
}

fuzz_target!(|bytes: &[u8]| {
    let Some((&how, bytes)) = bytes.split_first() else {
        return;
    };
    match how % 3 {
        0 => {
            scan(bytes);
        }
        1 => {
            // One frame with a right sum: kind, version, payload.
            let [kind, version, payload @ ..] = bytes else {
                return;
            };
            let payload = &payload[..payload.len().min(PAYLOAD_MAX)];
            let frame = Frame {
                kind: *kind,
                version: *version,
                sequence: 1,
                payload,
            };
            let mut room = [0; PAYLOAD_MAX + OVERHEAD];
            let written = encode(&frame, FIRST_SEED, &mut room).expect("fits");
            assert_eq!(frame_at(written, FIRST_SEED).expect("its own").0, frame);
            if let Ok(Some(entry)) = decode_entry(&frame) {
                let mut again = [0; RECORD_MAX + OVERHEAD];
                let again = encode_entry(&entry, 1, FIRST_SEED, &mut again).expect("fits");
                assert_eq!(again, written);
            }
        }
        _ => {
            // A chain of frames, then damage at one place.
            let [at, flip, rest @ ..] = bytes else { return };
            let mut journal = Vec::new();
            let (mut seed, mut sequence, mut rest) = (FIRST_SEED, 0_u32, rest);
            while let Some((&length, after)) = rest.split_first() {
                let (payload, after) = after.split_at(after.len().min(usize::from(length % 32)));
                rest = after;
                sequence += 1;
                let mut room = [0; 64];
                let frame = Frame {
                    kind: length,
                    version: 1,
                    sequence,
                    payload,
                };
                let written = encode(&frame, seed, &mut room).expect("fits");
                seed = frame_at(written, seed).expect("its own").1;
                journal.extend_from_slice(written);
            }
            assert_eq!(scan(&journal), sequence as usize);
            if *flip != 0 && !journal.is_empty() {
                let place = usize::from(*at) * journal.len() / 256;
                journal[place] ^= flip;
                // How many are lost is no law here: a guided fuzzer makes payloads that hold a frame made for its place,
                // and after damage in front of it such a frame passes. The sum detects damage, not forgery.
                scan(&journal);
            }
            assert_eq!(crc32(0, b"evendraw journal 1"), FIRST_SEED);
        }
    }
});
