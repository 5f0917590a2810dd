//! The joint seen from the tool's side: fasteners where they are, FRONT, the order as a path, the next one unmistakable.
//!
//! Knows nothing of procedures: it draws marks at places.

use super::curve::hatch;
use super::ink::{self, Ink as _};
use super::marks;
use super::photo::Photo;
use super::theme::{self, BODY, Colours, HEAD, NOTE};
use super::view::{Front, JointView, Mark};
use super::widgets::{between, count, focus_ring};
use crate::limited::Limited as _;
use egui::accesskit::Role;
use egui::{Align2, Color32, Painter, Pos2, Rect, Sense, Shape, Stroke, Ui, Vec2, pos2, vec2};

/// How far the edge of the part is drawn from the middle of a head, in head radii.
const EDGE: f32 = 1.75;

/// Where the joint falls on the screen.
struct Layout {
    /// Each fastener.
    points: Vec<Pos2>,
    /// How big a head may be.
    radius: f32,
    /// What lies in the middle, in mm to the right and downwards, where that is, and points for one mm.
    middle: Vec2,
    centre: Pos2,
    scale: f32,
}

impl Layout {
    /// A place of the part, in mm to the right and upwards.
    #[expect(clippy::cast_possible_truncation, reason = "millimetres for a drawing")]
    fn screen(&self, (x, y): (f64, f64)) -> Pos2 {
        self.centre + (vec2(x as f32, -y as f32) - self.middle) * self.scale
    }
}

/// Where each fastener falls in `rect`, and how big its head may be.
fn layout(rect: Rect, joint: &JointView) -> Layout {
    let places: Vec<Vec2> = joint
        .fasteners
        .iter()
        .map(|fastener| vec2(fastener.x, fastener.y))
        .collect();
    let (mut least, mut greatest) = (Vec2::splat(f32::MAX), Vec2::splat(f32::MIN));
    for place in &places {
        least = least.min(*place);
        greatest = greatest.max(*place);
    }
    let mut nearest = f32::MAX;
    for (index, a) in places.iter().enumerate() {
        for b in places.iter().skip(index + 1) {
            nearest = nearest.min((*a - *b).length());
        }
    }
    let span = greatest - least;
    let middle = (least + greatest) / 2.0;
    // The heads' size depends on the scale, and the room for their edge on their size: twice is enough.
    let mut margin = 40.0f32;
    let mut found = Layout {
        points: Vec::new(),
        radius: 11.0,
        middle,
        centre: rect.center(),
        scale: 1.0,
    };
    for _ in 0..2 {
        let room = rect.shrink(margin.min(rect.width().min(rect.height()) * 0.34));
        let scale = (room.width() / span.x.max(1e-3))
            .min(room.height() / span.y.max(1e-3))
            .min(1e4);
        let radius = (nearest * scale * 0.40).limited(11.0, 34.0);
        let centre = room.center();
        found = Layout {
            points: places
                .iter()
                .map(|place| centre + (*place - middle) * scale)
                .collect(),
            radius,
            middle,
            centre,
            scale,
        };
        margin = radius * EDGE + 6.0;
    }
    found
}

/// The corners of the smallest convex shape round the points (Andrew's monotone chain).
fn hull(points: &[Pos2]) -> Vec<Pos2> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    let half = |points: &mut dyn Iterator<Item = &Pos2>| {
        let mut chain: Vec<Pos2> = Vec::new();
        for point in points {
            while let [.., a, b] = chain[..] {
                if (b - a).x * (*point - a).y - (b - a).y * (*point - a).x > 0.0 {
                    break;
                }
                chain.pop();
            }
            chain.push(*point);
        }
        chain.pop();
        chain
    };
    let mut corners = half(&mut sorted.iter());
    corners.extend(half(&mut sorted.iter().rev()));
    corners
}

