//! The metal of one fastener: friction, yield, necking, stripping.
//!
//! Rotation becomes advance by the pitch; advance becomes load through the joint's springs; load becomes torque through friction. Beyond
//! yield the thread stretches for good after Ramberg and Osgood, ε = 0.002·(σ/Rp)ⁿ with n such that the tensile strength is met at the uniform
//! strain [NACA TN 902, 1943]; beyond that, or once an inner thread shears, the load falls as it is turned on. Yield is that of tension and
//! torsion together [VDI 2230:2001].
//!
//! Knows nothing of neighbours, tools or hands.

use crate::limited::Limited as _;
use crate::mechanics::{Bearing, Friction, Strength, Thread, preload_at_yield_share_N};
use std::f64::consts::PI;

/// One fastener as numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct FastenerModel {
    /// Advance for each turn, mm.
    pub pitch_mm: f64,
    /// Part of the torque that lifts: P/2π, mm.
    pub lift_mm: f64,
    /// Part of the torque lost to friction while turning, for each newton, mm.
    pub drag_mm: f64,
    /// The share of that which the head's or nut's face makes.
    pub face_share: f64,
    /// Friction at rest over friction while turning.
    pub static_ratio: f64,
    /// Torque of a locking feature, N·m; always against the turning.
    pub prevailing_Nm: f64,
    /// Turning from the start of the thread until the head meets the part, degrees.
    pub run_down_deg: f64,
    /// Load at which the thread has stretched by 0.2 % for good while being tightened, N.
    pub yield_N: f64,
    /// By what share that falls for a small share more of friction in the thread, which twists it.
    pub torsion_share: f64,
    /// Greatest load, N.
    pub peak_N: f64,
    /// Ramberg and Osgood's exponent.
    pub exponent: f64,
    /// Length that yields, mm.
    pub plastic_mm: f64,
    /// Stretch past the greatest load over which the load falls to its rest, mm.
    pub fall_mm: f64,
    /// What is left in the end, as a fraction of the greatest load.
    pub rest: f64,
    /// Below this fraction of the greatest load the bolt parts; 0 for a thread that strips.
    pub parts_at: f64,
    /// Torque that rises from the first turn because the thread cuts itself, N·m a degree.
    pub cutting_Nm_per_deg: f64,
    /// Sticks and slips: how far below the turning torque a slip falls, as a fraction; 0 for a clean thread.
    pub grit: f64,
    /// Whether its load clamps the joint; not so for a screw standing on the bottom of its hole.
    pub clamps: bool,
    /// Whether it starts out tight.
    pub tight_N: f64,
    /// What roughness under head, in thread and between the parts gives for good once tightened, mm.
    pub embeds_mm: f64,
    /// Load from which on it gives all of that, N.
    pub embeds_N: f64,
}

/// Share of the yield load from which on roughness embeds by its whole amount, in proportion below. Guideline values are meant for bolts used as
/// designed; how they grow before is our judgement, no source.
const EMBEDDED_AT: f64 = 0.5;
/// Time in which 63 % of it is gained, s: most of it is over within minutes. [common practice, no source]
const EMBEDDING_S: f64 = 60.0;
/// Friction at rest over friction while turning for clean threads. [common practice, no source; restart torque runs a little above
/// turning torque]
const STATIC_RATIO: f64 = 1.06;

