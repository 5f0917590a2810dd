//! The rows of a script: parsed, run on a session, and written as what came of it.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use evendraw_core::procedure::{
    AngleWindow, EngineState, Fastener, Hand, Moment, Parts, Policy, Prevailing, Procedure, Redo,
    Reuse, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Decision, Doubt, Entry, Manner, Record, Role};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next, Outcome, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Instant, Length, Span, Torque};
use evendraw_core::verdict::{Reasons, Verdict};

use crate::hand;

/// A procedure and what is done to it.
pub(crate) struct Script {
    name: String,
    lines: Vec<String>,
}

impl Script {
    pub(crate) fn parse(name: &str, text: &str) -> Self {
        Self {
            name: name.to_owned(),
            lines: text.lines().map(str::to_owned).collect(),
        }
    }

    /// Runs every input row and writes the file as it should stand.
    pub(crate) fn run(&self) -> String {
        let first = self
            .lines
            .iter()
            .position(|line| line.starts_with('>'))
            .unwrap_or(self.lines.len());
        let procedure = procedure(&self.name, &self.lines[..first]);
        let mut told = self.lines[..first].join("\n");
        told.push('\n');
        let mut stage = Run::new(&procedure);
        for line in &self.lines[first..] {
            if line.starts_with('#') || line.is_empty() {
                let _ = writeln!(told, "{line}");
            } else if let Some(input) = line.strip_prefix('>') {
                let _ = writeln!(told, "{line}");
                for row in stage.row(&self.name, input.trim()) {
                    let _ = writeln!(told, "  {row}");
                }
            }
        }
        told
    }
}

struct Run<'p> {
    procedure: &'p Procedure,
    session: Session<&'p Procedure>,
    kept: Vec<Entry>,
    at: u64,
    boot: u16,
    /// Whether records are made safe as soon as they come.
    safe: bool,
    left_at: BTreeMap<u8, i32>,
}

impl<'p> Run<'p> {
    fn new(procedure: &'p Procedure) -> Self {
        Self {
            procedure,
            session: Session::new(procedure, 0),
            kept: Vec::new(),
            at: 0,
            boot: 0,
            safe: true,
            left_at: BTreeMap::new(),
        }
    }

