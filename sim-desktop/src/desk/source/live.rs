//! Readings from an adapter: the line to it, and the records it makes, taken over as they come.
//!
//! A joint is worked at the adapter or at the desk, never at both. At the adapter its session is the adapter's own; what is
//! shown here as judged is a record that was fetched and is safe in this journal. Live readings only move the pointer.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};

use evendraw_core::link::Live;
use evendraw_core::procedure::Procedure;
use evendraw_core::record::{Entry, Record, Role};
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::tracker::Cue as Signal;
use evendraw_core::verdict::Aim;

use super::super::view::{Cue, CurveView, Heard, LinkView, LiveView, Question};
use super::joint_view::{
    gauges, halt_words, is_reached, limits, next_step, pull_cue, typed_target,
};
use super::question::refusal_words;
use super::{Hand, Pull, Source};
use crate::job::Job;
use crate::link::{Adapter, Fetched, Follower, News, Order};
use crate::plan::JointPlan;
use crate::rehearsal::rig::{degrees, newton_meters};
use crate::store::{Fact, Purpose};

/// What wakes the window when there is news.
#[derive(Clone)]
pub(super) struct Wake(Arc<dyn Fn() + Send + Sync>);

impl Default for Wake {
    fn default() -> Self {
        Self(Arc::new(|| {}))
    }
}

impl std::fmt::Debug for Wake {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Wake")
    }
}

/// The serial ports of this machine, looked for in the background.
#[derive(Debug, Default)]
pub(super) struct Ports {
    known: Vec<String>,
    looking: Option<Receiver<Vec<String>>>,
}

impl Ports {
    pub(super) fn known(&self) -> &[String] {
        &self.known
    }

    pub(super) fn look(&mut self, wake: &Wake) {
        let (found, looking) = mpsc::channel();
        let wake = wake.clone();
        std::thread::spawn(move || {
            if found.send(crate::link::ports()).is_ok() {
                (wake.0)();
            }
        });
        self.looking = Some(looking);
    }

    /// True when there is something new.
    fn hear(&mut self) -> bool {
        let Some(found) = self
            .looking
            .as_ref()
            .and_then(|looking| looking.try_recv().ok())
        else {
            return false;
        };
        self.known = found;
        self.looking = None;
        true
    }
}

/// The line to an adapter.
#[derive(Debug)]
pub(super) struct Connection {
    path: PathBuf,
    follower: Follower,
    heard: Heard,
    why: String,
    adapter: Option<Adapter>,
    now: Option<Live>,
    /// What it recorded before is here: until then nobody knows what it works.
    caught_up: bool,
    /// The joint that it works, as its last start says.
    working: Option<u8>,
    /// Records of joints that are not left to it, and of those whose records could not be kept yet.
    waiting: BTreeMap<u8, Vec<Entry>>,
    /// Joints that somebody would rather work at the desk.
    declined: BTreeSet<u8>,
    /// The joint whose records there are, if somebody says so, of this unit.
    of_this_unit: Option<u8>,
    /// The joint that it was asked to work, until it answers.
    sending: Option<u8>,
}

impl Source {
    /// Calls this whenever something happened in the background; from another thread.
    pub fn set_wake(&mut self, wake: impl Fn() + Send + Sync + 'static) {
        self.wake = Wake(Arc::new(wake));
    }

    pub(super) fn connect(&mut self, path: &Path) {
        if path.as_os_str().is_empty() {
            return self.say(true, "which port? choose one, or type its path");
        }
        self.hand = Hand::Off;
        self.play = None;
        self.pull = Pull::default();
        let wake = self.wake.clone();
        self.live = Some(Connection {
            path: path.to_owned(),
            follower: Follower::begin(path.to_owned(), move || (wake.0)()),
            heard: Heard::Searching,
            why: "asking".to_owned(),
            adapter: None,
            now: None,
            caught_up: false,
            working: None,
            waiting: BTreeMap::new(),
            declined: BTreeSet::new(),
            of_this_unit: None,
            sending: None,
        });
        // Metal from here on: the rehearsal is put aside as it is.
        self.change_purpose(Purpose::Job);
        self.dirty = true;
    }

