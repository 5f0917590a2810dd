//! The journal as bytes: frames encoded, scanned and recovered. No IO.
//!
//! ```text
//! length u16 | kind u8 | version u8 | sequence u32 | payload … | sum u32        all little-endian
//! ```
//!
//! `length` counts the payload. `sum` is CRC-32 over everything before it in the frame, seeded by the sum of the frame
//! before; the first frame is seeded by [`FIRST_SEED`]. A frame therefore proves itself *and* its place. The four bytes in
//! front of any frame are its seed, so reading can begin again after damage. The sum detects damage, not forgery.
//!
//! Kinds below 128 are the core's records: postcard of joint, seq, boot, time and the flat fields of the kind. Kinds from 128
//! belong to the host and are carried as they are. `JOURNAL.md` beside the core is the written format. Knows nothing of files,
//! flash or what a record means.
//!
//! # Examples
//! ```
//! use evendraw_core::journal::{FIRST_SEED, Found, Frame, Scan, encode, frame_at};
//!
//! let mut journal = Vec::new();
//! let mut seed = FIRST_SEED;
//! for (sequence, payload) in [(1, b"one"), (2, b"two")] {
//!     let mut room = [0; 64];
//!     let frame = Frame { kind: 200, version: 1, sequence, payload };
//!     let bytes = encode(&frame, seed, &mut room)?;
//!     journal.extend_from_slice(bytes);
//!     seed = frame_at(bytes, seed).map_or(seed, |(_, sum, _)| sum);
//! }
//! // The power goes in mid-write: the whole frame stays, the rest is told of.
//! journal.truncate(journal.len() - 3);
//! let found: Vec<_> = Scan::new(&journal).collect();
//! assert!(matches!(found[0], Found::Frame { frame: Frame { payload: b"one", .. }, .. }));
//! assert_eq!(found[1], Found::Torn { from: 15, to: 27 });
//! # Ok::<(), evendraw_core::journal::EncodeError>(())
//! ```

mod resume;

use core::fmt;

use serde::Serialize;

use crate::crc::crc32;
use crate::limits::{PAYLOAD_MAX, RECORD_MAX};
use crate::record::{AttemptV1, Entry, Record};
use crate::unit::Instant;
use crate::wire::Decoder;
use resume::Resume;

/// Seed of the first frame: the CRC-32 of `evendraw journal 1`.
pub const FIRST_SEED: u32 = 0x37A6_1A41;

/// First kind that belongs to hosts.
pub const HOST_KINDS: u8 = 128;

/// Bytes around a payload.
pub const OVERHEAD: usize = HEADER + SUM;

const HEADER: usize = 8;
const SUM: usize = 4;

/// One frame, its payload borrowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Frame<'a> {
    /// Kind of the content.
    pub kind: u8,
    /// Version of that kind.
    pub version: u8,
    /// Place in the journal, from 1.
    pub sequence: u32,
    /// The content.
    pub payload: &'a [u8],
}

/// What stands at a place of the journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Found<'a> {
    /// A frame that proves itself.
    Frame {
        /// The frame.
        frame: Frame<'a>,
        /// Where it begins.
        offset: usize,
        /// Its sum: the seed of the frame after it.
        sum: u32,
    },
    /// Bytes in the middle that prove nothing: set aside, never skipped in silence.
    Damaged {
        /// First byte.
        from: usize,
        /// First byte after them.
        to: usize,
    },
    /// Bytes at the end that prove nothing: a write that was cut off.
    Torn {
        /// First byte.
        from: usize,
        /// The end of the journal.
        to: usize,
    },
}

/// Why a frame cannot be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum EncodeError {
    /// The payload is longer than a frame may be.
    TooLong {
        /// Its bytes.
        given: usize,
        /// Bytes allowed.
        allowed: usize,
    },
    /// The buffer is too small.
    Buffer {
        /// Its bytes.
        size: usize,
    },
}

impl fmt::Display for EncodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::TooLong { given, allowed } => {
                write!(f, "payload of {given} bytes is longer than {allowed}")
            }
            Self::Buffer { size } => write!(f, "buffer of {size} bytes is too small for the frame"),
        }
    }
}

impl core::error::Error for EncodeError {}

/// Why a frame is not a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum DecodeError {
    /// A kind that this reader does not know.
    Kind {
        /// The kind.
        found: u8,
    },
    /// A version of the kind that this reader does not know.
    Version {
        /// The kind.
        kind: u8,
        /// The version.
        found: u8,
    },
    /// The fields do not read, or would not be written like this.
    Content {
        /// The kind.
        kind: u8,
    },
}

impl fmt::Display for DecodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Kind { found } => write!(f, "record kind {found} is not known"),
            Self::Version { kind, found } => {
                let newest = newest_version(kind);
                write!(
                    f,
                    "record kind {kind} has version {found}, known is up to {newest}"
                )
            }
            Self::Content { kind } => {
                write!(f, "the fields of a record of kind {kind} do not read")
            }
        }
    }
}

impl core::error::Error for DecodeError {}

