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
mod tests {
    use std::vec::Vec;

    use super::*;

    /// A reading every `micros`: torque and rotation as functions of its number, spikes so high; the means that are made of 200 of them.
    fn means(
        micros: u32,
        torque: impl Fn(i32) -> i32,
        rotation: impl Fn(i32) -> i32,
        spike: impl Fn(i32) -> i32,
    ) -> Vec<(i32, Together)> {
        let mut together = Together::NEW;
        let mut made = Vec::new();
        for number in 0..200_u16 {
            let own = i32::from(number);
            let seen = Seen {
                ticks: (u32::from(number) * micros) >> 10,
                torque: torque(own),
                rotation: rotation(own),
            };
            if number == 0 {
                together.begin(seen);
            }
            if together.push(seen, spike(own - 1)) {
                assert!(together.take(seen));
                made.push((own, together));
            }
        }
        made
    }

    fn even(micros: u32) -> Vec<(i32, Together)> {
        means(micros, |_| 0, |_| 0, |_| 0)
    }

    #[test]
    fn as_many_are_taken_together_as_come_in_five_ms() {
        for (micros, together) in [
            (100_000, 1),
            (5_000, 1),
            (3_000, 1),
            (2_500, 2),
            (2_000, 2),
            (1_000, 4),
            (500, 8),
            (125, 32),
        ] {
            let made = even(micros);
            let last: Vec<i32> = made
                .iter()
                .rev()
                .take(3)
                .map(|(number, _)| *number)
                .collect();
            assert_eq!(last[0] - last[1], together, "{micros} µs");
            assert_eq!(last[1] - last[2], together, "{micros} µs");
            assert_eq!(1 << made[made.len() - 1].1.bits(), together);
        }
    }

    #[test]
    fn the_mean_is_that_of_the_readings_and_what_is_sure_lags_by_one() {
        let made = means(1_000, |own| 1_000 * own, |own| 50_000 + 80 * own, |_| 0);
        let (number, together) = made[made.len() - 1];
        let seen = (together.seen.torque, together.seen.rotation);
        // Of the last four: one and a half before the newest.
        assert_eq!(seen, (1_000 * number - 1_500, 50_000 + 80 * number - 120));
        assert_eq!(together.sure, (seen.0 - 1_000, seen.1 - 80));
    }

    #[test]
    fn a_spike_is_in_what_was_seen_and_not_in_what_is_sure() {
        let tall = |own: i32| if own == 150 { 8_000 } else { 0 };
        let made = means(1_000, |own| 20_000 + tall(own), |_| 0, tall);
        let seen: Vec<i32> = made
            .iter()
            .map(|(_, together)| together.seen.torque)
            .collect();
        assert_eq!(seen.iter().filter(|torque| **torque == 22_000).count(), 1);
        assert!(made.iter().all(|(_, together)| together.sure.0 == 20_000));
    }

    #[test]
    fn what_was_not_whole_is_a_mean_too_and_nothing_is_none() {
        let mut made = means(1_000, |_| 30_000, |_| 0, |_| 0);
        let (_, mut together) = made.pop().expect("some");
        let from = together.seen.ticks;
        let at = |millis: u32, torque: i32| Seen {
            ticks: from + millis,
            torque,
            rotation: 0,
        };
        assert!(!together.take(at(0, 30_000)));
        let (one, other) = (at(1, 30_000), at(2, 31_000));
        assert!(!together.push(one, 0));
        assert!(!together.push(other, 0));
        assert!(together.take(other));
        assert_eq!((together.seen.torque, together.sure.0), (30_500, 30_000));
        // Late: it is not waited for more.
        let late = at(10, 33_000);
        assert!(together.push(late, 0));
    }
}
