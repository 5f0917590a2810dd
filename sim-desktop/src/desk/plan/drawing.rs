//! The places of a joint's fasteners, drawn: clicked, dragged, laid out, numbered and ordered along the manual's sequence, over a
//! picture of the part where there is one.
//!
//! Lengths are in mm, upwards is upwards. Knows nothing of how the plan writes them.

mod foot;
mod front;
mod run;
mod scale;
mod under;

use super::super::edit_view::{Draw, DrawingView, PlanAsk, PlanEdit};
use super::super::ink;
use super::super::map;
use super::super::overlay::Overlay;
use super::super::theme::{self, BODY, Colours, NOTE, TARGET};
use super::super::view::Ask;
use super::super::widgets::{self, area, number, pressed, silent_line};
use crate::limited::Limited as _;
use egui::accesskit::Role;
use egui::{Align2, EventFilter, Key, Pos2, Rect, Sense, Stroke, Ui, pos2, vec2};
use run::Run;
use scale::Scale;
use under::Under;

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
    /// A point of the picture whose place is known.
    Picture,
}

const MODES: [(Mode, &str); 4] = [
    (Mode::Place, "Place"),
    (Mode::Number, "Number"),
    (Mode::Order, "Order"),
    (Mode::Picture, "Picture"),
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
    /// Where the keyboard's cross stands, in mm, once an arrow was pressed.
    cross: Option<(f64, f64)>,
    foot: foot::FootState,
    under: Under,
    run: Run,
}

/// Draws it.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    edit: &PlanEdit,
    state: &mut DrawingState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let free = overlay.is_none();
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
    // A low window has the foot beside the drawing.
    let is_low = rect.height() < 420.0;
    let (board, below) = widgets::cut_bottom(rect, if is_low { 0.0 } else { 78.0 });
    let title = format!("{}: where its fasteners sit", drawing.title);
    let inner = area(ui, board, &title, "M: fields again");
    let (head, body) = widgets::cut_top(inner, TARGET + 26.0);
    let (body, foot) = if is_low {
        widgets::cut_left(body, body.width() - 160.0)
    } else {
        (body, below)
    };
    let (choices, words) = widgets::cut_bottom(head, 24.0);
    let names = MODES.map(|(_, name)| name);
    let current = MODES.iter().position(|(mode, _)| *mode == state.mode);
    let chosen = widgets::choices(
        ui,
        choices.with_max_x(choices.left() + 480.0_f32.min(choices.width())),
        &names,
        current.unwrap_or(0),
    );
    if let Some((mode, _)) = chosen.and_then(|chosen| MODES.get(chosen)) {
        state.mode = *mode;
        state.clicked.clear();
        state.held = None;
        state.cross = None;
        state.under.forget();
    }
    state.run.go_on(ui, drawing);
    widgets::line(
        ui,
        words,
        Align2::LEFT_CENTER,
        &said(drawing, state),
        theme::text(NOTE),
        Colours::of(ui).soft,
    );
    ground(ui, body, drawing, state, free, asks);
    foot::show(ui, foot, drawing, state, overlay, asks);
}

