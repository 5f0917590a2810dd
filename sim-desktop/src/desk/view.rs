//! What the screens draw: plain values, already in words and in the unit of display.
//!
//! Knows nothing of the core, the plan, the journal or egui: `model` fills these from the job.

use crate::job::paper::{Column, Fault, Row};
use crate::job::status::Tonight;
use crate::picture::{Laid, Picture};
use std::path::PathBuf;
use std::sync::Arc;

pub use super::act::Act;
pub use super::ask::{About, Ask, Export, Wanted};
pub use super::edit_view::{PlanAsk, PlanEdit};
pub use crate::job::status::{Row as RecordRow, Status};
pub use crate::mark::Mark;
pub use crate::shelf::history::Spread;
pub use crate::shelf::table::Row as ShelfRow;

/// Which edge of the map is the front of the joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Front {
    /// Left edge.
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
    /// An instrument that prints lines, by its tool and port.
    Lines(String),
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
    /// It is an instrument that prints lines, judged here, and not an adapter.
    pub prints_lines: bool,
}

/// The whole desk at one moment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DeskView {
    /// Whether this is work or a rehearsal, as long as nobody has said.
    pub start: Option<Prompt>,
    /// How everything stands.
    pub status: Status,
    /// Who works, with what, on which readings.
    pub build: BuildView,
    /// The joint in hand, if one is open.
    pub joint: Option<JointView>,
    /// The record so far, newest last.
    pub record: Vec<RecordRow>,
    /// The rows of it that can still be put right.
    pub put_right: Vec<CanPutRight>,
    /// The curve of one entry, by its number.
    pub curve: Option<(u64, CurveView)>,
    /// What was torn or damaged when the journal was read, in plain words.
    pub recovery: Option<String>,
    /// The plan as text and what is wrong with it.
    pub plan: PlanView,
    /// The plan as it is being written.
    pub edit: Arc<PlanEdit>,
    /// The comparison in progress or finished.
    pub compare: CompareView,
    /// The folder of builds, as far as it is read.
    pub shelf: ShelfView,
    /// One line of news: the answer to the last ask, good or bad.
    pub notice: Option<Notice>,
    /// The builds opened lately, as far as they were looked for; not the one in front.
    pub recent: Vec<RecentRow>,
    /// The serial ports of this machine, as far as they were looked for.
    pub ports: Vec<String>,
    /// Ids of the plan's tools that send lines.
    pub instruments: Vec<String>,
    /// What is open, to be typed back from paper; none while nobody looks.
    pub paper: Option<PaperView>,
    /// The evening before it begins; none while nobody looks.
    pub tonight: Option<Tonight>,
}

/// A working sheet to be typed back.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PaperView {
    /// A row for each step that is open.
    pub rows: Arc<Vec<Row>>,
    /// The rows that were typed last and not taken.
    pub typed: Vec<Row>,
    /// Their cells that are wrong.
    pub faults: Vec<Fault>,
    /// How often rows were recorded.
    pub recorded: usize,
}

impl PaperView {
    /// Whether something is wrong with what was typed there.
    #[must_use]
    pub fn is_wrong(&self, joint: &str, fastener: &str, stage: &str) -> bool {
        self.faults.iter().any(|fault| {
            let row = self.typed.iter().find(|row| row.line == fault.line);
            row.is_some_and(|row| {
                row.cell(Column::Joint) == joint
                    && row.cell(Column::Fastener) == fastener
                    && row.cell(Column::Stage) == stage
            })
        })
    }
}

/// A build opened lately.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RecentRow {
    /// Its plan.
    pub plan: PathBuf,
    /// What it is.
    pub what: String,
    /// When it was worked last and how far; or why nobody knows.
    pub line: String,
    /// How it stands, where that is known.
    pub mark: Option<Mark>,
    /// Its plan is still there.
    pub is_there: bool,
}

/// A folder of builds, as far as it is read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ShelfView {
    /// The folder.
    pub folder: String,
    /// Its builds so far, rehearsals among them.
    pub rows: Arc<Vec<ShelfRow>>,
    /// What could not be read, or not all of it, and why.
    pub passed: Arc<Vec<String>>,
    /// What like joints showed over its builds, once all are read.
    pub history: Arc<Vec<Distribution>>,
    /// Builds looked at.
    pub done: usize,
    /// Builds in all.
    pub of: usize,
    /// Somebody asked for it.
    pub begun: bool,
    /// It is being read.
    pub running: bool,
    /// It was stopped before the end.
    pub stopped: bool,
    /// Why it cannot be read.
    pub error: Option<String>,
}

/// What like joints showed at a stage, over many builds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Distribution {
    /// The joints in words: thread, class, grip, condition.
    pub joint: String,
    /// The stage, from 1.
    pub stage: u32,
    /// The stage in words.
    pub sentence: String,
    /// What was seen.
    pub what: &'static str,
    /// Values in all.
    pub fasteners: usize,
    /// Builds that they stand in.
    pub builds: usize,
    /// How many lie in each of equal parts from the lowest to the highest.
    pub counts: Vec<usize>,
    /// Its figures, in mN·m or millidegrees.
    pub spread: Spread,
    /// Lowest, the twentieth, the middle, the last twentieth, highest: with unit.
    pub shown: [String; 5],
    /// The values of the job in hand.
    pub own: Vec<OwnValue>,
}

