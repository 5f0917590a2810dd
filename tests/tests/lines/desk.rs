//! At the desk, without its window: the model that the window draws.

use std::path::PathBuf;
use std::sync::MutexGuard;
use std::time::{Duration, Instant as Clock};

use evendraw::desk::model::Model;
use evendraw::desk::view::{Act, Ask, Cue as Shown, DeskView, Heard, JointView, LinkView};
use evendraw::plan::Plan;
use evendraw::store::Purpose;
use evendraw_core::record::Record;
use evendraw_core::tracker::Cue;
use evendraw_core::verdict::{Reason, Verdict};

use crate::instrument::{Instrument, Print};
use crate::{POUND_FEET, TRACE, alone, attempts, entries, reach, station};

pub(crate) struct Desk {
    pub(crate) model: Model,
    pub(crate) plan: Plan,
    pub(crate) instrument: Instrument,
    pub(crate) journal: PathBuf,
    began: Clock,
    _folder: tempfile::TempDir,
    _alone: MutexGuard<'static, ()>,
}

impl Desk {
    pub(crate) fn new(text: &str, tool: &str, rate: u32, print: Print) -> Self {
        let alone = alone();
        let folder = tempfile::tempdir().expect("a folder");
        let plan = Plan::parse("cover.toml", text).expect("a plan");
        let mut model = Model::in_folder("cover.toml", text, folder.path());
        model.set_browser(false);
        model.begin(Purpose::Job);
        let instrument = Instrument::start(folder.path(), station(&plan, 7), rate, print);
        let joint = plan.joints().first().expect("a joint");
        model.carry_out(Ask::OpenJoint(joint.id().to_owned()));
        let port = instrument.port().to_owned();
        model.carry_out(Ask::Lines(tool.to_owned(), port));
        let journal = folder.path().join("cover.evj");
        let mut desk = Self {
            model,
            plan,
            instrument,
            journal,
            began: Clock::now(),
            _folder: folder,
            _alone: alone,
        };
        desk.until("asked who works", |view| {
            let joint = view.joint.as_ref();
            joint.is_some_and(|joint| {
                joint
                    .prompt
                    .as_ref()
                    .is_some_and(|asked| asked.title == "Who works")
            })
        });
        desk.model.carry_out(Ask::Person("R. Falk".to_owned()));
        desk
    }

    pub(crate) fn tick(&mut self) {
        self.model.tick(self.began.elapsed().as_secs_f64());
        let live = self.joint().live.clone();
        let (cue, halt) = match live.cue {
            Shown::Slow => (Cue::Approach, false),
            Shown::Stop => (Cue::Target, false),
            Shown::Halt => (Cue::Over, true),
            _ => (Cue::None, false),
        };
        self.instrument.hear(cue, halt);
    }

    pub(crate) fn joint(&self) -> &JointView {
        self.model.view().joint.as_ref().expect("a joint is open")
    }

    fn link(&self) -> &LinkView {
        let link = self.model.view().build.link.as_ref();
        link.expect("an instrument is wanted")
    }

