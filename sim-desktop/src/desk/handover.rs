//! The handover: everything the next person, or tomorrow, must know; and the tag for the stand.
//!
//! Knows nothing of how the tag is printed.

use super::ink::Ink as _;
use super::marks;
use super::theme::{self, BODY, Colours, GAP, TARGET};
use super::view::{Ask, DeskView, Mark};
use super::widgets::{Look, area, button, cut_bottom, line, paragraph, pressed, split_into};
use crate::job::status::{Item, Status, counted};
use egui::{Align2, Key, Rect, Ui, pos2};

/// The tag in plain text, as it is printed.
#[must_use]
pub fn tag_text(status: &Status) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    if status.rehearsal {
        text.push_str("REHEARSAL: NOT A RECORD OF WORK\n");
    }
    if status.demo {
        let _ = writeln!(text, "{}", crate::words::DEMO);
    }
    let _ = writeln!(text, "{}\n{}", status.title, status.unit);
    let exceptions = status.exceptions.len();
    let _ = match (status.open.is_empty(), exceptions) {
        (true, 0) => writeln!(text, "ALL JOINTS FINAL"),
        (true, _) => writeln!(
            text,
            "JOINTS FINAL, WITH {}: READ THE SHEET",
            counted(exceptions, "EXCEPTION")
        ),
        (false, _) => writeln!(text, "DO NOT RUN: NOT FINISHED"),
    };
    for row in &status.joints {
        if row.mark != Mark::Final {
            let _ = writeln!(text, "[ ] {}: {}, {}", row.title, row.mark.word(), row.why);
        }
    }
    for item in &status.exceptions {
        let _ = writeln!(text, "! {}: {}", item.mark.word(), item.line());
    }
    for task in status.tasks.iter().filter(|task| !task.is_done()) {
        let _ = writeln!(text, "[ ] {}: {}, {}", task.title, task.word, task.line());
    }
    for part in status.parts.iter().filter(|part| !part.is_here) {
        let _ = writeln!(text, "{}", part.told());
    }
    for reminder in status.open_reminders() {
        let _ = writeln!(text, "{}: {}", reminder.about, reminder.line());
    }
    for due in &status.due {
        let _ = writeln!(text, "due: {}", due.line());
    }
    if let Some(next) = status.next_words() {
        let _ = writeln!(text, "next: {next}");
    }
    text
}

/// The tag as one small page to print, with room for a name and a date.
#[must_use]
pub(super) fn tag_page(status: &Status) -> String {
    let text = tag_text(status);
    let mut lines = text.lines();
    let first = lines.next().unwrap_or_default();
    let page = maud::html! {
        (maud::DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                (maud::PreEscaped(crate::outputs::PAGE_BY))
                title { "Tag: " (status.title) }
                style { (maud::PreEscaped("@page{size:A6;margin:8mm}body{font:12pt/1.35 sans-serif;max-width:98mm;margin:4mm auto}h1{font-size:17pt;margin:0 0 2mm}p{margin:0 0 1mm}.sign{border-top:1px solid;margin-top:12mm;padding-top:1mm;font-size:10pt}")) }
            }
            body {
                h1 { (first) }
                @for line in lines { p { (line) } }
                p.sign { "name, date" }
            }
        }
    };
    crate::words::visible_lines(&page.into_string()).into_owned()
}

/// Draws the screen.
pub(super) fn show(ui: &mut Ui, rect: Rect, view: &DeskView, free: bool, asks: &mut Vec<Ask>) {
    let status = &view.status;
    let (body, foot) = cut_bottom(rect, TARGET);
    let list = |wanted: &[Mark]| -> Vec<(Mark, String)> {
        let rows = status
            .joints
            .iter()
            .filter(|row| wanted.contains(&row.mark));
        rows.map(|row| {
            let tally = format!("{} of {} steps", row.done, row.steps);
            (row.mark, format!("{}: {tally}, {}", row.title, row.why))
        })
        .collect()
    };
    let items = |items: &[Item]| -> Vec<(Mark, String)> {
        items.iter().map(|item| (item.mark, item.line())).collect()
    };
    let recovery = view.recovery.iter().cloned();
    let mut warn: Vec<(Mark, String)> = recovery.map(|words| (Mark::Doubtful, words)).collect();
    if !status.open.is_empty() {
        let words = "Do not run or load it: it is not finished.";
        warn.push((Mark::Waiting, words.to_owned()));
    }
    warn.extend(list(&[Mark::Doubtful, Mark::Disturbed, Mark::MockUp]));
    warn.extend(items(&status.exceptions));
    let mut open = list(&[Mark::InProgress]);
    open.extend(list(&[Mark::Ready, Mark::Waiting]));
    let tasks = |done: bool| {
        let tasks = status
            .tasks
            .iter()
            .filter(move |task| task.is_done() == done);
        tasks.map(|task| {
            let words = format!("{}: {}, {}", task.title, task.word, task.line());
            (task.mark, words)
        })
    };
    open.extend(tasks(false));
    warn.extend(status.open_reminders().map(|reminder| {
        (
            Mark::Open,
            format!("{}: {}", reminder.about, reminder.line()),
        )
    }));
    let parts = status.parts.iter().filter(|part| !part.is_here);
    let mut waits: Vec<(Mark, String)> = parts.map(|part| (part.mark(), part.told())).collect();
    waits.extend(items(&status.due));
    let mut done = list(&[Mark::Due, Mark::Final]);
    done.extend(tasks(true));
    let [left, right] = split_into(body);
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
    let [tag, next, _] = split_into(foot);
    if button(ui, tag, "Print the tag", "G", Look::Advised, free).clicked()
        || (free && pressed(ui, Key::G))
    {
        asks.push(Ask::PrintTag);
    }
    let colours = Colours::of(ui);
    let last = status.next_words().map_or_else(
        || "Nothing can go on now.".to_owned(),
        |next| format!("Next: {next}"),
    );
    let words = Rect::from_min_max(pos2(next.left(), foot.top()), foot.max);
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
                let galley = ui.painter().words_wrapped(
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
