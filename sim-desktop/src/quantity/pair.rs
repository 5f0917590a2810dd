//! One value printed in two units: do the two agree as far as their digits promise?
//!
//! Paper is sometimes wrong, and what is wrong is mostly the unit. So a disagreement says which other unit would agree.

use std::fmt;

use super::number::rounded;
use super::{Converted, Quantity, Target, TorqueUnit, Unit};

/// Finer than the core's unit, so that half a printed digit is not lost.
const FINE: u64 = 1_000;

/// Two printings of a torque that cannot be one value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Disagreement {
    /// The one.
    pub first: Quantity<TorqueUnit>,
    /// The other.
    pub second: Quantity<TorqueUnit>,
    /// The unit in which the first number would agree with the second value.
    pub first_would_agree_in: Option<TorqueUnit>,
    /// The unit in which the second number would agree with the first value.
    pub second_would_agree_in: Option<TorqueUnit>,
}

impl fmt::Display for Disagreement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (first, second) = (self.first, self.second);
        let as_first = Converted::new(second, first.unit());
        write!(
            f,
            "{first} and {second} disagree by more than their printed digits and 2 %: {second} is {as_first:.2} {}",
            first.unit().symbol()
        )?;
        if let Some(unit) = self.second_would_agree_in {
            write!(f, "; {} {} would agree", second.number(), unit.symbol())?;
        }
        if let Some(unit) = self.first_would_agree_in {
            write!(f, "; {} {} would agree", first.number(), unit.symbol())?;
        }
        Ok(())
    }
}

impl std::error::Error for Disagreement {}

/// Whether two printings can be one value: they differ by no more than half the last printed digit of each plus 2 % of the
/// larger.
///
/// Half of a fraction's smallest part counts as half its last digit.
///
/// # Errors
/// [`Disagreement`] with both, and the units that would agree.
pub fn printed_pair(
    first: Quantity<TorqueUnit>,
    second: Quantity<TorqueUnit>,
) -> Result<(), Disagreement> {
    if agree(first, second) {
        return Ok(());
    }
    let other_unit = |fixed: Quantity<TorqueUnit>, moved: Quantity<TorqueUnit>| {
        TorqueUnit::ALL.into_iter().find(|&unit| {
            moved
                .with_unit(unit)
                .is_some_and(|moved| agree(fixed, moved))
        })
    };
    Err(Disagreement {
        first,
        second,
        first_would_agree_in: other_unit(second, first),
        second_would_agree_in: other_unit(first, second),
    })
}

/// The same for targets: a range is compared end by end.
///
/// # Errors
/// [`Disagreement`] with the first two values that disagree. A range beside a single value, or a maximum beside a minimum,
/// compares what each has: the missing side is not compared.
pub fn printed_targets(
    first: &Target<TorqueUnit>,
    second: &Target<TorqueUnit>,
) -> Result<(), Disagreement> {
    if let (Some(first), Some(second)) = (first.low(), second.low()) {
        printed_pair(first, second)?;
    }
    if let (Some(first), Some(second)) = (first.high(), second.high()) {
        printed_pair(first, second)?;
    }
    Ok(())
}

fn agree(first: Quantity<TorqueUnit>, second: Quantity<TorqueUnit>) -> bool {
    let compared = || {
        let (one, half_one) = sizes(first)?;
        let (two, half_two) = sizes(second)?;
        let slack = half_one
            .checked_add(half_two)?
            .checked_mul(100)?
            .checked_add(one.max(two).checked_mul(2)?)?;
        Some(one.abs_diff(two).checked_mul(100)? <= slack)
    };
    compared().unwrap_or(false)
}

/// The value and half its last printed digit, in thousandths of mN·m.
fn sizes(of: Quantity<TorqueUnit>) -> Option<(u128, u128)> {
    let (over, under) = of.number().parts();
    let (numerator, denominator) = of.unit().ratio();
    let numerator = u128::from(numerator).checked_mul(u128::from(FINE))?;
    let denominator = u128::from(denominator).checked_mul(u128::from(under))?;
    let value = rounded(u128::from(over).checked_mul(numerator)?, denominator)?;
    let half = rounded(numerator, denominator.checked_mul(2)?)?;
    Some((value, half))
}
