//! The record: every entry in a table with a filter, exceptions first if wanted, the curve of any pull, and the ways out.
//!
//! Knows nothing of the journal's format.

use super::curve;
use super::ink;
use super::marks;
use super::overlay::Overlay;
use super::theme::{self, BODY, Colours, NOTE, TARGET};
use super::view::{Ask, CurveView, DeskView, Export, RecordRow};
use super::widgets::{
    self, Look, aligned, area, button, choices, cut_bottom, cut_left, cut_top, focus_ring, line,
    number, pressed, silent_line, silent_lines, split_across,
};
use egui::accesskit::Role;
use egui::{Align2, Key, Rect, Sense, Ui, pos2, vec2};

/// Which rows are wanted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Show {
    /// All, newest first.
    #[default]
    All,
    /// Only what is out of the ordinary.
    Exceptions,
    /// Only judged attempts.
    Attempts,
}

/// What the screen remembers.
#[derive(Clone, Debug, Default)]
pub(super) struct RecordState {
    /// Which rows.
    pub show: Show,
    /// Words that must occur in a row.
    pub filter: String,
    /// Chosen row, by sequence number.
    pub chosen: Option<u64>,
    listed: Listed,
}

/// The rows that pass, kept from frame to frame: a long record is not searched sixty times a second.
#[derive(Clone, Debug, Default)]
struct Listed {
    key: (usize, u64, Show, String),
    rows: Vec<usize>,
}

fn passes(row: &RecordRow, show: Show, wanted: &[String]) -> bool {
    let kind = match show {
        Show::All => true,
        Show::Exceptions => row.exception,
        Show::Attempts => row.attempt > 0,
    };
    kind && wanted.iter().all(|word| {
        [
            &row.joint,
            &row.fastener,
            &row.words,
            &row.person,
            &row.tool,
            &row.time,
        ]
        .iter()
        .any(|text| text.to_lowercase().contains(word.as_str()))
            || row
                .mark
                .is_some_and(|mark| mark.word().contains(word.as_str()))
    })
}

impl RecordState {
    /// Indices of the rows that pass, newest first, exceptions before others when all are shown.
    fn list(&mut self, rows: &[RecordRow]) -> &[usize] {
        let key = (
            rows.len(),
            rows.last().map_or(0, |row| row.sequence),
            self.show,
            self.filter.to_lowercase(),
        );
        if self.listed.key != key || (self.listed.rows.is_empty() && !rows.is_empty()) {
            let wanted: Vec<String> = key.3.split_whitespace().map(str::to_owned).collect();
            let mut kept: Vec<(usize, &RecordRow)> = rows
                .iter()
                .enumerate()
                .rev()
                .filter(|(_, row)| passes(row, self.show, &wanted))
                .collect();
            if self.show == Show::All {
                kept.sort_by_key(|(_, row)| !row.exception);
            }
            let kept = kept.into_iter().map(|(index, _)| index).collect();
            self.listed = Listed { key, rows: kept };
        }
        &self.listed.rows
    }
}

/// Columns: name, share of the width, right-aligned.
const COLUMNS: [(&str, f32, bool); 8] = [
    ("Time", 0.125, false),
    ("Joint", 0.14, false),
    ("Fastener", 0.085, true),
    ("Stage", 0.065, true),
    ("Torque", 0.115, true),
    ("Angle", 0.08, true),
    ("State", 0.145, false),
    ("What", 0.245, false),
];

/// The columns of a narrow table: the rest is told beside it, of the row that is chosen.
const FEW: [(&str, f32, bool); 8] = [
    ("", 0.0, false),
    ("Joint", 0.21, false),
    ("", 0.08, true),
    ("", 0.0, true),
    ("Torque", 0.23, true),
    ("Angle", 0.15, true),
    ("State", 0.33, false),
    ("", 0.0, false),
];

/// The columns that a table of this width has room for.
fn columns(width: f32) -> &'static [(&'static str, f32, bool); 8] {
    if width < 560.0 { &FEW } else { &COLUMNS }
}

