//! What is next, as a question or an alert: in plain words, with what to do now.
//!
//! Knows nothing of drawing, and decides nothing.

use evendraw_core::advice::{Act, Advice};
use evendraw_core::procedure::{EngineState, StageKind};
use evendraw_core::record::Record;
use evendraw_core::session::{Next, Refusal, Session};
use evendraw_core::verdict::Verdict;

use super::super::view::{Alert, Question, Way};
use super::Source;
use crate::job::{Held, Job};
use crate::peers::{self, Peer};
use crate::plan::StagePlan;
use crate::plan::progress::Hold;
use crate::store::Fact;
use crate::words;

/// What must be answered, if anything.
#[derive(Debug, Default)]
pub(super) struct Asked {
    pub(super) question: Option<Question>,
    pub(super) alert: Option<Alert>,
    /// A question that comes before everything else, even before what holds the joint.
    pub(super) variant: Option<Question>,
}

fn plain(kind: &str, words: impl Into<String>, if_no: &str) -> Question {
    Question {
        kind: kind.to_owned(),
        words: words.into(),
        if_no: if_no.to_owned(),
        number: None,
        choices: Vec::new(),
    }
}

/// The question or alert of a joint as it stands.
pub(super) fn of(source: &Source, job: &Job, joint: u8) -> Asked {
    let mut asked = Asked::default();
    let Some(own) = job.joint(joint) else {
        return asked;
    };
    if let Some(answers) = job.answers(joint)
        && let Err(error) = own.plan(answers)
    {
        let question = Question {
            choices: error.allowed.clone(),
            ..plain("Before you begin", error.ask.clone(), "")
        };
        asked.question = Some(question.clone());
        asked.variant = Some(question);
        return asked;
    }
    let (Some(session), Some(plan)) = (job.session(joint), job.joint_plan(joint)) else {
        return asked;
    };
    let label = |fastener: u8| own.label(fastener).to_owned();
    let stage_at = |step: u16| {
        plan.procedure
            .steps()
            .get(usize::from(step))
            .and_then(|at| plan.stage(at.stage()))
    };
    let fastener_at = |step: u16| {
        plan.procedure
            .steps()
            .get(usize::from(step))
            .and_then(|at| at.fastener())
    };
    let sentence = |step: u16| stage_at(step).map(StagePlan::sentence).unwrap_or_default();
    match session.next() {
        Next::Person => {
            // Real work begins with a name: here the cautions are said, once.
            let first = !source.is_rehearsing() && job.person().is_none();
            asked.question = Some(Question {
                number: Some("Your name".to_owned()),
                ..plain(
                    "Who works",
                    "Who is working on this joint?",
                    if first { words::HANDS } else { "" },
                )
            })
        }
        Next::Tool => {
            let ids: Vec<String> = job
                .tools_for_next(joint)
                .into_iter()
                .map(str::to_owned)
                .collect();
            let words = if ids.is_empty() {
                "No tool of the plan reaches this torque and is in date. Which is it?"
            } else {
                "Which tool is it?"
            };
            asked.question = Some(if ids.is_empty() {
                Question {
                    number: Some("Tool".to_owned()),
                    ..plain("Tool", words, "")
                }
            } else {
                Question {
                    choices: ids,
                    ..plain(
                        "Tool",
                        words,
                        "These reach the next torque and are in date.",
                    )
                }
            });
        }
        Next::Condition => {
            let wanted = plan
                .condition
                .clone()
                .unwrap_or_else(|| "as the document says".to_owned());
            asked.question = Some(plain(
                "On the threads",
                format!("Are threads and faces {wanted}?"),
                "No stops the work here until they are: oil where the value is for dry threads overloads them.",
            ));
        }
        Next::Hand { step } => {
            let who = fastener_at(step).map_or_else(String::new, |fastener| {
                format!("Fastener {}: ", label(fastener))
            });
            asked.question = Some(plain(
                "By hand",
                format!("{who}{}. Done?", sentence(step)),
                "If it will not start by hand, stop and take it out.",
            ));
        }
        Next::Fit { step } => {
            let who = fastener_at(step).map_or_else(String::new, label);
            asked.question = Some(plain(
                "New fastener",
                format!("Fastener {who}: old one out, new one in. Done?"),
                "",
            ));
        }
        Next::Answer { step } => {
            asked.question = Some(plain(
                "Check",
                sentence(step),
                "No stops the joint here until it is put right.",
            ))
        }
        Next::Measure { step } => {
            let window = match plan.procedure.stage_of(step).map(|stage| stage.kind) {
                Some(StageKind::Measure { min, max }) => {
                    format!("{} to {}", words::length(min), words::length(max))
                }
                _ => String::new(),
            };
            asked.question = Some(Question {
                number: Some(format!("With its unit; allowed {window}")),
                ..plain("Measure", sentence(step), "")
            });
        }
        Next::Moment { moment, .. } => {
            let name = plan
                .moments
                .get(usize::from(moment))
                .cloned()
                .unwrap_or_default();
            asked.question = Some(plain(
                "Moment",
                format!("Say when: {name}. Has it just come?"),
                "The time counts from your answer.",
            ));
        }
        Next::Wait { until, .. } => {
            let left = until.micros().saturating_sub(source.joint_micros()) / 1_000_000;
            let words = format!(
                "Wait until the time is over: {} left.",
                words::seconds(left)
            );
            asked.question = source.is_rehearsing().then(|| {
                plain(
                    "Wait",
                    format!("{words} Let the time pass on the bench?"),
                    "",
                )
            });
        }
        Next::TakeApart => {
            asked.question = Some(plain(
                "Mock-up",
                "The trial is done and can never count as final. Is it apart again?",
                "It stays open until it is.",
            ))
        }
        Next::AwaitDue { stage } => {
            let words = plan
                .stage(stage)
                .map(StagePlan::sentence)
                .unwrap_or_default();
            let cold = "Until then the joint is final but for this.";
            let hot = "Until then the joint is final but for this. A hot engine burns: gloves, and clear of what turns.";
            let (state, if_no) = match plan
                .procedure
                .stages()
                .get(usize::from(stage))
                .map(|stage| stage.kind)
            {
                Some(StageKind::Later {
                    state: EngineState::Cold,
                    ..
                }) => (", engine cold", cold),
                Some(StageKind::Later {
                    state: EngineState::Hot,
                    ..
                }) => (", engine hot", hot),
                _ => ("", cold),
            };
            asked.question = Some(plain(
                "Due later",
                format!("{words}. Is it due now{state}?"),
                if_no,
            ));
        }
        Next::Loosen { fastener } => {
            asked.alert = Some(Alert {
                title: format!("Fastener {}: loosen it fully", label(fastener)),
                detail: last_words(job, joint, fastener),
                what_now: vec![
                    "Pressure and load off; then loosen it fully, in the reverse of the order if others are tight."
                        .to_owned(),
                    "Then it starts again at the stage shown.".to_owned(),
                ],
                ways: ways(session.advice().as_ref()),
            });
        }
        Next::Replace { fastener } => {
            asked.alert = Some(Alert {
                title: format!("Fastener {}: this one is spent", label(fastener)),
                detail: last_words(job, joint, fastener),
                what_now: vec![
                    "Do not back it off to the target.".to_owned(),
                    "Take it out and look at it and at its hole.".to_owned(),
                    words::act(Act::Replace).to_owned(),
                ],
                ways: ways(session.advice().as_ref()),
            });
        }
        Next::Decide { step }
            if fastener_at(step).is_some_and(|own| session.ledger().wants_running(own)) =>
        {
            let who = fastener_at(step).map_or_else(String::new, label);
            asked.question = Some(Question {
                number: Some("Running torque, with its unit".to_owned()),
                ..plain(
                    "Running torque",
                    format!(
                        "Fastener {who}: its running torque was not seen on the way down, and the target comes on top of it. What is it?"
                    ),
                    "Or loosen it (L) and run it down again with the tool.",
                )
            });
        }
        Next::Decide { step } => {
            asked.alert = Some(decide(
                job,
                joint,
                session,
                step,
                &fastener_at(step).map_or_else(String::new, label),
            ))
        }
        Next::Settle { fastener }
            if let Some(peer) = job
                .peers(joint)
                .into_iter()
                .find(|peer| peer.settled.is_none() && peer.unlike.fastener == fastener) =>
        {
            asked.alert = Some(unlike_its_peers(&peer, &label(fastener)));
        }
        Next::Settle { fastener } => {
            asked.alert = Some(Alert {
                title: format!("Fastener {} felt wrong", label(fastener)),
                detail: "Nobody has looked at it since.".to_owned(),
                what_now: vec![
                    "Look at it, and at its curve in the record (F4).".to_owned(),
                    "If it is good, say so; if not, loosen it and do it again.".to_owned(),
                ],
                ways: vec![Way::GoOn, Way::Loosen],
            });
        }
        Next::Store => {
            asked.alert = Some(Alert {
                title: "The record cannot be stored".to_owned(),
                detail:
                    "Nothing more is pulled until it is: free some space, or put the disk back."
                        .to_owned(),
                what_now: vec!["Then try again.".to_owned()],
                ways: vec![Way::GoOn],
            });
        }
        Next::Start | Next::Pull { .. } | Next::Nothing => {}
    }
    asked
}

