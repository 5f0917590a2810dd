//! The file: locked, appended, synced, read back.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use evendraw_core::journal::{FIRST_SEED, Frame, OVERHEAD, encode, encode_entry};
use evendraw_core::limits::PAYLOAD_MAX;
use evendraw_core::record::Entry;

use super::content::{Content, Damage};
use super::error::StoreError;
use super::host::{self, HostFact, PLAN_PIECE_MAX};

/// What a journal is for. The two never mix.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Real metal.
    Job,
    /// The virtual bench.
    Rehearsal,
}

/// A journal open for appending. The file is locked against other programs until this is dropped.
#[derive(Debug)]
pub struct Journal {
    file: File,
    path: PathBuf,
    seed: u32,
    sequence: u32,
    end: u64,
}

/// Reads a journal without opening it for writing.
///
/// # Errors
/// [`StoreError::Io`] when it cannot be read, [`StoreError::NotAJournal`] when nothing in it proves itself.
pub fn read(path: &Path) -> Result<Content, StoreError> {
    let bytes = fs::read(path).map_err(StoreError::io(path, "read"))?;
    let content = Content::of(&bytes);
    if content.facts.is_empty() || content.rehearsal().is_none() {
        return Err(StoreError::NotAJournal {
            path: path.to_owned(),
        });
    }
    Ok(content)
}

