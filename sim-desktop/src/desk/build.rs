//! The build at a glance: every joint and its state, what is next, what waits, what comes due.
//!
//! Knows nothing of plans or journals.

use super::asked::{self, Taken};
use super::ink::{self, Ink as _};
use super::marks;
use super::theme::{self, BODY, Colours, GAP, HEAD, NOTE, TARGET};
use super::view::{About, Ask, DeskView, Mark};
use super::widgets::{
    self, Look, area, button, count, cut_left, cut_top, focus_ring, line, paragraph, pressed,
    silent_line,
};
use crate::job::status::{JointStatus, counted};
use crate::limited::Limited as _;
use crate::words;
use egui::accesskit::Role;
use egui::{Align2, Color32, Key, Rect, Sense, Stroke, Ui, pos2, vec2};

/// What the screen remembers.
#[derive(Clone, Debug, Default)]
pub(super) struct BuildState {
    /// Row under the arrow keys; what is next, before any was pressed.
    pub row: Option<usize>,
}

/// A line of words with its mark, if it has one.
type Told = (Option<Mark>, String);

/// Draws the screen.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut BuildState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let colours = Colours::of(ui);
    let status = &view.status;
    let (body, free) = match &view.start {
        Some(prompt) => {
            let height = asked::height(ui, rect.width(), prompt).min(rect.height() * 0.6);
            let (card, body) = cut_top(rect, height);
            if free
                && let Some(Taken::Choice(choice)) =
                    asked::show(ui, card, prompt, &mut String::new())
            {
                asks.push(Ask::Act(choice.act, String::new()));
            }
            // Nothing below is worked before that is answered.
            (body, false)
        }
        None => {
            let (head, body) = cut_top(rect, 76.0);
            let row = highlighted(view, state);
            next_step(ui, head, view, (row, state.row.is_some()), free, asks);
            (body, free)
        }
    };
    let roomy = rect.width() >= 900.0;
    let (left, right) = cut_left(
        body,
        if roomy {
            body.width() * 0.66
        } else {
            body.width() * 0.62
        },
    );
    let done = status
        .joints
        .iter()
        .filter(|joint| joint.mark == Mark::Final)
        .count();
    let aside = format!("{done} of {} final", status.joints.len());
    let inner = area(ui, left, "Joints", &aside);
    joints(ui, inner, view, state, free, asks);

    let mut places = vec![];
    let mut blocks: Vec<(&str, Vec<Told>)> = Vec::new();
    let mut told: Vec<Told> = Vec::new();
    if view.plan.is_demo && view.start.is_none() {
        let words = format!("F6: {}", words::DEMO_OWN);
        blocks.push(("Demo", vec![(None, words)]));
    }
    if let Some(recovery) = &view.recovery {
        told.push((Some(Mark::Doubtful), recovery.clone()));
    }
    let exceptions = status.exceptions.iter();
    told.extend(exceptions.map(|item| (Some(item.mark), item.line())));
    if told.is_empty() {
        told.push((None, "Nothing unusual".to_owned()));
    }
    blocks.push(("Look here first", told));
    if !status.evidence.is_empty() {
        blocks.push((
            "What stands behind it",
            vec![(None, status.evidence.clone())],
        ));
    }
    let reminders: Vec<Told> = status
        .open_reminders()
        .map(|reminder| {
            (
                Some(Mark::Open),
                format!("{}: {}", reminder.about, reminder.line()),
            )
        })
        .collect();
    if !reminders.is_empty() {
        blocks.push(("Reminders (F12 writes one)", reminders));
    }
    let tasks: Vec<Told> = status
        .tasks
        .iter()
        .filter(|task| !task.is_done())
        .map(|task| (Some(task.mark), format!("{}: {}", task.title, task.why)))
        .collect();
    if !tasks.is_empty() {
        blocks.push(("Tasks (L)", tasks));
    }
    let waited = status.parts.iter().filter(|part| !part.is_here);
    let waited: Vec<Told> = waited
        .map(|part| {
            let words = format!("{}, for {}", part.name, part.for_joints);
            (Some(part.mark()), words)
        })
        .collect();
    if !waited.is_empty() {
        blocks.push(("Parts waited for (A)", waited));
    }
    if !status.due.is_empty() {
        let due = status.due.iter();
        let rows = due.map(|item| (Some(item.mark), item.line())).collect();
        blocks.push(("Due later", rows));
    }
    // What must not be used is seen first, however little room there is.
    let mut tools: Vec<_> = status.tools.iter().collect();
    tools.sort_by_key(|tool| !tool.is_expired);
    let tools: Vec<Told> = tools
        .into_iter()
        .map(|tool| (tool.mark(), tool.line()))
        .collect();
    if !tools.is_empty() {
        blocks.push(("Tools (T)", tools));
    }
    let mut y = right.top();
    for (index, (name, rows)) in blocks.iter().enumerate() {
        let wanted = 46.0
            + rows
                .iter()
                .map(|row| told_height(ui, right.width(), row))
                .sum::<f32>();
        let bottom = if index + 1 == blocks.len() {
            right.bottom()
        } else {
            (y + wanted).min(right.bottom())
        };
        if bottom - y < 56.0 {
            break;
        }
        places.push((
            Rect::from_min_max(pos2(right.left(), y), pos2(right.right(), bottom)),
            *name,
            rows,
        ));
        y = bottom + GAP;
    }
    for (place, name, rows) in places {
        let inner = area(ui, place, name, "");
        let mut y = inner.top();
        for (mark, words) in rows {
            if y + 20.0 > inner.bottom() {
                break;
            }
            let mut left = inner.left();
            if let Some(mark) = mark {
                marks::draw(
                    ui.painter(),
                    &colours,
                    *mark,
                    pos2(left + 9.0, y + 11.0),
                    8.0,
                );
                left += 26.0;
            }
            let room = Rect::from_min_max(pos2(left, y), inner.max);
            y += paragraph(ui, room, words, theme::text(NOTE + 1.5), colours.ink).max(20.0) + 5.0;
        }
    }
}

