//! The joint in hand, from its session.
//!
//! Knows nothing of drawing, nor of the pull in progress (`pull_view`).

use evendraw_core::ledger::{Standing, StepState};
use evendraw_core::procedure::{Procedure, StageKind};
use evendraw_core::record::{Record, Role};
use evendraw_core::session::{Next, Session};

use super::super::view::{ClampView, Entry, FastenerView, Front, JointView, Mark, StageRow};
use super::bench::fault_words;
use super::units::Shown;
use super::{Source, question, record_view};
use crate::bench::Fault;
use crate::job::Job;
use crate::plan::{Joint, JointPlan};
use crate::rehearsal::rig::newton_meters;
use crate::sheet::export;
use crate::store::{Fact, HostFact, Purpose};
use crate::words;

impl Source {
    pub(super) fn joint_view(&self) -> Option<JointView> {
        let (job, number) = (self.job.as_ref()?, self.open?);
        let (joint, plan) = (job.joint(number)?, job.joint_plan(number)?);
        let session = job.session(number);
        let checking = session.and_then(checking_again);
        let next_step = checking.or_else(|| session.and_then(next_step));
        let stage = next_step
            .and_then(|step| plan.procedure.steps().get(usize::from(step)))
            .map_or_else(
                || plan.stages.len().saturating_sub(1),
                |step| usize::from(step.stage()),
            );
        let (path, at) = path(&plan.procedure, stage, next_step);
        let standing = job.standing(number);
        let finished = session.is_some_and(|session| matches!(session.next(), Next::Nothing))
            && checking.is_none()
            && matches!(standing, Standing::Final | Standing::RetorqueDue);
        let what: Vec<String> = [
            plan.thread.clone(),
            plan.class
                .clone()
                .or_else(|| plan.grade.as_ref().map(|grade| format!("grade {grade}"))),
            plan.condition.clone(),
        ]
        .into_iter()
        .flatten()
        .collect();
        let held = job.held(number);
        let mut asked = question::of(self, job, number);
        if let Some(question) = self.question_about_adapter(job, number) {
            asked = question::Asked {
                question: Some(question),
                ..question::Asked::default()
            };
        }
        // While a fastener is checked again, whatever else is to be answered waits.
        if checking.is_some() {
            asked = question::Asked::default();
        }
        Some(JointView {
            id: joint.id().to_owned(),
            title: joint.title().to_owned(),
            what: what.join(", "),
            mock_up: standing == Standing::MockUp,
            finished,
            checking_again: checking.is_some(),
            witness_wanted: witness_wanted(job, joint),
            witnesses: witnesses(job),
            fasteners: fasteners(job, joint, plan, stage, finished, self.shown()?),
            front: match joint.front() {
                Some("right") => Front::Right,
                Some("top" | "up" | "back") => Front::Top,
                Some("bottom" | "down") => Front::Bottom,
                _ => Front::Left,
            },
            path,
            at,
            stages: stages(job, number, plan, stage),
            stage_words: plan.stages.get(stage).map_or_else(String::new, |own| {
                if checking.is_some() {
                    return "Check again, Esc leaves it".to_owned();
                }
                format!(
                    "Stage {} of {}: {}",
                    stage + 1,
                    plan.stages.len(),
                    own.sentence()
                )
            }),
            live: self.live_view().unwrap_or_else(|| self.live_before_begun()),
            entries: entries(job, number),
            alert: if held.is_empty() {
                asked.alert
            } else {
                Some(question::held(&held))
            },
            question: if held.is_empty() {
                asked.question
            } else {
                asked.variant
            },
            faults: if self.purpose == Purpose::Rehearsal && self.play.is_none() {
                Fault::ALL
                    .iter()
                    .map(|fault| fault_words(*fault).to_owned())
                    .collect()
            } else {
                Vec::new()
            },
            clamp: clamps(job, joint),
            at_adapter: job.adapter(number).map(str::to_owned),
            may_send: self.may_send(job, number),
        })
    }
}

