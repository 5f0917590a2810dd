//! Forces and stresses as typed: units for the quantity reader.
//!
//! Knows nothing of what is pulled.

use crate::quantity::{Fault, Quantity, QuantityError, Unit};

/// A unit of force; counted in mN.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ForceUnit {
    Newton,
    Kilonewton,
    Pound,
    Kilopound,
}

impl Unit for ForceUnit {
    const ALLOWED: &'static str = "N, kN, lbf, kip";
    const SIGNED: bool = false;
    const AMOUNT_MAX: u64 = 100_000_000_000;

    fn symbol(self) -> &'static str {
        match self {
            Self::Newton => "N",
            Self::Kilonewton => "kN",
            Self::Pound => "lbf",
            Self::Kilopound => "kip",
        }
    }

    // 1 lb is 0.45359237 kg, standard gravity 9.80665 m/s², both exact.
    fn ratio(self) -> (u64, u64) {
        match self {
            Self::Newton => (1_000, 1),
            Self::Kilonewton => (1_000_000, 1),
            Self::Pound => (8_896_443_230_521, 2_000_000_000),
            Self::Kilopound => (8_896_443_230_521, 2_000_000),
        }
    }

    fn from_letters(letters: &str, _: &str) -> Result<Self, Fault> {
        Ok(match letters {
            "n" | "newton" | "newtons" => Self::Newton,
            "kn" | "kilonewton" | "kilonewtons" => Self::Kilonewton,
            "lbf" | "lb" | "lbs" => Self::Pound,
            "kip" | "kips" => Self::Kilopound,
            "" => return Err(Fault::UnitMissing),
            _ => return Err(Fault::UnitUnknown),
        })
    }
}

/// A unit of stress; counted in Pa.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum StressUnit {
    Megapascal,
    Kilopound,
    Pound,
}

impl Unit for StressUnit {
    const ALLOWED: &'static str = "MPa, ksi, psi";
    const SIGNED: bool = false;
    const AMOUNT_MAX: u64 = 100_000_000_000;

    fn symbol(self) -> &'static str {
        match self {
            Self::Megapascal => "MPa",
            Self::Kilopound => "ksi",
            Self::Pound => "psi",
        }
    }

    // A pound-force over a square inch, to fifteen digits.
    fn ratio(self) -> (u64, u64) {
        match self {
            Self::Megapascal => (1_000_000, 1),
            Self::Kilopound => (689_475_729_316_836, 100_000_000),
            Self::Pound => (689_475_729_316_836, 100_000_000_000),
        }
    }

    fn from_letters(letters: &str, _: &str) -> Result<Self, Fault> {
        Ok(match letters {
            "mpa" | "megapascal" | "megapascals" => Self::Megapascal,
            "ksi" => Self::Kilopound,
            "psi" => Self::Pound,
            "" => return Err(Fault::UnitMissing),
            _ => return Err(Fault::UnitUnknown),
        })
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "no force or stress read here reaches 2⁵³ of its unit"
)]
fn amount<U: Unit>(text: &str) -> Result<f64, QuantityError> {
    Quantity::<U>::parse(text).map(|quantity| quantity.amount() as f64)
}

/// Reads a force, in N.
///
/// # Errors
/// [`QuantityError`] with what is allowed.
pub(crate) fn newtons(text: &str) -> Result<f64, QuantityError> {
    amount::<ForceUnit>(text).map(|millinewtons| millinewtons / 1e3)
}

/// Reads a stress, in MPa.
///
/// # Errors
/// [`QuantityError`] with what is allowed.
pub(crate) fn megapascals(text: &str) -> Result<f64, QuantityError> {
    amount::<StressUnit>(text).map(|pascals| pascals / 1e6)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forces_and_stresses_are_read_in_the_units_of_the_trade() {
        // 1 kip is 4.448222 kN and 1 ksi 6.894757 MPa [NIST SP 811, appendix B, from memory].
        for (text, newton) in [
            ("30 kN", 30_000.0),
            ("1 kip", 4_448.222),
            ("100 lbf", 444.8222),
        ] {
            let read = newtons(text).unwrap();
            assert!((read / newton - 1.0).abs() < 1e-6, "{text}: {read}");
        }
        for (text, expected) in [
            ("310 MPa", 310.0),
            ("1 ksi", 6.894_757),
            ("1000 psi", 6.894_757),
        ] {
            let read = megapascals(text).unwrap();
            assert!((read / expected - 1.0).abs() < 1e-6, "{text}: {read}");
        }
        assert!(newtons("30").unwrap_err().to_string().contains("kN"));
        assert!(newtons("30 N·m").is_err());
        assert!(megapascals("3 kN").unwrap_err().to_string().contains("MPa"));
    }
}
