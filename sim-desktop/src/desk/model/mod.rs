//! Between the job and the screens: fills the view, carries out what is asked, keeps bench, trace and clock going.
//!
//! The only room of the desk that knows the core, the plan, the journal and the bench.

mod act;
mod answer;
mod bench;
mod build_view;
mod compare;
mod dialog;
mod editor;
mod files;
mod forerunners;
mod joint_view;
mod lines;
mod live;
mod out;
mod paper;
mod picture;
mod plan_file;
mod prompt;
mod pull_view;
mod put_right;
mod recent;
mod record_view;
mod shelf;
mod start;
mod tonight;
mod trace;
mod typing;

use crate::limited::Limited as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use evendraw_core::record::{Attempt, Entry, Record};
use evendraw_core::session::{Input, Next, Refusal, Session};
use evendraw_core::tracker::Cue;
use evendraw_core::unit::Instant;
use evendraw_core::verdict::{Reason, Verdict};

use crate::disk;

use super::view::{self, CompareView, CurveView, DeskView, Finding, Notice, PlanView, ShelfView};
use crate::bench::Fault;
use crate::job::status::telling::About;
use crate::job::{Done, Job};
use crate::store::Purpose;
use crate::words;

use crate::rehearsal::station::{self, Station};
pub use dialog::Picker;
pub use editor::plan_written;
pub use files::ModelError;
pub(in crate::desk) use prompt::SKIPPED;

/// Who pulls at the bench.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Hand {
    /// Nobody, or the person at the keys.
    #[default]
    Off,
    /// The simulated hand, this fastener.
    One,
    /// The simulated hand, until something needs a person.
    All,
}

/// The pull that is drawn: the one in progress, or the last one.
#[derive(Clone, Debug, Default)]
struct Pull {
    points: Vec<[f32; 2]>,
    cue: Cue,
    halt: Option<Reason>,
    step: Option<u16>,
}

/// Samples read from a file, on their way to the session.
#[derive(Debug)]
struct Play {
    name: String,
    /// What was taken off the samples, until it is a record.
    zero: Option<evendraw_core::unit::Torque>,
    samples: Vec<(Instant, evendraw_core::sample::Sample)>,
    at: usize,
    began: Instant,
}

/// Where readings come from.
#[derive(Debug)]
enum Readings {
    /// The virtual bench: a rehearsal.
    Bench,
    /// Samples from a file.
    Trace(Play),
    /// An adapter.
    Adapter(Box<live::Connection>),
    /// An instrument that prints lines.
    Lines(Box<lines::Lines>),
    /// Nowhere yet: work on metal.
    None,
}

/// The plan's file, as it was read.
#[derive(Debug)]
struct PlanFile {
    /// Where it is; none for the built-in demo and for texts.
    path: Option<PathBuf>,
    name: String,
    text: String,
    stamp: Option<SystemTime>,
    findings: Vec<Finding>,
    /// Where its journals lie.
    folder: PathBuf,
}

/// The virtual bench, and who pulls at it.
#[derive(Debug)]
struct Bench {
    station: Option<(u8, Station)>,
    seed: u64,
    faults: Vec<(u8, u8, Fault)>,
    hand: Hand,
    pulling: bool,
    /// How much faster than life it works by itself.
    pace: f64,
}

