//! The one projection: a plan and its journal in, and out comes how every fastener, stage and joint stands, what is out of the
//! ordinary, what is waited for, and what is next.
//!
//! Desk, sheet, tag, commands and exports draw from this and decide nothing. Pure: it folds recorded facts with the core and judges
//! nothing again. Knows nothing of screens, paper or files.
//!
//! # Why one projection
//!
//! *Context:* desk, sheet, tag, `check`, `record` and exports each read the journal by rules of their own, and
//! contradicted each other. *Choice:* `job/status` folds plan and journal once, purely, into plain values: the state
//! of every fastener, stage and joint, what is open and why (`open.rs`, one test a reason in `tests.rs`), one list of
//! exceptions with the gravest first, what is waited for, names, parts, answers, times, tools, what is next.
//! `Kept::of` makes it from a journal that was read, `Job::status` from live sessions: the same by law L3. Faces draw
//! it. `sim-desktop/tests/one_truth.rs` holds every face to it over the 27 patterns and random histories. Whatever
//! the list might not know of still counts: a joint that the core does not call final is open. Facts that are unknown
//! are said to be unknown ("time unknown", "torque unknown", "not witnessed"). *Alternative:* each face with a reader
//! of its own, as before.

mod beside;
mod build;
mod clock;
mod curve;
mod evidence;
mod from_paper;
mod hands;
mod joint;
mod last;
pub mod layout;
mod model;
mod open;
mod put_right;
mod read_back;
mod revised;
mod rows;
mod sure;
pub mod telling;
#[cfg(test)]
mod tests;
mod tonight;
pub(super) mod tools;
mod unit;

use std::fmt::Write as _;
use std::sync::Arc;

use evendraw_core::advice::Advice;
use evendraw_core::ledger::{Ledger, Standing};
use evendraw_core::procedure::Procedure;
use evendraw_core::record::{Entry, Record};
use evendraw_core::session::{Next, Session};
use evendraw_core::unit::Instant;
use jiff::civil::Date;

use super::Job;
use super::beside::Beside;
use super::revision::{Revisions, Which};
use crate::mark::Mark;
use crate::peers::{Peer, peers};
use crate::plan::progress::{JointState, Progress};
use crate::plan::{Answers, Joint, JointPlan, Plan};
use crate::store::{Content, Damage, Fact, HostFact, PartState, Traces, entries_of};

pub use curve::{CurveState, curve_of, state_of_curve};
pub use evidence::{How, Tally, attempt_of, is_lost, peak_of};
pub use from_paper::FromPaper;
pub use model::{
    AttemptRow, BesideRow, CheckRow, Curve, Differs, FastenerStatus, Item, JointStatus, LastDone,
    NextJoint, PartStatus, PersonStatus, ReminderStatus, StageCell, StageStatus, Status, Struck,
    TaskStatus, ToolStatus, counted, parts_csv,
};
pub use put_right::{PutRight, sound};
pub use read_back::{read_back, stages_read_back};
pub use rows::{Row, rows};
pub use telling::Names;
pub use tonight::{Rehearsed, Tonight, TonightJoint, TonightLine, TonightTool};
pub use unit::Shown;

pub(crate) use clock::Clock;
pub(crate) use hands::{Hands, InHand};
pub(super) use last::is_deed;

/// A session that is at work on a joint.
type Live<'a> = &'a Session<Arc<Procedure>>;

/// What the projection is made of.
#[derive(Clone, Debug)]
pub struct Kept<'a> {
    /// The plan that was worked to.
    pub plan: &'a Plan,
    /// Everything kept, in order.
    pub facts: &'a [Fact],
    /// What did not read.
    pub damage: &'a [Damage],
    /// On no metal.
    pub rehearsal: bool,
    /// The traces beside the journal.
    pub traces: Option<&'a Traces>,
    /// Today, where that is known: calibrations run out.
    pub today: Option<Date>,
    /// Tasks, parts and reminders.
    beside: Beside,
    /// Joints that went on under another plan.
    revisions: Arc<Revisions>,
    /// The records of those joints in the terms of the plan of today.
    translated: Vec<Entry>,
    /// The records that were typed from paper.
    from_paper: FromPaper,
    /// Sessions at work, by joint number: they stand where their records stand, and need not be folded again.
    live: &'a [Option<super::Work>],
}

