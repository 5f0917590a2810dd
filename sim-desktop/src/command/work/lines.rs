//! `evendraw work --lines`: an instrument that prints its samples works the joint, live.
//!
//! Knows nothing of what is asked of a person.

use std::io::{IsTerminal as _, Write as _};
use std::time::{Duration, Instant as Clock};

use evendraw_core::procedure::Hand;
use evendraw_core::sample::{BAND, Fault};
use evendraw_core::session::{Input, Next, Refusal, Session};
use evendraw_core::tracker::Cue;
use evendraw_core::unit::Instant;
use evendraw_core::verdict::Reason;
use serde_json::json;

use super::ask::Asked;
use super::{Args, CommandError, Done, Output, PAUSE, Work};
use crate::lines::{Heard, Place, Reading, Step, Stream};
use crate::plan::{Plan, Tool};
use crate::words;

/// From here on a hand is on the tool, mN·m: what counts is introduced in the record first.
const LOAD: i32 = 500;
/// Steps taken in one go before the terminal is looked at again.
const STEPS_MAX: usize = 2_000;

/// Runs the command.
pub(super) fn run(
    args: &Args,
    place: &str,
    plan: Plan,
    out: &mut Output<'_>,
) -> Result<Done, CommandError> {
    let place = Place::named(place);
    let tool = tool(&plan, args.tool.as_deref())?.clone();
    let work = Work::open(args, plan, place != Place::Input, out)?;
    let format = tool.lines.clone().unwrap_or_default();
    let base = work.now().micros();
    let stream = Stream::begin(&tool.id, place, format, || {});
    let mut own = Lines {
        work,
        stream,
        base,
        cue: (Cue::None, None),
        heard: None,
        bad: 0,
        shown: Clock::now(),
        terminal: std::io::stderr().is_terminal(),
    };
    own.keep_on()?;
    own.work.close()
}

/// The tool that sends the lines.
fn tool<'p>(plan: &'p Plan, id: Option<&str>) -> Result<&'p Tool, CommandError> {
    let all: Vec<&Tool> = plan
        .tools()
        .iter()
        .filter(|tool| tool.lines.is_some())
        .collect();
    let ids: Vec<&str> = all.iter().map(|tool| tool.id.as_str()).collect();
    match (id, all.as_slice()) {
        (_, []) => Err(CommandError::bad(
            "the plan has no tool of kind = \"stream\": list the instrument that prints the lines as one, with id and capacity",
        )),
        (Some(id), all) => all
            .iter()
            .find(|tool| tool.id == id)
            .copied()
            .ok_or_else(|| {
                CommandError::bad(format!(
                    "--tool {id}: no tool of the plan that sends lines; those are: {}",
                    ids.join(", ")
                ))
            }),
        (None, [only]) => Ok(only),
        (None, _) => Err(CommandError::bad(format!(
            "--tool is needed; tools that send lines: {}",
            ids.join(", ")
        ))),
    }
}

struct Lines<'o, 'w> {
    work: Work<'o, 'w>,
    stream: Stream,
    /// The run's clock when reading began, µs.
    base: u64,
    /// What the hand was told last.
    cue: (Cue, Option<Reason>),
    heard: Option<String>,
    bad: u64,
    shown: Clock,
    terminal: bool,
}

impl Lines<'_, '_> {
    /// Works until the joint is done, or nothing goes on.
    fn keep_on(&mut self) -> Result<(), CommandError> {
        loop {
            if let Some(why) = self.settle()? {
                self.work.out.remark(why);
                return Ok(());
            }
            if self.work.next() == Next::Nothing && !self.work.is_in_pull() {
                return Ok(());
            }
            let mut step = self.stream.wait(PAUSE);
            let mut left = STEPS_MAX;
            while let Some(own) = step {
                if !self.take(own)? {
                    return Ok(());
                }
                left = left.saturating_sub(1);
                step = if left == 0 || self.work.is_new {
                    None
                } else {
                    self.stream.next_step()
                };
            }
            self.pass()?;
            self.say_heard()?;
            self.show();
        }
    }