    fn row(&mut self, script: &str, row: &str) -> Vec<String> {
        let words: Vec<&str> = row.split_whitespace().collect();
        let mut told = Vec::new();
        let (verb, rest) = words.split_first().expect("an input");
        let text = rest.iter().skip(1).copied().collect::<Vec<_>>().join(" ");
        let word = |n: usize| {
            rest.get(n)
                .copied()
                .unwrap_or_else(|| panic!("{script}: `{row}` wants more words"))
        };
        match *verb {
            "start" => {
                self.boot += 1;
                let boot = self.boot;
                self.send(
                    Input::Start {
                        boot,
                        rehearsal: false,
                    },
                    &mut told,
                );
            }
            "power-cut" => {
                self.session = Session::restore(self.procedure, 0, &self.kept)
                    .expect("records of this script");
                self.at = 0;
            }
            "store" => match word(0) {
                "stalls" => self.safe = false,
                "fails" => self.send(Input::StoreFailed, &mut told),
                "catches-up" => {
                    self.safe = true;
                    let seq = self.session.ledger().seq();
                    self.send(Input::Durable { seq }, &mut told);
                }
                other => panic!("{script}: store {other}?"),
            },
            "torque" => {
                let samples = hand::to_torque(self.stands_at(), milli(word(0)));
                self.pull(&samples, &mut told);
            }
            "turn" => {
                let samples = hand::by_angle(self.stands_at(), milli(word(0)));
                self.pull(&samples, &mut told);
            }
            "turn-and-stop-loaded" => {
                let samples = hand::by_angle(self.stands_at(), milli(word(0)));
                self.pull(&hand::without_release(samples, 80), &mut told);
            }
            "hold" => {
                let samples = hand::hold(milli(word(0)), word(1).parse().expect("ms"));
                self.pull(&samples, &mut told);
            }
            "back-off" => {
                let samples = hand::back_off(self.stands_at());
                self.pull(&samples, &mut told);
                self.left_at.clear();
            }
            "wait" => {
                self.at += u64::from(word(0).parse::<u32>().expect("ms")) * 1000;
                self.send(Input::Tick, &mut told);
            }
            "finish" => self.send(Input::Finish, &mut told),
            "lost" => self.send(Input::MeasurementLost, &mut told),
            "select" => {
                let fastener = self.fastener(word(0));
                self.send(Input::Select { fastener }, &mut told);
            }
            "recheck" => {
                let fastener = self.fastener(word(0));
                self.send(Input::Recheck { fastener }, &mut told);
            }
            "confirm" => {
                let step = self.step(word(0));
                self.send(Input::Confirm { step }, &mut told);
            }
            "paper" => {
                let step = self.step(word(0));
                self.send(Input::Paper { step }, &mut told);
            }
            "answer" => {
                let (step, yes) = (self.step(word(0)), word(1) == "yes");
                let note = rest.iter().skip(2).copied().collect::<Vec<_>>().join(" ");
                self.send(
                    Input::Answer {
                        step,
                        yes,
                        note: &note,
                    },
                    &mut told,
                );
            }
            "measure" => {
                let step = self.step(word(0));
                let length = Length::from_micrometers(word(1).parse().expect("µm"));
                self.send(Input::Measure { step, length }, &mut told);
            }
            "person" => self.send(
                Input::Person {
                    name: word(0),
                    role: Role::Operator,
                },
                &mut told,
            ),
            "witness" => self.send(
                Input::Person {
                    name: word(0),
                    role: Role::Witness,
                },
                &mut told,
            ),
            "tool" => self.send(
                Input::Tool {
                    id: word(0),
                    waiver: &text,
                },
                &mut told,
            ),
            "threads-are" => {
                let matches = text == "as stated";
                self.send(
                    Input::Condition {
                        found: word(0),
                        matches,
                    },
                    &mut told,
                );
            }
            "zero" => {
                let offset = Torque::from_millinewton_meters(milli(word(1)));
                self.send(
                    Input::Zero {
                        taken: word(0) == "taken",
                        offset,
                    },
                    &mut told,
                );
            }
            "loosen" => {
                let fastener = self.fastener(word(0));
                self.left_at.insert(fastener, 0);
                self.send(
                    Input::Loosened {
                        fastener,
                        elsewhere: false,
                        cause: &text,
                    },
                    &mut told,
                );
            }
            "loosened-elsewhere" => {
                let fastener = self.fastener(word(0));
                self.left_at.insert(fastener, 0);
                self.send(
                    Input::Loosened {
                        fastener,
                        elsewhere: true,
                        cause: &text,
                    },
                    &mut told,
                );
            }
            "new" => {
                let fastener = self.fastener(word(0));
                self.left_at.insert(fastener, 0);
                self.send(Input::Fitted { fastener }, &mut told);
            }
            "skip" => {
                let step = self.step(word(0));
                self.send(
                    Input::Skip {
                        step,
                        reason: &text,
                    },
                    &mut told,
                );
            }
            "felt-wrong" => {
                let fastener = Some(self.fastener(word(0)));
                self.send(
                    Input::Note {
                        fastener,
                        doubt: Doubt::Raised,
                        text: &text,
                    },
                    &mut told,
                );
            }
            "settle" => {
                let fastener = Some(self.fastener(word(0)));
                self.send(
                    Input::Note {
                        fastener,
                        doubt: Doubt::Settled,
                        text: &text,
                    },
                    &mut told,
                );
            }
            "decide" => {
                let step = self.step(word(0));
                let note = rest.iter().skip(2).copied().collect::<Vec<_>>().join(" ");
                let decision = match word(1) {
                    "again" => Decision::Again,
                    "replace" => Decision::Replace,
                    "observed" => Decision::Observed,
                    "waive" => Decision::Waive,
                    restart => Decision::Restart(
                        restart
                            .strip_prefix("restart-")
                            .expect("a decision")
                            .parse::<u8>()
                            .expect("a stage")
                            - 1,
                    ),
                };
                self.send(
                    Input::Decide {
                        step,
                        decision,
                        note: &note,
                    },
                    &mut told,
                );
            }
            "mark" => {
                let fastener = self.fastener(word(0));
                self.send(Input::Mark { fastener }, &mut told);
            }
            "moment" => self.send(
                Input::Moment {
                    moment: word(0).parse().expect("a number"),
                },
                &mut told,
            ),
            "due" => {
                let state = if word(1) == "hot" {
                    EngineState::Hot
                } else {
                    EngineState::Cold
                };
                let stage = word(0).parse::<u8>().expect("a stage") - 1;
                self.send(Input::Due { stage, state }, &mut told);
            }
            "apart" => {
                self.left_at.clear();
                self.send(Input::TakenApart { note: "" }, &mut told);
            }
            "standing" => told.push(format!("{:?}", self.session.standing())),
            other => panic!("{script}: what is `{other}`?"),
        }
        if *verb != "standing" {
            told.push(format!("next {}", self.next()));
        }
        told
    }

