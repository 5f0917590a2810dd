//! What a job needs before its first pull: parts, tools, checks and answers.
//!
//! Knows nothing of the bench.

use std::collections::BTreeMap;

use evendraw_core::record::Record;
use serde_json::json;

use super::super::{CommandError, Output};
use crate::job::Job;
use crate::plan::{Joint, StagePlan};
use crate::store::Fact;

/// Says it, for all joints or for one.
pub(super) fn tell(job: &Job, only: Option<u8>, out: &mut Output<'_>) -> Result<(), CommandError> {
    let joints = || {
        job.plan()
            .joints()
            .iter()
            .filter(|joint| only.is_none_or(|only| only == joint.number()))
    };
    out.line("\nneeded for this:")?;
    for joint in joints() {
        parts(job, joint, out)?;
    }
    tools(job, only, out)?;
    for joint in joints() {
        checks(job, joint, out)?;
    }
    Ok(())
}

fn parts(job: &Job, joint: &Joint, out: &mut Output<'_>) -> Result<(), CommandError> {
    for name in joint.needs() {
        let part = job.plan().parts().iter().find(|part| part.name == name);
        let number = part.and_then(|part| part.number.as_deref());
        let is_on_order = job.plan().is_on_order(name);
        out.object(&json!({
            "record": "needed", "kind": "part", "joint": joint.id(), "name": name, "number": number, "on_order": is_on_order,
        }))?;
        out.line(format_args!(
            "  part   {}: {name}{}{}",
            joint.id(),
            number.map_or_else(String::new, |number| format!(", {number}")),
            if is_on_order { ", still on order" } else { "" }
        ))?;
    }
    Ok(())
}

/// The tools that were taken, with the pulls each made.
fn tools(job: &Job, only: Option<u8>, out: &mut Output<'_>) -> Result<(), CommandError> {
    let mut in_hand: BTreeMap<u8, &str> = BTreeMap::new();
    let mut pulls: BTreeMap<&str, u32> = BTreeMap::new();
    let entries = job.facts().iter().filter_map(|fact| match fact {
        Fact::Entry(entry) if only.is_none_or(|only| only == entry.joint) => Some(entry),
        _ => None,
    });
    for entry in entries {
        match &entry.record {
            Record::Tool(tool) => {
                in_hand.insert(entry.joint, tool.id.as_str());
            }
            Record::Attempt(_) | Record::Read(_) | Record::BySetting(_) => {
                if let Some(tool) = in_hand.get(&entry.joint) {
                    *pulls.entry(tool).or_default() += 1;
                }
            }
            _ => {}
        }
    }
    for (id, count) in pulls {
        let tool = job.plan().tool(id);
        let about = tool.map_or_else(String::new, |tool| {
            let title = tool.title.as_deref();
            let title = title.map_or_else(String::new, |title| format!(", {title}"));
            format!("{title}, up to {}", tool.capacity_text)
        });
        out.object(&json!({ "record": "needed", "kind": "tool", "name": id, "pulls": count }))?;
        out.line(format_args!("  tool   {id}{about}: {count} pulls"))?;
    }
    Ok(())
}

/// What is looked at, measured, confirmed or waited for, in the order of the plan.
fn checks(job: &Job, joint: &Joint, out: &mut Output<'_>) -> Result<(), CommandError> {
    let Some(plan) = job.joint_plan(joint.number()) else {
        return Ok(());
    };
    let condition = plan
        .condition
        .iter()
        .map(|condition| format!("threads {condition}"));
    let offset = plan.access.iter().map(|access| {
        format!(
            "offset adapter {} on a lever of {}, at {}",
            access.offset.1, access.lever.1, access.angle.1
        )
    });
    let stages = plan
        .stages
        .iter()
        .filter(|stage| {
            matches!(
                stage.word,
                "check" | "measure" | "wait" | "fit" | "retorque"
            )
        })
        .map(StagePlan::sentence);
    for text in condition.chain(offset).chain(stages) {
        out.object(&json!({
            "record": "needed", "kind": "check", "joint": joint.id(), "name": text,
        }))?;
        out.line(format_args!("  check  {}: {text}", joint.id()))?;
    }
    Ok(())
}
