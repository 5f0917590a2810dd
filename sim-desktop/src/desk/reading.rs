//! The strip across the joint screen: which fastener, what reading, how far to go.
//!
//! Readable from three metres and, by its bar, with the head down. Knows nothing of where readings come from.

use super::curve::{hatch, step};
use super::ink::{self, Ink as _};
use super::marks;
use super::theme::{self, BODY, Colours, GAP, HEAD, NOTE, TITLE};
use super::view::{FastenerView, Gauge, JointView, Mark};
use super::widgets::{self, cut_left, line, number};
use crate::limited::Limited as _;
use egui::accesskit::Role;
use egui::{Align2, Rect, Sense, Shape, Stroke, StrokeKind, Ui, pos2, vec2};

/// Font size of the big figures: their digits stand at least a twelfth of the window's height.
#[must_use]
pub(super) fn figure_size(window_height: f32) -> f32 {
    (window_height / 12.0 / theme::DIGIT_HEIGHT * 1.06).limited(44.0, 420.0)
}

/// How high the strip is for a window of this height.
#[must_use]
pub(super) fn strip_height(window_height: f32) -> f32 {
    figure_size(window_height) * 1.08 + bar_height(window_height) + 22.0 + 3.0 * GAP
}

fn bar_height(window_height: f32) -> f32 {
    (window_height * 0.05).limited(26.0, 160.0)
}

/// A number with its unit; a degree sign stands close.
#[must_use]
pub(super) fn with_unit(value: f64, gauge: &Gauge) -> String {
    let space = if gauge.unit == "°" { "" } else { " " };
    format!("{}{space}{}", number(value, gauge.decimals), gauge.unit)
}

/// The gauge's window in words.
#[must_use]
pub(super) fn window_words(gauge: &Gauge) -> String {
    match (gauge.low, gauge.high) {
        (Some(low), Some(high)) => format!(
            "{} to {}",
            number(low, gauge.decimals),
            with_unit(high, gauge)
        ),
        (Some(low), None) => format!("{} or more", with_unit(low, gauge)),
        (None, Some(high)) => format!("{} at most", with_unit(high, gauge)),
        (None, None) => "no limits".to_owned(),
    }
}

/// What is left to the lower limit, or how it stands to the window.
#[must_use]
pub(super) fn remaining_words(gauge: &Gauge) -> String {
    let Some(value) = gauge.value else {
        return gauge.missing.clone();
    };
    match (gauge.low, gauge.high) {
        (_, Some(high)) if value > high => format!("{} too far", with_unit(value - high, gauge)),
        (Some(low), _) if value < low => format!("{} to go", with_unit(low - value, gauge)),
        _ => "inside".to_owned(),
    }
}

/// The next fastener: shape, place, word. What is left of the room.
pub(super) fn next_mark(ui: &mut Ui, top: Rect, next: &FastenerView, figure: f32) -> Rect {
    let colours = Colours::of(ui);
    let label = widgets::text_width(ui, &next.label, theme::figure(figure));
    let head = (label + figure * 0.55).max(figure * 1.15);
    let (place, rest) = cut_left(top, head);
    let radius = (place.height() / 2.0 - 2.0).min(place.width() / 2.0 / 0.98);
    let centre = place.center();
    let hex: Vec<_> = marks::hexagon(egui::Pos2::ZERO, 1.0)
        .into_iter()
        .map(|corner| {
            pos2(
                centre.x + corner.x * (place.width() / 2.0),
                centre.y + corner.y * radius * 1.1,
            )
        })
        .collect();
    ui.painter()
        .add(Shape::convex_polygon(hex, colours.next, Stroke::NONE));
    let fastener_words = format!("Next fastener {}", next.label);
    let id = ui.scope_id().with("next fastener");
    ui.interact(place, id, Sense::hover())
        .widget_info(|| ink::labeled(Role::Heading, true, &fastener_words));
    ui.painter().write(
        centre,
        Align2::CENTER_CENTER,
        &next.label,
        theme::figure(figure),
        colours.on_next,
    );
    rest
}

