//! The answer to a recall as one self-contained page that prints on A4 and Letter.
//!
//! Draws lines and decides nothing. Knows nothing of journals.

use maud::html;

use super::CAUTION;
use super::page::document;
use crate::shelf::recall::Line;
use crate::words;

/// What stands on the page.
#[derive(Clone, Debug)]
pub struct Recalled<'a> {
    /// The question.
    pub asked: String,
    /// The answer in one sentence.
    pub answer: String,
    /// The attempts.
    pub lines: &'a [Line],
    /// What could not be read, or not all of it.
    pub passed: Vec<String>,
    /// How far the tool is taken to be off: `6 % too little`.
    pub off: Option<String>,
}

/// The page.
#[must_use]
pub fn recall_page(model: &Recalled<'_>) -> String {
    let number = |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value:.2}"));
    let body = html! {
        header { div { p.kind { "Recall" } h1 { (model.asked) } } }
        p.strong { (model.answer) "." }
        @if let Some(off) = &model.off {
            p { "As if the tool had shown " (off) ": what is printed as shown is the recorded value, and no verdict is changed by this page." }
        }
        @if !model.passed.is_empty() {
            section {
                h2 { "Not read, or not whole: the answer may be missing something" }
                ul { @for line in &model.passed { li { (line) } } }
            }
        }
        section {
            table.lines {
                thead { tr {
                    th { "Build" } th { "Joint, fastener, stage" } th { "Tool" } th { "When, who" }
                    th.number { "Shown, N·m" } th.number { "Limits, N·m" } th.number { "Margins, N·m" }
                    @if model.off.is_some() { th.number { "Were it off, N·m" } }
                    th { "Verdict" }
                } }
                tbody { @for line in model.lines { tr {
                    td { (line.build) @if !line.not_work.is_empty() { " " strong { (line.not_work) } } }
                    td { (line.joint) ", " (line.fastener) ", stage " (line.stage) @if !line.last { span.quiet { " done again since" } } }
                    td { (line.tool) }
                    td { (words::wall_time(line.unix)) @if !line.person.is_empty() { span.quiet { " " (line.person) } } }
                    td.number { (number(line.torque_Nm)) @if line.evidence != "measured" { span.quiet { " " (line.evidence) } } }
                    td.number { (number(line.low_Nm)) " to " (number(line.high_Nm)) }
                    td.number { (number(line.margin_low_Nm)) " / " (number(line.margin_high_Nm)) }
                    @if model.off.is_some() {
                        td.number {
                            // In whole mN·m: what lies outside by less must not look like the limit.
                            (line.true_Nm.map_or_else(String::new, |value| format!("{value:.3}")))
                            @if let Some(side) = line.outside { " " strong { "too " (side) } }
                        }
                    }
                    td { (line.verdict) }
                } } }
            }
        }
        p.quiet { (CAUTION) }
    };
    document(&format!("Recall: {}", model.asked), "", &body)
}
