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
    /// The file is no journal, or its beginning is lost.
    NotAJournal {
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
                    "{} is not a journal of this program, or its beginning is lost",
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
