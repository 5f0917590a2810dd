//! Tasks, parts and reminders as every face shows them, and what of them is open.
//!
//! Knows nothing of attempts.

use std::collections::BTreeSet;

use evendraw_core::ledger::{Standing, StepState};
use evendraw_core::record::Record;

use super::{Item, Kept, PartStatus, ReminderStatus, Status, TaskStatus, View, plan_of};
use crate::job::beside::{Added, Beside, Reminder, Said};
use crate::mark::Mark;
use crate::plan::progress::{Progress, TaskStanding};
use crate::plan::{Joint, Plan, Task, TaskTime};
use crate::store::{Became, Fact, HostFact, PartState, entries_of};
use crate::words;

/// Puts tasks, parts and reminders into the projection.
pub(super) fn put(status: &mut Status, kept: &Kept<'_>, views: &[View<'_>], progress: &Progress) {
    let beside = &kept.beside;
    status.tasks = tasks(kept.plan, beside, progress);
    status.parts = parts(kept, views, &status.tasks);
    status.reminders = reminders(kept.plan, beside);
    for task in status.tasks.iter().filter(|task| !task.is_done()) {
        let what = match task.why.as_str() {
            "" => format!("task not done: {}", task.title),
            why => format!("task not done: {}; {why}", task.title),
        };
        status
            .open
            .push(Item::new(task.mark, task.id.clone(), what));
    }
    for task in status.tasks.iter().filter(|task| task.is_done()) {
        for covered in &task.closed_over {
            let what = format!("covers {covered}, which is open");
            status
                .exceptions
                .push(Item::new(Mark::Doubtful, task.id.clone(), what));
        }
    }
    for part in status.parts.iter().filter(|part| !part.is_here) {
        // Where a joint or a task waits for it, that says so.
        let is_told = kept
            .plan
            .joints()
            .iter()
            .any(|joint| joint.needs().any(|need| need == part.name))
            || status
                .tasks
                .iter()
                .any(|task| !task.is_done() && task.needs.contains(&part.name));
        if !is_told {
            status
                .open
                .push(Item::new(part.mark(), part.place.clone(), part.told()));
        }
    }
    let late = late(kept, views, &status.tasks);
    status.open.extend(late.iter().cloned());
    status.exceptions.extend(late);
    let reminders: Vec<Item> = status
        .open_reminders()
        .map(|reminder| Item::new(Mark::Open, reminder.place.clone(), reminder.line()))
        .collect();
    status.open.extend(reminders);
}

fn tasks(plan: &Plan, beside: &Beside, progress: &Progress) -> Vec<TaskStatus> {
    let planned = plan.tasks().iter().zip(progress.tasks());
    let planned = planned.map(|(task, state)| {
        let (standing, said) = beside.task(task.id());
        let undone = match standing {
            TaskStanding::Undone => said.words.clone(),
            TaskStanding::Open | TaskStanding::Done => String::new(),
        };
        TaskStatus {
            id: task.id().to_owned(),
            title: task.title().to_owned(),
            mark: state.state,
            word: state.word(),
            why: joined(&[&undone, &state.why()]),
            may_be_done: state.may_be_done(),
            closed_over: state.closed_over.clone(),
            needs: task.needs().map(str::to_owned).collect(),
            stack: task.stack().to_vec(),
            ask: task.ask().unwrap_or_default().to_owned(),
            place: places(plan, task),
            note: task.note().unwrap_or_default().to_owned(),
            done: done(standing, &said),
        }
    });
    let added = beside.added_tasks().iter().map(|task| {
        let (standing, said) = beside.task(&task.id);
        let (mark, word) = match standing {
            TaskStanding::Open => (Mark::Ready, Mark::Ready.word()),
            TaskStanding::Done => (Mark::Final, "done"),
            TaskStanding::Undone => (Mark::Disturbed, "undone"),
        };
        TaskStatus {
            id: task.id.clone(),
            title: task.title.clone(),
            mark,
            word,
            why: "was a reminder".to_owned(),
            may_be_done: standing != TaskStanding::Done,
            place: place(plan, &task.about),
            done: done(standing, &said),
            ..TaskStatus::default()
        }
    });
    planned.chain(added).collect()
}

fn done(standing: TaskStanding, said: &Said) -> String {
    match standing {
        TaskStanding::Open => String::new(),
        TaskStanding::Done => match said.words.as_str() {
            "" => by(said),
            answer => format!("{answer}; {}", by(said)),
        },
        TaskStanding::Undone => String::new(),
    }
}

