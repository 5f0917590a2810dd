//! What a joint asks, in a terminal: each question with its key, answered beforehand or typed.
//!
//! Knows nothing of readings.

use std::io::BufRead as _;
use std::sync::mpsc::{self, Receiver, TryRecvError};

use evendraw_core::advice::Act;
use evendraw_core::procedure::{EngineState, StageKind};
use evendraw_core::record::{Decision, Doubt, Role};
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::unit::Instant;
use serde_json::json;

use super::{CommandError, Work};
use crate::job::Held;
use crate::mark::Mark;
use crate::plan::Plan;
use crate::plan::progress::Hold;
use crate::quantity::{LengthUnit, Quantity, TorqueUnit};
use crate::rehearsal::answers::Answers;
use crate::words;

/// Keys of what is asked beside the plan's own questions.
const KEYS: [&str; 10] = [
    "person", "reason", "hand", "fitted", "loosened", "decide", "running", "look", "apart", "due",
];

/// Answers given beforehand, and the terminal.
#[derive(Debug)]
pub(super) struct Asking {
    given: Vec<(String, String)>,
    typed: Option<Receiver<String>>,
    /// The question that is open.
    open: Option<Question>,
}

/// Something that is asked.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Question {
    key: String,
    words: String,
    allowed: String,
}

/// What became of asking.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Asked {
    /// Nothing is asked: something is to be pulled, or time must pass.
    Nothing,
    /// An answer is waited for.
    Open,
    /// Nothing goes on here, and why.
    Stop(String),
}

/// An answer that was not taken, and why.
type NotTaken = String;

impl Asking {
    /// With the answers of the command line; `is_typed` where the terminal is free for others.
    pub(super) fn new(
        answers: &[String],
        plan: &Plan,
        is_typed: bool,
    ) -> Result<Self, CommandError> {
        let mut given = Vec::new();
        for text in answers {
            let parts = text.split_once('=');
            let own = parts.filter(|(key, _)| KEYS.contains(&key.trim()));
            if own.is_none() {
                Answers::read(std::slice::from_ref(text), plan, "").map_err(|error| {
                    CommandError::bad(format!("{error}; and always: {}", KEYS.join(", ")))
                })?;
            }
            if let Some((key, answer)) = parts {
                given.push((key.trim().to_owned(), answer.trim().to_owned()));
            }
        }
        Ok(Self {
            given,
            typed: is_typed.then(listen),
            open: None,
        })
    }

    /// The answer given beforehand; it is used once, so that nothing goes round in circles.
    fn given(&mut self, joint: &str, key: &str) -> Option<String> {
        let full = format!("{joint}/{key}");
        let found = self
            .given
            .iter()
            .position(|(own, _)| own == key || *own == full)?;
        Some(self.given.remove(found).1)
    }

    /// The next line typed, if one has come.
    pub(super) fn typed(&self) -> Result<String, TryRecvError> {
        match &self.typed {
            Some(typed) => typed.try_recv(),
            None => Err(TryRecvError::Disconnected),
        }
    }
}

/// Lines typed at the terminal, as they come.
fn listen() -> Receiver<String> {
    let (told, typed) = mpsc::channel();
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { return };
            if told.send(line).is_err() {
                return;
            }
        }
    });
    typed
}

impl Work<'_, '_> {
    /// Whether a line was typed, or may be.
    pub(super) fn is_asking(&self) -> bool {
        self.asking.open.is_some()
    }

    /// Asks, or takes the answer, until something is to be pulled or nothing goes on.
    pub(super) fn ask(&mut self, at: Instant) -> Result<Asked, CommandError> {
        // Each answer makes a record; more than this is going round in circles.
        for _ in 0..1_000 {
            let question = match self.question(at)? {
                Ok(Some(question)) => question,
                Ok(None) => {
                    self.asking.open = None;
                    return Ok(Asked::Nothing);
                }
                Err(why) => return Ok(Asked::Stop(why)),
            };
            let given = self.asking.given(self.own.id(), &question.key);
            let is_said = self.asking.open.as_ref() == Some(&question);
            let answer = match given {
                Some(given) => given,
                None => {
                    if !is_said {
                        self.say(&question)?;
                        self.asking.open = Some(question.clone());
                    }
                    match self.asking.typed() {
                        Ok(line) => line,
                        Err(TryRecvError::Empty) => return Ok(Asked::Open),
                        Err(TryRecvError::Disconnected) => {
                            return Ok(Asked::Stop(format!(
                                "nobody answers here: --answer {}=…, allowed: {}",
                                question.key, question.allowed
                            )));
                        }
                    }
                }
            };
            self.asking.open = None;
            let is_later = matches!(self.next(), Next::AwaitDue { .. });
            if is_later
                && ["no", "n"]
                    .iter()
                    .any(|no| no.eq_ignore_ascii_case(answer.trim()))
            {
                return Ok(Asked::Stop("final but for a later retorque".to_owned()));
            }
            if let Err(why) = self.answer(at, answer.trim())? {
                self.out.remark(format_args!(
                    "{}={}: {why}; allowed: {}",
                    question.key,
                    answer.trim(),
                    question.allowed
                ));
            }
        }
        Ok(Asked::Stop(
            "the questions do not come to an end".to_owned(),
        ))
    }

