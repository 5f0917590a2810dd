//! Torque and tension of a bolt: the nut factor, the form with two frictions, the stress while tightening.
//!
//! Knows nothing of joints with several bolts.

use super::{Bearing, Friction, Scatter, Strength, Thread};
use std::f64::consts::PI;
use std::fmt;

/// How torque becomes tension.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TorqueTension {
    /// T = K·d·F. [Shigley eq. 8-27]
    NutFactor(f64),
    /// T = F·(0.16 P + 0.58 d2 µG + DKm/2 µK). [VDI 2230:2001 eq. R13/1] The 0.58 is 1/(2 cos 30°) for 60° flanks; other flanks have their own.
    Friction(Friction),
}

/// Why no preload can be said.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum TensionError {
    /// Pipe threads have no stress area.
    PipeThread(String),
    /// A number outside what makes sense.
    Range {
        /// What it is.
        what: &'static str,
        /// As given.
        given: f64,
        /// Lowest allowed.
        low: f64,
        /// Highest allowed.
        high: f64,
    },
}

impl fmt::Display for TensionError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::PipeThread(thread) => {
                write!(
                    f,
                    "{thread} is a pipe thread: it seals, and no standard gives it a stress area; allowed: metric, Unified, BSW, BSF, BA and Tr"
                )
            }
            Self::Range {
                what,
                given,
                low,
                high,
            } => write!(
                f,
                "{what} {} is outside {} to {}",
                brief(*given),
                brief(*low),
                brief(*high)
            ),
        }
    }
}

impl std::error::Error for TensionError {}

/// A number to four decimals at most, without needless zeros.
fn brief(value: f64) -> String {
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

pub(super) fn within(
    what: &'static str,
    given: f64,
    low: f64,
    high: f64,
) -> Result<(), TensionError> {
    if given.is_finite() && (low..=high).contains(&given) {
        Ok(())
    } else {
        Err(TensionError::Range {
            what,
            given,
            low,
            high,
        })
    }
}

impl TorqueTension {
    /// Torque for each newton of tension, mm (that is N·mm/N).
    #[must_use]
    pub fn lever_mm(&self, thread: &Thread, bearing: Bearing) -> f64 {
        match *self {
            Self::NutFactor(k) => k * thread.major_mm,
            Self::Friction(friction) => {
                0.16 * thread.pitch_mm
                    + thread_share(thread) * thread.pitch_diameter_mm() * friction.thread
                    + bearing.friction_diameter_mm() / 2.0 * friction.head
            }
        }
    }

    /// Torque to reach a tension, N·m.
    #[must_use]
    pub fn torque_Nm(&self, thread: &Thread, bearing: Bearing, preload_N: f64) -> f64 {
        self.lever_mm(thread, bearing) * preload_N / 1000.0
    }

    /// Tension reached by a torque, N.
    #[must_use]
    pub fn preload_N(&self, thread: &Thread, bearing: Bearing, torque_Nm: f64) -> f64 {
        torque_Nm * 1000.0 / self.lever_mm(thread, bearing)
    }

    /// Friction in the thread this form stands for: given, or, from a nut factor, the single friction in both places that gives the same
    /// torque (never below 0.02).
    #[must_use]
    pub fn friction(&self, thread: &Thread, bearing: Bearing) -> Friction {
        match *self {
            Self::Friction(friction) => friction,
            Self::NutFactor(k) => {
                let per_mu = thread_share(thread) * thread.pitch_diameter_mm()
                    + bearing.friction_diameter_mm() / 2.0;
                let value = ((k * thread.major_mm - 0.16 * thread.pitch_mm) / per_mu).max(0.02);
                Friction {
                    thread: value,
                    head: value,
                }
            }
        }
    }
}

/// What the flanks make of friction in the thread, for each millimetre of pitch diameter: 1/(2 cos(flank angle/2)), rounded to 0.58 for 60° as
/// VDI has it.
fn thread_share(thread: &Thread) -> f64 {
    let flanks = thread.kind.flank_angle_deg();
    if flanks > 59.0 {
        0.58
    } else {
        0.5 / (flanks / 2.0).to_radians().cos()
    }
}

/// Factor by which the torsion of tightening raises the stress in a section of diameter d0: √(1 + 3·[(3/2)·(d2/d0)·(P/(π d2) + 1.155 µG)]²). [VDI 2230:2001 eq. R7/3]
pub(super) fn torsion_factor(thread: &Thread, mu_thread: f64, section_mm: f64) -> f64 {
    let d2 = thread.pitch_diameter_mm();
    let shear = 1.5 * d2 / section_mm
        * (thread.pitch_mm / (PI * d2) + 2.0 * thread_share(thread).min(0.5775) * mu_thread);
    (1.0 + 3.0 * shear * shear).sqrt()
}

/// Equivalent stress of tension and torsion while tightening, MPa. [VDI 2230:2001 eq. R7/3]
#[must_use]
pub fn combined_stress_MPa(thread: &Thread, mu_thread: f64, preload_N: f64) -> f64 {
    let d0 = thread.stress_diameter_mm();
    preload_N / (PI / 4.0 * d0 * d0) * torsion_factor(thread, mu_thread, d0)
}

/// Tension at which the equivalent stress is a share ν of the yield stress, N: FM = ν·Rp0.2·A0/√(…). [VDI 2230:2001, ν = 0.9 in its
/// tables]
#[must_use]
pub fn preload_at_yield_share_N(
    thread: &Thread,
    strength: &Strength,
    mu_thread: f64,
    share: f64,
) -> f64 {
    let d0 = thread.stress_diameter_mm();
    share * strength.yield_MPa * (PI / 4.0 * d0 * d0) / torsion_factor(thread, mu_thread, d0)
}

/// What a torque does to one bolt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoltLoad {
    /// Tension, N.
    pub preload_N: f64,
    /// Tensile stress over the stress area, MPa.
    pub stress_MPa: f64,
    /// Equivalent stress with torsion while tightening, MPa.
    pub combined_MPa: f64,
    /// Tension as a share of the proof load; 1 is the proof load.
    pub proof_ratio: f64,
    /// Equivalent stress as a share of the yield stress.
    pub yield_ratio: f64,
    /// Lowest tension to expect, N.
    pub low_N: f64,
    /// Highest tension to expect, N.
    pub high_N: f64,
    /// Stress area, mm².
    pub stress_area_mm2: f64,
}

