//! The table of everything that is open, for somebody to fill in.
//!
//! Knows nothing of what was filled in.

use evendraw_core::procedure::StageKind;

use super::{Column, Row};
use crate::job::Job;
use crate::job::status::Status;

/// A row for every step that is open, in the order of work; and for what is asked of each joint beside its steps.
#[must_use]
pub fn blank(job: &Job) -> Vec<Row> {
    let status = job.status();
    let mut rows: Vec<Row> = Vec::new();
    for joint in job.plan().joints() {
        let number = joint.number();
        let Some(plan) = job.joint_plan(number) else {
            continue;
        };
        let row = |stage: &str, fastener: &str| {
            Row::new(0)
                .with(Column::Joint, joint.id())
                .with(Column::Fastener, fastener)
                .with(Column::Stage, stage)
        };
        let own = status.joint(number);
        let is_asked = own.is_some_and(|own| own.confirmed.is_empty());
        if let Some(condition) = plan.condition.as_ref().filter(|_| is_asked) {
            let what = format!("threads and faces {condition}: yes or no");
            rows.push(row("threads", "").with(Column::What, what));
        }
        let is_settled = |step: u16| {
            let session = job.session(number);
            session.is_some_and(|session| session.ledger().step(step).is_settled())
        };
        for (index, step) in plan.procedure.numbered_steps() {
            let kind = plan.procedure.stage_of(index).map(|stage| stage.kind);
            // Whether a later retorque is due nobody knows from the plan.
            if is_settled(index) || matches!(kind, Some(StageKind::Later { .. })) {
                continue;
            }
            let fastener = step.fastener().map_or("", |own| joint.label(own));
            let stage = usize::from(step.stage());
            let what = own.and_then(|own| own.stages.get(stage));
            let said = what.map_or_else(String::new, |own| own.what.clone());
            rows.push(
                row(&(stage + 1).to_string(), fastener)
                    .with(Column::What, said)
                    .with(Column::Wanted, wanted(&status, number, stage, fastener)),
            );
        }
    }
    for (line, row) in (2..).zip(&mut rows) {
        row.line = line;
    }
    rows
}

/// What is to be reached: the fastener's own target, or the stage's, with the window.
fn wanted(status: &Status, joint: u8, stage: usize, fastener: &str) -> String {
    let Some(own) = status.joint(joint) else {
        return String::new();
    };
    let mut fasteners = own.fasteners.iter();
    let target = fasteners
        .find(|other| other.label == fastener)
        .and_then(|other| other.cells.get(stage))
        .map_or("", |cell| cell.target.as_str());
    match own.stages.get(stage) {
        Some(_) if !target.is_empty() => target.to_owned(),
        Some(stage) if stage.window.is_empty() => stage.printed.clone(),
        Some(stage) => format!("{}; {}", stage.printed, stage.window),
        None => String::new(),
    }
}
