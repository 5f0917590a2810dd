//! The plan as text, beside its fields: what is in hand tinted, what is wrong underlined, all of it to be typed in.
//!
//! Knows nothing of TOML but its comments and headers.

use super::super::edit_view::{FaultView, PlanAsk, PlanEdit};
use super::super::ink::{self, Ink as _};
use super::super::theme::{self, BODY, Colours, GAP, NOTE, TARGET};
use super::super::view::Ask;
use super::super::widgets::{self, area, count, silent_line};
use egui::text::{LayoutJob, TextFormat};
use egui::{Align2, Color32, Id, Rect, Stroke, Ui, pos2, vec2};

/// What the text remembers.
#[derive(Clone, Debug, Default)]
pub(super) struct TextState {
    text: String,
    /// The version of the view that the text is of.
    version: u64,
    /// What was in hand in the last frame.
    at: String,
    /// A fault to be shown.
    go: Option<usize>,
}

fn id() -> Id {
    Id::unique("plan text")
}

/// Whether the keyboard is in the text.
pub(super) fn has_focus(ui: &Ui) -> bool {
    ui.memory(|memory| memory.has_focus(id()))
}

/// Draws it.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    edit: &PlanEdit,
    state: &mut TextState,
    asks: &mut Vec<Ask>,
) {
    let (text, list) = if edit.faults.is_empty() {
        (rect, None)
    } else {
        let height = (rect.height() * 0.36).min(110.0 * count(edit.faults.len()) + 46.0);
        let (text, list) = widgets::cut_bottom(rect, height);
        (text, Some(list))
    };
    let aside = if edit.first_line > 1 {
        format!("from line {}", edit.first_line)
    } else {
        format!("{} lines", edit.text.lines().count())
    };
    let inner = area(ui, text, "As written", &aside);
    editor(ui, inner, edit, state, asks);
    if let Some(list) = list {
        faults(ui, list, edit, state, asks);
    }
}

fn editor(ui: &mut Ui, rect: Rect, edit: &PlanEdit, state: &mut TextState, asks: &mut Vec<Ask>) {
    let colours = Colours::of(ui);
    if state.version != edit.version {
        state.version = edit.version;
        state.text.clear();
        state.text.push_str(&edit.text);
    }
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(rect).id_salt("plan text"));
    let row = ui.fonts_mut(|fonts| fonts.row_height(&theme::mono(NOTE)));
    let mut scroll = egui::ScrollArea::both().auto_shrink(false);
    let line = match state.go.take() {
        Some(line) => Some(line),
        // What was taken in hand elsewhere is brought into sight.
        None if state.at != edit.at && !has_focus(ui) => Some(edit.lines.start),
        None => None,
    };
    edit.at.clone_into(&mut state.at);
    if let Some(line) = line.filter(|line| *line > 0) {
        let line = line.saturating_sub(edit.first_line);
        scroll = scroll.vertical_scroll_offset((count(line) * row - rect.height() / 3.0).max(0.0));
    }
    scroll.show(&mut child, |ui| {
        let first = edit.first_line;
        let mut layouter = |ui: &Ui, text: &dyn egui::TextBuffer, _: f32| {
            ui.fonts_mut(|fonts| {
                fonts.layout_job(job(text.as_str(), first, &edit.faults, &colours))
            })
        };
        // The numbers of the lines stand in the margin.
        let shape = ui.painter().add(egui::Shape::Noop);
        let output = egui::TextEdit::multiline(&mut state.text)
            .id(id())
            .font(theme::mono(NOTE))
            .code_editor()
            .frame(egui::Frame::NONE.inner_margin(egui::Margin {
                left: 44,
                ..egui::Margin::ZERO
            }))
            .desired_width(f32::INFINITY)
            .desired_rows(4)
            .layouter(&mut layouter)
            .show(ui);
        let response = output.response.response.accessible_name("Plan as text");
        let origin = output.galley_pos;
        let clip = ui.clip_rect();
        let mut line = first;
        let mut begins = true;
        let mut tinted: Option<Rect> = None;
        for own in &output.galley.rows {
            let top = origin.y + own.pos.y;
            if top > clip.bottom() {
                break;
            }
            let place = Rect::from_min_size(
                pos2(response.rect.left(), top),
                vec2(response.rect.width(), own.row.size.y),
            );
            if place.bottom() >= clip.top() {
                if begins {
                    silent_line(
                        ui.painter(),
                        Rect::from_min_size(place.min, vec2(34.0, place.height())),
                        Align2::RIGHT_CENTER,
                        &line.to_string(),
                        theme::text(NOTE - 2.0),
                        colours.soft,
                    );
                }
                if edit.lines.contains(&line) {
                    let band =
                        Rect::from_min_max(pos2(place.left() + 38.0, place.top()), place.max);
                    tinted = Some(tinted.map_or(band, |before| before.union(band)));
                }
            }
            begins = own.ends_with_newline;
            if own.ends_with_newline {
                line += 1;
            }
        }
        if let Some(band) = tinted {
            ui.painter().set(
                shape,
                egui::Shape::rect_filled(band, 0.0, colours.next_tint),
            );
        }
        if response.changed() {
            asks.push(Ask::Plan(PlanAsk::Text(state.text.clone())));
        }
    });
}