impl<'a> Kept<'a> {
    /// Of a plan and a journal that was read.
    #[must_use]
    pub fn of(plan: &'a Plan, content: &'a Content, traces: Option<&'a Traces>) -> Self {
        let revisions = Arc::new(Revisions::of(&content.facts));
        Self {
            plan,
            facts: &content.facts,
            damage: &content.damage,
            rehearsal: content.rehearsal().unwrap_or(false),
            traces,
            today: Some(today()),
            beside: Beside::of(plan, &content.facts),
            translated: translated(plan, &content.facts, &revisions),
            revisions,
            from_paper: FromPaper::of(&content.facts),
            live: &[],
        }
    }

    /// As [`Kept::of`], on another day.
    #[must_use]
    pub fn on(
        plan: &'a Plan,
        content: &'a Content,
        traces: Option<&'a Traces>,
        today: Date,
    ) -> Self {
        Self {
            today: Some(today),
            ..Self::of(plan, content, traces)
        }
    }

    /// Of a plan alone: nothing was done yet.
    #[must_use]
    pub fn before_work(plan: &'a Plan) -> Self {
        Self {
            plan,
            facts: &[],
            damage: &[],
            rehearsal: false,
            traces: None,
            today: Some(today()),
            beside: Beside::default(),
            translated: Vec::new(),
            revisions: Arc::default(),
            from_paper: FromPaper::default(),
            live: &[],
        }
    }

    /// The names of joints, fasteners and steps, under the answers recorded.
    #[must_use]
    pub fn names(&self) -> Names {
        names_with(self.plan, self.facts, &self.revisions)
    }

    /// The projection.
    #[must_use]
    pub fn status(&self) -> Status {
        // Its records are in the terms of the plan of today already.
        let names = today_names(self.plan, self.facts);
        let clock = Clock::of(self.facts, self.rehearsal);
        let folded: Vec<Folded<'_>> = self
            .plan
            .joints()
            .iter()
            .map(|joint| Folded::of(self, joint))
            .collect();
        let progress = self.progress(&folded);
        let views: Vec<View<'_>> = folded
            .into_iter()
            .zip(progress.joints())
            .map(|(folded, state)| View { folded, state })
            .collect();
        build::status(self, &views, &progress, &names, &clock)
    }

    /// An evening before it begins.
    #[must_use]
    pub fn tonight(&self) -> Tonight {
        let joints = self.plan.joints().iter();
        let folded: Vec<Folded<'_>> = joints.map(|joint| Folded::of(self, joint)).collect();
        let progress = self.progress(&folded);
        tonight::tonight(self, folded, &progress, &self.status())
    }

    /// Every joint and task in the light of all others.
    fn progress(&self, folded: &[Folded<'_>]) -> Progress {
        let standings: Vec<Standing> = folded.iter().map(Folded::standing).collect();
        Progress::with_tasks(
            self.plan,
            &standings,
            |part| self.beside.is_here(self.plan, part),
            |task| self.beside.task(task).0,
        )
    }

    /// As if this had been said of a part: for what is asked of a plan alone.
    pub fn suppose(&mut self, part: &str, state: PartState) {
        self.beside.suppose(part, state);
    }

    /// The projection as if joints and tasks stood as given: for what is asked of a plan alone.
    #[must_use]
    pub fn status_in(&self, progress: &Progress) -> Status {
        let names = today_names(self.plan, self.facts);
        let clock = Clock::of(self.facts, self.rehearsal);
        let joints = self.plan.joints().iter().zip(progress.joints());
        let views: Vec<View<'_>> = joints
            .map(|(joint, state)| View {
                folded: Folded::of(self, joint),
                state,
            })
            .collect();
        build::status(self, &views, progress, &names, &clock)
    }

    fn entries(&self) -> impl Iterator<Item = &'a Entry> + use<'a> {
        self.facts.iter().filter_map(|fact| match fact {
            Fact::Entry(entry) => Some(entry),
            Fact::Host(_) => None,
        })
    }

    fn host_facts(&self) -> impl Iterator<Item = &'a HostFact> + use<'a> {
        self.facts.iter().filter_map(|fact| match fact {
            Fact::Host(fact) => Some(fact),
            Fact::Entry(_) => None,
        })
    }

    /// Serial number of the adapter that makes a joint's records.
    fn adapter(&self, joint: u8) -> Option<&'a str> {
        let said = self.host_facts().filter_map(|fact| match fact {
            HostFact::AtAdapter { joint: own, serial } if *own == joint => Some(serial.as_str()),
            _ => None,
        });
        said.last().filter(|serial| !serial.is_empty())
    }
}

