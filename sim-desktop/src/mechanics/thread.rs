//! Thread designations as printed, and the geometry they stand for.
//!
//! Knows nothing of strength, friction or of whether two threads go together.

use super::INCH_MM;
use std::f64::consts::PI;
use std::fmt;
use std::str::FromStr;

/// Which family a thread belongs to: this fixes its flank angle, its taper and its formulas.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ThreadKind {
    /// ISO metric, 60° flanks, parallel. [ISO 68-1]
    Metric,
    /// Unified inch, 60° flanks, parallel. [ASME B1.1]
    Unified,
    /// Parallel pipe thread that does not seal in the thread (`G`, BSPP), 55° flanks. [ISO 228-1]
    PipeParallel,
    /// Parallel internal pipe thread that seals against a taper one (`Rp`), 55° flanks. [ISO 7-1]
    PipeParallelSealing,
    /// Taper pipe thread (`R`, `Rc`, BSPT), 55° flanks, taper 1:16. [ISO 7-1]
    PipeTaper,
    /// Taper pipe thread (`NPT`), 60° flanks, taper 1:16. [ASME B1.20.1]
    NationalPipeTaper,
}

impl ThreadKind {
    /// Included angle between the flanks, degrees: 60 or 55.
    #[must_use]
    pub fn flank_angle_deg(self) -> f64 {
        match self {
            Self::Metric | Self::Unified | Self::NationalPipeTaper => 60.0,
            Self::PipeParallel | Self::PipeParallelSealing | Self::PipeTaper => 55.0,
        }
    }

    /// Whether the thread runs on a cone (1:16 on the diameter).
    #[must_use]
    pub fn tapered(self) -> bool {
        matches!(self, Self::PipeTaper | Self::NationalPipeTaper)
    }

    /// Whether this is a pipe thread of any kind.
    #[must_use]
    pub fn pipe(self) -> bool {
        !matches!(self, Self::Metric | Self::Unified)
    }
}

/// One thread: family, size and pitch.
///
/// # Examples
/// ```
/// use evendraw::mechanics::Thread;
/// let thread: Thread = "M10x1.5".parse().unwrap();
/// assert!((thread.stress_area_mm2().unwrap() - 58.0).abs() < 0.05); // [ISO 898-1 table 4]
/// assert!("3/8-17 UNC".parse::<Thread>().is_err());
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Thread {
    /// The family.
    pub kind: ThreadKind,
    /// Nominal major diameter, mm. For taper pipe threads at the gauge plane (`R`) or the pipe's outside (`NPT`).
    pub major_mm: f64,
    /// Distance from one thread to the next, mm.
    pub pitch_mm: f64,
    /// Whether it tightens anticlockwise.
    pub left_hand: bool,
    /// Nominal size as printed: `M10`, `3/8`, `No.10`, `1/8`.
    size: String,
    /// Series letters where the family has several: `UNC`, `UNF`, `G`, `R`, `NPT`…
    series: &'static str,
}

/// What was wrong with a thread designation. The message says what is allowed.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum ThreadError {
    /// Nothing was written.
    Empty,
    /// The text is of no family known here.
    Unknown(String),
    /// The family is known, the size is not in its table.
    Size {
        /// As written.
        size: String,
        /// The family's name.
        family: &'static str,
    },
    /// The size has no such pitch in the series named.
    Pitch {
        /// As written.
        size: String,
        /// Series letters.
        series: &'static str,
        /// Threads per inch as written.
        given: f64,
        /// Threads per inch the series has.
        allowed: f64,
    },
    /// The size needs a pitch: no series named.
    NoPitch(String),
    /// The pitch is not a possible one for the diameter.
    PitchRange {
        /// Major diameter, mm.
        major_mm: f64,
        /// Pitch, mm.
        pitch_mm: f64,
    },
}

