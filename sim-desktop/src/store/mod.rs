//! The journal on disk: one file a build, appended, synced and read back; traces beside it.
//!
//! Knows nothing of sessions: it keeps facts in the order they came and gives them back.
//!
//! # Why a journal gets its name when its beginning is safe
//!
//! *Context:* killing the program between creating a file and writing its first frames left a file that could neither
//! be gone on with nor be created again. *Choice:* the beginning is written, synced and read back under another name,
//! then linked to its own. *Would change our mind:* nothing known.
//!
//! # Why nothing counts as kept unless its name leads to it
//!
//! *Context:* a journal that is deleted or replaced while it is open, as programs that keep two folders alike do,
//! still takes every byte written into it, and nobody ever sees it again. *Choice:* after writing, syncing and
//! reading back, and before anything is announced, the name is looked up: it must lead to the very file. If it does
//! not, pulling stops. Where the file was moved, the person is told where it is, whole; where it was deleted or
//! replaced, all that is known is written to a new journal beside it (`NAME.rescued.evj`), and the person is told
//! that name. The program does not go on there by itself: a folder that was moved may have been thrown away. Curves
//! go beside the journal, wherever it is by then. *What the model test found on the way:* a write of several frames
//! that failed, then a shorter one over it, leaves the last of the failed frames with its seed in front of it, and it
//! would be taken for kept (so they are cut off first, and safely); a sync that fails forgets, and the next one does
//! not bring it back (so what failed is cut off at once); a name is safe only once its folder is (so opening syncs it
//! too). *Not covered:* a power cut in the middle of a write of several records may leave a later one without an
//! earlier one; that is told as damage, and the joint is not gone on with. *Would change our mind:* nothing known.

#![cfg_attr(not(test), warn(clippy::arithmetic_side_effects))]

mod content;
mod error;
mod host;
mod journal;
mod merge;
pub mod names;
mod traces;

pub use content::{Content, Damage, Fact, PlanPieces, Unread, entries_of};
pub use error::StoreError;
pub use host::{Became, HostFact, PLAN_PIECE_MAX, PartState};
pub use journal::{
    JOURNAL_MAX, Journal, Purpose, bytes, changing, content_of, opening, read, read_on,
    read_with_bytes,
};
pub use merge::{Differs, agreeing, fresh};
pub use traces::{Traces, points_of};
