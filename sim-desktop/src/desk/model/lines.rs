//! Readings from an instrument that prints lines: judged here, sample by sample, by the session that judges everything else.
//!
//! Its clock is the stream's as long as lines come; where they stop, time goes on and the session tells the gap. Knows nothing of ports.

use evendraw_core::procedure::Hand as Handed;
use evendraw_core::sample::Fault;
use evendraw_core::session::{Input, Next, Session};

use super::super::view::{Cue, Heard, LinkView, LiveView};
use super::start::METAL_IS_WORK;
use super::{Hand, Model, Pull, Readings};
use crate::lines::{self, Place, Step, Stream};
use crate::quantity::newton_meters;
use crate::words;

/// From here on a hand is on the tool, N·m: what counts is introduced in the record first.
const LOAD_NM: f64 = 0.5;

/// The lines of an instrument, and where its clock stands on the desk's.
#[derive(Debug)]
pub(super) struct Lines {
    stream: Stream,
    /// The desk's clock when reading began, µs.
    base: u64,
    /// The step that it was told it cannot measure.
    refused: Option<u16>,
    /// How it was heard when that was shown last.
    shown: Option<LinkView>,
}

impl Model {
    /// Reads the lines of a tool of the plan from here on.
    pub(super) fn read_lines(&mut self, tool: &str, place: &str) {
        let format = self.job.as_ref().and_then(|job| {
            let tools = job.plan().tools();
            let own = tools.iter().find(|own| own.id == tool)?;
            own.lines.clone()
        });
        let Some(format) = format else {
            return self.say(
                true,
                format!("the plan has no tool {tool} that sends lines"),
            );
        };
        if place.is_empty() || place == "-" {
            return self.say(true, "at which port, or HOST:PORT?");
        }
        if self.is_rehearsing() {
            return self.say(true, METAL_IS_WORK);
        }
        self.bench.hand = Hand::Off;
        self.pull = Pull::default();
        let wake = self.wake.clone();
        let stream = Stream::begin(tool, Place::named(place), format, move || wake.call());
        self.readings = Readings::Lines(Box::new(Lines {
            stream,
            base: self.micros,
            refused: None,
            shown: None,
        }));
        self.dirty = true;
    }

    /// Takes in every line that came since, and lets time go on.
    pub(super) fn hear_lines(&mut self) {
        while let Readings::Lines(own) = &mut self.readings
            && let Some(step) = own.stream.next_step()
        {
            let base = own.base;
            match step {
                Step::Reading(reading) => self.take_reading(&reading),
                Step::Gap(at) => {
                    self.micros = self.micros.max(base.saturating_add(at));
                    if self.session().is_some_and(Session::is_in_pull) {
                        self.apply(Input::Faulty(Fault::Gap));
                    }
                }
                Step::ZeroRefused(offset) => {
                    let taken = false;
                    if self.wants_pull() && !self.session().is_some_and(Session::is_in_pull) {
                        self.apply(Input::Zero { taken, offset });
                    }
                    self.say(true, zero_refused(offset));
                }
                Step::Heard | Step::Ended => self.dirty = true,
            }
        }
        let Readings::Lines(own) = &self.readings else {
            return;
        };
        let time = own.base.saturating_add(own.stream.time());
        self.micros = self.micros.max(time);
        let is_due = self
            .session()
            .and_then(Session::deadline)
            .is_some_and(|due| due.micros() <= self.micros);
        if is_due {
            self.apply(Input::Tick);
        }
        self.name_lines_tool();
        let link = self.lines_link();
        if let Readings::Lines(own) = &mut self.readings
            && own.shown != link
        {
            own.shown = link;
            self.dirty = true;
        }
    }

    fn take_reading(&mut self, reading: &lines::Reading) {
        let Readings::Lines(own) = &self.readings else {
            return;
        };
        self.micros = self.micros.max(own.base.saturating_add(reading.at));
        let input = own.stream.input(reading, self.thread_hand());
        let in_pull = self.session().is_some_and(Session::is_in_pull);
        if !in_pull {
            if !self.wants_pull() {
                // The end of a pull that is judged already, or nothing is asked for.
                return;
            }
            let is_load = newton_meters(reading.torque).abs() >= LOAD_NM;
            if reading.rotation.is_none() && self.session().is_some_and(Session::needs_rotation) {
                if is_load {
                    self.refuse_step();
                }
                return;
            }
            if is_load && !self.introduce_lines() {
                return;
            }
        }
        self.feed(input);
    }

    /// Says once for each step that it wants an angle.
    fn refuse_step(&mut self) {
        let step = self
            .session()
            .and_then(Session::armed)
            .map(|(step, _)| step);
        let Readings::Lines(own) = &mut self.readings else {
            return;
        };
        if own.refused != step {
            own.refused = step;
            self.say(
                true,
                words::refusal(evendraw_core::session::Refusal::NoRotation),
            );
        }
    }

    /// Before the first load that counts: the tool, how readings come, and their zero become records of the joint. False where
    /// the tool may not be used.
    fn introduce_lines(&mut self) -> bool {
        let (Readings::Lines(own), Some(joint)) = (&mut self.readings, self.open) else {
            return false;
        };
        let tool = own.stream.tool().to_owned();
        let mut way = String::new();
        let inputs = own.stream.introduce(joint, &mut way);
        if self.job.as_ref().and_then(|job| job.tool()) != Some(tool.as_str()) {
            self.apply(Input::Tool {
                id: &tool,
                waiver: "",
            });
        }
        for input in inputs {
            self.apply(input);
        }
        self.wants_pull()
    }

