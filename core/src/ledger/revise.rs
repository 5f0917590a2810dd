//! What of the work done under one procedure holds under another: carried step by step, reopened where a step changed.
//!
//! Nothing is judged again. What comes out is written as records ([`Revised`]), and the fold of those is all that a restart needs: it
//! asks for the new procedure alone. Knows nothing of plans; which stage is which is told.

use super::fold::{restart, spoil_others};
use super::{
    ASK, Confirmed, FastenerCell, Ledger, MARKED, RunningCell, Standing, StepCell, StepState,
};
use crate::limits::{FASTENERS_MAX, STAGES_MAX};
use crate::procedure::{Moment, Procedure, StageKind, Step};
use crate::record::Revised;

/// Index that stands for none in a [`Revised`] record.
pub const NONE: u8 = u8::MAX;

/// What the host knows of two procedures of one joint that the procedures themselves do not say.
#[derive(Clone, Copy, Debug)]
pub struct Carry<'a> {
    /// For each stage of the new procedure the stage of the old one that it is; none for a new stage. A stage counts once.
    pub stages: &'a [Option<u8>],
    /// What must be on the threads is the same, so that what was confirmed holds.
    pub condition: bool,
    /// The moments of the plan have the same numbers.
    pub moments: bool,
}

impl Carry<'_> {
    fn old_stage(&self, stage: u8) -> Option<u8> {
        self.stages.get(usize::from(stage)).copied().flatten()
    }

    fn new_stage(&self, stage: u8) -> Option<u8> {
        (0..=u8::MAX)
            .zip(self.stages)
            .find(|(_, old)| **old == Some(stage))
            .map(|(new, _)| new)
    }
}

/// Two procedures of one joint, and what is known of them.
#[derive(Clone, Copy)]
struct Both<'a> {
    old: &'a Procedure,
    new: &'a Procedure,
    carry: Carry<'a>,
}

impl Both<'_> {
    /// The fastener of the old procedure with the label of this one.
    fn old_fastener(&self, fastener: u8) -> Option<u8> {
        let own = self.new.fasteners().get(usize::from(fastener))?;
        self.old.fastener_labelled(own.label.as_str())
    }

    /// The step of the old procedure that a step of the new one is.
    fn old_step(&self, step: Step) -> Option<u16> {
        let stage = self.carry.old_stage(step.stage())?;
        let fastener = match step.fastener() {
            Some(fastener) => Some(self.old_fastener(fastener)?),
            None => None,
        };
        step_of(self.old, fastener, stage)
    }

    /// Whether a step asks for the same as it did.
    fn is_same(&self, before: u16, now: u16) -> bool {
        let (Some(a), Some(b)) = (self.old.stage_of(before), self.new.stage_of(now)) else {
            return false;
        };
        let kinds = match (a.kind, b.kind) {
            (StageKind::Tighten { .. }, StageKind::Tighten { .. })
            | (StageKind::Align { .. }, StageKind::Align { .. }) => true,
            (
                StageKind::Turn {
                    torque: x,
                    one_sweep: p,
                    ..
                },
                StageKind::Turn {
                    torque: y,
                    one_sweep: q,
                    ..
                },
            ) => x == y && p == q,
            (
                StageKind::Wait {
                    at_least: low,
                    at_most: high,
                    after: from,
                },
                StageKind::Wait {
                    at_least,
                    at_most,
                    after,
                },
            ) => low == at_least && high == at_most && self.is_same_moment(from, after),
            (one, other) => one == other,
        };
        kinds
            && a.mock_up == b.mock_up
            // What was known in a better way than is asked for now will do.
            && b.evidence <= a.evidence
            && self.old.torque_window(before) == self.new.torque_window(now)
            && self.old.angle_window(before) == self.new.angle_window(now)
            && self.old.prevailing(before) == self.new.prevailing(now)
    }

    fn is_same_moment(&self, before: Moment, now: Moment) -> bool {
        match (before, now) {
            (Moment::StageDone(before), Moment::StageDone(now)) => {
                self.carry.old_stage(now) == Some(before)
            }
            (Moment::Named(before), Moment::Named(now)) => self.carry.moments && before == now,
            _ => false,
        }
    }
}

