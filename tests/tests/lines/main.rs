//! An instrument that prints numbers works a joint: at the desk and in a terminal, with noise, bad lines, stalls and pulled plugs.
#![cfg(unix)]

mod desk;
mod head;
mod instrument;
mod terminal;

use instrument::Pull;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use evendraw::plan::{Answers, Plan};
use evendraw::rehearsal::hands::Reach;
use evendraw::rehearsal::station::Station;
use evendraw::store::{self, Fact};
use evendraw_core::record::{Attempt, Entry, Record};
use evendraw_core::session::Session;
use evendraw_core::unit::Instant;

/// Three fasteners, a torque and then an angle, by an instrument that prints a trace file's rows.
pub(crate) const TRACE: &str = r#"
[build]
title = "Harbour pump 7"

[[tool]]
id = "S1"
kind = "stream"
title = "in-line sensor"
capacity = "200 N·m"

[[joint]]
id = "cover"
title = "Discharge cover"
thread = "M10x1.5"
class = "8.8"
grip = "40 mm"
positions = { 1 = [0, 60], 2 = [57, 19], 3 = [35, -49] }
order = "listed"

[[joint.stage]]
do = "tighten"
torque = "20 N·m"
within = "±10 %"

[[joint.stage]]
do = "turn"
angle = "30°"
within = "+8° -4°"
"#;

/// Two fasteners by torque, then one angle that it cannot measure; torque alone, in pound-feet.
pub(crate) const POUND_FEET: &str = r#"
[build]
title = "Harbour pump 7"

[[tool]]
id = "S2"
kind = "stream"
capacity = "150 lbf·ft"

[tool.lines]
columns = ["torque_lbf_ft"]
decimal = "comma"
rate = "100 Hz"

[[joint]]
id = "cover"
title = "Discharge cover"
thread = "M10x1.5"
class = "8.8"
grip = "40 mm"
positions = { 1 = [0, 60], 2 = [57, 19] }
order = "listed"

[[joint.stage]]
do = "tighten"
torque = "15 lbf·ft"
within = "±10 %"

[[joint.stage]]
do = "tighten"
torque = "25 lbf·ft"
within = "±10 %"

[[joint.stage]]
do = "turn"
angle = "30°"
"#;

/// Real time is shared: one instrument prints at a time, and nothing is built meanwhile.
pub(crate) fn alone() -> MutexGuard<'static, ()> {
    static ONE: Mutex<()> = Mutex::new(());
    let guard = ONE.lock().unwrap_or_else(PoisonError::into_inner);
    let _built = evendraw_tests::binary::evendraw();
    guard
}

/// The bench for a plan's only joint.
pub(crate) fn station(plan: &Plan, seed: u64) -> Station {
    let own = plan.joints().first().expect("a joint");
    let plan = own.plan(&Answers::default()).expect("no questions");
    Station::new(own, plan, seed, evendraw::bench::HandKind::Steady, &[]).expect("a bench")
}

/// What is kept of the first joint.
pub(crate) fn entries(journal: &Path) -> Vec<Entry> {
    let content = store::read(journal).expect("a journal");
    let facts = content.facts.iter();
    facts
        .filter_map(|fact| match fact {
            Fact::Entry(entry) => Some(entry.clone()),
            Fact::Host(_) => None,
        })
        .collect()
}

pub(crate) fn attempts(journal: &Path) -> Vec<Attempt> {
    let entries = entries(journal).into_iter();
    entries
        .filter_map(|entry| match entry.record {
            Record::Attempt(attempt) => Some(attempt),
            _ => None,
        })
        .collect()
}

/// Where the hand goes next, as the records say.
pub(crate) fn reach(journal: &Path, plan: &Plan) -> Option<Pull> {
    let own = plan.joints().first().expect("a joint");
    let procedure = own.procedure(&Answers::default()).expect("no questions");
    let entries = entries(journal);
    let mut session =
        Session::restore(Arc::from(procedure), 0, entries.iter()).expect("records that fold");
    session.look_on(entries.last().map_or(Instant::BOOT, |last| last.at));
    let reach = Reach::of(&session)?;
    let ledger = session.ledger();
    Some(Pull {
        spins: !ledger.is_tight(reach.fastener),
        fastener: reach.fastener,
        aim: reach.aim,
    })
}
