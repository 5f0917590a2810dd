//! The bench in time: a hand pulls, the train winds up, the fastener turns, the joint answers, the adapter measures.
//!
//! Knows nothing of procedures or verdicts; it takes cues and gives samples.

use super::adapter::Sensor;
use super::matrix::dot;
use super::{
    BenchSample, Chance, FastenerModel, FastenerState, Fault, Hand, HandKind, JointModel, Spring,
};

/// What the hand sets out to do with one fastener.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Task {
    /// Spin it down with the fingers until it resists, or for a number of turns if one is given.
    SeatByHand {
        /// Turns; none until it resists.
        turns: Option<f64>,
    },
    /// Pull until the cue at a torque.
    Tighten {
        /// N·m.
        target_Nm: f64,
    },
    /// Turn on until the cue at an angle of the fastener.
    Turn {
        /// Degrees.
        degrees: f64,
    },
    /// Turn back by an angle, or until it is free.
    BackOff {
        /// Degrees; none until free.
        degrees: Option<f64>,
    },
    /// Pull up to a torque and hold it, without turning further.
    Hold {
        /// N·m.
        torque_Nm: f64,
        /// Seconds.
        seconds: f64,
    },
}

/// What the adapter tells the hand. The hand reacts after its reaction time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum BenchCue {
    /// Nothing: go on.
    #[default]
    None,
    /// The target is near: slow down.
    Approach,
    /// The target is there: let go.
    Target,
    /// Stop pulling.
    Halt,
}

/// Where the work of the hand went, J, since the bench was set up.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Energy {
    /// Put in by the hand at the adapter.
    pub hand_J: f64,
    /// Lost to friction in thread, face and locking feature.
    pub friction_J: f64,
    /// Spent on lifting: stretching bolts and pressing parts.
    pub lift_J: f64,
    /// Part of the lifting that stretched metal for good.
    pub plastic_J: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Reach,
    Pull,
    Hold,
    Release { again: bool },
    Regrip,
    Tail,
}

/// One attempt in progress.
#[derive(Debug, Clone)]
struct Attempt {
    fastener: usize,
    task: Task,
    /// +1 tightening, −1 loosening.
    direction: f64,
    phase: Phase,
    phase_ends_s: f64,
    pull: u32,
    began_rotation_deg: f64,
    /// Adapter angle minus fastener angle at which the train is just slack, degrees.
    slack_deg: f64,
    torque_Nm: f64,
    moving: bool,
    /// Adapter angle at which this pull's swing began, once loaded.
    swing_from_deg: Option<f64>,
    /// Steepness of torque over adapter angle as the hand feels it, N·m a degree.
    slope: f64,
    slow_at_s: Option<f64>,
    stop_at_s: Option<f64>,
    halted: bool,
    burst_until_s: f64,
    tremor: f64,
    give_up_s: f64,
    release_per_s: f64,
    regrip_from_deg: f64,
    regrip_to_deg: f64,
    regrip_began_s: f64,
    /// What a newton in this fastener does to the others.
    influence: Vec<f64>,
    /// Give of fastener, cone and parts with the others answering, mm/N.
    give_mm_per_N: f64,
    /// Press of the others at zero load here, mm.
    others_mm: f64,
}

