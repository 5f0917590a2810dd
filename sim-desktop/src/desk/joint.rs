//! The joint at work: the strip, the map, the curve, the stages, the last entries, and everything one key away.
//!
//! Knows nothing of how a pull is judged; it shows what it is told and asks.

use super::actions;
use super::asked::{self, Taken};
use super::clamp;
use super::curve;
use super::far;
use super::map;
use super::overlay::Overlay;
use super::photo::Photo;
use super::reading;
use super::theme::{self, BODY, Colours, HEAD, NOTE, TARGET, TITLE};
use super::typing::{self, TypingState};
use super::view::{Ask, DeskView, JointView, LiveView};
use super::widgets::{self, area, cut_bottom, cut_left, cut_top, line, mark_word, pressed};
use egui::{Align2, Color32, Key, Rect, Ui, Vec2, pos2, vec2};

/// What the screen remembers between frames.
#[derive(Clone, Debug, Default)]
pub(super) struct JointState {
    /// Fastener chosen with the arrow keys or by pressing it.
    pub selected: Option<usize>,
    /// A number being typed as an answer.
    pub typed: String,
    /// The tool is being pulled from here.
    pub pulling: bool,
    /// The pull button is held with the pointer.
    pub button_down: bool,
    /// What is typed in the reading's place.
    pub typing: TypingState,
    /// It is read from across the shop.
    pub far: bool,
    /// The picture under the map.
    pub photo: Photo,
}

impl JointState {
    /// For another joint, read from as far.
    #[must_use]
    pub(super) fn anew(&self) -> Self {
        Self {
            far: self.far,
            ..Self::default()
        }
    }
}

/// Draws the screen and gathers what it asks for.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut JointState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let Some(joint) = &view.joint else {
        nothing(ui, rect);
        return;
    };
    let free = overlay.is_none();
    if state.far {
        from_afar(ui, rect, view, joint, state, overlay, asks);
        return;
    }
    let mut rect = rect;
    for (words, hue) in bands(joint, &Colours::of(ui)) {
        let (place, rest) = cut_top(rect, 34.0);
        band(ui, place, &words, hue);
        rect = rest;
    }
    let window_height = widgets::ground(ui.ctx()).height();
    let (body, foot) = cut_bottom(rect, TARGET);
    let least = reading::strip_height(window_height);
    let height = joint.prompt.as_ref().map_or(least, |prompt| {
        let wanted = asked::height(ui, rect.width(), prompt);
        least.max(wanted).min(body.height() * 0.72)
    });
    let (strip, rest) = cut_top(body, height);
    match &joint.prompt {
        Some(prompt) => {
            let taken = asked::show(ui, strip, prompt, &mut state.typed);
            answered(taken.filter(|_| free), overlay, asks);
        }
        None => match &joint.typing {
            Some(typing) => {
                let taken = typing::show(ui, strip, joint, typing, state, window_height, free);
                asks.extend(taken);
            }
            None => reading::show(ui, strip, joint, window_height),
        },
    }
    lower(ui, rest, view, joint, state, asks);
    actions::show(ui, foot, view, joint, state, overlay, asks);
    if free {
        arrows(ui, joint, state, asks);
    }
}

/// What was done about a card becomes an ask, or is asked the reason for.
fn answered(taken: Option<Taken>, overlay: &mut Option<Overlay>, asks: &mut Vec<Ask>) {
    match taken {
        Some(Taken::Choice(choice)) if choice.asks.is_empty() => {
            asks.push(Ask::Act(choice.act, String::new()));
        }
        Some(Taken::Choice(choice)) => *overlay = Some(Overlay::because(&choice)),
        Some(Taken::Typed(act, text)) => asks.push(Ask::Act(act, text)),
        None => {}
    }
}

