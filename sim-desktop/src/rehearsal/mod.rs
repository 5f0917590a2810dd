//! A job worked without metal: by simulated hands at the virtual bench, or from a trace file.
//!
//! Both feed the same sessions that live work does, by the same inputs. Knows nothing of how samples are judged.

pub mod feed;
pub mod given;
pub mod hands;
pub mod recording;
pub mod result;
pub mod rig;
pub mod trace_file;
mod work;

pub use result::{JointResult, PassResult};
pub use work::{Options, Rehearsal, WorkError};
