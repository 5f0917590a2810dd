//! A procedure as bytes: how it is sent to an adapter and kept there.
//!
//! Version, counts, items one after another in postcard, then CRC-32 of all before it. Read whole or refused with the
//! offset of the fault.

use serde::Serialize;
use serde::de::DeserializeOwned;

use super::{Procedure, ProcedureError, Terms};
use crate::check_sum::crc32;

/// Version of the stored form.
pub(super) const VERSION: u8 = 1;

impl Procedure {
    /// Writes the procedure and returns the bytes used.
    ///
    /// # Errors
    /// [`ProcedureError::Buffer`] when it does not fit.
    pub fn encode<'b>(&self, into: &'b mut [u8]) -> Result<&'b [u8], ProcedureError> {
        let size = into.len();
        let short = ProcedureError::Buffer { size };
        let mut writer = Writer { into, at: 0, short };
        writer.item(&VERSION)?;
        writer.item(&self.terms)?;
        writer.list(&self.fasteners)?;
        writer.list(&self.stages)?;
        writer.list(&self.steps)?;
        writer.list(&self.overrides)?;
        let sum = crc32(0, writer.into.get(..writer.at).ok_or(short)?);
        writer.bytes(&sum.to_le_bytes())?;
        let at = writer.at;
        into.get(..at).ok_or(short)
    }

    /// Reads a stored procedure: the whole slice, checked, or nothing.
    ///
    /// # Errors
    /// [`ProcedureError::Version`], [`ProcedureError::Damaged`] with the offset, or the rule that the content breaks.
    pub fn decode(bytes: &[u8]) -> Result<Self, ProcedureError> {
        match bytes.first() {
            Some(&VERSION) => {}
            Some(&found) => return Err(ProcedureError::Version { found }),
            None => return Err(ProcedureError::Damaged { offset: 0 }),
        }
        let Some((content, sum)) = bytes.split_last_chunk::<4>() else {
            return Err(ProcedureError::Damaged {
                offset: bytes.len(),
            });
        };
        let mut reader = Reader {
            content,
            rest: content,
        };
        let _version: u8 = reader.item()?;
        let terms: Terms = reader.item()?;
        let procedure = Self {
            terms,
            fasteners: reader.list("fasteners")?,
            stages: reader.list("stages")?,
            steps: reader.list("steps")?,
            overrides: reader.list("targets by fastener")?,
        };
        if !reader.rest.is_empty() || crc32(0, content) != u32::from_le_bytes(*sum) {
            return Err(reader.damaged());
        }
        procedure.checked()
    }

    /// CRC-32 of the stored form: what a session header names its procedure by.
    #[must_use]
    pub fn digest(&self) -> u32 {
        let mut sum = crc32(0, &[VERSION]);
        sum = folded(sum, &self.terms);
        sum = all_folded(sum, &self.fasteners);
        sum = all_folded(sum, &self.stages);
        sum = all_folded(sum, &self.steps);
        all_folded(sum, &self.overrides)
    }
}

fn all_folded<T: Serialize>(sum: u32, items: &[T]) -> u32 {
    let mut count = [0_u8; 2];
    let length = u16::try_from(items.len()).unwrap_or(u16::MAX);
    count.copy_from_slice(&length.to_le_bytes());
    items.iter().fold(crc32(sum, &count), folded)
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

struct Reader<'b> {
    content: &'b [u8],
    rest: &'b [u8],
}

impl Reader<'_> {
    fn damaged(&self) -> ProcedureError {
        ProcedureError::Damaged {
            offset: self.content.len().saturating_sub(self.rest.len()),
        }
    }

    fn item<T: DeserializeOwned + Serialize>(&mut self) -> Result<T, ProcedureError> {
        match postcard::take_from_bytes::<T>(self.rest) {
            Ok((item, rest)) => {
                self.rest = rest;
                Ok(item)
            }
            Err(_) => Err(self.damaged()),
        }
    }

    fn list<T: DeserializeOwned + Serialize, const N: usize>(
        &mut self,
        what: &'static str,
    ) -> Result<heapless::Vec<T, N>, ProcedureError> {
        let count: u16 = self.item()?;
        let given = usize::from(count);
        if given > N {
            return Err(ProcedureError::TooMany {
                what,
                given,
                allowed: N,
            });
        }
        let mut items = heapless::Vec::new();
        for _ in 0..given {
            let item = self.item()?;
            if items.push(item).is_err() {
                return Err(ProcedureError::TooMany {
                    what,
                    given,
                    allowed: N,
                });
            }
        }
        Ok(items)
    }
}
