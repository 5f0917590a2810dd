//! Stretch, load and angle of one bolt in its joint, also past yield.
//!
//! Elastic: bolt and members are springs in series [Shigley chapter 8; VDI 2230]. Past yield the weakest section stretches for good after
//! Ramberg and Osgood, ε = 0.002·(σ/Rp)ⁿ [NACA TN 902, 1943], tension and torsion of tightening together [VDI 2230:2001]. Ends at the
//! tensile strength: necking, breaking and stripping are not in it.
//!
//! Knows nothing of torque; friction enters only through the torsion that lowers the yield load.

use super::tension::{torsion_factor, within};
use super::{
    Bearing, STEEL_E_MPA, Segment, Strength, TensionError, Thread, bolt_stiffness_N_per_mm,
    member_stiffness_N_per_mm, usual_free_thread_mm,
};
use std::f64::consts::PI;

/// How far the calculated stiffness may be off, as a fraction: half apex angle, effective lengths, faces that bed in. [two cones lie within
/// 7.5 % of finite elements, `tests/data/member_stiffness_fem.csv`; the rest is our judgement, no source]
pub const STIFFNESS_UNCERTAINTY: f64 = 0.15;

/// The bolt between its head and nut.
#[derive(Debug, Clone, PartialEq)]
pub struct BoltShape {
    /// Its thread.
    pub thread: Thread,
    /// Length clamped, mm.
    pub grip_mm: f64,
    /// Length inside the grip without thread, mm.
    pub shank_mm: f64,
    /// Diameter of that length, mm.
    pub shank_diameter_mm: f64,
}

impl BoltShape {
    /// A bolt over a grip, with the shank as it is; what is not given is that of a bolt of the usual thread length.
    ///
    /// # Errors
    /// [`TensionError::PipeThread`]; [`TensionError::Range`] for lengths and diameters that no bolt has.
    pub fn new(
        thread: Thread,
        grip_mm: f64,
        shank_mm: Option<f64>,
        shank_diameter_mm: Option<f64>,
    ) -> Result<Self, TensionError> {
        if thread.stress_area_mm2().is_none() {
            return Err(TensionError::PipeThread(thread.to_string()));
        }
        let d = thread.major_mm;
        within("grip in mm", grip_mm, 0.1 * d, 500.0 * d)?;
        let shank_mm = shank_mm.unwrap_or_else(|| grip_mm - usual_free_thread_mm(&thread, grip_mm));
        within("shank in mm", shank_mm, 0.0, grip_mm)?;
        let shank_diameter_mm = shank_diameter_mm.unwrap_or(d);
        within("shank diameter in mm", shank_diameter_mm, 0.5 * d, 1.05 * d)?;
        Ok(Self {
            thread,
            grip_mm,
            shank_mm,
            shank_diameter_mm,
        })
    }

    fn shank_mm2(&self) -> f64 {
        PI / 4.0 * self.shank_diameter_mm * self.shank_diameter_mm
    }

    fn thread_mm2(&self) -> f64 {
        let d0 = self.thread.stress_diameter_mm();
        self.thread.stress_area_mm2().unwrap_or(PI / 4.0 * d0 * d0)
    }

    /// Stiffness, N/mm: shank and free thread, and 0.4 d each of head and engaged thread. [VDI 2230 table 8]
    #[must_use]
    pub fn stiffness_N_per_mm(&self, modulus_MPa: f64) -> f64 {
        let d = self.thread.major_mm;
        let segment = |length_mm, area_mm2| Segment {
            length_mm,
            area_mm2,
        };
        bolt_stiffness_N_per_mm(
            modulus_MPa,
            &[
                segment(self.shank_mm, self.shank_mm2()),
                segment(self.grip_mm - self.shank_mm, self.thread_mm2()),
                segment(0.4 * d, PI / 4.0 * d * d),
                segment(0.4 * d, self.thread_mm2()),
            ],
        )
    }

    /// Whether the shank is thinner than the thread's stressed section, and so yields first.
    #[must_use]
    pub fn waisted(&self) -> bool {
        self.shank_mm > 0.0 && self.shank_mm2() < self.thread_mm2()
    }
}

