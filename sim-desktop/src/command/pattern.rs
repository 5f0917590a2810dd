//! `evendraw pattern`: the order of work, as a list and a picture.
//!
//! Knows nothing of how an order is found: the core does that.

mod picture;

use crate::limited::Limited as _;
use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;
use evendraw_core::pattern::{self, ORDER_MAX, PatternError, Point};
use evendraw_core::unit::Length;
use serde::Serialize;

use super::{CommandError, Done, Output};
use crate::disk;
use crate::outputs::{self, Over};
use crate::plan::{Joint, Order, Plan};
use picture::Picture;

/// Radius that circles are drawn and allowed for.
const RADIUS_MM: f64 = 100.0;

/// The order of work of a bolt circle or of a joint of a plan, as a list and a picture.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw pattern --circle 8\n  \
        evendraw pattern --circle 12 --order cross --svg cover.svg\n  \
        evendraw pattern --plan pump.toml --joint head\n  \
        evendraw pattern --plan pump.toml --joint head --order centre-out --reverse\n\n\
        On a circle, fastener 1 stands at the top and the numbers go round clockwise. The numbers in the picture are \
        LABEL:PLACE, the place in the order.")]
pub(super) struct Args {
    /// Number of fasteners on a circle.
    #[arg(long, value_name = "N", required_unless_present = "plan", conflicts_with_all = ["plan", "joint"])]
    circle: Option<usize>,
    /// A plan file.
    #[arg(long, requires = "joint")]
    plan: Option<PathBuf>,
    /// The joint of the plan.
    #[arg(long, requires = "plan")]
    joint: Option<String>,
    /// cross, centre-out, listed, or labels with commas between. Default: cross on a circle, else the plan's own.
    #[arg(long)]
    order: Option<String>,
    /// The same order from its end.
    #[arg(long)]
    reverse: bool,
    /// Draws the picture into this file as well.
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Replaces an earlier output of this program; nothing else is ever written over.
    #[arg(long, requires = "svg")]
    force: bool,
}

/// A fastener and its place on the metal.
pub(super) struct Spot {
    label: String,
    x_mm: f64,
    y_mm: f64,
}

#[derive(Serialize)]
struct Line<'a> {
    order: Vec<&'a str>,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let (spots, own, front) = match (args.circle, &args.plan, &args.joint) {
        (Some(count), ..) => (circle(count)?, None, None),
        (None, Some(plan), Some(joint)) => {
            let plan = read(plan)?;
            let joint = find(&plan, joint)?;
            let own = joint.first_plan().order.clone();
            (
                spots(joint),
                Some((own, joint.first_plan().base.clone())),
                joint.front().map(str::to_owned),
            )
        }
        _ => {
            return Err(CommandError::bad(
                "give --circle N, or --plan PLAN --joint J",
            ));
        }
    };
    let (word, mut order) = match (&args.order, own) {
        (Some(word), _) => (word.clone(), named(word, &spots, args.circle.is_some())?),
        (None, Some((order, list))) => (own_word(&order).to_owned(), list),
        (None, None) => ("cross".to_owned(), named("cross", &spots, true)?),
    };
    if args.reverse {
        pattern::reverse(&mut order);
    }
    let labels: Vec<&str> = order
        .iter()
        .filter_map(|&index| spots.get(usize::from(index)))
        .map(|spot| spot.label.as_str())
        .collect();
    let turned = if args.reverse { ", from its end" } else { "" };
    out.line(format_args!("{word}{turned}: {}", labels.join(" ")))?;
    out.object(&Line { order: labels })?;
    let picture = Picture {
        spots: &spots,
        order: &order,
        front: front.as_deref(),
    };
    match picture.text() {
        Some(text) => out.lines(format_args!("\n{text}"))?,
        None => out.line("(too close together to draw in text: see --svg FILE)")?,
    }
    if let Some(path) = &args.svg {
        outputs::write(path, &picture.svg(), Over::ours_if(args.force))?;
        out.remark(format_args!("picture: {}", path.display()));
    }
    Ok(Done::Good)
}

