//! What people say beside torque, kept: a task is done, a part came, a line is not to be forgotten.
//!
//! Everything is kept before it counts. Knows nothing of how it is shown.

use evendraw_core::unit::Instant;

use super::beside::{Beside, added_id};
use super::{Job, JobError};
use crate::limits::{REMINDER_BYTES_MAX, SAID_BYTES_MAX};
use crate::plan::Task;
use crate::plan::progress::{Hold, TaskStanding};
use crate::store::{Became, HostFact, PartState, Purpose};

impl Job {
    /// Tasks, parts and reminders as they stand.
    #[must_use]
    pub fn beside(&self) -> Beside {
        Beside::of(&self.plan, &self.facts)
    }

    /// Says that a task is done. `said` answers what it asks.
    ///
    /// # Errors
    /// [`JobError::NoSuchTask`]; [`JobError::TaskHeld`] with what stands in its way; [`JobError::NobodyNamed`]: done is said by a
    /// name; [`JobError::Words`] where what it asks is not answered, or the answer is too long; [`JobError::Store`].
    pub fn task_done(&mut self, task: &str, said: &str, at: Instant) -> Result<(), JobError> {
        self.known_task(task)?;
        let by = self.named()?;
        if let Some(place) = self.plan.tasks().iter().position(|own| own.id() == task) {
            let holds = self
                .progress()
                .tasks()
                .get(place)
                .map(|state| state.holds.clone())
                .unwrap_or_default();
            if !holds.is_empty() {
                return Err(JobError::TaskHeld {
                    task: task.to_owned(),
                    holds: holds.iter().map(Hold::to_string).collect(),
                });
            }
        }
        let asks = self.plan.task(task).and_then(Task::ask).map(str::to_owned);
        let said = words(said, SAID_BYTES_MAX, asks.as_deref())?;
        let unix = self.unix(at);
        self.keep_fact(HostFact::TaskDone {
            task: task.to_owned(),
            by,
            unix,
            said,
        })
    }

    /// Says that a task is to be done again, and why.
    ///
    /// # Errors
    /// [`JobError::NoSuchTask`]; [`JobError::NotDone`]; [`JobError::NobodyNamed`]; [`JobError::Words`]; [`JobError::Store`].
    pub fn task_undone(&mut self, task: &str, why: &str, at: Instant) -> Result<(), JobError> {
        self.known_task(task)?;
        let by = self.named()?;
        if self.beside().task(task).0 != TaskStanding::Done {
            return Err(JobError::NotDone {
                task: task.to_owned(),
            });
        }
        let said = words(why, SAID_BYTES_MAX, Some("why"))?;
        let unix = self.unix(at);
        self.keep_fact(HostFact::TaskUndone {
            task: task.to_owned(),
            by,
            unix,
            said,
        })
    }

    /// Says how it is with a part; `said` tells where and when it was ordered, or what is wrong with it.
    ///
    /// # Errors
    /// [`JobError::NoSuchPart`]; [`JobError::Words`]; [`JobError::Store`].
    pub fn part_is(
        &mut self,
        part: &str,
        state: PartState,
        said: &str,
        at: Instant,
    ) -> Result<(), JobError> {
        self.needed(part)?;
        let said = words(said, SAID_BYTES_MAX, None)?;
        let (by, unix) = (self.person.clone().unwrap_or_default(), self.unix(at));
        self.keep_fact(HostFact::PartIs {
            part: part.to_owned(),
            state,
            by,
            unix,
            said,
        })
    }

