//! What is next, when the clock must be heard, and what the tracker is set to.

use core::ops::Deref;

use super::{Armed, Next, Outcome, Purpose, Session};
use crate::ledger::{Confirmed, Reached, StepState};
use crate::procedure::{Moment, Procedure, StageKind};
use crate::record::{Added, AfterPass, Pass, Waited};
use crate::tracker::{RunDown, Start};
use crate::unit::{Angle, Instant, Span, Torque};
use crate::verdict::{Aim, Verdict};

/// Deadlines that one input can pass: a release that ends an attempt, a wait that ends, and one to spare.
const DEADLINES_MAX: u8 = 4;

impl<P: Deref<Target = Procedure>> Session<P> {
    /// Lets happen what was due before `at`, each at its own time, then moves the clock there.
    pub(super) fn run_clock(&mut self, at: Instant, outcome: &mut Outcome) {
        let at = at.max(self.now);
        for _ in 0..DEADLINES_MAX {
            match self.deadline() {
                Some(due) if due <= at => {
                    self.now = self.now.max(due);
                    self.clock_struck(outcome);
                    self.advance(outcome);
                }
                _ => break,
            }
        }
        self.now = at;
    }

    pub(super) fn tracker_deadline(&self) -> Option<Instant> {
        self.armed?;
        self.tracker.deadline()
    }

    pub(super) const fn wait_deadline(&self) -> Option<Instant> {
        match self.next {
            Next::Wait { until, .. } => Some(until),
            _ => None,
        }
    }

    /// Works out what is next and sets the tracker to it.
    pub(super) fn advance(&mut self, outcome: &mut Outcome) {
        self.refused_at_rest = false;
        if self.selected_step().is_none() {
            self.selected = None;
        }
        self.next = self.find_next();
        for _ in 0..DEADLINES_MAX {
            match self.next {
                Next::Wait { step, until } if until <= self.now => {
                    self.wait_over(step, outcome);
                    self.next = self.find_next();
                }
                _ => break,
            }
        }
        if self.is_in_pull() {
            return;
        }
        match self.next {
            Next::Pull { step } => {
                if self.armed.is_none_or(|armed| match armed.purpose {
                    Purpose::Attempt => armed.step != step,
                    Purpose::LookOn => true,
                    Purpose::Recheck => false,
                }) {
                    self.arm(step);
                }
            }
            Next::Hand { step } => self.look_on_run_down(step),
            _ => {
                if self
                    .armed
                    .is_some_and(|armed| armed.purpose != Purpose::Recheck)
                {
                    self.armed = None;
                }
            }
        }
    }

    /// What is next, the fastener the tool was put on considered.
    fn find_next(&self) -> Next {
        if !self.running {
            return Next::Start;
        }
        if self.store_failed || self.pending.is_full() {
            return Next::Store;
        }
        let Some(step) = self.selected_step().or_else(|| self.step_in_order()) else {
            return self.next_without_step();
        };
        let terms = self.procedure.terms();
        if terms.person_named && !self.ledger.has_person() {
            return Next::Person;
        }
        if self.ledger.not_converged().is_some() {
            return self.next_without_step();
        }
        if self.must_come_apart(step) {
            return Next::TakeApart;
        }
        match self.asked_of(step) {
            Next::Pull { .. } if terms.tool_named && !self.ledger.has_tool() => Next::Tool,
            Next::Pull { .. } | Next::Hand { .. }
                if self.ledger.condition() == Confirmed::Differs
                    || terms.condition_stated && self.ledger.condition() == Confirmed::NotYet =>
            {
                Next::Condition
            }
            next => next,
        }
    }

    fn next_without_step(&self) -> Next {
        if let Some(stage) = self.ledger.not_converged() {
            let first = self
                .procedure
                .numbered_steps()
                .find(|(_, step)| step.stage() == stage);
            if let Some((step, _)) = first {
                return Next::Decide { step };
            }
        }
        if self.mock_up_stands() {
            return Next::TakeApart;
        }
        let doubted = (0..=u8::MAX)
            .zip(self.procedure.fasteners())
            .find(|(index, _)| self.ledger.felt_wrong(*index));
        if let Some((fastener, _)) = doubted {
            return Next::Settle { fastener };
        }
        let later = self
            .ledger
            .steps_maybe_open(&self.procedure)
            .find(|(index, _)| !self.ledger.step(*index).is_settled())
            .map(|(_, step)| step.stage());
        match later {
            Some(stage) => Next::AwaitDue { stage },
            None => Next::Nothing,
        }
    }

