//! What each aim asks for, in plain numbers.

use super::*;
use crate::procedure::{AngleWindow, TorqueWindow};
use crate::unit::{Angle, Span};

fn torques(target: i32, min: i32, max: i32) -> TorqueWindow {
    let [target, min, max] = [target, min, max].map(Torque::from_millinewton_meters);
    TorqueWindow { target, min, max }
}

fn turn(one_sweep: bool) -> Aim {
    let [target, min, max] = [90_000, 90_000, 94_000].map(Angle::from_millidegrees);
    Aim::Turn {
        window: AngleWindow { target, min, max },
        torque: None,
        one_sweep,
        left: None,
    }
}

#[test]
fn a_hand_lets_go_at_the_target_but_a_quarter_of_the_window_from_either_limit() {
    for (target, min, max, at) in [
        (40_000, 38_000, 42_000, 40_000),
        (38_999, 38_000, 42_000, 39_000),
        (39_001, 38_000, 42_000, 39_001),
        (41_001, 38_000, 42_000, 41_000),
        (40_999, 38_000, 42_000, 40_999),
        (90_000, 90_000, 94_000, 91_000),
        (4, 0, 4, 4),
        (4, 1, 5, 4),
        (5, 1, 5, 4),
        (40_000, 39_000, MAGNITUDE_MAX, 40_000),
        (40_000, 40_000, 40_004, 40_001),
    ] {
        assert_eq!(let_go_at(target, min, max), at, "{target} {min} {max}");
    }
    let almost = MAGNITUDE_MAX - 1;
    assert_eq!(let_go_at(1, 1, almost), 1 + ((almost - 1) >> 2));
}

#[test]
fn a_pull_was_meant_from_its_least_torque_or_half_of_its_target() {
    for (min, least) in [(38_000, 38_000), (1, 1), (0, 20_000)] {
        let goal = Goal::of(&Aim::Torque {
            window: torques(40_000, min, 42_000),
        });
        assert_eq!(goal.kind, Kind::Torque);
        assert_eq!((goal.least, goal.min), (least, min));
        assert_eq!((goal.target, goal.max, goal.time), (40_000, 42_000, 0));
        assert!(!goal.one_sweep && !goal.is_reverse());
    }
}

#[test]
fn a_turn_a_hold_and_a_way_back_ask_for_what_they_say() {
    for one_sweep in [false, true] {
        let goal = Goal::of(&turn(one_sweep));
        assert_eq!((goal.kind, goal.one_sweep), (Kind::Turn, one_sweep));
        assert_eq!((goal.least, goal.min, goal.max), (90_000, 90_000, 94_000));
        assert_eq!((goal.target, goal.let_go), (90_000, 91_000));
    }
    let goal = Goal::of(&Aim::Hold {
        torque: Torque::from_millinewton_meters(40_000),
        time: Span::from_millis(5_000),
        still: Angle::ZERO,
    });
    assert_eq!((goal.kind, goal.time), (Kind::Hold, 5_000_000));
    assert!(!goal.is_reverse());
    for (angle, kind, least) in [
        (Some(180_000), Kind::BackOff, 180_000),
        (None, Kind::Free, 0),
    ] {
        let angle = angle.map(Angle::from_millidegrees);
        let goal = Goal::of(&Aim::BackOff { angle });
        assert_eq!((goal.kind, goal.least), (kind, least));
        assert!(goal.is_reverse());
    }
}

#[test]
fn a_running_torque_goes_on_top_of_a_torque_and_an_open_side_stays_open() {
    for (min, raised) in [(38_000, 43_000), (0, 0)] {
        let goal = Goal::of(&Aim::Torque {
            window: torques(40_000, min, 42_000),
        });
        let let_go = goal.let_go;
        let goal = goal.raised(5_000);
        assert_eq!((goal.min, goal.max, goal.target), (raised, 47_000, 45_000));
        assert_eq!(goal.let_go, let_go + 5_000);
        assert_eq!(goal.least, if min > 0 { 43_000 } else { 25_000 });
    }
    let goal = Goal::of(&turn(false)).raised(5_000);
    assert_eq!((goal.min, goal.max, goal.target), (90_000, 94_000, 90_000));
}

#[test]
fn an_angle_that_is_part_way_keeps_its_count_and_a_torque_is_begun_again() {
    let mut limits = Thresholds::IDLE;
    limits.idle = 77;
    assert_eq!(Goal::of(&turn(false)).idle(&limits), None);
    let torque = Aim::Torque {
        window: torques(40_000, 0, 42_000),
    };
    assert_eq!(Goal::of(&torque).idle(&limits), Some(77));
}
