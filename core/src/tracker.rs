//! One attempt as it happens: peak, snug crossing, fastener rotation over several pulls, shape of the curve.
//!
//! Volatile: after a power cut nothing of it is rebuilt. Nothing on the way of a sample divides; a line is fitted once when a
//! pull is over, and once while a renewed pull rises. Knows nothing of order, records or storage.

mod drift;
mod line;
mod pace;
mod peak;
mod running;
mod shape;
mod thresholds;
mod turning;

use crate::procedure::Prevailing;
use crate::sample::Sample;
use crate::trace::Trace;
use crate::unit::{Angle, Instant, MAGNITUDE_MAX, Span, Torque};
use crate::verdict::{Aim, Reading, Reason, Reasons};
use crate::watch::Watch;
use drift::Drift;
use pace::Pace;
use peak::Peak;
use running::{Running, Travel};
use shape::Shape;
use thresholds::Thresholds;
use turning::Turning;

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
    /// Slow down: at this rate the target is two and a half reaction times away.
    Approach,
    /// Let go now: whoever takes one reaction time to do it stops at the target. On a hold: the time is over.
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

/// A sample in the sense of the stage: positive is the way it pulls. mN·m and millidegrees.
#[derive(Clone, Copy, Debug)]
struct Seen {
    at: Instant,
    torque: i32,
    rotation: i32,
}

/// The attempt in progress.
#[derive(Clone, Debug)]
pub struct Tracker {
    aim: Option<Aim>,
    thresholds: Thresholds,
    prevailing: Prevailing,
    /// The stage loosens: torque and rotation count the other way round.
    reverse: bool,
    last: Option<Seen>,
    /// µs between samples, slowly averaged.
    interval: u32,
    loaded: bool,
    /// One sample was past re-grip, or one below it; the next one decides.
    turning_over: bool,
    began_at: Option<Instant>,
    released_at: Option<Instant>,
    pulls: u8,
    pull_counted: bool,
    cue: Cue,
    peak: Peak,
    turning: Turning,
    shape: Shape,
    pace: Pace,
    drift: Drift,
    /// The train's compliance as the attempt before found it: good enough to tell when to let go, never to judge by, since the
    /// extension may have been changed.
    compliance_before: i64,
    running: Running,
    travel: Travel,
    restart: Option<i32>,
    restart_top: i32,
    held: u64,
    held_most: u64,
    found: Reasons,
    halt: Option<Reason>,
    trace: Trace,
}

/// Reasons to stop pulling at once.
const HALTING: [Reason; 10] = [
    Reason::Overload,
    Reason::GivingWay,
    Reason::Yielding,
    Reason::EarlyRise,
    Reason::LateRise,
    Reason::NoTurn,
    Reason::StickSlip,
    Reason::WrongWay,
    Reason::Gap,
    Reason::Stuck,
];

/// Samples closer together than this are never a gap.
const GAP_LEAST_MICROS: u64 = 100_000;
/// A gap before the usual distance of samples is known.
const GAP_UNKNOWN_MICROS: u64 = 500_000;