    /// The first step in the order of work that is not settled and can be done now.
    pub(super) fn step_in_order(&self) -> Option<u16> {
        self.ledger
            .steps_maybe_open(&self.procedure)
            .find(|(index, step)| {
                !self.ledger.step(*index).is_settled()
                    && match self
                        .procedure
                        .stages()
                        .get(usize::from(step.stage()))
                        .map(|stage| stage.kind)
                    {
                        Some(StageKind::Later { .. }) => self.ledger.is_due(step.stage()),
                        Some(_) => true,
                        None => false,
                    }
            })
            .map(|(index, _)| index)
    }

    /// The step that was selected, while it stands open at the stage it was selected for and no stage before that one is opened
    /// again.
    fn selected_step(&self) -> Option<u16> {
        let selected = self.selected?;
        self.first_open_of(selected.fastener).filter(|&step| {
            self.procedure.stage_at(step) == Some(selected.stage)
                && self
                    .step_in_order()
                    .and_then(|step| self.procedure.stage_at(step))
                    >= Some(selected.stage)
        })
    }

    /// The fastener's first step that is not settled and can be done now.
    pub(super) fn first_open_of(&self, fastener: u8) -> Option<u16> {
        self.ledger
            .steps_maybe_open(&self.procedure)
            .find(|(index, step)| {
                step.fastener() == Some(fastener)
                    && !self.ledger.step(*index).is_settled()
                    && (self.ledger.is_due(step.stage())
                        || !self
                            .procedure
                            .stages()
                            .get(usize::from(step.stage()))
                            .is_some_and(|stage| matches!(stage.kind, StageKind::Later { .. })))
            })
            .map(|(index, _)| index)
    }

    fn asked_of(&self, step: u16) -> Next {
        let Some(stage) = self.procedure.stage_of(step) else {
            return Next::Nothing;
        };
        if let Some(fastener) = self.procedure.fastener_of(step) {
            if self.ledger.must_replace(fastener) {
                return Next::Replace { fastener };
            }
            if self.ledger.must_loosen(fastener) {
                return Next::Loosen { fastener };
            }
            if self.ledger.must_decide(fastener) {
                return Next::Decide {
                    step: self.doubted_step_of(fastener).unwrap_or(step),
                };
            }
        }
        match stage.kind {
            StageKind::Seat { .. } => Next::Hand { step },
            StageKind::Fit => Next::Fit { step },
            StageKind::Check => Next::Answer { step },
            StageKind::Measure { .. } => Next::Measure { step },
            StageKind::Wait {
                at_least, after, ..
            } => self.asked_of_wait(step, at_least, after),
            _ => Next::Pull { step },
        }
    }

    fn asked_of_wait(&self, step: u16, at_least: Span, after: Moment) -> Next {
        if self.ledger.step(step) == StepState::Rejected {
            return Next::Decide { step };
        }
        match (self.ledger.moment(&self.procedure, after), after) {
            (Reached::At(began), _) => Next::Wait {
                step,
                until: began.after(at_least),
            },
            (Reached::NotYet, Moment::Named(moment)) => Next::Moment { step, moment },
            (Reached::NotYet, Moment::StageDone(_)) | (Reached::TimeUnknown, _) => {
                Next::Answer { step }
            }
        }
    }

    fn doubted_step_of(&self, fastener: u8) -> Option<u16> {
        self.ledger
            .steps_maybe_open(&self.procedure)
            .find(|(index, step)| {
                step.fastener() == Some(fastener)
                    && matches!(
                        self.ledger.step(*index),
                        StepState::Rejected | StepState::Doubtful
                    )
            })
            .map(|(index, _)| index)
    }

    fn must_come_apart(&self, step: u16) -> bool {
        self.procedure
            .stage_of(step)
            .is_some_and(|stage| !stage.mock_up)
            && self.mock_up_stands()
    }

    pub(super) fn mock_up_stands(&self) -> bool {
        self.has_mock_up
            && !self.ledger.is_apart()
            && (0..=u8::MAX)
                .zip(self.procedure.stages())
                .any(|(index, stage)| stage.mock_up && self.ledger.settled_in(index) > 0)
    }

    fn wait_over(&mut self, step: u16, outcome: &mut Outcome) {
        let Some(StageKind::Wait { at_most, after, .. }) =
            self.procedure.stage_of(step).map(|stage| stage.kind)
        else {
            return;
        };
        let Reached::At(began) = self.ledger.moment(&self.procedure, after) else {
            return;
        };
        let waited = self.now.since(began);
        let verdict = if waited <= at_most {
            Verdict::Accepted
        } else {
            Verdict::Rejected
        };
        let seconds = waited.millis() / 1_000;
        let _ = self.record(
            Waited {
                step,
                seconds,
                verdict,
            },
            outcome,
        );
    }

