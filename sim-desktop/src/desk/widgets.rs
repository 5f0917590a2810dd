//! The few things every screen is made of: words that are also spoken, keyed buttons, ruled areas, fields.
//!
//! Knows nothing of what the words mean.

use super::ink::{self, Ink as _};
use super::theme::{self, BODY, Colours, GAP, NOTE, TARGET};
use super::view::Mark;
use crate::words::visible;
use egui::accesskit::Role;
use egui::text::TextWrapping;
use egui::{
    Align2, Color32, FontId, Key, Painter, Pos2, Rect, Response, Sense, Stroke, StrokeKind, Ui,
    UiBuilder, pos2, vec2,
};

/// Draws one line of text inside `rect`, cut short with an ellipsis if it is too long, and says it to a screen reader.
pub(super) fn line(
    ui: &mut Ui,
    rect: Rect,
    align: Align2,
    words: &str,
    font: FontId,
    colour: Color32,
) -> Rect {
    let drawn = silent_line(ui.painter(), rect, align, words, font, colour);
    speak(ui, rect, words);
    drawn
}

/// The same without saying it: for words already said by the thing they belong to.
pub(super) fn silent_line(
    painter: &Painter,
    rect: Rect,
    align: Align2,
    words: &str,
    font: FontId,
    colour: Color32,
) -> Rect {
    let wrap = TextWrapping::truncate_at_width(rect.width().max(1.0));
    let words = visible(words);
    let galley = painter.words_cut(words, font, colour, wrap);
    let place = align.align_size_within_rect(galley.size(), rect);
    painter.galley(place.min, galley, colour);
    place
}

/// Draws words in as many lines as are allowed, in the middle of `rect`'s height, without saying them.
pub(super) fn silent_lines(
    painter: &Painter,
    rect: Rect,
    words: &str,
    font: FontId,
    colour: Color32,
    rows: usize,
) {
    let wrap = TextWrapping {
        max_width: rect.width().max(1.0),
        max_rows: rows,
        ..TextWrapping::default()
    };
    let galley = painter.words_cut(words, font, colour, wrap);
    let place = Align2::LEFT_CENTER.align_size_within_rect(galley.size(), rect);
    painter.galley(place.min, galley, colour);
}

/// Draws wrapped text from the top of `rect` and says it; returns the height used.
pub(super) fn paragraph(
    ui: &mut Ui,
    rect: Rect,
    words: &str,
    font: FontId,
    colour: Color32,
) -> f32 {
    let galley = ui
        .painter()
        .words_wrapped(words, font, colour, rect.width().max(1.0));
    let height = galley.size().y;
    ui.painter()
        .with_clip_rect(rect.intersect(ui.clip_rect()))
        .galley(rect.min, galley, colour);
    speak(
        ui,
        Rect::from_min_size(rect.min, vec2(rect.width(), height)),
        words,
    );
    height
}

/// Makes words known to a screen reader without drawing them.
pub(super) fn speak(ui: &mut Ui, rect: Rect, words: &str) {
    let id = ui
        .scope_id()
        .with(("words", words, rect.min.x.to_bits(), rect.min.y.to_bits()));
    let response = ui.interact(rect, id, Sense::hover());
    response.widget_info(|| ink::labeled(Role::Label, true, words));
}

/// The keys that choose from a list, in its order.
pub(super) const DIGITS: [Key; 9] = [
    Key::Num1,
    Key::Num2,
    Key::Num3,
    Key::Num4,
    Key::Num5,
    Key::Num6,
    Key::Num7,
    Key::Num8,
    Key::Num9,
];

/// How a button looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Look {
    /// The one that is advised: filled.
    Advised,
    /// Any other.
    Plain,
    /// One that takes something back or stops.
    Grave,
}

/// Whether a button of this width holds its words and its key side by side.
#[must_use]
pub(super) fn is_wide_enough(ui: &Ui, width: f32, words: &str, key: &str) -> bool {
    let needed =
        text_width(ui, words, theme::strong(BODY)) + text_width(ui, key, theme::strong(NOTE));
    // The margins, the key's frame and the gap before it.
    key.is_empty() || needed + 24.0 + 12.0 + 8.0 <= width
}

/// A big button with its key printed on it.
pub(super) fn button(
    ui: &mut Ui,
    rect: Rect,
    words: &str,
    key: &str,
    look: Look,
    enabled: bool,
) -> Response {
    let stacked = !is_wide_enough(ui, rect.width(), words, key);
    button_of(ui, rect, words, key, look, enabled, stacked)
}

/// Says which key does the same, to who does not see it printed.
pub(super) fn tell_key(ui: &Ui, response: &Response, key: &str) {
    if !key.is_empty() {
        let tell = |node: &mut egui::accesskit::Node| node.set_keyboard_shortcut(key);
        ui.ctx().accesskit_node_builder(response.id, tell);
    }
}