/// The desk's side of the job.
#[derive(Debug)]
pub struct Model {
    file: PlanFile,
    editor: editor::Editor,
    job: Option<Job>,
    readings: Readings,
    /// Work, or a rehearsal: as a person said.
    purpose: Purpose,
    /// What the two would go on with, until somebody has said which it is.
    start: Option<start::Start>,
    /// Where the journal of the work will be, until something was done.
    begins_at: Option<PathBuf>,
    bench: Bench,
    /// The joint in hand, by number.
    open: Option<u8>,
    pull: Pull,
    typing: typing::Typing,
    evening: tonight::Evening,
    ports: live::Ports,
    wake: live::Wake,
    /// The clock of this start, µs.
    micros: u64,
    /// The window's clock when it was last looked at.
    seen_s: Option<f64>,
    notice: Option<Notice>,
    news_until_s: f64,
    /// What Backspace takes back, as long as that is said.
    last: Option<put_right::Last>,
    curve: Option<(u64, CurveView)>,
    compare: CompareView,
    comparing: Option<compare::Running>,
    shelf: ShelfView,
    shelf_reading: Option<shelf::Reading>,
    /// What like joints showed over the shelf that was read last.
    history: Option<std::sync::Arc<crate::shelf::forerunners::Before>>,
    /// What they showed on the shelf that the job in hand lies on.
    forerunners: forerunners::Known,
    recent: recent::Builds,
    under_map: picture::UnderMap,
    picker: Picker,
    choosing: Option<dialog::Choosing>,
    /// Torque is read in N·m at the joint, whatever unit the plan has.
    newton_meters: bool,
    /// Whether pages are handed to the browser once they are written.
    browser: bool,
    dirty: bool,
    view: DeskView,
}

/// The simulated hand works this much faster than life: slow enough to watch.
const PACE: f64 = 3.0;

impl Model {
    /// Opens a plan file, or the built-in demo build. Nothing is worked before somebody said whether this is work or a rehearsal.
    ///
    /// # Errors
    /// [`ModelError`] when the plan's file cannot be read. A plan that is read and wrong is shown at its lines.
    pub fn open(plan: Option<&Path>) -> Result<Self, ModelError> {
        match plan {
            Some(path) => {
                let text = crate::limits::read_plan(path)
                    .map_err(|error| ModelError::new(path, &error))?;
                let name = path.file_name().map_or_else(
                    || path.display().to_string(),
                    |name| name.to_string_lossy().into_owned(),
                );
                let folder = path.parent().map_or_else(PathBuf::new, Path::to_owned);
                Ok(Self::with(Some(path.to_owned()), name, text, folder))
            }
            None => {
                let folder = disk::state_folder();
                Ok(Self::with(
                    None,
                    "demo.toml".to_owned(),
                    crate::plan::DEMO.to_owned(),
                    folder,
                ))
            }
        }
    }

    /// Opens a plan's text with its journals in a folder of choice.
    #[must_use]
    pub fn in_folder(name: &str, text: &str, folder: &Path) -> Self {
        Self::with(None, name.to_owned(), text.to_owned(), folder.to_owned())
    }

    fn with(path: Option<PathBuf>, name: String, text: String, folder: PathBuf) -> Self {
        let editor = editor::Editor::new(&name, path.as_deref(), &text);
        let mut model = Self {
            editor,
            file: PlanFile {
                stamp: path.as_deref().and_then(files::stamp),
                path,
                name,
                text,
                findings: Vec::new(),
                folder,
            },
            job: None,
            readings: Readings::Bench,
            purpose: Purpose::Rehearsal,
            start: None,
            begins_at: None,
            bench: Bench {
                station: None,
                seed: 1,
                faults: Vec::new(),
                hand: Hand::Off,
                pulling: false,
                pace: PACE,
            },
            open: None,
            pull: Pull::default(),
            typing: typing::Typing::default(),
            evening: tonight::Evening::default(),
            ports: live::Ports::default(),
            wake: live::Wake::default(),
            micros: 0,
            seen_s: None,
            notice: None,
            news_until_s: 0.0,
            last: None,
            curve: None,
            compare: CompareView::default(),
            comparing: None,
            shelf: ShelfView::default(),
            shelf_reading: None,
            history: None,
            forerunners: forerunners::Known::default(),
            recent: recent::Builds::default(),
            under_map: picture::UnderMap::default(),
            picker: dialog::system,
            choosing: None,
            newton_meters: false,
            browser: true,
            dirty: true,
            view: DeskView::default(),
        };
        model.ask_purpose();
        model.refresh();
        model
    }

    /// Lets the simulated hand work this much faster than life.
    pub fn set_pace(&mut self, pace: f64) {
        self.bench.pace = pace.limited(0.1, 1e6);
    }

