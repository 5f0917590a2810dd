//! How things stood before each of the last records that can be put right.
//!
//! Nothing is erased: a later record says that one was withdrawn, or that a pull was on another fastener, and what it changed is
//! put back as it was. That is exact as long as nothing else touched the same fastener since; then, and for all but the
//! last [`KEPT`], it is refused. So is it where the record reopened stages that were left out or told from paper: one state is kept, not
//! sixteen, and of the rest it is known that they were done. What was measured is not kept: whoever has the journal gives it. Knows nothing of what makes a record wrong.

use super::fold::change;
use super::{Confirmed, Ledger, StepCell, StepState};
use crate::procedure::Procedure;
use crate::record::{Attempt, Doubt, Record};

/// As many as somebody notices at once. A chip that works one joint alone keeps none: whoever has the journal of the build puts right.
const KEPT: usize = if cfg!(feature = "put-right") { 4 } else { 0 };

/// Stands for the joint as a whole.
const JOINT: u8 = u8::MAX;
/// Stands for all fasteners and the joint.
const EVERYONE: u8 = u8::MAX - 1;

/// What a record is about: a step, or one of these with a number in the lower byte.
const FASTENER: u16 = 0x8000;
const MOMENT: u16 = 0x8100;
const CONDITION: u16 = 0x8200;
const ALL: u16 = 0x8300;
const NOTHING: u16 = 0x8400;

/// Before one record; of number 0 there is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Before {
    seq: u32,
    about: u16,
    turned: u16,
    left_at: u16,
    flags: u8,
    cycles: u8,
    /// Of the step.
    state: StepCell,
    moments_told: u8,
    condition: Confirmed,
    note: u8,
}

/// It is an attempt that was measured.
const MEASURED: u8 = 1;
/// It counts among those that moved in a repeated pass.
pub(super) const COUNTED: u8 = 2;
/// It reopened stages of its fastener that were done.
pub(super) const REOPENED: u8 = 4;
/// It reopened stages that were told from paper or left out: it cannot be put right.
pub(super) const LOST: u8 = 8;

/// Before the last ones, in no order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct LastBefore([Before; KEPT]);

const NONE: Before = Before {
    seq: 0,
    about: 0,
    turned: 0,
    left_at: 0,
    flags: 0,
    cycles: 0,
    state: StepCell(0),
    moments_told: 0,
    condition: Confirmed::NotYet,
    note: 0,
};

impl LastBefore {
    pub(super) const fn new() -> Self {
        Self([NONE; KEPT])
    }

    fn find(&self, seq: u32) -> Option<&Before> {
        self.0
            .iter()
            .find(|before| before.seq == seq && before.seq > 0 && before.note & LOST == 0)
    }
}

impl Ledger {
    /// Whether the record of this number can still be put right: it is among the last few, and nothing touched its fastener since.
    #[must_use]
    pub fn can_put_right(&self, seq: u32) -> bool {
        self.before.find(seq).is_some()
    }

    /// Whether it is an attempt that was measured; none if it cannot be put right.
    pub(crate) fn is_measured(&self, seq: u32) -> Option<bool> {
        Some(self.before.find(seq)?.note & MEASURED != 0)
    }

    /// Whether its fastener was tight before this attempt, and known to hold something; none if this is not the attempt of that number.
    pub(crate) fn before_attempt(&self, seq: u32, attempt: &Attempt) -> Option<(bool, bool)> {
        let before = self.before.find(seq)?;
        let is_it = before.note & MEASURED != 0 && before.about == attempt.step;
        is_it.then_some((before.flags & super::TIGHT != 0, before.left_at != 0))
    }

    /// Forgets how that fastener stood.
    fn forget_before(&mut self, procedure: &Procedure, who: u8) {
        for before in &mut self.before.0 {
            if who == EVERYONE || who_is(procedure, before.about) == who {
                *before = NONE;
            }
        }
    }

    /// What the record that is folded did besides.
    pub(super) fn note_before(&mut self, note: u8) {
        for before in &mut self.before.0 {
            if before.seq == self.seq {
                before.note |= note;
            }
        }
    }

