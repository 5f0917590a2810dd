//! The parts of a build on one page: a list to order from.
//!
//! Draws the projection and decides nothing.

use maud::html;

use super::mark::shape;
use super::page::document;
use crate::job::status::{PartStatus, Status};
use crate::words::DEMO;

/// The page, of these parts.
#[must_use]
pub fn parts_page(model: &Status, parts: &[&PartStatus]) -> String {
    let body = html! {
        @if model.demo { p.demo { (DEMO) } }
        header {
            div { p.kind { "Parts" } h1 { (model.title) } }
            dl.head { dt { "Unit" } dd { (model.unit) } dt { "Document" } dd { (model.document) } }
        }
        table.lines {
            thead { tr { th { "Part" } th { "Number" } th.number { "Quantity" } th { "For" } th { "State" } th { "Said, remarked" } th.sign { "Ordered, where and when" } } }
            @for part in parts {
                tr {
                    td.strong.whole { (part.name) } td.whole { (part.number) } td.number { (part.quantity) } td { (part.for_joints) }
                    td { span.badge.(part.mark().hue().name()) { (shape(part.mark())) (part.state.word()) } }
                    td { (part.said) @if !part.said.is_empty() && !part.note.is_empty() { "; " } (part.note) } td.sign {}
                }
            }
        }
        @if parts.is_empty() { p { "Nothing must be ordered." } }
    };
    document(&format!("Parts: {}", model.title), "", &body)
}