/// The hull grown by `margin` with round corners: the edge of the part as far as it is known.
fn edge(points: &[Pos2], margin: f32) -> Vec<Pos2> {
    let centre = points
        .iter()
        .fold(Vec2::ZERO, |sum, point| sum + point.to_vec2())
        / count(points.len().max(1));
    let far = points
        .iter()
        .map(|point| (point.to_vec2() - centre).length())
        .fold(0.0f32, f32::max);
    let near = points
        .iter()
        .map(|point| (point.to_vec2() - centre).length())
        .fold(f32::MAX, f32::min);
    let mut circle = Vec::new();
    if points.len() > 4 && near > far * 0.97 {
        // A bolt circle: the part is round as far as anybody knows.
        return (0..96u8)
            .map(|corner| {
                centre.to_pos2()
                    + (far + margin)
                        * Vec2::angled(std::f32::consts::TAU * f32::from(corner) / 96.0)
            })
            .collect();
    }
    for point in points {
        for corner in 0..24u8 {
            circle.push(
                *point + margin * Vec2::angled(std::f32::consts::TAU * f32::from(corner) / 24.0),
            );
        }
    }
    hull(&circle)
}

/// A head on a line, a little beyond its middle.
pub(super) fn arrow_head(painter: &Painter, from: Pos2, to: Pos2, size: f32, colour: Color32) {
    let along = (to - from).normalized();
    let across = along.rot90();
    let tip = between(from, to, 0.62);
    painter.add(Shape::convex_polygon(
        vec![
            tip + along * size,
            tip - along * size * 0.6 + across * size * 0.7,
            tip - along * size * 0.6 - across * size * 0.7,
        ],
        colour,
        Stroke::NONE,
    ));
}

/// Cuts a leg short so that it ends at the edge of the heads, not under them.
fn leg(from: Pos2, to: Pos2, radius: f32) -> Option<[Pos2; 2]> {
    let along = to - from;
    let length = along.length();
    (length > radius * 2.4).then(|| {
        let unit = along / length;
        [from + unit * radius * 1.15, to - unit * radius * 1.15]
    })
}

fn draw_front(painter: &Painter, colours: &Colours, rect: Rect, front: Front) {
    let (strip, align) = match front {
        Front::Left => (
            Rect::from_min_max(rect.min, pos2(rect.left() + 24.0, rect.bottom())),
            true,
        ),
        Front::Right => (
            Rect::from_min_max(pos2(rect.right() - 24.0, rect.top()), rect.max),
            true,
        ),
        Front::Top => (
            Rect::from_min_max(rect.min, pos2(rect.right(), rect.top() + 24.0)),
            false,
        ),
        Front::Bottom => (
            Rect::from_min_max(pos2(rect.left(), rect.bottom() - 24.0), rect.max),
            false,
        ),
    };
    hatch(painter, strip, 9.0, Stroke::new(1.0, colours.line));
    painter.rect_stroke(
        strip,
        0.0,
        Stroke::new(1.0, colours.outline),
        egui::StrokeKind::Inside,
    );
    let galley = painter.words_in_line("FRONT", theme::strong(BODY), colours.ink);
    let size = galley.size();
    if align {
        let ground = Rect::from_center_size(strip.center(), vec2(size.y, size.x + 16.0));
        painter.rect_filled(ground, 0.0, colours.sheet);
        let mut shape = egui::epaint::TextShape::new(
            strip.center() + vec2(-size.y / 2.0, size.x / 2.0),
            galley,
            colours.ink,
        );
        shape.angle = -std::f32::consts::FRAC_PI_2;
        painter.add(shape);
    } else {
        painter.rect_filled(
            Rect::from_center_size(strip.center(), vec2(size.x + 16.0, size.y)),
            0.0,
            colours.sheet,
        );
        painter.galley(strip.center() - size / 2.0, galley, colours.ink);
    }
}

