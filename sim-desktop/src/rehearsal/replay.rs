//! A trace file fed through a joint's session.
//!
//! Knows nothing of files or benches.

use evendraw_core::procedure::{Hand, StageKind};
use evendraw_core::record::Decision;
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next, Refusal};
use evendraw_core::unit::{Angle, Instant, Rotation};

use super::answers::{Answers, held_words, is_about_the_tool, refused};
use super::recording::{Recording, RecordingError};
use crate::job::{Done, Job, JobError, Told};

/// How far a trace got.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Replay {
    /// To its end.
    Whole,
    /// To where the plan asks for something that no trace can answer.
    Stopped {
        /// What.
        why: String,
        /// Samples that were not judged.
        left: usize,
    },
}

/// Why a trace cannot be fed.
#[derive(Debug)]
pub enum ReplayError<E> {
    /// The job.
    Job(JobError),
    /// The trace pulls the wrong way.
    Recording(RecordingError),
    /// Whoever is told has had enough.
    Told(E),
    /// A running torque that was told beforehand.
    Running(Refusal),
}

impl<E> From<JobError> for ReplayError<E> {
    fn from(error: JobError) -> Self {
        Self::Job(error)
    }
}

/// Things that a session can ask between two samples; more is going round in circles.
const QUESTIONS_MAX: u32 = 2_000;

/// Feeds a recording through the joint's session; the zero that was taken off it becomes a record. With `start`, what comes before that step counts as done on
/// paper. The end of the samples ends the last attempt. `tell` hears of every verdict.
///
/// # Errors
/// [`ReplayError`]; a trace that never pulls the way of the stage is one.
pub fn judge<E>(
    job: &mut Job,
    answers: &Answers,
    joint: u8,
    start: Option<u16>,
    recording: &Recording,
    tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
) -> Result<Replay, ReplayError<E>> {
    let samples = recording.samples();
    let first = samples.first().map_or(Instant::BOOT, |(at, _)| *at);
    job.apply(joint, first, Input::Tick)?;
    if let Some(start) = start {
        come_to(job, joint, first, start)?;
    }
    let hand = job
        .session(joint)
        .map_or(Hand::Right, |session| session.procedure().terms().hand);
    let mut zero = recording.zero();
    let mut has_begun = false;
    let mut is_asked = true;
    let mut is_told = false;
    for (index, &(at, sample)) in samples.iter().enumerate() {
        if is_asked && let Some(why) = answer(job, answers, joint, at, tell)? {
            return Ok(Replay::Stopped {
                why,
                left: samples.len() - index,
            });
        }
        if !is_told {
            // After what comes before the trace, which may have forgotten it.
            is_told = true;
            for &(fastener, torque) in &answers.running {
                let input = Input::RunningTorque { fastener, torque };
                if let Some(refusal) = job.apply(joint, at, input)?.refusal {
                    return Err(ReplayError::Running(refusal));
                }
            }
        }
        if let Some(offset) = zero.take() {
            let taken = true;
            job.apply(joint, at, Input::Zero { taken, offset })?;
        }
        let sample = if hand == Hand::Left {
            turned(sample)
        } else {
            sample
        };
        let done = job.apply(joint, at, Input::Sample(sample))?;
        if !done.held.is_empty() {
            if done.held.iter().any(is_about_the_tool) {
                answers.take_tool(job, joint, at)?;
                is_asked = true;
                continue;
            }
            return Ok(Replay::Stopped {
                why: held_words(&done.held),
                left: samples.len() - index,
            });
        }
        has_begun |= !done.entries.is_empty();
        is_asked = !done.entries.is_empty() || done.refusal.is_some();
        tell_all(job, &done, tell)?;
    }
    let last = samples.last().map_or(Instant::BOOT, |(at, _)| *at);
    if job
        .session(joint)
        .is_some_and(|session| session.is_in_pull())
    {
        let done = job.apply(joint, last, Input::Finish)?;
        tell_all(job, &done, tell)?;
    }
    if !has_begun {
        recording
            .pulls(hand, loosens(job, joint))
            .map_err(ReplayError::Recording)?;
    }
    Ok(Replay::Whole)
}

