//! The laws of the session, on random procedures and random inputs.
//!
//! L1 total: nothing panics. L3 a restart folds to the live state after every input. L4 a refused input is a tick.
//! L5 extra ticks change no record. L6 nothing is told before it is safe. L7 a verdict never changes. Nobody is offered a later
//! stage while another stands open at an earlier one. Every act that is advised is taken. What is withdrawn at once leaves no
//! trace.

use std::collections::BTreeMap;

use evendraw_core::advice::Act;
use evendraw_core::ledger::Ledger;
use evendraw_core::procedure::{
    AngleWindow, Evidence, Fastener, Moment, Parts, Policy, Prevailing, Procedure, Redo, Reuse,
    Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{
    Added, Attempt, Decision, Doubt, Due, Entry, RULES, Record, Role, Started, Way,
};
use evendraw_core::sample::{Fault, Sample};
use evendraw_core::session::{Input, Next, Outcome, Readout, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Instant, Length, Rotation, Span, Torque};
use evendraw_core::verdict::{Reason, Reasons, Verdict};
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

fn any_evidence() -> impl Strategy<Value = Evidence> {
    prop_oneof![
        6 => Just(Evidence::Any),
        1 => Just(Evidence::Setting),
        1 => Just(Evidence::Reading),
        1 => Just(Evidence::Curve),
    ]
}

prop_compose! {
    fn any_procedure()(
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

fn any_move() -> impl Strategy<Value = Move> {
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
            state: evendraw_core::procedure::EngineState::Cold,
        })),
        1 => Just(Move::Plain(Input::TakenApart { note: "" })),
        4 => (1..6_u32, 0..7_u8).prop_map(|(back, fastener)| Move::PutRight { back, fastener }),
        8 => (0..8_u8, prop_oneof![4 => Just(0), 1 => -9_000..9_000], any::<bool>())
            .prop_map(|(way, off, moved)| Move::Told { way, off, moved }),
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
    /// How everything stood before each record that came alone.
    before: BTreeMap<u32, String>,
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
            before: BTreeMap::new(),
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
            Move::PutRight { back, fastener } => {
                let of = self.session.ledger().seq().saturating_sub(back - 1);
                let entry = self.kept.iter().find(|entry| entry.seq == of).cloned();
                if let Some(attempt) = entry.as_ref().and_then(|entry| entry.record.attempt()) {
                    let other = Attempt {
                        step: attempt.step ^ 1,
                        ..attempt.clone()
                    };
                    for attempt in [&other, attempt] {
                        self.send_to(|session, at| session.reassign(at, of, attempt, *fastener));
                    }
                }
                self.send(Input::Withdraw {
                    of,
                    reason: "not so",
                });
            }
            Move::Restart => {
                self.session =
                    Session::restore(self.procedure, 0, &self.kept).expect("own records");
                self.start();
            }
            Move::Told { way, off, moved } => self.told_by_a_person(*way, *off, *moved),
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

    /// Reads a value, sets a tool or ticks, for the step that is next; for one that does not exist where none is.
    fn told_by_a_person(&mut self, way: u8, off: i32, moved: bool) {
        let step = self.session.next().step().unwrap_or(999);
        let target = self
            .session
            .ledger()
            .torque_window(self.procedure, step)
            .map_or(0, |window| window.target.millinewton_meters());
        let angle = self.procedure.angle_window(step);
        let torque = Torque::from_millinewton_meters(target + off);
        if way == 0 {
            self.send(Input::Confirm { step });
        } else if way <= 2 {
            self.send(Input::BySetting {
                step,
                setting: torque,
                stands_for: torque,
                moved,
            });
        } else {
            let ways = [Way::Display, Way::Eye, Way::Gauge, Way::Mark];
            let turned = angle.map_or(0, |window| window.target.millidegrees());
            let readout = Readout {
                way: ways[usize::from(way % 4)],
                torque: (way != 5).then_some(torque),
                angle: (way != 3).then_some(Angle::from_millidegrees(turned + off)),
                moved,
                stated: "0.1 N·m, 2 %",
            };
            self.send(Input::Read {
                step,
                readout: &readout,
            });
        }
    }

    fn send(&mut self, input: Input<'_>) {
        self.send_to(|session, at| session.apply(at, input));
    }

    fn send_to(&mut self, act: impl FnOnce(&mut Session<&'p Procedure>, Instant) -> Outcome) {
        if self.extra_ticks {
            self.apply(self.at.saturating_sub(2_000), Input::Tick);
            self.apply(self.at, Input::Tick);
        }
        self.act(self.at, act);
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
        self.act(at, |session, at| session.apply(at, input));
    }

    fn act(&mut self, at: u64, act: impl FnOnce(&mut Session<&'p Procedure>, Instant) -> Outcome) {
        let before = self.session.ledger().clone();
        let stood = stands(&before, self.procedure);
        let outcome = act(&mut self.session, Instant::from_micros(at));
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
        if let [entry] = outcome.entries() {
            if let Record::Withdrawn(own) = &entry.record
                && own.of + 1 == entry.seq
                && let Some(stood) = self.before.get(&own.of)
            {
                let now = stands(self.session.ledger(), self.procedure);
                assert_eq!(&now, stood, "what was withdrawn at once left a trace");
            }
            self.before.insert(entry.seq, stood);
        }
        self.nobody_is_offered_a_later_stage();
        self.every_act_advised_is_taken();
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

/// Everything that a ledger says of steps and fasteners, but how often each was tried.
fn stands(ledger: &Ledger, procedure: &Procedure) -> String {
    let steps = procedure
        .numbered_steps()
        .map(|(index, _)| ledger.step(index));
    let fasteners = (0_u8..).zip(procedure.fasteners()).map(|(own, _)| {
        (
            (
                ledger.cycles(own),
                ledger.must_loosen(own),
                ledger.must_replace(own),
            ),
            (
                ledger.must_decide(own),
                ledger.felt_wrong(own),
                ledger.is_marked(own),
            ),
            (
                ledger.is_new(own),
                ledger.is_tight(own),
                ledger.left_at(own),
            ),
            (
                ledger.running(own),
                ledger.wants_running(own),
                ledger.turned(own),
            ),
        )
    });
    format!(
        "{:?} {:?} {}",
        steps.collect::<Vec<_>>(),
        fasteners.collect::<Vec<_>>(),
        ledger.moved()
    )
}

impl Run<'_> {
    /// The step order is the truth: what is next is never of a later stage than the first step that stands open, whoever was
    /// selected before.
    fn nobody_is_offered_a_later_stage(&self) {
        let (Next::Pull { step }
        | Next::Hand { step }
        | Next::Fit { step }
        | Next::Answer { step }
        | Next::Measure { step }) = self.session.next()
        else {
            return;
        };
        let ledger = self.session.ledger();
        let first = (0_u16..)
            .zip(self.procedure.steps())
            .find(|(index, other)| {
                let later = matches!(
                    self.procedure.stages()[usize::from(other.stage())].kind,
                    StageKind::Later { .. }
                );
                !ledger.step(*index).is_settled() && (!later || ledger.is_due(other.stage()))
            })
            .map(|(_, other)| other.stage());
        let offered = self.procedure.steps()[usize::from(step)].stage();
        assert!(
            first.is_some_and(|first| offered <= first),
            "step {step} of stage {offered} is offered while a step of stage {first:?} stands open"
        );
    }

    /// What is advised after a restart of these records; a selection and a pull in progress do not outlast it.
    fn every_act_advised_is_taken(&self) {
        if self.session.advice().is_some() {
            every_act_is_taken(self.procedure, &self.kept);
        }
    }
}

/// Carries out every act of the advice, each on a session of its own made of the records.
fn every_act_is_taken(procedure: &Procedure, kept: &[Entry]) {
    let boot = kept.iter().map(|entry| entry.boot).max().unwrap_or(0) + 1;
    let at = Instant::from_micros(1 << 40);
    let again = || {
        let mut session = Session::restore(procedure, 0, kept).expect("own records");
        session.apply(
            at,
            Input::Start {
                boot,
                rehearsal: true,
            },
        );
        safe(&mut session, at);
        session.apply(
            at,
            Input::Person {
                name: "Ada",
                role: Role::Operator,
            },
        );
        session.apply(
            at,
            Input::Tool {
                id: "A1",
                waiver: "",
            },
        );
        session.apply(
            at,
            Input::Condition {
                found: "oil",
                matches: true,
            },
        );
        safe(&mut session, at);
        session
    };
    let Some(advice) = again().advice() else {
        return;
    };
    for &act in advice.acts {
        let mut session = again();
        let mut take = |input: Input<'_>| {
            let outcome = session.apply(at, input);
            assert_eq!(outcome.refusal, None, "{act:?} of {advice:?}: {input:?}");
            safe(&mut session, at);
            session.next()
        };
        let next = take(Input::Tick);
        match (act, next, act.decision(advice.from)) {
            (_, Next::Decide { step }, Some(decision)) => {
                let next = take(Input::Decide {
                    step,
                    decision,
                    note: "Ada: seen",
                });
                match (act, advice.fastener, next) {
                    (Act::Replace, Some(fastener), _) => {
                        take(Input::Fitted { fastener });
                    }
                    (Act::Loosen | Act::TakeOut, _, Next::Loosen { fastener }) => {
                        take(Input::Loosened {
                            fastener,
                            elsewhere: false,
                            cause: "to begin again",
                        });
                    }
                    _ => {}
                }
            }
            (Act::TypeRunning, Next::Decide { .. }, _) => {
                let fastener = advice.fastener.expect("running torque is of a fastener");
                let next = take(Input::RunningTorque {
                    fastener,
                    torque: Torque::from_millinewton_meters(1_000),
                });
                assert!(matches!(next, Next::Pull { .. }), "{advice:?}: {next:?}");
            }
            (Act::PullOn, Next::Pull { .. }, _) => {
                let sample = Sample {
                    torque: Torque::from_millinewton_meters(2_000),
                    rotation: Rotation::from_millidegrees(0),
                };
                take(Input::Sample(sample));
            }
            (Act::Loosen, _, _) => {
                let fastener = advice.fastener.expect("a fastener to loosen");
                take(Input::Loosened {
                    fastener,
                    elsewhere: false,
                    cause: "to begin again",
                });
            }
            (Act::Replace, _, _) => {
                let fastener = advice.fastener.expect("a fastener to replace");
                take(Input::Fitted { fastener });
            }
            (Act::Waive, _, _) => {
                let open = (0_u16..)
                    .zip(procedure.steps())
                    .find(|(step, own)| {
                        advice
                            .step
                            .map_or(own.fastener() == advice.fastener, |at| at == *step)
                            && !again().ledger().step(*step).is_settled()
                    })
                    .map(|(step, _)| step)
                    .expect("an open step to leave out");
                take(Input::Skip {
                    step: open,
                    reason: "Ada: seen",
                });
            }
            other => panic!("{advice:?} offers what nothing carries out: {other:?}"),
        }
    }
}

fn safe(session: &mut Session<&Procedure>, at: Instant) {
    let seq = session.ledger().seq();
    session.apply(at, Input::Durable { seq });
    for _ in 0..4 {
        session.apply(at, Input::Tick);
    }
}

/// Every reason beside every other, at every kind of stage, with every reuse and policy: what is advised is what the session takes.
#[test]
fn every_act_advised_after_any_verdict_is_taken() {
    let degrees = Angle::from_millidegrees;
    let angle = AngleWindow {
        target: degrees(90_000),
        min: degrees(85_000),
        max: degrees(95_000),
    };
    let tighten = StageKind::Tighten {
        window: torque(20),
        prevailing: Prevailing::Measure,
    };
    let kinds = [
        tighten,
        StageKind::Turn {
            window: angle,
            torque: None,
            one_sweep: false,
        },
        StageKind::Repeat {
            window: torque(40),
            still: degrees(2_000),
            min: 1,
            max: 3,
        },
        StageKind::Hold {
            torque: Torque::from_millinewton_meters(40_000),
            time: Span::from_seconds(1),
            still: degrees(1_000),
        },
        StageKind::BackOff { angle: None },
        StageKind::BackOff {
            angle: Some(degrees(90_000)),
        },
        StageKind::Align { window: torque(40) },
        StageKind::Later {
            window: torque(40),
            state: evendraw_core::procedure::EngineState::Any,
        },
    ];
    let reuses = [Reuse::Free, Reuse::ReplaceIfLoosened, Reuse::Cycles(1)];
    let policies = [Policy::Ask, Policy::Replace, Policy::Restart(0)];
    let mut advised = 0;
    for kind in kinds {
        for (reuse, on_over) in reuses
            .into_iter()
            .flat_map(|reuse| policies.map(|policy| (reuse, policy)))
        {
            let fastener = Fastener {
                label: Label::new("1").expect("short"),
                near: [None; 4],
            };
            let own = Stage {
                on_over,
                ..Stage::new(kind)
            };
            let procedure = Procedure::new(&Parts {
                fasteners: &[fastener],
                stages: &[Stage::new(tighten), own],
                steps: &[Step::on(0, 0), Step::on(0, 1)],
                overrides: &[],
                terms: Terms {
                    reuse,
                    ..Terms::default()
                },
            })
            .expect("a valid procedure");
            for (one, other) in Reason::ALL
                .into_iter()
                .flat_map(|one| Reason::ALL.map(|other| (one, other)))
                .filter(|(one, other)| one <= other)
            {
                for verdict in [Verdict::Rejected, Verdict::Unknown] {
                    let reasons = Reasons::NONE.with(one).with(other);
                    let kept = told(&procedure, verdict, reasons);
                    every_act_is_taken(&procedure, &kept);
                    let mut session = Session::restore(&procedure, 0, &kept).expect("own records");
                    session.apply(
                        Instant::BOOT,
                        Input::Start {
                            boot: 2,
                            rehearsal: true,
                        },
                    );
                    let seq = session.ledger().seq();
                    session.apply(Instant::BOOT, Input::Durable { seq });
                    let advice = session.advice().unwrap_or_else(|| {
                        panic!(
                            "{kind:?} {verdict:?} {one:?} {other:?}: {:?}",
                            session.next()
                        )
                    });
                    assert_eq!(advice.gravest, reasons.gravest());
                    advised += 1;
                }
            }
        }
    }
    let pairs = Reason::ALL.len() * (Reason::ALL.len() + 1) / 2;
    assert_eq!(advised, 8 * 9 * 2 * pairs);
}

/// The records of a fastener whose first stage is done and whose second was judged like this.
fn told(procedure: &Procedure, verdict: Verdict, reasons: Reasons) -> Vec<Entry> {
    let attempt = |stage: u8, verdict, reasons| Attempt {
        step: u16::from(stage),
        fastener: 0,
        stage,
        attempt: 1,
        pulls: 1,
        verdict,
        reasons,
        peak: Torque::from_millinewton_meters(20_000),
        final_torque: Torque::from_millinewton_meters(20_000),
        angle: None,
        prevailing: Added::default(),
        restart: None,
        trace: 0,
        took_ms: 900,
    };
    let records: [Record; 4] = [
        Started {
            rules: RULES,
            procedure: procedure.digest(),
            rehearsal: true,
        }
        .into(),
        attempt(0, Verdict::Accepted, Reasons::NONE).into(),
        Due {
            stage: 1,
            state: evendraw_core::procedure::EngineState::Any,
        }
        .into(),
        attempt(1, verdict, reasons).into(),
    ];
    (1..)
        .zip(records)
        .map(|(seq, record)| Entry {
            joint: 0,
            seq,
            boot: 1,
            at: Instant::BOOT,
            record,
        })
        .collect()
}

/// What a person does about the order of work, of which next is one.
#[derive(Clone, Copy, Debug)]
enum Turn {
    /// What is next is done, and ticked on paper.
    Done,
    /// What is next is left out.
    LeftOut,
    Select(u8),
    Loosened(u8),
}

prop_compose! {
    /// Fasteners by stages, stage after stage or one fastener after the other, or in two groups of which each is finished first.
    fn any_order()(count in 2..8_u8, stages in 2..5_u8, one_at_a_time in any::<bool>(), groups in 1..3_u8) -> Procedure {
        let fasteners: Vec<Fastener> = (0..count)
            .map(|index| Fastener {
                label: Label::new(&format!("{}", index + 1)).expect("short"),
                near: [None; 4],
            })
            .collect();
        let kinds: Vec<Stage> = (0..stages)
            .map(|stage| Stage::new(StageKind::Tighten {
                window: torque(20 + 10 * i32::from(stage)),
                prevailing: Prevailing::None,
            }))
            .collect();
        let mut steps = Vec::new();
        for group in 0..groups {
            let own: Vec<u8> = (0..count).filter(|fastener| fastener % groups == group).collect();
            if one_at_a_time {
                steps.extend(own.iter().flat_map(|&fastener| (0..stages).map(move |stage| Step::on(fastener, stage))));
            } else {
                steps.extend((0..stages).flat_map(|stage| own.iter().map(move |&fastener| Step::on(fastener, stage))));
            }
        }
        Procedure::new(&Parts { fasteners: &fasteners, stages: &kinds, steps: &steps, overrides: &[], terms: Terms::default() })
            .expect("a valid procedure")
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    #[test]
    fn nobody_is_offered_a_later_stage_whoever_is_selected(
        procedure in any_order(),
        turns in prop::collection::vec(prop_oneof![
            4 => Just(Turn::Done),
            2 => Just(Turn::LeftOut),
            4 => (0..8_u8).prop_map(Turn::Select),
            1 => (0..8_u8).prop_map(Turn::Loosened),
        ], 1..60),
    ) {
        let mut run = Run::new(&procedure, false);
        for turn in turns {
            run.at += 1_000_000;
            match (turn, run.session.next()) {
                (Turn::Done, Next::Pull { step }) => run.send(Input::Paper { step }),
                (Turn::LeftOut, Next::Pull { step }) => run.send(Input::Skip { step, reason: "Ada: later" }),
                (Turn::Select(fastener), _) => run.send(Input::Select { fastener }),
                (Turn::Loosened(fastener), _) => run.send(Input::Loosened { fastener, elsewhere: false, cause: "" }),
                _ => {}
            }
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
            .filter(|entry| {
                matches!(
                    entry.record,
                    Record::Attempt(_)
                        | Record::Reassigned(_)
                        | Record::Read(_)
                        | Record::BySetting(_)
                )
            })
            .map(|entry| entry.seq)
            .collect();
        prop_assert_eq!(&attempts, &plain.told, "every attempt is told once, in order");
    }
}
