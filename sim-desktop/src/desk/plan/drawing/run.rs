//! The order of work shown as it goes: one fastener after the other, once through, then still again.
//!
//! While it does not run it asks for no frame. Knows nothing of where the order comes from.

use std::time::Duration;

use super::super::super::edit_view::DrawingView;
use super::super::super::theme::{self, BODY, Colours};
use super::super::super::widgets::{between, count, silent_line};
use super::{RADIUS, Scale};
use crate::limited::Limited as _;
use egui::{Align2, Pos2, Rect, Stroke, Ui, vec2};

/// Seconds from one fastener to the next.
const STEP: f64 = 0.7;
/// Between two frames: smooth enough for a line that grows.
const FRAME: Duration = Duration::from_millis(33);

/// Whether it runs, and how far it is.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Run {
    /// When it began, in the window's seconds.
    began: Option<f64>,
    /// How many fasteners were reached, and how much of the way to the next is gone, from 0 to 1.
    at: (usize, f32),
}

impl Run {
    /// Begins at the first, or stops.
    pub(super) fn press(&mut self, ui: &Ui) {
        self.began = match self.began {
            Some(_) => None,
            None => Some(ui.input(|input| input.time)),
        };
        self.at = (1, 0.0);
        ui.ctx().request_repaint();
    }

    pub(super) const fn runs(&self) -> bool {
        self.began.is_some()
    }

    /// Goes on as far as the time is.
    pub(super) fn go_on(&mut self, ui: &Ui, drawing: &DrawingView) {
        let Some(began) = self.began else { return };
        let gone = (ui.input(|input| input.time) - began).max(0.0) / STEP;
        if gone >= f64::from(count(drawing.order.len())) {
            self.began = None;
            return;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "less than the 64 fasteners of a joint, and never below 0"
        )]
        let at = (gone as usize, gone.fract() as f32);
        self.at = (at.0.saturating_add(1), at.1);
        ui.ctx().request_repaint_after(FRAME);
    }

    /// How far it is, in words.
    pub(super) fn said(&self, drawing: &DrawingView) -> Option<String> {
        self.began?;
        let (reached, _) = self.at;
        let label = drawing.order.get(reached.checked_sub(1)?)?;
        Some(format!(
            "In order, {reached} of {}: fastener {label}. R stops it.",
            drawing.order.len()
        ))
    }

    pub(super) fn paint(&self, ui: &Ui, rect: Rect, drawing: &DrawingView, scale: &Scale) {
        if self.began.is_none() {
            return;
        }
        let colours = Colours::of(ui);
        let painter = ui.painter().with_clip_rect(rect);
        let places: Vec<(&String, Pos2)> = drawing
            .order
            .iter()
            .filter_map(|label| {
                let own = drawing.fasteners.iter().find(|(own, _, _)| own == label);
                own.map(|(_, x, y)| (label, scale.screen(*x, *y)))
            })
            .collect();
        let (reached, part) = self.at;
        if let Some([(_, from), (_, to)]) = places.get(reached.saturating_sub(1)..=reached) {
            // It stands a moment, then the line grows to the next.
            let grown = between(*from, *to, ((part - 0.4) / 0.6).limited(0.0, 1.0));
            painter.line_segment([*from, grown], Stroke::new(4.0, colours.next));
        }
        for (index, (label, at)) in places.iter().enumerate().take(reached) {
            let is_last = index.saturating_add(1) == reached;
            let (radius, fill, ink) = if is_last {
                (RADIUS + 5.0, colours.next, colours.on_next)
            } else {
                (RADIUS, colours.next_tint, colours.ink)
            };
            painter.circle(*at, radius, fill, Stroke::new(2.0, colours.ink));
            let place = Rect::from_center_size(*at, vec2(48.0, 48.0));
            let font = theme::strong(BODY - 1.0);
            silent_line(&painter, place, Align2::CENTER_CENTER, label, font, ink);
        }
    }
}
