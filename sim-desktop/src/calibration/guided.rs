//! A calibration step by step: what to do, what is read then, what is wrong with it; the result kept on the adapter.
//!
//! Knows how to ask an adapter and nothing of how a person is spoken to.

use std::fmt;

use evendraw_core::link::Sums;

use super::{Fit, Load, Means, Rest, Wrong, fit, looked_at, rate};
use crate::limited::Limited as _;
use crate::link::{Calibrated, Client, ClientError};

/// Whoever stands at the bench.
pub trait Hand {
    /// Does what is asked, and says so.
    ///
    /// # Errors
    /// Nobody is there any more.
    fn ready(&mut self, what: &str) -> std::io::Result<()>;

    /// Is told something.
    ///
    /// # Errors
    /// Nobody is there any more.
    fn told(&mut self, what: &str) -> std::io::Result<()>;
}

/// What is known beforehand.
#[derive(Clone, Debug)]
pub struct Setup {
    /// Length of the lever, from the drive's axis to where the weights hang, in mm.
    pub lever_mm: f64,
    /// The weights, in kg, rising.
    pub weights_kg: Vec<f64>,
    /// Acceleration of fall here, in m/s².
    pub gravity: f64,
    /// How well weights and lever are known.
    pub means: Means,
    /// Whether the gyro is calibrated too.
    pub turns: bool,
    /// Whether the scale may be far from the one before.
    pub anew: bool,
    /// The adapter's serial number, where it has none or gets another.
    pub serial: Option<String>,
    /// Today, as `2026-05-28`.
    pub day: String,
    /// Now.
    pub unix_seconds: u32,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// As it is kept on the adapter.
    pub kept: Calibrated,
    /// The fit.
    pub fit: Fit,
    /// How far the scale was off before, as a part: above zero where it read too much.
    pub was_off: f64,
    /// The same of the gyro; none where it was not calibrated.
    pub turn_was_off: Option<f64>,
}

/// Why it ends without one.
#[derive(Debug)]
#[non_exhaustive]
pub enum Stopped {
    /// The adapter.
    Adapter(ClientError),
    /// Nobody is there any more.
    Left(std::io::Error),
    /// The numbers make no calibration.
    Wrong(Wrong),
    /// The scale is this far from the one before, and nobody said that it may be.
    FarOff(f64),
    /// No reading came.
    NoReadings,
    /// The serial number is too long.
    Serial,
    /// What the adapter keeps now is not what was sent.
    NotKept,
}

impl fmt::Display for Stopped {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Adapter(error) => write!(f, "{error}"),
            Self::Left(error) => write!(f, "nobody answers any more ({error}): nothing was changed"),
            Self::Wrong(wrong) => write!(f, "{wrong}: nothing was changed"),
            Self::FarOff(part) => write!(
                f,
                "the scale came out {:+.0} % from the one before: lever, weights, gravity as they were given? Where they are, --anew keeps it",
                part * 100.0
            ),
            Self::NoReadings => f.write_str("the adapter takes no readings: are its sensors on?"),
            Self::Serial => f.write_str("the serial number is longer than 24 bytes"),
            Self::NotKept => f.write_str("the adapter does not give back what it was sent: it goes by the calibration before"),
        }
    }
}

impl std::error::Error for Stopped {}

impl From<ClientError> for Stopped {
    fn from(error: ClientError) -> Self {
        Self::Adapter(error)
    }
}

impl From<std::io::Error> for Stopped {
    fn from(error: std::io::Error) -> Self {
        Self::Left(error)
    }
}

/// How long a reading at rest is averaged, in µs of the adapter's clock, in four quarters.
const QUARTER: u64 = 250_000;
/// Questions without a reading between them.
const PATIENCE: u32 = 200;
/// How far a scale may be from the one before, as a part.
const FAR: f64 = 0.2;
/// Calibrations that are kept on the adapter, the newest first.
const KEPT_MAX: usize = 40;

