//! The journal on disk: one file a build, appended, synced and read back; traces beside it.
//!
//! Knows nothing of sessions: it keeps facts in the order they came and gives them back.

mod content;
mod error;
mod host;
mod journal;
mod merge;
mod traces;

pub use content::{Content, Damage, Fact};
pub use error::StoreError;
pub use host::{Became, HostFact, PLAN_PIECE_MAX, PartState};
pub use journal::{
    JOURNAL_MAX, Journal, Purpose, changing, opening, read, read_on, read_with_bytes,
};
pub use merge::{Differs, fresh};
pub use traces::{Traces, points_of};
