//! What a sensible person would do after a rejected attempt, and where one would stop and look.
//!
//! Knows nothing of the bench.

use evendraw_core::ledger::{Confirmed, StepState};
use evendraw_core::procedure::{Reuse, StageKind};
use evendraw_core::record::{Decision, Record};
use evendraw_core::verdict::{Reason, Reasons};

use super::{ATTEMPTS_ENOUGH, Rehearsal};
use crate::rehearsal::result::OF_THE_HAND;
use crate::store::Fact;

impl Rehearsal {
    /// How often a step was measured.
    pub(super) fn attempts(&self, joint: u8, step: u16) -> usize {
        self.job
            .facts()
            .iter()
            .filter(|fact| match fact {
                Fact::Entry(entry) if entry.joint == joint => {
                    matches!(&entry.record, Record::Measured(measured) if measured.step == step)
                }
                _ => false,
            })
            .count()
    }

    pub(super) fn is_condition_wrong(&self, joint: u8) -> bool {
        self.job
            .session(joint)
            .is_some_and(|session| session.ledger().condition() == Confirmed::Differs)
    }

    pub(super) fn was_answered_no(&self, joint: u8, step: u16) -> bool {
        self.job
            .session(joint)
            .is_some_and(|session| session.ledger().step(step) == StepState::Rejected)
    }

    pub(super) fn undecided(&self, joint: u8, step: u16) -> String {
        let stage = self
            .job
            .session(joint)
            .and_then(|session| session.procedure().stage_of(step))
            .map(|stage| stage.kind);
        match stage {
            Some(StageKind::Wait { .. }) => {
                "it took longer than the plan allows: a person must decide".to_owned()
            }
            _ => "a person must decide what follows a rejected attempt".to_owned(),
        }
    }

    /// What a sensible person would do; none where one would stop and look.
    pub(super) fn decide(&self, joint: u8, step: u16) -> Option<Decision> {
        let session = self.job.session(joint)?;
        let procedure = session.procedure();
        let kind = procedure.stage_of(step)?.kind;
        if !kind.is_pulled() {
            return None;
        }
        if session.ledger().not_converged().is_some()
            || self
                .failures
                .get(&step)
                .is_some_and(|failures| *failures >= ATTEMPTS_ENOUGH)
        {
            return None;
        }
        let reasons = self
            .job
            .attempts(joint)
            .rev()
            .find(|(_, attempt)| attempt.step == step)
            .map_or(Reasons::NONE, |(_, attempt)| attempt.reasons);
        let is_harmless = reasons.iter().all(|reason| OF_THE_HAND.contains(&reason));
        if is_harmless && !matches!(kind, StageKind::Turn { .. }) {
            return Some(Decision::Again);
        }
        let harms = [
            Reason::Yielding,
            Reason::GivingWay,
            Reason::Overload,
            Reason::EarlyRise,
            Reason::NoRise,
            Reason::StickSlip,
        ];
        let is_harmed = harms.iter().any(|reason| reasons.contains(*reason));
        if is_harmed || procedure.terms().reuse != Reuse::Free {
            return Some(Decision::Replace);
        }
        let fastener = self.fastener(joint, step)?;
        let first = procedure.steps().iter().find(|step| {
            step.fastener() == Some(fastener)
                && procedure
                    .stages()
                    .get(usize::from(step.stage()))
                    .is_some_and(|stage| stage.kind.tightens())
        })?;
        Some(Decision::Restart(first.stage()))
    }
}
