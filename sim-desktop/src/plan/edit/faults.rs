//! What is wrong or doubtful in a plan being written, each at the field it belongs to.
//!
//! The words are those of [`Plan::parse`]. Knows nothing of screens.

use super::Document;
use super::layout::Path;
use crate::plan::{Diagnostic, Plan, Severity};

/// One fault, or one question.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// What it is about: a field, or the table whose header is meant.
    pub path: Path,
    /// A question, not an error.
    pub warning: bool,
    /// What was found.
    pub words: String,
    /// What is allowed instead.
    pub hint: String,
    /// The line, from 1.
    pub line: usize,
    /// The column in characters, from 1.
    pub column: usize,
    /// How many characters of its line.
    pub length: usize,
}

/// A text that was checked.
#[derive(Clone, Debug)]
pub struct Checked {
    /// The plan, where nothing refuses it.
    pub plan: Option<Plan>,
    /// What is wrong, or else what is asked, in the order of the file.
    pub faults: Vec<Fault>,
    /// How many faults there are, shown or not.
    pub count: usize,
}

impl Document {
    /// Checks the whole text as the plan called `name`.
    #[must_use]
    pub fn check(&self, name: &str) -> Checked {
        self.check_in(name, None)
    }

    /// Checks the whole text as the plan called `name`; with the register of tools that counts for its folder, where it has one.
    #[must_use]
    pub fn check_in(&self, name: &str, folder: Option<&std::path::Path>) -> Checked {
        let text = self.text();
        let read = match folder {
            Some(folder) => Plan::read(name, text, folder),
            None => Plan::parse(name, text),
        };
        match read {
            Ok(plan) => {
                let faults = plan.warnings().iter().map(|one| self.fault(one));
                Checked {
                    faults: faults.collect(),
                    plan: Some(plan),
                    count: 0,
                }
            }
            Err(errors) => Checked {
                plan: None,
                faults: errors.list().iter().map(|one| self.fault(one)).collect(),
                count: errors.count(),
            },
        }
    }

    fn fault(&self, one: &Diagnostic) -> Fault {
        let place = one.place();
        let path = self
            .layout()
            .map_or_else(Path::default, |layout| layout.path_at(place.start));
        let length = self
            .text()
            .get(place)
            .and_then(|words| words.lines().next())
            .map_or(1, |words| words.chars().count());
        Fault {
            path,
            warning: one.severity() == Severity::Warning,
            words: one.what().to_owned(),
            hint: one.allowed().unwrap_or_default().to_owned(),
            line: one.line(),
            column: one.column(),
            length,
        }
    }
}
