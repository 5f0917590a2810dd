//! Whole transfers over the link: a procedure sent in pieces, the journal pulled. Each goes on where it stood after a restart.

use core::fmt;

use super::PIECE_MAX;
use super::message::{Refused, Reply, Request};
use crate::crc::crc32;
use crate::journal::{FIRST_SEED, frame_at};

/// Bytes of a stored form that its sum is taken over: all but the last four, which are a sum themselves. (The sum of bytes
/// *and* their sum is the same for every procedure.)
fn summed(length: u32) -> usize {
    usize::try_from(length.saturating_sub(4)).unwrap_or(usize::MAX)
}

/// The host's side of sending a procedure.
#[derive(Clone, Copy, Debug)]
pub struct SendProcedure<'b> {
    slot: u8,
    blob: &'b [u8],
    state: Sending,
}

#[derive(Clone, Copy, Debug)]
enum Sending {
    Offer,
    Piece(u32),
    Commit,
}

/// How the transfer goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SendStep {
    /// Ask [`SendProcedure::request`].
    GoOn,
    /// Stored, read back and accepted.
    Done,
    /// Refused; with the byte for [`Refused::Procedure`].
    Refused(Refused, u32),
}

impl<'b> SendProcedure<'b> {
    /// A procedure's stored form to a place in the adapter.
    #[must_use]
    pub const fn new(slot: u8, blob: &'b [u8]) -> Self {
        Self {
            slot,
            blob,
            state: Sending::Offer,
        }
    }

    /// The next question.
    #[must_use]
    pub fn request(&self) -> Request<'b> {
        let slot = self.slot;
        match self.state {
            Sending::Offer => Request::Offer {
                slot,
                length: self.length(),
                sum: crc32(0, self.blob.get(..summed(self.length())).unwrap_or(&[])),
            },
            Sending::Piece(offset) => {
                let rest = usize::try_from(offset)
                    .ok()
                    .and_then(|at| self.blob.get(at..))
                    .unwrap_or(&[]);
                let bytes = rest.get(..rest.len().min(PIECE_MAX)).unwrap_or(rest);
                Request::Piece {
                    slot,
                    offset,
                    bytes,
                }
            }
            Sending::Commit => Request::Commit { slot },
        }
    }

    /// Bytes that the adapter has, and bytes in all.
    #[must_use]
    pub fn progress(&self) -> (u32, u32) {
        let have = match self.state {
            Sending::Offer => 0,
            Sending::Piece(have) => have,
            Sending::Commit => self.length(),
        };
        (have, self.length())
    }

    /// Takes the answer to [`SendProcedure::request`].
    pub fn answered(&mut self, reply: &Reply<'_>) -> SendStep {
        match *reply {
            Reply::Have { slot, have } if slot == self.slot => {
                self.state = if have >= self.length() {
                    Sending::Commit
                } else {
                    Sending::Piece(have)
                };
                SendStep::GoOn
            }
            Reply::Stored { slot } if slot == self.slot => SendStep::Done,
            // The adapter forgot what was offered: begin again.
            Reply::Refused {
                why: Refused::NotOffered,
                ..
            } => {
                self.restarted();
                SendStep::GoOn
            }
            Reply::Refused { why, at } => SendStep::Refused(why, at),
            _ => SendStep::Refused(Refused::Content, 0),
        }
    }

    /// The adapter started again: offer anew.
    pub const fn restarted(&mut self) {
        self.state = Sending::Offer;
    }

    fn length(&self) -> u32 {
        u32::try_from(self.blob.len()).unwrap_or(u32::MAX)
    }
}

/// The adapter's side of taking a procedure: which bytes of a piece to write, and where.
#[derive(Clone, Copy, Debug, Default)]
pub struct Staging {
    offered: Option<Offered>,
}

#[derive(Clone, Copy, Debug)]
struct Offered {
    slot: u8,
    length: u32,
    sum: u32,
    have: u32,
    found: u32,
}

/// What to do with a piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Taken<'a> {
    /// Where to write.
    pub offset: u32,
    /// What to write; empty when it is there already. Then [`Staging::wrote`].
    pub bytes: &'a [u8],
}

