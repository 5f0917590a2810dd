//! A number as printed: its value exactly, and the digits that it was printed with.
//!
//! Knows nothing of units.

use std::fmt;
use std::num::NonZeroU32;

/// Digits kept.
pub(super) const DIGITS_MAX: u32 = 12;
/// Digits kept after the decimal point.
pub(super) const DECIMALS_MAX: u8 = 9;

/// A number as printed: `33.2`, `40.0`, `1/4`, `1 1/2`.
///
/// At most 12 digits, 9 of them decimals. Equal when printed the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Number {
    negative: bool,
    numerator: u64,
    denominator: NonZeroU32,
    form: Form,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Decimal(u8),
    Fraction,
}

impl Number {
    /// `digits` with the last `decimals` of them after the point; none with more digits than are kept.
    #[must_use]
    pub fn decimal(digits: u64, decimals: u8) -> Option<Self> {
        if decimals > DECIMALS_MAX || digits >= 10_u64.pow(DIGITS_MAX) {
            return None;
        }
        Some(Self {
            negative: false,
            numerator: digits,
            denominator: NonZeroU32::new(10_u32.checked_pow(u32::from(decimals))?)?,
            form: Form::Decimal(decimals),
        })
    }

    pub(super) fn fraction(whole: u64, over: u64, under: NonZeroU32) -> Option<Self> {
        let numerator = whole
            .checked_mul(u64::from(under.get()))?
            .checked_add(over)?;
        (numerator < 10_u64.pow(DIGITS_MAX)).then_some(Self {
            negative: false,
            numerator,
            denominator: under,
            form: Form::Fraction,
        })
    }

    pub(super) fn negated(self) -> Self {
        Self {
            negative: !self.negative && self.numerator != 0,
            ..self
        }
    }

    /// Whether it is below zero.
    #[must_use]
    pub const fn is_negative(self) -> bool {
        self.negative
    }

    /// Digits after the decimal point; none for a fraction.
    #[must_use]
    pub const fn decimals(self) -> Option<u8> {
        match self.form {
            Form::Decimal(decimals) => Some(decimals),
            Form::Fraction => None,
        }
    }

    /// Its size as a fraction in lowest printed terms, sign left out.
    pub(super) const fn parts(self) -> (u64, u32) {
        (self.numerator, self.denominator.get())
    }

    /// This times a fraction, rounded to the nearest whole, halves away from zero; none beyond an `i64`.
    pub(super) fn times(self, numerator: u64, denominator: u64) -> Option<i64> {
        let over = u128::from(self.numerator).checked_mul(u128::from(numerator))?;
        let under = u128::from(self.denominator.get()).checked_mul(u128::from(denominator))?;
        let size = i64::try_from(rounded(over, under)?).ok()?;
        Some(if self.negative {
            size.saturating_neg()
        } else {
            size
        })
    }
}

/// `over / under` to the nearest whole, halves up; none over zero.
pub(super) fn rounded(over: u128, under: u128) -> Option<u128> {
    let whole = over.checked_div(under)?;
    let rest = over.checked_rem(under)?;
    if rest >= under.saturating_sub(rest) {
        whole.checked_add(1)
    } else {
        Some(whole)
    }
}

impl fmt::Display for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.negative {
            f.write_str("-")?;
        }
        let under = u64::from(self.denominator.get());
        let whole = self.numerator.checked_div(under).unwrap_or(0);
        let rest = self.numerator.checked_rem(under).unwrap_or(0);
        match self.form {
            Form::Decimal(0) => write!(f, "{whole}"),
            Form::Decimal(decimals) => {
                write!(f, "{whole}.{rest:0width$}", width = usize::from(decimals))
            }
            Form::Fraction if whole == 0 => write!(f, "{rest}/{under}"),
            Form::Fraction => write!(f, "{whole} {rest}/{under}"),
        }
    }
}
