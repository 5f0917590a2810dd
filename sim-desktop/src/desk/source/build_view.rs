//! The build at a glance, from the job.

use evendraw_core::record::{Doubt, Record};
use evendraw_core::session::{Next, Session};
use evendraw_core::verdict::Verdict;

use super::super::view::{BuildView, JointRow, Mark, NextStep, PartView, ToolView};
use super::{Source, joint_view};
use crate::job::Job;
use crate::peers;
use crate::plan::ToolKind;
use crate::plan::progress::State;
use crate::store::{Fact, Purpose};
use crate::words;

/// The mark of a joint's state.
pub(super) const fn state_mark(state: State) -> Mark {
    match state {
        State::MayStart => Mark::Open,
        State::Held => Mark::Held,
        State::InHand => Mark::PartWay,
        State::MockUp => Mark::MockUp,
        State::Doubtful => Mark::Doubtful,
        State::Disturbed => Mark::Disturbed,
        State::RetorqueDue => Mark::Accepted,
        State::Final => Mark::Final,
    }
}

fn today() -> Option<jiff::civil::Date> {
    Some(
        jiff::Timestamp::now()
            .to_zoned(jiff::tz::TimeZone::system())
            .date(),
    )
}

impl Source {
    pub(super) fn build_view(&self) -> BuildView {
        let Some(job) = &self.job else {
            return BuildView {
                title: self.name.clone(),
                rehearsal: self.purpose == Purpose::Rehearsal,
                readings: self.readings(),
                link: self.link_view(),
                ..BuildView::default()
            };
        };
        let plan = job.plan();
        let head = plan.build();
        let progress = job.progress();
        let joints: Vec<JointRow> = plan
            .joints()
            .iter()
            .map(|joint| {
                let number = joint.number();
                let state = progress.joint(number);
                let mark = state.map_or(Mark::Open, |state| state_mark(state.state));
                let (done, steps) = tally(job, number);
                let thread = job.joint_plan(number).and_then(|plan| plan.thread.clone());
                let count = joint.positions().len();
                JointRow {
                    id: joint.id().to_owned(),
                    title: joint.title().to_owned(),
                    what: thread.map_or_else(
                        || format!("{count} fasteners"),
                        |thread| format!("{count} × {thread}"),
                    ),
                    mark,
                    startable: state
                        .is_some_and(|state| !matches!(state.state, State::Held | State::Final)),
                    why: state.map_or_else(String::new, |state| {
                        why(job, number, state.state, &state.why())
                    }),
                    done,
                    steps,
                    closes: joint.closes().map(str::to_owned).collect(),
                    still_open_beneath: state
                        .map_or_else(Vec::new, |state| state.closed_over.clone()),
                }
            })
            .collect();
        let next = progress.next().and_then(|number| {
            let joint = job.joint(number)?;
            Some(NextStep {
                joint: joint.id().to_owned(),
                words: format!("{}{}", joint.title(), next_words(job, number)),
            })
        });
        let mut parts: Vec<PartView> = Vec::new();
        for joint in plan.joints() {
            for name in joint.needs() {
                if let Some(known) = parts.iter_mut().find(|part| part.name == name) {
                    known.for_joints = format!("{}, {}", known.for_joints, joint.title());
                } else {
                    parts.push(PartView {
                        name: name.to_owned(),
                        for_joints: joint.title().to_owned(),
                        arrived: job.has_part(name),
                    });
                }
            }
        }
        let mut tools: Vec<ToolView> = plan.tools().iter().map(tool_view).collect();
        // What must not be used is seen first, however little room there is.
        tools.sort_by_key(|tool| tool.in_date);
        BuildView {
            title: head.title.clone(),
            unit: head.unit.clone().unwrap_or_default(),
            document: head.document.clone().unwrap_or_default(),
            demo: head.demo,
            rehearsal: self.purpose == Purpose::Rehearsal,
            readings: self.readings(),
            link: self.link_view(),
            person: job.person().map(str::to_owned),
            witness: self.open.and_then(|joint| joint_view::witness(job, joint)),
            // An adapter is the tool of its joint, and names itself.
            tool: self
                .open
                .and_then(|joint| job.adapter(joint))
                .or_else(|| job.tool())
                .map(str::to_owned),
            tools,
            joints,
            next,
            parts,
            dues: dues(job),
            exceptions: exceptions(job),
            complete: progress.is_complete(),
            journal: job
                .journal_path()
                .map_or_else(|| "not kept".to_owned(), |path| path.display().to_string()),
        }
    }

