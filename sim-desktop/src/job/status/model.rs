//! What the projection comes to, in plain values and in words.
//!
//! Every face draws these and decides nothing. Where something is not known the text says so ("time unknown"); nothing is left
//! out because it is missing. Knows nothing of how they are worked out.

mod beside;

use evendraw_core::session::Next;

pub use beside::{BesideRow, PartStatus, ReminderStatus, TaskStatus, parts_csv};

use super::Tally;
use crate::mark::Mark;
use crate::plan::progress::Hold;
use crate::store::PartState;
use crate::words;

/// A build as its plan and its journal say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Status {
    /// What is built.
    pub title: String,
    /// Which one: engine, serial.
    pub unit: String,
    /// Document, section, revision.
    pub document: String,
    /// Revision of the plan and why it was made; empty for the first, where no reason is given.
    pub revision: String,
    /// On no metal.
    pub rehearsal: bool,
    /// Its values are invented.
    pub demo: bool,
    /// The joints, in the plan's order.
    pub joints: Vec<JointStatus>,
    /// The joint to go on with.
    pub next: Option<NextJoint>,
    /// What was done last; none where nobody did anything.
    pub last: Option<LastDone>,
    /// Why the build is not complete; none when it is.
    pub open: Vec<Item>,
    /// What is out of the ordinary, each once, the gravest first.
    pub exceptions: Vec<Item>,
    /// What was done again, and why.
    pub redone: Vec<Item>,
    /// What is still due after running or by time.
    pub due: Vec<Item>,
    /// Changes to what was planned, after work began.
    pub amendments: Vec<Item>,
    /// What stands behind what is done: `94 measured with curve, 12 read`; empty where nothing is done.
    pub evidence: String,
    /// Who worked and who looked.
    pub people: Vec<PersonStatus>,
    /// Who looked, or that somebody must and nobody did, or that nobody was asked to.
    pub witnessed: String,
    /// From when to when, or that the time is unknown.
    pub when: String,
    /// The tools of the plan, and those that were named without standing in it.
    pub tools: Vec<ToolStatus>,
    /// The parts that joints and tasks need.
    pub parts: Vec<PartStatus>,
    /// Work without fasteners, in the plan's order; what was a reminder behind it.
    pub tasks: Vec<TaskStatus>,
    /// Lines not to be forgotten, put away or not.
    pub reminders: Vec<ReminderStatus>,
    /// Variants and answers that hold for the whole build: question and answer.
    pub given: Vec<(String, String)>,
    /// Free remarks that belong to no joint.
    pub notes: Vec<String>,
    /// Records kept.
    pub records: usize,
    /// The rules that judged them.
    pub rules: Vec<u16>,
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

    /// Place and sentence in one.
    #[must_use]
    pub fn line(&self) -> String {
        format!("{}: {}", self.place, self.what)
    }
}

/// The joint to go on with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NextJoint {
    /// Its number.
    pub joint: u8,
    /// Its id.
    pub id: String,
    /// Joint, fastener and stage, in words.
    pub words: String,
}

/// What was done last.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LastDone {
    /// Seconds since 1970-01-01 00:00 UTC, if the time was told.
    pub unix: Option<i64>,
    /// When, in words.
    pub when: String,
    /// Who worked; empty where nobody was named.
    pub person: String,
    /// Joint, fastener and stage, and what.
    pub what: String,
}

impl LastDone {
    /// `6 days ago, R. Falk: head, fastener 7 to stage 3`; `now` in seconds since 1970-01-01 00:00 UTC.
    #[must_use]
    pub fn line(&self, now: i64) -> String {
        let ago = match self.unix {
            Some(unix) => words::ago(now.saturating_sub(unix)),
            None => self.when.clone(),
        };
        let person = match self.person.as_str() {
            "" => String::new(),
            name => format!(", {name}"),
        };
        format!("{ago}{person}: {}", self.what)
    }
}

/// Somebody named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PersonStatus {
    /// The name.
    pub name: String,
    /// Looks, and does not work.
    pub is_witness: bool,
    /// When, or "time unknown".
    pub when: String,
}

impl PersonStatus {
    /// Works or looks.
    #[must_use]
    pub const fn role(&self) -> &'static str {
        if self.is_witness {
            "witness"
        } else {
            "operator"
        }
    }
}

/// A tool.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ToolStatus {
    /// Its number.
    pub id: String,
    /// Kind, title, range, accuracy.
    pub what: String,
    /// Calibrated, due.
    pub calibration: String,
    /// Whether its calibration has run out today.
    pub is_expired: bool,
    /// Whether nobody can tell if its calibration holds: no due date is written down.
    pub is_undated: bool,
    /// Whether the calibration held when it was used, as far as the time is known.
    pub in_date: String,
    /// Attempts made with it.
    pub readings: usize,
    /// Whether anybody named it.
    pub is_used: bool,
    /// Why it was used though expired or out of range, and who allowed it.
    pub waiver: String,
}

