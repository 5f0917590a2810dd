//! The build sheet as plain text: readable without anything but a page.
//!
//! Says what the HTML page says, in the same words and the same order. Knows nothing of journals or plans.

use std::fmt::Write as _;

use super::page::in_order;
use super::{CAUTION, Sheet, summary};
use crate::job::status::{Item, JointStatus, counted};
use crate::mark::Mark;
use crate::words::{DEMO, visible};

const WIDTH: usize = 100;

/// The text.
#[must_use]
pub fn text(model: &Sheet) -> String {
    let mut out = Lines::default();
    if model.rehearsal {
        out.line(
            "*** REHEARSAL: on the virtual bench, no metal was touched; not a record of work ***",
        );
    }
    if model.demo {
        out.line(&format!("*** {DEMO} ***"));
    }
    out.line(&format!(
        "{}: {}",
        if model.rehearsal {
            "Rehearsal sheet"
        } else {
            "Build sheet"
        },
        model.title
    ));
    out.line(&format!("Journal: {}", model.journal));
    out.blank();
    out.line(&model.headline());
    if !model.evidence.is_empty() {
        out.line(&format!("Done: {}.", model.evidence));
    }
    out.items("What is open", &model.open, "Nothing is open.");
    out.items("Exceptions", &model.exceptions, "Nothing unusual.");
    out.items("Still due", &model.due, "");
    out.title("At a glance");
    for answer in summary(model) {
        out.wrapped(&format!("{:<24}", answer.question), &answer.answer);
    }
    for (question, answer) in &model.given {
        out.wrapped(&format!("{question:<24}"), answer);
    }
    out.items("Done again, and why", &model.redone, "");
    out.items("Amendments", &model.amendments, "");
    for (title, rows) in model.beside() {
        out.title(title);
        for row in rows {
            let first = format!("{} {:<11} ", row.mark.letter(), row.word);
            out.wrapped(&first, &format!("{}: {}", row.name, row.line));
        }
    }
    if model.tools.iter().any(|tool| tool.is_used) {
        out.title("Tools");
        for tool in model.tools.iter().filter(|tool| tool.is_used) {
            let mut line = format!(
                "{}; {}; in date: {}; {}",
                tool.what,
                tool.calibration,
                tool.in_date,
                counted(tool.readings, "attempt")
            );
            if !tool.waiver.is_empty() {
                line.push_str("; waiver: ");
                line.push_str(&tool.waiver);
            }
            out.wrapped(&format!("{:<8}", tool.id), &line);
        }
    }
    out.title("People");
    for person in &model.people {
        out.wrapped(
            &format!("{:<24}", person.name),
            &format!("{}, {}", person.role(), person.when),
        );
    }
    if model.people.is_empty() {
        out.line("Nobody is named.");
    }
    out.line(&format!(
        "Looked at: {}",
        if model.witnessed.is_empty() {
            "nobody"
        } else {
            &model.witnessed
        }
    ));
    for joint in &model.joints {
        out.joint(joint);
    }
    if !model.notes.is_empty() {
        out.title("Remarks");
        for note in &model.notes {
            out.wrapped("- ", note);
        }
    }
    out.title("Signs");
    for mark in Mark::ALL {
        out.line(&format!("{}  {}", mark.letter(), mark.word()));
    }
    out.blank();
    out.wrapped("", CAUTION);
    out.line(&model.colophon);
    out.0
}

#[derive(Default)]
struct Lines(String);

impl Lines {
    fn line(&mut self, text: &str) {
        self.0.push_str(&visible(text.trim_end()));
        self.0.push('\n');
    }

    fn blank(&mut self) {
        self.0.push('\n');
    }

    fn title(&mut self, text: &str) {
        self.blank();
        self.line(text);
        self.line(&"-".repeat(text.chars().count()));
    }

