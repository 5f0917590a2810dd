//! `core/PROCEDURE.md`, the written form of a stored procedure, against the code: a reader that knows nothing but the page's tables reads
//! procedures of every kind, and what it finds is what the code finds.
//!
//! `EVENDRAW_REWRITE=1 cargo test -p evendraw-tests --test procedure_page` writes the page's example anew.

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use crc::{CRC_32_ISO_HDLC, Crc};
use evendraw_core::procedure::*;
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Length, Span, Torque};

mod by_the_page;

fn page_path() -> PathBuf {
    evendraw_tests::emulator::workspace().join("core/PROCEDURE.md")
}

/// Bytes of a label at most, as the page says.
const LABEL: usize = 8;

fn forms() -> by_the_page::Forms {
    by_the_page::forms(&page(), LABEL)
}

fn page() -> String {
    fs::read_to_string(page_path()).expect("core/PROCEDURE.md")
}

/// What the page says these bytes are; the sum by another implementation of CRC-32/ISO-HDLC than the core's.
fn read(forms: &by_the_page::Forms, bytes: &[u8]) -> Result<Vec<by_the_page::Met>, String> {
    let (body, sum) = bytes.split_last_chunk().ok_or("shorter than its sum")?;
    if Crc::<u32>::new(&CRC_32_ISO_HDLC).checksum(body) != u32::from_le_bytes(*sum) {
        return Err("wrong sum".to_owned());
    }
    let mut reader = by_the_page::Reader {
        bytes: body,
        at: 0,
        met: Vec::new(),
        forms,
    };
    reader.read("", "procedure")?;
    if reader.at != body.len() {
        return Err(format!("something is left at byte {}", reader.at));
    }
    Ok(reader.met)
}

const fn torque(value: i32) -> Torque {
    Torque::from_millinewton_meters(value)
}

const fn angle(value: i32) -> Angle {
    Angle::from_millidegrees(value)
}

const fn window(target: i32, min: i32, max: i32) -> TorqueWindow {
    TorqueWindow {
        target: torque(target),
        min: torque(min),
        max: torque(max),
    }
}

const TURN: AngleWindow = AngleWindow {
    target: angle(90_000),
    min: angle(85_000),
    max: angle(95_000),
};

/// The page's own: two bolts to 40 N·m, one with a target of its own.
fn example() -> Procedure {
    let fasteners = ["1", "2"].map(|label| Fastener {
        label: Label::cut(label),
        near: [None; 4],
    });
    let tighten = StageKind::Tighten {
        window: window(40_000, 38_000, 42_000),
        prevailing: Prevailing::None,
    };
    let own = Override {
        fastener: 0,
        stage: 0,
        aim: OverrideAim::Torque(window(36_000, 34_000, 38_000)),
    };
    Procedure::new(&Parts {
        fasteners: &fasteners,
        stages: &[Stage::new(tighten)],
        steps: &[Step::on(0, 0), Step::on(1, 0)],
        overrides: &[own],
        terms: Terms::default(),
    })
    .expect("a sound procedure")
}

