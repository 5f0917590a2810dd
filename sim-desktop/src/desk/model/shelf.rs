//! A folder of builds read in the background, as far as it goes, stoppable; and a build of it opened.
//!
//! Knows nothing of what is in a journal: the shelf reads it.

use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use super::super::view::{Distribution, OwnValue, ShelfView};
use super::editor::UNSAVED;
use super::{Model, files};
use crate::disk;
use crate::job::Job;
use crate::shelf::Shelf;
use crate::shelf::forerunners::{Before, shelf_of};
use crate::shelf::history::{
    Group, History, Like, Section, Spread, counts, of_joint, shown, what_words,
};
use crate::shelf::table::Row;
use crate::store::{self, Purpose};

/// Bars of a distribution.
const PARTS: usize = 40;

/// A folder that is being read.
#[derive(Debug)]
pub(super) struct Reading {
    shared: Arc<Shared>,
    seen: usize,
}

#[derive(Debug, Default)]
struct Shared {
    of: AtomicUsize,
    done: AtomicUsize,
    stop: AtomicBool,
    over: AtomicBool,
    news: Mutex<News>,
    /// What like joints showed, once everything is read.
    history: Mutex<Option<Before>>,
}

/// What was read since the desk looked last.
#[derive(Debug, Default)]
struct News {
    rows: Vec<Row>,
    passed: Vec<String>,
    error: Option<String>,
}

impl Drop for Reading {
    fn drop(&mut self) {
        self.shared.stop.store(true, Ordering::Relaxed);
    }
}

impl Shared {
    fn tell(&self, take: impl FnOnce(&mut News)) {
        if let Ok(mut news) = self.news.lock() {
            take(&mut news);
        }
    }

    /// Reads the folder to its end, or until it is stopped.
    fn read(&self, folder: &Path) {
        let shelf = match Shelf::open(folder) {
            Ok(shelf) => shelf.with_history(),
            Err(error) => {
                let words = format!("{} cannot be listed: {error}", folder.display());
                return self.tell(|news| news.error = Some(words));
            }
        };
        let register = match shelf.register() {
            Ok(register) => register,
            Err(errors) => {
                let words = format!("{errors}; calibrations are told as the journals have them");
                self.tell(|news| news.passed.push(words));
                None
            }
        };
        self.of.store(shelf.found().len(), Ordering::Relaxed);
        let told = |passed: &crate::shelf::Passed| format!("{}: {}", passed.name, passed.why);
        self.tell(|news| news.passed.extend(shelf.passed().iter().map(told)));
        let mut history = History::default();
        let read: Result<(), ()> = shelf.read(|read| {
            history.take(&read.found.path, &read.history);
            self.tell(|news| {
                news.passed.extend(read.passed.iter().map(told));
                if let Some(build) = &read.build {
                    let row = Row::of(&read.found, build, register.as_ref(), shelf.today());
                    news.rows.push(row);
                }
            });
            self.done.fetch_add(1, Ordering::Relaxed);
            if self.stop.load(Ordering::Relaxed) {
                Err(())
            } else {
                Ok(())
            }
        });
        if let (Ok(()), Ok(mut room)) = (read, self.history.lock()) {
            *room = Some(Before {
                folder: folder.to_owned(),
                history,
                passed: Vec::new(),
            });
        }
    }
}

/// What the joints of the job in hand showed so far.
fn sections_of(job: &Job) -> Vec<Section> {
    let joints = job.plan().joints().iter();
    joints
        .filter_map(|joint| {
            let number = joint.number();
            let (own, session) = (job.joint_plan(number)?, job.session(number)?);
            Some(job.comparing(number, |entries| {
                of_joint(own, session, number, entries, |fastener| {
                    joint.label(fastener).to_owned()
                })
            }))
        })
        .flatten()
        .collect()
}

/// A distribution as the screen draws it.
fn distribution(
    history: &History,
    like: &Like,
    group: &Group,
    section: Option<&Section>,
    own: &Path,
) -> Option<Distribution> {
    let what = like.what();
    let sorted = group.values(None);
    let spread = Spread::of(&sorted)?;
    let unlike = section.map_or_else(Vec::new, |section| history.unlike(section, Some(own)));
    let values = section.map_or_else(Vec::new, |section| {
        let one = |(label, value): &(String, i32)| OwnValue {
            label: label.clone(),
            value: *value,
            shown: shown(what, *value),
            unlike: unlike.iter().any(|one| one.0 == label),
        };
        section.values.iter().map(one).collect()
    });
    Some(Distribution {
        joint: group.joint.clone(),
        stage: u32::from(like.stage) + 1,
        sentence: group.sentence.clone(),
        what: what_words(what),
        fasteners: sorted.len(),
        builds: group.builds(),
        counts: counts(&sorted, PARTS),
        spread,
        shown: [
            spread.least,
            spread.low,
            spread.median,
            spread.high,
            spread.most,
        ]
        .map(|value| shown(what, value)),
        own: values,
    })
}

