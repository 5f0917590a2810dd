//! What a hand is told, each rule at its bound.

use super::super::tests::{armed, forty, ninety, pulling, seen};
use super::*;
use crate::unit::{Angle, Span, Torque};
use crate::verdict::Aim;

/// Marks a tenth of a second ago and since, at rest or growing by so much a mark.
fn mark(tracker: &mut Tracker, last: Seen, torque: i32, rotation: i32) {
    for back in (0..4).rev() {
        tracker.pace.push(seen(
            last.ticks - 25 * back,
            last.torque - torque * i32::try_from(back).unwrap_or(0),
            last.rotation - rotation * i32::try_from(back).unwrap_or(0),
        ));
    }
}

#[test]
fn a_torque_at_rest_is_told_at_its_target_within_its_window_and_beyond() {
    for (min, torque, cue) in [
        (38_000, 42_001, Cue::Over),
        (38_000, 42_000, Cue::Target),
        (38_000, 40_000, Cue::Target),
        (38_000, 39_999, Cue::Target),
        (38_000, 38_000, Cue::Target),
        (38_000, 37_999, Cue::None),
        // Without a least torque who stops short of the target is not done.
        (0, 39_999, Cue::None),
        (0, 40_000, Cue::Target),
        (1, 1, Cue::Target),
    ] {
        let mut tracker = pulling(forty(), seen(1_000, 4_000, 0));
        tracker.goal.min = min;
        let now = seen(1_000, torque, 0);
        mark(&mut tracker, now, 0, 0);
        assert_eq!(tracker.cue_at(now), cue, "{torque} of {min}");
    }
    // Before it is known whether the hand rests, only the target tells.
    let tracker = pulling(forty(), seen(1_000, 4_000, 0));
    for (torque, cue) in [(39_999, Cue::None), (40_000, Cue::Target)] {
        assert_eq!(tracker.cue_at(seen(1_000, torque, 0)), cue);
    }
}

#[test]
fn a_torque_that_rises_is_told_a_reaction_time_before_its_target_and_to_slow_down_two_and_a_half() {
    // 244 ticks to react: 1 N·m in 75 ticks is 3.253 N·m, and 8.133 in two and a half times as long.
    for (torque, cue) in [
        (36_746, Cue::Target),
        (36_745, Cue::Approach),
        (31_866, Cue::Approach),
        (31_865, Cue::None),
    ] {
        let mut tracker = pulling(forty(), seen(1_000, 4_000, 0));
        assert_eq!(tracker.thresholds.reaction, 244);
        let now = seen(1_000, torque, 0);
        mark(&mut tracker, now, 333, 0);
        // The oldest lies 999 back; one more makes it a thousand.
        let now = seen(1_000, torque + 1, 0);
        assert_eq!(tracker.cue_at(now), cue, "{torque}");
    }
}

#[test]
fn a_turn_is_told_at_its_angle_and_beyond() {
    for (rotation, cue) in [
        (95_001, Cue::Over),
        (95_000, Cue::Target),
        (90_000, Cue::Target),
        (89_999, Cue::None),
    ] {
        let tracker = pulling(ninety(), seen(1_000, 20_000, 0));
        let now = seen(1_000, 20_000, rotation);
        let mut tracker = tracker;
        tracker.last = now;
        assert_eq!(tracker.cue_at(now), cue, "{rotation}");
    }
    // Not counted yet: nothing can be told.
    assert_eq!(armed(ninety()).cue_at(seen(1_000, 20_000, 0)), Cue::None);
}

#[test]
fn a_turn_that_goes_on_is_told_ahead_but_not_while_the_train_winds_up() {
    // 3° in 75 ticks: 9.76° in a reaction time, 24.4° in two and a half.
    for (rotation, torque, cue) in [
        (80_240, 20_000, Cue::Target),
        (80_239, 20_000, Cue::Approach),
        (65_600, 20_000, Cue::Approach),
        (65_599, 20_000, Cue::None),
        (80_240, 19_999, Cue::None),
        (65_600, 19_999, Cue::None),
    ] {
        let mut tracker = pulling(ninety(), seen(1_000, 15_000, 0));
        tracker.thresholds.still_below = 20_000;
        tracker.turning = super::super::Turning::new(&tracker.thresholds);
        let from = seen(0, 15_000, 0);
        tracker
            .turning
            .follow(None, from, 1_000, &tracker.thresholds);
        let now = seen(1_000, torque, rotation);
        mark(&mut tracker, now, 0, 1_000);
        tracker.last = now;
        assert_eq!(tracker.cue_at(now), cue, "{rotation} {torque}");
    }
}

#[test]
fn a_hold_is_told_when_its_time_is_over_and_a_way_back_when_it_is_gone() {
    let now = seen(1_000, 40_000, 0);
    let mut tracker = pulling(
        Aim::Hold {
            torque: Torque::from_millinewton_meters(40_000),
            time: Span::from_millis(5_000),
            still: Angle::ZERO,
        },
        now,
    );
    for (held, cue) in [(4_999_999, Cue::None), (5_000_000, Cue::Target)] {
        tracker.held_most = held;
        assert_eq!(tracker.cue_at(now), cue);
    }
    for (angle, turned, cue) in [
        (Some(180_000), 179_999, Cue::None),
        (Some(180_000), 180_000, Cue::Target),
        (None, 9_000_000, Cue::None),
    ] {
        let angle = angle.map(Angle::from_millidegrees);
        let mut tracker = pulling(Aim::BackOff { angle }, now);
        tracker.travel.turned = turned;
        assert_eq!(tracker.cue_at(now), cue);
    }
    assert_eq!(Tracker::new().cue_at(now), Cue::None);
}
