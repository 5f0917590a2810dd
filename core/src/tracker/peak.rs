//! Highest torque, told from spikes of a single sample; and the torque that stood when the hand began to let go.
//!
//! Nothing is filtered: a sample counts as it came or, standing alone above both neighbours, not at all. Knows nothing of
//! limits.

use super::thresholds::Thresholds;

/// The highest torque so far.
#[derive(Clone, Copy, Debug)]
pub(super) struct Peak {
    /// Rise to the sample before last, and the last two samples.
    rise: i32,
    before: i32,
    last: i32,
    filled: u8,
    pub(super) value: i32,
    /// How much higher the torque may have been between two samples.
    pub(super) bound: i32,
    /// The torque that stood, and whether it was seen to stand in this pull.
    pub(super) settled: i32,
    stood: bool,
}

impl Peak {
    pub(super) const NEW: Self = Self {
        rise: 0,
        before: 0,
        last: 0,
        filled: 0,
        value: 0,
        bound: 0,
        settled: 0,
        stood: false,
    };

    /// No sample is next to the next one.
    pub(super) fn restart(&mut self) {
        self.filled = 0;
    }

    /// Takes a sample and gives back what is sure of the one before.
    pub(super) fn push(&mut self, torque: i32, loaded: bool, thresholds: &Thresholds) -> i32 {
        let sure = match self.filled {
            0 => torque,
            1 => self.last,
            _ => {
                let beside = self.before.max(torque);
                let above = self.last.wrapping_sub(beside);
                if above > thresholds.spike && above > self.rise.wrapping_mul(2) {
                    beside
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
        self.rise = rise;
        self.before = sure;
        self.last = torque;
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
        self.settled = torque;
        self.stood = true;
    }

    pub(super) fn end_pull(&mut self, pull_peak: i32) {
        if !self.stood {
            self.settled = self.settled.max(pull_peak.min(self.value));
        }
        self.stood = false;
    }
}
