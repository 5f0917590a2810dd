//! A job worked without metal: by simulated hands at the virtual bench, or from a trace file.
//!
//! Both feed the same sessions that live work does, by the same inputs. Knows nothing of how samples are judged.

pub mod answers;
pub mod hands;
pub mod recording;
pub mod replay;
pub mod result;
mod runner;
pub mod station;
pub mod trace_file;

pub use result::{JointResult, PassResult};
pub use runner::{Options, Rehearsal, WorkError};
