//! Stored procedures: several places, each holding a whole procedure or none; and one more that holds the calibrations.
//!
//! ```text
//! area = magic "EDP1" | place u8, 0, 0, 0 | generation u32 | length u32 | sum u32 | sum of these u32 | stored form …
//! ```
//!
//! There is one area more than places. What is sent goes into a free area; only when it is there, reads back and makes a valid
//! procedure is its head written, and from then on it is what the place holds. A procedure that is refused, and a cut in the
//! middle, leave the old one as it was. Every call does one short thing. Knows nothing of the link.

use evendraw_core::crc::crc32;
use evendraw_core::procedure::{Procedure, ProcedureError};

use crate::drop_front;
use crate::nor::{Flash, PAGE, SECTOR};

/// Places for procedures.
pub const SLOTS: u8 = 7;
/// The place of the calibrations.
pub const CALIBRATIONS: u8 = SLOTS;
const PLACES: u8 = SLOTS + 1;
const AREAS: u32 = PLACES as u32 + 1;
const SECTORS: u32 = 2;
/// Sectors that the slots takes.
pub const SLOT_SECTORS: u32 = AREAS * SECTORS;
const HEAD: u32 = 24;
/// Bytes of the longest stored form that a place holds.
pub const LENGTH_MAX: u32 = SECTORS * SECTOR - HEAD;
const MAGIC: [u8; 4] = *b"EDP1";

/// What a place holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, defmt::Format)]
pub struct Held {
    area: u32,
    generation: u32,
    /// Bytes of the stored form.
    pub length: u32,
    /// The procedure's digest.
    pub sum: u32,
}

/// What came of a call.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
pub enum SlotWrite {
    /// Nothing to do.
    Idle,
    /// Under way.
    Busy,
    /// Done, and read back.
    Done,
    /// The flash failed or did not keep what was written.
    Failed,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Idle,
    Erasing { sector: u32 },
    Writing { done: u32 },
}

/// Bytes written in one go: the longest piece that the link brings.
const PIECE: usize = evendraw_core::link::PIECE_MAX;

/// The slots.
#[derive(Debug)]
pub struct Slots {
    first: u32,
    held: [Option<Held>; PLACES as usize],
    newest: u32,
    /// The area that is being filled.
    filling: Option<u32>,
    state: State,
    /// What is being written, and where.
    at: u32,
    bytes: heapless::Vec<u8, PIECE>,
}

impl Slots {
    /// Finds what is stored from this sector on.
    ///
    /// # Errors
    ///
    /// The flash.
    pub fn open<F: Flash>(flash: &mut F, first: u32) -> Result<Self, F::Error> {
        let mut slots = Self {
            first,
            held: [None; PLACES as usize],
            newest: 0,
            filling: None,
            state: State::Idle,
            at: 0,
            bytes: heapless::Vec::new(),
        };
        for area in 0..AREAS {
            if let Some((place, held)) = slots.head(flash, area)?
                && let Some(slot) = slots.held.get_mut(usize::from(place))
                && slot.is_none_or(|other| other.generation < held.generation)
            {
                *slot = Some(held);
                slots.newest = slots.newest.max(held.generation);
            }
        }
        Ok(slots)
    }

    fn address(&self, area: u32) -> u32 {
        (self.first + area * SECTORS) * SECTOR
    }

    fn head<F: Flash>(&self, flash: &mut F, area: u32) -> Result<Option<(u8, Held)>, F::Error> {
        let mut bytes = [0; HEAD as usize];
        flash.read(self.address(area), &mut bytes)?;
        let Some((head, sum)) = bytes.split_last_chunk::<4>() else {
            return Ok(None);
        };
        let word = |at: usize| {
            let four = head.get(at..at + 4).and_then(|four| four.first_chunk());
            four.map_or(0, |four| u32::from_le_bytes(*four))
        };
        let sound = head.starts_with(&MAGIC) && crc32(0, head) == u32::from_le_bytes(*sum);
        let place = head.get(4).copied().unwrap_or(PLACES);
        let held = Held {
            area,
            generation: word(8),
            length: word(12),
            sum: word(16),
        };
        Ok((sound && place < PLACES && held.length <= LENGTH_MAX).then_some((place, held)))
    }

