//! The strip across the joint screen where values are typed: one big field that has the keyboard, or a setting and one key a click.
//!
//! An instrument that types as a keyboard does is heard in the same field. Knows nothing of what a value means.

use super::joint::JointState;
use super::marks;
use super::reading::{figure_size, next_mark};
use super::theme::{self, BODY, Colours, GAP, HEAD, TARGET};
use super::view::{Ask, JointView, TypingView};
use super::widgets::{self, Look, button, cut_bottom, cut_left, line, pressed};
use egui::{Align2, Event, Key, Rect, Response, Stroke, Ui, UiBuilder, pos2, vec2};

/// What is being typed.
#[derive(Clone, Debug, Default)]
pub(super) struct TypingState {
    first: String,
    second: String,
    moved: bool,
    /// Esc gave the keyboard back for good; the next digit takes it again.
    released: bool,
    /// A letter came into empty fields: it is a key.
    is_letter: bool,
    /// Records there were when this was typed for.
    turn: usize,
}

impl TypingState {
    /// Before anything else looks at the keys: no value begins with a letter, so into empty fields it is a key as ever, and the
    /// keyboard is let go of for this frame.
    pub(super) fn hear(&mut self, ui: &Ui) {
        self.is_letter = begins_with_a_letter(ui, self);
    }
}

/// Draws the strip; returns what was taken.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    joint: &JointView,
    typing: &TypingView,
    state: &mut JointState,
    window_height: f32,
    free: bool,
) -> Option<Ask> {
    let colours = Colours::of(ui);
    let state = &mut state.typing;
    renew(typing, state);
    widgets::plate(ui, rect, colours.sheet, Stroke::new(1.0, colours.line));
    let inner = rect.shrink2(vec2(14.0, GAP));
    let (mut top, foot) = cut_bottom(inner, 26.0);
    if !typing.caution.is_empty() {
        let (rest, row) = cut_bottom(top, 24.0);
        let font = theme::strong(BODY);
        line(
            ui,
            row.shrink2(vec2(6.0, 0.0)),
            Align2::LEFT_CENTER,
            &typing.caution,
            font,
            colours.caution,
        );
        top = rest;
    }
    let figure = figure_size(window_height);
    let next = joint.next()?;
    let rest = next_mark(ui, top, next, figure);
    let (words, place) = cut_left(rest, rest.width() * 0.36);
    said(ui, words, joint, typing, &next.place);
    last(ui, foot, typing);
    if typing.keys.is_empty() {
        fields(ui, place, typing, state, (figure, 0.62), free)
    } else {
        keys(ui, place, typing, figure, free)
    }
}

/// What was typed is put away once it is recorded.
pub(super) fn renew(typing: &TypingView, state: &mut TypingState) {
    if state.turn != typing.turn {
        *state = TypingState {
            turn: typing.turn,
            released: state.released,
            ..TypingState::default()
        };
    }
}

/// Where, what, and with which tool.
fn said(ui: &mut Ui, rect: Rect, joint: &JointView, typing: &TypingView, place: &str) {
    let colours = Colours::of(ui);
    let rows = [
        (
            27.0,
            format!("NEXT: {place}"),
            theme::strong(HEAD),
            colours.next,
        ),
        (
            23.0,
            joint.stage_words.clone(),
            theme::strong(BODY),
            colours.ink,
        ),
        (22.0, typing.wanted.clone(), theme::text(BODY), colours.ink),
        (20.0, typing.title.clone(), theme::text(BODY), colours.soft),
    ];
    let mut y = rect.top();
    for (height, text, font, colour) in rows {
        if y + height > rect.bottom() + 4.0 {
            break;
        }
        let row = Rect::from_min_size(
            pos2(rect.left() + 6.0, y),
            vec2(rect.width() - 12.0, height),
        );
        line(ui, row, Align2::LEFT_CENTER, &text, font, colour);
        y += height;
    }
}

