//! From the calculator's fields, as typed, to the shop's arithmetic, and back to words.
//!
//! Every field is read here once; what cannot be read is told with what is allowed. Knows nothing of drawing.
#![expect(non_snake_case, reason = "a unit is spelled as the unit is: kN, MPa")]

mod shop;

use crate::mechanics::{
    self, Bearing, BoltLoad, Condition, Method, OffsetAdapter, Scatter, Strength, Thread,
    TorqueTension,
};
use crate::quantity::{LengthUnit, Quantity, TorqueUnit, Unit as _};
use crate::words::short;
use evendraw_core::pattern;

pub(super) use shop::{Figures, engagement, slope, stretch, twist, wanted};

fn torque(text: &str) -> Result<Quantity<TorqueUnit>, String> {
    Quantity::parse(text.trim()).map_err(|error| error.to_string())
}

/// Torque in N·m.
fn torque_Nm(quantity: Quantity<TorqueUnit>) -> f64 {
    f64::from(quantity.torque().millinewton_meters()) / 1000.0
}

/// A length in millimetres; a bare number is taken as millimetres.
fn length(name: &str, text: &str) -> Result<f64, String> {
    let text = text.trim();
    let given = if text.chars().all(|c| c.is_ascii_digit() || ".,".contains(c)) {
        format!("{text} mm")
    } else {
        text.to_owned()
    };
    let quantity: Quantity<LengthUnit> =
        Quantity::parse(&given).map_err(|error| format!("{name}: {error}"))?;
    Ok(f64::from(quantity.length().micrometers()) / 1000.0)
}

fn plain(name: &str, text: &str, low: f64, high: f64) -> Result<f64, String> {
    let trimmed = text.trim().trim_end_matches('°').trim();
    trimmed
        .replace(',', ".")
        .parse::<f64>()
        .ok()
        .filter(|value| (low..=high).contains(value))
        .ok_or_else(|| {
            format!("{name} is \u{201c}{trimmed}\u{201d}; allowed: a number from {low} to {high}")
        })
}

/// The setting of a tool with an offset adapter.
#[derive(Clone, Debug)]
pub(super) struct Set {
    /// The reading, in the unit given, and in N·m.
    pub words: String,
    /// The factor and what it means.
    pub factor_words: String,
    /// Lever, mm.
    pub lever: f32,
    /// Offset, mm.
    pub offset: f32,
    /// Angle between them.
    pub angle_deg: f32,
    /// The lever in words.
    pub lever_words: String,
    /// The part of the offset along the handle, in words.
    pub along_words: String,
}

/// The setting for a torque at the fastener.
#[expect(
    clippy::cast_possible_truncation,
    reason = "lengths and angles for a drawing"
)]
pub(super) fn setting(
    torque_text: &str,
    lever: &str,
    offset: &str,
    angle: &str,
) -> Result<Set, String> {
    let torque = torque_Nm(torque(torque_text)?);
    let lever = length("lever", lever)?;
    let offset = length("offset", offset)?;
    let angle = plain("angle", angle, -360.0, 360.0)?;
    let adapter = OffsetAdapter::new(lever, offset, angle).map_err(|error| error.to_string())?;
    let factor = adapter.factor();
    let reading = adapter.setting(torque);
    let compare = if (factor - 1.0).abs() < 1e-9 {
        "the offset changes nothing"
    } else if factor < 1.0 {
        "lower than the target: the offset helps"
    } else {
        "higher than the target: the offset works against the handle"
    };
    Ok(Set {
        words: format!(
            "{reading:.1} N·m   ({:.1} lbf·ft)",
            reading / 1.355_817_948_331_400_4
        ),
        factor_words: format!("{torque:.1} N·m at the fastener × {factor:.4}: {compare}"),
        lever: lever as f32,
        offset: offset as f32,
        angle_deg: angle as f32,
        lever_words: format!("{lever:.0} mm"),
        along_words: format!(
            "{:.1} mm along the handle",
            offset * angle.to_radians().cos()
        ),
    })
}

/// What a torque does to one bolt.
#[derive(Clone, Debug)]
pub(super) struct Load {
    pub preload_kN: f64,
    pub low_kN: f64,
    pub high_kN: f64,
    pub stress_MPa: f64,
    pub combined_MPa: f64,
    pub area_mm2: f64,
    /// Share of the proof load.
    pub proof: f64,
    /// Lowest likely share.
    pub proof_low: f64,
    /// Highest likely share.
    pub proof_high: f64,
    /// What was assumed.
    pub note: String,
}

