//! What the operator is told while pulling: go on, slow down, let go.
//!
//! Knows nothing of verdicts.

use super::goal::Kind;
use super::{Cue, Seen, Tracker};

impl Tracker {
    /// The cue at this sample, the tool loaded.
    pub(super) fn cue_at(&self, seen: Seen) -> Cue {
        match self.goal.kind {
            Kind::Torque | Kind::Repeat => self.torque_cue(seen),
            Kind::Turn => self.turn_cue(seen),
            Kind::Hold if self.held_most >= self.goal.time => Cue::Target,
            // Until free: nobody lets go before it is, and no torque tells when.
            Kind::BackOff if self.is_reached() => Cue::Target,
            Kind::Hold | Kind::BackOff | Kind::Free | Kind::Idle => Cue::None,
        }
    }

    fn torque_cue(&self, seen: Seen) -> Cue {
        if seen.torque > self.goal.max {
            return Cue::Over;
        }
        let target = self.goal.let_go;
        let inside = self.goal.min > 0 && seen.torque >= self.goal.min;
        if seen.torque >= target
            || inside && self.pace.has_stopped(seen, target, &self.thresholds)
            || self.pace.reaches_torque(seen, target, &self.thresholds)
        {
            Cue::Target
        } else if self.pace.nears_torque(seen, target, &self.thresholds) {
            Cue::Approach
        } else {
            Cue::None
        }
    }

    fn turn_cue(&self, seen: Seen) -> Cue {
        let Some(turned) = self.angle_now() else {
            return Cue::None;
        };
        if turned > i64::from(self.goal.max) {
            return Cue::Over;
        }
        let left = i64::from(self.goal.let_go).wrapping_sub(turned);
        // In a renewed pull the train winds up first, and that is no turning.
        let turns = seen.torque >= self.turning.still_below();
        if left <= 0 || turns && self.pace.reaches_angle(seen, left, &self.thresholds) {
            Cue::Target
        } else if turns && self.pace.nears_angle(seen, left, &self.thresholds) {
            Cue::Approach
        } else {
            Cue::None
        }
    }
}

#[cfg(test)]
mod tests;
