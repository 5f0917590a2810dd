//! The plan: its text with every finding at its line, and a form that writes the common new plans.
//!
//! Knows nothing of the plan's grammar beyond what the form writes; checking is asked for, not done here.

use super::form::{self, PlanForm};
use super::ink::{self, Ink as _};
use super::overlay::Overlay;
use super::theme::{self, BODY, Colours, GAP, NOTE, TARGET};
use super::view::{Ask, DeskView, Finding, Wanted};
use super::widgets::{
    self, Look, area, button, count, cut_bottom, cut_left, paragraph, pressed, split_across,
};
use egui::{Align2, Key, Rect, Shape, Stroke, Ui, pos2, vec2};

/// What the screen remembers.
#[derive(Clone, Debug, Default)]
pub(super) struct PlanState {
    /// The form, while a new plan is being written.
    pub form: Option<PlanForm>,
    /// The finding the text is scrolled to.
    shown: Option<usize>,
    /// A finding just chosen: scroll to it.
    go: bool,
}

impl PlanState {
    /// Begins a new plan.
    pub(super) fn begin(&mut self) {
        self.form = Some(PlanForm::default());
    }
}

/// Draws the screen.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut PlanState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let free = overlay.is_none();
    if let Some(form) = &mut state.form {
        match form::show(ui, rect, form, free, asks) {
            form::Done::Open => {}
            form::Done::Leave => state.form = None,
        }
        return;
    }
    let (body, foot) = cut_bottom(rect, TARGET);
    let findings = &view.plan.findings;
    let (text_place, list_place) = cut_left(
        body,
        body.width() * if findings.is_empty() { 0.72 } else { 0.6 },
    );
    text(ui, text_place, view, state);
    list(ui, list_place, view, state, free);
    let places = split_across(foot, 3);
    if button(ui, places[0], "Open a plan", "O", Look::Plain, free).clicked()
        || (free && pressed(ui, Key::O))
    {
        *overlay = Some(Overlay::file(Wanted::Plan));
    }
    if button(
        ui,
        places[1],
        "New plan from a form",
        "E",
        Look::Plain,
        free,
    )
    .clicked()
        || (free && pressed(ui, Key::E))
    {
        state.begin();
    }
    let changed = view.plan.changed_on_disk;
    let able = free && view.plan.path.is_some();
    let words = if changed {
        "Read it: changed on disk"
    } else {
        "Read it again"
    };
    if button(
        ui,
        places[2],
        words,
        "U",
        if changed { Look::Advised } else { Look::Plain },
        able,
    )
    .clicked()
        || (able && pressed(ui, Key::U))
    {
        asks.push(Ask::ReloadPlan);
    }
}

fn text(ui: &mut Ui, rect: Rect, view: &DeskView, state: &mut PlanState) {
    let colours = Colours::of(ui);
    let name = view.plan.path.as_ref().map_or_else(
        || "The built-in plan".to_owned(),
        |path| path.display().to_string(),
    );
    let lines: Vec<&str> = view.plan.text.lines().collect();
    let inner = area(ui, rect, &name, &format!("{} lines", lines.len()));
    let height = 24.0;
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(inner).id_salt("plan text"));
    child.spacing_mut().item_spacing.y = 0.0;
    let mut scroll = egui::ScrollArea::vertical().auto_shrink(false);
    if state.go {
        state.go = false;
        let target = state
            .shown
            .and_then(|index| view.plan.findings.get(index))
            .map_or(0, |finding| finding.line);
        scroll = scroll.vertical_scroll_offset((count(target.saturating_sub(5)) * height).max(0.0));
    }
    scroll.show_rows(&mut child, height, lines.len(), |ui, range| {
        let width = ui.available_width();
        for index in range {
            let words = lines.get(index).copied().unwrap_or_default();
            let (_, row) = ui.allocate_space(vec2(width, height));
            let here: Vec<&Finding> = view
                .plan
                .findings
                .iter()
                .filter(|finding| finding.line == index + 1)
                .collect();
            if let Some(worst) = here.iter().min_by_key(|finding| finding.warning) {
                ui.painter().rect_filled(
                    row,
                    0.0,
                    if worst.warning {
                        colours.caution_tint
                    } else {
                        colours.bad_tint
                    },
                );
            }
            let number = Rect::from_min_size(row.min, vec2(38.0, height));
            widgets::silent_line(
                ui.painter(),
                number,
                Align2::RIGHT_CENTER,
                &(index + 1).to_string(),
                theme::text(NOTE),
                colours.soft,
            );
            let room = Rect::from_min_max(pos2(row.left() + 50.0, row.top()), row.max);
            let colour = if words.trim_start().starts_with('#') {
                colours.soft
            } else {
                colours.ink
            };
            let font = if words.starts_with('[') {
                theme::strong(BODY - 1.0)
            } else {
                theme::text(BODY - 1.0)
            };
            let galley = ui
                .painter()
                .words_in_line(words.replace('\t', "    "), font, colour);
            let origin = pos2(room.left(), room.center().y - galley.size().y / 2.0);
            for finding in here {
                let x = |column: usize| {
                    origin.x
                        + galley
                            .pos_from_cursor(egui::text::CCursor::new(column))
                            .min
                            .x
                };
                let (from, to) = (
                    x(finding.column.saturating_sub(1)),
                    x(finding.column.saturating_sub(1) + finding.length.max(1)),
                );
                underline(
                    ui,
                    from,
                    to.max(from + 8.0),
                    row.bottom() - 2.5,
                    if finding.warning {
                        colours.caution
                    } else {
                        colours.bad
                    },
                );
            }
            ui.painter()
                .with_clip_rect(room.intersect(ui.clip_rect()))
                .galley(origin, galley, colour);
            widgets::speak(ui, row, &format!("{}: {words}", index + 1));
        }
    });
}

