//! What is asked and answered, each with its number and its fields.
//!
//! Fields stand one after another, little-endian, each in one way only; a message with anything left over is refused.

use core::fmt;

use super::frame::{Fields, Head, Writer, write};
use super::tell::Tell;
use super::{CURVE_MAX, FRAMES_MAX, NAME_MAX, PIECE_MAX};
use crate::limits::TEXT_MAX;
use crate::tracker::Cue;
use crate::unit::{Angle, Instant, Torque};
use crate::verdict::Reason;

/// A question of the host.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Request<'a> {
    /// Who are you? Opens a conversation. Answered by [`Reply::Identity`].
    Identify {
        /// Another number than in the conversation before.
        nonce: u32,
    },
    /// What is stored at this place? Answered by [`Reply::Slot`].
    Slot {
        /// The place, from 0.
        slot: u8,
    },
    /// A procedure is to be stored here. Answered by [`Reply::Have`].
    Offer {
        /// The place.
        slot: u8,
        /// Bytes of the stored form.
        length: u32,
        /// CRC-32 of the stored form without its last four bytes: the digest of the procedure.
        sum: u32,
    },
    /// Bytes of the offered procedure. Answered by [`Reply::Have`].
    Piece {
        /// The place.
        slot: u8,
        /// Where they belong.
        offset: u32,
        /// The bytes, at most [`PIECE_MAX`].
        bytes: &'a [u8],
    },
    /// All is sent: check it and take it. Answered by [`Reply::Stored`].
    Commit {
        /// The place.
        slot: u8,
    },
    /// Work this procedure from now on, as this joint. Answered by [`Reply::Working`].
    Work {
        /// The place.
        slot: u8,
        /// The joint's number in the journal.
        joint: u8,
    },
    /// The journal from this sequence number on. Answered by [`Reply::Frames`].
    Pull {
        /// First sequence number wanted.
        from: u32,
    },
    /// Send [`Live`] this often; 0 stops. Answered by [`Reply::Watching`].
    Watch {
        /// Time between two, in ms.
        every_ms: u16,
    },
    /// The wall time. Answered by [`Reply::Anchored`] once the record is safe.
    Anchor {
        /// Seconds since 1970-01-01 00:00 UTC.
        unix_seconds: i64,
    },
    /// Said by a person of the joint being worked. Answered by [`Reply::Told`] once what it records is safe.
    Tell(Tell<'a>),
    /// The curve of the newest attempt. Answered by [`Reply::Curve`].
    Curve {
        /// The first point wanted, from 0.
        from: u8,
    },
    /// All of the journal up to its last frame is kept elsewhere, and some of it is not needed here any more. Answered by
    /// [`Reply::Given`].
    Kept {
        /// The last frame of the journal, by its sequence number.
        last: u32,
        /// Its sum, which no other journal's has: the digest of all of it.
        sum: u32,
        /// Frames up to this sequence number may go. 0: none; it is only asked what is there.
        free: u32,
    },
    /// The next record of a joint that was made elsewhere: it is kept, and the joint can be worked on from there. What is worked is left.
    /// Answered by [`Reply::Told`] once it is safe, also where it was there already.
    Carry {
        /// Its frame, as the first of a journal; at most [`PIECE_MAX`].
        bytes: &'a [u8],
    },
    /// What is stored at this place, from a byte on. Answered by [`Reply::Bytes`].
    Read {
        /// The place; the one behind the last procedure's holds the calibrations.
        slot: u8,
        /// The first byte wanted, from 0.
        offset: u32,
    },
    /// What the sensors counted so far. Answered by [`Reply::Counts`].
    Counts,
}

