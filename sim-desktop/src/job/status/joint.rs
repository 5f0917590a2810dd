//! One joint: its stages, fasteners, checks and attempts, each with its state.
//!
//! Knows nothing of the other joints but for what holds this one.

mod fasteners;
mod rows;
mod stages;

use evendraw_core::procedure::{Hand, Procedure, Reuse};
use evendraw_core::record::{Record, Role};
use evendraw_core::session::Next;

use self::fasteners::fasteners;
use self::rows::{attempts, checks, clamps, notes, struck};
use self::stages::stages;
use super::clock::Clock;
use super::telling::Names;
use super::{JointStatus, Kept, View, evidence};
use crate::mark::Mark;
use crate::plan::{JointPlan, checks_told};

pub(super) use self::stages::window;

pub(super) fn status(
    view: &View<'_>,
    names: &Names,
    clock: &Clock,
    kept: &Kept<'_>,
) -> JointStatus {
    let step = view.next.and_then(|next| step_of(view, next));
    let stage = step
        .and_then(|step| view.plan.procedure.step_at(step))
        .map_or(view.plan.stages.len().saturating_sub(1), |step| {
            usize::from(step.stage())
        });
    let (confirmed, is_as_assumed) = confirmed(view, clock);
    let settled = |step: &(u16, _)| view.ledger.step(step.0).is_settled();
    let text = |text: Option<&str>| text.unwrap_or_default().to_owned();
    JointStatus {
        number: view.joint.number(),
        id: view.joint.id().to_owned(),
        title: view.joint.title().to_owned(),
        mark: view.mark(),
        why: why(view, step),
        note: text(view.joint.note()),
        holds: view.state.holds.clone(),
        closed_over: view.state.closed_over.clone(),
        evidence: evidence::tally(view),
        done: view.steps().filter(settled).count(),
        steps: view.plan.procedure.steps().len(),
        next: view.next,
        step,
        stage,
        path: path(&view.plan.procedure, stage),
        is_left_hand: view.plan.procedure.terms().hand == Hand::Left,
        front: text(view.joint.front()),
        differs: view.differs.clone(),
        what: what(view.plan),
        facts: facts(view),
        condition: view.plan.condition.clone().unwrap_or_default(),
        confirmed,
        is_as_assumed,
        witness: witness(view),
        to_witness: to_witness(view),
        at_adapter: kept.adapter(view.joint.number()).map(str::to_owned),
        checks: checks(view, names, clock, kept),
        fasteners: fasteners(view, stage, kept),
        stages: stages(view),
        attempts: attempts(view, names, clock),
        from_paper: kept.from_paper.lines(view.joint.number()),
        struck: struck(view, names, clock, kept),
        notes: notes(view, names, clock, kept),
        clamps: clamps(view, kept),
    }
}

/// Why it stands so: what is next where it is begun, else what stands in its way.
fn why(view: &View<'_>, step: Option<u16>) -> String {
    if let Some(fault) = &view.fault {
        return format!("its records cannot be taken up: {fault}");
    }
    if let Some(own) = view.differs.iter().find(|own| own.mark == Mark::Doubtful) {
        return own.line();
    }
    match step_words(view, step) {
        words if view.mark() == Mark::InProgress && !words.is_empty() => format!("next: {words}"),
        _ => view.state.why(),
    }
}

/// `fastener 7, stage 2 of 3`, as far as each applies.
pub(super) fn step_words(view: &View<'_>, step: Option<u16>) -> String {
    let at = step.and_then(|step| view.plan.procedure.step_at(step));
    let Some(at) = at else { return String::new() };
    let stages = view.plan.stages.len();
    let stage = format!("stage {} of {stages}", u32::from(at.stage()) + 1);
    match at.fastener() {
        Some(fastener) => format!("fastener {}, {stage}", view.joint.label(fastener)),
        None => stage,
    }
}

/// The step that is next, whatever is to be done at it.
pub(super) fn step_of(view: &View<'_>, next: Next) -> Option<u16> {
    let first = |wanted: &dyn Fn(Option<u8>) -> bool| {
        let mut steps = view.steps();
        let open = steps.find(|(index, step)| {
            wanted(step.fastener()) && !view.ledger.step(*index).is_settled()
        });
        open.map(|(index, _)| index)
    };
    if let Some(step) = next.step() {
        return Some(step);
    }
    match next {
        Next::Loosen { fastener } | Next::Replace { fastener } | Next::Settle { fastener } => {
            first(&|own| own == Some(fastener)).or_else(|| {
                let mut steps = view.steps();
                let own = steps.find(|(_, step)| step.fastener() == Some(fastener));
                own.map(|(index, _)| index)
            })
        }
        _ => first(&|_| true),
    }
}

