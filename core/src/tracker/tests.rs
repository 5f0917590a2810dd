//! A whole attempt through the tracker.

use super::*;
use crate::procedure::TorqueWindow;
use crate::sample::Sample;
use crate::unit::Rotation;
use crate::verdict::{Verdict, judge};

pub(super) fn millis(value: u32) -> Instant {
    Instant::BOOT.after(Span::from_millis(value))
}

pub(super) const fn seen(ticks: u32, torque: i32, rotation: i32) -> Seen {
    Seen {
        ticks,
        torque,
        rotation,
    }
}

/// 40 N·m, 38 to 42: re-grip at 2 N·m, snug at 4.
pub(super) fn forty() -> Aim {
    let [target, min, max] = [40_000, 38_000, 42_000].map(Torque::from_millinewton_meters);
    Aim::Torque {
        window: TorqueWindow { target, min, max },
    }
}

/// 90°, 85 to 95.
pub(super) fn ninety() -> Aim {
    let [target, min, max] = [90_000, 85_000, 95_000].map(Angle::from_millidegrees);
    Aim::Turn {
        window: crate::procedure::AngleWindow { target, min, max },
        torque: None,
        one_sweep: false,
        left: None,
    }
}

pub(super) fn armed(aim: Aim) -> Tracker {
    let mut tracker = Tracker::new();
    tracker.begin(aim, &CurveLimits::default(), Start::default());
    tracker
}

/// Under load since a second, its fastener counted from here on.
pub(super) fn pulling(aim: Aim, from: Seen) -> Tracker {
    let mut tracker = armed(aim);
    tracker.at = millis(1_000);
    tracker.looked_at = tracker.at;
    tracker.began_at = Some(tracker.at);
    tracker.loaded = true;
    tracker.last = from;
    tracker.has_last = true;
    tracker.pulls = 1;
    tracker.pull_counted = true;
    tracker
        .turning
        .follow(None, from, from.torque, &tracker.thresholds);
    tracker
}

fn sample(torque: i32, rotation: i32) -> Sample {
    Sample {
        torque: Torque::from_millinewton_meters(torque),
        rotation: Rotation::from_millidegrees(rotation),
    }
}

#[test]
fn a_plain_pull_begins_once_ends_after_release_and_is_accepted() {
    let newton_meters = |value| Torque::from_millinewton_meters(value * 1_000);
    let aim = Aim::Torque {
        window: TorqueWindow {
            target: newton_meters(40),
            min: newton_meters(38),
            max: newton_meters(42),
        },
    };
    let mut tracker = Tracker::new();
    tracker.begin(aim, &CurveLimits::default(), Start::default());
    let mut began = 0;
    let mut ended = false;
    for step in 0..40_i32 {
        let time = millis(u32::try_from(step).unwrap_or(0) * 10);
        let signal = tracker.feed(time, sample(step * 1_000, step * 2_000));
        began += i32::from(signal.began);
        ended |= signal.ended;
    }
    for step in 0..40_i32 {
        let time = millis(400 + u32::try_from(step).unwrap_or(0) * 10);
        let torque = (39 - 4 * step).max(0) * 1_000;
        let rotation = 78_000 - (39_000 - torque) / 10;
        ended |= tracker.feed(time, sample(torque, rotation)).ended;
    }
    assert_eq!(began, 1);
    assert!(ended);
    let reading = tracker.finish().unwrap_or_default();
    assert_eq!(reading.peak, newton_meters(39));
    // 35 N·m above snug at 2 degrees a N·m, of which 0.1 degree a N·m is wind-up that the release gives back.
    let angle = reading.angle.map(Angle::millidegrees);
    assert_eq!(angle, Some(78_000 - 3_500 - 8_000));
    assert_eq!(judge(&aim, &reading).verdict, Verdict::Accepted);
}

