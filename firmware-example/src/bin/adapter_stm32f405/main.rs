//! The adapter on a part one can buy: an STM32F405 with the load cell, gyro, flash and display wired as `WIRING.md` says.
//!
//! Readings and the link's bytes come by interrupt into queues; the loop takes them out and waits for nothing. Without its crystal it
//! runs from the chip's own oscillator and says so. Knows nothing of torque: it names pins.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod board;
#[cfg(target_os = "none")]
mod clock;
#[cfg(target_os = "none")]
mod power;
#[cfg(target_os = "none")]
mod sensors;
#[cfg(target_os = "none")]
mod serial;
#[cfg(target_os = "none")]
mod two_wire;

#[cfg(not(target_os = "none"))]
fn main() {}
