//! `evendraw paper`: types back what was written by hand on a working sheet: one box, or a whole table.
//!
//! Knows nothing of what becomes of it: a value is judged as if it had been typed at the metal, a tick stays marked as unmeasured.

use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use clap::Args as ClapArgs;
use evendraw_core::record::Role;
use evendraw_core::session::Input;
use evendraw_core::unit::Instant;
use serde_json::json;

use super::named::{Given, fastener, given, joint, names, put_beside_forerunners, stage};
use super::value::{TypedTorque, torque};
use super::work::beside;
use super::{CommandError, Done, Output};
use crate::job::Job;
use crate::job::paper::{PaperError, TypedBack, blank, read_table, write_table};
use crate::job::status::counted;
use crate::job::status::telling::{line, object};
use crate::limits;
use crate::outputs::{self, Over};
use crate::plan::Plan;
use crate::store::{Purpose, read};
use crate::words;

/// Types back what was written on a working sheet: a whole table, or one box that was ticked.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw paper pump.toml --blank -o evening.csv\n  \
        evendraw paper pump7.journal evening.csv\n  \
        evendraw paper pump7.journal --joint manifold --fastener 3 --stage 1 --name \"R. Falk\"\n  \
        evendraw paper pump7.journal --joint impeller --fastener 1 --running \"8 N·m\"\n\n\
        --blank gives the table to fill: a row for each step that is open. Columns:\n  \
        joint, fastener, stage  where; a stage is its number, or `threads` (yes, no), `running` (a torque), `marked`, `looked at`\n  \
        what, wanted            what the plan asks there; nothing is read from them\n  \
        way                     display, eye, gauge, mark, setting, hand, or ticked: done, and nothing more is known; empty: as the tool tells\n  \
        value                   48.2, 48,2 or 48.2 N·m, without a unit the tool's own; the setting of a click wrench; yes or no; a length\n  \
        angle, moved            beside it, where it is read; yes where nothing may move and it did\n  \
        tool, reason            its id in the plan; who allows one that is out of date or range, and why\n  \
        name, date              who did it, and the day that stands on the paper, like 2026-05-04\n  \
        sure                    yes where a value far from its target is right\n\
        Cells stand between commas, semicolons or tabs. Every cell is checked first: all rows are recorded, or none. A row that was typed\n\
        before is not recorded twice. Each row is judged as at the metal, and the record says that it was typed later, from paper of that\n\
        day. With a plan, its journal is the one beside it, begun where there is none. Status 1 where a value was not accepted.\n\n\
        A single box ticked is recorded as unmeasured; the sheet lists it among the exceptions.")]
pub(super) struct Args {
    /// The journal; or the plan that it lies beside.
    file: PathBuf,
    /// The table, filled in.
    #[arg(conflicts_with_all = ["blank", "fastener", "joint", "stage", "running", "name"])]
    table: Option<PathBuf>,
    /// Writes the table to fill.
    #[arg(long, conflicts_with_all = ["fastener", "joint", "stage", "running", "name"])]
    blank: bool,
    /// Where to write it; to standard output when not given. Nothing is ever written over.
    #[arg(short, long, value_name = "FILE.csv", requires = "blank")]
    output: Option<PathBuf>,
    /// The joint; not needed where the plan has only one.
    #[arg(long, value_name = "JOINT")]
    joint: Option<String>,
    /// The fastener's label.
    #[arg(
        long,
        value_name = "FASTENER",
        required_unless_present_any = ["table", "blank"]
    )]
    fastener: Option<String>,
    /// The stage, counted from 1.
    #[arg(
        long,
        value_name = "N",
        required_unless_present_any = ["running", "table", "blank"],
        conflicts_with = "running"
    )]
    stage: Option<usize>,
    /// The running torque of the fastener, read while it was run down, instead of a stage.
    #[arg(long, value_name = "TORQUE", value_parser = torque)]
    running: Option<TypedTorque>,
    /// Who ticked it.
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    if args.blank {
        return to_fill(args, out);
    }
    match &args.table {
        Some(table) => whole(&args.file, table, out),
        None => one(args, out),
    }
}

/// Writes the table to fill.
fn to_fill(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let job = match given(&args.file)? {
        Given::Plan(plan) => Job::unkept(plan, Purpose::Job),
        Given::Journal(journal, _) => {
            let purpose = purpose(journal.content.rehearsal());
            Job::of(&journal.content, purpose)?
        }
    };
    let rows = blank(&job);
    let table = write_table(&rows);
    let Some(path) = &args.output else {
        if out.is_json() {
            return Err(CommandError::bad(
                "--blank prints a table, which --json excludes; allowed with it is -o FILE.csv",
            ));
        }
        return out.raw(&table).map(|()| Done::Good);
    };
    outputs::write(path, &table, Over::Nothing)?;
    out.line(format_args!(
        "{}: {} rows to fill",
        path.display(),
        rows.len()
    ))?;
    out.object(
        &json!({ "record": "table", "table": path.display().to_string(), "rows": rows.len() }),
    )?;
    Ok(Done::Good)
}

const fn purpose(rehearsal: Option<bool>) -> Purpose {
    match rehearsal {
        Some(true) => Purpose::Rehearsal,
        // Where neither is known, opening it refuses.
        Some(false) | None => Purpose::Job,
    }
}