    fn say(&mut self, question: &Question) -> Result<(), CommandError> {
        // Behind it what is next is said anew.
        self.said = None;
        let Question {
            key,
            words,
            allowed,
        } = question;
        let before = self.advised();
        for line in &before {
            self.out.line(format_args!("  {line}"))?;
        }
        self.out
            .line(format_args!("? {words} [{key}: {allowed}]"))?;
        self.out.object(&json!({
            "record": "question", "joint": self.own.id(), "key": key, "before": before, "words": words, "allowed": allowed,
        }))?;
        self.out.flush()
    }

    /// What is asked now; the reason where nothing can be answered.
    fn question(&mut self, at: Instant) -> Result<Result<Option<Question>, String>, CommandError> {
        let question = |key: &str, words: String, allowed: &str| {
            Ok(Ok(Some(Question {
                key: key.to_owned(),
                words,
                allowed: allowed.to_owned(),
            })))
        };
        let held = self.job.held(self.joint);
        if let Some(first) = held.first() {
            return match first {
                Held::Unanswered(error) => {
                    question(&error.key, error.ask.clone(), &error.allowed.join(", "))
                }
                Held::Plan(Hold::Part(part)) => {
                    question(part, format!("Is it here: {part}?"), "yes, no")
                }
                Held::ToolUnknown { .. }
                | Held::ToolUnsuited { .. }
                | Held::ToolEvidence { .. } => Ok(Err(first.to_string())),
                Held::ToolRange { .. } | Held::ToolNotNamed { .. } | Held::ToolOverdue { .. } => {
                    question(
                        "reason",
                        first.to_string(),
                        "who allows it, and why; no ends here",
                    )
                }
                Held::Plan(
                    Hold::After(_) | Hold::WouldClose(_) | Hold::Task(_) | Hold::Others(_),
                ) => Ok(Err(first.to_string())),
            };
        }
        if self.next() == Next::Start {
            // Whatever comes first starts the session.
            self.apply(at, Input::Tick)?;
        }
        let of = |step: u16| self.place(step).0;
        let label = |fastener: u8| self.own.label(fastener);
        match self.next() {
            Next::Start
            | Next::Store
            | Next::Pull { .. }
            | Next::Wait { .. }
            | Next::Nothing
            | Next::Tool => Ok(Ok(None)),
            Next::Person => question("person", "Who works on this joint?".to_owned(), "a name"),
            Next::Condition => {
                let plan = self.job.joint_plan(self.joint);
                question(
                    "condition",
                    words::on_the_threads(plan.and_then(|plan| plan.condition.as_deref())),
                    "yes, no",
                )
            }
            Next::Hand { step } => question("hand", format!("By hand: {}. Done?", of(step)), "yes"),
            Next::Fit { step } => question(
                "fitted",
                format!("New fastener: {}. Done?", of(step)),
                "yes",
            ),
            Next::Answer { step } => question(&self.key(step), of(step), "yes, no"),
            Next::Measure { step } => question(
                &self.key(step),
                of(step),
                "a length with its unit, like 0.30 mm",
            ),
            Next::Moment { moment, .. } => {
                let name = self.moment(moment);
                question(
                    &name.clone(),
                    format!("Say when it has just come: {name}"),
                    "yes",
                )
            }
            Next::Loosen { fastener } => {
                let words = format!("Loosen fastener {} fully. Done?", label(fastener));
                question("loosened", words, "yes")
            }
            Next::Replace { fastener } => {
                let label = label(fastener);
                let words = format!("Fastener {label}: do not reuse it. New one fitted?");
                question("fitted", words, "yes")
            }
            Next::Decide { step } => {
                if self.wants_running(step) {
                    let words = format!("{}: what is its running torque?", of(step));
                    let others = self.decisions().join(", ");
                    let allowed = format!("a torque with its unit, like 8 N·m; or {others}");
                    return question("running", words, &allowed);
                }
                let words = format!("What follows for {}?", of(step));
                question("decide", words, &self.decisions().join(", "))
            }
            Next::Settle { fastener } => question(
                "look",
                format!("Look at fastener {}: is it good?", label(fastener)),
                "good, loosened",
            ),
            Next::TakeApart => question(
                "apart",
                "The trial is done. Is it apart again?".to_owned(),
                "yes",
            ),
            Next::AwaitDue { .. } => question(
                "due",
                "A later retorque: is it due now?".to_owned(),
                "yes, no",
            ),
        }
    }

