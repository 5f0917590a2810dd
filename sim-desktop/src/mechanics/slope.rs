//! Friction and preload estimated from the slope of a recorded pull.
//!
//! Along the straight part, torque rises by lever × stiffness × pitch/360° for each degree of the fastener. Slope and stiffness give the
//! lever, the lever gives friction, and torque over lever gives the preload; the torque's own calibration cancels in the preload, not in the
//! friction.
//!
//! Knows nothing of where the pull was recorded.

use super::{Bearing, BoltInJoint, STIFFNESS_UNCERTAINTY, Thread, TorqueTension};
use std::fmt;

/// Share of the pull's greatest torque at which the straight part begins, and at which it ends. [our judgement: below, faces bed in; the last
/// tenth may be the hand slowing or yield beginning]
const STRAIGHT: (f64, f64) = (0.4, 0.95);
/// Fewest points of a straight line.
const POINTS_MIN: usize = 8;
/// The slopes of the two halves may differ by so much before the line is called bent. [our judgement]
const BENT: f64 = 0.15;
/// How much softer than calculated a joint may be, as a fraction: a cover that bends, faces that bed in. [on the virtual bench the preload comes out a
/// quarter to 28 % below what cones alone say; our judgement, no source]
const SOFTER: f64 = 0.35;
/// Accuracy of a torque adapter where nothing is said, as a fraction. [ISO 6789: 4 %]
const TORQUE_UNCERTAINTY: f64 = 0.04;

/// One recorded pull: torque and the tool's rotation, tightening positive, in the order recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct Pull {
    /// Torque in N·m and rotation in degrees.
    pub points: Vec<(f64, f64)>,
    /// Torque for each degree that the tool train winds up, N·m/°; none if it is stiff or already taken off.
    pub train_Nm_per_deg: Option<f64>,
    /// Running torque of a locking nut, N·m.
    pub prevailing_Nm: f64,
}

/// What the slope says.
#[derive(Debug, Clone, PartialEq)]
pub struct Slope {
    /// Torque for each degree of the fastener, N·m/°.
    pub slope_Nm_per_deg: f64,
    /// Twice its standard deviation from the fit, N·m/°.
    pub slope_uncertainty: f64,
    /// Points of the straight part.
    pub points: usize,
    /// Greatest torque of the pull, N·m.
    pub peak_Nm: f64,
    /// Torque for each newton, mm.
    pub lever_mm: f64,
    /// Nut factor.
    pub nut_factor: f64,
    /// Friction, taken alike in thread and under the head; below zero where the slope is lower than no friction allows.
    pub friction: f64,
    /// Lowest friction to expect.
    pub friction_low: f64,
    /// Highest friction to expect.
    pub friction_high: f64,
    /// Preload at the greatest torque, N.
    pub preload_N: f64,
    /// Lowest preload to expect, N: a joint may be softer than calculated more easily than stiffer.
    pub preload_low_N: f64,
    /// Highest preload to expect, N.
    pub preload_high_N: f64,
    /// How much the slope of the upper half lies above that of the lower, as a fraction.
    pub bend: f64,
    /// What to know about it, in words.
    pub notes: Vec<String>,
}

/// Why a pull says nothing.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum SlopeError {
    /// No torque above zero.
    NoTorque,
    /// Too few points that rise.
    TooFew {
        /// How many there are.
        found: usize,
    },
    /// Torque does not rise with rotation.
    NotRising {
        /// Slope found, N·m/°.
        slope: f64,
    },
    /// The train is softer than the pull.
    Train {
        /// As given, N·m/°.
        given: f64,
        /// Slope of the pull as the tool saw it, N·m/°.
        seen: f64,
    },
}

