//! How fast torque and angle grow, each rule at its bound.

use super::super::tests::seen;
use super::*;

/// A reaction of 244 ticks, a plateau of 625 mN·m, snug at 4 N·m.
fn thresholds() -> Thresholds {
    let mut own = Thresholds::IDLE;
    own.reaction = 244;
    own.plateau = 625;
    own.snug = 4_000;
    own
}

/// So many marks every 25 ticks up to the thousandth, growing by so much each.
fn pace(marks: u32, torque: i32, by: (i32, i32)) -> Pace {
    let mut pace = Pace::NEW;
    for back in (0..marks).rev() {
        let steps = i32::try_from(back).unwrap_or(0);
        let mark = seen(
            1_000 - 25 * back,
            torque - by.0 * steps,
            50_000 - by.1 * steps,
        );
        assert!(pace.push(mark));
    }
    pace
}

#[test]
fn a_mark_is_set_at_once_and_then_every_25_ticks() {
    let mut pace = Pace::NEW;
    for (ticks, is_marked) in [(7, true), (31, false), (32, true), (56, false), (100, true)] {
        assert_eq!(pace.push(seen(ticks, 5, 6)), is_marked, "{ticks}");
    }
    assert_eq!(pace.marks[1..], [(7, 5, 6), (32, 5, 6), (100, 5, 6)]);
    pace.approach(100);
    pace.restart();
    assert_eq!((pace.filled, pace.approached), (0, None));
    assert!(pace.push(seen(101, 5, 6)));
}

#[test]
fn the_rate_is_taken_over_the_last_three_marks_or_four() {
    for (marks, oldest) in [
        (0, None),
        (2, None),
        (3, Some(950)),
        (4, Some(925)),
        (9, Some(925)),
    ] {
        let found = pace(marks, 20_000, (100, 0)).oldest();
        assert_eq!(found.map(|(at, ..)| at), oldest, "{marks}");
    }
}

#[test]
fn a_torque_is_level_that_changed_by_no_more_than_a_plateau_over_four_marks() {
    for (marks, torque, is_level) in [
        (4, 20_625, true),
        (4, 20_626, false),
        (4, 19_375, true),
        (4, 19_374, false),
        (3, 20_000, false),
    ] {
        let pace = pace(marks, 20_000, (0, 0));
        let found = pace.is_level(seen(1_010, torque, 0), &thresholds());
        assert_eq!(found, is_level, "{marks} {torque}");
    }
}

#[test]
fn a_hand_has_stopped_that_would_take_more_than_two_seconds_to_its_target() {
    let pace = pace(4, 20_000, (0, 0));
    // 100 mN·m in 100 ticks; and in 10,000 and more, which count as 10,000.
    for (ticks, torque, left, has_stopped) in [
        (1_025, 20_100, 2_000, false),
        (1_025, 20_100, 2_001, true),
        (20_925, 20_100, 20, false),
        (20_925, 20_100, 21, true),
        // A plateau that it left is no stop.
        (1_025, 20_626, 2_000_000, false),
        (1_025, 20_000, 0, false),
        (1_025, 20_000, 1, true),
    ] {
        let now = seen(ticks, torque, 0);
        let found = pace.has_stopped(now, torque + left, &thresholds());
        assert_eq!(found, has_stopped, "{ticks} {torque} {left}");
    }
}

#[test]
fn a_target_is_reached_in_one_reaction_time_and_near_in_two_and_a_half() {
    // 1 N·m in 75 ticks: 3,253 mN·m in 244, 8,133 in 610.
    let pace_of = |marks| pace(marks, 20_000, (500, 0));
    let now = seen(1_000, 20_000, 50_000);
    for (marks, left, reaches, nears) in [
        (3, 4_880, true, true),
        (4, 4_880, true, true),
        (4, 4_881, false, true),
        (4, 12_200, false, true),
        (4, 12_201, false, false),
        (2, 1, false, false),
    ] {
        let pace = pace_of(marks);
        let target = 20_000 + left;
        let limits = thresholds();
        assert_eq!(pace.reaches_torque(now, target, &limits), reaches, "{left}");
        assert_eq!(pace.nears_torque(now, target, &limits), nears, "{left}");
    }
    // Who rests at the target reaches nothing any more.
    assert!(!pace(4, 20_000, (0, 0)).reaches_torque(now, 20_000, &thresholds()));
    assert!(!pace(4, 20_000, (0, 0)).nears_torque(now, 20_000, &thresholds()));
    // However long ago the oldest mark is: 10,000 ticks.
    let late = seen(30_000, 20_000, 50_000);
    assert!(pace_of(4).reaches_torque(late, 20_036, &thresholds()));
    assert!(!pace_of(4).reaches_torque(late, 20_037, &thresholds()));
}

#[test]
fn a_rise_that_is_still_to_come_counts_past_snug_at_the_present_speed_of_turning() {
    // 1° in 75 ticks at 1.024 N·m a degree: 8,133 mN·m in two and a half reaction times.
    for (torque, left, nears) in [
        (4_000, 8_133, true),
        (4_000, 8_134, false),
        (3_999, 8_133, false),
        (20_000, 8_133, true),
    ] {
        let mut limits = thresholds();
        limits.gradient_min = 1_024;
        let mut pace = Pace::NEW;
        for (ticks, rotation) in [(925, 49_000), (950, 49_300), (975, 49_600), (1_000, 50_000)] {
            pace.push(seen(ticks, torque, rotation));
        }
        let now = seen(1_000, torque, 50_000);
        assert_eq!(
            pace.nears_torque(now, torque + left, &limits),
            nears,
            "{torque} {left}"
        );
        limits.gradient_min = 0;
        assert!(!pace.nears_torque(now, torque + left, &limits));
    }
}

#[test]
fn who_was_told_to_slow_down_is_about_to_for_one_and_a_half_reaction_times() {
    // 3° in 75 ticks: 9.76° in a reaction time, 4.88° in half of one, 24.4° in two and a half.
    let limits = thresholds();
    let now = seen(1_000, 20_000, 50_000);
    for (told, most) in [
        (None, 9_760),
        (Some(1_000 - 365), 4_880),
        (Some(1_000 - 366), 9_760),
    ] {
        let mut pace = pace(4, 20_000, (0, 1_000));
        if let Some(at) = told {
            pace.approach(at);
            // Only the first time counts.
            pace.approach(1_000);
        }
        assert!(pace.reaches_angle(now, most, &limits), "{told:?}");
        assert!(!pace.reaches_angle(now, most + 1, &limits), "{told:?}");
        assert!(pace.nears_angle(now, 24_400, &limits));
        assert!(!pace.nears_angle(now, 24_401, &limits));
    }
    assert!(!pace(2, 20_000, (0, 1_000)).reaches_angle(now, 1, &limits));
    assert!(!pace(4, 20_000, (0, -1_000)).nears_angle(now, -90_000, &limits));
}
