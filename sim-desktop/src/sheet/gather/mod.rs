//! From a plan and its journal to everything a sheet says.
//!
//! Reads recorded facts and folds them with the core; judges nothing. Knows nothing of HTML or files.

mod clock;
mod joint;
mod open;
mod sure;
#[cfg(test)]
mod tests;
mod whole;

use std::fmt::Write as _;

use evendraw_core::advice::Advice;
use evendraw_core::ledger::{Ledger, Standing};
use evendraw_core::record::{Entry, Record};
use evendraw_core::session::Session;
use evendraw_core::unit::Instant;

use super::export::Names;
use super::{Item, Mark, SheetModel};
use crate::peers::{Peer, peers};
use crate::plan::{Answers, Joint, JointPlan, Plan};
use crate::store::{Content, HostFact, Traces};
pub use joint::{Trace, kept_trace};

use clock::Clock;

/// What is kept of a job, to print from.
#[derive(Clone, Copy, Debug)]
pub struct Kept<'a> {
    /// Name of the journal's file.
    pub journal: &'a str,
    /// The journal.
    pub content: &'a Content,
    /// CRC-32 of the journal's bytes; none for a sheet without one.
    pub digest: Option<u32>,
    /// The plan that was worked to.
    pub plan: &'a Plan,
    /// The traces beside the journal.
    pub traces: Option<&'a Traces>,
}

/// One joint with its records folded.
struct View<'a> {
    build: &'a Plan,
    joint: &'a Joint,
    plan: &'a JointPlan,
    ledger: Ledger,
    standing: Standing,
    entries: Vec<&'a Entry>,
    /// Its fasteners that are unlike their peers.
    peers: Vec<Peer>,
    /// What makes sense after the verdict that waits for somebody.
    advice: Option<Advice>,
    /// Questions of the joint's variants that nobody answered.
    unanswered: Vec<String>,
    /// Parts that it needs and that are not here.
    missing: Vec<String>,
    /// Why its records cannot be folded.
    fault: Option<String>,
}

impl<'a> View<'a> {
    fn of(kept: &Kept<'a>, joint: &'a Joint) -> Self {
        let answers = answers(kept.content, joint);
        let unanswered = joint
            .variants()
            .iter()
            .filter(|variant| answers.answer(&variant.key).is_none())
            .map(|variant| variant.ask.clone())
            .collect();
        let (plan, wrong_answer) = match joint.plan(&answers) {
            Ok(plan) => (plan, None),
            Err(error) => (joint.first_plan(), Some(error.to_string())),
        };
        let entries: Vec<&Entry> = kept
            .content
            .entries()
            .filter(|entry| entry.joint == joint.number())
            .collect();
        let restored = Session::restore(&plan.procedure, joint.number(), entries.iter().copied());
        let (ledger, standing, fault) = match &restored {
            Ok(session) => (session.ledger().clone(), session.standing(), None),
            Err(error) => (Ledger::new(), Standing::Doubtful, Some(error.to_string())),
        };
        // What is next shows only in a session that runs.
        let advice = restored.ok().and_then(|mut session| {
            session.look_on(entries.last().map_or(Instant::BOOT, |entry| entry.at));
            session.advice()
        });
        let peers = peers(&plan.procedure, &ledger, joint.number(), &entries);
        let missing = joint
            .needs()
            .filter(|part| !is_here(kept, part))
            .map(str::to_owned)
            .collect();
        Self {
            build: kept.plan,
            joint,
            plan,
            ledger,
            standing,
            fault: fault.or(wrong_answer.filter(|_| !entries.is_empty())),
            entries,
            peers,
            advice,
            unanswered,
            missing,
        }
    }

    /// `head, fastener 4, stage 2`, as far as each applies.
    fn place(&self, fastener: Option<u8>, stage: Option<u8>) -> String {
        let mut place = self.joint.id().to_owned();
        if let Some(fastener) = fastener {
            let _ = write!(place, ", fastener {}", self.joint.label(fastener));
        }
        if let Some(stage) = stage {
            let _ = write!(place, ", stage {}", u32::from(stage) + 1);
        }
        place
    }

    fn place_of_step(&self, step: u16) -> String {
        match self.plan.procedure.steps().get(usize::from(step)) {
            Some(step) => self.place(step.fastener(), Some(step.stage())),
            None => self.place(None, None),
        }
    }