/// A joint on the bench, a hand at it.
///
/// # Examples
/// ```
/// use evendraw::bench::{Bench, BenchCue, HandKind, JointModel, JointSketch, Task};
/// let model = JointModel::from_sketch(&JointSketch::circle(4, 90.0, 40.0)).unwrap();
/// let mut bench = Bench::new(model, 1, HandKind::Steady, &[]);
/// bench.begin(0, Task::Tighten { target_Nm: 40.0 });
/// let (mut cue, mut peak) = (BenchCue::None, 0.0_f64);
/// while let Some(sample) = bench.sample(cue) {
///     peak = peak.max(sample.torque_Nm);
///     cue = if peak >= 40.0 { BenchCue::Target } else if peak >= 32.0 { BenchCue::Approach } else { BenchCue::None };
/// }
/// assert!((38.0..44.0).contains(&peak), "{peak}");
/// assert!(bench.clamp_kN(0) > 10.0);
/// ```
#[derive(Debug, Clone)]
pub struct Bench {
    model: JointModel,
    hand: Hand,
    metal: Vec<FastenerModel>,
    states: Vec<FastenerState>,
    /// Loads as the joint feels them, N: those of fasteners that clamp.
    loads_N: Vec<f64>,
    sensor: Sensor,
    chance: Chance,
    parts: Chance,
    time_s: f64,
    adapter_deg: f64,
    attempt: Option<Attempt>,
    energy: Energy,
    pulls: Option<u32>,
    faults: Vec<(usize, Fault)>,
    /// Fasteners and springs as the joint asks for them, before faults.
    asked: (Vec<FastenerModel>, Vec<Spring>),
}

/// Torque at which fingers stop, as a share of the target, and its bounds, N·m; common practice, no source.
const FINGERS: (f64, f64, f64) = (0.04, 0.05, 1.5);
/// Fingers spin and tools run down at, degrees a second; common practice, no source.
const SPIN_DEG_PER_S: f64 = 360.0;
const RUN_DEG_PER_S: f64 = 120.0;

impl Bench {
    /// Sets a joint up. Each fastener's friction, run-down and locking torque are drawn from the seed.
    #[must_use]
    pub fn new(
        mut model: JointModel,
        seed: u64,
        hand: HandKind,
        faults: &[(usize, Fault)],
    ) -> Self {
        let asked = (model.fasteners.clone(), model.interaction.springs.clone());
        for &(fastener, fault) in faults {
            model.spoil(fastener, fault);
        }
        let mut parts = Chance::new(seed, 3);
        let metal: Vec<FastenerModel> = model
            .fasteners
            .iter()
            .map(|metal| drawn(metal, model.friction_scatter, &mut parts))
            .collect();
        let count = metal.len();
        let mut bench = Self {
            sensor: Sensor::new(model.adapter, Chance::new(seed, 2)),
            hand: Hand::of(hand),
            metal,
            states: vec![FastenerState::default(); count],
            loads_N: vec![0.0; count],
            chance: Chance::new(seed, 1),
            parts,
            time_s: 0.0,
            adapter_deg: 0.0,
            attempt: None,
            energy: Energy::default(),
            pulls: None,
            faults: faults.to_vec(),
            asked,
            model,
        };
        bench.tighten_the_tight();
        bench
    }

    /// Fasteners that start out tight are turned to where their load needs them.
    fn tighten_the_tight(&mut self) {
        for (i, metal) in self.metal.iter().enumerate() {
            if metal.tight_N > 0.0 {
                self.states[i].load_N = metal.tight_N;
                self.loads_N[i] = metal.tight_N;
            }
        }
        let pressed = self.model.interaction.parts.times(&self.loads_N);
        for (i, metal) in self.metal.iter().enumerate() {
            if metal.tight_N > 0.0 {
                let spring = self.model.interaction.springs[i];
                let advance = spring.compliance_mm_per_N * metal.tight_N
                    + spring.toe(metal.tight_N)
                    + pressed[i];
                self.states[i].rotation_deg = metal.run_down_deg + advance * 360.0 / metal.pitch_mm;
            }
        }
    }

    /// Makes every torque or angle in this many pulls.
    pub fn force_pulls(&mut self, pulls: u32) {
        self.pulls = Some(pulls.max(1));
    }

    /// Another hand takes over.
    pub fn change_hand(&mut self, hand: HandKind) {
        self.hand = Hand::of(hand);
    }

    /// The joint as set up.
    #[must_use]
    pub fn model(&self) -> &JointModel {
        &self.model
    }