    /// Carries out an answer to what is asked.
    fn answer(&mut self, at: Instant, text: &str) -> Result<Result<(), NotTaken>, CommandError> {
        let is_yes = ["yes", "y", "done", ""]
            .iter()
            .any(|word| word.eq_ignore_ascii_case(text));
        let is_no = ["no", "n"]
            .iter()
            .any(|word| word.eq_ignore_ascii_case(text));
        let neither = || Ok(Err("it is neither yes nor no".to_owned()));
        if let Some(first) = self.job.held(self.joint).first().cloned() {
            return self.answer_held(at, &first, text, is_yes);
        }
        let input = match self.next() {
            Next::Person if text.is_empty() => return Ok(Err("a name is needed".to_owned())),
            Next::Person => Input::Person {
                name: text,
                role: Role::Operator,
            },
            Next::Condition | Next::Answer { .. } | Next::AwaitDue { .. } if !is_yes && !is_no => {
                return neither();
            }
            Next::Condition => {
                let stated = self.condition();
                let found = if is_yes {
                    stated
                } else {
                    format!("not {stated}")
                };
                let found = cut(&found).to_owned();
                self.apply(
                    at,
                    Input::Condition {
                        found: &found,
                        matches: is_yes,
                    },
                )?;
                return Ok(Ok(()));
            }
            Next::Answer { step } => Input::Answer {
                step,
                yes: is_yes,
                note: "",
            },
            Next::Measure { step } => match Quantity::<LengthUnit>::parse(text) {
                Ok(length) => Input::Measure {
                    step,
                    length: length.length(),
                },
                Err(error) => return Ok(Err(error.to_string())),
            },
            Next::Decide { step } => return self.decide(at, step, text),
            Next::Settle { fastener } if text.eq_ignore_ascii_case("good") => Input::Note {
                fastener: Some(fastener),
                doubt: Doubt::Settled,
                text: "looked at, good",
            },
            Next::Settle { fastener } if text.eq_ignore_ascii_case("loosened") => Input::Loosened {
                fastener,
                elsewhere: false,
                cause: "loosened",
            },
            Next::AwaitDue { .. } if is_no => return Ok(Ok(())),
            Next::AwaitDue { stage } => Input::Due {
                stage,
                state: self.engine(stage),
            },
            _ if !is_yes => return Ok(Err("it is waited for until it is done".to_owned())),
            Next::Hand { step } => Input::Confirm { step },
            Next::Fit { step } => Input::Fitted {
                fastener: self.fastener(step),
            },
            Next::Moment { moment, .. } => Input::Moment { moment },
            Next::Loosen { fastener } => Input::Loosened {
                fastener,
                elsewhere: false,
                cause: "as the plan wants",
            },
            Next::Replace { fastener } => Input::Fitted { fastener },
            Next::TakeApart => Input::TakenApart { note: "" },
            Next::Settle { .. }
            | Next::Start
            | Next::Store
            | Next::Tool
            | Next::Pull { .. }
            | Next::Wait { .. }
            | Next::Nothing => return Ok(Ok(())),
        };
        self.apply(at, input)?;
        Ok(Ok(()))
    }

    fn answer_held(
        &mut self,
        at: Instant,
        held: &Held,
        text: &str,
        is_yes: bool,
    ) -> Result<Result<(), NotTaken>, CommandError> {
        match held {
            Held::Unanswered(error) => {
                if let Err(error) = self.job.choose(self.joint, &error.key, text) {
                    return Ok(Err(error.to_string()));
                }
            }
            Held::Plan(Hold::Part(part)) if is_yes => self.job.part_arrived(part)?,
            Held::Plan(Hold::Part(part)) => {
                return Err(CommandError::bad(format!(
                    "the joint waits for a part: {part}"
                )));
            }
            _ => {
                let Some(id) = self.job.tool().map(str::to_owned) else {
                    return Ok(Err("no tool is named".to_owned()));
                };
                if text.is_empty() || text.eq_ignore_ascii_case("no") {
                    return Err(CommandError::bad(held.to_string()));
                }
                let input = Input::Tool {
                    id: &id,
                    waiver: cut(text),
                };
                self.apply(at, input)?;
            }
        }
        Ok(Ok(()))
    }

    /// Where to look and what is advised, before a person says what became of a verdict.
    fn advised(&self) -> Vec<String> {
        let is_after_verdict = matches!(
            self.next(),
            Next::Decide { .. } | Next::Loosen { .. } | Next::Replace { .. }
        );
        if !is_after_verdict || !self.job.held(self.joint).is_empty() {
            return Vec::new();
        }
        let differs = self.job.differs(self.joint);
        let open = differs.iter().find(|own| own.mark == Mark::Doubtful);
        match (open, self.session().and_then(Session::advice)) {
            // Nothing was rejected: the plan changed behind it.
            (Some(open), _) => vec![format!("{}.", open.differs())],
            (None, Some(advice)) => words::what_now(&advice),
            (None, None) => Vec::new(),
        }
    }

