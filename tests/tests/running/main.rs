//! Running torque through whole sessions: 240 nuts run down and pulled, and the nuts of a published table.
//!
//! "On top of": the friction drag torque of a self-locking nut is added to the torque that is wanted [FAA AC 43.13-1B 7-40]. The
//! nuts come from a model of their own, `model.rs`; its sizes are *our judgement, no source*. Knows nothing of plans and
//! storage.

mod model;

use evendraw_core::procedure::{
    Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Added, Attempt, Entry, Record};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Instant, Rotation, Torque};
use evendraw_core::verdict::{Reason, Verdict};
use evendraw_tests::table::rows;
use model::{Model, Rng, Setup};

/// N·m or degrees as the core counts them.
fn thousandths(value: f64) -> i32 {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a few hundred N·m or some thousand degrees"
    )]
    let whole = (value * 1_000.0).round() as i32;
    whole
}

fn newton_meters(value: f64) -> Torque {
    Torque::from_millinewton_meters(thousandths(value))
}

/// One nut, tightened in one stage to within ±4 %, its running torque measured.
fn procedure(target: f64) -> Procedure {
    let window = TorqueWindow {
        target: newton_meters(target),
        min: newton_meters(0.96 * target),
        max: newton_meters(1.04 * target),
    };
    let kind = StageKind::Tighten {
        window,
        prevailing: Prevailing::Measure,
    };
    let fastener = Fastener {
        label: Label::new("1").expect("short"),
        near: [None; 4],
    };
    Procedure::new(&Parts {
        fasteners: &[fastener],
        stages: &[Stage::new(kind)],
        steps: &[Step::on(0, 0)],
        overrides: &[],
        terms: Terms::default(),
    })
    .expect("a valid procedure")
}

/// A session with what a host would keep of it.
struct Work<'p> {
    session: Session<&'p Procedure>,
    kept: Vec<Entry>,
    at: Instant,
}

impl<'p> Work<'p> {
    fn new(procedure: &'p Procedure) -> Self {
        let mut work = Self {
            session: Session::new(procedure, 0),
            kept: Vec::new(),
            at: Instant::BOOT,
        };
        work.send(Input::Start {
            boot: 1,
            rehearsal: false,
        });
        work
    }

    fn send(&mut self, input: Input<'_>) {
        let outcome = self.session.apply(self.at, input);
        self.kept.extend_from_slice(outcome.entries());
        let seq = self.session.ledger().seq();
        if self.session.durable() < seq {
            self.session.apply(self.at, Input::Durable { seq });
        }
    }

    fn sample(&mut self, seconds: f64, torque: f64, angle: f64) {
        self.at = Instant::from_micros(u64::from(thousandths(seconds).unsigned_abs()) * 1_000);
        self.send(Input::Sample(Sample {
            torque: newton_meters(torque),
            rotation: Rotation::from_millidegrees(thousandths(angle)),
        }));
    }

    fn attempts(&self) -> Vec<&Attempt> {
        self.kept
            .iter()
            .filter_map(|entry| match &entry.record {
                Record::Attempt(attempt) => Some(attempt),
                _ => None,
            })
            .collect()
    }
}

/// Runs a nut down and pulls it in so many pulls, the last to `end`; the one attempt there must be.
fn tightened(
    setup: Setup,
    target: f64,
    strokes: u32,
    pulls: u32,
    end: f64,
    seed: u64,
) -> Result<Attempt, String> {
    let procedure = procedure(target);
    let mut work = Work::new(&procedure);
    let mut rng = Rng::new(seed);
    let mut model = Model::new(setup, &mut rng);
    let take = &mut |seconds, torque, angle| work.sample(seconds, torque, angle);
    model.rest(0.5, take);
    model.run_down(strokes, take);
    for pull in 1..=pulls {
        let part = f64::from(pull) / f64::from(pulls);
        model.pull(setup.drag + (end - setup.drag) * part, take);
    }
    model.rest(0.5, take);
    work.send(Input::Finish);
    match work.attempts().as_slice() {
        [only] => Ok((*only).clone()),
        other => Err(format!("{} attempts: {other:?}", other.len())),
    }
}

/// One of the matrix: a nut, how it is run down and pulled, and whether the drag was minded.
struct Case {
    setup: Setup,
    target: f64,
    strokes: u32,
    pulls: u32,
    is_short: bool,
}

fn case(number: u64) -> Case {
    let rng = &mut Rng::new(9_000 + number);
    let is_short = number % 2 == 1;
    let target = rng.between(5.0, 60.0);
    // What falls short by less than the window is wide may be accepted.
    let drag = target * rng.between(if is_short { 0.08 } else { 0.02 }, 0.4);
    let strokes = 1 + u32::try_from(number % 20).unwrap_or(0);
    let setup = Setup {
        drag,
        wave: rng.between(0.0, 0.08),
        breakaway: rng.between(0.0, 0.2),
        run_down: f64::from(strokes) * rng.between(40.0, 150.0) + 10.0,
        toe: rng.between(1.0, 12.0),
        slope: target / rng.one_of(&[8.0, 20.0, 60.0, 150.0]),
        train: target * rng.between(0.2, 1.5),
        rate: rng.one_of(&[200.0, 500.0, 1_000.0]),
        torque_noise: target * rng.between(0.001, 0.005),
        angle_noise: rng.between(0.02, 0.08),
    };
    Case {
        setup,
        target,
        strokes,
        pulls: rng.one_of(&[1, 3, 6]),
        is_short,
    }
}

