//! Why a journal cannot be opened or written.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// Why a journal cannot be opened or written.
#[derive(Debug)]
#[non_exhaustive]
pub enum StoreError {
    /// The system refused.
    Io {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// Its reason.
        source: io::Error,
    },
    /// Another program has it open.
    InUse {
        /// The file.
        path: PathBuf,
    },
    /// Nothing in the file proves itself.
    NotAJournal {
        /// The file.
        path: PathBuf,
    },
    /// The first entry is lost, and nothing else says whether this is a job or a rehearsal.
    BeginningLost {
        /// The file.
        path: PathBuf,
    },
    /// The file is larger than any journal can be.
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Bytes that are read at most.
        most: u64,
    },
    /// The journal was moved while it was open. It is whole where it is now.
    Moved {
        /// The name it had.
        path: PathBuf,
        /// The name it has.
        now: PathBuf,
    },
    /// The journal was deleted while it was open, or another file was put in its place.
    Gone {
        /// Its name.
        path: PathBuf,
        /// The new file with all that is known; or why there is none.
        kept: Result<PathBuf, String>,
    },
    /// No number is left for another entry.
    Full {
        /// The file.
        path: PathBuf,
    },
    /// A rehearsal is never continued as a job, nor a job as a rehearsal.
    OtherPurpose {
        /// The file.
        path: PathBuf,
        /// Whether the file is a rehearsal.
        rehearsal: bool,
    },
    /// What was written does not read back the same.
    ReadBack {
        /// The file.
        path: PathBuf,
        /// Where.
        offset: u64,
    },
    /// A fact is too long for a frame.
    TooLong {
        /// In words.
        what: String,
    },
}

impl StoreError {
    pub(super) fn io(path: &Path, doing: &'static str) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Io {
            path,
            doing,
            source,
        }
    }

    /// Whether the journal's name leads elsewhere: no later try keeps anything, and all that is known is where the words say.
    #[must_use]
    pub const fn is_elsewhere(&self) -> bool {
        matches!(self, Self::Moved { .. } | Self::Gone { kept: Ok(_), .. })
    }
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io {
                path,
                doing,
                source,
            } => write!(f, "cannot {doing} {}: {source}", path.display()),
            Self::InUse { path } => {
                write!(
                    f,
                    "{} is open in another program; close that first",
                    path.display()
                )
            }
            Self::NotAJournal { path } => {
                write!(
                    f,
                    "{} is not a journal of this program: nothing in it proves itself",
                    path.display()
                )
            }
            Self::BeginningLost { path } => write!(
                f,
                "the first entry of {} is lost, and nothing else in it says whether it is a job or a rehearsal: it can be read \
                 (`evendraw record`) and not gone on with",
                path.display()
            ),
            Self::TooLarge { path, most } => write!(
                f,
                "{} is larger than a journal can be; allowed are {} MiB",
                path.display(),
                most / (1024 * 1024)
            ),
            Self::Moved { path, now } => write!(
                f,
                "{} was moved while it was open. Everything is kept, in {}; open it there",
                path.display(),
                now.display()
            ),
            Self::Gone {
                path,
                kept: Ok(kept),
            } => write!(
                f,
                "{} was deleted or replaced while it was open. Everything known is kept in the new journal {}; go on with that one",
                path.display(),
                kept.display()
            ),
            Self::Gone {
                path,
                kept: Err(why),
            } => write!(
                f,
                "{} was deleted or replaced while it was open, and a new journal beside it cannot be written: {why}. \
                 Leave the program open, make room, and try again",
                path.display()
            ),
            Self::Full { path } => {
                write!(
                    f,
                    "{} can take no more entries: begin a new one",
                    path.display()
                )
            }
            Self::OtherPurpose {
                path,
                rehearsal: true,
            } => {
                write!(
                    f,
                    "{} is the journal of a rehearsal and cannot be continued as a job",
                    path.display()
                )
            }
            Self::OtherPurpose {
                path,
                rehearsal: false,
            } => {
                write!(
                    f,
                    "{} is the journal of a job; a rehearsal never writes into it",
                    path.display()
                )
            }
            Self::ReadBack { path, offset } => {
                write!(
                    f,
                    "{} does not read back what was written at byte {offset}; the disk may be failing",
                    path.display()
                )
            }
            Self::TooLong { what } => write!(f, "{what} is too long for one entry of the journal"),
        }
    }
}

impl std::error::Error for StoreError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io { source, .. } => Some(source),
            _ => None,
        }
    }
}
