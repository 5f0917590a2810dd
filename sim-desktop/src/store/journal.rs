//! The file: locked, appended, synced, read back, and looked for under its name before anything counts as kept.
//!
//! Knows nothing of what the facts mean.

use std::io;
use std::path::{Path, PathBuf};

use evendraw_core::journal::{FIRST_SEED, Frame, OVERHEAD, encode, encode_entry};
use evendraw_core::limits::PAYLOAD_MAX;
use evendraw_core::record::Entry;

use super::content::{Content, Damage, Unread};
use super::error::StoreError;
use super::host::{self, HostFact, PLAN_PIECE_MAX};
use crate::disk::{self, Disk, DiskFile, System, Unfinished, folder_of, with_behind};
use crate::signals::Whole;

/// Bytes that a journal may have: a million records, and more than a thousand builds make.
pub const JOURNAL_MAX: u64 = 64 * 1024 * 1024;

/// What a journal is for. The two never mix.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Real metal.
    Job,
    /// The virtual bench.
    Rehearsal,
}

/// A journal open for appending. The file is locked against other programs until this is dropped.
///
/// Nothing is kept as long as its name leads elsewhere: a file that was deleted, moved or replaced still takes what is written
/// into it, and nobody would ever see it again.
#[derive(Debug)]
pub struct Journal<D: Disk = System> {
    disk: D,
    file: D::File,
    path: PathBuf,
    seed: u32,
    sequence: u32,
    end: u64,
    /// A write failed: what stands behind the end is not known.
    is_ragged: bool,
    /// Where all that is known is kept, since the name leads elsewhere.
    rescue: Option<(PathBuf, D::File)>,
}

/// Reads a journal without opening it for writing.
///
/// # Errors
/// [`StoreError::Io`] when it cannot be read, [`StoreError::TooLarge`], [`StoreError::NotAJournal`] when nothing in it proves
/// itself.
pub fn read(path: &Path) -> Result<Content, StoreError> {
    read_with_bytes(path).map(|(content, _)| content)
}

/// As [`read`], with the bytes that were read.
///
/// # Errors
/// As there.
pub fn read_with_bytes(path: &Path) -> Result<(Content, Vec<u8>), StoreError> {
    read_on(&System, path)
}

/// As [`read_with_bytes`], on a disk.
///
/// # Errors
/// As there.
pub fn read_on<D: Disk>(disk: &D, path: &Path) -> Result<(Content, Vec<u8>), StoreError> {
    let bytes = bytes_on(disk, path)?;
    Ok((content_of(path, &bytes)?, bytes))
}

/// The bytes of a file that may be a journal, for whoever looks at them before they are read.
///
/// # Errors
/// The file cannot be read, or is larger than any journal.
pub fn bytes(path: &Path) -> Result<Vec<u8>, StoreError> {
    bytes_on(&System, path)
}

fn bytes_on<D: Disk>(disk: &D, path: &Path) -> Result<Vec<u8>, StoreError> {
    disk.read(path, JOURNAL_MAX)
        .map_err(|error| match error.kind() {
            io::ErrorKind::FileTooLarge => StoreError::TooLarge {
                path: path.to_owned(),
                most: JOURNAL_MAX,
            },
            _ => StoreError::io(path, "read")(error),
        })
}

/// What these bytes of a file say.
///
/// # Errors
/// [`StoreError::NotAJournal`] where nothing in them proves itself.
pub fn content_of(path: &Path, bytes: &[u8]) -> Result<Content, StoreError> {
    let content = Content::of(bytes);
    if content.is_journal() {
        Ok(content)
    } else {
        Err(StoreError::NotAJournal {
            path: path.to_owned(),
        })
    }
}

impl Journal {
    /// A new journal with the plan as typed. Refuses a name that is taken.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn create(
        path: &Path,
        purpose: Purpose,
        plan_name: &str,
        plan: &str,
    ) -> Result<Self, StoreError> {
        Self::create_on(System, path, purpose, plan_name, plan)
    }

    /// An existing journal, to go on with. A torn tail is cut off the file; what was found is in the content's damage.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn open(path: &Path, purpose: Purpose) -> Result<(Self, Content), StoreError> {
        Self::open_on(System, path, purpose)
    }
}

