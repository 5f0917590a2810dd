//! How long a serious fault is in the signal before the hand is told to stop: never more than 10 ms.
//!
//! Plain curves of straight legs, without noise, at three rates; a fault is in the signal from the moment at which the rule
//! that `CurveLimits` documents for it holds on the curve itself.

use evendraw_core::curve_limits::CurveLimits;
use evendraw_core::procedure::TorqueWindow;
use evendraw_core::sample::Sample;
use evendraw_core::tracker::{Start, Tracker};
use evendraw_core::unit::{Angle, Instant, Rotation, Span};
use evendraw_core::verdict::{Aim, Reason};

use crate::generator::thousandths;
use crate::newton_meters;

const TARGET: f64 = 40.0;
/// A tenth of the target, where the angle starts.
const SNUG: f64 = 4.0;

/// Seconds, N·m, degrees.
type Leg = (f64, f64, f64);

struct Curve(Vec<Leg>);

impl Curve {
    /// Rest, run-down to snug, and then these legs.
    fn of(legs: &[Leg]) -> Self {
        let mut all = vec![(0.0, 0.0, 0.0), (0.3, 0.0, 0.0), (0.6, SNUG, 90.0)];
        let (seconds, ..) = all[2];
        all.extend(legs.iter().map(|leg| (seconds + leg.0, leg.1, leg.2)));
        Self(all)
    }

    fn end(&self) -> f64 {
        self.0.last().expect("legs").0
    }

    fn at(&self, seconds: f64) -> (f64, f64) {
        let next = self.0.iter().position(|leg| leg.0 > seconds);
        let Some(next) = next else {
            let (_, torque, rotation) = *self.0.last().expect("legs");
            return (torque, rotation);
        };
        let (from, to) = (self.0[next - 1], self.0[next]);
        let part = (seconds - from.0) / (to.0 - from.0);
        (
            from.1 + (to.1 - from.1) * part,
            from.2 + (to.2 - from.2) * part,
        )
    }

    /// The first moment at which the rule holds.
    fn first(&self, mut rule: impl FnMut(f64, f64) -> bool) -> f64 {
        let steps = (0..).map(|step| f64::from(step) * 1e-5);
        steps
            .take_while(|seconds| *seconds < self.end())
            .find(|&seconds| {
                let (torque, rotation) = self.at(seconds);
                rule(torque, rotation)
            })
            .expect("the fault is in the curve")
    }
}

/// The fault, what is known of the joint, the curve, and since when the fault is in it.
struct Fault {
    reason: Reason,
    limits: CurveLimits,
    curve: Curve,
    since: f64,
}

/// A train as stiff as no tool is: what the adapter turns, the fastener turns.
fn limits() -> CurveLimits {
    CurveLimits {
        train: 100_000_000,
        ..CurveLimits::default()
    }
}

fn overload() -> Fault {
    let curve = Curve::of(&[(0.3, 80.0, 242.0)]);
    Fault {
        reason: Reason::Overload,
        limits: CurveLimits {
            overload: newton_meters(60.0),
            ..limits()
        },
        since: curve.first(|torque, _| torque > 60.0),
        curve,
    }
}

fn giving_way() -> Fault {
    let curve = Curve::of(&[(0.3, 30.0, 142.0), (0.5, 10.0, 172.0)]);
    let (mut top, mut anchor) = (0.0_f64, 0.0);
    let since = curve.first(|torque, rotation| {
        top = top.max(torque);
        // A fall of a fifth of the target, and 4° since half of it.
        if torque >= top - 0.1 * TARGET {
            anchor = rotation;
        }
        torque < top - 0.2 * TARGET && rotation - anchor > 4.0
    });
    Fault {
        reason: Reason::GivingWay,
        limits: limits(),
        since,
        curve,
    }
}

fn yielding() -> Fault {
    let curve = Curve::of(&[(0.4, 30.0, 142.0), (0.9, 34.0, 222.0)]);
    // Chords of an eighth of the target are 10° long; one two and a half times as long is flat.
    let level = curve
        .at(curve.first(|torque, _| torque >= SNUG + 5.0 * TARGET / 8.0))
        .1;
    Fault {
        reason: Reason::Yielding,
        limits: limits(),
        since: curve.first(|_, rotation| rotation > level + 25.0),
        curve,
    }
}

fn early() -> Fault {
    let curve = Curve::of(&[(0.2, 40.0, 108.0)]);
    let half = (TARGET - SNUG) / 2.0;
    Fault {
        reason: Reason::EarlyRise,
        limits: CurveLimits {
            gradient_max: 750,
            ..limits()
        },
        since: curve.first(|torque, rotation| {
            let risen = torque - SNUG;
            risen > half && risen > 0.75 * (rotation - 90.0 + 1.0)
        }),
        curve,
    }
}

