//! What people say: answers, lengths, names, decisions, reasons.

use core::ops::Deref;

use super::{Next, Outcome, Refusal, Session, reason, short};
use crate::ledger::StepState;
use crate::limits::MOMENTS_MAX;
use crate::procedure::{
    EngineState, Evidence, Moment as Awaited, Prevailing, Procedure, StageKind,
};
use crate::record::{
    Answered, Apart, Condition, Decided, Decision, Done, Doubt, Due, Fitted, Loosened, Manner,
    Marked, Measured, Moment, Noted, Person, Role, Running, Seen, Skipped, Tool,
};
use crate::unit::{Length, Torque};
use crate::verdict::Verdict;

impl<P: Deref<Target = Procedure>> Session<P> {
    pub(super) fn confirm(&mut self, step: u16, outcome: &mut Outcome) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.open_step(step)?;
        self.nothing_earlier_open(step)?;
        match self.procedure.stage_of(step).map(|stage| stage.kind) {
            Some(StageKind::Seat { .. }) => {
                self.armed = None;
                self.done(step, Manner::Hand, outcome)
            }
            Some(kind) if kind.is_pulled() => {
                self.may_be_told(step, Evidence::Any)?;
                self.armed = None;
                self.selected = None;
                self.done(step, Manner::Hand, outcome)
            }
            _ => Err(Refusal::WrongKind),
        }
    }

    pub(super) fn ticked_on_paper(
        &mut self,
        step: u16,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.open_step(step)?;
        match self.procedure.stage_of(step).map(|stage| stage.kind) {
            Some(StageKind::Check | StageKind::Measure { .. } | StageKind::Wait { .. }) | None => {
                Err(Refusal::WrongKind)
            }
            Some(_) => self.done(step, Manner::Paper, outcome),
        }
    }

    fn done(&mut self, step: u16, manner: Manner, outcome: &mut Outcome) -> Result<(), Refusal> {
        self.record(Done { step, manner }, outcome)?;
        self.step_settled(step, outcome);
        Ok(())
    }

    /// An answer to a check; or to a wait that is next, where a person saw the time and the clock did not.
    pub(super) fn answer(
        &mut self,
        step: u16,
        yes: bool,
        note: &str,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.open_step(step)?;
        self.nothing_earlier_open(step)?;
        let note = short(note)?;
        match self.procedure.stage_of(step).map(|stage| stage.kind) {
            Some(StageKind::Check) => {}
            Some(StageKind::Wait { .. })
                if matches!(
                    self.next,
                    Next::Answer { step: own } | Next::Wait { step: own, .. } | Next::Moment { step: own, .. } if own == step
                ) => {}
            _ => return Err(Refusal::WrongKind),
        }
        self.record(Answered { step, yes, note }, outcome)
    }

    pub(super) fn measure(
        &mut self,
        step: u16,
        length: Length,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.open_step(step)?;
        self.nothing_earlier_open(step)?;
        let Some(StageKind::Measure { min, max }) =
            self.procedure.stage_of(step).map(|stage| stage.kind)
        else {
            return Err(Refusal::WrongKind);
        };
        let verdict = if length >= min && length <= max {
            Verdict::Accepted
        } else {
            Verdict::Rejected
        };
        self.record(
            Measured {
                step,
                length,
                verdict,
            },
            outcome,
        )
    }

    pub(super) fn person(
        &mut self,
        name: &str,
        role: Role,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        let name = reason(name)?;
        self.record(Person { name, role }, outcome)
    }

    pub(super) fn tool(
        &mut self,
        id: &str,
        waiver: &str,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        let (id, waiver) = (reason(id)?, short(waiver)?);
        self.record(Tool { id, waiver }, outcome)
    }

    pub(super) fn condition(
        &mut self,
        found: &str,
        matches: bool,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        let found = short(found)?;
        self.record(Condition { found, matches }, outcome)
    }

    pub(super) fn loosened(
        &mut self,
        fastener: u8,
        elsewhere: bool,
        cause: &str,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.has_fastener(fastener)?;
        let cause = short(cause)?;
        self.armed = None;
        self.record(
            Loosened {
                fastener,
                elsewhere,
                cause,
            },
            outcome,
        )
    }

    pub(super) fn fitted(&mut self, fastener: u8, outcome: &mut Outcome) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.has_fastener(fastener)?;
        self.armed = None;
        self.record(Fitted { fastener }, outcome)
    }

    pub(super) fn skip(
        &mut self,
        step: u16,
        why: &str,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.open_step(step)?;
        let reason = reason(why)?;
        self.record(Skipped { step, reason }, outcome)?;
        self.step_settled(step, outcome);
        Ok(())
    }

    pub(super) fn note(
        &mut self,
        fastener: Option<u8>,
        doubt: Doubt,
        text: &str,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        if let Some(fastener) = fastener {
            self.has_fastener(fastener)?;
        }
        let text = if doubt == Doubt::Settled {
            reason(text)?
        } else {
            short(text)?
        };
        self.record(
            Noted {
                fastener,
                doubt,
                text,
            },
            outcome,
        )
    }

    pub(super) fn decide(
        &mut self,
        step: u16,
        decision: Decision,
        note: &str,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        let Some(stage) = self.procedure.stage_of(step).map(|stage| stage.kind) else {
            return Err(Refusal::NoSuch);
        };
        let number = self.procedure.stage_at(step).unwrap_or_default();
        let state = self.ledger.step(step);
        let passes = self.ledger.not_converged() == Some(number);
        if !matches!(state, StepState::Rejected | StepState::Doubtful) && !passes {
            return Err(Refusal::NothingToDecide);
        }
        match decision {
            // An angle is never applied a second time on top of an unknown or finished one.
            Decision::Again if matches!(stage, StageKind::Turn { .. }) => {
                return Err(Refusal::AngleTightened);
            }
            Decision::Observed if state != StepState::Doubtful => return Err(Refusal::WrongKind),
            Decision::Restart(from) if from > number => return Err(Refusal::NoSuch),
            Decision::Replace | Decision::Observed
                if self.procedure.fastener_of(step).is_none() =>
            {
                return Err(Refusal::WrongKind);
            }
            _ => {}
        }
        let note = match decision {
            Decision::Observed | Decision::Waive => reason(note)?,
            _ => short(note)?,
        };
        self.armed = None;
        self.record(
            Decided {
                step,
                decision,
                note,
            },
            outcome,
        )?;
        if !passes {
            self.step_settled(step, outcome);
        }
        Ok(())
    }

    pub(super) fn mark(&mut self, fastener: u8, outcome: &mut Outcome) -> Result<(), Refusal> {
        self.has_fastener(fastener)?;
        if self.ledger.is_final(&self.procedure, fastener) {
            self.record(Marked { fastener }, outcome)
        } else {
            Err(Refusal::NotFinal)
        }
    }

    pub(super) fn moment(&mut self, moment: u8, outcome: &mut Outcome) -> Result<(), Refusal> {
        let named = self.procedure.stages().iter().any(
            |stage| matches!(stage.kind, StageKind::Wait { after: Awaited::Named(number), .. } if number == moment),
        );
        if named && usize::from(moment) < MOMENTS_MAX {
            self.record(Moment { moment }, outcome)
        } else {
            Err(Refusal::NoSuch)
        }
    }

    /// A running torque above every target it would come on top of was read in another unit, or is another number.
    pub(super) fn running_torque(
        &mut self,
        fastener: u8,
        torque: Torque,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.has_fastener(fastener)?;
        // Below zero where the plan adds none: then nothing may be told.
        let mut most = Torque::from_millinewton_meters(-1);
        for (index, step) in self.procedure.numbered_steps() {
            if step.fastener() == Some(fastener)
                && self.procedure.prevailing(index) != Prevailing::None
                && let Some(window) = self.procedure.torque_window(index)
            {
                most = most.max(window.target);
            }
        }
        if torque.is_negative() || torque > most {
            return Err(Refusal::NoRunningTorque);
        }
        self.armed = None;
        let seen = Seen::Typed;
        self.record(
            Running {
                fastener,
                torque,
                seen,
            },
            outcome,
        )
    }

    pub(super) fn due(
        &mut self,
        stage: u8,
        state: EngineState,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        match self
            .procedure
            .stages()
            .get(usize::from(stage))
            .map(|stage| stage.kind)
        {
            Some(StageKind::Later { state: wanted, .. })
                if wanted == EngineState::Any || wanted == state =>
            {
                self.record(Due { stage, state }, outcome)
            }
            Some(StageKind::Later { .. }) => Err(Refusal::WrongState),
            Some(_) => Err(Refusal::WrongKind),
            None => Err(Refusal::NoSuch),
        }
    }

    pub(super) fn taken_apart(&mut self, note: &str, outcome: &mut Outcome) -> Result<(), Refusal> {
        self.not_in_pull()?;
        if !self.mock_up_stands() {
            return Err(Refusal::NoMockUp);
        }
        let note = short(note)?;
        self.record(Apart { note }, outcome)
    }

    /// A step may not be answered while one before it in the order of work is open.
    fn nothing_earlier_open(&self, step: u16) -> Result<(), Refusal> {
        let Some(stage) = self.procedure.stage_at(step) else {
            return Err(Refusal::NoSuch);
        };
        let earlier = self
            .procedure
            .numbered_steps()
            .take(usize::from(step))
            .any(|(index, other)| other.stage() < stage && !self.ledger.step(index).is_settled());
        if earlier {
            Err(Refusal::EarlierOpen)
        } else {
            Ok(())
        }
    }
}
