//! When something was recorded, as far as the host told wall time.
//!
//! Order never comes from here. Knows nothing of the plan.

use std::collections::BTreeMap;

use evendraw_core::record::{Entry, Record};

use crate::store::Fact;
use crate::words;

/// Wall time by joint and start of what recorded it.
pub(crate) struct Clock {
    /// Seconds since 1970 at which the clock of a start stood at zero.
    zero: BTreeMap<(u8, u16), i64>,
    simulated: bool,
}

impl Clock {
    pub(crate) fn of(facts: &[Fact], simulated: bool) -> Self {
        let mut zero = BTreeMap::new();
        for fact in facts {
            if let Fact::Entry(entry) = fact
                && let Record::Anchor(anchor) = &entry.record
            {
                let since = i64::try_from(entry.at.micros() / 1_000_000).unwrap_or(i64::MAX);
                zero.entry((entry.joint, entry.boot))
                    .or_insert_with(|| anchor.unix_seconds.saturating_sub(since));
            }
        }
        Self { zero, simulated }
    }

    /// Seconds since 1970, if told.
    pub(crate) fn unix(&self, entry: &Entry) -> Option<i64> {
        let since = i64::try_from(entry.at.micros() / 1_000_000).ok()?;
        self.zero
            .get(&(entry.joint, entry.boot))?
            .checked_add(since)
    }

    /// In words: wall time, simulated time, or that it is unknown.
    pub(super) fn when(&self, entry: &Entry) -> String {
        match self.unix(entry) {
            None if self.simulated => {
                format!(
                    "{} into the rehearsal",
                    words::seconds(entry.at.micros() / 1_000_000)
                )
            }
            known => words::wall_time(known),
        }
    }

    /// From the first to the last of these; says so where some are unknown.
    pub(super) fn stretch<'e>(&self, entries: impl Iterator<Item = &'e Entry>) -> String {
        let (mut first, mut last, mut unknown, mut any) = (None::<i64>, None::<i64>, false, false);
        let mut latest = 0;
        for entry in entries {
            any = true;
            latest = latest.max(entry.at.micros() / 1_000_000);
            match self.unix(entry) {
                Some(unix) => {
                    first = Some(first.map_or(unix, |first| first.min(unix)));
                    last = Some(last.map_or(unix, |last| last.max(unix)));
                }
                None => unknown = true,
            }
        }
        let text = match (first, last) {
            _ if !any => return "nothing is recorded".to_owned(),
            (Some(first), Some(last))
                if words::wall_time(Some(first)) == words::wall_time(Some(last)) =>
            {
                words::wall_time(Some(first))
            }
            (Some(_), Some(_)) => {
                format!("{} to {}", words::wall_time(first), words::wall_time(last))
            }
            _ if self.simulated => return format!("{} of simulated work", words::seconds(latest)),
            _ => return "time unknown".to_owned(),
        };
        if unknown {
            format!("{text}; for a part of it the time is unknown")
        } else {
            text
        }
    }
}
