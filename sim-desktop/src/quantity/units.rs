//! The units, each as an exact fraction of the core's own, and the spellings that manuals use for them.
//!
//! Knows nothing of numbers.

use super::Fault;

/// A unit of one kind of quantity.
pub trait Unit: Copy + Eq + std::fmt::Debug + 'static {
    /// Symbols of every unit of the kind, for messages.
    const ALLOWED: &'static str;
    /// Whether values below zero mean something.
    const SIGNED: bool;
    /// Largest size in the core's unit.
    const AMOUNT_MAX: u64;
    /// What a stroke in the unit is reported as.
    const STROKE: Fault = Fault::UnitUnknown;

    /// The symbol printed.
    fn symbol(self) -> &'static str;

    /// The symbol as it stands after a number, its space before it; `one` where the number is one or less.
    fn after_number(self, one: bool) -> (&'static str, &'static str) {
        let _ = one;
        (" ", self.symbol())
    }

    /// How many of the core's unit it is: an exact fraction.
    fn ratio(self) -> (u64, u64);

    /// The unit of a spelling, in lower case with everything but letters taken out; `as_typed` is the text itself.
    ///
    /// # Errors
    /// The [`Fault`] to report.
    fn from_letters(letters: &str, as_typed: &str) -> Result<Self, Fault>;
}

/// A unit of torque.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TorqueUnit {
    /// N·m.
    NewtonMeter,
    /// lbf·ft.
    PoundFoot,
    /// lbf·in.
    PoundInch,
    /// kgf·m.
    KilogramMeter,
    /// kgf·cm.
    KilogramCentimeter,
    /// ozf·in.
    OunceInch,
    /// N·cm.
    NewtonCentimeter,
    /// mN·m.
    MillinewtonMeter,
    /// kN·m.
    KilonewtonMeter,
    /// daN·m.
    DecanewtonMeter,
}

impl TorqueUnit {
    /// Every unit, the commonest first.
    pub const ALL: [Self; 10] = [
        Self::NewtonMeter,
        Self::PoundFoot,
        Self::PoundInch,
        Self::KilogramMeter,
        Self::KilogramCentimeter,
        Self::OunceInch,
        Self::NewtonCentimeter,
        Self::MillinewtonMeter,
        Self::KilonewtonMeter,
        Self::DecanewtonMeter,
    ];
}

impl Unit for TorqueUnit {
    const ALLOWED: &'static str =
        "N·m, lbf·ft, lbf·in, kgf·m, kgf·cm, ozf·in, N·cm, mN·m, daN·m, kN·m";
    const SIGNED: bool = false;
    const AMOUNT_MAX: u64 = 1_000_000_000;
    const STROKE: Fault = Fault::Stroke;

    fn symbol(self) -> &'static str {
        match self {
            Self::NewtonMeter => "N·m",
            Self::PoundFoot => "lbf·ft",
            Self::PoundInch => "lbf·in",
            Self::KilogramMeter => "kgf·m",
            Self::KilogramCentimeter => "kgf·cm",
            Self::OunceInch => "ozf·in",
            Self::NewtonCentimeter => "N·cm",
            Self::MillinewtonMeter => "mN·m",
            Self::KilonewtonMeter => "kN·m",
            Self::DecanewtonMeter => "daN·m",
        }
    }

    // By definition 1 lb = 0.45359237 kg, standard gravity 9.80665 m/s², 1 in = 25.4 mm, all exact
    // [NIST SP 811, appendix B; pint 0.25 in Fraction mode gives the same].
    fn ratio(self) -> (u64, u64) {
        match self {
            Self::NewtonMeter => (1_000, 1),
            Self::PoundFoot => (3_389_544_870_828_501, 2_500_000_000_000),
            Self::PoundInch => (1_129_848_290_276_167, 10_000_000_000_000),
            Self::KilogramMeter => (196_133, 20),
            Self::KilogramCentimeter => (196_133, 2_000),
            Self::OunceInch => (1_129_848_290_276_167, 160_000_000_000_000),
            Self::NewtonCentimeter => (10, 1),
            Self::MillinewtonMeter => (1, 1),
            Self::KilonewtonMeter => (1_000_000, 1),
            Self::DecanewtonMeter => (10_000, 1),
        }
    }

    fn from_letters(letters: &str, as_typed: &str) -> Result<Self, Fault> {
        match letters {
            "" => return Err(Fault::UnitMissing),
            // A hundredth of a newton at a metre is a newton at a centimetre.
            "cnm" => return Ok(Self::NewtonCentimeter),
            _ => {}
        }
        match force(letters) {
            Some(Force::Pound) => return Err(Fault::PoundAlone),
            Some(_) => return Err(Fault::ForceAlone),
            None => {}
        }
        let found = LEVERS.into_iter().find_map(|(word, lever)| {
            let after = letters.strip_suffix(word).and_then(force);
            // Lever first, as in in-lb and mkp; not for newtons, since mN is a force of its own.
            let before = letters.strip_prefix(word).and_then(force).filter(|force| {
                !matches!(
                    force,
                    Force::Newton | Force::Kilonewton | Force::Millinewton
                )
            });
            after.or(before).and_then(|force| torque(force, lever))
        });
        match found {
            // M would be a million times m: its case is not guessed.
            Some(Self::MillinewtonMeter) if !as_typed.trim_start().starts_with('m') => {
                Err(Fault::UnitUnknown)
            }
            Some(unit) => Ok(unit),
            None => Err(Fault::UnitUnknown),
        }
    }
}

