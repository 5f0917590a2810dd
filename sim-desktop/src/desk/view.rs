//! What the screens draw: plain values, already in words and in the unit of display.
//!
//! Knows nothing of the core, the plan, the journal or egui: `source` fills these from the job.

use std::path::PathBuf;

pub use super::ask::{Ask, Export, Wanted};

/// How far one fastener is, or one joint. Each has a shape, a word and a colour of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Mark {
    /// Untouched.
    Open,
    /// Held back by something else: an order constraint, a missing part, an unanswered question.
    Held,
    /// Some stages are done, not all.
    PartWay,
    /// Done for the pass in hand, or every stage of it accepted.
    Accepted,
    /// Every stage accepted and nothing has spoiled it.
    Final,
    /// The last attempt was outside its limits.
    Rejected,
    /// What happened is not known: interrupted, or felt wrong.
    Doubtful,
    /// Was done, then loosened or spoiled by rework nearby.
    Disturbed,
    /// Left out on purpose, with a reason.
    Skipped,
    /// A trial fit that must come apart again.
    MockUp,
}

impl Mark {
    /// Every mark, in the order of the legend.
    pub const ALL: [Self; 10] = [
        Self::Open,
        Self::Held,
        Self::PartWay,
        Self::Accepted,
        Self::Final,
        Self::Rejected,
        Self::Doubtful,
        Self::Disturbed,
        Self::Skipped,
        Self::MockUp,
    ];

    /// The word that goes with the shape.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Held => "held",
            Self::PartWay => "part-way",
            Self::Accepted => "accepted",
            Self::Final => "final",
            Self::Rejected => "rejected",
            Self::Doubtful => "doubtful",
            Self::Disturbed => "disturbed",
            Self::Skipped => "skipped",
            Self::MockUp => "mock-up",
        }
    }
}

/// Which edge of the map is the front of the joint.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Front {
    /// Left edge.
    #[default]
    Left,
    /// Right edge.
    Right,
    /// Upper edge.
    Top,
    /// Lower edge.
    Bottom,
}

/// What the readings come from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Readings {
    /// The virtual bench: a rehearsal.
    #[default]
    Bench,
    /// A recorded trace.
    Trace(String),
    /// A connected adapter, by the name of its port.
    Adapter(String),
    /// Nothing is connected.
    None,
}

/// Whether an adapter is heard. Each has a word and a shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Heard {
    /// It answers, and what it tells is shown.
    Connected,
    /// It is looked for and has not answered yet.
    Searching,
    /// It answered before and does no more.
    Lost,
}

impl Heard {
    /// The word that goes with the shape.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Connected => "connected",
            Self::Searching => "searching",
            Self::Lost => "lost",
        }
    }
}

/// The line to an adapter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinkView {
    /// Whether it is heard.
    pub heard: Heard,
    /// The port.
    pub port: String,
    /// Who answered: serial number, firmware, capacity; empty before anybody did.
    pub who: String,
    /// Its serial number; empty before anybody answered.
    pub serial: String,
    /// Why it is not heard, in plain words.
    pub why: String,
}

/// The whole desk at one moment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DeskView {
    /// The build and its joints.
    pub build: BuildView,
    /// The joint in hand, if one is open.
    pub joint: Option<JointView>,
    /// The record so far, newest last.
    pub record: Vec<RecordRow>,
    /// The curve of one entry, by its number.
    pub curve: Option<(u64, CurveView)>,
    /// What was torn or damaged when the journal was read, in plain words.
    pub recovery: Option<String>,
    /// The plan as text and what is wrong with it.
    pub plan: PlanView,
    /// The comparison in progress or finished.
    pub compare: CompareView,
    /// One line of news: the answer to the last ask, good or bad.
    pub notice: Option<Notice>,
    /// The serial ports of this machine, as far as they were looked for.
    pub ports: Vec<String>,
}

/// A short answer to something that was asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Whether it went wrong.
    pub bad: bool,
    /// The words.
    pub words: String,
}

