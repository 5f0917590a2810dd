//! How sure a torque is, beside its window and its reading.
//!
//! Knows nothing of how an uncertainty comes about.

use evendraw_core::record::{Attempt, Entry, Record};

use super::hands::InHand;
use super::{Shown, View, attempt_of};
use crate::plan::usable;
use crate::uncertainty::judged_in;

/// The window with the uncertainty of the tools that read it; of those that could, before anything was read. In a guarded plan also
/// what it was drawn in from.
pub(super) fn with_uncertainty(view: &View<'_>, number: u8, window: String) -> String {
    let procedure = &view.plan.procedure;
    let step = procedure
        .numbered_steps()
        .find(|(_, step)| step.stage() == number);
    let (Some((step, _)), Some(plan)) = (step, view.plan.stage(number)) else {
        return window;
    };
    let Some(judged) = procedure.torque_window(step) else {
        return window;
    };
    let shown = Shown::at(view.plan, number);
    let drawn = plan
        .printed_windows
        .iter()
        .find(|(fastener, _)| fastener.is_none())
        .map_or_else(String::new, |(_, printed)| {
            format!(", drawn in from {}", shown.window(printed))
        });
    let mut used: Vec<Option<&str>> = Vec::new();
    let mut hand = InHand::default();
    for entry in &view.entries {
        if let Record::Tool(named) = &entry.record {
            hand.take(&entry.record, |_| Some(named.id.as_str()));
            continue;
        }
        hand.take(&entry.record, |_| None);
        let at = attempt_of(&entry.record).map(|attempt| attempt.stage);
        let tool = hand.tool().copied();
        if at == Some(number) && !used.contains(&tool) {
            used.push(tool);
        }
    }
    if used.is_empty() {
        let tools = usable(view.build.tools(), plan, judged.target);
        used.extend(tools.into_iter().map(|tool| Some(tool.id.as_str())));
    }
    let words: Vec<String> = used
        .into_iter()
        .map(|id| {
            let tool = id.and_then(|id| view.build.tool(id));
            match (id, tool.and_then(|tool| tool.uncertainty(judged.target))) {
                (Some(id), Some(uncertainty)) => {
                    format!("{id} ±{}", shown.words(uncertainty))
                }
                (Some(id), None) => format!("{id} unknown"),
                (None, _) => "unknown, no tool named".to_owned(),
            }
        })
        .collect();
    let uncertainty = if words.is_empty() {
        "unknown, no tool".to_owned()
    } else {
        words.join(", ")
    };
    format!("{window}{drawn}; uncertainty {uncertainty}")
}

/// The detail, and that the torque lies within its uncertainty of a limit.
pub(super) fn with_remark(
    view: &View<'_>,
    entry: &Entry,
    attempt: &Attempt,
    detail: String,
) -> String {
    if entry.seq < view.revised_at {
        // Judged by limits that are not these.
        return detail;
    }
    let entries = view.entries.iter().copied();
    let judged = judged_in(view.build, view.plan, entries, (entry.seq, attempt));
    let shown = Shown::at(view.plan, attempt.stage);
    let words = |torque| shown.words(torque);
    match judged.and_then(|judged| judged.remark(words)) {
        Some(remark) if detail.is_empty() => remark,
        Some(remark) => format!("{detail}, {remark}"),
        None => detail,
    }
}
