//! Files as the system keeps them: the few things that are asked of a disk, each with its promise, and files written whole or not at
//! all.
//!
//! [`System`] is the disk of this machine. The model test of the store brings another one, which loses power, runs full and lets
//! strangers take files away. Knows nothing of what is in a file.

mod system;
mod whole;

use std::ffi::OsString;
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
    state_folder_of(cfg!(windows), |name| std::env::var_os(name))
}

/// On Windows some shells set `HOME` and others do not: the folder is the same from all of them.
fn state_folder_of(on_windows: bool, variable: impl Fn(&str) -> Option<OsString>) -> PathBuf {
    let set = |name: &str| {
        variable(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    let of_the_system = || set("LOCALAPPDATA").filter(|_| on_windows);
    set("XDG_STATE_HOME")
        .or_else(of_the_system)
        .or_else(|| set("HOME").map(|home| home.join(".local/state")))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_belongs_to_no_build_is_kept_in_one_place_whatever_shell_started_the_program() {
        let folder = |on_windows, set: &[(&str, &str)]| {
            state_folder_of(on_windows, |name| {
                let found = set.iter().find(|(own, _)| *own == name);
                found.map(|(_, value)| OsString::from(value))
            })
        };
        let app = ("LOCALAPPDATA", "app");
        let home = ("HOME", "home");
        for set in [&[app][..], &[home, app], &[("XDG_STATE_HOME", ""), app]] {
            assert_eq!(
                folder(true, set),
                Path::new("app").join("evendraw"),
                "{set:?}"
            );
        }
        // Elsewhere that name means nothing.
        let at_home = Path::new("home").join(".local/state/evendraw");
        assert_eq!(folder(false, &[home, app]), at_home);
        // What is asked for goes before what is usual.
        for on_windows in [true, false] {
            let chosen = folder(on_windows, &[("XDG_STATE_HOME", "chosen"), home, app]);
            assert_eq!(chosen, Path::new("chosen").join("evendraw"));
        }
        assert!(folder(true, &[]).starts_with(std::env::temp_dir()));
    }
}
