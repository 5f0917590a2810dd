//! The joint from across the shop: next fastener, cue, reading and bar fill the window, and so does whatever must be answered first.
//!
//! What is needed to go on stands in letters of a height that is read from three metres on a screen of fourteen inches; the rest is
//! left away or small. The same view and the same acts as the joint screen. Knows nothing of what a reading means.

use super::asked::{self, Taken};
use super::ink::{self, Ink as _};
use super::joint::JointState;
use super::marks;
use super::reading::{self, draw_bar, next_mark, reading_colour, remaining_words, window_words};
use super::theme::{self, BODY, Colours, DIGIT_HEIGHT, GAP, HEAD, TARGET};
use super::typing;
use super::view::{Ask, Cue, Gauge, JointView, Prompt, TypingView};
use super::widgets::{self, cut_bottom, cut_left, cut_top, line, number};
use crate::limited::Limited as _;
use egui::accesskit::Role;
use egui::{Align2, Color32, FontId, Rect, Sense, Stroke, Ui, pos2, vec2};

/// What must be read from afar stands in letters of this share of the window's height. At three metres and fourteen inches a letter
/// of a two-hundredth of the distance, 15 mm, is between 0.080 of the height (16:10) and 0.087 (16:9); a little more is drawn.
/// `tests/desk/far.rs` states the rule and measures it on the picture.
const LETTER: f32 = 0.0885;
/// The cue: at least a tenth.
const CUE: f32 = 0.105;
/// The reading: at least a quarter.
const READING: f32 = 0.26;
/// What a reading is given where there is room.
const READING_MOST: f32 = 0.36;
/// Height of a line over the font's size, as the typeface has it, and what of it is below the digits.
const LINE: f32 = 1.2;
const BELOW: f32 = 0.2;
/// By how much of the font's size the digits stand below the middle of their line.
const LOW: f32 = 0.05;

/// Font size whose digits and capitals stand this share of the height.
fn size(height: f32, share: f32) -> f32 {
    height * share / DIGIT_HEIGHT
}

/// Draws what takes the window; returns what is asked for, or what was done about the card.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    joint: &JointView,
    state: &mut JointState,
    free: bool,
) -> (Option<Ask>, Option<Taken>) {
    let height = ui.ctx().content_rect().height();
    if let Some(prompt) = &joint.prompt {
        return (None, card(ui, rect, prompt, &mut state.typed, height));
    }
    let mut rect = rect;
    let letters = theme::strong(size(height, LETTER));
    for (words, hue) in bands(joint, &Colours::of(ui)) {
        let (place, rest) = cut_top(rect, letters.size * LINE);
        let colours = Colours::of(ui);
        ui.painter().rect_filled(place, 0.0, colours.caution_tint);
        let fitting = fitting(ui, &words, &letters, place.width() - 24.0);
        let room = place.shrink2(vec2(12.0, 0.0));
        line(ui, room, Align2::LEFT_CENTER, &words, fitting, hue);
        rect = rest;
    }
    if joint.finished {
        finished(ui, rect, joint, height);
        return (None, None);
    }
    if let Some(typing) = &joint.typing {
        return (typed(ui, rect, joint, typing, state, height, free), None);
    }
    live(ui, rect, joint, height);
    (None, None)
}

/// What nobody may find out by pulling, in the fewest words.
fn bands(joint: &JointView, colours: &Colours) -> Vec<(String, Color32)> {
    let mut bands = Vec::new();
    if joint.left_hand {
        bands.push(("LEFT-HAND: ANTICLOCKWISE".to_owned(), colours.caution));
    }
    if let Some(turn) = &joint.out_of_turn {
        bands.push((
            format!("OUT OF ORDER: turn of {turn} (Esc)"),
            colours.caution,
        ));
    }
    if joint.mock_up {
        bands.push(("MOCK-UP, never final".to_owned(), colours.rehearsal));
    }
    if let Some((words, is_over)) = &joint.clock {
        let hue = if *is_over { colours.bad } else { colours.ink };
        bands.push((words.clone(), hue));
    }
    bands
}

