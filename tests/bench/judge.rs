//! How many samples a second the core judges, against a plain sum over the same samples in memory.
//!
//! `cargo bench -p evendraw-tests --bench judge`; with `-- --write FILE` the samples are left there for
//! `python tests/bench/numpy_judge.py FILE`, which finds peak, snug crossing and final angle of the same pulls in numpy.
//! Sum and core take turns within one run, so that a busy machine slows both.

#[expect(dead_code, reason = "faults of the sensor are not wanted here")]
#[path = "../tests/judging/generator.rs"]
mod generator;

use std::hint::black_box;
use std::io::{BufWriter, Write};
use std::time::{Duration, Instant as Clock};

use evendraw_core::curve_limits::CurveLimits;
use evendraw_core::procedure::TorqueWindow;
use evendraw_core::sample::Sample;
use evendraw_core::tracker::{Start, Tracker};
use evendraw_core::unit::{Instant, Rotation, Span, Torque};
use evendraw_core::verdict::{Aim, Verdict, judge};
use generator::{Dice, Hand, Joint, Model, Sensor, Setup, Until, thousandths};

const PULLS: u64 = 1_500;
const ROUNDS: usize = 9;

/// Many pulls one after another: µs, mN·m and millidegrees, and where each pull ends.
#[derive(Default)]
struct Samples {
    micros: Vec<u64>,
    torque: Vec<i32>,
    rotation: Vec<i32>,
    ends: Vec<(usize, i32)>,
}

fn main() {
    let samples = pulls();
    let count = samples.micros.len();
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(at) = arguments.iter().position(|word| word == "--write") {
        let path = arguments.get(at + 1).expect("--write FILE");
        write(&samples, path).expect("writing the samples");
        println!("{count} samples of {PULLS} pulls written to {path}");
    }
    let (mut sums, mut judged) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        sums.push(timed(|| sum(&samples)));
        judged.push(timed(|| judge_all(&samples)));
    }
    let per_sample = |took: Duration| took.as_secs_f64() * 1e9 / count as f64;
    let (sum, judged) = (per_sample(median(sums)), per_sample(median(judged)));
    println!("{count} samples, {PULLS} pulls, median of {ROUNDS} rounds");
    println!("plain sum of torque and rotation  {sum:8.2} ns a sample");
    println!(
        "tracker and verdict               {judged:8.2} ns a sample, {:.1} million a second",
        1e3 / judged
    );
    println!("ratio                             {:8.1}", judged / sum);
}

fn timed<T>(work: impl FnOnce() -> T) -> Duration {
    let began = Clock::now();
    black_box(work());
    began.elapsed()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn sum(samples: &Samples) -> i64 {
    let torque: i64 = black_box(&samples.torque)
        .iter()
        .map(|&value| i64::from(value))
        .sum();
    let rotation: i64 = black_box(&samples.rotation)
        .iter()
        .map(|&value| i64::from(value))
        .sum();
    torque + rotation
}

/// Every pull through tracker and verdict, as a session would: how many were accepted.
fn judge_all(samples: &Samples) -> usize {
    let mut tracker = Tracker::new();
    let limits = CurveLimits::default();
    let mut from = 0;
    let mut accepted = 0;
    for &(to, target) in &samples.ends {
        let aim = aim(target);
        tracker.begin(aim, &limits, Start::default());
        for at in from..to {
            let sample = Sample {
                torque: Torque::from_millinewton_meters(samples.torque[at]),
                rotation: Rotation::from_millidegrees(samples.rotation[at]),
            };
            black_box(tracker.feed(Instant::from_micros(samples.micros[at]), sample));
        }
        from = to;
        let reading = tracker.finish().unwrap_or_default();
        accepted += usize::from(judge(&aim, &reading).verdict == Verdict::Accepted);
    }
    accepted
}

fn aim(target: i32) -> Aim {
    let part = |percent: i32| Torque::from_millinewton_meters(target / 100 * percent);
    Aim::Torque {
        window: TorqueWindow {
            target: part(100),
            min: part(90),
            max: part(110),
        },
    }
}

/// Healthy pulls of the independent model: three hands, hard and soft joints, 200 to 1,000 samples a second.
fn pulls() -> Samples {
    let mut samples = Samples::default();
    let mut began = 0;
    for number in 0..PULLS {
        let dice = &mut Dice::new(number + 1);
        let target = dice.between(20.0, 80.0);
        let span = if number.is_multiple_of(2) {
            dice.between(6.0, 20.0)
        } else {
            dice.between(40.0, 180.0)
        };
        let setup = Setup {
            hand: dice.one_of(&[Hand::Steady, Hand::Hurried, Hand::Jerky]),
            joint: Joint::of(target / span, dice),
            train: dice.between(5.0, 60.0),
            rate: dice.between(200.0, 1_000.0),
            zero: 0.0,
            torque_noise: dice.between(0.05, 0.3),
            angle_noise: dice.between(0.05, 0.1),
            sensor: Sensor::Whole,
            pulls: vec![Until::Torque(target)],
            turned: 0.0,
        };
        let mut last = 0;
        Model::new(&setup, dice).run(&mut |seconds, torque, angle| {
            last = u64::from(thousandths(seconds * 1_000.0).unsigned_abs());
            samples.micros.push(began + last);
            samples.torque.push(thousandths(torque));
            samples.rotation.push(thousandths(angle));
            false
        });
        began += last + Span::from_seconds(5).micros();
        samples
            .ends
            .push((samples.micros.len(), thousandths(target)));
    }
    samples
}

/// Counts, then µs, mN·m, millidegrees, ends and targets, little-endian.
fn write(samples: &Samples, path: &str) -> std::io::Result<()> {
    let mut file = BufWriter::new(std::fs::File::create(path)?);
    for count in [samples.micros.len(), samples.ends.len()] {
        file.write_all(&(count as u64).to_le_bytes())?;
    }
    for value in &samples.micros {
        file.write_all(&value.to_le_bytes())?;
    }
    for value in samples.torque.iter().chain(&samples.rotation) {
        file.write_all(&value.to_le_bytes())?;
    }
    for (end, _) in &samples.ends {
        file.write_all(&(*end as u64).to_le_bytes())?;
    }
    for (_, target) in &samples.ends {
        file.write_all(&target.to_le_bytes())?;
    }
    file.flush()
}