    /// What the fastener under the tool was left at, for the hand.
    fn stands_at(&self) -> i32 {
        let step = match self.session.armed() {
            Some((step, _)) => step,
            None => return 0,
        };
        let fastener = self.procedure.steps()[usize::from(step)]
            .fastener()
            .expect("a pulled step has a fastener");
        self.left_at.get(&fastener).copied().unwrap_or(0)
    }

    fn pull(&mut self, samples: &[Sample], told: &mut Vec<String>) {
        let fastener = self
            .session
            .armed()
            .and_then(|(step, _)| self.procedure.steps()[usize::from(step)].fastener());
        if let Some(fastener) = fastener {
            let peak = samples
                .iter()
                .map(|sample| sample.torque.millinewton_meters())
                .max()
                .unwrap_or(0);
            let before = self.left_at.get(&fastener).copied().unwrap_or(0);
            self.left_at.insert(fastener, before.max(peak));
        }
        for sample in samples {
            self.at += hand::STEP_US;
            self.send(Input::Sample(*sample), told);
        }
        // The same refusal or halt for every sample is one fact.
        told.dedup();
    }

    fn send(&mut self, input: Input<'_>, told: &mut Vec<String>) {
        let outcome = self.session.apply(Instant::from_micros(self.at), input);
        self.tell(&outcome, told);
        if self.safe && !outcome.entries().is_empty() {
            let seq = outcome.entries()[outcome.entries().len() - 1].seq;
            let stored = self
                .session
                .apply(Instant::from_micros(self.at), Input::Durable { seq });
            self.tell(&stored, told);
        }
        self.law_three();
    }

    /// L3: what a restart would make of the records is what is held now.
    fn law_three(&self) {
        let restored = Session::restore(self.procedure, 0, &self.kept).expect("its own records");
        assert_eq!(
            restored.ledger(),
            self.session.ledger(),
            "restored state differs from the live one"
        );
    }

    fn tell(&mut self, outcome: &Outcome, told: &mut Vec<String>) {
        if let Some(refusal) = outcome.refusal {
            told.push(format!("refused {refusal:?}"));
        }
        if let Some(halt) = outcome.halt {
            told.push(format!("halt {}", halt.word()));
        }
        for entry in outcome.entries() {
            self.kept.push(entry.clone());
            told.push(format!("record {} {}", entry.seq, self.fact(&entry.record)));
        }
        if let Some(announcement) = outcome.announce {
            told.push(format!(
                "told {} {}",
                self.step_name(announcement.step),
                verdict(announcement.verdict)
            ));
        }
    }

