//! When a pull begins and ends, each rule at its bound.

use super::super::tests::{armed, forty, ninety, pulling, seen};
use super::super::thresholds::Thresholds;
use super::*;
use crate::unit::Span;

/// The curve looks at one reading.
fn follow(tracker: &mut Tracker, seen: Seen) {
    let compliance = Some(tracker.turning.compliance());
    let told = tracker.shape.follow(
        seen,
        seen,
        (seen.torque, seen.rotation),
        0,
        compliance,
        &tracker.thresholds,
    );
    assert_eq!(told, None);
}

fn micros(value: u64) -> Instant {
    Instant::from_micros(value)
}

#[test]
fn readings_are_apart_by_a_gap_beyond_four_times_their_usual_distance_and_a_tenth_of_a_second() {
    for (given, interval, most) in [
        (0, 0, 500_000_u32),
        (0, 10_000, 100_000),
        (0, 25_000, 100_000),
        (0, 25_001, 100_004),
        (0, 40_000, 160_000),
        (50_000, 40_000, 50_000),
    ] {
        for (more, pulled) in [(0, true), (1, true), (1, false)] {
            let mut tracker = pulling(forty(), seen(0, 20_000, 0));
            tracker.thresholds.gap = given;
            tracker.thresholds.gap_least = if given > 0 { given } else { 100_000 };
            tracker.interval = interval;
            tracker.loaded = pulled;
            let at = micros(1_000_000 + u64::from(most) + more);
            let follows = tracker.time_passed(at).ok();
            assert_eq!(follows, Some(more == 0), "{given} {interval}");
            assert_eq!(tracker.at, at);
            let told = more > 0 && pulled;
            assert_eq!(tracker.found.contains(Reason::Gap), told);
            assert_eq!(tracker.turning.is_lost(), told);
        }
    }
}

#[test]
fn a_first_reading_follows_nothing_and_a_clock_that_runs_back_is_told_in_a_pull() {
    let mut tracker = armed(forty());
    assert_eq!(tracker.time_passed(micros(7_000_000)).ok(), Some(false));
    assert_eq!(tracker.at, micros(7_000_000));
    for (at, pulled, follows, told) in [
        (1_000_000, true, Some(true), false),
        (999_999, true, None, true),
        (999_999, false, None, false),
    ] {
        let mut tracker = pulling(forty(), seen(0, 20_000, 0));
        tracker.loaded = pulled;
        assert_eq!(tracker.time_passed(micros(at)).ok(), follows);
        assert_eq!(tracker.found.contains(Reason::Gap), told);
        assert_eq!(tracker.at, micros(1_000_000));
    }
}

#[test]
fn what_came_before_a_gap_is_nothing_of_what_comes_after() {
    for gap in [false, true] {
        let mut tracker = pulling(forty(), seen(0, 20_000, 0));
        let top = seen(0, 20_000, 0);
        for mark in 0..4 {
            tracker.pace.push(seen(25 * mark, 20_000, 0));
        }
        follow(&mut tracker, top);
        for torque in [19_000, 20_000] {
            tracker.peak.push(torque, true, &tracker.thresholds);
        }
        for step in 0..64 {
            tracker.drift.rest(seen(10 * step, 0, 0));
        }
        let passed = if gap { 600_000 } else { 10_000 };
        let _ = tracker.time_passed(micros(1_000_000 + passed));
        let level = tracker.pace.is_level(top, &tracker.thresholds);
        assert_eq!(level, !gap);
        assert_eq!(tracker.shape.broke(3_000, &tracker.thresholds), !gap);
        for step in 130..194 {
            tracker.drift.rest(seen(10 * step, 0, 100));
        }
        assert_eq!(tracker.drift.rate() != 0, !gap);
        // The first after a gap is sure of itself.
        let sure = tracker.peak.push(21_000, true, &tracker.thresholds);
        assert_eq!(sure, if gap { 21_000 } else { 20_000 });
    }
}

#[test]
fn the_usual_distance_of_readings_follows_slowly() {
    let mut tracker = armed(forty());
    for (passed, interval) in [
        (16_000, 16_000),
        (32_000, 17_000),
        (17_000, 17_000),
        (1_000, 16_000),
    ] {
        tracker.space(passed);
        assert_eq!(tracker.interval, interval);
    }
    tracker.interval = 0;
    tracker.space(u64::MAX);
    assert_eq!(tracker.interval, u32::MAX);
}

#[test]
fn two_readings_past_re_grip_load_and_one_where_none_came_before() {
    for follows in [true, false] {
        let mut tracker = armed(forty());
        tracker.at = micros(1_000_000);
        tracker.last = seen(10, 100, 5);
        tracker.has_last = true;
        tracker.released_at = Some(micros(500_000));
        tracker.pull_counted = true;
        tracker.restart_top = 9_000;
        let first = seen(15, 3_000, 50);
        let began = tracker.load(follows, first);
        assert_eq!((began, tracker.loaded), (!follows, !follows));
        assert_eq!(tracker.turning_over, follows);
        if follows {
            assert_eq!(tracker.foot.map(|foot| foot.torque), Some(100));
            tracker.last = first;
            assert!(tracker.load(true, seen(20, 3_500, 60)));
        }
        assert!(tracker.loaded && !tracker.turning_over);
        assert!(tracker.foot.is_none() && tracker.released_at.is_none());
        assert!(!tracker.pull_counted);
        assert_eq!(tracker.restart_top, 0);
        assert_eq!(tracker.began_at, Some(micros(1_000_000)));
        assert_eq!((tracker.looked, tracker.looked_at), (follows, tracker.at));
        let together = tracker.together.seen;
        assert_eq!((together.torque, together.rotation), (3_000, 50));
    }
}

