//! Highest torque, told from spikes of a single sample; and the torque that stood when the hand began to let go.
//!
//! No sample is filtered: it counts as it came or, standing alone above both neighbours, not at all. But the highest of many
//! samples of one torque is that torque and what the sensor wanders by: the more samples lie near the highest, the more of it is
//! noise, and that much is taken off. One that stands out by more than the noise has none beside it, and keeps its height. The
//! noise is measured below snug, where nothing sticks and slips. Knows nothing of limits.
//!
//! What its numbers should be no standard says: *our judgement, no source*, held by the matrix of faults
//! (`tests/tests/judging/JUDGING.md`).

use super::thresholds::Thresholds;

/// A second sample that stands up within so many of the first makes a saw of both, not spikes.
const ALONE: u8 = 8;
/// Samples that the noise is averaged over at a time.
const NOISE_BLOCK: u8 = 32;
/// From the sum of 32 second differences to their standard deviation: each is 1.95 of it on average for a bell-shaped noise
/// (√6 · √(2/π)), so 62.5 together; 64 within 2.4 %.
const NOISE_BITS: u32 = 6;
/// Keeps every product within an `i32`.
const BEND_MOST: i32 = 0xFF_FFFF;

/// The highest torque so far.
#[derive(Clone, Copy, Debug)]
pub(super) struct Peak {
    /// Rise to the sample before last, and the last two samples.
    rise: i32,
    before: i32,
    last: i32,
    filled: u8,
    /// The last sample taken for a spike, and how many more samples it must stay alone.
    spike: i32,
    alone: u8,
    /// The highest sample.
    top: i32,
    /// How many samples lie near it, in four steps of half the noise downwards from `edge`.
    edge: i32,
    near: [u16; 4],
    /// A sample below this is neither the highest nor near it.
    counted_from: i32,
    /// What the reading wanders by, as a standard deviation; zero while that is not known. And as it was known when this pull began,
    /// which its samples were counted by.
    noise: i32,
    counted_by: i32,
    noise_sum: i32,
    noise_low: i32,
    noise_high: i32,
    noise_count: u8,
    /// How much higher the torque may have been between two samples.
    pub(super) bound: i32,
    /// The torque that stood at the end of the pulls that are over.
    pub(super) settled: i32,
    /// The torque that stood last in this pull, and whether it still counts.
    standing: i32,
    stood: bool,
}

impl Peak {
    pub(super) const NEW: Self = Self {
        rise: 0,
        before: 0,
        last: 0,
        filled: 0,
        spike: 0,
        alone: 0,
        top: 0,
        edge: 0,
        near: [0; 4],
        counted_from: i32::MIN,
        noise: 0,
        counted_by: 0,
        noise_sum: 0,
        noise_low: i32::MAX,
        noise_high: i32::MIN,
        noise_count: 0,
        bound: 0,
        settled: 0,
        standing: 0,
        stood: false,
    };

    /// What was highest belongs to no attempt.
    pub(super) fn forget(&mut self) {
        *self = Self {
            rise: self.rise,
            before: self.before,
            last: self.last,
            filled: self.filled,
            ..Self::NEW
        };
    }

    /// No sample is next to the next one.
    pub(super) fn restart(&mut self) {
        self.filled = 0;
        self.alone = 0;
    }

    /// A pull began.
    pub(super) fn start_pull(&mut self) {
        self.counted_by = self.noise;
        self.counted_from = i32::MIN;
    }

    /// Takes a sample and gives back what is sure of the one before.
    pub(super) fn push(&mut self, torque: i32, loaded: bool, thresholds: &Thresholds) -> i32 {
        if self.alone > 0 {
            self.alone = self.alone.wrapping_sub(1);
        }
        let sure = match self.filled {
            0 => torque,
            1 => self.last,
            _ => {
                if torque < thresholds.snug {
                    self.wander(torque, thresholds);
                }
                let beside = self.before.max(torque);
                let above = self.last.wrapping_sub(beside);
                if above > thresholds.spike && above > self.rise.wrapping_mul(2) {
                    self.stands_up(beside)
                } else {
                    self.last
                }
            }
        };
        if self.filled < 2 {
            self.filled = self.filled.wrapping_add(1);
        }
        let rise = sure.wrapping_sub(self.before).max(0);
        // Mostly far below the highest.
        if loaded && sure >= self.counted_from {
            self.climb(sure, rise);
        }
        if self.stood && sure > self.standing.saturating_add(thresholds.plateau) {
            // The hand went on: what stood was a halt on the way.
            self.stood = false;
        }
        self.rise = rise;
        self.before = sure;
        self.last = torque;
        sure
    }

    /// The highest torque so far: the highest sample less what of it is noise.
    #[inline(never)]
    pub(super) fn value(&self) -> i32 {
        let [a, b, c, d] = self.near;
        let near = a.saturating_add(b).saturating_add(c).saturating_add(d);
        let noise = self.counted_by.wrapping_mul(excess(near)) >> 4;
        self.top.wrapping_sub(noise).max(0)
    }

