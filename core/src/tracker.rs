//! One attempt as it happens: peak, snug crossing, fastener rotation over several pulls, shape of the curve.
//!
//! Volatile: after a power cut nothing of it is rebuilt. Nothing on the way of a sample divides; a line is fitted once when a
//! pull is over, and once while a renewed pull rises. What is made of single samples (peak, snug, teeth) is seen in each; what
//! can wait 5 ms (shape, rise, cue, trace) in the mean of a few (`together`). Knows nothing of order, records or storage.

mod cue;
mod drift;
mod goal;
mod line;
mod loaded;
mod loading;
mod pace;
mod peak;
mod reading;
mod rise;
mod running;
mod shape;
mod thresholds;
mod together;
mod turning;

use crate::curve_limits::CurveLimits;
use crate::trace::Trace;
use crate::unit::{Angle, Instant, Span, Torque, ratio};
use crate::verdict::{Aim, Reading, Reason, Reasons};
use drift::Drift;
use goal::{Goal, Kind};
use pace::Pace;
use peak::Peak;
use rise::TurnRise;
use running::{Running, Travel};
use shape::Shape;
use thresholds::Thresholds;
use together::Together;
use turning::Turning;

/// What is known about the fastener before the attempt.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Start {
    /// The torque it was left at: it is not expected to move below that.
    pub restart_expected: Option<Torque>,
    /// The running torque that the aim holds already; zero where none is known.
    pub running: Torque,
    /// What is to be made of a run-down.
    pub run_down: RunDown,
    /// What earlier turns of this fastener came to: it may be at its yield, where a turn need not bring torque.
    pub turned: Angle,
}

/// What is to be made of a run-down: how the running torque on top of which the aim applies comes to be known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RunDown {
    /// There is no running torque, or no run-down: the first load begins the attempt.
    #[default]
    None,
    /// The running torque is known. Running down is no attempt.
    Known,
    /// The running torque is seen on the way down, or was by an earlier stroke. Running down is no attempt.
    Measured,
    /// The fastener is tight, and its running torque is not known.
    Missed,
    /// Only the running torque is looked at; no attempt can begin.
    LookedAt,
}

/// Whether a load can be a stroke of the run-down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum RunsDown {
    /// The first load begins the attempt.
    No,
    /// The attempt begins where the head seats.
    Yes,
    /// It never begins.
    Only,
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
    /// True once per attempt: at its first load, or where the head seats after a run-down.
    pub began: bool,
    /// A running torque that was seen, to be kept.
    pub running: Option<Torque>,
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
    /// Time in ticks of 1,024 µs (milliseconds nearly, without a division), wrapping.
    ticks: u32,
    torque: i32,
    rotation: i32,
}

impl Seen {
    const NOTHING: Self = Self {
        ticks: 0,
        torque: 0,
        rotation: 0,
    };
}

/// The attempt in progress.
#[derive(Clone, Debug)]
pub struct Tracker {
    aim: Option<Aim>,
    goal: Goal,
    thresholds: Thresholds,
    runs_down: RunsDown,
    /// The running torque is to be measured on the way down.
    measures_running: bool,
    /// The running torque that is on record.
    running_kept: Option<i32>,
    /// The stage loosens: torque and rotation count the other way round.
    reverse: bool,
    /// The reading before, where one came.
    last: Seen,
    has_last: bool,
    /// When the newest sample came, and how long after the one before it, in µs.
    at: Instant,
    /// µs between samples, slowly averaged.
    interval: u32,
    loaded: bool,
    /// One sample was past re-grip, or one below it; the next one decides.
    turning_over: bool,
    /// The last sample below re-grip before that one.
    foot: Option<Seen>,
    began_at: Option<Instant>,
    released_at: Option<Instant>,
    pulls: u8,
    pull_counted: bool,
    cue: Cue,
    /// Readings that are taken as one.
    together: Together,
    /// The last that were, and when.
    looked: bool,
    looked_at: Instant,
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
    /// Torque risen and rotation of the tool past snug when a rise was first found too steep, the train's stiffness not known.
    early: Option<(i32, i64)>,
    turn_rise: TurnRise,
    held_to_rise: bool,
    /// Readings come without rotation.
    is_alone: bool,
    held: u64,
    held_most: u64,
    found: Reasons,
    halt: Option<Reason>,
    trace: Trace,
}

/// Reasons to stop pulling at once.
const HALTING: [Reason; 11] = [
    Reason::Overload,
    Reason::GivingWay,
    Reason::Yielding,
    Reason::EarlyRise,
    Reason::LateRise,
    Reason::NoRise,
    Reason::NoTurn,
    Reason::StickSlip,
    Reason::WrongWay,
    Reason::Gap,
    Reason::Stuck,
];

