//! When a line was measured: by the instrument's own time, by its stated rate, or by when it came.
//!
//! All three run beside the clock of this program, counted from when reading began, so that waits, deadlines and gaps mean one time.
//! Knows nothing of what a line says.

use super::Format;
use crate::limited::Limited as _;

/// How far a line may come behind its own time before that is a silence: what a line has to wait in buffers, at most.
const LATE_RATE_MICROS: f64 = 150_000.0;
/// The same where each line brings its own time: buffers may hold it longer, since its order in time is known.
const LATE_OWN_MICROS: f64 = 500_000.0;
/// From one line to the next an own time that runs ahead of the other clock this far has leapt.
const LEAP_MICROS: f64 = 2_000_000.0;
/// Lines that come this far ahead of their time are not live, and keep the time they bring.
const NOT_LIVE_MICROS: f64 = 1_000_000.0;
/// Two clocks drift apart by less than this part.
const DRIFT_PART: f64 = 50.0;
/// By this part of what lies between the two clocks the one follows the other, with each line.
const FOLLOW_PART: f64 = 128.0;

/// By what a line's time is told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum By {
    /// Its own time column.
    Own,
    /// So many µs from one line to the next.
    Rate(f64),
    /// When it came.
    Arrival,
}

impl By {
    /// For a format whose columns have a time or none.
    pub(super) fn of(format: &Format, has_time: bool) -> Self {
        match (has_time, format.rate_hz) {
            (true, _) => Self::Own,
            (false, Some(hz)) => Self::Rate(1e6 / hz),
            (false, None) => Self::Arrival,
        }
    }
}

/// A line's time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stamp {
    /// µs since reading began; never less than the line before.
    pub(super) at: u64,
    /// The time between cannot be told: something of the curve is missing.
    pub(super) gap: bool,
}

/// Gives one line after the other its time.
#[derive(Debug)]
pub(super) struct LineClock {
    by: By,
    last: Option<f64>,
    own: f64,
    arrived: f64,
}

impl LineClock {
    pub(super) const fn new(by: By) -> Self {
        Self {
            by,
            last: None,
            own: 0.0,
            arrived: 0.0,
        }
    }

    /// The time of a line that came at `arrived`, with its own time in s; `missed` lines before it did not read.
    pub(super) fn stamp(&mut self, arrived: u64, own_s: Option<f64>, missed: u32) -> Stamp {
        #[expect(
            clippy::cast_precision_loss,
            reason = "µs since reading began: exact for 285 years"
        )]
        let arrived = arrived as f64;
        let own = own_s.map_or(0.0, |own| own * 1e6);
        let passed = arrived - std::mem::replace(&mut self.arrived, arrived);
        let Some(last) = self.last else {
            self.own = own;
            return self.keep(arrived, false);
        };
        let (step, late) = match self.by {
            By::Arrival => return self.keep(arrived.max(last + 1.0), false),
            By::Rate(period) => (period * (f64::from(missed) + 1.0), LATE_RATE_MICROS),
            By::Own => (own - self.own, LATE_OWN_MICROS),
        };
        self.own = own;
        let apart = arrived - (last + step);
        if step < 0.0 || step - passed > LEAP_MICROS {
            // It went back, or leapt: the instrument was set, or started again.
            return self.keep(arrived.max(last + 1.0), true);
        }
        if apart > late {
            return self.keep(arrived, false);
        }
        let most = if apart < -NOT_LIVE_MICROS {
            0.0
        } else {
            step / DRIFT_PART
        };
        self.keep(
            last + step + (apart / FOLLOW_PART).limited(-most, most),
            false,
        )
    }

    fn keep(&mut self, at: f64, gap: bool) -> Stamp {
        self.last = Some(at);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a float becomes the nearest integer of the range; below zero it becomes zero"
        )]
        let at = at.round() as u64;
        Stamp { at, gap }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Lines of an instrument of 100 a second whose clock is off by `part`, carried in bursts.
    fn run(by: By, part: f64, count: u32, arrives: impl Fn(u32) -> u64) -> Vec<Stamp> {
        let mut clock = LineClock::new(by);
        (0..count)
            .map(|line| {
                let own = f64::from(line) * 0.01 * (1.0 + part);
                clock.stamp(arrives(line), Some(own), 0)
            })
            .collect()
    }

    #[test]
    fn bursts_are_spread_and_a_drift_is_followed() {
        // Every fifth hundredth five lines at once; an hour, one part in a thousand fast or slow.
        for by in [
            By::Own,
            By::Rate(10_000.0 * 1.001),
            By::Rate(10_000.0 * 0.999),
        ] {
            let burst = |line: u32| u64::from(line / 5) * 50_000 + 50_000;
            let stamps = run(by, 0.001, 360_000, burst);
            for (line, pair) in (1_u32..).zip(stamps.windows(2)) {
                let apart = pair[1].at - pair[0].at;
                assert!((9_700..10_300).contains(&apart), "{by:?} {line}: {apart}");
                assert!(!pair[1].gap);
                let late = burst(line).abs_diff(pair[1].at);
                assert!(late < 60_000, "{by:?} {line}: {late} µs apart");
            }
        }
    }

    #[test]
    fn a_silence_is_seen_by_rate_and_by_own_time() {
        let silence = |line: u32| u64::from(line) * 10_000 + if line >= 50 { 700_000 } else { 0 };
        for by in [By::Rate(10_000.0), By::Own, By::Arrival] {
            let stamps = run(by, 0.0, 100, silence);
            let longest = stamps.windows(2).map(|pair| pair[1].at - pair[0].at).max();
            assert_eq!(longest, Some(710_000), "{by:?}");
        }
    }

    #[test]
    fn a_line_that_did_not_read_took_its_time_too_and_a_clock_set_back_is_a_gap() {
        let mut clock = LineClock::new(By::Rate(10_000.0));
        assert_eq!(clock.stamp(0, None, 0).at, 0);
        assert_eq!(clock.stamp(30_000, None, 2).at, 30_000);
        let mut clock = LineClock::new(By::Own);
        clock.stamp(1_000, Some(5.0), 0);
        assert_eq!(
            clock.stamp(2_000, Some(0.0), 0),
            Stamp {
                at: 2_000,
                gap: true
            }
        );
        assert!(clock.stamp(3_000, Some(3_600.0), 0).gap);
        assert!(!clock.stamp(4_000, Some(3_600.001), 0).gap);
    }

    proptest! {
        #[test]
        fn time_never_goes_back(
            lines in prop::collection::vec((0_u64..2_000_000, -1e9_f64..1e9, 0_u32..9), 1..60),
            way in 0_usize..3,
        ) {
            let by = [By::Own, By::Rate(5_000.0), By::Arrival][way];
            let mut clock = LineClock::new(by);
            let (mut arrived, mut last) = (0, 0);
            for (step, own, missed) in lines {
                arrived += step;
                let stamp = clock.stamp(arrived, Some(own), missed);
                prop_assert!(stamp.at >= last);
                last = stamp.at;
            }
        }
    }
}
