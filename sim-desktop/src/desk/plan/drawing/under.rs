//! The picture under the drawing: painted where it lies, and two of its points clicked whose places are known.
//!
//! Knows nothing of files.

use super::super::super::edit_view::{Draw, DrawingView, PictureView};
use super::super::super::photo::Photo;
use super::super::super::theme::{self, Colours, NOTE};
use super::super::super::widgets::silent_line;
use super::Scale;
use crate::picture::Laid;
use egui::{Align2, Rect, Stroke, Ui, vec2};

/// What is remembered of it.
#[derive(Clone, Debug, Default)]
pub(super) struct Under {
    photo: Photo,
    /// Pixels of the picture, clicked.
    points: Vec<(f64, f64)>,
    /// How it lay when they were clicked.
    lay: Option<Laid>,
}

impl Under {
    /// Forgets what was clicked.
    pub(super) fn forget(&mut self) {
        self.points.clear();
    }

    /// A pixel clicked, at a place of the drawing; beyond two, a first one anew.
    pub(super) fn click(&mut self, drawing: &DrawingView, place: (f64, f64)) {
        let Some(picture) = shown(drawing) else {
            return;
        };
        let (right, down) = picture.laid.pixel(place);
        let (width, height) = picture.size();
        if !(0.0..=width).contains(&right) || !(0.0..=height).contains(&down) {
            return;
        }
        if self.points.len() > 1 {
            self.points.clear();
        }
        self.lay = Some(picture.laid);
        self.points.push((right, down));
    }

    /// Both points, once there are two.
    pub(super) fn both(&self) -> Option<[(f64, f64); 2]> {
        self.points.as_slice().try_into().ok()
    }

    /// What to do next.
    pub(super) fn said(&self, drawing: &DrawingView) -> String {
        let Some(picture) = &drawing.picture else {
            return "No picture lies under this joint: C chooses a PNG or JPEG, taken from straight above."
                .to_owned();
        };
        if let Err(why) = &picture.shown {
            return why.clone();
        }
        let how = if picture.is_scaled {
            format!("{} is scaled. ", picture.file)
        } else {
            format!("{} has no scale yet. ", picture.file)
        };
        how + match self.points.len() {
            0 => "Click two points whose places you know (arrows and Enter do it too).",
            1 => "Click the second point, far from the first.",
            _ => "Type below what lies between them: 180 mm, or two fasteners: 3, 7.",
        }
    }

    pub(super) fn paint(&mut self, ui: &Ui, rect: Rect, drawing: &DrawingView, scale: &Scale) {
        let Some(view) = shown(drawing) else {
            self.photo.forget();
            return;
        };
        if self.lay.is_some_and(|lay| lay != view.laid) {
            // What was clicked has told where it lies.
            self.points.clear();
            self.lay = None;
        }
        let Ok(picture) = &view.shown else { return };
        // Paper by day; at night it must not outshine what is drawn on it.
        let alpha = if ui.visuals().dark_mode { 110 } else { 170 };
        let screen = |(x, y)| scale.screen(x, y);
        self.photo
            .paint(ui, rect, (picture, &view.laid), alpha, screen);
    }

    /// The points clicked so far.
    pub(super) fn points(
        &self,
        ui: &Ui,
        rect: Rect,
        drawing: &DrawingView,
        scale: &Scale,
        colours: &Colours,
    ) {
        let Some(view) = shown(drawing) else { return };
        let painter = ui.painter().with_clip_rect(rect);
        for (index, pixel) in self.points.iter().enumerate() {
            let (x, y) = view.laid.place(*pixel);
            let at = scale.screen(x, y);
            for (wide, colour) in [(5.0, colours.sheet), (2.0, colours.bad)] {
                let stroke = Stroke::new(wide, colour);
                painter.circle_stroke(at, 10.0, stroke);
                painter.hline(at.x - 16.0..=at.x + 16.0, at.y, stroke);
                painter.vline(at.x, at.y - 16.0..=at.y + 16.0, stroke);
            }
            let words = index.saturating_add(1).to_string();
            let place = Rect::from_min_size(at + vec2(12.0, -30.0), vec2(24.0, 20.0));
            painter.rect_filled(place.with_max_x(place.left() + 14.0), 2.0, colours.sheet);
            let font = theme::strong(NOTE);
            silent_line(
                &painter,
                place.translate(vec2(3.0, 0.0)),
                Align2::LEFT_CENTER,
                &words,
                font,
                colours.bad,
            );
        }
    }

    /// What was typed of both points, as it is asked for.
    pub(super) fn scaled(&self, typed: &str) -> Option<Draw> {
        Some(Draw::Scale(self.both()?, typed.to_owned()))
    }
}

fn shown(drawing: &DrawingView) -> Option<&PictureView> {
    drawing.picture.as_ref().filter(|own| own.shown.is_ok())
}
