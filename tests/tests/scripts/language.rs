//! The rows of a script: parsed, run on a session, and written as what came of it.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use evendraw_core::procedure::{EngineState, Procedure, StageKind};
use evendraw_core::record::{
    Added, Attempt, Decision, Doubt, Entry, Manner, Record, Role, Seen, Way,
};
use evendraw_core::sample::{Fault, Sample};
use evendraw_core::session::{Input, Next, Outcome, Readout, Session};
use evendraw_core::unit::{Angle, Instant, Length, Torque};
use evendraw_core::verdict::{Reason, Reasons, Verdict};

use crate::curve::{self, Coming};
use crate::hand;
use crate::header::{milli, procedure};

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
            "curve" => self.curve(&curve::samples(script, rest), &mut told),
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
            "faulty" => {
                let fault = match word(0) {
                    "saturated" => Fault::Saturated,
                    "stuck" => Fault::Stuck,
                    "gap" => Fault::Gap,
                    "reversed" => Fault::Reversed,
                    other => panic!("{script}: what fault is `{other}`?"),
                };
                self.send(Input::Faulty(fault), &mut told);
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
                let stage = self.procedure.stage_of(step).map(|stage| stage.kind);
                if let (Some(StageKind::BackOff { angle: None }), Some(fastener)) =
                    (stage, self.procedure.fastener_of(step))
                {
                    self.left_at.insert(fastener, 0);
                }
                self.send(Input::Confirm { step }, &mut told);
            }
            "read" => self.read(script, rest, &mut told),
            "set" => {
                let step = self.step(word(0));
                let torque = |text| Torque::from_millinewton_meters(milli(text));
                let stands_for = rest.iter().find_map(|word| word.strip_prefix("for="));
                self.send(
                    Input::BySetting {
                        step,
                        setting: torque(word(1)),
                        stands_for: torque(stands_for.unwrap_or(word(1))),
                        moved: rest.contains(&"moved"),
                    },
                    &mut told,
                );
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
            "was-on" => {
                let (of, fastener) = (word(0).parse().expect("a record"), self.fastener(word(1)));
                let wrong = self.kept.iter().find(|entry| entry.seq == of);
                let wrong = wrong.and_then(|entry| Some(entry.record.attempt()?.fastener));
                let attempts = self.kept.iter().rev();
                let mut attempts =
                    attempts.filter_map(|entry| Some((entry.seq, entry.record.attempt()?)));
                // Of a record that is none, the last one there is.
                let last = attempts.clone().next();
                let own = attempts.find(|(seq, _)| *seq == of).or(last);
                let attempt = own.map(|(_, attempt)| attempt.clone());
                if let Some(attempt) = &attempt {
                    let at = Instant::from_micros(self.at);
                    let outcome = self.session.reassign(at, of, attempt, fastener);
                    self.keep(&outcome, &mut told);
                }
                // The metal was another one all the time.
                let is_moved =
                    self.kept.last().map(|last| last.record.puts_right()) == Some(Some(of));
                if let Some(wrong) = wrong.filter(|_| is_moved)
                    && let Some(left) = self.left_at.remove(&wrong)
                {
                    self.left_at.insert(fastener, left);
                }
            }
            "withdraw" => {
                let of = word(0).parse().expect("a record");
                self.send(Input::Withdraw { of, reason: &text }, &mut told);
            }
            "mark" => {
                let fastener = self.fastener(word(0));
                self.send(Input::Mark { fastener }, &mut told);
            }
            "running" => {
                let fastener = self.fastener(word(0));
                let torque = Torque::from_millinewton_meters(milli(word(1)));
                self.send(Input::RunningTorque { fastener, torque }, &mut told);
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
            "advice" => told.push(self.advice()),
            other => panic!("{script}: what is `{other}`?"),
        }
        if !matches!(*verb, "standing" | "advice") {
            told.push(format!("next {}", self.next()));
        }
        told
    }

    /// `read 1/2 display 48.2 angle=91 moved`: a step, a way, and what was read.
    fn read(&mut self, script: &str, words: &[&str], told: &mut Vec<String>) {
        let [step, way, rest @ ..] = words else {
            panic!("{script}: read {words:?} wants a step and a way");
        };
        let number = |text: &str| text.parse::<f64>().is_ok().then(|| milli(text));
        let angle = rest.iter().find_map(|word| word.strip_prefix("angle="));
        let readout = Readout {
            way: match *way {
                "display" => Way::Display,
                "eye" => Way::Eye,
                "gauge" => Way::Gauge,
                "mark" => Way::Mark,
                other => panic!("{script}: what way is `{other}`?"),
            },
            torque: rest
                .first()
                .and_then(|text| number(text))
                .map(Torque::from_millinewton_meters),
            angle: angle.map(|text| Angle::from_millidegrees(milli(text))),
            moved: rest.contains(&"moved"),
            stated: "",
        };
        let step = self.step(step);
        self.send(
            Input::Read {
                step,
                readout: &readout,
            },
            told,
        );
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

    fn curve(&mut self, coming: &[Coming], told: &mut Vec<String>) {
        for Coming { after, sample } in coming {
            self.at += after;
            self.send(Input::Sample(*sample), told);
        }
        told.dedup();
    }

    fn send(&mut self, input: Input<'_>, told: &mut Vec<String>) {
        let outcome = self.session.apply(Instant::from_micros(self.at), input);
        self.keep(&outcome, told);
    }

    fn keep(&mut self, outcome: &Outcome, told: &mut Vec<String>) {
        self.tell(outcome, told);
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

    fn attempt(&self, attempt: &Attempt) -> String {
        format!(
            "attempt {} try {} {}{} peak {} angle {}{}",
            self.step_name(attempt.step),
            attempt.attempt,
            verdict(attempt.verdict),
            reasons(attempt.reasons),
            newton_meters(attempt.peak),
            attempt.angle.map_or("-".to_owned(), degrees),
            added(attempt.prevailing),
        )
    }

    fn fact(&self, record: &Record) -> String {
        match record {
            Record::Started(started) => format!("started, rules {}", started.rules),
            Record::Begun(begun) => format!("begun {}", self.step_name(begun.step)),
            Record::Attempt(attempt) => self.attempt(attempt),
            Record::Reassigned(own) => {
                format!("{} was on: {}", own.of, self.attempt(&own.attempt))
            }
            Record::Withdrawn(own) => format!("{} withdrawn `{}`", own.of, own.reason),
            Record::Read(read) => format!(
                "read {} try {} {:?} {}{} torque {} angle {}{}{}",
                self.step_name(read.step),
                read.attempt,
                read.way,
                verdict(read.verdict),
                reasons(read.reasons),
                read.torque.map_or("-".to_owned(), newton_meters),
                read.angle.map_or("-".to_owned(), degrees),
                if read.moved { " moved" } else { "" },
                added(read.prevailing),
            ),
            Record::BySetting(set) => format!(
                "by setting {} try {} {}{} {} for {}{}{}",
                self.step_name(set.step),
                set.attempt,
                verdict(set.verdict),
                reasons(set.reasons),
                newton_meters(set.setting),
                newton_meters(set.stands_for),
                if set.moved { " moved" } else { "" },
                added(set.prevailing),
            ),
            Record::Revised(revised) => format!("{revised:?}"),
            Record::Running(running) => format!(
                "running torque {} {} {}",
                self.label(running.fastener),
                newton_meters(running.torque),
                match running.seen {
                    Seen::Measured => "measured",
                    Seen::Typed => "typed",
                }
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

    fn advice(&self) -> String {
        let Some(advice) = self.session.advice() else {
            return "advice none".to_owned();
        };
        let gravest = advice.gravest.map_or("unnamed", Reason::word);
        let acts: Vec<String> = advice
            .acts
            .iter()
            .map(|act| match act.decision(advice.from) {
                Some(Decision::Restart(stage)) => format!("{act:?} from stage {}", stage + 1),
                _ => format!("{act:?}"),
            })
            .collect();
        format!(
            "advice {} {gravest}: {}",
            verdict(advice.verdict),
            acts.join(", ")
        )
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

fn newton_meters(torque: Torque) -> String {
    let sign = if torque.is_negative() { "-" } else { "" };
    let tenths = (torque.millinewton_meters().unsigned_abs() + 50) / 100;
    format!("{sign}{}.{}", tenths / 10, tenths % 10)
}

fn degrees(angle: Angle) -> String {
    format!("{}°", (angle.millidegrees() + 500).div_euclid(1000))
}

fn added(added: Added) -> String {
    match added {
        Added::Nothing => String::new(),
        Added::Unknown => " on top of ?".to_owned(),
        Added::Given(torque) => format!(" on top of {} given", newton_meters(torque)),
        Added::Measured(torque) => format!(" on top of {} measured", newton_meters(torque)),
        Added::Typed(torque) => format!(" on top of {} typed", newton_meters(torque)),
    }
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
