//! `evendraw judge`: feeds a trace file through the same session that judges live work.
//!
//! Knows nothing of how a pull is judged.

use std::fs::File;
use std::io::{self, BufReader};
use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;
use evendraw_core::procedure::StageKind;
use evendraw_core::unit::Torque;
use evendraw_core::verdict::{Reason, Verdict};
use serde_json::json;

use super::named::{fastener, joint, names, stage, tell_attempt};
use super::value::torque;
use super::{CommandError, Done, Output, plan_file};
use crate::job::{Job, Told};
use crate::peers;
use crate::plan::Joint;
use crate::rehearsal::answers::Answers;
use crate::rehearsal::recording::Recording;
use crate::rehearsal::replay::{Replay, ReplayError, judge};
use crate::rehearsal::trace_file;
use crate::store::Purpose;
use crate::words;

/// Judges recorded torque and rotation: a whole joint, or a single pull, from any instrument.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw judge --plan pump.toml --joint head pull.csv\n  \
        evendraw judge --plan pump.toml --joint head --start 4/3 pull.csv --json\n\n\
        TRACE is CSV with the header `time_s,torque_Nm,angle_deg`; lines that begin with # are comments. Torque and rotation\n\
        as the adapter measured them, positive clockwise. `-` reads from standard input. What the free, still tool stands off zero\n\
        before the first pull is taken off and said, up to 2 N·m; beyond that the trace is refused.\n\
        --start says where the trace begins: FASTENER/STAGE, stages counted from 1. What comes before counts as done on\n\
        paper. The end of the file ends the last attempt. The plan's questions are answered with yes unless told otherwise.")]
pub(super) struct Args {
    /// The plan; the built-in demo build when none is answers.
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
    /// The running torque of a fastener, as if it were typed: 1="8 N·m". May be given several times.
    #[arg(long, value_name = "FASTENER=TORQUE")]
    running: Vec<String>,
    /// The trace file, or - for standard input.
    trace: PathBuf,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let plan = plan_file::read(args.plan.as_deref())?;
    out.speaks_of(&plan)?;
    let own = joint(&plan, args.joint.as_deref())?.clone();
    let mut answers = Answers::read(&args.answer, &plan, "from a trace file")?;
    answers.running = args
        .running
        .iter()
        .map(|text| running(text, &own))
        .collect::<Result<_, _>>()?;
    let recording = recording(&args.trace)?;
    let mut job = Job::unkept(plan, Purpose::Job);
    job.work_alone(own.number())?;
    answers.open(&mut job, own.number())?;
    let start = match &args.start {
        Some(text) => Some(start(text, &own, &job)?),
        None => None,
    };
    if let Some(zero) = recording.zero() {
        out.object(&json!({
            "record": "zero", "taken": true, "offset_Nm": crate::quantity::newton_meters(zero),
        }))?;
    }
    if let Some(words) = recording.zero_words() {
        match recording.zero() {
            Some(_) => out.line(words)?,
            None => out.remark(words),
        }
    }
    let mut rejected = false;
    let mut unseen = None;
    let mut count = 0_u32;
    let replay = judge(
        &mut job,
        &answers,
        own.number(),
        start,
        &recording,
        &mut |job: &Job, told: &Told| {
            count += 1;
            rejected |= told.attempt.verdict != Verdict::Accepted;
            if told.attempt.reasons.contains(Reason::RunningUnknown) {
                unseen = Some(names(job).fastener(told.joint, told.attempt.fastener));
            }
            tell_attempt(job, told, "", out)?;
            // Asked before the trace goes on: what it goes on with is not what was advised.
            if told.attempt.verdict == Verdict::Accepted {
                return Ok(());
            }
            tell_advice(job, &own, out)
        },
    );
    let replay = replay.map_err(|error: ReplayError<CommandError>| match error {
        ReplayError::Job(error) => CommandError::from(error),
        ReplayError::Recording(error) => {
            CommandError::bad(format!("{}: {error}", args.trace.display()))
        }
        ReplayError::Told(error) => error,
        ReplayError::Running(refusal) => CommandError::bad(format!(
            "--running {}: {}",
            args.running.join(", "),
            words::refusal(refusal)
        )),
    })?;
    let begins_with_turn = start
        .and_then(|step| job.joint_plan(own.number())?.procedure.stage_of(step))
        .is_some_and(|stage| matches!(stage.kind, StageKind::Turn { .. }));
    if begins_with_turn {
        out.remark(
            "the trace begins with a turn: where its torque began nobody saw, so it is not held to a rise; begin it with the stage before to have it watched",
        );
    }
    if let Some(label) = unseen {
        out.remark(format_args!(
            "the run-down of fastener {label} is not in the trace: tell its running torque, --running {label}=\"8 N·m\", or begin the trace with the run-down"
        ));
    }
    let names = names(&job);
    let unlike = job.peers(own.number());
    for peer in &unlike {
        out.object(&peers::object(&names, own.number(), peer))?;
        out.line(peers::line(&names, own.number(), peer))?;
    }
    if let Replay::Stopped { why, left } = replay {
        out.remark(format_args!("{left} samples were not judged: {why}"));
        return Ok(Done::Rejected);
    }
    if count == 0 {
        out.remark("there is no pull in it that this stage would count");
        return Ok(Done::Rejected);
    }
    Ok(Done::rejected_if(rejected))
}

/// What makes sense after the verdict that was told last.
fn tell_advice(job: &Job, own: &Joint, out: &mut Output<'_>) -> Result<(), CommandError> {
    let session = job.session(own.number());
    let Some(advice) = session.and_then(|session| session.advice()) else {
        return Ok(());
    };
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
    }))
}

/// Reads a trace file, or standard input for `-`, and takes its zero off.
pub(super) fn recording(path: &Path) -> Result<Recording, CommandError> {
    let read = if path.as_os_str() == "-" {
        trace_file::read(BufReader::new(io::stdin().lock()))
    } else {
        let file = File::open(path).map_err(|error| CommandError::file("read", path, &error))?;
        trace_file::read(BufReader::new(file))
    };
    let samples =
        read.map_err(|error| CommandError::bad(format!("{}: {error}", path.display())))?;
    Recording::new(samples)
        .map_err(|error| CommandError::bad(format!("{}: {error}", path.display())))
}

/// A running torque told for a fastener.
fn running(text: &str, own: &Joint) -> Result<(u8, Torque), CommandError> {
    let from = format!("--running {text}");
    let Some((label, typed)) = text.split_once('=') else {
        return Err(CommandError::bad(format!(
            "{from}: allowed is FASTENER=TORQUE, like 4=\"8 N·m\""
        )));
    };
    let typed =
        torque(typed.trim()).map_err(|error| CommandError::bad(format!("{from}: {error}")))?;
    Ok((fastener(own, label.trim(), &from)?, typed.torque()))
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
    let step = plan
        .procedure
        .numbered_steps()
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
