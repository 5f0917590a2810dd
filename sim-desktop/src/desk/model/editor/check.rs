//! Lines of the plan compared with the document by a second person, one after the other.
//!
//! Knows nothing of how a check is written.

use super::Editor;
use crate::plan::edit::layout::Path;
use crate::plan::{Checked, Line};

impl Editor {
    /// The line in hand as the plan reads it, and its way; none while faults stand in the way.
    fn line(&self, path: &Path) -> Option<&Line> {
        let plan = self.checked.plan.as_ref()?;
        let joint = Path(path.0.get(..2)?.to_vec());
        let (list, index) = joint.item()?;
        if list != Path::default().key("joint") {
            return None;
        }
        // The head of a joint is the first of its lines.
        let lines = self.document.lines_below(&joint);
        let at = lines.iter().position(|line| line == path)?;
        plan.joints().get(index)?.lines().get(at)
    }

    /// Whether a second person compared what stands there.
    pub(super) fn is_checked(&self, path: &Path) -> bool {
        self.line(path).is_some_and(Line::is_checked)
    }

    /// Whether what is in hand was compared, in words; empty where it is no line.
    pub(super) fn check_words(&self) -> String {
        let Some(line) = self.line(&self.at) else {
            return String::new();
        };
        match &line.checked {
            None => "Not compared with the document by a second person.".to_owned(),
            Some(Checked {
                by,
                day,
                holds: false,
                ..
            }) => {
                format!("Changed since {by} compared it with the document on {day}.")
            }
            Some(Checked {
                by,
                day,
                is_same: true,
                ..
            }) => {
                format!("Compared with the document on {day} only by {by}, who typed it.")
            }
            Some(Checked { by, day, .. }) => {
                format!("Compared with the document by {by} on {day}.")
            }
        }
    }

    /// Notes who compared the line in hand, and goes to the next that nobody did.
    pub(super) fn check_line(&mut self, by: &str) -> Result<String, String> {
        if by.is_empty() {
            return Err("who compared it? a name is needed".to_owned());
        }
        self.check_to_the_end();
        if self.checked.plan.is_none() {
            return Err(
                "put the faults right first: what cannot be read cannot be compared".to_owned(),
            );
        }
        let line = self
            .line(&self.at)
            .ok_or("take a joint or one of its stages in hand: these are the lines to compare")?;
        let (sum, name) = (line.sum.clone(), line.name.clone());
        let today = jiff::Zoned::now().date();
        by.clone_into(&mut self.checker);
        self.document
            .check_line(&self.at, by, today, &sum)
            .map_err(|error| error.to_string())?;
        let open = self.open_lines();
        let joint = self.joint().map(|joint| self.words_of(&joint));
        let joint = joint.unwrap_or_default();
        // The next in the order of the plan, else the first of all.
        let next = open
            .iter()
            .find(|(is_behind, _)| *is_behind)
            .or(open.first())
            .map(|(_, path)| path.clone());
        if let Some(next) = next {
            self.at = next;
        }
        Ok(match open.len() {
            0 => format!("{joint}, {name}: compared by {by}. That was the last line."),
            left => format!("{joint}, {name}: compared by {by}; {left} to go"),
        })
    }

    /// Every line but the one in hand that nobody compared as it is, with whether it stands behind that.
    fn open_lines(&self) -> Vec<(bool, Path)> {
        let Some(plan) = &self.checked.plan else {
            return Vec::new();
        };
        let list = Path::default().key("joint");
        let mut is_behind = false;
        let mut open = Vec::new();
        for (index, joint) in plan.joints().iter().enumerate() {
            let paths = self.document.lines_below(&list.at(index));
            for (path, line) in paths.into_iter().zip(joint.lines()) {
                if path == self.at {
                    is_behind = true;
                } else if !line.checked.as_ref().is_some_and(|own| own.holds) {
                    open.push((is_behind, path));
                }
            }
        }
        open
    }
}
