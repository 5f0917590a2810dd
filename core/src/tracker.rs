//! One attempt as it happens: peak, snug crossing, fastener rotation over several pulls, shape of the curve.
//!
//! Volatile: after a power cut nothing of it is rebuilt. Knows nothing of order, records or storage. No division on the way
//! of a sample.

use crate::procedure::{AngleWindow, Prevailing, TorqueWindow};
use crate::sample::Sample;
use crate::trace::Trace;
use crate::unit::{Angle, Instant, Rotation, Span, Torque};
use crate::verdict::{Aim, Reading, Reason, Reasons};
use crate::watch::Watch;

/// What is known about the fastener before the attempt.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Start {
    /// The torque it was left at: it is not expected to move below that.
    pub restart_expected: Option<Torque>,
    /// Running torque on top of which the target applies.
    pub prevailing: Prevailing,
}

/// What the operator should be told now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Cue {
    /// Go on.
    #[default]
    None,
    /// Ease off: at this rate the target is one reaction time away.
    Approach,
    /// The window is reached: let go. On a hold: the time is over.
    Target,
    /// Beyond the window.
    Over,
}

/// What one sample or one tick brought.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Signal {
    /// What the operator should be told now.
    pub cue: Cue,
    /// Stop pulling at once, and why. Stays set until the attempt is over.
    pub halt: Option<Reason>,
    /// True once per attempt: at its first load.
    pub began: bool,
    /// The attempt is complete: the host calls [`Tracker::finish`].
    pub ended: bool,
}

/// What a view shows of the attempt in progress.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Live {
    /// Torque of the last sample.
    pub torque: Torque,
    /// Highest torque so far.
    pub peak: Torque,
    /// Rotation of the fastener; `None` while it means nothing.
    pub angle: Option<Angle>,
    /// What is left to the target of a turn.
    pub remaining: Option<Angle>,
    /// Pulls so far.
    pub pulls: u8,
    /// Whether the tool is loaded past re-grip.
    pub loaded: bool,
}

/// Thresholds of one attempt, fixed when it is armed.
#[derive(Clone, Copy, Debug)]
struct Limits {
    snug: Torque,
    regrip: Torque,
    idle: Span,
}

#[derive(Clone, Copy, Debug)]
struct Armed {
    aim: Aim,
    limits: Limits,
    reverse: bool,
}

/// A sample in the sense of the stage: positive is the way it pulls.
#[derive(Clone, Copy, Debug)]
struct Seen {
    at: Instant,
    torque: Torque,
    rotation: Rotation,
}

/// The attempt in progress.
#[derive(Clone, Debug)]
pub struct Tracker {
    armed: Option<Armed>,
    last: Option<Seen>,
    before: Torque,
    loaded: bool,
    began_at: Option<Instant>,
    released_at: Option<Instant>,
    pulls: u8,
    peak: Torque,
    settled: Torque,
    /// Rotation and torque where counting began in this pull.
    reference: Option<(Rotation, Torque)>,
    /// Counting ended in this pull at the reference's torque.
    returned: Option<Rotation>,
    /// Fastener rotation of the pulls that are over; `None` before counting began.
    turned: Option<Angle>,
    held: Span,
    held_most: Span,
    shape: Reasons,
    halt: Option<Reason>,
    trace: Trace,
}

/// Released for this long, a complete attempt is over.
const DWELL: Span = Span::from_millis(150);

