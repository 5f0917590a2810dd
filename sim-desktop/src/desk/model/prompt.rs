//! What the person is asked or told now, with everything that can be done about it: the one place where what is next becomes a card.
//!
//! Knows nothing of drawing, and decides nothing.
//!
//! # Why a card carries its own acts
//!
//! *Context:* a key went through five vocabularies that had to agree. *Choice:* `desk/model/prompt.rs` makes of what
//! is next a `Prompt` with its choices, each with its key, its words and an `Act`; the screen hands the act back as
//! it is, and `answer.rs` makes the records. What a verdict advises is the core's table (`core/src/advice.rs`). Enter
//! takes the first choice, except where values hang on the answer.

mod after;

use evendraw_core::advice;
use evendraw_core::procedure::{EngineState, Moment, StageKind};
use evendraw_core::record::Record;
use evendraw_core::session::Next;
use evendraw_core::unit::Span;
use evendraw_core::verdict::Verdict;

use self::after::looked_at;
use super::super::act::Act;
use super::super::view::{Choice, Gauge, Prompt, Typed};
use super::Model;
use super::pull_view::{gauges, typed_target};
use crate::job::{Held, Job};
use crate::plan::progress::Hold;
use crate::plan::{Joint, JointPlan, StagePlan};
use crate::words;

/// Keys of a list.
const DIGITS: [&str; 9] = ["1", "2", "3", "4", "5", "6", "7", "8", "9"];

fn choice(key: &'static str, words: impl Into<String>, act: Act) -> Choice {
    Choice {
        key,
        words: words.into(),
        act,
        because: &[],
        asks: "",
    }
}

/// A choice that wants a reason: `because` are the usual ones.
fn because(choice: Choice, asks: &'static str, because: &'static [&'static str]) -> Choice {
    Choice {
        because,
        asks,
        ..choice
    }
}

const WHO: &str = "Who says so, and why?";

fn skip(label: &str) -> Choice {
    because(
        choice("K", "Skip, with a reason", Act::Skip(label.to_owned())),
        "Why is it skipped?",
        &SKIPPED,
    )
}

/// The usual reasons for skipping a fastener.
pub(in crate::desk) const SKIPPED: [&str; 4] = [
    "not within reach now",
    "part missing",
    "thread to be repaired",
    "waiting for advice",
];

pub(super) fn question(
    title: &str,
    words: impl Into<String>,
    otherwise: &str,
    choices: Vec<Choice>,
) -> Prompt {
    let otherwise = Some(otherwise).filter(|words| !words.is_empty());
    Prompt {
        title: title.to_owned(),
        words: words.into(),
        what_now: otherwise.into_iter().map(str::to_owned).collect(),
        choices,
        ..Prompt::default()
    }
}

pub(super) fn yes_or_no(yes: Act, no: Act) -> Vec<Choice> {
    vec![choice("Enter", "Yes", yes), choice("N", "No", no)]
}

fn alert(title: String, words: String, what_now: &[&str], choices: Vec<Choice>) -> Prompt {
    Prompt {
        grave: true,
        title,
        words,
        what_now: what_now.iter().map(|words| (*words).to_owned()).collect(),
        choices,
        ..Prompt::default()
    }
}

/// The card of a joint as it stands; none while a pull is what is wanted.
pub(super) fn of(model: &Model, job: &Job, joint: u8) -> Option<Prompt> {
    let own = job.joint(joint)?;
    // A question of the plan comes before everything else, even before what holds the joint.
    if let Some(answers) = job.answers(joint)
        && let Err(error) = own.plan(answers)
    {
        let choices = DIGITS.iter().zip(&error.allowed).map(|(key, answer)| {
            let act = Act::Choose(error.key.clone(), answer.clone());
            choice(key, answer.clone(), act)
        });
        return Some(Prompt {
            // Values hang on it: Enter takes none of the answers by itself.
            is_open: true,
            ..question("Before you begin", error.ask, "", choices.collect())
        });
    }
    let held = job.held(joint);
    if !held.is_empty() {
        return Some(self::held(job, joint, &held));
    }
    if let Some(prompt) = model.prompt_about_adapter(job, joint) {
        return Some(prompt);
    }
    let next = job.session(joint)?.next();
    Card {
        model,
        job,
        joint,
        own,
        plan: job.joint_plan(joint)?,
    }
    .of(next)
}

struct Card<'a> {
    model: &'a Model,
    job: &'a Job,
    joint: u8,
    own: &'a Joint,
    plan: &'a JointPlan,
}

