//! `evendraw check`: reads a plan, says what may be started, what is held and why, and which tool suits.
//!
//! Knows nothing of how a plan is read.

mod beside;

pub(super) use beside::differs;

use std::path::PathBuf;

use clap::Args as ClapArgs;
use evendraw_core::ledger::Standing;
use jiff::Zoned;
use serde::Serialize;

use super::named::{self, Given};
use super::work::beside as beside_plan;
use super::{CommandError, Done, Output, plan_file};
use crate::job::status::layout::stage_tools;
use crate::job::status::{Kept, counted};
use crate::mark::Mark;
use crate::plan::progress::{Progress, TaskStanding};
use crate::plan::{Joint, Plan, report};
use crate::store::PartState;

/// Checks a plan, or a journal: what may be started, what is held and why, what to look at, which tool suits.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw check pump.toml\n  \
        evendraw check pump.toml --done dowels --done oil-jet --missing \"head gasket\"\n  \
        evendraw check pump.toml --json | jq 'select(.state == \"ready\")'\n  \
        evendraw check pump7.journal\n\n\
        Of a journal it says where everything stands and what is open (status 1 while anything is).\n\
        Errors of the plan go to stderr with line, column and what is allowed (status 2). Questions about values that look\n\
        wrong for their thread are warnings: the plan is taken all the same.")]
pub(super) struct Args {
    /// The plan, or a journal; the built-in demo build when none is given.
    plan: Option<PathBuf>,
    /// As if this joint were final, or this task done. May be given several times.
    #[arg(long, value_name = "JOINT")]
    done: Vec<String>,
    /// As if this part were not here. May be given several times.
    #[arg(long, value_name = "PART")]
    missing: Vec<String>,
    /// As if this part, on order in the plan, had come. May be given several times.
    #[arg(long, value_name = "PART")]
    arrived: Vec<String>,
    /// Leaves out the advice on tools.
    #[arg(long)]
    no_tools: bool,
}

#[derive(Serialize)]
struct Line<'a> {
    joint: &'a str,
    state: &'a str,
    why: String,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let as_if = [&args.done, &args.missing, &args.arrived];
    let plan = match &args.plan {
        None => plan_file::read(None)?,
        Some(path) => match named::given(path)? {
            Given::Plan(plan) => {
                let journal = beside_plan(path);
                if journal.exists() && as_if.iter().all(|list| list.is_empty()) {
                    out.remark(format_args!(
                        "this is the plan alone; what was done stands in {}: `evendraw check` takes that too",
                        journal.display()
                    ));
                }
                plan
            }
            Given::Journal(..) if as_if.iter().any(|list| !list.is_empty()) => {
                return Err(CommandError::bad(
                    "--done, --missing and --arrived are for a plan; a journal says what is done and here",
                ));
            }
            Given::Journal(journal, plan) => return beside::journal(&journal, path, &plan, out),
        },
    };
    out.speaks_of(&plan)?;
    let mut standings = vec![Standing::Untouched; plan.joints().len()];
    for id in &args.done {
        if plan.task(id).is_some() {
            continue;
        }
        let joint = plan.joint(id).ok_or_else(|| no_joint(&plan, id))?;
        if let Some(standing) = standings.get_mut(usize::from(joint.number())) {
            *standing = Standing::Final;
        }
    }
    for part in args.missing.iter().chain(&args.arrived) {
        if !plan.part_names().contains(&part.as_str()) {
            return Err(no_part(&plan, part));
        }
    }
    let is_given = |list: &[String], name: &str| list.iter().any(|given| given == name);
    let progress = Progress::with_tasks(
        &plan,
        &standings,
        |part| {
            !is_given(&args.missing, part)
                && (is_given(&args.arrived, part) || !plan.is_on_order(part))
        },
        |task| {
            if is_given(&args.done, task) {
                TaskStanding::Done
            } else {
                TaskStanding::Open
            }
        },
    );
    let fasteners: usize = plan
        .joints()
        .iter()
        .map(|joint| joint.positions().len())
        .sum();
    out.line(format_args!(
        "{}: {}, {}",
        if plan.build().title.is_empty() {
            plan.name()
        } else {
            &plan.build().title
        },
        counted(plan.joints().len(), "joint"),
        counted(fasteners, "fastener"),
    ))?;
    out.line("")?;
    let width = |text: fn(&Joint) -> &str| {
        plan.joints()
            .iter()
            .map(|joint| text(joint).chars().count())
            .max()
            .unwrap_or(0)
    };
    let id_width = width(Joint::id);
    for (joint, state) in plan.joints().iter().zip(progress.joints()) {
        let place = format!("{:<12}  {:<id_width$}  ", state.state.word(), joint.id());
        out.wrapped(&place, &format!("{}: {}", joint.title(), state.why()))?;
        out.object(&Line {
            joint: joint.id(),
            state: state.state.word(),
            why: state.why(),
        })?;
    }
    if let Some(joint) = progress
        .next()
        .and_then(|number| plan.joints().get(usize::from(number)))
    {
        out.line(format_args!("\nnext: {} ({})", joint.title(), joint.id()))?;
    }
    let mut kept = Kept::before_work(&plan);
    for (list, state) in [
        (&args.arrived, PartState::Here),
        (&args.missing, PartState::Needed),
    ] {
        for part in list {
            kept.suppose(part, state);
        }
    }
    let status = kept.status_in(&progress);
    if status.is_task_next()
        && let Some(next) = status.next_words()
    {
        out.line(format_args!("\nnext: {next}"))?;
    }
    beside::beside(&status, out)?;
    covers(&plan, &progress, out)?;
    questions(&plan, out)?;
    if !args.no_tools && !plan.tools().is_empty() {
        tools(&plan, out)?;
    }
    if !plan.warnings().is_empty() {
        out.remark(report(plan.warnings(), false).trim_end());
    }
    let covered = progress
        .joints()
        .iter()
        .any(|state| !state.closed_over.is_empty());
    Ok(Done::rejected_if(covered))
}

