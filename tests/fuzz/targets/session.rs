//! A session under any inputs at any time: it answers, and its records fold back to its state (L1, L3).
#![no_main]

use evendraw_core::procedure::{
    AngleWindow, EngineState, Fastener, Moment, Parts, Policy, Prevailing, Procedure, Redo, Reuse,
    Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Decision, Doubt, Entry, Role};
use evendraw_core::sample::{Fault, Sample};
use evendraw_core::session::{Input, Outcome, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Instant, Length, Rotation, Span, Torque};
use libfuzzer_sys::fuzz_target;

struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn next(&mut self) -> Option<u8> {
        let (&first, rest) = self.0.split_first()?;
        self.0 = rest;
        Some(first)
    }
}

fn window(byte: u8) -> TorqueWindow {
    let mnm = |value: i32| Torque::from_millinewton_meters(value * 500);
    let target = i32::from(byte) + 8;
    TorqueWindow {
        target: mnm(target),
        min: mnm(target - 4),
        max: mnm(target + 4),
    }
}

fn stage(kind: u8, value: u8) -> Stage {
    let window = window(value);
    let still = Angle::from_millidegrees(2_000);
    let kind = match kind % 13 {
        0 | 1 => StageKind::Tighten {
            window,
            prevailing: Prevailing::None,
        },
        2 => StageKind::Tighten {
            window,
            prevailing: Prevailing::Measure,
        },
        3 => {
            let degrees = i32::from(value) + 10;
            let angle = |degrees: i32| Angle::from_millidegrees(degrees * 1_000);
            StageKind::Turn {
                window: AngleWindow {
                    target: angle(degrees),
                    min: angle(degrees - 5),
                    max: angle(degrees + 5),
                },
                torque: None,
                one_sweep: value % 2 == 0,
            }
        }
        4 => StageKind::Repeat {
            window,
            still,
            min: 1,
            max: 3,
        },
        5 => StageKind::Hold {
            torque: window.target,
            time: Span::from_millis(u32::from(value) + 1),
            still,
        },
        6 => StageKind::BackOff {
            angle: (value % 2 == 0).then_some(Angle::from_millidegrees(90_000)),
        },
        7 => StageKind::Seat {
            turns: Angle::from_millidegrees(720_000),
        },
        8 => StageKind::Check,
        9 => StageKind::Measure {
            min: Length::from_micrometers(10),
            max: Length::from_micrometers(20),
        },
        10 => StageKind::Fit,
        11 => StageKind::Wait {
            at_least: Span::from_millis(u32::from(value)),
            at_most: Span::from_seconds(20),
            after: Moment::Named(0),
        },
        _ => StageKind::Later {
            window,
            state: EngineState::Any,
        },
    };
    let on_over = [Policy::Ask, Policy::Replace, Policy::Restart(0)][usize::from(value % 3)];
    Stage {
        on_over,
        any_order: value % 5 == 0,
        mock_up: value % 11 == 0,
        ..Stage::new(kind)
    }
}

fn procedure(bytes: &mut Bytes<'_>) -> Option<Procedure> {
    let shape = bytes.next()?;
    let count = shape % 4 + 1;
    let mut stages = Vec::new();
    for _ in 0..=shape / 4 % 4 {
        stages.push(stage(bytes.next()?, bytes.next()?));
    }
    let terms = Terms {
        redo: [Redo::Fastener, Redo::Neighbours, Redo::Joint][usize::from(shape / 16 % 3)],
        reuse: [Reuse::Free, Reuse::ReplaceIfLoosened, Reuse::Cycles(2)]
            [usize::from(shape / 48 % 3)],
        person_named: shape >= 128,
        condition_stated: shape >= 192,
        ..Terms::default()
    };
    let fasteners: Vec<Fastener> = (0..count)
        .map(|index| Fastener {
            label: Label::new(["A", "B", "C", "D"][usize::from(index)]).expect("short"),
            near: [
                Some((index + 1) % count).filter(|_| count > 1),
                None,
                None,
                None,
            ],
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
    Procedure::new(&Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: &[],
        terms,
    })
    .ok()
}

fn input(kind: u8, a: u8, b: u8) -> Input<'static> {
    let (step, fastener) = (u16::from(a % 20), a % 5);
    let note = if b % 3 == 0 { "" } else { "seen" };
    match kind % 26 {
        0 => Input::Tick,
        1 => Input::Finish,
        2 => Input::MeasurementLost,
        3 => Input::StoreFailed,
        4 => Input::Select { fastener },
        5 => Input::Confirm { step },
        6 => Input::Paper { step },
        7 => Input::Answer {
            step,
            yes: b % 2 == 0,
            note,
        },
        8 => Input::Measure {
            step,
            length: Length::from_micrometers(i32::from(b % 30)),
        },
        9 => Input::Person {
            name: note,
            role: Role::Operator,
        },
        10 => Input::Tool {
            id: "A1",
            waiver: note,
        },
        11 => Input::Condition {
            found: note,
            matches: b % 2 == 0,
        },
        12 => Input::Anchor {
            unix_seconds: i64::from(b),
        },
        13 => Input::Zero {
            taken: b % 2 == 0,
            offset: Torque::from_millinewton_meters(i32::from(b)),
        },
        14 => Input::Loosened {
            fastener,
            elsewhere: b % 2 == 0,
            cause: note,
        },
        15 => Input::Fitted { fastener },
        16 => Input::Skip { step, reason: note },
        17 => Input::Note {
            fastener: Some(fastener).filter(|_| b % 4 != 0),
            doubt: [Doubt::None, Doubt::Raised, Doubt::Settled][usize::from(b % 3)],
            text: note,
        },
        18 => Input::Decide {
            step,
            decision: [
                Decision::Again,
                Decision::Restart(b % 5),
                Decision::Replace,
                Decision::Observed,
                Decision::Waive,
            ][usize::from(b % 5)],
            note,
        },
        19 => Input::Mark { fastener },
        20 => Input::Recheck { fastener },
        21 => Input::Moment { moment: a % 2 },
        22 => Input::Due {
            stage: a % 5,
            state: EngineState::Cold,
        },
        23 => Input::Faulty(if b % 2 == 0 { Fault::Stuck } else { Fault::Gap }),
        24 => Input::Withdraw {
            of: u32::from(a),
            reason: note,
        },
        _ => Input::TakenApart { note },
    }
}

