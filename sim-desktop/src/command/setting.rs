//! `evendraw setting`: what to set or read with an offset adapter.
//!
//! Knows nothing of how it is reckoned.

use clap::Args as ClapArgs;
use serde::Serialize;

use super::value::{
    TypedAngle, TypedLength, TypedTorque, angle, degrees, length, millimeters, newton_meters,
    number, torque,
};
use super::{CommandError, Done, Output};
use crate::mechanics::OffsetAdapter;

/// The tool's setting or reading with an offset adapter, or the torque a reading means.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw setting --torque \"100 lbf·in\" --lever \"12 in\" --offset \"6 in\"\n  \
        evendraw setting --torque \"90 N·m\" --lever \"300 mm\" --offset \"25 mm\" --angle \"45°\"\n  \
        evendraw setting --reading \"83.1 N·m\" --lever \"300 mm\" --offset \"25 mm\"\n\n\
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
    if (factor - 1.0).abs() > 1e-12 {
        out.line(
            "hold the tool in the middle of its grip: with an offset the hand's place counts",
        )?;
    }
    Ok(Done::Good)
}

/// A torque times a factor, in its own unit and in N·m.
fn both(torque: TypedTorque, factor: f64) -> String {
    let own = format!(
        "{:.2} {}",
        number(torque) * factor,
        evendraw_core::quantity::Unit::symbol(torque.unit())
    );
    let metric = format!("{:.2} N·m", newton_meters(torque) * factor);
    if own == metric {
        own
    } else {
        format!("{own} ({metric})")
    }
}
