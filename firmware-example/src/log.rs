//! The journal on NOR flash: the core's frames in a ring of sectors.
//!
//! ```text
//! sector = magic "EDJ1" | number u32 | sequence u32 | sum u32 | seed u32 | frame | frame | … | 0xff …      little-endian
//! ```
//!
//! `number` counts sectors as they are opened; `sequence` and `seed` are those of the last frame before this sector; `sum` is
//! CRC-32 of the other four. No frame lies in two sectors. A frame is written behind the last one, read back and compared; only
//! then is it stored. What does not read back, and what a power cut tore, stays where it is: the sector is closed, and the
//! frame goes into the next. So nothing stored is ever written again, and nothing is ever moved.
//!
//! Every call does one short thing (a page at most), because readings are taken in between. Knows nothing of what frames say.

use evendraw_core::crc::crc32;
use evendraw_core::journal::{self, FIRST_SEED, Frame, OVERHEAD, frame_at};
use evendraw_core::limits::RECORD_MAX;
use evendraw_core::record::{Entry, Record};

use crate::drop_front;
use crate::nor::{Flash, PAGE, SECTOR};

/// Bytes of the longest frame: an adapter writes records only.
pub const FRAME_MAX: usize = RECORD_MAX + OVERHEAD;
/// Bytes in front of a sector's first frame.
pub const HEADER: u32 = 20;
/// Bytes of frames that can wait for the flash: the records of two inputs, and some.
pub const QUEUE: usize = 768;

const MAGIC: [u8; 4] = *b"EDJ1";
/// A magic with every bit cleared: the sector is given back and may be erased.
const GIVEN_BACK: [u8; 4] = [0; 4];
/// Sectors tried for one frame before the store is said to have failed.
const TRIES: u8 = 3;
/// Bytes looked at in one call.
const PIECE: usize = 64;

/// The sectors that the journal may use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Region {
    /// Its first sector, counted from the start of the chip.
    pub first: u32,
    /// Its sectors; at least two.
    pub sectors: u32,
}

impl Region {
    fn address(self, number: u32) -> u32 {
        // Numbers count from 1.
        (self.first + (number - 1) % self.sectors) * SECTOR
    }
}

/// What came of a call.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
pub enum Progress {
    /// Nothing to do.
    Idle,
    /// Under way.
    Busy,
    /// Every frame up to this number is stored, read back and compared.
    Stored {
        /// The number.
        sequence: u32,
    },
    /// No sector is free: the journal must be fetched and given back.
    Full,
    /// The flash failed, or did not keep what was written, in several sectors. The next call tries again.
    Failed,
}

/// Why a frame was not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
pub enum PushError {
    /// The queue has no room now.
    NoRoom,
    /// The frame is longer than a frame may be.
    TooLong,
}

/// What opening found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, defmt::Format)]
pub struct Recovery {
    /// Frames that are good.
    pub frames: u32,
    /// Bytes behind the last good frame that prove nothing: a write that was cut off.
    pub dropped: u32,
    /// Bytes between good frames that prove nothing.
    pub quarantined: u32,
    /// The largest number of a start in any record.
    pub boot: u16,
}

/// What is being done to the flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Idle,
    /// Looking whether the next sector is blank, from this offset.
    Looking(u32),
    /// Erasing the next sector.
    Erasing,
    /// Writing the next sector's header.
    Heading,
    /// Writing the oldest frame of the queue; so many bytes of it are under way or done.
    Writing(u32),
    /// Reading it back; so many bytes agreed.
    Comparing(u32),
    /// Marking the oldest sector as given back.
    GivingBack,
}

/// Where a header says its sector belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Header {
    number: u32,
    sequence: u32,
    seed: u32,
}

impl Header {
    fn bytes(self) -> [u8; 20] {
        let mut bytes = [0; 20];
        let sum = self.sum();
        let parts = [self.number, self.sequence, sum, self.seed];
        let (magic, rest) = bytes.split_at_mut(4);
        magic.copy_from_slice(&MAGIC);
        for (place, part) in rest.chunks_exact_mut(4).zip(parts) {
            place.copy_from_slice(&part.to_le_bytes());
        }
        bytes
    }