impl Journal {
    /// A new journal with the plan as typed. Refuses a file that exists.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn create(
        path: &Path,
        purpose: Purpose,
        plan_name: &str,
        plan: &str,
    ) -> Result<Self, StoreError> {
        // Under another name until its beginning is safe: whatever stands under the journal's own name can be gone on with.
        let mut unfinished = path.as_os_str().to_owned();
        unfinished.push(format!(".new-{}", std::process::id()));
        let unfinished = PathBuf::from(unfinished);
        if path.exists() {
            let exists = std::io::ErrorKind::AlreadyExists.into();
            return Err(StoreError::io(path, "create")(exists));
        }
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(true)
            .open(&unfinished)
            .map_err(StoreError::io(path, "create"))?;
        lock(&file, path)?;
        let mut journal = Self {
            file,
            path: path.to_owned(),
            seed: FIRST_SEED,
            sequence: 0,
            end: 0,
        };
        journal.append_facts(&opening(purpose, plan_name, plan)?)?;
        journal.name_it(&unfinished)?;
        journal.sync_folder();
        Ok(journal)
    }

    /// An existing journal, to go on with. A torn tail is cut off the file; what was found is in the content's damage.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn open(path: &Path, purpose: Purpose) -> Result<(Self, Content), StoreError> {
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .open(path)
            .map_err(StoreError::io(path, "open"))?;
        lock(&file, path)?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes)
            .map_err(StoreError::io(path, "read"))?;
        let content = Content::of(&bytes);
        match content.rehearsal() {
            None => {
                return Err(StoreError::NotAJournal {
                    path: path.to_owned(),
                });
            }
            Some(rehearsal) if rehearsal != (purpose == Purpose::Rehearsal) => {
                return Err(StoreError::OtherPurpose {
                    path: path.to_owned(),
                    rehearsal,
                });
            }
            Some(_) => {}
        }
        let end = u64::try_from(content.sound_bytes).unwrap_or(u64::MAX);
        if content.damage.last().is_some_and(|damage| damage.torn) {
            set_aside(path, &bytes, &content.damage)?;
            file.set_len(end)
                .map_err(StoreError::io(path, "cut the torn end off"))?;
            file.sync_all().map_err(StoreError::io(path, "sync"))?;
        }
        let journal = Self {
            file,
            path: path.to_owned(),
            seed: content.seed,
            sequence: content.sequence,
            end,
        };
        Ok((journal, content))
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Keeps records: written, synced, read back and compared. When this returns, they are safe.
    ///
    /// # Errors
    /// [`StoreError`]; then none of them counts as kept, and the same call may be tried again.
    pub fn append(&mut self, entries: &[Entry]) -> Result<(), StoreError> {
        let mut bytes = Vec::with_capacity(entries.len() * 64);
        let (mut seed, mut sequence) = (self.seed, self.sequence);
        for entry in entries {
            let mut room = [0; PAYLOAD_MAX + OVERHEAD];
            sequence += 1;
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

    /// Keeps facts of the desktop, likewise.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn append_facts(&mut self, facts: &[HostFact]) -> Result<(), StoreError> {
        let mut bytes = Vec::new();
        let (mut seed, mut sequence) = (self.seed, self.sequence);
        for fact in facts {
            let payload = postcard::to_stdvec(fact).map_err(|error| StoreError::TooLong {
                what: error.to_string(),
            })?;
            let mut room = [0; PAYLOAD_MAX + OVERHEAD];
            sequence += 1;
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
        // A write that failed half-way may have left bytes behind: always from the last sound end.
        self.file
            .seek(SeekFrom::Start(self.end))
            .map_err(StoreError::io(&self.path, "write"))?;
        self.file
            .write_all(bytes)
            .map_err(StoreError::io(&self.path, "write"))?;
        self.file
            .sync_data()
            .map_err(StoreError::io(&self.path, "sync"))?;
        let mut back = vec![0; bytes.len()];
        self.file
            .seek(SeekFrom::Start(self.end))
            .map_err(StoreError::io(&self.path, "read back"))?;
        self.file
            .read_exact(&mut back)
            .map_err(StoreError::io(&self.path, "read back"))?;
        if back != bytes {
            return Err(StoreError::ReadBack {
                path: self.path.clone(),
                offset: self.end,
            });
        }
        self.end += u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        self.seed = seed;
        self.sequence = sequence;
        Ok(())
    }

    /// Gives the file its own name. A second name refuses to take the place of a file that came up meanwhile; where the disk
    /// has no second names, the file is moved.
    fn name_it(&self, unfinished: &Path) -> Result<(), StoreError> {
        match fs::hard_link(unfinished, &self.path) {
            Ok(()) => fs::remove_file(unfinished).map_err(StoreError::io(unfinished, "remove")),
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
                let _ = fs::remove_file(unfinished);
                Err(StoreError::io(&self.path, "create")(error))
            }
            Err(_) => {
                fs::rename(unfinished, &self.path).map_err(StoreError::io(&self.path, "create"))
            }
        }
    }

    /// So that the new file's name is as safe as its content. Not every system can; nothing is lost by trying.
    fn sync_folder(&self) {
        let folder = self
            .path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty())
            .unwrap_or(Path::new("."));
        if let Ok(folder) = File::open(folder) {
            let _ = folder.sync_all();
        }
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

fn lock(file: &File, path: &Path) -> Result<(), StoreError> {
    match file.try_lock() {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => Err(StoreError::InUse {
            path: path.to_owned(),
        }),
        Err(TryLockError::Error(source)) => Err(StoreError::Io {
            path: path.to_owned(),
            doing: "lock",
            source,
        }),
    }
}

fn sum_of(frame: &[u8]) -> u32 {
    frame
        .last_chunk::<4>()
        .map_or(0, |sum| u32::from_le_bytes(*sum))
}

/// Torn bytes are kept beside the journal before they are cut off: evidence is never destroyed.
fn set_aside(path: &Path, bytes: &[u8], damage: &[Damage]) -> Result<(), StoreError> {
    let Some(torn) = damage.last().filter(|damage| damage.torn) else {
        return Ok(());
    };
    let mut name = path.as_os_str().to_owned();
    name.push(format!(".torn-at-{}", torn.from));
    let aside = PathBuf::from(name);
    fs::write(&aside, bytes.get(torn.from..torn.to).unwrap_or_default())
        .map_err(StoreError::io(&aside, "set the torn end aside as"))
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