impl<D: Disk> Journal<D> {
    /// As [`Journal::create`], on a disk.
    ///
    /// # Errors
    /// [`StoreError`]; then no file is left behind.
    pub fn create_on(
        disk: D,
        path: &Path,
        purpose: Purpose,
        plan_name: &str,
        plan: &str,
    ) -> Result<Self, StoreError> {
        let create = || StoreError::io(path, "create");
        if disk.kind(path).map_err(create())? != disk::Kind::Nothing {
            return Err(create()(io::ErrorKind::AlreadyExists.into()));
        }
        let mut written = Vec::new();
        let opening = opening(purpose, plan_name, plan)?;
        let (seed, sequence) = put_facts(&opening, (FIRST_SEED, 0), path, &mut written)?;
        let _whole = Whole::begin();
        // Under another name until its beginning is safe: whatever stands under the journal's own name can be gone on with.
        let mut unfinished =
            Unfinished::beside(&disk, path).map_err(|error| in_use_or(path, "create", error))?;
        if let Err(error) = keep_at(unfinished.file(), path, &written, 0) {
            unfinished.give_up(&disk);
            return Err(error);
        }
        let file = unfinished.name(&disk).map_err(create())?;
        Ok(Self {
            disk,
            file,
            path: path.to_owned(),
            seed,
            sequence,
            end: size_of(&written),
            is_ragged: false,
            rescue: None,
        })
    }

    /// As [`Journal::open`], on a disk.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn open_on(disk: D, path: &Path, purpose: Purpose) -> Result<(Self, Content), StoreError> {
        let _whole = Whole::begin();
        let mut file = disk
            .open(path)
            .map_err(|error| in_use_or(path, "open", error))?;
        let size = file.size().map_err(StoreError::io(path, "read"))?;
        let bytes = match usize::try_from(size) {
            Ok(size) if u64::try_from(size).is_ok_and(|size| size <= JOURNAL_MAX) => {
                let mut bytes = vec![0; size];
                file.read_at(&mut bytes, 0)
                    .map_err(StoreError::io(path, "read"))?;
                bytes
            }
            _ => {
                return Err(StoreError::TooLarge {
                    path: path.to_owned(),
                    most: JOURNAL_MAX,
                });
            }
        };
        let content = Content::of(&bytes);
        let path_owned = || path.to_owned();
        match content.rehearsal() {
            _ if !content.is_journal() => {
                return Err(StoreError::NotAJournal { path: path_owned() });
            }
            None => return Err(StoreError::BeginningLost { path: path_owned() }),
            Some(rehearsal) if rehearsal != (purpose == Purpose::Rehearsal) => {
                return Err(StoreError::OtherPurpose {
                    path: path_owned(),
                    rehearsal,
                });
            }
            Some(_) => {}
        }
        let end = u64::try_from(content.sound_bytes).unwrap_or(u64::MAX);
        if content.damage.last().is_some_and(|damage| damage.torn) {
            set_aside(&disk, path, &bytes, &content.damage)?;
            file.set_size(end)
                .map_err(StoreError::io(path, "cut the torn end off"))?;
        }
        // Whoever wrote this may have been killed before its last bytes or its name were safe: from here on they are. After a
        // sync that failed another one does not bring back what the first forgot, so all of it is written again, and cut off again.
        let sound = bytes.get(..content.sound_bytes).unwrap_or_default();
        file.sync()
            .or_else(|_| {
                file.write_at(sound, 0)?;
                file.set_size(end)?;
                file.sync()
            })
            .map_err(StoreError::io(path, "sync"))?;
        disk::tidy(&disk, path, &file).map_err(StoreError::io(path, "tidy up beside"))?;
        disk.sync_folder(folder_of(path))
            .map_err(StoreError::io(path, "sync the folder of"))?;
        let journal = Self {
            disk,
            file,
            path: path.to_owned(),
            seed: content.seed,
            sequence: content.sequence,
            end,
            is_ragged: false,
            rescue: None,
        };
        Ok((journal, content))
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Where the journal is now, so that what belongs to it is put beside it: under its own name; where it was moved to; or, where
    /// it was deleted or replaced, the new file that is written for it.
    pub fn place(&mut self) -> PathBuf {
        match self.disk.leads_to(&self.path, &self.file) {
            Ok(false) => match self.lost(&[], Ok(())) {
                StoreError::Moved { now, .. } => now,
                StoreError::Gone { kept: Ok(kept), .. } => kept,
                _ => self.path.clone(),
            },
            Ok(true) | Err(_) => self.path.clone(),
        }
    }

