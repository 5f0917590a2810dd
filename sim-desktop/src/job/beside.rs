//! What a journal says beside torque: tasks done and undone, how it is with each part, reminders.
//!
//! One fold of the journal's facts, the same for a job at work and for a journal that is read. Knows nothing of faces.

use std::collections::{BTreeMap, BTreeSet};

use evendraw_core::ledger::Standing;
use evendraw_core::record::{Entry, Record};
use evendraw_core::session::Session;

use super::status::plan_of;
use crate::plan::progress::TaskStanding;
use crate::plan::{Joint, Plan};
use crate::store::{Became, Fact, HostFact, PartState, entries_of};

/// Who said something, when, and what.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Said {
    /// Who; empty where nobody was named.
    pub by: String,
    /// Seconds since 1970, where that is known.
    pub unix: Option<i64>,
    /// A remark, an answer, a reason.
    pub words: String,
}

impl Said {
    fn of(by: &str, unix: i64, words: &str) -> Self {
        Self {
            by: by.to_owned(),
            unix: (unix != 0).then_some(unix),
            words: words.to_owned(),
        }
    }
}

/// A line not to be forgotten.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reminder {
    /// Its number, from 1.
    pub number: u32,
    /// Id of the joint or task it belongs to; empty for the build.
    pub about: String,
    /// The line.
    pub text: String,
    /// What it holds up; empty where it holds nothing up.
    pub holds: String,
    /// Who wrote it, and when.
    pub said: Said,
    /// What became of it, once it was put away.
    pub became: Option<(Became, Said)>,
}

/// A part or a task that was a reminder: it stands in the journal, not in the plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Added {
    /// Name of the part, or id of the task.
    pub id: String,
    /// What it is called.
    pub title: String,
    /// Id of the joint or task it belongs to; empty for the build.
    pub about: String,
}

/// Tasks, parts and reminders as the journal has them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Beside {
    tasks: BTreeMap<String, (TaskStanding, Said)>,
    parts: BTreeMap<String, (PartState, Said)>,
    reminders: Vec<Reminder>,
    added_parts: Vec<Added>,
    added_tasks: Vec<Added>,
}

impl Beside {
    /// The fold of everything kept.
    #[must_use]
    pub fn of(plan: &Plan, facts: &[Fact]) -> Self {
        let mut beside = Self::default();
        for (place, fact) in facts.iter().enumerate() {
            match fact {
                Fact::Host(fact) => beside.take(plan, fact),
                Fact::Entry(entry) => {
                    let before = facts.get(..place).unwrap_or(&[]);
                    beside.hear(plan, before, entry);
                    let until = facts.get(..=place).unwrap_or(&[]);
                    beside.take_out(plan, until, entry);
                }
            }
        }
        beside
    }

    fn take(&mut self, plan: &Plan, fact: &HostFact) {
        match fact {
            HostFact::PartArrived { part } => self.part(part, PartState::Here, Said::default()),
            HostFact::PartMissing { part } => self.part(part, PartState::Needed, Said::default()),
            HostFact::PartIs {
                part,
                state,
                by,
                unix,
                said,
            } => self.part(part, *state, Said::of(by, *unix, said)),
            HostFact::TaskDone {
                task,
                by,
                unix,
                said,
            } => {
                let said = Said::of(by, *unix, said);
                self.tasks.insert(task.clone(), (TaskStanding::Done, said));
            }
            HostFact::TaskUndone {
                task,
                by,
                unix,
                said,
            } => self.undo(plan, task, &Said::of(by, *unix, said)),
            HostFact::Reminder {
                number,
                about,
                text,
                holds,
                by,
                unix,
            } => self.reminders.push(Reminder {
                number: *number,
                about: about.clone(),
                text: text.clone(),
                holds: holds.clone(),
                said: Said::of(by, *unix, ""),
                became: None,
            }),
            HostFact::ReminderClosed {
                number,
                became,
                said,
                by,
                unix,
            } => self.put_away(*number, *became, &Said::of(by, *unix, said)),
            HostFact::Opened { .. }
            | HostFact::Plan { .. }
            | HostFact::Variant { .. }
            | HostFact::Geometry { .. }
            | HostFact::Handover { .. }
            | HostFact::Clamp { .. }
            | HostFact::PlanChanged { .. }
            | HostFact::FromPaper { .. }
            | HostFact::AtAdapter { .. } => {}
        }
    }

    fn part(&mut self, part: &str, state: PartState, said: Said) {
        self.parts.insert(part.to_owned(), (state, said));
    }

    fn put_away(&mut self, number: u32, became: Became, said: &Said) {
        let open = self
            .reminders
            .iter_mut()
            .find(|reminder| reminder.number == number && reminder.became.is_none());
        let Some(reminder) = open else { return };
        reminder.became = Some((became, said.clone()));
        let about = reminder.about.clone();
        match became {
            Became::Ticked => {}
            Became::Part => {
                if !self.added_parts.iter().any(|part| part.id == said.words) {
                    self.added_parts.push(Added {
                        id: said.words.clone(),
                        title: said.words.clone(),
                        about,
                    });
                }
                let said = Said {
                    words: String::new(),
                    ..said.clone()
                };
                let part = self.added_parts.last().map(|part| part.id.clone());
                self.part(&part.unwrap_or_default(), PartState::ToOrder, said);
            }
            Became::Task => self.added_tasks.push(Added {
                id: added_id(number),
                title: said.words.clone(),
                about,
            }),
        }
    }

