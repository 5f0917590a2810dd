//! The plan file: read, checked, compiled to procedures.
//!
//! A plan describes a build: its joints, tools, parts and the order they depend on. [`Plan::parse`] reads the TOML, reports
//! everything that is wrong with line, column and hint, and compiles every joint under every answer of its variants, so that
//! nothing can fail later. The text of every quantity is kept as typed. Knows nothing of journals, screens or the bench.
//!
//! # Why under every answer
//!
//! A plan can ask before work starts ("short or long head?"), and values depend on the answer. *Choice:*
//! `Plan::parse` reads each joint once for every combination of answers (64 at most) and compiles each to a
//! procedure, so that nothing can fail at the stand. *Alternative:* reading again when the answer is known; a fault
//! would then wait until the part is in hand. *Would change our mind:* a plan with more variants than that in one
//! joint.

#![cfg_attr(not(test), warn(clippy::arithmetic_side_effects))]

pub mod beginnings;
mod build;
mod check;
mod checked;
mod diagnostic;
pub mod differ;
pub mod edit;
mod guard;
mod joint;
mod lines;
mod place;
mod plausible;
pub mod progress;
mod quantity;
pub mod register;
mod running;
pub mod schema;
mod stage;
mod task;
mod tree;

pub use build::{Build, Part, Tool, ToolKind};
pub use checked::{Checked, Line, told as checks_told};
pub use diagnostic::{Diagnostic, PlanErrors, Severity, report};
pub use guard::Decide;
pub(crate) use guard::usable;
pub use joint::{
    About, Access, AnswerError, Answers, Joint, JointPlan, PictureOf, Question, Share, Variant,
};
pub use place::{Order, Position};
pub use stage::{StagePlan, evidence_word, with_newton_meters};
pub use task::{Task, TaskTime};

use std::collections::HashSet;

use check::Check;
use checked::Source;
use diagnostic::Diagnostics;
use guard::Instruments;
use joint::{Head, Room};
use register::Shop;
use tree::{Choice, Place, Reader};

use crate::limits::{JOINTS_MAX, PLAN_BYTES_MAX, counted};

/// The built-in demo build.
pub const DEMO: &str = include_str!("plan/demo.toml");

/// A build as its plan describes it.
#[derive(Clone, Debug)]
pub struct Plan {
    name: String,
    text: String,
    build: Build,
    tools: Vec<Tool>,
    parts: Vec<Part>,
    tasks: Vec<Task>,
    joints: Vec<Joint>,
    warnings: Vec<Diagnostic>,
}

impl Plan {
    /// Reads, checks and compiles a plan. `name` is what messages call the file.
    ///
    /// # Errors
    /// [`PlanErrors`] with every error found, each with its place.
    pub fn parse(name: &str, text: &str) -> Result<Self, PlanErrors> {
        Self::parse_with(name, text, Shop::Nothing)
    }

