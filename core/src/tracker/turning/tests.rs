//! What a fastener turned, each rule at its bound.

use super::super::tests::seen;
use super::*;

/// A quarter of a millidegree for a mN·m: 4 N·m a degree.
const QUARTER: i64 = 1 << (COMPLIANCE_BITS - 2);

fn thresholds() -> Thresholds {
    Thresholds::IDLE
}

fn tight(still_below: i32) -> Turning {
    let mut limits = thresholds();
    limits.still_below = still_below;
    let mut turning = Turning::new(&limits);
    turning.start_pull(seen(50, 0, 7_000));
    turning
}

#[test]
fn a_crossing_is_found_between_two_readings_whichever_way_they_go() {
    let (low, high) = (seen(0, 2_000, 1_000), seen(5, 6_096, 5_096));
    for (level, at) in [
        (2_001, 1_004),
        (4_000, 3_000),
        (4_048, 3_048),
        (6_096, 5_096),
    ] {
        for found in [crossing(low, high, level), crossing(high, low, level)] {
            assert_eq!(found, at, "{level}");
        }
    }
    assert_eq!(crossing(low, low, 2_000), 1_000);
}

#[test]
fn while_torque_climbs_only_the_highest_is_kept() {
    let mut turning = Turning {
        climbs_from: 10_000,
        peak: 16_000,
        ..Turning::NEW
    };
    for (torque, climbs, peak, from) in [
        (9_999, false, 16_000, 10_000),
        (10_000, true, 16_000, 10_000),
        (16_000, true, 16_000, 10_000),
        (16_008, true, 16_008, 14_007),
        (24_000, true, 24_000, 21_000),
        (20_999, false, 24_000, 21_000),
    ] {
        assert_eq!(turning.climbs(torque), climbs, "{torque}");
        assert_eq!((turning.peak, turning.climbs_from), (peak, from));
    }
    // Counting began higher up: from there on.
    turning.climbs_from = 30_000;
    assert!(turning.climbs(31_000));
    assert_eq!(turning.climbs_from, 30_000);
}

#[test]
fn counting_begins_where_the_level_is_crossed() {
    let limits = thresholds();
    for (before, torque, counts, rotation) in [
        (Some(seen(50, 3_000, 7_000)), 4_999, false, 0),
        (Some(seen(50, 3_000, 7_000)), 5_000, true, 9_000),
        (Some(seen(50, 3_000, 7_000)), 7_000, true, 8_000),
        (Some(seen(50, 5_000, 7_000)), 7_000, true, 9_000),
        (None, 7_000, true, 9_000),
    ] {
        let mut turning = tight(0);
        turning.follow(before, seen(55, torque, 9_000), 5_000, &limits);
        assert_eq!(turning.is_counting(), counts, "{torque}");
        assert_eq!(turning.from.is_some(), counts);
        if let Some(from) = turning.from {
            assert_eq!((from.rotation, from.at), (rotation, 55));
            let level = if before.is_some_and(|own| own.torque < 5_000) {
                5_000
            } else {
                torque
            };
            assert_eq!(from.torque, level);
        }
    }
}

#[test]
fn the_way_down_is_marked_where_it_crosses_the_torque_at_which_counting_began() {
    let limits = thresholds();
    for (before, torque, marked) in [
        (Some(5_000), 4_999, true),
        (Some(5_000), 5_000, false),
        (Some(4_999), 4_000, false),
        (None, 4_000, false),
    ] {
        let mut turning = tight(0);
        turning.follow(None, seen(55, 5_000, 9_000), 5_000, &limits);
        let before = before.map(|torque| seen(60, torque, 9_500));
        turning.follow(before, seen(65, torque, 9_400), 5_000, &limits);
        assert_eq!(turning.to.is_some(), marked, "{before:?} {torque}");
        if let Some(to) = turning.to {
            assert_eq!((to.torque, to.at), (5_000, 65));
            assert_eq!(to.rotation, 9_500);
        }
    }
}

#[test]
fn a_way_down_begins_an_eighth_below_the_top_and_is_forgotten_on_the_way_up() {
    let limits = thresholds();
    let mut turning = tight(0);
    for (torque, count, climbs_from) in [
        (3_999, 0, i32::MAX),
        (4_000, 0, 4_000),
        (16_000, 0, 14_000),
        (14_000, 0, 14_000),
        (13_999, 1, i32::MAX),
        (13_000, 2, i32::MAX),
        (14_000, 0, 14_000),
    ] {
        turning.follow(None, seen(55, torque, 9_000), 4_000, &limits);
        assert_eq!(turning.fall.count(), count, "{torque}");
        assert_eq!(turning.climbs_from, climbs_from, "{torque}");
    }
    // Counting began above that.
    let mut turning = tight(0);
    turning.follow(None, seen(55, 6_000, 9_000), 5_000, &limits);
    assert_eq!(turning.climbs_from, 6_000);
}