fn draw_path(
    painter: &Painter,
    colours: &Colours,
    joint: &JointView,
    points: &[Pos2],
    radius: f32,
) {
    let done = joint.at.unwrap_or(joint.path.len());
    for (step, (from, to)) in legs(&joint.path).enumerate() {
        let (Some(from), Some(to)) = (points.get(from), points.get(to)) else {
            continue;
        };
        let Some([a, b]) = leg(*from, *to, radius) else {
            continue;
        };
        if step + 1 == done {
            // The leg to the one in hand.
            painter.line_segment([a, b], Stroke::new(3.0, colours.next));
            arrow_head(painter, a, b, 9.0, colours.next);
        } else if step + 1 < done {
            painter.line_segment([a, b], Stroke::new(1.0, colours.line));
        } else if step == done {
            painter.extend(Shape::dashed_line(
                &[a, b],
                Stroke::new(1.5, colours.outline),
                7.0,
                5.0,
            ));
            arrow_head(painter, a, b, 7.0, colours.outline);
        } else {
            painter.extend(Shape::dashed_line(
                &[a, b],
                Stroke::new(1.0, colours.line),
                3.0,
                5.0,
            ));
        }
    }
}

/// Draws the map; returns the fastener that was pressed, if one was.
pub(super) fn draw(
    ui: &mut Ui,
    rect: Rect,
    joint: &JointView,
    selected: Option<usize>,
    photo: &mut Photo,
) -> Option<usize> {
    let colours = Colours::of(ui);
    let strip = 32.0;
    let mut room = rect;
    match joint.front {
        Some(Front::Left) => room.min.x += strip,
        Some(Front::Right) => room.max.x -= strip,
        Some(Front::Top) => room.min.y += strip,
        Some(Front::Bottom) => room.max.y -= strip,
        None => {}
    }
    let place = layout(room, joint);
    let (points, radius) = (&place.points, place.radius);
    {
        let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
        let line = Stroke::new(1.2, colours.outline);
        let shape = edge(points, radius * EDGE);
        painter.add(Shape::convex_polygon(shape, colours.page, line));
        match &joint.picture {
            // Faint: it shows where one is on the part, and what is drawn on it is read first.
            Some((picture, laid)) => {
                let alpha = if ui.visuals().dark_mode { 44 } else { 72 };
                let screen = |at| place.screen(at);
                photo.paint(ui, rect, (picture, laid), alpha, screen);
            }
            None => photo.forget(),
        }
        if points.len() > 2 {
            // The centre lines of the part.
            let bounds = Rect::from_points(points).expand(radius * 2.4);
            let centre = bounds.center();
            let hair = Stroke::new(1.0, colours.line);
            for (from, to) in [
                (
                    pos2(bounds.left(), centre.y),
                    pos2(bounds.right(), centre.y),
                ),
                (
                    pos2(centre.x, bounds.top()),
                    pos2(centre.x, bounds.bottom()),
                ),
            ] {
                painter.extend(Shape::dashed_line(&[from, to], hair, 14.0, 4.0));
            }
        }
        draw_path(&painter, &colours, joint, points, radius);
        if let Some(front) = joint.front {
            draw_front(&painter, &colours, rect, front);
        }
    }
    let next = joint.at.and_then(|at| joint.path.get(at)).copied();
    let mut pressed = None;
    for (index, (fastener, point)) in joint.fasteners.iter().zip(points).enumerate() {
        let is_next = next == Some(index);
        let size = Vec2::splat((radius * 2.0).max(theme::TARGET));
        let head = Rect::from_center_size(*point, size);
        let response = ui.interact(
            head,
            ui.scope_id().with(("fastener", index)),
            Sense::click(),
        );
        let order = joint.path.iter().position(|&step| step == index);
        response.widget_info(|| {
            let word = if is_next {
                "next"
            } else {
                fastener.mark.word()
            };
            let turn = order.map_or(String::new(), |order| {
                format!(", number {} in order", order + 1)
            });
            let paint = if fastener.marked {
                ", paint mark on"
            } else {
                ""
            };
            ink::labeled(
                Role::Button,
                true,
                format!(
                    "Fastener {}, {word}{paint}, {}{turn}",
                    fastener.label, fastener.place
                ),
            )
        });
        if response.clicked() {
            pressed = Some(index);
        }
        let painter = ui.painter();
        draw_fastener(painter, &colours, fastener, *point, radius, is_next);
        if selected == Some(index) {
            painter.extend(Shape::dashed_line(
                &closed(marks::hexagon(*point, radius * 1.5)),
                Stroke::new(2.5, colours.ink),
                6.0,
                4.0,
            ));
        }
        focus_ring(ui, &response, head);
    }
    // Words of the next one last, on top of everything.
    if let Some(point) = next.and_then(|index| points.get(index)) {
        let painter = ui.painter();
        let galley = painter.words_in_line("NEXT", theme::strong(HEAD), colours.next);
        // On the side where no other head or reading is in the way.
        let reach = vec2(0.0, radius * 1.55 + 4.0 + galley.size().y / 2.0);
        let clear = |centre: Pos2| {
            points
                .iter()
                .filter(|other| **other != *point)
                .map(|other| (*other - centre).length())
                .fold(f32::MAX, f32::min)
        };
        let above_is_clear = clear(*point - reach) + 6.0 >= clear(*point + reach)
            && point.y - reach.y > rect.top() + 10.0;
        let at = if above_is_clear {
            *point - reach
        } else {
            *point + reach
        };
        let ground = Rect::from_center_size(at, galley.size() + vec2(8.0, -4.0));
        painter.rect_filled(ground, 2.0, colours.page);
        painter.galley(ground.center() - galley.size() / 2.0, galley, colours.next);
    }
    pressed
}