    fn fact(&self, record: &Record) -> String {
        match record {
            Record::Started(started) => format!("started, rules {}", started.rules),
            Record::Begun(begun) => format!("begun {}", self.step_name(begun.step)),
            Record::Attempt(attempt) => format!(
                "attempt {} try {} {}{} peak {} angle {}",
                self.step_name(attempt.step),
                attempt.attempt,
                verdict(attempt.verdict),
                reasons(attempt.reasons),
                newton_meters(attempt.peak),
                attempt.angle.map_or("-".to_owned(), degrees),
            ),
            Record::Done(done) => {
                let manner = match done.manner {
                    Manner::Hand => "by hand",
                    Manner::Paper => "from paper",
                };
                format!("done {} {manner}", self.step_name(done.step))
            }
            Record::Answered(answered) => {
                let answer = if answered.yes { "yes" } else { "no" };
                format!(
                    "answered {} {answer} `{}`",
                    self.step_name(answered.step),
                    answered.note
                )
            }
            Record::Measured(measured) => format!(
                "measured {} {} µm {}",
                self.step_name(measured.step),
                measured.length.micrometers(),
                verdict(measured.verdict)
            ),
            Record::Waited(waited) => {
                format!(
                    "waited {} {} s {}",
                    self.step_name(waited.step),
                    waited.seconds,
                    verdict(waited.verdict)
                )
            }
            Record::Person(person) => format!("person {} {:?}", person.name, person.role),
            Record::Tool(tool) => format!("tool {} waiver `{}`", tool.id, tool.waiver),
            Record::Condition(condition) => {
                format!("threads {} matches {}", condition.found, condition.matches)
            }
            Record::Anchor(anchor) => format!("wall time {}", anchor.unix_seconds),
            Record::Zero(zero) => format!(
                "zero taken {} offset {}",
                zero.taken,
                newton_meters(zero.offset)
            ),
            Record::Loosened(loosened) => format!(
                "loosened {}{} `{}`",
                self.label(loosened.fastener),
                if loosened.elsewhere { " elsewhere" } else { "" },
                loosened.cause
            ),
            Record::Fitted(fitted) => format!("new fastener {}", self.label(fitted.fastener)),
            Record::Skipped(skipped) => format!(
                "skipped {} `{}`",
                self.step_name(skipped.step),
                skipped.reason
            ),
            Record::Noted(noted) => format!(
                "noted {} {:?} `{}`",
                noted
                    .fastener
                    .map_or("-".to_owned(), |fastener| self.label(fastener)),
                noted.doubt,
                noted.text
            ),
            Record::Decided(decided) => {
                format!(
                    "decided {} {:?} `{}`",
                    self.step_name(decided.step),
                    decided.decision,
                    decided.note
                )
            }
            Record::Marked(marked) => format!("marked {}", self.label(marked.fastener)),
            Record::Rechecked(recheck) => format!(
                "rechecked {} {} moved {}",
                self.step_name(recheck.step),
                verdict(recheck.verdict),
                recheck.moved.map_or("-".to_owned(), degrees)
            ),
            Record::Pass(pass) => {
                format!(
                    "pass {} of stage {}: {} moved, {:?}",
                    pass.pass,
                    pass.stage + 1,
                    pass.moved,
                    pass.next
                )
            }
            Record::Moment(moment) => format!("moment {}", moment.moment),
            Record::Due(due) => format!("due stage {} {:?}", due.stage + 1, due.state),
            Record::Apart(apart) => format!("taken apart `{}`", apart.note),
            Record::Recovered(found) => {
                format!(
                    "recovered, {} bytes dropped, {} set aside",
                    found.dropped, found.quarantined
                )
            }
        }
    }

    fn next(&self) -> String {
        match self.session.next() {
            Next::Pull { step } => format!("pull {}", self.step_name(step)),
            Next::Hand { step } => format!("by hand {}", self.step_name(step)),
            Next::Fit { step } => format!("fit {}", self.step_name(step)),
            Next::Answer { step } => format!("answer {}", self.step_name(step)),
            Next::Measure { step } => format!("measure {}", self.step_name(step)),
            Next::Moment { step, moment } => {
                format!("moment {moment} for {}", self.step_name(step))
            }
            Next::Wait { step, until } => format!(
                "wait {} until {} ms",
                self.step_name(step),
                until.micros() / 1000
            ),
            Next::Loosen { fastener } => format!("loosen {}", self.label(fastener)),
            Next::Replace { fastener } => format!("replace {}", self.label(fastener)),
            Next::Decide { step } => format!("decide {}", self.step_name(step)),
            Next::Settle { fastener } => format!("settle {}", self.label(fastener)),
            Next::AwaitDue { stage } => format!("await-due stage {}", stage + 1),
            other => format!("{other:?}").to_lowercase(),
        }
    }

    fn step_name(&self, step: u16) -> String {
        let step = self.procedure.steps()[usize::from(step)];
        let place = step
            .fastener()
            .map_or("joint".to_owned(), |fastener| self.label(fastener));
        format!("{place}/{}", step.stage() + 1)
    }

    fn label(&self, fastener: u8) -> String {
        self.procedure.fasteners()[usize::from(fastener)]
            .label
            .to_string()
    }

