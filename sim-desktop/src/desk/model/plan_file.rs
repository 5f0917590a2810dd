//! The plan's file: opened, watched, read again, or written from the form; and the job that goes with it.
//!
//! Knows nothing of what is in a plan.

use std::path::Path;

use super::editor::UNSAVED;
use super::{Hand, Model, files};
use crate::job::Job;
use crate::plan::Plan;
use crate::store::Purpose;

/// What is said where nothing was typed meanwhile, and where something was.
/// What is said of a plan that was read again; whether the screen of the plan took it over too.
fn read_again(taken: bool) -> &'static str {
    if taken {
        "the plan was read again"
    } else {
        "the plan was changed on disk and read again; what is typed here and not saved is kept"
    }
}

impl Model {
    pub(super) fn look_at_plan_file(&mut self) {
        let Some(path) = &self.file.path else { return };
        let stamp = files::stamp(path);
        if stamp.is_none() || stamp == self.file.stamp {
            return;
        }
        self.file.stamp = stamp;
        self.reload();
    }

    /// Reads the plan and takes up its journal, or begins one.
    pub(super) fn open_job(&mut self) {
        self.job = None;
        self.bench.station = None;
        self.open = None;
        self.bench.faults.clear();
        self.bench.hand = Hand::Off;
        self.file.findings.clear();
        self.dirty = true;
        let plan = match Plan::read(&self.file.name, &self.file.text, &self.file.folder) {
            Ok(plan) => plan,
            Err(errors) => {
                self.file.findings = files::findings(&self.file.text, errors.list());
                return;
            }
        };
        self.file.findings = files::findings(&self.file.text, plan.warnings());
        self.begins_at = None;
        let path = files::journal(&self.file.folder, &self.file.name, self.purpose);
        if self.purpose == Purpose::Job && !path.exists() {
            // Nothing is written before something was done.
            self.begins_at = Some(path);
            self.job = Some(Job::unkept(plan, Purpose::Job));
            self.put_beside_forerunners();
            return;
        }
        match files::take_up(&self.file.folder, &self.file.name, plan, self.purpose) {
            Ok((mut job, told)) => {
                job.set_wall_time(self.wall_time_at_zero());
                self.job = Some(job);
                self.put_beside_forerunners();
                self.show_history();
                if let Some(words) = told {
                    self.say(true, words);
                }
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    pub(super) fn open_plan(&mut self, path: &Path) {
        if self.editor.is_unsaved() {
            return self.say(true, UNSAVED);
        }
        match Self::open(Some(path)) {
            Ok(other) => self.take_over(other),
            Err(error) => self.say(true, error.to_string()),
        }
    }

    /// Wall time at which the clock of this start stood at zero.
    pub(super) fn wall_time_at_zero(&self) -> i64 {
        let since = i64::try_from(self.micros / 1_000_000).unwrap_or(0);
        super::start::now().saturating_sub(since)
    }

    /// Another build in place of this one, in the same window.
    pub(super) fn take_over(&mut self, mut other: Self) {
        other.seen_s = self.seen_s;
        other.micros = self.micros;
        other.bench.pace = self.bench.pace;
        other.browser = self.browser;
        other.newton_meters = self.newton_meters;
        other.picker = self.picker;
        other.recent = std::mem::take(&mut self.recent);
        other.view.recent.clear();
        other.shelf = std::mem::take(&mut self.shelf);
        other.shelf_reading = self.shelf_reading.take();
        other.history = self.history.take();
        other.forerunners = std::mem::take(&mut self.forerunners);
        *self = other;
        self.put_beside_forerunners();
        self.show_history();
        self.put_on_recent();
        self.dirty = true;
    }

    /// Drops what was typed and not saved, and reads the file again.
    pub(super) fn reload_all(&mut self) {
        let dropped = self.editor.is_unsaved();
        self.editor.take_saved();
        self.reload();
        if dropped {
            self.say(false, "the changes are dropped; Ctrl+Z brings them back");
        }
    }

    /// Reads the file again. A text with faults does not take the place of the plan in work; what is typed and not saved stays.
    pub(super) fn reload(&mut self) {
        let Some(path) = self.file.path.clone() else {
            return;
        };
        let text = match crate::limits::read_plan(&path) {
            Ok(text) => text,
            Err(error) => {
                return self.say(true, format!("{} cannot be read: {error}", path.display()));
            }
        };
        self.file.stamp = files::stamp(&path);
        let taken = self.editor.path() != Some(&*path) || self.editor.read(&text);
        if let (Err(errors), true) = (
            Plan::read(&self.file.name, &text, &self.file.folder),
            self.job.is_some(),
        ) {
            self.file.findings = files::findings(&text, errors.list());
            return self.say(
                true,
                "the plan has faults (F6 shows where); work goes on with the plan as it was before",
            );
        }
        self.file.text = text;
        if self.is_asking() {
            self.ask_purpose();
            return self.say(!taken, read_again(taken));
        }
        let open = self.open;
        // The journal is let go of before it is taken up again.
        self.open_job();
        self.open = open.filter(|_| self.job.is_some());
        let words = match (self.job.is_some(), taken) {
            (true, taken) => read_again(taken),
            (false, _) => "the plan cannot be used: F6 shows where",
        };
        self.say(!self.file.findings.is_empty() || !taken, words);
    }
}
