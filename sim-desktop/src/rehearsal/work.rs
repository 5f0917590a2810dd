//! A build worked by a simulated hand at the virtual bench, through the same sessions as live work.
//!
//! The time of every record comes from the bench: the same seed gives the same journal, byte for byte. Knows nothing of how
//! samples are judged or where records are kept.

use std::collections::BTreeMap;
use std::fmt;
use std::path::PathBuf;

use evendraw_core::procedure::{Hand, Prevailing, Reuse, StageKind};
use evendraw_core::record::{Decision, Record};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next};
use evendraw_core::tracker::Cue;
use evendraw_core::unit::{Angle, Instant};
use evendraw_core::verdict::{Aim, Reason, Reasons, Verdict};

use super::feed::turned;
use super::given::{Given, held_words, is_about_the_tool, refused};
use super::rig::Rig;
use super::trace_file::{self, sample};
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

/// What came of one joint.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JointResult {
    /// Verdicts.
    pub accepted: u32,
    /// Verdicts.
    pub rejected: u32,
    /// Verdicts.
    pub unknown: u32,
    /// Index and clamp load, kN, of every fastener that this joint's stages tighten.
    pub clamps_kn: Vec<(u8, f64)>,
    /// Simulated seconds.
    pub seconds: f64,
    /// Why it was left before it was finished.
    pub stopped: Option<String>,
}

impl JointResult {
    /// Standard deviation of the clamp loads over their mean; none for a single fastener.
    #[must_use]
    pub fn scatter(&self) -> Option<f64> {
        let loads: Vec<f64> = self.clamps_kn.iter().map(|(_, load)| *load).collect();
        if loads.len() < 2 {
            return None;
        }
        #[expect(
            clippy::cast_precision_loss,
            reason = "a joint has at most 64 fasteners"
        )]
        let count = loads.len() as f64;
        let mean = loads.iter().sum::<f64>() / count;
        let square = loads.iter().map(|load| (load - mean).powi(2)).sum::<f64>() / (count - 1.0);
        (mean > 0.0).then(|| square.sqrt() / mean)
    }
}

/// A rehearsal.
#[derive(Debug)]
pub struct Rehearsal {
    job: Job,
    options: Options,
    given: Given,
    rigs: BTreeMap<u8, Rig>,
    /// Simulated time, µs since this start.
    clock: u64,
    result: JointResult,
    settled_stages: Vec<u8>,
    /// Rejected attempts at a step since it was last accepted.
    failures: BTreeMap<u16, u8>,
    /// Attempts recorded at a step when it was last pulled.
    attempts_before: BTreeMap<u16, u8>,
}

/// How often a hand grips again before it gives up an attempt.
const REGRIPS_MAX: u8 = 4;
/// A fastener that fails this often is a case for a person.
const ATTEMPTS_ENOUGH: u8 = 5;
/// More things than any joint asks for; one that goes on is going round in circles.
const ACTIONS_MAX: u32 = 10_000;
/// What a run before a retorque takes, s.
const RUN_S: u64 = 3_600;

