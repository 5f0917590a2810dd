//! The two ends as a program would use them: an adapter with flash that survives a restart, a host with a file that does.

use std::collections::BTreeMap;

use evendraw_core::crc::crc32;
use evendraw_core::journal::{FIRST_SEED, Found, Scan, decode_entry, encode_entry, frame_at};
use evendraw_core::limits::PAYLOAD_MAX;
use evendraw_core::link::{
    AdapterEnd, Event, FRAMES_MAX, Heard, HostEnd, Identity, Live, PullJournal, Refused, Reply,
    Request, SendProcedure, SendStep, Staging, Ticked,
};
use evendraw_core::procedure::{
    Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Anchor, Begun, Doubt, Entry, Noted, Record};
use evendraw_core::text::{Label, Text};
use evendraw_core::unit::{Instant, Torque};

use super::line::{Line, Rng};

/// Bytes of a place for a procedure.
const PLACE_MAX: usize = 16 * 1024;

/// A procedure of many pieces: 64 fasteners at 8 stages.
pub(crate) fn procedure(torque: i32) -> Vec<u8> {
    let fasteners: Vec<Fastener> = (0..64)
        .map(|index| Fastener {
            label: Label::new(&format!("F{index}")).expect("short"),
            near: [None; 4],
        })
        .collect();
    let stages: Vec<Stage> = (1..=8)
        .map(|stage| {
            let target = Torque::from_millinewton_meters(torque * stage);
            let window = TorqueWindow {
                target,
                min: target.scaled(96, 100),
                max: target.scaled(104, 100),
            };
            Stage::new(StageKind::Tighten {
                window,
                prevailing: Prevailing::None,
            })
        })
        .collect();
    let steps: Vec<Step> = (0..8)
        .flat_map(|stage| (0..64).map(move |fastener| Step::on(fastener, stage)))
        .collect();
    let parts = Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: &[],
        terms: Terms::default(),
    };
    let procedure = Procedure::new(&parts).expect("sound");
    let mut room = vec![0; PLACE_MAX];
    procedure.encode(&mut room).expect("room").to_vec()
}

/// An adapter: what is in `journal`, `places` and `staged` survives a restart, the rest does not.
pub(crate) struct Adapter {
    end: AdapterEnd,
    staging: Staging,
    watch_every: u64,
    boot: u16,
    sequence: u32,
    seed: u32,
    pub(crate) journal: Vec<u8>,
    /// Where each frame begins, and its seed.
    index: Vec<(usize, u32)>,
    places: [Vec<u8>; 2],
    staged: Vec<u8>,
    counts: (u32, u32),
}

impl Adapter {
    pub(crate) fn new() -> Self {
        Self {
            end: AdapterEnd::new(1),
            staging: Staging::new(),
            watch_every: 0,
            boot: 1,
            sequence: 0,
            seed: FIRST_SEED,
            journal: Vec::new(),
            index: Vec::new(),
            places: [Vec::new(), Vec::new()],
            staged: Vec::new(),
            counts: (0, 0),
        }
    }

    pub(crate) fn restart(&mut self) {
        self.counts = (self.good(), self.bad());
        self.boot += 1;
        self.end = AdapterEnd::new(self.boot);
        self.staging = Staging::new();
        self.watch_every = 0;
    }

    pub(crate) fn good(&self) -> u32 {
        self.counts.0 + self.end.counts().good
    }

    pub(crate) fn bad(&self) -> u32 {
        self.counts.1 + self.end.counts().bad
    }

    fn keep(&mut self, record: Record) {
        let sequence = self.sequence + 1;
        let entry = Entry {
            joint: 0,
            seq: sequence,
            boot: self.boot,
            at: Instant::from_micros(u64::from(sequence)),
            record,
        };
        let mut room = [0; PAYLOAD_MAX];
        let frame = encode_entry(&entry, sequence, self.seed, &mut room).expect("fits");
        let (_, sum, _) = frame_at(frame, self.seed).expect("just written");
        self.index.push((self.journal.len(), self.seed));
        self.journal.extend_from_slice(frame);
        (self.sequence, self.seed) = (sequence, sum);
    }

