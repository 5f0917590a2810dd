//! A torque written out in another unit, exactly where the decimals end.
//!
//! Between N·m, kgf and lbf units on one side and the decimal units on the other the decimals may end; from N·m or kgf to
//! lbf they do not, since a pound is 0.45359237 kg. Where they do not end, [`SIGNIFICANT_DIGITS`] digits are written, the last one
//! rounded to the nearest, halves away from zero.

use std::fmt;

use super::{Quantity, TorqueUnit, Unit};
use evendraw_core::unit::Torque;

/// Digits written of a value whose decimals do not end.
pub const SIGNIFICANT_DIGITS: usize = 20;

/// Room for the decimals of any exact value: 9 printed ones and 2⁴·10¹⁶ at most below the unit, 10³ above.
const ROOM: usize = 64;

/// A torque in some unit, as an exact fraction.
///
/// Its `Display` writes the number without unit: all decimals where they end, else [`SIGNIFICANT_DIGITS`] digits. With a
/// precision (`{:.2}`) it is rounded to that many decimals.
///
/// # Examples
/// ```
/// # extern crate std;
/// use evendraw::quantity::{Converted, Quantity, TorqueUnit};
///
/// let given = Quantity::parse("33.2 lbf·ft")?;
/// let converted = Converted::new(given, TorqueUnit::NewtonMeter);
/// assert!(converted.is_exact());
/// assert_eq!(std::format!("{converted}"), "45.01315588460249328");
/// assert_eq!(std::format!("{converted:.1}"), "45.0");
/// # Ok::<(), evendraw::quantity::QuantityError>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct Converted {
    negative: bool,
    over: u128,
    under: u128,
}

impl Converted {
    /// A quantity in another unit.
    #[must_use]
    pub fn new(from: Quantity<TorqueUnit>, to: TorqueUnit) -> Self {
        let (over, under) = from.number().parts();
        Self::fraction(
            from.number().is_negative(),
            over,
            u64::from(under),
            from.unit(),
            to,
        )
    }

    /// A torque of the core in another unit.
    #[must_use]
    pub fn from_torque(torque: Torque, to: TorqueUnit) -> Self {
        let size = u64::from(torque.millinewton_meters().unsigned_abs());
        Self::fraction(
            torque.is_negative(),
            size,
            1,
            TorqueUnit::MillinewtonMeter,
            to,
        )
    }

    /// Whether its decimals end, so that they are all written.
    #[must_use]
    pub fn is_exact(&self) -> bool {
        let mut rest = self.under;
        for prime in [2, 5] {
            while rest.checked_rem(prime) == Some(0) && rest > 1 {
                rest = rest.checked_div(prime).unwrap_or(1);
            }
        }
        rest <= 1
    }

    fn fraction(negative: bool, over: u64, under: u64, from: TorqueUnit, to: TorqueUnit) -> Self {
        let (from_over, from_under) = from.ratio();
        let (to_over, to_under) = to.ratio();
        // Units first and in lowest terms, so that nothing overflows: at most 2⁴⁰·2⁶² over 2³⁰·2⁵⁸·2²⁰.
        let (from_over, to_over) = lowest(u128::from(from_over), u128::from(to_over));
        let (to_under, from_under) = lowest(u128::from(to_under), u128::from(from_under));
        let (over, under) = lowest(
            u128::from(over)
                .saturating_mul(from_over)
                .saturating_mul(to_under),
            u128::from(under)
                .saturating_mul(from_under)
                .saturating_mul(to_over),
        );
        Self {
            negative,
            over,
            under,
        }
    }

    /// Whole part, decimals, and whether the rest after them rounds up.
    fn digits(&self, decimals: usize) -> Digits {
        let mut found = Digits {
            whole: self.over.checked_div(self.under).unwrap_or(0),
            decimals: [0; ROOM],
            count: decimals.min(ROOM),
        };
        let mut rest = self.over.checked_rem(self.under).unwrap_or(0);
        for place in found.decimals.iter_mut().take(found.count) {
            let ten = rest.saturating_mul(10);
            *place = u8::try_from(ten.checked_div(self.under).unwrap_or(0)).unwrap_or(9);
            rest = ten.checked_rem(self.under).unwrap_or(0);
        }
        if rest >= self.under.saturating_sub(rest) {
            found.round_up();
        }
        found
    }

    /// Decimals that show [`SIGNIFICANT_DIGITS`] digits.
    fn decimals_for_significance(&self) -> usize {
        let whole = self.over.checked_div(self.under).unwrap_or(0);
        if whole > 0 {
            let digits = usize::try_from(whole.ilog10())
                .unwrap_or(0)
                .saturating_add(1);
            return SIGNIFICANT_DIGITS.saturating_sub(digits);
        }
        let mut zeros = 0_usize;
        let mut rest = self.over.saturating_mul(10);
        while rest > 0 && rest < self.under && zeros < ROOM {
            rest = rest.saturating_mul(10);
            zeros = zeros.saturating_add(1);
        }
        SIGNIFICANT_DIGITS.saturating_add(zeros)
    }
}

impl fmt::Display for Converted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = match f.precision() {
            Some(precision) => self.digits(precision),
            None if self.is_exact() => self.digits(ROOM).trimmed(),
            None => self.digits(self.decimals_for_significance()),
        };
        if self.negative {
            f.write_str("-")?;
        }
        write!(f, "{}", digits.whole)?;
        if digits.count > 0 {
            f.write_str(".")?;
        }
        for digit in digits.decimals.iter().take(digits.count) {
            write!(f, "{digit}")?;
        }
        Ok(())
    }
}

struct Digits {
    whole: u128,
    decimals: [u8; ROOM],
    count: usize,
}

impl Digits {
    fn round_up(&mut self) {
        for place in self.decimals.iter_mut().take(self.count).rev() {
            if *place < 9 {
                *place = place.saturating_add(1);
                return;
            }
            *place = 0;
        }
        self.whole = self.whole.saturating_add(1);
    }

    fn trimmed(mut self) -> Self {
        let kept = self
            .decimals
            .iter()
            .take(self.count)
            .rposition(|&digit| digit != 0);
        self.count = kept.map_or(0, |last| last.saturating_add(1));
        self
    }
}

/// Both without their common factors.
fn lowest(over: u128, under: u128) -> (u128, u128) {
    let (mut larger, mut smaller) = (over, under);
    while let Some(rest) = larger.checked_rem(smaller) {
        (larger, smaller) = (smaller, rest);
    }
    (
        over.checked_div(larger).unwrap_or(over),
        under.checked_div(larger).unwrap_or(under),
    )
}
