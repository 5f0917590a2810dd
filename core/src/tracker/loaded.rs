//! What is watched for under load: in each sample, and in a few taken together.
//!
//! Knows nothing of when a pull begins and ends.

use super::goal::Kind;
use super::rise::{Turned, asks_for_the_top, rise};
use super::{Cue, RunsDown, Seen, Tracker};
use crate::verdict::Reason;

impl Tracker {
    /// What is watched for in each reading.
    #[inline(always)]
    pub(super) fn watch(&mut self, follows: bool, seen: Seen, sure: i32) {
        if self.began_at.is_none() || !self.turning.climbs(seen.torque) {
            self.turn(follows, seen, sure);
        }
        if follows && self.shape.ends_chord(sure) {
            self.end_chord(sure);
        }
        // Teeth are looked for in the readings as they came: one alone may be a spike, five are not.
        let saw = follows && self.shape.saw(seen.ticks, seen.torque, &self.thresholds);
        let is_over = sure > self.thresholds.overload;
        if saw || is_over {
            self.watched(follows, is_over, saw);
        }
    }

    /// Rotation while it must be looked at in each reading: up to snug, while the train winds up, and on the way down.
    #[inline(never)]
    fn turn(&mut self, follows: bool, seen: Seen, sure: i32) {
        let before = follows.then_some(self.last);
        let level = self.level();
        if !self.turning.is_counting() {
            self.before_snug(seen, level);
        }
        self.turning.follow(before, seen, level, &self.thresholds);
        if self.began_at.is_none() {
            self.seats(seen, sure, level);
        }
    }

    #[inline(never)]
    fn end_chord(&mut self, sure: i32) {
        if self.began_at.is_some() && !self.reverse && !self.found.contains(Reason::Stuck) {
            self.shape
                .end_chord(sure, self.last.rotation, &self.thresholds);
        }
    }

    #[cold]
    #[inline(never)]
    fn watched(&mut self, follows: bool, is_over: bool, saw: bool) {
        if self.began_at.is_none() || !follows {
            return;
        }
        if is_over {
            self.find(Reason::Overload);
        }
        if saw && !self.reverse && !self.found.contains(Reason::Stuck) {
            self.find(Reason::StickSlip);
        }
    }

    /// What is watched for in several readings taken as one.
    pub(super) fn pulled(&mut self, before: Option<Seen>, seen: Seen) {
        let sure = self.together.sure;
        let is_marked = self.pace.push(seen);
        if self.began_at.is_none() {
            return;
        }
        if !self.pull_counted && seen.torque >= self.thresholds.regrip.saturating_mul(2) {
            self.pull_counted = true;
            self.pulls = self.pulls.saturating_add(1);
        }
        if is_marked
            && self.pace.is_level(seen, &self.thresholds)
            && seen.torque >= self.peak.value() >> 1
        {
            self.peak.stands(sure.0);
        }
        if let Some(before) = before {
            self.follow_shape(before, seen, sure);
            if matches!(self.goal.kind, Kind::Hold) {
                self.hold(seen);
            }
        }
        self.restart_top = self.restart_top.max(sure.0);
        self.tell(seen);
    }

    /// How the joint rises, and what the hand is told.
    fn tell(&mut self, seen: Seen) {
        if !self.reverse {
            self.first_movement(seen);
        }
        match self.goal.kind {
            Kind::Torque => self.follow_rise(seen),
            Kind::Turn => self.follow_turn(seen),
            _ => {}
        }
        self.cue = self.cue_at(seen);
        if self.cue == Cue::Approach {
            self.pace.approach(seen.ticks);
        }
    }

    /// Torque at which counting starts in this pull.
    #[inline(never)]
    pub(super) fn level(&self) -> i32 {
        match self.goal.kind {
            // Before any plateau nobody knows whether it is the nut that resists or the joint.
            Kind::Torque if self.began_at.is_none() && self.wants_running() => {
                self.thresholds.level.ceiling.max(self.thresholds.snug)
            }
            Kind::Torque if self.began_at.is_none() || !self.turning.is_counting() => {
                self.thresholds.snug
            }
            _ => self.thresholds.regrip,
        }
    }

    /// Whether the head seats: past snug on top of the running torque, and no spike. Until then the fastener is run down, which
    /// is no attempt, however long and in however many strokes.
    fn seats(&mut self, seen: Seen, sure: i32, level: i32) {
        if seen.torque < level {
            // What was past it was a knock.
            self.turning.recount();
            return;
        }
        if self.runs_down != RunsDown::Yes || sure < level {
            return;
        }
        if self.wants_running() {
            // Counted from where it began for certain.
            self.thresholds.snug = level;
            self.find(Reason::RunningUnknown);
        }
        self.began_at = Some(self.at);
        self.shape
            .start_pull(self.turning.still_below(), &self.thresholds);
    }

