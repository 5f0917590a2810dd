//! `evendraw sheet`: the build sheet of a journal, or a working sheet to be ticked by hand.
//!
//! Knows nothing of what a sheet says.

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;
use serde_json::json;

use super::named;
use super::{CommandError, Done, Output, plan_file};
use crate::disk::folder_of;
use crate::job::status::{Item, Kept};
use crate::mark::Mark;
use crate::outputs::{self, Over};
use crate::plan::Plan;
use crate::sheet::{Sheet, blank_page, page, short_page, text};

/// Prints the build sheet: one self-contained page that prints on A4 and Letter.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw sheet pump7.journal -o pump7.html\n  \
        evendraw sheet pump7.journal --short -o pump7-owner.html\n  \
        evendraw sheet pump7.journal --text\n  \
        evendraw sheet --blank --plan pump.toml -o working.html\n\n\
        The journal carries the plan as typed, so no plan is needed; --plan only compares it with the one that was worked to.\n\
        A sheet cannot say \"complete\" while anything is open, and a rehearsal never can.\n\
        What is written on a working sheet is typed back with `evendraw paper`, or at the desk.")]
pub(super) struct Args {
    /// The journal.
    journal: Option<PathBuf>,
    /// The plan to compare with; for a working sheet, the plan to print.
    #[arg(long, value_name = "PLAN")]
    plan: Option<PathBuf>,
    /// Where to write the sheet; to standard output when not given.
    #[arg(short = 'o', long = "output", value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replaces an earlier output of this program; nothing else is ever written over.
    #[arg(long, requires = "output")]
    force: bool,
    /// As plain text.
    #[arg(long)]
    text: bool,
    /// The owner's sheet: states, exceptions, tools, and every reading beside its limits, on a few pages.
    #[arg(long, conflicts_with_all = ["text", "blank"])]
    short: bool,
    /// A working sheet: maps with a box for each fastener and stage.
    #[arg(long, conflicts_with = "text")]
    blank: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let (sheet, model) = if args.blank {
        blank(args)?
    } else {
        printed(args)?
    };
    match &args.output {
        Some(path) => {
            outputs::write(path, &sheet, Over::ours_if(args.force))?;
            let standing = if args.blank {
                "working sheet".to_owned()
            } else {
                model.headline()
            };
            out.line(format_args!("{}: {standing}", path.display()))?;
            for item in model.open.iter().filter(|_| !args.blank) {
                out.line(format_args!(
                    "  {}: {}: {}",
                    item.mark.word(),
                    item.place,
                    item.what
                ))?;
            }
            out.object(&json!({
                "sheet": path.display().to_string(),
                "complete": !args.blank && model.is_complete(),
                "standing": standing,
                "open": model.open.len(),
                "exceptions": model.exceptions.len(),
            }))?;
        }
        None => out.raw(&sheet)?,
    }
    Ok(Done::Good)
}

fn blank(args: &Args) -> Result<(String, Sheet), CommandError> {
    let model = match (&args.journal, &args.plan) {
        (Some(path), plan) => {
            let journal = named::journal(path)?;
            let name = journal.name.clone();
            blank_of(&worked_to(journal, plan.as_deref())?.1, &name, path)
        }
        (None, Some(path)) => blank_of(&plan_file::read(Some(path))?, "", path),
        (None, None) => {
            return Err(CommandError::bad(
                "sheet --blank: of which plan? allowed is --plan PLAN, or the journal of a job",
            ));
        }
    };
    Ok((blank_page(&model), model))
}

/// `beside` is the file that the pictures of the plan lie beside.
fn blank_of(plan: &Plan, journal: &str, beside: &Path) -> Sheet {
    Sheet::of(&Kept::before_work(plan), journal, None).with_pictures(plan, folder_of(beside))
}

fn printed(args: &Args) -> Result<(String, Sheet), CommandError> {
    let Some(path) = &args.journal else {
        return Err(CommandError::bad(
            "a journal is needed; for a working sheet: --blank --plan PLAN",
        ));
    };
    let journal = named::journal(path)?;
    let told = journal.content.plan();
    let (journal, plan) = worked_to(journal, args.plan.as_deref())?;
    let kept = Kept::of(&plan, &journal.content, Some(&journal.traces));
    let mut model = Sheet::of(&kept, &journal.name, Some(journal.digest));
    if !args.text && !args.short {
        model = model.with_pictures(&plan, folder_of(path));
    }
    if let Some(other) = &args.plan {
        let other = plan_file::read(Some(other))?;
        compare(
            &mut model,
            told.as_ref().map(|(_, text)| text.as_str()),
            &other,
        );
    }
    let sheet = if args.short {
        short_page(&model)
    } else if args.text {
        text(&model)
    } else {
        page(&model)
    };
    Ok((sheet, model))
}

/// The plan in the journal; where that is lost, the one given beside it.
fn worked_to(
    mut journal: named::Journal,
    given: Option<&Path>,
) -> Result<(named::Journal, Plan), CommandError> {
    let plan = match (journal.plan.take(), given) {
        (Some(plan), _) => plan,
        (None, Some(path)) => plan_file::read(Some(path))?,
        (None, None) => {
            return Err(CommandError::bad(format!(
                "{}: the plan in this journal is lost or does not read; give the plan's file with --plan",
                journal.name
            )));
        }
    };
    Ok((journal, plan))
}

/// Says where the plan given differs from the one that was worked to.
fn compare(model: &mut Sheet, worked_to: Option<&str>, given: &Plan) {
    let Some(worked_to) = worked_to else {
        let what =
            "the plan in the journal is lost; this sheet reads its records by the plan given";
        let status = &mut model.status;
        status
            .exceptions
            .push(Item::new(Mark::Doubtful, given.name(), what));
        status
            .open
            .push(Item::new(Mark::Doubtful, given.name(), what));
        return;
    };
    let (mut one, mut other) = (worked_to.lines(), given.text().lines());
    for line in 1.. {
        match (one.next(), other.next()) {
            (None, None) => return,
            (Some(one), Some(other)) if one == other => {}
            (one, other) => {
                let or = |text: Option<&str>| {
                    text.map_or("nothing".to_owned(), |text| format!("`{}`", text.trim()))
                };
                let what = format!(
                    "differs from the plan that was worked to, first at line {line}: now {}, worked to {}",
                    or(other),
                    or(one)
                );
                let status = &mut model.status;
                status
                    .exceptions
                    .push(Item::new(Mark::Doubtful, given.name(), what.clone()));
                status
                    .amendments
                    .push(Item::new(Mark::Doubtful, given.name(), what));
                return;
            }
        }
    }
}
