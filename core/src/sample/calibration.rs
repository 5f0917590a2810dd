//! What the maker of an adapter found for its sensors, and what they are watched for.
//!
//! Knows nothing of readings.

use core::fmt;

use crate::unit::{Span, Torque};

/// The numbers of a calibration, to be checked by [`Calibration::new`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Numbers {
    /// Count of the load cell without load; within ±2³⁰.
    pub zero: i32,
    /// mN·m a count, times 65,536; from 1 to 2³⁰.
    pub scale: u32,
    /// Largest count of the converter either way; at it nothing is known. From 1 to 2³⁰.
    pub count_max: i32,
    /// Millidegrees a second for a count of the gyro, times 256; from 1 to 2²².
    pub rate_scale: u32,
    /// Largest torque that the tool may bear.
    pub capacity: Torque,
    /// How far from [`Self::zero`] the unloaded tool may stand when a zero is taken; beyond it, it hangs on a fastener or was
    /// overstrained. A hundredth of the capacity is usual, *common practice, no source*.
    pub band: Torque,
    /// How far the unloaded tool may stand from its zero before that is told.
    pub drift: Torque,
    /// Readings further apart than this are a gap; zero: not watched here (the tracker watches while the tool is loaded).
    pub gap: Span,
    /// So many readings of the load cell in a row, equal to the last count, are a stuck sensor; zero: a sensor so coarse that it
    /// may well repeat itself is not watched.
    pub same_max: u16,
}

/// A sound calibration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Calibration(Numbers);

/// Why numbers are not a calibration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CalibrationError {
    /// The zero lies at the converter's end or beyond.
    Zero(i32),
    /// Not from 1 to 2³⁰.
    Scale(u32),
    /// Not from 1 to 2³⁰.
    CountMax(i32),
    /// Not from 1 to 2²².
    RateScale(u32),
    /// A torque that must be above zero is not: capacity, band or drift.
    NotPositive(Torque),
    /// The band or the drift is wider than the capacity.
    Wide(Torque),
}

const COUNT_EDGE: i32 = 1 << 30;
const SCALE_EDGE: u32 = 1 << 30;
const RATE_EDGE: u32 = 1 << 22;

impl Calibration {
    /// Checks the numbers. Within these bounds no later step can leave its type.
    ///
    /// # Errors
    /// [`CalibrationError`], with the number that is out of bounds.
    pub const fn new(numbers: Numbers) -> Result<Self, CalibrationError> {
        if numbers.count_max < 1 || numbers.count_max > COUNT_EDGE {
            return Err(CalibrationError::CountMax(numbers.count_max));
        }
        if numbers.zero <= -numbers.count_max || numbers.zero >= numbers.count_max {
            return Err(CalibrationError::Zero(numbers.zero));
        }
        if numbers.scale < 1 || numbers.scale > SCALE_EDGE {
            return Err(CalibrationError::Scale(numbers.scale));
        }
        if numbers.rate_scale < 1 || numbers.rate_scale > RATE_EDGE {
            return Err(CalibrationError::RateScale(numbers.rate_scale));
        }
        let torques = [numbers.capacity, numbers.band, numbers.drift];
        let mut left: &[Torque] = &torques;
        while let [torque, rest @ ..] = left {
            if torque.millinewton_meters() <= 0 {
                return Err(CalibrationError::NotPositive(*torque));
            }
            if torque.millinewton_meters() > numbers.capacity.millinewton_meters() {
                return Err(CalibrationError::Wide(*torque));
            }
            left = rest;
        }
        Ok(Self(numbers))
    }

    /// The numbers.
    #[must_use]
    pub const fn numbers(&self) -> &Numbers {
        &self.0
    }
}

impl fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Zero(count) => write!(
                f,
                "zero count {count} is not inside the converter's own ends"
            ),
            Self::Scale(scale) => write!(f, "scale {scale} is not from 1 to 1,073,741,824"),
            Self::CountMax(count) => {
                write!(f, "largest count {count} is not from 1 to 1,073,741,824")
            }
            Self::RateScale(scale) => write!(f, "gyro scale {scale} is not from 1 to 4,194,304"),
            Self::NotPositive(torque) => write!(
                f,
                "{} mN·m is not above zero, as capacity, band and drift must be",
                torque.millinewton_meters()
            ),
            Self::Wide(torque) => write!(
                f,
                "{} mN·m is wider than the tool's capacity",
                torque.millinewton_meters()
            ),
        }
    }
}