/// What the clamped parts are made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Members {
    /// Steel, 207 GPa. [Shigley table 8-8]
    Steel,
    /// Aluminium, 71 GPa. [Shigley table 8-8]
    Aluminium,
    /// Grey cast iron, 100 GPa. [Shigley table 8-8]
    CastIron,
}

impl Members {
    /// Reads the word for it: steel, aluminium, cast iron.
    #[must_use]
    pub fn from_text(text: &str) -> Option<Self> {
        match text.trim().to_lowercase().replace(['-', '_'], " ").as_str() {
            "steel" => Some(Self::Steel),
            "aluminium" | "aluminum" => Some(Self::Aluminium),
            "cast iron" | "iron" => Some(Self::CastIron),
            _ => None,
        }
    }

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Steel => "steel",
            Self::Aluminium => "aluminium",
            Self::CastIron => "cast iron",
        }
    }

    /// Modulus of elasticity, MPa.
    #[must_use]
    pub const fn modulus_MPa(self) -> f64 {
        match self {
            Self::Steel => 207_000.0,
            Self::Aluminium => 71_000.0,
            Self::CastIron => 100_000.0,
        }
    }
}

/// One bolt in its joint, as springs and a yield.
#[derive(Debug, Clone, PartialEq)]
pub struct BoltInJoint {
    /// Advance for each turn, mm.
    pub pitch_mm: f64,
    /// Stiffness of the bolt, N/mm.
    pub bolt_N_per_mm: f64,
    /// Stiffness of what it clamps, N/mm.
    pub members_N_per_mm: f64,
    /// Proof load in pure tension, N.
    pub proof_N: f64,
    /// Load at which the weakest section has stretched by 0.2 % for good, N.
    pub yield_N: f64,
    /// Load at which the model ends: the tensile strength, lowered by torsion as yield is, N.
    pub peak_N: f64,
    /// Ramberg and Osgood's exponent.
    pub exponent: f64,
    /// Length that yields, mm.
    pub plastic_mm: f64,
}

/// Where a bolt stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretched {
    /// Tension, N.
    pub load_N: f64,
    /// Longer than unloaded, permanent stretch included, mm.
    pub stretch_mm: f64,
    /// What of that stays after loosening, mm.
    pub permanent_mm: f64,
    /// What the members are pressed together, mm.
    pub pressed_mm: f64,
    /// Turned from snug at no load, degrees.
    pub angle_deg: f64,
    /// Tension as a share of the load at yield.
    pub yield_ratio: f64,
    /// Tension as a share of the proof load.
    pub proof_ratio: f64,
}

impl BoltInJoint {
    /// From the bolt's shape and strength and what it clamps. `mu_thread` is the friction whose torsion lowers the yield while it is turned;
    /// 0 for a bolt that is pulled, not turned.
    ///
    /// # Errors
    /// [`TensionError::Range`] for a friction outside 0 to 0.8.
    pub fn new(
        shape: &BoltShape,
        strength: &Strength,
        members: Members,
        mu_thread: f64,
    ) -> Result<Self, TensionError> {
        within("friction in the thread", mu_thread, 0.0, 0.8)?;
        let thread = &shape.thread;
        let (section_mm, area_mm2, plastic_mm) = if shape.waisted() {
            (shape.shank_diameter_mm, shape.shank_mm2(), shape.shank_mm)
        } else {
            let free = shape.grip_mm - shape.shank_mm;
            (
                thread.stress_diameter_mm(),
                shape.thread_mm2(),
                free + 0.4 * thread.major_mm,
            )
        };
        // A bolt that is pulled feels no torsion at all, not even that of the lead.
        let factor = if mu_thread > 0.0 {
            torsion_factor(thread, mu_thread, section_mm)
        } else {
            1.0
        };
        let bearing = Bearing::hexagon(thread);
        Ok(Self {
            pitch_mm: thread.pitch_mm,
            bolt_N_per_mm: shape.stiffness_N_per_mm(STEEL_E_MPA),
            members_N_per_mm: member_stiffness_N_per_mm(
                members.modulus_MPa(),
                thread.major_mm,
                bearing.face_mm,
                shape.grip_mm,
            ),
            proof_N: area_mm2 * strength.proof_MPa,
            yield_N: area_mm2 * strength.yield_MPa / factor,
            peak_N: area_mm2 * strength.tensile_MPa / factor,
            exponent: strength.hardening_exponent(),
            plastic_mm,
        })
    }

