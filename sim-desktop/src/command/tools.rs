//! `evendraw tools`: the register of tools, and what was read with each.
//!
//! Knows nothing of how journals are read.

use std::path::PathBuf;

use clap::Args as ClapArgs;
use serde_json::json;

use super::shelf::{opened, tell_passed};
use super::{CommandError, Done, Output};
use crate::job::status::counted;
use crate::plan::register::{Calibration, FILE, Registered};
use crate::shelf::tools::{Read, Readings};
use crate::words;

/// Lists the tools of a shelf's register: calibrations, what each found, readings since.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw tools shop\n  \
        evendraw tools shop --history\n  \
        evendraw recall shop --tool A1 --as-found\n\n\
        The register is tools.toml in the folder or in one above it. A plan takes a tool of it by `tools = [\"A1\"]` under [build].\n\
        Status 1 when the calibration of a tool has run out, or when something on the shelf could not be read, or not all of it.")]
pub(super) struct Args {
    /// The folder of builds.
    shelf: PathBuf,
    /// Every calibration of each tool, not the last one alone.
    #[arg(long)]
    history: bool,
    /// Reads every journal anew and keeps no index files.
    #[arg(long)]
    anew: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let shelf = opened(&args.shelf, args.anew)?;
    let register = shelf
        .register()
        .map_err(CommandError::pointed)?
        .ok_or_else(|| {
            CommandError::bad(format!(
                "{}: no register of tools; wanted is {FILE} in this folder or in one above it",
                args.shelf.display()
            ))
        })?;
    let mut readings = Readings::default();
    let mut passed = shelf.passed().to_vec();
    let done: Result<(), std::convert::Infallible> = shelf.read(|read| {
        passed.extend(read.passed);
        if let Some(build) = &read.build {
            readings.take(&register, build);
        }
        Ok(())
    });
    match done {
        Ok(()) => {}
    }
    let mut overdue = 0;
    for own in register.tools() {
        let read = readings.of(&own.tool.id);
        let is_overdue = own.tool.is_overdue(shelf.today());
        overdue += usize::from(is_overdue);
        out.object(&object(own, &read, is_overdue))?;
        tell(own, &read, is_overdue, args.history, out)?;
    }
    for (id, read) in readings.unregistered(&register) {
        out.object(&json!({
            "record": "tool",
            "tool": id,
            "registered": false,
            "readings": read.all,
            "builds": read.builds,
            "last_used": words::utc(read.last),
        }))?;
        out.line(format_args!(
            "{id:<6} not in the register; {} on {}, the last {}",
            counted(read.all, "reading"),
            counted(read.builds, "build"),
            words::wall_time(read.last)
        ))?;
    }
    out.line(format_args!(
        "{} in {}; the calibration of {overdue} has run out",
        counted(register.tools().len(), "tool"),
        register.path().display()
    ))?;
    tell_passed(&passed, out);
    Ok(Done::rejected_if(overdue > 0 || !passed.is_empty()))
}

/// A tool in a few lines.
fn tell(
    own: &Registered,
    read: &Read,
    is_overdue: bool,
    history: bool,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let tool = &own.tool;
    let mut head = format!("{:<6} {}", tool.id, tool.kind.word());
    for part in [tool.title.as_deref(), Some(tool.capacity_text.as_str())] {
        if let Some(part) = part.filter(|part| !part.is_empty()) {
            head.push_str(&format!(", {part}"));
        }
    }
    out.line(head)?;
    if own.calibrations.is_empty() {
        out.line(format_args!("       no calibration is written down"))?;
    }
    for (at, calibration) in own.calibrations.iter().rev().enumerate() {
        if at > 0 && !history {
            let more = own.calibrations.len() - 1;
            out.line(format_args!(
                "       {} before: --history lists them",
                counted(more, "calibration")
            ))?;
            break;
        }
        out.line(format_args!(
            "       {}",
            sentence(calibration, at == 0 && is_overdue)
        ))?;
    }
    let mut words = format!(
        "{} since, {} in all on {}, the last {}",
        counted(read.since, "reading"),
        read.all,
        counted(read.builds, "build"),
        words::wall_time(read.last)
    );
    if read.all == 0 {
        words = "never used on this shelf".to_owned();
    }
    if read.after_due > 0 {
        words.push_str(&format!("; {} after it was due", read.after_due));
    }
    if read.untimed > 0 {
        words.push_str(&format!("; the time of {} is unknown", read.untimed));
    }
    out.line(format_args!("       {words}"))
}

fn sentence(own: &Calibration, is_overdue: bool) -> String {
    let mut words = format!("calibrated {}", own.date);
    if let Some(number) = &own.certificate {
        words.push_str(&format!(", certificate {number}"));
    }
    match &own.as_found {
        Some(found) => words.push_str(&format!(", found {}", found.trim())),
        None => words.push_str(", what it found is not written down"),
    }
    match own.due {
        Some(due) if is_overdue => words.push_str(&format!(", EXPIRED on {due}")),
        Some(due) => words.push_str(&format!(", due {due}")),
        None => words.push_str(", no due date"),
    }
    if let Some(note) = &own.note {
        words.push_str(&format!(" ({note})"));
    }
    words
}

fn object(own: &Registered, read: &Read, is_overdue: bool) -> serde_json::Value {
    let tool = &own.tool;
    let list = |own: &Calibration| {
        json!({
            "date": own.date.to_string(),
            "due": own.due.map(|day| day.to_string()),
            "as_found_ppm": own.as_found_ppm,
            "certificate": own.certificate,
            "note": own.note,
        })
    };
    json!({
        "record": "tool",
        "tool": tool.id,
        "registered": true,
        "kind": tool.kind.word(),
        "title": tool.title,
        "calibrated": tool.calibrated.map(|day| day.to_string()),
        "due": tool.due.map(|day| day.to_string()),
        "expired": is_overdue,
        "certificate": tool.certificate,
        "as_found_ppm": own.calibrations.last().and_then(|own| own.as_found_ppm),
        "readings_since": read.since,
        "readings": read.all,
        "readings_after_due": read.after_due,
        "readings_untimed": read.untimed,
        "builds": read.builds,
        "last_used": words::utc(read.last),
        "calibrations": own.calibrations.iter().map(list).collect::<Vec<_>>(),
    })
}
