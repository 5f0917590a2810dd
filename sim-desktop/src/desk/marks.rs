//! State marks as drawn shapes: told apart by outline alone, so that grey paper and tired eyes are enough.
//!
//! A fastener is a hexagon seen from above; what is inside and around it says how far it is. Knows nothing of screens.

use super::theme::Colours;
use super::view::{Cue, Mark};
use crate::mark::{self, Corner, Hue, LINE};
use egui::epaint::PathStroke;
use egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, Vec2, vec2};
use std::f32::consts::TAU;

/// The colour that goes with a mark.
#[must_use]
pub(super) const fn colour(colours: &Colours, mark: Mark) -> Color32 {
    match mark.hue() {
        Hue::Quiet | Hue::Told => colours.soft,
        Hue::Next => colours.next,
        Hue::Good => colours.good,
        Hue::Caution => colours.caution,
        Hue::Bad => colours.bad,
        Hue::Trial => colours.rehearsal,
    }
}

fn polygon(centre: Pos2, radius: f32, corners: u16, turn: f32) -> Vec<Pos2> {
    (0..corners)
        .map(|corner| {
            centre + radius * Vec2::angled(TAU * (f32::from(corner) / f32::from(corners) + turn))
        })
        .collect()
}

/// A hexagon head of this radius (to its corners), flats up and down.
#[must_use]
pub(super) fn hexagon(centre: Pos2, radius: f32) -> Vec<Pos2> {
    polygon(centre, radius, 6, 0.0)
}

fn fill(painter: &Painter, points: Vec<Pos2>, fill: Color32, stroke: Stroke) {
    painter.add(Shape::convex_polygon(points, fill, stroke));
}

fn outline(painter: &Painter, points: Vec<Pos2>, stroke: Stroke) {
    painter.add(Shape::closed_line(points, PathStroke::from(stroke)));
}

/// A tick inside a square of this radius.
pub(super) fn tick(painter: &Painter, centre: Pos2, radius: f32, stroke: Stroke) {
    let at = |x: f32, y: f32| centre + radius * vec2(x, y);
    painter.line(
        vec![at(-0.48, 0.02), at(-0.12, 0.4), at(0.52, -0.4)],
        stroke,
    );
}

fn cross(painter: &Painter, centre: Pos2, radius: f32, stroke: Stroke) {
    for (x, y) in [(1.0, 1.0), (1.0, -1.0)] {
        let half = radius * 0.42 * vec2(x, y);
        painter.line_segment([centre - half, centre + half], stroke);
    }
}

/// Draws the mark for itself, `radius` from its centre to its tips.
pub(super) fn draw(painter: &Painter, colours: &Colours, mark: Mark, centre: Pos2, radius: f32) {
    let hue = colour(colours, mark);
    let line = Stroke::new((radius * LINE).max(1.5), hue);
    let place = |corners: &[Corner]| -> Vec<Pos2> {
        let at = |(x, y): &Corner| centre + radius * vec2(*x, *y);
        corners.iter().map(at).collect()
    };
    for stroke in mark.shape() {
        match stroke {
            mark::Stroke::Area(corners) => fill(painter, place(corners), hue, Stroke::NONE),
            mark::Stroke::Outline(corners) => outline(painter, place(corners), line),
            mark::Stroke::Dashes(corners) => {
                let mut ring = place(corners);
                ring.extend(ring.first().copied());
                painter.extend(Shape::dashed_line(&ring, line, radius * 0.4, radius * 0.28));
            }
            mark::Stroke::Line(corners) => {
                painter.line(place(corners), line);
            }
            mark::Stroke::Cut(corners) => {
                painter.line(place(corners), Stroke::new(line.width, colours.sheet));
            }
            mark::Stroke::Ring(share) => {
                painter.circle_stroke(centre, radius * share, line);
            }
        }
    }
}

/// The shape that goes with a cue: what the hand should do, told from across the shop.
pub(super) fn draw_cue(painter: &Painter, colours: &Colours, cue: Cue, centre: Pos2, radius: f32) {
    let at = |x: f32, y: f32| centre + radius * vec2(x, y);
    let arrow = |from: f32, hue: Color32| {
        fill(
            painter,
            vec![at(from, -0.8), at(from + 0.8, 0.0), at(from, 0.8)],
            hue,
            Stroke::NONE,
        );
    };
    match cue {
        Cue::Ready => outline(
            painter,
            vec![at(-0.5, -0.85), at(0.75, 0.0), at(-0.5, 0.85)],
            Stroke::new(radius * 0.2, colours.next),
        ),
        Cue::Pull => {
            arrow(-0.85, colours.next);
            arrow(0.0, colours.next);
        }
        Cue::Slow => {
            let bar = Rect::from_min_max(at(0.55, -0.8), at(0.85, 0.8));
            arrow(-0.5, colours.caution);
            painter.rect_filled(bar, 0.0, colours.caution);
        }
        Cue::Stop => {
            painter.circle_filled(centre, radius, colours.good);
            tick(
                painter,
                centre,
                radius,
                Stroke::new(radius * 0.22, colours.sheet),
            );
        }
        Cue::Halt => {
            fill(
                painter,
                polygon(centre, radius * 1.05, 8, 0.0625),
                colours.bad,
                Stroke::NONE,
            );
            cross(
                painter,
                centre,
                radius,
                Stroke::new(radius * 0.24, colours.sheet),
            );
        }
        Cue::Release => {
            let hue = colours.ink;
            fill(
                painter,
                vec![at(-0.75, 0.1), at(0.0, 0.9), at(0.75, 0.1)],
                hue,
                Stroke::NONE,
            );
            painter.rect_filled(
                Rect::from_min_max(at(-0.22, -0.9), at(0.22, 0.15)),
                0.0,
                hue,
            );
        }
        Cue::Storing => {
            painter.circle_stroke(
                centre,
                radius * 0.85,
                Stroke::new(radius * 0.2, colours.soft),
            );
            painter.circle_filled(centre, radius * 0.35, colours.soft);
        }
        Cue::Wait => draw(painter, colours, Mark::Waiting, centre, radius),
    }
}

/// The hue of a cue, for its words and for the bar.
#[must_use]
pub(super) fn cue_colour(colours: &Colours, cue: Cue) -> Color32 {
    match cue {
        Cue::Ready | Cue::Pull => colours.next,
        Cue::Slow | Cue::Wait => colours.caution,
        Cue::Stop => colours.good,
        Cue::Halt => colours.bad,
        Cue::Release | Cue::Storing => colours.ink,
    }
}
