//! Joints that went on under another plan: which plan a record was made under, what of the work done holds, what is done again.
//!
//! A joint is known by its id, a fastener by its label, a stage by its place among the stages of its kind: what is typed alike is the same
//! stage, and between two of those the next of the same kind. Knows nothing of how a difference is shown.

mod translate;

use std::collections::BTreeMap;
use std::sync::Arc;

use evendraw_core::ledger::{Carry, NONE};
use evendraw_core::record::{Doubt, Entry, Record, Revised};
use evendraw_core::session::{RestoreError, Session};

use super::status::{plan_of, sound};
use super::{Job, JobError};
use crate::plan::differ::stage_map;
use crate::plan::{Joint, JointPlan, Plan};
use crate::store::{Content, Fact, HostFact, PlanPieces, entries_of};

/// One joint that went on under another plan.
#[derive(Clone, Debug)]
pub struct Revision {
    /// The joint's number.
    pub joint: u8,
    /// Number of the record that says so.
    pub seq: u32,
    /// The plan before.
    pub before: Arc<Plan>,
    /// For each stage from here on the stage that it was.
    pub stages: Vec<Option<u8>>,
}

/// Which records are put in the terms of today.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// All of what there still is.
    All,
    /// No attempt at a step that asks for something else now.
    Unchanged,
}

/// Every such change of a journal, in order.
#[derive(Clone, Debug, Default)]
pub struct Revisions {
    list: Vec<Revision>,
    /// By joint: number of the record from which on it is worked to the plan of today, also where the plan before is lost.
    since: BTreeMap<u8, u32>,
    /// By joint or task and part: the place in the journal from which on the plan says that the one needs the other.
    needs: BTreeMap<(String, String), usize>,
}

impl Revisions {
    /// What a journal says of them. Where the plan before is lost, the records made under it are told by number.
    #[must_use]
    pub fn of(facts: &[Fact]) -> Self {
        let (mut list, mut since) = (Vec::new(), BTreeMap::new());
        let mut last: BTreeMap<u8, u32> = BTreeMap::new();
        let mut plans: Option<Vec<(usize, Arc<Plan>)>> = None;
        for (at, fact) in facts.iter().enumerate() {
            let Fact::Entry(entry) = fact else { continue };
            match &entry.record {
                Record::Started(started) => {
                    last.insert(entry.joint, started.procedure);
                }
                Record::Revised(Revised::Joint {
                    procedure, stages, ..
                }) => {
                    since.insert(entry.joint, entry.seq);
                    let before = last.insert(entry.joint, *procedure);
                    let plans = plans.get_or_insert_with(|| texts(facts));
                    let fits = |plan: &Plan| {
                        plan.joints()
                            .get(usize::from(entry.joint))
                            .is_some_and(|joint| {
                                let own = plan_of(facts.get(..at).unwrap_or(&[]), joint);
                                Some(own.procedure.digest()) == before
                            })
                    };
                    // A later plan may be the same for this joint.
                    let mut earlier = plans.iter().rev().filter(|(begun, _)| *begun < at);
                    if let Some((_, plan)) = earlier.find(|(_, plan)| fits(plan)) {
                        list.push(Revision {
                            joint: entry.joint,
                            seq: entry.seq,
                            before: Arc::clone(plan),
                            stages: stages
                                .iter()
                                .map(|&stage| (stage != NONE).then_some(stage))
                                .collect(),
                        });
                    }
                }
                _ => {}
            }
        }
        let needs = needs_since(facts);
        Self { list, since, needs }
    }

