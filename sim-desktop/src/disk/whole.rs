//! A file that is there whole or not at all: written beside, synced, then given its name.
//!
//! Knows nothing of what is in it, nor of what may be replaced.

use std::io;
use std::path::{Path, PathBuf};

use super::{Disk, DiskFile, Kind, folder_of, with_behind};
use crate::signals::Whole;

/// What stands behind a name while its file is being written.
const UNFINISHED: &str = ".evendraw-unfinished";

/// Writes a file under a name that is free.
///
/// # Errors
/// [`io::ErrorKind::AlreadyExists`] where the name is taken, also where it is taken meanwhile; the system's. Then nothing is left
/// behind.
pub fn create<D: Disk>(disk: &D, path: &Path, bytes: &[u8]) -> io::Result<()> {
    let _whole = Whole::begin();
    let unfinished = begun(disk, path, |unfinished| unfinished.fill(bytes))?;
    unfinished.name(disk).map(drop)
}

/// As [`create`], without waiting for the disk: whole when the program is killed, perhaps not after a power cut. For what is missed
/// when it is gone, and found out.
///
/// # Errors
/// As there.
pub fn create_loosely<D: Disk>(disk: &D, path: &Path, bytes: &[u8]) -> io::Result<()> {
    let _whole = Whole::begin();
    let unfinished = begun(disk, path, |unfinished| unfinished.file.write_at(bytes, 0))?;
    unfinished.take_name(disk).map(drop)
}

/// Writes a file in the place of another: until the new one is safe the old one is.
///
/// # Errors
/// The system's. Then the old file is as it was, and nothing is left behind.
pub fn replace<D: Disk>(disk: &D, path: &Path, bytes: &[u8]) -> io::Result<()> {
    let _whole = Whole::begin();
    begun(disk, path, |unfinished| {
        unfinished.fill(bytes)?;
        disk.rename(&unfinished.path, path)
    })?;
    disk.sync_folder(folder_of(path))
}

/// A file beside a name, begun; taken away again where that fails.
fn begun<D: Disk>(
    disk: &D,
    path: &Path,
    begin: impl FnOnce(&mut Unfinished<D>) -> io::Result<()>,
) -> io::Result<Unfinished<D>> {
    let mut unfinished = Unfinished::beside(disk, path)?;
    match begin(&mut unfinished) {
        Ok(()) => Ok(unfinished),
        Err(error) => {
            unfinished.give_up(disk);
            Err(error)
        }
    }
}

/// A file that has no name of its own yet.
#[derive(Debug)]
pub struct Unfinished<D: Disk> {
    file: D::File,
    path: PathBuf,
    /// The name that it is to get.
    to: PathBuf,
}

impl<D: Disk> Unfinished<D> {
    /// A new empty file beside the name that it is to get.
    ///
    /// # Errors
    /// [`io::ErrorKind::WouldBlock`] while another program writes a file for the same name; the system's.
    pub fn beside(disk: &D, to: &Path) -> io::Result<Self> {
        let path = with_behind(to, UNFINISHED);
        let file = match disk.create(&path) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                // Left by a program that was killed: nobody holds it. Its name is taken away and its bytes are left alone, as they
                // may be those of a finished file that has a name already.
                drop(disk.open(&path)?);
                disk.remove(&path)?;
                disk.create(&path)?
            }
            other => other?,
        };
        Ok(Self {
            file,
            path,
            to: to.to_owned(),
        })
    }

    /// The file.
    pub fn file(&mut self) -> &mut D::File {
        &mut self.file
    }

    /// Writes and syncs its bytes.
    ///
    /// # Errors
    /// The system's.
    pub fn fill(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.file.write_at(bytes, 0)?;
        self.file.sync()
    }

    /// Gives it the name, if that is still free, and returns it open.
    ///
    /// # Errors
    /// As for [`create`].
    pub fn name(self, disk: &D) -> io::Result<D::File> {
        let (to, path) = (self.to.clone(), self.path.clone());
        let file = self.take_name(disk)?;
        match disk.sync_folder(folder_of(&to)) {
            Ok(()) => Ok(file),
            Err(error) => {
                for name in [to, path] {
                    if disk.leads_to(&name, &file).unwrap_or(false) {
                        let _ = disk.remove(&name);
                    }
                }
                Err(error)
            }
        }
    }

    /// As [`Unfinished::name`], but for the folder, which is not synced.
    fn take_name(self, disk: &D) -> io::Result<D::File> {
        let named = match disk.link(&self.path, &self.to) {
            Ok(()) => {
                // It has its name. Should the other one stay, the next that writes here takes it away.
                let _ = disk.remove(&self.path);
                Ok(())
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(error),
            // No second names here. Every program of ours that wants this name holds the unfinished file, so between looking and
            // moving only a stranger could come.
            Err(_) => match disk.kind(&self.to) {
                Ok(Kind::Nothing) => disk.rename(&self.path, &self.to),
                Ok(_) => Err(io::ErrorKind::AlreadyExists.into()),
                Err(error) => Err(error),
            },
        };
        match named {
            Ok(()) => Ok(self.file),
            Err(error) => {
                self.give_up(disk);
                Err(error)
            }
        }
    }

    /// Takes it away again.
    pub fn give_up(self, disk: &D) {
        // What was wrong is told already; a file that cannot be taken away is taken away by the next that writes here.
        let _ = disk.remove(&self.path);
    }
}

/// Takes away the second name that a killed program left of a file.
///
/// # Errors
/// The system's.
pub(crate) fn tidy<D: Disk>(disk: &D, path: &Path, file: &D::File) -> io::Result<()> {
    let stray = with_behind(path, UNFINISHED);
    if disk.leads_to(&stray, file)? {
        disk.remove(&stray)?;
    }
    Ok(())
}
