//! The virtual bench: a bolted joint, the tool train, a hand and the adapter between them.
//!
//! A host drives it sample by sample ([`Bench`]) with whatever judges the pull, and gives the hand its cues. What comes back is what the
//! adapter would have measured; the truth (rotation of the fastener, clamp load) can be asked for apart. The same seed gives the same
//! samples.
//!
//! In reading order: [`JointSketch`] (what is known of a joint) → [`JointModel`] (numbers) → the fastener's metal, the interaction of all
//! fasteners, train, hand, adapter → [`Bench`] (all of it in time) → [`compare`] (many orders and pass counts).
//!
//! Knows nothing of procedures, sessions, verdicts, journals or screens.
#![doc = include_str!("BENCH.md")]
#![expect(
    non_snake_case,
    reason = "a unit is spelled as the unit is: Nm, kN, MPa"
)]

mod adapter;
pub mod compare;
mod cover;
mod fastener;
mod fault;
mod hand;
mod interaction;
mod joint;
mod live;
mod matrix;
mod rng;
mod variation;

pub use adapter::{AdapterModel, BenchSample};
pub use cover::Cover;
pub use fastener::{FastenerModel, FastenerState};
pub use fault::{Fault, FaultError, Seen};
pub use hand::{Hand, HandError, HandKind};
pub use interaction::{Interaction, Spring, axes};
pub use joint::{JointError, JointModel, JointSketch, Turning};
pub use live::{Bench, BenchCue, Energy, Task};
pub use matrix::{Cholesky, Matrix};
pub use rng::Rng;
pub use variation::Variation;

pub use crate::mechanics::{Creep, Interface, Plate, kei};
