//! The build sheet as one self-contained HTML file that prints on A4 and Letter.
//!
//! Draws a [`Sheet`] and decides nothing. Knows nothing of journals or plans.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::mark::{badge, shape, symbols};
use super::picture::Printed;
use super::{CAUTION, Sheet, curve, map, summary};
use crate::job::status::{
    AttemptRow, FastenerStatus, Item, JointStatus, StageStatus, Status, ToolStatus,
};
use crate::mark::Mark;
use crate::outputs::PAGE_BY;
use crate::words::{DEMO, visible_lines};

const STYLE: &str = include_str!("sheet.css");

/// The page.
#[must_use]
pub fn page(model: &Sheet) -> String {
    let kind = if model.rehearsal {
        "Rehearsal sheet"
    } else {
        "Build sheet"
    };
    let body = html! {
        @if model.rehearsal { (rehearsal_band()) }
        @if model.demo { p.demo { (DEMO) } }
        (head(model, kind))
        (stamp(model))
        (items("What is open", &model.open, "Nothing is open."))
        (items("Exceptions", &model.exceptions, "Nothing unusual."))
        (items("Still due", &model.due, ""))
        (glance(model))
        (items("Done again, and why", &model.redone, ""))
        (items("Amendments", &model.amendments, ""))
        (beside(model))
        (tools(model))
        (people(model))
        @for joint in &model.joints { (joint_part(joint, &model.pictures)) }
        (foot(model))
    };
    let class = if model.rehearsal { "rehearsal" } else { "" };
    let title = format!("{kind}: {} ({})", model.title, model.headline());
    document(&title, class, &body)
}

/// One self-contained file.
pub(super) fn document(title: &str, class: &str, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                (PreEscaped(PAGE_BY))
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body class=(class) { (symbols()) (body) }
        }
    }
    .into_string();
    visible_lines(&page).into_owned()
}

pub(super) fn rehearsal_band() -> Markup {
    html! {
        div.band { "REHEARSAL" span { "on the virtual bench, no metal was touched; not a record of work" } }
        div.watermark aria-hidden="true" { "REHEARSAL" }
    }
}

pub(super) fn head(model: &Sheet, kind: &str) -> Markup {
    let or = |text: &str| {
        if text.is_empty() {
            "not stated".to_owned()
        } else {
            text.to_owned()
        }
    };
    html! {
        header {
            div {
                p.kind { (kind) }
                h1 { (model.title) }
            }
            dl.head {
                dt { "Unit" } dd { (or(&model.unit)) }
                dt { "Document" } dd { (or(&model.document)) }
                @if !model.revision.is_empty() { dt { "Plan revision" } dd { (model.revision) } }
                dt { "Journal" } dd { (model.journal) }
            }
        }
    }
}

pub(super) fn stamp(model: &Status) -> Markup {
    let mark = model.mark();
    html! {
        p.stamp.(mark.hue().name()) { (shape(mark)) (model.headline()) }
        @if !model.evidence.is_empty() { p.why { "Done: " (model.evidence) "." } }
    }
}

/// A list of sentences; with `none` empty, nothing at all when there are none.
pub(super) fn items(title: &str, items: &[Item], none: &str) -> Markup {
    html! {
        @if !items.is_empty() || !none.is_empty() {
            section {
                h2 { (title) @if !items.is_empty() { span.count { (items.len()) } } }
                @if items.is_empty() { p { (none) } } @else {
                    table.items {
                        @for item in items {
                            tr { td.what-mark { (badge(item.mark)) } td.where { (item.place) } td { (item.what) } }
                        }
                    }
                }
            }
        }
    }
}

fn glance(model: &Status) -> Markup {
    html! {
        section {
            h2 { "At a glance" }
            dl.glance {
                @for answer in summary(model) { div { dt { (answer.question) } dd { (answer.answer) } } }
                @for (question, answer) in &model.given { div { dt { (question) } dd { (answer) } } }
            }
        }
    }
}

