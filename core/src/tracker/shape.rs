//! What the curve shows: yielding, giving way, a saw, a stuck sensor.
//!
//! Each rule compares torque with rotation, not with time, except for teeth, which a hand cannot make that fast. Knows
//! nothing of limits on the result.
//!
//! What its numbers should be no standard says: *our judgement, no source*, held by the matrix of faults
//! (`tests/tests/judging/JUDGING.md`).

use super::Seen;
use super::thresholds::{COMPLIANCE_BITS, Thresholds};
use crate::verdict::Reason;

/// A tooth falls within this time; a hand that eases off takes longer.
const TOOTH_TICKS: u32 = 40;
/// Samples of one sensor that repeat exactly, and for how long, before it counts as stuck.
const SAME_LEAST: u16 = 40;
const SAME_TICKS: u32 = 200;
/// Samples of both sensors that repeat exactly, beyond eight times as many as did while they were alive, and for how long.
const BOTH_LEAST: u16 = 16;
const BOTH_TICKS: u32 = 50;
/// Changes of direction that show the sensor alive; one that never jitters cannot be told from a stuck one.
const JITTER_LEAST: u8 = 8;
/// Rotation during which a torque that jittered before does not repeat itself: 8°.
const SAME_TURN: i32 = 8_000;
/// A chord of the curve must turn on by this much more than the steepest before it counts as flat: 1.5°.
const CHORD_LEAST: i32 = 1_500;

/// The curve of one attempt.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shape {
    // Chords: rotation from one torque level to the next.
    level: i32,
    level_rotation: i32,
    chord: i32,
    chord_least: i32,
    pair_least: i32,
    on_chord: bool,
    /// Steepest two chords and steepest one before a bend that may be the end of the wind-up, or the beginning of yield.
    bend: Option<(i32, i32)>,
    // Giving way.
    restart: i32,
    top: i32,
    anchor: i32,
    // Teeth.
    high: i32,
    high_at: u32,
    low: i32,
    falling: bool,
    sharp: bool,
    teeth: u8,
    // Sensor alive?
    same_torque: u16,
    same_rotation: u16,
    same_since: u32,
    same_from: (i32, i32),
    both_same: u16,
    both_most: u16,
    torque_jitter: u8,
    rotation_jitter: u8,
    torque_up: bool,
    rotation_up: bool,
    /// One of them repeats itself.
    repeats: bool,
}

impl Shape {
    pub(super) const NEW: Self = Self {
        level: 0,
        level_rotation: 0,
        chord: 0,
        chord_least: i32::MAX,
        pair_least: i32::MAX,
        on_chord: false,
        bend: None,
        restart: 0,
        top: 0,
        anchor: 0,
        high: 0,
        high_at: 0,
        low: 0,
        falling: false,
        sharp: false,
        teeth: 0,
        same_torque: 0,
        same_rotation: 0,
        same_since: 0,
        same_from: (0, 0),
        both_same: 0,
        both_most: 0,
        torque_jitter: 0,
        rotation_jitter: 0,
        torque_up: false,
        rotation_up: false,
        repeats: false,
    };

    /// A pull began; up to `still_below` the fastener is not expected to move.
    pub(super) fn start_pull(&mut self, still_below: i32, thresholds: &Thresholds) {
        self.level = thresholds
            .snug
            .max(still_below.wrapping_add(still_below >> 2));
        self.on_chord = false;
        self.chord = 0;
        self.restart = still_below;
        self.top = 0;
        self.teeth = 0;
        self.high = 0;
        self.falling = false;
        self.same_torque = 0;
        self.same_rotation = 0;
    }

    /// Follows the curve by a few loaded samples taken as one (`together`, as a power of two): `seen` as they came, torque and rotation
    /// that are `sure`. Names what it shows for the first time. `compliance` is the train's, zero while it is not known; without it, the
    /// curve may yield.
    pub(super) fn follow(
        &mut self,
        before: Seen,
        seen: Seen,
        sure: (i32, i32),
        together: u32,
        compliance: Option<i64>,
        thresholds: &Thresholds,
    ) -> Option<Reason> {
        let stuck = self.repeats && self.stuck(seen, thresholds);
        let giving = self.giving_way(sure.0, sure.1, thresholds);
        let step = seen
            .rotation
            .wrapping_sub(before.rotation)
            .max(0)
            .wrapping_shr(together);
        let yielding = compliance
            .is_some_and(|compliance| self.yielding(sure.0, sure.1, step, compliance, thresholds));
        if stuck {
            Some(Reason::Stuck)
        } else if giving {
            Some(Reason::GivingWay)
        } else if yielding {
            Some(Reason::Yielding)
        } else {
            None
        }
    }