/// Goes through it with a hand at the bench.
///
/// # Errors
/// [`Stopped`]; the adapter then goes by what it had.
pub fn guided(client: &mut Client, setup: &Setup, hand: &mut dyn Hand) -> Result<Outcome, Stopped> {
    let adapter = client.identify()?;
    let before = client.calibrations(adapter.places)?;
    hand.ready("Nothing on the tool, drive held upright and still.")?;
    let (zero, drift) = at_rest(client)?;
    let loads = loaded(client, setup, zero, hand)?;
    let found = fit(zero, &loads, setup.means).map_err(Stopped::Wrong)?;
    for (load, residual) in loads.iter().zip(&found.residuals) {
        hand.told(&format!(
            "{:+9.3} N·m {}: {:+.3} N·m off the line",
            load.torque,
            if load.rising { "rising " } else { "falling" },
            residual
        ))?;
    }
    let now = client.counts()?;
    let scale = 65_536.0 * 1_000.0 / found.counts_per_newton_meter;
    let was_off = f64::from(now.scale) / scale - 1.0;
    let mut rate_scale = f64::from(now.rate_scale);
    let mut turn_was_off = None;
    if setup.turns {
        let mut turns = [0.0; 2];
        for (turn, way) in turns.iter_mut().zip(["as it tightens", "back"]) {
            hand.ready(
                "Mark the drive against the square. The turn begins when this is said to be so.",
            )?;
            let from = client.counts()?;
            hand.ready(&format!(
                "One full turn {way}, mark to mark, in some five seconds."
            ))?;
            let to = client.counts()?;
            *turn = wide(to.rate.wrapping_sub(from.rate)) - drift * time_between(&from, &to);
        }
        let [on, back] = turns;
        let turned = rate(on, back).map_err(Stopped::Wrong)? * 256.0;
        turn_was_off = Some(rate_scale / turned - 1.0);
        rate_scale = turned;
    }
    for off in [Some(was_off), turn_was_off].into_iter().flatten() {
        if off.abs() > FAR && !setup.anew {
            return Err(Stopped::FarOff(1.0 / (1.0 + off) - 1.0));
        }
    }
    let number = before
        .first()
        .map_or(1, |newest| newest.number.saturating_add(1));
    let within: u16 = whole((found.within * 10_000.0).ceil(), f64::from(u16::MAX));
    let said = format!(
        "calibration {number} of {}, ±{:.2} %",
        setup.day,
        f64::from(within) / 100.0
    );
    let kept = Calibrated {
        number,
        within,
        zero: whole(found.zero, 1e9),
        scale: whole(scale, 1e9),
        rate_scale: whole(rate_scale, 4e6),
        unix_seconds: setup.unix_seconds,
        serial: setup.serial.clone().unwrap_or(adapter.serial),
        said,
    };
    let mut all = vec![kept.clone()];
    all.extend(before.into_iter().take(KEPT_MAX - 1));
    keep(client, adapter.places, &all)?;
    if client.calibrations(adapter.places)?.first() != Some(&kept) {
        return Err(Stopped::NotKept);
    }
    Ok(Outcome {
        kept,
        fit: found,
        was_off,
        turn_was_off,
    })
}

/// Every load, rising and falling, one way and the other; a step that is wrong is done again.
fn loaded(
    client: &mut Client,
    setup: &Setup,
    zero: Rest,
    hand: &mut dyn Hand,
) -> Result<Vec<Load>, Stopped> {
    let rising = setup.weights_kg.iter().map(|kg| (*kg, true));
    let falling = setup.weights_kg.iter().rev().skip(1).map(|kg| (*kg, false));
    let steps: Vec<(f64, bool)> = rising.chain(falling).collect();
    let mut loads = Vec::new();
    for (sign, way) in [(1.0, "tightens"), (-1.0, "loosens")] {
        for &(kg, rising) in &steps {
            let torque = sign * kg * setup.gravity * setup.lever_mm / 1_000.0;
            loop {
                hand.ready(&format!(
                    "{kg} kg at {} mm, so that it {way}; lever level, weight still. That is {torque:+.3} N·m.",
                    setup.lever_mm
                ))?;
                let (rest, _) = at_rest(client)?;
                let load = Load {
                    torque,
                    rising,
                    rest,
                };
                match looked_at(zero, &loads, &load) {
                    Ok(()) => {
                        loads.push(load);
                        break;
                    }
                    Err(wrong) => hand.told(&format!("Again: {wrong}."))?,
                }
            }
        }
    }
    Ok(loads)
}

/// What is read within a second, and the mean count of the gyro meanwhile.
fn at_rest(client: &mut Client) -> Result<(Rest, f64), Stopped> {
    let first = client.counts()?;
    let (mut last, mut means, mut waited) = (first, Vec::new(), 0);
    while means.len() < 4 {
        let now = client.counts()?;
        if now.at.since(last.at).micros() < QUARTER {
            waited += 1;
            if waited > PATIENCE && now.readings == last.readings {
                return Err(Stopped::NoReadings);
            }
            continue;
        }
        waited = 0;
        let count = f64::from(now.readings.wrapping_sub(last.readings).max(1));
        means.push(wide(now.bridge.wrapping_sub(last.bridge)) / count);
        last = now;
    }
    let most = means.iter().copied().fold(f64::MIN, f64::max);
    let least = means.iter().copied().fold(f64::MAX, f64::min);
    let rest = Rest {
        counts: means.iter().sum::<f64>() / 4.0,
        spread: most - least,
    };
    let rate = wide(last.rate.wrapping_sub(first.rate)) / time_between(&first, &last);
    Ok((rest, rate))
}

/// In µs.
fn time_between(from: &Sums, to: &Sums) -> f64 {
    i64::try_from(to.at.since(from.at).micros()).map_or(f64::MAX, wide)
}

fn keep(client: &mut Client, place: u8, all: &[Calibrated]) -> Result<(), Stopped> {
    let mut block = Vec::new();
    for one in all {
        block.extend_from_slice(&one.kept().to_bytes().ok_or(Stopped::Serial)?);
    }
    let sum = evendraw_core::crc::crc32(0, &block);
    block.extend_from_slice(&sum.to_le_bytes());
    Ok(client.send(place, &block, |_, _| {})?)
}

/// The nearest whole number within this size; the bounds fit every type that is asked for.
fn whole<T: TryFrom<i64> + Default>(value: f64, most: f64) -> T {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "within the bounds, and rounded"
    )]
    let whole = value.limited(-most, most).round() as i64;
    T::try_from(whole).unwrap_or_default()
}

#[expect(
    clippy::cast_precision_loss,
    reason = "sums of counts over seconds have far fewer than 53 bits"
)]
fn wide(value: i64) -> f64 {
    value as f64
}
