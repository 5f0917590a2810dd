//! Which order, and how many passes, leaves the joint evenly clamped: many seeded runs of each, ranked.
//!
//! A run works at the level of clamp loads, not of samples: each pull brings one fastener to the load that its torque and
//! its own friction give, the others answer as [`Interaction`](super::Interaction) says, and the parts settle between passes.
//! Every trial meets the same fasteners and the same hand (common random numbers), so the trials differ by their order alone.
//!
//! Knows nothing of procedures, sessions or screens.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use rayon::prelude::*;

use super::matrix::dot;
use super::{Chance, Cholesky, Hand, HandKind, JointModel, Matrix, axes};

/// How long the parts settle after the last pass before the loads are read, s: an hour.
const REST_S: f64 = 3600.0;

/// One order at one number of passes.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// What the order is called.
    pub order_name: String,
    /// The fasteners, by index, in the order of work.
    pub order: Vec<usize>,
    /// Share of the target torque at each pass.
    pub shares: Vec<f64>,
}

impl Trial {
    /// An order at so many passes, with the usual shares: 1: 100 %; 2: 50, 100 %; 3: 30, 60, 100 %; 4: 20, 40, 80, 100 %;
    /// more: those four and then once round at 100 % for each.
    ///
    /// [ASME PCC-1 as quoted by the trade: 30/60/100 % for 4 and 8 bolts, 20/40/80/100 % for twelve and more, then circular
    /// passes at 100 %; two passes: common practice, no source]
    #[must_use]
    pub fn new(order_name: impl Into<String>, order: Vec<usize>, passes: usize) -> Self {
        let shares = match passes {
            0 | 1 => vec![1.0],
            2 => vec![0.5, 1.0],
            3 => vec![0.3, 0.6, 1.0],
            more => [0.2, 0.4, 0.8]
                .into_iter()
                .chain((3..more).map(|_| 1.0))
                .collect(),
        };
        Self {
            order_name: order_name.into(),
            order,
            shares,
        }
    }
}

/// What a trial came to over all its runs.
#[derive(Clone, Debug, PartialEq)]
pub struct Ranked {
    /// What was tried.
    pub trial: Trial,
    /// Scatter of clamp load over the joint (standard deviation as a fraction of the mean), mean over the runs.
    pub scatter: f64,
    /// The scatter that 95 of 100 runs stay below.
    pub scatter_95: f64,
    /// What of it the order alone makes: fasteners all alike and a hand without error.
    pub order_only: f64,
    /// Mean clamp load of a fastener, kN.
    pub mean_kN: f64,
    /// Clamp load of the loosest fastener, mean over the runs, kN.
    pub least_kN: f64,
    /// Farthest tilt of the part above at any moment of the tightening, mean over the runs, mm: the difference of closing across the joint.
    pub tilt_mm: f64,
    /// Time on the wrench, s.
    pub seconds: f64,
}

/// Runs every trial so many times and ranks them by scatter, the most even first.
///
/// `done` counts finished runs for whoever shows progress; `stop` ends it early, and then there is no answer.
#[must_use]
pub fn compare(
    model: &JointModel,
    trials: &[Trial],
    runs: u32,
    seed: u64,
    hand: HandKind,
    done: &AtomicU64,
    stop: &AtomicBool,
) -> Option<Vec<Ranked>> {
    let mut ranked = Vec::with_capacity(trials.len());
    for trial in trials {
        let outcomes: Option<Vec<Outcome>> = (0..runs)
            .into_par_iter()
            .map_init(
                || Run::new(model, hand),
                |run, number| {
                    if stop.load(Ordering::Relaxed) {
                        return None;
                    }
                    let outcome = run.work(trial, seed.wrapping_add(u64::from(number)));
                    done.fetch_add(1, Ordering::Relaxed);
                    Some(outcome)
                },
            )
            .collect();
        let order_only = Run::new(model, hand).alike().work(trial, seed).scatter;
        ranked.push(rank(trial, &outcomes?, order_only, hand));
    }
    ranked.sort_by(|one, other| one.scatter.total_cmp(&other.scatter));
    Some(ranked)
}

