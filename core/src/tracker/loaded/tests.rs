//! What is watched for under load, each rule at its bound.

use super::super::tests::{armed, forty, ninety, pulling, seen};
use super::*;
use crate::procedure::TorqueWindow;
use crate::unit::{Angle, Instant, Span, Torque};
use crate::verdict::Aim;

/// A quarter of a millidegree for a mN·m.
const QUARTER: i64 = 1 << 18;

fn hold_of_forty() -> Aim {
    Aim::Hold {
        torque: Torque::from_millinewton_meters(40_000),
        time: Span::from_millis(5_000),
        still: Angle::ZERO,
    }
}

/// With the train's stiffness known, counted from here on.
fn stiff(aim: Aim, from: Seen) -> Tracker {
    let mut tracker = pulling(aim, from);
    tracker.thresholds.compliance = QUARTER;
    tracker.turning = super::super::Turning::new(&tracker.thresholds);
    tracker
        .turning
        .follow(None, from, from.torque, &tracker.thresholds);
    tracker
}

#[test]
fn a_torque_counts_from_snug_and_before_any_running_torque_from_half_of_the_target() {
    let from = seen(0, 30_000, 0);
    for (aim, began, counts, wants, level) in [
        (forty(), false, false, true, 20_000),
        (forty(), false, false, false, 4_000),
        (forty(), false, true, false, 4_000),
        (forty(), true, false, false, 4_000),
        (forty(), true, false, true, 4_000),
        (forty(), true, true, false, 2_000),
        (ninety(), false, false, true, 1_000),
        (ninety(), true, false, false, 1_000),
    ] {
        let mut tracker = armed(aim);
        tracker.measures_running = wants;
        tracker.began_at = began.then_some(tracker.at);
        if counts {
            tracker
                .turning
                .follow(None, from, 4_000, &tracker.thresholds);
        }
        assert_eq!(tracker.level(), level, "{aim:?} {began} {counts} {wants}");
    }
    let mut tracker = armed(forty());
    tracker.measures_running = true;
    tracker.thresholds.snug = 25_000;
    assert_eq!(tracker.level(), 25_000);
}

#[test]
fn a_head_seats_where_torque_is_past_snug_for_certain() {
    for (torque, sure, runs_down, began, counts) in [
        (4_000, 4_000, RunsDown::Yes, true, true),
        (4_000, 3_999, RunsDown::Yes, false, true),
        (3_999, 5_000, RunsDown::Yes, false, false),
        (4_000, 4_000, RunsDown::Only, false, true),
        (4_000, 4_000, RunsDown::No, false, true),
    ] {
        for wants in [false, true] {
            let mut tracker = pulling(forty(), seen(0, 5_000, 0));
            tracker.began_at = None;
            tracker.runs_down = runs_down;
            tracker.measures_running = wants;
            // The curve came far already, as a knock would.
            tracker.shape.start_pull(0, &tracker.thresholds);
            tracker.shape.end_chord(39_000, 0, &tracker.thresholds);
            tracker.thresholds.snug = 3_000;
            tracker.seats(seen(0, torque, 0), sure, 4_000);
            let at = began.then_some(tracker.at);
            assert_eq!(tracker.began_at, at, "{torque} {sure} {runs_down:?}");
            assert_eq!(tracker.turning.is_counting(), counts, "{torque}");
            assert_eq!(tracker.shape.ends_chord(4_000), began);
            let unknown = tracker.found.contains(Reason::RunningUnknown);
            assert_eq!(unknown, began && wants);
            let snug = if began && wants { 4_000 } else { 3_000 };
            assert_eq!(tracker.thresholds.snug, snug);
        }
    }
}

