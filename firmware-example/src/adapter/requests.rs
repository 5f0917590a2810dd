//! What the link asks, and how it is carried out beside everything else.
//!
//! A question that takes time is an [`Transfer`]; the host asks again until it is answered.

use evendraw_core::journal;
use evendraw_core::limits::TEXT_MAX;
use evendraw_core::link::{AdapterEnd, CURVE_MAX, Live, Refused, Reply, Request, Taken, Tell};
use evendraw_core::procedure::Procedure;
use evendraw_core::session::{Input, Next, Readout, Session};
use evendraw_core::trace::Point;
use evendraw_core::unit::{Instant, Span};

use super::{Adapter, Cue, Display, Flash, Keys, Leave, Port, Power, Readings, Trouble, offset_of};
use crate::log::Step;
use crate::slots::{CALIBRATIONS, Held, LENGTH_MAX, SLOTS, SlotWrite};

/// A question that is being carried out.
#[derive(Clone, Copy, Debug)]
pub(super) enum Transfer {
    None,
    /// Clearing an area for an offer.
    Clearing {
        slot: u8,
    },
    /// Writing a piece.
    Writing {
        slot: u8,
        offset: u32,
    },
    /// Writing the head that makes a procedure count.
    Committing {
        slot: u8,
    },
    /// Waiting for the flash to be free, as the name is on it.
    Identifying {
        nonce: u32,
    },
    /// Waiting for the flash to be free, to read what is stored.
    Reading {
        slot: u8,
        offset: u32,
    },
    /// Gathering frames.
    Gathering {
        from: u32,
        seed: u32,
        last: u32,
    },
    /// Waiting for this record to be safe.
    Keeping {
        sequence: u32,
        told: bool,
    },
}

/// Writes an answer; it goes out when the line is free.
fn answer(link: &mut AdapterEnd, waits: &mut bool, reply: &Reply<'_>) {
    // One that fits no frame stays unanswered, and is asked again.
    *waits = link.answer(reply).is_ok();
}

const fn refused(why: Refused) -> Reply<'static> {
    Reply::Refused { why, at: 0 }
}

