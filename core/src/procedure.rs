//! What is to be done to one joint: fasteners, stages, steps. Cannot be built invalid.
//!
//! A procedure is a flat list of steps (fastener × stage), so interleaved groups, subsets, reverse passes and one fastener
//! at a time are all just lists. Only a [`StageKind::Repeat`] pass loops. Knows nothing of plans, units as typed or positions
//! in space; the host compiles those to this.

mod blob;
mod check;
mod error;
#[cfg(test)]
pub(crate) mod samples;

pub use error::{ProcedureError, Rule};

use heapless::Vec;
use serde::{Deserialize, Serialize};

use crate::curve_limits::CurveLimits;
use crate::limits::{FASTENERS_MAX, OVERRIDES_MAX, STAGES_MAX, STEPS_MAX};
use crate::text::Label;
use crate::unit::{Angle, Length, Span, Torque};
use crate::wire::{Decode, Decoder, wire};

/// The place of no fastener: a step that concerns the whole joint.
const WHOLE_JOINT: u8 = u8::MAX;

/// Where a torque must end. Both limits belong to the window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TorqueWindow {
    /// What to pull for.
    pub target: Torque,
    /// Lowest accepted; zero where only a maximum is given.
    pub min: Torque,
    /// Highest accepted; [`Torque::MAX`] where only a minimum is given.
    pub max: Torque,
}

wire!(struct TorqueWindow { target, min, max });

impl TorqueWindow {
    /// The window with a running torque put on top of its values. A side that is open stays open.
    #[must_use]
    pub fn raised(self, by: Torque) -> Self {
        let min = if self.min > Torque::ZERO {
            self.min + by
        } else {
            self.min
        };
        Self {
            target: self.target + by,
            min,
            max: self.max + by,
        }
    }

    /// Whether the torque lies inside, limits included.
    #[must_use]
    pub fn contains(&self, torque: Torque) -> bool {
        torque >= self.min && torque <= self.max
    }
}

/// Where an angle must end. Both limits belong to the window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AngleWindow {
    /// What to turn for.
    pub target: Angle,
    /// Lowest accepted.
    pub min: Angle,
    /// Highest accepted.
    pub max: Angle,
}

wire!(struct AngleWindow { target, min, max });

impl AngleWindow {
    /// Whether the angle lies inside, limits included.
    #[must_use]
    pub fn contains(&self, angle: Angle) -> bool {
        angle >= self.min && angle <= self.max
    }
}

/// Running torque of a locking feature, on top of which the target applies.
///
/// It is the fastener's, not the stage's: what a stage says holds for every later one too ([`Procedure::prevailing`]).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Prevailing {
    /// There is none to add.
    #[default]
    None,
    /// Measured on each fastener before it seats.
    Measure,
    /// Known beforehand.
    Given(Torque),
}

wire!(enum Prevailing, 3 {
    0 => None,
    1 => Measure,
    _ => Given(torque),
});

/// The moment that a wait counts from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Moment {
    /// A stage of this procedure became complete.
    StageDone(u8),
    /// A moment of the plan, by its number: "sealant applied", told by [`crate::session::Input::Moment`].
    Named(u8),
}

wire!(enum Moment, 2 {
    0 => StageDone(stage),
    _ => Named(moment),
});

/// Engine state that a later retorque asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum EngineState {
    /// At room temperature.
    Cold,
    /// At running temperature.
    Hot,
    /// Either will do.
    Any,
}

wire!(enum EngineState, 3 {
    0 => Cold,
    1 => Hot,
    _ => Any,
});

