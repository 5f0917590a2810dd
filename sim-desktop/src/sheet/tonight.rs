//! An evening's work on one page: to hang at the stand and tick.
//!
//! Draws the projection and decides nothing.

use maud::html;

use super::CAUTION;
use super::page::document;
use crate::job::status::Tonight;
use crate::words::{DEMO, HANDS};

/// The page.
#[must_use]
pub fn tonight_page(model: &Tonight) -> String {
    let body = html! {
        @if model.demo { p.demo { (DEMO) } }
        header { div { p.kind { "Tonight" } h1 { (model.title) } } }
        p.caution { (HANDS) }
        @for (title, rows) in model.lists() {
            section.joint {
                div.joint-head { h2 { (title) } }
                ul.questions { @for (name, line) in rows { li { span.box {} span.strong { (name) } ": " (line) } } }
            }
        }
        @if model.joints.is_empty() { p { "No joint can be done." } }
        p.caution { (CAUTION) }
    };
    document(&format!("Tonight: {}", model.title), "", &body)
}
