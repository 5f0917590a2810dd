//! What stands in the reading's place while something is wrong or must be answered: what happened, what to do now, one key each.
//!
//! Knows nothing of what an answer leads to.

use super::marks;
use super::theme::{self, BODY, Colours, GAP, HEAD, TARGET, TITLE};
use super::view::{Alert, Question, Way};
use super::widgets::{self, Look, button, line, paragraph, pressed, silent_line};
use egui::accesskit::Role;
use egui::{Align2, Key, Rect, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

/// What a way on is called and which key takes it.
#[must_use]
pub(super) const fn way_words(way: Way) -> (&'static str, Key, &'static str) {
    match way {
        Way::GoOn => ("Go on", Key::Enter, "Enter"),
        Way::Redo => ("Do it again", Key::R, "R"),
        Way::Loosen => ("It is loosened", Key::L, "L"),
        Way::Skip => ("Leave it out", Key::K, "K"),
        Way::NewFitted => ("New one fitted", Key::B, "B"),
        Way::FeltWrong => ("Felt wrong", Key::W, "W"),
        Way::Observed => ("A mark shows it", Key::M, "M"),
        Way::Waive => ("Go on with a reason", Key::K, "K"),
    }
}

/// An alert in place of the reading: what happened and what to do now. Returns the way taken.
pub(super) fn show_alert(ui: &mut Ui, rect: Rect, alert: &Alert) -> Option<Way> {
    let colours = Colours::of(ui);
    widgets::plate(ui, rect, colours.bad_tint, Stroke::new(2.0, colours.bad));
    let inner = rect.shrink2(vec2(16.0, 10.0));
    marks::draw_cue(
        ui.painter(),
        &colours,
        super::view::Cue::Halt,
        pos2(inner.left() + 18.0, inner.top() + 18.0),
        18.0,
    );
    let head = Rect::from_min_size(
        pos2(inner.left() + 48.0, inner.top()),
        vec2(inner.width() - 48.0, 36.0),
    );
    let id = ui.scope_id().with("alert");
    ui.interact(head, id, Sense::hover())
        .widget_info(|| WidgetInfo::labeled(Role::Alert, true, &alert.title));
    silent_line(
        ui.painter(),
        head,
        Align2::LEFT_CENTER,
        &alert.title,
        theme::strong(TITLE),
        colours.bad,
    );
    let foot = Rect::from_min_max(pos2(inner.left(), inner.bottom() - TARGET), inner.max);
    let mut y = head.bottom() + 2.0;
    let mut left = Rect::from_min_max(pos2(head.left(), y), pos2(inner.right(), foot.top() - GAP));
    if !alert.detail.is_empty() {
        y += paragraph(ui, left, &alert.detail, theme::text(BODY), colours.ink) + 2.0;
    }
    for (index, what) in alert.what_now.iter().enumerate() {
        left.min.y = y;
        if left.height() < 18.0 {
            break;
        }
        let words = if alert.what_now.len() > 1 {
            format!("{}. {what}", index + 1)
        } else {
            what.clone()
        };
        y += paragraph(ui, left, &words, theme::strong(BODY), colours.ink) + 1.0;
    }
    let mut taken = None;
    let mut x = foot.left() + 48.0;
    for (index, way) in alert.ways.iter().enumerate() {
        let (words, key, cap) = way_words(*way);
        let width = (widgets::text_width(ui, words, theme::strong(BODY)) + 84.0).max(132.0);
        let place = Rect::from_min_size(pos2(x, foot.top()), vec2(width, TARGET));
        x += width + GAP;
        let look = if index == 0 {
            Look::Advised
        } else {
            Look::Plain
        };
        if button(ui, place, words, cap, look, true).clicked() || pressed(ui, key) {
            taken = Some(*way);
        }
    }
    taken
}

/// How high an alert must be.
#[must_use]
pub(super) fn alert_height(ui: &Ui, width: f32, alert: &Alert) -> f32 {
    let wrap = (width - 32.0 - 48.0).max(1.0);
    let height = |words: &str, font| {
        ui.painter()
            .layout(words.to_owned(), font, egui::Color32::PLACEHOLDER, wrap)
            .size()
            .y
    };
    let mut total = 20.0 + 36.0 + 2.0 + GAP + TARGET + 6.0;
    if !alert.detail.is_empty() {
        total += height(&alert.detail, theme::text(BODY)) + 2.0;
    }
    for what in &alert.what_now {
        total += height(&format!("1. {what}"), theme::strong(BODY)) + 1.0;
    }
    total
}

/// What a question was answered with.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Answered {
    /// Yes or no.
    Plain(bool),
    /// A number as typed.
    Number(String),
    /// One of the choices.
    Choice(usize),
}