fn late() -> Fault {
    let curve = Curve::of(&[(1.0, 10.0, 290.0)]);
    Fault {
        reason: Reason::LateRise,
        limits: CurveLimits {
            gradient_min: 300,
            ..limits()
        },
        since: curve.first(|torque, rotation| {
            let turned = rotation - 90.0;
            turned > 10.0 && torque - SNUG < 0.3 * (turned - 10.0)
        }),
        curve,
    }
}

fn no_turn() -> Fault {
    let curve = Curve::of(&[(0.3, 40.0, 90.4)]);
    Fault {
        reason: Reason::NoTurn,
        limits: limits(),
        since: curve.first(|torque, _| torque - SNUG > 0.75 * (TARGET - SNUG)),
        curve,
    }
}

fn stick_slip() -> Fault {
    let mut legs = vec![(0.2, 16.0, 114.0)];
    for tooth in 0..8 {
        let tooth = f64::from(tooth);
        legs.push((0.23 + 0.06 * tooth, 22.0 + tooth, 116.0 + 4.0 * tooth));
        legs.push((0.26 + 0.06 * tooth, 17.0 + tooth, 118.0 + 4.0 * tooth));
    }
    let curve = Curve::of(&legs);
    // A fall and a rise of 8 % of the target, five times.
    let (mut high, mut low, mut falling, mut teeth) = (0.0_f64, 0.0_f64, false, 0);
    let since = curve.first(|torque, _| {
        if falling {
            low = low.min(torque);
            if torque > low + 0.08 * TARGET {
                (falling, high, teeth) = (false, torque, teeth + 1);
            }
        } else {
            high = high.max(torque);
            if torque < high - 0.08 * TARGET {
                (falling, low) = (true, torque);
            }
        }
        teeth == 5
    });
    Fault {
        reason: Reason::StickSlip,
        limits: limits(),
        since,
        curve,
    }
}

/// When the hand was told to stop, and by what.
fn told(fault: &Fault, rate: f64) -> Option<(f64, Reason)> {
    let window = TorqueWindow {
        target: newton_meters(TARGET),
        min: newton_meters(0.95 * TARGET),
        max: newton_meters(1.05 * TARGET),
    };
    let mut tracker = Tracker::new();
    tracker.begin(Aim::Torque { window }, &fault.limits, Start::default());
    let steps = (0..).map(|step| f64::from(step) / rate);
    steps
        .take_while(|seconds| *seconds < fault.curve.end())
        .find_map(|seconds| {
            let (torque, rotation) = fault.curve.at(seconds);
            let sample = Sample {
                torque: newton_meters(torque),
                rotation: Rotation::from_millidegrees(thousandths(rotation)),
            };
            let at = Span::from_micros(u64::from(thousandths(seconds * 1_000.0).unsigned_abs()));
            let signal = tracker.feed(Instant::BOOT.after(at), sample);
            signal.halt.map(|reason| (seconds, reason))
        })
}

#[test]
fn a_serious_fault_stops_the_hand_within_ten_ms() {
    let faults = [
        overload(),
        giving_way(),
        yielding(),
        early(),
        late(),
        no_turn(),
        stick_slip(),
    ];
    for fault in &faults {
        for rate in [200.0, 500.0, 1_000.0] {
            let (seconds, reason) = told(fault, rate).expect("the fault is seen");
            let after = 1e3 * (seconds - fault.since);
            println!(
                "{}, {rate:.0} samples a second: {after:.1} ms after it was there",
                fault.reason.word()
            );
            assert_eq!(reason, fault.reason);
            assert!(
                after > -1.0,
                "{reason:?} before it was there: {after:.2} ms"
            );
            assert!(
                after < 10.05,
                "{reason:?} at {rate} a second: {after:.2} ms"
            );
        }
    }
}

/// A gap has no sample that could show it: the clock does, one µs after the limit.
#[test]
fn a_gap_is_told_by_the_clock() {
    let window = TorqueWindow {
        target: newton_meters(TARGET),
        min: newton_meters(0.95 * TARGET),
        max: newton_meters(1.05 * TARGET),
    };
    let mut tracker = Tracker::new();
    tracker.begin(
        Aim::Torque { window },
        &CurveLimits::default(),
        Start::default(),
    );
    for millis in 0..100 {
        let sample = Sample {
            torque: newton_meters(0.2 * f64::from(millis)),
            rotation: Rotation::from_millidegrees(100 * thousandths(0.001 * f64::from(millis))),
        };
        let at = Instant::BOOT.after(Span::from_millis(millis));
        assert_eq!(tracker.feed(at, sample).halt, None);
    }
    let last = Instant::BOOT.after(Span::from_millis(99));
    let due = tracker.deadline().expect("it is loaded");
    assert_eq!(due.since(last), Span::from_micros(100_001));
    assert_eq!(tracker.tick(due).halt, Some(Reason::Gap));
    assert_eq!(
        tracker.finish().map(|reading| reading.angle),
        Some(None::<Angle>)
    );
}
