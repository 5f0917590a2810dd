//! What can come in, and why it can be refused.

use crate::procedure::EngineState;
use crate::record::{Decision, Doubt, Role, Way};
use crate::sample::{Fault, Sample};
use crate::unit::{Angle, Length, Torque};

/// What a person read of an attempt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Readout<'a> {
    /// How.
    pub way: Way,
    /// Highest torque; none where none was read.
    pub torque: Option<Torque>,
    /// Rotation of the fastener, in the direction of the stage: positive turns back where the stage does; none where none was read.
    pub angle: Option<Angle>,
    /// It was seen to move, for a stage where nothing may move.
    pub moved: bool,
    /// Graduation or resolution and accuracy of the instrument, in words.
    pub stated: &'a str,
}

impl Readout<'_> {
    /// Nothing read, as a place for what is told over the link.
    pub const NOTHING: Self = Self {
        way: Way::Display,
        torque: None,
        angle: None,
        moved: false,
        stated: "",
    };
}

/// What comes in.
///
/// Not `#[non_exhaustive]`: a new input must break every match on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Input<'a> {
    /// A reading of the adapter.
    Sample(Sample),
    /// A reading of an instrument that measures no rotation. Taken where a torque alone is wanted; what the fastener turns stays
    /// unknown, and nothing is held to a rise over its rotation.
    TorqueAlone(Torque),
    /// Time passed; nothing else.
    Tick,
    /// The recorder started, for the n-th time. Must come first after [`Session::new`](super::Session::new) and [`Session::restore`](super::Session::restore).
    Start {
        /// Number of this start, larger than any before.
        boot: u16,
        /// On no metal.
        rehearsal: bool,
    },
    /// Every record up to this number is stored, read back and compared.
    Durable {
        /// The record's number.
        seq: u32,
    },
    /// A record could not be stored. Pulling is blocked until [`Input::Durable`] comes for the last record.
    StoreFailed,
    /// A reading that may not be judged, as the sample path named it. While loaded it halts, and what the fastener turns is not
    /// known any more.
    Faulty(Fault),
    /// Samples cannot be trusted any more: cable out, tool changed in mid-pull.
    MeasurementLost,
    /// The tool is on this fastener now, whoever's turn it was.
    Select {
        /// The fastener's index.
        fastener: u8,
    },
    /// The attempt is over: judge what there is.
    Finish,
    /// An attempt at the step that is to be pulled, with values that a person read.
    Read {
        /// The step.
        step: u16,
        /// What was read.
        readout: &'a Readout<'a>,
    },
    /// An attempt at the step that is to be pulled, with a tool that was set and tells no value.
    BySetting {
        /// The step.
        step: u16,
        /// As set on the tool's scale.
        setting: Torque,
        /// What that setting stands for at the fastener.
        stands_for: Torque,
        /// It was seen to move before it clicked, for a stage where nothing may move.
        moved: bool,
    },
    /// A step done by hand: as its stage wants it, or because any evidence will do there.
    Confirm {
        /// The step.
        step: u16,
    },
    /// A step done and ticked on a paper sheet: unmeasured.
    Paper {
        /// The step.
        step: u16,
    },
    /// An answer to a check; to a wait that is next, a person's word on whether its time was kept.
    Answer {
        /// The step.
        step: u16,
        /// The answer.
        yes: bool,
        /// Who, or why.
        note: &'a str,
    },
    /// A length measured.
    Measure {
        /// The step.
        step: u16,
        /// The length.
        length: Length,
    },
    /// A person named.
    Person {
        /// The name.
        name: &'a str,
        /// Works or looks.
        role: Role,
    },
    /// A tool named.
    Tool {
        /// Its id.
        id: &'a str,
        /// Why it is used though out of date or range; empty otherwise.
        waiver: &'a str,
    },
    /// What is on the threads.
    Condition {
        /// In words.
        found: &'a str,
        /// Whether that is what the procedure assumes.
        matches: bool,
    },
    /// Wall time.
    Anchor {
        /// Seconds since 1970-01-01 00:00 UTC.
        unix_seconds: i64,
    },
    /// A zero was asked for, and the sample path took it or refused it.
    Zero {
        /// Whether it was taken.
        taken: bool,
        /// Distance from the factory zero.
        offset: Torque,
    },
    /// A fastener was loosened fully.
    Loosened {
        /// The fastener's index.
        fastener: u8,
        /// By work on another joint.
        elsewhere: bool,
        /// Why.
        cause: &'a str,
    },
    /// A new fastener was fitted.
    Fitted {
        /// The fastener's index.
        fastener: u8,
    },
    /// Leave a step out.
    Skip {
        /// The step.
        step: u16,
        /// Who and why; must not be empty.
        reason: &'a str,
    },
    /// A remark.
    Note {
        /// The fastener's index; none for the joint.
        fastener: Option<u8>,
        /// Raises or settles a doubt, or neither.
        doubt: Doubt,
        /// In words.
        text: &'a str,
    },
    /// A decision about a rejected or unknown attempt, or a pass that did not converge.
    Decide {
        /// The step.
        step: u16,
        /// What.
        decision: Decision,
        /// Who and why; must not be empty where something is waived or observed.
        note: &'a str,
    },
    /// A finished fastener was marked on the metal.
    Mark {
        /// The fastener's index.
        fastener: u8,
    },
    /// Check a fastener again at its stage torque: it should not move.
    Recheck {
        /// The fastener's index.
        fastener: u8,
    },
    /// A moment of the plan came.
    Moment {
        /// Its number.
        moment: u8,
    },
    /// The running torque of a fastener, told by a person: read on a tool while it was run down. Not negative.
    RunningTorque {
        /// The fastener's index.
        fastener: u8,
        /// The torque.
        torque: Torque,
    },
    /// A later retorque became due.
    Due {
        /// The stage.
        stage: u8,
        /// State of the engine.
        state: EngineState,
    },
    /// A mock-up was taken apart again.
    TakenApart {
        /// What was learnt.
        note: &'a str,
    },
    /// What this record says was not so. An attempt is never withdrawn: it can only have been on another fastener
    /// ([`Session::reassign`](crate::session::Session::reassign)).
    Withdraw {
        /// Number of the record.
        of: u32,
        /// Why; must not be empty.
        reason: &'a str,
    },
    /// What recovery found on opening the journal.
    Recovered {
        /// Bytes dropped.
        dropped: u32,
        /// Bytes set aside.
        quarantined: u32,
    },
}

