//! One reading of the adapter, calibrated.
//!
//! Knows nothing of fasteners or stages.

use crate::unit::{Rotation, Torque};

/// Torque and rotation at one instant, as the adapter measured them: wind-up and back-swing included.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sample {
    /// Torque on the tool; positive tightens.
    pub torque: Torque,
    /// Rotation of the tool; grows while tightening.
    pub rotation: Rotation,
}