/// The font, smaller where the words are too long for one line.
fn fitting(ui: &Ui, words: &str, font: &FontId, width: f32) -> FontId {
    let natural = widgets::text_width(ui, words, font.clone());
    let share = (width / natural.max(1.0)).min(1.0);
    FontId::new(font.size * share, font.family.clone())
}

/// Cue above, reading in the middle, bar below.
fn live(ui: &mut Ui, rect: Rect, joint: &JointView, height: f32) {
    let gauge = joint.live.gauges.first();
    let Some(next) = joint.next() else {
        let words = match joint.live.cue_words.as_str() {
            "" => "Nothing to do here now",
            words => words,
        };
        cue(ui, rect, joint.live.cue, words, height);
        return;
    };
    let bar = (height * 0.06).max(22.0);
    let scale = 22.0;
    let least = height * READING * 1.12;
    let upper = (rect.height() - least - bar - scale - 2.0 * GAP)
        .limited(height * CUE * 1.3, size(height, CUE) * LINE * 2.0);
    let (top, rest) = cut_top(rect, upper);
    let (middle, bottom) = cut_bottom(rest, bar + scale);
    let figure = size(height, 0.16).min(top.height() * 0.95);
    let room = next_mark(ui, top, next, figure);
    cue(ui, room, joint.live.cue, &joint.live.cue_words, height);
    let Some(gauge) = gauge else { return };
    reading(ui, middle, gauge, height);
    let hue = marks::cue_colour(&Colours::of(ui), joint.live.cue);
    draw_bar(ui, bottom, gauge, bar, hue);
}

/// What to do with the tool: its shape, and its words on as many lines as there is room for.
fn cue(ui: &mut Ui, rect: Rect, cue: Cue, words: &str, height: f32) {
    let colours = Colours::of(ui);
    let hue = marks::cue_colour(&colours, cue);
    let radius = (height * CUE * 0.62).min(rect.height() / 2.0);
    let centre = pos2(rect.left() + radius + GAP, rect.center().y);
    marks::draw_cue(ui.painter(), &colours, cue, centre, radius);
    let place = Rect::from_min_max(
        pos2(rect.left() + 2.0 * radius + 3.0 * GAP, rect.top()),
        rect.max,
    );
    let font = theme::strong(size(height, CUE));
    let wide = |words: &str| widgets::text_width(ui, words, font.clone()) <= place.width();
    // What to do stands large; why, where it does not fit beside it, below.
    let (what, why) = match words.split_once(": ") {
        Some((what, why)) if !wide(words) => (what, why),
        _ => (words, ""),
    };
    let painter = ui.painter();
    let set =
        |words: &str, font: FontId| painter.words_wrapped(words, font, hue, place.width().max(1.0));
    let what = set(what, font);
    let mut share = LETTER;
    let mut why = set(why, theme::strong(size(height, share)));
    // The whole reason rather than half of it, even if it is smaller.
    while what.size().y + why.size().y > place.height() * 1.08 && share > 0.03 {
        share *= 0.9;
        why = set(why.text(), theme::strong(size(height, share)));
    }
    let why_height = if why.text().is_empty() {
        0.0
    } else {
        why.size().y
    };
    let y = place.center().y - (what.size().y + why_height) / 2.0;
    let below = y + what.size().y;
    painter.galley(pos2(place.left(), y), what, hue);
    painter.galley(pos2(place.left(), below), why, hue);
    widgets::speak(ui, place, words);
}