impl Job {
    /// What the projection of this job is made of.
    #[must_use]
    pub fn kept(&self) -> Kept<'_> {
        Kept {
            plan: &self.plan,
            facts: &self.facts,
            damage: &self.untold,
            rehearsal: self.purpose == crate::store::Purpose::Rehearsal,
            traces: self.traces.as_ref(),
            today: self.today(),
            beside: self.beside(),
            translated: translated(&self.plan, &self.facts, &self.revisions),
            revisions: Arc::clone(&self.revisions),
            from_paper: FromPaper::of(&self.facts),
            live: &self.sessions,
        }
    }

    /// How everything stands.
    #[must_use]
    pub fn status(&self) -> Status {
        self.kept().status()
    }

    /// What was done at a joint to an earlier revision of the plan and differs now.
    #[must_use]
    pub fn differs(&self, joint: u8) -> Vec<Differs> {
        let own = self.joint(joint);
        let revised = own.filter(|_| self.revisions.of_joint(joint).next().is_some());
        revised.map_or_else(Vec::new, |own| Folded::of(&self.kept(), own).differs)
    }

    /// The names of joints, fasteners and steps.
    #[must_use]
    pub fn names(&self) -> Names {
        self.kept().names()
    }
}

fn today() -> Date {
    jiff::Zoned::now().date()
}

/// The names of a plan's joints, fasteners and steps, under the answers recorded.
#[must_use]
pub fn names(plan: &Plan, facts: &[Fact]) -> Names {
    names_with(plan, facts, &Revisions::of(facts))
}

fn names_with(plan: &Plan, facts: &[Fact], revisions: &Revisions) -> Names {
    revisions
        .iter()
        .fold(today_names(plan, facts), |names, revision| {
            let before = today_names(&revision.before, facts);
            names.with_earlier(revision.joint, revision.seq.saturating_sub(1), before)
        })
}

/// The records of joints that went on under another plan, in the terms of this one.
fn translated(plan: &Plan, facts: &[Fact], revisions: &Revisions) -> Vec<Entry> {
    let revised = plan
        .joints()
        .iter()
        .filter(|joint| revisions.of_joint(joint.number()).next().is_some());
    revised
        .flat_map(|joint| {
            let entries: Vec<&Entry> = entries_of(facts, joint.number()).collect();
            revisions.today(facts, joint, &entries, Which::All)
        })
        .collect()
}

/// The names of the plan alone, whatever went before.
fn today_names(plan: &Plan, facts: &[Fact]) -> Names {
    plan.joints().iter().fold(Names::new(), |names, joint| {
        names.with(joint, plan_of(facts, joint))
    })
}

/// A joint as the answers in its journal make it.
#[must_use]
pub fn plan_of<'p>(facts: &[Fact], joint: &'p Joint) -> &'p JointPlan {
    joint
        .plan(&answers(facts, joint))
        .unwrap_or_else(|_| joint.first_plan())
}

/// The answers to a joint's variants, as recorded.
fn answers(facts: &[Fact], joint: &Joint) -> Answers {
    let mut answers = Answers::new();
    for fact in facts {
        if let Fact::Host(HostFact::Variant {
            joint: number,
            question,
            answer,
        }) = fact
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

/// One joint with its records folded.
struct Folded<'a> {
    build: &'a Plan,
    joint: &'a Joint,
    plan: &'a JointPlan,
    ledger: Ledger,
    standing: Standing,
    next: Option<Next>,
    /// What makes sense after the verdict that waits for somebody.
    advice: Option<Advice>,
    entries: Vec<&'a Entry>,
    /// Its fasteners that are unlike their peers.
    peers: Vec<Peer>,
    /// Questions of the joint's variants that nobody answered.
    unanswered: Vec<String>,
    /// Why its records cannot be folded.
    fault: Option<String>,
    /// What was done to an earlier revision and differs now.
    differs: Vec<Differs>,
    /// Number of the record from which on it is worked to this plan; 0 from the first.
    revised_at: u32,
}

/// The same in the light of the other joints.
struct View<'a> {
    folded: Folded<'a>,
    state: &'a JointState,
}

impl<'a> std::ops::Deref for View<'a> {
    type Target = Folded<'a>;

    fn deref(&self) -> &Folded<'a> {
        &self.folded
    }
}