/// Every kind of stage, every choice and every option, both ways.
fn everything() -> Procedure {
    let near = [Some(0), None, Some(2), None];
    let fasteners = ["1", "L10", "3b½"].map(|label| Fastener {
        label: Label::cut(label),
        near: near.map(|near| near.filter(|_| label == "L10")),
    });
    let still = angle(2_000);
    let state = EngineState::Cold;
    let (at_least, at_most) = (Span::from_seconds(3_600), Span::from_seconds(u32::MAX));
    let wait = |after| StageKind::Wait {
        at_least,
        at_most,
        after,
    };
    let wide = TorqueWindow {
        target: torque(20_000),
        min: Torque::ZERO,
        max: Torque::MAX,
    };
    let kinds = [
        StageKind::Seat {
            turns: angle(1_080_000),
        },
        StageKind::Tighten {
            window: wide,
            prevailing: Prevailing::Measure,
        },
        StageKind::Tighten {
            window: wide,
            prevailing: Prevailing::Given(torque(1_500)),
        },
        StageKind::Turn {
            window: TURN,
            torque: None,
            one_sweep: true,
        },
        StageKind::Turn {
            window: TURN,
            torque: Some(wide),
            one_sweep: false,
        },
        StageKind::Repeat {
            window: wide,
            still,
            min: 1,
            max: 30,
        },
        StageKind::Hold {
            torque: torque(20_000),
            time: Span::from_millis(200),
            still,
        },
        StageKind::BackOff { angle: None },
        StageKind::BackOff { angle: Some(still) },
        StageKind::Check,
        StageKind::Measure {
            min: Length::from_micrometers(-120),
            max: Length::from_micrometers(150),
        },
        StageKind::Align { window: wide },
        wait(Moment::StageDone(3)),
        wait(Moment::Named(7)),
        StageKind::Fit,
        StageKind::Later {
            window: wide,
            state,
        },
    ];
    let policies = [Policy::Ask, Policy::Replace, Policy::Restart(0)];
    let proofs = [
        Evidence::Any,
        Evidence::Setting,
        Evidence::Reading,
        Evidence::Curve,
    ];
    let stages: Vec<Stage> = kinds
        .into_iter()
        .enumerate()
        .map(|(index, kind)| Stage {
            on_over: policies[index % 3],
            on_under: policies[(index + 1) % 3],
            any_order: index % 2 == 0,
            mock_up: index % 5 == 0,
            evidence: proofs[index % 4],
            ..Stage::new(kind)
        })
        .collect();
    let mut steps = Vec::new();
    for (stage, kind) in (0..).zip(&stages) {
        match kind.kind {
            StageKind::Wait { .. } => steps.push(Step::joint(stage)),
            _ => steps.extend([2, 0, 1].map(|fastener| Step::on(fastener, stage))),
        }
    }
    let overrides = [
        Override {
            fastener: 1,
            stage: 1,
            aim: OverrideAim::Torque(window(18_000, 17_000, 19_000)),
        },
        Override {
            fastener: 2,
            stage: 3,
            aim: OverrideAim::Angle(AngleWindow {
                min: Angle::ZERO,
                ..TURN
            }),
        },
    ];
    let mut terms = Terms {
        hand: Hand::Left,
        redo: Redo::Neighbours,
        reuse: Reuse::Cycles(3),
        condition_stated: true,
        person_named: false,
        tool_named: true,
        angle_sum_max: Some(angle(200_000)),
        ..Terms::default()
    };
    terms.limits.idle = Span::from_micros(u64::from(u32::MAX) + 1);
    terms.limits.train = 100_000_000;
    Procedure::new(&Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: &overrides,
        terms,
    })
    .expect("a sound procedure")
}

/// The values of a procedure as the code reads it, in the page's order.
struct Values(Vec<String>);

impl Values {
    fn put(&mut self, value: impl ToString) {
        self.0.push(value.to_string());
    }
    fn flag(&mut self, value: bool) {
        self.put(u8::from(value));
    }
    fn torque(&mut self, value: Torque) {
        self.put(value.millinewton_meters());
    }
    fn angle(&mut self, value: Angle) {
        self.put(value.millidegrees());
    }
    fn time(&mut self, value: Span) {
        self.put(value.micros());
    }
    fn torques(&mut self, window: TorqueWindow) {
        [window.target, window.min, window.max]
            .into_iter()
            .for_each(|value| self.torque(value));
    }
    fn angles(&mut self, window: AngleWindow) {
        [window.target, window.min, window.max]
            .into_iter()
            .for_each(|value| self.angle(value));
    }
    fn policy(&mut self, policy: Policy) {
        match policy {
            Policy::Ask => self.put(0),
            Policy::Replace => self.put(1),
            Policy::Restart(stage) => [2, stage].iter().for_each(|value| self.put(value)),
        }
    }

    fn kind(&mut self, kind: StageKind) {
        match kind {
            StageKind::Tighten { window, prevailing } => {
                self.put(0);
                self.torques(window);
                match prevailing {
                    Prevailing::None => self.put(0),
                    Prevailing::Measure => self.put(1),
                    Prevailing::Given(torque) => {
                        self.put(2);
                        self.torque(torque);
                    }
                }
            }
            StageKind::Turn {
                window,
                torque,
                one_sweep,
            } => {
                self.put(1);
                self.angles(window);
                self.flag(torque.is_some());
                torque.into_iter().for_each(|window| self.torques(window));
                self.flag(one_sweep);
            }
            StageKind::Repeat {
                window,
                still,
                min,
                max,
            } => {
                self.put(2);
                self.torques(window);
                self.angle(still);
                self.put(min);
                self.put(max);
            }
            StageKind::Hold {
                torque,
                time,
                still,
            } => {
                self.put(3);
                self.torque(torque);
                self.time(time);
                self.angle(still);
            }
            StageKind::BackOff { angle } => {
                self.put(4);
                self.flag(angle.is_some());
                angle.into_iter().for_each(|angle| self.angle(angle));
            }
            StageKind::Seat { turns } => {
                self.put(5);
                self.angle(turns);
            }
            StageKind::Check => self.put(6),
            StageKind::Measure { min, max } => {
                self.put(7);
                self.put(min.micrometers());
                self.put(max.micrometers());
            }
            StageKind::Align { window } => {
                self.put(8);
                self.torques(window);
            }
            StageKind::Wait {
                at_least,
                at_most,
                after,
            } => {
                self.put(9);
                self.time(at_least);
                self.time(at_most);
                let (number, which) = match after {
                    Moment::StageDone(stage) => (0, stage),
                    Moment::Named(moment) => (1, moment),
                };
                self.put(number);
                self.put(which);
            }
            StageKind::Fit => self.put(10),
            StageKind::Later { window, state } => {
                self.put(11);
                self.torques(window);
                self.put(match state {
                    EngineState::Cold => 0,
                    EngineState::Hot => 1,
                    EngineState::Any => 2,
                });
            }
        }
    }

