//! A procedure as bytes: how it is sent to an adapter and kept there.
//!
//! Version, counts, items one after another in postcard, then CRC-32 of all before it. Read whole or refused with the
//! offset of the fault.

use heapless::Vec;
use serde::Serialize;

use super::{Parts, Procedure, ProcedureError, Terms};
use crate::crc::crc32;
use crate::wire::{Decode, Decoder};

/// Version of the stored form.
pub(super) const VERSION: u8 = 2;

impl Procedure {
    /// Writes the procedure and returns the bytes used.
    ///
    /// # Errors
    /// [`ProcedureError::Buffer`] when it does not fit.
    pub fn encode<'b>(&self, into: &'b mut [u8]) -> Result<&'b [u8], ProcedureError> {
        Parts {
            fasteners: &self.fasteners,
            stages: &self.stages,
            steps: &self.steps,
            overrides: &self.overrides,
            terms: self.terms,
        }
        .encode(into)
    }

    /// Reads a stored procedure: the whole slice, checked, or nothing.
    ///
    /// # Errors
    /// [`ProcedureError::Version`], [`ProcedureError::Damaged`] with the offset, or the rule that the content breaks.
    pub fn decode(bytes: &[u8]) -> Result<Self, ProcedureError> {
        Self::decode_from(bytes.len(), |offset, into| {
            match bytes.get(offset..offset.saturating_add(into.len())) {
                Some(found) => {
                    into.copy_from_slice(found);
                    true
                }
                None => false,
            }
        })
    }

    /// Reads a stored procedure of `length` bytes piece by piece: `fetch` fills a slice from an offset, or says no. For
    /// adapters whose memory has no room for the stored form beside the procedure.
    ///
    /// # Errors
    /// As [`Procedure::decode`]; a piece that cannot be fetched is damaged at its offset.
    pub fn decode_from(
        length: usize,
        fetch: impl FnMut(usize, &mut [u8]) -> bool,
    ) -> Result<Self, ProcedureError> {
        let mut made = None;
        Self::decode_into(&mut made, length, fetch)?;
        made.ok_or(ProcedureError::Damaged { offset: 0 })
    }

    /// As [`Procedure::decode_from`], in the place where the procedure stays, so that there is never a second one in memory.
    /// After an error there is none.
    ///
    /// # Errors
    /// As [`Procedure::decode_from`].
    pub fn decode_into(
        into: &mut Option<Self>,
        length: usize,
        fetch: impl FnMut(usize, &mut [u8]) -> bool,
    ) -> Result<(), ProcedureError> {
        let procedure = into.insert(Self {
            terms: Terms::default(),
            fasteners: Vec::new(),
            stages: Vec::new(),
            steps: Vec::new(),
            overrides: Vec::new(),
            in_stage: [0; super::STAGES_MAX],
            digest: 0,
        });
        let read = procedure.read(length, fetch);
        if read.is_err() {
            *into = None;
        }
        read
    }

    fn read(
        &mut self,
        length: usize,
        fetch: impl FnMut(usize, &mut [u8]) -> bool,
    ) -> Result<(), ProcedureError> {
        let Some(end) = length.checked_sub(SUM) else {
            return Err(ProcedureError::Damaged { offset: 0 });
        };
        let mut reader = Reader {
            fetch,
            at: 0,
            end,
            sum: 0,
        };
        match reader.item::<u8>() {
            Ok(VERSION) => {}
            Ok(found) => return Err(ProcedureError::Version { found }),
            Err(error) => return Err(error),
        }
        self.terms = reader.item()?;
        reader.list("fasteners", &mut self.fasteners)?;
        reader.list("stages", &mut self.stages)?;
        reader.list("steps", &mut self.steps)?;
        reader.list("targets by fastener", &mut self.overrides)?;
        self.digest = reader.finish()?;
        self.check()
    }

    /// CRC-32 of the stored form: what a session header names its procedure by.
    #[must_use]
    pub const fn digest(&self) -> u32 {
        self.digest
    }
}

impl Terms {
    /// The stored form of [`Terms::default`], for a device that writes a procedure without what serializes one.
    pub const DEFAULT_STORED: &'static [u8] = &[
        0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0xA0, 0x1F, 0xC8, 0x01, 0x80,
        0x87, 0xA7, 0x0E, 0xA0, 0x8D, 0x06, 0x90, 0xA1, 0x0F, 0x00, 0x00, 0x00, 0x00, 0xD0, 0x0F,
        0x80, 0xF2, 0x57, 0x00, 0x00, 0x28, 0x14, 0xC0, 0x3E, 0x08, 0x05, 0x04, 0x04, 0xE8, 0x07,
        0x62, 0x0A, 0x0A, 0xE0, 0xD4, 0x03, 0x00,
    ];
}

