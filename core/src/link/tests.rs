//! Round trips of every message, both ends over a clean line, and what neither end may do whatever arrives.

use std::vec::Vec;

use proptest::prelude::*;

use super::frame::Receiver;
use super::*;
use crate::tracker::Cue;
use crate::unit::{Angle, Instant, Torque};
use crate::verdict::Reason;

/// Bytes of noise, at most. Under Miri each costs a thousand times as much.
const NOISE: usize = if cfg!(miri) { 60 } else { 4_000 };

fn requests() -> impl Strategy<Value = (u8, u8, u32, u32, u16, i64, Vec<u8>)> {
    (
        1_u8..=15,
        any::<u8>(),
        any::<u32>(),
        any::<u32>(),
        any::<u16>(),
        any::<i64>(),
        proptest::collection::vec(any::<u8>(), 0..=PIECE_MAX),
    )
}

fn request<'a>(
    (kind, slot, one, two, short, long, bytes): &'a (u8, u8, u32, u32, u16, i64, Vec<u8>),
) -> Request<'a> {
    let (slot, length, sum) = (*slot, *one, *two);
    match kind {
        1 => Request::Identify { nonce: length },
        2 => Request::Slot { slot },
        3 => Request::Offer { slot, length, sum },
        4 => Request::Piece {
            slot,
            offset: length,
            bytes,
        },
        5 => Request::Commit { slot },
        6 => Request::Work { slot, joint: slot },
        7 => Request::Pull { from: length },
        8 => Request::Watch { every_ms: *short },
        10 => Request::Tell(Tell {
            what: slot,
            which: *short,
            value: i32::from_le_bytes(one.to_le_bytes()),
            second: if Tell::has_second(slot) {
                i32::from_le_bytes(two.to_le_bytes())
            } else {
                0
            },
            text: [
                "",
                "felt wrong",
                "48 bytes at most, whatever they say of it: ä 48",
            ][bytes.len() % 3],
        }),
        11 => Request::Curve { from: slot },
        12 => Request::Kept {
            last: *one,
            sum: *two,
            free: u32::from(*short),
        },
        13 => Request::Carry { bytes },
        14 => Request::Read { slot, offset: *one },
        15 => Request::Counts,
        _ => Request::Anchor {
            unix_seconds: *long,
        },
    }
}

/// Feeds a frame and returns kind and message.
fn received(bytes: &[u8]) -> Option<(u8, Vec<u8>)> {
    let mut receiver = Receiver::new();
    let mut found = None;
    for &byte in bytes {
        if let Some(head) = receiver.push(byte) {
            found = Some((head.kind, receiver.message().to_vec()));
        }
    }
    found
}

