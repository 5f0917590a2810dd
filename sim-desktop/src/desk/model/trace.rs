//! Readings from a trace file: samples taken elsewhere, played to the session as work on metal.
//!
//! Knows nothing of the bench.

use std::path::Path;

use evendraw_core::procedure::{Hand as Handed, StageKind};
use evendraw_core::session::{Input, Session};

use super::start::METAL_IS_WORK;
use super::{Hand, Model, Play, Readings};
use crate::rehearsal::recording::Recording;

impl Model {
    /// Samples of a file go on, ten times as fast as they were taken.
    pub(super) fn play_on(&mut self, seconds: f64) {
        self.move_clock(seconds * 10.0);
        loop {
            let Readings::Trace(play) = &mut self.readings else {
                return;
            };
            let Some((at, sample)) = play.samples.get(play.at).copied() else {
                let name = play.name.clone();
                self.readings = Readings::None;
                self.pass(1.0);
                self.say(false, format!("{name} is read to its end"));
                return;
            };
            let since = at
                .micros()
                .saturating_sub(play.samples.first().map_or(0, |(first, _)| first.micros()));
            let due = play.began.micros() + since;
            if due > self.micros {
                return;
            }
            play.at += 1;
            let zero = play.zero.take();
            let now = std::mem::replace(&mut self.micros, due);
            if let Some(offset) = zero.filter(|_| self.wants_pull()) {
                let taken = true;
                self.apply(Input::Zero { taken, offset });
            }
            self.feed(Input::Sample(sample));
            self.micros = now.max(due);
            if !self.wants_pull() && !self.session().is_some_and(Session::is_in_pull) {
                self.readings = Readings::None;
                self.say(
                    false,
                    "the trace stops here: something must be answered first",
                );
                return;
            }
        }
    }

    pub(super) fn read_trace(&mut self, path: &Path) {
        if self.is_rehearsing() {
            return self.say(true, METAL_IS_WORK);
        }
        let file = match std::fs::File::open(path) {
            Ok(file) => file,
            Err(error) => {
                return self.say(true, format!("{} cannot be read: {error}", path.display()));
            }
        };
        match crate::rehearsal::trace_file::read(std::io::BufReader::new(file)) {
            Ok(samples) => {
                if self.open.is_none() {
                    return self.say(true, "open the joint that the trace belongs to first");
                }
                let recording = match Recording::new(samples) {
                    Ok(recording) => recording,
                    Err(error) => {
                        if let Some(offset) = error.refused_zero()
                            && self.wants_pull()
                        {
                            self.apply(Input::Zero {
                                taken: false,
                                offset,
                            });
                        }
                        return self.say(true, format!("{}: {error}", path.display()));
                    }
                };
                let (hand, loosens) = self.way_of_pull();
                if let Err(error) = recording.pulls(hand, loosens) {
                    return self.say(true, format!("{}: {error}", path.display()));
                }
                self.bench.hand = Hand::Off;
                let name = path.file_name().map_or_else(
                    || path.display().to_string(),
                    |name| name.to_string_lossy().into_owned(),
                );
                if let Some(words) = recording.zero_words() {
                    self.say(false, words);
                }
                self.readings = Readings::Trace(Play {
                    name,
                    zero: recording.zero(),
                    samples: recording.samples().to_vec(),
                    at: 0,
                    began: self.at(),
                });
            }
            Err(error) => self.say(true, format!("{}: {error}", path.display())),
        }
    }

    /// The hand of the thread, and whether what is to be pulled next loosens.
    fn way_of_pull(&self) -> (Handed, bool) {
        let Some(session) = self.session() else {
            return (Handed::Right, false);
        };
        let procedure = session.procedure();
        let stage = session
            .armed()
            .and_then(|(step, _)| procedure.stage_of(step));
        let loosens = stage.is_some_and(|stage| matches!(stage.kind, StageKind::BackOff { .. }));
        (procedure.terms().hand, loosens)
    }
}
