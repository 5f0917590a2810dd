//! The durable state of one joint: the fold of its records, and nothing else.
//!
//! `fold` is all that a restart runs. It takes recorded facts as they stand and judges nothing again. Knows nothing of
//! samples, storage or the pull in progress.

use crate::limits::{ATTEMPTS_MAX, FASTENERS_MAX, MOMENTS_MAX, STAGES_MAX, STEPS_MAX};
use crate::procedure::{Moment, Policy, Procedure, Redo, Reuse, Stage, StageKind};
use crate::record::{AfterPass, Decision, Doubt, Entry, Manner, Record, Role};
use crate::unit::{Angle, Instant, Torque};
use crate::verdict::{Reason, Reasons, Verdict};

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
    /// Torque that the last accepted pull left, in tenths of N·m, held at the end of the range.
    left_at: u16,
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
    fasteners: [FastenerCell; FASTENERS_MAX],
    /// Second since boot, plus one, at which a stage became complete; zero when it is not or the clock was lost.
    stage_done: [u32; STAGES_MAX],
    /// Likewise for the moments of the plan.
    moments: [u32; MOMENTS_MAX],
    moments_told: u8,
    stages_due: u16,
    begun: Option<u16>,
    pass: u8,
    moved: u8,
    not_converged: Option<u8>,
    person: bool,
    tool: bool,
    apart: bool,
    condition: Confirmed,
    seq: u32,
    boot: u16,
    started: bool,
    begun_at: Instant,
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
            fasteners: [FastenerCell {
                flags: 0,
                cycles: 0,
                turned: 0,
                left_at: 0,
            }; FASTENERS_MAX],
            stage_done: [0; STAGES_MAX],
            moments: [0; MOMENTS_MAX],
            moments_told: 0,
            stages_due: 0,
            begun: None,
            pass: 0,
            moved: 0,
            not_converged: None,
            person: false,
            tool: false,
            apart: false,
            condition: Confirmed::NotYet,
            seq: 0,
            boot: 0,
            started: false,
            begun_at: Instant::BOOT,
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

    /// Torque that the last accepted pull left on the fastener, to a tenth of N·m.
    #[must_use]
    pub fn left_at(&self, fastener: u8) -> Option<Torque> {
        match self.fastener(fastener).left_at {
            0 => None,
            tenths => Some(Torque::from_millinewton_meters(
                i32::from(tenths).wrapping_mul(100),
            )),
        }
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

    /// When that attempt began.
    #[must_use]
    pub const fn begun_at(&self) -> Instant {
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
    pub const fn has_person(&self) -> bool {
        self.person
    }

    /// Whether a tool is named for this run.
    #[must_use]
    pub const fn has_tool(&self) -> bool {
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

    /// Whether a session has begun since the last restart.
    #[must_use]
    pub const fn is_started(&self) -> bool {
        self.started
    }

    /// Whether a later retorque is due.
    #[must_use]
    pub const fn is_due(&self, stage: u8) -> bool {
        self.stages_due & 1_u16.wrapping_shl(stage as u32) != 0
    }

    /// Whether the mock-up was taken apart.
    #[must_use]
    pub const fn is_apart(&self) -> bool {
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
        (0_u16..)
            .zip(procedure.steps())
            .filter(|(_, step)| step.stage() == stage)
            .all(|(index, _)| self.step(index).is_settled())
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
        for (index, step) in (0_u16..).zip(procedure.steps()) {
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
        for (index, _) in (0_u8..).zip(procedure.fasteners()) {
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
        (0_u16..)
            .zip(procedure.steps())
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

/// Takes one recorded fact into the ledger.
///
/// Total: a record that fits no step changes only the counters.
pub(crate) fn fold(ledger: &mut Ledger, procedure: &Procedure, entry: &Entry) {
    if entry.boot != ledger.boot {
        lose_the_clock(ledger);
        ledger.boot = entry.boot;
    }
    ledger.seq = entry.seq;
    match &entry.record {
        Record::Started(_) => {
            ledger.started = true;
            ledger.person = false;
            ledger.tool = false;
        }
        Record::Begun(begun) => {
            ledger.begun = Some(begun.step);
            ledger.begun_at = entry.at;
        }
        Record::Attempt(attempt) => attempt_made(ledger, procedure, entry.at, attempt),
        Record::Done(done) => {
            let state = match done.manner {
                Manner::Hand => StepState::Done,
                Manner::Paper => StepState::Unmeasured,
            };
            if done.manner == Manner::Paper
                && let Some(fastener) = fastener_of(procedure, done.step)
                && procedure
                    .stage_of(done.step)
                    .is_some_and(|stage| stage.kind.tightens())
            {
                tightened(ledger, fastener);
                change(ledger, fastener, |cell| {
                    cell.set(ASK, false);
                    cell.left_at = 0;
                });
            }
            settle(ledger, procedure, entry.at, done.step, state);
        }
        Record::Answered(answered) => {
            let state = if answered.yes {
                StepState::Done
            } else {
                StepState::Rejected
            };
            settle(ledger, procedure, entry.at, answered.step, state);
        }
        Record::Measured(measured) => length_measured(ledger, procedure, entry.at, measured),
        Record::Waited(waited) => {
            let state = if waited.verdict == Verdict::Accepted {
                StepState::Done
            } else {
                StepState::Rejected
            };
            settle(ledger, procedure, entry.at, waited.step, state);
        }
        Record::Person(person) => ledger.person |= person.role == Role::Operator,
        Record::Tool(_) => ledger.tool = true,
        Record::Condition(condition) => {
            ledger.condition = if condition.matches {
                Confirmed::Matches
            } else {
                Confirmed::Differs
            };
        }
        Record::Anchor(_) | Record::Zero(_) | Record::Rechecked(_) | Record::Recovered(_) => {
            if let Record::Rechecked(recheck) = &entry.record
                && recheck.verdict != Verdict::Accepted
                && let Some(fastener) = fastener_of(procedure, recheck.step)
            {
                put(ledger, recheck.step, StepState::Doubtful);
                change(ledger, fastener, |cell| cell.set(ASK, true));
            }
        }
        Record::Loosened(loosened) => {
            fastener_loosened(ledger, procedure, loosened.fastener, loosened.elsewhere)
        }
        Record::Fitted(fitted) => new_fitted(ledger, procedure, entry.at, fitted.fastener),
        Record::Skipped(skipped) => {
            if let Some(fastener) = fastener_of(procedure, skipped.step) {
                change(ledger, fastener, |cell| cell.set(ASK, false));
            }
            settle(ledger, procedure, entry.at, skipped.step, StepState::Waived);
        }
        Record::Noted(noted) => {
            if let Some(fastener) = noted.fastener {
                match noted.doubt {
                    Doubt::Raised => change(ledger, fastener, |cell| cell.set(DOUBT, true)),
                    Doubt::Settled => change(ledger, fastener, |cell| cell.set(DOUBT, false)),
                    Doubt::None => {}
                }
            }
        }
        Record::Decided(decided) => {
            decision_made(ledger, procedure, entry.at, decided.step, decided.decision)
        }
        Record::Marked(marked) => change(ledger, marked.fastener, |cell| cell.set(MARKED, true)),
        Record::Pass(pass) => pass_ended(ledger, procedure, pass.stage, pass.pass, pass.next),
        Record::Moment(moment) => {
            ledger.moments_told |= 1_u8.wrapping_shl(u32::from(moment.moment));
            if let Some(slot) = ledger.moments.get_mut(usize::from(moment.moment)) {
                *slot = second_mark(entry.at);
            }
        }
        Record::Due(due) => ledger.stages_due |= 1_u16.wrapping_shl(u32::from(due.stage)),
        Record::Apart(_) => {
            ledger.apart = true;
            for (index, _) in (0_u8..).zip(procedure.fasteners()) {
                change(ledger, index, |cell| {
                    cell.set(TIGHT, false);
                    cell.left_at = 0;
                    cell.turned = 0;
                });
                replace_if_spent(ledger, procedure, index, true);
            }
        }
    }
}

fn attempt_made(
    ledger: &mut Ledger,
    procedure: &Procedure,
    at: Instant,
    attempt: &crate::record::Attempt,
) {
    ledger.begun = None;
    if let Some(cell) = ledger.steps.get_mut(usize::from(attempt.step)) {
        *cell = cell.attempted();
    }
    let Some(stage) = procedure.stage_of(attempt.step).copied() else {
        return;
    };
    let fastener = attempt.fastener;
    if stage.kind.tightens() && attempt.pulls > 0 {
        tightened(ledger, fastener);
    }
    if matches!(stage.kind, StageKind::Turn { .. })
        && let Some(angle) = attempt.angle
    {
        // Tenths of a degree are fine enough for a limit on a sum; both steps are held inside the range.
        let tenths = u16::try_from(angle.scaled(1, 100).millidegrees()).unwrap_or(0);
        change(ledger, fastener, |cell| {
            cell.turned = cell.turned.saturating_add(tenths)
        });
    }
    match attempt.verdict {
        Verdict::Accepted => {
            let left = match stage.kind {
                StageKind::BackOff { .. } => 0,
                _ => u16::try_from(attempt.settled.scaled(1, 100).millinewton_meters())
                    .unwrap_or(u16::MAX),
            };
            change(ledger, fastener, |cell| {
                cell.set(ASK, false);
                cell.left_at = left;
                if matches!(stage.kind, StageKind::BackOff { angle: None }) {
                    cell.set(TIGHT, false);
                }
                if matches!(stage.kind, StageKind::BackOff { .. }) {
                    cell.turned = 0;
                }
            });
            if let StageKind::Repeat { still, .. } = stage.kind
                && attempt.angle.is_some_and(|angle| angle > still)
            {
                ledger.moved = ledger.moved.saturating_add(1);
            }
            settle(ledger, procedure, at, attempt.step, StepState::Done);
        }
        Verdict::Unknown => {
            put(ledger, attempt.step, StepState::Doubtful);
            change(ledger, fastener, |cell| cell.set(ASK, true));
        }
        Verdict::Rejected => {
            put(ledger, attempt.step, StepState::Rejected);
            match remedy(attempt.reasons, &stage) {
                Remedy::Again => {}
                Remedy::Policy(Policy::Ask) => change(ledger, fastener, |cell| cell.set(ASK, true)),
                Remedy::Policy(Policy::Replace) => {
                    change(ledger, fastener, |cell| cell.set(REPLACE, true))
                }
                Remedy::Policy(Policy::Restart(from)) => restart(ledger, procedure, fastener, from),
            }
        }
    }
}

enum Remedy {
    Again,
    Policy(Policy),
}

/// What a rejected attempt asks for: more of the same only where torque alone was too low; the stage's policy where it went
/// too far; a person's decision wherever the curve spoke of harm or could not be trusted.
fn remedy(reasons: Reasons, stage: &Stage) -> Remedy {
    let too_far = (reasons.contains(Reason::TorqueHigh) || reasons.contains(Reason::AngleHigh))
        && !matches!(stage.kind, StageKind::Hold { .. });
    let harm = [
        Reason::EarlyRise,
        Reason::LateRise,
        Reason::Yielding,
        Reason::GivingWay,
        Reason::NoTurn,
        Reason::StickSlip,
        Reason::Overload,
        Reason::Stuck,
        Reason::Gap,
        Reason::Jerk,
        Reason::Interrupted,
        Reason::AngleLow,
        Reason::AngleHigh,
        Reason::WrongWay,
    ]
    .into_iter()
    .any(|reason| reasons.contains(reason));
    if too_far {
        Remedy::Policy(stage.on_over)
    } else if harm || matches!(stage.kind, StageKind::Turn { .. }) {
        Remedy::Policy(Policy::Ask)
    } else {
        Remedy::Again
    }
}

fn length_measured(
    ledger: &mut Ledger,
    procedure: &Procedure,
    at: Instant,
    measured: &crate::record::Measured,
) {
    let accepted = measured.verdict == Verdict::Accepted;
    let state = if accepted {
        StepState::Done
    } else {
        StepState::Rejected
    };
    settle(ledger, procedure, at, measured.step, state);
    let Some(stage) = procedure.stage_of(measured.step).copied() else {
        return;
    };
    let (Some(fastener), StageKind::Measure { max, .. }, false) =
        (fastener_of(procedure, measured.step), stage.kind, accepted)
    else {
        return;
    };
    match if measured.length > max {
        stage.on_over
    } else {
        stage.on_under
    } {
        Policy::Ask => change(ledger, fastener, |cell| cell.set(ASK, true)),
        Policy::Replace => change(ledger, fastener, |cell| cell.set(REPLACE, true)),
        Policy::Restart(from) => restart(ledger, procedure, fastener, from),
    }
}

fn fastener_loosened(ledger: &mut Ledger, procedure: &Procedure, fastener: u8, elsewhere: bool) {
    let was_final = ledger.is_final(procedure, fastener);
    let was_tight = ledger.is_tight(fastener);
    let asked_for = ledger.must_loosen(fastener);
    change(ledger, fastener, |cell| {
        cell.set(LOOSEN, false);
        cell.set(ASK, false);
        cell.set(TIGHT, false);
        cell.set(MARKED, false);
        cell.left_at = 0;
        cell.turned = 0;
    });
    // A loosening that was asked for has reopened what it should; any other means to start over.
    if !asked_for || elsewhere {
        reopen(ledger, procedure, fastener, 0);
    }
    replace_if_spent(ledger, procedure, fastener, was_tight);
    if was_final || elsewhere {
        spoil_others(ledger, procedure, fastener);
    }
}

/// What else has to be redone when a finished fastener is disturbed.
fn spoil_others(ledger: &mut Ledger, procedure: &Procedure, fastener: u8) {
    let near = procedure
        .fasteners()
        .get(usize::from(fastener))
        .map_or([None; 4], |own| own.near);
    for (other, _) in (0_u8..).zip(procedure.fasteners()) {
        let reached = match procedure.terms().redo {
            Redo::Fastener => false,
            Redo::Neighbours => near.contains(&Some(other)),
            Redo::Joint => other != fastener,
        };
        if reached {
            let tight = ledger.is_tight(other);
            reopen(ledger, procedure, other, 0);
            change(ledger, other, |cell| {
                cell.set(LOOSEN, tight);
                cell.set(MARKED, false);
            });
        }
    }
    if procedure.terms().redo == Redo::Joint {
        for (index, step) in (0_u16..).zip(procedure.steps()) {
            if step.fastener().is_none() && ledger.step(index).is_settled() {
                put(ledger, index, StepState::Disturbed);
            }
        }
    }
}

fn new_fitted(ledger: &mut Ledger, procedure: &Procedure, at: Instant, fastener: u8) {
    let fit_step = ledger
        .own_steps(procedure, fastener)
        .filter(|(_, stage)| matches!(stage.kind, StageKind::Fit))
        .map(|(index, _)| index)
        .last();
    let was_final = ledger.is_final(procedure, fastener);
    change(ledger, fastener, |cell| {
        *cell = FastenerCell {
            flags: NEW | (cell.flags & DOUBT),
            ..FastenerCell::default()
        };
    });
    let from = fit_step
        .and_then(|step| procedure.steps().get(usize::from(step)))
        .map_or(0, |step| step.stage());
    reopen(ledger, procedure, fastener, from);
    if let Some(step) = fit_step {
        settle(ledger, procedure, at, step, StepState::Done);
    }
    if was_final {
        spoil_others(ledger, procedure, fastener);
    }
}

fn decision_made(
    ledger: &mut Ledger,
    procedure: &Procedure,
    at: Instant,
    step: u16,
    decision: Decision,
) {
    if let (AfterNotConverged::Yes, Decision::Waive | Decision::Again) =
        (about_passes(ledger, procedure, step), decision)
    {
        let stage = ledger.not_converged.take();
        if let (Decision::Again, Some(stage)) = (decision, stage) {
            reopen_stage(ledger, procedure, stage);
            ledger.pass = 0;
        }
        return;
    }
    let fastener = fastener_of(procedure, step);
    if let Some(fastener) = fastener {
        change(ledger, fastener, |cell| cell.set(ASK, false));
    }
    match decision {
        Decision::Again => put(ledger, step, StepState::Open),
        Decision::Observed => {
            if let Some(fastener) = fastener {
                tightened(ledger, fastener);
            }
            settle(ledger, procedure, at, step, StepState::Unmeasured);
        }
        Decision::Waive => settle(ledger, procedure, at, step, StepState::Waived),
        Decision::Replace => {
            if let Some(fastener) = fastener {
                change(ledger, fastener, |cell| cell.set(REPLACE, true));
            }
        }
        Decision::Restart(from) => match fastener {
            Some(fastener) => restart(ledger, procedure, fastener, from),
            None => put(ledger, step, StepState::Open),
        },
    }
}

enum AfterNotConverged {
    Yes,
    No,
}

fn about_passes(ledger: &Ledger, procedure: &Procedure, step: u16) -> AfterNotConverged {
    let stage = procedure
        .steps()
        .get(usize::from(step))
        .map(|step| step.stage());
    if ledger.not_converged.is_some() && ledger.not_converged == stage {
        AfterNotConverged::Yes
    } else {
        AfterNotConverged::No
    }
}

fn pass_ended(ledger: &mut Ledger, procedure: &Procedure, stage: u8, pass: u8, next: AfterPass) {
    ledger.moved = 0;
    match next {
        AfterPass::Converged => ledger.pass = 0,
        AfterPass::Again => {
            ledger.pass = pass;
            reopen_stage(ledger, procedure, stage);
        }
        AfterPass::NotConverged => {
            ledger.pass = 0;
            ledger.not_converged = Some(stage);
        }
    }
}

fn reopen_stage(ledger: &mut Ledger, procedure: &Procedure, stage: u8) {
    for (index, step) in (0_u16..).zip(procedure.steps()) {
        if step.stage() == stage && ledger.step(index) == StepState::Done {
            put(ledger, index, StepState::Open);
        }
    }
}

/// Loosen fully and go on from a stage: the steps before it stay as they are.
fn restart(ledger: &mut Ledger, procedure: &Procedure, fastener: u8, from: u8) {
    let tight = ledger.is_tight(fastener);
    reopen(ledger, procedure, fastener, from);
    change(ledger, fastener, |cell| {
        cell.set(ASK, false);
        cell.set(LOOSEN, tight);
        cell.turned = 0;
    });
}

/// Every step of the fastener from a stage on must be done again.
fn reopen(ledger: &mut Ledger, procedure: &Procedure, fastener: u8, from: u8) {
    for (index, step) in (0_u16..).zip(procedure.steps()) {
        if step.fastener() != Some(fastener) || step.stage() < from {
            continue;
        }
        match ledger.step(index) {
            StepState::Open | StepState::Disturbed => {}
            _ => put(ledger, index, StepState::Disturbed),
        }
        if let Some(slot) = ledger.stage_done.get_mut(usize::from(step.stage())) {
            *slot = 0;
        }
    }
}

fn replace_if_spent(ledger: &mut Ledger, procedure: &Procedure, fastener: u8, was_tight: bool) {
    let spent = match procedure.terms().reuse {
        Reuse::Free => false,
        Reuse::ReplaceIfLoosened => was_tight,
        Reuse::Cycles(allowed) => was_tight && ledger.cycles(fastener) >= allowed,
    };
    if spent {
        change(ledger, fastener, |cell| cell.set(REPLACE, true));
    }
}

fn tightened(ledger: &mut Ledger, fastener: u8) {
    change(ledger, fastener, |cell| {
        if !cell.is(TIGHT) {
            cell.set(TIGHT, true);
            cell.cycles = cell.cycles.saturating_add(1);
        }
        cell.set(MARKED, false);
    });
}

fn settle(ledger: &mut Ledger, procedure: &Procedure, at: Instant, step: u16, state: StepState) {
    put(ledger, step, state);
    let Some(stage) = procedure
        .steps()
        .get(usize::from(step))
        .map(|step| step.stage())
    else {
        return;
    };
    let complete = ledger.is_stage_settled(procedure, stage);
    if let Some(slot) = ledger.stage_done.get_mut(usize::from(stage)) {
        *slot = if complete { second_mark(at) } else { 0 };
    }
}

/// The second since boot, plus one, so that zero can mean "not yet".
fn second_mark(at: Instant) -> u32 {
    u32::try_from(at.micros() / 1_000_000)
        .unwrap_or(u32::MAX)
        .saturating_add(1)
}

fn lose_the_clock(ledger: &mut Ledger) {
    ledger.stage_done = [0; STAGES_MAX];
    ledger.moments = [0; MOMENTS_MAX];
}

fn put(ledger: &mut Ledger, step: u16, state: StepState) {
    if let Some(cell) = ledger.steps.get_mut(usize::from(step)) {
        *cell = cell.with(state);
    }
}

fn change(ledger: &mut Ledger, fastener: u8, with: impl FnOnce(&mut FastenerCell)) {
    if let Some(cell) = ledger.fasteners.get_mut(usize::from(fastener)) {
        with(cell);
    }
}

fn fastener_of(procedure: &Procedure, step: u16) -> Option<u8> {
    procedure.steps().get(usize::from(step))?.fastener()
}
