//! `evendraw convert`: a torque in every unit.
//!
//! Knows nothing of the fractions: the core has them.

use clap::Args as ClapArgs;
use evendraw_core::quantity::{Converted, SIGNIFICANT_DIGITS, TorqueUnit, Unit};
use serde_json::{Map, Value};

use super::value::{TypedTorque, torque};
use super::{CommandError, Done, Output};

/// A torque in every unit, exact where its decimals end.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw convert \"29.5 lbf·ft\"\n  \
        evendraw convert \"66 in-lb\"\n  \
        evendraw convert \"4,7 kgf·m\" --json\n\n\
        1 lb is 0.45359237 kg, standard gravity 9.80665 m/s² and 1 in 25.4 mm, all exact. Decimals that never end are cut to \
        20 digits, the last one rounded to the nearest; such values are marked with ≈.")]
pub(super) struct Args {
    /// The torque with its unit, as the manual prints it.
    #[arg(value_parser = torque)]
    torque: TypedTorque,
}

/// The units under the contract's keys, in its order.
const UNITS: [TorqueUnit; 6] = [
    TorqueUnit::NewtonMeter,
    TorqueUnit::PoundFoot,
    TorqueUnit::PoundInch,
    TorqueUnit::KilogramMeter,
    TorqueUnit::KilogramCentimeter,
    TorqueUnit::OunceInch,
];

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let mut object = Map::new();
    let mut rounded = false;
    for unit in UNITS {
        let converted = Converted::new(args.torque, unit);
        let digits = converted.to_string();
        let mark = if converted.is_exact() { "=" } else { "≈" };
        out.line(format_args!("{mark} {digits} {}", unit.symbol()))?;
        rounded |= !converted.is_exact();
        object.insert(unit.symbol().to_owned(), Value::from(digits));
    }
    if rounded {
        out.line(format_args!(
            "≈ is cut to {SIGNIFICANT_DIGITS} digits, the last one rounded"
        ))?;
    }
    out.object(&object)?;
    Ok(Done::Good)
}
