//! The plan being written: what is in hand, what is typed, what is saved; and the view of it.
//!
//! Knows nothing of drawing, and nothing of the build in work, which goes on with the plan as it was read.

mod check;
mod checking;
mod drawing;
mod library;
mod outline;
mod picture;
mod show;

use std::path::{Path as File, PathBuf};
use std::sync::Arc;

use super::super::edit_view::{PlanAsk, PlanEdit};
use super::Model;
use crate::disk::{self, System};
use crate::plan::beginnings;
use crate::plan::edit::item::Item;
use crate::plan::edit::joints::Foreign;
use crate::plan::edit::layout::Path;
use crate::plan::edit::table;
use crate::plan::edit::{Checked, Document, EditError, Where};

/// The plan being written.
#[derive(Debug)]
pub(super) struct Editor {
    name: String,
    /// Its file; none for the built-in demo and for a new plan.
    path: Option<PathBuf>,
    document: Document,
    /// As it is on disk.
    saved: String,
    at: Path,
    checked: Checked,
    checking: Option<checking::Checking>,
    version: u64,
    /// The picture of the joint in hand, as it was read last.
    picture: super::picture::Seen,
    /// Joints of other plans that can be taken.
    offers: library::Offers,
    /// Who compares lines with the document now.
    checker: String,
    view: Arc<PlanEdit>,
}

impl Editor {
    pub(super) fn new(name: &str, path: Option<&File>, text: &str) -> Self {
        let document = Document::new(text);
        let checked = document.check_in(name, path.map(disk::folder_of));
        let mut editor = Self {
            name: name.to_owned(),
            path: path.map(File::to_owned),
            document,
            saved: text.to_owned(),
            at: Path::default().key("build"),
            checked,
            checking: None,
            version: 0,
            picture: super::picture::Seen::default(),
            offers: library::Offers::default(),
            checker: String::new(),
            view: Arc::default(),
        };
        editor.refresh();
        editor
    }

    pub(super) fn view(&self) -> Arc<PlanEdit> {
        Arc::clone(&self.view)
    }

    pub(super) fn text(&self) -> &str {
        self.document.text()
    }

    pub(super) fn path(&self) -> Option<&File> {
        self.path.as_deref()
    }

    pub(super) fn is_unsaved(&self) -> bool {
        self.document.text() != self.saved
    }

    /// The file has another text now. What was typed and not saved stays; false then.
    pub(super) fn read(&mut self, text: &str) -> bool {
        let keeps = self.is_unsaved() && self.saved != text;
        text.clone_into(&mut self.saved);
        if !keeps {
            self.document.set_text(text);
        }
        self.changed();
        !keeps
    }

    /// A new plan, that has no file yet.
    fn begin(&mut self, what: &str) -> Result<(), EditError> {
        let text = match what {
            "" => "[build]\ntitle = \"\"\n",
            other => beginnings::named(other).ok_or(EditError::Missing)?.text,
        };
        self.document = Document::new(text);
        self.name = "new-plan.toml".to_owned();
        self.path = None;
        self.saved.clear();
        self.at = Path::default().key("build");
        Ok(())
    }

    /// Takes the file's text in place of what was typed; it can be taken back.
    pub(super) fn take_saved(&mut self) {
        self.document.set_text(&self.saved.clone());
        self.changed();
    }

    fn changed(&mut self) {
        self.check();
        self.refresh();
    }

    /// Goes to what is nearest of what was in hand, and draws everything anew.
    fn refresh(&mut self) {
        if self.document.layout().is_some() {
            while !self.at.0.is_empty() && !self.exists(&self.at) {
                self.at = match self.at.item() {
                    Some((list, index)) if index > 0 => list.at(index.saturating_sub(1)),
                    Some((list, _)) => list.parent(),
                    None => self.at.parent(),
                };
            }
            if self.at.0.is_empty() {
                self.at = Path::default().key("build");
            }
        }
        self.version += 1;
        self.look_at_picture();
        self.view = Arc::new(self.draw());
    }

    /// Whether there is a table there; the header of the build can always be taken in hand.
    fn exists(&self, path: &Path) -> bool {
        *path == Path::default().key("build")
            || self
                .document
                .layout()
                .is_some_and(|layout| layout.table(path).is_some())
    }

