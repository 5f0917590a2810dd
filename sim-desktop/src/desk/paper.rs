//! A working sheet typed back: fasteners down, stages across, what is asked beside them, and one key that records all of it or nothing.
//!
//! A cell takes what stands on the paper: `48.2`, `48,2`, `48.2 91°`, `x` for a tick, with a way behind it where one cell was done in
//! another (`48.2 eye`), `moved` where it moved, `sure` where it is right though far off. Knows nothing of how a row is judged.

use super::ink;
use super::theme::{self, BODY, Colours, GAP, NOTE, TARGET};
use super::view::{Ask, DeskView, PaperView};
use super::widgets::{
    Look, area, button, count, cut_bottom, cut_left, cut_top, line, pressed, silent_line,
};
use crate::job::paper::{Column, Row};
use crate::limited::Limited as _;
use egui::accesskit::Role;
use egui::{Align2, Key, Modifiers, Rect, Stroke, Ui, UiBuilder, pos2, vec2};
use std::collections::BTreeMap;

/// What is typed, until it is recorded.
#[derive(Debug, Default)]
pub(super) struct PaperState {
    /// Which of the joints that have something open.
    joint: usize,
    name: String,
    date: String,
    /// By joint and stage: the way, and the tool.
    ways: BTreeMap<(String, String), (String, String)>,
    /// By joint, fastener and stage.
    cells: BTreeMap<(String, String, String), String>,
    /// Rows recorded when this was last looked at.
    recorded: usize,
    /// The first field had the keyboard.
    begun: bool,
}

/// The words of a cell that say more of its value.
const WAYS: [&str; 7] = [
    "display", "eye", "gauge", "mark", "setting", "hand", "ticked",
];
/// Width of the first column, and the least of the others.
const LABEL: f32 = 150.0;
const CELL: f32 = 132.0;
const HEAD: f32 = 44.0;

/// Draws the screen; true when it is to be left.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut PaperState,
    free: bool,
    asks: &mut Vec<Ask>,
) -> bool {
    let Some(paper) = &view.paper else {
        asks.push(Ask::Paper);
        return false;
    };
    if state.recorded != paper.recorded {
        // What is recorded is not typed any more.
        state.recorded = paper.recorded;
        state.cells.clear();
    }
    let joints = joints(paper);
    let (body, foot) = cut_bottom(rect, TARGET);
    let (body, faults) = cut_bottom(body, fault_height(paper));
    told(ui, faults, paper);
    let Some(joint) = joints.get(state.joint.min(joints.len().saturating_sub(1))) else {
        let inner = area(ui, body, "From paper", "");
        let words = "Everything is recorded: nothing is open that could be typed back.";
        let font = theme::text(BODY);
        line(
            ui,
            inner,
            Align2::LEFT_TOP,
            words,
            font,
            Colours::of(ui).ink,
        );
        return feet(ui, foot, paper, state, joints.len(), free, asks);
    };
    let title = view.status.joints.iter().find(|own| own.id == *joint);
    let title = title.map_or(joint.as_str(), |own| own.title.as_str());
    let inner = area(
        ui,
        body,
        &format!("From paper: {title}"),
        "empty where nothing was done; x is a tick; 48.2 eye, 48.2 91°, moved, sure",
    );
    let (head, grid) = cut_top(inner, 70.0);
    let (one, rest) = cut_left(head, head.width() * 0.5);
    let name = field(ui, one, "Name", &mut state.name);
    if free && !std::mem::replace(&mut state.begun, true) {
        name.request_focus();
    }
    field(ui, rest, "Date on the paper, 2026-05-04", &mut state.date);
    let scope = ui.scope_id().with("paper grid");
    let mut child = ui.new_child(UiBuilder::new().id_salt(scope).max_rect(grid));
    egui::ScrollArea::both()
        .auto_shrink(false)
        .show(&mut child, |ui| {
            rows(ui, paper, joint, state);
        });
    feet(ui, foot, paper, state, joints.len(), free, asks)
}

/// The joints that have something open, in the order of the plan.
fn joints(paper: &PaperView) -> Vec<String> {
    let mut ids: Vec<String> = Vec::new();
    for row in paper.rows.iter() {
        let id = row.cell(Column::Joint);
        if ids.iter().all(|own| own != id) {
            ids.push(id.to_owned());
        }
    }
    ids
}