/// The value taken last with its verdict; or the question about the one that was typed.
fn last(ui: &mut Ui, rect: Rect, typing: &TypingView) {
    let colours = Colours::of(ui);
    if !typing.question.is_empty() {
        ui.painter().rect_filled(rect, 0.0, colours.caution_tint);
        let font = theme::strong(BODY);
        line(
            ui,
            rect.shrink2(vec2(8.0, 0.0)),
            Align2::LEFT_CENTER,
            &typing.question,
            font,
            colours.caution,
        );
        return;
    }
    let Some(entry) = &typing.last else { return };
    let mut left = rect.left() + 6.0;
    if let Some(mark) = entry.mark {
        marks::draw(
            ui.painter(),
            &colours,
            mark,
            pos2(left + 9.0, rect.center().y),
            9.0,
        );
        left += 26.0;
    }
    let room = Rect::from_min_max(pos2(left, rect.top()), rect.max);
    let text = if entry.fastener.is_empty() {
        entry.words.clone()
    } else {
        format!("{}: {}", entry.fastener, entry.words)
    };
    line(
        ui,
        room,
        Align2::LEFT_CENTER,
        &text,
        theme::strong(BODY),
        colours.ink,
    );
}

/// A setting in big figures, and a key for each thing that can be told of it.
fn keys(ui: &mut Ui, rect: Rect, typing: &TypingView, figure: f32, free: bool) -> Option<Ask> {
    let colours = Colours::of(ui);
    let (upper, lower) = cut_bottom(rect, TARGET);
    let font = theme::figure((figure * 0.62).min(upper.height() * 0.9));
    line(
        ui,
        upper,
        Align2::RIGHT_CENTER,
        &typing.figure,
        font,
        colours.ink,
    );
    tell_keys(ui, lower, typing, free)
}

/// A button for each thing that can be told of a pull.
pub(super) fn tell_keys(ui: &mut Ui, lower: Rect, typing: &TypingView, free: bool) -> Option<Ask> {
    let mut taken = None;
    let width = (lower.width() + GAP) / widgets::count(typing.keys.len()) - GAP;
    let mut x = lower.left();
    for (index, own) in typing.keys.iter().enumerate() {
        let place = Rect::from_min_size(pos2(x, lower.top()), vec2(width, TARGET));
        x = place.right() + GAP;
        let look = if index == 0 {
            Look::Advised
        } else {
            Look::Plain
        };
        let response = button(ui, place, &own.words, own.key, look, free);
        let is_pressed = Key::from_name(own.key).is_some_and(|key| pressed(ui, key));
        if free && (response.clicked() || is_pressed) {
            taken = Some(Ask::Told(own.tells.to_owned(), String::new(), own.moved));
        }
    }
    taken
}

