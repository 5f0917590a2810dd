//! Does a torque make sense for its thread and strength? A question to the person who typed it, never a refusal.
//!
//! Knows nothing of other joints.

use crate::quantity::{Quantity, Target, TorqueUnit, Unit as _};
use evendraw_core::procedure::StageKind;

use super::diagnostic::Diagnostics;
use super::joint::JointPlan;
use super::quantity::newton_meters;
use super::stage::StagePlan;
use crate::mechanics::{Bearing, Condition, Strength, Thread, TorqueTension, combined_stress_MPa};

/// Share of yield above which a torque is asked about. Friction may be half as much again as calculated, so that a sound value
/// may stand above 1. Common practice, no source.
const SHARE_MAX: f64 = 1.25;
/// Share of yield below which the highest torque of a joint is asked about. Common practice, no source.
const SHARE_MIN: f64 = 0.05;

pub(super) fn ask(joint: &str, plan: &JointPlan, to: &Diagnostics) {
    let Some(thread) = &plan.thread_size else {
        return;
    };
    if thread.stress_area_mm2().is_none() || thread.kind.pipe() {
        return;
    }
    let strength = |weakest: bool| {
        plan.strength.or_else(|| {
            let class = if weakest { "4.6" } else { "12.9" };
            Strength::property_class(class, thread.major_mm).ok()
        })
    };
    // Where the strength is not said, only what even the strongest could not bear is asked about, and the reverse.
    let (Some(strongest), Some(weakest)) = (strength(false), strength(true)) else {
        return;
    };
    let condition = plan
        .condition
        .as_deref()
        .map_or(Condition::Dry, Condition::from_text);
    let share = |torque_nm: f64, strength: &Strength| {
        let friction = condition.friction();
        let load = TorqueTension::Friction(friction).preload_N(
            thread,
            Bearing::hexagon(thread),
            torque_nm,
        );
        combined_stress_MPa(thread, friction.thread, load) / strength.yield_MPa
    };
    let mut highest: Option<(f64, &StagePlan)> = None;
    let mut turned = false;
    for (stage, written) in plan.procedure.stages().iter().zip(&plan.stages) {
        turned |= matches!(stage.kind, StageKind::Turn { .. });
        let (StageKind::Tighten { window, .. }
        | StageKind::Align { window }
        | StageKind::Later { window, .. }) = stage.kind
        else {
            continue;
        };
        if stage.mock_up {
            continue;
        }
        let torque_nm = f64::from(window.target.millinewton_meters()) / 1_000.0;
        if highest.is_none_or(|(other, _)| other < torque_nm) {
            highest = Some((torque_nm, written));
        }
        let strain = share(torque_nm, &strongest);
        if strain > SHARE_MAX {
            let text = written.target.as_deref().unwrap_or("");
            let named = name(plan, thread);
            to.warning(
                &written.place,
                format!(
                    "{text} ({}) in stage {} of joint `{joint}` is {:.1} times what yields {named}",
                    newton_meters(window.target),
                    written.number,
                    strain
                ),
                "is this torque right?",
                instead(text, |torque| {
                    (SHARE_MIN..=1.1).contains(&share(torque, &strongest))
                }),
            );
        }
    }
    if let Some((torque_nm, written)) = highest.filter(|_| !turned) {
        let strain = share(torque_nm, &weakest);
        if strain < SHARE_MIN {
            let text = written.target.as_deref().unwrap_or("");
            to.warning(
                &written.place,
                format!(
                    "{text} is the highest torque of joint `{joint}` and only {:.1} % of what yields {}",
                    strain * 100.0,
                    name(plan, thread)
                ),
                "is this torque right?",
                instead(text, |torque| (0.2..=1.1).contains(&share(torque, &weakest))),
            );
        }
    }
}

fn name(plan: &JointPlan, thread: &Thread) -> String {
    match (&plan.class, &plan.grade) {
        (Some(class), _) => format!("{thread} of class {class}"),
        (None, Some(grade)) => format!("{thread} of grade {grade}"),
        (None, None) => format!("{thread} of any class"),
    }
}

/// The same number in a unit in which it would make sense.
fn instead(text: &str, is_sound: impl Fn(f64) -> bool) -> String {
    let question = "compare it with the document: it may be meant otherwise";
    let Ok(target) = Target::<TorqueUnit>::parse(text) else {
        return question.to_owned();
    };
    let Some(given) = target.high().or(target.low()) else {
        return question.to_owned();
    };
    let found = TorqueUnit::ALL.into_iter().find(|&unit| {
        unit != given.unit()
            && given
                .with_unit(unit)
                .map(Quantity::torque)
                .is_some_and(|torque| is_sound(f64::from(torque.millinewton_meters()) / 1_000.0))
    });
    match found {
        Some(unit) => format!(
            "{question} ({} {} would make sense)",
            given.number(),
            unit.symbol()
        ),
        None => question.to_owned(),
    }
}