/// A button whose key stands beside its words, or above them: a row of them does it all in one way.
pub(super) fn button_of(
    ui: &mut Ui,
    rect: Rect,
    words: &str,
    key: &str,
    look: Look,
    enabled: bool,
    stacked: bool,
) -> Response {
    let id = ui
        .scope_id()
        .with(("button", if key.is_empty() { words } else { key }));
    let sense = if enabled {
        Sense::click()
    } else {
        Sense::hover()
    };
    let response = ui.interact(rect, id, sense);
    response.widget_info(|| ink::labeled(Role::Button, enabled, words));
    tell_key(ui, &response, key);
    let colours = Colours::of(ui);
    let down = response.is_pointer_button_down_on();
    let (ground, ink, edge) = match (look, enabled) {
        (_, false) => (colours.page, colours.soft, colours.line),
        (Look::Advised, true) => (colours.next, colours.on_next, colours.next),
        (Look::Plain, true) => (
            if response.hovered() {
                colours.well
            } else {
                colours.sheet
            },
            colours.ink,
            colours.outline,
        ),
        (Look::Grave, true) => (
            if response.hovered() {
                colours.bad_tint
            } else {
                colours.sheet
            },
            colours.bad,
            colours.bad,
        ),
    };
    let painter = ui.painter();
    let face = if down { rect.shrink(1.5) } else { rect };
    painter.rect(
        face,
        3.0,
        ground,
        Stroke::new(1.0, edge),
        StrokeKind::Inside,
    );
    let inner = face.shrink2(vec2(12.0, 4.0));
    if stacked {
        // Too narrow for both side by side: the key above the word.
        let inner = face.shrink2(vec2(7.0, 3.0));
        let upper = Rect::from_min_max(inner.min, pos2(inner.right(), inner.center().y - 1.0));
        let lower = Rect::from_min_max(pos2(inner.left(), upper.bottom() - 1.0), inner.max);
        silent_line(
            painter,
            upper,
            Align2::RIGHT_CENTER,
            key,
            theme::text(NOTE),
            ink,
        );
        silent_line(
            painter,
            lower,
            Align2::LEFT_CENTER,
            words,
            theme::strong(NOTE + 1.0),
            ink,
        );
        focus_ring(ui, &response, rect);
        return response;
    }
    let mut room = inner;
    if !key.is_empty() {
        let galley = painter.words_in_line(key, theme::strong(NOTE), ink);
        let cap = Rect::from_min_max(
            pos2(
                inner.right() - galley.size().x - 12.0,
                inner.center().y - 12.0,
            ),
            pos2(inner.right(), inner.center().y + 12.0),
        );
        painter.rect_stroke(cap, 3.0, Stroke::new(1.0, ink), StrokeKind::Inside);
        painter.galley(cap.center() - galley.size() / 2.0, galley, ink);
        room.max.x = cap.left() - 8.0;
    }
    silent_line(
        painter,
        room,
        Align2::LEFT_CENTER,
        words,
        theme::strong(BODY),
        ink,
    );
    focus_ring(ui, &response, rect);
    response
}

/// A ring round whatever the keyboard is on.
pub(super) fn focus_ring(ui: &Ui, response: &Response, rect: Rect) {
    if response.has_focus() {
        let colours = Colours::of(ui);
        ui.painter().rect_stroke(
            rect.expand(1.0),
            4.0,
            Stroke::new(2.0, colours.sheet),
            StrokeKind::Inside,
        );
        ui.painter().rect_stroke(
            rect.expand(4.0),
            5.0,
            Stroke::new(3.0, colours.ink),
            StrokeKind::Inside,
        );
    }
}

/// A ruled area with a name: returns what is left inside.
pub(super) fn area(ui: &mut Ui, rect: Rect, name: &str, aside: &str) -> Rect {
    let colours = Colours::of(ui);
    plate(ui, rect, colours.sheet, Stroke::new(1.0, colours.line));
    let inner = rect.shrink2(vec2(14.0, 8.0));
    if name.is_empty() {
        return inner;
    }
    let head = Rect::from_min_size(inner.min, vec2(inner.width(), 26.0));
    let used = line(
        ui,
        head,
        Align2::LEFT_CENTER,
        name,
        theme::strong(BODY),
        colours.ink,
    );
    if !aside.is_empty() {
        let room = Rect::from_min_max(pos2(used.right() + 16.0, head.top()), head.max);
        line(
            ui,
            room,
            Align2::RIGHT_CENTER,
            aside,
            theme::text(NOTE),
            colours.soft,
        );
    }
    Rect::from_min_max(pos2(inner.left(), head.bottom() + 4.0), inner.max)
}

