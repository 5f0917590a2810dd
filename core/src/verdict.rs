//! Limits in, judgement out.
//!
//! Pure: the same [`Reading`] against the same [`Aim`] gives the same [`Judgement`], always. Knows nothing of time, order
//! or storage.
#![expect(
    clippy::as_conversions,
    reason = "a const function knows no `From`; what a cast may lose is linted apart"
)]

use serde::{Deserialize, Serialize};

use crate::advice::{GRAVEST_FIRST, Gravity};
use crate::procedure::{AngleWindow, TorqueWindow};
use crate::record::Added;
use crate::unit::{Angle, Span, Torque};
use crate::wire::{Decode, Decoder, wire};

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

wire!(enum Verdict, 3 {
    0 => Accepted,
    1 => Rejected,
    _ => Unknown,
});

/// Why an attempt was rejected or is unknown, or what was remarkable about an accepted one.
///
/// The thresholds are data of the procedure, fields of [`CurveLimits`](crate::curve_limits::CurveLimits); values in brackets are their defaults,
/// parts are of the attempt's target.
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
    /// Torque rose too steeply: bottomed, cross-threaded, a tight hole, or partly tight before.
    ///
    /// More than half of the way from snug to target risen, and steeper than `CurveLimits::gradient_max` with 1° to spare; or snug
    /// reached before `CurveLimits::run_down_min`. Both are off until given; a plan with thread and grip gives the first. *Our
    /// judgement, no source.* Left out where [`Self::NoTurn`] explains it.
    EarlyRise = 4,
    /// Torque rose too little for the angle: cross-threaded or stripping, or a soft, wrong or missing part.
    ///
    /// Flatter than `CurveLimits::gradient_min` beyond 10°; or turned by `CurveLimits::late` (720°) past snug with less than three quarters
    /// of the way risen; or more run-down than `CurveLimits::run_down_max`. *Our judgement, no source.* Left out where
    /// [`Self::Yielding`] or [`Self::GivingWay`] explains it.
    LateRise = 5,
    /// The gradient fell: the fastener yields, or its thread strips.
    ///
    /// Below `CurveLimits::yield_part` (40 %) of the steepest gradient of this pull, over chords of an eighth of the target. That a
    /// gradient falls at yield is *common practice, no source*; the part is *our judgement, no source*. Only where the stage aims
    /// at a torque: a turn may be meant to yield. Where what came before was as steep as `CurveLimits::train_softest` winds up by itself,
    /// a fastener that was partly tight looks the same until the train's stiffness is known, from the release: then it counts
    /// only if the fastener turned there by more than `CurveLimits::restart_turn`.
    Yielding = 6,
    /// Torque fell while turning: stripping or breaking.
    ///
    /// Fallen by `CurveLimits::drop_part` (20 %) of the target below its top while turned on by `CurveLimits::drop_turn` (4°); on letting go,
    /// by half of that, where a whole train would unwind. *Our judgement, no source.*
    GivingWay = 7,
    /// Torque came without turning: already tight, or seized.
    ///
    /// Three quarters of the way from snug to target risen (half of it where that is [`Self::EarlyRise`] as well) within `CurveLimits::turn_least` (1°), wind-up of the train taken off; so
    /// only once its stiffness is known. Or steep like
    /// [`Self::EarlyRise`] while the fastener turned by less than `CurveLimits::restart_turn`: tight up to there. *Our judgement, no source*: the hardest joint of the corpus takes 3°.
    NoTurn = 8,
    /// Saw-tooth: grit or stick-slip.
    ///
    /// `CurveLimits::teeth` (5) falls of `CurveLimits::tooth_part` (8 %) of the target in one pull, each within 40 ms, which no hand makes.
    /// *Our judgement, no source.*
    StickSlip = 9,
    /// Faster than the sample rate can judge.
    ///
    /// The torque may have been higher between two samples by more than `CurveLimits::jerk_part` (4 %) of the target; by how much is
    /// [`Reading::bound`]. Unknown where peak and bound pass the upper limit. *Our judgement, no source.*
    Jerk = 10,
    /// Samples were missing.
    ///
    /// Further apart under load than `CurveLimits::gap`: 100 ms, and four times the usual distance. *Our judgement, no source.*
    Gap = 11,
    /// The sensor repeated itself or stood at its end.
    ///
    /// Both sensors, which rippled before, repeat exactly for 50 ms; or one of them for 200 ms while the other moves on by 8° or
    /// a quarter of the target. A sensor that never rippled cannot be told from a stuck one. *Our judgement, no source.*
    Stuck = 12,
    /// Above what the tool or the fastener may bear.
    ///
    /// Above `CurveLimits::overload`, a spike of one sample left out. Off until given: tool's and fastener's makers say it.
    Overload = 13,
    /// Power or the measurement was lost in the middle; or several pulls where the stage asks for one sweep.
    Interrupted = 14,
    /// Loaded against the direction of the stage.
    ///
    /// Two samples in a row beyond `CurveLimits::wrong_part` (10 %) of the target the other way, once the attempt has begun. *Our
    /// judgement, no source.*
    WrongWay = 15,
    /// Not the fastener whose turn it was.
    OutOfOrder = 16,
    /// A turn that brought no torque: stripping or cross-threaded, a part that gives way, or a tool that slips.
    ///
    /// Over the 10° before `CurveLimits::turn_rise_after` (30°, at most three quarters of the turn) the torque is on average less than
    /// `CurveLimits::turn_rise_part` (10 %) above what the turn began at, or than `CurveLimits::turn_rise` asks, which a plan with thread and grip
    /// gives. Only a fastener's first turn, and only of 30° or more. *Our judgement, no source*: a sound joint of the corpus
    /// brings 80 % and more. Left out where [`Self::GivingWay`] explains it.
    NoRise = 17,
    /// The plan wants the running torque measured, none was seen on the way down, and nobody told it.
    ///
    /// The target applies on top of it, so nothing but too little can be told: the verdict is unknown until it is typed, or the
    /// fastener is loosened and run down again. Never taken for zero.
    RunningUnknown = 18,
}

