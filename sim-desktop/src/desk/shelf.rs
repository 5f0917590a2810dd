//! The shelf: every build of a folder in one table, sorted by any column, filtered by typing, opened with Enter.
//!
//! Knows nothing of journals: its rows are those of `evendraw shelf`.

use crate::limited::Limited as _;
use std::sync::Arc;

use super::history;
use super::ink;
use super::marks;
use super::theme::{self, BODY, Colours, NOTE, TARGET};
use super::view::{Ask, ShelfView};
use super::widgets::{
    self, Look, aligned, area, button, choices, count, cut_bottom, cut_left, cut_top, focus_ring,
    paragraph, pressed, silent_line, text_width,
};
use crate::shelf::table::{Row, Sort, holds, sort};
use egui::accesskit::Role;
use egui::{Align2, Color32, Key, Pos2, Rect, Sense, Stroke, StrokeKind, Ui, pos2, vec2};

/// What the screen remembers.
#[derive(Clone, Debug, Default)]
pub(super) struct ShelfState {
    /// Words that must occur in a row.
    filter: String,
    /// The folder as typed.
    folder: String,
    /// The folder that was shown last.
    shown: String,
    sort: Sort,
    reversed: bool,
    with_rehearsals: bool,
    /// What like joints showed, in place of the builds.
    shows_history: bool,
    /// The chosen distribution, by its place.
    distribution: usize,
    /// The chosen build, by its name on the shelf.
    chosen: Option<String>,
    listed: Listed,
}

/// The rows that pass, kept from frame to frame: a long shelf is not sorted sixty times a second.
#[derive(Clone, Debug, Default)]
struct Listed {
    /// The rows that these were taken from.
    from: Arc<Vec<Row>>,
    key: Option<(String, Sort, bool, bool)>,
    rows: Vec<Row>,
    rehearsals: usize,
}

impl ShelfState {
    fn list(&mut self, view: &ShelfView) {
        let key = (
            self.filter.clone(),
            self.sort,
            self.reversed,
            self.with_rehearsals,
        );
        let is_same =
            Arc::ptr_eq(&self.listed.from, &view.rows) && self.listed.from.len() == view.rows.len();
        if is_same && self.listed.key.as_ref() == Some(&key) {
            return;
        }
        let mut rows: Vec<Row> = view
            .rows
            .iter()
            .filter(|row| (self.with_rehearsals || !row.rehearsal) && holds(row, &self.filter))
            .cloned()
            .collect();
        sort(&mut rows, self.sort, self.reversed);
        self.listed = Listed {
            from: Arc::clone(&view.rows),
            key: Some(key),
            rows,
            rehearsals: view.rows.iter().filter(|row| row.rehearsal).count(),
        };
    }

    fn by(&mut self, column: Sort) {
        self.reversed = self.sort == column && !self.reversed;
        self.sort = column;
    }

    fn at(&self) -> Option<usize> {
        let chosen = self.chosen.as_ref()?;
        self.listed.rows.iter().position(|row| row.name == *chosen)
    }
}

/// A column: what it is sorted by, its word, its share of the width, right-aligned.
const COLUMNS: [(Sort, &str, f32, bool); 8] = [
    (Sort::Name, "Build", 0.31, false),
    (Sort::State, "State", 0.15, false),
    (Sort::Progress, "Done", 0.075, true),
    (Sort::Worked, "Last worked", 0.185, true),
    (Sort::Retorques, "Retorques", 0.08, true),
    (Sort::Doubts, "Doubts", 0.07, true),
    (Sort::Tools, "Tools", 0.065, true),
    (Sort::Parts, "Parts", 0.065, true),
];