proptest! {
    #[test]
    fn every_request_reads_back_and_writes_the_same_bytes(parts in requests(), token: u32, number: u16) {
        let request = request(&parts);
        let mut wire = [0; WIRE_MAX];
        let length = request.write(token, number, &mut wire).expect("fits");
        let (kind, message) = received(&wire[..length]).expect("a frame");
        prop_assert_eq!(Request::read(kind, &message), Some(request));
    }

    #[test]
    fn every_reply_reads_back(kind in 0_u8..14, slot: u8, one: u32, two: u32, short: u16, bytes in proptest::collection::vec(any::<u8>(), 0..=FRAMES_MAX), name in "[a-z0-9 ]{0,24}", torque in -1_000_000_000_i32..=1_000_000_000) {
        let reply = match kind {
            0 => Reply::Identity(Identity {
                nonce: one,
                boot: short,
                rules: short,
                slots: slot,
                last: two,
                capacity: Torque::from_millinewton_meters(torque),
                serial: &name,
                firmware: &name,
            }),
            1 => Reply::Slot { slot, length: one, sum: two },
            2 => Reply::Have { slot, have: one },
            3 => Reply::Stored { slot },
            4 => Reply::Working { slot, joint: slot },
            5 => Reply::Frames { last: one, seed: two, bytes: &bytes },
            6 => Reply::Watching { every_ms: short },
            7 => Reply::Anchored,
            8 => Reply::Told,
            9 => Reply::Curve { bytes: &bytes[..bytes.len().min(CURVE_MAX)] },
            10 => Reply::Given { first: one },
            11 => Reply::Bytes { bytes: &bytes[..bytes.len().min(PIECE_MAX)] },
            12 => Reply::Counts(Sums {
                at: Instant::from_micros(u64::from(one)),
                readings: two,
                bridge: -i64::from(one),
                rate: i64::from(two),
                scale: one,
                rate_scale: two,
            }),
            _ => Reply::Refused { why: Refused::Procedure, at: one },
        };
        let mut wire = [0; WIRE_MAX];
        let length = reply.write(one, short, &mut wire).expect("fits");
        let (kind, message) = received(&wire[..length]).expect("a frame");
        prop_assert_eq!(Reply::read(kind, &message), Some(reply));
        // Whatever else reads as this kind, it is another message: there is one way to write each.
        let mut longer = message.clone();
        longer.push(0);
        prop_assert_eq!(Reply::read(kind, &longer), None);
        if let Some((_, shorter)) = message.split_last() {
            prop_assert_eq!(Reply::read(kind, shorter), None);
        }
    }

    #[test]
    fn every_live_message_reads_back(at: u64, torque in -1_000_000_000_i32..=1_000_000_000, angle: Option<i16>, step: Option<u16>, pulls: u8, halt in proptest::option::of(0_usize..17), last: u32) {
        let live = Live {
            at: Instant::from_micros(at),
            torque: Torque::from_millinewton_meters(torque),
            peak: Torque::from_millinewton_meters(torque),
            angle: angle.map(|angle| Angle::from_millidegrees(i32::from(angle))),
            step,
            pulls,
            cue: Cue::Approach,
            halt: halt.map(|at| Reason::ALL[at]),
            last,
        };
        let mut wire = [0; 64];
        let length = live.write(1, 2, &mut wire).expect("fits 64 bytes");
        let (_, message) = received(&wire[..length]).expect("a frame");
        prop_assert_eq!(Live::read(&message), Some(live));
    }

    #[test]
    fn stuffing_takes_every_content_and_leaves_no_zero(content in proptest::collection::vec(prop_oneof![Just(0_u8), any::<u8>()], 0..=CONTENT_MAX)) {
        let mut stuffed = [0; WIRE_MAX];
        let length = cobs::encode(&content, &mut stuffed).expect("fits");
        prop_assert!(length <= cobs::encoded_max(content.len()));
        prop_assert!(!stuffed[..length].contains(&0));
        let mut back = [0; CONTENT_MAX];
        let count = cobs::decode(&stuffed[..length], &mut back).expect("reads");
        prop_assert_eq!(&back[..count], &content[..]);
        // Another implementation, which postcard brings along; of nothing it makes nothing, where the paper has one code byte.
        prop_assume!(!content.is_empty());
        prop_assert_eq!(::cobs::encode_vec(&content), stuffed[..length].to_vec());
    }

    #[test]
    fn noise_never_becomes_a_question_or_an_answer(noise in proptest::collection::vec(prop_oneof![1 => Just(0_u8), 8 => any::<u8>()], 0..NOISE)) {
        let mut adapter = AdapterEnd::new(1);
        let mut host = HostEnd::new();
        let _ = host.ask(&Request::Identify { nonce: 9 }, Instant::BOOT).expect("nothing open");
        for &byte in &noise {
            prop_assert_eq!(adapter.feed(byte), Heard::Nothing);
            prop_assert_eq!(host.feed(byte), Event::Nothing);
        }
    }

    #[test]
    fn a_frame_cut_anywhere_is_lost_and_the_next_one_is_not(parts in requests(), cut in 0_usize..WIRE_MAX) {
        let request = request(&parts);
        let mut wire = [0; WIRE_MAX];
        let length = request.write(0, 1, &mut wire).expect("fits");
        let mut arrived = wire[..cut.min(length.saturating_sub(2))].to_vec();
        arrived.extend_from_slice(&wire[..length]);
        let mut receiver = Receiver::new();
        let good = arrived.iter().filter(|&&byte| receiver.push(byte).is_some()).count();
        prop_assert_eq!(good, 1);
    }
}