    pub(crate) fn until(&mut self, what: &str, done: impl Fn(&DeskView) -> bool) {
        let began = Clock::now();
        while began.elapsed() < Duration::from_secs(30) {
            self.tick();
            if done(self.model.view()) {
                return;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        let view = self.model.view();
        let joint = view.joint.as_ref();
        panic!(
            "never: {what}; notice {:?}, link {:?}, prompt {:?}, live {:?}",
            view.notice,
            view.build.link,
            joint.map(|joint| &joint.prompt),
            joint.map(|joint| &joint.live.cue_words),
        );
    }

    pub(crate) fn is_ready(view: &DeskView) -> bool {
        let joint = view.joint.as_ref();
        joint.is_some_and(|joint| joint.prompt.is_none() && joint.live.cue == Shown::Ready)
    }

    /// The hand does what is next, and waits for the verdict.
    pub(crate) fn one(&mut self) {
        self.until("ready", Self::is_ready);
        let mut pull = reach(&self.journal, &self.plan).expect("something to pull");
        let before = attempts(&self.journal).len();
        let journal = self.journal.clone();
        for _ in 0..6 {
            self.instrument.pull(&pull);
            let mut off_since = Clock::now();
            while off_since.elapsed() < Duration::from_millis(600)
                && attempts(&journal).len() == before
            {
                self.tick();
                if self.instrument.is_busy() {
                    off_since = Clock::now();
                }
                std::thread::sleep(Duration::from_millis(5));
            }
            if attempts(&journal).len() > before {
                break;
            }
            // It let go short of it: pulled on.
            pull.spins = false;
        }
        assert!(attempts(&journal).len() > before, "a verdict");
        while self.instrument.is_busy() {
            self.tick();
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

#[test]
fn a_joint_is_worked_at_a_thousand_lines_a_second_with_cue_and_halt() {
    let mut desk = Desk::new(TRACE, "S1", 1_000, Print::Trace);
    for _ in 0..6 {
        desk.one();
    }
    desk.until("final", |_| true);
    let attempts = attempts(&desk.journal);
    let told: Vec<_> = attempts
        .iter()
        .map(|attempt| {
            (
                attempt.fastener,
                attempt.stage,
                attempt.verdict,
                attempt.reasons,
            )
        })
        .collect();
    assert!(desk.model.is_joint_final(), "{told:?}");
    assert!(
        attempts
            .iter()
            .all(|attempt| attempt.trace != 0 && attempt.angle.is_some())
    );
    // What the record says of the instrument, before its first attempt.
    let entries = entries(&desk.journal);
    let before: Vec<_> = entries
        .iter()
        .map(|entry| &entry.record)
        .take_while(|record| !matches!(record, Record::Attempt(_)))
        .collect();
    assert!(
        before
            .iter()
            .any(|record| matches!(record, Record::Tool(tool) if tool.id.as_str() == "S1"))
    );
    assert!(before.iter().any(|record| matches!(record, Record::Noted(note) if note.text.as_str() == "by lines, time as the instrument says")));
    let zero = before.iter().find_map(|record| match record {
        Record::Zero(zero) => Some(zero.clone()),
        _ => None,
    });
    let zero = zero.expect("a zero");
    assert!(
        zero.taken && (zero.offset.millinewton_meters() - 350).abs() < 30,
        "{zero:?}"
    );
    assert!(
        desk.link().who.contains("bad lines, the last: "),
        "{:?}",
        desk.link()
    );
    let curves = desk.journal.with_extension("traces");
    assert!(
        curves.exists()
            || std::fs::read_dir(desk.journal.parent().expect("a folder"))
                .expect("it")
                .count()
                > 2
    );
}

#[test]
fn torque_alone_at_a_hundred_a_second_works_torque_stages_and_no_others() {
    let mut desk = Desk::new(POUND_FEET, "S2", 100, Print::PoundFeet);
    for _ in 0..4 {
        desk.one();
    }
    let done = attempts(&desk.journal);
    for attempt in &done {
        assert_eq!(
            (attempt.verdict, attempt.angle),
            (Verdict::Accepted, None),
            "{attempt:?}"
        );
    }
    assert_eq!(done.len(), 4);
    desk.until("told that it measures no angle", |view| {
        let joint = view.joint.as_ref();
        joint.is_some_and(|joint| {
            joint.live.cue_words == "This stage wants the angle, and S2 measures none"
        })
    });
    let gauges = &desk.joint().live.gauges;
    let angle = gauges.iter().find(|gauge| gauge.quantity == "Angle");
    let angle = angle.expect("an angle is wanted");
    assert_eq!(
        (angle.value, angle.missing.as_str()),
        (None, "not measured")
    );
    // A pull is refused in words and makes no record.
    let reach = reach(&desk.journal, &desk.plan).expect("the angle");
    let before = entries(&desk.journal).len();
    desk.instrument.pull(&reach);
    desk.until("refused", |view| {
        let notice = view.notice.as_ref();
        notice.is_some_and(|notice| notice.words.contains("this stage wants the angle"))
    });
    assert_eq!(entries(&desk.journal).len(), before);
}

#[test]
fn a_silence_under_load_is_a_gap_and_neither_it_nor_a_pulled_plug_is_a_zero() {
    let mut desk = Desk::new(TRACE, "S1", 1_000, Print::Trace);
    let journal = desk.journal.clone();
    desk.one();
    // In the middle of the next pull it falls silent.
    desk.until("ready", Desk::is_ready);
    let reached = reach(&desk.journal, &desk.plan).expect("something to pull");
    desk.instrument.pull(&reached);
    desk.until("loaded", |view| {
        view.joint.as_ref().is_some_and(|joint| joint.live.loaded)
    });
    desk.instrument.stall(Duration::from_millis(1_500));
    desk.until("halted", |view| {
        view.joint
            .as_ref()
            .is_some_and(|joint| joint.live.cue == Shown::Halt)
    });
    desk.until("silent", |view| {
        let link = view.build.link.as_ref();
        link.is_some_and(|link| link.heard == Heard::Lost && link.why.starts_with("silent"))
    });
    for gauge in &desk.joint().live.gauges {
        assert_eq!((gauge.value, gauge.missing.as_str()), (None, "silent"));
    }
    desk.until("judged", |view| {
        view.joint
            .as_ref()
            .is_some_and(|joint| joint.prompt.is_some())
    });
    let last = attempts(&desk.journal).pop().expect("an attempt");
    assert_eq!(last.verdict, Verdict::Unknown, "{last:?}");
    assert!(last.reasons.contains(Reason::Gap), "{:?}", last.reasons);
    // Put right as advised and pulled again, the stop of the pull before is over.
    let asked = desk.joint().prompt.clone().expect("it was judged");
    let advised = asked.choices.first().expect("a way out").act.clone();
    let (Act::Restart(_, fastener) | Act::Loosened(fastener)) = advised else {
        panic!("{advised:?}");
    };
    while desk.instrument.is_busy() {
        desk.tick();
        std::thread::sleep(Duration::from_millis(5));
    }
    desk.instrument.loosen(fastener);
    desk.model.carry_out(Ask::Act(advised, String::new()));
    if let Some(asked) = desk.joint().prompt.clone() {
        let loosened = asked.choices.first().expect("a way on").act.clone();
        desk.model.carry_out(Ask::Act(loosened, String::new()));
    }
    desk.until("ready again", Desk::is_ready);
    let again = reach(&desk.journal, &desk.plan).expect("something to pull");
    desk.instrument.pull(&again);
    desk.until("pulled again", |view| {
        let live = &view.joint.as_ref().expect("a joint").live;
        assert_ne!(live.cue, Shown::Halt, "{}", live.cue_words);
        live.loaded
    });
    let before = attempts(&desk.journal).len();
    desk.until("judged again", |view| {
        let live = &view.joint.as_ref().expect("a joint").live;
        assert_ne!(live.cue, Shown::Halt, "{}", live.cue_words);
        attempts(&journal).len() > before
    });
    // Pulled out, the desk goes on, and says so.
    desk.instrument.unplug();
    desk.until("lost", |view| {
        view.build
            .link
            .as_ref()
            .is_some_and(|link| link.heard == Heard::Lost)
    });
    assert!(
        desk.joint()
            .live
            .gauges
            .iter()
            .all(|gauge| gauge.value.is_none())
    );
    desk.instrument.plug();
    desk.until("heard again", |view| {
        view.build
            .link
            .as_ref()
            .is_some_and(|link| link.heard == Heard::Connected)
    });
    // Disconnected, nothing is heard; connected again, it is.
    desk.model.carry_out(Ask::Disconnect);
    desk.tick();
    assert!(desk.model.view().build.link.is_none());
    let port = desk.instrument.port().to_owned();
    desk.model.carry_out(Ask::Lines("S1".to_owned(), port));
    desk.until("heard a third time", |view| {
        view.build
            .link
            .as_ref()
            .is_some_and(|link| link.heard == Heard::Connected)
    });
}
