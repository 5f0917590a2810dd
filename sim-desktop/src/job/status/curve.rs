//! The kept curve of an attempt: whether it is the one that was judged, and what it was judged by.
//!
//! The points are thinned, so the judged peak may lie between two of them: it is put in at its place. Knows nothing of drawing.

use evendraw_core::audit::torque_window;
use evendraw_core::procedure::Procedure;
use evendraw_core::record::{Attempt, Entry};
use evendraw_core::unit::Angle;

use super::Curve;
use crate::quantity::newton_meters;
use crate::store::Traces;

/// What became of the curve of an attempt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurveState {
    /// None was recorded.
    None,
    /// It is there, and is the one that was judged.
    Kept,
    /// It is not there, or does not read.
    Missing,
    /// Another one is there.
    Changed,
}

impl CurveState {
    /// The word that scripts use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Kept => "kept",
            Self::Missing => "missing",
            Self::Changed => "changed",
        }
    }
}

/// Looks for the curve of an attempt.
#[must_use]
pub fn state_of_curve(traces: &Traces, entry: &Entry, attempt: &Attempt) -> CurveState {
    if attempt.trace == 0 {
        return CurveState::None;
    }
    match traces.proved(entry.joint, entry.seq, attempt.trace) {
        Some(_) => CurveState::Kept,
        None if traces.load(entry.joint, entry.seq).is_some() => CurveState::Changed,
        None => CurveState::Missing,
    }
}

/// The curve of an attempt with its windows, if it is kept and is the one that was judged.
#[must_use]
pub fn curve_of(
    traces: Option<&Traces>,
    procedure: &Procedure,
    entry: &Entry,
    attempt: &Attempt,
) -> Option<Curve> {
    if attempt.trace == 0 {
        return None;
    }
    let points = traces?.proved(entry.joint, entry.seq, attempt.trace)?;
    let degrees = |angle: Angle| f64::from(angle.millidegrees()) / 1_000.0;
    let mut drawn: Vec<(f64, f64)> = points
        .iter()
        .map(|point| {
            let angle = f64::from(point.rotation.millidegrees()) / 1_000.0;
            (angle, newton_meters(point.torque))
        })
        .collect();
    let peak = newton_meters(attempt.peak);
    let highest = (0_usize..)
        .zip(&drawn)
        .max_by(|(_, one), (_, other)| one.1.total_cmp(&other.1))
        .map(|(at, point)| (at, *point));
    if let Some((at, (angle, torque))) = highest {
        if torque < peak {
            // Between the highest point kept and the next: where, nobody knows better than at the highest.
            drawn.insert(at.saturating_add(1), (angle, peak));
        }
        // What was measured begins anywhere: it is drawn so that the judged angle stands at the judged peak.
        if let Some(judged) = attempt.angle {
            let shift = degrees(judged) - angle;
            for point in &mut drawn {
                point.0 += shift;
            }
        }
    }
    let torque = torque_window(procedure, attempt);
    let angle = procedure.angle_window(attempt.step);
    Some(Curve {
        points: drawn,
        torque_nm: torque.map(|window| (newton_meters(window.min), newton_meters(window.max))),
        angle_deg: angle.map(|window| (degrees(window.min), degrees(window.max))),
        of: format!("stage {}", u32::from(attempt.stage) + 1),
    })
}
