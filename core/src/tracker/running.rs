//! Before the head seats: running torque of a locking feature, and how far the fastener was run down; and the way back.
//!
//! Knows nothing of verdicts.

use super::Seen;

const BLOCK: u8 = 32;
const BLOCK_BITS: u32 = 5;
/// Rotation in a block that shows the fastener turning: 2°.
const TURN_LEAST: i32 = 2_000;

/// Mean torque while running down.
#[derive(Clone, Copy, Debug)]
pub(super) struct Running {
    sum: i32,
    count: u8,
    from: i32,
    /// Mean of the blocks up to the last but one, which the rise may already have touched.
    mean: Option<i32>,
    newest: Option<i32>,
}

impl Running {
    pub(super) const NEW: Self = Self {
        sum: 0,
        count: 0,
        from: 0,
        mean: None,
        newest: None,
    };

    /// A new pull: a block must not reach over the time between.
    pub(super) fn restart(&mut self) {
        self.count = 0;
    }

    /// A loaded sample before the head seats.
    pub(super) fn push(&mut self, seen: Seen) {
        if self.count == 0 {
            self.from = seen.rotation;
            self.sum = 0;
        }
        self.sum = self.sum.saturating_add(seen.torque);
        self.count = self.count.wrapping_add(1);
        if self.count < BLOCK {
            return;
        }
        self.count = 0;
        if seen.rotation.wrapping_sub(self.from) < TURN_LEAST {
            return;
        }
        if let Some(newest) = self.newest {
            self.mean = Some(match self.mean {
                Some(mean) => mean.wrapping_add(newest.wrapping_sub(mean) >> 2),
                None => newest,
            });
        }
        self.newest = Some(self.sum >> BLOCK_BITS);
    }

    /// The running torque, in mN·m.
    pub(super) fn torque(&self) -> Option<i32> {
        self.mean.or(self.newest)
    }
}

/// Rotation one way, back-swing of a ratchet left out, loaded or not.
#[derive(Clone, Copy, Debug)]
pub(super) struct Travel {
    /// Farthest of this swing while going on; nearest while swinging back.
    edge: i32,
    back: bool,
    begun: bool,
    /// Millidegrees.
    pub(super) turned: i32,
}

/// Movement that is not noise: 1°.
const SWING_LEAST: i32 = 1_000;

impl Travel {
    pub(super) const NEW: Self = Self {
        edge: 0,
        back: false,
        begun: false,
        turned: 0,
    };

    pub(super) fn push(&mut self, seen: Seen) {
        if !self.begun {
            self.begun = true;
            self.edge = seen.rotation;
            return;
        }
        let beyond = seen.rotation.wrapping_sub(self.edge);
        if self.back {
            if beyond < 0 {
                self.edge = seen.rotation;
            } else if beyond > SWING_LEAST {
                self.back = false;
                self.turned = self.turned.saturating_add(beyond);
                self.edge = seen.rotation;
            }
        } else if beyond > 0 {
            self.turned = self.turned.saturating_add(beyond);
            self.edge = seen.rotation;
        } else if beyond < -SWING_LEAST {
            self.back = true;
            self.edge = seen.rotation;
        }
    }
}
