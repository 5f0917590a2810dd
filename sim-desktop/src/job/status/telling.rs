//! What a record or a fact of the desktop says: its words, its keys for scripts, its mark, and the list that it belongs to.
//!
//! The one place that looks into records to tell of them. Records carry numbers only; [`Names`] puts names to them. Knows nothing of
//! files or drawing.

use evendraw_core::audit::torque_window;
use evendraw_core::ledger::NONE;
use evendraw_core::procedure::{
    AngleWindow, EngineState, Moment, Procedure, StageKind, TorqueWindow,
};
use evendraw_core::record::{
    Added, AfterPass, Attempt, BySetting, Decision, Doubt, Entry, Manner, Read, Record, Revised,
    Role, Seen,
};
use evendraw_core::unit::{Angle, Torque};
use evendraw_core::verdict::Verdict;
use serde_json::{Map, Value, json};

use super::hands::InHand;
use super::unit::Shown;
use super::{How, PutRight, attempt_of, plan_of};
use crate::job::revision::Revisions;
use crate::mark::Mark;
use crate::peers::is_of_peers;
use crate::plan::{Joint, JointPlan, Plan, Tool};
use crate::quantity::newton_meters;
use crate::store::{Became, Fact, HostFact};
use crate::uncertainty::{Judged, judged};
use crate::words;

/// What the numbers in records stand for.
#[derive(Clone, Debug, Default)]
pub struct Names {
    joints: Vec<(u8, JointNames)>,
    /// Names under earlier revisions: the joint, the number of its last record under it, and what it was called then.
    earlier: Vec<(u8, u32, Names)>,
}

#[derive(Clone, Debug)]
struct JointNames {
    id: String,
    labels: Vec<String>,
    steps: Vec<(Option<u8>, u8)>,
    stages: Vec<(StageKind, Shown)>,
    moments: Vec<String>,
    procedure: Box<Procedure>,
}

impl Names {
    /// No names: everything is told by number.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// With the names of one more joint.
    #[must_use]
    pub fn with(mut self, joint: &Joint, plan: &JointPlan) -> Self {
        let procedure = &plan.procedure;
        let labels = procedure.fasteners().iter();
        let stages = (0_u8..).zip(procedure.stages());
        self.joints.push((
            joint.number(),
            JointNames {
                id: joint.id().to_owned(),
                labels: labels.map(|own| own.label.to_string()).collect(),
                steps: procedure
                    .steps()
                    .iter()
                    .map(|step| (step.fastener(), step.stage()))
                    .collect(),
                stages: stages
                    .map(|(number, stage)| (stage.kind, Shown::at(plan, number)))
                    .collect(),
                moments: plan.moments.clone(),
                procedure: Box::new(procedure.clone()),
            },
        ));
        self
    }

    /// With the names that a joint's records up to this number were made under.
    #[must_use]
    pub fn with_earlier(mut self, joint: u8, last: u32, names: Self) -> Self {
        self.earlier.push((joint, last, names));
        self
    }

    /// The names that a record was made under.
    #[must_use]
    pub fn at(&self, entry: &Entry) -> &Self {
        let earlier = self
            .earlier
            .iter()
            .filter(|(joint, last, _)| *joint == entry.joint && entry.seq <= *last);
        earlier
            .min_by_key(|(_, last, _)| *last)
            .map_or(self, |(_, _, names)| names)
    }

    fn of(&self, joint: u8) -> Option<&JointNames> {
        self.joints
            .iter()
            .find(|(number, _)| *number == joint)
            .map(|(_, names)| names)
    }

    /// The joint's id; its number where it has no name.
    #[must_use]
    pub fn joint(&self, joint: u8) -> String {
        self.of(joint)
            .map_or_else(|| format!("joint {joint}"), |names| names.id.clone())
    }

    /// The fastener's label; its index where it has none.
    #[must_use]
    pub fn fastener(&self, joint: u8, fastener: u8) -> String {
        self.of(joint)
            .and_then(|names| names.labels.get(usize::from(fastener)))
            .cloned()
            .unwrap_or_else(|| format!("index {fastener}"))
    }

    /// The fastener and the stage that a step stands for.
    fn step(&self, joint: u8, step: u16) -> Option<(Option<u8>, u8)> {
        self.of(joint)?.steps.get(usize::from(step)).copied()
    }

    /// What kind of stage a step belongs to.
    fn kind(&self, joint: u8, step: u16) -> Option<StageKind> {
        let (_, stage) = self.step(joint, step)?;
        Some(self.of(joint)?.stages.get(usize::from(stage))?.0)
    }

    /// The unit of the plan at a stage.
    pub(super) fn shown(&self, joint: u8, stage: u8) -> Shown {
        self.of(joint)
            .and_then(|names| names.stages.get(usize::from(stage)))
            .map_or(Shown::NEWTON_METERS, |(_, shown)| *shown)
    }

    fn moment(&self, joint: u8, moment: Moment) -> String {
        match moment {
            Moment::StageDone(stage) => format!("stage {}", u32::from(stage) + 1),
            Moment::Named(number) => self
                .of(joint)
                .and_then(|names| names.moments.get(usize::from(number)))
                .cloned()
                .unwrap_or_else(|| format!("moment {}", u32::from(number) + 1)),
        }
    }
}

/// What a fact is about, within its joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// The joint.
    Joint,
    /// A fastener, by index.
    Fastener(u8),
    /// A stage, by index.
    Stage(u8),
    /// A step.
    Step(u16),
}

/// The list that a fact belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum List {
    /// None: it goes without saying.
    None,
    /// What should be known beside the states.
    Notes,
    /// What was done again.
    Redone,
    /// What is out of the ordinary.
    Exceptions,
}