#[test]
fn a_run_down_that_is_too_short_or_too_long_is_told_at_its_bound() {
    let early = Some(Reason::EarlyRise);
    let late = Some(Reason::LateRise);
    for (least, most, turned, torque, runs_down, told) in [
        (360_000, 0, 359_999, 4_000, RunsDown::No, early),
        (360_000, 0, 360_000, 4_000, RunsDown::No, None),
        (360_000, 0, 359_999, 3_999, RunsDown::No, None),
        (360_000, 0, 359_999, 4_000, RunsDown::Yes, early),
        (0, 720_000, 720_001, 100, RunsDown::No, late),
        (0, 720_000, 720_000, 100, RunsDown::No, None),
        (0, 720_000, 720_001, 3_999, RunsDown::Yes, None),
        (0, 720_000, 720_001, 4_000, RunsDown::Yes, late),
        (0, 0, 720_001, 4_000, RunsDown::No, None),
    ] {
        let mut tracker = armed(forty());
        tracker.thresholds.run_down_min = least;
        tracker.thresholds.run_down_max = most;
        tracker.travel.turned = turned;
        tracker.runs_down = runs_down;
        let mut others = [tracker.clone(), tracker.clone()];
        tracker.before_snug(seen(0, torque, 0), 4_000);
        for reason in [Reason::EarlyRise, Reason::LateRise] {
            let found = tracker.found.contains(reason);
            assert_eq!(found, told == Some(reason), "{turned} {torque}");
        }
        // Without rotation, and where no torque is aimed at, nothing can be said.
        others[0].is_alone = true;
        others[1].goal.kind = Kind::Repeat;
        for mut other in others {
            other.before_snug(seen(0, torque, 0), 4_000);
            assert!(other.found.is_empty());
        }
    }
}

#[test]
fn a_run_down_is_counted_where_its_length_is_held_to_something() {
    for (least, most, turned) in [(0, 0, 0), (1, 0, 5_000), (0, 1, 5_000)] {
        let mut tracker = armed(forty());
        tracker.thresholds.run_down_min = least;
        tracker.thresholds.run_down_max = most;
        tracker.before_snug(seen(0, 100, 1_000), 4_000);
        tracker.before_snug(seen(0, 100, 6_000), 4_000);
        assert_eq!(tracker.travel.turned, turned);
    }
}

#[test]
fn a_pull_counts_once_it_is_twice_past_re_grip() {
    for (torque, pulls) in [(3_999, 1), (4_000, 2)] {
        let mut tracker = pulling(forty(), seen(0, 3_000, 0));
        tracker.pull_counted = false;
        tracker.pulled(None, seen(0, torque, 0));
        assert_eq!(tracker.pulls, pulls);
        tracker.pulled(None, seen(0, torque, 0));
        assert_eq!(tracker.pulls, pulls);
    }
    let mut tracker = pulling(forty(), seen(0, 3_000, 0));
    tracker.began_at = None;
    tracker.pull_counted = false;
    tracker.pulled(None, seen(0, 30_000, 0));
    assert_eq!((tracker.pulls, tracker.restart_top), (1, 0));
}

#[test]
fn a_torque_that_stands_counts_from_half_of_the_highest() {
    for (torque, settled) in [(10_000, 10_000), (9_999, 20_000)] {
        let mut tracker = pulling(forty(), seen(0, 5_000, 0));
        for high in [19_500, 20_000, 20_000, 20_000] {
            tracker.peak.push(high, true, &tracker.thresholds);
        }
        tracker.together.sure = (torque, 0);
        assert_eq!(tracker.peak.value(), 20_000);
        for look in 0..6 {
            tracker.pulled(None, seen(1_000 + 25 * look, torque, 0));
        }
        tracker.peak.end_pull(20_000);
        assert_eq!(tracker.peak.settled, settled);
        assert_eq!(tracker.restart_top, torque);
    }
}

#[test]
fn a_hold_lasts_while_its_torque_is_kept_and_the_longest_counts() {
    let mut tracker = pulling(hold_of_forty(), seen(0, 39_200, 0));
    assert_eq!(tracker.thresholds.hold, 39_200);
    let mut look = |millis: u32, torque| {
        tracker.at = Instant::BOOT.after(Span::from_millis(millis));
        tracker.pulled(Some(seen(0, torque, 0)), seen(0, torque, 0));
        tracker.looked_at = tracker.at;
        (tracker.held, tracker.held_most)
    };
    assert_eq!(look(1_010, 39_200), (10_000, 10_000));
    assert_eq!(look(1_030, 39_200), (30_000, 30_000));
    assert_eq!(look(1_040, 39_199), (0, 30_000));
    assert_eq!(look(1_045, 39_200), (5_000, 30_000));
    // After a gap nobody knows what was held.
    tracker.at = Instant::BOOT.after(Span::from_millis(1_060));
    tracker.pulled(None, seen(0, 39_200, 0));
    assert_eq!(tracker.held, 5_000);
}

#[test]
fn only_a_hold_is_timed() {
    let mut tracker = pulling(forty(), seen(0, 39_200, 0));
    tracker.thresholds.hold = 0;
    tracker.at = Instant::BOOT.after(Span::from_millis(1_010));
    tracker.pulled(Some(seen(0, 39_200, 0)), seen(0, 39_200, 0));
    assert_eq!(tracker.held, 0);
}