/// A fastener that no curve speaks against, beside others that it should look like.
fn unlike_its_peers(peer: &Peer, label: &str) -> Alert {
    Alert {
        title: format!("Fastener {label} is unlike its peers"),
        detail: format!(
            "Stage {}: it {}.",
            u32::from(peer.unlike.stage) + 1,
            peers::words(&peer.unlike)
        ),
        what_now: vec![
            format!("Look for {}.", peers::causes(&peer.unlike)),
            "If it is good, say so; if not, loosen it and do it again.".to_owned(),
        ],
        ways: vec![Way::GoOn, Way::Loosen],
    }
}

fn last_words(job: &Job, joint: u8, fastener: u8) -> String {
    job.attempts(joint)
        .rev()
        .find(|(_, attempt)| attempt.fastener == fastener)
        .map(|(_, attempt)| {
            let angle = attempt
                .angle
                .map_or_else(|| "angle unknown".to_owned(), words::angle);
            let reasons = words::reasons(attempt.reasons);
            let reasons = if reasons.is_empty() {
                words::verdict(attempt.verdict).to_owned()
            } else {
                reasons
            };
            let added = words::added(attempt.prevailing)
                .map_or_else(String::new, |added| format!(", {added}"));
            format!(
                "{} and {angle}{added}: {reasons}.",
                words::torque(attempt.peak)
            )
        })
        .unwrap_or_default()
}

