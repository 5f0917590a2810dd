//! The shelf as tables for any engine: only ever added to, and only what is new.
//!
//! A run writes one file for each table and year with everything that earlier runs have not written; no file is changed afterwards.
//! `SCHEMA.md` is the contract. Knows nothing of how a file is encoded.

mod file;
mod fill;
mod ledger;
#[cfg(feature = "parquet")]
mod parquet;
pub mod tables;

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::{Build, Found, Passed, Shelf, What, walk};
use crate::disk::{self, Disk as _, System};
use crate::signals::Whole;
use crate::store::{self, Traces};

use file::Writer;
use fill::Filled;
use ledger::{Ledger, Written};
use tables::Table;

/// What stands in the folder beside the tables, for people.
const PAGE: &str = include_str!("../../SCHEMA.md");
/// Its name: engines pass over names that begin so.
const PAGE_NAME: &str = "_SCHEMA.md";
/// Builds that are read at the same time.
const TOGETHER: usize = 16;

/// How the files are encoded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Apache Parquet.
    Parquet,
    /// Comma-separated values [RFC 4180].
    Csv,
}

impl Format {
    /// How the names of its files end.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Parquet => "parquet",
            Self::Csv => "csv",
        }
    }
}

/// What a run wrote.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Exported {
    /// The number of the run in this folder; the last one where nothing was new.
    pub run: u32,
    /// Builds with something new.
    pub builds: usize,
    /// Builds with nothing new.
    pub unchanged: usize,
    /// Rows by table.
    pub rows: BTreeMap<&'static str, usize>,
    /// Bytes of the files written.
    pub bytes: u64,
    /// Files written.
    pub files: usize,
    /// What could not be read, or not all of it.
    pub passed: Vec<Passed>,
    /// Files of a run that was cut short, taken away.
    pub cleared: usize,
}

/// Why nothing was exported.
#[derive(Debug)]
pub enum ExportError {
    /// A file or folder.
    Io {
        /// What was being done.
        doing: &'static str,
        /// To what.
        path: PathBuf,
        /// The system's word.
        source: io::Error,
    },
    /// The folder holds something else.
    NotOurs {
        /// The folder.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// Another program exports into it.
    InUse {
        /// The folder.
        path: PathBuf,
    },
    /// This program was built without Parquet.
    NoParquet,
}

impl fmt::Display for ExportError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io {
                doing,
                path,
                source,
            } => write!(f, "cannot {doing} {}: {source}", path.display()),
            Self::NotOurs { path, why } => write!(
                f,
                "{}: {why}; allowed is a new or empty folder, or one that was exported into before",
                path.display()
            ),
            Self::InUse { path } => write!(
                f,
                "{} is being exported into by another program: wait for it",
                path.display()
            ),
            Self::NoParquet => f.write_str(
                "this program was built without Parquet (its cargo feature `parquet`); --csv writes the same tables",
            ),
        }
    }
}

impl std::error::Error for ExportError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io { source, .. } => Some(source),
            Self::NotOurs { .. } | Self::InUse { .. } | Self::NoParquet => None,
        }
    }
}

fn failed<'p>(doing: &'static str, path: &'p Path) -> impl FnOnce(io::Error) -> ExportError + 'p {
    move |source| ExportError::Io {
        doing,
        path: path.to_owned(),
        source,
    }
}

/// Adds everything on the shelf that is new to the tables in a folder.
///
/// # Errors
/// [`ExportError`]; then the folder holds what it held, and files that no run has finished, which the next one takes away.
pub fn export(shelf: &Shelf, to: &Path, format: Format) -> Result<Exported, ExportError> {
    if format == Format::Parquet && cfg!(not(feature = "parquet")) {
        return Err(ExportError::NoParquet);
    }
    System
        .create_folder(to)
        .map_err(failed("create the folder", to))?;
    let _alone = ledger::alone(to)?;
    let mut ledger = Ledger::read(to, format)?;
    let mut done = Exported {
        run: ledger.runs,
        passed: shelf.passed().to_vec(),
        cleared: ledger.clear(to)?,
        ..Exported::default()
    };
    let (due, unchanged): (Vec<&Found>, Vec<&Found>) =
        shelf.found().iter().partition(|found| ledger.is_due(found));
    done.unchanged = unchanged.len();
    let run = ledger.runs + 1;
    let mut writers = Writers {
        to,
        run,
        format,
        open: BTreeMap::new(),
    };
    for some in due.chunks(TOGETHER) {
        let made: Vec<Made> = some
            .par_iter()
            .map(|found| made(shelf, found, ledger.builds.get(&found.name), run))
            .collect();
        for one in made {
            done.passed.extend(one.passed);
            let Some((written, filled)) = one.written else {
                continue;
            };
            if filled.is_empty() {
                done.unchanged += 1;
            } else {
                done.builds += 1;
                writers.take(filled, &mut done)?;
            }
            ledger.builds.insert(one.name, written);
        }
    }
    // The files get their names and the run its place in the ledger, or neither.
    let _whole = Whole::begin();
    if done.builds > 0 {
        writers.finish(&mut done)?;
        ledger.runs = run;
        done.run = run;
        let page = to.join(PAGE_NAME);
        disk::replace(&System, &page, PAGE.as_bytes()).map_err(failed("write", &page))?;
    }
    ledger.write(to)?;
    Ok(done)
}