#[test]
fn a_tight_fastener_moves_again_where_it_turned_half_a_degree_in_its_first_pull() {
    let base = {
        let mut tracker = stiff(forty(), seen(0, 30_000, 0));
        tracker.thresholds.still_below = 20_000;
        tracker.restart_top = 26_000;
        tracker
    };
    let moves = |change: fn(&mut Tracker), rotation| {
        let mut tracker = base.clone();
        change(&mut tracker);
        tracker.first_movement(seen(0, 30_000, rotation));
        tracker.restart
    };
    assert_eq!(moves(|_| {}, 501), Some(26_000));
    assert_eq!(moves(|_| {}, 500), None);
    assert_eq!(moves(|own| own.restart = Some(7), 501), Some(7));
    assert_eq!(moves(|own| own.thresholds.still_below = 0, 501), None);
    assert_eq!(
        moves(|own| own.thresholds.still_below = 1, 501),
        Some(26_000)
    );
    assert_eq!(moves(|own| own.pulls = 2, 501), None);
    let mut soft = pulling(forty(), seen(0, 30_000, 0));
    soft.thresholds.still_below = 20_000;
    soft.first_movement(seen(0, 30_000, 9_000));
    assert_eq!(soft.restart, None);
    // A fastener that is loosened moves at once.
    for (reverse, restart) in [(false, Some(26_000)), (true, None)] {
        let mut tracker = base.clone();
        tracker.reverse = reverse;
        tracker.tell(seen(0, 30_000, 501));
        assert_eq!(tracker.restart, restart);
    }
}

#[test]
fn what_a_fastener_turned_lies_between_no_wind_up_and_that_of_the_softest_train() {
    let (from, now) = (seen(0, 30_000, 0), seen(0, 34_000, 5_000));
    for (mut tracker, least, exact) in [
        (stiff(forty(), from), 4_000, true),
        (pulling(forty(), from), 3_000, false),
    ] {
        tracker.thresholds.compliance_most = 2 * QUARTER;
        let turned = tracker.turned(now).expect("counted");
        let most = if exact { 4_000 } else { 5_000 };
        assert_eq!(
            (turned.least, turned.most, turned.exact),
            (least, most, exact)
        );
        tracker.turning.lose();
        assert!(tracker.turned(now).is_none());
    }
    assert!(armed(forty()).turned(now).is_none());
}

#[test]
fn a_rise_that_is_too_steep_is_kept_the_first_time_while_the_train_is_not_known() {
    let turned = |most, exact| Turned {
        least: 0,
        most,
        exact,
    };
    let mut tracker = pulling(forty(), seen(0, 4_000, 0));
    tracker.thresholds.gradient_max = 2_000;
    let mut exact = tracker.clone();
    tracker.judge_rise(24_000, turned(5_000, false));
    assert_eq!(tracker.early, Some((20_000, 5_000)));
    tracker.judge_rise(26_000, turned(5_500, false));
    assert_eq!(tracker.early, Some((20_000, 5_000)));
    assert!(tracker.found.contains(Reason::EarlyRise));
    exact.judge_rise(24_000, turned(5_000, true));
    assert_eq!(exact.early, None);
    assert!(exact.found.contains(Reason::EarlyRise));
    // Found before, by the run-down: there is nothing to take back.
    let mut before = pulling(forty(), seen(0, 4_000, 0));
    before.thresholds.gradient_max = 2_000;
    before.find(Reason::EarlyRise);
    before.judge_rise(24_000, turned(5_000, false));
    assert_eq!(before.early, None);
}

#[test]
fn each_fault_of_a_rise_is_told_by_its_name() {
    for (torque, least, most, told) in [
        (31_001, 0, 999, Some(Reason::NoTurn)),
        (5_000, 20_001, 20_001, Some(Reason::LateRise)),
        (5_000, 20_000, 20_000, None),
    ] {
        let mut tracker = pulling(forty(), seen(0, 4_000, 0));
        tracker.thresholds.gradient_min = 100;
        let turned = Turned {
            least,
            most,
            exact: true,
        };
        let mut higher = tracker.clone();
        tracker.judge_rise(torque, turned);
        for reason in [Reason::NoTurn, Reason::LateRise, Reason::EarlyRise] {
            assert_eq!(tracker.found.contains(reason), told == Some(reason));
        }
        // Risen once is risen.
        for high in [29_500, 30_000, 30_000] {
            higher.peak.push(high, true, &higher.thresholds);
        }
        higher.judge_rise(torque, turned);
        assert!(!higher.found.contains(Reason::LateRise));
    }
}