/// Draws the next fastener, the reading, its window and the bar.
pub(super) fn show(ui: &mut Ui, rect: Rect, joint: &JointView, window_height: f32) {
    let colours = Colours::of(ui);
    widgets::plate(ui, rect, colours.sheet, Stroke::new(1.0, colours.line));
    let inner = rect.shrink2(vec2(14.0, GAP));
    let figure = figure_size(window_height);
    let bar = bar_height(window_height);
    let top = Rect::from_min_max(
        inner.min,
        pos2(inner.right(), inner.bottom() - bar - 22.0 - GAP),
    );
    let bottom = Rect::from_min_max(pos2(inner.left(), top.bottom() + GAP), inner.max);
    if joint.finished {
        finished(ui, inner, joint, figure);
        return;
    }
    let Some(next) = joint.next() else {
        let words = match joint.live.cue_words.as_str() {
            "" => "Nothing to do here now",
            words => words,
        };
        line(
            ui,
            inner,
            Align2::LEFT_CENTER,
            words,
            theme::strong(TITLE),
            colours.soft,
        );
        return;
    };

    let rest = next_mark(ui, top, next, figure);

    let live = &joint.live;
    let gauge = live.gauges.first();
    // The reading at the right, with its unit at a size to match.
    let mut room = rest;
    if let Some(gauge) = gauge {
        let value = gauge.value.map_or_else(
            || gauge.missing.clone(),
            |value| number(value, gauge.decimals),
        );
        let value_font = if gauge.value.is_some() {
            theme::figure(figure)
        } else {
            theme::strong(figure * 0.5)
        };
        // A degree sign is already small and high; any other unit stands at half the height.
        let share = if gauge.unit == "°" { 1.0 } else { 0.5 };
        let unit_font = theme::figure(figure * share);
        let widest = number(gauge.scale.max(gauge.value.unwrap_or(0.0)), gauge.decimals);
        let value_width = widgets::text_width(ui, &widest, value_font.clone())
            .max(widgets::text_width(ui, &value, value_font.clone()));
        let unit_width = widgets::text_width(ui, &gauge.unit, unit_font.clone());
        let reading = Rect::from_min_max(
            pos2(rest.right() - value_width - unit_width - 10.0, rest.top()),
            rest.max,
        );
        let colour = reading_colour(&colours, gauge);
        let value_place = Rect::from_min_max(
            reading.min,
            pos2(reading.left() + value_width, reading.bottom()),
        );
        let drawn = ui.painter().write(
            value_place.right_center(),
            Align2::RIGHT_CENTER,
            &value,
            value_font,
            colour,
        );
        ui.painter().write(
            pos2(
                reading.right(),
                if share < 1.0 {
                    drawn.bottom() - figure * 0.17
                } else {
                    drawn.bottom()
                },
            ),
            Align2::RIGHT_BOTTOM,
            &gauge.unit,
            unit_font,
            colour,
        );
        let said = format!(
            "{} {value} {}, window {}, {}",
            gauge.quantity,
            gauge.unit,
            window_words(gauge),
            remaining_words(gauge)
        );
        let id = ui.scope_id().with("reading");
        ui.interact(reading, id, Sense::hover())
            .widget_info(|| ink::labeled(Role::Label, true, &said));
        room = Rect::from_min_max(rest.min, pos2(reading.left() - 2.0 * GAP, rest.bottom()));
    }

    // The cue between them, and what is to be done here in words.
    let cue_size = (figure * 0.34).limited(18.0, 60.0);
    let cue_font = theme::strong((figure * 0.3).limited(BODY, 64.0));
    let cue_width =
        (cue_size * 2.3 + widgets::text_width(ui, &live.cue_words, cue_font.clone()) + 6.0)
            .min(room.width() * 0.42);
    let words_width = (room.width() - cue_width - 2.0 * GAP)
        .max(120.0)
        .min(room.width());
    let (words, cue_room) = cut_left(room, words_width);
    let mut y = words.top();
    let tall = words.height() >= 84.0;
    let mut row = |height: f32, text: &str, font, colour, ui: &mut Ui| {
        let place = Rect::from_min_size(
            pos2(words.left() + 6.0, y),
            vec2(words.width() - 6.0, height),
        );
        line(ui, place, Align2::LEFT_CENTER, text, font, colour);
        y += height;
    };
    row(
        27.0,
        &format!("NEXT: {}", next.place),
        theme::strong(HEAD),
        colours.next,
        ui,
    );
    row(
        23.0,
        &joint.stage_words,
        theme::strong(BODY),
        colours.ink,
        ui,
    );
    if let Some(gauge) = gauge {
        let typed = if gauge.typed.is_empty() {
            String::new()
        } else {
            format!("   ({})", gauge.typed)
        };
        if tall {
            row(
                22.0,
                &format!("window {} {}{typed}", window_words(gauge), gauge.beside),
                theme::text(BODY),
                colours.ink,
                ui,
            );
        }
        let left = if tall {
            remaining_words(gauge)
        } else {
            // How far it is the bar tells as well; the window only these words.
            format!("window {} {}", window_words(gauge), gauge.beside)
        };
        row(20.0, &left, theme::text(BODY), colours.soft, ui);
    }
    if cue_room.width() > 3.0 * cue_size {
        let hue = marks::cue_colour(&colours, live.cue);
        marks::draw_cue(
            ui.painter(),
            &colours,
            live.cue,
            pos2(cue_room.left() + cue_size, cue_room.center().y),
            cue_size * 0.8,
        );
        let text_place = Rect::from_min_max(
            pos2(cue_room.left() + cue_size * 2.3, cue_room.top()),
            cue_room.max,
        );
        let galley = ui.painter().words_wrapped(
            live.cue_words.clone(),
            cue_font,
            hue,
            text_place.width().max(1.0),
        );
        ui.painter().galley(
            pos2(
                text_place.left(),
                text_place.center().y - galley.size().y / 2.0,
            ),
            galley,
            hue,
        );
        widgets::speak(ui, cue_room, &live.cue_words);
    }
    if let Some(gauge) = gauge {
        draw_bar(
            ui,
            bottom,
            gauge,
            bar,
            marks::cue_colour(&colours, live.cue),
        );
    }
}

