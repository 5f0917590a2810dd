//! The adapter on a small Cortex-M0 board (nRF51822: 256 KiB of flash, 16 KiB of RAM), its journal in the chip's own flash.
//!
//! Its one serial port carries the link and, between the link's frames, readings and keys: it has no load cell.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod board;
#[cfg(target_os = "none")]
mod firmware;
#[cfg(target_os = "none")]
#[path = "../shared/stack.rs"]
mod stack;
#[cfg(target_os = "none")]
#[path = "../shared/vectors.rs"]
mod vectors;

#[cfg(not(target_os = "none"))]
fn main() {}
