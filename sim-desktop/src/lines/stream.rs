//! An instrument that prints lines, as whoever works with it sees it: readings with their zero taken, and how it is heard.
//!
//! Both ways of work, at the desk and in a terminal, take their readings from here. Knows nothing of screens and journals.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, TryRecvError};
use std::time::{Duration, Instant as Clock};

use evendraw_core::procedure::Hand;
use evendraw_core::record::Doubt;
use evendraw_core::sample::{Rest, Sample, rest};
use evendraw_core::session::Input;
use evendraw_core::unit::{Angle, Instant, Rotation, Torque};

use super::clock::By;
use super::reader::{News, QUEUE, Reader, Timed};
use super::{Format, Place, Positive};

/// No line for so long: the instrument is silent.
const SILENCE_MICROS: u64 = 500_000;
/// How long lines may be under way before time goes on without them: where each brings its time, where they keep a rate, and where
/// nothing but their coming tells it. A gap under load is found at the latest so much later.
const UNDER_WAY_OWN_MICROS: u64 = 250_000;
const UNDER_WAY_RATE_MICROS: u64 = 150_000;
const UNDER_WAY_MICROS: u64 = 60_000;
/// Over how many lines a rest is looked for, where a quarter of a second has fewer.
const REST_LINES: u64 = 16;
/// A rest is looked for over a quarter of a second.
const REST_MICROS: u64 = 250_000;
/// The end of a rest lies no farther from the whole of it.
const STEADY: Torque = Torque::from_millinewton_meters(300);
/// Lines that a rest is looked for in, at most.
const REST_LINES_MAX: usize = 4_096;

/// A reading, its zero taken off; as the format's sign has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// When, µs since reading began.
    pub at: u64,
    /// Torque.
    pub torque: Torque,
    /// Rotation of the tool, where the instrument measures it.
    pub rotation: Option<Rotation>,
}

/// What happens next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// A reading to be judged.
    Reading(Reading),
    /// Something of the curve is missing, at that time.
    Gap(u64),
    /// The free tool stands too far from zero to be used: so far.
    ZeroRefused(Torque),
    /// Something changed in how it is heard.
    Heard,
    /// Nothing comes any more, ever.
    Ended,
}

/// How the instrument is heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Looked for, and why nothing comes.
    Looking(String),
    /// Open, and no reading came yet.
    Waiting,
    /// It was heard, and its port is gone; why.
    Lost(String),
    /// It was heard, its port is there, and it says nothing: for so many ms.
    Silent(u64),
    /// Heard; the tool must be held free and still until its zero is taken.
    ZeroWanted,
    /// Heard.
    Speaking,
    /// At its end.
    Ended,
}

#[derive(Debug)]
enum Zero {
    Wanted {
        window: VecDeque<(Instant, Sample)>,
        tried: u64,
        refused: bool,
    },
    Taken(Torque),
}

impl Zero {
    const fn wanted() -> Self {
        Self::Wanted {
            window: VecDeque::new(),
            tried: 0,
            refused: false,
        }
    }
}

/// What was counted since reading began.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Readings.
    pub read: u64,
    /// Lines that were none.
    pub bad: u64,
    /// The last of them, and why.
    pub last_bad: Option<String>,
    /// Lines that found no room since nobody took them.
    pub dropped: u64,
}

/// Lines that are read until this is dropped.
#[derive(Debug)]
pub struct Stream {
    tool: String,
    place: Place,
    format: Format,
    news: Receiver<News>,
    stop: Arc<AtomicBool>,
    began: Clock,
    steps: VecDeque<Step>,
    trouble: Option<Heard>,
    columns: Option<(By, bool)>,
    zero: Zero,
    last: Option<Timed>,
    counts: Counts,
    /// Openings so far; a joint's record says anew how readings come after each.
    opening: u32,
    introduced: BTreeMap<u8, u32>,
}