#[test]
fn a_torque_alone_is_judged_without_its_rotation() {
    let newton_meters = |value| Torque::from_millinewton_meters(value * 1_000);
    let aim = Aim::Torque {
        window: TorqueWindow {
            target: newton_meters(40),
            min: newton_meters(38),
            max: newton_meters(42),
        },
    };
    // Held to its gradient, a rotation that never moves would be a fastener that stands still.
    let limits = CurveLimits {
        gradient_min: 100,
        gradient_max: 2_000,
        run_down_min: Angle::from_millidegrees(360_000),
        run_down_max: Angle::from_millidegrees(720_000),
        ..CurveLimits::default()
    };
    for alone in [true, false] {
        let mut tracker = Tracker::new();
        tracker.begin(aim, &limits, Start::default());
        assert!(!tracker.needs_rotation());
        let mut cues = 0;
        for step in 0..90_i32 {
            let torque = newton_meters(if step < 40 {
                step
            } else {
                (80 - 2 * step + 40).max(0)
            });
            let at = millis(u32::try_from(step).unwrap_or(0) * 10);
            let signal = if alone {
                tracker.feed_alone(at, torque)
            } else {
                tracker.feed(at, sample(torque.millinewton_meters(), 0))
            };
            cues += i32::from(signal.cue == Cue::Target);
        }
        let reading = tracker.finish().unwrap_or_default();
        let verdict = judge(&aim, &reading).verdict;
        if alone {
            assert!(cues > 0, "the cue to let go comes all the same");
            assert_eq!((verdict, reading.shape), (Verdict::Accepted, Reasons::NONE));
        } else {
            assert_eq!(verdict, Verdict::Rejected);
        }
        assert_eq!(reading.angle.is_none(), alone);
    }
    let mut tracker = Tracker::new();
    let window = crate::procedure::AngleWindow {
        target: Angle::from_millidegrees(90_000),
        min: Angle::from_millidegrees(85_000),
        max: Angle::from_millidegrees(95_000),
    };
    let turn = Aim::Turn {
        window,
        torque: None,
        one_sweep: false,
        left: None,
    };
    tracker.begin(turn, &limits, Start::default());
    assert!(tracker.needs_rotation());
}

/// A pull to 40 N·m; at a sample of it the clock says this much less than it did.
fn pull_with_a_step_back(at: i32, back: u32) -> Verdict {
    let newton_meters = |value| Torque::from_millinewton_meters(value * 1_000);
    let aim = Aim::Torque {
        window: TorqueWindow {
            target: newton_meters(40),
            min: newton_meters(38),
            max: newton_meters(42),
        },
    };
    let mut tracker = Tracker::new();
    tracker.begin(aim, &CurveLimits::default(), Start::default());
    for step in 0..80_i32 {
        let torque = if step < 40 {
            step
        } else {
            (40 - 4 * (step - 40)).max(0)
        };
        let clock = 1_000 + u32::try_from(step).unwrap_or(0) * 10;
        let clock = if step == at { clock - back } else { clock };
        let rotation = step.min(40) * 2_000;
        let _ = tracker.feed(millis(clock), sample(torque * 1_000, rotation));
    }
    let reading = tracker.finish().unwrap_or_default();
    judge(&aim, &reading).verdict
}

#[test]
fn a_clock_that_runs_back_in_a_pull_leaves_it_unknown_and_before_it_harms_nothing() {
    assert_eq!(pull_with_a_step_back(30, 0), Verdict::Accepted);
    // The same moment twice is no step back.
    assert_eq!(pull_with_a_step_back(30, 10), Verdict::Accepted);
    assert_eq!(pull_with_a_step_back(30, 11), Verdict::Unknown);
    assert_eq!(pull_with_a_step_back(1, 11), Verdict::Accepted);
}

/// A little after it was let go of.
fn let_go(aim: Aim, peak: i32) -> Tracker {
    let mut tracker = pulling(aim, seen(0, 5_000, 0));
    for torque in [peak - 500, peak, peak] {
        tracker.peak.push(torque, true, &tracker.thresholds);
    }
    tracker.end_pull(Some(seen(10, 100, 2_000)));
    tracker
}

fn after(micros: u64) -> Instant {
    millis(1_000).after(Span::from_micros(micros))
}

