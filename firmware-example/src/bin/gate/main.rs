//! A firmware that links only if no panic can be reached from the core's live path: apply, fold, the way of a sample and
//! the reader of stored records. A procedure's reader is not under it: the length of a heapless list counts with a check.
//!
//! Its panic handler calls a function that does not exist. If the linker keeps the handler, some path still leads to it, and
//! the link fails on `a_panic_is_reachable`. It is never run.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod chip;

#[cfg(not(target_os = "none"))]
fn main() {}
