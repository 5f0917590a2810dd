//! The calculator: what a shop asks, a page a question; each with the geometry drawn where that helps.
//!
//! Knows no formula: `calculate.rs` asks the shop's arithmetic, this draws what it says.

mod draw;

use super::calculation::{self, Figures};
use super::theme::{self, BODY, Colours, TARGET};
use super::widgets::{self, area, choices, cut_left, cut_top, field, paragraph, pressed};
use crate::limited::Limited as _;
use egui::{Key, Rect, Ui, pos2, vec2};

use draw::{draw_conversions, draw_figures, draw_order, draw_preload, draw_setting, draw_threads};

/// What is calculated.
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
pub(super) struct Calculator {
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

impl Default for Calculator {
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

impl Calculator {
    /// Opens the question whether two threads go together.
    pub(super) const fn ask_of_threads(&mut self) {
        self.section = Section::Thread;
    }

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
        let said = calculation::slope(thread, class, grip, train, trace);
        self.slope = Some((asked, said.clone()));
        said
    }
}

/// Draws the screen.
pub(super) fn show(ui: &mut Ui, rect: Rect, state: &mut Calculator, free: bool) {
    let (above, body) = cut_top(rect, TARGET);
    let (below, body) = cut_top(body, TARGET);
    let names: Vec<&str> = SECTIONS.iter().map(|(_, name)| *name).collect();
    let current = SECTIONS
        .iter()
        .position(|(section, _)| *section == state.section)
        .unwrap_or(0);
    let (first, second) = names.split_at(SECTIONS.len() / 2);
    let mut chosen = None;
    for (row, names, before) in [(above, first, 0), (below, second, first.len())] {
        // A number past the row's end marks none of it.
        let on = current.checked_sub(before).unwrap_or(names.len());
        if let Some(index) = choices(ui, row, names, on) {
            chosen = Some(before + index);
        }
    }
    if free && ui.memory(|memory| memory.focused().is_none()) {
        if pressed(ui, Key::ArrowRight) {
            chosen = Some((current + 1) % SECTIONS.len());
        }
        if pressed(ui, Key::ArrowLeft) {
            chosen = Some((current + SECTIONS.len() - 1) % SECTIONS.len());
        }
    }
    if let Some((section, _)) = chosen.and_then(|index| SECTIONS.get(index)) {
        state.section = *section;
    }
    let (left, right) = cut_left(body, (body.width() * 0.34).limited(240.0, 380.0));
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
                calculation::convert(&state.torque),
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
                calculation::setting(&state.torque, &state.lever, &state.offset, &state.angle),
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
                    ("Torque", &mut state.torque, "45 N·m"),
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
                calculation::preload(&state.thread, &state.class, &state.torque, &state.condition),
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
                calculation::threads(&state.thread, &state.other),
                draw_threads,
            );
        }
        Section::Twist => {
            fields(
                ui,
                inputs,
                &mut [
                    ("Bars, ; between them", &mut state.bars, "10 mm x 250 mm"),
                    ("Torque", &mut state.torque, "45 N·m"),
                ],
            );
            let inner = area(ui, right, "How far the extension winds up", "");
            told(
                ui,
                inner,
                calculation::twist(&state.bars, &state.torque),
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
                calculation::wanted(&state.thread, &state.class, &state.wanted, &state.condition),
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
                calculation::stretch(&state.thread, &state.class, &state.grip, &state.from),
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
                calculation::engagement(&state.thread, &state.class, &state.into, &state.engaged),
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
                calculation::order(&state.fasteners, state.order == 0),
                draw_order,
            );
        }
    }
}

fn fields(ui: &mut Ui, rect: Rect, rows: &mut [(&str, &mut String, &str)]) {
    let mut y = rect.top();
    // What does not fit moves together, down to caption and field touching.
    let step = (rect.height() / widgets::count(rows.len())).limited(66.0, 76.0);
    for (caption, text, hint) in rows {
        let place = Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), step - 6.0));
        field(ui, place, caption, text, hint);
        y += step;
    }
}

/// Draws what was calculated, or says what cannot be and what is allowed.
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
