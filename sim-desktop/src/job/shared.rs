//! What work on a shared fastener does to the other joint.
//!
//! Loosening it, taking it out, or putting the first load on it for the other joint while it is tight here means that it
//! was off: this joint is open again. Tightening alone loosens nothing.

use evendraw_core::record::{Entry, Record};
use evendraw_core::session::{Input, Session};
use evendraw_core::unit::Instant;

use super::{Done, Job};

impl Job {
    /// Carries what just happened over to the joints that share the fastener.
    /// `first_load` is a fastener that was loose and was then pulled on with no sample to show it.
    pub(super) fn spread(
        &mut self,
        joint: u8,
        at: Instant,
        first_load: Option<u8>,
        done: &mut Done,
    ) {
        let first_load = first_load.filter(|_| done.refusal.is_none());
        let touched: Vec<u8> = done
            .entries
            .iter()
            .filter(|entry| entry.joint == joint)
            .filter_map(|entry| self.taken_off(entry))
            .chain(first_load)
            .collect();
        for fastener in touched {
            for (other, own) in self.sharing(joint, fastener) {
                let tight = self
                    .session(other)
                    .is_some_and(|session| session.ledger().is_tight(own));
                if !tight || self.enter(other, at, done).is_err() {
                    continue;
                }
                let cause = format!(
                    "taken off for {}",
                    self.joint(joint).map_or("", |joint| joint.id())
                );
                let cause = cause.get(..cause.floor_char_boundary(48)).unwrap_or("");
                self.send(
                    other,
                    at,
                    Input::Loosened {
                        fastener: own,
                        elsewhere: true,
                        cause,
                    },
                    done,
                );
            }
        }
    }

    /// The fastener that a record says was off the metal, or must have been.
    fn taken_off(&self, entry: &Entry) -> Option<u8> {
        match &entry.record {
            Record::Loosened(loosened) if !loosened.elsewhere => Some(loosened.fastener),
            Record::Fitted(fitted) => Some(fitted.fastener),
            Record::Begun(begun) => {
                let session = self.session(entry.joint)?;
                let fastener = session.procedure().fastener_of(begun.step)?;
                if session.ledger().is_tight(fastener) {
                    None
                } else {
                    Some(fastener)
                }
            }
            _ => None,
        }
    }

    /// The joints that share a fastener, by number, with its index there.
    fn sharing(&self, joint: u8, fastener: u8) -> Vec<(u8, u8)> {
        let Some(own) = self.joint(joint) else {
            return Vec::new();
        };
        own.shares()
            .iter()
            .filter(|share| share.fastener == fastener)
            .filter_map(|share| {
                let other = self
                    .plan
                    .joints()
                    .iter()
                    .find(|other| other.id() == share.joint)?;
                Some((other.number(), other.fastener(&share.label)?))
            })
            .collect()
    }

    pub(super) fn make_session(&mut self, joint: u8) -> Result<(), super::JobError> {
        let own = self
            .joint(joint)
            .ok_or(super::JobError::NoSuchJoint { joint })?;
        if self.session(joint).is_some() {
            return Ok(());
        }
        let answers = self.answers(joint).cloned().unwrap_or_default();
        let procedure = own
            .procedure(&answers)
            .map_err(super::JobError::Unanswered)?;
        if let Some(place) = self.sessions.get_mut(usize::from(joint)) {
            *place = Some(Session::new(procedure.into(), joint));
        }
        Ok(())
    }
}
