//! Both ends of the link, fed with whatever comes: raw bytes, and frames whose sum is right and whose content is not.
#![no_main]

use evendraw_core::crc::crc32;
use evendraw_core::link::{
    AdapterEnd, Event, Heard, HostEnd, Identity, PullJournal, Reply, Request, SendProcedure,
    Staging, cobs,
};
use evendraw_core::unit::{Instant, Torque};
use libfuzzer_sys::fuzz_target;

struct Ends {
    adapter: AdapterEnd,
    host: HostEnd,
    staging: Staging,
    pull: PullJournal,
    send: SendProcedure<'static>,
    nonce: u32,
}

impl Ends {
    fn byte(&mut self, byte: u8) {
        let mut taken = [0; 256];
        let reply = match self.adapter.feed(byte) {
            Heard::Nothing | Heard::Send(_) => None,
            Heard::Question(question) => Some(match question {
                Request::Identify { nonce } => Reply::Identity(Identity {
                    nonce,
                    boot: 1,
                    rules: 1,
                    slots: 4,
                    last: 0,
                    capacity: Torque::ZERO,
                    serial: "1",
                    firmware: "fuzz",
                }),
                Request::Slot { slot } => Reply::Slot {
                    slot,
                    length: 0,
                    sum: 0,
                },
                Request::Offer { slot, length, sum } => self.staging.offer(slot, length, sum),
                Request::Piece {
                    slot,
                    offset,
                    bytes,
                } => match self.staging.piece(slot, offset, bytes) {
                    Ok(piece) => {
                        let end = piece.offset as usize + piece.bytes.len();
                        assert!(piece.bytes.is_empty() || end >= piece.bytes.len());
                        taken[..piece.bytes.len()].copy_from_slice(piece.bytes);
                        self.staging.wrote(slot, piece)
                    }
                    Err(error) => error.reply(),
                },
                Request::Commit { slot } => match self.staging.commit(slot) {
                    Ok(_) => Reply::Stored { slot },
                    Err(error) => error.reply(),
                },
                Request::Work { slot, joint } => Reply::Working { slot, joint },
                Request::Pull { .. } => Reply::Frames {
                    last: 0,
                    seed: 0,
                    bytes: &[],
                },
                Request::Watch { every_ms } => Reply::Watching { every_ms },
                Request::Anchor { .. } => Reply::Anchored,
                Request::Tell(_) | Request::Carry { .. } => Reply::Told,
                Request::Curve { .. } => Reply::Curve { bytes: &[] },
                Request::Kept { free, .. } => Reply::Given { first: free },
                Request::Read { .. } => Reply::Bytes { bytes: &[] },
                Request::Counts => Reply::Counts(Default::default()),
            }),
        };
        if let Some(reply) = reply {
            self.adapter.answer(&reply).expect("these answers fit");
        }
        match self.host.feed(byte) {
            Event::Nothing | Event::Live(_) => {}
            Event::Restarted => assert!(!self.host.is_identified() && !self.host.is_asking()),
            Event::Answer(reply) => {
                let before = self.pull.last();
                if self.pull.answered(&reply).is_err() {
                    assert_eq!(self.pull.last(), before);
                }
                let _ = self.send.answered(&reply);
                let _ = self.send.request();
            }
        }
        if !self.host.is_asking() {
            self.nonce = self.nonce.wrapping_add(1);
            let request = if self.host.is_identified() {
                self.pull.request()
            } else {
                Request::Identify { nonce: self.nonce }
            };
            let _ = self.host.ask(&request, Instant::BOOT);
        }
    }
}

fuzz_target!(|bytes: &[u8]| {
    let Some((&how, bytes)) = bytes.split_first() else {
        return;
    };
    let mut ends = Ends {
        adapter: AdapterEnd::new(1),
        host: HostEnd::new(),
        staging: Staging::new(),
        pull: PullJournal::from_start(),
        send: SendProcedure::new(1, &[7; 700]),
        nonce: 0,
    };
    if how % 4 == 0 {
        bytes.iter().for_each(|&byte| ends.byte(byte));
        return;
    }
    // Pieces, each a length and a content without its sum.
    let mut rest = bytes;
    while let Some((&length, after)) = rest.split_first() {
        let (content, after) = after.split_at(after.len().min(usize::from(length)));
        rest = after;
        let mut whole = content.to_vec();
        whole.extend_from_slice(&crc32(0, content).to_le_bytes());
        let mut stuffed = [0; 400];
        let count = cobs::encode(&whole, &mut stuffed).expect("room");
        ends.byte(0);
        stuffed[..count].iter().for_each(|&byte| ends.byte(byte));
        ends.byte(0);
    }
});