impl core::error::Error for CalibrationError {}

#[cfg(test)]
mod tests {
    use super::*;
    use std::string::ToString as _;

    const SOUND: Numbers = Numbers {
        zero: 0,
        scale: 65_536,
        count_max: 8_000_000,
        rate_scale: 256,
        capacity: Torque::from_millinewton_meters(200_000),
        band: Torque::from_millinewton_meters(2_000),
        drift: Torque::from_millinewton_meters(500),
        gap: Span::ZERO,
        same_max: 0,
    };

    /// Each number at its last sound value on either side, and one beyond it.
    #[test]
    fn each_number_is_sound_up_to_its_bound_and_not_beyond() {
        type Set = fn(&mut Numbers, i64);
        type Error = fn(i64) -> CalibrationError;
        let rows: [(&str, Set, Error, i64, i64); 4] = [
            (
                "zero",
                |own, value| own.zero = i32::try_from(value).unwrap(),
                |value| CalibrationError::Zero(i32::try_from(value).unwrap()),
                -7_999_999,
                7_999_999,
            ),
            (
                "scale",
                |own, value| own.scale = u32::try_from(value).unwrap(),
                |value| CalibrationError::Scale(u32::try_from(value).unwrap()),
                1,
                1 << 30,
            ),
            (
                "count_max",
                |own, value| own.count_max = i32::try_from(value).unwrap(),
                |value| CalibrationError::CountMax(i32::try_from(value).unwrap()),
                1,
                1 << 30,
            ),
            (
                "rate_scale",
                |own, value| own.rate_scale = u32::try_from(value).unwrap(),
                |value| CalibrationError::RateScale(u32::try_from(value).unwrap()),
                1,
                1 << 22,
            ),
        ];
        for (name, set, error, low, high) in rows {
            for sound in [low, high] {
                let mut numbers = SOUND;
                set(&mut numbers, sound);
                let found = Calibration::new(numbers).map(|own| *own.numbers());
                assert_eq!(found, Ok(numbers), "{name} {sound}");
            }
            for beyond in [low - 1, high + 1] {
                let mut numbers = SOUND;
                set(&mut numbers, beyond);
                let told = Calibration::new(numbers).unwrap_err();
                assert_eq!(told, error(beyond), "{name}");
                assert!(told.to_string().contains(&beyond.to_string()), "{told}");
            }
        }
    }

    #[test]
    fn capacity_band_and_drift_are_above_zero_and_no_wider_than_the_capacity() {
        type Set = fn(&mut Numbers, Torque);
        let mn_m = Torque::from_millinewton_meters;
        let sets: [Set; 3] = [
            |own, torque| own.band = torque,
            |own, torque| own.drift = torque,
            |own, torque| (own.capacity, own.band, own.drift) = (torque, torque, torque),
        ];
        for set in sets {
            for (torque, wanted) in [
                (mn_m(1), None),
                (mn_m(200_000), None),
                (mn_m(0), Some(CalibrationError::NotPositive(mn_m(0)))),
                (mn_m(-1), Some(CalibrationError::NotPositive(mn_m(-1)))),
            ] {
                let mut numbers = SOUND;
                set(&mut numbers, torque);
                assert_eq!(Calibration::new(numbers).err(), wanted);
            }
        }
        for set in &sets[..2] {
            let mut numbers = SOUND;
            set(&mut numbers, mn_m(200_001));
            let told = Calibration::new(numbers).unwrap_err();
            assert_eq!(told, CalibrationError::Wide(mn_m(200_001)));
            assert!(told.to_string().contains("200001 mN·m is wider"), "{told}");
        }
        let told = CalibrationError::NotPositive(mn_m(-1)).to_string();
        assert!(told.contains("-1 mN·m is not above zero"), "{told}");
    }
}
