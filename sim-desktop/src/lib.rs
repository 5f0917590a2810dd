//! The desktop side of Evendraw: plans, mechanics, the virtual bench, the journal on disk, the sheet and the desk.

#![cfg_attr(
    not(test),
    warn(
        clippy::indexing_slicing,
        clippy::string_slice,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable
    )
)]

#[cfg_attr(
    not(test),
    expect(
        clippy::indexing_slicing,
        reason = "arrays over the fasteners of one joint, made and used together; a plan was read and bounded before it comes here"
    )
)]
pub mod bench;
pub mod calibration;
pub mod command;
#[cfg(feature = "desk")]
pub mod desk;
pub mod disk;
pub mod job;
mod limited;
pub mod limits;
pub mod lines;
pub mod link;
mod load_unit;
pub mod mark;
pub mod mechanics;
pub mod outputs;
pub mod peers;
pub mod picture;
pub mod plan;
pub mod quantity;
pub mod recent;
pub mod rehearsal;
pub mod sheet;
pub mod shelf;
mod signals;
pub mod store;
pub mod uncertainty;
pub mod words;
