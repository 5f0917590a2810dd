//! One reading after another, each rule at its bound.

use super::super::running::Level;
use super::super::tests::{armed, forty, pulling, seen};
use super::super::{RunDown, Start};
use super::*;
use crate::curve_limits::CurveLimits;
use crate::unit::{Angle, Span};
use crate::verdict::Aim;

/// Armed for 40 N·m on top of a running torque that is to be measured.
fn measuring() -> Tracker {
    let mut tracker = Tracker::new();
    let start = Start {
        run_down: RunDown::Measured,
        ..Start::default()
    };
    tracker.begin(forty(), &CurveLimits::default(), start);
    tracker
}

fn feed(tracker: &mut Tracker, millis: u32, torque: i32, rotation: i32) -> Signal {
    let at = Instant::BOOT.after(Span::from_millis(millis));
    let sample = Sample {
        torque: Torque::from_millinewton_meters(torque),
        rotation: Rotation::from_millidegrees(rotation),
    };
    tracker.feed(at, sample)
}

/// Blocks of 3° at 5 N·m: a plateau.
fn run_down(tracker: &mut Tracker, torque: i32) {
    let level = Level {
        floor: 1,
        ceiling: 20_000,
        band: 800,
    };
    for step in 0..20 {
        tracker.running.push(seen(0, torque, 750 * step), level);
    }
    assert_eq!(tracker.running.torque(), Some(torque));
}

#[test]
fn a_running_torque_is_put_on_record_where_it_lies_further_from_the_one_that_is() {
    for (kept, told, counts) in [
        (None, Some(5_000), 5_000),
        (Some(4_200), None, 4_200),
        (Some(4_199), Some(5_000), 5_000),
        (Some(5_800), None, 5_800),
        (Some(5_801), Some(5_000), 5_000),
    ] {
        let mut tracker = measuring();
        assert_eq!(tracker.keep_running(800), None);
        run_down(&mut tracker, 5_000);
        tracker.running_kept = kept;
        assert_eq!(tracker.keep_running(800), told, "{kept:?}");
        assert_eq!(tracker.thresholds.running, counts);
        assert_eq!(tracker.thresholds.target, 40_000 + counts);
        assert_eq!(tracker.goal.target, 40_000 + counts);
        assert_eq!(tracker.running_kept, told.or(kept));
        let Some(Aim::Torque { window }) = tracker.aim else {
            panic!("a torque")
        };
        let target = window.target.millinewton_meters();
        assert_eq!(target, 40_000 + counts);
        assert!(!tracker.wants_running());
    }
    assert!(measuring().wants_running());
    assert!(!armed(forty()).wants_running());
}

#[test]
fn a_plateau_counts_at_once_and_is_put_on_record_when_its_stroke_ends() {
    let mut tracker = measuring();
    run_down(&mut tracker, 5_000);
    assert_eq!(tracker.runs(seen(0, 5_000, 14_300)), None);
    assert_eq!(tracker.thresholds.running, 5_000);
    assert_eq!(tracker.runs(seen(0, 5_000, 13_000)), Some(5_000));
    assert_eq!(tracker.runs(seen(0, 5_000, 11_000)), None);
}

#[test]
fn two_looks_in_a_row_beyond_a_tenth_the_other_way_are_the_wrong_way_once_it_began() {
    for (before, torque, began, told) in [
        (Some(-4_001), -4_001, true, true),
        (Some(-4_000), -4_001, true, false),
        (Some(-4_001), -4_000, true, false),
        (None, -4_001, true, false),
        (Some(-4_001), -4_001, false, false),
        (Some(4_001), 4_001, true, false),
    ] {
        let mut tracker = pulling(forty(), seen(0, 20_000, 0));
        assert_eq!(tracker.thresholds.wrong, 4_000);
        if !began {
            tracker.began_at = None;
        }
        tracker.against(before.map(|torque| seen(0, torque, 0)), seen(5, torque, 0));
        assert_eq!(
            tracker.found.contains(Reason::WrongWay),
            told,
            "{before:?} {torque}"
        );
    }
}