#[test]
fn every_damaged_byte_is_noticed() {
    let mut wire = [0; WIRE_MAX];
    // Under Miri each byte costs a thousand times as much.
    let piece = &[7; PIECE_MAX][..if cfg!(miri) { 4 } else { PIECE_MAX }];
    let request = Request::Piece {
        slot: 1,
        offset: 0,
        bytes: piece,
    };
    let length = request.write(3, 4, &mut wire).expect("fits");
    for at in 1..length - 1 {
        for bit in 0..8 {
            let mut damaged = wire;
            damaged[at] ^= 1 << bit;
            assert_eq!(received(&damaged[..length]), None, "byte {at}, bit {bit}");
        }
    }
}

/// Sends the host's bytes to the adapter and the adapter's answer back.
fn exchange(host: &mut HostEnd, adapter: &mut AdapterEnd, reply: &Reply<'_>) -> usize {
    let asked = host.outgoing().to_vec();
    let mut answered = Vec::new();
    for byte in asked {
        match adapter.feed(byte) {
            Heard::Nothing => {}
            Heard::Question(_) => answered.extend_from_slice(adapter.answer(reply).expect("fits")),
            Heard::Send(bytes) => answered.extend_from_slice(bytes),
        }
    }
    let mut events = 0;
    for byte in answered {
        if host.feed(byte) != Event::Nothing {
            events += 1;
        }
    }
    events
}

fn identity(nonce: u32) -> Reply<'static> {
    Reply::Identity(Identity {
        nonce,
        boot: 1,
        rules: 1,
        slots: 4,
        last: 0,
        capacity: Torque::from_millinewton_meters(200_000),
        serial: "4411",
        firmware: "test",
    })
}

#[test]
fn a_question_that_comes_again_is_answered_again_and_carried_out_once() {
    let (mut host, mut adapter) = (HostEnd::new(), AdapterEnd::new(1));
    host.ask(&Request::Identify { nonce: 5 }, Instant::BOOT)
        .expect("nothing open");
    assert_eq!(exchange(&mut host, &mut adapter, &identity(5)), 1);
    let anchor = Request::Anchor { unix_seconds: 1 };
    let asked = host
        .ask(&anchor, Instant::BOOT)
        .expect("identified")
        .to_vec();
    let (mut carried_out, mut sent) = (0, 0);
    for &byte in asked.iter().chain(&asked).chain(&asked) {
        match adapter.feed(byte) {
            Heard::Question(_) => {
                carried_out += 1;
                adapter.answer(&Reply::Anchored).expect("fits");
            }
            Heard::Send(_) => sent += 1,
            Heard::Nothing => {}
        }
    }
    assert_eq!((carried_out, sent), (1, 2));
}

#[test]
fn a_restarted_adapter_takes_no_question_from_before() {
    let (mut host, mut adapter) = (HostEnd::new(), AdapterEnd::new(1));
    host.ask(&Request::Identify { nonce: 5 }, Instant::BOOT)
        .expect("nothing open");
    exchange(&mut host, &mut adapter, &identity(5));
    let mut adapter = AdapterEnd::new(2);
    let asked = host
        .ask(&Request::Anchor { unix_seconds: 1 }, Instant::BOOT)
        .expect("identified")
        .to_vec();
    let mut refusal = Vec::new();
    for byte in asked {
        match adapter.feed(byte) {
            Heard::Question(question) => panic!("took {question:?}"),
            Heard::Send(bytes) => refusal.extend_from_slice(bytes),
            Heard::Nothing => {}
        }
    }
    let restarted = refusal
        .iter()
        .filter(|&&byte| host.feed(byte) == Event::Restarted)
        .count();
    assert_eq!(restarted, 1);
    assert!(!host.is_identified() && !host.is_asking());
}