/// How wide words come out on one line.
#[must_use]
pub(super) fn text_width(ui: &Ui, words: &str, font: FontId) -> f32 {
    ui.painter()
        .words_in_line(words, font, Color32::PLACEHOLDER)
        .size()
        .x
}

/// A flat ground with an edge.
pub(super) fn plate(ui: &Ui, rect: Rect, ground: Color32, edge: Stroke) {
    ui.painter()
        .rect(rect, 0.0, ground, edge, StrokeKind::Inside);
}

/// A hairline across.
pub(super) fn rule(ui: &Ui, left: f32, right: f32, y: f32) {
    ui.painter()
        .hline(left..=right, y, Stroke::new(1.0, Colours::of(ui).line));
}

/// What lies under a row of a table: whether it is chosen or pointed at, and the hairline below it.
pub(super) fn row_ground(ui: &Ui, place: Rect, chosen: bool, hovered: bool) {
    let colours = Colours::of(ui);
    if chosen {
        ui.painter().rect_filled(place, 0.0, colours.next_tint);
    } else if hovered {
        ui.painter().rect_filled(place, 0.0, colours.well);
    }
    rule(ui, place.left(), place.right(), place.bottom());
}

/// Where a cell of a table has its words.
pub(super) const fn aligned(right: bool) -> Align2 {
    if right {
        Align2::RIGHT_CENTER
    } else {
        Align2::LEFT_CENTER
    }
}

/// A mark with its word.
pub(super) fn mark_word(ui: &mut Ui, rect: Rect, mark: Mark, words: &str) {
    let colours = Colours::of(ui);
    let radius = 9.0;
    let centre = pos2(rect.left() + radius + 1.0, rect.center().y);
    super::marks::draw(ui.painter(), &colours, mark, centre, radius);
    let room = Rect::from_min_max(pos2(rect.left() + radius * 2.0 + 9.0, rect.top()), rect.max);
    line(
        ui,
        room,
        Align2::LEFT_CENTER,
        words,
        theme::strong(BODY),
        super::marks::colour(&colours, mark),
    );
}

/// A one-line field with its caption above; returns the response of the field.
pub(super) fn field(
    ui: &mut Ui,
    rect: Rect,
    caption: &str,
    text: &mut String,
    hint: &str,
) -> Response {
    let colours = Colours::of(ui);
    let head = Rect::from_min_size(rect.min, vec2(rect.width(), 20.0));
    silent_line(
        ui.painter(),
        head,
        Align2::LEFT_CENTER,
        caption,
        theme::text(NOTE),
        colours.soft,
    );
    let place = Rect::from_min_max(
        pos2(rect.left(), head.bottom() + 2.0),
        pos2(rect.right(), head.bottom() + 2.0 + TARGET),
    );
    typed_line(ui, place, caption, hint, text, 10, usize::MAX)
}

/// A line to type in, without a caption of its own: so many points from its edges, at most so many letters.
pub(super) fn typed_line(
    ui: &mut Ui,
    place: Rect,
    said: &str,
    hint: &str,
    text: &mut String,
    margin: i8,
    most: usize,
) -> Response {
    let colours = Colours::of(ui);
    let mut child = ui.new_child(UiBuilder::new().id_salt(("field", said)).max_rect(place));
    let edit = egui::TextEdit::singleline(text)
        .id_salt(said)
        .hint_text(
            egui::RichText::new(hint)
                .color(colours.soft)
                .font(theme::text(NOTE)),
        )
        .font(theme::text(BODY))
        .align(Align2::LEFT_CENTER)
        .margin(egui::Margin::symmetric(margin, 6))
        .char_limit(most)
        .desired_width(f32::INFINITY);
    child.put(place, edit).accessible_name(said)
}

/// A row of choices of which one holds; returns the one just chosen.
pub(super) fn choices(ui: &mut Ui, rect: Rect, names: &[&str], current: usize) -> Option<usize> {
    let colours = Colours::of(ui);
    let mut chosen = None;
    let width = (rect.width() / count(names.len())).max(1.0);
    for (index, name) in names.iter().enumerate() {
        let cell = Rect::from_min_size(
            pos2(rect.left() + width * count(index), rect.top()),
            vec2(width, rect.height()),
        );
        let response = ui.interact(
            cell,
            ui.scope_id().with(("choice", name, index)),
            Sense::click(),
        );
        let on = index == current;
        response.widget_info(|| ink::selected(Role::RadioButton, true, on, name));
        let ground = if on {
            colours.ink
        } else if response.hovered() {
            colours.well
        } else {
            colours.sheet
        };
        let ink = if on { colours.sheet } else { colours.ink };
        plate(ui, cell, ground, Stroke::new(1.0, colours.outline));
        silent_line(
            ui.painter(),
            cell.shrink2(vec2(6.0, 2.0)),
            Align2::CENTER_CENTER,
            name,
            theme::strong(BODY),
            ink,
        );
        focus_ring(ui, &response, cell);
        if response.clicked() {
            chosen = Some(index);
        }
    }
    chosen
}