#[test]
fn a_look_after_letting_go_tells_nothing_to_the_hand() {
    let mut tracker = pulling(forty(), seen(0, 1_000, 0));
    tracker.cue = Cue::Over;
    tracker.looked = false;
    tracker.together.begin(seen(0, 1_000, 0));
    tracker.together.push(seen(5, 1_000, 0), 0);
    let mut loaded = tracker.clone();
    tracker.loaded = false;
    tracker.at = Instant::BOOT.after(Span::from_millis(1_005));
    tracker.look();
    assert_eq!(tracker.cue, Cue::None);
    assert!(tracker.looked);
    assert_eq!(tracker.looked_at, tracker.at);
    loaded.look();
    assert_eq!(loaded.cue, Cue::None);
    // Of nothing nothing is made.
    let mut idle = pulling(forty(), seen(0, 1_000, 0));
    idle.cue = Cue::Over;
    idle.loaded = false;
    idle.looked = false;
    idle.together.begin(seen(0, 1_000, 0));
    idle.look();
    assert_eq!((idle.cue, idle.looked), (Cue::Over, false));
}

#[test]
fn the_distance_of_readings_is_told_by_two_looks_in_a_row() {
    let mut tracker = armed(forty());
    for (millis, interval) in [
        (1_000, 0),
        (1_010, 10_000),
        (1_020, 10_000),
        (9_000, 10_000),
        (9_010, 10_000),
    ] {
        let _ = feed(&mut tracker, millis, 100, 0);
        assert_eq!(tracker.interval, interval, "{millis}");
    }
}

#[test]
fn noise_is_made_room_for_while_nothing_is_loaded() {
    for (loaded, regrip) in [(false, 4_250), (true, 2_000)] {
        let mut tracker = armed(forty());
        let _ = feed(&mut tracker, 990, 100, 0);
        for step in 0..34 {
            // A noise of 1,062 mN·m.
            let torque = if step % 2 == 0 { -2_000 } else { 1_999 };
            tracker.peak.push(torque, false, &tracker.thresholds);
        }
        let noise = tracker.peak.noise();
        assert!(noise > 500, "{noise}");
        tracker.loaded = loaded;
        let _ = feed(&mut tracker, 1_000, 1_000, 0);
        let wide = if loaded { 2_000 } else { noise * 4 };
        assert_eq!(tracker.thresholds.regrip, wide, "{regrip}");
    }
}

#[test]
fn one_reading_past_re_grip_alone_is_none() {
    let mut tracker = armed(forty());
    for (millis, torque, loaded, turning_over) in [
        (1_000, 100, false, false),
        (1_010, 2_000, false, true),
        (1_020, 1_999, false, false),
        (1_030, 2_000, false, true),
        (1_040, 2_000, true, false),
        (1_050, 1_999, true, true),
        (1_060, 2_000, true, false),
        (1_070, 1_999, true, true),
        (1_080, 1_999, false, false),
    ] {
        let signal = feed(&mut tracker, millis, torque, 0);
        assert_eq!(tracker.loaded, loaded, "{millis}");
        assert_eq!(tracker.turning_over, turning_over, "{millis}");
        assert_eq!(signal.began, millis == 1_040);
    }
}

#[test]
fn torque_and_rotation_count_in_the_sense_of_the_stage() {
    let sample = Sample {
        torque: Torque::from_millinewton_meters(-7_000),
        rotation: Rotation::from_millidegrees(-9_000),
    };
    let at = Instant::BOOT.after(Span::from_micros(4_095));
    for (aim, sign) in [
        (forty(), 1),
        (Aim::BackOff { angle: None }, -1),
        (
            Aim::BackOff {
                angle: Some(Angle::ZERO),
            },
            -1,
        ),
    ] {
        let found = armed(aim).seen(at, sample);
        let expected = (3, -7_000 * sign, -9_000 * sign);
        assert_eq!((found.ticks, found.torque, found.rotation), expected);
    }
    let late = Instant::from_micros((1 << 42) + 5_000);
    assert_eq!(armed(forty()).seen(late, sample).ticks, 4);
}