impl fmt::Display for ThreadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(
                f,
                "no thread given; allowed: M10x1.5, M10, 3/8-16 UNC, No.10-32, G 1/8, R 1/8, 1/8-27 NPT"
            ),
            Self::Unknown(text) => write!(
                f,
                "thread `{text}` is not understood; allowed: M10x1.5, M10, 3/8-16 UNC, No.10-32, G 1/8, R 1/8, Rp 1/8, 1/8-28 BSPT, 1/8-27 NPT"
            ),
            Self::Size { size, family } => write!(
                f,
                "size `{size}` is not a standard size of {family}; write the pitch out, or check the size"
            ),
            Self::Pitch {
                size,
                series,
                given,
                allowed,
            } => {
                write!(
                    f,
                    "{size} {series} has {allowed} threads per inch, not {given}"
                )
            }
            Self::NoPitch(size) => write!(
                f,
                "thread `{size}` needs its threads per inch or its series: {size}-16, {size} UNC or {size} UNF"
            ),
            Self::PitchRange { major_mm, pitch_mm } => write!(
                f,
                "pitch {pitch_mm:.3} mm on a {major_mm:.3} mm thread; allowed: 0.008 to 0.4 of the diameter"
            ),
        }
    }
}

impl std::error::Error for ThreadError {}

/// Coarse series: diameter and pitch, mm. [ISO 261 table 2]
const METRIC_COARSE: [(f64, f64); 34] = [
    (1.6, 0.35),
    (2.0, 0.4),
    (2.5, 0.45),
    (3.0, 0.5),
    (3.5, 0.6),
    (4.0, 0.7),
    (5.0, 0.8),
    (6.0, 1.0),
    (7.0, 1.0),
    (8.0, 1.25),
    (10.0, 1.5),
    (11.0, 1.5),
    (12.0, 1.75),
    (14.0, 2.0),
    (16.0, 2.0),
    (18.0, 2.5),
    (20.0, 2.5),
    (22.0, 2.5),
    (24.0, 3.0),
    (27.0, 3.0),
    (30.0, 3.5),
    (33.0, 3.5),
    (36.0, 4.0),
    (39.0, 4.0),
    (42.0, 4.5),
    (45.0, 4.5),
    (48.0, 5.0),
    (52.0, 5.0),
    (56.0, 5.5),
    (60.0, 5.5),
    (64.0, 6.0),
    (68.0, 6.0),
    (1.2, 0.25),
    (1.0, 0.25),
];

/// Unified sizes: name, major diameter in inches, threads per inch coarse, fine, extra fine; 0 = none. [ASME B1.1 table 1;
/// numbered sizes: d = 0.060 + 0.013 × number]
const UNIFIED: [(&str, f64, f64, f64, f64); 32] = [
    ("No.0", 0.060, 0.0, 80.0, 0.0),
    ("No.1", 0.073, 64.0, 72.0, 0.0),
    ("No.2", 0.086, 56.0, 64.0, 0.0),
    ("No.3", 0.099, 48.0, 56.0, 0.0),
    ("No.4", 0.112, 40.0, 48.0, 0.0),
    ("No.5", 0.125, 40.0, 44.0, 0.0),
    ("No.6", 0.138, 32.0, 40.0, 0.0),
    ("No.8", 0.164, 32.0, 36.0, 0.0),
    ("No.10", 0.190, 24.0, 32.0, 0.0),
    ("No.12", 0.216, 24.0, 28.0, 32.0),
    ("1/4", 0.25, 20.0, 28.0, 32.0),
    ("5/16", 0.3125, 18.0, 24.0, 32.0),
    ("3/8", 0.375, 16.0, 24.0, 32.0),
    ("7/16", 0.4375, 14.0, 20.0, 28.0),
    ("1/2", 0.5, 13.0, 20.0, 28.0),
    ("9/16", 0.5625, 12.0, 18.0, 24.0),
    ("5/8", 0.625, 11.0, 18.0, 24.0),
    ("11/16", 0.6875, 0.0, 0.0, 24.0),
    ("3/4", 0.75, 10.0, 16.0, 20.0),
    ("13/16", 0.8125, 0.0, 0.0, 20.0),
    ("7/8", 0.875, 9.0, 14.0, 20.0),
    ("15/16", 0.9375, 0.0, 0.0, 20.0),
    ("1", 1.0, 8.0, 12.0, 20.0),
    ("1-1/8", 1.125, 7.0, 12.0, 18.0),
    ("1-1/4", 1.25, 7.0, 12.0, 18.0),
    ("1-3/8", 1.375, 6.0, 12.0, 18.0),
    ("1-1/2", 1.5, 6.0, 12.0, 18.0),
    ("1-3/4", 1.75, 5.0, 0.0, 0.0),
    ("2", 2.0, 4.5, 0.0, 0.0),
    ("2-1/4", 2.25, 4.5, 0.0, 0.0),
    ("2-1/2", 2.5, 4.0, 0.0, 0.0),
    ("3", 3.0, 4.0, 0.0, 0.0),
];