fn decide<P: std::ops::Deref<Target = evendraw_core::procedure::Procedure>>(
    job: &Job,
    joint: u8,
    session: &Session<P>,
    step: u16,
    label: &str,
) -> Alert {
    let last = job
        .attempts(joint)
        .rev()
        .find(|(_, attempt)| attempt.step == step);
    if let Some(alert) = moved(job, joint, step, label, session.advice().as_ref()) {
        return alert;
    }
    let advice = session.advice();
    let Some((_, attempt)) = last else {
        return Alert {
            title: if label.is_empty() {
                "This stage needs a decision".to_owned()
            } else {
                format!("Fastener {label} needs a decision")
            },
            detail: String::new(),
            what_now: vec!["Read the document: what does it say for this case?".to_owned()],
            ways: ways(advice.as_ref()),
        };
    };
    let unknown = attempt.verdict == Verdict::Unknown;
    let mut what_now = advice.as_ref().map_or_else(Vec::new, words::what_now);
    if matches!(
        session.procedure().stage_of(step).map(|stage| stage.kind),
        Some(StageKind::Turn { .. })
    ) {
        what_now.push("An angle is never pulled a second time on top of this one.".to_owned());
    }
    let title = if unknown {
        format!("Fastener {label}: what happened is not known")
    } else {
        format!("Fastener {label} is rejected")
    };
    Alert {
        title,
        detail: last_words(job, joint, attempt.fastener),
        what_now,
        ways: ways(advice.as_ref()),
    }
}

