//! Clamp load by fastener and pass, as bars: what the rehearsal left in the joint.
//!
//! Knows nothing of how the loads were computed.

use super::curve::{hatch, step};
use super::ink::Ink as _;
use super::theme::{self, Colours, NOTE};
use super::view::ClampView;
use super::widgets::{count, number, paragraph};
use egui::{Align2, Rect, Shape, Stroke, StrokeKind, Ui, pos2, vec2};

/// Draws a group of bars for each fastener, one for each pass, the last one filled, and the mean of the last pass.
pub(super) fn draw(ui: &mut Ui, rect: Rect, loads: &ClampView) {
    let colours = Colours::of(ui);
    let plot = Rect::from_min_max(rect.min + vec2(40.0, 8.0), rect.max - vec2(6.0, 66.0));
    let fasteners = loads.labels.len();
    let passes = loads.passes.len();
    if fasteners == 0 || passes == 0 || plot.width() < 60.0 || plot.height() < 40.0 {
        return;
    }
    let top = loads
        .passes
        .iter()
        .flat_map(|(_, row)| row)
        .fold(1.0f32, |top, load| top.max(*load))
        * 1.08;
    let y = |load: f32| plot.bottom() - load / top * plot.height();
    let painter = ui.painter();
    let tick = step(top, (plot.height() / 34.0).floor());
    let mut load = 0.0;
    while load <= top {
        painter.hline(plot.x_range(), y(load), Stroke::new(1.0, colours.line));
        painter.write(
            pos2(plot.left() - 6.0, y(load)),
            Align2::RIGHT_CENTER,
            number(f64::from(load), usize::from(tick < 1.0)),
            theme::text(NOTE),
            colours.soft,
        );
        load += tick;
    }
    let group = plot.width() / count(fasteners);
    let bar = (group * 0.8 / count(passes)).min(26.0);
    for (index, label) in loads.labels.iter().enumerate() {
        let left = plot.left() + group * count(index) + (group - bar * count(passes)) / 2.0;
        for (pass, (_, row)) in loads.passes.iter().enumerate() {
            let Some(load) = row.get(index) else { continue };
            let column = Rect::from_min_max(
                pos2(left + bar * count(pass), y(*load)),
                pos2(left + bar * count(pass + 1) - 1.0, plot.bottom()),
            );
            if pass + 1 == passes {
                painter.rect_filled(column, 0.0, colours.next);
            } else {
                painter.rect_filled(column, 0.0, colours.well);
                hatch(painter, column, 5.0, Stroke::new(1.0, colours.outline));
                painter.rect_stroke(
                    column,
                    0.0,
                    Stroke::new(1.0, colours.outline),
                    StrokeKind::Inside,
                );
            }
        }
        painter.write(
            pos2(left + bar * count(passes) / 2.0, plot.bottom() + 3.0),
            Align2::CENTER_TOP,
            label,
            theme::strong(NOTE),
            colours.ink,
        );
    }
    if let Some((name, last)) = loads.passes.last().filter(|(_, row)| !row.is_empty()) {
        let mean = last.iter().sum::<f32>() / count(last.len());
        let spread =
            (last.iter().map(|load| (load - mean).powi(2)).sum::<f32>() / count(last.len())).sqrt();
        painter.extend(Shape::dashed_line(
            &[pos2(plot.left(), y(mean)), pos2(plot.right(), y(mean))],
            Stroke::new(2.0, colours.ink),
            8.0,
            4.0,
        ));
        let words = format!(
            "after {name}: mean {} kN, scatter {} %. Hatched: passes before.",
            number(f64::from(mean), 1),
            number(f64::from(spread / mean.max(1e-6) * 100.0), 1)
        );
        let foot = Rect::from_min_max(pos2(rect.left(), plot.bottom() + 24.0), rect.max);
        paragraph(ui, foot, &words, theme::text(NOTE + 1.0), colours.ink);
    }
}
