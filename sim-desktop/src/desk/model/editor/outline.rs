//! The outline of a plan being written: one line for each table, those below the joint in hand with it.
//!
//! Knows nothing of fields.

use super::super::super::edit_view::OutlineRow;
use super::Editor;
use crate::plan::edit::fields::kind_of;
use crate::plan::edit::layout::{Path, Step};

/// The way that a view's text means. In front of a place stands always the key of a list.
pub(super) fn path_of(text: &str) -> Path {
    let steps = text.split('/').filter(|step| !step.is_empty());
    let mut path: Vec<Step> = Vec::new();
    for step in steps {
        let step = match (step.parse(), path.last()) {
            (Ok(index), Some(Step::Key(_))) => Step::At(index),
            _ => Step::Key(step.to_owned()),
        };
        path.push(step);
    }
    Path(path)
}

impl Editor {
    /// Every line of the outline.
    pub(super) fn outline(&self) -> Vec<OutlineRow> {
        let root = Path::default();
        let mut rows = Vec::new();
        self.row(&mut rows, &root.key("build"), 0);
        let Some(kind) = kind_of(&root) else {
            return rows;
        };
        for list in &kind.lists {
            let list = root.key(list);
            for index in 0..self.document.len_of(&list) {
                let path = list.at(index);
                let is_open = self.at.is_in(&path);
                self.row(&mut rows, &path, 0);
                if is_open {
                    self.below(&mut rows, &path);
                }
            }
        }
        rows
    }

    fn below(&self, rows: &mut Vec<OutlineRow>, joint: &Path) {
        let variants = joint.key("variant");
        for index in 0..self.document.len_of(&variants) {
            self.row(rows, &variants.at(index), 1);
        }
        for step in self.document.steps(joint) {
            self.row(rows, &step, 1);
            let stages = step.key("stage");
            for index in 0..self.document.len_of(&stages) {
                self.row(rows, &stages.at(index), 2);
            }
        }
    }

    fn row(&self, rows: &mut Vec<OutlineRow>, path: &Path, depth: usize) {
        let is_open = self.at.is_in(path);
        let own = self.checked.faults.iter().filter(|fault| {
            if is_open && depth < 2 && path.0.len() > 1 {
                // What lies below has lines of its own.
                fault.path.is_in(path)
                    && !(fault.path.0.len() > path.0.len() + 1
                        && matches!(fault.path.0.get(path.0.len() + 1), Some(Step::At(_))))
            } else {
                fault.path.is_in(path)
            }
        });
        let (mut errors, mut questions) = (0, 0);
        for fault in own {
            if fault.warning {
                questions += 1;
            } else {
                errors += 1;
            }
        }
        rows.push(OutlineRow {
            path: path.to_string(),
            depth,
            words: self.words_of(path),
            errors,
            questions,
            checked: self.is_checked(path),
        });
    }

    /// What a table is called in one line.
    pub(super) fn words_of(&self, path: &Path) -> String {
        let words = |key: &str| {
            let own = self.document.words(path, key);
            own.map(|words| words.trim().to_owned())
                .filter(|words| !words.is_empty())
        };
        let raw =
            |key: &str| words(key).or_else(|| self.document.raw(&path.key(key)).map(str::to_owned));
        let title = words("title")
            .or_else(|| words("id"))
            .or_else(|| words("name"));
        let number = path.item().map_or(1, |(_, index)| index + 1);
        match path.last_key().unwrap_or_default() {
            "build" => title.map_or_else(|| "Build".to_owned(), |title| format!("Build: {title}")),
            "joint" => title.unwrap_or_else(|| format!("Joint {number}, no id yet")),
            "stage" => {
                let kind = words("do").unwrap_or_else(|| "stage".to_owned());
                let most = [
                    "torque", "angle", "to", "length", "ask", "turns", "at_least", "at_most",
                    "after",
                ];
                let value = most.into_iter().find_map(raw).unwrap_or_default();
                format!("{kind} {value}").trim_end().to_owned()
            }
            "block" => title.map_or_else(|| "block".to_owned(), |name| format!("block: {name}")),
            "variant" => format!("asks: {}", words("ask").unwrap_or_default()),
            "tool" => {
                let kind = words("kind").unwrap_or_default();
                let id = words("id").unwrap_or_default();
                format!("Tool {id}: {kind}")
            }
            "part" => format!("Part: {}", words("name").unwrap_or_default()),
            other => {
                let mut name = other.to_owned();
                if let Some(first) = name.get_mut(..1) {
                    first.make_ascii_uppercase();
                }
                match title {
                    Some(title) => format!("{name}: {title}"),
                    None => format!("{name} {number}"),
                }
            }
        }
    }
}