/// Whitworth-form pipe sizes: name, threads per inch, major diameter mm. [ISO 228-1 table 1; ISO 7-1 has the same at the gauge plane]
const PIPE: [(&str, f64, f64); 24] = [
    ("1/16", 28.0, 7.723),
    ("1/8", 28.0, 9.728),
    ("1/4", 19.0, 13.157),
    ("3/8", 19.0, 16.662),
    ("1/2", 14.0, 20.955),
    ("5/8", 14.0, 22.911),
    ("3/4", 14.0, 26.441),
    ("7/8", 14.0, 30.201),
    ("1", 11.0, 33.249),
    ("1-1/8", 11.0, 37.897),
    ("1-1/4", 11.0, 41.910),
    ("1-1/2", 11.0, 47.803),
    ("1-3/4", 11.0, 53.746),
    ("2", 11.0, 59.614),
    ("2-1/4", 11.0, 65.710),
    ("2-1/2", 11.0, 75.184),
    ("2-3/4", 11.0, 81.534),
    ("3", 11.0, 87.884),
    ("3-1/2", 11.0, 100.330),
    ("4", 11.0, 113.030),
    ("4-1/2", 11.0, 125.730),
    ("5", 11.0, 138.430),
    ("5-1/2", 11.0, 151.130),
    ("6", 11.0, 163.830),
];

/// National taper pipe sizes: name, threads per inch, pipe outside diameter in inches. [ASME B1.20.1 table 2; 1/8 seen, the others from
/// memory]
const NATIONAL_PIPE: [(&str, f64, f64); 16] = [
    ("1/16", 27.0, 0.3125),
    ("1/8", 27.0, 0.405),
    ("1/4", 18.0, 0.540),
    ("3/8", 18.0, 0.675),
    ("1/2", 14.0, 0.840),
    ("3/4", 14.0, 1.050),
    ("1", 11.5, 1.315),
    ("1-1/4", 11.5, 1.660),
    ("1-1/2", 11.5, 1.900),
    ("2", 11.5, 2.375),
    ("2-1/2", 8.0, 2.875),
    ("3", 8.0, 3.5),
    ("3-1/2", 8.0, 4.0),
    ("4", 8.0, 4.5),
    ("5", 8.0, 5.563),
    ("6", 8.0, 6.625),
];

impl Thread {
    /// Metric thread by diameter and pitch, mm.
    ///
    /// # Errors
    /// [`ThreadError::PitchRange`] when the pitch cannot belong to the diameter.
    pub fn metric(major_mm: f64, pitch_mm: f64) -> Result<Self, ThreadError> {
        Self::checked(
            ThreadKind::Metric,
            major_mm,
            pitch_mm,
            format!("M{}", plain(major_mm)),
            "M",
        )
    }

    fn checked(
        kind: ThreadKind,
        major_mm: f64,
        pitch_mm: f64,
        size: String,
        series: &'static str,
    ) -> Result<Self, ThreadError> {
        let ratio = pitch_mm / major_mm;
        if !(0.008..=0.4).contains(&ratio) {
            return Err(ThreadError::PitchRange { major_mm, pitch_mm });
        }
        Ok(Self {
            kind,
            major_mm,
            pitch_mm,
            left_hand: false,
            size,
            series,
        })
    }

    /// Threads per inch.
    #[must_use]
    pub fn threads_per_inch(&self) -> f64 {
        INCH_MM / self.pitch_mm
    }

    /// Nominal size as printed, without pitch: `M10`, `3/8`, `No.10`, `1/8`.
    #[must_use]
    pub fn size(&self) -> &str {
        &self.size
    }

    /// Whether its bolt has the fuller, rounded root of the UNJ form.
    #[must_use]
    pub fn rounded_root(&self) -> bool {
        self.series.starts_with("UNJ")
    }

    /// Pitch diameter d2, mm: d − 0.649519 P for 60° threads [ISO 724], d − 0.640327 P for 55° [ISO 228-1].
    #[must_use]
    pub fn pitch_diameter_mm(&self) -> f64 {
        let depth = if self.kind.flank_angle_deg() < 60.0 {
            0.640_327
        } else {
            0.649_519
        };
        self.major_mm - depth * self.pitch_mm
    }