    /// Looks at what is next, where something happened or an answer may have come. The reason where nothing goes on.
    fn settle(&mut self) -> Result<Option<String>, CommandError> {
        let is_new = std::mem::take(&mut self.work.is_new);
        if !is_new && !self.work.is_asking() {
            return Ok(None);
        }
        let at = self.now();
        if self.work.next() == Next::Tool {
            let id = self.stream.tool().to_owned();
            let waiver = "";
            self.work.apply(at, Input::Tool { id: &id, waiver })?;
        }
        match self.work.ask(at)? {
            Asked::Stop(why) => Ok(Some(why)),
            Asked::Open => Ok(None),
            Asked::Nothing => {
                if self.work.next() == Next::Tool {
                    self.work.is_new = true;
                    return Ok(None);
                }
                self.work.say_next()?;
                Ok(self.cannot_measure())
            }
        }
    }

    /// What is next wants a rotation, and the instrument measures none.
    fn cannot_measure(&self) -> Option<String> {
        let session = self.work.session()?;
        let refuses = self.stream.has_angle() == Some(false) && session.needs_rotation();
        refuses.then(|| {
            format!(
                "{}: {}",
                self.stream.tool(),
                words::refusal(Refusal::NoRotation)
            )
        })
    }

    /// The clock of the readings.
    fn now(&self) -> Instant {
        Instant::from_micros(self.base.saturating_add(self.stream.time()))
    }

