//! Quantities as a manual prints them: read, kept, converted, compared.
//!
//! A [`Quantity`] keeps the number with the digits as printed and the unit as printed, so that it prints back to the same
//! text and so that two printings of one value can be compared by what their digits promise. A [`Target`] is one quantity, a
//! range, or a limit on one side; a [`Tolerance`] is what may be above and below.
//!
//! Every unit is an exact fraction of the core's own (mN·m, millidegree, µm, µs, parts per million). Coming into the core
//! there is one rounding: to the nearest whole, halves away from zero. Knows nothing of plans: where a text stands in its
//! file is the caller's, the place within the text is the error's.
//!
//! # Why quantities keep their digits
//!
//! *Context:* manuals print one torque in two units, and are sometimes wrong. *Choice:* a quantity is its number with
//! the digits as printed and its unit as printed; every unit is an exact fraction of mN·m, so conversions are exact
//! decimals where they end and 20 digits where they do not. Into the core there is one rounding, to the nearest mN·m,
//! halves away from zero. Two printings agree when they differ by no more than half the last printed digit of each
//! plus 2 % of the larger; if not, the unit that would agree is named. A range is its own tolerance and aimed at in
//! its middle, a limit on one side from inside. *Alternative:* floats, which cannot say whether `33.2 lbf·ft` was
//! typed. *Would change our mind:* a manual whose pairs the 2 % refuses though they are right (10 N·m beside 1 kgf·m
//! passes at 1.9 %).

mod convert;
mod error;
mod number;
mod pair;
mod read;
mod target;
mod units;

#[cfg(test)]
mod tests;

use std::fmt;

pub use convert::{Converted, SIGNIFICANT_DIGITS};
pub use error::{Fault, QuantityError};
pub use number::Number;
pub use pair::{Disagreement, printed_pair, printed_targets};
pub use target::{Amount, Target, Tolerance, WindowError};
pub use units::{AngleUnit, LengthUnit, PercentUnit, SpanUnit, TorqueUnit, Unit};

use evendraw_core::unit::{Angle, Length, Span, Torque};

/// A torque of the core in N·m, for arithmetic that is not exact and for scripts.
#[must_use]
pub fn newton_meters(torque: Torque) -> f64 {
    f64::from(torque.millinewton_meters()) / 1_000.0
}

/// A number with its unit, both as printed.
///
/// Two quantities are equal when they print the same, not when they measure the same: 40 N·m differs from 40.0 N·m.
///
/// # Examples
/// ```
/// use evendraw::quantity::{Quantity, TorqueUnit};
///
/// let given: Quantity<TorqueUnit> = Quantity::parse("29,5 ft-lbs")?;
/// assert_eq!(given.torque().millinewton_meters(), 39_997);
/// # Ok::<(), evendraw::quantity::QuantityError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quantity<U> {
    number: Number,
    unit: U,
}

impl<U: Unit> Quantity<U> {
    /// Reads one quantity: the whole text, nothing beside it.
    ///
    /// # Errors
    /// [`QuantityError`] with the place in the text, what is wrong and what is allowed.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        read::quantity(text)
    }

    /// The number, with the digits as printed.
    #[must_use]
    pub const fn number(self) -> Number {
        self.number
    }

    /// The unit.
    #[must_use]
    pub const fn unit(self) -> U {
        self.unit
    }

    /// In the core's unit for this kind of quantity, rounded to the nearest whole, halves away from zero.
    ///
    /// mN·m, millidegrees, µm, µs or parts per million.
    #[must_use]
    pub fn amount(self) -> i64 {
        // Out of range was refused when the quantity was made.
        self.checked_amount().unwrap_or(0)
    }

    /// With another unit beside the same number; none if that is out of range.
    #[must_use]
    pub fn with_unit(self, unit: U) -> Option<Self> {
        Self::new(self.number, unit)
    }

    fn new(number: Number, unit: U) -> Option<Self> {
        let own = Self { number, unit };
        own.checked_amount().map(|_| own)
    }

    fn checked_amount(self) -> Option<i64> {
        let (numerator, denominator) = self.unit.ratio();
        let amount = self.number.times(numerator, denominator)?;
        (amount.unsigned_abs() <= U::AMOUNT_MAX).then_some(amount)
    }
}

impl<U: Unit> fmt::Display for Quantity<U> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (over, under) = self.number.parts();
        let (space, symbol) = self.unit.after_number(over <= u64::from(under));
        write!(f, "{}{space}{symbol}", self.number)
    }
}

impl Quantity<TorqueUnit> {
    /// In mN·m, rounded to the nearest, halves away from zero.
    #[must_use]
    pub fn torque(self) -> Torque {
        Torque::from_wide(self.amount())
    }
}

impl Quantity<AngleUnit> {
    /// In millidegrees, rounded to the nearest, halves away from zero.
    #[must_use]
    pub fn angle(self) -> Angle {
        Angle::from_wide(self.amount())
    }
}

impl Quantity<LengthUnit> {
    /// In µm, rounded to the nearest, halves away from zero.
    #[must_use]
    pub fn length(self) -> Length {
        Length::from_wide(self.amount())
    }
}

impl Quantity<SpanUnit> {
    /// In µs.
    #[must_use]
    pub fn span(self) -> Span {
        Span::from_micros(self.amount().unsigned_abs())
    }
}

impl Quantity<PercentUnit> {
    /// In parts per million: 2 % is 20,000.
    #[must_use]
    pub fn parts_per_million(self) -> i64 {
        self.amount()
    }
}
