//! What like joints showed over the builds of a shelf: a list of distributions, and the chosen one drawn, with the values of the job in
//! hand on it.
//!
//! Knows nothing of journals.

use super::ink;
use super::theme::{self, BODY, Colours, NOTE, TARGET};
use super::view::{Distribution, OwnValue, ShelfView};
use super::widgets::{
    area, count, cut_bottom, cut_left, cut_top, focus_ring, paragraph, pressed, rule, silent_line,
    speak, text_width,
};
use egui::accesskit::Role;
use egui::{Align2, Key, Rect, Sense, Stroke, Ui, pos2, vec2};

/// Draws the list and the chosen distribution. `chosen` is a place in the list of those that have the words.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &ShelfView,
    filter: &str,
    chosen: &mut usize,
    free: bool,
) {
    let colours = Colours::of(ui);
    let words = filter.to_lowercase();
    let listed: Vec<&Distribution> = view
        .history
        .iter()
        .filter(|one| holds(one, &words))
        .collect();
    let moved = free && !ui.ctx().text_edit_focused();
    let mut is_moved = false;
    if moved && pressed(ui, Key::ArrowDown) {
        *chosen += 1;
        is_moved = true;
    }
    if moved && pressed(ui, Key::ArrowUp) {
        *chosen = chosen.saturating_sub(1);
        is_moved = true;
    }
    *chosen = (*chosen).min(listed.len().saturating_sub(1));
    let (left, right) = cut_left(rect, rect.width() * 0.44);
    let aside = format!("{} of {}", listed.len(), view.history.len());
    let inner = area(ui, left, "Like joints", &aside);
    if listed.is_empty() {
        let words = if view.running {
            "The folder is being read."
        } else if view.history.is_empty() {
            "No joint here was worked to the end of a stage on metal. Rehearsals and builds of invented values are no history."
        } else {
            "No distribution has all these words."
        };
        paragraph(ui, inner, words, theme::text(BODY), colours.soft);
        area(ui, right, "", "");
        return;
    }
    list(ui, inner, &listed, chosen, is_moved);
    if let Some(one) = listed.get(*chosen) {
        plot(ui, right, one);
    }
}

fn holds(one: &Distribution, words: &str) -> bool {
    let text = format!("{} {} {}", one.joint, one.sentence, one.what).to_lowercase();
    words.split_whitespace().all(|word| text.contains(word))
}

fn list(ui: &mut Ui, rect: Rect, listed: &[&Distribution], chosen: &mut usize, is_moved: bool) {
    let colours = Colours::of(ui);
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(rect).id_salt("history"));
    child.spacing_mut().item_spacing.y = 0.0;
    let height = TARGET + 14.0;
    let mut scroll = egui::ScrollArea::vertical().auto_shrink(false);
    if is_moved {
        let middle = height * count(*chosen) - rect.height() / 2.0 + height / 2.0;
        scroll = scroll.vertical_scroll_offset(middle.max(0.0));
    }
    scroll.show_rows(&mut child, height, listed.len(), |ui, range| {
        let width = ui.available_width();
        for index in range {
            let Some(one) = listed.get(index) else {
                continue;
            };
            let (_, place) = ui.allocate_space(vec2(width, height));
            let id = ui.scope_id().with(("distribution", index));
            let response = ui.interact(place, id, Sense::click());
            let here = *chosen == index;
            let said = said(one);
            response.widget_info(|| ink::selected(Role::Row, true, here, &said));
            if response.clicked() {
                *chosen = index;
            }
            if here {
                ui.painter().rect_filled(place, 0.0, colours.next_tint);
            } else if response.hovered() {
                ui.painter().rect_filled(place, 0.0, colours.well);
            }
            let unlike = one.own.iter().filter(|own| own.unlike).count();
            let aside = match (one.own.len(), unlike) {
                (0, _) => String::new(),
                (own, 0) => format!("{own} of this build"),
                (_, unlike) => format!("{unlike} unlike"),
            };
            let lines = [
                (one.joint.clone(), theme::strong(BODY - 1.0), colours.ink),
                (
                    format!("stage {}, {}", one.stage, one.sentence),
                    theme::text(NOTE),
                    colours.soft,
                ),
                (
                    format!("{}; {} in {} builds", one.what, one.fasteners, one.builds),
                    theme::text(NOTE),
                    colours.soft,
                ),
            ];
            for (at, (words, font, ink)) in lines.into_iter().enumerate() {
                let line = Rect::from_min_size(
                    place.min + vec2(4.0, 4.0 + 18.0 * count(at)),
                    vec2(place.width() - 8.0, 18.0),
                );
                let mut room = line;
                if at == 2 && !aside.is_empty() {
                    room.max.x -= text_width(ui, &aside, theme::strong(NOTE)) + 10.0;
                }
                silent_line(ui.painter(), room, Align2::LEFT_CENTER, &words, font, ink);
                if at == 2 {
                    let ink = if unlike > 0 {
                        colours.bad
                    } else {
                        colours.soft
                    };
                    let font = theme::strong(NOTE);
                    silent_line(ui.painter(), line, Align2::RIGHT_CENTER, &aside, font, ink);
                }
            }
            rule(ui, place.left(), place.right(), place.bottom());
            focus_ring(ui, &response, place.shrink(4.0));
        }
    });
}