/// How high one line of words comes out, with the gap below it.
fn told_height(ui: &Ui, width: f32, (mark, words): &Told) -> f32 {
    let room = width - 28.0 - if mark.is_some() { 26.0 } else { 0.0 };
    let font = theme::text(NOTE + 1.5);
    let galley =
        ui.painter()
            .words_wrapped(words.clone(), font, Color32::PLACEHOLDER, room.max(1.0));
    galley.size().y.max(20.0) + 5.0
}

/// The row that Enter opens: the one under the arrow keys, or what is next.
fn highlighted(view: &DeskView, state: &BuildState) -> Option<usize> {
    let next = || {
        let next = view.status.next.as_ref()?;
        view.status.joints.iter().position(|row| row.id == next.id)
    };
    let first = || (!view.status.joints.is_empty()).then_some(0);
    state.row.or_else(next).or_else(first)
}

fn next_step(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    (row, moved): (Option<usize>, bool),
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let colours = Colours::of(ui);
    widgets::plate(ui, rect, colours.sheet, Stroke::new(1.0, colours.line));
    let inner = rect.shrink2(vec2(14.0, 10.0));
    let status = &view.status;
    let words = match (status.next_words(), status.open.is_empty()) {
        (Some(next), _) => format!("Next: {next}"),
        (None, true) if status.joints.is_empty() => "Nothing is open here.".to_owned(),
        (None, true) => "Every joint is final. The sheet says what it may say.".to_owned(),
        (None, false) => "Nothing can go on until something below is settled.".to_owned(),
    };
    let ask = row.and_then(|row| status.joints.get(row));
    let anew = status.rehearsal && status.joints.iter().any(|joint| joint.done > 0);
    let width = if ask.is_some() { 190.0 } else { 0.0 } + if anew { 176.0 } else { 0.0 } + 138.0;
    let room = Rect::from_min_max(
        inner.min,
        pos2(inner.right() - width - 12.0, inner.bottom()),
    );
    let radius = 15.0;
    let mark = if status.joints.is_empty() {
        Mark::Waiting
    } else if status.open.is_empty() {
        Mark::Final
    } else if ask.is_some() {
        Mark::InProgress
    } else {
        Mark::Waiting
    };
    marks::draw(
        ui.painter(),
        &colours,
        mark,
        pos2(room.left() + radius, room.center().y),
        radius,
    );
    let text_room = Rect::from_min_max(
        pos2(room.left() + radius * 2.0 + 14.0, room.top()),
        room.max,
    );
    line(
        ui,
        text_room,
        Align2::LEFT_CENTER,
        &words,
        theme::strong(HEAD + 2.0),
        colours.ink,
    );
    if anew {
        let right = inner.right() - if ask.is_some() { 190.0 + GAP } else { 0.0 };
        let place = Rect::from_min_max(
            pos2(right - 168.0, inner.center().y - TARGET / 2.0),
            pos2(right, inner.center().y + TARGET / 2.0),
        );
        if button(ui, place, "Start afresh", "Z", Look::Plain, free).clicked()
            || (free && pressed(ui, Key::Z))
        {
            asks.push(Ask::RehearseAnew);
        }
    }
    let right = inner.right()
        - if ask.is_some() { 190.0 + GAP } else { 0.0 }
        - if anew { 168.0 + GAP } else { 0.0 };
    let place = Rect::from_min_max(
        pos2(right - 130.0, inner.center().y - TARGET / 2.0),
        pos2(right, inner.center().y + TARGET / 2.0),
    );
    if button(ui, place, "Tonight", "N", Look::Plain, free).clicked()
        || (free && pressed(ui, Key::N))
    {
        asks.push(Ask::Tonight);
    }
    if let Some(joint) = ask {
        let place = Rect::from_min_max(
            pos2(inner.right() - 190.0, inner.center().y - TARGET / 2.0),
            pos2(inner.right(), inner.center().y + TARGET / 2.0),
        );
        // Where the arrows lead elsewhere, the button says where.
        let is_next = status.next.as_ref().is_some_and(|next| next.id == joint.id);
        let task = status.tasks.iter().find(|task| task.may_be_done);
        let task = task.filter(|_| status.is_task_next() && !moved);
        let (words, ask) = match task {
            Some(task) => ("Settle it", Ask::Choices(About::Task(task.id.clone()))),
            None if is_next => ("Work on it", Ask::OpenJoint(joint.id.clone())),
            None => ("Open it", Ask::OpenJoint(joint.id.clone())),
        };
        if button(ui, place, words, "Enter", Look::Advised, free).clicked()
            || (free && pressed(ui, Key::Enter))
        {
            asks.push(ask);
        }
    }
}

