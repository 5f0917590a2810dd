//! The numbers of an attempt: parts of its target, and room for the noise.

use super::*;
use crate::procedure::{AngleWindow, TorqueWindow};
use crate::tracker::RunDown;
use crate::unit::Span;

fn millis(value: i32) -> Torque {
    Torque::from_millinewton_meters(value)
}

fn torque(target: i32) -> Aim {
    let [target, min, max] = [target, 0, 500_000].map(millis);
    Aim::Torque {
        window: TorqueWindow { target, min, max },
    }
}

fn turn(target: i32, torque: Option<i32>) -> Aim {
    let [target, min, max] = [target, 0, 500_000].map(Angle::from_millidegrees);
    Aim::Turn {
        window: AngleWindow { target, min, max },
        torque: torque.map(|torque| {
            let [target, min, max] = [torque, 0, 500_000].map(millis);
            TorqueWindow { target, min, max }
        }),
        one_sweep: false,
        left: None,
    }
}

fn hold(torque: i32) -> Aim {
    Aim::Hold {
        torque: millis(torque),
        time: Span::from_millis(5_000),
        still: Angle::ZERO,
    }
}

fn started(restart: Option<i32>, running: i32, turned: i32) -> Start {
    Start {
        restart_expected: restart.map(millis),
        running: millis(running),
        run_down: RunDown::None,
        turned: Angle::from_millidegrees(turned),
    }
}

fn of(aim: &Aim, limits: &CurveLimits) -> Thresholds {
    Thresholds::new(aim, limits, &Start::default())
}

/// What follows the target and the noise: re-grip, snug, what is worth watching, floor and band of a plateau, the wrong way, fall,
/// tooth, jerk, spike, plateau, chord and what the softest train winds up by over it.
fn sizes(own: &Thresholds) -> [i32; 13] {
    [
        own.regrip,
        own.snug,
        own.worth_watching,
        own.level.floor,
        own.level.band,
        own.wrong,
        own.drop,
        own.tooth,
        own.jerk,
        own.spike,
        own.plateau,
        own.yield_step,
        own.wind_up,
    ]
}

#[test]
fn thresholds_are_parts_of_the_target_and_wide_enough_for_the_noise() {
    for (target, noise, expected) in [
        (
            40_000,
            100,
            [
                2_000, 4_000, 10_000, 312, 800, 4_000, 8_000, 3_200, 1_600, 1_600, 625, 5_000,
                1_250,
            ],
        ),
        (
            40_000,
            3_000,
            [
                12_000, 12_000, 24_000, 750, 4_500, 24_000, 12_000, 18_000, 18_000, 18_000, 6_000,
                18_000, 4_500,
            ],
        ),
        (8, 0, [1, 1, 2, 1, 0, 2, 1, 0, 0, 0, 0, 1, 0]),
    ] {
        let limits = CurveLimits {
            noise: millis(noise),
            ..CurveLimits::default()
        };
        let own = of(&torque(target), &limits);
        assert_eq!(sizes(&own), expected, "{target} {noise}");
        assert_eq!(own.level.ceiling, target / 2);
        assert_eq!(own.noise, noise);
    }
    let limits = CurveLimits {
        noise: millis(2_000_000),
        ..CurveLimits::default()
    };
    assert_eq!(of(&torque(40_000), &limits).noise, 1_000_000);
}

#[test]
fn a_reading_that_wanders_more_makes_room_for_itself_and_never_takes_any_away() {
    let plain = of(&torque(40_000), &CurveLimits::default());
    for (noise, expected) in [
        (100, sizes(&plain)),
        (
            1_000,
            [
                4_000, 4_000, 10_000, 312, 1_500, 8_000, 8_000, 8_000, 6_000, 6_000, 2_000, 6_000,
                1_500,
            ],
        ),
        (
            2_000,
            [
                8_000, 8_000, 10_000, 500, 3_000, 16_000, 16_000, 16_000, 12_000, 12_000, 4_000,
                12_000, 3_000,
            ],
        ),
        (101, sizes(&plain)),
    ] {
        let mut own = plain;
        own.widen(noise);
        assert_eq!(sizes(&own), expected, "{noise}");
        assert_eq!(own.noise, noise.max(100));
        own.widen(noise - 1);
        assert_eq!((sizes(&own), own.noise), (expected, noise.max(100)));
    }
    // What was allowed for from the beginning needs no more room.
    let limits = CurveLimits {
        noise: millis(3_000),
        ..CurveLimits::default()
    };
    let mut own = of(&torque(40_000), &limits);
    let before = sizes(&own);
    own.widen(3_000);
    assert_eq!(sizes(&own), before);
    // Snug lies on top of the running torque.
    let mut own = plain;
    own.raise(5_000);
    own.widen(2_000);
    assert_eq!((own.regrip, own.snug), (8_000, 13_000));
}