fn no_joint(plan: &Plan, id: &str) -> CommandError {
    let tasks = plan.tasks().iter().map(crate::plan::Task::id);
    let known: Vec<&str> = plan.joints().iter().map(Joint::id).chain(tasks).collect();
    CommandError::bad(format!(
        "{} has no joint or task `{id}`; it has: {}",
        plan.name(),
        known.join(", ")
    ))
}

fn no_part(plan: &Plan, part: &str) -> CommandError {
    let mut known = plan.part_names();
    known.sort_unstable();
    CommandError::bad(format!(
        "nothing in {} needs `{part}`; parts needed: {}",
        plan.name(),
        known.join(", ")
    ))
}

/// What must be final before the next part covers it.
fn covers(plan: &Plan, progress: &Progress, out: &mut Output<'_>) -> Result<(), CommandError> {
    let is_task_open = |id: &str| {
        let tasks = plan.tasks().iter().zip(progress.tasks());
        let mut own = tasks.filter(|(task, _)| task.id() == id);
        own.any(|(_, state)| state.state != Mark::Final)
    };
    let is_open = |id: &str| {
        plan.joint(id)
            .and_then(|joint| progress.joint(joint.number()))
            .map_or_else(|| is_task_open(id), |state| !state.state.is_closed())
    };
    let mut first = true;
    for joint in plan.joints() {
        let open: Vec<&str> = joint.closes().filter(|id| is_open(id)).collect();
        if open.is_empty() {
            continue;
        }
        if first {
            out.line("\nout of reach later:")?;
            first = false;
        }
        let done = progress
            .joint(joint.number())
            .is_some_and(|state| !matches!(state.state, Mark::Ready | Mark::Waiting));
        out.line(format_args!(
            "  {} covers {}, which {} still open{}",
            joint.id(),
            open.join(", "),
            if open.len() == 1 { "is" } else { "are" },
            if done { ": open it up again first" } else { "" }
        ))?;
    }
    Ok(())
}

/// What is asked before and during the work.
fn questions(plan: &Plan, out: &mut Output<'_>) -> Result<(), CommandError> {
    let mut first = true;
    for joint in plan.joints() {
        let variants = joint.variants().iter().map(|variant| {
            let answers: Vec<&str> = variant.allowed().collect();
            (
                variant.key.as_str(),
                format!("{} ({})", variant.ask, answers.join(" or ")),
            )
        });
        let asked = joint
            .first_plan()
            .questions
            .iter()
            .map(|question| (question.key.as_str(), question.text.clone()));
        for (key, text) in variants.chain(asked) {
            if first {
                out.line("\nasked on the way, by the key of `--answer`:")?;
                first = false;
            }
            out.wrapped("  ", &format!("{}/{key}: {text}", joint.id()))?;
        }
    }
    Ok(())
}

/// For every stage that is pulled, the tools that suit and what each is set to or reads.
fn tools(plan: &Plan, out: &mut Output<'_>) -> Result<(), CommandError> {
    let today = Zoned::now().date();
    for tool in plan.tools().iter().filter(|tool| tool.is_overdue(today)) {
        if let Some(due) = tool.due {
            out.line(format_args!(
                "\ntool {}: calibration expired on {due}: only on somebody's name and reason",
                tool.id
            ))?;
        }
    }
    out.line("\ntools:")?;
    for joint in plan.joints() {
        for stage in stage_tools(plan, joint.first_plan(), today) {
            let what = format!("{} stage {}, {}", joint.id(), stage.stage, stage.target);
            let what = what.trim_end_matches([' ', ',']);
            out.wrapped("  ", &format!("{what}: {}", stage.words()))?;
        }
    }
    Ok(())
}
