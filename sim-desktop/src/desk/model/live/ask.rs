//! What is asked about the adapter, and what is said to it: whether it works the joint in hand, and whatever a person says of that joint.
//!
//! Knows nothing of how the line is kept up.

use std::collections::BTreeMap;

use evendraw_core::record::{Entry, Record, Role};
use evendraw_core::session::{Input, Next};

use super::super::super::act::Act;
use super::super::super::view::{Heard, Prompt};
use super::super::prompt::{question, yes_or_no};
use super::super::{Model, Readings};
use crate::job::Job;
use crate::link::Order;
use crate::quantity::newton_meters;
use crate::store::entries_of;
use crate::words;

impl Model {
    /// Whether the joint in hand may be left to the adapter, and nobody said yet that it should not.
    pub(in crate::desk::model) fn asks_about_adapter(&self) -> bool {
        self.job
            .as_ref()
            .zip(self.open)
            .is_some_and(|(job, joint)| {
                self.may_send(job, joint)
                    // One that was begun here is sent when somebody says so, not before.
                    && (job.adapter(joint).is_some() || job.may_leave(joint).is_ok())
                    && self
                        .line()
                        .is_some_and(|own| !own.declined.contains(&joint))
            })
    }

    pub(in crate::desk::model) fn may_send(&self, job: &Job, joint: u8) -> bool {
        let Readings::Adapter(connection) = &self.readings else {
            return false;
        };
        let serial = connection.adapter.as_ref().map(|own| own.serial.as_str());
        match job.adapter(joint) {
            // It has the joint, and works another one now.
            Some(own) => {
                Some(own) == serial
                    && connection.heard == Heard::Connected
                    && connection.caught_up
                    && connection.working != Some(joint)
            }
            None => job.may_carry(joint).is_ok(),
        }
    }

    /// What is asked about the adapter before the joint in hand is worked.
    pub(in crate::desk::model) fn prompt_about_adapter(
        &self,
        job: &Job,
        joint: u8,
    ) -> Option<Prompt> {
        let connection = self.line()?;
        let adapter = connection.adapter.as_ref()?;
        if connection.heard != Heard::Connected
            || !connection.caught_up
            || !self.asks_about_adapter()
        {
            return None;
        }
        if connection.sending == Some(joint) {
            return None;
        }
        let title = job.joint(joint)?.title();
        let unit = job.plan().build().unit.as_deref();
        let unit = unit.map_or_else(String::new, |unit| format!(", {unit}"));
        let serial = &adapter.serial;
        let (words, otherwise) = if connection.of_this_unit == Some(joint) {
            let count = connection.waiting.get(&joint).map_or(0, Vec::len);
            (
                format!(
                    "Adapter {serial} holds {count} records of this joint already. Are they of this unit{unit}?"
                ),
                "No leaves them there: fetch them into a journal of their own first.",
            )
        } else if job.adapter(joint).is_some() {
            (
                format!("Adapter {serial} works another joint. Go on with {title} there?"),
                "",
            )
        } else {
            (
                format!("Send {title} to adapter {serial} and work it there?"),
                "No works it at the desk, from trace files.",
            )
        };
        Some(question(
            "Adapter",
            words,
            otherwise,
            yes_or_no(Act::AtAdapter(true), Act::AtAdapter(false)),
        ))
    }

    /// Answers that question.
    pub(in crate::desk::model) fn answer_about_adapter(&mut self, yes: bool) {
        if !self.begin_journal() {
            return;
        }
        let (Readings::Adapter(connection), Some(joint)) = (&mut self.readings, self.open) else {
            return;
        };
        if yes {
            self.send_joint();
        } else if connection.of_this_unit.take() == Some(joint) {
            self.say(
                true,
                "nothing is taken. Fetch those records into a journal of their own (`evendraw adapter PORT pull`), then have the adapter forget them",
            );
        } else {
            connection.declined.insert(joint);
            self.enter();
        }
    }

