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
                "property class `{name}` is not known; allowed: 4.6, 4.8, 5.6, 5.8, 6.8, 8.8, 9.8, 10.9, 12.9, A2-50, A2-70, A2-80, A4-50, A4-70, A4-80, B7"
            ),
            Self::Grade(name) => write!(
                f,
                "grade `{name}` is not known; allowed: 1, 2, 5, 8, A325, A490, B7"
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

    /// ISO property class for a nominal diameter, mm. [ISO 898-1:2013 table 3; stainless steels ISO 3506-1:2009 table 2, whose
    /// elongation is given in diameters and whose proof is taken at their 0.2 % limit] `B7` is read here as well.
    ///
    /// # Errors
    /// [`StrengthError::Class`] for an unknown class, [`StrengthError::Size`] for 9.8 above 16 mm, stainless steel above 39 mm and B7 above 7 in.
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
            stainless @ ("A2-50" | "A2-70" | "A2-80" | "A4-50" | "A4-70" | "A4-80") => {
                if diameter_mm > 39.0 + 1e-9 {
                    return Err(StrengthError::Size {
                        name: stainless.to_owned(),
                        diameter_mm,
                        largest_mm: 39.0,
                    });
                }
                // The standard's 0.6, 0.4 and 0.3 d are stretch of the whole bolt; taken here over a length of 2 d, our judgement.
                match stainless.rsplit('-').next() {
                    Some("50") => Self::of(210.0, 210.0, 500.0, 0.30),
                    Some("70") => Self::of(450.0, 450.0, 700.0, 0.20),
                    _ => Self::of(600.0, 600.0, 800.0, 0.15),
                }
            }
            "B7" => return Self::b7(diameter_mm),
            other => return Err(StrengthError::Class(other.to_owned())),
        })
    }

    /// ASTM A193 grade B7 for a nominal diameter, mm; its proof is taken at its 0.2 % limit. [ASTM A193: 125/105 ksi up to 2½ in, 115/95 up
    /// to 4 in, 100/75 up to 7 in, elongation 16, 16 and 18 %]
    fn b7(diameter_mm: f64) -> Result<Self, StrengthError> {
        let inches = diameter_mm / INCH_MM - 1e-9;
        let (tensile, yielding, elongation) = match inches {
            i if i <= 2.5 => (125.0, 105.0, 0.16),
            i if i <= 4.0 => (115.0, 95.0, 0.16),
            i if i <= 7.0 => (100.0, 75.0, 0.18),
            _ => {
                return Err(StrengthError::Size {
                    name: "B7".to_owned(),
                    diameter_mm,
                    largest_mm: 7.0 * INCH_MM,
                });
            }
        };
        Ok(Self::of(
            yielding * KSI_MPA,
            yielding * KSI_MPA,
            tensile * KSI_MPA,
            elongation,
        ))
    }

    /// Exponent n of Ramberg and Osgood's ε = 0.002·(σ/Rp)ⁿ that meets the tensile strength at the uniform strain. [NACA TN 902, 1943]
    #[must_use]
    pub fn hardening_exponent(&self) -> f64 {
        (self.uniform_strain / 0.002).ln() / (self.tensile_MPa / self.yield_MPa).ln()
    }

    /// SAE grade or structural bolt for a nominal diameter, mm. [SAE J429 table 1; A325 and A490: Shigley table 8-10; B7: ASTM A193]
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
            "B7" => return Self::b7(diameter_mm),
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