    /// Seconds since the bench was set up.
    #[must_use]
    pub fn elapsed_s(&self) -> f64 {
        self.time_s
    }

    /// True rotation of a fastener from the start of its thread, degrees. Fasteners the joint has not give 0.
    #[must_use]
    pub fn rotation_deg(&self, fastener: usize) -> f64 {
        self.states
            .get(fastener)
            .map_or(0.0, |state| state.rotation_deg)
    }

    /// True clamp load of a fastener, kN. A screw standing on the bottom of its hole clamps nothing.
    #[must_use]
    pub fn clamp_kN(&self, fastener: usize) -> f64 {
        self.loads_N.get(fastener).map_or(0.0, |load| load / 1000.0)
    }

    /// True clamp loads of all, kN, in the order of the labels.
    #[must_use]
    pub fn clamps_kN(&self) -> Vec<f64> {
        self.loads_N.iter().map(|load| load / 1000.0).collect()
    }

    /// Where a fastener stands.
    #[must_use]
    pub fn state(&self, fastener: usize) -> Option<FastenerState> {
        self.states.get(fastener).copied()
    }

    /// Where the work went.
    #[must_use]
    pub fn energy(&self) -> Energy {
        self.energy
    }

    /// Energy stored in all fasteners and parts, J.
    #[must_use]
    pub fn stored_J(&self) -> f64 {
        self.model.interaction.energy_J(&self.loads_N)
    }

    /// True torque in the train now, N·m.
    #[must_use]
    pub fn torque_Nm(&self) -> f64 {
        self.attempt
            .as_ref()
            .map_or(0.0, |attempt| attempt.torque_Nm)
    }

    /// Time passes with nobody at the joint: interfaces settle.
    pub fn idle(&mut self, seconds: f64) {
        if !(seconds.is_finite() && seconds > 0.0) {
            return;
        }
        self.time_s += seconds;
        self.sensor.pass(seconds);
        self.creep(seconds);
    }

    /// The old fastener out, a new sound one in.
    pub fn replace(&mut self, fastener: usize) {
        self.attempt = None;
        let Some(state) = self.states.get_mut(fastener) else {
            return;
        };
        *state = FastenerState::default();
        self.loads_N[fastener] = 0.0;
        // A new fastener is one of the sort the joint asks for; what is wrong with the hole or the parts stays.
        self.faults
            .retain(|&(at, fault)| at != fastener || fault.in_the_parts());
        self.model.fasteners[fastener] = self.asked.0[fastener].clone();
        self.model.interaction.springs[fastener] = self.asked.1[fastener];
        for &(at, fault) in &self.faults {
            if at == fastener {
                self.model.spoil(at, fault);
            }
        }
        self.metal[fastener] = drawn(
            &self.model.fasteners[fastener],
            self.model.friction_scatter,
            &mut self.parts,
        );
        self.idle(20.0);
        self.settle();
    }

    /// The hand moves to a fastener and sets out. An attempt still running is dropped. A fastener the joint has not gives no samples.
    pub fn begin(&mut self, fastener: usize, task: Task) {
        self.attempt = None;
        self.settle();
        let move_s = self.chance.about(self.hand.move_s, 0.15 * self.hand.move_s);
        self.idle(move_s);
        let Some(state) = self.states.get(fastener) else {
            return;
        };
        let began_rotation_deg = state.rotation_deg;
        let direction = if matches!(task, Task::BackOff { .. }) {
            -1.0
        } else {
            1.0
        };
        let lost = self.chance.uniform() * 360.0 / f64::from(self.model.ratchet_teeth.max(1));
        let (influence, give_mm_per_N, others_mm) = self.answer(fastener);
        self.attempt = Some(Attempt {
            fastener,
            task,
            direction,
            phase: Phase::Reach,
            phase_ends_s: self.time_s + 0.25,
            pull: 0,
            began_rotation_deg,
            slack_deg: self.adapter_deg + direction * lost - began_rotation_deg,
            torque_Nm: 0.0,
            moving: false,
            swing_from_deg: None,
            slope: 0.0,
            slow_at_s: None,
            stop_at_s: None,
            halted: false,
            burst_until_s: 0.0,
            tremor: 0.0,
            give_up_s: self.time_s + 90.0,
            release_per_s: 0.0,
            regrip_from_deg: 0.0,
            regrip_to_deg: 0.0,
            regrip_began_s: 0.0,
            influence,
            give_mm_per_N,
            others_mm,
        });
    }

