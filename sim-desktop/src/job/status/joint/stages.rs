//! The stages of a joint: how far each is, as printed, and its window.

use evendraw_core::ledger::StepState;
use evendraw_core::procedure::{Procedure, Stage, StageKind};
use evendraw_core::unit::Angle;

use super::fasteners::step_mark;
use crate::job::status::sure::with_uncertainty;
use crate::job::status::{Shown, StageStatus, View};
use crate::mark::Mark;
use crate::plan::StagePlan;
use crate::words;

pub(super) fn stages(view: &View<'_>) -> Vec<StageStatus> {
    let procedure = &view.plan.procedure;
    (0_u8..)
        .zip(procedure.stages())
        .map(|(number, stage)| {
            let plan = view.plan.stage(number);
            let own = || view.steps().filter(move |(_, step)| step.stage() == number);
            let states: Vec<StepState> = own().map(|(index, _)| view.ledger.step(index)).collect();
            let done = states.iter().filter(|state| state.is_settled()).count();
            let what = plan.map_or("stage", |plan| plan.word).to_owned();
            StageStatus {
                number: usize::from(number) + 1,
                what: match plan.and_then(|plan| plan.name.as_ref()) {
                    Some(name) => format!("{what} ({name})"),
                    None => what,
                },
                sentence: plan.map(StagePlan::sentence).unwrap_or_default(),
                printed: plan.map(printed).unwrap_or_default(),
                window: with_uncertainty(
                    view,
                    number,
                    window(procedure, number, Shown::at(view.plan, number)),
                ),
                has_column: own().any(|(_, step)| step.fastener().is_some()),
                mock_up: stage.mock_up,
                mark: stage_mark(stage, &states, done),
                done,
                of: states.len(),
            }
        })
        .collect()
}

fn stage_mark(stage: &Stage, states: &[StepState], done: usize) -> Mark {
    let gravest = states
        .iter()
        .filter(|state| {
            matches!(
                state,
                StepState::Rejected | StepState::Doubtful | StepState::Disturbed
            )
        })
        .map(|state| step_mark(*state, stage))
        .min_by_key(|mark| mark.gravity());
    match gravest {
        Some(mark) => mark,
        None if done < states.len() && done > 0 => Mark::InProgress,
        None if done < states.len() || states.is_empty() => step_mark(StepState::Open, stage),
        None => {
            let marks = states.iter().map(|state| step_mark(*state, stage));
            // Where every one of them was skipped, so was the stage.
            marks
                .max_by_key(|mark| mark.gravity())
                .unwrap_or(Mark::Open)
        }
    }
}

/// The stage's own figures as typed.
fn printed(plan: &StagePlan) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut put = |text: Option<String>| parts.extend(text);
    put(plan.ask.clone());
    put(plan.target.clone());
    put(plan.within.clone());
    put(plan
        .printed
        .as_ref()
        .map(|printed| format!("printed beside it {printed}")));
    put(plan
        .end_torque
        .as_ref()
        .map(|torque| format!("end torque {torque}")));
    put(plan
        .prevailing
        .as_ref()
        .map(|torque| match torque.as_str() {
            "measure" => "plus the running torque measured".to_owned(),
            torque => format!("plus {torque} running torque"),
        }));
    put(plan.time.clone());
    put(plan.due.clone());
    put(plan.one_sweep.then(|| "in one sweep".to_owned()));
    put(plan
        .evidence
        .map(|evidence| format!("evidence: {evidence}")));
    put(plan.note.clone());
    parts.join(", ")
}

/// The limits of the stage itself, in the plan's unit and in N·m; fasteners with their own are told apart in their cells.
pub(in super::super) fn window(procedure: &Procedure, number: u8, shown: Shown) -> String {
    let Some(stage) = procedure.stages().get(usize::from(number)) else {
        return String::new();
    };
    match &stage.kind {
        StageKind::Tighten { window, .. }
        | StageKind::Repeat { window, .. }
        | StageKind::Align { window }
        | StageKind::Later { window, .. } => shown.window(window),
        StageKind::Turn { window, torque, .. } => {
            let angle = if window.max >= Angle::MAX {
                format!("at least {}", words::angle(window.min))
            } else {
                format!(
                    "{} to {}",
                    words::angle(window.min),
                    words::angle(window.max)
                )
            };
            match torque {
                Some(torque) => format!("{angle}, {}", shown.window(torque)),
                None => angle,
            }
        }
        StageKind::Hold {
            torque,
            time,
            still,
        } => format!(
            "{} for {}, at most {} of movement",
            shown.words(*torque),
            words::seconds(time.micros() / 1_000_000),
            words::angle(*still)
        ),
        StageKind::BackOff { angle: Some(angle) } => words::angle(*angle),
        StageKind::Seat { turns } => words::angle(*turns),
        StageKind::Measure { min, max } => words::length_window(*min, *max),
        StageKind::BackOff { angle: None }
        | StageKind::Check
        | StageKind::Wait { .. }
        | StageKind::Fit => String::new(),
    }
}
