//! What the calculator says, drawn: figures in rows, the wrench from above, the proof load as a bar, both threads from the side.
//!
//! Knows no formula and no field.

use crate::limited::Limited as _;
use egui::{Align2, Pos2, Rect, Shape, Stroke, StrokeKind, Ui, Vec2, pos2, vec2};

use super::super::ink::Ink as _;
use crate::desk::calculation::{Figures, Load, Matched, Ordered, Set};
use crate::desk::theme::{self, BODY, Colours, GAP, HEAD, NOTE};
use crate::desk::widgets::{self, cut_top, line, number, paragraph};
use crate::desk::{curve, map, marks, view};

/// A row of a number with its unit: the number right-aligned at `share` of the width.
fn value_row(ui: &mut Ui, rect: Rect, y: f32, name: &str, value: &str, unit: &str, strong: bool) {
    let colours = Colours::of(ui);
    let row = Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), 34.0));
    let middle = rect.left() + rect.width() * 0.62;
    let size = if strong { HEAD + 5.0 } else { BODY + 1.0 };
    let painter = ui.painter();
    widgets::silent_line(
        painter,
        Rect::from_min_max(row.min, pos2(middle - 140.0, row.bottom())),
        Align2::LEFT_CENTER,
        name,
        theme::text(BODY),
        colours.soft,
    );
    widgets::silent_line(
        painter,
        Rect::from_min_max(pos2(middle - 136.0, row.top()), pos2(middle, row.bottom())),
        Align2::RIGHT_CENTER,
        value,
        theme::figure(size),
        colours.ink,
    );
    widgets::silent_line(
        painter,
        Rect::from_min_max(pos2(middle + 8.0, row.top()), row.max),
        Align2::LEFT_CENTER,
        unit,
        theme::text(BODY),
        colours.ink,
    );
    widgets::rule(ui, row.left(), row.right(), row.bottom());
    widgets::speak(ui, row, &format!("{name} {value} {unit}"));
}

pub(super) fn draw_conversions(ui: &mut Ui, rect: Rect, rows: &[(String, String)]) {
    for (index, (value, unit)) in rows.iter().enumerate() {
        value_row(
            ui,
            rect,
            rect.top() + 38.0 * widgets::count(index),
            "",
            value,
            unit,
            index == 0,
        );
    }
}

/// Figures, the first the one asked for, and below them what they rest on.
pub(super) fn draw_figures(ui: &mut Ui, rect: Rect, figures: &Figures) {
    let colours = Colours::of(ui);
    for (index, (name, value, unit)) in figures.rows.iter().enumerate() {
        let y = rect.top() + 36.0 * widgets::count(index);
        value_row(ui, rect, y, name, value, unit, index == 0);
    }
    let mut y = rect.top() + 36.0 * widgets::count(figures.rows.len()) + GAP;
    for (index, note) in figures.notes.iter().enumerate() {
        let place = Rect::from_min_max(pos2(rect.left(), y), rect.max);
        let hue = if figures.caution && index == 0 {
            colours.caution
        } else {
            colours.soft
        };
        y += paragraph(ui, place, note, theme::text(NOTE + 1.0), hue) + 4.0;
    }
}

pub(super) fn draw_setting(ui: &mut Ui, rect: Rect, set: &Set) {
    let colours = Colours::of(ui);
    let (head, rest) = cut_top(rect, 44.0);
    line(
        ui,
        head,
        Align2::LEFT_CENTER,
        &set.words,
        theme::figure(34.0),
        colours.next,
    );
    let (note, drawing) = cut_top(rest, 24.0);
    line(
        ui,
        note,
        Align2::LEFT_CENTER,
        &set.factor_words,
        theme::text(BODY),
        colours.ink,
    );
    wrench(ui, drawing, set);
}