/// Standard deviation (over n − 1) as a fraction of the mean; 0 for fewer than two values or a mean of 0.
#[must_use]
pub fn scatter(loads: &[f64]) -> f64 {
    let count = count_of(loads.len());
    let mean = loads.iter().sum::<f64>() / count;
    if loads.len() < 2 || mean == 0.0 {
        return 0.0;
    }
    let squares: f64 = loads.iter().map(|load| (load - mean).powi(2)).sum();
    (squares / (count - 1.0)).sqrt() / mean
}

fn rank(trial: &Trial, outcomes: &[Outcome], order_only: f64, hand: HandKind) -> Ranked {
    let count = count_of(outcomes.len().max(1));
    let mean = |of: fn(&Outcome) -> f64| outcomes.iter().map(of).sum::<f64>() / count;
    let mut scatters: Vec<f64> = outcomes.iter().map(|outcome| outcome.scatter).collect();
    scatters.sort_by(f64::total_cmp);
    let at = (scatters.len() * 95).div_ceil(100).saturating_sub(1);
    Ranked {
        trial: trial.clone(),
        scatter: mean(|outcome| outcome.scatter),
        scatter_95: scatters.get(at).copied().unwrap_or(0.0),
        order_only,
        mean_kN: mean(|outcome| outcome.mean_N) / 1000.0,
        least_kN: mean(|outcome| outcome.least_N) / 1000.0,
        tilt_mm: mean(|outcome| outcome.tilt_mm),
        seconds: trial.shares.iter().map(|_| pass_seconds(trial, hand)).sum(),
    }
}

struct Outcome {
    scatter: f64,
    mean_N: f64,
    least_N: f64,
    tilt_mm: f64,
}

/// A pass takes for each fastener the way there, the rise of the torque and the reaction at its end.
fn pass_seconds(trial: &Trial, hand: HandKind) -> f64 {
    let hand = Hand::of(hand);
    count_of(trial.order.len()) * (hand.move_s + 1.0 / hand.rise_per_s + hand.reaction_s)
}

/// Error of the torque a hand stops at, standard deviation as a fraction; chosen to look like people, as the hands are.
fn stopping_error(hand: HandKind) -> f64 {
    match hand {
        HandKind::Steady => 0.01,
        HandKind::Hurried => 0.02,
        HandKind::Jerky => 0.04,
    }
}

/// The room one worker needs, used again for every run.
struct Run<'m> {
    model: &'m JointModel,
    hand: HandKind,
    /// Without the luck of friction and hand.
    is_alike: bool,
    /// Load for each N·m on each fastener, N.
    load_per_Nm: Vec<f64>,
    advances_mm: Vec<f64>,
    /// Where the fasteners sit, for the tilt.
    axes: Vec<Vec<f64>>,
    set_mm: Vec<f64>,
    loads_N: Vec<f64>,
}

impl<'m> Run<'m> {
    fn new(model: &'m JointModel, hand: HandKind) -> Self {
        let count = model.labels.len();
        Self {
            model,
            hand,
            is_alike: false,
            load_per_Nm: vec![0.0; count],
            advances_mm: vec![0.0; count],
            axes: axes(&model.positions_mm),
            set_mm: vec![0.0; count],
            loads_N: vec![0.0; count],
        }
    }

    fn alike(mut self) -> Self {
        self.is_alike = true;
        self
    }