/// The same joint for somebody who stands at the metal: the foot is one line, every key is as it was.
fn from_afar(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    joint: &JointView,
    state: &mut JointState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let free = overlay.is_none();
    let (body, foot) = cut_bottom(rect, TARGET);
    let (told, taken) = far::show(ui, body, joint, state, free);
    asks.extend(told);
    answered(taken.filter(|_| free), overlay, asks);
    let (words, button) = cut_left(foot, foot.width() - 190.0);
    let place = joint.next().map_or("", |next| next.place.as_str());
    let said = match (place, joint.stage_words.as_str()) {
        ("", stage) => format!("{}. {stage}", joint.title),
        (place, stage) => format!("{}. {stage}. NEXT: {place}", joint.title),
    };
    let (font, ink) = (theme::strong(HEAD), Colours::of(ui).ink);
    line(ui, words, Align2::LEFT_CENTER, &said, font, ink);
    actions::show(ui, button, view, joint, state, overlay, asks);
    if free {
        arrows(ui, joint, state, asks);
    }
    if free && state.far && pressed(ui, Key::Escape) {
        state.far = false;
    }
}

/// What nobody may find out by pulling: the direction of a left-hand thread, a trial, a clock that runs.
fn bands(joint: &JointView, colours: &Colours) -> Vec<(String, Color32)> {
    let mut bands = Vec::new();
    if joint.left_hand {
        let words = "LEFT-HAND THREAD: tighten ANTICLOCKWISE";
        bands.push((words.to_owned(), colours.caution));
    }
    if let Some(turn) = &joint.out_of_turn {
        let words = format!("OUT OF ORDER: it is the turn of fastener {turn} (Esc goes back)");
        bands.push((words, colours.caution));
    }
    if joint.mock_up {
        let words = "MOCK-UP: a trial, never final; it must come apart again";
        bands.push((words.to_owned(), colours.rehearsal));
    }
    if let Some((words, is_over)) = &joint.clock {
        let hue = if *is_over { colours.bad } else { colours.ink };
        bands.push((words.clone(), hue));
    }
    bands
}

fn band(ui: &mut Ui, rect: Rect, words: &str, hue: Color32) {
    let colours = Colours::of(ui);
    ui.painter().rect_filled(rect, 0.0, colours.caution_tint);
    let place = rect.shrink2(vec2(12.0, 0.0));
    let font = theme::strong(TITLE);
    line(ui, place, Align2::LEFT_CENTER, words, font, hue);
}

fn nothing(ui: &mut Ui, rect: Rect) {
    let colours = Colours::of(ui);
    let inner = area(ui, rect, "", "");
    let words = Rect::from_center_size(inner.center(), vec2(inner.width(), 60.0));
    line(
        ui,
        words,
        Align2::CENTER_TOP,
        "No joint is in progress",
        theme::strong(TITLE),
        colours.ink,
    );
    line(
        ui,
        words,
        Align2::CENTER_BOTTOM,
        "Choose one on the build (F2).",
        theme::text(BODY),
        colours.soft,
    );
}

fn lower(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    joint: &JointView,
    state: &mut JointState,
    asks: &mut Vec<Ask>,
) {
    let roomy = rect.width() >= 900.0;
    let map_share = if roomy { 0.46 } else { 0.54 };
    let (map_place, rest) = cut_left(rect, rect.width() * map_share);
    let low = rect.height() < 240.0;
    let title = if joint.mock_up {
        format!("{}: MOCK-UP, not final", joint.title)
    } else {
        joint.title.clone()
    };
    let inner = if low {
        area(ui, map_place, "", "")
    } else {
        area(ui, map_place, &title, &joint.what)
    };
    if let Some(index) = map::draw(ui, inner, joint, state.selected, &mut state.photo) {
        choose(
            joint,
            state,
            Some(index).filter(|_| state.selected != Some(index)),
            asks,
        );
    }
    if roomy {
        let (middle, right) = cut_left(rest, rest.width() * 0.55);
        curve_area(ui, middle, view, joint);
        let entries_height: f32 = 34.0 + 3.0 * 44.0 + 12.0;
        let (stages_place, entries_place) =
            cut_bottom(right, entries_height.min(right.height() * 0.55));
        stages(ui, stages_place, joint);
        entries(ui, entries_place, joint);
    } else {
        // A small window keeps the list of stages, and as much of the curve as there is room for.
        let wanted = 56.0 + 46.0 * widgets::count(joint.stages.len().min(3));
        let (upper, below) = cut_bottom(rest, wanted.min(rest.height()));
        if upper.height() > 90.0 {
            curve_area(ui, upper, view, joint);
            stages(ui, below, joint);
        } else {
            stages(ui, rest, joint);
        }
    }
}

