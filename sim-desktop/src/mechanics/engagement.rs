//! Length of engagement: how deep a bolt must be screwed in, and which thread strips first.
//!
//! Shear areas of least material after \[FED-STD-H28/2B\], written for any flank angle; bending and spreading of the threads by the factors that
//! \[VDI 2230\] has from Alexander (SAE 770420). Whatever they would gain is not counted.
//!
//! Knows nothing of torque.

use super::tension::within;
use super::{NutClass, Strength, TensionError, Thread, ThreadLimits, limits};
use std::f64::consts::PI;

/// How much stronger than its class's least a bolt may be, and still must not strip what it is screwed into. [our judgement; an example in
/// *Handbook of Bolts and Bolted Joints* takes a 10.9 bolt at 1200 MPa, 1.15 times its least]
const BOLT_OVER_LEAST: f64 = 1.2;
/// Turns at the two ends that carry less than a whole one, in pitches. [VDI 2230: 0.8 P]
const END_TURNS: f64 = 0.8;

/// A material with an internal thread in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Tapped {
    /// What it is called.
    pub name: String,
    /// Tensile strength, MPa.
    pub tensile_MPa: f64,
    /// Shear strength, MPa.
    pub shear_MPa: f64,
    /// What is left of both threads' strength when the part spreads: 1 in a block, less in a nut.
    pub spread: f64,
}

/// What a hexagon nut, 1.5 d across flats, keeps as it spreads: C1 = 3.8 s/d − (s/d)² − 2.61. [VDI 2230, from Alexander, SAE 770420; from
/// memory]
const NUT_SPREAD: f64 = 0.84;

/// Materials known by name: tensile and shear strength, MPa, least or usual of their kind. [steel: S235, 360 MPa, shear 0.6 of it by
/// VDI 2230; EN AW-6061-T6: 310 and 207, 356.0-T6 sand cast: 228 and 179, Aluminum Association; EN-GJL-200 and 250: shear 1.15 times
/// the tensile strength, EN 1561 annex, taken here as 1.0; EN-GJS-400: 360, EN 1563 annex; stainless austenitic 500 and 0.8 by VDI 2230. From memory
/// but for 356.0-T6 and EN-GJS-400]
pub const TAPPED: [(&str, f64, f64); 7] = [
    ("steel", 360.0, 216.0),
    ("stainless", 500.0, 400.0),
    ("aluminium", 310.0, 207.0),
    ("cast-aluminium", 228.0, 179.0),
    ("cast-iron", 200.0, 200.0),
    ("cast-iron-250", 250.0, 250.0),
    ("ductile-iron", 400.0, 360.0),
];

impl Tapped {
    /// A material by its name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        let plain = name
            .trim()
            .to_lowercase()
            .replace([' ', '_'], "-")
            .replace("aluminum", "aluminium");
        TAPPED
            .iter()
            .find(|row| row.0 == plain)
            .map(|&(name, tensile_MPa, shear_MPa)| Self {
                name: name.to_owned(),
                tensile_MPa,
                shear_MPa,
                spread: 1.0,
            })
    }

    /// A part of which only the shear strength is known, MPa.
    #[must_use]
    pub fn of_shear(shear_MPa: f64) -> Self {
        Self {
            name: "the part".to_owned(),
            // [VDI 2230: 0.6 of the tensile strength for steel, from memory]
            tensile_MPa: shear_MPa / 0.6,
            shear_MPa,
            spread: 1.0,
        }
    }

    /// A steel nut of a class: the stress under proof load is what its threads are sure to bear with a bolt of that strength.
    ///
    /// # Errors
    /// As [`NutClass::proof_MPa`].
    pub fn nut(class: NutClass, diameter_mm: f64) -> Result<Self, super::NutError> {
        let tensile_MPa = class.proof_MPa(diameter_mm)?;
        Ok(Self {
            name: format!("nut of class {}", class.name()),
            tensile_MPa,
            // [VDI 2230: 0.6 of the tensile strength for steel, from memory]
            shear_MPa: 0.6 * tensile_MPa,
            spread: NUT_SPREAD,
        })
    }
}

