//! What the hand does in each period: pull, hold, let go, grip again.
//!
//! Knows nothing of metal: it moves the handle and feels the torque.

use super::{Attempt, Bench, BenchCue, Phase, Task};
use crate::limited::Limited as _;

/// Torque at which fingers stop, as a share of the target, and its bounds, N·m; common practice, no source.
const FINGERS: (f64, f64, f64) = (0.04, 0.05, 1.5);
/// Fingers spin and tools run down at, degrees a second; common practice, no source.
const SPIN_DEG_PER_S: f64 = 360.0;
const RUN_DEG_PER_S: f64 = 120.0;

impl Bench {
    /// Notes a cue and when the hand will have reacted to it.
    pub(super) fn hear(&mut self, attempt: &mut Attempt, cue: BenchCue) {
        match cue {
            BenchCue::None => {}
            BenchCue::Approach => {
                if attempt.slow_at_s.is_none() {
                    attempt.slow_at_s = Some(self.time_s + self.hand.react(&mut self.rng));
                }
            }
            BenchCue::Target | BenchCue::Halt => {
                if attempt.stop_at_s.is_none() {
                    attempt.stop_at_s = Some(self.time_s + self.hand.react(&mut self.rng));
                }
                attempt.halted |= cue == BenchCue::Halt;
            }
        }
    }

    pub(super) fn pull(&mut self, attempt: &mut Attempt, period: f64) {
        let speed = self.speed(attempt, period);
        let before = (attempt.torque_Nm, self.adapter_deg);
        self.turn_to(
            attempt,
            self.adapter_deg + attempt.direction * speed * period,
        );
        let felt = (attempt.torque_Nm - before.0) / (self.adapter_deg - before.1);
        if felt.is_finite() {
            // A hand feels the steepness over some 20 ms; a slip is over before it is felt.
            let weight = (period / 0.02).min(1.0);
            attempt.slope +=
                (felt.limited(0.0, self.model.train_Nm_per_deg) - attempt.slope) * weight;
        }
        if attempt.swing_from_deg.is_none() && attempt.torque_Nm.abs() > 0.05 * self.model.target_Nm
        {
            attempt.swing_from_deg = Some(before.1);
        }
        self.decide(attempt);
    }

    /// How fast the handle goes now, degrees a second.
    fn speed(&mut self, attempt: &mut Attempt, period: f64) -> f64 {
        let hand = self.hand;
        let torque = attempt.torque_Nm.abs();
        let light = torque < 0.05 * self.model.target_Nm;
        let fastest = match attempt.task {
            Task::SeatByHand { .. } => SPIN_DEG_PER_S,
            _ if light => RUN_DEG_PER_S,
            _ => hand.turning_deg_per_s,
        };
        let reference = match attempt.task {
            Task::Tighten { target_Nm } => target_Nm,
            Task::Hold { torque_Nm, .. } => torque_Nm,
            _ => self.model.target_Nm,
        };
        // A lock that sticks and slips while it is run down is no rise to slow down for: the nut is not seated yet.
        let metal = &self.metal[attempt.fastener];
        let jerks_down = metal.grit > 0.0
            && self.states[attempt.fastener].load_N <= 0.0
            && torque <= 1.5 * metal.prevailing_Nm;
        let felt = if light {
            attempt.slope
        } else if jerks_down {
            1e-3
        } else {
            attempt.slope.max(1e-3)
        };
        let mut speed = fastest.min(hand.rise_per_s * reference / felt.max(1e-9));
        // The tremor wanders over about 0.1 s.
        let keep = 1.0 - (period / 0.1).min(1.0);
        let push = (1.0 - keep * keep).sqrt();
        attempt.tremor = keep * attempt.tremor + push * self.rng.normal();
        speed *= (1.0 + hand.tremor * attempt.tremor).max(0.1);
        if hand.bursts_per_s > 0.0 {
            if self.time_s < attempt.burst_until_s {
                speed *= 3.0;
            } else if self.rng.uniform() < hand.bursts_per_s * period {
                attempt.burst_until_s = self.time_s + 0.08;
            }
        }
        // Who makes an angle in several short pulls goes slowly in each: there is no room to slow down in.
        let short =
            self.pulls.is_some_and(|pulls| pulls > 1) && matches!(attempt.task, Task::Turn { .. });
        if short || attempt.slow_at_s.is_some_and(|at| self.time_s >= at) {
            speed *= hand.slow;
        }
        speed
    }