    /// What did not read when the journal was opened.
    pub(super) fn recovery_words(&self) -> Option<String> {
        let damage = self.job.as_ref()?.damage();
        let first = damage.first()?;
        let bytes: usize = damage.iter().map(|damage| damage.to - damage.from).sum();
        Some(if first.torn {
            format!(
                "The last entry was cut off in the middle of writing: {bytes} bytes are dropped and set aside. Everything announced is here."
            )
        } else {
            format!(
                "{bytes} bytes of the journal are damaged and set aside ({}).",
                first.why
            )
        })
    }
}

fn tool_view(tool: &crate::plan::Tool) -> ToolView {
    let overdue = today().is_some_and(|today| tool.is_overdue(today));
    let kind = match tool.kind {
        ToolKind::Adapter => "adapter",
        other => other.word(),
    };
    ToolView {
        id: tool.id.clone(),
        words: format!(
            "{kind}, {} to {}",
            words::torque(tool.lowest),
            words::torque(tool.capacity)
        ),
        date: tool.due.map_or_else(
            || "no date given".to_owned(),
            |due| {
                if overdue {
                    format!("out of date since {due}")
                } else {
                    format!("due {due}")
                }
            },
        ),
        in_date: !overdue,
    }
}

/// Steps settled and steps in all.
fn tally(job: &Job, joint: u8) -> (usize, usize) {
    let steps = job
        .joint_plan(joint)
        .map_or(0, |plan| plan.procedure.steps().len());
    let done = job.session(joint).map_or(0, |session| {
        (0u16..)
            .zip(session.procedure().steps())
            .filter(|(index, _)| session.ledger().step(*index).is_settled())
            .count()
    });
    (done, steps)
}

/// Which fastener and stage are next, as an addition to the joint's name.
fn next_words(job: &Job, joint: u8) -> String {
    let Some(session) = job.session(joint) else {
        return String::new();
    };
    let (Next::Pull { step }
    | Next::Hand { step }
    | Next::Fit { step }
    | Next::Answer { step }
    | Next::Measure { step }
    | Next::Decide { step }) = session.next()
    else {
        return String::new();
    };
    let Some(at) = session.procedure().steps().get(usize::from(step)) else {
        return String::new();
    };
    let stage = format!(
        "stage {} of {}",
        at.stage() + 1,
        session.procedure().stages().len()
    );
    match at.fastener().and_then(|fastener| {
        job.joint(joint)
            .map(|joint| joint.label(fastener).to_owned())
    }) {
        Some(label) => format!(", fastener {label}, {stage}"),
        None => format!(", {stage}"),
    }
}

fn why(job: &Job, joint: u8, state: State, otherwise: &str) -> String {
    match state {
        State::InHand => {
            let next = next_words(job, joint);
            if next.is_empty() {
                otherwise.to_owned()
            } else {
                format!("next{}", next.replacen(',', ":", 1))
            }
        }
        _ => otherwise.to_owned(),
    }
}

/// Retorques that wait for the engine to have run.
fn dues(job: &Job) -> Vec<String> {
    let mut dues = Vec::new();
    for joint in job.plan().joints() {
        let number = joint.number();
        let Some(Next::AwaitDue { stage }) = job.session(number).map(Session::next) else {
            continue;
        };
        let words = job
            .joint_plan(number)
            .and_then(|plan| plan.stage(stage).map(crate::plan::StagePlan::sentence))
            .unwrap_or_default();
        dues.push(format!("{}: {words}", joint.title()));
    }
    dues
}

