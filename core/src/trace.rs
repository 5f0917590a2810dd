//! The samples of one attempt, thinned to at most 64 points.
//!
//! A point is what the curve was judged by: the mean of the samples of some 5 ms, or one sample where they come more slowly. What was
//! left out lies within [`Trace::error`] of the point before it, in torque and in rotation. Knows nothing of stages or storage.

use crate::crc::crc32;
use crate::limits::TRACE_POINTS_MAX;
use crate::unit::{Angle, Instant, Torque};

/// One kept point of the curve.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Point {
    /// Since the first point, in ms. Points further apart than 67 s count as 67 s apart.
    pub millis: u32,
    /// Torque as judged, held at ±2 kN·m.
    pub torque: Torque,
    /// Rotation of the tool since the first point, held at ±93 turns.
    pub rotation: Angle,
}

impl Point {
    /// Bytes of [`Self::to_bytes`].
    pub const BYTES: usize = 12;

    /// Time, torque and rotation as little-endian 32-bit integers: what the digest is taken of, and what the link carries.
    #[must_use]
    pub fn to_bytes(self) -> [u8; Self::BYTES] {
        let [m0, m1, m2, m3] = self.millis.to_le_bytes();
        let [t0, t1, t2, t3] = self.torque.millinewton_meters().to_le_bytes();
        let [r0, r1, r2, r3] = self.rotation.millidegrees().to_le_bytes();
        [m0, m1, m2, m3, t0, t1, t2, t3, r0, r1, r2, r3]
    }

    /// The point in these bytes; none where a number is out of its range.
    #[must_use]
    pub fn from_bytes(bytes: [u8; Self::BYTES]) -> Option<Self> {
        let [m0, m1, m2, m3, t0, t1, t2, t3, r0, r1, r2, r3] = bytes;
        Some(Self {
            millis: u32::from_le_bytes([m0, m1, m2, m3]),
            torque: Torque::try_from(i32::from_le_bytes([t0, t1, t2, t3])).ok()?,
            rotation: Angle::try_from(i32::from_le_bytes([r0, r1, r2, r3])).ok()?,
        })
    }
}

/// Time since the point before in ticks of 1,024 µs, torque and rotation, in 16, 22 and 26 bits: the first word holds the rotation
/// and the upper six bits of the time, the second the torque and the lower ten, so that torque and rotation each are one shift away.
#[derive(Clone, Copy, Debug)]
struct Packed(u32, u32);

const TORQUE_EDGE: i32 = 0x1F_FFFF;
const ROTATION_EDGE: i32 = 0x1FF_FFFF;

impl Packed {
    fn new(ticks: u16, torque: i32, rotation: i32) -> Self {
        // Moved to the positive side, so that plain bit fields hold them.
        let torque = torque
            .clamp(-TORQUE_EDGE, TORQUE_EDGE)
            .wrapping_add(TORQUE_EDGE);
        let rotation = rotation
            .clamp(-ROTATION_EDGE, ROTATION_EDGE)
            .wrapping_add(ROTATION_EDGE);
        Self(
            rotation.unsigned_abs() << 6 | u32::from(ticks >> 10),
            torque.unsigned_abs() << 10 | u32::from(ticks & 0x3FF),
        )
    }

    const fn ticks(self) -> u32 {
        (self.0 & 0x3F) << 10 | self.1 & 0x3FF
    }

    const fn torque(self) -> i32 {
        (self.1 >> 10).cast_signed().wrapping_sub(TORQUE_EDGE)
    }

    const fn rotation(self) -> i32 {
        (self.0 >> 6).cast_signed().wrapping_sub(ROTATION_EDGE)
    }

    /// Whether both differ by less than a step; the edges fall out of a difference.
    #[inline]
    const fn is_near(self, other: Self, torque_step: u32, rotation_step: u32) -> bool {
        (self.1 >> 10).abs_diff(other.1 >> 10) < torque_step
            && (self.0 >> 6).abs_diff(other.0 >> 6) < rotation_step
    }

    const fn later(self, ticks: u32) -> Self {
        let ticks = self.ticks().saturating_add(ticks);
        let ticks = if ticks > 0xFFFF { 0xFFFF } else { ticks };
        Self(
            self.0 & !0x3F | ticks >> 10,
            self.1 & !0x3FF | ticks & 0x3FF,
        )
    }
}

/// Points of one attempt and how far a left-out sample may lie from them.
///
/// When 48 points are kept, the steps double and the points are gone through again, eight at each new sample, so that no
/// sample waits for all of them.
#[derive(Clone, Debug)]
pub struct Trace {
    points: [Packed; TRACE_POINTS_MAX],
    used: u8,
    /// Going through: the points before `kept` stay, those from `scan` are to be looked at.
    kept: u8,
    scan: u8,
    thinning: bool,
    torque_step: i32,
    rotation_step: i32,
    /// Where and when the trace began.
    origin: Option<(Instant, i32)>,
    /// The newest point, unpacked: every sample is held against it. In ticks since the beginning.
    last_ticks: u32,
    last_torque: i32,
    last_rotation: i32,
    /// The digest of the first `summed` points and the time of the last of them; none while points are gone through.
    summed: u8,
    summed_ticks: u32,
    sum: u32,
}