impl Parts<'_> {
    /// CRC-32 of the stored form of what these parts make.
    pub(super) fn digest(&self) -> u32 {
        let mut sum = crc32(0, &[VERSION]);
        sum = folded(sum, &self.terms);
        sum = all_folded(sum, self.fasteners);
        sum = all_folded(sum, self.stages);
        sum = all_folded(sum, self.steps);
        all_folded(sum, self.overrides)
    }

    /// Writes the stored form of what these parts would make, without making it, and returns the bytes used. Whether they
    /// make a valid procedure shows when it is read.
    ///
    /// # Errors
    /// [`ProcedureError::Buffer`] when it does not fit.
    pub fn encode<'b>(&self, into: &'b mut [u8]) -> Result<&'b [u8], ProcedureError> {
        let size = into.len();
        let short = ProcedureError::Buffer { size };
        let mut writer = Writer { into, at: 0, short };
        writer.item(&VERSION)?;
        writer.item(&self.terms)?;
        writer.list(self.fasteners)?;
        writer.list(self.stages)?;
        writer.list(self.steps)?;
        writer.list(self.overrides)?;
        let sum = crc32(0, writer.into.get(..writer.at).ok_or(short)?);
        writer.bytes(&sum.to_le_bytes())?;
        let at = writer.at;
        into.get(..at).ok_or(short)
    }
}

fn all_folded<T: Serialize>(sum: u32, items: &[T]) -> u32 {
    let count = u16::try_from(items.len()).unwrap_or(u16::MAX);
    items.iter().fold(folded(sum, &count), folded)
}

fn folded<T: Serialize>(sum: u32, item: &T) -> u32 {
    let mut room = [0_u8; ITEM_MAX];
    match postcard::to_slice(item, &mut room) {
        Ok(bytes) => crc32(sum, bytes),
        // No item is longer than ITEM_MAX; were one to be, its digest must still differ from that of no item.
        Err(_) => !sum,
    }
}

/// Bytes of the longest item: the terms.
const ITEM_MAX: usize = 128;

struct Writer<'b> {
    into: &'b mut [u8],
    at: usize,
    short: ProcedureError,
}

impl Writer<'_> {
    fn item<T: Serialize>(&mut self, item: &T) -> Result<(), ProcedureError> {
        let room = self.into.get_mut(self.at..).ok_or(self.short)?;
        match postcard::to_slice(item, room) {
            Ok(written) => {
                self.at = self.at.saturating_add(written.len());
                Ok(())
            }
            Err(_) => Err(self.short),
        }
    }

    fn list<T: Serialize>(&mut self, items: &[T]) -> Result<(), ProcedureError> {
        self.item(&u16::try_from(items.len()).unwrap_or(u16::MAX))?;
        items.iter().try_for_each(|item| self.item(item))
    }

    fn bytes(&mut self, bytes: &[u8]) -> Result<(), ProcedureError> {
        let end = self.at.saturating_add(bytes.len());
        let room = self.into.get_mut(self.at..end).ok_or(self.short)?;
        room.copy_from_slice(bytes);
        self.at = end;
        Ok(())
    }
}

/// Bytes of the sum at the end.
const SUM: usize = 4;

struct Reader<F> {
    fetch: F,
    at: usize,
    /// Where the sum begins.
    end: usize,
    sum: u32,
}

impl<F: FnMut(usize, &mut [u8]) -> bool> Reader<F> {
    const fn damaged(&self) -> ProcedureError {
        ProcedureError::Damaged { offset: self.at }
    }

    fn item<T: Decode>(&mut self) -> Result<T, ProcedureError> {
        let mut window = [0_u8; ITEM_MAX];
        let left = self.end.saturating_sub(self.at);
        let window = window.get_mut(..left.min(ITEM_MAX)).unwrap_or_default();
        if !(self.fetch)(self.at, window) {
            return Err(self.damaged());
        }
        let mut fields = Decoder::new(window);
        let item = fields.item();
        let Some(left) = fields.end() else {
            return Err(self.damaged());
        };
        let used = window.len().saturating_sub(left);
        self.sum = crc32(self.sum, window.get(..used).unwrap_or_default());
        self.at = self.at.saturating_add(used);
        Ok(item)
    }