    /// What was kept before and after a joint or task came to need a part, where a change of the plan brought that.
    #[must_use]
    pub fn around_need<'f>(
        &self,
        facts: &'f [Fact],
        user: &str,
        part: &str,
    ) -> Option<(&'f [Fact], &'f [Fact])> {
        let since = self.needs.get(&(user.to_owned(), part.to_owned()))?;
        facts.split_at_checked(*since)
    }

    /// Those of one joint, in order.
    pub fn of_joint(&self, joint: u8) -> impl DoubleEndedIterator<Item = &Revision> {
        self.list.iter().filter(move |own| own.joint == joint)
    }

    /// Whether nothing was changed under a joint that was begun.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Every one, in order.
    pub fn iter(&self) -> impl Iterator<Item = &Revision> {
        self.list.iter()
    }

    /// The joint as it was planned when a record was made, `today` where that is its plan of today; none where that plan is lost.
    #[must_use]
    pub fn joint_plan<'p>(
        &'p self,
        facts: &[Fact],
        entry: &Entry,
        today: &'p JointPlan,
    ) -> Option<&'p JointPlan> {
        match self.of_joint(entry.joint).find(|own| own.seq > entry.seq) {
            Some(revision) => joint_of(&revision.before, facts, entry.joint),
            None => self.is_of_today(entry).then_some(today),
        }
    }

    /// Whether a record was made under the joint's plan of today.
    #[must_use]
    pub fn is_of_today(&self, entry: &Entry) -> bool {
        let since = self.since.get(&entry.joint);
        since.is_none_or(|since| entry.seq >= *since)
    }

    /// The records of a joint in the terms of the plan of today: what was said of a fastener or a stage that is no more is left out.
    #[must_use]
    pub fn today(
        &self,
        facts: &[Fact],
        joint: &Joint,
        entries: &[&Entry],
        which: Which,
    ) -> Vec<Entry> {
        let own: Vec<&Revision> = self.of_joint(joint.number()).collect();
        let now = plan_of(facts, joint);
        let after = |place: usize| {
            own.get(place.saturating_add(1))
                .and_then(|next| joint_of(&next.before, facts, joint.number()))
                .unwrap_or(now)
        };
        entries
            .iter()
            .filter_map(|entry| {
                let mut entry = (*entry).clone();
                for (place, revision) in own.iter().enumerate() {
                    if revision.seq > entry.seq {
                        let before = joint_of(&revision.before, facts, joint.number())?;
                        entry.record = translate::record(
                            &entry.record,
                            &before.procedure,
                            &after(place).procedure,
                            &revision.stages,
                            which,
                        )?;
                    }
                }
                Some(entry)
            })
            .collect()
    }

    /// The records of a joint that may be compared with one another: what was put right and attempts at a stage that has changed since
    /// are left out.
    #[must_use]
    pub fn comparable(&self, facts: &[Fact], joint: &Joint) -> Vec<Entry> {
        let entries: Vec<&Entry> = entries_of(facts, joint.number()).collect();
        self.today(facts, joint, &sound(&entries), Which::Unchanged)
    }
}

fn joint_of<'p>(plan: &'p Plan, facts: &[Fact], joint: u8) -> Option<&'p JointPlan> {
    plan.joints()
        .get(usize::from(joint))
        .map(|joint| plan_of(facts, joint))
}

/// What joints and tasks came to need after the plan that work began with: from which place in the journal on.
fn needs_since(facts: &[Fact]) -> BTreeMap<(String, String), usize> {
    if !facts.iter().any(is_change) {
        return BTreeMap::new();
    }
    let mut since: Option<BTreeMap<(String, String), usize>> = None;
    for (begun, plan) in texts(facts) {
        let joints = plan.joints().iter().flat_map(|joint| {
            let needs = joint.needs();
            needs.map(|part| (joint.id().to_owned(), part.to_owned()))
        });
        let tasks = plan.tasks().iter().flat_map(|task| {
            let needs = task.needs();
            needs.map(|part| (task.id().to_owned(), part.to_owned()))
        });
        let before = since.take();
        let own = joints.chain(tasks).map(|own| {
            // What the plan before had, this one has from then on; the first plan has it from the beginning.
            let earlier = before.as_ref().map(|before| before.get(&own).copied());
            let place = earlier.map_or(0, |earlier| earlier.unwrap_or(begun));
            (own, place)
        });
        since = Some(own.collect());
    }
    let mut since = since.unwrap_or_default();
    since.retain(|_, place| *place > 0);
    since
}

