//! Sessions on random procedures go on, stand and are recorded as when their sums were written: a change of what a session decides is meant
//! and has a new number of `RULES`, or it is a mistake.
//!
//! Most of the time what is next is done, so that they come far; now and then anything is; in the middle the procedure changes.
//! `EVENDRAW_REWRITE=1` writes the sums anew; `EVENDRAW_KEPT=n` tells the whole of one.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use crc::{CRC_32_ISO_HDLC, Crc};
use evendraw_core::ledger::Carry;
use evendraw_core::procedure::{
    Evidence, Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, TorqueWindow,
};
use evendraw_core::record::{Decision, Doubt, RULES, Role};
use evendraw_core::session::{Input, Next};
use evendraw_core::text::Label;
use evendraw_core::unit::{Instant, Length, Torque};
use proptest::strategy::{Strategy, ValueTree as _};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

use crate::any::{Move, any_move, any_procedure, torque};
use crate::run::{Run, stands};

const SESSIONS: u16 = 800;
const MOVES: usize = 56;

fn drawn<S: Strategy>(of: S, runner: &mut TestRunner) -> S::Value {
    of.new_tree(runner).expect("it can be drawn").current()
}

/// What is next, done; of several ways the one that `chance` says.
fn on_with(run: &mut Run<'_>, chance: u8) -> Move {
    let procedure = run.procedure;
    let plain = |input: Input<'static>| Move::Plain(input);
    match run.session.next() {
        Next::Start | Next::Store | Next::Nothing => plain(Input::Tick),
        Next::Person => plain(Input::Person {
            name: "Ada",
            role: Role::Operator,
        }),
        Next::Tool => plain(Input::Tool {
            id: "A1",
            waiver: "",
        }),
        Next::Condition => plain(Input::Condition {
            found: "oil",
            matches: chance > 20,
        }),
        Next::Pull { step } => {
            let ledger = run.session.ledger();
            let peak = ledger
                .torque_window(procedure, step)
                .map_or(20, |window| window.target.millinewton_meters() / 1_000);
            let turn = procedure
                .angle_window(step)
                .map_or(30, |window| window.target.millidegrees() / 1_000);
            let off = if chance > 200 {
                i32::from(chance) * 20
            } else {
                0
            };
            match chance % 4 {
                0 => Move::Pull {
                    peak: peak + off / 1_000,
                    turn,
                    samples: 24,
                },
                1 => Move::Told {
                    way: 0,
                    off,
                    moved: false,
                },
                2 => Move::Told {
                    way: 1,
                    off,
                    moved: chance & 64 != 0,
                },
                _ => Move::Told {
                    way: 4 + chance % 4,
                    off,
                    moved: chance & 64 != 0,
                },
            }
        }
        Next::Hand { step } => plain(Input::Confirm { step }),
        Next::Fit { step } => match procedure.fastener_of(step) {
            Some(fastener) => plain(Input::Fitted { fastener }),
            None => plain(Input::Tick),
        },
        Next::Answer { step } => plain(Input::Answer {
            step,
            yes: chance > 20,
            note: "a",
        }),
        Next::Measure { step } => plain(Input::Measure {
            step,
            length: Length::from_micrometers(5 + i32::from(chance % 20)),
        }),
        Next::Moment { moment, .. } => plain(Input::Moment { moment }),
        Next::Wait { until, .. } => {
            run.at = run.at.max(until.micros());
            plain(Input::Tick)
        }
        Next::Loosen { fastener } => plain(Input::Loosened {
            fastener,
            elsewhere: chance > 230,
            cause: "as told",
        }),
        Next::Replace { fastener } => plain(Input::Fitted { fastener }),
        // Often the running torque is all that is missing.
        Next::Decide { step } if chance.is_multiple_of(3) => match procedure.fastener_of(step) {
            Some(fastener) => plain(Input::RunningTorque {
                fastener,
                torque: Torque::from_millinewton_meters(i32::from(chance) * 15),
            }),
            None => plain(Input::Tick),
        },
        Next::Decide { step } => plain(Input::Decide {
            step,
            decision: match chance % 5 {
                0 => Decision::Again,
                1 => Decision::Restart(0),
                2 => Decision::Replace,
                3 => Decision::Observed,
                _ => Decision::Waive,
            },
            note: "Ada: seen",
        }),
        Next::Settle { fastener } => plain(Input::Note {
            fastener: Some(fastener),
            doubt: Doubt::Settled,
            text: "looked at",
        }),
        Next::TakeApart => plain(Input::TakenApart { note: "" }),
        Next::AwaitDue { stage } => plain(Input::Due {
            stage,
            state: evendraw_core::procedure::EngineState::Cold,
        }),
    }
}