    fn limits(&mut self, limits: &evendraw_core::curve_limits::CurveLimits) {
        self.torque(limits.snug);
        self.torque(limits.regrip);
        self.put(limits.train);
        self.put(limits.train_softest);
        self.torque(limits.noise);
        [limits.idle, limits.release, limits.reaction, limits.gap]
            .into_iter()
            .for_each(|time| self.time(time));
        self.torque(limits.overload);
        self.put(limits.gradient_min);
        self.put(limits.gradient_max);
        [
            limits.turn_least,
            limits.late,
            limits.run_down_min,
            limits.run_down_max,
        ]
        .into_iter()
        .for_each(|angle| self.angle(angle));
        self.put(limits.yield_part);
        self.put(limits.drop_part);
        self.angle(limits.drop_turn);
        [
            limits.tooth_part,
            limits.teeth,
            limits.jerk_part,
            limits.spike_part,
        ]
        .into_iter()
        .for_each(|part| self.put(part));
        self.angle(limits.restart_turn);
        [limits.hold_part, limits.wrong_part, limits.turn_rise_part]
            .into_iter()
            .for_each(|part| self.put(part));
        self.angle(limits.turn_rise_after);
        self.put(limits.turn_rise);
    }

    fn of(procedure: &Procedure) -> Vec<String> {
        let mut all = Self(Vec::new());
        all.put(2);
        let terms = procedure.terms();
        all.put(u8::from(terms.hand == Hand::Left));
        all.put(match terms.redo {
            Redo::Fastener => 0,
            Redo::Neighbours => 1,
            Redo::Joint => 2,
        });
        match terms.reuse {
            Reuse::Free => all.put(0),
            Reuse::ReplaceIfLoosened => all.put(1),
            Reuse::Cycles(most) => [2, most].iter().for_each(|value| all.put(value)),
        }
        [terms.condition_stated, terms.person_named, terms.tool_named]
            .into_iter()
            .for_each(|flag| all.flag(flag));
        all.flag(terms.angle_sum_max.is_some());
        terms
            .angle_sum_max
            .into_iter()
            .for_each(|sum| all.angle(sum));
        all.limits(&terms.limits);
        all.put(procedure.fasteners().len());
        for fastener in procedure.fasteners() {
            all.put(&fastener.label);
            for near in fastener.near {
                all.flag(near.is_some());
                near.into_iter().for_each(|near| all.put(near));
            }
        }
        all.put(procedure.stages().len());
        for stage in procedure.stages() {
            all.kind(stage.kind);
            all.policy(stage.on_over);
            all.policy(stage.on_under);
            all.flag(stage.any_order);
            let evidence = match stage.evidence {
                Evidence::Any => 0,
                Evidence::Setting => 1,
                Evidence::Reading => 2,
                Evidence::Curve => 3,
            };
            all.put(evidence * 2 + u8::from(stage.mock_up));
        }
        all.put(procedure.steps().len());
        for step in procedure.steps() {
            all.put(step.fastener().unwrap_or(255));
            all.put(step.stage());
        }
        all.put(procedure.overrides().len());
        for own in procedure.overrides() {
            all.put(own.fastener);
            all.put(own.stage);
            match own.aim {
                OverrideAim::Torque(window) => {
                    all.put(0);
                    all.torques(window);
                }
                OverrideAim::Angle(window) => {
                    all.put(1);
                    all.angles(window);
                }
            }
        }
        all.0
    }
}

fn stored(procedure: &Procedure) -> Vec<u8> {
    let mut room = [0; 16_384];
    procedure.encode(&mut room).expect("room").to_vec()
}

