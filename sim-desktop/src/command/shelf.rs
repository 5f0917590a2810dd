//! `evendraw shelf`: every build in a folder, and how each stands.
//!
//! Knows nothing of how journals are read.

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;
use serde_json::json;

use super::{CommandError, Done, Output};
use crate::job::status::counted;
use crate::shelf::table::{Row, Sort, holds, sort};
use crate::shelf::{Passed, Shelf};
use crate::words;

/// Lists a folder of builds: how each stands, when it was worked last, what it waits for.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw shelf shop\n  \
        evendraw shelf shop --sort worked --filter \"pump 7\"\n  \
        evendraw shelf shop --json | jq 'select(.retorques > 0)'\n\n\
        A build is a journal (*.evj, *.journal) in the folder or below it, or a plan that no journal was begun for.\n\
        What is read is kept in .evendraw-shelf, a small file for each build, to be quick the next time; it may be deleted.")]
pub(super) struct Args {
    /// The folder of builds.
    shelf: PathBuf,
    /// By what the builds are listed.
    #[arg(long, value_enum, default_value_t = Sort::Name)]
    sort: Sort,
    /// Only builds that have all of these words somewhere in their row.
    #[arg(long, value_name = "WORDS", default_value = "")]
    filter: String,
    /// Rehearsals too.
    #[arg(long)]
    rehearsals: bool,
    /// Reads every journal anew and keeps no index files.
    #[arg(long)]
    anew: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let shelf = opened(&args.shelf, args.anew)?;
    let (rows, passed, rehearsals) = rows(&shelf, args.rehearsals)?;
    let mut rows: Vec<Row> = rows
        .into_iter()
        .filter(|row| holds(row, &args.filter))
        .collect();
    sort(&mut rows, args.sort, false);
    let width = rows
        .iter()
        .map(|row| row.name.chars().count())
        .max()
        .unwrap_or(0)
        .min(32);
    for row in &rows {
        out.object(&object(row))?;
        let what = if row.unit.is_empty() {
            &row.title
        } else {
            &row.unit
        };
        out.line(format_args!(
            "{:<width$}  {:<11} {:>4} %  {:<16}  {what}",
            row.name,
            row.standing.mark.word(),
            row.percent(),
            row.worked(),
        ))?;
        if !row.not_work.is_empty() {
            out.wrapped(&format!("{:<width$}    ", ""), &row.not_work)?;
        }
        for waits in row.waits() {
            out.wrapped(&format!("{:<width$}    ", ""), &waits)?;
        }
    }
    let mut sum = format!(
        "{} of {}",
        rows.len(),
        counted(shelf.found().len(), "build")
    );
    if rehearsals > 0 && !args.rehearsals {
        sum.push_str(&format!("; {} left out", counted(rehearsals, "rehearsal")));
    }
    out.line(sum)?;
    tell_passed(&passed, out);
    Ok(Done::Good)
}

/// Every build as a row, what is to be said aloud, and how many rehearsals there are.
fn rows(
    shelf: &Shelf,
    with_rehearsals: bool,
) -> Result<(Vec<Row>, Vec<Passed>, usize), CommandError> {
    let register = shelf.register().map_err(CommandError::pointed)?;
    let (mut rows, mut rehearsals) = (Vec::new(), 0);
    let mut passed = shelf.passed().to_vec();
    let done: Result<(), std::convert::Infallible> = shelf.read(|read| {
        passed.extend(read.passed);
        if let Some(build) = &read.build {
            rehearsals += usize::from(build.rehearsal);
            if with_rehearsals || !build.rehearsal {
                rows.push(Row::of(
                    &read.found,
                    build,
                    register.as_ref(),
                    shelf.today(),
                ));
            }
        }
        Ok(())
    });
    match done {
        Ok(()) => Ok((rows, passed, rehearsals)),
    }
}

fn object(row: &Row) -> serde_json::Value {
    let own = &row.standing;
    json!({
        "record": "build",
        "build": row.name,
        "title": row.title,
        "unit": row.unit,
        "document": row.document,
        "state": own.mark.word(),
        "standing": own.words,
        "done": own.done,
        "steps": own.steps,
        "last_worked": words::utc(own.last_worked),
        "next": own.next,
        "open": own.open,
        "retorques": own.retorques.len(),
        "doubts": own.doubts.len(),
        "expired_tools": own.expired,
        "waiting_parts": own.parts,
        "rehearsal": row.rehearsal,
    })
}

/// The shelf that a command is given.
pub(super) fn opened(folder: &Path, anew: bool) -> Result<Shelf, CommandError> {
    let shelf = Shelf::open(folder).map_err(|error| CommandError::file("list", folder, &error))?;
    Ok(if anew { shelf.without_index() } else { shelf })
}

/// Names aloud what could not be read, or not all of it.
pub(super) fn tell_passed(passed: &[Passed], out: &mut Output<'_>) {
    for one in passed {
        out.remark(format_args!("{}: {}", one.name, one.why));
    }
}
