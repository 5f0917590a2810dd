//! The rows of a working sheet as the inputs that a person would have made at the metal, in the order of work.
//!
//! Knows nothing of cells but what is wrong with them.

use evendraw_core::procedure::{EngineState, StageKind};
use evendraw_core::record::{Role, Way};
use evendraw_core::session::{Input, Next, Refusal};
use evendraw_core::unit::Instant;

use super::row::{Column, Item, Told, What};
use super::{Fault, Items, PaperError, TypedBack};
use crate::job::standing::Held;
use crate::job::ways::{self, ToTell};
use crate::job::{Done, Job};
use crate::store::HostFact;
use crate::words;

/// A job that rows are typed into.
pub(super) struct Typing<'j> {
    job: &'j mut Job,
    typed: TypedBack,
}

/// Why a row was not taken.
enum Stopped {
    /// A cell.
    At(Column, String),
    /// The job or its journal.
    Whole(PaperError),
}

type Step<T> = Result<T, Stopped>;

fn at<T>(column: Column, why: impl Into<String>) -> Step<T> {
    Err(Stopped::At(column, why.into()))
}

impl<'j> Typing<'j> {
    pub(super) fn new(job: &'j mut Job) -> Self {
        Self {
            job,
            typed: TypedBack::default(),
        }
    }

    /// Every joint with its rows; the first cell of each joint that stops it is told.
    pub(super) fn all(mut self, items: &Items) -> Result<TypedBack, PaperError> {
        self.typed.known = items.known;
        let result = self.joints(items);
        self.job.as_of = None;
        result.map(|()| self.typed)
    }

    fn joints(&mut self, items: &Items) -> Result<(), PaperError> {
        let mut joints: Vec<u8> = items.new.iter().map(|item| item.joint).collect();
        joints.sort_unstable();
        joints.dedup();
        let mut faults: Vec<Fault> = Vec::new();
        // A joint that waits for another one is typed back behind it.
        while !joints.is_empty() {
            let is_held = |joint: &u8| {
                let held = self.job.held(*joint);
                held.iter().any(|held| matches!(held, Held::Plan(_)))
            };
            let next = joints.iter().position(|joint| !is_held(joint));
            let joint = joints.remove(next.unwrap_or(0));
            let own: Vec<&Item> = items
                .new
                .iter()
                .filter(|item| item.joint == joint)
                .collect();
            if let Err(fault) = self.joint(joint, own) {
                match fault {
                    Ok(fault) => faults.push(fault),
                    Err(error) => return Err(error),
                }
            }
        }
        if faults.is_empty() {
            Ok(())
        } else {
            faults.sort_by_key(|fault| fault.line);
            Err(PaperError::Faults(faults))
        }
    }

    /// The rows of one joint, in the order of work.
    fn joint(&mut self, joint: u8, mut items: Vec<&Item>) -> Result<(), Result<Fault, PaperError>> {
        items.sort_by_key(|item| item.what.order());
        let mut result = Ok(());
        while !items.is_empty() {
            let wanted = self.next(joint).step();
            // What is next in the order of work comes first, what belongs to no step in its place.
            let is_next = |item: &&Item| item.what.order().0 == 2 && item.what.step() == wanted;
            let first = items.first().is_some_and(|item| item.what.order().0 < 2);
            let at = if first {
                0
            } else {
                items.iter().position(is_next).unwrap_or(0)
            };
            let item = items.remove(at);
            if let Err(stopped) = self.item(item) {
                result = Err(match stopped {
                    Stopped::At(column, why) => Ok(item.row.fault(column, why)),
                    Stopped::Whole(error) => Err(error),
                });
                break;
            }
        }
        // Whatever follows is no paper any more.
        let is_begun = self.is_typing(joint);
        if is_begun && let Err(error) = self.job.keep_fact(over(joint)) {
            return Err(Err(error.into()));
        }
        result
    }

    fn is_typing(&self, joint: u8) -> bool {
        let last = self.job.facts().iter().rev().find_map(|fact| match fact {
            crate::store::Fact::Host(HostFact::FromPaper {
                joint: own, row, ..
            }) if *own == joint => Some(!row.is_empty()),
            _ => None,
        });
        last.unwrap_or(false)
    }

    fn next(&self, joint: u8) -> Next {
        self.job
            .session(joint)
            .map_or(Next::Start, |session| session.next())
    }

