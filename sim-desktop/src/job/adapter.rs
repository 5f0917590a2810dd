//! Joints whose records an adapter makes: they are taken over as they are, and the desk makes none of its own.
//!
//! Knows nothing of the link.

use std::sync::Arc;

use evendraw_core::procedure::Procedure;
use evendraw_core::record::{Entry, Record};
use evendraw_core::session::{Input, Refusal, RestoreError, Session};
use evendraw_core::trace::{self, Point};
use evendraw_core::unit::Instant;

use super::open::unreadable;
use super::{Job, JobError, Work};
use crate::plan::Joint;
use crate::store::{Fact, HostFact, Purpose, entries_of, fresh};

impl Job {
    /// Serial number of the adapter that makes the joint's records; none while they are made here.
    #[must_use]
    pub fn adapter(&self, joint: u8) -> Option<&str> {
        self.adapters.get(&joint).map(String::as_str)
    }

    /// Leaves the joint's records to an adapter from here on.
    ///
    /// # Errors
    /// [`JobError::Rehearsal`]; [`JobError::AtDesk`] once the desk has made records of it; [`JobError::AtAdapter`] while
    /// another adapter has it; [`JobError::Shares`]; [`JobError::Unanswered`]; [`JobError::Store`].
    pub fn leave_to_adapter(&mut self, joint: u8, serial: &str) -> Result<(), JobError> {
        if self.adapter(joint) == Some(serial) {
            return Ok(());
        }
        self.may_leave(joint)?;
        self.keep_holder(joint, serial)?;
        self.look_on(joint)
    }

    /// Whether [`Job::leave_to_adapter`] would do it.
    ///
    /// # Errors
    /// As there.
    pub fn may_leave(&self, joint: u8) -> Result<(), JobError> {
        self.may_go(joint)?;
        if self.records(joint).next().is_some() {
            return Err(JobError::AtDesk {
                joint: self.id_of(joint),
            });
        }
        Ok(())
    }

    /// Whether the plan and this purpose let an adapter have it.
    fn may_go(&self, joint: u8) -> Result<(), JobError> {
        let own = self.joint(joint).ok_or(JobError::NoSuchJoint { joint })?;
        if self.purpose != Purpose::Job {
            return Err(JobError::Rehearsal);
        }
        if let Some(other) = self.adapters.get(&joint) {
            return Err(JobError::AtAdapter {
                serial: other.clone(),
            });
        }
        // Either of the two may name the other.
        let sharing = self.plan.joints().iter().find(|other| {
            let names =
                |one: &Joint, two: &Joint| one.shares().iter().any(|share| share.joint == two.id());
            other.id() != own.id() && (names(own, other) || names(other, own))
        });
        if let Some(other) = sharing {
            return Err(JobError::Shares {
                joint: own.id().to_owned(),
                other: other.id().to_owned(),
            });
        }
        own.procedure(&self.answers(joint).cloned().unwrap_or_default())
            .map(drop)
            .map_err(JobError::Unanswered)
    }

    /// Leaves a joint that was begun at the desk to an adapter from here on, which is given its records and goes on behind them.
    ///
    /// # Errors
    /// As for [`Job::leave_to_adapter`], but for [`JobError::AtDesk`]: that only while an attempt is in progress, or waits for its
    /// record.
    pub fn carry_to_adapter(&mut self, joint: u8, serial: &str) -> Result<(), JobError> {
        self.may_carry(joint)?;
        self.keep_holder(joint, serial)?;
        self.look_on(joint)
    }

    /// Keeps who has it from here on: an adapter, or with no serial number the desk.
    fn keep_holder(&mut self, joint: u8, serial: &str) -> Result<(), JobError> {
        self.keep_fact(HostFact::AtAdapter {
            joint,
            serial: serial.to_owned(),
        })?;
        self.note_adapter(joint, serial);
        Ok(())
    }

    /// Whether [`Job::carry_to_adapter`] would do it.
    ///
    /// # Errors
    /// As there.
    pub fn may_carry(&self, joint: u8) -> Result<(), JobError> {
        self.may_go(joint)?;
        let is_busy = self.is_in_pull(joint)
            || self
                .session(joint)
                .is_some_and(|session| session.ledger().begun().is_some());
        if is_busy || !self.unsaved.is_empty() {
            return Err(JobError::AtDesk {
                joint: self.id_of(joint),
            });
        }
        Ok(())
    }

    /// The desk goes on with the joint itself: the adapter is broken, or gone.
    ///
    /// # Errors
    /// [`JobError::Store`]; then the adapter keeps it.
    pub fn take_back(&mut self, joint: u8) -> Result<(), JobError> {
        if self.adapter(joint).is_none() {
            return Ok(());
        }
        self.keep_holder(joint, "")?;
        // The start recorded next must have a higher number than any of the adapter's.
        let last = self.records(joint).map(|entry| entry.boot).max();
        self.boot = self.boot.max(last.unwrap_or(0).saturating_add(1));
        let procedure = self.procedure_of(joint)?;
        let restored = Session::restore(procedure, joint, self.records(joint))
            .map_err(|source| unreadable(self.id_of(joint), source))?;
        self.set_session(joint, restored);
        Ok(())
    }