/// Draws the screen.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &ShelfView,
    state: &mut ShelfState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    if !view.begun {
        asks.push(Ask::ReadShelf(std::path::PathBuf::new()));
    }
    if state.shown != view.folder {
        state.shown.clone_from(&view.folder);
        state.folder.clone_from(&view.folder);
    }
    let (body, foot) = cut_bottom(rect, TARGET);
    let (head, body) = cut_top(body, 74.0);
    fields(ui, head, view, state, asks);
    if free && pressed(ui, Key::G) {
        state.shows_history = !state.shows_history;
    }
    if state.shows_history {
        history::show(ui, body, view, &state.filter, &mut state.distribution, free);
        feet(ui, foot, view, state, free, asks);
        return;
    }
    state.list(view);
    if free && !ui.ctx().text_edit_focused() {
        keys(ui, state);
    }
    let (table, detail) = cut_bottom(body, (body.height() * 0.3).limited(84.0, 150.0));
    rows(ui, table, view, state, free, asks);
    about(ui, detail, view, state);
    feet(ui, foot, view, state, free, asks);
}

/// What is typed: the words that a row must have, and the folder.
fn fields(ui: &mut Ui, rect: Rect, view: &ShelfView, state: &mut ShelfState, asks: &mut Vec<Ask>) {
    let (left, right) = cut_left(rect, rect.width() * 0.38);
    let (right, faces) = cut_left(right, right.width() * 0.6);
    let faces = Rect::from_min_size(faces.min + vec2(0.0, 22.0), vec2(faces.width(), TARGET));
    let current = usize::from(state.shows_history);
    if let Some(chosen) = choices(ui, faces, &["Builds", "History (G)"], current) {
        state.shows_history = chosen == 1;
    }
    let filter = widgets::field(
        ui,
        left,
        "Only builds with these words (/)",
        &mut state.filter,
        "unit, document, state, what it waits for",
    );
    if filter.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter)) {
        // That ends the typing; the next one opens a build.
        ui.input_mut(|input| input.consume_key(egui::Modifiers::NONE, Key::Enter));
        state.list(view);
        state.chosen = state.listed.rows.first().map(|row| row.name.clone());
    }
    if pressed(ui, Key::Slash) {
        filter.request_focus();
        // The stroke that opened the field is not its first letter.
        ui.input_mut(|input| {
            input
                .events
                .retain(|event| !matches!(event, egui::Event::Text(_)));
        });
    }
    let folder = widgets::field(
        ui,
        right,
        "Folder of builds",
        &mut state.folder,
        "a folder with journals in it or below",
    );
    let is_entered = folder.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    if is_entered && !state.folder.trim().is_empty() {
        ui.input_mut(|input| input.consume_key(egui::Modifiers::NONE, Key::Enter));
        asks.push(Ask::ReadShelf(state.folder.trim().into()));
    }
}

fn keys(ui: &Ui, state: &mut ShelfState) {
    let column = COLUMNS
        .iter()
        .position(|column| column.0 == state.sort)
        .unwrap_or(0);
    let right = pressed(ui, Key::ArrowRight).then_some(column + 1);
    let left = pressed(ui, Key::ArrowLeft).then(|| column.checked_sub(1));
    for to in [right, left.flatten()].into_iter().flatten() {
        if let Some(column) = COLUMNS.get(to) {
            state.by(column.0);
        }
    }
    if pressed(ui, Key::R) {
        state.reversed = !state.reversed;
    }
    let at = state.at();
    let to = if pressed(ui, Key::ArrowDown) {
        Some(at.map_or(0, |at| at + 1))
    } else if pressed(ui, Key::ArrowUp) {
        Some(at.map_or(0, |at| at.saturating_sub(1)))
    } else {
        None
    };
    if let Some(row) = to.and_then(|to| {
        state
            .listed
            .rows
            .get(to.min(state.listed.rows.len().saturating_sub(1)))
    }) {
        state.chosen = Some(row.name.clone());
    }
}

fn cells(row: Rect) -> impl Iterator<Item = Rect> {
    let mut x = row.left();
    COLUMNS.iter().map(move |(_, _, share, _)| {
        let width = row.width() * share;
        let cell = Rect::from_min_max(pos2(x, row.top()), pos2(x + width - 8.0, row.bottom()));
        x += width;
        cell
    })
}