    pub(super) fn disconnect(&mut self) {
        if let Some(connection) = self.live.take() {
            self.pull = Pull::default();
            self.say(false, format!("{} is let go", connection.path.display()));
        }
    }

    /// What the title block calls it.
    pub(super) fn adapter_name(&self) -> String {
        let connection = self.live.as_ref();
        match connection.and_then(|own| own.adapter.as_ref()) {
            Some(adapter) => adapter.serial.clone(),
            None => connection.map_or_else(String::new, |own| own.path.display().to_string()),
        }
    }

    pub(super) fn link_view(&self) -> Option<LinkView> {
        let connection = self.live.as_ref()?;
        Some(LinkView {
            heard: connection.heard,
            port: connection.path.display().to_string(),
            who: connection
                .adapter
                .as_ref()
                .map_or_else(String::new, |adapter| {
                    format!(
                        "adapter {}, {}, up to {:.0} N·m",
                        adapter.serial,
                        adapter.firmware,
                        newton_meters(adapter.capacity)
                    )
                }),
            serial: connection
                .adapter
                .as_ref()
                .map_or_else(String::new, |adapter| adapter.serial.clone()),
            why: connection.why.clone(),
        })
    }

    /// Whether the joint in hand makes its records at an adapter.
    pub(super) fn is_at_adapter(&self) -> bool {
        self.job
            .as_ref()
            .zip(self.open)
            .is_some_and(|(job, joint)| job.adapter(joint).is_some())
    }

    /// The clock of the joint in hand: the adapter's own, where it works it.
    pub(super) fn joint_micros(&self) -> u64 {
        if self.is_at_adapter() {
            self.heard_now().map_or(0, |live| live.at.micros())
        } else {
            self.micros
        }
    }

    /// What the adapter tells of the joint in hand right now.
    fn heard_now(&self) -> Option<&Live> {
        let connection = self.live.as_ref()?;
        if connection.heard != Heard::Connected || connection.working != self.open {
            return None;
        }
        connection.now.as_ref()
    }

    /// Whether the joint in hand may be left to the adapter, and nobody said yet that it should not.
    pub(super) fn asks_about_adapter(&self) -> bool {
        self.job
            .as_ref()
            .zip(self.open)
            .is_some_and(|(job, joint)| {
                self.may_send(job, joint)
                    && self
                        .live
                        .as_ref()
                        .is_some_and(|own| !own.declined.contains(&joint))
            })
    }

    pub(super) fn may_send(&self, job: &Job, joint: u8) -> bool {
        let Some(connection) = &self.live else {
            return false;
        };
        let serial = connection.adapter.as_ref().map(|own| own.serial.as_str());
        match job.adapter(joint) {
            // It has the joint, and works another one now.
            Some(own) => {
                Some(own) == serial
                    && connection.heard == Heard::Connected
                    && connection.caught_up
                    && connection.working != Some(joint)
            }
            None => job.may_leave(joint).is_ok(),
        }
    }

    /// Takes in what came from the adapter since.
    pub(super) fn hear_adapter(&mut self) {
        if self.ports.hear() {
            self.dirty = true;
        }
        let Some(connection) = &self.live else { return };
        let news: Vec<News> = connection.follower.news().collect();
        for news in news {
            self.take_news(news);
        }
    }

