//! Pulls are judged, and the hand is told, sample by sample as it was when their lines were written: a change of what is judged is meant and
//! has a new number of `RULES`, or it is a mistake.
//!
//! Pulls of every kind of the corpus but those of the trembling hand, whose sine may differ in its last bit from machine to machine; and of what
//! the corpus has none of: running down, pulling again, holding, backing off. `EVENDRAW_REWRITE=1` writes the lines anew.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use evendraw_core::curve_limits::CurveLimits;
use evendraw_core::procedure::TorqueWindow;
use evendraw_core::record::RULES;
use evendraw_core::tracker::{RunDown, Start, Tracker};
use evendraw_core::unit::{Span, Torque};
use evendraw_core::verdict::{Aim, Judgement, Reading, Reason, judge};

use crate::generator::{Dice, Hand, Joint, Sensor, Setup, Until};
use crate::{KINDS, Told, case, degrees, newton_meters, play, taken};

/// Of each kind of the corpus.
const OF_EACH: usize = 14;
/// Of each aim that the corpus does not have.
const OF_AIM: u64 = 24;

fn line(name: &str, number: u64, reading: &Reading, judgement: Judgement, told: Told) -> String {
    let reasons: Vec<_> = judgement.reasons.iter().map(Reason::word).collect();
    let number_or =
        |value: Option<i32>| value.map_or_else(|| "-".to_owned(), |own| own.to_string());
    format!(
        "{name} {number}: {:?}, peak {} ±{}, final {}, angle {}, restart {}, {} pulls, halt {}, told {:08x}; {}\n",
        judgement.verdict,
        reading.peak.millinewton_meters(),
        reading.bound.millinewton_meters(),
        reading.final_torque.millinewton_meters(),
        number_or(reading.angle.map(|own| own.millidegrees())),
        number_or(reading.restart.map(Torque::millinewton_meters)),
        reading.pulls,
        told.halt.map_or("-", Reason::word),
        told.sum,
        reasons.join(" ")
    )
}

fn corpus(lines: &mut String) {
    for (kind, _) in KINDS {
        let own = (0..).map(|number| case(kind, number));
        for case in own.filter(|case| case.hand != Hand::Jerky).take(OF_EACH) {
            let name = format!("{kind:?}");
            lines.push_str(&line(
                &name,
                case.number,
                &case.reading,
                case.judgement,
                case.told,
            ));
        }
    }
}

#[derive(Clone, Copy, Debug)]
enum Asked {
    RunDown,
    Again,
    Hold,
    BackOff,
    BackOffFree,
    Sweep,
}

fn window(target: f64) -> TorqueWindow {
    TorqueWindow {
        target: newton_meters(target),
        min: newton_meters(0.95 * target),
        max: newton_meters(1.05 * target),
    }
}

/// One of what the corpus has none of.
fn other(asked: Asked, number: u64, lines: &mut String) {
    let dice = &mut Dice::new(7 + number * 64);
    let target = dice.between(15.0, 60.0);
    let mut joint = Joint::of(target / dice.between(8.0, 90.0), dice);
    let noise = dice.between(0.03, 0.2);
    let still = degrees(2.0);
    let mut start = Start::default();
    let mut until = vec![Until::Torque(target * dice.between(0.93, 1.04))];
    let mut turned = 0.0;
    let aim = match asked {
        Asked::RunDown => {
            joint.run = dice.between(2.0, 6.0);
            joint.run_down = dice.between(120.0, 500.0);
            start.run_down = if number.is_multiple_of(3) {
                start.running = newton_meters(joint.run);
                RunDown::Known
            } else {
                RunDown::Measured
            };
            until = [0.3, 0.6, 1.0]
                .map(|part| Until::Turned(joint.run_down * part))
                .into_iter()
                .chain(until)
                .collect();
            Aim::Torque {
                window: window(target),
            }
        }
        Asked::Again => {
            let left = target * dice.between(0.8, 1.06);
            turned = joint.turned_at(left);
            start.restart_expected = Some(newton_meters(left));
            Aim::Repeat {
                window: window(target),
                still,
            }
        }
        Asked::Hold => {
            turned = joint.turned_at(0.9 * target);
            Aim::Hold {
                torque: newton_meters(0.9 * target),
                time: Span::from_millis(dice.one_of(&[400, 700, 1_000, 1_300, 1_600])),
                still,
            }
        }
        Asked::BackOff => Aim::BackOff {
            angle: Some(degrees(dice.between(20.0, 90.0))),
        },
        Asked::BackOffFree => Aim::BackOff { angle: None },
        Asked::Sweep => {
            joint.slope = 0.7 * target / 50.0;
            let from = 0.3 * target;
            turned = joint.turned_at(from);
            start.restart_expected = Some(newton_meters(from));
            until = vec![Until::Turned(turned + dice.between(43.0, 57.0))];
            Aim::Turn {
                window: evendraw_core::procedure::AngleWindow {
                    target: degrees(50.0),
                    min: degrees(45.0),
                    max: degrees(55.0),
                },
                torque: Some(TorqueWindow {
                    target: newton_meters(target),
                    min: newton_meters(0.5 * target),
                    max: newton_meters(2.0 * target),
                }),
                one_sweep: number.is_multiple_of(2),
                left: (number % 3 == 1).then(|| degrees(52.0)),
            }
        }
    };
    let setup = Setup {
        hand: if number.is_multiple_of(2) {
            Hand::Steady
        } else {
            Hand::Hurried
        },
        joint,
        train: dice.between(5.0, 60.0),
        rate: [100.0, 400.0, 1_000.0][usize::try_from(number % 3).unwrap_or(0)],
        torque_noise: noise,
        zero: 0.0,
        angle_noise: 0.06,
        sensor: Sensor::Whole,
        pulls: until,
        turned,
    };
    let limits = CurveLimits {
        noise: newton_meters(noise.max(0.1)),
        ..CurveLimits::default()
    };
    let (reading, told) = match asked {
        Asked::BackOff | Asked::BackOffFree => backed_off(&setup, dice, aim, &limits, target),
        Asked::Hold => held(&setup, dice, aim, &limits, target),
        _ => {
            let (_, reading, told) = play(&setup, dice, aim, &limits, start);
            (reading, told)
        }
    };
    let name = format!("{asked:?}");
    lines.push_str(&line(&name, number, &reading, judge(&aim, &reading), told));
}

