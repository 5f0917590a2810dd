//! A build worked by a simulated hand at the virtual bench, through the same sessions as live work.
//!
//! The time of every record comes from the bench: the same seed gives the same journal, byte for byte. Knows nothing of how
//! samples are judged or where records are kept.

mod decide;
mod passes;
mod pull;

use std::collections::BTreeMap;
use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;

use evendraw_core::procedure::Procedure;
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::unit::Instant;
use evendraw_core::verdict::Verdict;

use super::answers::{Answers, held_words, refused};
use super::result::{JointResult, Objection, STANDING_S};
use super::station::Station;
use super::{hands, trace_file};
use crate::bench::{Fault, HandKind, JointError};
use crate::job::{Done, Job, JobError, Told};

/// How to rehearse.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// What chance is drawn from.
    pub seed: u64,
    /// Who pulls.
    pub hand: HandKind,
    /// Makes every torque or angle in this many pulls.
    pub pulls: Option<u32>,
    /// What is wrong with which fastener: joint number, index, fault.
    pub faults: Vec<(u8, u8, Fault)>,
    /// Where the samples of every pull are kept in full.
    pub trace_folder: Option<PathBuf>,
    /// Keeps torque over rotation of every judged pull in the joint's result.
    pub keeps_curves: bool,
}

/// Why a rehearsal cannot go on.
#[derive(Debug)]
#[non_exhaustive]
pub enum WorkError<E> {
    /// The job.
    Job(JobError),
    /// The bench cannot take the joint.
    Bench {
        /// The joint's id.
        joint: String,
        /// Why.
        source: JointError,
    },
    /// The journal or a trace could not be written.
    Store(String),
    /// Whoever is told has had enough.
    Told(E),
}

impl<E> From<JobError> for WorkError<E> {
    fn from(error: JobError) -> Self {
        Self::Job(error)
    }
}

impl<E: fmt::Display> fmt::Display for WorkError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Job(error) => error.fmt(f),
            Self::Bench { joint, source } => {
                write!(f, "joint `{joint}` cannot be put on the bench: {source}")
            }
            Self::Store(error) => f.write_str(error),
            Self::Told(error) => error.fmt(f),
        }
    }
}

/// A rehearsal.
#[derive(Debug)]
pub struct Rehearsal {
    job: Job,
    options: Options,
    answers: Answers,
    stations: BTreeMap<u8, Station>,
    /// Simulated time, µs since this start.
    clock: u64,
    result: JointResult,
    /// The clock when the joint was begun.
    began: u64,
    settled_stages: Vec<u8>,
    /// Rejected attempts at a step since it was last accepted.
    failures: BTreeMap<u16, u8>,
    /// Attempts recorded at a step when it was last pulled.
    attempts_before: BTreeMap<u16, u8>,
}

/// A fastener that fails this often is a case for a person.
const ATTEMPTS_ENOUGH: u8 = 5;
/// More things than any joint asks for; one that goes on is going round in circles.
const ACTIONS_MAX: u32 = 10_000;
/// What a run before a retorque takes, s.
const RUN_S: u64 = 3_600;

impl Rehearsal {
    /// Of a job that is a rehearsal, new or taken up again.
    #[must_use]
    pub fn new(job: Job, options: Options, answers: Answers) -> Self {
        Self {
            job,
            options,
            answers,
            stations: BTreeMap::new(),
            clock: 0,
            result: JointResult::default(),
            began: 0,
            settled_stages: Vec::new(),
            failures: BTreeMap::new(),
            attempts_before: BTreeMap::new(),
        }
    }

    /// The job.
    #[must_use]
    pub const fn job(&self) -> &Job {
        &self.job
    }

    /// The job, to tell it something between two joints.
    pub const fn job_mut(&mut self) -> &mut Job {
        &mut self.job
    }

    /// Says of every joint, before any is begun, what is chosen and which parts are here.
    ///
    /// # Errors
    /// [`JobError`].
    pub fn open_all(&mut self) -> Result<(), JobError> {
        let joints = u8::try_from(self.job.plan().joints().len()).unwrap_or(u8::MAX);
        (0..joints).try_for_each(|joint| self.answers.open(&mut self.job, joint))
    }

    /// Does the tasks that may be done now.
    ///
    /// # Errors
    /// [`JobError`].
    pub fn do_tasks(&mut self) -> Result<(), JobError> {
        let at = self.now();
        self.answers.do_tasks(&mut self.job, at)
    }