#[derive(Clone, Copy)]
enum Force {
    Newton,
    Millinewton,
    Decanewton,
    Kilonewton,
    Pound,
    Ounce,
    Kilogram,
}

#[derive(Clone, Copy)]
enum Lever {
    Meter,
    Centimeter,
    Foot,
    Inch,
}

const LEVERS: [(&str, Lever); 16] = [
    ("m", Lever::Meter),
    ("meter", Lever::Meter),
    ("meters", Lever::Meter),
    ("metre", Lever::Meter),
    ("metres", Lever::Meter),
    ("cm", Lever::Centimeter),
    ("centimeter", Lever::Centimeter),
    ("centimeters", Lever::Centimeter),
    ("centimetre", Lever::Centimeter),
    ("centimetres", Lever::Centimeter),
    ("ft", Lever::Foot),
    ("foot", Lever::Foot),
    ("feet", Lever::Foot),
    ("in", Lever::Inch),
    ("inch", Lever::Inch),
    ("inches", Lever::Inch),
];

/// The force of a spelling, the weight of a mass included: manuals print lb and kg for it.
fn force(letters: &str) -> Option<Force> {
    Some(match letters {
        "n" | "newton" | "newtons" => Force::Newton,
        "mn" | "millinewton" | "millinewtons" => Force::Millinewton,
        "dan" | "decanewton" | "decanewtons" => Force::Decanewton,
        "kn" | "kilonewton" | "kilonewtons" => Force::Kilonewton,
        "lb" | "lbs" | "lbf" | "lbsf" | "pound" | "pounds" | "poundforce" | "poundsforce" => {
            Force::Pound
        }
        "oz" | "ozs" | "ozf" | "ounce" | "ounces" | "ounceforce" | "ouncesforce" => Force::Ounce,
        "kg" | "kgs" | "kgf" | "kp" | "kilogram" | "kilograms" | "kilogramforce"
        | "kilogramsforce" | "kilopond" | "kiloponds" => Force::Kilogram,
        _ => return None,
    })
}

/// The unit of a force at a lever; none that nobody prints.
const fn torque(force: Force, lever: Lever) -> Option<TorqueUnit> {
    Some(match (force, lever) {
        (Force::Newton, Lever::Meter) => TorqueUnit::NewtonMeter,
        (Force::Newton, Lever::Centimeter) => TorqueUnit::NewtonCentimeter,
        (Force::Millinewton, Lever::Meter) => TorqueUnit::MillinewtonMeter,
        (Force::Decanewton, Lever::Meter) => TorqueUnit::DecanewtonMeter,
        (Force::Kilonewton, Lever::Meter) => TorqueUnit::KilonewtonMeter,
        (Force::Pound, Lever::Foot) => TorqueUnit::PoundFoot,
        (Force::Pound, Lever::Inch) => TorqueUnit::PoundInch,
        (Force::Ounce, Lever::Inch) => TorqueUnit::OunceInch,
        (Force::Kilogram, Lever::Meter) => TorqueUnit::KilogramMeter,
        (Force::Kilogram, Lever::Centimeter) => TorqueUnit::KilogramCentimeter,
        _ => return None,
    })
}

/// A unit of angle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AngleUnit {
    /// °.
    Degree,
    /// A whole turn, 360°.
    Turn,
}

impl Unit for AngleUnit {
    const ALLOWED: &'static str = "° (or deg) and turns";
    const SIGNED: bool = false;
    const AMOUNT_MAX: u64 = 1_000_000_000;