/// An answer of the adapter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reply<'a> {
    /// To [`Request::Identify`].
    Identity(Identity<'a>),
    /// To [`Request::Slot`].
    Slot {
        /// The place.
        slot: u8,
        /// Bytes of the procedure stored there; 0 where there is none.
        length: u32,
        /// The digest of that procedure.
        sum: u32,
    },
    /// To [`Request::Offer`] and [`Request::Piece`].
    Have {
        /// The place.
        slot: u8,
        /// Bytes taken, from the first on without a gap.
        have: u32,
    },
    /// To [`Request::Commit`]: stored, read back and accepted whole.
    Stored {
        /// The place.
        slot: u8,
    },
    /// To [`Request::Work`].
    Working {
        /// The place.
        slot: u8,
        /// The joint's number.
        joint: u8,
    },
    /// To [`Request::Pull`]: whole frames one after another, in order and without a gap among them.
    Frames {
        /// The last sequence number in the adapter's journal; 0 where it is empty.
        last: u32,
        /// The seed of the first frame in `bytes`.
        seed: u32,
        /// The frames, at most [`FRAMES_MAX`] bytes; empty where there is nothing from that number on.
        bytes: &'a [u8],
    },
    /// To [`Request::Watch`].
    Watching {
        /// Time between two, in ms; 0 when stopped.
        every_ms: u16,
    },
    /// To [`Request::Anchor`].
    Anchored,
    /// To [`Request::Tell`] and [`Request::Carry`].
    Told,
    /// To [`Request::Curve`].
    Curve {
        /// [`Point`](crate::trace::Point)s one after another, at most [`CURVE_MAX`] bytes; empty where there are no more.
        /// Whose they are the digest tells, which the attempt's record gives: by the time they come another may have begun.
        bytes: &'a [u8],
    },
    /// To [`Request::Kept`].
    Given {
        /// First sequence number that is not given back: what is missing before it is kept elsewhere.
        first: u32,
    },
    /// To [`Request::Read`].
    Bytes {
        /// The bytes, at most [`PIECE_MAX`]; empty where there are no more.
        bytes: &'a [u8],
    },
    /// To [`Request::Counts`].
    Counts(Sums),
    /// To anything.
    Refused {
        /// Why.
        why: Refused,
        /// Where: the byte for [`Refused::Procedure`], the known version for [`Refused::Version`], else 0.
        at: u32,
    },
}

/// What the sensors counted since the adapter's start: two of these tell the means of the time between.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sums {
    /// When the last reading was taken.
    pub at: Instant,
    /// Readings.
    pub readings: u32,
    /// Their load-cell counts, added.
    pub bridge: i64,
    /// Their gyro counts, each times the µs since the reading before, added.
    pub rate: i64,
    /// mN·m a count, times 65,536, that the adapter goes by.
    pub scale: u32,
    /// Millidegrees a second for a count of the gyro, times 256, that it goes by.
    pub rate_scale: u32,
}

/// Who the adapter is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Identity<'a> {
    /// The number of the question, so that an old answer is not taken for a new one.
    pub nonce: u32,
    /// Number of this start.
    pub boot: u16,
    /// Rules that its verdicts are made by.
    pub rules: u16,
    /// Places for procedures.
    pub slots: u8,
    /// Last sequence number of its journal.
    pub last: u32,
    /// Largest torque it may bear.
    pub capacity: Torque,
    /// Its serial number, at most [`NAME_MAX`] bytes.
    pub serial: &'a str,
    /// Its firmware, at most [`NAME_MAX`] bytes.
    pub firmware: &'a str,
}

/// Why a question is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Refused {
    /// Another version of the link.
    Version = 1,
    /// A question that this adapter does not know.
    Kind = 2,
    /// The fields do not read.
    Content = 3,
    /// The adapter started again since, or talks with another host: identify it anew.
    Token = 4,
    /// No such place.
    Slot = 5,
    /// Longer than the place.
    TooLong = 6,
    /// Nothing was offered for this place.
    NotOffered = 7,
    /// Not all has arrived, or its sum is wrong.
    Incomplete = 8,
    /// The procedure is damaged or breaks a rule.
    Procedure = 9,
    /// A pull is in progress.
    InPull = 10,
    /// It could not be stored.
    Store = 11,
    /// A session refused it.
    Session = 12,
    /// What is kept elsewhere is not all of the journal: it went on, or it is another.
    Journal = 13,
}

