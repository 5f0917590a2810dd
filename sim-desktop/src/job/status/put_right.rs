//! Which records later ones put right: they stay, struck through, and count no more.
//!
//! Knows nothing of what a record means.

use std::collections::BTreeMap;

use evendraw_core::record::{Entry, Record};

use crate::store::Fact;

/// The records that were put right, by joint and number, and the number of the record that says so.
#[derive(Clone, Debug, Default)]
pub struct PutRight(BTreeMap<(u8, u32), u32>);

impl PutRight {
    /// Of a journal.
    #[must_use]
    pub fn of(facts: &[Fact]) -> Self {
        let entries = facts.iter().filter_map(|fact| match fact {
            Fact::Entry(entry) => Some(entry),
            Fact::Host(_) => None,
        });
        let found = entries.filter_map(|entry| {
            let of = entry.record.puts_right()?;
            Some(((entry.joint, of), entry.seq))
        });
        Self(found.collect())
    }

    /// The number of the record that says that this one was not so.
    #[must_use]
    pub fn by(&self, entry: &Entry) -> Option<u32> {
        self.0.get(&(entry.joint, entry.seq)).copied()
    }
}

/// The records of one joint that count: what was withdrawn is left out, and a pull stands where it was made, with the fastener
/// that it was on.
#[must_use]
pub fn sound<'e>(entries: &[&'e Entry]) -> Vec<&'e Entry> {
    let put_right: BTreeMap<u32, &'e Entry> = entries
        .iter()
        .filter_map(|&entry| Some((entry.record.puts_right()?, entry)))
        .collect();
    if put_right.is_empty() {
        return entries.to_vec();
    }
    let is_moved = |entry: &Entry| matches!(entry.record, Record::Reassigned(_));
    let counts = |entry: &&'e Entry| {
        let mut entry = *entry;
        if is_moved(entry) {
            return None;
        }
        while let Some(&by) = put_right.get(&entry.seq) {
            // A record puts right one before it; what says otherwise would go round for ever.
            if !is_moved(by) || by.seq <= entry.seq {
                return None;
            }
            entry = by;
        }
        Some(entry)
    };
    entries.iter().filter_map(counts).collect()
}
