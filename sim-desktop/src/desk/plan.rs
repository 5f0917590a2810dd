//! The plan: its outline, the fields of what is in hand, and its text beside them; either is worked on, and both follow.
//!
//! Knows nothing of the plan's grammar: what there is to fill in, and what is wrong, comes with the view.

mod drawing;
mod fields;
mod outline;
mod palette;
mod text;

use super::edit_view::PlanAsk;
use super::overlay::Overlay;
use super::theme::{self, Colours, GAP, NOTE, TARGET};
use super::view::{Ask, DeskView};
use super::widgets::{self, Look, button, cut_bottom, cut_left, pressed, split_across};
use crate::limited::Limited as _;
use egui::{Key, Modifiers, Rect, Ui};
use palette::Palette;

/// What the screen remembers.
#[derive(Clone, Debug, Default)]
pub(super) struct PlanState {
    fields: fields::FieldsState,
    text: text::TextState,
    outline: outline::OutlineState,
    drawing: drawing::DrawingState,
    /// The last plan whose joints were offered.
    offer: u64,
    /// What is chosen from, while something is added or begun.
    palette: Option<Palette>,
    /// Where there is no room for both: the text is shown, not the fields.
    shows_text: bool,
    /// The places of the joint in hand are drawn, in place of fields and text.
    draws: bool,
}

impl PlanState {
    /// From the fields to the text, to the drawing, to the fields.
    fn turn(&mut self) {
        (self.draws, self.shows_text) = match (self.draws, self.shows_text) {
            (true, _) => (false, false),
            (false, false) => (false, true),
            (false, true) => (true, true),
        };
    }
}

impl PlanState {
    /// Begins a new plan.
    pub(super) fn begin(&mut self) {
        self.palette = Some(Palette::to_begin());
    }
}

/// Narrower than this, fields and text take turns.
const WIDTH_FOR_BOTH: f32 = 900.0;

/// Draws the screen.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut PlanState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let edit = &*view.edit;
    let free = overlay.is_none();
    if state.offer != edit.offer {
        state.offer = edit.offer;
        state.palette = Some(Palette::to_take());
    }
    if let Some(palette) = &mut state.palette {
        match palette::show(ui, rect, edit, palette, free) {
            palette::Done::Open => {}
            palette::Done::Leave => state.palette = None,
            palette::Done::Take(ask) => {
                state.palette = None;
                if ask == PlanAsk::Add("from".to_owned()) {
                    *overlay = Some(Overlay::joint());
                    return;
                }
                state.fields.focus_wanted_after(edit);
                asks.push(Ask::Plan(ask));
            }
        }
        return;
    }
    if free {
        chords(ui, view, state, overlay, asks);
    }
    let (body, foot) = cut_bottom(rect, TARGET);
    let is_wide = body.width() >= WIDTH_FOR_BOTH;
    let (list, rest) = cut_left(body, (body.width() * 0.23).limited(190.0, 320.0));
    outline::show(ui, list, view, &mut state.outline, free, asks);
    if state.draws && !edit.broken {
        drawing::show(ui, rest, edit, &mut state.drawing, overlay, asks);
    } else if is_wide {
        let (middle, right) = cut_left(rest, rest.width() * 0.5);
        compared(ui, middle, view, state, overlay, asks);
        text::show(ui, right, edit, &mut state.text, asks);
    } else if state.shows_text || edit.broken {
        text::show(ui, rest, edit, &mut state.text, asks);
    } else {
        compared(ui, rest, view, state, overlay, asks);
    }
    buttons(ui, foot, view, state, overlay, asks, is_wide);
}

/// The fields, and below them whether a second person compared them with the document.
fn compared(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut PlanState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let (edit, free) = (&*view.edit, overlay.is_none());
    if edit.check.is_empty() {
        return fields::show(ui, rect, edit, &mut state.fields, free, asks);
    }
    let (fields, foot) = cut_bottom(rect, TARGET + 4.0);
    fields::show(ui, fields, edit, &mut state.fields, free, asks);
    let foot = foot.shrink2(egui::vec2(GAP, 2.0));
    let (words, place) = cut_left(foot, foot.width() - 150.0);
    widgets::paragraph(
        ui,
        words,
        &edit.check,
        theme::text(NOTE),
        Colours::of(ui).soft,
    );
    let label = match edit.checker.as_str() {
        "" => "Compared",
        name => name,
    };
    if button(ui, place, label, "K", Look::Plain, free).clicked() {
        check(view, overlay, asks);
    }
}

/// A key with others held down, wherever the keyboard is.
fn chord(ui: &Ui, modifiers: Modifiers, key: Key) -> bool {
    ui.input_mut(|input| {
        let before = input.events.len();
        input.events.retain(|event| {
            !matches!(event, egui::Event::Key { key: down, pressed: true, modifiers: held, .. }
                if *down == key && held.matches_exact(modifiers))
        });
        input.events.len() < before
    })
}

