//! The zero of samples that were recorded elsewhere: how the tool stood before its first pull.
//!
//! The same rules as for an adapter's own readings: a zero is taken only at rest and only near zero, and refused with its value
//! otherwise. A recording is short, so a rest of a quarter of a second is enough, and one of 50 ms must do. Knows nothing of
//! pulls and of where samples come from.

use super::Sample;
use super::sensing::{REST_MILLIDEGREES_PER_SECOND, UNLOADED};
use crate::unit::{Instant, Torque, ratio};

/// How far an unloaded tool whose maker is not known may stand from zero: 2 N·m, a hundredth of what a common adapter bears. *Our
/// judgement, no source.*
pub const BAND: Torque = Torque::from_millinewton_meters(2_000);

/// A rest is looked for over so many µs, and then over less: the pull may begin soon.
const REST_MICROS: [u64; 3] = [250_000, 120_000, 50_000];
/// Fewer samples are no rest.
const SAMPLES_LEAST: u64 = 8;
/// What two halves of a rest may lie apart by, besides their noise: 0.2 N·m.
const STEADY: i64 = 200;
/// What the rotation sensor may wander by: 0.5°.
const WANDER: i64 = 500;
/// What is less than this from zero is left as it is: half of what a reading wanders by, 0.05 N·m.
const NOTHING: i32 = 50;

/// How a recording begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Rest {
    /// At rest, and at zero.
    AtZero,
    /// At rest near zero: so far from it, to be taken off every sample.
    Off(Torque),
    /// At rest, but farther from zero than an unloaded tool stands: it hangs on a fastener, or was overstrained, or its zero is wrong.
    Refused(Torque),
    /// Not at rest, but from close to zero: its zero cannot be checked.
    NotSeen,
    /// In the middle of a pull, at this torque.
    Loaded(Torque),
}

/// How the samples begin; only the first quarter of a second is looked at.
///
/// # Examples
/// ```
/// use evendraw_core::sample::{Rest, Sample, rest};
/// use evendraw_core::unit::{Instant, Rotation, Span, Torque};
///
/// let sample = |millis| (
///     Instant::BOOT.after(Span::from_millis(millis)),
///     Sample { torque: Torque::from_millinewton_meters(1_300), rotation: Rotation::ZERO },
/// );
/// let samples: Vec<_> = (0..300).map(sample).collect();
/// assert_eq!(rest(&samples), Rest::Off(Torque::from_millinewton_meters(1_300)));
/// ```
#[must_use]
pub fn rest(samples: &[(Instant, Sample)]) -> Rest {
    let Some((_, first)) = samples.first() else {
        return Rest::NotSeen;
    };
    let still = REST_MICROS
        .into_iter()
        .find_map(|micros| still(samples, micros));
    match still {
        Some(mean) if mean.abs() > BAND => Rest::Refused(mean),
        Some(mean) if mean.abs().millinewton_meters() < NOTHING => Rest::AtZero,
        Some(mean) => Rest::Off(mean),
        None if first.torque.abs().millinewton_meters() <= UNLOADED => Rest::NotSeen,
        None => Rest::Loaded(first.torque),
    }
}

