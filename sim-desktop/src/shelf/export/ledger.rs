//! What earlier runs have written: which builds, and how much of each.
//!
//! Knows nothing of tables.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::{ExportError, Format, failed};
use crate::disk::{self, System};
use crate::shelf::index::digest;
use crate::shelf::{Found, What};

/// The file; engines pass over names that begin so.
const NAME: &str = "_evendraw_export.json";
/// Locked as long as a run lasts.
const LOCK: &str = "_evendraw_export.lock";
/// The version of the table set, as `SCHEMA.md` tells it.
pub(crate) const SCHEMA: u32 = 2;

/// What earlier runs have written.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Ledger {
    schema: u32,
    format: String,
    /// Runs that are whole.
    pub(super) runs: u32,
    /// By name on the shelf.
    pub(super) builds: BTreeMap<String, Written>,
}

/// How much of a build is written.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Written {
    /// A journal; else a plan that no journal was begun for.
    pub(super) journal: bool,
    /// Bytes of the file.
    bytes: u64,
    /// Their digest.
    digest: String,
    /// Facts of the journal.
    pub(super) facts: usize,
    /// Attempts among them.
    pub(super) attempts: usize,
}

impl Written {
    pub(super) fn of(bytes: &[u8], journal: bool, facts: usize, attempts: usize) -> Self {
        Self {
            journal,
            bytes: bytes.len() as u64,
            digest: format!("{:016x}", digest(bytes)),
            facts,
            attempts,
        }
    }

    /// Whether the file only grew since.
    pub(super) fn is_beginning_of(&self, bytes: &[u8]) -> bool {
        usize::try_from(self.bytes)
            .ok()
            .and_then(|length| bytes.get(..length))
            .is_some_and(|bytes| format!("{:016x}", digest(bytes)) == self.digest)
    }
}

impl Ledger {
    pub(super) fn read(folder: &Path, format: Format) -> Result<Self, ExportError> {
        let path = folder.join(NAME);
        let not_ours = |why: String| ExportError::NotOurs {
            path: folder.to_owned(),
            why,
        };
        let text = match fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                let mut others = fs::read_dir(folder)
                    .map_err(failed("list", folder))?
                    .flatten()
                    .filter(|entry| entry.file_name() != LOCK);
                return match others.next() {
                    None => Ok(Self {
                        schema: SCHEMA,
                        format: format.ending().to_owned(),
                        runs: 0,
                        builds: BTreeMap::new(),
                    }),
                    Some(other) => Err(not_ours(format!(
                        "the folder holds something else already, `{}`",
                        other.file_name().to_string_lossy()
                    ))),
                };
            }
            Err(error) => return Err(failed("read", &path)(error)),
        };
        let ledger: Self = serde_json::from_str(&text)
            .map_err(|error| not_ours(format!("{NAME} does not read: {error}")))?;
        if ledger.schema != SCHEMA {
            return Err(not_ours(format!(
                "its tables have version {}, this program writes version {SCHEMA}",
                ledger.schema
            )));
        }
        if ledger.format != format.ending() {
            return Err(not_ours(format!("it holds {} files", ledger.format)));
        }
        Ok(ledger)
    }

    pub(super) fn write(&self, folder: &Path) -> Result<(), ExportError> {
        let path = folder.join(NAME);
        let text = serde_json::to_string_pretty(self)
            .map_err(|error| failed("write", &path)(std::io::Error::other(error)))?;
        disk::replace(&System, &path, text.as_bytes()).map_err(failed("write", &path))
    }

    /// Whether a file may hold something new: journals only ever grow.
    pub(super) fn is_due(&self, found: &Found) -> bool {
        let length = fs::metadata(&found.path).map(|data| data.len()).ok();
        self.builds.get(&found.name).is_none_or(|written| {
            Some(written.bytes) != length || written.journal != (found.what == What::Journal)
        })
    }

    /// Takes away what a run wrote that was cut short. Returns how many files.
    pub(super) fn clear(&self, folder: &Path) -> Result<usize, ExportError> {
        let mut cleared = 0;
        for path in parts(folder)? {
            let name = path
                .file_name()
                .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
            let number = name
                .strip_prefix("part-")
                .and_then(|rest| rest.get(..6)?.parse::<u32>().ok());
            if number.is_some_and(|number| number > self.runs) {
                fs::remove_file(&path).map_err(failed("take away", &path))?;
                cleared += 1;
            }
        }
        Ok(cleared)
    }
}

/// Every file below the folders of the tables.
fn parts(folder: &Path) -> Result<Vec<PathBuf>, ExportError> {
    let mut found = Vec::new();
    for table in super::tables::ALL {
        let of_table = folder.join(table.name);
        if !of_table.is_dir() {
            continue;
        }
        for year in fs::read_dir(&of_table).map_err(failed("list", &of_table))? {
            let year = year.map_err(failed("list", &of_table))?.path();
            if year.is_dir() {
                let files = fs::read_dir(&year).map_err(failed("list", &year))?;
                found.extend(files.flatten().map(|file| file.path()));
            }
        }
    }
    Ok(found)
}

/// The name of a run's file.
pub(super) fn part_name(run: u32, format: Format) -> String {
    format!("part-{run:06}.{}", format.ending())
}

/// One run at a time.
pub(super) fn alone(folder: &Path) -> Result<File, ExportError> {
    let path = folder.join(LOCK);
    let file = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path)
        .map_err(failed("open", &path))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(fs::TryLockError::WouldBlock) => Err(ExportError::InUse {
            path: folder.to_owned(),
        }),
        Err(fs::TryLockError::Error(error)) => Err(failed("lock", &path)(error)),
    }
}