#[test]
fn what_the_page_reads_is_what_the_code_reads() {
    let forms = forms();
    let demo = evendraw::plan::Plan::demo().expect("the demo");
    let demos = demo.joints().iter().map(|joint| {
        let answers = evendraw::plan::Answers::default();
        joint.procedure(&answers).expect("the demo compiles")
    });
    let all = [example(), everything()].into_iter().chain(demos);
    let mut met = BTreeMap::<String, usize>::new();
    for procedure in all {
        let bytes = stored(&procedure);
        let found = read(&forms, &bytes).unwrap_or_else(|problem| panic!("{problem}"));
        let values: Vec<&str> = found.iter().map(|met| met.value.as_str()).collect();
        assert_eq!(values, Values::of(&procedure));
        assert_eq!(Procedure::decode(&bytes).as_ref(), Ok(&procedure));
        for one in &found {
            *met.entry(one.means.clone()).or_default() += 1;
        }
        // The last four bytes are what a journal's `started` names it by.
        assert_eq!(
            bytes.last_chunk().copied().map(u32::from_le_bytes),
            Some(procedure.digest())
        );
    }
    // A row of the page that no procedure here reaches would be checked by nothing.
    let unmet: Vec<&String> = forms
        .choices
        .values()
        .flat_map(BTreeMap::values)
        .map(|(means, _)| means)
        .filter(|means| !met.contains_key(*means))
        .collect();
    let not_reached = [
        "hot",
        "either",
        "the joint",
        "new once it was tightened and loosened",
    ];
    assert!(
        unmet
            .iter()
            .all(|means| not_reached.contains(&means.as_str())),
        "{unmet:?}"
    );
}

#[test]
fn the_page_s_defaults_are_the_code_s() {
    let mut defaults = Values(Vec::new());
    defaults.limits(&Terms::default().limits);
    assert_eq!(forms().defaults, defaults.0);
}

#[test]
fn a_form_that_is_cut_or_changed_is_refused_by_both() {
    let forms = forms();
    let bytes = stored(&everything());
    for length in 0..bytes.len() {
        assert!(
            read(&forms, &bytes[..length]).is_err() && Procedure::decode(&bytes[..length]).is_err()
        );
    }
    // Every byte changed, and the sum made right again: whoever takes it takes the same. The code knows rules beyond the form.
    let (mut taken, mut refused) = (0, 0);
    for at in 0..bytes.len() - 4 {
        for change in [0x01, 0x80, 0xFF] {
            let mut other = bytes.clone();
            other[at] ^= change;
            let end = other.len() - 4;
            let sum = Crc::<u32>::new(&CRC_32_ISO_HDLC).checksum(&other[..end]);
            other[end..].copy_from_slice(&sum.to_le_bytes());
            match (Procedure::decode(&other), read(&forms, &other)) {
                (Ok(procedure), Ok(found)) => {
                    let values: Vec<&str> = found.iter().map(|met| met.value.as_str()).collect();
                    assert_eq!(values, Values::of(&procedure), "byte {at}");
                    taken += 1;
                }
                (Ok(_), Err(problem)) => panic!("byte {at}: the page refuses, {problem}"),
                (Err(ProcedureError::Damaged { .. }), Ok(_)) if other[0] == 2 => {
                    // What the form cannot say, `proof` alone has: a byte of which five bits must be 0.
                    assert!(
                        forms_proof(&forms, &other, at),
                        "byte {at}: the code refuses, the page does not"
                    );
                    refused += 1;
                }
                _ => refused += 1,
            }
        }
    }
    assert!(
        taken > 100 && refused > 100,
        "{taken} taken, {refused} refused"
    );
}

/// Whether this byte is a stage's `proof` and says more than the page lists.
fn forms_proof(forms: &by_the_page::Forms, bytes: &[u8], at: usize) -> bool {
    let found = read(forms, bytes).unwrap_or_default();
    found
        .iter()
        .any(|met| met.from == at && met.path.ends_with("proof") && bytes[at] >= 8)
}

/// The page's example: a line for each value, and the sum.
fn listing(forms: &by_the_page::Forms, bytes: &[u8]) -> String {
    let (body, sum) = bytes.split_last_chunk().expect("a sum");
    let mut lines = by_the_page::listing(body, &read(forms, bytes).expect("its own"));
    let digest = u32::from_le_bytes(*sum);
    lines.push_str(&format!(
        "{:<12} sum, the digest {digest:08X}\n",
        by_the_page::hex(sum)
    ));
    lines
}

#[test]
fn the_worked_example_is_a_procedure() {
    let text = page();
    let wanted = listing(&forms(), &stored(&example()));
    let (shown, anew) = by_the_page::example(&text, &wanted);
    if std::env::var_os("EVENDRAW_REWRITE").is_some() {
        fs::write(page_path(), anew).expect("written");
        return;
    }
    assert_eq!(shown, wanted, "EVENDRAW_REWRITE=1 writes it anew");
    // From the page's bytes alone.
    assert_eq!(
        Procedure::decode(&by_the_page::listed(shown)),
        Ok(example())
    );
}
