//! The laws of the session, on random procedures and random inputs.
//!
//! L1 total: nothing panics. L3 a restart folds to the live state after every input. L4 a refused input is a tick.
//! L5 extra ticks change no record. L6 nothing is told before it is safe. L7 a verdict never changes.

use evendraw_core::procedure::{
    AngleWindow, Fastener, Moment, Parts, Policy, Prevailing, Procedure, Redo, Reuse, Stage,
    StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Decision, Doubt, Entry, Record, Role};
use evendraw_core::sample::{Fault, Sample};
use evendraw_core::session::{Input, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Instant, Length, Rotation, Span, Torque};
use proptest::prelude::*;

fn torque(newton_meters: i32) -> TorqueWindow {
    let mnm = |value: i32| Torque::from_millinewton_meters(value * 1000);
    TorqueWindow {
        target: mnm(newton_meters),
        min: mnm(newton_meters - 2),
        max: mnm(newton_meters + 2),
    }
}

fn any_kind() -> impl Strategy<Value = StageKind> {
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
            state: evendraw_core::procedure::EngineState::Any,
        }),
    ]
}

prop_compose! {
    fn any_procedure()(
        kinds in prop::collection::vec((any_kind(), 0..3_u8, any::<bool>(), 0..12_u8), 1..6),
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
            .map(|(kind, policy, any_order, mock)| Stage {
                on_over: match policy { 0 => Policy::Ask, 1 => Policy::Replace, _ => Policy::Restart(0) },
                any_order: *any_order,
                mock_up: *mock == 0,
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
enum Move {
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
    Restart,
}

fn any_move() -> impl Strategy<Value = Move> {
    let fastener = 0..7_u8;
    let step = 0..32_u16;
    prop_oneof![
        12 => (1..80, 0..150, 5..40).prop_map(|(peak, turn, samples)| Move::Pull { peak, turn, samples }),
        2 => Just(Move::Plain(Input::Tick)),
        1 => Just(Move::Plain(Input::Finish)),
        1 => Just(Move::Plain(Input::MeasurementLost)),
        1 => Just(Move::Plain(Input::Faulty(Fault::Saturated))),
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
            state: evendraw_core::procedure::EngineState::Cold,
        })),
        1 => Just(Move::Plain(Input::TakenApart { note: "" })),
        1 => Just(Move::Restart),
    ]
}

/// One session under test with what a host would hold.
struct Run<'p> {
    procedure: &'p Procedure,
    session: Session<&'p Procedure>,
    kept: Vec<Entry>,
    at: u64,
    boot: u16,
    extra_ticks: bool,
    told: Vec<u32>,
}

impl<'p> Run<'p> {
    fn new(procedure: &'p Procedure, extra_ticks: bool) -> Self {
        let session = Session::new(procedure, 0);
        let mut run = Self {
            procedure,
            session,
            kept: Vec::new(),
            at: 0,
            boot: 0,
            extra_ticks,
            told: Vec::new(),
        };
        run.start();
        run
    }

    fn start(&mut self) {
        self.boot += 1;
        let boot = self.boot;
        self.send(Input::Start {
            boot,
            rehearsal: true,
        });
    }

    fn make(&mut self, step: &Move) {
        self.at += 37_000;
        match step {
            Move::Plain(input) => self.send(*input),
            Move::Restart => {
                self.session =
                    Session::restore(self.procedure, 0, &self.kept).expect("own records");
                self.start();
            }
            Move::RunDown {
                drag,
                turn,
                samples,
            } => {
                for n in (0..=*samples).chain((0..*samples).rev()) {
                    self.at += 5_000;
                    let is_turning = n % samples != 0;
                    let torque =
                        Torque::from_millinewton_meters(drag * 1000 * i32::from(is_turning));
                    let rotation = Rotation::from_millidegrees(turn * 1000 * n / samples);
                    self.send(Input::Sample(Sample { torque, rotation }));
                }
            }
            Move::Pull {
                peak,
                turn,
                samples,
            } => {
                for n in (0..=*samples).chain((0..=*samples).rev()).chain([0; 40]) {
                    self.at += 5_000;
                    // Torque up and down again; the fastener keeps the angle it reached.
                    let torque = Torque::from_millinewton_meters(peak * 1000 * n / samples);
                    let rotation = Rotation::from_millidegrees(turn * 1000 * n / samples + n * 50);
                    self.send(Input::Sample(Sample { torque, rotation }));
                }
            }
        }
    }

    fn send(&mut self, input: Input<'_>) {
        if self.extra_ticks {
            self.apply(self.at.saturating_sub(2_000), Input::Tick);
            self.apply(self.at, Input::Tick);
        }
        self.apply(self.at, input);
        let seq = self.session.ledger().seq();
        if self.session.durable() < seq {
            self.apply(self.at, Input::Durable { seq });
        }
        while self.session.durable() == seq {
            let before = self.told.len();
            self.apply(self.at, Input::Tick);
            if self.told.len() == before {
                break;
            }
        }
    }

    fn apply(&mut self, at: u64, input: Input<'_>) {
        let before = self.session.ledger().clone();
        let outcome = self.session.apply(Instant::from_micros(at), input);
        if outcome.refusal.is_some() && outcome.entries().is_empty() {
            assert_eq!(
                &before,
                self.session.ledger(),
                "L4: a refused input changed the state"
            );
        }
        if let Some(announcement) = outcome.announce {
            assert!(
                announcement.seq <= self.session.durable(),
                "L6: told before it was safe"
            );
            self.told.push(announcement.seq);
        }
        for entry in outcome.entries() {
            assert_eq!(
                entry.seq,
                self.kept.last().map_or(1, |last| last.seq + 1),
                "a gap in the records"
            );
            self.kept.push(entry.clone());
        }
        assert!(
            outcome.entries().len() < evendraw_core::limits::ENTRIES_MAX,
            "no input may fill the room for records"
        );
        if !outcome.entries().is_empty() {
            let restored = Session::restore(self.procedure, 0, &self.kept).expect("own records");
            assert_eq!(
                restored.ledger(),
                self.session.ledger(),
                "L3: a restart differs from the live state"
            );
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn a_session_keeps_its_laws(procedure in any_procedure(), moves in prop::collection::vec(any_move(), 1..60)) {
        let mut plain = Run::new(&procedure, false);
        let mut ticked = Run::new(&procedure, true);
        for step in &moves {
            plain.make(step);
            ticked.make(step);
        }
        prop_assert_eq!(&plain.kept, &ticked.kept, "L5: extra ticks changed the records");
        let attempts: Vec<u32> = plain
            .kept
            .iter()
            .filter(|entry| matches!(entry.record, Record::Attempt(_)))
            .map(|entry| entry.seq)
            .collect();
        prop_assert_eq!(&attempts, &plain.told, "every attempt is told once, in order");
    }
}
