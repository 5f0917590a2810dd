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
