//! How fast torque and angle grow, and whether the target is one reaction time away.
//!
//! Marks are set every 25 ms or more; the rate is taken over the last three to four of them and put to the target by
//! cross-multiplying. Shorter, and the sensor's noise would pass for speed; longer, and a hand that has slowed down would
//! still be taken for fast. Knows nothing of verdicts.
//!
//! What its numbers should be no standard says: *our judgement, no source*, held by the matrix of faults
//! (`tests/tests/judging/JUDGING.md`).

use super::Seen;
use super::thresholds::Thresholds;

const MARKS: usize = 4;
/// 25.6 ms.
const EVERY_TICKS: u32 = 25;
/// How many reaction times ahead the approach is cued: one to hear it, one and a half to go on more slowly.
const APPROACH_HALVES: u32 = 5;

/// A rise that brings the target within this time, two seconds, is a hand on its way; a slower one has stopped. *Our judgement.*
const ON_ITS_WAY_TICKS: i64 = 2_000;

/// The last few marks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    marks: [(u32, i32, i32); MARKS],
    filled: u8,
    approached: Option<u32>,
}

impl Pace {
    pub(super) const NEW: Self = Self {
        marks: [(0, 0, 0); MARKS],
        filled: 0,
        approached: None,
    };

    pub(super) fn restart(&mut self) {
        self.filled = 0;
        self.approached = None;
    }

    /// The approach was cued; only the first time in a pull counts.
    pub(super) fn approach(&mut self, at: u32) {
        self.approached.get_or_insert(at);
    }

    /// How far ahead letting go is cued. Who was told to slow down a moment ago is about to, and the present rate will not
    /// last: until one and a half reaction times have passed, half the lead does.
    fn lead(&self, at: u32, thresholds: &Thresholds) -> u32 {
        let slowing = self.approached.is_some_and(|cued| {
            at.wrapping_sub(cued) < thresholds.reaction.wrapping_mul(3).wrapping_shr(1)
        });
        if slowing {
            thresholds.reaction.wrapping_shr(1)
        } else {
            thresholds.reaction
        }
    }

    /// Takes a sample; true when a mark was set.
    pub(super) fn push(&mut self, seen: Seen) -> bool {
        let newest = &self.marks[MARKS - 1];
        if self.filled > 0 && seen.ticks.wrapping_sub(newest.0) < EVERY_TICKS {
            return false;
        }
        let [_, second, third, newest] = self.marks;
        self.marks = [
            second,
            third,
            newest,
            (seen.ticks, seen.torque, seen.rotation),
        ];
        self.filled = self.filled.saturating_add(1);
        true
    }

    /// The oldest mark, once there are enough.
    fn oldest(&self) -> Option<(u32, i32, i32)> {
        let [oldest, second, ..] = self.marks;
        match self.filled {
            0..=2 => None,
            3 => Some(second),
            _ => Some(oldest),
        }
    }

    /// Whether the torque has hardly changed since the oldest mark.
    pub(super) fn is_level(&self, seen: Seen, thresholds: &Thresholds) -> bool {
        self.filled >= 4
            && self.oldest().is_some_and(|(_, torque, _)| {
                seen.torque.abs_diff(torque) <= thresholds.plateau.unsigned_abs()
            })
    }

    /// Whether the hand has come to rest short of `target`: the torque hardly changes, and does not rise to it slowly either.
    pub(super) fn has_stopped(&self, seen: Seen, target: i32, thresholds: &Thresholds) -> bool {
        self.is_level(seen, thresholds)
            && self.oldest().is_some_and(|(at, torque, _)| {
                let left = i64::from(target.wrapping_sub(seen.torque));
                let risen = i64::from(seen.torque.wrapping_sub(torque));
                let passed = i64::from(seen.ticks.wrapping_sub(at).min(10_000));
                left.wrapping_mul(passed) > risen.wrapping_mul(ON_ITS_WAY_TICKS)
            })
    }

    /// Whether somebody who hears it now will stop at `target`: it is one reaction time away at the present rate.
    pub(super) fn reaches_torque(&self, seen: Seen, target: i32, thresholds: &Thresholds) -> bool {
        let Some((at, torque, _)) = self.oldest() else {
            return false;
        };
        let left = i64::from(target.wrapping_sub(seen.torque));
        let risen = i64::from(seen.torque.wrapping_sub(torque));
        ahead(
            left,
            risen,
            seen.ticks.wrapping_sub(at),
            thresholds.reaction,
        )
    }

    /// Whether it is time to slow down for `target`. With the joint's gradient known, a rise that is still to come counts at
    /// the present speed of turning.
    pub(super) fn nears_torque(&self, seen: Seen, target: i32, thresholds: &Thresholds) -> bool {
        let Some((at, torque, rotation)) = self.oldest() else {
            return false;
        };
        let left = i64::from(target.wrapping_sub(seen.torque));
        let passed = seen.ticks.wrapping_sub(at);
        let risen = i64::from(seen.torque.wrapping_sub(torque));
        let turned = i64::from(seen.rotation.wrapping_sub(rotation));
        let lead = approach(thresholds);
        if ahead(left, risen, passed, lead) {
            return true;
        }
        // Nearly a thousandth; far more than a hand can do stays bounded.
        let due = (turned.wrapping_mul(thresholds.gradient_min) >> 10).min(i64::from(i32::MAX));
        seen.torque >= thresholds.snug && ahead(left, due, passed, lead)
    }

    /// Whether somebody who hears it now will stop with `left` more millidegrees turned.
    pub(super) fn reaches_angle(&self, seen: Seen, left: i64, thresholds: &Thresholds) -> bool {
        self.turns(seen, left, self.lead(seen.ticks, thresholds))
    }

    /// Whether it is time to slow down with `left` more millidegrees to turn.
    pub(super) fn nears_angle(&self, seen: Seen, left: i64, thresholds: &Thresholds) -> bool {
        self.turns(seen, left, approach(thresholds))
    }

    fn turns(&self, seen: Seen, left: i64, within: u32) -> bool {
        let Some((at, _, rotation)) = self.oldest() else {
            return false;
        };
        let turned = i64::from(seen.rotation.wrapping_sub(rotation));
        ahead(left, turned, seen.ticks.wrapping_sub(at), within)
    }
}

fn approach(thresholds: &Thresholds) -> u32 {
    thresholds
        .reaction
        .wrapping_mul(APPROACH_HALVES)
        .wrapping_shr(1)
}

/// Whether growing by `grown` in `passed` makes up `left` within `reaction`; growth too slow to be pulling does not count.
fn ahead(left: i64, grown: i64, passed: u32, reaction: u32) -> bool {
    // Less than 2³² times less than 2¹⁴.
    let (passed, reaction) = (i64::from(passed.min(10_000)), i64::from(reaction));
    grown > 0 && left.wrapping_mul(passed) <= grown.wrapping_mul(reaction)
}

#[cfg(test)]
mod tests;
