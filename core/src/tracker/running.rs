//! Before the head seats: running torque of a locking feature, and how far the fastener was run down; and the way back.
//!
//! Knows nothing of verdicts.
//!
//! # Why running torque is a fact of the fastener
//!
//! *Context:* a locking nut drags before anything clamps, and the target comes on top of that [FAA AC 43.13-1B 7-40].
//! Judged as part of one attempt it was lost with a stroke, a rejection or a restart. *Choice:* a record of its own,
//! folded into the ledger; the tracker looks at every sample, loaded or not, until the head seats: three blocks of 3°
//! whose means lie within 2 % of the target are a plateau, since no healthy joint rises so slowly. On a loose
//! fastener with a lock no attempt begins before snug on top of the plateau; before any plateau, before half of the
//! target, and then the verdict is unknown rather than the torque zero. What a person types goes before what the plan
//! gives, that before what was seen. Forgotten when the fastener is loosened fully (by whomever), replaced or taken
//! apart with its mock-up, since a lock holds less each time; kept over a rejection, a restart and a turn back by an
//! angle, which do not move the nut off its lock. *Known limits:* strokes below some 12° may show no plateau; a
//! run-down below 10° either; above half of the target it must be typed. *Alternative:* samples kept and judged
//! afterwards, which cannot stop a hand. *Would change our mind:* a joint that rises more slowly than its target in
//! 300°.

use super::Seen;
use crate::unit::ratio;

/// Rotation in a block: 3°. Three blocks in a row must lie level, so a stroke needs some 10° beside the winding up of its train.
const BLOCK_TURN: i32 = 3_000;
/// Samples in a block at least, so that their mean says more than one of them; and at most, so that their sum fits.
const BLOCK_LEAST: u16 = 4;
const BLOCK_MOST: u16 = 1_024;
/// Going back by this much ends a stroke: 1°.
const BACK: i32 = 1_000;
/// The mean goes by the last sixteen blocks or so: most of a turn's waves even out, and what was felt far from the seat fades.
const WEIGHT_MOST: u8 = 16;

/// The plateau of torque while a fastener is run down, over any number of strokes.
///
/// Level means: three blocks of 3° whose means differ by no more than a fiftieth of the target. A joint that clamps rises by
/// that much in 6° unless it takes more than 300° to its target, which no healthy joint of the corpus does; what is level and
/// then rises is therefore the nut, not the joint. *Our judgement, no source.*
#[derive(Clone, Copy, Debug)]
pub(super) struct Running {
    sum: i32,
    count: u16,
    from: i32,
    far: i32,
    /// Means of the last two blocks of this stroke, and how many there are.
    means: (i32, i32),
    filled: u8,
    mean: i32,
    /// Blocks behind the mean, zero before any plateau.
    weight: u8,
}

/// What tells a plateau from a rise and from nothing, in mN·m.
#[derive(Clone, Copy, Debug)]
pub(super) struct Level {
    /// Below this the tool turns nothing, as far as its sensor can tell.
    pub(super) floor: i32,
    /// Above this it is no running torque any more.
    pub(super) ceiling: i32,
    /// How far the means of a plateau may lie apart.
    pub(super) band: i32,
}

impl Running {
    pub(super) const NEW: Self = Self {
        sum: 0,
        count: 0,
        from: 0,
        far: 0,
        means: (0, 0),
        filled: 0,
        mean: 0,
        weight: 0,
    };

    /// Takes a sample, loaded or not. True where a stroke ends with it.
    pub(super) fn push(&mut self, seen: Seen, level: Level) -> bool {
        if self.count == 0 {
            self.begin_block(seen);
            if self.filled == 0 {
                self.far = seen.rotation;
            }
        }
        self.far = self.far.max(seen.rotation);
        if self.far.wrapping_sub(seen.rotation) > BACK {
            return self.end_stroke();
        }
        self.sum = self.sum.saturating_add(seen.torque);
        self.count = self.count.wrapping_add(1);
        if self.count >= BLOCK_LEAST && seen.rotation.wrapping_sub(self.from) >= BLOCK_TURN {
            let sum = i64::from(self.sum);
            let mean = i32::try_from(ratio(sum, u64::from(self.count))).unwrap_or(0);
            if mean < level.floor || mean > level.ceiling {
                return self.end_stroke();
            }
            self.block(mean, level.band);
            self.begin_block(seen);
        } else if self.count >= BLOCK_MOST {
            // It stands under load: what it holds is no torque of turning.
            self.begin_block(seen);
        }
        false
    }

    fn end_stroke(&mut self) -> bool {
        let ended = self.filled > 0;
        self.count = 0;
        self.filled = 0;
        ended
    }

    fn begin_block(&mut self, seen: Seen) {
        self.from = seen.rotation;
        self.sum = 0;
        self.count = 0;
    }

    fn block(&mut self, newest: i32, band: i32) {
        let (first, second) = self.means;
        self.means = (second, newest);
        if self.filled < 2 {
            self.filled = self.filled.wrapping_add(1);
            return;
        }
        let highest = first.max(second).max(newest);
        let lowest = first.min(second).min(newest);
        if highest.wrapping_sub(lowest) > band {
            return;
        }
        // The newest may be the foot of the rise already.
        let level = first.wrapping_add(second) >> 1;
        let off = level.wrapping_sub(self.mean);
        if self.weight == 0 || off.wrapping_abs() > band.wrapping_mul(2) {
            // A lock that takes hold only now, or lets go.
            self.mean = level;
            self.weight = 1;
            return;
        }
        if self.weight < WEIGHT_MOST {
            self.weight = self.weight.wrapping_add(1);
        }
        let part = ratio(i64::from(off), u64::from(self.weight));
        self.mean = self.mean.wrapping_add(i32::try_from(part).unwrap_or(0));
    }

    /// The running torque, in mN·m, once a plateau was seen.
    pub(super) fn torque(&self) -> Option<i32> {
        (self.weight > 0).then_some(self.mean)
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

#[cfg(test)]
mod tests;
