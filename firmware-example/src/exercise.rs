//! Seeded sessions: a random procedure, random metal, a random hand, through the core; the same records on every machine.
//!
//! Integers only, so that a chip without floats and a desktop agree to the last bit. The metal here is a straight line with
//! noise on it: enough to reach every kind of stage and verdict, not a model of a joint (the desktop has one). Knows nothing of
//! flash, link or board.

use evendraw_core::curve_limits::CurveLimits;
use evendraw_core::limits::FASTENERS_MAX;
use evendraw_core::procedure::{
    AngleWindow, Fastener, Parts, Policy, Prevailing, Procedure, Redo, Reuse, Stage, StageKind,
    Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Decision, Entry, Role};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next, Outcome, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Instant, Length, Rotation, Span, Torque};
use evendraw_core::verdict::Aim;

/// A generator of numbers that look random: SplitMix64 [Steele, Lea, Flood 2014, "Fast splittable pseudorandom number
/// generators", figure 15].
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// From a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 32 bits.
    pub fn bits(&mut self) -> u32 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let [a, b, c, d, ..] = (z ^ (z >> 31)).to_be_bytes();
        u32::from_be_bytes([a, b, c, d])
    }

    /// A number from 0 up to, not including, `end`; 0 if that is 0.
    pub fn below(&mut self, end: u32) -> u32 {
        // The upper half of the product: even enough for this, and without a division.
        let [a, b, c, d, ..] = (u64::from(self.bits()) * u64::from(end)).to_be_bytes();
        u32::from_be_bytes([a, b, c, d])
    }

    /// A number between both ends, both included.
    pub fn between(&mut self, low: i32, high: i32) -> i32 {
        low.saturating_add_unsigned(self.below(high.abs_diff(low).saturating_add(1)))
    }

    /// True once in `n` times.
    pub fn once_in(&mut self, n: u32) -> bool {
        self.below(n) == 0
    }
}

/// A window of ±`percent` about a torque in mN·m.
pub(crate) fn about(target: i32, percent: i32) -> TorqueWindow {
    let half = target / 100 * percent;
    TorqueWindow {
        target: Torque::from_millinewton_meters(target),
        min: Torque::from_millinewton_meters(target - half),
        max: Torque::from_millinewton_meters(target + half),
    }
}

const LABELS: [&str; 8] = ["1", "2", "3", "4", "5", "6", "7", "8"];

/// Makes a procedure where it stays, by way of its stored form in `N` bytes: the smallest board has no memory for a second one.
///
/// # Panics
///
/// If the parts make no procedure, or their form is longer.
pub(crate) fn made<const N: usize>(into: &mut Option<Procedure>, parts: &Parts<'_>) {
    let mut room = [0; N];
    let blob = parts.encode(&mut room).expect("room for the stored form");
    let read = Procedure::decode_into(into, blob.len(), |offset, bytes| {
        let found = blob.get(offset..offset + bytes.len());
        bytes.copy_from_slice(found.unwrap_or_default());
        true
    });
    read.expect("a procedure made of sound parts is sound");
}

