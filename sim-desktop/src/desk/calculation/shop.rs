//! The pages that answer in figures and notes: torque for a preload, stretch, engagement, slope, twist.
//!
//! Knows nothing of drawing.

use std::fs::File;
use std::io::BufReader;

use super::{condition, length, plain, strength, thread, torque, torque_Nm};
use crate::load_unit::{megapascals, newtons};
use crate::mechanics::{
    Bar, Bearing, BoltInJoint, BoltShape, Condition, Engagement, Members, NutClass, Pull, TAPPED,
    TWIST_WORDS, Tapped, Wanted, nut_and_bolt, train_Nm_per_deg, twist_deg,
};
use crate::quantity::newton_meters;
use crate::rehearsal::trace_file;

/// An answer in figures, the first the one asked for, and what to know about it.
#[derive(Clone, Debug, Default)]
pub(in crate::desk) struct Figures {
    /// Name, value and unit of each.
    pub rows: Vec<(&'static str, String, &'static str)>,
    /// Whether something in it should not be left as it is.
    pub caution: bool,
    /// What it rests on and how far it may be off.
    pub notes: Vec<String>,
}

impl Figures {
    fn row(&mut self, name: &'static str, value: String, unit: &'static str) {
        self.rows.push((name, value, unit));
    }
}

fn said(error: impl std::error::Error) -> String {
    error.to_string()
}

/// The torque for a preload: a force, a share of the proof load in %, or a share of yield with the word behind it.
pub(in crate::desk) fn wanted(
    thread_text: &str,
    class: &str,
    wanted_text: &str,
    condition_text: &str,
) -> Result<Figures, String> {
    let thread = thread(thread_text)?;
    let strength = strength(class, &thread)?;
    let (tension, scatter, assumed) = condition(condition_text)?;
    let text = wanted_text.trim();
    let wanted = match text.split_once('%') {
        Some((number, rest)) => {
            let share = plain("share in %", number, 1.0, 100.0)? / 100.0;
            match rest.trim().to_lowercase().as_str() {
                "" | "proof" | "of proof" => Wanted::ProofShare(share),
                "yield" | "of yield" => Wanted::YieldShare(share),
                other => {
                    return Err(format!(
                        "share of \u{201c}{other}\u{201d}; allowed: 75 % of proof, 90 % of yield"
                    ));
                }
            }
        }
        None => Wanted::Force(newtons(text).map_err(said)?),
    };
    let (torque, load) = wanted
        .torque(
            &thread,
            &strength,
            Bearing::hexagon(&thread),
            tension,
            scatter,
        )
        .map_err(said)?;
    let mut figures = Figures {
        caution: load.high_N / load.preload_N * load.proof_ratio > 1.0,
        ..Figures::default()
    };
    figures.row("Torque", format!("{torque:.1}"), "N·m");
    figures.row("Preload", format!("{:.1}", load.preload_N / 1000.0), "kN");
    figures.row(
        "Between, likely",
        format!("{:.1} to {:.1}", load.low_N / 1000.0, load.high_N / 1000.0),
        "kN",
    );
    figures.row(
        "Of the proof load",
        format!("{:.0}", load.proof_ratio * 100.0),
        "%",
    );
    figures.row(
        "Of yield, with torsion",
        format!("{:.0}", load.yield_ratio * 100.0),
        "%",
    );
    if figures.caution {
        figures
            .notes
            .push("The scatter reaches beyond the proof load.".to_owned());
    }
    figures.notes.push(format!(
        "Calculated with {assumed} and a hexagon head. Friction decides: the same torque may give any preload in that range. Where the maker states a torque, that is the torque."
    ));
    Ok(figures)
}

/// A bolt over a grip in steel, or in what is written behind the grip: `40 mm aluminium`.
fn in_joint(
    thread_text: &str,
    class: &str,
    grip: &str,
    mu: f64,
) -> Result<(BoltShape, BoltInJoint, Members), String> {
    let thread = thread(thread_text)?;
    let strength = strength(class, &thread)?;
    let grip = grip.trim();
    let named = ["aluminium", "aluminum", "cast iron", "steel"]
        .into_iter()
        .find_map(|word| Some((grip.strip_suffix(word)?, Members::from_text(word)?)));
    let (grip, members) = named.unwrap_or((grip, Members::Steel));
    let shape = BoltShape::new(thread, length("grip", grip)?, None, None).map_err(said)?;
    let bolt = BoltInJoint::new(&shape, &strength, members, mu).map_err(said)?;
    Ok((shape, bolt, members))
}

