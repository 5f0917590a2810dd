//! What the tests share: the emulator, the size of what was built for it.
//!
//! Uses only the standard library, as `verify` does.

pub mod binary;
pub mod emulator;
pub mod size;
pub mod table;
