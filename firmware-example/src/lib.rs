//! A torque adapter, free of any board: the loop, drivers over embedded-hal traits, the flash journal, the link.
#![doc = include_str!("../MEASURED.md")]
#![cfg_attr(target_os = "none", no_std)]

pub mod adapter;
pub mod bridge;
pub mod bus;
pub mod button;
pub mod cue;
#[cfg(test)]
mod cut_flash;
pub mod display;
pub mod exercise;
pub mod fed;
pub mod gyro;
pub mod log;
pub mod meter;
pub mod nor;
pub mod power;
pub mod queue;
pub mod readings;
#[cfg(test)]
mod silent_log;
pub mod slots;
pub mod turns;

/// Takes the first bytes off. One by one: the library's move of overlapping memory is a kilobyte and a half.
fn drop_front<const N: usize>(bytes: &mut heapless::Vec<u8, N>, count: usize) {
    let left = bytes.len().saturating_sub(count);
    for at in 0..left {
        if let Some(byte) = bytes.get(at + count).copied()
            && let Some(place) = bytes.get_mut(at)
        {
            *place = byte;
        }
    }
    bytes.truncate(left);
}
