//! Which attempts are concerned, and which of them would lie outside their window were the tool off.
//!
//! Whole numbers throughout, so that another program comes to exactly the same. Knows nothing of how an answer is shown.

use evendraw_core::verdict::Verdict;
use serde::Serialize;

use super::build::{Build, Pull};
use crate::job::status::telling::quoted;
use crate::mechanics::Thread;
use crate::words;

/// What is asked. Everything that is given must hold.
#[derive(Clone, Debug, Default)]
pub struct Question {
    /// Ids of tools, or serial numbers of adapters; any of them.
    pub tools: Vec<String>,
    /// From this second since 1970.
    pub from: Option<i64>,
    /// Before this second since 1970.
    pub before: Option<i64>,
    /// A piece of the document that the plan was worked to, as it was at the attempt.
    pub document: Option<String>,
    /// The joint's thread.
    pub thread: Option<String>,
    /// A part that the joint needs.
    pub part: Option<String>,
    /// Who worked.
    pub person: Option<String>,
    /// Rehearsals too.
    pub rehearsals: bool,
    /// How much the tool showed too much, in parts per million of the true torque.
    pub off: Option<Off>,
    /// Only those that would lie outside.
    pub only_outside: bool,
}

/// How far a tool is off: what it shows more than the truth, as a part of the truth. Below zero it shows too little.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Off {
    ppm: i64,
}

/// On which side of its window a torque lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Below the lower limit.
    Low,
    /// Above the upper limit.
    High,
}

impl Side {
    /// The word of tables and scripts.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::High => "high",
        }
    }
}

/// One million: parts per million of the whole.
const WHOLE: i64 = 1_000_000;

impl Off {
    /// Parts per million; none beyond half of the truth either way, where a tool is broken and not off.
    #[must_use]
    pub const fn from_ppm(ppm: i64) -> Option<Self> {
        if ppm.unsigned_abs() <= 500_000 {
            Some(Self { ppm })
        } else {
            None
        }
    }

    /// In parts per million.
    #[must_use]
    pub const fn ppm(self) -> i64 {
        self.ppm
    }

    /// The true torque behind a shown one, in mN·m, to the nearest.
    #[must_use]
    pub fn truth(self, shown: i32) -> i64 {
        let by = WHOLE + self.ppm;
        let scaled = i64::from(shown) * WHOLE;
        let half = by / 2;
        if scaled < 0 {
            (scaled - half) / by
        } else {
            (scaled + half) / by
        }
    }

    /// The side on which the true torques would lie; exact, without division.
    #[must_use]
    pub fn outside(self, pull: &Pull) -> Option<Side> {
        let by = WHOLE + self.ppm;
        let beyond = |shown: i32, limit: i32| {
            let (shown, limit) = (i64::from(shown) * WHOLE, i64::from(limit) * by);
            shown.cmp(&limit)
        };
        let (torque, peak) = (pull.torque()?, pull.peak()?);
        if pull.low.is_some_and(|low| beyond(torque, low).is_lt()) {
            return Some(Side::Low);
        }
        pull.high
            .is_some_and(|high| beyond(peak, high).is_gt())
            .then_some(Side::High)
    }
}