impl Tracker {
    /// Not armed.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            armed: None,
            last: None,
            before: Torque::ZERO,
            loaded: false,
            began_at: None,
            released_at: None,
            pulls: 0,
            peak: Torque::ZERO,
            settled: Torque::ZERO,
            reference: None,
            returned: None,
            turned: None,
            held: Span::ZERO,
            held_most: Span::ZERO,
            shape: Reasons::NONE,
            halt: None,
            trace: Trace::new(),
        }
    }

    /// Arms for an attempt. Whatever was in progress is forgotten.
    pub fn begin(&mut self, aim: Aim, watch: &Watch, start: Start) {
        let last = self.last;
        *self = Self::new();
        self.last = last;
        self.armed = Some(Armed {
            aim,
            limits: limits(&aim, watch, &start),
            reverse: matches!(aim, Aim::BackOff { .. }),
        });
    }

    /// Takes one sample.
    pub fn feed(&mut self, at: Instant, sample: Sample) -> Signal {
        let Some(armed) = self.armed else {
            return Signal::default();
        };
        let seen = if armed.reverse {
            Seen {
                at,
                torque: -sample.torque,
                rotation: Rotation::ZERO + (Rotation::ZERO - sample.rotation),
            }
        } else {
            Seen {
                at,
                torque: sample.torque,
                rotation: sample.rotation,
            }
        };
        if self.last.is_some_and(|last| at < last.at) {
            return Signal {
                halt: self.halt,
                ..Signal::default()
            };
        }
        let was_loaded = self.loaded;
        let began = self.load(&armed, seen);
        if self.began_at.is_some() {
            self.trace.push(at, sample.torque, sample.rotation);
        }
        if self.loaded || was_loaded {
            self.measure(&armed, seen);
        }
        if was_loaded && !self.loaded {
            self.close_pull(at);
        }
        self.before = self.last.map_or(seen.torque, |last| last.torque);
        self.last = Some(seen);
        Signal {
            cue: self.cue(&armed, seen.torque),
            halt: self.halt,
            began,
            ended: self.is_over(&armed, at),
        }
    }

    /// Lets time pass without a sample.
    pub fn tick(&mut self, at: Instant) -> Signal {
        let Some(armed) = self.armed else {
            return Signal::default();
        };
        Signal {
            halt: self.halt,
            ended: self.is_over(&armed, at),
            ..Signal::default()
        }
    }

    /// When [`Self::tick`] could next bring something.
    #[must_use]
    pub fn deadline(&self) -> Option<Instant> {
        let armed = self.armed?;
        let released = self.released_at?;
        let span = if self.is_reached(&armed) {
            DWELL
        } else {
            armed.limits.idle
        };
        Some(released.after(span))
    }

    /// What a view shows.
    #[must_use]
    pub fn live(&self) -> Live {
        let angle = self.angle_now();
        let remaining = match self.armed.map(|armed| armed.aim) {
            Some(Aim::Turn { window, .. }) => Some(window.target - angle.unwrap_or(Angle::ZERO)),
            _ => None,
        };
        Live {
            torque: self.last.map_or(Torque::ZERO, |last| last.torque),
            peak: self.peak,
            angle,
            remaining,
            pulls: self.pulls,
            loaded: self.loaded,
        }
    }

    /// Whether this attempt has been loaded at least once.
    #[must_use]
    pub const fn has_begun(&self) -> bool {
        self.armed.is_some() && self.began_at.is_some()
    }

    /// Closes the attempt and disarms; `None` when it never began.
    pub fn finish(&mut self) -> Option<Reading> {
        let armed = self.armed.take()?;
        self.began_at?;
        if self.loaded {
            let at = self.last.map_or(Instant::BOOT, |last| last.at);
            self.close_pull(at);
        }
        if let Aim::Turn {
            one_sweep: true, ..
        } = armed.aim
            && self.pulls > 1
        {
            self.shape = self.shape.with(Reason::Interrupted);
        }
        Some(Reading {
            pulls: self.pulls,
            peak: self.peak,
            settled: self.settled,
            angle: self.turned,
            prevailing: None,
            restart: None,
            held: self.held_most,
            shape: self.shape,
        })
    }

    /// The measurement was lost in mid-attempt: closes it, its angle unknown. `None` when it never began.
    pub fn interrupt(&mut self) -> Option<Reading> {
        let mut reading = self.finish()?;
        reading.angle = None;
        reading.shape = reading.shape.with(Reason::Interrupted);
        Some(reading)
    }

    /// The points of the attempt in progress or just finished.
    #[must_use]
    pub const fn trace(&self) -> &Trace {
        &self.trace
    }

    fn load(&mut self, armed: &Armed, seen: Seen) -> bool {
        let limits = &armed.limits;
        if self.loaded {
            if seen.torque < limits.regrip {
                self.loaded = false;
                self.released_at = Some(seen.at);
            }
            return false;
        }
        if seen.torque < limits.regrip {
            return false;
        }
        self.loaded = true;
        self.released_at = None;
        self.pulls = self.pulls.saturating_add(1);
        self.returned = None;
        self.reference = None;
        if self.began_at.is_none() {
            self.began_at = Some(seen.at);
            return true;
        }
        false
    }

    fn measure(&mut self, armed: &Armed, seen: Seen) {
        // A sample far above both neighbours is a spike; the least of it and its neighbour counts.
        let last = self.last.map_or(seen.torque, |last| last.torque);
        let sure = last.min(self.before.max(seen.torque));
        self.peak = self.peak.max(sure);
        if seen.torque.scaled(16, 15) >= self.peak {
            self.settled = sure;
        }
        let level = match armed.aim {
            Aim::Torque { .. } if self.turned.is_none() => armed.limits.snug,
            _ => armed.limits.regrip,
        };
        match self.reference {
            None if seen.torque >= level => {
                let found = match self.last {
                    Some(last) if last.torque < level => (crossing(last, seen, level), level),
                    _ => (seen.rotation, seen.torque),
                };
                self.reference = Some(found);
                self.turned.get_or_insert(Angle::ZERO);
            }
            Some((_, level)) => {
                if let Some(last) = self.last
                    && last.torque >= level
                    && seen.torque < level
                {
                    self.returned = Some(crossing(last, seen, level));
                }
            }
            None => {}
        }
        if let Aim::Hold { torque, .. } = armed.aim {
            let kept = seen.torque >= torque.scaled(98, 100);
            if kept && let Some(last) = self.last {
                self.held = Span::from_micros(
                    self.held
                        .micros()
                        .saturating_add(seen.at.since(last.at).micros()),
                );
                self.held_most = self.held_most.max(self.held);
            } else {
                self.held = Span::ZERO;
            }
        }
    }

    fn close_pull(&mut self, at: Instant) {
        self.loaded = false;
        self.released_at.get_or_insert(at);
        if let Some((from, _)) = self.reference {
            let to = self
                .returned
                .or(self.last.map(|last| last.rotation))
                .unwrap_or(from);
            let sum = self.turned.unwrap_or(Angle::ZERO) + (to - from);
            self.turned = Some(sum);
        }
        self.reference = None;
        self.returned = None;
    }

    fn angle_now(&self) -> Option<Angle> {
        let done = self.turned?;
        Some(match (self.reference, self.last) {
            (Some((from, _)), Some(last)) if self.loaded => done + (last.rotation - from),
            _ => done,
        })
    }

    fn is_reached(&self, armed: &Armed) -> bool {
        let turned = self.turned.unwrap_or(Angle::ZERO);
        match armed.aim {
            Aim::Torque { window } | Aim::Repeat { window, .. } => self.peak >= window.min,
            Aim::Turn { window, .. } => turned >= window.min,
            Aim::Hold { time, .. } => self.held_most >= time,
            Aim::BackOff { angle } => turned >= angle.unwrap_or(Angle::ZERO),
        }
    }

    fn is_over(&self, armed: &Armed, at: Instant) -> bool {
        let Some(released) = self.released_at else {
            return false;
        };
        let passed = at.since(released);
        (self.is_reached(armed) || self.halt.is_some()) && passed >= DWELL
            || passed >= armed.limits.idle
    }

    fn cue(&self, armed: &Armed, torque: Torque) -> Cue {
        if !self.loaded {
            return Cue::None;
        }
        match armed.aim {
            Aim::Torque { window } | Aim::Repeat { window, .. } => {
                by_window(torque, window.min, window.max)
            }
            Aim::Turn {
                window: AngleWindow { min, max, .. },
                ..
            } => by_window(self.angle_now().unwrap_or(Angle::ZERO), min, max),
            Aim::Hold { time, .. } if self.held_most >= time => Cue::Target,
            Aim::Hold { .. } | Aim::BackOff { .. } => Cue::None,
        }
    }
}

