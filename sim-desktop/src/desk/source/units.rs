//! Torque as it is read at the joint: in N·m, or in the unit of the manual.
//!
//! For the eye only. Knows nothing of limits as they are judged, and nothing that is recorded passes through here.

use crate::quantity::{Quantity, Target, TorqueUnit, Unit as _};

use super::super::view::{CurveView, Gauge, LiveView};
use crate::plan::JointPlan;

/// A unit to show torque in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Shown {
    symbol: &'static str,
    newton_meters: f64,
}

impl Shown {
    /// N·m, as everything is kept.
    pub(super) const NEWTON_METERS: Self = Self {
        symbol: "N·m",
        newton_meters: 1.0,
    };

    /// The unit that the plan has its torque in: at this stage, or else at the first that has one.
    pub(super) fn of_manual(plan: &JointPlan, stage: usize) -> Self {
        let unit_at = |stage: usize| {
            let text = plan.stages.get(stage)?.target.as_deref()?;
            let target = Target::<TorqueUnit>::parse(text).ok()?;
            Some(target.high().or(target.low())?.unit())
        };
        unit_at(stage)
            .or_else(|| (0..plan.stages.len()).find_map(unit_at))
            .map_or(Self::NEWTON_METERS, Self::new)
    }

    fn new(unit: TorqueUnit) -> Self {
        let symbol = unit.symbol();
        // Ten thousand of it, so that the rounding to mN·m does not show.
        #[expect(clippy::cast_precision_loss, reason = "at most 10^10, for a display")]
        let newton_meters = Quantity::<TorqueUnit>::parse(&format!("10000 {symbol}"))
            .map_or(1.0, |ten_thousand| ten_thousand.amount() as f64 / 1e7);
        Self {
            symbol,
            newton_meters,
        }
    }

    /// This many N·m in the unit.
    pub(super) fn value(self, newton_meters: f64) -> f64 {
        newton_meters / self.newton_meters
    }

    /// The live reading, its window and its curve in the unit.
    pub(super) fn apply(self, view: &mut LiveView) {
        if self == Self::NEWTON_METERS {
            return;
        }
        for gauge in &mut view.gauges {
            self.apply_to(gauge);
        }
        self.apply_to_curve(&mut view.curve);
    }

    fn apply_to(self, gauge: &mut Gauge) {
        if gauge.unit != Self::NEWTON_METERS.symbol {
            return;
        }
        for value in [
            &mut gauge.value,
            &mut gauge.low,
            &mut gauge.high,
            &mut gauge.target,
        ] {
            *value = value.map(|own| self.value(own));
        }
        gauge.scale = self.value(gauge.scale);
        gauge.decimals = if gauge.scale < 12.0 {
            2
        } else {
            usize::from(gauge.scale < 1200.0)
        };
        self.symbol.clone_into(&mut gauge.unit);
    }

    #[expect(clippy::cast_possible_truncation, reason = "torque for a drawing")]
    fn apply_to_curve(self, curve: &mut CurveView) {
        for [_, torque] in &mut curve.points {
            *torque = self.value(f64::from(*torque)) as f32;
        }
        for limit in [&mut curve.torque_low, &mut curve.torque_high] {
            *limit = limit.map(|own| self.value(f64::from(own)) as f32);
        }
        self.symbol.clone_into(&mut curve.unit);
    }
}

#[cfg(test)]
mod tests {
    use super::Shown;
    use crate::quantity::TorqueUnit;

    #[test]
    fn a_reading_in_the_manuals_unit_is_the_published_conversion() {
        // [NIST SP 811, appendix B.8: 1 lbf·ft = 1.355 818 N·m, 1 lbf·in = 0.112 984 8 N·m, 1 kgf·m = 9.806 65 N·m]
        for (unit, newton_meters) in [
            (TorqueUnit::PoundFoot, 1.355_818),
            (TorqueUnit::PoundInch, 0.112_984_8),
            (TorqueUnit::KilogramMeter, 9.806_65),
            (TorqueUnit::NewtonMeter, 1.0),
        ] {
            let shown = Shown::new(unit);
            assert!((shown.value(newton_meters) - 1.0).abs() < 1e-5, "{shown:?}");
        }
    }
}
