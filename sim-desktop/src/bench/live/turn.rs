//! What the metal does: the train winds, the fastener turns or stands, the joint answers, the parts settle.
//!
//! Knows nothing of hands.

use super::super::FastenerState;
use super::{Attempt, Bench};
use crate::limited::Limited as _;

impl Bench {
    /// Moves the adapter to an angle; the train winds, the fastener follows when it must.
    pub(super) fn turn_to(&mut self, attempt: &mut Attempt, adapter_deg: f64) {
        let stiffness = self.model.train_Nm_per_deg;
        let i = attempt.fastener;
        let old_torque = attempt.torque_Nm;
        let turned_deg = adapter_deg - self.adapter_deg;
        self.adapter_deg = adapter_deg;
        let reached = adapter_deg - attempt.slack_deg;
        let before = self.states[i];
        let trial = stiffness * (reached - before.rotation_deg);
        let driven = trial * attempt.direction > 0.0;
        let metal = &self.metal[i];
        let mut torque = if driven { trial } else { 0.0 };
        let up = if attempt.moving {
            metal.tightening_Nm(before.load_N, before.rotation_deg)
        } else {
            metal.starting_Nm(before.load_N, before.rotation_deg)
        };
        let down = metal.loosening_Nm(before.load_N, before.rotation_deg)
            * if attempt.moving {
                1.0
            } else {
                metal.static_ratio
            };
        if before.failed {
            torque = 0.0;
            self.states[i].rotation_deg = if driven { reached } else { before.rotation_deg };
        } else if driven && trial > up {
            let after = self.slip(attempt, reached, 1.0 - metal.grit);
            torque = stiffness * (reached - after.rotation_deg);
            attempt.moving = self.metal[i].grit == 0.0;
            self.follow(attempt, before, after);
        } else if trial < -down && (driven || down < 0.0) {
            let after = self.slip_back(attempt, reached);
            torque = stiffness * (reached - after.rotation_deg);
            attempt.moving = true;
            self.follow(attempt, before, after);
        } else {
            attempt.moving = false;
        }
        attempt.torque_Nm = torque;
        self.energy.hand_J += f64::midpoint(old_torque, torque) * turned_deg.to_radians();
    }

    /// Rotation at which a load stands, degrees, for a permanent stretch.
    fn rotation_at(&self, attempt: &Attempt, load_N: f64, plastic_mm: f64) -> f64 {
        let i = attempt.fastener;
        let toe = if self.metal[i].clamps {
            self.model.interaction.springs[i].toe(load_N)
        } else {
            0.0
        };
        let advance = self.states[i].embedding_mm
            + plastic_mm
            + toe
            + attempt.give_mm_per_N * load_N
            + attempt.others_mm;
        self.metal[i].run_down_deg + advance * 360.0 / self.metal[i].pitch_mm
    }

    /// The fastener turns on until its resistance (times `share`) meets the train: the state it comes to rest in.
    fn slip(&self, attempt: &Attempt, reached: f64, share: f64) -> FastenerState {
        let i = attempt.fastener;
        let metal = &self.metal[i];
        let stiffness = self.model.train_Nm_per_deg;
        let mut state = self.states[i];
        if state.failing {
            return self.give_way(attempt, reached, state);
        }
        // Without load: the locking feature alone resists.
        let free = (stiffness * reached - share * metal.prevailing_Nm)
            / (stiffness + share * metal.cutting_Nm_per_deg);
        if free <= self.rotation_at(attempt, 0.0, state.plastic_mm) {
            state.rotation_deg = free.max(state.rotation_deg);
            state.load_N = 0.0;
            return state;
        }
        let per_mm = 360.0 / metal.pitch_mm;
        let lever = (metal.lift_mm + metal.drag_mm) / 1000.0;
        let mut load = state.load_N;
        for _ in 0..30 {
            let fresh = metal.plastic_at(load);
            let yielding = fresh > state.plastic_mm;
            let plastic = if yielding { fresh } else { state.plastic_mm };
            let rotation = self.rotation_at(attempt, load, plastic);
            let slope_mm = attempt.give_mm_per_N
                + if metal.clamps {
                    self.model.interaction.springs[i].toe_slope(load)
                } else {
                    0.0
                }
                + if yielding {
                    metal.exponent * fresh / load
                } else {
                    0.0
                };
            let rest = stiffness * (reached - rotation)
                - share * (lever * load + metal.other_Nm(rotation));
            let steep =
                (stiffness + share * metal.cutting_Nm_per_deg) * per_mm * slope_mm + share * lever;
            let step = rest / steep;
            load = (load + step).limited(0.0, metal.peak_N * 1.02);
            if step.abs() < 1e-7 * metal.peak_N {
                break;
            }
        }
        state.plastic_mm = state.plastic_mm.max(metal.plastic_at(load));
        if load >= metal.peak_N {
            state.failing = true;
            state.load_N = metal.peak_N;
            state.plastic_mm = state.plastic_mm.max(metal.plastic_at_peak_mm());
            return self.give_way(attempt, reached, state);
        }
        state.load_N = load;
        state.rotation_deg = self
            .rotation_at(attempt, load, state.plastic_mm)
            .max(self.states[i].rotation_deg);
        state
    }