    /// Time passed unseen: what lies on either side of it is not one curve.
    pub(super) fn restart(&mut self) {
        self.on_chord = false;
        self.chord = 0;
        self.top = 0;
        self.high = 0;
        self.falling = false;
        self.same_torque = 0;
        self.same_rotation = 0;
    }

    /// At release and just after: on letting go a whole train unwinds, a broken one goes on.
    pub(super) fn broke(&self, rotation: i32, thresholds: &Thresholds) -> bool {
        self.top >= thresholds.worth_watching
            && rotation.wrapping_sub(self.anchor) > thresholds.drop_turn >> 1
    }

    /// Whether the torque has come to the next level: a chord ends there. Looked at in each reading, since a fast hand turns far
    /// meanwhile.
    #[inline(always)]
    pub(super) const fn ends_chord(&self, torque: i32) -> bool {
        torque >= self.level
    }

    /// The torque, sure, came to the next level at this rotation.
    #[inline(never)]
    pub(super) fn end_chord(&mut self, torque: i32, rotation: i32, thresholds: &Thresholds) {
        let mut passed = 0_u8;
        while torque >= self.level && passed < 16 {
            self.level = self.level.saturating_add(thresholds.yield_step);
            passed = passed.wrapping_add(1);
        }
        let chord = rotation.wrapping_sub(self.level_rotation).max(0);
        if self.on_chord && passed == 1 {
            if self.chord > 0 {
                self.pair_least = self.pair_least.min(chord.saturating_add(self.chord));
            }
            self.chord = chord;
            self.chord_least = self.chord_least.min(chord);
        } else {
            self.chord = 0;
        }
        self.on_chord = true;
        self.level_rotation = rotation;
    }

    /// Whether the curve has bent over since the last chord ended; in a reading a hand turns by about `step`.
    fn yielding(
        &mut self,
        torque: i32,
        rotation: i32,
        step: i32,
        compliance: i64,
        thresholds: &Thresholds,
    ) -> bool {
        if !self.on_chord || self.pair_least == i32::MAX {
            return false;
        }
        let chord = i64::from(rotation.wrapping_sub(self.level_rotation));
        let steepest = i64::from(self.pair_least >> 1);
        let flat = steepest.wrapping_mul(i64::from(thresholds.yield_ratio)) >> 4;
        let bent = torque >= self.top.wrapping_sub(self.top >> 3)
            && chord > flat.max(steepest.wrapping_add(i64::from(CHORD_LEAST)));
        // As steep as a train can be by itself: a fastener that was partly tight before winds up the train, then moves on at its
        // own gradient. Only the train's stiffness tells that from a hard joint that yields.
        // Chords are seen from sample to sample: a fast hand turns by a `step` meanwhile.
        if !bent {
            return false;
        }
        let pair = self.pair_least.wrapping_sub(step);
        let one = self.chord_least.wrapping_sub(step);
        if pair > thresholds.wind_up.saturating_mul(2) && one > thresholds.wind_up {
            return true;
        }
        let steep = (pair, one);
        if self.bend.is_none() && compliance == 0 {
            self.bend = Some(steep);
        }
        let yields = compliance > 0 && turned_in(steep, compliance, thresholds);
        // What comes now is a curve of its own, and may bend in its turn.
        self.chord_least = i32::MAX;
        self.pair_least = i32::MAX;
        self.chord = 0;
        self.on_chord = false;
        yields
    }

    /// Whether a bend that could not be told at the time was the fastener's yield, once the train's compliance is known; while it is
    /// not, the worse is to be allowed for.
    #[inline(never)]
    pub(super) fn yielded(&mut self, compliance: i64, thresholds: &Thresholds) -> bool {
        self.bend
            .take()
            .is_some_and(|steep| compliance == 0 || turned_in(steep, compliance, thresholds))
    }

    fn giving_way(&mut self, torque: i32, rotation: i32, thresholds: &Thresholds) -> bool {
        self.top = self.top.max(torque);
        if torque >= self.top.wrapping_sub(thresholds.drop >> 1) {
            self.anchor = rotation;
            return false;
        }
        if self.is_dip_of_restart(self.top, torque) {
            self.top = torque;
            self.anchor = rotation;
            return false;
        }
        self.top >= thresholds.worth_watching
            && torque < self.top.wrapping_sub(thresholds.drop)
            && rotation.wrapping_sub(self.anchor) > thresholds.drop_turn
    }

    /// A fastener that stood still takes more to start than to keep turning: torque over the angle rises, dips for a moment
    /// and rises again [trade press]. A top up to a third above what the fastener was left at, and a fall to no less than a
    /// sixth below that, is this dip.
    #[inline(never)]
    fn is_dip_of_restart(&self, top: i32, torque: i32) -> bool {
        let restart = i64::from(self.restart);
        restart > 0
            && i64::from(top).wrapping_mul(3) <= restart.wrapping_mul(4)
            && i64::from(torque).wrapping_mul(6) >= restart.wrapping_mul(5)
    }

