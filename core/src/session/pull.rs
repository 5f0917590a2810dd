//! Samples in, attempts out.

use core::ops::Deref;

use super::{Announcement, Armed, Next, Outcome, Purpose, Refusal, Selected, Session};
use crate::procedure::{Procedure, StageKind};
use crate::record::{Added, Attempt, Begun, Rechecked, Record, Running, Seen};
use crate::sample::{Fault, Sample};
use crate::tracker::{RunDown, Signal, Start};
use crate::unit::{Angle, Instant, Torque};
use crate::verdict::{Aim, Judgement, Reading, Reason, Reasons, Verdict, judge};

/// Movement of a re-checked fastener up to here counts as none: what a sensor of common quality can tell apart.
const RECHECK_STILL: Angle = Angle::from_millidegrees(2_000);

/// A torque that a tool shows lying there, where the procedure says nothing of re-grip and noise. *Our judgement, no source.*
const REST: Torque = Torque::from_millinewton_meters(500);

impl<P: Deref<Target = Procedure>> Session<P> {
    pub(super) fn sampled(
        &mut self,
        at: Instant,
        sample: Sample,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        let Some(armed) = self.armed_for(sample.torque)? else {
            return Ok(());
        };
        let signal = self.tracker.feed(at, sample);
        self.heed(armed, signal, outcome);
        Ok(())
    }

    /// A reading without rotation. A stage that asks for one cannot be judged by it.
    pub(super) fn sampled_alone(
        &mut self,
        at: Instant,
        torque: Torque,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        let Some(armed) = self.armed_for(torque)? else {
            return Ok(());
        };
        if self.tracker.needs_rotation() {
            return Err(Refusal::NoRotation);
        }
        let signal = self.tracker.feed_alone(at, torque);
        self.heed(armed, signal, outcome);
        Ok(())
    }

    /// What a reading counts for; none for one at rest that counts for nothing.
    fn armed_for(&mut self, torque: Torque) -> Result<Option<Armed>, Refusal> {
        if self.armed.is_some() {
            return Ok(self.armed);
        }
        if torque.abs() <= self.rest() {
            // Readings come all the time: it was said, and nobody pulls.
            if self.refused_at_rest {
                return Ok(None);
            }
            self.refused_at_rest = true;
        }
        Err(if matches!(self.next, Next::Store) {
            Refusal::Store
        } else {
            Refusal::NothingToPull
        })
    }

    /// Up to here a tool that nothing is asked of is taken to be at rest.
    fn rest(&self) -> Torque {
        let limits = &self.procedure.terms().limits;
        REST.max(limits.regrip).max(limits.noise.scaled(4, 1))
    }

    /// The way of nearly every sample: nothing was due before it, and mostly nothing comes of it but signals. They are passed on
    /// here, as `heed` would: calling it each time costs 24 of 750 instructions on the chip.
    pub(super) fn feed(
        &mut self,
        armed: Armed,
        at: Instant,
        sample: Sample,
        outcome: &mut Outcome,
    ) {
        let signal = self.tracker.feed(at, sample);
        outcome.cue = signal.cue;
        outcome.halt = signal.halt;
        if signal.began || signal.ended || signal.running.is_some() {
            self.heed(armed, signal, outcome);
        }
        if !outcome.entries.is_empty() || !self.pending.is_empty() {
            self.settle(false, outcome);
        }
    }

    /// A reading that may not be judged. With nothing to pull it means nothing.
    pub(super) fn faulty(&mut self, at: Instant, fault: Fault, outcome: &mut Outcome) {
        let Some(armed) = self.armed else { return };
        let reason = match fault {
            Fault::Saturated | Fault::Stuck => Reason::Stuck,
            Fault::Gap | Fault::Reversed => Reason::Gap,
        };
        let signal = self.tracker.fault(at, reason);
        self.heed(armed, signal, outcome);
    }

    /// The tracker's deadline passed.
    pub(super) fn clock_struck(&mut self, outcome: &mut Outcome) {
        let Some(armed) = self.armed else { return };
        if self.tracker.deadline().is_some_and(|due| due <= self.now) {
            let signal = self.tracker.tick(self.now);
            self.heed(armed, signal, outcome);
        }
    }