    fn take_news(&mut self, news: News) {
        let Some(connection) = &mut self.live else {
            return;
        };
        if !matches!(news, News::Live(_)) {
            self.dirty = true;
        }
        match news {
            News::Searching(why) => {
                connection.heard = Heard::Searching;
                connection.why = why;
            }
            News::Lost(why) => {
                connection.heard = Heard::Lost;
                connection.why = why;
                connection.now = None;
                connection.sending = None;
            }
            News::Answered(adapter) => {
                let changed = connection
                    .adapter
                    .as_ref()
                    .is_some_and(|own| own.serial != adapter.serial);
                if changed {
                    // Another adapter on the same port: what the first one told says nothing about this one.
                    connection.waiting.clear();
                    connection.working = None;
                    connection.of_this_unit = None;
                }
                connection.caught_up = false;
                connection.heard = Heard::Connected;
                connection.why.clear();
                let words = format!("adapter {} answers", adapter.serial);
                connection.adapter = Some(adapter);
                self.say(false, words);
            }
            News::Fetched(fetched) => {
                self.take_fetched(fetched);
                self.name_person();
            }
            News::Live(live) => self.take_live(live),
            News::Working { joint, place } => {
                connection.sending = None;
                connection.of_this_unit = None;
                connection.working = Some(joint);
                let serial = connection
                    .adapter
                    .as_ref()
                    .map_or_else(String::new, |own| own.serial.clone());
                let left = self
                    .job
                    .as_mut()
                    .map(|job| job.leave_to_adapter(joint, &serial));
                match left {
                    Some(Err(error)) => self.say(true, error.to_string()),
                    _ => {
                        self.pull = Pull::default();
                        self.say(
                            false,
                            format!(
                                "adapter {serial} works it, from place {} of its store",
                                place + 1
                            ),
                        );
                        self.keep_waiting(joint);
                    }
                }
            }
            News::NotDone(why) => {
                connection.sending = None;
                self.say(true, format!("the adapter does not take it: {why}"));
            }
        }
    }

    fn take_fetched(&mut self, fetched: Fetched) {
        let Some(connection) = &mut self.live else {
            return;
        };
        connection.caught_up = true;
        let mut joints = BTreeSet::new();
        for entry in fetched.entries {
            if matches!(entry.record, Record::Started(_)) {
                connection.working = Some(entry.joint);
            }
            joints.insert(entry.joint);
            connection
                .waiting
                .entry(entry.joint)
                .or_default()
                .push(entry);
        }
        // What is missing before the first record that is here was given back, or is kept elsewhere.
        let missing: u32 = fetched
            .gaps
            .iter()
            .filter(|(from, _)| *from > 1)
            .map(|(from, to)| to - from)
            .sum();
        if missing > 0 {
            self.say(
                true,
                format!("{missing} records are damaged in the adapter and missing here"),
            );
        }
        for joint in joints {
            self.keep_waiting(joint);
        }
    }

    /// Keeps what waits of a joint that is left to this adapter. What cannot be kept waits on.
    fn keep_waiting(&mut self, joint: u8) {
        let (Some(connection), Some(job)) = (&mut self.live, &mut self.job) else {
            return;
        };
        let serial = connection.adapter.as_ref().map(|own| own.serial.as_str());
        if serial.is_none() || job.adapter(joint) != serial {
            return;
        }
        let Some(waiting) = connection.waiting.get(&joint) else {
            return;
        };
        let kept = job.take_over(joint, waiting);
        match kept {
            Ok(new) => {
                connection.waiting.remove(&joint);
                self.dirty = true;
                for entry in &new {
                    if let Record::Attempt(attempt) = &entry.record {
                        self.tell_verdict(joint, attempt);
                    }
                }
            }
            Err(error) => self.say(
                true,
                format!("the adapter's records are not taken over: {error}"),
            ),
        }
    }

