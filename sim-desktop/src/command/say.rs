//! `evendraw say`: what is to be kept beside torque, from a terminal: a task done, a part come, a line not to be forgotten.
//!
//! Knows nothing of what becomes of it.

use std::path::PathBuf;
use std::time::{SystemTime, UNIX_EPOCH};

use clap::{Args as ClapArgs, Subcommand, ValueEnum};
use evendraw_core::unit::Instant;
use serde_json::json;

use super::{CommandError, Done, Output};
use crate::job::Job;
use crate::store::{Became, PartState, Purpose, read};

/// Keeps in a journal that a task is done, how it is with a part, or a line not to be forgotten.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw say pump7.journal task drain --name \"R. Falk\"\n  \
        evendraw say pump7.journal task strainer-oil --said \"half a litre\" --name \"R. Falk\"\n  \
        evendraw say pump7.journal part \"lip seal\" ordered --said \"harbour stores, for the 20th\"\n  \
        evendraw say pump7.journal remind \"order two M6 clips\" --for head\n  \
        evendraw say pump7.journal reminder 1 part --said \"M6 clip\"\n\n\
        The build is not complete with a task, a part or a reminder open.")]
pub(super) struct Args {
    /// The journal.
    journal: PathBuf,
    /// Who says so.
    #[arg(long, global = true, value_name = "NAME", default_value = "")]
    name: String,
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// A task is done, or to be done again.
    Task {
        /// Its id.
        id: String,
        /// It is to be done again, and `--said` why.
        #[arg(long)]
        undone: bool,
        /// The answer to what it asks, or a remark.
        #[arg(long, value_name = "WORDS", default_value = "")]
        said: String,
    },
    /// How it is with a part.
    Part {
        /// Its name.
        part: String,
        /// How it is.
        state: State,
        /// Where and when it was ordered, what is wrong with it.
        #[arg(long, value_name = "WORDS", default_value = "")]
        said: String,
    },
    /// A line not to be forgotten.
    Remind {
        /// The line.
        text: String,
        /// Id of the joint or task it belongs to; the build where none is given.
        #[arg(long = "for", value_name = "ID", default_value = "")]
        about: String,
        /// What it holds up.
        #[arg(long, value_name = "WORDS", default_value = "")]
        holds: String,
    },
    /// A reminder is put away.
    Reminder {
        /// Its number.
        number: u32,
        /// What becomes of it.
        became: Becomes,
        /// Name of the part or title of the task it becomes; its own text where none is given.
        #[arg(long, value_name = "WORDS", default_value = "")]
        said: String,
    },
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum State {
    Needed,
    ToOrder,
    Ordered,
    Here,
    Fitted,
    Wrong,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Becomes {
    Ticked,
    Part,
    Task,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let purpose = match read(&args.journal)?.rehearsal() {
        Some(true) => Purpose::Rehearsal,
        // Where neither is known, opening it refuses.
        Some(false) | None => Purpose::Job,
    };
    let mut job = Job::open(&args.journal, purpose)?;
    if purpose == Purpose::Job
        && let Ok(since) = SystemTime::now().duration_since(UNIX_EPOCH)
        && let Ok(seconds) = i64::try_from(since.as_secs())
    {
        job.set_wall_time(seconds);
    }
    if !args.name.trim().is_empty() {
        job.remember_person(args.name.trim());
    }
    let at = Instant::BOOT;
    let told = match &args.what {
        What::Task { id, undone, said } => {
            if *undone {
                job.task_undone(id, said, at)?;
            } else {
                job.task_done(id, said, at)?;
            }
            json!({ "task": id, "done": !undone })
        }
        What::Part { part, state, said } => {
            let state = match state {
                State::Needed => PartState::Needed,
                State::ToOrder => PartState::ToOrder,
                State::Ordered => PartState::Ordered,
                State::Here => PartState::Here,
                State::Fitted => PartState::Fitted,
                State::Wrong => PartState::Wrong,
            };
            job.part_is(part, state, said, at)?;
            json!({ "part": part, "state": state.word() })
        }
        What::Remind { text, about, holds } => {
            let number = job.remind(about, text, holds, at)?;
            json!({ "reminder": number, "for": about })
        }
        What::Reminder {
            number,
            became,
            said,
        } => {
            let became = match became {
                Becomes::Ticked => Became::Ticked,
                Becomes::Part => Became::Part,
                Becomes::Task => Became::Task,
            };
            job.put_away(*number, became, said, at)?;
            json!({ "reminder": number, "open": false })
        }
    };
    out.object(&told)?;
    out.line("kept")?;
    let status = job.status();
    out.line(status.headline())?;
    Ok(Done::Good)
}