impl<F, R, P, C, D, K, W> Adapter<F, R, P, C, D, K, W>
where
    F: Flash,
    R: Readings,
    P: Port,
    C: Cue,
    D: Display,
    K: Keys,
    W: Power,
{
    pub(super) fn reply(&mut self, reply: &Reply<'_>) {
        answer(&mut self.link, &mut self.answer_waits, reply);
    }

    /// Carries out what was asked; the bytes of the question wait in the slots's own buffer.
    pub(super) fn question(
        &mut self,
        asked: Request<'_>,
        session: Option<&mut Session<&Procedure>>,
        now: Instant,
        in_pull: bool,
    ) -> Option<Leave> {
        // A new question closes the one before it, whatever came of that.
        self.transfer = Transfer::None;
        let reply = match asked {
            Request::Identify { nonce } => {
                self.transfer = Transfer::Identifying { nonce };
                return None;
            }
            Request::Read { slot, offset } if slot <= CALIBRATIONS => {
                self.transfer = Transfer::Reading { slot, offset };
                return None;
            }
            Request::Counts => Reply::Counts(self.sums),
            Request::Slot { slot } if slot <= CALIBRATIONS => {
                let held = self.slots.held(slot).unwrap_or_default();
                Reply::Slot {
                    slot,
                    length: held.length,
                    sum: held.sum,
                }
            }
            Request::Slot { .. } | Request::Read { .. } => refused(Refused::Slot),
            Request::Offer { slot, .. }
            | Request::Piece { slot, .. }
            | Request::Commit { slot }
                if slot > CALIBRATIONS =>
            {
                refused(Refused::Slot)
            }
            Request::Work { slot, .. } if slot >= SLOTS => refused(Refused::Slot),
            // What needs much of the flash or all of the memory waits until the hand lets go.
            Request::Offer { .. } | Request::Commit { .. } | Request::Work { .. } if in_pull => {
                refused(Refused::InPull)
            }
            Request::Offer { length, .. } if length > LENGTH_MAX => refused(Refused::TooLong),
            Request::Offer { slot, length, sum } => match self.staging.offer(slot, length, sum) {
                Reply::Have { have: 0, .. } => {
                    self.slots.clear();
                    self.transfer = Transfer::Clearing { slot };
                    return None;
                }
                reply => reply,
            },
            Request::Piece { slot, offset, .. } => match self.take_piece(slot, offset) {
                Ok(()) => return None,
                Err(reply) => reply,
            },
            Request::Commit { slot } => match self.commit(slot) {
                Ok(held) => return Some(Leave::Check { place: slot, held }),
                Err(reply) => reply,
            },
            Request::Work { slot, joint } => {
                return Some(Leave::Work {
                    place: slot,
                    joint,
                    asked: true,
                });
            }
            Request::Pull { from } => {
                self.gathered.clear();
                self.transfer = Transfer::Gathering {
                    from,
                    seed: 0,
                    last: 0,
                };
                return None;
            }
            Request::Watch { every_ms } => {
                self.watch = (every_ms > 0).then(|| Span::from_millis(u32::from(every_ms)));
                Reply::Watching { every_ms }
            }
            Request::Anchor { unix_seconds } => match session {
                None => refused(Refused::Session),
                Some(session) => {
                    let input = Input::Anchor { unix_seconds };
                    match self.apply(session, now, input) {
                        Some(_) => refused(Refused::Session),
                        None => {
                            self.keeping(false);
                            return None;
                        }
                    }
                }
            },
            Request::Curve { from } => {
                self.gathered.clear();
                if let Some(session) = session {
                    let points = session.trace().points().skip(usize::from(from));
                    for point in points.take(CURVE_MAX / Point::BYTES) {
                        // What the link takes fits in what is gathered.
                        let _ = self.gathered.extend_from_slice(&point.to_bytes());
                    }
                }
                let bytes = &self.gathered;
                let curve = Reply::Curve { bytes };
                answer(&mut self.link, &mut self.answer_waits, &curve);
                return None;
            }
            // What is kept elsewhere must be all there is here: its sum is of everything before it.
            Request::Kept { last, sum, free } if free > 0 && (last, sum) != self.log.end() => {
                refused(Refused::Journal)
            }
            Request::Kept { free, .. } => {
                if free > 0 {
                    self.log.give_back(free.min(self.needed.saturating_sub(1)));
                }
                Reply::Given {
                    first: self.log.first(),
                }
            }
            Request::Carry { .. } if in_pull => refused(Refused::InPull),
            // Whatever is worked is left: it may be this very joint, under the procedure of before.
            Request::Carry { .. } => match self.take_carried() {
                Ok(()) => {
                    self.keeping(true);
                    return session.map(|_| Leave::Rest);
                }
                Err(why) => refused(why),
            },
            Request::Tell(tell) => match session {
                None => refused(Refused::Session),
                Some(session) => match self.take_told(session, now, tell) {
                    Ok(()) => {
                        self.keeping(true);
                        return None;
                    }
                    Err(why) => refused(why),
                },
            },
        };
        self.reply(&reply);
        None
    }

    /// The answer follows once what was recorded last is safe.
    fn keeping(&mut self, told: bool) {
        let sequence = self.log.taken();
        self.transfer = Transfer::Keeping { sequence, told };
    }

    /// Gives the session what was told, its text taken out of the slots's buffer.
    #[inline(never)]
    fn take_told(
        &mut self,
        session: &mut Session<&Procedure>,
        now: Instant,
        tell: Tell<'_>,
    ) -> Result<(), Refused> {
        if !self.slots.is_idle() || !self.log.has_room(super::ROOM_WANTED) {
            return Err(Refused::Store);
        }
        let mut room = heapless::Vec::<u8, TEXT_MAX>::new();
        // The link takes no longer one.
        let _ = room.extend_from_slice(self.slots.brought());
        let text = core::str::from_utf8(&room).unwrap_or("");
        let tell = Tell { text, ..tell };
        let mut readout = Readout::NOTHING;
        let input = tell.input(&mut readout).ok_or(Refused::Content)?;
        match self.apply(session, now, input) {
            None => Ok(()),
            Some(_) => Err(Refused::Session),
        }
    }

    /// Keeps a record that was made elsewhere, if it is the next of its joint; one that is there already is left as it is.
    #[inline(never)]
    fn take_carried(&mut self) -> Result<(), Refused> {
        self.settle();
        let (carried, ..) =
            journal::frame_at(self.slots.brought(), journal::FIRST_SEED).ok_or(Refused::Content)?;
        let entry = journal::decode_entry(&carried).ok().flatten();
        let entry = entry.ok_or(Refused::Content)?;
        let mut last = 0;
        let mut is_other = false;
        let mut walk = self.log.walk();
        loop {
            self.parts.power.is_alive();
            match walk.next(&mut self.parts.flash, &mut self.room) {
                Ok(Step::Frame { frame, .. }) => {
                    if let Ok(Some(own)) = journal::decode_entry(&frame)
                        && own.joint == entry.joint
                    {
                        last = own.seq;
                        // The same record has the same bytes.
                        is_other |= own.seq == entry.seq && frame.payload != carried.payload;
                    }
                }
                Ok(Step::End) | Err(_) => break,
                Ok(_) => {}
            }
        }
        self.back_to_readings();
        if is_other {
            return Err(Refused::Session);
        }
        if entry.seq <= last {
            return Ok(());
        }
        if entry.seq != last.saturating_add(1) {
            return Err(Refused::Session);
        }
        // The next start here must have a higher number.
        self.boot = self.boot.max(entry.boot);
        self.log
            .push(&entry)
            .map(drop)
            .map_err(|_full| Refused::Store)
    }

    fn take_piece(&mut self, slot: u8, offset: u32) -> Result<(), Reply<'static>> {
        let taken = match self.staging.piece(slot, offset, self.slots.brought()) {
            Ok(taken) => (taken.offset, taken.bytes.len()),
            Err(why) => return Err(why.reply()),
        };
        let (offset, length) = taken;
        if length == 0 {
            let nothing = Taken { offset, bytes: &[] };
            return Err(self.staging.wrote(slot, nothing));
        }
        self.slots.write_brought(offset, length);
        self.transfer = Transfer::Writing { slot, offset };
        Ok(())
    }

    fn commit(&mut self, slot: u8) -> Result<Held, Reply<'static>> {
        let length = match self.staging.commit(slot) {
            Ok(length) => length,
            // A commit that is repeated after a restart of the host finds the procedure in its place.
            Err(why) => return Err(why.reply()),
        };
        let sum = self.staging.sum().unwrap_or(0);
        self.slots
            .filled(length, sum)
            .ok_or(refused(Refused::NotOffered))
    }

    /// Looks at the procedure that was sent, while no other takes up the memory; takes it, or refuses it with the byte.
    #[inline(never)]
    pub(super) fn check(&mut self, place: u8, held: Held) -> Leave {
        self.settle();
        let back = self.left_at();
        if place == CALIBRATIONS {
            if self.is_calibration(held) {
                self.slots.commit(place, held);
                self.transfer = Transfer::Committing { slot: place };
            } else {
                self.reply(&refused(Refused::Procedure));
            }
            self.staging.clear();
            return back;
        }
        let mut procedure = None;
        let loaded = self
            .slots
            .load_into(&mut procedure, &mut self.parts.flash, held);
        match loaded {
            Ok(())
                if procedure
                    .as_ref()
                    .is_some_and(|made| made.digest() == held.sum) =>
            {
                self.slots.commit(place, held);
                self.transfer = Transfer::Committing { slot: place };
            }
            Ok(()) => self.reply(&refused(Refused::Incomplete)),
            Err(fault) => {
                defmt::warn!("procedure refused: {}", fault);
                self.reply(&Reply::Refused {
                    why: Refused::Procedure,
                    at: offset_of(&fault),
                });
            }
        }
        self.staging.clear();
        back
    }

    pub(super) fn refuse_work(&mut self, why: Trouble) {
        let reply = match why {
            Trouble::Procedure(at) => Reply::Refused {
                why: Refused::Procedure,
                at,
            },
            _ => refused(Refused::Session),
        };
        self.reply(&reply);
    }

    pub(super) fn answer_working(&mut self, slot: u8, joint: u8) {
        self.reply(&Reply::Working { slot, joint });
    }

    /// The slots finished what it was at; the place that holds something new.
    pub(super) fn shelved(&mut self, shelved: SlotWrite) -> Option<u8> {
        let transfer = core::mem::replace(&mut self.transfer, Transfer::None);
        let done = shelved == SlotWrite::Done;
        let reply = match transfer {
            Transfer::Clearing { .. } | Transfer::Writing { .. } | Transfer::Committing { .. }
                if !done =>
            {
                refused(Refused::Store)
            }
            Transfer::Clearing { slot } => Reply::Have { slot, have: 0 },
            Transfer::Writing { slot, offset } => {
                let bytes = self.slots.brought();
                self.staging.wrote(slot, Taken { offset, bytes })
            }
            Transfer::Committing { slot } => Reply::Stored { slot },
            other => {
                self.transfer = other;
                return None;
            }
        };
        self.reply(&reply);
        match reply {
            Reply::Stored { slot } => Some(slot),
            _ => None,
        }
    }

    pub(super) fn errand_step(&mut self) {
        match &self.transfer {
            Transfer::Keeping { sequence, told } if self.log.stored() >= *sequence => {
                let reply = if *told { Reply::Told } else { Reply::Anchored };
                self.transfer = Transfer::None;
                self.reply(&reply);
            }
            _ if !self.log.is_idle() || !self.slots.is_idle() => {}
            Transfer::Gathering { .. } => self.gather(),
            Transfer::Identifying { nonce } => {
                let nonce = *nonce;
                self.transfer = Transfer::None;
                self.identify(nonce);
            }
            Transfer::Reading { slot, offset } => {
                let (slot, offset) = (*slot, *offset);
                self.transfer = Transfer::None;
                self.read_back(slot, offset);
            }
            _ => {}
        }
    }

    /// Gives what is stored at a place, from a byte on.
    fn read_back(&mut self, slot: u8, offset: u32) {
        let _ = self.gathered.resize_default(self.gathered.capacity());
        let held = self.slots.held(slot).unwrap_or_default();
        let flash = &mut self.parts.flash;
        match self.slots.read(flash, held, offset, &mut self.gathered) {
            Some(bytes) => answer(
                &mut self.link,
                &mut self.answer_waits,
                &Reply::Bytes { bytes },
            ),
            None => self.reply(&refused(Refused::Store)),
        }
    }

    /// Adds one frame to what is gathered, or ends it.
    fn gather(&mut self) {
        let Transfer::Gathering { from, seed, last } = &mut self.transfer else {
            return;
        };
        let bytes = &mut self.gathered;
        // Going on where the last answer ended saves walking the whole journal for each.
        let before = self.walk.take().and_then(|walk| walk.resumed(&self.log));
        let mut walk = before
            .filter(|walk| walk.sequence() < *from)
            .unwrap_or_else(|| self.log.walk());
        let before = walk.clone();
        let step = walk.next(&mut self.parts.flash, &mut self.room);
        let more = match step {
            Ok(Step::Frame { frame, .. }) if frame.sequence < *from => true,
            Ok(Step::Frame {
                frame,
                seed: own,
                bytes: found,
            }) => {
                let first = bytes.is_empty();
                let follows = first || frame.sequence == *last + 1;
                if follows && bytes.extend_from_slice(found).is_ok() {
                    if first {
                        *seed = own;
                    }
                    *last = frame.sequence;
                    // Looking for the next one, from here.
                    *from = frame.sequence + 1;
                    true
                } else {
                    walk = before;
                    false
                }
            }
            Ok(Step::Torn { .. } | Step::Damaged { .. }) => true,
            Ok(Step::End) | Err(_) => false,
        };
        self.walk = Some(walk);
        if more {
            return;
        }
        let frames = Reply::Frames {
            last: self.log.stored(),
            seed: *seed,
            bytes,
        };
        answer(&mut self.link, &mut self.answer_waits, &frames);
        self.transfer = Transfer::None;
    }

    pub(super) fn send_live(&mut self, session: Option<&Session<&Procedure>>, now: Instant) {
        let seen = session.map(|session| session.live()).unwrap_or_default();
        let step = session.and_then(|session| match session.next() {
            Next::Pull { step } | Next::Hand { step } | Next::Answer { step } => Some(step),
            _ => None,
        });
        let live = Live {
            at: now,
            torque: seen.torque,
            peak: seen.peak,
            angle: seen.angle,
            step,
            pulls: seen.pulls,
            cue: self.cue_word(),
            halt: self.halt,
            last: self.log.stored(),
        };
        let mut room = [0; 64];
        if let Ok(bytes) = self.link.live(&live, &mut room) {
            let _ = self.sending.extend_from_slice(bytes);
        }
    }
}