fn fault_height(paper: &PaperView) -> f32 {
    count(paper.faults.len().min(3)) * 24.0
}

/// The first cells that are wrong, in words.
fn told(ui: &mut Ui, rect: Rect, paper: &PaperView) {
    let colours = Colours::of(ui);
    for (index, fault) in paper.faults.iter().take(3).enumerate() {
        let row = paper.typed.iter().find(|row| row.line == fault.line);
        let place = row.map_or_else(String::new, |row| {
            let (fastener, stage) = (row.cell(Column::Fastener), row.cell(Column::Stage));
            match fastener {
                "" => format!("stage {stage}, "),
                fastener => format!("fastener {fastener}, stage {stage}, "),
            }
        });
        let words = format!("{place}{}: {}", fault.column.name(), fault.why);
        let row = Rect::from_min_size(
            pos2(rect.left(), rect.top() + 24.0 * count(index)),
            vec2(rect.width(), 24.0),
        );
        let font = theme::strong(BODY);
        line(ui, row, Align2::LEFT_CENTER, &words, font, colours.bad);
    }
}

/// The table: stages across, with the way and the tool of each; fasteners down; what has no fastener below.
fn rows(ui: &mut Ui, paper: &PaperView, joint: &str, state: &mut PaperState) {
    let own: Vec<&Row> = paper
        .rows
        .iter()
        .filter(|row| row.cell(Column::Joint) == joint)
        .collect();
    let of_fastener = |row: &&&Row| !row.cell(Column::Fastener).is_empty();
    let mut stages: Vec<&Row> = Vec::new();
    let mut fasteners: Vec<&str> = Vec::new();
    for row in own.iter().filter(of_fastener) {
        if stages
            .iter()
            .all(|own| own.cell(Column::Stage) != row.cell(Column::Stage))
        {
            stages.push(row);
        }
        if fasteners
            .iter()
            .all(|own| *own != row.cell(Column::Fastener))
        {
            fasteners.push(row.cell(Column::Fastener));
        }
    }
    let others: Vec<&&Row> = own.iter().filter(|row| !of_fastener(row)).collect();
    let width = ((ui.available_width() - LABEL) / count(stages.len().max(1))).limited(CELL, 280.0);
    let colours = Colours::of(ui);
    let grid = if stages.is_empty() {
        0.0
    } else {
        HEAD + 2.0 * (TARGET + 4.0) + count(fasteners.len()) * (TARGET + 4.0) + GAP
    };
    let height = grid + count(others.len()) * (TARGET + 4.0);
    let wide = LABEL + width * count(stages.len());
    let (place, _) = ui.allocate_exact_size(vec2(wide, height), egui::Sense::hover());
    let cell = |column: usize, y: f32| {
        Rect::from_min_size(
            pos2(place.left() + LABEL + width * count(column), y),
            vec2(width - 6.0, TARGET),
        )
    };
    let label = |ui: &Ui, y: f32, words: &str| {
        let room = Rect::from_min_size(pos2(place.left(), y), vec2(LABEL - 8.0, TARGET));
        let font = theme::strong(BODY);
        silent_line(
            ui.painter(),
            room,
            Align2::LEFT_CENTER,
            words,
            font,
            colours.ink,
        );
    };
    for (index, stage) in stages.iter().enumerate() {
        let top = cell(index, place.top()).with_max_y(place.top() + HEAD);
        let (upper, lower) = (
            top.with_max_y(top.center().y + 2.0),
            top.with_min_y(top.center().y + 2.0),
        );
        let number = stage.cell(Column::Stage);
        let words = format!("{number}  {}", stage.cell(Column::What));
        line(
            ui,
            upper,
            Align2::LEFT_CENTER,
            &words,
            theme::strong(BODY),
            colours.ink,
        );
        let wanted = stage.cell(Column::Wanted);
        line(
            ui,
            lower,
            Align2::LEFT_CENTER,
            wanted,
            theme::text(NOTE),
            colours.soft,
        );
        let key = (joint.to_owned(), number.to_owned());
        let own = state.ways.entry(key).or_default();
        let y = place.top() + HEAD;
        let said = format!("Stage {number}, way");
        write(
            ui,
            cell(index, y),
            &said,
            "as the tool tells",
            &mut own.0,
            false,
        );
        let said = format!("Stage {number}, tool");
        write(
            ui,
            cell(index, y + TARGET + 4.0),
            &said,
            "tool",
            &mut own.1,
            false,
        );
    }
    if !stages.is_empty() {
        label(ui, place.top() + HEAD, "Way");
        label(ui, place.top() + HEAD + TARGET + 4.0, "Tool");
    }
    for (number, fastener) in fasteners.iter().enumerate() {
        let y = place.top() + HEAD + (count(number) + 2.0) * (TARGET + 4.0);
        label(ui, y, &format!("Fastener {fastener}"));
        for (index, stage) in stages.iter().enumerate() {
            let stage = stage.cell(Column::Stage);
            let is_open = own.iter().any(|row| {
                row.cell(Column::Fastener) == *fastener && row.cell(Column::Stage) == stage
            });
            if !is_open {
                let font = theme::text(BODY);
                let ground = cell(index, y);
                silent_line(
                    ui.painter(),
                    ground,
                    Align2::CENTER_CENTER,
                    "–",
                    font,
                    colours.soft,
                );
                continue;
            }
            let is_wrong = paper.is_wrong(joint, fastener, stage);
            let key = (joint.to_owned(), (*fastener).to_owned(), stage.to_owned());
            let text = state.cells.entry(key).or_default();
            let said = format!("Fastener {fastener}, stage {stage}");
            write(ui, cell(index, y), &said, "", text, is_wrong);
        }
    }
    for (number, row) in others.iter().enumerate() {
        let y = place.top() + grid + count(number) * (TARGET + 4.0);
        let stage = row.cell(Column::Stage);
        let room = Rect::from_min_size(pos2(place.left(), y), vec2(wide.max(560.0), TARGET));
        let (entry, words) = cut_left(room, CELL);
        let is_wrong = paper.is_wrong(joint, "", stage);
        let key = (joint.to_owned(), String::new(), stage.to_owned());
        let text = state.cells.entry(key).or_default();
        write(
            ui,
            entry,
            &format!("Stage {stage}"),
            "yes, no, 0.25 mm",
            text,
            is_wrong,
        );
        let asked = match stage {
            "threads" => row.cell(Column::What).to_owned(),
            stage => format!(
                "Stage {stage}: {} {}",
                row.cell(Column::What),
                row.cell(Column::Wanted)
            ),
        };
        line(
            ui,
            words,
            Align2::LEFT_CENTER,
            &asked,
            theme::text(BODY),
            colours.ink,
        );
    }
}

