//! The job in hand put beside like joints of the other builds on its shelf.
//!
//! The shelf that the plan lies on is read in the background once real work begins; what is worked before that is compared with the
//! next record. Knows nothing of what is shown of a shelf.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError, channel};

use super::{Model, files};
use crate::shelf::forerunners::{Before, before, shelf_of};

/// What the shelf of the job in hand showed, as far as it is known.
#[derive(Debug, Default)]
pub(super) enum Known {
    /// It was not asked for.
    #[default]
    No,
    /// A shelf is being read.
    Reading(PathBuf, Receiver<Option<Before>>),
    /// It was read.
    Yes(Arc<Before>),
}

impl Known {
    /// Whether something is to come.
    pub(super) const fn is_reading(&self) -> bool {
        matches!(self, Self::Reading(..))
    }

    /// The shelf.
    fn folder(&self) -> Option<&PathBuf> {
        match self {
            Self::No => None,
            Self::Reading(folder, _) => Some(folder),
            Self::Yes(before) => Some(&before.folder),
        }
    }
}

impl Model {
    /// The journal of the job in hand, or the one that will be begun, by its whole name.
    pub(super) fn own_journal(&self) -> PathBuf {
        let own = files::journal(&self.file.folder, &self.file.name, self.purpose);
        std::path::absolute(&own).unwrap_or(own)
    }

    /// From here on the job in hand is put beside its forerunners: at once where they are known, else when they are read.
    pub(super) fn put_beside_forerunners(&mut self) {
        let Some(folder) = shelf_of(&self.file.folder) else {
            return;
        };
        let (own, at) = (self.own_journal(), self.at());
        let Some(job) = self.job.as_mut().filter(|job| job.may_have_forerunners()) else {
            return;
        };
        match &self.forerunners {
            Known::Yes(before) if before.folder == folder => {
                job.set_forerunners(before.history.forerunners(Some(&own)));
                if let Some(joint) = self.open {
                    let done = job.compare_now(joint, at);
                    self.take(done);
                }
            }
            known if known.folder() == Some(&folder) => {}
            _ => {
                let (to, from) = channel();
                std::thread::spawn(move || {
                    // Nobody may be left to hear it.
                    let _ = to.send(before(&own).ok().flatten());
                });
                self.forerunners = Known::Reading(folder, from);
            }
        }
    }

    /// The shelf of the job in hand was read for another reason: nothing older counts.
    pub(super) fn know_forerunners(&mut self, before: &Arc<Before>) {
        if shelf_of(&self.file.folder).is_some_and(|folder| folder == before.folder) {
            self.forerunners = Known::Yes(Arc::clone(before));
            self.put_beside_forerunners();
        }
    }

    /// Looks whether the shelf is read.
    pub(super) fn look_at_forerunners(&mut self) {
        let Known::Reading(_, from) = &self.forerunners else {
            return;
        };
        match from.try_recv() {
            Ok(Some(before)) => {
                self.forerunners = Known::Yes(Arc::new(before));
                self.put_beside_forerunners();
            }
            Err(TryRecvError::Empty) => {}
            // It cannot be listed: the joints are compared within themselves.
            Ok(None) | Err(TryRecvError::Disconnected) => self.forerunners = Known::No,
        }
    }
}