    /// Permanent stretch on the way up, mm.
    #[must_use]
    pub fn permanent_mm(&self, load_N: f64) -> f64 {
        let share = load_N / self.yield_N;
        // Below half the yield load the law gives less than a nanometre.
        if share < 0.5 {
            0.0
        } else {
            0.002 * self.plastic_mm * share.powf(self.exponent)
        }
    }

    fn stands_at(&self, load_N: f64) -> Stretched {
        let permanent_mm = self.permanent_mm(load_N);
        let stretch_mm = load_N / self.bolt_N_per_mm + permanent_mm;
        let pressed_mm = load_N / self.members_N_per_mm;
        Stretched {
            load_N,
            stretch_mm,
            permanent_mm,
            pressed_mm,
            angle_deg: 360.0 * (stretch_mm + pressed_mm) / self.pitch_mm,
            yield_ratio: load_N / self.yield_N,
            proof_ratio: load_N / self.proof_N,
        }
    }

    /// Where it stands at its greatest load.
    #[must_use]
    pub fn at_peak(&self) -> Stretched {
        self.stands_at(self.peak_N)
    }

    /// Where it stands at a load, N.
    ///
    /// # Errors
    /// [`TensionError::Range`] beyond the tensile strength.
    pub fn at_load(&self, load_N: f64) -> Result<Stretched, TensionError> {
        within("load in kN", load_N / 1000.0, 0.0, self.peak_N / 1000.0)?;
        Ok(self.stands_at(load_N))
    }

    /// Where it stands stretched by so much, mm.
    ///
    /// # Errors
    /// [`TensionError::Range`] beyond the stretch at the tensile strength.
    pub fn at_stretch(&self, stretch_mm: f64) -> Result<Stretched, TensionError> {
        within("stretch in mm", stretch_mm, 0.0, self.at_peak().stretch_mm)?;
        Ok(self.search(stretch_mm, |at| at.stretch_mm))
    }

    /// Where it stands turned so far from snug at no load, degrees.
    ///
    /// # Errors
    /// [`TensionError::Range`] beyond the angle at the tensile strength.
    pub fn at_angle(&self, angle_deg: f64) -> Result<Stretched, TensionError> {
        within("angle in degrees", angle_deg, 0.0, self.at_peak().angle_deg)?;
        Ok(self.search(angle_deg, |at| at.angle_deg))
    }

    /// The load at which something that grows with load has a value.
    fn search(&self, wanted: f64, of: impl Fn(&Stretched) -> f64) -> Stretched {
        let (mut low, mut high) = (0.0, self.peak_N);
        // Halving eighty times leaves less than a floating step.
        for _ in 0..80 {
            let middle = f64::midpoint(low, high);
            if of(&self.stands_at(middle)) < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        self.stands_at(f64::midpoint(low, high))
    }

    /// What the figures rest on and how far they may be off, in words.
    #[must_use]
    pub fn words(&self, at: &Stretched) -> Vec<String> {
        let mut words = vec![format!(
            "stiffness of bolt and parts calculated from usual dimensions, a hexagon head and flat, hard faces: load for an angle within about ±{:.0} %; a cover that bends, a gasket, paint or gaps make it lower still, on a turned joint by a third",
            STIFFNESS_UNCERTAINTY * 100.0
        )];
        if at.permanent_mm > 0.001 {
            words.push(format!(
                "past the straight line: {:.3} mm of the stretch stays when it is loosened; allowed for the least strength of the class, where bolts are up to a fifth stronger and then load and angle at yield are higher by as much",
                at.permanent_mm
            ));
        }
        if at.yield_ratio > 1.0 {
            words.push("yielded: good for 0.2 % to the uniform strain of the free thread; necking, stripping and a second use are not in it. Whether a yielded bolt may be used again is the maker's to say".to_owned());
        }
        words
    }
}