    fn fastener(&self, label: &str) -> u8 {
        // A label that does not exist stands for an index out of range: refusals are scripted too.
        self.procedure.fastener_labelled(label).unwrap_or(63)
    }

    fn step(&self, name: &str) -> u16 {
        let (place, stage) = name.split_once('/').expect("label/stage");
        let stage = stage.parse::<u8>().expect("a stage") - 1;
        let place = self.procedure.fastener_labelled(place);
        self.procedure
            .steps()
            .iter()
            .position(|step| step.stage() == stage && step.fastener() == place)
            .map_or(u16::MAX, |at| {
                u16::try_from(at).expect("at most 1024 steps")
            })
    }
}

fn procedure(script: &str, lines: &[String]) -> Procedure {
    let mut fasteners = Vec::new();
    let mut stages: Vec<Stage> = Vec::new();
    let mut steps = Vec::new();
    let mut order: Vec<u8> = Vec::new();
    let mut terms = Terms {
        hand: Hand::Right,
        ..Terms::default()
    };
    for line in lines
        .iter()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
    {
        let words: Vec<&str> = line.split_whitespace().collect();
        let (verb, rest) = words.split_first().expect("a word");
        match *verb {
            "fasteners" => {
                let count = rest.len();
                for (index, label) in rest.iter().enumerate() {
                    let near = |by: usize| {
                        u8::try_from((index + by) % count)
                            .ok()
                            .filter(|_| count > 1)
                    };
                    fasteners.push(Fastener {
                        label: Label::new(label).expect("a short label"),
                        near: [near(1), near(count - 1), None, None],
                    });
                    order.push(u8::try_from(index).expect("at most 64"));
                }
            }
            "terms" => {
                for word in rest {
                    match word.split_once('=').unwrap_or((*word, "")) {
                        ("redo", "joint") => terms.redo = Redo::Joint,
                        ("redo", "neighbours") => terms.redo = Redo::Neighbours,
                        ("reuse", "replace-if-loosened") => terms.reuse = Reuse::ReplaceIfLoosened,
                        ("reuse", cycles) => {
                            terms.reuse = Reuse::Cycles(cycles.parse().expect("cycles"))
                        }
                        ("condition", "") => terms.condition_stated = true,
                        ("person", "") => terms.person_named = true,
                        ("tool", "") => terms.tool_named = true,
                        ("steepest", rise) => {
                            terms.watch.gradient_max = rise.parse().expect("mN·m per degree");
                        }
                        ("sum", degrees) => {
                            terms.angle_sum_max = Some(Angle::from_millidegrees(milli(degrees)))
                        }
                        other => panic!("{script}: terms {other:?}?"),
                    }
                }
            }
            "stage" => {
                let index = u8::try_from(stages.len()).expect("at most 16");
                let stage = stage(script, rest);
                let whole = matches!(stage.kind, StageKind::Wait { .. }) || rest.contains(&"whole");
                stages.push(stage);
                if whole {
                    steps.push(Step::joint(index));
                } else {
                    steps.extend(order.iter().map(|&fastener| Step::on(fastener, index)));
                }
            }
            other => panic!("{script}: header {other}?"),
        }
    }
    Procedure::new(&Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: &[],
        terms,
    })
    .unwrap_or_else(|error| panic!("{script}: {error}"))
}