/// Load, stretch and angle from any one of them; which it is, its unit says.
pub(in crate::desk) fn stretch(
    thread: &str,
    class: &str,
    grip: &str,
    from: &str,
) -> Result<Figures, String> {
    let mu = Condition::Oiled.friction().thread;
    let (shape, bolt, members) = in_joint(thread, class, grip, mu)?;
    let from = from.trim();
    let degrees = from.strip_suffix('°').or_else(|| from.strip_suffix("deg"));
    let at = match degrees {
        Some(number) => bolt.at_angle(plain("angle", number, 0.0, 36_000.0)?),
        None if from.ends_with("mm") || from.ends_with("in") || from.ends_with("thou") => {
            bolt.at_stretch(length("stretch", from)?)
        }
        None => bolt.at_load(newtons(from).map_err(|error| {
            format!("{error}; allowed: a load (40 kN), an angle (90°) or a stretch (0.1 mm)")
        })?),
    }
    .map_err(said)?;
    let yields = bolt.at_load(bolt.yield_N).map_err(said)?;
    let mut figures = Figures {
        caution: at.yield_ratio > 1.0,
        ..Figures::default()
    };
    figures.row("Load", format!("{:.1}", at.load_N / 1000.0), "kN");
    figures.row("Angle from snug", format!("{:.0}", at.angle_deg), "°");
    figures.row("Stretch", format!("{:.3}", at.stretch_mm), "mm");
    figures.row("Of it for good", format!("{:.3}", at.permanent_mm), "mm");
    figures.row(
        "Of the proof load",
        format!("{:.0}", at.proof_ratio * 100.0),
        "%",
    );
    figures.row(
        "Yields at",
        format!("{:.1} kN, {:.0}", bolt.yield_N / 1000.0, yields.angle_deg),
        "°",
    );
    figures.row(
        "Stiffness bolt, parts",
        format!(
            "{:.0}, {:.0}",
            bolt.bolt_N_per_mm / 1000.0,
            bolt.members_N_per_mm / 1000.0
        ),
        "kN/mm",
    );
    if figures.caution {
        figures
            .notes
            .push("Beyond yield: part of the stretch stays for good.".to_owned());
    }
    figures.notes.push(format!(
        "Oiled, {:.0} mm of the {:.0} mm grip shank, parts of {}.",
        shape.shank_mm,
        shape.grip_mm,
        members.word()
    ));
    figures.notes.extend(bolt.words(&at));
    Ok(figures)
}

/// What a bolt must be screwed into and how deep: a material's name, its shear strength (`130 MPa`), or `nut 8`.
pub(in crate::desk) fn engagement(
    thread_text: &str,
    class: &str,
    into: &str,
    length_text: &str,
) -> Result<Figures, String> {
    let thread = thread(thread_text)?;
    let strength = strength(class, &thread)?;
    let into = into.trim();
    let nut = match into.to_lowercase().strip_prefix("nut") {
        Some(class) => Some(NutClass::from_text(class).map_err(said)?),
        None => None,
    };
    let tapped = match (nut, Tapped::named(into)) {
        (Some(nut), _) => Tapped::nut(nut, thread.major_mm).map_err(said)?,
        (None, Some(tapped)) => tapped,
        (None, None) => {
            let shear_MPa = megapascals(into).map_err(|error| {
                let names: Vec<&str> = TAPPED.iter().map(|row| row.0).collect();
                format!(
                    "\u{201c}{into}\u{201d} is neither a material ({}), nor a nut (nut 8), nor a shear strength (130 MPa): {error}",
                    names.join(", ")
                )
            })?;
            Tapped::of_shear(shear_MPa)
        }
    };
    let engagement = Engagement::new(&thread, &strength, &tapped).map_err(said)?;
    let mut figures = Figures::default();
    figures.row(
        "Length needed",
        format!("{:.1}", engagement.needed_mm),
        "mm",
    );
    figures.row(
        "In diameters",
        format!("{:.1}", engagement.needed_mm / thread.major_mm),
        "d",
    );
    figures.row(
        "Bolt breaks from",
        format!("{:.1}", engagement.bolt_N / 1000.0),
        "kN",
    );
    let pair = match nut {
        Some(nut) => Some(nut_and_bolt(nut, &thread, &strength).map_err(said)?),
        None => None,
    };
    // A nut's own test is better known than what its threads are calculated to bear.
    let weak = pair.as_ref().is_some_and(|pair| !pair.strong_enough);
    figures.caution = weak;
    if !length_text.trim().is_empty() {
        let at = engagement
            .at(length("length engaged", length_text)?)
            .map_err(said)?;
        figures.row(
            "Bolt's thread strips at",
            format!("{:.1}", at.external_N / 1000.0),
            "kN",
        );
        figures.row(
            "The other strips at",
            format!("{:.1}", at.internal_N / 1000.0),
            "kN",
        );
        figures.caution |= !at.sound();
        if !weak {
            figures.notes.push(format!("First: {}.", at.words()));
        }
    }
    if let Some(pair) = pair {
        figures.notes.push(format!("Nut: {}.", pair.why));
    }
    figures.notes.push(engagement.words(&tapped));
    Ok(figures)
}

