//! Orders and pass counts compared: a progress bar, a stop, the answer in words, and the ranking by scatter of the clamp load and by tilt.
//!
//! Knows nothing of the virtual bench.

use super::ink;
use super::theme::{self, BODY, Colours, NOTE, TARGET, TITLE};
use super::view::{Ask, CompareRow, DeskView};
use super::widgets::{
    Look, area, button, choices, count, cut_bottom, cut_top, number, paragraph, pressed,
    silent_line, speak,
};
use crate::limited::Limited as _;
use egui::accesskit::Role;
use egui::{Align2, Key, Rect, Sense, Stroke, StrokeKind, Ui, pos2, vec2};

/// What the screen remembers.
#[derive(Clone, Debug, Default)]
pub(super) struct CompareState {
    /// Joint to compare.
    pub joint: usize,
}

/// Draws the screen.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut CompareState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let colours = Colours::of(ui);
    let compare = &view.compare;
    let joints = &view.status.joints;
    let (body, foot) = cut_bottom(rect, TARGET);
    let mut table = body;
    if joints.len() > 1 && joints.len() <= 12 {
        let (head, rest) = cut_top(body, TARGET);
        let names: Vec<&str> = joints.iter().map(|joint| joint.id.as_str()).collect();
        if let Some(index) = choices(
            ui,
            head,
            &names,
            state.joint.min(names.len().saturating_sub(1)),
        ) {
            state.joint = index;
        }
        table = rest;
    }
    let chosen = joints.get(state.joint.min(joints.len().saturating_sub(1)));
    if free && joints.len() > 1 && ui.memory(|memory| memory.focused().is_none()) {
        if pressed(ui, Key::ArrowRight) {
            state.joint = (state.joint + 1).min(joints.len().saturating_sub(1));
        }
        if pressed(ui, Key::ArrowLeft) {
            state.joint = state.joint.saturating_sub(1);
        }
    }
    let title = if compare.joint.is_empty() {
        "Which order leaves the joint most even?".to_owned()
    } else {
        let what = if is_all_one(&compare.rows) {
            "no order is shown to be more even"
        } else {
            "most even first"
        };
        format!("{}: {what}", compare.joint)
    };
    let aside = if compare.stopped {
        "stopped by hand: what was done so far"
    } else {
        "always a rehearsal"
    };
    let inner = area(ui, table, &title, aside);
    if let Some(error) = &compare.error {
        paragraph(ui, inner, error, theme::strong(BODY), colours.bad);
    } else if compare.rows.is_empty() {
        let words = "Each order and number of passes is rehearsed many times on the virtual bench, with the friction, hand and gasket varied, and ranked by the scatter of the clamp load it leaves.";
        paragraph(ui, inner, words, theme::text(BODY), colours.soft);
    } else {
        let (said, table) = cut_top(inner, 44.0);
        paragraph(ui, said, &compare.headline, theme::text(BODY), colours.ink);
        rows(ui, table, view);
    }
    let (bar, go) = (
        Rect::from_min_max(foot.min, pos2(foot.right() - 232.0, foot.bottom())),
        Rect::from_min_max(pos2(foot.right() - 220.0, foot.top()), foot.max),
    );
    progress(ui, bar, compare.done, compare.of, compare.running);
    if compare.running {
        if button(ui, go, "Stop", "Enter", Look::Grave, free).clicked()
            || (free && pressed(ui, Key::Enter))
        {
            asks.push(Ask::StopCompare);
        }
    } else if let Some(joint) = chosen
        && (button(ui, go, "Compare", "Enter", Look::Advised, free).clicked()
            || (free && pressed(ui, Key::Enter)))
    {
        asks.push(Ask::Compare(joint.id.clone()));
    }
}

fn progress(ui: &mut Ui, rect: Rect, done: usize, of: usize, running: bool) {
    let colours = Colours::of(ui);
    let track = rect.shrink2(vec2(0.0, 6.0));
    let share = if of == 0 {
        0.0
    } else {
        (count(done) / count(of)).min(1.0)
    };
    ui.painter().rect_filled(track, 0.0, colours.well);
    ui.painter().rect_filled(
        Rect::from_min_size(track.min, vec2(track.width() * share, track.height())),
        0.0,
        colours.next_tint,
    );
    ui.painter().rect_stroke(
        track,
        0.0,
        Stroke::new(1.0, colours.outline),
        StrokeKind::Inside,
    );
    let words = if of == 0 {
        "not started".to_owned()
    } else {
        format!(
            "{done} of {of} rehearsals{}",
            if running { "" } else { ", done" }
        )
    };
    silent_line(
        ui.painter(),
        track.shrink2(vec2(12.0, 0.0)),
        Align2::LEFT_CENTER,
        &words,
        theme::strong(BODY),
        colours.ink,
    );
    let response = ui.interact(track, ui.scope_id().with("progress"), Sense::hover());
    response.widget_info(|| ink::labeled(Role::ProgressIndicator, true, &words));
}