    /// What a place holds.
    #[must_use]
    pub fn held(&self, place: u8) -> Option<Held> {
        self.held.get(usize::from(place)).copied().flatten()
    }

    /// The place that holds the procedure of this digest.
    #[must_use]
    pub fn slot_of(&self, sum: u32) -> Option<u8> {
        (0..SLOTS).find(|&place| self.held(place).is_some_and(|held| held.sum == sum))
    }

    /// Reads a procedure into its place in memory.
    ///
    /// # Errors
    ///
    /// What is wrong with it, and at which byte.
    #[inline(never)]
    pub fn load_into<F: Flash>(
        &self,
        into: &mut Option<Procedure>,
        flash: &mut F,
        held: Held,
    ) -> Result<(), ProcedureError> {
        let base = self.address(held.area) + HEAD;
        let length = usize::try_from(held.length).unwrap_or(0);
        Procedure::decode_into(into, length, |offset, into| match u32::try_from(offset) {
            Ok(offset) => flash.read(base + offset, into).is_ok(),
            Err(_) => false,
        })
    }

    /// Reads what is held, from a byte on, as far as it goes; none where the flash fails. Only while nothing is being written.
    pub fn read<'r, F: Flash>(
        &self,
        flash: &mut F,
        held: Held,
        offset: u32,
        into: &'r mut [u8],
    ) -> Option<&'r [u8]> {
        let left = usize::try_from(held.length.saturating_sub(offset)).unwrap_or(0);
        let length = into.len().min(left);
        let bytes = into.get_mut(..length)?;
        flash
            .read(self.address(held.area) + HEAD + offset, bytes)
            .ok()?;
        Some(bytes)
    }

    /// Whether nothing is being written or erased.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.state == State::Idle
    }

    /// Begins to clear a free area for what will be sent.
    pub fn clear(&mut self) {
        let free =
            (0..AREAS).find(|&area| self.held.iter().flatten().all(|held| held.area != area));
        self.filling = free;
        self.state = State::Erasing { sector: SECTORS };
    }

    /// Begins to write a piece of what is sent.
    pub fn write(&mut self, offset: u32, bytes: &[u8]) {
        self.bring(bytes);
        self.write_brought(offset, bytes.len());
    }

    /// Keeps a piece for [`Slots::write_brought`]. While something is being written it is left out, and must come again.
    pub fn bring(&mut self, bytes: &[u8]) {
        if self.is_idle() {
            self.bytes.clear();
            // Pieces are no longer than the buffer.
            let _ = self.bytes.extend_from_slice(bytes);
        }
    }

    /// The piece that is kept.
    #[must_use]
    pub fn brought(&self) -> &[u8] {
        &self.bytes
    }

    /// Begins to write the last `length` bytes of the piece that is kept.
    pub fn write_brought(&mut self, offset: u32, length: usize) {
        let Some(area) = self.filling else { return };
        let known = self.bytes.len().saturating_sub(length);
        drop_front(&mut self.bytes, known);
        self.at = self.address(area) + HEAD + offset;
        self.state = State::Writing { done: 0 };
    }

    fn begin(&mut self, at: u32, bytes: &[u8]) {
        self.at = at;
        self.bytes.clear();
        // Pieces are no longer than the buffer.
        let _ = self.bytes.extend_from_slice(bytes);
        self.state = State::Writing { done: 0 };
    }

    /// What was sent, as it would be held.
    #[must_use]
    pub fn filled(&self, length: u32, sum: u32) -> Option<Held> {
        Some(Held {
            area: self.filling?,
            generation: self.newest + 1,
            length,
            sum,
        })
    }

    /// Begins to write the head that makes the place hold what was sent.
    pub fn commit(&mut self, place: u8, held: Held) {
        let mut bytes = [0; HEAD as usize];
        let words = [
            MAGIC,
            [place, 0, 0, 0],
            held.generation.to_le_bytes(),
            held.length.to_le_bytes(),
            held.sum.to_le_bytes(),
        ];
        for (to, word) in bytes.chunks_exact_mut(4).zip(words) {
            to.copy_from_slice(&word);
        }
        if let Some((head, sum)) = bytes.split_last_chunk_mut::<4>() {
            *sum = crc32(0, head).to_le_bytes();
        }
        self.begin(self.address(held.area), &bytes);
        if let Some(slot) = self.held.get_mut(usize::from(place)) {
            *slot = Some(held);
        }
        self.newest = held.generation;
        self.filling = None;
    }

    /// Does the next short thing.
    pub fn advance<F: Flash>(&mut self, flash: &mut F) -> SlotWrite {
        match self.step(flash) {
            Ok(shelved) => shelved,
            Err(_) => {
                self.state = State::Idle;
                SlotWrite::Failed
            }
        }
    }

    fn step<F: Flash>(&mut self, flash: &mut F) -> Result<SlotWrite, F::Error> {
        if self.state != State::Idle && flash.is_busy()? {
            return Ok(SlotWrite::Busy);
        }
        match self.state {
            State::Idle => Ok(SlotWrite::Idle),
            State::Erasing { sector } => {
                let Some((area, sector)) = self.filling.zip(sector.checked_sub(1)) else {
                    self.state = State::Idle;
                    return Ok(SlotWrite::Done);
                };
                flash.start_erase(self.address(area) + sector * SECTOR)?;
                self.state = State::Erasing { sector };
                Ok(SlotWrite::Busy)
            }
            State::Writing { done } => {
                let at = self.at + done;
                let rest = usize::try_from(done)
                    .ok()
                    .and_then(|done| self.bytes.get(done..));
                let rest = rest.unwrap_or_default();
                if rest.is_empty() {
                    self.state = State::Idle;
                    return self.compare(flash);
                }
                let room = usize::try_from(PAGE - at % PAGE).unwrap_or(1);
                let piece = rest.get(..rest.len().min(room)).unwrap_or(rest);
                flash.start_program(at, piece)?;
                let done = done + u32::try_from(piece.len()).unwrap_or(0);
                self.state = State::Writing { done };
                Ok(SlotWrite::Busy)
            }
        }
    }

    fn compare<F: Flash>(&self, flash: &mut F) -> Result<SlotWrite, F::Error> {
        let mut at = self.at;
        for wanted in self.bytes.chunks(32) {
            let mut found = [0; 32];
            let found = found.get_mut(..wanted.len()).unwrap_or_default();
            flash.read(at, found)?;
            if found != wanted {
                return Ok(SlotWrite::Failed);
            }
            at += u32::try_from(wanted.len()).unwrap_or(0);
        }
        Ok(SlotWrite::Done)
    }
}

