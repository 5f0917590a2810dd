//! Twist of extensions and sockets: how far the tool winds up before the fastener moves.
//!
//! Knows nothing of fasteners.

use super::{INCH_MM, STEEL_G_MPA};
use std::f64::consts::PI;
use std::fmt;
use std::str::FromStr;

/// Shear modulus of the alloy steels that tools are made of, MPa. [79 GPa, usual for steel; Shigley table A-5 has 79.3]
const EXTENSION_G_MPA: f64 = 79_000.0;

/// What the twist rests on and how far it may be off, in words.
pub const TWIST_WORDS: &str = "calculated for plain steel bars; drive ends, sockets, joints and their play come on top, so a real train winds up more, by a tenth to a third. Measured beats calculated: hold the socket fast, pull to a torque, read the angle";

/// A bar's section in torsion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Section {
    /// Round, solid or with a bore.
    Round,
    /// Square, solid; the size is its side.
    Square,
}

/// A bar in torsion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Its section.
    pub section: Section,
    /// Outside diameter or side, mm.
    pub diameter_mm: f64,
    /// Bore, mm; 0 for a solid bar.
    pub bore_mm: f64,
    /// Length that twists, mm.
    pub length_mm: f64,
    /// Shear modulus, MPa.
    pub shear_MPa: f64,
}

/// A bar that cannot be.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum TwistError {
    /// No bar in the text.
    Text(String),
    /// A diameter or side outside 1 to 200 mm.
    Diameter(f64),
    /// A length outside 1 to 5000 mm.
    Length(f64),
    /// A bore outside 0 to 95 % of the diameter, or in a square bar.
    Bore(f64),
}

impl fmt::Display for TwistError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Text(text) => write!(
                f,
                "bar `{text}` is not understood; allowed: 10 mm x 250 mm, 0.5 in x 10 in, square 9.5 x 40, 16 bore 8 x 300"
            ),
            Self::Diameter(given) => write!(f, "diameter {given} mm is outside 1 to 200 mm"),
            Self::Length(given) => write!(f, "length {given} mm is outside 1 to 5000 mm"),
            Self::Bore(given) => write!(
                f,
                "bore {given} mm; allowed: 0 to 0.95 of the diameter, and none in a square bar"
            ),
        }
    }
}

impl std::error::Error for TwistError {}

impl Bar {
    /// Solid round steel bar.
    #[must_use]
    pub fn steel(diameter_mm: f64, length_mm: f64) -> Self {
        Self {
            section: Section::Round,
            diameter_mm,
            bore_mm: 0.0,
            length_mm,
            shear_MPa: STEEL_G_MPA,
        }
    }

    /// The bar, if it can be.
    ///
    /// # Errors
    /// [`TwistError`] by the number that makes no sense.
    pub fn checked(self) -> Result<Self, TwistError> {
        if !(1.0..=200.0).contains(&self.diameter_mm) {
            return Err(TwistError::Diameter(self.diameter_mm));
        }
        if !(1.0..=5000.0).contains(&self.length_mm) {
            return Err(TwistError::Length(self.length_mm));
        }
        let bore_max = match self.section {
            Section::Round => 0.95 * self.diameter_mm,
            Section::Square => 0.0,
        };
        if !(0.0..=bore_max).contains(&self.bore_mm) {
            return Err(TwistError::Bore(self.bore_mm));
        }
        Ok(self)
    }

    /// A stiffness as the plan's `train` takes it: short, and never rounded up to more than it is by over half a per cent.
    #[must_use]
    pub fn train_words(stiffness_Nm_per_deg: f64) -> String {
        let places = match stiffness_Nm_per_deg {
            s if s < 1.0 => 3,
            s if s < 10.0 => 2,
            s if s < 100.0 => 1,
            _ => 0,
        };
        format!("{stiffness_Nm_per_deg:.places$}")
    }

    /// Torsional stiffness, N·m per degree: k = G·J/L, J = π/32·(D⁴ − d⁴) round [Shigley eq. 3-35 and 4-7], 0.1406 a⁴ square [Roark
    /// table 10.1, from memory; Timoshenko and Goodier, β 0.1406].
    #[must_use]
    pub fn stiffness_Nm_per_deg(&self) -> f64 {
        let polar = match self.section {
            Section::Round => PI / 32.0 * (self.diameter_mm.powi(4) - self.bore_mm.powi(4)),
            Section::Square => 0.1406 * self.diameter_mm.powi(4),
        };
        self.shear_MPa * polar / self.length_mm / 1000.0 / 1.0_f64.to_degrees()
    }
}

/// A length in mm as typed, with mm where no unit is written.
fn millimeters(text: &str) -> Option<f64> {
    let text = text.trim();
    let split = text
        .find(|c: char| !(c.is_ascii_digit() || ".,".contains(c)))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let factor = match unit.trim() {
        "" | "mm" => 1.0,
        "cm" => 10.0,
        "in" | "inch" | "\"" => INCH_MM,
        _ => return None,
    };
    let number: f64 = number.replace(',', ".").parse().ok()?;
    Some(number * factor)
}

impl FromStr for Bar {
    type Err = TwistError;

    /// `10 mm x 250 mm`, `square 9.5 x 40`, `16 bore 8 x 300`: steel.
    fn from_str(text: &str) -> Result<Self, TwistError> {
        let unread = || TwistError::Text(text.trim().to_owned());
        let lower = text.trim().to_lowercase().replace('×', "x");
        let (section, body) = match lower.strip_prefix("square") {
            Some(rest) => (Section::Square, rest),
            None => (Section::Round, lower.as_str()),
        };
        let (across, length) = body.split_once('x').ok_or_else(unread)?;
        let (diameter, bore) = match across.split_once("bore") {
            Some((diameter, bore)) => (diameter, millimeters(bore).ok_or_else(unread)?),
            None => (across, 0.0),
        };
        Self {
            section,
            diameter_mm: millimeters(diameter).ok_or_else(unread)?,
            bore_mm: bore,
            length_mm: millimeters(length).ok_or_else(unread)?,
            shear_MPa: EXTENSION_G_MPA,
        }
        .checked()
    }
}

/// Twist of bars one after another under a torque, degrees.
#[must_use]
pub fn twist_deg(bars: &[Bar], torque_Nm: f64) -> f64 {
    torque_Nm / train_Nm_per_deg(bars)
}

/// Stiffness of bars one after another, N·m per degree.
#[must_use]
pub fn train_Nm_per_deg(bars: &[Bar]) -> f64 {
    1.0 / bars
        .iter()
        .map(|bar| 1.0 / bar.stiffness_Nm_per_deg())
        .sum::<f64>()
}

/// Twist of one bar for each 100 N·m, degrees.
#[must_use]
pub fn degrees_per_100_Nm(bar: &Bar) -> f64 {
    100.0 / bar.stiffness_Nm_per_deg()
}
