//! The disk of this machine.
//!
//! What differs between systems stands here and nowhere else. A lock: advisory on Unix, so that a reader may look on; on Windows,
//! where locks hold readers off too, the file is opened so that others may read it and do nothing else. A file's identity: device
//! and number on Unix, volume and number on Windows, birth and size elsewhere. A name that was taken from an open file: free at once
//! on Unix, and perhaps only when the file is closed on Windows. Syncing a folder: not on Windows. Where a file is now: Linux tells.
//! Knows nothing of what is in a file.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::{Disk, DiskFile, Kind};

/// The disk of this machine.
#[derive(Clone, Copy, Debug, Default)]
pub struct System;

impl Disk for System {
    type File = File;

    fn create(&self, path: &Path) -> io::Result<File> {
        let file = alone().create_new(true).open(path).map_err(in_use)?;
        patiently(|| lock(&file))?;
        Ok(file)
    }

    fn open(&self, path: &Path) -> io::Result<File> {
        let file = patiently(|| alone().open(path).map_err(in_use))?;
        patiently(|| lock(&file))?;
        Ok(file)
    }

    fn kind(&self, path: &Path) -> io::Result<Kind> {
        match fs::metadata(path) {
            Ok(data) if data.is_dir() => Ok(Kind::Folder),
            Ok(data) if data.is_file() => Ok(Kind::File),
            Ok(_) => Ok(Kind::Device),
            // A symbolic link that leads nowhere is a name that is taken.
            Err(error) if leads_nowhere(&error) && path.is_symlink() => Ok(Kind::File),
            Err(error) if leads_nowhere(&error) => Ok(Kind::Nothing),
            Err(error) => Err(error),
        }
    }

    fn read(&self, path: &Path, most: u64) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        File::open(path)?
            .take(most.saturating_add(1))
            .read_to_end(&mut bytes)?;
        if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > most {
            return Err(io::ErrorKind::FileTooLarge.into());
        }
        Ok(bytes)
    }

    fn link(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::hard_link(from, to)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn create_folder(&self, path: &Path) -> io::Result<()> {
        fs::create_dir_all(path)
    }

    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        if cfg!(windows) {
            return Ok(());
        }
        match File::open(path).and_then(|folder| folder.sync_all()) {
            // Some file systems have no such thing, and some folders may be written in and not be read.
            Err(error)
                if matches!(
                    error.kind(),
                    io::ErrorKind::InvalidInput
                        | io::ErrorKind::Unsupported
                        | io::ErrorKind::PermissionDenied
                ) =>
            {
                Ok(())
            }
            other => other,
        }
    }

    fn leads_to(&self, path: &Path, file: &File) -> io::Result<bool> {
        match identity_at(path) {
            Ok(named) => Ok(named == identity(file)?),
            Err(error) if leads_nowhere(&error) => Ok(false),
            Err(error) if is_going(&error, file) => Ok(false),
            Err(error) => Err(error),
        }
    }

    fn whereabouts(&self, path: &Path, file: &File) -> Option<PathBuf> {
        let opened = path_of(file)?;
        // Of a file that was opened under a name it has no more, the system knows that name and the folder, wherever that is.
        let beside = path
            .file_name()
            .map(|name| super::folder_of(&opened).join(name));
        [Some(opened), beside]
            .into_iter()
            .flatten()
            .find(|now| self.leads_to(now, file).unwrap_or(false))
    }
}

impl DiskFile for File {
    fn write_at(&mut self, bytes: &[u8], at: u64) -> io::Result<()> {
        self.seek(SeekFrom::Start(at))?;
        self.write_all(bytes)
    }

    fn read_at(&mut self, bytes: &mut [u8], at: u64) -> io::Result<()> {
        self.seek(SeekFrom::Start(at))?;
        self.read_exact(bytes)
    }

    fn size(&self) -> io::Result<u64> {
        Ok(self.metadata()?.len())
    }