/// Shear strength of a bolt as a share of its tensile strength: 0.70 for soft ones, falling to 0.60; stainless 0.72. [VDI 2230:2003, from
/// memory]
#[must_use]
pub fn bolt_shear_ratio(strength: &Strength) -> f64 {
    match strength.tensile_MPa {
        weak if weak < 600.0 => 0.70,
        middle if middle < 900.0 => 0.65,
        strong if strong < 1100.0 => 0.62,
        _ => 0.60,
    }
}

/// Which of the three gives way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Strips {
    /// The bolt breaks before any thread strips: what a joint should do.
    BoltBreaks,
    /// The bolt's own thread strips.
    External,
    /// The thread in the nut or part strips.
    Internal,
}

/// What a given length of engagement holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Engaged {
    /// Length, mm.
    pub length_mm: f64,
    /// Load that strips the bolt's thread, N.
    pub external_N: f64,
    /// Load that strips the thread in the part, N.
    pub internal_N: f64,
    /// What gives way when a bolt of its class's least strength is overloaded.
    pub first: Strips,
    /// The same for the strongest bolt its class allows.
    pub first_with_strong_bolt: Strips,
}

impl Engaged {
    /// Whether even the strongest bolt of its class breaks before a thread strips.
    #[must_use]
    pub fn sound(&self) -> bool {
        self.first_with_strong_bolt == Strips::BoltBreaks
    }

    /// What gives way first, in words.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match (self.first, self.first_with_strong_bolt) {
            (Strips::BoltBreaks, Strips::BoltBreaks) => "the bolt breaks before a thread strips",
            (Strips::BoltBreaks, _) => {
                "a bolt of its class's least strength breaks, one of the strongest strips the thread it is screwed into"
            }
            (Strips::External, _) => {
                "the bolt's own thread strips before it breaks: the engagement is too short"
            }
            (Strips::Internal, _) => {
                "the thread it is screwed into strips before the bolt breaks: deeper, or a weaker preload by the maker's word"
            }
        }
    }
}

/// A bolt in a tapped material.
#[derive(Debug, Clone, PartialEq)]
pub struct Engagement {
    /// Sizes allowed for.
    pub limits: ThreadLimits,
    /// Shear area of the bolt's thread for each millimetre engaged, mm.
    pub external_mm2_per_mm: f64,
    /// Shear area of the internal thread for each millimetre engaged, mm.
    pub internal_mm2_per_mm: f64,
    /// Load that strips each millimetre of the bolt's thread, N/mm.
    pub external_N_per_mm: f64,
    /// Load that strips each millimetre of the internal thread, N/mm.
    pub internal_N_per_mm: f64,
    /// Least load that breaks the bolt, N.
    pub bolt_N: f64,
    /// Load that breaks the strongest bolt of its class, N.
    pub strong_bolt_N: f64,
    /// Length at which the strongest bolt of the class breaks before either thread strips, ends included, mm.
    pub needed_mm: f64,
    pitch_mm: f64,
}

/// Shear areas for each millimetre engaged, mm: external at the internal thread's minor diameter, internal at the external thread's major
/// diameter. [FED-STD-H28/2B: π/P·D·(P/2 + 0.57735·(difference))]
fn shear_areas(thread: &Thread, limits: &ThreadLimits) -> (f64, f64) {
    let tangent = (thread.kind.flank_angle_deg() / 2.0).to_radians().tan();
    let p = thread.pitch_mm;
    let area = |diameter: f64, depth: f64| PI * diameter / p * (p / 2.0 + tangent * depth);
    (
        area(
            limits.internal_minor_max_mm,
            limits.pitch_min_mm - limits.internal_minor_max_mm,
        ),
        area(
            limits.major_min_mm,
            limits.major_min_mm - limits.internal_pitch_max_mm,
        ),
    )
}