/// What it stands between, in words: "after Cylinder head; covers Drain".
fn places(plan: &Plan, task: &Task) -> String {
    let names = |ids: Vec<&str>| -> String {
        let names: Vec<String> = ids.into_iter().map(|id| place(plan, id)).collect();
        names.join(", ")
    };
    let mut words: Vec<String> = Vec::new();
    for (word, ids) in [
        ("after", task.after().collect::<Vec<_>>()),
        ("covers", task.closes().collect()),
        ("needs", task.needs().collect()),
    ] {
        if !ids.is_empty() {
            words.push(format!("{word} {}", names(ids)));
        }
    }
    if task.at() == TaskTime::BeforeStart {
        words.push(TaskTime::BeforeStart.word().to_owned());
    }
    words.join("; ")
}

/// Title of a joint or task; the build where it belongs to none.
fn place(plan: &Plan, id: &str) -> String {
    match (plan.joint(id), plan.task(id)) {
        _ if id.is_empty() => "the build".to_owned(),
        (Some(joint), _) => joint.title().to_owned(),
        (None, Some(task)) => task.title().to_owned(),
        (None, None) => id.to_owned(),
    }
}

/// Whether a part came into the plan for a joint that was worked already, and since then neither did the joint come apart nor did anybody
/// say that it is in it.
fn is_late_at(kept: &Kept<'_>, joint: &Joint, part: &str) -> bool {
    let around = kept.revisions.around_need(kept.facts, joint.id(), part);
    let Some((before, after)) = around else {
        return false;
    };
    let of_joint = |facts| entries_of(facts, joint.number()).map(|entry| &entry.record);
    let was_worked = of_joint(before).any(|record| {
        matches!(
            record,
            Record::Attempt(_) | Record::Read(_) | Record::BySetting(_) | Record::Done(_)
        )
    });
    let fasteners = plan_of(kept.facts, joint).procedure.fasteners().len();
    let mut loosened = BTreeSet::new();
    let came_apart = of_joint(after).any(|record| match record {
        Record::Apart(_) => true,
        Record::Loosened(own) => {
            loosened.insert(own.fastener);
            loosened.len() >= fasteners
        }
        _ => false,
    });
    was_worked && !came_apart && !is_fitted_in(after, part)
}

/// The same of a task that is done: since then it was not done again.
fn is_late_for(kept: &Kept<'_>, task: &TaskStatus, part: &str) -> bool {
    let around = kept.revisions.around_need(kept.facts, &task.id, part);
    around.is_some_and(|(_, after)| {
        let is_done = |fact: &Fact| matches!(fact, Fact::Host(HostFact::TaskDone { task: own, .. }) if *own == task.id);
        task.is_done() && !after.iter().any(is_done) && !is_fitted_in(after, part)
    })
}

fn is_fitted_in(facts: &[Fact], part: &str) -> bool {
    let is_fitted = |fact: &Fact| matches!(fact, Fact::Host(HostFact::PartIs { part: own, state: PartState::Fitted, .. }) if own == part);
    facts.iter().any(is_fitted)
}

/// Parts that came into the plan after what they belong to was worked: nobody knows whether they are in it.
fn late(kept: &Kept<'_>, views: &[View<'_>], tasks: &[TaskStatus]) -> Vec<Item> {
    let said = |place: &str, part: &str| {
        let words = format!(
            "{part} came into the plan after this was worked: take it apart and put it in, or say that it is fitted"
        );
        Item::new(Mark::Doubtful, place.to_owned(), words)
    };
    let joints = views.iter().flat_map(|view| {
        let joint = view.joint;
        let needs = joint.needs().filter(|part| is_late_at(kept, joint, part));
        needs.map(|part| said(joint.id(), part))
    });
    let tasks = tasks.iter().flat_map(|task| {
        let needs = task
            .needs
            .iter()
            .filter(|part| is_late_for(kept, task, part));
        needs.map(|part| said(&task.id, part))
    });
    joints.chain(tasks).collect()
}

