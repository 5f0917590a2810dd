//! Every limit at its bound, and what goes before what.

use super::*;
use std::vec::Vec;

const fn torque(newton_meters: i32) -> Torque {
    Torque::from_millinewton_meters(newton_meters * 1_000)
}

const fn degrees(degrees: i32) -> Angle {
    Angle::from_millidegrees(degrees * 1_000)
}

const LEAST: Torque = Torque::from_millinewton_meters(1);
const WINDOW: TorqueWindow = TorqueWindow {
    target: torque(40),
    min: torque(38),
    max: torque(42),
};
const TIGHTEN: Aim = Aim::Torque { window: WINDOW };

const fn turn(one_sweep: bool, left: Option<Angle>) -> Aim {
    Aim::Turn {
        window: AngleWindow {
            target: degrees(90),
            min: degrees(85),
            max: degrees(95),
        },
        torque: Some(WINDOW),
        one_sweep,
        left,
    }
}

/// One pull that reached this, and turned 90°.
fn reached(peak: Torque) -> Reading {
    Reading {
        pulls: 1,
        peak,
        final_torque: peak,
        angle: Some(degrees(90)),
        ..Reading::default()
    }
}

fn shaped(reading: Reading, reason: Reason) -> Reading {
    Reading {
        shape: reading.shape.with(reason),
        ..reading
    }
}

fn judged(aim: &Aim, reading: &Reading) -> (Verdict, Vec<Reason>) {
    let judgement = judge(aim, reading);
    let reasons = Reason::ALL.into_iter();
    let reasons = reasons.filter(|reason| judgement.reasons.contains(*reason));
    (judgement.verdict, reasons.collect())
}

fn accepted() -> (Verdict, Vec<Reason>) {
    (Verdict::Accepted, Vec::new())
}

fn rejected(reason: Reason) -> (Verdict, Vec<Reason>) {
    (Verdict::Rejected, std::vec![reason])
}

#[test]
fn the_limits_themselves_are_inside() {
    for aim in [TIGHTEN, turn(false, None)] {
        for (peak, wanted) in [
            (torque(38) - LEAST, rejected(Reason::TorqueLow)),
            (torque(38), accepted()),
            (torque(42), accepted()),
            (torque(42) + LEAST, rejected(Reason::TorqueHigh)),
        ] {
            assert_eq!(judged(&aim, &reached(peak)), wanted, "{aim:?}");
        }
    }
}

#[test]
fn a_turn_is_too_weak_by_the_torque_at_its_end_and_too_strong_by_its_highest() {
    let weak = Reading {
        final_torque: torque(37),
        ..reached(torque(40))
    };
    assert_eq!(
        judged(&turn(false, None), &weak),
        rejected(Reason::TorqueLow)
    );
    let strong = Reading {
        final_torque: torque(40),
        ..reached(torque(43))
    };
    assert_eq!(
        judged(&turn(false, None), &strong),
        rejected(Reason::TorqueHigh)
    );
    // A torque is judged by its highest alone.
    assert_eq!(judged(&TIGHTEN, &weak), accepted());
}

#[test]
fn an_angle_is_inside_up_to_its_limits_and_to_what_is_left_of_the_sum() {
    for (left, angle, wanted) in [
        (None, 84, rejected(Reason::AngleLow)),
        (None, 85, accepted()),
        (None, 95, accepted()),
        (None, 96, rejected(Reason::AngleHigh)),
        (Some(92), 92, accepted()),
        (Some(92), 93, rejected(Reason::AngleHigh)),
        (Some(100), 95, accepted()),
        (Some(100), 96, rejected(Reason::AngleHigh)),
    ] {
        let reading = Reading {
            angle: Some(degrees(angle)),
            ..reached(torque(40))
        };
        let aim = turn(false, left.map(degrees));
        assert_eq!(judged(&aim, &reading), wanted, "{angle} of {left:?}");
    }
}

#[test]
fn what_was_not_measured_is_unknown_unless_a_limit_was_passed() {
    let unmeasured = |peak| Reading {
        angle: None,
        ..reached(peak)
    };
    let aim = turn(false, None);
    assert_eq!(
        judge(&aim, &unmeasured(torque(40))).verdict,
        Verdict::Unknown
    );
    assert_eq!(
        judge(&aim, &unmeasured(torque(43))).verdict,
        Verdict::Rejected
    );
    // A torque alone needs no angle.
    assert_eq!(judged(&TIGHTEN, &unmeasured(torque(40))), accepted());
    for lost in LOST {
        for (peak, verdict) in [
            (torque(37), Verdict::Unknown),
            (torque(40), Verdict::Unknown),
            (torque(43), Verdict::Rejected),
        ] {
            let reading = shaped(reached(peak), lost);
            assert_eq!(judge(&TIGHTEN, &reading).verdict, verdict, "{lost:?}");
        }
    }
}

