//! What was done to an earlier revision of the plan and asks for something else now; and whether somebody settled that.
//!
//! Knows nothing of how a joint is carried from one revision to the next.

use evendraw_core::ledger::StepState;
use evendraw_core::procedure::{Procedure, StageKind};
use evendraw_core::record::{Decision, Entry, Record};

use super::{Differs, Folded, Kept, attempt_of, plan_of};
use crate::job::revision::Revision;
use crate::mark::Mark;
use crate::plan::JointPlan;
use crate::plan::differ::{StageChange, changes};

/// A difference between the plan that something was done to and the plan of today, with what is needed to see whom it touches.
struct Of<'a> {
    revision: &'a Revision,
    /// The first record that was made under the plan before it.
    since: u32,
    before: &'a JointPlan,
    /// The stage of today, where there still is one.
    today: Option<u8>,
    change: &'a StageChange,
}

/// The differences of a joint, in order: each plan that something was done to is held against that of today, over whatever lies between.
pub(super) fn differs(kept: &Kept<'_>, folded: &Folded<'_>, recorded: &[&Entry]) -> Vec<Differs> {
    let number = folded.joint.number();
    let own: Vec<&Revision> = kept.revisions.of_joint(number).collect();
    let mut found = Vec::new();
    let mut since = 0;
    for (place, &revision) in own.iter().enumerate() {
        let under = since;
        since = revision.seq;
        let Some(joint) = revision.before.joints().get(usize::from(number)) else {
            continue;
        };
        let before = plan_of(kept.facts, joint);
        let later = own.get(place.saturating_add(1)..).unwrap_or_default();
        let stages = later.iter().fold(revision.stages.clone(), |stages, next| {
            let back = next.stages.iter().map(|old| {
                let old = (*old)?;
                *stages.get(usize::from(old))?
            });
            back.collect()
        });
        for change in changes(before, folded.plan, &stages) {
            let of = Of {
                revision,
                since: under,
                before,
                today: change.now,
                change: &change,
            };
            found.extend(told(kept, folded, recorded, &of));
        }
    }
    found
}

fn told(kept: &Kept<'_>, folded: &Folded<'_>, recorded: &[&Entry], of: &Of<'_>) -> Vec<Differs> {
    let mut groups: Vec<Differs> = Vec::new();
    for (fastener, own) in (0_u8..).zip(folded.plan.procedure.fasteners()) {
        let label = own.label.as_str();
        let Some(old) = of.before.procedure.fastener_labelled(label) else {
            continue;
        };
        let Some((mark, settled)) = stands(folded, recorded, of, (old, fastener)) else {
            continue;
        };
        let (one, two) = own_words(of, folded, (old, fastener));
        let group = groups.iter_mut().find(|group| {
            group.mark == mark && group.settled == settled && group.old == one && group.new == two
        });
        match group {
            Some(group) => group.fasteners.push(label.to_owned()),
            None => groups.push(Differs {
                stage: of.today.map(|stage| usize::from(stage) + 1),
                fasteners: vec![label.to_owned()],
                is_all: false,
                revision: of.revision.before.build().revision,
                now: kept.plan.build().revision,
                old: one,
                new: two,
                mark,
                settled,
            }),
        }
    }
    for group in &mut groups {
        group.is_all = group.fasteners.len() == folded.plan.procedure.fasteners().len();
    }
    groups
}

/// Old and new in words, with the fastener's own target where it has one.
fn own_words(of: &Of<'_>, folded: &Folded<'_>, (old, now): (u8, u8)) -> (String, String) {
    let each = |plan: &JointPlan, stage: Option<u8>, fastener: u8| -> Option<String> {
        let stage = plan.stages.get(usize::from(stage?))?;
        let mut each = stage.each.iter();
        let own = each
            .find(|(own, _)| *own == fastener)
            .map(|(_, target)| target.clone());
        own.or_else(|| stage.target.clone())
    };
    let one = each(of.before, of.change.before, old);
    let two = each(folded.plan, of.today, now);
    match (one, two) {
        (Some(one), Some(two)) if one != two && of.change.old != one => (one, two),
        _ => (of.change.old.clone(), of.change.new.clone()),
    }
}

