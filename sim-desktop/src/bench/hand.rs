//! Three hands: how fast they pull, how they slow down, how late they react.
//!
//! The numbers are chosen to look like people, not measured: common practice, no source. Simple visual or vibration reaction times of
//! 0.2 to 0.3 s are general knowledge, from memory.
//!
//! Knows nothing of joints.

use super::Rng;
use std::fmt;
use std::str::FromStr;

/// Which hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum HandKind {
    /// Takes its time and slows before the target.
    #[default]
    Steady,
    /// Wants to be finished.
    Hurried,
    /// Pulls in bursts.
    Jerky,
}

/// A hand that is not known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandError(String);

impl fmt::Display for HandError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "hand `{}` is not known; allowed: steady, hurried, jerky",
            self.0
        )
    }
}

impl std::error::Error for HandError {}

impl FromStr for HandKind {
    type Err = HandError;

    fn from_str(text: &str) -> Result<Self, HandError> {
        match text.trim() {
            "steady" => Ok(Self::Steady),
            "hurried" => Ok(Self::Hurried),
            "jerky" => Ok(Self::Jerky),
            other => Err(HandError(other.to_owned())),
        }
    }
}

impl fmt::Display for HandKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Steady => "steady",
            Self::Hurried => "hurried",
            Self::Jerky => "jerky",
        })
    }
}

/// A hand in numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hand {
    /// Which.
    pub kind: HandKind,
    /// Mean reaction time to a cue, s.
    pub reaction_s: f64,
    /// Standard deviation of the reaction time, s.
    pub reaction_spread_s: f64,
    /// Fastest turning of the handle under load, degrees a second.
    pub turning_deg_per_s: f64,
    /// Fastest rise of the pull, as a fraction of the target a second.
    pub rise_per_s: f64,
    /// What is left of the speed after the approach cue.
    pub slow: f64,
    /// Unevenness of the speed, standard deviation as a fraction.
    pub tremor: f64,
    /// Bursts a second; each triples the speed for 80 ms.
    pub bursts_per_s: f64,
    /// From letting go to gripping again, s.
    pub regrip_s: f64,
    /// From one fastener to the next, s.
    pub move_s: f64,
}

impl Hand {
    /// The numbers of a kind.
    #[must_use]
    pub fn of(kind: HandKind) -> Self {
        match kind {
            HandKind::Steady => Self {
                kind,
                reaction_s: 0.20,
                reaction_spread_s: 0.02,
                turning_deg_per_s: 30.0,
                rise_per_s: 0.40,
                slow: 0.25,
                tremor: 0.10,
                bursts_per_s: 0.0,
                regrip_s: 0.9,
                move_s: 5.0,
            },
            HandKind::Hurried => Self {
                kind,
                reaction_s: 0.25,
                reaction_spread_s: 0.04,
                turning_deg_per_s: 60.0,
                rise_per_s: 0.90,
                slow: 0.40,
                tremor: 0.20,
                bursts_per_s: 0.0,
                regrip_s: 0.5,
                move_s: 2.5,
            },
            HandKind::Jerky => Self {
                kind,
                reaction_s: 0.28,
                reaction_spread_s: 0.06,
                turning_deg_per_s: 70.0,
                rise_per_s: 1.0,
                slow: 0.60,
                tremor: 0.35,
                bursts_per_s: 1.5,
                regrip_s: 0.6,
                move_s: 3.5,
            },
        }
    }

    /// Reaction time to one cue, s.
    pub(super) fn react(&self, rng: &mut Rng) -> f64 {
        rng.about(self.reaction_s, self.reaction_spread_s).max(0.08)
    }
}
