//! Quantities of the plan: the core reads and converts them; here what is wrong gets its place in the file.
//!
//! Knows no unit itself.

use std::ops::Range;

use crate::quantity::{
    AngleUnit, LengthUnit, Quantity, QuantityError, SpanUnit, Target, Tolerance, TorqueUnit, Unit,
    printed_targets,
};
use evendraw_core::procedure::{AngleWindow, TorqueWindow};
use evendraw_core::unit::{Angle, Length, Span, Torque};

use super::tree::{Place, Typed};

/// What a torque is held to where the plan is silent.
const TORQUE_WITHIN: &str = "±4 %";
/// What an angle is held to where the plan is silent.
const ANGLE_WITHIN: &str = "±5°";

/// Reads `33.2 lbf·ft`, `24..28 lbf·ft`, `max 10 N·m`.
pub(super) fn target<U: Unit>(typed: &Typed<'_>) -> Option<Target<U>> {
    let target = kept(typed, Target::<U>::parse(&typed.text))?;
    let smallest = target.high().or(target.low()).map_or(0, Quantity::amount);
    if smallest > 0 {
        return Some(target);
    }
    typed.place.error(
        format!("`{}` is not above zero", typed.text),
        "here",
        "the direction is said by the stage, not by a sign",
    );
    None
}

/// Reads one value without range or limit, above zero.
pub(super) fn single<U: Unit>(typed: &Typed<'_>) -> Option<Quantity<U>> {
    match target::<U>(typed)? {
        Target::Exact(value) => Some(value),
        _ => {
            typed.place.error(
                format!("`{}` is more than one value", typed.text),
                "here",
                "one value with its unit is wanted",
            );
            None
        }
    }
}

/// Reads a tolerance; none where the plan is silent or it cannot be read.
fn tolerance<U: Unit>(typed: Option<&Typed<'_>>) -> Option<Tolerance<U>> {
    let typed = typed?;
    kept(typed, Tolerance::<U>::parse(&typed.text))
}

/// The window of one torque of which nothing is typed; none for a range or a limit, which are windows themselves.
pub(super) fn usual_torque(target: &str) -> Option<&'static str> {
    is_one::<TorqueUnit>(target).then_some(TORQUE_WITHIN)
}

/// Likewise of one angle.
pub(super) fn usual_angle(target: &str) -> Option<&'static str> {
    is_one::<AngleUnit>(target).then_some(ANGLE_WITHIN)
}

fn is_one<U: Unit>(target: &str) -> bool {
    matches!(Target::<U>::parse(target), Ok(Target::Exact(_)))
}

/// What a torque is held to.
pub(super) fn torque_tolerance(typed: Option<&Typed<'_>>) -> Option<Tolerance<TorqueUnit>> {
    tolerance(typed).or_else(|| Tolerance::parse(TORQUE_WITHIN).ok())
}

/// What an angle is held to.
pub(super) fn angle_tolerance(typed: Option<&Typed<'_>>) -> Option<Tolerance<AngleUnit>> {
    tolerance(typed).or_else(|| Tolerance::parse(ANGLE_WITHIN).ok())
}

/// The window of a torque; a range is aimed at in its middle, a limit from inside.
pub(super) fn torque_window(
    typed: &Typed<'_>,
    target: &Target<TorqueUnit>,
    within: &Tolerance<TorqueUnit>,
) -> Option<TorqueWindow> {
    match target.window(within) {
        Ok(window) => Some(window),
        Err(error) => {
            typed.place.error(error.to_string(), "here", "");
            None
        }
    }
}

/// The window of an angle; a range is aimed at its low edge.
pub(super) fn angle_window(
    typed: &Typed<'_>,
    target: &Target<AngleUnit>,
    within: &Tolerance<AngleUnit>,
) -> Option<AngleWindow> {
    match target.window(within) {
        Ok(window) => Some(match target {
            // Manuals that print 90-94° want 90° reached and 94° not passed.
            Target::Range { .. } => AngleWindow {
                target: window.min,
                ..window
            },
            _ => window,
        }),
        Err(error) => {
            typed.place.error(error.to_string(), "here", "");
            None
        }
    }
}

/// The limits of a length: a range, or one value with its tolerance.
pub(super) fn length_window(
    typed: &Typed<'_>,
    within: Option<&Typed<'_>>,
) -> Option<(Length, Length)> {
    let target = kept(typed, Target::<LengthUnit>::parse(&typed.text))?;
    let given = tolerance::<LengthUnit>(within);
    let silent = || Tolerance::parse("±0 mm").ok();
    match (within, &target) {
        (None, Target::Exact(_)) => {
            typed.place.error(
                format!("length `{}` has no limits", typed.text),
                "here",
                "give a range, \"0.05..0.15 mm\", a limit, \"max 0.15 mm\", or add within = \"±0.01 mm\"",
            );
            None
        }
        (Some(within), other) if !matches!(other, Target::Exact(_)) => {
            two_tolerances(within, "length");
            None
        }
        _ => Some(target.window(&given.or_else(silent)?)),
    }
}

/// Says that limits are given twice.
pub(super) fn two_tolerances(within: &Typed<'_>, what: &str) {
    within.place.error(
        format!("limits given twice: the {what} has its own"),
        "too much",
        format!("leave out `within`, or give one {what}"),
    );
}