    fn before_snug(&mut self, seen: Seen, level: i32) {
        if !matches!(self.goal.kind, Kind::Torque) || self.is_alone {
            return;
        }
        if self.thresholds.run_down_min == 0 && self.thresholds.run_down_max == 0 {
            return;
        }
        self.travel.push(seen);
        if self.runs_down == RunsDown::Yes && seen.torque < level {
            return;
        }
        let limit = self.thresholds.run_down_max;
        if limit > 0 && self.travel.turned > limit {
            self.find(Reason::LateRise);
        }
        if seen.torque >= level && self.travel.turned < self.thresholds.run_down_min {
            self.find(Reason::EarlyRise);
        }
    }

    fn follow_shape(&mut self, before: Seen, seen: Seen, sure: (i32, i32)) {
        // What a stuck sensor shows when it comes alive again is no shape.
        if self.reverse || self.found.contains(Reason::Stuck) {
            return;
        }
        let compliance = matches!(self.goal.kind, Kind::Torque).then(|| self.turning.compliance());
        match self.shape.follow(
            before,
            seen,
            sure,
            self.together.bits(),
            compliance,
            &self.thresholds,
        ) {
            Some(Reason::Stuck) => self.lost(Reason::Stuck),
            Some(reason) => self.find(reason),
            None => {}
        }
    }

    fn hold(&mut self, seen: Seen) {
        if seen.torque >= self.thresholds.hold {
            let passed = self.at.since(self.looked_at).micros();
            self.held = self.held.saturating_add(passed);
            self.held_most = self.held_most.max(self.held);
        } else {
            self.held = 0;
        }
    }

    /// The torque at which a fastener that was tight begins to move again.
    fn first_movement(&mut self, seen: Seen) {
        let compliance = self.turning.compliance();
        if self.restart.is_some()
            || self.thresholds.still_below <= 0
            || compliance == 0
            || self.pulls > 1
        {
            return;
        }
        let moved = self.turning.now(Some(seen), compliance);
        if moved.is_some_and(|moved| moved > i64::from(self.thresholds.restart_turn)) {
            self.restart = Some(self.restart_top);
        }
    }

    fn follow_rise(&mut self, seen: Seen) {
        if let Some(turned) = self.turned(seen) {
            self.judge_rise(seen.torque, turned);
        }
    }

    /// A turn brings its torque up.
    #[inline(never)]
    fn follow_turn(&mut self, seen: Seen) {
        if self.thresholds.turn_rise_after == 0 || self.held_to_rise {
            return;
        }
        let Some(turned) = self.turned(seen) else {
            return;
        };
        let verdict = self
            .turn_rise
            .push(seen.torque, turned.least, &self.thresholds);
        if let Some(rose) = verdict {
            self.held_to_rise = true;
            if !rose {
                self.find(Reason::NoRise);
            }
        }
    }

    /// Between its two figures the fastener's rotation lies, whatever the train's stiffness. Where part of the way went unseen, nothing
    /// can be said.
    #[inline(never)]
    fn turned(&self, seen: Seen) -> Option<Turned> {
        if self.turning.is_lost() {
            return None;
        }
        let compliance = self.turning.compliance();
        let exact = compliance > 0;
        let most = self.turning.now(Some(seen), compliance)?;
        let least = if exact {
            most
        } else {
            let softest = self.thresholds.compliance_most;
            self.turning.now(Some(seen), softest).unwrap_or(most)
        };
        Some(Turned { least, most, exact })
    }

    pub(super) fn judge_rise(&mut self, torque: i32, turned: Turned) {
        let top = if asks_for_the_top(&self.thresholds, turned) {
            self.peak.value()
        } else {
            torque
        };
        let rise = rise(&self.thresholds, torque, top, turned);
        if rise.no_turn {
            self.find(Reason::NoTurn);
        }
        if rise.early {
            if !turned.exact && !self.found.contains(Reason::EarlyRise) {
                let risen = torque.wrapping_sub(self.thresholds.snug);
                self.early = Some((risen, turned.most));
            }
            self.find(Reason::EarlyRise);
        }
        if rise.late {
            self.find(Reason::LateRise);
        }
    }
}

#[cfg(test)]
mod tests;
