//! Frames on the line: head, message, sum; stuffed and delimited. And the receiver that finds them in what arrives.

use core::fmt;

use super::cobs::{Decoded, Decoder, Encoder};
use super::{CONTENT_MAX, VERSION};
use crate::crc::crc32;

/// Bytes before the message: version, token, number, kind.
pub(super) const HEAD: usize = 8;
/// Bytes after it.
pub(super) const SUM: usize = 4;

/// A message that does not fit its buffer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LinkError {
    /// The message is longer than a frame may be.
    TooLong,
    /// A question is open already.
    Open,
    /// The host has not identified the adapter yet.
    NotIdentified,
}

impl fmt::Display for LinkError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooLong => "the message is longer than a frame may be",
            Self::Open => "a question is open already: one at a time",
            Self::NotIdentified => "the adapter must be identified first",
        })
    }
}

impl core::error::Error for LinkError {}

/// What arrived, counted since the start.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counts {
    /// Frames whose sum was right.
    pub good: u32,
    /// Frames that were cut, damaged or too long.
    pub bad: u32,
}

/// What stands before a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Head {
    pub(super) version: u8,
    pub(super) token: u32,
    pub(super) number: u16,
    pub(super) kind: u8,
}

impl Head {
    pub(super) const fn new(token: u32, number: u16, kind: u8) -> Self {
        Self {
            version: VERSION,
            token,
            number,
            kind,
        }
    }

    fn bytes(self) -> [u8; HEAD] {
        let [t0, t1, t2, t3] = self.token.to_le_bytes();
        let [n0, n1] = self.number.to_le_bytes();
        [self.version, t0, t1, t2, t3, n0, n1, self.kind]
    }

    const fn from_bytes(bytes: [u8; HEAD]) -> Self {
        let [version, t0, t1, t2, t3, n0, n1, kind] = bytes;
        Self {
            version,
            token: u32::from_le_bytes([t0, t1, t2, t3]),
            number: u16::from_le_bytes([n0, n1]),
            kind,
        }
    }
}

/// Writes fields straight through the stuffing into the buffer, and sums them.
pub(super) struct Writer<'b> {
    encoder: Encoder<'b>,
    sum: u32,
    content: usize,
}

impl Writer<'_> {
    pub(super) fn bytes(&mut self, bytes: &[u8]) -> Option<()> {
        self.sum = crc32(self.sum, bytes);
        self.content = self.content.saturating_add(bytes.len());
        bytes.iter().try_for_each(|&byte| self.encoder.push(byte))
    }

    pub(super) fn u8(&mut self, value: u8) -> Option<()> {
        self.bytes(&[value])
    }

    pub(super) fn u16(&mut self, value: u16) -> Option<()> {
        self.bytes(&value.to_le_bytes())
    }

    pub(super) fn u32(&mut self, value: u32) -> Option<()> {
        self.bytes(&value.to_le_bytes())
    }

    pub(super) fn i32(&mut self, value: i32) -> Option<()> {
        self.bytes(&value.to_le_bytes())
    }

    pub(super) fn u64(&mut self, value: u64) -> Option<()> {
        self.bytes(&value.to_le_bytes())
    }

    pub(super) fn i64(&mut self, value: i64) -> Option<()> {
        self.bytes(&value.to_le_bytes())
    }

    /// Bytes with their number before them; none if they are more than allowed.
    pub(super) fn counted(&mut self, bytes: &[u8], allowed: usize) -> Option<()> {
        if bytes.len() > allowed {
            return None;
        }
        self.u16(u16::try_from(bytes.len()).ok()?)?;
        self.bytes(bytes)
    }
}

/// Writes a whole frame, delimiters included; returns its length, or none if it does not fit.
pub(super) fn write(
    into: &mut [u8],
    head: Head,
    fields: impl FnOnce(&mut Writer<'_>) -> Option<()>,
) -> Option<usize> {
    let (start, rest) = into.split_first_mut()?;
    *start = 0;
    let mut writer = Writer {
        encoder: Encoder::new(rest),
        sum: 0,
        content: 0,
    };
    writer.bytes(&head.bytes())?;
    fields(&mut writer)?;
    let sum = writer.sum;
    writer.bytes(&sum.to_le_bytes())?;
    if writer.content > CONTENT_MAX {
        return None;
    }
    let end = writer.encoder.finish()?.saturating_add(1);
    *into.get_mut(end)? = 0;
    Some(end.saturating_add(1))
}

/// Reads fields one after another.
pub(super) struct Fields<'a>(&'a [u8]);

