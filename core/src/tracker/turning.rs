//! Rotation of the fastener over several pulls.
//!
//! The train winds up like a spring. While the fastener stands still, at the start of a renewed pull and while the hand lets
//! go, rotation and torque lie on the train's own line. How far those two lines lie apart is what the fastener turned; the
//! line's slope, measured on the release, brings both to one torque. Knows nothing of limits and verdicts.

use super::Seen;
use super::line::{Line, Middle};
use super::thresholds::{COMPLIANCE_BITS, Thresholds};

/// A sample on which counting stands.
#[derive(Clone, Copy, Debug)]
struct Mark {
    torque: i32,
    rotation: i32,
    at: u32,
}

/// Fastener rotation so far.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turning {
    /// Torque up to which the fastener stands still; zero when not known.
    still_below: i32,
    origin: i32,
    origin_at: u32,
    peak: i32,
    /// From here on a sample only climbs: counting began, the wind-up is over, and it is not on its way down.
    climbs_from: i32,
    rise: Line,
    rise_over: bool,
    fall: Line,
    from: Option<Mark>,
    to: Option<Mark>,
    /// Millidegrees per 2²⁰ mN·m; zero when not known.
    compliance: i64,
    /// Millidegrees of the pulls that are over.
    done: i64,
    counting: bool,
    known: bool,
}

/// What one pull came to.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct PullEnd {
    /// Whether it was counted.
    pub(super) counted: bool,
    /// Its highest torque.
    pub(super) peak: i32,
}

impl Turning {
    pub(super) const NEW: Self = Self {
        still_below: 0,
        origin: 0,
        origin_at: 0,
        peak: 0,
        climbs_from: i32::MAX,
        rise: Line::EMPTY,
        rise_over: true,
        fall: Line::EMPTY,
        from: None,
        to: None,
        compliance: 0,
        done: 0,
        counting: false,
        known: true,
    };

    pub(super) fn new(thresholds: &Thresholds) -> Self {
        Self {
            still_below: thresholds.still_below,
            compliance: thresholds.compliance,
            ..Self::NEW
        }
    }

    /// A pull began with this sample.
    pub(super) fn start_pull(&mut self, seen: Seen) {
        self.origin = seen.rotation;
        self.origin_at = seen.ticks;
        self.peak = 0;
        self.climbs_from = i32::MAX;
        self.rise = Line::EMPTY;
        self.fall = Line::EMPTY;
        self.rise_over = self.still_below <= 0;
        self.from = None;
        self.to = None;
    }

    /// Whether [`Self::follow`] need not see a sample of this torque, but for the highest.
    #[inline(always)]
    pub(super) fn climbs(&mut self, torque: i32) -> bool {
        if torque < self.climbs_from {
            return false;
        }
        if torque > self.peak {
            self.peak = torque;
            self.climbs_from = self.climbs_from.max(torque.wrapping_sub(torque >> 3));
        }
        true
    }

    /// A loaded sample, and the one before unless time passed unseen between them. Counting starts at `level`.
    #[inline(never)]
    pub(super) fn follow(
        &mut self,
        before: Option<Seen>,
        seen: Seen,
        level: i32,
        thresholds: &Thresholds,
    ) {
        self.peak = self.peak.max(seen.torque);
        let shift = thresholds.shift;
        let turned = seen.rotation.wrapping_sub(self.origin);
        let ticks = seen.ticks.wrapping_sub(self.origin_at);
        if !self.rise_over {
            let half = self.still_below >> 1;
            if seen.torque > half {
                self.rise_over = true;
                if self.compliance == 0 {
                    let spread = (half >> 4).wrapping_shr(shift);
                    self.compliance = self
                        .rise
                        .compliance(spread)
                        .map_or(0, |slope| slope.wrapping_shr(shift));
                }
            } else if seen.torque >= self.still_below >> 3 {
                self.rise
                    .add(seen.torque.wrapping_shr(shift), turned, ticks);
            }
        }
        if seen.torque >= self.peak.wrapping_sub(self.peak >> 3) {
            self.fall.clear();
        } else {
            self.fall
                .add(seen.torque.wrapping_shr(shift), turned, ticks);
        }
        match self.from {
            None if seen.torque >= level => {
                self.counting = true;
                self.from = Some(match before {
                    Some(before) if before.torque < level => Mark {
                        torque: level,
                        rotation: crossing(before, seen, level),
                        at: seen.ticks,
                    },
                    _ => mark(seen),
                });
            }
            Some(from) => {
                if seen.torque < from.torque
                    && let Some(before) = before
                    && before.torque >= from.torque
                {
                    self.to = Some(Mark {
                        torque: from.torque,
                        rotation: crossing(before, seen, from.torque),
                        at: seen.ticks,
                    });
                }
            }
            None => {}
        }
        self.climbs_from = match self.from {
            Some(from) if self.rise_over && self.fall.count() == 0 => {
                from.torque.max(self.peak.wrapping_sub(self.peak >> 3))
            }
            _ => i32::MAX,
        };
    }

    /// The hand let go, or the attempt ends at `last` under load.
    pub(super) fn end_pull(
        &mut self,
        last: Seen,
        is_released: bool,
        drift: i64,
        thresholds: &Thresholds,
    ) -> PullEnd {
        let end = PullEnd {
            counted: self.from.is_some(),
            peak: self.peak,
        };
        if let Some(from) = self.from.take() {
            match self.net(from, last, is_released, drift, thresholds) {
                Some(net) => self.done = self.done.saturating_add(net),
                None => self.known = false,
            }
            self.still_below = self.still_below.max(self.peak);
        }
        end
    }

