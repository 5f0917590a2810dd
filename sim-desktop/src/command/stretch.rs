//! `evendraw stretch`: load, stretch and angle of a bolt from any one of them, also past yield.
//!
//! Knows nothing of how it is calculated.

use clap::Args as ClapArgs;
use serde::Serialize;

use super::metal::{Clamped, Metal, bad};
use super::value::{TypedAngle, TypedLength, angle, degrees, force, length, millimeters};
use super::{CommandError, Done, Output};
use crate::mechanics::Condition;

/// Load, stretch and angle of a bolt in its joint, from any one of the three.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw stretch --thread M12 --class 10.9 --grip \"60 mm\" --load \"40 kN\"\n  \
        evendraw stretch --thread M12 --class 10.9 --grip \"60 mm\" --angle \"120°\" --members aluminium\n  \
        evendraw stretch --thread \"7/16-20 UNF\" --grade 8 --grip \"2 in\" --stretch \"0.15 mm\" --pulled\n\n\
        Angles count from snug at no load. Ends at the tensile strength; necking, stripping and a second use are not in it.\n\
        A calculation, not a specification: the maker's torque, angle or stretch stands.")]
pub(super) struct Args {
    #[command(flatten)]
    metal: Metal,
    #[command(flatten)]
    clamped: Clamped,
    /// Diameter of that length, for a waisted bolt; default: the thread's.
    #[arg(long, value_parser = length)]
    shank_diameter: Option<TypedLength>,
    /// From this load, as in "40 kN".
    #[arg(long, value_parser = force, required_unless_present_any = ["stretch", "angle"], conflicts_with_all = ["stretch", "angle"])]
    load: Option<f64>,
    /// From this stretch, unloaded to loaded, measured end to end.
    #[arg(long, value_parser = length, conflicts_with = "angle")]
    stretch: Option<TypedLength>,
    /// From this angle.
    #[arg(long, value_parser = angle)]
    angle: Option<TypedAngle>,
    /// What is on the threads; its torsion lowers the load at yield: dry, oiled, threadlocker, sealant or a compound.
    #[arg(long, default_value = "oiled", conflicts_with = "pulled")]
    condition: String,
    /// The bolt is pulled by a tensioner, not turned: no torsion.
    #[arg(long)]
    pulled: bool,
}

#[derive(Serialize)]
#[expect(
    non_snake_case,
    reason = "the keys are the contract's: SI units as SI writes them"
)]
struct Answer {
    load_kN: f64,
    stretch_mm: f64,
    permanent_mm: f64,
    pressed_mm: f64,
    angle_deg: f64,
    proof_ratio: f64,
    yield_ratio: f64,
    yield_kN: f64,
    yield_angle_deg: f64,
    most_kN: f64,
    most_angle_deg: f64,
    bolt_kN_per_mm: f64,
    members_kN_per_mm: f64,
    notes: Vec<String>,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let (thread, strength) = args.metal.read()?;
    let mu = if args.pulled {
        0.0
    } else {
        Condition::from_text(&args.condition).friction().thread
    };
    let (shape, bolt) = args
        .clamped
        .bolt((&thread, &strength), args.shank_diameter, mu)?;
    let at = match (args.load, args.stretch, args.angle) {
        (Some(load), _, _) => bolt.at_load(load),
        (_, Some(stretch), _) => bolt.at_stretch(millimeters(stretch)),
        (_, _, Some(angle)) => bolt.at_angle(degrees(angle)),
        (None, None, None) => {
            return Err(CommandError::bad(
                "nothing to begin from; allowed: --load, --stretch or --angle",
            ));
        }
    }
    .map_err(bad)?;
    let (yields, most) = (bolt.at_load(bolt.yield_N).map_err(bad)?, bolt.at_peak());
    let notes = bolt.words(&at);
    out.line(format_args!(
        "{thread}, {:.1} mm clamped of {}, {:.1} mm of it shank",
        shape.grip_mm,
        args.clamped.members.word(),
        shape.shank_mm
    ))?;
    out.line(format_args!(
        "  load           {:.1} kN, {:.0} % of the proof load, {:.0} % of yield",
        at.load_N / 1000.0,
        at.proof_ratio * 100.0,
        at.yield_ratio * 100.0
    ))?;
    out.line(format_args!(
        "  stretch        {:.3} mm, {:.3} mm of it for good",
        at.stretch_mm, at.permanent_mm
    ))?;
    out.line(format_args!(
        "  angle          {:.0}° from snug; the parts are pressed {:.3} mm",
        at.angle_deg, at.pressed_mm
    ))?;
    out.line(format_args!(
        "  yields         at {:.1} kN, {:.0}°, {:.3} mm",
        bolt.yield_N / 1000.0,
        yields.angle_deg,
        yields.stretch_mm
    ))?;
    out.line(format_args!(
        "  ends           at {:.1} kN, about {:.0}°",
        bolt.peak_N / 1000.0,
        most.angle_deg
    ))?;
    out.line(format_args!(
        "  stiffness      bolt {:.0} kN/mm, parts {:.0} kN/mm",
        bolt.bolt_N_per_mm / 1000.0,
        bolt.members_N_per_mm / 1000.0
    ))?;
    for note in &notes {
        out.line(format_args!("  {note}"))?;
    }
    out.object(&Answer {
        load_kN: at.load_N / 1000.0,
        stretch_mm: at.stretch_mm,
        permanent_mm: at.permanent_mm,
        pressed_mm: at.pressed_mm,
        angle_deg: at.angle_deg,
        proof_ratio: at.proof_ratio,
        yield_ratio: at.yield_ratio,
        yield_kN: bolt.yield_N / 1000.0,
        yield_angle_deg: yields.angle_deg,
        most_kN: bolt.peak_N / 1000.0,
        most_angle_deg: most.angle_deg,
        bolt_kN_per_mm: bolt.bolt_N_per_mm / 1000.0,
        members_kN_per_mm: bolt.members_N_per_mm / 1000.0,
        notes,
    })?;
    Ok(Done::Good)
}