/// Writes a frame and returns its bytes; the last four are the seed of the next.
///
/// # Errors
/// [`EncodeError`] with the sizes.
pub fn encode<'b>(
    frame: &Frame<'_>,
    seed: u32,
    into: &'b mut [u8],
) -> Result<&'b [u8], EncodeError> {
    let size = into.len();
    let (given, allowed) = (frame.payload.len(), PAYLOAD_MAX);
    let length = match u16::try_from(given) {
        Ok(length) if given <= allowed => length,
        _ => return Err(EncodeError::TooLong { given, allowed }),
    };
    let end = given.saturating_add(HEADER);
    let room = into
        .get_mut(..end.saturating_add(SUM))
        .ok_or(EncodeError::Buffer { size })?;
    let [low, high] = length.to_le_bytes();
    let [s0, s1, s2, s3] = frame.sequence.to_le_bytes();
    let header: [u8; HEADER] = [low, high, frame.kind, frame.version, s0, s1, s2, s3];
    let mut rest = &mut *room;
    for part in [header.as_slice(), frame.payload] {
        let Some((here, after)) = rest.split_at_mut_checked(part.len()) else {
            return Err(EncodeError::Buffer { size });
        };
        here.copy_from_slice(part);
        rest = after;
    }
    let sum = crc32(seed, room.get(..end).unwrap_or_default());
    if let Some(place) = room.last_chunk_mut::<SUM>() {
        *place = sum.to_le_bytes();
    }
    Ok(room)
}

/// Writes a record as a frame.
///
/// # Errors
/// [`EncodeError`] with the sizes.
pub fn encode_entry<'b>(
    entry: &Entry,
    sequence: u32,
    seed: u32,
    into: &'b mut [u8],
) -> Result<&'b [u8], EncodeError> {
    let mut payload = [0; RECORD_MAX];
    let payload = flat(entry, &mut payload)?;
    let frame = Frame {
        kind: entry.record.kind(),
        version: entry.record.version(),
        sequence,
        payload,
    };
    encode(&frame, seed, into)
}

/// Reads the frame at the beginning of `bytes`, if it proves itself under this seed. Returns it with its sum and length.
#[must_use]
pub fn frame_at(bytes: &[u8], seed: u32) -> Option<(Frame<'_>, u32, usize)> {
    let (header, _) = bytes.split_first_chunk::<HEADER>()?;
    let [low, high, kind, version, s0, s1, s2, s3] = *header;
    let length = usize::from(u16::from_le_bytes([low, high]));
    if length > PAYLOAD_MAX {
        return None;
    }
    let end = length.saturating_add(HEADER);
    let proved = bytes.get(..end)?;
    let (sum, _) = bytes.get(end..)?.split_first_chunk::<SUM>()?;
    let sum = u32::from_le_bytes(*sum);
    if crc32(seed, proved) != sum {
        return None;
    }
    let sequence = u32::from_le_bytes([s0, s1, s2, s3]);
    let payload = proved.get(HEADER..)?;
    Some((
        Frame {
            kind,
            version,
            sequence,
            payload,
        },
        sum,
        end.saturating_add(SUM),
    ))
}

/// Walks a journal from its beginning.
#[derive(Clone, Debug)]
pub struct Scan<'a> {
    bytes: &'a [u8],
    at: usize,
    seed: u32,
    last: u32,
}

impl<'a> Scan<'a> {
    /// Of a whole journal.
    #[must_use]
    pub const fn new(bytes: &'a [u8]) -> Self {
        Self {
            bytes,
            at: 0,
            seed: FIRST_SEED,
            last: 0,
        }
    }

    fn proved(&self, at: usize, seed: u32) -> Option<(Frame<'a>, u32, usize)> {
        let found = frame_at(self.bytes.get(at..)?, seed)?;
        if found.0.sequence > self.last {
            Some(found)
        } else {
            None
        }
    }