/// What a person says of a fastener, asked or not.
fn now_and_then(fastener: u8, chance: u8) -> Move {
    let torque = Torque::from_millinewton_meters(i32::from(chance) * 20);
    let (elsewhere, cause) = (chance & 8 == 0, "look");
    Move::Plain(match chance % 5 {
        0 => Input::Note {
            fastener: Some(fastener),
            doubt: Doubt::Raised,
            text: "gritty",
        },
        1 | 2 => Input::RunningTorque { fastener, torque },
        3 => Input::Loosened {
            fastener,
            elsewhere,
            cause,
        },
        _ => Input::Mark { fastener },
    })
}

/// Another window, 5 N·m up.
fn raised(window: TorqueWindow) -> TorqueWindow {
    window.raised(Torque::from_millinewton_meters(5_000))
}

/// The procedure with one thing changed, and which stages it still has; none where that is no procedure.
fn changed(old: &Procedure, what: u8) -> Option<(Procedure, Vec<Option<u8>>)> {
    let mut fasteners: Vec<Fastener> = old.fasteners().to_vec();
    let mut stages: Vec<Stage> = old.stages().to_vec();
    let mut map: Vec<Option<u8>> = (0_u8..).take(stages.len()).map(Some).collect();
    let new = Stage::new(StageKind::Tighten {
        window: torque(33),
        prevailing: Prevailing::None,
    });
    let at = usize::from(what / 10) % stages.len();
    match what % 10 {
        0 | 1 => match &mut stages[at].kind {
            StageKind::Tighten { window, .. }
            | StageKind::Repeat { window, .. }
            | StageKind::Align { window }
            | StageKind::Later { window, .. } => *window = raised(*window),
            StageKind::Turn { one_sweep, .. } => *one_sweep = !*one_sweep,
            StageKind::Hold { torque, .. } => *torque = *torque + *torque,
            StageKind::BackOff { angle } => *angle = None,
            StageKind::Measure { max, .. } => *max = Length::from_micrometers(21),
            _ => stages[at].mock_up = !stages[at].mock_up,
        },
        2 => {
            stages.pop();
            map.pop();
        }
        3 => {
            stages.insert(at, new);
            map.insert(at, None);
        }
        4 => {
            stages.push(new);
            map.push(None);
        }
        5 => {
            fasteners.pop();
        }
        6 => fasteners.push(Fastener {
            label: Label::new("n").expect("short"),
            near: [None; 4],
        }),
        7 => fasteners.reverse(),
        8 => stages[at].evidence = Evidence::Curve,
        _ => stages[at].mock_up = !stages[at].mock_up,
    }
    let count = u8::try_from(fasteners.len()).expect("a few");
    for fastener in &mut fasteners {
        fastener.near = fastener.near.map(|near| near.filter(|own| *own < count));
    }
    let mut steps = Vec::new();
    for (index, stage) in (0_u8..).zip(&stages) {
        match stage.kind {
            StageKind::Wait { .. } => steps.push(Step::joint(index)),
            _ => steps.extend((0..count).map(|fastener| Step::on(fastener, index))),
        }
    }
    let parts = Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: &[],
        terms: *old.terms(),
    };
    Procedure::new(&parts).ok().map(|new| (new, map))
}

