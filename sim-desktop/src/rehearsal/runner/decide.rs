//! What a sensible person would do after a rejected attempt, and where one would stop and look.
//!
//! Knows nothing of the bench.

use evendraw_core::advice::Act;
use evendraw_core::ledger::{Confirmed, StepState};
use evendraw_core::procedure::StageKind;
use evendraw_core::record::{Decision, Record};

use super::{ATTEMPTS_ENOUGH, Rehearsal};
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
        let advice = session.advice()?;
        match advice.acts.first()? {
            // On the bench what is wrong is in the fastener: who takes it out puts a new one in.
            Act::TakeOut | Act::Replace => Some(Decision::Replace),
            act @ (Act::Again | Act::Loosen) => act.decision(advice.from),
            Act::PullOn | Act::TypeRunning | Act::Observe | Act::Waive => None,
        }
    }
}
