//! A disk in memory that does what real ones do at their worst.
//!
//! What is written and not synced may be there after a power cut whole, in part, out of order, as zeros or as junk; names likewise.
//! A sync that fails forgets what it should have kept, and the next one does not bring it back. Anything may run full or fail once.
//! Strangers delete, replace and move files. A program may be killed, or the power go, after any byte. Knows nothing of journals.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use evendraw::disk::{Disk, DiskFile, Kind};

use crate::schedule::Rng;

/// The disk, as every program sees it.
#[derive(Clone, Debug)]
pub(crate) struct Simulated(Rc<RefCell<State>>);

#[derive(Debug)]
struct State {
    rng: Rng,
    names: BTreeMap<PathBuf, u64>,
    /// The names that a power cut leaves.
    safe_names: BTreeMap<PathBuf, u64>,
    /// Changes to names since the folder was synced.
    pending_names: Vec<Vec<(PathBuf, Option<u64>)>>,
    files: BTreeMap<u64, Inode>,
    next: u64,
    /// Steps until something fails; none: nothing will.
    failing: Option<usize>,
    /// The call that failed last.
    failed: Option<&'static str>,
    /// Bytes until the program ends, and whether the power goes with it.
    left: Option<(usize, bool)>,
    off: bool,
    /// Second names are there.
    has_links: bool,
    /// It can be asked where a file is.
    tells: bool,
}

#[derive(Debug, Default)]
struct Inode {
    live: Vec<u8>,
    safe: Vec<u8>,
    pending: Vec<Change>,
    holder: Option<u64>,
}

#[derive(Clone, Debug)]
enum Change {
    Write { at: usize, bytes: Vec<u8> },
    Size(usize),
}

impl Change {
    fn put(&self, bytes: &mut Vec<u8>) {
        match self {
            Self::Write { at, bytes: new } => {
                if bytes.len() < at + new.len() {
                    bytes.resize(at + new.len(), 0);
                }
                bytes[*at..at + new.len()].copy_from_slice(new);
            }
            Self::Size(size) => bytes.resize(*size, 0),
        }
    }
}

/// A file open on the disk; dropping it lets go of it.
#[derive(Debug)]
pub(crate) struct Held {
    disk: Simulated,
    file: u64,
    handle: u64,
}

fn off() -> io::Error {
    io::Error::other("the program has ended")
}

fn broken() -> io::Error {
    io::Error::other("input/output error")
}

impl State {
    /// Whether the program still runs, and whether this call fails.
    fn ask(&mut self, what: &'static str) -> io::Result<()> {
        if self.off {
            return Err(off());
        }
        match &mut self.failing {
            Some(0) => {
                self.failing = None;
                self.failed = Some(what);
                if self.rng.one_in(2) {
                    Err(io::ErrorKind::StorageFull.into())
                } else {
                    Err(broken())
                }
            }
            Some(steps) => {
                *steps -= 1;
                Ok(())
            }
            None => Ok(()),
        }
    }

    /// How many of so many bytes are written before the program ends.
    fn spend(&mut self, bytes: usize) -> usize {
        match &mut self.left {
            Some((left, _)) if *left < bytes => {
                self.off = true;
                *left
            }
            Some((left, _)) => {
                *left -= bytes;
                bytes
            }
            None => bytes,
        }
    }

    fn rename(&mut self, changes: Vec<(PathBuf, Option<u64>)>) -> io::Result<()> {
        // A change of names costs as much as a few bytes, so that a program may end before it.
        if self.spend(8) < 8 {
            return Err(off());
        }
        self.set_names(changes);
        Ok(())
    }

    fn set_names(&mut self, changes: Vec<(PathBuf, Option<u64>)>) {
        put_names(&mut self.names, &changes);
        self.pending_names.push(changes);
    }

    fn inode(&mut self, file: u64) -> &mut Inode {
        self.files.entry(file).or_default()
    }

    fn new_file(&mut self, live: Vec<u8>) -> u64 {
        self.next += 1;
        let inode = Inode {
            safe: live.clone(),
            live,
            ..Inode::default()
        };
        self.files.insert(self.next, inode);
        self.next
    }

    fn hold(&mut self, disk: &Simulated, file: u64) -> io::Result<Held> {
        self.next += 1;
        let handle = self.next;
        let inode = self.inode(file);
        if inode.holder.is_some() {
            return Err(io::ErrorKind::WouldBlock.into());
        }
        inode.holder = Some(handle);
        Ok(Held {
            disk: disk.clone(),
            file,
            handle,
        })
    }
}

fn put_names(names: &mut BTreeMap<PathBuf, u64>, changes: &[(PathBuf, Option<u64>)]) {
    for (path, file) in changes {
        match file {
            Some(file) => names.insert(path.clone(), *file),
            None => names.remove(path),
        };
    }
}

