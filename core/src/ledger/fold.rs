//! What each kind of record does to the ledger.

use super::before::{COUNTED, LOST, REOPENED};
use super::{
    ASK, Confirmed, DOUBT, FastenerCell, LOOSEN, Ledger, MARKED, NEW, REPLACE, RUNNING_WANTED,
    RunningCell, StepState, TIGHT,
};
use crate::advice::{Gravity, is_pulled_on};
use crate::limits::{MOMENTS_MAX, STAGES_MAX};
use crate::procedure::{Policy, Procedure, Redo, Stage, StageKind};
use crate::record::{
    AfterPass, Decision, Doubt, Entry, Manner, Reassigned, Record, Role, Running, Seen,
};
use crate::unit::{Instant, divided};
use crate::verdict::{Reason, Reasons, Verdict};

/// Takes one recorded fact into the ledger.
///
/// Total: a record that fits no step changes only the counters.
pub(crate) fn fold(ledger: &mut Ledger, procedure: &Procedure, entry: &Entry) {
    if entry.boot != ledger.boot {
        lose_the_clock(ledger);
        ledger.boot = entry.boot;
    }
    ledger.seq = entry.seq;
    // What is put right goes first: then this is how things stand before.
    if let Some(of) = entry.record.puts_right() {
        ledger.put_back(procedure, of);
    }
    ledger.look_before(procedure, entry.seq, &entry.record);
    match &entry.record {
        Record::Started(_) => {
            ledger.person = false;
            ledger.tool = false;
        }
        Record::Begun(begun) => {
            ledger.begun = Some(begun.step);
            ledger.begun_at = entry.at;
        }
        Record::Attempt(attempt) | Record::Reassigned(Reassigned { attempt, .. }) => {
            attempt_made(ledger, procedure, entry.at, attempt, false);
        }
        Record::Withdrawn(_) => {}
        Record::Read(read) => {
            attempt_made(ledger, procedure, entry.at, &read.as_attempt(), read.moved);
        }
        Record::BySetting(set) => {
            attempt_made(ledger, procedure, entry.at, &set.as_attempt(), set.moved);
        }
        Record::Done(done) => {
            let state = match done.manner {
                Manner::Hand => StepState::Done,
                Manner::Paper => StepState::Unmeasured,
            };
            if let Some(fastener) = procedure.fastener_of(done.step)
                && let Some(stage) = procedure.stage_of(done.step)
            {
                unmeasured(ledger, fastener, stage.kind, done.manner);
            }
            settle(ledger, procedure, entry.at, done.step, state);
        }
        Record::Answered(answered) => {
            let state = if answered.yes {
                StepState::Done
            } else {
                StepState::Rejected
            };
            settle(ledger, procedure, entry.at, answered.step, state);
        }
        Record::Measured(measured) => length_measured(ledger, procedure, entry.at, measured),
        Record::Waited(waited) => {
            let state = if waited.verdict == Verdict::Accepted {
                StepState::Done
            } else {
                StepState::Rejected
            };
            settle(ledger, procedure, entry.at, waited.step, state);
        }
        Record::Person(person) => ledger.person |= person.role == Role::Operator,
        Record::Tool(_) => ledger.tool = true,
        Record::Condition(condition) => {
            ledger.condition = if condition.matches {
                Confirmed::Matches
            } else {
                Confirmed::Differs
            };
        }
        Record::Anchor(_) | Record::Zero(_) | Record::Rechecked(_) | Record::Recovered(_) => {
            if let Record::Rechecked(recheck) = &entry.record
                && recheck.verdict != Verdict::Accepted
                && let Some(fastener) = procedure.fastener_of(recheck.step)
            {
                ledger.put(procedure, recheck.step, StepState::Doubtful);
                change(ledger, fastener, |cell| cell.set(ASK, true));
            }
        }
        Record::Loosened(loosened) => {
            fastener_loosened(ledger, procedure, loosened.fastener, loosened.elsewhere)
        }
        Record::Fitted(fitted) => new_fitted(ledger, procedure, entry.at, fitted.fastener),
        Record::Skipped(skipped) => {
            if let Some(fastener) = procedure.fastener_of(skipped.step) {
                change(ledger, fastener, |cell| {
                    cell.set(ASK, false);
                    cell.set(RUNNING_WANTED, false);
                });
            }
            settle(ledger, procedure, entry.at, skipped.step, StepState::Waived);
        }
        Record::Noted(noted) => {
            if let Some(fastener) = noted.fastener {
                match noted.doubt {
                    Doubt::Raised => change(ledger, fastener, |cell| cell.set(DOUBT, true)),
                    Doubt::Settled => change(ledger, fastener, |cell| cell.set(DOUBT, false)),
                    Doubt::None => {}
                }
            }
        }
        Record::Decided(decided) => {
            decision_made(ledger, procedure, entry.at, decided.step, decided.decision)
        }
        Record::Marked(marked) => change(ledger, marked.fastener, |cell| cell.set(MARKED, true)),
        Record::Pass(pass) => pass_ended(ledger, procedure, pass.stage, pass.pass, pass.next),
        Record::Moment(moment) => {
            ledger.moments_told |= 1_u8.wrapping_shl(u32::from(moment.moment));
            if let Some(slot) = ledger.moments.get_mut(usize::from(moment.moment)) {
                *slot = second_mark(entry.at);
            }
        }
        Record::Running(running) => running_known(ledger, procedure, running),
        Record::Revised(revised) => super::revise::fold(ledger, procedure, revised),
        Record::Due(due) => ledger.stages_due |= 1_u16.wrapping_shl(u32::from(due.stage)),
        Record::Apart(_) => {
            ledger.apart = true;
            for (index, _) in (0..=u8::MAX).zip(procedure.fasteners()) {
                change(ledger, index, |cell| {
                    cell.set(TIGHT, false);
                    // What felt wrong about the trial is off with it.
                    cell.set(DOUBT, false);
                    cell.left_at = 0;
                    cell.turned = 0;
                    cell.running = RunningCell::default();
                    cell.set(RUNNING_WANTED, false);
                });
                replace_if_spent(ledger, procedure, index, true);
            }
        }
    }
}

