//! The samples of one attempt, thinned to at most 64 points.
//!
//! A point is a sample exactly as judged. A sample that was left out lies within [`Trace::error`] of the point before it,
//! in torque and in rotation. Knows nothing of stages or storage.

use heapless::Vec;

use crate::check_sum::crc32;
use crate::limits::TRACE_POINTS_MAX;
use crate::unit::{Angle, Instant, Rotation, Torque};

/// One kept sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Point {
    /// Since the first point, in ms.
    pub millis: u32,
    /// Torque as judged.
    pub torque: Torque,
    /// Rotation of the tool since the first point.
    pub rotation: Angle,
}

/// Points of one attempt and how far a left-out sample may lie from them.
#[derive(Clone, Debug)]
pub struct Trace {
    points: Vec<Point, TRACE_POINTS_MAX>,
    origin: Option<(Instant, Rotation)>,
    torque_step: i32,
    rotation_step: i32,
}

impl Trace {
    /// An empty trace.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            points: Vec::new(),
            origin: None,
            torque_step: 100,
            rotation_step: 250,
        }
    }

    /// The points in the order of time.
    #[must_use]
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// How far a left-out sample may lie from the point before it.
    #[must_use]
    pub const fn error(&self) -> (Torque, Angle) {
        (
            Torque::from_millinewton_meters(self.torque_step),
            Angle::from_millidegrees(self.rotation_step),
        )
    }

    /// CRC-32 over every point: time, torque and rotation as little-endian 32-bit integers; zero for an empty trace.
    #[must_use]
    pub fn digest(&self) -> u32 {
        self.points.iter().fold(0, |sum, point| {
            let sum = crc32(sum, &point.millis.to_le_bytes());
            let sum = crc32(sum, &point.torque.millinewton_meters().to_le_bytes());
            crc32(sum, &point.rotation.millidegrees().to_le_bytes())
        })
    }

    pub(crate) fn push(&mut self, at: Instant, torque: Torque, rotation: Rotation) {
        let (start, zero) = *self.origin.get_or_insert((at, rotation));
        let point = Point {
            millis: at.since(start).millis(),
            torque,
            rotation: rotation - zero,
        };
        if let Some(last) = self.points.last()
            && self.is_near(last, &point)
        {
            return;
        }
        if self.points.push(point).is_err() {
            self.thin();
            // `thin` made room or the point is as good as the last one.
            let _ = self.points.push(point);
        }
    }

    fn is_near(&self, last: &Point, point: &Point) -> bool {
        (point.torque - last.torque).abs().millinewton_meters() < self.torque_step
            && (point.rotation - last.rotation).abs().millidegrees() < self.rotation_step
    }

    fn thin(&mut self) {
        while self.points.is_full() {
            self.torque_step = self.torque_step.saturating_mul(2);
            self.rotation_step = self.rotation_step.saturating_mul(2);
            let mut kept: Option<Point> = None;
            let (torque_step, rotation_step) = (self.torque_step, self.rotation_step);
            let mut count = 0_usize;
            // By hand: the library's `retain` keeps a panic that the compiler cannot see is never reached.
            for index in 0..self.points.len() {
                let Some(point) = self.points.get(index).copied() else {
                    break;
                };
                let near = kept.is_some_and(|last| {
                    (point.torque - last.torque).abs().millinewton_meters() < torque_step
                        && (point.rotation - last.rotation).abs().millidegrees() < rotation_step
                });
                if !near {
                    kept = Some(point);
                    if let Some(place) = self.points.get_mut(count) {
                        *place = point;
                    }
                    count = count.saturating_add(1);
                }
            }
            while self.points.len() > count {
                self.points.pop();
            }
            if self.torque_step == i32::MAX {
                return;
            }
        }
    }
}

impl Default for Trace {
    fn default() -> Self {
        Self::new()
    }
}
