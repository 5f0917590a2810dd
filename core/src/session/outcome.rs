//! What the host must do: signals, records to store, and what is next.

use crate::limits::ENTRIES_MAX;
use crate::record::Entry;
use crate::tracker::Cue;
use crate::unit::Instant;
use crate::verdict::{Reason, Reasons, Verdict};

use super::Refusal;

/// An attempt whose record is safe: now it may be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Announcement {
    /// The record's number.
    pub seq: u32,
    /// The step.
    pub step: u16,
    /// The verdict.
    pub verdict: Verdict,
    /// Its reasons.
    pub reasons: Reasons,
}

/// What to do now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Next {
    /// Send [`Input::Start`](super::Input::Start).
    Start,
    /// Get the pending records stored.
    Store,
    /// Name who works.
    Person,
    /// Name the tool.
    Tool,
    /// Say what is on the threads; or put it right.
    Condition,
    /// Pull the adapter.
    Pull {
        /// The step.
        step: u16,
    },
    /// Do it by hand and confirm.
    Hand {
        /// The step.
        step: u16,
    },
    /// Fit a new fastener, as the stage wants.
    Fit {
        /// The step.
        step: u16,
    },
    /// Answer the question.
    Answer {
        /// The step.
        step: u16,
    },
    /// Measure a length.
    Measure {
        /// The step.
        step: u16,
    },
    /// Say when the moment comes.
    Moment {
        /// The step that waits for it.
        step: u16,
        /// Its number.
        moment: u8,
    },
    /// Let time pass.
    Wait {
        /// The step.
        step: u16,
        /// When it is over.
        until: Instant,
    },
    /// Loosen the fastener fully.
    Loosen {
        /// Its index.
        fastener: u8,
    },
    /// Fit a new fastener instead of a spent or spoilt one.
    Replace {
        /// Its index.
        fastener: u8,
    },
    /// Decide about a rejected or unknown attempt.
    Decide {
        /// The step.
        step: u16,
    },
    /// Look at the fastener that felt wrong.
    Settle {
        /// Its index.
        fastener: u8,
    },
    /// Take the mock-up apart.
    TakeApart,
    /// Nothing, until the retorque is due.
    AwaitDue {
        /// The stage.
        stage: u8,
    },
    /// Nothing: every step is settled.
    Nothing,
}

impl Next {
    /// The step that it is about, where it is about one.
    #[must_use]
    pub const fn step(self) -> Option<u16> {
        match self {
            Self::Pull { step }
            | Self::Hand { step }
            | Self::Fit { step }
            | Self::Answer { step }
            | Self::Measure { step }
            | Self::Moment { step, .. }
            | Self::Wait { step, .. }
            | Self::Decide { step } => Some(step),
            Self::Start
            | Self::Store
            | Self::Person
            | Self::Tool
            | Self::Condition
            | Self::Loosen { .. }
            | Self::Replace { .. }
            | Self::Settle { .. }
            | Self::TakeApart
            | Self::AwaitDue { .. }
            | Self::Nothing => None,
        }
    }
}

/// What the host must do.
#[derive(Debug, Default)]
pub struct Outcome {
    /// Stop pulling, at once. Never waits for storage.
    pub halt: Option<Reason>,
    /// What to signal while pulling.
    pub cue: Cue,
    /// A verdict whose record is safe.
    pub announce: Option<Announcement>,
    /// The input was refused.
    pub refusal: Option<Refusal>,
    pub(super) entries: heapless::Vec<Entry, ENTRIES_MAX>,
}

impl Outcome {
    /// The records to store, in this order.
    #[must_use]
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    pub(super) fn clear(&mut self) {
        self.halt = None;
        self.cue = Cue::None;
        self.announce = None;
        self.refusal = None;
        self.entries.clear();
    }
}
