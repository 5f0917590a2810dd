//! Quantities typed on the command line.
//!
//! Knows nothing of which command takes them.

use crate::quantity::{
    AngleUnit, Converted, LengthUnit, PercentUnit, Quantity, QuantityError, TorqueUnit, Unit,
};

use crate::load_unit::{megapascals, newtons};

/// A torque as typed.
pub(super) type TypedTorque = Quantity<TorqueUnit>;
/// A length as typed.
pub(super) type TypedLength = Quantity<LengthUnit>;
/// An angle as typed.
pub(super) type TypedAngle = Quantity<AngleUnit>;

fn quantity<U: Unit>(text: &str) -> Result<Quantity<U>, String> {
    said(Quantity::parse(text))
}

fn said<T>(read: Result<T, QuantityError>) -> Result<T, String> {
    read.map_err(|error| match error.hint() {
        Some(hint) => format!("{error} ({hint})"),
        None => error.to_string(),
    })
}

/// Reads a torque; the message carries the hint.
pub(super) fn torque(text: &str) -> Result<TypedTorque, String> {
    quantity(text)
}

/// Reads a length.
pub(super) fn length(text: &str) -> Result<TypedLength, String> {
    quantity(text)
}

/// Reads a force, in N.
pub(super) fn force(text: &str) -> Result<f64, String> {
    said(newtons(text))
}

/// Reads a stress, in MPa.
pub(super) fn stress(text: &str) -> Result<f64, String> {
    said(megapascals(text))
}

/// Reads a share in per cent, as a fraction.
pub(super) fn share(text: &str) -> Result<f64, String> {
    let read: Quantity<PercentUnit> = quantity(text)?;
    #[expect(
        clippy::cast_precision_loss,
        reason = "a share in parts per million is far below 2⁵³"
    )]
    let parts = read.parts_per_million() as f64;
    Ok(parts / 1e6)
}

/// Reads a torque for each degree, `20 N·m/°`, in N·m/°.
pub(super) fn rate(text: &str) -> Result<f64, String> {
    text.split_once('/')
        .filter(|(_, per)| matches!(per.trim(), "°" | "deg"))
        .ok_or_else(|| format!("`{text}` is not a torque per degree; allowed: 20 N·m/°"))
        .and_then(|(torque_text, _)| torque(torque_text))
        .map(newton_meters)
}

/// Reads an angle.
pub(super) fn angle(text: &str) -> Result<TypedAngle, String> {
    quantity(text)
}

/// A torque in N·m, not rounded to the core's units.
pub(super) fn newton_meters(torque: TypedTorque) -> f64 {
    Converted::new(torque, TorqueUnit::NewtonMeter)
        .to_string()
        .parse()
        .unwrap_or(f64::NAN)
}

/// The number as typed, without its unit.
pub(super) fn number<U: Unit>(quantity: Quantity<U>) -> f64 {
    let number = quantity.number().to_string().replace(',', ".");
    number.parse().unwrap_or(f64::NAN)
}

/// A length in mm, to the core's µm.
#[expect(
    clippy::cast_precision_loss,
    reason = "a length in µm is far below 2⁵³"
)]
pub(super) fn millimeters(length: TypedLength) -> f64 {
    length.amount() as f64 / 1000.0
}

/// An angle in degrees, to the core's millidegrees.
#[expect(
    clippy::cast_precision_loss,
    reason = "an angle in millidegrees is far below 2⁵³"
)]
pub(super) fn degrees(angle: TypedAngle) -> f64 {
    angle.amount() as f64 / 1000.0
}