/// A procedure of three to eight fasteners and two to five stages. The same seed gives the same one.
///
/// # Panics
///
/// If a procedure made here breaks a rule of the core: the rules changed and this did not.
#[inline(never)]
pub fn procedure(random: &mut Random, into: &mut Option<Procedure>) {
    let count = random.between(3, 8);
    let mut fasteners = heapless::Vec::<Fastener, 8>::new();
    for label in LABELS.iter().take(usize::try_from(count).unwrap_or(3)) {
        let fastener = Fastener {
            label: Label::cut(label),
            near: [None; 4],
        };
        // Eight labels, room for eight.
        let _ = fasteners.push(fastener);
    }

    let target = random.between(10, 60) * 1000;
    let mut stages = heapless::Vec::<Stage, 8>::new();
    let mut keep = |kind, policy| {
        let mut stage = Stage::new(kind);
        stage.on_over = policy;
        let _ = stages.push(stage);
    };
    let policies = [Policy::Ask, Policy::Replace, Policy::Restart(0)];
    let policy = |random: &mut Random| policies[usize::try_from(random.below(3)).unwrap_or(0)];
    if random.once_in(3) {
        keep(
            StageKind::Seat {
                turns: Angle::from_millidegrees(1_080_000),
            },
            Policy::Ask,
        );
    }
    let window = about(target, random.between(4, 8));
    let first = StageKind::Tighten {
        window,
        prevailing: Prevailing::None,
    };
    keep(first, Policy::Ask);
    if random.once_in(3) {
        keep(StageKind::Check, Policy::Ask);
    }
    match random.below(5) {
        0 => keep(
            StageKind::Repeat {
                window,
                still: Angle::from_millidegrees(2000),
                min: 1,
                max: 3,
            },
            Policy::Ask,
        ),
        1 => keep(
            StageKind::Hold {
                torque: Torque::from_millinewton_meters(target),
                time: Span::from_millis(200),
                still: Angle::from_millidegrees(2000),
            },
            Policy::Ask,
        ),
        2 => {
            keep(
                StageKind::Measure {
                    min: Length::from_micrometers(50),
                    max: Length::from_micrometers(150),
                },
                Policy::Ask,
            );
        }
        _ => {
            let angle = random.between(30, 120) * 1000;
            let turn = StageKind::Turn {
                window: AngleWindow {
                    target: Angle::from_millidegrees(angle),
                    min: Angle::from_millidegrees(angle - 5000),
                    max: Angle::from_millidegrees(angle + 5000),
                },
                torque: None,
                one_sweep: random.once_in(4),
            };
            keep(turn, policy(random));
        }
    }

    let mut steps = heapless::Vec::<Step, 64>::new();
    for stage in 0..u8::try_from(stages.len()).unwrap_or(0) {
        for fastener in 0..u8::try_from(fasteners.len()).unwrap_or(0) {
            let _ = steps.push(Step::on(fastener, stage));
        }
    }
    let redo = [Redo::Fastener, Redo::Joint][usize::from(random.once_in(2))];
    let reuse = [Reuse::Free, Reuse::ReplaceIfLoosened][usize::from(random.once_in(2))];
    let parts = Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: &[],
        terms: Terms {
            redo,
            reuse,
            condition_stated: random.once_in(2),
            person_named: random.once_in(2),
            tool_named: random.once_in(2),
            limits: CurveLimits {
                train: 20_000,
                ..CurveLimits::default()
            },
            ..Terms::default()
        },
    };
    made::<1024>(into, &parts);
}

/// Time between two readings.
const PERIOD: Span = Span::from_micros(2_500);
/// Stiffness of the tool train, in mN·m a degree: the same as the procedures state.
const TRAIN: i32 = 20_000;
/// Stiffness of the joint, in mN·m a degree.
const JOINT: i32 = 500;

/// The metal of one fastener, and the hand on it.
#[derive(Clone, Copy, Debug, Default)]
struct Metal {
    /// How far it was turned, in millidegrees.
    turned: i32,
    /// The torque at which it turns, in mN·m.
    moves_at: i32,
}

/// A bench that pulls: it makes readings and hands each to `take`, which says whether to go on pulling.
#[derive(Debug)]
pub struct Bench {
    random: Random,
    metal: [Metal; FASTENERS_MAX],
    at: Instant,
    /// What the adapter's sensor has turned while it was off the fastener.
    drift: i32,
}

impl Bench {
    /// New metal, nothing tightened.
    #[must_use]
    pub const fn new(random: Random) -> Self {
        Self {
            random,
            metal: [Metal {
                turned: 0,
                moves_at: 0,
            }; FASTENERS_MAX],
            at: Instant::BOOT,
            drift: 0,
        }
    }

    /// The time.
    #[must_use]
    pub const fn now(&self) -> Instant {
        self.at
    }

    /// The chances of this bench.
    pub const fn random(&mut self) -> &mut Random {
        &mut self.random
    }

    /// Lets time pass.
    pub fn wait(&mut self, span: Span) {
        self.at = self.at.after(span);
    }

    /// A fastener taken out or loosened: it starts again.
    pub fn loosen(&mut self, fastener: u8) {
        if let Some(metal) = self.metal.get_mut(usize::from(fastener)) {
            *metal = Metal::default();
        }
    }

    fn reading(&mut self, torque: i32, turned: i32) -> (Instant, Sample) {
        self.at = self.at.after(PERIOD);
        let noise = self.random.between(-40, 40);
        let shake = self.random.between(-30, 30);
        let wound = torque / (TRAIN / 1000);
        let sample = Sample {
            torque: Torque::from_millinewton_meters(torque.saturating_add(noise)),
            rotation: Rotation::from_millidegrees(turned + wound + self.drift + shake),
        };
        (self.at, sample)
    }

