//! The list of tasks, parts and reminders over a screen, and what may become of each; and the line not to be forgotten.
//!
//! Every choice is a number, as in every list. Knows nothing of what a choice leads to.

use super::overlay::Overlay;
use super::theme::{self, GAP};
use super::view::{About, Ask, Status};
use super::widgets::{self, Look, button, pressed};
use crate::job::status::counted;
use crate::store::{Became, PartState};
use egui::{Key, Rect, Ui, pos2, vec2};

/// Rows of one page of the list; one more leads on.
const ROWS: usize = 8;

/// What may be done about the build beside torque: ready tasks, open reminders, parts that are not in their place.
#[must_use]
pub(super) fn list(status: &Status, from: usize) -> Overlay {
    let tasks = status
        .tasks
        .iter()
        .filter(|task| task.may_be_done)
        .map(|task| {
            (
                format!("Task: {}", task.title),
                About::Task(task.id.clone()),
            )
        });
    let reminders = status.open_reminders().map(|reminder| {
        let words = format!("Reminder: {}", reminder.text);
        (words, About::Reminder(reminder.number))
    });
    let parts = status
        .parts
        .iter()
        .filter(|part| part.state != PartState::Fitted)
        .map(|part| {
            let words = format!("Part, {}: {}", part.state.word(), part.counted());
            (words, About::Part(part.name.clone()))
        });
    let done = status
        .tasks
        .iter()
        .filter(|task| task.is_done())
        .map(|task| {
            (
                format!("Done: {}", task.title),
                About::Task(task.id.clone()),
            )
        });
    let to_order = status.to_order().count();
    let print = (to_order > 0).then(|| {
        (
            format!(
                "Print the list to order from: {}",
                counted(to_order, "part")
            ),
            Ask::PrintOrder,
        )
    });
    let lead = |(words, about): (String, About)| (words, Ask::Choices(about));
    let rows: Vec<(String, Ask)> = (tasks.chain(reminders).chain(parts).map(lead))
        .chain(print)
        .chain(done.map(lead))
        .collect();
    let mut choices: Vec<(String, Ask)> = rows.iter().skip(from).take(ROWS).cloned().collect();
    if rows.len() > from + ROWS {
        let left = rows.len() - from - ROWS;
        let more = Ask::Choices(About::From(from + ROWS));
        choices.push((format!("{left} more"), more));
    }
    let title = if rows.is_empty() {
        "No task, part or reminder can be settled now".to_owned()
    } else {
        "Tasks, reminders, parts".to_owned()
    };
    Overlay::List {
        title,
        choices,
        typed: None,
    }
}

/// What may become of one thing of the list.
#[must_use]
pub(super) fn choices(status: &Status, about: &About) -> Overlay {
    let typed = |title: String, ask: Ask| Overlay::List {
        title,
        choices: Vec::new(),
        typed: Some((String::new(), ask)),
    };
    match about {
        About::From(row) => list(status, *row),
        About::Threads => list(status, 0),
        About::Task(id) => task(status, id),
        About::TaskAnswer(id) => {
            let asks = status.tasks.iter().find(|task| task.id == *id);
            let asks = asks.map_or_else(String::new, |task| task.ask.clone());
            typed(asks, Ask::TaskDone(id.clone(), String::new()))
        }
        About::Part(name) => part(status, name),
        About::PartOrdered(name) => typed(
            format!("{name}: ordered where, and for when?"),
            Ask::PartIs(name.clone(), PartState::Ordered, String::new()),
        ),
        About::PartWrong(name) => typed(
            format!("{name}: what is wrong with it?"),
            Ask::PartIs(name.clone(), PartState::Wrong, String::new()),
        ),
        About::Reminder(number) => reminder(status, *number),
    }
}

