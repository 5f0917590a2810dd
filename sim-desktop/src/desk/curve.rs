//! Torque over angle, drawn with its limits; a million points are thinned to what a pixel can show first.
//!
//! Knows nothing of where the points come from.

use super::ink::Ink as _;
use super::theme::{self, Colours, NOTE};
use super::view::CurveView;
use super::widgets::{self, number};
use std::sync::Arc;

use egui::{Align2, Color32, Mesh, Pos2, Rect, Shape, Stroke, Ui, pos2, vec2};

/// Thins points to at most four a column (first, least, greatest, last), keeping their order.
///
/// Angle may go back (a re-grip): a run of points is one column's as long as it stays there.
#[must_use]
pub fn thin(points: &[[f32; 2]], left: f32, right: f32, columns: u16) -> Vec<[f32; 2]> {
    let columns = f32::from(columns.max(1));
    let scale = if right > left {
        columns / (right - left)
    } else {
        0.0
    };
    let mut kept: Vec<[f32; 2]> = Vec::new();
    let mut run: Option<Run> = None;
    for point in points {
        let column = ((point[0] - left) * scale).floor();
        match &mut run {
            Some(run) if run.column.to_bits() == column.to_bits() => run.take(*point),
            _ => {
                if let Some(run) = run.take() {
                    run.give(&mut kept);
                }
                run = Some(Run::new(column, *point));
            }
        }
    }
    if let Some(run) = run {
        run.give(&mut kept);
    }
    kept
}

struct Run {
    column: f32,
    first: [f32; 2],
    last: [f32; 2],
    least: ([f32; 2], usize),
    greatest: ([f32; 2], usize),
    count: usize,
}

impl Run {
    fn new(column: f32, point: [f32; 2]) -> Self {
        Self {
            column,
            first: point,
            last: point,
            least: (point, 0),
            greatest: (point, 0),
            count: 1,
        }
    }

    fn take(&mut self, point: [f32; 2]) {
        if point[1] < self.least.0[1] {
            self.least = (point, self.count);
        }
        if point[1] > self.greatest.0[1] {
            self.greatest = (point, self.count);
        }
        self.last = point;
        self.count += 1;
    }

    fn give(self, kept: &mut Vec<[f32; 2]>) {
        let mut points = vec![
            (self.first, 0),
            self.least,
            self.greatest,
            (self.last, self.count - 1),
        ];
        points.sort_by_key(|(_, place)| *place);
        points.dedup_by_key(|(_, place)| *place);
        kept.extend(points.into_iter().map(|(point, _)| point));
    }
}

/// A step of 1, 2 or 5 times a power of ten that gives at most `parts` parts.
#[must_use]
pub(super) fn step(span: f32, parts: f32) -> f32 {
    let rough = (span / parts.max(1.0)).max(1e-3);
    let power = 10f32.powf(rough.log10().floor());
    let lead = rough / power;
    power
        * if lead <= 1.0 {
            1.0
        } else if lead <= 2.0 {
            2.0
        } else if lead <= 5.0 {
            5.0
        } else {
            10.0
        }
}

/// Which points these are: a long curve is looked through once, not in every frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Same {
    at: usize,
    count: usize,
    last: [u32; 2],
}

impl Same {
    fn of(curve: &CurveView) -> Self {
        let last = curve
            .points
            .last()
            .map_or([0, 0], |point| point.map(f32::to_bits));
        Self {
            at: curve.points.as_ptr().addr(),
            count: curve.points.len(),
            last,
        }
    }
}

/// How far the points reach.
#[derive(Clone, Copy, Debug)]
struct Bounds {
    same: Same,
    left: f32,
    right: f32,
    top: f32,
}

impl Bounds {
    fn known(ui: &Ui, curve: &CurveView) -> Self {
        let (id, same) = (ui.scope_id().with("curve bounds"), Same::of(curve));
        if let Some(known) = ui
            .data(|data| data.get_temp::<Self>(id))
            .filter(|known| known.same == same)
        {
            return known;
        }
        let mut bounds = Self {
            same,
            left: 0.0,
            right: 0.0,
            top: 0.0,
        };
        for [angle, torque] in &curve.points {
            bounds.right = bounds.right.max(*angle);
            bounds.left = bounds.left.min(*angle);
            bounds.top = bounds.top.max(*torque);
        }
        ui.data_mut(|data| data.insert_temp(id, bounds));
        bounds
    }
}

/// The points that are drawn.
#[derive(Clone, Debug)]
struct Thinned {
    same: Same,
    scale: (u32, u32, u16),
    points: Arc<Vec<[f32; 2]>>,
}