    /// Whoever connects a tool has named it.
    fn name_lines_tool(&mut self) {
        if let Readings::Lines(own) = &self.readings
            && self.next() == Some(Next::Tool)
        {
            let id = own.stream.tool().to_owned();
            self.apply(Input::Tool {
                id: &id,
                waiver: "",
            });
        }
    }

    fn thread_hand(&self) -> Handed {
        self.session()
            .map_or(Handed::Right, |session| session.procedure().terms().hand)
    }

    /// Asks for a zero at the next rest.
    pub(super) fn zero_lines(&mut self) {
        if self.session().is_some_and(Session::is_in_pull) {
            return self.say(true, "a pull is in progress: finish it first");
        }
        if let Readings::Lines(own) = &mut self.readings {
            own.stream.ask_zero();
            self.dirty = true;
        }
    }

    /// What the title block calls it.
    pub(super) fn lines_name(own: &Lines) -> String {
        format!("{} at {}", own.stream.tool(), own.stream.place())
    }

    /// Ids of the plan's tools that send lines.
    pub(super) fn instruments(&self) -> Vec<String> {
        let tools = self.job.iter().flat_map(|job| job.plan().tools());
        tools
            .filter(|tool| tool.lines.is_some())
            .map(|tool| tool.id.clone())
            .collect()
    }

    /// How the instrument is heard.
    pub(super) fn lines_link(&self) -> Option<LinkView> {
        let Readings::Lines(own) = &self.readings else {
            return None;
        };
        let stream = &own.stream;
        let (heard, why) = match stream.heard() {
            lines::Heard::Looking(why) => (Heard::Searching, why),
            lines::Heard::Waiting => {
                let counts = stream.counts();
                let why = match &counts.last_bad {
                    Some(bad) => format!("no reading yet; {bad}"),
                    None => "no line yet".to_owned(),
                };
                (Heard::Searching, why)
            }
            lines::Heard::Lost(why) => (Heard::Lost, why),
            lines::Heard::Silent(millis) => (
                Heard::Lost,
                format!("silent for {} s", millis.div_ceil(1_000)),
            ),
            lines::Heard::Ended => (Heard::Lost, "it is at its end".to_owned()),
            lines::Heard::ZeroWanted | lines::Heard::Speaking => (Heard::Connected, String::new()),
        };
        let mut who = stream.tool().to_owned();
        if let Some(way) = stream.way() {
            who = format!("{who}, {way}");
        }
        let counts = stream.counts();
        if counts.bad > 0 {
            let last = counts.last_bad.as_deref().unwrap_or_default();
            who = format!("{who}; {} bad lines, the last: {last}", counts.bad);
        }
        if counts.dropped > 0 {
            who = format!("{who}; {} lines came too fast to be judged", counts.dropped);
        }
        Some(LinkView {
            heard,
            port: stream.place().to_string(),
            who,
            serial: stream.tool().to_owned(),
            why,
            prints_lines: true,
        })
    }

    /// What the live view shows of an instrument: its reading where it is heard, and a word where it is not.
    pub(super) fn show_lines(&self, view: &mut LiveView, in_pull: bool) {
        let Readings::Lines(own) = &self.readings else {
            return;
        };
        let heard = own.stream.heard();
        let word = match &heard {
            lines::Heard::Speaking | lines::Heard::ZeroWanted => None,
            lines::Heard::Looking(_) | lines::Heard::Waiting => {
                Some(("not heard", "Not heard yet: F11"))
            }
            lines::Heard::Silent(_) => Some(("silent", "The instrument is silent")),
            lines::Heard::Lost(_) => Some(("lost", "The instrument is lost: F11")),
            lines::Heard::Ended => Some(("ended", "The lines are at their end: F11")),
        };
        if let Some((missing, words)) = word {
            for gauge in &mut view.gauges {
                gauge.value = None;
                missing.clone_into(&mut gauge.missing);
            }
            if view.cue != Cue::Halt && view.cue != Cue::Storing {
                view.cue = Cue::Wait;
                words.clone_into(&mut view.cue_words);
            }
            return;
        }
        if own.stream.has_angle() == Some(false) {
            for gauge in view
                .gauges
                .iter_mut()
                .filter(|gauge| gauge.quantity == "Angle")
            {
                gauge.value = None;
                "not measured".clone_into(&mut gauge.missing);
            }
        }
        if in_pull {
            return;
        }
        if let Some(reading) = own.stream.live() {
            let torque = match own.stream.input(&reading, self.thread_hand()) {
                Input::TorqueAlone(torque) => torque,
                Input::Sample(sample) => sample.torque,
                _ => reading.torque,
            };
            let torque = newton_meters(torque);
            for gauge in view
                .gauges
                .iter_mut()
                .filter(|gauge| gauge.quantity == "Torque")
            {
                gauge.value = Some(torque);
            }
        }
        let blind = own.stream.has_angle() == Some(false)
            && self.session().is_some_and(Session::needs_rotation);
        if view.cue == Cue::Ready && blind {
            view.cue = Cue::Wait;
            view.cue_words = format!(
                "This stage wants the angle, and {} measures none",
                own.stream.tool()
            );
        } else if view.cue == Cue::Ready && heard == lines::Heard::ZeroWanted {
            view.cue = Cue::Wait;
            "Hold the tool free and still".clone_into(&mut view.cue_words);
        }
    }
}

/// What a zero that is refused is told.
fn zero_refused(offset: evendraw_core::unit::Torque) -> String {
    format!(
        "at rest it stands at {}; allowed: within {} of zero. Take it off the fastener and hold it still; else its zero is wrong",
        words::torque(offset),
        words::torque(evendraw_core::sample::BAND),
    )
}
