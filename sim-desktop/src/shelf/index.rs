//! The index file of a build: what was read from its journal, kept for the next time.
//!
//! Never truth: it is taken only where length and digest of the journal's bytes, the day and the program are those it was made with,
//! and may be deleted at any time. Knows nothing of what a build says.

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::walk::ROOM;
use crate::disk::{self, Disk as _, System};
use evendraw_core::record::RULES;

/// How an index file with a build ends.
pub(super) const BUILD: &str = "idx";
/// How one with what its joints showed ends.
pub(super) const HISTORY: &str = "his";

/// Moves whenever what stands in an index file, or how it is worked out, changes.
const VERSION: u32 = 5;

/// What an index file must have been made from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Key {
    version: u32,
    rules: u16,
    length: u64,
    digest: u64,
    /// Calibrations run out: how a build stands is true for a day.
    today: String,
}

impl Key {
    pub(super) fn of(bytes: &[u8], today: Date) -> Self {
        Self {
            version: VERSION,
            rules: RULES,
            length: u64::try_from(bytes.len()).unwrap_or(u64::MAX),
            digest: digest(bytes),
            today: today.to_string(),
        }
    }
}

/// What an index file holds, where it fits; its ending says what that is.
pub(super) fn load<T: DeserializeOwned>(
    folder: &Path,
    name: &str,
    key: &Key,
    ending: &str,
) -> Option<T> {
    let bytes = std::fs::read(file(folder, name, ending)).ok()?;
    let (sum, rest) = bytes.split_first_chunk::<8>()?;
    // A damaged index is as good as none.
    if u64::from_le_bytes(*sum) != digest(rest) {
        return None;
    }
    let (kept, rest) = postcard::take_from_bytes::<(Key, String)>(rest).ok()?;
    if kept.0 != *key || kept.1 != name {
        return None;
    }
    postcard::from_bytes(rest).ok()
}

/// Keeps what was read. A folder that cannot be written to costs time and nothing else.
pub(super) fn keep<T: Serialize>(folder: &Path, name: &str, key: &Key, ending: &str, build: &T) {
    let Ok(mut body) = postcard::to_stdvec(&(key, name)) else {
        return;
    };
    let Ok(rest) = postcard::to_stdvec(build) else {
        return;
    };
    body.extend_from_slice(&rest);
    let mut bytes = digest(&body).to_le_bytes().to_vec();
    bytes.append(&mut body);
    let path = file(folder, name, ending);
    if System.create_folder(disk::folder_of(&path)).is_err() {
        return;
    }
    // Not synced: what a power cut spoils is seen by its digest.
    let beside = disk::with_behind(&path, &format!(".{}", std::process::id()));
    if std::fs::write(&beside, bytes).is_ok() && std::fs::rename(&beside, &path).is_err() {
        let _ = std::fs::remove_file(&beside);
    }
}

fn file(folder: &Path, name: &str, ending: &str) -> PathBuf {
    folder
        .join(ROOM)
        .join(format!("{:016x}.{ending}", digest(name.as_bytes())))
}

/// A sum of bytes, eight at a time in four lanes: every step can be undone, so two texts that differ in one place never have the same.
/// For telling whether a file is still the one that was read; it proves nothing to anybody who means harm.
pub(super) fn digest(bytes: &[u8]) -> u64 {
    /// An odd number without pattern: the golden ratio in 64 bits.
    const BY: u64 = 0x9E37_79B9_7F4A_7C15;
    let step = |sum: u64, word: u64| (sum.rotate_left(5) ^ word).wrapping_mul(BY);
    let mut lanes = [1_u64, 2, 3, 4];
    let mut blocks = bytes.chunks_exact(32);
    for block in &mut blocks {
        for (lane, word) in lanes.iter_mut().zip(block.chunks_exact(8)) {
            let word = word
                .first_chunk::<8>()
                .map_or(0, |word| u64::from_le_bytes(*word));
            *lane = step(*lane, word);
        }
    }
    let rest = blocks.remainder();
    let sum = lanes.into_iter().fold(0, step);
    let sum = rest
        .iter()
        .fold(sum, |sum, &byte| step(sum, u64::from(byte)));
    let sum = step(sum, u64::try_from(bytes.len()).unwrap_or(u64::MAX));
    sum ^ sum >> 32
}

#[cfg(test)]
mod tests {
    use super::digest;

    #[test]
    fn one_byte_more_less_or_other_is_another_digest() {
        let bytes: Vec<u8> = (0..=255_u8).cycle().take(1_000).collect();
        let whole = digest(&bytes);
        for at in 0..bytes.len() {
            let mut other = bytes.clone();
            other[at] ^= 0x10;
            assert_ne!(digest(&other), whole, "byte {at}");
            assert_ne!(digest(&bytes[..at]), whole, "cut at {at}");
        }
    }
}
