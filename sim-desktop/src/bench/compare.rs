//! Which order, and how many passes, leaves the joint evenly clamped: many seeded runs of each, ranked.
//!
//! A run works at the level of clamp loads, not of samples: each pull brings one fastener to the load that its torque and
//! its own friction give, the others answer as [`Interaction`] says, and the parts settle between passes. After the passes come the
//! joint's own turn stages, each once round in the same order: the fastener is turned on by the angle and yields where it must.
//! Every trial meets the same fasteners and the same hand (common random numbers), so the trials differ by their order alone.
//! What differs by less than another set of runs would, is not ranked.
//!
//! Knows nothing of procedures, sessions or screens.

use crate::limited::Limited as _;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use rayon::prelude::*;

use super::matrix::dot;
use super::{
    Cholesky, FastenerModel, Hand, HandKind, Interaction, JointModel, Matrix, Rng, Variation, axes,
};

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

    /// Order and passes in words: "cross in 3 passes".
    #[must_use]
    pub fn name(&self) -> String {
        match self.shares.len() {
            1 => format!("{} in 1 pass", self.order_name),
            passes => format!("{} in {passes} passes", self.order_name),
        }
    }
}

/// A mean over the runs and how far another set of runs would put it.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Figure {
    /// Mean.
    pub mean: f64,
    /// Standard error of it; 0 for a single run, which says nothing of it.
    pub error: f64,
    /// Place among the trials, from 1; those between which no difference is shown share one.
    pub rank: usize,
}

impl Figure {
    fn over(values: impl Iterator<Item = f64> + Clone) -> Self {
        let count = values.clone().fold(0.0, |count, _| count + 1.0);
        let mean = values.clone().sum::<f64>() / f64::max(count, 1.0);
        let squares: f64 = values.map(|value| (value - mean).powi(2)).sum();
        let error = if count > 1.0 {
            (squares / (count - 1.0) / count).sqrt()
        } else {
            0.0
        };
        Self {
            mean,
            error,
            rank: 1,
        }
    }

    /// Whether another is larger by more than chance makes: two standard errors of the difference, about one time in twenty by chance alone.
    fn is_below(&self, other: &Self) -> bool {
        other.mean - self.mean > 2.0 * self.error.hypot(other.error).max(1e-9)
    }
}

/// What a trial came to over all its runs.
#[derive(Clone, Debug, PartialEq)]
pub struct Ranked {
    /// What was tried.
    pub trial: Trial,
    /// Scatter of clamp load over the joint (standard deviation as a fraction of the mean).
    pub scatter: Figure,
    /// The scatter that 95 of 100 runs stay below.
    pub scatter_95: f64,
    /// What of it the order alone makes: fasteners all alike and a hand without error.
    pub order_only: f64,
    /// Mean clamp load of a fastener, kN.
    pub mean_kN: f64,
    /// Clamp load of the loosest fastener, mean over the runs, kN.
    pub least_kN: f64,
    /// Farthest tilt of the part above at any moment of the tightening, mm: the difference of closing across the joint.
    pub tilt_mm: Figure,
    /// Time on the wrench, s.
    pub seconds: f64,
}

/// Sorts trials by scatter, the most even first, and gives scatter and tilt their places. Whoever is not shown to be worse than the best of a
/// place shares it.
pub fn place(ranked: &mut [Ranked]) {
    rank(ranked, |one| one.tilt_mm, |one| &mut one.tilt_mm);
    rank(ranked, |one| one.scatter, |one| &mut one.scatter);
}

fn rank(ranked: &mut [Ranked], read: fn(&Ranked) -> Figure, write: fn(&mut Ranked) -> &mut Figure) {
    ranked.sort_by(|one, other| read(one).mean.total_cmp(&read(other).mean));
    let mut best = Figure::default();
    for (place, one) in (1..).zip(ranked) {
        let figure = read(one);
        if place == 1 || best.is_below(&figure) {
            best = Figure {
                rank: place,
                ..figure
            };
        }
        write(one).rank = best.rank;
    }
}

/// The answer in words: what leaves the joint most even, and what draws it down with the least tilt.
#[must_use]
pub fn headline(ranked: &[Ranked]) -> String {
    answers(ranked).join(" ")
}