fn joints(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    state: &mut BuildState,
    free: bool,
    asks: &mut Vec<Ask>,
) {
    let rows = &view.status.joints;
    let row = highlighted(view, state);
    if rows.is_empty() {
        let colours = Colours::of(ui);
        line(
            ui,
            rect,
            Align2::LEFT_TOP,
            "The plan has no joint that can be read. F6 shows what is wrong.",
            theme::text(BODY),
            colours.soft,
        );
        return;
    }
    if free && ui.memory(|memory| memory.focused().is_none()) {
        if pressed(ui, Key::ArrowDown) {
            state.row = Some(row.map_or(0, |row| (row + 1).min(rows.len() - 1)));
        }
        if pressed(ui, Key::ArrowUp) {
            state.row = Some(row.map_or(0, |row| row.saturating_sub(1)));
        }
        if pressed(ui, Key::ArrowRight)
            && let Some(row) = row.and_then(|row| rows.get(row))
        {
            asks.push(Ask::OpenJoint(row.id.clone()));
        }
    }
    let highlighted = highlighted(view, state);
    let height = (rect.height() / count(rows.len())).limited(TARGET + 6.0, 68.0);
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(rect).id_salt("joints"));
    child.spacing_mut().item_spacing.y = GAP - 2.0;
    egui::ScrollArea::vertical()
        .auto_shrink(false)
        .show(&mut child, |ui| {
            let width = ui.available_width();
            for (index, row) in rows.iter().enumerate() {
                let (id, place) = ui.allocate_space(vec2(width, height - GAP + 2.0));
                let response = ui.interact(place, id, Sense::click());
                response.widget_info(|| {
                    ink::labeled(
                        Role::Button,
                        true,
                        format!("{}, {}, {}", row.title, row.mark.word(), row.why),
                    )
                });
                if response.clicked() {
                    state.row = Some(index);
                    asks.push(Ask::OpenJoint(row.id.clone()));
                }
                joint_row(
                    ui,
                    place,
                    row,
                    response.hovered() || highlighted == Some(index),
                );
                focus_ring(ui, &response, place);
            }
        });
}