impl<'a> Fields<'a> {
    pub(super) const fn new(bytes: &'a [u8]) -> Self {
        Self(bytes)
    }

    fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (first, rest) = self.0.split_first_chunk::<N>()?;
        self.0 = rest;
        Some(*first)
    }

    pub(super) fn u8(&mut self) -> Option<u8> {
        self.array::<1>().map(|[value]| value)
    }

    pub(super) fn u16(&mut self) -> Option<u16> {
        self.array().map(u16::from_le_bytes)
    }

    pub(super) fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    pub(super) fn i32(&mut self) -> Option<i32> {
        self.array().map(i32::from_le_bytes)
    }

    pub(super) fn u64(&mut self) -> Option<u64> {
        self.array().map(u64::from_le_bytes)
    }

    pub(super) fn i64(&mut self) -> Option<i64> {
        self.array().map(i64::from_le_bytes)
    }

    pub(super) fn counted(&mut self, allowed: usize) -> Option<&'a [u8]> {
        let count = usize::from(self.u16()?);
        if count > allowed {
            return None;
        }
        let (first, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(first)
    }

    /// The value, if nothing is left over.
    pub(super) fn done<T>(&self, value: T) -> Option<T> {
        self.0.is_empty().then_some(value)
    }
}

/// Finds frames in what arrives. Whatever arrives, it holds no more than one frame.
#[derive(Debug)]
pub(super) struct Receiver {
    content: [u8; CONTENT_MAX],
    length: usize,
    /// Where the message of the last good frame ends; it stays until the next byte arrives.
    end: usize,
    decoder: Decoder,
    /// Too long, or cut: nothing counts until the next delimiter.
    lost: bool,
    counts: Counts,
}

impl Receiver {
    pub(super) const fn new() -> Self {
        Self {
            content: [0; CONTENT_MAX],
            length: 0,
            end: 0,
            decoder: Decoder::new(),
            lost: false,
            counts: Counts { good: 0, bad: 0 },
        }
    }

    pub(super) const fn counts(&self) -> Counts {
        self.counts
    }

    /// Takes one byte; the head of a frame if it ended one whose sum is right. [`Receiver::message`] then gives the rest.
    pub(super) fn push(&mut self, byte: u8) -> Option<Head> {
        if byte != 0 {
            self.end = 0;
            let content = match self.decoder.push(byte) {
                Decoded::Length => return None,
                Decoded::Byte(byte) => byte,
                Decoded::Zero => 0,
            };
            match self.content.get_mut(self.length) {
                Some(place) => {
                    *place = content;
                    self.length = self.length.saturating_add(1);
                }
                None => self.lost = true,
            }
            return None;
        }
        let whole = self.decoder.is_whole() && !self.lost;
        let empty = self.decoder == Decoder::new();
        let length = self.length;
        self.decoder = Decoder::new();
        self.length = 0;
        self.lost = false;
        if empty {
            return None;
        }
        let head = if whole { self.checked(length) } else { None };
        match head {
            Some(_) => self.counts.good = self.counts.good.saturating_add(1),
            None => self.counts.bad = self.counts.bad.saturating_add(1),
        }
        head
    }

    /// The message of the frame that just ended.
    pub(super) fn message(&self) -> &[u8] {
        self.content.get(HEAD..self.end).unwrap_or(&[])
    }

    fn checked(&mut self, length: usize) -> Option<Head> {
        let content = self.content.get(..length)?;
        let (summed, sum) = content.split_last_chunk::<SUM>()?;
        if crc32(0, summed) != u32::from_le_bytes(*sum) {
            return None;
        }
        let (head, message) = summed.split_first_chunk::<HEAD>()?;
        let (head, end) = (Head::from_bytes(*head), message.len().saturating_add(HEAD));
        self.end = end;
        Some(head)
    }
}