impl Default for Tracker {
    fn default() -> Self {
        Self::new()
    }
}

fn by_window<T: Ord>(value: T, min: T, max: T) -> Cue {
    if value > max {
        Cue::Over
    } else if value >= min {
        Cue::Target
    } else {
        Cue::None
    }
}

/// The torque that thresholds without a value of their own are parts of.
fn scale(aim: &Aim, start: &Start) -> Torque {
    let target = match *aim {
        Aim::Torque { window } | Aim::Repeat { window, .. } => Some(window.target),
        Aim::Turn {
            torque: Some(TorqueWindow { target, .. }),
            ..
        } => Some(start.restart_expected.unwrap_or(target)),
        Aim::Hold { torque, .. } => Some(torque),
        Aim::Turn { torque: None, .. } | Aim::BackOff { .. } => start.restart_expected,
    };
    target
        .filter(|&torque| torque > Torque::ZERO)
        .unwrap_or(Torque::from_millinewton_meters(20_000))
}

fn limits(aim: &Aim, watch: &Watch, start: &Start) -> Limits {
    let scale = scale(aim, start);
    let given = |value: Torque, part: u16| {
        if value > Torque::ZERO {
            value
        } else {
            scale.scaled(1, part)
        }
    };
    Limits {
        snug: given(watch.snug, 10),
        regrip: given(watch.regrip, 20),
        idle: watch.idle,
    }
}