impl ToolStatus {
    /// What tells it from others, its range and its calibration, in one line.
    #[must_use]
    pub fn line(&self) -> String {
        format!(
            "{}: {}; calibration {}",
            self.id, self.what, self.calibration
        )
    }

    /// How its calibration stands today; none where nobody can tell: that is told in words.
    #[must_use]
    pub const fn mark(&self) -> Option<Mark> {
        match (self.is_expired, self.is_undated) {
            (true, _) => Some(Mark::Rejected),
            (false, true) => None,
            (false, false) => Some(Mark::Accepted),
        }
    }
}

/// One joint.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JointStatus {
    /// Its number in the build.
    pub number: u8,
    /// Its id in the plan.
    pub id: String,
    /// Its title.
    pub title: String,
    /// How it stands.
    pub mark: Mark,
    /// Why it stands so, in one line.
    pub why: String,
    /// A remark of the plan.
    pub note: String,
    /// What stands in its way.
    pub holds: Vec<Hold>,
    /// Titles of open joints that it covers, though it is begun or done.
    pub closed_over: Vec<String>,
    /// Steps settled.
    pub done: usize,
    /// Steps in all.
    pub steps: usize,
    /// What stands behind what is done of it, by kind of evidence.
    pub evidence: Tally,
    /// What is to be done at it now; none where its records cannot be taken up.
    pub next: Option<Next>,
    /// The step that is about, if it is about one.
    pub step: Option<u16>,
    /// The stage in hand, by index.
    pub stage: usize,
    /// The fasteners of the stage in hand in the order of work, by index.
    pub path: Vec<usize>,
    /// Tightens anticlockwise.
    pub is_left_hand: bool,
    /// The side of the map that faces front; empty where the plan names none.
    pub front: String,
    /// What was done to an earlier revision of the plan and differs now.
    pub differs: Vec<Differs>,
    /// Thread, class and condition, in one line.
    pub what: String,
    /// Thread, class, grip, hand, reuse, redo, order: name and text as typed.
    pub facts: Vec<(String, String)>,
    /// What should be on the threads.
    pub condition: String,
    /// What was found there, and when.
    pub confirmed: String,
    /// Whether that is what should be there.
    pub is_as_assumed: bool,
    /// Who looked last.
    pub witness: Option<String>,
    /// The fasteners that somebody must still look at, by label.
    pub to_witness: Vec<String>,
    /// Serial number of the adapter that makes its records.
    pub at_adapter: Option<String>,
    /// The stages in the order of work.
    pub stages: Vec<StageStatus>,
    /// Questions and hold points.
    pub checks: Vec<CheckRow>,
    /// The fasteners, in the plan's order.
    pub fasteners: Vec<FastenerStatus>,
    /// Attempts that need telling: rejected, unknown, repeated or in several pulls where that matters.
    pub attempts: Vec<AttemptRow>,
    /// What was said not to be so, or put right: its lines stay, struck through.
    pub struck: Vec<Struck>,
    /// How many of its records were typed later, from paper of which day.
    pub from_paper: Vec<String>,
    /// Remarks, passes of a repeated stage, re-checks, moments.
    pub notes: Vec<String>,
    /// Clamp loads of the bench after each stage: its name, and the loads in N by fastener.
    pub clamps: Vec<(String, Vec<u32>)>,
}

/// What was done to an earlier revision of the plan, and asks for something else now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Differs {
    /// The stage, from 1; none where it was taken out.
    pub stage: Option<usize>,
    /// The fasteners that it was done to, by label.
    pub fasteners: Vec<String>,
    /// Whether these are all that the joint has.
    pub is_all: bool,
    /// The revision that it was done to.
    pub revision: u32,
    /// The revision of today.
    pub now: u32,
    /// What was asked then, as printed.
    pub old: String,
    /// What is asked now.
    pub new: String,
    /// Doubtful while nobody settled it.
    pub mark: Mark,
    /// On whose word and why it was left as it is; empty while it is not settled.
    pub settled: String,
}

impl Differs {
    /// `done to revision 1, now differs: 45 → 60 N·m`.
    #[must_use]
    pub fn differs(&self) -> String {
        format!(
            "done to revision {}, now differs: {}",
            self.revision,
            crate::plan::differ::change_words(&self.old, &self.new)
        )
    }

