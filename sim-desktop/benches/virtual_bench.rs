//! How fast the virtual bench is, and what order and passes make of a gasketed cover.
//! `cargo bench -p evendraw --bench virtual_bench`; the same solve in scipy: `python tests/bench/interaction.py`

use std::hint::black_box;
use std::sync::atomic::{AtomicBool, AtomicU64};
use std::time::Instant;

use evendraw::bench::compare::{Trial, compare};
use evendraw::bench::{
    Bench, BenchCue, HandKind, Interaction, Interface, JointModel, JointSketch, Plate, Spring, Task,
};
use evendraw::job::{Job, Told};
use evendraw::plan::Plan;
use evendraw::rehearsal::answers::Answers;
use evendraw::rehearsal::{Options, Rehearsal};
use evendraw::store::Purpose;
use evendraw_core::pattern;

fn main() {
    head_compared();
    bench_alone();
    demo_rehearsed();
    interaction_solved();
    cover_compared();
}

/// Two rows of seven, 45 mm apart, as a cylinder head has them.
fn head() -> JointModel {
    let mut places = Vec::new();
    for row in 0..2_u32 {
        for column in 0..7_u32 {
            let label = (row * 7 + column + 1).to_string();
            places.push((label, [45.0 * f64::from(column), 95.0 * f64::from(row)]));
        }
    }
    let mut sketch = JointSketch::new(places, 60.0);
    sketch.interface = Interface::FirmGasket;
    JointModel::from_sketch(&sketch).expect("a head")
}

fn cross(count: u8) -> Vec<usize> {
    let mut order = vec![0_u8; usize::from(count)];
    pattern::cross(&mut order).expect("three and more");
    order.into_iter().map(usize::from).collect()
}

fn head_compared() {
    let model = head();
    let columns = [3, 2, 4, 1, 5, 0, 6];
    let orders: [(&str, Vec<usize>); 6] = [
        ("listed", (0..14).collect()),
        ("reverse", (0..14).rev().collect()),
        ("cross", cross(14)),
        (
            "centre-out",
            columns.iter().flat_map(|c| [*c, c + 7]).collect(),
        ),
        (
            "outside-in",
            columns.iter().rev().flat_map(|c| [*c, c + 7]).collect(),
        ),
        ("round", (0..7).chain((7..14).rev()).collect()),
    ];
    let trials: Vec<Trial> = orders
        .iter()
        .flat_map(|(name, order)| [1, 2, 3].map(|passes| Trial::new(*name, order.clone(), passes)))
        .collect();
    let began = Instant::now();
    let ranked = compare(
        &model,
        &trials,
        1_000,
        1,
        HandKind::Steady,
        &AtomicU64::new(0),
        &AtomicBool::new(false),
    )
    .expect("nobody stopped it");
    let took = began.elapsed().as_secs_f64();
    println!("compare: 14-fastener head, 6 orders x 3 pass counts x 1000 runs: {took:.2} s");
    for one in &ranked {
        println!(
            "  {:<11} {} passes  scatter {:4.1} %  order alone {:4.1} %",
            one.trial.order_name,
            one.trial.shares.len(),
            100.0 * one.scatter.mean,
            100.0 * one.order_only
        );
    }
}

/// Samples of metal, hand and adapter alone: cues by a plain threshold.
fn bench_alone() {
    let (mut simulated, mut samples) = (0.0, 0_u64);
    let began = Instant::now();
    for seed in 0..20 {
        let mut bench = Bench::new(head(), seed, HandKind::Steady, &[]);
        for target in [20.0, 60.0] {
            for fastener in 0..14 {
                bench.begin(fastener, Task::Tighten { target_Nm: target });
                let mut cue = BenchCue::None;
                while let Some(sample) = bench.sample(cue) {
                    samples += 1;
                    cue = match sample.torque_Nm {
                        torque if torque >= target => BenchCue::Target,
                        torque if torque >= 0.8 * target => BenchCue::Approach,
                        _ => cue,
                    };
                }
            }
        }
        simulated += bench.elapsed_s();
    }
    let took = began.elapsed().as_secs_f64();
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let each = took * 1e9 / samples as f64;
    println!(
        "bench alone: {simulated:.0} s of work at 500 samples/s in {took:.3} s: {:.0} simulated s a second, {each:.0} ns a sample",
        simulated / took
    );
}