/// Whether what is to be pulled next loosens.
fn loosens(job: &Job, joint: u8) -> bool {
    let session = job.session(joint);
    let step = session.and_then(|session| session.armed());
    step.and_then(|(step, _)| session?.procedure().stage_of(step))
        .is_some_and(|stage| matches!(stage.kind, StageKind::BackOff { .. }))
}

fn tell_all<E>(
    job: &Job,
    done: &Done,
    tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
) -> Result<(), ReplayError<E>> {
    done.told
        .iter()
        .try_for_each(|told| tell(job, told))
        .map_err(ReplayError::Told)
}

/// Clockwise turned into tightening for a left-hand thread, and back.
pub(super) fn turned(sample: Sample) -> Sample {
    Sample {
        torque: -sample.torque,
        rotation: Rotation::ZERO + (Angle::ZERO - (sample.rotation - Rotation::ZERO)),
    }
}

/// Everything before a step counts as done: ticked on paper, or left out where that cannot be.
fn come_to(job: &mut Job, joint: u8, at: Instant, start: u16) -> Result<(), JobError> {
    for step in 0..start {
        let kind = job
            .session(joint)
            .and_then(|session| session.procedure().stage_of(step))
            .map(|stage| stage.kind);
        let input = match kind {
            Some(StageKind::Check | StageKind::Measure { .. } | StageKind::Wait { .. }) => {
                Input::Skip {
                    step,
                    reason: "before the trace begins",
                }
            }
            _ => Input::Paper { step },
        };
        job.apply(joint, at, input)?;
    }
    Ok(())
}

/// Answers whatever is asked until something is to be pulled. Says why where that cannot be.
fn answer<E>(
    job: &mut Job,
    answers: &Answers,
    joint: u8,
    at: Instant,
    tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
) -> Result<Option<String>, ReplayError<E>> {
    for _ in 0..QUESTIONS_MAX {
        let next = job
            .session(joint)
            .map_or(Next::Start, |session| session.next());
        if matches!(next, Next::Pull { .. } | Next::Wait { .. } | Next::Nothing) {
            return Ok(None);
        }
        let done = match answers.settle(job, joint, at)? {
            Some(done) => done,
            None => match next {
                Next::Hand { step } => job.apply(joint, at, Input::Confirm { step })?,
                Next::Fit { step } => {
                    let fastener = job
                        .session(joint)
                        .and_then(|session| session.procedure().fastener_of(step));
                    job.apply(
                        joint,
                        at,
                        Input::Fitted {
                            fastener: fastener.unwrap_or_default(),
                        },
                    )?
                }
                Next::TakeApart => job.apply(joint, at, Input::TakenApart { note: "assumed" })?,
                Next::Decide { step } => {
                    let decision = Decision::Again;
                    let done = job.apply(
                        joint,
                        at,
                        Input::Decide {
                            step,
                            decision,
                            note: "the trace goes on",
                        },
                    )?;
                    if done.refusal.is_some() {
                        return Ok(Some(
                            "a person must decide what follows a rejected attempt".to_owned(),
                        ));
                    }
                    done
                }
                Next::Loosen { .. } => {
                    return Ok(Some("the fastener must be loosened first".to_owned()));
                }
                Next::Replace { .. } => {
                    return Ok(Some("the fastener must be replaced first".to_owned()));
                }
                _ => return Ok(Some("there is nothing to pull".to_owned())),
            },
        };
        tell_all(job, &done, tell)?;
        if let Some(why) = refused(&done) {
            return Ok(Some(why));
        }
    }
    Ok(Some(
        "the plan's questions do not come to an end; is one answered with no?".to_owned(),
    ))
}
