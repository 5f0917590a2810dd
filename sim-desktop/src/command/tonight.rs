//! `evendraw tonight`: an evening before it begins: what can be done, with which tools, and what must not be left half done.
//!
//! Draws the projection and decides nothing.

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;
use serde_json::json;

use super::named::{self, Given, Journal};
use super::work::beside;
use super::{CommandError, Done, Output, plan_file};
use crate::job::status::{Kept, Tonight, TonightLine};
use crate::outputs::{self, Over};
use crate::plan::Plan;
use crate::rehearsal::rehearsed;
use crate::sheet::tonight_page;

/// Says what can be done tonight: joints, tools to lay out, what is asked, parts to order, what must not be left half done.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw tonight pump.toml\n  \
        evendraw tonight pump7.journal --json | jq 'select(.record == \"tool\")'\n  \
        evendraw tonight pump.toml -o tonight.html\n\n\
        Of a plan, with the journal beside it where there is one. How long it takes is rehearsed on the virtual bench, by a steady hand\n\
        that needs no break; --no-time leaves that out.")]
pub(super) struct Args {
    /// A plan or a journal; the built-in demo build when none is given.
    file: Option<PathBuf>,
    /// Leaves out how long it takes.
    #[arg(long)]
    no_time: bool,
    /// Writes one page to print.
    #[arg(short, long, value_name = "FILE.html")]
    output: Option<PathBuf>,
    /// Replaces an earlier output of this program; nothing else is ever written over.
    #[arg(long, requires = "output")]
    force: bool,
}

/// A plan, with the journal beside it where there is one.
pub(super) fn with_journal(
    path: Option<&Path>,
) -> Result<(Plan, Option<Box<Journal>>), CommandError> {
    let Some(path) = path else {
        return Ok((plan_file::read(None)?, None));
    };
    match named::given(path)? {
        Given::Journal(journal, plan) => Ok((plan, Some(journal))),
        Given::Plan(plan) => {
            let journal = beside(path);
            if !journal.exists() {
                return Ok((plan, None));
            }
            let mut journal = named::journal(&journal)?;
            // What was done was done to the plan in the journal.
            let plan = journal.plan.take().unwrap_or(plan);
            Ok((plan, Some(Box::new(journal))))
        }
    }
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let (plan, journal) = with_journal(args.file.as_deref())?;
    out.speaks_of(&plan)?;
    let kept = match &journal {
        Some(journal) => Kept::of(&plan, &journal.content, Some(&journal.traces)),
        None => Kept::before_work(&plan),
    };
    let mut tonight = kept.tonight();
    if !args.no_time {
        let joints: Vec<u8> = tonight.joints.iter().map(|joint| joint.number).collect();
        tonight = tonight.with_times(&rehearsed(&plan, &joints));
    }
    if let Some(path) = &args.output {
        outputs::write(path, &tonight_page(&tonight), Over::ours_if(args.force))?;
        out.object(&json!({ "page": path.display().to_string(), "joints": tonight.joints.len() }))?;
        out.line(format_args!(
            "{}: {} joints",
            path.display(),
            tonight.joints.len()
        ))?;
        return Ok(Done::Good);
    }
    if let Some(journal) = &journal {
        out.line(format_args!(
            "{}, by its journal {}",
            tonight.title, journal.name
        ))?;
    } else {
        out.line(&tonight.title)?;
    }
    if let Some(last) = &tonight.last {
        out.line(format_args!(
            "last: {}",
            last.line(jiff::Timestamp::now().as_second())
        ))?;
    }
    for (title, rows) in tonight.lists() {
        out.line(format_args!("\n{}:", title.to_lowercase()))?;
        for (name, line) in rows {
            out.wrapped("  ", &format!("{name}: {line}"))?;
        }
    }
    if tonight.joints.is_empty() {
        out.line("\nno joint can be done")?;
    }
    objects(&tonight, out)?;
    Ok(Done::Good)
}

fn objects(tonight: &Tonight, out: &mut Output<'_>) -> Result<(), CommandError> {
    for joint in &tonight.joints {
        out.object(&json!({
            "record": "joint", "joint": joint.id, "state": joint.mark.word(), "after": joint.after,
            "open": joint.open, "steps": joint.of, "seconds": joint.seconds,
        }))?;
    }
    for own in &tonight.tools {
        let tool = &own.tool;
        out.object(&json!({
            "record": "tool", "tool": tool.id, "what": tool.what, "calibration": tool.calibration,
            "expired": tool.is_expired, "uses": own.uses,
        }))?;
    }
    for why in &tonight.untooled {
        out.object(&json!({ "record": "no-tool", "words": why }))?;
    }
    let mut lines = |record: &str, lines: &[TonightLine]| {
        lines.iter().try_for_each(|line| {
            out.object(&json!({ "record": record, "joint": line.id, "words": line.what }))
        })
    };
    lines("check", &tonight.checks)?;
    lines("whole", &tonight.whole)?;
    lines("held", &tonight.held)?;
    for (title, line) in &tonight.tasks {
        out.object(&json!({ "record": "task", "task": title, "words": line }))?;
    }
    for part in &tonight.parts {
        out.object(&json!({
            "record": "part", "part": part.name, "state": part.state.word(), "for": part.for_joints,
        }))?;
    }
    out.object(&json!({ "record": "evening", "seconds": tonight.seconds() }))
}