impl Card<'_> {
    fn of(&self, next: Next) -> Option<Prompt> {
        let label = |fastener: u8| self.own.label(fastener);
        Some(match next {
            Next::Start | Next::Nothing => return None,
            Next::Pull { .. } => return self.moment_first(),
            Next::Person => Prompt {
                typed: Some(Typed {
                    caption: "Your name".to_owned(),
                    act: Act::Person,
                }),
                // Real work begins with a name: here the cautions are said, once.
                ..question(
                    "Who works",
                    "Who is working on this joint?",
                    if !self.model.is_rehearsing() && self.job.person().is_none() {
                        words::HANDS
                    } else {
                        ""
                    },
                    Vec::new(),
                )
            },
            Next::Tool => self.tool(),
            Next::Condition => question(
                "On the threads",
                words::on_the_threads(self.plan.condition.as_deref()),
                "No stops the work here until they are: oil where the value is for dry threads overloads them.",
                yes_or_no(Act::Condition(true), Act::Condition(false)),
            ),
            Next::Hand { step } => question(
                "By hand",
                format!("{}{}. Done?", self.whose(step), self.sentence(step)),
                "If it will not start by hand, stop and take it out.",
                yes_or_no(Act::ByHand(step), Act::WillNotStart),
            ),
            Next::Fit { step } => {
                let fastener = self.fastener(step)?;
                question(
                    "New fastener",
                    format!(
                        "Fastener {}: old one out, new one in. Done?",
                        label(fastener)
                    ),
                    "",
                    vec![choice("Enter", "Done", Act::Fitted(fastener))],
                )
            }
            Next::Answer { step } => question(
                "Check",
                format!("{}{}", self.whose(step), self.sentence(step)),
                "No stops the joint here until it is put right.",
                yes_or_no(Act::Answer(step, true), Act::Answer(step, false)),
            ),
            Next::Measure { step } => self.measure(step),
            Next::Moment { moment, .. } => self.moment(moment),
            Next::Wait { until, .. } => {
                if !self.model.is_rehearsing() {
                    return None;
                }
                let left = until.micros().saturating_sub(self.model.joint_micros());
                question(
                    "Wait",
                    format!(
                        "Wait until the time is over: {} left. Let it pass on the bench?",
                        words::seconds(left / 1_000_000)
                    ),
                    "",
                    vec![choice(
                        "Enter",
                        "Let it pass",
                        Act::PassTime(until.micros()),
                    )],
                )
            }
            Next::TakeApart => question(
                "Mock-up",
                "The trial is done and can never count as final. Is it apart again?",
                "It stays open until it is.",
                vec![choice("Enter", "It is apart", Act::TakenApart)],
            ),
            Next::AwaitDue { stage } => self.due(stage),
            Next::Loosen { fastener } => alert(
                format!("Fastener {}: loosen it fully", label(fastener)),
                self.last_words(fastener),
                &[
                    "Pressure and load off; then loosen it fully, in the reverse of the order if others are tight.",
                    "Then it starts again at the stage shown.",
                ],
                self.with_typed_wrong(self.advised(None, fastener), fastener),
            ),
            Next::Replace { fastener } => alert(
                format!("Fastener {}: do not reuse it", label(fastener)),
                self.last_words(fastener),
                &[
                    "Do not back it off to the target.",
                    "Take it out and look at it and at its hole.",
                    words::act(advice::Act::Replace),
                ],
                self.with_typed_wrong(self.advised(None, fastener), fastener),
            ),
            Next::Decide { step } => match self.running(step) {
                Some(prompt) => prompt,
                None => self.decide(step),
            },
            Next::Settle { fastener } if let Some(peer) = self.peer(fastener) => {
                self.unlike(&peer, fastener)
            }
            Next::Settle { fastener } => alert(
                format!("Fastener {} felt wrong", label(fastener)),
                "Nobody has looked at it since.".to_owned(),
                &[
                    "Look at it, and at its curve in the record (F4).",
                    "If it is good, say so; if not, loosen it and do it again.",
                ],
                looked_at(fastener),
            ),
            Next::Store => alert(
                "The record cannot be stored".to_owned(),
                format!(
                    "Nothing more is pulled until it is. {}",
                    self.job
                        .store_trouble()
                        .unwrap_or("Free some space, or put the disk back.")
                ),
                &["Then try again."],
                vec![choice("Enter", "Try again", Act::TryAgain)],
            ),
        })
    }

    fn stage(&self, step: u16) -> Option<&StagePlan> {
        let at = self.plan.procedure.step_at(step)?;
        self.plan.stage(at.stage())
    }

    fn fastener(&self, step: u16) -> Option<u8> {
        let at = self.plan.procedure.step_at(step)?;
        at.fastener()
    }

    fn kind(&self, step: u16) -> Option<StageKind> {
        Some(self.plan.procedure.stage_of(step)?.kind)
    }

    fn sentence(&self, step: u16) -> String {
        self.stage(step)
            .map(StagePlan::sentence)
            .unwrap_or_default()
    }

    /// `Fastener 3: `, where the step has one.
    fn whose(&self, step: u16) -> String {
        let fastener = self.fastener(step);
        fastener.map_or_else(String::new, |own| {
            format!("Fastener {}: ", self.own.label(own))
        })
    }

    fn tool(&self) -> Prompt {
        let status = self.model.status_now();
        let suits = self.job.tools_for_next(self.joint);
        let suits = status
            .tools
            .iter()
            .filter(|tool| suits.contains(&tool.id.as_str()));
        let note = if suits.clone().any(|tool| tool.is_undated) {
            "These reach the next torque. Of one with no due date nobody can tell whether its calibration holds."
        } else {
            "These reach the next torque and are in date."
        };
        let choices: Vec<Choice> = DIGITS
            .iter()
            .zip(suits)
            .map(|(key, tool)| {
                let undated = if tool.is_undated { ", no due date" } else { "" };
                let words = format!("{}, {}{undated}", tool.id, tool.what);
                choice(key, words, Act::Tool(tool.id.clone()))
            })
            .collect();
        if choices.is_empty() {
            let words = "No tool of the plan reaches this torque and is in date. Which is it?";
            let typed = Typed {
                caption: "Its number".to_owned(),
                act: Act::Tool(String::new()),
            };
            return Prompt {
                typed: Some(typed),
                ..question("Tool", words, "", Vec::new())
            };
        }
        question("Tool", "Which tool is it?", note, choices)
    }

    fn measure(&self, step: u16) -> Prompt {
        let window = match self.kind(step) {
            Some(StageKind::Measure { min, max }) => words::length_window(min, max),
            _ => String::new(),
        };
        let typed = Typed {
            caption: format!("With its unit; allowed {window}"),
            act: Act::Measure(step),
        };
        let words = format!("{}{}", self.whose(step), self.sentence(step));
        // What was measured before and lies outside stays on record, and is said.
        let before = self
            .measured(step)
            .map(|length| format!("Measured before: {length}."));
        Prompt {
            typed: Some(typed),
            ..question(
                "Measure",
                words,
                before.as_deref().unwrap_or_default(),
                Vec::new(),
            )
        }
    }

    /// The last length measured at a step that was not accepted.
    fn measured(&self, step: u16) -> Option<String> {
        let entries = self.job.sound(self.joint).into_iter();
        entries.rev().find_map(|entry| match &entry.record {
            Record::Measured(own) if own.step == step => {
                (own.verdict != Verdict::Accepted).then(|| words::length(own.length))
            }
            _ => None,
        })
    }

    fn moment(&self, moment: u8) -> Prompt {
        let name = self.plan.moments.get(usize::from(moment));
        let name = name.map_or("it", String::as_str);
        question(
            "The clock",
            format!("Say when: {name}. Has it just come?"),
            "The time counts from your answer.",
            vec![choice("Enter", "Now", Act::Moment(moment))],
        )
    }

    /// A clock that limits what is about to be pulled is started before the first pull, not after the last.
    fn moment_first(&self) -> Option<Prompt> {
        let session = self.job.session(self.joint)?;
        let (procedure, ledger) = (session.procedure(), session.ledger());
        let limits = |kind: StageKind| match kind {
            StageKind::Wait {
                at_most,
                after: Moment::Named(moment),
                ..
            } if at_most < Span::MAX => Some((moment, at_most)),
            _ => None,
        };
        let mut waits = procedure.numbered_steps().filter_map(|(index, step)| {
            let (moment, at_most) = limits(procedure.stage_of(index)?.kind)?;
            // What was worked at already is not asked about afterwards.
            let is_begun = (0..index).any(|before| ledger.step(before).is_settled())
                && procedure
                    .steps()
                    .iter()
                    .any(|own| own.stage() < step.stage());
            let is_told = !matches!(
                ledger.moment(procedure, Moment::Named(moment)),
                evendraw_core::ledger::Reached::NotYet
            );
            (!is_begun && !is_told).then_some((moment, at_most))
        });
        let (moment, at_most) = waits.next()?;
        let name = self.plan.moments.get(usize::from(moment))?;
        Some(question(
            "The clock",
            format!(
                "Everything here is to be done within {} of: {name}. Say when it has just come.",
                words::seconds(at_most.micros() / 1_000_000)
            ),
            "The time counts from your answer.",
            vec![choice("Enter", "Now", Act::Moment(moment))],
        ))
    }

    fn due(&self, stage: u8) -> Prompt {
        let words = self.plan.stage(stage).map(StagePlan::sentence);
        let kind = self.plan.procedure.stages().get(usize::from(stage));
        let wanted = match kind.map(|stage| stage.kind) {
            Some(StageKind::Later { state, .. }) => state,
            _ => EngineState::Any,
        };
        let (state, said) = match wanted {
            EngineState::Hot => (EngineState::Hot, ", engine hot"),
            EngineState::Cold => (EngineState::Cold, ", engine cold"),
            EngineState::Any => (EngineState::Cold, ""),
        };
        let otherwise = if state == EngineState::Hot {
            "Until then the joint is final but for this. A hot engine burns: gloves, and clear of what turns."
        } else {
            "Until then the joint is final but for this."
        };
        question(
            "Due later",
            format!("{}. Is it due now{said}?", words.unwrap_or_default()),
            otherwise,
            // Nobody says by habit that it is due.
            vec![
                choice("N", "Not yet", Act::LeaveJoint),
                choice("Y", "It is due now", Act::Due(stage, state)),
            ],
        )
    }

    /// The running torque that a target comes on top of, where it was not seen on the way down.
    fn running(&self, step: u16) -> Option<Prompt> {
        let fastener = self.fastener(step)?;
        let session = self.job.session(self.joint)?;
        session.ledger().wants_running(fastener).then_some(())?;
        let typed = Typed {
            caption: "Running torque, with its unit".to_owned(),
            act: Act::Running(fastener),
        };
        Some(Prompt {
            typed: Some(typed),
            ..question(
                "Running torque",
                format!(
                    "{}its running torque was not seen on the way down, and the target comes on top of it. What is it?",
                    self.whose(step)
                ),
                "Or loosen it (L) and run it down again with the tool.",
                Vec::new(),
            )
        })
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        format!("{}{}.", first.to_uppercase(), letters.as_str())
    })
}