impl Reason {
    /// Every reason, in the order of its number.
    pub const ALL: [Self; 19] = [
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
        Self::NoRise,
        Self::RunningUnknown,
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
            Self::NoRise => "no-rise",
            Self::RunningUnknown => "running-unknown",
        }
    }
}

/// A set of reasons.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(transparent)]
pub struct Reasons(u32);

impl Decode for Reasons {
    fn read(from: &mut Decoder<'_>) -> Self {
        Self(from.item())
    }
}

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

    /// The reasons, the gravest first.
    pub fn iter(self) -> impl Iterator<Item = Reason> {
        GRAVEST_FIRST
            .into_iter()
            .map(|(reason, _)| reason)
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

impl Aim {
    /// The aim with a running torque put on top of every torque in it.
    #[must_use]
    pub fn raised(self, by: Torque) -> Self {
        match self {
            Self::Torque { window } => Self::Torque {
                window: window.raised(by),
            },
            Self::Repeat { window, still } => Self::Repeat {
                window: window.raised(by),
                still,
            },
            Self::Turn {
                window,
                torque,
                one_sweep,
                left,
            } => Self::Turn {
                window,
                torque: torque.map(|torque| torque.raised(by)),
                one_sweep,
                left,
            },
            Self::Hold {
                torque,
                time,
                still,
            } => Self::Hold {
                torque: torque + by,
                time,
                still,
            },
            Self::BackOff { .. } => self,
        }
    }

    /// Whether a torque is among the limits, so that a running torque matters.
    #[must_use]
    pub const fn has_torque(&self) -> bool {
        !matches!(self, Self::BackOff { .. } | Self::Turn { torque: None, .. })
    }
}

/// What the tracker measured of one attempt.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// Pulls made.
    pub pulls: u8,
    /// Highest torque, spikes of one sample and what of it is noise left out.
    pub peak: Torque,
    /// How much higher the torque may have been between two samples.
    pub bound: Torque,
    /// Torque that stood when the hand began to let go.
    pub final_torque: Torque,
    /// Rotation of the fastener: since snug, or since the stage before for `turn`; `None` where it means nothing.
    pub angle: Option<Angle>,
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

/// Reasons that take away the certainty of what was measured.
const LOST: [Reason; 3] = [Reason::Gap, Reason::Stuck, Reason::Interrupted];

/// What the curve showed, without what only comes with a graver fault: a fastener that stands still looks too steep before it
/// is seen to stand still, and one that yields or gives way turns on without its torque rising.
fn explained(shape: Reasons) -> Reasons {
    let mut reasons = shape;
    if shape.contains(Reason::NoTurn) {
        reasons = reasons.without(Reason::EarlyRise);
    }
    if shape.contains(Reason::Yielding) || shape.contains(Reason::GivingWay) {
        reasons = reasons.without(Reason::LateRise);
    }
    if shape.contains(Reason::GivingWay) {
        reasons = reasons.without(Reason::NoRise);
    }
    reasons
}

/// Judges a reading against its aim, whose torques hold the running torque already.
///
/// The friction drag torque of a self-locking nut is added to the desired torque [FAA AC 43.13-1B 7-40]. Where the plan wants
/// that and nobody knows it, too low is certain, since it only raises the limits; too high is not.
///
/// A limit that was certainly passed rejects, even where the measurement was lost later; a loss alone makes it unknown. So
/// does a jerk, where the torque between two samples may have passed the upper limit.
#[must_use]
pub fn judge(aim: &Aim, reading: &Reading) -> Judgement {
    let mut reasons = explained(reading.shape);
    let mut over = false;
    let mut under = false;
    let mut angle_needed = false;
    let mut unsure = false;
    let is_known = !reading.shape.contains(Reason::RunningUnknown);
    match *aim {
        Aim::Torque { window } | Aim::Repeat { window, .. } => {
            unsure =
                reading.shape.contains(Reason::Jerk) && reading.peak + reading.bound > window.max;
            let high = is_known && reading.peak > window.max;
            over |= mark(&mut reasons, Reason::TorqueHigh, high);
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
                let high = is_known && reading.peak > torque.max;
                over |= mark(&mut reasons, Reason::TorqueHigh, high);
                under |= mark(
                    &mut reasons,
                    Reason::TorqueLow,
                    reading.final_torque < torque.min,
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
    // What speaks of harm or of a part that is not as it should be rejects whatever the numbers say.
    let harmed = reasons.reach(Gravity::Fault);
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
    } else if is_known {
        Verdict::Accepted
    } else {
        Verdict::Unknown
    };
    Judgement { verdict, reasons }
}

/// What a person read of an attempt, or what a setting stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Told {
    /// Highest torque; none where none is known.
    pub torque: Option<Torque>,
    /// Rotation; none where none is known.
    pub angle: Option<Angle>,
    /// It was seen to move.
    pub moved: bool,
}

/// Judges what a person told against its aim, by the limits of [`judge`]: there is no curve that could speak. `None` where what the
/// stage is about was not read: a torque, or the angle of a turn. The end torque of a turn is judged where it was read.
#[must_use]
pub(crate) fn judge_told(aim: &Aim, told: Told, added: Added) -> Option<Judgement> {
    let mut aim = *aim;
    let mut angle = told.angle;
    let mut held = Span::ZERO;
    match &mut aim {
        Aim::Torque { .. } | Aim::Repeat { .. } => {
            told.torque?;
        }
        Aim::Turn { torque, .. } => {
            told.angle?;
            if told.torque.is_none() {
                *torque = None;
            }
        }
        Aim::Hold { time, .. } => {
            told.torque?;
            // For how long, a person says by saying it at all.
            held = *time;
            angle = Some(if told.moved { Angle::MAX } else { Angle::ZERO });
        }
        Aim::BackOff { angle } => {
            (*angle)?;
            told.angle?;
        }
    }
    let torque = told.torque.unwrap_or(Torque::ZERO);
    let shape = if added == Added::Unknown && aim.has_torque() {
        Reasons::NONE.with(Reason::RunningUnknown)
    } else {
        Reasons::NONE
    };
    let reading = Reading {
        pulls: 1,
        peak: torque,
        final_torque: torque,
        angle,
        held,
        shape,
        ..Reading::default()
    };
    Some(judge(&aim, &reading))
}

fn mark(reasons: &mut Reasons, reason: Reason, found: bool) -> bool {
    if found {
        *reasons = reasons.with(reason);
    }
    found
}

#[cfg(test)]
mod tests;