    /// Seconds of simulated time so far.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        seconds(self.clock)
    }

    const fn now(&self) -> Instant {
        Instant::from_micros(self.clock)
    }

    /// Works one joint until it is finished or cannot go on. `tell` hears of every verdict once its record is safe.
    ///
    /// # Errors
    /// [`WorkError`].
    pub fn work<E>(
        &mut self,
        joint: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<JointResult, WorkError<E>> {
        self.result = JointResult::default();
        self.settled_stages.clear();
        self.failures.clear();
        self.attempts_before.clear();
        self.began = self.clock;
        self.answers.open(&mut self.job, joint)?;
        self.set_up(joint)?;
        self.tell_moments(joint, tell)?;
        for _ in 0..ACTIONS_MAX {
            if !self.act(joint, tell)? {
                break;
            }
        }
        let mut result = std::mem::take(&mut self.result);
        result.clamps_kn = self.clamps_after(joint, 0.0);
        result.proof_kn = self.stations.get(&joint).and_then(Station::proof_kn);
        result.stood_kn = self.clamps_after(joint, STANDING_S);
        result.seconds = self.since_begun();
        Ok(result)
    }

    /// Seconds since the joint was begun.
    fn since_begun(&self) -> f64 {
        seconds(self.clock.saturating_sub(self.began))
    }

    fn set_up<E>(&mut self, joint: u8) -> Result<(), WorkError<E>> {
        if self.stations.contains_key(&joint) {
            return Ok(());
        }
        let options = &self.options;
        let station = Station::of(
            &self.job,
            joint,
            options.seed,
            options.hand,
            &options.faults,
        )
        .ok_or(JobError::NoSuchJoint { joint })?;
        let mut station = station.map_err(|source| WorkError::Bench {
            joint: self
                .job
                .joint(joint)
                .map_or_else(String::new, |own| own.id().to_owned()),
            source,
        })?;
        if let Some(session) = self.job.session(joint) {
            let stages = (0_u8..)
                .zip(session.procedure().stages())
                .map(|(stage, _)| stage);
            let settled = stages.filter(|&stage| {
                session
                    .ledger()
                    .is_stage_settled(session.procedure(), stage)
            });
            self.settled_stages = settled.collect();
        }
        if let Some(pulls) = self.options.pulls {
            station.force_pulls(pulls);
        }
        self.stations.insert(joint, station);
        Ok(())
    }

    /// "Sealant applied" and the like happen before the first pull.
    fn tell_moments<E>(
        &mut self,
        joint: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<(), WorkError<E>> {
        let untouched = self
            .job
            .session(joint)
            .is_none_or(|session| session.ledger().seq() == 0);
        let moments = self
            .job
            .joint_plan(joint)
            .map_or(0, |plan| plan.moments.len());
        if untouched {
            for moment in (0_u8..).take(moments) {
                let done = self
                    .job
                    .apply(joint, self.now(), Input::Moment { moment })?;
                self.take(joint, &done, tell)?;
            }
        }
        Ok(())
    }

    /// One thing after another. False when the joint is finished or cannot go on.
    fn act<E>(
        &mut self,
        joint: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        let next = self
            .job
            .session(joint)
            .map_or(Next::Start, |session| session.next());
        match next {
            Next::AwaitDue { .. } => self.pass_time(joint, RUN_S as f64),
            Next::Condition if self.is_condition_wrong(joint) => {
                return Ok(self.stop("what is on the threads is not what the plan assumes"));
            }
            Next::Answer { step } if self.was_answered_no(joint, step) => {
                return Ok(self.stop("a check was answered with no"));
            }
            Next::Measure { step } if self.attempts(joint, step) > 0 => {
                return Ok(self.stop("what was measured lies outside its window"));
            }
            _ => {}
        }
        let now = self.now();
        if let Some(done) = self.answers.settle(&mut self.job, joint, now)? {
            return self.went_on(joint, &done, tell);
        }
        match next {
            Next::Pull { .. } => self.pull(joint, tell),
            Next::Hand { step } => {
                self.by_hand(joint, |station, session| {
                    hands::seat(session, station, step)
                });
                let done = self.job.apply(joint, self.now(), Input::Confirm { step })?;
                self.went_on(joint, &done, tell)
            }
            Next::Fit { step } => match self.fastener(joint, step) {
                Some(fastener) => self.replace(joint, fastener, tell),
                None => Ok(self.stop("a fit without a fastener")),
            },
            Next::Replace { fastener } => self.replace(joint, fastener, tell),
            Next::Loosen { fastener } => self.loosen(joint, fastener, tell),
            Next::Wait { until, .. } => {
                self.pass_time(joint, seconds(until.since(self.now()).micros()));
                self.clock = self.clock.max(until.micros());
                let done = self.job.apply(joint, self.now(), Input::Tick)?;
                self.went_on(joint, &done, tell)
            }
            Next::TakeApart => {
                let count = self.job.joint(joint).map_or(0, |own| own.positions().len());
                for fastener in (0_u8..).take(count) {
                    self.by_hand(joint, |station, _| station.loosen(fastener));
                }
                let done =
                    self.job
                        .apply(joint, self.now(), Input::TakenApart { note: "rehearsed" })?;
                self.went_on(joint, &done, tell)
            }
            Next::Decide { step } => match self.decide(joint, step) {
                Some(decision) => {
                    let input = Input::Decide {
                        step,
                        decision,
                        note: "rehearsed",
                    };
                    let done = self.job.apply(joint, self.now(), input)?;
                    self.went_on(joint, &done, tell)
                }
                None => Ok(self.stop(&self.undecided(joint, step))),
            },
            Next::Store => Ok(self.stop("the journal cannot be written")),
            _ => Ok(false),
        }
    }

    fn stop(&mut self, why: &str) -> bool {
        self.result.stopped = Some(why.to_owned());
        false
    }

    /// Tells what came of an input; false when it was refused.
    fn went_on<E>(
        &mut self,
        joint: u8,
        done: &Done,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        self.take(joint, done, tell)?;
        match refused(done) {
            Some(why) => Ok(self.stop(&why)),
            None if !done.held.is_empty() => Ok(self.stop(&held_words(&done.held))),
            None => Ok(true),
        }
    }

    fn take<E>(
        &mut self,
        joint: u8,
        done: &Done,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<(), WorkError<E>> {
        if let Some(failure) = &done.store_failure {
            return Err(WorkError::Store(failure.clone()));
        }
        for told in &done.told {
            let failures = self.failures.entry(told.attempt.step).or_default();
            *failures = failures.saturating_add(1);
            match told.attempt.verdict {
                Verdict::Accepted => {
                    *failures = 0;
                    self.result.accepted += 1;
                }
                Verdict::Rejected => self.result.rejected += 1,
                Verdict::Unknown => self.result.unknown += 1,
            }
            if told.attempt.verdict != Verdict::Accepted {
                self.result.objections.push(Objection {
                    fastener: told.attempt.fastener,
                    stage: told.attempt.stage,
                    reasons: told.attempt.reasons,
                });
            }
            tell(&self.job, told).map_err(WorkError::Told)?;
        }
        if !done.entries.is_empty() {
            self.keep_passes(joint, done)?;
        }
        Ok(())
    }

    /// Time passes at the joint with nobody at the tool.
    fn pass_time(&mut self, joint: u8, seconds: f64) {
        if let Some(station) = self.stations.get_mut(&joint) {
            station.idle(seconds);
        }
        self.clock += trace_file::instant(seconds).micros();
    }

    /// Something is done without a judged pull; it takes the time that the bench says.
    fn by_hand(&mut self, joint: u8, what: impl FnOnce(&mut Station, &Session<Arc<Procedure>>)) {
        if let (Some(station), Some(session)) =
            (self.stations.get_mut(&joint), self.job.session(joint))
        {
            let before = station.elapsed_s();
            what(station, session);
            self.clock += trace_file::instant(station.elapsed_s() - before).micros();
        }
    }

    fn replace<E>(
        &mut self,
        joint: u8,
        fastener: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        self.by_hand(joint, |station, _| {
            station.loosen(fastener);
            station.replace(fastener);
        });
        let done = self
            .job
            .apply(joint, self.now(), Input::Fitted { fastener })?;
        self.went_on(joint, &done, tell)
    }

    fn loosen<E>(
        &mut self,
        joint: u8,
        fastener: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        self.by_hand(joint, |station, _| station.loosen(fastener));
        let input = Input::Loosened {
            fastener,
            elsewhere: false,
            cause: "to be done again",
        };
        let done = self.job.apply(joint, self.now(), input)?;
        self.went_on(joint, &done, tell)
    }

    fn fastener(&self, joint: u8, step: u16) -> Option<u8> {
        self.job.session(joint)?.procedure().fastener_of(step)
    }
}

fn seconds(micros: u64) -> f64 {
    #[expect(
        clippy::cast_precision_loss,
        reason = "µs of a century fit the 53 bits of a float"
    )]
    {
        micros as f64 / 1e6
    }
}
