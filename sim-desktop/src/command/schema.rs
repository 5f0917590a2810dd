//! `evendraw schema`: the JSON Schema of the plan file, for editors.
//!
//! Knows nothing of plans themselves.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::{CommandError, Done, Output};
use crate::outputs::{self, Over};
use crate::plan::schema;

/// Writes the JSON Schema of the plan file, by which an editor completes and checks while typing.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw schema > evendraw-plan.schema.json\n  \
        evendraw schema -o evendraw-plan.schema.json\n\n\
        An editor that knows TOML takes it from a first line `#:schema ./evendraw-plan.schema.json` in the plan.")]
pub(super) struct Args {
    /// Where to write it; to stdout when not given.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replaces an earlier output of this program; nothing else is ever written over.
    #[arg(long, requires = "output")]
    force: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let text = format!("{:#}\n", schema::schema());
    match &args.output {
        Some(path) => outputs::write(path, &text, Over::ours_if(args.force))?,
        None => out.raw(&text)?,
    }
    Ok(Done::Good)
}