/// The legs of a curve, N·m and degrees after so many seconds, sampled with noise until the attempt ends.
fn legs(
    setup: &Setup,
    dice: &mut Dice,
    aim: Aim,
    limits: &CurveLimits,
    legs: &[(f64, f64, f64)],
) -> (Reading, Told) {
    let mut tracker = Tracker::new();
    tracker.begin(aim, limits, Start::default());
    let mut told = Told::default();
    let (mut at, mut torque, mut angle) = (0.0, 0.0, 0.0);
    'all: for &(seconds, to_torque, to_angle) in legs {
        let steps = (seconds * setup.rate).round().max(1.0);
        let (from_torque, from_angle) = (torque, angle);
        let mut step = 0.0;
        while step < steps {
            step += 1.0;
            at += 1.0 / setup.rate;
            torque = from_torque + (to_torque - from_torque) * step / steps;
            angle = from_angle + (to_angle - from_angle) * step / steps;
            let noise = dice.between(-1.0, 1.0);
            let (at, sample) = taken(
                at,
                torque + setup.torque_noise * noise,
                angle + setup.angle_noise * noise,
            );
            let signal = tracker.feed(at, sample);
            told.hear(&signal);
            if signal.ended {
                break 'all;
            }
        }
    }
    (tracker.finish().unwrap_or_default(), told)
}

/// Breaks loose, and turns back under less and less.
fn backed_off(
    setup: &Setup,
    dice: &mut Dice,
    aim: Aim,
    limits: &CurveLimits,
    target: f64,
) -> (Reading, Told) {
    let loose = target * dice.between(0.6, 0.95);
    let back = dice.between(15.0, 140.0);
    let kept = target * dice.between(0.0, 0.3);
    let curve = [
        (0.5, 0.0, 0.0),
        (0.8, -loose, -loose / setup.train),
        (0.05, -0.8 * loose, -3.0),
        (0.9, -kept, -back),
        (0.2, 0.0, -back),
        (0.4, 0.0, -back + 30.0),
        (0.9, 0.0, -back + 30.0),
    ];
    legs(setup, dice, aim, limits, &curve)
}

/// Brought up and kept there, or let go of before its time, or given way to.
fn held(
    setup: &Setup,
    dice: &mut Dice,
    aim: Aim,
    limits: &CurveLimits,
    target: f64,
) -> (Reading, Told) {
    let wound = target / setup.train;
    let creeps = dice.one_of(&[0.0, 0.3, 4.0]);
    let long = dice.between(0.3, 2.2);
    let curve = [
        (0.5, 0.0, 0.0),
        (0.7, target, wound),
        (long, target * dice.between(0.92, 1.0), wound + creeps),
        (0.2, 0.0, creeps),
        (0.9, 0.0, creeps),
    ];
    legs(setup, dice, aim, limits, &curve)
}

#[test]
fn every_pull_is_judged_and_told_as_when_its_line_was_written() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/judged.txt");
    let mut lines = format!("rules {RULES}\n");
    corpus(&mut lines);
    for asked in [
        Asked::RunDown,
        Asked::Again,
        Asked::Hold,
        Asked::BackOff,
        Asked::BackOffFree,
        Asked::Sweep,
    ] {
        for number in 0..OF_AIM {
            other(asked, number, &mut lines);
        }
    }
    if std::env::var_os("EVENDRAW_REWRITE").is_some() {
        fs::write(&path, &lines).expect("the lines can be written");
        return;
    }
    let kept = fs::read_to_string(&path).expect("the lines");
    let mut differ = String::new();
    let pairs = kept.lines().zip(lines.lines());
    for (was, is) in pairs.filter(|(was, is)| was != is).take(5) {
        let _ = writeln!(differ, "  was {was}\n  is  {is}");
    }
    assert!(
        kept == lines,
        "judged or told otherwise than before; where that is meant, RULES moves and EVENDRAW_REWRITE=1 writes the lines anew:\n{differ}"
    );
}
