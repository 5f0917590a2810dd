//! The reckoner: what a shop asks, a page a question; each with the geometry drawn where that helps.
//!
//! Knows no formula: `reckon.rs` asks the shop's arithmetic, this draws what it says.

use super::map;
use super::reckon::{self, Figures, Load, Matched, Ordered, Set};
use super::theme::{self, BODY, Colours, GAP, HEAD, NOTE, TARGET};
use super::widgets::{
    self, area, choices, cut_left, cut_top, field, line, number, paragraph, pressed,
};
use egui::{Align2, Key, Pos2, Rect, Shape, Stroke, StrokeKind, Ui, Vec2, pos2, vec2};

/// What is reckoned.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Section {
    #[default]
    Convert,
    Setting,
    Twist,
    Thread,
    Order,
    Preload,
    Wanted,
    Stretch,
    Engagement,
    Slope,
}

/// Two rows of five: tools and threads above, the bolt below.
const SECTIONS: [(Section, &str); 10] = [
    (Section::Convert, "Convert"),
    (Section::Setting, "Setting"),
    (Section::Twist, "Twist"),
    (Section::Thread, "Thread"),
    (Section::Order, "Order"),
    (Section::Preload, "Preload"),
    (Section::Wanted, "Torque for it"),
    (Section::Stretch, "Stretch"),
    (Section::Engagement, "Engagement"),
    (Section::Slope, "Slope"),
];

/// The fields as typed, and which page is open.
#[derive(Clone, Debug)]
pub(super) struct Reckoner {
    section: Section,
    torque: String,
    lever: String,
    offset: String,
    angle: String,
    thread: String,
    other: String,
    class: String,
    condition: String,
    fasteners: String,
    order: usize,
    wanted: String,
    grip: String,
    from: String,
    into: String,
    engaged: String,
    bars: String,
    train: String,
    trace: String,
    /// What the slope page said last, and to what: its file is read once, not with every frame.
    slope: Option<([String; 5], Result<Figures, String>)>,
}

impl Default for Reckoner {
    fn default() -> Self {
        let text = str::to_owned;
        Self {
            section: Section::Convert,
            torque: text("33.2 lbf·ft"),
            lever: text("300 mm"),
            offset: text("25 mm"),
            angle: text("0"),
            thread: text("M10x1.5"),
            other: text("3/8-16 UNC"),
            class: text("8.8"),
            condition: text("oiled"),
            fasteners: text("8"),
            order: 0,
            wanted: text("20 kN"),
            grip: text("40 mm"),
            from: text("90°"),
            into: text("aluminium"),
            engaged: text("15 mm"),
            bars: text("10 mm x 250 mm"),
            train: String::new(),
            trace: String::new(),
            slope: None,
        }
    }
}

impl Reckoner {
    /// What the slope page says to what stands in its fields.
    fn slope_of(&mut self) -> Result<Figures, String> {
        let asked = [
            &self.thread,
            &self.class,
            &self.grip,
            &self.train,
            &self.trace,
        ]
        .map(Clone::clone);
        if let Some((before, said)) = &self.slope
            && *before == asked
        {
            return said.clone();
        }
        let [thread, class, grip, train, trace] = &asked;
        let said = reckon::slope(thread, class, grip, train, trace);
        self.slope = Some((asked, said.clone()));
        said
    }
}