/// The fasteners of a stage in the order of work; for a stage of the whole joint, every fastener.
fn path(procedure: &Procedure, stage: usize) -> Vec<usize> {
    let at_stage = procedure
        .steps()
        .iter()
        .filter(|step| usize::from(step.stage()) == stage);
    let path: Vec<usize> = at_stage
        .filter_map(|step| step.fastener().map(usize::from))
        .collect();
    if path.is_empty() {
        (0..procedure.fasteners().len()).collect()
    } else {
        path
    }
}

pub(super) fn what(plan: &JointPlan) -> String {
    let grade = plan.grade.as_ref().map(|grade| format!("grade {grade}"));
    let parts = [
        plan.thread.clone(),
        plan.class.clone().or(grade),
        plan.condition.clone(),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn facts(view: &View<'_>) -> Vec<(String, String)> {
    let plan = view.plan;
    let mut facts: Vec<(String, String)> = Vec::new();
    let mut put = |name: &str, text: Option<String>| {
        if let Some(text) = text.filter(|text| !text.is_empty()) {
            facts.push((name.to_owned(), text));
        }
    };
    put("Document", view.joint.document().map(str::to_owned));
    put(
        "Values entered by",
        view.joint.entered_by().map(str::to_owned),
    );
    put(
        "Values checked",
        Some(checks_told(view.joint.lines().iter())),
    );
    put("Thread", plan.thread.clone());
    put(
        "Class",
        plan.class
            .clone()
            .or(plan.grade.as_ref().map(|grade| format!("grade {grade}"))),
    );
    put("Grip", plan.grip.clone());
    put(
        "Order",
        Some(plan.order.word().to_owned())
            .filter(|word| word != "own")
            .or(Some("as the plan lists".to_owned())),
    );
    put(
        "Used again",
        match plan.procedure.terms().reuse {
            Reuse::Free => None,
            Reuse::ReplaceIfLoosened => {
                Some("new once it has been tightened and loosened".to_owned())
            }
            Reuse::Cycles(cycles) => Some(format!("new after {cycles} tightenings")),
        },
    );
    put(
        "Direction",
        (plan.procedure.terms().hand == Hand::Left)
            .then(|| "LEFT-HAND THREAD: tightens anticlockwise".to_owned()),
    );
    put(
        "Offset adapter",
        plan.access.as_ref().map(|access| {
            format!(
                "lever {}, offset {}, angle {}",
                access.lever.1, access.offset.1, access.angle.1
            )
        }),
    );
    let shares: Vec<String> = view
        .joint
        .shares()
        .iter()
        .map(|share| {
            format!(
                "{} is {} of {}",
                view.joint.label(share.fastener),
                share.label,
                share.joint
            )
        })
        .collect();
    put("Shared", Some(shares.join("; ")));
    let needs: Vec<&str> = view.joint.needs().collect();
    put("Needs", Some(needs.join(", ")));
    let closes: Vec<&str> = view.joint.closes().collect();
    put("Covers", Some(closes.join(", ")));
    facts
}

/// What was found on the threads, and whether it is what the plan assumes.
fn confirmed(view: &View<'_>, clock: &Clock) -> (String, bool) {
    let found = view
        .entries
        .iter()
        .rev()
        .find_map(|entry| match &entry.record {
            Record::Condition(condition) => Some((condition, entry)),
            _ => None,
        });
    found.map_or((String::new(), false), |(condition, entry)| {
        let word = if condition.matches {
            "as the plan assumes"
        } else {
            "NOT as the plan assumes"
        };
        let words = format!("{}, {word} ({})", condition.found, clock.when(entry));
        (words, condition.matches)
    })
}

/// The second person who looked last.
fn witness(view: &View<'_>) -> Option<String> {
    view.entries
        .iter()
        .rev()
        .find_map(|entry| match &entry.record {
            Record::Person(person) if person.role == Role::Witness => Some(person.name.to_string()),
            _ => None,
        })
}

/// The fasteners that a second person must still look at.
pub(super) fn to_witness(view: &View<'_>) -> Vec<String> {
    if witness(view).is_some() {
        return Vec::new();
    }
    let labels = view.joint.second_look().iter();
    labels
        .map(|own| view.joint.label(*own).to_owned())
        .collect()
}