    fn heed(&mut self, armed: Armed, signal: Signal, outcome: &mut Outcome) {
        outcome.cue = signal.cue;
        if signal.halt.is_some() {
            outcome.halt = signal.halt;
        }
        if let Some(torque) = signal.running
            && let Some(fastener) = self.procedure.fastener_of(armed.step)
        {
            let seen = Seen::Measured;
            let _ = self.record(
                Running {
                    fastener,
                    torque,
                    seen,
                },
                outcome,
            );
        }
        if signal.began && armed.purpose == Purpose::Attempt {
            let _ = self.record(Begun { step: armed.step }, outcome);
        }
        if signal.ended {
            self.close_attempt(armed, outcome);
        }
    }

    pub(super) fn finish(&mut self, outcome: &mut Outcome) -> Result<(), Refusal> {
        match self.armed {
            Some(armed) if self.tracker.has_begun() => {
                self.close_attempt(armed, outcome);
                Ok(())
            }
            // Not pulled on yet: there is no check after all.
            Some(armed) if armed.purpose == Purpose::Recheck => {
                self.armed = None;
                Ok(())
            }
            _ => Err(Refusal::NothingToPull),
        }
    }

    pub(super) fn measurement_lost(&mut self, outcome: &mut Outcome) -> Result<(), Refusal> {
        let Some(armed) = self.armed else {
            return Ok(());
        };
        let Some(reading) = self.tracker.interrupt() else {
            // Nothing had begun; the tracker is set anew.
            self.armed = None;
            return Ok(());
        };
        let judgement = Judgement {
            verdict: Verdict::Unknown,
            reasons: reading.shape,
        };
        self.keep_attempt(armed, &reading, judgement, outcome);
        Ok(())
    }

    fn close_attempt(&mut self, armed: Armed, outcome: &mut Outcome) {
        let Some(&aim) = self.tracker.aim() else {
            return;
        };
        let Some(reading) = self.tracker.finish() else {
            return;
        };
        let judgement = judge(&aim, &reading);
        self.keep_attempt(armed, &reading, judgement, outcome);
    }

    fn keep_attempt(
        &mut self,
        armed: Armed,
        reading: &Reading,
        judgement: Judgement,
        outcome: &mut Outcome,
    ) {
        self.armed = None;
        if armed.purpose == Purpose::Recheck {
            let moved = reading.angle.is_none_or(|angle| angle > RECHECK_STILL);
            let verdict = match judgement.verdict {
                Verdict::Accepted if moved => Verdict::Rejected,
                verdict => verdict,
            };
            let kept = Rechecked {
                step: armed.step,
                peak: reading.peak,
                moved: reading.angle,
                verdict,
            };
            let _ = self.record(kept, outcome);
            return;
        }
        let Some(fastener) = self.procedure.fastener_of(armed.step) else {
            return;
        };
        let reasons = if self.is_in_turn(armed.step) {
            judgement.reasons
        } else {
            judgement.reasons.with(Reason::OutOfOrder)
        };
        let attempt = Attempt {
            step: armed.step,
            fastener,
            stage: self.procedure.stage_at(armed.step).unwrap_or_default(),
            attempt: self.ledger.attempts(armed.step).saturating_add(1),
            pulls: reading.pulls,
            verdict: judgement.verdict,
            reasons,
            peak: reading.peak,
            final_torque: reading.final_torque,
            angle: reading.angle,
            prevailing: self.ledger.added(&self.procedure, armed.step),
            restart: reading.restart,
            trace: self.tracker.trace().digest(),
            took_ms: self.now.since(self.ledger.begun_at()).millis(),
        };
        self.announce_and_record(attempt, outcome);
        if judgement.verdict == Verdict::Accepted {
            self.selected = None;
        }
    }