    /// Minor diameter of the external thread at its root d3, mm: d − 1.226869 P for metric [ISO 724],
    /// d − 1.299038/n for Unified as [Shigley table 8-2] has it, d − 1.280654 P for 55° [ISO 228-1].
    #[must_use]
    pub fn minor_diameter_mm(&self) -> f64 {
        let depth = match self.kind {
            ThreadKind::Metric => 1.226_869,
            ThreadKind::Unified | ThreadKind::NationalPipeTaper => 1.299_038,
            ThreadKind::PipeParallel | ThreadKind::PipeParallelSealing | ThreadKind::PipeTaper => {
                1.280_654
            }
        };
        self.major_mm - depth * self.pitch_mm
    }

    /// Diameter d0 that stands for the stressed section, mm: (d2 + d3)/2 [VDI 2230:2001].
    #[must_use]
    pub fn stress_diameter_mm(&self) -> f64 {
        f64::midpoint(self.pitch_diameter_mm(), self.minor_diameter_mm())
    }

    /// Tensile stress area, mm²; none for pipe threads, which seal and for which no standard gives one.
    ///
    /// Metric π/4·(d − 0.938194 P)² [ISO 898-1 §9.1.6.1]; Unified π/4·(d − 0.9743/n)² [ASME B1.1 appendix B].
    #[must_use]
    pub fn stress_area_mm2(&self) -> Option<f64> {
        let depth = match self.kind {
            ThreadKind::Metric => 0.938_194,
            ThreadKind::Unified => 0.9743,
            _ => return None,
        };
        let diameter = self.major_mm - depth * self.pitch_mm;
        Some(PI / 4.0 * diameter * diameter)
    }

    /// Lead angle at the pitch diameter, degrees: atan(P/(π d2)).
    #[must_use]
    pub fn lead_angle_deg(&self) -> f64 {
        (self.pitch_mm / (PI * self.pitch_diameter_mm()))
            .atan()
            .to_degrees()
    }
}

/// Metric coarse sizes from M3 to M36 with their pitch, mm, smallest first. [ISO 261]
pub fn coarse_sizes() -> impl Iterator<Item = (f64, f64)> {
    METRIC_COARSE
        .into_iter()
        .filter(|&(d, _)| (3.0..=36.0).contains(&d))
}

impl fmt::Display for Thread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.kind {
            ThreadKind::Metric => write!(f, "{}x{}", self.size, plain(self.pitch_mm))?,
            ThreadKind::Unified => {
                write!(f, "{}-{}", self.size, plain(self.threads_per_inch()))?;
                if !self.series.is_empty() {
                    write!(f, " {}", self.series)?;
                }
            }
            ThreadKind::NationalPipeTaper => write!(
                f,
                "{}-{} {}",
                self.size,
                plain(self.threads_per_inch()),
                self.series
            )?,
            _ => write!(f, "{} {}", self.series, self.size)?,
        }
        if self.left_hand {
            write!(f, " LH")
        } else {
            Ok(())
        }
    }
}

