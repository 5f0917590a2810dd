//! Every rule at its bound: the last sound number on either side, and the first beyond it.

use super::*;
use crate::procedure::{EngineState, Fastener, Prevailing, Terms};
use crate::text::Label;
use crate::unit::{Length, Span};

const fn torque(newton_meters: i32) -> Torque {
    Torque::from_millinewton_meters(newton_meters * 1_000)
}

const fn degrees(degrees: i32) -> Angle {
    Angle::from_millidegrees(degrees * 1_000)
}

const fn torques(min: i32, target: i32, max: i32) -> TorqueWindow {
    TorqueWindow {
        target: torque(target),
        min: torque(min),
        max: torque(max),
    }
}

const fn angles(min: i32, target: i32, max: i32) -> AngleWindow {
    AngleWindow {
        target: degrees(target),
        min: degrees(min),
        max: degrees(max),
    }
}

const fn tighten(window: TorqueWindow) -> StageKind {
    StageKind::Tighten {
        window,
        prevailing: Prevailing::None,
    }
}

const SOUND: StageKind = tighten(torques(38, 40, 42));

fn fastener(label: &str) -> Fastener {
    Fastener {
        label: Label::cut(label),
        near: [None; 4],
    }
}

/// Two fasteners, these stages and steps, and this changed.
fn checked(
    stages: &[Stage],
    steps: &[Step],
    change: impl FnOnce(&mut Parts<'_>),
) -> Result<Procedure, ProcedureError> {
    let fasteners = [fastener("1"), fastener("2")];
    let mut parts = Parts {
        fasteners: &fasteners,
        stages,
        steps,
        overrides: &[],
        terms: Terms::default(),
    };
    change(&mut parts);
    Procedure::new(&parts)
}

/// A sound stage, then one of this kind at one fastener, or for the joint where only that suits.
fn second(kind: StageKind) -> Result<(), ProcedureError> {
    let step = match kind {
        StageKind::Wait { .. } => Step::joint(1),
        _ => Step::on(0, 1),
    };
    let stages = [Stage::new(SOUND), Stage::new(kind)];
    checked(&stages, &[Step::on(0, 0), step], |_| {}).map(drop)
}

fn limits(stage: u8, why: Rule) -> Result<(), ProcedureError> {
    Err(ProcedureError::Limits { stage, why })
}

#[test]
fn a_torque_window_is_in_order_and_its_target_above_zero() {
    for (window, is_sound) in [
        (torques(40, 40, 40), true),
        (torques(0, 1, 1), true),
        (torques(-1, 40, 42), false),
        (torques(41, 40, 42), false),
        (torques(38, 43, 42), false),
        (torques(0, 0, 0), false),
        (torques(0, -1, 42), false),
    ] {
        let wanted = if is_sound {
            Ok(())
        } else {
            limits(1, Rule::TorqueWindow)
        };
        let turn = StageKind::Turn {
            window: angles(80, 90, 100),
            torque: Some(window),
            one_sweep: false,
        };
        let repeat = StageKind::Repeat {
            window,
            still: degrees(1),
            min: 1,
            max: 2,
        };
        let later = StageKind::Later {
            window,
            state: EngineState::Cold,
        };
        for kind in [
            tighten(window),
            StageKind::Align { window },
            turn,
            repeat,
            later,
        ] {
            assert_eq!(second(kind), wanted, "{kind:?}");
        }
    }
    let beyond = TorqueWindow {
        max: Torque::MAX,
        target: Torque::MAX,
        ..torques(38, 40, 42)
    };
    assert_eq!(second(tighten(beyond)), limits(1, Rule::TorqueWindow));
}

#[test]
fn an_angle_window_is_in_order_and_its_target_above_zero() {
    for (window, is_sound) in [
        (angles(90, 90, 90), true),
        (angles(0, 90, 100), true),
        (angles(-1, 90, 100), false),
        (angles(91, 90, 100), false),
        (angles(80, 101, 100), false),
        (angles(0, 0, 0), false),
    ] {
        let turn = StageKind::Turn {
            window,
            torque: None,
            one_sweep: false,
        };
        let wanted = if is_sound {
            Ok(())
        } else {
            limits(1, Rule::AngleWindow)
        };
        assert_eq!(second(turn), wanted, "{window:?}");
    }
}

#[test]
fn every_other_number_of_a_stage_is_sound_up_to_its_bound() {
    let given = |torque| StageKind::Tighten {
        window: torques(38, 40, 42),
        prevailing: Prevailing::Given(torque),
    };
    let repeat = |still, min, max| StageKind::Repeat {
        window: torques(38, 40, 42),
        still,
        min,
        max,
    };
    let hold = |torque, micros, still| StageKind::Hold {
        torque,
        time: Span::from_micros(micros),
        still,
    };
    let wait = |least, most, after| StageKind::Wait {
        at_least: Span::from_micros(least),
        at_most: Span::from_micros(most),
        after,
    };
    let least = Angle::from_millidegrees(1);
    let small = Torque::from_millinewton_meters(1);
    let below = Torque::from_millinewton_meters(-1);
    let long = |micrometers| Length::from_micrometers(micrometers);
    let rows = [
        (given(Torque::ZERO), None),
        (given(below), Some(Rule::Prevailing)),
        (repeat(least, 1, 30), None),
        (repeat(least, 3, 3), None),
        (repeat(Angle::ZERO, 1, 30), Some(Rule::Still)),
        (repeat(least, 0, 30), Some(Rule::Passes)),
        (repeat(least, 4, 3), Some(Rule::Passes)),
        (repeat(least, 1, 31), Some(Rule::Passes)),
        (hold(small, 1, least), None),
        (hold(Torque::ZERO, 1, least), Some(Rule::HoldTorque)),
        (hold(Torque::MAX, 1, least), Some(Rule::HoldTorque)),
        (hold(small, 0, least), Some(Rule::HoldTime)),
        (hold(small, 1, Angle::ZERO), Some(Rule::Still)),
        (StageKind::BackOff { angle: None }, None),
        (StageKind::BackOff { angle: Some(least) }, None),
        (
            StageKind::BackOff {
                angle: Some(Angle::ZERO),
            },
            Some(Rule::BackOff),
        ),
        (StageKind::Seat { turns: least }, None),
        (StageKind::Seat { turns: Angle::ZERO }, Some(Rule::Turns)),
        (
            StageKind::Measure {
                min: long(5),
                max: long(5),
            },
            None,
        ),
        (
            StageKind::Measure {
                min: long(6),
                max: long(5),
            },
            Some(Rule::Length),
        ),
        (wait(5, 5, Moment::StageDone(0)), None),
        (wait(6, 5, Moment::StageDone(0)), Some(Rule::Wait)),
        // Only what is done before can be waited for.
        (wait(5, 5, Moment::StageDone(1)), Some(Rule::WaitAfter)),
        (wait(5, 5, Moment::StageDone(2)), Some(Rule::WaitAfter)),
    ];
    for (kind, why) in rows {
        let wanted = why.map_or(Ok(()), |why| limits(1, why));
        assert_eq!(second(kind), wanted, "{kind:?}");
    }
}

#[test]
fn what_follows_restarts_at_this_stage_or_an_earlier_one() {
    for (at, is_sound) in [(0, true), (1, true), (2, false)] {
        type Set = fn(&mut Stage, Policy);
        let sets: [(Set, Rule); 2] = [
            (|stage, policy| stage.on_over = policy, Rule::OnOver),
            (|stage, policy| stage.on_under = policy, Rule::OnUnder),
        ];
        for (set, why) in sets {
            let mut stages = [Stage::new(SOUND); 3];
            set(&mut stages[1], Policy::Restart(at));
            let steps = [Step::on(0, 0), Step::on(0, 1), Step::on(0, 2)];
            let wanted = if is_sound { Ok(()) } else { limits(1, why) };
            assert_eq!(checked(&stages, &steps, |_| {}).map(drop), wanted, "{at}");
        }
    }
}

#[test]
fn a_step_is_at_a_place_that_is_there_that_suits_and_once() {
    let stages = [Stage::new(SOUND), Stage::new(StageKind::Check)];
    let wait = StageKind::Wait {
        at_least: Span::ZERO,
        at_most: Span::ZERO,
        after: Moment::StageDone(0),
    };
    let waits = [Stage::new(SOUND), Stage::new(wait)];
    let rows: [(&[Stage], &[Step], Option<ProcedureError>); 10] = [
        (&stages, &[Step::on(1, 0), Step::joint(1)], None),
        (&stages, &[Step::on(1, 0), Step::on(1, 1)], None),
        (
            &stages,
            &[Step::on(2, 0)],
            Some(ProcedureError::Dangling { step: 0 }),
        ),
        (
            &stages,
            &[Step::on(0, 0), Step::on(0, 2)],
            Some(ProcedureError::Dangling { step: 1 }),
        ),
        (
            &stages,
            &[Step::joint(0)],
            Some(ProcedureError::Place { step: 0 }),
        ),
        (
            &waits,
            &[Step::on(0, 0), Step::on(0, 1)],
            Some(ProcedureError::Place { step: 1 }),
        ),
        (
            &stages,
            &[Step::on(0, 0), Step::on(1, 0), Step::on(0, 0)],
            Some(ProcedureError::Twice { step: 2 }),
        ),
        (
            &stages,
            &[Step::joint(1), Step::on(0, 0), Step::joint(1)],
            Some(ProcedureError::Twice { step: 2 }),
        ),
        (&[], &[], Some(ProcedureError::None { what: "stages" })),
        (&stages, &[], Some(ProcedureError::None { what: "steps" })),
    ];
    for (stages, steps, wanted) in rows {
        let found = checked(stages, steps, |_| {}).err();
        assert_eq!(found, wanted, "{steps:?}");
    }
}

#[test]
fn the_steps_of_a_repeated_pass_stand_together() {
    let repeat = StageKind::Repeat {
        window: torques(38, 40, 42),
        still: degrees(1),
        min: 1,
        max: 2,
    };
    let stages = [Stage::new(repeat), Stage::new(SOUND)];
    let together = [Step::on(0, 0), Step::on(1, 0), Step::on(0, 1)];
    assert!(checked(&stages, &together, |_| {}).is_ok());
    let scattered = [Step::on(0, 0), Step::on(0, 1), Step::on(1, 0)];
    assert_eq!(
        checked(&stages, &scattered, |_| {}).err(),
        Some(ProcedureError::Scattered { stage: 0 })
    );
    // Any other stage may be left and come back to.
    let others = [Stage::new(SOUND), Stage::new(SOUND)];
    assert!(checked(&others, &scattered, |_| {}).is_ok());
}

#[test]
fn labels_are_there_once_and_those_near_are_others() {
    let steps = [Step::on(0, 0)];
    let mut near_itself = [fastener("1"), fastener("2")];
    near_itself[1].near[0] = Some(1);
    let mut near_none = [fastener("1"), fastener("2")];
    near_none[0].near[3] = Some(2);
    let mut near = [fastener("1"), fastener("2")];
    near[0].near[3] = Some(1);
    for (fasteners, wanted) in [
        (near, None),
        ([fastener("1"), fastener("")], Some(1)),
        ([fastener("1"), fastener("1")], Some(1)),
        (near_itself, Some(1)),
        (near_none, Some(0)),
    ] {
        let found = Procedure::new(&Parts {
            fasteners: &fasteners,
            stages: &[Stage::new(SOUND)],
            steps: &steps,
            overrides: &[],
            terms: Terms::default(),
        });
        let wanted = wanted.map(|fastener| ProcedureError::Label { fastener });
        assert_eq!(found.err(), wanted, "{fasteners:?}");
    }
}

#[test]
fn another_target_is_of_its_stages_kind_in_order_and_once() {
    let turn = StageKind::Turn {
        window: angles(80, 90, 100),
        torque: None,
        one_sweep: false,
    };
    let stages = [
        Stage::new(SOUND),
        Stage::new(turn),
        Stage::new(StageKind::Fit),
    ];
    let steps = [
        Step::on(0, 0),
        Step::on(0, 1),
        Step::on(1, 0),
        Step::on(1, 2),
    ];
    let own = |fastener, stage, aim| Override {
        fastener,
        stage,
        aim,
    };
    let torque = OverrideAim::Torque(torques(28, 30, 32));
    let angle = OverrideAim::Angle(angles(50, 60, 70));
    let rows: [(&[Override], Option<u8>); 8] = [
        (
            &[own(0, 0, torque), own(1, 0, torque), own(0, 1, angle)],
            None,
        ),
        (&[own(0, 0, torque), own(0, 0, torque)], Some(1)),
        (&[own(0, 0, angle)], Some(0)),
        (&[own(0, 1, torque)], Some(0)),
        (&[own(1, 2, torque)], Some(0)),
        // No such step.
        (&[own(1, 1, angle)], Some(0)),
        (
            &[own(0, 0, OverrideAim::Torque(torques(31, 30, 32)))],
            Some(0),
        ),
        (&[own(0, 1, OverrideAim::Angle(angles(0, 0, 0)))], Some(0)),
    ];
    for (overrides, wanted) in rows {
        let fasteners = [fastener("1"), fastener("2")];
        let found = Procedure::new(&Parts {
            fasteners: &fasteners,
            stages: &stages,
            steps: &steps,
            overrides,
            terms: Terms::default(),
        });
        let wanted = wanted.map(|index| ProcedureError::Override { index });
        assert_eq!(found.err(), wanted, "{overrides:?}");
    }
}

#[test]
fn a_fastener_is_used_once_at_least_and_a_sum_of_angles_is_above_zero() {
    let least = Angle::from_millidegrees(1);
    for (reuse, sum, wanted) in [
        (Reuse::Cycles(1), Some(least), None),
        (Reuse::Free, None, None),
        (Reuse::Cycles(0), None, Some(Rule::Cycles)),
        (Reuse::Free, Some(Angle::ZERO), Some(Rule::AngleSum)),
    ] {
        let found = checked(&[Stage::new(SOUND)], &[Step::on(0, 0)], |parts| {
            parts.terms.reuse = reuse;
            parts.terms.angle_sum_max = sum;
        });
        let wanted = wanted.map(|why| ProcedureError::Limits { stage: 0, why });
        assert_eq!(found.err(), wanted);
    }
}