impl Rehearsal {
    /// Of a job that is a rehearsal, new or taken up again.
    #[must_use]
    pub const fn new(job: Job, options: Options, given: Given) -> Self {
        Self {
            job,
            options,
            given,
            rigs: BTreeMap::new(),
            clock: 0,
            result: JointResult {
                accepted: 0,
                rejected: 0,
                unknown: 0,
                clamps_kn: Vec::new(),
                seconds: 0.0,
                stopped: None,
            },
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
        (0..joints).try_for_each(|joint| self.given.open(&mut self.job, joint))
    }

    /// Seconds of simulated time so far.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        #[expect(
            clippy::cast_precision_loss,
            reason = "µs of a century fit the 53 bits of a float"
        )]
        {
            self.clock as f64 / 1e6
        }
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
        let began = self.clock;
        self.given.open(&mut self.job, joint)?;
        self.set_up(joint)?;
        self.tell_moments(joint, tell)?;
        for _ in 0..ACTIONS_MAX {
            if !self.act(joint, tell)? {
                break;
            }
        }
        let mut result = std::mem::take(&mut self.result);
        result.clamps_kn = self.clamps(joint);
        #[expect(
            clippy::cast_precision_loss,
            reason = "µs of a century fit the 53 bits of a float"
        )]
        {
            result.seconds = self.clock.saturating_sub(began) as f64 / 1e6;
        }
        Ok(result)
    }

    fn set_up<E>(&mut self, joint: u8) -> Result<(), WorkError<E>> {
        if self.rigs.contains_key(&joint) {
            return Ok(());
        }
        let (Some(own), Some(plan)) = (self.job.joint(joint), self.job.joint_plan(joint)) else {
            return Err(JobError::NoSuchJoint { joint }.into());
        };
        let faults: Vec<(usize, Fault)> = self
            .options
            .faults
            .iter()
            .filter(|(number, _, _)| *number == joint)
            .map(|(_, fastener, fault)| (usize::from(*fastener), *fault))
            .collect();
        // Each joint its own chance; each start of the program too, so that going on is not the beginning once more.
        let start = u64::from(self.job.boot().saturating_sub(1));
        let seed = self.options.seed
            ^ u64::from(joint).wrapping_mul(0x9E37_79B9_7F4A_7C15)
            ^ (start << 40);
        let mut rig = Rig::new(own, plan, seed, self.options.hand, &faults).map_err(|source| {
            WorkError::Bench {
                joint: own.id().to_owned(),
                source,
            }
        })?;
        if let Some(session) = self.job.session(joint) {
            rig.catch_up(session.procedure(), session.ledger());
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
            rig.force_pulls(pulls);
        }
        self.rigs.insert(joint, rig);
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
        if let Some(done) = self.given.settle(&mut self.job, joint, now)? {
            return self.went_on(joint, &done, tell);
        }
        match next {
            Next::Pull { .. } => self.pull(joint, tell),
            Next::Hand { step } => {
                if let (Some(fastener), Some(turns)) = self.seat(joint, step) {
                    self.by_hand(joint, |rig| rig.spin_in(fastener, Some(turns)));
                }
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
                let seconds = until.since(self.now()).micros();
                #[expect(
                    clippy::cast_precision_loss,
                    reason = "µs of a century fit the 53 bits of a float"
                )]
                self.pass_time(joint, seconds as f64 / 1e6);
                self.clock = self.clock.max(until.micros());
                let done = self.job.apply(joint, self.now(), Input::Tick)?;
                self.went_on(joint, &done, tell)
            }
            Next::TakeApart => {
                let count = self.job.joint(joint).map_or(0, |own| own.positions().len());
                for fastener in (0_u8..).take(count) {
                    self.by_hand(joint, |rig| rig.loosen(fastener));
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
            tell(&self.job, told).map_err(WorkError::Told)?;
        }
        if !done.entries.is_empty() {
            self.keep_clamps(joint)?;
        }
        Ok(())
    }

    /// What every fastener clamps with, each time a stage is through.
    fn keep_clamps<E>(&mut self, joint: u8) -> Result<(), WorkError<E>> {
        let Some(session) = self.job.session(joint) else {
            return Ok(());
        };
        let (procedure, ledger) = (session.procedure(), session.ledger());
        let mut through = Vec::new();
        for (number, stage) in (0_u8..).zip(procedure.stages()) {
            let is_settled = stage.kind.tightens() && ledger.is_stage_settled(procedure, number);
            let was_settled = self.settled_stages.contains(&number);
            if is_settled && !was_settled {
                through.push(number);
            } else if !is_settled && was_settled {
                self.settled_stages.retain(|stage| *stage != number);
            }
        }
        let clamps = self.clamps(joint);
        for stage in through {
            self.settled_stages.push(stage);
            for &(fastener, clamp) in &clamps {
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "a float becomes the nearest integer of the range"
                )]
                let newtons = (clamp * 1_000.0).round() as u32;
                self.job.keep_clamp(joint, fastener, stage, newtons)?;
            }
        }
        Ok(())
    }

    fn clamps(&self, joint: u8) -> Vec<(u8, f64)> {
        let (Some(rig), Some(plan)) = (self.rigs.get(&joint), self.job.joint_plan(joint)) else {
            return Vec::new();
        };
        let is_tightened = |fastener: u8| {
            (0_u16..).zip(plan.procedure.steps()).any(|(index, step)| {
                step.fastener() == Some(fastener)
                    && plan
                        .procedure
                        .stage_of(index)
                        .is_some_and(|stage| stage.kind.tightens())
            })
        };
        (0_u8..)
            .zip(rig.clamps_kn())
            .filter(|(fastener, _)| is_tightened(*fastener))
            .collect()
    }

    /// Time passes at the joint with nobody at the tool.
    fn pass_time(&mut self, joint: u8, seconds: f64) {
        if let Some(rig) = self.rigs.get_mut(&joint) {
            rig.idle(seconds);
        }
        self.clock += trace_file::instant(seconds).micros();
    }

    /// Something is done without a judged pull; it takes the time that the bench says.
    fn by_hand(&mut self, joint: u8, what: impl FnOnce(&mut Rig)) {
        if let Some(rig) = self.rigs.get_mut(&joint) {
            let before = rig.elapsed_s();
            what(rig);
            self.clock += trace_file::instant(rig.elapsed_s() - before).micros();
        }
    }

    fn replace<E>(
        &mut self,
        joint: u8,
        fastener: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        self.by_hand(joint, |rig| {
            rig.loosen(fastener);
            rig.replace(fastener);
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
        self.by_hand(joint, |rig| rig.loosen(fastener));
        let input = Input::Loosened {
            fastener,
            elsewhere: false,
            cause: "to be done again",
        };
        let done = self.job.apply(joint, self.now(), input)?;
        self.went_on(joint, &done, tell)
    }

    fn pull<E>(
        &mut self,
        joint: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        let held = self.job.held(joint);
        if held.iter().any(is_about_the_tool) {
            let now = self.now();
            let done = self.given.take_tool(&mut self.job, joint, now)?;
            if !self.went_on(joint, &done, tell)? {
                return Ok(false);
            }
        }
        let held = self.job.held(joint);
        if !held.is_empty() {
            return Ok(self.stop(&held_words(&held)));
        }
        let Some((step, aim)) = self.job.session(joint).and_then(|session| session.armed()) else {
            return Ok(self.stop("nothing is to be pulled"));
        };
        let Some(fastener) = self.fastener(joint, step) else {
            return Ok(self.stop("a pull without a fastener"));
        };
        if self
            .failures
            .get(&step)
            .is_some_and(|failures| *failures >= ATTEMPTS_ENOUGH)
        {
            return Ok(self.stop("a person must look at a fastener that fails again and again"));
        }
        if self.is_spun_in_first(joint, step, fastener) {
            self.by_hand(joint, |rig| rig.spin_in(fastener, None));
        }
        let mut kept: Vec<(Instant, Sample)> = Vec::new();
        let keeps = self.options.trace_folder.is_some();
        let Some(rig) = self.rigs.get_mut(&joint) else {
            return Ok(self.stop("there is no bench"));
        };
        let (bench_began, clock_began) = (rig.elapsed_s(), self.clock);
        rig.begin(fastener, &aim);
        let mut is_judged = false;
        while let Some(rig) = self.rigs.get_mut(&joint) {
            let Some(measured) = rig.sample() else { break };
            self.clock = clock_began + trace_file::instant(measured.time_s - bench_began).micros();
            let taken = sample(measured.torque_Nm, measured.angle_deg);
            if keeps {
                kept.push((self.now(), taken));
            }
            if is_judged {
                // The hand comes off; what the sensor still feels belongs to no other fastener.
                continue;
            }
            let done = self.job.apply(joint, self.now(), Input::Sample(taken))?;
            rig_hears(self.rigs.get_mut(&joint), &done);
            if !done.held.is_empty() {
                return Ok(self.stop(&held_words(&done.held)));
            }
            is_judged = is_attempt_at(&done, step);
            self.take(joint, &done, tell)?;
        }
        if let Some(rig) = self.rigs.get(&joint) {
            self.clock = clock_began + trace_file::instant(rig.elapsed_s() - bench_began).micros();
        }
        if !is_judged {
            for _ in 0..REGRIPS_MAX {
                if !self.grip_again(joint, &mut kept, tell)? {
                    break;
                }
            }
            self.finish_pull(joint, tell)?;
        }
        if keeps {
            self.keep_samples(joint, step, fastener, &kept)?;
        }
        if self
            .job
            .session(joint)
            .and_then(|session| session.armed())
            .is_some_and(|(armed, _)| armed == step)
        {
            return self.felt_nothing(joint, step, tell);
        }
        Ok(true)
    }

    /// The same step is still to be pulled: it was rejected and may go on, or no torque came at all.
    fn felt_nothing<E>(
        &mut self,
        joint: u8,
        step: u16,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        let session = self.job.session(joint);
        let attempts = session.map_or(0, |session| session.ledger().attempts(step));
        let before = self.attempts_before.insert(step, attempts);
        if before.unwrap_or(0) != attempts {
            return Ok(true);
        }
        let kind = session
            .and_then(|session| session.procedure().stage_of(step))
            .map(|stage| stage.kind);
        if matches!(kind, Some(StageKind::BackOff { .. })) {
            // A free fastener turns back without any torque that a sensor could feel.
            let input = Input::Skip {
                step,
                reason: "free already: no torque to be felt",
            };
            let done = self.job.apply(joint, self.now(), input)?;
            return self.went_on(joint, &done, tell);
        }
        Ok(self.stop("no torque came"))
    }

    /// The hand let go short of the window: it grips again and goes on with what is left. False where nothing is.
    fn grip_again<E>(
        &mut self,
        joint: u8,
        kept: &mut Vec<(Instant, Sample)>,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        let Some(session) = self
            .job
            .session(joint)
            .filter(|session| session.is_in_pull())
        else {
            return Ok(false);
        };
        let Some((step, aim)) = session.armed() else {
            return Ok(false);
        };
        let left = session.live().remaining;
        let rest = match (aim, left) {
            (
                Aim::Turn {
                    mut window,
                    torque,
                    one_sweep: false,
                    left: sum,
                },
                Some(left),
            ) if left > Angle::ZERO => {
                window.target = left;
                Aim::Turn {
                    window,
                    torque,
                    one_sweep: false,
                    left: sum,
                }
            }
            (Aim::Torque { .. } | Aim::Repeat { .. }, _) => aim,
            _ => return Ok(false),
        };
        let Some(fastener) = self.fastener(joint, step) else {
            return Ok(false);
        };
        let Some(rig) = self.rigs.get_mut(&joint) else {
            return Ok(false);
        };
        let (bench_began, clock_began) = (rig.elapsed_s(), self.clock);
        rig.begin(fastener, &rest);
        // Who knows that only a little is left goes slowly from the start.
        rig.hear(Cue::Approach, false);
        let mut is_judged = false;
        while let Some(measured) = self.rigs.get_mut(&joint).and_then(Rig::sample) {
            self.clock = clock_began + trace_file::instant(measured.time_s - bench_began).micros();
            let taken = sample(measured.torque_Nm, measured.angle_deg);
            if self.options.trace_folder.is_some() {
                kept.push((self.now(), taken));
            }
            if is_judged {
                continue;
            }
            let done = self.job.apply(joint, self.now(), Input::Sample(taken))?;
            rig_hears(self.rigs.get_mut(&joint), &done);
            is_judged = is_attempt_at(&done, step);
            self.take(joint, &done, tell)?;
        }
        Ok(true)
    }

    /// The hand is off; if the attempt is not judged yet, its time runs out.
    fn finish_pull<E>(
        &mut self,
        joint: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<(), WorkError<E>> {
        if self
            .job
            .session(joint)
            .is_some_and(|session| session.is_in_pull())
        {
            if let Some(deadline) = self
                .job
                .session(joint)
                .and_then(|session| session.deadline())
            {
                let seconds = deadline.since(self.now()).micros();
                #[expect(
                    clippy::cast_precision_loss,
                    reason = "µs of a century fit the 53 bits of a float"
                )]
                self.pass_time(joint, seconds as f64 / 1e6);
                self.clock = self.clock.max(deadline.micros());
            }
            let done = self.job.apply(joint, self.now(), Input::Tick)?;
            self.take(joint, &done, tell)?;
        }
        if self
            .job
            .session(joint)
            .is_some_and(|session| session.is_in_pull())
        {
            let done = self.job.apply(joint, self.now(), Input::Finish)?;
            self.take(joint, &done, tell)?;
        }
        Ok(())
    }

    fn keep_samples<E>(
        &self,
        joint: u8,
        step: u16,
        fastener: u8,
        samples: &[(Instant, Sample)],
    ) -> Result<(), WorkError<E>> {
        let (Some(folder), Some(own), Some(session)) = (
            &self.options.trace_folder,
            self.job.joint(joint),
            self.job.session(joint),
        ) else {
            return Ok(());
        };
        let stage = session
            .procedure()
            .steps()
            .get(usize::from(step))
            .map_or(0, |step| u32::from(step.stage()) + 1);
        let attempt = session.ledger().attempts(step);
        let plain = |text: &str| -> String {
            text.chars()
                .map(|letter| {
                    if letter.is_alphanumeric() || letter == '-' {
                        letter
                    } else {
                        '_'
                    }
                })
                .collect()
        };
        let label = own.label(fastener);
        let name = format!(
            "{}-{}-stage{stage}-attempt{attempt}.csv",
            plain(own.id()),
            plain(label)
        );
        let path = folder.join(name);
        let about = format!(
            "rehearsal on the virtual bench, seed {}\njoint {}, fastener {label}, stage {stage}, attempt {attempt}",
            self.options.seed,
            own.id()
        );
        let failed = |error: std::io::Error| {
            WorkError::Store(format!("cannot write {}: {error}", path.display()))
        };
        std::fs::create_dir_all(folder).map_err(failed)?;
        let file = std::fs::File::create(&path).map_err(failed)?;
        let first = samples.first().map_or(Instant::BOOT, |(at, _)| *at);
        // The file is positive clockwise; a left-hand thread tightens the other way.
        let is_left_hand = session.procedure().terms().hand == Hand::Left;
        let clockwise = |sample: Sample| if is_left_hand { turned(sample) } else { sample };
        let since = samples.iter().map(|(at, sample)| {
            let since = Instant::from_micros(at.since(first).micros());
            (since, clockwise(*sample))
        });
        trace_file::write(std::io::BufWriter::new(file), &about, since).map_err(failed)
    }

    fn fastener(&self, joint: u8, step: u16) -> Option<u8> {
        self.job
            .session(joint)?
            .procedure()
            .steps()
            .get(usize::from(step))?
            .fastener()
    }

    fn seat(&self, joint: u8, step: u16) -> (Option<u8>, Option<f64>) {
        let turns = self.job.session(joint).and_then(|session| {
            match session.procedure().stage_of(step)?.kind {
                StageKind::Seat { turns } => Some(super::rig::degrees(turns) / 360.0),
                _ => None,
            }
        });
        (self.fastener(joint, step), turns)
    }

    /// A screw that has not been tightened is spun down with the fingers first; a locking nut is run down with the tool, as its
    /// running torque is measured.
    fn is_spun_in_first(&self, joint: u8, step: u16, fastener: u8) -> bool {
        let Some(session) = self.job.session(joint) else {
            return false;
        };
        let kind = session.procedure().stage_of(step).map(|stage| stage.kind);
        matches!(
            kind,
            Some(StageKind::Tighten {
                prevailing: Prevailing::None,
                ..
            })
        ) && !session.ledger().is_tight(fastener)
    }

    fn attempts(&self, joint: u8, step: u16) -> usize {
        self.job
            .facts()
            .iter()
            .filter(|fact| match fact {
                crate::store::Fact::Entry(entry) if entry.joint == joint => {
                    matches!(&entry.record, Record::Measured(measured) if measured.step == step)
                }
                _ => false,
            })
            .count()
    }

    fn is_condition_wrong(&self, joint: u8) -> bool {
        self.job.session(joint).is_some_and(|session| {
            session.ledger().condition() == evendraw_core::ledger::Confirmed::Differs
        })
    }

    fn was_answered_no(&self, joint: u8, step: u16) -> bool {
        use evendraw_core::ledger::StepState;
        self.job
            .session(joint)
            .is_some_and(|session| session.ledger().step(step) == StepState::Rejected)
    }

    fn undecided(&self, joint: u8, step: u16) -> String {
        let stage = self
            .job
            .session(joint)
            .and_then(|session| session.procedure().stage_of(step))
            .map(|stage| stage.kind);
        match stage {
            Some(StageKind::Wait { .. }) => {
                "it took longer than the plan allows: a person must decide".to_owned()
            }
            _ => "a person must decide what follows a rejected attempt".to_owned(),
        }
    }

    /// What a sensible person would do; none where one would stop and look.
    fn decide(&self, joint: u8, step: u16) -> Option<Decision> {
        let session = self.job.session(joint)?;
        let procedure = session.procedure();
        let kind = procedure.stage_of(step)?.kind;
        if !kind.is_pulled() {
            return None;
        }
        if session.ledger().not_converged().is_some()
            || self
                .failures
                .get(&step)
                .is_some_and(|failures| *failures >= ATTEMPTS_ENOUGH)
        {
            return None;
        }
        let reasons = self
            .job
            .attempts(joint)
            .rev()
            .find(|(_, attempt)| attempt.step == step)
            .map_or(Reasons::NONE, |(_, attempt)| attempt.reasons);
        let harmless = [
            Reason::TorqueLow,
            Reason::AngleLow,
            Reason::Interrupted,
            Reason::OutOfOrder,
            Reason::Jerk,
        ];
        let is_harmless = reasons.iter().all(|reason| harmless.contains(&reason));
        if is_harmless && !matches!(kind, StageKind::Turn { .. }) {
            return Some(Decision::Again);
        }
        let harms = [
            Reason::Yielding,
            Reason::GivingWay,
            Reason::Overload,
            Reason::EarlyRise,
            Reason::StickSlip,
        ];
        let is_harmed = harms.iter().any(|reason| reasons.contains(*reason));
        if is_harmed || procedure.terms().reuse != Reuse::Free {
            return Some(Decision::Replace);
        }
        let fastener = self.fastener(joint, step)?;
        let first = procedure.steps().iter().find(|step| {
            step.fastener() == Some(fastener)
                && procedure
                    .stages()
                    .get(usize::from(step.stage()))
                    .is_some_and(|stage| stage.kind.tightens())
        })?;
        Some(Decision::Restart(first.stage()))
    }
}

fn rig_hears(rig: Option<&mut Rig>, done: &Done) {
    if let Some(rig) = rig {
        rig.hear(done.cue, done.halt.is_some());
    }
}

fn is_attempt_at(done: &Done, step: u16) -> bool {
    done.entries
        .iter()
        .any(|entry| matches!(&entry.record, Record::Attempt(attempt) if attempt.step == step))
}