    fn sum(self) -> u32 {
        [self.number, self.sequence, self.seed]
            .iter()
            .fold(crc32(0, &MAGIC), |sum, part| {
                crc32(sum, &part.to_le_bytes())
            })
    }

    fn read<F: Flash>(flash: &mut F, address: u32) -> Result<Option<Self>, F::Error> {
        let mut bytes = [0; 20];
        flash.read(address, &mut bytes)?;
        let mut words = bytes.chunks_exact(4).map(|four| {
            let mut word = [0; 4];
            word.copy_from_slice(four);
            word
        });
        let magic = words.next().unwrap_or_default();
        let mut word = || u32::from_le_bytes(words.next().unwrap_or_default());
        let (number, sequence, sum, seed) = (word(), word(), word(), word());
        let header = Self {
            number,
            sequence,
            seed,
        };
        Ok((magic == MAGIC && header.sum() == sum && number > 0).then_some(header))
    }
}

/// The journal.
#[derive(Debug)]
pub struct Log {
    region: Region,
    /// Number of the oldest sector that is in use.
    oldest: u32,
    /// Number of the open sector; one below `oldest` when there is none.
    open: u32,
    /// Bytes used of the open sector.
    used: u32,
    /// Sequence and sum of the last frame stored.
    stored: (u32, u32),
    /// Sequence and sum of the last frame taken.
    taken: (u32, u32),
    queue: heapless::Vec<u8, QUEUE>,
    /// First sequence number that is not given back.
    first: u32,
    /// Frames up to this sequence number may go.
    free: u32,
    /// Whether a sector may be found that can go.
    giving: bool,
    state: State,
    tries: u8,
}

impl Log {
    /// Finds the journal in the region, whatever a power cut left of it. Walks all of it; waits for nothing.
    ///
    /// # Errors
    ///
    /// The flash.
    pub fn open<F: Flash>(
        flash: &mut F,
        region: Region,
        frame: &mut [u8; FRAME_MAX],
    ) -> Result<(Self, Recovery), F::Error> {
        while flash.is_busy()? {}
        let mut newest = 0;
        for index in 0..region.sectors {
            if let Some(header) = Header::read(flash, (region.first + index) * SECTOR)?
                && region.address(header.number) == (region.first + index) * SECTOR
            {
                newest = newest.max(header.number);
            }
        }
        let mut oldest = newest + 1;
        while oldest > 1 && newest + 1 - oldest < region.sectors {
            match Header::read(flash, region.address(oldest - 1))? {
                Some(header) if header.number == oldest - 1 => oldest -= 1,
                _ => break,
            }
        }
        let mut log = Self {
            region,
            oldest,
            open: newest,
            used: SECTOR,
            stored: (0, FIRST_SEED),
            taken: (0, FIRST_SEED),
            queue: heapless::Vec::new(),
            first: 1,
            free: 0,
            giving: false,
            state: State::Idle,
            tries: 0,
        };
        log.first = log.first_there(flash)?;
        let mut recovery = Recovery::default();
        let mut walk = log.walk();
        loop {
            match walk.next(flash, frame)? {
                Step::Frame { frame, .. } => {
                    recovery.frames += 1;
                    match journal::decode_entry(&frame) {
                        Ok(Some(entry)) => {
                            recovery.boot = recovery.boot.max(entry.boot);
                            // A start is followed by the note of what was dropped. If power went between the two, the note
                            // is still owed.
                            if !matches!(entry.record, Record::Started(_)) {
                                recovery.dropped = 0;
                            }
                        }
                        _ => recovery.dropped = 0,
                    }
                }
                Step::Torn { bytes } => recovery.dropped += bytes,
                Step::Damaged { bytes } => recovery.quarantined += bytes,
                Step::End => break,
            }
        }
        log.used = if walk.clean { walk.offset } else { SECTOR };
        log.stored = (walk.sequence, walk.seed);
        log.taken = log.stored;
        Ok((log, recovery))
    }