/// Whether a fastener is still as it was done before the change: the mark, and who settled that and why.
fn stands(
    folded: &Folded<'_>,
    recorded: &[&Entry],
    of: &Of<'_>,
    (old, now): (u8, u8),
) -> Option<(Mark, String)> {
    let procedure = &folded.plan.procedure;
    // Steps are those of the plan that the records were made under.
    let under = || {
        let seqs = of.since..of.revision.seq;
        let own = recorded
            .iter()
            .filter(move |entry| seqs.contains(&entry.seq));
        own.filter_map(|entry| settles(&entry.record))
    };
    let was_done = |stage: u8| {
        step_of(&of.before.procedure, old, stage)
            .is_some_and(|step| under().any(|settled| settled == step))
    };
    let step = of.today.and_then(|stage| step_of(procedure, now, stage));
    let steps = || {
        let own = procedure.numbered_steps();
        own.filter(|(_, own)| own.fastener() == Some(now))
            .map(|(index, _)| index)
    };
    let decided = || {
        folded
            .entries
            .iter()
            .rev()
            .find_map(|entry| match &entry.record {
                Record::Decided(own)
                    if entry.seq > of.revision.seq
                        && own.decision == Decision::Waive
                        && steps().any(|step| step == own.step) =>
                {
                    Some(own.note.to_string())
                }
                _ => None,
            })
    };
    let is_since = |step: u16| {
        folded
            .entries
            .iter()
            .any(|entry| entry.seq > of.revision.seq && settles(&entry.record) == Some(step))
    };
    match (of.change.before, step) {
        (Some(before), Some(step)) => {
            if !was_done(before) || is_since(step) || is_alike(of, procedure, (old, before), step) {
                return None;
            }
            match folded.ledger.step(step) {
                // It is open again, and told as that.
                StepState::Open | StepState::Disturbed | StepState::Rejected => None,
                StepState::Doubtful => Some((Mark::Doubtful, String::new())),
                StepState::Done | StepState::Unmeasured | StepState::Waived => {
                    Some((Mark::Accepted, decided().unwrap_or_default()))
                }
            }
        }
        // Put in where the fastener was finished, or taken out from under it: the doubt says so.
        (before, _) => {
            let was_worked = || {
                let own = of.before.procedure.numbered_steps();
                let mut own = own.filter(|(_, own)| own.fastener() == Some(old));
                own.any(|(step, _)| under().any(|settled| settled == step))
            };
            // Worked under a plan between the two, it is that plan which is held against today's.
            let between = of.revision.seq..folded.revised_at;
            let is_later = || {
                let mut own = folded
                    .entries
                    .iter()
                    .filter(|entry| between.contains(&entry.seq));
                own.any(|entry| {
                    settles(&entry.record).is_some_and(|step| steps().any(|own| own == step))
                })
            };
            if !before.map_or_else(was_worked, was_done) || is_later() {
                return None;
            }
            let is_doubtful = match step {
                Some(step) => folded.ledger.step(step) == StepState::Doubtful,
                None => steps().any(|step| folded.ledger.step(step) == StepState::Doubtful),
            };
            let is_waived = match step {
                Some(step) => folded.ledger.step(step) == StepState::Waived,
                None => true,
            };
            if is_doubtful {
                Some((Mark::Doubtful, String::new()))
            } else {
                decided()
                    .filter(|_| is_waived)
                    .map(|note| (Mark::Accepted, note))
            }
        }
    }
}

/// The step that a record says to be done.
fn settles(record: &Record) -> Option<u16> {
    match record {
        Record::Done(own) => Some(own.step),
        Record::Measured(own) => Some(own.step),
        record => attempt_of(record).map(|own| own.step),
    }
}

/// Whether the step asks for the same, however it is spelled.
fn is_alike(of: &Of<'_>, now: &Procedure, (fastener, stage): (u8, u8), step: u16) -> bool {
    let old = &of.before.procedure;
    let Some(before) = step_of(old, fastener, stage) else {
        return false;
    };
    let kinds = match (old.stage_of(before), now.stage_of(step)) {
        (Some(one), Some(two)) => {
            let is_torque = |kind: StageKind| {
                matches!(kind, StageKind::Tighten { .. } | StageKind::Align { .. })
            };
            (is_torque(one.kind) && is_torque(two.kind) || one.kind == two.kind)
                && two.evidence <= one.evidence
        }
        _ => false,
    };
    kinds
        && old.torque_window(before) == now.torque_window(step)
        && old.angle_window(before) == now.angle_window(step)
        && old.prevailing(before) == now.prevailing(step)
}

fn step_of(procedure: &Procedure, fastener: u8, stage: u8) -> Option<u16> {
    let mut steps = procedure.numbered_steps();
    steps
        .find(|(_, step)| step.fastener() == Some(fastener) && step.stage() == stage)
        .map(|(index, _)| index)
}
