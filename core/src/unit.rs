//! Torque, angle, length and time as bounded integers.
//!
//! Every type states its unit, zero, sign and range. Arithmetic keeps to the range: a sum that would leave it stays at the
//! edge, so no operation can overflow and none can panic. Knows nothing of text: the host reads and writes that.
#![expect(
    clippy::as_conversions,
    reason = "a const function knows no `From`; what a cast may lose is linted apart"
)]

use core::fmt;
use core::ops::{Add, Neg, Sub};

use serde::{Deserialize, Serialize};

use crate::wire::{Decode, Decoder};

/// Largest magnitude that a [`Torque`], [`Rotation`], [`Angle`] or [`Length`] holds, in its own unit.
///
/// 10⁹ leaves room for any difference of two values inside an `i32`.
pub const MAGNITUDE_MAX: i32 = 1_000_000_000;

/// A value outside ±[`MAGNITUDE_MAX`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OutOfRange {
    /// The value given.
    pub given: i64,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} is outside ±{MAGNITUDE_MAX}", self.given)
    }
}

impl core::error::Error for OutOfRange {}

macro_rules! bounded {
    ($(#[$doc:meta])* $name:ident, $from:ident, $value:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[serde(try_from = "i32", into = "i32")]
        pub struct $name(i32);

        impl $name {
            /// Zero.
            pub const ZERO: Self = Self(0);
            /// The largest value.
            pub const MAX: Self = Self(MAGNITUDE_MAX);

            #[doc = concat!("From ", $unit, "; a value beyond ±10⁹ is held at the edge.")]
            #[must_use]
            pub const fn $from(value: i32) -> Self {
                if value > MAGNITUDE_MAX {
                    Self(MAGNITUDE_MAX)
                } else if value < -MAGNITUDE_MAX {
                    Self(-MAGNITUDE_MAX)
                } else {
                    Self(value)
                }
            }

            #[doc = concat!("In ", $unit, ".")]
            #[must_use]
            pub const fn $value(self) -> i32 {
                self.0
            }

            /// Without its sign.
            #[must_use]
            pub const fn abs(self) -> Self {
                // |value| ≤ 10⁹, so the negation cannot overflow.
                if self.0 < 0 { Self(0_i32.wrapping_sub(self.0)) } else { self }
            }

            /// Whether it is below zero.
            #[must_use]
            pub const fn is_negative(self) -> bool {
                self.0 < 0
            }

            /// `numerator / denominator` of this value, rounded towards zero; a zero denominator gives zero.
            #[must_use]
            pub const fn scaled(self, numerator: u16, denominator: u16) -> Self {
                if denominator == 0 {
                    return Self(0);
                }
                let wide = (self.0 as i64).wrapping_mul(numerator as i64);
                Self::from_wide(ratio(wide, denominator as u64))
            }

            /// From a wide integer, held at the edge of the range.
            #[must_use]
            pub const fn from_wide(value: i64) -> Self {
                if value > MAGNITUDE_MAX as i64 {
                    Self(MAGNITUDE_MAX)
                } else if value < -(MAGNITUDE_MAX as i64) {
                    Self(-MAGNITUDE_MAX)
                } else {
                    #[expect(clippy::cast_possible_truncation, reason = "compared with the range just above")]
                    Self(value as i32)
                }
            }
        }

        impl Decode for $name {
            fn read(from: &mut Decoder<'_>) -> Self {
                Self(from.within(MAGNITUDE_MAX))
            }
        }

        impl TryFrom<i32> for $name {
            type Error = OutOfRange;
            fn try_from(value: i32) -> Result<Self, OutOfRange> {
                if (-MAGNITUDE_MAX..=MAGNITUDE_MAX).contains(&value) {
                    Ok(Self(value))
                } else {
                    Err(OutOfRange { given: i64::from(value) })
                }
            }
        }

        impl From<$name> for i32 {
            fn from(value: $name) -> i32 {
                value.0
            }
        }
    };
}

macro_rules! vector {
    ($name:ident) => {
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self::from_wide(i64::from(self.0).wrapping_add(i64::from(other.0)))
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self::from_wide(i64::from(self.0).wrapping_sub(i64::from(other.0)))
            }
        }

        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(0_i32.wrapping_sub(self.0))
            }
        }
    };
}

