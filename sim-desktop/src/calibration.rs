//! A load cell calibrated with known weights on a known lever, and a gyro against a full turn.
//!
//! Pure: counts and torques in, a scale with its uncertainty or a plausible refusal out. Knows nothing of adapters, ports or prompts.

mod guided;

use std::fmt;

pub use guided::{Hand, Outcome, Setup, Stopped, guided};

/// Acceleration of fall where nobody says another [SI brochure, standard value].
pub const GRAVITY: f64 = 9.806_65;

/// What a reading at rest came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rest {
    /// Mean count of the load cell.
    pub counts: f64,
    /// How far the means of its quarters lie apart, in counts.
    pub spread: f64,
}

/// A known torque and what the load cell said of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// In N·m; tightening is positive.
    pub torque: f64,
    /// On the way up to the largest, or down again.
    pub rising: bool,
    /// What was read.
    pub rest: Rest,
}

/// How well the means are known, each at twice its standard uncertainty, as a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Means {
    /// Of the weights.
    pub weights: f64,
    /// Of the lever.
    pub lever: f64,
}

/// Why a step is refused.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wrong {
    /// The reading wanders by so many counts while it should be still.
    Unsteady(f64),
    /// It counts the other way.
    WrongWay,
    /// It hardly moved from the step before.
    NotMoved,
    /// It stands off the line of the others by this part.
    OffTheLine(f64),
    /// Fewer than two different torques each way.
    TooFew,
    /// The two ways differ by this part.
    Ways(f64),
    /// A full turn came to so many counts, which is none, or the other way.
    Turn(f64),
    /// The two turns differ by this part.
    Turns(f64),
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unsteady(counts) => write!(
                f,
                "the reading wanders by {counts:.0} counts: let the weight come to rest, touch nothing"
            ),
            Self::WrongWay => f.write_str(
                "the reading went the other way: does the weight tighten? else swap the two signal wires of the bridge",
            ),
            Self::NotMoved => {
                f.write_str("the reading hardly moved: does the weight hang there, and is the load cell short of its end?")
            }
            Self::OffTheLine(part) => write!(
                f,
                "the reading stands {:.1} % off the line of the others: is it the right weight, at the right length, the lever level?",
                part * 100.0
            ),
            Self::TooFew => f.write_str("at least two different weights are needed each way"),
            Self::Ways(part) => write!(
                f,
                "the two ways differ by {:.1} %: one lever, one length for both?",
                part * 100.0
            ),
            Self::Turn(counts) => write!(
                f,
                "a full turn came to {counts:.0} counts of the gyro: turned once, the way that was asked, about the drive's axis?"
            ),
            Self::Turns(part) => write!(
                f,
                "the two turns differ by {:.1} %: each from mark to mark?",
                part * 100.0
            ),
        }
    }
}

impl std::error::Error for Wrong {}

/// A straight line through points, and what is left of each.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// At 0.
    pub intercept: f64,
    /// A unit of x.
    pub slope: f64,
    /// Standard uncertainty of both.
    pub intercept_error: f64,
    /// Standard uncertainty of the slope.
    pub slope_error: f64,
    /// Each y less the line.
    pub residuals: Vec<f64>,
}

/// Least squares [GUM, H.3.2 and H.3.3]; none through fewer than three points, or where all x are one.
#[must_use]
pub fn line(points: &[(f64, f64)]) -> Option<Line> {
    let count = f64::from(
        u32::try_from(points.len())
            .ok()
            .filter(|&count| count > 2)?,
    );
    let sum = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>();
    let (mean_x, mean_y) = (sum(|p| p.0) / count, sum(|p| p.1) / count);
    let xx: f64 = points.iter().map(|p| (p.0 - mean_x).powi(2)).sum();
    let xy: f64 = points.iter().map(|p| (p.0 - mean_x) * (p.1 - mean_y)).sum();
    if xx <= 0.0 {
        return None;
    }
    let slope = xy / xx;
    let intercept = mean_y - slope * mean_x;
    let residuals: Vec<f64> = points
        .iter()
        .map(|p| p.1 - intercept - slope * p.0)
        .collect();
    let variance = residuals.iter().map(|r| r * r).sum::<f64>() / (count - 2.0);
    let squares: f64 = sum(|p| p.0 * p.0);
    Some(Line {
        intercept,
        slope,
        intercept_error: (variance * squares / (count * xx)).sqrt(),
        slope_error: (variance / xx).sqrt(),
        residuals,
    })
}

/// Part of the change from zero that a reading may wander by.
const STEADY: f64 = 0.005;
/// Part that a point may stand off the line of those before.
const STRAIGHT: f64 = 0.05;
/// Part that the two ways, or two turns, may differ by.
const ALIKE: f64 = 0.02;