impl fmt::Display for SlopeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoTorque => write!(
                f,
                "no torque above zero; allowed: tightening counted positive, as right-hand threads give it (write LH for a left-hand one)"
            ),
            Self::TooFew { found } => write!(
                f,
                "{found} points rise between 40 and 95 % of the greatest torque of the last pull; needed: {POINTS_MIN}, with rotation"
            ),
            Self::NotRising { slope } => write!(
                f,
                "torque changes by {slope:.3} N·m a degree along the pull; needed: a pull that rises as it turns"
            ),
            Self::Train { given, seen } => write!(
                f,
                "a train of {given:.2} N·m/° is no stiffer than the whole pull, {seen:.2} N·m/°; allowed: above that, or a pull whose wind-up was taken off already"
            ),
        }
    }
}

impl std::error::Error for SlopeError {}

/// Slope and its standard deviation by least squares, rotation over torque: torque is the smoother of the two.
fn fit(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = f64::from(u32::try_from(points.len()).ok()?);
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (torque, angle) = (mean(|p| p.0), mean(|p| p.1));
    let sum = |of: &dyn Fn(f64, f64) -> f64| {
        points
            .iter()
            .map(|p| of(p.0 - torque, p.1 - angle))
            .sum::<f64>()
    };
    let (tt, ta, aa) = (sum(&|t, _| t * t), sum(&|t, a| t * a), sum(&|_, a| a * a));
    if tt <= 0.0 || n < 3.0 {
        return None;
    }
    let degrees_per_Nm = ta / tt;
    let residual = ((aa - degrees_per_Nm * ta).max(0.0) / (n - 2.0) / tt).sqrt();
    Some((degrees_per_Nm, residual))
}

impl Pull {
    /// A pull as an instrument records it, positive clockwise: a left-hand thread is turned round.
    #[must_use]
    pub fn recorded(
        points: impl IntoIterator<Item = (f64, f64)>,
        thread: &Thread,
        train_Nm_per_deg: Option<f64>,
        prevailing_Nm: f64,
    ) -> Self {
        let hand = if thread.left_hand { -1.0 } else { 1.0 };
        Self {
            points: points
                .into_iter()
                .map(|(torque, angle)| (hand * torque, hand * angle))
                .collect(),
            train_Nm_per_deg,
            prevailing_Nm,
        }
    }

