//! Readings and keys fed over a line instead of from sensors, for boards that have none: an emulator, or the first hour with a new
//! board.
//!
//! Fed bytes: `A5`, time since the reading before in µs (u16), load cell (i24), gyro (i16), all little-endian, for a reading;
//! `A6` and a number (u16) for the same reading that often again;
//! `B1` and `B2` for the keys yes and no; `B3` is answered by `03` and the bytes of stack ever used (u32); `B4` lets the supply fall and
//! `B5` brings it back; `B7` starts the watchdog, and after `B6` no reading is given any more, as if the sensors had died. A page goes out as `02`, a
//! letter for the cue and 80 characters, whenever one of them changes. The clock is the readings' own, so that a run depends on
//! what was fed and not on the speed of the host. Knows nothing of what the line is.

use core::cell::RefCell;
use core::fmt;

use evendraw_core::sample::{Calibration, Counts, Numbers};
use evendraw_core::unit::{Instant, Span, Torque};

use crate::adapter::{Clock, Key, Keys, Plate, Port};
use crate::bridge::COUNT_MAX;
use crate::cue::{Cue, Signal};
use crate::display::{Display, Page};
use crate::gyro::RATE_SCALE;
use crate::readings::Readings;

/// What stands on an adapter whose readings are fed.
#[must_use]
pub const fn plate(serial: &'static str) -> Plate {
    const CALIBRATION: Calibration = match Calibration::new(Numbers {
        zero: 0,
        // 0.04 mN·m a count.
        scale: 2_621,
        count_max: COUNT_MAX,
        rate_scale: RATE_SCALE,
        capacity: Torque::from_millinewton_meters(200_000),
        band: Torque::from_millinewton_meters(2_000),
        drift: Torque::from_millinewton_meters(1_000),
        // What is fed from outside comes when it comes, and without a sensor's ripple.
        gap: Span::ZERO,
        same_max: 0,
    }) {
        Ok(calibration) => calibration,
        Err(_) => panic!("numbers that are no calibration"),
    };
    Plate {
        serial,
        firmware: concat!("evendraw ", env!("CARGO_PKG_VERSION")),
        calibration: CALIBRATION,
        clock: Clock::Crystal,
    }
}

/// The line, as every part sees it.
pub struct Feed<P> {
    port: P,
    /// Bytes of stack ever used, as the board tells them.
    stack_used: fn() -> u32,
    /// Whether pages are sent back.
    pages: bool,
    packet: heapless::Vec<u8, 8>,
    now: Instant,
    /// The reading before, the time it took, and how often it is to come again.
    last: (Span, Counts),
    left: u16,
    /// A reading was given in this turn: the next comes in the next turn, as on a board whose loop is faster than its sensors.
    given: bool,
    key: Option<Key>,
    /// The supply has fallen.
    low: bool,
    /// The sensors have died.
    dead: bool,
    /// The watchdog is asked for: it runs on the host's time, which a test of anything else has no use for.
    watched: bool,
    cue: Signal,
    shown: Page,
    cue_shown: Signal,
}

impl<P> fmt::Debug for Feed<P> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Feed")
            .field("now", &self.now)
            .finish_non_exhaustive()
    }
}

/// The line as one part of an adapter: its readings, keys, display and cues are all the same.
#[derive(Debug)]
pub struct Fed<'f, P>(pub &'f RefCell<Feed<P>>);

const READING: u8 = 0xa5;
const AGAIN: u8 = 0xa6;