    /// Number of the first frame there must be: after those of sectors that were given back.
    fn first_there<F: Flash>(&self, flash: &mut F) -> Result<u32, F::Error> {
        if self.oldest <= 1 || self.oldest > self.open {
            return Ok(1);
        }
        // A sector before the oldest that still says it is the journal's is damage, and what it held is missing.
        if self.open + 1 - self.oldest < self.region.sectors {
            let mut magic = [0; 4];
            flash.read(self.region.address(self.oldest - 1), &mut magic)?;
            if magic == MAGIC {
                return Ok(1);
            }
        }
        let header = Header::read(flash, self.region.address(self.oldest))?;
        Ok(header.map_or(1, |header| header.sequence + 1))
    }

    /// Number of the last frame that is stored.
    #[must_use]
    pub const fn stored(&self) -> u32 {
        self.stored.0
    }

    /// Number and sum of the last frame that is stored: the sum is of all before it too.
    #[must_use]
    pub const fn end(&self) -> (u32, u32) {
        self.stored
    }

    /// Number of the first frame that is not given back. What is not there before it is no loss.
    #[must_use]
    pub const fn first(&self) -> u32 {
        self.first
    }

    /// Number of the last frame that was taken.
    #[must_use]
    pub const fn taken(&self) -> u32 {
        self.taken.0
    }

    /// Whether frames of this many bytes in all would be taken now.
    #[must_use]
    pub fn has_room(&self, bytes: usize) -> bool {
        self.queue.len() + bytes <= QUEUE
    }

    /// Share of the region that is in use, in per cent.
    #[must_use]
    pub fn fullness(&self) -> u32 {
        (self.open + 1 - self.oldest) * 100 / self.region.sectors
    }

    /// Takes a record to be stored; returns its frame's number.
    ///
    /// # Errors
    ///
    /// [`PushError`]; nothing is taken then.
    pub fn push(&mut self, entry: &Entry) -> Result<u32, PushError> {
        let mut room = [0; FRAME_MAX];
        let (sequence, seed) = self.taken;
        let bytes = match journal::encode_entry(entry, sequence + 1, seed, &mut room) {
            Ok(bytes) => bytes,
            Err(_) => return Err(PushError::TooLong),
        };
        self.push_bytes(bytes)
    }

    fn push_bytes(&mut self, bytes: &[u8]) -> Result<u32, PushError> {
        if self.queue.extend_from_slice(bytes).is_err() {
            return Err(PushError::NoRoom);
        }
        let sum = bytes.last_chunk().map_or(0, |sum| u32::from_le_bytes(*sum));
        self.taken = (self.taken.0 + 1, sum);
        Ok(self.taken.0)
    }

    /// Gives back every sector whose frames are all among the first `sequence`, one by one in quiet moments. The sector with the last
    /// frame stays: the next start counts from it.
    pub const fn give_back(&mut self, sequence: u32) {
        self.free = sequence;
        self.giving = true;
    }

    /// Does the next short thing.
    pub fn advance<F: Flash>(&mut self, flash: &mut F) -> Progress {
        match self.step(flash) {
            Ok(progress) => progress,
            Err(_) => {
                self.state = State::Idle;
                Progress::Failed
            }
        }
    }

    fn step<F: Flash>(&mut self, flash: &mut F) -> Result<Progress, F::Error> {
        if self.state != State::Idle && flash.is_busy()? {
            return Ok(Progress::Busy);
        }
        match self.state {
            State::Idle => self.begin(flash),
            State::Looking(offset) => self.look(flash, offset),
            State::Erasing => {
                self.state = State::Looking(0);
                Ok(Progress::Busy)
            }
            State::Heading => self.headed(flash),
            State::Writing(done) => self.write(flash, done),
            State::Comparing(done) => self.compare(flash, done),
            State::GivingBack => {
                self.oldest += 1;
                self.state = State::Idle;
                Ok(Progress::Busy)
            }
        }
    }

