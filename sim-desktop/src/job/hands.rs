//! Who works and with what: said once, and in the records of every joint that is worked so.
//!
//! One person has one tool in hand and goes from joint to joint with it; each joint's records stand alone, and must say so before the
//! first act there. Knows nothing of what is done.

use evendraw_core::record::Role;
use evendraw_core::session::Input;
use evendraw_core::unit::{Instant, Torque};

use super::{Done, Job};

/// From here on a reading is a hand on the tool, and no rest.
const LOAD: Torque = Torque::from_millinewton_meters(500);

/// As a joint's records of this start say.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Named {
    person: Option<String>,
    /// Its id, and why it is used all the same.
    tool: Option<(String, String)>,
}

impl Job {
    /// Before something is done at a joint: where another person or tool came to hand at another joint since, its records say so
    /// first. A tool is named before it is used.
    pub(super) fn name_hands(
        &mut self,
        joint: u8,
        at: Instant,
        input: &Input<'_>,
        done: &mut Done,
    ) {
        let (is_act, is_use) = match input {
            Input::Sample(sample) => (false, sample.torque.abs() >= LOAD),
            Input::TorqueAlone(torque) => (false, torque.abs() >= LOAD),
            Input::Read { .. } | Input::BySetting { .. } => (true, true),
            Input::Confirm { step } => {
                let stage = self
                    .session(joint)
                    .and_then(|session| session.procedure().stage_of(*step));
                (true, stage.is_some_and(|stage| stage.kind.is_pulled()))
            }
            Input::Tick | Input::Person { .. } | Input::Tool { .. } => return,
            _ => (true, false),
        };
        if !is_act && !is_use || self.is_in_pull(joint) {
            return;
        }
        self.name_person(joint, at, done);
        if is_use {
            self.name_tool(joint, at, done);
        }
    }

    pub(super) fn name_person(&mut self, joint: u8, at: Instant, done: &mut Done) {
        let named = self.named.entry(joint).or_default();
        if self.person.is_none() || named.person == self.person {
            return;
        }
        named.person.clone_from(&self.person);
        let name = self.person.clone().unwrap_or_default();
        let role = Role::Operator;
        self.send(joint, at, Input::Person { name: &name, role }, done);
    }

    pub(super) fn name_tool(&mut self, joint: u8, at: Instant, done: &mut Done) {
        let named = self.named.entry(joint).or_default();
        if self.tool.is_none() || named.tool == self.tool {
            return;
        }
        named.tool.clone_from(&self.tool);
        let (id, waiver) = self.tool.clone().unwrap_or_default();
        let (id, waiver) = (id.as_str(), waiver.as_str());
        self.send(joint, at, Input::Tool { id, waiver }, done);
    }

    /// What is said of person and tool at the joint itself.
    pub(super) fn note_named(&mut self, joint: u8, input: &Input<'_>) {
        let is_named = matches!(
            input,
            Input::Person {
                role: Role::Operator,
                ..
            } | Input::Tool { .. }
        );
        if !is_named {
            return;
        }
        let named = self.named.entry(joint).or_default();
        match input {
            Input::Person { .. } => named.person.clone_from(&self.person),
            _ => named.tool.clone_from(&self.tool),
        }
    }
}