    /// Whether sheets and tags are shown in the browser, or only written.
    pub fn set_browser(&mut self, on: bool) {
        self.browser = on;
    }

    /// A line of news from outside the job.
    pub fn tell(&mut self, bad: bool, words: &str) {
        self.say(bad, words);
    }

    /// What the screens draw.
    #[must_use]
    pub fn view(&self) -> &DeskView {
        &self.view
    }

    /// The plan's file, where there is one.
    #[must_use]
    pub fn plan_path(&self) -> Option<&Path> {
        self.file.path.as_deref()
    }

    fn say(&mut self, bad: bool, words: impl Into<String>) {
        self.last = None;
        self.notice = Some(Notice {
            bad,
            words: words.into(),
            take_back: false,
        });
        self.news_until_s = self.seen_s.unwrap_or(0.0) + if bad { 12.0 } else { 5.0 };
        self.dirty = true;
    }

    /// Lets time pass: `now_s` is the window's own clock, in seconds.
    pub fn tick(&mut self, now_s: f64) {
        let passed = (now_s - self.seen_s.unwrap_or(now_s)).max(0.0);
        self.seen_s = Some(now_s);
        if self.notice.is_some() && now_s >= self.news_until_s {
            self.notice = None;
            self.last = None;
            self.dirty = true;
        }
        self.look_at_plan_file();
        self.look_at_compare();
        self.look_at_evening();
        self.look_at_shelf();
        self.look_at_forerunners();
        self.look_at_dialog();
        self.look_at_recent();
        self.hear_adapter();
        if self.is_reading_a_trace() {
            self.play_on(passed.min(0.25));
        } else if matches!(self.readings, Readings::Lines(_)) {
            self.hear_lines();
        } else if self.is_at_bench() {
            let pace = if self.bench.hand == Hand::Off {
                1.0
            } else {
                self.bench.pace
            };
            self.work(passed.min(0.25) * pace);
        } else {
            self.pass(passed);
        }
        self.editor.look_at_check();
        self.view.edit = self.editor.view();
        if self.dirty {
            self.refresh();
        } else {
            self.refresh_live();
        }
    }

    /// When the next frame is wanted though nobody touches anything.
    #[must_use]
    pub fn wants_frame_after(&self) -> Option<Duration> {
        if self.is_reading_a_trace() || self.is_at_bench() || self.bench.pulling {
            return Some(Duration::from_millis(33));
        }
        if self.editor.is_checking() {
            return Some(Duration::from_millis(33));
        }
        let now = self.seen_s.unwrap_or(0.0);
        if matches!(self.readings, Readings::Lines(_)) {
            // Lines wake the window themselves; that they stop is seen by looking.
            let in_pull = self.session().is_some_and(Session::is_in_pull);
            return Some(Duration::from_millis(if in_pull { 50 } else { 250 }));
        }
        if self.comparing.is_some()
            || self.choosing.is_some()
            || self.shelf_reading.is_some()
            || self.forerunners.is_reading()
            || self.recent.is_reading()
            || self.evening.is_running()
        {
            return Some(Duration::from_millis(100));
        }
        let mut soonest = self
            .notice
            .as_ref()
            .map(|_| Duration::from_secs_f64((self.news_until_s - now).max(0.02)));
        if let Some(due) = self
            .session()
            .filter(|_| !self.is_at_adapter())
            .and_then(Session::deadline)
        {
            let left = Duration::from_micros(due.micros().saturating_sub(self.micros))
                .limited(Duration::from_millis(20), Duration::from_secs(1));
            soonest = Some(soonest.map_or(left, |other| other.min(left)));
        }
        soonest
    }

    fn session(&self) -> Option<&Session<std::sync::Arc<evendraw_core::procedure::Procedure>>> {
        self.job.as_ref()?.session(self.open?)
    }

    fn next(&self) -> Option<Next> {
        self.session().map(Session::next)
    }