    /// That, with the fasteners and what became of it.
    #[must_use]
    pub fn line(&self) -> String {
        let who = match &self.fasteners[..] {
            _ if self.is_all => String::new(),
            [one] => format!("fastener {one} "),
            many => format!("fasteners {} ", many.join(", ")),
        };
        let settled = match (self.mark, self.settled.as_str()) {
            (Mark::Doubtful, _) => "; to be done again, or left on a name and a reason".to_owned(),
            (_, "") => "; it holds as it is".to_owned(),
            (_, words) => format!("; left as it is: {words}"),
        };
        format!("{who}{}{settled}", self.differs())
    }
}

/// One stage of a joint.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StageStatus {
    /// From 1.
    pub number: usize,
    /// What is done.
    pub what: String,
    /// In one plain line, in the plan's own figures.
    pub sentence: String,
    /// The target as printed in the manual and typed; the second printed value behind it.
    pub printed: String,
    /// The window, in the plan's unit and in N·m.
    pub window: String,
    /// Whether readings belong to it, so that the fastener table has a column for it.
    pub has_column: bool,
    /// A trial that never counts as final.
    pub mock_up: bool,
    /// How it stands.
    pub mark: Mark,
    /// Steps settled.
    pub done: usize,
    /// Steps in all.
    pub of: usize,
}

/// A record that counts no more, in the words in which it stood.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Struck {
    /// What it said, and when.
    pub words: String,
    /// `withdrawn: pressed by mistake`, with the time.
    pub why: String,
}

impl Struck {
    /// Both in a line that needs no stroke: `fastener 3: felt wrong; withdrawn: pressed by mistake`.
    #[must_use]
    pub fn line(&self) -> String {
        format!("{}; {}", self.words, self.why)
    }
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
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FastenerStatus {
    /// Fixed to the metal.
    pub label: String,
    /// To the right, in mm.
    pub x_mm: f64,
    /// Up, in mm.
    pub y_mm: f64,
    /// Where it is, in words that need no number.
    pub place: String,
    /// Its place in the order, from 1; none where there is no one order.
    pub order: Option<usize>,
    /// How it stands; none where this joint does nothing to it.
    pub mark: Option<Mark>,
    /// One cell a stage, in the order of the stages.
    pub cells: Vec<StageCell>,
    /// It bears its mark of paint.
    pub is_marked: bool,
    /// A new one was fitted.
    pub is_new: bool,
    /// New, cycles, marked, shared with.
    pub remarks: String,
    /// Torque over angle of the last kept trace.
    pub curve: Option<Curve>,
}

/// One fastener at one stage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StageCell {
    /// The state; none where the stage does not touch this fastener.
    pub mark: Option<Mark>,
    /// Its own target, where that differs from the stage's.
    pub target: String,
    /// What was reached: the judged number with its unit.
    pub reached: String,
    /// That number in N·m, where it is a torque.
    pub torque_nm: Option<f64>,
    /// What says more than that.
    pub detail: String,
    /// Attempts made.
    pub attempts: usize,
    /// Which tool took the reading.
    pub tool: String,
    /// How it came to be known; empty where nothing is done.
    pub evidence: String,
    /// That it was typed later, from paper of which day; empty where it was not.
    pub later: String,
}

/// One attempt told in full.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AttemptRow {
    /// Fastener and stage.
    pub place: String,
    /// The n-th try.
    pub attempt: usize,
    /// Judged number, final torque, angle, pulls.
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

/// A curve, with what it was judged by.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    /// Angle in degrees and torque in N·m, in the order they came. The judged peak is among them.
    pub points: Vec<(f64, f64)>,
    /// Window of the torque, in N·m.
    pub torque_nm: Option<(f64, f64)>,
    /// Window of the angle, in degrees.
    pub angle_deg: Option<(f64, f64)>,
    /// What the curve belongs to: "stage 3".
    pub of: String,
}

impl StageCell {
    /// How it came to be known, with which tool, and whether it was typed later: `read by eye, tool B2`; empty where nothing is done, and where the words that
    /// were reached say it already.
    #[must_use]
    pub fn behind(&self) -> String {
        let evidence = if self.reached.contains(&self.evidence) {
            ""
        } else {
            self.evidence.as_str()
        };
        let tool = match self.tool.as_str() {
            "" => String::new(),
            tool => format!("tool {tool}"),
        };
        let parts = [evidence, &tool, &self.later];
        let parts: Vec<&str> = parts.into_iter().filter(|part| !part.is_empty()).collect();
        parts.join(", ")
    }
}

impl JointStatus {
    /// Whether it may be worked now.
    #[must_use]
    pub const fn is_workable(&self) -> bool {
        !matches!(self.mark, Mark::Waiting | Mark::Final)
    }
}