#[test]
fn an_attempt_that_is_complete_ends_with_its_release_and_another_when_it_was_left_alone() {
    for (aim, peak, ends) in [
        (forty(), 38_000, Some(100_000)),
        (forty(), 37_999, Some(30_000_000)),
        // An angle that is part-way is kept.
        (ninety(), 38_000, None),
    ] {
        let mut tracker = let_go(aim, peak);
        assert_eq!(tracker.deadline(), ends.map(after), "{peak}");
        assert!(!tracker.tick(after(99_999)).ended);
        if let Some(ends) = ends {
            assert!(!tracker.tick(after(ends - 1)).ended);
            assert!(tracker.tick(after(ends)).ended);
        } else {
            assert!(!tracker.tick(after(90_000_000)).ended);
        }
        // Told to stop, it need not go on.
        tracker.find(Reason::GivingWay);
        assert_eq!(tracker.deadline(), Some(after(100_000)));
        assert!(tracker.tick(after(100_000)).ended);
        assert!(!tracker.tick(after(99_999)).ended);
    }
    let mut tracker = let_go(forty(), 38_000);
    tracker.thresholds.quiet = 200_000;
    assert!(!tracker.tick(after(199_999)).ended);
    assert!(tracker.tick(after(200_000)).ended);
}

#[test]
fn nothing_is_due_just_after_a_release_nor_under_load() {
    let mut tracker = let_go(forty(), 38_000);
    assert!(tracker.is_quiet(after(99_999)) && !tracker.is_quiet(after(100_000)));
    tracker.loaded = true;
    assert!(tracker.is_quiet(after(100_000)));
    let tracker = armed(forty());
    assert!(tracker.is_quiet(after(900_000)));
    assert_eq!(tracker.deadline(), None);
    assert_eq!(Tracker::new().deadline(), None);
}

#[test]
fn under_load_time_without_a_reading_is_a_gap_beyond_its_limit() {
    let mut tracker = pulling(forty(), seen(0, 20_000, 0));
    tracker.interval = 10_000;
    assert_eq!(tracker.deadline(), Some(after(100_001)));
    tracker.tick(after(100_000));
    assert!(!tracker.found.contains(Reason::Gap));
    let signal = tracker.tick(after(100_001));
    assert_eq!(signal.halt, Some(Reason::Gap));
    assert!(tracker.turning.is_lost());
    // Told once.
    assert_eq!(tracker.deadline(), None);
    for change in [
        |own: &mut Tracker| own.loaded = false,
        |own: &mut Tracker| own.began_at = None,
        |own: &mut Tracker| own.goal = Goal::NONE,
    ] {
        let mut tracker = pulling(forty(), seen(0, 20_000, 0));
        change(&mut tracker);
        assert_eq!(tracker.tick(after(9_000_000)).halt, None);
    }
}

#[test]
fn a_sensors_own_fault_counts_under_load() {
    for (loaded, told) in [(true, Some(Reason::Stuck)), (false, None)] {
        let mut tracker = pulling(forty(), seen(0, 20_000, 0));
        tracker.loaded = loaded;
        assert_eq!(tracker.fault(after(1), Reason::Stuck).halt, told);
        assert_eq!(tracker.turning.is_lost(), loaded);
    }
}

#[test]
fn the_first_reason_to_stop_is_told_and_every_one_is_kept() {
    let mut tracker = pulling(forty(), seen(0, 20_000, 0));
    tracker.find(Reason::Jerk);
    assert_eq!(tracker.halt, None);
    tracker.find(Reason::NoTurn);
    tracker.find(Reason::GivingWay);
    assert_eq!(tracker.halt, Some(Reason::NoTurn));
    for reason in [Reason::Jerk, Reason::NoTurn, Reason::GivingWay] {
        assert!(tracker.found.contains(reason));
    }
}