/// The step that the next pull checks again, or this one: settled, and yet the tool is set to it.
pub(super) fn checking_again<P: std::ops::Deref<Target = Procedure>>(
    session: &Session<P>,
) -> Option<u16> {
    let (step, _) = session.armed()?;
    let due = matches!(session.next(), Next::Pull { step: next } if next == step);
    (!due && session.ledger().step(step).is_settled()).then_some(step)
}

/// What the bench carried after each pass, from the rehearsal's journal; nothing where it kept none.
fn clamps(job: &Job, joint: &Joint) -> Option<ClampView> {
    let number = joint.number();
    let positions = joint.positions();
    let mut view = ClampView {
        labels: positions.iter().map(|own| own.label.clone()).collect(),
        passes: Vec::new(),
    };
    for fact in job.facts() {
        let Fact::Host(HostFact::Clamp {
            joint,
            fastener,
            stage,
            newtons,
        }) = fact
        else {
            continue;
        };
        if *joint != number {
            continue;
        }
        if *fastener == 0 {
            let target = job
                .joint_plan(number)
                .and_then(|plan| plan.stage(*stage)?.target.clone());
            let name = match target {
                Some(target) => format!("stage {}, {target}", stage + 1),
                None => format!("stage {}", stage + 1),
            };
            view.passes.push((name, Vec::new()));
        }
        #[expect(clippy::cast_precision_loss, reason = "kilonewtons for a drawing")]
        let load = *newtons as f32 / 1000.0;
        if let Some((_, loads)) = view.passes.last_mut() {
            loads.push(load);
        }
    }
    (!view.passes.is_empty()).then_some(view)
}

/// Names of the second persons that the journal knows, the last one first.
fn witnesses(job: &Job) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for fact in job.facts().iter().rev() {
        if let Fact::Entry(entry) = fact
            && let Record::Person(person) = &entry.record
            && person.role == Role::Witness
            && !names
                .iter()
                .any(|known| known.as_str() == person.name.as_str())
        {
            names.push(person.name.to_string());
        }
    }
    names.truncate(5);
    names
}

/// The second person who looked at this joint last.
pub(super) fn witness(job: &Job, joint: u8) -> Option<String> {
    job.facts().iter().rev().find_map(|fact| match fact {
        Fact::Entry(entry) if entry.joint == joint => match &entry.record {
            Record::Person(person) if person.role == Role::Witness => Some(person.name.to_string()),
            _ => None,
        },
        _ => None,
    })
}

/// What a second person is still to look at, where the plan wants that.
pub(super) fn witness_wanted(job: &Job, joint: &Joint) -> Option<String> {
    if joint.witness().is_empty() || witness(job, joint.number()).is_some() {
        return None;
    }
    let labels: Vec<&str> = joint
        .witness()
        .iter()
        .map(|fastener| joint.label(*fastener))
        .collect();
    Some(if labels.len() == joint.positions().len() {
        "A second person is to look at it".to_owned()
    } else {
        format!("A second person is to look at {}", labels.join(", "))
    })
}

/// The step that is next, whatever is to be done at it.
pub(super) fn next_step<P: std::ops::Deref<Target = Procedure>>(
    session: &Session<P>,
) -> Option<u16> {
    let first_of = |fastener: u8| {
        (0u16..)
            .zip(session.procedure().steps())
            .find(|(index, step)| {
                step.fastener() == Some(fastener) && !session.ledger().step(*index).is_settled()
            })
            .or_else(|| {
                (0u16..)
                    .zip(session.procedure().steps())
                    .find(|(_, step)| step.fastener() == Some(fastener))
            })
            .map(|(index, _)| index)
    };
    match session.next() {
        Next::Pull { step }
        | Next::Hand { step }
        | Next::Fit { step }
        | Next::Answer { step }
        | Next::Measure { step }
        | Next::Moment { step, .. }
        | Next::Wait { step, .. }
        | Next::Decide { step } => Some(step),
        Next::Loosen { fastener } | Next::Replace { fastener } | Next::Settle { fastener } => {
            first_of(fastener)
        }
        _ => (0u16..)
            .zip(session.procedure().steps())
            .find(|(index, _)| !session.ledger().step(*index).is_settled())
            .map(|(index, _)| index),
    }
}