    fn symbol(self) -> &'static str {
        match self {
            Self::Degree => "°",
            Self::Turn => "turns",
        }
    }

    fn after_number(self, one: bool) -> (&'static str, &'static str) {
        match self {
            Self::Degree => ("", "°"),
            Self::Turn if one => (" ", "turn"),
            Self::Turn => (" ", "turns"),
        }
    }

    fn ratio(self) -> (u64, u64) {
        match self {
            Self::Degree => (1_000, 1),
            Self::Turn => (360_000, 1),
        }
    }

    fn from_letters(letters: &str, _: &str) -> Result<Self, Fault> {
        Ok(match letters {
            "deg" | "degs" | "degree" | "degrees" => Self::Degree,
            "turn" | "turns" | "rev" | "revs" | "revolution" | "revolutions" => Self::Turn,
            "" => return Err(Fault::UnitMissing),
            _ => return Err(Fault::UnitUnknown),
        })
    }
}

/// A unit of length.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LengthUnit {
    /// mm.
    Millimeter,
    /// cm.
    Centimeter,
    /// m.
    Meter,
    /// µm.
    Micrometer,
    /// in.
    Inch,
    /// A thousandth of an inch.
    Thou,
    /// ft.
    Foot,
}

impl Unit for LengthUnit {
    const ALLOWED: &'static str = "mm, cm, m, µm, in, thou, ft";
    const SIGNED: bool = true;
    const AMOUNT_MAX: u64 = 1_000_000_000;

    fn symbol(self) -> &'static str {
        match self {
            Self::Millimeter => "mm",
            Self::Centimeter => "cm",
            Self::Meter => "m",
            Self::Micrometer => "µm",
            Self::Inch => "in",
            Self::Thou => "thou",
            Self::Foot => "ft",
        }
    }

    fn ratio(self) -> (u64, u64) {
        match self {
            Self::Millimeter => (1_000, 1),
            Self::Centimeter => (10_000, 1),
            Self::Meter => (1_000_000, 1),
            Self::Micrometer => (1, 1),
            Self::Inch => (25_400, 1),
            Self::Thou => (127, 5),
            Self::Foot => (304_800, 1),
        }
    }

    fn from_letters(letters: &str, _: &str) -> Result<Self, Fault> {
        Ok(match letters {
            "mm" | "millimeter" | "millimeters" | "millimetre" | "millimetres" => Self::Millimeter,
            "cm" | "centimeter" | "centimeters" | "centimetre" | "centimetres" => Self::Centimeter,
            "m" | "meter" | "meters" | "metre" | "metres" => Self::Meter,
            "um" | "micrometer" | "micrometers" | "micrometre" | "micrometres" => Self::Micrometer,
            "in" | "inch" | "inches" => Self::Inch,
            "thou" => Self::Thou,
            "ft" | "foot" | "feet" => Self::Foot,
            "" => return Err(Fault::UnitMissing),
            _ => return Err(Fault::UnitUnknown),
        })
    }
}

/// A unit of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum SpanUnit {
    /// ms.
    Millisecond,
    /// s.
    Second,
    /// min.
    Minute,
    /// h.
    Hour,
    /// d.
    Day,
}

impl Unit for SpanUnit {
    const ALLOWED: &'static str = "s, min, h, d, ms";
    const SIGNED: bool = false;
    // Ten years of 366 days: longer than any wait.
    const AMOUNT_MAX: u64 = 316_224_000_000_000;

    fn symbol(self) -> &'static str {
        match self {
            Self::Millisecond => "ms",
            Self::Second => "s",
            Self::Minute => "min",
            Self::Hour => "h",
            Self::Day => "d",
        }
    }

    fn ratio(self) -> (u64, u64) {
        match self {
            Self::Millisecond => (1_000, 1),
            Self::Second => (1_000_000, 1),
            Self::Minute => (60_000_000, 1),
            Self::Hour => (3_600_000_000, 1),
            Self::Day => (86_400_000_000, 1),
        }
    }

    fn from_letters(letters: &str, _: &str) -> Result<Self, Fault> {
        Ok(match letters {
            "ms" => Self::Millisecond,
            "s" | "sec" | "secs" | "second" | "seconds" => Self::Second,
            "min" | "mins" | "minute" | "minutes" => Self::Minute,
            "h" | "hr" | "hrs" | "hour" | "hours" => Self::Hour,
            "d" | "day" | "days" => Self::Day,
            "" => return Err(Fault::UnitMissing),
            _ => return Err(Fault::UnitUnknown),
        })
    }
}

/// Hundredths.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct PercentUnit;

impl Unit for PercentUnit {
    const ALLOWED: &'static str = "%";
    const SIGNED: bool = false;
    const AMOUNT_MAX: u64 = 1_000_000_000;

    fn symbol(self) -> &'static str {
        "%"
    }

    fn ratio(self) -> (u64, u64) {
        (10_000, 1)
    }

    fn from_letters(letters: &str, _: &str) -> Result<Self, Fault> {
        match letters {
            "%" | "percent" => Ok(Self),
            "" => Err(Fault::UnitMissing),
            _ => Err(Fault::UnitUnknown),
        }
    }
}