#[cfg(test)]
mod tests {
    use evendraw_core::procedure::{Procedure, ProcedureError};

    use super::{SLOT_SECTORS, SlotWrite, Slots};
    use crate::cut_flash::CutFlash;
    use crate::exercise::{Random, procedure};

    fn load(
        slots: &Slots,
        flash: &mut CutFlash,
        held: super::Held,
    ) -> Result<Procedure, ProcedureError> {
        let mut made = None;
        slots.load_into(&mut made, flash, held)?;
        Ok(made.expect("no error, so a procedure"))
    }

    fn finish(slots: &mut Slots, flash: &mut CutFlash) -> SlotWrite {
        loop {
            match slots.advance(flash) {
                SlotWrite::Busy => {}
                other => return other,
            }
        }
    }

    /// Sends, checks and takes a procedure, as the adapter does.
    fn store(
        slots: &mut Slots,
        flash: &mut CutFlash,
        place: u8,
        blob: &[u8],
    ) -> Result<SlotWrite, ProcedureError> {
        slots.clear();
        if finish(slots, flash) != SlotWrite::Done {
            return Ok(SlotWrite::Failed);
        }
        for (number, piece) in (0..).zip(blob.chunks(100)) {
            slots.write(number * 100, piece);
            if finish(slots, flash) != SlotWrite::Done {
                return Ok(SlotWrite::Failed);
            }
        }
        let sum = blob.last_chunk().map_or(0, |sum| u32::from_le_bytes(*sum));
        let held = slots
            .filled(u32::try_from(blob.len()).unwrap(), sum)
            .unwrap();
        load(slots, flash, held)?;
        slots.commit(place, held);
        Ok(finish(slots, flash))
    }

