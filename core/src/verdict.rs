//! Limits in, judgement out.
//!
//! Pure: the same [`Reading`] against the same [`Aim`] gives the same [`Judgement`], always. Knows nothing of time, order
//! or storage.

use serde::{Deserialize, Serialize};

use crate::procedure::{AngleWindow, TorqueWindow};
use crate::unit::{Angle, Span, Torque};

/// What an attempt was found to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Verdict {
    /// Inside every limit.
    Accepted,
    /// Outside a limit, or the curve spoke of harm: see the reasons.
    Rejected,
    /// Cannot be known: the measurement was interrupted or lost.
    Unknown,
}

/// Why an attempt was rejected or is unknown, or what was remarkable about an accepted one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Reason {
    /// Peak torque below the window.
    TorqueLow = 0,
    /// Peak torque above the window.
    TorqueHigh = 1,
    /// Angle below the window.
    AngleLow = 2,
    /// Angle above the window; on a hold or re-check, more movement than counts as still.
    AngleHigh = 3,
    /// Torque rose too early: cross-threaded, bottomed, tight hole.
    EarlyRise = 4,
    /// Torque rose too late: soft or missing part.
    LateRise = 5,
    /// The gradient fell: the fastener yields.
    Yielding = 6,
    /// Torque fell while turning: stripping or breaking.
    GivingWay = 7,
    /// Torque came without turning: already tight or seized.
    NoTurn = 8,
    /// Saw-tooth: grit or stick-slip.
    StickSlip = 9,
    /// Faster than the sample rate can judge.
    Jerk = 10,
    /// Samples were missing.
    Gap = 11,
    /// The sensor repeated itself or stood at its end.
    Stuck = 12,
    /// Above what the tool or the fastener may bear.
    Overload = 13,
    /// Power or the measurement was lost in the middle; or several pulls where the stage asks for one sweep.
    Interrupted = 14,
    /// Loaded against the direction of the stage.
    WrongWay = 15,
    /// Not the fastener whose turn it was.
    OutOfOrder = 16,
}

impl Reason {
    /// Every reason, in the order of its number.
    pub const ALL: [Self; 17] = [
        Self::TorqueLow,
        Self::TorqueHigh,
        Self::AngleLow,
        Self::AngleHigh,
        Self::EarlyRise,
        Self::LateRise,
        Self::Yielding,
        Self::GivingWay,
        Self::NoTurn,
        Self::StickSlip,
        Self::Jerk,
        Self::Gap,
        Self::Stuck,
        Self::Overload,
        Self::Interrupted,
        Self::WrongWay,
        Self::OutOfOrder,
    ];

    /// The word that files and scripts use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::TorqueLow => "torque-low",
            Self::TorqueHigh => "torque-high",
            Self::AngleLow => "angle-low",
            Self::AngleHigh => "angle-high",
            Self::EarlyRise => "early-rise",
            Self::LateRise => "late-rise",
            Self::Yielding => "yielding",
            Self::GivingWay => "giving-way",
            Self::NoTurn => "no-turn",
            Self::StickSlip => "stick-slip",
            Self::Jerk => "jerk",
            Self::Gap => "gap",
            Self::Stuck => "stuck",
            Self::Overload => "overload",
            Self::Interrupted => "interrupted",
            Self::WrongWay => "wrong-way",
            Self::OutOfOrder => "out-of-order",
        }
    }
}

/// A set of reasons.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(transparent)]
pub struct Reasons(u32);

impl Reasons {
    /// No reason.
    pub const NONE: Self = Self(0);

    /// The set with one more reason.
    #[must_use]
    pub const fn with(self, reason: Reason) -> Self {
        Self(self.0 | bit(reason))
    }

    /// The set without that reason.
    #[must_use]
    pub const fn without(self, reason: Reason) -> Self {
        Self(self.0 & !bit(reason))
    }

    /// Both sets together.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether the reason is in the set.
    #[must_use]
    pub const fn contains(self, reason: Reason) -> bool {
        self.0 & bit(reason) != 0
    }

    /// Whether the set is empty.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The reasons in the order of their numbers.
    pub fn iter(self) -> impl Iterator<Item = Reason> {
        Reason::ALL
            .into_iter()
            .filter(move |&reason| self.contains(reason))
    }
}

const fn bit(reason: Reason) -> u32 {
    1_u32.wrapping_shl(reason as u32)
}

/// What an attempt has to reach: the stage's limits, with this fastener's own target and its running torque put in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// Bring the torque into the window.
    Torque {
        /// The window, running torque included.
        window: TorqueWindow,
    },
    /// Turn by an angle from where the stage before ended.
    Turn {
        /// The window of the angle.
        window: AngleWindow,
        /// Where the end torque must lie.
        torque: Option<TorqueWindow>,
        /// Whether one pull must do.
        one_sweep: bool,
        /// What is left of a limit on the sum of all angles.
        left: Option<Angle>,
    },
    /// Pull again at the torque of the pass before: did it move?
    Repeat {
        /// The window.
        window: TorqueWindow,
        /// Movement up to here counts as none.
        still: Angle,
    },
    /// Keep the torque for a time; nothing may move.
    Hold {
        /// The torque to keep.
        torque: Torque,
        /// For how long.
        time: Span,
        /// Movement up to here counts as none.
        still: Angle,
    },
    /// Turn back by an angle, or until free.
    BackOff {
        /// How far back, positive; `None` until free.
        angle: Option<Angle>,
    },
}

