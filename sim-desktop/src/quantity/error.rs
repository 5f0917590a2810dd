//! Why a quantity is refused: where, what, what is allowed, and a hint.

use std::fmt;

/// A text that is not the quantity asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct QuantityError {
    /// First byte of the fault within the text.
    pub from: usize,
    /// First byte after the fault; not before `from`, and on a character's edge as that is.
    pub to: usize,
    /// What is wrong.
    pub fault: Fault,
    /// Units that are allowed.
    pub allowed: &'static str,
}

impl QuantityError {
    /// What to write instead.
    #[must_use]
    pub const fn hint(&self) -> Option<&'static str> {
        self.fault.hint()
    }
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.fault)?;
        if self.fault.concerns_unit() {
            write!(f, "; allowed are {}", self.allowed)?;
        }
        Ok(())
    }
}

impl std::error::Error for QuantityError {}

/// What is wrong with the text of a quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Fault {
    /// Nothing there.
    Empty,
    /// A number should stand here.
    NumberMissing,
    /// More digits than are kept.
    TooManyDigits,
    /// A comma that may part thousands or decimals, or digits in groups.
    DigitGroups,
    /// A fraction over zero.
    ZeroDenominator,
    /// Below zero, where that means nothing.
    Negative,
    /// A number without unit.
    UnitMissing,
    /// A unit that is not known for this kind of quantity.
    UnitUnknown,
    /// Pounds without a lever.
    PoundAlone,
    /// Another force or weight without a lever.
    ForceAlone,
    /// A stroke in a torque unit: it says "per".
    Stroke,
    /// Larger than the core's unit holds.
    OutOfRange,
    /// A range whose end lies below its beginning.
    RangeBackwards,
    /// A tolerance within the value.
    ToleranceInside,
    /// Something after the end.
    LeftOver,
    /// A tolerance without ± or + and -.
    SignMissing,
    /// The same side of a tolerance twice.
    SideTwice,
}

impl Fault {
    /// What to write instead.
    #[must_use]
    pub const fn hint(self) -> Option<&'static str> {
        Some(match self {
            Self::DigitGroups => {
                "write the number without thousands separators: 1234 for one thousand two hundred, 1.234 for one and a bit"
            }
            Self::PoundAlone => {
                "a pound is a weight, not a torque: write lbf·ft or lbf·in, as the manual means it"
            }
            Self::ForceAlone => {
                "a force is not a torque: write it with its lever, as N·m, kgf·m, kgf·cm or ozf·in"
            }
            Self::Stroke => "a stroke says per: write lbf·ft, lbf·in, N·m",
            Self::ToleranceInside => "write the tolerance by itself, in `within`",
            Self::SignMissing => "write ±5 %, or +10 % -0 %",
            Self::RangeBackwards => "write the lower value first: 24..28",
            Self::TooManyDigits => "at most 12 digits, 9 of them after the decimal point",
            Self::LeftOver => "a range is written 24..28 with its unit after it",
            Self::UnitMissing => {
                "write the unit that the manual prints: 40 N·m, 90° or 90 deg, 62 mm, 4 h"
            }
            _ => return None,
        })
    }

    const fn concerns_unit(self) -> bool {
        matches!(
            self,
            Self::Empty
                | Self::UnitMissing
                | Self::UnitUnknown
                | Self::PoundAlone
                | Self::ForceAlone
                | Self::Stroke
        )
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Empty => "nothing given: a number with a unit is expected",
            Self::NumberMissing => "a number is expected here",
            Self::TooManyDigits => "more digits than can be kept exactly",
            Self::DigitGroups => "this can be read as thousands or as decimals",
            Self::ZeroDenominator => "a fraction over zero",
            Self::Negative => "below zero, which means nothing here",
            Self::UnitMissing => "a number without its unit",
            Self::UnitUnknown => "a unit that is not known here",
            Self::PoundAlone => "pounds without a lever",
            Self::ForceAlone => "a force or weight without a lever",
            Self::Stroke => "a stroke in a torque unit",
            Self::OutOfRange => "too large: at most 1 MN·m, 1,000,000°, 1 km or ten years",
            Self::RangeBackwards => "a range that ends below its beginning",
            Self::ToleranceInside => "a tolerance inside a value",
            Self::LeftOver => "more than one value",
            Self::SignMissing => "a tolerance without its sign",
            Self::SideTwice => "the same side of a tolerance twice",
        })
    }
}
