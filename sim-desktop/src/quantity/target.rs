//! What a stage aims at as printed, and what may be above and below it; both made into the core's windows.

use std::fmt;

use super::number::rounded;
use super::{
    AngleUnit, Converted, LengthUnit, PercentUnit, Quantity, QuantityError, TorqueUnit, Unit, read,
};
use evendraw_core::procedure::{AngleWindow, TorqueWindow};
use evendraw_core::unit::{Angle, Length, Torque};

/// A value to reach, as printed.
///
/// Read from `33.2 lbf·ft`, `24..28 lbf·ft`, `24-28 ft-lb`, `24 to 28 ft-lb`, `max 10 N·m`, `10 N·m max`, `min 5 N·m`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Target<U> {
    /// One value.
    Exact(Quantity<U>),
    /// Anything from low to high, both allowed.
    Range {
        /// The lower end.
        low: Quantity<U>,
        /// The higher end.
        high: Quantity<U>,
    },
    /// Anything up to this.
    AtMost(Quantity<U>),
    /// Anything from this.
    AtLeast(Quantity<U>),
}

impl<U: Unit> Target<U> {
    /// Reads a target: the whole text.
    ///
    /// # Errors
    /// [`QuantityError`] with the place in the text, what is wrong and what is allowed.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        read::target(text)
    }

    /// The printed lower limit, if there is one.
    #[must_use]
    pub const fn low(&self) -> Option<Quantity<U>> {
        match *self {
            Self::Exact(low) | Self::Range { low, .. } | Self::AtLeast(low) => Some(low),
            Self::AtMost(_) => None,
        }
    }

    /// The printed upper limit, if there is one.
    #[must_use]
    pub const fn high(&self) -> Option<Quantity<U>> {
        match *self {
            Self::Exact(high) | Self::Range { high, .. } | Self::AtMost(high) => Some(high),
            Self::AtLeast(_) => None,
        }
    }

    /// Target, lowest and highest in the core's unit.
    ///
    /// One value takes the tolerance on both sides. A range is its own tolerance and is aimed at in its middle, halves rounded down. A limit on one
    /// side is kept as it is and aimed at from inside, by the tolerance on that side.
    fn amounts(&self, within: &Tolerance<U>) -> (i64, Option<i64>, Option<i64>) {
        match *self {
            Self::Exact(value) => {
                let target = value.amount();
                (
                    target,
                    Some(target.saturating_sub(within.minus.of(target))),
                    Some(target.saturating_add(within.plus.of(target))),
                )
            }
            Self::Range { low, high } => {
                let (low, high) = (low.amount(), high.amount());
                (low.midpoint(high), Some(low), Some(high))
            }
            Self::AtMost(high) => {
                let high = high.amount();
                (high.saturating_sub(within.minus.of(high)), None, Some(high))
            }
            Self::AtLeast(low) => {
                let low = low.amount();
                (low.saturating_add(within.plus.of(low)), Some(low), None)
            }
        }
    }
}

impl Target<TorqueUnit> {
    /// The same in N·m, in the whole mN·m that it is judged in; none where it is printed in N·m.
    ///
    /// # Examples
    /// ```
    /// use evendraw::quantity::{Target, TorqueUnit};
    /// let printed = Target::<TorqueUnit>::parse("33.2 lbf·ft")?;
    /// assert_eq!(printed.in_newton_meters().as_deref(), Some("45.013 N·m"));
    /// let printed = Target::<TorqueUnit>::parse("24-28 ft-lb")?;
    /// assert_eq!(printed.in_newton_meters().as_deref(), Some("32.54..37.963 N·m"));
    /// assert_eq!(Target::<TorqueUnit>::parse("45 Nm")?.in_newton_meters(), None);
    /// # Ok::<(), evendraw::quantity::QuantityError>(())
    /// ```
    #[must_use]
    pub fn in_newton_meters(&self) -> Option<String> {
        let newton_meter = TorqueUnit::NewtonMeter;
        let ends = [self.low(), self.high()];
        if ends.iter().flatten().all(|end| end.unit() == newton_meter) {
            return None;
        }
        let number =
            |value: &Quantity<TorqueUnit>| Converted::from_torque(value.torque(), newton_meter);
        let symbol = newton_meter.symbol();
        Some(match self {
            Self::Exact(value) => format!("{} {symbol}", number(value)),
            Self::Range { low, high } => format!("{}..{} {symbol}", number(low), number(high)),
            Self::AtMost(high) => format!("max {} {symbol}", number(high)),
            Self::AtLeast(low) => format!("min {} {symbol}", number(low)),
        })
    }

    /// The window that the core judges by.
    ///
    /// # Errors
    /// [`WindowError`] if the tolerance leaves the range of torques or goes below zero.
    pub fn window(&self, within: &Tolerance<TorqueUnit>) -> Result<TorqueWindow, WindowError> {
        let (target, min, max) = self.amounts(within);
        let kept = |amount: i64| kept(amount).map(Torque::from_millinewton_meters);
        Ok(TorqueWindow {
            target: kept(target)?,
            min: min.map_or(Ok(Torque::ZERO), kept)?,
            max: max.map_or(Ok(Torque::MAX), kept)?,
        })
    }
}