/// What to do, and what is in hand.
fn said(drawing: &DrawingView, state: &DrawingState) -> String {
    let next = state.clicked.len() + 1;
    if let Some(words) = state.run.said(drawing) {
        return words;
    }
    match state.mode {
        Mode::Picture => state.under.said(drawing),
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
            match (held, &state.held, state.cross) {
                (Some((x, y)), Some(held), _) => format!(
                    "{held} at {} mm to the right, {} mm upwards. Delete takes it away, arrows move it.",
                    number(x, 1),
                    number(y, 1)
                ),
                (_, _, Some((x, y))) => format!(
                    "{} mm to the right, {} mm upwards: Enter puts one here.",
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

/// The places of all but one.
fn places(drawing: &DrawingView, but: &str) -> Vec<(f64, f64)> {
    let others = drawing.fasteners.iter().filter(|(own, _, _)| own != but);
    others.map(|(_, x, y)| (*x, *y)).collect()
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
    // FRONT stands beside what is drawn, not on it.
    let clear = match drawing.front.as_str() {
        "left" => rect.with_min_x(rect.left() + 56.0),
        "right" => rect.with_max_x(rect.right() - 56.0),
        "top" => rect.with_min_y(rect.top() + 24.0),
        "bottom" => rect.with_max_y(rect.bottom() - 24.0),
        _ => rect,
    };
    let scale = Scale::of(clear, drawing);
    let floor = ui.interact(rect, ui.scope_id().with("ground"), Sense::click());
    floor.widget_info(|| ink::labeled(Role::Canvas, true, "Where the fasteners sit"));
    let mut draw = |what: Draw| asks.push(Ask::Plan(PlanAsk::Draw(what)));
    grid(ui, rect, &scale, &colours);
    state.under.paint(ui, rect, drawing, &scale);
    front::show(ui, rect, &drawing.front, free, &mut draw);
    order(ui, drawing, &scale, &colours);
    for (label, x, y) in &drawing.fasteners {
        let place = (*x, *y);
        fastener(
            ui,
            rect,
            drawing,
            state,
            free,
            &scale,
            (label, place),
            &mut draw,
        );
    }
    state.run.paint(ui, rect, drawing, &scale);
    if state.mode == Mode::Picture {
        state.under.points(ui, rect, drawing, &scale, &colours);
    }
    if free && floor.clicked() {
        // Without a pointer, as from a screen reader, in the middle.
        let at = floor.interact_pointer_pos().unwrap_or(rect.center());
        point(drawing, state, &scale, at, &mut draw);
    }
    cross(ui, rect, drawing, state, free, &scale, &mut draw);
    finish(ui, drawing, state, free, &scale, &mut draw);
}

/// What a click on free ground does.
fn point(
    drawing: &DrawingView,
    state: &mut DrawingState,
    scale: &Scale,
    at: Pos2,
    draw: &mut dyn FnMut(Draw),
) {
    match state.mode {
        Mode::Place => {
            let (x, y) = scale.snapped(at, &places(drawing, ""));
            state.held = None;
            draw(Draw::Put(x, y));
        }
        Mode::Picture => state.under.click(drawing, scale.mm(at)),
        Mode::Number | Mode::Order => {}
    }
}

/// The keyboard's cross: arrows move it, Enter does there what a click does.
fn cross(
    ui: &Ui,
    rect: Rect,
    drawing: &DrawingView,
    state: &mut DrawingState,
    free: bool,
    scale: &Scale,
    draw: &mut dyn FnMut(Draw),
) {
    let wants = matches!(state.mode, Mode::Place | Mode::Picture) && state.held.is_none();
    let is_idle = ui.memory(|memory| memory.focused().is_none());
    if !free || !wants || !is_idle {
        return;
    }
    for (key, right, up) in ARROWS {
        for (modifiers, steps) in [(egui::Modifiers::NONE, 1.0), (egui::Modifiers::SHIFT, 10.0)] {
            if super::chord(ui, modifiers, key) {
                let (x, y) = state.cross.unwrap_or_else(|| scale.mm(rect.center()));
                let on = |value: f64| (value / scale.step).round() * scale.step;
                let moved = (
                    on(x) + right * steps * scale.step,
                    on(y) + up * steps * scale.step,
                );
                let at = scale.screen(moved.0, moved.1);
                let inside = scale.mm(pos2(
                    at.x.limited(rect.left(), rect.right()),
                    at.y.limited(rect.top(), rect.bottom()),
                ));
                state.cross = Some((on(inside.0), on(inside.1)));
            }
        }
    }
    let Some((x, y)) = state.cross else { return };
    let at = scale.screen(x, y);
    let stroke = Stroke::new(2.0, Colours::of(ui).next);
    let painter = ui.painter().with_clip_rect(rect);
    painter.hline(at.x - 22.0..=at.x + 22.0, at.y, stroke);
    painter.vline(at.x, at.y - 22.0..=at.y + 22.0, stroke);
    if pressed(ui, Key::Enter) {
        point(drawing, state, scale, at, draw);
    }
}

const ARROWS: [(Key, f64, f64); 4] = [
    (Key::ArrowLeft, -1.0, 0.0),
    (Key::ArrowRight, 1.0, 0.0),
    (Key::ArrowUp, 0.0, 1.0),
    (Key::ArrowDown, 0.0, -1.0),
];

#[expect(
    clippy::too_many_arguments,
    reason = "one fastener on the ground that all of it lies on"
)]
fn fastener(
    ui: &Ui,
    rect: Rect,
    drawing: &DrawingView,
    state: &mut DrawingState,
    free: bool,
    scale: &Scale,
    (label, (x, y)): (&String, (f64, f64)),
    draw: &mut dyn FnMut(Draw),
) {
    let colours = Colours::of(ui);
    let painter = ui.painter().with_clip_rect(rect);
    let is_held = state.held.as_ref() == Some(label);
    let (x, y) = state.dragged.filter(|_| is_held).unwrap_or((x, y));
    let at = scale.screen(x, y);
    let place = Rect::from_center_size(at, vec2(TARGET, TARGET));
    if state.mode == Mode::Picture {
        // Only to be seen: what is clicked is the picture.
        painter.circle_stroke(at, RADIUS, Stroke::new(2.0, colours.ink));
        let font = theme::strong(BODY - 1.0);
        silent_line(
            &painter,
            place,
            Align2::CENTER_CENTER,
            label,
            font,
            colours.ink,
        );
        return;
    }
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
    painter.circle(at, RADIUS, fill, Stroke::new(2.0, colours.ink));
    let words = number_of.map_or_else(|| label.clone(), |at| (at + 1).to_string());
    let font = theme::strong(BODY - 1.0);
    silent_line(&painter, place, Align2::CENTER_CENTER, &words, font, line);
    widgets::focus_ring(ui, &response, place);
    if !free {
        return;
    }
    if response.has_focus() && is_held {
        // The arrows move it, and do not lead on to the next thing.
        let filter = EventFilter {
            horizontal_arrows: true,
            vertical_arrows: true,
            ..EventFilter::default()
        };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(id, filter));
    }
    if response.clicked() {
        state.held = Some(label.clone());
        state.cross = None;
        if state.mode != Mode::Place && number_of.is_none() {
            state.clicked.push(label.clone());
        }
    }
    if state.mode == Mode::Place && response.dragged() {
        state.held = Some(label.clone());
        if let Some(to) = response.interact_pointer_pos() {
            state.dragged = Some(scale.snapped(to, &places(drawing, label)));
        }
    }
    if response.drag_stopped()
        && let Some((x, y)) = state.dragged.take()
    {
        draw(Draw::Move(label.clone(), x, y));
    }
}

/// Half the size of a fastener on the screen.
const RADIUS: f32 = 15.0;

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
            Mode::Order | Mode::Place | Mode::Picture => Draw::Order(labels),
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
    if pressed(ui, Key::Escape) {
        state.held = None;
        return;
    }
    if pressed(ui, Key::Delete) {
        state.held = None;
        draw(Draw::Take(held));
        return;
    }
    for (key, right, up) in ARROWS {
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
