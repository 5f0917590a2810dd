//! A build being worked: its plan, a session for each joint, and the journal that keeps them.
//!
//! Everything that happens goes through [`Job::apply`] or one of its neighbours, which keep it before they tell it. Knows
//! nothing of screens, benches or serial ports; time comes in from the caller.

#![cfg_attr(not(test), warn(clippy::arithmetic_side_effects))]

mod adapter;
pub mod beside;
mod commit;
mod error;
mod hands;
mod open;
pub mod paper;
mod peers;
pub mod revision;
mod say;
mod shared;
mod standing;
pub mod status;
mod tool_check;
pub mod ways;

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;

use evendraw_core::procedure::Procedure;
use evendraw_core::record::{Attempt, Entry, Role};
use evendraw_core::session::{Announcement, Input, Refusal, Session};
use evendraw_core::tracker::Cue;
use evendraw_core::unit::Instant;
use evendraw_core::verdict::Reason;

use crate::plan::{Answers, Joint, JointPlan, Plan};
use crate::store::{Damage, Fact, HostFact, Journal, Purpose, Traces};

pub use error::JobError;
pub use peers::{Before, Forerunners};
use revision::Revisions;
pub use say::task_of_reminder;
pub use standing::Held;

/// One joint's session, once its questions are answered.
type Work = Session<Arc<Procedure>>;

/// A build being worked.
#[derive(Debug)]
pub struct Job {
    plan: Plan,
    purpose: Purpose,
    /// By joint number; none while a variant is unanswered.
    sessions: Vec<Option<Work>>,
    /// By joint number: the answers it is worked to.
    answers: Vec<Answers>,
    person: Option<String>,
    tool: Option<(String, String)>,
    /// By joint number: who works and with what, as the joint's records of this start say.
    named: BTreeMap<u8, hands::Named>,
    boot: u16,
    unix_at_boot: Option<i64>,
    facts: Vec<Fact>,
    damage: Vec<Damage>,
    /// What of it no record tells of.
    untold: Vec<Damage>,
    journal: Option<Journal>,
    traces: Option<Traces>,
    unsaved: Vec<Entry>,
    /// Why the journal cannot be written, as long as it cannot.
    store_trouble: Option<String>,
    /// Curves that could not be kept, by joint and record, until their verdict is told.
    curves_lost: BTreeMap<(u8, u32), String>,
    /// The joint that nothing holds, as long as nothing has changed.
    clear_to_pull: Option<u8>,
    /// The joint that is rehearsed or judged by itself, whatever the others say.
    alone: Option<u8>,
    /// What like joints of other builds showed.
    forerunners: Option<Forerunners>,
    /// By joint number: the adapter that makes the joint's records.
    adapters: BTreeMap<u8, String>,
    /// Joints that went on under another plan.
    revisions: Arc<Revisions>,
    /// The day that something was done which is typed back now; none while nothing is.
    as_of: Option<jiff::civil::Date>,
}

/// An attempt whose record is safe, with the number of the joint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// The joint's number.
    pub joint: u8,
    /// What is announced.
    pub announcement: Announcement,
    /// The attempt, however it came to be known.
    pub attempt: Attempt,
    /// Its record.
    pub entry: Entry,
    /// Why its curve could not be kept, if it could not. Evidence is lost, truth is not.
    pub curve_lost: Option<String>,
}

/// What came of an input.
#[derive(Clone, Debug, Default)]
pub struct Done {
    /// Stop pulling, at once.
    pub halt: Option<Reason>,
    /// What to signal while pulling.
    pub cue: Cue,
    /// The input was refused.
    pub refusal: Option<Refusal>,
    /// Nothing can be pulled at this joint now, and why.
    pub held: Vec<Held>,
    /// Records made, of this joint and of those it shares fasteners with.
    pub entries: Vec<Entry>,
    /// Verdicts whose records are safe.
    pub told: Vec<Told>,
    /// The journal could not be written; pulling is blocked until it can.
    pub store_failure: Option<String>,
    /// And it never can, as its name leads elsewhere: all that is known is where [`Done::store_failure`] says.
    pub journal_elsewhere: bool,
    /// The curve of an attempt could not be kept. Evidence is lost, truth is not: the verdict is safe and work goes on.
    pub trace_lost: Option<String>,
}

impl Job {
    /// The plan.
    #[must_use]
    pub const fn plan(&self) -> &Plan {
        &self.plan
    }

    /// What the job is for.
    #[must_use]
    pub const fn purpose(&self) -> Purpose {
        self.purpose
    }

    /// Number of this start of the program.
    #[must_use]
    pub const fn boot(&self) -> u16 {
        self.boot
    }

    /// Everything kept so far, in order.
    #[must_use]
    pub fn facts(&self) -> &[Fact] {
        &self.facts
    }

    /// What of the journal did not read when it was opened.
    #[must_use]
    pub fn damage(&self) -> &[Damage] {
        &self.damage
    }

    /// The journal's traces, where there is a journal.
    #[must_use]
    pub const fn traces(&self) -> Option<&Traces> {
        self.traces.as_ref()
    }