    /// After a step was settled: a repeated pass that is complete is closed.
    pub(super) fn step_settled(&mut self, step: u16, outcome: &mut Outcome) {
        let Some(stage) = self.procedure.stage_at(step) else {
            return;
        };
        let Some(StageKind::Repeat { min, max, .. }) =
            self.procedure.stage_of(step).map(|stage| stage.kind)
        else {
            return;
        };
        if !self.ledger.is_stage_settled(&self.procedure, stage) {
            return;
        }
        let (pass, moved) = (self.ledger.pass(), self.ledger.moved());
        let next = if pass < min || moved > 0 && pass < max {
            AfterPass::Again
        } else if moved > 0 {
            AfterPass::NotConverged
        } else {
            AfterPass::Converged
        };
        let _ = self.record(
            Pass {
                stage,
                pass,
                moved,
                next,
            },
            outcome,
        );
    }

    fn arm(&mut self, step: u16) {
        let Some(aim) = self.ledger.aim_as_planned(&self.procedure, step) else {
            return;
        };
        let added = self.ledger.added(&self.procedure, step);
        let aim = aim.raised(added.torque().unwrap_or(Torque::ZERO));
        let start = Start {
            restart_expected: self
                .procedure
                .fastener_of(step)
                .and_then(|fastener| self.moves_above(fastener, &aim)),
            running: added.torque().unwrap_or(Torque::ZERO),
            run_down: self.run_down(step, &aim, added),
            turned: self
                .procedure
                .fastener_of(step)
                .map_or(Angle::ZERO, |fastener| self.ledger.turned(fastener)),
        };
        self.tracker
            .begin(aim, &self.procedure.terms().limits, start);
        self.armed = Some(Armed {
            step,
            purpose: Purpose::Attempt,
        });
    }

    /// A run-down is seen only on a fastener that is loose, on the way to a torque.
    fn run_down(&self, step: u16, aim: &Aim, added: Added) -> RunDown {
        let is_ahead = matches!(aim, Aim::Torque { .. })
            && self.procedure.fastener_of(step).is_some_and(|fastener| {
                !self.ledger.is_tight(fastener) && self.ledger.left_at(fastener).is_none()
            });
        match (added, is_ahead) {
            (Added::Nothing, _) => RunDown::None,
            (Added::Unknown, false) => RunDown::Missed,
            (Added::Unknown | Added::Measured(_), true) => RunDown::Measured,
            (Added::Given(_) | Added::Typed(_), true) => RunDown::Known,
            (_, false) => RunDown::None,
        }
    }

    /// A fastener that is started by hand may be run down with the tool: its running torque is looked at, if the first torque
    /// stage after this one wants it measured.
    fn look_on_run_down(&mut self, step: u16) {
        let purpose = Purpose::LookOn;
        if self.armed.is_some_and(|armed| {
            armed.purpose == Purpose::Recheck || armed == Armed { step, purpose }
        }) {
            return;
        }
        self.armed = None;
        let Some(fastener) = self.procedure.fastener_of(step) else {
            return;
        };
        let later = self
            .procedure
            .numbered_steps()
            .skip(usize::from(step))
            .filter(|(_, other)| other.fastener() == Some(fastener))
            .find_map(|(index, _)| {
                let aim = self.ledger.aim_of(&self.procedure, index)?;
                Some((index, aim))
            });
        let Some((later, aim)) = later else { return };
        let added = self.ledger.added(&self.procedure, later);
        if self.run_down(later, &aim, added) != RunDown::Measured {
            return;
        }
        let start = Start {
            restart_expected: None,
            running: added.torque().unwrap_or(Torque::ZERO),
            run_down: RunDown::LookedAt,
            turned: Angle::ZERO,
        };
        self.tracker
            .begin(aim, &self.procedure.terms().limits, start);
        self.armed = Some(Armed { step, purpose });
    }

    /// The torque below which the fastener is not expected to turn: what it was left at. After a pull that was cut short
    /// nobody knows, so it need not turn at all before the target.
    fn moves_above(&self, fastener: u8, aim: &Aim) -> Option<Torque> {
        let left_at = self.ledger.left_at(fastener);
        match (left_at, aim) {
            (None, Aim::Torque { window } | Aim::Repeat { window, .. })
                if self.ledger.is_tight(fastener) =>
            {
                Some(window.target)
            }
            _ => left_at,
        }
    }
}