/// What holds a joint.
fn held(job: &Job, joint: u8, held: &[Held]) -> Prompt {
    let (mut what_now, mut choices) = (Vec::new(), Vec::new());
    for own in held {
        match own {
            Held::Plan(Hold::Part(_)) => what_now.push("When the part has arrived: A."),
            Held::Plan(_) => what_now.push("Work on that first: F2 shows the build."),
            Held::ToolUnsuited { .. } | Held::ToolEvidence { .. } => {
                what_now.push("Take another tool: T.");
                let suits = job.tools_for_next(joint).first().map(|id| (*id).to_owned());
                choices.extend(
                    suits.map(|id| choice("1", format!("Take {id}"), Act::Tool(id.clone()))),
                );
            }
            Held::ToolUnknown { .. }
            | Held::ToolRange { .. }
            | Held::ToolNotNamed { .. }
            | Held::ToolOverdue { .. } => {
                what_now.push("Take another tool: T.");
                let suits = job.tools_for_next(joint).first().map(|id| (*id).to_owned());
                choices.extend(
                    suits.map(|id| choice("1", format!("Take {id}"), Act::Tool(id.clone()))),
                );
                let waive = choice("K", "Go on with a reason", Act::WaiveTool);
                choices.push(because(waive, WHO, &[]));
            }
            Held::Unanswered(_) => {}
        }
    }
    what_now.dedup();
    let words: Vec<String> = held.iter().map(|held| capital(&held.to_string())).collect();
    let title = "Nothing can be pulled here now".to_owned();
    alert(title, words.join(" "), &what_now, choices)
}
