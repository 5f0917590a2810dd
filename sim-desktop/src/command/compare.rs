//! `evendraw compare`: which order, and how many passes, leaves a joint evenly clamped.
//!
//! Knows nothing of how a run is worked: the bench does that.

mod picture;

use std::io::IsTerminal as _;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;
use std::time::Duration;

use clap::Args as ClapArgs;
use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;

use super::pattern::{named, spots};
use super::{CommandError, Done, Output, plan_file};
use crate::bench::compare::{Ranked, Trial, compare, headline};
use crate::bench::{HandKind, JointModel};
use crate::outputs::{self, Over};
use crate::plan::{Joint, JointPlan, Order};
use crate::rehearsal::station::sketch;

/// Most passes of one trial.
const PASSES_MAX: usize = 12;
/// Most runs of one trial: an hour's work for a large joint.
const RUNS_MAX: u32 = 1_000_000;

/// Rehearses several orders and numbers of passes many times, and ranks them by how evenly they clamp and how little they tilt.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw compare pump.toml --joint head\n  \
        evendraw compare pump.toml --joint cover --orders cross,listed --passes 1,3 --runs 1000\n  \
        evendraw compare pump.toml --joint cover --orders planned --orders 1,5,3,7,2,6,4,8 --svg cover.svg\n\n\
        Scatter is the standard deviation of the clamp loads as a share of their mean, an hour after the last pass; `order alone` is what is left of it \
        with fasteners all alike and a hand without error; `tilt` is the farthest that the part above tilts on the way: the difference of closing across the joint. ± is \
        the standard error of the runs' mean; scatter and tilt each have their places (#), and those that lie within two standard errors of a difference share one: no \
        difference is shown. After the passes come the plan's own turn stages. Every trial meets the same fasteners and the same hand. A virtual bench ranks orders; it does not prove a joint: the \
        maker's order comes first. Ctrl-C stops.")]
pub(super) struct Args {
    /// The plan; the built-in demo build when none is given.
    plan: Option<PathBuf>,
    /// The joint of the plan.
    #[arg(long)]
    joint: String,
    /// Orders with commas between: planned, cross, centre-out, listed, reverse; or one order as labels with commas
    /// between. May be given several times. Default: planned, cross, centre-out, listed.
    #[arg(long, value_name = "ORDERS")]
    orders: Vec<String>,
    /// Numbers of passes with commas between.
    #[arg(long, value_name = "N,…", value_delimiter = ',', default_values_t = [1, 2, 3])]
    passes: Vec<usize>,
    /// Runs of each trial.
    #[arg(long, default_value_t = 200)]
    runs: u32,
    /// Seed of chance: the same seed gives the same figures.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Whose hand: steady, hurried or jerky.
    #[arg(long, default_value_t = HandKind::Steady)]
    hand: HandKind,
    /// Draws the ranking into this file as well.
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Replaces an earlier output of this program; nothing else is ever written over.
    #[arg(long, requires = "svg")]
    force: bool,
}

#[derive(Serialize)]
struct Conclusion<'a> {
    record: &'static str,
    joint: &'a str,
    headline: &'a str,
    turn_stages_deg: &'a [f64],
    runs: u32,
    seed: u64,
}

