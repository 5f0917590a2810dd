//! How fast torque and angle grow, and whether the target is one reaction time away.
//!
//! Marks are set every 25 ms or more; the rate is taken over the last three to four of them and put to the target by
//! cross-multiplying. Shorter, and the sensor's noise would pass for speed; longer, and a hand that has slowed down would
//! still be taken for fast. Knows nothing of verdicts.

use super::Seen;
use super::thresholds::Thresholds;
use crate::unit::Instant;

const MARKS: usize = 4;
const EVERY_MICROS: u64 = 25_000;
/// How many reaction times ahead the approach is cued: one to hear it, one and a half to go on more slowly.
const APPROACH_HALVES: u64 = 5;

/// The last few marks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    marks: [(Instant, i32, i32); MARKS],
    filled: u8,
    approached: Option<Instant>,
}

impl Pace {
    pub(super) const NEW: Self = Self {
        marks: [(Instant::BOOT, 0, 0); MARKS],
        filled: 0,
        approached: None,
    };

    pub(super) fn restart(&mut self) {
        self.filled = 0;
        self.approached = None;
    }

    /// The approach was cued; only the first time in a pull counts.
    pub(super) fn approach(&mut self, at: Instant) {
        self.approached.get_or_insert(at);
    }

    /// How far ahead letting go is cued. Who was told to slow down a moment ago is about to, and the present rate will not
    /// last: until one and a half reaction times have passed, half the lead does.
    fn lead(&self, at: Instant, thresholds: &Thresholds) -> u64 {
        let slowing = self.approached.is_some_and(|cued| {
            at.since(cued).micros() < thresholds.reaction.wrapping_mul(3).wrapping_shr(1)
        });
        if slowing {
            thresholds.reaction.wrapping_shr(1)
        } else {
            thresholds.reaction
        }
    }

    /// Takes a sample; true when a mark was set.
    pub(super) fn push(&mut self, seen: Seen) -> bool {
        let [_, second, third, newest] = self.marks;
        if self.filled > 0 && seen.at.since(newest.0).micros() < EVERY_MICROS {
            return false;
        }
        self.marks = [second, third, newest, (seen.at, seen.torque, seen.rotation)];
        self.filled = self.filled.saturating_add(1);
        true
    }

    /// The oldest mark, once there are enough.
    fn oldest(&self) -> Option<(Instant, i32, i32)> {
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

    /// Whether somebody who hears it now will stop at `target`: it is one reaction time away at the present rate.
    pub(super) fn reaches_torque(&self, seen: Seen, target: i32, thresholds: &Thresholds) -> bool {
        let Some((at, torque, _)) = self.oldest() else {
            return false;
        };
        let left = i64::from(target.wrapping_sub(seen.torque));
        let risen = i64::from(seen.torque.wrapping_sub(torque));
        ahead(left, risen, seen.at.since(at).micros(), thresholds.reaction)
    }

    /// Whether it is time to slow down for `target`. With the joint's gradient known, a rise that is still to come counts at
    /// the present speed of turning.
    pub(super) fn nears_torque(&self, seen: Seen, target: i32, thresholds: &Thresholds) -> bool {
        let Some((at, torque, rotation)) = self.oldest() else {
            return false;
        };
        let left = i64::from(target.wrapping_sub(seen.torque));
        let passed = seen.at.since(at).micros();
        let risen = i64::from(seen.torque.wrapping_sub(torque));
        let turned = i64::from(seen.rotation.wrapping_sub(rotation));
        let lead = approach(thresholds);
        if ahead(left, risen, passed, lead) {
            return true;
        }
        let due = turned.wrapping_mul(thresholds.gradient_min);
        seen.torque >= thresholds.snug
            && due > 0
            && ahead(left.wrapping_mul(1_000), due, passed, lead)
    }

    /// Whether somebody who hears it now will stop with `left` more millidegrees turned.
    pub(super) fn reaches_angle(&self, seen: Seen, left: i64, thresholds: &Thresholds) -> bool {
        self.turns(seen, left, self.lead(seen.at, thresholds))
    }

    /// Whether it is time to slow down with `left` more millidegrees to turn.
    pub(super) fn nears_angle(&self, seen: Seen, left: i64, thresholds: &Thresholds) -> bool {
        self.turns(seen, left, approach(thresholds))
    }

    fn turns(&self, seen: Seen, left: i64, within: u64) -> bool {
        let Some((at, _, rotation)) = self.oldest() else {
            return false;
        };
        let turned = i64::from(seen.rotation.wrapping_sub(rotation));
        ahead(left, turned, seen.at.since(at).micros(), within)
    }
}

fn approach(thresholds: &Thresholds) -> u64 {
    thresholds
        .reaction
        .wrapping_mul(APPROACH_HALVES)
        .wrapping_shr(1)
}

/// Whether growing by `grown` in `passed` makes up `left` within `reaction`; growth too slow to be pulling does not count.
fn ahead(left: i64, grown: i64, passed: u64, reaction: u64) -> bool {
    let passed = i64::try_from(passed).unwrap_or(i64::MAX).min(10_000_000);
    let reaction = i64::try_from(reaction).unwrap_or(0);
    grown > 0 && left.saturating_mul(passed) <= grown.saturating_mul(reaction)
}
