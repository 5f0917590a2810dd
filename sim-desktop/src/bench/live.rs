//! The bench in time: a hand pulls, the train winds up, the fastener turns, the joint answers, the adapter measures.
//!
//! Knows nothing of procedures or verdicts; it takes cues and gives samples.

mod pull;
mod turn;

use super::adapter::Sensor;
use super::matrix::dot;
use super::{
    BenchSample, FastenerModel, FastenerState, Fault, Hand, HandKind, JointModel, Rng, Spring,
    Variation,
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
    rng: Rng,
    parts: Rng,
    time_s: f64,
    adapter_deg: f64,
    attempt: Option<Attempt>,
    energy: Energy,
    pulls: Option<u32>,
    faults: Vec<(usize, Fault)>,
    /// Fasteners and springs as the joint asks for them, before faults.
    asked: (Vec<FastenerModel>, Vec<Spring>),
}

impl Bench {
    /// Sets a joint up. How each fastener and its place differ, its run-down and locking torque are drawn from the seed.
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
        let mut parts = Rng::new(seed, 3);
        let (metal, springs): (Vec<FastenerModel>, Vec<Spring>) = model
            .fasteners
            .iter()
            .zip(&model.interaction.springs)
            .map(|(metal, spring)| taken(metal, spring, &model.variation, &mut parts))
            .unzip();
        model.interaction.springs = springs;
        let count = metal.len();
        let mut bench = Self {
            sensor: Sensor::new(model.adapter, Rng::new(seed, 2)),
            hand: Hand::of(hand),
            metal,
            states: vec![FastenerState::default(); count],
            loads_N: vec![0.0; count],
            rng: Rng::new(seed, 1),
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

    /// What gasket and surfaces have given way for good, mean over the fasteners, µm.
    #[must_use]
    pub fn embedding_um(&self) -> f64 {
        #[expect(
            clippy::cast_precision_loss,
            reason = "a joint has at most 256 fasteners"
        )]
        let count = self.states.len().max(1) as f64;
        self.states
            .iter()
            .map(|state| state.embedding_mm)
            .sum::<f64>()
            * 1000.0
            / count
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
        (
            self.metal[fastener],
            self.model.interaction.springs[fastener],
        ) = taken(
            &self.model.fasteners[fastener],
            &self.model.interaction.springs[fastener],
            &self.model.variation,
            &mut self.parts,
        );
        self.idle(20.0);
        self.settle();
    }

    /// The hand moves to a fastener and sets out. An attempt still running is dropped. A fastener the joint has not gives no samples.
    pub fn begin(&mut self, fastener: usize, task: Task) {
        self.attempt = None;
        self.settle();
        let move_s = self.rng.about(self.hand.move_s, 0.15 * self.hand.move_s);
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
        let lost = self.rng.uniform() * 360.0 / f64::from(self.model.ratchet_teeth.max(1));
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
}

/// One fastener taken from the box and its place: what differs from one to the next, and run-down and locking torque as luck has them.
fn taken(
    metal: &FastenerModel,
    spring: &Spring,
    variation: &Variation,
    rng: &mut Rng,
) -> (FastenerModel, Spring) {
    let (mut metal, spring) = variation.draw(metal, spring, rng);
    metal.run_down_deg += rng.about(0.0, 0.04) * metal.run_down_deg.min(900.0);
    metal.prevailing_Nm *= rng.about(1.0, 0.08);
    (metal, spring)
}