    /// Somebody works with the adapter: records of their own.
    pub(crate) fn work(&mut self, rng: &mut Rng) {
        for _ in 0..=rng.byte() % 8 {
            self.keep(
                Begun {
                    step: u16::from(rng.byte()),
                }
                .into(),
            );
        }
    }

    pub(crate) fn hear(&mut self, byte: u8, up: &mut Line) {
        let (question, brought) = match self.end.feed(byte) {
            Heard::Nothing => return,
            Heard::Send(bytes) => return up.send(bytes),
            Heard::Question(question) => (
                question.without_bytes(),
                question.bytes().unwrap_or_default().to_vec(),
            ),
        };
        let mut frames = Vec::new();
        let reply = match question {
            Request::Identify { nonce } => Reply::Identity(Identity {
                nonce,
                boot: self.boot,
                rules: 1,
                slots: 2,
                last: self.sequence,
                capacity: Torque::from_millinewton_meters(200_000),
                serial: "4411",
                firmware: "simulated",
            }),
            Request::Slot { slot } => match self.places.get(usize::from(slot)) {
                Some(place) => Reply::Slot {
                    slot,
                    length: u32::try_from(place.len()).expect("small"),
                    sum: crc32(0, place),
                },
                None => refused(Refused::Slot),
            },
            Request::Offer { slot, length, sum } => {
                if usize::from(slot) >= self.places.len() {
                    refused(Refused::Slot)
                } else if length as usize > PLACE_MAX {
                    refused(Refused::TooLong)
                } else {
                    let reply = self.staging.offer(slot, length, sum);
                    if reply == (Reply::Have { slot, have: 0 }) {
                        self.staged.clear();
                    }
                    reply
                }
            }
            Request::Piece { slot, offset, .. } => match self.staging.piece(slot, offset, &brought)
            {
                Ok(taken) => {
                    assert_eq!(self.staged.len(), taken.offset as usize);
                    self.staged.extend_from_slice(taken.bytes);
                    self.staging.wrote(slot, taken)
                }
                Err(error) => error.reply(),
            },
            Request::Commit { slot } => match self.staging.commit(slot) {
                Ok(length) => {
                    assert_eq!(self.staged.len(), length as usize);
                    Procedure::decode(&self.staged).expect("what was sent was sound");
                    self.places[usize::from(slot)] = std::mem::take(&mut self.staged);
                    self.staging.clear();
                    Reply::Stored { slot }
                }
                Err(error) => error.reply(),
            },
            Request::Work { slot, joint } => Reply::Working { slot, joint },
            Request::Pull { from } => {
                let first = from.saturating_sub(1) as usize;
                let seed = self.index.get(first).map_or(self.seed, |&(_, seed)| seed);
                for at in first..self.index.len() {
                    let end = self
                        .index
                        .get(at + 1)
                        .map_or(self.journal.len(), |&(end, _)| end);
                    let frame = &self.journal[self.index[at].0..end];
                    if frames.len() + frame.len() > FRAMES_MAX {
                        break;
                    }
                    frames.extend_from_slice(frame);
                }
                Reply::Frames {
                    last: self.sequence,
                    seed,
                    bytes: &frames,
                }
            }
            Request::Watch { every_ms } => {
                self.watch_every = u64::from(every_ms);
                Reply::Watching { every_ms }
            }
            Request::Tell(_) => {
                let text = Text::cut(std::str::from_utf8(&brought).expect("a text"));
                self.keep(
                    Noted {
                        fastener: None,
                        doubt: Doubt::None,
                        text,
                    }
                    .into(),
                );
                Reply::Told
            }
            // It measures nothing, so there is no curve.
            Request::Curve { .. } => Reply::Curve { bytes: &[] },
            Request::Carry { .. } => Reply::Told,
            // It frees nothing: its journal is short.
            Request::Kept { .. } => Reply::Given { first: 1 },
            Request::Read { .. } => Reply::Bytes { bytes: &[] },
            Request::Counts => Reply::Counts(evendraw_core::link::Sums::default()),
            Request::Anchor { unix_seconds } => {
                self.keep(Anchor { unix_seconds }.into());
                Reply::Anchored
            }
        };
        up.send(self.end.answer(&reply).expect("fits"));
    }