fn closed(mut points: Vec<Pos2>) -> Vec<Pos2> {
    points.extend(points.first().copied());
    points
}

fn draw_fastener(
    painter: &Painter,
    colours: &Colours,
    fastener: &super::view::FastenerView,
    point: Pos2,
    radius: f32,
    is_next: bool,
) {
    let hue = marks::colour(colours, fastener.mark);
    let label_size = (radius * 0.95).limited(NOTE, 30.0)
        * if fastener.label.chars().count() > 2 {
            0.75
        } else {
            1.0
        };
    if is_next {
        // A pointed ring: four ticks aimed at the head, so that shape alone tells it.
        for quarter in 0..4u8 {
            let along = Vec2::angled(std::f32::consts::TAU * (f32::from(quarter) + 0.5) / 4.0);
            painter.line_segment(
                [point + along * radius * 1.28, point + along * radius * 1.75],
                Stroke::new((radius * 0.2).max(3.0), colours.next),
            );
        }
        painter.add(Shape::convex_polygon(
            marks::hexagon(point, radius * 1.15),
            colours.next,
            Stroke::new(2.0, colours.ink),
        ));
        painter.write(
            point,
            Align2::CENTER_CENTER,
            &fastener.label,
            theme::figure(label_size * 1.15),
            colours.on_next,
        );
    } else {
        let plain = matches!(fastener.mark, Mark::Open | Mark::Waiting);
        let stroke = if plain {
            Stroke::new(1.5, colours.soft)
        } else {
            Stroke::new(3.0, hue)
        };
        painter.add(Shape::convex_polygon(
            marks::hexagon(point, radius),
            colours.sheet,
            stroke,
        ));
        let ink = if plain { colours.soft } else { colours.ink };
        painter.write(
            point,
            Align2::CENTER_CENTER,
            &fastener.label,
            theme::figure(label_size),
            ink,
        );
    }
    if fastener.marked {
        // A stroke of paint from the head over the edge onto the part, as it is put on the metal.
        let along = Vec2::angled(std::f32::consts::TAU * 0.375);
        for (width, colour) in [(0.34, colours.page), (0.22, colours.ink)] {
            painter.line_segment(
                [point + along * radius * 0.62, point + along * radius * 1.5],
                Stroke::new(
                    (radius * width).max(if width > 0.3 { 6.0 } else { 3.5 }),
                    colour,
                ),
            );
        }
    }
    if fastener.mark != Mark::Open && !(is_next && fastener.mark == Mark::InProgress) {
        let badge = (radius * 0.42).limited(7.0, 12.0);
        let at = point + vec2(radius * 0.86, -radius * 0.8);
        painter.circle_filled(at, badge * 1.45, colours.page);
        marks::draw(painter, colours, fastener.mark, at, badge);
    }
    if !fastener.reading.is_empty() {
        let below = point + vec2(0.0, radius * if is_next { 1.75 } else { 1.0 } + 2.0);
        let colour = if matches!(
            fastener.mark,
            Mark::Rejected | Mark::Doubtful | Mark::Disturbed
        ) {
            hue
        } else {
            colours.ink
        };
        let galley = painter.words_in_line(fastener.reading.clone(), theme::text(NOTE), colour);
        let place = Rect::from_min_size(below - vec2(galley.size().x / 2.0, 0.0), galley.size());
        painter.rect_filled(place.expand2(vec2(2.0, -2.0)), 0.0, colours.page);
        painter.galley(place.min, galley, colour);
    }
}

