//! A hand and a joint of the plainest kind, for scripts: what the adapter would measure while somebody pulls.
//!
//! Torque grows linearly with rotation; on release the tool train unwinds. No noise: scripts are about order and records,
//! not about measuring.

use evendraw_core::sample::Sample;
use evendraw_core::unit::{Rotation, Torque};

/// Time between two samples, in µs.
pub(crate) const STEP_US: u64 = 5_000;

/// What a fastener gains per degree, in mN·m.
const GRADIENT: i32 = 500;
/// Stiffness of the tool train, in mN·m per degree.
const TRAIN: i32 = 20_000;

/// A pull that brings a fastener from where it stands to a torque: it turns when the torque it was left at is passed.
pub(crate) fn to_torque(left_at: i32, peak: i32) -> Vec<Sample> {
    let mut samples = Vec::new();
    let mut torque = 0;
    while torque < peak {
        samples.push(sample(torque, turned(left_at, torque) + wound(torque)));
        torque += 300;
    }
    let end = turned(left_at, peak);
    samples.extend([sample(peak, end + wound(peak)); 4]);
    release(&mut samples, peak, end);
    samples
}

/// A pull that turns a fastener by an angle from where it stands.
pub(crate) fn by_angle(left_at: i32, millidegrees: i32) -> Vec<Sample> {
    let peak = left_at + millidegrees / 1000 * GRADIENT;
    to_torque(left_at, peak)
}

/// A steady load that moves nothing.
pub(crate) fn hold(torque: i32, millis: u64) -> Vec<Sample> {
    let mut samples: Vec<Sample> = (0..torque / 300)
        .map(|n| sample(n * 300, wound(n * 300)))
        .collect();
    samples.extend((0..millis * 1000 / STEP_US).map(|_| sample(torque, wound(torque))));
    release(&mut samples, torque, 0);
    samples
}

/// A fastener turned back until it is free.
pub(crate) fn back_off(left_at: i32) -> Vec<Sample> {
    let mut samples = Vec::new();
    let mut torque = 0;
    while torque < left_at {
        samples.push(sample(-torque, -wound(torque)));
        torque += 300;
    }
    for n in 0..200 {
        let left = (left_at - n * 400).max(0);
        samples.push(sample(-left, -wound(left) - n * 1_000));
    }
    samples.extend([sample(0, -200_000); 60]);
    samples
}

/// A loading that is not let go of.
pub(crate) fn without_release(mut samples: Vec<Sample>, keep: usize) -> Vec<Sample> {
    samples.truncate(samples.len().saturating_sub(keep));
    samples
}

fn release(samples: &mut Vec<Sample>, from: i32, end: i32) {
    let mut torque = from;
    while torque > 0 {
        torque = (torque - 2_000).max(0);
        samples.push(sample(torque, end + wound(torque)));
    }
    samples.extend([sample(0, end); 60]);
}

fn turned(left_at: i32, torque: i32) -> i32 {
    (torque - left_at).max(0) * 1000 / GRADIENT
}

fn wound(torque: i32) -> i32 {
    torque / (TRAIN / 1000)
}

fn sample(torque: i32, rotation: i32) -> Sample {
    Sample {
        torque: Torque::from_millinewton_meters(torque),
        rotation: Rotation::from_millidegrees(rotation),
    }
}
