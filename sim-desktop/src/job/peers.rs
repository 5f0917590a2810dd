//! What is calculated over a joint's records: doubts about fasteners unlike their peers, raised when a stage is complete, and how sure a
//! torque is.
//!
//!
//! Raised here and not by the session: the comparison needs every value of the joint, which neither the ledger nor an adapter has room
//! for. What follows from it is an ordinary record, so a session taken up again stands where the live one stood, and
//! time alone never makes one. Knows nothing of how values are compared.
//!
//! # Why the host raises the doubt
//!
//! *Context:* the comparison needs every value of a joint at a stage: 64 × 16 values, where the adapter has 16 KiB of
//! RAM and some hundred bytes of flash to spare. *Choice:* one pure function of the core over the records; `Job` asks
//! it after whatever can complete a stage and has the session record a `Noted` that raises a doubt (`unlike peers,
//! stage 2: 143.2° (they 92.1°)`), so `Next::Settle` comes by itself, a restart stands where the live session stood,
//! and a tick makes nothing. Of a joint at an adapter the desk does it when the record comes over, by a `tell`.
//! Sheet, `record` and `adapter pull` ask the function again and need no remark: a journal without one is open all
//! the same. Done again and alike now, the doubt is settled by a remark too, if nobody but the comparison had raised
//! it. *Alternative:* values kept in the ledger, or a new kind of record. *Would change our mind:* an adapter with
//! room, that is to raise it with nobody looking on.

use std::sync::Arc;

use evendraw_core::peers::{Unlike, Value, What, unlike_before, values};
use evendraw_core::record::{Attempt, Entry, Record};
use evendraw_core::session::{Input, Next};
use evendraw_core::unit::Instant;

use super::{Done, Job};
use crate::peers::{Peer, Remark, due_with, peers};
use crate::plan::JointPlan;
use crate::store::{Purpose, entries_of};
use crate::uncertainty::{Judged, judged_in};

/// Finds what like joints of other builds showed at a stage: by the joint, the stage's index, the likeness of the windows and what was
/// seen.
pub type Before = dyn Fn(&JointPlan, u8, u32, What) -> Arc<[i32]> + Send + Sync;

/// What like joints of other builds showed.
#[derive(Clone)]
pub struct Forerunners {
    before: Arc<Before>,
}

impl Forerunners {
    /// Found so.
    #[must_use]
    pub fn new(before: Arc<Before>) -> Self {
        Self { before }
    }
}

impl std::fmt::Debug for Forerunners {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Forerunners")
    }
}

impl Job {
    /// The joint's fasteners that are unlike their peers, as its records stand.
    #[must_use]
    pub fn peers(&self, joint: u8) -> Vec<Peer> {
        self.session(joint).map_or_else(Vec::new, |session| {
            self.comparing(joint, |entries| {
                peers(session.procedure(), session.ledger(), joint, entries)
            })
        })
    }

    /// The remarks about the joint's fasteners that the comparison calls for and nobody has recorded yet.
    #[must_use]
    pub fn peers_due(&self, joint: u8) -> Vec<Remark> {
        self.session(joint).map_or_else(Vec::new, |session| {
            let beside = self.unlike_forerunners(joint);
            self.comparing(joint, |entries| {
                due_with(
                    session.procedure(),
                    session.ledger(),
                    joint,
                    entries,
                    &beside,
                )
            })
        })
    }

    /// From here on the peers of a joint include its forerunners, like joints of other builds, where it
    /// [may have](Self::may_have_forerunners) such. Every record that can complete a stage is a moment of comparison from then on, a start among them.
    pub fn set_forerunners(&mut self, forerunners: Forerunners) {
        self.forerunners = Some(forerunners);
    }

    /// Whether its joints are put beside those of other builds: real work, and no invented values.
    #[must_use]
    pub fn may_have_forerunners(&self) -> bool {
        self.purpose == Purpose::Job && !self.plan.build().demo
    }