    /// How the joint answers to one fastener while the others stay in contact: influence, give, press of the others.
    fn answer(&self, fastener: usize) -> (Vec<f64>, f64, f64) {
        let interaction = &self.model.interaction;
        let spring = interaction.springs[fastener];
        if !self.metal[fastener].clamps {
            let mut alone = vec![0.0; self.metal.len()];
            alone[fastener] = 1.0;
            return (alone, spring.compliance_mm_per_N, 0.0);
        }
        let influence = interaction.influence(fastener, &self.loads_N);
        let row = interaction.parts.row(fastener);
        let answered = dot(row, &influence);
        let pressed = dot(row, &self.loads_N);
        (
            influence,
            spring.compliance_mm_per_N + answered,
            pressed - answered * self.loads_N[fastener],
        )
    }

    /// One sampling period: the hand acts on the cue, the metal follows, the adapter measures. None once the hand has let go for good; the
    /// joint has then come to rest.
    pub fn sample(&mut self, cue: BenchCue) -> Option<BenchSample> {
        let mut attempt = self.attempt.take()?;
        let period = self.sensor.period_s();
        self.time_s += period;
        self.hear(&mut attempt, cue);
        match attempt.phase {
            Phase::Reach => {
                if self.time_s >= attempt.phase_ends_s {
                    attempt.phase = Phase::Pull;
                }
            }
            Phase::Pull => self.pull(&mut attempt, period),
            Phase::Hold => self.hold(&mut attempt, period),
            Phase::Release { again } => self.release(&mut attempt, again, period),
            Phase::Regrip => self.regrip(&mut attempt),
            Phase::Tail => {
                if self.time_s >= attempt.phase_ends_s {
                    self.settle();
                    return None;
                }
            }
        }
        let measured = self
            .sensor
            .measure(self.time_s, attempt.torque_Nm, self.adapter_deg);
        self.attempt = Some(attempt);
        Some(measured)
    }

    /// Notes a cue and when the hand will have reacted to it.
    fn hear(&mut self, attempt: &mut Attempt, cue: BenchCue) {
        match cue {
            BenchCue::None => {}
            BenchCue::Approach => {
                if attempt.slow_at_s.is_none() {
                    attempt.slow_at_s = Some(self.time_s + self.hand.react(&mut self.chance));
                }
            }
            BenchCue::Target | BenchCue::Halt => {
                if attempt.stop_at_s.is_none() {
                    attempt.stop_at_s = Some(self.time_s + self.hand.react(&mut self.chance));
                }
                attempt.halted |= cue == BenchCue::Halt;
            }
        }
    }

