//! Keep first, tell afterwards.

use evendraw_core::record::{Attempt, Entry};
use evendraw_core::session::{Input, Outcome, Refusal};
use evendraw_core::trace::Point;
use evendraw_core::unit::Instant;

use super::status::attempt_of;
use super::{Done, Job, JobError, Told};
use crate::store::{Fact, HostFact, StoreError, Traces};

impl Job {
    /// Sends an input to a running session, keeps what it records, and tells it that this is safe.
    pub(super) fn send(&mut self, joint: u8, at: Instant, input: Input<'_>, done: &mut Done) {
        self.try_unsaved(at, done);
        let Some(session) = self
            .sessions
            .get_mut(usize::from(joint))
            .and_then(Option::as_mut)
        else {
            return;
        };
        let outcome = session.apply(at, input);
        self.take(joint, at, &outcome, done);
        if done.refusal.is_none() {
            done.refusal = outcome.refusal;
        }
    }

    /// Whether this record of a joint can still be put right here; what an adapter works is not.
    #[must_use]
    pub fn can_put_right(&self, joint: u8, seq: u32) -> bool {
        self.adapter(joint).is_none()
            && self
                .session(joint)
                .is_some_and(|session| session.ledger().can_put_right(seq))
    }

    /// The pull of this record of a joint was on another fastener.
    ///
    /// # Errors
    /// As [`Job::apply`].
    pub fn reassign(
        &mut self,
        joint: u8,
        at: Instant,
        of: u32,
        fastener: u8,
    ) -> Result<Done, JobError> {
        let mut done = Done::default();
        if let Some(serial) = self.adapters.get(&joint) {
            return Err(JobError::AtAdapter {
                serial: serial.clone(),
            });
        }
        self.enter(joint, at, &mut done)?;
        self.name_person(joint, at, &mut done);
        self.clear_to_pull = None;
        self.try_unsaved(at, &mut done);
        let kept = self.sound(joint).into_iter().rev();
        let mut kept = kept.filter(|entry| entry.seq == of);
        let attempt = kept.find_map(|entry| entry.record.attempt().cloned());
        let Some(attempt) = attempt else {
            done.refusal = Some(Refusal::PastPutRight);
            return Ok(done);
        };
        let session = self.sessions.get_mut(usize::from(joint));
        if let Some(session) = session.and_then(Option::as_mut) {
            let outcome = session.reassign(at, of, &attempt, fastener);
            self.take(joint, at, &outcome, &mut done);
            done.refusal = done.refusal.or(outcome.refusal);
        }
        self.compare_peers(joint, at, &mut done);
        Ok(done)
    }

    fn take(&mut self, joint: u8, at: Instant, outcome: &Outcome, done: &mut Done) {
        done.cue = outcome.cue;
        done.halt = done.halt.or(outcome.halt);
        self.tell(joint, outcome, done);
        if outcome.entries().is_empty() {
            return;
        }
        self.facts
            .extend(outcome.entries().iter().cloned().map(Fact::Entry));
        done.entries.extend_from_slice(outcome.entries());
        self.keep_traces(joint, outcome.entries(), done);
        self.unsaved.extend_from_slice(outcome.entries());
        self.try_unsaved(at, done);
    }

    /// Writes what is not written yet. On success every session learns that its records are safe; on failure, that they
    /// are not.
    pub(super) fn try_unsaved(&mut self, at: Instant, done: &mut Done) {
        if self.unsaved.is_empty() {
            return;
        }
        let kept = match &mut self.journal {
            Some(journal) => journal.append(&self.unsaved),
            None => Ok(()),
        };
        match kept {
            Ok(()) => {
                done.store_failure = None;
                done.journal_elsewhere = false;
                self.store_trouble = None;
                let safe = std::mem::take(&mut self.unsaved);
                for entry in &safe {
                    self.hear(entry.joint, at, Input::Durable { seq: entry.seq }, done);
                }
            }
            Err(error) => {
                done.store_failure = Some(error.to_string());
                done.journal_elsewhere = error.is_elsewhere();
                self.store_trouble.clone_from(&done.store_failure);
                let mut joints: Vec<u8> = self.unsaved.iter().map(|entry| entry.joint).collect();
                joints.dedup();
                for joint in joints {
                    self.hear(joint, at, Input::StoreFailed, done);
                }
            }
        }
    }

