//! Where plans and journals lie, and what is said when they cannot be read.
//!
//! Knows nothing of views beyond a finding in the plan.

use std::fmt;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::super::view::Finding;
use crate::job::{Job, JobError};
use crate::plan::{Diagnostic, Plan, Severity};
use crate::store::Purpose;

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

/// Where the demo build keeps its rehearsal: the user's state folder.
pub(in crate::desk) fn state_folder() -> PathBuf {
    let set = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    set("XDG_STATE_HOME")
        .or_else(|| set("HOME").map(|home| home.join(".local/state")))
        .or_else(|| set("LOCALAPPDATA"))
        .unwrap_or_else(std::env::temp_dir)
        .join("evendraw")
}

/// When the file was last changed.
pub(super) fn stamp(path: &Path) -> Option<SystemTime> {
    std::fs::metadata(path)
        .and_then(|data| data.modified())
        .ok()
}

/// The plan's file name without its ending.
fn stem(name: &str) -> &str {
    name.strip_suffix(".toml").unwrap_or(name)
}

/// The journal of this purpose that is in use: the last of those numbered.
pub(super) fn journal(folder: &Path, name: &str, purpose: Purpose) -> PathBuf {
    let mut found = numbered(folder, name, purpose, 1);
    for number in 2..1000 {
        let next = numbered(folder, name, purpose, number);
        if !next.exists() {
            break;
        }
        found = next;
    }
    found
}

/// What was worked on last: the job where its journal was written later than the rehearsal's, else the rehearsal.
pub(super) fn last_used(folder: &Path, name: &str) -> Purpose {
    let written = |purpose| stamp(&journal(folder, name, purpose));
    if written(Purpose::Job) > written(Purpose::Rehearsal) {
        Purpose::Job
    } else {
        Purpose::Rehearsal
    }
}

/// The first journal of this purpose that does not exist yet.
pub(super) fn new_journal(folder: &Path, name: &str, purpose: Purpose) -> PathBuf {
    (1..=1000)
        .map(|number| numbered(folder, name, purpose, number))
        .find(|path| !path.exists())
        .unwrap_or_else(|| numbered(folder, name, purpose, 1001))
}

fn numbered(folder: &Path, name: &str, purpose: Purpose, number: u32) -> PathBuf {
    let kind = match purpose {
        Purpose::Job => "",
        Purpose::Rehearsal => ".rehearsal",
    };
    let number = if number > 1 {
        format!("-{number}")
    } else {
        String::new()
    };
    folder.join(format!("{}{kind}{number}.evj", stem(name)))
}

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
    let mut command = if cfg!(target_os = "macos") {
        std::process::Command::new("open")
    } else if cfg!(windows) {
        let mut command = std::process::Command::new("cmd");
        command.args(["/C", "start", ""]);
        command
    } else {
        std::process::Command::new("xdg-open")
    };
    command
        .arg(path)
        .stdin(std::process::Stdio::null())
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .is_ok()
}