impl Refused {
    const ALL: [Self; 13] = [
        Self::Version,
        Self::Kind,
        Self::Content,
        Self::Token,
        Self::Slot,
        Self::TooLong,
        Self::NotOffered,
        Self::Incomplete,
        Self::Procedure,
        Self::InPull,
        Self::Store,
        Self::Session,
        Self::Journal,
    ];

    /// Its number on the line.
    #[must_use]
    pub const fn number(self) -> u8 {
        match self {
            Self::Version => 1,
            Self::Kind => 2,
            Self::Content => 3,
            Self::Token => 4,
            Self::Slot => 5,
            Self::TooLong => 6,
            Self::NotOffered => 7,
            Self::Incomplete => 8,
            Self::Procedure => 9,
            Self::InPull => 10,
            Self::Store => 11,
            Self::Session => 12,
            Self::Journal => 13,
        }
    }

    fn from_number(number: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|why| why.number() == number)
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Version => "the adapter speaks another version of the link",
            Self::Kind => "the adapter does not know this question",
            Self::Content => "the adapter could not read the question",
            Self::Token => "the adapter started again: identify it anew",
            Self::Slot => "the adapter has no such place",
            Self::TooLong => "the procedure is longer than the adapter's place for it",
            Self::NotOffered => "nothing was offered for this place",
            Self::Incomplete => "not all of the procedure arrived, or its sum is wrong",
            Self::Procedure => "the adapter refuses the procedure",
            Self::InPull => "a pull is in progress",
            Self::Store => "the adapter could not store it",
            Self::Session => "the adapter's session refuses it now",
            Self::Journal => "what is kept here is not all of the adapter's journal",
        })
    }
}

impl core::error::Error for Refused {}

/// What is happening now. Sent without being asked each time; may be lost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Live {
    /// When, since the adapter's start.
    pub at: Instant,
    /// Torque now.
    pub torque: Torque,
    /// Highest torque of the attempt.
    pub peak: Torque,
    /// Rotation of the fastener; none while it means nothing.
    pub angle: Option<Angle>,
    /// The step whose turn it is.
    pub step: Option<u16>,
    /// Pulls of the attempt.
    pub pulls: u8,
    /// What the operator is told.
    pub cue: Cue,
    /// Why to stop pulling.
    pub halt: Option<Reason>,
    /// Last sequence number of the journal: larger than the host's means that there is something to pull.
    pub last: u32,
}

pub(super) const LIVE: u8 = 128;

