//! Random procedures, and random inputs for them.

use evendraw_core::procedure::{
    AngleWindow, EngineState, Evidence, Fastener, Moment, Parts, Policy, Prevailing, Procedure,
    Redo, Reuse, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Decision, Doubt, Role};
use evendraw_core::sample::Fault;
use evendraw_core::session::Input;
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Length, Span, Torque};
use proptest::prelude::*;

pub(crate) fn torque(newton_meters: i32) -> TorqueWindow {
    let mnm = |value: i32| Torque::from_millinewton_meters(value * 1000);
    TorqueWindow {
        target: mnm(newton_meters),
        min: mnm(newton_meters - 2),
        max: mnm(newton_meters + 2),
    }
}

pub(crate) fn any_kind() -> impl Strategy<Value = StageKind> {
    prop_oneof![
        4 => (10..60).prop_map(|nm| StageKind::Tighten { window: torque(nm), prevailing: Prevailing::None }),
        2 => (10..60).prop_map(|nm| StageKind::Tighten { window: torque(nm), prevailing: Prevailing::Measure }),
        1 => (10..60, 0..10).prop_map(|(nm, running)| StageKind::Tighten {
            window: torque(nm),
            prevailing: Prevailing::Given(Torque::from_millinewton_meters(running * 1000)),
        }),
        3 => (20..120, any::<bool>()).prop_map(|(degrees, one_sweep)| StageKind::Turn {
            window: AngleWindow {
                target: Angle::from_millidegrees(degrees * 1000),
                min: Angle::from_millidegrees(degrees * 1000 - 5000),
                max: Angle::from_millidegrees(degrees * 1000 + 5000),
            },
            torque: None,
            one_sweep,
        }),
        2 => (10..60, 1..3_u8, 3..5_u8).prop_map(|(nm, min, max)| StageKind::Repeat {
            window: torque(nm),
            still: Angle::from_millidegrees(2000),
            min,
            max,
        }),
        1 => (10..60).prop_map(|nm| StageKind::Hold {
            torque: Torque::from_millinewton_meters(nm * 1000),
            time: Span::from_millis(500),
            still: Angle::from_millidegrees(1000),
        }),
        1 => Just(StageKind::BackOff { angle: None }),
        1 => Just(StageKind::Seat { turns: Angle::from_millidegrees(720_000) }),
        1 => Just(StageKind::Check),
        1 => Just(StageKind::Measure { min: Length::from_micrometers(10), max: Length::from_micrometers(20) }),
        1 => Just(StageKind::Fit),
        1 => Just(StageKind::Wait {
            at_least: Span::from_millis(300),
            at_most: Span::from_seconds(20),
            after: Moment::Named(0),
        }),
        1 => (10..60).prop_map(|nm| StageKind::Later {
            window: torque(nm),
            state: EngineState::Any,
        }),
    ]
}

pub(crate) fn any_evidence() -> impl Strategy<Value = Evidence> {
    prop_oneof![
        6 => Just(Evidence::Any),
        1 => Just(Evidence::Setting),
        1 => Just(Evidence::Reading),
        1 => Just(Evidence::Curve),
    ]
}

prop_compose! {
    pub(crate) fn any_procedure()(
        kinds in prop::collection::vec((any_kind(), 0..3_u8, any::<bool>(), 0..12_u8, any_evidence()), 1..6),
        count in 1..6_u8,
        reuse in prop_oneof![Just(Reuse::Free), Just(Reuse::ReplaceIfLoosened), Just(Reuse::Cycles(2))],
        redo in prop_oneof![Just(Redo::Fastener), Just(Redo::Neighbours), Just(Redo::Joint)],
        asks in any::<bool>(),
    ) -> Procedure {
        let fasteners: Vec<Fastener> = (0..count)
            .map(|index| Fastener {
                label: Label::new(&format!("{}", index + 1)).expect("short"),
                near: [Some((index + 1) % count).filter(|_| count > 1), None, None, None],
            })
            .collect();
        let stages: Vec<Stage> = kinds
            .iter()
            .map(|(kind, policy, any_order, mock, evidence)| Stage {
                on_over: match policy { 0 => Policy::Ask, 1 => Policy::Replace, _ => Policy::Restart(0) },
                any_order: *any_order,
                mock_up: *mock == 0,
                evidence: *evidence,
                ..Stage::new(*kind)
            })
            .collect();
        let mut steps = Vec::new();
        for (index, stage) in (0_u8..).zip(&stages) {
            if matches!(stage.kind, StageKind::Wait { .. }) {
                steps.push(Step::joint(index));
            } else {
                steps.extend((0..count).map(|fastener| Step::on(fastener, index)));
            }
        }
        let terms = Terms {
            reuse, redo, condition_stated: asks, person_named: asks, tool_named: asks, ..Terms::default()
        };
        Procedure::new(&Parts { fasteners: &fasteners, stages: &stages, steps: &steps, overrides: &[], terms })
            .expect("a valid procedure")
    }
}