/// What one record says.
#[derive(Clone, Debug)]
pub struct Telling {
    /// Its kind, as scripts know it.
    pub kind: &'static str,
    /// What it is about.
    pub about: About,
    /// In words, without the place.
    pub words: String,
    /// Its state, where it has one.
    pub mark: Option<Mark>,
    /// The list that it belongs to.
    pub list: List,
    fields: Vec<(&'static str, Value)>,
}

impl Telling {
    fn new(kind: &'static str, about: About, words: impl Into<String>) -> Self {
        Self {
            kind,
            about,
            words: words.into(),
            mark: None,
            list: List::None,
            fields: Vec::new(),
        }
    }

    fn with(mut self, key: &'static str, value: impl Into<Value>) -> Self {
        self.fields.push((key, value.into()));
        self
    }

    fn marked(mut self, mark: Mark) -> Self {
        self.mark = Some(mark);
        self
    }

    fn on(mut self, list: List) -> Self {
        self.list = list;
        self
    }

    /// Among the exceptions, in this state, unless all is well.
    fn unless(self, is_well: bool, mark: Mark) -> Self {
        if is_well {
            self.marked(Mark::Accepted)
        } else {
            self.marked(mark).on(List::Exceptions)
        }
    }
}

impl About {
    /// The fastener and the stage, by index, as far as they apply.
    #[must_use]
    pub fn place(self, names: &Names, joint: u8) -> (Option<u8>, Option<u8>) {
        match self {
            Self::Joint => (None, None),
            Self::Fastener(fastener) => (Some(fastener), None),
            Self::Stage(stage) => (None, Some(stage)),
            Self::Step(step) => names
                .step(joint, step)
                .map_or((None, None), |(fastener, stage)| (fastener, Some(stage))),
        }
    }
}

/// `fastener 4, stage 2`, as far as each applies; empty for the joint as a whole.
#[must_use]
pub fn place(names: &Names, joint: u8, about: About) -> String {
    let (fastener, stage) = about.place(names, joint);
    let fastener = fastener.map(|own| format!("fastener {}", names.fastener(joint, own)));
    let stage = stage.map(|own| format!("stage {}", u32::from(own) + 1));
    let parts: Vec<String> = fastener.into_iter().chain(stage).collect();
    parts.join(", ")
}

fn degrees(angle: Option<Angle>) -> Value {
    angle.map_or(Value::Null, |angle| {
        json!(f64::from(angle.millidegrees()) / 1_000.0)
    })
}

const fn added_word(added: Added) -> Option<&'static str> {
    match added {
        Added::Nothing => None,
        Added::Unknown => Some("unknown"),
        Added::Given(_) => Some("given"),
        Added::Measured(_) => Some("measured"),
        Added::Typed(_) => Some("typed"),
    }
}

/// Low and high; null for a side that is open.
fn torque_limits(window: &TorqueWindow) -> Value {
    let low = (window.min > Torque::ZERO).then(|| newton_meters(window.min));
    let high = (window.max < Torque::MAX).then(|| newton_meters(window.max));
    json!([low, high])
}

/// A judged attempt, with the keys that scripts rely on: the window is the one it was held against, running torque put in.
#[must_use]
pub fn attempt_object(names: &Names, joint: u8, attempt: &Attempt) -> Value {
    let reasons: Vec<&str> = attempt.reasons.iter().map(|reason| reason.word()).collect();
    let mut object = json!({
        "record": "attempt",
        "joint": names.joint(joint),
        "fastener": names.fastener(joint, attempt.fastener),
        "stage": u32::from(attempt.stage) + 1,
        "attempt": attempt.attempt,
        "pulls": attempt.pulls,
        "peak_torque_Nm": newton_meters(attempt.peak),
        "final_torque_Nm": newton_meters(attempt.final_torque),
        "angle_deg": degrees(attempt.angle),
        "verdict": words::verdict(attempt.verdict),
        "reasons": reasons,
        "evidence": "measured",
        "prevailing_Nm": attempt.prevailing.torque().map(newton_meters),
    });
    if let Some(procedure) = names.of(joint).map(|names| &names.procedure) {
        let (key, limits) = match procedure.angle_window(attempt.step) {
            Some(AngleWindow { min, max, .. }) => {
                let high = (max < Angle::MAX).then_some(max);
                ("window_deg", json!([degrees(Some(min)), degrees(high)]))
            }
            None => {
                let window = torque_window(procedure, attempt);
                (
                    "window_Nm",
                    window.as_ref().map_or(Value::Null, torque_limits),
                )
            }
        };
        object[key] = limits;
    }
    object
}

/// An attempt however it came to be known, with the same keys: a value that nobody read is null. None for any other record.
#[must_use]
pub fn told_object(names: &Names, joint: u8, record: &Record) -> Option<Value> {
    let attempt = attempt_of(record)?;
    let mut object = attempt_object(names, joint, &attempt);
    object["evidence"] = json!(How::of(record).map(How::key));
    let torque = match record {
        Record::Read(read) => read.torque,
        Record::BySetting(_) => None,
        Record::Reassigned(_) => {
            object["record"] = json!("reassigned");
            return Some(object);
        }
        _ => return Some(object),
    };
    object["peak_torque_Nm"] = json!(torque.map(newton_meters));
    object["final_torque_Nm"] = json!(torque.map(newton_meters));
    object["way"] = json!(how_words(record));
    Some(object)
}

/// The mark of a verdict.
#[must_use]
pub const fn verdict_mark(verdict: Verdict) -> Mark {
    match verdict {
        Verdict::Accepted => Mark::Accepted,
        Verdict::Rejected => Mark::Rejected,
        Verdict::Unknown => Mark::Doubtful,
    }
}