/// What one stage does to a fastener, or to the joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StageKind {
    /// Bring the torque into a window.
    Tighten {
        /// The window.
        window: TorqueWindow,
        /// Running torque to add.
        prevailing: Prevailing,
    },
    /// Turn on by an angle from the end of the stage before.
    Turn {
        /// The window.
        window: AngleWindow,
        /// Where the end torque must lie.
        torque: Option<TorqueWindow>,
        /// One pull must do.
        one_sweep: bool,
    },
    /// The pass before once more, until no fastener moves.
    Repeat {
        /// The torque of the pass before.
        window: TorqueWindow,
        /// Movement up to here counts as none.
        still: Angle,
        /// Passes at least.
        min: u8,
        /// Passes at most; then the joint is reported as not converged.
        max: u8,
    },
    /// Keep the torque for a time; nothing may move.
    Hold {
        /// The torque.
        torque: Torque,
        /// For how long.
        time: Span,
        /// Movement up to here counts as none.
        still: Angle,
    },
    /// Turn back by an angle, or until free.
    BackOff {
        /// How far, positive; `None` until free.
        angle: Option<Angle>,
    },
    /// Turn in by hand before any torque.
    Seat {
        /// How far.
        turns: Angle,
    },
    /// A question that must be answered with yes.
    Check,
    /// A length that must be measured.
    Measure {
        /// Lowest accepted.
        min: Length,
        /// Highest accepted.
        max: Length,
    },
    /// From the low edge of the window on to the next slot, inside the window.
    Align {
        /// The window.
        window: TorqueWindow,
    },
    /// Let time pass, or be done within a time.
    Wait {
        /// Not before.
        at_least: Span,
        /// Not after.
        at_most: Span,
        /// Counted from here.
        after: Moment,
    },
    /// The old fastener out, the new one in.
    Fit,
    /// A retorque after running: due, not doable, until the host says it is.
    Later {
        /// The window.
        window: TorqueWindow,
        /// Hot or cold.
        state: EngineState,
    },
}

wire!(enum StageKind, 12 {
    0 => Tighten { window, prevailing },
    1 => Turn { window, torque, one_sweep },
    2 => Repeat { window, still, min, max },
    3 => Hold { torque, time, still },
    4 => BackOff { angle },
    5 => Seat { turns },
    6 => Check,
    7 => Measure { min, max },
    8 => Align { window },
    9 => Wait { at_least, at_most, after },
    10 => Fit,
    _ => Later { window, state },
});

impl StageKind {
    /// Whether the stage is done by pulling the adapter, so that samples judge it.
    #[must_use]
    pub const fn is_pulled(&self) -> bool {
        matches!(
            self,
            Self::Tighten { .. }
                | Self::Turn { .. }
                | Self::Repeat { .. }
                | Self::Hold { .. }
                | Self::BackOff { .. }
                | Self::Align { .. }
                | Self::Later { .. }
        )
    }

    /// Whether the stage leaves the fastener tighter than before, so that loosening it afterwards spends a cycle.
    #[must_use]
    pub const fn tightens(&self) -> bool {
        matches!(
            self,
            Self::Tighten { .. }
                | Self::Turn { .. }
                | Self::Repeat { .. }
                | Self::Align { .. }
                | Self::Later { .. }
        )
    }
}

/// What follows when a stage ends beyond its limit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Policy {
    /// Stop and ask.
    #[default]
    Ask,
    /// A new fastener.
    Replace,
    /// Loosen fully and go on from this stage.
    Restart(u8),
}

wire!(enum Policy, 3 {
    0 => Ask,
    1 => Replace,
    _ => Restart(stage),
});

/// How an attempt came to be known, the weakest first; of a stage, the least that will do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Evidence {
    /// Done by hand will do.
    #[default]
    Any,
    /// By the setting of a tool.
    Setting,
    /// Values that a person read.
    Reading,
    /// The curve of torque over angle.
    Curve,
}

/// One stage of the procedure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(try_from = "StoredStage", into = "StoredStage")]
pub struct Stage {
    /// What is done.
    pub kind: StageKind,
    /// What follows when it ended too high or too far.
    pub on_over: Policy,
    /// What follows when a measured length is too small.
    pub on_under: Policy,
    /// Whether fasteners may be taken in any order.
    pub any_order: bool,
    /// A trial that must come apart again: never final.
    pub mock_up: bool,
    /// The least evidence that will do.
    pub evidence: Evidence,
}

