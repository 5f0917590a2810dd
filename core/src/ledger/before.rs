//! How things stood before each of the last records that can be put right.
//!
//! Nothing is erased: a later record says that one was withdrawn, or that a pull was on another fastener, and what it changed is
//! put back as it was. That is exact as long as nothing else touched the same fastener since; then, and for all but the
//! last [`KEPT`], it is refused. Knows nothing of what makes a record wrong.

use super::fold::{change, has_moved};
use super::{Confirmed, FastenerCell, Ledger, StepCell};
use crate::limits::STAGES_MAX;
use crate::procedure::Procedure;
use crate::record::{Attempt, Doubt, Record};

/// As many as somebody notices at once.
const KEPT: usize = 4;

/// Stands for the joint as a whole.
const JOINT: u8 = u8::MAX;

/// Before one record.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Before {
    seq: u32,
    who: u8,
    /// The moment that came, whether it had been told before, and when it was said to have come.
    moment: Option<(u8, bool, u32)>,
    /// What was on the threads, where that is what was said.
    condition: Option<Confirmed>,
    cell: FastenerCell,
    /// By stage.
    steps: [StepCell; STAGES_MAX],
    /// It counts among those that moved in a repeated pass.
    counted: bool,
    attempt: Option<Attempt>,
}

/// Before the last ones, in no order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct LastBefore([Option<Before>; KEPT]);

/// What a record touches.
enum Touch {
    Nothing,
    Who(u8),
    All,
}

impl LastBefore {
    pub(super) const fn new() -> Self {
        Self([const { None }; KEPT])
    }

    fn find(&self, seq: u32) -> Option<&Before> {
        self.0.iter().flatten().find(|before| before.seq == seq)
    }

    fn take(&mut self, seq: u32) -> Option<Before> {
        self.0
            .iter_mut()
            .find(|place| place.as_ref().is_some_and(|before| before.seq == seq))?
            .take()
    }

    fn forget(&mut self, touch: &Touch) {
        for place in &mut self.0 {
            let is_touched = match (touch, &place) {
                (Touch::All, _) => true,
                (Touch::Who(who), Some(before)) => before.who == *who,
                (Touch::Who(_), None) | (Touch::Nothing, _) => false,
            };
            if is_touched {
                *place = None;
            }
        }
    }

    /// In a free place, or in that of the oldest.
    fn keep(&mut self, before: Before) {
        let oldest = self
            .0
            .iter_mut()
            .min_by_key(|place| place.as_ref().map_or(0, |before| before.seq));
        if let Some(place) = oldest {
            *place = Some(before);
        }
    }
}

impl Ledger {
    /// Whether the record of this number can still be put right: it is among the last few, and nothing touched its fastener since.
    #[must_use]
    pub fn can_put_right(&self, seq: u32) -> bool {
        self.before.find(seq).is_some()
    }

    /// The attempt of this number and how its fastener stood before it, as long as it can be put right.
    pub(crate) fn attempt_kept(&self, seq: u32) -> Option<(&Attempt, bool, bool)> {
        let before = self.before.find(seq)?;
        let attempt = before.attempt.as_ref()?;
        Some((
            attempt,
            before.cell.is(super::TIGHT),
            before.cell.left_at != 0,
        ))
    }

    /// Keeps how things stand before a record that can be put right, and forgets what it touches.
    pub(super) fn look_before(&mut self, procedure: &Procedure, seq: u32, record: &Record) {
        let touch = touched(procedure, record);
        self.before.forget(&touch);
        let (Touch::Who(who), true) = (touch, is_kept(record)) else {
            return;
        };
        let mut steps = [StepCell::default(); STAGES_MAX];
        for (index, step) in procedure.numbered_steps() {
            if step.fastener().unwrap_or(JOINT) == who
                && let Some(place) = steps.get_mut(usize::from(step.stage()))
            {
                *place = self.cell(index);
            }
        }
        self.before.keep(Before {
            seq,
            who,
            moment: match record {
                Record::Moment(own) => {
                    let when = self.moments.get(usize::from(own.moment)).copied();
                    let was_told = self.moments_told & bit(own.moment) != 0;
                    Some((own.moment, was_told, when.unwrap_or(0)))
                }
                _ => None,
            },
            condition: matches!(record, Record::Condition(_)).then_some(self.condition),
            cell: self.fastener(who),
            steps,
            counted: match record {
                Record::Read(own) => has_moved(procedure, &own.as_attempt(), own.moved),
                Record::BySetting(own) => has_moved(procedure, &own.as_attempt(), own.moved),
                _ => record
                    .attempt()
                    .is_some_and(|own| has_moved(procedure, own, false)),
            },
            attempt: record.attempt().cloned(),
        });
    }