    pub(crate) fn run(&mut self, at: u64, up: &mut Line) {
        if self.watch_every > 0 && at.is_multiple_of(self.watch_every) {
            let live = Live {
                at: Instant::from_micros(at * 1_000),
                last: self.sequence,
                ..Live::default()
            };
            let mut room = [0; 64];
            up.send(self.end.live(&live, &mut room).expect("fits"));
        }
    }

    /// What the host sent is here, whole and once.
    pub(crate) fn check(&self, seed: u64, host: &Host, boots: u32) {
        assert_eq!(
            self.places[1],
            procedure(host.stored),
            "seed {seed}: another procedure"
        );
        let mut anchors: BTreeMap<(u16, i64), u32> = BTreeMap::new();
        for found in Scan::new(&self.journal) {
            let Found::Frame { frame, .. } = found else {
                panic!("seed {seed}: the adapter's journal is damaged");
            };
            let entry = decode_entry(&frame).expect("known").expect("a record");
            if let Record::Anchor(anchor) = entry.record {
                *anchors
                    .entry((entry.boot, anchor.unix_seconds))
                    .or_default() += 1;
            }
        }
        assert!(u32::from(self.boot) == boots);
        for (&(boot, unix_seconds), &times) in &anchors {
            assert_eq!(
                times, 1,
                "seed {seed}: {unix_seconds} twice in start {boot}"
            );
        }
        for anchored in &host.anchored {
            let kept = anchors
                .keys()
                .any(|(_, unix_seconds)| unix_seconds == anchored);
            assert!(kept, "seed {seed}: {anchored} was answered and is not kept");
        }
    }
}

fn refused(why: Refused) -> Reply<'static> {
    Reply::Refused { why, at: 0 }
}

/// A host: `journal` is its file; the rest is gone when it is started again.
pub(crate) struct Host {
    end: HostEnd,
    transfer: Transfer,
    nonce: u32,
    round: u32,
    rounds: u32,
    blob: Vec<u8>,
    pub(crate) stored: i32,
    pub(crate) journal: Vec<u8>,
    pub(crate) anchored: Vec<i64>,
    settling: bool,
    finished: bool,
    clock: i64,
    good: u32,
    bad: u32,
}

#[derive(Clone, Debug)]
enum Transfer {
    Identify,
    Send { slot: u8, begun: Option<u32> },
    Watch,
    Anchor,
    Pull,
}

impl Host {
    pub(crate) fn new(rounds: u32, seed: u64) -> Self {
        Self {
            end: HostEnd::new(),
            transfer: Transfer::Identify,
            nonce: u32::try_from(seed % 1_000).expect("small") * 1_000_000,
            round: 0,
            rounds,
            blob: procedure(1_000),
            stored: 1_000,
            journal: Vec::new(),
            anchored: Vec::new(),
            settling: false,
            finished: false,
            clock: 0,
            good: 0,
            bad: 0,
        }
    }

    pub(crate) fn restart(&mut self) {
        self.count();
        self.end = HostEnd::new();
        self.identify();
    }

    fn count(&mut self) {
        self.good += self.end.counts().good;
        self.bad += self.end.counts().bad;
    }

    pub(crate) fn good(&self) -> u32 {
        self.good + self.end.counts().good
    }

    pub(crate) fn bad(&self) -> u32 {
        self.bad + self.end.counts().bad
    }

    pub(crate) fn round(&self) -> u32 {
        self.round
    }

    pub(crate) fn is_settling(&self) -> bool {
        self.settling
    }

    pub(crate) fn is_finished(&self) -> bool {
        self.finished
    }