    fn item(&mut self, item: &Item) -> Step<()> {
        self.job.as_of = item.date;
        // The session must have started: what is kept of the paper counts up to its next start.
        self.apply(item, Column::Joint, Input::Tick)?;
        if self
            .job
            .session(item.joint)
            .is_some_and(|own| own.is_in_pull())
        {
            return at(Column::Joint, "a pull is in progress there");
        }
        if let Some(step) = item.what.step() {
            self.is_open(item, step)?;
        }
        let fact = HostFact::FromPaper {
            joint: item.joint,
            date: item.date.map_or_else(String::new, |date| date.to_string()),
            row: item.key.clone(),
        };
        self.job
            .keep_fact(fact)
            .map_err(|error| Stopped::Whole(error.into()))?;
        self.person(item)?;
        let before = self.typed.entries.len();
        match &item.what {
            What::Threads(matches) => self.threads(item, *matches)?,
            What::Running(fastener, torque) => {
                let (fastener, torque) = (*fastener, *torque);
                self.apply(
                    item,
                    Column::Value,
                    Input::RunningTorque { fastener, torque },
                )?;
            }
            What::Pulled(step, Told::Ticked) => {
                self.apply(item, Column::Stage, Input::Paper { step: *step })?;
            }
            What::Pulled(step, told) => self.pulled(item, *step, *told)?,
            What::ByHand(step) => self.by_hand(item, *step)?,
            What::Answer(step, yes) => {
                let (step, yes, note) = (*step, *yes, "");
                self.turn_of(item, step)?;
                self.apply(item, Column::Value, Input::Answer { step, yes, note })?;
            }
            What::Length(step, length) => {
                let (step, length) = (*step, *length);
                self.turn_of(item, step)?;
                self.apply(item, Column::Value, Input::Measure { step, length })?;
            }
            What::Marked(fastener) => {
                let fastener = *fastener;
                self.apply(item, Column::Fastener, Input::Mark { fastener })?;
            }
            What::Looked => {
                let name = item.row.cell(Column::Name);
                let role = Role::Witness;
                self.apply(item, Column::Name, Input::Person { name, role })?;
            }
        }
        self.typed.recorded = self.typed.recorded.saturating_add(1);
        let rejected = |entry: &evendraw_core::record::Entry| {
            let attempt = crate::job::status::attempt_of(&entry.record);
            attempt.is_some_and(|own| own.verdict != evendraw_core::verdict::Verdict::Accepted)
        };
        let made = self.typed.entries.get(before..).unwrap_or_default();
        if made.iter().any(rejected) {
            self.typed.rejected.push(item.row.line);
        }
        Ok(())
    }

    /// What is settled already is not recorded over.
    fn is_open(&self, item: &Item, step: u16) -> Step<()> {
        let session = self.job.session(item.joint);
        let is_settled = session.is_some_and(|own| own.ledger().step(step).is_settled());
        if is_settled {
            let why = "it is recorded already, and not as this row has it; what was recorded wrong is put right first, then typed";
            return at(Column::Stage, why);
        }
        Ok(())
    }

    fn person(&mut self, item: &Item) -> Step<()> {
        let name = item.row.cell(Column::Name);
        let is_wanted = matches!(item.what, What::Looked);
        if name.is_empty() {
            if is_wanted || matches!(self.next(item.joint), Next::Person) {
                return at(Column::Name, "a name is needed: who did it");
            }
            return Ok(());
        }
        // Who looked is no operator.
        if is_wanted || self.is_named(item.joint, name) {
            return Ok(());
        }
        let role = Role::Operator;
        self.apply(item, Column::Name, Input::Person { name, role })
    }

    /// Whether this one was named last at the joint.
    fn is_named(&self, joint: u8, name: &str) -> bool {
        if matches!(self.next(joint), Next::Person) {
            return false;
        }
        let last = self.job.facts().iter().rev().find_map(|fact| match fact {
            crate::store::Fact::Entry(entry) if entry.joint == joint => match &entry.record {
                evendraw_core::record::Record::Person(own) if own.role == Role::Operator => {
                    Some(own.name.as_str() == name)
                }
                _ => None,
            },
            _ => None,
        });
        last.unwrap_or(false)
    }

    fn threads(&mut self, item: &Item, matches: bool) -> Step<()> {
        let plan = self.job.joint_plan(item.joint);
        let stated = plan
            .and_then(|plan| plan.condition.clone())
            .unwrap_or_default();
        let found = if matches {
            stated
        } else {
            format!("not {stated}")
        };
        let cut = found.floor_char_boundary(evendraw_core::limits::TEXT_MAX);
        let found = found.get(..cut).unwrap_or_default();
        self.apply(item, Column::Value, Input::Condition { found, matches })
    }

    /// That a step is asked for now.
    fn turn_of(&self, item: &Item, step: u16) -> Step<()> {
        let next = self.next(item.joint);
        match next {
            // Of a wait whoever filled in the sheet saw the time, and no clock did.
            Next::Answer { step: own }
            | Next::Measure { step: own }
            | Next::Wait { step: own, .. }
            | Next::Moment { step: own, .. }
                if own == step =>
            {
                Ok(())
            }
            _ => at(Column::Stage, self.first(item.joint)),
        }
    }

