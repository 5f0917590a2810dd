//! Twist of extensions and sockets: how far the tool winds up before the fastener moves.
//!
//! Knows nothing of fasteners.

use super::STEEL_G_MPA;
use std::f64::consts::PI;

/// A round bar in torsion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Outside diameter, mm.
    pub diameter_mm: f64,
    /// Bore, mm; 0 for a solid bar.
    pub bore_mm: f64,
    /// Length that twists, mm.
    pub length_mm: f64,
    /// Shear modulus, MPa.
    pub shear_MPa: f64,
}

impl Bar {
    /// Solid steel bar.
    #[must_use]
    pub fn steel(diameter_mm: f64, length_mm: f64) -> Self {
        Self {
            diameter_mm,
            bore_mm: 0.0,
            length_mm,
            shear_MPa: STEEL_G_MPA,
        }
    }

    /// Torsional stiffness, N·m per degree: k = G·J/L, J = π/32·(D⁴ − d⁴). [Shigley eq. 3-35 and 4-7]
    #[must_use]
    pub fn stiffness_Nm_per_deg(&self) -> f64 {
        let polar = PI / 32.0 * (self.diameter_mm.powi(4) - self.bore_mm.powi(4));
        self.shear_MPa * polar / self.length_mm / 1000.0 / 1.0_f64.to_degrees()
    }
}

/// Twist of bars one after another under a torque, degrees.
#[must_use]
pub fn twist_deg(bars: &[Bar], torque_Nm: f64) -> f64 {
    bars.iter()
        .map(|bar| torque_Nm / bar.stiffness_Nm_per_deg())
        .sum()
}

/// Twist of one bar for each 100 N·m, degrees.
#[must_use]
pub fn degrees_per_100_Nm(bar: &Bar) -> f64 {
    100.0 / bar.stiffness_Nm_per_deg()
}