    /// Adds what an addition names, behind what is in hand, and takes it in hand.
    fn add(&mut self, what: &str) -> Result<(), EditError> {
        let (list, kind) = what.split_once(' ').unwrap_or((what, ""));
        let item = match (list, kind) {
            ("stage", kind) => Item::new().text("do", kind),
            ("block", _) => Item::new().with("stage", Item::new().text("do", "tighten")),
            _ => Item::new(),
        };
        if let Some(pattern) = what.strip_prefix("like ") {
            return self.add_beginning(pattern);
        }
        self.add_item(list, &item)
    }

    fn add_beginning(&mut self, name: &str) -> Result<(), EditError> {
        let beginning = beginnings::named(name).ok_or(EditError::Missing)?;
        let other = Document::new(beginning.text);
        for path in other.joints() {
            let joint = other.to_take(&path).ok_or(EditError::Missing)?;
            self.add_foreign(&joint)?;
        }
        Ok(())
    }

    /// Adds a joint as it is written elsewhere, under an id that is free.
    fn add_foreign(&mut self, joint: &Foreign) -> Result<(), EditError> {
        let to = self.behind(&Path::default().key("joint"));
        self.at = self.document.add_foreign(joint, &to)?;
        Ok(())
    }

    /// Right behind what is in hand where that belongs to this list, else at its end.
    fn behind(&self, list: &Path) -> Where {
        let mut path = self.at.clone();
        while !path.0.is_empty() {
            if path.item().is_some_and(|(own, _)| own == *list) {
                return Where::After(path);
            }
            path = path.parent();
        }
        Where::Last
    }

    /// The joint that is in hand, or that holds what is.
    fn joint(&self) -> Option<Path> {
        let steps = self.at.0.get(..2)?;
        let path = Path(steps.to_vec());
        (path.item()?.0 == Path::default().key("joint")).then_some(path)
    }

    /// The block that is in hand, or that holds what is.
    fn block(&self) -> Option<Path> {
        let steps = self.at.0.get(..4)?;
        let path = Path(steps.to_vec());
        (path.item()?.0.last_key()? == "block").then_some(path)
    }

    fn add_item(&mut self, list: &str, item: &Item) -> Result<(), EditError> {
        let root = Path::default();
        let joint = self.joint();
        let (list, to) = match (list, &joint) {
            ("stage", Some(joint)) => match self.block() {
                // A stage goes into the block in hand, also when the block itself is.
                Some(block) => (block.key("stage"), self.behind(&block.key("stage"))),
                None => (joint.key("stage"), self.after_step(joint)),
            },
            ("block", Some(joint)) => (joint.key("block"), self.after_step(joint)),
            ("variant", Some(joint)) => {
                let list = joint.key("variant");
                let first = self.document.steps(joint).into_iter().next();
                let to = match (self.document.len_of(&list), first) {
                    (0, Some(first)) => Where::Before(first),
                    _ => self.behind(&list),
                };
                (list, to)
            }
            ("stage" | "block" | "variant", None) => return Err(EditError::Missing),
            (other, _) => (root.key(other), self.behind(&root.key(other))),
        };
        self.at = self.document.add(&list, item, &to)?;
        Ok(())
    }

    /// Behind the stage or block in hand, or behind the last of the joint.
    fn after_step(&self, joint: &Path) -> Where {
        let steps = self.document.steps(joint);
        match steps.iter().find(|step| self.at.is_in(step)) {
            Some(step) => Where::After(step.clone()),
            None => steps
                .last()
                .map_or(Where::Last, |last| Where::After(last.clone())),
        }
    }

    /// Another of what is in hand: a stage of the same kind, an empty joint, tool or part.
    fn again(&mut self) -> Result<(), EditError> {
        let list = self
            .at
            .item()
            .and_then(|(list, _)| list.last_key().map(str::to_owned));
        match list.as_deref() {
            Some("stage") => {
                let kind = self.document.words(&self.at, "do");
                let kind = kind.unwrap_or_else(|| "tighten".to_owned());
                self.add(&format!("stage {kind}"))
            }
            Some(list) => self.add(list),
            None => self.add("joint"),
        }
    }