    /// The journal's file, where there is one.
    #[must_use]
    pub fn journal_path(&self) -> Option<&std::path::Path> {
        self.journal.as_ref().map(Journal::path)
    }

    /// Why the journal cannot be written; nothing is pulled until it can.
    #[must_use]
    pub fn store_trouble(&self) -> Option<&str> {
        self.store_trouble.as_deref()
    }

    /// Who works.
    #[must_use]
    pub fn person(&self) -> Option<&str> {
        self.person.as_deref()
    }

    /// Id of the tool in use.
    #[must_use]
    pub fn tool(&self) -> Option<&str> {
        self.tool.as_ref().map(|(id, _)| id.as_str())
    }

    /// The joint with this number.
    #[must_use]
    pub fn joint(&self, joint: u8) -> Option<&Joint> {
        self.plan.joints().get(usize::from(joint))
    }

    /// The joint as its answers make it; as the first answers would, while some are missing.
    #[must_use]
    pub fn joint_plan(&self, joint: u8) -> Option<&JointPlan> {
        let own = self.joint(joint)?;
        let answers = self.answers.get(usize::from(joint))?;
        Some(own.plan(answers).unwrap_or_else(|_| own.first_plan()))
    }

    /// The joint's session; none while a variant is unanswered.
    #[must_use]
    pub fn session(&self, joint: u8) -> Option<&Session<Arc<Procedure>>> {
        self.sessions.get(usize::from(joint))?.as_ref()
    }

    /// The answers that the joint is worked to.
    #[must_use]
    pub fn answers(&self, joint: u8) -> Option<&Answers> {
        self.answers.get(usize::from(joint))
    }

    /// The attempts that count for a joint, in order, with their records.
    pub fn attempts(
        &self,
        joint: u8,
    ) -> impl DoubleEndedIterator<Item = (&Entry, Cow<'_, Attempt>)> {
        let entries = self.sound(joint).into_iter();
        entries.filter_map(|entry| Some((entry, status::attempt_of(&entry.record)?)))
    }

    /// Takes an input for a joint. The session is started first if it is not running yet.
    ///
    /// Never fails for want of storage: then [`Done::store_failure`] says so, pulling is blocked, and the next call tries
    /// again.
    ///
    /// # Errors
    /// [`JobError::NoSuchJoint`], or [`JobError::Unanswered`] while a variant is open.
    pub fn apply(&mut self, joint: u8, at: Instant, input: Input<'_>) -> Result<Done, JobError> {
        let mut done = Done::default();
        if let Some(serial) = self.adapters.get(&joint) {
            return match input {
                // Its clock is the adapter's.
                Input::Tick => Ok(done),
                _ => Err(JobError::AtAdapter {
                    serial: serial.clone(),
                }),
            };
        }
        self.enter(joint, at, &mut done)?;
        self.name_hands(joint, at, &input, &mut done);
        let told_of = self.told_of(joint, &input);
        let is_reading = matches!(input, Input::Sample(_) | Input::TorqueAlone(_));
        if !is_reading && input != Input::Tick {
            self.clear_to_pull = None;
            if told_of.is_some() {
                done.held = self.held(joint);
                if !done.held.is_empty() {
                    return Ok(done);
                }
            }
        } else if is_reading && self.clear_to_pull != Some(joint) && !self.is_in_pull(joint) {
            done.held = self.held(joint);
            if !done.held.is_empty() {
                return Ok(done);
            }
            self.clear_to_pull = Some(joint);
        }
        match input {
            Input::Person {
                name,
                role: Role::Operator,
            } => self.person = Some(name.to_owned()),
            Input::Tool { id, waiver } => self.tool = Some((id.to_owned(), waiver.to_owned())),
            _ => {}
        }
        self.note_named(joint, &input);
        let first_load = told_of.filter(|fastener| {
            let session = self.session(joint);
            session.is_some_and(|session| !session.ledger().is_tight(*fastener))
        });
        self.send(joint, at, input, &mut done);
        self.compare_peers(joint, at, &mut done);
        self.spread(joint, at, first_load, &mut done);
        Ok(done)
    }

    /// The fastener that an input says was pulled on, without a sample.
    fn told_of(&self, joint: u8, input: &Input<'_>) -> Option<u8> {
        let procedure = self.session(joint)?.procedure();
        match *input {
            Input::Read { step, .. } | Input::BySetting { step, .. } => procedure.fastener_of(step),
            Input::Confirm { step } if procedure.stage_of(step)?.kind.is_pulled() => {
                procedure.fastener_of(step)
            }
            _ => None,
        }
    }

    /// Starts the joint's session if it is not running yet: who works and with what is said again, so that the joint's
    /// records stand alone.
    fn enter(&mut self, joint: u8, at: Instant, done: &mut Done) -> Result<(), JobError> {
        self.make_session(joint)?;
        if !matches!(
            self.session(joint).map(Session::next),
            Some(evendraw_core::session::Next::Start)
        ) {
            return Ok(());
        }
        let rehearsal = self.purpose == Purpose::Rehearsal;
        let boot = self.boot;
        self.send(joint, at, Input::Start { boot, rehearsal }, done);
        if let Some(unix) = self.unix_at_boot {
            let since = i64::try_from(at.micros() / 1_000_000).unwrap_or(0);
            self.send(
                joint,
                at,
                Input::Anchor {
                    unix_seconds: unix.saturating_add(since),
                },
                done,
            );
        }
        self.named.remove(&joint);
        self.name_person(joint, at, done);
        self.name_tool(joint, at, done);
        Ok(())
    }