/// Friction and preload from the slope of a recorded pull; `train` may be empty.
pub(in crate::desk) fn slope(
    thread: &str,
    class: &str,
    grip: &str,
    train: &str,
    path: &str,
) -> Result<Figures, String> {
    let mu = Condition::Oiled.friction().thread;
    let (shape, bolt, _) = in_joint(thread, class, grip, mu)?;
    let train = match train.trim() {
        "" => None,
        text => {
            let torque_text = text
                .split_once('/')
                .filter(|(_, per)| matches!(per.trim(), "°" | "deg"))
                .map(|(torque_text, _)| torque_text)
                .ok_or_else(|| {
                    format!("train is \u{201c}{text}\u{201d}; allowed: 20 N·m/°, or nothing")
                })?;
            Some(torque_Nm(torque(torque_text)?))
        }
    };
    let path = path.trim();
    if path.is_empty() {
        return Err(
            "no trace file given; allowed: a CSV file with time_s,torque_Nm,angle_deg".to_owned(),
        );
    }
    let file = File::open(path).map_err(|error| format!("cannot read {path}: {error}"))?;
    let samples =
        trace_file::read(BufReader::new(file)).map_err(|error| format!("{path}: {error}"))?;
    let pull = Pull::recorded(
        samples.iter().map(|(_, sample)| {
            (
                newton_meters(sample.torque),
                f64::from(sample.rotation.millidegrees()) / 1000.0,
            )
        }),
        &shape.thread,
        train,
        0.0,
    );
    let slope = pull
        .estimate(&shape.thread, Bearing::hexagon(&shape.thread), &bolt)
        .map_err(|error| format!("{path}: {error}"))?;
    let mut figures = Figures::default();
    figures.row(
        "Preload at the end",
        format!("{:.1}", slope.preload_N / 1000.0),
        "kN",
    );
    figures.row(
        "Between, likely",
        format!(
            "{:.1} to {:.1}",
            slope.preload_low_N / 1000.0,
            slope.preload_high_N / 1000.0
        ),
        "kN",
    );
    figures.row("Friction", format!("{:.2}", slope.friction), "");
    figures.row(
        "Between, likely",
        format!("{:.2} to {:.2}", slope.friction_low, slope.friction_high),
        "",
    );
    figures.row("Nut factor K", format!("{:.2}", slope.nut_factor), "");
    figures.row(
        "Slope",
        format!(
            "{:.3} ± {:.3}",
            slope.slope_Nm_per_deg, slope.slope_uncertainty
        ),
        "N·m/°",
    );
    figures.row("Up to", format!("{:.1}", slope.peak_Nm), "N·m");
    figures.notes = slope.notes;
    figures
        .notes
        .push("An estimate: it judges nothing and changes no record.".to_owned());
    Ok(figures)
}

