//! Joints, fasteners and journals named on the command line.
//!
//! Knows nothing of which command wants them.

use std::path::Path;

use evendraw_core::crc::crc32;
use evendraw_core::record::{Entry, Record};
use evendraw_core::session::Session;

use super::{CommandError, Output};
use crate::job::revision::Revisions;
use crate::job::status::telling::{line, told_object};
use crate::job::status::{Names, counted, plan_of};
use crate::job::{Job, JobError, Told};
use crate::outputs::OutputError;
use crate::peers;
use crate::plan::{Joint, Plan};
use crate::rehearsal::answers::AnswersError;
use crate::shelf::forerunners::before;
use crate::store::{Content, StoreError, Traces, entries_of, read_with_bytes};

/// The joint with an id; the only one where none is named.
pub(super) fn joint<'p>(plan: &'p Plan, id: Option<&str>) -> Result<&'p Joint, CommandError> {
    let ids = || {
        plan.joints()
            .iter()
            .map(Joint::id)
            .collect::<Vec<_>>()
            .join(", ")
    };
    match (id, plan.joints()) {
        (Some(id), _) => plan.joint(id).ok_or_else(|| {
            CommandError::bad(format!(
                "--joint {id}: {} has no such joint; it has: {}",
                plan.name(),
                ids()
            ))
        }),
        (None, [only]) => Ok(only),
        (None, _) => Err(CommandError::bad(format!(
            "--joint is needed; {} has: {}",
            plan.name(),
            ids()
        ))),
    }
}

/// The fastener of a joint with a label, by index; `from` is the option that names it.
pub(super) fn fastener(joint: &Joint, label: &str, from: &str) -> Result<u8, CommandError> {
    joint.fastener(label).ok_or_else(|| {
        let labels: Vec<&str> = joint
            .positions()
            .iter()
            .map(|position| position.label.as_str())
            .collect();
        CommandError::bad(format!(
            "{from}: joint `{}` has no fastener `{label}`; it has: {}",
            joint.id(),
            labels.join(", ")
        ))
    })
}

/// A stage counted from 1, by index; `from` is the option that names it.
pub(super) fn stage(stages: usize, number: usize, from: &str) -> Result<u8, CommandError> {
    let index = number.checked_sub(1).filter(|index| *index < stages);
    index
        .and_then(|index| u8::try_from(index).ok())
        .ok_or_else(|| {
            CommandError::bad(format!(
                "{from}: there is no stage {number}; allowed are 1 to {stages}"
            ))
        })
}

/// From here on the peers of the job's joints include their forerunners, where its journal lies on a shelf; said so.
///
/// A shelf that cannot be read keeps nobody from work.
pub(super) fn put_beside_forerunners(job: &mut Job, journal: &Path, out: &mut Output<'_>) {
    if !job.may_have_forerunners() {
        return;
    }
    match before(journal) {
        Ok(None) => {}
        Ok(Some(before)) => {
            let mut builds = before.history.builds();
            builds -= usize::from(before.history.journal(journal).is_some());
            job.set_forerunners(before.history.forerunners(Some(journal)));
            let folder = before.folder.display();
            let own = std::path::absolute(journal).unwrap_or_else(|_| journal.to_owned());
            // It is open, here.
            let is_own = |name: &str| before.folder.join(name) == own.with_extension("");
            let passed = before.passed.iter().filter(|one| !is_own(&one.name)).count();
            if builds > 0 {
                out.remark(format_args!(
                    "the joints are put beside like ones of {} on the shelf {folder}",
                    counted(builds, "build")
                ));
            }
            if passed > 0 {
                out.remark(format_args!(
                    "{} of the shelf {folder} not read or not whole: `evendraw shelf` says which",
                    counted(passed, "build")
                ));
            }
        }
        Err(error) => out.remark(format_args!(
            "the joints are not put beside like ones of other builds, the shelf cannot be listed: {error}"
        )),
    }
}

/// The names of a job's joints, fasteners and steps.
pub(super) fn names(job: &Job) -> Names {
    job.names()
}