    fn work(&mut self, trial: &Trial, seed: u64) -> Outcome {
        let mut metal = Chance::new(seed, 101);
        let mut stopping = Chance::new(seed, 102);
        for (load, fastener) in self.load_per_Nm.iter_mut().zip(&self.model.fasteners) {
            let luck = if self.is_alike {
                0.0
            } else {
                metal.normal().clamp(-3.0, 3.0)
            };
            let drag = fastener.drag_mm * (luck * self.model.friction_scatter).exp();
            *load = 1000.0 / (fastener.lift_mm + drag);
        }
        self.advances_mm.fill(0.0);
        self.set_mm.fill(0.0);
        self.loads_N.fill(0.0);
        let pass_s = pass_seconds(trial, self.hand);
        let mut tilt_mm = 0.0_f64;
        for share in &trial.shares {
            // Drawn by fastener, not by turn, so that every order meets the same hand.
            let error = if self.is_alike {
                0.0
            } else {
                stopping_error(self.hand)
            };
            let errors: Vec<f64> = self
                .loads_N
                .iter()
                .map(|_| stopping.about(1.0, error))
                .collect();
            for &fastener in &trial.order {
                let torque = self.model.target_Nm * share * errors[fastener];
                self.press(fastener, torque * self.load_per_Nm[fastener]);
                tilt_mm = tilt_mm.max(self.model.interaction.tilt_mm(&self.axes, &self.loads_N));
            }
            self.rest(pass_s);
        }
        self.rest(REST_S);
        let count = count_of(self.loads_N.len());
        Outcome {
            scatter: scatter(&self.loads_N),
            mean_N: self.loads_N.iter().sum::<f64>() / count,
            tilt_mm,
            least_N: self.loads_N.iter().copied().fold(f64::INFINITY, f64::min),
        }
    }

    /// Brings one fastener to a load; the others keep their nuts where they are. Above that load already, it does not turn.
    fn press(&mut self, turned: usize, load_N: f64) {
        if self.loads_N[turned] >= load_N {
            return;
        }
        self.loads_N[turned] = load_N;
        let interaction = &self.model.interaction;
        for _ in 0..30 {
            let gap = |i: usize, loads: &[f64]| {
                let spring = &interaction.springs[i];
                self.advances_mm[i]
                    - self.set_mm[i]
                    - spring.compliance_mm_per_N * loads[i]
                    - spring.toe(loads[i])
                    - dot(interaction.parts.row(i), loads)
            };
            let others: Vec<usize> = (0..interaction.count())
                .filter(|&i| i != turned && (self.loads_N[i] > 0.0 || gap(i, &self.loads_N) > 1e-9))
                .collect();
            if others.is_empty() {
                break;
            }
            let give = Matrix::from_fn(others.len(), |a, b| {
                let spring = &interaction.springs[others[a]];
                let own = if a == b {
                    spring.compliance_mm_per_N + spring.toe_slope(self.loads_N[others[a]])
                } else {
                    0.0
                };
                interaction.parts.at(others[a], others[b]) + own
            });
            let gaps: Vec<f64> = others.iter().map(|&i| gap(i, &self.loads_N)).collect();
            let Some(factor) = Cholesky::of(&give) else {
                break;
            };
            let mut moved = 0.0_f64;
            for (&i, step) in others.iter().zip(factor.solve(&gaps)) {
                let next = (self.loads_N[i] + step).max(0.0);
                moved = moved.max((next - self.loads_N[i]).abs());
                self.loads_N[i] = next;
            }
            if moved <= 1e-6 * load_N {
                break;
            }
        }
        let spring = &interaction.springs[turned];
        self.advances_mm[turned] = self.set_mm[turned]
            + spring.compliance_mm_per_N * load_N
            + spring.toe(load_N)
            + dot(interaction.parts.row(turned), &self.loads_N);
    }

    /// Lets the parts settle, as the live bench does.
    fn rest(&mut self, seconds: f64) {
        let creep = self.model.creep;
        if creep.ratio <= 0.0 {
            return;
        }
        let share = -(-seconds / creep.time_s).exp_m1();
        let pressed = self.model.interaction.parts.times(&self.loads_N);
        for (set, pressed) in self.set_mm.iter_mut().zip(&pressed) {
            *set += (creep.ratio * pressed - *set).max(0.0) * share;
        }
        let net: Vec<f64> = self
            .advances_mm
            .iter()
            .zip(&self.set_mm)
            .map(|(advance, set)| advance - set)
            .collect();
        self.model.interaction.settle(&net, &mut self.loads_N);
    }
}