fn own_word(order: &Order) -> &'static str {
    match order {
        Order::Own(_) => "as the plan lists it",
        order => order.word(),
    }
}

fn circle(count: usize) -> Result<Vec<Spot>, CommandError> {
    if !(3..=ORDER_MAX).contains(&count) {
        return Err(CommandError::bad(format!(
            "--circle {count}: a circle has 3 to {ORDER_MAX} fasteners"
        )));
    }
    let whole = u32::try_from(count).map_or(1.0, f64::from);
    Ok((0..u32::try_from(count).unwrap_or(0))
        .map(|index| {
            let turned = TAU * f64::from(index) / whole;
            Spot {
                label: (index + 1).to_string(),
                x_mm: RADIUS_MM * turned.sin(),
                y_mm: RADIUS_MM * turned.cos(),
            }
        })
        .collect())
}

pub(super) fn spots(joint: &Joint) -> Vec<Spot> {
    let spot = |position: &crate::plan::Position| Spot {
        label: position.label.clone(),
        x_mm: position.x_mm,
        y_mm: position.y_mm,
    };
    joint.positions().iter().map(spot).collect()
}

fn read(path: &Path) -> Result<Plan, CommandError> {
    let text =
        crate::limits::read_plan(path).map_err(|error| CommandError::file("read", path, &error))?;
    Plan::read(&path.display().to_string(), &text, disk::folder_of(path))
        .map_err(CommandError::pointed)
}

fn find<'p>(plan: &'p Plan, id: &str) -> Result<&'p Joint, CommandError> {
    plan.joints()
        .iter()
        .find(|joint| joint.id() == id)
        .ok_or_else(|| {
            let known: Vec<&str> = plan.joints().iter().map(Joint::id).collect();
            CommandError::bad(format!(
                "--joint {id}: the plan has no such joint; it has {}",
                known.join(", ")
            ))
        })
}

/// An order by its word, or by its labels.
pub(super) fn named(word: &str, spots: &[Spot], on_circle: bool) -> Result<Vec<u8>, CommandError> {
    let mut order = vec![0_u8; spots.len()];
    let points: Vec<Point> = spots.iter().map(point).collect();
    let found = match word {
        "cross" if on_circle => pattern::cross(&mut order),
        "cross" => pattern::cross_at(&points, &mut order),
        "centre-out" => pattern::centre_out(&points, &mut order),
        "listed" => {
            for (index, slot) in (0_u8..).zip(order.iter_mut()) {
                *slot = index;
            }
            Ok(())
        }
        labels => {
            order = labelled(labels, spots)?;
            pattern::listed(&order, spots.len())
        }
    };
    found.map_err(|error| CommandError::bad(explained(word, &error, spots)))?;
    Ok(order)
}

fn labelled(labels: &str, spots: &[Spot]) -> Result<Vec<u8>, CommandError> {
    let find = |label: &str| {
        let at = spots.iter().position(|spot| spot.label == label);
        at.and_then(|at| u8::try_from(at).ok()).ok_or_else(|| {
            CommandError::bad(format!(
                "--order {labels}: `{label}` is no fastener; allowed are cross, centre-out, listed, or every label once \
                 with commas between"
            ))
        })
    };
    labels.split(',').map(|label| find(label.trim())).collect()
}

fn explained(word: &str, error: &PatternError, spots: &[Spot]) -> String {
    let label = |index: usize| spots.get(index).map_or("?", |spot| spot.label.as_str());
    match *error {
        PatternError::Missing { fastener } => {
            format!("--order {word}: fastener {} is left out", label(fastener))
        }
        error => format!("--order {word}: {error}"),
    }
}

fn point(spot: &Spot) -> Point {
    let micrometers = |mm: f64| {
        let wide = (mm * 1_000.0).round().limited(-1.0e9, 1.0e9);
        #[expect(
            clippy::cast_possible_truncation,
            reason = "clamped to ±10⁹ just above"
        )]
        Length::from_micrometers(wide as i32)
    };
    Point {
        x: micrometers(spot.x_mm),
        y: micrometers(spot.y_mm),
    }
}