/// What a step without a value leaves of what is known of its fastener.
fn unmeasured(ledger: &mut Ledger, fastener: u8, kind: StageKind, manner: Manner) {
    if kind.tightens() {
        tightened(ledger, fastener);
        change(ledger, fastener, |cell| {
            cell.set(ASK, false);
            cell.set(RUNNING_WANTED, false);
            cell.left_at = 0;
        });
    }
    if let (StageKind::BackOff { angle }, Manner::Hand) = (kind, manner) {
        change(ledger, fastener, |cell| {
            cell.left_at = 0;
            cell.turned = 0;
            if angle.is_none() {
                cell.set(TIGHT, false);
            }
        });
    }
}

/// A running torque that is told settles an attempt that was unknown for want of it: it can be pulled again, now with its whole
/// target. A turn is never made twice; what its end torque means stays a person's decision.
fn running_known(ledger: &mut Ledger, procedure: &Procedure, known: &Running) {
    let wanted = ledger.wants_running(known.fastener) && known.seen == Seen::Typed;
    change(ledger, known.fastener, |cell| {
        cell.running = RunningCell::of(known.torque, known.seen);
        if wanted {
            cell.set(RUNNING_WANTED, false);
            cell.set(ASK, false);
        }
    });
    if !wanted {
        return;
    }
    for (index, step) in procedure.numbered_steps() {
        if step.fastener() == Some(known.fastener) && ledger.step(index) == StepState::Doubtful {
            ledger.put(procedure, index, StepState::Open);
        }
    }
}

/// Whether the running torque is all that is missing for a verdict.
fn wants_running(attempt: &crate::record::Attempt, stage: &Stage) -> bool {
    attempt.verdict == Verdict::Unknown
        && attempt.reasons.contains(Reason::RunningUnknown)
        && !attempt.reasons.reach(Gravity::Lost)
        && !matches!(stage.kind, StageKind::Turn { .. })
}