/// Tasks, parts and reminders, each with its state.
pub(super) fn beside(model: &Status) -> Markup {
    html! {
        @for (title, rows) in model.beside() {
            section {
                h2 { (title) span.count { (rows.len()) } }
                table.items {
                    @for row in &rows {
                        tr {
                            td.what-mark { span.badge.(row.mark.hue().name()) { (shape(row.mark)) (row.word) } }
                            td.where { (row.name) }
                            td { (row.line) }
                        }
                    }
                }
            }
        }
    }
}

fn tools(model: &Status) -> Markup {
    let used: Vec<&ToolStatus> = model.tools.iter().filter(|tool| tool.is_used).collect();
    html! {
        @if !used.is_empty() {
            section {
                h2 { "Tools" }
                table.lines {
                    thead { tr { th { "Tool" } th { "What" } th { "Calibration" } th { "In date" } th.number { "Attempts" } th { "Waiver" } } }
                    @for tool in used {
                        tr {
                            td.strong { (tool.id) } td { (tool.what) } td { (tool.calibration) } td { (tool.in_date) }
                            td.number { (tool.readings) } td { (tool.waiver) }
                        }
                    }
                }
            }
        }
    }
}

fn people(model: &Status) -> Markup {
    html! {
        section {
            h2 { "People" }
            table.lines {
                thead { tr { th { "Name" } th { "Role" } th { "When" } th.sign { "Signature" } } }
                @for person in &model.people {
                    tr { td.strong { (person.name) } td { (person.role()) } td { (person.when) } td.sign {} }
                }
                @if model.people.is_empty() { tr { td colspan="3" { "Nobody is named." } td.sign {} } }
            }
            p.quiet { "Looked at: " (if model.witnessed.is_empty() { "nobody" } else { &model.witnessed }) }
        }
    }
}

fn joint_part(joint: &JointStatus, pictures: &[Printed]) -> Markup {
    html! {
        section.joint {
            div.keep {
                div.joint-head {
                    h2 { (joint.title) " " span.id { (joint.id) } }
                    (badge(joint.mark))
                }
                @if joint.mark == Mark::MockUp { p.notfinal { "MOCK-UP, NOT FINAL: this must come apart again." } }
                @if !joint.note.is_empty() { p.why { (joint.note) } }
                p.why { (joint.why) }
                div.joint-top {
                    figure { (map::drawing(joint, pictures, true)) }
                    div.facts {
                        dl {
                            @for (name, text) in &joint.facts { dt { (name) } dd { (text) } }
                            @if !joint.condition.is_empty() { dt { "On the threads" } dd { (joint.condition) } }
                            dt { "Confirmed" }
                            dd { (if joint.confirmed.is_empty() { "not recorded" } else { &joint.confirmed }) }
                        }
                        (stages(joint))
                    }
                }
            }
            @if is_begun(joint) { (fasteners(joint)) }
            (checks(joint))
            (attempts(&joint.attempts))
            @if !joint.notes.is_empty() {
                h3 { "Notes" }
                ul.notes { @for note in &joint.notes { li { (note) } } }
            }
            @if !joint.struck.is_empty() {
                h3 { "Struck through: this counts no more" }
                ul.notes { @for own in &joint.struck { li { s { (own.words) } "; " (own.why) } } }
            }
        }
    }
}

/// Of a joint that nobody has touched, map and stages say all there is.
fn is_begun(joint: &JointStatus) -> bool {
    !matches!(joint.mark, Mark::Ready | Mark::Waiting)
}

fn stages(joint: &JointStatus) -> Markup {
    html! {
        table.lines.stages {
            thead { tr { th.number { "" } th { "Stage" } th { "As printed" } th { "Window" } } }
            @for stage in &joint.stages {
                tr {
                    td.number { (stage.number) }
                    td { (stage.what) @if stage.mock_up { " " span.notfinal { "mock-up" } } }
                    td { (stage.printed) } td { (stage.window) }
                }
            }
        }
    }
}

