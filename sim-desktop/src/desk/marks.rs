//! State marks as drawn shapes: told apart by outline alone, so that grey paper and tired eyes are enough.
//!
//! A fastener is a hexagon seen from above; what is inside and around it says how far it is. Knows nothing of screens.

use super::theme::Colours;
use super::view::{Cue, Mark};
use egui::epaint::PathStroke;
use egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};
use std::f32::consts::TAU;

/// The colour that goes with a mark.
#[must_use]
pub(super) fn colour(colours: &Colours, mark: Mark) -> Color32 {
    match mark {
        Mark::Open | Mark::Skipped => colours.soft,
        Mark::PartWay => colours.next,
        Mark::Accepted | Mark::Final => colours.good,
        Mark::Rejected => colours.bad,
        Mark::Held | Mark::Doubtful | Mark::Disturbed => colours.caution,
        Mark::MockUp => colours.rehearsal,
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

fn query(painter: &Painter, centre: Pos2, radius: f32, colour: Color32) {
    painter.text(
        centre,
        egui::Align2::CENTER_CENTER,
        "?",
        super::theme::strong(radius * 1.5),
        colour,
    );
}

/// Draws the mark for itself, `radius` from its centre to its tips.
pub(super) fn draw(painter: &Painter, colours: &Colours, mark: Mark, centre: Pos2, radius: f32) {
    let hue = colour(colours, mark);
    let width = (radius * 0.18).max(1.5);
    let line = Stroke::new(width, hue);
    let on = Stroke::new(width * 1.1, colours.sheet);
    match mark {
        // An empty hexagon.
        Mark::Open => outline(painter, hexagon(centre, radius), line),
        // Two bars: halted.
        Mark::Held => {
            for side in [-0.42, 0.42] {
                let bar = Rect::from_center_size(
                    centre + vec2(side * radius, 0.0),
                    vec2(0.42, 1.5) * radius,
                );
                painter.rect_filled(bar, 0.0, hue);
            }
        }
        // A hexagon filled to the half.
        Mark::PartWay => {
            let half: Vec<Pos2> = hexagon(centre, radius)
                .into_iter()
                .filter(|corner| corner.y >= centre.y - 0.01)
                .collect();
            fill(painter, half, hue, Stroke::NONE);
            outline(painter, hexagon(centre, radius), line);
        }
        // A filled hexagon with a tick.
        Mark::Accepted => {
            fill(painter, hexagon(centre, radius), hue, Stroke::NONE);
            tick(painter, centre, radius, on);
        }
        // The same inside a ring: the tamper mark is on.
        Mark::Final => {
            fill(painter, hexagon(centre, radius * 0.72), hue, Stroke::NONE);
            tick(painter, centre, radius * 0.72, on);
            painter.circle_stroke(centre, radius, Stroke::new(width * 0.8, hue));
        }
        // A filled square with a cross.
        Mark::Rejected => {
            let square = Rect::from_center_size(centre, Vec2::splat(radius * 1.75));
            painter.rect_filled(square, 0.0, hue);
            cross(painter, centre, radius, on);
        }
        // A triangle with a question mark.
        Mark::Doubtful => {
            let base = centre + vec2(0.0, radius * 0.18);
            fill(
                painter,
                polygon(base, radius * 1.18, 3, -0.25),
                hue,
                Stroke::NONE,
            );
            query(
                painter,
                base + vec2(0.0, radius * 0.02),
                radius * 0.82,
                colours.sheet,
            );
        }
        // A hexagon with its right half slipped down.
        Mark::Disturbed => {
            let corners = hexagon(centre, radius * 0.95);
            for (side, drop) in [(-1.0f32, -0.22f32), (1.0, 0.22)] {
                let mut half: Vec<Pos2> = corners
                    .iter()
                    .copied()
                    .filter(|corner| (corner.x - centre.x) * side > 0.0)
                    .collect();
                let top = pos2(centre.x + side * radius * 0.1, centre.y - radius * 0.82);
                let bottom = pos2(centre.x + side * radius * 0.1, centre.y + radius * 0.82);
                half.push(top);
                half.push(bottom);
                let middle = half
                    .iter()
                    .fold(Vec2::ZERO, |sum, corner| sum + corner.to_vec2())
                    / 5.0;
                half.sort_by(|a, b| {
                    (a.to_vec2() - middle)
                        .angle()
                        .total_cmp(&(b.to_vec2() - middle).angle())
                });
                for corner in &mut half {
                    corner.y += drop * radius;
                }
                fill(painter, half, hue, Stroke::NONE);
            }
        }
        // A circle struck through.
        Mark::Skipped => {
            painter.circle_stroke(centre, radius * 0.88, line);
            let half = radius * 0.62 * vec2(1.0, -1.0);
            painter.line_segment([centre - half, centre + half], line);
        }
        // A dashed square with an M.
        Mark::MockUp => {
            let square = Rect::from_center_size(centre, Vec2::splat(radius * 1.75));
            let ring = [
                square.left_top(),
                square.right_top(),
                square.right_bottom(),
                square.left_bottom(),
                square.left_top(),
            ];
            painter.extend(Shape::dashed_line(
                &ring,
                Stroke::new(width * 0.8, hue),
                radius * 0.4,
                radius * 0.28,
            ));
            painter.text(
                centre,
                egui::Align2::CENTER_CENTER,
                "M",
                super::theme::strong(radius * 1.3),
                hue,
            );
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
        Cue::Wait => draw(painter, colours, Mark::Held, centre, radius),
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