    /// A record of a joint: when a fastener of a finished joint is loosened, what belongs to the joint is undone.
    fn hear(&mut self, plan: &Plan, before: &[Fact], entry: &Entry) {
        let Record::Loosened(loosened) = &entry.record else {
            return;
        };
        let Some(joint) = plan.joints().get(usize::from(entry.joint)) else {
            return;
        };
        let touched = self.done_for(plan, joint.id());
        if touched.is_empty() || !stood_closed(plan, before, entry.joint) {
            return;
        }
        for task in touched {
            let words = format!(
                "{}, fastener {}, was loosened after it was finished",
                joint.title(),
                joint.label(loosened.fastener)
            );
            let said = Said {
                words,
                ..Said::default()
            };
            self.undo(plan, &task, &said);
        }
    }

    /// A record of a joint: when none of its fasteners holds any more, what was said to be fitted is at hand.
    fn take_out(&mut self, plan: &Plan, until: &[Fact], entry: &Entry) {
        if !matches!(entry.record, Record::Loosened(_) | Record::Apart(_)) {
            return;
        }
        let Some(joint) = plan.joints().get(usize::from(entry.joint)) else {
            return;
        };
        let is_fitted = |part: &&str| {
            let told = self.parts.get(*part);
            told.is_some_and(|(state, _)| *state == PartState::Fitted)
        };
        let fitted: Vec<&str> = joint.needs().filter(is_fitted).collect();
        if fitted.is_empty() || holds(until, joint) {
            return;
        }
        for part in fitted {
            let said = Said {
                words: format!("was fitted; {} came apart", joint.title()),
                ..Said::default()
            };
            self.part(part, PartState::Here, said);
        }
    }

    /// The tasks that are done and belong to this joint or task.
    fn done_for(&self, plan: &Plan, id: &str) -> Vec<String> {
        let planned = plan
            .tasks()
            .iter()
            .filter(|task| task.belongs_to().any(|own| own == id))
            .map(|task| task.id().to_owned());
        let added = self
            .added_tasks
            .iter()
            .filter(|task| task.about == id)
            .map(|task| task.id.clone());
        planned
            .chain(added)
            .filter(|task| self.task(task).0 == TaskStanding::Done)
            .collect()
    }

    /// What belongs to a task that is undone is undone with it.
    fn undo(&mut self, plan: &Plan, task: &str, said: &Said) {
        let mut open = vec![task.to_owned()];
        let mut seen = BTreeSet::new();
        while let Some(task) = open.pop() {
            if !seen.insert(task.clone()) {
                continue;
            }
            open.extend(self.done_for(plan, &task));
            self.tasks
                .insert(task, (TaskStanding::Undone, said.clone()));
        }
    }

    /// Where a task stands, and who said so.
    #[must_use]
    pub fn task(&self, id: &str) -> (TaskStanding, Said) {
        self.tasks.get(id).cloned().unwrap_or_default()
    }

    /// How it is with a part, and who said so. Before anything was said it is taken to be here, unless the plan has it on order.
    #[must_use]
    pub fn part_state(&self, plan: &Plan, part: &str) -> (PartState, Said) {
        self.parts.get(part).cloned().unwrap_or_else(|| {
            let silent = if plan.is_on_order(part) {
                PartState::Ordered
            } else {
                PartState::Here
            };
            (silent, Said::default())
        })
    }

    /// Whether a part is here.
    #[must_use]
    pub fn is_here(&self, plan: &Plan, part: &str) -> bool {
        self.part_state(plan, part).0.is_here()
    }

    /// Whether anybody said anything of the part.
    #[must_use]
    pub fn was_told(&self, part: &str) -> bool {
        self.parts.contains_key(part)
    }

    /// As if this had been said of a part.
    pub(super) fn suppose(&mut self, part: &str, state: PartState) {
        self.part(part, state, Said::default());
    }

    /// Every reminder, in the order they were written.
    #[must_use]
    pub fn reminders(&self) -> &[Reminder] {
        &self.reminders
    }

    /// Parts that were reminders.
    #[must_use]
    pub fn added_parts(&self) -> &[Added] {
        &self.added_parts
    }

    /// Tasks that were reminders.
    #[must_use]
    pub fn added_tasks(&self) -> &[Added] {
        &self.added_tasks
    }
}

/// Id of a task that was a reminder. A plan has no such id: it has a stroke in it.
#[must_use]
pub(super) fn added_id(number: u32) -> String {
    format!("reminder/{number}")
}

/// Whether a fastener of the joint is tight after these facts. Records that cannot be taken up take nothing out.
fn holds(facts: &[Fact], joint: &Joint) -> bool {
    let procedure = &plan_of(facts, joint).procedure;
    let session = Session::restore(procedure, joint.number(), entries_of(facts, joint.number()));
    session.map_or(true, |session| {
        let mut fasteners = (0..=u8::MAX).zip(procedure.fasteners());
        fasteners.any(|(fastener, _)| session.ledger().is_tight(fastener))
    })
}

/// Whether the joint stood finished after these facts. Records that cannot be taken up count as finished: better to look once more.
fn stood_closed(plan: &Plan, facts: &[Fact], joint: u8) -> bool {
    let Some(own) = plan.joints().get(usize::from(joint)) else {
        return true;
    };
    let procedure = &plan_of(facts, own).procedure;
    let session = Session::restore(procedure, joint, entries_of(facts, joint));
    session.map_or(true, |session| {
        matches!(session.standing(), Standing::Final | Standing::RetorqueDue)
    })
}