    /// Keeps records: written, synced, read back and compared, and found under the journal's name. When this returns, they are
    /// safe.
    ///
    /// # Errors
    /// [`StoreError`]; then none of them counts as kept, and the same call may be tried again.
    pub fn append(&mut self, entries: &[Entry]) -> Result<(), StoreError> {
        let mut bytes = Vec::with_capacity(entries.len().saturating_mul(64));
        let (mut seed, mut sequence) = (self.seed, self.sequence);
        for entry in entries {
            let mut room = [0; PAYLOAD_MAX + OVERHEAD];
            sequence = after(sequence, &self.path)?;
            let frame = encode_entry(entry, sequence, seed, &mut room).map_err(|error| {
                StoreError::TooLong {
                    what: error.to_string(),
                }
            })?;
            seed = sum_of(frame);
            bytes.extend_from_slice(frame);
        }
        self.keep(&bytes, seed, sequence)
    }

    /// Keeps records as they came that only a newer program reads, likewise.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn append_unread(&mut self, unread: &[Unread]) -> Result<(), StoreError> {
        let mut bytes = Vec::new();
        let (mut seed, mut sequence) = (self.seed, self.sequence);
        for record in unread {
            let mut room = [0; PAYLOAD_MAX + OVERHEAD];
            sequence = after(sequence, &self.path)?;
            let frame = Frame {
                kind: record.kind,
                version: record.version,
                sequence,
                payload: &record.payload,
            };
            let frame = encode(&frame, seed, &mut room).map_err(|error| StoreError::TooLong {
                what: error.to_string(),
            })?;
            seed = sum_of(frame);
            bytes.extend_from_slice(frame);
        }
        self.keep(&bytes, seed, sequence)
    }

    /// Keeps facts of the desktop, likewise.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn append_facts(&mut self, facts: &[HostFact]) -> Result<(), StoreError> {
        let mut bytes = Vec::new();
        let (seed, sequence) =
            put_facts(facts, (self.seed, self.sequence), &self.path, &mut bytes)?;
        self.keep(&bytes, seed, sequence)
    }

    /// From here on the job is worked to another text of the plan.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn change_plan(&mut self, plan_name: &str, plan: &str) -> Result<(), StoreError> {
        self.append_facts(&changing(plan_name, plan)?)
    }

    fn keep(&mut self, bytes: &[u8], seed: u32, sequence: u32) -> Result<(), StoreError> {
        let _whole = Whole::begin();
        let end = self.end.saturating_add(size_of(bytes));
        if end > JOURNAL_MAX {
            return Err(StoreError::Full {
                path: self.path.clone(),
            });
        }
        if self.is_ragged {
            // A write that failed may have left whole frames behind the end. A shorter one written over them would leave the last
            // of them standing, with its seed in front of it: it would be taken for kept. So they go first, and safely so.
            self.file
                .set_size(self.end)
                .and_then(|()| self.file.sync())
                .map_err(StoreError::io(&self.path, "cut a failed write off"))?;
        }
        self.is_ragged = true;
        let written = keep_at(&mut self.file, &self.path, bytes, self.end);
        if written.is_err() {
            // After a sync that failed the system may show what the disk does not have. Nobody shall read it and think it kept;
            // where it cannot be cut off now, it is before the next try.
            let _ = self.file.set_size(self.end);
        }
        // Looked at also when the write failed: on a disk that was taken away this is the reason to be told.
        match (self.disk.leads_to(&self.path, &self.file), written) {
            (Ok(true), written) => written?,
            (Ok(false), written) => return Err(self.lost(bytes, written)),
            (Err(error), _) => return Err(StoreError::io(&self.path, "look up")(error)),
        }
        self.is_ragged = false;
        // The name leads here again.
        self.rescue = None;
        self.end = end;
        self.seed = seed;
        self.sequence = sequence;
        Ok(())
    }

    /// The name leads elsewhere: says where the journal is, or writes all that is known to a new file beside it.
    fn lost(&mut self, unkept: &[u8], written: Result<(), StoreError>) -> StoreError {
        let path = self.path.clone();
        if let Some(now) = self.disk.whereabouts(&self.path, &self.file) {
            if let Err(error) = written {
                // It is not whole there yet.
                return error;
            }
            // Whoever moved it may not have made that safe; the place that is told should still be true after a power cut.
            if let Err(error) = self.disk.sync_folder(folder_of(&now)) {
                return StoreError::io(&now, "sync the folder of")(error);
            }
            return StoreError::Moved { path, now };
        }
        let kept = self.rescued(unkept).map_err(|error| error.to_string());
        StoreError::Gone { path, kept }
    }

    fn rescued(&mut self, unkept: &[u8]) -> io::Result<PathBuf> {
        let _whole = Whole::begin();
        if let Some((path, file)) = &mut self.rescue
            && self.disk.leads_to(path, file).unwrap_or(false)
        {
            file.set_size(self.end)?;
            file.write_at(unkept, self.end)?;
            file.sync()?;
            return Ok(path.clone());
        }
        let known = usize::try_from(self.end).unwrap_or(usize::MAX);
        let mut bytes = vec![0; known];
        self.file.read_at(&mut bytes, 0)?;
        bytes.extend_from_slice(unkept);
        // The folder may be gone with the file.
        self.disk.create_folder(folder_of(&self.path))?;
        for number in 1_u32.. {
            let path = numbered(&self.path, "rescued", number);
            if self.disk.kind(&path)? != disk::Kind::Nothing {
                continue;
            }
            let mut unfinished = Unfinished::beside(&self.disk, &path)?;
            if let Err(error) = unfinished.fill(&bytes) {
                unfinished.give_up(&self.disk);
                return Err(error);
            }
            let file = unfinished.name(&self.disk)?;
            self.rescue = Some((path.clone(), file));
            return Ok(path);
        }
        Err(io::ErrorKind::AlreadyExists.into())
    }
}