#[test]
fn a_torque_is_held_to_the_joints_rise_and_a_turn_to_its_own() {
    for (aim, told) in [
        (forty(), Some(Reason::EarlyRise)),
        (ninety(), Some(Reason::NoRise)),
        (hold_of_forty(), None),
    ] {
        let mut tracker = stiff(aim, seen(0, 20_000, -30_000));
        tracker.thresholds.snug = 4_000;
        tracker.thresholds.target = 40_000;
        tracker.thresholds.gradient_max = 100;
        tracker.thresholds.turn_rise_after = 30_000;
        tracker.thresholds.turn_rise_to = 22_000;
        tracker.tell(seen(0, 30_000, 2_501));
        assert!(tracker.found.contains(Reason::EarlyRise) == (told == Some(Reason::EarlyRise)));
        let mut tracker = stiff(aim, seen(0, 20_000, 0));
        tracker.thresholds.turn_rise_after = 30_000;
        tracker.thresholds.turn_rise_to = 22_000;
        tracker.tell(seen(0, 20_000, 30_000));
        assert!(tracker.found.contains(Reason::NoRise) == (told == Some(Reason::NoRise)));
    }
}

#[test]
fn a_turn_is_held_to_its_rise_once() {
    let turned = |change: fn(&mut Tracker), torque, rotation| {
        let mut tracker = stiff(ninety(), seen(0, 20_000, 0));
        tracker.thresholds.turn_rise_after = 30_000;
        tracker.thresholds.turn_rise_to = 22_000;
        change(&mut tracker);
        tracker.follow_turn(seen(0, torque, rotation));
        (tracker.held_to_rise, tracker.found.contains(Reason::NoRise))
    };
    assert_eq!(turned(|_| {}, 20_000, 29_999), (false, false));
    assert_eq!(turned(|_| {}, 20_000, 30_000), (true, true));
    assert_eq!(turned(|_| {}, 22_000, 30_500), (true, false));
    let held = turned(|own| own.held_to_rise = true, 20_000, 30_000);
    assert_eq!(held, (true, false));
    let none = turned(|own| own.thresholds.turn_rise_after = 0, 20_000, 30_000);
    assert_eq!(none, (false, false));
    let lost = turned(|own| own.turning.lose(), 20_000, 30_000);
    assert_eq!(lost, (false, false));
}

#[test]
fn an_overload_is_told_beyond_its_limit_in_a_pull_and_not_just_after_a_gap() {
    for (follows, began, sure, told) in [
        (true, true, 50_001, true),
        (true, true, 50_000, false),
        (false, true, 50_001, false),
        (true, false, 50_001, false),
    ] {
        let mut tracker = pulling(forty(), seen(0, 49_000, 0));
        tracker.thresholds.overload = 50_000;
        tracker.began_at = began.then_some(tracker.at);
        tracker.watch(follows, seen(10, sure, 0), sure);
        assert_eq!(tracker.found.contains(Reason::Overload), told, "{sure}");
    }
}

#[test]
fn a_saw_is_told_in_a_pull_that_tightens_with_a_sensor_that_lives() {
    for (began, reverse, is_stuck, saw, told) in [
        (true, false, false, true, Some(Reason::StickSlip)),
        (true, true, false, true, None),
        (true, false, true, true, None),
        (false, false, false, true, None),
    ] {
        let mut tracker = pulling(forty(), seen(0, 49_000, 0));
        tracker.began_at = began.then_some(tracker.at);
        tracker.reverse = reverse;
        if is_stuck {
            tracker.find(Reason::Stuck);
        }
        // A reading that is beyond the limit as well is told as both.
        for is_over in [false, true] {
            let mut tracker = tracker.clone();
            tracker.watched(true, is_over, saw);
            let found =
                [Reason::StickSlip, Reason::Overload].map(|reason| tracker.found.contains(reason));
            assert_eq!(found, [told.is_some(), began && is_over]);
        }
    }
    // Five teeth, reading by reading; none where each comes after a gap.
    for follows in [true, false] {
        let mut tracker = pulling(forty(), seen(0, 30_000, 0));
        for tooth in 0..6 {
            tracker.watch(follows, seen(1_000 + 20 * tooth, 30_000, 0), 0);
            tracker.watch(follows, seen(1_010 + 20 * tooth, 20_000, 0), 0);
        }
        assert_eq!(tracker.found.contains(Reason::StickSlip), follows);
    }
}

