//! Work or rehearse: the first question of a plan. Nothing else decides which journal is in front, and nothing is written before
//! something is done.
//!
//! Knows nothing of drawing.

use std::time::SystemTime;

use evendraw_core::ledger::Standing;
use evendraw_core::session::Input;

use super::super::act::Act;
use super::super::view::{Choice, Prompt, Status};
use super::{Hand, Model, Pull, Readings, files};
use crate::job::Job;
use crate::job::status::Kept;
use crate::plan::Plan;
use crate::store::{self, Fact, Purpose};
use crate::words;

/// What is said where readings of metal come into a rehearsal.
pub(super) const METAL_IS_WORK: &str =
    "this is a rehearsal: readings of metal belong to work, V asks again which it is";

/// What work and rehearsal would go on with, as their journals say.
#[derive(Debug)]
pub(super) struct Start {
    /// Before anything was done.
    untouched: Status,
    work: Option<Status>,
    rehearsal: Option<Status>,
    /// What was worked on last.
    advised: Purpose,
}

impl Start {
    fn of(folder: &std::path::Path, name: &str, plan: &Plan) -> Self {
        let kept = |purpose| {
            let content = store::read(&files::journal(folder, name, purpose)).ok()?;
            let written = content
                .plan()
                .and_then(|(name, text)| Plan::parse(&name, &text).ok());
            let plan = written.as_ref().unwrap_or(plan);
            Some(Kept::of(plan, &content, None).status())
        };
        Self {
            untouched: Kept::before_work(plan).status(),
            work: kept(Purpose::Job),
            rehearsal: kept(Purpose::Rehearsal),
            advised: files::last_used(folder, name),
        }
    }

    fn kept(&self, purpose: Purpose) -> Option<&Status> {
        match purpose {
            Purpose::Job => self.work.as_ref(),
            Purpose::Rehearsal => self.rehearsal.as_ref(),
        }
    }

    /// How the build stands: as the work says, where there is any.
    pub(super) fn status(&self) -> Status {
        let kept = self.work.as_ref();
        kept.unwrap_or(&self.untouched).clone()
    }
}

/// Seconds since 1970-01-01 00:00 UTC, as this machine says.
pub(super) fn now() -> i64 {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH);
    since.map_or(0, |since| i64::try_from(since.as_secs()).unwrap_or(0))
}

/// Whether it is something done, so that there must be a journal to keep it.
pub(super) const fn is_act_of_work(input: &Input<'_>) -> bool {
    !matches!(
        input,
        Input::Tick | Input::Select { .. } | Input::Finish | Input::Recheck { .. }
    )
}

impl Model {
    /// Whether somebody must still say what this is.
    #[must_use]
    pub const fn is_asking(&self) -> bool {
        self.start.is_some()
    }

    /// Puts away what is in front, and asks.
    pub(super) fn ask_purpose(&mut self) {
        if self
            .session()
            .is_some_and(evendraw_core::session::Session::is_in_pull)
        {
            return self.say(true, "let go of the tool first");
        }
        self.start = None;
        self.job = None;
        self.begins_at = None;
        self.bench.station = None;
        self.bench.hand = Hand::Off;
        self.open = None;
        self.pull = Pull::default();
        self.dirty = true;
        match Plan::read(&self.file.name, &self.file.text, &self.file.folder) {
            Ok(plan) => {
                self.file.findings = files::findings(&self.file.text, plan.warnings());
                self.start = Some(Start::of(&self.file.folder, &self.file.name, &plan));
            }
            Err(errors) => self.file.findings = files::findings(&self.file.text, errors.list()),
        }
    }

    /// Goes on with what was worked on last: as the card advises.
    pub fn go_on(&mut self) {
        if let Some(start) = &self.start {
            self.begin(start.advised);
        }
    }