/// Mean torque of the first so many µs, where neither sensor moves in them.
fn still(samples: &[(Instant, Sample)], micros: u64) -> Option<Torque> {
    let &(from, first) = samples.first()?;
    let (mut halves, mut bends) = ([Half::default(); 2], 0_i64);
    let (mut before, mut before_that) = (None, None);
    let mut whole = false;
    for &(at, sample) in samples {
        let passed = at.since(from).micros();
        if passed >= micros {
            whole = true;
            break;
        }
        let [early, late] = &mut halves;
        let half = if passed.wrapping_mul(2) < micros {
            early
        } else {
            late
        };
        let torque = i64::from(sample.torque.millinewton_meters());
        half.push(
            torque,
            i64::from((sample.rotation - first.rotation).millidegrees()),
        );
        if let (Some(before), Some(before_that)) = (before, before_that) {
            let bend: i64 = torque.wrapping_sub(before).wrapping_sub(before);
            bends = bends.wrapping_add(bend.wrapping_add(before_that).wrapping_abs());
        }
        (before_that, before) = (before, Some(torque));
    }
    let [early, late] = halves;
    let count = early.count.wrapping_add(late.count);
    if !whole || early.count.min(late.count) < SAMPLES_LEAST >> 1 {
        return None;
    }
    // A second difference is 1.95 of the noise's deviation on average. The means of two halves lie within four deviations of a mean of each
    // other; with four samples or more in each, and more the longer the rest, within twice the deviation in any case.
    let noise = ratio(bends, count).wrapping_mul(2) >> 2;
    let apart = early.torque().wrapping_sub(late.torque()).wrapping_abs();
    let turned = early
        .rotation()
        .wrapping_sub(late.rotation())
        .wrapping_abs();
    // Half the time lies between the middles of the two halves.
    let millis = i64::try_from(micros >> 11).unwrap_or(0);
    let may_turn = WANDER.wrapping_add(ratio(
        millis.wrapping_mul(REST_MILLIDEGREES_PER_SECOND),
        1_000,
    ));
    let steady = apart <= STEADY.wrapping_add(noise) && turned <= may_turn;
    steady.then(|| {
        let sum = early.torque.wrapping_add(late.torque);
        Torque::from_wide(ratio(sum, count))
    })
}

/// Sums over one half of a rest.
#[derive(Clone, Copy, Debug, Default)]
struct Half {
    count: u64,
    torque: i64,
    rotation: i64,
}

impl Half {
    fn push(&mut self, torque: i64, rotation: i64) {
        self.count = self.count.wrapping_add(1);
        self.torque = self.torque.wrapping_add(torque);
        self.rotation = self.rotation.wrapping_add(rotation);
    }

    fn torque(&self) -> i64 {
        ratio(self.torque, self.count)
    }

    fn rotation(&self) -> i64 {
        ratio(self.rotation, self.count)
    }
}

#[cfg(test)]
mod tests {
    use std::vec::Vec;

    use super::*;
    use crate::unit::{Rotation, Span};

    /// A sample a ms: torque and rotation as functions of the ms.
    fn samples(
        count: u32,
        torque: impl Fn(i32) -> i32,
        rotation: impl Fn(i32) -> i32,
    ) -> Vec<(Instant, Sample)> {
        (0..count)
            .map(|millis| {
                let at = Instant::BOOT.after(Span::from_millis(millis));
                let millis = i32::try_from(millis).unwrap_or(0);
                let sample = Sample {
                    torque: Torque::from_millinewton_meters(torque(millis)),
                    rotation: Rotation::from_millidegrees(rotation(millis)),
                };
                (at, sample)
            })
            .collect()
    }

    fn off(value: i32) -> Torque {
        Torque::from_millinewton_meters(value)
    }

    #[test]
    fn rest_near_zero_is_taken_off_and_farther_away_refused() {
        let at = |torque: i32| rest(&samples(400, |_| torque, |_| 5_000));
        assert_eq!(at(0), Rest::AtZero);
        assert_eq!(at(-49), Rest::AtZero);
        assert_eq!(at(-400), Rest::Off(off(-400)));
        assert_eq!(at(2_000), Rest::Off(off(2_000)));
        assert_eq!(at(4_000), Rest::Refused(off(4_000)));
        assert_eq!(at(-12_000), Rest::Refused(off(-12_000)));
        assert_eq!(rest(&[]), Rest::NotSeen);
    }

    #[test]
    fn a_pull_in_progress_is_no_rest_and_neither_is_a_run_down() {
        let rising = rest(&samples(
            400,
            |millis| 3_000 + 40 * millis,
            |millis| 90 * millis,
        ));
        assert_eq!(rising, Rest::Loaded(off(3_000)));
        let running = rest(&samples(400, |_| 1_800, |millis| 300 * millis));
        assert_eq!(running, Rest::Loaded(off(1_800)));
        let at_once = rest(&samples(400, |millis| 40 * millis, |millis| 90 * millis));
        assert_eq!(at_once, Rest::NotSeen);
    }

