//! Messages between adapter and desktop, over any line of bytes that may lose, damage or repeat them.
//!
//! A frame on the line is `00 | COBS of content | 00`; content is a head, a message and CRC-32. One question is open at a time:
//! the host asks again until it is answered, the adapter carries out each question once and gives the same answer again.
//! A token that is new with every start and every conversation keeps questions from before from being taken for new ones.
//! Both ends are state machines over bytes: no IO, no clock. `LINK.md` beside the core is the written format.
//!
//! Knows nothing of ports or flash, nor of what a journal record or a procedure says.
//!
//! # Examples
//! Both ends in one program; between them stand two ports.
//! ```
//! use evendraw_core::link::{AdapterEnd, Event, Heard, HostEnd, Identity, Reply, Request};
//! use evendraw_core::unit::{Instant, Torque};
//!
//! let (mut host, mut adapter) = (HostEnd::new(), AdapterEnd::new(1));
//! let question = host.ask(&Request::Identify { nonce: 7 }, Instant::BOOT)?.to_vec();
//!
//! let mut sent = Vec::new();
//! for byte in question {
//!     match adapter.feed(byte) {
//!         Heard::Nothing => {}
//!         Heard::Send(bytes) => sent.extend_from_slice(bytes),
//!         Heard::Question(Request::Identify { nonce }) => {
//!             let capacity = Torque::from_millinewton_meters(200_000);
//!             let (serial, firmware) = ("4411", "0.1.0");
//!             let identity = Identity { nonce, boot: 1, rules: 1, slots: 4, last: 0, capacity, serial, firmware };
//!             sent.extend_from_slice(adapter.answer(&Reply::Identity(identity))?);
//!         }
//!         Heard::Question(other) => panic!("not asked: {other:?}"),
//!     }
//! }
//!
//! let mut answered = false;
//! for byte in sent {
//!     if let Event::Answer(Reply::Identity(identity)) = host.feed(byte) {
//!         answered = identity.serial == "4411";
//!     }
//! }
//! assert!(answered && host.is_identified());
//! // Where nothing comes back, `host.deadline()` says when to call `host.tick` and send `host.outgoing()` again.
//! # Ok::<(), evendraw_core::link::LinkError>(())
//! ```
//!
//! # Why one question at a time
//!
//! *Context:* a serial line that loses, repeats and invents bytes, and ends that restart. *Choice:* stop and wait,
//! each question carried out once, a token that is new with every start; the transfers (a procedure in pieces, the
//! journal from a number) are functions of what the other end last said, so both go on where they stood.
//! *Alternative:* a sliding window, four times faster on a perfect line, with buffers for every frame in flight on a
//! chip with 16 KiB. An hour's journal is pulled in seconds as it is. *Would change our mind:* every sample over the
//! link.

mod adapter;
pub mod cobs;
mod frame;
mod host;
mod message;
mod tell;
mod transfer;

#[cfg(test)]
mod tests;

pub use adapter::{AdapterEnd, Heard};
pub use frame::{Counts, LinkError};
pub use host::{Event, HostEnd, Ticked};
pub use message::{Identity, Live, Refused, Reply, Request, Sums};
pub use tell::Tell;
pub use transfer::{
    Gap, PullError, PullJournal, PullStep, SendProcedure, SendStep, StageError, Staging, Taken,
};

use crate::journal::OVERHEAD;
use crate::limits::PAYLOAD_MAX;
use crate::trace::Point;

/// Version of the link that this code speaks.
pub const VERSION: u8 = 1;

/// Bytes of one piece of a procedure, at most.
pub const PIECE_MAX: usize = 256;

/// Bytes of journal frames in one answer, at most: the longest frame whole.
pub const FRAMES_MAX: usize = PAYLOAD_MAX + OVERHEAD;

/// Bytes of points in one answer, at most: twenty of them.
pub const CURVE_MAX: usize = 20 * Point::BYTES;

/// Bytes of a name in [`Identity`], at most.
pub const NAME_MAX: usize = 24;

/// Bytes of the longest content: head, the longest answer, sum.
pub const CONTENT_MAX: usize = frame::HEAD + 4 + 4 + 2 + FRAMES_MAX + frame::SUM;

/// Bytes of the longest frame on the line.
pub const WIRE_MAX: usize = cobs::encoded_max(CONTENT_MAX) + 2;
