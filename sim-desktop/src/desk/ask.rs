//! What a screen asks for: the only way anything is done from a screen.
//!
//! Knows nothing of how it is carried out.

use std::path::PathBuf;

use super::act::Act;
use super::edit_view::{Draw, PlanAsk};
use crate::job::paper::Row;
use crate::store::{Became, PartState};

/// What a screen asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum Ask {
    /// Work this joint.
    OpenJoint(String),
    /// Pull, or let go.
    Pull(bool),
    /// The simulated hand does the next fastener.
    Hand,
    /// The simulated hand goes on until something needs a person; false stops it.
    HandAll(bool),
    /// Of the pull that is next this was read or set, in the reading's place: first and second value, and whether it moved.
    Told(String, String, bool),
    /// Do this about the prompt, with what was typed or the reason.
    Act(Act, String),
    /// This fastener felt wrong; the last one, where none is named.
    FeltWrong(String),
    /// Do this fastener again.
    Redo(String),
    /// Loosen this fastener.
    Loosen(String),
    /// Leave this fastener out, for this reason.
    Skip(String, String),
    /// This fastener bears its mark of paint.
    Marked(String),
    /// Pull this final fastener once more: it should not move.
    CheckAgain(String),
    /// No check after all.
    LeaveCheck,
    /// A second person has looked.
    Witness(String),
    /// The tool goes on this fastener now, whoever's turn it is; on the one in order, where none is named.
    Select(String),
    /// Take back what a key recorded a moment ago.
    TakeLastBack,
    /// This row of the record was not so, for this reason.
    Withdraw(u64, String),
    /// The pull of this row was on this fastener.
    WasOn(u64, String),
    /// A part has arrived.
    PartArrived(String),
    /// How it is with this part, and what is said of it.
    PartIs(String, PartState, String),
    /// This task is done; the answer to what it asks.
    TaskDone(String, String),
    /// This task is to be done again, for this reason.
    TaskUndone(String, String),
    /// A line not to be forgotten: id of the joint or task it is about, what it holds up, the line.
    Remind(String, String, String),
    /// This reminder is put away: what became of it, under which name.
    PutAway(u32, Became, String),
    /// Choose what becomes of this; carried out by the desk itself.
    Choices(About),
    /// Another person works on.
    Person(String),
    /// Another tool is used.
    Tool(String),
    /// Put this fault on this fastener, in a rehearsal.
    Fault(String, String),
    /// Read a trace file as readings.
    Trace(PathBuf),
    /// Ask again whether this is work or a rehearsal.
    WorkOrRehearse,
    /// Look how the builds opened lately stand.
    LookForRecent,
    /// Look which serial ports there are.
    LookForPorts,
    /// Follow the adapter at this port.
    Connect(PathBuf),
    /// Read the lines of this tool of the plan, at this port or `HOST:PORT`.
    Lines(String, String),
    /// Take the zero of the instrument anew.
    Zero,
    /// Let the adapter go.
    Disconnect,
    /// Have the adapter work the joint in hand.
    SendJoint,
    /// Go on with the joint in hand at the desk, without the adapter that made its records.
    TakeBack,
    /// Choose a file in the system's dialog.
    Choose(Wanted),
    /// Open a plan.
    OpenPlan(PathBuf),
    /// Read the plan again from disk.
    ReloadPlan,
    /// Work on the plan's text.
    Plan(PlanAsk),
    /// What is open, to be typed back from paper.
    Paper,
    /// These rows of a working sheet are typed back.
    TypeBack(Vec<Row>),
    /// The evening before it begins.
    Tonight,
    /// The evening on a page.
    PrintTonight,
    /// What was opened beside the screens is not looked at any more.
    PutAside,
    /// Write the record.
    Export(Export),
    /// The curve of the entry with this number.
    Curve(u64),
    /// Put this rehearsal away and begin a new one.
    RehearseAnew,
    /// Read torque in N·m, or in the plan's own unit.
    NewtonMeters(bool),
    /// Print the tag.
    PrintTag,
    /// Write the list to order from, as a page and as a table, and show the page.
    PrintOrder,
    /// Compare orders for this joint.
    Compare(String),
    /// Stop comparing.
    StopCompare,
    /// Read this folder of builds; the one that the plan lies on where none is named.
    ReadShelf(PathBuf),
    /// Stop reading it.
    StopShelf,
    /// Open the build that has this journal, or this plan.
    OpenBuild(PathBuf),
}

impl Ask {
    /// Whether it is kept under a name, so that somebody must have said who works.
    #[must_use]
    pub const fn is_signed(&self) -> bool {
        matches!(
            self,
            Self::TaskDone(..) | Self::TaskUndone(..) | Self::PutAway(_, Became::Ticked, _)
        )
    }

    /// The same with what was typed or chosen in its place.
    #[must_use]
    pub fn with(self, words: &str) -> Self {
        let words = words.trim().to_owned();
        match self {
            Self::Act(act, _) => Self::Act(act, words),
            Self::Skip(fastener, _) => Self::Skip(fastener, words),
            Self::Withdraw(row, _) => Self::Withdraw(row, words),
            Self::WasOn(row, _) => Self::WasOn(row, words),
            Self::PartIs(part, state, _) => Self::PartIs(part, state, words),
            Self::TaskDone(task, _) => Self::TaskDone(task, words),
            Self::TaskUndone(task, _) => Self::TaskUndone(task, words),
            Self::Remind(about, holds, _) => Self::Remind(about, holds, words),
            Self::PutAway(number, became, _) => Self::PutAway(number, became, words),
            Self::Person(_) => Self::Person(words),
            Self::Witness(_) => Self::Witness(words),
            Self::Trace(_) => Self::Trace(PathBuf::from(words)),
            Self::Connect(_) => Self::Connect(PathBuf::from(words)),
            Self::OpenPlan(_) => Self::OpenPlan(PathBuf::from(words)),
            Self::Plan(PlanAsk::Draw(Draw::Picture(_))) => {
                Self::Plan(PlanAsk::Draw(Draw::Picture(PathBuf::from(words))))
            }
            Self::Plan(PlanAsk::Offer(_)) => Self::Plan(PlanAsk::Offer(PathBuf::from(words))),
            Self::Plan(PlanAsk::Check(_)) => Self::Plan(PlanAsk::Check(words)),
            Self::Plan(PlanAsk::SaveAs(_)) => Self::Plan(PlanAsk::SaveAs(PathBuf::from(words))),
            other => other,
        }
    }
}

/// A thing of the list of tasks, parts and reminders.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum About {
    /// A task, by its id.
    Task(String),
    /// The answer to what this task asks.
    TaskAnswer(String),
    /// A part, by its name.
    Part(String),
    /// Where and when this part was ordered.
    PartOrdered(String),
    /// What is wrong with this part.
    PartWrong(String),
    /// A reminder, by its number.
    Reminder(u32),
    /// The calculator's question about two threads.
    Threads,
    /// What follows in the list, from this row on.
    From(usize),
}

/// What a file is chosen for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// A plan to open.
    Plan,
    /// Readings of a pull.
    Trace,
    /// A picture of the part.
    Picture,
    /// A plan that has a joint to be taken.
    Joint,
}

/// Formats of the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Export {
    /// Comma-separated.
    Csv,
    /// One JSON object a line.
    Json,
    /// The build sheet, opened in the browser.
    Sheet,
}