/// An input that came at a wrong moment. The session is as if time alone had passed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// [`Input::Start`](super::Input::Start) must come first.
    NotStarted,
    /// Started already, or the start's number is not larger than the last.
    StartedBefore,
    /// A pull is in progress.
    InPull,
    /// No such fastener, stage, step or moment.
    NoSuch,
    /// The step is settled already.
    AlreadySettled,
    /// The step is of another kind.
    WrongKind,
    /// An earlier stage is still open.
    EarlierOpen,
    /// Nothing is to be pulled now: see [`Session::next`](super::Session::next). Of readings at rest only
    /// the first after anything happened is refused: up to 0.5 N·m, the re-grip or four times the noise that the procedure states.
    NothingToPull,
    /// Records are waiting to be stored.
    Store,
    /// A reason is needed.
    ReasonMissing,
    /// The text is longer than 48 bytes.
    TextTooLong,
    /// No decision is waited for.
    NothingToDecide,
    /// The fastener is not final.
    NotFinal,
    /// Checking an angle-tightened fastener by torque says nothing and may harm it.
    AngleTightened,
    /// The engine is in the wrong state for this stage.
    WrongState,
    /// There is no mock-up to take apart.
    NoMockUp,
    /// The fastener must be loosened first.
    LoosenFirst,
    /// The fastener must be replaced first.
    ReplaceFirst,
    /// The stage asks for a rotation, and the instrument measures none.
    NoRotation,
    /// A running torque on a fastener whose plan adds none, a negative one, or one above every target it would come on top of.
    NoRunningTorque,
    /// The record cannot be put right: of its kind none can, or its fastener was touched since, or too many others came since.
    PastPutRight,
    /// An attempt is never withdrawn.
    Measured,
    /// What was measured does not say what it means on that fastener: it came upon another state, or by another target.
    NotComparable,
    /// The stage wants better evidence than this way of working gives.
    BetterEvidence,
    /// What the stage is judged by was not read, or cannot be by this way of working.
    NotRead,
}