    #[inline(always)]
    pub(super) fn saw(&mut self, at: u32, torque: i32, thresholds: &Thresholds) -> bool {
        if self.falling {
            self.low = self.low.min(torque);
            if torque > self.low.wrapping_add(thresholds.tooth) {
                self.falling = false;
                self.high = torque;
                self.high_at = at;
                if self.sharp {
                    self.teeth = self.teeth.saturating_add(1);
                    return self.teeth == thresholds.teeth;
                }
            }
            return false;
        }
        if torque >= self.high.wrapping_sub(thresholds.tooth >> 2) {
            self.high = self.high.max(torque);
            self.high_at = at;
        } else if torque < self.high.wrapping_sub(thresholds.tooth) {
            if self.is_dip_of_restart(self.high, torque) {
                self.high = torque;
                self.high_at = at;
                return false;
            }
            self.falling = true;
            self.low = torque;
            self.sharp = at.wrapping_sub(self.high_at) <= TOOTH_TICKS;
        }
        false
    }

    /// Follows the ripple of both sensors, loaded or not: what shows them alive.
    #[inline(always)]
    pub(super) fn ripple(&mut self, before: &Seen, seen: Seen) {
        let same = (
            seen.torque == before.torque,
            seen.rotation == before.rotation,
        );
        if same != (false, false) || self.repeats {
            self.repeat(same, before);
        }
        // Alive once is alive: no more is asked.
        if !same.0 && self.torque_jitter < JITTER_LEAST {
            let up = seen.torque > before.torque;
            self.torque_jitter = self
                .torque_jitter
                .wrapping_add(u8::from(up != self.torque_up));
            self.torque_up = up;
        }
        if !same.1 && self.rotation_jitter < JITTER_LEAST {
            let up = seen.rotation > before.rotation;
            self.rotation_jitter = self
                .rotation_jitter
                .wrapping_add(u8::from(up != self.rotation_up));
            self.rotation_up = up;
        }
    }

    /// One of the sensors repeats itself, or did.
    #[inline(never)]
    fn repeat(&mut self, (same_torque, same_rotation): (bool, bool), before: &Seen) {
        if same_torque && same_rotation {
            self.both_same = self.both_same.saturating_add(1);
        } else if self.both_same > 0 {
            self.both_most = self.both_most.max(self.both_same);
            self.both_same = 0;
        }
        if (same_torque || same_rotation) && self.same_torque == 0 && self.same_rotation == 0 {
            self.same_since = before.ticks;
            self.same_from = (before.torque, before.rotation);
        }
        let again = |so_far: u16, same: bool| if same { so_far.saturating_add(1) } else { 0 };
        self.same_torque = again(self.same_torque, same_torque);
        self.same_rotation = again(self.same_rotation, same_rotation);
        self.repeats = same_torque || same_rotation;
    }

    #[inline(never)]
    fn stuck(&self, seen: Seen, thresholds: &Thresholds) -> bool {
        let ripples = (
            self.torque_jitter >= JITTER_LEAST,
            self.rotation_jitter >= JITTER_LEAST,
        );
        let since = seen.ticks.wrapping_sub(self.same_since);
        let both_least = self.both_most.saturating_mul(8).saturating_add(BOTH_LEAST);
        if ripples == (true, true) && since >= BOTH_TICKS && self.both_same >= both_least {
            return true;
        }
        let torque_stuck = ripples.0 && self.same_torque >= SAME_LEAST;
        let rotation_stuck = ripples.1 && self.same_rotation >= SAME_LEAST;
        let turned = seen.rotation.wrapping_sub(self.same_from.1) > SAME_TURN;
        let loaded = seen.torque.wrapping_sub(self.same_from.0) > thresholds.target >> 2;
        since >= SAME_TICKS && (torque_stuck && turned || rotation_stuck && loaded)
    }
}

/// Whether the fastener turned in the steepest two chords and in the steepest one: by more than the train winds up by. One that was
/// partly tight stands still in one of them at least.
#[inline(never)]
fn turned_in((pair, one): (i32, i32), compliance: i64, thresholds: &Thresholds) -> bool {
    let torque = i64::from(thresholds.yield_step);
    let wound = torque.wrapping_mul(compliance) >> COMPLIANCE_BITS;
    let least = i64::from(thresholds.restart_turn);
    i64::from(pair).wrapping_sub(wound << 1) > least
        && i64::from(one).wrapping_sub(wound) > least >> 1
}

#[cfg(test)]
mod tests;
