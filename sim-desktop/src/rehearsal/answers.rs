//! What a rehearsal answers when the plan asks: yes, unless told otherwise.
//!
//! Knows nothing of benches or traces.

use std::fmt;

use crate::quantity::{LengthUnit, Quantity};
use evendraw_core::procedure::{EngineState, Stage, StageKind};
use evendraw_core::record::Role;
use evendraw_core::session::{Input, Next};
use evendraw_core::unit::{Instant, Length, Torque};

use crate::job::{Done, Held, Job, JobError};
use crate::plan::{About, Joint, Plan, Task};
use crate::store::{Fact, HostFact};
use crate::words;

/// Answers given on the command line: `KEY=no`, `KEY=0.3 mm`, `JOINT/KEY=short`.
#[derive(Clone, Debug, Default)]
pub struct Answers {
    answers: Vec<(String, String)>,
    /// Who is named where the plan wants a name.
    pub person: String,
    /// What is named where a tool is wanted and the plan has none.
    pub tool: String,
    /// Running torques told beforehand, by fastener.
    pub running: Vec<(u8, Torque)>,
}

/// An answer that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AnswersError {
    /// It has no `=`.
    Form {
        /// As answers.
        given: String,
    },
    /// The plan does not ask that.
    Key {
        /// The key answers.
        key: String,
        /// The keys that there are.
        known: Vec<String>,
    },
    /// The question does not take this answer.
    Answer {
        /// The key.
        key: String,
        /// The answer answers.
        given: String,
        /// What it takes.
        allowed: String,
    },
}

impl fmt::Display for AnswersError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Form { given } => write!(
                f,
                "--answer {given}: allowed is KEY=ANSWER, like condition=no"
            ),
            Self::Key { key, known } if known.is_empty() => {
                write!(f, "--answer {key}=…: this plan asks nothing")
            }
            Self::Key { key, known } => {
                write!(
                    f,
                    "--answer {key}=…: the plan does not ask that; allowed keys: {}",
                    known.join(", ")
                )
            }
            Self::Answer {
                key,
                given,
                allowed,
            } => {
                write!(f, "--answer {key}={given}: allowed for {key}: {allowed}")
            }
        }
    }
}

impl std::error::Error for AnswersError {}

impl Answers {
    /// Reads and checks the answers against what the plan asks.
    ///
    /// # Errors
    /// [`AnswersError`] for the first one that cannot be used.
    pub fn read(answers: &[String], plan: &Plan, person: &str) -> Result<Self, AnswersError> {
        let mut given = Self {
            answers: Vec::new(),
            person: person.to_owned(),
            tool: "adapter".to_owned(),
            running: Vec::new(),
        };
        for text in answers {
            let Some((key, answer)) = text.split_once('=') else {
                return Err(AnswersError::Form {
                    given: text.clone(),
                });
            };
            let (key, answer) = (key.trim(), answer.trim());
            given.check(key, answer, plan)?;
            given.answers.push((key.to_owned(), answer.to_owned()));
        }
        Ok(given)
    }

    fn check(&self, key: &str, answer: &str, plan: &Plan) -> Result<(), AnswersError> {
        let mut known = Vec::new();
        for task in plan.tasks() {
            if key == task.id() {
                return Ok(());
            }
            known.push(task.id().to_owned());
        }
        for joint in plan.joints() {
            for (own, takes) in asked(joint) {
                let full = format!("{}/{own}", joint.id());
                if key != own && key != full {
                    known.push(own);
                    continue;
                }
                return if takes.is(answer) {
                    Ok(())
                } else {
                    Err(AnswersError::Answer {
                        key: key.to_owned(),
                        given: answer.to_owned(),
                        allowed: takes.to_string(),
                    })
                };
            }
        }
        known.sort();
        known.dedup();
        Err(AnswersError::Key {
            key: key.to_owned(),
            known,
        })
    }

    fn answer(&self, joint: &Joint, key: &str) -> Option<&str> {
        let full = format!("{}/{key}", joint.id());
        let found = self
            .answers
            .iter()
            .rev()
            .find(|(own, _)| own == key || *own == full);
        found.map(|(_, answer)| answer.as_str())
    }

    fn is_no(&self, joint: &Joint, key: &str) -> bool {
        self.answer(joint, key)
            .is_some_and(|answer| answer.eq_ignore_ascii_case("no"))
    }

