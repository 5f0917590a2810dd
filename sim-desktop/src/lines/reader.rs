//! The thread that reads a place: opened, read line by line, lost, opened again.
//!
//! Whoever listens never waits for it, and it never waits for whoever listens: the queue between them is bounded, and what finds no
//! room in it is counted. Knows nothing of sessions.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{SyncSender, TrySendError};
use std::time::{Duration, Instant as Clock};

use super::clock::{By, LineClock, Stamp};
use super::place::{Place, Source, trouble};
use super::splitter::{Broken, LINE_BYTES_MAX, Splitter};
use super::{Format, LineParser, Positive};
use crate::rehearsal::trace_file;
use evendraw_core::unit::{Rotation, Torque};

/// Lines that may wait: eight seconds of 1,000 a second.
pub(super) const QUEUE: usize = 8_192;
/// How long to wait before the place is opened again.
const RETRY: Duration = Duration::from_millis(500);
/// While a hand is on the tool, whoever draws is woken no oftener than this.
const WAKE_LOADED: Duration = Duration::from_millis(12);
/// At rest that is enough.
const WAKE_RESTING: Duration = Duration::from_millis(100);
/// A reading from here on is worth a look at once, in N·m.
const LOAD_NM: f64 = 0.5;

/// A reading with its time; positive clockwise, or tightening where the format says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Timed {
    pub(super) stamp: Stamp,
    /// When it came, µs since reading began.
    pub(super) arrived: u64,
    pub(super) torque: Torque,
    pub(super) rotation: Option<Rotation>,
    /// Lines before it for which there was no room.
    pub(super) dropped: u32,
}

/// What came of reading.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum News {
    /// It cannot be opened, and why.
    Looking(String),
    /// It is open; nothing came yet.
    Open,
    /// The columns are known: how time is told, and whether there is a rotation.
    Columns { by: By, has_angle: bool },
    /// A reading.
    Line(Timed),
    /// A line that is none, and why; at that time.
    Bad(String),
    /// It is gone, and why.
    Lost(String),
    /// It is at its end, for good.
    Ended,
}

/// Nobody listens any more.
struct Over;

pub(super) struct Reader {
    pub(super) place: Place,
    pub(super) format: Format,
    pub(super) told: SyncSender<News>,
    pub(super) began: Clock,
    pub(super) stop: Arc<AtomicBool>,
    pub(super) wake: Box<dyn Fn() + Send>,
    pub(super) dropped: u32,
}

/// What is known of one opening.
struct Opening {
    parser: LineParser,
    clock: Option<LineClock>,
    /// Nothing was read yet: the first line may have begun before.
    fresh: bool,
    missed: u32,
    woken: Clock,
    is_told: bool,
}

impl Reader {
    pub(super) fn run(mut self) {
        // It ends where nobody listens any more.
        let _: Result<(), Over> = self.keep_up();
    }

    fn keep_up(&mut self) -> Result<(), Over> {
        let mut said = String::new();
        loop {
            match self.place.open(self.format.baud) {
                Ok(source) => {
                    said.clear();
                    self.tell(News::Open)?;
                    let error = self.read(source)?;
                    if !self.place.can_come_back() {
                        return self.tell(News::Ended);
                    }
                    self.tell(News::Lost(trouble(&error)))?;
                }
                Err(error) => {
                    let why = trouble(&error);
                    if why != said {
                        said.clone_from(&why);
                        self.tell(News::Looking(why))?;
                    }
                }
            }
            let lost = Clock::now();
            while lost.elapsed() < RETRY {
                self.go_on()?;
                std::thread::sleep(Duration::from_millis(20));
            }
        }
    }

    fn go_on(&self) -> Result<(), Over> {
        if self.stop.load(Ordering::Relaxed) {
            return Err(Over);
        }
        Ok(())
    }

    /// Tells what must not be lost.
    fn tell(&mut self, news: News) -> Result<(), Over> {
        self.told.send(news).map_err(|_over| Over)?;
        (self.wake)();
        Ok(())
    }

