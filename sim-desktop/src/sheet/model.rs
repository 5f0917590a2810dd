//! Everything a build sheet says, in words. Both printers print this and nothing else.
//!
//! Knows nothing of HTML, journals or plans. Where something is not known the text says so ("time unknown"); nothing is left
//! out because it is missing.

use super::{Curve, Map, Mark};

/// A build sheet.
#[derive(Clone, Debug, Default)]
pub struct SheetModel {
    /// What was built.
    pub title: String,
    /// Which one: engine, serial.
    pub unit: String,
    /// Document, section, revision.
    pub document: String,
    /// Name of the journal: what ticked paper is typed back to.
    pub journal: String,
    /// On no metal.
    pub rehearsal: bool,
    /// Its values are invented.
    pub demo: bool,
    /// Why the build is not complete, each a sentence; none when it is.
    pub open: Vec<Item>,
    /// What was out of the ordinary: out of window, waived, unmeasured, tool out of date, damage.
    pub exceptions: Vec<Item>,
    /// What was done again, and why.
    pub redone: Vec<Item>,
    /// What is still due after running or by time.
    pub due: Vec<Item>,
    /// Changes to what was planned, after work began.
    pub amendments: Vec<Item>,
    /// Who worked and who looked.
    pub people: Vec<PersonRow>,
    /// Whether somebody must look and nobody did is said here in words; "nobody was asked to" too.
    pub witnessed: String,
    /// From when to when, or that the time is unknown.
    pub when: String,
    /// Tools named.
    pub tools: Vec<ToolRow>,
    /// Variants, parts and answers that hold for the whole build: question and answer.
    pub given: Vec<(String, String)>,
    /// The joints in build order.
    pub joints: Vec<JointSheet>,
    /// Free remarks that belong to no joint.
    pub notes: Vec<String>,
    /// The plan as typed.
    pub plan: String,
    /// Which rules judged, how many records, digest of the journal.
    pub colophon: String,
}

/// A sentence about a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    /// Joint, fastener and stage, as far as they apply.
    pub place: String,
    /// What.
    pub what: String,
    /// Its state.
    pub mark: Mark,
}

impl Item {
    /// A sentence about a place, in a state.
    pub fn new(mark: Mark, place: impl Into<String>, what: impl Into<String>) -> Self {
        Self {
            place: place.into(),
            what: what.into(),
            mark,
        }
    }
}

/// Somebody named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PersonRow {
    /// The name.
    pub name: String,
    /// Works or looks.
    pub role: String,
    /// On which joints, and when or "time unknown".
    pub when: String,
}

/// A tool of the plan that was named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToolRow {
    /// Its number.
    pub id: String,
    /// Kind, capacity, lowest usable, accuracy.
    pub what: String,
    /// Calibrated, due.
    pub calibration: String,
    /// Whether it was in date when used, as far as the time is known.
    pub in_date: String,
    /// Readings taken with it.
    pub readings: usize,
    /// Why it was used though out of date or range, and who allowed it.
    pub waiver: String,
}

/// One joint.
#[derive(Clone, Debug, Default)]
pub struct JointSheet {
    /// Its id in the plan.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Where it stands.
    pub mark: Option<Mark>,
    /// Why it stands there, when that needs saying.
    pub why: String,
    /// Where the fasteners are.
    pub map: Map,
    /// Thread, class, grip, hand, reuse, redo, order: name and text as typed.
    pub facts: Vec<(String, String)>,
    /// What should be on the threads.
    pub condition: String,
    /// What was found there, and when.
    pub confirmed: String,
    /// The stages in the order of work.
    pub stages: Vec<StageRow>,
    /// Questions and hold points.
    pub checks: Vec<CheckRow>,
    /// The fasteners.
    pub fasteners: Vec<FastenerRow>,
    /// Attempts that need telling: rejected, unknown, repeated or in several pulls where that matters.
    pub attempts: Vec<AttemptRow>,
    /// Remarks, passes of a repeated stage, re-checks, moments.
    pub notes: Vec<String>,
}

/// One stage of a joint.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StageRow {
    /// From 1.
    pub number: usize,
    /// What is done.
    pub what: String,
    /// The target as printed in the manual and typed; the second printed value behind it.
    pub printed: String,
    /// The window in SI units.
    pub window: String,
    /// Whether readings belong to it, so that the fastener table has a column for it.
    pub has_column: bool,
    /// A trial that never counts as final.
    pub mock_up: bool,
}

/// A question or hold point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CheckRow {
    /// The question.
    pub question: String,
    /// The answer.
    pub answer: String,
    /// Its state.
    pub mark: Mark,
    /// Note, name and time.
    pub by: String,
}

/// One fastener.
#[derive(Clone, Debug, Default)]
pub struct FastenerRow {
    /// Fixed to the metal.
    pub label: String,
    /// Its place in the order, from 1; none where there is no one order.
    pub order: Option<usize>,
    /// Its state.
    pub mark: Option<Mark>,
    /// One cell a stage with `has_column`, in that order.
    pub cells: Vec<StageCell>,
    /// New, cycles, marked, shared with.
    pub remarks: String,
    /// Torque over angle of the last kept trace of each stage.
    pub curve: Option<Curve>,
}

/// One fastener at one stage.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StageCell {
    /// The state; none where the stage does not touch this fastener.
    pub mark: Option<Mark>,
    /// Its own target, where that differs from the stage's.
    pub target: String,
    /// What was reached: final torque and angle with their units.
    pub reached: String,
    /// Peak, when it says more than what was reached.
    pub detail: String,
    /// Attempts made.
    pub attempts: usize,
    /// Which tool took the reading.
    pub tool: String,
}

/// One attempt told in full.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AttemptRow {
    /// Fastener and stage.
    pub place: String,
    /// The n-th try.
    pub attempt: usize,
    /// Peak, final torque, angle, pulls.
    pub reached: String,
    /// The verdict.
    pub mark: Mark,
    /// In plain words.
    pub reasons: String,
    /// What was decided and done about it, by whom.
    pub followed: String,
    /// When, or "time unknown".
    pub when: String,
}

impl SheetModel {
    /// Whether the sheet may say so: a rehearsal never may, nor may anything with something open.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.open.is_empty() && !self.rehearsal && !self.joints.is_empty()
    }

    /// The one line that a reader looks for first.
    #[must_use]
    pub fn standing(&self) -> String {
        if self.rehearsal {
            return "REHEARSAL: no metal was touched".to_owned();
        }
        let word = if self.open.iter().any(|item| item.mark == Mark::MockUp) {
            "MOCK-UP, NOT FINAL"
        } else {
            "NOT COMPLETE"
        };
        match self.open.len() {
            _ if self.is_complete() => "COMPLETE".to_owned(),
            0 => format!("{word}: nothing is recorded"),
            1 => format!("{word}: 1 thing open"),
            count => format!("{word}: {count} things open"),
        }
    }
}
