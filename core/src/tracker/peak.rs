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
mod tests {
    use super::*;
    use crate::curve_limits::CurveLimits;
    use crate::procedure::TorqueWindow;
    use crate::tracker::Start;
    use crate::unit::Torque;
    use crate::verdict::Aim;

    fn thresholds() -> Thresholds {
        let torque = Torque::from_millinewton_meters(40_000);
        let window = TorqueWindow {
            target: torque,
            min: torque,
            max: torque,
        };
        Thresholds::new(
            &Aim::Torque { window },
            &CurveLimits::default(),
            &Start::default(),
        )
    }

    #[test]
    fn one_sample_alone_is_a_spike_but_tips_in_a_row_are_teeth() {
        let thresholds = thresholds();
        let top = |last: &[i32]| {
            let mut peak = Peak::NEW;
            for torque in [29_000, 29_500, 30_000].iter().chain(last) {
                peak.push(*torque, true, &thresholds);
            }
            peak.value()
        };
        let level = [30_000; 10];
        assert_eq!(top(&[35_000, 30_000, 30_000]), 30_000);
        assert_eq!(top(&[35_000, 30_000, 34_000, 30_000, 30_000]), 35_000);
        let far_apart = [&[35_000][..], &level, &[34_000], &level].concat();
        assert_eq!(top(&far_apart), 30_000);
    }

    #[test]
    fn a_halt_on_the_way_is_not_where_the_pull_ended() {
        let thresholds = thresholds();
        let mut peak = Peak::NEW;
        for torque in (0..=10_000).step_by(500) {
            peak.push(torque, true, &thresholds);
        }
        peak.stands(10_000);
        for torque in (10_500..=39_000).step_by(500) {
            peak.push(torque, true, &thresholds);
        }
        peak.push(39_000, true, &thresholds);
        peak.end_pull(39_000);
        assert_eq!((peak.value(), peak.settled), (39_000, 39_000));
    }

    #[test]
    fn a_weaker_pull_afterwards_takes_nothing_away() {
        let thresholds = thresholds();
        let mut peak = Peak::NEW;
        for torque in (0..=38_000).step_by(500) {
            peak.push(torque, true, &thresholds);
        }
        peak.push(37_000, true, &thresholds);
        peak.end_pull(38_000);
        for torque in (0..=25_000).step_by(500) {
            peak.push(torque, true, &thresholds);
        }
        peak.stands(25_000);
        peak.end_pull(25_000);
        assert_eq!(peak.settled, 38_000);
    }

    #[test]
    fn where_the_torque_stood_last_it_ended() {
        let thresholds = thresholds();
        let mut peak = Peak::NEW;
        for torque in (0..=41_000).step_by(500) {
            peak.push(torque, true, &thresholds);
        }
        for _ in 0..20 {
            peak.push(39_500, true, &thresholds);
        }
        peak.stands(39_500);
        for torque in (0..39_000).rev().step_by(500) {
            peak.push(torque, true, &thresholds);
        }
        peak.end_pull(41_000);
        assert_eq!((peak.value(), peak.settled), (41_000, 39_500));
    }

    /// At rest, up by `step` a sample, a stand of `stand` samples with `over` more on two of them, and down again; noise as the sum of
    /// twelve even ones.
    fn read(seed: u64, noise: i64, step: i64, stand: i64, over: i64) -> i64 {
        let thresholds = thresholds();
        let mut peak = Peak::NEW;
        let mut loaded = false;
        let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
        let mut dice = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            i64::try_from(state >> 48).unwrap_or(0) - 32_768
        };
        let rest = core::iter::repeat_n(0, 150);
        let up = (0..40_000 / step).map(|index| index * step);
        let top = (0..stand).map(|index| 40_000 + if (3..5).contains(&index) { over } else { 0 });
        let down = (0..40).map(|index| 40_000 - index * 1_000);
        for torque in rest.chain(up).chain(top).chain(down) {
            let bell: i64 = (0..12).map(|_| dice()).sum::<i64>() * noise / 65_536;
            let torque = i32::try_from(torque + bell).unwrap_or(0);
            if torque > 2_000 && !loaded {
                loaded = true;
                peak.start_pull();
            }
            peak.push(torque, loaded, &thresholds);
        }
        i64::from(peak.value())
    }

    #[test]
    fn noise_is_no_torque_and_an_overshoot_of_two_samples_is() {
        // 250 mN·m; 40 N·m in one second at 200, 500 and 1,000 samples a second, and a stand of 20 to 150 ms.
        for (step, stands) in [(200, [4, 12, 30]), (80, [10, 30, 75]), (40, [20, 60, 150])] {
            for stand in stands {
                let sum: i64 = (0..100)
                    .map(|seed| read(seed, 250, step, stand, 0) - 40_000)
                    .sum();
                let mean = sum / 100;
                assert!(
                    mean.abs() < 100,
                    "{step} mN·m a sample, {stand} samples: {mean}"
                );
                let over: i64 = (0..100)
                    .map(|seed| read(seed, 250, step, stand.max(6), 2_000) - 42_000)
                    .sum();
                let over = over / 100;
                assert!(
                    over.abs() < 200,
                    "overshoot, {step} mN·m a sample, {stand} samples: {over}"
                );
            }
        }
    }
}