    /// Pulls one fastener for what is asked, well most of the time. Every reading goes to `take`; false from it means that the
    /// hand was told to stop, and it lets go.
    pub fn pull(&mut self, fastener: u8, aim: &Aim, take: &mut dyn FnMut(Instant, Sample) -> bool) {
        let index = usize::from(fastener) % self.metal.len();
        let mut metal = self.metal[index];
        let start = metal.turned;
        let slip = self.random.between(-2, 3);
        let blunder = self.random.once_in(12);
        // What to reach: a torque, or an angle from here; and how long to stay there.
        let (torque, angle, stay) = match *aim {
            Aim::Torque { window } => (window.target.millinewton_meters(), None, 4),
            Aim::Repeat { window, .. } => (window.target.millinewton_meters(), None, 4),
            Aim::Turn { window, .. } => (i32::MAX / 4, Some(window.target.millidegrees()), 4),
            Aim::Hold { torque, .. } => (torque.millinewton_meters(), None, 120),
            Aim::BackOff { angle } => {
                let back = angle.map_or(360_000, Angle::millidegrees);
                self.back_off(index, back, take);
                return;
            }
        };
        let wrong = if blunder {
            self.random.between(6, 12)
        } else {
            0
        };
        let torque = torque / 100 * (100 + slip + wrong);
        let angle = angle.map(|angle| angle / 100 * (100 + slip + 2 * wrong));
        let speed = self.random.between(250, 900);
        let rise = self.random.between(150, 400);

        let mut load = 0;
        let mut told = false;
        loop {
            if load < metal.moves_at {
                // Static friction holds until the load passes it.
                load = (load + rise).min(metal.moves_at);
            } else {
                metal.turned += speed;
                metal.moves_at += speed / 10 * JOINT / 100;
                load = metal.moves_at;
            }
            let done = match angle {
                Some(angle) => metal.turned - start >= angle,
                None => load >= torque,
            };
            let (at, sample) = self.reading(load, metal.turned);
            told |= !take(at, sample);
            if done || told {
                break;
            }
        }
        if !told {
            for _ in 0..stay {
                let (at, sample) = self.reading(load, metal.turned);
                if !take(at, sample) {
                    break;
                }
            }
        }
        self.metal[index] = metal;
        self.let_go(load, metal.turned, take);
    }

    /// The tool lies there: as many readings at rest as `take` wants.
    pub fn rest(&mut self, take: &mut dyn FnMut(Instant, Sample) -> bool) {
        loop {
            let (at, sample) = self.reading(0, 0);
            if !take(at, sample) {
                break;
            }
        }
    }

    fn back_off(&mut self, index: usize, back: i32, take: &mut dyn FnMut(Instant, Sample) -> bool) {
        let mut metal = self.metal[index];
        let end = metal.turned - back;
        let mut load = 0;
        while metal.turned > end {
            if load > -(metal.moves_at / 10 * 8) && metal.moves_at > 0 {
                load -= 400;
            } else {
                metal.turned -= 1500;
                metal.moves_at = (metal.moves_at - 750).max(0);
                load = -(metal.moves_at / 10 * 8);
            }
            let (at, sample) = self.reading(load, metal.turned);
            if !take(at, sample) {
                break;
            }
        }
        self.metal[index] = metal;
        self.let_go(load, metal.turned, take);
    }

    fn let_go(&mut self, from: i32, turned: i32, take: &mut dyn FnMut(Instant, Sample) -> bool) {
        let mut load = from;
        for _ in 0..8 {
            load = load / 10 * 6;
            let (at, sample) = self.reading(load, turned);
            take(at, sample);
        }
        self.drift += self.random.between(-20_000, 20_000);
        for _ in 0..12 {
            let (at, sample) = self.reading(0, turned);
            take(at, sample);
        }
    }
}

/// Inputs after which a session is left unfinished: enough for any of these procedures, few enough to end.
const INPUTS_MAX: u32 = 400;

/// What a reading was for: the place of its cost in a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A torque.
    Torque,
    /// An angle.
    Turn,
    /// The pass before once more.
    Repeat,
    /// A torque kept.
    Hold,
    /// Back.
    BackOff,
}

impl Kind {
    /// Every kind, in the order of its number.
    pub const ALL: [Self; 5] = [
        Self::Torque,
        Self::Turn,
        Self::Repeat,
        Self::Hold,
        Self::BackOff,
    ];

    const fn of(aim: &Aim) -> Self {
        match aim {
            Aim::Torque { .. } => Self::Torque,
            Aim::Turn { .. } => Self::Turn,
            Aim::Repeat { .. } => Self::Repeat,
            Aim::Hold { .. } => Self::Hold,
            Aim::BackOff { .. } => Self::BackOff,
        }
    }
}

