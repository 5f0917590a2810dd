//! The plan's file: opened, watched, read again, or written from the form; and the job that goes with it.
//!
//! Knows nothing of what is in a plan.

use std::path::Path;
use std::time::SystemTime;

use evendraw_core::ledger::Standing;

use super::editor::UNSAVED;
use super::{Hand, Model, Readings, files};
use crate::plan::Plan;
use crate::store::{Fact, Purpose};

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

    /// Back to where the last record was made: to that journal, and to that joint if something is still to be done there.
    pub(super) fn return_to_place(&mut self) {
        if files::last_used(&self.file.folder, &self.file.name) == Purpose::Job {
            self.readings = Readings::None;
        }
        self.open_job();
        if self.job.is_none() && self.file.findings.is_empty() && !self.is_rehearsing() {
            // In use elsewhere, or damaged: said, and left alone.
            let said = self.notice.take();
            self.readings = Readings::Bench;
            self.open_job();
            self.notice = said.or(self.notice.take());
        }
        self.open = self.job.as_ref().and_then(|job| {
            let last = job.facts().iter().rev().find_map(|fact| match fact {
                Fact::Entry(entry) => Some(entry.joint),
                Fact::Host(_) => None,
            })?;
            (job.standing(last) != Standing::Final).then_some(last)
        });
        self.enter();
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
                self.file.findings = errors
                    .list()
                    .iter()
                    .map(|fault| files::finding(&self.file.text, fault))
                    .collect();
                return;
            }
        };
        self.file.findings = plan
            .warnings()
            .iter()
            .map(|fault| files::finding(&self.file.text, fault))
            .collect();
        match files::take_up(&self.file.folder, &self.file.name, plan, self.purpose()) {
            Ok((mut job, told)) => {
                let now = SystemTime::now()
                    .duration_since(SystemTime::UNIX_EPOCH)
                    .map_or(0, |since| since.as_secs());
                let since = self.micros / 1_000_000;
                job.set_wall_time(i64::try_from(now.saturating_sub(since)).unwrap_or(0));
                self.job = Some(job);
                self.give_forerunners();
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

    /// Another build in place of this one, in the same window.
    pub(super) fn take_over(&mut self, mut other: Self) {
        other.seen_s = self.seen_s;
        other.micros = self.micros;
        other.bench.pace = self.bench.pace;
        other.browser = self.browser;
        other.newton_meters = self.newton_meters;
        other.picker = self.picker;
        other.shelf = std::mem::take(&mut self.shelf);
        other.shelf_reading = self.shelf_reading.take();
        other.history = self.history.take();
        *self = other;
        self.give_forerunners();
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
            let faults = errors.list().iter();
            self.file.findings = faults.map(|fault| files::finding(&text, fault)).collect();
            return self.say(
                true,
                "the plan has faults (F6 shows where); work goes on with the plan as it was before",
            );
        }
        self.file.text = text;
        let open = self.open;
        // The journal is let go of before it is taken up again.
        self.open_job();
        self.open = open.filter(|_| self.job.is_some());
        let words = match (self.job.is_some(), taken) {
            (true, true) => "the plan was read again",
            (true, false) => {
                "the plan was changed on disk and read again; what is typed here and not saved is kept"
            }
            (false, _) => "the plan cannot be used: F6 shows where",
        };
        self.say(!self.file.findings.is_empty() || !taken, words);
    }
}
