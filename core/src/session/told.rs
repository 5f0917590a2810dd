//! Attempts that no sample judges: what a person read, and what a tool was set to.

use core::ops::Deref;

use super::{Announcement, Next, Outcome, Readout, Refusal, Session, short};
use crate::procedure::{Evidence, Procedure, StageKind};
use crate::record::{Added, BySetting, Read, Record};
use crate::unit::Torque;
use crate::verdict::{Judgement, Reason, Told, Verdict, judge_told};

/// What the record of an attempt says of its place.
struct Place {
    fastener: u8,
    stage: u8,
    attempt: u8,
    prevailing: Added,
    judgement: Judgement,
}

impl<P: Deref<Target = Procedure>> Session<P> {
    pub(super) fn read(
        &mut self,
        step: u16,
        readout: &Readout<'_>,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        let stated = short(readout.stated)?;
        let Readout {
            way,
            torque,
            angle,
            moved,
            ..
        } = *readout;
        let told = Told {
            torque,
            angle,
            moved,
        };
        let place = self.placed(step, Evidence::Reading, told)?;
        let record = Read {
            step,
            fastener: place.fastener,
            stage: place.stage,
            attempt: place.attempt,
            way,
            verdict: place.judgement.verdict,
            reasons: place.judgement.reasons,
            torque,
            angle,
            moved,
            prevailing: place.prevailing,
            stated,
        };
        self.keep_told(step, place.judgement, record, outcome);
        Ok(())
    }

    pub(super) fn by_setting(
        &mut self,
        step: u16,
        setting: Torque,
        stands_for: Torque,
        moved: bool,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        // A tool that clicks lets go: it keeps no torque.
        if matches!(
            self.procedure.stage_of(step).map(|stage| stage.kind),
            Some(StageKind::Hold { .. })
        ) {
            return Err(Refusal::NotRead);
        }
        let told = Told {
            torque: Some(stands_for),
            angle: None,
            moved,
        };
        let place = self.placed(step, Evidence::Setting, told)?;
        let record = BySetting {
            step,
            fastener: place.fastener,
            stage: place.stage,
            attempt: place.attempt,
            verdict: place.judgement.verdict,
            reasons: place.judgement.reasons,
            setting,
            stands_for,
            moved,
            prevailing: place.prevailing,
        };
        self.keep_told(step, place.judgement, record, outcome);
        Ok(())
    }

    /// Whether the step is to be pulled now, and evidence of this kind will do.
    pub(super) fn may_be_told(&self, step: u16, given: Evidence) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.open_step(step)?;
        match self.next {
            Next::Pull { step: wanted } if wanted == step => {}
            Next::Store => return Err(Refusal::Store),
            _ => return Err(Refusal::NothingToPull),
        }
        match self.procedure.stage_of(step) {
            Some(stage) if stage.evidence <= given => Ok(()),
            _ => Err(Refusal::BetterEvidence),
        }
    }

    fn placed(&self, step: u16, given: Evidence, told: Told) -> Result<Place, Refusal> {
        self.may_be_told(step, given)?;
        let prevailing = self.ledger.added(&self.procedure, step);
        let (Some(fastener), Some(stage), Some(aim)) = (
            self.procedure.fastener_of(step),
            self.procedure.stage_at(step),
            self.ledger.aim_of(&self.procedure, step),
        ) else {
            return Err(Refusal::NoSuch);
        };
        let Some(mut judgement) = judge_told(&aim, told, prevailing) else {
            return Err(Refusal::NotRead);
        };
        if !self.is_in_turn(step) {
            judgement.reasons = judgement.reasons.with(Reason::OutOfOrder);
        }
        Ok(Place {
            fastener,
            stage,
            attempt: self.ledger.attempts(step).saturating_add(1),
            prevailing,
            judgement,
        })
    }

    fn keep_told(
        &mut self,
        step: u16,
        judgement: Judgement,
        record: impl Into<Record>,
        outcome: &mut Outcome,
    ) {
        self.armed = None;
        let announcement = Announcement {
            seq: self.ledger.seq().saturating_add(1),
            step,
            verdict: judgement.verdict,
            reasons: judgement.reasons,
        };
        self.record_announced(record, announcement, outcome);
        if judgement.verdict == Verdict::Accepted {
            self.selected = None;
        }
    }
}