    /// Before a joint is begun: variants are chosen, parts are here or not.
    ///
    /// # Errors
    /// [`JobError`].
    pub fn open(&self, job: &mut Job, joint: u8) -> Result<(), JobError> {
        let Some(own) = job.joint(joint).cloned() else {
            return Err(JobError::NoSuchJoint { joint });
        };
        if job
            .session(joint)
            .is_some_and(|session| session.ledger().seq() > 0)
        {
            return Ok(());
        }
        for variant in own.variants() {
            if job
                .answers(joint)
                .is_some_and(|answers| answers.answer(&variant.key).is_some())
            {
                continue;
            }
            let first = variant
                .answers
                .first()
                .map(String::as_str)
                .unwrap_or_default();
            let answer = self.answer(&own, &variant.key).unwrap_or(first).to_owned();
            job.choose(joint, &variant.key, &answer)?;
        }
        let is_said = |job: &Job, part: &str| {
            job.facts().iter().any(|fact| {
                matches!(fact, Fact::Host(HostFact::PartArrived { part: own } | HostFact::PartMissing { part: own } | HostFact::PartIs { part: own, .. }) if own == part)
            })
        };
        for part in own.needs() {
            if is_said(job, part) {
                continue;
            }
            if self.is_no(&own, part) {
                job.part_missing(part)?;
            } else {
                job.part_arrived(part)?;
            }
        }
        Ok(())
    }

    /// Does the tasks that may be done: each is said to be done, unless it was answered with no.
    ///
    /// # Errors
    /// [`JobError`].
    pub fn do_tasks(&self, job: &mut Job, at: Instant) -> Result<(), JobError> {
        let given = |key: &str| {
            let found = self.answers.iter().rev().find(|(own, _)| own == key);
            found.map(|(_, answer)| answer.clone())
        };
        let is_no = |key: &str| given(key).is_some_and(|answer| answer.eq_ignore_ascii_case("no"));
        let tasks = job.plan().tasks().to_vec();
        for part in tasks.iter().flat_map(Task::needs) {
            if !job.has_part(part) && !is_no(part) {
                job.part_arrived(part)?;
            }
        }
        // One that is done may let another be done.
        for _ in &tasks {
            let progress = job.progress();
            let next = tasks
                .iter()
                .zip(progress.tasks())
                .find(|(task, state)| state.may_be_done() && !is_no(task.id()));
            let Some((task, _)) = next else {
                return Ok(());
            };
            let answer = given(task.id()).unwrap_or_else(|| "as rehearsed".to_owned());
            job.task_done(task.id(), &answer, at)?;
        }
        Ok(())
    }

    /// Answers what the session wants to know next. `Ok(None)` when it wants something done to metal, or nothing.
    ///
    /// # Errors
    /// [`JobError`].
    pub fn settle(&self, job: &mut Job, joint: u8, at: Instant) -> Result<Option<Done>, JobError> {
        let Some(own) = job.joint(joint).cloned() else {
            return Err(JobError::NoSuchJoint { joint });
        };
        let Some(plan) = job.joint_plan(joint).cloned() else {
            return Ok(None);
        };
        let next = job
            .session(joint)
            .map_or(Next::Start, |session| session.next());
        let stage_key = |step: u16| {
            let stage = plan.procedure.stage_at(step);
            let stage = stage.and_then(|stage| plan.stage(stage));
            stage.map(|stage| stage.key.clone()).unwrap_or_default()
        };
        let done = match next {
            // Whatever comes first starts the session.
            Next::Start => job.apply(joint, at, Input::Tick)?,
            Next::Person => job.apply(
                joint,
                at,
                Input::Person {
                    name: &self.person,
                    role: Role::Operator,
                },
            )?,
            Next::Tool => return self.take_tool(job, joint, at).map(Some),
            Next::Condition => {
                let matches = !self.is_no(&own, "condition");
                let stated = plan
                    .condition
                    .clone()
                    .unwrap_or_else(|| "as stated".to_owned());
                let found = if matches {
                    stated
                } else {
                    format!("not {stated}")
                };
                let found = found
                    .get(..found.floor_char_boundary(48))
                    .unwrap_or_default();
                job.apply(joint, at, Input::Condition { found, matches })?
            }
            Next::Answer { step } => {
                let yes = !self.is_no(&own, &stage_key(step));
                let note = if yes { "assumed" } else { "as told" };
                job.apply(joint, at, Input::Answer { step, yes, note })?
            }
            Next::Measure { step } => {
                let told = self.answer(&own, &stage_key(step)).and_then(length);
                let stage = plan.procedure.stage_of(step).copied();
                let length = told
                    .or_else(|| stage.as_ref().map(nominal))
                    .unwrap_or(Length::ZERO);
                job.apply(joint, at, Input::Measure { step, length })?
            }
            Next::Moment { moment, .. } => job.apply(joint, at, Input::Moment { moment })?,
            Next::Settle { fastener } => {
                let doubt = evendraw_core::record::Doubt::Settled;
                job.apply(
                    joint,
                    at,
                    Input::Note {
                        fastener: Some(fastener),
                        doubt,
                        text: "looked at",
                    },
                )?
            }
            Next::AwaitDue { stage } => {
                let kind = plan
                    .procedure
                    .stages()
                    .get(usize::from(stage))
                    .map(|stage| stage.kind);
                let state = match kind {
                    Some(StageKind::Later {
                        state: EngineState::Hot,
                        ..
                    }) => EngineState::Hot,
                    _ => EngineState::Cold,
                };
                job.apply(joint, at, Input::Due { stage, state })?
            }
            _ => return Ok(None),
        };
        Ok(Some(done))
    }