/// Compares a torque with its second printed value: half the last printed digit of each plus 2 % may lie between.
pub(super) fn compare_printed(first: &Target<TorqueUnit>, printed: &Typed<'_>) -> Option<()> {
    let second = target::<TorqueUnit>(printed)?;
    if let Err(disagreement) = printed_targets(first, &second) {
        let mut would = Vec::new();
        if let Some(unit) = disagreement.second_would_agree_in {
            would.push(format!(
                "{} {}",
                disagreement.second.number(),
                unit.symbol()
            ));
        }
        if let Some(unit) = disagreement.first_would_agree_in {
            would.push(format!("{} {}", disagreement.first.number(), unit.symbol()));
        }
        let ask = "one of the two is misprinted: ask for the source, take neither";
        let allowed = if would.is_empty() {
            ask.to_owned()
        } else {
            format!("{ask} ({} would agree)", would.join(", or "))
        };
        let said = disagreement.to_string();
        let what = said.split("; ").next().unwrap_or(&said).to_owned();
        printed
            .place
            .error(what, "does not go with the torque", allowed);
    }
    Some(())
}

/// One torque.
pub(super) fn torque(typed: &Typed<'_>) -> Option<Torque> {
    single::<TorqueUnit>(typed).map(Quantity::torque)
}

/// One angle.
pub(super) fn angle(typed: &Typed<'_>) -> Option<Angle> {
    single::<AngleUnit>(typed).map(Quantity::angle)
}

/// An angle that may be zero or negative.
pub(super) fn bearing_deg(typed: &Typed<'_>) -> Option<f64> {
    let quantity = kept(typed, Quantity::<AngleUnit>::parse(&typed.text))?;
    Some(f64::from(quantity.angle().millidegrees()) / 1_000.0)
}

/// A length in mm, for the map and for mechanics; zero and negative allowed.
pub(super) fn millimetres(typed: &Typed<'_>) -> Option<f64> {
    let quantity = kept(typed, Quantity::<LengthUnit>::parse(&typed.text))?;
    Some(f64::from(quantity.length().micrometers()) / 1_000.0)
}

/// A time.
pub(super) fn span(typed: &Typed<'_>) -> Option<Span> {
    kept(typed, Quantity::<SpanUnit>::parse(&typed.text)).map(Quantity::span)
}

/// A stiffness, torque over degree, in mN·m per degree: `20 N·m/°`.
pub(super) fn rate(typed: &Typed<'_>) -> Option<u32> {
    let torque = typed
        .text
        .split_once('/')
        .filter(|(_, per)| matches!(per.trim(), "°" | "deg"))
        .map(|(torque, _)| torque);
    let Some(torque) = torque else {
        typed.place.error(
            format!("`{}` is not a torque per degree", typed.text),
            "here",
            "write it as \"20 N·m/°\"",
        );
        return None;
    };
    let part = Typed {
        text: torque.trim().to_owned(),
        place: typed.place.clone(),
    };
    let quantity = single::<TorqueUnit>(&part)?;
    u32::try_from(quantity.torque().millinewton_meters()).ok()
}

/// A tool's accuracy in parts per million.
pub(super) fn share(typed: &Typed<'_>) -> Option<i64> {
    use crate::quantity::PercentUnit;
    let text = Typed {
        text: typed.text.trim_start_matches('±').trim().to_owned(),
        place: typed.place.clone(),
    };
    kept(&text, Quantity::<PercentUnit>::parse(&text.text)).map(Quantity::parts_per_million)
}

/// A positive decimal number without a unit, in thousandths.
pub(super) fn thousandths(text: &str) -> Option<i64> {
    let text = text.trim();
    let (whole, decimals) = text.split_once(['.', ',']).unwrap_or((text, ""));
    let digits = |text: &str| text.chars().all(|c| c.is_ascii_digit());
    if decimals.len() > 3 || whole.is_empty() || !digits(whole) || !digits(decimals) {
        return None;
    }
    let whole: i64 = whole.parse().ok()?;
    let decimals: i64 = format!("{decimals:0<3}").parse().ok()?;
    whole
        .checked_mul(1_000)?
        .checked_add(decimals)
        .filter(|&number| number > 0)
}

fn kept<T>(typed: &Typed<'_>, read: Result<T, QuantityError>) -> Option<T> {
    match read {
        Ok(value) => Some(value),
        Err(error) => {
            let allowed = match error.hint() {
                Some(hint) => hint.to_owned(),
                None => format!("allowed are {}", error.allowed),
            };
            inside(typed, error.from..error.to).error(
                format!("`{}`: {}", typed.text, error.fault),
                "here",
                allowed,
            );
            None
        }
    }
}

/// The place of a part of a text, if the text stands in the file as it is; else the whole text's.
fn inside<'d>(typed: &Typed<'d>, part: Range<usize>) -> Place<'d> {
    let whole = typed.place.bytes();
    let length = typed.text.len();
    // The text between its quotes, without an escape in it.
    if whole.len() != length.saturating_add(2) || part.end > length {
        return typed.place.clone();
    }
    let start = whole.start.saturating_add(1);
    let end = part.end.max(part.start.saturating_add(1)).min(length);
    let bytes = start.saturating_add(part.start)..start.saturating_add(end.max(part.start));
    Place::new(bytes, typed.place.to)
}

/// A torque in N·m for a message, without trailing zeros.
pub(super) fn newton_meters(torque: Torque) -> String {
    let value = torque.millinewton_meters();
    let text = format!("{}.{:03}", value / 1_000, (value % 1_000).abs());
    let text = text.trim_end_matches('0').trim_end_matches('.');
    format!("{text} N·m")
}