/// The field that has the keyboard, and a second one where two values can be read; `figure` is the size of its digits, and the share of
/// the field's height that they may take.
pub(super) fn fields(
    ui: &mut Ui,
    rect: Rect,
    typing: &TypingView,
    state: &mut TypingState,
    figure: (f32, f32),
    free: bool,
) -> Option<Ask> {
    let share = if typing.second.is_empty() { 1.0 } else { 0.62 };
    let (upper, lower) = if typing.moved {
        cut_bottom(rect, 30.0)
    } else {
        (rect, Rect::NOTHING)
    };
    let (one, two) = cut_left(upper, upper.width() * share);
    let first = big(ui, one, &typing.first, &mut state.first, figure);
    let second = (!typing.second.is_empty()).then(|| {
        big(
            ui,
            two.with_min_x(two.left() + GAP),
            &typing.second,
            &mut state.second,
            figure,
        )
    });
    if typing.moved {
        let mut child = ui.new_child(UiBuilder::new().max_rect(lower));
        child.checkbox(&mut state.moved, "It moved");
    }
    let both = [Some(&first), second.as_ref()];
    let entered = ui.input(|input| input.key_pressed(Key::Enter));
    let is_taken = both.iter().flatten().any(|own| own.lost_focus()) && entered;
    let released = ui.input(|input| input.key_pressed(Key::Escape));
    if released {
        state.released = true;
    }
    let digit = ui.input(|input| {
        input.events.iter().find_map(|event| match event {
            Event::Text(text) if text.starts_with(|first: char| first.is_ascii_digit()) => {
                Some(text.clone())
            }
            _ => None,
        })
    });
    let nothing_has_it = ui.memory(|memory| memory.focused().is_none());
    if let Some(digit) = digit.filter(|_| state.released && nothing_has_it && free) {
        state.released = false;
        state.first.push_str(&digit);
        first.request_focus();
        move_to_the_end(ui, &first, state.first.chars().count());
    } else if is_taken || free && !state.released && !state.is_letter && nothing_has_it {
        first.request_focus();
    }
    if first.has_focus() || first.gained_focus() {
        state.released = false;
    }
    (is_taken && free && !state.first.trim().is_empty()).then(|| {
        Ask::Told(
            std::mem::take(&mut state.first),
            std::mem::take(&mut state.second),
            std::mem::take(&mut state.moved),
        )
    })
}

fn begins_with_a_letter(ui: &Ui, state: &TypingState) -> bool {
    if !state.first.is_empty() || !state.second.is_empty() {
        return false;
    }
    let is_letter =
        |event: &Event| matches!(event, Event::Text(text) if text.starts_with(char::is_alphabetic));
    let is_key = |event: &Event| {
        matches!(event, Event::Key { key, pressed: true, modifiers, .. }
            if modifiers.is_none() && key.name().len() == 1 && key.name().starts_with(char::is_alphabetic))
    };
    let found = ui.input_mut(|input| {
        let found = input
            .events
            .iter()
            .any(|event| is_letter(event) || is_key(event));
        input.events.retain(|event| !is_letter(event));
        found
    });
    if found {
        ui.memory_mut(egui::Memory::stop_text_input);
    }
    found
}

fn move_to_the_end(ui: &Ui, field: &Response, length: usize) {
    let mut edit = egui::TextEdit::load_state(ui.ctx(), field.id).unwrap_or_default();
    let end = egui::text::CCursor::new(length);
    edit.cursor
        .set_char_range(Some(egui::text::CCursorRange::one(end)));
    edit.store(ui.ctx(), field.id);
}

/// A field in figures that are read from three metres: of this size, or as much of its height where that is less.
fn big(
    ui: &mut Ui,
    rect: Rect,
    caption: &str,
    text: &mut String,
    (figure, share): (f32, f32),
) -> Response {
    let colours = Colours::of(ui);
    let head = Rect::from_min_size(rect.min, vec2(rect.width(), 20.0));
    widgets::silent_line(
        ui.painter(),
        head,
        Align2::LEFT_CENTER,
        caption,
        theme::text(BODY),
        colours.soft,
    );
    let place = Rect::from_min_max(pos2(rect.left(), head.bottom() + 2.0), rect.max);
    let mut child = ui.new_child(
        UiBuilder::new()
            .id_salt(("typing", caption))
            .max_rect(place),
    );
    let size = (place.height() * share).min(figure);
    // Every digit is seen, however narrow the window: a value cut off is another value.
    let width = widgets::text_width(ui, text, theme::figure(size));
    let room = place.width() - 28.0;
    let size = if width > room {
        (size * room / width).max(8.0)
    } else {
        size
    };
    let edit = egui::TextEdit::singleline(text)
        .id_salt(caption)
        .font(theme::figure(size))
        .align(Align2::RIGHT_CENTER)
        .margin(egui::Margin::symmetric(10, 2))
        .char_limit(40)
        .desired_width(f32::INFINITY);
    child.put(place, edit).accessible_name(caption)
}
