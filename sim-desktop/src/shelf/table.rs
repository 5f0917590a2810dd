//! The shelf as one table: a row for each build, sorted and filtered.
//!
//! Knows nothing of who shows it.

use jiff::civil::Date;

use super::build::{Build, Standing};
use super::walk::Found;
use crate::mark::Mark;

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
    pub mark: Mark,
    /// In words.
    pub words: String,
    /// Steps settled.
    pub done: usize,
    /// Steps in all.
    pub steps: usize,
    /// Seconds since 1970 of the last record.
    pub last_worked: Option<i64>,
    /// What is next.
    pub next: String,
    /// Things open.
    pub open: usize,
    /// Retorques waited for.
    pub retorques: Vec<String>,
    /// Doubts that nobody settled.
    pub doubts: Vec<String>,
    /// Tools whose calibration has run out.
    pub expired: Vec<String>,
    /// Parts waited for.
    pub parts: Vec<String>,
    /// On no metal.
    pub rehearsal: bool,
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
    /// A build's row, on this day.
    #[must_use]
    pub fn of(found: &Found, build: &Build, today: Date) -> Self {
        let own: &Standing = &build.standing;
        let is_over = |due: &Option<String>| {
            due.as_ref()
                .and_then(|due| due.parse::<Date>().ok())
                .is_some_and(|due| due < today)
        };
        let expired = own.tools.iter().filter(|(_, due)| is_over(due));
        Self {
            name: found.name.clone(),
            path: found.path.clone(),
            title: build.title.clone(),
            unit: build.unit.clone(),
            document: build.document.clone(),
            mark: Mark::ALL
                .into_iter()
                .find(|mark| mark.word() == own.mark)
                .unwrap_or(Mark::Open),
            words: own.words.clone(),
            done: own.done,
            steps: own.steps,
            last_worked: own.last_worked,
            next: own.next.clone(),
            open: own.open,
            retorques: own.retorques.clone(),
            doubts: own.doubts.clone(),
            expired: expired.map(|(tool, _)| tool.clone()).collect(),
            parts: own.parts.clone(),
            rehearsal: build.rehearsal,
        }
    }

    /// Steps settled in percent, rounded down: 100 only when all are.
    #[must_use]
    pub const fn percent(&self) -> usize {
        match self.done.saturating_mul(100).checked_div(self.steps) {
            Some(percent) => percent,
            None => 0,
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
        put("retorque", &self.retorques);
        put("doubt", &self.doubts);
        put("calibration expired", &self.expired);
        put("part waited for", &self.parts);
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
        row.mark.word(),
        &row.next,
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
    let most = |count: usize| std::cmp::Reverse(count);
    match by {
        Sort::Name => rows.sort_by(|one, other| one.name.cmp(&other.name)),
        Sort::State => rows.sort_by_key(|row| (row.mark.gravity(), row.name.clone())),
        Sort::Progress => rows.sort_by_key(|row| (row.percent(), row.name.clone())),
        Sort::Worked => {
            rows.sort_by_key(|row| (std::cmp::Reverse(row.last_worked), row.name.clone()))
        }
        Sort::Retorques => rows.sort_by_key(|row| (most(row.retorques.len()), row.name.clone())),
        Sort::Doubts => rows.sort_by_key(|row| (most(row.doubts.len()), row.name.clone())),
        Sort::Tools => rows.sort_by_key(|row| (most(row.expired.len()), row.name.clone())),
        Sort::Parts => rows.sort_by_key(|row| (most(row.parts.len()), row.name.clone())),
    }
    if reversed {
        rows.reverse();
    }
}
