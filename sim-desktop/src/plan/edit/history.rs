//! Changes of a text that can be taken back: each knows what it took away.
//!
//! Knows nothing of what the text means.

use std::ops::Range;

/// One place of the text, changed.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Splice {
    at: usize,
    taken: String,
    put: String,
}

impl Splice {
    fn apply(&self, text: &mut String) {
        let end = self.at.saturating_add(self.taken.len());
        text.replace_range(self.at..end, &self.put);
    }

    fn take_back(&self, text: &mut String) {
        let end = self.at.saturating_add(self.put.len());
        text.replace_range(self.at..end, &self.taken);
    }
}

/// What one act of a person changed.
#[derive(Clone, Debug, Default)]
struct Change {
    splices: Vec<Splice>,
    /// What it was done to: typing on in the same field is the same change.
    to: String,
}

/// A text with everything that was done to it.
#[derive(Clone, Debug, Default)]
pub(super) struct History {
    text: String,
    done: Vec<Change>,
    undone: Vec<Change>,
}

impl History {
    pub(super) fn new(text: &str) -> Self {
        Self {
            text: text.to_owned(),
            ..Self::default()
        }
    }

    pub(super) fn text(&self) -> &str {
        &self.text
    }

    /// Changes places of the text, which must not overlap. Nothing is kept where nothing changes.
    pub(super) fn change(&mut self, to: &str, places: Vec<(Range<usize>, String)>) {
        let mut places: Vec<_> = places
            .into_iter()
            .filter(|(place, put)| self.text.get(place.clone()).is_some_and(|old| old != put))
            .collect();
        if places.is_empty() {
            return;
        }
        // From the end, so that each place still means what it meant. Something new goes before what is taken away at the same byte.
        places.sort_by_key(|(place, _)| (place.start, place.end));
        let mut change = match self.done.pop() {
            Some(last) if !to.is_empty() && last.to == to => last,
            Some(last) => {
                self.done.push(last);
                Change::default()
            }
            None => Change::default(),
        };
        to.clone_into(&mut change.to);
        for (place, put) in places.into_iter().rev() {
            let splice = Splice {
                at: place.start,
                taken: self.text.get(place).unwrap_or_default().to_owned(),
                put,
            };
            splice.apply(&mut self.text);
            change.splices.push(splice);
        }
        self.done.push(change);
        self.undone.clear();
    }

    /// What comes next is a change of its own, whatever it is done to.
    pub(super) fn pause(&mut self) {
        if let Some(last) = self.done.last_mut() {
            last.to.clear();
        }
    }

    pub(super) fn undo(&mut self) -> bool {
        let Some(change) = self.done.pop() else {
            return false;
        };
        for splice in change.splices.iter().rev() {
            splice.take_back(&mut self.text);
        }
        self.undone.push(change);
        self.pause();
        true
    }

    pub(super) fn redo(&mut self) -> bool {
        let Some(change) = self.undone.pop() else {
            return false;
        };
        for splice in &change.splices {
            splice.apply(&mut self.text);
        }
        self.done.push(change);
        self.pause();
        true
    }

    pub(super) fn can_undo(&self) -> bool {
        !self.done.is_empty()
    }

    pub(super) fn can_redo(&self) -> bool {
        !self.undone.is_empty()
    }
}