    fn pull(&mut self, attempt: &mut Attempt, period: f64) {
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
                (felt.clamp(0.0, self.model.train_Nm_per_deg) - attempt.slope) * weight;
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
        let felt = if light {
            attempt.slope
        } else {
            attempt.slope.max(1e-3)
        };
        let mut speed = fastest.min(hand.rise_per_s * reference / felt.max(1e-9));
        // The tremor wanders over about 0.1 s.
        let keep = 1.0 - (period / 0.1).min(1.0);
        let push = (1.0 - keep * keep).sqrt();
        attempt.tremor = keep * attempt.tremor + push * self.chance.normal();
        speed *= (1.0 + hand.tremor * attempt.tremor).max(0.1);
        if hand.bursts_per_s > 0.0 {
            if self.time_s < attempt.burst_until_s {
                speed *= 3.0;
            } else if self.chance.uniform() < hand.bursts_per_s * period {
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
            || torque > 4.0 * self.model.target_Nm
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

    /// Torque at which fingers stop, N·m; a locking nut is spun on with a tool, just past its drag.
    fn fingers_Nm(&self, fastener: usize) -> f64 {
        let (share, low, high) = FINGERS;
        let metal = &self.metal[fastener];
        (share * self.model.target_Nm).clamp(low, high) + 1.15 * metal.prevailing_Nm
    }

    fn let_go(&self, attempt: &mut Attempt, again: bool) {
        attempt.phase = Phase::Release { again };
        // Down to nothing in about a quarter of a second.
        attempt.release_per_s =
            (attempt.torque_Nm.abs() / self.model.train_Nm_per_deg / 0.25).max(2.0);
    }

    /// Holds the torque: the handle stands, the hand trembles.
    fn hold(&mut self, attempt: &mut Attempt, period: f64) {
        let keep = 1.0 - (period / 0.1).min(1.0);
        attempt.tremor = keep * attempt.tremor + (1.0 - keep * keep).sqrt() * self.chance.normal();
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

    fn release(&mut self, attempt: &mut Attempt, again: bool, period: f64) {
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
                        .chance
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
    fn regrip(&mut self, attempt: &mut Attempt) {
        let whole = attempt.phase_ends_s - attempt.regrip_began_s;
        // Back in the first 70 % of the time, smoothly.
        let share = ((self.time_s - attempt.regrip_began_s) / (0.7 * whole)).clamp(0.0, 1.0);
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
                self.chance.uniform() * 360.0 / f64::from(self.model.ratchet_teeth.max(1))
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

    /// Moves the adapter to an angle; the train winds, the fastener follows when it must.
    fn turn_to(&mut self, attempt: &mut Attempt, adapter_deg: f64) {
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
        let advance = self.states[i].set_mm
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
            load = (load + step).clamp(0.0, metal.peak_N * 1.02);
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
            load = (load + step).clamp(0.0, state.load_N);
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
    fn settle(&mut self) {
        let advances: Vec<f64> = self
            .states
            .iter()
            .zip(&self.metal)
            .map(|(state, metal)| {
                if metal.clamps && !state.failed {
                    metal.pitch_mm / 360.0 * (state.rotation_deg - metal.run_down_deg)
                        - state.set_mm
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
    fn creep(&mut self, seconds: f64) {
        let creep = self.model.creep;
        if creep.ratio <= 0.0 || self.loads_N.iter().all(|load| *load <= 0.0) {
            return;
        }
        // Each step short against the creep's own time; long waits reach the end anyway.
        let mut left = seconds.min(20.0 * creep.time_s);
        while left > 0.0 {
            let step = left.min(creep.time_s / 3.0);
            left -= step;
            let share = -(-step / creep.time_s).exp_m1();
            let pressed = self.model.interaction.parts.times(&self.loads_N);
            for (state, pressed) in self.states.iter_mut().zip(&pressed) {
                let missing = creep.ratio * pressed - state.set_mm;
                if missing > 0.0 {
                    state.set_mm += missing * share;
                }
            }
            self.settle();
        }
    }
}

/// One fastener taken from the box: friction, run-down and locking torque as luck has them.
fn drawn(metal: &FastenerModel, friction_scatter: f64, chance: &mut Chance) -> FastenerModel {
    let mut drawn = metal.clone();
    drawn.drag_mm *= (chance.normal().clamp(-3.0, 3.0) * friction_scatter).exp();
    drawn.run_down_deg += chance.about(0.0, 0.04) * metal.run_down_deg.min(900.0);
    drawn.prevailing_Nm *= chance.about(1.0, 0.08);
    drawn
}
