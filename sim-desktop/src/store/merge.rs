//! Records made elsewhere, taken into a journal: each once, and never two different ones for one place.
//!
//! Knows nothing of where they come from.

use std::collections::{HashMap, HashSet};
use std::fmt;

use evendraw_core::record::Entry;

/// Two records for one place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Differs {
    /// The joint's number.
    pub joint: u8,
    /// Its number among the joint's records.
    pub seq: u32,
    /// Whether one of them is kept here; otherwise the adapter told both.
    pub is_kept: bool,
}

impl fmt::Display for Differs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            joint,
            seq,
            is_kept,
        } = self;
        if *is_kept {
            write!(
                f,
                "record {seq} of joint {joint} differs from the adapter's: this is another job"
            )
        } else {
            write!(
                f,
                "the adapter tells record {seq} of joint {joint} in two ways"
            )
        }
    }
}

impl std::error::Error for Differs {}

/// As many of the fetched records, from the first on, as tell of no place in two ways; and where the next one does.
#[must_use]
pub fn agreeing(fetched: &[Entry]) -> (&[Entry], Option<Differs>) {
    let mut told: HashMap<(u8, u32), &Entry> = HashMap::new();
    for (at, entry) in fetched.iter().enumerate() {
        let first = told.entry((entry.joint, entry.seq)).or_insert(entry);
        if *first != entry {
            let differs = Differs {
                joint: entry.joint,
                seq: entry.seq,
                is_kept: false,
            };
            return (fetched.get(..at).unwrap_or_default(), Some(differs));
        }
    }
    (fetched, None)
}

/// Those of the fetched records that are not kept yet, each once, in the order they came.
///
/// # Errors
/// [`Differs`] with the first record for whose place there is another one.
pub fn fresh<'e>(
    kept: impl IntoIterator<Item = &'e Entry>,
    fetched: &[Entry],
) -> Result<Vec<Entry>, Differs> {
    let kept: HashMap<(u8, u32), &Entry> = kept
        .into_iter()
        .map(|entry| ((entry.joint, entry.seq), entry))
        .collect();
    let (agreeing, differs) = agreeing(fetched);
    let mut told = HashSet::new();
    let mut new: Vec<Entry> = Vec::new();
    for entry in agreeing {
        let place = (entry.joint, entry.seq);
        match kept.get(&place) {
            None if told.insert(place) => new.push(entry.clone()),
            None => {}
            Some(known) if *known == entry => {}
            Some(_) => {
                return Err(Differs {
                    joint: entry.joint,
                    seq: entry.seq,
                    is_kept: true,
                });
            }
        }
    }
    differs.map_or(Ok(new), Err)
}