/// The same in two sentences, of scatter and of tilt.
#[must_use]
pub fn answers(ranked: &[Ranked]) -> [String; 2] {
    let firsts = |of: fn(&Ranked) -> Figure| -> (Vec<String>, bool) {
        let mut best: Vec<&Ranked> = ranked.iter().filter(|one| of(one).rank == 1).collect();
        best.sort_by(|one, other| of(one).mean.total_cmp(&of(other).mean));
        let names = best.iter().map(|one| one.trial.name()).collect();
        (names, best.len() == ranked.len() && ranked.len() > 1)
    };
    let span = |of: fn(&Ranked) -> Figure, scale: f64, digits: usize, unit: &str| -> String {
        let means = || {
            ranked
                .iter()
                .map(of)
                .filter(|figure| figure.rank == 1)
                .map(|figure| figure.mean * scale)
        };
        let (low, high) = (
            means().fold(f64::INFINITY, f64::min),
            means().fold(0.0, f64::max),
        );
        let (low, high) = (format!("{low:.digits$}"), format!("{high:.digits$}"));
        if low == high {
            format!("{low} {unit}")
        } else {
            format!("{low} to {high} {unit}")
        }
    };
    let listed = |names: &[String]| match names {
        [] => "nothing".to_owned(),
        [one] => one.clone(),
        [one, other] => format!("{one} or {other}, no difference shown between them"),
        [one, rest @ ..] => format!(
            "{one} or {} others, no difference shown between them",
            rest.len()
        ),
    };
    let scatter = span(|one| one.scatter, 100.0, 1, "%");
    let tilt = span(|one| one.tilt_mm, 1000.0, 0, "µm");
    let even = match firsts(|one| one.scatter) {
        (_, true) => format!("No difference shown in the scatter of the clamp load: {scatter}."),
        (names, false) => format!("Most even: {} (scatter {scatter}).", listed(&names)),
    };
    let level = match firsts(|one| one.tilt_mm) {
        (_, true) => format!("No difference shown in the tilt on the way: {tilt}."),
        (names, false) => format!("Least tilt on the way: {} ({tilt}).", listed(&names)),
    };
    [even, level]
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
        ranked.push(summed_up(model, trial, &outcomes?, order_only, hand));
    }
    place(&mut ranked);
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