    /// Whether the hand goes on, grips again or lets go.
    fn decide(&mut self, attempt: &mut Attempt) {
        let torque = attempt.torque_Nm.abs();
        let turned = (self.states[attempt.fastener].rotation_deg - attempt.began_rotation_deg)
            * attempt.direction;
        let pulls = self.pulls.unwrap_or(1);
        let more_pulls = attempt.pull + 1 < pulls;
        let share = f64::from(attempt.pull + 1) / f64::from(pulls);
        if attempt.stop_at_s.is_some_and(|at| self.time_s >= at) {
            if let (Task::Hold { seconds, .. }, false) = (attempt.task, attempt.halted) {
                attempt.stop_at_s = None;
                attempt.phase = Phase::Hold;
                attempt.phase_ends_s = self.time_s + seconds;
                return;
            }
            return self.let_go(attempt, false);
        }
        let load = self.states[attempt.fastener].load_N;
        let (share_done, all_done) = match attempt.task {
            Task::SeatByHand { turns: Some(turns) } => (
                false,
                turned >= turns * 360.0 || torque >= self.fingers_Nm(attempt.fastener),
            ),
            Task::SeatByHand { turns: None } => {
                (false, torque >= self.fingers_Nm(attempt.fastener))
            }
            Task::Tighten { target_Nm } => (torque >= share * target_Nm, torque >= 1.3 * target_Nm),
            Task::Turn { degrees } => (turned >= share * degrees, turned >= 1.3 * degrees + 10.0),
            Task::BackOff {
                degrees: Some(degrees),
            } => (turned >= share * degrees, turned >= degrees),
            Task::BackOff { degrees: None } => (false, load <= 0.0 && turned >= 90.0),
            Task::Hold { torque_Nm, .. } => (false, torque >= 1.3 * torque_Nm),
        };
        if let Task::Hold { torque_Nm, seconds } = attempt.task
            && torque >= torque_Nm
        {
            attempt.phase = Phase::Hold;
            attempt.phase_ends_s = self.time_s + seconds;
            return;
        }
        // Nobody turns on for ever or pulls beyond reason.
        let tired = self.time_s > attempt.give_up_s
            || torque > self.too_hard_Nm(attempt)
            || turned > 3600.0 + self.metal[attempt.fastener].run_down_deg;
        let swung = attempt
            .swing_from_deg
            .is_some_and(|from| (self.adapter_deg - from).abs() >= self.model.swing_deg);
        if all_done || tired {
            self.let_go(attempt, false);
        } else if swung || (share_done && more_pulls) {
            self.let_go(attempt, true);
        }
    }

    /// Torque at which a hand gives up, N·m: four times what the work is about (common practice, no source). Who turns to an angle pulls as hard as
    /// the fastener resists, and that ends where it gives way.
    fn too_hard_Nm(&self, attempt: &Attempt) -> f64 {
        let most = 4.0 * self.model.target_Nm;
        let state = &self.states[attempt.fastener];
        match attempt.task {
            Task::Turn { .. } => {
                let metal = &self.metal[attempt.fastener];
                most.max(1.1 * metal.starting_Nm(metal.peak_N, state.rotation_deg))
            }
            _ => most,
        }
    }

    /// Torque at which fingers stop, N·m; a locking nut is spun on with a tool, just past its drag.
    fn fingers_Nm(&self, fastener: usize) -> f64 {
        let (share, low, high) = FINGERS;
        let metal = &self.metal[fastener];
        (share * self.model.target_Nm).limited(low, high) + 1.15 * metal.prevailing_Nm
    }

