//! A joint worked from beginning to end so that every kind of input can be metered: 6, 14 and 64 fasteners, readings all the time.
//!
//! Integers only, as the exercise it borrows the metal from. Knows nothing of what a meter is.

use evendraw_core::curve_limits::CurveLimits;
use evendraw_core::limits::{FASTENERS_MAX, STAGES_MAX};
use evendraw_core::procedure::{
    Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms,
};
use evendraw_core::session::{Input, Next, Outcome, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Span};

use crate::exercise::{Bench, Random, about, made};

/// The joints that are worked: fasteners and stages. A wheel, a head, and the limits of the core.
pub const JOINTS: [(u8, u8); 3] = [(6, 2), (14, 4), (64, 16)];

/// What an input was, seen by what came of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A reading under load that made no record.
    Pulled,
    /// A reading at rest that made no record.
    Rest,
    /// A reading that made records: the first load, or the end of an attempt.
    Records,
    /// A reading while nothing is to be pulled.
    Idle,
    /// Records are stored.
    Durable,
    /// A step done by hand, and every other word of a person.
    Told,
}

impl Kind {
    /// Every kind, in the order of its number.
    pub const ALL: [Self; 6] = [
        Self::Pulled,
        Self::Rest,
        Self::Records,
        Self::Idle,
        Self::Durable,
        Self::Told,
    ];
}

/// A procedure of so many fasteners and stages: seated by hand, then torques that rise.
///
/// # Panics
///
/// If a procedure made here breaks a rule of the core: the rules changed and this did not.
#[inline(never)]
pub fn procedure(fasteners: u8, stages: u8, into: &mut Option<Procedure>) {
    const LABELS: [&str; 8] = ["1", "2", "3", "4", "5", "6", "7", "8"];
    let mut own = heapless::Vec::<Fastener, FASTENERS_MAX>::new();
    for index in 0..fasteners {
        let (ring, place) = (usize::from(index / 8), usize::from(index % 8));
        let mut label = heapless::String::<2>::new();
        let both = [LABELS.get(ring), LABELS.get(place)];
        for part in both.into_iter().flatten() {
            let _ = label.push_str(part);
        }
        let _ = own.push(Fastener {
            label: Label::cut(&label),
            near: [None; 4],
        });
    }
    let mut kinds = heapless::Vec::<Stage, STAGES_MAX>::new();
    let mut steps = heapless::Vec::<Step, 1024>::new();
    for stage in 0..stages {
        let kind = if stage == 0 {
            StageKind::Seat {
                turns: Angle::from_millidegrees(1_080_000),
            }
        } else {
            StageKind::Tighten {
                window: about(10_000 + 3_000 * i32::from(stage), 8),
                prevailing: Prevailing::None,
            }
        };
        let _ = kinds.push(Stage::new(kind));
        for fastener in 0..fasteners {
            let _ = steps.push(Step::on(fastener, stage));
        }
    }
    let parts = Parts {
        fasteners: &own,
        stages: &kinds,
        steps: &steps,
        overrides: &[],
        terms: Terms {
            limits: CurveLimits {
                train: 20_000,
                ..CurveLimits::default()
            },
            ..Terms::default()
        },
    };
    made::<3072>(into, &parts);
}

/// Readings at rest after a pull: what ends it comes with one of them.
const RESTING: u32 = 60;

/// Works the joint; `meter` is called before an input with nothing and after it with its kind. Returns how many steps are settled.
#[inline(never)]
pub fn work(procedure: &Procedure, meter: &mut dyn FnMut(Option<Kind>)) -> u32 {
    let mut session = Session::new(procedure, 1);
    let mut outcome = Outcome::default();
    let mut bench = Bench::new(Random::new(16));
    let start = Input::Start {
        boot: 1,
        rehearsal: true,
    };
    session.apply_into(bench.now(), start, &mut outcome);
    for _ in 0..u32::try_from(procedure.steps().len()).unwrap_or(0) * 4 {
        let now = bench.now();
        if let Next::Pull { step } = session.next() {
            let place = procedure.steps().get(usize::from(step));
            let (Some((_, aim)), Some(fastener)) =
                (session.armed(), place.and_then(|step| step.fastener()))
            else {
                break;
            };
            let mut read = |at, sample| {
                let armed = session.armed().is_some();
                meter(None);
                session.apply_into(at, Input::Sample(sample), &mut outcome);
                let Some(entry) = outcome.entries().last() else {
                    meter(Some(if !armed {
                        Kind::Idle
                    } else if session.live().loaded {
                        Kind::Pulled
                    } else {
                        Kind::Rest
                    }));
                    return outcome.halt.is_none();
                };
                meter(Some(Kind::Records));
                let (seq, halted) = (entry.seq, outcome.halt.is_some());
                meter(None);
                session.apply_into(at, Input::Durable { seq }, &mut outcome);
                meter(Some(Kind::Durable));
                !halted
            };
            bench.pull(fastener, &aim, &mut read);
            let mut left = RESTING;
            bench.rest(&mut |at, sample| {
                read(at, sample);
                left -= 1;
                left > 0
            });
            continue;
        }
        let input = match session.next() {
            Next::Hand { step } => Input::Confirm { step },
            Next::Decide { step } => Input::Decide {
                step,
                decision: evendraw_core::record::Decision::Waive,
                note: "seen by A. Fitter",
            },
            Next::Store => Input::Durable {
                seq: session.ledger().seq(),
            },
            _ => break,
        };
        meter(None);
        session.apply_into(now, input, &mut outcome);
        meter(Some(Kind::Told));
        bench.wait(Span::from_millis(300));
    }
    let settled = (0..=u16::MAX)
        .zip(procedure.steps())
        .filter(|(index, _)| session.ledger().step(*index).is_settled())
        .count();
    u32::try_from(settled).unwrap_or(u32::MAX)
}