#[derive(Serialize)]
struct Line<'a> {
    record: &'static str,
    /// Place by scatter, shared where no difference is shown.
    rank: usize,
    /// Place by tilt, likewise.
    tilt_rank: usize,
    order: &'a str,
    passes: usize,
    fasteners: Vec<&'a str>,
    scatter: f64,
    /// Standard error of it.
    scatter_error: f64,
    scatter_95: f64,
    scatter_order_only: f64,
    #[serde(rename = "mean_kN")]
    mean: f64,
    #[serde(rename = "least_kN")]
    least: f64,
    tilt_um: f64,
    tilt_error_um: f64,
    seconds: f64,
    runs: u32,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    if args.runs == 0 || args.runs > RUNS_MAX {
        return Err(CommandError::bad(format!(
            "--runs {}: allowed are 1 to {RUNS_MAX}",
            args.runs
        )));
    }
    if let Some(wrong) = args
        .passes
        .iter()
        .find(|passes| **passes == 0 || **passes > PASSES_MAX)
    {
        return Err(CommandError::bad(format!(
            "--passes {wrong}: allowed are 1 to {PASSES_MAX}"
        )));
    }
    let over = Over::ours_if(args.force);
    if let Some(path) = &args.svg {
        outputs::may_write(path, over)?;
    }
    let plan = plan_file::read(args.plan.as_deref())?;
    out.speaks_of(&plan)?;
    let joint = plan.joint(&args.joint).ok_or_else(|| {
        let known: Vec<&str> = plan.joints().iter().map(Joint::id).collect();
        CommandError::bad(format!(
            "--joint {}: the plan has no such joint; it has {}",
            args.joint,
            known.join(", ")
        ))
    })?;
    let own = joint.first_plan();
    let model = JointModel::from_sketch(&sketch(joint, own))
        .map_err(|error| CommandError::bad(format!("joint `{}`: {error}", joint.id())))?;
    let trials = trials(args, joint, own)?;
    let Some(ranked) = work(args, &model, &trials, out.is_json()) else {
        return Err(CommandError::bad("stopped; nothing was ranked"));
    };
    say(args, joint, &model, &ranked, out)?;
    if let Some(path) = &args.svg {
        let title = format!(
            "{}: scatter of clamp load, {} runs each",
            joint.title(),
            args.runs
        );
        outputs::write(path, &picture::svg(&title, &ranked), over)?;
        out.remark(format_args!("picture: {}", path.display()));
    }
    Ok(Done::Good)
}

fn trials(args: &Args, joint: &Joint, own: &JointPlan) -> Result<Vec<Trial>, CommandError> {
    let default = [String::from("planned,cross,centre-out,listed")];
    let asked = if args.orders.is_empty() {
        &default[..]
    } else {
        &args.orders[..]
    };
    let mut orders: Vec<(String, Vec<usize>)> = Vec::new();
    for value in asked {
        let words: Vec<&str> = value.split(',').map(str::trim).collect();
        if words.iter().all(|word| WORDS.contains(word)) {
            for word in words {
                // Not every joint has a cross order; the default leaves out what does not fit, an order asked for says why.
                match order(word, joint, own) {
                    Ok(found) => orders.push((word.to_owned(), found)),
                    Err(_) if args.orders.is_empty() => {}
                    Err(error) => return Err(error),
                }
            }
        } else {
            orders.push((value.clone(), order(value, joint, own)?));
        }
    }
    let mut distinct: Vec<(String, Vec<usize>)> = Vec::new();
    for (name, order) in orders {
        match distinct.iter_mut().find(|(_, other)| *other == order) {
            Some((known, _)) if *known != name => *known = format!("{known} = {name}"),
            Some(_) => {}
            None => distinct.push((name, order)),
        }
    }
    Ok(distinct
        .iter()
        .flat_map(|(name, order)| {
            args.passes
                .iter()
                .map(|passes| Trial::new(name.clone(), order.clone(), *passes))
        })
        .collect())
}

const WORDS: [&str; 5] = ["planned", "cross", "centre-out", "listed", "reverse"];

fn order(word: &str, joint: &Joint, own: &JointPlan) -> Result<Vec<usize>, CommandError> {
    let order = match word {
        "planned" => own.base.clone(),
        "reverse" => own.base.iter().rev().copied().collect(),
        // Where the plan itself goes across, the joint is a circle.
        word => named(word, &spots(joint), own.order == Order::Cross)?,
    };
    Ok(order.into_iter().map(usize::from).collect())
}