/// Draws the screen.
pub(super) fn show(ui: &mut Ui, rect: Rect, state: &mut Reckoner, free: bool) {
    let (above, body) = cut_top(rect, TARGET);
    let (below, body) = cut_top(body, TARGET);
    let names: Vec<&str> = SECTIONS.iter().map(|(_, name)| *name).collect();
    let current = SECTIONS
        .iter()
        .position(|(section, _)| *section == state.section)
        .unwrap_or(0);
    let half = SECTIONS.len() / 2;
    for (row, first) in [(above, 0), (below, half)] {
        // A number past the row's end marks none of it.
        let on = current.checked_sub(first).unwrap_or(half);
        if let Some(index) = choices(ui, row, &names[first..first + half], on) {
            state.section = SECTIONS[first + index].0;
        }
    }
    if free && ui.memory(|memory| memory.focused().is_none()) {
        if pressed(ui, Key::ArrowRight) {
            state.section = SECTIONS[(current + 1) % SECTIONS.len()].0;
        }
        if pressed(ui, Key::ArrowLeft) {
            state.section = SECTIONS[(current + SECTIONS.len() - 1) % SECTIONS.len()].0;
        }
    }
    let (left, right) = cut_left(body, (body.width() * 0.34).clamp(240.0, 380.0));
    let inputs = area(ui, left, "Given", "");
    match state.section {
        Section::Convert => {
            fields(
                ui,
                inputs,
                &mut [("Torque, with its unit", &mut state.torque, "33.2 lbf·ft")],
            );
            let inner = area(
                ui,
                right,
                "The same torque",
                "four digits, or as many as typed",
            );
            told(
                ui,
                inner,
                reckon::convert(&state.torque),
                |ui, rect, rows| draw_conversions(ui, rect, rows),
            );
        }
        Section::Setting => {
            fields(
                ui,
                inputs,
                &mut [
                    ("Torque at the fastener", &mut state.torque, "90 N·m"),
                    ("Lever: drive to hand", &mut state.lever, "300 mm"),
                    ("Offset: drive to fastener", &mut state.offset, "25 mm"),
                    (
                        "Angle to the handle, degrees",
                        &mut state.angle,
                        "0 straight on, 180 to the hand",
                    ),
                ],
            );
            let inner = area(ui, right, "Read or set the tool at", "");
            told(
                ui,
                inner,
                reckon::setting(&state.torque, &state.lever, &state.offset, &state.angle),
                draw_setting,
            );
        }
        Section::Preload => {
            fields(
                ui,
                inputs,
                &mut [
                    ("Thread", &mut state.thread, "M10x1.5"),
                    ("Property class, or grade 5", &mut state.class, "8.8"),
                    ("Torque", &mut state.torque, "40 N·m"),
                    (
                        "On the threads",
                        &mut state.condition,
                        "dry, oiled, or k 0.2",
                    ),
                ],
            );
            let inner = area(ui, right, "What the torque does to the bolt", "");
            told(
                ui,
                inner,
                reckon::preload(&state.thread, &state.class, &state.torque, &state.condition),
                draw_preload,
            );
        }
        Section::Thread => {
            fields(
                ui,
                inputs,
                &mut [
                    ("One thread", &mut state.thread, "M10x1.5"),
                    ("The other", &mut state.other, "3/8-16 UNC"),
                ],
            );
            let inner = area(ui, right, "Do they go together?", "");
            told(
                ui,
                inner,
                reckon::threads(&state.thread, &state.other),
                draw_threads,
            );
        }
        Section::Twist => {
            fields(
                ui,
                inputs,
                &mut [
                    ("Bars, ; between them", &mut state.bars, "10 mm x 250 mm"),
                    ("Torque", &mut state.torque, "40 N·m"),
                ],
            );
            let inner = area(ui, right, "How far the extension winds up", "");
            told(
                ui,
                inner,
                reckon::twist(&state.bars, &state.torque),
                draw_figures,
            );
        }
        Section::Wanted => {
            fields(
                ui,
                inputs,
                &mut [
                    ("Thread", &mut state.thread, "M10x1.5"),
                    ("Property class, or grade 5", &mut state.class, "8.8"),
                    (
                        "Preload wanted",
                        &mut state.wanted,
                        "20 kN, 75 % of proof, 90 % of yield",
                    ),
                    (
                        "On the threads",
                        &mut state.condition,
                        "dry, oiled, or k 0.2",
                    ),
                ],
            );
            let inner = area(ui, right, "The torque for that preload", "");
            told(
                ui,
                inner,
                reckon::wanted(&state.thread, &state.class, &state.wanted, &state.condition),
                draw_figures,
            );
        }
        Section::Stretch => {
            fields(
                ui,
                inputs,
                &mut [
                    ("Thread", &mut state.thread, "M10x1.5"),
                    ("Property class, or grade 5", &mut state.class, "8.8"),
                    (
                        "Clamped, and of what",
                        &mut state.grip,
                        "40 mm, 40 mm aluminium",
                    ),
                    (
                        "From load, angle or stretch",
                        &mut state.from,
                        "40 kN, 90°, 0.1 mm",
                    ),
                ],
            );
            let inner = area(ui, right, "Load, angle and stretch", "");
            told(
                ui,
                inner,
                reckon::stretch(&state.thread, &state.class, &state.grip, &state.from),
                draw_figures,
            );
        }
        Section::Engagement => {
            fields(
                ui,
                inputs,
                &mut [
                    ("Thread", &mut state.thread, "M10x1.5"),
                    ("Property class, or grade 5", &mut state.class, "8.8"),
                    (
                        "Screwed into",
                        &mut state.into,
                        "aluminium, cast-iron, nut 8, 130 MPa",
                    ),
                    ("Length engaged, if known", &mut state.engaged, "15 mm"),
                ],
            );
            let inner = area(ui, right, "How deep, and what strips first", "");
            told(
                ui,
                inner,
                reckon::engagement(&state.thread, &state.class, &state.into, &state.engaged),
                draw_figures,
            );
        }
        Section::Slope => {
            fields(
                ui,
                inputs,
                &mut [
                    ("Thread", &mut state.thread, "M10x1.5"),
                    ("Property class, or grade 5", &mut state.class, "8.8"),
                    (
                        "Clamped, and of what",
                        &mut state.grip,
                        "40 mm, 40 mm aluminium",
                    ),
                    ("Train, if it winds up", &mut state.train, "20 N·m/°"),
                    ("Trace file", &mut state.trace, "pull.csv"),
                ],
            );
            let inner = area(ui, right, "What the slope of a pull says", "");
            told(ui, inner, state.slope_of(), draw_figures);
        }
        Section::Order => {
            fields(
                ui,
                inputs,
                &mut [("Fasteners on a circle", &mut state.fasteners, "8")],
            );
            let place = Rect::from_min_size(
                pos2(inputs.left(), inputs.top() + 76.0),
                vec2(inputs.width(), TARGET),
            );
            if let Some(index) = choices(ui, place, &["Cross", "In turn"], state.order) {
                state.order = index;
            }
            let inner = area(ui, right, "The order", "");
            told(
                ui,
                inner,
                reckon::order(&state.fasteners, state.order == 0),
                draw_order,
            );
        }
    }
}