/// Works one seeded session from beginning to end; every record goes to `keep`, in order. Returns the number of readings.
///
/// `meter` is called right before a reading is given to the session, with nothing, and right after, with its kind.
///
/// # Panics
///
/// As [`procedure`].
pub fn work(seed: u64, keep: &mut dyn FnMut(&Entry), meter: &mut dyn FnMut(Option<Kind>)) -> u32 {
    let mut random = Random::new(seed);
    let mut made = None;
    procedure(&mut random, &mut made);
    match &made {
        Some(procedure) => work_through(procedure, random, keep, meter),
        None => 0,
    }
}

#[inline(never)]
fn work_through(
    procedure: &Procedure,
    random: Random,
    keep: &mut dyn FnMut(&Entry),
    meter: &mut dyn FnMut(Option<Kind>),
) -> u32 {
    let mut session = Session::new(procedure, 1);
    let mut bench = Bench::new(random);
    let mut readings = 0;
    let start = Input::Start {
        boot: 1,
        rehearsal: true,
    };
    apply(&mut session, bench.now(), start, keep);
    for _ in 0..INPUTS_MAX {
        bench.wait(Span::from_millis(300));
        let now = bench.now();
        let input = match session.next() {
            Next::Pull { step } => {
                let Some((_, aim)) = session.armed() else {
                    break;
                };
                let place = session.procedure().step_at(step);
                let Some(fastener) = place.and_then(|step| step.fastener()) else {
                    break;
                };
                let kind = Kind::of(&aim);
                let mut outcome = Outcome::default();
                bench.pull(fastener, &aim, &mut |at, sample| {
                    readings += 1;
                    meter(None);
                    session.apply_into(at, Input::Sample(sample), &mut outcome);
                    meter(Some(kind));
                    after(&mut session, at, &outcome, keep)
                });
                bench.wait(Span::from_seconds(2));
                let now = bench.now();
                apply(&mut session, now, Input::Tick, keep);
                if session.is_in_pull() {
                    Input::Finish
                } else {
                    Input::Tick
                }
            }
            Next::Store => Input::Durable {
                seq: session.ledger().seq(),
            },
            Next::Person => Input::Person {
                name: "A. Fitter",
                role: Role::Operator,
            },
            Next::Tool => Input::Tool {
                id: "A1",
                waiver: "",
            },
            Next::Condition => Input::Condition {
                found: "oiled",
                matches: true,
            },
            Next::Hand { step } => Input::Confirm { step },
            Next::Fit { step } => Input::Confirm { step },
            Next::Answer { step } => Input::Answer {
                step,
                yes: true,
                note: "",
            },
            Next::Measure { step } => Input::Measure {
                step,
                length: Length::from_micrometers(bench.random().between(40, 160)),
            },
            Next::Moment { moment, .. } => Input::Moment { moment },
            Next::Wait { until, .. } => {
                bench.wait(until.since(now));
                Input::Tick
            }
            Next::Loosen { fastener } => {
                bench.loosen(fastener);
                Input::Loosened {
                    fastener,
                    elsewhere: false,
                    cause: "start again",
                }
            }
            Next::Replace { fastener } => {
                bench.loosen(fastener);
                Input::Fitted { fastener }
            }
            Next::Decide { step } => Input::Decide {
                step,
                decision: match bench.random().below(4) {
                    0 => Decision::Replace,
                    1 => Decision::Restart(0),
                    2 => Decision::Again,
                    _ => Decision::Waive,
                },
                note: "seen by A. Fitter",
            },
            Next::Settle { fastener } => Input::Note {
                fastener: Some(fastener),
                doubt: evendraw_core::record::Doubt::Settled,
                text: "looked at",
            },
            Next::Start | Next::TakeApart | Next::AwaitDue { .. } | Next::Nothing => break,
        };
        apply(&mut session, bench.now(), input, keep);
    }
    readings
}

/// Applies an input, keeps its records; false when the hand must stop.
#[inline(never)]
fn apply(
    session: &mut Session<&Procedure>,
    at: Instant,
    input: Input<'_>,
    keep: &mut dyn FnMut(&Entry),
) -> bool {
    let mut outcome = Outcome::default();
    session.apply_into(at, input, &mut outcome);
    after(session, at, &outcome, keep)
}

fn after(
    session: &mut Session<&Procedure>,
    at: Instant,
    outcome: &Outcome,
    keep: &mut dyn FnMut(&Entry),
) -> bool {
    for entry in outcome.entries() {
        keep(entry);
    }
    if let Some(last) = outcome.entries().last() {
        kept(session, at, last.seq);
    }
    outcome.halt.is_none()
}

/// In a function of its own, so that what comes of it takes memory only while it is looked for.
#[inline(never)]
fn kept(session: &mut Session<&Procedure>, at: Instant, seq: u32) {
    session.apply(at, Input::Durable { seq });
}
