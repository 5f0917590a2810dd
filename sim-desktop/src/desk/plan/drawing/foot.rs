//! The foot of the drawing: what is typed of all fasteners, of the one in hand, or of two points of the picture; and its buttons.
//!
//! Knows nothing of what the words mean.

use super::super::super::edit_view::{Draw, DrawingView, PlanAsk};
use super::super::super::overlay::Overlay;
use super::super::super::theme::{GAP, TARGET};
use super::super::super::view::Ask;
use super::super::super::widgets::{self, Look, button, pressed};
use super::{DrawingState, Mode};
use egui::{Key, Rect, Ui, pos2, vec2};

/// What is typed there.
#[derive(Clone, Debug, Default)]
pub(super) struct FootState {
    lay_out: String,
    /// The fastener that the label below is of, and the label.
    label: (String, String),
    between: String,
    /// Two points are there: the keyboard was sent to the line that tells of them.
    is_sent: bool,
}

pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    drawing: &DrawingView,
    state: &mut DrawingState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let rect = if is_column(rect) {
        rect.shrink2(vec2(GAP, 4.0))
    } else {
        rect.shrink2(vec2(GAP, 4.0)).with_max_y(rect.bottom())
    };
    if state.mode == Mode::Picture {
        of_picture(ui, rect, drawing, state, overlay, asks);
    } else {
        of_fasteners(ui, rect, drawing, state, overlay.is_none(), asks);
    }
}

/// Places for so many lines to type and so many buttons: beside each other, or below each other in a column.
fn places(rect: Rect, lines: &[f32], buttons: u8) -> (Vec<Rect>, Vec<Rect>) {
    let mut fields = Vec::new();
    let mut pressed = Vec::new();
    if is_column(rect) {
        let mut y = rect.top();
        for _ in lines {
            fields.push(Rect::from_min_size(
                pos2(rect.left(), y),
                vec2(rect.width(), LINE),
            ));
            y += LINE + 2.0;
        }
        for _ in 0..buttons {
            y += GAP;
            pressed.push(Rect::from_min_size(
                pos2(rect.left(), y),
                vec2(rect.width(), TARGET),
            ));
            y += TARGET;
        }
        return (fields, pressed);
    }
    let width = if rect.width() < 700.0 { 92.0 } else { 130.0 };
    let room = rect.width() - f32::from(buttons) * (width + GAP);
    let mut x = rect.left();
    for share in lines {
        let wide = room * share;
        fields.push(Rect::from_min_size(
            pos2(x, rect.top()),
            vec2(wide - GAP, LINE),
        ));
        x += wide;
    }
    for _ in 0..buttons {
        let corner = pos2(x + GAP, rect.top() + LINE - TARGET);
        pressed.push(Rect::from_min_size(corner, vec2(width, TARGET)));
        x += width + GAP;
    }
    (fields, pressed)
}

/// Height of a line to type, with its caption.
const LINE: f32 = 70.0;

fn is_column(rect: Rect) -> bool {
    rect.height() > rect.width()
}

fn entered(ui: &Ui, response: &egui::Response) -> bool {
    response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter))
}

fn of_fasteners(
    ui: &mut Ui,
    rect: Rect,
    drawing: &DrawingView,
    state: &mut DrawingState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let shares: &[f32] = match state.mode {
        Mode::Place => &[0.78, 0.22],
        _ => &[1.0],
    };
    let (lines, buttons) = places(rect, shares, 1);
    let mut lines = lines.into_iter();
    let mut line = || lines.next().unwrap_or(rect);
    let hint = "circle 8, 180 mm   or   2 x 5, 85 x 130   or   mirror   or   align 1, 2, 3";
    let typed = &mut state.foot.lay_out;
    let response = widgets::field(ui, line(), "Lay out all of them", typed, hint);
    let mut draw = |what: Draw| asks.push(Ask::Plan(PlanAsk::Draw(what)));
    if free && entered(ui, &response) {
        state.held = None;
        state.clicked.clear();
        draw(Draw::LayOut(std::mem::take(&mut state.foot.lay_out)));
    }
    if state.mode == Mode::Place {
        let held = state.held.clone().unwrap_or_default();
        if state.foot.label.0 != held {
            state.foot.label = (held.clone(), held.clone());
        }
        let place = line();
        let own = &mut state.foot.label.1;
        let hint = if held.is_empty() { "none in hand" } else { "" };
        let response = widgets::field(ui, place, "Label", own, hint);
        let is_able = free && !held.is_empty();
        if is_able && pressed(ui, Key::L) {
            response.request_focus();
            // The letter that leads there is not typed there.
            ui.input_mut(|input| {
                input
                    .events
                    .retain(|event| !matches!(event, egui::Event::Text(_)));
            });
        }
        if is_able && entered(ui, &response) {
            let label = std::mem::take(&mut state.foot.label.1);
            state.foot.label = Default::default();
            state.held = None;
            draw(Draw::Label(held, label));
        }
    }
    if let Some(place) = buttons.first() {
        let words = if state.run.runs() {
            "Stop"
        } else {
            "Run order"
        };
        let is_able = free && drawing.order.len() > 1;
        if button(ui, *place, words, "R", Look::Plain, is_able).clicked()
            || (is_able && pressed(ui, Key::R))
        {
            state.run.press(ui);
        }
    }
}

fn of_picture(
    ui: &mut Ui,
    rect: Rect,
    drawing: &DrawingView,
    state: &mut DrawingState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let free = overlay.is_none();
    let (lines, buttons) = places(rect, &[1.0], 3);
    let line = lines.first().copied().unwrap_or(rect);
    let hint = "180 mm   or   3, 7   or   0, 0; 180, 0";
    let typed = &mut state.foot.between;
    let response = widgets::field(ui, line, "Between the two points", typed, hint);
    let both = state.under.both();
    if free && both.is_some() && !state.foot.is_sent {
        response.request_focus();
    }
    state.foot.is_sent = both.is_some();
    if free && both.is_some() && entered(ui, &response) {
        let typed = std::mem::take(&mut state.foot.between);
        // Where it could not be read it is typed anew.
        state.foot.is_sent = false;
        if let Some(what) = state.under.scaled(&typed) {
            asks.push(Ask::Plan(PlanAsk::Draw(what)));
        }
    }
    let has = drawing.picture.is_some();
    let words = if has { "Another" } else { "Choose" };
    let look = if has { Look::Plain } else { Look::Advised };
    let mut buttons = buttons.into_iter();
    let mut next = || buttons.next().unwrap_or(rect);
    if button(ui, next(), words, "C", look, free).clicked() || (free && pressed(ui, Key::C)) {
        *overlay = Some(Overlay::picture());
    }
    let is_printed = drawing.picture.as_ref().is_some_and(|own| own.sheet);
    let words = if is_printed {
        "Not on sheet"
    } else {
        "On sheet"
    };
    let is_able = free && has;
    if button(ui, next(), words, "B", Look::Plain, is_able).clicked()
        || (is_able && pressed(ui, Key::B))
    {
        asks.push(Ask::Plan(PlanAsk::Draw(Draw::Print(!is_printed))));
    }
    if button(ui, next(), "Take away", "Del", Look::Plain, is_able).clicked()
        || (is_able && pressed(ui, Key::Delete))
    {
        state.under.forget();
        asks.push(Ask::Plan(PlanAsk::Draw(Draw::TakePicture)));
    }
}