bounded! {
    /// A torque. Unit: mN·m. Zero: unloaded. Sign: positive tightens, whatever the thread's hand. Range: ±1 MN·m.
    ///
    /// ```compile_fail
    /// use evendraw_core::unit::{Angle, Torque};
    /// let nonsense = Torque::ZERO + Angle::ZERO;
    /// ```
    Torque, from_millinewton_meters, millinewton_meters, "mN·m"
}
vector!(Torque);

bounded! {
    /// A span of turning. Unit: millidegree. Sign: positive tightens. Range: ±10⁶ degrees.
    Angle, from_millidegrees, millidegrees, "millidegrees"
}
vector!(Angle);

bounded! {
    /// A rotational position as a sensor counts it. Unit: millidegree. Zero: wherever the sensor began. Sign: grows while
    /// tightening. Range: ±10⁶ degrees. Two positions differ by an [`Angle`].
    Rotation, from_millidegrees, millidegrees, "millidegrees"
}

impl Sub for Rotation {
    type Output = Angle;
    fn sub(self, other: Self) -> Angle {
        Angle::from_wide(i64::from(self.0).wrapping_sub(i64::from(other.0)))
    }
}

impl Add<Angle> for Rotation {
    type Output = Self;
    fn add(self, by: Angle) -> Self {
        Self::from_wide(i64::from(self.0).wrapping_add(i64::from(by.0)))
    }
}

bounded! {
    /// A length: stretch, gap, end play. Unit: µm. Range: ±1 km.
    Length, from_micrometers, micrometers, "µm"
}
vector!(Length);

/// A point in time since this boot. Unit: µs. Range: 0 to 584,000 years. Two instants of one boot differ by a [`Span`].
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Instant(u64);

impl Decode for Instant {
    fn read(from: &mut Decoder<'_>) -> Self {
        Self(from.item())
    }
}

impl Instant {
    /// The boot.
    pub const BOOT: Self = Self(0);

    /// From µs since boot.
    #[must_use]
    pub const fn from_micros(value: u64) -> Self {
        Self(value)
    }

    /// In µs since boot.
    #[must_use]
    pub const fn micros(self) -> u64 {
        self.0
    }

    /// The time since `earlier`; zero if that is not earlier.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Span {
        Span(self.0.saturating_sub(earlier.0))
    }

    /// This much later, held at the end of the range.
    #[must_use]
    pub const fn after(self, span: Span) -> Self {
        Self(self.0.saturating_add(span.0))
    }
}

/// A wide number over another, rounded towards zero; over zero it is zero. At once where both are short, as [`divided`] where the divisor
/// is, bit by bit where it is not, which takes longer and is for once a pull.
pub(crate) const fn ratio(value: i64, by: u64) -> i64 {
    let size = value.unsigned_abs();
    let quotient = if (size | by) >> 32 == 0 {
        // Nearly always, and small chips divide 32 bits at once.
        match ((size & 0xFFFF_FFFF) as u32).checked_div((by & 0xFFFF_FFFF) as u32) {
            Some(whole) => whole as u64,
            None => 0,
        }
    } else if by == 0 {
        0
    } else if by <= 0xFFFF {
        divided(size, (by & 0xFFFF) as u16)
    } else if size < by {
        0
    } else {
        let mut left = size;
        let mut quotient = 0;
        let mut shift = by.leading_zeros().wrapping_sub(size.leading_zeros());
        loop {
            let step = by.wrapping_shl(shift);
            quotient <<= 1;
            if left >= step {
                left = left.wrapping_sub(step);
                quotient |= 1;
            }
            if shift == 0 {
                break quotient;
            }
            shift = shift.wrapping_sub(1);
        }
    };
    // A divisor of one is the only one that leaves the sign's own bit in use, and then the sign is right already.
    let quotient = quotient.cast_signed();
    if value < 0 {
        quotient.wrapping_neg()
    } else {
        quotient
    }
}