/// The reading with its unit, as large as the width allows, and its window beside it.
fn reading(ui: &mut Ui, rect: Rect, gauge: &Gauge, height: f32) {
    let value = gauge.value.map_or_else(
        || gauge.missing.clone(),
        |value| number(value, gauge.decimals),
    );
    let widest = number(gauge.scale.max(gauge.value.unwrap_or(0.0)), gauge.decimals);
    let widest = if value.len() > widest.len() {
        &value
    } else {
        &widest
    };
    let unit_font = theme::figure(size(height, LETTER));
    let is_degrees = gauge.unit == "°";
    let tall = (rect.height() / 1.12).min(height * READING_MOST);
    let mut font = theme::figure(tall / DIGIT_HEIGHT);
    let unit_width = |ui: &Ui, figure: &FontId| {
        let font = if is_degrees {
            figure.clone()
        } else {
            unit_font.clone()
        };
        widgets::text_width(ui, &gauge.unit, font) + if is_degrees { 0.0 } else { GAP }
    };
    let beside = height * 0.42;
    let needed = widgets::text_width(ui, widest, font.clone()) + unit_width(ui, &font);
    // Larger than it must be only as long as the window stands beside it too.
    let least = size(height, READING);
    let room = rect.width() - beside;
    if needed > room {
        let unit = unit_width(ui, &theme::figure(least));
        let share = (room - unit) / (needed - unit_width(ui, &font)).max(1.0);
        font.size = (font.size * share).max(least);
    }
    let natural = widgets::text_width(ui, widest, font.clone());
    let most = rect.width() - unit_width(ui, &font);
    if natural > most {
        font.size *= most / natural;
    }
    let colours = Colours::of(ui);
    let colour = reading_colour(&colours, gauge);
    let unit = unit_width(ui, &font);
    let right = rect.right() - unit;
    let value_width = widgets::text_width(ui, widest, font.clone());
    // The line of a font is higher than its digits: they stand in the middle of the row.
    let middle = rect.center().y - font.size * LOW;
    let drawn = ui.painter().write(
        pos2(right, middle),
        Align2::RIGHT_CENTER,
        &value,
        font.clone(),
        colour,
    );
    let (anchor, place, own) = if is_degrees {
        (Align2::LEFT_CENTER, pos2(right, middle), font.clone())
    } else {
        // On the same line as the digits.
        let below = drawn.bottom() - (font.size - unit_font.size) * BELOW;
        let place = pos2(right + GAP, below);
        (Align2::LEFT_BOTTOM, place, unit_font)
    };
    ui.painter().write(place, anchor, &gauge.unit, own, colour);
    let words = format!(
        "{} {value} {}, window {}, {}",
        gauge.quantity,
        gauge.unit,
        window_words(gauge),
        remaining_words(gauge)
    );
    let place = Rect::from_min_max(
        pos2(right - value_width, rect.center().y - tall / 2.0),
        pos2(rect.right(), rect.center().y + tall / 2.0),
    );
    let id = ui.scope_id().with("far reading");
    ui.interact(place, id, Sense::hover())
        .widget_info(|| ink::labeled(Role::Label, true, &words));
    let left = Rect::from_min_max(rect.min, pos2(place.left() - GAP, rect.bottom()));
    window(ui, left, gauge, height);
}

/// The limits, one below the other, where there is room beside the reading.
fn window(ui: &Ui, rect: Rect, gauge: &Gauge, height: f32) {
    let limit = |value: f64| number(value, gauge.decimals);
    let rows = match (gauge.low, gauge.high) {
        (Some(low), Some(high)) => vec![limit(low), format!("to {}", limit(high))],
        (Some(low), None) => vec![limit(low), "or more".to_owned()],
        (None, Some(high)) => vec![limit(high), "at most".to_owned()],
        (None, None) => return,
    };
    let font = theme::figure(size(height, LETTER));
    let is_too_wide = |words: &String| widgets::text_width(ui, words, font.clone()) > rect.width();
    if rows.iter().any(is_too_wide) {
        return;
    }
    let colours = Colours::of(ui);
    let step = font.size * 1.1;
    let mut y = rect.center().y - step * (widgets::count(rows.len()) - 1.0) / 2.0;
    for words in rows {
        let place = pos2(rect.left(), y);
        let font = font.clone();
        let painter = ui.painter();
        painter.write(place, Align2::LEFT_CENTER, words, font, colours.soft);
        y += step;
    }
}