/// Works on all cores, with a bar on a terminal, until done or stopped.
fn work(args: &Args, model: &JointModel, trials: &[Trial], quiet: bool) -> Option<Vec<Ranked>> {
    // Ctrl-C ends the program, and the work with it.
    let never = AtomicBool::new(false);
    let done = AtomicU64::new(0);
    let total =
        u64::from(args.runs).saturating_mul(u64::try_from(trials.len()).unwrap_or(u64::MAX));
    let finished = AtomicBool::new(false);
    thread::scope(|scope| {
        let (done, finished) = (&done, &finished);
        if !quiet && std::io::stderr().is_terminal() {
            scope.spawn(move || {
                let bar = ProgressBar::new(total);
                if let Ok(style) = ProgressStyle::with_template(
                    "{wide_bar} {pos} of {len} runs, {eta} left, Ctrl-C stops",
                ) {
                    bar.set_style(style);
                }
                while !finished.load(Ordering::Relaxed) {
                    bar.set_position(done.load(Ordering::Relaxed));
                    thread::sleep(Duration::from_millis(80));
                }
                bar.finish_and_clear();
            });
        }
        let ranked = compare(model, trials, args.runs, args.seed, args.hand, done, &never);
        finished.store(true, Ordering::Relaxed);
        ranked
    })
}

fn say(
    args: &Args,
    joint: &Joint,
    model: &JointModel,
    ranked: &[Ranked],
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let headline = headline(ranked);
    out.object(&Conclusion {
        record: "conclusion",
        joint: joint.id(),
        headline: &headline,
        turn_stages_deg: &model.turning.degrees,
        runs: args.runs,
        seed: args.seed,
    })?;
    let turns = match model.turning.degrees.as_slice() {
        [] => String::new(),
        some => {
            let angles: Vec<String> = some.iter().map(|angle| format!("{angle:.0}°")).collect();
            format!("; after the passes a turn of {}", angles.join(" and of "))
        }
    };
    out.line(format_args!("{}. {headline}\n", joint.title()))?;
    out.line(format_args!(
        "{} fasteners, {} runs each, {} hand{turns}. ± standard error; the same # means no difference shown.\n",
        joint.positions().len(),
        args.runs,
        args.hand
    ))?;
    let widest = ranked
        .iter()
        .map(|one| one.trial.order_name.chars().count())
        .max()
        .unwrap_or(0)
        .max(5);
    let most = ranked
        .iter()
        .map(|one| one.scatter.mean)
        .fold(0.0, f64::max);
    out.line(format_args!(
        "{:widest$}  passes   #       scatter   #            tilt  95 of 100 below  order alone  loosest     mean    time",
        "order"
    ))?;
    for one in ranked {
        out.line(format_args!(
            "{:widest$}  {:6}  {:2}  {:4.1} ± {:.1} %  {:2}  {:5.1} ± {:.1} µm  {:13.1} %  {:9.2} %  {:4.1} kN  {:4.1} kN  {:3.0} min  {}",
            one.trial.order_name,
            one.trial.shares.len(),
            one.scatter.rank,
            one.scatter.mean * 100.0,
            one.scatter.error * 100.0,
            one.tilt_mm.rank,
            one.tilt_mm.mean * 1000.0,
            one.tilt_mm.error * 1000.0,
            one.scatter_95 * 100.0,
            one.order_only * 100.0,
            one.least_kN,
            one.mean_kN,
            one.seconds / 60.0,
            picture::bar(one.scatter.mean, most),
        ))?;
        out.object(&Line {
            record: "comparison",
            rank: one.scatter.rank,
            tilt_rank: one.tilt_mm.rank,
            order: &one.trial.order_name,
            passes: one.trial.shares.len(),
            fasteners: one
                .trial
                .order
                .iter()
                .map(|fastener| {
                    u8::try_from(*fastener).map_or("", |fastener| joint.label(fastener))
                })
                .collect(),
            scatter: one.scatter.mean,
            scatter_error: one.scatter.error,
            scatter_95: one.scatter_95,
            scatter_order_only: one.order_only,
            mean: one.mean_kN,
            least: one.least_kN,
            tilt_um: one.tilt_mm.mean * 1000.0,
            tilt_error_um: one.tilt_mm.error * 1000.0,
            seconds: one.seconds,
            runs: args.runs,
        })?;
    }
    out.line(
        "\nA virtual bench ranks orders; it does not prove a joint. The maker's order comes first.",
    )
}
