//! A record in the terms of another procedure of the same joint.
//!
//! Knows nothing of plans.

use evendraw_core::procedure::Procedure;
use evendraw_core::record::{Reassigned, Record, Revised};

use super::Which;

/// Numbers of one procedure as those of another.
struct Map<'a> {
    old: &'a Procedure,
    new: &'a Procedure,
    stages: &'a [Option<u8>],
}

impl Map<'_> {
    fn fastener(&self, fastener: u8) -> Option<u8> {
        let own = self.old.fasteners().get(usize::from(fastener))?;
        self.new.fastener_labelled(own.label.as_str())
    }

    fn stage(&self, stage: u8) -> Option<u8> {
        let mut stages = (0_u8..).zip(self.stages).take(self.new.stages().len());
        stages
            .find(|(_, old)| **old == Some(stage))
            .map(|(new, _)| new)
    }

    fn step(&self, step: u16) -> Option<u16> {
        let own = self.old.step_at(step)?;
        let stage = self.stage(own.stage())?;
        let fastener = match own.fastener() {
            Some(fastener) => Some(self.fastener(fastener)?),
            None => None,
        };
        let mut steps = self.new.numbered_steps();
        steps
            .find(|(_, own)| own.fastener() == fastener && own.stage() == stage)
            .map(|(index, _)| index)
    }

    /// The step of an attempt; none where it asks for something else, and only those that do not are wanted.
    fn attempted(&self, step: u16, which: Which) -> Option<u16> {
        let now = self.step(step)?;
        let is_same = self.old.torque_window(step) == self.new.torque_window(now)
            && self.old.angle_window(step) == self.new.angle_window(now);
        (is_same || which == Which::All).then_some(now)
    }
}

/// The record with the numbers of the new procedure; none where what it is about is no more.
pub(super) fn record(
    record: &Record,
    old: &Procedure,
    new: &Procedure,
    stages: &[Option<u8>],
    which: Which,
) -> Option<Record> {
    let map = Map { old, new, stages };
    let mut record = record.clone();
    match &mut record {
        Record::Started(_)
        | Record::Person(_)
        | Record::Tool(_)
        | Record::Condition(_)
        | Record::Anchor(_)
        | Record::Zero(_)
        | Record::Moment(_)
        | Record::Apart(_)
        | Record::Recovered(_)
        | Record::Withdrawn(_)
        | Record::Revised(Revised::Joint { .. }) => {}
        Record::Begun(own) => own.step = map.step(own.step)?,
        Record::Attempt(own) | Record::Reassigned(Reassigned { attempt: own, .. }) => {
            own.step = map.attempted(own.step, which)?;
            own.fastener = map.fastener(own.fastener)?;
            own.stage = map.stage(own.stage)?;
        }
        Record::Read(own) => {
            own.step = map.attempted(own.step, which)?;
            own.fastener = map.fastener(own.fastener)?;
            own.stage = map.stage(own.stage)?;
        }
        Record::BySetting(own) => {
            own.step = map.attempted(own.step, which)?;
            own.fastener = map.fastener(own.fastener)?;
            own.stage = map.stage(own.stage)?;
        }
        Record::Done(own) => own.step = map.step(own.step)?,
        Record::Answered(own) => own.step = map.step(own.step)?,
        Record::Measured(own) => own.step = map.step(own.step)?,
        Record::Waited(own) => own.step = map.step(own.step)?,
        Record::Skipped(own) => own.step = map.step(own.step)?,
        Record::Decided(own) => own.step = map.step(own.step)?,
        Record::Rechecked(own) => own.step = map.step(own.step)?,
        Record::Loosened(own) => own.fastener = map.fastener(own.fastener)?,
        Record::Fitted(own) => own.fastener = map.fastener(own.fastener)?,
        Record::Marked(own) => own.fastener = map.fastener(own.fastener)?,
        Record::Running(own) => own.fastener = map.fastener(own.fastener)?,
        Record::Noted(own) => {
            if let Some(fastener) = own.fastener {
                own.fastener = Some(map.fastener(fastener)?);
            }
        }
        Record::Pass(own) => own.stage = map.stage(own.stage)?,
        Record::Due(own) => own.stage = map.stage(own.stage)?,
        Record::Revised(Revised::Fastener { fastener, .. }) => {
            *fastener = map.fastener(*fastener)?
        }
    }
    Some(record)
}