    /// Fasteners unlike their peers that nobody has looked at.
    fn unlike(&self) -> impl Iterator<Item = &Peer> {
        self.peers.iter().filter(|peer| peer.settled.is_none())
    }

    fn label_list(&self, fasteners: &[u8]) -> String {
        let labels: Vec<&str> = fasteners
            .iter()
            .map(|&fastener| self.joint.label(fastener))
            .collect();
        labels.join(", ")
    }
}

/// The answers to a joint's variants, as recorded.
fn answers(content: &Content, joint: &Joint) -> Answers {
    let mut answers = Answers::new();
    for fact in content.host_facts() {
        if let HostFact::Variant {
            joint: number,
            question,
            answer,
        } = fact
            && *number == joint.number()
            && let Some(variant) = joint
                .variants()
                .iter()
                .find(|variant| variant.key == *question || variant.ask == *question)
        {
            answers = answers.with(variant.key.clone(), answer.clone());
        }
    }
    answers
}

/// A joint as the answers in its journal make it.
#[must_use]
pub fn plan_of<'p>(content: &Content, joint: &'p Joint) -> &'p JointPlan {
    joint
        .plan(&answers(content, joint))
        .unwrap_or_else(|_| joint.first_plan())
}

/// Whether a part is here: as was said last; before anything was said, unless the plan has it on order.
fn is_here(kept: &Kept<'_>, part: &str) -> bool {
    let said = kept.content.host_facts().filter_map(|fact| match fact {
        HostFact::PartArrived { part: here } if here == part => Some(true),
        HostFact::PartMissing { part: missing } if missing == part => Some(false),
        _ => None,
    });
    said.last().unwrap_or_else(|| !kept.plan.is_on_order(part))
}

/// The names of a plan's joints, fasteners and steps, under the answers recorded.
#[must_use]
pub fn names(plan: &Plan, content: &Content) -> Names {
    plan.joints().iter().fold(Names::new(), |names, joint| {
        let answers = answers(content, joint);
        let plan = joint.plan(&answers).unwrap_or_else(|_| joint.first_plan());
        names.with(joint.number(), joint.id(), &plan.procedure)
    })
}

/// Everything the sheet says.
#[must_use]
pub fn gather(kept: &Kept<'_>) -> SheetModel {
    let rehearsal = kept.content.rehearsal().unwrap_or(false);
    let names = names(kept.plan, kept.content);
    let clock = Clock::of(kept.content, rehearsal);
    let views: Vec<View<'_>> = kept
        .plan
        .joints()
        .iter()
        .map(|joint| View::of(kept, joint))
        .collect();
    let build = kept.plan.build();
    let text = |text: &Option<String>| text.clone().unwrap_or_default();
    let mut model = SheetModel {
        title: build.title.clone(),
        unit: text(&build.unit),
        document: text(&build.document),
        journal: kept.journal.to_owned(),
        rehearsal,
        demo: build.demo,
        plan: kept.plan.text().to_owned(),
        ..SheetModel::default()
    };
    for view in &views {
        model.open.extend(open::open(view, &views));
        model
            .exceptions
            .extend(whole::exceptions(view, &views, &names, &clock, kept));
        model.redone.extend(whole::redone(view, &clock));
        model.due.extend(open::due(view));
        model
            .joints
            .push(joint::joint(view, &views, &names, &clock, kept));
    }
    whole::build_level(&mut model, &views, &clock, kept);
    model
}

/// What a plan alone says: the model of a working sheet.
#[must_use]
pub fn gather_blank(plan: &Plan, journal: &str) -> SheetModel {
    let content = Content::default();
    gather(&Kept {
        journal,
        content: &content,
        digest: None,
        plan,
        traces: None,
    })
}

/// Damage is open until somebody has looked, as a record may be missing.
fn damage(content: &Content) -> Vec<Item> {
    content
        .damage
        .iter()
        .map(|damage| {
            let place = format!("journal, bytes {} to {}", damage.from, damage.to);
            Item::new(
                if damage.torn {
                    Mark::Waived
                } else {
                    Mark::Doubtful
                },
                place,
                damage.why.clone(),
            )
        })
        .collect()
}

fn started_rules(content: &Content) -> Vec<u16> {
    let mut rules: Vec<u16> = content
        .entries()
        .filter_map(|entry| match &entry.record {
            Record::Started(started) => Some(started.rules),
            _ => None,
        })
        .collect();
    rules.sort_unstable();
    rules.dedup();
    rules
}
