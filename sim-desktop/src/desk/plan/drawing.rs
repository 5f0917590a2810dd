//! The places of a joint's fasteners, drawn: clicked, dragged, laid out, numbered and ordered along the manual's sequence.
//!
//! Lengths are in mm, upwards is upwards. Knows nothing of how the plan writes them.

use super::super::edit_view::{Draw, DrawingView, PlanAsk, PlanEdit};
use super::super::ink;
use super::super::map;
use super::super::theme::{self, BODY, Colours, GAP, NOTE, TARGET};
use super::super::view::Ask;
use super::super::widgets::{self, area, number, pressed, silent_line};
use egui::accesskit::Role;
use egui::{Align2, Key, Pos2, Rect, Sense, Stroke, Ui, pos2, vec2};

/// What a click means.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Mode {
    /// A new fastener on free ground, or one taken and dragged.
    #[default]
    Place,
    /// The next number.
    Number,
    /// The next in the order of work.
    Order,
}

const MODES: [(Mode, &str); 3] = [
    (Mode::Place, "Place"),
    (Mode::Number, "Number"),
    (Mode::Order, "Order"),
];

/// What the drawing remembers.
#[derive(Clone, Debug, Default)]
pub(super) struct DrawingState {
    /// The joint that all of this is about.
    joint: String,
    mode: Mode,
    /// Labels clicked so far, of numbers or of an order.
    clicked: Vec<String>,
    /// The fastener in hand.
    held: Option<String>,
    /// Where it is dragged to, in mm.
    dragged: Option<(f64, f64)>,
    lay_out: String,
}

/// From mm to the screen and back.
struct Scale {
    centre: Pos2,
    middle: (f64, f64),
    /// Points a mm.
    zoom: f64,
    /// The step that clicks keep to, in mm.
    step: f64,
}