fn fields(ui: &mut Ui, rect: Rect, rows: &mut [(&str, &mut String, &str)]) {
    let mut y = rect.top();
    // What does not fit moves together, down to caption and field touching.
    let step = (rect.height() / widgets::count(rows.len())).clamp(66.0, 76.0);
    for (caption, text, hint) in rows {
        let place = Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), step - 6.0));
        field(ui, place, caption, text, hint);
        y += step;
    }
}

/// Draws what was reckoned, or says what cannot be and what is allowed.
fn told<T>(
    ui: &mut Ui,
    rect: Rect,
    result: Result<T, String>,
    draw: impl FnOnce(&mut Ui, Rect, &T),
) {
    match result {
        Ok(value) => draw(ui, rect, &value),
        Err(words) => {
            let colours = Colours::of(ui);
            paragraph(ui, rect, &words, theme::text(BODY), colours.caution);
        }
    }
}

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

fn draw_conversions(ui: &mut Ui, rect: Rect, rows: &[(String, String)]) {
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
fn draw_figures(ui: &mut Ui, rect: Rect, figures: &Figures) {
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

fn draw_setting(ui: &mut Ui, rect: Rect, set: &Set) {
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
        super::marks::hexagon(head, 17.0),
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
    let galley = painter.layout_no_wrap(words.to_owned(), theme::strong(NOTE + 1.0), colours.ink);
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

fn draw_preload(ui: &mut Ui, rect: Rect, load: &Load) {
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
    let x = |share: f64| track.left() + (share / 1.4).clamp(0.0, 1.0) as f32 * track.width();
    let painter = ui.painter();
    painter.rect_filled(track, 0.0, colours.well);
    let likely = Rect::from_min_max(
        pos2(x(load.proof_low), track.top()),
        pos2(x(load.proof_high), track.bottom()),
    );
    super::curve::hatch(painter, likely, 6.0, Stroke::new(1.5, hue));
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
    painter.text(
        pos2(x(1.0), track.bottom() + 6.0),
        Align2::CENTER_TOP,
        "proof load",
        theme::text(NOTE),
        colours.bad,
    );
    let note = Rect::from_min_max(pos2(rect.left(), track.bottom() + 30.0), rect.max);
    paragraph(ui, note, &load.note, theme::text(NOTE + 1.0), colours.soft);
}

fn draw_threads(ui: &mut Ui, rect: Rect, matched: &Matched) {
    let colours = Colours::of(ui);
    let (head, rest) = cut_top(rect, 40.0);
    let (words, hue, mark) = if matched.fits {
        (
            "They go together",
            colours.good,
            super::view::Mark::Accepted,
        )
    } else {
        (
            "They do not go together",
            colours.bad,
            super::view::Mark::Rejected,
        )
    };
    super::marks::draw(
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
    let coarse = matched.pitches[0].max(matched.pitches[1]);
    let scale = rect.width() / (coarse * 9.0);
    let middle = rect.center().y + 8.0;
    for (index, side) in [(0usize, -1.0f32), (1, 1.0)] {
        let pitch = matched.pitches[index] * scale;
        let depth = (pitch * 0.62).min(rect.height() * 0.26);
        let base = middle + side * 6.0;
        let mut points = Vec::new();
        let mut x = rect.left();
        while x < rect.right() + pitch {
            points.push(pos2(x, base));
            points.push(pos2(x + pitch / 2.0, base + side * depth));
            x += pitch;
        }
        let hue = if index == 0 {
            colours.ink
        } else {
            colours.next
        };
        painter.add(Shape::line(points, Stroke::new(2.5, hue)));
        let y = base + side * (depth + 14.0);
        painter.text(
            pos2(rect.left(), y),
            Align2::LEFT_CENTER,
            &matched.names[index],
            theme::strong(NOTE + 1.0),
            hue,
        );
    }
}

fn draw_order(ui: &mut Ui, rect: Rect, ordered: &Ordered) {
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