/// Types back a whole table.
fn whole(file: &Path, table: &Path, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let text =
        limits::read_table(table).map_err(|error| CommandError::file("read", table, &error))?;
    let rows = read_table(&text)
        .map_err(|error| CommandError::bad(format!("{}: {error}", table.display())))?;
    let today = jiff::Zoned::now().date();
    let (journal, mut job) = match given(file)? {
        Given::Plan(plan) => {
            let job = begun(file, plan, |job| {
                let tried = job.try_rows(&rows, today);
                tried.map_err(|error| told(table, &error, out))
            })?;
            (beside(file), job)
        }
        Given::Journal(own, _) => {
            let job = Job::open(file, purpose(own.content.rehearsal()))?;
            (file.to_owned(), job)
        }
    };
    put_beside_forerunners(&mut job, &journal, out);
    set_clock(&mut job);
    let typed = job
        .type_back(&rows, today)
        .map_err(|error| told(table, &error, out))?;
    tell(&job, &typed, out)
}

/// The journal beside a plan, begun where there is none and what is to be typed stands the test.
fn begun(
    path: &Path,
    plan: Plan,
    test: impl FnOnce(&Job) -> Result<(), CommandError>,
) -> Result<Job, CommandError> {
    let journal = beside(path);
    if journal.exists() {
        return Ok(Job::open(&journal, Purpose::Job)?);
    }
    let mut trial = Job::unkept(plan.clone(), Purpose::Job);
    set_clock(&mut trial);
    test(&trial)?;
    Ok(Job::create(&journal, plan, Purpose::Job)?)
}

/// Each cell that is wrong on a line of its own, then that nothing was recorded.
fn told(table: &Path, error: &PaperError, out: &mut Output<'_>) -> CommandError {
    CommandError::bad(match error {
        PaperError::Faults(faults) => {
            for fault in faults {
                out.remark(format_args!("{}: {fault}", table.display()));
            }
            let cells = counted(faults.len(), "cell");
            format!("{}: {cells} to mend; nothing was recorded", table.display())
        }
        PaperError::Job(error) => error.to_string(),
        PaperError::Store(why) => {
            format!("{why}. What is safe stands; the same table given again goes on behind it")
        }
    })
}

fn tell(job: &Job, typed: &TypedBack, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let names = names(job);
    for entry in &typed.entries {
        out.object(&object(&names, entry))?;
    }
    for lines in &typed.rejected {
        out.line(format_args!(
            "line {lines}: not accepted; decide at the desk what follows"
        ))?;
    }
    let known = match typed.known {
        0 => String::new(),
        known => format!(", {known} recorded before"),
    };
    out.line(format_args!("{} rows recorded{known}", typed.recorded))?;
    out.object(&json!({
        "record": "typed-back", "recorded": typed.recorded, "known": typed.known, "rejected": typed.rejected,
    }))?;
    Ok(Done::rejected_if(!typed.rejected.is_empty()))
}

/// Wall time, for real work.
fn set_clock(job: &mut Job) {
    if job.purpose() == Purpose::Job
        && let Ok(since) = SystemTime::now().duration_since(UNIX_EPOCH)
        && let Ok(seconds) = i64::try_from(since.as_secs())
    {
        job.set_wall_time(seconds);
    }
}

/// Types back one box.
fn one(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let mut job = Job::open(&args.file, purpose(read(&args.file)?.rehearsal()))?;
    put_beside_forerunners(&mut job, &args.file, out);
    let given = args.fastener.as_deref().unwrap_or_default();
    let own = joint(job.plan(), args.joint.as_deref())?.clone();
    let number = own.number();
    let label = fastener(&own, given, "--fastener")?;
    let Some(plan) = job.joint_plan(number) else {
        return Err(CommandError::bad("--joint"));
    };
    let (input, what) = match (args.running, args.stage) {
        (Some(running), _) => (
            Input::RunningTorque {
                fastener: label,
                torque: running.torque(),
            },
            format!("fastener {given}, --running {running}"),
        ),
        (None, number) => {
            let number = number.unwrap_or_default();
            let at_stage = stage(plan.stages.len(), number, "--stage")?;
            let step = plan
                .procedure
                .numbered_steps()
                .find(|(_, step)| step.fastener() == Some(label) && step.stage() == at_stage);
            let Some((step, _)) = step else {
                return Err(CommandError::bad(format!(
                    "--stage {number}: that stage does not touch fastener {given} of {}",
                    own.id()
                )));
            };
            (
                Input::Paper { step },
                format!("fastener {given}, stage {number}"),
            )
        }
    };
    set_clock(&mut job);
    let mut told = Vec::new();
    if let Some(name) = &args.name {
        let done = job.apply(
            number,
            Instant::BOOT,
            Input::Person {
                name,
                role: Role::Operator,
            },
        )?;
        refused(&done, "--name")?;
        told.extend(done.entries);
    }
    let done = job.apply(number, Instant::BOOT, input)?;
    refused(&done, &what)?;
    told.extend(done.entries);
    let names = names(&job);
    for entry in &told {
        out.object(&object(&names, entry))?;
        out.line(line(&names, entry))?;
    }
    out.object(&json!({ "record": "standing", "joint": own.id(), "fastener": args.fastener, "stage": args.stage }))?;
    Ok(Done::Good)
}

fn refused(done: &crate::job::Done, what: &str) -> Result<(), CommandError> {
    if let Some(failure) = &done.store_failure {
        return Err(CommandError::bad(failure.clone()));
    }
    match done.refusal {
        Some(refusal) => Err(CommandError::bad(format!(
            "{what}: {}",
            words::refusal(refusal)
        ))),
        None => Ok(()),
    }
}