fn rows(
    ui: &mut Ui,
    rect: Rect,
    view: &ShelfView,
    state: &mut ShelfState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let colours = Colours::of(ui);
    let (all, left_out) = (view.rows.len(), state.listed.rehearsals);
    let mut aside = format!("{} of {all}", state.listed.rows.len());
    if left_out > 0 && !state.with_rehearsals {
        aside.push_str(&format!("; {left_out} rehearsals left out"));
    }
    let inner = area(ui, rect, "Builds", &aside);
    let (head, body) = cut_top(inner, TARGET - 8.0);
    let titles = Rect::from_min_max(head.min, pos2(head.right() - 14.0, head.bottom()));
    for (cell, (column, word, _, right)) in cells(titles).zip(COLUMNS) {
        heading(ui, cell, state, column, word, right);
    }
    widgets::rule(ui, inner.left(), inner.right(), head.bottom());
    if let Some(error) = &view.error {
        paragraph(ui, body, error, theme::strong(BODY), colours.bad);
        return;
    }
    if state.listed.rows.is_empty() {
        let words = match (view.running, view.rows.is_empty()) {
            (true, true) => "The folder is being read.",
            (false, true) => "There is no build in this folder, nor in those below it.",
            (_, false) if state.filter.is_empty() => {
                "There are only rehearsals here: H lists them."
            }
            (_, false) => "No build has all these words.",
        };
        paragraph(ui, body, words, theme::text(BODY), colours.soft);
        return;
    }
    let chosen = state.at();
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(body).id_salt("shelf"));
    child.spacing_mut().item_spacing.y = 0.0;
    let listed = std::mem::take(&mut state.listed.rows);
    let mut scroll = egui::ScrollArea::vertical().auto_shrink(false);
    let is_moved = free
        && child
            .input(|input| input.key_pressed(Key::ArrowDown) || input.key_pressed(Key::ArrowUp));
    if let Some(at) = chosen.filter(|_| is_moved || state.shown.is_empty()) {
        let middle = TARGET * count(at) - body.height() / 2.0 + TARGET / 2.0;
        scroll = scroll.vertical_scroll_offset(middle.max(0.0));
    }
    scroll.show_rows(&mut child, TARGET, listed.len(), |ui, range| {
        let width = ui.available_width();
        for row in listed.get(range).unwrap_or_default() {
            let (_, place) = ui.allocate_space(vec2(width, TARGET));
            let id = ui.scope_id().with(("build", &row.name));
            let response = ui.interact(place, id, Sense::click());
            let here = state.chosen.as_ref() == Some(&row.name);
            response.widget_info(|| ink::selected(Role::Row, true, here, said(row)));
            if response.clicked() {
                state.chosen = Some(row.name.clone());
            }
            if response.double_clicked() {
                asks.push(Ask::OpenBuild(row.path.clone()));
            }
            one(ui, place, row, here, response.hovered());
            focus_ring(ui, &response, place.shrink(4.0));
        }
    });
    state.listed.rows = listed;
}

fn heading(ui: &mut Ui, cell: Rect, state: &mut ShelfState, column: Sort, word: &str, right: bool) {
    let colours = Colours::of(ui);
    let response = ui.interact(cell, ui.scope_id().with(("sort", word)), Sense::click());
    let here = state.sort == column;
    response.widget_info(|| ink::selected(Role::ColumnHeader, true, here, word));
    if response.hovered() {
        ui.painter().rect_filled(cell, 0.0, colours.well);
    }
    let ink = if here { colours.ink } else { colours.soft };
    let font = theme::strong(NOTE);
    let width = text_width(ui, word, font.clone());
    silent_line(ui.painter(), cell, aligned(right), word, font, ink);
    if here {
        let left = if right {
            cell.right() - width - 14.0
        } else {
            cell.left() + width + 6.0
        };
        arrow(ui, pos2(left, cell.center().y), state.reversed, ink);
    }
    focus_ring(ui, &response, cell);
    if response.clicked() {
        state.by(column);
    }
}

