//! What was recorded wrong: a pull on another fastener, a word that was not so. Nothing is erased.

use core::mem::discriminant;
use core::ops::Deref;

use super::{Announcement, Outcome, Refusal, Session, reason};
use crate::audit::reading;
use crate::procedure::{Prevailing, Procedure};
use crate::record::{Attempt, Reassigned, Withdrawn};
use crate::unit::Instant;
use crate::verdict::{Reason, judge};

impl<P: Deref<Target = Procedure>> Session<P> {
    /// Apart, so that its record does not lie on the stack of every other input.
    #[inline(never)]
    pub(super) fn withdraw(
        &mut self,
        of: u32,
        why: &str,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        let reason = reason(why)?;
        match self.ledger.is_measured(of) {
            None => return Err(Refusal::PastPutRight),
            Some(true) => return Err(Refusal::Measured),
            Some(false) => {}
        }
        self.armed = None;
        self.record(Withdrawn { of, reason }, outcome)
    }

    /// The pull of record `of`, which holds this attempt, was on another fastener: it is judged for that one, by what was measured. The
    /// same reading means the same there only if that fastener was to be pulled at this stage too, in the same way, and was found as
    /// the other one was thought to be: loose, or tight from a stage before. Takes time as [`Session::apply`] does.
    ///
    /// Not an input: whoever has the journal gives the attempt, and a chip that works one joint alone need not carry this.
    pub fn reassign(&mut self, at: Instant, of: u32, attempt: &Attempt, fastener: u8) -> Outcome {
        let mut outcome = Outcome::default();
        self.run_clock(at, &mut outcome);
        if let Err(refusal) = self.judge_elsewhere(of, attempt, fastener, &mut outcome) {
            outcome.refusal = Some(refusal);
        }
        self.settle(true, &mut outcome);
        outcome
    }

    fn judge_elsewhere(
        &mut self,
        of: u32,
        wrong: &Attempt,
        fastener: u8,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.has_fastener(fastener)?;
        if self.store_failed || self.pending.is_full() {
            return Err(Refusal::Store);
        }
        let Some((was_tight, was_left)) = self.ledger.before_attempt(of, wrong) else {
            return Err(Refusal::PastPutRight);
        };
        let ledger = &self.ledger;
        let step = self
            .procedure
            .numbered_steps()
            .find(|(_, step)| step.fastener() == Some(fastener) && step.stage() == wrong.stage);
        let Some((step, _)) = step.filter(|_| fastener != wrong.fastener) else {
            return Err(Refusal::NoSuch);
        };
        if ledger.step(step).is_settled() {
            return Err(Refusal::AlreadySettled);
        }
        if self.first_open_of(fastener) != Some(step) {
            return Err(Refusal::EarlierOpen);
        }
        if ledger.must_replace(fastener) {
            return Err(Refusal::ReplaceFirst);
        }
        if ledger.must_loosen(fastener) {
            return Err(Refusal::LoosenFirst);
        }
        let aims = (
            ledger.aim_of(&self.procedure, step),
            ledger.aim_of(&self.procedure, wrong.step),
        );
        let (Some(aim), Some(other)) = aims else {
            return Err(Refusal::WrongKind);
        };
        let is_measured = |step| self.procedure.prevailing(step) == Prevailing::Measure;
        if ledger.must_decide(fastener)
            || ledger.is_tight(fastener) != was_tight
            || ledger.left_at(fastener).is_some() != was_left
            || is_measured(step)
            || is_measured(wrong.step)
            || discriminant(&aim) != discriminant(&other)
            || wrong.reasons.contains(Reason::Jerk) && aim != other
        {
            return Err(Refusal::NotComparable);
        }
        let judgement = judge(&aim, &reading(wrong, &aim));
        // With the other one open again, whose turn was it?
        let in_order = self.step_in_order().unwrap_or(u16::MAX).min(wrong.step);
        let in_turn = in_order == step
            || self
                .procedure
                .stage_of(step)
                .is_some_and(|stage| stage.any_order);
        let attempt = Attempt {
            step,
            fastener,
            attempt: ledger.attempts(step).saturating_add(1),
            verdict: judgement.verdict,
            reasons: if in_turn {
                judgement.reasons
            } else {
                judgement.reasons.with(Reason::OutOfOrder)
            },
            prevailing: ledger.added(&self.procedure, step),
            ..wrong.clone()
        };
        self.armed = None;
        let announcement = Announcement {
            seq: self.ledger.seq().saturating_add(1),
            step,
            verdict: attempt.verdict,
            reasons: attempt.reasons,
        };
        self.record_announced(Reassigned { of, attempt }, announcement, outcome);
        Ok(())
    }
}
