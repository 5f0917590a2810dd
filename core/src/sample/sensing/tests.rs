//! From counts to samples: every limit to the count, what is a fault, and when a zero is taken.

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

/// One mN·m and one degree a second a count, so that every limit can be met to the count.
const EXACT: Numbers = Numbers {
    zero: 0,
    scale: 1 << 16,
    count_max: 0x7f_ffff,
    rate_scale: 1_000 << 8,
    capacity: Torque::from_millinewton_meters(200_000),
    band: Torque::from_millinewton_meters(2_000),
    drift: Torque::from_millinewton_meters(1_000),
    gap: Span::ZERO,
    same_max: 0,
};

fn exact() -> Sensing {
    Sensing::new(Calibration::new(EXACT).unwrap())
}

/// What became of the zero in so many readings, one count up and one down around a load, at a rate.
fn lies(sensing: &mut Sensing, from: u32, count: u32, load: i32, rate: i16) -> Option<Zero> {
    (from..from + count).fold(None, |zero, millis| {
        let ripple = if millis.is_multiple_of(2) { 1 } else { -1 };
        let counts = Counts {
            at: Instant::BOOT.after(Span::from_millis(millis)),
            bridge: load + ripple,
            rate,
        };
        zero.or(sensing.take(counts).zero)
    })
}

const fn mn_m(value: i32) -> Torque {
    Torque::from_millinewton_meters(value)
}

#[test]
fn a_zero_is_taken_up_to_the_band_of_the_maker_and_no_farther() {
    for (load, wanted) in [
        (2_000, Zero::Taken(mn_m(2_000))),
        (-2_000, Zero::Taken(mn_m(-2_000))),
        (2_001, Zero::Refused(mn_m(2_001))),
        (-2_001, Zero::Refused(mn_m(-2_001))),
    ] {
        assert_eq!(lies(&mut exact(), 0, 300, load, 0), Some(wanted));
    }
}

#[test]
fn a_drift_is_told_beyond_its_limit_and_only_of_a_tool_that_is_unloaded() {
    // Where the zero was, where the tool lies now, and what is told of it.
    for (zero, load, told) in [
        (0, 1_000, None),
        (0, 1_001, Some(1_001)),
        (0, -1_001, Some(-1_001)),
        (0, 2_000, Some(2_000)),
        (0, 2_001, None),
        (1_500, 2_000, None),
        (1_500, -2_000, Some(-3_500)),
    ] {
        let mut sensing = exact();
        let taken = lies(&mut sensing, 0, 300, zero, 0);
        assert_eq!(taken, Some(Zero::Taken(mn_m(zero))));
        let found = lies(&mut sensing, 300, 600, load, 0);
        assert_eq!(found, told.map(|told| Zero::Drifted(mn_m(told))), "{load}");
    }
    // After a new zero a new drift is told.
    let mut sensing = exact();
    lies(&mut sensing, 0, 300, 0, 0);
    assert!(lies(&mut sensing, 300, 600, 1_200, 0).is_some());
    sensing.ask_zero();
    let taken = lies(&mut sensing, 900, 300, 1_200, 0);
    assert_eq!(taken, Some(Zero::Taken(mn_m(1_200))));
    let again = lies(&mut sensing, 1_200, 600, -100, 0);
    assert_eq!(again, Some(Zero::Drifted(mn_m(-1_300))));
}

#[test]
fn a_tool_is_still_while_it_turns_no_faster_and_its_load_steps_no_farther_than_allowed() {
    for (rate, is_still) in [(3, true), (-3, true), (4, false), (-4, false)] {
        let zero = lies(&mut exact(), 0, 300, 0, rate);
        assert_eq!(zero.is_some(), is_still, "{rate} °/s");
    }
    for (step, is_still) in [(800, true), (801, false)] {
        let mut sensing = exact();
        let zero = (0..300).find_map(|millis: u32| {
            let bridge = if millis.is_multiple_of(2) { 0 } else { step };
            let at = Instant::BOOT.after(Span::from_millis(millis));
            sensing
                .take(Counts {
                    at,
                    bridge,
                    rate: 0,
                })
                .zero
        });
        assert_eq!(zero.is_some(), is_still, "{step} mN·m");
    }
}

/// What the gyro says at rest is learnt from an unloaded tool; under a load somebody may be pulling, slowly.
#[test]
fn the_gyros_rest_is_learnt_below_half_a_newton_meter() {
    for (load, is_learnt) in [(499, true), (-499, true), (500, false), (-500, false)] {
        let mut sensing = exact();
        lies(&mut sensing, 0, 257, load, 2);
        let mut turned = |millis| {
            let at = Instant::BOOT.after(Span::from_millis(millis));
            sample(sensing.take(Counts {
                at,
                bridge: load,
                rate: 2,
            }))
            .rotation
        };
        let (before, after) = (turned(257), turned(307));
        let wanted = if is_learnt { 0 } else { 100 };
        let found = (after - before).millidegrees();
        assert!((found - wanted).abs() <= 1, "{load}: {found}");
    }
}

#[test]
fn a_gap_is_what_is_longer_than_the_longest_allowed() {
    let faulty = |gap, passed| {
        let own = Numbers { gap, ..EXACT };
        let mut sensing = Sensing::new(Calibration::new(own).unwrap());
        sensing.take(counts(0, 0, 0));
        let at = Instant::from_micros(passed);
        let sensed = sensing.take(Counts {
            at,
            ..counts(1, 0, 0)
        });
        matches!(sensed.reading, Reading::Faulty(Fault::Gap))
    };
    let gap = Span::from_millis(50);
    assert!(!faulty(gap, 50_000) && faulty(gap, 50_001));
    // Where none is stated, none is too long.
    assert!(!faulty(Span::ZERO, 5_000_000));
}

#[test]
fn two_readings_of_one_time_are_in_order() {
    let mut sensing = sensing();
    sample(sensing.take(counts(5, 1_000, 0)));
    sample(sensing.take(counts(5, 1_001, 0)));
    let older = sensing.take(counts(4, 1_000, 0)).reading;
    assert_eq!(older, Reading::Faulty(Fault::Reversed));
}

/// Of the readings before nothing is carried over: neither that they were still, nor that they were the same.
#[test]
fn whatever_breaks_the_row_of_readings_begins_it_anew() {
    let mut looked_away = sensing();
    assert_eq!(still(&mut looked_away, 0, 250, 1_000), None);
    looked_away.look_away();
    assert_eq!(still(&mut looked_away, 250, 250, 1_000), None);
    assert!(still(&mut looked_away, 500, 10, 1_000).is_some());
    let mut gap = sensing();
    assert_eq!(still(&mut gap, 0, 250, 1_000), None);
    assert_eq!(still(&mut gap, 400, 250, 1_000), None);
    assert!(still(&mut gap, 650, 10, 1_000).is_some());
    let mut same = sensing();
    let repeated = |millis| Counts {
        bridge: 70_000,
        ..counts(millis, 0, 0)
    };
    // A hundred are too many: ninety-nine repetitions, a look away, ninety-nine more.
    for millis in 0..100 {
        sample(same.take(repeated(millis)));
    }
    same.look_away();
    for millis in 100..200 {
        sample(same.take(repeated(millis)));
    }
    let one_more = same.take(repeated(200)).reading;
    assert_eq!(one_more, Reading::Faulty(Fault::Stuck));
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