impl Question {
    /// Whether nothing at all is asked for.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.tools.is_empty()
            && self.from.is_none()
            && self.before.is_none()
            && [&self.document, &self.thread, &self.part, &self.person]
                .into_iter()
                .all(Option::is_none)
    }

    /// Everything that is asked for by name, in words.
    #[must_use]
    pub fn named(&self) -> Vec<String> {
        let mut list: Vec<String> = self.tools.iter().map(|id| format!("tool {id}")).collect();
        for (word, name) in [
            ("document", &self.document),
            ("thread", &self.thread),
            ("part", &self.part),
            ("person", &self.person),
        ] {
            list.extend(name.iter().map(|name| format!("{word} {name}")));
        }
        list
    }

    /// Which of [`Question::named`] stand anywhere in a build: a name that stands in none of a shelf was mistyped.
    #[must_use]
    pub fn known_in(&self, build: &Build) -> Vec<bool> {
        let any = |fits: &dyn Fn(&str) -> bool| build.names.iter().any(|name| fits(name));
        let joint = |fits: &dyn Fn(&super::build::JointHead) -> bool| build.joints.iter().any(fits);
        let mut list: Vec<bool> = self
            .tools
            .iter()
            .map(|id| any(&|name| name == id))
            .collect();
        list.extend(self.document.iter().map(|piece| {
            let piece: &str = piece;
            any(&|name| holds(name, piece)) || holds(&build.document, piece)
        }));
        list.extend(
            self.thread
                .iter()
                .map(|thread| joint(&|own| is_same_thread(thread, &own.thread))),
        );
        list.extend(
            self.part
                .iter()
                .map(|part| joint(&|own| own.needs.iter().any(|need| is_same(need, part)))),
        );
        list.extend(
            self.person
                .iter()
                .map(|person| any(&|name| is_same(person, name))),
        );
        list
    }

    /// The attempts of a build that are concerned, in the order of its journal.
    #[must_use]
    pub fn of<'b>(&self, build: &'b Build) -> Vec<&'b Pull> {
        if build.rehearsal && !self.rehearsals {
            return Vec::new();
        }
        // What is the same for many attempts is looked at once.
        let names: Vec<(bool, bool, bool)> = build
            .names
            .iter()
            .map(|name| {
                (
                    self.tools.is_empty() || self.tools.iter().any(|tool| tool == name),
                    self.person
                        .as_ref()
                        .is_none_or(|person| is_same(person, name)),
                    self.document
                        .as_ref()
                        .is_none_or(|document| holds(name, document)),
                )
            })
            .collect();
        let name = |place: u16| names.get(usize::from(place)).copied().unwrap_or_default();
        let joints: Vec<u8> = build
            .joints
            .iter()
            .filter(|joint| {
                self.thread
                    .as_ref()
                    .is_none_or(|thread| is_same_thread(thread, &joint.thread))
                    && self
                        .part
                        .as_ref()
                        .is_none_or(|part| joint.needs.iter().any(|need| is_same(need, part)))
            })
            .map(|joint| joint.number)
            .collect();
        let any_joint = self.thread.is_none() && self.part.is_none();
        build
            .pulls
            .iter()
            .filter(|pull| {
                pull.counts
                    && (any_joint || joints.contains(&pull.joint))
                    && name(pull.tool).0
                    && name(pull.person).1
                    && name(pull.document).2
                    && self.is_then(pull.at)
                    && (!self.only_outside || self.outside(pull).is_some())
            })
            .collect()
    }

    /// The side on which an accepted attempt would lie outside its window were the tool off as asked. One that was not accepted is no
    /// news, and is no end of the matter either.
    #[must_use]
    pub fn outside(&self, pull: &Pull) -> Option<Side> {
        let off = self.off?;
        (pull.attempt.verdict == Verdict::Accepted)
            .then(|| off.outside(pull))
            .flatten()
    }

    /// Whether the time is within; a time that nobody knows may be.
    fn is_then(&self, at: Option<i64>) -> bool {
        at.is_none_or(|at| {
            self.from.is_none_or(|from| from <= at) && self.before.is_none_or(|before| at < before)
        })
    }
}

fn is_same(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

fn holds(whole: &str, piece: &str) -> bool {
    whole.to_lowercase().contains(&piece.trim().to_lowercase())
}

/// `M10` is `M10x1.5`, however it is written.
pub(super) fn is_same_thread(one: &str, other: &str) -> bool {
    thread_key(one) == thread_key(other)
}

/// A thread in one spelling: what it is, where it reads; the text where it does not.
#[must_use]
pub(super) fn thread_key(text: &str) -> String {
    match text.parse::<Thread>() {
        Ok(thread) => format!(
            "{:?} {} {:.4} {:.4}{}",
            thread.kind,
            thread.size(),
            thread.major_mm,
            thread.pitch_mm,
            if thread.left_hand { " left" } else { "" }
        ),
        Err(_) => text.trim().to_lowercase(),
    }
}

/// One attempt of an answer, in the words and units of every table of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(
    non_snake_case,
    reason = "units in names as they are written: the keys are a contract with scripts"
)]
pub struct Line {
    /// The build's name on the shelf.
    pub build: String,
    /// The joint's id.
    pub joint: String,
    /// The fastener's label.
    pub fastener: String,
    /// The stage, from 1.
    pub stage: u32,
    /// The tool's id, or the adapter's serial number; empty where nobody named one.
    pub tool: String,
    /// The highest torque; of a turn the torque at its end; of a tool that was set, what the setting stands for. None where nobody
    /// knows it.
    pub torque_Nm: Option<f64>,
    /// Lower limit, running torque put in; none where there is none.
    pub low_Nm: Option<f64>,
    /// Upper limit.
    pub high_Nm: Option<f64>,
    /// When, in UTC; none where the time is unknown.
    pub at: Option<String>,
    /// The try, from 1.
    pub attempt: u8,
    /// The verdict.
    pub verdict: &'static str,
    /// How the value came to be.
    pub evidence: String,
    /// Whether no later attempt at the same step is recorded.
    pub last: bool,
    /// Who worked.
    pub person: String,
    /// How far above the lower limit.
    pub margin_low_Nm: Option<f64>,
    /// How far below the upper limit.
    pub margin_high_Nm: Option<f64>,
    /// The torque there was, were the tool off as asked; none where nothing was asked.
    pub true_Nm: Option<f64>,
    /// The side on which that lies outside the window.
    pub outside: Option<&'static str>,
    /// On no metal.
    pub rehearsal: bool,
    /// Of a plan whose values are invented.
    pub demo: bool,
    /// The same in words; empty for real work.
    #[serde(skip)]
    pub not_work: String,
    /// When, in seconds since 1970.
    #[serde(skip)]
    pub unix: Option<i64>,
}