/// The fasteners of a stage in the order of work, and the place of the next one.
fn path(procedure: &Procedure, stage: usize, next: Option<u16>) -> (Vec<usize>, Option<usize>) {
    let mut path = Vec::new();
    let mut at = None;
    for (index, step) in (0u16..).zip(procedure.steps()) {
        if usize::from(step.stage()) != stage {
            continue;
        }
        let Some(fastener) = step.fastener() else {
            continue;
        };
        if Some(index) == next {
            at = Some(path.len());
        }
        path.push(usize::from(fastener));
    }
    if path.is_empty() {
        // A stage of the whole joint: the map shows every fastener, none of them next.
        path = (0..procedure.fasteners().len()).collect();
    }
    (path, at)
}

/// Where a fastener is, in words that need no number: by its row and its place in it, or by the clock.
fn place_words(joint: &Joint, index: usize) -> String {
    let positions = joint.positions();
    let Some(own) = positions.get(index) else {
        return String::new();
    };
    let (mut left, mut right, mut low, mut high) = (f64::MAX, f64::MIN, f64::MAX, f64::MIN);
    for position in positions {
        left = left.min(position.x_mm);
        right = right.max(position.x_mm);
        low = low.min(position.y_mm);
        high = high.max(position.y_mm);
    }
    let third = |value: f64, from: f64, to: f64, names: [&'static str; 3]| {
        if to - from < 1e-6 {
            return "";
        }
        let share = (value - from) / (to - from);
        names[if share < 0.34 {
            0
        } else if share > 0.66 {
            2
        } else {
            1
        }]
    };
    let across = third(own.x_mm, left, right, ["left", "middle", "right"]);
    let up = third(own.y_mm, low, high, ["lower", "", "upper"]);
    let words: Vec<&str> = [up, across]
        .into_iter()
        .filter(|word| !word.is_empty())
        .collect();
    if words.is_empty() {
        "the only one".to_owned()
    } else {
        words.join(" ")
    }
}

#[expect(clippy::cast_possible_truncation, reason = "millimetres for a drawing")]
fn fasteners(
    job: &Job,
    joint: &Joint,
    plan: &JointPlan,
    stage: usize,
    finished: bool,
    shown: Shown,
) -> Vec<FastenerView> {
    let number = joint.number();
    let session = job.session(number);
    (0u8..)
        .zip(joint.positions())
        .map(|(index, position)| FastenerView {
            label: position.label.clone(),
            x: position.x_mm as f32,
            y: -position.y_mm as f32,
            mark: session.map_or(Mark::Open, |session| {
                fastener_mark(session, index, stage, finished)
            }),
            reading: reading(job, number, plan, (index, stage), shown),
            place: place_words(joint, usize::from(index)),
            marked: session.is_some_and(|session| session.ledger().is_marked(index)),
        })
        .collect()
}

fn fastener_mark<P: std::ops::Deref<Target = Procedure>>(
    session: &Session<P>,
    fastener: u8,
    stage: usize,
    finished: bool,
) -> Mark {
    let ledger = session.ledger();
    let mut states = Vec::new();
    let mut here = None;
    for (index, step) in (0u16..).zip(session.procedure().steps()) {
        if step.fastener() == Some(fastener) {
            let state = ledger.step(index);
            if usize::from(step.stage()) == stage {
                here = Some(state);
            }
            states.push(state);
        }
    }
    let any = |wanted: StepState| states.contains(&wanted);
    if any(StepState::Rejected) || ledger.must_replace(fastener) {
        return Mark::Rejected;
    }
    if any(StepState::Doubtful) || ledger.felt_wrong(fastener) {
        return Mark::Doubtful;
    }
    if any(StepState::Disturbed) || ledger.must_loosen(fastener) {
        return Mark::Disturbed;
    }
    if any(StepState::Waived) && states.iter().all(|state| state.is_settled()) {
        return Mark::Skipped;
    }
    if !states.is_empty() && states.iter().all(|state| state.is_settled()) {
        return if finished || ledger.is_final(session.procedure(), fastener) {
            Mark::Final
        } else {
            Mark::Accepted
        };
    }
    match here {
        Some(state) if state.is_settled() => Mark::Accepted,
        _ if states.iter().any(|state| state.is_settled()) => Mark::PartWay,
        _ => Mark::Open,
    }
}