#[test]
fn a_sweep_that_was_to_be_one_is_rejected_where_it_was_several() {
    for (one_sweep, pulls, verdict) in [
        (false, 1, Verdict::Unknown),
        (false, 2, Verdict::Unknown),
        (true, 1, Verdict::Unknown),
        (true, 2, Verdict::Rejected),
    ] {
        let reading = shaped(
            Reading {
                pulls,
                ..reached(torque(40))
            },
            Reason::Interrupted,
        );
        let found = judge(&turn(one_sweep, None), &reading).verdict;
        assert_eq!(found, verdict, "one sweep {one_sweep}, {pulls} pulls");
    }
}

#[test]
fn a_jerk_is_unknown_where_the_torque_between_two_samples_may_have_passed_the_limit() {
    for aim in [TIGHTEN, turn(false, None)] {
        for (bound, verdict) in [
            (torque(2), Verdict::Accepted),
            (torque(2) + LEAST, Verdict::Unknown),
        ] {
            let reading = Reading {
                bound,
                ..reached(torque(40))
            };
            assert_eq!(
                judge(&aim, &shaped(reading, Reason::Jerk)).verdict,
                verdict,
                "{aim:?}"
            );
            // Without a jerk nothing lies between two samples.
            assert_eq!(judge(&aim, &reading).verdict, Verdict::Accepted);
        }
    }
}

#[test]
fn with_running_torque_unknown_too_low_is_certain_and_nothing_else() {
    for aim in [TIGHTEN, turn(false, None)] {
        for (peak, verdict) in [
            (torque(37), Verdict::Rejected),
            (torque(40), Verdict::Unknown),
            (torque(43), Verdict::Unknown),
        ] {
            let reading = shaped(reached(peak), Reason::RunningUnknown);
            let found = judge(&aim, &reading);
            assert_eq!(found.verdict, verdict, "{aim:?}");
            assert!(!found.reasons.contains(Reason::TorqueHigh));
        }
    }
}

#[test]
fn harm_rejects_whatever_the_numbers_say() {
    for reason in Reason::ALL {
        let found = judge(&TIGHTEN, &shaped(reached(torque(40)), reason));
        if reason.gravity() <= Gravity::Fault {
            assert_eq!(found.verdict, Verdict::Rejected, "{reason:?}");
        }
        assert!(found.reasons.contains(reason), "{reason:?}");
    }
}

#[test]
fn what_comes_with_a_graver_fault_is_not_said_beside_it() {
    for (grave, hidden) in [
        (Reason::NoTurn, Reason::EarlyRise),
        (Reason::Yielding, Reason::LateRise),
        (Reason::GivingWay, Reason::LateRise),
        (Reason::GivingWay, Reason::NoRise),
    ] {
        let own = shaped(reached(torque(40)), hidden);
        assert!(judge(&TIGHTEN, &own).reasons.contains(hidden));
        let both = judge(&TIGHTEN, &shaped(own, grave)).reasons;
        assert!(both.contains(grave) && !both.contains(hidden), "{grave:?}");
    }
    // One that yields still turned without its torque rising at first.
    let both = shaped(
        shaped(reached(torque(40)), Reason::NoRise),
        Reason::Yielding,
    );
    assert!(judge(&TIGHTEN, &both).reasons.contains(Reason::NoRise));
}

#[test]
fn a_hold_is_kept_long_enough_strong_enough_and_still() {
    let aim = Aim::Hold {
        torque: torque(40),
        time: Span::from_micros(5_000_000),
        still: degrees(2),
    };
    let held = |peak, micros, angle: Option<i32>| Reading {
        held: Span::from_micros(micros),
        angle: angle.map(degrees),
        ..reached(peak)
    };
    for (reading, wanted) in [
        (held(torque(40), 5_000_000, Some(2)), accepted()),
        (
            held(torque(40) - LEAST, 5_000_000, Some(2)),
            rejected(Reason::TorqueLow),
        ),
        (
            held(torque(40), 4_999_999, Some(2)),
            rejected(Reason::TorqueLow),
        ),
        (
            held(torque(40), 5_000_000, Some(3)),
            rejected(Reason::AngleHigh),
        ),
        (
            held(torque(40), 5_000_000, None),
            (Verdict::Unknown, Vec::new()),
        ),
    ] {
        assert_eq!(judged(&aim, &reading), wanted);
    }
}

