//! Which plan to open: the builds opened lately with how far each is, a dialog, or a path typed.
//!
//! Knows nothing of where the list comes from.

use super::ink;
use super::marks;
use super::theme::{self, BODY, Colours, GAP, NOTE, TARGET};
use super::view::{Ask, RecentRow, Wanted};
use super::widgets::{self, Look, button, count, focus_ring, silent_line};
use egui::accesskit::Role;
use egui::{Align2, Rect, Sense, Stroke, StrokeKind, Ui, pos2, vec2};
use std::path::PathBuf;

/// Height of a build: what it is, and below how far.
const ROW: f32 = 58.0;
/// Height of what comes behind them: the dialog, and the line to type.
const REST: f32 = TARGET + GAP + 82.0;
/// As many as there are keys, and one for the dialog.
const SHOWN: usize = 8;

/// How high the list is.
pub(super) fn height(rows: &[RecentRow]) -> f32 {
    count(rows.len().min(SHOWN)) * (ROW + GAP) + REST
}

/// Draws it; returns what is asked for.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    rows: &[RecentRow],
    typed: &mut String,
    closes: bool,
) -> Option<Ask> {
    let (above, rest) = widgets::cut_bottom(rect, REST);
    let mut taken = None;
    let mut y = above.top();
    let is_typing = !typed.is_empty();
    let mut shown = 0;
    for (index, row) in rows.iter().take(SHOWN).enumerate() {
        let place = Rect::from_min_size(pos2(above.left(), y), vec2(above.width(), ROW));
        y += ROW + GAP;
        if place.bottom() > above.bottom() + 1.0 {
            // A small window has fewer of them; the rest is behind the dialog.
            break;
        }
        shown = index.saturating_add(1);
        let key = widgets::DIGITS.get(index).copied();
        let cap = key.map_or("", egui::Key::name);
        let by_key = !is_typing && key.is_some_and(|key| super::overlay::digit(ui, key));
        if build(ui, place, row, cap) || by_key {
            taken = Some(Ask::OpenPlan(row.plan.clone()));
        }
    }
    let (dialog, rest) = widgets::cut_top(rest, TARGET);
    let key = widgets::DIGITS.get(shown).copied();
    let by_key = !is_typing && key.is_some_and(|key| super::overlay::digit(ui, key));
    let cap = key.map_or("", egui::Key::name);
    let words = "Choose it in a dialog";
    if button(ui, dialog, words, cap, Look::Plain, true).clicked() || by_key {
        taken = Some(Ask::Choose(Wanted::Plan));
    }
    let line = (
        typed,
        Ask::OpenPlan(PathBuf::new()),
        "or type its path, then Enter",
    );
    let other = super::overlay::list(ui, rest, &[], Some(line), closes || taken.is_some());
    taken.or(other)
}

/// One build, two lines; whether it was pressed.
fn build(ui: &mut Ui, place: Rect, row: &RecentRow, cap: &str) -> bool {
    let colours = Colours::of(ui);
    let response = ui.interact(place, ui.scope_id().with(("recent", cap)), Sense::click());
    let said = format!("{}: {}", row.what, row.line);
    response.widget_info(|| ink::labeled(Role::Button, true, &said));
    let ground = if response.hovered() {
        colours.well
    } else {
        colours.sheet
    };
    widgets::plate(ui, place, ground, Stroke::new(1.0, colours.outline));
    let painter = ui.painter();
    let inner = place.shrink2(vec2(12.0, 5.0));
    let room = {
        let galley = ink::Ink::words_in_line(painter, cap, theme::strong(NOTE), colours.ink);
        let (right, middle) = (inner.right(), inner.center().y);
        let own = Rect::from_min_max(
            pos2(right - galley.size().x - 12.0, middle - 12.0),
            pos2(right, middle + 12.0),
        );
        painter.rect_stroke(own, 3.0, Stroke::new(1.0, colours.ink), StrokeKind::Inside);
        painter.galley(own.center() - galley.size() / 2.0, galley, colours.ink);
        Rect::from_min_max(inner.min, pos2(own.left() - 8.0, inner.bottom()))
    };
    let (upper, lower) = widgets::cut_top(room, room.height() / 2.0);
    let left = Align2::LEFT_CENTER;
    silent_line(
        painter,
        upper,
        left,
        &row.what,
        theme::strong(BODY),
        colours.ink,
    );
    let lower = match row.mark {
        Some(mark) => {
            let centre = lower.left_center() + vec2(7.0, 0.0);
            marks::draw(painter, &colours, mark, centre, 6.0);
            Rect::from_min_max(lower.min + vec2(20.0, 0.0), lower.max)
        }
        None => lower,
    };
    let tint = if row.is_there {
        colours.soft
    } else {
        colours.bad
    };
    silent_line(painter, lower, left, &row.line, theme::text(NOTE), tint);
    focus_ring(ui, &response, place);
    response.clicked() && !cap.is_empty()
}
