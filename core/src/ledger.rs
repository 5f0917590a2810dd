//! The durable state of one joint: the fold of its records, and nothing else.
//!
//! `fold` is all that a restart runs. It takes recorded facts as they stand and judges nothing again. Knows nothing of
//! samples, storage or the pull in progress.
#![expect(
    clippy::as_conversions,
    reason = "a const function knows no `From`; what a cast may lose is linted apart"
)]

mod aim;
mod before;
mod fold;
mod revise;

pub(crate) use fold::fold;
pub(crate) use revise::revise;
pub use revise::{Carry, NONE};

use crate::limits::{ATTEMPTS_MAX, FASTENERS_MAX, MOMENTS_MAX, STAGES_MAX, STEPS_MAX};
use crate::procedure::{Moment, Procedure, Reuse, Stage, StageKind, Step};
use crate::record::Seen;
use crate::unit::{Angle, Instant, Torque};
use crate::verdict::Reasons;

/// Where a step stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StepState {
    /// Not done yet.
    Open,
    /// Done and accepted.
    Done,
    /// Done, told and not measured: typed from paper, or seen by a mark.
    Unmeasured,
    /// Left out or left as it is, on somebody's name and reason.
    Waived,
    /// The last attempt was rejected.
    Rejected,
    /// The last attempt cannot be known.
    Doubtful,
    /// Was done, and was spoilt since.
    Disturbed,
}

impl StepState {
    /// Whether nothing is left to do here.
    #[must_use]
    pub const fn is_settled(self) -> bool {
        matches!(self, Self::Done | Self::Unmeasured | Self::Waived)
    }

    const fn code(self) -> u8 {
        match self {
            Self::Open => 0,
            Self::Done => 1,
            Self::Unmeasured => 2,
            Self::Waived => 3,
            Self::Rejected => 4,
            Self::Doubtful => 5,
            Self::Disturbed => 6,
        }
    }

    const fn from_code(code: u8) -> Self {
        match code {
            1 => Self::Done,
            2 => Self::Unmeasured,
            3 => Self::Waived,
            4 => Self::Rejected,
            5 => Self::Doubtful,
            6 => Self::Disturbed,
            _ => Self::Open,
        }
    }
}

/// State in the upper three bits, attempts in the lower five.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct StepCell(u8);

impl StepCell {
    const ATTEMPTS: u8 = 0b0001_1111;

    const fn state(self) -> StepState {
        StepState::from_code(self.0.wrapping_shr(5))
    }

    const fn attempts(self) -> u8 {
        self.0 & Self::ATTEMPTS
    }

    const fn with(self, state: StepState) -> Self {
        Self(state.code().wrapping_shl(5) | self.attempts())
    }

    const fn attempted(self) -> Self {
        if self.attempts() < ATTEMPTS_MAX {
            Self(self.0.wrapping_add(1))
        } else {
            self
        }
    }
}

/// What is known of one fastener beside its steps.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct FastenerCell {
    flags: u8,
    cycles: u8,
    /// Sum of the angles of all `turn` stages, in tenths of a degree.
    turned: u16,
    /// Torque that the last pull left, in tenths of N·m, held at the end of the range.
    left_at: u16,
    running: RunningCell,
}

/// The running torque as it is known: twice its mN·m, one more if it was typed, and one so that zero can mean "not known". In two
/// halves, the upper one first, so that a cell has no gap in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct RunningCell([u16; 2]);

impl RunningCell {
    /// Negative counts as not known.
    fn of(torque: Torque, seen: Seen) -> Self {
        let typed = u32::from(seen == Seen::Typed);
        let Ok(torque) = u32::try_from(torque.millinewton_meters()) else {
            return Self::default();
        };
        let kept = torque.wrapping_mul(2).wrapping_add(typed).wrapping_add(1);
        let [a, b, c, d] = kept.to_be_bytes();
        Self([u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d])])
    }

    fn known(self) -> Option<(Torque, Seen)> {
        let [upper, lower] = self.0.map(u32::from);
        let kept = (upper << 16 | lower).checked_sub(1)?;
        let torque = i32::try_from(kept >> 1).ok()?;
        let seen = if kept & 1 == 1 {
            Seen::Typed
        } else {
            Seen::Measured
        };
        Some((Torque::from_millinewton_meters(torque), seen))
    }
}