/// A stage as it is stored. The evidence shares a byte with the trial, so that a procedure that asks for none has the bytes and
/// the digest that it had before there was any.
#[derive(Clone, Copy, Serialize, Deserialize)]
struct StoredStage {
    kind: StageKind,
    on_over: Policy,
    on_under: Policy,
    any_order: bool,
    proof: u8,
}

/// Trial or not, four kinds of evidence.
const PROOFS: u8 = 8;

const fn proof(mock_up: bool, evidence: Evidence) -> u8 {
    let trial = if mock_up { 1 } else { 0 };
    let evidence: u8 = match evidence {
        Evidence::Any => 0,
        Evidence::Setting => 2,
        Evidence::Reading => 4,
        Evidence::Curve => 6,
    };
    trial | evidence
}

const fn evidence(proof: u8) -> Evidence {
    match proof >> 1 {
        0 => Evidence::Any,
        1 => Evidence::Setting,
        2 => Evidence::Reading,
        _ => Evidence::Curve,
    }
}

impl From<Stage> for StoredStage {
    fn from(stage: Stage) -> Self {
        Self {
            kind: stage.kind,
            on_over: stage.on_over,
            on_under: stage.on_under,
            any_order: stage.any_order,
            proof: proof(stage.mock_up, stage.evidence),
        }
    }
}

impl TryFrom<StoredStage> for Stage {
    type Error = &'static str;

    fn try_from(stored: StoredStage) -> Result<Self, Self::Error> {
        if stored.proof >= PROOFS {
            return Err("a trial or not, and one of four kinds of evidence");
        }
        Ok(Self {
            kind: stored.kind,
            on_over: stored.on_over,
            on_under: stored.on_under,
            any_order: stored.any_order,
            mock_up: stored.proof & 1 == 1,
            evidence: evidence(stored.proof),
        })
    }
}

impl Decode for Stage {
    fn read(from: &mut Decoder<'_>) -> Self {
        let (kind, on_over, on_under) = (from.item(), from.item(), from.item());
        let any_order = from.item();
        let proof = from.choice(PROOFS);
        Self {
            kind,
            on_over,
            on_under,
            any_order,
            mock_up: proof & 1 == 1,
            evidence: evidence(proof),
        }
    }
}

impl Stage {
    /// A stage of this kind with every other choice at its default.
    #[must_use]
    pub const fn new(kind: StageKind) -> Self {
        Self {
            kind,
            on_over: Policy::Ask,
            on_under: Policy::Ask,
            any_order: false,
            mock_up: false,
            evidence: Evidence::Any,
        }
    }
}

/// A bolt, stud-and-nut or screw.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Fastener {
    /// Fixed to the metal; not its place in the order.
    pub label: Label,
    /// The fasteners next to it, by index; what `redo = "neighbours"` reaches.
    pub near: [Option<u8>; 4],
}

wire!(struct Fastener { label, near });

/// One fastener at one stage; or, with no fastener, the whole joint at one stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Step {
    place: u8,
    stage: u8,
}

wire!(struct Step { place, stage });

impl Step {
    /// A fastener at a stage, both by index.
    #[must_use]
    pub const fn on(fastener: u8, stage: u8) -> Self {
        Self {
            place: fastener,
            stage,
        }
    }

    /// The whole joint at a stage.
    #[must_use]
    pub const fn joint(stage: u8) -> Self {
        Self {
            place: WHOLE_JOINT,
            stage,
        }
    }

    /// The fastener's index, or none for the whole joint.
    #[must_use]
    pub const fn fastener(self) -> Option<u8> {
        if self.place == WHOLE_JOINT {
            None
        } else {
            Some(self.place)
        }
    }

    /// The stage's index.
    #[must_use]
    pub const fn stage(self) -> u8 {
        self.stage
    }
}

