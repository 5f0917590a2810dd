//! A rehearsal: the joint on the virtual bench, pulled by key or by the simulated hand.
//!
//! Knows nothing of drawing, nor of readings that come from elsewhere.

use std::time::Duration;

use evendraw_core::record::Entry;
use evendraw_core::session::{Input, Next};

use super::super::view::Notice;
use super::{Hand, Model, Pull, files};
use crate::bench::{Fault, HandKind};
use crate::plan::Plan;
use crate::rehearsal::hands::{self, Reach};
use crate::rehearsal::station::Station;
use crate::store::Purpose;

/// What a fault is called on the menu.
pub(super) const fn fault_words(fault: Fault) -> &'static str {
    match fault {
        Fault::CrossThread => "the thread is crossed",
        Fault::Bottomed => "it bottoms in its hole",
        Fault::AlreadyTight => "it is tight already",
        Fault::SoftPart => "a part under it is soft",
        Fault::MissingPart => "a part under it is missing",
        Fault::Gritty => "there is grit in the thread",
        Fault::Stripping => "the thread strips",
        Fault::WrongClass => "it is of a weaker class",
        Fault::Oiled => "it is oiled and should be dry",
    }
}

impl Model {
    pub(super) fn is_at_bench(&self) -> bool {
        self.bench.hand != Hand::Off
            || self
                .bench
                .station
                .as_ref()
                .is_some_and(|(_, station)| station.is_busy())
    }

    /// The bench goes on for so many of its seconds.
    pub(super) fn work(&mut self, seconds: f64) {
        let mut left = seconds;
        // A hand that finds nothing to do ends by itself; the count only bounds one frame.
        for _ in 0..200 {
            let busy = self
                .bench
                .station
                .as_ref()
                .is_some_and(|(_, station)| station.is_busy());
            if !busy && !self.set_out() {
                return;
            }
            left -= self.pull_for(left.max(0.0));
            let still = self
                .bench
                .station
                .as_ref()
                .is_some_and(|(_, station)| station.is_busy());
            if still || left <= 0.0 {
                return;
            }
            self.let_it_be_judged();
        }
    }

    /// The simulated hand goes to what is next. False when there is nothing for it.
    pub(super) fn set_out(&mut self) -> bool {
        if self.bench.hand == Hand::Off {
            return false;
        }
        let held = self
            .open
            .zip(self.job.as_ref())
            .is_some_and(|(joint, job)| !job.held(joint).is_empty());
        match self.next() {
            _ if !held && self.wants_pull() => self.begin_pull(),
            Some(Next::Hand { step }) if !held => {
                self.do_by_hand(step);
                if self.bench.hand == Hand::One {
                    self.bench.hand = Hand::Off;
                }
                self.dirty = true;
                self.bench.hand != Hand::Off
            }
            _ => {
                self.bench.hand = Hand::Off;
                self.dirty = true;
                false
            }
        }
    }

    /// The hand goes to the next fastener. False when the bench cannot.
    pub(super) fn begin_pull(&mut self) -> bool {
        let Some(reach) = self.session().and_then(Reach::of) else {
            return false;
        };
        self.set_up();
        let (Some((_, station)), Some(session)) = (
            &mut self.bench.station,
            self.open
                .zip(self.job.as_ref())
                .and_then(|(joint, job)| job.session(joint)),
        ) else {
            self.bench.hand = Hand::Off;
            return false;
        };
        if self.pull.step != Some(reach.step) || !session.is_in_pull() {
            self.pull = Pull {
                step: Some(reach.step),
                ..Pull::default()
            };
        }
        let before = station.elapsed_s();
        reach.prepare(session, station);
        station.begin(reach.fastener, &reach.aim);
        let moved = station.elapsed_s() - before;
        self.move_clock(moved);
        true
    }

