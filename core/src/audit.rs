//! Judging a recorded reading again, and comparing.
//!
//! Changes nothing: a verdict is a recorded fact, and an audit only says whether today's rules would come to the same. What a
//! record does not hold (how long a hold was kept, how far a jerk reached between two samples) is taken as recorded. Knows
//! nothing of storage or of the samples behind a reading.

use crate::ledger::Ledger;
use crate::procedure::{Prevailing, Procedure, TorqueWindow};
use crate::record::{Added, Attempt};
use crate::unit::{Span, Torque};
use crate::verdict::{Aim, Judgement, Reading, Reason, Told, Verdict, judge, judge_told};

/// Reasons that the limits give; every other one the curve gave.
const BY_LIMIT: [Reason; 5] = [
    Reason::TorqueLow,
    Reason::TorqueHigh,
    Reason::AngleLow,
    Reason::AngleHigh,
    Reason::OutOfOrder,
];

/// What an audit of one attempt found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Finding {
    /// Today's rules come to the same verdict for the same reasons.
    Agrees,
    /// They come to another one.
    Differs(Judgement),
    /// The procedure has no such step, or it is not pulled.
    NoSuchStep,
}

/// The running torque that the limits of a recorded attempt came on top of; zero where none was known.
#[must_use]
pub fn added(procedure: &Procedure, attempt: &Attempt) -> Torque {
    match (attempt.prevailing, procedure.prevailing(attempt.step)) {
        // The first version of the record did not say a running torque that the plan gives.
        (Added::Nothing, Prevailing::Given(torque)) => torque,
        (added, _) => added.torque().unwrap_or(Torque::ZERO),
    }
}

/// The torque window that a recorded attempt was held against, its running torque put in; `None` for stages without one.
#[must_use]
pub fn torque_window(procedure: &Procedure, attempt: &Attempt) -> Option<TorqueWindow> {
    let window = procedure.torque_window(attempt.step)?;
    Some(window.raised(added(procedure, attempt)))
}

/// Judges again what a person read, or what a setting stands for, as [`audit`] does an attempt.
#[must_use]
pub fn audit_told(
    procedure: &Procedure,
    before: &Ledger,
    attempt: &Attempt,
    told: Told,
) -> Finding {
    let aim = before.aim_as_planned(procedure, attempt.step);
    let aim = aim.map(|aim| aim.raised(added(procedure, attempt)));
    let Some(again) = aim.and_then(|aim| judge_told(&aim, told, attempt.prevailing)) else {
        return Finding::NoSuchStep;
    };
    found(again, attempt)
}

fn found(again: Judgement, attempt: &Attempt) -> Finding {
    let recorded = Judgement {
        verdict: attempt.verdict,
        reasons: attempt.reasons.without(Reason::OutOfOrder),
    };
    if again == recorded {
        Finding::Agrees
    } else {
        Finding::Differs(again)
    }
}

/// Judges a recorded attempt again by the limits of its procedure. `before` is the ledger as it stood before the attempt; it
/// matters only where the procedure limits the sum of a fastener's angles.
#[must_use]
pub fn audit(procedure: &Procedure, before: &Ledger, attempt: &Attempt) -> Finding {
    let Some(aim) = before.aim_as_planned(procedure, attempt.step) else {
        return Finding::NoSuchStep;
    };
    let aim = aim.raised(added(procedure, attempt));
    let reading = reading(attempt, &aim);
    let in_one_sweep = matches!(
        aim,
        Aim::Turn {
            one_sweep: true,
            ..
        }
    ) && attempt.pulls > 1;
    if reading.shape.contains(Reason::Interrupted)
        && !in_one_sweep
        && attempt.verdict == Verdict::Unknown
    {
        // The measurement was lost: there is nothing that could be judged otherwise.
        return Finding::Agrees;
    }
    found(judge(&aim, &reading), attempt)
}

