//! What the desktop keeps in the journal beside the core's records.

use serde::{Deserialize, Serialize};

/// Kind number of every host fact.
pub(super) const KIND: u8 = evendraw_core::journal::HOST_KINDS;
/// Version of the host facts that this code writes.
pub(super) const VERSION: u8 = 1;

/// Bytes of one piece of the plan's text.
pub const PLAN_PIECE_MAX: usize = 400;

/// A fact of the desktop. New ones are added at the end; none is ever changed or taken out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum HostFact {
    /// Always first: what this journal is.
    Opened {
        /// Of a rehearsal, on no metal.
        rehearsal: bool,
        /// File name of the plan.
        plan_name: String,
        /// Bytes of the plan's text.
        plan_bytes: u32,
    },
    /// A piece of the plan as typed.
    Plan {
        /// The text.
        text: String,
    },
    /// A question of a variant answered.
    Variant {
        /// The joint's number.
        joint: u8,
        /// The question.
        question: String,
        /// The answer.
        answer: String,
    },
    /// A part is here.
    PartArrived {
        /// Its name in the plan.
        part: String,
    },
    /// What is between tool and fastener from here on.
    Geometry {
        /// The joint's number.
        joint: u8,
        /// Lever of the tool, in µm.
        lever_um: u32,
        /// Length of the offset adapter, in µm; 0 for none.
        offset_um: u32,
        /// Angle of the offset adapter, in millidegrees; 0 in line.
        angle_mdeg: u32,
    },
    /// A remark for whoever goes on.
    Handover {
        /// In words.
        text: String,
    },
    /// Clamp load of a fastener on the virtual bench, after a pass.
    Clamp {
        /// The joint's number.
        joint: u8,
        /// The fastener's index.
        fastener: u8,
        /// The stage just done.
        stage: u8,
        /// In N.
        newtons: u32,
    },
    /// The plan was changed: what follows is worked to this text, what stands before to the earlier one.
    PlanChanged {
        /// File name of the plan.
        plan_name: String,
        /// Bytes of the text that follows in pieces.
        plan_bytes: u32,
    },
    /// A part is not here after all.
    PartMissing {
        /// Its name in the plan.
        part: String,
    },
    /// From here on the joint's records are made by this adapter, and none here.
    AtAdapter {
        /// The joint's number.
        joint: u8,
        /// Serial number of the adapter; empty when the joint is worked at the desk again.
        serial: String,
    },
    /// A task was said to be done.
    TaskDone {
        /// Its id.
        task: String,
        /// Who says so.
        by: String,
        /// Seconds since 1970; 0 where the time is unknown.
        unix: i64,
        /// The answer to what it asks, or a remark.
        said: String,
    },
    /// A task that was done is to be done again.
    TaskUndone {
        /// Its id.
        task: String,
        /// Who says so.
        by: String,
        /// Seconds since 1970; 0 where the time is unknown.
        unix: i64,
        /// Why.
        said: String,
    },
    /// How it is with a part.
    PartIs {
        /// Its name in the plan.
        part: String,
        /// How it is.
        state: PartState,
        /// Who says so.
        by: String,
        /// Seconds since 1970; 0 where the time is unknown.
        unix: i64,
        /// Where and when it was ordered, what is wrong with it.
        said: String,
    },
    /// A line not to be forgotten.
    Reminder {
        /// Its number, from 1.
        number: u32,
        /// Id of the joint or task it belongs to; empty for the build.
        about: String,
        /// The line.
        text: String,
        /// What it holds up; empty where it holds nothing up.
        holds: String,
        /// Who wrote it.
        by: String,
        /// Seconds since 1970; 0 where the time is unknown.
        unix: i64,
    },
    /// A reminder is put away.
    ReminderClosed {
        /// Its number.
        number: u32,
        /// What became of it.
        became: Became,
        /// Name of the part or title of the task that it became; a remark where it was ticked.
        said: String,
        /// Who put it away.
        by: String,
        /// Seconds since 1970; 0 where the time is unknown.
        unix: i64,
    },
    /// A row of a working sheet is typed back: up to the next one, or the next start of the joint's session, its records come from there.
    FromPaper {
        /// The joint's number.
        joint: u8,
        /// The day that stands on the paper; empty where there is none.
        date: String,
        /// The row as it was typed; empty once no more is typed back.
        row: String,
    },
}

/// How it is with a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum PartState {
    /// Not here, and nobody has looked for it.
    Needed,
    /// It must be ordered.
    ToOrder,
    /// It is on its way.
    Ordered,
    /// At hand.
    Here,
    /// In its place.
    Fitted,
    /// Here, and the wrong one.
    Wrong,
}

impl PartState {
    /// Every state, in the order in which a part goes through them.
    pub const ALL: [Self; 6] = [
        Self::Needed,
        Self::ToOrder,
        Self::Ordered,
        Self::Here,
        Self::Fitted,
        Self::Wrong,
    ];

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Needed => "needed",
            Self::ToOrder => "to order",
            Self::Ordered => "ordered",
            Self::Here => "here",
            Self::Fitted => "fitted",
            Self::Wrong => "wrong part",
        }
    }

    /// Whether work can go on with it.
    #[must_use]
    pub const fn is_here(self) -> bool {
        matches!(self, Self::Here | Self::Fitted)
    }
}

/// What became of a reminder.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Became {
    /// It is settled.
    Ticked,
    /// A part to order.
    Part,
    /// A task.
    Task,
}
