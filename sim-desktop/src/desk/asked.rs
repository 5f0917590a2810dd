//! The card that stands in the reading's place while something must be answered or is wrong: what, what to do now, one key each.
//!
//! Knows nothing of what a choice leads to.

use super::ink::{self, Ink as _};
use super::marks;
use super::reading;
use super::theme::{self, BODY, Colours, GAP, HEAD, TARGET, TITLE};
use super::view::{Act, Choice, Cue, Prompt};
use super::widgets::{self, Look, button, is_wide_enough, paragraph, pressed, silent_line};
use crate::limited::Limited as _;
use egui::accesskit::Role;
use egui::{Align2, Color32, FontId, Key, Rect, Sense, Stroke, Ui, pos2, vec2};

/// What was done about a card.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Taken {
    /// One of its choices.
    Choice(Choice),
    /// The line was typed.
    Typed(Act, String),
}

/// Height of the bar with the reading that a card is about, and its scale.
const BAR: f32 = 24.0;
const SCALE: f32 = 22.0;

/// How the words of a card are set: font, colour, and the gap below them.
fn rows(prompt: &Prompt, colours: &Colours) -> Vec<(String, FontId, Color32)> {
    let words = if prompt.grave {
        theme::text(BODY)
    } else {
        theme::strong(HEAD)
    };
    let now = if prompt.grave {
        theme::strong(BODY)
    } else {
        theme::text(BODY)
    };
    let mut rows = Vec::new();
    if !prompt.words.is_empty() {
        rows.push((prompt.words.clone(), words, colours.ink));
    }
    for (index, what) in prompt.what_now.iter().enumerate() {
        let words = if prompt.what_now.len() > 1 {
            format!("{}. {what}", index + 1)
        } else {
            what.clone()
        };
        rows.push((words, now.clone(), colours.ink));
    }
    rows
}

/// How much of the card stands left of its words.
const fn margin(prompt: &Prompt) -> f32 {
    if prompt.grave { 48.0 } else { 0.0 }
}

/// How high the card must be.
#[must_use]
pub(super) fn height(ui: &Ui, width: f32, prompt: &Prompt) -> f32 {
    let colours = Colours::of(ui);
    let wrap = (width - 32.0 - margin(prompt)).max(1.0);
    let words = rows(prompt, &colours)
        .into_iter()
        .map(|(words, font, colour)| {
            ui.painter()
                .words_wrapped(words, font, colour, wrap)
                .size()
                .y
                + 2.0
        });
    let typed = if prompt.typed.is_some() { 24.0 } else { 0.0 };
    let bar = prompt.gauge.as_ref().map_or(0.0, |_| BAR + SCALE + GAP);
    20.0 + 36.0 + words.sum::<f32>() + GAP + TARGET + typed + bar + 6.0
}