/// A tool that is read or set: next fastener, field or setting, what is wanted, what came of the last one.
fn typed(
    ui: &mut Ui,
    rect: Rect,
    joint: &JointView,
    view: &TypingView,
    state: &mut JointState,
    height: f32,
    free: bool,
) -> Option<Ask> {
    let colours = Colours::of(ui);
    let letters = theme::strong(size(height, LETTER));
    typing::renew(view, &mut state.typing);
    let (rest, foot) = cut_bottom(rect, letters.size * LINE);
    let digits = size(height, READING);
    let least = if view.keys.is_empty() {
        // A field shows whole lines, and stands below its caption; that it moved is ticked below it.
        digits * LINE + 30.0 + if view.moved { 38.0 } else { 0.0 }
    } else {
        height * READING * 1.12 + TARGET + GAP
    };
    let upper = (rest.height() - least - GAP).limited(height * 0.13, letters.size * LINE * 2.0);
    let (top, middle) = cut_top(rest, upper);
    let next = joint.next()?;
    let figure = size(height, 0.16).min(top.height() * 0.95);
    let room = next_mark(ui, top, next, figure);
    let (wanted, hue) = if view.caution.is_empty() {
        (&view.wanted, colours.ink)
    } else {
        (&view.caution, colours.caution)
    };
    wrapped(
        ui,
        room.with_min_x(room.left() + GAP),
        wanted,
        &letters,
        hue,
    );
    let (words, mark, hue) = match (&view.question, &view.last) {
        (question, _) if !question.is_empty() => (question.clone(), None, colours.caution),
        (_, Some(last)) if last.fastener.is_empty() => (last.words.clone(), last.mark, colours.ink),
        (_, Some(last)) => (
            format!("{}: {}", last.fastener, last.words),
            last.mark,
            colours.ink,
        ),
        (_, None) => (view.title.clone(), None, colours.soft),
    };
    let mut room = foot.shrink2(vec2(6.0, 0.0));
    if let Some(mark) = mark {
        let radius = foot.height() * 0.32;
        let centre = pos2(room.left() + radius, foot.center().y);
        marks::draw(ui.painter(), &colours, mark, centre, radius);
        room.min.x += 2.0 * radius + GAP;
    }
    wrapped(ui, room, &words, &letters, hue);
    if view.keys.is_empty() {
        let figure = (digits, 0.83);
        typing::fields(ui, middle, view, &mut state.typing, figure, free)
    } else {
        let (upper, lower) = cut_bottom(middle, TARGET);
        let (value, unit) = view.figure.split_once(' ').unwrap_or((&view.figure, ""));
        let unit_font = theme::figure(size(height, LETTER));
        let unit_width = widgets::text_width(ui, unit, unit_font.clone()) + GAP;
        let font = theme::figure(digits.min(upper.height()));
        let font = fitting(ui, value, &font, upper.width() - unit_width);
        let right = upper.right() - unit_width;
        let painter = ui.painter();
        let place = pos2(right, upper.center().y - font.size * LOW);
        let drawn = painter.write(
            place,
            Align2::RIGHT_CENTER,
            value,
            font.clone(),
            colours.ink,
        );
        let below = drawn.bottom() - (font.size - unit_font.size) * BELOW;
        let place = pos2(right + GAP, below);
        painter.write(place, Align2::LEFT_BOTTOM, unit, unit_font, colours.ink);
        widgets::speak(ui, upper, &view.figure);
        typing::tell_keys(ui, lower, view, free)
    }
}

