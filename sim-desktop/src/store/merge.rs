//! Records made elsewhere, taken into a journal: each once, and never two different ones for one place.
//!
//! Knows nothing of where they come from.

use std::fmt;

use evendraw_core::record::Entry;

/// A record that is kept already, and is another one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Differs {
    /// The joint's number.
    pub joint: u8,
    /// Its number among the joint's records.
    pub seq: u32,
}

impl fmt::Display for Differs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "record {} of joint {} differs from the adapter's: this is another job",
            self.seq, self.joint
        )
    }
}

impl std::error::Error for Differs {}

/// Those of the fetched records that are not kept yet, in the order they came.
///
/// # Errors
/// [`Differs`] with the first record that is kept and is not the same.
pub fn fresh<'e>(
    kept: impl IntoIterator<Item = &'e Entry>,
    fetched: &[Entry],
) -> Result<Vec<Entry>, Differs> {
    let kept: std::collections::HashMap<(u8, u32), &Entry> = kept
        .into_iter()
        .map(|entry| ((entry.joint, entry.seq), entry))
        .collect();
    let mut new: Vec<Entry> = Vec::new();
    for entry in fetched {
        match kept.get(&(entry.joint, entry.seq)) {
            None => new.push(entry.clone()),
            Some(known) if *known == entry => {}
            Some(_) => {
                return Err(Differs {
                    joint: entry.joint,
                    seq: entry.seq,
                });
            }
        }
    }
    Ok(new)
}
