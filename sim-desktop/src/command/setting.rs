//! `evendraw setting`: what to set or read with an offset adapter.
//!
//! Knows nothing of how it is calculated.

use std::path::{Path, PathBuf};

use crate::quantity::{Target, Tolerance, TorqueUnit};
use clap::Args as ClapArgs;
use jiff::Zoned;
use serde::Serialize;

use super::value::{
    TypedAngle, TypedLength, TypedTorque, angle, degrees, length, millimeters, newton_meters,
    number, torque,
};
use super::{CommandError, Done, Output, plan_file};
use crate::job::status::Shown;
use crate::job::status::layout::torque_of;
use crate::mechanics::{OffsetAdapter, Tool, Window, advise};

/// The tool's setting or reading with an offset adapter, or the torque a reading means.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw setting --torque \"100 lbf·in\" --lever \"12 in\" --offset \"6 in\"\n  \
        evendraw setting --torque \"90 N·m\" --lever \"300 mm\" --offset \"25 mm\" --angle \"45°\"\n  \
        evendraw setting --reading \"83.1 N·m\" --lever \"300 mm\" --offset \"25 mm\"\n  \
        evendraw setting --torque \"60 N·m\" --lever \"300 mm\" --offset \"25 mm\" --plan pump.toml --within \"±5 %\"\n\n\
        Square on (90°) the factor is 1. Towards the hand (180°) the reading is higher than the torque at the fastener.")]
pub(super) struct Args {
    /// Torque wanted at the fastener, with its unit.
    #[arg(long, value_parser = torque, required_unless_present = "reading", conflicts_with = "reading")]
    torque: Option<TypedTorque>,
    /// The other way round: what the tool reads or is set to.
    #[arg(long, value_parser = torque)]
    reading: Option<TypedTorque>,
    /// From the middle of the grip to the square drive.
    #[arg(long, value_parser = length)]
    lever: TypedLength,
    /// From the square drive to the fastener.
    #[arg(long, value_parser = length)]
    offset: TypedLength,
    /// Angle between handle and offset: 0° straight on, away from the hand.
    #[arg(long, value_parser = angle)]
    angle: Option<TypedAngle>,
    /// Says which tool of this plan is in range and in date, and its graduation inside the window.
    #[arg(long, conflicts_with = "reading")]
    plan: Option<PathBuf>,
    /// What may be above and below the torque.
    #[arg(long, value_parser = tolerance, default_value = "±4 %")]
    within: Tolerance<TorqueUnit>,
}

fn tolerance(text: &str) -> Result<Tolerance<TorqueUnit>, String> {
    Tolerance::parse(text).map_err(|error| match error.hint() {
        Some(hint) => format!("{error} ({hint})"),
        None => error.to_string(),
    })
}

/// One tool of the plan.
#[derive(Serialize)]
struct Advised<'a> {
    tool: &'a str,
    usable: bool,
    #[serde(rename = "setting_Nm")]
    setting: Option<f64>,
    why: String,
}

#[derive(Serialize)]
#[expect(
    non_snake_case,
    reason = "the keys are the contract's: SI units as SI writes them"
)]
struct Setting {
    setting_Nm: f64,
    factor: f64,
}

#[derive(Serialize)]
#[expect(
    non_snake_case,
    reason = "the keys are the contract's: SI units as SI writes them"
)]
struct AtFastener {
    torque_Nm: f64,
    factor: f64,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let adapter = OffsetAdapter::new(
        millimeters(args.lever),
        millimeters(args.offset),
        args.angle.map_or(0.0, degrees),
    )
    .map_err(|error| CommandError::bad(format!("{error} (lengths in mm)")))?;
    let factor = adapter.factor();
    if let Some(reading) = args.reading {
        let at_fastener = adapter.at_fastener(newton_meters(reading));
        out.line(format_args!(
            "a reading of {reading} is {} at the fastener (factor {factor:.4})",
            both(reading, 1.0 / factor)
        ))?;
        out.object(&AtFastener {
            torque_Nm: at_fastener,
            factor,
        })?;
    } else if let Some(torque) = args.torque {
        let setting = adapter.setting(newton_meters(torque));
        out.line(format_args!(
            "set or pull to {} for {torque} at the fastener (factor {factor:.4})",
            both(torque, factor)
        ))?;
        out.object(&Setting {
            setting_Nm: setting,
            factor,
        })?;
    }
    if let (Some(path), Some(torque)) = (&args.plan, args.torque) {
        tools(args, path, torque, adapter, out)?;
    }
    if (factor - 1.0).abs() > 1e-12 {
        out.line(
            "hold the tool in the middle of its grip: with an offset the hand's place counts",
        )?;
    }
    Ok(Done::Good)
}

/// Which tools of a plan can do it.
fn tools(
    args: &Args,
    path: &Path,
    torque: TypedTorque,
    adapter: OffsetAdapter,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let plan = plan_file::read(Some(path))?;
    let window = Target::Exact(torque)
        .window(&args.within)
        .map_err(|error| CommandError::bad(format!("--within: {error}")))?;
    let readings = Window {
        low_Nm: crate::quantity::newton_meters(window.min),
        target_Nm: newton_meters(torque),
        high_Nm: crate::quantity::newton_meters(window.max),
    }
    .through(adapter);
    let list: Vec<Tool> = plan
        .tools()
        .iter()
        .filter(|tool| tool.kind.has_torque())
        .map(crate::plan::Tool::calculated)
        .collect();
    if list.is_empty() {
        return out.line("the plan names no tools");
    }
    let unit = Shown::new(torque.unit());
    let words = |newton_meters: f64| unit.words(torque_of(newton_meters));
    let today = Zoned::now().date();
    for advice in advise(&list, readings, readings.high_Nm, today, &words) {
        let why = [advice.refused.as_slice(), &advice.notes]
            .concat()
            .join("; ");
        let beside = if why.is_empty() {
            String::new()
        } else {
            format!(" ({why})")
        };
        match advice.setting_Nm.filter(|_| advice.usable()) {
            Some(setting) => {
                out.line(format_args!("  {}: {}{beside}", advice.id, words(setting)))?;
            }
            None => out.line(format_args!("  {}: not for this{beside}", advice.id))?,
        }
        out.object(&Advised {
            tool: &advice.id,
            usable: advice.usable(),
            setting: advice.setting_Nm,
            why,
        })?;
    }
    Ok(())
}

/// A torque times a factor, in its own unit and in N·m.
fn both(torque: TypedTorque, factor: f64) -> String {
    let own = format!(
        "{:.2} {}",
        number(torque) * factor,
        crate::quantity::Unit::symbol(torque.unit())
    );
    let metric = format!("{:.2} N·m", newton_meters(torque) * factor);
    if own == metric {
        own
    } else {
        format!("{own} ({metric})")
    }
}
