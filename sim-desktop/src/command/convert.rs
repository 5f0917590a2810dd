//! `evendraw convert`: a torque in every unit.
//!
//! Knows nothing of the fractions: the core has them.

use crate::quantity::{Converted, TorqueUnit, Unit};
use clap::Args as ClapArgs;
use serde_json::{Map, Value};

use super::value::{TypedTorque, torque};
use super::{CommandError, Done, Output};
use crate::words::short;

/// A torque in every unit: in short, or with every digit under --json.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw convert \"33.2 lbf·ft\"\n  \
        evendraw convert \"66 in-lb\"\n  \
        evendraw convert \"4,7 kgf·m\" --json\n\n\
        1 lb is 0.45359237 kg, standard gravity 9.80665 m/s² and 1 in 25.4 mm, all exact. Shown are four digits, or as many as were \
        typed; ≈ marks what was rounded for it. With --json every digit is given; decimals that never end are cut to 20 digits there, the last \
        one rounded to the nearest.")]
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
    for unit in UNITS {
        let converted = Converted::new(args.torque, unit);
        let (short, exact) = short(args.torque, unit);
        let mark = if exact { "=" } else { "≈" };
        out.line(format_args!("{mark} {short} {}", unit.symbol()))?;
        object.insert(unit.symbol().to_owned(), Value::from(converted.to_string()));
    }
    out.object(&object)?;
    Ok(Done::Good)
}