/// Rotation at which the line from `a` to `b` crosses `level`, by halving.
fn crossing(a: Seen, b: Seen, level: Torque) -> Rotation {
    let level = level.millinewton_meters();
    let (mut below, mut above) = (a.torque.millinewton_meters(), b.torque.millinewton_meters());
    let (mut from, mut to) = (a.rotation.millidegrees(), b.rotation.millidegrees());
    if below > above {
        core::mem::swap(&mut below, &mut above);
        core::mem::swap(&mut from, &mut to);
    }
    for _ in 0..10 {
        let middle = below.midpoint(above);
        let there = from.midpoint(to);
        if middle < level {
            below = middle;
            from = there;
        } else {
            above = middle;
            to = there;
        }
    }
    Rotation::from_millidegrees(to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verdict::{Verdict, judge};

    fn millis(value: u32) -> Instant {
        Instant::BOOT.after(Span::from_millis(value))
    }

    fn sample(torque: i32, rotation: i32) -> Sample {
        Sample {
            torque: Torque::from_millinewton_meters(torque),
            rotation: Rotation::from_millidegrees(rotation),
        }
    }

    #[test]
    fn a_plain_pull_begins_once_ends_after_release_and_is_accepted() {
        let newton_meters = |value| Torque::from_millinewton_meters(value * 1_000);
        let aim = Aim::Torque {
            window: TorqueWindow {
                target: newton_meters(40),
                min: newton_meters(38),
                max: newton_meters(42),
            },
        };
        let mut tracker = Tracker::new();
        tracker.begin(aim, &Watch::default(), Start::default());
        let mut began = 0;
        let mut ended = false;
        for step in 0..40_i32 {
            let time = millis(u32::try_from(step).unwrap_or(0) * 10);
            let signal = tracker.feed(time, sample(step * 1_000, step * 2_000));
            began += i32::from(signal.began);
            ended |= signal.ended;
        }
        for step in 0..40_i32 {
            let time = millis(400 + u32::try_from(step).unwrap_or(0) * 10);
            let torque = (39 - 4 * step).max(0) * 1_000;
            let rotation = 78_000 - (39_000 - torque) / 10;
            ended |= tracker.feed(time, sample(torque, rotation)).ended;
        }
        assert_eq!(began, 1);
        assert!(ended);
        let reading = tracker.finish().unwrap_or_default();
        assert_eq!(reading.peak, newton_meters(39));
        // 35 N·m above snug at 2 degrees a N·m, of which 0.1 degree a N·m is wind-up that the release gives back.
        let angle = reading.angle.map(Angle::millidegrees);
        assert_eq!(angle, Some(78_000 - 3_500 - 8_000));
        assert_eq!(judge(&aim, &reading).verdict, Verdict::Accepted);
    }
}