    fn let_go(&self, attempt: &mut Attempt, again: bool) {
        attempt.phase = Phase::Release { again };
        // Down to nothing in about a quarter of a second.
        attempt.release_per_s =
            (attempt.torque_Nm.abs() / self.model.train_Nm_per_deg / 0.25).max(2.0);
    }

    /// Holds the torque: the handle stands, the hand trembles.
    pub(super) fn hold(&mut self, attempt: &mut Attempt, period: f64) {
        let keep = 1.0 - (period / 0.1).min(1.0);
        attempt.tremor = keep * attempt.tremor + (1.0 - keep * keep).sqrt() * self.rng.normal();
        if let Task::Hold { torque_Nm, .. } = attempt.task {
            let wanted = torque_Nm * (1.0 - 0.01 + 0.01 * self.hand.tremor * attempt.tremor);
            let step = (wanted - attempt.torque_Nm) / self.model.train_Nm_per_deg
                * (period / 0.1).min(1.0);
            self.turn_to(attempt, self.adapter_deg + step);
        }
        let halted = attempt.stop_at_s.is_some_and(|at| self.time_s >= at) && attempt.halted;
        if self.time_s >= attempt.phase_ends_s || halted {
            self.let_go(attempt, false);
        }
    }

    pub(super) fn release(&mut self, attempt: &mut Attempt, again: bool, period: f64) {
        let back = attempt.release_per_s * period;
        let wound = attempt.torque_Nm.abs() / self.model.train_Nm_per_deg;
        self.turn_to(
            attempt,
            self.adapter_deg - attempt.direction * back.min(wound),
        );
        if attempt.torque_Nm.abs() < 1e-6 * self.model.target_Nm.max(1.0) {
            attempt.torque_Nm = 0.0;
            attempt.moving = false;
            if again {
                let swing = attempt
                    .swing_from_deg
                    .map_or(0.0, |from| self.adapter_deg - from);
                attempt.phase = Phase::Regrip;
                attempt.regrip_began_s = self.time_s;
                attempt.phase_ends_s = self.time_s
                    + self
                        .rng
                        .about(self.hand.regrip_s, 0.15 * self.hand.regrip_s);
                attempt.regrip_from_deg = self.adapter_deg;
                attempt.regrip_to_deg = if self.model.adapter_swings_back {
                    self.adapter_deg - swing
                } else {
                    self.adapter_deg
                };
            } else {
                attempt.phase = Phase::Tail;
                attempt.phase_ends_s = self.time_s + 0.2;
            }
        }
    }

    /// The handle swings back and takes hold again; ratchet teeth cost some motion.
    pub(super) fn regrip(&mut self, attempt: &mut Attempt) {
        let whole = attempt.phase_ends_s - attempt.regrip_began_s;
        // Back in the first 70 % of the time, smoothly.
        let share = ((self.time_s - attempt.regrip_began_s) / (0.7 * whole)).limited(0.0, 1.0);
        let eased = share * share * (3.0 - 2.0 * share);
        self.adapter_deg =
            attempt.regrip_from_deg + (attempt.regrip_to_deg - attempt.regrip_from_deg) * eased;
        // The pawl drags a little against the turning.
        let dragging = self.model.adapter_swings_back && share > 0.0 && share < 1.0;
        attempt.torque_Nm = if dragging {
            -attempt.direction * 0.002 * self.model.target_Nm
        } else {
            0.0
        };
        if self.time_s >= attempt.phase_ends_s {
            let lost = if self.model.adapter_swings_back {
                self.rng.uniform() * 360.0 / f64::from(self.model.ratchet_teeth.max(1))
            } else {
                0.0
            };
            attempt.torque_Nm = 0.0;
            attempt.slack_deg = self.adapter_deg + attempt.direction * lost
                - self.states[attempt.fastener].rotation_deg;
            attempt.swing_from_deg = None;
            attempt.slope = 0.0;
            attempt.pull += 1;
            attempt.phase = Phase::Pull;
        }
    }
}
