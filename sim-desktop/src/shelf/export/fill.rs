//! A build as rows.
//!
//! Knows nothing of files.

use std::collections::BTreeMap;

use evendraw_core::record::Record;
use serde_json::Value;

use super::super::{Build, Found, Pull};
use super::tables::{ATTEMPTS, BUILDS, CURVES, FACTS, FASTENERS, JOINTS, Rows, Table};
use crate::job::status::telling::{line, object, tell, tell_host};
use crate::job::status::{Clock, Names, attempt_of, names};
use crate::plan::Plan;
use crate::store::{Content, Fact, HostFact, Traces};
use crate::words;

/// Where an earlier run ended, and the number of this one.
pub(super) struct From {
    pub(super) facts: usize,
    pub(super) attempts: usize,
    pub(super) run: u32,
}

/// Rows by table and year.
#[derive(Default)]
pub(super) struct Filled {
    pub(super) rows: BTreeMap<(&'static str, i16), Rows>,
}

impl Filled {
    pub(super) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    fn of(&mut self, table: &'static Table, year: i16) -> &mut Rows {
        self.rows
            .entry((table.name, year))
            .or_insert_with(|| Rows::new(table))
    }
}

/// The year of a moment in UTC; 0 where it is not known.
fn year(unix: Option<i64>) -> i16 {
    unix.and_then(|unix| jiff::Timestamp::from_second(unix).ok())
        .map_or(0, |stamp| stamp.to_zoned(jiff::tz::TimeZone::UTC).year())
}

fn micros(unix: Option<i64>) -> Option<i64> {
    unix.and_then(|unix| unix.checked_mul(1_000_000))
}

/// The build, its joints and its fasteners as they stand now.
pub(super) fn heads(found: &Found, build: &Build, bytes: usize, run: u32) -> Filled {
    let mut filled = Filled::default();
    let own = &build.standing;
    let at = year(own.last_worked);
    let run = i64::from(run);
    filled
        .of(&BUILDS, at)
        .text(found.name.as_str())
        .number(run)
        .text(build.title.as_str())
        .text(build.unit.as_str())
        .text(build.document.as_str())
        .truth(build.rehearsal)
        .text(own.mark.word())
        .text(own.words.as_str())
        .count(own.done)
        .count(own.steps)
        .number(micros(own.last_worked))
        .text(own.next.as_str())
        .count(own.open)
        .count(own.retorques.len())
        .count(own.doubts.len())
        .text(own.parts.join("; ").as_str())
        .count(bytes);
    for joint in &build.joints {
        filled
            .of(&JOINTS, at)
            .text(found.name.as_str())
            .number(run)
            .text(joint.id.as_str())
            .number(i64::from(joint.number))
            .text(joint.title.as_str())
            .text(joint.state.as_str())
            .text(joint.thread.as_str())
            .text(joint.class.as_str())
            .text(joint.grip.as_str())
            .text(joint.condition.as_str())
            .text(joint.needs.join("; ").as_str())
            .count(joint.stages.len())
            .count(joint.labels.len());
        for (label, state) in joint.labels.iter().zip(&joint.states) {
            filled
                .of(&FASTENERS, at)
                .text(found.name.as_str())
                .number(run)
                .text(joint.id.as_str())
                .text(label.as_str())
                .text(state.as_str());
        }
    }
    filled
}

/// Everything that is new of a journal; nothing where nothing is.
pub(super) fn whole(
    found: &Found,
    build: &Build,
    content: &Content,
    plan: Option<&Plan>,
    traces: Option<&Traces>,
    bytes: usize,
    from: &From,
) -> Filled {
    if content.facts.len() == from.facts && from.facts > 0 {
        return Filled::default();
    }
    let mut filled = heads(found, build, bytes, from.run);
    for pull in build.pulls.iter().skip(from.attempts) {
        attempt(&mut filled, found, build, pull, from.run);
        if let Some(traces) = traces {
            curve(&mut filled, found, build, pull, traces, from.run);
        }
    }
    facts(&mut filled, found, build, content, plan, from);
    filled
}

fn attempt(filled: &mut Filled, found: &Found, build: &Build, pull: &Pull, run: u32) {
    let own = &pull.attempt;
    let joint = build.joint(pull.joint);
    let kind = joint
        .and_then(|joint| joint.stages.get(usize::from(own.stage)))
        .map_or("", |(word, _)| word.as_str());
    let reasons: Vec<&str> = own.reasons.iter().map(|reason| reason.word()).collect();
    let wide = |value: Option<i32>| value.map(i64::from);
    let named = |place: u16| Some(build.name(place)).filter(|name| !name.is_empty());
    let id = build.joint_id(pull.joint);
    let label = build.label(pull.joint, own.fastener);
    filled
        .of(&ATTEMPTS, year(pull.at))
        .text(found.name.as_str())
        .text(id.as_str())
        .text(label.as_str())
        .number(i64::from(own.stage) + 1)
        .text(kind)
        .number(i64::from(own.attempt))
        .number(i64::from(pull.seq))
        .number(micros(pull.at))
        .text(named(pull.tool))
        .text(named(pull.person))
        .text(build.name(pull.document))
        .truth(build.rehearsal)
        .text(build.name(pull.evidence))
        .text(words::verdict(own.verdict))
        .text(reasons.join(" ").as_str())
        .number(i64::from(own.pulls))
        .number(wide(pull.torque()))
        .number(wide(pull.peak()))
        .number(wide(
            pull.peak().map(|_| own.final_torque.millinewton_meters()),
        ))
        .number(wide(pull.low))
        .number(wide(pull.high))
        .number(own.angle.map(|angle| i64::from(angle.millidegrees())))
        .number(wide(pull.angle_low))
        .number(wide(pull.angle_high))
        .number(
            own.prevailing
                .torque()
                .map(|torque| i64::from(torque.millinewton_meters())),
        )
        .number(
            own.restart
                .map(|torque| i64::from(torque.millinewton_meters())),
        )
        .number(i64::from(own.took_ms))
        .number(i64::from(run))
        .number(pull.instead_of.map(i64::from));
}

fn curve(
    filled: &mut Filled,
    found: &Found,
    build: &Build,
    pull: &Pull,
    traces: &Traces,
    run: u32,
) {
    let digest = pull.attempt.trace;
    if digest == 0 {
        return;
    }
    let Some(points) = traces.proved(pull.joint, pull.seq, digest) else {
        return;
    };
    let id = build.joint_id(pull.joint);
    filled
        .of(&CURVES, year(pull.at))
        .text(found.name.as_str())
        .text(id.as_str())
        .number(i64::from(pull.seq))
        .list(points.iter().map(|point| i64::from(point.millis)))
        .list(
            points
                .iter()
                .map(|point| i64::from(point.torque.millinewton_meters())),
        )
        .list(
            points
                .iter()
                .map(|point| i64::from(point.rotation.millidegrees())),
        )
        .number(i64::from(run));
}

/// Every fact but attempts, which have a table of their own, first loads, which say nothing beside them, and the plan's text.
fn facts(
    filled: &mut Filled,
    found: &Found,
    build: &Build,
    content: &Content,
    plan: Option<&Plan>,
    from: &From,
) {
    let names = plan.map_or_else(Names::new, |plan| names(plan, &content.facts));
    let clock = Clock::of(&content.facts, build.rehearsal);
    let mut last = None;
    for (place, fact) in content.facts.iter().enumerate() {
        if let Fact::Entry(entry) = fact {
            last = clock.unix(entry).or(last);
        }
        if place < from.facts {
            continue;
        }
        // Where its own time is unknown, it lies with the fact before.
        let at = year(last);
        let number = i64::try_from(place).unwrap_or(i64::MAX).saturating_add(1);
        match fact {
            Fact::Host(HostFact::Plan { .. }) => {}
            Fact::Host(fact) => {
                let Some((object, words)) = tell_host(&names, fact) else {
                    continue;
                };
                let kind = object.get("record").and_then(Value::as_str);
                filled
                    .of(&FACTS, at)
                    .text(found.name.as_str())
                    .number(number)
                    .text(None)
                    .number(None)
                    .number(None)
                    .text(kind.unwrap_or("host"))
                    .text(None)
                    .number(None)
                    .text(words.as_str())
                    .text(object.to_string().as_str())
                    .number(i64::from(from.run));
            }
            Fact::Entry(entry) => {
                if attempt_of(&entry.record).is_some() || matches!(entry.record, Record::Begun(_)) {
                    continue;
                }
                let names = names.at(entry);
                let telling = tell(names, entry);
                let (fastener, stage) = telling.about.place(names, entry.joint);
                let label = fastener.map(|own| names.fastener(entry.joint, own));
                let joint = names.joint(entry.joint);
                let json = object(names, entry).to_string();
                filled
                    .of(&FACTS, at)
                    .text(found.name.as_str())
                    .number(number)
                    .text(joint.as_str())
                    .number(i64::from(entry.seq))
                    .number(micros(clock.unix(entry)))
                    .text(telling.kind)
                    .text(label.as_deref())
                    .number(stage.map(|own| i64::from(own) + 1))
                    .text(line(names, entry).as_str())
                    .text(json.as_str())
                    .number(i64::from(from.run));
            }
        }
    }
}