impl<'a> Request<'a> {
    /// The bytes of a piece or of a record, or those of what is told.
    #[must_use]
    pub const fn bytes(&self) -> Option<&'a [u8]> {
        match *self {
            Self::Piece { bytes, .. } | Self::Carry { bytes } => Some(bytes),
            Self::Tell(tell) => Some(tell.text.as_bytes()),
            _ => None,
        }
    }

    /// The question with [`Self::bytes`] left out, for whoever keeps those elsewhere meanwhile.
    #[must_use]
    pub const fn without_bytes(&self) -> Request<'static> {
        match *self {
            Self::Identify { nonce } => Request::Identify { nonce },
            Self::Slot { slot } => Request::Slot { slot },
            Self::Offer { slot, length, sum } => Request::Offer { slot, length, sum },
            Self::Piece { slot, offset, .. } => Request::Piece {
                slot,
                offset,
                bytes: &[],
            },
            Self::Commit { slot } => Request::Commit { slot },
            Self::Work { slot, joint } => Request::Work { slot, joint },
            Self::Pull { from } => Request::Pull { from },
            Self::Watch { every_ms } => Request::Watch { every_ms },
            Self::Anchor { unix_seconds } => Request::Anchor { unix_seconds },
            Self::Tell(tell) => Request::Tell(tell.without_text()),
            Self::Curve { from } => Request::Curve { from },
            Self::Kept { last, sum, free } => Request::Kept { last, sum, free },
            Self::Carry { .. } => Request::Carry { bytes: &[] },
            Self::Read { slot, offset } => Request::Read { slot, offset },
            Self::Counts => Request::Counts,
        }
    }

    pub(super) const fn kind(&self) -> u8 {
        match self {
            Self::Identify { .. } => 1,
            Self::Slot { .. } => 2,
            Self::Offer { .. } => 3,
            Self::Piece { .. } => 4,
            Self::Commit { .. } => 5,
            Self::Work { .. } => 6,
            Self::Pull { .. } => 7,
            Self::Watch { .. } => 8,
            Self::Anchor { .. } => 9,
            Self::Tell(_) => 12,
            Self::Curve { .. } => 13,
            Self::Kept { .. } => 14,
            Self::Carry { .. } => 15,
            Self::Read { .. } => 16,
            Self::Counts => 17,
        }
    }

    pub(super) const fn is_known(kind: u8) -> bool {
        (kind >= 1 && kind <= 9) || (kind >= 12 && kind <= 17)
    }

    pub(super) fn write(&self, token: u32, number: u16, into: &mut [u8]) -> Option<usize> {
        write(into, Head::new(token, number, self.kind()), |fields| {
            self.fields(fields)
        })
    }

    fn fields(&self, to: &mut Writer<'_>) -> Option<()> {
        match *self {
            Self::Identify { nonce } => to.u32(nonce),
            Self::Slot { slot } | Self::Commit { slot } => to.u8(slot),
            Self::Offer { slot, length, sum } => {
                to.u8(slot)?;
                to.u32(length)?;
                to.u32(sum)
            }
            Self::Piece {
                slot,
                offset,
                bytes,
            } => {
                to.u8(slot)?;
                to.u32(offset)?;
                to.counted(bytes, PIECE_MAX)
            }
            Self::Work { slot, joint } => {
                to.u8(slot)?;
                to.u8(joint)
            }
            Self::Pull { from } => to.u32(from),
            Self::Watch { every_ms } => to.u16(every_ms),
            Self::Anchor { unix_seconds } => to.i64(unix_seconds),
            Self::Tell(tell) => {
                to.u8(tell.what)?;
                to.u16(tell.which)?;
                to.i32(tell.value)?;
                if Tell::has_second(tell.what) {
                    to.i32(tell.second)?;
                }
                to.counted(tell.text.as_bytes(), TEXT_MAX)
            }
            Self::Curve { from } => to.u8(from),
            Self::Kept { last, sum, free } => {
                to.u32(last)?;
                to.u32(sum)?;
                to.u32(free)
            }
            Self::Carry { bytes } => to.counted(bytes, PIECE_MAX),
            Self::Read { slot, offset } => {
                to.u8(slot)?;
                to.u32(offset)
            }
            Self::Counts => Some(()),
        }
    }

    pub(super) fn read(kind: u8, message: &'a [u8]) -> Option<Self> {
        let mut of = Fields::new(message);
        let found = match kind {
            1 => Self::Identify { nonce: of.u32()? },
            2 => Self::Slot { slot: of.u8()? },
            3 => Self::Offer {
                slot: of.u8()?,
                length: of.u32()?,
                sum: of.u32()?,
            },
            4 => Self::Piece {
                slot: of.u8()?,
                offset: of.u32()?,
                bytes: of.counted(PIECE_MAX)?,
            },
            5 => Self::Commit { slot: of.u8()? },
            6 => Self::Work {
                slot: of.u8()?,
                joint: of.u8()?,
            },
            7 => Self::Pull { from: of.u32()? },
            8 => Self::Watch {
                every_ms: of.u16()?,
            },
            9 => Self::Anchor {
                unix_seconds: of.i64()?,
            },
            12 => {
                let what = of.u8()?;
                Self::Tell(Tell {
                    what,
                    which: of.u16()?,
                    value: of.i32()?,
                    second: if Tell::has_second(what) { of.i32()? } else { 0 },
                    text: core::str::from_utf8(of.counted(TEXT_MAX)?).ok()?,
                })
            }
            13 => Self::Curve { from: of.u8()? },
            14 => Self::Kept {
                last: of.u32()?,
                sum: of.u32()?,
                free: of.u32()?,
            },
            15 => Self::Carry {
                bytes: of.counted(PIECE_MAX)?,
            },
            16 => Self::Read {
                slot: of.u8()?,
                offset: of.u32()?,
            },
            17 => Self::Counts,
            _ => return None,
        };
        of.done(found)
    }
}