const fn is_change(fact: &Fact) -> bool {
    matches!(fact, Fact::Host(HostFact::PlanChanged { .. }))
}

/// Every plan that a journal brings whole, in order, and the place from which on it is the plan.
fn texts(facts: &[Fact]) -> Vec<(usize, Arc<Plan>)> {
    let mut plans = Vec::new();
    let mut pieces = PlanPieces::default();
    let mut begun = 0;
    let mut take = |pieces: &PlanPieces, begun: usize| {
        if let Some((name, text)) = pieces.whole()
            && let Ok(plan) = Plan::parse(name, text)
        {
            plans.push((begun, Arc::new(plan)));
        }
    };
    for (place, fact) in facts.iter().enumerate() {
        let Fact::Host(host) = fact else { continue };
        if is_change(fact) {
            take(&pieces, begun);
            begun = place;
        }
        pieces.take(host);
    }
    take(&pieces, begun);
    plans
}

/// What is known between two plans of one joint.
fn carry<'a>(old: &JointPlan, new: &JointPlan, stages: &'a [Option<u8>]) -> Carry<'a> {
    Carry {
        stages,
        condition: old.condition == new.condition,
        moments: old.moments == new.moments,
    }
}

/// A joint's session under the plan before, made to go on under another one; and the records that say so.
fn revised(
    (revisions, facts): (&Revisions, &[Fact]),
    number: u8,
    (old, new): (&JointPlan, &JointPlan),
    entries: &[&Entry],
) -> Result<(super::Work, Vec<Entry>), String> {
    let restored = |plan: &JointPlan, entries: &[&Entry]| -> Result<super::Work, String> {
        let procedure = Arc::new(plan.procedure.clone());
        Session::restore(procedure, number, entries.iter().copied())
            .map_err(|error| error.to_string())
    };
    let mut session = restored(old, entries)?;
    if session.ledger().begun().is_some() {
        return Err("a pull is not judged yet".to_owned());
    }
    let stages = stage_map(old, new);
    let mut made = Vec::new();
    let keep = |mut entry: Entry| {
        // When, is not known better than by the record before.
        entry.at = entries.last().map_or(entry.at, |last| last.at);
        made.push(entry);
    };
    let procedure = Arc::new(new.procedure.clone());
    let worked = last_worked_under(revisions, facts, number, entries);
    let done = match worked {
        Some((worked, entries)) => {
            let since = restored(worked, entries)?;
            let from = stage_map(worked, new);
            let carry = carry(worked, new, &from);
            session.revise_since(&since, carry, procedure, &stages, keep)
        }
        None => session.revise(procedure, carry(old, new, &stages), keep),
    };
    done.map_err(|refusal| format!("{refusal:?}").to_lowercase())?;
    Ok((session, made))
}

