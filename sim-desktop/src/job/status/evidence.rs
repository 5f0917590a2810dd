//! How a value came to be: the words for it, and how often each stands behind a joint or a build.
//!
//! The one place that names evidence; what it is worth a stage says (`evidence`), and the core holds to it. Knows nothing of values.

use std::borrow::Cow;

use evendraw_core::ledger::StepState;
use evendraw_core::record::{Attempt, Decision, Manner, Record, Way};
use evendraw_core::unit::Torque;
use evendraw_core::verdict::Verdict;

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

/// The pull was lost before anything was kept of it: its torque is unknown, and its zero no value.
#[must_use]
pub fn is_lost(attempt: &Attempt) -> bool {
    attempt.verdict == Verdict::Unknown && attempt.peak == Torque::ZERO
}

/// The highest torque that a record knows: none where a pull was lost or an angle alone was read, and none of a tool that was set,
/// which claims no torque.
#[must_use]
pub fn peak_of(record: &Record) -> Option<Torque> {
    match record {
        Record::Read(read) => read.torque,
        Record::BySetting(_) => None,
        _ => attempt_of(record)
            .filter(|attempt| !is_lost(attempt))
            .map(|attempt| attempt.peak),
    }
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
            Some((_, count)) => *count = count.saturating_add(1),
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

/// Of one joint: each fastener at each stage that is done and stands. A trial comes apart again: nothing of it stands.
pub(super) fn tally(view: &View<'_>) -> Tally {
    let mut tally = Tally::default();
    for (index, step) in view.steps() {
        let state = view.ledger.step(index);
        let stage = view.plan.procedure.stage_of(index);
        if step.fastener().is_none()
            || stage.is_some_and(|stage| stage.mock_up)
            || !matches!(state, StepState::Done | StepState::Unmeasured)
        {
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

#[cfg(test)]
mod tests {
    use evendraw_core::record::Role;
    use evendraw_core::session::{Input, Next, Readout};
    use evendraw_core::unit::{Angle, Instant, Torque};

    use super::*;
    use crate::job::Job;
    use crate::job::status::telling::object;
    use crate::plan::Plan;
    use crate::sheet::{Sheet, page, short_page, text};
    use crate::store::{Fact, Purpose};

    const PLAN: &str = r#"
[build]
title = "Strainer"
[[tool]]
id = "D1"
kind = "display"
capacity = "100 N·m"
step = "0.1 N·m"
accuracy = "2 %"
[[tool]]
id = "B1"
kind = "beam"
capacity = "100 N·m"
step = "1 N·m"
[[tool]]
id = "W1"
kind = "click"
capacity = "100 N·m"
step = "1 N·m"
[[tool]]
id = "G1"
kind = "angle-gauge"
step = "1°"
[[tool]]
id = "spanner"
kind = "hand"
[[joint]]
id = "lid"
title = "Lid"
positions = { 1 = [0, 0], 2 = [40, 0], 3 = [80, 0], 4 = [120, 0], 5 = [160, 0] }
[[joint.stage]]
do = "tighten"
torque = "40 N·m"
on = ["1", "2", "3"]
[[joint.stage]]
do = "turn"
angle = "90°"
on = ["4"]
[[joint.stage]]
do = "tighten"
torque = "12 N·m"
tool = "spanner"
on = ["5"]
"#;

    fn mnm(value: i32) -> Torque {
        Torque::from_millinewton_meters(value)
    }

    /// Five tools, five fasteners: each is told as what it is, none is out of the ordinary, and the line at the top counts them.
    #[test]
    fn every_way_is_named_and_none_is_an_exception() {
        let plan = Plan::parse("lid.toml", PLAN)
            .unwrap_or_else(|errors| panic!("{}", errors.report(false)));
        let mut job = Job::unkept(plan, Purpose::Job);
        let mut tell = |input: Input<'_>| {
            let done = job
                .apply(0, Instant::BOOT, input)
                .expect("the joint is there");
            assert_eq!((done.refusal, done.held), (None, vec![]), "{input:?}");
        };
        let take = |id| Input::Tool { id, waiver: "" };
        let read = |way, torque: Option<i32>, angle: Option<i32>| Readout {
            way,
            torque: torque.map(mnm),
            angle: angle.map(Angle::from_millidegrees),
            moved: false,
            stated: "",
        };
        let (name, role) = ("R. Falk", Role::Operator);
        tell(Input::Person { name, role });
        tell(take("D1"));
        let display = Readout {
            stated: "0.1 N·m, 2 %",
            ..read(Way::Display, Some(40_200), None)
        };
        tell(Input::Read {
            step: 0,
            readout: &display,
        });
        tell(take("B1"));
        tell(Input::Read {
            step: 1,
            readout: &read(Way::Eye, Some(41_000), None),
        });
        tell(take("W1"));
        let (setting, stands_for) = (mnm(40_000), mnm(40_000));
        tell(Input::BySetting {
            step: 2,
            setting,
            stands_for,
            moved: false,
        });
        tell(take("G1"));
        tell(Input::Read {
            step: 3,
            readout: &read(Way::Gauge, None, Some(91_000)),
        });
        tell(take("spanner"));
        tell(Input::Confirm { step: 4 });
        assert_eq!(
            job.session(0).map(|session| session.next()),
            Some(Next::Nothing)
        );

        let status = job.status();
        assert!(status.is_complete(), "{:?}", status.open);
        assert_eq!(status.exceptions, vec![]);
        assert_eq!(status.evidence, "3 read, 1 by setting, 1 by hand");
        let told: Vec<(&str, String)> = status.joints[0]
            .fasteners
            .iter()
            .flat_map(|fastener| &fastener.cells)
            .filter(|cell| cell.mark.is_some())
            .map(|cell| (cell.reached.as_str(), cell.behind()))
            .collect();
        assert_eq!(
            told,
            [
                ("40.20 N·m", "read from the display, tool D1".to_owned()),
                ("41.00 N·m", "read by eye, tool B1".to_owned()),
                ("set to 40.00 N·m", "by setting, tool W1".to_owned()),
                ("91.0°", "angle read, tool G1".to_owned()),
                ("by hand", "tool spanner".to_owned()),
            ]
        );
        let model = Sheet::of(&job.kept(), "lid.evj", Some(0));
        for sheet in [page(&model), short_page(&model), text(&model)] {
            assert!(sheet.contains("3 read, 1 by setting, 1 by hand"), "{sheet}");
            assert!(sheet.contains("read by eye"), "{sheet}");
        }
        let names = job.names();
        let keys: Vec<String> = job
            .facts()
            .iter()
            .filter_map(|fact| match fact {
                Fact::Entry(entry) => Some(object(&names, entry)),
                Fact::Host(_) => None,
            })
            .filter(|object| object["record"] == "attempt")
            .map(|object| {
                format!(
                    "{} {} {} {}",
                    object["evidence"],
                    object["verdict"],
                    object["peak_torque_Nm"],
                    object["angle_deg"]
                )
            })
            .collect();
        assert_eq!(
            keys,
            [
                r#""read" "accepted" 40.2 null"#,
                r#""read" "accepted" 41.0 null"#,
                r#""setting" "accepted" null null"#,
                r#""read" "accepted" null 91.0"#,
            ]
        );
    }
}