/// Words in the middle of a place, as large as they should be and smaller where there are too many.
fn wrapped(ui: &mut Ui, rect: Rect, words: &str, font: &FontId, hue: Color32) {
    let mut font = font.clone();
    let set = |font: &FontId| {
        let width = rect.width().max(1.0);
        ui.painter().words_wrapped(words, font.clone(), hue, width)
    };
    let mut galley = set(&font);
    while galley.size().y > rect.height() * 1.04 && font.size > BODY {
        font.size *= 0.94;
        galley = set(&font);
    }
    let y = rect.center().y - galley.size().y / 2.0;
    ui.painter().galley(pos2(rect.left(), y), galley, hue);
    widgets::speak(ui, rect, words);
}

fn finished(ui: &mut Ui, rect: Rect, joint: &JointView, height: f32) {
    let colours = Colours::of(ui);
    let (mark, hue, words) = reading::done(&colours, joint);
    let (place, words_place) = cut_left(rect, height * 0.36);
    let radius = place.width() * 0.42;
    marks::draw(ui.painter(), &colours, mark, place.center(), radius);
    let witness = match &joint.witness_wanted {
        Some(wanted) if !joint.mock_up => format!("{words}. {wanted}: I"),
        _ => words.to_owned(),
    };
    let font = theme::strong(size(height, CUE));
    wrapped(ui, words_place, &witness, &font, hue);
}

/// The card that is asked or told, with what to do about it: title and acts are read from afar too.
fn card(
    ui: &mut Ui,
    rect: Rect,
    prompt: &Prompt,
    typed: &mut String,
    height: f32,
) -> Option<Taken> {
    let colours = Colours::of(ui);
    let (ground, hue) = if prompt.grave {
        (colours.bad_tint, colours.bad)
    } else {
        (colours.caution_tint, colours.caution)
    };
    widgets::plate(ui, rect, ground, Stroke::new(3.0, hue));
    let inner = rect.shrink2(vec2(16.0, 8.0));
    let letters = theme::strong(size(height, LETTER));
    let mut title_place = inner;
    if prompt.grave {
        let radius = letters.size * 0.5;
        let centre = inner.min + vec2(radius, radius * 1.15);
        marks::draw_cue(ui.painter(), &colours, Cue::Halt, centre, radius);
        title_place.min.x += 2.0 * radius + 2.0 * GAP;
    }
    // Of a question the words are what is asked; of what went wrong the title tells it.
    let (title, words) = if prompt.grave || prompt.words.is_empty() {
        (&prompt.title, prompt.words.as_str())
    } else {
        (&prompt.words, "")
    };
    let painter = ui.painter();
    let width = title_place.width();
    let mut font = letters.clone();
    let mut galley = painter.words_wrapped(title, font.clone(), hue, width);
    while galley.size().y > rect.height() * 0.5 && font.size > HEAD {
        font.size *= 0.94;
        galley = painter.words_wrapped(title, font.clone(), hue, width);
    }
    title_place.max.y = title_place.min.y + galley.size().y;
    painter.galley(title_place.min, galley, hue);
    let role = if prompt.grave {
        Role::Alert
    } else {
        Role::Label
    };
    let id = ui.scope_id().with("far card");
    ui.interact(title_place, id, Sense::hover())
        .widget_info(|| ink::labeled(role, true, title));
    let rest = inner.with_min_y(title_place.bottom() + GAP);
    if let Some(own) = &prompt.typed {
        let (middle, foot) = cut_bottom(rest, TARGET + 24.0);
        steps(ui, middle, prompt, words, height);
        let foot = foot.with_min_y(foot.bottom() - TARGET);
        return asked::type_line(ui, foot, &own.caption, typed)
            .map(|text| Taken::Typed(own.act.clone(), text));
    }
    // Enter takes what is advised: that one is read from afar; the others where one stands who presses them.
    let advised = usize::from(!prompt.is_open && !prompt.choices.is_empty());
    let all = prompt.choices.len();
    let large = if prompt.grave && advised > 0 { 1 } else { all };
    let row = letters.size * LINE;
    let others = if all > large { TARGET + GAP } else { 0.0 };
    // Beside one another where their words fit, below one another where they do not.
    let cell = (rest.width() + GAP) / widgets::count(large.max(1)) - GAP;
    let needed = |choice: &super::view::Choice| {
        let words = act_words(choice, false);
        widgets::text_width(ui, &words, letters.clone()) + 32.0
    };
    let beside = prompt
        .choices
        .iter()
        .take(large)
        .all(|own| needed(own) <= cell);
    let rows = if beside { 1.0 } else { widgets::count(large) };
    let wanted = rows * (row + GAP) + others;
    let (middle, mut foot) = cut_bottom(rest, wanted.min(rest.height()));
    steps(ui, middle, prompt, words, height);
    let mut taken = None;
    if all > large {
        let (above, below) = cut_bottom(foot, TARGET);
        let plain = Prompt {
            choices: prompt.choices.iter().skip(large).cloned().collect(),
            is_open: true,
            ..Prompt::default()
        };
        taken = asked::buttons(ui, below, &plain);
        foot = above;
    }
    let each = ((foot.height() + GAP) / rows - GAP).min(row);
    for (index, choice) in prompt.choices.iter().take(large).enumerate() {
        let place = if beside {
            let x = foot.left() + (cell + GAP) * widgets::count(index);
            Rect::from_min_size(pos2(x, foot.top()), vec2(cell, each))
        } else {
            let y = foot.top() + (each + GAP) * widgets::count(index);
            Rect::from_min_size(pos2(foot.left(), y), vec2(foot.width(), each))
        };
        let is_advised = index == 0 && advised > 0;
        if act(ui, place, choice, is_advised, &letters) {
            taken = Some(choice.clone());
        }
    }
    taken.map(Taken::Choice)
}

