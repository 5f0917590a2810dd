//! Bias of a gyro, found while the tool is still.
//!
//! A tool at rest that seems to turn slowly and evenly tells its gyro's bias. Means of 64 samples stand for the noise.
//! Knows nothing of torque.

use super::Seen;
use crate::unit::Instant;

const BLOCK: u8 = 64;
const BLOCK_BITS: u32 = 6;
/// Rotation within a block up to which the tool counts as still: 0.8°, noise included.
const STILL_SPREAD: i32 = 800;
/// A gyro's bias is not larger: 0.5° a second. What moves faster is moved by hand.
const RATE_MOST: i64 = 500;
/// What the mean of one block may be off a straight drift: 0.06°.
const BEND_MOST: i64 = 60;
/// Shortest rest that gives a bias.
const REST_LEAST_MILLIS: i64 = 1_000;

/// Bias of the rotation sensor.
#[derive(Clone, Copy, Debug)]
pub(super) struct Drift {
    /// Millidegrees per 2²⁰ ms.
    rate: i64,
    origin: i32,
    started: Instant,
    sum: i32,
    low: i32,
    high: i32,
    count: u8,
    /// Mean and middle of the first and the newest block of this rest, in millidegrees and ms.
    first: Option<(i32, Instant)>,
    newest: Option<(i32, Instant)>,
}

impl Drift {
    pub(super) const NEW: Self = Self {
        rate: 0,
        origin: 0,
        started: Instant::BOOT,
        sum: 0,
        low: 0,
        high: 0,
        count: 0,
        first: None,
        newest: None,
    };

    /// Millidegrees per 2²⁰ ms.
    pub(super) const fn rate(&self) -> i64 {
        self.rate
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
            self.started = seen.at;
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

    fn block(&mut self, mean: i32, at: Instant) {
        let (Some(first), Some(newest)) = (self.first, self.newest) else {
            self.first = Some((mean, at));
            self.newest = self.first;
            return;
        };
        let moved = |from: (i32, Instant), to: (i32, Instant)| {
            let turned = i64::from(to.0.wrapping_sub(from.0));
            (turned, i64::from(to.1.since(from.1).millis()))
        };
        let (step, step_millis) = moved(newest, (mean, at));
        let (all, all_millis) = moved(first, (mean, at));
        let (earlier, earlier_millis) = moved(first, newest);
        let too_fast = step.wrapping_abs().wrapping_mul(1_000)
            > RATE_MOST
                .wrapping_mul(step_millis)
                .wrapping_add(BEND_MOST * 1_000);
        // The newest block off the line through the earlier ones, cross-multiplied.
        let bend = step
            .wrapping_mul(earlier_millis)
            .wrapping_sub(earlier.wrapping_mul(step_millis));
        let bent = earlier_millis > 0 && bend.wrapping_abs() > BEND_MOST.wrapping_mul(all_millis);
        if too_fast || bent {
            self.disturb();
            return;
        }
        self.newest = Some((mean, at));
        if all_millis >= REST_LEAST_MILLIS
            && let Some(rate) = (all << 20).checked_div(all_millis)
        {
            self.rate = rate;
        }
    }
}