fn curve_area(ui: &mut Ui, rect: Rect, view: &DeskView, joint: &JointView) {
    if let Some(loads) = joint
        .clamp
        .as_ref()
        .filter(|_| joint.finished && view.status.rehearsal)
    {
        let inner = area(ui, rect, "Clamp load by fastener and pass", "kN");
        clamp::draw(ui, inner, loads);
        return;
    }
    let live = &joint.live;
    let aside = second_words(live);
    let inner = area(ui, rect, "Torque over angle", &aside);
    curve::draw(ui, inner, &live.curve, live.loaded);
}

fn second_words(live: &LiveView) -> String {
    live.gauges.get(1).map_or_else(
        || {
            if live.pulls > 1 {
                format!("{} pulls", live.pulls)
            } else {
                String::new()
            }
        },
        |gauge| {
            let value = gauge.value.map_or_else(
                || gauge.missing.clone(),
                |value| widgets::number(value, gauge.decimals),
            );
            format!("{} {value} {}", gauge.quantity, gauge.unit)
        },
    )
}

fn stages(ui: &mut Ui, rect: Rect, joint: &JointView) {
    let colours = Colours::of(ui);
    let done = joint
        .stages
        .iter()
        .filter(|stage| stage.done == stage.of && stage.of > 0)
        .count();
    let inner = area(
        ui,
        rect,
        "Stages",
        &format!("{done} of {} done", joint.stages.len()),
    );
    let height = 46.0;
    let visible = ((inner.height() / height).floor()).max(1.0);
    let current = joint
        .stages
        .iter()
        .position(|stage| stage.current)
        .unwrap_or(0);
    // Keep the one in hand in sight, with one before it.
    let first = {
        let mut first = 0;
        while widgets::count(joint.stages.len().saturating_sub(first)) > visible
            && first + 1 < current
        {
            first += 1;
        }
        first
    };
    let mut y = inner.top();
    for stage in joint.stages.iter().skip(first) {
        if y + height > inner.bottom() + 1.0 {
            break;
        }
        let row = Rect::from_min_size(pos2(inner.left(), y), vec2(inner.width(), height - 4.0));
        if stage.current {
            ui.painter()
                .rect_filled(row.expand2(vec2(6.0, 0.0)), 0.0, colours.next_tint);
            ui.painter().rect_filled(
                Rect::from_min_size(row.min - vec2(6.0, 0.0), vec2(4.0, row.height())),
                0.0,
                colours.next,
            );
        }
        let centre = pos2(row.left() + 14.0, row.top() + 15.0);
        super::marks::draw(ui.painter(), &colours, stage.mark, centre, 9.0);
        let tally = format!("{} of {}", stage.done, stage.of);
        let upper = Rect::from_min_max(
            pos2(row.left() + 32.0, row.top()),
            pos2(row.right(), row.top() + 26.0),
        );
        let words = format!("{}  {}", stage.number, stage.words);
        line(
            ui,
            upper,
            Align2::LEFT_CENTER,
            &words,
            theme::strong(BODY - 1.0),
            colours.ink,
        );
        let lower = Rect::from_min_max(
            pos2(upper.left(), upper.bottom() - 3.0),
            pos2(row.right(), row.bottom()),
        );
        widgets::silent_line(
            ui.painter(),
            lower,
            Align2::RIGHT_CENTER,
            &tally,
            theme::text(NOTE),
            colours.soft,
        );
        let said = format!("stage {} {}: {tally}", stage.number, stage.mark.word());
        widgets::speak(ui, row, &said);
        let middle = lower.center().y;
        let track = Rect::from_min_max(
            pos2(upper.left(), middle - 2.5),
            pos2(row.right() - 66.0, middle + 2.5),
        );
        ui.painter().rect_filled(track, 0.0, colours.well);
        let share = widgets::count(stage.done) / widgets::count(stage.of.max(1));
        let filled = Rect::from_min_size(
            track.min,
            vec2(track.width() * share.min(1.0), track.height()),
        );
        ui.painter().rect_filled(
            filled,
            0.0,
            if stage.done == stage.of {
                colours.good
            } else {
                colours.next
            },
        );
        y += height;
    }
}

