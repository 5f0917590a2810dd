//! `evendraw paper`: types back what was ticked by hand on a working sheet.
//!
//! Knows nothing of what becomes of it; it stays marked as unmeasured.

use std::path::PathBuf;
use std::time::{SystemTime, UNIX_EPOCH};

use clap::Args as ClapArgs;
use evendraw_core::record::Role;
use evendraw_core::session::Input;
use evendraw_core::unit::Instant;
use serde_json::json;

use super::named::{fastener, joint, names, put_beside_forerunners, stage};
use super::value::{TypedTorque, torque};
use super::{CommandError, Done, Output};
use crate::job::Job;
use crate::job::status::telling::{line, object};
use crate::store::{Purpose, read};
use crate::words;

/// Types back a box ticked on a working sheet: recorded as from paper, unmeasured.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw paper pump7.journal --joint manifold --fastener 3 --stage 1 --name \"R. Falk\"\n  \
        evendraw paper pump7.journal --joint impeller --fastener 1 --running \"8 N·m\"\n\n\
        The record says that nothing was measured; the sheet lists it among the exceptions.")]
pub(super) struct Args {
    /// The journal.
    journal: PathBuf,
    /// The joint; not needed where the plan has only one.
    #[arg(long, value_name = "JOINT")]
    joint: Option<String>,
    /// The fastener's label.
    #[arg(long, value_name = "FASTENER")]
    fastener: String,
    /// The stage, counted from 1.
    #[arg(
        long,
        value_name = "N",
        required_unless_present = "running",
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
    let purpose = match read(&args.journal)?.rehearsal() {
        Some(true) => Purpose::Rehearsal,
        // Where neither is known, opening it refuses.
        Some(false) | None => Purpose::Job,
    };
    let mut job = Job::open(&args.journal, purpose)?;
    put_beside_forerunners(&mut job, &args.journal, out);
    let own = joint(job.plan(), args.joint.as_deref())?.clone();
    let number = own.number();
    let label = fastener(&own, &args.fastener, "--fastener")?;
    let Some(plan) = job.joint_plan(number) else {
        return Err(CommandError::bad("--joint"));
    };
    let (input, what) = match (args.running, args.stage) {
        (Some(running), _) => (
            Input::RunningTorque {
                fastener: label,
                torque: running.torque(),
            },
            format!("fastener {}, --running {running}", args.fastener),
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
                    "--stage {number}: that stage does not touch fastener {} of {}",
                    args.fastener,
                    own.id()
                )));
            };
            (
                Input::Paper { step },
                format!("fastener {}, stage {number}", args.fastener),
            )
        }
    };
    if purpose == Purpose::Job
        && let Ok(since) = SystemTime::now().duration_since(UNIX_EPOCH)
        && let Ok(seconds) = i64::try_from(since.as_secs())
    {
        job.set_wall_time(seconds);
    }
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