fn parts(kept: &Kept<'_>, views: &[View<'_>], tasks: &[TaskStatus]) -> Vec<PartStatus> {
    let (plan, beside) = (kept.plan, &kept.beside);
    let planned = plan.part_names().into_iter().map(|name| {
        let written = plan.part(name);
        let joints: Vec<&Joint> = plan
            .joints()
            .iter()
            .filter(|joint| joint.needs().any(|need| need == name))
            .collect();
        let users = || {
            tasks
                .iter()
                .filter(|task| task.needs.iter().any(|need| need == name))
        };
        let mut titles: Vec<&str> = joints.iter().map(|joint| joint.title()).collect();
        titles.extend(users().map(|task| task.title.as_str()));
        let held = |joint: &&Joint| match views.get(usize::from(joint.number())) {
            Some(view) if !is_late_at(kept, joint, name) => Held::by(view),
            _ => Held::NotYet,
        };
        let (mut state, said) = beside.part_state(plan, name);
        let is_here = state.is_here();
        let was_put_in = joints.iter().any(|joint| held(joint) == Held::Apart);
        if state == PartState::Here && !beside.was_told(name) && !was_put_in {
            // Nobody said that it is missing; nobody said that it is here.
            state = PartState::Needed;
        }
        // What was at hand is in its place once everything that it is for holds it.
        if is_here
            && !titles.is_empty()
            && joints.iter().all(|joint| held(joint) == Held::Fast)
            && users().all(|task| task.is_done() && !is_late_for(kept, task, name))
        {
            state = PartState::Fitted;
        }
        PartStatus {
            name: name.to_owned(),
            number: written
                .and_then(|part| part.number.clone())
                .unwrap_or_default(),
            quantity: written.map_or_else(|| "1".to_owned(), |part| part.quantity.clone()),
            for_joints: titles.join(", "),
            is_here,
            state,
            said: remark(&said),
            note: written
                .and_then(|part| part.note.clone())
                .unwrap_or_default(),
            place: joints
                .first()
                .map(|joint| joint.id().to_owned())
                .or_else(|| users().next().map(|task| task.id.clone()))
                .unwrap_or_else(|| "build".to_owned()),
        }
    });
    let added = beside.added_parts().iter().map(|part: &Added| {
        let (state, said) = beside.part_state(plan, &part.id);
        PartStatus {
            name: part.title.clone(),
            quantity: "1".to_owned(),
            for_joints: place(plan, &part.about),
            is_here: state.is_here(),
            state,
            said: remark(&said),
            place: id_or_build(&part.about),
            ..PartStatus::default()
        }
    });
    planned.chain(added).collect()
}

/// Whether what a joint needs is in its place.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Held {
    /// A fastener of it was not worked yet.
    NotYet,
    /// Every fastener was worked and one of them holds at least: a doubt about how tight they are is none about what lies under them.
    Fast,
    /// It was, and came apart: no fastener holds any more.
    Apart,
}

impl Held {
    fn by(view: &View<'_>) -> Self {
        if view.mark().is_closed() {
            return Self::Fast;
        }
        let procedure = &view.plan.procedure;
        let ledger = &view.ledger;
        let fasteners = || (0..=u8::MAX).zip(procedure.fasteners()).map(|(own, _)| own);
        let was_worked = |fastener: u8| {
            procedure.numbered_steps().any(|(step, own)| {
                own.fastener() == Some(fastener) && ledger.step(step) != StepState::Open
            })
        };
        if view.standing == Standing::MockUp || !fasteners().all(was_worked) {
            Self::NotYet
        } else if fasteners().any(|fastener| ledger.is_tight(fastener)) {
            Self::Fast
        } else {
            Self::Apart
        }
    }
}

fn reminders(plan: &Plan, beside: &Beside) -> Vec<ReminderStatus> {
    let told = |reminder: &Reminder| ReminderStatus {
        number: reminder.number,
        text: reminder.text.clone(),
        about: place(plan, &reminder.about),
        place: id_or_build(&reminder.about),
        holds: reminder.holds.clone(),
        by: by(&reminder.said),
        became: reminder
            .became
            .as_ref()
            .map_or_else(String::new, |(became, said)| {
                let words = match became {
                    Became::Ticked => "ticked".to_owned(),
                    Became::Part => format!("became the part {}", said.words),
                    Became::Task => format!("became the task {}", said.words),
                };
                format!("{words}, {}", by(said))
            }),
    };
    beside.reminders().iter().map(told).collect()
}

fn id_or_build(id: &str) -> String {
    if id.is_empty() { "build" } else { id }.to_owned()
}

/// `R. Falk, 2026-05-04 18:20`; what is not known is said to be unknown.
fn by(said: &Said) -> String {
    let name = if said.by.is_empty() {
        "nobody is named"
    } else {
        &said.by
    };
    format!("{name}, {}", words::wall_time(said.unix))
}

/// What was said of a part and by whom; empty where nothing was.
fn remark(said: &Said) -> String {
    match (said.words.is_empty(), said.by.is_empty()) {
        (true, true) => String::new(),
        (true, false) => by(said),
        (false, _) => format!("{} ({})", said.words, by(said)),
    }
}

fn joined(words: &[&str]) -> String {
    let words: Vec<&str> = words
        .iter()
        .copied()
        .filter(|word| !word.is_empty())
        .collect();
    words.join("; ")
}
