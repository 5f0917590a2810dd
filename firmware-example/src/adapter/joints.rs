//! Which joint is worked: the one that was left, the one that is chosen; its records taken up, and what its journal is told of this start.
//!
//! Knows nothing of what a turn of the loop does.

use evendraw_core::journal;
use evendraw_core::procedure::Procedure;
use evendraw_core::record::Record;
use evendraw_core::session::{Input, RestoreError, Session};

use super::{
    Adapter, Clock, Cue, Display, Flash, Keys, Leave, Port, Power, Readings, Trouble, offset_of,
};
use crate::log::{Recovery, Step};

/// What the journal says of a start that the watchdog made.
const BY_THE_WATCHDOG: &str = "started again by the watchdog";
/// What it says of a start without the crystal.
const BY_THE_OSCILLATOR: &str = "no crystal: angles are sure to 1 % at best";

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
    /// The joint that was worked last, if its procedure is still here.
    pub(super) fn left_at(&mut self) -> Leave {
        let mut last = None;
        let mut walk = self.log.walk();
        loop {
            match walk.next(&mut self.parts.flash, &mut self.room) {
                Ok(Step::Frame { frame, .. }) => {
                    if let Ok(Some(entry)) = journal::decode_entry(&frame)
                        && let Record::Started(started) = entry.record
                    {
                        last = Some((entry.joint, started.procedure));
                    }
                    // As long as the journal is, and no longer.
                    self.parts.power.is_alive();
                }
                Ok(Step::End) | Err(_) => break,
                Ok(_) => {}
            }
        }
        self.back_to_readings();
        let found = last.and_then(|(joint, sum)| Some((joint, self.slots.slot_of(sum)?)));
        match found {
            Some((joint, place)) => Leave::Work {
                place,
                joint,
                asked: false,
            },
            None => Leave::Rest,
        }
    }

    /// After a walk through the journal: what readings came meanwhile are old, and that they were not taken is no fault of the sensors.
    pub(super) fn back_to_readings(&mut self) {
        while self.parts.readings.next().is_some() {}
        self.sensing.look_away();
    }

    /// No joint is worked: the link is heard, a procedure can be chosen.
    pub(super) fn rest(&mut self, beside: &mut impl FnMut()) -> Leave {
        self.needed = u32::MAX;
        loop {
            if let Some(leave) = self.turn(None) {
                return leave;
            }
            beside();
        }
    }

    /// Reads the procedure and works it. Never inlined, so that its memory is there only while it is worked.
    #[inline(never)]
    pub(super) fn work_at(
        &mut self,
        place: u8,
        joint: u8,
        asked: bool,
        beside: &mut impl FnMut(),
    ) -> Leave {
        self.settle();
        let Some(held) = self.slots.held(place) else {
            return self.not_worked(asked, Trouble::Procedure(0));
        };
        let mut procedure = None;
        let loaded = self
            .slots
            .load_into(&mut procedure, &mut self.parts.flash, held);
        match (&procedure, loaded) {
            (Some(procedure), Ok(())) => self.work(procedure, place, joint, asked, beside),
            (_, Err(fault)) => self.not_worked(asked, Trouble::Procedure(offset_of(&fault))),
            (None, Ok(())) => self.not_worked(asked, Trouble::Procedure(0)),
        }
    }

    fn not_worked(&mut self, asked: bool, why: Trouble) -> Leave {
        self.trouble = Some(why);
        if asked {
            self.refuse_work(why);
        }
        Leave::Rest
    }

    #[inline(never)]
    fn work(
        &mut self,
        procedure: &Procedure,
        place: u8,
        joint: u8,
        asked: bool,
        beside: &mut impl FnMut(),
    ) -> Leave {
        let session = &mut untouched(procedure, joint);
        if let Err(error) = self.take_up(session) {
            defmt::warn!("joint {=u8} cannot be taken up: {}", joint, error);
            return self.not_worked(asked, Trouble::Restore);
        }
        self.boot = self.boot.saturating_add(1);
        self.offset = self.log.taken().wrapping_sub(session.ledger().seq());
        self.trouble = None;
        let now = self.parts.readings.now();
        let is_new = session.ledger().seq() == 0;
        let start = Input::Start {
            boot: self.boot,
            rehearsal: false,
        };
        self.apply(session, now, start);
        if self.recovery.dropped + self.recovery.quarantined > 0 {
            let input = Input::Recovered {
                dropped: self.recovery.dropped,
                quarantined: self.recovery.quarantined,
            };
            self.apply(session, now, input);
            self.recovery = Recovery::default();
        }
        if core::mem::take(&mut self.watchdog_owed) {
            self.note(session, now, BY_THE_WATCHDOG);
        }
        if self.plate.clock == Clock::Oscillator {
            self.note(session, now, BY_THE_OSCILLATOR);
        }
        if is_new {
            self.note_calibration(session, now);
        }
        if self.low {
            self.apply(session, now, Input::StoreFailed);
        }
        if asked {
            self.answer_working(place, joint);
        }
        loop {
            if let Some(leave) = self.turn(Some(session)) {
                return leave;
            }
            beside();
        }
    }

    #[inline(never)]
    fn take_up(&mut self, session: &mut Session<&Procedure>) -> Result<(), RestoreError> {
        let mut walk = self.log.walk();
        let (flash, room) = (&mut self.parts.flash, &mut self.room);
        let power = &mut self.parts.power;
        let joint = session.joint();
        let needed = &mut self.needed;
        *needed = self.log.taken().saturating_add(1);
        let entries = core::iter::from_fn(|| {
            loop {
                power.is_alive();
                match walk.next(flash, room) {
                    Ok(Step::Frame { frame, .. }) => {
                        if let Ok(Some(entry)) = journal::decode_entry(&frame) {
                            if entry.joint == joint {
                                *needed = frame.sequence.min(*needed);
                            }
                            return Some(entry);
                        }
                    }
                    Ok(Step::End) | Err(_) => return None,
                    Ok(_) => {}
                }
            }
        });
        let taken = session.take_up(entries);
        self.back_to_readings();
        taken
    }
}

// Large values are made in functions of their own: inlined, each would leave the room for a second copy on the stack for as
// long as the caller runs.

#[inline(never)]
fn untouched(procedure: &Procedure, joint: u8) -> Session<&Procedure> {
    Session::new(procedure, joint)
}
