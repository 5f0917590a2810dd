//! The numbered kinds of record: one fact each, kept for good.
//!
//! A kind's number, its version and its fields never change once released; a changed shape is a new version. Knows nothing
//! of frames or storage.

use serde::{Deserialize, Serialize};

use crate::limits::STAGES_MAX;
use crate::procedure::EngineState;
use crate::text::Text;
use crate::unit::{Angle, Instant, Length, Torque};
use crate::verdict::{Reasons, Told, Verdict};
use crate::wire::wire;

/// Number of the rules that decide verdicts and what follows from records. Moves whenever either could differ.
pub const RULES: u16 = 2;

/// A record with its place in the order of things.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Entry {
    /// Which joint of the build.
    pub joint: u8,
    /// Place in that joint's session, from 1, without a gap.
    pub seq: u32,
    /// Which start of the recorder.
    pub boot: u16,
    /// When, since that start.
    pub at: Instant,
    /// What.
    pub record: Record,
}

/// Who a name belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Role {
    /// Does the work.
    Operator,
    /// Looks at it.
    Witness,
}

wire!(enum Role, 2 {
    0 => Operator,
    _ => Witness,
});

/// How a step without a measured pull was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Manner {
    /// By hand, as the stage wants it.
    Hand,
    /// Typed back from a paper sheet: unmeasured.
    Paper,
}

wire!(enum Manner, 2 {
    0 => Hand,
    _ => Paper,
});

/// How a person read a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Way {
    /// A number that the tool shows.
    Display,
    /// A pointer on a scale, by eye.
    Eye,
    /// An angle gauge.
    Gauge,
    /// A mark on the metal, which shows an angle and no torque.
    Mark,
}

wire!(enum Way, 4 {
    0 => Display,
    1 => Eye,
    2 => Gauge,
    _ => Mark,
});

/// What a person decided about an attempt that was rejected or is unknown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Decision {
    /// Pull again at the same stage.
    Again,
    /// Loosen fully and go on from this stage.
    Restart(u8),
    /// A new fastener.
    Replace,
    /// The end was seen by a mark on the metal: observed, not measured.
    Observed,
    /// Left as it is, on the name and reason given.
    Waive,
}

wire!(enum Decision, 5 {
    0 => Again,
    1 => Restart(stage),
    2 => Replace,
    3 => Observed,
    _ => Waive,
});

/// How a running torque came to be known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Seen {
    /// Seen by the adapter while the fastener was run down.
    Measured,
    /// Told by a person.
    Typed,
}

wire!(enum Seen, 2 {
    0 => Measured,
    _ => Typed,
});

/// The running torque that the limits of an attempt came on top of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Added {
    /// None: the plan asks for none.
    #[default]
    Nothing,
    /// The plan asks for it, and nobody knows it.
    Unknown,
    /// As the plan gives it.
    Given(Torque),
    /// As it was seen while the fastener was run down.
    Measured(Torque),
    /// As a person told it.
    Typed(Torque),
}

wire!(enum Added, 5 {
    0 => Nothing,
    1 => Unknown,
    2 => Given(torque),
    3 => Measured(torque),
    _ => Typed(torque),
});

impl Added {
    /// How much was added; `None` where nothing was, known or not.
    #[must_use]
    pub const fn torque(self) -> Option<Torque> {
        match self {
            Self::Nothing | Self::Unknown => None,
            Self::Given(torque) | Self::Measured(torque) | Self::Typed(torque) => Some(torque),
        }
    }
}

