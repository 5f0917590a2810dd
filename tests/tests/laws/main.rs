//! The laws of the session, on random procedures and random inputs.
//!
//! L1 total: nothing panics. L3 a restart folds to the live state after every input. L4 a refused input is a tick.
//! L5 extra ticks change no record. L6 nothing is told before it is safe. L7 a verdict never changes. Nobody is offered a later
//! stage while another stands open at an earlier one. Every act that is advised is taken. What is withdrawn at once leaves no
//! trace.

mod any;
mod kept;
mod run;

use evendraw_core::advice::Act;
use evendraw_core::procedure::{
    AngleWindow, Fastener, Parts, Policy, Prevailing, Procedure, Reuse, Stage, StageKind, Step,
    Terms,
};
use evendraw_core::record::{Added, Attempt, Due, Entry, RULES, Record, Role, Started};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Instant, Rotation, Span, Torque};
use evendraw_core::verdict::{Reason, Reasons, Verdict};
use proptest::prelude::*;

use any::{any_move, any_procedure, torque};
use run::Run;

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