    /// Keeps how things stand before a record that can be put right, and forgets what it touches.
    #[inline(never)]
    pub(super) fn look_before(&mut self, procedure: &Procedure, seq: u32, record: &Record) {
        let (about, is_kept) = about(record);
        if about == NOTHING {
            return;
        }
        let who = who_is(procedure, about);
        self.forget_before(procedure, who);
        // In a free place, or in that of the oldest.
        let oldest = self.before.0.iter().map(|before| before.seq).min();
        if !is_kept {
            return;
        }
        let cell = self.fastener(who);
        let note = if record.attempt().is_some() {
            MEASURED
        } else {
            0
        };
        let before = Before {
            seq,
            about,
            turned: cell.turned,
            left_at: cell.left_at,
            flags: cell.flags,
            cycles: cell.cycles,
            state: self.cell(about),
            moments_told: self.moments_told,
            condition: self.condition,
            note,
        };
        if let Some(place) = self
            .before
            .0
            .iter_mut()
            .find(|place| Some(place.seq) == oldest)
        {
            *place = before;
        }
    }

    /// Puts back what the record of this number changed.
    #[inline(never)]
    pub(super) fn put_back(&mut self, procedure: &Procedure, seq: u32) {
        let Some(before) = self.before.find(seq).copied() else {
            return;
        };
        let who = who_is(procedure, before.about);
        self.forget_before(procedure, who);
        change(self, who, |cell| {
            cell.flags = before.flags;
            cell.cycles = before.cycles;
            cell.turned = before.turned;
            cell.left_at = before.left_at;
        });
        if self.judged.is_some_and(|(step, _)| step == before.about) {
            // Advice goes by what was judged last: of what was not so there is none.
            self.judged = None;
        }
        if before.note & COUNTED != 0 {
            self.moved = self.moved.saturating_sub(1);
        }
        match before.about {
            step @ ..FASTENER => {
                self.put(procedure, step, before.state.state());
                // Whatever came earlier on this fastener was done, or it would not have been its turn.
                for index in 0..step {
                    if before.note & REOPENED != 0
                        && procedure.fastener_of(index) == Some(who)
                        && self.step(index) == StepState::Disturbed
                    {
                        self.put(procedure, index, StepState::Done);
                    }
                }
            }
            CONDITION => self.condition = before.condition,
            moment @ MOMENT..CONDITION => {
                let [_, moment] = moment.to_be_bytes();
                let bit = 1_u8.wrapping_shl(u32::from(moment));
                self.moments_told = self.moments_told & !bit | before.moments_told & bit;
                if let Some(place) = self.moments.get_mut(usize::from(moment)) {
                    // When it had come before, if it had, is asked about again.
                    *place = 0;
                }
            }
            _ => {}
        }
    }
}

/// The fastener, or the joint as a whole.
fn who_is(procedure: &Procedure, about: u16) -> u8 {
    match about {
        step @ ..FASTENER => procedure.fastener_of(step).unwrap_or(JOINT),
        fastener @ FASTENER..MOMENT => {
            let [_, fastener] = fastener.to_be_bytes();
            fastener
        }
        ALL => EVERYONE,
        _ => JOINT,
    }
}

/// What a record is about, and whether it is among those that can be put right.
#[inline(never)]
fn about(record: &Record) -> (u16, bool) {
    match record {
        Record::Attempt(own) => (own.step, true),
        Record::Reassigned(own) => (own.attempt.step, true),
        Record::Read(own) => (own.step, true),
        Record::BySetting(own) => (own.step, true),
        Record::Done(own) => (own.step, true),
        Record::Answered(own) => (own.step, true),
        Record::Measured(own) => (own.step, true),
        Record::Skipped(own) => (own.step, true),
        Record::Waited(own) => (own.step, false),
        Record::Decided(own) => (own.step, false),
        Record::Rechecked(own) => (own.step, false),
        Record::Marked(own) => (with(FASTENER, own.fastener), true),
        Record::Running(own) => (with(FASTENER, own.fastener), false),
        Record::Noted(own) => match own.fastener {
            Some(fastener) => (with(FASTENER, fastener), own.doubt != Doubt::None),
            None => (NOTHING, false),
        },
        Record::Moment(own) => (with(MOMENT, own.moment), true),
        Record::Condition(_) => (CONDITION, true),
        Record::Loosened(_)
        | Record::Fitted(_)
        | Record::Pass(_)
        | Record::Apart(_)
        | Record::Revised(_) => (ALL, false),
        Record::Started(_)
        | Record::Begun(_)
        | Record::Person(_)
        | Record::Tool(_)
        | Record::Anchor(_)
        | Record::Zero(_)
        | Record::Due(_)
        | Record::Recovered(_)
        | Record::Withdrawn(_) => (NOTHING, false),
    }
}

fn with(what: u16, number: u8) -> u16 {
    what | u16::from(number)
}