/// Where nothing was done under the plan before: the last plan that something was done under, and the records until then. What was changed
/// in between touched no fastener.
fn last_worked_under<'r, 'e>(
    revisions: &'r Revisions,
    facts: &[Fact],
    joint: u8,
    entries: &'e [&'e Entry],
) -> Option<(&'r JointPlan, &'e [&'e Entry])> {
    let is_work = |entry: &&Entry| match &entry.record {
        Record::Revised(_) | Record::Person(_) | Record::Tool(_) => false,
        Record::Noted(note) => note.doubt != Doubt::None,
        _ => true,
    };
    let work = entries.iter().rposition(is_work)?;
    let seq = entries.get(work)?.seq;
    let last = entries.last()?.seq;
    let first = revisions
        .of_joint(joint)
        .find(|own| own.seq > seq && own.seq <= last)?;
    let worked = joint_of(&first.before, facts, joint)?;
    let until = entries.iter().position(|own| own.seq >= first.seq)?;
    Some((worked, entries.get(..until)?))
}

/// What must be written so that every joint can be taken up under the plan of today: a change of plan that was cut off.
pub(super) fn unfinished(content: &Content) -> Vec<Entry> {
    let Some((name, text)) = content.plan() else {
        return Vec::new();
    };
    let Ok(plan) = Plan::parse(&name, &text) else {
        return Vec::new();
    };
    let mut missing = Vec::new();
    let (mut plans, mut revisions) = (None, None);
    for joint in plan.joints() {
        let number = joint.number();
        let entries: Vec<&Entry> = entries_of(&content.facts, number).collect();
        let new = plan_of(&content.facts, joint);
        let restored = Session::restore(&new.procedure, number, entries.iter().copied());
        let cut = match restored.map(drop) {
            Err(RestoreError::Unfinished { .. }) => entries
                .iter()
                .rposition(|entry| matches!(entry.record, Record::Revised(Revised::Joint { .. })))
                .unwrap_or(entries.len()),
            Err(RestoreError::OtherProcedure { .. }) => entries.len(),
            _ => continue,
        };
        let (before, begun) = entries.split_at(cut);
        let facts = &content.facts;
        let plans = plans.get_or_insert_with(|| texts(facts));
        let revisions = &*revisions.get_or_insert_with(|| Revisions::of(facts));
        let made = plans.iter().rev().skip(1).find_map(|(_, plan)| {
            let old = plan.joints().get(usize::from(number))?;
            let old = (old.id() == joint.id()).then(|| plan_of(facts, old))?;
            revised((revisions, facts), number, (old, new), before).ok()
        });
        if let Some((_, made)) = made {
            missing.extend(made.into_iter().skip(begun.len()));
        }
    }
    missing
}

/// A plan made ready to go on with: the sessions of its joints, and what is to be written of them.
#[derive(Default)]
pub(super) struct Taken {
    /// Sessions under the new plan, by joint number.
    pub sessions: BTreeMap<u8, super::Work>,
    /// The records that say so.
    pub records: Vec<Entry>,
}

impl Job {
    /// What a change to this plan comes to for the joints that were begun.
    ///
    /// # Errors
    /// [`JobError::Moved`] where a joint that was begun is gone or at another place; [`JobError::CannotRevise`] with the joint and why.
    pub(super) fn taken_up(&self, plan: &Plan) -> Result<Taken, JobError> {
        let mut taken = Taken::default();
        for joint in self.plan.joints() {
            let number = joint.number();
            let entries: Vec<&Entry> = entries_of(&self.facts, number).collect();
            if entries.is_empty() {
                continue;
            }
            let Some(other) = plan
                .joints()
                .get(usize::from(number))
                .filter(|other| other.id() == joint.id())
            else {
                return Err(JobError::Moved {
                    joint: joint.id().to_owned(),
                    place: usize::from(number) + 1,
                });
            };
            let cannot = |why: String| JobError::CannotRevise {
                joint: joint.id().to_owned(),
                why,
            };
            let answers = self.answers(number).cloned().unwrap_or_default();
            let old = joint.plan(&answers).map_err(JobError::Unanswered)?;
            let new = other
                .plan(&answers)
                .map_err(|error| cannot(error.to_string()))?;
            if old.procedure.digest() == new.procedure.digest() {
                continue;
            }
            if let Some(serial) = self.adapter(number) {
                return Err(cannot(format!(
                    "adapter {serial} has it and works to the plan it was sent; take it back first (F11), then send it anew: what is settled goes with it; or finish it there"
                )));
            }
            if let Some(session) = self.session(number)
                && session.is_in_pull()
            {
                return Err(cannot("a pull is being made".to_owned()));
            }
            let (session, made) =
                revised((&self.revisions, &self.facts), number, (old, new), &entries)
                    .map_err(cannot)?;
            taken.records.extend(made);
            taken.sessions.insert(number, session);
        }
        Ok(taken)
    }
}
