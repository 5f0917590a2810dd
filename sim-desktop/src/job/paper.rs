//! A working sheet typed back: rows of one fastener at one stage each, with the way each value came to be.
//!
//! Every row becomes the input that a person would have made at the metal, and is judged by the same rules; all of them are tried on a
//! copy of the job first, so that either every row is taken or none. A row that was typed before is known by its text and is not
//! recorded twice. Knows nothing of files or screens.

mod apply;
mod blank;
mod row;
mod table;

use std::fmt;

use evendraw_core::record::Entry;
use jiff::civil::Date;

use super::{Job, JobError};
use crate::store::{Content, Fact, HostFact};

pub use blank::blank;
pub use row::{Column, Row};
pub use table::{TableError, read_table, write_table};

use apply::Typing;
use row::Item;

/// Why a row cannot be taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The row's line.
    pub line: usize,
    /// The cell.
    pub column: Column,
    /// What was given, and what is allowed.
    pub why: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "line {}, column `{}`: {}",
            self.line,
            self.column.name(),
            self.why
        )
    }
}

/// Why nothing was recorded, or not everything.
#[derive(Debug)]
pub enum PaperError {
    /// These cells are wrong; nothing was recorded.
    Faults(Vec<Fault>),
    /// The job does not go on.
    Job(JobError),
    /// The journal could not be written: what is safe stands, and the same rows given again go on behind it.
    Store(String),
}

impl From<JobError> for PaperError {
    fn from(error: JobError) -> Self {
        Self::Job(error)
    }
}

/// What became of the rows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TypedBack {
    /// The records made.
    pub entries: Vec<Entry>,
    /// Rows recorded now.
    pub recorded: usize,
    /// Rows that were recorded before.
    pub known: usize,
    /// Lines of rows that were judged and not accepted.
    pub rejected: Vec<usize>,
}

impl Job {
    /// Types back the rows of a working sheet; rows with nothing filled in are passed over.
    ///
    /// # Errors
    /// [`PaperError::Faults`] with every cell that cannot be taken: then nothing was recorded.
    pub fn type_back(&mut self, rows: &[Row], today: Date) -> Result<TypedBack, PaperError> {
        let items = self.tried(rows, today)?;
        Typing::new(self).all(&items)
    }

    /// Whether the rows can be typed back; records nothing.
    ///
    /// # Errors
    /// As [`Job::type_back`].
    pub fn try_rows(&self, rows: &[Row], today: Date) -> Result<(), PaperError> {
        self.tried(rows, today).map(drop)
    }

    /// The rows, each tried on a copy: what fails there would fail here.
    fn tried(&self, rows: &[Row], today: Date) -> Result<Items, PaperError> {
        let mut copy = self.copy()?;
        let items = items(&copy, rows, today, known(&self.facts))?;
        Typing::new(&mut copy).all(&items)?;
        Ok(items)
    }

    /// The same job in memory, kept nowhere: what is tried on it harms nothing.
    fn copy(&self) -> Result<Self, JobError> {
        let mut content = Content::default();
        content.facts.clone_from(&self.facts);
        content.damage.clone_from(&self.damage);
        let mut copy = Self::with_plan(self.plan.clone(), &content, self.purpose)?;
        copy.unix_at_boot = self.unix_at_boot;
        Ok(copy)
    }
}

/// The rows as items, but for those that were recorded before.
fn items(
    job: &Job,
    rows: &[Row],
    today: Date,
    mut known: Vec<(u8, String)>,
) -> Result<Items, PaperError> {
    let mut items = Items::default();
    let mut faults = Vec::new();
    for row in rows.iter().filter(|row| row.is_filled()) {
        match Item::of(job, row, today) {
            Ok(item) => {
                let own = (item.joint, item.key.clone());
                if let Some(at) = known.iter().position(|other| *other == own) {
                    known.swap_remove(at);
                    items.known = items.known.saturating_add(1);
                } else {
                    items.new.push(item);
                }
            }
            Err(fault) => faults.push(fault),
        }
    }
    if faults.is_empty() {
        Ok(items)
    } else {
        Err(PaperError::Faults(faults))
    }
}

/// What is to be recorded, and how many rows were before.
#[derive(Debug, Default)]
struct Items {
    new: Vec<Item>,
    known: usize,
}

/// The rows that were recorded before, with their joints: a row's text is kept in front of what it became. A row behind which the
/// power went is not among them.
fn known(facts: &[Fact]) -> Vec<(u8, String)> {
    let mut known = Vec::new();
    let mut waiting: Option<(u8, &str)> = None;
    for fact in facts {
        match fact {
            Fact::Host(HostFact::FromPaper { joint, row, .. }) => {
                waiting = Some((*joint, row.as_str())).filter(|(_, row)| !row.is_empty());
            }
            Fact::Entry(entry) => {
                if let Some((joint, row)) = waiting
                    && joint == entry.joint
                    && super::status::is_deed(&entry.record)
                {
                    known.push((joint, row.to_owned()));
                    waiting = None;
                }
            }
            Fact::Host(_) => {}
        }
    }
    known
}

#[cfg(test)]
mod tests;