    fn begin<F: Flash>(&mut self, flash: &mut F) -> Result<Progress, F::Error> {
        let full = self.open + 1 - self.oldest >= self.region.sectors;
        let front = self.front();
        let fits =
            front.is_some_and(|length| self.open >= self.oldest && self.used + length <= SECTOR);
        if fits {
            return self.write(flash, 0);
        }
        // Giving back is work for quiet moments, and for when there is no other room.
        if self.giving && (front.is_none() || full) {
            // The next sector's header tells what the last frame of the oldest is.
            let next = match self.oldest < self.open {
                true => Header::read(flash, self.region.address(self.oldest + 1))?,
                false => None,
            };
            if let Some(next) =
                next.filter(|next| next.sequence <= self.free.min(self.stored.0.saturating_sub(1)))
            {
                flash.start_program(self.region.address(self.oldest), &GIVEN_BACK)?;
                self.first = next.sequence + 1;
                self.state = State::GivingBack;
                return Ok(Progress::Busy);
            }
            self.giving = false;
        }
        match (front, full) {
            (None, _) => Ok(Progress::Idle),
            (Some(_), true) => Ok(Progress::Full),
            (Some(_), false) => {
                self.state = State::Looking(0);
                Ok(Progress::Busy)
            }
        }
    }

    /// Bytes of the oldest frame in the queue.
    fn front(&self) -> Option<u32> {
        let &[low, high] = self.queue.first_chunk()?;
        let length = usize::from(u16::from_le_bytes([low, high])) + OVERHEAD;
        u32::try_from(length).ok()
    }

    fn look<F: Flash>(&mut self, flash: &mut F, offset: u32) -> Result<Progress, F::Error> {
        let next = self.region.address(self.open + 1);
        if offset >= SECTOR {
            let header = Header {
                number: self.open + 1,
                sequence: self.stored.0,
                seed: self.stored.1,
            };
            flash.start_program(next, &header.bytes())?;
            self.state = State::Heading;
        } else if is_blank(flash, next + offset, PIECE)? {
            self.state = State::Looking(offset + to_u32(PIECE));
        } else {
            flash.start_erase(next)?;
            self.state = State::Erasing;
        }
        Ok(Progress::Busy)
    }

    fn headed<F: Flash>(&mut self, flash: &mut F) -> Result<Progress, F::Error> {
        let header = Header::read(flash, self.region.address(self.open + 1))?;
        if header.is_some_and(|header| header.number == self.open + 1) {
            self.open += 1;
            self.used = HEADER;
            self.state = State::Idle;
            return Ok(Progress::Busy);
        }
        // The sector does not keep its header: it is erased and tried again; the store fails if that does not help.
        self.state = State::Looking(0);
        Ok(self.tried())
    }

    fn write<F: Flash>(&mut self, flash: &mut F, done: u32) -> Result<Progress, F::Error> {
        let Some(length) = self.front() else {
            self.state = State::Idle;
            return Ok(Progress::Busy);
        };
        if done >= length {
            self.state = State::Comparing(0);
            return Ok(Progress::Busy);
        }
        let at = self.region.address(self.open) + self.used + done;
        let piece = (PAGE - at % PAGE).min(length - done);
        let bytes = self
            .queue
            .get(to_usize(done)..to_usize(done + piece))
            .unwrap_or_default();
        // What is under way counts as used, whatever comes of it.
        self.state = State::Writing(done + piece);
        flash.start_program(at, bytes)?;
        Ok(Progress::Busy)
    }

    fn compare<F: Flash>(&mut self, flash: &mut F, done: u32) -> Result<Progress, F::Error> {
        let Some(length) = self.front() else {
            self.state = State::Idle;
            return Ok(Progress::Busy);
        };
        if done < length {
            let piece = to_u32(PIECE).min(length - done);
            let mut found = [0; PIECE];
            let found = found.get_mut(..to_usize(piece)).unwrap_or_default();
            flash.read(self.region.address(self.open) + self.used + done, found)?;
            if self.queue.get(to_usize(done)..to_usize(done + piece)) == Some(&*found) {
                self.state = State::Comparing(done + piece);
                return Ok(Progress::Busy);
            }
            // It did not keep: the sector is closed, the frame goes into the next.
            self.used = SECTOR;
            self.state = State::Idle;
            return Ok(self.tried());
        }
        let end = to_usize(length);
        let sum = self
            .queue
            .get(..end)
            .and_then(|frame| frame.last_chunk())
            .map_or(0, |sum| u32::from_le_bytes(*sum));
        self.stored = (self.stored.0 + 1, sum);
        self.used += length;
        self.tries = 0;
        drop_front(&mut self.queue, end);
        self.state = State::Idle;
        Ok(Progress::Stored {
            sequence: self.stored.0,
        })
    }

