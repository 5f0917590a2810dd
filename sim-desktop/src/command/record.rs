//! `evendraw record`: lists and exports a journal, and says what of it was torn or damaged.
//!
//! Knows nothing of frames.

mod audit;

use std::path::PathBuf;

use clap::Args as ClapArgs;
use serde_json::json;

use super::named;
use super::{CommandError, Done, Output};
use crate::job::status::telling::{csv, objects};
use crate::job::status::{Names, names, rows};
use crate::store::Damage;

/// Lists a journal, exports it, says what was torn or damaged.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw record pump7.journal\n  \
        evendraw record pump7.journal --csv > pump7.csv\n  \
        evendraw record pump7.journal --audit\n  \
        evendraw record pump7.journal --json | jq 'select(.record == \"attempt\" and .verdict != \"accepted\")'\n\n\
        Reading changes nothing. Status 1 when a stretch in the middle of the journal is damaged.")]
pub(super) struct Args {
    /// The journal.
    journal: PathBuf,
    /// Prints a table with a row for each record.
    #[arg(long)]
    csv: bool,
    /// Judges every attempt again by today's rules, looks for its kept curve, and reports differences. Changes nothing.
    #[arg(long, conflicts_with = "csv")]
    audit: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    if args.csv && out.is_json() {
        return Err(CommandError::bad(
            "--csv and --json exclude each other; allowed is one of them",
        ));
    }
    let journal = named::journal(&args.journal)?;
    let names = journal
        .plan
        .as_ref()
        .map_or_else(Names::new, |plan| names(plan, &journal.content.facts));
    if journal.plan.is_none() {
        out.remark("the plan in this journal is lost or does not read; joints and fasteners are told by number");
    }
    if let Some(lost) = journal.content.beginning_lost() {
        out.object(&json!({ "record": "beginning-lost", "rehearsal": journal.content.rehearsal(), "why": lost }))?;
        out.remark(lost);
    }
    if let Some(plan) = journal.plan.as_ref().filter(|_| !args.csv) {
        out.speaks_of(plan)?;
    }
    if args.audit {
        return audit::run(&journal, &names, out);
    }
    let facts = &journal.content.facts;
    if args.csv {
        for row in csv(&names, facts) {
            out.raw(&format!("{row}\n"))?;
        }
    } else if out.is_json() {
        for object in objects(&names, journal.plan.as_ref(), facts) {
            out.object(&object)?;
        }
    } else {
        for row in rows(
            facts,
            journal.content.rehearsal().unwrap_or(false),
            &names,
            journal.plan.as_ref(),
        ) {
            let number = if row.joint.is_empty() {
                "-".to_owned()
            } else {
                row.number.to_string()
            };
            let sure = match row.sure.as_str() {
                "" => String::new(),
                sure => format!(" [{sure}]"),
            };
            let (joint, time) = (&row.joint, &row.time);
            let words = match row.is_put_right {
                true => format!("[struck through, {}] {}", row.put_right, row.words),
                false => row.words.clone(),
            };
            let line = format!("{number:>5}  {joint:<12} {time:<22} {words}{sure}");
            out.line(line.trim_end())?;
        }
    }
    if let Some(plan) = journal.plan.as_ref().filter(|_| !args.csv) {
        named::tell_peers(plan, &journal.content, &names, out)?;
    }
    for damage in &journal.content.damage {
        tell_damage(damage, args.csv, out)?;
    }
    Ok(Done::rejected_if(
        journal.content.damage.iter().any(|damage| !damage.torn),
    ))
}

fn tell_damage(damage: &Damage, is_table: bool, out: &mut Output<'_>) -> Result<(), CommandError> {
    let word = if damage.torn { "TORN" } else { "DAMAGED" };
    let text = format!(
        "{word}: bytes {} to {}: {}",
        damage.from, damage.to, damage.why
    );
    out.object(&json!({
        "record": "damage", "torn": damage.torn, "from": damage.from, "to": damage.to, "why": damage.why,
    }))?;
    if is_table || out.is_json() {
        out.remark(text);
        return Ok(());
    }
    out.line(text)
}