/// Used locknuts at the least breakaway torque that the Army's table allows, tightened to the middle of what the FAA recommends for
/// their threads [US Army TM 10-5430-237-12&P p. 0032 00-2 table 2; FAA AC 43.13-1B table 7-1, tension nuts, fine]: the drag, and
/// three times as much as a new nut may have, is added; a pull to the recommended torque alone is short of it.
#[test]
fn published_locknuts_are_tightened_on_top_of_their_drag() {
    /// Thread, and the recommended range in inch-pounds.
    const RECOMMENDED: [(&str, f64, f64); 8] = [
        ("1/4-28", 50.0, 70.0),
        ("5/16-24", 100.0, 140.0),
        ("3/8-24", 160.0, 190.0),
        ("7/16-20", 450.0, 500.0),
        ("1/2-20", 480.0, 690.0),
        ("9/16-18", 800.0, 1_000.0),
        ("5/8-18", 1_100.0, 1_300.0),
        ("3/4-16", 2_300.0, 2_500.0),
    ];
    // 1 lbf·in in N·m, exact: 4.4482216152605 × 0.0254.
    let inch_pounds = |value: f64| value * 0.112_984_829_027_616_7;
    let nuts = rows("army_locknut_torque_pairs.csv");
    for (thread, low, high) in RECOMMENDED {
        let nut = nuts
            .iter()
            .find(|row| row.text("thread") == thread)
            .unwrap_or_else(|| panic!("no {thread} in the table"));
        let least = inch_pounds(nut.number("lbf_in").expect("a number"));
        let target = inch_pounds((low + high) / 2.0);
        for times in [1.0, 3.0] {
            let setup = Setup {
                drag: times * least,
                wave: 0.05,
                breakaway: 0.1,
                run_down: 720.0,
                toe: 5.0,
                slope: target / 40.0,
                train: target * 0.5,
                rate: 500.0,
                torque_noise: target * 0.002,
                angle_noise: 0.05,
            };
            let right =
                tightened(setup, target, 6, 1, target + setup.drag, 7).expect("one attempt");
            assert_eq!(right.verdict, Verdict::Accepted, "{thread}: {right:?}");
            // Where the drag is less than the window is wide, a pull without it may be right too.
            if setup.drag > 0.05 * target {
                let short = tightened(setup, target, 6, 1, target, 8).expect("one attempt");
                assert_eq!(short.verdict, Verdict::Rejected, "{thread}: {short:?}");
                assert!(
                    short.reasons.contains(Reason::TorqueLow),
                    "{thread}: {short:?}"
                );
            }
        }
    }
}

/// The plainest case: 40 N·m on nuts that drag 5 to 10 N·m, twelve pulled on top of it and twelve to 40 N·m alone.
#[test]
fn twelve_nuts_that_drag_are_right_on_top_of_it_and_twelve_short_by_it() {
    for number in 0..12_u32 {
        let drag = 5.0 + 5.0 * f64::from(number) / 11.0;
        let setup = Setup {
            drag,
            wave: 0.03,
            breakaway: 0.1,
            run_down: 200.0,
            toe: 4.0,
            slope: 40.0 / 30.0,
            train: 30.0,
            rate: 500.0,
            torque_noise: 0.05,
            angle_noise: 0.05,
        };
        let (strokes, pulls) = (1 + number % 4, [1, 3, 6][(number % 3) as usize]);
        let seed = u64::from(number);
        let right = tightened(setup, 40.0, strokes, pulls, 40.0 + drag, seed).expect("one attempt");
        assert_eq!(right.verdict, Verdict::Accepted, "{drag}: {right:?}");
        let short = tightened(setup, 40.0, strokes, pulls, 40.0, seed).expect("one attempt");
        assert_eq!(short.verdict, Verdict::Rejected, "{drag}: {short:?}");
        assert!(
            short.reasons.contains(Reason::TorqueLow),
            "{drag}: {short:?}"
        );
    }
}

#[test]
fn of_240_nuts_run_down_and_pulled_none_is_judged_wrong() {
    let mut wrong = Vec::new();
    let mut off_most: f64 = 0.0;
    for number in 0..240 {
        let Case {
            setup,
            target,
            strokes,
            pulls,
            is_short,
        } = case(number);
        let miss = Rng::new(number).between(-0.01, 0.01) * target;
        let end = target + miss + if is_short { 0.0 } else { setup.drag };
        let told = match tightened(setup, target, strokes, pulls, end, number) {
            Err(why) => Some(why),
            Ok(attempt) => {
                let seen = attempt.prevailing.torque().map_or(0.0, |torque| {
                    f64::from(torque.millinewton_meters()) / 1_000.0
                });
                off_most = off_most.max((seen - setup.drag).abs() / target);
                let is_right = match is_short {
                    false => attempt.verdict == Verdict::Accepted,
                    true => {
                        attempt.verdict == Verdict::Rejected
                            && attempt.reasons.contains(Reason::TorqueLow)
                    }
                };
                let is_seen = matches!(attempt.prevailing, Added::Measured(_))
                    && (seen - setup.drag).abs() < 0.02 * target;
                (!is_right || !is_seen).then(|| format!("{attempt:?}"))
            }
        };
        if let Some(told) = told {
            wrong.push(format!(
                "{number}: {target:.1} N·m, {strokes} strokes, {pulls} pulls, short {is_short}\n  {setup:.2?}\n  {told}"
            ));
        }
    }
    println!(
        "wrong {} of 240; running torque off by {:.2} % of the target at most",
        wrong.len(),
        100.0 * off_most
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
