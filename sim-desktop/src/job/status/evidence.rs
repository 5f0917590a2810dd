//! How a value came to be: the words for it, and how often each stands behind a joint or a build.
//!
//! The one place that names evidence; what it is worth a stage says (`evidence`), and the core holds to it. Knows nothing of values.

use std::borrow::Cow;

use evendraw_core::ledger::StepState;
use evendraw_core::record::{Attempt, Decision, Manner, Record, Way};

use super::View;

/// How the last word on a step came to be, the strongest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// A sensor, sample by sample.
    Curve,
    /// A number that the tool shows.
    Display,
    /// A pointer on a scale.
    Eye,
    /// An angle gauge.
    Gauge,
    /// A mark on the metal.
    Mark,
    /// A tool that was set.
    Setting,
    /// Done by hand.
    Hand,
    /// Ticked on paper.
    Paper,
}

impl How {
    /// What a record says of it; none for a record that is no last word on a step.
    #[must_use]
    pub const fn of(record: &Record) -> Option<Self> {
        Some(match record {
            Record::Attempt(_) | Record::Reassigned(_) => Self::Curve,
            Record::Read(read) => match read.way {
                Way::Display => Self::Display,
                Way::Eye => Self::Eye,
                Way::Gauge => Self::Gauge,
                Way::Mark => Self::Mark,
            },
            Record::BySetting(_) => Self::Setting,
            Record::Done(done) => match done.manner {
                Manner::Hand => Self::Hand,
                Manner::Paper => Self::Paper,
            },
            Record::Decided(decided) if matches!(decided.decision, Decision::Observed) => {
                Self::Mark
            }
            _ => return None,
        })
    }

    /// For people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Curve => "measured with curve",
            Self::Display => "read from the display",
            Self::Eye => "read by eye",
            Self::Gauge => "angle read",
            Self::Mark => "observed by mark",
            Self::Setting => "by setting",
            Self::Hand => "by hand",
            Self::Paper => "from paper",
        }
    }

    /// The word that it is counted under.
    #[must_use]
    pub const fn counted_as(self) -> &'static str {
        match self {
            Self::Curve => "measured with curve",
            Self::Display | Self::Eye | Self::Gauge => "read",
            Self::Mark => "observed by mark",
            Self::Setting => "by setting",
            Self::Hand => "by hand",
            Self::Paper => "from paper, unmeasured",
        }
    }

    /// The word of scripts, behind the key `evidence`.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Curve => "measured",
            Self::Display | Self::Eye | Self::Gauge => "read",
            Self::Mark => "observed",
            Self::Setting => "setting",
            Self::Hand => "hand",
            Self::Paper => "paper",
        }
    }
}

/// The attempt that a record is, however it came to be known; a value that nobody read is zero there.
#[must_use]
pub fn attempt_of(record: &Record) -> Option<Cow<'_, Attempt>> {
    Some(match record {
        Record::Attempt(attempt) => Cow::Borrowed(attempt),
        Record::Read(read) => Cow::Owned(read.as_attempt()),
        Record::BySetting(set) => Cow::Owned(set.as_attempt()),
        Record::Reassigned(own) => Cow::Borrowed(&own.attempt),
        _ => return None,
    })
}

/// How often each kind of evidence is the last word on a step that is settled.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    counts: Vec<(How, usize)>,
}

impl Tally {
    /// One more.
    fn add(&mut self, how: How) {
        let known = self
            .counts
            .iter_mut()
            .find(|(own, _)| own.counted_as() == how.counted_as());
        match known {
            Some((_, count)) => *count += 1,
            None => self.counts.push((how, 1)),
        }
        self.counts.sort_by_key(|(how, _)| *how);
    }

    /// Both together.
    #[must_use]
    pub fn and(mut self, other: &Self) -> Self {
        for &(how, count) in &other.counts {
            (0..count).for_each(|_| self.add(how));
        }
        self
    }

    /// `94 measured with curve, 12 read, 8 by setting, 6 by hand`; empty where nothing is done.
    #[must_use]
    pub fn line(&self) -> String {
        let parts: Vec<String> = self
            .counts
            .iter()
            .map(|(how, count)| format!("{count} {}", how.counted_as()))
            .collect();
        parts.join(", ")
    }

    /// Word of scripts and count.
    pub fn counts(&self) -> impl Iterator<Item = (&'static str, usize)> + '_ {
        self.counts.iter().map(|(how, count)| (how.key(), *count))
    }
}

/// Of one joint: each fastener at each stage that is done and stands.
pub(super) fn tally(view: &View<'_>) -> Tally {
    let mut tally = Tally::default();
    for (index, step) in view.steps() {
        let state = view.ledger.step(index);
        if step.fastener().is_none() || !matches!(state, StepState::Done | StepState::Unmeasured) {
            continue;
        }
        if let Some(how) = last(view, index) {
            tally.add(how);
        }
    }
    tally
}

/// The evidence of the last word on a step.
fn last(view: &View<'_>, step: u16) -> Option<How> {
    view.entries.iter().rev().find_map(|entry| {
        let about = match &entry.record {
            Record::Done(done) => done.step,
            Record::Decided(decided) => decided.step,
            record => attempt_of(record)?.step,
        };
        (about == step).then(|| How::of(&entry.record)).flatten()
    })
}
