//! The adapter at full load, timed: 1,000 readings a second, the link busy with the journal, the display changing, the flash at work.
//!
//! The same loop, queues and drivers as on the board one can buy; what hangs on them takes the time that its data sheet says. It runs on
//! an emulated Cortex-M4 whose instructions each take a known time (`-icount`), prints what a turn takes at most and what was lost, and ends.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod board;
#[cfg(target_os = "none")]
mod host;
#[cfg(target_os = "none")]
mod parts;
#[cfg(target_os = "none")]
#[path = "../../silent_log.rs"]
mod silent_log;
#[cfg(target_os = "none")]
mod work;

#[cfg(not(target_os = "none"))]
fn main() {}
