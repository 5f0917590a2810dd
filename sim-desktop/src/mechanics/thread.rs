//! Thread designations as printed, and the geometry they stand for.
//!
//! Knows nothing of strength, friction or of whether two threads go together.

mod read;
mod tables;

use super::INCH_MM;
use std::f64::consts::PI;
use std::fmt;

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
    /// Whitworth pipe thread of which only `BSP` is said: parallel (`G`, `Rp`) or taper (`R`), 55° flanks. [ISO 228-1, ISO 7-1]
    PipeUnstated,
    /// Whitworth bolt thread, coarse (`BSW`) or fine (`BSF`), 55° flanks, parallel. [BS 84]
    Whitworth,
    /// British Association (`BA`), 47.5° flanks, parallel. [BS 93]
    BritishAssociation,
    /// ISO metric trapezoidal (`Tr`), 30° flanks, parallel, one start. [ISO 2901, ISO 2904]
    Trapezoidal,
}

impl ThreadKind {
    /// Included angle between the flanks, degrees: 60, 55, 47.5 or 30.
    #[must_use]
    pub fn flank_angle_deg(self) -> f64 {
        match self {
            Self::Metric | Self::Unified | Self::NationalPipeTaper => 60.0,
            Self::PipeParallel
            | Self::PipeParallelSealing
            | Self::PipeTaper
            | Self::PipeUnstated
            | Self::Whitworth => 55.0,
            Self::BritishAssociation => 47.5,
            Self::Trapezoidal => 30.0,
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
        matches!(
            self,
            Self::PipeParallel
                | Self::PipeParallelSealing
                | Self::PipeTaper
                | Self::NationalPipeTaper
                | Self::PipeUnstated
        )
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
    /// Series letters where the family has several: `UNC`, `UNF`, `G`, `R`, `NPT`, `BSW`, `BSF`…
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
    /// A trapezoidal thread with several starts, whose lead is not its pitch.
    Starts(String),
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
                "no thread given; allowed: M10x1.5, M10, 3/8-16 UNC, No.10-32, 3/8 BSW, 3/8 BSF, 2BA, Tr 40x7, G 1/8, R 1/8, 3/8 BSP, 1/8-27 NPT"
            ),
            Self::Unknown(text) => write!(
                f,
                "thread `{text}` is not understood; allowed: M10x1.5, M10, 3/8-16 UNC, No.10-32, 3/8 BSW, 3/8 BSF, 2BA, Tr 40x7, G 1/8, R 1/8, Rp 1/8, 1/8-28 BSPT, 3/8 BSP, 1/8-27 NPT"
            ),
            Self::Starts(text) => write!(
                f,
                "thread `{text}` has several starts; allowed: one start, as in Tr 40x7, whose lead is its pitch"
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

    /// Pitch diameter d2, mm: d − 0.649519 P for 60° threads [ISO 724], d − 0.640327 P for 55° [BS 84, ISO 228-1], d − 0.6 P for BA
    /// [BS 93], d − 0.5 P for trapezoidal [ISO 2904].
    #[must_use]
    pub fn pitch_diameter_mm(&self) -> f64 {
        let depth = match self.kind {
            ThreadKind::Metric | ThreadKind::Unified | ThreadKind::NationalPipeTaper => 0.649_519,
            ThreadKind::PipeParallel
            | ThreadKind::PipeParallelSealing
            | ThreadKind::PipeTaper
            | ThreadKind::PipeUnstated
            | ThreadKind::Whitworth => 0.640_327,
            ThreadKind::BritishAssociation => 0.6,
            ThreadKind::Trapezoidal => 0.5,
        };
        self.major_mm - depth * self.pitch_mm
    }

    /// Minor diameter of the external thread at its root d3, mm: d − 1.226869 P for metric [ISO 724],
    /// d − 1.299038/n for Unified as [Shigley table 8-2] has it, d − 1.280654 P for 55° [BS 84, ISO 228-1], d − 1.2 P for BA [BS 93],
    /// d − P − 2 ac for trapezoidal [ISO 2904].
    #[must_use]
    pub fn minor_diameter_mm(&self) -> f64 {
        let depth = match self.kind {
            ThreadKind::Metric => 1.226_869,
            ThreadKind::Unified | ThreadKind::NationalPipeTaper => 1.299_038,
            ThreadKind::PipeParallel
            | ThreadKind::PipeParallelSealing
            | ThreadKind::PipeTaper
            | ThreadKind::PipeUnstated
            | ThreadKind::Whitworth => 1.280_654,
            ThreadKind::BritishAssociation => 1.2,
            ThreadKind::Trapezoidal => {
                return self.major_mm
                    - self.pitch_mm
                    - 2.0 * tables::crest_clearance(self.pitch_mm);
            }
        };
        self.major_mm - depth * self.pitch_mm
    }

    /// Basic minor diameter of the internal thread D1, mm: d − 1.082532 P for 60° [ISO 724, ASME B1.1], as the external one for 55° and
    /// BA, d − P for trapezoidal [ISO 2904].
    #[must_use]
    pub fn internal_minor_diameter_mm(&self) -> f64 {
        match self.kind {
            ThreadKind::Metric | ThreadKind::Unified | ThreadKind::NationalPipeTaper => {
                self.major_mm - 1.082_532 * self.pitch_mm
            }
            ThreadKind::Trapezoidal => self.major_mm - self.pitch_mm,
            _ => self.minor_diameter_mm(),
        }
    }

    /// Diameter d0 that stands for the stressed section, mm: (d2 + d3)/2 [VDI 2230:2001].
    #[must_use]
    pub fn stress_diameter_mm(&self) -> f64 {
        f64::midpoint(self.pitch_diameter_mm(), self.minor_diameter_mm())
    }

    /// Tensile stress area, mm²; none for pipe threads, which seal and for which no standard gives one.
    ///
    /// Metric π/4·(d − 0.938194 P)² [ISO 898-1 §9.1.6.1]; Unified π/4·(d − 0.9743/n)² [ASME B1.1 appendix B]; BSW, BSF, BA and
    /// trapezoidal π/4·((d2 + d3)/2)², the same rule of the mean diameter [from memory for these].
    #[must_use]
    pub fn stress_area_mm2(&self) -> Option<f64> {
        let diameter = match self.kind {
            ThreadKind::Metric => self.major_mm - 0.938_194 * self.pitch_mm,
            ThreadKind::Unified => self.major_mm - 0.9743 * self.pitch_mm,
            ThreadKind::Whitworth | ThreadKind::BritishAssociation | ThreadKind::Trapezoidal => {
                self.stress_diameter_mm()
            }
            _ => return None,
        };
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
    tables::METRIC_COARSE
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
            ThreadKind::NationalPipeTaper | ThreadKind::Whitworth => write!(
                f,
                "{}-{} {}",
                self.size,
                plain(self.threads_per_inch()),
                self.series
            )?,
            ThreadKind::BritishAssociation => write!(f, "{}BA", self.size)?,
            ThreadKind::Trapezoidal => write!(f, "{}x{}", self.size, plain(self.pitch_mm))?,
            ThreadKind::PipeUnstated => write!(f, "{} BSP", self.size)?,
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
