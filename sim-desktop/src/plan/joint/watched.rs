//! What the curve of a joint's pulls is held to, from its thread, grip, class and condition.

use evendraw_core::curve_limits::CurveLimits;
use evendraw_core::procedure::{Stage, StageKind};
use evendraw_core::unit::Angle;

use super::Joint;
use super::metal::Metal;
use crate::mechanics::{Interface, rise_bounds, yields_from};

/// What the metal lets one expect of the curve.
pub(super) fn expect(limits: &mut CurveLimits, joint: &Joint, metal: &Metal, stages: &[Stage]) {
    let Some(thread) = &metal.thread_size else {
        return;
    };
    let condition = metal.condition.as_deref();
    if let Some(grip_mm) = metal.grip_mm {
        let parts = joint.needs.iter().map(|part| part.text.as_str());
        let below = Interface::from_parts(parts);
        if let Some((least, most)) = rise_bounds(thread, grip_mm, condition, below) {
            limits.gradient_min = least;
            limits.gradient_max = most;
            limits.turn_rise = least;
        }
    }
    if let Some(strength) = &metal.strength {
        let from = yields_from(thread, strength, condition);
        if let Some(torque) = most_torque(stages) {
            near_yield(limits, f64::from(torque) / from);
        }
    }
}

/// The greatest torque, in mN·m, that a stage before the first turn tightens to; none where nothing is turned by angle.
fn most_torque(stages: &[Stage]) -> Option<i32> {
    let turn = stages
        .iter()
        .position(|stage| matches!(stage.kind, StageKind::Turn { .. }))?;
    let torques = stages
        .iter()
        .take(turn)
        .filter_map(|stage| match stage.kind {
            StageKind::Tighten { window, .. } => Some(window.target.millinewton_meters()),
            _ => None,
        });
    torques.max()
}

/// Of a turn that begins near yield less torque is asked, and further on: `share` is what the turn begins at over the least torque
/// at which the fastener may yield.
///
/// Up to three quarters of that a tenth more within 30° leaves room below yield. From there to yield even the slickest fastener gains
/// 5 % within 60°: what is left below yield, and strain hardening (a class 8.8 of 40 mm turned on by 50° takes 0.5 % of strain, which
/// raises its stress by 5 to 8 %; *calculated, no source*). Beyond, nothing is asked.
fn near_yield(limits: &mut CurveLimits, share: f64) {
    if share > 0.75 {
        limits.turn_rise = 0;
        limits.turn_rise_part = if share > 1.0 { 0 } else { 5 };
        limits.turn_rise_after = Angle::from_millidegrees(60_000);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mechanics::{Strength, Thread};

    #[test]
    fn a_turn_from_below_yield_is_held_to_a_rise() {
        let thread = "M10x1.5".parse::<Thread>().expect("a thread");
        let strength = Strength::property_class("8.8", 10.0).expect("a class");
        for condition in [None, Some("oiled"), Some("dry"), Some("threadlocker")] {
            let mut limits = CurveLimits::default();
            let from = yields_from(&thread, &strength, condition);
            near_yield(&mut limits, 30_300.0 / from);
            assert!(
                limits.turn_rise_part >= 5,
                "{condition:?}: {}",
                30_300.0 / from
            );
        }
        let mut beyond = CurveLimits::default();
        near_yield(&mut beyond, 1.1);
        assert_eq!((beyond.turn_rise_part, beyond.turn_rise), (0, 0));
    }
}