fn entries(ui: &mut Ui, rect: Rect, joint: &JointView) {
    let colours = Colours::of(ui);
    let inner = area(ui, rect, "Last three entries", "newest first");
    if joint.entries.is_empty() {
        line(
            ui,
            inner,
            Align2::LEFT_TOP,
            "Nothing recorded yet",
            theme::text(BODY),
            colours.soft,
        );
        return;
    }
    let height = (inner.height() / 3.0).min(44.0);
    for (index, entry) in joint.entries.iter().take(3).enumerate() {
        let row = Rect::from_min_size(
            pos2(inner.left(), inner.top() + height * widgets::count(index)),
            vec2(inner.width(), height),
        );
        let Some(mark) = entry.mark else {
            let room = Rect::from_min_max(pos2(row.left() + 27.0, row.top()), row.max);
            line(
                ui,
                room,
                Align2::LEFT_CENTER,
                &entry.words,
                theme::text(BODY - 1.0),
                colours.soft,
            );
            continue;
        };
        let who = if entry.fastener.is_empty() {
            mark.word().to_owned()
        } else {
            format!("{} {}", entry.fastener, mark.word())
        };
        if height >= 40.0 {
            let (upper, below) = (
                Rect::from_min_max(row.min, pos2(row.right(), row.center().y + 1.0)),
                Rect::from_min_max(pos2(row.left() + 27.0, row.center().y - 1.0), row.max),
            );
            mark_word(ui, upper, mark, &who);
            line(
                ui,
                below,
                Align2::LEFT_CENTER,
                &entry.words,
                theme::text(NOTE + 1.0),
                colours.ink,
            );
        } else {
            mark_word(ui, row, mark, &format!("{who}: {}", entry.words));
        }
    }
}

/// Choosing a fastener is taking the tool there.
fn choose(joint: &JointView, state: &mut JointState, chosen: Option<usize>, asks: &mut Vec<Ask>) {
    state.selected = chosen;
    let label = chosen.and_then(|index| joint.fasteners.get(index));
    asks.push(Ask::Select(
        label.map_or_else(String::new, |own| own.label.clone()),
    ));
}

fn arrows(ui: &Ui, joint: &JointView, state: &mut JointState, asks: &mut Vec<Ask>) {
    if joint.fasteners.is_empty() || ui.memory(|memory| memory.focused().is_some()) {
        return;
    }
    let start = state
        .selected
        .or_else(|| joint.at.and_then(|at| joint.path.get(at)).copied())
        .unwrap_or(0)
        .min(joint.fasteners.len().saturating_sub(1));
    for (key, toward) in [
        (Key::ArrowLeft, Vec2::LEFT),
        (Key::ArrowRight, Vec2::RIGHT),
        (Key::ArrowUp, Vec2::UP),
        (Key::ArrowDown, Vec2::DOWN),
    ] {
        if pressed(ui, key) {
            let chosen = map::neighbour(joint, start, toward).or(Some(start));
            choose(joint, state, chosen, asks);
        }
    }
    if state.selected.is_some() && pressed(ui, Key::Escape) {
        choose(joint, state, None, asks);
    }
}
