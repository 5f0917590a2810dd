//! The desktop side of Evendraw: plans, mechanics, the virtual bench, the journal on disk, the sheet and the desk.

pub mod bench;
pub mod calibration;
pub mod command;
#[cfg(feature = "desk")]
pub mod desk;
pub mod disk;
pub mod job;
pub mod limits;
pub mod lines;
pub mod link;
mod load_unit;
pub mod mark;
pub mod mechanics;
pub mod outputs;
pub mod peers;
pub mod plan;
pub mod quantity;
pub mod rehearsal;
pub mod sheet;
pub mod shelf;
mod signals;
pub mod store;
pub mod uncertainty;
pub mod words;