#[test]
fn a_renewed_pull_winds_its_train_up_from_an_eighth_to_half_of_what_the_fastener_holds() {
    let limits = thresholds();
    let mut turning = tight(20_000);
    for (torque, count, is_over) in [
        (2_499, 0, false),
        (2_500, 1, false),
        (10_000, 2, false),
        (10_001, 2, true),
        (9_000, 2, true),
    ] {
        turning.follow(None, seen(55, torque, 9_000), 30_000, &limits);
        assert_eq!(turning.rise.count(), count, "{torque}");
        assert_eq!(turning.rise_over, is_over, "{torque}");
    }
    // Nothing is passed over while the train winds up.
    let mut turning = tight(20_000);
    turning.follow(None, seen(55, 6_000, 9_000), 5_000, &limits);
    assert_eq!(turning.climbs_from, i32::MAX);
    turning.follow(None, seen(55, 10_001, 9_000), 5_000, &limits);
    assert_eq!(turning.climbs_from, 8_751);
}

#[test]
fn the_trains_stiffness_is_found_while_it_winds_up_unless_it_is_known() {
    for shift in [0, 2] {
        let mut limits = thresholds();
        limits.shift = shift;
        for known in [0, 7] {
            let mut turning = tight(20_000);
            turning.compliance = known;
            for step in 0..12 {
                let torque = 4_000 + 500 * step;
                let rotation = 7_000 + torque / 4;
                turning.follow(None, seen(60, torque, rotation), 30_000, &limits);
            }
            assert_eq!(turning.compliance, known);
            turning.follow(None, seen(60, 10_500, 9_625), 30_000, &limits);
            let found = if known == 0 { QUARTER } else { known };
            assert_eq!(turning.compliance, found, "shift {shift}");
        }
    }
}

#[test]
fn a_pull_begins_with_nothing_of_the_one_before_but_what_was_turned() {
    let limits = thresholds();
    let mut turning = tight(0);
    for torque in [4_000, 8_000, 16_000, 6_000] {
        turning.follow(
            Some(seen(50, 8_000, 0)),
            seen(55, torque, 9_000),
            5_000,
            &limits,
        );
    }
    turning.to = turning.from;
    turning.rise.add(1, 1, 1);
    turning.done = 77;
    turning.still_below = 16_000;
    turning.climbs_from = 1;
    turning.start_pull(seen(90, 100, 1_234));
    assert_eq!((turning.origin, turning.origin_at), (1_234, 90));
    assert_eq!((turning.peak, turning.climbs_from), (0, i32::MAX));
    assert_eq!((turning.rise.count(), turning.fall.count()), (0, 0));
    assert!(turning.from.is_none() && turning.to.is_none());
    assert!(!turning.rise_over && turning.is_counting());
    assert_eq!(turning.total(), Some(77));
    turning.still_below = 0;
    turning.start_pull(seen(90, 100, 1_234));
    assert!(turning.rise_over);
}

#[test]
fn what_was_a_knock_is_not_counted() {
    let mut turning = tight(0);
    turning.follow(None, seen(55, 5_000, 9_000), 5_000, &thresholds());
    turning.to = turning.from;
    turning.recount();
    assert!(!turning.is_counting());
    assert!(turning.from.is_none() && turning.to.is_none());
    assert_eq!(turning.climbs_from, i32::MAX);
    assert_eq!(turning.now(Some(seen(60, 6_000, 9_000)), 0), None);
}

#[test]
fn what_is_turned_so_far_is_the_way_since_counting_began_without_the_wind_up() {
    let mut turning = tight(0);
    let now = Some(seen(60, 9_000, 19_000));
    assert_eq!(turning.now(now, 0), None);
    turning.follow(None, seen(55, 5_000, 9_000), 5_000, &thresholds());
    turning.done = 100;
    assert_eq!(turning.now(now, 0), Some(10_100));
    assert_eq!(turning.now(now, QUARTER), Some(9_100));
    assert_eq!(turning.now(None, QUARTER), Some(100));
    assert_eq!(turning.total(), Some(100));
    turning.lose();
    assert_eq!(turning.total(), None);
    assert!(turning.is_lost());
    turning.known = true;
    turning.counting = false;
    assert_eq!(turning.total(), None);
}

#[test]
fn a_pull_that_ends_adds_what_it_turned_and_the_fastener_holds_its_highest_torque() {
    for (still_below, expected) in [(0, 8_000), (9_000, 9_000)] {
        let mut turning = tight(still_below);
        let nothing = turning.end_pull(seen(70, 100, 9_000), true, 0, &thresholds());
        assert_eq!((nothing.counted, nothing.peak), (false, 0));
        assert_eq!(turning.still_below(), still_below);
        turning.follow(None, seen(55, 5_000, 9_000), 5_000, &thresholds());
        turning.follow(None, seen(60, 8_000, 12_000), 5_000, &thresholds());
        turning.to = None;
        let end = turning.end_pull(seen(70, 100, 12_500), true, 0, &thresholds());
        assert_eq!((end.counted, end.peak), (true, 8_000));
        assert_eq!(turning.total(), Some(3_500));
        assert_eq!(turning.still_below(), expected);
        assert!(turning.from.is_none() && turning.to.is_none());
    }
}