#[test]
fn what_is_given_goes_before_a_part_of_the_target() {
    for (regrip, snug, found) in [
        (3_000, 5_000, [3_000, 5_000, 6_000]),
        (3_000, 1, [3_000, 3_000, 6_000]),
        (1, 0, [1, 4_000, 4_000]),
        (0, 0, [2_000, 4_000, 4_000]),
    ] {
        let limits = CurveLimits {
            regrip: millis(regrip),
            snug: millis(snug),
            ..CurveLimits::default()
        };
        let own = of(&torque(40_000), &limits);
        assert_eq!([own.regrip, own.snug, own.wrong], found);
    }
    for (overload, found) in [(0, i32::MAX), (1, 1)] {
        let limits = CurveLimits {
            overload: millis(overload),
            ..CurveLimits::default()
        };
        assert_eq!(of(&torque(40_000), &limits).overload, found);
    }
    for (part, ratio) in [(0, 40), (40, 40), (50, 32)] {
        let limits = CurveLimits {
            yield_part: part,
            ..CurveLimits::default()
        };
        assert_eq!(of(&torque(40_000), &limits).yield_ratio, ratio);
    }
}

#[test]
fn times_are_those_of_the_limits_and_nothing_ends_before_the_shorter_of_release_and_idle() {
    let limits = CurveLimits {
        gap: Span::from_millis(50),
        idle: Span::from_millis(70),
        reaction: Span::from_seconds(10),
        ..CurveLimits::default()
    };
    let own = of(&torque(40_000), &limits);
    assert_eq!((own.gap, own.gap_least), (50_000, 50_000));
    assert_eq!(
        (own.idle, own.release, own.quiet),
        (70_000, 100_000, 70_000)
    );
    assert_eq!(own.reaction, 5_000);
    let own = of(&torque(40_000), &CurveLimits::default());
    assert_eq!((own.gap, own.gap_least), (0, 100_000));
    assert_eq!((own.idle, own.quiet), (30_000_000, 100_000));
    assert_eq!(own.reaction, 244);
}

#[test]
fn a_running_torque_lies_below_all_that_counts_on_top_of_it() {
    for (running, found) in [
        (5_000, [45_000, 9_000, 5_000, 15_000]),
        (0, [45_000, 4_500, 0, 11_250]),
    ] {
        let own = Thresholds::new(
            &torque(45_000),
            &CurveLimits::default(),
            &started(None, running, 0),
        );
        let raised = [own.target, own.snug, own.running, own.worth_watching];
        assert_eq!(raised, found);
    }
    let own = Thresholds::new(
        &torque(40_000),
        &CurveLimits::default(),
        &started(None, -5, 0),
    );
    assert_eq!(own.running, 0);
    let mut own = of(&torque(40_000), &CurveLimits::default());
    own.raise(30_000);
    assert_eq!((own.target, own.shift), (70_000, 1));
    own.raise(-30_000);
    assert_eq!((own.target, own.shift), (40_000, 0));
}

#[test]
fn large_torques_are_summed_in_larger_units() {
    for (target, bits) in [(40_000, 0), (65_535, 0), (65_536, 1), (400_000, 3)] {
        assert_eq!(shift(target), bits, "{target}");
    }
}

#[test]
fn a_train_of_4_newton_meters_a_degree_gives_by_a_quarter_of_a_millidegree_for_a_millinewton_meter()
{
    assert_eq!((compliance(4_000), compliance(0)), (1 << 18, 0));
    assert_eq!(wind_up(5_000, 1 << 18), 1_250);
    assert_eq!(wind_up(i32::MAX, i64::from(i32::MAX)), i32::MAX);
    let limits = CurveLimits {
        train: 8_000,
        train_softest: 2_000,
        ..CurveLimits::default()
    };
    let own = of(&torque(40_000), &limits);
    assert_eq!((own.compliance, own.compliance_most), (1 << 17, 1 << 19));
}

