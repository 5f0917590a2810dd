//! Eight bolts of a pump's cover in cross order, two passes, on the host: an invented hand pulls, and the records are listed.
//!
//! Shows what an adapter does: ask what is next, feed readings, store the records, say that they are stored.

use std::error::Error;

use evendraw_core::pattern::cross;
use evendraw_core::procedure::{
    Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Entry, Record};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Instant, Rotation, Span, Torque};
use evendraw_core::verdict::Aim;

const BOLTS: [&str; 8] = ["1", "2", "3", "4", "5", "6", "7", "8"];

fn tighten(target: i32) -> Stage {
    let [min, target, max] =
        [target / 100 * 95, target, target / 100 * 105].map(Torque::from_millinewton_meters);
    Stage::new(StageKind::Tighten {
        window: TorqueWindow { target, min, max },
        prevailing: Prevailing::None,
    })
}

fn procedure() -> Result<Procedure, Box<dyn Error>> {
    let mut order = [0; BOLTS.len()];
    cross(&mut order)?;
    let passes = [tighten(12_000), tighten(24_000)];
    let steps: Vec<Step> = (0..2)
        .flat_map(|stage| order.map(|bolt| Step::on(bolt, stage)))
        .collect();
    Ok(Procedure::new(&Parts {
        fasteners: &BOLTS.map(|label| Fastener {
            label: Label::cut(label),
            near: [None; 4],
        }),
        stages: &passes,
        steps: &steps,
        overrides: &[],
        terms: Terms::default(),
    })?)
}

/// Up to the target by 0.1 N·m a reading, a short stand, and let go within ten readings. Torque in mN·m, rotation of the tool in
/// millidegrees: the bolt turns by 2° a N·m beyond where it stood and stays there, the train winds up by 1° for 20 N·m and unwinds.
fn pull(stood: i32, target: i32) -> impl Iterator<Item = (i32, i32)> {
    let top = target / 100;
    let up = (0..=top).chain(std::iter::repeat_n(top, 20));
    let up = up.map(move |tenths| (tenths * 100, (tenths * 100 - stood).max(0) * 2));
    let down = (0..10).rev().chain(std::iter::repeat_n(0, 80));
    let down = down.map(move |tenths| (tenths * top * 10, (target - stood) * 2));
    up.chain(down)
        .map(|(torque, turned)| (torque, turned + torque / 20))
}

fn main() -> Result<(), Box<dyn Error>> {
    let procedure = procedure()?;
    let mut session = Session::new(&procedure, 1);
    let mut journal: Vec<Entry> = Vec::new();
    let mut at = Instant::BOOT;
    let mut apply = |session: &mut Session<&Procedure>, at, input: Input<'_>| {
        let outcome = session.apply(at, input);
        if let Some(refusal) = outcome.refusal {
            eprintln!("refused: {refusal:?}");
        }
        journal.extend_from_slice(outcome.entries());
        // A real adapter says so when they are written, read back and compared.
        if let Some(last) = outcome.entries().last() {
            session.apply(at, Input::Durable { seq: last.seq });
        }
    };
    let start = Input::Start {
        boot: 1,
        rehearsal: true,
    };
    apply(&mut session, at, start);
    while let Next::Pull { step } = session.next() {
        let Some((_, Aim::Torque { window })) = session.armed() else {
            return Err(format!("step {step} asks for something else than a torque").into());
        };
        let bolt = procedure.steps().get(usize::from(step));
        let stood = bolt
            .and_then(|step| step.fastener())
            .and_then(|bolt| session.ledger().left_at(bolt))
            .map_or(0, Torque::millinewton_meters);
        for (torque, turned) in pull(stood, window.target.millinewton_meters()) {
            at = at.after(Span::from_micros(2_500));
            let sample = Sample {
                torque: Torque::from_millinewton_meters(torque),
                rotation: Rotation::from_millidegrees(turned),
            };
            apply(&mut session, at, Input::Sample(sample));
        }
    }
    for entry in &journal {
        if let Record::Attempt(attempt) = &entry.record {
            let bolt = procedure.fasteners().get(usize::from(attempt.fastener));
            println!(
                "bolt {}, pass {}: {:?} at {} mN·m {:?}",
                bolt.map_or("?", |bolt| bolt.label.as_str()),
                attempt.stage + 1,
                attempt.verdict,
                attempt.peak.millinewton_meters(),
                attempt.reasons.iter().collect::<Vec<_>>(),
            );
        }
    }
    println!(
        "{} records; the joint is {:?}",
        journal.len(),
        session.standing()
    );
    Ok(())
}
