//! What an adapter and a desktop must agree on to the byte: what to tighten next, how the pull went, what to remember.
//!
//! Knows nothing of clocks, storage, screens or boards: time and readings come in as values, records go out as values. No heap, no
//! floats, no panics; a session takes some 3 KiB.
//!
//! # A session
//! Two bolts to 40 N·m: the procedure is built, one bolt pulled, the power fails, the records are taken up again.
//! ```
//! use evendraw_core::procedure::{Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms, TorqueWindow};
//! use evendraw_core::{sample::Sample, session::{Input, Next, Session}, text::Label, unit::{Instant, Rotation, Span, Torque}};
//!
//! let [min, target, max] = [38_000, 40_000, 42_000].map(Torque::from_millinewton_meters);
//! let tighten = StageKind::Tighten { window: TorqueWindow { target, min, max }, prevailing: Prevailing::None };
//! let procedure = Procedure::new(&Parts {
//!     fasteners: &["1", "2"].map(|label| Fastener { label: Label::cut(label), near: [None; 4] }),
//!     stages: &[Stage::new(tighten)],
//!     steps: &[Step::on(0, 0), Step::on(1, 0)],
//!     overrides: &[],
//!     terms: Terms::default(),
//! })?;
//! let (mut session, mut journal, mut at) = (Session::new(&procedure, 1), Vec::new(), Instant::BOOT);
//! journal.extend_from_slice(session.apply(at, Input::Start { boot: 1, rehearsal: true }).entries());
//! assert_eq!(session.next(), Next::Pull { step: 0 });
//! let (up, down) = ((0..=400).map(|n| (n, n)), (0..20).rev().chain([0; 60]).map(|n| (n * 20, 400)));
//! for (torque, turned) in up.chain(down) {
//!     at = at.after(Span::from_micros(2_500));
//!     let sample = Sample { torque: Torque::from_millinewton_meters(torque * 100), rotation: Rotation::from_millidegrees(turned * 100 + torque * 5) };
//!     journal.extend_from_slice(session.apply(at, Input::Sample(sample)).entries());
//! }
//! // Power gone; what was stored is all there is.
//! let mut session = Session::restore(&procedure, 1, &journal)?;
//! session.apply(Instant::BOOT, Input::Start { boot: 2, rehearsal: true });
//! assert_eq!(session.next(), Next::Pull { step: 1 });
//! # Ok::<(), Box<dyn core::error::Error>>(())
//! ```
//! The crate's `examples` go on from here: `bolt_circle`, `read_journal`, `procedure_in_pieces`.
//!
//! # The modules, in reading order
//! - [`mod@unit`]: torque, angle, length and time as bounded integers.
//! - [`text`]: short texts of fixed capacity.
//! - [`limits`]: every capacity in one table.
//! - [`pattern`]: orders of work.
//! - [`procedure`]: what is to be done to one joint.
//! - [`curve_limits`]: what the curve of a pull is watched for.
//! - [`sample`]: from a sensor's counts to a reading.
//! - [`tracker`]: one attempt as it happens.
//! - [`trace`]: its curve, thinned.
//! - [`verdict`]: limits in, judgement out.
//! - [`record`]: the kinds of record.
//! - [`ledger`]: what the records come to.
//! - [`session`]: one joint being worked.
//! - [`advice`]: what a verdict leads to.
//! - [`peers`]: what only the other fasteners tell.
//! - [`audit`]: a record judged again.
//! - [`crc`]: CRC-32, the one check sum.
//! - [`journal`]: records as bytes.
//! - [`link`]: adapter and desktop over a line of bytes.
//!
//! # Who needs what
//! - **An adapter**: [`sample`], [`session`], [`journal`], [`link`]; [`procedure`] where it builds its own.
//! - **A desktop**: [`procedure`], [`pattern`], [`session`], [`advice`], [`peers`], [`audit`], [`link`].
//! - **A reader of journals**: [`journal`], [`record`]; [`ledger`] through [`session::Session::restore`].
#![no_std]
#![forbid(unsafe_code)]
#![warn(
    clippy::disallowed_types,
    clippy::indexing_slicing,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::as_conversions
)]

#[cfg(test)]
extern crate std;

pub mod advice;
pub mod audit;
pub mod crc;
pub mod curve_limits;
pub mod journal;
pub mod ledger;
pub mod limits;
pub mod link;
pub mod pattern;
pub mod peers;
pub mod procedure;
pub mod record;
pub mod sample;
pub mod session;
pub mod text;
pub mod trace;
pub mod tracker;
pub mod unit;
pub mod verdict;
mod wire;
