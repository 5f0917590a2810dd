//! A pull told leg by leg: where torque and rotation go, and in what time.
//!
//! `20/216` goes in a straight line to 20 N·m at 216° of the adapter, in 200 ms; `20/216~50` takes 50 ms; `20/216~0` is there
//! at the next sample. `gap~300`: nothing arrives for 300 ms. `same~300`: the sensors repeat themselves, to the last digit.
//! `saw:5:3/40` is five teeth, each 3 N·m high and 40 ms long, after which the fastener has slipped on by 4° and holds 2 N·m more. A reading every 2 ms, and a
//! ripple of 20 mN·m and 50 millidegrees on it, as a live sensor has. `stroke:2/120*18` runs a nut down in 18 strokes of 120° at
//! 2 N·m, each 400 ms long, swinging back in between over the ratchet.

use evendraw_core::sample::Sample;
use evendraw_core::unit::{Rotation, Torque};

/// A sample and when it comes after the one before, in µs.
pub(crate) struct Coming {
    pub(crate) after: u64,
    pub(crate) sample: Sample,
}

const EVERY_MS: u64 = 2;
const LEG_MS: u64 = 200;

/// The samples of a curve, from rest.
pub(crate) fn samples(script: &str, legs: &[&str]) -> Vec<Coming> {
    let mut curve = Curve::default();
    for leg in legs {
        curve
            .leg(leg)
            .unwrap_or_else(|| panic!("{script}: what leg is `{leg}`?"));
    }
    curve.coming
}

#[derive(Default)]
struct Curve {
    coming: Vec<Coming>,
    /// mN·m and millidegrees, without the ripple.
    at: (i64, i64),
    unseen_us: u64,
}

impl Curve {
    fn leg(&mut self, leg: &str) -> Option<()> {
        let (what, millis) = match leg.split_once('~') {
            Some((what, millis)) => (what, millis.parse().ok()?),
            None => (leg, LEG_MS),
        };
        match what {
            "gap" => self.unseen_us += millis * 1_000,
            "same" => self.same(millis),
            _ => {
                if let Some(teeth) = what.strip_prefix("saw:") {
                    self.saw(teeth)?;
                } else if let Some(strokes) = what.strip_prefix("stroke:") {
                    self.strokes(strokes)?;
                } else {
                    self.line(place(what)?, millis);
                }
            }
        }
        Some(())
    }

    fn line(&mut self, to: (i64, i64), millis: u64) {
        let from = self.at;
        let count = i64::try_from(millis / EVERY_MS).unwrap_or(0).max(1);
        for step in 1..=count {
            let part = |from: i64, to: i64| from + (to - from) * step / count;
            self.at = (part(from.0, to.0), part(from.1, to.1));
            self.push(true);
        }
    }

    /// Teeth: the tool winds up, the fastener slips on by the angle of the leg before, the torque drops.
    fn saw(&mut self, teeth: &str) -> Option<()> {
        let (count, tooth) = teeth.split_once(':')?;
        let (deep, millis) = tooth.split_once('/')?;
        let (deep, millis) = (milli(deep)?, millis.parse::<u64>().ok()?);
        for _ in 0..count.parse::<u32>().ok()? {
            let (torque, rotation) = self.at;
            // 20 N·m a degree is the train's.
            self.line((torque + deep, rotation + deep / 20), millis / 2);
            self.line((torque + 2_000, rotation + 4_000), millis / 2);
        }
        Some(())
    }

    fn strokes(&mut self, text: &str) -> Option<()> {
        let (stroke, count) = text.split_once('*').unwrap_or((text, "1"));
        let (torque, turn) = place(stroke)?;
        for _ in 0..count.parse::<u32>().ok()? {
            let begun = self.at.1;
            // 20 N·m a degree is the train's.
            let wound = torque / 20;
            self.line((torque, begun + wound), 20);
            self.line((torque, begun + wound + turn), 400);
            self.line((0, begun + turn), 20);
            self.line((0, begun), 200);
        }
        Some(())
    }

    fn same(&mut self, millis: u64) {
        for _ in 0..millis / EVERY_MS {
            self.push(false);
        }
    }

    fn push(&mut self, rippled: bool) {
        let sample = match self.coming.last() {
            Some(last) if !rippled => last.sample,
            _ => {
                let ripple = RIPPLE[self.coming.len() % RIPPLE.len()];
                sample(self.at.0 + 10 * ripple, self.at.1 + 25 * ripple)
            }
        };
        self.coming.push(Coming {
            after: EVERY_MS * 1_000 + self.unseen_us,
            sample,
        });
        self.unseen_us = 0;
    }
}

/// Any row without a pattern that a leg could share.
const RIPPLE: [i64; 11] = [0, 2, -1, 1, -2, 2, 0, -2, 1, -1, 2];

fn place(text: &str) -> Option<(i64, i64)> {
    let (torque, rotation) = text.split_once('/')?;
    Some((milli(torque)?, milli(rotation)?))
}

/// Thousandths of a number with at most three decimals.
fn milli(text: &str) -> Option<i64> {
    let value: f64 = text.parse().ok()?;
    #[expect(clippy::cast_possible_truncation, reason = "a few thousand at most")]
    let whole = (value * 1_000.0).round() as i64;
    Some(whole)
}

fn sample(torque: i64, rotation: i64) -> Sample {
    let whole = |value: i64| i32::try_from(value).expect("a few hundred N·m or degrees");
    Sample {
        torque: Torque::from_millinewton_meters(whole(torque)),
        rotation: Rotation::from_millidegrees(whole(rotation)),
    }
}
