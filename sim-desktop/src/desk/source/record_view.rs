//! The record, from the journal's facts.

use std::collections::BTreeMap;

use evendraw_core::audit::torque_window;
use evendraw_core::record::{Entry, Record, Role};
use evendraw_core::unit::Torque;
use evendraw_core::verdict::Verdict;

use super::super::view::{CurveView, Mark, RecordRow};
use super::Source;
use crate::job::Job;
use crate::rehearsal::rig;
use crate::sheet::export;
use crate::store::{Fact, HostFact};

/// Names for the numbers in records.
pub(super) fn names(job: &Job) -> export::Names {
    job.plan()
        .joints()
        .iter()
        .fold(export::Names::new(), |names, joint| {
            match job.joint_plan(joint.number()) {
                Some(plan) => names.with(joint.number(), joint.id(), &plan.procedure),
                None => names,
            }
        })
}

/// The fastener that an entry is about, where it is about one.
pub(super) fn fastener_of(job: &Job, entry: &Entry) -> Option<u8> {
    match &entry.record {
        Record::Attempt(own) => Some(own.fastener),
        Record::Loosened(own) => Some(own.fastener),
        Record::Fitted(own) => Some(own.fastener),
        Record::Marked(own) => Some(own.fastener),
        Record::Noted(own) => own.fastener,
        Record::Rechecked(own) => {
            let plan = job.joint_plan(entry.joint)?;
            plan.procedure
                .steps()
                .get(usize::from(own.step))?
                .fastener()
        }
        _ => None,
    }
}

/// The mark of a verdict.
pub(super) const fn verdict_mark(verdict: Verdict) -> Mark {
    match verdict {
        Verdict::Accepted => Mark::Accepted,
        Verdict::Rejected => Mark::Rejected,
        Verdict::Unknown => Mark::Doubtful,
    }
}

/// The mark of any record that has one, and whether it is out of the ordinary.
pub(super) const fn record_mark(record: &Record) -> (Option<Mark>, bool) {
    match record {
        Record::Attempt(attempt) => (
            Some(verdict_mark(attempt.verdict)),
            !matches!(attempt.verdict, Verdict::Accepted),
        ),
        Record::Measured(measured) => (
            Some(verdict_mark(measured.verdict)),
            !matches!(measured.verdict, Verdict::Accepted),
        ),
        Record::Rechecked(checked) => (
            Some(verdict_mark(checked.verdict)),
            !matches!(checked.verdict, Verdict::Accepted),
        ),
        Record::Waited(waited) => (
            Some(verdict_mark(waited.verdict)),
            !matches!(waited.verdict, Verdict::Accepted),
        ),
        Record::Answered(answered) => (
            Some(if answered.yes {
                Mark::Accepted
            } else {
                Mark::Rejected
            }),
            !answered.yes,
        ),
        Record::Condition(condition) => (
            Some(if condition.matches {
                Mark::Accepted
            } else {
                Mark::Held
            }),
            !condition.matches,
        ),
        Record::Loosened(_) => (Some(Mark::Disturbed), true),
        Record::Skipped(_) => (Some(Mark::Skipped), true),
        Record::Noted(noted) => match noted.doubt {
            evendraw_core::record::Doubt::Raised => (Some(Mark::Doubtful), true),
            evendraw_core::record::Doubt::Settled => (Some(Mark::Accepted), false),
            evendraw_core::record::Doubt::None => (None, false),
        },
        Record::Decided(_) => (Some(Mark::Held), true),
        Record::Done(_) => (Some(Mark::Accepted), false),
        Record::Fitted(_) => (Some(Mark::Open), false),
        Record::Marked(_) => (Some(Mark::Final), false),
        Record::Apart(_) => (Some(Mark::MockUp), false),
        Record::Recovered(_) => (Some(Mark::Doubtful), true),
        _ => (None, false),
    }
}

