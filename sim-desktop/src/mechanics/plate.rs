//! A plate on an elastic foundation (gasket or the parts below), pressed down at a point.
//!
//! The deflection at a distance r from a load P is w(r) = −P·l²/(2πD)·kei(r/l), with l⁴ = D/k. [Timoshenko and Woinowsky-Krieger,
//! *Theory of Plates and Shells*, art. 57, after Hertz 1884; from memory] It takes the plate as wide and thin: edges are not modelled, and
//! a plate thicker than l is stiffer against shear than it says.

use super::kei;
use std::f64::consts::PI;

/// A plate on an elastic foundation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plate {
    /// Flexural rigidity D = E·t³/(12(1 − ν²)), N·mm.
    pub rigidity_Nmm: f64,
    /// Foundation modulus k, N/mm³: pressure for each mm of deflection.
    pub foundation_N_per_mm3: f64,
}

impl Plate {
    /// Plate of a material and thickness on a foundation; Poisson's ratio 0.3.
    #[must_use]
    pub fn new(modulus_MPa: f64, thickness_mm: f64, foundation_N_per_mm3: f64) -> Self {
        Self {
            rigidity_Nmm: modulus_MPa * thickness_mm.powi(3) / (12.0 * (1.0 - 0.3 * 0.3)),
            foundation_N_per_mm3,
        }
    }

    /// Distance over which a load makes itself felt, mm.
    #[must_use]
    pub fn reach_mm(&self) -> f64 {
        (self.rigidity_Nmm / self.foundation_N_per_mm3).powf(0.25)
    }

    /// Deflection at a distance for each newton, mm/N.
    #[must_use]
    pub fn compliance_mm_per_N(&self, distance_mm: f64) -> f64 {
        let reach = self.reach_mm();
        -reach * reach / (2.0 * PI * self.rigidity_Nmm) * kei(distance_mm / reach)
    }
}
