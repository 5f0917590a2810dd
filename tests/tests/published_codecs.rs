//! CRC-32, COBS and postcard against published vectors; see the file for each one's source.

use evendraw_core::crc::crc32;
use evendraw_core::journal::{Frame, decode_entry};
use evendraw_core::link::cobs;
use evendraw_core::record::Record;
use evendraw_tests::table::rows;

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).expect("hex"))
        .collect()
}

fn of_kind(kind: &str) -> Vec<(Vec<u8>, String)> {
    let found: Vec<_> = rows("codec_vectors.csv")
        .iter()
        .filter(|row| row.text("kind") == kind)
        .map(|row| (bytes(row.text("input")), row.text("expected").to_owned()))
        .collect();
    assert!(found.len() >= 4, "{kind}");
    found
}

#[test]
fn check_sums_are_the_published_ones_however_the_bytes_are_split() {
    for (input, expected) in of_kind("crc") {
        let expected = u32::from_str_radix(&expected, 16).expect("hex");
        assert_eq!(crc32(0, &input), expected, "{input:02X?}");
        for cut in 0..=input.len() {
            assert_eq!(
                crc32(crc32(0, &input[..cut]), &input[cut..]),
                expected,
                "cut at {cut}"
            );
        }
    }
}

#[test]
fn stuffing_gives_the_published_bytes_and_takes_them_back() {
    for (input, expected) in of_kind("cobs") {
        let expected = bytes(&expected);
        let mut room = [0; 300];
        let length = cobs::encode(&input, &mut room).expect("fits");
        assert_eq!(room[..length], expected, "{input:02X?}");
        let mut back = [0; 300];
        let count = cobs::decode(&expected, &mut back).expect("reads");
        assert_eq!(back[..count], input);
        // Too small a buffer is refused, not overrun.
        assert_eq!(cobs::encode(&input, &mut room[..length - 1]), None);
        if count > 0 {
            assert_eq!(cobs::decode(&expected, &mut back[..count - 1]), None);
        }
    }
}

#[test]
fn stuffing_refuses_what_is_published_as_wrong() {
    for (input, _) in of_kind("cobs-error") {
        assert_eq!(cobs::decode(&input, &mut [0; 300]), None, "{input:02X?}");
    }
}

/// The record of this kind whose last field is this number, as the journal reads it.
fn record_ending_in(kind: u8, fields: &[u8], number: &[u8]) -> Option<Record> {
    let payload = [fields, number].concat();
    let frame = Frame {
        kind,
        version: 1,
        sequence: 1,
        payload: &payload,
    };
    Some(decode_entry(&frame).ok()??.record)
}

/// A u16, as a record that begins a step has it.
fn step_read(number: &[u8]) -> Option<u16> {
    match record_ending_in(2, &[0, 1, 0, 0], number)? {
        Record::Begun(begun) => Some(begun.step),
        other => panic!("another kind: {other:?}"),
    }
}

/// An i32, as a record of a zero has it.
fn offset_read(number: &[u8]) -> Option<i32> {
    match record_ending_in(12, &[0, 1, 0, 0, 1], number)? {
        Record::Zero(zero) => Some(zero.offset.millinewton_meters()),
        other => panic!("another kind: {other:?}"),
    }
}

/// The journal's payloads are written by a library and read by the core; these rows are what `core/JOURNAL.md` promises of
/// both.
#[test]
fn numbers_in_payloads_are_the_published_varints() {
    let numbers = |kind: &str| -> Vec<(String, String)> {
        rows("codec_vectors.csv")
            .iter()
            .filter(|row| row.text("kind") == kind)
            .map(|row| {
                (
                    row.text("input").to_owned(),
                    row.text("expected").to_owned(),
                )
            })
            .collect()
    };
    for (input, expected) in numbers("u16") {
        let number: u16 = input.parse().expect("a number");
        assert_eq!(
            postcard::to_stdvec(&number).expect("fits"),
            bytes(&expected),
            "{number}"
        );
        assert_eq!(postcard::from_bytes(&bytes(&expected)), Ok(number));
        assert_eq!(step_read(&bytes(&expected)), Some(number));
    }
    for (input, expected) in numbers("i16") {
        let number: i16 = input.parse().expect("a number");
        assert_eq!(
            postcard::to_stdvec(&number).expect("fits"),
            bytes(&expected),
            "{number}"
        );
        assert_eq!(postcard::from_bytes(&bytes(&expected)), Ok(number));
        assert_eq!(offset_read(&bytes(&expected)), Some(i32::from(number)));
    }
    for (input, expected) in numbers("u16-read") {
        let found = postcard::from_bytes::<u16>(&bytes(&input)).ok();
        match expected.as_str() {
            "reject" => assert!(found.is_none(), "{input}"),
            // A number spelt too long is taken by the library and refused by the journal.
            expected => assert_eq!(found, expected.parse().ok(), "{input}"),
        }
        let is_shortest = input.len() == 2;
        assert_eq!(
            step_read(&bytes(&input)),
            found.filter(|_| is_shortest),
            "{input}"
        );
    }
}

/// The page of the format prints FF FF 02 for 32767; by its own rule, and by the library, it is FE FF 03.
#[test]
fn the_misprint_of_the_varint_page_is_not_followed() {
    let printed: i16 = postcard::from_bytes(&[0xFF, 0xFF, 0x02]).expect("reads as another number");
    assert_ne!(printed, i16::MAX);
    assert_eq!(
        postcard::to_stdvec(&i16::MAX).expect("fits"),
        [0xFE, 0xFF, 0x03]
    );
}