fn said(one: &Distribution) -> String {
    let [least, low, median, high, most] = &one.shown;
    let mut words = format!(
        "{}, stage {}, {}: {} of {} fasteners in {} builds, middle {median}, 90 of 100 from {low} to {high}, all from {least} to {most}",
        one.joint, one.stage, one.sentence, one.what, one.fasteners, one.builds
    );
    for own in one.own.iter().filter(|own| own.unlike) {
        words.push_str(&format!("; fastener {} unlike: {}", own.label, own.shown));
    }
    words
}

/// The distribution as bars, its middle and its nine tenths marked, the values of the job in hand below it.
fn plot(ui: &mut Ui, rect: Rect, one: &Distribution) {
    let colours = Colours::of(ui);
    let title = format!("{}, stage {}", one.what, one.stage);
    let inner = area(ui, rect, &title, &one.sentence);
    let (head, body) = cut_top(inner, 46.0);
    let [least, low, median, high, most] = &one.shown;
    let words = format!(
        "{} fasteners in {} builds. Middle {median}; 90 of 100 from {low} to {high}.",
        one.fasteners, one.builds
    );
    paragraph(ui, head, &words, theme::text(BODY), colours.ink);
    let (body, foot) = cut_bottom(body, 74.0);
    let bars = Rect::from_min_max(body.min + vec2(0.0, 8.0), body.max);
    // The job in hand may lie beyond all that was seen before.
    let values = one.own.iter().map(|own| own.value);
    let (from, to) = values.fold((one.spread.least, one.spread.most), |(from, to), value| {
        (from.min(value), to.max(value))
    });
    let across = |value: i32| {
        let span = (f64::from(to) - f64::from(from)).max(1.0);
        #[expect(clippy::cast_possible_truncation, reason = "a share between 0 and 1")]
        let share = ((f64::from(value) - f64::from(from)) / span) as f32;
        bars.left() + bars.width() * share
    };
    let fullest = one.counts.iter().copied().max().unwrap_or(1).max(1);
    let (left, right) = (across(one.spread.least), across(one.spread.most));
    let width = (right - left).max(4.0) / count(one.counts.len().max(1));
    let painter = ui.painter();
    // The nine tenths in the middle stand on their own ground.
    let ground = Rect::from_x_y_ranges(
        across(one.spread.low)..=across(one.spread.high),
        bars.y_range(),
    );
    painter.rect_filled(ground, 0.0, colours.well);
    for (at, &number) in one
        .counts
        .iter()
        .enumerate()
        .filter(|(_, number)| **number > 0)
    {
        let height = (bars.height() * count(number) / count(fullest)).max(2.0);
        let bar = Rect::from_min_max(
            pos2(left + width * count(at), bars.bottom() - height),
            pos2(left + width * count(at + 1) - 1.0, bars.bottom()),
        );
        painter.rect_filled(bar, 0.0, colours.outline);
    }
    let middle = Stroke::new(2.0, colours.next);
    painter.vline(across(one.spread.median), bars.y_range(), middle);
    rule(ui, bars.left(), bars.right(), bars.bottom());
    feet(ui, foot, one, &across, (least, most));
    speak(ui, body, &said(one));
}

/// The ends of the scale, and each value of the job in hand; what is unlike is told by name.
fn feet(
    ui: &mut Ui,
    rect: Rect,
    one: &Distribution,
    across: &impl Fn(i32) -> f32,
    (least, most): (&str, &str),
) {
    let colours = Colours::of(ui);
    let row = |at: usize| {
        Rect::from_min_size(
            rect.min + vec2(0.0, 24.0 * count(at)),
            vec2(rect.width(), 22.0),
        )
    };
    let ticks = row(0);
    for own in &one.own {
        let hue = if own.unlike {
            colours.bad
        } else {
            colours.good
        };
        let at = pos2(across(own.value), ticks.center().y);
        if own.unlike {
            let edge = Stroke::new(2.0, hue);
            ui.painter().circle_stroke(at, 6.0, edge);
        } else {
            let edge = Stroke::new(2.0, hue);
            ui.painter().vline(at.x, ticks.shrink(3.0).y_range(), edge);
        }
    }
    let font = theme::text(NOTE);
    let ends = row(1);
    let painter = ui.painter();
    silent_line(
        painter,
        ends,
        Align2::LEFT_CENTER,
        least,
        font.clone(),
        colours.soft,
    );
    silent_line(
        painter,
        ends,
        Align2::RIGHT_CENTER,
        most,
        font.clone(),
        colours.soft,
    );
    let unlike: Vec<&OwnValue> = one.own.iter().filter(|own| own.unlike).collect();
    let (words, ink) = match (one.own.is_empty(), unlike.as_slice()) {
        (true, _) => (
            "The build in hand has no like joint that came so far.".to_owned(),
            colours.soft,
        ),
        (false, []) => (
            format!(
                "Strokes: the {} of the build in hand, like its forerunners.",
                one.own.len()
            ),
            colours.ink,
        ),
        (false, unlike) => {
            let told: Vec<String> = unlike
                .iter()
                .map(|own| format!("{} ({})", own.label, own.shown))
                .collect();
            (
                format!(
                    "Rings: unlike the forerunners: fastener {}.",
                    told.join(", ")
                ),
                colours.bad,
            )
        }
    };
    silent_line(
        painter,
        row(2),
        Align2::LEFT_CENTER,
        &words,
        theme::strong(NOTE + 1.0),
        ink,
    );
    speak(ui, row(2), &words);
}