impl Stream {
    /// Reads the lines of a tool. `wake` is called when there is something new, from another thread.
    #[must_use]
    pub fn begin(
        tool: &str,
        place: Place,
        format: Format,
        wake: impl Fn() + Send + 'static,
    ) -> Self {
        let (told, news) = mpsc::sync_channel(QUEUE);
        let stop = Arc::new(AtomicBool::new(false));
        let began = Clock::now();
        let reader = Reader {
            place: place.clone(),
            format: format.clone(),
            told,
            began,
            stop: Arc::clone(&stop),
            wake: Box::new(wake),
            dropped: 0,
        };
        std::thread::spawn(move || reader.run());
        Self {
            tool: tool.to_owned(),
            place,
            format,
            news,
            stop,
            began,
            steps: VecDeque::new(),
            trouble: Some(Heard::Looking("opening".to_owned())),
            columns: None,
            zero: Zero::wanted(),
            last: None,
            counts: Counts::default(),
            opening: 0,
            introduced: BTreeMap::new(),
        }
    }

    /// Id of the tool.
    #[must_use]
    pub fn tool(&self) -> &str {
        &self.tool
    }

    /// Where its lines come from.
    #[must_use]
    pub const fn place(&self) -> &Place {
        &self.place
    }

    /// µs since reading began: the clock of every reading.
    #[must_use]
    pub fn now(&self) -> u64 {
        u64::try_from(self.began.elapsed().as_micros()).unwrap_or(u64::MAX)
    }

    /// What was counted.
    #[must_use]
    pub const fn counts(&self) -> &Counts {
        &self.counts
    }

    /// How it is heard.
    #[must_use]
    pub fn heard(&self) -> Heard {
        if let Some(trouble) = &self.trouble {
            return trouble.clone();
        }
        let Some(last) = &self.last else {
            return Heard::Waiting;
        };
        let silent = self.now().saturating_sub(last.arrived);
        if silent > SILENCE_MICROS {
            return Heard::Silent(silent / 1_000);
        }
        match self.zero {
            Zero::Wanted { .. } => Heard::ZeroWanted,
            Zero::Taken(_) => Heard::Speaking,
        }
    }

    /// The newest reading as long as it is heard; a reading that is not heard is none.
    #[must_use]
    pub fn live(&self) -> Option<Reading> {
        if !matches!(self.heard(), Heard::Speaking | Heard::ZeroWanted) {
            return None;
        }
        self.last.as_ref().map(|line| self.reading(line))
    }

    /// Whether it measures rotation; none until its columns are known.
    #[must_use]
    pub fn has_angle(&self) -> Option<bool> {
        self.columns.map(|(_, has_angle)| has_angle)
    }

    /// The time that readings have come to, µs since reading began: that of the newest line; once none came for longer than a line
    /// may be under way, the present.
    #[must_use]
    pub fn time(&self) -> u64 {
        let now = self.now();
        let Some(last) = self.last.as_ref().filter(|_| self.trouble.is_none()) else {
            return now;
        };
        let under_way = match self.columns {
            // A line that is late still says when it was measured.
            Some((By::Own, _)) => UNDER_WAY_OWN_MICROS,
            Some((By::Rate(_), _)) => UNDER_WAY_RATE_MICROS,
            Some((By::Arrival, _)) | None => UNDER_WAY_MICROS,
        };
        if now.saturating_sub(last.arrived) > under_way {
            now.max(last.stamp.at)
        } else {
            last.stamp.at
        }
    }

    /// Asks for a zero at the next rest.
    pub fn ask_zero(&mut self) {
        self.zero = Zero::wanted();
        self.opening = self.opening.wrapping_add(1);
    }

    /// How it tells time and whether it measures an angle, for the record: at most 48 bytes.
    #[must_use]
    pub fn way(&self) -> Option<String> {
        let (by, has_angle) = self.columns?;
        let time = match by {
            By::Own => "time as the instrument says".to_owned(),
            By::Rate(_) => format!("{} Hz as stated", self.format.rate_hz.unwrap_or_default()),
            By::Arrival => "time of arrival".to_owned(),
        };
        let angle = if has_angle { "" } else { ", no angle" };
        Some(format!("by lines, {time}{angle}"))
    }