impl BoltLoad {
    /// Reckons one bolt.
    ///
    /// # Errors
    /// [`TensionError::PipeThread`] for a pipe thread; [`TensionError::Range`] when torque, nut factor or friction make no sense.
    pub fn calculate(
        thread: &Thread,
        strength: &Strength,
        bearing: Bearing,
        tension: TorqueTension,
        torque_Nm: f64,
        scatter: Scatter,
    ) -> Result<Self, TensionError> {
        let stress_area_mm2 = thread
            .stress_area_mm2()
            .ok_or_else(|| TensionError::PipeThread(thread.to_string()))?;
        within("torque in N·m", torque_Nm, 1e-6, 1e6)?;
        match tension {
            TorqueTension::NutFactor(k) => within("nut factor", k, 0.03, 1.0)?,
            TorqueTension::Friction(friction) => {
                within("friction in the thread", friction.thread, 0.01, 0.8)?;
                within("friction under the head", friction.head, 0.01, 0.8)?;
            }
        }
        let preload_N = tension.preload_N(thread, bearing, torque_Nm);
        let mu = tension.friction(thread, bearing).thread;
        let combined_MPa = combined_stress_MPa(thread, mu, preload_N);
        Ok(Self {
            preload_N,
            stress_MPa: preload_N / stress_area_mm2,
            combined_MPa,
            proof_ratio: preload_N / (stress_area_mm2 * strength.proof_MPa),
            yield_ratio: combined_MPa / strength.yield_MPa,
            low_N: preload_N * (1.0 - scatter.below),
            high_N: preload_N * (1.0 + scatter.above),
            stress_area_mm2,
        })
    }
}

/// Torque to raise a load on a square-thread power screw with a collar, N·m. [Shigley eq. 8-1 and 8-6]
#[must_use]
pub fn power_screw_raise_Nm(
    load_N: f64,
    mean_mm: f64,
    lead_mm: f64,
    mu: f64,
    collar_mm: f64,
    mu_collar: f64,
) -> f64 {
    let thread =
        load_N * mean_mm / 2.0 * (lead_mm + PI * mu * mean_mm) / (PI * mean_mm - mu * lead_mm);
    (thread + load_N * mu_collar * collar_mm / 2.0) / 1000.0
}

/// Torque to lower a load on a square-thread power screw with a collar, N·m; negative when it runs down by itself. [Shigley eq. 8-2 and 8-6]
#[must_use]
pub fn power_screw_lower_Nm(
    load_N: f64,
    mean_mm: f64,
    lead_mm: f64,
    mu: f64,
    collar_mm: f64,
    mu_collar: f64,
) -> f64 {
    let thread =
        load_N * mean_mm / 2.0 * (PI * mu * mean_mm - lead_mm) / (PI * mean_mm + mu * lead_mm);
    (thread + load_N * mu_collar * collar_mm / 2.0) / 1000.0
}