/// Draws the screen.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut RecordState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let free = overlay.is_none();
    let (body, foot) = cut_bottom(rect, TARGET);
    let (head, body) = cut_top(body, 70.0);
    let (filter_place, kinds) = cut_left(head, head.width() * 0.42);
    widgets::field(
        ui,
        filter_place,
        "Only rows with these words",
        &mut state.filter,
        "fastener, joint, name, reason",
    );
    let kinds = Rect::from_min_max(
        pos2(kinds.left(), kinds.top() + 22.0),
        pos2(kinds.right(), kinds.top() + 22.0 + TARGET),
    );
    let shows = [Show::All, Show::Exceptions, Show::Attempts];
    let current = shows
        .iter()
        .position(|show| *show == state.show)
        .unwrap_or(0);
    let names = if kinds.width() < 500.0 {
        ["All", "Exceptions", "Pulls"]
    } else {
        ["All, exceptions first", "Exceptions only", "Pulls only"]
    };
    if let Some(index) = choices(ui, kinds, &names, current) {
        state.show = shows.get(index).copied().unwrap_or_default();
    }
    let listed = state.list(&view.record).to_vec();
    if free && ui.memory(|memory| memory.focused().is_none()) {
        move_choice(ui, view, state, &listed);
    }
    let chosen = state
        .chosen
        .and_then(|sequence| view.record.iter().find(|row| row.sequence == sequence));
    let roomy = body.height() >= 330.0;
    let (table, detail) = if chosen.is_none() {
        // The room for a curve is the table's until there is one to see.
        cut_bottom(body, TARGET)
    } else if roomy {
        cut_bottom(body, (body.height() * 0.38).min(300.0))
    } else {
        cut_left(body, body.width() * 0.58)
    };
    show_table(ui, table, view, state, &listed);
    let known = view
        .curve
        .as_ref()
        .filter(|(number, _)| Some(*number) == state.chosen)
        .map(|(_, curve)| curve);
    if known.is_none() && chosen.is_some_and(|row| row.traced) {
        asks.push(Ask::Curve(chosen.map_or(0, |row| row.sequence)));
    }
    show_detail(ui, detail, chosen, known);
    let can = chosen.and_then(|row| {
        let mut can = view.put_right.iter();
        can.find(|can| can.sequence == row.sequence)
    });
    let foot = match can {
        None => foot,
        Some(can) => {
            let (place, rest) = cut_left(foot, foot.width() * 0.28);
            let words = if can.fastener.is_some() {
                "It was on another"
            } else {
                "Withdraw it"
            };
            if button(ui, place, words, "B", Look::Plain, free).clicked()
                || (free && pressed(ui, Key::B))
            {
                *overlay = Some(if can.fastener.is_some() {
                    Overlay::was_on(&view.status, can)
                } else {
                    Overlay::withdraw(can.sequence)
                });
            }
            rest
        }
    };
    let (place, foot) = cut_left(foot, foot.width() * 0.24);
    if button(ui, place, "Type paper back", "I", Look::Plain, free).clicked()
        || (free && pressed(ui, Key::I))
    {
        asks.push(Ask::Paper);
    }
    let ways = split_across(foot, 3);
    for (place, (words, key, cap, export)) in ways.into_iter().zip([
        ("Build sheet in the browser", Key::S, "S", Export::Sheet),
        ("Save as CSV", Key::X, "X", Export::Csv),
        ("Save as JSON", Key::Y, "Y", Export::Json),
    ]) {
        let look = if export == Export::Sheet {
            Look::Advised
        } else {
            Look::Plain
        };
        let able = free && !view.record.is_empty();
        if button(ui, place, words, cap, look, able).clicked() || (able && pressed(ui, key)) {
            asks.push(Ask::Export(export));
        }
    }
}