fn summed_up(
    model: &JointModel,
    trial: &Trial,
    outcomes: &[Outcome],
    order_only: f64,
    hand: HandKind,
) -> Ranked {
    let count = count_of(outcomes.len().max(1));
    let mean = |of: fn(&Outcome) -> f64| outcomes.iter().map(of).sum::<f64>() / count;
    let mut scatters: Vec<f64> = outcomes.iter().map(|outcome| outcome.scatter).collect();
    scatters.sort_by(f64::total_cmp);
    let at = (scatters.len() * 95).div_ceil(100).saturating_sub(1);
    Ranked {
        trial: trial.clone(),
        scatter: Figure::over(outcomes.iter().map(|outcome| outcome.scatter)),
        scatter_95: scatters.get(at).copied().unwrap_or(0.0),
        order_only,
        mean_kN: mean(|outcome| outcome.mean_N) / 1000.0,
        least_kN: mean(|outcome| outcome.least_N) / 1000.0,
        tilt_mm: Figure::over(outcomes.iter().map(|outcome| outcome.tilt_mm)),
        seconds: trial
            .shares
            .iter()
            .map(|_| pass_seconds(trial, hand))
            .chain(
                model
                    .turning
                    .degrees
                    .iter()
                    .map(|degrees| turn_seconds(model, trial, *degrees, hand)),
            )
            .sum(),
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

/// A turn takes for each fastener the way there, the angle, a new grip for each swing but the first, and the reaction at its end.
fn turn_seconds(model: &JointModel, trial: &Trial, degrees: f64, hand: HandKind) -> f64 {
    let hand = Hand::of(hand);
    let grips = (degrees / model.swing_deg).ceil() - 1.0;
    let each = hand.move_s
        + degrees / hand.turning_deg_per_s
        + grips.max(0.0) * hand.regrip_s
        + hand.reaction_s;
    count_of(trial.order.len()) * each
}

/// Error of the angle a hand stops at, standard deviation in degrees; what the hands miss by when they are led. [measured on the bench's
/// own hands, `tests/tests/approach_cue.rs`]
fn stopping_error_deg(hand: HandKind) -> f64 {
    match hand {
        HandKind::Steady => 0.5,
        HandKind::Hurried => 0.8,
        HandKind::Jerky => 3.7,
    }
}

/// The room one worker needs, used again for every run.
struct Run<'m> {
    model: &'m JointModel,
    hand: HandKind,
    /// Without the luck of metal and hand.
    is_alike: bool,
    /// The fasteners of this run.
    metal: Vec<FastenerModel>,
    /// The joint with their springs.
    interaction: Interaction,
    advances_mm: Vec<f64>,
    /// Where the fasteners sit, for the tilt.
    axes: Vec<Vec<f64>>,
    /// Lost to embedding and creep under each, mm.
    embedding_mm: Vec<f64>,
    /// The part of that which is embedding, mm.
    embedded_mm: Vec<f64>,
    /// Stretched for good, mm.
    plastic_mm: Vec<f64>,
    loads_N: Vec<f64>,
}

impl<'m> Run<'m> {
    fn new(model: &'m JointModel, hand: HandKind) -> Self {
        let count = model.labels.len();
        Self {
            model,
            hand,
            is_alike: false,
            metal: model.fasteners.clone(),
            interaction: model.interaction.clone(),
            advances_mm: vec![0.0; count],
            axes: axes(&model.positions_mm),
            embedding_mm: vec![0.0; count],
            embedded_mm: vec![0.0; count],
            plastic_mm: vec![0.0; count],
            loads_N: vec![0.0; count],
        }
    }

    fn alike(mut self) -> Self {
        self.is_alike = true;
        self
    }

    fn work(&mut self, trial: &Trial, seed: u64) -> Outcome {
        let mut metal = Rng::new(seed, 101);
        let mut stopping = Rng::new(seed, 102);
        let (variation, error, error_deg) = if self.is_alike {
            (Variation::NONE, 0.0, 0.0)
        } else {
            (
                self.model.variation,
                stopping_error(self.hand),
                stopping_error_deg(self.hand),
            )
        };
        for (i, asked) in self.model.fasteners.iter().enumerate() {
            let spring = &self.model.interaction.springs[i];
            (self.metal[i], self.interaction.springs[i]) =
                variation.draw(asked, spring, &mut metal);
        }
        self.advances_mm.fill(0.0);
        self.embedding_mm.fill(0.0);
        self.embedded_mm.fill(0.0);
        self.plastic_mm.fill(0.0);
        self.loads_N.fill(0.0);
        let model = self.model;
        let top_Nm = if model.turning.degrees.is_empty() {
            model.target_Nm
        } else {
            model.turning.from_Nm
        };
        // Drawn by fastener, not by turn, so that every order meets the same hand.
        let mut misses = |mean: f64, deviation: f64| -> Vec<f64> {
            model
                .fasteners
                .iter()
                .map(|_| stopping.about(mean, deviation))
                .collect()
        };
        let mut tilt_mm = 0.0_f64;
        for share in &trial.shares {
            let errors = misses(1.0, error);
            for &fastener in &trial.order {
                let metal = &self.metal[fastener];
                // Running torque comes on top of the target, and clamps nothing.
                let torque = top_Nm * share * errors[fastener];
                let load_N = torque * 1000.0 / (metal.lift_mm + metal.drag_mm);
                self.press(fastener, load_N.min(metal.peak_N));
                tilt_mm = tilt_mm.max(self.interaction.tilt_mm(&self.axes, &self.loads_N));
            }
            self.rest(pass_seconds(trial, self.hand));
        }
        for &degrees in &model.turning.degrees {
            let errors = misses(0.0, error_deg);
            for &fastener in &trial.order {
                self.turn(fastener, (degrees + errors[fastener]).max(0.0));
                tilt_mm = tilt_mm.max(self.interaction.tilt_mm(&self.axes, &self.loads_N));
            }
            self.rest(turn_seconds(model, trial, degrees, self.hand));
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
        self.plastic_mm[turned] =
            self.plastic_mm[turned].max(self.metal[turned].plastic_at(load_N));
        self.answer(None, Some(turned), load_N);
        let spring = &self.interaction.springs[turned];
        self.advances_mm[turned] = self.embedding_mm[turned]
            + self.plastic_mm[turned]
            + spring.compliance_mm_per_N * load_N
            + spring.toe(load_N)
            + dot(self.interaction.parts.row(turned), &self.loads_N);
    }

    /// Turns one fastener on by an angle, past its yield where that is; the others keep their nuts where they are. One that would come past its
    /// greatest load stays there.
    fn turn(&mut self, turned: usize, degrees: f64) {
        let metal = &self.metal[turned];
        let peak_N = metal.peak_N;
        self.advances_mm[turned] += degrees / 360.0 * metal.pitch_mm;
        self.answer(Some(turned), None, peak_N);
        let stretched = self.metal[turned].plastic_at(self.loads_N[turned]);
        self.plastic_mm[turned] = self.plastic_mm[turned].max(stretched);
    }

    /// The loads that follow, by Newton: all but `held` find theirs, and `yielding` stretches as it must; `most_N` says what is small.
    fn answer(&mut self, yielding: Option<usize>, held: Option<usize>, most_N: f64) {
        let interaction = &self.interaction;
        for _ in 0..30 {
            // Permanent stretch at the load now, and how fast it grows.
            let plastic = |i: usize, load: f64| {
                let fresh = if yielding == Some(i) {
                    self.metal[i].plastic_at(load)
                } else {
                    0.0
                };
                if fresh > self.plastic_mm[i] {
                    (fresh, self.metal[i].exponent * fresh / load)
                } else {
                    (self.plastic_mm[i], 0.0)
                }
            };
            let gap = |i: usize, loads: &[f64]| {
                let spring = &interaction.springs[i];
                self.advances_mm[i]
                    - self.embedding_mm[i]
                    - plastic(i, loads[i]).0
                    - spring.compliance_mm_per_N * loads[i]
                    - spring.toe(loads[i])
                    - dot(interaction.parts.row(i), loads)
            };
            let free: Vec<usize> = (0..interaction.count())
                .filter(|&i| {
                    held != Some(i) && (self.loads_N[i] > 0.0 || gap(i, &self.loads_N) > 1e-9)
                })
                .collect();
            if free.is_empty() {
                break;
            }
            let give = Matrix::from_fn(free.len(), |a, b| {
                let (i, load) = (free[a], self.loads_N[free[a]]);
                let spring = &interaction.springs[i];
                let own = if a == b {
                    spring.compliance_mm_per_N + spring.toe_slope(load) + plastic(i, load).1
                } else {
                    0.0
                };
                interaction.parts.at(i, free[b]) + own
            });
            let gaps: Vec<f64> = free.iter().map(|&i| gap(i, &self.loads_N)).collect();
            let Some(factor) = Cholesky::of(&give) else {
                break;
            };
            let mut moved = 0.0_f64;
            for (&i, step) in free.iter().zip(factor.solve(&gaps)) {
                let next = (self.loads_N[i] + step).limited(0.0, self.metal[i].peak_N);
                moved = moved.max((next - self.loads_N[i]).abs());
                self.loads_N[i] = next;
            }
            if moved <= 1e-6 * most_N {
                break;
            }
        }
    }

    /// Lets the parts settle, as the live bench does.
    fn rest(&mut self, seconds: f64) {
        let creep = self.model.creep;
        let share = -(-seconds / creep.time_s).exp_m1();
        let pressed = self.interaction.parts.times(&self.loads_N);
        for (i, (set, pressed)) in self.embedding_mm.iter_mut().zip(&pressed).enumerate() {
            let embedded = &mut self.embedded_mm[i];
            let missing = creep.ratio * pressed - (*set - *embedded);
            let embedding = self.metal[i].embedding_mm(self.loads_N[i], *embedded, seconds);
            *embedded += embedding;
            *set += missing.max(0.0) * share + embedding;
        }
        let net: Vec<f64> = (self.advances_mm.iter())
            .zip(&self.embedding_mm)
            .zip(&self.plastic_mm)
            .map(|((advance, set), plastic)| advance - set - plastic)
            .collect();
        self.interaction.settle(&net, &mut self.loads_N);
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
            model.variation = Variation::NONE;
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
        model.interaction = Interaction::apart(model.interaction.springs.clone(), 1e-7);
        let round = Trial::new("round", (0..6).collect(), 1);
        let back = Trial::new("back", (0..6).rev().collect(), 1);
        let ranked = run(&model, &[round, back], 50);
        assert!((ranked[0].scatter.mean - ranked[1].scatter.mean).abs() < 1e-9);
        assert_eq!((ranked[0].scatter.rank, ranked[1].scatter.rank), (1, 1));
        assert!(
            headline(&ranked).starts_with("No difference shown in the scatter"),
            "{}",
            headline(&ranked)
        );
    }

    /// The standard error of a mean is s/√n, and only what lies two of the difference apart is ranked apart.
    #[test]
    fn places_are_shared_where_chance_could_turn_them_round() {
        let figure = Figure::over([0.1, 0.2, 0.3, 0.4].into_iter());
        assert!((figure.mean - 0.25).abs() < 1e-12);
        assert!((figure.error - 0.129_099_444_873_580_56 / 2.0).abs() < 1e-12);
        let of = |name: &str, scatter: f64, tilt: f64| Ranked {
            trial: Trial::new(name, vec![0], 1),
            scatter: Figure {
                mean: scatter,
                error: 0.001,
                rank: 0,
            },
            scatter_95: 0.0,
            order_only: 0.0,
            mean_kN: 1.0,
            least_kN: 1.0,
            tilt_mm: Figure {
                mean: tilt,
                error: 0.001,
                rank: 0,
            },
            seconds: 1.0,
        };
        let mut ranked = vec![
            of("worst", 0.110, 0.041),
            of("second", 0.102, 0.090),
            of("first", 0.100, 0.085),
        ];
        place(&mut ranked);
        let told: Vec<_> = ranked
            .iter()
            .map(|one| {
                (
                    one.trial.order_name.as_str(),
                    one.scatter.rank,
                    one.tilt_mm.rank,
                )
            })
            .collect();
        assert_eq!(told, [("first", 1, 2), ("second", 1, 3), ("worst", 3, 1)]);
        assert_eq!(
            headline(&ranked),
            "Most even: first in 1 pass or second in 1 pass, no difference shown between them (scatter 10.0 to 10.2 %). Least tilt on \
             the way: worst in 1 pass (41 µm)."
        );
    }

    /// Turn stages are run: a bolt turned on by 90° from 20 N·m holds what the live bench gives it, and the angle leaves less scatter than torque.
    #[test]
    fn turn_stages_bring_what_the_live_bench_brings() {
        use crate::bench::{Bench, BenchCue, Task, Turning};
        let mut sketch = JointSketch::circle(6, 200.0, 20.0);
        sketch.thread = "M10".parse().ok();
        sketch.strength = crate::mechanics::Strength::property_class("10.9", 10.0).ok();
        let by_torque = JointModel::from_sketch(&sketch).expect("a joint");
        sketch.turning = Turning {
            from_Nm: 20.0,
            degrees: vec![90.0],
        };
        let model = JointModel::from_sketch(&sketch).expect("a joint");
        let trial = [Trial::new("round", (0..6).collect(), 1)];
        let turned = run(&model, &trial, 60).remove(0);
        let pulled = run(&by_torque, &trial, 60).remove(0);
        assert!(
            turned.mean_kN > 3.0 * pulled.mean_kN,
            "{turned:?}, {pulled:?}"
        );
        assert!(
            turned.scatter.mean < 0.6 * pulled.scatter.mean,
            "{turned:?}, {pulled:?}"
        );
        let mut live = Bench::new(model, 3, HandKind::Steady, &[]);
        for fastener in 0..6 {
            live.begin(fastener, Task::Tighten { target_Nm: 20.0 });
            let mut cue = BenchCue::None;
            while let Some(sample) = live.sample(cue) {
                if sample.torque_Nm >= 20.0 {
                    cue = BenchCue::Target;
                }
            }
        }
        for fastener in 0..6 {
            live.begin(fastener, Task::Turn { degrees: 90.0 });
            let from = live.rotation_deg(fastener);
            let mut cue = BenchCue::None;
            while live.sample(cue).is_some() {
                if live.rotation_deg(fastener) - from >= 88.0 {
                    cue = BenchCue::Target;
                }
            }
        }
        live.idle(REST_S);
        let loads = live.clamps_kN();
        let mean = loads.iter().sum::<f64>() / 6.0;
        assert!(
            (mean / turned.mean_kN - 1.0).abs() < 0.05,
            "{mean} kN, {turned:?}"
        );
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
