//! `evendraw parts`: what must be ordered, as a list, a table, or a page to print.
//!
//! Knows nothing of where a part's state comes from.

use std::path::PathBuf;

use clap::Args as ClapArgs;
use serde_json::json;

use super::named::{self, Given};
use super::{CommandError, Done, Output};
use crate::job::status::{Kept, PartStatus, Status, parts_csv};
use crate::outputs::{self, Over};
use crate::sheet::parts_page;

/// Lists the parts of a build: what must be ordered, what is on its way, what is here.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw parts pump7.journal\n  \
        evendraw parts pump7.journal --order --csv > order.csv\n  \
        evendraw parts pump.toml -o parts.html\n\n\
        Of a plan alone: what it says is on order, and everything else as here. Of a journal: as was said last.")]
pub(super) struct Args {
    /// A plan or a journal.
    file: PathBuf,
    /// Only what must be ordered.
    #[arg(long)]
    order: bool,
    /// Prints a table.
    #[arg(long, conflicts_with = "output")]
    csv: bool,
    /// Writes one page to print.
    #[arg(short, long, value_name = "FILE.html")]
    output: Option<PathBuf>,
    /// Writes over a file that is no page of this program.
    #[arg(long, requires = "output")]
    force: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let status = status(args)?;
    let parts: Vec<&PartStatus> = if args.order {
        status.to_order().collect()
    } else {
        status.parts.iter().collect()
    };
    if let Some(path) = &args.output {
        let page = parts_page(&status, &parts);
        outputs::write(path, &page, Over::ours_if(args.force))?;
        out.object(&json!({ "page": path.display().to_string(), "parts": parts.len() }))?;
        out.line(format_args!("{}: {} parts", path.display(), parts.len()))?;
        return Ok(Done::Good);
    }
    if args.csv {
        if out.is_json() {
            return Err(CommandError::bad(
                "--csv and --json exclude each other; allowed is one of them",
            ));
        }
        out.raw(&parts_csv(&parts))?;
        return Ok(Done::Good);
    }
    for part in &parts {
        out.wrapped(&format!("{:<12}  ", part.state.word()), &part.line())?;
        out.object(&json!({
            "part": part.name, "number": part.number, "quantity": part.quantity, "state": part.state.word(),
            "for": part.for_joints, "said": part.said,
        }))?;
    }
    if parts.is_empty() {
        out.line(if args.order {
            "nothing must be ordered"
        } else {
            "no parts"
        })?;
    }
    Ok(Done::Good)
}

fn status(args: &Args) -> Result<Status, CommandError> {
    Ok(match named::given(&args.file)? {
        Given::Plan(plan) => Kept::before_work(&plan).status(),
        Given::Journal(journal, plan) => {
            Kept::of(&plan, &journal.content, Some(&journal.traces)).status()
        }
    })
}