impl Simulated {
    pub(crate) fn new(seed: u64) -> Self {
        let mut rng = Rng::new(seed ^ 0xD15C);
        let has_links = !rng.one_in(6);
        let tells = rng.one_in(2);
        Self(Rc::new(RefCell::new(State {
            rng,
            names: BTreeMap::new(),
            safe_names: BTreeMap::new(),
            pending_names: Vec::new(),
            files: BTreeMap::new(),
            next: 0,
            failing: None,
            failed: None,
            left: None,
            off: false,
            has_links,
            tells,
        })))
    }

    /// One of the next calls fails.
    pub(crate) fn fail_soon(&self) {
        let mut state = self.0.borrow_mut();
        let steps = state.rng.below(12);
        state.failing = Some(steps);
    }

    /// The program ends after so many more bytes; with the power or without.
    pub(crate) fn end_after(&self, bytes: usize, with_power: bool) {
        self.0.borrow_mut().left = Some((bytes, with_power));
    }

    /// The call that failed since this was asked last.
    pub(crate) fn failed(&self) -> Option<&'static str> {
        self.0.borrow_mut().failed.take()
    }

    /// Whether the program has ended.
    pub(crate) fn is_off(&self) -> bool {
        self.0.borrow().off
    }

    /// The program has ended, here if not before; what is on the disk is what is left.
    pub(crate) fn restart(&self, with_power: bool) {
        let mut state = self.0.borrow_mut();
        let power = match state.left.take() {
            Some((_, power)) if state.off => power,
            _ => with_power,
        };
        state.off = false;
        state.failing = None;
        for inode in state.files.values_mut() {
            inode.holder = None;
        }
        if power {
            cut(&mut state);
        }
    }

    /// Nothing goes wrong any more.
    pub(crate) fn calm(&self) {
        let mut state = self.0.borrow_mut();
        state.failing = None;
        state.left = None;
    }

    /// What is under a name, as anybody would read it.
    pub(crate) fn bytes(&self, path: &Path) -> Option<Vec<u8>> {
        let state = self.0.borrow();
        Some(state.files[state.names.get(path)?].live.clone())
    }

    pub(crate) fn names(&self) -> Vec<PathBuf> {
        self.0.borrow().names.keys().cloned().collect()
    }

    /// A stranger takes a name away.
    pub(crate) fn delete(&self, path: &Path) {
        self.0.borrow_mut().set_names(vec![(path.to_owned(), None)]);
    }

    /// A stranger puts another file under a name.
    pub(crate) fn put(&self, path: &Path, bytes: Vec<u8>) {
        let mut state = self.0.borrow_mut();
        let file = state.new_file(bytes);
        state.set_names(vec![(path.to_owned(), Some(file))]);
    }

    /// A stranger gives a file another name.
    pub(crate) fn move_away(&self, from: &Path, to: &Path) {
        let mut state = self.0.borrow_mut();
        let file = state.names.get(from).copied();
        state.set_names(vec![(from.to_owned(), None), (to.to_owned(), file)]);
    }
}

/// Leaves what a power cut leaves.
fn cut(state: &mut State) {
    for changes in std::mem::take(&mut state.pending_names) {
        if state.rng.one_in(2) {
            put_names(&mut state.safe_names, &changes);
        }
    }
    state.names.clone_from(&state.safe_names);
    for inode in state.files.values_mut() {
        for change in std::mem::take(&mut inode.pending) {
            if let Some(change) = torn(change, &inode.safe, &mut state.rng) {
                change.put(&mut inode.safe);
            }
        }
        inode.live.clone_from(&inode.safe);
    }
    let named: Vec<u64> = state.names.values().copied().collect();
    state.files.retain(|file, _| named.contains(file));
}

/// What became of a change that was never synced. Where there were bytes before, each sector is the old or the new one; beyond the
/// old end it may also be zeros or junk.
fn torn(change: Change, safe: &[u8], rng: &mut Rng) -> Option<Change> {
    let Change::Write { at, mut bytes } = change else {
        return (!rng.one_in(2)).then_some(change);
    };
    let (kind, cut) = (rng.below(5), rng.below(bytes.len() + 1));
    let lost = match kind {
        0 => return None,
        1 => 0..0,
        // A later sector is there and an earlier one is not.
        2 => 0..cut,
        3 => cut..bytes.len(),
        _ => {
            bytes.truncate(cut);
            0..0
        }
    };
    for place in lost {
        bytes[place] = match safe.get(at + place) {
            Some(old) => *old,
            None if kind == 3 => rng.draw().to_le_bytes()[0],
            None => 0,
        };
    }
    Some(Change::Write { at, bytes })
}

impl Disk for Simulated {
    type File = Held;

    fn create(&self, path: &Path) -> io::Result<Held> {
        let mut state = self.0.borrow_mut();
        state.ask("create")?;
        if state.names.contains_key(path) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let file = state.new_file(Vec::new());
        state.rename(vec![(path.to_owned(), Some(file))])?;
        state.hold(self, file)
    }

    fn open(&self, path: &Path) -> io::Result<Held> {
        let mut state = self.0.borrow_mut();
        state.ask("open")?;
        match state.names.get(path).copied() {
            Some(file) => state.hold(self, file),
            None => Err(io::ErrorKind::NotFound.into()),
        }
    }