/// The keys of [`Line`], in order: the head of a table.
pub const COLUMNS: &str = "build,joint,fastener,stage,tool,torque_Nm,low_Nm,high_Nm,at,attempt,verdict,evidence,last,person,margin_low_Nm,margin_high_Nm,true_Nm,outside,rehearsal,demo";

#[expect(
    clippy::cast_precision_loss,
    reason = "torques are below 2^53 mN·m by far"
)]
fn newton_meters(millinewton_meters: i64) -> f64 {
    millinewton_meters as f64 / 1_000.0
}

impl Line {
    /// An attempt of a build.
    #[must_use]
    pub fn of(question: &Question, name: &str, build: &Build, pull: &Pull) -> Self {
        let attempt = &pull.attempt;
        let torque = |value: i32| newton_meters(i64::from(value));
        let apart = |upper: i32, lower: i32| newton_meters(i64::from(upper) - i64::from(lower));
        Self {
            build: name.to_owned(),
            joint: build.joint_id(pull.joint),
            fastener: build.label(pull.joint, attempt.fastener),
            stage: u32::from(attempt.stage) + 1,
            tool: build.name(pull.tool).to_owned(),
            torque_Nm: pull.torque().map(torque),
            low_Nm: pull.low.map(torque),
            high_Nm: pull.high.map(torque),
            at: words::utc(pull.at),
            attempt: attempt.attempt,
            verdict: words::verdict(attempt.verdict),
            evidence: build.name(pull.evidence).to_owned(),
            last: pull.is_last,
            person: build.name(pull.person).to_owned(),
            margin_low_Nm: pull
                .low
                .zip(pull.torque())
                .map(|(low, torque)| apart(torque, low)),
            margin_high_Nm: pull
                .high
                .zip(pull.peak())
                .map(|(high, peak)| apart(high, peak)),
            true_Nm: question
                .off
                .zip(pull.torque())
                .map(|(off, torque)| newton_meters(off.truth(torque))),
            outside: question.outside(pull).map(Side::word),
            rehearsal: build.rehearsal,
            demo: build.demo,
            not_work: build.not_work(),
            unix: pull.at,
        }
    }

    /// As a row under [`COLUMNS`].
    #[must_use]
    pub fn csv(&self) -> String {
        let number = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
        let cells = [
            quoted(&self.build),
            quoted(&self.joint),
            quoted(&self.fastener),
            self.stage.to_string(),
            quoted(&self.tool),
            number(self.torque_Nm),
            number(self.low_Nm),
            number(self.high_Nm),
            self.at.clone().unwrap_or_default(),
            self.attempt.to_string(),
            self.verdict.to_owned(),
            self.evidence.clone(),
            self.last.to_string(),
            quoted(&self.person),
            number(self.margin_low_Nm),
            number(self.margin_high_Nm),
            number(self.true_Nm),
            self.outside.unwrap_or_default().to_owned(),
            self.rehearsal.to_string(),
            self.demo.to_string(),
        ];
        cells.join(",")
    }
}