#[test]
fn what_is_not_known_is_refused_with_the_known() {
    let mut adapter = AdapterEnd::new(1);
    let mut heard = |version: u8, kind: u8, message: &[u8]| {
        let mut head = frame::Head::new(0, 1, kind);
        head.version = version;
        let mut wire = [0; WIRE_MAX];
        let length = frame::write(&mut wire, head, |fields| fields.bytes(message)).expect("fits");
        let mut sent = Vec::new();
        for &byte in &wire[..length] {
            match adapter.feed(byte) {
                Heard::Question(question) => panic!("took {question:?}"),
                Heard::Send(bytes) => sent.extend_from_slice(bytes),
                Heard::Nothing => {}
            }
        }
        received(&sent).map(|(kind, message)| match Reply::read(kind, &message) {
            Some(Reply::Refused { why, at }) => (why, at),
            other => panic!("{other:?}"),
        })
    };
    assert_eq!(heard(2, 1, &[0; 4]), Some((Refused::Version, 1)));
    assert_eq!(heard(1, 10, &[]), Some((Refused::Kind, 0)));
    assert_eq!(heard(1, 0, &[]), Some((Refused::Kind, 0)));
    assert_eq!(heard(1, 1, &[0; 3]), Some((Refused::Content, 0)));
    assert_eq!(heard(1, 1, &[0; 5]), Some((Refused::Content, 0)));
    assert_eq!(heard(1, 7, &[0; 4]), Some((Refused::Token, 0)));
    assert_eq!(heard(1, 71, &[]), None, "an echo of an answer");
}

#[test]
fn an_unanswered_question_is_asked_ten_times_and_closed() {
    let mut host = HostEnd::new();
    host.ask(&Request::Identify { nonce: 1 }, Instant::BOOT)
        .expect("nothing open");
    let mut again = 0;
    loop {
        let at = host.deadline().expect("open");
        match host.tick(at) {
            Ticked::SendAgain => again += 1,
            Ticked::GaveUp => break,
            Ticked::Nothing => panic!("the deadline came"),
        }
    }
    assert_eq!(again, 9);
    assert_eq!(host.deadline(), None);
}

/// Frames made by a script in another language from `LINK.md` alone (Python 3: struct, zlib.crc32, stuffing by hand).
#[test]
fn golden_frames_stay() {
    fn hex(bytes: &[u8]) -> std::string::String {
        bytes
            .iter()
            .map(|byte| std::format!("{byte:02X}"))
            .collect()
    }
    let mut wire = [0; WIRE_MAX];
    let identify = Request::Identify { nonce: 0x0102_0304 };
    let length = identify.write(0, 1, &mut wire).expect("fits");
    assert_eq!(
        hex(&wire[..length]),
        "00020101010102010A01040302011ED372B300"
    );
    let piece = Request::Piece {
        slot: 1,
        offset: 256,
        bytes: &[1, 0, 2],
    };
    let length = piece.write(0x0003_0001, 2, &mut wire).expect("fits");
    assert_eq!(
        hex(&wire[..length]),
        "00030101020302020304010201010203020106023404134500"
    );
    let frames = Reply::Frames {
        last: 9,
        seed: 0x37A6_1A41,
        bytes: &[],
    };
    let length = frames.write(0x0003_0001, 7, &mut wire).expect("fits");
    assert_eq!(
        hex(&wire[..length]),
        "0003010102030207034509010105411AA63701058FA39B9F00"
    );
    let refused = Reply::Refused {
        why: Refused::Procedure,
        at: 118,
    };
    let length = refused.write(0x0003_0001, 3, &mut wire).expect("fits");
    assert_eq!(
        hex(&wire[..length]),
        "000301010203020304480976010105B87AB08C00"
    );
}

#[test]
fn the_longest_messages_fit_and_one_byte_more_does_not() {
    // As `LINK.md` says.
    assert_eq!((CONTENT_MAX, WIRE_MAX), (546, 551));
    let bytes = [0xAB; FRAMES_MAX + 1];
    let mut wire = [0; WIRE_MAX];
    let mut frames = |bytes| {
        Reply::Frames {
            last: 1,
            seed: 2,
            bytes,
        }
        .write(3, 4, &mut wire)
    };
    assert!(frames(&bytes[..FRAMES_MAX]).is_some_and(|length| length <= WIRE_MAX));
    assert_eq!(frames(&bytes), None);
}
