//! Pulls whose cause is easily mistaken, and sensors that are not at their best: threads that cut or shear, fasteners that were partly
//! tight, turns that bring no torque or should bring none, noise that nobody told of, a zero that is off.
//!
//! Sizes are *our judgement, no source*. Knows nothing of what must hold.

use evendraw_core::curve_limits::CurveLimits;
use evendraw_core::procedure::{AngleWindow, TorqueWindow};
use evendraw_core::sample::{Rest, Sample, rest};
use evendraw_core::tracker::{Start, Tracker};
use evendraw_core::unit::{Instant, Torque};
use evendraw_core::verdict::{Aim, Judgement, Reading, Reasons, Verdict, judge};

use crate::generator::{Dice, Hand, Joint, Model, Sensor, Setup, Until, thousandths};
use crate::{Case, Kind, Told, degrees, newton_meters, play, taken};

/// Samples a second, one after the other.
const RATES: [f64; 3] = [200.0, 500.0, 1_000.0];

/// One case of the kinds of this file; `seed` tells the kinds apart.
pub(crate) fn case(kind: Kind, number: u64, seed: u64) -> Case {
    let dice = &mut Dice::new(1 + number * 64 + seed);
    let target = dice.between(20.0, 80.0);
    let span = if number.is_multiple_of(2) {
        dice.between(6.0, 20.0)
    } else {
        dice.between(40.0, 180.0)
    };
    let joint = Joint::of(target / span, dice);
    let noise = dice.between(0.05, 0.3);
    let hand = dice.one_of(&[Hand::Steady, Hand::Hurried, Hand::Jerky]);
    let rate = RATES[usize::try_from(number % 3).unwrap_or(0)];
    let setup = Setup {
        hand,
        joint,
        train: dice.between(5.0, 60.0),
        rate,
        torque_noise: noise,
        zero: 0.0,
        angle_noise: dice.between(0.05, 0.1),
        sensor: Sensor::Whole,
        pulls: vec![Until::Torque(target * dice.between(0.95, 1.05))],
        turned: 0.0,
    };
    let limits = CurveLimits {
        noise: newton_meters(noise.max(0.1)),
        gradient_max: thousandths(1.5 * joint.slope).unsigned_abs(),
        late: degrees(1.5 * span),
        overload: newton_meters(1.35 * target),
        ..CurveLimits::default()
    };
    match kind {
        Kind::FlatTurn | Kind::YieldTurn => turn(kind, number, target, setup, dice),
        Kind::Offset | Kind::Unfit => off_zero(kind, number, target, setup, &limits, dice),
        _ => pull(kind, number, target, span, setup, limits, dice),
    }
}

/// A torque of one pull.
fn pull(
    kind: Kind,
    number: u64,
    target: f64,
    span: f64,
    mut setup: Setup,
    mut limits: CurveLimits,
    dice: &mut Dice,
) -> Case {
    let joint = &mut setup.joint;
    match kind {
        Kind::CrossThread => {
            // The head never gets there. What a plan with thread and grip knows of the joint; the softest are left out, since in them a
            // thread that cuts its way rises as a sound joint does, and only its turns by hand tell.
            let span = if span > 60.0 { span / 3.0 } else { span };
            let slope = target / span;
            joint.run_down = 1e6;
            limits.gradient_min = thousandths(0.35 * slope).unsigned_abs();
            limits.gradient_max = thousandths(1.5 * slope).unsigned_abs();
            limits.late = degrees(1.5 * span);
            let jams = number % 3 == 2;
            let by = if jams {
                dice.between(3.0, 6.0)
            } else {
                1.0 / dice.between(4.0, 12.0)
            };
            joint.cuts = Some((target * dice.between(0.02, 0.15), slope * by));
        }
        Kind::Strips => {
            joint.shears = Some((
                target * dice.between(0.3, 0.7),
                span * dice.between(0.1, 0.4),
            ));
        }
        Kind::PartlyTight => {
            setup.turned = joint.turned_at(target * dice.between(0.3, 0.7));
            if number % 4 < 2 {
                limits.gradient_max = 0;
            }
        }
        Kind::Noisy | Kind::VeryNoisy => {
            setup.torque_noise = if kind == Kind::Noisy { 0.25 } else { 0.8 };
            limits.noise = CurveLimits::default().noise;
        }
        _ => {}
    }
    let aim = torque(target);
    let start = Start::default();
    let (truth, reading, told) = play(&setup, dice, aim, &limits, start);
    Case {
        kind,
        number,
        hand: setup.hand,
        pulls: 1,
        rate: setup.rate,
        noise: setup.torque_noise,
        low: 0.9 * target,
        high: 1.1 * target,
        truth,
        reading,
        judgement: judge(&aim, &reading),
        told,
    }
}