    fn set_size(&mut self, bytes: u64) -> io::Result<()> {
        self.set_len(bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

/// For reading and writing; where the system can, others may only read meanwhile.
fn alone() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.read(true).write(true);
    #[cfg(windows)]
    {
        use std::os::windows::fs::OpenOptionsExt as _;
        /// `FILE_SHARE_READ | FILE_SHARE_DELETE`: a file that has just been written is still to get its name.
        const SHARE: u32 = 1 | 4;
        options.share_mode(SHARE);
    }
    options
}

/// What a second program is told, in one word for all systems.
fn in_use(error: io::Error) -> io::Error {
    /// `ERROR_SHARING_VIOLATION`.
    const SHARING: i32 = 32;
    if cfg!(windows) && error.raw_os_error() == Some(SHARING) {
        io::ErrorKind::WouldBlock.into()
    } else {
        error
    }
}

/// Tried again while another program has it: whoever only asks whether a file is open holds it for a moment.
fn patiently<T>(mut attempt: impl FnMut() -> io::Result<T>) -> io::Result<T> {
    for _ in 0..10 {
        match attempt() {
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => {
                std::thread::sleep(std::time::Duration::from_millis(10));
            }
            other => return other,
        }
    }
    Err(io::ErrorKind::WouldBlock.into())
}

#[cfg(not(windows))]
fn lock(file: &File) -> io::Result<()> {
    match file.try_lock() {
        Ok(()) => Ok(()),
        Err(fs::TryLockError::WouldBlock) => Err(io::ErrorKind::WouldBlock.into()),
        Err(fs::TryLockError::Error(error)) => Err(error),
    }
}

/// Whether another program has a file open to write it. Asked without waiting, and by many at once.
#[cfg(not(windows))]
pub(crate) fn is_open_elsewhere(path: &Path) -> bool {
    File::open(path)
        .is_ok_and(|file| matches!(file.try_lock_shared(), Err(fs::TryLockError::WouldBlock)))
}

/// Whether another program has a file open to write it.
#[cfg(windows)]
pub(crate) fn is_open_elsewhere(path: &Path) -> bool {
    alone()
        .open(path)
        .map_err(in_use)
        .is_err_and(|error| error.kind() == io::ErrorKind::WouldBlock)
}

/// Opening it was the lock.
#[cfg(windows)]
#[expect(
    clippy::unnecessary_wraps,
    reason = "the same signature on every system"
)]
fn lock(_file: &File) -> io::Result<()> {
    Ok(())
}

fn leads_nowhere(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory
    )
}

#[cfg(unix)]
fn identity(file: &File) -> io::Result<(u64, u64)> {
    file.metadata().map(|data| number(&data))
}

#[cfg(unix)]
fn identity_at(path: &Path) -> io::Result<(u64, u64)> {
    fs::metadata(path).map(|data| number(&data))
}

#[cfg(unix)]
fn number(data: &fs::Metadata) -> (u64, u64) {
    use std::os::unix::fs::MetadataExt as _;
    (data.dev(), data.ino())
}

/// Not its birth: a file that takes the name of one deleted a moment ago inherits that too.
#[cfg(windows)]
fn identity(file: &File) -> io::Result<(u64, u64)> {
    let about = winapi_util::file::information(file)?;
    Ok((about.volume_serial_number(), about.file_index()))
}

/// Opened to ask, neither to read nor to write, which nobody holds off; a folder may stand there too.
#[cfg(windows)]
fn identity_at(path: &Path) -> io::Result<(u64, u64)> {
    use std::os::windows::fs::OpenOptionsExt as _;
    /// `FILE_FLAG_BACKUP_SEMANTICS`: also folders.
    const FOLDERS_TOO: u32 = 0x0200_0000;
    let mut options = OpenOptions::new();
    options.access_mode(0).custom_flags(FOLDERS_TOO);
    identity(&options.open(path)?)
}

/// Birth and size: a copy put in its place is younger, or is shorter by what was just written.
#[cfg(not(any(unix, windows)))]
fn identity(file: &File) -> io::Result<(u64, Option<std::time::SystemTime>)> {
    file.metadata()
        .map(|data| (data.len(), data.created().ok()))
}

#[cfg(not(any(unix, windows)))]
fn identity_at(path: &Path) -> io::Result<(u64, Option<std::time::SystemTime>)> {
    fs::metadata(path).map(|data| (data.len(), data.created().ok()))
}

/// Whether the name cannot be looked up because it was taken from this very file, and goes when it is closed.
#[cfg(windows)]
fn is_going(error: &io::Error, file: &File) -> bool {
    error.kind() == io::ErrorKind::PermissionDenied
        && winapi_util::file::information(file).is_ok_and(|about| about.number_of_links() == 0)
}

/// A name that is taken away is gone at once.
#[cfg(not(windows))]
fn is_going(_error: &io::Error, _file: &File) -> bool {
    false
}

#[cfg(target_os = "linux")]
fn path_of(file: &File) -> Option<PathBuf> {
    use std::os::fd::AsRawFd as _;
    fs::read_link(format!("/proc/self/fd/{}", file.as_raw_fd())).ok()
}

#[cfg(not(target_os = "linux"))]
fn path_of(_file: &File) -> Option<PathBuf> {
    None
}