impl Target<AngleUnit> {
    /// The window that the core judges by.
    ///
    /// # Errors
    /// [`WindowError`] if the tolerance leaves the range of angles or goes below zero.
    pub fn window(&self, within: &Tolerance<AngleUnit>) -> Result<AngleWindow, WindowError> {
        let (target, min, max) = self.amounts(within);
        let kept = |amount: i64| kept(amount).map(Angle::from_millidegrees);
        Ok(AngleWindow {
            target: kept(target)?,
            min: min.map_or(Ok(Angle::ZERO), kept)?,
            max: max.map_or(Ok(Angle::MAX), kept)?,
        })
    }
}

impl Target<LengthUnit> {
    /// Lowest and highest length allowed; a side without a limit reaches to the end of the range.
    #[must_use]
    pub fn window(&self, within: &Tolerance<LengthUnit>) -> (Length, Length) {
        let (_, min, max) = self.amounts(within);
        (
            min.map_or(-Length::MAX, Length::from_wide),
            max.map_or(Length::MAX, Length::from_wide),
        )
    }
}

fn kept(amount: i64) -> Result<i32, WindowError> {
    if amount < 0 {
        return Err(WindowError::BelowZero { amount });
    }
    i32::try_from(amount)
        .ok()
        .filter(|&amount| amount <= evendraw_core::unit::MAGNITUDE_MAX)
        .ok_or(WindowError::TooLarge { amount })
}

impl<U: Unit> fmt::Display for Target<U> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Exact(value) => write!(f, "{value}"),
            Self::Range { low, high } if low.unit() == high.unit() => {
                write!(f, "{}..{high}", low.number())
            }
            Self::Range { low, high } => write!(f, "{low}..{high}"),
            Self::AtMost(high) => write!(f, "max {high}"),
            Self::AtLeast(low) => write!(f, "min {low}"),
        }
    }
}

/// One side of a tolerance: a share of the value, or a value of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Amount<U> {
    /// A share of the target.
    Percent(Quantity<PercentUnit>),
    /// In the target's kind of unit.
    Value(Quantity<U>),
}

impl<U: Unit> Amount<U> {
    /// What it comes to at a target, both in the core's unit; a share is rounded to the nearest, halves away from zero.
    #[must_use]
    pub fn of(self, target: i64) -> i64 {
        match self {
            Self::Percent(share) => {
                let wide = u128::from(target.unsigned_abs())
                    .saturating_mul(u128::from(share.amount().unsigned_abs()));
                let size = rounded(wide, 1_000_000).and_then(|size| i64::try_from(size).ok());
                size.unwrap_or(i64::MAX)
            }
            Self::Value(value) => value.amount(),
        }
    }

    /// Nothing, in the same unit.
    pub(super) fn none(self) -> Self {
        let Some(zero) = super::Number::decimal(0, 0) else {
            return self;
        };
        match self {
            Self::Percent(_) => Self::Percent(Quantity {
                number: zero,
                unit: PercentUnit,
            }),
            Self::Value(value) => Self::Value(Quantity {
                number: zero,
                unit: value.unit(),
            }),
        }
    }
}

impl<U: Unit> fmt::Display for Amount<U> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Percent(share) => write!(f, "{share}"),
            Self::Value(value) => write!(f, "{value}"),
        }
    }
}

/// What may be above a target and below it.
///
/// Read from `±5 %`, `+-5 %`, `+/-5 %`, `+10 % -0 %`, `+10/-0 %`, `±2 N·m`, `+4° -0°`, `-0° +4°`, `+5 %` (nothing below).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tolerance<U> {
    /// Above.
    pub plus: Amount<U>,
    /// Below, as a positive amount.
    pub minus: Amount<U>,
}

impl<U: Unit> Tolerance<U> {
    /// Reads a tolerance: the whole text.
    ///
    /// # Errors
    /// [`QuantityError`] with the place in the text, what is wrong and what is allowed.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        read::tolerance(text)
    }
}

impl<U: Unit> fmt::Display for Tolerance<U> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.plus == self.minus {
            write!(f, "±{}", self.plus)
        } else {
            write!(f, "+{} -{}", self.plus, self.minus)
        }
    }
}

/// A target and tolerance that make no window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum WindowError {
    /// The tolerance reaches below zero.
    BelowZero {
        /// The limit, in mN·m or millidegrees.
        amount: i64,
    },
    /// A limit is above 1 MN·m or 1,000,000°.
    TooLarge {
        /// The limit, in mN·m or millidegrees.
        amount: i64,
    },
}

impl fmt::Display for WindowError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::BelowZero { .. } => {
                "the tolerance reaches below zero: at most 100 % is allowed below"
            }
            Self::TooLarge { .. } => "the tolerance reaches above 1 MN·m or 1,000,000°",
        })
    }
}

impl std::error::Error for WindowError {}
