//! The smallest bolt thread and the widest nut thread that a tolerance allows: what is left to shear.
//!
//! Metric 6g and 6H after \[ISO 965-1\], Unified 2A and 2B after those of \[ASME B1.1\] section 5 and 8 (both from memory,
//! confirmed by the printed shear areas in `tests/data/metric_shear_areas.csv` and `unified_shear_areas.csv`). For the other families the basic
//! sizes stand.
//!
//! Knows nothing of strength.

use super::{INCH_MM, Thread, ThreadKind};
use crate::limited::Limited as _;

/// Sizes of least material, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThreadLimits {
    /// Smallest major diameter of the external thread.
    pub major_min_mm: f64,
    /// Smallest pitch diameter of the external thread.
    pub pitch_min_mm: f64,
    /// Largest pitch diameter of the internal thread.
    pub internal_pitch_max_mm: f64,
    /// Largest minor diameter of the internal thread.
    pub internal_minor_max_mm: f64,
    /// The tolerance they belong to; none where the basic sizes stand.
    pub tolerance: Option<&'static str>,
}

/// Least-material sizes of a thread in its usual tolerance.
#[must_use]
pub fn limits(thread: &Thread) -> ThreadLimits {
    match thread.kind {
        ThreadKind::Metric => metric(thread),
        ThreadKind::Unified => unified(thread),
        _ => ThreadLimits {
            major_min_mm: thread.major_mm,
            pitch_min_mm: thread.pitch_diameter_mm(),
            internal_pitch_max_mm: thread.pitch_diameter_mm(),
            internal_minor_max_mm: thread.internal_minor_diameter_mm(),
            tolerance: None,
        },
    }
}

/// The series of preferred numbers R40 within one decade. [ISO 3]
const R40: [f64; 40] = [
    100.0, 106.0, 112.0, 118.0, 125.0, 132.0, 140.0, 150.0, 160.0, 170.0, 180.0, 190.0, 200.0,
    212.0, 224.0, 236.0, 250.0, 265.0, 280.0, 300.0, 315.0, 335.0, 355.0, 375.0, 400.0, 425.0,
    450.0, 475.0, 500.0, 530.0, 560.0, 600.0, 630.0, 670.0, 710.0, 750.0, 800.0, 850.0, 900.0,
    950.0,
];

/// The preferred number nearest a tolerance, µm, and so many steps on.
fn preferred(tolerance_um: f64, steps: usize) -> f64 {
    let decade = 10_f64.powf((tolerance_um / 100.0).log10().floor());
    // The numbers grow by a like factor, so nearness is one of factors.
    let of = |number: f64| (number * decade / tolerance_um).ln().abs();
    let nearest = R40
        .iter()
        .enumerate()
        .min_by(|a, b| of(*a.1).total_cmp(&of(*b.1)))
        .map_or(0, |(index, _)| index);
    // The decades go on with the same numbers, tenfold.
    let onward = R40.into_iter().chain(R40.map(|number| number * 10.0));
    onward
        .skip(nearest)
        .nth(steps)
        .map_or(tolerance_um, |number| number * decade)
}

/// Pitch in mm, tolerance of the external major and of the internal minor diameter in µm, grade 6. [ISO 965-1 tables 3 and 4]
const BY_PITCH: [(f64, f64, f64); 21] = [
    (0.35, 85.0, 100.0),
    (0.4, 95.0, 112.0),
    (0.45, 100.0, 125.0),
    (0.5, 106.0, 140.0),
    (0.6, 125.0, 160.0),
    (0.7, 140.0, 180.0),
    (0.75, 140.0, 190.0),
    (0.8, 150.0, 200.0),
    (1.0, 180.0, 236.0),
    (1.25, 212.0, 265.0),
    (1.5, 236.0, 300.0),
    (1.75, 265.0, 335.0),
    (2.0, 280.0, 375.0),
    (2.5, 335.0, 450.0),
    (3.0, 375.0, 500.0),
    (3.5, 425.0, 560.0),
    (4.0, 475.0, 600.0),
    (4.5, 500.0, 670.0),
    (5.0, 530.0, 710.0),
    (5.5, 560.0, 750.0),
    (6.0, 600.0, 800.0),
];
/// The row of the coarsest pitch; what is coarser still has its tolerances too.
const COARSEST: (f64, f64, f64) = (8.0, 710.0, 1000.0);

/// Middle of the range of diameters that share a tolerance, mm. [ISO 965-1]
fn range_middle_mm(major_mm: f64) -> f64 {
    const STEPS: [f64; 10] = [0.99, 1.4, 2.8, 5.6, 11.2, 22.4, 45.0, 90.0, 180.0, 355.0];
    STEPS
        .iter()
        .zip(STEPS.iter().skip(1))
        .find(|&(&above, &to)| major_mm > above && major_mm <= to)
        .map_or(major_mm, |(above, to)| (above * to).sqrt())
}

fn metric(thread: &Thread) -> ThreadLimits {
    let (d, p) = (thread.major_mm, thread.pitch_mm);
    let allowance_um = (15.0 + 11.0 * p).round();
    // Between listed pitches the wider tolerance stands.
    let (_, major_um, minor_um) = BY_PITCH
        .into_iter()
        .find(|row| p <= row.0 + 1e-9)
        .unwrap_or(COARSEST);
    let pitch = 90.0 * p.powf(0.4) * range_middle_mm(d).powf(0.1);
    ThreadLimits {
        major_min_mm: d - (allowance_um + major_um) / 1000.0,
        pitch_min_mm: thread.pitch_diameter_mm() - (allowance_um + preferred(pitch, 0)) / 1000.0,
        // The internal thread's tolerance is 1.32 times the external one's: five steps of R40.
        internal_pitch_max_mm: thread.pitch_diameter_mm() + preferred(pitch, 5) / 1000.0,
        internal_minor_max_mm: thread.internal_minor_diameter_mm() + minor_um / 1000.0,
        tolerance: Some("6g in 6H"),
    }
}

fn unified(thread: &Thread) -> ThreadLimits {
    let (d, p) = (thread.major_mm / INCH_MM, thread.pitch_mm / INCH_MM);
    let squared = p.powf(2.0 / 3.0);
    // Engagement is taken as one diameter, as for UNC, UNF and 8 UN.
    let pitch = 0.0015 * d.cbrt() + 0.0015 * d.sqrt() + 0.015 * squared;
    let allowance = 0.3 * pitch;
    let minor = if d < 0.25 {
        (0.05 * squared + 0.03 * p / d - 0.002).limited(0.25 * p - 0.40 * p * p, 0.394 * p)
    } else if p > 0.25 {
        0.15 * p
    } else {
        0.25 * p - 0.40 * p * p
    };
    ThreadLimits {
        major_min_mm: (d - allowance - 0.060 * squared) * INCH_MM,
        pitch_min_mm: thread.pitch_diameter_mm() - (allowance + pitch) * INCH_MM,
        internal_pitch_max_mm: thread.pitch_diameter_mm() + 1.3 * pitch * INCH_MM,
        internal_minor_max_mm: thread.internal_minor_diameter_mm() + minor * INCH_MM,
        tolerance: Some("2A in 2B"),
    }
}
