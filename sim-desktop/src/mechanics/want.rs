//! Torque for a wanted preload: the way back from [`TorqueTension`].
//!
//! Knows nothing of what the maker specifies; a wanted preload is somebody's question.

use super::tension::within;
use super::{
    Bearing, BoltLoad, Scatter, Strength, TensionError, Thread, TorqueTension,
    preload_at_yield_share_N,
};

/// The preload somebody wants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wanted {
    /// A tension, N.
    Force(f64),
    /// A share of the proof load; 0.75 is three quarters, as is usual where the bolt is used again. [Shigley eq. 8-31]
    ProofShare(f64),
    /// A share of the yield stress, tension and torsion of tightening together; 0.9 in the tables. [VDI 2230:2001]
    YieldShare(f64),
}

impl Wanted {
    /// The tension it means, N.
    ///
    /// # Errors
    /// [`TensionError::PipeThread`]; [`TensionError::Range`] for a force that is none or above the tensile strength, and for shares outside
    /// 0.01 to 1.
    pub fn preload_N(
        self,
        thread: &Thread,
        strength: &Strength,
        bearing: Bearing,
        tension: TorqueTension,
    ) -> Result<f64, TensionError> {
        let area = thread
            .stress_area_mm2()
            .ok_or_else(|| TensionError::PipeThread(thread.to_string()))?;
        match self {
            Self::Force(force) => {
                let most = area * strength.tensile_MPa / 1000.0;
                within("preload in kN", force / 1000.0, 1e-3, most)?;
                Ok(force)
            }
            Self::ProofShare(share) => {
                within("share of the proof load", share, 0.01, 1.0)?;
                Ok(share * area * strength.proof_MPa)
            }
            Self::YieldShare(share) => {
                within("share of the yield stress", share, 0.01, 1.0)?;
                let mu = tension.friction(thread, bearing).thread;
                Ok(preload_at_yield_share_N(thread, strength, mu, share))
            }
        }
    }

    /// The torque for it, N·m, and what that torque does to the bolt.
    ///
    /// # Errors
    /// As [`Wanted::preload_N`] and [`BoltLoad::calculate`].
    pub fn torque(
        self,
        thread: &Thread,
        strength: &Strength,
        bearing: Bearing,
        tension: TorqueTension,
        scatter: Scatter,
    ) -> Result<(f64, BoltLoad), TensionError> {
        let preload_N = self.preload_N(thread, strength, bearing, tension)?;
        let torque_Nm = tension.torque_Nm(thread, bearing, preload_N);
        let load = BoltLoad::calculate(thread, strength, bearing, tension, torque_Nm, scatter)?;
        Ok((torque_Nm, load))
    }
}
