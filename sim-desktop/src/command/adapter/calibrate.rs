//! `evendraw adapter PORT calibrate`: the steps told one by one, the answer a line.
//!
//! Knows nothing of how a line is fitted.

use std::io::BufRead;
use std::time::{SystemTime, UNIX_EPOCH};

use clap::Args as ClapArgs;
use serde::Serialize;

use super::super::value::{TypedLength, length, millimeters};
use super::super::{CommandError, Done, Output};
use crate::calibration::{GRAVITY, Hand, Means, Outcome, Setup, guided};
use crate::link::Client;

#[derive(Debug, ClapArgs)]
pub(super) struct Args {
    /// From the axis of the drive to where the weights hang.
    #[arg(long, value_parser = length)]
    lever: TypedLength,
    /// The weights in kg, rising, hanger and hook included.
    #[arg(long, value_delimiter = ',', required = true, value_parser = weight)]
    weights: Vec<f64>,
    /// How well the weights are known, in per cent, at twice the standard uncertainty.
    #[arg(long, default_value_t = 0.1, value_parser = per_cent)]
    weights_within: f64,
    /// How well the lever is known, in per cent, at twice the standard uncertainty.
    #[arg(long, default_value_t = 0.2, value_parser = per_cent)]
    lever_within: f64,
    /// Acceleration of fall here, in m/s².
    #[arg(long, default_value_t = GRAVITY, value_parser = gravity)]
    gravity: f64,
    /// Leaves the gyro as it is.
    #[arg(long)]
    no_turns: bool,
    /// Takes a scale that is more than 20 % from the one before: a first calibration, another load cell.
    #[arg(long)]
    anew: bool,
    /// The adapter's serial number from here on, at most 24 bytes.
    #[arg(long)]
    serial: Option<String>,
}

fn between(text: &str, least: f64, most: f64, what: &str) -> Result<f64, String> {
    let value: f64 = text
        .parse()
        .map_err(|_no_number| format!("a number is wanted, {what}"))?;
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(format!("allowed is {least} to {most}, {what}"))
    }
}

fn weight(text: &str) -> Result<f64, String> {
    between(text, 0.01, 500.0, "in kg")
}

fn per_cent(text: &str) -> Result<f64, String> {
    between(text, 0.001, 5.0, "in per cent")
}

fn gravity(text: &str) -> Result<f64, String> {
    between(text, 9.7, 9.9, "in m/s²")
}

#[derive(Serialize)]
struct Step<'a> {
    record: &'static str,
    text: &'a str,
}

#[derive(Serialize)]
struct Calibrated<'a> {
    record: &'static str,
    number: u16,
    serial: &'a str,
    said: &'a str,
    was_off_percent: f64,
    turn_was_off_percent: Option<f64>,
    within_percent: f64,
    hysteresis_percent: f64,
    #[serde(rename = "residuals_Nm")]
    residuals: &'a [f64],
}

/// Somebody who reads what is printed and presses Enter.
struct AtTheKeys<'o, 'w> {
    out: &'o mut Output<'w>,
}

impl AtTheKeys<'_, '_> {
    fn say(&mut self, record: &'static str, text: &str) -> std::io::Result<()> {
        let said = self.out.line(text);
        said.and_then(|()| self.out.object(&Step { record, text }))
            .map_err(|error| std::io::Error::other(error.to_string()))
    }
}

impl Hand for AtTheKeys<'_, '_> {
    fn ready(&mut self, what: &str) -> std::io::Result<()> {
        self.say("step", &format!("> {what} Enter when it is so."))?;
        let mut answer = String::new();
        match std::io::stdin().lock().read_line(&mut answer)? {
            0 => Err(std::io::ErrorKind::UnexpectedEof.into()),
            _ => Ok(()),
        }
    }

    fn told(&mut self, what: &str) -> std::io::Result<()> {
        self.say("told", &format!("  {what}"))
    }
}

/// What is asked for, checked before any adapter is spoken to.
pub(super) fn setup(args: &Args) -> Result<Setup, CommandError> {
    let lever_mm = millimeters(args.lever);
    if !(10.0..=5_000.0).contains(&lever_mm) {
        return Err(CommandError::bad(format!(
            "--lever {}: allowed is 10 mm to 5 m",
            args.lever
        )));
    }
    if args.serial.as_ref().is_some_and(|serial| serial.len() > 24) {
        return Err(CommandError::bad("--serial: allowed are at most 24 bytes"));
    }
    if args.weights.len() < 2 || !args.weights.is_sorted_by(|lighter, next| lighter < next) {
        return Err(CommandError::bad(
            "--weights: allowed are at least two, each heavier than the one before, like 1,2,5",
        ));
    }
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    let unix_seconds = since
        .ok()
        .and_then(|since| u32::try_from(since.as_secs()).ok());
    Ok(Setup {
        lever_mm,
        weights_kg: args.weights.clone(),
        gravity: args.gravity,
        means: Means {
            weights: args.weights_within / 100.0,
            lever: args.lever_within / 100.0,
        },
        turns: !args.no_turns,
        anew: args.anew,
        serial: args.serial.clone(),
        day: jiff::Zoned::now().date().to_string(),
        unix_seconds: unix_seconds.unwrap_or(0),
    })
}

/// Runs it.
pub(super) fn run(
    setup: &Setup,
    client: &mut Client,
    out: &mut Output<'_>,
) -> Result<Done, CommandError> {
    out.line(
        "Weights can fall: stand clear of them, feet away, the tool clamped so that it cannot turn. Ctrl-C ends it, and nothing is changed.",
    )?;
    let outcome = guided(client, setup, &mut AtTheKeys { out })
        .map_err(|error| CommandError::bad(error.to_string()))?;
    tell(&outcome, out)?;
    Ok(Done::Good)
}

fn tell(outcome: &Outcome, out: &mut Output<'_>) -> Result<(), CommandError> {
    let Outcome {
        kept,
        fit,
        was_off,
        turn_was_off,
    } = outcome;
    out.line(format_args!(
        "it read {:+.2} % before{}",
        was_off * 100.0,
        turn_was_off.map_or_else(String::new, |off| format!(
            ", and turns {:+.2} %",
            off * 100.0
        ))
    ))?;
    out.line(format_args!(
        "adapter {}: {}, kept on it and read back; rising against falling {:.2} % of the largest",
        kept.serial,
        kept.said,
        fit.hysteresis * 100.0
    ))?;
    out.object(&Calibrated {
        record: "calibrated",
        number: kept.number,
        serial: &kept.serial,
        said: &kept.said,
        was_off_percent: was_off * 100.0,
        turn_was_off_percent: turn_was_off.map(|off| off * 100.0),
        within_percent: fit.within * 100.0,
        hysteresis_percent: fit.hysteresis * 100.0,
        residuals: &fit.residuals,
    })
}