fn step_of(procedure: &Procedure, fastener: Option<u8>, stage: u8) -> Option<u16> {
    procedure
        .numbered_steps()
        .find(|(_, step)| step.fastener() == fastener && step.stage() == stage)
        .map(|(index, _)| index)
}

/// The state of a joint under the new procedure.
///
/// What did not change stays as it is. Where a step changed that was done: in a joint that was finished it becomes a doubt, to be done
/// again or left on a name and a reason; in a joint in progress it is to be done again, after the fastener is loosened, with all that
/// comes after it, and what a finished fastener spoils is spoilt with it.
pub(crate) fn revise(
    ledger: &Ledger,
    old: &Procedure,
    new: &Procedure,
    carry: Carry<'_>,
) -> Ledger {
    let both = Both { old, new, carry };
    let was_closed = match ledger.standing(old) {
        Standing::Final | Standing::RetorqueDue => true,
        // It was finished, and an earlier change waits for decisions.
        Standing::Doubtful => old
            .numbered_steps()
            .all(|(step, _)| !matches!(ledger.step(step), StepState::Open | StepState::Disturbed)),
        _ => false,
    };
    let mut next = Ledger::new();
    next.whole(ledger, &both);
    for (fastener, _) in (0..=u8::MAX).zip(new.fasteners()) {
        if let (Some(before), Some(cell)) = (
            both.old_fastener(fastener),
            next.fasteners.get_mut(usize::from(fastener)),
        ) {
            *cell = ledger.fastener(before);
        }
    }
    for (index, &step) in new.numbered_steps() {
        if let Some(before) = both.old_step(step) {
            next.put_cell(new, index, ledger.cell(before));
        }
    }
    for (index, step) in new.numbered_steps() {
        // A step of the whole joint that changed is to be done again, whatever stood: it was an answer or a wait.
        if step.fastener().is_none()
            && let Some(before) = both.old_step(*step)
            && ledger.step(before) != StepState::Open
            && !both.is_same(before, index)
        {
            next.put(new, index, StepState::Disturbed);
        }
    }
    for (fastener, _) in (0..=u8::MAX).zip(new.fasteners()) {
        let Some(before) = both.old_fastener(fastener) else {
            continue;
        };
        let Some(from) = first_changed(ledger, &both, before, fastener) else {
            continue;
        };
        if was_closed {
            doubt(&mut next, &both, ledger, fastener, from);
            continue;
        }
        let was_final = ledger.is_final(old, before);
        let tight = next.is_tight(fastener);
        restart(&mut next, new, fastener, from);
        if was_final && tight {
            spoil_others(&mut next, new, fastener);
        }
    }
    next
}

