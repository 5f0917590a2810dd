//! Friction: what is on the threads, and how far the preload may stray for it.
//!
//! Knows nothing of a bolt's size.

/// What is on thread and bearing face.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Condition {
    /// Clean and dry.
    Dry,
    /// Engine or machine oil.
    Oiled,
    /// Anaerobic locking liquid, wet while tightening.
    Threadlocker,
    /// Thread or face sealant.
    Sealant,
    /// An assembly paste or other named compound with solid lubricant.
    Compound,
}

impl Condition {
    /// Reads the plan's word; any other name is a compound.
    #[must_use]
    pub fn from_text(text: &str) -> Self {
        let lower = text.trim().to_lowercase();
        match lower.as_str() {
            "dry" | "clean" | "clean and dry" => Self::Dry,
            "threadlocker" | "thread locker" | "locker" => Self::Threadlocker,
            "sealant" => Self::Sealant,
            word if word.contains("oil") => Self::Oiled,
            _ => Self::Compound,
        }
    }

    /// Friction to allow for where nothing better is known, alike in thread and under the head. Values chosen inside the classes of
    /// [VDI 2230:2001 table A5]: B (0.08 to 0.16) for oil and paste, C (0.14 to 0.24) for dry metal.
    #[must_use]
    pub fn friction(self) -> Friction {
        let value = match self {
            Self::Dry => 0.16,
            Self::Oiled => 0.12,
            Self::Threadlocker | Self::Sealant => 0.13,
            Self::Compound => 0.10,
        };
        Friction {
            thread: value,
            head: value,
        }
    }

    /// How far one fastener's friction lies from the next, as a standard deviation relative to the mean: a third of the preload scatter
    /// by torque, ±35 % unlubricated and ±25 % lubricated. [NSTS 08307 table]
    #[must_use]
    pub fn friction_scatter(self) -> f64 {
        match self {
            Self::Dry => 0.35 / 3.0,
            Self::Oiled | Self::Threadlocker | Self::Sealant | Self::Compound => 0.25 / 3.0,
        }
    }
}

/// Coefficients of friction in the thread and under the turned head or nut, dimensionless.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Friction {
    /// In the thread, µG.
    pub thread: f64,
    /// Under the head or nut, µK.
    pub head: f64,
}

/// Friction classes. [VDI 2230:2001 table A5]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrictionClass {
    /// 0.04 to 0.10.
    A,
    /// 0.08 to 0.16.
    B,
    /// 0.14 to 0.24.
    C,
}

impl FrictionClass {
    /// Lowest and highest coefficient of the class.
    #[must_use]
    pub fn range(self) -> (f64, f64) {
        match self {
            Self::A => (0.04, 0.10),
            Self::B => (0.08, 0.16),
            Self::C => (0.14, 0.24),
        }
    }
}

/// How a fastener is brought to its tightness.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Method {
    /// By feel.
    Feel,
    /// Torque wrench.
    Torque,
    /// Torque wrench on unlubricated threads.
    TorqueDry,
    /// Turn of nut: an angle from snug.
    Turn,
    /// Until the gradient of torque over angle falls.
    Yield,
    /// By measured elongation.
    Stretch,
}

/// How far the preload may lie from the one aimed at, as fractions: 0.25 is 25 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Below.
    pub below: f64,
    /// Above.
    pub above: f64,
}

impl Method {
    /// Scatter of the preload. [Machinery's Handbook, accuracy of bolt preload application methods: feel ±35 %, torque wrench ±25 %, turn
    /// of nut ±15 %, yield-sensing ±8 %, elongation ±3 to 5 %; torque unlubricated ±35 %: NSTS 08307]
    #[must_use]
    pub fn scatter(self) -> Scatter {
        let both = match self {
            Self::Feel | Self::TorqueDry => 0.35,
            Self::Torque => 0.25,
            Self::Turn => 0.15,
            Self::Yield => 0.08,
            Self::Stretch => 0.05,
        };
        Scatter {
            below: both,
            above: both,
        }
    }
}
