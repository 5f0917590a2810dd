//! The builds opened lately, so that they are found again: a list of names in the user's state folder.
//!
//! The list is no truth. What is told of a build is read from its plan and its journal when somebody asks, the list may be thrown away,
//! and a build whose folder was moved is told from its new place once it is opened there. Knows nothing of who shows it.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::disk::{self, System};
use crate::limits::{RECENT_BYTES_MAX, RECENT_MAX};
use crate::mark::Mark;
use crate::plan::Plan;
use crate::shelf::build::Build;
use crate::shelf::table::Row;
use crate::shelf::{Found, What};
use crate::store::names::{journal_beside, last_used, stamp};
use crate::store::{self, Purpose};
use crate::words;

/// What the list is called.
const FILE: &str = "recent.toml";

/// The list, where it lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recent {
    file: PathBuf,
}

#[derive(Debug, Default, Serialize, Deserialize)]
struct List {
    #[serde(default)]
    build: Vec<Kept>,
}

/// A build as the list has it: where it was, and what it was called there, for when it is there no more.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Kept {
    plan: PathBuf,
    #[serde(default)]
    title: String,
    #[serde(default)]
    unit: String,
}

/// A build of the list as it is now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// Its plan.
    pub plan: PathBuf,
    /// What is built; the plan's file name where it has no title.
    pub title: String,
    /// Which one.
    pub unit: String,
    /// How it stands; none where nothing of it can be read there.
    pub how: Option<How>,
    /// Why nothing can be read.
    pub why: String,
}

/// How a build stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct How {
    /// Its state.
    pub mark: Mark,
    /// Steps settled, in percent.
    pub percent: usize,
    /// Seconds since 1970 of what was done last; none where nothing was done.
    pub worked: Option<i64>,
    /// On no metal.
    pub rehearsal: bool,
    /// What is next, in words; empty where nothing is.
    pub next: String,
}

impl Seen {
    /// What it is, in one line.
    #[must_use]
    pub fn what(&self) -> String {
        match self.unit.as_str() {
            "" => self.title.clone(),
            unit => format!("{}; {unit}", self.title),
        }
    }

    /// When it was worked last and how far, in one line; `now` in seconds since 1970.
    #[must_use]
    pub fn line(&self, now: i64) -> String {
        let Some(how) = &self.how else {
            return self.why.clone();
        };
        let Some(worked) = how.worked else {
            return "not begun".to_owned();
        };
        let verb = if how.rehearsal { "rehearsed" } else { "worked" };
        let ago = words::ago(now.saturating_sub(worked));
        let next = match how.next.as_str() {
            "" => String::new(),
            next => format!("; next: {next}"),
        };
        format!("{verb} {ago}; {}, {} %{next}", how.mark.word(), how.percent)
    }
}

impl Recent {
    /// The list of whoever runs this program.
    #[must_use]
    pub fn of_this_user() -> Self {
        Self::in_folder(&disk::state_folder())
    }

    /// A list in a folder of choice.
    #[must_use]
    pub fn in_folder(folder: &Path) -> Self {
        Self {
            file: folder.join(FILE),
        }
    }

    /// A list that does not read is a fresh start.
    fn list(&self) -> List {
        let is_small = fs::metadata(&self.file).is_ok_and(|own| own.len() <= RECENT_BYTES_MAX);
        let text = is_small.then(|| fs::read_to_string(&self.file).ok());
        let mut list: List = text
            .flatten()
            .and_then(|text| toml::from_str(&text).ok())
            .unwrap_or_default();
        list.build.truncate(RECENT_MAX);
        list
    }

    /// Puts a build first. One of the same name, title and unit that is gone from its old place was this one, moved.
    ///
    /// # Errors
    /// In words, when the list cannot be written.
    pub fn put(&self, plan: &Path, title: &str, unit: &str) -> Result<(), String> {
        let plan = std::path::absolute(plan).unwrap_or_else(|_| plan.to_owned());
        if plan.to_str().is_none() {
            return Err(format!(
                "{} is no Unicode: the build is not put on the list of recent ones",
                plan.display()
            ));
        }
        let own = Kept {
            plan,
            title: title.to_owned(),
            unit: unit.to_owned(),
        };
        let mut list = self.list();
        list.build.retain(|other| {
            let is_moved = other.plan.file_name() == own.plan.file_name()
                && (&other.title, &other.unit) == (&own.title, &own.unit)
                && !other.plan.exists();
            other.plan != own.plan && !is_moved
        });
        list.build.insert(0, own);
        list.build.truncate(RECENT_MAX);
        let text = toml::to_string(&list).map_err(|error| error.to_string())?;
        let failed = |error: std::io::Error| {
            format!(
                "the list of recent builds, {}, cannot be written: {error}",
                self.file.display()
            )
        };
        fs::create_dir_all(disk::folder_of(&self.file)).map_err(failed)?;
        disk::replace(&System, &self.file, text.as_bytes()).map_err(failed)
    }

