//! The plan's file: opened, watched, read again, or written from the form; and the job that goes with it.
//!
//! Knows nothing of what is in a plan.

use std::path::Path;

use super::{Hand, Model, files};
use crate::disk::{self, System};
use crate::job::Job;
use crate::plan::Plan;
use crate::store::Purpose;

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
            return;
        }
        match files::take_up(&self.file.folder, &self.file.name, plan, self.purpose) {
            Ok((mut job, told)) => {
                job.set_wall_time(self.wall_time_at_zero());
                self.job = Some(job);
                if let Some(words) = told {
                    self.say(true, words);
                }
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    pub(super) fn open_plan(&mut self, path: &Path) {
        match Self::open(Some(path)) {
            Ok(mut other) => {
                other.seen_s = self.seen_s;
                other.micros = self.micros;
                other.bench.pace = self.bench.pace;
                other.browser = self.browser;
                other.newton_meters = self.newton_meters;
                other.picker = self.picker;
                *self = other;
                self.dirty = true;
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    /// Wall time at which the clock of this start stood at zero.
    pub(super) fn wall_time_at_zero(&self) -> i64 {
        let since = i64::try_from(self.micros / 1_000_000).unwrap_or(0);
        super::start::now().saturating_sub(since)
    }

    pub(super) fn reload(&mut self) {
        let Some(path) = self.file.path.clone() else {
            return;
        };
        match crate::limits::read_plan(&path) {
            Ok(text) => {
                self.file.stamp = files::stamp(&path);
                self.file.text = text;
                if self.is_asking() {
                    self.ask_purpose();
                    return self.say(false, "the plan was read again");
                }
                let open = self.open;
                // The journal is let go of before it is taken up again.
                self.open_job();
                self.open = open.filter(|_| self.job.is_some());
                self.say(
                    !self.file.findings.is_empty(),
                    if self.job.is_some() {
                        "the plan was read again"
                    } else {
                        "the plan cannot be used: F6 shows where"
                    },
                );
            }
            Err(error) => self.say(true, format!("{} cannot be read: {error}", path.display())),
        }
    }

    pub(super) fn save_plan(&mut self, path: &Path, text: &str) {
        if path.as_os_str().is_empty() {
            return self.say(true, "the plan needs a file name");
        }
        match disk::create(&System, path, text.as_bytes()) {
            Ok(()) => self.open_plan(path),
            Err(error) => self.say(
                true,
                format!(
                    "{} cannot be written: {error}; a file that exists is never written over",
                    path.display()
                ),
            ),
        }
    }
}