    fn blob(seed: u64) -> (Procedure, Vec<u8>) {
        let mut made = None;
        procedure(&mut Random::new(seed), &mut made);
        let procedure = made.expect("a procedure");
        let mut room = [0; 2048];
        let bytes = procedure.encode(&mut room).unwrap().to_vec();
        (procedure, bytes)
    }

    #[test]
    fn a_procedure_is_there_again_after_a_restart_and_a_refused_one_changes_nothing() {
        let mut flash = CutFlash::new(SLOT_SECTORS + 1);
        let mut slots = Slots::open(&mut flash, 1).unwrap();
        for place in 0..super::PLACES {
            let (_, bytes) = blob(u64::from(place));
            assert_eq!(
                store(&mut slots, &mut flash, place, &bytes),
                Ok(SlotWrite::Done)
            );
        }
        let (_, mut bad) = blob(50);
        bad[40] ^= 4;
        let fault = store(&mut slots, &mut flash, 3, &bad);
        assert!(
            matches!(fault, Err(ProcedureError::Damaged { .. })),
            "{fault:?}"
        );
        let slots = Slots::open(&mut flash, 1).unwrap();
        for place in 0..super::PLACES {
            let (procedure, bytes) = blob(u64::from(place));
            let held = slots.held(place).unwrap();
            assert_eq!(load(&slots, &mut flash, held), Ok(procedure.clone()));
            // The place of the calibrations is not looked through for procedures.
            let found = Some(place).filter(|place| *place < super::SLOTS);
            assert_eq!(slots.slot_of(procedure.digest()), found);
            assert_eq!(usize::try_from(held.length).unwrap(), bytes.len());
        }
    }

    #[test]
    fn a_cut_leaves_the_old_procedure_or_the_new_one() {
        let mut prepared = CutFlash::new(SLOT_SECTORS + 1);
        let mut slots = Slots::open(&mut prepared, 1).unwrap();
        let (old, bytes) = blob(1);
        store(&mut slots, &mut prepared, 2, &bytes).unwrap();
        let (new, bytes) = blob(2);
        let mut seen = [0; 2];
        for cut in 0..2_000 {
            let mut flash = prepared.clone().powered_for(Some(cut));
            let mut slots = Slots::open(&mut flash, 1).unwrap();
            let done = store(&mut slots, &mut flash, 2, &bytes);
            let whole = flash.is_on();
            let mut flash = flash.powered_for(None);
            let slots = Slots::open(&mut flash, 1).unwrap();
            let held = slots.held(2).expect("one of the two");
            let found = load(&slots, &mut flash, held).expect("whole");
            if whole {
                assert_eq!((done, &found), (Ok(SlotWrite::Done), &new));
                seen[1] += 1;
                break;
            }
            assert!(found == old || found == new, "cut {cut}");
            seen[0] += 1;
        }
        assert!(seen[0] > 150 && seen[1] == 1, "{seen:?}");
    }
}
