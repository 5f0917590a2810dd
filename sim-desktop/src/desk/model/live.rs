//! Readings from an adapter: the line to it, and the records it makes, taken over as they come.
//!
//! A joint is worked at the adapter or at the desk, never at both. At the adapter its session is the adapter's own; what is
//! shown here as judged is a record that was fetched and is safe in this journal. Live readings only move the pointer.

mod ask;
mod view;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};

use evendraw_core::link::Live;
use evendraw_core::record::{Entry, Record};
use evendraw_core::session::{Input, Session};

use super::super::view::{Heard, LinkView};
use super::start::METAL_IS_WORK;
use super::{Hand, Model, Pull, Readings};
use crate::job::status::attempt_of;
use crate::limits::LIVE_POINTS_MAX;
use crate::link::{Adapter, Fetched, Follower, News};
use crate::peers::Remark;
use crate::quantity::newton_meters;
use crate::rehearsal::station::degrees;

/// What wakes the window when there is news.
#[derive(Clone)]
pub(super) struct Wake(Arc<dyn Fn() + Send + Sync>);

impl Wake {
    pub(super) fn call(&self) {
        (self.0)();
    }
}

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
    /// Every record it was heard to have, by joint and number.
    there: BTreeMap<(u8, u32), Entry>,
    /// Remarks about fasteners unlike their peers that it was told, and whose records may still be on their way.
    told: BTreeSet<(u8, Remark)>,
    /// Joints that somebody would rather work at the desk.
    declined: BTreeSet<u8>,
    /// The joint whose records there are, if somebody says so, of this unit.
    of_this_unit: Option<u8>,
    /// The joint that it was asked to work, until it answers.
    sending: Option<u8>,
}

impl Model {
    /// Calls this whenever something happened in the background; from another thread.
    pub fn set_wake(&mut self, wake: impl Fn() + Send + Sync + 'static) {
        self.wake = Wake(Arc::new(wake));
    }

    pub(super) fn connect(&mut self, path: &Path) {
        if path.as_os_str().is_empty() {
            return self.say(true, "which port? choose one, or type its path");
        }
        if self.is_rehearsing() {
            return self.say(true, METAL_IS_WORK);
        }
        self.bench.hand = Hand::Off;
        self.pull = Pull::default();
        let wake = self.wake.clone();
        self.readings = Readings::Adapter(Box::new(Connection {
            path: path.to_owned(),
            follower: Follower::begin(path.to_owned(), move || (wake.0)()),
            heard: Heard::Searching,
            why: "asking".to_owned(),
            adapter: None,
            now: None,
            caught_up: false,
            working: None,
            waiting: BTreeMap::new(),
            there: BTreeMap::new(),
            told: BTreeSet::new(),
            declined: BTreeSet::new(),
            of_this_unit: None,
            sending: None,
        }));
        self.dirty = true;
    }

    pub(super) fn disconnect(&mut self) {
        if let Readings::Lines(own) = &self.readings {
            let words = format!("{} is disconnected", Self::lines_name(own));
            if self.session().is_some_and(Session::is_in_pull) {
                self.apply(Input::MeasurementLost);
            }
            self.readings = Readings::None;
            self.pull = Pull::default();
            return self.say(false, words);
        }
        if let Readings::Adapter(connection) = &self.readings {
            let words = format!("{} is disconnected", connection.path.display());
            self.readings = Readings::None;
            self.pull = Pull::default();
            self.say(false, words);
        }
    }

    /// What the title block calls it.
    pub(super) fn adapter_name(&self) -> String {
        let connection = self.line();
        match connection.and_then(|own| own.adapter.as_ref()) {
            Some(adapter) => adapter.serial.clone(),
            None => connection.map_or_else(String::new, |own| own.path.display().to_string()),
        }
    }

    pub(super) fn link_view(&self) -> Option<LinkView> {
        let connection = self.line()?;
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
            prints_lines: false,
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
        let connection = self.line()?;
        if connection.heard != Heard::Connected || connection.working != self.open {
            return None;
        }
        connection.now.as_ref()
    }

    /// Takes in what came from the adapter since.
    pub(super) fn hear_adapter(&mut self) {
        if self.ports.hear() {
            self.dirty = true;
        }
        let Readings::Adapter(connection) = &self.readings else {
            return;
        };
        let news: Vec<News> = connection.follower.news().collect();
        for news in news {
            self.take_news(news);
        }
    }

    fn take_news(&mut self, news: News) {
        let Readings::Adapter(connection) = &mut self.readings else {
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
                    connection.there.clear();
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
            News::Curve { joint, seq, points } => {
                let kept = self
                    .job
                    .as_mut()
                    .map(|job| job.keep_curve(joint, seq, &points));
                if let Some(Err(error)) = kept {
                    self.say(true, format!("the curve of record {seq} is lost: {error}"));
                }
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
        let Readings::Adapter(connection) = &mut self.readings else {
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
                .there
                .insert((entry.joint, entry.seq), entry.clone());
            connection
                .waiting
                .entry(entry.joint)
                .or_default()
                .push(entry);
        }
        if let Some(newer) = fetched.newer.first() {
            let words = format!(
                "{} records of the adapter are newer than this program and not taken: {}; a newer one reads them",
                fetched.newer.len(),
                newer.why
            );
            self.say(true, words);
        }
        if let Some(left) = &fetched.left {
            let words = format!(
                "records {} to {} are missing here, which the adapter says it has: {}",
                left.from, left.to, left.why
            );
            self.say(true, words);
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
        let (Readings::Adapter(connection), Some(job)) = (&mut self.readings, &mut self.job) else {
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
                    if let Record::Noted(note) = &entry.record {
                        connection
                            .told
                            .retain(|(_, remark)| remark.text != note.text.as_str());
                    }
                }
                for entry in &new {
                    if let Some(attempt) = attempt_of(&entry.record) {
                        self.tell_verdict(joint, &attempt);
                    }
                }
                self.tell_peers(joint);
            }
            Err(error) => self.say(
                true,
                format!("the adapter's records are not taken over: {error}"),
            ),
        }
    }

    /// Moves the pointer, and draws the curve on.
    fn take_live(&mut self, live: Live) {
        let Readings::Adapter(connection) = &mut self.readings else {
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
            if self.pull.points.last() != Some(&point) && self.pull.points.len() < LIVE_POINTS_MAX {
                self.pull.points.push(point);
            }
        }
    }
}