fn stage(script: &str, words: &[&str]) -> Stage {
    let word = |n: usize| words.get(n).copied().unwrap_or("");
    let options: BTreeMap<&str, &str> = words
        .iter()
        .filter_map(|word| word.split_once('='))
        .collect();
    let option = |key: &str| options.get(key).copied();
    let still = Angle::from_millidegrees(option("still").map_or(2_000, milli));
    let kind = match word(0) {
        "tighten" => {
            let prevailing = match option("prevailing") {
                Some("measure") => Prevailing::Measure,
                Some(given) => Prevailing::Given(Torque::from_millinewton_meters(milli(given))),
                None => Prevailing::None,
            };
            StageKind::Tighten {
                window: torque(word(1)),
                prevailing,
            }
        }
        "turn" => {
            let (target, min, max) = window(word(1));
            StageKind::Turn {
                window: AngleWindow {
                    target: Angle::from_millidegrees(target),
                    min: Angle::from_millidegrees(min),
                    max: Angle::from_millidegrees(max),
                },
                torque: option("torque").map(torque),
                one_sweep: words.contains(&"one-sweep"),
            }
        }
        "repeat" => StageKind::Repeat {
            window: torque(word(1)),
            still,
            min: option("min").map_or(1, |n| n.parse().expect("min")),
            max: option("max").map_or(5, |n| n.parse().expect("max")),
        },
        "hold" => StageKind::Hold {
            torque: Torque::from_millinewton_meters(milli(word(1))),
            time: Span::from_millis(option("ms").map_or(1_000, |n| n.parse().expect("ms"))),
            still,
        },
        "back-off" => StageKind::BackOff {
            angle: option("angle").map(|n| Angle::from_millidegrees(milli(n))),
        },
        "seat" => StageKind::Seat {
            turns: Angle::from_millidegrees(milli(word(1)) * 360),
        },
        "check" => StageKind::Check,
        "measure" => {
            let (min, max) = word(1).split_once("..").expect("a range of µm");
            StageKind::Measure {
                min: Length::from_micrometers(min.parse().expect("µm")),
                max: Length::from_micrometers(max.parse().expect("µm")),
            }
        }
        "wait" => StageKind::Wait {
            at_least: Span::from_millis(option("least").map_or(0, |n| n.parse().expect("ms"))),
            at_most: option("most")
                .map_or(Span::MAX, |n| Span::from_millis(n.parse().expect("ms"))),
            after: match option("moment") {
                Some(number) => Moment::Named(number.parse().expect("a number")),
                None => Moment::StageDone(
                    option("after")
                        .expect("after")
                        .parse::<u8>()
                        .expect("a stage")
                        - 1,
                ),
            },
        },
        "align" => StageKind::Align {
            window: torque(word(1)),
        },
        "fit" => StageKind::Fit,
        "later" => StageKind::Later {
            window: torque(word(1)),
            state: match option("state") {
                Some("hot") => EngineState::Hot,
                Some("cold") => EngineState::Cold,
                _ => EngineState::Any,
            },
        },
        other => panic!("{script}: stage {other}?"),
    };
    let policy = |key: &str| match option(key) {
        Some("replace") => Policy::Replace,
        Some(restart) if restart.starts_with("restart-") => Policy::Restart(
            restart
                .trim_start_matches("restart-")
                .parse::<u8>()
                .expect("a stage")
                - 1,
        ),
        _ => Policy::Ask,
    };
    Stage {
        on_over: policy("over"),
        on_under: policy("under"),
        any_order: words.contains(&"any-order"),
        mock_up: words.contains(&"mock-up"),
        ..Stage::new(kind)
    }
}

/// `20` is 20 ± 1; `20:19..22` says all three.
fn window(text: &str) -> (i32, i32, i32) {
    match text.split_once(':') {
        Some((target, range)) => {
            let (min, max) = range.split_once("..").expect("min..max");
            (milli(target), milli(min), milli(max))
        }
        None => (milli(text), milli(text) - 1_000, milli(text) + 1_000),
    }
}

fn torque(text: &str) -> TorqueWindow {
    let (target, min, max) = window(text);
    TorqueWindow {
        target: Torque::from_millinewton_meters(target),
        min: Torque::from_millinewton_meters(min),
        max: Torque::from_millinewton_meters(max),
    }
}

/// A whole or decimal number in thousandths.
fn milli(text: &str) -> i32 {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let part: String = format!("{part:0<3}").chars().take(3).collect();
    whole.parse::<i32>().expect("a number") * 1000 + part.parse::<i32>().expect("a number")
}

fn newton_meters(torque: Torque) -> String {
    format!(
        "{}.{:01}",
        torque.millinewton_meters() / 1000,
        torque.millinewton_meters().abs() % 1000 / 100
    )
}

fn degrees(angle: Angle) -> String {
    format!("{}°", (angle.millidegrees() + 500).div_euclid(1000))
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Accepted => "accepted",
        Verdict::Rejected => "rejected",
        Verdict::Unknown => "unknown",
    }
}

fn reasons(reasons: Reasons) -> String {
    if reasons.is_empty() {
        return String::new();
    }
    let words: Vec<&str> = reasons.iter().map(|reason| reason.word()).collect();
    format!(" [{}]", words.join(" "))
}