/// What a record says. Every kind of record is told here, and nowhere else.
#[must_use]
pub fn tell(names: &Names, entry: &Entry) -> Telling {
    let names = names.at(entry);
    let joint = entry.joint;
    let step = |kind, step, words: String| Telling::new(kind, About::Step(step), words);
    let whole = |kind, words: String| Telling::new(kind, About::Joint, words);
    let behind = |text: &str| {
        if text.is_empty() {
            String::new()
        } else {
            format!(" ({text})")
        }
    };
    match &entry.record {
        Record::Started(own) => {
            let trial = if own.rehearsal { " as a REHEARSAL" } else { "" };
            let words = format!(
                "started{trial}, rules {}, procedure {:08x}",
                own.rules, own.procedure
            );
            whole("started", words)
                .with("rules", own.rules)
                .with("procedure", format!("{:08x}", own.procedure))
                .with("rehearsal", own.rehearsal)
        }
        Record::Begun(own) => step("begun", own.step, "first load".to_owned()),
        Record::Attempt(own) => tell_attempt(names, joint, own),
        Record::Read(own) => tell_read(names, joint, &entry.record, own),
        Record::BySetting(own) => tell_setting(names, joint, &entry.record, own),
        Record::Done(own) => {
            let (manner, words, mark, list) = match own.manner {
                Manner::Hand => ("by hand", "done by hand", Mark::Accepted, List::None),
                Manner::Paper => {
                    let words = "from paper, unmeasured";
                    (words, words, Mark::Unmeasured, List::Exceptions)
                }
            };
            step("done", own.step, words.to_owned())
                .with("manner", manner)
                .marked(mark)
                .on(list)
        }
        Record::Answered(own) => {
            let words = if own.yes { "yes" } else { "NO" };
            step(
                "answered",
                own.step,
                format!("answered {words}{}", behind(own.note.as_str())),
            )
            .with("yes", own.yes)
            .with("note", own.note.as_str())
            .unless(own.yes, Mark::Rejected)
        }
        Record::Measured(own) => {
            let verdict = match (own.verdict, names.kind(joint, own.step)) {
                (Verdict::Rejected, Some(StageKind::Measure { min, max })) => {
                    format!("outside its window, {}", words::length_window(min, max))
                }
                _ => words::verdict(own.verdict).to_owned(),
            };
            step(
                "measured",
                own.step,
                format!("measured {}, {verdict}", words::length(own.length)),
            )
            .with("length_mm", f64::from(own.length.micrometers()) / 1_000.0)
            .with("verdict", words::verdict(own.verdict))
            .unless(own.verdict == Verdict::Accepted, Mark::Rejected)
        }
        Record::Waited(own) => step("waited", own.step, waited(names, joint, own))
            .with("seconds", own.seconds)
            .with("verdict", words::verdict(own.verdict))
            .unless(own.verdict == Verdict::Accepted, Mark::Rejected),
        Record::Person(own) => whole("person", format!("{}: {}", role(own.role), own.name))
            .with("name", own.name.as_str())
            .with("role", role(own.role)),
        Record::Tool(own) => {
            let telling = if own.waiver.is_empty() {
                whole("tool", format!("tool {}", own.id))
            } else {
                whole(
                    "tool",
                    format!("tool {} used on a reason: {}", own.id, own.waiver),
                )
                .marked(Mark::Skipped)
                .on(List::Exceptions)
            };
            telling
                .with("id", own.id.as_str())
                .with("waiver", own.waiver.as_str())
        }
        Record::Condition(own) => {
            let words = if own.matches {
                "as the plan assumes"
            } else {
                "NOT as the plan assumes"
            };
            whole(
                "condition",
                format!("on the threads: {}, {words}", own.found),
            )
            .with("found", own.found.as_str())
            .with("matches", own.matches)
            .unless(own.matches, Mark::Doubtful)
        }
        Record::Anchor(own) => {
            let words = format!("wall time {}", words::wall_time(Some(own.unix_seconds)));
            whole("anchor", words).with("unix_s", own.unix_seconds)
        }
        Record::Zero(own) => {
            let words = if own.taken {
                "zero taken"
            } else {
                "zero REFUSED"
            };
            whole(
                "zero",
                format!(
                    "{words}, {} from the factory zero",
                    words::torque(own.offset)
                ),
            )
            .with("taken", own.taken)
            .with("offset_Nm", newton_meters(own.offset))
            .unless(own.taken, Mark::Doubtful)
        }
        Record::Loosened(own) => {
            let by = if own.elsewhere {
                " by work on another joint"
            } else {
                ""
            };
            let words = format!("loosened{by}{}", behind(own.cause.as_str()));
            Telling::new("loosened", About::Fastener(own.fastener), words)
                .with("elsewhere", own.elsewhere)
                .with("cause", own.cause.as_str())
                .marked(Mark::Disturbed)
                .on(List::Redone)
        }
        Record::Fitted(own) => {
            Telling::new("fitted", About::Fastener(own.fastener), "new one fitted")
                .marked(Mark::Open)
                .on(List::Redone)
        }
        Record::Skipped(own) => step("skipped", own.step, format!("SKIPPED: {}", own.reason))
            .with("reason", own.reason.as_str())
            .marked(Mark::Skipped)
            .on(List::Exceptions),
        Record::Noted(own) => {
            let about = own.fastener.map_or(About::Joint, About::Fastener);
            let (words, doubt) = match own.doubt {
                Doubt::None => ("note", Value::Null),
                Doubt::Raised if is_of_peers(own) => ("UNLIKE ITS PEERS", json!("raised")),
                Doubt::Raised => ("FELT WRONG", json!("raised")),
                Doubt::Settled => ("looked at and found good", json!("settled")),
            };
            let words = format!("{words}{}", behind(own.text.as_str()));
            let telling = Telling::new("noted", about, words)
                .with("doubt", doubt)
                .with("text", own.text.as_str());
            match own.doubt {
                Doubt::None => telling.on(List::Notes),
                // What the comparison finds today is told beside the records, with what was said of it.
                Doubt::Raised if is_of_peers(own) => telling.marked(Mark::Doubtful).on(List::Notes),
                Doubt::Raised => telling.marked(Mark::Doubtful).on(List::Exceptions),
                Doubt::Settled => telling.marked(Mark::Accepted).on(List::Notes),
            }
        }
        Record::Decided(own) => {
            let words = format!(
                "decided: {}{}",
                decision(own.decision),
                behind(own.note.as_str())
            );
            let telling = step("decided", own.step, words)
                .with("decision", decision(own.decision))
                .with("note", own.note.as_str());
            match own.decision {
                Decision::Observed => telling.marked(Mark::Unmeasured).on(List::Exceptions),
                Decision::Waive => telling.marked(Mark::Skipped).on(List::Exceptions),
                Decision::Again | Decision::Restart(_) | Decision::Replace => {
                    telling.marked(Mark::Disturbed).on(List::Redone)
                }
            }
        }
        Record::Marked(own) => {
            Telling::new("marked", About::Fastener(own.fastener), "marked as final")
                .marked(Mark::Final)
        }
        Record::Rechecked(own) => {
            let shown = names.step(joint, own.step);
            let shown = shown.map_or(Shown::NEWTON_METERS, |(_, stage)| names.shown(joint, stage));
            let moved = own.moved.map_or_else(|| "unknown".to_owned(), words::angle);
            let is_well = own.verdict == Verdict::Accepted;
            let words = format!(
                "checked again at {}, moved {moved}, {}",
                shown.words(own.peak),
                words::verdict(own.verdict)
            );
            step("rechecked", own.step, words)
                .with("peak_torque_Nm", newton_meters(own.peak))
                .with("moved_deg", degrees(own.moved))
                .with("verdict", words::verdict(own.verdict))
                .on(List::Notes)
                .unless(is_well, Mark::Doubtful)
        }
        Record::Pass(own) => {
            let words = format!(
                "pass {}: {} moved; {}",
                own.pass,
                own.moved,
                after_pass(own.next)
            );
            let telling = Telling::new("pass", About::Stage(own.stage), words)
                .with("pass", own.pass)
                .with("moved", own.moved)
                .with("next", after_pass(own.next));
            match own.next {
                AfterPass::NotConverged => telling.marked(Mark::Doubtful).on(List::Exceptions),
                AfterPass::Converged | AfterPass::Again => telling.on(List::Notes),
            }
        }
        Record::Moment(own) => {
            let name = names.moment(joint, Moment::Named(own.moment));
            whole("moment", name.clone())
                .with("moment", own.moment)
                .with("name", name)
                .on(List::Notes)
        }
        Record::Due(own) => {
            let words = format!("became due, engine {}", engine(own.state));
            Telling::new("due", About::Stage(own.stage), words)
                .with("state", engine(own.state))
                .on(List::Notes)
        }
        Record::Apart(own) => whole(
            "apart",
            format!("mock-up taken apart{}", behind(own.note.as_str())),
        )
        .with("note", own.note.as_str())
        .marked(Mark::MockUp)
        .on(List::Notes),
        Record::Running(own) => {
            let seen = match own.seen {
                Seen::Measured => "measured",
                Seen::Typed => "typed",
            };
            let (torque, how) = (words::torque(own.torque), words::seen(own.seen));
            let words = format!("running torque {torque}, {how}");
            Telling::new("running", About::Fastener(own.fastener), words)
                .with("prevailing_Nm", newton_meters(own.torque))
                .with("seen", seen)
                .on(List::Notes)
        }
        Record::Reassigned(own) => {
            let telling = tell_attempt(names, joint, &own.attempt);
            Telling {
                kind: "reassigned",
                words: format!(
                    "put right, the pull of record {} was here: {}",
                    own.of, telling.words
                ),
                list: List::Exceptions,
                ..telling
            }
            .with("of", own.of)
        }
        Record::Withdrawn(own) => whole(
            "withdrawn",
            format!("record {} is withdrawn: {}", own.of, own.reason),
        )
        .with("of", own.of)
        .with("reason", own.reason.as_str())
        .on(List::Notes),
        Record::Revised(Revised::Joint { procedure, .. }) => {
            let words = "goes on under another revision of the plan: what did not change holds";
            whole("revised", words.to_owned())
                .with("procedure", format!("{procedure:08x}"))
                .on(List::Notes)
        }
        Record::Revised(Revised::Fastener { fastener, from, .. }) => {
            let words = if *from == NONE {
                "new in this revision"
            } else {
                "carried into this revision"
            };
            Telling::new("carried", About::Fastener(*fastener), words.to_owned())
                .with("new", *from == NONE)
        }
        Record::Recovered(own) => {
            let words = format!(
                "RECOVERED: {} bytes of a torn record dropped, {} damaged bytes set aside",
                own.dropped, own.quarantined
            );
            whole("recovered", words)
                .with("dropped_bytes", own.dropped)
                .with("quarantined_bytes", own.quarantined)
                .marked(Mark::Doubtful)
                .on(List::Exceptions)
        }
    }
}

