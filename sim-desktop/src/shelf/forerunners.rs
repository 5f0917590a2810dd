//! The shelf that a build lies on, and what like joints of the other builds there showed.
//!
//! One rule for everyone who keeps records, the desk as the commands: a build whose folder is on a shelf is put beside its forerunners,
//! any other beside its own fasteners alone. Knows nothing of how values are compared.

use std::io;
use std::path::{Path, PathBuf};

use super::history::History;
use super::{INDEX_FOLDER, Passed, Shelf};
use crate::disk;
use crate::plan::register::{self, HIGHEST};

/// The shelf that a folder is on: the nearest one, itself or above, that has a register of tools or was read as a shelf before. None
/// where there is none: a folder is not read through because a plan happens to lie in it.
#[must_use]
pub fn shelf_of(folder: &Path) -> Option<PathBuf> {
    let whole = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
    let mut above = whole.ancestors().take(HIGHEST);
    let found =
        above.find(|at| at.join(register::FILE).is_file() || at.join(INDEX_FOLDER).is_dir());
    found.map(Path::to_owned)
}

/// What the builds of a shelf showed.
#[derive(Clone, Debug, Default)]
pub struct Before {
    /// The shelf.
    pub folder: PathBuf,
    /// What their joints showed.
    pub history: History,
    /// What could not be read, or not all of it.
    pub passed: Vec<Passed>,
}

/// What the builds showed on the shelf that a journal lies on, or will lie on; none where it lies on none.
///
/// # Errors
/// The system's, where the shelf cannot be listed.
pub fn before(journal: &Path) -> io::Result<Option<Before>> {
    let Some(folder) = shelf_of(disk::folder_of(journal)) else {
        return Ok(None);
    };
    let shelf = Shelf::open(&folder)?.with_history();
    let mut history = History::default();
    let mut passed = shelf.passed().to_vec();
    let read: Result<(), io::Error> = shelf.read(|read| {
        history.take(&read.found.path, &read.history);
        passed.extend(read.passed);
        Ok(())
    });
    read?;
    Ok(Some(Before {
        folder,
        history,
        passed,
    }))
}
