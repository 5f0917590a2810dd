//! What lies in a folder of builds.
//!
//! Knows nothing of what is in a journal.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::{fs, io};

use super::Passed;
use crate::disk::{Disk as _, System};
use crate::plan::register;
use crate::store::JOURNAL_MAX;

/// Where the index files lie, inside the folder.
pub const ROOM: &str = ".evendraw-shelf";
/// How the names of journals end.
const ENDINGS: [&str; 2] = ["evj", "journal"];
/// Folders below one another that are looked into: a link that leads back would have no end.
const DEEPEST: usize = 16;

/// Something on the shelf.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Its path below the folder, with `/`, without its ending.
    pub name: String,
    /// The file.
    pub path: PathBuf,
    /// What it is taken for by its name.
    pub what: What,
}

/// What a file is taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A journal.
    Journal,
    /// A plan that no journal was begun for.
    Plan,
}

/// Everything in a folder and below, by name.
pub(super) fn walk(folder: &Path) -> io::Result<(Vec<Found>, Vec<Passed>)> {
    let (mut found, mut passed) = (Vec::new(), Vec::new());
    let mut journals: BTreeSet<PathBuf> = BTreeSet::new();
    let mut plans: Vec<PathBuf> = Vec::new();
    let mut open = vec![(folder.to_owned(), 0)];
    while let Some((at, depth)) = open.pop() {
        let listed = match fs::read_dir(&at) {
            Ok(listed) => listed,
            Err(error) if depth == 0 => return Err(error),
            Err(error) => {
                passed.push(Passed {
                    name: name(folder, &at),
                    why: format!("this folder cannot be listed: {error}"),
                    whole: true,
                });
                continue;
            }
        };
        for entry in listed.flatten() {
            let path = entry.path();
            let hidden = entry.file_name().to_string_lossy().starts_with('.');
            let ending = path.extension().and_then(|ending| ending.to_str());
            // A link is followed, as the store follows it.
            if path.is_dir() {
                if !hidden && ending != Some("traces") && depth < DEEPEST {
                    open.push((path, depth + 1));
                }
            } else if ending.is_some_and(|ending| ENDINGS.contains(&ending)) && !hidden {
                journals.insert(path);
            } else if ending == Some("toml") && !hidden && entry.file_name() != register::FILE {
                plans.push(path);
            }
        }
    }
    let begun = |plan: &Path| {
        ENDINGS
            .iter()
            .any(|ending| journals.contains(&plan.with_extension(ending)))
    };
    plans.retain(|plan| !begun(plan));
    let taken = |path: PathBuf, what| Found {
        name: name(folder, &path.with_extension("")),
        path,
        what,
    };
    found.extend(plans.into_iter().map(|path| taken(path, What::Plan)));
    found.extend(journals.into_iter().map(|path| taken(path, What::Journal)));
    found.sort_by(|one, other| one.path.cmp(&other.path));
    Ok((found, passed))
}

fn name(folder: &Path, path: &Path) -> String {
    let below = path.strip_prefix(folder).unwrap_or(path);
    let parts: Vec<_> = below
        .components()
        .map(|part| part.as_os_str().to_string_lossy())
        .collect();
    parts.join("/")
}

/// The bytes of a file that may be a journal; none where they cannot be had, which the store says better.
pub(super) fn bytes(path: &Path) -> Option<Vec<u8>> {
    System.read(path, JOURNAL_MAX).ok()
}