    #[test]
    fn a_short_rest_will_do_and_noise_is_rest() {
        let short = rest(&samples(
            400,
            |millis| {
                if millis < 60 {
                    700
                } else {
                    700 + 50 * (millis - 60)
                }
            },
            |millis| (millis - 60).max(0) * 90,
        ));
        assert_eq!(short, Rest::Off(off(700)));
        // ±1.4 N·m, without a pattern that a rest could share.
        let noisy = |millis: i32| (millis * 7_919 % 281 - 140) * 10 + 900;
        let Rest::Off(mean) = rest(&samples(400, noisy, |_| 0)) else {
            panic!("noise is rest")
        };
        assert!((mean.millinewton_meters() - 900).abs() < 150, "{mean:?}");
    }

    /// In the second half of a quarter of a second something changes. Where that is a rest, all of it counts; where it is not, the first
    /// 120 ms do, before anything changed.
    #[test]
    fn two_halves_of_a_rest_lie_no_farther_apart_than_allowed() {
        let steps = |level: i32, noise: i32, torque: i32, rotation: i32| {
            let late = |millis: i32| i32::from(millis >= 125);
            let noise = move |millis: i32| if millis % 2 == 0 { noise } else { -noise };
            rest(&samples(
                400,
                |millis| level + noise(millis) + torque * late(millis),
                |millis| rotation * late(millis),
            ))
        };
        for (level, noise, torque, rotation, wanted) in [
            // 0.2 N·m, wherever it stands.
            (1_500, 0, 200, 0, 1_600),
            (1_500, 0, 201, 0, 1_500),
            (-1_500, 0, -200, 0, -1_600),
            (-1_500, 0, -201, 0, -1_500),
            // A noise of 0.1 N·m, up and down, allows for as much again.
            (0, 100, 350, 0, 175),
            (500, 100, 350, 0, 675),
            (500, 100, 420, 0, 500),
            // 0.5° and 3 °/s over the 122 ms from the middle of one half to that of the other.
            (700, 0, 100, 866, 750),
            (700, 0, 100, 867, 700),
            (700, 0, 100, -866, 750),
            (700, 0, 100, -867, 700),
        ] {
            let found = steps(level, noise, torque, rotation);
            assert_eq!(
                found,
                Rest::Off(off(wanted)),
                "{level} {noise} {torque} {rotation}"
            );
        }
    }

    #[test]
    fn what_a_tool_turned_before_it_lay_still_does_not_count_twice() {
        let settled = |millis: i32| if millis == 0 { 0 } else { 600 };
        assert_eq!(rest(&samples(400, |_| 700, settled)), Rest::Off(off(700)));
    }

    #[test]
    fn a_rest_is_as_long_as_it_must_be_and_holds_four_samples_in_each_half() {
        let every = |millis: usize, count: u32| {
            let all = samples(count, |_| 700, |_| 0);
            rest(&all.into_iter().step_by(millis).collect::<Vec<_>>())
        };
        let (seen, not_seen) = (Rest::Off(off(700)), Rest::Loaded(off(700)));
        for (millis, count, wanted) in [
            (1, 51, seen),
            (1, 50, not_seen),
            (32, 400, seen),
            // Four and three.
            (40, 400, not_seen),
            (100, 400, not_seen),
        ] {
            assert_eq!(
                every(millis, count),
                wanted,
                "{count} ms, one each {millis}"
            );
        }
    }

    #[test]
    fn what_is_at_zero_near_it_and_far_from_it() {
        for (torque, wanted) in [
            (49, Rest::AtZero),
            (50, Rest::Off(off(50))),
            (-50, Rest::Off(off(-50))),
            (2_000, Rest::Off(off(2_000))),
            (2_001, Rest::Refused(off(2_001))),
            (-2_001, Rest::Refused(off(-2_001))),
        ] {
            assert_eq!(rest(&samples(400, |_| torque, |_| 0)), wanted);
        }
        // Turning fast at once: from how near to zero it began says whether it was in a pull.
        for (torque, wanted) in [
            (500, Rest::NotSeen),
            (-500, Rest::NotSeen),
            (501, Rest::Loaded(off(501))),
            (-501, Rest::Loaded(off(-501))),
        ] {
            assert_eq!(
                rest(&samples(400, |_| torque, |millis| 90 * millis)),
                wanted
            );
        }
    }
}
