//! The plan being written is checked: at once, or a long one beside the desk, so that no frame waits for it.
//!
//! Knows nothing of drawing.

use std::sync::mpsc::{Receiver, TryRecvError, channel};

use super::Editor;
use crate::disk;
use crate::plan::edit::{Checked, Document};

/// Bytes of a text that is checked at once: twice the demo build, which takes a third of a frame.
const AT_ONCE: usize = 24 * 1024;

/// A check beside the desk.
#[derive(Debug)]
pub(super) struct Checking {
    found: Receiver<Checked>,
    /// The text was changed since it was begun.
    again: bool,
}

impl Editor {
    /// Checks the text as it is now. What is known of a long one stays until more is known.
    pub(super) fn check(&mut self) {
        if self.document.text().len() <= AT_ONCE {
            return self.check_to_the_end();
        }
        if let Some(checking) = &mut self.checking {
            checking.again = true;
            return;
        }
        let text = self.document.text().to_owned();
        let name = self.name.clone();
        let folder = self
            .path
            .as_deref()
            .map(|path| disk::folder_of(path).to_owned());
        let (tell, found) = channel();
        std::thread::spawn(move || {
            let checked = Document::new(&text).check_in(&name, folder.as_deref());
            // Nobody waits for it any more where the editor is gone.
            let _ = tell.send(checked);
        });
        self.checking = Some(Checking {
            found,
            again: false,
        });
    }

    /// Checks the text before anything else is done: it is about to be saved.
    pub(super) fn check_to_the_end(&mut self) {
        self.checking = None;
        self.checked = self
            .document
            .check_in(&self.name, self.path.as_deref().map(disk::folder_of));
    }

    /// Whether more will be known of the text as it is now.
    pub(in crate::desk::model) const fn is_checking(&self) -> bool {
        self.checking.is_some()
    }

    /// Takes what a check beside the desk found, and begins another where the text was changed meanwhile.
    pub(in crate::desk::model) fn look_at_check(&mut self) {
        let Some(checking) = &self.checking else {
            return;
        };
        let found = match checking.found.try_recv() {
            Err(TryRecvError::Empty) => return,
            Err(TryRecvError::Disconnected) => None,
            Ok(found) => Some(found),
        };
        let again = checking.again;
        self.checking = None;
        match found {
            Some(found) => self.checked = found,
            None => self.check_to_the_end(),
        }
        if again {
            self.check();
        }
        self.refresh();
    }
}
