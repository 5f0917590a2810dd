//! Readings as text lines: what a line may look like, where lines come from, and how they become readings that a session takes.
//!
//! In reading order: [`format`] reads one line; `place` and `splitter` bring lines, `clock` gives each its time, and a thread of its
//! own, `reader`, does all that; [`Stream`] is what whoever works with the instrument sees. Knows nothing of plans, joints or screens.

#![cfg_attr(not(test), warn(clippy::arithmetic_side_effects))]

mod clock;
pub mod format;
mod place;
mod reader;
mod splitter;
mod stream;

pub use format::{Column, Format, LineParser, Positive, Row, RowError};
pub use place::Place;
pub use splitter::LINE_BYTES_MAX;
pub use stream::{Counts, Heard, Reading, Step, Stream};