/// What is kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Record {
    /// A session began or went on after a restart.
    Started(Started),
    /// The first load of an attempt.
    Begun(Begun),
    /// A judged attempt.
    Attempt(Attempt),
    /// A step done without a measured pull.
    Done(Done),
    /// A question answered.
    Answered(Answered),
    /// A length measured.
    Measured(Measured),
    /// A wait that ended.
    Waited(Waited),
    /// A person named.
    Person(Person),
    /// A tool named.
    Tool(Tool),
    /// What is on the threads.
    Condition(Condition),
    /// Wall time told by the host. Never used for order.
    Anchor(Anchor),
    /// A zero taken or refused.
    Zero(Zero),
    /// A fastener loosened.
    Loosened(Loosened),
    /// A new fastener fitted.
    Fitted(Fitted),
    /// A step left out, with a reason.
    Skipped(Skipped),
    /// A remark.
    Noted(Noted),
    /// A decision.
    Decided(Decided),
    /// A fastener marked as final.
    Marked(Marked),
    /// A finished fastener checked again. Changes no verdict.
    Rechecked(Rechecked),
    /// A repeated pass ended.
    Pass(Pass),
    /// A named moment came.
    Moment(Moment),
    /// A later retorque became due.
    Due(Due),
    /// A mock-up was taken apart again.
    Apart(Apart),
    /// What recovery found when the journal was opened.
    Recovered(Recovered),
    /// The running torque of a fastener became known.
    Running(Running),
    /// A pull was on another fastener than it was judged for.
    Reassigned(Reassigned),
    /// What somebody recorded was not so.
    Withdrawn(Withdrawn),
    /// An attempt whose values a person read.
    Read(Read),
    /// An attempt with a tool that was set and tells no value.
    BySetting(BySetting),
    /// From here on the joint is worked to another procedure: what holds of the work done.
    Revised(Revised),
}

