//! One reading after another: what is made of each, and of the few since the last look.
//!
//! Knows nothing of what a curve should look like.

use super::goal::Kind;
use super::loading::Reversed;
use super::{Cue, RunsDown, Seen, Signal, Tracker};
use crate::sample::Sample;
use crate::unit::{Instant, Rotation, Torque};
use crate::verdict::Reason;

impl Tracker {
    /// Takes one reading without rotation: what the fastener turns is not known, and is held to nothing.
    pub(crate) fn feed_alone(&mut self, at: Instant, torque: Torque) -> Signal {
        self.is_alone = true;
        self.turning.lose();
        let rotation = Rotation::ZERO;
        self.feed(at, Sample { torque, rotation })
    }

    /// Takes one sample.
    pub fn feed(&mut self, at: Instant, sample: Sample) -> Signal {
        if matches!(self.goal.kind, Kind::Idle) {
            return Signal::default();
        }
        let seen = self.seen(at, sample);
        let follows = match self.time_passed(at) {
            Ok(follows) => follows,
            Err(Reversed) => return self.signal(at, false),
        };
        let sure = self.peak.push(seen.torque, self.loaded, &self.thresholds);
        if !self.loaded {
            self.thresholds.widen(self.peak.noise());
        }
        let runs = self.measures_running && self.began_at.is_none();
        let had_begun = self.began_at.is_some();
        let mut running = None;
        if runs {
            running = self.runs(seen);
        }
        let was_loaded = self.loaded;
        let past = seen.torque >= self.thresholds.regrip;
        if past == self.loaded {
            self.turning_over = false;
        } else {
            if self.load(follows, seen) {
                self.trace.clear(self.thresholds.target);
            }
            if runs && was_loaded && !self.loaded {
                running = running.or(self.keep_running(self.thresholds.level.band));
            }
        }
        let spike = if follows {
            self.shape.ripple(&self.last, seen);
            self.last.torque.wrapping_sub(sure)
        } else {
            self.looked = false;
            self.together.begin(seen);
            0
        };
        if self.loaded {
            self.watch(follows, seen, sure);
        }
        self.last = seen;
        self.has_last = true;
        let mut ended = false;
        if self.together.push(seen, spike) {
            self.look();
            // Nothing ends under load.
            ended = !self.loaded && self.ends(at);
        }
        let began = !had_begun && self.began_at.is_some();
        if began && self.measures_running {
            running = self
                .keep_running(self.thresholds.level.band >> 1)
                .or(running);
        }
        Signal {
            running: running.map(Torque::from_millinewton_meters),
            cue: self.cue,
            halt: self.halt,
            began,
            ended,
        }
    }

    /// Looks at the readings since the last look, taken as one.
    #[inline(never)]
    pub(super) fn look(&mut self) {
        let before = self.looked.then_some(self.together.seen);
        if !self.together.take(self.last) {
            return;
        }
        self.looked = true;
        let seen = self.together.seen;
        if before.is_some() {
            self.space(self.at.since(self.looked_at).micros());
        }
        if self.began_at.is_some() || self.loaded && self.runs_down != RunsDown::Only {
            let (torque, rotation) = (self.sense(seen.torque), self.sense(seen.rotation));
            self.trace.push(self.at, torque, rotation);
            if self.reverse {
                self.travel.push(seen);
            }
        }
        if self.loaded {
            self.pulled(before, seen);
        } else {
            self.cue = Cue::None;
            self.trace.sum_up();
            self.went_on(seen);
            self.drift.rest(seen);
            self.against(before, seen);
        }
        self.looked_at = self.at;
    }

    /// A sample of a run-down. What a stroke showed is kept when it ends, if it is news: the power may fail before the next.
    #[inline(never)]
    fn runs(&mut self, seen: Seen) -> Option<i32> {
        let ended = self.running.push(seen, self.thresholds.level);
        if let Some(torque) = self.running.torque() {
            self.run_at(torque);
        }
        if ended {
            self.keep_running(self.thresholds.level.band)
        } else {
            None
        }
    }

    /// The running torque to be put on record: one that was seen, and lies further than this from the one that is. The record
    /// is what counts from then on.
    fn keep_running(&mut self, further: i32) -> Option<i32> {
        let seen = self.running.torque()?;
        match self.running_kept {
            Some(kept) if seen.wrapping_sub(kept).wrapping_abs() <= further => {
                self.run_at(kept);
                None
            }
            _ => {
                self.running_kept = Some(seen);
                self.run_at(seen);
                Some(seen)
            }
        }
    }

    /// Puts the running torque into all that counts on top of it.
    fn run_at(&mut self, torque: i32) {
        let by = torque.wrapping_sub(self.thresholds.running);
        if by == 0 {
            return;
        }
        self.thresholds.raise(by);
        self.goal = self.goal.raised(by);
        self.aim = self
            .aim
            .map(|aim| aim.raised(Torque::from_millinewton_meters(by)));
    }

    /// The running torque should be known and is not yet.
    pub(super) const fn wants_running(&self) -> bool {
        self.measures_running && self.thresholds.running == 0
    }

    fn seen(&self, at: Instant, sample: Sample) -> Seen {
        let (torque, rotation) = (
            sample.torque.millinewton_meters(),
            sample.rotation.millidegrees(),
        );
        Seen {
            ticks: u32::try_from(at.micros() >> 10 & u64::from(u32::MAX)).unwrap_or(0),
            torque: self.sense(torque),
            rotation: self.sense(rotation),
        }
    }

    /// In the sense of the stage, and back.
    const fn sense(&self, value: i32) -> i32 {
        if self.reverse {
            value.wrapping_neg()
        } else {
            value
        }
    }

    /// Loaded against the stage's direction.
    fn against(&mut self, before: Option<Seen>, seen: Seen) {
        if self.began_at.is_some() && seen.torque < self.thresholds.wrong.wrapping_neg() {
            let again =
                before.is_some_and(|last| last.torque < self.thresholds.wrong.wrapping_neg());
            if again {
                self.find(Reason::WrongWay);
            }
        }
    }
}

#[cfg(test)]
mod tests;