#[test]
fn a_back_off_is_far_enough_where_an_angle_is_asked_for() {
    let back = |angle: i32| Reading {
        angle: Some(degrees(angle)),
        ..Reading::default()
    };
    let asked = Aim::BackOff {
        angle: Some(degrees(90)),
    };
    assert_eq!(judged(&asked, &back(90)), accepted());
    assert_eq!(judged(&asked, &back(89)), rejected(Reason::AngleLow));
    let free = Aim::BackOff { angle: None };
    assert_eq!(judged(&free, &back(1)), accepted());
}

#[test]
fn what_is_told_is_judged_where_the_stage_is_about_it() {
    let told = |torque, angle, moved| Told {
        torque,
        angle,
        moved,
    };
    let (at, by) = (Some(torque(40)), Some(degrees(90)));
    let hold = Aim::Hold {
        torque: torque(40),
        time: Span::from_micros(5_000_000),
        still: degrees(2),
    };
    let back = Aim::BackOff {
        angle: Some(degrees(90)),
    };
    let free = Aim::BackOff { angle: None };
    for (aim, own, verdict) in [
        (TIGHTEN, told(at, None, false), Some(Verdict::Accepted)),
        (TIGHTEN, told(None, by, false), None),
        (
            turn(false, None),
            told(at, by, false),
            Some(Verdict::Accepted),
        ),
        // The torque at the end of a turn need not be read; where it was, it counts.
        (
            turn(false, None),
            told(None, by, false),
            Some(Verdict::Accepted),
        ),
        (
            turn(false, None),
            told(Some(torque(43)), by, false),
            Some(Verdict::Rejected),
        ),
        (turn(false, None), told(at, None, false), None),
        (hold, told(at, None, false), Some(Verdict::Accepted)),
        (hold, told(at, None, true), Some(Verdict::Rejected)),
        (hold, told(None, None, false), None),
        (back, told(None, by, false), Some(Verdict::Accepted)),
        (back, told(None, None, false), None),
        (free, told(None, by, false), None),
    ] {
        let found = judge_told(&aim, own, Added::Nothing).map(|own| own.verdict);
        assert_eq!(found, verdict, "{aim:?} {own:?}");
    }
    // Where nobody knows what the thread drags, only too low is certain.
    for (torque, verdict) in [(37, Verdict::Rejected), (40, Verdict::Unknown)] {
        let own = told(Some(self::torque(torque)), None, false);
        let found = judge_told(&TIGHTEN, own, Added::Unknown).map(|own| own.verdict);
        assert_eq!(found, Some(verdict));
    }
    let own = told(None, by, false);
    let found = judge_told(&back, own, Added::Unknown).map(|own| own.verdict);
    assert_eq!(found, Some(Verdict::Accepted));
}

#[test]
fn reasons_are_put_together_and_taken_out_one_by_one() {
    for one in Reason::ALL {
        for other in Reason::ALL {
            let both = Reasons::NONE.with(one).union(Reasons::NONE.with(other));
            assert!(both.contains(one) && both.contains(other));
            assert_eq!(both.iter().count(), if one == other { 1 } else { 2 });
            assert_eq!(both.without(one).without(other), Reasons::NONE);
            assert_eq!(both.without(one).contains(other), one != other);
        }
    }
}

/// A running torque comes on top of every torque and of nothing else; a window without a lower limit has none after.
#[test]
fn a_running_torque_is_put_on_top_of_every_torque() {
    let by = torque(3);
    let raised = TorqueWindow {
        target: torque(43),
        min: torque(41),
        max: torque(45),
    };
    let open = TorqueWindow {
        min: Torque::ZERO,
        ..WINDOW
    };
    let Aim::Turn { window: angles, .. } = turn(true, None) else {
        panic!("a turn");
    };
    let turned = |torque| Aim::Turn {
        window: angles,
        torque,
        one_sweep: true,
        left: Some(degrees(9)),
    };
    let (still, time) = (degrees(2), Span::from_micros(5));
    let repeat = |window| Aim::Repeat { window, still };
    let hold = |torque| Aim::Hold {
        torque,
        time,
        still,
    };
    let back = Aim::BackOff { angle: None };
    for (aim, wanted, has_torque) in [
        (TIGHTEN, Aim::Torque { window: raised }, true),
        (
            Aim::Torque { window: open },
            Aim::Torque {
                window: TorqueWindow {
                    min: Torque::ZERO,
                    ..raised
                },
            },
            true,
        ),
        (repeat(WINDOW), repeat(raised), true),
        (turned(Some(WINDOW)), turned(Some(raised)), true),
        (turned(None), turned(None), false),
        (hold(torque(40)), hold(torque(43)), true),
        (back, back, false),
    ] {
        assert_eq!(aim.raised(by), wanted);
        assert_eq!(aim.has_torque(), has_torque, "{aim:?}");
    }
}