/// A target that differs from its stage's for one fastener.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Override {
    /// The fastener's index.
    pub fastener: u8,
    /// The stage's index.
    pub stage: u8,
    /// The other target.
    pub aim: OverrideAim,
}

wire!(struct Override { fastener, stage, aim });

/// The window that replaces the stage's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum OverrideAim {
    /// Instead of the torque window.
    Torque(TorqueWindow),
    /// Instead of the angle window.
    Angle(AngleWindow),
}

wire!(enum OverrideAim, 2 {
    0 => Torque(window),
    _ => Angle(window),
});

/// What one disturbed fastener spoils.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Redo {
    /// Itself.
    #[default]
    Fastener,
    /// Itself and the fasteners next to it.
    Neighbours,
    /// The whole joint.
    Joint,
}

wire!(enum Redo, 3 {
    0 => Fastener,
    1 => Neighbours,
    _ => Joint,
});

/// Whether a fastener may be used again once loosened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reuse {
    /// As often as one likes.
    #[default]
    Free,
    /// New once it has been tightened and loosened.
    ReplaceIfLoosened,
    /// New after this many tightenings.
    Cycles(u8),
}

wire!(enum Reuse, 3 {
    0 => Free,
    1 => ReplaceIfLoosened,
    _ => Cycles(most),
});

/// Right- or left-hand thread. The host maps the sensors so that tightening is positive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Hand {
    /// Tightens clockwise.
    #[default]
    Right,
    /// Tightens anticlockwise.
    Left,
}

wire!(enum Hand, 2 {
    0 => Right,
    _ => Left,
});

/// The choices that hold for a whole procedure.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Terms {
    /// Hand of the threads.
    pub hand: Hand,
    /// What one disturbed fastener spoils.
    pub redo: Redo,
    /// Whether fasteners may be used again.
    pub reuse: Reuse,
    /// What is on the threads must be confirmed before the first pull.
    pub condition_stated: bool,
    /// A person must be named before the first pull.
    pub person_named: bool,
    /// A tool must be named before the first pull.
    pub tool_named: bool,
    /// Limit on the sum of a fastener's angles over all `turn` stages.
    pub angle_sum_max: Option<Angle>,
    /// What the curve of a pull is watched for.
    pub limits: CurveLimits,
}

wire!(struct Terms {
    hand,
    redo,
    reuse,
    condition_stated,
    person_named,
    tool_named,
    angle_sum_max,
    limits,
});

/// The parts of a procedure, borrowed: what [`Procedure::new`] checks and copies.
#[derive(Clone, Copy, Debug)]
pub struct Parts<'a> {
    /// The fasteners, in any fixed order.
    pub fasteners: &'a [Fastener],
    /// The stages, in the order they are listed.
    pub stages: &'a [Stage],
    /// The steps, in the order of work.
    pub steps: &'a [Step],
    /// Targets that differ.
    pub overrides: &'a [Override],
    /// Choices for the whole.
    pub terms: Terms,
}

/// What the core executes for one joint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Procedure {
    fasteners: Vec<Fastener, FASTENERS_MAX>,
    stages: Vec<Stage, STAGES_MAX>,
    steps: Vec<Step, STEPS_MAX>,
    overrides: Vec<Override, OVERRIDES_MAX>,
    terms: Terms,
    /// How many steps each stage has.
    in_stage: [u16; STAGES_MAX],
    /// CRC-32 of the stored form.
    digest: u32,
}

impl Procedure {
    /// How many steps a stage has.
    pub(crate) fn steps_in(&self, stage: u8) -> u16 {
        self.in_stage.get(usize::from(stage)).copied().unwrap_or(0)
    }

    /// The fasteners.
    #[must_use]
    pub fn fasteners(&self) -> &[Fastener] {
        &self.fasteners
    }

    /// The stages.
    #[must_use]
    pub fn stages(&self) -> &[Stage] {
        &self.stages
    }

