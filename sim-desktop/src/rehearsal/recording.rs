//! Samples recorded elsewhere, made ready to be judged: their zero checked by the core's rules, and their sign.
//!
//! Every way in which recorded samples reach a session goes through here. Knows nothing of files and screens.

use std::fmt;

use evendraw_core::procedure::Hand;
use evendraw_core::sample::{BAND, Rest, Sample, rest};
use evendraw_core::unit::{Instant, Torque};

use crate::words;

/// Load below this is no pull, whichever way: 1 N·m.
const LOAD_LEAST: Torque = Torque::from_millinewton_meters(1_000);

/// Samples of one recording, positive clockwise, with what the tool stood off zero taken off.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recording {
    samples: Vec<(Instant, Sample)>,
    zero: Option<Torque>,
    is_zero_seen: bool,
}

/// Why a recording cannot be judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum RecordingError {
    /// At rest it stands too far from zero.
    Zero(Torque),
    /// It begins in the middle of a pull.
    Loaded(Torque),
    /// It pulls the other way throughout.
    WrongSign {
        /// Its greatest load.
        most: Torque,
        /// The joint's thread.
        hand: Hand,
        /// Whether the stage loosens.
        loosens: bool,
    },
}

impl RecordingError {
    /// What a zero record says of it: the zero that was refused.
    #[must_use]
    pub const fn refused_zero(&self) -> Option<Torque> {
        match *self {
            Self::Zero(torque) => Some(torque),
            Self::Loaded(_) | Self::WrongSign { .. } => None,
        }
    }
}

impl fmt::Display for RecordingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Zero(torque) => write!(
                f,
                "at rest before the pull it stands at {}; allowed: within {} of zero. Either the tool hung on a fastener, or its zero is \
                 wrong: record it again from the free, still tool, or take in the file what the tool is known to stand off",
                words::torque(torque),
                words::torque(BAND),
            ),
            Self::Loaded(torque) => write!(
                f,
                "it begins in the middle of a pull, at {}, so its zero cannot be checked; allowed: at least 0.05 s of the free, still \
                 tool before the pull",
                words::torque(torque),
            ),
            Self::WrongSign {
                most,
                hand,
                loosens,
            } => {
                let (thread, tightens) = match hand {
                    Hand::Right => ("right-handed", true),
                    Hand::Left => ("left-handed", false),
                };
                let wanted = if tightens == loosens {
                    "below zero (counter-clockwise)"
                } else {
                    "above zero (clockwise)"
                };
                let work = if loosens { "loosening" } else { "tightening" };
                write!(
                    f,
                    "its torque goes to {} and never the other way; allowed: torque and rotation positive clockwise, so {work} this \
                     {thread} thread lies {wanted}. Wrong sign: turn both columns round; wrong hand: look at `hand` in the plan",
                    words::torque(most),
                )
            }
        }
    }
}

impl std::error::Error for RecordingError {}

impl Recording {
    /// Takes the zero off.
    ///
    /// # Errors
    /// [`RecordingError::Zero`] and [`RecordingError::Loaded`], with the torque at its beginning.
    pub fn new(mut samples: Vec<(Instant, Sample)>) -> Result<Self, RecordingError> {
        let (zero, is_zero_seen) = match rest(&samples) {
            Rest::AtZero => (None, true),
            Rest::Off(torque) => (Some(torque), true),
            Rest::NotSeen => (None, false),
            Rest::Refused(torque) => return Err(RecordingError::Zero(torque)),
            Rest::Loaded(torque) => return Err(RecordingError::Loaded(torque)),
        };
        if let Some(zero) = zero {
            for (_, sample) in &mut samples {
                sample.torque = sample.torque - zero;
            }
        }
        Ok(Self {
            samples,
            zero,
            is_zero_seen,
        })
    }

    /// The samples, their zero taken off.
    #[must_use]
    pub fn samples(&self) -> &[(Instant, Sample)] {
        &self.samples
    }

    /// What was taken off every sample; none where it stood at zero, or where that could not be seen.
    #[must_use]
    pub const fn zero(&self) -> Option<Torque> {
        self.zero
    }

    /// What is to be told of its zero: what was taken off, or that it could not be checked.
    #[must_use]
    pub fn zero_words(&self) -> Option<String> {
        match self.zero {
            Some(zero) => Some(format!(
                "zero taken: at rest before the pull it stood at {}, which was taken off every sample",
                words::torque(zero)
            )),
            None if self.is_zero_seen => None,
            None => Some(
                "there is no rest of 0.05 s before the pull: its zero could not be checked"
                    .to_owned(),
            ),
        }
    }

    /// Whether it never pulls the way that it should.
    ///
    /// # Errors
    /// [`RecordingError::WrongSign`].
    pub fn pulls(&self, hand: Hand, loosens: bool) -> Result<(), RecordingError> {
        let torques = || self.samples.iter().map(|(_, sample)| sample.torque);
        let highest = torques().max().unwrap_or(Torque::ZERO);
        let lowest = torques().min().unwrap_or(Torque::ZERO);
        let is_up = (hand == Hand::Right) != loosens;
        let (with, most) = if is_up {
            (highest, lowest)
        } else {
            (-lowest, highest)
        };
        // A swing of the handle goes a little the other way in any pull.
        if most.abs() >= LOAD_LEAST && most.abs().scaled(1, 4) > with {
            return Err(RecordingError::WrongSign {
                most,
                hand,
                loosens,
            });
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limited::Limited as _;
    use crate::rehearsal::trace_file::sample;

    /// Half a second of rest, a pull of one second, and off again; 500 samples a second.
    fn recording(rest: f64, peak: f64) -> Result<Recording, RecordingError> {
        let samples = (0..1_000_u32).map(|index| {
            let at = Instant::from_micros(u64::from(index) * 2_000);
            let part = (f64::from(index) - 250.0).limited(0.0, 500.0) / 500.0;
            let part = if index > 800 { 0.0 } else { part };
            (at, sample(rest + peak * part, 60.0 * part))
        });
        Recording::new(samples.collect())
    }

    #[test]
    fn what_it_stands_off_is_taken_off_and_said() {
        let near = recording(1.5, 36.2).expect("near zero");
        assert_eq!(near.zero(), Some(sample(1.5, 0.0).torque));
        let peak = near.samples().iter().map(|(_, sample)| sample.torque).max();
        assert_eq!(peak, Some(sample(36.2, 0.0).torque));
        assert!(
            near.zero_words()
                .is_some_and(|words| words.contains("1.50 N·m"))
        );
        assert_eq!(
            recording(0.0, 40.0).map(|whole| whole.zero_words()),
            Ok(None)
        );
        let far = recording(4.0, 36.2).expect_err("too far");
        assert!(far.to_string().contains("stands at 4.00 N·m"), "{far}");
        assert_eq!(far.refused_zero(), Some(sample(4.0, 0.0).torque));
    }

    #[test]
    fn a_recording_that_pulls_the_other_way_is_told_from_one_that_loosens() {
        let down = recording(0.3, -40.0).expect("near zero");
        for (hand, loosens, fits) in [
            (Hand::Right, false, false),
            (Hand::Right, true, true),
            (Hand::Left, false, true),
            (Hand::Left, true, false),
        ] {
            let said = down.pulls(hand, loosens);
            assert_eq!(said.is_ok(), fits, "{hand:?}, loosens {loosens}: {said:?}");
        }
        let said = down
            .pulls(Hand::Right, false)
            .expect_err("the wrong way")
            .to_string();
        assert!(
            said.contains("-40.00 N·m") && said.contains("right-handed"),
            "{said}"
        );
    }
}