impl Model {
    /// Begins to read a folder of builds: the one that the plan lies on where none is named.
    pub(super) fn read_shelf(&mut self, folder: &Path) {
        let whole =
            |folder: &Path| std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
        let folder = if folder.as_os_str().is_empty() {
            shelf_of(&self.file.folder).unwrap_or_else(|| whole(&self.file.folder))
        } else {
            whole(folder)
        };
        let history = std::mem::take(&mut self.shelf.history);
        self.shelf = ShelfView {
            folder: folder.display().to_string(),
            begun: true,
            running: true,
            // What was known stands until it is known anew.
            history,
            ..ShelfView::default()
        };
        let shared = Arc::new(Shared::default());
        let own = Arc::clone(&shared);
        std::thread::spawn(move || {
            own.read(&folder);
            own.over.store(true, Ordering::Release);
        });
        self.shelf_reading = Some(Reading { shared, seen: 0 });
        self.dirty = true;
    }

    pub(super) fn stop_shelf(&mut self) {
        if let Some(reading) = &self.shelf_reading {
            reading.shared.stop.store(true, Ordering::Relaxed);
            self.shelf.stopped = true;
        }
    }

    /// Looks how far the folder is read.
    pub(super) fn look_at_shelf(&mut self) {
        let Some(reading) = &mut self.shelf_reading else {
            return;
        };
        let shared = &reading.shared;
        let over = shared.over.load(Ordering::Acquire);
        let done = shared.done.load(Ordering::Relaxed);
        let of = shared.of.load(Ordering::Relaxed);
        if done == reading.seen && of == self.shelf.of && !over {
            return;
        }
        reading.seen = done;
        self.shelf.of = of;
        self.shelf.done = done;
        if let Ok(mut news) = shared.news.lock() {
            if !news.rows.is_empty() {
                Arc::make_mut(&mut self.shelf.rows).append(&mut news.rows);
            }
            if !news.passed.is_empty() {
                Arc::make_mut(&mut self.shelf.passed).append(&mut news.passed);
            }
            self.shelf.error = news.error.take().or(self.shelf.error.take());
        }
        if over {
            let history = shared.history.lock().ok().and_then(|mut room| room.take());
            self.shelf.running = false;
            self.shelf_reading = None;
            if let Some(history) = history {
                let before = Arc::new(history);
                self.know_forerunners(&before);
                self.history = Some(before);
                self.show_history();
            }
        }
        self.dirty = true;
    }

    /// What was read of like joints, with what the job in hand showed among it.
    pub(super) fn show_history(&mut self) {
        let Some(before) = self.history.clone() else {
            return;
        };
        let history = &before.history;
        let own = self.own_journal();
        let own = history.journal(&own).unwrap_or(&own);
        let sections = self.job.as_ref().map_or_else(Vec::new, sections_of);
        self.shelf.history = Arc::new(
            history
                .groups()
                .filter_map(|(like, group)| {
                    let section = sections.iter().find(|section| section.like == *like);
                    distribution(history, like, group, section, own)
                })
                .collect(),
        );
        self.dirty = true;
    }

    /// Opens a build of the shelf: its plan where that lies beside it, else the one in the journal.
    pub(super) fn open_build(&mut self, path: &Path) {
        if self.editor.is_unsaved() {
            return self.say(true, UNSAVED);
        }
        let ending = path.extension().and_then(|ending| ending.to_str());
        match ending {
            Some("evj") => self.open_journal(path),
            Some("toml") if self.job.is_some() && self.file.path.as_deref() == Some(path) => {}
            Some("toml") => self.open_plan(path),
            _ => self.say(
                true,
                format!(
                    "{} is no journal of the desk, whose names end in .evj: `evendraw record` and `evendraw sheet` show it",
                    path.display()
                ),
            ),
        }
    }

    fn open_journal(&mut self, path: &Path) {
        let name = path
            .file_stem()
            .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let folder = disk::folder_of(path);
        // NAME, NAME-2, NAME.rehearsal, NAME.rehearsal-2.
        let unnumbered = |name: &str| match name.rsplit_once('-') {
            Some((before, number)) if number.parse::<u16>().is_ok() => before.to_owned(),
            _ => name.to_owned(),
        };
        let cut = unnumbered(&name);
        let (stem, purpose) = match cut.strip_suffix(".rehearsal") {
            Some(stem) => (stem.to_owned(), Purpose::Rehearsal),
            None => (cut, Purpose::Job),
        };
        // A plan may have such a name of its own.
        let stem = if folder.join(format!("{name}.toml")).is_file() {
            name
        } else {
            stem
        };
        let plan = folder.join(format!("{stem}.toml"));
        let whole = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        let is_in_hand = self.job.is_some()
            && whole(&self.file.folder) == whole(folder)
            && self.file.name == format!("{stem}.toml");
        if is_in_hand {
            // Its journal is held by this very window.
        } else if plan.is_file() {
            self.open_plan(&plan);
        } else {
            let content = match store::read(path) {
                Ok(content) => content,
                Err(error) => return self.say(true, error.to_string()),
            };
            let Some((_, text)) = content.plan() else {
                return self.say(
                    true,
                    format!("{}: the plan in this journal is lost", path.display()),
                );
            };
            let other = Self::with(None, format!("{stem}.toml"), text, folder.to_owned());
            self.take_over(other);
        }
        // Whoever chose this journal has said which it is.
        if self.is_asking() {
            self.begin(purpose);
        }
        let own = files::journal(&self.file.folder, &self.file.name, purpose);
        if whole(&own) != whole(path) {
            self.say(
                true,
                format!(
                    "{} was begun later and is the one that is open; `evendraw record` shows {}",
                    own.display(),
                    path.display()
                ),
            );
        }
    }
}