/// Up from 5 to 16 N·m while it turns by 20°, and down in so many readings on the line of a train of 4 N·m a degree, this much drift.
fn net(readings: i32, released: bool, drift: i64, shift: u32) -> Option<i64> {
    let mut limits = thresholds();
    limits.shift = shift;
    let mut turning = tight(0);
    turning.follow(None, seen(66, 5_000, 7_000), 5_000, &limits);
    turning.follow(None, seen(55, 16_000, 27_000), 5_000, &limits);
    let (mut torque, mut rotation, mut at) = (13_600, 26_400, 100);
    for _ in 0..readings {
        turning.follow(None, seen(at, torque, rotation), 5_000, &limits);
        torque -= 800;
        rotation -= 200;
        at += 16;
    }
    let last = seen(at, torque, rotation);
    turning.end_pull(last, released, drift, &limits);
    turning.total()
}

#[test]
fn the_trains_line_on_the_way_down_tells_what_the_fastener_turned() {
    // 20° less the wind-up from 5 to 16 N·m.
    for shift in [0, 2] {
        assert_eq!(net(10, true, 0, shift), Some(17_250));
        assert_eq!(net(10, false, 0, shift), Some(17_250));
    }
    // With too few of them the way back itself counts.
    assert_eq!(net(7, true, 0, 0), Some(18_000));
    assert_eq!(net(7, false, 0, 0), None);
    // A drift of a sixteenth of a millidegree a tick, over 106 of them.
    assert_eq!(net(10, true, 1 << 16, 0), Some(17_244));
}

#[test]
fn with_the_stiffness_known_four_readings_on_the_way_down_are_enough_and_the_last_will_do() {
    for (readings, released, expected) in [(4, true, 17_250), (3, true, 17_250), (3, false, 17_250)]
    {
        let limits = thresholds();
        let mut turning = tight(0);
        turning.compliance = QUARTER;
        turning.follow(None, seen(50, 5_000, 7_000), 5_000, &limits);
        turning.follow(None, seen(55, 16_000, 27_000), 5_000, &limits);
        for step in 0..readings {
            let down = seen(100, 13_600 - 800 * step, 26_400 - 200 * step);
            turning.follow(None, down, 5_000, &limits);
        }
        // The last reading was knocked: with four on their line nobody asks it.
        let off = if readings >= 4 { 4_000 } else { 0 };
        let last = seen(200, 8_000, 25_000 + off);
        turning.end_pull(last, released, 0, &limits);
        assert_eq!(turning.total(), Some(expected), "{readings} {released}");
    }
}

#[test]
fn the_crossing_back_counts_where_the_way_down_had_too_few_readings() {
    let limits = thresholds();
    for (drift, expected) in [(0, 19_000), (1 << 20, 18_900)] {
        let mut turning = tight(0);
        turning.follow(None, seen(100, 5_000, 7_000), 5_000, &limits);
        turning.follow(None, seen(155, 16_000, 27_000), 5_000, &limits);
        let before = seen(195, 5_000, 26_000);
        turning.follow(Some(before), seen(200, 4_000, 25_800), 5_000, &limits);
        turning.end_pull(seen(205, 100, 25_000), true, drift, &limits);
        assert_eq!(turning.total(), Some(expected));
    }
}

#[test]
fn a_renewed_pull_is_measured_from_its_trains_line_where_that_has_six_readings() {
    for (readings, expected) in [(6, 4_000), (5, 3_750)] {
        let limits = thresholds();
        let mut turning = tight(20_000);
        turning.compliance = QUARTER;
        // The line lies a quarter of a degree before where counting began.
        for step in 0..readings {
            let torque = 3_000 + 1_000 * step;
            turning.follow(None, seen(60, torque, 7_000 + torque / 4), 30_000, &limits);
        }
        turning.follow(None, seen(70, 24_000, 13_250), 24_000, &limits);
        turning.follow(None, seen(80, 28_000, 18_000), 24_000, &limits);
        for step in 0..6 {
            let torque = 24_000 - 1_000 * step;
            let rotation = 18_000 - (28_000 - torque) / 4;
            turning.follow(None, seen(90, torque, rotation), 24_000, &limits);
        }
        turning.end_pull(seen(95, 100, 11_000), true, 0, &limits);
        assert_eq!(turning.total(), Some(expected), "{readings}");
    }
}

#[test]
fn drift_is_taken_off_by_the_tick() {
    for (drift, sixteenths, millidegrees) in [
        (1 << 20, 16, 1),
        (1 << 20, 160, 10),
        (1 << 19, 160, 5),
        (-(1 << 20), 160, -10),
    ] {
        assert_eq!(drifted(drift, sixteenths), millidegrees);
    }
}
