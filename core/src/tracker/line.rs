//! A straight line through samples: how the tool train winds and unwinds while the fastener stands still.
//!
//! Sums only at each sample; the line is worked out once, when a pull is over. Knows nothing of limits.

use super::thresholds::COMPLIANCE_BITS;
use crate::unit::ratio;

/// Samples summed at most: at 1,000 a second a whole second, and no sum can leave an `i64`.
const COUNT_MAX: u16 = 1_024;
/// Largest torque and rotation summed, in their own units.
const TORQUE_EDGE: i32 = 0x3_FFFF;
const ROTATION_EDGE: i32 = 0x3F_FFFF;

/// Sums over samples of one pull, relative to its origin.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    count: u16,
    ticks: u32,
    torque: i32,
    rotation: i64,
    square: i64,
    product: i64,
}

/// The middle of the samples, in 1/16 of a torque unit, of a millidegree and of a tick.
#[derive(Clone, Copy, Debug)]
pub(super) struct Middle {
    pub(super) torque: i64,
    pub(super) rotation: i64,
    pub(super) ticks: i64,
}

impl Line {
    pub(super) const EMPTY: Self = Self {
        count: 0,
        ticks: 0,
        torque: 0,
        rotation: 0,
        square: 0,
        product: 0,
    };

    pub(super) const fn count(&self) -> u16 {
        self.count
    }

    pub(super) fn clear(&mut self) {
        if self.count != 0 {
            *self = Self::EMPTY;
        }
    }

    /// Adds a sample: torque in units of `2^shift` mN·m, rotation in millidegrees and time in ticks since the pull began.
    pub(super) fn add(&mut self, torque: i32, rotation: i32, ticks: u32) {
        if self.count >= COUNT_MAX {
            return;
        }
        let torque = torque.clamp(-TORQUE_EDGE, TORQUE_EDGE);
        let rotation = i64::from(rotation.clamp(-ROTATION_EDGE, ROTATION_EDGE));
        let wide = i64::from(torque);
        self.count = self.count.wrapping_add(1);
        self.ticks = self
            .ticks
            .wrapping_add(ticks & ROTATION_EDGE.unsigned_abs());
        // 1,024 × 2¹⁸ fits; so do 1,024 × 2³⁶ and 1,024 × 2⁴⁰.
        self.torque = self.torque.wrapping_add(torque);
        self.rotation = self.rotation.wrapping_add(rotation);
        self.square = self.square.wrapping_add(wide.wrapping_mul(wide));
        self.product = self.product.wrapping_add(wide.wrapping_mul(rotation));
    }

    pub(super) fn middle(&self) -> Option<Middle> {
        let count = u64::from(self.count);
        (count > 0).then(|| Middle {
            torque: ratio(i64::from(self.torque) << 4, count),
            rotation: ratio(self.rotation << 4, count),
            ticks: ratio(i64::from(self.ticks) << 4, count),
        })
    }

    /// Slope in millidegrees per 2²⁰ torque units, where eight samples or more spread over `spread` units (standard
    /// deviation) and the rotation grows with the torque.
    pub(super) fn compliance(&self, spread: i32) -> Option<i64> {
        if self.count < 8 {
            return None;
        }
        let count = i64::from(self.count);
        let torque = i64::from(self.torque);
        // n·Σxx − Σx·Σx: at most 2¹⁰ × 2⁴⁶.
        let over = count
            .wrapping_mul(self.square)
            .wrapping_sub(torque.wrapping_mul(torque));
        let rise = count
            .wrapping_mul(self.product)
            .wrapping_sub(torque.wrapping_mul(self.rotation));
        let least = i64::from(spread)
            .wrapping_mul(i64::from(spread))
            .wrapping_mul(count.wrapping_mul(count));
        if over < least || rise <= 0 {
            return None;
        }
        // Both shifted alike until the rise leaves room for the fractional bits.
        let size = 64_u32.saturating_sub(over.max(rise).leading_zeros());
        let shift = size.saturating_sub(62 - COMPLIANCE_BITS);
        let (rise, over) = (rise.wrapping_shr(shift), over.wrapping_shr(shift));
        (over > 0).then(|| ratio(rise << COMPLIANCE_BITS, over.unsigned_abs()))
    }
}

#[cfg(test)]
mod tests;
