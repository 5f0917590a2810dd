//! Highest torque, told from spikes of a single sample; and the torque that stood when the hand began to let go.
//!
//! Nothing is filtered: a sample counts as it came or, standing alone above both neighbours, not at all. Knows nothing of
//! limits.

use super::thresholds::Thresholds;

/// A second sample that stands up within so many of the first makes a saw of both, not spikes.
const ALONE: u8 = 8;

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
    pub(super) value: i32,
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
        value: 0,
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

    /// Takes a sample and gives back what is sure of the one before.
    pub(super) fn push(&mut self, torque: i32, loaded: bool, thresholds: &Thresholds) -> i32 {
        if self.alone > 0 {
            self.alone = self.alone.wrapping_sub(1);
        }
        let sure = match self.filled {
            0 => torque,
            1 => self.last,
            _ => {
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
        if loaded && sure > self.value {
            self.value = sure;
            self.bound = rise.max(self.rise);
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
        if self.filled > 0 && self.last > self.value {
            self.value = self.last;
            self.bound = self.last.wrapping_sub(self.before).max(self.rise);
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
            pull_peak.min(self.value)
        };
        // A pull at less than the fastener holds takes nothing from it.
        self.settled = self.settled.max(end);
        self.stood = false;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::TorqueWindow;
    use crate::tracker::Start;
    use crate::unit::Torque;
    use crate::verdict::Aim;
    use crate::watch::Watch;

    fn thresholds() -> Thresholds {
        let torque = Torque::from_millinewton_meters(40_000);
        let window = TorqueWindow {
            target: torque,
            min: torque,
            max: torque,
        };
        Thresholds::new(
            &Aim::Torque { window },
            &Watch::default(),
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
            peak.value
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
        assert_eq!((peak.value, peak.settled), (39_000, 39_000));
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
        assert_eq!((peak.value, peak.settled), (41_000, 39_500));
    }
}