#[test]
fn arming_forgets_what_was_in_progress() {
    let mut tracker = let_go(ninety(), 38_000);
    tracker.loaded = true;
    tracker.turning_over = true;
    tracker.pull_counted = true;
    tracker.pulls = 3;
    tracker.cue = Cue::Over;
    tracker.restart = Some(5);
    tracker.restart_top = 6;
    tracker.early = Some((7, 8));
    tracker.held_to_rise = true;
    tracker.is_alone = true;
    tracker.held = 9;
    tracker.held_most = 10;
    tracker.travel.turned = 11;
    tracker.find(Reason::GivingWay);
    tracker.find(Reason::Jerk);
    for mark in 0..4 {
        tracker.pace.push(seen(25 * mark, 20_000, 0));
    }
    tracker.shape.start_pull(0, &tracker.thresholds);
    tracker.shape.end_chord(30_000, 0, &tracker.thresholds);
    for step in 0..40 {
        tracker
            .running
            .push(seen(0, 5_000, 500 * step), tracker.thresholds.level);
    }
    tracker.turn_rise.push(90_000, 0, &tracker.thresholds);
    tracker.begin(forty(), &CurveLimits::default(), Start::default());
    assert!(!tracker.loaded && !tracker.turning_over && !tracker.pull_counted);
    assert!(tracker.began_at.is_none() && tracker.released_at.is_none());
    assert_eq!((tracker.pulls, tracker.cue), (0, Cue::None));
    assert_eq!((tracker.restart, tracker.restart_top), (None, 0));
    assert_eq!(tracker.early, None);
    assert!(!tracker.held_to_rise && !tracker.is_alone);
    assert_eq!((tracker.held, tracker.held_most), (0, 0));
    assert_eq!((tracker.travel.turned, tracker.peak.value()), (0, 0));
    assert_eq!((tracker.found, tracker.halt), (Reasons::NONE, None));
    let level = seen(100, 20_000, 0);
    assert!(!tracker.pace.is_level(level, &tracker.thresholds));
    assert!(tracker.shape.ends_chord(0));
    assert_eq!(tracker.running.torque(), None);
    assert!(!tracker.turning.is_counting());
    let mut limits = tracker.thresholds;
    limits.turn_rise_after = 1;
    let rose = tracker.turn_rise.push(5_000, 30_000, &limits);
    assert_eq!(rose, Some(true));
    assert!(tracker.has_last);
}

#[test]
fn a_sensor_counts_anew_where_the_way_turns_round() {
    let back = Aim::BackOff { angle: None };
    for (first, second, kept) in [
        (forty(), ninety(), true),
        (forty(), back, false),
        (back, back, true),
        (back, forty(), false),
    ] {
        let mut tracker = armed(first);
        tracker.has_last = true;
        for step in 0..64 {
            tracker.drift.rest(seen(10 * step, 0, 0));
        }
        for step in 130..194 {
            tracker.drift.rest(seen(10 * step, 0, 100));
        }
        tracker.begin(second, &CurveLimits::default(), Start::default());
        assert_eq!(tracker.has_last, kept);
        assert_eq!(tracker.drift.rate() != 0, kept);
    }
}

#[test]
fn what_is_made_of_a_run_down_follows_what_is_known_of_its_torque() {
    for (run_down, running, runs_down, measures, kept, unknown) in [
        (RunDown::None, 5_000, RunsDown::No, false, None, false),
        (RunDown::Missed, 0, RunsDown::No, false, None, true),
        (RunDown::Known, 5_000, RunsDown::Yes, false, None, false),
        (RunDown::Measured, 0, RunsDown::Yes, true, None, false),
        (RunDown::Measured, 1, RunsDown::Yes, true, Some(1), false),
        (
            RunDown::LookedAt,
            5_000,
            RunsDown::Only,
            true,
            Some(5_000),
            false,
        ),
    ] {
        let start = Start {
            running: Torque::from_millinewton_meters(running),
            run_down,
            ..Start::default()
        };
        let mut tracker = Tracker::new();
        tracker.begin(forty(), &CurveLimits::default(), start);
        assert_eq!(tracker.runs_down, runs_down);
        assert_eq!(tracker.measures_running, measures);
        assert_eq!(tracker.running_kept, kept);
        assert_eq!(tracker.found.contains(Reason::RunningUnknown), unknown);
        assert_eq!(tracker.needs_rotation(), runs_down != RunsDown::No);
        // A turn needs no running torque to be judged.
        tracker.begin(ninety(), &CurveLimits::default(), start);
        assert!(!tracker.found.contains(Reason::RunningUnknown));
    }
}