/// A value of the job in hand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OwnValue {
    /// The fastener's label.
    pub label: String,
    /// In mN·m or millidegrees.
    pub value: i32,
    /// With its unit.
    pub shown: String,
    /// Unlike its peers and forerunners together.
    pub unlike: bool,
}

/// A short answer to something that was asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Whether it went wrong.
    pub bad: bool,
    /// The words.
    pub words: String,
    /// It is what a key recorded a moment ago, and can be taken back.
    pub take_back: bool,
}

/// A row of the record that can still be put right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CanPutRight {
    /// The row's sequence number.
    pub sequence: u64,
    /// The joint's id; empty where it is of none.
    pub joint: String,
    /// The fastener that it was judged for, where it is a pull: that may have been on another one. What is no pull is withdrawn.
    pub fastener: Option<String>,
}

/// Who works, with what, on which readings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BuildView {
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
    /// Where the journal is kept.
    pub journal: String,
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
    /// What is done: "tighten 45 N·m".
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
    /// The window in N·m, where the unit is another.
    pub beside: String,
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

/// What the person is asked or told now, with everything that can be done about it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Prompt {
    /// Something is not as it should be; otherwise it is a question.
    pub grave: bool,
    /// What happened, or what kind of question it is.
    pub title: String,
    /// The question; or what happened, with its numbers.
    pub words: String,
    /// What to do now, step by step; or what "no" leads to.
    pub what_now: Vec<String>,
    /// The reading that it is about, with its window.
    pub gauge: Option<Gauge>,
    /// A line to type, if one is wanted.
    pub typed: Option<Typed>,
    /// What can be done: first what is advised, which Enter takes.
    pub choices: Vec<Choice>,
    /// None of them is advised: Enter takes none.
    pub is_open: bool,
}

/// A line to type.
#[derive(Clone, Debug, PartialEq)]
pub struct Typed {
    /// What is to be typed.
    pub caption: String,
    /// What it becomes.
    pub act: Act,
}

/// Something that can be done, with its key.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// The key, as it is printed on the button.
    pub key: &'static str,
    /// What it is called.
    pub words: String,
    /// What it does.
    pub act: Act,
    /// What is asked before, where a reason is wanted; empty where none is.
    pub asks: &'static str,
    /// The usual reasons.
    pub because: &'static [&'static str],
}

/// What a person tells of a pull whose tool sends nothing: values to type, or a key a click.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TypingView {
    /// The tool, and how it is read: `D1, read from the display`.
    pub title: String,
    /// What is typed first, with its unit.
    pub first: String,
    /// What may be typed beside it; empty where nothing may.
    pub second: String,
    /// Whether it must be said if the fastener moved.
    pub moved: bool,
    /// The keys that tell it where nothing is typed.
    pub keys: Vec<TellKey>,
    /// What stands large beside the keys: the setting.
    pub figure: String,
    /// What is to be reached, with its window.
    pub wanted: String,
    /// What the tool shows is not what the fastener has, and why; empty where it is.
    pub caution: String,
    /// Why a value is asked for once more; empty where none is.
    pub question: String,
    /// The last try, with its verdict.
    pub last: Option<Entry>,
    /// Records so far: what was typed is put away when one comes.
    pub turn: usize,
}

/// A key that tells of a pull.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TellKey {
    /// The key, as it is printed on the button.
    pub key: &'static str,
    /// What it is called.
    pub words: String,
    /// What is told.
    pub tells: &'static str,
    /// The fastener moved.
    pub moved: bool,
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
    /// The fastener whose turn it would be, where another one was chosen.
    pub out_of_turn: Option<String>,
    /// The next pull checks a fastener again that is done already.
    pub checking_again: bool,
    /// Who a second person is still to look at, in words.
    pub witness_wanted: Option<String>,
    /// Who has looked so far, for choosing again.
    pub witnesses: Vec<String>,
    /// Its fasteners.
    pub fasteners: Vec<FastenerView>,
    /// The picture of the part that lies under them, and where.
    pub picture: Option<(Arc<Picture>, Laid)>,
    /// Which edge is the front, where the plan names one.
    pub front: Option<Front>,
    /// Tightens anticlockwise.
    pub left_hand: bool,
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
    /// Something needs attention or an answer.
    pub prompt: Option<Prompt>,
    /// What is to be pulled is told by a person, as the tool in hand sends nothing.
    pub typing: Option<TypingView>,
    /// A clock that is running: what is left of it, in words, and whether it is over.
    pub clock: Option<(String, bool)>,
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

impl JointView {
    /// Whether something is not as it should be.
    #[must_use]
    pub fn is_alerted(&self) -> bool {
        self.prompt.as_ref().is_some_and(|prompt| prompt.grave)
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

/// The plan as text.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlanView {
    /// Where it is; `None` for the built-in one.
    pub path: Option<PathBuf>,
    /// It is the built-in demo.
    pub is_demo: bool,
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