/// Draws the card; returns what was done about it.
pub(super) fn show(ui: &mut Ui, rect: Rect, prompt: &Prompt, typed: &mut String) -> Option<Taken> {
    let colours = Colours::of(ui);
    let (ground, hue) = if prompt.grave {
        (colours.bad_tint, colours.bad)
    } else {
        (colours.caution_tint, colours.caution)
    };
    widgets::plate(ui, rect, ground, Stroke::new(2.0, hue));
    let inner = rect.shrink2(vec2(16.0, 10.0));
    let left = inner.left() + margin(prompt);
    if prompt.grave {
        let centre = inner.min + vec2(18.0, 18.0);
        marks::draw_cue(ui.painter(), &colours, Cue::Halt, centre, 18.0);
    }
    let head = Rect::from_min_max(
        pos2(left, inner.top()),
        pos2(inner.right(), inner.top() + 36.0),
    );
    let role = if prompt.grave {
        Role::Alert
    } else {
        Role::Label
    };
    let id = ui.scope_id().with("card");
    ui.interact(head, id, Sense::hover())
        .widget_info(|| ink::labeled(role, true, &prompt.title));
    let font = theme::strong(if prompt.grave { TITLE } else { BODY });
    silent_line(
        ui.painter(),
        head,
        Align2::LEFT_CENTER,
        &prompt.title,
        font,
        hue,
    );
    let foot = Rect::from_min_max(pos2(left, inner.bottom() - TARGET), inner.max);
    let mut room = Rect::from_min_max(
        pos2(left, head.bottom()),
        pos2(inner.right(), foot.top() - GAP),
    );
    if let Some(gauge) = &prompt.gauge {
        room.max.y -= BAR + SCALE + GAP;
        let place = Rect::from_min_max(
            pos2(left, room.bottom()),
            pos2(inner.right(), foot.top() - GAP),
        );
        reading::draw_bar(ui, place, gauge, BAR, hue);
        let said = format!("window {}", reading::window_words(gauge));
        widgets::speak(ui, place, &said);
    }
    for (words, font, colour) in rows(prompt, &colours) {
        if room.height() < 18.0 {
            break;
        }
        room.min.y += paragraph(ui, room, &words, font, colour) + 2.0;
    }
    if let Some(line) = &prompt.typed {
        return type_line(ui, foot, &line.caption, typed)
            .map(|text| Taken::Typed(line.act.clone(), text));
    }
    buttons(ui, foot, prompt).map(Taken::Choice)
}

/// The choices as buttons in a row; returns the one that was taken.
pub(super) fn buttons(ui: &mut Ui, foot: Rect, prompt: &Prompt) -> Option<Choice> {
    let mut taken = None;
    let room = (foot.width() + GAP) / widgets::count(prompt.choices.len().max(1)) - GAP;
    let mut x = foot.left();
    for (index, choice) in prompt.choices.iter().enumerate() {
        let is_advised = index == 0 && !prompt.is_open;
        let wanted = widgets::text_width(ui, &choice.words, theme::strong(BODY)) + 84.0;
        let place = Rect::from_min_size(
            pos2(x, foot.top()),
            vec2(wanted.limited(132.0_f32.min(room), room.max(132.0)), TARGET),
        );
        x = place.right() + GAP;
        let look = if is_advised {
            Look::Advised
        } else {
            Look::Plain
        };
        // The key that a list has goes too; what is advised is also taken by Enter.
        let cap = if is_advised && choice.key != "Enter" {
            format!("{}, Enter", choice.key)
        } else {
            choice.key.to_owned()
        };
        let stacked = !is_wide_enough(ui, place.width(), &choice.words, &cap);
        let response = widgets::button_of(ui, place, &choice.words, &cap, look, true, stacked);
        if is_taken(ui, choice, is_advised) || response.clicked() {
            taken = Some(choice.clone());
        }
    }
    taken
}

/// Whether a choice's key was pressed; what is advised is also taken by Enter.
pub(super) fn is_taken(ui: &Ui, choice: &Choice, is_advised: bool) -> bool {
    let key = Key::from_name(choice.key);
    key.is_some_and(|key| pressed(ui, key)) || is_advised && pressed(ui, Key::Enter)
}

/// A line to type with its button; returns what was entered.
pub(super) fn type_line(
    ui: &mut Ui,
    foot: Rect,
    caption: &str,
    typed: &mut String,
) -> Option<String> {
    let place = Rect::from_min_max(
        pos2(foot.left(), foot.top() - 22.0),
        pos2(foot.left() + 260.0, foot.bottom()),
    );
    let response = widgets::field(ui, place, caption, typed, "");
    let has_text = !typed.trim().is_empty();
    let is_entered = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    if !is_entered && !response.has_focus() && ui.memory(|memory| memory.focused().is_none()) {
        response.request_focus();
    }
    let enter = Rect::from_min_size(pos2(place.right() + GAP, foot.top()), vec2(170.0, TARGET));
    let response = button(ui, enter, "Enter it", "Enter", Look::Advised, has_text);
    (has_text && (is_entered || response.clicked())).then(|| std::mem::take(typed))
}
