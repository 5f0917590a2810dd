//! Who works with what, as the records come.
//!
//! Knows nothing of what is done.

use std::collections::BTreeMap;

use evendraw_core::record::{Entry, Record, Role};

/// The person and the tool in hand at each joint.
#[derive(Clone, Debug, Default)]
pub(crate) struct Hands {
    person: BTreeMap<u8, String>,
    tool: BTreeMap<u8, String>,
}

impl Hands {
    /// Takes the next record.
    pub(crate) fn take(&mut self, entry: &Entry) {
        match &entry.record {
            // Whoever starts the program again names the tool again.
            Record::Started(_) => {
                self.tool.remove(&entry.joint);
            }
            Record::Person(own) if own.role == Role::Operator => {
                self.person.insert(entry.joint, own.name.to_string());
            }
            Record::Tool(own) => {
                self.tool.insert(entry.joint, own.id.to_string());
            }
            _ => {}
        }
    }

    /// Who works at a joint; empty before anybody said.
    pub(crate) fn person(&self, joint: u8) -> &str {
        self.person.get(&joint).map_or("", String::as_str)
    }

    /// Id of the tool that a joint is worked with; empty before anybody said.
    pub(crate) fn tool(&self, joint: u8) -> &str {
        self.tool.get(&joint).map_or("", String::as_str)
    }
}