/// The text in its colours.
fn job(text: &str, first: usize, faults: &[FaultView], colours: &Colours) -> LayoutJob {
    let mut job = LayoutJob::default();
    let plain = |colour: Color32| TextFormat::simple(theme::mono(NOTE), colour);
    for (index, line) in text.split_inclusive('\n').enumerate() {
        let begin = line.trim_start();
        let colour = if begin.starts_with('#') {
            colours.soft
        } else if begin.starts_with('[') {
            colours.next
        } else {
            colours.ink
        };
        let fault = faults
            .iter()
            .filter(|fault| fault.line == index + first)
            .min_by_key(|fault| fault.question);
        let Some(fault) = fault else {
            job.append(line, 0.0, plain(colour));
            continue;
        };
        let byte = |column: usize| {
            line.char_indices()
                .nth(column)
                .map_or(line.trim_end_matches('\n').len(), |(byte, _)| byte)
        };
        let start = byte(fault.column.saturating_sub(1));
        let end = byte(fault.column.saturating_sub(1) + fault.length.max(1)).max(start);
        let hue = if fault.question {
            colours.caution
        } else {
            colours.bad
        };
        let marked = TextFormat {
            underline: Stroke::new(2.0, hue),
            color: hue,
            ..plain(colour)
        };
        let part = |range: std::ops::Range<usize>| line.get(range).unwrap_or_default();
        job.append(part(0..start), 0.0, plain(colour));
        job.append(part(start..end), 0.0, marked);
        job.append(part(end..line.len()), 0.0, plain(colour));
    }
    job
}

/// Everything wrong or asked, to be gone to.
fn faults(ui: &mut Ui, rect: Rect, edit: &PlanEdit, state: &mut TextState, asks: &mut Vec<Ask>) {
    let colours = Colours::of(ui);
    let title = if edit.errors == 0 {
        "Questions"
    } else {
        "What is wrong"
    };
    let aside = match edit.errors {
        0 => String::new(),
        errors => format!("{errors} to put right"),
    };
    let inner = area(ui, rect, title, &aside);
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(inner).id_salt("faults"));
    egui::ScrollArea::vertical()
        .auto_shrink(false)
        .show(&mut child, |ui| {
            for fault in &edit.faults {
                one(ui, fault, &colours, state, asks);
            }
        });
}

fn one(
    ui: &mut Ui,
    fault: &FaultView,
    colours: &Colours,
    state: &mut TextState,
    asks: &mut Vec<Ask>,
) {
    let hue = if fault.question {
        colours.caution
    } else {
        colours.bad
    };
    let head = format!(
        "Line {}, column {}{}",
        fault.line,
        fault.column,
        if fault.question { ": a question" } else { "" }
    );
    let width = ui.available_width();
    let wrap = width - 20.0;
    let layout = |words: &str, font| ui.painter().words_wrapped(words, font, colours.ink, wrap);
    let words = layout(&fault.words, theme::strong(BODY - 1.0));
    let hint = layout(&fault.hint, theme::text(BODY - 1.0));
    let hint_height = if fault.hint.is_empty() {
        0.0
    } else {
        hint.size().y
    };
    let height = 22.0 + words.size().y + hint_height + 8.0;
    let (id, place) = ui.allocate_space(vec2(width, height.max(TARGET)));
    let response = ui.interact(place, id, egui::Sense::click());
    response.widget_info(|| {
        ink::labeled(
            egui::accesskit::Role::Button,
            true,
            format!("{head}: {}. {}", fault.words, fault.hint),
        )
    });
    if response.clicked() {
        state.go = Some(fault.line);
        asks.push(Ask::Plan(PlanAsk::Select(fault.path.clone())));
    }
    if response.hovered() {
        ui.painter().rect_filled(place, 0.0, colours.well);
    }
    ui.painter().rect_filled(
        Rect::from_min_size(place.min, vec2(4.0, place.height() - GAP / 2.0)),
        0.0,
        hue,
    );
    let left = place.left() + 14.0;
    let used = silent_line(
        ui.painter(),
        Rect::from_min_size(pos2(left, place.top()), vec2(wrap, 20.0)),
        Align2::LEFT_CENTER,
        &head,
        theme::strong(NOTE),
        hue,
    );
    let y = used.bottom() + 1.0;
    let below = y + words.size().y + 1.0;
    ui.painter().galley(pos2(left, y), words, colours.ink);
    ui.painter().galley(pos2(left, below), hint, colours.ink);
    widgets::focus_ring(ui, &response, place);
}