/// Tightened since it was last loosened.
const TIGHT: u8 = 1;
/// Must be loosened before the next pull.
const LOOSEN: u8 = 1 << 1;
/// Must be replaced by a new one before the next pull.
const REPLACE: u8 = 1 << 2;
/// A decision is waited for.
const ASK: u8 = 1 << 3;
/// It felt wrong, and nobody has settled it.
const DOUBT: u8 = 1 << 4;
/// Marked on the metal as final.
const MARKED: u8 = 1 << 5;
/// A new one was fitted during this job.
const NEW: u8 = 1 << 6;
/// The last attempt is unknown for want of the running torque, and for nothing else.
const RUNNING_WANTED: u8 = 1 << 7;

impl FastenerCell {
    const fn is(self, flag: u8) -> bool {
        self.flags & flag != 0
    }

    const fn set(&mut self, flag: u8, on: bool) {
        self.flags = if on {
            self.flags | flag
        } else {
            self.flags & !flag
        };
    }
}

/// What is on the threads, as far as it is confirmed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Confirmed {
    /// Nobody has said yet.
    #[default]
    NotYet,
    /// As the procedure assumes.
    Matches,
    /// Something else: blocked until it is put right.
    Differs,
}

/// Where a joint stands as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Standing {
    /// Nothing done.
    Untouched,
    /// Begun and not finished.
    InHand,
    /// Fitted for a trial: must come apart.
    MockUp,
    /// A fastener is rejected, unknown or felt wrong.
    Doubtful,
    /// Was done in part or whole, and was spoilt since.
    Disturbed,
    /// Every step settled.
    Final,
    /// Final but for a retorque after running.
    RetorqueDue,
}

/// Durable state of one joint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ledger {
    steps: [StepCell; STEPS_MAX],
    /// Every step before this one is settled: what is next need not be looked for from the beginning each time.
    first_open: u16,
    /// How many steps of each stage are settled.
    settled: [u16; STAGES_MAX],
    fasteners: [FastenerCell; FASTENERS_MAX],
    /// Second since boot, plus one, at which a stage became complete; zero when it is not or the clock was lost.
    stage_done: [u32; STAGES_MAX],
    /// Likewise for the moments of the plan.
    moments: [u32; MOMENTS_MAX],
    moments_told: u8,
    stages_due: u16,
    begun: Option<u16>,
    /// Step and reasons of the last attempt.
    judged: Option<(u16, Reasons)>,
    pass: u8,
    moved: u8,
    not_converged: Option<u8>,
    person: bool,
    tool: bool,
    apart: bool,
    condition: Confirmed,
    seq: u32,
    boot: u16,
    /// Records of a revision that are still to come; nothing is done before the last one.
    carrying: u8,
    begun_at: Instant,
    before: before::LastBefore,
}

impl Default for Ledger {
    fn default() -> Self {
        Self::new()
    }
}