    fn by_hand(&mut self, item: &Item, step: u16) -> Step<()> {
        match self.next(item.joint) {
            Next::Fit { step: own } if own == step => {
                let fastener = self
                    .job
                    .session(item.joint)
                    .and_then(|session| session.procedure().fastener_of(step));
                match fastener {
                    Some(fastener) => self.apply(item, Column::Stage, Input::Fitted { fastener }),
                    None => at(Column::Fastener, "which fastener?"),
                }
            }
            _ => self.apply(item, Column::Stage, Input::Confirm { step }),
        }
    }

    fn pulled(&mut self, item: &Item, step: u16, told: Told) -> Step<()> {
        self.tool(item)?;
        let joint = item.joint;
        self.due(item, step)?;
        if self.next(joint) != (Next::Pull { step }) {
            let fastener = self
                .job
                .session(joint)
                .and_then(|session| session.procedure().fastener_of(step));
            if let (Next::Pull { .. }, Some(fastener)) = (self.next(joint), fastener) {
                self.apply(item, Column::Stage, Input::Select { fastener })?;
            }
        }
        if self.next(joint) != (Next::Pull { step }) {
            return at(Column::Stage, self.first(joint));
        }
        if told == Told::Hand {
            return self.apply(item, Column::Way, Input::Confirm { step });
        }
        let to_tell = match self.job.to_tell(joint) {
            Some(Ok(to_tell)) => to_tell,
            Some(Err(why)) => return at(Column::Tool, why),
            None => return at(Column::Stage, self.first(joint)),
        };
        match to_tell {
            ToTell::Values(wanted) => {
                let way = match wanted.way {
                    Way::Display => Told::Display,
                    Way::Eye => Told::Eye,
                    Way::Gauge => Told::Gauge,
                    Way::Mark => Told::Mark,
                };
                self.is_way(item, told, way)?;
                let (value, angle) = (item.row.cell(Column::Value), item.row.cell(Column::Angle));
                let text = match (value, angle) {
                    (value, "") => value.to_owned(),
                    (value, angle) if angle.ends_with('°') => format!("{value} {angle}"),
                    (value, angle) => format!("{value} {angle}°"),
                };
                let column = if value.is_empty() && !angle.is_empty() {
                    Column::Angle
                } else {
                    Column::Value
                };
                let mut typed = match ways::read(&text, &wanted) {
                    Ok(typed) => typed,
                    Err(why) => return at(column, why),
                };
                if item.moved && !wanted.moved {
                    return at(Column::Moved, "it is said only where nothing may move");
                }
                typed.moved |= item.moved;
                if !item.is_sure
                    && let Some(why) = self.job.question(joint, &typed)
                {
                    let why = format!("{why}; yes in the column `sure` if that is so");
                    return at(column, why);
                }
                let mut stated = String::new();
                let readout = self.job.readout(joint, &wanted, &typed, &mut stated);
                let readout = &readout;
                self.apply(item, Column::Value, Input::Read { step, readout })
            }
            ToTell::Click {
                moved: may_move, ..
            } => {
                self.is_way(item, told, Told::Setting)?;
                let text = item.row.cell(Column::Value);
                let setting = match ways::read_setting(text, self.job.tool_in_hand()) {
                    Ok(setting) => setting,
                    Err(why) => return at(Column::Value, format!("{why}; as the tool was set")),
                };
                if item.moved && !may_move {
                    return at(Column::Moved, "it is said only where nothing may move");
                }
                match self.job.as_set(joint, setting) {
                    Some(set) => {
                        let input = self.job.clicked(joint, step, set, item.moved);
                        self.apply(item, Column::Value, input)
                    }
                    None => at(Column::Stage, self.first(joint)),
                }
            }
            ToTell::Done => {
                self.is_way(item, told, Told::Hand)?;
                self.apply(item, Column::Way, Input::Confirm { step })
            }
            ToTell::Samples => at(
                Column::Tool,
                "this tool sends what it measures; what stands on paper was read from another, or is `ticked`",
            ),
        }
    }

    fn is_way(&self, item: &Item, told: Told, way: Told) -> Step<()> {
        if told == way || told == Told::AsTheTool {
            return Ok(());
        }
        let id = item.row.cell(Column::Tool);
        let id = if id.is_empty() {
            self.job.tool().unwrap_or("none")
        } else {
            id
        };
        at(
            Column::Way,
            format!(
                "`{}` is not what tool {id} tells here; allowed are {}, hand, ticked",
                told.word(),
                way.word()
            ),
        )
    }