    /// The same once more.
    fn copy(&mut self) -> Result<(), EditError> {
        let (list, _) = self.at.item().ok_or(EditError::Missing)?;
        let to = Where::After(self.at.clone());
        let added = match self.document.text_of(&self.at) {
            Some(text) => self.document.add_text(&list, &text, &to)?,
            None => {
                let item = self.document.item(&self.at).ok_or(EditError::Missing)?;
                self.document.add(&list, &item, &to)?
            }
        };
        self.document.free_id(&added)?;
        self.document.forget_checks(&added)?;
        self.at = added;
        Ok(())
    }

    fn step_by(&mut self, down: bool) -> Result<(), EditError> {
        let siblings: Vec<Path> = match self.joint() {
            Some(joint) if self.document.steps(&joint).contains(&self.at) => {
                self.document.steps(&joint)
            }
            _ => {
                let (list, _) = self.at.item().ok_or(EditError::Missing)?;
                (0..self.document.len_of(&list))
                    .map(|index| list.at(index))
                    .collect()
            }
        };
        let own = siblings.iter().position(|path| *path == self.at);
        let own = own.ok_or(EditError::Missing)?;
        let other = if down {
            own.checked_add(1)
        } else {
            own.checked_sub(1)
        };
        let Some(other) = other.filter(|other| *other < siblings.len()) else {
            return Ok(());
        };
        let (first, second) = (own.min(other), own.max(other));
        if let (Some(first), Some(second)) = (siblings.get(first), siblings.get(second)) {
            self.document.swap(first, second)?;
        }
        // What was moved has the place of the other now, counted among its own kind.
        self.at = match self.joint() {
            Some(joint) if self.at.0.len() == 4 => {
                let steps = self.document.steps(&joint);
                steps.get(other).cloned().unwrap_or_else(|| self.at.clone())
            }
            _ => siblings
                .get(other)
                .cloned()
                .unwrap_or_else(|| self.at.clone()),
        };
        Ok(())
    }

    /// Adds the joints of a table; what cannot be read is told apart from what cannot be done.
    fn paste(&mut self, text: &str) -> Result<Result<(), EditError>, String> {
        let joints = table::joints(text)?;
        let to = self.behind(&Path::default().key("joint"));
        let added = self.document.add_joints(&joints, &to);
        Ok(added.map(|last| self.at = last))
    }

    fn remove(&mut self) -> Result<(), EditError> {
        if self.at.item().is_none() {
            return Err(EditError::Missing);
        }
        self.document.remove(&self.at.clone())
    }

    /// Takes this in hand.
    fn select(&mut self, path: &str) {
        self.document.pause();
        let path = outline::path_of(path);
        if self.exists(&path) {
            self.at = path;
        }
        self.refresh();
    }

    fn go(&mut self, lines: isize) {
        let rows = &self.view.rows;
        let own = rows.iter().position(|row| row.path == self.view.at);
        let to = own.unwrap_or(0).saturating_add_signed(lines);
        if let Some(row) = rows.get(to.min(rows.len().saturating_sub(1))) {
            let path = row.path.clone();
            self.select(&path);
        }
    }

    /// The text, or the part of it that is shown, as typed.
    fn type_text(&mut self, typed: &str) {
        let part = self.part();
        let mut text = self.document.text().to_owned();
        text.replace_range(part, typed);
        self.document.set_text(&text);
    }
}

/// What the plan screen draws of a text that was just opened, with this in hand.
#[must_use]
pub fn plan_written(name: &str, text: &str, at: &str) -> Arc<PlanEdit> {
    let mut editor = Editor::new(name, Some(File::new(name)), text);
    editor.select(at);
    editor.view()
}

/// What stands in the way of another plan.
pub(super) const UNSAVED: &str =
    "the plan has changes that are not saved: save them (Ctrl+S), or drop them (U)";

