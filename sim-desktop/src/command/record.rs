//! `evendraw record`: lists and exports a journal, and says what of it was torn or damaged.
//!
//! Knows nothing of frames.

mod audit;

use std::path::PathBuf;

use clap::Args as ClapArgs;
use evendraw_core::record::{Entry, Record};
use serde_json::{Value, json};

use super::named;
use super::{CommandError, Done, Output};
use crate::sheet::export::{CSV_HEADER, Names, csv_row, line, object};
use crate::sheet::{names, plan_of};
use crate::store::{Damage, Fact, HostFact};
use crate::uncertainty::{Judged, judged_in};
use crate::words;

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
        .map_or_else(Names::new, |plan| names(plan, &journal.content));
    if journal.plan.is_none() {
        out.remark("the plan in this journal is lost or does not read; joints and fasteners are told by number");
    }
    if let Some(plan) = journal.plan.as_ref().filter(|_| !args.csv) {
        out.speaks_of(plan)?;
    }
    if args.audit {
        return audit::run(&journal, &names, out);
    }
    if args.csv {
        out.raw(&format!("{CSV_HEADER}\n"))?;
        for entry in journal.content.entries() {
            out.raw(&format!("{}\n", csv_row(&names, entry)))?;
        }
    } else {
        for fact in &journal.content.facts {
            tell(fact, &names, &journal, out)?;
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

fn tell(
    fact: &Fact,
    names: &Names,
    journal: &named::Journal,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    match fact {
        Fact::Entry(entry) => {
            let judged = judged(entry, journal);
            let mut object = object(names, entry);
            if let Some(judged) = judged {
                judged.add_to(&mut object);
            }
            out.object(&object)?;
            let seconds = entry.at.micros() / 1_000_000;
            let when = match journal.content.anchor(entry.joint, entry.boot) {
                Some(zero) => words::wall_time(
                    i64::try_from(seconds)
                        .ok()
                        .and_then(|since| zero.checked_add(since)),
                ),
                None => format!("start {} +{}", entry.boot, words::seconds(seconds)),
            };
            out.line(format_args!(
                "{:>5}  {:<12} {when:<22} {}{}",
                entry.seq,
                names.joint(entry.joint),
                line(names, entry),
                judged.map_or_else(String::new, |judged| format!(" [{}]", judged.words()))
            ))
        }
        Fact::Host(fact) => {
            let Some((object, text)) = host(fact, names) else {
                return Ok(());
            };
            out.object(&object)?;
            out.line(format_args!("    -  {text}"))
        }
    }
}

/// How sure the torque of an attempt is.
fn judged(entry: &Entry, journal: &named::Journal) -> Option<Judged> {
    let Record::Attempt(attempt) = &entry.record else {
        return None;
    };
    let plan = journal.plan.as_ref()?;
    let joint = plan.joints().get(usize::from(entry.joint))?;
    let entries = journal
        .content
        .entries()
        .filter(|other| other.joint == entry.joint);
    let own = plan_of(&journal.content, joint);
    judged_in(plan, own, entries, (entry.seq, attempt))
}

/// A fact of the desktop as object and line; the pieces of the plan's text are not listed.
fn host(fact: &HostFact, names: &Names) -> Option<(Value, String)> {
    Some(match fact {
        HostFact::Opened {
            rehearsal,
            plan_name,
            ..
        } => (
            json!({ "record": "opened", "rehearsal": rehearsal, "plan": plan_name }),
            format!(
                "journal of a {}, plan {plan_name}",
                if *rehearsal { "REHEARSAL" } else { "job" }
            ),
        ),
        HostFact::PlanChanged { plan_name, .. } => (
            json!({ "record": "plan-changed", "plan": plan_name }),
            format!("from here on to another text of the plan, {plan_name}"),
        ),
        HostFact::Variant {
            joint,
            question,
            answer,
        } => (
            json!({ "record": "variant", "joint": names.joint(*joint), "question": question, "answer": answer }),
            format!("{}: {question}: {answer}", names.joint(*joint)),
        ),
        HostFact::PartArrived { part } => (
            json!({ "record": "part", "part": part, "here": true }),
            format!("part is here: {part}"),
        ),
        HostFact::PartMissing { part } => (
            json!({ "record": "part", "part": part, "here": false }),
            format!("part is NOT here: {part}"),
        ),
        HostFact::Handover { text } => (
            json!({ "record": "handover", "text": text }),
            format!("handover: {text}"),
        ),
        HostFact::Clamp {
            joint,
            fastener,
            stage,
            newtons,
        } => (
            json!({
                "record": "clamp", "joint": names.joint(*joint), "fastener": names.fastener(*joint, *fastener),
                "stage": u32::from(*stage) + 1, "clamp_kN": f64::from(*newtons) / 1_000.0,
            }),
            format!(
                "{}: fastener {} clamps {:.1} kN on the bench after stage {}",
                names.joint(*joint),
                names.fastener(*joint, *fastener),
                f64::from(*newtons) / 1_000.0,
                u32::from(*stage) + 1
            ),
        ),
        HostFact::Geometry {
            joint,
            lever_um,
            offset_um,
            angle_mdeg,
        } => (
            json!({
                "record": "geometry", "joint": names.joint(*joint), "lever_mm": f64::from(*lever_um) / 1_000.0,
                "offset_mm": f64::from(*offset_um) / 1_000.0, "angle_deg": f64::from(*angle_mdeg) / 1_000.0,
            }),
            format!(
                "{}: lever {:.1} mm, offset {:.1} mm, angle {:.1}°",
                names.joint(*joint),
                f64::from(*lever_um) / 1_000.0,
                f64::from(*offset_um) / 1_000.0,
                f64::from(*angle_mdeg) / 1_000.0
            ),
        ),
        HostFact::AtAdapter { joint, serial } => (
            json!({ "record": "at-adapter", "joint": names.joint(*joint), "serial": serial }),
            if serial.is_empty() {
                format!("{}: worked at the desk again", names.joint(*joint))
            } else {
                format!("{}: worked at adapter {serial}", names.joint(*joint))
            },
        ),
        HostFact::Plan { .. } => return None,
    })
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
