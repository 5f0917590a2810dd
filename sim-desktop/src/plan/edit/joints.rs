//! Joints taken from elsewhere, and what is typed for a key: the same for the desk and for scripts.
//!
//! Knows nothing of where a text comes from.

use super::fields::{self, kind_of};
use super::item::{Item, quoted};
use super::layout::Path;
use super::value::{Takes, written};
use super::{Document, EditError, Where};

/// A joint as it is written in another plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Foreign {
    /// Under its headers, comments and all.
    Text(String),
    /// In brackets there.
    Item(Item),
}

impl Document {
    /// The joints, in the order of the file.
    #[must_use]
    pub fn joints(&self) -> Vec<Path> {
        let list = Path::default().key("joint");
        (0..self.len_of(&list))
            .map(|index| list.at(index))
            .collect()
    }

    /// The joint with this id.
    #[must_use]
    pub fn joint_with(&self, id: &str) -> Option<Path> {
        let mut joints = self.joints().into_iter();
        joints.find(|joint| self.words(joint, "id").as_deref() == Some(id))
    }

    /// What stands there, to be taken to another plan.
    #[must_use]
    pub fn to_take(&self, path: &Path) -> Option<Foreign> {
        match self.text_of(path) {
            Some(text) => Some(Foreign::Text(text)),
            None => self.item(path).map(Foreign::Item),
        }
    }

    /// Adds a joint of another plan, under an id that is free here, and returns where it is. Nobody has checked it here.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn add_foreign(&mut self, joint: &Foreign, to: &Where) -> Result<Path, EditError> {
        self.at_once(|own| {
            let list = Path::default().key("joint");
            let added = match joint {
                Foreign::Text(text) => own.add_text(&list, text, to)?,
                Foreign::Item(item) => own.add(&list, item, to)?,
            };
            own.free_id(&added)?;
            own.forget_checks(&added)?;
            Ok(added)
        })
    }

    /// Gives an item another id where its own is taken.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn free_id(&mut self, path: &Path) -> Result<(), EditError> {
        let Some(id) = self.words(path, "id") else {
            return Ok(());
        };
        let Some((list, own)) = path.item() else {
            return Ok(());
        };
        let taken: Vec<String> = (0..self.len_of(&list))
            .filter(|index| *index != own)
            .filter_map(|index| self.words(&list.at(index), "id"))
            .collect();
        if !taken.contains(&id) {
            return Ok(());
        }
        let stem = id.trim_end_matches(|letter: char| letter.is_ascii_digit());
        let stem = match stem.strip_suffix('-') {
            Some(stem) if stem.len() < id.len() => stem.to_owned(),
            _ => id.clone(),
        };
        let free = (2..)
            .map(|number| format!("{stem}-{number}"))
            .find(|id| !taken.contains(id));
        match free {
            Some(free) => self.set(path, "id", &quoted(&free), &[]),
            None => Ok(()),
        }
    }

    /// Puts what was typed for a key of the table at `of`, written as the key takes it; nothing typed takes the key away.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn type_in(&mut self, of: &Path, key: &str, typed: &str) -> Result<(), EditError> {
        let kind = kind_of(of);
        let takes = kind
            .and_then(|kind| kind.field(key))
            .map_or(Takes::Text, |field| field.takes.clone());
        if !typed.trim().is_empty() {
            let order = kind.map(fields::Kind::order).unwrap_or_default();
            return self.set(of, key, &written(typed, &takes), &order);
        }
        let layout = self.layout().ok_or(EditError::Broken)?;
        let Some(table) = layout.table(of) else {
            return Ok(());
        };
        if table.get(key).is_none() {
            return Ok(());
        }
        // A table in one line that has nothing else goes with its last key.
        let is_last = table.entries.len() == 1 && of.item().is_none() && of.0.len() > 1;
        let path = if is_last { of.clone() } else { of.key(key) };
        self.remove(&path)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Document, Where};

    #[test]
    fn a_joint_is_taken_from_another_plan_however_it_is_written_there() {
        for other in [
            "# the lid\n[[joint]]\nid = \"lid\"\ncircle = { number = 4, diameter = \"80 mm\" }\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"9 N·m\"\n",
            "joint = [{ id = \"lid\", circle = { number = 4, diameter = \"80 mm\" }, stage = [{ do = \"tighten\", torque = \"9 N·m\" }] }]\n",
        ] {
            let other = Document::new(other);
            let from = other.joint_with("lid").unwrap();
            let joint = other.to_take(&from).unwrap();
            let mut document = Document::new("[build]\ntitle = \"Winch\"\n");
            let before = document.text().to_owned();
            for id in ["lid", "lid-2", "lid-3"] {
                let added = document.add_foreign(&joint, &Where::Last).unwrap();
                assert_eq!(document.words(&added, "id").as_deref(), Some(id));
            }
            assert_eq!(document.check("winch.toml").count, 0, "{}", document.text());
            for _ in 0..3 {
                document.undo();
            }
            assert_eq!(document.text(), before, "one change each");
        }
    }
}
