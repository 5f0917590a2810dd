//! A plan read back in words while it is written: what was entered, as the sheet will say it.
//!
//! The sentence is the plan's own, the limits are those of the sheet. Knows nothing of records.

use std::ops::Range;

use super::joint::window;
use super::unit::Shown;
use crate::plan::{Joint, JointPlan, Order, StagePlan, with_newton_meters};

/// What was entered of each stage of the joint as it is without an answer: its number and its lines.
#[must_use]
pub fn stages_read_back(joint: &Joint) -> Vec<(u8, Vec<String>)> {
    let plan = joint.first_plan();
    let stages = plan.stages.iter().enumerate();
    let read = stages.map(|(number, stage)| (stage.number, said(joint, plan, number, stage)));
    read.collect()
}

/// What was entered, in lines: the stage whose text begins at `place`, or the joint when it is none of its stages.
#[must_use]
pub fn read_back(joint: &Joint, place: &Range<usize>) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut is_stage = false;
    for plan in joint.plans() {
        let stages = plan.stages.iter().enumerate();
        for (number, stage) in stages.filter(|(_, stage)| stage.place.start == place.start) {
            is_stage = true;
            let said = said(joint, plan, number, stage);
            if !said.iter().all(|line| lines.contains(line)) {
                let answers: Vec<&str> = plan.answers.iter().map(|(_, answer)| answer).collect();
                if joint.plans().len() > 1 {
                    lines.push(format!("Answer {}:", answers.join(", ")));
                }
                lines.extend(said);
            }
        }
    }
    if !is_stage {
        lines.push(whole(joint));
    }
    lines
}

/// One stage: what is done, within which limits, in which order.
fn said(joint: &Joint, plan: &JointPlan, number: usize, stage: &StagePlan) -> Vec<String> {
    let mut lines = vec![capital(&stage.echo())];
    let number = u8::try_from(number).unwrap_or(u8::MAX);
    let limits = window(&plan.procedure, number, Shown::at(plan, number));
    if !limits.is_empty() {
        lines.push(format!("That is {limits}."));
    }
    for (fastener, target) in &stage.each {
        lines.push(format!(
            "Fastener {}: {} instead.",
            joint.label(*fastener),
            with_newton_meters(target)
        ));
    }
    match (stage.places.is_empty(), &stage.order) {
        (true, _) => lines.push("Once, for the whole joint.".to_owned()),
        (false, Some(Order::Any)) => lines.push(format!(
            "Each of {}, in any order.",
            labels(joint, &stage.places, ", ")
        )),
        (false, _) => {
            let order = labels(joint, &stage.places, " ");
            lines.push(format!("Each, in order {order}."));
        }
    }
    if !stage.together.is_empty() {
        let pairs: Vec<String> = stage
            .together
            .iter()
            .map(|(a, b)| format!("{} with {}", joint.label(*a), joint.label(*b)))
            .collect();
        lines.push(format!("At the same time: {}.", pairs.join(", ")));
    }
    if let Some(tail) = tail(stage) {
        lines.push(tail);
    }
    lines
}

fn tail(stage: &StagePlan) -> Option<String> {
    let mut parts = Vec::new();
    if stage.mock_up {
        parts.push("A trial: it comes apart again.".to_owned());
    }
    if stage.one_at_a_time {
        parts.push("One fastener is finished before the next.".to_owned());
    }
    if let Some(policy) = &stage.on_over {
        parts.push(format!("Too high or too far: {policy}."));
    }
    if let Some(policy) = &stage.on_under {
        parts.push(format!("Too small: {policy}."));
    }
    if !stage.tools.is_empty() {
        parts.push(format!("With {}.", stage.tools.join(" or ")));
    }
    (!parts.is_empty()).then(|| parts.join(" "))
}

fn labels(joint: &Joint, places: &[u8], between: &str) -> String {
    let labels: Vec<&str> = places.iter().map(|place| joint.label(*place)).collect();
    labels.join(between)
}

/// The joint in one line.
fn whole(joint: &Joint) -> String {
    let plan = joint.first_plan();
    let count = joint.positions().len();
    let mut line = match count {
        1 => "One fastener".to_owned(),
        _ => format!("{count} fasteners"),
    };
    let of = super::joint::what(plan);
    if !of.is_empty() {
        line.push_str(&format!(", {of}"));
    }
    let stages: Vec<String> = plan.stages.iter().map(StagePlan::echo).collect();
    line.push_str(&format!(": {}.", stages.join("; ")));
    if count > 1 && !matches!(plan.order, Order::Any) {
        line.push_str(&format!(" Order {}.", labels(joint, &plan.base, " ")));
    }
    line
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => format!("{}{}.", first.to_uppercase(), letters.as_str()),
        None => String::new(),
    }
}
