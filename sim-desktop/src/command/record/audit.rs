//! `evendraw record --audit`: every attempt judged again, every kept curve looked for.
//!
//! Reports and changes nothing. Knows nothing of rules.

use evendraw_core::audit::{Finding, audit, audit_told};
use evendraw_core::ledger::Ledger;
use evendraw_core::record::{Attempt, Entry, RULES, Record};
use evendraw_core::session::Session;
use serde_json::json;

use super::named::Journal;
use super::{CommandError, Done, Output};
use crate::job::revision::Revisions;
use crate::job::status::telling::line;
use crate::job::status::{CurveState, Names, attempt_of, plan_of, state_of_curve};
use crate::plan::{Joint, JointPlan};
use crate::store::entries_of;
use crate::words;

#[derive(Default)]
struct Count {
    agree: usize,
    differ: usize,
    kept: usize,
    missing: usize,
    changed: usize,
}

pub(super) fn run(
    journal: &Journal,
    names: &Names,
    out: &mut Output<'_>,
) -> Result<Done, CommandError> {
    let Some(plan) = &journal.plan else {
        return Err(CommandError::bad(format!(
            "{}: the plan in this journal is lost or does not read, so nothing can be judged again",
            journal.name
        )));
    };
    let revisions = Revisions::of(&journal.content.facts);
    let mut count = Count::default();
    let mut older: Vec<u16> = Vec::new();
    for joint in plan.joints() {
        let facts = &journal.content.facts;
        let entries: Vec<&Entry> = entries_of(facts, joint.number()).collect();
        let today = plan_of(facts, joint);
        for (at, entry) in entries.iter().enumerate() {
            // An attempt is judged by the revision that it was made under.
            let joint_plan = revisions.joint_plan(facts, entry, today).unwrap_or(today);
            match &entry.record {
                Record::Started(started)
                    if started.rules != RULES && !older.contains(&started.rules) =>
                {
                    older.push(started.rules);
                }
                record => {
                    let Some(attempt) = attempt_of(record) else {
                        continue;
                    };
                    let before = before(joint, joint_plan, entries.get(..at).unwrap_or_default());
                    let procedure = &joint_plan.procedure;
                    let finding = match record {
                        Record::Read(read) => audit_told(procedure, &before, &attempt, read.told()),
                        Record::BySetting(set) => {
                            audit_told(procedure, &before, &attempt, set.told())
                        }
                        _ => audit(procedure, &before, &attempt),
                    };
                    let trace = state_of_curve(&journal.traces, entry, &attempt);
                    count.add(finding, trace);
                    tell(names, entry, &attempt, finding, trace, out)?;
                }
            }
        }
    }
    for rules in &older {
        out.remark(format_args!(
            "a part was judged by rules {rules}; today's are {RULES}, and may differ"
        ));
    }
    count.tell(out)?;
    Ok(Done::rejected_if(count.differ + count.changed > 0))
}

/// The ledger before an attempt. It is folded again only where the sum of angles is limited.
fn before(joint: &Joint, plan: &JointPlan, entries: &[&Entry]) -> Ledger {
    if plan.procedure.terms().angle_sum_max.is_none() {
        return Ledger::new();
    }
    Session::restore(&plan.procedure, joint.number(), entries.iter().copied())
        .map_or_else(|_| Ledger::new(), |session| session.ledger().clone())
}

impl Count {
    fn add(&mut self, finding: Finding, trace: CurveState) {
        match finding {
            Finding::Agrees => self.agree += 1,
            Finding::Differs(_) | Finding::NoSuchStep => self.differ += 1,
        }
        match trace {
            CurveState::None => {}
            CurveState::Kept => self.kept += 1,
            CurveState::Missing => self.missing += 1,
            CurveState::Changed => self.changed += 1,
        }
    }

    fn tell(&self, out: &mut Output<'_>) -> Result<(), CommandError> {
        out.object(&json!({
            "record": "audit-summary", "agree": self.agree, "differ": self.differ,
            "traces_kept": self.kept, "traces_missing": self.missing, "traces_changed": self.changed,
        }))?;
        out.line(format_args!(
            "{} attempts judged again: {} agree, {} differ; curves: {} kept, {} missing, {} changed since",
            self.agree + self.differ,
            self.agree,
            self.differ,
            self.kept,
            self.missing,
            self.changed
        ))
    }
}

fn tell(
    names: &Names,
    entry: &Entry,
    attempt: &Attempt,
    finding: Finding,
    trace: CurveState,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let names = names.at(entry);
    let again = match finding {
        Finding::Differs(judgement) => Some(judgement),
        Finding::Agrees | Finding::NoSuchStep => None,
    };
    out.object(&json!({
        "record": "audit",
        "joint": names.joint(entry.joint),
        "fastener": names.fastener(entry.joint, attempt.fastener),
        "stage": u32::from(attempt.stage) + 1,
        "attempt": attempt.attempt,
        "agrees": finding == Finding::Agrees,
        "verdict": words::verdict(attempt.verdict),
        "again": again.map(|again| words::verdict(again.verdict)),
        "reasons_again": again.map(|again| again.reasons.iter().map(|reason| reason.word()).collect::<Vec<_>>()),
        "trace": trace.word(),
    }))?;
    let what = match finding {
        Finding::Agrees if trace == CurveState::Changed => {
            "its kept curve is not the one that was judged".to_owned()
        }
        Finding::Agrees => return Ok(()),
        Finding::NoSuchStep => "the plan has no such stage".to_owned(),
        Finding::Differs(again) => {
            format!(
                "today {}: {}",
                words::verdict(again.verdict),
                words::reasons(again.reasons)
            )
        }
    };
    out.line(format_args!(
        "{}, {}; {what}",
        names.joint(entry.joint),
        line(names, entry)
    ))
}