/// A question in place of the reading.
pub(super) fn show_question(
    ui: &mut Ui,
    rect: Rect,
    question: &Question,
    typed: &mut String,
) -> Option<Answered> {
    let colours = Colours::of(ui);
    widgets::plate(
        ui,
        rect,
        colours.caution_tint,
        Stroke::new(2.0, colours.caution),
    );
    let inner = rect.shrink2(vec2(16.0, 10.0));
    let kind = Rect::from_min_size(inner.min, vec2(inner.width(), 24.0));
    line(
        ui,
        kind,
        Align2::LEFT_CENTER,
        &question.kind,
        theme::strong(BODY),
        colours.caution,
    );
    let foot = Rect::from_min_max(pos2(inner.left(), inner.bottom() - TARGET), inner.max);
    let words = Rect::from_min_max(
        pos2(inner.left(), kind.bottom()),
        pos2(inner.right(), foot.top()),
    );
    let used = paragraph(ui, words, &question.words, theme::strong(HEAD), colours.ink);
    if !question.if_no.is_empty() && words.height() - used > 22.0 {
        let place = Rect::from_min_max(pos2(words.left(), words.top() + used + 2.0), words.max);
        paragraph(ui, place, &question.if_no, theme::text(BODY), colours.ink);
    }
    let mut answer = None;
    if let Some(what) = &question.number {
        let place = Rect::from_min_max(
            pos2(foot.left(), foot.top() - 22.0),
            pos2(foot.left() + 260.0, foot.bottom()),
        );
        let response = widgets::field(ui, place, what, typed, "");
        if response.lost_focus()
            && ui.input(|input| input.key_pressed(Key::Enter))
            && !typed.trim().is_empty()
        {
            answer = Some(Answered::Number(std::mem::take(typed)));
        } else if !response.has_focus() && ui.memory(|memory| memory.focused().is_none()) {
            response.request_focus();
        }
        let enter = Rect::from_min_size(pos2(place.right() + GAP, foot.top()), vec2(170.0, TARGET));
        if button(
            ui,
            enter,
            "Enter it",
            "Enter",
            Look::Advised,
            !typed.trim().is_empty(),
        )
        .clicked()
        {
            answer = Some(Answered::Number(std::mem::take(typed)));
        }
        return answer;
    }
    if !question.choices.is_empty() {
        for (index, (place, (choice, key))) in widgets::split_across(foot, question.choices.len())
            .into_iter()
            .zip(question.choices.iter().zip(widgets::DIGITS))
            .enumerate()
        {
            if button(ui, place, choice, key.name(), Look::Plain, true).clicked()
                || pressed(ui, key)
            {
                answer = Some(Answered::Choice(index));
            }
        }
        return answer;
    }
    let width = 190.0f32.min((foot.width() - GAP) / 2.0);
    let yes = Rect::from_min_size(foot.min, vec2(width, TARGET));
    let no = Rect::from_min_size(pos2(yes.right() + GAP, foot.top()), vec2(width, TARGET));
    if button(ui, yes, "Yes", "Enter", Look::Advised, true).clicked() || pressed(ui, Key::Enter) {
        answer = Some(Answered::Plain(true));
    }
    if button(ui, no, "No", "N", Look::Grave, true).clicked() || pressed(ui, Key::N) {
        answer = Some(Answered::Plain(false));
    }
    answer
}
