//! Who works with what, as the records come.
//!
//! Knows nothing of what is done.

use std::collections::BTreeMap;

use evendraw_core::record::{Entry, Record, Role};

/// The tool in hand at one joint, record by record; or who works there.
#[derive(Clone, Copy, Debug)]
pub(crate) struct InHand<T> {
    tool: Option<T>,
    pull: Pull,
}

/// The pull in progress, as far as the tool in hand is concerned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Pull {
    None,
    Begun,
    /// The program was started again in the middle of it: what it was cut short at is recorded next, and it was this tool's.
    Cut,
    Told,
}

impl<T> Default for InHand<T> {
    fn default() -> Self {
        Self {
            tool: None,
            pull: Pull::None,
        }
    }
}

impl<T> InHand<T> {
    /// Takes the next record of the joint; `find` finds a tool by its id.
    pub(crate) fn take(&mut self, record: &Record, find: impl FnOnce(&str) -> Option<T>) {
        self.follow(record);
        if let Record::Tool(named) = record {
            self.tool = find(named.id.as_str());
        }
    }

    /// As [`InHand::take`], for whoever works.
    fn take_person(&mut self, record: &Record, find: impl FnOnce(&str) -> Option<T>) {
        self.follow(record);
        if let Record::Person(named) = record
            && named.role == Role::Operator
        {
            self.tool = find(named.name.as_str());
        }
    }

    fn follow(&mut self, record: &Record) {
        if self.pull == Pull::Told {
            *self = Self::default();
        }
        match record {
            Record::Begun(_) => self.pull = Pull::Begun,
            Record::Started(_) if self.pull == Pull::Begun => self.pull = Pull::Cut,
            // Whoever starts the program again says who works, and names the tool again.
            Record::Started(_) => self.tool = None,
            Record::Attempt(_) if self.pull == Pull::Cut => self.pull = Pull::Told,
            Record::Attempt(_) => self.pull = Pull::None,
            _ => {}
        }
    }

    /// It; none where nobody named one, or it was not found.
    pub(crate) const fn tool(&self) -> Option<&T> {
        self.tool.as_ref()
    }
}

/// The person and the tool in hand at each joint.
#[derive(Clone, Debug, Default)]
pub(crate) struct Hands {
    person: BTreeMap<u8, InHand<String>>,
    tool: BTreeMap<u8, InHand<String>>,
}

impl Hands {
    /// Takes the next record.
    pub(crate) fn take(&mut self, entry: &Entry) {
        let tool = self.tool.entry(entry.joint).or_default();
        tool.take(&entry.record, |id| Some(id.to_owned()));
        let person = self.person.entry(entry.joint).or_default();
        person.take_person(&entry.record, |name| Some(name.to_owned()));
    }

    /// Who works at a joint; empty before anybody said since the program was started.
    pub(crate) fn person(&self, joint: u8) -> &str {
        let person = self.person.get(&joint).and_then(InHand::tool);
        person.map_or("", String::as_str)
    }

    /// Id of the tool that a joint is worked with; empty before anybody said since then.
    pub(crate) fn tool(&self, joint: u8) -> &str {
        let tool = self.tool.get(&joint).and_then(InHand::tool);
        tool.map_or("", String::as_str)
    }
}