/// The tool from above, to scale: hand, handle, square drive, offset, fastener.
fn wrench(ui: &Ui, rect: Rect, set: &Set) {
    let colours = Colours::of(ui);
    let inner = rect.shrink2(vec2(50.0, 46.0));
    let turn = set.angle_deg.to_radians();
    let fastener = vec2(set.offset * turn.cos(), -set.offset * turn.sin());
    let hand = vec2(-set.lever, 0.0);
    let (least, most) = (
        hand.min(fastener).min(Vec2::ZERO),
        hand.max(fastener).max(Vec2::ZERO),
    );
    let span = most - least;
    let scale = (inner.width() / span.x.max(1e-3)).min(inner.height() / span.y.max(1e-3));
    let at = |place: Vec2| inner.center() + (place - (least + most) / 2.0) * scale;
    let (hand, drive, head) = (at(hand), at(Vec2::ZERO), at(fastener));
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.line_segment([hand, drive], Stroke::new(14.0, colours.outline));
    painter.line_segment(
        [hand, hand + (drive - hand) * 0.32],
        Stroke::new(22.0, colours.ink),
    );
    if set.offset > 0.0 {
        painter.line_segment([drive, head], Stroke::new(10.0, colours.next));
    }
    painter.rect(
        Rect::from_center_size(drive, Vec2::splat(18.0)),
        0.0,
        colours.sheet,
        Stroke::new(2.0, colours.ink),
        StrokeKind::Middle,
    );
    painter.add(Shape::convex_polygon(
        marks::hexagon(head, 17.0),
        colours.next_tint,
        Stroke::new(2.5, colours.next),
    ));
    // Dimension lines, as on a drawing.
    let below = hand.y.max(drive.y).max(head.y) + 34.0;
    dimension(
        &painter,
        &colours,
        pos2(hand.x, below),
        pos2(drive.x, below),
        &set.lever_words,
    );
    if set.offset > 0.0 {
        let above = head.y.min(drive.y) - 30.0;
        dimension(
            &painter,
            &colours,
            pos2(drive.x.min(head.x), above),
            pos2(drive.x.max(head.x), above),
            &set.along_words,
        );
    }
}

fn dimension(painter: &egui::Painter, colours: &Colours, from: Pos2, to: Pos2, words: &str) {
    let hair = Stroke::new(1.2, colours.soft);
    painter.line_segment([from, to], hair);
    for (end, toward) in [(from, 1.0), (to, -1.0)] {
        painter.line_segment([end - vec2(0.0, 7.0), end + vec2(0.0, 7.0)], hair);
        if (to.x - from.x).abs() > 24.0 {
            painter.add(Shape::convex_polygon(
                vec![
                    end,
                    end + vec2(8.0 * toward, -3.0),
                    end + vec2(8.0 * toward, 3.0),
                ],
                colours.soft,
                Stroke::NONE,
            ));
        }
    }
    let galley = painter.words_in_line(words, theme::strong(NOTE + 1.0), colours.ink);
    let room = painter.clip_rect();
    let left = (f32::midpoint(from.x, to.x) - galley.size().x / 2.0)
        .min(room.right() - galley.size().x - 4.0)
        .max(room.left() + 4.0);
    painter.galley(
        pos2(left, from.y - 9.0 - galley.size().y),
        galley,
        colours.ink,
    );
}

pub(super) fn draw_preload(ui: &mut Ui, rect: Rect, load: &Load) {
    let colours = Colours::of(ui);
    let rows = [
        ("Preload", number(load.preload_kN, 1), "kN"),
        (
            "Between, likely",
            format!("{} to {}", number(load.low_kN, 1), number(load.high_kN, 1)),
            "kN",
        ),
        ("Stress in the thread", number(load.stress_MPa, 0), "MPa"),
        ("With torsion", number(load.combined_MPa, 0), "MPa"),
        ("Stress area", number(load.area_mm2, 1), "mm²"),
    ];
    for (index, (name, value, unit)) in rows.iter().enumerate() {
        value_row(
            ui,
            rect,
            rect.top() + 36.0 * widgets::count(index),
            name,
            value,
            unit,
            index == 0,
        );
    }
    // The share of the proof load, with its scatter.
    let y = rect.top() + 36.0 * 5.0 + 2.0 * GAP;
    let top = Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), 24.0));
    let words = format!("{} % of the proof load", number(load.proof * 100.0, 0));
    let hue = if load.proof_high > 1.0 {
        colours.bad
    } else {
        colours.good
    };
    line(
        ui,
        top,
        Align2::LEFT_CENTER,
        &words,
        theme::strong(HEAD),
        hue,
    );
    let track = Rect::from_min_size(
        pos2(rect.left(), top.bottom() + 6.0),
        vec2(rect.width(), 30.0),
    );
    #[expect(clippy::cast_possible_truncation, reason = "a share for drawing")]
    let x = |share: f64| track.left() + (share / 1.4).limited(0.0, 1.0) as f32 * track.width();
    let painter = ui.painter();
    painter.rect_filled(track, 0.0, colours.well);
    let likely = Rect::from_min_max(
        pos2(x(load.proof_low), track.top()),
        pos2(x(load.proof_high), track.bottom()),
    );
    curve::hatch(painter, likely, 6.0, Stroke::new(1.5, hue));
    painter.rect_stroke(likely, 0.0, Stroke::new(1.5, hue), StrokeKind::Inside);
    painter.vline(
        x(load.proof),
        track.y_range(),
        Stroke::new(4.0, colours.ink),
    );
    painter.vline(
        x(1.0),
        egui::Rangef::new(track.top() - 4.0, track.bottom() + 6.0),
        Stroke::new(2.0, colours.bad),
    );
    painter.write(
        pos2(x(1.0), track.bottom() + 6.0),
        Align2::CENTER_TOP,
        "proof load",
        theme::text(NOTE),
        colours.bad,
    );
    let note = Rect::from_min_max(pos2(rect.left(), track.bottom() + 30.0), rect.max);
    paragraph(ui, note, &load.note, theme::text(NOTE + 1.0), colours.soft);
}