/// The build at a glance.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BuildView {
    /// Title of the build.
    pub title: String,
    /// Unit and serial, as typed.
    pub unit: String,
    /// Document, page and revision, as typed.
    pub document: String,
    /// Nothing here is a record of work.
    pub rehearsal: bool,
    /// The plan's values are invented.
    pub demo: bool,
    /// Where readings come from.
    pub readings: Readings,
    /// The line to an adapter, if one is wanted.
    pub link: Option<LinkView>,
    /// Who is working, if told.
    pub person: Option<String>,
    /// The second person who looked last at the joint in hand.
    pub witness: Option<String>,
    /// The tool in use, by id.
    pub tool: Option<String>,
    /// Every tool of the plan.
    pub tools: Vec<ToolView>,
    /// Every joint, in the order of the plan.
    pub joints: Vec<JointRow>,
    /// What to do next, and in which joint.
    pub next: Option<NextStep>,
    /// Parts that joints need.
    pub parts: Vec<PartView>,
    /// What comes due later: a retorque, hot or cold.
    pub dues: Vec<String>,
    /// What a stranger must be told first.
    pub exceptions: Vec<String>,
    /// True only when nothing at all is open.
    pub complete: bool,
    /// Where the journal is kept.
    pub journal: String,
}

impl BuildView {
    /// Names of the parts that are still waited for.
    #[must_use]
    pub fn waiting(&self) -> Vec<&str> {
        let waited = self.parts.iter().filter(|part| !part.arrived);
        waited.map(|part| part.name.as_str()).collect()
    }
}

/// A tool of the plan.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ToolView {
    /// Its id.
    pub id: String,
    /// Kind and range in words.
    pub words: String,
    /// In date, or since when not.
    pub date: String,
    /// Usable today.
    pub in_date: bool,
}

/// One line of the build: a joint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JointRow {
    /// Its id in the plan.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Fasteners and thread, in words.
    pub what: String,
    /// Its state.
    pub mark: Mark,
    /// May be worked now.
    pub startable: bool,
    /// Why it is held, or what it is doing.
    pub why: String,
    /// Steps done.
    pub done: usize,
    /// Steps in all.
    pub steps: usize,
    /// Joints out of reach once this one is fitted.
    pub closes: Vec<String>,
    /// Of those, the ones not final yet.
    pub still_open_beneath: Vec<String>,
}

/// What to do next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NextStep {
    /// The joint.
    pub joint: String,
    /// In words.
    pub words: String,
}

/// A part a joint waits for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartView {
    /// Its name.
    pub name: String,
    /// The joints that need it.
    pub for_joints: String,
    /// It is here.
    pub arrived: bool,
}

/// A fastener on the map.
#[derive(Clone, Debug, PartialEq)]
pub struct FastenerView {
    /// Position label, fixed to the metal.
    pub label: String,
    /// Millimetres to the right.
    pub x: f32,
    /// Millimetres down.
    pub y: f32,
    /// Its state.
    pub mark: Mark,
    /// The last reading in words, or nothing yet.
    pub reading: String,
    /// Where it is: "upper left", "third from the front".
    pub place: String,
    /// It bears a mark of paint: final, seen at a glance.
    pub marked: bool,
}

/// A stage of the procedure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StageRow {
    /// Number from 1.
    pub number: usize,
    /// What is done: "tighten 40 N·m".
    pub words: String,
    /// Its state.
    pub mark: Mark,
    /// Fasteners done at it.
    pub done: usize,
    /// Fasteners in all.
    pub of: usize,
    /// It is the one in hand.
    pub current: bool,
}

/// A value to bring into its window.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Gauge {
    /// "Torque", "Angle", "Length".
    pub quantity: String,
    /// Unit printed beside every number of it.
    pub unit: String,
    /// The value now, if known.
    pub value: Option<f64>,
    /// Digits after the point.
    pub decimals: usize,
    /// Lower limit; none for "maximum only".
    pub low: Option<f64>,
    /// Upper limit; none for "minimum only".
    pub high: Option<f64>,
    /// The target.
    pub target: Option<f64>,
    /// The target as typed in the plan.
    pub typed: String,
    /// End of the bar.
    pub scale: f64,
    /// What a missing value is called: "unknown".
    pub missing: String,
}

