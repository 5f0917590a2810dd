//! A job begun, and a job taken up again.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use evendraw_core::session::{Input, RestoreError, Session};
use evendraw_core::unit::Instant;

use super::adapter::looking_on;
use super::revision::{self, Revisions};
use super::{Done, Job, JobError};
use crate::plan::{Answers, Plan};
use crate::store::{Content, Fact, HostFact, Journal, Purpose, Traces, changing, opening};

impl Job {
    /// A job that is kept nowhere: for a rehearsal to be thrown away.
    #[must_use]
    pub fn unkept(plan: Plan, purpose: Purpose) -> Self {
        let joints = plan.joints().len();
        Self {
            plan,
            purpose,
            sessions: (0..joints).map(|_| None).collect(),
            answers: vec![Answers::new(); joints],
            person: None,
            tool: None,
            named: BTreeMap::new(),
            boot: 1,
            unix_at_boot: None,
            facts: Vec::new(),
            damage: Vec::new(),
            untold: Vec::new(),
            journal: None,
            traces: None,
            unsaved: Vec::new(),
            store_trouble: None,
            curves_lost: BTreeMap::new(),
            clear_to_pull: None,
            alone: None,
            forerunners: None,
            adapters: BTreeMap::new(),
            revisions: Arc::default(),
            as_of: None,
        }
    }

    /// A new job in a new journal.
    ///
    /// # Errors
    /// [`JobError::Store`]: a file that exists is never written over.
    pub fn create(path: &Path, plan: Plan, purpose: Purpose) -> Result<Self, JobError> {
        let journal = Journal::create(path, purpose, plan.name(), plan.text())?;
        let mut job = Self::unkept(plan, purpose);
        let opening = opening(purpose, job.plan.name(), job.plan.text())?;
        job.facts.extend(opening.into_iter().map(Fact::Host));
        job.traces = Some(Traces::beside(path));
        job.journal = Some(journal);
        Ok(job)
    }

    /// The job in a journal, as it was left: the plan comes from the journal. Pulls that power cut short are recorded as
    /// interrupted at once; what recovery found is recorded too.
    ///
    /// # Errors
    /// [`JobError`] when the journal, the plan in it or a joint's records do not read.
    pub fn open(path: &Path, purpose: Purpose) -> Result<Self, JobError> {
        let (mut journal, mut content) = Journal::open(path, purpose)?;
        // A change of plan that was cut off is written to its end.
        let missing = revision::unfinished(&content);
        if !missing.is_empty() {
            journal.append(&missing)?;
            content.facts.extend(missing.into_iter().map(Fact::Entry));
        }
        let mut job = Self::of(&content, purpose)?;
        job.traces = Some(Traces::beside(path));
        job.journal = Some(journal);
        job.record_recovery();
        job.record_interruptions();
        Ok(job)
    }

    /// The job in a journal that is open for reading only: to look, not to go on.
    ///
    /// # Errors
    /// [`JobError`] when the plan in it or a joint's records do not read.
    pub fn of(content: &Content, purpose: Purpose) -> Result<Self, JobError> {
        let (name, text) = content.plan().ok_or(JobError::PlanLost)?;
        let plan = Plan::parse(&name, &text).map_err(JobError::Plan)?;
        Self::with_plan(plan, content, purpose)
    }

    /// The job that these facts are of, worked to this plan.
    pub(super) fn with_plan(
        plan: Plan,
        content: &Content,
        purpose: Purpose,
    ) -> Result<Self, JobError> {
        let mut job = Self::unkept(plan, purpose);
        job.boot = content.last_boot().saturating_add(1);
        job.facts.clone_from(&content.facts);
        job.damage.clone_from(&content.damage);
        job.untold.clone_from(&content.damage);
        job.revisions = Arc::new(Revisions::of(&job.facts));
        for fact in content.host_facts() {
            match fact {
                HostFact::Variant {
                    joint,
                    question,
                    answer,
                } => job.take_answer(*joint, question, answer),
                HostFact::AtAdapter { joint, serial } => job.note_adapter(*joint, serial),
                _ => {}
            }
        }
        for joint in 0..u8::try_from(job.plan.joints().len()).unwrap_or(u8::MAX) {
            job.restore(joint, content)?;
        }
        Ok(job)
    }

    /// Tells the wall time, in seconds since 1970, at which this run's clock stands at zero.
    pub fn set_wall_time(&mut self, unix_at_boot: i64) {
        self.unix_at_boot = Some(unix_at_boot);
    }