#[test]
fn the_first_load_begins_an_attempt_or_a_stroke_that_may_become_one() {
    for (had_begun, runs_down, told, begins) in [
        (false, RunsDown::No, true, true),
        (false, RunsDown::Yes, true, false),
        (false, RunsDown::Only, false, false),
        (true, RunsDown::No, false, true),
        (true, RunsDown::Yes, false, true),
    ] {
        let mut tracker = armed(forty());
        tracker.at = micros(1_000_000);
        tracker.runs_down = runs_down;
        let before = Some(micros(3)).filter(|_| had_begun);
        tracker.began_at = before;
        assert_eq!(tracker.load(false, seen(0, 3_000, 0)), told);
        assert_eq!(tracker.began_at.is_some(), begins);
        if had_begun {
            assert_eq!(tracker.began_at, before);
        }
    }
}

#[test]
fn a_load_begins_its_pull_anew() {
    let mut tracker = pulling(forty(), seen(0, 20_000, 0));
    tracker.loaded = false;
    let top = seen(0, 20_000, 0);
    for mark in 0..4 {
        tracker.pace.push(seen(25 * mark, 20_000, 0));
    }
    follow(&mut tracker, top);
    for step in 0..64 {
        tracker.drift.rest(seen(10 * step, 0, 0));
    }
    let _ = tracker.load(false, seen(1_000, 20_000, 0));
    assert!(!tracker.pace.is_level(top, &tracker.thresholds));
    assert!(!tracker.shape.broke(3_000, &tracker.thresholds));
    for step in 130..194 {
        tracker.drift.rest(seen(10 * step, 0, 100));
    }
    assert_eq!(tracker.drift.rate(), 0);
}

#[test]
fn a_stiff_train_that_is_past_snug_at_its_second_reading_is_counted_from_where_it_crossed() {
    let mut tracker = armed(forty());
    tracker.last = seen(10, 0, 0);
    tracker.has_last = true;
    let first = seen(15, 8_000, 800);
    let _ = tracker.load(true, first);
    tracker.last = first;
    let _ = tracker.load(true, seen(20, 9_000, 900));
    let turned = tracker.turning.now(Some(seen(20, 9_000, 900)), 0);
    assert_eq!(turned, Some(500));
}

#[test]
fn a_stroke_of_a_run_down_leaves_nothing_and_a_pull_its_torque() {
    for began in [false, true] {
        let mut tracker = pulling(forty(), seen(0, 20_000, 0));
        tracker.began_at = Some(tracker.at).filter(|_| began);
        tracker.cue = Cue::Approach;
        tracker.held = 5;
        for torque in [19_000, 20_000, 20_000] {
            tracker.peak.push(torque, true, &tracker.thresholds);
        }
        assert!(!tracker.load(false, seen(5, 100, 0)));
        assert!(!tracker.loaded && !tracker.turning_over);
        assert_eq!(tracker.held, if began { 0 } else { 5 });
        assert_eq!(tracker.released_at.is_some(), began);
        assert_eq!(tracker.turning.is_counting(), began);
        let peak = if began { 20_000 } else { 0 };
        assert_eq!(tracker.peak.value(), peak);
        assert_eq!(tracker.cue == Cue::None, !began);
    }
}

/// A pull from 4 N·m to so much, in the train's own give alone but for so much turned.
fn ended(aim: crate::verdict::Aim, torque: i32, turned: i32, released: bool) -> Tracker {
    let from = seen(0, 4_000, 0);
    let mut tracker = pulling(aim, from);
    tracker.thresholds.snug = 4_000;
    tracker.thresholds.target = 40_000;
    for high in [torque - 500, torque, torque] {
        tracker.peak.push(high, true, &tracker.thresholds);
    }
    let top = seen(100, torque, turned);
    tracker
        .turning
        .follow(Some(from), top, 4_000, &tracker.thresholds);
    tracker.last = top;
    tracker.end_pull(released.then_some(seen(110, 100, turned)));
    tracker
}

#[test]
fn a_pulls_rise_is_judged_at_its_end_where_a_torque_is_aimed_at() {
    for (aim, turned, released, told) in [
        (forty(), 999, true, true),
        (forty(), 1_000, true, false),
        (ninety(), 999, true, false),
        // Under load nobody knows what of it was wind-up.
        (forty(), 999, false, false),
    ] {
        let tracker = ended(aim, 35_000, turned, released);
        assert_eq!(
            tracker.found.contains(Reason::NoTurn),
            told,
            "{aim:?} {turned} {released}"
        );
        assert_eq!(tracker.peak.settled, 35_000);
        assert_eq!(tracker.released_at, Some(tracker.at));
    }
}