/// A cell to type in.
fn write(ui: &mut Ui, place: Rect, said: &str, hint: &str, text: &mut String, is_wrong: bool) {
    let colours = Colours::of(ui);
    let response = super::widgets::typed_line(ui, place, said, hint, text, 8, 80);
    if is_wrong {
        let painter = ui.painter();
        let stroke = Stroke::new(2.5, colours.bad);
        painter.rect_stroke(place, 2.0, stroke, egui::StrokeKind::Inside);
        let name = response.id.with("wrong");
        let response = ui.interact(place, name, egui::Sense::hover());
        response.widget_info(|| ink::labeled(Role::Label, true, format!("{said} is wrong")));
    }
}

fn field(ui: &mut Ui, rect: Rect, caption: &str, text: &mut String) -> egui::Response {
    super::widgets::field(ui, rect, caption, text, "")
}

/// What is typed, as rows.
fn typed(paper: &PaperView, state: &PaperState) -> Vec<Row> {
    let mut rows = Vec::new();
    for row in paper.rows.iter() {
        let [joint, fastener, stage] = [Column::Joint, Column::Fastener, Column::Stage]
            .map(|column| row.cell(column).to_owned());
        let own = state.ways.get(&(joint.clone(), stage.clone()));
        let Some(text) = state.cells.get(&(joint, fastener, stage)) else {
            continue;
        };
        if text.trim().is_empty() {
            continue;
        }
        let (way, tool) = own.cloned().unwrap_or_default();
        let cells = read(row.clone(), text, &way);
        rows.push(
            cells
                .with(Column::Tool, tool)
                .with(Column::Name, state.name.clone())
                .with(Column::Date, state.date.clone()),
        );
    }
    rows
}