fn tell_attempt(names: &Names, joint: u8, attempt: &Attempt) -> Telling {
    let words = attempt_words(names, joint, attempt);
    let is_plain = attempt.verdict == Verdict::Accepted && attempt.reasons.is_empty();
    Telling::new("attempt", About::Step(attempt.step), words)
        .with("prevailing", added_word(attempt.prevailing))
        .with("restart_torque_Nm", attempt.restart.map(newton_meters))
        .with(
            "trace",
            (attempt.trace != 0).then(|| format!("{:08x}", attempt.trace)),
        )
        .with("took_s", f64::from(attempt.took_ms) / 1_000.0)
        .marked(verdict_mark(attempt.verdict))
        .on(if is_plain {
            List::None
        } else {
            List::Exceptions
        })
}

/// Among the exceptions where it was not simply accepted.
fn listed(telling: Telling, attempt: &Attempt) -> Telling {
    let is_plain = attempt.verdict == Verdict::Accepted && attempt.reasons.is_empty();
    telling
        .with("prevailing", added_word(attempt.prevailing))
        .marked(verdict_mark(attempt.verdict))
        .on(if is_plain {
            List::None
        } else {
            List::Exceptions
        })
}

/// What a person read.
fn tell_read(names: &Names, joint: u8, record: &Record, read: &Read) -> Telling {
    let attempt = read.as_attempt();
    let shown = names.shown(joint, read.stage);
    let mut words = told_words(shown, record).unwrap_or_default();
    if let Some(added) = words::added(read.prevailing) {
        words.push_str(&format!(", {added}"));
    }
    if !read.stated.is_empty() {
        words.push_str(&format!(" ({})", read.stated));
    }
    let telling = Telling::new(
        "attempt",
        About::Step(read.step),
        judged_words(&attempt, &words),
    )
    .with("moved", read.moved)
    .with("stated", read.stated.as_str());
    listed(telling, &attempt)
}