    /// Takes the first tool of the plan that suits the next pull.
    ///
    /// # Errors
    /// [`JobError`].
    pub fn take_tool(&self, job: &mut Job, joint: u8, at: Instant) -> Result<Done, JobError> {
        let suits = job.tools_for_next(joint).first().map(|id| (*id).to_owned());
        let first = job.plan().tools().first().map(|tool| tool.id.clone());
        match (suits, first) {
            (Some(id), _) => job.apply(
                joint,
                at,
                Input::Tool {
                    id: &id,
                    waiver: "",
                },
            ),
            (None, Some(id)) => job.apply(
                joint,
                at,
                Input::Tool {
                    id: &id,
                    waiver: "no tool of the plan suits; not a live job",
                },
            ),
            (None, None) => job.apply(
                joint,
                at,
                Input::Tool {
                    id: &self.tool,
                    waiver: "",
                },
            ),
        }
    }
}

/// Whether another tool would help.
#[must_use]
pub fn is_about_the_tool(held: &Held) -> bool {
    matches!(
        held,
        Held::ToolUnknown { .. }
            | Held::ToolRange { .. }
            | Held::ToolNotNamed { .. }
            | Held::ToolUnsuited { .. }
            | Held::ToolEvidence { .. }
            | Held::ToolOverdue { .. }
    )
}

/// What a question takes.
enum Takes {
    YesNo,
    Length,
    OneOf(Vec<String>),
}

impl Takes {
    fn is(&self, answer: &str) -> bool {
        match self {
            Self::YesNo => ["yes", "no"]
                .iter()
                .any(|word| word.eq_ignore_ascii_case(answer)),
            Self::Length => length(answer).is_some(),
            Self::OneOf(allowed) => allowed.iter().any(|one| one == answer),
        }
    }
}

impl fmt::Display for Takes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::YesNo => f.write_str("yes, no"),
            Self::Length => f.write_str("a length with its unit, like 0.30 mm"),
            Self::OneOf(allowed) => f.write_str(&allowed.join(", ")),
        }
    }
}

fn asked(joint: &Joint) -> Vec<(String, Takes)> {
    let mut list: Vec<(String, Takes)> = joint
        .variants()
        .iter()
        .map(|variant| {
            (
                variant.key.clone(),
                Takes::OneOf(variant.allowed().map(str::to_owned).collect()),
            )
        })
        .collect();
    for plan in joint.plans() {
        for question in &plan.questions {
            if !matches!(question.about, About::Moment(_)) {
                list.push((question.key.clone(), Takes::YesNo));
            }
        }
        for stage in plan.stages.iter().filter(|stage| stage.word == "measure") {
            list.push((stage.key.clone(), Takes::Length));
        }
    }
    list
}

fn length(text: &str) -> Option<Length> {
    Quantity::<LengthUnit>::parse(text)
        .ok()
        .map(|quantity| Length::from_wide(quantity.amount()))
}

/// The middle of a measure's window; its only limit where it has one.
fn nominal(stage: &Stage) -> Length {
    let StageKind::Measure { min, max } = stage.kind else {
        return Length::ZERO;
    };
    let edge = Length::MAX.micrometers();
    match (min.micrometers() <= -edge, max.micrometers() >= edge) {
        (true, true) => Length::ZERO,
        (true, false) => max,
        (false, true) => min,
        (false, false) => {
            Length::from_wide((i64::from(min.micrometers()) + i64::from(max.micrometers())) / 2)
        }
    }
}

/// Why nothing goes on, in one line.
#[must_use]
pub fn held_words(held: &[Held]) -> String {
    held.iter()
        .map(Held::to_string)
        .collect::<Vec<_>>()
        .join("; ")
}

/// Why an input was refused, in plain words; none where it was not.
#[must_use]
pub fn refused(done: &Done) -> Option<String> {
    done.refusal
        .map(|refusal| words::refusal(refusal).to_owned())
}