impl FastenerModel {
    /// From thread, strength, bearing ring and friction, over a grip.
    #[must_use]
    pub fn new(
        thread: &Thread,
        strength: &Strength,
        bearing: Bearing,
        friction: Friction,
        grip_mm: f64,
    ) -> Self {
        let d2 = thread.pitch_diameter_mm();
        let half_flank = (thread.kind.flank_angle_deg() / 2.0).to_radians();
        // d2/2·µ/cos(30°) is VDI's 0.58·d2·µ before rounding.
        let thread_drag = d2 / 2.0 * friction.thread / half_flank.cos();
        let face_drag = bearing.friction_diameter_mm() / 2.0 * friction.head;
        let yielding = |mu: f64| preload_at_yield_share_N(thread, strength, mu, 1.0);
        let yield_N = yielding(friction.thread);
        let torsion_share = (yielding(0.9 * friction.thread) / yielding(1.1 * friction.thread))
            .ln()
            / (1.1_f64 / 0.9).ln();
        Self {
            pitch_mm: thread.pitch_mm,
            lift_mm: thread.pitch_mm / (2.0 * PI),
            drag_mm: thread_drag + face_drag,
            face_share: if face_drag > 0.0 {
                face_drag / (thread_drag + face_drag)
            } else {
                0.0
            },
            static_ratio: STATIC_RATIO,
            prevailing_Nm: 0.0,
            run_down_deg: 900.0,
            yield_N,
            torsion_share,
            peak_N: yield_N * strength.tensile_MPa / strength.yield_MPa,
            exponent: (strength.uniform_strain / 0.002).ln()
                / (strength.tensile_MPa / strength.yield_MPa).ln(),
            // The free thread and half the engaged thread yield first; common practice, no source.
            plastic_mm: (0.5 * grip_mm).limited(thread.major_mm, 2.0 * thread.major_mm),
            fall_mm: 0.35 * thread.major_mm,
            rest: 0.0,
            parts_at: 0.8,
            cutting_Nm_per_deg: 0.0,
            grit: 0.0,
            clamps: true,
            tight_N: 0.0,
            embeds_mm: 0.0,
            embeds_N: EMBEDDED_AT * yield_N,
        }
    }

    /// How much more roughness gives for good within a time under a load, of which some is given already, mm.
    #[must_use]
    pub fn embedding_mm(&self, load_N: f64, given_mm: f64, seconds: f64) -> f64 {
        if self.embeds_mm <= given_mm {
            return 0.0;
        }
        let whole = self.embeds_mm * (load_N / self.embeds_N).limited(0.0, 1.0);
        (whole - given_mm).max(0.0) * -(-seconds / EMBEDDING_S).exp_m1()
    }

    /// Permanent stretch at a load on the way up, mm.
    #[must_use]
    pub fn plastic_at(&self, load_N: f64) -> f64 {
        let share = load_N / self.yield_N;
        // Below half the yield load the law gives less than a nanometre.
        if share < 0.5 {
            0.0
        } else {
            0.002 * self.plastic_mm * share.powf(self.exponent)
        }
    }

    /// Permanent stretch at the greatest load, mm.
    #[must_use]
    pub fn plastic_at_peak_mm(&self) -> f64 {
        self.plastic_at(self.peak_N)
    }

    /// Load the metal still bears once stretched past its greatest load, N.
    #[must_use]
    pub fn falling_N(&self, plastic_mm: f64) -> f64 {
        let past = (plastic_mm - self.plastic_at_peak_mm()) / self.fall_mm;
        self.peak_N * (1.0 - past).limited(self.rest, 1.0)
    }

    /// Torque to turn it on at a load, N·m.
    #[must_use]
    pub fn tightening_Nm(&self, load_N: f64, rotation_deg: f64) -> f64 {
        (self.lift_mm + self.drag_mm) * load_N / 1000.0 + self.other_Nm(rotation_deg)
    }

    /// Torque to start it on from rest, N·m.
    #[must_use]
    pub fn starting_Nm(&self, load_N: f64, rotation_deg: f64) -> f64 {
        (self.lift_mm + self.drag_mm * self.static_ratio) * load_N / 1000.0
            + self.other_Nm(rotation_deg) * self.static_ratio
    }

    /// Torque to turn it off at a load, N·m, as a positive number.
    #[must_use]
    pub fn loosening_Nm(&self, load_N: f64, rotation_deg: f64) -> f64 {
        (self.drag_mm - self.lift_mm) * load_N / 1000.0 + self.other_Nm(rotation_deg)
    }

    /// Torque that has nothing to do with load: locking feature and cutting thread, N·m.
    #[must_use]
    pub fn other_Nm(&self, rotation_deg: f64) -> f64 {
        self.prevailing_Nm + self.cutting_Nm_per_deg * rotation_deg.max(0.0)
    }
}

/// Where one fastener stands.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FastenerState {
    /// Turned on from the start of its thread, degrees.
    pub rotation_deg: f64,
    /// Tension, N.
    pub load_N: f64,
    /// Stretched for good, mm.
    pub plastic_mm: f64,
    /// Lost to embedding and creep under it, mm.
    pub embedding_mm: f64,
    /// The part of that which is embedding, mm.
    pub embedded_mm: f64,
    /// Past its greatest load.
    pub failing: bool,
    /// Broken or stripped through.
    pub failed: bool,
}
