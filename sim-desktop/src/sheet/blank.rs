//! The working sheet: a map and a box per fastener and stage, ticked by hand at the stand.
//!
//! What is written on it is typed back with `evendraw paper` or at the desk; a tick alone stays marked as unmeasured. Knows nothing of journals.

use maud::{Markup, html};

use super::page::{columns, document, in_order};
use super::picture::Printed;
use super::{CAUTION, Sheet, map};
use crate::job::status::JointStatus;
use crate::words::{DEMO, HANDS};

/// The page. Of the model only what the plan says is used.
#[must_use]
pub fn blank_page(model: &Sheet) -> String {
    let body = html! {
        @if model.demo { p.demo { (DEMO) ": never work from this sheet" } }
        header {
            div { p.kind { "Working sheet, to be ticked by hand" } h1 { (model.title) } }
            dl.head {
                dt { "Unit" } dd { (model.unit) }
                dt { "Document" } dd { (model.document) }
                dt { "Journal" } dd { (if model.journal.is_empty() { "................................" } else { &model.journal }) }
            }
        }
        div.fill { div { "Name" } div { "Date" } div { "Tool numbers" } div { "Looked at by" } }
        p.caution { (HANDS) " It is typed back with " code { "evendraw paper" } " or at the desk: write the value and its tool beside a box; a tick alone stays unmeasured." }
        @if !model.tasks.is_empty() {
            section.joint {
                div.joint-head { h2 { "Tasks" } }
                ul.questions {
                    @for task in &model.tasks {
                        li { span.box {} (task.title) span.quiet { " " (task.place) @if !task.stack.is_empty() { "; " (task.layers()) } " " (task.ask) } }
                    }
                }
            }
        }
        @for joint in &model.joints { (joint_part(joint, &model.pictures)) }
        p.caution { (CAUTION) }
    };
    document(&format!("Working sheet: {}", model.title), "", &body)
}

fn joint_part(joint: &JointStatus, pictures: &[Printed]) -> Markup {
    let columns = columns(joint);
    html! {
        section.joint {
            div.joint-head { h2 { (joint.title) " " span.id { (joint.id) } } }
            div.joint-top {
                figure { (map::drawing(joint, pictures, false)) }
                div.facts {
                    dl {
                        @for (name, text) in &joint.facts { dt { (name) } dd { (text) } }
                        @if !joint.condition.is_empty() { dt { "On the threads" } dd { (joint.condition) } }
                    }
                    @if !joint.checks.is_empty() {
                        ul.questions { @for check in &joint.checks { li { span.box {} (check.question) } } }
                    }
                }
            }
            table.lines.boxes {
                thead {
                    tr {
                        th { "Fastener" }
                        @for stage in &columns {
                            th { (stage.number) ". " (stage.what) div.strong { (stage.printed) } @if !stage.window.is_empty() { div { (stage.window) } } }
                        }
                        th { "Marked" }
                    }
                }
                @for fastener in in_order(joint) {
                    tr {
                        td { span.strong { (fastener.label) } @if let Some(order) = fastener.order { span.quiet { " " (order) "." } } }
                        @for stage in &columns {
                            td {
                                @if let Some(cell) = fastener.cells.get(stage.number - 1).filter(|cell| cell.mark.is_some()) {
                                    span.box {} span.value {}
                                    @if !cell.target.is_empty() { span.quiet { " " (cell.target) } }
                                } @else { span.quiet { "–" } }
                            }
                        }
                        td { span.box {} }
                    }
                }
            }
        }
    }
}
