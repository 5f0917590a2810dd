//! FRONT at an edge of the drawing: pressed at the edge where it is, and once more to take it away.
//!
//! Knows nothing of fasteners.

use super::super::super::edit_view::Draw;
use super::super::super::ink;
use super::super::super::theme::{self, Colours, NOTE, TARGET};
use super::super::super::widgets::{self, pressed, silent_line};
use egui::accesskit::Role;
use egui::{Align2, Key, Rect, Sense, Stroke, Ui, pos2, vec2};

const EDGES: [&str; 4] = ["left", "top", "right", "bottom"];

pub(super) fn show(ui: &Ui, rect: Rect, front: &str, free: bool, draw: &mut dyn FnMut(Draw)) {
    let colours = Colours::of(ui);
    let current = EDGES.iter().position(|edge| *edge == front);
    let size = vec2(
        84.0_f32.min(rect.width() / 4.0),
        TARGET.min(rect.height() / 3.0),
    );
    let middle = rect.center();
    let places = [
        Rect::from_min_size(pos2(rect.left(), middle.y - size.y / 2.0), size),
        Rect::from_min_size(pos2(middle.x - size.x / 2.0, rect.top()), size),
        Rect::from_min_size(pos2(rect.right() - size.x, middle.y - size.y / 2.0), size),
        Rect::from_min_size(pos2(middle.x - size.x / 2.0, rect.bottom() - size.y), size),
    ];
    let inward = [
        Align2::LEFT_CENTER,
        Align2::CENTER_TOP,
        Align2::RIGHT_CENTER,
        Align2::CENTER_BOTTOM,
    ];
    let mut wanted = None;
    for (at, ((edge, place), align)) in EDGES.iter().zip(places).zip(inward).enumerate() {
        let id = ui.scope_id().with(("front", edge));
        let response = ui.interact(place, id, Sense::click());
        let is_here = current == Some(at);
        let spoken = format!("FRONT: {edge}");
        response.widget_info(|| ink::selected(Role::Button, true, is_here, &spoken));
        if is_here {
            let (painter, font) = (ui.painter(), theme::strong(NOTE + 1.0));
            silent_line(
                painter,
                place.shrink(6.0),
                align,
                "FRONT",
                font,
                colours.ink,
            );
        } else if response.hovered() || response.has_focus() {
            let (painter, font) = (ui.painter(), theme::text(NOTE));
            silent_line(
                painter,
                place.shrink(6.0),
                align,
                "FRONT?",
                font,
                colours.soft,
            );
            ui.painter().rect_stroke(
                place.shrink(2.0),
                2.0,
                Stroke::new(1.0, colours.outline),
                egui::StrokeKind::Inside,
            );
        }
        widgets::focus_ring(ui, &response, place);
        if free && response.clicked() {
            wanted = Some(if is_here { "" } else { edge });
        }
    }
    if free && pressed(ui, Key::F) {
        // Round the edges, then none.
        let next = current.map_or(0, |at| at.saturating_add(1));
        wanted = Some(EDGES.get(next).copied().unwrap_or(""));
    }
    if let Some(edge) = wanted {
        draw(Draw::Front(edge.to_owned()));
    }
}