    fn kind(&self, path: &Path) -> io::Result<Kind> {
        let mut state = self.0.borrow_mut();
        state.ask("kind")?;
        Ok(if state.names.contains_key(path) {
            Kind::File
        } else {
            Kind::Nothing
        })
    }

    fn read(&self, path: &Path, most: u64) -> io::Result<Vec<u8>> {
        let mut state = self.0.borrow_mut();
        state.ask("read")?;
        let Some(file) = state.names.get(path) else {
            return Err(io::ErrorKind::NotFound.into());
        };
        let bytes = state.files[file].live.clone();
        if u64::try_from(bytes.len()).unwrap() > most {
            return Err(io::ErrorKind::FileTooLarge.into());
        }
        Ok(bytes)
    }

    fn link(&self, from: &Path, to: &Path) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        state.ask("link")?;
        if !state.has_links {
            return Err(io::ErrorKind::Unsupported.into());
        }
        let Some(file) = state.names.get(from).copied() else {
            return Err(io::ErrorKind::NotFound.into());
        };
        if state.names.contains_key(to) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        state.rename(vec![(to.to_owned(), Some(file))])
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        state.ask("rename")?;
        let Some(file) = state.names.get(from).copied() else {
            return Err(io::ErrorKind::NotFound.into());
        };
        state.rename(vec![(from.to_owned(), None), (to.to_owned(), Some(file))])
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        state.ask("remove")?;
        if !state.names.contains_key(path) {
            return Err(io::ErrorKind::NotFound.into());
        }
        state.rename(vec![(path.to_owned(), None)])
    }

    fn create_folder(&self, _path: &Path) -> io::Result<()> {
        self.0.borrow_mut().ask("create_folder")
    }

    fn sync_folder(&self, _path: &Path) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        state.ask("sync_folder")?;
        for changes in std::mem::take(&mut state.pending_names) {
            put_names(&mut state.safe_names, &changes);
        }
        Ok(())
    }

    fn leads_to(&self, path: &Path, file: &Held) -> io::Result<bool> {
        let mut state = self.0.borrow_mut();
        state.ask("leads_to")?;
        Ok(state.names.get(path) == Some(&file.file))
    }

    fn whereabouts(&self, _path: &Path, file: &Held) -> Option<PathBuf> {
        let mut state = self.0.borrow_mut();
        if state.ask("whereabouts").is_err() || !state.tells {
            return None;
        }
        let named = state.names.iter().find(|(_, named)| **named == file.file);
        named.map(|(path, _)| path.clone())
    }
}

impl DiskFile for Held {
    fn write_at(&mut self, bytes: &[u8], at: u64) -> io::Result<()> {
        let mut state = self.disk.0.borrow_mut();
        let failed = state.ask("write_at");
        let some = match &failed {
            Err(_) if state.off => return failed,
            Err(_) => state.rng.below(bytes.len() + 1),
            Ok(()) => bytes.len(),
        };
        let written = state.spend(some);
        let change = Change::Write {
            at: usize::try_from(at).unwrap(),
            bytes: bytes[..written].to_vec(),
        };
        let inode = state.inode(self.file);
        change.put(&mut inode.live);
        inode.pending.push(change);
        if written < some { Err(off()) } else { failed }
    }

    fn read_at(&mut self, bytes: &mut [u8], at: u64) -> io::Result<()> {
        let mut state = self.disk.0.borrow_mut();
        state.ask("read_at")?;
        let at = usize::try_from(at).unwrap();
        match state.inode(self.file).live.get(at..at + bytes.len()) {
            Some(found) => {
                bytes.copy_from_slice(found);
                Ok(())
            }
            None => Err(io::ErrorKind::UnexpectedEof.into()),
        }
    }

    fn size(&self) -> io::Result<u64> {
        let mut state = self.disk.0.borrow_mut();
        state.ask("size")?;
        Ok(u64::try_from(state.inode(self.file).live.len()).unwrap())
    }

    fn set_size(&mut self, bytes: u64) -> io::Result<()> {
        let mut state = self.disk.0.borrow_mut();
        state.ask("set_size")?;
        let change = Change::Size(usize::try_from(bytes).unwrap());
        let inode = state.inode(self.file);
        change.put(&mut inode.live);
        inode.pending.push(change);
        Ok(())
    }

    fn sync(&mut self) -> io::Result<()> {
        let mut state = self.disk.0.borrow_mut();
        let asked = state.ask("sync");
        if state.off {
            return asked;
        }
        let inode = state.inode(self.file);
        let pending = std::mem::take(&mut inode.pending);
        if asked.is_ok() {
            for change in pending {
                change.put(&mut inode.safe);
            }
        }
        asked
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        if let Ok(mut state) = self.disk.0.try_borrow_mut()
            && let Some(inode) = state.files.get_mut(&self.file)
            && inode.holder == Some(self.handle)
        {
            inode.holder = None;
        }
    }
}