/// Which way a column is sorted.
fn arrow(ui: &Ui, left: Pos2, up: bool, ink: Color32) {
    let way = if up { -1.0 } else { 1.0 };
    let corners = [(0.0, -3.0), (8.0, -3.0), (4.0, 4.0)];
    let corners = corners.map(|(x, y)| left + vec2(x, y * way));
    ui.painter().add(egui::Shape::convex_polygon(
        corners.to_vec(),
        ink,
        Stroke::NONE,
    ));
}

/// A build in words.
fn said(row: &Row) -> String {
    let mut words = format!(
        "{}, {}, {}, {} %, last worked {}",
        row.name,
        row.unit,
        row.standing.mark.word(),
        row.percent(),
        row.worked()
    );
    for waits in row.waits() {
        words.push_str(", ");
        words.push_str(&waits);
    }
    words
}

fn one(ui: &Ui, place: Rect, row: &Row, chosen: bool, hovered: bool) {
    let colours = Colours::of(ui);
    let painter = ui.painter();
    widgets::row_ground(ui, place, chosen, hovered);
    let (text, strong) = (theme::text(BODY - 1.0), theme::strong(BODY - 1.0));
    let own = &row.standing;
    let some = |list: &[String]| match list.len() {
        0 => String::new(),
        number => number.to_string(),
    };
    let told = [
        String::new(),
        String::new(),
        format!("{} %", row.percent()),
        row.worked(),
        some(&own.retorques),
        some(&own.doubts),
        some(&own.expired),
        some(&own.parts),
    ];
    for (index, ((cell, words), column)) in cells(place).zip(&told).zip(&COLUMNS).enumerate() {
        let font = if index == 3 { &text } else { &strong };
        silent_line(
            painter,
            cell,
            aligned(column.3),
            words,
            font.clone(),
            colours.ink,
        );
    }
    let mut cells = cells(place);
    if let (Some(name), Some(state)) = (cells.next(), cells.next()) {
        let middle = name.center().y;
        let what = if row.unit.is_empty() {
            &row.title
        } else {
            &row.unit
        };
        let what = if row.not_work.is_empty() {
            what.clone()
        } else {
            format!("{}: {what}", row.not_work)
        };
        let upper = Rect::from_min_max(name.min, pos2(name.right(), middle + 2.0));
        let lower = Rect::from_min_max(pos2(name.left(), middle), name.max);
        silent_line(
            painter,
            upper,
            Align2::LEFT_BOTTOM,
            &row.name,
            strong.clone(),
            colours.ink,
        );
        silent_line(
            painter,
            lower,
            Align2::LEFT_TOP,
            &what,
            theme::text(NOTE),
            colours.soft,
        );
        let mark = own.mark;
        let at = pos2(state.left() + 9.0, middle);
        marks::draw(painter, &colours, mark, at, 8.0);
        let room = Rect::from_min_max(pos2(state.left() + 25.0, state.top()), state.max);
        let colour = marks::colour(&colours, mark);
        silent_line(
            painter,
            room,
            Align2::LEFT_CENTER,
            mark.word(),
            strong,
            colour,
        );
    }
}

/// The chosen build in words; what could not be read where none is chosen.
fn about(ui: &mut Ui, rect: Rect, view: &ShelfView, state: &ShelfState) {
    let colours = Colours::of(ui);
    let troubles = match view.passed.len() {
        0 => String::new(),
        number => format!("{number} could not be read, or not all of it"),
    };
    let row = state.at().and_then(|at| state.listed.rows.get(at));
    let Some(row) = row else {
        let inner = area(ui, rect, "", &troubles);
        let (words, hue) = if view.passed.is_empty() {
            (
                "Choose a build: arrow keys, or press it. Enter opens it.".to_owned(),
                colours.soft,
            )
        } else {
            (view.passed.join("\n"), colours.bad)
        };
        told(ui, inner, &words, hue);
        return;
    };
    let inner = area(ui, rect, &row.name, &troubles);
    let head = [&row.title, &row.unit, &row.document, &row.standing.words];
    let head: Vec<&str> = head
        .into_iter()
        .map(String::as_str)
        .filter(|words| !words.is_empty())
        .collect();
    let mut lines = vec![head.join("; ")];
    lines.extend(row.waits());
    if !row.standing.next.is_empty() {
        lines.push(format!("next: {}", row.standing.next));
    }
    let own = format!("{}: ", row.name);
    let flaws = view
        .passed
        .iter()
        .filter_map(|line| line.strip_prefix(&own));
    lines.extend(flaws.map(str::to_owned));
    told(ui, inner, &lines.join("\n"), colours.ink);
}