impl Tracker {
    /// Not armed.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            aim: None,
            goal: Goal::NONE,
            thresholds: Thresholds::IDLE,
            runs_down: RunsDown::No,
            measures_running: false,
            running_kept: None,
            reverse: false,
            last: Seen::NOTHING,
            has_last: false,
            at: Instant::BOOT,
            interval: 0,
            loaded: false,
            turning_over: false,
            foot: None,
            began_at: None,
            released_at: None,
            pulls: 0,
            pull_counted: false,
            cue: Cue::None,
            together: Together::NEW,
            looked: false,
            looked_at: Instant::BOOT,
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
            early: None,
            turn_rise: TurnRise::NEW,
            held_to_rise: false,
            is_alone: false,
            held: 0,
            held_most: 0,
            found: Reasons::NONE,
            halt: None,
            trace: Trace::new(),
        }
    }

    /// Arms for an attempt. Whatever was in progress is forgotten; the sensor's drift and the give of the train are not.
    pub fn begin(&mut self, aim: Aim, limits: &CurveLimits, start: Start) {
        let goal = Goal::of(&aim);
        let reverse = goal.is_reverse();
        if reverse != self.reverse {
            self.has_last = false;
            self.drift = Drift::NEW;
        }
        self.aim = Some(aim);
        self.goal = goal;
        self.thresholds = Thresholds::new(&aim, limits, &start);
        self.runs_down = match start.run_down {
            RunDown::None | RunDown::Missed => RunsDown::No,
            RunDown::Known | RunDown::Measured => RunsDown::Yes,
            RunDown::LookedAt => RunsDown::Only,
        };
        self.measures_running = matches!(start.run_down, RunDown::Measured | RunDown::LookedAt);
        self.running_kept = Some(start.running)
            .filter(|&running| self.measures_running && running > Torque::ZERO)
            .map(Torque::millinewton_meters);
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
        self.early = None;
        self.turn_rise = TurnRise::NEW;
        self.held_to_rise = false;
        self.is_alone = false;
        self.held = 0;
        self.held_most = 0;
        self.found = Reasons::NONE;
        if start.run_down == RunDown::Missed && aim.has_torque() {
            self.found = self.found.with(Reason::RunningUnknown);
        }
        self.halt = None;
        // The trace stays until the next attempt begins: the host keeps it after the session has moved on.
    }

    /// Whether what is armed cannot be judged by torque alone.
    #[must_use]
    pub fn needs_rotation(&self) -> bool {
        !matches!(self.goal.kind, Kind::Torque | Kind::Idle) || self.runs_down != RunsDown::No
    }

    /// Whether an attempt has begun and the tool is loaded.
    const fn is_pulled(&self) -> bool {
        self.loaded && self.began_at.is_some()
    }

    /// Lets time pass without a sample.
    pub fn tick(&mut self, at: Instant) -> Signal {
        if matches!(self.goal.kind, Kind::Idle) {
            return Signal::default();
        }
        if self.is_pulled() && at.since(self.at).micros() > u64::from(self.gap()) {
            self.lost(Reason::Gap);
        }
        self.signal(at, false)
    }

    /// Whether a sample at that time can be fed at once: nothing was due before it that feeding it would not find by itself.
    pub(crate) fn is_quiet(&self, at: Instant) -> bool {
        self.loaded
            || self
                .released_at
                .is_none_or(|released| at.since(released).micros() < self.thresholds.quiet)
    }

    /// When [`Self::tick`] could next bring something.
    #[must_use]
    pub fn deadline(&self) -> Option<Instant> {
        if matches!(self.goal.kind, Kind::Idle) {
            return None;
        }
        if self.is_pulled() {
            // One µs more: a distance equal to the limit is not a gap.
            let gap = Span::from_micros(u64::from(self.gap()).saturating_add(1));
            return (!self.found.contains(Reason::Gap)).then(|| self.at.after(gap));
        }
        let released = self.released_at?;
        let span = if self.is_complete() {
            self.thresholds.release
        } else {
            self.goal.idle(&self.thresholds)?
        };
        Some(released.after(Span::from_micros(span)))
    }

    /// What the attempt is for; `None` while the tracker is not armed.
    #[must_use]
    pub const fn aim(&self) -> Option<&Aim> {
        self.aim.as_ref()
    }

    /// What a view shows.
    #[must_use]
    pub fn live(&self) -> Live {
        let angle = self.angle_now().map(Angle::from_wide);
        let remaining = match self.goal.kind {
            Kind::Turn => {
                let target = Angle::from_millidegrees(self.goal.target);
                Some(target - angle.unwrap_or(Angle::ZERO))
            }
            _ => None,
        };
        let torque = if self.has_last { self.last.torque } else { 0 };
        Live {
            torque: Torque::from_millinewton_meters(torque),
            peak: Torque::from_millinewton_meters(self.peak.value()),
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
        self.aim.take()?;
        if self.began_at.is_none() {
            self.goal = Goal::NONE;
            return None;
        }
        if self.loaded {
            self.look();
            self.peak.flush();
            self.end_pull(None);
        }
        // Counted from snug, and where that is nobody knows.
        let is_counted =
            !self.found.contains(Reason::RunningUnknown) || !matches!(self.goal.kind, Kind::Torque);
        let goal = core::mem::replace(&mut self.goal, Goal::NONE);
        self.trace.settle();
        if self.turning.compliance() > 0 {
            self.compliance_before = self.turning.compliance();
        }
        // While the train's stiffness is not known the worse counts.
        if self
            .shape
            .yielded(self.turning.compliance(), &self.thresholds)
        {
            self.find(Reason::Yielding);
        }
        if self.peak.bound > self.thresholds.jerk {
            self.find(Reason::Jerk);
        }
        if goal.one_sweep && self.pulls > 1 {
            self.find(Reason::Interrupted);
        }
        let angle = if self.reverse {
            Some(i64::from(self.travel.turned))
        } else {
            self.turning.total().filter(|_| is_counted)
        };
        // A hold asks only whether its torque was reached, and who holds exactly that must not fail by half the noise.
        let peak = match goal.kind {
            Kind::Hold => self.peak.top(),
            _ => self.peak.value(),
        };
        Some(Reading {
            pulls: self.pulls.max(1),
            peak: Torque::from_millinewton_meters(peak),
            bound: Torque::from_millinewton_meters(self.peak.bound),
            final_torque: Torque::from_millinewton_meters(self.peak.settled),
            angle: angle.map(Angle::from_wide),
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

    /// The sensor's own fault instead of a sample, named by the sample path: [`Reason::Stuck`] or [`Reason::Gap`]. Counts while
    /// loaded.
    pub fn fault(&mut self, at: Instant, reason: Reason) -> Signal {
        if self.is_pulled() {
            self.lost(reason);
        }
        self.signal(at, false)
    }

    /// The points of the attempt in progress or just finished.
    #[must_use]
    pub const fn trace(&self) -> &Trace {
        &self.trace
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

    /// Millidegrees of the fastener so far, for hand and eye; wind-up taken off as far as it is known.
    fn angle_now(&self) -> Option<i64> {
        if self.reverse {
            return self.began_at.map(|_| i64::from(self.travel.turned));
        }
        if self.is_alone {
            return None;
        }
        let seen = self.loaded.then_some(self.last);
        let compliance = match self.turning.compliance() {
            0 => self.compliance_before,
            known => known,
        };
        self.turning.now(seen, compliance)
    }

    /// What the attempt is for has been reached, or it need not go on.
    fn is_complete(&self) -> bool {
        self.halt.is_some() || self.is_reached()
    }

    fn is_reached(&self) -> bool {
        match self.goal.kind {
            Kind::Torque | Kind::Repeat => self.peak.value() >= self.goal.least,
            Kind::Turn => self
                .turning
                .total()
                .is_some_and(|turned| turned >= i64::from(self.goal.least)),
            Kind::Hold => self.held_most >= self.goal.time,
            Kind::BackOff => self.travel.turned >= self.goal.least,
            Kind::Free | Kind::Idle => true,
        }
    }

    /// Whether the attempt is over at this time: let go for long enough.
    #[inline(never)]
    fn ends(&self, at: Instant) -> bool {
        self.released_at.is_some_and(|released| {
            let passed = at.since(released).micros();
            passed >= self.thresholds.quiet
                && (passed >= self.thresholds.release && self.is_complete()
                    || self
                        .goal
                        .idle(&self.thresholds)
                        .is_some_and(|idle| passed >= idle))
        })
    }

    fn signal(&self, at: Instant, began: bool) -> Signal {
        let ended = self.ends(at);
        Signal {
            cue: self.cue,
            halt: self.halt,
            began,
            running: None,
            ended,
        }
    }
}

impl Default for Tracker {
    fn default() -> Self {
        Self::new()
    }
}

/// A span in ticks of 1,024 µs, at most 50 days.
fn ticks(span: Span) -> u32 {
    u32::try_from(span.micros() >> 10).unwrap_or(u32::MAX)
}

/// mN·m per degree of a compliance in millidegrees per 2²⁰ mN·m.
fn stiffness(compliance: i64) -> Option<u32> {
    if compliance <= 0 {
        return None;
    }
    let stiffness = ratio(
        1_000_i64 << thresholds::COMPLIANCE_BITS,
        compliance.unsigned_abs(),
    );
    u32::try_from(stiffness).ok()
}

#[cfg(test)]
mod tests;