/// A number without needless zeros, to a thousandth.
fn plain(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

impl FromStr for Thread {
    type Err = ThreadError;

    fn from_str(text: &str) -> Result<Self, ThreadError> {
        let trimmed = text
            .trim()
            .replace('×', "x")
            .replace(['–', '−'], "-")
            .replace(['″', '"'], "");
        if trimmed.is_empty() {
            return Err(ThreadError::Empty);
        }
        let (body, left_hand) = match strip_word(&trimmed, "LH") {
            Some(rest) => (rest, true),
            None => (trimmed.clone(), false),
        };
        let unknown = || ThreadError::Unknown(text.trim().to_owned());
        let mut thread = if body.starts_with(['M', 'm'])
            && body[1..]
                .trim_start()
                .starts_with(|c: char| c.is_ascii_digit())
        {
            metric(&body, &unknown)?
        } else if let Some(pipe) = pipe(&body, &unknown) {
            pipe?
        } else {
            unified(&body, &unknown)?
        };
        thread.left_hand = left_hand;
        Ok(thread)
    }
}

/// The text without its last word, when that word is the one asked for.
fn strip_word(text: &str, word: &str) -> Option<String> {
    let split = text.len().checked_sub(word.len())?;
    let (rest, tail) = (text.get(..split)?, text.get(split..)?);
    let apart = rest.ends_with([' ', '-', '_']) || rest.ends_with(|c: char| c.is_ascii_digit());
    (tail.eq_ignore_ascii_case(word) && apart).then(|| rest.trim_end_matches([' ', '-']).to_owned())
}

fn number(text: &str) -> Option<f64> {
    let text = text.trim().replace(',', ".");
    if text.is_empty() || !text.chars().all(|c| c.is_ascii_digit() || c == '.') {
        return None;
    }
    text.parse()
        .ok()
        .filter(|n: &f64| n.is_finite() && *n > 0.0)
}

fn metric(body: &str, unknown: &dyn Fn() -> ThreadError) -> Result<Thread, ThreadError> {
    // A tolerance class after the pitch (M10x1.5-6g) changes no dimension that matters here.
    let body = match body.split_once('-') {
        Some((head, tail))
            if tail.chars().all(|c| c.is_ascii_alphanumeric())
                && tail.chars().any(|c| c.is_ascii_alphabetic()) =>
        {
            head
        }
        _ => body,
    };
    let dimensions = &body[1..];
    let (diameter, pitch) = match dimensions.split_once(['x', 'X', '*']) {
        Some((diameter, pitch)) => (
            number(diameter).ok_or_else(unknown)?,
            Some(number(pitch).ok_or_else(unknown)?),
        ),
        None => match dimensions.split_once('-') {
            Some((diameter, pitch)) => (
                number(diameter).ok_or_else(unknown)?,
                Some(number(pitch).ok_or_else(unknown)?),
            ),
            None => (number(dimensions).ok_or_else(unknown)?, None),
        },
    };
    let pitch = match pitch {
        Some(pitch) => pitch,
        None => METRIC_COARSE
            .iter()
            .find(|(d, _)| (d - diameter).abs() < 1e-9)
            .map(|&(_, pitch)| pitch)
            .ok_or_else(|| ThreadError::Size {
                size: format!("M{}", plain(diameter)),
                family: "the metric coarse series",
            })?,
    };
    Thread::metric(diameter, pitch)
}

/// A size in inches as printed, with its proper spelling: `1-1/8`, `1 1/8`, `3/8`, `No.10`, `#10`.
fn inch_size(text: &str) -> Option<(String, f64)> {
    let text = text.trim();
    let lower = text.to_ascii_lowercase();
    let numbered = lower
        .strip_prefix("no.")
        .or_else(|| lower.strip_prefix("no"))
        .or_else(|| lower.strip_prefix('#'));
    if let Some(rest) = numbered {
        let n: u32 = rest.trim().parse().ok()?;
        return (n <= 14).then(|| (format!("No.{n}"), 0.060 + 0.013 * f64::from(n)));
    }
    let (whole, fraction) = match text.split_once([' ', '-']) {
        Some((whole, fraction)) => (whole.trim(), Some(fraction.trim())),
        None if text.contains('/') => ("", Some(text)),
        None => (text, None),
    };
    let mut value = if whole.is_empty() {
        0.0
    } else {
        number(whole)?
    };
    if let Some(fraction) = fraction {
        let (top, bottom) = fraction.split_once('/')?;
        let (top, bottom): (u32, u32) = (top.trim().parse().ok()?, bottom.trim().parse().ok()?);
        if top == 0 || bottom == 0 || top >= bottom {
            return None;
        }
        value += f64::from(top) / f64::from(bottom);
        let spelled = if whole.is_empty() {
            format!("{top}/{bottom}")
        } else {
            format!("{whole}-{top}/{bottom}")
        };
        return Some((spelled, value));
    }
    Some((plain(value), value))
}

fn pipe(body: &str, unknown: &dyn Fn() -> ThreadError) -> Option<Result<Thread, ThreadError>> {
    let letters: String = body.chars().take_while(char::is_ascii_alphabetic).collect();
    let (kind, series, rest) = match letters.as_str() {
        "G" | "g" => (
            ThreadKind::PipeParallel,
            "G",
            body[1..].trim_end_matches(['A', 'B']),
        ),
        "R" => (ThreadKind::PipeTaper, "R", &body[1..]),
        "Rc" | "RC" => (ThreadKind::PipeTaper, "Rc", &body[2..]),
        "Rp" | "RP" => (ThreadKind::PipeParallelSealing, "Rp", &body[2..]),
        "NPT" | "NPTF" => (ThreadKind::NationalPipeTaper, "NPT", &body[letters.len()..]),
        "BSPT" => (ThreadKind::PipeTaper, "R", &body[4..]),
        "BSPP" => (ThreadKind::PipeParallel, "G", &body[4..]),
        _ => {
            let upper = body.to_ascii_uppercase();
            let (word, kind, series) = [
                ("BSPT", ThreadKind::PipeTaper, "R"),
                ("BSPP", ThreadKind::PipeParallel, "G"),
                ("NPTF", ThreadKind::NationalPipeTaper, "NPTF"),
                ("NPT", ThreadKind::NationalPipeTaper, "NPT"),
            ]
            .into_iter()
            .find(|(word, ..)| upper.ends_with(word))?;
            (kind, series, body[..body.len() - word.len()].trim_end())
        }
    };
    Some(pipe_size(kind, series, rest.trim(), unknown))
}

fn pipe_size(
    kind: ThreadKind,
    series: &'static str,
    text: &str,
    unknown: &dyn Fn() -> ThreadError,
) -> Result<Thread, ThreadError> {
    let (size_text, given) = split_count(text).ok_or_else(unknown)?;
    let (size, _) = inch_size(size_text).ok_or_else(unknown)?;
    let (count, major_mm) = if kind == ThreadKind::NationalPipeTaper {
        NATIONAL_PIPE
            .iter()
            .find(|row| row.0 == size)
            .map(|row| (row.1, row.2 * INCH_MM))
    } else {
        PIPE.iter()
            .find(|row| row.0 == size)
            .map(|row| (row.1, row.2))
    }
    .ok_or_else(|| ThreadError::Size {
        size: size.clone(),
        family: "pipe threads",
    })?;
    if let Some(given) = given.filter(|given| (given - count).abs() > 1e-9) {
        return Err(ThreadError::Pitch {
            size,
            series,
            given,
            allowed: count,
        });
    }
    Thread::checked(kind, major_mm, INCH_MM / count, size, series)
}

/// Splits `1-1/8-7` into size and threads per inch: the last part is a count when it has no fraction bar and another part stands
/// before it.
fn split_count(text: &str) -> Option<(&str, Option<f64>)> {
    match text.rsplit_once('-') {
        Some((size, count)) if !count.contains('/') => Some((size, Some(number(count)?))),
        _ => Some((text, None)),
    }
}

fn unified(body: &str, unknown: &dyn Fn() -> ThreadError) -> Result<Thread, ThreadError> {
    const SERIES: [&str; 12] = [
        "UNJEF", "UNJC", "UNJF", "UNRC", "UNRF", "UNEF", "UNJ", "UNC", "UNF", "UNS", "UNR", "UN",
    ];
    // Class of fit (-2A, -2B, -3A) after the series.
    let body = body
        .strip_suffix(|c: char| matches!(c, 'A' | 'B' | 'a' | 'b'))
        .and_then(|rest| rest.strip_suffix(['1', '2', '3']))
        .map_or(body, |rest| rest.trim_end_matches(['-', ' ']));
    let upper = body.to_ascii_uppercase();
    let found = SERIES.into_iter().find(|series| upper.ends_with(series));
    let (text, series) = match found {
        Some(series) => (
            body[..body.len() - series.len()].trim_end_matches([' ', '-']),
            series,
        ),
        None => (body, ""),
    };
    let (size_text, given) = split_count(text).ok_or_else(unknown)?;
    let (size, inches) = inch_size(size_text).ok_or_else(unknown)?;
    let row = UNIFIED.iter().find(|row| row.0 == size);
    let fixed = match series {
        "UNC" | "UNJC" | "UNRC" => row.map(|row| row.2),
        "UNF" | "UNJF" | "UNRF" => row.map(|row| row.3),
        "UNEF" | "UNJEF" => row.map(|row| row.4),
        _ => None,
    }
    .filter(|count| *count > 0.0);
    let named = !matches!(series, "" | "UN" | "UNS" | "UNR" | "UNJ");
    let count = match (given, fixed) {
        (Some(given), Some(allowed)) if (given - allowed).abs() > 1e-9 => {
            return Err(ThreadError::Pitch {
                size,
                series,
                given,
                allowed,
            });
        }
        (Some(given), _) if !named || fixed.is_some() => given,
        (None, Some(allowed)) => allowed,
        (None, None) if !named => return Err(ThreadError::NoPitch(size)),
        _ => {
            return Err(ThreadError::Size {
                size,
                family: series,
            });
        }
    };
    let series = if series.is_empty() {
        match row {
            Some(row) if (row.2 - count).abs() < 1e-9 => "UNC",
            Some(row) if (row.3 - count).abs() < 1e-9 => "UNF",
            Some(row) if (row.4 - count).abs() < 1e-9 => "UNEF",
            _ => "",
        }
    } else {
        series
    };
    Thread::checked(
        ThreadKind::Unified,
        inches * INCH_MM,
        INCH_MM / count,
        size,
        series,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Thread {
        text.parse()
            .unwrap_or_else(|error| panic!("{text}: {error}"))
    }

    #[test]
    fn every_designation_of_the_plan_format_is_read() {
        for (text, kind, major, pitch) in [
            ("M10x1.5", ThreadKind::Metric, 10.0, 1.5),
            ("M10", ThreadKind::Metric, 10.0, 1.5),
            ("m10×1,25", ThreadKind::Metric, 10.0, 1.25),
            ("M10x1.5-6g", ThreadKind::Metric, 10.0, 1.5),
            ("3/8-16 UNC", ThreadKind::Unified, 9.525, 25.4 / 16.0),
            ("1/2-20 UNF", ThreadKind::Unified, 12.7, 1.27),
            ("1/2 UNF", ThreadKind::Unified, 12.7, 1.27),
            ("No.10-32", ThreadKind::Unified, 4.826, 25.4 / 32.0),
            ("#10-32 UNF-2A", ThreadKind::Unified, 4.826, 25.4 / 32.0),
            ("1-12", ThreadKind::Unified, 25.4, 25.4 / 12.0),
            ("1-1/8-7 UNC", ThreadKind::Unified, 28.575, 25.4 / 7.0),
            ("1 1/8-7", ThreadKind::Unified, 28.575, 25.4 / 7.0),
            ("G 1/8", ThreadKind::PipeParallel, 9.728, 25.4 / 28.0),
            ("G1/8A", ThreadKind::PipeParallel, 9.728, 25.4 / 28.0),
            ("R 1/8", ThreadKind::PipeTaper, 9.728, 25.4 / 28.0),
            (
                "Rp 1/8",
                ThreadKind::PipeParallelSealing,
                9.728,
                25.4 / 28.0,
            ),
            ("1/8-28 BSPT", ThreadKind::PipeTaper, 9.728, 25.4 / 28.0),
            (
                "1/8 NPT",
                ThreadKind::NationalPipeTaper,
                10.287,
                25.4 / 27.0,
            ),
            (
                "1/8-27 NPT",
                ThreadKind::NationalPipeTaper,
                10.287,
                25.4 / 27.0,
            ),
            (
                "1-11.5 NPT",
                ThreadKind::NationalPipeTaper,
                33.401,
                25.4 / 11.5,
            ),
        ] {
            let thread = parse(text);
            assert_eq!(thread.kind, kind, "{text}");
            assert!(
                (thread.major_mm - major).abs() < 1e-9,
                "{text}: {}",
                thread.major_mm
            );
            assert!(
                (thread.pitch_mm - pitch).abs() < 1e-9,
                "{text}: {}",
                thread.pitch_mm
            );
            let again = parse(&thread.to_string());
            assert!(
                again.kind == kind && (again.major_mm - major).abs() < 1e-6,
                "{text} printed as {thread}"
            );
        }
        assert!(parse("M10x1.5 LH").left_hand);
    }

    #[test]
    fn a_bad_designation_says_what_is_allowed() {
        for (text, part) in [
            ("", "allowed"),
            ("M", "allowed"),
            ("M13", "not a standard size"),
            ("M10x15", "0.008 to 0.4"),
            ("3/8-17 UNC", "16 threads per inch, not 17"),
            ("3/8", "threads per inch or its series"),
            ("1/8-28 NPT", "27 threads per inch, not 28"),
            ("G 7/16", "not a standard size"),
            ("10 mm", "allowed"),
            ("M10x", "allowed"),
            ("8/3-16", "allowed"),
            ("Größe", "allowed"),
            ("M10x1.5.5", "allowed"),
        ] {
            match text.parse::<Thread>() {
                Ok(thread) => panic!("`{text}` read as {thread}"),
                Err(error) => assert!(error.to_string().contains(part), "`{text}`: {error}"),
            }
        }
    }
}