fn thread(text: &str) -> Result<Thread, String> {
    text.parse()
        .map_err(|error: mechanics::ThreadError| error.to_string())
}

/// A property class, or `grade` and a grade.
fn strength(class: &str, thread: &Thread) -> Result<Strength, String> {
    let class = class.trim();
    let grade = class
        .strip_prefix("grade")
        .or_else(|| class.strip_prefix("Grade"));
    match grade {
        Some(grade) => Strength::grade(grade.trim(), thread.major_mm),
        None => Strength::property_class(class, thread.major_mm),
    }
    .map_err(|error| error.to_string())
}

/// What is on the threads, or `k 0.2`: how torque becomes tension, how far it scatters, and in words what was assumed.
fn condition(text: &str) -> Result<(TorqueTension, Scatter, String), String> {
    let lower = text.trim().to_lowercase();
    match lower.strip_prefix('k') {
        Some(rest) if rest.trim_start_matches(['=', ' ']).parse::<f64>().is_ok() => {
            let k = plain("nut factor", rest.trim_start_matches(['=', ' ']), 0.02, 1.0)?;
            Ok((
                TorqueTension::NutFactor(k),
                Method::Torque.scatter(),
                format!("nut factor {k}"),
            ))
        }
        _ => {
            if lower.is_empty() {
                return Err("what is on the threads is not given; allowed: dry, oiled, threadlocker, sealant, a compound's name, or k 0.2".to_owned());
            }
            let condition = Condition::from_text(&lower);
            let friction = condition.friction();
            let method = if condition == Condition::Dry {
                Method::TorqueDry
            } else {
                Method::Torque
            };
            Ok((
                TorqueTension::Friction(friction),
                method.scatter(),
                format!(
                    "friction {} in the thread and {} under the head ({lower})",
                    friction.thread, friction.head
                ),
            ))
        }
    }
}

/// Preload, stress and scatter for a thread, a class or grade, a torque and a condition (or `k 0.2`).
pub(super) fn preload(
    thread: &str,
    class: &str,
    torque_text: &str,
    condition: &str,
) -> Result<Load, String> {
    let thread = self::thread(thread)?;
    let strength = strength(class, &thread)?;
    let torque = torque_Nm(torque(torque_text)?);
    let (tension, scatter, assumed) = self::condition(condition)?;
    let load = BoltLoad::calculate(
        &thread,
        &strength,
        Bearing::hexagon(&thread),
        tension,
        torque,
        scatter,
    )
    .map_err(|error| error.to_string())?;
    let share = |force: f64| load.proof_ratio * force / load.preload_N;
    Ok(Load {
        preload_kN: load.preload_N / 1000.0,
        low_kN: load.low_N / 1000.0,
        high_kN: load.high_N / 1000.0,
        stress_MPa: load.stress_MPa,
        combined_MPa: load.combined_MPa,
        area_mm2: load.stress_area_mm2,
        proof: load.proof_ratio,
        proof_low: share(load.low_N),
        proof_high: share(load.high_N),
        note: format!(
            "Calculated with {assumed} and a hexagon head. It is a question to ask, not a value to work to: the maker's instructions come first."
        ),
    })
}

/// Whether two threads go together.
#[derive(Clone, Debug)]
pub(super) struct Matched {
    pub fits: bool,
    pub why: String,
    pub names: [String; 2],
    /// Pitches, mm.
    pub pitches: [f32; 2],
}

/// Do these two go together?
#[expect(clippy::cast_possible_truncation, reason = "pitches for a drawing")]
pub(super) fn threads(a: &str, b: &str) -> Result<Matched, String> {
    let (a, b) = (thread(a)?, thread(b)?);
    let fit = mechanics::fit(&a, &b);
    let name = |thread: &Thread| format!("{thread}, pitch {:.3} mm", thread.pitch_mm);
    Ok(Matched {
        fits: fit.fits,
        why: fit.why,
        names: [name(&a), name(&b)],
        pitches: [a.pitch_mm as f32, b.pitch_mm as f32],
    })
}

