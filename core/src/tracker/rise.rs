//! Rise of torque over fastener angle past snug: too steep, too flat, too long, or none at all; and that of a turn.
//!
//! Knows nothing of time.
//!
//! What its numbers should be no standard says: *our judgement, no source*, held by the matrix of faults
//! (`tests/tests/judging/JUDGING.md`).
#![expect(
    clippy::as_conversions,
    reason = "a const function knows no `From`; what a cast may lose is linted apart"
)]

use super::thresholds::{TURN_RISE_OVER, Thresholds};
use crate::unit::ratio;

/// What may be off in the angle before a rise is too steep, 1°, and too flat, 10°: settling of parts, in millidegrees.
const EARLY_SLACK: i64 = 1_000;
const LATE_SLACK: i64 = 10_000;

/// How far the fastener turned past snug, in millidegrees: what is certain, what is possible, and whether both are one because
/// the wind-up is known.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turned {
    pub(super) least: i64,
    pub(super) most: i64,
    pub(super) exact: bool,
}

/// What the rise says.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Rise {
    pub(super) no_turn: bool,
    pub(super) early: bool,
    pub(super) late: bool,
}

/// Whether the highest torque so far can make a difference to [`rise`].
pub(super) const fn asks_for_the_top(thresholds: &Thresholds, turned: Turned) -> bool {
    thresholds.gradient_min > 0 && turned.least > LATE_SLACK
        || thresholds.late > 0 && turned.least > thresholds.late as i64
}

/// The rise up to `torque`, in mN·m; `top` is the highest torque so far.
pub(super) fn rise(thresholds: &Thresholds, torque: i32, top: i32, turned: Turned) -> Rise {
    let base = thresholds.snug.max(thresholds.still_below);
    let span = thresholds.target.wrapping_sub(base);
    // A pass that adds little says little.
    if span < thresholds.target >> 2 {
        return Rise::default();
    }
    let risen = i64::from(torque.wrapping_sub(base));
    let risen_most = i64::from(top.max(torque).wrapping_sub(base));
    let half = i64::from(span >> 1);
    let most_of_it = half.wrapping_add(half >> 1);
    // A fastener that is tight already stands still up to there: no rise of its own can be seen.
    let own = thresholds.snug > thresholds.still_below;
    // N·m per degree cross-multiplied: mN·m × millidegrees per degree against mN·m per degree × millidegrees.
    let steep = thresholds.gradient_max > 0
        && own
        && risen > half
        && risen.wrapping_mul(1_000)
            > thresholds
                .gradient_max
                .wrapping_mul(turned.most.saturating_add(EARLY_SLACK));
    let flat = thresholds.gradient_min > 0
        && turned.least > LATE_SLACK
        && risen_most.wrapping_mul(1_000)
            < thresholds
                .gradient_min
                .wrapping_mul(turned.least.wrapping_sub(LATE_SLACK));
    let long =
        thresholds.late > 0 && turned.least > i64::from(thresholds.late) && risen_most < most_of_it;
    // Steeper than the joint can be, half of the way is enough to tell that it did not turn at all.
    let enough = if steep { half } else { most_of_it };
    let fixed =
        turned.exact && own && risen > enough && turned.most < i64::from(thresholds.turn_least);
    Rise {
        no_turn: fixed,
        early: steep && !fixed,
        late: flat || long,
    }
}

/// What a turn holds on average just before it is held to its rise: neither the first start, which takes more than going on, nor the
/// noise of a single sample counts.
#[derive(Clone, Copy, Debug)]
pub(super) struct TurnRise {
    sum: i64,
    count: u16,
    /// Highest torque of the turn so far: what lies far below it belongs to letting go.
    top: i32,
}

impl TurnRise {
    pub(super) const NEW: Self = Self {
        sum: 0,
        count: 0,
        top: 0,
    };

    /// Takes what the fastener surely turned, in millidegrees; says whether the torque rose once that can be said.
    pub(super) fn push(
        &mut self,
        torque: i32,
        turned: i64,
        thresholds: &Thresholds,
    ) -> Option<bool> {
        let after = i64::from(thresholds.turn_rise_after);
        self.top = self.top.max(torque);
        let on_top = torque >= self.top.wrapping_sub(self.top >> 3);
        if !on_top || turned < after.wrapping_sub(i64::from(TURN_RISE_OVER)) {
            return None;
        }
        if turned < after {
            self.sum = self.sum.saturating_add(i64::from(torque));
            self.count = self.count.saturating_add(1);
            return None;
        }
        let mean = if self.count == 0 {
            torque
        } else {
            let mean = ratio(self.sum, u64::from(self.count));
            i32::try_from(mean).unwrap_or(torque)
        };
        Some(mean >= thresholds.turn_rise_to)
    }
}

#[cfg(test)]
mod tests;