/// What the operator should do with the tool right now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Cue {
    /// Put the tool on and pull.
    #[default]
    Ready,
    /// Go on pulling.
    Pull,
    /// The target is near.
    Slow,
    /// Inside: stop pulling.
    Stop,
    /// Stop at once.
    Halt,
    /// Unload the tool.
    Release,
    /// The verdict is being stored.
    Storing,
    /// Not now: something must be answered first.
    Wait,
}

/// The pull in progress, or the last one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LiveView {
    /// Main value first; the other one, if any, second.
    pub gauges: Vec<Gauge>,
    /// What to do with the tool.
    pub cue: Cue,
    /// What the cue says in words.
    pub cue_words: String,
    /// Loaded past the re-grip threshold.
    pub loaded: bool,
    /// Pulls in this attempt.
    pub pulls: u32,
    /// Torque over angle, in display units.
    pub curve: CurveView,
    /// The simulated hand is at work.
    pub hand_at_work: bool,
}

/// Torque over angle.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CurveView {
    /// Angle in degrees and torque in the unit of display.
    pub points: Vec<[f32; 2]>,
    /// Torque unit.
    pub unit: String,
    /// Torque window.
    pub torque_low: Option<f32>,
    /// Torque window.
    pub torque_high: Option<f32>,
    /// Angle window.
    pub angle_low: Option<f32>,
    /// Angle window.
    pub angle_high: Option<f32>,
}

/// Something is not as it should be: what, and what to do now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alert {
    /// One line: what happened.
    pub title: String,
    /// With its numbers.
    pub detail: String,
    /// What to do now, step by step.
    pub what_now: Vec<String>,
    /// The ways on, first the one advised.
    pub ways: Vec<Way>,
}

/// A way on from an alert.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Way {
    /// Read it, go on with the next.
    GoOn,
    /// Once more.
    Redo,
    /// Loosen it.
    Loosen,
    /// Leave it out, with a reason.
    Skip,
    /// A new fastener has been fitted.
    NewFitted,
    /// Mark the last one as felt wrong.
    FeltWrong,
    /// The end was seen by a mark on the metal: observed, not measured.
    Observed,
    /// Go on all the same, on a name and a reason.
    Waive,
}

/// A question that must be answered before work goes on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// What kind it is: "check", "condition", "part", "before you begin".
    pub kind: String,
    /// The question as typed.
    pub words: String,
    /// What "no" leads to.
    pub if_no: String,
    /// A number is wanted instead of yes or no: its unit and window in words.
    pub number: Option<String>,
    /// Answers to choose from, when it is a choice.
    pub choices: Vec<String>,
}

/// Clamp loads after a pass, for a rehearsal.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ClampView {
    /// Fasteners by label.
    pub labels: Vec<String>,
    /// A row for each pass: its name and the loads in kN.
    pub passes: Vec<(String, Vec<f32>)>,
}

/// The joint in hand.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JointView {
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Thread, class and condition in words.
    pub what: String,
    /// This can never count as final.
    pub mock_up: bool,
    /// Everything is done.
    pub finished: bool,
    /// The next pull checks a fastener again that is done already.
    pub checking_again: bool,
    /// Who a second person is still to look at, in words.
    pub witness_wanted: Option<String>,
    /// Who has looked so far, for choosing again.
    pub witnesses: Vec<String>,
    /// Its fasteners.
    pub fasteners: Vec<FastenerView>,
    /// Which edge is the front.
    pub front: Front,
    /// Order of the pass in hand, as indices of `fasteners`.
    pub path: Vec<usize>,
    /// Place in `path` of the next one.
    pub at: Option<usize>,
    /// Stage list.
    pub stages: Vec<StageRow>,
    /// The stage in hand in words.
    pub stage_words: String,
    /// The pull.
    pub live: LiveView,
    /// The last entries, newest first, at most three are drawn.
    pub entries: Vec<Entry>,
    /// Something needs attention.
    pub alert: Option<Alert>,
    /// Something needs an answer.
    pub question: Option<Question>,
    /// Kinds of faults that can be put on the next fastener; empty outside a rehearsal.
    pub faults: Vec<String>,
    /// Clamp loads of the rehearsal.
    pub clamp: Option<ClampView>,
    /// Serial number of the adapter that makes this joint's records.
    pub at_adapter: Option<String>,
    /// It could be left to the adapter that is connected.
    pub may_send: bool,
}