/// Fewest torque and rotation between points: 0.1 N·m and 1°.
const STEP_LEAST: (i32, i32) = (100, 1_000);
/// As many points as there is room for, on the way to the target.
const STEP_BITS: u32 = 6;
const FULL: u8 = 48;

impl Trace {
    /// An empty trace.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            points: [Packed(0, 0); TRACE_POINTS_MAX],
            used: 0,
            kept: 0,
            scan: 0,
            thinning: false,
            torque_step: STEP_LEAST.0,
            rotation_step: STEP_LEAST.1,
            origin: None,
            last_ticks: 0,
            last_torque: 0,
            last_rotation: 0,
            summed: 0,
            summed_ticks: 0,
            sum: 0,
        }
    }

    /// The points in the order of time.
    pub fn points(&self) -> impl Iterator<Item = Point> {
        let (before, from) = if self.thinning {
            (self.kept, self.scan)
        } else {
            (self.used, self.used)
        };
        let head = self.points.get(..usize::from(before)).unwrap_or(&[]);
        let tail = self
            .points
            .get(usize::from(from)..usize::from(self.used))
            .unwrap_or(&[]);
        let mut ticks = 0_u32;
        head.iter().chain(tail).map(move |point| {
            ticks = ticks.wrapping_add(point.ticks());
            unpacked(*point, ticks)
        })
    }

    /// How far a left-out sample may lie from the point before it.
    ///
    /// Twice the step: a sample lies within one step of a point that may itself be left out when the step doubles, so the
    /// error is at most `step + step/2 + step/4 + …`.
    #[must_use]
    pub const fn error(&self) -> (Torque, Angle) {
        (
            Torque::from_millinewton_meters(self.torque_step.saturating_mul(2)),
            Angle::from_millidegrees(self.rotation_step.saturating_mul(2)),
        )
    }

    /// CRC-32 over every point: time, torque and rotation as little-endian 32-bit integers; zero for an empty trace.
    #[must_use]
    pub fn digest(&self) -> u32 {
        if self.thinning {
            return digest(self.points());
        }
        let from = usize::from(self.summed);
        let left = self.points.get(from..usize::from(self.used)).unwrap_or(&[]);
        let begin = (self.summed_ticks, self.sum);
        let (_, sum) = left.iter().fold(begin, |(ticks, sum), point| {
            let ticks = ticks.wrapping_add(point.ticks());
            (ticks, crc32(sum, &unpacked(*point, ticks).to_bytes()))
        });
        sum
    }

    /// Takes eight more points into the digest, so that the reading that ends an attempt need not take them all: at rest it is looked
    /// twenty times before it.
    pub(crate) fn sum_up(&mut self) {
        if self.thinning {
            return;
        }
        for _ in 0..8 {
            let Some(point) = self.at(self.summed).filter(|_| self.summed < self.used) else {
                return;
            };
            self.summed = self.summed.wrapping_add(1);
            self.summed_ticks = self.summed_ticks.wrapping_add(point.ticks());
            let point = unpacked(point, self.summed_ticks);
            self.sum = crc32(self.sum, &point.to_bytes());
        }
    }

    /// The points are not what they were.
    fn sum_anew(&mut self) {
        self.summed = 0;
        self.summed_ticks = 0;
        self.sum = 0;
    }

    /// Begins anew, on the way to this torque in mN·m: points need lie no closer than a 64th of it.
    pub(crate) fn clear(&mut self, torque: i32) {
        self.used = 0;
        self.thinning = false;
        self.torque_step = STEP_LEAST.0.max(torque >> STEP_BITS);
        self.rotation_step = STEP_LEAST.1;
        self.origin = None;
        self.last_ticks = 0;
        self.sum_anew();
    }

    /// Takes torque and rotation in mN·m and millidegrees.
    pub(crate) fn push(&mut self, at: Instant, torque: i32, rotation: i32) {
        let (began, zero) = *self.origin.get_or_insert((at, rotation));
        // Both lie within ±10⁹, so neither difference wraps.
        let rotation = rotation.wrapping_sub(zero);
        if self.thinning {
            self.thin();
        }
        if self.used > 0
            && torque.abs_diff(self.last_torque) < self.torque_step.unsigned_abs()
            && rotation.abs_diff(self.last_rotation) < self.rotation_step.unsigned_abs()
        {
            return;
        }
        self.store(at, began, torque, rotation);
    }

    #[inline(never)]
    fn store(&mut self, at: Instant, began: Instant, torque: i32, rotation: i32) {
        let ticks = u32::try_from(at.since(began).micros() >> 10).unwrap_or(u32::MAX);
        let step = ticks.saturating_sub(self.last_ticks);
        let step = u16::try_from(step).unwrap_or(u16::MAX);
        if let Some(free) = self.points.get_mut(usize::from(self.used)) {
            *free = Packed::new(step, torque, rotation);
            self.used = self.used.wrapping_add(1);
            self.last_ticks = ticks;
            (self.last_torque, self.last_rotation) = (torque, rotation);
        }
        if !self.thinning && self.used >= FULL {
            self.thinning = true;
            self.kept = 1;
            self.scan = 1;
            self.sum_anew();
            self.torque_step = self.torque_step.saturating_mul(2);
            self.rotation_step = self.rotation_step.saturating_mul(2);
        }
    }

    /// Goes through whatever is left to go through.
    pub(crate) fn settle(&mut self) {
        while self.thinning {
            self.thin();
        }
    }

    fn at(&self, index: u8) -> Option<Packed> {
        self.points.get(usize::from(index)).copied()
    }

    fn thin(&mut self) {
        for _ in 0..8 {
            if self.scan >= self.used {
                self.used = self.kept;
                self.thinning = false;
                return;
            }
            let Some(point) = self.at(self.scan) else {
                return;
            };
            let Some(last) = self.kept.checked_sub(1).and_then(|last| self.at(last)) else {
                return;
            };
            self.scan = self.scan.wrapping_add(1);
            // The newest point stays: the time of the next sample counts from it.
            if self.scan < self.used
                && point.is_near(
                    last,
                    self.torque_step.unsigned_abs(),
                    self.rotation_step.unsigned_abs(),
                )
            {
                // The time of the point left out goes to the next one.
                if let Some(next) = self.points.get_mut(usize::from(self.scan)) {
                    *next = next.later(point.ticks());
                }
            } else {
                if let Some(place) = self.points.get_mut(usize::from(self.kept)) {
                    *place = point;
                }
                self.kept = self.kept.wrapping_add(1);
            }
        }
    }
}

