//! The handover: everything the next person, or tomorrow, must know; and the tag for the stand.
//!
//! Knows nothing of how the tag is printed.

use super::marks;
use super::theme::{self, BODY, Colours, GAP, TARGET};
use super::view::{Ask, DeskView, Mark};
use super::widgets::{Look, area, button, cut_bottom, line, paragraph, pressed, split_across};
use egui::{Align2, Key, Rect, Ui, pos2};

/// The tag in plain text, as it is printed.
#[must_use]
pub fn tag_text(view: &DeskView) -> String {
    use std::fmt::Write as _;
    let build = &view.build;
    let mut text = String::new();
    if build.rehearsal {
        text.push_str("REHEARSAL: NOT A RECORD OF WORK\n");
    }
    if build.demo {
        let _ = writeln!(text, "{}", crate::words::DEMO);
    }
    let _ = writeln!(text, "{}\n{}", build.title, build.unit);
    text.push_str(if build.complete {
        "ALL JOINTS FINAL\n"
    } else {
        "DO NOT RUN: NOT FINISHED\n"
    });
    for row in &build.joints {
        if row.mark != Mark::Final {
            let _ = writeln!(
                text,
                "[ ] {}: {}{}",
                row.title,
                row.mark.word(),
                if row.why.is_empty() {
                    String::new()
                } else {
                    format!(", {}", row.why)
                }
            );
        }
    }
    for part in build.parts.iter().filter(|part| !part.arrived) {
        let _ = writeln!(text, "waiting for: {} ({})", part.name, part.for_joints);
    }
    for due in &build.dues {
        let _ = writeln!(text, "due: {due}");
    }
    if let Some(next) = &build.next {
        let _ = writeln!(text, "next: {}", next.words);
    }
    text
}

/// The tag as one small page to print, with room for a name and a date.
#[must_use]
pub(super) fn tag_page(view: &DeskView) -> String {
    let text = tag_text(view);
    let mut lines = text.lines();
    let first = lines.next().unwrap_or_default();
    let page = maud::html! {
        (maud::DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                (maud::PreEscaped(crate::outputs::PAGE_BY))
                title { "Tag: " (view.build.title) }
                style { (maud::PreEscaped("@page{size:A6;margin:8mm}body{font:12pt/1.35 sans-serif;max-width:98mm;margin:4mm auto}h1{font-size:17pt;margin:0 0 2mm}p{margin:0 0 1mm}.sign{border-top:1px solid;margin-top:12mm;padding-top:1mm;font-size:10pt}")) }
            }
            body {
                h1 { (first) }
                @for line in lines { p { (line) } }
                p.sign { "name, date" }
            }
        }
    };
    page.into_string()
}

/// Draws the screen.
pub(super) fn show(ui: &mut Ui, rect: Rect, view: &DeskView, free: bool, asks: &mut Vec<Ask>) {
    let build = &view.build;
    let (body, foot) = cut_bottom(rect, TARGET);
    let list = |wanted: &[Mark]| -> Vec<(Mark, String)> {
        build
            .joints
            .iter()
            .filter(|row| wanted.contains(&row.mark))
            .map(|row| {
                (
                    row.mark,
                    format!(
                        "{}: {} of {} steps{}",
                        row.title,
                        row.done,
                        row.steps,
                        if row.why.is_empty() {
                            String::new()
                        } else {
                            format!(", {}", row.why)
                        }
                    ),
                )
            })
            .collect()
    };
    let mut warn: Vec<(Mark, String)> = view
        .recovery
        .iter()
        .map(|words| (Mark::Doubtful, words.clone()))
        .collect();
    if !build.complete {
        warn.push((
            Mark::Held,
            "Do not run or load it: not every joint is final.".to_owned(),
        ));
    }
    warn.extend(list(&[
        Mark::Rejected,
        Mark::Doubtful,
        Mark::Disturbed,
        Mark::MockUp,
    ]));
    warn.extend(
        build
            .exceptions
            .iter()
            .map(|words| (Mark::Doubtful, words.clone())),
    );
    let mut open = list(&[Mark::PartWay]);
    open.extend(list(&[Mark::Open, Mark::Held, Mark::Skipped]));
    let mut waits: Vec<(Mark, String)> = build
        .parts
        .iter()
        .filter(|part| !part.arrived)
        .map(|part| {
            (
                Mark::Held,
                format!("{}, for {}", part.name, part.for_joints),
            )
        })
        .collect();
    waits.extend(build.dues.iter().map(|due| (Mark::Open, due.clone())));
    let done = list(&[Mark::Accepted, Mark::Final]);
    let columns = split_across(body, 2);
    let [left, right] = columns[..] else { return };
    let middle = left.top() + (left.height() * 0.5).max(120.0).min(left.height());
    let upper =
        |column: Rect| Rect::from_min_max(column.min, pos2(column.right(), middle - GAP / 2.0));
    let lower =
        |column: Rect| Rect::from_min_max(pos2(column.left(), middle + GAP / 2.0), column.max);
    block(
        ui,
        upper(left),
        "Say this first",
        &warn,
        "Nothing to warn of",
    );
    block(ui, upper(right), "Not finished", &open, "Nothing is open");
    block(
        ui,
        lower(left),
        "Waiting for, and due later",
        &waits,
        "Nothing is waited for",
    );
    block(ui, lower(right), "Done", &done, "Nothing is done yet");
    let places = split_across(foot, 3);
    if button(ui, places[0], "Print the tag", "G", Look::Advised, free).clicked()
        || (free && pressed(ui, Key::G))
    {
        asks.push(Ask::PrintTag);
    }
    let colours = Colours::of(ui);
    let last = build.next.as_ref().map_or_else(
        || "Nothing can go on now.".to_owned(),
        |next| format!("Next: {}", next.words),
    );
    let words = Rect::from_min_max(pos2(places[1].left(), foot.top()), foot.max);
    line(
        ui,
        words,
        Align2::LEFT_CENTER,
        &last,
        theme::strong(BODY),
        colours.ink,
    );
}

fn block(ui: &mut Ui, rect: Rect, name: &str, rows: &[(Mark, String)], none: &str) {
    let colours = Colours::of(ui);
    let inner = area(
        ui,
        rect,
        name,
        &if rows.is_empty() {
            String::new()
        } else {
            rows.len().to_string()
        },
    );
    if rows.is_empty() {
        line(
            ui,
            inner,
            Align2::LEFT_TOP,
            none,
            theme::text(BODY),
            colours.soft,
        );
        return;
    }
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(inner).id_salt(name));
    egui::ScrollArea::vertical()
        .auto_shrink(false)
        .show(&mut child, |ui| {
            let width = ui.available_width();
            for (mark, words) in rows {
                let galley = ui.painter().layout(
                    words.clone(),
                    theme::text(BODY),
                    colours.ink,
                    width - 30.0,
                );
                let (_, place) = ui.allocate_space(egui::vec2(width, galley.size().y.max(22.0)));
                marks::draw(
                    ui.painter(),
                    &colours,
                    *mark,
                    pos2(place.left() + 10.0, place.top() + 11.0),
                    8.5,
                );
                let room = Rect::from_min_max(pos2(place.left() + 30.0, place.top()), place.max);
                paragraph(ui, room, words, theme::text(BODY), colours.ink);
            }
        });
}