impl Thinned {
    fn known(
        ui: &Ui,
        curve: &CurveView,
        left: f32,
        right: f32,
        columns: u16,
    ) -> Arc<Vec<[f32; 2]>> {
        let (id, same, scale) = (
            ui.scope_id().with("curve thinned"),
            Same::of(curve),
            (left.to_bits(), right.to_bits(), columns),
        );
        if let Some(known) = ui
            .data(|data| data.get_temp::<Self>(id))
            .filter(|known| known.same == same && known.scale == scale)
        {
            return known.points;
        }
        let points = Arc::new(thin(&curve.points, left, right, columns));
        ui.data_mut(|data| {
            data.insert_temp(
                id,
                Self {
                    same,
                    scale,
                    points: Arc::clone(&points),
                },
            )
        });
        points
    }
}

/// Width of the curve's line.
const LINE: f32 = 2.5;

/// A line that fills its columns, as an upright bar for each of them: the same picture with a tenth of the triangles, which is
/// what painting costs where the processor does it.
fn bars(points: &[Pos2], colour: Color32) -> Mesh {
    let mut mesh = Mesh::default();
    let mut before = points.first().map_or(0.0, |point| point.y);
    for column in points.chunk_by(|one, next| one.x.floor().to_bits() == next.x.floor().to_bits()) {
        // From where the last one ended, so that none stands apart.
        let (mut high, mut low) = (before, before);
        for point in column {
            high = high.min(point.y);
            low = low.max(point.y);
            before = point.y;
        }
        let left = column.first().map_or(0.0, |point| point.x.floor());
        let bar = Rect::from_min_max(
            pos2(left, high - LINE / 2.0),
            pos2(left + 1.0, low + LINE / 2.0),
        );
        mesh.add_colored_rect(bar, colour);
    }
    mesh
}

/// Draws the curve with its scale, its windows and the point it has reached.
pub(super) fn draw(ui: &mut Ui, rect: Rect, curve: &CurveView, live: bool) {
    let colours = Colours::of(ui);
    let plot = Rect::from_min_max(rect.min + vec2(38.0, 6.0), rect.max - vec2(10.0, 22.0));
    if plot.width() < 40.0 || plot.height() < 30.0 {
        return;
    }
    let bounds = Bounds::known(ui, curve);
    let (left, mut right, mut top) = (
        bounds.left.min(0.0),
        bounds.right.max(10.0),
        bounds.top.max(5.0),
    );
    for limit in [curve.angle_high, curve.angle_low].into_iter().flatten() {
        right = right.max(limit * 1.12);
    }
    for limit in [curve.torque_high, curve.torque_low].into_iter().flatten() {
        top = top.max(limit * 1.12);
    }
    right *= 1.02;
    top *= 1.04;
    let at = |angle: f32, torque: f32| -> Pos2 {
        pos2(
            plot.left() + (angle - left) / (right - left) * plot.width(),
            plot.bottom() - torque / top * plot.height(),
        )
    };
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    let hair = Stroke::new(1.0, colours.line);
    let note = theme::text(NOTE);
    let torque_step = step(top, (plot.height() / 30.0).floor().max(2.0));
    let mut torque = 0.0;
    while torque <= top {
        let y = at(0.0, torque).y;
        painter.hline(plot.x_range(), y, hair);
        painter.write(
            pos2(plot.left() - 6.0, y),
            Align2::RIGHT_CENTER,
            number(f64::from(torque), usize::from(torque_step < 1.0)),
            note.clone(),
            colours.soft,
        );
        torque += torque_step;
    }
    let angle_step = step(right - left, (plot.width() / 64.0).floor());
    let mut angle = (left / angle_step).ceil() * angle_step;
    while angle <= right {
        let x = at(angle, 0.0).x;
        painter.vline(x, plot.y_range(), hair);
        let label = format!(
            "{}°",
            number(f64::from(angle), usize::from(angle_step < 1.0))
        );
        painter.write(
            pos2(x, plot.bottom() + 3.0),
            Align2::CENTER_TOP,
            label,
            note.clone(),
            colours.soft,
        );
        angle += angle_step;
    }
    // The windows: hatched where both must hold, a dashed line for each limit.
    let dash = Stroke::new(1.5, colours.good);
    for limit in [curve.torque_low, curve.torque_high].into_iter().flatten() {
        let y = at(0.0, limit).y;
        painter.extend(Shape::dashed_line(
            &[pos2(plot.left(), y), pos2(plot.right(), y)],
            dash,
            6.0,
            4.0,
        ));
    }
    for limit in [curve.angle_low, curve.angle_high].into_iter().flatten() {
        let x = at(limit, 0.0).x;
        painter.extend(Shape::dashed_line(
            &[pos2(x, plot.top()), pos2(x, plot.bottom())],
            dash,
            6.0,
            4.0,
        ));
    }
    // Over the lines, on a ground of its own.
    let unit = painter.words_in_line(curve.unit.clone(), note.clone(), colours.soft);
    let place = Rect::from_min_size(plot.left_top() + vec2(4.0, 0.0), unit.size());
    painter.rect_filled(place.expand2(vec2(2.0, 0.0)), 0.0, colours.sheet);
    painter.galley(place.min, unit, colours.soft);
    let zone = Rect::from_two_pos(
        at(
            curve.angle_low.unwrap_or(left),
            curve.torque_high.unwrap_or(top),
        ),
        at(
            curve.angle_high.unwrap_or(right),
            curve.torque_low.unwrap_or(0.0),
        ),
    );
    if curve.torque_low.is_some() || curve.angle_low.is_some() {
        hatch(
            &painter,
            zone.intersect(plot),
            7.0,
            Stroke::new(1.0, colours.good.gamma_multiply(0.45)),
        );
    }

    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a width in points, positive and far below 65,536"
    )]
    let columns = plot.width().min(8_000.0) as u16;
    let drawn = Thinned::known(ui, curve, left, right, columns);
    let drawn: Vec<Pos2> = drawn
        .iter()
        .map(|[angle, torque]| at(*angle, *torque))
        .collect();
    if drawn.len() > 2 * usize::from(columns) {
        painter.add(bars(&drawn, colours.ink));
    } else if drawn.len() > 1 {
        painter.line(drawn, Stroke::new(LINE, colours.ink));
    }
    if live && let Some([angle, torque]) = curve.points.last() {
        let here = at(*angle, *torque);
        painter.circle_filled(here, 7.0, colours.sheet);
        painter.circle_filled(here, 5.0, colours.next);
    }
    let words = curve.points.last().map_or_else(
        || "Torque over angle: nothing yet".to_owned(),
        |[angle, torque]| {
            format!(
                "Torque over angle, {} points, ends at {} {} and {}°",
                curve.points.len(),
                number(f64::from(*torque), 1),
                curve.unit,
                number(f64::from(*angle), 0)
            )
        },
    );
    widgets::speak(ui, rect, &words);
}

