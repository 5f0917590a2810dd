//! What can be wrong with a fastener at the bench.
//!
//! Knows nothing of how a fault is found.

use std::fmt;
use std::str::FromStr;

/// One thing wrong with one fastener.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Fault {
    /// Started askew: the thread cuts itself, torque rises from the first turn and no clamp follows.
    CrossThread,
    /// The screw meets the bottom of its hole before the head meets the part.
    Bottomed,
    /// Already brought to its target by somebody.
    AlreadyTight,
    /// A part in the grip gives way: a soft shim, paint, a warped part.
    SoftPart,
    /// A washer or spacer was left out: the head seats late.
    MissingPart,
    /// Dirt in the thread: it sticks and slips.
    Gritty,
    /// The inner thread shears before the target.
    Stripping,
    /// A bolt of a lower class than asked for.
    WrongClass,
    /// Oil where the value assumes dry.
    Oiled,
}

impl Fault {
    /// All faults, in the order of the help text.
    pub const ALL: [Self; 9] = [
        Self::CrossThread,
        Self::Bottomed,
        Self::AlreadyTight,
        Self::SoftPart,
        Self::MissingPart,
        Self::Gritty,
        Self::Stripping,
        Self::WrongClass,
        Self::Oiled,
    ];

    /// Whether a new fastener leaves it as it is: the hole or the parts are at fault.
    #[must_use]
    pub fn in_the_parts(self) -> bool {
        matches!(
            self,
            Self::Bottomed | Self::SoftPart | Self::MissingPart | Self::Stripping
        )
    }

    /// Its name on the command line.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::CrossThread => "cross-thread",
            Self::Bottomed => "bottomed",
            Self::AlreadyTight => "already-tight",
            Self::SoftPart => "soft-part",
            Self::MissingPart => "missing-part",
            Self::Gritty => "gritty",
            Self::Stripping => "stripping",
            Self::WrongClass => "wrong-class",
            Self::Oiled => "oiled",
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A fault that is not known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FaultError(String);

impl fmt::Display for FaultError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let names: Vec<&str> = Fault::ALL.into_iter().map(Fault::name).collect();
        write!(
            f,
            "fault `{}` is not known; allowed: {}",
            self.0,
            names.join(", ")
        )
    }
}

impl std::error::Error for FaultError {}

impl FromStr for Fault {
    type Err = FaultError;

    fn from_str(text: &str) -> Result<Self, FaultError> {
        Self::ALL
            .into_iter()
            .find(|fault| fault.name() == text.trim())
            .ok_or_else(|| FaultError(text.to_owned()))
    }
}
