//! What came of one joint: verdicts, clamp loads pass by pass, windows of time, curves.
//!
//! Knows nothing of how the joint was worked.

use evendraw_core::advice::Gravity;
use evendraw_core::verdict::{Reasons, Verdict};

use crate::bench::compare;

/// What came of one joint.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JointResult {
    /// Verdicts.
    pub accepted: u32,
    /// Verdicts.
    pub rejected: u32,
    /// Verdicts.
    pub unknown: u32,
    /// Index and clamp load, kN, of every fastener that this joint's stages tighten.
    pub clamps_kn: Vec<(u8, f64)>,
    /// The same loads after every pass of this run, in the order of work.
    pub passes: Vec<PassResult>,
    /// Proof load of the fasteners, kN: given by the plan or, where it says nothing, what the bench assumes.
    pub proof_kn: Option<f64>,
    /// The same loads after the joint has stood for [`STANDING_S`] with nobody at it.
    pub stood_kn: Vec<(u8, f64)>,
    /// Waits with a limit, as they came out.
    pub windows: Vec<WindowResult>,
    /// What the judge objected to.
    pub objections: Vec<Objection>,
    /// Torque over true rotation of every judged pull; empty unless [`super::Options::keeps_curves`].
    pub curves: Vec<Curve>,
    /// Simulated seconds.
    pub seconds: f64,
    /// Why it was left before it was finished.
    pub stopped: Option<String>,
}

/// How long a finished joint stands before its loads are read once more, s: an hour, as in a comparison of orders.
pub const STANDING_S: f64 = 3_600.0;

/// The joint after one pass: a stage that tightens, or one round of a repeated one.
#[derive(Clone, Debug, PartialEq)]
pub struct PassResult {
    /// The stage, from 0.
    pub stage: u8,
    /// Which round of a repeated stage, from 1.
    pub round: Option<u8>,
    /// Index and clamp load, kN.
    pub clamps_kn: Vec<(u8, f64)>,
    /// What gasket and surfaces have given way for good so far, mean over the fasteners, µm.
    pub embedding_um: f64,
    /// Simulated seconds since the joint was begun.
    pub seconds: f64,
}

/// A wait that may not last longer than the plan says, such as from sealant applied to joint closed.
#[derive(Clone, Debug, PartialEq)]
pub struct WindowResult {
    /// The stage, from 0.
    pub stage: u8,
    /// How long it took, s.
    pub took_s: u64,
    /// How long it may take, s.
    pub allowed_s: u64,
    /// Whether that was accepted.
    pub verdict: Verdict,
}

/// A verdict other than accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Objection {
    /// The fastener.
    pub fastener: u8,
    /// The stage, from 0.
    pub stage: u8,
    /// Why.
    pub reasons: Reasons,
}

impl Objection {
    /// Whether it speaks of fastener or parts, not of the hand or the sensor alone.
    #[must_use]
    pub fn is_of_the_metal(&self) -> bool {
        self.reasons.reach(Gravity::TooFar)
    }
}

/// Torque over true rotation of one judged pull, thinned.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// The fastener.
    pub fastener: u8,
    /// The stage, from 0.
    pub stage: u8,
    /// True rotation from the start of the thread, degrees, and torque as measured, N·m.
    pub points: Vec<(f64, f64)>,
}

impl JointResult {
    /// Standard deviation of the clamp loads over their mean; none for a single fastener, or where nothing clamps.
    #[must_use]
    pub fn scatter(&self) -> Option<f64> {
        scatter(&self.clamps_kn)
    }
}

impl PassResult {
    /// As [`JointResult::scatter`], after this pass.
    #[must_use]
    pub fn scatter(&self) -> Option<f64> {
        scatter(&self.clamps_kn)
    }
}

/// Standard deviation of clamp loads over their mean; none for a single fastener, or where nothing clamps.
#[must_use]
pub fn scatter(clamps_kn: &[(u8, f64)]) -> Option<f64> {
    let loads: Vec<f64> = clamps_kn.iter().map(|(_, load)| *load).collect();
    (loads.len() > 1 && loads.iter().sum::<f64>() > 0.0).then(|| compare::scatter(&loads))
}

/// Mean of clamp loads, kN; 0 for none.
#[must_use]
pub fn mean(clamps_kn: &[(u8, f64)]) -> f64 {
    #[expect(
        clippy::cast_precision_loss,
        reason = "a joint has at most 64 fasteners"
    )]
    let count = clamps_kn.len().max(1) as f64;
    clamps_kn.iter().map(|(_, load)| load).sum::<f64>() / count
}