/// `pump.evj` as `pump.rescued.evj`, then `pump.rescued-2.evj`.
fn numbered(path: &Path, word: &str, number: u32) -> PathBuf {
    let number = if number > 1 {
        format!("-{number}")
    } else {
        String::new()
    };
    match path.extension() {
        Some(ending) => path.with_extension(format!("{word}{number}.{}", ending.display())),
        None => path.with_extension(format!("{word}{number}")),
    }
}

/// The name of the journal that a rescued one continues; none for any other.
pub(super) fn rescued_from(path: &Path) -> Option<PathBuf> {
    let stem = path.file_stem()?.to_str()?;
    let (name, number) = stem.rsplit_once(".rescued")?;
    let is_ours = number.is_empty()
        || number
            .strip_prefix('-')
            .is_some_and(|number| number.parse::<u32>().is_ok());
    let ending = path.extension()?.to_str()?;
    is_ours.then(|| path.with_file_name(format!("{name}.{ending}")))
}

/// Written, synced, read back and compared.
fn keep_at(file: &mut impl DiskFile, path: &Path, bytes: &[u8], at: u64) -> Result<(), StoreError> {
    file.write_at(bytes, at)
        .map_err(StoreError::io(path, "write"))?;
    file.sync().map_err(StoreError::io(path, "sync"))?;
    let mut back = vec![0; bytes.len()];
    file.read_at(&mut back, at)
        .map_err(StoreError::io(path, "read back"))?;
    if back == bytes {
        return Ok(());
    }
    Err(StoreError::ReadBack {
        path: path.to_owned(),
        offset: at,
    })
}

/// Facts as frames behind a seed and a number; returns those of the last.
fn put_facts(
    facts: &[HostFact],
    (mut seed, mut sequence): (u32, u32),
    path: &Path,
    bytes: &mut Vec<u8>,
) -> Result<(u32, u32), StoreError> {
    for fact in facts {
        let payload = postcard::to_stdvec(fact).map_err(|error| StoreError::TooLong {
            what: error.to_string(),
        })?;
        let mut room = [0; PAYLOAD_MAX + OVERHEAD];
        sequence = after(sequence, path)?;
        let frame = Frame {
            kind: host::KIND,
            version: host::VERSION,
            sequence,
            payload: &payload,
        };
        let frame = encode(&frame, seed, &mut room).map_err(|error| StoreError::TooLong {
            what: error.to_string(),
        })?;
        seed = sum_of(frame);
        bytes.extend_from_slice(frame);
    }
    Ok((seed, sequence))
}