fn move_choice(ui: &Ui, view: &DeskView, state: &mut RecordState, listed: &[usize]) {
    let at = listed
        .iter()
        .position(|&index| view.record.get(index).map(|row| row.sequence) == state.chosen);
    let to = if pressed(ui, Key::ArrowDown) {
        Some(at.map_or(0, |at| at + 1))
    } else if pressed(ui, Key::ArrowUp) {
        Some(at.map_or(0, |at| at.saturating_sub(1)))
    } else {
        None
    };
    if let Some(row) = to
        .and_then(|to| listed.get(to.min(listed.len().saturating_sub(1))))
        .and_then(|&index| view.record.get(index))
    {
        state.chosen = Some(row.sequence);
    }
}

fn cells(row: Rect) -> [(Rect, bool); COLUMNS.len()] {
    let mut x = row.left();
    columns(row.width()).map(|(_, share, right)| {
        let width = row.width() * share;
        let gap = if width > 100.0 { 14.0 } else { 6.0 };
        let cell = Rect::from_min_max(pos2(x, row.top()), pos2(x + width - gap, row.bottom()));
        x += width;
        (cell, right)
    })
}

fn show_table(ui: &mut Ui, rect: Rect, view: &DeskView, state: &mut RecordState, listed: &[usize]) {
    let colours = Colours::of(ui);
    let inner = area(ui, rect, "", "");
    let (head, body) = cut_top(inner, 22.0);
    let titles = Rect::from_min_max(head.min, pos2(head.right() - 14.0, head.bottom()));
    for ((cell, right), (name, ..)) in cells(titles).into_iter().zip(columns(titles.width())) {
        silent_line(
            ui.painter(),
            cell,
            aligned(right),
            name,
            theme::strong(NOTE),
            colours.soft,
        );
    }
    widgets::rule(ui, inner.left(), inner.right(), head.bottom() + 2.0);
    if listed.is_empty() {
        let words = if view.record.is_empty() {
            "Nothing is recorded yet."
        } else {
            "No row has all these words."
        };
        line(
            ui,
            body,
            Align2::LEFT_TOP,
            words,
            theme::text(BODY),
            colours.soft,
        );
        return;
    }
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(body).id_salt("record"));
    child.spacing_mut().item_spacing.y = 0.0;
    egui::ScrollArea::vertical().auto_shrink(false).show_rows(
        &mut child,
        TARGET,
        listed.len(),
        |ui, range| {
            let width = ui.available_width();
            for &index in listed.get(range).unwrap_or_default() {
                let Some(row) = view.record.get(index) else {
                    continue;
                };
                let (_, place) = ui.allocate_space(vec2(width, TARGET));
                let response = ui.interact(
                    place,
                    ui.scope_id().with(("row", row.sequence)),
                    Sense::click(),
                );
                let said = row_words(row);
                response.widget_info(|| {
                    ink::selected(Role::Row, true, state.chosen == Some(row.sequence), &said)
                });
                if response.clicked() {
                    state.chosen = Some(row.sequence);
                }
                table_row(
                    ui,
                    place,
                    row,
                    state.chosen == Some(row.sequence),
                    response.hovered(),
                );
                strike(ui, place.shrink2(vec2(6.0, 0.0)), row);
                focus_ring(ui, &response, place.shrink(4.0));
            }
        },
    );
}

fn row_words(row: &RecordRow) -> String {
    let mark = row.mark.map_or("", super::view::Mark::word);
    let mut words = format!(
        "{} {} {} {mark} {}",
        row.sequence, row.joint, row.fastener, row.words
    );
    if let Some(torque) = row.torque {
        words += &format!(", {} {}", number(torque, 1), row.torque_unit);
    }
    if row.is_put_right {
        words += ", struck through: put right later";
    }
    words
}