/// What a tool was set to.
fn tell_setting(names: &Names, joint: u8, record: &Record, set: &BySetting) -> Telling {
    let attempt = set.as_attempt();
    let shown = names.shown(joint, set.stage);
    let mut words = told_words(shown, record).unwrap_or_default();
    if let Some(added) = words::added(set.prevailing) {
        words.push_str(&format!(", {added}"));
    }
    let telling = Telling::new(
        "attempt",
        About::Step(set.step),
        judged_words(&attempt, &words),
    )
    .with("moved", set.moved)
    .with("setting_Nm", newton_meters(set.setting))
    .with("setting_stands_for_Nm", newton_meters(set.stands_for));
    listed(telling, &attempt)
}

/// The number of the try in front, verdict and reasons behind.
fn judged_words(attempt: &Attempt, words: &str) -> String {
    let number = match attempt.attempt {
        0 | 1 => String::new(),
        number => format!("attempt {number}: "),
    };
    let reasons = match words::reasons(attempt.reasons) {
        reasons if reasons.is_empty() => String::new(),
        reasons => format!(": {reasons}"),
    };
    format!(
        "{number}{words}, {}{reasons}",
        words::verdict(attempt.verdict)
    )
}

/// How a record came to be, in words; empty for one that is no last word on a step.
pub(super) fn how_words(record: &Record) -> &'static str {
    How::of(record).map_or("", How::words)
}

/// What a person read or set, and how; none for an attempt that was measured.
#[must_use]
pub fn told_words(shown: Shown, record: &Record) -> Option<String> {
    let how = how_words(record);
    match record {
        Record::Read(read) => Some(format!("{}, {how}", read_words(shown, read))),
        Record::BySetting(set) => Some(format!("{how} {}", setting_words(shown, set))),
        _ => None,
    }
}

/// The values that were read: `48.20 N·m, 91.0°`.
pub(super) fn read_words(shown: Shown, read: &Read) -> String {
    let torque = read.torque.map(|torque| shown.words(torque));
    let angle = read.angle.map(words::angle);
    let moved = read.moved.then(|| "moved".to_owned());
    let parts: Vec<String> = torque.into_iter().chain(angle).chain(moved).collect();
    parts.join(", ")
}

/// The setting, and what it stands for where that is another value.
pub(super) fn setting_words(shown: Shown, set: &BySetting) -> String {
    let mut words = shown.words(set.setting);
    if set.setting != set.stands_for {
        words.push_str(&format!(
            ", which stands for {}",
            shown.words(set.stands_for)
        ));
    }
    if set.moved {
        words.push_str(", moved");
    }
    words
}

/// What was reached, in the plan's unit, and the verdict.
fn attempt_words(names: &Names, joint: u8, attempt: &Attempt) -> String {
    let shown = names.shown(joint, attempt.stage);
    let mut line = String::new();
    if attempt.attempt > 1 {
        line.push_str(&format!("attempt {}: ", attempt.attempt));
    }
    // The judged number first: the peak for a torque, the angle for a turn.
    line.push_str(&shown.reached(attempt));
    // The peak is read less its noise, so of a flat end it may come out a hair below.
    let end = shown.number(attempt.final_torque);
    if attempt.final_torque < attempt.peak && end != shown.number(attempt.peak) {
        line.push_str(&format!(" (at the end {end})"));
    }
    match attempt.angle {
        Some(angle) => line.push_str(&format!(", {}", words::angle(angle))),
        None => line.push_str(", angle unknown"),
    }
    if attempt.pulls > 1 {
        line.push_str(&format!(", {} pulls", attempt.pulls));
    }
    if let Some(added) = words::added(attempt.prevailing) {
        line.push_str(&format!(", {added}"));
    }
    line.push_str(&format!(", {}", words::verdict(attempt.verdict)));
    let reasons = words::reasons(attempt.reasons);
    if !reasons.is_empty() {
        line.push_str(&format!(": {reasons}"));
    }
    line
}