/// The first stage of the new procedure at which what was done to a fastener is not what is asked for.
fn first_changed(ledger: &Ledger, both: &Both<'_>, before: u8, now: u8) -> Option<u8> {
    let mut changed: Option<u8> = None;
    let mut added: Option<u8> = None;
    let mut last: Option<u8> = None;
    for (index, &step) in both.new.numbered_steps() {
        if step.fastener() != Some(now) {
            continue;
        }
        let stage = step.stage();
        let is_pulled = both
            .new
            .stage_of(index)
            .is_some_and(|stage| stage.kind.is_pulled());
        match both.old_step(step) {
            Some(old) if ledger.step(old) != StepState::Open => {
                last = last.max(Some(stage));
                let later = added.filter(|added| *added < stage);
                if !both.is_same(old, index) {
                    changed = Some(changed.unwrap_or(stage).min(stage));
                } else if let Some(added) = later.filter(|_| is_pulled) {
                    // A stage was put in before one that is done already.
                    changed = Some(changed.unwrap_or(added).min(added));
                }
            }
            Some(_) => {}
            None if is_pulled => added = Some(added.unwrap_or(stage).min(stage)),
            None => {}
        }
    }
    // A stage that was done and is no more: nobody asked for what is on the fastener now.
    let is_orphaned = both.old.numbered_steps().any(|(index, step)| {
        step.fastener() == Some(before)
            && ledger.step(index) != StepState::Open
            && both
                .old
                .stage_of(index)
                .is_some_and(|stage| stage.kind.tightens() && !stage.mock_up)
            && both
                .carry
                .new_stage(step.stage())
                .and_then(|stage| step_of(both.new, Some(now), stage))
                .is_none()
    });
    match (changed, is_orphaned) {
        (Some(changed), _) => Some(changed),
        (None, true) => Some(last.unwrap_or(0)),
        (None, false) => None,
    }
}

/// A finished fastener whose steps changed: what was reached is no longer what is asked for, and somebody decides.
fn doubt(next: &mut Ledger, both: &Both<'_>, ledger: &Ledger, fastener: u8, from: u8) {
    for (index, &step) in both.new.numbered_steps() {
        if step.fastener() != Some(fastener) || step.stage() < from {
            continue;
        }
        let changed = match both.old_step(step) {
            Some(before) => {
                ledger.step(before) != StepState::Open
                    && (step.stage() == from || !both.is_same(before, index))
            }
            None => step.stage() == from,
        };
        if changed {
            next.put(both.new, index, StepState::Doubtful);
        }
    }
    if let Some(cell) = next.fasteners.get_mut(usize::from(fastener)) {
        cell.set(ASK, true);
        cell.set(MARKED, false);
    }
}

impl Ledger {
    /// What holds for the joint as a whole.
    fn whole(&mut self, before: &Self, both: &Both<'_>) {
        self.apart = before.apart;
        if both.carry.condition {
            self.condition = before.condition;
        }
        if both.carry.moments {
            self.moments_told = before.moments_told;
        }
        let mut passes_hold = true;
        for (number, stage) in (0..=u8::MAX).zip(both.new.stages()) {
            let old = both.carry.old_stage(number);
            if old.is_some_and(|old| before.is_due(old)) {
                self.stages_due |= 1_u16.wrapping_shl(u32::from(number));
            }
            if old.is_some() && old == before.not_converged {
                self.not_converged = Some(number);
            }
            if matches!(stage.kind, StageKind::Repeat { .. }) {
                let same = old.and_then(|old| both.old.stages().get(usize::from(old)));
                passes_hold &= same.is_some_and(|same| same.kind == stage.kind);
            }
        }
        if passes_hold {
            self.pass = before.pass;
            self.moved = before.moved;
        }
        self.judged = before.judged.and_then(|(step, reasons)| {
            let mut same = both.new.numbered_steps().filter(|(index, own)| {
                both.old_step(**own) == Some(step) && both.is_same(step, *index)
            });
            same.next().map(|(index, _)| (index, reasons))
        });
    }

    /// Puts a step into a state with its attempts.
    fn put_cell(&mut self, procedure: &Procedure, step: u16, cell: StepCell) {
        if let Some(own) = self.steps.get_mut(usize::from(step)) {
            *own = StepCell(cell.attempts());
            self.put(procedure, step, cell.state());
        }
    }

