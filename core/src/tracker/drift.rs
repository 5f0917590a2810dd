//! Bias of a gyro, found while the tool is still.
//!
//! A tool at rest that seems to turn slowly and evenly tells its gyro's bias. Means of 64 samples stand for the noise.
//! Knows nothing of torque.
//!
//! What its numbers should be no standard says: *our judgement, no source*, held by the matrix of faults
//! (`tests/tests/judging/JUDGING.md`).

use super::Seen;
use crate::unit::ratio;

const BLOCK: u8 = 64;
const BLOCK_BITS: u32 = 6;
/// Rotation within a block up to which the tool counts as still: 0.8°, noise included.
const STILL_SPREAD: i32 = 800;
/// A gyro's bias is not larger: 0.5° a second. What moves faster is moved by hand.
const RATE_MOST: i64 = 500;
/// What the mean of one block may be off a straight drift: 0.06°.
const BEND_MOST: i64 = 60;
/// Shortest rest that gives a bias: a second.
const REST_LEAST_TICKS: i64 = 1_000;

/// Bias of the rotation sensor.
#[derive(Clone, Copy, Debug)]
pub(super) struct Drift {
    /// Turned by so many millidegrees in so many ticks, the last time it could be told.
    turned: i64,
    passed: i64,
    origin: i32,
    started: u32,
    sum: i32,
    low: i32,
    high: i32,
    count: u8,
    /// Mean and middle of the first and the newest block of this rest, in millidegrees and ticks.
    first: Option<(i32, u32)>,
    newest: Option<(i32, u32)>,
}

impl Drift {
    pub(super) const NEW: Self = Self {
        turned: 0,
        passed: 0,
        origin: 0,
        started: 0,
        sum: 0,
        low: 0,
        high: 0,
        count: 0,
        first: None,
        newest: None,
    };

    /// Millidegrees per 2²⁰ ticks.
    pub(super) fn rate(&self) -> i64 {
        ratio(self.turned << 20, self.passed.unsigned_abs())
    }

    /// The tool moves or is loaded.
    pub(super) fn disturb(&mut self) {
        self.count = 0;
        self.first = None;
        self.newest = None;
    }

    /// An unloaded sample.
    pub(super) fn rest(&mut self, seen: Seen) {
        if self.count == 0 {
            self.origin = seen.rotation;
            self.started = seen.ticks;
            self.sum = 0;
            self.low = 0;
            self.high = 0;
        }
        let turned = seen.rotation.wrapping_sub(self.origin);
        self.low = self.low.min(turned);
        self.high = self.high.max(turned);
        if self.high.wrapping_sub(self.low) > STILL_SPREAD {
            self.disturb();
            return;
        }
        self.sum = self.sum.wrapping_add(turned);
        self.count = self.count.wrapping_add(1);
        if self.count < BLOCK {
            return;
        }
        self.count = 0;
        let mean = self.origin.wrapping_add(self.sum >> BLOCK_BITS);
        self.block(mean, self.started);
    }

    fn block(&mut self, mean: i32, at: u32) {
        let (Some(first), Some(newest)) = (self.first, self.newest) else {
            self.first = Some((mean, at));
            self.newest = self.first;
            return;
        };
        let moved = |from: (i32, u32), to: (i32, u32)| {
            let turned = i64::from(to.0.wrapping_sub(from.0));
            (turned, i64::from(to.1.wrapping_sub(from.1)))
        };
        let (step, step_ticks) = moved(newest, (mean, at));
        let (all, all_ticks) = moved(first, (mean, at));
        let (earlier, earlier_ticks) = moved(first, newest);
        let too_fast = step.wrapping_abs().wrapping_mul(1_000)
            > RATE_MOST
                .wrapping_mul(step_ticks)
                .wrapping_add(BEND_MOST * 1_000);
        // The newest block off the line through the earlier ones, cross-multiplied.
        let bend = step
            .wrapping_mul(earlier_ticks)
            .wrapping_sub(earlier.wrapping_mul(step_ticks));
        let bent = bend.wrapping_abs() > BEND_MOST.wrapping_mul(all_ticks);
        if too_fast || bent {
            self.disturb();
            return;
        }
        self.newest = Some((mean, at));
        if all_ticks >= REST_LEAST_TICKS {
            self.turned = all;
            self.passed = all_ticks;
        }
    }
}

#[cfg(test)]
mod tests;