/// One build made into rows.
struct Made {
    name: String,
    passed: Vec<Passed>,
    written: Option<(Written, Filled)>,
}

fn made(shelf: &Shelf, found: &Found, before: Option<&Written>, run: u32) -> Made {
    let mut made = Made {
        name: found.name.clone(),
        passed: Vec::new(),
        written: None,
    };
    let pass = |why: &str, whole| Passed {
        name: found.name.clone(),
        why: why.to_owned(),
        whole,
    };
    if found.what == What::Plan {
        let read = shelf.read_one(found);
        made.passed = read.passed;
        let bytes = walk::bytes(&found.path).unwrap_or_default();
        if let Some(build) = &read.build {
            let written = Written::of(&bytes, false, 0, 0);
            made.written = Some((written, fill::heads(found, build, bytes.len(), run)));
        }
        return made;
    }
    let read = store::bytes(&found.path)
        .and_then(|bytes| Ok((store::content_of(&found.path, &bytes)?, bytes)));
    let (content, bytes) = match read {
        Ok(read) => read,
        Err(error) => {
            made.passed.push(pass(&super::unread(&error), true));
            return made;
        }
    };
    let before = before.filter(|before| before.journal);
    if let Some(before) = before
        && !before.is_beginning_of(&bytes)
    {
        let why = "this is not the journal that was exported under this name before, or it was changed since: passed over; export into a new folder";
        made.passed.push(pass(why, true));
        return made;
    }
    let plan = super::build::plan_in(&content);
    let build = Build::of(&content, plan.as_ref(), shelf.today());
    if build.is_newer {
        let why = "it holds records that this program does not know, made by a newer one: not exported, so that nothing is left out for good";
        made.passed.push(pass(why, true));
        return made;
    }
    made.passed
        .extend(build.flaws.iter().map(|why| pass(why, false)));
    let traces = Traces::beside(&found.path);
    let folder = disk::with_behind(&found.path, ".traces");
    let from = fill::From {
        facts: before.map_or(0, |before| before.facts),
        attempts: before.map_or(0, |before| before.attempts),
        run,
    };
    let filled = fill::whole(
        found,
        &build,
        &content,
        plan.as_ref(),
        folder.is_dir().then_some(&traces),
        bytes.len(),
        &from,
    );
    let written = Written::of(&bytes, true, content.facts.len(), build.pulls.len());
    made.written = Some((written, filled));
    made
}

/// The files of one run.
struct Writers<'p> {
    to: &'p Path,
    run: u32,
    format: Format,
    open: BTreeMap<(&'static str, i16), Writer>,
}

impl Writers<'_> {
    fn take(&mut self, filled: Filled, done: &mut Exported) -> Result<(), ExportError> {
        for ((table, year), rows) in filled.rows {
            *done.rows.entry(table).or_default() += rows.len();
            let writer = match self.open.entry((table, year)) {
                Entry::Occupied(open) => open.into_mut(),
                Entry::Vacant(none) => {
                    none.insert(begun(self.to, self.run, self.format, rows.table(), year)?)
                }
            };
            writer.take(rows)?;
        }
        Ok(())
    }

    /// Every file gets its name; until the run stands in the ledger they count for nothing.
    fn finish(self, done: &mut Exported) -> Result<(), ExportError> {
        for (_, writer) in self.open {
            done.bytes += writer.finish()?;
            done.files += 1;
        }
        Ok(())
    }
}

fn begun(
    to: &Path,
    run: u32,
    format: Format,
    table: &'static Table,
    year: i16,
) -> Result<Writer, ExportError> {
    let folder = to.join(table.name).join(format!("year={year}"));
    System
        .create_folder(&folder)
        .map_err(failed("create the folder", &folder))?;
    Writer::begin(folder.join(ledger::part_name(run, format)), table, format)
}