    /// Everything that stands, as records: the joint first, then each fastener of the procedure. `digest` is the procedure's; `from`
    /// says of a fastener which one it was.
    pub(crate) fn as_revised(
        &self,
        procedure: &Procedure,
        digest: u32,
        stages: [u8; STAGES_MAX],
        number: u8,
        from: impl Fn(u8) -> Option<u8>,
    ) -> Revised {
        let Some(fastener) = number.checked_sub(1) else {
            return Revised::Joint {
                procedure: digest,
                fasteners: u8::try_from(procedure.fasteners().len()).unwrap_or(NONE),
                stages,
                condition: match self.condition {
                    Confirmed::NotYet => None,
                    Confirmed::Matches => Some(true),
                    Confirmed::Differs => Some(false),
                },
                apart: self.apart,
                moments: self.moments_told,
                due: self.stages_due,
                pass: self.pass,
                moved: self.moved,
                not_converged: self.not_converged,
                judged: self.judged.map(|(step, _)| step),
                reasons: self.judged.map(|(_, reasons)| reasons).unwrap_or_default(),
                steps: self.cells_of(procedure, None),
            };
        };
        let cell = self.fastener(fastener);
        let [upper, lower] = cell.running.0.map(u32::from);
        Revised::Fastener {
            fastener,
            from: from(fastener).unwrap_or(NONE),
            flags: cell.flags,
            cycles: cell.cycles,
            turned: cell.turned,
            left_at: cell.left_at,
            running: upper << 16 | lower,
            steps: self.cells_of(procedure, Some(fastener)),
        }
    }

    fn cells_of(&self, procedure: &Procedure, fastener: Option<u8>) -> [u8; STAGES_MAX] {
        let mut cells = [0; STAGES_MAX];
        for (index, step) in procedure.numbered_steps() {
            if step.fastener() == fastener
                && let Some(cell) = cells.get_mut(usize::from(step.stage()))
            {
                *cell = self.cell(index).0;
            }
        }
        cells
    }
}

/// Takes one record of a revision into the ledger.
pub(super) fn fold(ledger: &mut Ledger, procedure: &Procedure, revised: &Revised) {
    let (fastener, cells) = match *revised {
        Revised::Joint {
            fasteners,
            condition,
            apart,
            moments,
            due,
            pass,
            moved,
            not_converged,
            judged,
            reasons,
            ref steps,
            ..
        } => {
            clear(ledger);
            ledger.carrying = fasteners;
            ledger.condition = match condition {
                None => Confirmed::NotYet,
                Some(true) => Confirmed::Matches,
                Some(false) => Confirmed::Differs,
            };
            ledger.apart = apart;
            ledger.moments_told = moments;
            ledger.stages_due = due;
            ledger.pass = pass;
            ledger.moved = moved;
            ledger.not_converged = not_converged;
            ledger.judged = judged.map(|step| (step, reasons));
            (None, steps)
        }
        Revised::Fastener {
            fastener,
            flags,
            cycles,
            turned,
            left_at,
            running,
            ref steps,
            ..
        } => {
            ledger.carrying = ledger.carrying.saturating_sub(1);
            let [a, b, c, d] = running.to_be_bytes();
            if let Some(cell) = ledger.fasteners.get_mut(usize::from(fastener)) {
                *cell = FastenerCell {
                    flags,
                    cycles,
                    turned,
                    left_at,
                    running: RunningCell([u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d])]),
                };
            }
            (Some(fastener), steps)
        }
    };
    for (index, step) in procedure.numbered_steps() {
        if step.fastener() == fastener
            && let Some(&cell) = cells.get(usize::from(step.stage()))
        {
            ledger.put_cell(procedure, index, StepCell(cell));
        }
    }
}

/// Forgets all that belongs to the procedure before; who works, with what, and the place in the order of things stay.
fn clear(ledger: &mut Ledger) {
    ledger.steps = [StepCell(0); crate::limits::STEPS_MAX];
    ledger.first_open = 0;
    ledger.settled = [0; STAGES_MAX];
    ledger.fasteners = [FastenerCell::default(); FASTENERS_MAX];
    ledger.stage_done = [0; STAGES_MAX];
    ledger.moments = [0; crate::limits::MOMENTS_MAX];
    ledger.begun = None;
}

#[cfg(test)]
mod tests;