/// The whole demo build through sessions, records and verdicts, kept in memory.
fn demo_rehearsed() {
    let (mut simulated, mut accepted) = (0.0, 0);
    let began = Instant::now();
    for seed in 0..10 {
        let plan = Plan::demo().expect("the demo build");
        let answers = Answers::read(&[], &plan, "steady hand").expect("nothing to read");
        let options = Options {
            seed,
            hand: HandKind::Steady,
            pulls: None,
            faults: Vec::new(),
            trace_folder: None,
            keeps_curves: false,
        };
        let mut rehearsal = Rehearsal::new(Job::unkept(plan, Purpose::Rehearsal), options, answers);
        let head = rehearsal
            .job()
            .plan()
            .joints()
            .iter()
            .find(|joint| joint.id() == "head");
        let head = head.expect("the demo has a head").number();
        rehearsal
            .job_mut()
            .work_alone(head)
            .expect("a head by itself");
        let result = rehearsal
            .work(head, &mut |_: &Job, _: &Told| {
                Ok::<(), std::convert::Infallible>(())
            })
            .expect("a rehearsal");
        simulated += result.seconds;
        accepted += result.accepted;
    }
    let took = began.elapsed().as_secs_f64();
    println!(
        "rehearsal: the demo's head 10 times, {accepted} attempts accepted, {simulated:.0} s of work in {took:.3} s: {:.0} simulated s a second",
        simulated / took
    );
}

/// Loads of all fasteners at once, from nothing, on a plate over a firm gasket, surfaces closing: tests/bench/interaction.py
/// solves the same.
fn interaction_solved() {
    for count in [14_u32, 64] {
        let places: Vec<[f64; 2]> = (0..count)
            .map(|i| {
                [
                    45.0 * f64::from(i % (count / 2)),
                    95.0 * f64::from(i / (count / 2)),
                ]
            })
            .collect();
        let spring = Spring {
            compliance_mm_per_N: 6e-6,
            toe_mm: 0.012,
            toe_N: 3000.0,
        };
        let plate = Plate::new(70_000.0, 25.0, 400.0);
        let joint = Interaction::of_plate(&plate, &places, vec![spring; places.len()]);
        let advances: Vec<f64> = (0..count).map(|i| 0.15 + 0.01 * f64::from(i % 5)).collect();
        let times = 2_000;
        let began = Instant::now();
        let mut loads = Vec::new();
        for _ in 0..times {
            loads = vec![0.0; places.len()];
            joint.settle(black_box(&advances), &mut loads);
        }
        let each = began.elapsed().as_secs_f64() * 1e6 / f64::from(times);
        println!(
            "interaction: {count} fasteners solved in {each:.1} µs; first {:.3} N, sum {:.3} N",
            loads[0],
            loads.iter().sum::<f64>()
        );
    }
}

/// Eight bolts on a soft gasket: cross against one way round, one pass against three.
fn cover_compared() {
    let mut sketch = JointSketch::circle(8, 160.0, 35.0);
    sketch.interface = Interface::SoftGasket;
    let model = JointModel::from_sketch(&sketch).expect("a cover");
    let round: Vec<usize> = (0..8).collect();
    let trials: Vec<Trial> = [1, 2, 3, 4, 6]
        .into_iter()
        .flat_map(|passes| {
            [
                Trial::new("cross", cross(8), passes),
                Trial::new("round", round.clone(), passes),
            ]
        })
        .collect();
    let (done, stop) = (AtomicU64::new(0), AtomicBool::new(false));
    let ranked = compare(&model, &trials, 1_000, 1, HandKind::Steady, &done, &stop);
    println!("gasketed cover, 8 bolts, 1000 runs each:");
    for one in ranked.expect("nobody stopped it") {
        println!(
            "  {:<6} {} passes  scatter {:4.1} %  order alone {:4.2} %  tilt {:3.0} µm  least {:.1} of mean {:.1} kN",
            one.trial.order_name,
            one.trial.shares.len(),
            100.0 * one.scatter.mean,
            100.0 * one.order_only,
            1_000.0 * one.tilt_mm.mean,
            one.least_kN,
            one.mean_kN
        );
    }
}
