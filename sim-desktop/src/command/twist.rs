//! `evendraw twist`: how far an extension winds up, and the train to type into the plan.
//!
//! Knows nothing of how it is calculated.

use clap::Args as ClapArgs;
use serde::Serialize;

use super::metal::bad;
use super::value::{TypedTorque, newton_meters, torque};
use super::{CommandError, Done, Output};
use crate::mechanics::{Bar, TWIST_WORDS, degrees_per_100_Nm, train_Nm_per_deg, twist_deg};

/// The twist of an extension from its dimensions, and the train stiffness to type into the plan.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw twist \"10 mm x 250 mm\"\n  \
        evendraw twist \"16 x 250\" \"square 9.5 x 40\" --torque \"90 N·m\"\n  \
        evendraw twist \"16 bore 8 x 300\"\n\n\
        A bar is its diameter and the length that twists: `10 mm x 250 mm`; `square` before it for a square bar, `bore 8` after the\n\
        diameter for a tube. Lengths without a unit are mm. Several bars stand one after another.")]
pub(super) struct Args {
    /// The bars between adapter and fastener.
    #[arg(required = true, value_name = "BAR")]
    bars: Vec<String>,
    /// Also says the twist under this torque.
    #[arg(long, value_parser = torque)]
    torque: Option<TypedTorque>,
}

#[derive(Serialize)]
#[expect(
    non_snake_case,
    reason = "the keys are the contract's: SI units as SI writes them"
)]
struct Answer {
    deg_per_100_Nm: f64,
    train_Nm_per_deg: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    twist_deg: Option<f64>,
    train: String,
    note: &'static str,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let mut bars = Vec::new();
    for text in &args.bars {
        let bar: Bar = text.parse().map_err(bad)?;
        out.line(format_args!(
            "{text}: {:.1}° per 100 N·m",
            degrees_per_100_Nm(&bar)
        ))?;
        bars.push(bar);
    }
    let stiffness = train_Nm_per_deg(&bars);
    let per_100 = twist_deg(&bars, 100.0);
    if bars.len() > 1 {
        out.line(format_args!("all: {per_100:.1}° per 100 N·m"))?;
    }
    let twist = args.torque.map(|torque| {
        let twist = twist_deg(&bars, newton_meters(torque));
        (torque, twist)
    });
    if let Some((torque, twist)) = twist {
        out.line(format_args!("  at {torque}: {twist:.1}°"))?;
    }
    let train = format!("{} N·m/°", Bar::train_words(stiffness));
    out.line(format_args!("  in the plan    train = \"{train}\""))?;
    out.line(format_args!("  {TWIST_WORDS}"))?;
    out.object(&Answer {
        deg_per_100_Nm: per_100,
        train_Nm_per_deg: stiffness,
        twist_deg: twist.map(|(_, twist)| twist),
        train,
        note: TWIST_WORDS,
    })?;
    Ok(Done::Good)
}