impl<P: Port> Readings for Fed<'_, P> {
    fn next(&mut self) -> Option<Counts> {
        let feed = &mut *self.0.borrow_mut();
        if feed.dead {
            return None;
        }
        if feed.given {
            feed.given = false;
            return None;
        }
        if feed.left > 0 {
            feed.left -= 1;
            return Some(feed.reading());
        }
        while feed.port.read_ready().unwrap_or(false) {
            let mut byte = [0];
            if feed.port.read(&mut byte).is_err() {
                break;
            }
            match (feed.packet.is_empty(), byte[0]) {
                (true, 0xb1) => feed.key = Some(Key::Yes),
                (true, 0xb2) => feed.key = Some(Key::No),
                (true, 0xb4) => feed.low = true,
                (true, 0xb5) => feed.low = false,
                (true, 0xb6) => feed.dead = true,
                (true, 0xb7) => feed.watched = true,
                (true, 0xb3) => {
                    let [a, b, c, d] = (feed.stack_used)().to_le_bytes();
                    // A host that is gone misses it.
                    let _ = feed.port.write_all(&[3, a, b, c, d]);
                }
                (true, byte) if byte != READING && byte != AGAIN => {}
                (_, byte) => {
                    let _ = feed.packet.push(byte);
                }
            }
            match *feed.packet.as_slice() {
                [READING, t0, t1, b0, b1, b2, r0, r1] => {
                    feed.packet.clear();
                    let passed = u64::from(u16::from_le_bytes([t0, t1]));
                    let raw = Counts {
                        at: feed.now,
                        bridge: i32::from_le_bytes([0, b0, b1, b2]) >> 8,
                        rate: i16::from_le_bytes([r0, r1]),
                    };
                    feed.last = (Span::from_micros(passed), raw);
                    return Some(feed.reading());
                }
                [AGAIN, low, high] => {
                    feed.packet.clear();
                    feed.left = u16::from_le_bytes([low, high]).saturating_sub(1);
                    return Some(feed.reading());
                }
                _ => {}
            }
            // A key waits for the loop to see it.
            if feed.key.is_some() {
                break;
            }
        }
        None
    }

    fn now(&mut self) -> Instant {
        self.0.borrow().now
    }
}

impl<P: Port> Keys for Fed<'_, P> {
    fn pressed(&mut self, _: Instant) -> Option<Key> {
        self.0.borrow_mut().key.take()
    }
}

impl<P: Port> Cue for Fed<'_, P> {
    fn tell(&mut self, signal: Signal, _: u32) {
        let feed = &mut *self.0.borrow_mut();
        feed.cue = signal;
        feed.send();
    }
}

impl<P: Port> Display for Fed<'_, P> {
    fn show(&mut self, page: &Page) {
        let feed = &mut *self.0.borrow_mut();
        if feed.shown != *page {
            feed.shown = page.clone();
            feed.cue_shown = Signal::Quiet;
            feed.print();
        }
    }
}

impl<P: Port> Feed<P> {
    /// Whether the supply has fallen.
    #[must_use]
    pub const fn is_low(&self) -> bool {
        self.low
    }

    /// Whether the watchdog is asked for.
    #[must_use]
    pub const fn is_watched(&self) -> bool {
        self.watched
    }

    /// A line on which nothing was fed yet; pages are sent back only where the line is not shared with the link.
    pub fn new(port: P, pages: bool, stack_used: fn() -> u32) -> Self {
        Self {
            port,
            stack_used,
            pages,
            packet: heapless::Vec::new(),
            now: Instant::BOOT,
            last: (Span::ZERO, Counts::default()),
            left: 0,
            given: false,
            key: None,
            low: false,
            dead: false,
            watched: false,
            cue: Signal::Quiet,
            shown: Page::default(),
            cue_shown: Signal::Quiet,
        }
    }

    fn reading(&mut self) -> Counts {
        let (passed, raw) = self.last;
        self.given = true;
        self.now = self.now.after(passed);
        Counts {
            at: self.now,
            ..raw
        }
    }

    fn send(&mut self) {
        if self.cue != self.cue_shown {
            self.print();
        }
    }

    fn print(&mut self) {
        if !self.pages {
            return;
        }
        self.cue_shown = self.cue;
        let letter = match self.cue {
            Signal::Quiet => b'-',
            Signal::Near => b'N',
            Signal::Enough => b'E',
            Signal::Good => b'G',
            Signal::Wrong => b'W',
        };
        // A host that is gone misses them.
        let _ = self.port.write_all(&[2, letter]);
        let _ = self.port.write_all(self.shown.rows().as_flattened());
    }
}