/// What the tracker measured of one attempt.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// Pulls made.
    pub pulls: u8,
    /// Highest torque, spikes of one sample left out.
    pub peak: Torque,
    /// How much higher the torque may have been between two samples.
    pub bound: Torque,
    /// Torque that stood when the hand began to let go.
    pub settled: Torque,
    /// Rotation of the fastener: since snug, or since the stage before for `turn`; `None` where it means nothing.
    pub angle: Option<Angle>,
    /// Running torque measured before the head seated.
    pub prevailing: Option<Torque>,
    /// Torque at which the fastener began to move again.
    pub restart: Option<Torque>,
    /// For how long the torque was kept, for a hold.
    pub held: Span,
    /// Stiffness of the tool train, given or measured, in mN·m per degree.
    pub train: Option<u32>,
    /// What the curve showed.
    pub shape: Reasons,
}

/// The outcome of judging.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// Its reasons.
    pub reasons: Reasons,
}

/// Reasons that speak of harm or of a part that is not as it should be: they reject whatever the numbers say.
const HARM: [Reason; 8] = [
    Reason::EarlyRise,
    Reason::LateRise,
    Reason::Yielding,
    Reason::GivingWay,
    Reason::NoTurn,
    Reason::StickSlip,
    Reason::Overload,
    Reason::WrongWay,
];

/// Reasons that take away the certainty of what was measured.
const LOST: [Reason; 3] = [Reason::Gap, Reason::Stuck, Reason::Interrupted];

/// Judges a reading against its aim.
///
/// A limit that was certainly passed rejects, even where the measurement was lost later; a loss alone makes it unknown. So
/// does a jerk, where the torque between two samples may have passed the upper limit.
#[must_use]
pub fn judge(aim: &Aim, reading: &Reading) -> Judgement {
    let mut reasons = reading.shape;
    let mut over = false;
    let mut under = false;
    let mut angle_needed = false;
    let mut unsure = false;
    match *aim {
        Aim::Torque { window } | Aim::Repeat { window, .. } => {
            let window = window.raised(reading.prevailing.unwrap_or(Torque::ZERO));
            unsure =
                reading.shape.contains(Reason::Jerk) && reading.peak + reading.bound > window.max;
            over |= mark(&mut reasons, Reason::TorqueHigh, reading.peak > window.max);
            under |= mark(&mut reasons, Reason::TorqueLow, reading.peak < window.min);
        }
        Aim::Turn {
            window,
            torque,
            one_sweep: _,
            left,
        } => {
            angle_needed = true;
            if let Some(angle) = reading.angle {
                let max = left.map_or(window.max, |left| left.min(window.max));
                over |= mark(&mut reasons, Reason::AngleHigh, angle > max);
                under |= mark(&mut reasons, Reason::AngleLow, angle < window.min);
            }
            if let Some(torque) = torque {
                unsure = reading.shape.contains(Reason::Jerk)
                    && reading.peak + reading.bound > torque.max;
                over |= mark(&mut reasons, Reason::TorqueHigh, reading.peak > torque.max);
                under |= mark(
                    &mut reasons,
                    Reason::TorqueLow,
                    reading.settled < torque.min,
                );
            }
        }
        Aim::Hold {
            torque,
            time,
            still,
        } => {
            angle_needed = true;
            let kept = reading.peak >= torque && reading.held >= time;
            under |= mark(&mut reasons, Reason::TorqueLow, !kept);
            let moved = reading.angle.is_some_and(|angle| angle > still);
            over |= mark(&mut reasons, Reason::AngleHigh, moved);
        }
        Aim::BackOff { angle } => {
            if let (Some(least), Some(angle)) = (angle, reading.angle) {
                under |= mark(&mut reasons, Reason::AngleLow, angle < least);
            }
        }
    }
    let harmed = HARM.into_iter().any(|reason| reasons.contains(reason));
    let lost = LOST
        .into_iter()
        .any(|reason| reading.shape.contains(reason));
    let several = matches!(
        aim,
        Aim::Turn {
            one_sweep: true,
            ..
        }
    ) && reading.pulls > 1;
    let verdict = if over || harmed {
        Verdict::Rejected
    } else if angle_needed && reading.angle.is_none() || lost && !several || unsure {
        Verdict::Unknown
    } else if under || lost {
        Verdict::Rejected
    } else {
        Verdict::Accepted
    };
    Judgement { verdict, reasons }
}

fn mark(reasons: &mut Reasons, reason: Reason, found: bool) -> bool {
    if found {
        *reasons = reasons.with(reason);
    }
    found
}