/// What is advised, as the keys that do it, in the same order.
fn ways(advice: Option<&Advice>) -> Vec<Way> {
    let acts = advice.map_or(&[][..], |advice| advice.acts);
    acts.iter()
        .filter_map(|act| match act {
            // Needs no key: the hand pulls.
            // Typing has a field of its own.
            Act::PullOn | Act::TypeRunning => None,
            Act::Again => Some(Way::Redo),
            Act::Loosen | Act::TakeOut => Some(Way::Loosen),
            Act::Replace => Some(Way::NewFitted),
            Act::Observe => Some(Way::Observed),
            Act::Waive => Some(Way::Skip),
        })
        .collect()
}

/// A fastener that moved when it was checked again, if that is the last thing that happened to this step.
fn moved(job: &Job, joint: u8, step: u16, label: &str, advice: Option<&Advice>) -> Option<Alert> {
    let checked = job.facts().iter().rev().find_map(|fact| match fact {
        Fact::Entry(entry) if entry.joint == joint => match &entry.record {
            Record::Rechecked(checked) if checked.step == step => Some(Some(checked)),
            Record::Attempt(attempt) if attempt.step == step => Some(None),
            _ => None,
        },
        _ => None,
    })??;
    let angle = checked.moved.map_or_else(
        || "how far is not known".to_owned(),
        |angle| format!("by {}", words::angle(angle)),
    );
    Some(Alert {
        title: format!("Fastener {label} moved when it was checked again"),
        detail: format!("{angle}, at {}.", words::torque(checked.peak)),
        what_now: vec![
            "It has lost clamp load: look for what settled, and check its neighbours too."
                .to_owned(),
            "Do it again as the first key says, or say why it stays.".to_owned(),
        ],
        ways: ways(advice),
    })
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        format!("{}{}.", first.to_uppercase(), letters.as_str())
    })
}

/// What holds a joint, as an alert.
pub(super) fn held(held: &[Held]) -> Alert {
    let mut what_now = Vec::new();
    let mut ways = Vec::new();
    for own in held {
        match own {
            Held::Plan(Hold::Part(_)) => what_now.push("When the part is here: A.".to_owned()),
            Held::Plan(_) => what_now.push("Work on that first: F2 shows the build.".to_owned()),
            Held::ToolUnknown { .. } | Held::ToolRange { .. } | Held::ToolOverdue { .. } => {
                what_now.push("Take another tool: T.".to_owned());
                ways.push(Way::Waive);
            }
            Held::Unanswered(_) => what_now.push("Answer the question first.".to_owned()),
        }
    }
    what_now.dedup();
    ways.dedup();
    let detail: Vec<String> = held.iter().map(|held| capital(&held.to_string())).collect();
    Alert {
        title: "Nothing can be pulled here now".to_owned(),
        detail: detail.join(" "),
        what_now,
        ways,
    }
}

/// Why an input came at a wrong moment, in plain words.
pub(super) const fn refusal_words(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::NotStarted => "the joint is not begun yet",
        Refusal::StartedBefore => "it is begun already",
        Refusal::InPull => "a pull is in progress: finish it first",
        Refusal::NoSuch => "there is no such fastener or stage here",
        Refusal::AlreadySettled => "that is settled already",
        Refusal::WrongKind => "this stage is done in another way",
        Refusal::EarlierOpen => "an earlier stage is still open",
        Refusal::NothingToPull => "nothing is to be pulled now",
        Refusal::Store => "the record is still being stored",
        Refusal::ReasonMissing => "a reason is needed",
        Refusal::TextTooLong => "that is longer than 48 bytes; say it shorter",
        Refusal::NothingToDecide => "there is nothing to decide",
        Refusal::NotFinal => "that fastener is not final",
        Refusal::AngleTightened => "an angle is not pulled twice: loosen it, or fit a new one",
        Refusal::WrongState => "the engine is in the wrong state for this",
        Refusal::NoMockUp => "there is no mock-up to take apart",
        Refusal::LoosenFirst => "it must be loosened first",
        Refusal::ReplaceFirst => "it must be replaced first",
        Refusal::NoRunningTorque => "a running torque is from 0 up to the target",
    }
}