#[test]
fn a_chord_ends_in_a_pull_that_tightens_with_a_sensor_that_lives_and_not_over_a_gap() {
    for (follows, began, reverse, is_stuck, ends) in [
        (true, true, false, false, true),
        (false, true, false, false, false),
        (true, false, false, false, false),
        (true, true, true, false, false),
        (true, true, false, true, false),
    ] {
        let mut tracker = pulling(forty(), seen(0, 4_000, 0));
        tracker.shape.start_pull(0, &tracker.thresholds);
        tracker.began_at = began.then_some(tracker.at);
        tracker.reverse = reverse;
        if is_stuck {
            tracker.find(Reason::Stuck);
        }
        tracker.watch(follows, seen(10, 4_000, 0), 4_000);
        assert_eq!(!tracker.shape.ends_chord(4_000), ends);
    }
}

#[test]
fn a_curve_is_looked_at_in_a_pull_that_tightens_with_a_sensor_that_lives() {
    for (reverse, is_stuck, told) in [
        (false, false, true),
        (true, false, false),
        (false, true, false),
    ] {
        let mut tracker = pulling(forty(), seen(0, 30_000, 0));
        tracker.reverse = reverse;
        if is_stuck {
            tracker.find(Reason::Stuck);
        }
        let (top, fallen) = (seen(0, 30_000, 0), seen(10, 20_000, 5_000));
        tracker.follow_shape(top, top, (top.torque, top.rotation));
        tracker.follow_shape(top, fallen, (fallen.torque, fallen.rotation));
        assert_eq!(tracker.found.contains(Reason::GivingWay), told);
    }
}

#[test]
fn only_a_torque_must_not_bend_over() {
    for (aim, told) in [(forty(), true), (ninety(), false)] {
        let mut tracker = pulling(aim, seen(0, 4_000, 0));
        tracker.thresholds.snug = 4_000;
        tracker.thresholds.yield_step = 5_000;
        tracker.shape.start_pull(0, &tracker.thresholds);
        for chord in 0..4 {
            let (torque, rotation) = (4_000 + 5_000 * chord, 10_000 * chord);
            tracker
                .shape
                .end_chord(torque, rotation, &tracker.thresholds);
        }
        let bent = seen(10, 20_000, 70_000);
        tracker.follow_shape(bent, bent, (bent.torque, bent.rotation));
        assert_eq!(tracker.found.contains(Reason::Yielding), told, "{aim:?}");
    }
}

#[test]
fn a_stuck_sensor_loses_what_was_turned() {
    let mut tracker = pulling(forty(), seen(0, 20_000, 0));
    let mut last = seen(0, 20_000, 0);
    for step in 1..30_i32 {
        let next = seen(10 * step.unsigned_abs(), 20_000 + step % 2, step % 2);
        tracker.shape.ripple(&last, next);
        last = next;
    }
    for step in 30..60 {
        let next = Seen {
            ticks: 10 * step,
            ..last
        };
        tracker.shape.ripple(&last, next);
        last = next;
    }
    assert!(!tracker.turning.is_lost());
    tracker.follow_shape(last, last, (last.torque, last.rotation));
    assert!(tracker.found.contains(Reason::Stuck) && tracker.turning.is_lost());
}

#[test]
fn who_aims_at_a_window_is_told_to_slow_down_once_and_half_the_lead_counts_then() {
    let window = |value| Torque::from_millinewton_meters(value);
    let aim = Aim::Torque {
        window: TorqueWindow {
            target: window(40_000),
            min: window(38_000),
            max: window(42_000),
        },
    };
    let mut tracker = pulling(aim, seen(0, 4_000, 0));
    let mut cues = [0; 4];
    for step in 0..100_i32 {
        let now = seen(1_000 + 10 * step.unsigned_abs(), 4_000 + 300 * step, 0);
        tracker.pulled(None, now);
        cues[match tracker.cue {
            Cue::None => 0,
            Cue::Approach => 1,
            Cue::Target => 2,
            Cue::Over => 3,
        }] += 1;
    }
    assert!(cues[0] > 0 && cues[1] > 0 && cues[2] > 0, "{cues:?}");
}

#[test]
fn a_run_down_is_held_to_its_length_until_counting_begins() {
    for (counts, told) in [(false, true), (true, false)] {
        let mut tracker = if counts {
            pulling(forty(), seen(0, 30_000, 0))
        } else {
            armed(forty())
        };
        tracker.thresholds.run_down_min = 360_000;
        tracker.watch(false, seen(5, 5_000, 0), 5_000);
        assert_eq!(tracker.found.contains(Reason::EarlyRise), told);
    }
}