/// That torque in every unit: the value as given first, then the others, in short.
pub(super) fn convert(text: &str) -> Result<Vec<(String, String)>, String> {
    let given = torque(text)?;
    let others = TorqueUnit::ALL
        .into_iter()
        .filter(|unit| *unit != given.unit());
    Ok(std::iter::once(given.unit())
        .chain(others)
        .map(|unit| (short(given, unit).0, unit.symbol().to_owned()))
        .collect())
}

/// An order on a circle, to be drawn.
#[derive(Clone, Debug)]
pub(super) struct Ordered {
    /// Where the fasteners are, x to the right and y down.
    pub places: Vec<[f32; 2]>,
    /// Their labels.
    pub labels: Vec<String>,
    /// The order, as indices.
    pub path: Vec<usize>,
}

/// The cross order on a circle of so many, or in turn.
pub(super) fn order(fasteners: &str, cross: bool) -> Result<Ordered, String> {
    let text = fasteners.trim();
    let number = text
        .parse::<u8>()
        .ok()
        .filter(|number| (3..=64).contains(number))
        .ok_or_else(|| format!("number of fasteners is \u{201c}{text}\u{201d}; allowed: a whole number from 3 to 64"))?;
    let mut path: Vec<u8> = (0..number).collect();
    if cross {
        pattern::cross(&mut path).map_err(|error| error.to_string())?;
    }
    let places = (0..number)
        .map(|index| {
            let turn = std::f32::consts::TAU * f32::from(index) / f32::from(number);
            [100.0 * turn.sin(), -100.0 * turn.cos()]
        })
        .collect();
    Ok(Ordered {
        places,
        labels: (1..=number).map(|label| label.to_string()).collect(),
        path: path.into_iter().map(usize::from).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::{convert, order, preload, setting, threads};

    #[test]
    fn a_torque_is_told_in_every_unit() {
        let rows = convert("33.2 lbf·ft").unwrap();
        assert_eq!(rows[0], ("33.2".to_owned(), "lbf·ft".to_owned()));
        assert!(
            rows.contains(&("398.4".to_owned(), "lbf·in".to_owned())),
            "{rows:?}"
        ); // 12 inches to a foot
        assert!(
            rows.iter()
                .any(|(value, unit)| unit == "N·m" && value == "45.01"),
            "{rows:?}"
        );
        let words = convert("33.2 lb").unwrap_err();
        assert!(words.contains("lb"), "{words}");
    }

    #[test]
    fn an_offset_adapter_changes_the_setting_as_the_manual_says() {
        // [NAVEDTRA 14315 fig. 3-45 in N·m and mm: 90 N·m, lever 300, offset 25, straight on, 83.1]
        assert!(
            setting("90 N·m", "300", "25 mm", "0")
                .unwrap()
                .words
                .starts_with("83.1 N·m")
        );
        assert!(
            setting("90 N·m", "300", "25", "180°")
                .unwrap()
                .factor_words
                .contains("higher")
        );
        let words = setting("90 N·m", "0", "25", "0").unwrap_err();
        assert!(words.contains("lever"), "{words}");
    }

    #[test]
    fn a_nut_factor_gives_the_textbook_preload() {
        // F = T/(K·d) [Shigley eq. 8-27]: 40 N·m / (0.2 × 10 mm) = 20 kN
        let load = preload("M10x1.5", "8.8", "40 N·m", "k 0.2").unwrap();
        assert!((load.preload_kN - 20.0).abs() < 1e-9, "{load:?}");
        assert!(load.low_kN < load.preload_kN && load.preload_kN < load.high_kN);
        assert!(
            preload("M10", "8.8", "40 N·m", "")
                .unwrap_err()
                .contains("dry")
        );
        assert!(
            preload("M10", "11.9", "40 N·m", "dry")
                .unwrap_err()
                .contains("11.9")
        );
    }

    #[test]
    fn threads_that_start_and_bind_are_told_apart() {
        assert!(!threads("1/8-28 BSPT", "1/8-27 NPT").unwrap().fits);
        assert!(threads("M10x1.5", "M10").unwrap().fits);
        assert!(threads("M10x1.5", "nonsense").is_err());
    }

    #[test]
    fn an_order_names_every_fastener_once() {
        let mut path = order("8", true).unwrap().path;
        assert_eq!(&path[..2], [0, 4], "the second lies opposite the first");
        path.sort_unstable();
        assert_eq!(path, (0..8).collect::<Vec<_>>());
        assert!(order("2", true).unwrap_err().contains("from 3 to 64"));
    }
}
