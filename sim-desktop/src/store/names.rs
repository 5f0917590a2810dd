//! What journals are called: beside their plan, by its name, by what they are, numbered where there are several.
//!
//! Nothing but names: a build's folder can be moved whole. Knows nothing of what is in them.

use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::Purpose;

/// When the file was last changed.
#[must_use]
pub fn stamp(path: &Path) -> Option<SystemTime> {
    std::fs::metadata(path)
        .and_then(|data| data.modified())
        .ok()
}

/// The plan's file name without its ending.
fn stem(name: &str) -> &str {
    name.strip_suffix(".toml").unwrap_or(name)
}

/// The journal of this purpose that is in use: the last of those numbered. `name` is the plan's.
#[must_use]
pub fn journal_beside(folder: &Path, name: &str, purpose: Purpose) -> PathBuf {
    let mut found = numbered(folder, name, purpose, 1);
    for number in 2..1000 {
        let next = numbered(folder, name, purpose, number);
        if !next.exists() {
            break;
        }
        found = next;
    }
    found
}

/// What was worked on last: the job where its journal was written later than the rehearsal's, else the rehearsal.
#[must_use]
pub fn last_used(folder: &Path, name: &str) -> Purpose {
    let written = |purpose| stamp(&journal_beside(folder, name, purpose));
    if written(Purpose::Job) > written(Purpose::Rehearsal) {
        Purpose::Job
    } else {
        Purpose::Rehearsal
    }
}

/// The first journal of this purpose that does not exist yet.
#[must_use]
pub fn new_journal_beside(folder: &Path, name: &str, purpose: Purpose) -> PathBuf {
    (1..=1000)
        .map(|number| numbered(folder, name, purpose, number))
        .find(|path| !path.exists())
        .unwrap_or_else(|| numbered(folder, name, purpose, 1001))
}

fn numbered(folder: &Path, name: &str, purpose: Purpose, number: u32) -> PathBuf {
    let kind = match purpose {
        Purpose::Job => "",
        Purpose::Rehearsal => ".rehearsal",
    };
    let number = if number > 1 {
        format!("-{number}")
    } else {
        String::new()
    };
    folder.join(format!("{}{kind}{number}.evj", stem(name)))
}