    /// A later retorque is due where somebody did it.
    fn due(&mut self, item: &Item, step: u16) -> Step<()> {
        let Next::AwaitDue { stage } = self.next(item.joint) else {
            return Ok(());
        };
        let session = self.job.session(item.joint);
        let kind = session.and_then(|own| own.procedure().stage_of(step).map(|own| own.kind));
        let Some(StageKind::Later { state, .. }) = kind else {
            return Ok(());
        };
        let state = match state {
            EngineState::Any => EngineState::Cold,
            state => state,
        };
        self.apply(item, Column::Stage, Input::Due { stage, state })
    }

    /// Takes the tool of the row.
    fn tool(&mut self, item: &Item) -> Step<()> {
        let id = item.row.cell(Column::Tool);
        let waiver = item.row.cell(Column::Reason);
        if id.is_empty() {
            if matches!(self.next(item.joint), Next::Tool) {
                return at(Column::Tool, format!("with which tool? {}", self.tools()));
            }
            return Ok(());
        }
        if !self.job.plan().tools().is_empty() && self.job.plan().tool(id).is_none() {
            return at(
                Column::Tool,
                format!("the plan has no tool `{id}`; {}", self.tools()),
            );
        }
        let is_wanted = matches!(self.next(item.joint), Next::Tool);
        let is_in_hand = self.job.tool() == Some(id) && waiver.is_empty();
        if !is_wanted && is_in_hand {
            return Ok(());
        }
        self.apply(item, Column::Tool, Input::Tool { id, waiver })
    }

    fn tools(&self) -> String {
        let tools = self.job.plan().tools().iter();
        let ids: Vec<&str> = tools.map(|tool| tool.id.as_str()).collect();
        match ids.len() {
            0 => "any name will do".to_owned(),
            _ => format!("allowed are {}", ids.join(", ")),
        }
    }

    /// What must be done before the row, in words.
    fn first(&self, joint: u8) -> String {
        if let Some(held) = self.job.held(joint).first() {
            return held.to_string();
        }
        let before = match self.typed.rejected.last() {
            Some(line) => {
                format!("; line {line} was not accepted: it is decided at the desk what follows")
            }
            None => String::new(),
        };
        let status = self.job.status();
        let own = status.joint(joint);
        let why = own.map(|own| own.why.clone()).unwrap_or_default();
        let asked = match self.next(joint) {
            Next::Condition => {
                "it must be said first what is on the threads: a row with `threads` as its stage"
            }
            Next::Decide { .. } => {
                "it must be decided first what follows from a value that was not accepted"
            }
            Next::Loosen { .. } => "a fastener must be loosened first",
            Next::Replace { .. } => "a fastener must be replaced first",
            Next::Settle { .. } => "a fastener that felt wrong must be looked at first",
            Next::TakeApart => "the mock-up must be taken apart first",
            Next::Wait { .. } | Next::Moment { .. } => {
                "a wait comes first: a row with its stage, and yes or no"
            }
            Next::Nothing => "nothing is open there",
            _ => "it is not its turn",
        };
        match why.as_str() {
            "" => format!("{asked}{before}"),
            why => format!("{asked} ({why}){before}"),
        }
    }

    fn apply(&mut self, item: &Item, column: Column, input: Input<'_>) -> Step<()> {
        let done = match self.job.apply(item.joint, Instant::BOOT, input) {
            Ok(done) => done,
            Err(error @ crate::job::JobError::Store(_)) => {
                return Err(Stopped::Whole(error.into()));
            }
            Err(error) => return at(Column::Joint, error.to_string()),
        };
        self.outcome(done, column)
    }

    fn outcome(&mut self, done: Done, column: Column) -> Step<()> {
        if let Some(failure) = done.store_failure {
            return Err(Stopped::Whole(PaperError::Store(failure)));
        }
        if let Some(held) = done.held.first() {
            let column = match held {
                Held::Plan(_) | Held::Unanswered(_) => Column::Joint,
                _ => Column::Tool,
            };
            return at(column, held.to_string());
        }
        self.typed.entries.extend(done.entries);
        match done.refusal {
            None => Ok(()),
            Some(refusal) => {
                let column = match refusal {
                    Refusal::BetterEvidence => Column::Way,
                    Refusal::EarlierOpen | Refusal::AlreadySettled => Column::Stage,
                    _ => column,
                };
                at(column, words::refusal(refusal))
            }
        }
    }
}

/// From here on the joint's records are typed from no paper any more.
fn over(joint: u8) -> HostFact {
    HostFact::FromPaper {
        joint,
        date: String::new(),
        row: String::new(),
    }
}