/// Words that may be longer than their room.
fn told(ui: &mut Ui, rect: Rect, words: &str, hue: Color32) {
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(rect).id_salt("about"));
    egui::ScrollArea::vertical()
        .auto_shrink(false)
        .show(&mut child, |ui| {
            let place = ui.available_rect_before_wrap();
            let height = paragraph(ui, place, words, theme::text(NOTE + 1.0), hue);
            ui.allocate_space(vec2(place.width(), height));
        });
}

/// How far the folder is read, and what can be done.
fn feet(
    ui: &mut Ui,
    rect: Rect,
    view: &ShelfView,
    state: &mut ShelfState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    if state.shows_history {
        let [far, again] = widgets::split_into(rect);
        progress(ui, far, view);
        return reading(ui, again, view, free, asks);
    }
    let [far, rehearsals, again, opens] = widgets::split_into(rect);
    progress(ui, far, view);
    reading(ui, again, view, free, asks);
    let shown = if state.with_rehearsals {
        "Leave rehearsals out"
    } else {
        "Rehearsals too"
    };
    if button(ui, rehearsals, shown, "H", Look::Plain, free).clicked()
        || (free && pressed(ui, Key::H))
    {
        state.with_rehearsals = !state.with_rehearsals;
    }
    let row = state.at().and_then(|at| state.listed.rows.get(at));
    let able = free && row.is_some();
    let open = button(ui, opens, "Open this build", "Enter", Look::Advised, able).clicked();
    if let Some(row) = row.filter(|_| open || (able && pressed(ui, Key::Enter))) {
        asks.push(Ask::OpenBuild(row.path.clone()));
    }
}

/// Stops reading, or reads again.
fn reading(ui: &mut Ui, place: Rect, view: &ShelfView, free: bool, asks: &mut Vec<Ask>) {
    if view.running {
        let stop = button(ui, place, "Stop reading", "U", Look::Grave, free).clicked();
        if stop || (free && pressed(ui, Key::U)) {
            asks.push(Ask::StopShelf);
        }
    } else {
        let again = button(ui, place, "Read again", "U", Look::Plain, free).clicked();
        if again || (free && pressed(ui, Key::U)) {
            asks.push(Ask::ReadShelf(view.folder.clone().into()));
        }
    }
}

fn progress(ui: &mut Ui, rect: Rect, view: &ShelfView) {
    let colours = Colours::of(ui);
    let track = rect.shrink2(vec2(0.0, 6.0));
    let share = if view.of == 0 {
        0.0
    } else {
        (count(view.done) / count(view.of)).min(1.0)
    };
    ui.painter().rect_filled(track, 0.0, colours.well);
    let full = Rect::from_min_size(track.min, vec2(track.width() * share, track.height()));
    ui.painter().rect_filled(full, 0.0, colours.next_tint);
    let edge = Stroke::new(1.0, colours.outline);
    ui.painter()
        .rect_stroke(track, 0.0, edge, StrokeKind::Inside);
    let what = match (view.running, view.stopped) {
        (_, true) => ", stopped by hand",
        (true, false) => "",
        (false, false) => " read",
    };
    let words = format!("{} of {}{what}", view.done, view.of);
    let room = track.shrink2(vec2(12.0, 0.0));
    silent_line(
        ui.painter(),
        room,
        Align2::LEFT_CENTER,
        &words,
        theme::strong(BODY),
        colours.ink,
    );
    let response = ui.interact(track, ui.scope_id().with("progress"), Sense::hover());
    response.widget_info(|| ink::labeled(Role::ProgressIndicator, true, &words));
}