fn task(status: &Status, id: &str) -> Overlay {
    let Some(task) = status.tasks.iter().find(|task| task.id == id) else {
        return list(status, 0);
    };
    if task.is_done() {
        return Overlay::List {
            title: format!("{}: why again?", task.title),
            choices: Vec::new(),
            typed: Some((String::new(), Ask::TaskUndone(id.to_owned(), String::new()))),
        };
    }
    let done = if task.ask.is_empty() {
        Ask::TaskDone(id.to_owned(), String::new())
    } else {
        Ask::Choices(About::TaskAnswer(id.to_owned()))
    };
    let words = match task.layers().as_str() {
        "" => "It is done".to_owned(),
        layers => format!("It is done, {layers}"),
    };
    Overlay::List {
        title: task.title.clone(),
        choices: vec![(words, done)],
        typed: None,
    }
}

fn part(status: &Status, name: &str) -> Overlay {
    let Some(part) = status.parts.iter().find(|part| part.name == name) else {
        return list(status, 0);
    };
    let choices = PartState::ALL.into_iter().map(|state| {
        let ask = match state {
            PartState::Ordered => Ask::Choices(About::PartOrdered(name.to_owned())),
            PartState::Wrong => Ask::Choices(About::PartWrong(name.to_owned())),
            PartState::Needed | PartState::ToOrder | PartState::Here | PartState::Fitted => {
                Ask::PartIs(name.to_owned(), state, String::new())
            }
        };
        (state.word().to_owned(), ask)
    });
    Overlay::List {
        title: part.counted(),
        choices: choices.collect(),
        typed: None,
    }
}

fn reminder(status: &Status, number: u32) -> Overlay {
    let Some(reminder) = status.open_reminders().find(|own| own.number == number) else {
        return list(status, 0);
    };
    let choice = |words: &str, became| {
        let ask = Ask::PutAway(number, became, String::new());
        (words.to_owned(), ask)
    };
    Overlay::List {
        title: reminder.text.clone(),
        choices: vec![
            choice("It is settled", Became::Ticked),
            choice("It is a part to order", Became::Part),
            choice("It is a task", Became::Task),
        ],
        typed: None,
    }
}

/// A line being typed that is not to be forgotten.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Line {
    /// Id of the joint it is about; empty for the build.
    pub about: String,
    /// Its title.
    pub title: String,
    /// What is worked on there, which it may hold up.
    pub work: String,
    /// It holds that up.
    pub holds: bool,
    /// What is typed.
    pub text: String,
}

/// What the line leads to.
pub(super) enum Typed {
    /// Still being typed.
    Still,
    /// It is written.
    Ask(Ask),
    /// The thread question of the calculator.
    Threads,
}

/// Height of what [`show`] draws.
pub(super) fn height(line: &Line) -> f32 {
    let rows = if line.work.is_empty() { 1.0 } else { 2.0 };
    82.0 + rows * (theme::TARGET + GAP)
}

/// Draws the line, with what it may hold up and the way to the thread question.
pub(super) fn show(ui: &mut Ui, rect: Rect, own: &mut Line, closes: bool) -> Typed {
    let place = Rect::from_min_size(rect.min, vec2(rect.width(), 70.0));
    let response = widgets::field(ui, place, "Type it, then Enter", &mut own.text, "");
    let enter = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    let mut y = place.bottom() + GAP;
    let mut row = || {
        let place = Rect::from_min_size(pos2(rect.left(), y), vec2(rect.width(), theme::TARGET));
        y += theme::TARGET + GAP;
        place
    };
    if !own.work.is_empty() {
        let words = if own.holds {
            format!("It holds up {}", own.work)
        } else {
            format!("It holds nothing up (else: {})", own.work)
        };
        let look = if own.holds {
            Look::Advised
        } else {
            Look::Plain
        };
        let place = row();
        if button(ui, place, &words, "F12", look, true).clicked() || pressed(ui, Key::F12) {
            own.holds = !own.holds;
        }
    }
    let place = row();
    let threads = "Do these two threads go together?";
    if button(ui, place, threads, "F5", Look::Plain, true).clicked() || pressed(ui, Key::F5) {
        return Typed::Threads;
    }
    if enter && !own.text.trim().is_empty() {
        let holds = if own.holds {
            own.work.clone()
        } else {
            String::new()
        };
        let text = own.text.trim().to_owned();
        return Typed::Ask(Ask::Remind(own.about.clone(), holds, text));
    }
    if !response.has_focus() && !closes {
        response.request_focus();
    }
    Typed::Still
}