/// Factors for the bending of the threads, external and internal, by the ratio of their strengths, never above 1. [VDI 2230 C2 and C3, from
/// Alexander, SAE 770420; from memory]
fn bending(ratio: f64) -> (f64, f64) {
    let at = |r: f64, c: [f64; 5]| c[0] + r * (c[1] + r * (c[2] + r * (c[3] + r * c[4])));
    let external = if ratio <= 1.0 {
        0.897
    } else {
        at(ratio.min(2.2), [5.594, -13.682, 14.107, -6.057, 0.9353])
    };
    let internal = if ratio >= 1.0 {
        0.897
    } else {
        at(ratio.max(0.4), [0.728, 1.769, -2.896, 1.296, 0.0])
    };
    (external.min(1.0), internal.min(1.0))
}

impl Engagement {
    /// A bolt of a strength in a material.
    ///
    /// # Errors
    /// [`TensionError::PipeThread`]; [`TensionError::Range`] for a shear strength that no metal has.
    pub fn new(
        thread: &Thread,
        strength: &Strength,
        tapped: &Tapped,
    ) -> Result<Self, TensionError> {
        let area = thread
            .stress_area_mm2()
            .ok_or_else(|| TensionError::PipeThread(thread.to_string()))?;
        within("shear strength in MPa", tapped.shear_MPa, 10.0, 2000.0)?;
        let limits = limits(thread);
        let (external_mm2_per_mm, internal_mm2_per_mm) = shear_areas(thread, &limits);
        let external = external_mm2_per_mm * bolt_shear_ratio(strength) * strength.tensile_MPa;
        let internal = internal_mm2_per_mm * tapped.shear_MPa;
        let (of_external, of_internal) = bending(internal / external);
        let (external_N_per_mm, internal_N_per_mm) = (
            external * of_external * tapped.spread,
            internal * of_internal * tapped.spread,
        );
        let bolt_N = area * strength.tensile_MPa;
        let strong_bolt_N = BOLT_OVER_LEAST * bolt_N;
        // A stronger bolt has a stronger thread as well; the part has not.
        let needed = (bolt_N / external_N_per_mm).max(strong_bolt_N / internal_N_per_mm);
        Ok(Self {
            limits,
            external_mm2_per_mm,
            internal_mm2_per_mm,
            external_N_per_mm,
            internal_N_per_mm,
            bolt_N,
            strong_bolt_N,
            needed_mm: needed + END_TURNS * thread.pitch_mm,
            pitch_mm: thread.pitch_mm,
        })
    }

    /// What a length of engagement holds, its ends included, mm.
    ///
    /// # Errors
    /// [`TensionError::Range`] for a length outside one pitch to 1 m.
    pub fn at(&self, length_mm: f64) -> Result<Engaged, TensionError> {
        within("engagement in mm", length_mm, self.pitch_mm, 1000.0)?;
        let carrying = (length_mm - END_TURNS * self.pitch_mm).max(0.0);
        let external_N = self.external_N_per_mm * carrying;
        let internal_N = self.internal_N_per_mm * carrying;
        let first = |bolt: f64, external: f64| {
            if bolt <= external.min(internal_N) {
                Strips::BoltBreaks
            } else if external < internal_N {
                Strips::External
            } else {
                Strips::Internal
            }
        };
        Ok(Engaged {
            length_mm,
            external_N,
            internal_N,
            first: first(self.bolt_N, external_N),
            first_with_strong_bolt: first(self.strong_bolt_N, BOLT_OVER_LEAST * external_N),
        })
    }

    /// What it rests on and how far it may be off, in words.
    #[must_use]
    pub fn words(&self, tapped: &Tapped) -> String {
        format!(
            "allowed for {}, {:.0} MPa in shear for {}, a bolt up to a fifth stronger than its class's least, and {END_TURNS} of a pitch lost at the ends; thread of the widest tolerance, so usually on the safe side by about a tenth. {}",
            match self.limits.tolerance {
                Some(tolerance) => format!("tolerance {tolerance}"),
                None => "basic sizes (no tolerance known here)".to_owned(),
            },
            tapped.shear_MPa,
            tapped.name,
            if tapped.spread < 1.0 {
                "A hexagon nut spreads and keeps 0.84 of both threads. The nut that the maker names comes first"
            } else {
                "Castings vary by a fifth and more. The maker's depth comes first; add the countersink and the unthreaded tip"
            }
        )
    }
}
