//! `evendraw engagement`: how deep a bolt must be screwed in, and which thread strips first.
//!
//! Knows nothing of how it is calculated.

use clap::Args as ClapArgs;
use serde::Serialize;

use super::metal::{Metal, bad};
use super::value::{TypedLength, length, millimeters, stress};
use super::{CommandError, Done, Output};
use crate::mechanics::{Engagement, NutClass, Strips, TAPPED, Tapped, nut_and_bolt};

/// The length of engagement a bolt needs, and which thread strips first.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw engagement --thread M10 --class 8.8 --into aluminium\n  \
        evendraw engagement --thread M10 --class 10.9 --into cast-iron --length \"15 mm\"\n  \
        evendraw engagement --thread M12 --class 10.9 --nut 8 --length \"10.8 mm\"\n  \
        evendraw engagement --thread \"3/8-16 UNC\" --grade 5 --shear \"18 ksi\"\n\n\
        Ends with status 1 where a thread would strip before the bolt breaks at the length given, or the nut is weaker than the bolt.\n\
        A calculation, not a specification: the maker's depth and nut stand.")]
pub(super) struct Args {
    #[command(flatten)]
    metal: Metal,
    /// What it is screwed into: steel, stainless, aluminium, cast-aluminium, cast-iron, cast-iron-250, ductile-iron.
    #[arg(long, required_unless_present_any = ["shear", "nut"], conflicts_with_all = ["shear", "nut"])]
    into: Option<String>,
    /// Its shear strength, as in "130 MPa", in place of a name.
    #[arg(long, value_parser = stress, conflicts_with = "nut")]
    shear: Option<f64>,
    /// A steel nut of this property class: 5, 6, 8, 10 or 12.
    #[arg(long)]
    nut: Option<String>,
    /// Length engaged, ends included; without it only the length needed is said.
    #[arg(long, value_parser = length)]
    length: Option<TypedLength>,
}

#[derive(Serialize)]
#[expect(
    non_snake_case,
    reason = "the keys are the contract's: SI units as SI writes them"
)]
struct Answer<'a> {
    needed_mm: f64,
    external_shear_mm2_per_mm: f64,
    internal_shear_mm2_per_mm: f64,
    bolt_breaks_kN: f64,
    strong_bolt_breaks_kN: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    length_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    external_strips_kN: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    internal_strips_kN: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    first: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    first_with_strong_bolt: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    nut_proof_kN: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    nut_why: Option<&'a str>,
    note: &'a str,
}

fn key(strips: Strips) -> &'static str {
    match strips {
        Strips::BoltBreaks => "bolt-breaks",
        Strips::External => "external-strips",
        Strips::Internal => "internal-strips",
    }
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let (thread, strength) = args.metal.read()?;
    let nut = args
        .nut
        .as_deref()
        .map(NutClass::from_text)
        .transpose()
        .map_err(bad)?;
    let tapped = match (&args.into, args.shear, nut) {
        (_, Some(shear), _) => Tapped::of_shear(shear),
        (_, _, Some(nut)) => Tapped::nut(nut, thread.major_mm).map_err(bad)?,
        (Some(name), _, _) => Tapped::named(name).ok_or_else(|| {
            let names: Vec<&str> = TAPPED.iter().map(|row| row.0).collect();
            CommandError::bad(format!(
                "--into {name}: not known; allowed: {}, or --shear with its shear strength, or --nut with its class",
                names.join(", ")
            ))
        })?,
        (None, None, None) => {
            return Err(CommandError::bad(
                "nothing to screw it into; allowed: --into, --shear or --nut",
            ));
        }
    };
    let engagement = Engagement::new(&thread, &strength, &tapped).map_err(bad)?;
    let at = args
        .length
        .map(|length| engagement.at(millimeters(length)))
        .transpose()
        .map_err(bad)?;
    let pair = nut
        .map(|nut| nut_and_bolt(nut, &thread, &strength))
        .transpose()
        .map_err(bad)?;
    let note = engagement.words(&tapped);
    out.line(format_args!("{thread} in {}", tapped.name))?;
    out.line(format_args!(
        "  needed         {:.1} mm, {:.1} d, for the bolt to break before a thread strips",
        engagement.needed_mm,
        engagement.needed_mm / thread.major_mm
    ))?;
    out.line(format_args!(
        "  bolt breaks    from {:.1} kN on, the strongest of its class at about {:.1} kN",
        engagement.bolt_N / 1000.0,
        engagement.strong_bolt_N / 1000.0
    ))?;
    if let Some(at) = &at {
        out.line(format_args!(
            "  at {:.1} mm     the bolt's thread strips at {:.1} kN, the other at {:.1} kN",
            at.length_mm,
            at.external_N / 1000.0,
            at.internal_N / 1000.0
        ))?;
    }
    // A nut's own test is better known than what its threads are calculated to bear.
    let weak = pair.as_ref().is_some_and(|pair| !pair.strong_enough);
    if let Some(at) = at.filter(|_| !weak) {
        out.line(format_args!("  first          {}", at.words()))?;
    }
    if let Some(pair) = &pair {
        out.line(format_args!("  nut            {}", pair.why))?;
    }
    out.line(format_args!("  {note}"))?;
    out.object(&Answer {
        needed_mm: engagement.needed_mm,
        external_shear_mm2_per_mm: engagement.external_mm2_per_mm,
        internal_shear_mm2_per_mm: engagement.internal_mm2_per_mm,
        bolt_breaks_kN: engagement.bolt_N / 1000.0,
        strong_bolt_breaks_kN: engagement.strong_bolt_N / 1000.0,
        length_mm: at.map(|at| at.length_mm),
        external_strips_kN: at.map(|at| at.external_N / 1000.0),
        internal_strips_kN: at.map(|at| at.internal_N / 1000.0),
        first: at.map(|at| key(if weak { Strips::Internal } else { at.first })),
        first_with_strong_bolt: at.map(|at| {
            key(if weak {
                Strips::Internal
            } else {
                at.first_with_strong_bolt
            })
        }),
        nut_proof_kN: pair.as_ref().map(|pair| pair.nut_proof_N / 1000.0),
        nut_why: pair.as_ref().map(|pair| pair.why.as_str()),
        note: &note,
    })?;
    let strips = at.is_some_and(|at| !at.sound());
    Ok(Done::rejected_if(strips || weak))
}