/// What a stranger must be told first: rejected and unknown attempts not made good, waivers, doubts.
fn exceptions(job: &Job) -> Vec<String> {
    let mut told: Vec<String> = Vec::new();
    for joint in job.plan().joints() {
        let number = joint.number();
        let Some(session) = job.session(number) else {
            continue;
        };
        for (index, step) in (0u16..).zip(session.procedure().steps()) {
            use evendraw_core::ledger::StepState::{Doubtful, Rejected, Waived};
            let state = session.ledger().step(index);
            let (Rejected | Doubtful | Waived) = state else {
                continue;
            };
            let who = step.fastener().map_or_else(String::new, |fastener| {
                format!(" {}", joint.label(fastener))
            });
            let last = job
                .attempts(number)
                .rev()
                .find(|(_, attempt)| attempt.step == index && attempt.verdict != Verdict::Accepted);
            let why = match (state, last) {
                (Waived, _) => "left as it is, with a reason".to_owned(),
                (_, Some((_, attempt))) => words::reasons(attempt.reasons),
                _ => "not known".to_owned(),
            };
            told.push(format!(
                "{}{who}, stage {}: {why}",
                joint.title(),
                step.stage() + 1
            ));
        }
        // After a restart nothing is next before the joint is opened; final it is all the same.
        let is_over = matches!(session.next(), Next::Nothing)
            || session.standing() == evendraw_core::ledger::Standing::Final;
        if is_over && let Some(wanted) = joint_view::witness_wanted(job, joint) {
            told.push(format!(
                "{}: {} (I)",
                joint.title(),
                wanted.replacen('A', "a", 1)
            ));
        }
        for (fastener, _) in (0u8..).zip(session.procedure().fasteners()) {
            // Sent back to its beginning by the plan: its steps are open again, and the reason stands in its last attempt.
            let ledger = session.ledger();
            let must = match (ledger.must_replace(fastener), ledger.must_loosen(fastener)) {
                (true, _) => Some("must be replaced"),
                (false, true) => Some("must be loosened fully"),
                (false, false) => None,
            };
            let last = job
                .attempts(number)
                .rev()
                .find(|(_, attempt)| attempt.fastener == fastener)
                .filter(|(_, attempt)| attempt.verdict != Verdict::Accepted);
            if let (Some(must), Some((_, attempt))) = (must, last) {
                told.push(format!(
                    "{} {}, stage {}: {}; {must}",
                    joint.title(),
                    joint.label(fastener),
                    attempt.stage + 1,
                    words::reasons(attempt.reasons)
                ));
            }
            if session.ledger().felt_wrong(fastener) {
                let unlike = job
                    .peers(number)
                    .into_iter()
                    .find(|peer| peer.settled.is_none() && peer.unlike.fastener == fastener);
                let what = unlike.map_or_else(
                    || "felt wrong, not settled".to_owned(),
                    |peer| format!("unlike its peers: {}", peers::words(&peer.unlike)),
                );
                told.push(format!(
                    "{} {}: {what}",
                    joint.title(),
                    joint.label(fastener)
                ));
            }
        }
    }
    let remarks = job.facts().iter().filter_map(|fact| match fact {
        Fact::Entry(entry) => match &entry.record {
            Record::Noted(noted) if noted.doubt == Doubt::None && !noted.text.is_empty() => {
                Some(noted.text.to_string())
            }
            Record::Tool(tool) if !tool.waiver.is_empty() => Some(format!(
                "tool {} used on a reason: {}",
                tool.id, tool.waiver
            )),
            _ => None,
        },
        Fact::Host(_) => None,
    });
    told.extend(remarks);
    told.truncate(12);
    told
}