    /// What a joint's record must say before the first reading that counts in it since the last opening: how readings come, and the zero
    /// that was taken. Empty when it is said.
    pub fn introduce<'w>(&mut self, joint: u8, way: &'w mut String) -> Vec<Input<'w>> {
        let (Zero::Taken(offset), Some(words)) = (&self.zero, self.way()) else {
            return Vec::new();
        };
        let offset = *offset;
        if self.introduced.insert(joint, self.opening) == Some(self.opening) {
            return Vec::new();
        }
        *way = words;
        vec![
            Input::Note {
                fastener: None,
                doubt: Doubt::None,
                text: way,
            },
            Input::Zero {
                taken: true,
                offset,
            },
        ]
    }

    /// A reading as a session of a thread with this hand takes it.
    #[must_use]
    pub fn input(&self, reading: &Reading, hand: Hand) -> Input<'static> {
        let turns = hand == Hand::Left && self.format.positive != Positive::Tightening;
        let torque = if turns {
            -reading.torque
        } else {
            reading.torque
        };
        match reading.rotation {
            None => Input::TorqueAlone(torque),
            Some(rotation) => {
                let rotation = if turns {
                    Rotation::ZERO + (Angle::ZERO - (rotation - Rotation::ZERO))
                } else {
                    rotation
                };
                Input::Sample(Sample { torque, rotation })
            }
        }
    }

    /// The next step that is here; none where nothing is.
    pub fn next_step(&mut self) -> Option<Step> {
        loop {
            if let Some(step) = self.steps.pop_front() {
                return Some(step);
            }
            match self.news.try_recv() {
                Ok(news) => self.take(news),
                Err(TryRecvError::Empty) => return None,
                Err(TryRecvError::Disconnected) => return self.gone(),
            }
        }
    }

    /// As [`Stream::next`]; waits so long where nothing is here.
    pub fn wait(&mut self, most: Duration) -> Option<Step> {
        if let Some(step) = self.next_step() {
            return Some(step);
        }
        match self.news.recv_timeout(most) {
            Ok(news) => {
                self.take(news);
                self.next_step()
            }
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => self.gone(),
        }
    }

    /// The thread ended: at the end of standard input.
    fn gone(&mut self) -> Option<Step> {
        let is_news = self.trouble != Some(Heard::Ended);
        self.trouble = Some(Heard::Ended);
        is_news.then_some(Step::Ended)
    }

    fn take(&mut self, news: News) {
        match news {
            News::Looking(why) => {
                // What was heard before is lost, and stays so until it is back.
                if !matches!(self.trouble, Some(Heard::Lost(_))) {
                    self.trouble = Some(Heard::Looking(why));
                    self.steps.push_back(Step::Heard);
                }
            }
            News::Open => {
                self.trouble = None;
                self.last = None;
                self.columns = None;
                self.ask_zero();
                self.steps.push_back(Step::Heard);
            }
            News::Lost(why) => {
                self.trouble = Some(Heard::Lost(why));
                self.steps.push_back(Step::Gap(self.now()));
                self.steps.push_back(Step::Heard);
            }
            News::Ended => {
                self.trouble = Some(Heard::Ended);
                self.steps.push_back(Step::Ended);
            }
            News::Columns { by, has_angle } => {
                self.columns = Some((by, has_angle));
                self.steps.push_back(Step::Heard);
            }
            News::Bad(why) => {
                self.counts.bad = self.counts.bad.saturating_add(1);
                self.counts.last_bad = Some(why);
                self.steps.push_back(Step::Heard);
            }
            News::Line(line) => self.take_line(line),
        }
    }

    fn take_line(&mut self, line: Timed) {
        self.counts.read = self.counts.read.saturating_add(1);
        self.counts.dropped = self.counts.dropped.saturating_add(u64::from(line.dropped));
        self.last = Some(line);
        if line.stamp.gap || line.dropped > 0 {
            self.steps.push_back(Step::Gap(line.stamp.at));
        }
        match &mut self.zero {
            Zero::Taken(_) => self.steps.push_back(Step::Reading(self.reading(&line))),
            Zero::Wanted {
                window,
                tried,
                refused,
            } => match looked_for(window, tried, &line) {
                Some(Rest::AtZero) => self.take_zero(Torque::ZERO),
                Some(Rest::Off(offset)) => self.take_zero(offset),
                Some(Rest::Refused(offset)) if !*refused => {
                    *refused = true;
                    self.steps.push_back(Step::ZeroRefused(offset));
                }
                Some(Rest::Refused(_) | Rest::NotSeen | Rest::Loaded(_)) | None => {}
            },
        }
    }

    fn take_zero(&mut self, offset: Torque) {
        self.zero = Zero::Taken(offset);
        self.steps.push_back(Step::Heard);
    }

    fn reading(&self, line: &Timed) -> Reading {
        let zero = match self.zero {
            Zero::Taken(zero) => zero,
            Zero::Wanted { .. } => Torque::ZERO,
        };
        Reading {
            at: line.stamp.at,
            torque: line.torque - zero,
            rotation: line.rotation,
        }
    }
}

