//! The builds opened lately: put on the list as they are opened, and read beside the desk when somebody looks for one.
//!
//! Knows nothing of drawing, and nothing of how the list is kept.

use std::sync::mpsc::{Receiver, TryRecvError, channel};

use jiff::Zoned;

use super::super::view::RecentRow;
use super::Model;
use crate::recent::{Recent, Seen};

/// The list of this user, and what is being read of it.
#[derive(Debug, Default)]
pub(super) struct Builds {
    /// None where nobody keeps one, as in a test.
    list: Option<Recent>,
    reading: Option<Receiver<Vec<Seen>>>,
}

impl Builds {
    pub(super) const fn is_reading(&self) -> bool {
        self.reading.is_some()
    }
}

impl Model {
    /// Puts what is opened from here on on this list, and shows it where a build is looked for.
    pub fn set_recent(&mut self, list: Recent) {
        self.recent.list = Some(list);
        self.put_on_recent();
    }

    /// This build is the one opened last. The demo and texts without a file are no builds of anybody.
    pub(super) fn put_on_recent(&mut self) {
        let (Some(list), Some(path)) = (&self.recent.list, &self.file.path) else {
            return;
        };
        let status = self.start.as_ref().map(super::start::Start::status);
        let (title, unit) = status.map_or_else(Default::default, |own| (own.title, own.unit));
        if let Err(words) = list.put(path, &title, &unit) {
            self.say(true, words);
        }
    }

    /// Reads how each of them stands.
    pub(super) fn look_for_recent(&mut self) {
        let Some(list) = self.recent.list.clone() else {
            return;
        };
        let (tell, seen) = channel();
        std::thread::spawn(move || tell.send(list.seen(Zoned::now().date())));
        self.recent.reading = Some(seen);
    }

    /// Takes what was read, once it is.
    pub(super) fn look_at_recent(&mut self) {
        let Some(reading) = &self.recent.reading else {
            return;
        };
        let seen = match reading.try_recv() {
            Err(TryRecvError::Empty) => return,
            Err(TryRecvError::Disconnected) => Vec::new(),
            Ok(seen) => seen,
        };
        self.recent.reading = None;
        let own = self.file.path.as_ref();
        let own = own.and_then(|path| std::path::absolute(path).ok());
        let now = super::start::now();
        let others = seen
            .into_iter()
            .filter(|one| Some(&one.plan) != own.as_ref());
        self.view.recent = others
            .map(|one| RecentRow {
                what: one.what(),
                line: one.line(now),
                mark: one.how.as_ref().map(|how| how.mark),
                is_there: one.plan.exists(),
                plan: one.plan,
            })
            .collect();
    }
}