impl<'a> Reply<'a> {
    const fn kind(&self) -> u8 {
        match self {
            Self::Identity(_) => 64,
            Self::Slot { .. } => 65,
            Self::Have { .. } => 66,
            Self::Stored { .. } => 67,
            Self::Working { .. } => 68,
            Self::Frames { .. } => 69,
            Self::Watching { .. } => 70,
            Self::Anchored => 71,
            Self::Told => 75,
            Self::Curve { .. } => 76,
            Self::Given { .. } => 77,
            Self::Bytes { .. } => 78,
            Self::Counts(_) => 79,
            Self::Refused { .. } => 72,
        }
    }

    pub(super) fn write(&self, token: u32, number: u16, into: &mut [u8]) -> Option<usize> {
        write(into, Head::new(token, number, self.kind()), |fields| {
            self.fields(fields)
        })
    }

    fn fields(&self, to: &mut Writer<'_>) -> Option<()> {
        match *self {
            Self::Identity(identity) => {
                to.u32(identity.nonce)?;
                to.u16(identity.boot)?;
                to.u16(identity.rules)?;
                to.u8(identity.slots)?;
                to.u32(identity.last)?;
                to.i32(identity.capacity.millinewton_meters())?;
                to.counted(identity.serial.as_bytes(), NAME_MAX)?;
                to.counted(identity.firmware.as_bytes(), NAME_MAX)
            }
            Self::Slot { slot, length, sum } => {
                to.u8(slot)?;
                to.u32(length)?;
                to.u32(sum)
            }
            Self::Have { slot, have } => {
                to.u8(slot)?;
                to.u32(have)
            }
            Self::Stored { slot } => to.u8(slot),
            Self::Working { slot, joint } => {
                to.u8(slot)?;
                to.u8(joint)
            }
            Self::Frames { last, seed, bytes } => {
                to.u32(last)?;
                to.u32(seed)?;
                to.counted(bytes, FRAMES_MAX)
            }
            Self::Watching { every_ms } => to.u16(every_ms),
            Self::Anchored | Self::Told => Some(()),
            Self::Curve { bytes } => to.counted(bytes, CURVE_MAX),
            Self::Given { first } => to.u32(first),
            Self::Bytes { bytes } => to.counted(bytes, PIECE_MAX),
            Self::Counts(sums) => {
                to.u64(sums.at.micros())?;
                to.u32(sums.readings)?;
                to.i64(sums.bridge)?;
                to.i64(sums.rate)?;
                to.u32(sums.scale)?;
                to.u32(sums.rate_scale)
            }
            Self::Refused { why, at } => {
                to.u8(why.number())?;
                to.u32(at)
            }
        }
    }

