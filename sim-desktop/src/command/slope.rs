//! `evendraw slope`: friction and preload estimated from the slope of a recorded pull.
//!
//! Knows nothing of how it is calculated.

use std::path::PathBuf;

use clap::Args as ClapArgs;
use serde::Serialize;

use super::judge::recording;
use super::metal::{Clamped, Metal};
use super::value::{TypedTorque, newton_meters, rate, torque};
use super::{CommandError, Done, Output};
use crate::mechanics::{Bearing, Condition, Pull};

/// Friction and preload estimated from the slope of a recorded pull, with their uncertainty.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw slope --thread M10 --class 8.8 --grip \"40 mm\" pull.csv\n  \
        evendraw slope --thread M10 --class 8.8 --grip \"40 mm\" --train \"20 N·m/°\" --prevailing \"3 N·m\" pull.csv --json\n\n\
        TRACE is CSV with the header `time_s,torque_Nm,angle_deg`; lines that begin with # are comments. `-` reads from standard\n\
        input. The last pull counts, between 40 and 95 % of its greatest torque. An estimate: it judges nothing and changes no record.")]
pub(super) struct Args {
    #[command(flatten)]
    metal: Metal,
    #[command(flatten)]
    clamped: Clamped,
    /// What the tool train winds up, as in "20 N·m/°"; see `evendraw twist`.
    #[arg(long, value_parser = rate)]
    train: Option<f64>,
    /// Running torque of a locking nut.
    #[arg(long, value_parser = torque)]
    prevailing: Option<TypedTorque>,
    /// The trace file, or - for standard input.
    trace: PathBuf,
}

#[derive(Serialize)]
#[expect(
    non_snake_case,
    reason = "the keys are the contract's: SI units as SI writes them"
)]
struct Answer {
    slope_Nm_per_deg: f64,
    slope_uncertainty_Nm_per_deg: f64,
    points: usize,
    peak_Nm: f64,
    friction: f64,
    friction_low: f64,
    friction_high: f64,
    nut_factor: f64,
    preload_kN: f64,
    preload_low_kN: f64,
    preload_high_kN: f64,
    bend: f64,
    notes: Vec<String>,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let (thread, strength) = args.metal.read()?;
    let mu = Condition::Oiled.friction().thread;
    let (shape, bolt) = args.clamped.bolt((&thread, &strength), None, mu)?;
    let recording = recording(&args.trace)?;
    if let Some(words) = recording.zero_words() {
        out.remark(words);
    }
    let pull = Pull::recorded(
        recording.samples().iter().map(|(_, sample)| {
            (
                f64::from(sample.torque.millinewton_meters()) / 1000.0,
                f64::from(sample.rotation.millidegrees()) / 1000.0,
            )
        }),
        &thread,
        args.train,
        args.prevailing.map_or(0.0, newton_meters),
    );
    let slope = pull
        .estimate(&thread, Bearing::hexagon(&thread), &bolt)
        .map_err(|error| CommandError::bad(format!("{}: {error}", args.trace.display())))?;
    out.line(format_args!(
        "{thread} over {:.1} mm of {}, up to {:.1} N·m",
        shape.grip_mm,
        args.clamped.members.word(),
        slope.peak_Nm
    ))?;
    out.line(format_args!(
        "  slope          {:.3} ± {:.3} N·m/° over {} points",
        slope.slope_Nm_per_deg, slope.slope_uncertainty, slope.points
    ))?;
    out.line(format_args!(
        "  friction       {:.2}, between {:.2} and {:.2}; K {:.2}",
        slope.friction, slope.friction_low, slope.friction_high, slope.nut_factor
    ))?;
    out.line(format_args!(
        "  preload        {:.1} kN at the end, between {:.1} and {:.1} kN",
        slope.preload_N / 1000.0,
        slope.preload_low_N / 1000.0,
        slope.preload_high_N / 1000.0
    ))?;
    for note in &slope.notes {
        out.line(format_args!("  {note}"))?;
    }
    out.object(&Answer {
        slope_Nm_per_deg: slope.slope_Nm_per_deg,
        slope_uncertainty_Nm_per_deg: slope.slope_uncertainty,
        points: slope.points,
        peak_Nm: slope.peak_Nm,
        friction: slope.friction,
        friction_low: slope.friction_low,
        friction_high: slope.friction_high,
        nut_factor: slope.nut_factor,
        preload_kN: slope.preload_N / 1000.0,
        preload_low_kN: slope.preload_low_N / 1000.0,
        preload_high_kN: slope.preload_high_N / 1000.0,
        bend: slope.bend,
        notes: slope.notes,
    })?;
    Ok(Done::Good)
}
