//! `evendraw history`: what like joints showed over a folder of builds, and a joint beside its forerunners.
//!
//! Knows nothing of how journals are read.

use std::path::PathBuf;

use clap::Args as ClapArgs;
use evendraw_core::peers::What;
use serde_json::{Value, json};

use super::named::journal;
use super::shelf::{opened, tell_passed};
use super::{CommandError, Done, Output};
use crate::job::status::counted;
use crate::peers;
use crate::shelf::history::{
    Group, History, Like, Section, Spread, counts, sections, shown, what_words,
};

/// Parts of a distribution as it is printed.
const PARTS: usize = 24;

/// Shows what like joints showed over a folder of builds: rotation since snug, torque at the end of a turn, running torque.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw history shop --filter \"M10 oiled\"\n  \
        evendraw history shop --journal shop/pump-8/pump.evj\n\n\
        Like are joints with the same thread, class, grip and condition, at a stage with the same windows up to there. Rehearsals and\n\
        builds of invented values are left out. With --journal, each fastener of that build is put beside those of its joint and of\n\
        every like joint before: status 1 when one is unlike them.")]
pub(super) struct Args {
    /// The folder of builds.
    shelf: PathBuf,
    /// Only joints and stages that have all of these words.
    #[arg(long, value_name = "WORDS", default_value = "")]
    filter: String,
    /// Puts the joints of this build beside their forerunners.
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// Reads every journal anew and keeps no index files.
    #[arg(long)]
    anew: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let own = args.journal.as_deref().map(journal).transpose()?;
    let shelf = opened(&args.shelf, args.anew)?.with_history();
    let mut history = History::default();
    let mut passed = shelf.passed().to_vec();
    let done: Result<(), std::convert::Infallible> = shelf.read(|read| {
        passed.extend(read.passed);
        history.take(&read.found.path, &read.history);
        Ok(())
    });
    match done {
        Ok(()) => {}
    }
    let found = match own {
        None => {
            every(args, &history, out)?;
            false
        }
        Some(own) => {
            let Some(plan) = &own.plan else {
                return Err(CommandError::bad(format!(
                    "{}: the plan in this journal is lost or does not read",
                    own.name
                )));
            };
            beside(args, &history, &sections(&own.content, plan), out)?
        }
    };
    tell_passed(&passed, out);
    Ok(Done::rejected_if(found || !passed.is_empty()))
}

/// Whether every word stands somewhere in the texts.
fn holds(words: &str, texts: [&str; 3]) -> bool {
    let text = texts.join(" ").to_lowercase();
    let words = words.to_lowercase();
    words.split_whitespace().all(|word| text.contains(word))
}

/// Every group.
fn every(args: &Args, history: &History, out: &mut Output<'_>) -> Result<(), CommandError> {
    let mut number = 0;
    let mut heading = None;
    for (like, group) in history.groups() {
        let what = what_words(like.what());
        if !holds(&args.filter, [&group.joint, &group.sentence, what]) {
            continue;
        }
        let sorted = group.values(None);
        let Some(spread) = Spread::of(&sorted) else {
            continue;
        };
        number += 1;
        out.object(&object(like, group, &sorted, spread))?;
        if heading != Some(&group.joint) {
            out.line(&group.joint)?;
            heading = Some(&group.joint);
        }
        tell(like, group, &sorted, spread, out)?;
    }
    out.line(format_args!(
        "{} of {}",
        counted(number, "distribution"),
        history.groups().count()
    ))
}

fn tell(
    like: &Like,
    group: &Group,
    sorted: &[i32],
    spread: Spread,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let what = like.what();
    out.line(format_args!(
        "  stage {}, {}: {} of {} in {}",
        u32::from(like.stage) + 1,
        group.sentence,
        what_words(what),
        counted(sorted.len(), "fastener"),
        counted(group.builds(), "build"),
    ))?;
    out.line(format_args!(
        "    {}  |{}|  {}",
        shown(what, spread.least),
        bars(sorted),
        shown(what, spread.most)
    ))?;
    out.line(format_args!(
        "    middle {}; 90 of 100 from {} to {}",
        shown(what, spread.median),
        shown(what, spread.low),
        shown(what, spread.high)
    ))
}

/// A distribution in blocks, the fullest part eight eighths high.
fn bars(sorted: &[i32]) -> String {
    const BLOCKS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let counts = counts(sorted, PARTS);
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    // What is there at all is seen.
    let block = |count: usize| BLOCKS.get((count * 8).div_ceil(most)).copied();
    counts.into_iter().filter_map(block).collect()
}

fn scaled(value: i32) -> f64 {
    f64::from(value) / 1_000.0
}

fn object(like: &Like, group: &Group, sorted: &[i32], spread: Spread) -> Value {
    json!({
        "record": "distribution",
        "joint": group.joint,
        "stage": u32::from(like.stage) + 1,
        "sentence": group.sentence,
        "what": peers::key(like.what()),
        "values": sorted.len(),
        "builds": group.builds(),
        "least": scaled(spread.least),
        "low": scaled(spread.low),
        "median": scaled(spread.median),
        "high": scaled(spread.high),
        "most": scaled(spread.most),
        "counts": counts(sorted, PARTS),
    })
}

/// The joints of one build beside their forerunners; whether a fastener is unlike them.
fn beside(
    args: &Args,
    history: &History,
    sections: &[Section],
    out: &mut Output<'_>,
) -> Result<bool, CommandError> {
    let own = args.journal.as_deref();
    let on_shelf = own.and_then(|own| history.journal(own));
    let (mut compared, mut found) = (0, 0);
    for section in sections {
        let what: What = section.like.what();
        if !holds(
            &args.filter,
            [&section.joint, &section.sentence, what_words(what)],
        ) {
            continue;
        }
        let before = history.before(&section.like, on_shelf);
        let stage = u32::from(section.like.stage) + 1;
        let Some(spread) = Spread::of(&before) else {
            out.line(format_args!(
                "{}, stage {stage}: {}: no like joint before",
                section.id,
                what_words(what)
            ))?;
            continue;
        };
        compared += 1;
        let unlike = history.unlike(section, on_shelf);
        found += unlike.len();
        out.line(format_args!(
            "{}, stage {stage}: {} of {} like {} before: middle {}, 90 of 100 from {} to {}",
            section.id,
            what_words(what),
            counted(section.values.len(), "fastener"),
            before.len(),
            shown(what, spread.median),
            shown(what, spread.low),
            shown(what, spread.high)
        ))?;
        for (fastener, value) in &section.values {
            let median = unlike.iter().find(|one| one.0 == fastener).map(|one| one.2);
            out.object(&json!({
                "record": "forerunners",
                "joint": section.id,
                "fastener": fastener,
                "stage": stage,
                "what": peers::key(what),
                "value": scaled(*value),
                "before": before.len(),
                "low": scaled(spread.low),
                "median": scaled(median.unwrap_or(spread.median)),
                "high": scaled(spread.high),
                "unlike": median.is_some(),
            }))?;
            if let Some(median) = median {
                out.line(format_args!(
                    "  fastener {fastener}: UNLIKE ITS FORERUNNERS: {}, they {}",
                    shown(what, *value),
                    shown(what, median)
                ))?;
            }
        }
    }
    out.line(format_args!(
        "{} compared; {} unlike {} forerunners",
        counted(compared, "distribution"),
        counted(found, "value"),
        if found == 1 { "its" } else { "their" }
    ))?;
    Ok(found > 0)
}
