//! Joints of other plans: taken over with what they stand on, and kept as a plan of their own for the next job.
//!
//! What is named in the joint and lacks here is told; the text is taken as it is. Knows nothing of files.

use std::fmt::Write as _;

use super::item::quoted;
use super::layout::{Path, Step};
use super::{Document, EditError, Where};

impl Document {
    /// The joints, each with what it is called.
    #[must_use]
    pub fn titled_joints(&self) -> Vec<(Path, String)> {
        let list = Path::default().key("joint");
        (0..self.len_of(&list))
            .map(|index| {
                let path = list.at(index);
                let title = self
                    .words(&path, "title")
                    .or_else(|| self.words(&path, "id"))
                    .unwrap_or_else(|| format!("joint {}", index.saturating_add(1)));
                (path, title)
            })
            .collect()
    }

    /// What a joint's values stand on: its own document, or that of the build.
    #[must_use]
    pub fn document_of(&self, joint: &Path) -> Option<String> {
        self.words(joint, "document")
            .or_else(|| self.words(&Path::default().key("build"), "document"))
    }

    /// Adds a joint of another plan, with the document that it stands on; nobody has checked it here.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn take_joint(
        &mut self,
        other: &Self,
        joint: &Path,
        to: &Where,
    ) -> Result<Path, EditError> {
        let foreign = other.to_take(joint).ok_or(EditError::Missing)?;
        let document = other.document_of(joint);
        let typed_by = other
            .words(joint, "entered_by")
            .or_else(|| other.words(&Path::default().key("build"), "entered_by"));
        self.at_once(|own| {
            let added = own.add_foreign(&foreign, to)?;
            let build = Path::default().key("build");
            for (key, words) in [("document", document), ("entered_by", typed_by)] {
                // Where both builds say the same it need not be said again.
                if own.words(&added, key).is_none()
                    && let Some(words) =
                        words.filter(|words| own.words(&build, key).as_ref() != Some(words))
                {
                    own.set(
                        &added,
                        key,
                        &quoted(&words),
                        &super::drawing::order_of(&added),
                    )?;
                }
            }
            Ok(added)
        })
    }

    /// Takes away that a joint or stage, and what is below it, was checked.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn forget_checks(&mut self, at: &Path) -> Result<(), EditError> {
        let places: Vec<Path> = self
            .lines_below(at)
            .into_iter()
            .map(|line| line.key("checked"))
            .filter(|key| self.layout().is_some_and(|all| all.get(key).is_some()))
            .collect();
        if places.is_empty() {
            return Ok(());
        }
        self.at_once(|own| places.iter().try_for_each(|key| own.remove(key)))
    }

    /// The lines that can be checked there: a joint's head, then its stages in the order of the file; of a stage itself.
    #[must_use]
    pub fn lines_below(&self, at: &Path) -> Vec<Path> {
        let mut lines = vec![at.clone()];
        if at.0.len() == 2 {
            for step in self.steps(at) {
                let is_block = matches!(step.0.get(2), Some(Step::Key(list)) if list == "block");
                if is_block {
                    let stages = step.key("stage");
                    lines.extend((0..self.len_of(&stages)).map(|index| stages.at(index)));
                } else {
                    lines.push(step);
                }
            }
        }
        lines
    }

    /// Notes that this line was compared with the document, as long as it says what the sum is over.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn check_line(
        &mut self,
        line: &Path,
        by: &str,
        day: jiff::civil::Date,
        sum: &str,
    ) -> Result<(), EditError> {
        let toml = format!(
            "{{ by = {}, day = {day}, of = {} }}",
            quoted(by),
            quoted(sum)
        );
        self.at_once(|own| {
            let key = line.key("checked");
            if own.layout().is_some_and(|all| all.get(&key).is_some()) {
                own.remove(&key)?;
            }
            own.set(line, "checked", &toml, &super::drawing::order_of(line))
        })
    }

    /// A joint as a plan of its own, with the document that it stands on.
    ///
    /// # Errors
    /// [`EditError`].
    pub fn alone(&self, joint: &Path) -> Result<String, EditError> {
        let mut text = String::from("[build]\n");
        let title = self
            .words(joint, "title")
            .or_else(|| self.words(joint, "id"));
        // Writing to a text cannot fail.
        let _ = writeln!(text, "title = {}", quoted(&title.unwrap_or_default()));
        let mut own = Self::new(&text);
        let added = own.take_joint(self, joint, &Where::Last)?;
        let build = Path::default().key("build");
        for key in ["document", "entered_by"] {
            if let Some(words) = own.words(&added, key) {
                own.remove(&added.key(key))?;
                own.set(
                    &build,
                    key,
                    &quoted(&words),
                    &super::drawing::order_of(&build),
                )?;
            }
        }
        Ok(own.text().to_owned())
    }

    /// What a joint names that this plan does not have, in words: tools, joints and tasks.
    #[must_use]
    pub fn lacks(&self, joint: &Path) -> Vec<String> {
        let ids = |list: &str, key: &str| -> Vec<String> {
            let list = Path::default().key(list);
            (0..self.len_of(&list))
                .filter_map(|index| self.words(&list.at(index), key))
                .collect()
        };
        let mut tools = ids("tool", "id");
        tools.extend(self.names(&Path::default().key("build").key("tools")));
        let mut work = ids("joint", "id");
        work.extend(ids("task", "id"));
        let mut lacking: Vec<String> = Vec::new();
        let mut tell = |words: String| {
            if !lacking.contains(&words) {
                lacking.push(words);
            }
        };
        for line in self.lines_below(joint) {
            for tool in self.names(&line.key("tool")) {
                if !tools.contains(&tool) {
                    tell(format!("tool {tool}"));
                }
            }
        }
        for key in ["after", "closes"] {
            for name in self.names(&joint.key(key)) {
                if !work.contains(&name) {
                    tell(format!("{name} ({key})"));
                }
            }
        }
        for value in self.values(&joint.key("shares")) {
            let other = value.split('/').next().unwrap_or_default();
            if !work.iter().any(|id| id == other) {
                tell(format!("{value} (shares)"));
            }
        }
        lacking
    }

    /// One name or several.
    fn names(&self, path: &Path) -> Vec<String> {
        match self.value(path) {
            Some(toml::Value::String(text)) => vec![text],
            Some(toml::Value::Array(list)) => list
                .iter()
                .filter_map(|own| own.as_str().map(str::to_owned))
                .collect(),
            _ => Vec::new(),
        }
    }

    /// The texts of a table.
    fn values(&self, path: &Path) -> Vec<String> {
        match self.value(path) {
            Some(toml::Value::Table(table)) => table
                .values()
                .filter_map(|own| own.as_str().map(str::to_owned))
                .collect(),
            _ => Vec::new(),
        }
    }

    fn value(&self, path: &Path) -> Option<toml::Value> {
        let toml = self.raw_value(path)?;
        let table: toml::Table = format!("x = {toml}\n").parse().ok()?;
        table.get("x").cloned()
    }
}

