//! `evendraw export`: a shelf of builds as tables for any engine.
//!
//! Knows nothing of tables and files.

use std::path::PathBuf;

use clap::Args as ClapArgs;
use serde_json::json;

use super::shelf::{opened, tell_passed};
use super::{CommandError, Done, Output};
use crate::job::status::counted;
use crate::shelf::export::{ExportError, Format, export};

/// Writes a folder of builds as tables, in Parquet files for any engine; only what is new, and nothing is ever changed.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw export shop --parquet tables\n  \
        duckdb -c \"select count(*) from read_parquet('tables/attempts/*/*.parquet', hive_partitioning = true)\"\n\n\
        The tables are builds, joints, fasteners, attempts, facts and curves, in a folder for each year; SCHEMA.md, of which a copy is\n\
        put beside them, has every column and ready queries. Run again, it adds what is new and leaves every file as it was.\n\
        Status 1 when something on the shelf could not be read, or not all of it.")]
pub(super) struct Args {
    /// The folder of builds.
    shelf: PathBuf,
    /// The folder for the tables, as Parquet files.
    #[arg(long, value_name = "FOLDER", required_unless_present = "csv")]
    parquet: Option<PathBuf>,
    /// The folder for the tables, as comma-separated values.
    #[arg(long, value_name = "FOLDER", conflicts_with = "parquet")]
    csv: Option<PathBuf>,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let (to, format) = match (&args.parquet, &args.csv) {
        (Some(to), _) => (to, Format::Parquet),
        (None, Some(to)) => (to, Format::Csv),
        (None, None) => return Err(CommandError::bad("export to where? --parquet FOLDER")),
    };
    let shelf = opened(&args.shelf, false)?;
    let done = export(&shelf, to, format)?;
    if done.cleared > 0 {
        out.remark(format_args!(
            "{} of a run that was cut short taken away",
            counted(done.cleared, "file")
        ));
    }
    if done.builds == 0 {
        out.line(format_args!(
            "{}: nothing is new in {}",
            to.display(),
            counted(done.unchanged, "build")
        ))?;
    } else {
        let rows: Vec<String> = done
            .rows
            .iter()
            .map(|(table, rows)| format!("{table} {rows}"))
            .collect();
        out.line(format_args!(
            "{}: run {}, {} with something new, {} without; rows: {}; {} bytes in {}",
            to.display(),
            done.run,
            counted(done.builds, "build"),
            done.unchanged,
            rows.join(", "),
            done.bytes,
            counted(done.files, "file")
        ))?;
    }
    out.object(&json!({
        "record": "export",
        "run": done.run,
        "builds": done.builds,
        "unchanged": done.unchanged,
        "rows": done.rows,
        "bytes": done.bytes,
        "files": done.files,
        "passed_over": done.passed.len(),
    }))?;
    tell_passed(&done.passed, out);
    Ok(Done::rejected_if(!done.passed.is_empty()))
}

impl From<ExportError> for CommandError {
    fn from(error: ExportError) -> Self {
        Self::bad(error.to_string())
    }
}
