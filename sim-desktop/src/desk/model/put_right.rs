//! What was recorded wrong, put right: taken back at once, withdrawn with a reason, or a pull that was on another fastener.
//!
//! Nothing is erased. Knows nothing of drawing.

use evendraw_core::record::{Entry, Record};
use evendraw_core::session::Input;

use super::super::view::{CanPutRight, Notice};
use super::Model;
use super::act::short;
use crate::job::status::telling::line;
use crate::store::{Fact, HostFact};

/// For how long what a key recorded is said, with the key that takes it back.
const TAKE_BACK_S: f64 = 3.0;

/// What Backspace takes back.
#[derive(Clone, Debug)]
pub(super) enum Last {
    /// A record of this joint, by number.
    Record(u8, u32),
    /// A part that was said to be here.
    Part(String),
}

impl Model {
    /// Says what a key recorded, and how it is taken back; where it is of the metal, that it stays.
    pub(super) fn tell_recorded(&mut self, joint: u8, entries: &[Entry]) {
        let said = entries
            .iter()
            .rev()
            .find(|entry| entry.joint == joint && is_said_when_recorded(&entry.record));
        let (Some(entry), Some(job)) = (said, &self.job) else {
            return;
        };
        let can = job.can_put_right(joint, entry.seq);
        let words = format!("Recorded: {}", line(&job.names(), entry));
        let last = can.then_some(Last::Record(joint, entry.seq));
        self.say_recorded(words, last);
    }

    pub(super) fn say_recorded(&mut self, words: String, last: Option<Last>) {
        if self.notice.as_ref().is_some_and(|notice| notice.bad) && self.is_news_now() {
            // What went wrong is not talked over.
            return;
        }
        self.notice = Some(Notice {
            bad: false,
            words,
            take_back: last.is_some(),
        });
        self.last = last;
        self.news_until_s = self.seen_s.unwrap_or(0.0) + TAKE_BACK_S;
        self.dirty = true;
    }

    fn is_news_now(&self) -> bool {
        self.news_until_s > self.seen_s.unwrap_or(0.0)
    }

    /// Takes back what a key recorded a moment ago.
    pub(super) fn take_last_back(&mut self) {
        match self.last.take() {
            Some(Last::Record(joint, of)) => {
                self.apply_for(
                    joint,
                    Input::Withdraw {
                        of,
                        reason: "taken back at once",
                    },
                );
            }
            Some(Last::Part(part)) => self.part_is_missing(&part),
            None => self.say(
                true,
                "nothing was recorded just now; F4 withdraws older records",
            ),
        }
    }

    /// Withdraws a row of the record, with a reason.
    pub(super) fn withdraw(&mut self, sequence: u64, reason: &str) {
        match self.fact(sequence).cloned() {
            Some(Fact::Entry(entry)) => {
                let of = entry.seq;
                let name = self.job.as_ref().and_then(crate::job::Job::person);
                // Who says so stands in the words too: on the sheet they are read alone.
                let reason = match name {
                    Some(name) if !reason.trim().is_empty() => format!("{name}: {reason}"),
                    _ => reason.to_owned(),
                };
                let reason = short(&reason);
                self.apply_for(entry.joint, Input::Withdraw { of, reason });
            }
            Some(Fact::Host(HostFact::PartArrived { part })) => self.part_is_missing(&part),
            _ => self.say(true, "that cannot be withdrawn"),
        }
    }

    /// The pull of a row was on another fastener.
    pub(super) fn was_on(&mut self, sequence: u64, label: &str) {
        let Some(Fact::Entry(entry)) = self.fact(sequence).cloned() else {
            return;
        };
        let job = self.job.as_ref();
        let Some(fastener) = job
            .and_then(|job| job.joint(entry.joint))
            .and_then(|joint| joint.fastener(label.trim()))
        else {
            return self.say(true, format!("there is no fastener {label} in that joint"));
        };
        let at = self.at();
        let Some(job) = &mut self.job else { return };
        match job.reassign(entry.joint, at, entry.seq, fastener) {
            Ok(done) => self.take(done),
            Err(error) => self.say(true, error.to_string()),
        }
    }

    fn part_is_missing(&mut self, part: &str) {
        let result = self.job.as_mut().map(|job| job.part_missing(part));
        match result {
            Some(Err(error)) => self.say(true, error.to_string()),
            _ => self.say(false, format!("{part} is not here after all")),
        }
    }

    fn apply_for(&mut self, joint: u8, input: Input<'_>) {
        if self.open == Some(joint) {
            self.apply(input);
        } else {
            self.apply_at(joint, input);
        }
    }

    fn fact(&self, sequence: u64) -> Option<&Fact> {
        let index = usize::try_from(sequence.checked_sub(1)?).ok()?;
        self.job.as_ref()?.facts().get(index)
    }

    /// The rows that can still be put right, and how.
    pub(super) fn can_put_right(&self) -> Vec<CanPutRight> {
        let Some(job) = &self.job else {
            return Vec::new();
        };
        let facts = (1_u64..).zip(job.facts());
        let can = |(sequence, fact): (u64, &Fact)| match fact {
            Fact::Entry(entry) => {
                job.can_put_right(entry.joint, entry.seq).then_some(())?;
                let attempt = entry.record.attempt();
                Some(CanPutRight {
                    sequence,
                    joint: job.joint(entry.joint)?.id().to_owned(),
                    fastener: attempt.and_then(|own| {
                        Some(job.joint(entry.joint)?.label(own.fastener).to_owned())
                    }),
                })
            }
            Fact::Host(HostFact::PartArrived { part }) if job.has_part(part) => Some(CanPutRight {
                sequence,
                joint: String::new(),
                fastener: None,
            }),
            Fact::Host(_) => None,
        };
        facts.filter_map(can).collect()
    }
}

/// Whether somebody's key made it, so that it is said at once; what starts by itself is not.
pub(super) const fn is_said_when_recorded(record: &Record) -> bool {
    match record {
        Record::Done(_)
        | Record::Answered(_)
        | Record::Measured(_)
        | Record::Person(_)
        | Record::Tool(_)
        | Record::Condition(_)
        | Record::Loosened(_)
        | Record::Fitted(_)
        | Record::Skipped(_)
        | Record::Noted(_)
        | Record::Decided(_)
        | Record::Marked(_)
        | Record::Moment(_)
        | Record::Due(_)
        | Record::Apart(_)
        | Record::Running(_)
        | Record::Reassigned(_)
        | Record::Withdrawn(_)
        | Record::Read(_)
        | Record::BySetting(_) => true,
        Record::Started(_)
        | Record::Begun(_)
        | Record::Attempt(_)
        | Record::Waited(_)
        | Record::Anchor(_)
        | Record::Zero(_)
        | Record::Rechecked(_)
        | Record::Pass(_)
        | Record::Recovered(_)
        | Record::Revised(_) => false,
    }
}
