//! Which records were typed later, from paper: a row that was typed stands in front of what it became.
//!
//! Knows nothing of what a record means.

use std::collections::BTreeMap;

use evendraw_core::record::{Entry, Record};

use super::last::is_deed;
use crate::store::{Fact, HostFact};

/// The records that come from a working sheet, by joint and number, with the day that stands on it.
#[derive(Clone, Debug, Default)]
pub struct FromPaper(BTreeMap<(u8, u32), String>);

impl FromPaper {
    /// Of a journal.
    #[must_use]
    pub fn of(facts: &[Fact]) -> Self {
        let mut typing: BTreeMap<u8, &str> = BTreeMap::new();
        let mut found = BTreeMap::new();
        for fact in facts {
            match fact {
                Fact::Host(HostFact::FromPaper { joint, row, .. }) if row.is_empty() => {
                    typing.remove(joint);
                }
                Fact::Host(HostFact::FromPaper { joint, date, .. }) => {
                    typing.insert(*joint, date);
                }
                Fact::Entry(entry) if matches!(entry.record, Record::Started(_)) => {
                    typing.remove(&entry.joint);
                }
                Fact::Entry(entry) if is_deed(&entry.record) => {
                    if let Some(date) = typing.get(&entry.joint) {
                        found.insert((entry.joint, entry.seq), (*date).to_owned());
                    }
                }
                Fact::Entry(_) | Fact::Host(_) => {}
            }
        }
        Self(found)
    }

    /// The day on the paper that a record was typed from; empty where none stands on it.
    #[must_use]
    pub fn date(&self, entry: &Entry) -> Option<&str> {
        self.0.get(&(entry.joint, entry.seq)).map(String::as_str)
    }

    /// `typed later, paper of 2026-02-20`.
    #[must_use]
    pub fn words(&self, entry: &Entry) -> Option<String> {
        self.date(entry).map(words)
    }

    /// How many records of a joint come from paper, in a line for each day.
    #[must_use]
    pub fn lines(&self, joint: u8) -> Vec<String> {
        let mut days: BTreeMap<&str, usize> = BTreeMap::new();
        for date in self
            .0
            .range((joint, 0)..=(joint, u32::MAX))
            .map(|own| own.1)
        {
            let count = days.entry(date).or_default();
            *count = count.saturating_add(1);
        }
        days.into_iter()
            .map(|(date, count)| format!("{} {}", super::counted(count, "record"), words(date)))
            .collect()
    }
}

fn words(date: &str) -> String {
    match date {
        "" => "typed later, paper without a date".to_owned(),
        date => format!("typed later, paper of {date}"),
    }
}