/// The legs of a path: from each to the one after it.
fn legs(path: &[usize]) -> impl Iterator<Item = (usize, usize)> {
    path.iter().copied().zip(path.iter().copied().skip(1))
}

/// The fastener nearest to `from` in this direction, for the arrow keys.
#[must_use]
pub(super) fn neighbour(joint: &JointView, from: usize, toward: Vec2) -> Option<usize> {
    let here = joint.fasteners.get(from)?;
    let cost = |there: &super::view::FastenerView| {
        let offset = vec2(there.x - here.x, there.y - here.y);
        let along = offset.dot(toward);
        let across = offset.dot(toward.rot90()).abs();
        (along > 1e-3 && across <= along * 2.0).then_some(along + across * 2.0)
    };
    let others = joint.fasteners.iter().enumerate();
    others
        .filter_map(|(index, there)| cost(there).map(|cost| (index, cost)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(index, _)| index)
}

/// A drawing of an order alone, for the calculator: numbers in a ring or grid.
pub(super) fn draw_order(
    ui: &mut Ui,
    rect: Rect,
    places: &[[f32; 2]],
    labels: &[String],
    path: &[usize],
) {
    let joint = JointView {
        fasteners: labels
            .iter()
            .zip(places)
            .enumerate()
            .map(|(index, (label, [x, y]))| super::view::FastenerView {
                label: label.clone(),
                x: *x,
                y: *y,
                mark: Mark::Open,
                reading: path
                    .iter()
                    .position(|&step| step == index)
                    .map_or(String::new(), |order| format!("{}.", order + 1)),
                place: String::new(),
                marked: false,
            })
            .collect(),
        path: path.to_vec(),
        at: Some(0),
        ..JointView::default()
    };
    let colours = Colours::of(ui);
    let Layout { points, radius, .. } = layout(rect, &joint);
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.add(Shape::convex_polygon(
        edge(&points, radius * EDGE),
        colours.page,
        Stroke::new(1.2, colours.outline),
    ));
    for (step, (from, to)) in legs(path).enumerate() {
        let (Some(from), Some(to)) = (points.get(from), points.get(to)) else {
            continue;
        };
        let Some([a, b]) = leg(*from, *to, radius) else {
            continue;
        };
        let fade = 1.0 - 0.7 * count(step) / count(path.len().max(1));
        painter.line_segment([a, b], Stroke::new(1.5, colours.next.gamma_multiply(fade)));
        arrow_head(&painter, a, b, 7.0, colours.next.gamma_multiply(fade));
    }
    for (fastener, point) in joint.fasteners.iter().zip(&points) {
        draw_fastener(&painter, &colours, fastener, *point, radius, false);
    }
    let words: Vec<&str> = path
        .iter()
        .filter_map(|&index| labels.get(index).map(String::as_str))
        .collect();
    super::widgets::speak(ui, rect, &format!("Order: {}", words.join(", ")));
}