impl Model {
    /// Does what the plan screen asked for.
    pub(super) fn edit(&mut self, ask: PlanAsk) {
        let editor = &mut self.editor;
        let done = match ask {
            PlanAsk::Select(path) => return editor.select(&path),
            PlanAsk::Go(lines) => return editor.go(lines),
            PlanAsk::Pause => {
                editor.document.pause();
                return;
            }
            PlanAsk::Set(of, key, typed) => {
                let of = outline::path_of(&of);
                editor.document.type_in(&of, &key, &typed)
            }
            PlanAsk::Text(typed) => {
                editor.type_text(&typed);
                Ok(())
            }
            PlanAsk::Look => {
                editor.look_in_library();
                return editor.refresh();
            }
            PlanAsk::Offer(path) => {
                return match editor.offer(&path) {
                    Ok(()) => editor.refresh(),
                    Err(words) => self.say(true, words),
                };
            }
            PlanAsk::Keep => {
                let kept = editor.keep_in_library();
                editor.refresh();
                return match kept {
                    Ok(words) => self.say(false, words),
                    Err(words) => self.say(true, words),
                };
            }
            PlanAsk::Check(by) => match editor.check_line(by.trim()) {
                Ok(words) => {
                    editor.changed();
                    return self.say(false, words);
                }
                Err(words) => return self.say(true, words),
            },
            PlanAsk::Add(what) if library::is_offer(&what) => match editor.take(&what) {
                Ok(words) => {
                    editor.changed();
                    return self.say(false, words);
                }
                Err(error) => Err(error),
            },
            PlanAsk::Add(what) => editor.add(&what),
            PlanAsk::Again => editor.again(),
            PlanAsk::Copy => editor.copy(),
            PlanAsk::Remove => editor.remove(),
            PlanAsk::Move(down) => editor.step_by(down),
            PlanAsk::Paste(table) => match editor.paste(&table) {
                Ok(done) => done,
                Err(words) => return self.say(true, words),
            },
            PlanAsk::Draw(what) => match editor.draw_in(what) {
                Ok(done) => done,
                Err(words) => return self.say(true, words),
            },
            PlanAsk::Undo => {
                editor.document.undo();
                Ok(())
            }
            PlanAsk::Redo => {
                editor.document.redo();
                Ok(())
            }
            PlanAsk::Save => return self.save_edited(None),
            PlanAsk::SaveAs(path) => return self.save_edited(Some(&path)),
            PlanAsk::Begin(_) if editor.is_unsaved() => return self.say(true, UNSAVED),
            PlanAsk::Begin(what) => editor.begin(&what),
        };
        self.editor.changed();
        if let Err(error) = done {
            self.say(true, error.to_string());
        }
    }

    /// Writes the plan, faults and all. What has none takes the place of the plan in work.
    fn save_edited(&mut self, to: Option<&File>) {
        let text = self.editor.text().to_owned();
        if self.editor.is_checking() {
            self.editor.check_to_the_end();
            self.editor.refresh();
        }
        let errors = self.editor.checked.count;
        let (path, is_new) = match (to, &self.editor.path) {
            (Some(path), own) => {
                // Where it lies is said whole.
                let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
                let is_new = own.as_deref() != Some(path.as_path());
                (path, is_new)
            }
            (None, Some(path)) => (path.clone(), false),
            (None, None) => {
                return self.say(true, "the plan has no file yet: type a name for it");
            }
        };
        if path.as_os_str().is_empty() {
            return self.say(true, "the plan needs a file name");
        }
        let written = if is_new {
            disk::create(&System, &path, text.as_bytes())
        } else {
            disk::replace(&System, &path, text.as_bytes())
        };
        if let Err(error) = written {
            let kept = if is_new {
                "; a file that exists is never written over under a new name"
            } else {
                ""
            };
            return self.say(
                true,
                format!("{} cannot be written: {error}{kept}", path.display()),
            );
        }
        self.editor.saved.clone_from(&text);
        if is_new {
            let (document, at) = (self.editor.document.clone(), self.editor.at.clone());
            self.open_plan(&path);
            if self.editor.path.as_ref() == Some(&path) {
                // The same plan under another name: what was done to it can still be taken back.
                self.editor.document = document;
                self.editor.at = at;
                self.editor.changed();
            }
        } else {
            self.reload();
        }
        if errors > 0 {
            let faults = if errors == 1 { "a fault" } else { "faults" };
            self.say(
                true,
                format!("saved with {faults}; work goes on with the plan as it was before"),
            );
        } else {
            self.say(false, format!("saved as {}", path.display()));
        }
    }
}
