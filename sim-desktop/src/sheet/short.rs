//! The owner's sheet: how it stands, what was out of the ordinary, by which tools, and every reading beside its limits, on a few pages.
//!
//! Says nothing that the full sheet does not say, and decides nothing. Knows nothing of journals or plans.

use maud::{Markup, html};

use super::mark::{badge, shape};
use super::page::{beside, columns, document, head, in_order, items, rehearsal_band, stamp};
use super::{CAUTION, Sheet};
use crate::job::status::{FastenerStatus, How, JointStatus, StageStatus, Status};
use crate::mark::Mark;
use crate::words::DEMO;

/// The page.
#[must_use]
pub fn short_page(model: &Sheet) -> String {
    let body = html! {
        @if model.rehearsal { (rehearsal_band()) }
        @if model.demo { p.demo { (DEMO) } }
        (head(model, "Owner's sheet"))
        (stamp(model))
        (items("What is open", &model.open, ""))
        (items("Exceptions", &model.exceptions, "Nothing unusual."))
        (items("Still due", &model.due, ""))
        (beside(model))
        (people_and_tools(model))
        @for joint in &model.joints { (joint_part(joint)) }
        p.caution { (CAUTION) }
        footer { "The full sheet has every attempt, check and curve. " (model.colophon) }
    };
    let class = if model.rehearsal {
        "short rehearsal"
    } else {
        "short"
    };
    let title = format!("Owner's sheet: {} ({})", model.title, model.headline());
    document(&title, class, &body)
}

fn people_and_tools(model: &Status) -> Markup {
    let people: Vec<String> = model
        .people
        .iter()
        .map(|person| format!("{} ({})", person.name, person.role()))
        .collect();
    html! {
        section {
            dl {
                dt { "Done by" } dd { (if people.is_empty() { "nobody is named".to_owned() } else { people.join(", ") }) }
                dt { "When" } dd { (model.when) }
                @for tool in model.tools.iter().filter(|tool| tool.is_used) {
                    dt { "Tool " (tool.id) }
                    dd { (tool.what) "; calibration " (tool.calibration) "; in date: " (tool.in_date) }
                }
            }
        }
    }
}

fn joint_part(joint: &JointStatus) -> Markup {
    let columns = columns(joint);
    let is_begun = !matches!(joint.mark, Mark::Ready | Mark::Waiting);
    html! {
        section.short-joint {
            div.joint-head { h3 { (joint.title) " " span.id { (joint.id) } " " span.quiet { (joint.what) } } (badge(joint.mark)) }
            @if joint.is_left_hand { p.strong { "LEFT-HAND THREAD" } }
            p.quiet {
                @for stage in &columns { span.limit { (stage.number) ". " (stage.what) " " (limits(stage)) } " " }
            }
            @if is_begun {
                div.readings { @for fastener in in_order(joint) { (reading(fastener, &columns)) } }
            } @else { p.quiet { (joint.why) } }
        }
    }
}

/// The limits of a stage; what is printed where it has none.
fn limits(stage: &StageStatus) -> &str {
    if stage.window.is_empty() {
        &stage.printed
    } else {
        &stage.window
    }
}

fn reading(fastener: &FastenerStatus, columns: &[&StageStatus]) -> Markup {
    let cells = columns.iter().filter_map(|stage| {
        let cell = fastener.cells.get(stage.number - 1)?;
        let mark = cell.mark?;
        let words = if cell.reached.is_empty() {
            mark.word()
        } else {
            cell.reached.as_str()
        };
        let target = match cell.target.as_str() {
            "" => String::new(),
            target => format!(" of {target}"),
        };
        // What was measured needs no word: the line at the top says how much was.
        let behind = match cell.evidence.as_str() {
            "" => String::new(),
            how if how == How::Curve.words() || words.contains(how) => String::new(),
            how => format!(" ({how})"),
        };
        Some(format!("{}. {words}{behind}{target}", stage.number))
    });
    let words: Vec<String> = cells.collect();
    html! {
        div {
            @if let Some(mark) = fastener.mark { (shape(mark)) " " }
            span.strong { (fastener.label) } " " (words.join("; "))
        }
    }
}