    fn list<T: Decode, const N: usize>(
        &mut self,
        what: &'static str,
        items: &mut Vec<T, N>,
    ) -> Result<(), ProcedureError> {
        let count: u16 = self.item()?;
        let given = usize::from(count);
        let too_many = ProcedureError::TooMany {
            what,
            given,
            allowed: N,
        };
        if given > N {
            return Err(too_many);
        }
        for _ in 0..given {
            let item = self.item()?;
            if items.push(item).is_err() {
                return Err(too_many);
            }
        }
        Ok(())
    }

    /// Nothing is left over, and the sum is right: the sum.
    fn finish(&mut self) -> Result<u32, ProcedureError> {
        let mut sum = [0; SUM];
        if self.at != self.end || !(self.fetch)(self.end, &mut sum) {
            return Err(self.damaged());
        }
        if self.sum != u32::from_le_bytes(sum) {
            return Err(self.damaged());
        }
        Ok(self.sum)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::{Fastener, Override, OverrideAim, Stage, StageKind, Step};
    use crate::procedure::{Prevailing, TorqueWindow};
    use crate::text::Label;
    use crate::unit::Torque;

    fn procedure() -> Procedure {
        let torque = Torque::from_millinewton_meters;
        let window = TorqueWindow {
            target: torque(40_000),
            min: torque(38_400),
            max: torque(41_600),
        };
        let fasteners = ["1", "2", "3b"].map(|label| Fastener {
            label: Label::cut(label),
            near: [Some(0), None, None, None].map(|near| near.filter(|_| label != "1")),
        });
        let stages = [Stage::new(StageKind::Tighten {
            window,
            prevailing: Prevailing::Given(torque(1_500)),
        })];
        let steps = [Step::on(2, 0), Step::on(0, 0), Step::on(1, 0)];
        let own = Override {
            fastener: 1,
            stage: 0,
            aim: OverrideAim::Torque(window),
        };
        Procedure::new(&Parts {
            fasteners: &fasteners,
            stages: &stages,
            steps: &steps,
            overrides: &[own],
            terms: Terms::default(),
        })
        .expect("sound parts")
    }

    #[test]
    fn the_stored_form_reads_back_and_ends_in_its_digest() {
        let mut room = [0; 512];
        let bytes = procedure().encode(&mut room).expect("room");
        assert_eq!(Procedure::decode(bytes), Ok(procedure()));
        let sum = bytes.last_chunk().map(|sum| u32::from_le_bytes(*sum));
        assert_eq!(sum, Some(procedure().digest()));
    }

    #[test]
    fn the_stored_default_of_the_terms_is_their_default() {
        let mut room = [0; ITEM_MAX];
        let bytes = postcard::to_slice(&Terms::default(), &mut room).expect("room");
        assert_eq!(&*bytes, Terms::DEFAULT_STORED);
    }

    #[test]
    fn any_byte_changed_and_any_end_cut_off_is_refused() {
        let mut room = [0; 512];
        let length = procedure().encode(&mut room).expect("room").len();
        let bytes = room.get(..length).unwrap_or_default();
        for length in 0..bytes.len() {
            let cut = bytes.get(..length).unwrap_or_default();
            assert!(Procedure::decode(cut).is_err(), "{length} bytes");
        }
        for at in 0..length {
            let mut other = room;
            if let Some(byte) = other.get_mut(at) {
                *byte ^= 0x01;
            }
            let other = other.get(..length).unwrap_or_default();
            assert!(Procedure::decode(other).is_err(), "byte {at}");
        }
    }

    #[test]
    fn a_number_spelt_in_a_longer_way_is_refused() {
        let mut room = [0; 512];
        let bytes = procedure().encode(&mut room).expect("room");
        let mut longer = Vec::<u8, 512>::new();
        // The version as a one-byte number is fixed; the count of fasteners, 3, is not.
        let terms = postcard::to_slice(&Terms::default(), &mut [0; 128])
            .map(|terms| terms.len())
            .unwrap_or(0);
        let (head, tail) = bytes.split_at(1 + terms);
        assert_eq!(tail.first(), Some(&3));
        let body = tail.get(1..tail.len() - SUM).unwrap_or_default();
        for part in [head, &[0x83, 0x00], body] {
            longer.extend_from_slice(part).expect("room");
        }
        let sum = crc32(0, &longer);
        longer.extend_from_slice(&sum.to_le_bytes()).expect("room");
        assert_eq!(
            Procedure::decode(&longer),
            Err(ProcedureError::Damaged { offset: head.len() })
        );
    }
}