    pub(super) fn read(kind: u8, message: &'a [u8]) -> Option<Self> {
        let mut of = Fields::new(message);
        let found = match kind {
            64 => Self::Identity(Identity {
                nonce: of.u32()?,
                boot: of.u16()?,
                rules: of.u16()?,
                slots: of.u8()?,
                last: of.u32()?,
                capacity: Torque::try_from(of.i32()?).ok()?,
                serial: core::str::from_utf8(of.counted(NAME_MAX)?).ok()?,
                firmware: core::str::from_utf8(of.counted(NAME_MAX)?).ok()?,
            }),
            65 => Self::Slot {
                slot: of.u8()?,
                length: of.u32()?,
                sum: of.u32()?,
            },
            66 => Self::Have {
                slot: of.u8()?,
                have: of.u32()?,
            },
            67 => Self::Stored { slot: of.u8()? },
            68 => Self::Working {
                slot: of.u8()?,
                joint: of.u8()?,
            },
            69 => Self::Frames {
                last: of.u32()?,
                seed: of.u32()?,
                bytes: of.counted(FRAMES_MAX)?,
            },
            70 => Self::Watching {
                every_ms: of.u16()?,
            },
            71 => Self::Anchored,
            75 => Self::Told,
            76 => Self::Curve {
                bytes: of.counted(CURVE_MAX)?,
            },
            77 => Self::Given { first: of.u32()? },
            78 => Self::Bytes {
                bytes: of.counted(PIECE_MAX)?,
            },
            79 => Self::Counts(Sums {
                at: Instant::from_micros(of.u64()?),
                readings: of.u32()?,
                bridge: of.i64()?,
                rate: of.i64()?,
                scale: of.u32()?,
                rate_scale: of.u32()?,
            }),
            72 => Self::Refused {
                why: Refused::from_number(of.u8()?)?,
                at: of.u32()?,
            },
            _ => return None,
        };
        of.done(found)
    }
}

const ANGLE_KNOWN: u8 = 1;
const STEP_KNOWN: u8 = 2;
const HALT_KNOWN: u8 = 4;
const CUES: [Cue; 4] = [Cue::None, Cue::Approach, Cue::Target, Cue::Over];

impl Live {
    pub(super) fn write(&self, token: u32, number: u16, into: &mut [u8]) -> Option<usize> {
        write(into, Head::new(token, number, LIVE), |to| {
            let known = |is: bool, bit: u8| if is { bit } else { 0 };
            let flags = known(self.angle.is_some(), ANGLE_KNOWN)
                | known(self.step.is_some(), STEP_KNOWN)
                | known(self.halt.is_some(), HALT_KNOWN);
            let cue = CUES.iter().position(|&cue| cue == self.cue)?;
            let halt = match self.halt {
                Some(reason) => Reason::ALL.iter().position(|&other| other == reason)?,
                None => 0,
            };
            to.u8(flags)?;
            to.u64(self.at.micros())?;
            to.i32(self.torque.millinewton_meters())?;
            to.i32(self.peak.millinewton_meters())?;
            to.i32(self.angle.unwrap_or(Angle::ZERO).millidegrees())?;
            to.u16(self.step.unwrap_or(0))?;
            to.u8(self.pulls)?;
            to.u8(u8::try_from(cue).ok()?)?;
            to.u8(u8::try_from(halt).ok()?)?;
            to.u32(self.last)
        })
    }

    pub(super) fn read(message: &[u8]) -> Option<Self> {
        let mut of = Fields::new(message);
        let flags = of.u8()?;
        if flags > (ANGLE_KNOWN | STEP_KNOWN | HALT_KNOWN) {
            return None;
        }
        let at = Instant::from_micros(of.u64()?);
        let torque = Torque::try_from(of.i32()?).ok()?;
        let peak = Torque::try_from(of.i32()?).ok()?;
        let angle = Angle::try_from(of.i32()?).ok()?;
        let (step, pulls) = (of.u16()?, of.u8()?);
        let cue = *CUES.get(usize::from(of.u8()?))?;
        let halt = of.u8()?;
        let reason = *Reason::ALL.get(usize::from(halt))?;
        let last = of.u32()?;
        // What is not known is written as nothing, so that there is one way to write it.
        let spoken = |is_known: bool, is_zero: bool| is_known || is_zero;
        let (has_angle, has_step, has_halt) = (
            flags & ANGLE_KNOWN != 0,
            flags & STEP_KNOWN != 0,
            flags & HALT_KNOWN != 0,
        );
        let one_way = spoken(has_angle, angle == Angle::ZERO)
            && spoken(has_step, step == 0)
            && spoken(has_halt, halt == 0);
        of.done(Self {
            at,
            torque,
            peak,
            angle: has_angle.then_some(angle),
            step: has_step.then_some(step),
            pulls,
            cue,
            halt: has_halt.then_some(reason),
            last,
        })
        .filter(|_| one_way)
    }
}