#[test]
fn a_reading_says_what_the_attempt_came_to() {
    let mut tracker = let_go(forty(), 39_000);
    tracker.held_most = 7;
    tracker.restart = Some(8_000);
    tracker.peak.bound = 1_600;
    let plain = tracker.clone().finish().expect("it began");
    assert_eq!(plain.shape, Reasons::NONE);
    assert_eq!((plain.pulls, plain.held), (1, Span::from_micros(7)));
    assert_eq!(plain.restart, Some(Torque::from_millinewton_meters(8_000)));
    assert_eq!(plain.final_torque, Torque::from_millinewton_meters(5_000));
    assert_eq!(plain.train, None);
    // Faster than the readings can tell: a part of the target between two.
    let mut jerked = tracker.clone();
    jerked.peak.bound = 1_601;
    let reading = jerked.finish().expect("it began");
    assert!(reading.shape.contains(Reason::Jerk));
    // Never counted is one pull all the same.
    tracker.pulls = 0;
    assert_eq!(tracker.clone().finish().expect("it began").pulls, 1);
    for (one_sweep, pulls, told) in [(true, 2, true), (true, 1, false), (false, 2, false)] {
        let mut tracker = let_go(ninety(), 39_000);
        tracker.goal.one_sweep = one_sweep;
        tracker.pulls = pulls;
        let reading = tracker.finish().expect("it began");
        assert_eq!(reading.shape.contains(Reason::Interrupted), told);
    }
    // Lost in the middle: its angle is unknown.
    let reading = tracker.interrupt().expect("it began");
    assert_eq!(reading.angle, None);
    assert!(reading.shape.contains(Reason::Interrupted));
    assert!(tracker.finish().is_none() && tracker.aim().is_none());
    assert!(!tracker.has_begun());
    let mut never = armed(forty());
    assert!(never.finish().is_none());
    assert!(matches!(never.goal.kind, Kind::Idle));
}

#[test]
fn an_attempt_that_ends_under_load_counts_its_last_reading_and_disarms() {
    let mut tracker = pulling(forty(), seen(0, 5_000, 0));
    for torque in [30_000, 30_500] {
        tracker.peak.push(torque, true, &tracker.thresholds);
    }
    let reading = tracker.finish().expect("it began");
    assert_eq!(reading.peak, Torque::from_millinewton_meters(30_500));
    assert!(!tracker.loaded);
    assert!(matches!(tracker.goal.kind, Kind::Idle));
    assert!(!tracker.tick(after(90_000_000)).ended);
}

#[test]
fn an_angle_is_told_where_it_was_counted_from_a_snug_that_is_known() {
    for (aim, unknown, told) in [
        (forty(), false, true),
        (forty(), true, false),
        (ninety(), true, true),
    ] {
        let mut tracker = let_go(aim, 39_000);
        if unknown {
            tracker.find(Reason::RunningUnknown);
        }
        let reading = tracker.finish().expect("it began");
        assert_eq!(reading.angle.is_some(), told, "{aim:?}");
    }
    let mut tracker = let_go(Aim::BackOff { angle: None }, 39_000);
    tracker.travel.turned = 77_000;
    let reading = tracker.finish().expect("it began");
    assert_eq!(reading.angle, Some(Angle::from_millidegrees(77_000)));
}

#[test]
fn the_stiffness_of_a_train_is_told_and_remembered_for_the_hand_alone() {
    assert_eq!((stiffness(0), stiffness(-1)), (None, None));
    assert_eq!(
        (stiffness(1 << 18), stiffness(1)),
        (Some(4_000), Some(1_048_576_000))
    );
    let mut tracker = pulling(ninety(), seen(0, 5_000, 0));
    tracker.thresholds.compliance = 1 << 18;
    tracker.turning = Turning::new(&tracker.thresholds);
    let reading = tracker.finish().expect("it began");
    assert_eq!(reading.train, Some(4_000));
    tracker.begin(ninety(), &CurveLimits::default(), Start::default());
    let from = seen(0, 5_000, 0);
    tracker
        .turning
        .follow(None, from, 5_000, &tracker.thresholds);
    tracker.loaded = true;
    tracker.last = seen(5, 9_000, 3_000);
    assert_eq!(tracker.angle_now(), Some(2_000));
    tracker.is_alone = true;
    assert_eq!(tracker.angle_now(), None);
    // An attempt that does not find it takes nothing away.
    tracker.is_alone = false;
    tracker.began_at = Some(tracker.at);
    let _ = tracker.finish();
    assert_eq!(tracker.compliance_before, 1 << 18);
}

