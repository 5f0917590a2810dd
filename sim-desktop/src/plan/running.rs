//! Do snug, target and running torque of a joint go together?
//!
//! Knows nothing of other joints.

use evendraw_core::procedure::{Prevailing, StageKind};
use evendraw_core::unit::Torque;

use super::diagnostic::Diagnostics;
use super::joint::JointPlan;
use super::quantity::newton_meters;
use super::stage::StagePlan;

/// What the steps of a joint say, told once for each stage.
pub(super) fn ask(joint: &str, plan: &JointPlan, to: &Diagnostics) {
    let procedure = &plan.procedure;
    let mut said: Vec<(u8, Torque, &StagePlan)> = Vec::new();
    for (number, written) in (0_u8..=u8::MAX).zip(&plan.stages) {
        let steps = || {
            procedure
                .numbered_steps()
                .filter(move |(_, step)| step.stage() == number)
        };
        let Some((step, _)) = steps().next() else {
            continue;
        };
        let Some(stage) = procedure.stage_of(step) else {
            continue;
        };
        let smallest = steps()
            .filter_map(|(step, _)| procedure.torque_window(step))
            .map(|window| window.target)
            .min();
        let target = match (stage.kind, smallest) {
            (StageKind::Hold { torque, .. }, _) => torque,
            (_, Some(target)) => target,
            _ => continue,
        };
        too_late(joint, plan, step, written, to);
        let is_pulled_for = !matches!(stage.kind, StageKind::Turn { .. });
        if is_pulled_for {
            snug_against(joint, plan, step, target, written, to);
        }
        if let Prevailing::Given(running) = procedure.prevailing(step)
            && is_pulled_for
        {
            against_target(joint, running, target, written, to);
        }
        if let StageKind::Tighten {
            prevailing: Prevailing::Given(running),
            ..
        } = stage.kind
        {
            said.push((number, running, written));
        }
    }
    two_words(joint, plan, &said, to);
}

/// A torque in front of the first stage that says a running torque comes without any.
fn too_late(joint: &str, plan: &JointPlan, step: u16, written: &StagePlan, to: &Diagnostics) {
    let procedure = &plan.procedure;
    let Some(at) = procedure.step_at(step) else {
        return;
    };
    if procedure.prevailing(step) != Prevailing::None {
        return;
    }
    let later = procedure.numbered_steps().find(|(other, later)| {
        later.fastener() == at.fastener() && procedure.prevailing(*other) != Prevailing::None
    });
    let Some((_, later)) = later else { return };
    to.warning(
        &written.place,
        format!(
            "stage {} of joint `{joint}` adds no running torque, and stage {} does",
            written.number,
            u32::from(later.stage()) + 1
        ),
        "the lock drags here too",
        "write `prevailing` on the joint: it holds for every stage",
    );
}

/// From snug on the angle counts: it must lie below what is pulled for, both without the running torque.
fn snug_against(
    joint: &str,
    plan: &JointPlan,
    step: u16,
    target: Torque,
    written: &StagePlan,
    to: &Diagnostics,
) {
    let snug = plan.procedure.terms().limits.snug;
    if snug < target || snug == Torque::ZERO {
        return;
    }
    let hint = match plan.procedure.prevailing(step) {
        Prevailing::None => {
            "from snug on the angle counts and the rise is watched: give one below every target"
        }
        _ => {
            "snug counts on top of the running torque, like the target: give it without the running torque"
        }
    };
    to.warning(
        &written.place,
        format!(
            "snug torque {} of joint `{joint}` is not below {} of stage {}",
            newton_meters(snug),
            newton_meters(target),
            written.number
        ),
        "here",
        hint,
    );
}

/// Up to half of the target a running torque is told from the joint's own rise.
fn against_target(
    joint: &str,
    running: Torque,
    target: Torque,
    written: &StagePlan,
    to: &Diagnostics,
) {
    let told = format!(
        "{} of running torque under {} of stage {} of joint `{joint}`",
        newton_meters(running),
        newton_meters(target),
        written.number
    );
    if running >= target {
        to.error(
            &written.place,
            told,
            "here",
            "what the lock takes must be less than what clamps on top of it: compare the units of both",
        );
    } else if running + running > target {
        to.warning(
            &written.place,
            told,
            "is this right?",
            "more than half: compare the units of both, and whether the target includes it already",
        );
    }
}

/// One fastener has one lock.
fn two_words(joint: &str, plan: &JointPlan, said: &[(u8, Torque, &StagePlan)], to: &Diagnostics) {
    let on = |stage: u8| {
        plan.procedure
            .steps()
            .iter()
            .filter(move |step| step.stage() == stage)
            .filter_map(|step| step.fastener())
    };
    for pair in said.windows(2) {
        let [(before, first, _), (number, second, written)] = pair else {
            continue;
        };
        if first != second && on(*before).any(|one| on(*number).any(|other| one == other)) {
            to.warning(
                &written.place,
                format!(
                    "stage {} of joint `{joint}` gives {} of running torque, stage {} gave {}",
                    written.number,
                    newton_meters(*second),
                    u32::from(*before) + 1,
                    newton_meters(*first)
                ),
                "here",
                "the lock is the fastener's: write one value, on the joint",
            );
        }
    }
}