impl<'a> Folded<'a> {
    fn of(kept: &'a Kept<'_>, joint: &'a Joint) -> Self {
        let number = joint.number();
        let answers = answers(kept.facts, joint);
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
        let recorded: Vec<&Entry> = entries_of(kept.facts, number).collect();
        let live: Option<Live<'_>> = kept
            .live
            .get(usize::from(number))
            .and_then(Option::as_ref)
            .filter(|session| !matches!(session.next(), Next::Start));
        let folded = match live {
            Some(session) => Ok((
                session.ledger().clone(),
                session.standing(),
                session.next(),
                session.advice(),
            )),
            None => folded(plan, number, &recorded, kept.adapter(number).is_some()),
        };
        let (ledger, standing, next, advice, fault) = match folded {
            Ok((ledger, standing, next, advice)) => (ledger, standing, Some(next), advice, None),
            Err(fault) => (Ledger::new(), Standing::Doubtful, None, None, Some(fault)),
        };
        let is_revised = kept.revisions.of_joint(number).next().is_some();
        let entries: Vec<&Entry> = if is_revised {
            let translated = kept.translated.iter();
            translated.filter(|entry| entry.joint == number).collect()
        } else {
            recorded
        };
        // What was put right counts no more.
        let has_entries = !entries.is_empty();
        let entries = sound(&entries);
        let peers = if is_revised {
            let comparable = kept.revisions.comparable(kept.facts, joint);
            let comparable: Vec<&Entry> = comparable.iter().collect();
            peers(&plan.procedure, &ledger, number, &comparable)
        } else {
            peers(&plan.procedure, &ledger, number, &entries)
        };
        let mut folded = Self {
            differs: Vec::new(),
            revised_at: kept
                .revisions
                .of_joint(number)
                .last()
                .map_or(0, |own| own.seq),
            build: kept.plan,
            joint,
            plan,
            peers,
            ledger,
            standing,
            next,
            advice,
            fault: fault.or(wrong_answer.filter(|_| has_entries)),
            entries,
            unanswered,
        };
        if is_revised {
            let recorded: Vec<&Entry> = entries_of(kept.facts, number).collect();
            folded.differs = revised::differs(kept, &folded, &recorded);
        }
        folded
    }

    /// Where it stands for the others: what cannot be taken up is doubtful.
    fn standing(&self) -> Standing {
        let is_closed = matches!(self.standing, Standing::Final | Standing::RetorqueDue);
        if self.fault.is_some() || is_closed && self.unlike().next().is_some() {
            Standing::Doubtful
        } else {
            self.standing
        }
    }

    /// Fasteners unlike their peers that nobody has looked at.
    fn unlike(&self) -> impl Iterator<Item = &Peer> {
        self.peers.iter().filter(|peer| peer.settled.is_none())
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

    /// `fastener b`, `fasteners a, c`.
    fn fasteners_named(&self, fasteners: &[u8]) -> String {
        let labels: Vec<&str> = fasteners
            .iter()
            .map(|&fastener| self.joint.label(fastener))
            .collect();
        let word = match labels.len() {
            1 => "fastener",
            _ => "fasteners",
        };
        format!("{word} {}", labels.join(", "))
    }

    /// The steps with their index.
    fn steps(&self) -> impl Iterator<Item = (u16, &'a evendraw_core::procedure::Step)> + use<'a> {
        self.plan.procedure.numbered_steps()
    }
}

impl View<'_> {
    /// How the joint stands.
    fn mark(&self) -> Mark {
        self.state.state
    }

    fn is_untouched(&self) -> bool {
        matches!(self.mark(), Mark::Ready | Mark::Waiting)
    }
}

type FoldedRecords = (Ledger, Standing, Next, Option<Advice>);

/// The records folded, and what is next after them. The pull in progress at an adapter is the adapter's: its begin says nothing
/// about how the fastener is.
fn folded(
    plan: &JointPlan,
    joint: u8,
    entries: &[&Entry],
    at_adapter: bool,
) -> Result<FoldedRecords, String> {
    let settled = match entries.split_last() {
        Some((last, before)) if at_adapter && matches!(last.record, Record::Begun(_)) => before,
        _ => entries,
    };
    let mut session = Session::restore(&plan.procedure, joint, settled.iter().copied())
        .map_err(|error| error.to_string())?;
    let (ledger, standing) = (session.ledger().clone(), session.standing());
    session.look_on(entries.last().map_or(Instant::BOOT, |entry| entry.at));
    Ok((ledger, standing, session.next(), session.advice()))
}