fn attempt_made(
    ledger: &mut Ledger,
    procedure: &Procedure,
    at: Instant,
    attempt: &crate::record::Attempt,
    moved: bool,
) {
    ledger.begun = None;
    ledger.judged = Some((attempt.step, attempt.reasons));
    if let Some(cell) = ledger.steps.get_mut(usize::from(attempt.step)) {
        *cell = cell.attempted();
    }
    let Some(stage) = procedure.stage_of(attempt.step).copied() else {
        return;
    };
    let fastener = attempt.fastener;
    let wanted = wants_running(attempt, &stage);
    change(ledger, fastener, |cell| cell.set(RUNNING_WANTED, wanted));
    if stage.kind.tightens() && attempt.pulls > 0 {
        tightened(ledger, fastener);
    }
    if matches!(stage.kind, StageKind::Turn { .. })
        && let Some(angle) = attempt.angle
    {
        // Tenths of a degree are fine enough for a limit on a sum; both steps are held inside the range.
        let tenths = u16::try_from(angle.scaled(1, 100).millidegrees()).unwrap_or(0);
        change(ledger, fastener, |cell| {
            cell.turned = cell.turned.saturating_add(tenths)
        });
    }
    // A pull that was rejected leaves its torque on the fastener all the same; one that was cut short leaves nobody knows what.
    let left = match (attempt.verdict, stage.kind) {
        (Verdict::Unknown, _) | (_, StageKind::BackOff { .. }) => 0,
        _ => u16::try_from(attempt.final_torque.scaled(1, 100).millinewton_meters())
            .unwrap_or(u16::MAX),
    };
    change(ledger, fastener, |cell| {
        // Pulling at less than it holds turns nothing back.
        cell.left_at = match left {
            0 => 0,
            left => cell.left_at.max(left),
        };
    });
    match attempt.verdict {
        Verdict::Accepted => {
            change(ledger, fastener, |cell| {
                cell.set(ASK, false);
                if matches!(stage.kind, StageKind::BackOff { angle: None }) {
                    cell.set(TIGHT, false);
                }
                if matches!(stage.kind, StageKind::BackOff { .. }) {
                    cell.turned = 0;
                }
            });
            if let StageKind::Repeat { still, .. } = stage.kind
                && (moved || attempt.angle.is_some_and(|angle| angle > still))
            {
                ledger.moved = ledger.moved.saturating_add(1);
                ledger.note_before(COUNTED);
            }
            settle(ledger, procedure, at, attempt.step, StepState::Done);
        }
        Verdict::Unknown => {
            ledger.put(procedure, attempt.step, StepState::Doubtful);
            change(ledger, fastener, |cell| cell.set(ASK, true));
        }
        Verdict::Rejected => {
            ledger.put(procedure, attempt.step, StepState::Rejected);
            match remedy(attempt.reasons, &stage) {
                Remedy::Again => {}
                Remedy::Policy(Policy::Ask) => change(ledger, fastener, |cell| cell.set(ASK, true)),
                Remedy::Policy(Policy::Replace) => {
                    change(ledger, fastener, |cell| cell.set(REPLACE, true))
                }
                Remedy::Policy(Policy::Restart(from)) => restart(ledger, procedure, fastener, from),
            }
        }
    }
}

enum Remedy {
    Again,
    Policy(Policy),
}

/// What a rejected attempt asks for: more of the same only where torque alone was too low; the stage's policy where it went
/// too far; a person's decision wherever the curve spoke of harm or could not be trusted. A fastener that gave out as it went too
/// far is not loosened and pulled again unasked, whatever the policy.
fn remedy(reasons: Reasons, stage: &Stage) -> Remedy {
    let too_far = (reasons.contains(Reason::TorqueHigh) || reasons.contains(Reason::AngleHigh))
        && !matches!(stage.kind, StageKind::Hold { .. });
    if too_far && (stage.on_over == Policy::Replace || !reasons.reach(Gravity::Fault)) {
        Remedy::Policy(stage.on_over)
    } else if is_pulled_on(reasons, &stage.kind) {
        Remedy::Again
    } else {
        Remedy::Policy(Policy::Ask)
    }
}

fn length_measured(
    ledger: &mut Ledger,
    procedure: &Procedure,
    at: Instant,
    measured: &crate::record::Measured,
) {
    let accepted = measured.verdict == Verdict::Accepted;
    let state = if accepted {
        StepState::Done
    } else {
        StepState::Rejected
    };
    settle(ledger, procedure, at, measured.step, state);
    let Some(stage) = procedure.stage_of(measured.step).copied() else {
        return;
    };
    let (Some(fastener), StageKind::Measure { max, .. }, false) =
        (procedure.fastener_of(measured.step), stage.kind, accepted)
    else {
        return;
    };
    match if measured.length > max {
        stage.on_over
    } else {
        stage.on_under
    } {
        Policy::Ask => change(ledger, fastener, |cell| cell.set(ASK, true)),
        Policy::Replace => change(ledger, fastener, |cell| cell.set(REPLACE, true)),
        Policy::Restart(from) => restart(ledger, procedure, fastener, from),
    }
}

