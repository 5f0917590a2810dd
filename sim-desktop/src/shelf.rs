//! The shop's shelf: a folder of builds, read together.
//!
//! Every journal below the folder is read through the store, and how a build stands comes from the one projection, `job::status`.
//! What was read is kept beside the builds in a small index file each, to be quick the next time; an index is never truth, and one
//! that does not fit its journal byte for byte is made anew. What cannot be read is named and passed over. Knows nothing of
//! screens, paper or tables.

pub mod build;
pub mod export;
pub mod forerunners;
pub mod history;
mod index;
pub mod recall;
pub mod table;
pub mod tools;
mod walk;

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use rayon::prelude::*;
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::disk;
use crate::plan::PlanErrors;
use crate::plan::register::Register;
use crate::store::{self, StoreError};

pub use build::{Build, Pull};
pub use history::Section;
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
    wants_history: bool,
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
    /// What its joints showed, where that was asked for; nothing of a rehearsal or of invented values.
    pub history: Vec<Section>,
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
            wants_history: false,
        })
    }

    /// Without index files: everything is read from the journals, and nothing is written.
    #[must_use]
    pub fn without_index(mut self) -> Self {
        self.keeps_index = false;
        self
    }

    /// Also what the joints of each build showed.
    #[must_use]
    pub fn with_history(mut self) -> Self {
        self.wants_history = true;
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
    pub fn read<E>(&self, take: impl FnMut(Read) -> Result<(), E>) -> Result<(), E> {
        self.read_and(|read| read, take)
    }

    /// As [`Shelf::read`]; what is made of a build before it is handed over is made on every core at once.
    ///
    /// # Errors
    /// Whatever `take` returns.
    pub fn read_and<T: Send, E>(
        &self,
        make: impl Fn(Read) -> T + Sync,
        mut take: impl FnMut(T) -> Result<(), E>,
    ) -> Result<(), E> {
        for some in self.found.chunks(TOGETHER) {
            let made: Vec<T> = some
                .par_iter()
                .map(|found| make(self.read_one(found)))
                .collect();
            made.into_iter().try_for_each(&mut take)?;
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
            history: Vec::new(),
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
                Ok((build, history)) => {
                    read.history = history;
                    read.passed
                        .extend(build.flaws.iter().map(|why| pass(why.clone(), false)));
                    if disk::is_open_elsewhere(&found.path) {
                        let why = "it is open to be worked: read as it stands now";
                        read.passed.push(pass(why.to_owned(), false));
                    }
                    read.build = Some(build);
                }
                Err(error) => read.passed.push(pass(unread(&error), true)),
            },
        }
        read
    }

    fn of_journal(&self, found: &Found) -> Result<(Build, Vec<Section>), StoreError> {
        let bytes = store::bytes(&found.path)?;
        // The bytes of the journal, not its date, say whether an index fits.
        let key = self.keeps_index.then(|| index::Key::of(&bytes, self.today));
        let mut content = None;
        let build = self.kept(found, key.as_ref(), index::BUILD, || {
            let content = &*content.insert(store::content_of(&found.path, &bytes)?);
            Ok(Build::of(
                content,
                build::plan_in(content).as_ref(),
                self.today,
            ))
        })?;
        if !self.wants_history || build.rehearsal || build.demo {
            return Ok((build, Vec::new()));
        }
        let history = self.kept(found, key.as_ref(), index::HISTORY, || {
            let content = match content.take() {
                Some(content) => content,
                None => store::content_of(&found.path, &bytes)?,
            };
            let plan = build::plan_in(&content);
            Ok(plan.map_or_else(Vec::new, |plan| history::sections(&content, &plan)))
        })?;
        Ok((build, history))
    }

    /// From its index file where that fits, else made, and kept there.
    fn kept<T: Serialize + DeserializeOwned>(
        &self,
        found: &Found,
        key: Option<&index::Key>,
        ending: &str,
        make: impl FnOnce() -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let known = key.and_then(|key| index::load(&self.folder, &found.name, key, ending));
        if let Some(known) = known {
            return Ok(known);
        }
        let made = make()?;
        if let Some(key) = key {
            index::keep(&self.folder, &found.name, key, ending, &made);
        }
        Ok(made)
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
