//! From mm on the part to points of the screen and back, with the step that clicks keep to.
//!
//! Knows nothing of what is drawn.

use super::super::super::edit_view::DrawingView;
use egui::{Pos2, Rect, pos2};

/// From mm to the screen and back.
pub(super) struct Scale {
    centre: Pos2,
    middle: (f64, f64),
    /// Points a mm.
    zoom: f64,
    /// The step that clicks keep to, in mm.
    pub(super) step: f64,
}

impl Scale {
    pub(super) fn of(rect: Rect, drawing: &DrawingView) -> Self {
        let corners = drawing.picture.iter().flat_map(|picture| {
            let (width, height) = picture.size();
            [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]
                .map(|corner| picture.laid.place(corner))
        });
        let fasteners = drawing.fasteners.iter().map(|(_, x, y)| (*x, *y));
        let mut places = fasteners.chain(corners);
        let (mut low, mut high) = ((-100.0_f64, -60.0_f64), (100.0_f64, 60.0_f64));
        if let Some(first) = places.next() {
            (low, high) = (first, first);
            for (x, y) in places {
                low = (low.0.min(x), low.1.min(y));
                high = (high.0.max(x), high.1.max(y));
            }
        }
        // Room around them for more.
        let span = (high.0 - low.0).max(high.1 - low.1);
        let room = if drawing.picture.is_some() {
            span * 0.03
        } else {
            (span * 0.2).max(20.0)
        };
        let (wide, tall) = (high.0 - low.0 + room * 2.0, high.1 - low.1 + room * 2.0);
        let zoom = (f64::from(rect.width()) / wide)
            .min(f64::from(rect.height()) / tall)
            .max(0.001);
        let steps = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 500.0];
        let step = steps.into_iter().find(|step| step * zoom >= 9.0);
        Self {
            centre: rect.center(),
            middle: ((low.0 + high.0) / 2.0, (low.1 + high.1) / 2.0),
            zoom,
            step: step.unwrap_or(1_000.0),
        }
    }

    #[expect(
        clippy::cast_possible_truncation,
        reason = "points of a screen, from mm that the plan bounds"
    )]
    pub(super) fn screen(&self, x: f64, y: f64) -> Pos2 {
        pos2(
            self.centre.x + ((x - self.middle.0) * self.zoom) as f32,
            self.centre.y - ((y - self.middle.1) * self.zoom) as f32,
        )
    }

    pub(super) fn mm(&self, at: Pos2) -> (f64, f64) {
        (
            self.middle.0 + f64::from(at.x - self.centre.x) / self.zoom,
            self.middle.1 - f64::from(at.y - self.centre.y) / self.zoom,
        )
    }

    /// In line with another fastener where it nearly is, else on the step.
    pub(super) fn snapped(&self, at: Pos2, others: &[(f64, f64)]) -> (f64, f64) {
        let (x, y) = self.mm(at);
        let near = 7.0 / self.zoom;
        let along = |value: f64, own: &dyn Fn(&(f64, f64)) -> f64| {
            let other = others.iter().map(own);
            let other = other.min_by(|a, b| (a - value).abs().total_cmp(&(b - value).abs()));
            match other {
                Some(other) if (other - value).abs() <= near => other,
                _ => (value / self.step).round() * self.step,
            }
        };
        (along(x, &|place| place.0), along(y, &|place| place.1))
    }
}