fn fastener_loosened(ledger: &mut Ledger, procedure: &Procedure, fastener: u8, elsewhere: bool) {
    let was_final = ledger.is_final(procedure, fastener);
    let was_tight = ledger.is_tight(fastener);
    let asked_for = ledger.must_loosen(fastener);
    change(ledger, fastener, |cell| {
        cell.set(LOOSEN, false);
        cell.set(ASK, false);
        cell.set(TIGHT, false);
        cell.set(MARKED, false);
        cell.left_at = 0;
        cell.turned = 0;
        // A locking feature holds less each time it is run [ISO 2320, which asks for less at the fifth removal, from memory]: on
        // the way down again it is seen anew, or told anew. Whose work loosened it does not matter.
        cell.running = RunningCell::default();
        cell.set(RUNNING_WANTED, false);
    });
    // A loosening that was asked for has reopened what it should; any other means to start over.
    if !asked_for || elsewhere {
        reopen(ledger, procedure, fastener, 0);
    }
    replace_if_spent(ledger, procedure, fastener, was_tight);
    if was_final || elsewhere {
        spoil_others(ledger, procedure, fastener);
    }
}

/// What else has to be redone when a finished fastener is disturbed.
pub(super) fn spoil_others(ledger: &mut Ledger, procedure: &Procedure, fastener: u8) {
    let near = procedure
        .fasteners()
        .get(usize::from(fastener))
        .map_or([None; 4], |own| own.near);
    for (other, _) in (0..=u8::MAX).zip(procedure.fasteners()) {
        let reached = match procedure.terms().redo {
            Redo::Fastener => false,
            Redo::Neighbours => near.contains(&Some(other)),
            Redo::Joint => other != fastener,
        };
        if reached {
            let tight = ledger.is_tight(other);
            reopen(ledger, procedure, other, 0);
            change(ledger, other, |cell| {
                cell.set(LOOSEN, tight);
                cell.set(MARKED, false);
                // It is done again: nothing is left to decide about what was found before.
                cell.set(ASK, false);
                cell.set(RUNNING_WANTED, false);
            });
        }
    }
    if procedure.terms().redo == Redo::Joint {
        for (index, step) in procedure.numbered_steps() {
            if step.fastener().is_none() && ledger.step(index).is_settled() {
                ledger.put(procedure, index, StepState::Disturbed);
            }
        }
    }
}

fn new_fitted(ledger: &mut Ledger, procedure: &Procedure, at: Instant, fastener: u8) {
    let fit_step = ledger
        .own_steps(procedure, fastener)
        .filter(|(_, stage)| matches!(stage.kind, StageKind::Fit))
        .map(|(index, _)| index)
        .last();
    let was_final = ledger.is_final(procedure, fastener);
    change(ledger, fastener, |cell| {
        *cell = FastenerCell {
            flags: NEW | (cell.flags & DOUBT),
            ..FastenerCell::default()
        };
    });
    let from = fit_step
        .and_then(|step| procedure.step_at(step))
        .map_or(0, |step| step.stage());
    reopen(ledger, procedure, fastener, from);
    if let Some(step) = fit_step {
        settle(ledger, procedure, at, step, StepState::Done);
    }
    if was_final {
        spoil_others(ledger, procedure, fastener);
    }
}

fn decision_made(
    ledger: &mut Ledger,
    procedure: &Procedure,
    at: Instant,
    step: u16,
    decision: Decision,
) {
    if let (AfterNotConverged::Yes, Decision::Waive | Decision::Again) =
        (about_passes(ledger, procedure, step), decision)
    {
        let stage = ledger.not_converged.take();
        if let (Decision::Again, Some(stage)) = (decision, stage) {
            reopen_stage(ledger, procedure, stage);
        }
        return;
    }
    let fastener = procedure.fastener_of(step);
    if let Some(fastener) = fastener {
        change(ledger, fastener, |cell| {
            cell.set(ASK, false);
            cell.set(RUNNING_WANTED, false);
        });
    }
    match decision {
        Decision::Again => ledger.put(procedure, step, StepState::Open),
        Decision::Observed => {
            if let Some(fastener) = fastener {
                tightened(ledger, fastener);
            }
            settle(ledger, procedure, at, step, StepState::Unmeasured);
        }
        Decision::Waive => settle(ledger, procedure, at, step, StepState::Waived),
        Decision::Replace => {
            if let Some(fastener) = fastener {
                change(ledger, fastener, |cell| cell.set(REPLACE, true));
            }
        }
        Decision::Restart(from) => match fastener {
            Some(fastener) => restart(ledger, procedure, fastener, from),
            None => ledger.put(procedure, step, StepState::Open),
        },
    }
}

