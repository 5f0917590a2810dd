//! What an attempt is for, in plain numbers: an [`Aim`] read once, when the attempt is armed.
//!
//! Knows nothing of samples.

use super::thresholds::Thresholds;
use crate::unit::{MAGNITUDE_MAX, Torque};
use crate::verdict::Aim;

/// What the hand sets out to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Nothing: the tracker is not armed.
    Idle,
    Torque,
    Repeat,
    Turn,
    Hold,
    /// Back by an angle.
    BackOff,
    /// Back until free.
    Free,
}

/// In mN·m, for a turn or a way back in millidegrees.
#[derive(Clone, Copy, Debug)]
pub(super) struct Goal {
    pub(super) kind: Kind,
    pub(super) one_sweep: bool,
    /// What tells a pull that was meant from one that was not.
    pub(super) least: i32,
    pub(super) min: i32,
    pub(super) max: i32,
    /// Where to let go.
    pub(super) let_go: i32,
    pub(super) target: i32,
    /// How long to hold, in µs.
    pub(super) time: u64,
}

impl Goal {
    pub(super) const NONE: Self = Self {
        kind: Kind::Idle,
        one_sweep: false,
        least: 0,
        min: 0,
        max: 0,
        let_go: 0,
        target: 0,
        time: 0,
    };

    pub(super) fn of(aim: &Aim) -> Self {
        match *aim {
            Aim::Torque { window } | Aim::Repeat { window, .. } => {
                let kind = match aim {
                    Aim::Torque { .. } => Kind::Torque,
                    _ => Kind::Repeat,
                };
                let [target, min, max] =
                    [window.target, window.min, window.max].map(Torque::millinewton_meters);
                Self {
                    // Where only a maximum is given, half the target tells a pull from a run-down.
                    least: if min > 0 { min } else { target >> 1 },
                    ..Self::to(kind, target, min, max)
                }
            }
            Aim::Turn {
                window, one_sweep, ..
            } => {
                let min = window.min.millidegrees();
                Self {
                    one_sweep,
                    least: min,
                    ..Self::to(
                        Kind::Turn,
                        window.target.millidegrees(),
                        min,
                        window.max.millidegrees(),
                    )
                }
            }
            Aim::Hold { time, .. } => Self {
                kind: Kind::Hold,
                time: time.micros(),
                ..Self::NONE
            },
            Aim::BackOff { angle: Some(angle) } => Self {
                kind: Kind::BackOff,
                least: angle.millidegrees(),
                ..Self::NONE
            },
            Aim::BackOff { angle: None } => Self {
                kind: Kind::Free,
                ..Self::NONE
            },
        }
    }

    /// With this much more running torque put on top of a torque that is aimed at.
    pub(super) const fn raised(self, by: i32) -> Self {
        match self.kind {
            Kind::Torque | Kind::Repeat => Self {
                least: self.least.saturating_add(by),
                // A side that is open stays open.
                min: if self.min > 0 {
                    self.min.saturating_add(by)
                } else {
                    self.min
                },
                max: self.max.saturating_add(by),
                let_go: self.let_go.saturating_add(by),
                target: self.target.saturating_add(by),
                ..self
            },
            _ => self,
        }
    }

    fn to(kind: Kind, target: i32, min: i32, max: i32) -> Self {
        Self {
            kind,
            min,
            max,
            let_go: let_go_at(target, min, max),
            target,
            ..Self::NONE
        }
    }

    /// Whether the stage loosens.
    pub(super) const fn is_reverse(&self) -> bool {
        matches!(self.kind, Kind::BackOff | Kind::Free)
    }

    /// How long an attempt may be left alone, in µs. A torque is begun again with nothing lost; an angle that is part-way
    /// keeps its count for as long as it takes, since only the rest of it may be added.
    pub(super) const fn idle(&self, thresholds: &Thresholds) -> Option<u64> {
        match self.kind {
            Kind::Turn => None,
            _ => Some(thresholds.idle),
        }
    }
}

/// Where to let go: at the target, but not within a quarter of the window from either of its limits, where both are given.
/// A window of 90 to 94° with its target at 90° is so met in its middle.
fn let_go_at(target: i32, min: i32, max: i32) -> i32 {
    if min <= 0 || max >= MAGNITUDE_MAX {
        return target;
    }
    let quarter = max.wrapping_sub(min).wrapping_shr(2);
    target
        .max(min.wrapping_add(quarter))
        .min(max.wrapping_sub(quarter))
}

#[cfg(test)]
mod tests;