impl Drop for Stream {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

/// Looks for a rest in the last quarter of a second, or in the last lines of an instrument that prints fewer.
fn looked_for(
    window: &mut VecDeque<(Instant, Sample)>,
    tried: &mut u64,
    line: &Timed,
) -> Option<Rest> {
    let at = line.stamp.at;
    let sample = Sample {
        torque: line.torque,
        rotation: line.rotation.unwrap_or(Rotation::ZERO),
    };
    window.push_back((Instant::from_micros(at), sample));
    let first = |window: &VecDeque<(Instant, Sample)>, index: usize| {
        window.get(index).map_or(at, |(first, _)| first.micros())
    };
    // The second one is old enough, and there are enough without the first.
    while window.len() > REST_LINES_MAX
        || at.saturating_sub(first(window, 1)) > REST_MICROS
            && u64::try_from(window.len()).unwrap_or(u64::MAX) > REST_LINES.saturating_add(1)
    {
        window.pop_front();
    }
    let span = at.saturating_sub(first(window, 0));
    let count = u64::try_from(window.len()).unwrap_or(u64::MAX);
    if span < REST_MICROS || count <= REST_LINES || at.saturating_sub(*tried) < 20_000 {
        return None;
    }
    *tried = at;
    let from = first(window, 0);
    // A slow instrument's sixteen lines stand for the quarter of a second that a rest is looked for in.
    let stretch = u128::from(span.max(1));
    let samples: Vec<(Instant, Sample)> = window
        .iter()
        .map(|(at, sample)| {
            let since = u128::from(at.micros().saturating_sub(from));
            let scaled = since
                .saturating_mul(u128::from(REST_MICROS.saturating_add(1)))
                .checked_div(stretch)
                .unwrap_or(0);
            (
                Instant::from_micros(u64::try_from(scaled).unwrap_or(u64::MAX)),
                *sample,
            )
        })
        .collect();
    let found = rest(&samples);
    // A rest that is over is no moment to take a zero.
    let late = samples.len() / 4;
    let newest = samples.iter().rev().take(late.max(1));
    let (sum, count) = newest.fold((0_i64, 0_i64), |(sum, count), (_, sample)| {
        let torque = i64::from(sample.torque.millinewton_meters());
        (sum.saturating_add(torque), count.saturating_add(1))
    });
    let mean = Torque::from_wide(sum.checked_div(count).unwrap_or(0));
    match found {
        Rest::Off(offset) if (mean - offset).abs() > STEADY => None,
        Rest::AtZero if mean.abs() > STEADY => None,
        found => Some(found),
    }
}