impl Scale {
    fn of(rect: Rect, drawing: &DrawingView) -> Self {
        let (mut low, mut high) = ((-100.0_f64, -60.0_f64), (100.0_f64, 60.0_f64));
        let mut places = drawing.fasteners.iter().map(|(_, x, y)| (*x, *y));
        if let Some(first) = places.next() {
            (low, high) = (first, first);
            for (x, y) in places {
                low = (low.0.min(x), low.1.min(y));
                high = (high.0.max(x), high.1.max(y));
            }
        }
        // Room around them for more.
        let room = ((high.0 - low.0).max(high.1 - low.1) * 0.2).max(20.0);
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
    fn screen(&self, x: f64, y: f64) -> Pos2 {
        pos2(
            self.centre.x + ((x - self.middle.0) * self.zoom) as f32,
            self.centre.y - ((y - self.middle.1) * self.zoom) as f32,
        )
    }

    fn mm(&self, at: Pos2) -> (f64, f64) {
        (
            self.middle.0 + f64::from(at.x - self.centre.x) / self.zoom,
            self.middle.1 - f64::from(at.y - self.centre.y) / self.zoom,
        )
    }

    /// In line with another fastener where it nearly is, else on the step.
    fn snapped(&self, at: Pos2, others: &[(f64, f64)]) -> (f64, f64) {
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

/// Draws it.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    edit: &PlanEdit,
    state: &mut DrawingState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let Some(drawing) = &edit.drawing else {
        let inner = area(ui, rect, "Places", "");
        let words = "Take a joint in hand: its fasteners are drawn here.";
        widgets::paragraph(ui, inner, words, theme::text(BODY), Colours::of(ui).ink);
        return;
    };
    if state.joint != drawing.joint {
        *state = DrawingState {
            joint: drawing.joint.clone(),
            ..DrawingState::default()
        };
    }
    let (board, foot) = widgets::cut_bottom(rect, 78.0);
    let title = format!("{}: where its fasteners sit", drawing.title);
    let inner = area(ui, board, &title, "M: fields again");
    let (head, body) = widgets::cut_top(inner, TARGET + 26.0);
    let (choices, words) = widgets::cut_bottom(head, 24.0);
    let names = MODES.map(|(_, name)| name);
    let current = MODES.iter().position(|(mode, _)| *mode == state.mode);
    let chosen = widgets::choices(
        ui,
        choices.with_max_x(choices.left() + 420.0_f32.min(choices.width())),
        &names,
        current.unwrap_or(0),
    );
    if let Some((mode, _)) = chosen.and_then(|chosen| MODES.get(chosen)) {
        state.mode = *mode;
        state.clicked.clear();
    }
    widgets::line(
        ui,
        words,
        Align2::LEFT_CENTER,
        &said(drawing, state),
        theme::text(NOTE),
        Colours::of(ui).soft,
    );
    ground(ui, body, drawing, state, free, asks);
    lay_out(ui, foot, state, free, asks);
}

/// What to do, and what is in hand.
fn said(drawing: &DrawingView, state: &DrawingState) -> String {
    let next = state.clicked.len() + 1;
    match state.mode {
        Mode::Number => format!(
            "Click what the manual calls {next}; {} to go.",
            left(drawing, state)
        ),
        Mode::Order => format!(
            "Click what is done as number {next}; {} to go.",
            left(drawing, state)
        ),
        Mode::Place => {
            let held = state.held.as_ref().and_then(|held| {
                let found = drawing.fasteners.iter().find(|(label, _, _)| label == held);
                found.map(|(_, x, y)| state.dragged.unwrap_or((*x, *y)))
            });
            match (held, &state.held) {
                (Some((x, y)), Some(held)) => format!(
                    "{held} at {} mm to the right, {} mm upwards. Delete takes it away, arrows move it.",
                    number(x, 1),
                    number(y, 1)
                ),
                _ if drawing.is_circle && !drawing.fasteners.is_empty() => {
                    "A circle: where one is moved, all are written one by one.".to_owned()
                }
                _ => "Click puts one, dragging moves one; both keep in line with the others."
                    .to_owned(),
            }
        }
    }
}

fn left(drawing: &DrawingView, state: &DrawingState) -> usize {
    drawing.fasteners.len().saturating_sub(state.clicked.len())
}

fn ground(
    ui: &mut Ui,
    rect: Rect,
    drawing: &DrawingView,
    state: &mut DrawingState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let colours = Colours::of(ui);
    let scale = Scale::of(rect, drawing);
    let floor = ui.interact(rect, ui.scope_id().with("ground"), Sense::click());
    floor.widget_info(|| ink::labeled(Role::Canvas, true, "Where the fasteners sit"));
    let mut draw = |what: Draw| asks.push(Ask::Plan(PlanAsk::Draw(what)));
    grid(ui, rect, &scale, &colours);
    order(ui, drawing, &scale, &colours);
    let painter = ui.painter().with_clip_rect(rect);
    let radius = 15.0;
    for (label, x, y) in &drawing.fasteners {
        let is_held = state.held.as_ref() == Some(label);
        let (x, y) = match state.dragged.filter(|_| is_held) {
            Some(to) => to,
            None => (*x, *y),
        };
        let at = scale.screen(x, y);
        let place = Rect::from_center_size(at, vec2(TARGET, TARGET));
        let id = ui.scope_id().with(("fastener", label));
        let response = ui.interact(place, id, Sense::click_and_drag());
        let number_of = state.clicked.iter().position(|own| own == label);
        let spoken = format!("Fastener {label} at {}, {}", number(x, 1), number(y, 1));
        response.widget_info(|| ink::selected(Role::Button, true, is_held, &spoken));
        let (fill, line) = match (is_held || number_of.is_some(), response.hovered()) {
            (true, _) => (colours.next, colours.sheet),
            (false, true) => (colours.well, colours.ink),
            (false, false) => (colours.sheet, colours.ink),
        };
        painter.circle(at, radius, fill, Stroke::new(2.0, colours.ink));
        let words = number_of.map_or_else(|| label.clone(), |at| (at + 1).to_string());
        silent_line(
            &painter,
            place,
            Align2::CENTER_CENTER,
            &words,
            theme::strong(BODY - 1.0),
            line,
        );
        widgets::focus_ring(ui, &response, place);
        if !free {
            continue;
        }
        if response.clicked() {
            state.held = Some(label.clone());
            if state.mode != Mode::Place && number_of.is_none() {
                state.clicked.push(label.clone());
            }
        }
        if state.mode == Mode::Place && response.dragged() {
            state.held = Some(label.clone());
            if let Some(to) = response.interact_pointer_pos() {
                let others: Vec<(f64, f64)> = drawing
                    .fasteners
                    .iter()
                    .filter(|(own, _, _)| own != label)
                    .map(|(_, x, y)| (*x, *y))
                    .collect();
                state.dragged = Some(scale.snapped(to, &others));
            }
        }
        if response.drag_stopped()
            && let Some((x, y)) = state.dragged.take()
        {
            draw(Draw::Move(label.clone(), x, y));
        }
    }
    if free && floor.clicked() && state.mode == Mode::Place {
        let others: Vec<(f64, f64)> = drawing.fasteners.iter().map(|(_, x, y)| (*x, *y)).collect();
        // Without a pointer, as from a screen reader, in the middle.
        let at = floor.interact_pointer_pos().unwrap_or(rect.center());
        let (x, y) = scale.snapped(at, &others);
        state.held = None;
        draw(Draw::Put(x, y));
    }
    finish(ui, drawing, state, free, &scale, &mut draw);
}

/// What the keys do with the one in hand, and what is done once all are clicked.
fn finish(
    ui: &Ui,
    drawing: &DrawingView,
    state: &mut DrawingState,
    free: bool,
    scale: &Scale,
    draw: &mut dyn FnMut(Draw),
) {
    let is_all = !state.clicked.is_empty() && left(drawing, state) == 0;
    if is_all {
        let labels = std::mem::take(&mut state.clicked);
        draw(match state.mode {
            Mode::Number => Draw::Number(labels),
            Mode::Order | Mode::Place => Draw::Order(labels),
        });
        state.mode = Mode::Place;
        state.held = None;
    }
    let held = state
        .held
        .clone()
        .filter(|_| free && state.mode == Mode::Place);
    let Some(held) = held else { return };
    let Some((_, x, y)) = drawing.fasteners.iter().find(|(own, _, _)| *own == held) else {
        state.held = None;
        return;
    };
    if ui.text_edit_focused() {
        return;
    }
    if pressed(ui, Key::Delete) {
        state.held = None;
        draw(Draw::Take(held));
        return;
    }
    for (key, right, up) in [
        (Key::ArrowLeft, -1.0, 0.0),
        (Key::ArrowRight, 1.0, 0.0),
        (Key::ArrowUp, 0.0, 1.0),
        (Key::ArrowDown, 0.0, -1.0),
    ] {
        if super::chord(ui, egui::Modifiers::NONE, key) {
            let to = (x + right * scale.step, y + up * scale.step);
            draw(Draw::Move(held.clone(), to.0, to.1));
        }
    }
}

/// Lines every ten steps, and how far that is.
fn grid(ui: &Ui, rect: Rect, scale: &Scale, colours: &Colours) {
    let painter = ui.painter().with_clip_rect(rect);
    painter.rect_filled(rect, 0.0, colours.well);
    let step = scale.step * 10.0;
    let (left, bottom) = scale.mm(rect.left_bottom());
    let (right, top) = scale.mm(rect.right_top());
    let stroke = Stroke::new(1.0, colours.outline.gamma_multiply(0.5));
    let mut x = (left / step).ceil() * step;
    while x <= right {
        painter.vline(scale.screen(x, 0.0).x, rect.y_range(), stroke);
        x += step;
    }
    let mut y = (bottom / step).ceil() * step;
    while y <= top {
        painter.hline(rect.x_range(), scale.screen(0.0, y).y, stroke);
        y += step;
    }
    let words = format!("a square is {} mm", number(step, 0));
    let corner = Rect::from_min_max(rect.left_bottom() - vec2(0.0, 22.0), rect.max);
    silent_line(
        &painter,
        corner.shrink2(vec2(8.0, 0.0)),
        Align2::LEFT_CENTER,
        &words,
        theme::text(NOTE),
        colours.soft,
    );
}

/// Arrows from each to the next in the order of work.
fn order(ui: &Ui, drawing: &DrawingView, scale: &Scale, colours: &Colours) {
    let places: Vec<Pos2> = drawing
        .order
        .iter()
        .filter_map(|label| drawing.fasteners.iter().find(|(own, _, _)| own == label))
        .map(|(_, x, y)| scale.screen(*x, *y))
        .collect();
    for pair in places.windows(2) {
        if let [from, to] = pair {
            let along = (*to - *from).normalized() * 17.0;
            let (start, end) = (*from + along, *to - along);
            let stroke = Stroke::new(1.5, colours.soft);
            ui.painter().line_segment([start, end], stroke);
            map::arrow_head(ui.painter(), start, end, 7.0, colours.soft);
        }
    }
}

/// Many at once, by a line that is typed.
fn lay_out(ui: &mut Ui, rect: Rect, state: &mut DrawingState, free: bool, asks: &mut Vec<Ask>) {
    let place = rect.shrink2(vec2(GAP, 0.0));
    let hint = "circle 8, 180 mm   or   2 x 5, 85 x 130   or   mirror";
    let response = widgets::field(ui, place, "Lay out all of them", &mut state.lay_out, hint);
    if free && response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter)) {
        state.held = None;
        state.clicked.clear();
        let typed = std::mem::take(&mut state.lay_out);
        asks.push(Ask::Plan(PlanAsk::Draw(Draw::LayOut(typed))));
    }
}