    /// The decisions that make sense now, the advised one first: no other is taken.
    fn decisions(&self) -> Vec<&'static str> {
        let advice = self.session().and_then(Session::advice);
        let acts = advice.map_or(&[Act::Waive][..], |advice| advice.acts);
        let mut decisions: Vec<&str> = acts.iter().filter_map(|act| spelt(*act)).collect();
        decisions.dedup();
        decisions
    }

    /// A decision about an attempt that was rejected or is unknown.
    fn decide(
        &mut self,
        at: Instant,
        step: u16,
        text: &str,
    ) -> Result<Result<(), NotTaken>, CommandError> {
        let fastener = self.fastener(step);
        let (word, note) = text.split_once(' ').unwrap_or((text, ""));
        let begins = |spelt: &str| spelt.split(' ').next() == Some(word);
        if !self.decisions().into_iter().any(begins) {
            if !self.wants_running(step) {
                return Ok(Err("that is none of what makes sense here".to_owned()));
            }
            return match Quantity::<TorqueUnit>::parse(text) {
                Ok(running) => {
                    let torque = running.torque();
                    self.apply(at, Input::RunningTorque { fastener, torque })?;
                    Ok(Ok(()))
                }
                Err(error) => Ok(Err(error.to_string())),
            };
        }
        let from = self
            .session()
            .and_then(Session::advice)
            .map_or(0, |advice| advice.from);
        let decision = match word {
            "again" => Decision::Again,
            "loosened" => Decision::Restart(from),
            "replaced" => Decision::Replace,
            "observed" => Decision::Observed,
            "waive" => Decision::Waive,
            _ => return Ok(Err("that is no decision".to_owned())),
        };
        let note = cut(note.trim());
        let done = self.apply(
            at,
            Input::Decide {
                step,
                decision,
                note,
            },
        )?;
        if done.refusal.is_some() {
            return Ok(Ok(()));
        }
        match (decision, self.next()) {
            (Decision::Restart(_), Next::Loosen { fastener }) => {
                let (elsewhere, cause) = (false, "after a decision");
                self.apply(
                    at,
                    Input::Loosened {
                        fastener,
                        elsewhere,
                        cause,
                    },
                )?;
            }
            (Decision::Replace, _) => {
                self.apply(at, Input::Fitted { fastener })?;
            }
            _ => {}
        }
        Ok(Ok(()))
    }

    fn wants_running(&self, step: u16) -> bool {
        let fastener = self.fastener(step);
        self.session()
            .is_some_and(|session| session.ledger().wants_running(fastener))
    }

    fn fastener(&self, step: u16) -> u8 {
        let session = self.session();
        session
            .and_then(|session| session.procedure().fastener_of(step))
            .unwrap_or_default()
    }

    /// The key of a step's own question.
    fn key(&self, step: u16) -> String {
        let plan = self.job.joint_plan(self.joint);
        let stage = plan.and_then(|plan| plan.stage(plan.procedure.stage_at(step)?));
        stage.map(|stage| stage.key.clone()).unwrap_or_default()
    }

    fn condition(&self) -> String {
        let stated = self
            .job
            .joint_plan(self.joint)
            .and_then(|plan| plan.condition.clone());
        stated.unwrap_or_else(|| "as the document says".to_owned())
    }

    fn moment(&self, moment: u8) -> String {
        let plan = self.job.joint_plan(self.joint);
        let name = plan.and_then(|plan| plan.moments.get(usize::from(moment)));
        name.cloned().unwrap_or_else(|| "it".to_owned())
    }

    fn engine(&self, stage: u8) -> EngineState {
        let plan = self.job.joint_plan(self.joint);
        let stage = plan.and_then(|plan| plan.procedure.stages().get(usize::from(stage)));
        match stage.map(|stage| stage.kind) {
            Some(StageKind::Later {
                state: EngineState::Hot,
                ..
            }) => EngineState::Hot,
            _ => EngineState::Cold,
        }
    }
}

/// How a decision is typed; none where an act is no decision.
const fn spelt(act: Act) -> Option<&'static str> {
    match act {
        Act::PullOn | Act::TypeRunning => None,
        Act::Again => Some("again"),
        Act::Loosen | Act::TakeOut => Some("loosened"),
        Act::Replace => Some("replaced"),
        Act::Observe => Some("observed WHO AND WHY"),
        Act::Waive => Some("waive WHO AND WHY"),
    }
}

/// As much of a text as a record holds.
fn cut(text: &str) -> &str {
    text.get(..text.floor_char_boundary(48))
        .unwrap_or_default()
        .trim()
}