impl Tracker {
    /// Not armed.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            aim: None,
            thresholds: Thresholds::IDLE,
            prevailing: Prevailing::None,
            reverse: false,
            last: None,
            interval: 0,
            loaded: false,
            turning_over: false,
            began_at: None,
            released_at: None,
            pulls: 0,
            pull_counted: false,
            cue: Cue::None,
            peak: Peak::NEW,
            turning: Turning::NEW,
            shape: Shape::NEW,
            pace: Pace::NEW,
            drift: Drift::NEW,
            compliance_before: 0,
            running: Running::NEW,
            travel: Travel::NEW,
            restart: None,
            restart_top: 0,
            held: 0,
            held_most: 0,
            found: Reasons::NONE,
            halt: None,
            trace: Trace::new(),
        }
    }

    /// Arms for an attempt. Whatever was in progress is forgotten; the sensor's drift and the give of the train are not.
    pub fn begin(&mut self, aim: Aim, watch: &Watch, start: Start) {
        let reverse = matches!(aim, Aim::BackOff { .. });
        if reverse != self.reverse {
            self.last = None;
            self.drift = Drift::NEW;
        }
        self.aim = Some(aim);
        self.thresholds = Thresholds::new(&aim, watch, &start);
        self.prevailing = start.prevailing;
        self.reverse = reverse;
        self.loaded = false;
        self.turning_over = false;
        self.began_at = None;
        self.released_at = None;
        self.pulls = 0;
        self.pull_counted = false;
        self.cue = Cue::None;
        self.peak = Peak::NEW;
        self.turning = Turning::new(&self.thresholds);
        self.shape = Shape::NEW;
        self.pace = Pace::NEW;
        self.running = Running::NEW;
        self.travel = Travel::NEW;
        self.restart = None;
        self.restart_top = 0;
        self.held = 0;
        self.held_most = 0;
        self.found = Reasons::NONE;
        self.halt = None;
        // The trace stays until the next attempt begins: the host keeps it after the session has moved on.
    }

    /// Takes one sample.
    pub fn feed(&mut self, at: Instant, sample: Sample) -> Signal {
        let Some(aim) = self.aim else {
            return Signal::default();
        };
        let seen = self.seen(at, sample);
        let before = match self.time_passed(at) {
            Ok(before) => before,
            Err(Reversed) => return self.signal(&aim, at, false),
        };
        let sure = self.peak.push(seen.torque, self.loaded, &self.thresholds);
        let began = self.load(before, seen);
        if began {
            self.trace.clear();
        }
        if self.began_at.is_some() {
            self.trace.push(at, sample.torque, sample.rotation);
        }
        if self.loaded {
            self.pulled(&aim, before, seen, sure);
        } else {
            self.went_on(seen);
            self.drift.rest(seen);
        }
        if self.reverse && self.began_at.is_some() {
            self.travel.push(seen);
        }
        self.against(seen);
        self.last = Some(seen);
        self.signal(&aim, at, began)
    }

    /// Lets time pass without a sample.
    pub fn tick(&mut self, at: Instant) -> Signal {
        let Some(aim) = self.aim else {
            return Signal::default();
        };
        if self.loaded
            && let Some(last) = self.last
            && at.since(last.at).micros() > self.gap()
        {
            self.lost(Reason::Gap);
        }
        self.signal(&aim, at, false)
    }

    /// When [`Self::tick`] could next bring something.
    #[must_use]
    pub fn deadline(&self) -> Option<Instant> {
        let aim = self.aim?;
        if self.loaded {
            let last = self.last?;
            // One µs more: a distance equal to the limit is not a gap.
            let gap = Span::from_micros(self.gap().saturating_add(1));
            return (!self.found.contains(Reason::Gap)).then(|| last.at.after(gap));
        }
        let released = self.released_at?;
        let span = if self.is_complete(&aim) {
            self.thresholds.release
        } else {
            idle_of(&aim, &self.thresholds)?
        };
        Some(released.after(Span::from_micros(span)))
    }

    /// What a view shows.
    #[must_use]
    pub fn live(&self) -> Live {
        let angle = self.angle_now().map(Angle::from_wide);
        let remaining = match self.aim {
            Some(Aim::Turn { window, .. }) => Some(window.target - angle.unwrap_or(Angle::ZERO)),
            _ => None,
        };
        let torque = self.last.map_or(0, |last| last.torque);
        Live {
            torque: Torque::from_millinewton_meters(torque),
            peak: Torque::from_millinewton_meters(self.peak.value),
            angle,
            remaining,
            pulls: self.pulls,
            loaded: self.loaded,
        }
    }

    /// Whether this attempt has been loaded at least once.
    #[must_use]
    pub const fn has_begun(&self) -> bool {
        self.aim.is_some() && self.began_at.is_some()
    }

    /// Closes the attempt and disarms; `None` when it never began.
    pub fn finish(&mut self) -> Option<Reading> {
        let aim = self.aim.take()?;
        self.began_at?;
        if self.loaded {
            self.peak.flush();
            self.end_pull(&aim, None);
        }
        self.trace.settle();
        if self.turning.compliance() > 0 {
            self.compliance_before = self.turning.compliance();
        }
        if self.peak.bound > self.thresholds.jerk {
            self.find(Reason::Jerk);
        }
        if matches!(
            aim,
            Aim::Turn {
                one_sweep: true,
                ..
            }
        ) && self.pulls > 1
        {
            self.find(Reason::Interrupted);
        }
        let angle = if self.reverse {
            Some(i64::from(self.travel.turned))
        } else {
            self.turning.total()
        };
        Some(Reading {
            pulls: self.pulls.max(1),
            peak: Torque::from_millinewton_meters(self.peak.value),
            bound: Torque::from_millinewton_meters(self.peak.bound),
            settled: Torque::from_millinewton_meters(self.peak.settled),
            angle: angle.map(Angle::from_wide),
            prevailing: self.prevailing_measured(),
            restart: self.restart.map(Torque::from_millinewton_meters),
            held: Span::from_micros(self.held_most),
            train: stiffness(self.turning.compliance()),
            shape: self.found,
        })
    }

    /// The measurement was lost in mid-attempt: closes it, its angle unknown. `None` when it never began.
    pub fn interrupt(&mut self) -> Option<Reading> {
        let mut reading = self.finish()?;
        reading.angle = None;
        reading.shape = reading.shape.with(Reason::Interrupted);
        Some(reading)
    }

    /// The sensor's own fault, named by the sample path: [`Reason::Stuck`] or [`Reason::Gap`]. Counts while loaded.
    pub fn fault(&mut self, reason: Reason) {
        if self.loaded {
            self.lost(reason);
        }
    }

    /// The points of the attempt in progress or just finished.
    #[must_use]
    pub const fn trace(&self) -> &Trace {
        &self.trace
    }

    fn seen(&self, at: Instant, sample: Sample) -> Seen {
        let (torque, rotation) = (
            sample.torque.millinewton_meters(),
            sample.rotation.millidegrees(),
        );
        if self.reverse {
            Seen {
                at,
                torque: torque.wrapping_neg(),
                rotation: rotation.wrapping_neg(),
            }
        } else {
            Seen {
                at,
                torque,
                rotation,
            }
        }
    }

    /// The sample before, unless too much time passed unseen; time that runs backwards is told.
    fn time_passed(&mut self, at: Instant) -> Result<Option<Seen>, Reversed> {
        let Some(last) = self.last else {
            return Ok(None);
        };
        if at < last.at {
            if self.loaded {
                self.lost(Reason::Gap);
            }
            return Err(Reversed);
        }
        let passed = at.since(last.at).micros();
        if passed > self.gap() {
            if self.loaded {
                self.lost(Reason::Gap);
            }
            self.peak.restart();
            self.pace.restart();
            self.shape.restart();
            self.drift.disturb();
            return Ok(None);
        }
        let passed = i32::try_from(passed).unwrap_or(i32::MAX).unsigned_abs();
        self.interval = if self.interval == 0 {
            passed
        } else {
            self.interval
                .wrapping_sub(self.interval >> 4)
                .wrapping_add(passed >> 4)
        };
        Ok(Some(last))
    }

    fn gap(&self) -> u64 {
        match (self.thresholds.gap, self.interval) {
            (0, 0) => GAP_UNKNOWN_MICROS,
            (0, interval) => (u64::from(interval) << 2).max(GAP_LEAST_MICROS),
            (given, _) => given,
        }
    }

    /// Loaded or let go; two samples in a row decide, so that a spike does neither. True at the attempt's first load.
    fn load(&mut self, before: Option<Seen>, seen: Seen) -> bool {
        let past = seen.torque >= self.thresholds.regrip;
        if past == self.loaded {
            self.turning_over = false;
            return false;
        }
        // With no sample just before, this one decides.
        if before.is_some() && !self.turning_over {
            self.turning_over = true;
            return false;
        }
        self.turning_over = false;
        if self.loaded {
            self.let_go(seen);
            return false;
        }
        self.loaded = true;
        self.released_at = None;
        self.pull_counted = false;
        self.drift.disturb();
        self.pace.restart();
        self.running.restart();
        let first = before.unwrap_or(seen);
        self.turning.start_pull(first);
        self.shape
            .start_pull(self.turning.still_below(), &self.thresholds);
        self.restart_top = 0;
        if self.began_at.is_none() {
            self.began_at = Some(seen.at);
            return true;
        }
        false
    }

    /// A stud that snaps drops its torque between two samples; only the handle, going on with nothing to hold it, tells.
    fn went_on(&mut self, seen: Seen) {
        let Some(released) = self.released_at else {
            return;
        };
        if seen.at.since(released).micros() <= self.thresholds.release
            && self.shape.broke(seen.rotation, &self.thresholds)
        {
            self.find(Reason::GivingWay);
        }
    }

    fn let_go(&mut self, seen: Seen) {
        if self.shape.broke(seen.rotation, &self.thresholds) {
            self.find(Reason::GivingWay);
        }
        if let Some(aim) = self.aim {
            self.end_pull(&aim, Some(seen));
        }
    }

    fn pulled(&mut self, aim: &Aim, before: Option<Seen>, seen: Seen, sure: i32) {
        let level = self.level(aim);
        if matches!(aim, Aim::Torque { .. }) && !self.turning.is_counting() {
            self.before_snug(aim, seen, level);
        }
        self.turning.follow(before, seen, level, &self.thresholds);
        if !self.pull_counted && seen.torque >= self.thresholds.regrip.saturating_mul(2) {
            self.pull_counted = true;
            self.pulls = self.pulls.saturating_add(1);
        }
        if self.pace.push(seen)
            && self.pace.is_level(seen, &self.thresholds)
            && seen.torque >= self.peak.value >> 1
        {
            self.peak.stands(sure);
        }
        let Some(before) = before else { return };
        if sure > self.thresholds.overload {
            self.find(Reason::Overload);
        }
        self.watch(aim, before, seen, sure);
        if seen.torque >= self.thresholds.hold {
            let step = seen.at.since(before.at).micros();
            self.held = self.held.saturating_add(step);
            self.held_most = self.held_most.max(self.held);
        } else {
            self.held = 0;
        }
    }

    /// Torque at which counting starts in this pull.
    fn level(&self, aim: &Aim) -> i32 {
        match aim {
            Aim::Torque { .. } if !self.turning.is_counting() => {
                let running = self.prevailing_measured();
                let running = running.map_or(0, Torque::millinewton_meters);
                self.thresholds.snug.saturating_add(running)
            }
            _ => self.thresholds.regrip,
        }
    }

    fn before_snug(&mut self, aim: &Aim, seen: Seen, level: i32) {
        if matches!(self.prevailing, Prevailing::Measure) && matches!(aim, Aim::Torque { .. }) {
            self.running.push(seen);
        }
        if self.thresholds.run_down_min == 0 && self.thresholds.run_down_max == 0 {
            return;
        }
        self.travel.push(seen);
        let limit = self.thresholds.run_down_max;
        if limit > 0 && self.travel.turned > limit {
            self.find(Reason::LateRise);
        }
        if seen.torque >= level && self.travel.turned < self.thresholds.run_down_min {
            self.find(Reason::EarlyRise);
        }
    }

    fn watch(&mut self, aim: &Aim, before: Seen, seen: Seen, sure: i32) {
        if matches!(aim, Aim::BackOff { .. }) {
            return;
        }
        let may_yield = matches!(aim, Aim::Torque { .. });
        if let Some(reason) = self
            .shape
            .follow(before, seen, sure, may_yield, &self.thresholds)
        {
            if reason == Reason::Stuck {
                self.lost(Reason::Stuck);
            } else {
                self.find(reason);
            }
        }
        let compliance = self.turning.compliance();
        if self.restart.is_none()
            && self.thresholds.still_below > 0
            && compliance > 0
            && self.pulls <= 1
        {
            self.restart_top = self.restart_top.max(sure);
            let moved = self.turning.now(Some(seen), compliance);
            if moved.is_some_and(|moved| moved > i64::from(self.thresholds.restart_turn)) {
                self.restart = Some(self.restart_top);
            }
        }
        if matches!(aim, Aim::Torque { .. }) {
            // Between these two the fastener's rotation lies, whatever the train's stiffness.
            let most = if compliance > 0 {
                compliance
            } else {
                self.thresholds.compliance_most
            };
            let turned_least = self.turning.now(Some(seen), most);
            let turned_most = self.turning.now(Some(seen), compliance);
            // Where part of the way went unseen, nothing can be said of the rise.
            if !self.turning.is_lost()
                && let (Some(least), Some(most)) = (turned_least, turned_most)
            {
                self.rise(seen.torque, least, most, compliance > 0);
            }
        }
    }

    /// Rise of torque over fastener angle past snug: too steep, too flat, too long, or none at all. `exact` when the wind-up
    /// is known.
    fn rise(&mut self, torque: i32, turned_least: i64, turned_most: i64, exact: bool) {
        let thresholds = &self.thresholds;
        let base = thresholds.snug.max(thresholds.still_below);
        let span = thresholds.target.wrapping_sub(base);
        // A pass that adds little says little.
        if span < thresholds.target >> 2 {
            return;
        }
        let risen = i64::from(torque.wrapping_sub(base));
        let risen_most = i64::from(self.peak.value.max(torque).wrapping_sub(base));
        let half = i64::from(span >> 1);
        // N·m per degree cross-multiplied: mN·m × millidegrees per degree against mN·m per degree × millidegrees.
        // A fastener that is tight already stands still up to there: no rise of its own can be seen.
        let steep = thresholds.gradient_max > 0
            && thresholds.snug > thresholds.still_below
            && risen > half
            && risen.wrapping_mul(1_000)
                > thresholds
                    .gradient_max
                    .wrapping_mul(turned_most.saturating_add(EARLY_SLACK));
        let flat = thresholds.gradient_min > 0
            && turned_least > LATE_SLACK
            && risen_most.wrapping_mul(1_000)
                < thresholds
                    .gradient_min
                    .wrapping_mul(turned_least.wrapping_sub(LATE_SLACK));
        let long = thresholds.late > 0
            && turned_least > i64::from(thresholds.late)
            && risen_most < half.wrapping_add(half >> 1);
        let fixed = exact
            && thresholds.snug > thresholds.still_below
            && risen > half.wrapping_add(half >> 1)
            && turned_most < i64::from(thresholds.turn_least);
        if fixed {
            self.find(Reason::NoTurn);
        } else if steep {
            self.find(Reason::EarlyRise);
        }
        if flat || long {
            self.find(Reason::LateRise);
        }
    }

    fn end_pull(&mut self, aim: &Aim, released: Option<Seen>) {
        let at = released.or(self.last);
        self.loaded = false;
        self.turning_over = false;
        self.released_at = at.map(|seen| seen.at);
        self.held = 0;
        let Some(last) = at else { return };
        let end = self.turning.end_pull(
            last,
            released.is_some(),
            self.drift.rate(),
            &self.thresholds,
        );
        self.peak.end_pull(end.peak);
        if end.counted
            && matches!(aim, Aim::Torque { .. })
            && let Some(turned) = self.turning.total()
        {
            // On the way down nothing turns, so the total belongs to the highest torque.
            let exact = released.is_some() || self.turning.compliance() > 0;
            self.rise(self.peak.value, turned, turned, exact);
        }
    }

    /// Loaded against the stage's direction.
    fn against(&mut self, seen: Seen) {
        if self.began_at.is_some()
            && !self.loaded
            && seen.torque < self.thresholds.wrong.wrapping_neg()
        {
            let again = self
                .last
                .is_some_and(|last| last.torque < self.thresholds.wrong.wrapping_neg());
            if again {
                self.find(Reason::WrongWay);
            }
        }
    }

    fn find(&mut self, reason: Reason) {
        self.found = self.found.with(reason);
        if self.halt.is_none() && HALTING.contains(&reason) {
            self.halt = Some(reason);
        }
    }

    /// Something of the attempt went unseen: what the fastener turned is not known any more.
    fn lost(&mut self, reason: Reason) {
        self.find(reason);
        self.turning.lose();
    }

    fn prevailing_measured(&self) -> Option<Torque> {
        match self.prevailing {
            Prevailing::Measure => self.running.torque().map(Torque::from_millinewton_meters),
            _ => None,
        }
    }

    /// Millidegrees of the fastener so far, for hand and eye; wind-up taken off as far as it is known.
    fn angle_now(&self) -> Option<i64> {
        if self.reverse {
            return self.began_at.map(|_| i64::from(self.travel.turned));
        }
        let seen = if self.loaded { self.last } else { None };
        let compliance = match self.turning.compliance() {
            0 => self.compliance_before,
            known => known,
        };
        self.turning.now(seen, compliance)
    }

    /// What the attempt is for has been reached, or it need not go on.
    fn is_complete(&self, aim: &Aim) -> bool {
        self.halt.is_some() || self.is_reached(aim)
    }

    fn is_reached(&self, aim: &Aim) -> bool {
        match *aim {
            Aim::Torque { window } | Aim::Repeat { window, .. } => {
                let running = self.prevailing_measured().unwrap_or(Torque::ZERO);
                // Where only a maximum is given, half the target tells a pull from a run-down.
                let least = if window.min > Torque::ZERO {
                    window.min.millinewton_meters()
                } else {
                    window.target.millinewton_meters() >> 1
                };
                self.peak.value >= least.saturating_add(running.millinewton_meters())
            }
            Aim::Turn { window, .. } => self
                .turning
                .total()
                .is_some_and(|turned| turned >= i64::from(window.min.millidegrees())),
            Aim::Hold { time, .. } => self.held_most >= time.micros(),
            Aim::BackOff { angle } => {
                angle.is_none_or(|angle| self.travel.turned >= angle.millidegrees())
            }
        }
    }

    fn signal(&mut self, aim: &Aim, at: Instant, began: bool) -> Signal {
        self.cue = self.cue(aim);
        if self.cue == Cue::Approach {
            self.pace.approach(at);
        }
        let ended = self.released_at.is_some_and(|released| {
            let passed = at.since(released).micros();
            idle_of(aim, &self.thresholds).is_some_and(|idle| passed >= idle)
                || passed >= self.thresholds.release && self.is_complete(aim)
        });
        Signal {
            cue: self.cue,
            halt: self.halt,
            began,
            ended,
        }
    }

    fn cue(&self, aim: &Aim) -> Cue {
        let (true, Some(seen)) = (self.loaded, self.last) else {
            return Cue::None;
        };
        match *aim {
            Aim::Torque { window } | Aim::Repeat { window, .. } => {
                let running = self.prevailing_measured().unwrap_or(Torque::ZERO);
                let window = window.raised(running);
                let torque = Torque::from_millinewton_meters(seen.torque);
                let target = let_go_at(
                    window.target.millinewton_meters(),
                    window.min.millinewton_meters(),
                    window.max.millinewton_meters(),
                );
                let inside = torque >= window.min && window.min > Torque::ZERO;
                if torque > window.max {
                    Cue::Over
                } else if seen.torque >= target
                    || inside && self.pace.is_level(seen, &self.thresholds)
                    || self.pace.reaches_torque(seen, target, &self.thresholds)
                {
                    Cue::Target
                } else if self.pace.nears_torque(seen, target, &self.thresholds) {
                    Cue::Approach
                } else {
                    Cue::None
                }
            }
            Aim::Turn { window, .. } => {
                let Some(turned) = self.angle_now() else {
                    return Cue::None;
                };
                let target = let_go_at(
                    window.target.millidegrees(),
                    window.min.millidegrees(),
                    window.max.millidegrees(),
                );
                let left = i64::from(target).wrapping_sub(turned);
                // In a renewed pull the train winds up first, and that is no turning.
                let turns = seen.torque >= self.turning.still_below();
                if turned > i64::from(window.max.millidegrees()) {
                    Cue::Over
                } else if left <= 0
                    || turns && self.pace.reaches_angle(seen, left, &self.thresholds)
                {
                    Cue::Target
                } else if turns && self.pace.nears_angle(seen, left, &self.thresholds) {
                    Cue::Approach
                } else {
                    Cue::None
                }
            }
            Aim::Hold { time, .. } if self.held_most >= time.micros() => Cue::Target,
            // Until free: nobody lets go before it is, and no torque tells when.
            Aim::BackOff { angle: Some(_) } if self.is_reached(aim) => Cue::Target,
            Aim::Hold { .. } | Aim::BackOff { .. } => Cue::None,
        }
    }
}

