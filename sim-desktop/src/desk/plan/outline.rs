//! The outline of the plan: one line for each thing in it, with a mark at what is wrong.
//!
//! Knows nothing of what the lines mean.

use super::super::edit_view::PlanAsk;
use super::super::ink;
use super::super::theme::{self, BODY, Colours, NOTE, TARGET};
use super::super::view::{Ask, DeskView, Mark};
use super::super::widgets::{self, area, count, focus_ring, silent_line};
use egui::accesskit::Role;
use egui::{Align2, Rect, Sense, Ui, pos2, vec2};

/// What the outline remembers.
#[derive(Clone, Debug, Default)]
pub(super) struct OutlineState {
    /// What was in hand in the last frame.
    shown: String,
}

/// Draws it.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut OutlineState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let colours = Colours::of(ui);
    let edit = &*view.edit;
    let name = match &edit.path {
        Some(path) => path.file_name().map_or_else(
            || path.display().to_string(),
            |name| name.to_string_lossy().into_owned(),
        ),
        None if !edit.is_new && view.plan.is_demo => "Built-in demo".to_owned(),
        None => "A new plan".to_owned(),
    };
    let inner = area(ui, rect, &name, "");
    let (standing, hue) = match (edit.errors, edit.unsaved) {
        (0, false) => ("saved".to_owned(), colours.soft),
        (0, true) => ("not saved".to_owned(), colours.caution),
        (errors, unsaved) => {
            let faults = if errors == 1 { "fault" } else { "faults" };
            let saved = if unsaved {
                "not saved"
            } else {
                "saved with faults"
            };
            (format!("{errors} {faults}, {saved}"), colours.bad)
        }
    };
    let standing = if edit.checking {
        format!("{standing}, being checked")
    } else {
        standing
    };
    let (head, list) = widgets::cut_top(inner, 22.0);
    widgets::line(
        ui,
        head,
        Align2::LEFT_CENTER,
        &standing,
        theme::strong(NOTE),
        hue,
    );
    let at = edit.rows.iter().position(|row| row.path == edit.at);
    let moved = state.shown != edit.at;
    edit.at.clone_into(&mut state.shown);
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(list).id_salt("outline"));
    child.spacing_mut().item_spacing.y = 0.0;
    let mut scroll = egui::ScrollArea::vertical().auto_shrink(false);
    if let (Some(at), true) = (at, moved) {
        // In the middle, so that what is before and behind is seen.
        let offset = count(at) * TARGET - list.height() / 2.0 + TARGET;
        scroll = scroll.vertical_scroll_offset(offset.max(0.0));
    }
    scroll.show_rows(&mut child, TARGET, edit.rows.len(), |ui, range| {
        let width = ui.available_width();
        for row in edit.rows.get(range).unwrap_or_default() {
            let (_, place) = ui.allocate_space(vec2(width, TARGET));
            let id = ui.scope_id().with(("outline", &row.path));
            let response = ui.interact(place, id, Sense::click());
            let here = row.path == edit.at;
            let said = match (row.errors, row.questions) {
                (0, 0) if row.checked => format!("{}: compared", row.words),
                (0, 0) => row.words.clone(),
                (0, _) => format!("{}: a question", row.words),
                _ => format!("{}: to put right", row.words),
            };
            response.widget_info(|| ink::selected(Role::TreeItem, true, here, &said));
            if here {
                ui.painter().rect_filled(place, 0.0, colours.next_tint);
                ui.painter().rect_filled(
                    Rect::from_min_size(place.min, vec2(5.0, place.height())),
                    0.0,
                    colours.next,
                );
            } else if response.hovered() {
                ui.painter().rect_filled(place, 0.0, colours.well);
            }
            let left = place.left() + 12.0 + 16.0 * count(row.depth);
            let mut room = Rect::from_min_max(pos2(left, place.top()), place.max);
            if row.errors > 0 || row.questions > 0 {
                let mark = if row.errors > 0 {
                    Mark::Rejected
                } else {
                    Mark::Doubtful
                };
                let centre = pos2(room.right() - 12.0, room.center().y);
                super::super::marks::draw(ui.painter(), &colours, mark, centre, 8.0);
                room.max.x -= 26.0;
            }
            if row.checked {
                let centre = pos2(room.right() - 12.0, room.center().y);
                super::super::marks::draw(ui.painter(), &colours, Mark::Accepted, centre, 7.0);
                room.max.x -= 26.0;
            }
            let font = if row.depth == 0 {
                theme::strong(BODY - 1.0)
            } else {
                theme::text(BODY - 1.0)
            };
            silent_line(
                ui.painter(),
                room,
                Align2::LEFT_CENTER,
                &row.words,
                font,
                colours.ink,
            );
            widgets::rule(ui, place.left(), place.right(), place.bottom());
            focus_ring(ui, &response, place.shrink(4.0));
            if response.clicked() && free {
                asks.push(Ask::Plan(PlanAsk::Select(row.path.clone())));
            }
        }
    });
}