impl Source {
    pub(super) fn record_view(&self) -> Vec<RecordRow> {
        let Some(job) = &self.job else {
            return Vec::new();
        };
        let names = names(job);
        let mut rows = Vec::with_capacity(job.facts().len());
        let mut anchors: BTreeMap<(u8, u16), (i64, u64)> = BTreeMap::new();
        let mut person: BTreeMap<u8, String> = BTreeMap::new();
        let mut tool: BTreeMap<u8, String> = BTreeMap::new();
        for (sequence, fact) in (1u64..).zip(job.facts()) {
            match fact {
                Fact::Entry(entry) => {
                    match &entry.record {
                        Record::Anchor(anchor) => {
                            anchors.insert(
                                (entry.joint, entry.boot),
                                (anchor.unix_seconds, entry.at.micros()),
                            );
                        }
                        Record::Person(own) if own.role == Role::Operator => {
                            person.insert(entry.joint, own.name.to_string());
                        }
                        Record::Tool(own) => {
                            tool.insert(entry.joint, own.id.to_string());
                        }
                        // The first load alone says nothing that its attempt does not say.
                        Record::Begun(_) => continue,
                        _ => {}
                    }
                    let (mark, exception) = record_mark(&entry.record);
                    let mut row = RecordRow {
                        sequence,
                        time: time(&anchors, entry),
                        joint: names.joint(entry.joint),
                        mark,
                        exception,
                        words: export::line(&names, entry),
                        person: person.get(&entry.joint).cloned().unwrap_or_default(),
                        tool: tool.get(&entry.joint).cloned().unwrap_or_default(),
                        fastener: fastener_of(job, entry).map_or_else(String::new, |fastener| {
                            names.fastener(entry.joint, fastener)
                        }),
                        ..RecordRow::default()
                    };
                    if let Record::Attempt(attempt) = &entry.record {
                        row.stage = u32::from(attempt.stage) + 1;
                        row.attempt = u32::from(attempt.attempt);
                        row.torque = Some(rig::newton_meters(attempt.peak));
                        row.torque_unit = "N·m".to_owned();
                        row.angle = attempt.angle.map(rig::degrees);
                        row.traced = attempt.trace != 0;
                    }
                    rows.push(row);
                }
                Fact::Host(fact) => {
                    if let Some(words) = host_words(fact) {
                        rows.push(RecordRow {
                            sequence,
                            time: String::new(),
                            words,
                            ..RecordRow::default()
                        });
                    }
                }
            }
        }
        rows
    }

    /// Loads the curve of an entry from beside the journal.
    pub(super) fn load_curve(&mut self, sequence: u64) {
        let Some(job) = &self.job else { return };
        let index = usize::try_from(sequence.saturating_sub(1)).unwrap_or(usize::MAX);
        let Some(Fact::Entry(entry)) = job.facts().get(index) else {
            return;
        };
        let Record::Attempt(attempt) = &entry.record else {
            return;
        };
        let mut curve = CurveView {
            unit: "N·m".to_owned(),
            ..CurveView::default()
        };
        if let Some(points) = job
            .traces()
            .and_then(|traces| traces.load(entry.joint, entry.seq))
        {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "newton-metres and degrees for a drawing"
            )]
            let point = |torque: Torque, rotation| {
                [
                    rig::degrees(rotation) as f32,
                    rig::newton_meters(torque) as f32,
                ]
            };
            curve.points = points
                .iter()
                .map(|own| point(own.torque, own.rotation))
                .collect();
        }
        if let Some(session) = job.session(entry.joint) {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "newton-metres for a drawing"
            )]
            if let Some(window) = torque_window(session.procedure(), attempt) {
                curve.torque_low = Some(rig::newton_meters(window.min) as f32);
                curve.torque_high = Some(rig::newton_meters(window.max) as f32);
            }
        }
        self.curve = Some((sequence, curve));
        self.dirty = true;
    }
}

fn time(anchors: &BTreeMap<(u8, u16), (i64, u64)>, entry: &Entry) -> String {
    let micros = entry.at.micros();
    let Some((unix, at)) = anchors.get(&(entry.joint, entry.boot)) else {
        return "time unknown".to_owned();
    };
    let since =
        i64::try_from(micros / 1_000_000).unwrap_or(0) - i64::try_from(at / 1_000_000).unwrap_or(0);
    jiff::Timestamp::from_second(unix.saturating_add(since)).map_or_else(
        |_| "time unknown".to_owned(),
        |stamp| {
            stamp
                .to_zoned(jiff::tz::TimeZone::system())
                .strftime("%m-%d %H:%M:%S")
                .to_string()
        },
    )
}

fn host_words(fact: &HostFact) -> Option<String> {
    match fact {
        HostFact::Opened { plan_name, .. } => Some(format!("begun with plan {plan_name}")),
        HostFact::PlanChanged { plan_name, .. } => Some(format!("plan changed: {plan_name}")),
        HostFact::Variant {
            question, answer, ..
        } => Some(format!("{question}: {answer}")),
        HostFact::PartArrived { part } => Some(format!("part arrived: {part}")),
        HostFact::PartMissing { part } => Some(format!("part missing: {part}")),
        HostFact::Handover { text } => Some(format!("handover: {text}")),
        HostFact::AtAdapter { serial, .. } if serial.is_empty() => {
            Some("worked at the desk again".to_owned())
        }
        HostFact::AtAdapter { serial, .. } => Some(format!("worked at adapter {serial}")),
        _ => None,
    }
}