fn fasteners(joint: &JointStatus) -> Markup {
    let columns = columns(joint);
    let has_curves = joint
        .fasteners
        .iter()
        .any(|fastener| fastener.curve.is_some());
    html! {
        table.lines.fasteners {
            thead {
                tr {
                    th { "Fastener" }
                    @for stage in &columns { th { (stage.number) ". " (stage.what) } }
                    th { "State" }
                    @if has_curves { th { "Torque over angle" } }
                }
            }
            @for fastener in in_order(joint) {
                tr {
                    td { span.strong { (fastener.label) } @if let Some(order) = fastener.order { span.quiet { " " (order) "." } } }
                    @for stage in &columns { (cell(fastener, stage.number - 1)) }
                    td.state {
                        @if let Some(mark) = fastener.mark { (badge(mark)) }
                        @if !fastener.remarks.is_empty() { div.quiet { (fastener.remarks) } }
                    }
                    @if has_curves { td { @if let Some(curve) = &fastener.curve { (curve::drawing(curve)) } } }
                }
            }
        }
    }
}

/// The stages that readings belong to.
pub(super) fn columns(joint: &JointStatus) -> Vec<&StageStatus> {
    let stages = joint.stages.iter();
    stages.filter(|stage| stage.has_column).collect()
}

/// The fasteners in the order of work.
pub(super) fn in_order(joint: &JointStatus) -> Vec<&FastenerStatus> {
    let mut fasteners: Vec<&FastenerStatus> = joint.fasteners.iter().collect();
    fasteners.sort_by_key(|fastener| fastener.order.unwrap_or(usize::MAX));
    fasteners
}

fn cell(fastener: &FastenerStatus, index: usize) -> Markup {
    let Some(cell) = fastener.cells.get(index) else {
        return html! { td {} };
    };
    let Some(mark) = cell.mark else {
        return html! { td.none title="this stage does not touch this fastener" { "–" } };
    };
    html! {
        td.reading {
            @if mark == Mark::Accepted && !cell.reached.is_empty() { span.strong { (cell.reached) } } @else {
                (shape(mark)) " "
                @if cell.reached.is_empty() { (mark.word()) } @else { span.strong { (cell.reached) } }
            }
            @if !cell.target.is_empty() { div.quiet { "its own target " (cell.target) } }
            @if !cell.detail.is_empty() { div.quiet { (cell.detail) } }
            @if cell.attempts > 1 { div.quiet { "attempt " (cell.attempts) } }
            @if !cell.behind().is_empty() { div.quiet { (cell.behind()) } }
        }
    }
}

fn checks(joint: &JointStatus) -> Markup {
    html! {
        @if !joint.checks.is_empty() {
            h3 { "Checks" }
            table.lines {
                thead { tr { th { "Question" } th { "Answer" } th { "By, when" } } }
                @for check in &joint.checks {
                    tr { td { (check.question) } td { (shape(check.mark)) " " (check.answer) } td { (check.by) } }
                }
            }
        }
    }
}

fn attempts(rows: &[AttemptRow]) -> Markup {
    html! {
        @if !rows.is_empty() {
            h3 { "Attempts and rework" }
            table.lines {
                thead {
                    tr { th { "Where" } th.number { "Try" } th { "Reached" } th { "Verdict" } th { "Why" } th { "What followed" } th { "When" } }
                }
                @for row in rows {
                    tr {
                        td { (row.place) } td.number { (row.attempt) } td { (row.reached) } td { (badge(row.mark)) }
                        td { (row.reasons) } td { (row.followed) } td { (row.when) }
                    }
                }
            }
        }
    }
}

fn foot(model: &Sheet) -> Markup {
    html! {
        @if !model.notes.is_empty() {
            section { h2 { "Remarks" } ul.notes { @for note in &model.notes { li { (note) } } } }
        }
        section.legend {
            h2 { "Signs" }
            p { @for mark in Mark::ALL { (badge(mark)) " " } }
        }
        p.caution { (CAUTION) }
        @if !model.plan.is_empty() {
            details { summary { "The plan as typed" } pre { (model.plan) } }
        }
        footer { (model.colophon) }
    }
}