struct Run<'p> {
    procedure: &'p Procedure,
    session: Session<&'p Procedure>,
    kept: Vec<Entry>,
    at: u64,
}

impl Run<'_> {
    fn send(&mut self, input: Input<'_>, stores: bool) {
        let outcome = self.session.apply(Instant::from_micros(self.at), input);
        self.keep(&outcome, stores);
    }

    /// The attempt of a record, told of that number whether it is so or not.
    fn was_on(&mut self, of: u32, b: u8) {
        let attempts = self.kept.iter().rev();
        let mut attempts =
            attempts.filter_map(|entry| Some((entry.seq, entry.record.attempt()?.clone())));
        let Some((own, attempt)) = attempts.nth(usize::from(b / 64)) else {
            return;
        };
        let of = if of % 4 == 0 { of } else { own };
        let at = Instant::from_micros(self.at);
        let outcome = self.session.reassign(at, of, &attempt, b % 8);
        self.keep(&outcome, true);
    }

    fn keep(&mut self, outcome: &Outcome, stores: bool) {
        let made = !outcome.entries().is_empty();
        self.kept.extend_from_slice(outcome.entries());
        if made && stores {
            let seq = self.kept.last().map_or(0, |entry| entry.seq);
            self.send(Input::Durable { seq }, false);
        }
    }

    fn check(&self) {
        let restored = Session::restore(self.procedure, 0, &self.kept).expect("own records");
        assert_eq!(restored.ledger(), self.session.ledger());
    }
}

fuzz_target!(|bytes: &[u8]| {
    let mut bytes = Bytes(bytes);
    let Some(procedure) = procedure(&mut bytes) else {
        return;
    };
    let mut run = Run {
        procedure: &procedure,
        session: Session::new(&procedure, 0),
        kept: Vec::new(),
        at: 0,
    };
    let mut boot = 1;
    run.send(
        Input::Start {
            boot,
            rehearsal: false,
        },
        true,
    );
    while let (Some(kind), Some(a), Some(b)) = (bytes.next(), bytes.next(), bytes.next()) {
        run.at = run.at.saturating_add(u64::from(b) * 300);
        match kind {
            // A pull: up to a torque, over an angle, and off again.
            0..=139 => {
                let (peak, turn) = (i32::from(a) * 600, i32::from(kind) * 1_100);
                let count = i32::from(b % 24) + 3;
                for part in (0..=count).chain([0, 0]) {
                    run.at = run.at.saturating_add(5_000);
                    let sample = Sample {
                        torque: Torque::from_millinewton_meters(peak * part / count),
                        rotation: Rotation::from_millidegrees(turn * part / count),
                    };
                    run.send(Input::Sample(sample), true);
                }
                run.at = run.at.saturating_add(2_000_000);
                run.send(Input::Tick, true);
            }
            140..=149 => {
                let extreme =
                    [i32::MIN, -1_000_000_000, 0, 1, 1_000_000_000, i32::MAX][usize::from(a % 6)];
                let sample = Sample {
                    torque: Torque::from_millinewton_meters(extreme),
                    rotation: Rotation::from_millidegrees(extreme.wrapping_mul(i32::from(b))),
                };
                run.send(Input::Sample(sample), kind % 2 == 0);
            }
            150..=154 => {
                // Power lost: what was kept comes back.
                run.check();
                run.session = Session::restore(run.procedure, 0, &run.kept).expect("own records");
                boot += 1;
                run.at = 0;
                run.send(
                    Input::Start {
                        boot,
                        rehearsal: false,
                    },
                    true,
                );
            }
            155..=157 => run.send(Input::Durable { seq: u32::from(a) }, false),
            158 => run.at = u64::MAX - u64::from(a) * 1_000_000,
            159..=162 => run.was_on(u32::from(a), b),
            _ => run.send(input(kind, a, b), b % 7 != 0),
        }
    }
    run.check();
});
