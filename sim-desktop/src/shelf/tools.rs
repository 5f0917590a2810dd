//! The tools of the register, and what was read with each over the whole shelf.
//!
//! Knows nothing of who shows it.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::build::Build;
use crate::plan::register::{Register, Registered};

/// What was read with each tool.
#[derive(Clone, Debug, Default)]
pub struct Readings {
    tools: BTreeMap<String, Read>,
}

/// What was read with one tool; rehearsals are not counted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Read {
    /// Attempts in all.
    pub all: usize,
    /// Those since the day of its last calibration, that day included.
    pub since: usize,
    /// Those whose time nobody knows: they may be among those since.
    pub untimed: usize,
    /// Those after the day on which its last calibration ran out.
    pub after_due: usize,
    /// Builds that it was used on.
    pub builds: usize,
    /// Seconds since 1970 of the last of them.
    pub last: Option<i64>,
}

/// The first second of a day on this machine's clock.
fn second(day: Date) -> Option<i64> {
    let zoned = day.to_zoned(jiff::tz::TimeZone::system()).ok()?;
    Some(zoned.timestamp().as_second())
}

/// The seconds between which the last calibration of a tool counts.
fn span(own: &Registered) -> (Option<i64>, Option<i64>) {
    let due = own.tool.due.and_then(|day| day.tomorrow().ok());
    (own.tool.calibrated.and_then(second), due.and_then(second))
}

impl Readings {
    /// Takes what was read in one build. Tools that are not in the register are counted too: someone should know of them.
    pub fn take(&mut self, register: &Register, build: &Build) {
        if build.rehearsal {
            return;
        }
        let mut own: BTreeMap<u16, Read> = BTreeMap::new();
        let spans: Vec<_> = build
            .names
            .iter()
            .map(|name| register.tool(name).map(span).unwrap_or_default())
            .collect();
        for pull in &build.pulls {
            let read = own.entry(pull.tool).or_default();
            let (from, over) = spans
                .get(usize::from(pull.tool))
                .copied()
                .unwrap_or_default();
            read.all += 1;
            match pull.at {
                Some(at) => {
                    read.since += usize::from(from.is_some_and(|from| from <= at));
                    read.after_due += usize::from(over.is_some_and(|over| over <= at));
                    read.last = read.last.max(Some(at));
                }
                None => read.untimed += 1,
            }
        }
        for (place, read) in own {
            let name = build.name(place);
            if name.is_empty() {
                continue;
            }
            let sum = self.tools.entry(name.to_owned()).or_default();
            sum.all += read.all;
            sum.since += read.since;
            sum.untimed += read.untimed;
            sum.after_due += read.after_due;
            sum.last = sum.last.max(read.last);
            sum.builds += 1;
        }
    }

    /// What was read with a tool.
    #[must_use]
    pub fn of(&self, id: &str) -> Read {
        self.tools.get(id).cloned().unwrap_or_default()
    }

    /// Tools that were used and are not in the register, with how often.
    pub fn unregistered<'r>(
        &'r self,
        register: &'r Register,
    ) -> impl Iterator<Item = (&'r str, &'r Read)> {
        self.tools
            .iter()
            .filter(|(id, _)| register.tool(id).is_none())
            .map(|(id, read)| (id.as_str(), read))
    }
}