/// Looks at a reading as soon as it is taken. `before` are those that were taken already, `zero` that of the unloaded tool.
///
/// # Errors
/// [`Wrong`]: the step is to be done again.
pub fn looked_at(zero: Rest, before: &[Load], load: &Load) -> Result<(), Wrong> {
    let moved = load.rest.counts - zero.counts;
    let allowed = (moved.abs() * STEADY).max(zero.spread * 4.0).max(2.0);
    if load.rest.spread > allowed {
        return Err(Wrong::Unsteady(load.rest.spread));
    }
    let noise = (zero.spread * 4.0).max(2.0);
    if moved.abs() <= noise {
        return Err(Wrong::NotMoved);
    }
    // Tightening counts up.
    if moved * load.torque < 0.0 {
        return Err(Wrong::WrongWay);
    }
    if let Some(last) = before.last()
        && last.torque != load.torque
        && (load.rest.counts - last.rest.counts).abs() <= noise
    {
        return Err(Wrong::NotMoved);
    }
    // The line of what is known so far, through the zero.
    let known: f64 = before.iter().map(|one| one.torque * one.torque).sum();
    if known > 0.0 {
        let scale: f64 = before
            .iter()
            .map(|one| one.torque * (one.rest.counts - zero.counts))
            .sum::<f64>()
            / known;
        let off = moved / (scale * load.torque) - 1.0;
        if off.abs() > STRAIGHT {
            return Err(Wrong::OffTheLine(off));
        }
    }
    Ok(())
}

/// What a calibration came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Count without load.
    pub zero: f64,
    /// Counts for a N·m.
    pub counts_per_newton_meter: f64,
    /// What is left of each load, in N·m, in their order.
    pub residuals: Vec<f64>,
    /// Largest difference between rising and falling at one torque, as a part of the largest torque.
    pub hysteresis: f64,
    /// Twice the standard uncertainty of the scale, as a part.
    pub within: f64,
}

/// The line through all loads and the zero, and how well it is known [GUM, 5.1.2]: its own scatter, the weights, the lever, and rising
/// against falling as a rectangle of that width.
///
/// # Errors
/// [`Wrong::TooFew`], [`Wrong::Ways`].
pub fn fit(zero: Rest, loads: &[Load], means: Means) -> Result<Fit, Wrong> {
    let way = |sign: f64| -> Vec<(f64, f64)> {
        let own = loads.iter().filter(|load| load.torque * sign > 0.0);
        own.map(|load| (load.torque, load.rest.counts)).collect()
    };
    let slope_of = |points: &[(f64, f64)]| {
        let mut torques: Vec<f64> = points.iter().map(|point| point.0).collect();
        torques.sort_by(f64::total_cmp);
        torques.dedup();
        let with_zero: Vec<(f64, f64)> = [(0.0, zero.counts)]
            .into_iter()
            .chain(points.iter().copied())
            .collect();
        (torques.len() >= 2).then(|| line(&with_zero).map(|line| line.slope))?
    };
    let (on, back) = (way(1.0), way(-1.0));
    let (Some(slope_on), Some(slope_back)) = (slope_of(&on), slope_of(&back)) else {
        return Err(Wrong::TooFew);
    };
    let ways = slope_on / slope_back - 1.0;
    if ways.abs() > ALIKE {
        return Err(Wrong::Ways(ways));
    }
    let all: Vec<(f64, f64)> = [(0.0, zero.counts)]
        .into_iter()
        .chain(on)
        .chain(back)
        .collect();
    let found = line(&all).ok_or(Wrong::TooFew)?;
    let most = loads
        .iter()
        .map(|load| load.torque.abs())
        .fold(0.0, f64::max);
    let mut hysteresis = 0.0_f64;
    for up in loads.iter().filter(|load| load.rising) {
        for down in loads
            .iter()
            .filter(|load| !load.rising && load.torque == up.torque)
        {
            let apart = (up.rest.counts - down.rest.counts).abs() / found.slope;
            hysteresis = hysteresis.max(apart / most);
        }
    }
    let parts = [
        found.slope_error / found.slope,
        means.weights / 2.0,
        means.lever / 2.0,
        hysteresis / 12_f64.sqrt(),
        ways / 12_f64.sqrt(),
    ];
    let within = 2.0 * parts.iter().map(|part| part * part).sum::<f64>().sqrt();
    Ok(Fit {
        zero: found.intercept,
        counts_per_newton_meter: found.slope,
        residuals: loads
            .iter()
            .map(|load| (load.rest.counts - found.intercept) / found.slope - load.torque)
            .collect(),
        hysteresis,
        within,
    })
}

