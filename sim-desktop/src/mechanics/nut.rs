//! Property classes of steel nuts, and what happens when a nut is weaker than its bolt.
//!
//! Knows nothing of torque.

use super::{Strength, Thread, ThreadKind};
use std::fmt;

/// Property class of a nut of full height. [ISO 898-2]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NutClass {
    /// Class 5.
    Five,
    /// Class 6.
    Six,
    /// Class 8.
    Eight,
    /// Class 10.
    Ten,
    /// Class 12.
    Twelve,
}

/// A nut class that is not known, or not made in the size.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum NutError {
    /// No such class.
    Class(String),
    /// Outside M3 to M39.
    Size(f64),
    /// Not metric.
    Thread(String),
}

impl fmt::Display for NutError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Class(name) => write!(
                f,
                "nut class `{name}` is not known; allowed: 5, 6, 8, 10, 12"
            ),
            Self::Thread(thread) => {
                write!(f, "nut classes hold for metric threads; {thread} is none")
            }
            Self::Size(diameter_mm) => write!(
                f,
                "nut classes hold for metric threads of 3 to 39 mm; this one has {diameter_mm:.1} mm"
            ),
        }
    }
}

impl std::error::Error for NutError {}

/// Stress under proof load, MPa, for classes 5, 6, 8, 10 and 12, up to and including a diameter in mm. [ISO 898-2:1992 table 5, coarse
/// thread; class 8 of style 1, class 12 of style 1 to M16 and of style 2 above, as printed in DIN EN 20898-2]
const PROOF: [(f64, [f64; 5]); 5] = [
    (4.0, [520.0, 600.0, 800.0, 1040.0, 1140.0]),
    (7.0, [580.0, 670.0, 855.0, 1040.0, 1140.0]),
    (10.0, [590.0, 680.0, 870.0, 1040.0, 1140.0]),
    (16.0, [610.0, 700.0, 880.0, 1050.0, 1170.0]),
    (39.0, [630.0, 720.0, 920.0, 1060.0, 1200.0]),
];

impl NutClass {
    /// Every class, weakest first.
    pub const ALL: [Self; 5] = [Self::Five, Self::Six, Self::Eight, Self::Ten, Self::Twelve];

    /// Reads a class.
    ///
    /// # Errors
    /// [`NutError::Class`].
    pub fn from_text(text: &str) -> Result<Self, NutError> {
        Self::ALL
            .into_iter()
            .find(|class| class.name() == text.trim())
            .ok_or_else(|| NutError::Class(text.trim().to_owned()))
    }

    /// As it is stamped.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Five => "5",
            Self::Six => "6",
            Self::Eight => "8",
            Self::Ten => "10",
            Self::Twelve => "12",
        }
    }

    const fn index(self) -> usize {
        match self {
            Self::Five => 0,
            Self::Six => 1,
            Self::Eight => 2,
            Self::Ten => 3,
            Self::Twelve => 4,
        }
    }

    /// Stress under proof load over the stress area of its bolt, MPa.
    ///
    /// # Errors
    /// [`NutError::Size`] outside 3 to 39 mm.
    pub fn proof_MPa(self, diameter_mm: f64) -> Result<f64, NutError> {
        PROOF
            .iter()
            .find(|(most, _)| diameter_mm <= *most + 1e-9)
            .filter(|_| diameter_mm >= 3.0 - 1e-9)
            .and_then(|(_, row)| row.get(self.index()).copied())
            .ok_or(NutError::Size(diameter_mm))
    }

    /// The strongest bolt class it is meant for: a nut of class 8 goes with bolts up to 8.8. [ISO 898-2]
    #[must_use]
    pub const fn bolt_class(self) -> &'static str {
        match self {
            Self::Five => "5.8",
            Self::Six => "6.8",
            Self::Eight => "8.8",
            Self::Ten => "10.9",
            Self::Twelve => "12.9",
        }
    }
}

/// How a nut and a bolt go together.
#[derive(Debug, Clone, PartialEq)]
pub struct NutAndBolt {
    /// Proof load of the nut, N.
    pub nut_proof_N: f64,
    /// Least load that breaks the bolt, N.
    pub bolt_breaks_N: f64,
    /// Proof load of the bolt, N.
    pub bolt_proof_N: f64,
    /// Whether the nut is at least as strong as the bolt is sure to be.
    pub strong_enough: bool,
    /// What that means, in plain words.
    pub why: String,
}

/// Share of the bolt's least breaking load to which a nut must be tested to count as its match: the standard's own pairs reach down to it, class 12
/// of style 1 on 12.9. [ISO 898-2: 1140 MPa beside 1220]
const MATCHED: f64 = 0.93;

/// Judges a nut on a bolt.
///
/// # Errors
/// [`NutError::Size`], [`NutError::Thread`].
pub fn nut_and_bolt(
    nut: NutClass,
    thread: &Thread,
    strength: &Strength,
) -> Result<NutAndBolt, NutError> {
    let area = thread
        .stress_area_mm2()
        .filter(|_| thread.kind == ThreadKind::Metric)
        .ok_or_else(|| NutError::Thread(thread.to_string()))?;
    let nut_proof_N = nut.proof_MPa(thread.major_mm)? * area;
    let (bolt_breaks_N, bolt_proof_N) = (area * strength.tensile_MPa, area * strength.proof_MPa);
    let strong_enough = nut_proof_N >= MATCHED * bolt_breaks_N;
    let (name, nut_kN, breaks_kN) = (nut.name(), nut_proof_N / 1000.0, bolt_breaks_N / 1000.0);
    let why = if strong_enough {
        format!(
            "a nut of class {name} is tested to {nut_kN:.1} kN and meant for bolts that break from {breaks_kN:.1} kN on: overtightened, the bolt goes first, where it is seen"
        )
    } else if nut_proof_N >= bolt_proof_N {
        format!(
            "a nut of class {name} is tested to {nut_kN:.1} kN only, the bolt breaks from {breaks_kN:.1} kN on: overtightened, the nut's thread strips first. It gives way a little at a time, may hold for the moment and let go in service; a nut of class {name} is meant for bolts up to {}",
            nut.bolt_class()
        )
    } else {
        format!(
            "a nut of class {name} is tested to {nut_kN:.1} kN only, less than the bolt's own proof load of {:.1} kN: a torque that is right for the bolt may strip the nut. It is meant for bolts up to {}",
            bolt_proof_N / 1000.0,
            nut.bolt_class()
        )
    };
    Ok(NutAndBolt {
        nut_proof_N,
        bolt_breaks_N,
        bolt_proof_N,
        strong_enough,
        why,
    })
}