    fn tried(&mut self) -> Progress {
        self.tries += 1;
        if self.tries < TRIES {
            return Progress::Busy;
        }
        self.tries = 0;
        self.state = State::Idle;
        Progress::Failed
    }

    /// Walks what is stored, from the oldest frame on. Only while nothing is being written.
    #[must_use]
    pub const fn walk(&self) -> Walk {
        Walk {
            region: self.region,
            newest: self.open,
            end: self.used,
            number: self.oldest,
            offset: 0,
            sequence: 0,
            seed: FIRST_SEED,
            clean: false,
        }
    }

    /// Whether the flash is free for others: nothing is being written or erased.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.state == State::Idle
    }

    /// Address of the journal's first byte and its length, for reports.
    #[must_use]
    pub const fn region(&self) -> Region {
        self.region
    }
}

/// What stands at a place of the journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step<'b> {
    /// A frame that proves itself.
    Frame {
        /// The frame.
        frame: Frame<'b>,
        /// The seed it proves itself under.
        seed: u32,
        /// Its bytes as stored.
        bytes: &'b [u8],
    },
    /// Bytes behind the last good frame of a sector that prove nothing, and that the next sector knew of.
    Torn {
        /// How many.
        bytes: u32,
    },
    /// Bytes where the next sector expected good frames.
    Damaged {
        /// How many.
        bytes: u32,
    },
    /// The end.
    End,
}

/// [`Step`] before its bytes are borrowed.
#[derive(Clone, Copy, Debug)]
enum Met {
    Frame { length: usize, seed: u32 },
    Torn(u32),
    Damaged(u32),
    End,
}

/// A place in the journal.
#[derive(Clone, Debug)]
pub struct Walk {
    region: Region,
    newest: u32,
    /// Bytes used of the newest sector; all of it where nobody knows.
    end: u32,
    number: u32,
    offset: u32,
    sequence: u32,
    seed: u32,
    /// Whether the last sector ended in blank bytes, so that it can be written on.
    clean: bool,
}

