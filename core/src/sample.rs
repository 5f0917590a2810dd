//! Sensor counts become [`Sample`]s: calibration, zero, plausibility.
//!
//! Integers only and no division: this runs for every reading. In reading order: [`Counts`] as the sensors give them, the
//! [`Calibration`] that its maker found, [`Sensing`] that goes from one to the other; and [`rest()`], the zero of
//! samples that were recorded elsewhere. Knows nothing of fasteners or stages, nor
//! of where counts come from.

mod calibration;
mod kept;
mod rest;
mod sensing;

pub use calibration::{Calibration, CalibrationError, Numbers};
pub use kept::{KEPT_BYTES, Kept};
pub use rest::{BAND, Rest, rest};
pub use sensing::{Fault, Reading, Sensed, Sensing, Zero};

use crate::unit::{Instant, Rotation, Torque};

/// Torque and rotation at one instant, as the adapter measured them: wind-up and back-swing included.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sample {
    /// Torque on the tool; positive tightens.
    pub torque: Torque,
    /// Rotation of the tool; grows while tightening.
    pub rotation: Rotation,
}

/// One reading of both sensors, as they count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counts {
    /// When, on the adapter's clock.
    pub at: Instant,
    /// The load cell's count; grows with tightening torque.
    pub bridge: i32,
    /// The gyro's count; positive tightens.
    pub rate: i16,
}