    /// Keeps what an adapter recorded of the joint, and shows what follows from it. Returns what was new.
    ///
    /// # Errors
    /// Then nothing was taken: [`JobError::Rehearsal`]; [`JobError::AtDesk`] for a joint that no adapter has;
    /// [`JobError::Differs`]; [`JobError::Damaged`] where a record is missing; [`JobError::Restore`] for records of another
    /// procedure; [`JobError::Store`].
    pub fn take_over(&mut self, joint: u8, fetched: &[Entry]) -> Result<Vec<Entry>, JobError> {
        if self.adapter(joint).is_none() {
            return Err(JobError::AtDesk {
                joint: self.id_of(joint),
            });
        }
        let rehearsed =
            |entry: &Entry| matches!(&entry.record, Record::Started(started) if started.rehearsal);
        if self.purpose != Purpose::Job || fetched.iter().any(rehearsed) {
            return Err(JobError::Rehearsal);
        }
        let new = {
            let fetched: Vec<Entry> = fetched
                .iter()
                .filter(|entry| entry.joint == joint)
                .cloned()
                .collect();
            fresh(self.records(joint), &fetched).map_err(JobError::Differs)?
        };
        if new.is_empty() {
            return Ok(new);
        }
        // Only what holds together is kept.
        let procedure = self.procedure_of(joint)?;
        let looking = looking_on(procedure, joint, self.records(joint).chain(&new))
            .map_err(|source| unreadable(self.id_of(joint), source))?;
        if let Some(journal) = &mut self.journal {
            journal.append(&new)?;
        }
        self.facts.extend(new.iter().cloned().map(Fact::Entry));
        self.set_session(joint, looking);
        Ok(new)
    }

    /// Keeps the curve of an attempt that an adapter recorded, beside the journal; one that its record does not prove is dropped.
    ///
    /// # Errors
    /// [`JobError::Store`]: evidence is lost, the record stands.
    pub fn keep_curve(&mut self, joint: u8, seq: u32, points: &[Point]) -> Result<(), JobError> {
        let digest = trace::digest(points.iter().copied());
        match self.attempt(joint, seq).map(|(_, attempt)| attempt) {
            Some(attempt) if attempt.trace == digest => {
                Ok(self.keep_trace(joint, seq, &attempt, points)?)
            }
            _ => Ok(()),
        }
    }

    /// Why the joint's session would not take this now, as far as its records say; the adapter has the last word.
    #[must_use]
    pub fn would_refuse(&self, joint: u8, input: Input<'_>) -> Option<Refusal> {
        let procedure = self.procedure_of(joint).ok()?;
        let mut looking = looking_on(procedure, joint, self.records(joint)).ok()?;
        let at = self
            .records(joint)
            .last()
            .map_or(Instant::BOOT, |last| last.at);
        looking.apply(at, input).refusal
    }

    /// Who works from here on, for the joints that are begun later.
    pub fn remember_person(&mut self, name: &str) {
        self.person = Some(name.to_owned());
    }

    pub(super) fn note_adapter(&mut self, joint: u8, serial: &str) {
        if serial.is_empty() {
            self.adapters.remove(&joint);
        } else {
            self.adapters.insert(joint, serial.to_owned());
        }
        self.clear_to_pull = None;
    }

    /// The records kept of a joint, in order.
    fn records(&self, joint: u8) -> impl Iterator<Item = &Entry> {
        entries_of(&self.facts, joint)
    }

    fn look_on(&mut self, joint: u8) -> Result<(), JobError> {
        let procedure = self.procedure_of(joint)?;
        let looking = looking_on(procedure, joint, self.records(joint))
            .map_err(|source| unreadable(self.id_of(joint), source))?;
        self.set_session(joint, looking);
        Ok(())
    }

    fn set_session(&mut self, joint: u8, session: Work) {
        if let Some(place) = self.sessions.get_mut(usize::from(joint)) {
            *place = Some(session);
        }
        self.clear_to_pull = None;
    }

    fn procedure_of(&self, joint: u8) -> Result<Arc<Procedure>, JobError> {
        let own = self.joint(joint).ok_or(JobError::NoSuchJoint { joint })?;
        let answers = self.answers(joint).cloned().unwrap_or_default();
        own.procedure(&answers)
            .map(Arc::from)
            .map_err(JobError::Unanswered)
    }

    fn id_of(&self, joint: u8) -> String {
        self.joint(joint)
            .map_or_else(String::new, |own| own.id().to_owned())
    }
}

/// A copy of the session that made these records, as it stands after them. The pull in progress is the adapter's: its begin says
/// nothing about how the fastener is.
pub(super) fn looking_on<'e>(
    procedure: Arc<Procedure>,
    joint: u8,
    entries: impl Iterator<Item = &'e Entry>,
) -> Result<Work, RestoreError> {
    let own: Vec<&Entry> = entries.filter(|entry| entry.joint == joint).collect();
    let settled = match own.split_last() {
        Some((last, before)) if matches!(last.record, Record::Begun(_)) => before,
        _ => &own[..],
    };
    let mut session = Session::restore(procedure, joint, settled.iter().copied())?;
    session.look_on(own.last().map_or(Instant::BOOT, |entry| entry.at));
    Ok(session)
}
