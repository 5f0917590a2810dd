//! How strong a bolt is: ISO property classes and SAE grades.
//!
//! Knows nothing of threads beyond a diameter, nor of torque.

use super::{INCH_MM, KSI_MPA};
use std::fmt;

/// Strength of a bolt material at a given size, MPa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strength {
    /// Stress under which the bolt must show no permanent stretch.
    pub proof_MPa: f64,
    /// Stress at 0.2 % permanent strain (or lower yield).
    pub yield_MPa: f64,
    /// Tensile strength.
    pub tensile_MPa: f64,
    /// Permanent strain of the free thread at greatest load, dimensionless; about half the elongation after fracture.
    pub uniform_strain: f64,
}

/// Why a class or grade was not understood.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum StrengthError {
    /// No such class.
    Class(String),
    /// No such grade.
    Grade(String),
    /// The class exists, but not in this size.
    Size {
        /// Class or grade as written.
        name: String,
        /// Nominal diameter, mm.
        diameter_mm: f64,
        /// Largest diameter it is made in, mm.
        largest_mm: f64,
    },
}

impl fmt::Display for StrengthError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Class(name) => write!(
                f,
                "property class `{name}` is not known; allowed: 4.6, 4.8, 5.6, 5.8, 6.8, 8.8, 9.8, 10.9, 12.9, A2-70, A4-70, A4-80"
            ),
            Self::Grade(name) => write!(
                f,
                "grade `{name}` is not known; allowed: 1, 2, 5, 8, A325, A490"
            ),
            Self::Size {
                name,
                diameter_mm,
                largest_mm,
            } => {
                write!(
                    f,
                    "`{name}` is not made in {diameter_mm:.1} mm; allowed: up to {largest_mm:.1} mm"
                )
            }
        }
    }
}

impl std::error::Error for StrengthError {}

impl Strength {
    fn of(proof_MPa: f64, yield_MPa: f64, tensile_MPa: f64, elongation: f64) -> Self {
        Self {
            proof_MPa,
            yield_MPa,
            tensile_MPa,
            uniform_strain: elongation / 2.0,
        }
    }

    /// ISO property class for a nominal diameter, mm. [ISO 898-1:2013 table 3; stainless steels ISO 3506-1, from memory, whose proof is
    /// taken at their 0.2 % limit]
    ///
    /// # Errors
    /// [`StrengthError::Class`] for an unknown class, [`StrengthError::Size`] for 9.8 above 16 mm.
    pub fn property_class(name: &str, diameter_mm: f64) -> Result<Self, StrengthError> {
        let large = diameter_mm > 16.0;
        Ok(match name.trim() {
            "4.6" => Self::of(225.0, 240.0, 400.0, 0.22),
            "4.8" => Self::of(310.0, 340.0, 420.0, 0.14),
            "5.6" => Self::of(280.0, 300.0, 500.0, 0.20),
            "5.8" => Self::of(380.0, 420.0, 520.0, 0.10),
            "6.8" => Self::of(440.0, 480.0, 600.0, 0.08),
            "8.8" if large => Self::of(600.0, 660.0, 830.0, 0.12),
            "8.8" => Self::of(580.0, 640.0, 800.0, 0.12),
            "9.8" if large => {
                return Err(StrengthError::Size {
                    name: name.trim().to_owned(),
                    diameter_mm,
                    largest_mm: 16.0,
                });
            }
            "9.8" => Self::of(650.0, 720.0, 900.0, 0.10),
            "10.9" => Self::of(830.0, 940.0, 1040.0, 0.09),
            "12.9" => Self::of(970.0, 1100.0, 1220.0, 0.08),
            "A2-70" | "A4-70" => Self::of(450.0, 450.0, 700.0, 0.20),
            "A4-80" => Self::of(600.0, 600.0, 800.0, 0.15),
            other => return Err(StrengthError::Class(other.to_owned())),
        })
    }

    /// SAE grade or structural bolt for a nominal diameter, mm. [SAE J429 table 1; A325 and A490: Shigley table 8-10]
    ///
    /// # Errors
    /// [`StrengthError::Grade`] for an unknown grade, [`StrengthError::Size`] above 1½ in.
    pub fn grade(name: &str, diameter_mm: f64) -> Result<Self, StrengthError> {
        let inches = diameter_mm / INCH_MM;
        let ksi = |proof, yielding, tensile, elongation| {
            Self::of(
                proof * KSI_MPA,
                yielding * KSI_MPA,
                tensile * KSI_MPA,
                elongation,
            )
        };
        let bare = name
            .trim()
            .trim_start_matches(['g', 'G'])
            .trim_start_matches("rade")
            .trim();
        let strength = match bare {
            "1" => ksi(33.0, 36.0, 60.0, 0.18),
            "2" if inches <= 0.75 + 1e-9 => ksi(55.0, 57.0, 74.0, 0.18),
            "2" => ksi(33.0, 36.0, 60.0, 0.18),
            "5" | "A325" if inches <= 1.0 + 1e-9 => ksi(85.0, 92.0, 120.0, 0.14),
            "5" | "A325" => ksi(74.0, 81.0, 105.0, 0.14),
            "8" => ksi(120.0, 130.0, 150.0, 0.12),
            "A490" => ksi(120.0, 130.0, 150.0, 0.14),
            _ => return Err(StrengthError::Grade(name.trim().to_owned())),
        };
        if inches > 1.5 + 1e-9 {
            return Err(StrengthError::Size {
                name: name.trim().to_owned(),
                diameter_mm,
                largest_mm: 1.5 * INCH_MM,
            });
        }
        Ok(strength)
    }
}
