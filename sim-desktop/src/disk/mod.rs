//! Files as the system keeps them: the few things that are asked of a disk, each with its promise, and files written whole or not at
//! all.
//!
//! [`System`] is the disk of this machine. The model test of the store brings another one, which loses power, runs full and lets
//! strangers take files away. Knows nothing of what is in a file.

mod system;
mod whole;

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

pub use system::System;
pub(crate) use system::is_open_elsewhere;
pub(crate) use whole::tidy;
pub use whole::{Unfinished, create, create_loosely, replace};

/// A disk.
pub trait Disk: Clone + fmt::Debug {
    /// A file open for reading and writing, to the exclusion of every other program that opens it the same way.
    type File: DiskFile;

    /// A new file; [`io::ErrorKind::AlreadyExists`] where the name is taken.
    ///
    /// # Errors
    /// The system's.
    fn create(&self, path: &Path) -> io::Result<Self::File>;

    /// An existing file; [`io::ErrorKind::WouldBlock`] while another program has it open like this.
    ///
    /// # Errors
    /// The system's.
    fn open(&self, path: &Path) -> io::Result<Self::File>;

    /// What stands at a name; symbolic links are followed.
    ///
    /// # Errors
    /// The system's, but for a name that leads nowhere.
    fn kind(&self, path: &Path) -> io::Result<Kind>;

    /// The bytes of a file, without opening it for writing; [`io::ErrorKind::FileTooLarge`] for more than `most`.
    ///
    /// # Errors
    /// The system's.
    fn read(&self, path: &Path, most: u64) -> io::Result<Vec<u8>>;

    /// A second name for a file; [`io::ErrorKind::AlreadyExists`] where it is taken.
    ///
    /// # Errors
    /// The system's; not every file system has second names.
    fn link(&self, from: &Path, to: &Path) -> io::Result<()>;

    /// Moves a file, in one step, over whatever file stands at the other name.
    ///
    /// # Errors
    /// The system's.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;

    /// Takes a name away.
    ///
    /// # Errors
    /// The system's.
    fn remove(&self, path: &Path) -> io::Result<()>;

    /// A folder, with those above it that are missing; no error where it is there.
    ///
    /// # Errors
    /// The system's.
    fn create_folder(&self, path: &Path) -> io::Result<()>;

    /// Makes the names in a folder as safe as the files behind them, where the system can do that at all.
    ///
    /// # Errors
    /// The system's; none where it cannot.
    fn sync_folder(&self, path: &Path) -> io::Result<()>;

    /// Whether a name leads to this very file.
    ///
    /// # Errors
    /// The system's; a name that leads nowhere is no error.
    fn leads_to(&self, path: &Path, file: &Self::File) -> io::Result<bool>;

    /// A name that leads now to this file, which once had the name `path`; none where it was deleted, or where the system cannot
    /// tell.
    fn whereabouts(&self, path: &Path, file: &Self::File) -> Option<PathBuf>;
}

/// A file of a [`Disk`]. Offsets are in bytes from its beginning.
pub trait DiskFile: fmt::Debug {
    /// Writes all of the bytes at an offset.
    ///
    /// # Errors
    /// The system's; then some of them may be written.
    fn write_at(&mut self, bytes: &[u8], at: u64) -> io::Result<()>;

    /// Fills the bytes from an offset.
    ///
    /// # Errors
    /// The system's; [`io::ErrorKind::UnexpectedEof`] where the file ends before.
    fn read_at(&mut self, bytes: &mut [u8], at: u64) -> io::Result<()>;

    /// Bytes of the file.
    ///
    /// # Errors
    /// The system's.
    fn size(&self) -> io::Result<u64>;

    /// Cuts the file off, or lengthens it with zeros.
    ///
    /// # Errors
    /// The system's.
    fn set_size(&mut self, bytes: u64) -> io::Result<()>;

    /// Returns when everything written, and the size, would outlast a power cut.
    ///
    /// # Errors
    /// The system's; then nothing is known of what was written since the last one that succeeded, and it must be written again.
    fn sync(&mut self) -> io::Result<()>;
}

/// What stands at a name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Nothing.
    Nothing,
    /// A file.
    File,
    /// A folder.
    Folder,
    /// A terminal, a pipe, a device.
    Device,
}

/// The folder that a name is in.
#[must_use]
pub fn folder_of(path: &Path) -> &Path {
    path.parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

/// Where the user's own things are kept that belong to no build.
#[must_use]
pub fn state_folder() -> PathBuf {
    let set = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    set("XDG_STATE_HOME")
        .or_else(|| set("HOME").map(|home| home.join(".local/state")))
        .or_else(|| set("LOCALAPPDATA"))
        .unwrap_or_else(std::env::temp_dir)
        .join("evendraw")
}

/// A name with something put behind it.
#[must_use]
pub fn with_behind(path: &Path, behind: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(behind);
    PathBuf::from(name)
}