    /// Works, or rehearses, from here on, where it was left. A real journal is begun by the first thing done.
    pub fn begin(&mut self, purpose: Purpose) {
        self.purpose = purpose;
        match (purpose, &self.readings) {
            (Purpose::Rehearsal, _) => self.readings = Readings::Bench,
            (Purpose::Job, Readings::Bench) => self.readings = Readings::None,
            (Purpose::Job, _) => {}
        }
        let start = self.start.take();
        self.open_job();
        if self.job.is_none() {
            // In use elsewhere, or damaged: said, and left alone.
            self.start = start.filter(|_| self.file.findings.is_empty());
            return;
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

    /// Begins the journal of the work, if nothing was done before. False where it cannot be: then nothing is done.
    pub(super) fn begin_journal(&mut self) -> bool {
        let Some(path) = self.begins_at.take() else {
            return true;
        };
        let Some(plan) = self.job.as_ref().map(|job| job.plan().clone()) else {
            return false;
        };
        let made = std::fs::create_dir_all(&self.file.folder);
        match Job::create(&path, plan, Purpose::Job) {
            Ok(mut job) => {
                job.set_wall_time(self.wall_time_at_zero());
                // Who works may be known already, though nothing was recorded yet.
                if let Some(name) = self.job.as_ref().and_then(Job::person) {
                    job.remember_person(name);
                }
                self.job = Some(job);
                self.put_beside_forerunners();
                true
            }
            Err(error) => {
                self.begins_at = Some(path);
                let why = made.err().map_or_else(
                    || error.to_string(),
                    |made| format!("{error}; the folder cannot be made: {made}"),
                );
                self.say(true, format!("nothing is recorded: {why}"));
                false
            }
        }
    }

    /// Where records go, while there is no journal.
    pub(super) fn unkept_words(&self) -> String {
        match &self.begins_at {
            Some(path) => format!("{}, begun by the first thing done", path.display()),
            None => "not kept".to_owned(),
        }
    }

    /// The question, with what was done last and what is next.
    pub(super) fn start_prompt(&self) -> Option<Prompt> {
        let start = self.start.as_ref()?;
        let is_demo = start.untouched.demo;
        let story = |purpose, name: &str| {
            let status = start.kept(purpose)?;
            let last = status.last.as_ref()?;
            let next = status.next.as_ref();
            let next = next.map_or_else(
                || match status.open.is_empty() {
                    true => "every joint is final".to_owned(),
                    false => "nothing can go on until something is settled".to_owned(),
                },
                |next| format!("next: {}", next.words),
            );
            Some(format!("{name}, {}; {next}.", last.line(now())))
        };
        let mut told: Vec<String> = [
            story(Purpose::Job, "Work"),
            story(Purpose::Rehearsal, "Rehearsal"),
        ]
        .into_iter()
        .flatten()
        .collect();
        if is_demo {
            told.push(words::DEMO_OWN.to_owned());
        } else if told.is_empty() {
            told.push(
                "Nothing was done yet. A rehearsal is on no metal and leaves the work untouched."
                    .to_owned(),
            );
        }
        let own = |key, words: &str, act| Choice {
            key,
            words: words.to_owned(),
            act,
            asks: "",
            because: &[],
        };
        let is_begun = |purpose| start.kept(purpose).is_some_and(|own| own.last.is_some());
        let work = own(
            "W",
            if is_begun(Purpose::Job) {
                "Go on with the work"
            } else {
                "Begin the work"
            },
            Act::Begin(Purpose::Job),
        );
        let rehearse = own(
            "R",
            if is_begun(Purpose::Rehearsal) {
                "Go on rehearsing"
            } else {
                "Rehearse it"
            },
            Act::Begin(Purpose::Rehearsal),
        );
        let mut choices = match start.advised {
            Purpose::Job => vec![work, rehearse],
            Purpose::Rehearsal => vec![rehearse, work],
        };
        if is_demo {
            choices.push(own("O", "Open a plan", Act::OpenPlan));
            choices.push(own("E", "Begin a plan", Act::NewPlan));
        }
        Some(Prompt {
            title: "Work or rehearse?".to_owned(),
            words: if is_demo {
                "This is the demo: an invented pump, to try everything on.".to_owned()
            } else {
                start.untouched.title.clone()
            },
            what_now: told,
            choices,
            ..Prompt::default()
        })
    }
}
