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
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::sample::{CalibrationError, Numbers};
    use crate::unit::Instant;

    fn newton_meters(value: i32) -> Torque {
        Torque::from_millinewton_meters(value * 1_000)
    }

    /// 0.04 mN·m a count, 70 millidegrees a second a count.
    fn numbers() -> Numbers {
        Numbers {
            zero: 1_000,
            scale: 2_621,
            count_max: 0x7f_ffff,
            rate_scale: 70 * 256,
            capacity: newton_meters(200),
            band: newton_meters(2),
            drift: newton_meters(1),
            gap: Span::from_millis(50),
            same_max: 100,
        }
    }

    fn sensing() -> Sensing {
        Sensing::new(Calibration::new(numbers()).unwrap())
    }

    /// A reading at a time in ms, with the ripple that a live load cell has.
    fn counts(millis: u32, bridge: i32, rate: i16) -> Counts {
        Counts {
            at: Instant::BOOT.after(Span::from_millis(millis)),
            bridge: bridge + i32::from(millis.is_multiple_of(2)),
            rate,
        }
    }

    fn sample(sensed: Sensed) -> Sample {
        match sensed.reading {
            Reading::Sample(sample) => sample,
            Reading::Faulty(fault) => panic!("{fault:?}"),
        }
    }

    /// What became of the zero in so many still readings from a time on.
    fn still(sensing: &mut Sensing, from: u32, count: u32, bridge: i32) -> Option<Zero> {
        (from..from + count).fold(None, |zero, millis| {
            zero.or(sensing.take(counts(millis, bridge, 0)).zero)
        })
    }

    #[test]
    fn a_zero_is_taken_at_rest_and_refused_under_twelve_newton_meters() {
        let mut sensing = sensing();
        let zero = still(&mut sensing, 0, 600, 11_000);
        assert_eq!(
            zero,
            Some(Zero::Taken(Torque::from_millinewton_meters(400)))
        );
        let torque = sample(sensing.take(counts(600, 11_000, 0))).torque;
        assert_eq!(torque, Torque::ZERO);

        let mut sensing = self::sensing();
        let zero = still(&mut sensing, 0, 600, 301_000);
        assert_eq!(
            zero,
            Some(Zero::Refused(Torque::from_millinewton_meters(11_998)))
        );
        let torque = sample(sensing.take(counts(600, 301_000, 0))).torque;
        assert_eq!(torque.millinewton_meters(), 11_998);
    }

    #[test]
    fn a_drift_of_the_unloaded_tool_is_told_once_and_never_followed() {
        let mut sensing = sensing();
        assert!(matches!(
            still(&mut sensing, 0, 300, 1_000),
            Some(Zero::Taken(_))
        ));
        // 1.5 N·m off its zero, within the maker's 2 N·m.
        let told = still(&mut sensing, 300, 600, 38_500);
        let drifted = Torque::from_millinewton_meters(1_500);
        assert_eq!(told, Some(Zero::Drifted(drifted)));
        assert_eq!(still(&mut sensing, 900, 600, 38_500), None);
        assert_eq!(
            sample(sensing.take(counts(1_500, 38_500, 0))).torque,
            drifted
        );
        // Asked for, it becomes the zero; a load held still for a minute does not.
        sensing.ask_zero();
        assert!(matches!(
            still(&mut sensing, 1_501, 300, 38_500),
            Some(Zero::Taken(_))
        ));
        assert_eq!(still(&mut sensing, 1_801, 60_000, 1_038_500), None);
    }

    #[test]
    fn ninety_degrees_are_measured_and_the_gyros_rest_is_not() {
        let mut sensing = sensing();
        // At rest the gyro says 7 counts, which is 0.49 °/s.
        for millis in 0..1_000 {
            sensing.take(counts(millis, 1_000, 7));
        }
        let before = sample(sensing.take(counts(1_000, 1_000, 7))).rotation;
        // 1,286 counts of 0.07 °/s over rest, for a second, under load: 90.02°.
        for millis in 1_001..2_000 {
            sensing.take(counts(millis, 501_000, 1_293));
        }
        let after = sample(sensing.take(counts(2_000, 501_000, 1_293))).rotation;
        let turned = (after - before).millidegrees();
        assert!((90_015..=90_025).contains(&turned), "{turned}");
    }

    #[test]
    fn saturated_stuck_missing_and_reversed_readings_are_named() {
        let mut sensing = sensing();
        let fault = |sensed: Sensed| match sensed.reading {
            Reading::Faulty(fault) => Some(fault),
            Reading::Sample(_) => None,
        };
        assert_eq!(fault(sensing.take(counts(0, 5_000, 0))), None);
        let end = counts(1, 0x7f_ffff, 0);
        assert_eq!(fault(sensing.take(end)), Some(Fault::Saturated));
        assert_eq!(
            fault(sensing.take(counts(2, -0x80_0000, 0))),
            Some(Fault::Saturated)
        );
        assert_eq!(fault(sensing.take(counts(3, 5_000, 0))), None);
        assert_eq!(
            fault(sensing.take(counts(2, 5_000, 0))),
            Some(Fault::Reversed)
        );
        assert_eq!(fault(sensing.take(counts(54, 5_000, 0))), Some(Fault::Gap));
        assert_eq!(fault(sensing.take(counts(55, 5_000, 0))), None);
        let found = (56..300).find_map(|millis| {
            let same = Counts {
                bridge: 70_000,
                ..counts(millis, 0, 0)
            };
            fault(sensing.take(same)).map(|fault| (millis, fault))
        });
        assert_eq!(found, Some((156, Fault::Stuck)), "the 101st of its kind");
    }

    #[test]
    fn where_no_count_of_same_readings_is_stated_none_is_too_many() {
        let own = Numbers {
            same_max: 0,
            ..numbers()
        };
        let mut sensing = Sensing::new(Calibration::new(own).unwrap());
        for millis in 0..400 {
            let same = Counts {
                bridge: 70_000,
                ..counts(millis, 0, 0)
            };
            assert!(matches!(sensing.take(same).reading, Reading::Sample(_)));
        }
    }

    #[test]
    fn a_time_without_a_look_is_no_gap_and_nothing_turned_in_it() {
        let mut sensing = sensing();
        sensing.take(counts(0, 1_000, 1_286));
        let before = sample(sensing.take(counts(1, 1_000, 1_286))).rotation;
        sensing.look_away();
        let after = sample(sensing.take(counts(3_001, 1_000, 1_286))).rotation;
        assert_eq!((after - before).millidegrees(), 0);
        // From there on as before: a gap that nobody asked for is one.
        let late = sensing.take(counts(3_100, 1_000, 1_286)).reading;
        assert!(matches!(late, Reading::Faulty(Fault::Gap)));
    }

    #[test]
    fn numbers_out_of_bounds_are_no_calibration() {
        let with = |change: fn(&mut Numbers)| {
            let mut numbers = numbers();
            change(&mut numbers);
            Calibration::new(numbers)
        };
        assert_eq!(with(|n| n.scale = 0), Err(CalibrationError::Scale(0)));
        assert_eq!(
            with(|n| n.zero = 0x7f_ffff),
            Err(CalibrationError::Zero(0x7f_ffff))
        );
        assert_eq!(
            with(|n| n.count_max = -1),
            Err(CalibrationError::CountMax(-1))
        );
        assert_eq!(
            with(|n| n.rate_scale = 1 << 23),
            Err(CalibrationError::RateScale(1 << 23))
        );
        assert_eq!(
            with(|n| n.band = Torque::ZERO),
            Err(CalibrationError::NotPositive(Torque::ZERO))
        );
        assert_eq!(
            with(|n| n.drift = newton_meters(300)),
            Err(CalibrationError::Wide(newton_meters(300)))
        );
    }

    prop_compose! {
        fn any_numbers()(
            count_max in 2_i32..=1 << 30,
            zero in any::<i32>(),
            scale in 1_u32..=1 << 30,
            rate_scale in 1_u32..=1 << 22,
            capacity in 1_000_i32..=1_000_000_000,
            band in 1_i32..=1_000,
            drift in 1_i32..=1_000,
            gap in any::<u32>(),
            same_max in any::<u16>(),
        ) -> Numbers {
            Numbers {
                zero: zero % count_max,
                scale,
                count_max,
                rate_scale,
                capacity: Torque::from_millinewton_meters(capacity),
                band: Torque::from_millinewton_meters(band),
                drift: Torque::from_millinewton_meters(drift),
                gap: Span::from_millis(gap),
                same_max,
            }
        }
    }

    proptest! {
        /// L1 for the way of a reading, and its torque against exact arithmetic: within half a mN·m of count times scale.
        #[test]
        fn any_counts_at_any_time_give_the_exact_torque_or_a_fault(
            numbers in any_numbers(),
            readings in prop::collection::vec((any::<u64>(), any::<i32>(), any::<i16>()), 1..40),
        ) {
            let mut sensing = Sensing::new(Calibration::new(numbers).unwrap());
            for (at, bridge, rate) in readings {
                let counts = Counts { at: Instant::from_micros(at), bridge, rate };
                if let Reading::Sample(sample) = sensing.take(counts).reading {
                    let exact = (i128::from(bridge) - i128::from(numbers.zero)) * i128::from(numbers.scale);
                    let shown = i128::from(sample.torque.millinewton_meters());
                    let edge = i128::from(Torque::MAX.millinewton_meters());
                    if (exact >> 16).abs() < edge {
                        prop_assert!((shown * 65_536 - exact).abs() <= 32_768);
                    } else {
                        prop_assert_eq!(shown.abs(), edge);
                    }
                }
            }
        }

        /// However the tool is loaded beyond the band, it never becomes the zero.
        #[test]
        fn no_load_beyond_the_band_becomes_zero(load in 50_100_i32..8_000_000, push in any::<bool>()) {
            let mut sensing = sensing();
            let bridge = if push { 1_000 + load } else { 1_000 - load };
            let before = sample(sensing.take(counts(0, bridge, 0))).torque;
            let zero = still(&mut sensing, 1, 600, bridge);
            prop_assert!(matches!(zero, Some(Zero::Refused(_))), "{zero:?}");
            let after = sample(sensing.take(counts(602, bridge, 0))).torque;
            prop_assert_eq!(before, after);
        }
    }
}