    /// From here on the job is worked to another text of the plan. A joint that was begun goes on under it: what is settled and did not
    /// change stays so, what changed is done again, and what was finished becomes a doubt to settle. Nothing is judged again.
    ///
    /// # Errors
    /// Then nothing was changed: [`JobError::Moved`] where a joint that was begun is gone or stands at another place;
    /// [`JobError::CannotRevise`] with the joint and why; [`JobError::Store`].
    pub fn change_plan(&mut self, plan: Plan) -> Result<(), JobError> {
        let mut done = Done::default();
        if !self.unsaved.is_empty() {
            return Err(JobError::CannotRevise {
                joint: self.plan.name().to_owned(),
                why: "records wait to be written".to_owned(),
            });
        }
        let mut taken = self.taken_up(&plan)?;
        let next = Self::unkept(plan, self.purpose);
        let changing = changing(next.plan.name(), next.plan.text())?;
        if let Some(journal) = &mut self.journal {
            journal.change_plan(next.plan.name(), next.plan.text())?;
        }
        self.facts.extend(changing.into_iter().map(Fact::Host));
        self.clear_to_pull = None;
        let mut sessions = next.sessions;
        let mut answers = next.answers;
        for (joint, place) in (0..=u8::MAX).zip(&mut sessions) {
            let keeps = |session: &&mut super::Work| session.ledger().seq() > 0;
            let own = self.sessions.get_mut(usize::from(joint));
            *place = match taken.sessions.remove(&joint) {
                Some(session) => Some(session),
                None => {
                    own.and_then(|own| own.as_mut().filter(keeps).is_some().then(|| own.take())?)
                }
            };
            if let (Some(own), Some(other)) = (
                self.answers.get(usize::from(joint)),
                answers.get_mut(usize::from(joint)),
            ) {
                other.clone_from(own);
            }
        }
        self.plan = next.plan;
        self.sessions = sessions;
        self.answers = answers;
        if !taken.records.is_empty() {
            // They are taken up anew: the next start has a number of its own.
            self.boot = self
                .entries_boot()
                .map_or(self.boot, |last| self.boot.max(last.saturating_add(1)));
            self.facts
                .extend(taken.records.iter().cloned().map(Fact::Entry));
            self.unsaved = taken.records;
            self.try_unsaved(Instant::BOOT, &mut done);
        }
        self.revisions = Arc::new(Revisions::of(&self.facts));
        match done.store_failure {
            Some(why) => Err(JobError::Unwritten { why }),
            None => Ok(()),
        }
    }

    fn entries_boot(&self) -> Option<u16> {
        let boots = self.facts.iter().filter_map(|fact| match fact {
            Fact::Entry(entry) => Some(entry.boot),
            Fact::Host(_) => None,
        });
        boots.max()
    }

    fn restore(&mut self, joint: u8, content: &Content) -> Result<(), JobError> {
        if content.entries().all(|entry| entry.joint != joint) {
            return Ok(());
        }
        let own = self.joint(joint).ok_or(JobError::NoSuchJoint { joint })?;
        let id = own.id().to_owned();
        let answers = self.answers(joint).cloned().unwrap_or_default();
        let procedure = own.procedure(&answers).map_err(JobError::Unanswered)?;
        let restored = if self.adapters.contains_key(&joint) {
            looking_on(procedure.into(), joint, content.entries())
        } else {
            Session::restore(procedure.into(), joint, content.entries())
        };
        let restored = restored.map_err(|source| unreadable(id, source))?;
        if let Some(place) = self.sessions.get_mut(usize::from(joint)) {
            *place = Some(restored);
        }
        Ok(())
    }

    fn record_recovery(&mut self) {
        let bytes = |torn: bool| -> usize {
            self.damage
                .iter()
                .filter(|damage| damage.torn == torn)
                .map(|damage| damage.to.saturating_sub(damage.from))
                .sum()
        };
        let dropped = u32::try_from(bytes(true)).unwrap_or(u32::MAX);
        let quarantined = u32::try_from(bytes(false)).unwrap_or(u32::MAX);
        let touched = self.touched().next();
        if let (Some(joint), true) = (touched, dropped > 0 || quarantined > 0) {
            let mut done = Done::default();
            if self.enter(joint, Instant::BOOT, &mut done).is_ok() {
                self.send(
                    joint,
                    Instant::BOOT,
                    Input::Recovered {
                        dropped,
                        quarantined,
                    },
                    &mut done,
                );
                // A torn end is gone from the file, and its record tells of it from here on; a damaged stretch stays where it is.
                self.untold.retain(|damage| !damage.torn);
            }
        }
    }

    fn record_interruptions(&mut self) {
        let cut: Vec<u8> = self
            .touched()
            .filter(|joint| {
                self.session(*joint)
                    .is_some_and(|session| session.ledger().begun().is_some())
            })
            .collect();
        for joint in cut {
            // Entering starts the session, and starting records the interruption.
            let _ = self.enter(joint, Instant::BOOT, &mut Done::default());
        }
    }

    /// Joints with a session that is the desk's own.
    fn touched(&self) -> impl Iterator<Item = u8> + use<'_> {
        (0_u8..)
            .zip(&self.sessions)
            .filter(|(_, session)| session.is_some())
            .map(|(joint, _)| joint)
            .filter(|joint| !self.adapters.contains_key(joint))
    }
}

/// Why the records of a joint cannot be taken up.
pub(super) fn unreadable(joint: String, source: RestoreError) -> JobError {
    match source {
        RestoreError::Sequence { .. } | RestoreError::NoStart => {
            JobError::Damaged { joint, source }
        }
        source => JobError::Restore { joint, source },
    }
}