impl JointView {
    /// The next fastener, if there is one.
    #[must_use]
    pub fn next(&self) -> Option<&FastenerView> {
        self.at
            .and_then(|at| self.path.get(at))
            .and_then(|&index| self.fasteners.get(index))
    }
}

/// One line of the last three.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Its state, where it has one.
    pub mark: Option<Mark>,
    /// The fastener, or nothing for a record about the joint.
    pub fastener: String,
    /// In words.
    pub words: String,
}

/// One line of the record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RecordRow {
    /// Sequence number.
    pub sequence: u64,
    /// Wall time in words, or "time unknown".
    pub time: String,
    /// Joint.
    pub joint: String,
    /// Fastener label.
    pub fastener: String,
    /// Stage number from 1; 0 for none.
    pub stage: u32,
    /// Attempt from 1; 0 for none.
    pub attempt: u32,
    /// Peak torque, in the unit of display.
    pub torque: Option<f64>,
    /// Unit of `torque`.
    pub torque_unit: String,
    /// Angle in degrees.
    pub angle: Option<f64>,
    /// The mark, for a judged attempt or a state.
    pub mark: Option<Mark>,
    /// What it says: reasons, answers, names.
    pub words: String,
    /// Who.
    pub person: String,
    /// Tool.
    pub tool: String,
    /// It is an exception: shown first.
    pub exception: bool,
    /// A curve is kept with it: ask for it by the number.
    pub traced: bool,
}

/// The plan as text.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlanView {
    /// Where it is; `None` for the built-in one.
    pub path: Option<PathBuf>,
    /// The text.
    pub text: String,
    /// What is wrong, or to be asked.
    pub findings: Vec<Finding>,
    /// It changed on disk after it was read.
    pub changed_on_disk: bool,
}

/// One finding in a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// A question, not an error.
    pub warning: bool,
    /// Line from 1.
    pub line: usize,
    /// Column from 1, in characters.
    pub column: usize,
    /// How many characters.
    pub length: usize,
    /// What is wrong.
    pub words: String,
    /// What would be right.
    pub hint: String,
}

/// The comparison of orders and passes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CompareView {
    /// Running now.
    pub running: bool,
    /// Rehearsals done.
    pub done: usize,
    /// Rehearsals in all.
    pub of: usize,
    /// Was stopped by hand.
    pub stopped: bool,
    /// Most even first.
    pub rows: Vec<CompareRow>,
    /// The answer in words.
    pub headline: String,
    /// The joint it is about.
    pub joint: String,
    /// Why it could not be run.
    pub error: Option<String>,
}

/// One order with a number of passes.
#[derive(Clone, Debug, PartialEq)]
pub struct CompareRow {
    /// The order's name.
    pub order: String,
    /// Passes.
    pub passes: u32,
    /// Scatter of the clamp load: standard deviation over mean, mean over the runs.
    pub scatter: f64,
    /// Standard error of it.
    pub scatter_error: f64,
    /// Place by scatter from 1, shared where no difference is shown.
    pub place: usize,
    /// Farthest tilt on the way, mean over the runs, µm.
    pub tilt_um: f64,
    /// Place by tilt, shared likewise.
    pub tilt_place: usize,
    /// The lowest clamp load of any fastener over the mean of all, means over the runs.
    pub lowest: f64,
    /// Pulls needed.
    pub pulls: u32,
}
