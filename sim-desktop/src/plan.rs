//! The plan file: read, checked, compiled to procedures.
//!
//! A plan describes a build: its joints, tools, parts and the order they depend on. [`Plan::parse`] reads the TOML, reports
//! everything that is wrong with line, column and hint, and compiles every joint under every answer of its variants, so that
//! nothing can fail later. The text of every quantity is kept as typed. Knows nothing of journals, screens or the bench.

mod build;
mod check;
mod fault;
mod guard;
mod joint;
mod place;
mod plausible;
pub mod progress;
mod quantity;
mod rise;
mod running;
pub mod schema;
mod stage;
mod tree;

pub use build::{Build, Part, Tool, ToolKind};
pub use fault::{Fault, PlanErrors, Severity, report};
pub use guard::Decide;
pub(crate) use guard::usable;
pub use joint::{About, Access, AnswerError, Answers, Joint, JointPlan, Question, Share, Variant};
pub use place::{Order, Position};
pub use stage::StagePlan;

use fault::Faults;
use tree::{Choice, Reader};

/// The built-in demo build.
pub const DEMO: &str = include_str!("plan/demo.toml");

/// Joints that one build may have: a record carries the joint's number in a byte.
const JOINTS_MAX: usize = 250;

/// A build as its plan describes it.
#[derive(Clone, Debug)]
pub struct Plan {
    name: String,
    text: String,
    build: Build,
    tools: Vec<Tool>,
    parts: Vec<Part>,
    joints: Vec<Joint>,
    warnings: Vec<Fault>,
}

impl Plan {
    /// Reads, checks and compiles a plan. `name` is what messages call the file.
    ///
    /// # Errors
    /// [`PlanErrors`] with every error found, each with its place.
    pub fn parse(name: &str, text: &str) -> Result<Self, PlanErrors> {
        let mut faults = Faults::new(name, text);
        let entries = tree::parse(text, &mut faults);
        if faults.has_errors() {
            // What a broken grammar leaves says little: its own faults come first.
            return Err(faults.into_errors());
        }
        let silent = Choice::default();
        let mut reader = Reader::new("the plan", &(0..0), &entries, &silent);
        let build = build::build(&mut reader, &mut faults);
        let tools = build::tools(&mut reader, &mut faults);
        let parts = build::parts(&mut reader, &mut faults);
        let nodes = reader.tables("joint", &mut faults);
        if nodes.len() > JOINTS_MAX {
            faults.error(
                &nodes[JOINTS_MAX].place,
                format!("{} joints: more than the {JOINTS_MAX} allowed", nodes.len()),
                "one too many",
                "split the build into two plans",
            );
        }
        if nodes.is_empty() && !faults.has_errors() {
            faults.error(
                &(0..0),
                "the plan has no joint",
                "here",
                "add at least one [[joint]] with id, positions and a stage",
            );
        }
        let mut joints: Vec<Joint> = Vec::new();
        let instruments = guard::Instruments {
            tools: &tools,
            decide: build.decide,
        };
        for (number, node) in (0_u8..).zip(nodes) {
            joints.extend(joint::read(node, number, instruments, &mut faults));
        }
        reader.finish(&mut faults, |_| None);
        check::check(&mut joints, &tools, &parts, &mut faults);
        let warnings = faults.settle()?;
        Ok(Self {
            name: name.to_owned(),
            text: text.to_owned(),
            build,
            tools,
            parts,
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
    pub fn warnings(&self) -> &[Fault] {
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