/// Whether nothing is shown to be more even than anything else.
fn is_all_one(rows: &[CompareRow]) -> bool {
    rows.len() > 1 && rows.iter().all(|row| row.place == 1)
}

fn rows(ui: &mut Ui, rect: Rect, view: &DeskView) {
    let colours = Colours::of(ui);
    let rows = &view.compare.rows;
    let worst = rows
        .iter()
        .fold(1e-9, |worst: f64, row| worst.max(row.scatter));
    let (head, body) = cut_top(rect, 22.0);
    let columns = [0.0, 0.05, 0.23, 0.32, 0.68, 0.80, 0.91];
    let names = [
        "#",
        "Order",
        "Passes",
        "Scatter of the clamp load",
        "Tilt, #",
        "Lowest",
        "Pulls",
    ];
    let cell = |row: Rect, index: usize| {
        let left = row.left() + row.width() * columns.get(index).unwrap_or(&1.0);
        let right = columns
            .get(index + 1)
            .map_or(row.right(), |next| row.left() + row.width() * next - 14.0);
        Rect::from_min_max(pos2(left, row.top()), pos2(right, row.bottom()))
    };
    for (index, name) in names.iter().enumerate() {
        let align = if index >= 4 || index == 2 {
            Align2::RIGHT_CENTER
        } else {
            Align2::LEFT_CENTER
        };
        silent_line(
            ui.painter(),
            cell(head, index),
            align,
            name,
            theme::strong(NOTE),
            colours.soft,
        );
    }
    let height = (body.height() / count(rows.len().max(1))).limited(26.0, 44.0);
    for (index, row) in rows.iter().enumerate() {
        let place = Rect::from_min_size(
            pos2(body.left(), body.top() + height * count(index)),
            vec2(body.width(), height),
        );
        if place.bottom() > body.bottom() + 1.0 {
            break;
        }
        super::widgets::rule(ui, place.left(), place.right(), place.top());
        let best = row.place == 1 && !is_all_one(rows);
        let font = if best {
            theme::strong(TITLE * 0.75)
        } else {
            theme::strong(BODY)
        };
        let tilt = format!("{} µm, {}", number(row.tilt_um, 0), row.tilt_place);
        let lowest = format!("{} %", number(row.lowest * 100.0, 0));
        for (column, align, words) in [
            (0, Align2::LEFT_CENTER, row.place.to_string()),
            (1, Align2::LEFT_CENTER, row.order.clone()),
            (2, Align2::RIGHT_CENTER, row.passes.to_string()),
            (4, Align2::RIGHT_CENTER, tilt.clone()),
            (5, Align2::RIGHT_CENTER, lowest),
            (6, Align2::RIGHT_CENTER, row.pulls.to_string()),
        ] {
            silent_line(
                ui.painter(),
                cell(place, column),
                align,
                &words,
                font.clone(),
                colours.ink,
            );
        }
        let bar = cell(place, 3);
        let words = format!(
            "{} ± {} %",
            number(row.scatter * 100.0, 1),
            number(row.scatter_error * 100.0, 1)
        );
        let track = Rect::from_min_max(
            pos2(bar.left() + 118.0, bar.center().y - 7.0),
            pos2(bar.right(), bar.center().y + 7.0),
        );
        #[expect(clippy::cast_possible_truncation, reason = "a share between 0 and 1")]
        let share = (row.scatter / worst) as f32;
        ui.painter().rect_filled(
            Rect::from_min_size(track.min, vec2(track.width() * share, track.height())),
            0.0,
            if best { colours.good } else { colours.outline },
        );
        silent_line(
            ui.painter(),
            Rect::from_min_max(bar.min, pos2(track.left() - 8.0, bar.bottom())),
            Align2::RIGHT_CENTER,
            &words,
            font,
            colours.ink,
        );
        speak(
            ui,
            place,
            &format!(
                "{}. {}, {} passes, scatter {words}, tilt {tilt}",
                row.place, row.order, row.passes
            ),
        );
    }
}
