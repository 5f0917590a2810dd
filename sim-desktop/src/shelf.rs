//! The shop's shelf: a folder of builds, read together.
//!
//! Every journal below the folder is read through the store, and how a build stands comes from the one projection, `job::status`.
//! What was read is kept beside the builds in a small index file each, to be quick the next time; an index is never truth, and one
//! that does not fit its journal byte for byte is made anew. What cannot be read is named and passed over. Knows nothing of
//! screens, paper or tables.

pub mod build;
pub mod export;
mod index;
pub mod recall;
pub mod table;
pub mod tools;
mod walk;

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use rayon::prelude::*;

use crate::plan::PlanErrors;
use crate::plan::register::Register;
use crate::store::{self, StoreError};

pub use build::{Build, Pull};
pub use walk::{Found, ROOM as INDEX_FOLDER, What};

/// Builds that are read at the same time: enough for every core, and few enough for little memory.
const TOGETHER: usize = 64;

/// A folder of builds.
#[derive(Clone, Debug)]
pub struct Shelf {
    folder: PathBuf,
    found: Vec<Found>,
    passed: Vec<Passed>,
    today: Date,
    keeps_index: bool,
}

/// Something on the shelf that could not be read, or not all of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Passed {
    /// Its name on the shelf.
    pub name: String,
    /// Why, and what of it was taken all the same.
    pub why: String,
    /// Nothing of it was taken.
    pub whole: bool,
}

/// One build as it came off the shelf.
#[derive(Clone, Debug)]
pub struct Read {
    /// What was found there.
    pub found: Found,
    /// What it says; none where it could not be read.
    pub build: Option<Build>,
    /// What is to be said of it aloud.
    pub passed: Vec<Passed>,
}

impl Shelf {
    /// A folder of builds: every journal in it and in the folders below.
    ///
    /// # Errors
    /// The system's, where the folder itself cannot be listed.
    pub fn open(folder: &Path) -> std::io::Result<Self> {
        let (found, passed) = walk::walk(folder)?;
        Ok(Self {
            folder: folder.to_owned(),
            found,
            passed,
            today: jiff::Zoned::now().date(),
            keeps_index: true,
        })
    }

    /// Without index files: everything is read from the journals, and nothing is written.
    #[must_use]
    pub fn without_index(mut self) -> Self {
        self.keeps_index = false;
        self
    }

    /// As if today were another day: calibrations run out.
    #[must_use]
    pub const fn on(mut self, today: Date) -> Self {
        self.today = today;
        self
    }

    /// The day that calibrations are held against.
    #[must_use]
    pub const fn today(&self) -> Date {
        self.today
    }

    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The register of tools that counts for this shelf; none where there is none.
    ///
    /// # Errors
    /// Everything that is wrong in it.
    pub fn register(&self) -> Result<Option<Register>, PlanErrors> {
        Register::of_folder(&self.folder)
    }

    /// What was found, by name.
    #[must_use]
    pub fn found(&self) -> &[Found] {
        &self.found
    }

    /// Folders and files that could not even be looked at.
    #[must_use]
    pub fn passed(&self) -> &[Passed] {
        &self.passed
    }

    /// Reads every build and hands them over one after the other, by name. Stops at the first error of the one who takes them.
    ///
    /// # Errors
    /// Whatever `take` returns.
    pub fn read<E>(&self, mut take: impl FnMut(Read) -> Result<(), E>) -> Result<(), E> {
        for some in self.found.chunks(TOGETHER) {
            let read: Vec<Read> = some.par_iter().map(|found| self.read_one(found)).collect();
            read.into_iter().try_for_each(&mut take)?;
        }
        Ok(())
    }

    /// Reads one build.
    #[must_use]
    pub fn read_one(&self, found: &Found) -> Read {
        let mut read = Read {
            found: found.clone(),
            build: None,
            passed: Vec::new(),
        };
        let pass = |why: String, whole| Passed {
            name: found.name.clone(),
            why,
            whole,
        };
        match found.what {
            What::Plan => match build::of_plan(&found.path, self.today) {
                Ok(build) => read.build = build,
                Err(why) => read.passed.push(pass(why, true)),
            },
            What::Journal => match self.of_journal(found) {
                Ok(build) => {
                    read.passed
                        .extend(build.flaws.iter().map(|why| pass(why.clone(), false)));
                    if walk::is_open_elsewhere(&found.path) {
                        let why = "it is open in another program: read as it stands now";
                        read.passed.push(pass(why.to_owned(), false));
                    }
                    read.build = Some(build);
                }
                Err(error) => read.passed.push(pass(unread(&error), true)),
            },
        }
        read
    }

    fn of_journal(&self, found: &Found) -> Result<Build, StoreError> {
        let bytes = store::bytes(&found.path)?;
        // The bytes of the journal, not its date, say whether the index fits.
        let key = self.keeps_index.then(|| index::Key::of(&bytes, self.today));
        if let Some(key) = &key
            && let Some(build) = index::load(&self.folder, &found.name, key)
        {
            return Ok(build);
        }
        let content = store::content_of(&found.path, &bytes)?;
        let build = Build::of(&content, build::plan_in(&content).as_ref(), self.today);
        if let Some(key) = &key {
            index::keep(&self.folder, &found.name, key, &build);
        }
        Ok(build)
    }
}

/// Why a journal is passed over.
fn unread(error: &StoreError) -> String {
    match error {
        StoreError::NotAJournal { .. } => {
            "nothing in it reads as a journal: passed over".to_owned()
        }
        error => format!("{error}: passed over"),
    }
}