enum AfterNotConverged {
    Yes,
    No,
}

fn about_passes(ledger: &Ledger, procedure: &Procedure, step: u16) -> AfterNotConverged {
    let stage = procedure.stage_at(step);
    if ledger.not_converged.is_some() && ledger.not_converged == stage {
        AfterNotConverged::Yes
    } else {
        AfterNotConverged::No
    }
}

fn pass_ended(ledger: &mut Ledger, procedure: &Procedure, stage: u8, pass: u8, next: AfterPass) {
    ledger.moved = 0;
    match next {
        AfterPass::Converged => ledger.pass = 0,
        AfterPass::Again => {
            ledger.pass = pass;
            reopen_stage(ledger, procedure, stage);
        }
        AfterPass::NotConverged => {
            ledger.pass = 0;
            ledger.not_converged = Some(stage);
        }
    }
}

fn reopen_stage(ledger: &mut Ledger, procedure: &Procedure, stage: u8) {
    for (index, step) in procedure.numbered_steps() {
        if step.stage() == stage && ledger.step(index) == StepState::Done {
            ledger.put(procedure, index, StepState::Open);
        }
    }
}

/// Loosen fully and go on from a stage: the steps before it stay as they are.
pub(super) fn restart(ledger: &mut Ledger, procedure: &Procedure, fastener: u8, from: u8) {
    let tight = ledger.is_tight(fastener);
    let was_told = reopen(ledger, procedure, fastener, from);
    ledger.note_before(if was_told { LOST } else { REOPENED });
    change(ledger, fastener, |cell| {
        cell.set(ASK, false);
        cell.set(LOOSEN, tight);
        cell.turned = 0;
    });
}

/// Every step of the fastener from a stage on must be done again; a trial that came apart is over, and is not. Says whether one of them
/// was told from paper or left out.
fn reopen(ledger: &mut Ledger, procedure: &Procedure, fastener: u8, from: u8) -> bool {
    let mut was_told = false;
    for (index, step) in procedure.numbered_steps() {
        let is_over = || ledger.apart && procedure.stage_of(index).is_some_and(|own| own.mock_up);
        if step.fastener() != Some(fastener) || step.stage() < from || is_over() {
            continue;
        }
        match ledger.step(index) {
            StepState::Open | StepState::Disturbed => {}
            state => {
                was_told |= matches!(state, StepState::Unmeasured | StepState::Waived);
                ledger.put(procedure, index, StepState::Disturbed);
            }
        }
        if let Some(slot) = ledger.stage_done.get_mut(usize::from(step.stage())) {
            *slot = 0;
        }
    }
    was_told
}

fn replace_if_spent(ledger: &mut Ledger, procedure: &Procedure, fastener: u8, was_tight: bool) {
    if ledger.is_spent_by_loosening(procedure, fastener, was_tight) {
        change(ledger, fastener, |cell| cell.set(REPLACE, true));
    }
}

fn tightened(ledger: &mut Ledger, fastener: u8) {
    change(ledger, fastener, |cell| {
        if !cell.is(TIGHT) {
            cell.set(TIGHT, true);
            cell.cycles = cell.cycles.saturating_add(1);
        }
        cell.set(MARKED, false);
    });
}

fn settle(ledger: &mut Ledger, procedure: &Procedure, at: Instant, step: u16, state: StepState) {
    ledger.put(procedure, step, state);
    let Some(stage) = procedure.stage_at(step) else {
        return;
    };
    let complete = ledger.is_stage_settled(procedure, stage);
    if let Some(slot) = ledger.stage_done.get_mut(usize::from(stage)) {
        *slot = if complete { second_mark(at) } else { 0 };
    }
}

/// The second since boot, plus one, so that zero can mean "not yet".
fn second_mark(at: Instant) -> u32 {
    u32::try_from(divided(divided(at.micros(), 1_000), 1_000))
        .unwrap_or(u32::MAX)
        .saturating_add(1)
}

fn lose_the_clock(ledger: &mut Ledger) {
    ledger.stage_done = [0; STAGES_MAX];
    ledger.moments = [0; MOMENTS_MAX];
}

pub(super) fn change(ledger: &mut Ledger, fastener: u8, with: impl FnOnce(&mut FastenerCell)) {
    if let Some(cell) = ledger.fasteners.get_mut(usize::from(fastener)) {
        with(cell);
    }
}