/// The hue of a reading: below, inside or past its window.
pub(super) fn reading_colour(colours: &Colours, gauge: &Gauge) -> egui::Color32 {
    match gauge.value {
        Some(value) if gauge.high.is_some_and(|high| value > high) => colours.bad,
        Some(value) if gauge.low.is_none_or(|low| value >= low) && value > 0.0 => colours.good,
        Some(_) => colours.ink,
        None => colours.caution,
    }
}

/// The big bar: how far, where the window is.
pub(super) fn draw_bar(ui: &mut Ui, rect: Rect, gauge: &Gauge, height: f32, hue: egui::Color32) {
    let colours = Colours::of(ui);
    let track = Rect::from_min_size(rect.min, vec2(rect.width(), height));
    let scale = gauge.scale.max(1e-6);
    let x = |value: f64| {
        #[expect(clippy::cast_possible_truncation, reason = "a share between 0 and 1")]
        let share = (value / scale).limited(0.0, 1.0) as f32;
        track.left() + share * track.width()
    };
    let painter = ui.painter();
    painter.rect_filled(track, 0.0, colours.well);
    let (low, high) = (gauge.low.unwrap_or(0.0), gauge.high.unwrap_or(scale));
    let zone = Rect::from_min_max(pos2(x(low), track.top()), pos2(x(high), track.bottom()));
    painter.rect_filled(zone, 0.0, colours.good_tint);
    hatch(painter, zone, 8.0, Stroke::new(1.5, colours.good));
    if let Some(value) = gauge.value {
        let filled = Rect::from_min_max(
            track.min + vec2(0.0, height * 0.2),
            pos2(x(value), track.bottom() - height * 0.2),
        );
        painter.rect_filled(filled, 0.0, hue);
        painter.vline(x(value), track.y_range(), Stroke::new(4.0, colours.ink));
    }
    painter.rect_stroke(
        zone,
        0.0,
        Stroke::new(2.0, colours.good),
        StrokeKind::Inside,
    );
    painter.rect_stroke(
        track,
        0.0,
        Stroke::new(1.0, colours.outline),
        StrokeKind::Inside,
    );
    // The scale below it, with the limits named and nothing written over them.
    let y = track.bottom() + 2.0;
    let mut taken: Vec<egui::Rangef> = Vec::new();
    for limit in [gauge.low, gauge.high].into_iter().flatten() {
        let words = number(limit, gauge.decimals);
        let galley = painter.words_in_line(words, theme::strong(BODY), colours.good);
        let mut left = (x(limit) - galley.size().x / 2.0)
            .limited(track.left(), track.right() - galley.size().x);
        if let Some(last) = taken.last()
            && left < last.max + 8.0
        {
            left = last.max + 8.0;
        }
        taken.push(egui::Rangef::new(left, left + galley.size().x));
        painter.galley(pos2(left, y), galley, colours.good);
    }
    #[expect(clippy::cast_possible_truncation, reason = "a scale for drawing")]
    let ticks = step(scale as f32, (track.width() / 90.0).floor());
    let mut tick = 0.0f32;
    while f64::from(tick) <= scale {
        let value = f64::from(tick);
        let at = x(value);
        painter.vline(
            at,
            egui::Rangef::new(track.bottom() - 5.0, track.bottom()),
            Stroke::new(1.0, colours.outline),
        );
        let galley = painter.words_in_line(
            number(value, usize::from(ticks < 1.0)),
            theme::text(NOTE),
            colours.soft,
        );
        let left =
            (at - galley.size().x / 2.0).limited(track.left(), track.right() - galley.size().x);
        let right = left + galley.size().x;
        if taken
            .iter()
            .all(|range| right + 6.0 < range.min || left > range.max + 6.0)
        {
            painter.galley(pos2(left, y + 2.0), galley, colours.soft);
        }
        tick += ticks;
    }
}