/// Long division with digits of 16 bits, rounded down: small chips divide 32 bits at once, and the library's division of 64 is
/// slow and a kilobyte.
pub(crate) const fn divided(value: u64, by: u16) -> u64 {
    let (mut shift, mut left, mut quotient): (u32, u32, u64) = (64, 0, 0);
    if value >> 32 == 0 {
        // Nearly always.
        return match ((value & 0xFFFF_FFFF) as u32).checked_div(by as u32) {
            Some(whole) => whole as u64,
            None => u64::MAX,
        };
    }
    while shift > 0 {
        shift = shift.wrapping_sub(16);
        let digit = (value >> shift & 0xFFFF) as u32;
        let part = left << 16 | digit;
        match (part.checked_div(by as u32), part.checked_rem(by as u32)) {
            (Some(whole), Some(rest)) => {
                quotient = quotient << 16 | whole as u64;
                left = rest;
            }
            _ => return u64::MAX,
        }
    }
    quotient
}

/// A length of time. Unit: µs. Range: 0 to 584,000 years.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Span(u64);

impl Decode for Span {
    fn read(from: &mut Decoder<'_>) -> Self {
        Self(from.item())
    }
}

impl Span {
    /// No time.
    pub const ZERO: Self = Self(0);
    /// Longer than any job.
    pub const MAX: Self = Self(u64::MAX);

    /// From µs.
    #[must_use]
    pub const fn from_micros(value: u64) -> Self {
        Self(value)
    }

    /// From ms.
    #[must_use]
    pub const fn from_millis(value: u32) -> Self {
        Self((value as u64).wrapping_mul(1_000))
    }

    /// From s.
    #[must_use]
    pub const fn from_seconds(value: u32) -> Self {
        Self((value as u64).wrapping_mul(1_000_000))
    }

    /// In µs.
    #[must_use]
    pub const fn micros(self) -> u64 {
        self.0
    }

    /// In whole ms, rounded down, held at the largest `u32`.
    #[must_use]
    pub const fn millis(self) -> u32 {
        let millis = divided(self.0, 1_000);
        if millis > u32::MAX as u64 {
            u32::MAX
        } else {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "compared with the range just above"
            )]
            {
                millis as u32
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::{Span, divided, ratio};

    proptest! {
        #[test]
        fn both_divisions_agree_with_the_machines_own(value in any::<i64>(), by in 1..=u64::MAX, shift in 0..64_u32) {
            let by = (by >> shift).max(1);
            let exact = i128::from(value) / i128::from(by);
            prop_assert_eq!(i128::from(ratio(value, by)), exact);
            let short = u16::try_from(by & 0xFFFF).unwrap().max(1);
            prop_assert_eq!(divided(value.unsigned_abs(), short), value.unsigned_abs() / u64::from(short));
        }
    }

    #[test]
    fn the_ends_of_the_range_divide_and_nothing_divides_by_zero() {
        for value in [i64::MIN, i64::MIN + 1, -1, 0, 1, i64::MAX] {
            assert_eq!(ratio(value, 1), value);
            assert_eq!(ratio(value, 0), 0);
            assert_eq!(
                i128::from(ratio(value, u64::MAX)),
                i128::from(value) / i128::from(u64::MAX)
            );
        }
        assert_eq!(Span::MAX.millis(), u32::MAX);
        assert_eq!(Span::from_micros(4_294_967_295_999).millis(), u32::MAX);
        assert_eq!(Span::from_micros(4_294_967_294_999).millis(), u32::MAX - 1);
    }
}