fn torque(target: f64) -> Aim {
    let window = TorqueWindow {
        target: newton_meters(target),
        min: newton_meters(0.9 * target),
        max: newton_meters(1.1 * target),
    };
    Aim::Torque { window }
}

/// 90° from a torque.
fn turn(kind: Kind, number: u64, target: f64, mut setup: Setup, dice: &mut Dice) -> Case {
    let joint = &mut setup.joint;
    let began = target * dice.between(0.3, 0.5);
    joint.slope = 0.7 * target / 90.0;
    let is_first = kind == Kind::FlatTurn || number.is_multiple_of(2);
    match kind {
        // Up to 2 N·m in the whole turn, as a thread that strips or a tool that slips may bring.
        Kind::FlatTurn if number % 4 == 3 => joint.shears = Some((1.02 * began, 3.0)),
        Kind::FlatTurn => joint.yields = Some((began, dice.between(0.0, 0.05))),
        // Yields half-way through; a second turn goes on from there.
        _ if is_first => {
            joint.yields = Some((began + 0.35 * target, dice.between(0.0, 0.15)));
        }
        _ => joint.yields = Some((began, dice.between(0.0, 0.05))),
    }
    // Where the whole joint would stand at that torque.
    setup.turned = joint.turned_at(began);
    let pulls = dice.one_of(&[1_usize, 3, 6]);
    let count = u32::try_from(pulls).unwrap_or(1);
    let goal = dice.between(88.0, 92.0);
    setup.pulls = (1..=count)
        .map(|index| Until::Turned(setup.turned + goal * f64::from(index) / f64::from(count)))
        .collect();
    let window = AngleWindow {
        target: degrees(90.0),
        min: degrees(85.0),
        max: degrees(95.0),
    };
    let aim = Aim::Turn {
        window,
        torque: None,
        one_sweep: false,
        left: None,
    };
    let start = Start {
        restart_expected: Some(newton_meters(began)),
        turned: degrees(if is_first { 0.0 } else { 90.0 }),
        ..Start::default()
    };
    let limits = CurveLimits {
        noise: newton_meters(setup.torque_noise.max(0.1)),
        ..CurveLimits::default()
    };
    let (truth, reading, told) = play(&setup, dice, aim, &limits, start);
    Case {
        kind,
        number,
        hand: setup.hand,
        pulls,
        rate: setup.rate,
        noise: setup.torque_noise,
        low: 85.0,
        high: 95.0,
        truth,
        reading,
        judgement: judge(&aim, &reading),
        told,
    }
}

/// A recording whose zero is off, or whose sign is wrong: through the core's rules for the zero of a recording, then as any other.
fn off_zero(
    kind: Kind,
    number: u64,
    target: f64,
    mut setup: Setup,
    limits: &CurveLimits,
    dice: &mut Dice,
) -> Case {
    let sign = if number % 4 < 2 { 1.0 } else { -1.0 };
    let is_upside_down = kind == Kind::Unfit && number.is_multiple_of(2);
    setup.zero = match kind {
        Kind::Offset => sign * dice.between(0.2, 1.9),
        _ if is_upside_down => 0.0,
        _ => sign * dice.between(2.3, 12.0),
    };
    setup.pulls = vec![Until::Torque(target * dice.between(0.8, 1.2))];
    let mut samples = Vec::new();
    let mut model = Model::new(&setup, dice);
    model.run(&mut |seconds, torque, angle| {
        let sign = if is_upside_down { -1.0 } else { 1.0 };
        samples.push(taken(seconds, sign * torque, sign * angle));
        false
    });
    let truth = model.truth;
    let aim = torque(target);
    let mut case = Case {
        kind,
        number,
        hand: setup.hand,
        pulls: 1,
        rate: setup.rate,
        noise: setup.torque_noise,
        low: 0.9 * target,
        high: 1.1 * target,
        truth,
        reading: Reading::default(),
        judgement: Judgement {
            verdict: Verdict::Unknown,
            reasons: Reasons::NONE,
        },
        told: Told::default(),
    };
    let zero = match rest(&samples) {
        Rest::Off(torque) => torque,
        Rest::AtZero => Torque::ZERO,
        Rest::Refused(_) | Rest::NotSeen | Rest::Loaded(_) => return case,
    };
    feed(&mut case, &samples, zero, aim, limits);
    case
}

fn feed(
    case: &mut Case,
    samples: &[(Instant, Sample)],
    zero: Torque,
    aim: Aim,
    limits: &CurveLimits,
) {
    let mut tracker = Tracker::new();
    tracker.begin(aim, limits, Start::default());
    for &(at, sample) in samples {
        let torque = sample.torque - zero;
        let signal = tracker.feed(at, Sample { torque, ..sample });
        case.told.hear(&signal);
        if signal.ended {
            break;
        }
    }
    if let Some(reading) = tracker.finish() {
        case.reading = reading;
        case.judgement = judge(&aim, &reading);
    }
}