fn table_row(ui: &Ui, place: Rect, row: &RecordRow, chosen: bool, hovered: bool) {
    let colours = Colours::of(ui);
    let painter = ui.painter();
    widgets::row_ground(ui, place, chosen, hovered);
    let text = theme::text(BODY - 1.0);
    let strong = theme::strong(BODY - 1.0);
    let [time, joint, fastener, stage, torque, angle, verdict, told] = cells(place);
    let put = |(cell, right): (Rect, bool), words: &str, font: egui::FontId, colour| {
        if cell.width() <= 0.0 {
            return;
        }
        silent_line(painter, cell, aligned(right), words, font, colour);
    };
    put(time, &row.time, text.clone(), colours.soft);
    put(joint, &row.joint, text.clone(), colours.ink);
    put(fastener, &row.fastener, strong.clone(), colours.ink);
    if row.stage > 0 {
        let words = if row.attempt > 1 {
            format!("{} / {}", row.stage, row.attempt)
        } else {
            row.stage.to_string()
        };
        put(stage, &words, text.clone(), colours.ink);
    }
    if let Some(value) = row.torque {
        put(
            torque,
            &format!("{} {}", number(value, 1), row.torque_unit),
            strong.clone(),
            colours.ink,
        );
    }
    if let Some(value) = row.angle {
        put(
            angle,
            &format!("{}°", number(value, 1)),
            strong.clone(),
            colours.ink,
        );
    }
    if let Some(mark) = row.mark {
        let (cell, _) = verdict;
        marks::draw(
            painter,
            &colours,
            mark,
            pos2(cell.left() + 9.0, cell.center().y),
            8.0,
        );
        let room = Rect::from_min_max(pos2(cell.left() + 25.0, cell.top()), cell.max);
        silent_line(
            painter,
            room,
            Align2::LEFT_CENTER,
            mark.word(),
            strong,
            marks::colour(&colours, mark),
        );
    }
    let (cell, _) = told;
    let ink = if row.exception {
        colours.bad
    } else {
        colours.ink
    };
    let cell = match (cell.width() > 0.0, row.torque) {
        (true, _) => cell,
        // A narrow table has its words where there are no figures.
        (false, None) if row.mark.is_none() => Rect::from_min_max(torque.0.min, verdict.0.max),
        (false, _) => return,
    };
    silent_lines(painter, cell, &row.words, theme::text(NOTE + 1.0), ink, 2);
}

/// A line through what counts no more.
fn strike(ui: &Ui, place: Rect, row: &RecordRow) {
    if row.is_put_right {
        let stroke = egui::Stroke::new(1.5, Colours::of(ui).ink);
        ui.painter()
            .hline(place.x_range(), place.center().y, stroke);
    }
}

fn show_detail(ui: &mut Ui, rect: Rect, chosen: Option<&RecordRow>, curve: Option<&CurveView>) {
    let colours = Colours::of(ui);
    let Some(row) = chosen else {
        let inner = area(ui, rect, "", "");
        line(
            ui,
            inner,
            Align2::LEFT_CENTER,
            "Choose a row to see its curve: arrow keys, or press it.",
            theme::text(BODY),
            colours.soft,
        );
        return;
    };
    let title = if row.fastener.is_empty() {
        format!("{}, entry {}", row.joint, row.sequence)
    } else {
        format!(
            "{}, fastener {}, stage {}, attempt {}",
            row.joint, row.fastener, row.stage, row.attempt
        )
    };
    let who: Vec<&str> = [row.person.as_str(), row.tool.as_str()]
        .into_iter()
        .filter(|word| !word.is_empty())
        .collect();
    let inner = area(ui, rect, &title, &who.join(", "));
    let (words, plot) = cut_top(inner, 24.0);
    line(
        ui,
        words,
        Align2::LEFT_CENTER,
        &row.words,
        theme::text(BODY),
        if row.exception {
            colours.bad
        } else {
            colours.ink
        },
    );
    match curve {
        Some(points) => curve::draw(ui, plot, points, false),
        None => {
            line(
                ui,
                plot,
                Align2::LEFT_TOP,
                "No curve is kept with this entry.",
                theme::text(BODY),
                colours.soft,
            );
        }
    }
}