/// The number of the next frame. A journal that was tampered with may have none left.
fn after(sequence: u32, path: &Path) -> Result<u32, StoreError> {
    sequence.checked_add(1).ok_or_else(|| StoreError::Full {
        path: path.to_owned(),
    })
}

fn size_of(bytes: &[u8]) -> u64 {
    u64::try_from(bytes.len()).unwrap_or(u64::MAX)
}

fn in_use_or(path: &Path, doing: &'static str, error: io::Error) -> StoreError {
    if error.kind() == io::ErrorKind::WouldBlock {
        StoreError::InUse {
            path: path.to_owned(),
        }
    } else {
        StoreError::io(path, doing)(error)
    }
}

/// The facts that a journal begins with.
///
/// # Errors
/// [`StoreError::TooLong`] for a plan of more than 4 GiB.
pub fn opening(purpose: Purpose, plan_name: &str, plan: &str) -> Result<Vec<HostFact>, StoreError> {
    let opened = HostFact::Opened {
        rehearsal: purpose == Purpose::Rehearsal,
        plan_name: cut(plan_name, 200).to_owned(),
        plan_bytes: bytes_of(plan)?,
    };
    Ok(with_plan(opened, plan))
}

/// The facts that say that the plan was changed.
///
/// # Errors
/// As for [`opening`].
pub fn changing(plan_name: &str, plan: &str) -> Result<Vec<HostFact>, StoreError> {
    let changed = HostFact::PlanChanged {
        plan_name: cut(plan_name, 200).to_owned(),
        plan_bytes: bytes_of(plan)?,
    };
    Ok(with_plan(changed, plan))
}

fn sum_of(frame: &[u8]) -> u32 {
    frame
        .last_chunk::<4>()
        .map_or(0, |sum| u32::from_le_bytes(*sum))
}

/// Torn bytes are kept beside the journal before they are cut off, and none is ever written over: evidence is never destroyed.
fn set_aside<D: Disk>(
    disk: &D,
    path: &Path,
    bytes: &[u8],
    damage: &[Damage],
) -> Result<(), StoreError> {
    let Some(torn) = damage.last().filter(|damage| damage.torn) else {
        return Ok(());
    };
    let torn_bytes = bytes.get(torn.from..torn.to).unwrap_or_default();
    for number in 1_u32.. {
        let more = if number > 1 {
            format!("-{number}")
        } else {
            String::new()
        };
        let aside = with_behind(path, &format!(".torn-at-{}{more}", torn.from));
        match disk::create(disk, &aside, torn_bytes) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                // Set aside already, by a program that was killed before it cut them off?
                if disk
                    .read(&aside, JOURNAL_MAX)
                    .is_ok_and(|kept| kept == torn_bytes)
                {
                    return Ok(());
                }
            }
            other => return other.map_err(StoreError::io(&aside, "set the torn end aside as")),
        }
    }
    Ok(())
}

fn with_plan(first: HostFact, plan: &str) -> Vec<HostFact> {
    let mut facts = vec![first];
    let mut rest = plan;
    while !rest.is_empty() {
        let piece = cut(rest, PLAN_PIECE_MAX);
        facts.push(HostFact::Plan {
            text: piece.to_owned(),
        });
        rest = rest.get(piece.len()..).unwrap_or_default();
    }
    facts
}

fn bytes_of(plan: &str) -> Result<u32, StoreError> {
    match u32::try_from(plan.len()) {
        Ok(bytes) => Ok(bytes),
        Err(_) => Err(StoreError::TooLong {
            what: "the plan".to_owned(),
        }),
    }
}

/// As much of the text as fits, cut between characters.
fn cut(text: &str, most: usize) -> &str {
    text.get(..text.floor_char_boundary(most)).unwrap_or(text)
}
