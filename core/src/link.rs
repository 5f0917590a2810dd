//! Messages between adapter and desktop, over any line of bytes that may lose, damage or repeat them.
//!
//! A frame on the line is `00 | COBS of content | 00`; content is a head, a message and CRC-32. One question is open at a time:
//! the host asks again until it is answered, the adapter carries out each question once and gives the same answer again.
//! A token that is new with every start and every conversation keeps questions from before from being taken for new ones.
//! Both ends are state machines over bytes: no IO, no clock. `LINK.md` beside the core is the written format.
//!
//! Knows nothing of ports or flash, nor of what a journal record or a procedure says.

mod adapter;
pub mod cobs;
mod errand;
mod frame;
mod host;
mod message;

#[cfg(test)]
mod tests;

pub use adapter::{AdapterEnd, Heard};
pub use errand::{
    Gap, PullError, PullJournal, PullStep, SendProcedure, SendStep, StageError, Staging, Taken,
};
pub use frame::{Counts, LinkError};
pub use host::{Event, HostEnd, Ticked};
pub use message::{Identity, Live, Refused, Reply, Request};

use crate::journal::OVERHEAD;
use crate::limits::PAYLOAD_MAX;

/// Version of the link that this code speaks.
pub const VERSION: u8 = 1;

/// Bytes of one piece of a procedure, at most.
pub const PIECE_MAX: usize = 256;

/// Bytes of journal frames in one answer, at most: the longest frame whole.
pub const FRAMES_MAX: usize = PAYLOAD_MAX + OVERHEAD;

/// Bytes of a name in [`Identity`], at most.
pub const NAME_MAX: usize = 24;

/// Bytes of the longest content: head, the longest answer, sum.
pub const CONTENT_MAX: usize = frame::HEAD + 4 + 4 + 2 + FRAMES_MAX + frame::SUM;

/// Bytes of the longest frame on the line.
pub const WIRE_MAX: usize = cobs::encoded_max(CONTENT_MAX) + 2;