/// What was measured, as far as a record holds it.
pub(crate) fn reading(attempt: &Attempt, aim: &Aim) -> Reading {
    let mut shape = attempt.reasons;
    for reason in BY_LIMIT {
        shape = shape.without(reason);
    }
    Reading {
        pulls: attempt.pulls,
        peak: attempt.peak,
        final_torque: attempt.final_torque,
        angle: attempt.angle,
        restart: attempt.restart,
        held: match aim {
            Aim::Hold { time, .. } if !attempt.reasons.contains(Reason::TorqueLow) => *time,
            _ => Span::ZERO,
        },
        bound: if attempt.verdict == Verdict::Unknown {
            Torque::MAX
        } else {
            Torque::ZERO
        },
        shape,
        ..Reading::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::{AngleWindow, Fastener, Parts, Stage, StageKind, Step, Terms};
    use crate::text::Label;
    use crate::unit::Angle;
    use crate::verdict::Reasons;

    const fn mn_m(value: i32) -> Torque {
        Torque::from_millinewton_meters(value)
    }

    const fn degrees(value: i32) -> Angle {
        Angle::from_millidegrees(value * 1_000)
    }

    const WINDOW: TorqueWindow = TorqueWindow {
        target: mn_m(40_000),
        min: mn_m(38_000),
        max: mn_m(42_000),
    };

    /// One fastener and these stages, each at it.
    fn procedure(stages: &[StageKind]) -> Procedure {
        let fasteners = [Fastener {
            label: Label::cut("1"),
            near: [None; 4],
        }];
        let steps: std::vec::Vec<Step> = (0..).zip(stages).map(|(at, _)| Step::on(0, at)).collect();
        let stages: std::vec::Vec<Stage> = stages.iter().copied().map(Stage::new).collect();
        Procedure::new(&Parts {
            fasteners: &fasteners,
            stages: &stages,
            steps: &steps,
            overrides: &[],
            terms: Terms::default(),
        })
        .unwrap()
    }

    fn tighten(prevailing: Prevailing) -> Procedure {
        procedure(&[StageKind::Tighten {
            window: WINDOW,
            prevailing,
        }])
    }

    fn turned(one_sweep: bool) -> Procedure {
        let turn = StageKind::Turn {
            window: AngleWindow {
                target: degrees(90),
                min: degrees(85),
                max: degrees(95),
            },
            torque: None,
            one_sweep,
        };
        let tighten = StageKind::Tighten {
            window: WINDOW,
            prevailing: Prevailing::None,
        };
        procedure(&[tighten, turn])
    }

    /// An attempt at the first step that reached this, accepted.
    fn reached(peak: i32) -> Attempt {
        Attempt {
            step: 0,
            fastener: 0,
            stage: 0,
            attempt: 1,
            pulls: 1,
            verdict: Verdict::Accepted,
            reasons: Reasons::NONE,
            peak: mn_m(peak),
            final_torque: mn_m(peak),
            angle: None,
            prevailing: Added::Nothing,
            restart: None,
            trace: 0,
            took_ms: 1_000,
        }
    }

    fn rejected(attempt: Attempt, reason: Reason) -> Attempt {
        Attempt {
            verdict: Verdict::Rejected,
            reasons: attempt.reasons.with(reason),
            ..attempt
        }
    }

    #[test]
    fn a_verdict_that_follows_from_its_reading_agrees_and_every_other_differs() {
        let (procedure, before) = (tighten(Prevailing::None), Ledger::new());
        for (peak, reason) in [
            (37_999, Some(Reason::TorqueLow)),
            (38_000, None),
            (42_000, None),
            (42_001, Some(Reason::TorqueHigh)),
        ] {
            let told = match reason {
                Some(reason) => rejected(reached(peak), reason),
                None => reached(peak),
            };
            assert_eq!(audit(&procedure, &before, &told), Finding::Agrees);
            // The same reading with the other verdict.
            let other = match reason {
                Some(_) => reached(peak),
                None => rejected(reached(peak), Reason::TorqueHigh),
            };
            let Finding::Differs(again) = audit(&procedure, &before, &other) else {
                panic!("{peak} is judged both ways");
            };
            assert_eq!(again.reasons, told.reasons);
            assert_eq!(again.verdict, told.verdict);
        }
    }

    const fn read(torque: i32) -> Told {
        Told {
            torque: Some(mn_m(torque)),
            angle: None,
            moved: false,
        }
    }

    #[test]
    fn what_was_read_is_judged_again_by_the_same_limits() {
        let (procedure, before) = (tighten(Prevailing::None), Ledger::new());
        for (value, reason) in [
            (37_999, Some(Reason::TorqueLow)),
            (38_000, None),
            (42_000, None),
            (42_001, Some(Reason::TorqueHigh)),
        ] {
            let (own, other) = match reason {
                Some(reason) => (rejected(reached(value), reason), reached(value)),
                None => (reached(value), rejected(reached(value), Reason::TorqueHigh)),
            };
            let found = |attempt: &Attempt| audit_told(&procedure, &before, attempt, read(value));
            assert_eq!(found(&own), Finding::Agrees, "{value}");
            let again = Judgement {
                verdict: own.verdict,
                reasons: own.reasons,
            };
            assert_eq!(found(&other), Finding::Differs(again), "{value}");
        }
        // The limits come on top of the running torque that was recorded.
        let measured = Attempt {
            prevailing: Added::Measured(mn_m(5_000)),
            ..reached(45_000)
        };
        let found = |value| audit_told(&procedure, &before, &measured, read(value));
        assert_eq!(found(43_000), Finding::Agrees);
        assert!(matches!(found(42_999), Finding::Differs(_)));
    }

    #[test]
    fn what_the_stage_is_about_must_have_been_read() {
        let (procedure, before) = (tighten(Prevailing::None), Ledger::new());
        let nothing = Told {
            torque: None,
            ..read(0)
        };
        let attempt = reached(40_000);
        let found = audit_told(&procedure, &before, &attempt, nothing);
        assert_eq!(found, Finding::NoSuchStep);
        let elsewhere = Attempt { step: 1, ..attempt };
        let found = audit_told(&procedure, &before, &elsewhere, read(40_000));
        assert_eq!(found, Finding::NoSuchStep);
    }

    #[test]
    fn what_was_out_of_order_is_no_other_verdict() {
        let (procedure, before) = (tighten(Prevailing::None), Ledger::new());
        let mut attempt = reached(40_000);
        attempt.reasons = attempt.reasons.with(Reason::OutOfOrder);
        assert_eq!(audit(&procedure, &before, &attempt), Finding::Agrees);
    }

    #[test]
    fn what_the_curve_showed_is_taken_as_recorded() {
        let (procedure, before) = (tighten(Prevailing::None), Ledger::new());
        let harmed = rejected(reached(40_000), Reason::GivingWay);
        assert_eq!(audit(&procedure, &before, &harmed), Finding::Agrees);
        // Without that reason nothing rejects it.
        let not_harmed = Attempt {
            reasons: Reasons::NONE,
            ..harmed
        };
        assert!(matches!(
            audit(&procedure, &before, &not_harmed),
            Finding::Differs(again) if again.verdict == Verdict::Accepted
        ));
    }

    #[test]
    fn a_step_that_is_not_there_is_told_so() {
        let (procedure, before) = (tighten(Prevailing::None), Ledger::new());
        let attempt = Attempt {
            step: 1,
            ..reached(40_000)
        };
        assert_eq!(audit(&procedure, &before, &attempt), Finding::NoSuchStep);
        assert_eq!(torque_window(&procedure, &attempt), None);
    }

    #[test]
    fn limits_come_on_top_of_the_running_torque_that_was_recorded() {
        let measured = Attempt {
            prevailing: Added::Measured(mn_m(5_000)),
            ..reached(45_000)
        };
        let procedure = tighten(Prevailing::Measure);
        assert_eq!(added(&procedure, &measured), mn_m(5_000));
        let window = torque_window(&procedure, &measured).unwrap();
        assert_eq!((window.min, window.max), (mn_m(43_000), mn_m(47_000)));
        assert_eq!(
            audit(&procedure, &Ledger::new(), &measured),
            Finding::Agrees
        );
        // The first version of the record did not say what the plan gives.
        let given = tighten(Prevailing::Given(mn_m(3_000)));
        assert_eq!(added(&given, &reached(43_000)), mn_m(3_000));
        assert_eq!(
            audit(&given, &Ledger::new(), &reached(43_000)),
            Finding::Agrees
        );
        // What was recorded goes before what the plan gives; what nobody knew is none.
        assert_eq!(added(&given, &measured), mn_m(5_000));
        let unknown = Attempt {
            prevailing: Added::Unknown,
            ..reached(43_000)
        };
        assert_eq!(added(&procedure, &unknown), Torque::ZERO);
    }

    #[test]
    fn a_measurement_that_was_lost_is_not_judged_again_but_several_pulls_of_a_sweep_are() {
        let before = Ledger::new();
        let lost = |pulls| Attempt {
            step: 1,
            stage: 1,
            pulls,
            verdict: Verdict::Unknown,
            reasons: Reasons::NONE.with(Reason::Interrupted),
            angle: Some(degrees(90)),
            ..reached(50_000)
        };
        assert_eq!(audit(&turned(false), &before, &lost(1)), Finding::Agrees);
        assert_eq!(audit(&turned(false), &before, &lost(2)), Finding::Agrees);
        assert_eq!(audit(&turned(true), &before, &lost(1)), Finding::Agrees);
        // Accepted, though the measurement was lost: that is another verdict.
        let accepted = Attempt {
            verdict: Verdict::Accepted,
            ..lost(1)
        };
        assert_ne!(audit(&turned(false), &before, &accepted), Finding::Agrees);
    }

    #[test]
    fn an_angle_is_held_against_its_window() {
        let before = Ledger::new();
        let turned_by = |angle| Attempt {
            step: 1,
            stage: 1,
            angle: Some(degrees(angle)),
            ..reached(50_000)
        };
        let procedure = turned(false);
        assert_eq!(audit(&procedure, &before, &turned_by(85)), Finding::Agrees);
        for (angle, reason) in [(84, Reason::AngleLow), (96, Reason::AngleHigh)] {
            let told = rejected(turned_by(angle), reason);
            assert_eq!(audit(&procedure, &before, &told), Finding::Agrees);
            assert_ne!(
                audit(&procedure, &before, &turned_by(angle)),
                Finding::Agrees
            );
        }
    }

    #[test]
    fn how_long_a_hold_was_kept_is_taken_as_recorded() {
        let hold = StageKind::Hold {
            torque: mn_m(40_000),
            time: Span::from_micros(5_000_000),
            still: degrees(2),
        };
        let tighten = StageKind::Tighten {
            window: WINDOW,
            prevailing: Prevailing::None,
        };
        let (procedure, before) = (procedure(&[tighten, hold]), Ledger::new());
        let held = Attempt {
            step: 1,
            stage: 1,
            angle: Some(degrees(1)),
            ..reached(40_500)
        };
        assert_eq!(audit(&procedure, &before, &held), Finding::Agrees);
        let short = rejected(held.clone(), Reason::TorqueLow);
        assert_eq!(audit(&procedure, &before, &short), Finding::Agrees);
        let moved = Attempt {
            angle: Some(degrees(3)),
            ..rejected(held.clone(), Reason::AngleHigh)
        };
        assert_eq!(audit(&procedure, &before, &moved), Finding::Agrees);
    }
}