fn joint_row(ui: &mut Ui, place: Rect, row: &JointStatus, raised: bool) {
    let colours = Colours::of(ui);
    if raised {
        ui.painter().rect_filled(place, 0.0, colours.well);
    }
    widgets::rule(ui, place.left(), place.right(), place.bottom() + GAP / 2.0);
    let tall = place.height() >= 46.0;
    let radius = (place.height() * 0.3).min(15.0);
    marks::draw(
        ui.painter(),
        &colours,
        row.mark,
        pos2(place.left() + radius + 8.0, place.center().y),
        radius,
    );
    let narrow = place.width() < 520.0;
    let bar_width = if narrow { 70.0 } else { 120.0 };
    let state_width = if narrow { 98.0 } else { 104.0 };
    let text = Rect::from_min_max(
        pos2(place.left() + radius * 2.0 + 22.0, place.top() + 1.0),
        pos2(
            place.right() - bar_width - state_width - 24.0,
            place.bottom() - 1.0,
        ),
    );
    let painter = ui.painter();
    if tall {
        let upper = Rect::from_min_max(text.min, pos2(text.right(), text.center().y + 2.0));
        let lower = Rect::from_min_max(
            pos2(text.left(), text.center().y + 1.0),
            pos2(place.right() - bar_width - 24.0, text.bottom()),
        );
        let used = silent_line(
            painter,
            upper,
            Align2::LEFT_CENTER,
            &row.title,
            theme::strong(BODY + 1.0),
            colours.ink,
        );
        let what = Rect::from_min_max(pos2(used.right() + 10.0, upper.top()), upper.max);
        if what.width() > 60.0 {
            silent_line(
                painter,
                what,
                Align2::LEFT_CENTER,
                &match row.what.as_str() {
                    "" => counted(row.fasteners.len(), "fastener"),
                    what => format!("{} × {what}", row.fasteners.len()),
                },
                theme::text(NOTE),
                colours.soft,
            );
        }
        silent_line(
            painter,
            lower,
            Align2::LEFT_CENTER,
            &row.why,
            theme::text(NOTE + 1.0),
            colours.soft,
        );
    } else {
        let used = silent_line(
            painter,
            text,
            Align2::LEFT_CENTER,
            &row.title,
            theme::strong(BODY),
            colours.ink,
        );
        let rest = Rect::from_min_max(pos2(used.right() + 10.0, text.top()), text.max);
        silent_line(
            painter,
            rest,
            Align2::LEFT_CENTER,
            &row.why,
            theme::text(NOTE),
            colours.soft,
        );
    }
    let state = Rect::from_min_max(
        pos2(place.right() - bar_width - state_width - 12.0, place.top()),
        pos2(place.right() - bar_width - 16.0, place.center().y + 4.0),
    );
    let hue = marks::colour(&colours, row.mark);
    silent_line(
        painter,
        state,
        Align2::RIGHT_CENTER,
        row.mark.word(),
        theme::strong(BODY),
        hue,
    );
    let track = Rect::from_min_max(
        pos2(place.right() - bar_width - 4.0, place.center().y + 6.0),
        pos2(place.right() - 8.0, place.center().y + 12.0),
    );
    painter.rect_filled(
        track,
        0.0,
        if raised { colours.sheet } else { colours.well },
    );
    let share = count(row.done) / count(row.steps.max(1));
    let filled = Rect::from_min_size(
        track.min,
        vec2(track.width() * share.min(1.0), track.height()),
    );
    painter.rect_filled(
        filled,
        0.0,
        if row.mark == Mark::Final {
            colours.good
        } else {
            colours.next
        },
    );
    let tally = Rect::from_min_max(
        pos2(track.left(), place.top()),
        pos2(track.right(), track.top()),
    );
    silent_line(
        painter,
        tally,
        Align2::RIGHT_CENTER,
        &format!("{} of {}", row.done, row.steps),
        theme::text(NOTE),
        colours.soft,
    );
}
