//! Work without fasteners: where it stands in the order of work, what it covers, what it needs, how its layers lie.
//!
//! Names of joints, tasks and parts are checked in `check`. Knows nothing of who did it, or when.

use std::collections::BTreeSet;
use std::ops::Range;

use super::diagnostic::Diagnostics;
use super::joint::{Name, is_an_id, names};
use super::tree::{Choice, Reader, Typed};
use crate::limits::{LAYERS_MAX, TASKS_MAX, counted};

/// When a task is done, beside what it comes after.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TaskTime {
    /// As soon as what comes before it is done.
    #[default]
    InOrder,
    /// Last of all, before the unit is started: every joint and every other task comes first.
    BeforeStart,
}

impl TaskTime {
    /// What a plan writes for it; empty for the order of work alone.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::InOrder => "",
            Self::BeforeStart => "before start",
        }
    }
}

/// Work without fasteners.
#[derive(Clone, Debug)]
pub struct Task {
    pub(super) id: String,
    pub(super) title: String,
    pub(super) note: Option<String>,
    pub(super) after: Vec<Name>,
    pub(super) closes: Vec<Name>,
    pub(super) needs: Vec<Name>,
    pub(super) belongs_to: Vec<Name>,
    pub(super) stack: Vec<String>,
    pub(super) ask: Option<String>,
    pub(super) at: TaskTime,
    pub(super) place: Range<usize>,
}

impl Task {
    /// The word that files, commands and the journal name it by.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// What is to be done; the id where the plan gives no title.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// A remark of the plan.
    #[must_use]
    pub fn note(&self) -> Option<&str> {
        self.note.as_deref()
    }

    /// Joints and tasks that come first.
    pub fn after(&self) -> impl Iterator<Item = &str> {
        self.after.iter().map(|name| name.text.as_str())
    }

    /// Joints and tasks that cannot be reached once this is done.
    pub fn closes(&self) -> impl Iterator<Item = &str> {
        self.closes.iter().map(|name| name.text.as_str())
    }

    /// Parts that must be at hand.
    pub fn needs(&self) -> impl Iterator<Item = &str> {
        self.needs.iter().map(|name| name.text.as_str())
    }

    /// The joints and tasks that undo it when they come apart: those the plan names, or else what it comes after and what it covers.
    pub fn belongs_to(&self) -> impl Iterator<Item = &str> {
        let (one, two) = if self.belongs_to.is_empty() {
            (&self.after, &self.closes[..])
        } else {
            (&self.belongs_to, &[][..])
        };
        one.iter().chain(two).map(|name| name.text.as_str())
    }

    /// What lies on what, from the bottom up; empty where nothing is stacked.
    #[must_use]
    pub fn stack(&self) -> &[String] {
        &self.stack
    }

    /// What is asked when it is said to be done.
    #[must_use]
    pub fn ask(&self) -> Option<&str> {
        self.ask.as_deref()
    }

    /// When it is done.
    #[must_use]
    pub const fn at(&self) -> TaskTime {
        self.at
    }
}

/// Every task has an id of its own, among tasks and joints alike.
pub(super) fn own_ids(tasks: &[Task], joints: &BTreeSet<&str>, to: &Diagnostics) {
    let mut seen = BTreeSet::new();
    for task in tasks {
        if joints.contains(task.id.as_str()) {
            to.error(
                &task.place,
                format!("a joint and a task have the id `{}`", task.id),
                "the task",
                "every joint and every task its own id",
            );
        } else if !seen.insert(task.id.as_str()) {
            to.error(
                &task.place,
                format!("two tasks have the id `{}`", task.id),
                "the second",
                "every task its own id",
            );
        }
    }
}

/// Reads the tasks of a plan.
pub(super) fn tasks(reader: &mut Reader<'_>) -> Vec<Task> {
    let silent = Choice::default();
    let nodes = reader.tables("task", "task");
    if let Some(one_too_many) = nodes.get(TASKS_MAX) {
        one_too_many.place.error(
            format!(
                "{} tasks: more than the {TASKS_MAX} allowed",
                counted(nodes.len())
            ),
            "one too many",
            "split the build into two plans",
        );
    }
    (1_usize..)
        .zip(nodes)
        .take(TASKS_MAX)
        .filter_map(|(number, node)| {
            let mut own = Reader::of_node(format!("task {number}"), node, &silent)?;
            task(&mut own, node.place.bytes())
        })
        .collect()
}

fn task(own: &mut Reader<'_>, place: Range<usize>) -> Option<Task> {
    let id = own.needed_text("id");
    if let Some(id) = &id {
        own.of = format!("task `{}`", id.text);
        is_an_id(id);
    }
    let title = own.text("title");
    let note = own.text("note");
    let after = names(own, "after");
    let closes = names(own, "closes");
    let needs = names(own, "needs");
    let belongs_to = names(own, "belongs_to");
    let stack = stack(own);
    let ask = own.text("ask");
    let at = own.text("at").and_then(|typed| time(&typed));
    own.finish(|_| None);
    let id = id?.text;
    Some(Task {
        title: title.map_or_else(|| id.clone(), |typed| typed.text),
        id,
        note: note.map(|typed| typed.text),
        after,
        closes,
        needs,
        belongs_to,
        stack,
        ask: ask.map(|typed| typed.text),
        at: at.unwrap_or_default(),
        place,
    })
}

fn stack(own: &mut Reader<'_>) -> Vec<String> {
    let layers = own.texts("stack");
    if layers.len() > LAYERS_MAX {
        own.key_place("stack").error(
            format!("{} layers in `stack` of {}", counted(layers.len()), own.of),
            "here",
            format!("at most {LAYERS_MAX}, from the bottom up"),
        );
    }
    layers
        .into_iter()
        .take(LAYERS_MAX)
        .map(|typed| typed.text)
        .collect()
}

fn time(typed: &Typed<'_>) -> Option<TaskTime> {
    if typed.text == TaskTime::BeforeStart.word() {
        return Some(TaskTime::BeforeStart);
    }
    typed.place.error(
        format!("unknown time `{}` of a task", typed.text),
        "here",
        "\"before start\": when every joint and every other task is done. Left out, the task comes as soon as what it is after is done",
    );
    None
}