    /// Power was lost between the first load and the verdict.
    pub(super) fn record_interrupted(&mut self, step: u16, outcome: &mut Outcome) {
        let Some(fastener) = self.procedure.fastener_of(step) else {
            return;
        };
        let attempt = Attempt {
            step,
            fastener,
            stage: self.procedure.stage_at(step).unwrap_or_default(),
            attempt: self.ledger.attempts(step).saturating_add(1),
            pulls: 1,
            verdict: Verdict::Unknown,
            reasons: Reasons::NONE.with(Reason::Interrupted),
            peak: Torque::ZERO,
            final_torque: Torque::ZERO,
            angle: None,
            prevailing: self.ledger.added(&self.procedure, step),
            restart: None,
            trace: 0,
            took_ms: 0,
        };
        self.announce_and_record(attempt, outcome);
    }

    /// Whether the fastener of a step is taken in its turn.
    pub(super) fn is_in_turn(&self, step: u16) -> bool {
        self.step_in_order() == Some(step)
            || self
                .procedure
                .stage_of(step)
                .is_some_and(|stage| stage.any_order)
    }

    fn announce_and_record(&mut self, attempt: Attempt, outcome: &mut Outcome) {
        let announcement = Announcement {
            seq: self.ledger.seq().saturating_add(1),
            step: attempt.step,
            verdict: attempt.verdict,
            reasons: attempt.reasons,
        };
        self.record_announced(attempt, announcement, outcome);
    }

    pub(super) fn record_announced(
        &mut self,
        record: impl Into<Record>,
        announcement: Announcement,
        outcome: &mut Outcome,
    ) {
        let step = announcement.step;
        let _ = self.record(record, outcome);
        // Nothing is armed while the queue is full, so there is room for the one attempt that can end.
        self.pending.push(announcement);
        self.step_settled(step, outcome);
    }

    pub(super) fn select(&mut self, fastener: u8) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.has_fastener(fastener)?;
        let Some(step) = self.first_open_of(fastener) else {
            return Err(Refusal::AlreadySettled);
        };
        let Some(stage) = self.procedure.stage_at(step) else {
            return Err(Refusal::NoSuch);
        };
        let in_order = self.step_in_order();
        if Some(stage) > in_order.and_then(|step| self.procedure.stage_at(step)) {
            return Err(Refusal::EarlierOpen);
        }
        self.armed = None;
        self.selected = if in_order == Some(step) {
            None
        } else {
            Some(Selected { fastener, stage })
        };
        Ok(())
    }

    pub(super) fn recheck(&mut self, fastener: u8) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.has_fastener(fastener)?;
        if self.store_failed || self.pending.is_full() {
            return Err(Refusal::Store);
        }
        let last = self
            .procedure
            .numbered_steps()
            .filter(|(index, step)| {
                step.fastener() == Some(fastener) && self.ledger.step(*index).is_settled()
            })
            .filter(|(index, _)| {
                self.procedure
                    .stage_of(*index)
                    .is_some_and(|stage| stage.kind.tightens())
            })
            .last();
        let Some((step, _)) = last else {
            return Err(Refusal::NotFinal);
        };
        if matches!(
            self.procedure.stage_of(step).map(|stage| stage.kind),
            Some(StageKind::Turn { .. })
        ) {
            return Err(Refusal::AngleTightened);
        }
        let Some(window) = self.ledger.torque_window(&self.procedure, step) else {
            return Err(Refusal::AngleTightened);
        };
        let added = self.ledger.added(&self.procedure, step);
        let aim = Aim::Repeat {
            window,
            still: RECHECK_STILL,
        };
        let start = Start {
            restart_expected: self.ledger.left_at(fastener),
            running: added.torque().unwrap_or(Torque::ZERO),
            run_down: if added == Added::Unknown {
                RunDown::Missed
            } else {
                RunDown::None
            },
            turned: self.ledger.turned(fastener),
        };
        self.tracker
            .begin(aim, &self.procedure.terms().limits, start);
        self.armed = Some(Armed {
            step,
            purpose: Purpose::Recheck,
        });
        Ok(())
    }

    pub(super) fn zero(
        &mut self,
        taken: bool,
        offset: Torque,
        outcome: &mut Outcome,
    ) -> Result<(), Refusal> {
        self.not_in_pull()?;
        self.record(crate::record::Zero { taken, offset }, outcome)
    }
}