#[test]
fn too_steep_a_rise_was_the_trains_alone_where_the_fastener_turned_by_less_than_half_a_degree() {
    // 20 N·m wind a train of 4 N·m a degree up by 5.
    for (compliance, turned, stood) in [
        (1 << 18, 5_499, true),
        (1 << 18, 5_500, false),
        (0, 5_499, false),
    ] {
        let mut tracker = pulling(forty(), seen(0, 4_000, 0));
        tracker.thresholds.compliance = compliance;
        tracker.turning = Turning::new(&tracker.thresholds);
        tracker.find(Reason::EarlyRise);
        tracker.early = Some((20_000, turned));
        tracker.end_pull(None);
        assert_eq!(tracker.found.contains(Reason::NoTurn), stood);
        assert_eq!(tracker.found.contains(Reason::EarlyRise), !stood);
        assert_eq!(tracker.early.is_some(), compliance == 0);
    }
    let mut tracker = pulling(forty(), seen(0, 4_000, 0));
    tracker.thresholds.compliance = 1 << 18;
    tracker.turning = Turning::new(&tracker.thresholds);
    tracker.find(Reason::EarlyRise);
    tracker.end_pull(None);
    assert!(tracker.found.contains(Reason::EarlyRise));
}

#[test]
fn a_bend_is_judged_at_the_end_of_its_pull_once_the_trains_stiffness_is_known() {
    // Chords of 2° and a bend after them; the softest train to allow for winds up by more.
    for (compliance, told) in [(1 << 18, true), (1 << 19, false), (0, false)] {
        let mut tracker = pulling(forty(), seen(0, 4_000, 0));
        tracker.thresholds.yield_step = 5_000;
        tracker.thresholds.wind_up = 5_000;
        tracker.shape.start_pull(0, &tracker.thresholds);
        for chord in 0..4 {
            let (torque, rotation) = (4_000 + 5_000 * chord, 2_000 * chord);
            tracker
                .shape
                .end_chord(torque, rotation, &tracker.thresholds);
        }
        let bent = seen(10, 20_000, 20_000);
        follow(&mut tracker, bent);
        assert!(!tracker.found.contains(Reason::Yielding));
        tracker.thresholds.compliance = compliance;
        tracker.turning = Turning::new(&tracker.thresholds);
        tracker.end_pull(None);
        assert_eq!(tracker.found.contains(Reason::Yielding), told);
    }
}

#[test]
fn a_stud_that_snapped_shows_while_the_handle_goes_on_for_three_times_a_release() {
    for (released, rotation, is_stuck, told) in [
        (Some(700_000), 2_001, false, true),
        (Some(699_999), 2_001, false, false),
        (Some(700_000), 2_000, false, false),
        (Some(700_000), 2_001, true, false),
        (None, 2_001, false, false),
    ] {
        let mut tracker = pulling(forty(), seen(0, 30_000, 0));
        let top = seen(0, 30_000, 0);
        follow(&mut tracker, top);
        tracker.loaded = false;
        tracker.released_at = released.map(micros);
        if is_stuck {
            tracker.find(Reason::Stuck);
        }
        let limits: &Thresholds = &tracker.thresholds;
        assert_eq!(Span::from_micros(limits.release), Span::from_millis(100));
        tracker.went_on(seen(300, 0, rotation));
        assert_eq!(
            tracker.found.contains(Reason::GivingWay),
            told,
            "{released:?}"
        );
    }
    // And at the release itself.
    let mut tracker = pulling(forty(), seen(0, 30_000, 0));
    let top = seen(0, 30_000, 0);
    follow(&mut tracker, top);
    let _ = tracker.load(false, seen(10, 0, 2_001));
    assert!(tracker.found.contains(Reason::GivingWay));
}

#[test]
fn an_attempt_that_ends_under_load_is_judged_by_its_turn_only_with_the_trains_stiffness_known() {
    for (compliance, released, told) in [(0, false, false), (0, true, true), (1 << 18, false, true)]
    {
        let from = seen(0, 4_000, 0);
        let mut tracker = pulling(forty(), from);
        tracker.thresholds.compliance = compliance;
        tracker.turning = Turning::new(&tracker.thresholds);
        tracker
            .turning
            .follow(None, from, 4_000, &tracker.thresholds);
        for torque in [34_500, 35_000, 35_000] {
            tracker.peak.push(torque, true, &tracker.thresholds);
        }
        let (top, foot) = (seen(100, 35_000, 999), seen(110, 3_000, 900));
        tracker
            .turning
            .follow(Some(from), top, 4_000, &tracker.thresholds);
        tracker
            .turning
            .follow(Some(top), foot, 4_000, &tracker.thresholds);
        tracker.last = foot;
        tracker.end_pull(released.then_some(foot));
        assert!(tracker.turning.total().is_some());
        assert_eq!(
            tracker.found.contains(Reason::NoTurn),
            told,
            "{compliance} {released}"
        );
    }
}