    /// Moves the pointer, and draws the curve on.
    fn take_live(&mut self, live: Live) {
        let Some(connection) = &mut self.live else {
            return;
        };
        if connection.heard != Heard::Connected {
            return;
        }
        let before = connection.now.replace(live);
        if connection.working != self.open {
            return;
        }
        let begins = before.is_none_or(|before| live.peak < before.peak)
            || self.pull.step != live.step && live.step.is_some();
        if begins {
            self.pull = Pull {
                step: live.step,
                ..Pull::default()
            };
        }
        self.pull.cue = live.cue;
        self.pull.halt = live.halt;
        if live.pulls > 0 || live.torque.millinewton_meters().abs() > 200 {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "newton-metres and degrees for a drawing"
            )]
            let point = [
                live.angle.map_or(0.0, degrees) as f32,
                newton_meters(live.torque) as f32,
            ];
            if self.pull.points.last() != Some(&point) {
                self.pull.points.push(point);
            }
        }
    }

    /// What is asked about the adapter before the joint in hand is worked.
    pub(super) fn question_about_adapter(&self, job: &Job, joint: u8) -> Option<Question> {
        let connection = self.live.as_ref()?;
        let adapter = connection.adapter.as_ref()?;
        if connection.heard != Heard::Connected
            || !connection.caught_up
            || !self.asks_about_adapter()
        {
            return None;
        }
        if connection.sending == Some(joint) {
            return None;
        }
        let title = job.joint(joint)?.title();
        let unit = job.plan().build().unit.as_deref();
        Some(if connection.of_this_unit == Some(joint) {
            let count = connection.waiting.get(&joint).map_or(0, Vec::len);
            Question {
                kind: "Adapter".to_owned(),
                words: format!(
                    "Adapter {} holds {count} records of this joint already. Are they of this unit{}?",
                    adapter.serial,
                    unit.map_or_else(String::new, |unit| format!(", {unit}"))
                ),
                if_no: "No leaves them there: fetch them into a journal of their own first."
                    .to_owned(),
                number: None,
                choices: Vec::new(),
            }
        } else if job.adapter(joint).is_some() {
            Question {
                kind: "Adapter".to_owned(),
                words: format!(
                    "Adapter {} works another joint. Go on with {title} there?",
                    adapter.serial
                ),
                if_no: String::new(),
                number: None,
                choices: Vec::new(),
            }
        } else {
            Question {
                kind: "Adapter".to_owned(),
                words: format!(
                    "Send {title} to adapter {} and work it there?",
                    adapter.serial
                ),
                if_no: "No works it at the desk, from trace files.".to_owned(),
                number: None,
                choices: Vec::new(),
            }
        })
    }

    /// Answers that question. False when it is not asked.
    pub(super) fn answer_about_adapter(&mut self, yes: bool) -> bool {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return false;
        };
        if self.question_about_adapter(job, joint).is_none() || !job.held(joint).is_empty() {
            return false;
        }
        let Some(connection) = &mut self.live else {
            return false;
        };
        if yes {
            self.send_joint();
        } else if connection.of_this_unit.take() == Some(joint) {
            self.say(
                true,
                "nothing is taken. Fetch those records into a journal of their own (`evendraw adapter PORT pull`), then have the adapter forget them",
            );
        } else {
            connection.declined.insert(joint);
            self.enter();
        }
        true
    }

    /// Has the adapter work the joint in hand.
    pub(super) fn send_joint(&mut self) {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return self.say(true, "open the joint first");
        };
        let held = job.held(joint);
        if let Some(first) = held.first() {
            let words = first.to_string();
            return self.say(true, words);
        }
        if job.adapter(joint).is_none()
            && let Err(error) = job.may_leave(joint)
        {
            return self.say(true, error.to_string());
        }
        let made = job
            .joint(joint)
            .zip(job.answers(joint))
            .and_then(|(own, answers)| own.procedure(answers).ok());
        let Some(procedure) = made else { return };
        let left = job.adapter(joint).is_some();
        let Some(connection) = &mut self.live else {
            return self.say(true, "no adapter is connected: F11");
        };
        if connection.heard != Heard::Connected || !connection.caught_up {
            return self.say(true, "the adapter does not answer yet");
        }
        let capacity = connection.adapter.as_ref().map(|own| own.capacity);
        let highest = (0..=u16::MAX)
            .zip(procedure.steps())
            .filter_map(|(step, _)| Some(procedure.torque_window(step)?.target))
            .max();
        if let (Some(highest), Some(capacity)) = (highest, capacity)
            && highest > capacity
        {
            return self.say(
                true,
                format!(
                    "this joint goes up to {:.1} N·m, and the adapter bears {:.1} N·m: take another",
                    newton_meters(highest),
                    newton_meters(capacity)
                ),
            );
        }
        let digest = procedure.digest();
        // The adapter may hold records under this number: of another procedure, or of this one on another unit.
        let started = connection
            .waiting
            .get(&joint)
            .and_then(|entries| entries.iter().rev().find_map(started_with));
        match started {
            Some(other) if other != digest => {
                return self.say(
                    true,
                    "the adapter holds records of another joint under this number: fetch them (`evendraw adapter PORT pull`), \
                     then have it forget them",
                );
            }
            Some(_) if !left && connection.of_this_unit != Some(joint) => {
                connection.of_this_unit = Some(joint);
                self.dirty = true;
                return;
            }
            _ => {}
        }
        let mut room = vec![0; 16 * 1024];
        match procedure.encode(&mut room) {
            Ok(blob) => {
                connection.sending = Some(joint);
                connection.declined.remove(&joint);
                connection.follower.order(Order::Work {
                    joint,
                    blob: blob.to_vec(),
                    digest,
                });
                self.say(false, "sending the procedure");
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    /// The desk goes on with the joint in hand.
    pub(super) fn take_back(&mut self) {
        let (Some(job), Some(joint)) = (&mut self.job, self.open) else {
            return;
        };
        match job.take_back(joint) {
            Ok(()) => {
                if let Some(connection) = &mut self.live {
                    connection.declined.insert(joint);
                }
                self.say(
                    true,
                    "worked at the desk from here on: what the adapter records of it later is not taken",
                );
                self.enter();
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }

    /// An answer or a remark for the joint that the adapter works: its session takes it, and makes the record.
    pub(super) fn tell_adapter(&mut self, input: Input<'_>) {
        let (Some(job), Some(joint), false) = (&mut self.job, self.open, input == Input::Tick)
        else {
            return;
        };
        let heard = self
            .live
            .as_ref()
            .filter(|own| own.heard == Heard::Connected && own.working == Some(joint));
        let Some(connection) = heard else {
            return self.say(
                true,
                "this joint is worked at an adapter that is not heard now: F11",
            );
        };
        if let Some(refusal) = job.would_refuse(joint, input) {
            return self.say(true, refusal_words(refusal));
        }
        let Some(order) = Order::tell(&input) else {
            return self.say(true, "the adapter is the tool, and names itself");
        };
        connection.follower.order(order);
        if let Input::Person {
            name,
            role: Role::Operator,
        } = input
        {
            job.remember_person(name);
        }
    }

    /// Who works is said again for each joint, so that its records stand alone.
    fn name_person(&mut self) {
        let name = self
            .job
            .as_ref()
            .and_then(|job| job.person().map(str::to_owned));
        if let (Some(name), Some(Next::Person)) = (name, self.next()) {
            self.tell_adapter(Input::Person {
                name: &name,
                role: Role::Operator,
            });
        }
    }

    /// What is shown of a joint that has no session yet: what is waited for.
    pub(super) fn live_before_begun(&self) -> LiveView {
        let words = match self.live.as_ref().map(|own| (own.heard, own.sending)) {
            Some((Heard::Connected, Some(_))) => "The procedure is being sent",
            Some((Heard::Searching, _)) => "Looking for the adapter: F11 lets it go",
            Some((Heard::Lost, _)) => "Adapter lost: F11 lets it go",
            _ => "",
        };
        LiveView {
            cue: Cue::Wait,
            cue_words: words.to_owned(),
            ..LiveView::default()
        }
    }

    /// The pull in progress at the adapter, as it tells it.
    pub(super) fn live_at_adapter<P: std::ops::Deref<Target = Procedure>>(
        &self,
        job: &Job,
        joint: u8,
        plan: &JointPlan,
        session: &Session<P>,
    ) -> LiveView {
        let now = self.heard_now();
        let step = now.and_then(|now| now.step).or_else(|| next_step(session));
        let aim = step.and_then(|step| {
            let aim = session.ledger().aim_of(session.procedure(), step)?;
            Some((step, aim))
        });
        let begun = job.facts().iter().rev().find_map(|fact| match fact {
            Fact::Entry(entry) if entry.joint == joint => {
                Some(matches!(entry.record, Record::Begun(_)))
            }
            _ => None,
        });
        let in_pull =
            begun == Some(true) || now.is_some_and(|now| now.pulls > 0 && now.halt.is_some());
        let loaded = now.is_some_and(|now| is_loaded(aim.as_ref().map(|(_, aim)| aim), now));
        let mut view = LiveView {
            loaded,
            pulls: now.map_or(0, |now| u32::from(now.pulls)),
            curve: CurveView {
                points: self.pull.points.clone(),
                unit: "N·m".to_owned(),
                ..CurveView::default()
            },
            ..LiveView::default()
        };
        if let Some((step, aim)) = &aim {
            let shown = now.map(|now| {
                if loaded || !in_pull {
                    now.torque
                } else {
                    now.peak
                }
            });
            view.gauges = gauges(
                aim,
                typed_target(plan, *step),
                shown.map_or(0.0, newton_meters),
                now.and_then(|now| now.angle).map(degrees),
                in_pull,
            );
            if shown.is_none() {
                // A reading that is not heard is not a reading of nothing.
                for gauge in &mut view.gauges {
                    gauge.value = None;
                }
            }
            limits(aim, &mut view.curve);
        }
        (view.cue, view.cue_words) =
            self.cue_at_adapter(session, now, aim.map(|(_, aim)| aim), in_pull, loaded);
        view
    }

    fn cue_at_adapter<P: std::ops::Deref<Target = Procedure>>(
        &self,
        session: &Session<P>,
        now: Option<&Live>,
        aim: Option<Aim>,
        in_pull: bool,
        loaded: bool,
    ) -> (Cue, String) {
        let Some(now) = now else {
            let words = match self.live.as_ref().map(|own| own.heard) {
                None => "Adapter not connected: F11",
                Some(Heard::Searching) => "Looking for the adapter",
                Some(Heard::Lost) => "Adapter lost",
                Some(Heard::Connected) => "The adapter works another joint",
            };
            return (Cue::Wait, words.to_owned());
        };
        if let (true, Some(reason)) = (in_pull, now.halt) {
            return (Cue::Halt, halt_words(reason));
        }
        if in_pull || now.cue != Signal::None {
            let reached = aim.is_some_and(|aim| is_reached(&aim, now.peak, now.angle));
            let (cue, words) = pull_cue(now.cue, loaded, reached);
            return (cue, words.to_owned());
        }
        match session.next() {
            Next::Pull { .. } => (Cue::Ready, "Ready: pull".to_owned()),
            Next::Wait { until, .. } => {
                let left = until.micros().saturating_sub(now.at.micros()) / 1_000_000;
                (Cue::Wait, format!("Wait {}", crate::words::seconds(left)))
            }
            _ => (Cue::Wait, "Answer first".to_owned()),
        }
    }
}

/// The procedure's digest, where the record is a start.
fn started_with(entry: &Entry) -> Option<u32> {
    match &entry.record {
        Record::Started(started) => Some(started.procedure),
        _ => None,
    }
}

/// Whether a hand is on the tool, as far as the reading alone tells: a tenth of what is aimed at.
fn is_loaded(aim: Option<&Aim>, now: &Live) -> bool {
    let target = match aim {
        Some(Aim::Torque { window } | Aim::Repeat { window, .. }) => {
            window.target.millinewton_meters()
        }
        Some(Aim::Hold { torque, .. }) => torque.millinewton_meters(),
        Some(Aim::Turn { .. } | Aim::BackOff { .. }) | None => 10_000,
    };
    now.torque.millinewton_meters().abs().saturating_mul(10) >= target.max(1_000)
}