    /// Every build of the list, the one opened last first, as it stands on this day.
    #[must_use]
    pub fn seen(&self, today: Date) -> Vec<Seen> {
        let list = self.list();
        list.build
            .into_iter()
            .map(|kept| see(kept, today))
            .collect()
    }
}

/// Looks where a build was.
fn see(kept: Kept, today: Date) -> Seen {
    let Kept { plan, title, unit } = kept;
    let mut seen = Seen {
        title,
        unit,
        how: None,
        why: String::new(),
        plan,
    };
    let file = seen.plan.file_name().unwrap_or_default().to_string_lossy();
    let file = file.into_owned();
    match look(&seen.plan, &file, today) {
        Ok((build, how)) => {
            seen.title = build.title;
            seen.unit = build.unit;
            seen.how = Some(how);
        }
        Err(why) => seen.why = why,
    }
    if seen.title.is_empty() {
        seen.title = file;
    }
    seen
}

fn look(plan: &Path, file: &str, today: Date) -> Result<(Build, How), String> {
    if !plan.exists() {
        return Err(format!("gone or moved: it was {}", plan.display()));
    }
    let folder = disk::folder_of(plan);
    let work = journal_beside(folder, file, Purpose::Job);
    let path = if work.exists() {
        work
    } else {
        journal_beside(folder, file, last_used(folder, file))
    };
    let build = if path.exists() {
        let content = store::read(&path).map_err(|error| error.to_string())?;
        let written = content.plan();
        let written = written.and_then(|(name, text)| Plan::parse(&name, &text).ok());
        Build::of(&content, written.as_ref(), today)
    } else {
        let text = crate::limits::read_plan(plan).map_err(|error| error.to_string())?;
        let read = Plan::read(file, &text, folder);
        let plan = read.map_err(|errors| format!("its plan has faults: {errors}"))?;
        Build::before_work(&plan, today)
    };
    let found = Found {
        name: String::new(),
        path: path.clone(),
        what: What::Journal,
    };
    let row = Row::of(&found, &build, None, today);
    // The clock of a rehearsal is the bench's own.
    let told = row.standing.last_worked.filter(|_| !row.rehearsal);
    let written = || {
        let since = stamp(&path)?.duration_since(SystemTime::UNIX_EPOCH).ok()?;
        i64::try_from(since.as_secs()).ok()
    };
    let how = How {
        mark: row.standing.mark,
        percent: row.percent(),
        worked: told.or_else(written),
        rehearsal: row.rehearsal,
        next: row.standing.next,
    };
    Ok((build, how))
}

#[cfg(test)]
mod tests {
    use super::{Recent, fs};

    const PLAN: &str = "[build]\ntitle = \"Winch\"\nunit = \"winch 3\"\n[[joint]]\nid = \"lid\"\npositions = { 1 = [0, 0] }\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"9 N·m\"\n";

    #[test]
    fn the_list_has_each_build_once_and_follows_one_that_was_moved() {
        let folder = tempfile::tempdir().unwrap();
        let own = Recent::in_folder(&folder.path().join("state"));
        let today = jiff::civil::date(2026, 5, 4);
        assert!(own.seen(today).is_empty());
        let (old, new) = (folder.path().join("old"), folder.path().join("new"));
        for (at, name) in [(&old, "winch.toml"), (&old, "pump.toml")] {
            fs::create_dir_all(at).unwrap();
            fs::write(at.join(name), PLAN).unwrap();
            own.put(&at.join(name), "Winch", "winch 3").unwrap();
        }
        own.put(&old.join("winch.toml"), "Winch", "winch 3")
            .unwrap();
        let said = |own: &Recent| -> Vec<(String, String)> {
            let seen = own.seen(today).into_iter();
            seen.map(|one| {
                let name = one.plan.strip_prefix(folder.path()).unwrap();
                (name.display().to_string(), one.line(0))
            })
            .collect()
        };
        let begun = |name: &str| (name.to_owned(), "not begun".to_owned());
        assert_eq!(
            said(&own),
            [begun("old/winch.toml"), begun("old/pump.toml")]
        );
        fs::rename(&old, &new).unwrap();
        for (_, line) in said(&own) {
            assert!(line.starts_with("gone or moved: it was "), "{line}");
        }
        own.put(&new.join("winch.toml"), "Winch", "winch 3")
            .unwrap();
        let said = said(&own);
        assert_eq!(said[0], begun("new/winch.toml"));
        assert_eq!(said.len(), 2, "{said:?}");
        // What does not read is a fresh start.
        fs::write(folder.path().join("state/recent.toml"), "build = 3").unwrap();
        assert!(own.seen(today).is_empty());
    }
}