/// The whole of one session, in words.
fn told(number: u16) -> String {
    let mut seed = [0; 32];
    seed[..2].copy_from_slice(&number.to_le_bytes());
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &seed);
    let config = Config {
        failure_persistence: None,
        ..Config::default()
    };
    let mut runner = TestRunner::new_with_rng(config, rng);
    // It lives as long as the test.
    let procedure: &'static Procedure = Box::leak(Box::new(drawn(any_procedure(), &mut runner)));
    let mut run = Run::new(procedure, false);
    run.looks = false;
    let mut told = String::new();
    let mut known = 0;
    for index in 0..MOVES {
        let (chance, kind, what) = drawn((0..=255_u8, 0..10_u8, 0..=255_u8), &mut runner);
        let wild = drawn(any_move(), &mut runner);
        if index == MOVES / 2 || index == MOVES * 3 / 4 && kind < 5 {
            revise(&mut run, what, chance);
        } else {
            let act = match kind {
                0..6 => on_with(&mut run, chance),
                6 => Move::PutRight {
                    back: 1 + u32::from(chance % 4),
                    fastener: what % 7,
                },
                7 => now_and_then(what % 5, chance),
                _ => wild,
            };
            run.make(&act);
        }
        for entry in run.kept.get(known..).unwrap_or_default() {
            let _ = writeln!(told, "  {entry:?}");
        }
        known = run.kept.len();
        let session = &run.session;
        let _ = writeln!(
            told,
            "{index}: {:?}, {:?}; {}; {:?}, {:?}, due {:?}; can be put right {:?}; {:?}",
            session.next(),
            session.standing(),
            stands(session.ledger(), run.procedure),
            session.ledger().begun(),
            session.deadline(),
            (0..8)
                .map(|stage| session.ledger().is_due(stage))
                .collect::<Vec<_>>(),
            (0..5)
                .map(|back| {
                    let of = session.ledger().seq().wrapping_sub(back);
                    session.ledger().can_put_right(of)
                })
                .collect::<Vec<_>>(),
            session.advice()
        );
    }
    told
}

fn revise(run: &mut Run<'static>, what: u8, chance: u8) {
    let Some((new, stages)) = changed(run.procedure, what) else {
        return;
    };
    let new: &'static Procedure = Box::leak(Box::new(new));
    let carry = Carry {
        stages: &stages,
        condition: chance & 1 == 0,
        moments: chance & 2 == 0,
    };
    let kept = &mut run.kept;
    if run
        .session
        .revise(new, carry, |entry| kept.push(entry))
        .is_ok()
    {
        run.procedure = new;
        let seq = run.session.ledger().seq();
        let at = Instant::from_micros(run.at);
        let _ = run.session.apply(at, Input::Durable { seq });
    }
}

#[test]
fn every_session_goes_on_and_stands_as_when_its_sum_was_written() {
    if let Some(number) = std::env::var("EVENDRAW_KEPT")
        .ok()
        .and_then(|own| own.parse().ok())
    {
        println!("{}", told(number));
        return;
    }
    let crc = Crc::<u32>::new(&CRC_32_ISO_HDLC);
    let mut lines = format!("rules {RULES}\n");
    for number in 0..SESSIONS {
        let told = told(number);
        let last = told.lines().last().unwrap_or_default();
        let stands = last.split(';').next().unwrap_or_default();
        let _ = writeln!(
            lines,
            "{number}: {:08x}, {stands}",
            crc.checksum(told.as_bytes())
        );
    }
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/sessions.txt");
    if std::env::var_os("EVENDRAW_REWRITE").is_some() {
        fs::write(&path, &lines).expect("the sums can be written");
        return;
    }
    let kept = fs::read_to_string(&path).expect("the sums");
    let differ: Vec<&str> = kept
        .lines()
        .zip(lines.lines())
        .filter(|(was, is)| was != is)
        .map(|(_, is)| is)
        .take(6)
        .collect();
    assert!(
        kept == lines,
        "decided otherwise than before; where that is meant, RULES moves and EVENDRAW_REWRITE=1 writes the sums anew: {differ:#?}"
    );
}