    /// The steps in the order of work.
    #[must_use]
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// The steps in the order of work, each with its number: the number that records carry.
    pub fn numbered_steps(&self) -> impl Iterator<Item = (u16, &Step)> {
        (0..=u16::MAX).zip(&self.steps)
    }

    /// The step with this number.
    #[must_use]
    pub fn step_at(&self, step: u16) -> Option<Step> {
        self.steps.get(usize::from(step)).copied()
    }

    /// The fastener of a step, by index; none for a step of the whole joint.
    #[must_use]
    pub fn fastener_of(&self, step: u16) -> Option<u8> {
        self.step_at(step)?.fastener()
    }

    /// The number of a step's stage.
    #[must_use]
    pub fn stage_at(&self, step: u16) -> Option<u8> {
        Some(self.step_at(step)?.stage())
    }

    /// The targets that differ from their stage's.
    #[must_use]
    pub fn overrides(&self) -> &[Override] {
        &self.overrides
    }

    /// The choices for the whole.
    #[must_use]
    pub const fn terms(&self) -> &Terms {
        &self.terms
    }

    /// The stage of a step, if both exist.
    #[must_use]
    pub fn stage_of(&self, step: u16) -> Option<&Stage> {
        let step = self.steps.get(usize::from(step))?;
        self.stages.get(usize::from(step.stage))
    }

    /// The index of the fastener with this label.
    #[must_use]
    pub fn fastener_labelled(&self, label: &str) -> Option<u8> {
        let at = self
            .fasteners
            .iter()
            .position(|fastener| fastener.label.as_str() == label)?;
        u8::try_from(at).ok()
    }

    /// The torque window of a step as the plan says it, its own target put in and no running torque; `None` for stages
    /// without one. What is added as things stand: [`crate::ledger::Ledger::torque_window`].
    #[must_use]
    pub fn torque_window(&self, step: u16) -> Option<TorqueWindow> {
        let own = self.override_of(step);
        let window = match self.stage_of(step)?.kind {
            StageKind::Tighten { window, .. }
            | StageKind::Repeat { window, .. }
            | StageKind::Align { window }
            | StageKind::Later { window, .. } => window,
            StageKind::Turn { torque, .. } => return torque,
            _ => return None,
        };
        Some(match own {
            Some(OverrideAim::Torque(other)) => other,
            _ => window,
        })
    }

    /// What the plan says of the running torque that a step's torques come on top of: the word of the last stage up to this
    /// one, on the same fastener, that says any. A locking feature does not let go between two stages.
    #[must_use]
    pub fn prevailing(&self, step: u16) -> Prevailing {
        let Some(&own) = self.steps.get(usize::from(step)) else {
            return Prevailing::None;
        };
        let mut said = Prevailing::None;
        let up_to = usize::from(own.stage).saturating_add(1);
        for (number, stage) in self.stages.iter().take(up_to).enumerate() {
            // Only a stage that says something is asked whether the fastener is on it. Forward, as going back through two lists
            // at once leaves a panic in the code.
            if let StageKind::Tighten {
                prevailing: word @ (Prevailing::Measure | Prevailing::Given(_)),
                ..
            } = stage.kind
                && self
                    .steps
                    .iter()
                    .any(|other| other.place == own.place && usize::from(other.stage) == number)
            {
                said = word;
            }
        }
        said
    }

    /// The angle window of a step, its own target put in; `None` for stages without one.
    #[must_use]
    pub fn angle_window(&self, step: u16) -> Option<AngleWindow> {
        let StageKind::Turn { window, .. } = self.stage_of(step)?.kind else {
            return None;
        };
        Some(match self.override_of(step) {
            Some(OverrideAim::Angle(other)) => other,
            _ => window,
        })
    }

    fn override_of(&self, step: u16) -> Option<OverrideAim> {
        let step = self.steps.get(usize::from(step))?;
        let found = self
            .overrides
            .iter()
            .find(|own| own.fastener == step.place && own.stage == step.stage)?;
        Some(found.aim)
    }
}