#[test]
fn what_a_fastener_was_left_at_it_holds_and_a_hold_is_kept_at_98_percent() {
    for (restart, still_below) in [(None, 0), (Some(-5), 0), (Some(20_000), 20_000)] {
        let start = started(restart, 0, 0);
        let own = Thresholds::new(&torque(40_000), &CurveLimits::default(), &start);
        assert_eq!(own.still_below, still_below);
    }
    let limits = CurveLimits::default();
    assert_eq!(of(&hold(40_000), &limits).hold, 39_200);
    assert_eq!(of(&torque(40_000), &limits).hold, i32::MAX);
}

#[test]
fn the_size_of_an_attempt_is_its_torque_on_top_of_the_running_one_or_what_it_was_left_at() {
    for (aim, restart, running, size) in [
        (torque(40_000), None, 0, 40_000),
        (torque(40_000), Some(9_000), 5_000, 35_000),
        (torque(5_000), None, 5_000, 20_000),
        (torque(5_001), None, 5_000, 1),
        (hold(30_000), Some(9_000), 5_000, 25_000),
        (turn(90_000, Some(60_000)), Some(30_000), 5_000, 25_000),
        (turn(90_000, Some(60_000)), None, 5_000, 55_000),
        (turn(90_000, None), None, 5_000, 20_000),
        (Aim::BackOff { angle: None }, Some(50_000), 5_000, 50_000),
        (Aim::BackOff { angle: None }, None, 0, 20_000),
    ] {
        let found = scale(&aim, &started(restart, running, 0));
        assert_eq!(found, millis(size), "{aim:?}");
    }
}

#[test]
fn a_first_turn_from_a_known_torque_is_held_to_its_rise_where_it_is_long_enough() {
    let limits = CurveLimits::default();
    let own_limits = |part, rise| CurveLimits {
        turn_rise_part: part,
        turn_rise: rise,
        ..limits
    };
    let first = started(Some(20_000), 0, 0);
    for (aim, limits, start, after) in [
        (turn(90_000, None), limits, first, 30_000),
        (turn(36_000, None), limits, first, 27_000),
        (turn(30_000, None), limits, first, 22_500),
        (turn(29_999, None), limits, first, 0),
        (torque(40_000), limits, first, 0),
        (turn(90_000, None), limits, started(None, 0, 0), 0),
        (turn(90_000, None), limits, started(Some(0), 0, 0), 0),
        (turn(90_000, None), limits, started(Some(1), 0, 0), 30_000),
        (turn(90_000, None), limits, started(Some(20_000), 0, 1), 0),
        (
            turn(90_000, None),
            limits,
            started(Some(20_000), 0, -1),
            30_000,
        ),
        (turn(90_000, None), own_limits(0, 0), first, 0),
        (turn(90_000, None), own_limits(0, 1), first, 30_000),
        (turn(90_000, None), own_limits(1, 0), first, 30_000),
    ] {
        let own = Thresholds::new(&aim, &limits, &start);
        assert_eq!(own.turn_rise_after, after, "{aim:?}");
        assert_eq!(own.turn_rise_to > 0, after > 0);
    }
}

#[test]
fn a_turn_must_bring_the_larger_of_a_part_of_what_it_began_at_and_of_the_plans_rise() {
    for (after, running, rise, to) in [
        (30_000, 0, 0, 22_000),
        (30_000, 5_000, 0, 21_500),
        // 15° of the rise: ten of settling, and the middle lies five before.
        (30_000, 0, 100, 22_000),
        (30_000, 0, 200, 23_000),
        (14_999, 0, 2_000_000, 22_000),
        (15_001, 0, 3_000_000, 23_000),
        (0, 0, 200, 0),
        (-1, 0, 200, 0),
    ] {
        let limits = CurveLimits {
            turn_rise: rise,
            ..CurveLimits::default()
        };
        let start = started(Some(20_000), running, 0);
        assert_eq!(turn_rise_to(after, &limits, &start), to, "{after} {rise}");
    }
}
