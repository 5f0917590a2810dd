//! The shelf as one table: a row for each build, sorted and filtered.
//!
//! Knows nothing of who shows it.

use jiff::civil::Date;

use super::build::{Build, Standing};
use super::walk::Found;
use crate::plan::register::Register;
use crate::words;

/// A build in the table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row {
    /// Its name on the shelf.
    pub name: String,
    /// The file.
    pub path: std::path::PathBuf,
    /// What is built.
    pub title: String,
    /// Which one.
    pub unit: String,
    /// Document and revision.
    pub document: String,
    /// How it stands.
    pub standing: Standing,
    /// On no metal.
    pub rehearsal: bool,
    /// What nobody may take for work; empty for real work.
    pub not_work: String,
}

/// By what the table is sorted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Sort {
    /// The name on the shelf.
    #[default]
    Name,
    /// The state, the gravest first.
    State,
    /// How much is done, the least first.
    Progress,
    /// When it was worked last, the latest first.
    Worked,
    /// How many retorques are open, the most first.
    Retorques,
    /// How many doubts are open, the most first.
    Doubts,
    /// How many tools have expired, the most first.
    Tools,
    /// How many parts are waited for, the most first.
    Parts,
}

impl Sort {
    /// Every column in order.
    pub const ALL: [Self; 8] = [
        Self::Name,
        Self::State,
        Self::Progress,
        Self::Worked,
        Self::Retorques,
        Self::Doubts,
        Self::Tools,
        Self::Parts,
    ];
}

impl Row {
    /// A build's row. Whether the calibration of a tool of the register has run out is the register's to say, not the journal's.
    #[must_use]
    pub fn of(found: &Found, build: &Build, register: Option<&Register>, today: Date) -> Self {
        let mut standing = build.standing.clone();
        let own = |id: &String| register.and_then(|register| register.tool(id));
        let registered = |id: &String| standing.registered.contains(id) && own(id).is_some();
        let mut expired: Vec<String> = standing
            .expired
            .iter()
            .filter(|id| !registered(id))
            .cloned()
            .collect();
        let overdue = |id: &&String| own(id).is_some_and(|own| own.tool.is_overdue(today));
        expired.extend(standing.registered.iter().filter(overdue).cloned());
        standing.expired = expired;
        Self {
            name: found.name.clone(),
            path: found.path.clone(),
            title: build.title.clone(),
            unit: build.unit.clone(),
            document: build.document.clone(),
            standing,
            rehearsal: build.rehearsal,
            not_work: build.not_work(),
        }
    }

    /// Steps settled in percent, rounded down: 100 only when all are.
    #[must_use]
    pub const fn percent(&self) -> usize {
        let Standing { done, steps, .. } = self.standing;
        match done.saturating_mul(100).checked_div(steps) {
            Some(percent) => percent,
            None => 0,
        }
    }

    /// When it was worked last, in words.
    #[must_use]
    pub fn worked(&self) -> String {
        match self.standing.last_worked {
            None if self.standing.done == 0 => "not begun".to_owned(),
            at => words::wall_time(at),
        }
    }

    /// What it waits for, a line each.
    #[must_use]
    pub fn waits(&self) -> Vec<String> {
        let mut lines = Vec::new();
        let mut put = |word: &str, list: &[String]| {
            if !list.is_empty() {
                lines.push(format!("{word}: {}", list.join("; ")));
            }
        };
        put("retorque", &self.standing.retorques);
        put("doubt", &self.standing.doubts);
        put("calibration expired", &self.standing.expired);
        put("part waited for", &self.standing.parts);
        lines
    }
}

/// Whether every word typed stands somewhere in the row.
#[must_use]
pub fn holds(row: &Row, typed: &str) -> bool {
    let mut text = [
        row.name.as_str(),
        &row.title,
        &row.unit,
        &row.document,
        row.standing.mark.word(),
        &row.standing.next,
    ]
    .join(" ");
    for line in row.waits() {
        text.push(' ');
        text.push_str(&line);
    }
    let text = text.to_lowercase();
    typed
        .to_lowercase()
        .split_whitespace()
        .all(|word| text.contains(word))
}

/// Sorts the rows; among equal ones by name.
pub fn sort(rows: &mut [Row], by: Sort, reversed: bool) {
    let most = |list: &[String]| std::cmp::Reverse(list.len());
    match by {
        Sort::Name => rows.sort_by(|one, other| one.name.cmp(&other.name)),
        Sort::State => rows.sort_by_key(|row| (row.standing.mark.gravity(), row.name.clone())),
        Sort::Progress => rows.sort_by_key(|row| (row.percent(), row.name.clone())),
        Sort::Worked => rows.sort_by_key(|row| {
            (
                std::cmp::Reverse(row.standing.last_worked),
                row.name.clone(),
            )
        }),
        Sort::Retorques => {
            rows.sort_by_key(|row| (most(&row.standing.retorques), row.name.clone()))
        }
        Sort::Doubts => rows.sort_by_key(|row| (most(&row.standing.doubts), row.name.clone())),
        Sort::Tools => rows.sort_by_key(|row| (most(&row.standing.expired), row.name.clone())),
        Sort::Parts => rows.sort_by_key(|row| (most(&row.standing.parts), row.name.clone())),
    }
    if reversed {
        rows.reverse();
    }
}