/// How a wait ended, by the name of the moment that it counted from.
fn waited(names: &Names, joint: u8, waited: &evendraw_core::record::Waited) -> String {
    let took = match waited.seconds {
        0 => "at once".to_owned(),
        seconds => words::seconds(u64::from(seconds)),
    };
    let Some(StageKind::Wait { at_most, after, .. }) = names.kind(joint, waited.step) else {
        return format!("waited {took}, {}", words::verdict(waited.verdict));
    };
    let after = names.moment(joint, after);
    if waited.verdict == Verdict::Accepted {
        format!("{took} after {after}: in time")
    } else {
        let allowed = words::seconds(at_most.micros() / 1_000_000);
        format!("{took} after {after}: TOO LATE, {allowed} are allowed")
    }
}

/// Any record as an object: its kind, its own fields, then `seq`, `boot` and `at_s`, where it stands in the order of things.
#[must_use]
pub fn object(names: &Names, entry: &Entry) -> Value {
    let names = names.at(entry);
    let joint = entry.joint;
    let telling = tell(names, entry);
    let mut own = match told_object(names, joint, &entry.record) {
        Some(Value::Object(own)) => own,
        _ => {
            let mut own = Map::new();
            own.insert("record".into(), json!(telling.kind));
            own.insert("joint".into(), json!(names.joint(joint)));
            let (fastener, stage) = telling.about.place(names, joint);
            if matches!(telling.about, About::Fastener(_) | About::Step(_)) {
                let label = fastener.map(|own| names.fastener(joint, own));
                own.insert("fastener".into(), json!(label));
            }
            if matches!(telling.about, About::Stage(_) | About::Step(_)) {
                own.insert("stage".into(), json!(stage.map(|own| u32::from(own) + 1)));
            }
            own
        }
    };
    for (key, value) in telling.fields {
        own.insert(key.into(), value);
    }
    own.insert("seq".into(), json!(entry.seq));
    own.insert("boot".into(), json!(entry.boot));
    #[expect(
        clippy::cast_precision_loss,
        reason = "µs of a century fit the 53 bits of a float"
    )]
    own.insert("at_s".into(), json!(entry.at.micros() as f64 / 1e6));
    Value::Object(own)
}

/// The columns of the table, in their order: its first line.
pub const CSV_HEADER: &str = "record,joint,fastener,stage,attempt,pulls,peak_torque_Nm,final_torque_Nm,angle_deg,verdict,\
    reasons,words,seq,boot,at_s,prevailing_Nm,prevailing,evidence,put_right_by";

/// The table of records: a row each, the names of the columns first; what a kind has no value for stays empty.
pub fn csv<'f>(names: &'f Names, facts: &'f [Fact]) -> impl Iterator<Item = String> + use<'f> {
    let put_right = PutRight::of(facts);
    let rows = facts.iter().filter_map(move |fact| match fact {
        Fact::Entry(entry) => Some(csv_row(names, entry, put_right.by(entry))),
        Fact::Host(_) => None,
    });
    std::iter::once(CSV_HEADER.to_owned()).chain(rows)
}

fn csv_row(names: &Names, entry: &Entry, put_right_by: Option<u32>) -> String {
    let object = object(names, entry);
    let plain = |key: &str| match object.get(key) {
        None | Some(Value::Null) => String::new(),
        Some(Value::String(text)) => text.clone(),
        Some(Value::Array(list)) => list
            .iter()
            .filter_map(Value::as_str)
            .collect::<Vec<_>>()
            .join(" "),
        Some(other) => other.to_string(),
    };
    let cells = CSV_HEADER.split(',').map(|column| match column.trim() {
        "words" => quoted(&line(names, entry)),
        "put_right_by" => put_right_by.map_or_else(String::new, |by| by.to_string()),
        column => quoted(&plain(column)),
    });
    cells.collect::<Vec<_>>().join(",")
}

pub(crate) fn quoted(text: &str) -> String {
    // A cell that a table program would take for a formula is kept a text.
    let is_number = text.parse::<f64>().is_ok();
    let text = if !is_number && text.starts_with(['=', '+', '-', '@']) {
        format!("'{text}")
    } else {
        text.to_owned()
    };
    // A cell may have lines; what else steers a terminal has no form of its own in a table.
    let text = words::visible_lines(&text);
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.into_owned()
    }
}

/// Any record as a line for people, without its joint, number and time.
#[must_use]
pub fn line(names: &Names, entry: &Entry) -> String {
    let names = names.at(entry);
    let telling = tell(names, entry);
    match place(names, entry.joint, telling.about).as_str() {
        "" => telling.words,
        place => format!("{place}: {}", telling.words),
    }
}

/// A judged attempt as a line for people.
#[must_use]
pub fn attempt_line(names: &Names, joint: u8, attempt: &Attempt) -> String {
    let place = format!(
        "fastener {}, stage {}",
        names.fastener(joint, attempt.fastener),
        u32::from(attempt.stage) + 1
    );
    format!("{place}: {}", attempt_words(names, joint, attempt))
}

/// Seconds since 1970, where they are known.
fn known(unix: i64) -> Option<i64> {
    (unix != 0).then_some(unix)
}

/// What was said, by whom and when, as far as each is known.
fn told(said: &str, by: &str, unix: i64) -> String {
    let when = known(unix).map(|unix| words::wall_time(Some(unix)));
    let parts = [said.to_owned(), by.to_owned(), when.unwrap_or_default()];
    let parts: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    if parts.is_empty() {
        String::new()
    } else {
        format!(": {}", parts.join(", "))
    }
}