macro_rules! facts {
    ($($(#[$doc:meta])* $name:ident { $($(#[$field_doc:meta])* $field:ident: $type:ty,)* })*) => {
        $(
            $(#[$doc])*
            #[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
            #[cfg_attr(feature = "defmt", derive(defmt::Format))]
            pub struct $name {
                $($(#[$field_doc])* pub $field: $type,)*
            }

            wire!(struct $name { $($field),* });

            impl From<$name> for Record {
                fn from(fact: $name) -> Self {
                    Self::$name(fact)
                }
            }
        )*
    };
}

facts! {
    /// A session began or went on after a restart.
    Started {
        /// [`RULES`] of the program that decides from here on.
        rules: u16,
        /// Digest of the procedure.
        procedure: u32,
        /// Whether this is a rehearsal, on no metal.
        rehearsal: bool,
    }
    /// The first load of an attempt. Without the attempt's own record after it, that attempt was interrupted.
    Begun {
        /// The step.
        step: u16,
    }
    /// A judged attempt.
    Attempt {
        /// The step.
        step: u16,
        /// The fastener's index.
        fastener: u8,
        /// The stage's index.
        stage: u8,
        /// The n-th try of this fastener at this stage, from 1.
        attempt: u8,
        /// Pulls made.
        pulls: u8,
        /// The verdict.
        verdict: Verdict,
        /// Its reasons.
        reasons: Reasons,
        /// Highest torque.
        peak: Torque,
        /// Torque when the hand began to let go.
        final_torque: Torque,
        /// Rotation of the fastener; none where it means nothing or is unknown.
        angle: Option<Angle>,
        /// Running torque that the limits came on top of.
        prevailing: Added,
        /// Torque at which the fastener began to move again.
        restart: Option<Torque>,
        /// Digest of the trace kept beside the journal; zero where none is.
        trace: u32,
        /// From first load to judgement, in ms.
        took_ms: u32,
    }
    /// A step done without a measured pull.
    Done {
        /// The step.
        step: u16,
        /// How.
        manner: Manner,
    }
    /// A question answered.
    Answered {
        /// The step.
        step: u16,
        /// The answer.
        yes: bool,
        /// Who, or why.
        note: Text,
    }
    /// A length measured.
    Measured {
        /// The step.
        step: u16,
        /// The length.
        length: Length,
        /// Inside the window or not.
        verdict: Verdict,
    }
    /// A wait that ended.
    Waited {
        /// The step.
        step: u16,
        /// For how long, in s.
        seconds: u32,
        /// Rejected when it was too long.
        verdict: Verdict,
    }
    /// A person named.
    Person {
        /// The name.
        name: Text,
        /// Works or looks.
        role: Role,
    }
    /// A tool named.
    Tool {
        /// The tool's id in the plan.
        id: Text,
        /// Why a tool is used that is out of date or range, with the name of who allows it; empty otherwise.
        waiver: Text,
    }
    /// What is on the threads.
    Condition {
        /// In words.
        found: Text,
        /// Whether that is what the procedure assumes.
        matches: bool,
    }
    /// Wall time told by the host.
    Anchor {
        /// Seconds since 1970-01-01 00:00 UTC.
        unix_seconds: i64,
    }
    /// A zero taken or refused.
    Zero {
        /// Whether it was taken.
        taken: bool,
        /// Distance from the stored factory zero.
        offset: Torque,
    }
    /// A fastener loosened.
    Loosened {
        /// The fastener's index.
        fastener: u8,
        /// Whether another joint's work did it.
        elsewhere: bool,
        /// Why.
        cause: Text,
    }
    /// A new fastener fitted.
    Fitted {
        /// The fastener's index.
        fastener: u8,
    }
    /// A step left out.
    Skipped {
        /// The step.
        step: u16,
        /// Who and why.
        reason: Text,
    }
    /// A remark.
    Noted {
        /// The fastener's index; none for the joint.
        fastener: Option<u8>,
        /// Raises or settles a doubt, or neither.
        doubt: Doubt,
        /// In words.
        text: Text,
    }
    /// A decision about a rejected or unknown attempt.
    Decided {
        /// The step.
        step: u16,
        /// What was decided.
        decision: Decision,
        /// Who and why.
        note: Text,
    }
    /// A fastener marked as final.
    Marked {
        /// The fastener's index.
        fastener: u8,
    }
    /// A finished fastener checked again.
    Rechecked {
        /// The step whose torque was used.
        step: u16,
        /// Highest torque.
        peak: Torque,
        /// How far it moved.
        moved: Option<Angle>,
        /// Rejected when it moved.
        verdict: Verdict,
    }
    /// A repeated pass ended.
    Pass {
        /// The stage.
        stage: u8,
        /// Which pass, from 1.
        pass: u8,
        /// Fasteners that moved.
        moved: u8,
        /// What follows.
        next: AfterPass,
    }
    /// A named moment came.
    Moment {
        /// Its number in the plan.
        moment: u8,
    }
    /// A later retorque became due.
    Due {
        /// The stage.
        stage: u8,
        /// The state the engine is in.
        state: EngineState,
    }
    /// A mock-up was taken apart again.
    Apart {
        /// What was learnt.
        note: Text,
    }
    /// What recovery found when the journal was opened.
    Recovered {
        /// Bytes dropped from the torn tail.
        dropped: u32,
        /// Bytes set aside as damaged.
        quarantined: u32,
    }
    /// The running torque of a fastener became known. It holds until the fastener is loosened or replaced.
    Running {
        /// The fastener's index.
        fastener: u8,
        /// The torque; not negative.
        torque: Torque,
        /// How it came to be known.
        seen: Seen,
    }
    /// A pull was on another fastener than it was judged for. The fastener that it was recorded for stands as before it; that record
    /// stays.
    Reassigned {
        /// Number of the record that was wrong about the fastener.
        of: u32,
        /// The same pull, judged for the fastener that it was on.
        attempt: Attempt,
    }
    /// What somebody recorded was not so. Things stand as before it; that record stays.
    Withdrawn {
        /// Number of the record.
        of: u32,
        /// Why.
        reason: Text,
    }
    /// An attempt whose values a person read, judged by them. There is no curve.
    Read {
        /// The step.
        step: u16,
        /// The fastener's index.
        fastener: u8,
        /// The stage's index.
        stage: u8,
        /// The n-th try of this fastener at this stage, from 1, whatever the tries were made with.
        attempt: u8,
        /// How it was read.
        way: Way,
        /// The verdict.
        verdict: Verdict,
        /// Its reasons.
        reasons: Reasons,
        /// Highest torque, as read; none where none was read.
        torque: Option<Torque>,
        /// Rotation of the fastener, as read; none where none was read.
        angle: Option<Angle>,
        /// It was seen to move, for a stage where nothing may move.
        moved: bool,
        /// Running torque that the limits came on top of.
        prevailing: Added,
        /// Graduation or resolution and accuracy of the instrument, as its plan states them.
        stated: Text,
    }
    /// An attempt with a tool that was set and tells no value: a click wrench. What torque it came to nobody knows; what is judged is
    /// the setting.
    BySetting {
        /// The step.
        step: u16,
        /// The fastener's index.
        fastener: u8,
        /// The stage's index.
        stage: u8,
        /// The n-th try of this fastener at this stage, from 1, whatever the tries were made with.
        attempt: u8,
        /// The verdict.
        verdict: Verdict,
        /// Its reasons.
        reasons: Reasons,
        /// As set on the tool's scale.
        setting: Torque,
        /// What that setting stands for at the fastener; another value where an offset adapter is between them.
        stands_for: Torque,
        /// It was seen to move before it clicked, for a stage where nothing may move.
        moved: bool,
        /// Running torque that the limits came on top of.
        prevailing: Added,
    }
}

impl Read {
    /// What was read.
    #[must_use]
    pub const fn told(&self) -> Told {
        Told {
            torque: self.torque,
            angle: self.angle,
            moved: self.moved,
        }
    }

    /// The same as an attempt that a tool measured: what nobody read is zero, as the torque that is left is then not known.
    #[must_use]
    pub fn as_attempt(&self) -> Attempt {
        let torque = self.torque.unwrap_or(Torque::ZERO);
        Attempt {
            step: self.step,
            fastener: self.fastener,
            stage: self.stage,
            attempt: self.attempt,
            pulls: 1,
            verdict: self.verdict,
            reasons: self.reasons,
            peak: torque,
            final_torque: torque,
            angle: self.angle,
            prevailing: self.prevailing,
            restart: None,
            trace: 0,
            took_ms: 0,
        }
    }
}

impl BySetting {
    /// What the setting stands for.
    #[must_use]
    pub const fn told(&self) -> Told {
        Told {
            torque: Some(self.stands_for),
            angle: None,
            moved: self.moved,
        }
    }

    /// The same as an attempt that a tool measured, what the setting stands for in the place of the torque.
    #[must_use]
    pub const fn as_attempt(&self) -> Attempt {
        Attempt {
            step: self.step,
            fastener: self.fastener,
            stage: self.stage,
            attempt: self.attempt,
            pulls: 1,
            verdict: self.verdict,
            reasons: self.reasons,
            peak: self.stands_for,
            final_torque: self.stands_for,
            angle: None,
            prevailing: self.prevailing,
            restart: None,
            trace: 0,
            took_ms: 0,
        }
    }
}

/// What holds of the work done when a joint goes on under another procedure: one record of the joint, then one of each fastener of
/// the new procedure. Everything that stood before them is replaced by what they say; nothing is judged again. In `steps`, one byte a
/// stage: the state in the upper three bits (0 open, 1 done, 2 unmeasured, 3 waived, 4 rejected, 5 doubtful, 6 disturbed), attempts in
/// the lower five.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Revised {
    /// Of the joint as a whole; always first.
    Joint {
        /// Digest of the procedure from here on.
        procedure: u32,
        /// Records of fasteners that follow.
        fasteners: u8,
        /// For each stage the stage of the procedure before that it is; 255 for none.
        stages: [u8; STAGES_MAX],
        /// What was found on the threads matches, or not; none where nobody said, or something else is asked for now.
        condition: Option<bool>,
        /// The mock-up was taken apart.
        apart: bool,
        /// Moments that came, a bit each; when, is not known any more.
        moments: u8,
        /// Later retorques that are due, a bit a stage.
        due: u16,
        /// Passes of a repeated stage that are made.
        pass: u8,
        /// Fasteners that moved in this one.
        moved: u8,
        /// The stage whose passes ended with fasteners still moving.
        not_converged: Option<u8>,
        /// The step judged last, where it is still asked for.
        judged: Option<u16>,
        /// Its reasons.
        reasons: Reasons,
        /// The steps of no fastener.
        steps: [u8; STAGES_MAX],
    },
    /// Of one fastener.
    Fastener {
        /// Its index.
        fastener: u8,
        /// Its index in the procedure before; 255 for a new one.
        from: u8,
        /// Bits: 0 tight, 1 to be loosened, 2 to be replaced, 3 a decision is waited for, 4 felt wrong, 5 marked, 6 a new one, 7 its
        /// running torque is wanted.
        flags: u8,
        /// Tightenings.
        cycles: u8,
        /// Sum of its angles, in tenths of a degree.
        turned: u16,
        /// Torque left on it, in tenths of N·m; 0 where nobody knows.
        left_at: u16,
        /// Running torque: twice its mN·m, one more if it was typed, and one; 0 where it is not known.
        running: u32,
        /// Its steps.
        steps: [u8; STAGES_MAX],
    },
}

wire!(enum Revised, 2 {
    0 => Joint { procedure, fasteners, stages, condition, apart, moments, due, pass, moved, not_converged, judged, reasons, steps },
    _ => Fastener { fastener, from, flags, cycles, turned, left_at, running, steps },
});

impl From<Revised> for Record {
    fn from(fact: Revised) -> Self {
        Self::Revised(fact)
    }
}

/// Version 1 of [`Attempt`], which said only a running torque that was measured.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct AttemptV1 {
    step: u16,
    fastener: u8,
    stage: u8,
    attempt: u8,
    pulls: u8,
    verdict: Verdict,
    reasons: Reasons,
    peak: Torque,
    final_torque: Torque,
    angle: Option<Angle>,
    prevailing: Option<Torque>,
    restart: Option<Torque>,
    trace: u32,
    took_ms: u32,
}

wire!(struct AttemptV1 {
    step,
    fastener,
    stage,
    attempt,
    pulls,
    verdict,
    reasons,
    peak,
    final_torque,
    angle,
    prevailing,
    restart,
    trace,
    took_ms,
});

impl From<AttemptV1> for Attempt {
    fn from(old: AttemptV1) -> Self {
        Self {
            step: old.step,
            fastener: old.fastener,
            stage: old.stage,
            attempt: old.attempt,
            pulls: old.pulls,
            verdict: old.verdict,
            reasons: old.reasons,
            peak: old.peak,
            final_torque: old.final_torque,
            angle: old.angle,
            prevailing: old.prevailing.map_or(Added::Nothing, Added::Measured),
            restart: old.restart,
            trace: old.trace,
            took_ms: old.took_ms,
        }
    }
}

/// Whether a remark raises or settles a doubt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Doubt {
    /// Neither.
    None,
    /// It felt wrong: the fastener is suspect until settled.
    Raised,
    /// Looked at and found good.
    Settled,
}

wire!(enum Doubt, 3 {
    0 => None,
    1 => Raised,
    _ => Settled,
});

/// What follows a repeated pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AfterPass {
    /// Nothing moved, and the least number of passes is made.
    Converged,
    /// Once more.
    Again,
    /// The most passes are made and something still moves.
    NotConverged,
}

wire!(enum AfterPass, 3 {
    0 => Converged,
    1 => Again,
    _ => NotConverged,
});

impl Record {
    /// The kind's number in the journal. Numbers from 128 belong to hosts.
    #[must_use]
    pub const fn kind(&self) -> u8 {
        match self {
            Self::Started(_) => 1,
            Self::Begun(_) => 2,
            Self::Attempt(_) => 3,
            Self::Done(_) => 4,
            Self::Answered(_) => 5,
            Self::Measured(_) => 6,
            Self::Waited(_) => 7,
            Self::Person(_) => 8,
            Self::Tool(_) => 9,
            Self::Condition(_) => 10,
            Self::Anchor(_) => 11,
            Self::Zero(_) => 12,
            Self::Loosened(_) => 13,
            Self::Fitted(_) => 14,
            Self::Skipped(_) => 15,
            Self::Noted(_) => 16,
            Self::Decided(_) => 17,
            Self::Marked(_) => 18,
            Self::Rechecked(_) => 19,
            Self::Pass(_) => 20,
            Self::Moment(_) => 21,
            Self::Due(_) => 22,
            Self::Apart(_) => 23,
            Self::Recovered(_) => 24,
            Self::Running(_) => 25,
            Self::Read(_) => 26,
            Self::BySetting(_) => 27,
            Self::Reassigned(_) => 28,
            Self::Withdrawn(_) => 29,
            Self::Revised(_) => 30,
        }
    }

    /// The judged attempt that it holds, for the fastener that was pulled.
    #[must_use]
    pub const fn attempt(&self) -> Option<&Attempt> {
        match self {
            Self::Attempt(attempt) => Some(attempt),
            Self::Reassigned(own) => Some(&own.attempt),
            _ => None,
        }
    }

    /// The number of the record, of the same joint, that this one says was not so.
    #[must_use]
    pub const fn puts_right(&self) -> Option<u32> {
        match self {
            Self::Reassigned(own) => Some(own.of),
            Self::Withdrawn(own) => Some(own.of),
            _ => None,
        }
    }

    /// The version of its kind that is written.
    #[must_use]
    pub const fn version(&self) -> u8 {
        match self {
            Self::Attempt(_) => 2,
            _ => 1,
        }
    }
}