    /// Has the adapter work the joint in hand.
    pub(in crate::desk::model) fn send_joint(&mut self) {
        if !self.begin_journal() {
            return;
        }
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return self.say(true, "open the joint first");
        };
        let held = job.held(joint);
        if let Some(first) = held.first() {
            let words = first.to_string();
            return self.say(true, words);
        }
        if job.adapter(joint).is_none()
            && let Err(error) = job.may_carry(joint)
        {
            return self.say(true, error.to_string());
        }
        let made = job
            .joint(joint)
            .zip(job.answers(joint))
            .and_then(|(own, answers)| own.procedure(answers).ok());
        let Some(procedure) = made else { return };
        let left = job.adapter(joint).is_some();
        let Readings::Adapter(connection) = &mut self.readings else {
            return self.say(true, "no adapter is connected: F11");
        };
        if connection.heard != Heard::Connected || !connection.caught_up {
            return self.say(true, "the adapter does not answer yet");
        }
        let capacity = connection.adapter.as_ref().map(|own| own.capacity);
        let highest = procedure
            .numbered_steps()
            .filter_map(|(step, _)| Some(procedure.torque_window(step)?.target))
            .max();
        if let (Some(highest), Some(capacity)) = (highest, capacity)
            && highest > capacity
        {
            return self.say(
                true,
                format!(
                    "this joint goes up to {:.1} N·m, and the adapter bears {:.1} N·m: take another",
                    newton_meters(highest),
                    newton_meters(capacity)
                ),
            );
        }
        let digest = procedure.digest();
        let is_begun = entries_of(job.facts(), joint).next().is_some();
        let carried = match lacking(job, joint, &connection.there) {
            Ok(carried) => carried,
            Err(words) => return self.say(true, words),
        };
        // The adapter may hold records under this number: of another procedure, or of this one on another unit.
        let started = connection
            .waiting
            .get(&joint)
            .filter(|_| !is_begun)
            .and_then(|entries| entries.iter().rev().find_map(started_with));
        match started {
            Some(other) if other != digest => {
                return self.say(
                    true,
                    "the adapter holds records of another joint under this number: fetch them (`evendraw adapter PORT pull`), \
                     then have it forget them",
                );
            }
            Some(_) if !left && connection.of_this_unit != Some(joint) => {
                connection.of_this_unit = Some(joint);
                self.dirty = true;
                return;
            }
            _ => {}
        }
        let mut room = vec![0; 16 * 1024];
        match procedure.encode(&mut room) {
            Ok(blob) => {
                if is_begun && !left {
                    // From here on the desk makes none of its records, whatever becomes of the line.
                    let serial = connection
                        .adapter
                        .as_ref()
                        .map_or_else(String::new, |own| own.serial.clone());
                    let given = self
                        .job
                        .as_mut()
                        .map(|job| job.carry_to_adapter(joint, &serial));
                    if let Some(Err(error)) = given {
                        return self.say(true, error.to_string());
                    }
                }
                connection.sending = Some(joint);
                connection.declined.remove(&joint);
                connection.follower.order(Order::Work {
                    joint,
                    blob: blob.to_vec(),
                    digest,
                    carried,
                });
                self.say(false, "sending the procedure");
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    /// The desk goes on with the joint in hand.
    pub(in crate::desk::model) fn take_back(&mut self) {
        let (Some(job), Some(joint)) = (&mut self.job, self.open) else {
            return;
        };
        match job.take_back(joint) {
            Ok(()) => {
                if let Readings::Adapter(connection) = &mut self.readings {
                    connection.declined.insert(joint);
                }
                self.say(
                    true,
                    "worked at the desk from here on: what the adapter records of it later is not taken",
                );
                self.enter();
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    /// An answer or a remark for the joint that the adapter works: its session takes it, and makes the record.
    pub(in crate::desk::model) fn tell_adapter(&mut self, input: Input<'_>) {
        let (Some(job), Some(joint), false) = (&mut self.job, self.open, input == Input::Tick)
        else {
            return;
        };
        let heard = match &self.readings {
            Readings::Adapter(own)
                if own.heard == Heard::Connected && own.working == Some(joint) =>
            {
                Some(own)
            }
            _ => None,
        };
        let Some(connection) = heard else {
            return self.say(
                true,
                "this joint is worked at an adapter that is not heard now: F11",
            );
        };
        if let Some(refusal) = job.would_refuse(joint, input) {
            return self.say(true, words::refusal(refusal));
        }
        let Some(order) = Order::tell(&input) else {
            return self.say(true, "the adapter is the tool, and names itself");
        };
        connection.follower.order(order);
        if let Input::Person {
            name,
            role: Role::Operator,
        } = input
        {
            job.remember_person(name);
        }
    }

    /// The adapter has no room for the comparison: the desk makes it, and the adapter's session records the doubt.
    pub(in crate::desk::model) fn tell_peers(&mut self, joint: u8) {
        let (Some(job), Readings::Adapter(connection)) = (&self.job, &mut self.readings) else {
            return;
        };
        if connection.heard != Heard::Connected || connection.working != Some(joint) {
            return;
        }
        for remark in job.peers_due(joint) {
            let input = Input::Note {
                fastener: Some(remark.fastener),
                doubt: remark.doubt(),
                text: &remark.text,
            };
            if let Some(order) = Order::tell(&input)
                && connection.told.insert((joint, remark.clone()))
            {
                connection.follower.order(order);
            }
        }
    }

    /// Who works is said again for each joint, so that its records stand alone.
    pub(in crate::desk::model) fn name_person(&mut self) {
        let name = self
            .job
            .as_ref()
            .and_then(|job| job.person().map(str::to_owned));
        if let (Some(name), Some(Next::Person)) = (name, self.next()) {
            self.tell_adapter(Input::Person {
                name: &name,
                role: Role::Operator,
            });
        }
    }
}

/// The records of a joint that the adapter lacks.
fn lacking(
    job: &Job,
    joint: u8,
    there: &BTreeMap<(u8, u32), Entry>,
) -> Result<Vec<Entry>, &'static str> {
    let mut own = entries_of(job.facts(), joint).peekable();
    if own.peek().is_none() {
        return Ok(Vec::new());
    }
    let own: BTreeMap<u32, &Entry> = own.map(|entry| (entry.seq, entry)).collect();
    let mut theirs = there.range((joint, 0)..=(joint, u32::MAX));
    if theirs.any(|((_, seq), entry)| own.get(seq) != Some(&entry)) {
        return Err(
            "the adapter has records of a joint of this number that are not in this journal: it stays at the desk, or goes to another adapter",
        );
    }
    let last = there
        .range((joint, 0)..=(joint, u32::MAX))
        .next_back()
        .map_or(0, |((_, seq), _)| *seq);
    Ok(own
        .range(last.saturating_add(1)..)
        .map(|(_, entry)| (*entry).clone())
        .collect())
}

/// The procedure's digest, where the record is a start.
fn started_with(entry: &Entry) -> Option<u32> {
    match &entry.record {
        Record::Started(started) => Some(started.procedure),
        _ => None,
    }
}
