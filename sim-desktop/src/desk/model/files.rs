//! Where plans and journals lie, and what is said when they cannot be read.
//!
//! Knows nothing of views beyond a finding in the plan.

use std::fmt;
use std::path::Path;

use super::super::view::Finding;
use crate::job::{Job, JobError};
use crate::plan::{Diagnostic, Plan, Severity};
use crate::store::Purpose;
pub(super) use crate::store::names::{
    journal_beside as journal, last_used, new_journal_beside as new_journal, stamp,
};

/// Why the desk cannot open what it was asked for.
#[derive(Debug)]
pub struct ModelError {
    words: String,
}

impl ModelError {
    pub(super) fn new(path: &Path, error: &std::io::Error) -> Self {
        Self {
            words: format!(
                "{} cannot be read: {error}; allowed: a plan file in TOML",
                path.display()
            ),
        }
    }
}

impl fmt::Display for ModelError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.words)
    }
}

impl std::error::Error for ModelError {}

/// The job as it was left, or a new one; with what should be said about it.
///
/// A rehearsal that cannot be kept is worked all the same, and told so; a real job is not.
pub(super) fn take_up(
    folder: &Path,
    name: &str,
    plan: Plan,
    purpose: Purpose,
) -> Result<(Job, Option<String>), JobError> {
    let path = journal(folder, name, purpose);
    if !path.exists() {
        let made = std::fs::create_dir_all(folder);
        return match Job::create(&path, plan.clone(), purpose) {
            Ok(job) => Ok((job, None)),
            Err(error) if purpose == Purpose::Rehearsal => {
                let why = made
                    .err()
                    .map_or_else(|| error.to_string(), |error| error.to_string());
                Ok((
                    Job::unkept(plan, purpose),
                    Some(format!("this rehearsal is not kept: {why}")),
                ))
            }
            Err(error) => Err(error),
        };
    }
    match Job::open(&path, purpose) {
        Ok(mut job) => {
            if job.plan().text() == plan.text() {
                return Ok((job, None));
            }
            match job.change_plan(plan) {
                Ok(()) => Ok((job, None)),
                Err(error) => Ok((
                    job,
                    Some(format!(
                        "the plan was changed since: {error}. Work goes on with the plan in the journal."
                    )),
                )),
            }
        }
        // A rehearsal in use elsewhere, or one that does not read: it is left alone, and this one is not kept.
        Err(error) if purpose == Purpose::Rehearsal => Ok((
            Job::unkept(plan, purpose),
            Some(format!("this rehearsal is not kept: {error}")),
        )),
        Err(error) => Err(error),
    }
}

/// The faults of a plan as the screen shows them.
pub(super) fn findings(text: &str, faults: &[Diagnostic]) -> Vec<Finding> {
    faults.iter().map(|fault| finding(text, fault)).collect()
}

fn finding(text: &str, fault: &Diagnostic) -> Finding {
    let place = fault.place();
    let length = text
        .get(place)
        .and_then(|words| words.lines().next())
        .map_or(1, |words| words.chars().count());
    Finding {
        warning: fault.severity() == Severity::Warning,
        line: fault.line(),
        column: fault.column(),
        length,
        words: fault.what().to_owned(),
        hint: fault.allowed().unwrap_or_default().to_owned(),
    }
}

/// Hands a file to whatever the system shows pages with. False when there is nothing.
pub(super) fn open_in_browser(path: &Path) -> bool {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    shower(&path)
        .stdin(std::process::Stdio::null())
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .is_ok()
}

#[cfg(not(windows))]
fn shower(path: &Path) -> std::process::Command {
    let name = if cfg!(target_os = "macos") {
        "open"
    } else {
        "xdg-open"
    };
    let mut command = std::process::Command::new(name);
    command.arg(path);
    command
}

/// In quotes always: without them the shell there would take an `&` of a folder's name for the end of a command.
#[cfg(windows)]
fn shower(path: &Path) -> std::process::Command {
    use std::os::windows::process::CommandExt as _;
    let mut quoted = std::ffi::OsString::from("\"");
    quoted.push(path);
    quoted.push("\"");
    let mut command = std::process::Command::new("cmd");
    command
        .args(["/C", "start"])
        .raw_arg("\"\"")
        .raw_arg(quoted);
    command
}
