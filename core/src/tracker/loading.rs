//! When a pull begins and ends: time between samples, loading past re-grip, letting go, and a stud that snaps.
//!
//! Knows nothing of targets and limits.

use super::goal::Kind;
use super::rise::Turned;
use super::thresholds::COMPLIANCE_BITS;
use super::turning::Turning;
use super::{Cue, RunsDown, Seen, Tracker};
use crate::unit::Instant;
use crate::verdict::Reason;

/// Samples closer together than this are never a gap.
pub(super) const GAP_LEAST_MICROS: u32 = 100_000;
/// A gap before the usual distance of samples is known.
const GAP_UNKNOWN_MICROS: u32 = 500_000;

/// Time ran backwards.
pub(super) struct Reversed;

impl Tracker {
    /// Whether there was a sample before, and not too much time passed unseen; time that runs backwards is told.
    #[inline(always)]
    pub(super) fn time_passed(&mut self, at: Instant) -> Result<bool, Reversed> {
        if !self.has_last {
            self.at = at;
            return Ok(false);
        }
        if at < self.at {
            if self.is_pulled() {
                self.lost(Reason::Gap);
            }
            return Err(Reversed);
        }
        let passed = u32::try_from(at.since(self.at).micros()).unwrap_or(u32::MAX);
        self.at = at;
        // Mostly shorter than any gap.
        if passed > self.thresholds.gap_least && passed > self.gap() {
            if self.is_pulled() {
                self.lost(Reason::Gap);
            }
            self.peak.restart();
            self.pace.restart();
            self.shape.restart();
            self.drift.disturb();
            return Ok(false);
        }
        Ok(true)
    }

    /// So much time passed between two looks: the usual distance of readings, where they come slowly enough for it to matter.
    pub(super) fn space(&mut self, passed: u64) {
        let passed = u32::try_from(passed).unwrap_or(u32::MAX);
        self.interval = if self.interval == 0 {
            passed
        } else {
            self.interval
                .wrapping_sub(self.interval >> 4)
                .wrapping_add(passed >> 4)
        };
    }

    /// Samples further apart than this are a gap, in µs.
    pub(super) fn gap(&self) -> u32 {
        match (self.thresholds.gap, self.interval) {
            (0, 0) => GAP_UNKNOWN_MICROS,
            (0, interval) => interval.saturating_mul(4).max(GAP_LEAST_MICROS),
            (given, _) => given,
        }
    }

    /// Loaded or let go; two samples in a row decide, so that a spike does neither. True at the attempt's first load, or at the
    /// beginning of a stroke that may become it.
    #[inline(never)]
    pub(super) fn load(&mut self, follows: bool, seen: Seen) -> bool {
        let before = follows.then_some(self.last);
        // With no sample just before, this one decides.
        if before.is_some() && !self.turning_over {
            self.turning_over = true;
            self.foot = before;
            return false;
        }
        self.turning_over = false;
        if self.loaded {
            if follows {
                self.look();
            }
            self.let_go(seen);
            return false;
        }
        self.loaded = true;
        self.released_at = None;
        self.pull_counted = false;
        self.peak.start_pull();
        self.drift.disturb();
        self.pace.restart();
        self.turning.start_pull(before.unwrap_or(seen));
        if let (Some(foot), Some(first)) = (self.foot, before) {
            // A stiff train is wound up within a sample: counting may have to start between these two.
            let level = self.level();
            self.turning
                .follow(Some(foot), first, level, &self.thresholds);
        }
        self.foot = None;
        let last = before.unwrap_or(seen);
        self.together.begin(last);
        self.together.seen = last;
        self.looked = before.is_some();
        self.looked_at = self.at;
        self.shape
            .start_pull(self.turning.still_below(), &self.thresholds);
        self.restart_top = 0;
        let is_first = self.began_at.is_none();
        if is_first && self.runs_down == RunsDown::No {
            self.began_at = Some(self.at);
        }
        is_first && self.runs_down != RunsDown::Only
    }

    fn let_go(&mut self, seen: Seen) {
        if self.began_at.is_none() {
            self.stroke_ended();
            return;
        }
        self.look_for_a_break(seen);
        self.end_pull(Some(seen));
    }

    /// A stroke of the run-down is over: nothing of it counts but the running torque.
    fn stroke_ended(&mut self) {
        self.loaded = false;
        self.turning = Turning::new(&self.thresholds);
        self.peak.forget();
        self.cue = Cue::None;
    }

    pub(super) fn end_pull(&mut self, released: Option<Seen>) {
        let last = released.unwrap_or(self.last);
        self.loaded = false;
        self.released_at = Some(self.at);
        self.held = 0;
        let end = self.turning.end_pull(
            last,
            released.is_some(),
            self.drift.rate(),
            &self.thresholds,
        );
        self.peak.end_pull(end.peak);
        if end.counted
            && matches!(self.goal.kind, Kind::Torque)
            && let Some(turned) = self.turning.total()
        {
            // On the way down nothing turns, so the total belongs to the highest torque.
            let exact = released.is_some() || self.turning.compliance() > 0;
            let turned = Turned {
                least: turned,
                most: turned,
                exact,
            };
            self.judge_rise(self.peak.value(), turned);
        }
        let compliance = self.turning.compliance();
        if compliance > 0 && self.early.take().is_some_and(|early| self.stood(early)) {
            self.found = self.found.without(Reason::EarlyRise).with(Reason::NoTurn);
        }
        if compliance > 0 && self.shape.yielded(compliance, &self.thresholds) {
            self.find(Reason::Yielding);
        }
    }

    /// Whether a rise that was too steep for the joint was the train's alone: the fastener stood still, tight before.
    fn stood(&self, (risen, turned): (i32, i64)) -> bool {
        let wound = i64::from(risen).wrapping_mul(self.turning.compliance()) >> COMPLIANCE_BITS;
        turned.wrapping_sub(wound) < i64::from(self.thresholds.restart_turn)
    }

    /// A stud that snaps drops its torque between two samples; only the handle, going on with nothing to hold it, tells.
    pub(super) fn went_on(&mut self, seen: Seen) {
        let Some(released) = self.released_at else {
            return;
        };
        // A hand that hardly moves at the moment takes a while to show that nothing holds it.
        if self.at.since(released).micros() <= self.thresholds.release.wrapping_mul(3) {
            self.look_for_a_break(seen);
        }
    }

    fn look_for_a_break(&mut self, seen: Seen) {
        if !self.found.contains(Reason::Stuck) && self.shape.broke(seen.rotation, &self.thresholds)
        {
            self.find(Reason::GivingWay);
        }
    }
}

#[cfg(test)]
mod tests;