#[test]
fn a_spike_is_in_no_mean_that_is_sure() {
    let mut tracker = pulling(forty(), seen(0, 20_000, 0));
    for (millis, torque) in [
        (1_005, 20_000),
        (1_010, 20_000),
        (1_015, 29_000),
        (1_020, 20_000),
    ] {
        let _ = feed(&mut tracker, millis, torque, 0);
    }
    assert_eq!(tracker.together.sure.0, 20_000);
    let _ = feed(&mut tracker, 1_025, 20_000, 0);
    assert_eq!(tracker.together.sure.0, 20_000);
}

#[test]
fn after_a_gap_a_look_begins_anew_with_its_own_reading() {
    let mut tracker = pulling(forty(), seen(0, 20_000, 0));
    let _ = feed(&mut tracker, 1_005, 20_000, 0);
    let _ = feed(&mut tracker, 1_010, 20_000, 0);
    assert!(tracker.looked);
    let _ = feed(&mut tracker, 5_000, 30_000, 90_000);
    assert_eq!(tracker.together.sure, (30_000, 90_000));
    let found = tracker.together.seen;
    assert_eq!((found.torque, found.rotation), (30_000, 90_000));
}

#[test]
fn a_curve_is_kept_from_the_first_load_and_before_only_in_a_stroke_that_may_become_one() {
    for (began, loaded, runs_down, kept) in [
        (true, false, RunsDown::No, true),
        (false, true, RunsDown::Yes, true),
        (false, true, RunsDown::Only, false),
        (false, false, RunsDown::Yes, false),
    ] {
        let mut tracker = pulling(forty(), seen(0, 20_000, 0));
        tracker.trace.clear(40_000);
        tracker.loaded = loaded;
        tracker.runs_down = runs_down;
        if !began {
            tracker.began_at = None;
        }
        for step in 0..40 {
            let now = seen(5 * step, 20_000, 0);
            tracker.last = now;
            tracker.at = Instant::BOOT.after(Span::from_millis(1_000 + 5 * step));
            if tracker.together.push(now, 0) {
                tracker.look();
            }
        }
        tracker.trace.settle();
        let points = tracker.trace.points().count();
        assert_eq!(points > 0, kept, "{began} {loaded} {runs_down:?}");
    }
}

#[test]
fn the_way_back_is_travelled_once_it_began() {
    for (reverse, turned) in [(true, 10_000), (false, 0)] {
        let aim = if reverse {
            Aim::BackOff { angle: None }
        } else {
            forty()
        };
        let mut tracker = pulling(aim, seen(0, 20_000, 0));
        for step in 0..11_i32 {
            let sign = if reverse { -1 } else { 1 };
            let _ = feed(
                &mut tracker,
                1_005 + 10 * step.unsigned_abs(),
                20_000 * sign,
                1_000 * step * sign,
            );
        }
        assert_eq!(tracker.travel.turned, turned);
    }
}

#[test]
fn without_rotation_nothing_turned_is_known() {
    let mut tracker = armed(forty());
    let _ = tracker.feed_alone(Instant::BOOT, Torque::ZERO);
    assert!(tracker.is_alone && tracker.turning.is_lost());
    let mut never = Tracker::new();
    assert_eq!(feed(&mut never, 5, 90_000, 0), Signal::default());
    assert!(!never.has_last);
}

#[test]
fn a_tool_at_rest_tells_its_gyros_bias() {
    let mut tracker = armed(forty());
    for step in 0..200_i32 {
        let _ = feed(&mut tracker, 1_000 + 10 * step.unsigned_abs(), 100, step);
    }
    assert!(tracker.drift.rate() > 0);
}