    /// Word of the store to a session; it makes no record of that.
    fn hear(&mut self, joint: u8, at: Instant, input: Input<'_>, done: &mut Done) {
        let Some(session) = self
            .sessions
            .get_mut(usize::from(joint))
            .and_then(Option::as_mut)
        else {
            return;
        };
        let outcome = session.apply(at, input);
        self.tell(joint, &outcome, done);
        if !outcome.entries().is_empty() {
            // Something fell due at this very moment: it is kept with the next call.
            self.facts
                .extend(outcome.entries().iter().cloned().map(Fact::Entry));
            done.entries.extend_from_slice(outcome.entries());
            self.unsaved.extend_from_slice(outcome.entries());
        }
    }

    fn tell(&mut self, joint: u8, outcome: &Outcome, done: &mut Done) {
        let Some(announcement) = outcome.announce else {
            return;
        };
        if let Some((entry, attempt)) = self.attempt(joint, announcement.seq) {
            done.told.push(Told {
                joint,
                announcement,
                attempt,
                entry,
                curve_lost: self.curves_lost.remove(&(joint, announcement.seq)),
            });
        }
    }

    /// The attempt that a joint's record of this number is.
    pub(super) fn attempt(&self, joint: u8, seq: u32) -> Option<(Entry, Attempt)> {
        self.facts.iter().rev().find_map(|fact| match fact {
            Fact::Entry(entry) if entry.joint == joint && entry.seq == seq => {
                let attempt = attempt_of(&entry.record)?.into_owned();
                Some((entry.clone(), attempt))
            }
            _ => None,
        })
    }

    fn keep_traces(&mut self, joint: u8, entries: &[Entry], done: &mut Done) {
        for entry in entries {
            let Some(attempt) = entry.record.attempt().filter(|own| own.trace != 0) else {
                continue;
            };
            let points = match entry.record.puts_right() {
                // The curve goes with the pull.
                Some(of) => {
                    let traces = self.traces.as_ref();
                    traces.and_then(|traces| traces.proved(joint, of, attempt.trace))
                }
                None => self
                    .session(joint)
                    .map(|session| session.trace().points().collect::<Vec<Point>>()),
            };
            let Some(points) = points else { continue };
            // Losing a trace loses evidence, never truth: it is said, and the work goes on.
            if let Err(error) = self.keep_trace(joint, entry.seq, attempt, &points) {
                done.trace_lost = Some(error.to_string());
                self.curves_lost
                    .insert((joint, entry.seq), error.to_string());
            }
        }
    }

    pub(super) fn keep_trace(
        &mut self,
        joint: u8,
        seq: u32,
        attempt: &Attempt,
        points: &[Point],
    ) -> Result<(), StoreError> {
        // Beside the journal, wherever that is by now.
        if let Some(journal) = &mut self.journal {
            self.traces = Some(Traces::beside(&journal.place()));
        }
        let Some(traces) = &self.traces else {
            return Ok(());
        };
        let own = self.joint(joint);
        let title = format!(
            "joint {} fastener {} stage {} attempt {} record {seq}",
            own.map_or("", |joint| joint.id()),
            own.map_or("", |joint| joint.label(attempt.fastener)),
            attempt.stage.saturating_add(1),
            attempt.attempt,
        );
        traces.keep(joint, seq, &title, points)
    }

    pub(super) fn keep_fact(&mut self, fact: HostFact) -> Result<(), JobError> {
        if let Some(journal) = &mut self.journal {
            journal.append_facts(std::slice::from_ref(&fact))?;
        }
        self.facts.push(Fact::Host(fact));
        self.clear_to_pull = None;
        Ok(())
    }
}
