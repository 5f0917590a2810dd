//! Why a job cannot be opened or changed.

use std::fmt;

use evendraw_core::session::RestoreError;

use crate::plan::{AnswerError, PlanErrors};
use crate::store::StoreError;

/// Why a job cannot be opened or changed.
#[derive(Debug)]
#[non_exhaustive]
pub enum JobError {
    /// The journal.
    Store(StoreError),
    /// A piece of the plan in the journal is lost.
    PlanLost,
    /// The plan in the journal does not read any more.
    Plan(PlanErrors),
    /// The records of a joint cannot be taken up again.
    Restore {
        /// The joint's id.
        joint: String,
        /// Why.
        source: RestoreError,
    },
    /// A record is missing or damaged: what is shown would not be the truth.
    Damaged {
        /// The joint's id.
        joint: String,
        /// Why.
        source: RestoreError,
    },
    /// There is no joint with this number.
    NoSuchJoint {
        /// The number.
        joint: u8,
    },
    /// No joint needs this part.
    NoSuchPart {
        /// The part.
        part: String,
        /// The parts of the plan.
        known: Vec<String>,
    },
    /// A joint that was begun is gone from the plan, or stands at another place in it.
    Moved {
        /// Its id.
        joint: String,
        /// Its place among the joints, from 1.
        place: usize,
    },
    /// A joint that was begun cannot go on under the plan.
    CannotRevise {
        /// Its id.
        joint: String,
        /// Why.
        why: String,
    },
    /// The plan is changed, and what that comes to is not written yet: it is before anything else.
    Unwritten {
        /// Why not.
        why: String,
    },
    /// The plan has no such task, nor a joint where either is meant.
    NoSuchTask {
        /// The id.
        task: String,
        /// The tasks there are.
        known: Vec<String>,
    },
    /// Something stands in the way of the task.
    TaskHeld {
        /// The id.
        task: String,
        /// What.
        holds: Vec<String>,
    },
    /// The task is not done.
    NotDone {
        /// The id.
        task: String,
    },
    /// There is no open reminder with this number.
    NoSuchReminder {
        /// The number.
        number: u32,
        /// Those that are open.
        open: Vec<u32>,
    },
    /// Nobody said who works.
    NobodyNamed,
    /// Too much was said, or nothing where something must be.
    Words {
        /// In words.
        why: String,
    },
    /// A question must be answered first.
    Unanswered(AnswerError),
    /// The question does not take this answer, or is not asked.
    Answer {
        /// The joint's id.
        joint: String,
        /// The question's key.
        key: String,
        /// The answer.
        given: String,
        /// Keys and answers that there are.
        allowed: Vec<(String, Vec<String>)>,
    },
    /// The joint was worked on: its questions cannot be answered otherwise any more.
    Begun {
        /// The joint's id.
        joint: String,
    },
    /// Only a virtual bench knows that.
    NotARehearsal,
    /// A rehearsal takes nothing from an adapter, and gives nothing to one.
    Rehearsal,
    /// The joint's records are made by an adapter.
    AtAdapter {
        /// Its serial number.
        serial: String,
    },
    /// The joint was begun at the desk, and its records are made here.
    AtDesk {
        /// The joint's id.
        joint: String,
    },
    /// The joint shares fasteners with another one: work at the one must reach the other at once.
    Shares {
        /// The joint's id.
        joint: String,
        /// The other one's.
        other: String,
    },
    /// A record of the adapter's is another one than is kept here.
    Differs(crate::store::Differs),
}

impl fmt::Display for JobError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Store(error) => error.fmt(f),
            Self::PlanLost => f.write_str(
                "a piece of the plan in the journal is lost; give the plan's file beside it",
            ),
            Self::Plan(errors) => write!(f, "the plan in the journal does not read: {errors}"),
            Self::Restore { joint, source } => {
                write!(f, "joint `{joint}` cannot be taken up again: {source}")
            }
            Self::Damaged { joint, source } => {
                write!(
                    f,
                    "joint `{joint}` cannot be gone on with, a record of it is damaged: {source}"
                )
            }
            Self::NoSuchJoint { joint } => write!(f, "there is no joint number {joint}"),
            Self::NoSuchPart { part, known } => {
                write!(
                    f,
                    "no joint or task needs a part `{part}`; the plan names: {}",
                    known.join(", ")
                )
            }
            Self::Moved { joint, place } => write!(
                f,
                "joint `{joint}` was begun as number {place} of the plan and is not there any more; a joint that was begun keeps its id \
                 and its place, and new ones stand behind those"
            ),
            Self::CannotRevise { joint, why } => {
                write!(f, "joint `{joint}` cannot go on under this plan: {why}")
            }
            Self::Unwritten { why } => write!(
                f,
                "the plan is changed, but the journal is not written: {why}"
            ),
            Self::NoSuchTask { task, known } if known.is_empty() => {
                write!(
                    f,
                    "there is no joint or task `{task}`; the plan has no tasks"
                )
            }
            Self::NoSuchTask { task, known } => {
                write!(
                    f,
                    "there is no task `{task}`; there are {}",
                    known.join(", ")
                )
            }
            Self::TaskHeld { task, holds } => {
                write!(f, "task `{task}` cannot be done yet: {}", holds.join("; "))
            }
            Self::NotDone { task } => write!(f, "task `{task}` is not done"),
            Self::NoSuchReminder { number, open } if open.is_empty() => {
                write!(f, "there is no open reminder {number}, nor any other")
            }
            Self::NoSuchReminder { number, open } => {
                let open: Vec<String> = open.iter().map(u32::to_string).collect();
                write!(
                    f,
                    "there is no open reminder {number}; open are {}",
                    open.join(", ")
                )
            }
            Self::NobodyNamed => f.write_str("say first who works: done is said by a name"),
            Self::Words { why } => f.write_str(why),
            Self::Unanswered(error) => error.fmt(f),
            Self::Answer {
                joint,
                key,
                given,
                allowed,
            } => {
                write!(f, "`{given}` is no answer to `{key}` of joint `{joint}`")?;
                for (key, answers) in allowed {
                    write!(f, "; {key} takes {}", answers.join(", "))?;
                }
                Ok(())
            }
            Self::Begun { joint } => {
                write!(
                    f,
                    "joint `{joint}` was worked on already; its answers stay as they are"
                )
            }
            Self::NotARehearsal => f.write_str("only in a rehearsal"),
            Self::Rehearsal => f.write_str(
                "this is a rehearsal, and an adapter works on metal: the two never share a record",
            ),
            Self::AtAdapter { serial } => write!(
                f,
                "this joint is worked at adapter {serial}: its records are made there"
            ),
            Self::AtDesk { joint } => write!(f, "joint `{joint}` is at work at the desk"),
            Self::Shares { joint, other } => write!(
                f,
                "joint `{joint}` shares fasteners with `{other}`: both are worked at the desk, where each hears of the other"
            ),
            Self::Differs(differs) => differs.fmt(f),
        }
    }
}

impl std::error::Error for JobError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Store(error) => Some(error),
            Self::Restore { source, .. } | Self::Damaged { source, .. } => Some(source),
            _ => None,
        }
    }
}

impl From<StoreError> for JobError {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}
