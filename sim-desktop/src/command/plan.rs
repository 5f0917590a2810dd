//! `evendraw plan`: a plan's text brought into form and added to, what two plans differ in, and a build that goes on under another
//! revision of its plan.
//!
//! Knows nothing of how a joint is carried from one revision to the next.

mod add_joint;
mod fmt;

use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use clap::{Args as ClapArgs, Subcommand};
use serde_json::json;

use super::check::differs;
use super::named::{self, Given};
use super::{CommandError, Done, Output, plan_file};
use crate::job::Job;
use crate::job::status::counted;
use crate::plan::Plan;
use crate::plan::differ::{Difference, differences};
use crate::store::{Purpose, read};

/// Writes, adds to and compares plans, and has a build go on under another revision of its plan.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw plan fmt pump.toml\n  \
        evendraw plan add-joint pump.toml --like P7 --set id=lid\n  \
        evendraw plan diff pump.toml pump-2.toml\n  \
        evendraw plan diff pump7.journal pump-2.toml --json\n  \
        evendraw plan revise pump7.journal pump-2.toml\n\n\
        A joint that was begun goes on: settled stages that did not change stay, changed ones are done again, and a finished joint\n\
        whose stages changed is doubtful until each fastener is done again or left on a name and a reason. Nothing is judged again.")]
pub(super) struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Brings a plan's text into its one form; comments, order and spelling stay.
    #[command(after_help = "Examples:\n  \
        evendraw plan fmt pump.toml\n  \
        evendraw plan fmt --check *.toml\n\n\
        Only white space changes: one empty line in front of a header with its comments, `key = value`\n\
        set under each other where a table had it so, brackets spaced evenly. A plan with faults is\n\
        brought into form all the same; a text that is no TOML is left alone and told (status 2).\n\
        With --check nothing is written, and the status is 1 while a plan is not in form.")]
    Fmt {
        /// The plans.
        #[arg(required = true)]
        plans: Vec<PathBuf>,
        /// Says which plans are not in form, and writes nothing.
        #[arg(long)]
        check: bool,
    },
    /// Adds joints to a plan: from a beginning, from another plan, from a table, or key by key.
    AddJoint(Box<add_joint::Args>),
    /// Says what two plans differ in.
    #[command(after_help = "Examples:\n  \
        evendraw plan diff pump.toml pump-2.toml\n  \
        evendraw plan diff pump7.journal pump-2.toml --json")]
    Diff {
        /// The old plan, or a journal for the plan that is worked to.
        old: PathBuf,
        /// The new plan, or a journal.
        new: PathBuf,
    },
    /// Has the build in a journal go on under another text of its plan.
    #[command(after_help = "Examples:\n  \
        evendraw plan revise pump7.journal pump-2.toml --dry-run\n  \
        evendraw plan revise pump7.journal pump-2.toml")]
    Revise {
        /// The journal.
        journal: PathBuf,
        /// The plan from here on.
        plan: PathBuf,
        /// Says what would come of it, and changes nothing.
        #[arg(long)]
        dry_run: bool,
    },
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    match &args.what {
        What::Fmt { plans, check } => fmt::run(plans, *check, out),
        What::AddJoint(args) => add_joint::run(args, out),
        What::Diff { old, new } => {
            let (old, new) = (plan_in(old)?, plan_in(new)?);
            tell(&differences(&old, &new), out)?;
            Ok(Done::Good)
        }
        What::Revise {
            journal,
            plan,
            dry_run,
        } => revise(journal, plan, *dry_run, out),
    }
}

fn plan_in(path: &Path) -> Result<Plan, CommandError> {
    Ok(match named::given(path)? {
        Given::Plan(plan) | Given::Journal(_, plan) => plan,
    })
}

fn tell(found: &[Difference], out: &mut Output<'_>) -> Result<(), CommandError> {
    for own in found {
        out.wrapped("", &own.words())?;
        out.object(&json!({
            "record": "difference", "of": own.kind, "id": own.id, "what": own.what, "old": own.old, "new": own.new,
            "words": own.words(),
        }))?;
    }
    if found.is_empty() {
        out.line("no difference")?;
    }
    Ok(())
}

fn revise(
    path: &Path,
    plan: &Path,
    dry_run: bool,
    out: &mut Output<'_>,
) -> Result<Done, CommandError> {
    let plan = plan_file::read(Some(plan))?;
    let content = read(path)?;
    let purpose = match content.rehearsal() {
        Some(true) => Purpose::Rehearsal,
        // Where neither is known, opening it refuses.
        Some(false) | None => Purpose::Job,
    };
    let mut job = if dry_run {
        Job::of(&content, purpose)?
    } else {
        Job::open(path, purpose)?
    };
    let found = differences(job.plan(), &plan);
    if job.plan().text() == plan.text() {
        out.line("the build is worked to this plan already")?;
        return Ok(Done::Good);
    }
    let (before, now) = (job.plan().build().revision, plan.build().revision);
    if now <= before
        && job
            .facts()
            .iter()
            .any(|fact| matches!(fact, crate::store::Fact::Entry(_)))
    {
        return Err(CommandError::bad(format!(
            "{}: revision {now}, and the build is worked to revision {before} already; give the change a number of its own, \
             `revision = {}` under [build], and say why with `reason`",
            plan.name(),
            before.saturating_add(1)
        )));
    }
    if purpose == Purpose::Job
        && let Ok(since) = SystemTime::now().duration_since(UNIX_EPOCH)
        && let Ok(seconds) = i64::try_from(since.as_secs())
    {
        job.set_wall_time(seconds);
    }
    job.change_plan(plan)?;
    tell(&found, out)?;
    let status = job.status();
    differs(&status, out)?;
    let told: Vec<String> = status
        .joints
        .iter()
        .flat_map(|joint| {
            let own = joint.differs.iter();
            own.map(|own| format!("{}: {}", joint.title, own.line()))
        })
        .collect();
    if !told.is_empty() {
        out.line("")?;
    }
    for line in told {
        out.wrapped("  ", &line)?;
    }
    out.line(format_args!(
        "\n{}{}: {}",
        if dry_run { "would be: " } else { "" },
        counted(found.len(), "difference"),
        status.headline()
    ))?;
    out.object(&json!({
        "revised": !dry_run, "revision": now, "differences": found.len(), "complete": status.is_complete(),
        "standing": status.headline(), "open": status.open.len(),
    }))?;
    Ok(Done::Good)
}
