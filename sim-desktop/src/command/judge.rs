//! `evendraw judge`: feeds a trace file through the same session that judges live work.
//!
//! Knows nothing of how a pull is judged.

use std::fs::File;
use std::io::{self, BufReader};
use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;
use evendraw_core::verdict::Reason;
use serde_json::json;

use super::named::{fastener, joint, names, stage};
use super::{CommandError, Done, Output, plan_file};
use crate::job::{Job, Told};
use crate::plan::Joint;
use crate::rehearsal::feed::{Feed, FeedError, judge};
use crate::rehearsal::given::Given;
use crate::rehearsal::trace_file;
use crate::sheet::export::{attempt_line, attempt_object};
use crate::store::Purpose;
use crate::words;

/// Judges recorded torque and rotation: a whole joint, or a single pull, from any instrument.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw judge --plan pump.toml --joint head pull.csv\n  \
        evendraw judge --plan pump.toml --joint head --start 4/3 pull.csv --json\n\n\
        TRACE is CSV with the header `time_s,torque_Nm,angle_deg`; lines that begin with # are comments. Torque and rotation\n\
        as the adapter measured them, positive clockwise. `-` reads from standard input.\n\
        --start says where the trace begins: FASTENER/STAGE, stages counted from 1. What comes before counts as done on\n\
        paper. The end of the file ends the last attempt. The plan's questions are answered with yes unless told otherwise.")]
pub(super) struct Args {
    /// The plan; the built-in demo build when none is given.
    #[arg(long, value_name = "PLAN")]
    plan: Option<PathBuf>,
    /// The joint; not needed where the plan has only one.
    #[arg(long, value_name = "JOINT")]
    joint: Option<String>,
    /// Where the trace begins.
    #[arg(long, value_name = "FASTENER/STAGE")]
    start: Option<String>,
    /// Answers one of the plan's questions: condition=no. May be given several times.
    #[arg(long, value_name = "KEY=ANSWER")]
    answer: Vec<String>,
    /// The trace file, or - for standard input.
    trace: PathBuf,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let plan = plan_file::read(args.plan.as_deref())?;
    out.speaks_of(&plan)?;
    let own = joint(&plan, args.joint.as_deref())?.clone();
    let given = Given::read(&args.answer, &plan, "from a trace file")?;
    let samples = samples(&args.trace)?;
    let mut job = Job::unkept(plan, Purpose::Job);
    job.work_alone(own.number())?;
    given.open(&mut job, own.number())?;
    let start = match &args.start {
        Some(text) => Some(start(text, &own, &job)?),
        None => None,
    };
    let mut rejected = false;
    let mut count = 0_u32;
    let feed = judge(
        &mut job,
        &given,
        own.number(),
        start,
        &samples,
        &mut |job: &Job, told: &Told| {
            count += 1;
            rejected |= told.attempt.verdict != evendraw_core::verdict::Verdict::Accepted;
            let names = names(job);
            out.object(&attempt_object(&names, told.joint, &told.attempt))?;
            out.line(attempt_line(&names, told.joint, &told.attempt))
        },
    );
    let feed = feed.map_err(|error: FeedError<CommandError>| match error {
        FeedError::Job(error) => CommandError::from(error),
        FeedError::Told(error) => error,
    })?;
    if let Some(advice) = job
        .session(own.number())
        .and_then(|session| session.advice())
    {
        for words in words::what_now(&advice) {
            out.line(format_args!("  {words}"))?;
        }
        let acts: Vec<&str> = advice
            .acts
            .iter()
            .map(|act| words::act_word(*act))
            .collect();
        out.object(&json!({
            "record": "advice",
            "joint": own.id(),
            "fastener": advice.fastener.map(|fastener| own.label(fastener)),
            "gravest": advice.gravest.map(Reason::word),
            "acts": acts,
        }))?;
    }
    if let Feed::Stopped { why, left } = feed {
        out.remark(format_args!("{left} samples were not judged: {why}"));
        return Ok(Done::Rejected);
    }
    if count == 0 {
        out.remark("there is no pull in it that this stage would count");
        return Ok(Done::Rejected);
    }
    Ok(Done::rejected_if(rejected))
}

/// Reads a trace file, or standard input for `-`.
pub(super) fn samples(
    path: &Path,
) -> Result<Vec<(evendraw_core::unit::Instant, evendraw_core::sample::Sample)>, CommandError> {
    let read = if path.as_os_str() == "-" {
        trace_file::read(BufReader::new(io::stdin().lock()))
    } else {
        let file = File::open(path).map_err(|error| CommandError::file("read", path, &error))?;
        trace_file::read(BufReader::new(file))
    };
    read.map_err(|error| CommandError::bad(format!("{}: {error}", path.display())))
}

/// The step that the trace begins with.
fn start(text: &str, own: &Joint, job: &Job) -> Result<u16, CommandError> {
    let from = format!("--start {text}");
    let parts = text
        .rsplit_once('/')
        .and_then(|(label, number)| Some((label.trim(), number.trim().parse().ok()?)));
    let Some((label, number)) = parts else {
        return Err(CommandError::bad(format!(
            "{from}: allowed is FASTENER/STAGE, like 4/2"
        )));
    };
    let Some(plan) = job.joint_plan(own.number()) else {
        return Err(CommandError::bad(from));
    };
    let (fastener, stage) = (
        fastener(own, label, &from)?,
        stage(plan.stages.len(), number, &from)?,
    );
    let step = (0_u16..)
        .zip(plan.procedure.steps())
        .find(|(_, step)| step.fastener() == Some(fastener) && step.stage() == stage);
    let pulled = |index: u16| {
        plan.procedure
            .stage_of(index)
            .is_some_and(|stage| stage.kind.is_pulled())
    };
    match step {
        Some((index, _)) if pulled(index) => Ok(index),
        Some(_) => Err(CommandError::bad(format!(
            "{from}: stage {number} is not pulled, so no trace can be of it"
        ))),
        None => Err(CommandError::bad(format!(
            "{from}: stage {number} does not touch fastener {label}"
        ))),
    }
}