    /// The joint's fasteners that are unlike those of its own joint and of its forerunners together.
    #[must_use]
    pub fn unlike_forerunners(&self, joint: u8) -> Vec<Unlike> {
        let (Some(forerunners), Some(session), Some(own)) = (
            self.forerunners
                .as_ref()
                .filter(|_| self.may_have_forerunners()),
            self.session(joint),
            self.joint_plan(joint),
        ) else {
            return Vec::new();
        };
        let (procedure, ledger) = (session.procedure(), session.ledger());
        let mut found = Vec::new();
        for (stage, _) in (0_u8..).zip(procedure.stages()) {
            let mut shown: Vec<Value> = Vec::new();
            self.comparing(joint, |entries| {
                let entries = entries.iter().copied();
                values(procedure, ledger, joint, stage, entries, |value| {
                    shown.push(value)
                });
            });
            for value in &shown {
                let before = (forerunners.before)(own, stage, value.likeness, value.what);
                if before.is_empty() {
                    continue;
                }
                let like =
                    |other: &&Value| (other.what, other.likeness) == (value.what, value.likeness);
                let mut all: Vec<i32> = shown.iter().filter(like).map(|one| one.value).collect();
                all.extend_from_slice(&before);
                if let Some(median) = unlike_before(value.what, value.value, &mut all) {
                    found.push(Unlike {
                        fastener: value.fastener,
                        stage,
                        what: value.what,
                        value: value.value,
                        median,
                        seq: value.seq,
                    });
                }
            }
        }
        found
    }

    /// How sure the torque of an attempt is; none at a stage without a torque window.
    #[must_use]
    pub fn judged(&self, joint: u8, seq: u32, attempt: &Attempt) -> Option<Judged> {
        let entries = self.sound(joint).into_iter();
        judged_in(&self.plan, self.joint_plan(joint)?, entries, (seq, attempt))
    }

    /// The joint's records that may be compared with one another: those of a step that asks for something else now are not.
    pub(crate) fn comparing<T>(&self, joint: u8, with: impl FnOnce(&[&Entry]) -> T) -> T {
        match self.joint(joint) {
            Some(own) if self.revisions.of_joint(joint).next().is_some() => {
                let kept = self.revisions.comparable(&self.facts, own);
                with(&kept.iter().collect::<Vec<_>>())
            }
            _ => with(&self.sound(joint)),
        }
    }

    /// The records of a joint that count, in order: without what was put right.
    #[must_use]
    pub fn sound(&self, joint: u8) -> Vec<&Entry> {
        super::status::sound(&entries_of(&self.facts, joint).collect::<Vec<_>>())
    }

    /// Records what the comparison calls for, after anything that can complete a stage. A start is among that: the program may have
    /// been killed between the attempt and the doubt.
    pub(super) fn compare_peers(&mut self, joint: u8, at: Instant, done: &mut Done) {
        let may_tell = done.entries.iter().any(|entry| {
            entry.joint == joint
                && matches!(
                    entry.record,
                    Record::Attempt(_)
                        | Record::Read(_)
                        | Record::BySetting(_)
                        | Record::Done(_)
                        | Record::Skipped(_)
                        | Record::Decided(_)
                        | Record::Started(_)
                )
        });
        if may_tell {
            self.raise(joint, at, done);
        }
    }

    /// Records what the comparison calls for as forerunners came to be known while the joint is in hand. Nothing before it was entered,
    /// nor while it is pulled: then the next record is the moment.
    pub fn compare_now(&mut self, joint: u8, at: Instant) -> Done {
        let mut done = Done::default();
        let in_hand = self
            .session(joint)
            .is_some_and(|session| !session.is_in_pull() && session.next() != Next::Start);
        if in_hand && !self.adapters.contains_key(&joint) {
            self.raise(joint, at, &mut done);
        }
        done
    }

    fn raise(&mut self, joint: u8, at: Instant, done: &mut Done) {
        let (cue, halt) = (done.cue, done.halt);
        for remark in self.peers_due(joint) {
            let input = Input::Note {
                fastener: Some(remark.fastener),
                doubt: remark.doubt(),
                text: &remark.text,
            };
            self.send(joint, at, input, done);
        }
        (done.cue, done.halt) = (cue, halt);
    }
}