    /// Takes a step; false at the end.
    fn take(&mut self, step: Step) -> Result<bool, CommandError> {
        match step {
            Step::Reading(reading) => self.take_reading(&reading)?,
            Step::Gap(at) => {
                if self.work.is_in_pull() {
                    let at = Instant::from_micros(self.base.saturating_add(at));
                    let done = self.work.apply(at, Input::Faulty(Fault::Gap))?;
                    self.tell_cue(done.cue, done.halt)?;
                }
            }
            Step::ZeroRefused(offset) => {
                let (at, taken) = (self.now(), false);
                if !self.work.is_in_pull() && matches!(self.work.next(), Next::Pull { .. }) {
                    self.work.apply(at, Input::Zero { taken, offset })?;
                }
                self.work.out.remark(format_args!(
                    "at rest it stands at {}; allowed: within {} of zero. Take it off the fastener and hold it still; else its zero is wrong",
                    words::torque(offset),
                    words::torque(BAND),
                ));
            }
            Step::Heard => self.work.is_new = true,
            Step::Ended => {
                self.end()?;
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// The lines are at their end: what is let go of is judged, what is loaded was lost.
    fn end(&mut self) -> Result<(), CommandError> {
        if !self.work.is_in_pull() {
            return Ok(());
        }
        let loaded = self
            .work
            .session()
            .is_some_and(|session| session.live().loaded);
        let input = if loaded {
            Input::MeasurementLost
        } else {
            Input::Finish
        };
        let at = self.now();
        self.work.apply(at, input)?;
        Ok(())
    }

    fn take_reading(&mut self, reading: &Reading) -> Result<(), CommandError> {
        let at = Instant::from_micros(self.base.saturating_add(reading.at));
        let in_pull = self.work.is_in_pull();
        if !in_pull {
            if !matches!(self.work.next(), Next::Pull { .. }) {
                return Ok(());
            }
            let is_load = reading.torque.millinewton_meters().abs() >= LOAD;
            if is_load {
                self.introduce(at)?;
            }
            if self.cannot_measure().is_some() {
                return Ok(());
            }
        }
        let hand = self
            .work
            .session()
            .map_or(Hand::Right, |session| session.procedure().terms().hand);
        let input = self.stream.input(reading, hand);
        let done = self.work.apply(at, input)?;
        self.tell_cue(done.cue, done.halt)
    }

    /// Before the first load that counts: the tool, how readings come, and their zero become records of the joint.
    fn introduce(&mut self, at: Instant) -> Result<(), CommandError> {
        let tool = self.stream.tool().to_owned();
        if self.work.job.tool() != Some(tool.as_str()) {
            let waiver = "";
            self.work.apply(at, Input::Tool { id: &tool, waiver })?;
        }
        let mut way = String::new();
        for input in self.stream.introduce(self.work.joint, &mut way) {
            self.work.apply(at, input)?;
        }
        Ok(())
    }

    /// Lets time pass where no line brings it.
    fn pass(&mut self) -> Result<(), CommandError> {
        let now = self.now();
        let due = self.work.session().and_then(Session::deadline);
        if due.is_some_and(|due| due <= now) || self.work.next() == Next::Store {
            let done = self.work.apply(now, Input::Tick)?;
            self.tell_cue(done.cue, done.halt)?;
        }
        Ok(())
    }

    /// What the hand is told: each word once in a pull, and the graver one when it comes; let go of, it is told anew.
    fn tell_cue(&mut self, cue: Cue, halt: Option<Reason>) -> Result<(), CommandError> {
        let rank = |cue: Cue| match cue {
            Cue::None => 0,
            Cue::Approach => 1,
            Cue::Target => 2,
            Cue::Over => 3,
        };
        let session = self.work.session();
        let is_loaded =
            session.is_some_and(|session| session.is_in_pull() && session.live().loaded);
        if !is_loaded && halt.is_none() {
            self.cue = (Cue::None, None);
        }
        let (told, stopped) = self.cue;
        if halt == stopped && rank(cue) <= rank(told) {
            return Ok(());
        }
        self.cue = (cue, halt);
        let (word, said) = match (halt, cue) {
            (Some(reason), _) => ("halt", format!("STOP: {}", words::reason(reason))),
            (None, Cue::None) => return Ok(()),
            (None, Cue::Approach) => ("approach", "Ease off".to_owned()),
            (None, Cue::Target) => ("target", "Let go".to_owned()),
            (None, Cue::Over) => ("over", "Too far, let go".to_owned()),
        };
        let out = &mut self.work.out;
        if self.terminal {
            // A bell for whoever looks at the tool.
            let _ = write!(std::io::stderr(), "\r\x1b[K\x07");
        }
        out.line(format_args!("  {said}"))?;
        out.object(&json!({
            "record": "cue", "joint": self.work.own.id(), "cue": word, "reason": halt.map(Reason::word),
        }))?;
        out.flush()
    }

    /// Says how the instrument is heard, when that changes.
    fn say_heard(&mut self) -> Result<(), CommandError> {
        let (word, said) = match self.stream.heard() {
            Heard::Looking(why) => ("looking", format!("listening for it: {why}")),
            Heard::Waiting => ("waiting", "it is open; no reading yet".to_owned()),
            Heard::Lost(why) => (
                "lost",
                format!("lost: {why}. What is pulled meanwhile is not seen"),
            ),
            Heard::Silent(_) => (
                "silent",
                "silent. What is pulled meanwhile is not seen".to_owned(),
            ),
            Heard::ZeroWanted => (
                "zero",
                "hold the tool free and still: its zero is taken".to_owned(),
            ),
            Heard::Speaking => ("heard", self.stream.way().unwrap_or_default()),
            Heard::Ended => return Ok(()),
        };
        if self.heard.as_deref() != Some(&said) {
            self.heard = Some(said.clone());
            let (tool, place) = (
                self.stream.tool().to_owned(),
                self.stream.place().to_string(),
            );
            self.work
                .out
                .line(format_args!("{tool} at {place}: {said}"))?;
            self.work.out.object(&json!({
                "record": "instrument", "tool": tool, "place": place, "state": word, "words": said,
            }))?;
            self.work.out.flush()?;
        }
        let counts = self.stream.counts();
        if counts.bad > self.bad {
            // The first one at once, then each time there are twice as many: a broken line must not drown what matters.
            let is_worth = self.bad == 0 || counts.bad >= self.bad.saturating_mul(2);
            if is_worth {
                self.bad = counts.bad;
                let last = counts.last_bad.clone().unwrap_or_default();
                self.work.out.remark(format_args!(
                    "{} bad lines so far, the last: {last}",
                    self.bad
                ));
            }
        }
        Ok(())
    }

    /// The live reading, where somebody looks at a terminal.
    fn show(&mut self) {
        if !self.terminal
            || self.work.out.is_json()
            || self.shown.elapsed() < Duration::from_millis(50)
        {
            return;
        }
        self.shown = Clock::now();
        let torque = self
            .stream
            .live()
            .map(|reading| words::torque(reading.torque));
        let live = self.work.session().map(Session::live).unwrap_or_default();
        let angle = match live.angle {
            Some(angle) if self.work.is_in_pull() => format!("  {}", words::angle(angle)),
            _ => String::new(),
        };
        // A reading that is not heard is not a reading of nothing.
        let torque = torque.unwrap_or_else(|| "no reading".to_owned());
        let _ = write!(std::io::stderr(), "\r\x1b[K  {torque}{angle} ");
        let _ = std::io::stderr().flush();
    }
}