/// What an act is called, with its key.
fn act_words(choice: &super::view::Choice, spelled: bool) -> String {
    if spelled {
        format!("{}. Key {}", choice.words, choice.key)
    } else {
        format!("{}: {}", choice.key, choice.words)
    }
}

/// One act in large letters; true when it was taken.
fn act(
    ui: &mut Ui,
    place: Rect,
    choice: &super::view::Choice,
    is_advised: bool,
    letters: &FontId,
) -> bool {
    let colours = Colours::of(ui);
    let id = ui.scope_id().with(("far act", choice.key));
    let response = ui.interact(place, id, Sense::click());
    response.widget_info(|| ink::labeled(Role::Button, true, act_words(choice, true)));
    let (ground, ink, edge) = if is_advised {
        (colours.next, colours.on_next, colours.next)
    } else if response.hovered() {
        (colours.well, colours.ink, colours.outline)
    } else {
        (colours.sheet, colours.ink, colours.outline)
    };
    widgets::plate(ui, place, ground, Stroke::new(2.0, edge));
    let words = act_words(choice, false);
    let room = place.shrink2(vec2(16.0, 0.0));
    let font = fitting(ui, &words, letters, room.width());
    widgets::silent_line(ui.painter(), room, Align2::LEFT_CENTER, &words, font, ink);
    widgets::focus_ring(ui, &response, place);
    asked::is_taken(ui, choice, is_advised) || response.clicked()
}

/// What happened and what to do step by step, as large as there is room for.
fn steps(ui: &mut Ui, rect: Rect, prompt: &Prompt, words: &str, height: f32) {
    if rect.height() < BODY {
        return;
    }
    let colours = Colours::of(ui);
    let mut rows: Vec<String> = Vec::new();
    if !words.is_empty() {
        rows.push(words.to_owned());
    }
    let many = prompt.what_now.len() > 1;
    rows.extend(prompt.what_now.iter().enumerate().map(|(index, what)| {
        if many {
            format!("{}. {what}", index + 1)
        } else {
            what.clone()
        }
    }));
    let font = theme::strong(size(height, LETTER * 0.8));
    if !rows.is_empty() {
        wrapped(ui, rect, &rows.join("\n"), &font, colours.ink);
    }
}