/// A fact of the desktop as an object for scripts and a line for people; the pieces of the plan's text are not told.
#[must_use]
pub fn tell_host(names: &Names, fact: &HostFact) -> Option<(Value, String)> {
    let mm = |um: u32| f64::from(um) / 1_000.0;
    Some(match fact {
        HostFact::Opened {
            rehearsal,
            plan_name,
            ..
        } => (
            json!({ "record": "opened", "rehearsal": rehearsal, "plan": plan_name }),
            format!(
                "journal of a {}, plan {plan_name}",
                if *rehearsal { "REHEARSAL" } else { "job" }
            ),
        ),
        HostFact::PlanChanged { plan_name, .. } => (
            json!({ "record": "plan-changed", "plan": plan_name }),
            format!("from here on to another text of the plan, {plan_name}"),
        ),
        HostFact::Variant {
            joint,
            question,
            answer,
        } => (
            json!({ "record": "variant", "joint": names.joint(*joint), "question": question, "answer": answer }),
            format!("{}: {question}: {answer}", names.joint(*joint)),
        ),
        HostFact::PartArrived { part } => (
            json!({ "record": "part", "part": part, "here": true }),
            format!("part arrived: {part}"),
        ),
        HostFact::PartMissing { part } => (
            json!({ "record": "part", "part": part, "here": false }),
            format!("part is NOT here: {part}"),
        ),
        HostFact::PartIs {
            part,
            state,
            by,
            unix,
            said,
        } => (
            json!({ "record": "part", "part": part, "here": state.is_here(), "state": state.word(), "said": said, "by": by, "unix": known(*unix) }),
            format!("part {part}: {}{}", state.word(), told(said, by, *unix)),
        ),
        HostFact::TaskDone {
            task,
            by,
            unix,
            said,
        } => (
            json!({ "record": "task", "task": task, "done": true, "said": said, "by": by, "unix": known(*unix) }),
            format!("task {task} done{}", told(said, by, *unix)),
        ),
        HostFact::TaskUndone {
            task,
            by,
            unix,
            said,
        } => (
            json!({ "record": "task", "task": task, "done": false, "said": said, "by": by, "unix": known(*unix) }),
            format!("task {task} UNDONE{}", told(said, by, *unix)),
        ),
        HostFact::Reminder {
            number,
            about,
            text,
            holds,
            by,
            unix,
        } => (
            json!({ "record": "reminder", "number": number, "about": about, "text": text, "holds": holds, "by": by, "unix": known(*unix) }),
            {
                let holds = match holds.as_str() {
                    "" => String::new(),
                    holds => format!("; holds up {holds}"),
                };
                format!("reminder {number}: {text}{holds}{}", told("", by, *unix))
            },
        ),
        HostFact::ReminderClosed {
            number,
            became,
            said,
            by,
            unix,
        } => {
            let word = match became {
                Became::Ticked => "ticked",
                Became::Part => "part",
                Became::Task => "task",
            };
            (
                json!({ "record": "reminder-closed", "number": number, "became": word, "said": said, "by": by, "unix": known(*unix) }),
                format!(
                    "reminder {number} put away, {word}{}",
                    told(said, by, *unix)
                ),
            )
        }
        HostFact::Handover { text } => (
            json!({ "record": "handover", "text": text }),
            format!("handover: {text}"),
        ),
        HostFact::Clamp {
            joint,
            fastener,
            stage,
            newtons,
        } => (
            json!({
                "record": "clamp", "joint": names.joint(*joint), "fastener": names.fastener(*joint, *fastener),
                "stage": u32::from(*stage) + 1, "clamp_kN": mm(*newtons),
            }),
            format!(
                "{}: fastener {} clamps {:.1} kN on the bench after stage {}",
                names.joint(*joint),
                names.fastener(*joint, *fastener),
                mm(*newtons),
                u32::from(*stage) + 1
            ),
        ),
        HostFact::Geometry {
            joint,
            lever_um,
            offset_um,
            angle_mdeg,
        } => (
            json!({
                "record": "geometry", "joint": names.joint(*joint), "lever_mm": mm(*lever_um),
                "offset_mm": mm(*offset_um), "angle_deg": mm(*angle_mdeg),
            }),
            format!(
                "{}: lever {:.1} mm, offset {:.1} mm, angle {:.1}°",
                names.joint(*joint),
                mm(*lever_um),
                mm(*offset_um),
                mm(*angle_mdeg)
            ),
        ),
        HostFact::AtAdapter { joint, serial } => (
            json!({ "record": "at-adapter", "joint": names.joint(*joint), "serial": serial }),
            if serial.is_empty() {
                format!("{}: worked at the desk again", names.joint(*joint))
            } else {
                format!("{}: worked at adapter {serial}", names.joint(*joint))
            },
        ),
        HostFact::Plan { .. } => return None,
    })
}

/// How sure the torque of each attempt is, as the records go by: the tool in hand is known without looking back.
#[derive(Clone, Debug)]
pub struct Sure<'p> {
    plan: Option<&'p Plan>,
    joints: Vec<&'p JointPlan>,
    tools: Vec<InHand<&'p Tool>>,
    revisions: Revisions,
}

impl<'p> Sure<'p> {
    /// Before the first record. Nothing is known where the plan is lost.
    #[must_use]
    pub fn new(plan: Option<&'p Plan>, facts: &[Fact]) -> Self {
        let joints: Vec<&JointPlan> = plan
            .into_iter()
            .flat_map(Plan::joints)
            .map(|joint| plan_of(facts, joint))
            .collect();
        Self {
            plan,
            tools: vec![InHand::default(); joints.len()],
            revisions: Revisions::of(facts),
            joints,
        }
    }