/// A cell's words in the columns of a row.
fn read(row: Row, text: &str, way: &str) -> Row {
    let is_pulled = !row.cell(Column::Fastener).is_empty();
    let mut row = row.with(Column::Way, if is_pulled { way } else { "" });
    let mut value: Vec<&str> = Vec::new();
    for word in text.split_whitespace() {
        let small = word.to_ascii_lowercase();
        row = match small.as_str() {
            "moved" | "sure" if is_pulled => {
                let column = if small == "moved" {
                    Column::Moved
                } else {
                    Column::Sure
                };
                row.with(column, "yes")
            }
            way if is_pulled && WAYS.contains(&way) => row.with(Column::Way, way),
            _ if is_pulled && word.ends_with('°') => row.with(Column::Angle, word),
            _ => {
                value.push(word);
                row
            }
        };
    }
    let value = value.join(" ");
    let is_tick = ["x", "yes", "done"]
        .iter()
        .any(|tick| tick.eq_ignore_ascii_case(&value));
    match (is_pulled && is_tick, row.cell(Column::Way)) {
        // A tick alone says that it was done, and nothing more.
        (true, "") => row.with(Column::Way, "ticked"),
        (true, _) => row,
        (false, _) => row.with(Column::Value, value),
    }
}

fn feet(
    ui: &mut Ui,
    rect: Rect,
    paper: &PaperView,
    state: &mut PaperState,
    joints: usize,
    free: bool,
    asks: &mut Vec<Ask>,
) -> bool {
    let places = super::widgets::split_across(rect, 4);
    let [record, before, after, back] = places[..] else {
        return false;
    };
    let rows = typed(paper, state);
    let able = free && !rows.is_empty();
    let words = format!("Record {}", crate::job::status::counted(rows.len(), "row"));
    let entered = chord(ui, Modifiers::COMMAND, Key::Enter);
    if button(ui, record, &words, "Ctrl Enter", Look::Advised, able).clicked() || able && entered {
        asks.push(Ask::TypeBack(rows));
    }
    let last = joints.saturating_sub(1);
    let (is_first, is_last) = (state.joint == 0, state.joint >= last);
    if button(
        ui,
        before,
        "Joint before",
        "Page Up",
        Look::Plain,
        free && !is_first,
    )
    .clicked()
        || free && !is_first && chord(ui, Modifiers::NONE, Key::PageUp)
    {
        state.joint = state.joint.min(last) - 1;
    }
    if button(
        ui,
        after,
        "Next joint",
        "Page Down",
        Look::Plain,
        free && !is_last,
    )
    .clicked()
        || free && !is_last && chord(ui, Modifiers::NONE, Key::PageDown)
    {
        state.joint += 1;
    }
    let is_left = button(ui, back, "Back to the record", "Esc", Look::Plain, free).clicked()
        || free && pressed(ui, Key::Escape);
    if is_left {
        state.begun = false;
    }
    is_left
}

/// A key with others held down, wherever the keyboard is.
fn chord(ui: &Ui, modifiers: Modifiers, key: Key) -> bool {
    ui.input_mut(|input| {
        let before = input.events.len();
        input.events.retain(|event| {
            !matches!(event, egui::Event::Key { key: down, pressed: true, repeat: false, modifiers: held, .. }
                if *down == key && held.matches_exact(modifiers))
        });
        input.events.len() < before
    })
}

#[cfg(test)]
mod tests {
    use super::{Column, Row, read};

    #[test]
    fn a_cell_is_read_as_a_person_writes_it() {
        let pulled = || {
            Row::new(1)
                .with(Column::Fastener, "3")
                .with(Column::Stage, "1")
        };
        for (text, way, wanted) in [
            ("48,2", "", ["", "48,2", "", "", ""]),
            ("48.2 N·m 91°", "", ["", "48.2 N·m", "91°", "", ""]),
            ("48.2 eye moved", "display", ["eye", "48.2", "", "yes", ""]),
            ("x", "", ["ticked", "", "", "", ""]),
            ("X", "hand", ["hand", "", "", "", ""]),
            ("402 sure", "", ["", "402", "", "", "yes"]),
            ("ticked", "display", ["ticked", "", "", "", ""]),
        ] {
            let row = read(pulled(), text, way);
            let cells = [
                Column::Way,
                Column::Value,
                Column::Angle,
                Column::Moved,
                Column::Sure,
            ];
            assert_eq!(cells.map(|column| row.cell(column)), wanted, "{text}");
        }
        let asked = read(Row::new(1).with(Column::Stage, "2"), "yes", "display");
        assert_eq!(
            (asked.cell(Column::Way), asked.cell(Column::Value)),
            ("", "yes")
        );
    }
}
