//! Torque as a person reads it: in the unit that the plan is written in, with N·m beside it.
//!
//! For the eye only. Knows nothing of limits as they are judged, and nothing that is recorded passes through here.

use crate::quantity::{Quantity, Target, TorqueUnit, Unit as _, newton_meters};
use evendraw_core::procedure::TorqueWindow;
use evendraw_core::record::Attempt;
use evendraw_core::unit::Torque;

use super::is_lost;
use crate::plan::JointPlan;
use crate::words;

/// A unit to show torque in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    symbol: &'static str,
    newton_meters: f64,
}

impl Shown {
    /// N·m, as everything is kept.
    pub const NEWTON_METERS: Self = Self {
        symbol: "N·m",
        newton_meters: 1.0,
    };

    /// The unit that the plan has its torque in: at this stage, or else at the first that has one.
    #[must_use]
    pub fn at(plan: &JointPlan, stage: u8) -> Self {
        let unit_at = |stage: usize| {
            let text = plan.stages.get(stage)?.target.as_deref()?;
            let target = Target::<TorqueUnit>::parse(text).ok()?;
            Some(target.high().or(target.low())?.unit())
        };
        unit_at(usize::from(stage))
            .or_else(|| (0..plan.stages.len()).find_map(unit_at))
            .map_or(Self::NEWTON_METERS, Self::new)
    }

    /// In this unit.
    #[must_use]
    pub fn new(unit: TorqueUnit) -> Self {
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

    /// What is printed beside a number.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        self.symbol
    }

    /// This many N·m in the unit.
    #[must_use]
    pub fn value(self, newton_meters: f64) -> f64 {
        newton_meters / self.newton_meters
    }

    /// The number alone.
    #[must_use]
    pub fn number(self, torque: Torque) -> String {
        if self == Self::NEWTON_METERS {
            return words::torque_number(torque);
        }
        let value = self.value(newton_meters(torque));
        let places = if value.abs() < 99.995 { 2 } else { 1 };
        format!("{value:.places$}")
    }

    /// With its unit, and in N·m beside it where the plan has another: `29.58 lbf·ft (40.10 N·m)`.
    #[must_use]
    pub fn words(self, torque: Torque) -> String {
        self.beside(
            format!("{} {}", self.number(torque), self.symbol),
            words::torque(torque),
        )
    }

    /// The judged torque of an attempt; "torque unknown" where the pull was lost before anything was kept of it.
    #[must_use]
    pub fn reached(self, attempt: &Attempt) -> String {
        if is_lost(attempt) {
            "torque unknown".to_owned()
        } else {
            self.words(attempt.peak)
        }
    }

    /// A window with its unit, and in N·m beside it where the plan has another.
    #[must_use]
    pub fn window(self, window: &TorqueWindow) -> String {
        let inside = |shown: Self| {
            let (low, high) = (shown.number(window.min), shown.number(window.max));
            let symbol = shown.symbol;
            if window.max >= Torque::MAX {
                format!("at least {low} {symbol}")
            } else if window.min <= Torque::ZERO {
                format!("at most {high} {symbol}")
            } else {
                format!("{low} to {high} {symbol}")
            }
        };
        self.beside(inside(self), inside(Self::NEWTON_METERS))
    }

    fn beside(self, own: String, newton_meters: String) -> String {
        if self == Self::NEWTON_METERS {
            newton_meters
        } else {
            format!("{own} ({newton_meters})")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Shown;
    use crate::quantity::TorqueUnit;
    use evendraw_core::unit::Torque;

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
        let torque = Torque::from_millinewton_meters(45_013);
        assert_eq!(
            Shown::new(TorqueUnit::PoundFoot).words(torque),
            "33.20 lbf·ft (45.01 N·m)"
        );
        assert_eq!(Shown::NEWTON_METERS.words(torque), "45.01 N·m");
    }
}
