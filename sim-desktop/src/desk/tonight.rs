//! An evening before it begins: what can be done, what must not be left half done, tools, questions, parts.
//!
//! Knows nothing of how it is worked out.

use super::theme::{self, BODY, Colours, GAP, TARGET};
use super::view::{Ask, DeskView};
use super::widgets::{Look, area, button, cut_bottom, line, paragraph, pressed, split_across};
use crate::job::status::Tonight;
use egui::{Align2, Key, Rect, Ui, UiBuilder, pos2, vec2};

/// Draws the screen; true when it is to be left.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    free: bool,
    asks: &mut Vec<Ask>,
) -> bool {
    let Some(tonight) = &view.tonight else {
        asks.push(Ask::Tonight);
        return false;
    };
    let (body, foot) = cut_bottom(rect, TARGET);
    let colours = Colours::of(ui);
    let lists = tonight.lists();
    if lists.is_empty() {
        let inner = area(ui, body, "Tonight", "");
        let words = "No joint can be done, and nothing is waited for.";
        line(
            ui,
            inner,
            Align2::LEFT_TOP,
            words,
            theme::text(BODY),
            colours.soft,
        );
    } else {
        columns(ui, body, &lists);
    }
    feet(ui, foot, tonight, free, asks)
}

/// What is done in one column, what is laid out for it in the other.
fn columns(ui: &mut Ui, rect: Rect, lists: &[(&'static str, Vec<(String, String)>)]) {
    let is_left = |title: &str| {
        [
            "Can be done",
            "Not to be left half done",
            "Cannot be done tonight",
        ]
        .contains(&title)
    };
    let halves = split_across(rect, 2);
    for (half, left) in halves.into_iter().zip([true, false]) {
        let own: Vec<_> = lists
            .iter()
            .filter(|(title, _)| is_left(title) == left)
            .collect();
        let name = if left { "Tonight" } else { "To have ready" };
        let inner = area(ui, half, name, "");
        let mut child = ui.new_child(UiBuilder::new().max_rect(inner).id_salt(name));
        egui::ScrollArea::vertical()
            .auto_shrink(false)
            .show(&mut child, |ui| {
                for (title, rows) in own {
                    list(ui, title, rows);
                }
            });
    }
}

fn list(ui: &mut Ui, title: &str, rows: &[(String, String)]) {
    let colours = Colours::of(ui);
    let width = ui.available_width() - 12.0;
    let (_, head) = ui.allocate_space(vec2(width, 26.0));
    line(
        ui,
        head,
        Align2::LEFT_CENTER,
        title,
        theme::strong(BODY),
        colours.next,
    );
    for (name, words) in rows {
        let text = format!("{name}: {words}");
        let font = theme::text(BODY);
        let galley = {
            use super::ink::Ink as _;
            let painter = ui.painter();
            painter.words_wrapped(&text, font.clone(), colours.ink, width - 18.0)
        };
        let (_, place) = ui.allocate_space(vec2(width, galley.size().y + 2.0));
        let dot = pos2(place.left() + 6.0, place.top() + 11.0);
        ui.painter().rect_filled(
            Rect::from_center_size(dot, vec2(5.0, 5.0)),
            0.0,
            colours.next,
        );
        let room = Rect::from_min_max(pos2(place.left() + 18.0, place.top()), place.max);
        paragraph(ui, room, &text, font, colours.ink);
    }
    ui.add_space(GAP);
}

fn feet(ui: &mut Ui, foot: Rect, tonight: &Tonight, free: bool, asks: &mut Vec<Ask>) -> bool {
    let places = split_across(foot, 3);
    let [print, back, words] = places[..] else {
        return false;
    };
    if button(ui, print, "Print it", "G", Look::Advised, free).clicked()
        || (free && pressed(ui, Key::G))
    {
        asks.push(Ask::PrintTonight);
    }
    let colours = Colours::of(ui);
    let said = if tonight.joints.is_empty() || tonight.seconds().is_some() {
        ""
    } else if tonight.joints.iter().any(|joint| joint.seconds.is_some()) {
        "One of them could not be rehearsed: no time for all"
    } else {
        "Rehearsing, to say how long it takes"
    };
    line(
        ui,
        words,
        Align2::LEFT_CENTER,
        said,
        theme::text(BODY),
        colours.soft,
    );
    button(ui, back, "Back", "Esc", Look::Plain, free).clicked()
        || (free && pressed(ui, Key::Escape))
}
