//! Where the build stands, and what keeps a joint from being pulled.

use std::fmt;

use evendraw_core::ledger::Standing;
use evendraw_core::session::Session;

use super::Job;
use crate::mark::Mark;
use crate::plan::AnswerError;
use crate::plan::progress::{Hold, Progress};

/// Why nothing can be pulled at a joint now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Held {
    /// By another joint or a part.
    Plan(Hold),
    /// A question must be answered first.
    Unanswered(AnswerError),
    /// The plan has no tool of this id.
    ToolUnknown {
        /// The id.
        tool: String,
        /// The ids there are.
        known: Vec<String>,
    },
    /// The target lies outside the tool's range.
    ToolRange {
        /// The tool.
        tool: String,
        /// The target as typed.
        target: String,
        /// Lowest and highest torque of the tool, in N·m, as decimal text.
        range: (String, String),
    },
    /// The stage names other tools.
    ToolNotNamed {
        /// The tool.
        tool: String,
        /// Those that it names.
        named: Vec<String>,
    },
    /// Nothing that this tool tells is what the stage is judged by.
    ToolUnsuited {
        /// The tool.
        tool: String,
        /// Its kind, in the plan's word.
        kind: &'static str,
        /// What it cannot do.
        what: &'static str,
    },
    /// The stage asks for better evidence than the tool gives.
    ToolEvidence {
        /// The tool.
        tool: String,
        /// What it gives at best, in the plan's word.
        gives: &'static str,
        /// What the stage asks for.
        wanted: &'static str,
    },
    /// The tool's calibration has run out.
    ToolOverdue {
        /// The tool.
        tool: String,
        /// When it ran out.
        due: String,
    },
}

impl fmt::Display for Held {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Plan(hold) => hold.fmt(f),
            Self::Unanswered(error) => error.fmt(f),
            Self::ToolUnknown { tool, known } => {
                write!(
                    f,
                    "the plan has no tool `{tool}`; it has {}",
                    known.join(", ")
                )
            }
            Self::ToolRange {
                tool,
                target,
                range: (lowest, capacity),
            } => write!(
                f,
                "{target} is outside the range of tool {tool}, {lowest} to {capacity} N·m: take another, or give a reason"
            ),
            Self::ToolNotNamed { tool, named } => write!(
                f,
                "this stage is to be done with {}, and tool {tool} is in hand: take that, or give a reason",
                named.join(" or ")
            ),
            Self::ToolUnsuited { tool, kind, what } => {
                write!(f, "tool {tool} of kind `{kind}` {what}: take another")
            }
            Self::ToolEvidence {
                tool,
                gives,
                wanted,
            } => write!(
                f,
                "this stage asks for evidence `{wanted}`, and tool {tool} gives `{gives}` at best: take another"
            ),
            Self::ToolOverdue { tool, due } => {
                write!(
                    f,
                    "the calibration of tool {tool} ran out on {due}: take another, or give a reason"
                )
            }
        }
    }
}

impl Job {
    /// Where a joint stands.
    #[must_use]
    pub fn standing(&self, joint: u8) -> Standing {
        self.session(joint)
            .map_or(Standing::Untouched, Session::standing)
    }

    /// Every joint in the light of all others.
    #[must_use]
    pub fn progress(&self) -> Progress {
        let standings: Vec<Standing> = (0_u8..)
            .zip(self.plan.joints())
            .map(|(joint, _)| self.standing(joint))
            .collect();
        let beside = self.beside();
        Progress::with_tasks(
            &self.plan,
            &standings,
            |part| beside.is_here(&self.plan, part),
            |task| beside.task(task).0,
        )
    }

    /// What keeps the joint from being pulled now; nothing where work may go on.
    ///
    /// A joint that was begun is not held by the plan any more: what is on the metal cannot be undone by a rule.
    #[must_use]
    pub fn held(&self, joint: u8) -> Vec<Held> {
        let mut held = Vec::new();
        if let (Some(own), Some(answers)) = (self.joint(joint), self.answers(joint))
            && let Err(error) = own.plan(answers)
        {
            held.push(Held::Unanswered(error));
        }
        if let Some(state) = self.progress().joint(joint)
            && state.state == Mark::Waiting
        {
            let is_alone = self.alone == Some(joint);
            let holds = state
                .holds
                .iter()
                .filter(|hold| !is_alone || matches!(hold, Hold::Part(_)));
            held.extend(holds.cloned().map(Held::Plan));
        }
        // An adapter is its own tool.
        if self.adapter(joint).is_none() {
            held.extend(self.tool_trouble(joint));
        }
        held
    }
}