/// A journal read, with what stands beside it.
pub(super) struct Journal {
    pub(super) name: String,
    pub(super) content: Content,
    pub(super) digest: u32,
    pub(super) traces: Traces,
    /// The plan that was worked to; none when a piece of it is lost.
    pub(super) plan: Option<Plan>,
}

/// Reads a journal to look at, not to go on with.
pub(super) fn journal(path: &Path) -> Result<Journal, CommandError> {
    let (content, bytes) = read_with_bytes(path)?;
    let plan = content
        .plan()
        .and_then(|(name, text)| Plan::parse(&name, &text).ok());
    let name = path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    );
    Ok(Journal {
        name,
        content,
        digest: crc32(0, &bytes),
        traces: Traces::beside(path),
        plan,
    })
}

/// A file that may be a plan or a journal.
pub(super) enum Given {
    /// A plan.
    Plan(Plan),
    /// A journal, with the plan in it.
    Journal(Box<Journal>, Plan),
}

/// Reads a plan or a journal: whatever it is.
pub(super) fn given(path: &Path) -> Result<Given, CommandError> {
    let is_journal = read_with_bytes(path).is_ok_and(|(content, _)| content.is_journal());
    if !is_journal {
        return super::plan_file::read(Some(path)).map(Given::Plan);
    }
    let mut journal = journal(path)?;
    match journal.plan.take() {
        Some(plan) => Ok(Given::Journal(Box::new(journal), plan)),
        None => Err(CommandError::bad(format!(
            "{}: the plan in this journal is lost or does not read",
            journal.name
        ))),
    }
}

/// Tells a verdict whose record is safe.
pub(super) fn tell_attempt(
    job: &Job,
    told: &Told,
    before: &str,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let names = names(job);
    let mut object = told_object(&names, told.joint, &told.entry.record).unwrap_or_default();
    let mut line = line(&names, &told.entry);
    // A setting is no reading: nothing is measured that could be uncertain.
    let is_read = !matches!(told.entry.record, Record::BySetting(_));
    if is_read && let Some(judged) = job.judged(told.joint, told.announcement.seq, &told.attempt) {
        judged.add_to(&mut object);
        let shown = names.shown(told.joint, told.attempt.stage);
        if let Some(remark) = judged.remark(|own| shown.words(own)) {
            line.push_str(&format!("; {remark}"));
        }
    }
    out.object(&object)?;
    out.line(format_args!("{before}{line}"))
}

/// Says of every joint in a journal which fasteners are unlike their peers; returns how many nobody has looked at.
pub(super) fn tell_peers(
    plan: &Plan,
    content: &Content,
    names: &Names,
    out: &mut Output<'_>,
) -> Result<usize, CommandError> {
    let mut open = 0;
    let revisions = Revisions::of(&content.facts);
    for joint in plan.joints() {
        let number = joint.number();
        let procedure = &plan_of(&content.facts, joint).procedure;
        // Records that cannot be folded are told of elsewhere.
        let Ok(session) = Session::restore(procedure, number, entries_of(&content.facts, number))
        else {
            continue;
        };
        let comparable = revisions.comparable(&content.facts, joint);
        let comparable: Vec<&Entry> = comparable.iter().collect();
        for peer in peers::peers(procedure, session.ledger(), number, &comparable) {
            open += usize::from(peer.settled.is_none());
            out.object(&peers::object(names, number, &peer))?;
            out.line(format_args!(
                "    -  {}: {}",
                joint.id(),
                peers::line(names, number, &peer)
            ))?;
        }
    }
    Ok(open)
}

impl From<StoreError> for CommandError {
    fn from(error: StoreError) -> Self {
        Self::bad(error.to_string())
    }
}

impl From<JobError> for CommandError {
    fn from(error: JobError) -> Self {
        Self::bad(error.to_string())
    }
}

impl From<AnswersError> for CommandError {
    fn from(error: AnswersError) -> Self {
        Self::bad(error.to_string())
    }
}

impl From<OutputError> for CommandError {
    fn from(error: OutputError) -> Self {
        Self::bad(error.to_string())
    }
}
