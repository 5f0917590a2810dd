//! What `check` says of tasks, parts and reminders; and of a journal, where every joint stands.
//!
//! Draws the projection and decides nothing.

use std::path::Path;

use serde_json::json;

use super::super::named::{Journal, put_beside_forerunners};
use super::super::{CommandError, Done, Output};
use crate::job::Job;
use crate::job::status::{Kept, Status};
use crate::mark::Mark;
use crate::peers::Remark;
use crate::plan::Plan;
use crate::store::Purpose;

/// Tasks, parts and reminders, each with its state.
pub(super) fn beside(status: &Status, out: &mut Output<'_>) -> Result<(), CommandError> {
    for (title, rows) in status.beside() {
        out.line(format_args!("\n{}:", title.to_lowercase()))?;
        for row in rows {
            let line = match row.line.as_str() {
                "" => row.name,
                line => format!("{}: {line}", row.name),
            };
            out.wrapped(&format!("  {:<12}  ", row.word), &line)?;
        }
    }
    for task in &status.tasks {
        out.object(&json!({
            "task": task.id, "state": task.word, "why": task.why, "title": task.title, "stack": task.stack, "done": task.done,
        }))?;
    }
    for part in &status.parts {
        out.object(&json!({
            "part": part.name, "state": part.state.word(), "number": part.number, "quantity": part.quantity,
            "for": part.for_joints, "said": part.said,
        }))?;
    }
    for reminder in &status.reminders {
        out.object(&json!({
            "reminder": reminder.number, "text": reminder.text, "for": reminder.place, "holds": reminder.holds,
            "open": reminder.became.is_empty(), "became": reminder.became, "by": reminder.by,
        }))?;
    }
    Ok(())
}

/// What was done to an earlier revision of the plan and asks for something else now, an object a fastener.
pub(in super::super) fn differs(status: &Status, out: &mut Output<'_>) -> Result<(), CommandError> {
    for joint in &status.joints {
        for own in &joint.differs {
            for fastener in &own.fasteners {
                out.object(&json!({
                    "record": "differs", "joint": joint.id, "fastener": fastener, "stage": own.stage,
                    "done_to_revision": own.revision, "revision": own.now, "was": own.old, "now": own.new,
                    "settled": own.mark != Mark::Doubtful, "said": own.settled,
                }))?;
            }
        }
    }
    Ok(())
}

/// What was typed later, from paper.
fn from_paper(status: &Status, out: &mut Output<'_>) -> Result<(), CommandError> {
    let mut is_first = true;
    for joint in &status.joints {
        for line in &joint.from_paper {
            if is_first {
                out.line("\nfrom paper:")?;
                is_first = false;
            }
            out.line(format_args!("  {}: {line}", joint.id))?;
            out.object(&json!({ "record": "from-paper", "joint": joint.id, "words": line }))?;
        }
    }
    Ok(())
}

/// A journal: where everything stands, what is open, what is out of the ordinary.
pub(super) fn journal(
    journal: &Journal,
    path: &Path,
    plan: &Plan,
    out: &mut Output<'_>,
) -> Result<Done, CommandError> {
    out.speaks_of(plan)?;
    let status = Kept::of(plan, &journal.content, Some(&journal.traces)).status();
    out.line(format_args!("{}: {}", status.title, status.headline()))?;
    if let Some(last) = &status.last {
        let now = jiff::Timestamp::now().as_second();
        out.line(format_args!("last: {}", last.line(now)))?;
        out.object(&json!({
            "record": "last", "unix": last.unix, "person": last.person, "words": last.what,
        }))?;
    }
    out.line("")?;
    let width = status.joints.iter().map(|joint| joint.id.chars().count());
    let width = width.max().unwrap_or(0);
    for joint in &status.joints {
        let place = format!("{:<12}  {:<width$}  ", joint.mark.word(), joint.id);
        out.wrapped(&place, &format!("{}: {}", joint.title, joint.why))?;
        out.object(&json!({ "joint": joint.id, "state": joint.mark.word(), "why": joint.why }))?;
    }
    differs(&status, out)?;
    beside(&status, out)?;
    from_paper(&status, out)?;
    for (title, items) in [
        ("open", &status.open),
        ("out of the ordinary", &status.exceptions),
    ] {
        if !items.is_empty() {
            out.line(format_args!("\n{title}:"))?;
        }
        for item in items {
            out.wrapped(&format!("  {:<12}  ", item.mark.word()), &item.line())?;
        }
    }
    if let Some(next) = status.next_words() {
        out.line(format_args!("\nnext: {next}"))?;
    }
    let unlike = beside_forerunners(journal, path, out)?;
    out.object(&json!({
        "complete": status.is_complete(), "standing": status.headline(), "open": status.open.len(),
        "exceptions": status.exceptions.len(), "unlike_forerunners": unlike,
    }))?;
    Ok(Done::rejected_if(!status.is_complete() || unlike > 0))
}

/// The doubts that whoever goes on would raise, as like joints of other builds on the shelf showed something else; how many. Those that
/// were raised are records, and told with the others.
fn beside_forerunners(
    journal: &Journal,
    path: &Path,
    out: &mut Output<'_>,
) -> Result<usize, CommandError> {
    if journal.content.rehearsal() != Some(false) {
        return Ok(0);
    }
    // Records that cannot be taken up are told of elsewhere.
    let Ok(mut job) = Job::of(&journal.content, Purpose::Job) else {
        return Ok(0);
    };
    let joints = (0..=u8::MAX).take(job.plan().joints().len());
    let alone: Vec<Vec<Remark>> = joints.clone().map(|joint| job.peers_due(joint)).collect();
    put_beside_forerunners(&mut job, path, out);
    let names = job.names();
    let mut count = 0;
    for (joint, alone) in joints.zip(&alone) {
        let due = job.peers_due(joint);
        // Unlike the others of its own joint: that is among what is open.
        for remark in due.iter().filter(|one| one.raises && !alone.contains(one)) {
            if count == 0 {
                out.line("\nraised as a doubt once work goes on:")?;
            }
            count += 1;
            let (joint, fastener) = (names.joint(joint), names.fastener(joint, remark.fastener));
            let what = format!("{joint}, fastener {fastener}: {}", remark.text);
            out.wrapped(&format!("  {:<12}  ", Mark::Doubtful.word()), &what)?;
            out.object(&json!({
                "record": "due", "joint": joint, "fastener": fastener, "text": remark.text,
            }))?;
        }
    }
    Ok(count)
}