    fn identify(&mut self) {
        self.nonce += 1;
        self.transfer = Transfer::Identify;
    }

    /// What is kept: the last sequence number and its sum.
    fn pulling(&self) -> PullJournal {
        let last = Scan::new(&self.journal).last();
        match last {
            Some(Found::Frame { frame, sum, .. }) => PullJournal::after(frame.sequence, sum),
            None => PullJournal::from_start(),
            Some(other) => panic!("the host's file is damaged: {other:?}"),
        }
    }

    fn sending(&self) -> SendProcedure<'_> {
        let Transfer::Send { slot, begun } = self.transfer else {
            panic!("not sending");
        };
        let mut sending = SendProcedure::new(slot, &self.blob);
        if let Some(have) = begun {
            sending.answered(&Reply::Have { slot, have });
        }
        sending
    }

    pub(crate) fn run(&mut self, at: u64, down: &mut Line) {
        let now = Instant::from_micros(at * 1_000);
        match self.end.tick(now) {
            Ticked::Nothing => {}
            Ticked::SendAgain => return down.send(self.end.outgoing()),
            Ticked::GaveUp => self.identify(),
        }
        if self.end.is_asking() || self.finished {
            return;
        }
        self.clock = i64::try_from(at).expect("small");
        let mut end = std::mem::take(&mut self.end);
        let request = match &self.transfer {
            Transfer::Identify => Request::Identify { nonce: self.nonce },
            Transfer::Send { .. } => self.sending().request(),
            Transfer::Watch => Request::Watch { every_ms: 50 },
            Transfer::Anchor => Request::Anchor {
                unix_seconds: self.clock,
            },
            Transfer::Pull => self.pulling().request(),
        };
        down.send(end.ask(&request, now).expect("nothing open and identified"));
        self.end = end;
    }

    pub(crate) fn hear(&mut self, byte: u8) {
        let mut end = std::mem::take(&mut self.end);
        match end.feed(byte) {
            Event::Nothing | Event::Live(_) => {}
            Event::Restarted => self.identify(),
            Event::Answer(reply) => self.answered(&reply),
        }
        self.end = end;
    }

    fn answered(&mut self, reply: &Reply<'_>) {
        self.transfer = match (&self.transfer, reply) {
            (Transfer::Identify, Reply::Identity(_)) if self.settling => Transfer::Pull,
            (Transfer::Identify, Reply::Identity(_)) => Transfer::Send {
                slot: 1,
                begun: None,
            },
            (&Transfer::Send { slot, .. }, reply) => {
                let mut sending = self.sending();
                match sending.answered(reply) {
                    SendStep::Done => Transfer::Watch,
                    SendStep::GoOn => match *reply {
                        Reply::Have { have, .. } => Transfer::Send {
                            slot,
                            begun: Some(have),
                        },
                        _ => Transfer::Send { slot, begun: None },
                    },
                    SendStep::Refused(why, at) => panic!("refused: {why} at {at}"),
                }
            }
            (Transfer::Watch, Reply::Watching { .. }) => Transfer::Anchor,
            (Transfer::Anchor, Reply::Anchored) => {
                self.anchored.push(self.clock);
                Transfer::Pull
            }
            (Transfer::Pull, reply) => {
                let mut pulling = self.pulling();
                let step = pulling.answered(reply).expect("the same journal");
                assert_eq!(step.gap, None);
                self.journal.extend_from_slice(step.frames);
                if step.more {
                    Transfer::Pull
                } else if self.settling {
                    self.finished = true;
                    return;
                } else {
                    self.round += 1;
                    if self.round == self.rounds {
                        self.settling = true;
                        Transfer::Pull
                    } else {
                        // The next procedure differs from the last.
                        self.stored = 1_000 + i32::try_from(self.round).expect("small");
                        self.blob = procedure(self.stored);
                        Transfer::Send {
                            slot: 1,
                            begun: None,
                        }
                    }
                }
            }
            (transfer, reply) => panic!("{reply:?} does not answer {transfer:?}"),
        };
    }
}
