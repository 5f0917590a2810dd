//! `evendraw recent`: the builds opened lately at the desk or worked in a terminal, and how far each is.
//!
//! Knows nothing of how the list is kept.

use clap::Args as ClapArgs;
use jiff::Zoned;
use serde_json::json;

use super::{CommandError, Done, Output};
use crate::job::status::counted;
use crate::recent::Recent;
use crate::words;

/// Lists the builds opened lately, at the desk or by `work`: title, unit, when last worked, how far.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw recent\n  \
        evendraw \"$(evendraw recent --json | jq -r 'select(.gone | not) | .plan' | head -1)\"\n\n\
        The list holds names alone: what is said of a build is read from its plan and its journal. A build that was moved is told as gone\n\
        until it is opened at its new place. Work whose journal does not lie beside its plan is not on it.")]
pub(super) struct Args {}

/// Runs the command.
pub(super) fn run(_args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let now = Zoned::now();
    let seen = Recent::of_this_user().seen(now.date());
    for own in &seen {
        out.line(own.what())?;
        out.line(format_args!(
            "    {}",
            own.line(now.timestamp().as_second())
        ))?;
        if own.how.is_some() {
            out.line(format_args!("    {}", own.plan.display()))?;
        }
        let how = own.how.as_ref();
        out.object(&json!({
            "plan": own.plan.display().to_string(), "title": own.title, "unit": own.unit, "gone": !own.plan.exists(),
            "state": how.map(|how| how.mark.word()), "percent": how.map(|how| how.percent),
            "rehearsal": how.map(|how| how.rehearsal), "next": how.map(|how| how.next.as_str()),
            "worked": how.and_then(|how| words::utc(how.worked)), "why": own.why,
        }))?;
    }
    if seen.is_empty() {
        out.line("no build was opened or worked yet")?;
    } else {
        out.line(format_args!("{}", counted(seen.len(), "build")))?;
    }
    Ok(Done::Good)
}