/// Slanted lines inside a rectangle.
pub(super) fn hatch(painter: &egui::Painter, rect: Rect, spacing: f32, stroke: Stroke) {
    if !rect.is_positive() {
        return;
    }
    let clipped = painter.with_clip_rect(rect.intersect(painter.clip_rect()));
    let mut x = rect.left() - rect.height();
    while x < rect.right() {
        clipped.line_segment(
            [pos2(x, rect.bottom()), pos2(x + rect.height(), rect.top())],
            stroke,
        );
        x += spacing;
    }
}

#[cfg(test)]
mod tests {
    use egui::{Color32, Pos2, pos2};

    use super::bars;
    use super::thin;

    #[test]
    fn thinning_keeps_the_peak_and_the_ends() {
        let points: Vec<[f32; 2]> = (0..u16::MAX)
            .map(|i| {
                let x = f32::from(i) / 1000.0;
                [x, if i == 33_333 { 99.0 } else { x.sin() }]
            })
            .collect();
        let kept = thin(&points, 0.0, 65.6, 500);
        assert!(kept.len() <= 4 * 502, "{}", kept.len());
        assert!(
            kept.iter().any(|point| point[1] > 98.0),
            "the spike is kept"
        );
        assert_eq!(kept.first(), points.first());
        assert_eq!(kept.last(), points.last());
    }

    #[test]
    fn thinning_follows_a_back_swing() {
        let there_and_back: Vec<[f32; 2]> = (0..1000u16)
            .map(|i| {
                [
                    if i < 500 {
                        f32::from(i)
                    } else {
                        f32::from(1000 - i)
                    },
                    f32::from(i),
                ]
            })
            .collect();
        let kept = thin(&there_and_back, 0.0, 500.0, 10);
        let torques: Vec<f32> = kept.iter().map(|point| point[1]).collect();
        assert!(
            torques.windows(2).all(|pair| pair[0] < pair[1]),
            "order in time is kept"
        );
        assert!(kept.len() > 20);
    }

    #[test]
    fn a_line_that_fills_its_columns_becomes_bars_that_join() {
        // Up and down between 10 and 20 in each of ten columns; from the sixth on between 40 and 50.
        let points: Vec<Pos2> = (0..1_000u16)
            .map(|at| {
                let base = if at < 500 { 10.0 } else { 40.0 };
                pos2(f32::from(at) / 100.0, base + f32::from(at % 11))
            })
            .collect();
        let mesh = bars(&points, Color32::BLACK);
        let heights: Vec<(f32, f32)> = mesh
            .vertices
            .chunks(4)
            .map(|bar| {
                let ys = || bar.iter().map(|corner| corner.pos.y);
                (ys().fold(f32::MAX, f32::min), ys().fold(f32::MIN, f32::max))
            })
            .collect();
        assert_eq!(heights.len(), 10, "one a column");
        for (column, bar) in heights.iter().enumerate() {
            let (least, greatest) = if column < 5 {
                (10.0, 20.0)
            } else {
                (40.0, 50.0)
            };
            assert!(
                bar.0 <= least && bar.1 >= greatest,
                "column {column} shows all of it: {bar:?}"
            );
        }
        for (column, pair) in heights.windows(2).enumerate() {
            assert!(
                pair[1].0 <= pair[0].1 && pair[0].0 <= pair[1].1,
                "{column} and the next touch: {pair:?}"
            );
        }
    }
}