    /// Words behind a first column, further lines indented below them.
    fn wrapped(&mut self, first: &str, words: &str) {
        for line in crate::words::wrapped(first, words, WIDTH) {
            self.line(&line);
        }
    }

    fn items(&mut self, title: &str, items: &[Item], none: &str) {
        if items.is_empty() && none.is_empty() {
            return;
        }
        self.title(title);
        if items.is_empty() {
            self.line(none);
        }
        for item in items {
            self.wrapped(
                &format!("{} {:<11} ", item.mark.letter(), item.mark.word()),
                &format!("{}: {}", item.place, item.what),
            );
        }
    }

    fn joint(&mut self, joint: &JointStatus) {
        self.title(&format!("{} ({})", joint.title, joint.id));
        if joint.mark == Mark::MockUp {
            self.line("*** MOCK-UP, NOT FINAL: this must come apart again ***");
        }
        let words = format!("{}. {} {}", joint.mark.word(), joint.note, joint.why);
        self.wrapped("State: ", &words);
        if joint.is_left_hand {
            self.line("*** LEFT-HAND THREAD: tighten anticlockwise ***");
        }
        if !joint.front.is_empty() {
            self.line(&format!("Front: {}", joint.front));
        }
        for (name, text) in &joint.facts {
            self.wrapped(&format!("{name}: "), text);
        }
        if !joint.condition.is_empty() {
            self.line(&format!("On the threads: {}", joint.condition));
        }
        self.line(&format!(
            "Confirmed: {}",
            if joint.confirmed.is_empty() {
                "not recorded"
            } else {
                &joint.confirmed
            }
        ));
        self.blank();
        for stage in &joint.stages {
            let mock_up = if stage.mock_up { "; mock-up" } else { "" };
            self.wrapped(
                &format!("Stage {:>2}  ", stage.number),
                &format!(
                    "{}: {}; window {}{mock_up}",
                    stage.what,
                    or_dash(&stage.printed),
                    or_dash(&stage.window)
                ),
            );
        }
        self.blank();
        for fastener in in_order(joint) {
            let mark = fastener.mark.unwrap_or(Mark::Open);
            let mut line = format!("{:<11}", mark.word());
            for (number, cell) in (1..).zip(&fastener.cells) {
                let Some(mark) = cell.mark else { continue };
                let reached = if cell.reached.is_empty() {
                    mark.word()
                } else {
                    &cell.reached
                };
                let _ = write!(line, "  [{number}{}] {reached}", mark.letter());
                for extra in [&cell.detail, &cell.behind()] {
                    if !extra.is_empty() {
                        let _ = write!(line, " ({extra})");
                    }
                }
                if !cell.target.is_empty() {
                    let _ = write!(line, " (its own target {})", cell.target);
                }
            }
            if !fastener.remarks.is_empty() {
                let _ = write!(line, "  {}", fastener.remarks);
            }
            let first = format!("{} Fastener {:<6} ", mark.letter(), fastener.label);
            self.wrapped(&first, &line);
        }
        if !joint.checks.is_empty() {
            self.blank();
            for check in &joint.checks {
                self.wrapped(
                    &format!("{} Check  ", check.mark.letter()),
                    &format!("{} {}. {}", check.question, check.answer, check.by),
                );
            }
        }
        if !joint.attempts.is_empty() {
            self.blank();
            for row in &joint.attempts {
                self.wrapped(
                    &format!("{} Attempt  ", row.mark.letter()),
                    &format!(
                        "{}, try {}: {}; {}: {}. {} {}",
                        row.place,
                        row.attempt,
                        row.reached,
                        row.mark.word(),
                        row.reasons,
                        row.followed,
                        row.when
                    ),
                );
            }
        }
        for note in &joint.notes {
            self.wrapped("- ", note);
        }
        for own in &joint.struck {
            self.wrapped("- Struck through: ", &own.line());
        }
    }
}

fn or_dash(text: &str) -> &str {
    if text.is_empty() { "-" } else { text }
}
