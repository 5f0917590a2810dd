//! The way of a reading: counts in, a sample or a named fault out; the zero and the gyro's rest learnt while nothing moves.
//!
//! Knows nothing of pulls.

use super::{Calibration, Counts, Sample};
use crate::unit::{Rotation, Span, Torque};

/// Below this the tool counts as unloaded, for the gyro's rest: 0.5 N·m.
pub(super) const UNLOADED: i32 = 500;
/// Rates that differ from the last known rest by less than this are rest: 3 °/s.
pub(super) const REST_MILLIDEGREES_PER_SECOND: i64 = 3_000;
/// Torque that changes by less from one reading to the next is still: 0.8 N·m.
const STILL: i32 = 800;
/// Readings at rest, in a row, before a zero or the gyro's rest is taken: a power of two.
const STILL_READINGS: u32 = 256;
const STILL_SHIFT: u32 = STILL_READINGS.trailing_zeros();
/// Beyond a tenth of a second the rate says nothing about the time between.
const STEP_MAX_MICROS: u64 = 100_000;

/// What is wrong with a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Fault {
    /// The load cell or its converter stands at its end: the torque may be anything beyond.
    Saturated,
    /// The load cell repeats itself to the last count.
    Stuck,
    /// Readings were missing before this one.
    Gap,
    /// Older than the one before.
    Reversed,
}

/// What came of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reading {
    /// A sample to be judged.
    Sample(Sample),
    /// Nothing that may be judged, and why.
    Faulty(Fault),
}

/// What became of the zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Zero {
    /// One was asked for, and taken, so far from the maker's.
    Taken(Torque),
    /// One was asked for and refused: the tool stands so far from the maker's zero that it is loaded or strained.
    Refused(Torque),
    /// Unloaded and still, the tool stands so far from its zero. Told once; the zero stays until one is asked for.
    Drifted(Torque),
}

/// A reading, and what it brought for the zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sensed {
    /// The reading.
    pub reading: Reading,
    /// The zero, where something became of it.
    pub zero: Option<Zero>,
}

/// The way from counts to samples.
///
/// # Examples
/// ```
/// use evendraw_core::sample::{Calibration, Counts, Numbers, Reading, Sensing};
/// use evendraw_core::unit::{Instant, Span, Torque};
///
/// let newton_meters = |value: i32| Torque::from_millinewton_meters(value * 1_000);
/// let calibration = Calibration::new(Numbers {
///     zero: 1_000,
///     scale: 2_621, // 0.04 mN·m a count
///     count_max: 0x7f_ffff,
///     rate_scale: 17_920, // 70 millidegrees a second
///     capacity: newton_meters(200),
///     band: newton_meters(2),
///     drift: newton_meters(1),
///     gap: Span::from_millis(50),
///     same_max: 100,
/// })?;
/// let mut sensing = Sensing::new(calibration);
/// let counts = Counts { at: Instant::from_micros(1_000), bridge: 501_000, rate: 0 };
/// let Reading::Sample(sample) = sensing.take(counts).reading else { panic!("a sound reading") };
/// assert_eq!(sample.torque.millinewton_meters(), 19_997);
/// # Ok::<(), evendraw_core::sample::CalibrationError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Sensing {
    calibration: Calibration,
    zero: i32,
    /// Whether a zero is wanted.
    asked: bool,
    drift_told: bool,
    last: Option<Counts>,
    /// Equal counts of the load cell in a row.
    same: u16,
    /// Rotation in 2⁻²⁰ millidegrees.
    turned: i64,
    /// The gyro's count at rest.
    rest: i32,
    still: u32,
    bridge_sum: i64,
    rate_sum: i32,
}

impl Sensing {
    /// With the maker's zero, until a better one is taken; the first still moment after a start is asked for one.
    #[must_use]
    pub const fn new(calibration: Calibration) -> Self {
        Self {
            zero: calibration.numbers().zero,
            calibration,
            asked: true,
            drift_told: false,
            last: None,
            same: 0,
            turned: 0,
            rest: 0,
            still: 0,
            bridge_sum: 0,
            rate_sum: 0,
        }
    }

    /// Asks for a zero at the next still moment.
    pub const fn ask_zero(&mut self) {
        self.asked = true;
    }

    /// Readings were not looked at for a while, on purpose: the next one is compared with none, so no gap is found. What turned
    /// meanwhile is not known.
    pub const fn look_away(&mut self) {
        self.last = None;
        self.same = 0;
        self.disturbed();
    }