    /// Puts back what the record of this number changed.
    pub(super) fn put_back(&mut self, procedure: &Procedure, seq: u32) {
        let Some(before) = self.before.take(seq) else {
            return;
        };
        change(self, before.who, |cell| *cell = before.cell);
        if before.counted {
            self.moved = self.moved.saturating_sub(1);
        }
        if let Some((moment, was_told, when)) = before.moment {
            if !was_told {
                self.moments_told &= !bit(moment);
            }
            if let Some(place) = self.moments.get_mut(usize::from(moment)) {
                *place = when;
            }
        }
        if let Some(condition) = before.condition {
            self.condition = condition;
        }
        for (index, step) in procedure.numbered_steps() {
            if step.fastener().unwrap_or(JOINT) != before.who {
                continue;
            }
            let stage = usize::from(step.stage());
            let state = before
                .steps
                .get(stage)
                .map_or(super::StepState::Open, |cell| cell.state());
            if self.step(index) != state {
                self.put(procedure, index, state);
                if let Some(place) = self.stage_done.get_mut(stage) {
                    // Whatever was reckoned from here is asked about again.
                    *place = 0;
                }
            }
        }
    }
}

const fn bit(moment: u8) -> u8 {
    1_u8.wrapping_shl(moment as u32)
}

/// Whether it is among the records that can be put right.
fn is_kept(record: &Record) -> bool {
    match record {
        Record::Attempt(_)
        | Record::Reassigned(_)
        | Record::Read(_)
        | Record::BySetting(_)
        | Record::Done(_)
        | Record::Answered(_)
        | Record::Measured(_)
        | Record::Skipped(_)
        | Record::Marked(_)
        | Record::Condition(_)
        | Record::Moment(_) => true,
        Record::Noted(noted) => noted.doubt != Doubt::None,
        Record::Started(_)
        | Record::Begun(_)
        | Record::Waited(_)
        | Record::Person(_)
        | Record::Tool(_)
        | Record::Anchor(_)
        | Record::Zero(_)
        | Record::Loosened(_)
        | Record::Fitted(_)
        | Record::Decided(_)
        | Record::Rechecked(_)
        | Record::Pass(_)
        | Record::Due(_)
        | Record::Apart(_)
        | Record::Recovered(_)
        | Record::Running(_)
        | Record::Withdrawn(_) => false,
    }
}

fn touched(procedure: &Procedure, record: &Record) -> Touch {
    let of_step = |step| Touch::Who(procedure.fastener_of(step).unwrap_or(JOINT));
    match record {
        Record::Attempt(own) => of_step(own.step),
        Record::Reassigned(own) => of_step(own.attempt.step),
        Record::Read(own) => of_step(own.step),
        Record::BySetting(own) => of_step(own.step),
        Record::Done(own) => of_step(own.step),
        Record::Answered(own) => of_step(own.step),
        Record::Measured(own) => of_step(own.step),
        Record::Waited(own) => of_step(own.step),
        Record::Skipped(own) => of_step(own.step),
        Record::Decided(own) => of_step(own.step),
        Record::Rechecked(own) => of_step(own.step),
        Record::Marked(own) => Touch::Who(own.fastener),
        Record::Running(own) => Touch::Who(own.fastener),
        Record::Noted(own) => own.fastener.map_or(Touch::Nothing, Touch::Who),
        Record::Moment(_) | Record::Condition(_) => Touch::Who(JOINT),
        Record::Loosened(_) | Record::Fitted(_) | Record::Pass(_) | Record::Apart(_) => Touch::All,
        Record::Started(_)
        | Record::Begun(_)
        | Record::Person(_)
        | Record::Tool(_)
        | Record::Anchor(_)
        | Record::Zero(_)
        | Record::Due(_)
        | Record::Recovered(_)
        | Record::Withdrawn(_) => Touch::Nothing,
    }
}