/// The keys that work while something is typed too.
fn chords(
    ui: &Ui,
    view: &DeskView,
    state: &mut PlanState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let edit = &*view.edit;
    let command = Modifiers::COMMAND;
    let plain = Modifiers::NONE;
    let in_text = text::has_focus(ui);
    let mut ask = |ask: PlanAsk| asks.push(Ask::Plan(ask));
    if chord(ui, command, Key::S) && edit.path.is_some() {
        ask(PlanAsk::Save);
    }
    if chord(ui, command, Key::Z) {
        state.fields.let_go();
        ask(PlanAsk::Undo);
    }
    if chord(ui, command | Modifiers::SHIFT, Key::Z) || chord(ui, command, Key::Y) {
        state.fields.let_go();
        ask(PlanAsk::Redo);
    }
    if !in_text {
        if chord(ui, command, Key::Enter) {
            state.fields.focus_first_after(edit);
            ask(PlanAsk::Again);
        }
        if chord(ui, command, Key::D) {
            state.fields.focus_first_after(edit);
            ask(PlanAsk::Copy);
        }
        for (key, down) in [(Key::ArrowUp, false), (Key::ArrowDown, true)] {
            if chord(ui, command, key) {
                ask(PlanAsk::Move(down));
            }
        }
        for (key, lines) in [(Key::PageUp, -1), (Key::PageDown, 1)] {
            if chord(ui, plain, key) {
                state.fields.stay_in_field(ui, edit);
                ask(PlanAsk::Go(lines));
            }
        }
    }
    if !ui.text_edit_focused() {
        let pasted = ui.input(|input| {
            input.events.iter().find_map(|event| match event {
                egui::Event::Paste(text) => Some(text.clone()),
                _ => None,
            })
        });
        if let Some(table) = pasted {
            ask(PlanAsk::Paste(table));
        }
    }
    let is_idle = ui.memory(|memory| memory.focused().is_none());
    // The arrows and Delete are the drawing's while it is there.
    if is_idle && !state.draws {
        for (key, lines) in [(Key::ArrowUp, -1), (Key::ArrowDown, 1)] {
            if chord(ui, plain, key) {
                ask(PlanAsk::Go(lines));
            }
        }
        if pressed(ui, Key::Delete) {
            ask(PlanAsk::Remove);
        }
        if pressed(ui, Key::Enter) {
            state.fields.focus_first();
        }
    }
    if chord(ui, command, Key::N) || pressed(ui, Key::A) {
        state.palette = Some(Palette::to_add());
        asks.push(Ask::Plan(PlanAsk::Look));
    }
    if !edit.check.is_empty() && !state.draws {
        if pressed(ui, Key::K) {
            check(view, overlay, asks);
        }
        if pressed(ui, Key::J) {
            *overlay = Some(Overlay::checker(&view.status));
        }
    }
    if pressed(ui, Key::E) {
        state.palette = Some(Palette::to_begin());
    }
    if pressed(ui, Key::X) {
        state.turn();
    }
    if pressed(ui, Key::M) {
        state.draws = !state.draws;
    }
    if state.palette.is_some() {
        // The letter that opened it is not its first letter.
        ui.input_mut(|input| {
            input
                .events
                .retain(|event| !matches!(event, egui::Event::Text(_)));
        });
    }
}

/// The line in hand was compared with the document, by who does that now; who that is is asked first.
fn check(view: &DeskView, overlay: &mut Option<Overlay>, asks: &mut Vec<Ask>) {
    let checker = &view.edit.checker;
    if checker.is_empty() {
        *overlay = Some(Overlay::checker(&view.status));
    } else {
        asks.push(Ask::Plan(PlanAsk::Check(checker.clone())));
    }
}

fn buttons(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut PlanState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
    is_wide: bool,
) {
    let free = overlay.is_none();
    let edit = &*view.edit;
    let places = split_across(rect, 7);
    let mut places = places.into_iter();
    let mut next = || places.next().unwrap_or(rect);
    let plain = Look::Plain;
    if button(ui, next(), "Add", "A", plain, free && !edit.broken).clicked() {
        state.palette = Some(Palette::to_add());
        asks.push(Ask::Plan(PlanAsk::Look));
    }
    let save = if edit.unsaved && edit.errors == 0 {
        Look::Advised
    } else {
        plain
    };
    let words = if edit.path.is_some() {
        "Save"
    } else {
        "Save as"
    };
    let is_able = free && (edit.unsaved || edit.path.is_none());
    if button(ui, next(), words, "S", save, is_able).clicked()
        || (is_able && pressed(ui, Key::S))
        || (edit.path.is_none() && is_able && chord(ui, Modifiers::COMMAND, Key::S))
    {
        if edit.path.is_some() {
            asks.push(Ask::Plan(PlanAsk::Save));
        } else {
            *overlay = Some(Overlay::save_as(&edit.save_name));
        }
    }
    if button(ui, next(), "Undo", "Ctrl Z", plain, free && edit.can_undo).clicked() {
        state.fields.let_go();
        asks.push(Ask::Plan(PlanAsk::Undo));
    }
    if button(ui, next(), "Open", "O", plain, free).clicked() || (free && pressed(ui, Key::O)) {
        *overlay = Some(Overlay::plan(asks));
    }
    if button(ui, next(), "New", "E", plain, free).clicked() {
        state.palette = Some(Palette::to_begin());
    }
    let words = if edit.unsaved {
        "Drop changes"
    } else {
        "Read again"
    };
    let is_able = free && (view.plan.path.is_some() || edit.unsaved);
    if button(ui, next(), words, "U", plain, is_able).clicked() || (is_able && pressed(ui, Key::U))
    {
        state.fields.let_go();
        asks.push(Ask::ReloadPlan);
    }
    if is_wide {
        let words = if state.draws { "Fields" } else { "Draw" };
        if button(ui, next(), words, "M", plain, free).clicked() {
            state.draws = !state.draws;
        }
    } else {
        // Fields, text, drawing, in turn.
        let words = match (state.draws, state.shows_text) {
            (true, _) => "Fields",
            (false, false) => "Text",
            (false, true) => "Draw",
        };
        if button(ui, next(), words, "X", plain, free).clicked() {
            state.turn();
        }
    }
}