impl Ledger {
    /// Of a joint that nobody has touched.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            steps: [StepCell(0); STEPS_MAX],
            first_open: 0,
            settled: [0; STAGES_MAX],
            fasteners: [FastenerCell {
                flags: 0,
                cycles: 0,
                turned: 0,
                left_at: 0,
                running: RunningCell([0; 2]),
            }; FASTENERS_MAX],
            stage_done: [0; STAGES_MAX],
            moments: [0; MOMENTS_MAX],
            moments_told: 0,
            stages_due: 0,
            begun: None,
            judged: None,
            pass: 0,
            moved: 0,
            not_converged: None,
            person: false,
            tool: false,
            apart: false,
            condition: Confirmed::NotYet,
            seq: 0,
            boot: 0,
            carrying: 0,
            begun_at: Instant::BOOT,
            before: before::LastBefore::new(),
        }
    }

    /// Where a step stands; a step that does not exist is open.
    #[must_use]
    pub fn step(&self, step: u16) -> StepState {
        self.cell(step).state()
    }

    /// Attempts made at a step.
    #[must_use]
    pub fn attempts(&self, step: u16) -> u8 {
        self.cell(step).attempts()
    }

    /// Tightenings of the fastener that is in place.
    #[must_use]
    pub fn cycles(&self, fastener: u8) -> u8 {
        self.fastener(fastener).cycles
    }

    /// Whether the fastener must be loosened before its next pull.
    #[must_use]
    pub fn must_loosen(&self, fastener: u8) -> bool {
        self.fastener(fastener).is(LOOSEN)
    }

    /// Whether the fastener must be replaced before its next pull.
    #[must_use]
    pub fn must_replace(&self, fastener: u8) -> bool {
        self.fastener(fastener).is(REPLACE)
    }

    /// Whether a decision about the fastener is waited for.
    #[must_use]
    pub fn must_decide(&self, fastener: u8) -> bool {
        self.fastener(fastener).is(ASK)
    }

    /// Whether the fastener felt wrong and nobody has settled it.
    #[must_use]
    pub fn felt_wrong(&self, fastener: u8) -> bool {
        self.fastener(fastener).is(DOUBT)
    }

    /// Whether the fastener is marked as final on the metal.
    #[must_use]
    pub fn is_marked(&self, fastener: u8) -> bool {
        self.fastener(fastener).is(MARKED)
    }

    /// Whether a new fastener was fitted during this job.
    #[must_use]
    pub fn is_new(&self, fastener: u8) -> bool {
        self.fastener(fastener).is(NEW)
    }

    /// Whether the fastener has been tightened since it was last loosened.
    #[must_use]
    pub fn is_tight(&self, fastener: u8) -> bool {
        self.fastener(fastener).is(TIGHT)
    }

    /// Torque that the last pull left on the fastener, to a tenth of N·m; none where it is loose or nobody knows.
    #[must_use]
    pub fn left_at(&self, fastener: u8) -> Option<Torque> {
        match self.fastener(fastener).left_at {
            0 => None,
            tenths => Some(Torque::from_millinewton_meters(
                i32::from(tenths).wrapping_mul(100),
            )),
        }
    }

    /// The running torque of the fastener, as it was seen or told since it was last loosened or replaced.
    #[must_use]
    pub fn running(&self, fastener: u8) -> Option<(Torque, Seen)> {
        self.fastener(fastener).running.known()
    }

    /// Whether the fastener's last attempt cannot be known for want of its running torque: telling it, or loosening and running
    /// down again, settles it.
    #[must_use]
    pub fn wants_running(&self, fastener: u8) -> bool {
        self.fastener(fastener).is(RUNNING_WANTED)
    }

    /// Sum of the fastener's angles over all `turn` stages, to a tenth of a degree.
    #[must_use]
    pub fn turned(&self, fastener: u8) -> Angle {
        Angle::from_millidegrees(i32::from(self.fastener(fastener).turned).wrapping_mul(100))
    }

    /// The step whose attempt has begun and has no record yet.
    #[must_use]
    pub const fn begun(&self) -> Option<u16> {
        self.begun
    }

    /// Step and reasons of the attempt judged last; what was looked at or checked again since does not count.
    #[must_use]
    pub const fn judged(&self) -> Option<(u16, Reasons)> {
        self.judged
    }

    /// Whether loosening the fastener uses it up, so that a new one must follow.
    pub(crate) fn is_spent_by_loosening(
        &self,
        procedure: &Procedure,
        fastener: u8,
        is_tight: bool,
    ) -> bool {
        is_tight
            && match procedure.terms().reuse {
                Reuse::Free => false,
                Reuse::ReplaceIfLoosened => true,
                Reuse::Cycles(allowed) => self.cycles(fastener) >= allowed,
            }
    }

    /// When that attempt began.
    #[must_use]
    pub(crate) const fn begun_at(&self) -> Instant {
        self.begun_at
    }

    /// Which trip round the joint a repeated pass is on, from 1.
    #[must_use]
    pub const fn pass(&self) -> u8 {
        self.pass.saturating_add(1)
    }

    /// Fasteners that moved in this trip.
    #[must_use]
    pub const fn moved(&self) -> u8 {
        self.moved
    }

    /// The stage whose passes ended with fasteners still moving.
    #[must_use]
    pub const fn not_converged(&self) -> Option<u8> {
        self.not_converged
    }

    /// Whether somebody is named for this run.
    #[must_use]
    pub(crate) const fn has_person(&self) -> bool {
        self.person
    }

    /// Whether a tool is named for this run.
    #[must_use]
    pub(crate) const fn has_tool(&self) -> bool {
        self.tool
    }

    /// What is on the threads.
    #[must_use]
    pub const fn condition(&self) -> Confirmed {
        self.condition
    }

    /// Number of the last record; 0 when there is none.
    #[must_use]
    pub const fn seq(&self) -> u32 {
        self.seq
    }

    /// Number of the start that the last record belongs to.
    #[must_use]
    pub const fn boot(&self) -> u16 {
        self.boot
    }

    /// Records of a revision that are missing: it was begun, and not written to its end.
    #[must_use]
    pub const fn carrying(&self) -> u8 {
        self.carrying
    }

    /// Whether a later retorque is due.
    #[must_use]
    pub const fn is_due(&self, stage: u8) -> bool {
        self.stages_due & 1_u16.wrapping_shl(stage as u32) != 0
    }

    /// Whether the mock-up was taken apart.
    #[must_use]
    pub(crate) const fn is_apart(&self) -> bool {
        self.apart
    }

    /// When the moment came, if it came in this run of the clock.
    #[must_use]
    pub fn moment(&self, procedure: &Procedure, moment: Moment) -> Reached {
        let (told, second) = match moment {
            Moment::Named(number) => (
                self.moments_told & 1_u8.wrapping_shl(u32::from(number)) != 0,
                self.moments.get(usize::from(number)).copied().unwrap_or(0),
            ),
            Moment::StageDone(stage) => (
                self.is_stage_settled(procedure, stage),
                self.stage_done
                    .get(usize::from(stage))
                    .copied()
                    .unwrap_or(0),
            ),
        };
        match (told, second.checked_sub(1)) {
            (false, _) => Reached::NotYet,
            (true, Some(seconds)) => Reached::At(Instant::from_micros(
                u64::from(seconds).wrapping_mul(1_000_000),
            )),
            (true, None) => Reached::TimeUnknown,
        }
    }

    /// Whether every step of a stage is settled.
    #[must_use]
    pub fn is_stage_settled(&self, procedure: &Procedure, stage: u8) -> bool {
        self.settled_in(stage) == procedure.steps_in(stage)
    }

    /// How many steps of a stage are settled.
    pub(crate) fn settled_in(&self, stage: u8) -> u16 {
        self.settled.get(usize::from(stage)).copied().unwrap_or(0)
    }

    /// The steps that may be open, in the order of work: every one that is left out is settled.
    pub(crate) fn steps_maybe_open<'p>(
        &self,
        procedure: &'p Procedure,
    ) -> impl Iterator<Item = (u16, &'p Step)> + use<'p> {
        let first = usize::from(self.first_open);
        let steps = procedure.steps().get(first..).unwrap_or(&[]);
        (self.first_open..=u16::MAX).zip(steps)
    }

    /// Puts a step into a state, and keeps count.
    fn put(&mut self, procedure: &Procedure, step: u16, state: StepState) {
        let Some(cell) = self.steps.get_mut(usize::from(step)) else {
            return;
        };
        let before = cell.state().is_settled();
        *cell = cell.with(state);
        let stage = procedure.steps().get(usize::from(step));
        if let Some(count) = stage.and_then(|step| self.settled.get_mut(usize::from(step.stage())))
        {
            *count = match (before, state.is_settled()) {
                (false, true) => count.saturating_add(1),
                (true, false) => count.saturating_sub(1),
                _ => *count,
            };
        }
        if !state.is_settled() {
            self.first_open = self.first_open.min(step);
        } else if step == self.first_open {
            let rest = self.steps.get(usize::from(step)..).unwrap_or(&[]);
            let settled = (0..=u16::MAX)
                .zip(rest)
                .take_while(|(_, cell)| cell.state().is_settled())
                .last();
            if let Some((further, _)) = settled {
                self.first_open = step.saturating_add(further).saturating_add(1);
            }
        }
    }

    /// Whether every step of the fastener that can be done now is settled, and not as a trial only.
    #[must_use]
    pub fn is_final(&self, procedure: &Procedure, fastener: u8) -> bool {
        let cell = self.fastener(fastener);
        let mut real = false;
        let settled = self.own_steps(procedure, fastener).all(|(index, stage)| {
            real |= !stage.mock_up;
            self.step(index).is_settled() || matches!(stage.kind, StageKind::Later { .. })
        });
        settled && real && cell.flags & (ASK | LOOSEN | REPLACE | DOUBT) == 0
    }

    /// Where the joint stands as a whole.
    #[must_use]
    pub fn standing(&self, procedure: &Procedure) -> Standing {
        let mut settled = false;
        let mut open = false;
        let mut disturbed = false;
        let mut doubtful = self.not_converged.is_some() || self.condition == Confirmed::Differs;
        let mut mock_up_settled = false;
        let mut real = false;
        let mut later = false;
        for (index, step) in procedure.numbered_steps() {
            let Some(stage) = procedure.stages().get(usize::from(step.stage())) else {
                continue;
            };
            let state = self.step(index);
            if matches!(stage.kind, StageKind::Later { .. }) && !state.is_settled() {
                later = true;
                doubtful |= matches!(state, StepState::Rejected | StepState::Doubtful);
                continue;
            }
            real |= !stage.mock_up;
            mock_up_settled |= stage.mock_up && state.is_settled();
            match state {
                StepState::Open => open = true,
                StepState::Done | StepState::Unmeasured | StepState::Waived => settled = true,
                StepState::Rejected | StepState::Doubtful => doubtful = true,
                StepState::Disturbed => disturbed = true,
            }
        }
        for (index, _) in (0..=u8::MAX).zip(procedure.fasteners()) {
            let cell = self.fastener(index);
            doubtful |= cell.is(ASK) || cell.is(DOUBT) || cell.is(REPLACE);
            disturbed |= cell.is(LOOSEN);
        }
        if doubtful {
            Standing::Doubtful
        } else if disturbed {
            Standing::Disturbed
        } else if mock_up_settled && !self.apart {
            Standing::MockUp
        } else if !settled && self.begun.is_none() {
            Standing::Untouched
        } else if open || self.begun.is_some() || !real {
            Standing::InHand
        } else if later {
            Standing::RetorqueDue
        } else {
            Standing::Final
        }
    }

    fn cell(&self, step: u16) -> StepCell {
        self.steps
            .get(usize::from(step))
            .copied()
            .unwrap_or_default()
    }

    fn fastener(&self, fastener: u8) -> FastenerCell {
        self.fasteners
            .get(usize::from(fastener))
            .copied()
            .unwrap_or_default()
    }

    fn own_steps<'p>(
        &self,
        procedure: &'p Procedure,
        fastener: u8,
    ) -> impl Iterator<Item = (u16, &'p Stage)> + use<'p> {
        procedure
            .numbered_steps()
            .filter(move |(_, step)| step.fastener() == Some(fastener))
            .filter_map(move |(index, step)| {
                let stage = procedure.stages().get(usize::from(step.stage()))?;
                Some((index, stage))
            })
    }
}

/// Whether a moment came, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reached {
    /// Not yet.
    NotYet,
    /// At this instant of this boot.
    At(Instant),
    /// It came, and the clock was lost since.
    TimeUnknown,
}

#[cfg(test)]
mod tests;