    /// Puts the open joint on the bench if it is not there yet.
    pub(super) fn set_up(&mut self) {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return;
        };
        if self
            .bench
            .station
            .as_ref()
            .is_some_and(|(on, _)| *on == joint)
        {
            return;
        }
        match Station::of(
            job,
            joint,
            self.bench.seed,
            HandKind::Steady,
            &self.bench.faults,
        ) {
            Some(Ok(station)) => self.bench.station = Some((joint, station)),
            Some(Err(words)) => {
                self.say(true, format!("the bench cannot take this joint: {words}"));
            }
            None => {}
        }
    }

    /// Samples go from the bench to the session for so long; returns the bench's seconds that passed.
    pub(super) fn pull_for(&mut self, seconds: f64) -> f64 {
        let Some(began) = self
            .bench
            .station
            .as_ref()
            .map(|(_, station)| station.elapsed_s())
        else {
            return seconds;
        };
        let mut passed = 0.0;
        while passed < seconds {
            let Some((_, station)) = &mut self.bench.station else {
                break;
            };
            let before = station.elapsed_s();
            let sample = station.sample();
            let step = station.elapsed_s() - before;
            passed = station.elapsed_s() - began;
            self.move_clock(step);
            let Some(sample) = sample else { break };
            let sample = crate::rehearsal::trace_file::sample(sample.torque_Nm, sample.angle_deg);
            self.feed(Input::Sample(sample));
            if self.bench.hand != Hand::Off
                && let Some((_, station)) = &mut self.bench.station
            {
                station.hear(self.pull.cue, self.pull.halt.is_some());
            }
        }
        passed
    }

    /// The hand is off: the session gets the quiet it needs to judge.
    pub(super) fn let_it_be_judged(&mut self) {
        for _ in 0..4 {
            let Some(session) = self.session() else {
                return;
            };
            if !session.is_in_pull() {
                break;
            }
            match session.deadline() {
                Some(due) => {
                    let ahead = Duration::from_micros(due.micros().saturating_sub(self.micros))
                        .as_secs_f64();
                    if self.bench.hand == Hand::Off && ahead > 0.3 {
                        // A person may re-grip: time runs at its own pace.
                        return;
                    }
                    self.pass(ahead.min(1.0));
                    if ahead > 1.0 {
                        self.apply(Input::Finish);
                    }
                }
                None if self.bench.hand == Hand::Off => return,
                None => self.apply(Input::Finish),
            }
        }
        if self.bench.hand == Hand::One {
            self.bench.hand = Hand::Off;
            self.dirty = true;
        }
    }

    /// After the last fastener of a stage: what the bench's joint carries now is kept in the rehearsal's journal.
    pub(super) fn after_pass(&mut self, entries: &[Entry]) {
        let Some((on, station)) = &self.bench.station else {
            return;
        };
        let is_rehearsing = self.is_rehearsing();
        let (Some(job), Some(joint)) = (&mut self.job, self.open) else {
            return;
        };
        if *on != joint || !is_rehearsing {
            return;
        }
        for entry in entries.iter().filter(|entry| entry.joint == joint) {
            let Some(attempt) = entry.record.attempt() else {
                continue;
            };
            let Some(session) = job.session(joint) else {
                continue;
            };
            if !session
                .ledger()
                .is_stage_settled(session.procedure(), attempt.stage)
            {
                continue;
            }
            if let Err(error) = hands::keep_clamps(job, station, joint, attempt.stage) {
                self.notice = Some(Notice {
                    bad: true,
                    words: error.to_string(),
                    take_back: false,
                });
            }
        }
    }

    pub(super) fn pull_by_key(&mut self, on: bool) {
        self.bench.pulling = on;
        if !self.is_rehearsing() || self.is_reading_a_trace() {
            return;
        }
        if on {
            self.take_tool_in_rehearsal();
            let busy = self
                .bench
                .station
                .as_ref()
                .is_some_and(|(_, station)| station.is_busy());
            if !busy && self.wants_pull() {
                self.bench.hand = Hand::Off;
                self.begin_pull();
            }
        } else if let Some((_, station)) = &mut self.bench.station {
            station.let_go();
        }
    }

    pub(super) fn let_the_hand(&mut self, hand: Hand) {
        if !self.is_rehearsing() {
            return self.say(true, "the simulated hand works in a rehearsal only (V)");
        }
        self.take_tool_in_rehearsal();
        self.bench.hand = hand;
        // A hand that is told to stop lets go; it does not pull on past the target with nobody listening to the cue.
        if hand == Hand::Off
            && !self.bench.pulling
            && let Some((_, station)) = &mut self.bench.station
        {
            station.let_go();
        }
    }

    /// A step done by hand: the bench does it too, and it is confirmed.
    pub(super) fn do_by_hand(&mut self, step: u16) {
        if self.is_rehearsing() {
            self.set_up();
            if let (Some((_, station)), Some(session)) = (
                &mut self.bench.station,
                self.open
                    .zip(self.job.as_ref())
                    .and_then(|(joint, job)| job.session(joint)),
            ) {
                hands::seat(session, station, step);
            }
        }
        self.apply(Input::Confirm { step });
    }

    /// In a rehearsal the tool that suits is at hand.
    pub(super) fn take_tool_in_rehearsal(&mut self) {
        let (Some(job), Some(joint)) = (&self.job, self.open) else {
            return;
        };
        if !self.is_rehearsing() {
            return;
        }
        let suits = job.tools_for_next(joint);
        if job.tool().is_some_and(|tool| suits.contains(&tool))
            && !matches!(self.next(), Some(Next::Tool))
        {
            return;
        }
        let needed = matches!(self.next(), Some(Next::Tool))
            || job.held(joint).iter().any(|held| {
                !matches!(
                    held,
                    crate::job::Held::Plan(_) | crate::job::Held::Unanswered(_)
                )
            });
        let Some(id) = suits.first().map(|id| (*id).to_owned()).filter(|_| needed) else {
            return;
        };
        self.apply(Input::Tool {
            id: &id,
            waiver: "",
        });
    }

    pub(super) fn replace_on_bench(&mut self, fastener: u8) {
        let joint = self.open.unwrap_or(0);
        self.bench
            .faults
            .retain(|(on, own, fault)| *on != joint || *own != fastener || fault.in_the_parts());
        if self.is_rehearsing() {
            self.set_up();
            if let Some((_, station)) = &mut self.bench.station {
                station.replace(fastener);
            }
        }
    }

    pub(super) fn loosen_all_on_bench(&mut self) {
        let count = self
            .session()
            .map_or(0, |session| session.procedure().fasteners().len());
        if let Some((_, station)) = &mut self.bench.station {
            for fastener in (0u8..).take(count) {
                station.loosen(fastener);
            }
        }
    }

    pub(super) fn fault(&mut self, label: &str, kind: &str) {
        let (Some(fastener), Some(joint)) = (self.fastener(label), self.open) else {
            return;
        };
        match Fault::ALL
            .into_iter()
            .find(|fault| fault_words(*fault) == kind)
        {
            Some(fault) => {
                self.bench.faults.push((joint, fastener, fault));
                // The bench is set up anew, with the fault in it and the rest as the records say.
                self.bench.station = None;
                self.set_up();
                self.say(
                    false,
                    format!("fastener {label} now has this fault: {kind}"),
                );
            }
            None => self.say(true, format!("the bench knows no fault `{kind}`")),
        }
    }

    pub(super) fn rehearse_anew(&mut self) {
        if !self.is_rehearsing() {
            return;
        }
        let Ok(plan) = Plan::read(&self.file.name, &self.file.text, &self.file.folder) else {
            return;
        };
        let path = files::new_journal(&self.file.folder, &self.file.name, Purpose::Rehearsal);
        match crate::job::Job::create(&path, plan, Purpose::Rehearsal) {
            Ok(job) => {
                self.bench.seed = self.bench.seed.wrapping_add(1);
                self.job = Some(job);
                self.bench.station = None;
                self.open = None;
                self.bench.hand = Hand::Off;
                self.bench.faults.clear();
                self.pull = Pull::default();
                self.say(false, "a new rehearsal is begun; the last one is kept");
            }
            Err(error) => self.say(true, error.to_string()),
        }
    }
}