impl Walk {
    /// What stands next.
    ///
    /// # Errors
    ///
    /// The flash.
    pub fn next<'b, F: Flash>(
        &mut self,
        flash: &mut F,
        room: &'b mut [u8; FRAME_MAX],
    ) -> Result<Step<'b>, F::Error> {
        Ok(match self.find(flash, room)? {
            Met::Frame { length, seed } => {
                let bytes = room.get(..length).unwrap_or_default();
                match frame_at(bytes, seed) {
                    Some((frame, ..)) => Step::Frame { frame, seed, bytes },
                    None => Step::Damaged {
                        bytes: to_u32(length),
                    },
                }
            }
            Met::Torn(bytes) => Step::Torn { bytes },
            Met::Damaged(bytes) => Step::Damaged { bytes },
            Met::End => Step::End,
        })
    }

    fn find<F: Flash>(
        &mut self,
        flash: &mut F,
        room: &mut [u8; FRAME_MAX],
    ) -> Result<Met, F::Error> {
        loop {
            if self.number > self.newest || self.number == 0 {
                return Ok(Met::End);
            }
            let base = self.region.address(self.number);
            if self.offset == 0 {
                self.offset = HEADER;
                if let Some(header) = Header::read(flash, base)? {
                    self.sequence = header.sequence;
                    self.seed = header.seed;
                }
            }
            // What the log has not used is blank: nobody need look.
            if self.number == self.newest && self.offset >= self.end {
                return Ok(Met::End);
            }
            let next = self.next_header(flash)?;
            if let Some(length) = self.read_frame(flash, base, room)? {
                let bytes = room.get(..length).unwrap_or_default();
                let proved = frame_at(bytes, self.seed).filter(|(frame, ..)| {
                    frame.sequence == self.sequence + 1
                        // What the next sector does not count was written again there.
                        && next.is_none_or(|next| frame.sequence <= next.sequence)
                });
                if let Some((frame, sum, _)) = proved {
                    let seed = self.seed;
                    self.sequence = frame.sequence;
                    self.seed = sum;
                    self.offset += to_u32(length);
                    return Ok(Met::Frame { length, seed });
                }
            }
            let bytes = self.mess(flash, base)?;
            self.number += 1;
            if self.number > self.newest {
                self.clean = bytes == 0;
                return Ok(if bytes == 0 {
                    Met::End
                } else {
                    Met::Torn(bytes)
                });
            }
            self.offset = 0;
            match next {
                Some(next) if next.sequence == self.sequence && next.seed == self.seed => {
                    if bytes > 0 {
                        return Ok(Met::Torn(bytes));
                    }
                }
                _ => return Ok(Met::Damaged(bytes.max(1))),
            }
        }
    }

    /// Reads what may be a frame into `room`; none where no frame can begin.
    fn read_frame<F: Flash>(
        &self,
        flash: &mut F,
        base: u32,
        room: &mut [u8; FRAME_MAX],
    ) -> Result<Option<usize>, F::Error> {
        let left = SECTOR.saturating_sub(self.offset);
        if left < to_u32(OVERHEAD) {
            return Ok(None);
        }
        let mut head = [0; 2];
        flash.read(base + self.offset, &mut head)?;
        let payload = usize::from(u16::from_le_bytes(head));
        let length = payload.saturating_add(OVERHEAD);
        if length > FRAME_MAX || to_u32(length) > left {
            return Ok(None);
        }
        let bytes = room.get_mut(..length).unwrap_or_default();
        flash.read(base + self.offset, bytes)?;
        Ok(Some(length))
    }

    /// Bytes from here to the last one of the sector that is not blank.
    fn mess<F: Flash>(&self, flash: &mut F, base: u32) -> Result<u32, F::Error> {
        let mut end = self.offset;
        let mut at = self.offset;
        while at < SECTOR {
            let mut bytes = [0xff; PIECE];
            let piece = (SECTOR - at).min(to_u32(PIECE));
            let found = bytes.get_mut(..to_usize(piece)).unwrap_or_default();
            flash.read(base + at, found)?;
            if let Some(last) = found.iter().rposition(|&byte| byte != 0xff) {
                end = at + to_u32(last) + 1;
            }
            at += piece;
        }
        Ok(end - self.offset)
    }

    /// The same walk as far as the journal goes now, if it can go on: the journal has opened no sector, and given none back, since it began.
    #[must_use]
    pub fn resumed(self, log: &Log) -> Option<Self> {
        let is_current =
            self.newest == log.open && self.number >= log.oldest && self.number <= self.newest;
        is_current.then_some(Self {
            end: log.used,
            ..self
        })
    }

    /// Number of the last frame met.
    #[must_use]
    pub const fn sequence(&self) -> u32 {
        self.sequence
    }

    fn next_header<F: Flash>(&self, flash: &mut F) -> Result<Option<Header>, F::Error> {
        if self.number >= self.newest {
            return Ok(None);
        }
        Header::read(flash, self.region.address(self.number + 1))
    }
}

fn is_blank<F: Flash>(flash: &mut F, at: u32, length: usize) -> Result<bool, F::Error> {
    let mut bytes = [0; PIECE];
    let bytes = bytes.get_mut(..length).unwrap_or_default();
    flash.read(at, bytes)?;
    Ok(bytes.iter().all(|&byte| byte == 0xff))
}

fn to_u32(value: usize) -> u32 {
    u32::try_from(value).unwrap_or(u32::MAX)
}

fn to_usize(value: u32) -> usize {
    usize::try_from(value).unwrap_or(usize::MAX)
}

#[cfg(test)]
mod tests;