/// The twist of bars one after another, commas between them, under a torque.
pub(in crate::desk) fn twist(bars: &str, torque_text: &str) -> Result<Figures, String> {
    let bars: Vec<Bar> = bars
        .split(';')
        .map(|bar| bar.parse().map_err(said))
        .collect::<Result<_, String>>()?;
    let torque = torque_Nm(torque(torque_text)?);
    let mut figures = Figures::default();
    figures.row(
        "Per 100 N·m",
        format!("{:.1}", twist_deg(&bars, 100.0)),
        "°",
    );
    figures.row(
        "At this torque",
        format!("{:.1}", twist_deg(&bars, torque)),
        "°",
    );
    figures.row(
        "Train, for the plan",
        Bar::train_words(train_Nm_per_deg(&bars)),
        "N·m/°",
    );
    figures.notes.push(TWIST_WORDS.to_owned());
    Ok(figures)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(figures: &Figures, name: &str) -> String {
        let row = figures.rows.iter().find(|row| row.0 == name);
        row.unwrap_or_else(|| panic!("no {name} in {figures:?}"))
            .1
            .clone()
    }

    #[test]
    fn the_torque_for_a_preload_is_the_textbooks() {
        // T = K·d·F [Shigley eq. 8-27]: 20 kN × 0.2 × 10 mm = 40 N·m
        let figures = wanted("M10", "8.8", "20 kN", "k 0.2").unwrap();
        assert_eq!(value(&figures, "Torque"), "40.0");
        // [Shigley 9e solution 8-29] 476 N·m for 0.9 of the proof load of M20, class 8.8
        let torque: f64 = value(&wanted("M20", "8.8", "90 %", "k 0.18").unwrap(), "Torque")
            .parse()
            .unwrap();
        assert!((torque - 476.0).abs() < 1.0, "{torque}");
        assert!(wanted("M20", "8.8", "90 % of yield", "oiled").is_ok());
        assert!(
            wanted("M20", "8.8", "90 % of hope", "oiled")
                .unwrap_err()
                .contains("of proof")
        );
        assert!(wanted("M20", "8.8", "lots", "oiled").is_err());
    }

    #[test]
    fn load_angle_and_stretch_lead_to_one_another() {
        let from_load = stretch("M12", "10.9", "60 mm", "40 kN").unwrap();
        let angle = value(&from_load, "Angle from snug");
        let back = stretch("M12", "10.9", "60 mm", &format!("{angle}°")).unwrap();
        let load: f64 = value(&back, "Load").parse().unwrap();
        // The angle is shown to a whole degree, worth 1.6 kN here.
        assert!((load - 40.0).abs() < 0.9, "{load}");
        let soft = stretch("M12", "10.9", "60 mm aluminium", "40 kN").unwrap();
        assert_ne!(value(&soft, "Angle from snug"), angle);
        assert!(
            stretch("M12", "10.9", "60 mm", "400 kN")
                .unwrap_err()
                .contains("outside")
        );
        assert!(
            stretch("M12", "10.9", "60 mm", "far")
                .unwrap_err()
                .contains("40 kN")
        );
        assert!(stretch("M12", "10.9", "60 mm", "240°").unwrap().caution);
    }

    #[test]
    fn a_thread_that_strips_is_a_caution() {
        assert!(
            engagement("M10", "8.8", "aluminium", "8 mm")
                .unwrap()
                .caution
        );
        assert!(
            !engagement("M10", "8.8", "aluminium", "20 mm")
                .unwrap()
                .caution
        );
        assert!(engagement("M10", "10.9", "nut 8", "").unwrap().caution);
        assert!(engagement("M10", "10.9", "130 MPa", "").is_ok());
        assert!(
            engagement("M10", "10.9", "cheese", "")
                .unwrap_err()
                .contains("cast-iron")
        );
        assert!(
            engagement("M10", "10.9", "nut 9", "")
                .unwrap_err()
                .contains("10, 12")
        );
    }

    #[test]
    fn an_extension_winds_up_and_bad_ones_are_told() {
        // G·J/L with 79 GPa (derived): 10 × 250 mm 18.5° for each 100 N·m
        assert_eq!(
            value(&twist("10 x 250", "50 N·m").unwrap(), "Per 100 N·m"),
            "18.5"
        );
        assert!(twist("10 x 250; square 9.5 x 40", "50 N·m").is_ok());
        assert!(twist("stick", "50 N·m").unwrap_err().contains("stick"));
        assert!(
            slope("M10", "8.8", "40 mm", "", "")
                .unwrap_err()
                .contains("CSV")
        );
        assert!(
            slope("M10", "8.8", "40 mm", "soft", "x.csv")
                .unwrap_err()
                .contains("20 N·m/°")
        );
    }
}