    /// The step that is checked again with the next pull, or with this one.
    fn checking_again(&self) -> Option<u16> {
        self.session().and_then(joint_view::checking_again)
    }

    /// Whether a pull would be heard now.
    fn wants_pull(&self) -> bool {
        matches!(self.next(), Some(Next::Pull { .. })) || self.checking_again().is_some()
    }

    fn at(&self) -> Instant {
        Instant::from_micros(self.micros)
    }

    /// Nobody pulls: the clock runs, and what falls due is heard.
    fn pass(&mut self, seconds: f64) {
        self.move_clock(seconds);
        if let Some((_, station)) = &mut self.bench.station {
            station.idle(seconds);
        }
        if !self.is_at_adapter()
            && self
                .session()
                .and_then(Session::deadline)
                .is_some_and(|due| due.micros() <= self.micros)
        {
            self.apply(Input::Tick);
        }
    }

    fn move_clock(&mut self, seconds: f64) {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a span of seconds, positive and short"
        )]
        let micros = (seconds.limited(0.0, 1e9) * 1e6).round() as u64;
        self.micros += micros;
    }

    /// One reading to the session, and its point to the curve.
    fn feed(&mut self, reading: Input<'_>) {
        let in_pull = self.session().is_some_and(Session::is_in_pull);
        if !in_pull && !self.wants_pull() {
            // The end of a pull that is judged already.
            return;
        }
        if !in_pull {
            // Whatever stopped the pull before is over.
            self.pull.halt = None;
        }
        self.apply(reading);
        let Some(session) = self.session() else {
            return;
        };
        if !session.is_in_pull() {
            return;
        }
        let live = session.live();
        if !in_pull {
            self.pull.step = session.armed().map(|(step, _)| step);
            self.pull.points.clear();
        }
        #[expect(
            clippy::cast_possible_truncation,
            reason = "newton-metres and degrees for a drawing"
        )]
        let point = [
            live.angle.map_or(0.0, station::degrees) as f32,
            crate::quantity::newton_meters(live.torque) as f32,
        ];
        self.pull.points.push(point);
    }

    /// Sends an input for the open joint.
    fn apply(&mut self, input: Input<'_>) {
        if self.is_at_adapter() {
            return self.tell_adapter(input);
        }
        if self.asks_about_adapter() {
            // The first record decides whose they are.
            return self.say(
                true,
                "first: is this joint worked at the adapter? F11 disconnects it",
            );
        }
        if let Some(joint) = self.open {
            self.apply_at(joint, input);
        }
    }

    /// Sends an input for a joint that is worked here.
    fn apply_at(&mut self, joint: u8, input: Input<'_>) {
        if start::is_act_of_work(&input) && !self.begin_journal() {
            return;
        }
        let at = self.at();
        let Some(job) = &mut self.job else { return };
        match job.apply(joint, at, input) {
            Ok(done) => self.take(done),
            Err(error) => self.say(true, error.to_string()),
        }
    }

    fn take(&mut self, done: Done) {
        self.pull.cue = done.cue;
        if let Some(reason) = done.halt {
            if self.pull.halt.is_none() {
                self.dirty = true;
            }
            self.pull.halt = Some(reason);
        }
        // The last samples of a pull come after its verdict: that they are refused is nobody's concern.
        if let Some(refusal) = done
            .refusal
            .filter(|refusal| !matches!(refusal, Refusal::NothingToPull | Refusal::Store))
        {
            self.say(true, words::refusal(refusal));
        }
        if let Some(failure) = done.store_failure {
            self.say(
                true,
                format!("not stored, nothing is told before it is: {failure}"),
            );
        }
        if let Some(lost) = done.trace_lost {
            self.say(
                true,
                format!("the curve of this pull is not kept, its verdict is: {lost}"),
            );
        }
        if !done.entries.is_empty() {
            self.dirty = true;
        }
        if !done.entries.is_empty()
            && let Some(joint) = done.entries.first().map(|entry| entry.joint)
        {
            self.tell_recorded(joint, &done.entries);
        }
        self.tell_checks(&done.entries);
        for told in &done.told {
            self.tell_verdict(told.joint, &told.attempt);
        }
        self.after_pass(&done.entries);
    }

    /// A verdict whose record is safe: what is not good is said in words, and stops the hand.
    fn tell_verdict(&mut self, joint: u8, attempt: &Attempt) {
        if attempt.verdict == Verdict::Accepted {
            return;
        }
        let label = self
            .job
            .as_ref()
            .and_then(|job| job.joint(joint))
            .map_or("", |joint| joint.label(attempt.fastener))
            .to_owned();
        let advice = self
            .job
            .as_ref()
            .and_then(|job| job.session(joint)?.advice())
            .filter(|advice| advice.fastener == Some(attempt.fastener));
        self.say(
            true,
            format!(
                "Fastener {label} {}: {}. {}",
                words::verdict(attempt.verdict),
                words::reasons(attempt.reasons),
                advice.map_or_else(String::new, |advice| words::what_now(&advice).join(" "))
            ),
        );
        if self.bench.hand == Hand::All {
            self.bench.hand = Hand::Off;
        }
    }

    /// What came of checking again is said, good or bad.
    fn tell_checks(&mut self, entries: &[Entry]) {
        for entry in entries {
            let Record::Rechecked(checked) = &entry.record else {
                continue;
            };
            let label = self.job.as_ref().map_or_else(String::new, |job| {
                let names = job.names();
                let names = names.at(entry);
                let (fastener, _) = About::Step(checked.step).place(names, entry.joint);
                fastener.map_or_else(String::new, |own| names.fastener(entry.joint, own))
            });
            let good = checked.verdict == Verdict::Accepted;
            self.say(
                !good,
                if good {
                    format!("Fastener {label} checked again: it did not move")
                } else {
                    format!("Fastener {label} checked again: not as it was left")
                },
            );
            if self.bench.hand == Hand::All {
                self.bench.hand = Hand::Off;
            }
        }
    }

    /// Fills the whole view.
    fn refresh(&mut self) {
        self.dirty = false;
        self.view.plan = PlanView {
            path: self.file.path.clone(),
            is_demo: self.file.text == crate::plan::DEMO,
            text: self.file.text.clone(),
            findings: self.file.findings.clone(),
            changed_on_disk: false,
        };
        self.view.edit = self.editor.view();
        self.view.notice = self.notice.clone();
        self.view.curve = self.curve.clone();
        self.view.compare = self.compare.clone();
        self.view.start = self.start_prompt();
        self.view.shelf = self.shelf.clone();
        self.view.status = self.status();
        self.view.build = self.build_view();
        self.view.ports = self.ports.known().to_vec();
        self.view.instruments = self.instruments();
        self.look_under_map();
        self.view.joint = self.joint_view();
        self.view.record = self.record_view();
        self.view.put_right = self.can_put_right();
        self.show_evening();
        self.show_paper();
        self.view.recovery = self.recovery_words();
    }

    /// Fills what moves while someone pulls.
    fn refresh_live(&mut self) {
        let live = self.live_view();
        let clock = self
            .job
            .as_ref()
            .zip(self.open)
            .and_then(|(job, joint)| self.clock(job, joint));
        if let (Some(joint), Some(live)) = (&mut self.view.joint, live) {
            joint.live = live;
            joint.clock = clock;
        }
    }

    fn readings(&self) -> view::Readings {
        match &self.readings {
            // Nothing reads before work or rehearsal is chosen.
            Readings::Bench if self.job.is_none() => view::Readings::None,
            Readings::Bench => view::Readings::Bench,
            Readings::Trace(play) => view::Readings::Trace(play.name.clone()),
            Readings::Adapter(_) => view::Readings::Adapter(self.adapter_name()),
            Readings::Lines(own) => view::Readings::Lines(Self::lines_name(own)),
            Readings::None => view::Readings::None,
        }
    }
}