    /// Millidegrees between the line before and the line after, gyro drift taken off.
    fn net(
        &mut self,
        from: Mark,
        last: Seen,
        is_released: bool,
        drift: i64,
        thresholds: &Thresholds,
    ) -> Option<i64> {
        let shift = thresholds.shift;
        let spread = (self.peak >> 4).wrapping_shr(shift);
        if let Some(slope) = self.fall.compliance(spread) {
            self.compliance = slope.wrapping_shr(shift);
        }
        let before = match self.rise.middle() {
            Some(middle) if self.rise.count() >= 6 => middle,
            _ => self.middle_of(from, shift),
        };
        let after = match self.fall.middle() {
            Some(middle) if self.fall.count() >= 4 && self.compliance > 0 => middle,
            // Too few samples on the way down: the crossing of the torque where counting began.
            _ => match self.to {
                Some(to) => {
                    let turned = to.rotation.wrapping_sub(from.rotation);
                    let ticks = i64::from(to.at.wrapping_sub(from.at));
                    return Some(i64::from(turned).wrapping_sub(drifted(drift, ticks << 4)));
                }
                None if is_released && self.compliance == 0 => {
                    return Some(i64::from(last.rotation.wrapping_sub(from.rotation)));
                }
                None if self.compliance > 0 => self.middle_of(mark(last), shift),
                None => return None,
            },
        };
        let apart = after.rotation.wrapping_sub(before.rotation);
        let torque = after.torque.wrapping_sub(before.torque).wrapping_shl(shift);
        let wound = torque.wrapping_mul(self.compliance) >> COMPLIANCE_BITS;
        let span = after.ticks.wrapping_sub(before.ticks);
        let net = apart.wrapping_sub(wound).wrapping_add(8) >> 4;
        Some(net.wrapping_sub(drifted(drift, span)))
    }

    fn middle_of(&self, mark: Mark, shift: u32) -> Middle {
        Middle {
            torque: i64::from(mark.torque.wrapping_shr(shift)) << 4,
            rotation: i64::from(mark.rotation.wrapping_sub(self.origin)) << 4,
            ticks: i64::from(mark.at.wrapping_sub(self.origin_at)) << 4,
        }
    }

    /// Millidegrees since counting began; with `compliance`, that much wind-up is taken off. `None` before it began.
    pub(super) fn now(&self, seen: Option<Seen>, compliance: i64) -> Option<i64> {
        if !self.counting {
            return None;
        }
        let (Some(from), Some(seen)) = (self.from, seen) else {
            return Some(self.done);
        };
        let turned = i64::from(seen.rotation.wrapping_sub(from.rotation));
        let torque = i64::from(seen.torque.wrapping_sub(from.torque));
        let wound = torque.wrapping_mul(compliance) >> COMPLIANCE_BITS;
        Some(self.done.saturating_add(turned).wrapping_sub(wound))
    }

    /// What was counted so far was none of it; the pull goes on.
    pub(super) fn recount(&mut self) {
        self.counting = false;
        self.from = None;
        self.to = None;
        self.climbs_from = i32::MAX;
    }

    /// The train's compliance; zero when not known yet.
    pub(super) const fn compliance(&self) -> i64 {
        self.compliance
    }

    pub(super) const fn is_counting(&self) -> bool {
        self.counting
    }

    /// Millidegrees of the pulls that are over; `None` before counting began and when it was lost.
    pub(super) const fn total(&self) -> Option<i64> {
        if self.counting && self.known {
            Some(self.done)
        } else {
            None
        }
    }

    /// Whether part of the rotation went unseen.
    pub(super) const fn is_lost(&self) -> bool {
        !self.known
    }

    /// Torque up to which the fastener is not expected to move.
    pub(super) const fn still_below(&self) -> i32 {
        self.still_below
    }

    pub(super) fn lose(&mut self) {
        self.known = false;
    }
}

const fn mark(seen: Seen) -> Mark {
    Mark {
        torque: seen.torque,
        rotation: seen.rotation,
        at: seen.ticks,
    }
}

/// Millidegrees of drift in `sixteenths` of a tick, at a drift in millidegrees per 2²⁰ ticks.
fn drifted(drift: i64, sixteenths: i64) -> i64 {
    drift.wrapping_mul(sixteenths) >> 24
}

/// Rotation at which the line from `a` to `b` crosses the torque `level`, by halving: within a thousandth of the way.
fn crossing(a: Seen, b: Seen, level: i32) -> i32 {
    let (low, high) = if a.torque <= b.torque { (a, b) } else { (b, a) };
    let (mut below, mut above) = (low.torque, high.torque);
    let (mut from, mut to) = (low.rotation, high.rotation);
    for _ in 0..10 {
        let level_there = middle(below, above);
        let there = middle(from, to);
        if level_there < level {
            below = level_there;
            from = there;
        } else {
            above = level_there;
            to = there;
        }
    }
    to
}

/// Halfway, without a division; both are bounded, so their sum fits.
const fn middle(a: i32, b: i32) -> i32 {
    a.wrapping_add(b) >> 1
}

#[cfg(test)]
mod tests;
