//! What a record or a fact of the desktop says: its words, its keys for scripts, its mark, and the list that it belongs to.
//!
//! The one place that looks into records to tell of them. Records carry numbers only; [`Names`] puts names to them. Knows nothing of
//! files or drawing.

mod attempt;
mod host;
mod names;
mod record;
mod scripts;
mod sure;

use serde_json::Value;

use crate::mark::Mark;

pub use attempt::{attempt_line, told_words, verdict_mark};
pub use host::tell_host;
pub use names::Names;
pub use record::{line, tell};
pub use scripts::{CSV_HEADER, csv, object, objects, told_object};
pub use sure::Sure;

pub(super) use attempt::{how_words, read_words, setting_words};
pub(crate) use scripts::quoted;

/// What a fact is about, within its joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// The joint.
    Joint,
    /// A fastener, by index.
    Fastener(u8),
    /// A stage, by index.
    Stage(u8),
    /// A step.
    Step(u16),
}

/// The list that a fact belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum List {
    /// None: it goes without saying.
    None,
    /// What should be known beside the states.
    Notes,
    /// What was done again.
    Redone,
    /// What is out of the ordinary.
    Exceptions,
}

/// What one record says.
#[derive(Clone, Debug)]
pub struct Telling {
    /// Its kind, as scripts know it.
    pub kind: &'static str,
    /// What it is about.
    pub about: About,
    /// In words, without the place.
    pub words: String,
    /// Its state, where it has one.
    pub mark: Option<Mark>,
    /// The list that it belongs to.
    pub list: List,
    fields: Vec<(&'static str, Value)>,
}

impl Telling {
    fn new(kind: &'static str, about: About, words: impl Into<String>) -> Self {
        Self {
            kind,
            about,
            words: words.into(),
            mark: None,
            list: List::None,
            fields: Vec::new(),
        }
    }

    fn with(mut self, key: &'static str, value: impl Into<Value>) -> Self {
        self.fields.push((key, value.into()));
        self
    }

    fn marked(mut self, mark: Mark) -> Self {
        self.mark = Some(mark);
        self
    }

    fn on(mut self, list: List) -> Self {
        self.list = list;
        self
    }

    /// Among the exceptions, in this state, unless all is well.
    fn unless(self, is_well: bool, mark: Mark) -> Self {
        if is_well {
            self.marked(Mark::Accepted)
        } else {
            self.marked(mark).on(List::Exceptions)
        }
    }
}

impl About {
    /// The fastener and the stage, by index, as far as they apply.
    #[must_use]
    pub fn place(self, names: &Names, joint: u8) -> (Option<u8>, Option<u8>) {
        match self {
            Self::Joint => (None, None),
            Self::Fastener(fastener) => (Some(fastener), None),
            Self::Stage(stage) => (None, Some(stage)),
            Self::Step(step) => names
                .step(joint, step)
                .map_or((None, None), |(fastener, stage)| (fastener, Some(stage))),
        }
    }
}

/// `fastener 4, stage 2`, as far as each applies; empty for the joint as a whole.
#[must_use]
pub fn place(names: &Names, joint: u8, about: About) -> String {
    let (fastener, stage) = about.place(names, joint);
    let fastener = fastener.map(|own| format!("fastener {}", names.fastener(joint, own)));
    let stage = stage.map(|own| format!("stage {}", u32::from(own) + 1));
    let parts: Vec<String> = fastener.into_iter().chain(stage).collect();
    parts.join(", ")
}