/// The last reading of a fastener at this stage.
fn reading(
    job: &Job,
    joint: u8,
    plan: &JointPlan,
    (fastener, stage): (u8, usize),
    shown: Shown,
) -> String {
    let last = job
        .attempts(joint)
        .rev()
        .find(|(_, attempt)| attempt.fastener == fastener && usize::from(attempt.stage) == stage);
    let Some((_, attempt)) = last else {
        return String::new();
    };
    match plan.procedure.stages().get(stage).map(|stage| stage.kind) {
        Some(StageKind::Turn { .. } | StageKind::BackOff { .. }) => attempt
            .angle
            .map_or_else(|| "unknown".to_owned(), words::angle),
        _ => format!("{:.1}", shown.value(newton_meters(attempt.peak))),
    }
}

fn stages(job: &Job, joint: u8, plan: &JointPlan, current: usize) -> Vec<StageRow> {
    let session = job.session(joint);
    plan.stages
        .iter()
        .enumerate()
        .map(|(index, stage)| {
            let mut row = StageRow {
                number: index + 1,
                words: stage.sentence(),
                mark: Mark::Open,
                done: 0,
                of: 0,
                current: index == current,
            };
            let mut worst = None;
            for (step, at) in (0u16..).zip(plan.procedure.steps()) {
                if usize::from(at.stage()) != index {
                    continue;
                }
                row.of += 1;
                let state = session.map_or(StepState::Open, |session| session.ledger().step(step));
                if state.is_settled() {
                    row.done += 1;
                }
                worst = match state {
                    StepState::Rejected => Some(Mark::Rejected),
                    StepState::Doubtful if worst != Some(Mark::Rejected) => Some(Mark::Doubtful),
                    StepState::Disturbed if worst.is_none() => Some(Mark::Disturbed),
                    _ => worst,
                };
            }
            row.mark = worst.unwrap_or(if row.done == row.of && row.of > 0 {
                Mark::Accepted
            } else if row.done > 0 {
                Mark::PartWay
            } else {
                Mark::Open
            });
            row
        })
        .collect()
}

fn entries(job: &Job, joint: u8) -> Vec<Entry> {
    let names = record_view::names(job);
    job.facts()
        .iter()
        .rev()
        .filter_map(|fact| match fact {
            Fact::Entry(entry) if entry.joint == joint => Some(entry),
            _ => None,
        })
        .filter(|entry| {
            !matches!(
                entry.record,
                Record::Begun(_) | Record::Started(_) | Record::Anchor(_)
            )
        })
        .take(3)
        .map(|entry| {
            let fastener = record_view::fastener_of(job, entry);
            Entry {
                mark: record_view::record_mark(&entry.record).0,
                fastener: fastener
                    .map_or_else(String::new, |fastener| names.fastener(joint, fastener)),
                words: {
                    let mut words = without_name(&export::line(&names, entry));
                    if let Record::Attempt(attempt) = &entry.record
                        && let Some(judged) = job.judged(joint, entry.seq, attempt)
                        && let Some(remark) = judged.remark()
                    {
                        words.push_str(&format!("; {remark}"));
                    }
                    words
                },
            }
        })
        .collect()
}

/// The line without the fastener it begins with: that stands beside it.
fn without_name(line: &str) -> String {
    match line
        .strip_prefix("fastener ")
        .and_then(|rest| rest.split_once([',', ':']))
    {
        Some((_, rest)) => rest.trim_start().to_owned(),
        None => line.to_owned(),
    }
}