    fn taken(&mut self, at: usize, (frame, sum, length): (Frame<'a>, u32, usize)) -> Found<'a> {
        self.at = at.saturating_add(length);
        self.seed = sum;
        self.last = frame.sequence;
        Found::Frame {
            frame,
            offset: at,
            sum,
        }
    }

    /// The next place at which a frame proves itself under the four bytes in front of it.
    fn resumes_at(&self) -> Option<(usize, u32)> {
        let from = self.at.max(SUM);
        let mut resume = Resume::new(self.bytes, from);
        (from..self.bytes.len()).find_map(|at| {
            if !resume.may_begin(at) {
                return None;
            }
            let seed = self.bytes.get(..at)?.last_chunk::<SUM>()?;
            let seed = u32::from_le_bytes(*seed);
            self.proved(at, seed).map(|_| (at, seed))
        })
    }
}

impl<'a> Iterator for Scan<'a> {
    type Item = Found<'a>;

    fn next(&mut self) -> Option<Found<'a>> {
        let to = self.bytes.len();
        if self.at >= to {
            return None;
        }
        if let Some(found) = self.proved(self.at, self.seed) {
            return Some(self.taken(self.at, found));
        }
        let from = self.at;
        match self.resumes_at() {
            Some((at, seed)) => {
                self.at = at;
                self.seed = seed;
                Some(Found::Damaged { from, to: at })
            }
            None => {
                self.at = to;
                Some(Found::Torn { from, to })
            }
        }
    }
}

macro_rules! kinds {
    ($($kind:literal $version:literal $name:ident,)*) => {
        /// The version of a kind that is written now; 0 for a kind that is not known.
        const fn newest_version(kind: u8) -> u8 {
            match kind {
                $($kind => $version,)*
                _ => 0,
            }
        }

        fn flat<'b>(entry: &Entry, into: &'b mut [u8]) -> Result<&'b [u8], EncodeError> {
            let head: Head = (entry.joint, entry.seq, entry.boot, entry.at);
            let head = written(&head, into)?;
            let short = EncodeError::Buffer { size: into.len() };
            let rest = into.get_mut(head..).ok_or(short)?;
            let fact = match &entry.record {
                $(Record::$name(fact) => written(fact, rest),)*
            }?;
            into.get(..head.saturating_add(fact)).ok_or(short)
        }

        /// The record in a frame; `None` for a host's kind.
        ///
        /// # Errors
        /// [`DecodeError`]: what is not known, or does not read, is refused; nothing is guessed.
        pub fn decode_entry(frame: &Frame<'_>) -> Result<Option<Entry>, DecodeError> {
            if frame.kind >= HOST_KINDS {
                return Ok(None);
            }
            let kind = frame.kind;
            if !cfg!(feature = "put-right") && matches!(kind, 28 | 29) {
                // They cannot be folded here.
                return Err(DecodeError::Kind { found: kind });
            }
            let mut fields = Decoder::new(frame.payload);
            let (joint, seq, boot, at) = (fields.item(), fields.item(), fields.item(), fields.item());
            let record = match (kind, frame.version) {
                (3, 1) => Record::Attempt(fields.item::<AttemptV1>().into()),
                $(($kind, $version) => Record::$name(fields.item()),)*
                (found, _) if newest_version(found) == 0 => return Err(DecodeError::Kind { found }),
                (kind, found) => return Err(DecodeError::Version { kind, found }),
            };
            // Every value has one spelling: two of one number would be two journals of one job.
            if fields.end() != Some(0) {
                return Err(DecodeError::Content { kind });
            }
            Ok(Some(Entry {
                joint,
                seq,
                boot,
                at,
                record,
            }))
        }
    };
}

kinds! {
    1 1 Started,
    2 1 Begun,
    3 2 Attempt,
    4 1 Done,
    5 1 Answered,
    6 1 Measured,
    7 1 Waited,
    8 1 Person,
    9 1 Tool,
    10 1 Condition,
    11 1 Anchor,
    12 1 Zero,
    13 1 Loosened,
    14 1 Fitted,
    15 1 Skipped,
    16 1 Noted,
    17 1 Decided,
    18 1 Marked,
    19 1 Rechecked,
    20 1 Pass,
    21 1 Moment,
    22 1 Due,
    23 1 Apart,
    24 1 Recovered,
    25 1 Running,
    26 1 Read,
    27 1 BySetting,
    28 1 Reassigned,
    29 1 Withdrawn,
    30 1 Revised,
}

/// What stands before the fields of every kind: joint, seq, boot, time.
type Head = (u8, u32, u16, Instant);

/// Writes fields and returns their length.
fn written<T: Serialize>(fields: &T, into: &mut [u8]) -> Result<usize, EncodeError> {
    let size = into.len();
    match postcard::to_slice(fields, into) {
        Ok(bytes) => Ok(bytes.len()),
        Err(_) => Err(EncodeError::Buffer { size }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Begun, Started};

    #[test]
    fn the_first_seed_is_the_sum_of_its_words() {
        assert_eq!(
            FIRST_SEED,
            crc32(0, b"evendraw journal 1"),
            "{:08X}",
            crc32(0, b"evendraw journal 1")
        );
    }

    #[test]
    fn two_frames_read_back_and_a_swap_does_not() {
        let start = Started {
            rules: 1,
            procedure: 7,
            rehearsal: true,
        };
        let one = Entry {
            joint: 0,
            seq: 1,
            boot: 1,
            at: Instant::BOOT,
            record: start.into(),
        };
        let two = Entry {
            seq: 2,
            record: Begun { step: 300 }.into(),
            ..one.clone()
        };
        let (mut first, mut second) = ([0; 64], [0; 64]);
        let first = encode_entry(&one, 1, FIRST_SEED, &mut first).expect("room");
        let (_, sum, _) = frame_at(first, FIRST_SEED).expect("its own frame");
        let second = encode_entry(&two, 2, sum, &mut second).expect("room");
        let (frame, ..) = frame_at(second, sum).expect("its own frame");
        assert_eq!(decode_entry(&frame), Ok(Some(two)));
        assert_eq!(frame_at(second, FIRST_SEED), None);
    }
}