pub(super) fn draw_threads(ui: &mut Ui, rect: Rect, matched: &Matched) {
    let colours = Colours::of(ui);
    let (head, rest) = cut_top(rect, 40.0);
    let (words, hue, mark) = if matched.fits {
        ("They go together", colours.good, view::Mark::Accepted)
    } else {
        ("They do not go together", colours.bad, view::Mark::Rejected)
    };
    marks::draw(
        ui.painter(),
        &colours,
        mark,
        pos2(head.left() + 14.0, head.center().y),
        13.0,
    );
    line(
        ui,
        Rect::from_min_max(pos2(head.left() + 38.0, head.top()), head.max),
        Align2::LEFT_CENTER,
        words,
        theme::strong(HEAD + 3.0),
        hue,
    );
    let used = paragraph(ui, rest, &matched.why, theme::text(BODY), colours.ink);
    let drawing = Rect::from_min_max(pos2(rest.left(), rest.top() + used + GAP), rest.max);
    profiles(ui, drawing, matched);
}

/// Both threads from the side at one scale, one above the other: where they drift apart is where they bind.
fn profiles(ui: &Ui, rect: Rect, matched: &Matched) {
    let colours = Colours::of(ui);
    if rect.height() < 120.0 {
        return;
    }
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    let coarse = matched.pitches.iter().copied().fold(1e-3, f32::max);
    let scale = rect.width() / (coarse * 9.0);
    let middle = rect.center().y + 8.0;
    let sides = [(colours.ink, -1.0f32), (colours.next, 1.0)];
    for ((pitch, name), (hue, side)) in matched.pitches.iter().zip(&matched.names).zip(sides) {
        // Never so fine that there is no end of it.
        let pitch = (pitch * scale).max(1.0);
        let depth = (pitch * 0.62).min(rect.height() * 0.26);
        let base = middle + side * 6.0;
        let mut points = Vec::new();
        let mut x = rect.left();
        while x < rect.right() + pitch {
            points.push(pos2(x, base));
            points.push(pos2(x + pitch / 2.0, base + side * depth));
            x += pitch;
        }
        painter.add(Shape::line(points, Stroke::new(2.5, hue)));
        let y = base + side * (depth + 14.0);
        painter.write(
            pos2(rect.left(), y),
            Align2::LEFT_CENTER,
            name,
            theme::strong(NOTE + 1.0),
            hue,
        );
    }
}

pub(super) fn draw_order(ui: &mut Ui, rect: Rect, ordered: &Ordered) {
    let colours = Colours::of(ui);
    let (drawing, words) = widgets::cut_bottom(rect, 48.0);
    map::draw_order(ui, drawing, &ordered.places, &ordered.labels, &ordered.path);
    let list: Vec<&str> = ordered
        .path
        .iter()
        .filter_map(|&index| ordered.labels.get(index).map(String::as_str))
        .collect();
    paragraph(
        ui,
        words,
        &list.join("  "),
        theme::strong(BODY),
        colours.ink,
    );
}