/// A count as a length; screens never hold more than 2^24 of anything.
#[must_use]
pub(super) fn count(number: usize) -> f32 {
    u32::try_from(number).map_or(f32::MAX, |number| {
        #[expect(
            clippy::cast_precision_loss,
            reason = "a count of things on a screen, far below 2^24"
        )]
        let length = number as f32;
        length
    })
}

/// Whether this key was just pressed, alone and not by auto-repeat. Letters and digits only while nothing is being typed.
#[must_use]
pub(super) fn pressed(ui: &Ui, key: Key) -> bool {
    let context = ui.ctx();
    let is_function = key.name().len() > 1 && key.name().starts_with('F');
    if !is_function && key != Key::Escape && context.text_edit_focused() {
        return false;
    }
    // A focused button takes Enter and Space for itself.
    if matches!(key, Key::Enter | Key::Space) && context.memory(|memory| memory.focused().is_some())
    {
        return false;
    }
    context.input_mut(|input| {
        let before = input.events.len();
        input.events.retain(|event| {
            !matches!(event, egui::Event::Key { key: pressed, pressed: true, repeat: false, modifiers, .. }
                if *pressed == key && modifiers.is_none())
        });
        input.events.len() < before
    })
}

/// Whether this key is held down, while nothing has the keyboard.
#[must_use]
pub(super) fn held(ui: &Ui, key: Key) -> bool {
    let context = ui.ctx();
    context.memory(|memory| memory.focused().is_none())
        && context.input(|input| input.key_down(key) && input.modifiers.is_none())
}

/// The least that a screen is laid out on.
pub(super) const LEAST: egui::Vec2 = vec2(800.0, 500.0);

/// What is drawn on: the window, and never less than 800 by 500 points, of which a smaller window shows the upper left.
#[must_use]
pub(super) fn ground(context: &egui::Context) -> Rect {
    let window = context.content_rect();
    Rect::from_min_size(window.min, window.size().max(LEAST))
}

/// Splits `rect` into rows of equal height with a gap.
#[must_use]
pub(super) fn split_across(rect: Rect, parts: usize) -> Vec<Rect> {
    (0..parts).map(|part| part_of(rect, part, parts)).collect()
}

/// As [`split_across`], into a number of places that is known beforehand.
#[must_use]
pub(super) fn split_into<const PARTS: usize>(rect: Rect) -> [Rect; PARTS] {
    std::array::from_fn(|part| part_of(rect, part, PARTS))
}

fn part_of(rect: Rect, part: usize, parts: usize) -> Rect {
    let width = (rect.width() - GAP * count(parts.saturating_sub(1))) / count(parts.max(1));
    Rect::from_min_size(
        pos2(rect.left() + (width + GAP) * count(part), rect.top()),
        vec2(width, rect.height()),
    )
}

/// The place where `rect` is cut at `x` from its left.
#[must_use]
pub(super) fn cut_left(rect: Rect, width: f32) -> (Rect, Rect) {
    let x = (rect.left() + width).min(rect.right());
    (
        Rect::from_min_max(rect.min, pos2(x, rect.bottom())),
        Rect::from_min_max(pos2((x + GAP).min(rect.right()), rect.top()), rect.max),
    )
}

/// The place where `rect` is cut at `height` from its top.
#[must_use]
pub(super) fn cut_top(rect: Rect, height: f32) -> (Rect, Rect) {
    let y = (rect.top() + height).min(rect.bottom());
    (
        Rect::from_min_max(rect.min, pos2(rect.right(), y)),
        Rect::from_min_max(pos2(rect.left(), (y + GAP).min(rect.bottom())), rect.max),
    )
}

/// The place where `rect` is cut at `height` from its bottom: what is above, and the foot.
#[must_use]
pub(super) fn cut_bottom(rect: Rect, height: f32) -> (Rect, Rect) {
    let y = (rect.bottom() - height).max(rect.top());
    (
        Rect::from_min_max(rect.min, pos2(rect.right(), (y - GAP).max(rect.top()))),
        Rect::from_min_max(pos2(rect.left(), y), rect.max),
    )
}

/// A number with its digits after the point and a true minus sign.
#[must_use]
pub(super) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    // "-0.0" is 0.0.
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

/// A point between two.
#[must_use]
pub(super) fn between(a: Pos2, b: Pos2, share: f32) -> Pos2 {
    a + (b - a) * share
}
