//! A torque adapter, free of any board: the loop, drivers over embedded-hal traits, the flash journal, the link.
#![cfg_attr(target_os = "none", no_std)]

pub mod adapter;
pub mod bridge;
pub mod button;
pub mod cue;
#[cfg(test)]
mod cut_flash;
pub mod display;
pub mod exercise;
pub mod gyro;
pub mod log;
pub mod nor;
pub mod readings;
pub mod shelf;
#[cfg(test)]
mod silent_log;
