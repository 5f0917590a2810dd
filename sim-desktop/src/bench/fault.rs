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

/// Whether torque and angle tell a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Seen {
    /// In every joint.
    Always,
    /// Where the plan gives thread and grip, so that the rise to be expected is known.
    WithGrip,
    /// Only where the target lies beyond what the fastener bears.
    Beyond,
    /// Not by itself, short of yield: only beside like fasteners, which take more turning or less torque.
    BesidePeers,
}

impl Seen {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Always => "torque and angle tell it",
            Self::WithGrip => {
                "torque and angle tell it where the plan gives thread and grip: without them a rise can be neither early nor late, and only beside at least three like fasteners does it stand out"
            }
            Self::Beyond => {
                "torque and angle tell it only where the target is beyond its yield; it clamps as much below"
            }
            Self::BesidePeers => {
                "one curve cannot tell it short of yield, as less friction looks like a joint that is a little softer; beside at least three like fasteners it has turned farther to the same torque, or ended its angle at less"
            }
        }
    }
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

    /// Whether the judge sees it in torque and angle.
    #[must_use]
    pub fn seen(self) -> Seen {
        match self {
            Self::AlreadyTight | Self::Gritty | Self::Stripping => Seen::Always,
            Self::CrossThread | Self::Bottomed | Self::SoftPart | Self::MissingPart => {
                Seen::WithGrip
            }
            Self::WrongClass => Seen::Beyond,
            Self::Oiled => Seen::BesidePeers,
        }
    }

    /// What would tell it besides the curve.
    #[must_use]
    pub fn telling(self) -> &'static str {
        match self {
            Self::CrossThread => "starting each by hand and counting its turns",
            Self::Bottomed => {
                "counting the turns by hand, a look under the head, the depth of the hole against the screw"
            }
            Self::AlreadyTight => "trying each by hand before the first pass",
            Self::SoftPart => "a straight edge over the parts, the thickness of the shim",
            Self::MissingPart => "counting the parts out, counting the turns by hand",
            Self::Gritty => "cleaning threads and running each in by hand",
            Self::Stripping => "a thread gauge, the length of engagement",
            Self::WrongClass => "the mark on the head",
            Self::Oiled => {
                "looking at the threads, the stretch of the bolt, an ultrasonic or washer load cell"
            }
        }
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