    /// Reads until it ends or fails.
    fn read(&mut self, mut source: Source) -> Result<io::Error, Over> {
        let mut splitter = Splitter::default();
        let mut opening = Opening {
            parser: LineParser::new(self.format.clone()),
            clock: None,
            fresh: self.place.begins_anywhere(),
            missed: 0,
            woken: Clock::now(),
            is_told: true,
        };
        let mut bytes = [0; 4_096];
        loop {
            self.go_on()?;
            let count = match source.receive(&mut bytes) {
                Ok(count) => count,
                Err(error) => {
                    splitter.forget();
                    return Ok(error);
                }
            };
            let arrived = u64::try_from(self.began.elapsed().as_micros()).unwrap_or(u64::MAX);
            let (mut over, mut loaded) = (false, false);
            splitter.push(bytes.get(..count).unwrap_or_default(), |line| {
                match self.take(&mut opening, arrived, line) {
                    Ok(load) => loaded |= load,
                    Err(Over) => over = true,
                }
            });
            if over {
                return Err(Over);
            }
            let pause = if loaded { WAKE_LOADED } else { WAKE_RESTING };
            if !opening.is_told && (count == 0 || opening.woken.elapsed() >= pause) {
                (self.wake)();
                opening.woken = Clock::now();
                opening.is_told = true;
            }
        }
    }

    /// Takes one line; true when it is a load.
    fn take(
        &mut self,
        opening: &mut Opening,
        arrived: u64,
        line: Result<&str, Broken>,
    ) -> Result<bool, Over> {
        let fresh = std::mem::take(&mut opening.fresh);
        let read = match line {
            Ok(text) => opening.parser.line(text).map_err(|error| error.to_string()),
            Err(Broken::Long) => Err(format!("a line of more than {LINE_BYTES_MAX} bytes")),
            Err(Broken::NoText) => Err("bytes that are no text".to_owned()),
        };
        let news = match read {
            // Half of a line may read as well as the whole one.
            _ if fresh && !matches!(read, Ok(None)) => return Ok(false),
            Ok(None) => return Ok(false),
            Err(why) => {
                opening.missed = opening.missed.saturating_add(1);
                News::Bad(why)
            }
            Ok(Some(row)) => {
                let sign = match self.format.positive {
                    Positive::CounterClockwise => -1.0,
                    Positive::Clockwise | Positive::Tightening => 1.0,
                };
                if opening.clock.is_none() {
                    let by = By::of(&self.format, row.time_s.is_some());
                    opening.clock = Some(LineClock::new(by));
                    let has_angle = row.angle_deg.is_some();
                    self.tell(News::Columns { by, has_angle })?;
                }
                let Some(clock) = &mut opening.clock else {
                    return Ok(false);
                };
                let missed = std::mem::take(&mut opening.missed).saturating_add(self.dropped);
                let sample =
                    trace_file::sample(row.torque_nm * sign, row.angle_deg.unwrap_or(0.0) * sign);
                News::Line(Timed {
                    stamp: clock.stamp(arrived, row.time_s, missed),
                    arrived,
                    torque: sample.torque,
                    rotation: row.angle_deg.map(|_| sample.rotation),
                    dropped: self.dropped,
                })
            }
        };
        let load = match &news {
            News::Line(line) => {
                f64::from(line.torque.millinewton_meters()).abs() >= LOAD_NM * 1_000.0
            }
            _ => false,
        };
        opening.is_told = false;
        if self.place.can_wait() {
            self.told.send(news).map_err(|_over| Over)?;
            return Ok(load);
        }
        match self.told.try_send(news) {
            Ok(()) => self.dropped = 0,
            Err(TrySendError::Full(_)) => self.dropped = self.dropped.saturating_add(1),
            Err(TrySendError::Disconnected(_)) => return Err(Over),
        }
        Ok(load)
    }
}