fn count_of(count: usize) -> f64 {
    u32::try_from(count).map_or(f64::from(u32::MAX), f64::from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Creep, Interface, JointSketch};

    fn run(model: &JointModel, trials: &[Trial], runs: u32) -> Vec<Ranked> {
        compare(
            model,
            trials,
            runs,
            7,
            HandKind::Steady,
            &AtomicU64::new(0),
            &AtomicBool::new(false),
        )
        .expect("nobody stopped it")
    }

    fn cover(count: u32, interface: Interface) -> JointModel {
        let mut sketch = JointSketch::circle(count, 160.0, 35.0);
        sketch.interface = interface;
        JointModel::from_sketch(&sketch).expect("a joint")
    }

    /// Model identities: the last fastener of a single pass reads exactly its target; after many passes at the target nothing moves any more
    /// and none is below it. Under a cover that tilts a few stay above, as those across lift them and nobody turns back. [triangular interaction, derived]
    #[test]
    fn the_last_reads_its_target_and_passes_converge() {
        for (interface, uneven_most) in [(Interface::Metal, 1e-3), (Interface::SoftGasket, 0.02)] {
            let mut model = cover(8, interface);
            model.friction_scatter = 0.0;
            model.creep = Creep {
                ratio: 0.0,
                time_s: 1.0,
            };
            let mut worker = Run::new(&model, HandKind::Steady);
            let target = model.preload_N(0);
            let pass = |worker: &mut Run<'_>| {
                for fastener in 0..8 {
                    worker.press(fastener, target);
                }
            };
            pass(&mut worker);
            assert!((worker.loads_N[7] - target).abs() < 1e-6 * target);
            let after_one = scatter(&worker.loads_N);
            for _ in 0..40 {
                pass(&mut worker);
            }
            let before = worker.loads_N.clone();
            pass(&mut worker);
            let moved = before
                .iter()
                .zip(&worker.loads_N)
                .map(|(one, other)| (one - other).abs())
                .fold(0.0, f64::max);
            assert!(moved < 1e-4 * target, "{interface:?}: {moved} N");
            assert!(worker.loads_N.iter().all(|load| *load > 0.9999 * target));
            let after_many = scatter(&worker.loads_N);
            assert!(
                after_many < uneven_most && after_many <= after_one,
                "{interface:?}: {after_one}, then {after_many}"
            );
        }
    }

    /// A joint whose fasteners do not feel each other shows the hand's and the friction's scatter alone, whatever the order.
    #[test]
    fn without_interaction_the_order_does_not_matter() {
        let mut model = cover(6, Interface::Metal);
        model.interaction =
            crate::bench::Interaction::apart(model.interaction.springs.clone(), 1e-7);
        let round = Trial::new("round", (0..6).collect(), 1);
        let back = Trial::new("back", (0..6).rev().collect(), 1);
        let ranked = run(&model, &[round, back], 50);
        assert!((ranked[0].scatter - ranked[1].scatter).abs() < 1e-9);
    }

    /// More passes leave a soft joint more even; a stop leaves no answer; the same seed gives the same figures.
    #[test]
    fn three_passes_beat_one_on_a_soft_joint() {
        let model = cover(8, Interface::SoftGasket);
        let trials = [
            Trial::new("round", (0..8).collect(), 1),
            Trial::new("round", (0..8).collect(), 5),
        ];
        let ranked = run(&model, &trials, 100);
        assert_eq!(ranked[0].trial.shares.len(), 5, "{ranked:?}");
        assert_eq!(ranked, run(&model, &trials, 100));
        let stopped = AtomicBool::new(true);
        assert_eq!(
            compare(
                &model,
                &trials,
                10,
                7,
                HandKind::Steady,
                &AtomicU64::new(0),
                &stopped
            ),
            None
        );
    }
}