/// A saw-tooth under the words, as wide as they are.
fn underline(ui: &Ui, from: f32, to: f32, y: f32, colour: egui::Color32) {
    let mut points = Vec::new();
    let mut x = from;
    let mut up = false;
    while x <= to {
        points.push(pos2(x, if up { y - 3.0 } else { y }));
        up = !up;
        x += 4.0;
    }
    ui.painter()
        .add(Shape::line(points, Stroke::new(1.5, colour)));
}

fn list(ui: &mut Ui, rect: Rect, view: &DeskView, state: &mut PlanState, free: bool) {
    let colours = Colours::of(ui);
    let findings = &view.plan.findings;
    let errors = findings.iter().filter(|finding| !finding.warning).count();
    let title = match (errors, findings.len()) {
        (0, 0) => "Nothing wrong with it",
        (0, _) => "Questions",
        (_, _) => "What is wrong",
    };
    let inner = area(
        ui,
        rect,
        title,
        &if findings.is_empty() {
            String::new()
        } else {
            format!("{errors} to put right")
        },
    );
    if findings.is_empty() {
        let words =
            "Every line was understood. The file is watched: a change on disk is read at once.";
        paragraph(ui, inner, words, theme::text(BODY), colours.soft);
        return;
    }
    if free && ui.memory(|memory| memory.focused().is_none()) {
        for (key, step) in [(Key::ArrowDown, 1), (Key::ArrowUp, findings.len() - 1)] {
            if pressed(ui, key) {
                state.shown = Some(
                    state
                        .shown
                        .map_or(0, |shown| (shown + step) % findings.len()),
                );
                state.go = true;
            }
        }
    }
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(inner).id_salt("findings"));
    egui::ScrollArea::vertical()
        .auto_shrink(false)
        .show(&mut child, |ui| {
            let width = ui.available_width();
            for (index, finding) in findings.iter().enumerate() {
                let hue = if finding.warning {
                    colours.caution
                } else {
                    colours.bad
                };
                let head = format!(
                    "Line {}, column {}{}",
                    finding.line,
                    finding.column,
                    if finding.warning { ": a question" } else { "" }
                );
                let wrap = width - 20.0;
                let words = ui.painter().words_wrapped(
                    finding.words.clone(),
                    theme::strong(BODY),
                    colours.ink,
                    wrap,
                );
                let hint = ui.painter().words_wrapped(
                    finding.hint.clone(),
                    theme::text(BODY),
                    colours.ink,
                    wrap,
                );
                let height = 22.0
                    + words.size().y
                    + if finding.hint.is_empty() {
                        0.0
                    } else {
                        hint.size().y + 2.0
                    }
                    + 14.0;
                let (id, place) = ui.allocate_space(vec2(width, height.max(TARGET)));
                let response = ui.interact(place, id, egui::Sense::click());
                response.widget_info(|| {
                    ink::labeled(
                        egui::accesskit::Role::Button,
                        true,
                        format!("{head}: {}. {}", finding.words, finding.hint),
                    )
                });
                if response.clicked() {
                    state.shown = Some(index);
                    state.go = true;
                }
                if state.shown == Some(index) || response.hovered() {
                    ui.painter().rect_filled(place, 0.0, colours.well);
                }
                ui.painter().rect_filled(
                    Rect::from_min_size(place.min, vec2(4.0, place.height() - GAP)),
                    0.0,
                    hue,
                );
                let left = place.left() + 14.0;
                let mut y = place.top() + 2.0;
                let used = widgets::silent_line(
                    ui.painter(),
                    Rect::from_min_size(pos2(left, y), vec2(wrap, 20.0)),
                    Align2::LEFT_CENTER,
                    &head,
                    theme::strong(NOTE),
                    hue,
                );
                y = used.bottom() + 2.0;
                ui.painter()
                    .galley(pos2(left, y), words.clone(), colours.ink);
                y += words.size().y + 2.0;
                ui.painter().galley(pos2(left, y), hint, colours.ink);
                widgets::focus_ring(ui, &response, place);
            }
        });
}