/// An input that owns nothing, so that it can be sent twice.
#[derive(Clone, Debug)]
pub(crate) enum Move {
    Plain(Input<'static>),
    /// A whole pull to a torque, by an angle, in so many samples.
    Pull {
        peak: i32,
        turn: i32,
        samples: i32,
    },
    /// A stroke of a run-down: level torque, then back over the ratchet.
    RunDown {
        drag: i32,
        turn: i32,
        samples: i32,
    },
    /// A value read, or a click by a setting, near what is to be pulled next; with an offset it misses.
    Told {
        way: u8,
        off: i32,
        moved: bool,
    },
    Restart,
    /// The record so many before the next: it was on that fastener, or it was not so.
    PutRight {
        back: u32,
        fastener: u8,
    },
}

pub(crate) fn any_move() -> impl Strategy<Value = Move> {
    let fastener = 0..7_u8;
    let step = 0..32_u16;
    prop_oneof![
        12 => (1..80, 0..150, 5..40).prop_map(|(peak, turn, samples)| Move::Pull { peak, turn, samples }),
        2 => Just(Move::Plain(Input::Tick)),
        1 => Just(Move::Plain(Input::Finish)),
        1 => Just(Move::Plain(Input::MeasurementLost)),
        1 => Just(Move::Plain(Input::Faulty(Fault::Saturated))),
        2 => (0..60_000).prop_map(|torque| Move::Plain(Input::TorqueAlone(Torque::from_millinewton_meters(torque)))),
        1 => Just(Move::Plain(Input::StoreFailed)),
        1 => fastener.clone().prop_map(|fastener| Move::Plain(Input::Select { fastener })),
        2 => step.clone().prop_map(|step| Move::Plain(Input::Confirm { step })),
        1 => step.clone().prop_map(|step| Move::Plain(Input::Paper { step })),
        2 => (step.clone(), any::<bool>()).prop_map(|(step, yes)| Move::Plain(Input::Answer { step, yes, note: "a" })),
        2 => (step.clone(), 5..25).prop_map(|(step, um)| Move::Plain(Input::Measure {
            step,
            length: Length::from_micrometers(um),
        })),
        1 => Just(Move::Plain(Input::Person { name: "Ada", role: Role::Operator })),
        1 => Just(Move::Plain(Input::Tool { id: "A1", waiver: "" })),
        1 => any::<bool>().prop_map(|matches| Move::Plain(Input::Condition { found: "oil", matches })),
        1 => (fastener.clone(), any::<bool>()).prop_map(|(fastener, elsewhere)| Move::Plain(Input::Loosened {
            fastener,
            elsewhere,
            cause: "look",
        })),
        1 => fastener.clone().prop_map(|fastener| Move::Plain(Input::Fitted { fastener })),
        1 => step.clone().prop_map(|step| Move::Plain(Input::Skip { step, reason: "Ada: later" })),
        1 => fastener.clone().prop_map(|fastener| Move::Plain(Input::Note {
            fastener: Some(fastener),
            doubt: Doubt::Raised,
            text: "gritty",
        })),
        2 => (step, 0..6_u8).prop_map(|(step, which)| Move::Plain(Input::Decide {
            step,
            decision: match which {
                0 => Decision::Again,
                1 => Decision::Restart(0),
                2 => Decision::Replace,
                3 => Decision::Observed,
                4 => Decision::Restart(9),
                _ => Decision::Waive,
            },
            note: "Ada: seen",
        })),
        1 => fastener.clone().prop_map(|fastener| Move::Plain(Input::Mark { fastener })),
        1 => fastener.prop_map(|fastener| Move::Plain(Input::Recheck { fastener })),
        1 => (0..7_u8, -1..70).prop_map(|(fastener, nm)| Move::Plain(Input::RunningTorque {
            fastener,
            torque: Torque::from_millinewton_meters(nm * 1000),
        })),
        3 => (1..12, 40..200, 10..40).prop_map(|(drag, turn, samples)| Move::RunDown { drag, turn, samples }),
        1 => Just(Move::Plain(Input::Moment { moment: 0 })),
        1 => (0..6_u8).prop_map(|stage| Move::Plain(Input::Due {
            stage,
            state: EngineState::Cold,
        })),
        1 => Just(Move::Plain(Input::TakenApart { note: "" })),
        4 => (1..6_u32, 0..7_u8).prop_map(|(back, fastener)| Move::PutRight { back, fastener }),
        8 => (0..8_u8, prop_oneof![4 => Just(0), 1 => -9_000..9_000], any::<bool>())
            .prop_map(|(way, off, moved)| Move::Told { way, off, moved }),
        1 => Just(Move::Restart),
    ]
}