    /// Takes a reading. A faulty one changes neither zero nor rest, and of the rotation only what is sure.
    pub fn take(&mut self, counts: Counts) -> Sensed {
        let before = self.last;
        if let Some(last) = before {
            if counts.at < last.at {
                return Sensed {
                    reading: Reading::Faulty(Fault::Reversed),
                    zero: None,
                };
            }
            self.same = if counts.bridge == last.bridge {
                self.same.saturating_add(1)
            } else {
                0
            };
            self.turn(counts.rate, counts.at.since(last.at).micros());
        }
        self.last = Some(counts);
        if let Some(fault) = self.fault(before, counts) {
            self.disturbed();
            return Sensed {
                reading: Reading::Faulty(fault),
                zero: None,
            };
        }
        let zero = before.and_then(|last| self.rest(last, counts));
        Sensed {
            reading: Reading::Sample(Sample {
                torque: self.torque(counts.bridge, self.zero),
                rotation: Rotation::from_wide(self.turned >> 20),
            }),
            zero,
        }
    }

    /// What is wrong with a reading that is newer than the one before.
    fn fault(&self, before: Option<Counts>, counts: Counts) -> Option<Fault> {
        let numbers = self.calibration.numbers();
        let passed = before.map_or(Span::ZERO, |last| counts.at.since(last.at));
        if counts.bridge.unsigned_abs() >= numbers.count_max.unsigned_abs() {
            Some(Fault::Saturated)
        } else if numbers.gap > Span::ZERO && passed > numbers.gap {
            Some(Fault::Gap)
        } else if numbers.same_max > 0 && self.same >= numbers.same_max {
            Some(Fault::Stuck)
        } else {
            None
        }
    }

    /// Torque of a count over a zero. Both lie within ±2³⁰ and the scale below 2³⁰, so the product fits.
    fn torque(&self, count: i32, zero: i32) -> Torque {
        let above = i64::from(count).wrapping_sub(i64::from(zero));
        let scaled = above.wrapping_mul(i64::from(self.calibration.numbers().scale));
        // Half a unit more, so that the shift rounds instead of cutting.
        Torque::from_wide(scaled.wrapping_add(0x8000) >> 16)
    }

    /// The rate over the rest, in 1/256 millidegree a second.
    fn turning(&self, rate: i16) -> i64 {
        let above = i64::from(i32::from(rate).wrapping_sub(self.rest));
        above.wrapping_mul(i64::from(self.calibration.numbers().rate_scale))
    }

    fn turn(&mut self, rate: i16, micros: u64) {
        let passed = i64::try_from(micros.min(STEP_MAX_MICROS)).unwrap_or(0);
        // 2¹⁷ counts × 2²² × 2¹⁷ µs, shifted by 8; times 17,180 / 2¹⁴, which is 2²⁰ / 10⁶ to four millionths, it still fits.
        let step = self.turning(rate).wrapping_mul(passed) >> 8;
        let step = step.wrapping_mul(17_180) >> 14;
        self.turned = self.turned.saturating_add(step);
    }

    const fn disturbed(&mut self) {
        (self.still, self.bridge_sum, self.rate_sum) = (0, 0, 0);
    }

    /// Learns the rest of both sensors while the tool is still.
    fn rest(&mut self, last: Counts, counts: Counts) -> Option<Zero> {
        let moved = self.turning(counts.rate).wrapping_abs() > REST_MILLIDEGREES_PER_SECOND << 8
            || self
                .torque(counts.bridge, last.bridge)
                .abs()
                .millinewton_meters()
                > STILL;
        if moved {
            self.disturbed();
            return None;
        }
        self.still = self.still.wrapping_add(1);
        self.bridge_sum = self.bridge_sum.wrapping_add(i64::from(counts.bridge));
        self.rate_sum = self.rate_sum.wrapping_add(i32::from(counts.rate));
        if self.still < STILL_READINGS {
            return None;
        }
        let mean = i32::try_from(self.bridge_sum >> STILL_SHIFT).unwrap_or(self.zero);
        let rest = self.rate_sum >> STILL_SHIFT;
        self.disturbed();
        let from_zero = self.torque(mean, self.zero);
        if from_zero.abs().millinewton_meters() < UNLOADED {
            self.rest = rest;
        }
        if self.asked {
            return Some(self.take_zero(mean));
        }
        self.watch_drift(mean, from_zero)
    }

    fn take_zero(&mut self, mean: i32) -> Zero {
        self.asked = false;
        let numbers = self.calibration.numbers();
        let offset = self.torque(mean, numbers.zero);
        if offset.abs() > numbers.band {
            return Zero::Refused(offset);
        }
        self.zero = mean;
        self.drift_told = false;
        Zero::Taken(offset)
    }

    /// A tool that lies still near its maker's zero, but not at its own, has drifted. Farther off it is loaded, and says nothing.
    fn watch_drift(&mut self, mean: i32, from_zero: Torque) -> Option<Zero> {
        let numbers = self.calibration.numbers();
        let unloaded = self.torque(mean, numbers.zero).abs() <= numbers.band;
        if self.drift_told || !unloaded || from_zero.abs() <= numbers.drift {
            return None;
        }
        self.drift_told = true;
        Some(Zero::Drifted(from_zero))
    }
}

#[cfg(test)]
mod tests;