    /// Writes a line that is not to be forgotten, and returns its number. `about` is the id of a joint or task, empty for the build;
    /// `holds` what it holds up. No name is asked for: nothing must stand in its way.
    ///
    /// # Errors
    /// [`JobError::NoSuchTask`] where `about` is neither joint nor task; [`JobError::Words`]; [`JobError::Store`].
    pub fn remind(
        &mut self,
        about: &str,
        text: &str,
        holds: &str,
        at: Instant,
    ) -> Result<u32, JobError> {
        if !about.is_empty() && self.plan.joint(about).is_none() {
            self.known_task(about)?;
        }
        let text = words(text, REMINDER_BYTES_MAX, Some("what is to be remembered"))?;
        let holds = words(holds, SAID_BYTES_MAX, None)?;
        let last = self.beside().reminders().last().map(|last| last.number);
        let number = last.unwrap_or(0).saturating_add(1);
        let (by, unix) = (self.person.clone().unwrap_or_default(), self.unix(at));
        self.keep_fact(HostFact::Reminder {
            number,
            about: about.to_owned(),
            text,
            holds,
            by,
            unix,
        })?;
        Ok(number)
    }

    /// Puts a reminder away: ticked, or turned into a part to order or a task of this build, by this name or title; its own text
    /// where none is given.
    ///
    /// # Errors
    /// [`JobError::NoSuchReminder`] where it does not exist or is put away already; [`JobError::NobodyNamed`] to tick it;
    /// [`JobError::Words`]; [`JobError::Store`].
    pub fn put_away(
        &mut self,
        number: u32,
        became: Became,
        said: &str,
        at: Instant,
    ) -> Result<(), JobError> {
        let beside = self.beside();
        let open = beside
            .reminders()
            .iter()
            .find(|reminder| reminder.number == number && reminder.became.is_none());
        let Some(reminder) = open else {
            let open = beside.reminders().iter();
            return Err(JobError::NoSuchReminder {
                number,
                open: open
                    .filter(|reminder| reminder.became.is_none())
                    .map(|reminder| reminder.number)
                    .collect(),
            });
        };
        let by = match became {
            Became::Ticked => self.named()?,
            Became::Part | Became::Task => self.person.clone().unwrap_or_default(),
        };
        let said = match (became, said.trim()) {
            (Became::Part | Became::Task, "") => &reminder.text,
            _ => said,
        };
        let said = words(said, SAID_BYTES_MAX, None)?;
        let unix = self.unix(at);
        self.keep_fact(HostFact::ReminderClosed {
            number,
            became,
            said,
            by,
            unix,
        })
    }

    fn known_task(&self, task: &str) -> Result<(), JobError> {
        let beside = self.beside();
        let mut known: Vec<String> = self
            .plan
            .tasks()
            .iter()
            .map(|task| task.id().to_owned())
            .collect();
        known.extend(beside.added_tasks().iter().map(|task| task.id.clone()));
        if known.iter().any(|own| own == task) {
            return Ok(());
        }
        Err(JobError::NoSuchTask {
            task: task.to_owned(),
            known,
        })
    }

    fn named(&self) -> Result<String, JobError> {
        // A rehearsal is nobody's work.
        let rehearsal = self.purpose == Purpose::Rehearsal;
        let nobody = rehearsal.then(|| "rehearsal".to_owned());
        self.person.clone().or(nobody).ok_or(JobError::NobodyNamed)
    }

    /// Seconds since 1970 at this time of this run; 0 where wall time is unknown.
    fn unix(&self, at: Instant) -> i64 {
        let since = i64::try_from(at.micros() / 1_000_000).unwrap_or(0);
        self.unix_at_boot
            .map_or(0, |zero| zero.saturating_add(since))
    }
}

/// Id of the task that a reminder became.
#[must_use]
pub fn task_of_reminder(number: u32) -> String {
    added_id(number)
}

/// A text in one line that the journal can hold. `wanted` says what must be there, where it must not be empty.
fn words(text: &str, most: usize, wanted: Option<&str>) -> Result<String, JobError> {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let why = match wanted {
        Some(wanted) if text.is_empty() => format!("say {wanted}"),
        _ if text.len() > most => format!("{} bytes are said; at most {most}", text.len()),
        _ => return Ok(text),
    };
    Err(JobError::Words { why })
}