impl Default for Trace {
    fn default() -> Self {
        Self::new()
    }
}

/// A kept point, so many ticks after the first.
fn unpacked(point: Packed, ticks: u32) -> Point {
    Point {
        // 128/125 is 1,024/1,000; 64 points of 16 bits each leave room for the product.
        millis: ticks.wrapping_mul(128) / 125,
        torque: Torque::from_millinewton_meters(point.torque()),
        rotation: Angle::from_millidegrees(point.rotation()),
    }
}

/// CRC-32 over the bytes of points; zero for none.
#[must_use]
pub fn digest(points: impl Iterator<Item = Point>) -> u32 {
    points.fold(0, |sum, point| crc32(sum, &point.to_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::Span;

    /// Every sample of a long pull lies within the stated error of the last point at or before it.
    #[test]
    fn left_out_samples_lie_within_the_stated_error() {
        for seed in 1..40_i32 {
            let mut trace = Trace::new();
            let mut samples = std_samples(seed);
            for &(at, torque, rotation) in samples.iter() {
                trace.push(Instant::BOOT.after(Span::from_millis(at)), torque, rotation);
                assert!(trace.points().count() <= TRACE_POINTS_MAX);
            }
            trace.settle();
            // In whatever portions it is taken, the digest is the same.
            let whole = digest(trace.points());
            for _ in 0..TRACE_POINTS_MAX {
                assert_eq!(trace.digest(), whole);
                trace.sum_up();
            }
            assert_eq!((trace.digest(), trace.summed), (whole, trace.used));
            let count = trace.points().count();
            assert!((8..=TRACE_POINTS_MAX).contains(&count), "{count} points");
            let (torque_error, angle_error) = trace.error();
            let first = samples[0];
            let mut exact = 0;
            for (at, torque, rotation) in samples.drain() {
                let Some(point) = trace
                    .points()
                    .filter(|point| point.millis <= at - first.0)
                    .last()
                else {
                    panic!("no point before {at}");
                };
                let torque_off = (point.torque.millinewton_meters() - torque).abs();
                let angle_off = (point.rotation.millidegrees() - (rotation - first.2)).abs();
                assert!(
                    torque_off < torque_error.millinewton_meters(),
                    "{at}: {torque_off}"
                );
                assert!(angle_off < angle_error.millidegrees(), "{at}: {angle_off}");
                exact += usize::from(torque_off == 0 && angle_off == 0);
            }
            assert!(exact >= count);
        }
    }

    struct Samples([(u32, i32, i32); 900]);

    impl core::ops::Deref for Samples {
        type Target = [(u32, i32, i32); 900];
        fn deref(&self) -> &Self::Target {
            &self.0
        }
    }

    impl Samples {
        fn drain(&mut self) -> impl Iterator<Item = (u32, i32, i32)> {
            self.0.into_iter()
        }
    }

    fn std_samples(seed: i32) -> Samples {
        let mut samples = [(0, 0, 0); 900];
        for (place, step) in samples.iter_mut().zip(0_i32..) {
            let wobble = (step.wrapping_mul(7919).wrapping_mul(seed) % 301).abs();
            let rise = (step * (20 + seed)).min(60_000) - (step - 700).max(0) * 300;
            *place = (
                5 + step.unsigned_abs() * 3,
                rise.max(-500) + wobble,
                step * 90 - (step - 700).max(0) * 120 + wobble / 3,
            );
        }
        Samples(samples)
    }
}