    /// Takes in the next record; how sure it is, where it is an attempt.
    pub fn judged(&mut self, entry: &Entry) -> Option<Judged> {
        let own = usize::from(entry.joint);
        let (hand, plan) = (self.tools.get_mut(own)?, self.plan?);
        hand.take(&entry.record, |id| plan.tool(id));
        let tool = hand.tool().copied();
        if !self.revisions.is_of_today(entry) {
            // Judged by limits that are not these.
            return None;
        }
        match &entry.record {
            Record::Attempt(attempt) => judged(self.joints.get(own)?, tool, attempt),
            Record::Reassigned(moved) => judged(self.joints.get(own)?, tool, &moved.attempt),
            // Where a torque was read. A setting is no reading.
            Record::Read(read) if read.torque.is_some() => {
                judged(self.joints.get(own)?, tool, &read.as_attempt())
            }
            _ => None,
        }
    }
}

/// Every fact as an object for scripts, in order.
pub fn objects<'f>(
    names: &'f Names,
    plan: Option<&'f Plan>,
    facts: &'f [Fact],
) -> impl Iterator<Item = Value> + use<'f> {
    let mut sure = Sure::new(plan, facts);
    let put_right = PutRight::of(facts);
    facts.iter().filter_map(move |fact| match fact {
        Fact::Entry(entry) => {
            let mut object = object(names, entry);
            if let Some(by) = put_right.by(entry) {
                object["put_right_by"] = json!(by);
            }
            if let Some(judged) = sure.judged(entry) {
                judged.add_to(&mut object);
            }
            Some(object)
        }
        Fact::Host(fact) => tell_host(names, fact).map(|(object, _)| object),
    })
}

/// A decision in words.
fn decision(decision: Decision) -> String {
    match decision {
        Decision::Again => "pull again".to_owned(),
        Decision::Restart(stage) => {
            format!("loosen fully and restart at stage {}", u32::from(stage) + 1)
        }
        Decision::Replace => "replace the fastener".to_owned(),
        Decision::Observed => "seen by its mark, not measured".to_owned(),
        Decision::Waive => "left as it is".to_owned(),
    }
}

const fn role(role: Role) -> &'static str {
    match role {
        Role::Operator => "operator",
        Role::Witness => "witness",
    }
}

const fn after_pass(next: AfterPass) -> &'static str {
    match next {
        AfterPass::Converged => "nothing moves any more",
        AfterPass::Again => "once more",
        AfterPass::NotConverged => "NOT CONVERGED at the most passes allowed",
    }
}

const fn engine(state: EngineState) -> &'static str {
    match state {
        EngineState::Cold => "cold",
        EngineState::Hot => "hot",
        EngineState::Any => "hot or cold",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evendraw_core::record::{Noted, Tool};
    use evendraw_core::text::Text;
    use evendraw_core::unit::Instant;
    use evendraw_core::verdict::{Reason, Reasons, Verdict};

    fn entry(record: impl Into<Record>) -> Entry {
        Entry {
            joint: 0,
            seq: 3,
            boot: 1,
            at: Instant::from_micros(2_500_000),
            record: record.into(),
        }
    }

    fn attempt() -> Attempt {
        Attempt {
            step: 0,
            fastener: 2,
            stage: 1,
            attempt: 1,
            pulls: 2,
            verdict: Verdict::Rejected,
            reasons: Reasons::NONE.with(Reason::AngleHigh),
            peak: Torque::from_millinewton_meters(64_125),
            final_torque: Torque::from_millinewton_meters(63_900),
            angle: Some(Angle::from_millidegrees(97_000)),
            prevailing: Added::Measured(Torque::from_millinewton_meters(8_250)),
            restart: None,
            trace: 0,
            took_ms: 1_200,
        }
    }

    /// The keys are a contract with other people's scripts.
    #[test]
    fn an_attempt_has_the_keys_that_scripts_rely_on() {
        let object = attempt_object(&Names::new(), 0, &attempt());
        assert_eq!(
            object.to_string(),
            r#"{"record":"attempt","joint":"joint 0","fastener":"index 2","stage":2,"attempt":1,"pulls":2,"peak_torque_Nm":64.125,"final_torque_Nm":63.9,"angle_deg":97.0,"verdict":"rejected","reasons":["angle-high"],"evidence":"measured","prevailing_Nm":8.25}"#
        );
        let unknown = Attempt {
            angle: None,
            ..attempt()
        };
        assert!(attempt_object(&Names::new(), 0, &unknown)["angle_deg"].is_null());
    }

    #[test]
    fn every_row_of_the_table_has_every_column() {
        let note = Noted {
            fastener: None,
            doubt: Doubt::Raised,
            text: Text::cut("it squeaked, twice; \"odd\""),
        };
        let formula = Tool {
            id: Text::cut("=A1"),
            waiver: Text::empty(),
        };
        for record in [entry(attempt()), entry(note), entry(formula)] {
            let row = csv_row(&Names::new(), &record, None);
            let mut in_quotes = false;
            let commas = row.chars().filter(|&character| {
                in_quotes ^= character == '"';
                character == ',' && !in_quotes
            });
            assert_eq!(commas.count(), CSV_HEADER.matches(',').count(), "{row}");
        }
        assert!(
            csv_row(&Names::new(), &entry(attempt()), None)
                .starts_with("attempt,joint 0,index 2,2,1,2,64.125,63.9,97.0,rejected,angle-high,")
        );
    }
}
