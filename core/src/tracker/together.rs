//! Readings taken together: what can wait 5 ms needs no reading each millisecond, and the mean of four wanders half as much as one.
//!
//! As many as come in 4 to 5 ms, a power of two, so that nothing is divided; one where they come more slowly. What looks at the mean
//! sees nearly the same curve at 200 and at 1,000 readings a second. Knows nothing of what is looked for.
//!
//! # Why two rates
//!
//! *Context:* at 1,000 readings a second a chip has 1 ms for each, and everything that a curve is held against in each of them took 740 to
//! 820 instructions on a Cortex-M4. *Choice:* peak, spike, tooth, the ends of chords, the crossing of snug, the way up and down of the train and
//! whether a sensor repeats itself are seen in every reading, since they are made of single ones; yield, giving way, rise, cue, drift, hold
//! and curve see the mean. *What it costs:* a fault is told up to 5 ms later, within the 10 ms that are promised. *What it showed:* of 3,510
//! pulls none is judged worse, and one sound fastener that was called yielding no longer is. *Alternative:* every n-th reading, which keeps
//! all its noise.

use super::Seen;
use crate::unit::ratio;

/// So long readings are taken together at most, in ticks: 200 a second are looked at one by one.
const MOST_TICKS: u32 = 5;
/// Readings that come late are not waited for, in ticks.
const LATE_TICKS: u32 = 8;
/// 32 readings, at 8,000 a second.
const BITS_MOST: u8 = 5;

/// The readings since the last that were taken as one, and those as one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Together {
    /// So many more, and they are taken as one.
    left: u8,
    /// So many are, as a power of two.
    bits: u8,
    /// So many were.
    taken: u8,
    /// Time of the newest that is no more among them.
    from: u32,
    /// Sums: torque, spikes left out of it, rotation beyond the reading before the first.
    torque: i32,
    spikes: i32,
    rotation: i32,
    /// The reading before the first.
    earlier: (i32, i32),
    /// As they came, at the time of the newest.
    pub(super) seen: Seen,
    /// Torque and rotation one reading earlier each, spikes left out.
    pub(super) sure: (i32, i32),
}

impl Together {
    pub(super) const NEW: Self = Self {
        left: 1,
        bits: 0,
        taken: 0,
        from: 0,
        torque: 0,
        spikes: 0,
        rotation: 0,
        earlier: (0, 0),
        seen: Seen::NOTHING,
        sure: (0, 0),
    };

    /// How many readings the last were, as a power of two.
    pub(super) fn bits(&self) -> u32 {
        u32::from(self.taken)
    }

    /// What comes next is the first, after this reading.
    pub(super) fn begin(&mut self, earlier: Seen) {
        self.left = 1_u8.wrapping_shl(u32::from(self.bits));
        self.from = earlier.ticks;
        self.torque = 0;
        self.spikes = 0;
        self.rotation = 0;
        self.earlier = (earlier.torque, earlier.rotation);
    }

    /// Takes a reading, and by how much the one before it was a spike; true when they are enough.
    #[inline(always)]
    pub(super) fn push(&mut self, seen: Seen, spike: i32) -> bool {
        self.torque = self.torque.saturating_add(seen.torque);
        self.spikes = self.spikes.wrapping_add(spike);
        let (_, first) = self.earlier;
        self.rotation = self
            .rotation
            .wrapping_add(seen.rotation.wrapping_sub(first));
        self.left = self.left.wrapping_sub(1);
        self.left == 0 || seen.ticks.wrapping_sub(self.from) >= LATE_TICKS
    }

    /// Makes one of what was taken; false where nothing was.
    pub(super) fn take(&mut self, newest: Seen) -> bool {
        let (torque, rotation) = self.earlier;
        let sure = (
            self.torque
                .wrapping_sub(self.spikes)
                .wrapping_sub(newest.torque)
                .wrapping_add(torque),
            self.rotation
                .wrapping_sub(newest.rotation)
                .wrapping_add(rotation),
        );
        let bits = u32::from(self.bits);
        let passed = newest.ticks.wrapping_sub(self.from);
        let [seen, sure] = if self.left == 0 {
            [
                (
                    self.torque.wrapping_shr(bits),
                    self.rotation.wrapping_shr(bits),
                ),
                (sure.0.wrapping_shr(bits), sure.1.wrapping_shr(bits)),
            ]
        } else {
            let count = 1_u8.wrapping_shl(bits).wrapping_sub(self.left);
            if count == 0 {
                return false;
            }
            // A pull began or ended meanwhile, or a reading came late.
            let part =
                |sum: i32| i32::try_from(ratio(i64::from(sum), u64::from(count))).unwrap_or(0);
            [(self.torque, self.rotation), sure]
                .map(|(torque, rotation)| (part(torque), part(rotation)))
        };
        self.seen = Seen {
            ticks: newest.ticks,
            torque: seen.0,
            rotation: rotation.wrapping_add(seen.1),
        };
        self.sure = (sure.0, rotation.wrapping_add(sure.1));
        self.taken = self.bits;
        if passed > MOST_TICKS {
            self.bits = self.bits.saturating_sub(1);
        } else if (1..=MOST_TICKS >> 1).contains(&passed) && self.bits < BITS_MOST {
            self.bits = self.bits.wrapping_add(1);
        }
        self.begin(newest);
        true
    }
}

#[cfg(test)]
mod tests;