/// Why a piece or a commit is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StageError {
    /// Nothing was offered for this place.
    NotOffered,
    /// Not all has arrived, or its sum is wrong.
    Incomplete,
}

impl StageError {
    /// As the answer to give.
    #[must_use]
    pub const fn reply(self) -> Reply<'static> {
        let why = match self {
            Self::NotOffered => Refused::NotOffered,
            Self::Incomplete => Refused::Incomplete,
        };
        Reply::Refused { why, at: 0 }
    }
}

impl fmt::Display for StageError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotOffered => "nothing was offered for this place",
            Self::Incomplete => "not all has arrived, or its sum is wrong",
        })
    }
}

impl core::error::Error for StageError {}

impl Staging {
    /// Nothing offered.
    #[must_use]
    pub const fn new() -> Self {
        Self { offered: None }
    }

    /// The digest of what is offered.
    #[must_use]
    pub fn sum(&self) -> Option<u32> {
        self.offered.map(|offered| offered.sum)
    }

    /// Takes an offer, whose length the caller has found to fit. The same offer again goes on where it stood.
    pub fn offer(&mut self, slot: u8, length: u32, sum: u32) -> Reply<'static> {
        let same = |offered: &Offered| {
            offered.slot == slot && offered.length == length && offered.sum == sum
        };
        let offered = match self.offered.filter(same) {
            Some(offered) => offered,
            None => Offered {
                slot,
                length,
                sum,
                have: 0,
                found: 0,
            },
        };
        self.offered = Some(offered);
        Reply::Have {
            slot,
            have: offered.have,
        }
    }

    /// Looks at a piece: what of it is new. Write that, then call [`Staging::wrote`] with it.
    ///
    /// # Errors
    /// [`StageError::NotOffered`].
    pub fn piece<'a>(
        &self,
        slot: u8,
        offset: u32,
        bytes: &'a [u8],
    ) -> Result<Taken<'a>, StageError> {
        let offered = self.of(slot)?;
        let have = offered.have;
        let room = usize::try_from(offered.length.saturating_sub(have)).unwrap_or(usize::MAX);
        // Before what we have: the part that is new. Beyond it: nothing, and the answer says where to go on.
        let known = usize::try_from(have.wrapping_sub(offset)).unwrap_or(usize::MAX);
        let fresh = if offset <= have {
            bytes.get(known..).unwrap_or(&[])
        } else {
            &[]
        };
        let fresh = fresh.get(..fresh.len().min(room)).unwrap_or(&[]);
        Ok(Taken {
            offset: have,
            bytes: fresh,
        })
    }

    /// The piece is written.
    pub fn wrote(&mut self, slot: u8, taken: Taken<'_>) -> Reply<'static> {
        match &mut self.offered {
            Some(offered) if offered.slot == slot && offered.have == taken.offset => {
                let more = u32::try_from(taken.bytes.len()).unwrap_or(0);
                offered.have = offered.have.saturating_add(more);
                let left = summed(offered.length)
                    .saturating_sub(usize::try_from(taken.offset).unwrap_or(usize::MAX));
                let counted = taken.bytes.get(..taken.bytes.len().min(left));
                offered.found = crc32(offered.found, counted.unwrap_or(&[]));
                Reply::Have {
                    slot,
                    have: offered.have,
                }
            }
            _ => StageError::NotOffered.reply(),
        }
    }

    /// All is here? Returns the length; the caller then reads it back and decodes it.
    ///
    /// # Errors
    /// [`StageError`].
    pub fn commit(&self, slot: u8) -> Result<u32, StageError> {
        let offered = self.of(slot)?;
        if offered.have == offered.length && offered.found == offered.sum {
            Ok(offered.length)
        } else {
            Err(StageError::Incomplete)
        }
    }

    /// Forgets the offer: it was taken, or refused for good.
    pub const fn clear(&mut self) {
        self.offered = None;
    }

    fn of(&self, slot: u8) -> Result<Offered, StageError> {
        self.offered
            .filter(|offered| offered.slot == slot)
            .ok_or(StageError::NotOffered)
    }
}