#[test]
fn a_view_shows_torque_angle_and_what_is_left() {
    let mut tracker = pulling(ninety(), seen(0, 5_000, 0));
    tracker.last = seen(5, 6_000, 30_000);
    let live = tracker.live();
    assert_eq!(live.torque, Torque::from_millinewton_meters(6_000));
    assert_eq!(live.angle, Some(Angle::from_millidegrees(30_000)));
    assert_eq!(live.remaining, Some(Angle::from_millidegrees(60_000)));
    assert!(live.loaded);
    tracker.has_last = false;
    assert_eq!(tracker.live().torque, Torque::ZERO);
    let mut tracker = armed(Aim::BackOff { angle: None });
    assert_eq!(tracker.live().angle, None);
    tracker.began_at = Some(tracker.at);
    tracker.travel.turned = 4_000;
    let live = tracker.live();
    assert_eq!(live.angle, Some(Angle::from_millidegrees(4_000)));
    assert_eq!(live.remaining, None);
    assert_eq!(ticks(Span::from_micros(2_047)), 1);
}

#[test]
fn each_aim_is_reached_at_its_bound() {
    let angle = Some(Angle::from_millidegrees(180_000));
    for (least, reached) in [(38_000, true), (38_001, false)] {
        let mut tracker = let_go(forty(), 38_000);
        tracker.goal.least = least;
        assert_eq!(tracker.is_reached(), reached);
    }
    for (least, reached) in [(2_000, true), (2_001, false)] {
        let mut tracker = let_go(ninety(), 38_000);
        tracker.goal.least = least;
        assert_eq!(tracker.turning.total(), Some(2_000));
        assert_eq!(tracker.is_reached(), reached);
        tracker.turning.lose();
        assert!(!tracker.is_reached());
    }
    for (turned, reached) in [(179_999, false), (180_000, true)] {
        let mut tracker = let_go(Aim::BackOff { angle }, 38_000);
        tracker.travel.turned = turned;
        assert_eq!(tracker.is_reached(), reached);
    }
    assert!(let_go(Aim::BackOff { angle: None }, 38_000).is_reached());
}

#[test]
fn an_attempt_has_begun_with_its_first_load() {
    assert!(!armed(forty()).has_begun() && !Tracker::new().has_begun());
    assert!(pulling(forty(), seen(0, 5_000, 0)).has_begun());
}

#[test]
fn a_bend_that_could_not_be_told_from_the_train_counts_where_its_stiffness_stays_unknown() {
    let mut tracker = let_go(forty(), 39_000);
    let limits = tracker.thresholds;
    tracker.shape.start_pull(0, &limits);
    // Chords of 1° for 5 N·m: as the softest train gives by itself.
    for chord in 0..4 {
        let (torque, rotation) = (4_000 + 5_000 * chord, 1_000 * chord);
        tracker.shape.end_chord(torque, rotation, &limits);
    }
    let bent = seen(10, 20_000, 20_000);
    let told = tracker.shape.follow(
        bent,
        bent,
        (bent.torque, bent.rotation),
        0,
        Some(0),
        &limits,
    );
    assert_eq!(told, None);
    let reading = tracker.finish().expect("it began");
    assert!(reading.shape.contains(Reason::Yielding));
}

fn hold_of_forty() -> Aim {
    Aim::Hold {
        torque: Torque::from_millinewton_meters(40_000),
        time: Span::from_seconds(5),
        still: Angle::ZERO,
    }
}

#[test]
fn a_hold_is_reached_when_its_time_is_over() {
    for (held, reached) in [(4_999_999, false), (5_000_000, true)] {
        let mut tracker = let_go(hold_of_forty(), 40_000);
        tracker.held_most = held;
        assert_eq!(tracker.is_reached(), reached);
    }
}

#[test]
fn an_attempt_that_ends_under_load_looks_at_what_came_last() {
    let mut tracker = pulling(hold_of_forty(), seen(0, 40_000, 0));
    for step in 1..50 {
        let _ = tracker.feed(millis(1_000 + step), sample(40_000, 0));
        if step > 30 && tracker.looked_at < tracker.at {
            break;
        }
    }
    assert!(tracker.looked_at < tracker.at);
    let until = tracker.at.since(tracker.looked_at).micros();
    let held = tracker.held_most;
    let reading = tracker.finish().expect("it began");
    assert_eq!(reading.held.micros(), held + until);
}
