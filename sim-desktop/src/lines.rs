//! Readings as text lines: what a line may look like, where lines come from, and how they become samples that a session takes.
//!
//! In reading order: [`format`] reads one line. Knows nothing of plans, joints or screens.

pub mod format;

pub use format::{Column, Format, LineParser, Positive, Row, RowError};