impl Default for Tracker {
    fn default() -> Self {
        Self::new()
    }
}

/// Time ran backwards.
struct Reversed;

/// What may be off in the angle before a rise is too steep, 1°, and too flat, 10°: settling of parts, in millidegrees.
const EARLY_SLACK: i64 = 1_000;
const LATE_SLACK: i64 = 10_000;

/// mN·m per degree of a compliance in millidegrees per 2²⁰ mN·m.
fn stiffness(compliance: i64) -> Option<u32> {
    if compliance <= 0 {
        return None;
    }
    let stiffness = (1_000_i64 << thresholds::COMPLIANCE_BITS).checked_div(compliance)?;
    u32::try_from(stiffness).ok()
}

/// Rotation at which the line from `a` to `b` crosses the torque `level`, by halving: within a thousandth of the way.
fn crossing(a: Seen, b: Seen, level: i32) -> i32 {
    let (low, high) = if a.torque <= b.torque { (a, b) } else { (b, a) };
    let (mut below, mut above) = (low.torque, high.torque);
    let (mut from, mut to) = (low.rotation, high.rotation);
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
    to
}

/// How long an attempt may be left alone, in µs. A torque is begun again with nothing lost; an angle that is part-way keeps
/// its count for as long as it takes, since only the rest of it may be added.
fn idle_of(aim: &Aim, thresholds: &Thresholds) -> Option<u64> {
    match aim {
        Aim::Turn { .. } => None,
        _ => Some(thresholds.idle),
    }
}

/// Where to let go: at the target, but not within a quarter of the window from either of its limits, where both are given.
/// A window of 90 to 94° with its target at 90° is so met in its middle.
fn let_go_at(target: i32, min: i32, max: i32) -> i32 {
    if min <= 0 || max >= MAGNITUDE_MAX {
        return target;
    }
    let quarter = max.wrapping_sub(min).wrapping_shr(2);
    target
        .max(min.wrapping_add(quarter))
        .min(max.wrapping_sub(quarter))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::TorqueWindow;
    use crate::unit::Rotation;
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