/// The host's side of pulling the journal: each frame once, in order, proved by the frame before it.
#[derive(Clone, Copy, Debug)]
pub struct PullJournal {
    last: u32,
    sum: u32,
}

/// Records that the adapter itself has lost to damage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gap {
    /// First sequence number missing.
    pub from: u32,
    /// First sequence number after them.
    pub to: u32,
    /// The seed of the frame after the gap. A copy of the journal keeps it in front of that frame, as damage keeps it.
    pub seed: u32,
}

/// What an answer brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PullStep<'a> {
    /// Keep this gap first, if there is one.
    pub gap: Option<Gap>,
    /// Then append these frames, whole and proved.
    pub frames: &'a [u8],
    /// Whether the adapter has more: ask [`PullJournal::request`] again.
    pub more: bool,
}

/// Why pulling stops.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum PullError {
    /// The journal kept here is not the beginning of the adapter's.
    OtherJournal,
    /// The frames in the answer do not prove themselves.
    Damaged,
    /// The adapter refused.
    Refused(Refused),
    /// An answer to another question.
    WrongAnswer,
}

impl fmt::Display for PullError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OtherJournal => f.write_str(
                "the journal kept here is not the beginning of the adapter's: pull into a new file",
            ),
            Self::Damaged => f.write_str("the adapter sent frames that do not prove themselves"),
            Self::Refused(why) => write!(f, "{why}"),
            Self::WrongAnswer => f.write_str("the adapter answered another question"),
        }
    }
}

impl core::error::Error for PullError {}

impl PullJournal {
    /// From the beginning.
    #[must_use]
    pub const fn from_start() -> Self {
        Self {
            last: 0,
            sum: FIRST_SEED,
        }
    }

    /// After a frame that is kept here: its sequence number and its sum.
    #[must_use]
    pub const fn after(last: u32, sum: u32) -> Self {
        Self { last, sum }
    }

    /// Last sequence number that is kept here.
    #[must_use]
    pub const fn last(&self) -> u32 {
        self.last
    }

    /// The question that gives the journal back up to a frame, once all that was taken so far is kept.
    #[must_use]
    pub const fn kept(&self, free: u32) -> Request<'static> {
        Request::Kept {
            last: self.last,
            sum: self.sum,
            free,
        }
    }

    /// The next question.
    #[must_use]
    pub const fn request(&self) -> Request<'static> {
        Request::Pull {
            from: self.last.saturating_add(1),
        }
    }

    /// Takes the answer to [`PullJournal::request`].
    ///
    /// # Errors
    /// [`PullError`]; then nothing was taken.
    pub fn answered<'a>(&mut self, reply: &Reply<'a>) -> Result<PullStep<'a>, PullError> {
        let (last, seed, bytes) = match *reply {
            Reply::Frames { last, seed, bytes } => (last, seed, bytes),
            Reply::Refused { why, .. } => return Err(PullError::Refused(why)),
            _ => return Err(PullError::WrongAnswer),
        };
        if last < self.last {
            return Err(PullError::OtherJournal);
        }
        let (mut rest, mut sum, mut sequence) = (bytes, seed, self.last);
        let mut gap = None;
        while !rest.is_empty() {
            let (frame, next_sum, length) = frame_at(rest, sum).ok_or(PullError::Damaged)?;
            let expected = sequence.saturating_add(1);
            if sequence == self.last && gap.is_none() && frame.sequence > expected {
                gap = Some(Gap {
                    from: expected,
                    to: frame.sequence,
                    seed,
                });
            } else if frame.sequence != expected {
                return Err(PullError::Damaged);
            } else if sequence == self.last && seed != self.sum {
                return Err(PullError::OtherJournal);
            }
            sequence = frame.sequence;
            sum = next_sum;
            rest = rest.get(length..).unwrap_or(&[]);
        }
        if !bytes.is_empty() {
            (self.last, self.sum) = (sequence, sum);
        }
        Ok(PullStep {
            gap,
            frames: bytes,
            more: !bytes.is_empty() && self.last < last,
        })
    }
}