    /// Past its greatest load: stretches on in small steps until the falling resistance meets the train, or parts.
    fn give_way(&self, attempt: &Attempt, reached: f64, mut state: FastenerState) -> FastenerState {
        let metal = &self.metal[attempt.fastener];
        let stiffness = self.model.train_Nm_per_deg;
        let step = metal.fall_mm / 400.0;
        for _ in 0..4000 {
            let load = metal.falling_N(state.plastic_mm);
            let rotation = self.rotation_at(attempt, load, state.plastic_mm);
            state.load_N = load;
            if load <= metal.parts_at * metal.peak_N {
                state.failed = true;
                state.load_N = 0.0;
                state.rotation_deg = reached.max(state.rotation_deg);
                return state;
            }
            if rotation >= state.rotation_deg {
                state.rotation_deg = rotation;
                if stiffness * (reached - rotation) <= metal.tightening_Nm(load, rotation) {
                    return state;
                }
            }
            state.plastic_mm += step;
        }
        state.rotation_deg = reached.max(state.rotation_deg);
        state
    }

    /// The fastener turns back until its resistance meets the train.
    fn slip_back(&self, attempt: &Attempt, reached: f64) -> FastenerState {
        let i = attempt.fastener;
        let metal = &self.metal[i];
        let stiffness = self.model.train_Nm_per_deg;
        let mut state = self.states[i];
        let per_mm = 360.0 / metal.pitch_mm;
        let lever = (metal.drag_mm - metal.lift_mm) / 1000.0;
        let mut load = state.load_N;
        for _ in 0..30 {
            let rotation = self.rotation_at(attempt, load, state.plastic_mm);
            let slope_mm = attempt.give_mm_per_N
                + if metal.clamps {
                    self.model.interaction.springs[i].toe_slope(load)
                } else {
                    0.0
                };
            let rest = stiffness * (reached - rotation) + lever * load + metal.other_Nm(rotation);
            let steep = stiffness * per_mm * slope_mm - lever;
            let step = rest / steep;
            load = (load + step).limited(0.0, state.load_N);
            if step.abs() < 1e-7 * metal.peak_N || load <= 0.0 {
                break;
            }
        }
        state.load_N = load;
        let contact = self.rotation_at(attempt, load, state.plastic_mm);
        state.rotation_deg = if load > 0.0 {
            contact
        } else {
            (reached + metal.other_Nm(state.rotation_deg) / stiffness).min(contact)
        }
        .min(state.rotation_deg);
        state
    }

    /// Takes over a new state of the turned fastener, passes its change of load to the others, and books the work.
    fn follow(&mut self, attempt: &mut Attempt, before: FastenerState, after: FastenerState) {
        let i = attempt.fastener;
        let metal = &self.metal[i];
        let mean_N = f64::midpoint(before.load_N, after.load_N);
        let turned = (after.rotation_deg - before.rotation_deg).to_radians();
        self.energy.lift_J += metal.lift_mm * mean_N / 1000.0 * turned;
        self.energy.friction_J +=
            (metal.drag_mm * mean_N / 1000.0 + metal.other_Nm(after.rotation_deg)) * turned.abs();
        self.energy.plastic_J += mean_N * (after.plastic_mm - before.plastic_mm) / 1000.0;
        self.states[i] = after;
        if metal.clamps {
            let change = after.load_N - before.load_N;
            for (j, (load, share)) in self.loads_N.iter_mut().zip(&attempt.influence).enumerate() {
                if j == i {
                    *load = after.load_N;
                } else if *share != 0.0 {
                    *load = (*load + share * change).max(0.0);
                    self.states[j].load_N = *load;
                }
            }
        }
    }

    /// All fasteners come to rest together.
    pub(super) fn settle(&mut self) {
        let advances: Vec<f64> = self
            .states
            .iter()
            .zip(&self.metal)
            .map(|(state, metal)| {
                if metal.clamps && !state.failed {
                    metal.pitch_mm / 360.0 * (state.rotation_deg - metal.run_down_deg)
                        - state.embedding_mm
                        - state.plastic_mm
                } else {
                    -1.0
                }
            })
            .collect();
        self.model.interaction.settle(&advances, &mut self.loads_N);
        for ((state, metal), load) in self.states.iter_mut().zip(&self.metal).zip(&self.loads_N) {
            if metal.clamps {
                state.load_N = *load;
            }
        }
    }

    /// The interface settles under load for a while. It never comes back: gaskets hold their set.
    pub(super) fn creep(&mut self, seconds: f64) {
        let creep = self.model.creep;
        let gives = creep.ratio > 0.0 || self.metal.iter().any(|metal| metal.embeds_mm > 0.0);
        if !gives || self.loads_N.iter().all(|load| *load <= 0.0) {
            return;
        }
        // Each step short against the creep's own time; long waits reach the end anyway.
        let mut left = seconds.min(20.0 * creep.time_s);
        while left > 0.0 {
            let step = left.min(creep.time_s / 3.0);
            left -= step;
            let share = -(-step / creep.time_s).exp_m1();
            let pressed = self.model.interaction.parts.times(&self.loads_N);
            for (i, (state, pressed)) in self.states.iter_mut().zip(&pressed).enumerate() {
                let missing = creep.ratio * pressed - (state.embedding_mm - state.embedded_mm);
                let embedding =
                    self.metal[i].embedding_mm(self.loads_N[i], state.embedded_mm, step);
                state.embedded_mm += embedding;
                state.embedding_mm += missing.max(0.0) * share + embedding;
            }
            self.settle();
        }
    }
}