/// Millidegrees a second for a count of the gyro, from what one full turn each way came to: counts × µs, tightening first.
///
/// # Errors
/// [`Wrong::Turn`], [`Wrong::Turns`].
pub fn rate(on: f64, back: f64) -> Result<f64, Wrong> {
    for (turned, sign) in [(on, 1.0), (back, -1.0)] {
        if turned * sign <= 0.0 {
            return Err(Wrong::Turn(turned / 1e6));
        }
    }
    let differ = -on / back - 1.0;
    if differ.abs() > ALIKE {
        return Err(Wrong::Turns(differ));
    }
    Ok(360_000.0 * 1e6 / ((on - back) / 2.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// [GUM, H.3, table H.6 and H.3.3: a thermometer's corrections over 20 °C, from memory] intercept −0.1712 (0.0029), slope 0.00218
    /// (0.00067).
    #[test]
    fn the_line_is_that_of_the_published_example() {
        let points = [
            (21.521, -0.171),
            (22.012, -0.169),
            (22.512, -0.166),
            (23.003, -0.159),
            (23.507, -0.164),
            (23.999, -0.165),
            (24.513, -0.156),
            (25.002, -0.157),
            (25.503, -0.159),
            (26.010, -0.161),
            (26.511, -0.160),
        ]
        .map(|(t, b)| (t - 20.0, b));
        let found = line(&points).expect("a line");
        assert!((found.intercept + 0.1712).abs() < 0.000_05, "{found:?}");
        assert!((found.slope - 0.002_18).abs() < 0.000_005, "{found:?}");
        assert!((found.intercept_error - 0.0029).abs() < 0.000_05);
        assert!((found.slope_error - 0.000_67).abs() < 0.000_005);
        assert!(line(&points[..2]).is_none());
        assert!(line(&[(1.0, 1.0); 5]).is_none());
    }

    const ZERO: Rest = Rest {
        counts: 1_200.0,
        spread: 1.0,
    };

    /// 5,000 counts a N·m and a part more, a falling load so many counts above a rising one.
    fn load(torque: f64, rising: bool, part: f64, lag: f64) -> Load {
        let lag = if rising { 0.0 } else { lag };
        let counts = ZERO.counts + torque * 5_000.0 * (1.0 + part) + lag;
        Load {
            torque,
            rising,
            rest: Rest {
                counts,
                spread: 1.0,
            },
        }
    }

    fn loads(part: f64, lag: f64) -> Vec<Load> {
        let up = [10.0, 20.0, 40.0].map(|torque| (torque, true));
        let down = [20.0, 10.0].map(|torque| (torque, false));
        let both = [1.0, -1.0].map(|sign| {
            up.iter()
                .chain(&down)
                .map(move |(torque, rising)| (torque * sign, *rising))
                .collect::<Vec<_>>()
        });
        both.concat()
            .into_iter()
            .map(|(torque, rising)| load(torque, rising, part, lag))
            .collect()
    }

    const MEANS: Means = Means {
        weights: 0.001,
        lever: 0.002,
    };

    #[test]
    fn an_error_of_the_scale_is_found_within_its_uncertainty() {
        for part in [-0.03, 0.0, 0.021] {
            for lag in [0.0, 150.0] {
                let found = fit(ZERO, &loads(part, lag), MEANS).expect("sound");
                let off = found.counts_per_newton_meter / (5_000.0 * (1.0 + part)) - 1.0;
                assert!(off.abs() <= found.within, "{off} within {}", found.within);
                assert!(found.within >= 0.002 && found.within < 0.01, "{found:?}");
                assert!((found.zero - 1_200.0).abs() <= 100.0);
                assert_eq!(found.residuals.len(), 10);
                let wanted = lag / 5_000.0 / 40.0 / (1.0 + part);
                assert!((found.hysteresis - wanted).abs() < 1e-6, "{found:?}");
            }
        }
    }

    #[test]
    fn a_wrong_step_is_refused_for_what_it_is() {
        let before = [load(10.0, true, 0.0, 0.0)];
        let step = |torque, counts, spread| {
            let rest = Rest { counts, spread };
            let load = Load {
                torque,
                rising: true,
                rest,
            };
            looked_at(ZERO, &before, &load)
        };
        assert_eq!(step(20.0, 101_200.0, 3.0), Ok(()));
        assert_eq!(step(20.0, 101_200.0, 900.0), Err(Wrong::Unsteady(900.0)));
        assert_eq!(step(20.0, -98_800.0, 3.0), Err(Wrong::WrongWay));
        assert_eq!(step(20.0, 51_201.0, 3.0), Err(Wrong::NotMoved));
        assert_eq!(step(20.0, 1_201.0, 3.0), Err(Wrong::NotMoved));
        // 25 kg instead of 20.
        assert!(
            matches!(step(20.0, 126_200.0, 3.0), Err(Wrong::OffTheLine(off)) if (off - 0.25).abs() < 1e-9)
        );
        let tightening: Vec<Load> = loads(0.0, 0.0)
            .into_iter()
            .filter(|load| load.torque > 0.0)
            .collect();
        assert_eq!(fit(ZERO, &tightening, MEANS), Err(Wrong::TooFew));
        let mut uneven = tightening;
        uneven.extend(
            loads(0.04, 0.0)
                .into_iter()
                .filter(|load| load.torque < 0.0),
        );
        assert!(matches!(fit(ZERO, &uneven, MEANS), Err(Wrong::Ways(_))));
    }

    #[test]
    fn a_full_turn_each_way_gives_the_rate() {
        // 70 m° a second for a count: a turn in 4 s at 90° a second.
        let turn = 360_000.0 / 70.0 * 1e6;
        assert!((rate(turn, -turn).expect("sound") - 70.0).abs() < 1e-9);
        assert!(matches!(rate(-turn, turn), Err(Wrong::Turn(_))));
        assert!(matches!(rate(0.0, -turn), Err(Wrong::Turn(_))));
        assert!(matches!(rate(turn, -turn * 1.05), Err(Wrong::Turns(_))));
    }
}