    /// The straight part of the last pull: from the last time torque was low until its greatest value, only points at which the fastener had
    /// turned further than ever.
    fn straight(&self) -> (Vec<(f64, f64)>, f64) {
        let peak = self
            .points
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.0.total_cmp(&b.1.0))
            .map_or((0, 0.0), |(index, point)| (index, point.0));
        let rise = self.points.get(..=peak.0).unwrap_or(&[]);
        let begin = rise
            .iter()
            .rposition(|point| point.0 < 0.1 * peak.1)
            .unwrap_or(0);
        let mut furthest = f64::NEG_INFINITY;
        let points = rise
            .get(begin..)
            .unwrap_or_default()
            .iter()
            .filter(|point| {
                let on = point.1 > furthest;
                furthest = furthest.max(point.1);
                on && point.0 >= STRAIGHT.0 * peak.1 && point.0 <= STRAIGHT.1 * peak.1
            })
            .copied()
            .collect();
        (points, peak.1)
    }

    /// What the slope says about friction and preload of a bolt in its joint.
    ///
    /// # Errors
    /// [`SlopeError`].
    pub fn estimate(
        &self,
        thread: &Thread,
        bearing: Bearing,
        bolt: &BoltInJoint,
    ) -> Result<Slope, SlopeError> {
        let (points, peak_Nm) = self.straight();
        if peak_Nm <= 0.0 {
            return Err(SlopeError::NoTorque);
        }
        let few = SlopeError::TooFew {
            found: points.len(),
        };
        if points.len() < POINTS_MIN {
            return Err(few);
        }
        let (seen, deviation) = fit(&points).ok_or(few)?;
        if seen <= 0.0 {
            return Err(SlopeError::NotRising {
                slope: if seen == 0.0 { 0.0 } else { 1.0 / seen },
            });
        }
        let train = self.train_Nm_per_deg.map_or(0.0, |train| 1.0 / train);
        let of_fastener = seen - train;
        if of_fastener <= 0.02 * seen {
            return Err(SlopeError::Train {
                given: 1.0 / train,
                seen: 1.0 / seen,
            });
        }
        let slope_Nm_per_deg = 1.0 / of_fastener;
        let of_fit = 2.0 * deviation / of_fastener;
        let (lower, upper) = points.split_at(points.len() / 2);
        let half = |points: &[(f64, f64)]| fit(points).map(|(degrees, _)| degrees - train);
        let bend = match (half(lower), half(upper)) {
            (Some(lower), Some(upper)) if upper > 0.0 => lower / upper - 1.0,
            _ => 0.0,
        };
        let joint = 1.0 / (1.0 / bolt.bolt_N_per_mm + 1.0 / bolt.members_N_per_mm);
        let lever_mm = slope_Nm_per_deg * 1000.0 * 360.0 / (joint * bolt.pitch_mm);
        let of_friction = |lever: f64| {
            let at = |friction: f64| {
                TorqueTension::Friction(super::Friction {
                    thread: friction,
                    head: friction,
                })
                .lever_mm(thread, bearing)
            };
            (lever - at(0.0)) / (at(1.0) - at(0.0))
        };
        // A bent line has no one slope: what its halves differ by is not known.
        let of_bend = if bend.abs() > BENT { bend.abs() } else { 0.0 };
        let band = |of_stiffness: f64| {
            (of_stiffness.powi(2) + of_fit.powi(2) + of_bend.powi(2))
                .sqrt()
                .min(0.95)
        };
        let (below, above) = (band(SOFTER), band(STIFFNESS_UNCERTAINTY));
        // Preload goes with the stiffness, the lever against it and with the torque's calibration.
        let lever_low = lever_mm * (1.0 - above.hypot(TORQUE_UNCERTAINTY).min(0.95));
        let lever_high = lever_mm / (1.0 - below.hypot(TORQUE_UNCERTAINTY).min(0.95));
        let friction = of_friction(lever_mm);
        let preload_N = (peak_Nm - self.prevailing_Nm).max(0.0) * 1000.0 / lever_mm;
        let mut notes = vec![format!(
            "rests on a calculated stiffness of {:.0} kN/mm for bolt and flat, hard parts ({:.0} % stiffer at most, {:.0} % softer where a cover bends or faces bed in: then friction is higher and preload lower), on friction alike in thread and under the head, and on a torque right to ±{:.0} %; what embeds after the pull, up to a tenth, comes off it",
            joint / 1000.0,
            STIFFNESS_UNCERTAINTY * 100.0,
            SOFTER * 100.0,
            TORQUE_UNCERTAINTY * 100.0
        )];
        if self.train_Nm_per_deg.is_none() {
            notes.push("nothing was taken off for the wind-up of the tool: with a long or thin extension the slope is really steeper, so friction is higher and preload lower than said here".to_owned());
        }
        if bend.abs() > BENT {
            notes.push(format!(
                "the line is bent: its upper half is {:.0} % {} than its lower. {}; the estimate is only as good as its band",
                100.0 * bend.abs(),
                if bend > 0.0 { "steeper" } else { "flatter" },
                if bend > 0.0 {
                    "Faces that bed in or a gasket do that"
                } else {
                    "Yield, or a part that gives, does that"
                }
            ));
        }
        if !(0.03..=0.5).contains(&friction) {
            notes.push("no usual friction fits: check thread, grip and what is clamped".to_owned());
        }
        if preload_N > bolt.yield_N {
            notes.push("more than the bolt bears before it yields: the straight line cannot reach so far, so stiffness or grip is not what was said".to_owned());
        }
        Ok(Slope {
            slope_Nm_per_deg,
            slope_uncertainty: of_fit * slope_Nm_per_deg,
            points: points.len(),
            peak_Nm,
            lever_mm,
            nut_factor: lever_mm / thread.major_mm,
            friction,
            friction_low: of_friction(lever_low),
            friction_high: of_friction(lever_high),
            preload_N,
            preload_low_N: preload_N * (1.0 - below),
            preload_high_N: preload_N * (1.0 + above),
            bend,
            notes,
        })
    }
}