#[cfg(test)]
mod tests {
    use super::{Document, Where};
    use crate::plan::Plan;
    use crate::plan::edit::layout::Path;

    const HERE: &str = "[build]\ntitle = \"Pump 8\"\ndocument = \"section 9\"\n\n[[joint]]\nid = \"lid\"\npositions = { 1 = [0, 0] }\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"9 N·m\"\n";
    const THERE: &str = "[build]\ndocument = \"section 6, page 42\"\nentered_by = \"R. Quay\"\n\n[[tool]]\nid = \"A1\"\nkind = \"adapter\"\ncapacity = \"100 N·m\"\n\n# Of the old pump.\n[[joint]]\nid = \"cover\" # round\nafter = [\"head\"]\nshares = { 1 = \"bracket/2\" }\nchecked = { by = \"M. Aster\", day = 2026-11-29, of = \"12345678\" }\npositions = { 1 = [0, 0], 2 = [90, 0] }\n\n[[joint.block]]\n\n[[joint.block.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\ntool = [\"A1\", \"B2\"]\nchecked = { by = \"M. Aster\", day = 2026-11-29, of = \"12345678\" }\n";

    fn path(text: &str) -> Path {
        text.parse().unwrap()
    }

    #[test]
    fn a_joint_is_taken_with_its_document_and_without_its_checks_and_what_lacks_is_told() {
        let mut here = Document::new(HERE);
        let there = Document::new(THERE);
        let added = here
            .take_joint(&there, &path("joint/0"), &Where::Last)
            .unwrap();
        assert_eq!(added, path("joint/1"));
        let text = here.text();
        assert!(text.contains("# Of the old pump.\n[[joint]]\nid = \"cover\" # round\n"));
        assert!(
            text.contains("document = \"section 6, page 42\"\n"),
            "{text}"
        );
        assert!(text.contains("entered_by = \"R. Quay\"\n"));
        assert!(!text.contains("checked"));
        assert_eq!(
            here.lacks(&added),
            ["tool A1", "tool B2", "head (after)", "bracket/2 (shares)"]
        );
        assert!(here.undo());
        assert_eq!(here.text(), HERE);
        assert!(!here.can_undo());
    }

    #[test]
    fn a_joint_kept_alone_is_a_plan_with_its_document() {
        let mut there = Document::new(THERE);
        for key in ["after", "shares"] {
            there.remove(&path("joint/0").key(key)).unwrap();
        }
        there
            .remove(&path("joint/0/block/0/stage/0").key("tool"))
            .unwrap();
        let text = there.alone(&path("joint/0")).unwrap();
        let plan =
            Plan::parse("cover.toml", &text).unwrap_or_else(|errors| panic!("{errors}\n{text}"));
        assert_eq!(plan.build().title, "cover");
        assert_eq!(plan.build().document.as_deref(), Some("section 6, page 42"));
        assert_eq!(plan.build().entered_by.as_deref(), Some("R. Quay"));
        assert!(!text.contains("checked"));
        // And back: the document comes along.
        let mut here = Document::new(HERE);
        let own = Document::new(&text);
        let added = here
            .take_joint(&own, &path("joint/0"), &Where::Last)
            .unwrap();
        assert_eq!(
            here.words(&added, "document").as_deref(),
            Some("section 6, page 42")
        );
    }
}