    /// Lets one joint be rehearsed or judged by itself: joints before it and below it hold it no more.
    ///
    /// # Errors
    /// [`JobError::NotARehearsal`] in a real job that is kept: there the order of work counts.
    pub fn work_alone(&mut self, joint: u8) -> Result<(), JobError> {
        if self.purpose == Purpose::Job && self.journal.is_some() {
            return Err(JobError::NotARehearsal);
        }
        self.alone = Some(joint);
        self.clear_to_pull = None;
        Ok(())
    }

    fn is_in_pull(&self, joint: u8) -> bool {
        self.session(joint).is_some_and(Session::is_in_pull)
    }

    /// A part is here.
    ///
    /// # Errors
    /// [`JobError::NoSuchPart`] when neither joint nor task needs it, [`JobError::Store`].
    pub fn part_arrived(&mut self, part: &str) -> Result<(), JobError> {
        self.needed(part)?;
        self.keep_fact(HostFact::PartArrived {
            part: part.to_owned(),
        })
    }

    /// A part is not here after all.
    ///
    /// # Errors
    /// As for [`Job::part_arrived`].
    pub fn part_missing(&mut self, part: &str) -> Result<(), JobError> {
        self.needed(part)?;
        self.keep_fact(HostFact::PartMissing {
            part: part.to_owned(),
        })
    }

    /// Whether a part is here: as was said last; before anything was said, unless the plan has it on order.
    #[must_use]
    pub fn has_part(&self, part: &str) -> bool {
        self.beside().is_here(&self.plan, part)
    }

    fn needed(&self, part: &str) -> Result<(), JobError> {
        let beside = self.beside();
        let mut known = self.plan.part_names();
        known.extend(beside.added_parts().iter().map(|part| part.id.as_str()));
        if known.contains(&part) {
            return Ok(());
        }
        known.sort_unstable();
        let known = known.into_iter().map(str::to_owned).collect();
        Err(JobError::NoSuchPart {
            part: part.to_owned(),
            known,
        })
    }

    /// Answers a variant of a joint.
    ///
    /// # Errors
    /// [`JobError::NoSuchJoint`]; [`JobError::Answer`] for an answer that the question does not take;
    /// [`JobError::Begun`] once the joint was worked on; [`JobError::Store`].
    pub fn choose(&mut self, joint: u8, key: &str, answer: &str) -> Result<(), JobError> {
        let own = self.joint(joint).ok_or(JobError::NoSuchJoint { joint })?;
        let variant = own.variants().iter().find(|variant| variant.key == key);
        let Some(variant) =
            variant.filter(|variant| variant.allowed().any(|allowed| allowed == answer))
        else {
            return Err(JobError::Answer {
                joint: own.id().to_owned(),
                key: key.to_owned(),
                given: answer.to_owned(),
                allowed: own
                    .variants()
                    .iter()
                    .map(|variant| {
                        (
                            variant.key.clone(),
                            variant.allowed().map(str::to_owned).collect(),
                        )
                    })
                    .collect(),
            });
        };
        let key = variant.key.clone();
        if self
            .session(joint)
            .is_some_and(|session| session.ledger().seq() > 0)
        {
            return Err(JobError::Begun {
                joint: own.id().to_owned(),
            });
        }
        self.keep_fact(HostFact::Variant {
            joint,
            question: key.clone(),
            answer: answer.to_owned(),
        })?;
        self.take_answer(joint, &key, answer);
        Ok(())
    }

    /// A remark for whoever goes on.
    ///
    /// # Errors
    /// [`JobError::Store`].
    pub fn hand_over(&mut self, text: &str) -> Result<(), JobError> {
        self.keep_fact(HostFact::Handover {
            text: text.to_owned(),
        })
    }

    /// Keeps the clamp load, in kN, that the virtual bench shows after a stage.
    ///
    /// # Errors
    /// [`JobError::Store`]; [`JobError::NotARehearsal`] in a real job, where nobody can know it.
    pub fn keep_clamp(
        &mut self,
        joint: u8,
        fastener: u8,
        stage: u8,
        load_kn: f64,
    ) -> Result<(), JobError> {
        if self.purpose != Purpose::Rehearsal {
            return Err(JobError::NotARehearsal);
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a float becomes the nearest integer of the range; below zero it becomes zero"
        )]
        let newtons = (load_kn * 1_000.0).round() as u32;
        self.keep_fact(HostFact::Clamp {
            joint,
            fastener,
            stage,
            newtons,
        })
    }

    fn take_answer(&mut self, joint: u8, key: &str, answer: &str) {
        if let Some(answers) = self.answers.get_mut(usize::from(joint)) {
            *answers = std::mem::take(answers).with(key, answer);
        }
    }
}
