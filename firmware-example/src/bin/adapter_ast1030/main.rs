//! The adapter on the emulated board: a Cortex-M4F with a SPI NOR flash that the emulator keeps in a file of the host.
//!
//! The link is the first serial port; readings come over the second, because the emulator has no load cell.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod board;
#[cfg(target_os = "none")]
mod firmware;
#[cfg(target_os = "none")]
mod power;
#[cfg(target_os = "none")]
#[path = "../shared/stack.rs"]
mod stack;
#[cfg(target_os = "none")]
#[path = "../shared/vectors.rs"]
mod vectors;

#[cfg(not(target_os = "none"))]
fn main() {}
