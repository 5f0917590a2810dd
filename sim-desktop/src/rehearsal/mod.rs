//! A job worked without metal: by simulated hands at the virtual bench, or from a trace file.
//!
//! Both feed the same sessions that live work does, by the same inputs. Knows nothing of how samples are judged.
//!
//! # Why a rehearsal is the job itself
//!
//! *Context:* a rehearsal must show what the live job would do, and may never be taken for one. *Choice:*
//! `rehearsal/work.rs` drives a `Job` (plan, sessions, journal) with samples from the bench; it answers what
//! `Session::next` asks and decides only what a person would. The clock of every record is the bench's, so the same
//! seed makes the same bytes. The journal says on its first frame that it is a rehearsal, and the store refuses to
//! open it as a job, or a job as a rehearsal. *Alternative:* a separate simulator of procedures: a second truth.
//! *Taken up again:* the metal is brought to where the records say by pulling the settled steps again, unrecorded;
//! the chance drawn from then on is another (seed and start number). *Would change our mind:* a bench whose state is
//! too dear to bring back like this.

pub mod answers;
pub mod hands;
pub mod recording;
pub mod replay;
pub mod result;
mod runner;
pub mod station;
mod time;
pub mod trace_file;

pub use result::{JointResult, PassResult};
pub use runner::{Options, Rehearsal, WorkError};
pub use time::rehearsed;