    fn parse_with(name: &str, text: &str, shop: Shop<'_>) -> Result<Self, PlanErrors> {
        let to = Diagnostics::new(name, text);
        if text.len() > PLAN_BYTES_MAX {
            to.error(
                &(PLAN_BYTES_MAX..PLAN_BYTES_MAX),
                format!("a plan of {} bytes", counted(text.len())),
                "here it is too long",
                format!("at most {}", counted(PLAN_BYTES_MAX)),
            );
            return Err(to.into_errors());
        }
        let entries = tree::parse(text, &to);
        if to.has_errors() {
            // What a broken grammar leaves says little: its own faults come first.
            return Err(to.into_errors());
        }
        let silent = Choice::default();
        let beginning = Place::new(0..0, &to);
        let mut reader = Reader::new("the plan", &beginning, &entries, &silent);
        let mut build = build::build(&mut reader);
        let (tools, tool_ids) = build::tools(&mut reader);
        build.tools = register::named(reader.raw("build"), &tool_ids, shop);
        let parts = build::parts(&mut reader);
        let tasks = task::tasks(&mut reader);
        let nodes = reader.tables("joint", "joint");
        if let Some(one_too_many) = nodes.get(JOINTS_MAX) {
            one_too_many.place.error(
                format!("{} joints: more than the {JOINTS_MAX} allowed", nodes.len()),
                "one too many",
                "split the build into two plans",
            );
        }
        if nodes.is_empty() && !to.has_errors() {
            beginning.error(
                "the plan has no joint",
                "here",
                "add at least one [[joint]] with id, positions and a stage",
            );
        }
        let heads = Head::all(&nodes, text.len());
        let ids = joint::ids(&heads);
        task::own_ids(&tasks, &ids, &to);
        let instruments = Instruments {
            tools: &tools,
            has_any: !tool_ids.is_empty(),
            decide: build.decide,
        };
        let source = Source {
            document: build.document.as_deref(),
            entered_by: build.entered_by.as_deref(),
        };
        let mut room = Room::new();
        let mut joints: Vec<Joint> = heads
            .iter()
            .take(JOINTS_MAX)
            .filter_map(|head| joint::read(head, source, instruments, &mut room))
            .collect();
        reader.finish(|_| None);
        let check = Check {
            ids: &ids,
            tool_ids: &tool_ids,
            tools: &tools,
            parts: &parts,
            tasks: &tasks,
            to: &to,
        };
        check.check(&mut joints);
        let warnings = to.settle()?;
        Ok(Self {
            name: name.to_owned(),
            text: text.to_owned(),
            build,
            tools,
            parts,
            tasks,
            joints,
            warnings,
        })
    }

    /// The built-in demo build.
    ///
    /// # Errors
    /// None in a released program: a test parses it.
    pub fn demo() -> Result<Self, PlanErrors> {
        Self::parse("demo.toml", DEMO)
    }

    /// What messages call the file.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The file as typed.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What is built, and from which document.
    #[must_use]
    pub const fn build(&self) -> &Build {
        &self.build
    }

    /// The tools.
    #[must_use]
    pub fn tools(&self) -> &[Tool] {
        &self.tools
    }

    /// The tool with this id.
    #[must_use]
    pub fn tool(&self, id: &str) -> Option<&Tool> {
        self.tools.iter().find(|tool| tool.id == id)
    }

    /// The parts that the plan says more of than their name.
    #[must_use]
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Whether the plan says that a part was on order when it was written.
    #[must_use]
    pub fn is_on_order(&self, name: &str) -> bool {
        self.parts
            .iter()
            .any(|part| part.name == name && part.on_order)
    }

    /// The part with this name, where the plan says more of it.
    #[must_use]
    pub fn part(&self, name: &str) -> Option<&Part> {
        self.parts.iter().find(|part| part.name == name)
    }

    /// The names of all parts: those that joints need, then those of tasks, then those that nothing needs.
    #[must_use]
    pub fn part_names(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        let mut seen = HashSet::new();
        let needed = self.joints.iter().flat_map(Joint::needs);
        let listed = self.parts.iter().map(|part| part.name.as_str());
        for name in needed
            .chain(self.tasks.iter().flat_map(Task::needs))
            .chain(listed)
        {
            if seen.insert(name) {
                names.push(name);
            }
        }
        names
    }

    /// The tasks, in the order of the file.
    #[must_use]
    pub fn tasks(&self) -> &[Task] {
        &self.tasks
    }

    /// The task with this id.
    #[must_use]
    pub fn task(&self, id: &str) -> Option<&Task> {
        self.tasks.iter().find(|task| task.id == id)
    }

    /// The joints, in the order of the file; a joint's number is its place here.
    #[must_use]
    pub fn joints(&self) -> &[Joint] {
        &self.joints
    }

    /// The joint with this id.
    #[must_use]
    pub fn joint(&self, id: &str) -> Option<&Joint> {
        self.joints.iter().find(|joint| joint.id == id)
    }

    /// What someone should look at; the plan is taken all the same.
    #[must_use]
    pub fn warnings(&self) -> &[Diagnostic] {
        &self.warnings
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_demo_build_is_read_without_a_warning() {
        let plan = Plan::demo().unwrap_or_else(|errors| panic!("{}", errors.report(false)));
        assert!(
            plan.warnings().is_empty(),
            "{}",
            report(plan.warnings(), false)
        );
        assert!(plan.joints().len() >= 8);
    }
}