/// What a joint with nothing left to pull is told as: its mark, its hue and its words.
pub(super) fn done(colours: &Colours, joint: &JointView) -> (Mark, egui::Color32, &'static str) {
    if joint.mock_up {
        (
            Mark::MockUp,
            colours.rehearsal,
            "Mock-up done: NOT FINAL, it must come apart again",
        )
    } else {
        (
            Mark::Final,
            colours.good,
            "Every fastener of this joint is accepted",
        )
    }
}

fn finished(ui: &mut Ui, inner: Rect, joint: &JointView, figure: f32) {
    let colours = Colours::of(ui);
    let (mark, hue, title) = done(&colours, joint);
    let radius = figure * 0.45;
    marks::draw(
        ui.painter(),
        &colours,
        mark,
        pos2(inner.left() + radius + 4.0, inner.center().y),
        radius,
    );
    let words = Rect::from_min_max(
        pos2(inner.left() + radius * 2.0 + 24.0, inner.top()),
        inner.max,
    );
    let middle = words.center().y;
    line(
        ui,
        Rect::from_min_max(words.min, pos2(words.right(), middle + 4.0)),
        Align2::LEFT_BOTTOM,
        title,
        theme::strong(TITLE),
        hue,
    );
    let rest = if joint.mock_up {
        "Take it apart, then start the joint again."
    } else {
        match &joint.witness_wanted {
            Some(wanted) => &format!("{wanted}: I. Then Enter: back to the build."),
            None => "Mark the heads if your procedure asks for it. Enter: back to the build.",
        }
    };
    line(
        ui,
        Rect::from_min_max(pos2(words.left(), middle + 6.0), words.max),
        Align2::LEFT_TOP,
        rest,
        theme::text(BODY),
        colours.ink,
    );
}

#[cfg(test)]
mod tests {
    use super::super::theme::DIGIT_HEIGHT;
    use super::{figure_size, strip_height};

    #[test]
    fn the_reading_stands_a_twelfth_of_the_window_from_the_smallest_to_a_wall() {
        for height in [400.0, 500.0, 640.0, 800.0, 1080.0, 1440.0, 2160.0] {
            assert!(
                figure_size(height) * DIGIT_HEIGHT >= height / 12.0,
                "{height}"
            );
            assert!(
                strip_height(height) < height * 0.36,
                "and leaves room for the map at {height}"
            );
        }
    }
}