impl Status {
    /// What is to be done next, in words: at a joint, or else the first task that may be done; none where nothing can go on.
    #[must_use]
    pub fn next_words(&self) -> Option<String> {
        let task = || {
            let task = self.tasks.iter().find(|task| task.may_be_done)?;
            Some(format!("task: {}", task.title))
        };
        let joint = self.next.as_ref().map(|next| next.words.clone());
        joint.or_else(task)
    }

    /// Whether a task comes next, and no joint.
    #[must_use]
    pub fn is_task_next(&self) -> bool {
        self.next.is_none() && self.next_words().is_some()
    }

    /// Whether it may say so: a rehearsal never may, nor may anything with something open.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.open.is_empty() && !self.rehearsal && !self.joints.is_empty()
    }

    /// The one line that a reader looks for first.
    #[must_use]
    pub fn headline(&self) -> String {
        if self.rehearsal {
            return "REHEARSAL: no metal was touched".to_owned();
        }
        let word = if self.open.iter().any(|item| item.mark == Mark::MockUp) {
            "MOCK-UP, NOT FINAL"
        } else {
            "NOT COMPLETE"
        };
        match (self.open.len(), self.exceptions.len()) {
            (_, 0) if self.is_complete() => "COMPLETE".to_owned(),
            (_, exceptions) if self.is_complete() => {
                format!("COMPLETE, WITH {}", counted(exceptions, "EXCEPTION"))
            }
            (0, _) => format!("{word}: nothing is recorded"),
            (open, _) => format!("{word}: {} open", counted(open, "thing")),
        }
    }

    /// How the whole build stands.
    #[must_use]
    pub fn mark(&self) -> Mark {
        if self.is_complete() {
            Mark::Final
        } else if self.rehearsal || self.open.iter().any(|item| item.mark == Mark::MockUp) {
            Mark::MockUp
        } else {
            let gravest = self.open.iter().map(|item| item.mark);
            gravest
                .min_by_key(|mark| mark.gravity())
                .unwrap_or(Mark::Open)
        }
    }

    /// The joint with this number.
    #[must_use]
    pub fn joint(&self, number: u8) -> Option<&JointStatus> {
        self.joints.get(usize::from(number))
    }

    /// Tasks, parts and reminders for a list: its title, and of each the mark, the word, what it is, and the rest in one line.
    #[must_use]
    pub fn beside(&self) -> Vec<(&'static str, Vec<BesideRow>)> {
        let row = |mark, word: &str, name: &str, line: String| BesideRow {
            mark,
            word: word.to_owned(),
            name: name.to_owned(),
            line,
        };
        let tasks = self.tasks.iter();
        let tasks = tasks.map(|task| row(task.mark, task.word, &task.title, task.line()));
        let parts = self.parts.iter();
        let parts =
            parts.map(|part| row(part.mark(), part.state.word(), &part.counted(), part.rest()));
        let reminders = self.reminders.iter().map(|reminder| {
            let (mark, word) = if reminder.became.is_empty() {
                (Mark::Open, "open".to_owned())
            } else {
                (Mark::Accepted, "put away".to_owned())
            };
            let line = match reminder.became.as_str() {
                "" => reminder.line(),
                became => format!("{}; {became}", reminder.line()),
            };
            row(mark, &word, &reminder.about, line)
        });
        let lists = [
            ("Tasks", tasks.collect::<Vec<_>>()),
            ("Parts", parts.collect()),
            ("Reminders", reminders.collect()),
        ];
        lists
            .into_iter()
            .filter(|(_, rows)| !rows.is_empty())
            .collect()
    }

    /// Reminders that are not put away.
    pub fn open_reminders(&self) -> impl Iterator<Item = &ReminderStatus> {
        self.reminders
            .iter()
            .filter(|reminder| reminder.became.is_empty())
    }

    /// Parts to be ordered: everything that is neither here nor on its way.
    pub fn to_order(&self) -> impl Iterator<Item = &PartStatus> {
        self.parts
            .iter()
            .filter(|part| !part.is_here && part.state != PartState::Ordered)
    }

    /// Names of the parts that are still waited for.
    #[must_use]
    pub fn waiting(&self) -> Vec<&str> {
        let waited = self.parts.iter().filter(|part| !part.is_here);
        waited.map(|part| part.name.as_str()).collect()
    }
}

/// `1 joint`, `2 joints`.
#[must_use]
pub fn counted(number: usize, word: &str) -> String {
    let many = match word.chars().next_back() {
        _ if number == 1 => "",
        Some(last) if last.is_uppercase() => "S",
        _ => "s",
    };
    format!("{number} {word}{many}")
}