    /// The highest sample as it came, its noise with it.
    pub(super) const fn top(&self) -> i32 {
        self.top
    }

    /// What the reading was seen to wander by, in mN·m.
    pub(super) const fn noise(&self) -> i32 {
        self.noise
    }

    /// Counts a sample among the highest.
    #[inline(never)]
    fn climb(&mut self, sure: i32, rise: i32) {
        if sure > self.top {
            self.top = sure;
            self.bound = rise.max(self.rise);
        }
        let step = (self.counted_by >> 1).max(1);
        self.count(sure, step);
        self.counted_from = self.top.min(self.edge.wrapping_sub(step.wrapping_mul(4)));
    }

    fn count(&mut self, sure: i32, step: i32) {
        let below = self.edge.wrapping_sub(sure);
        let [a, b, c, d] = &mut self.near;
        if below > 0 {
            let steps = step.wrapping_mul(2);
            let bin = match below {
                _ if below > steps.wrapping_mul(2) => return,
                _ if below <= step => a,
                _ if below <= steps => b,
                _ if below <= steps.wrapping_add(step) => c,
                _ => d,
            };
            *bin = bin.saturating_add(1);
        } else if below <= step.wrapping_mul(-3) {
            self.edge = sure.wrapping_add((step >> 1).max(1));
            self.near = [1, 0, 0, 0];
        } else {
            // At most three times.
            while self.edge <= sure {
                self.edge = self.edge.wrapping_add(step);
                (*d, *c, *b, *a) = (*c, *b, *a, 0);
            }
            *a = a.wrapping_add(1);
        }
    }

    /// Second differences leave out whatever rises evenly.
    fn wander(&mut self, torque: i32, thresholds: &Thresholds) {
        let bend = torque
            .wrapping_sub(self.last)
            .wrapping_sub(self.last.wrapping_sub(self.before))
            .wrapping_abs();
        // A jolt is not taken for noise, unless it lasts.
        let most = self.noise.wrapping_shl(3).max(thresholds.target >> 5);
        self.noise_sum = self.noise_sum.wrapping_add(bend.min(most).min(BEND_MOST));
        self.noise_low = self.noise_low.min(torque);
        self.noise_high = self.noise_high.max(torque);
        self.noise_count = self.noise_count.wrapping_add(1);
        if self.noise_count < NOISE_BLOCK {
            return;
        }
        // A ripple that goes up and down in turn bends more than it reaches; 32 samples of a bell-shaped noise reach over 4.1 deviations.
        let range = self.noise_high.wrapping_sub(self.noise_low) >> 2;
        let found = (self.noise_sum >> NOISE_BITS).min(range);
        // The smaller of two estimates is too small: by 7 % with so many samples.
        let found = found.wrapping_add(found >> 4);
        self.noise = if self.noise == 0 {
            found
        } else {
            self.noise.wrapping_add(found.wrapping_sub(self.noise) >> 2)
        };
        self.noise_sum = 0;
        self.noise_low = i32::MAX;
        self.noise_high = i32::MIN;
        self.noise_count = 0;
    }

    /// The last sample stands above both neighbours: a spike while it is alone, the tip of a tooth once there is another.
    #[cold]
    #[inline(never)]
    fn stands_up(&mut self, beside: i32) -> i32 {
        let tip = self.last;
        let sure = if self.alone > 0 {
            tip.max(self.spike)
        } else {
            beside
        };
        self.spike = tip;
        self.alone = ALONE;
        sure
    }

    /// The last sample has no neighbour after it: it counts as it came.
    pub(super) fn flush(&mut self) {
        if self.filled > 0 {
            self.climb(self.last, self.last.wrapping_sub(self.before));
        }
        self.filled = 0;
    }

    /// The torque has been within a plateau for a while.
    pub(super) fn stands(&mut self, torque: i32) {
        self.standing = torque;
        self.stood = true;
    }

    pub(super) fn end_pull(&mut self, pull_peak: i32) {
        let end = if self.stood {
            self.standing
        } else {
            pull_peak.min(self.value())
        };
        // A pull at less than the fastener holds takes nothing from it.
        self.settled = self.settled.max(end);
        self.stood = false;
    }
}

/// What the highest of so many samples near it lies too high by, in sixteenths of the noise's deviation. From 1,950 runs of a pull
/// with bell-shaped noise: up by 0.08 to 1.6 deviations a sample, a stand of 4 to 150 samples, and let go, counted as above; from 40
/// samples on, stands of up to 512. One alone is no noise, two and three are as the highest of so many.
const fn excess(near: u16) -> i32 {
    match near {
        0 | 1 => 0,
        2 => 9,
        3 => 18,
        4 => 24,
        5 => 27,
        6..=8 => 29,
        9..=15 => 31,
        16..=23 => 36,
        24..=31 => 39,
        32..=47 => 42,
        48..=63 => 45,
        64..=95 => 48,
        _ => 50,
    }
}

#[cfg(test)]
mod tests;
