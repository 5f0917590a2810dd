//! What runs on the board: the adapter, with readings and keys fed over the second serial port and the page sent back on it.
//!
//! Fed bytes: `A5`, time since the reading before in µs (u16), load cell (i24), gyro (i16), all little-endian, for a reading;
//! `A6` and a number (u16) for the same reading that often again;
//! `B1` and `B2` for the keys yes and no; `B3` is answered by `03` and the bytes of stack ever used (u32). A page goes out as `02`, a letter for the cue and 80 characters, whenever one of them
//! changes. The clock is the readings' own, so that a run depends on what was fed and not on the speed of the host.

use core::cell::RefCell;

use cortex_m as _;
use cortex_m_rt::entry;
use defmt_semihosting as _;
use embedded_io::{Read, ReadReady, Write};
use evendraw_core::sample::{Calibration, Counts, Numbers};
use evendraw_core::unit::{Instant, Span, Torque};
use evendraw_firmware::adapter::{Adapter, Key, Keys, Parts, Plate};
use evendraw_firmware::bridge::COUNT_MAX;
use evendraw_firmware::cue::{Cue, Signal};
use evendraw_firmware::display::{Display, Page};
use evendraw_firmware::gyro::RATE_SCALE;
use evendraw_firmware::nor::SpiNor;
use evendraw_firmware::readings::Readings;

use crate::board::{FlashBus, Port, paint_stack, stack_used};

const PLATE: Plate = Plate {
    serial: "emulated 1",
    firmware: concat!("evendraw ", env!("CARGO_PKG_VERSION")),
    calibration: match Calibration::new(Numbers {
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
    },
};

/// A panic ends the emulator with a status of its own, which every test looks at.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    semihosting::process::exit(101)
}

/// The second port, as every part sees it.
struct Feed {
    port: Port,
    packet: heapless::Vec<u8, 8>,
    now: Instant,
    /// The reading before, the time it took, and how often it is to come again.
    last: (Span, Counts),
    left: u16,
    /// A reading was given in this turn: the next comes in the next turn, as on a board whose loop is faster than its sensors.
    given: bool,
    key: Option<Key>,
    cue: Signal,
    shown: Page,
    cue_shown: Signal,
}

struct Fed<'f>(&'f RefCell<Feed>);

const READING: u8 = 0xa5;
const AGAIN: u8 = 0xa6;

impl Readings for Fed<'_> {
    fn next(&mut self) -> Option<Counts> {
        let feed = &mut *self.0.borrow_mut();
        if feed.given {
            feed.given = false;
            return None;
        }
        if feed.left > 0 {
            feed.left -= 1;
            return Some(feed.reading());
        }
        while feed.port.read_ready() == Ok(true) {
            let mut byte = [0];
            let Ok(_) = feed.port.read(&mut byte);
            match (feed.packet.is_empty(), byte[0]) {
                (true, 0xb1) => feed.key = Some(Key::Yes),
                (true, 0xb2) => feed.key = Some(Key::No),
                (true, 0xb3) => {
                    let [a, b, c, d] = stack_used().to_le_bytes();
                    let Ok(()) = feed.port.write_all(&[3, a, b, c, d]);
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

impl Keys for Fed<'_> {
    fn pressed(&mut self, _: Instant) -> Option<Key> {
        self.0.borrow_mut().key.take()
    }
}

impl Cue for Fed<'_> {
    fn tell(&mut self, signal: Signal, _: u32) {
        let feed = &mut *self.0.borrow_mut();
        feed.cue = signal;
        feed.send();
    }
}

impl Display for Fed<'_> {
    fn show(&mut self, page: &Page) -> bool {
        let feed = &mut *self.0.borrow_mut();
        if feed.shown != *page {
            feed.shown = page.clone();
            feed.cue_shown = Signal::Quiet;
            feed.print();
        }
        true
    }
}

impl Feed {
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
        self.cue_shown = self.cue;
        let letter = match self.cue {
            Signal::Quiet => b'-',
            Signal::Near => b'N',
            Signal::Enough => b'E',
            Signal::Good => b'G',
            Signal::Wrong => b'W',
        };
        let Ok(()) = self.port.write_all(&[2, letter]);
        let Ok(()) = self.port.write_all(self.shown.rows().as_flattened());
    }
}

#[entry]
fn main() -> ! {
    paint_stack();
    let feed = RefCell::new(Feed {
        port: Port::feed(),
        packet: heapless::Vec::new(),
        now: Instant::BOOT,
        last: (Span::ZERO, Counts::default()),
        left: 0,
        given: false,
        key: None,
        cue: Signal::Quiet,
        shown: Page::default(),
        cue_shown: Signal::Quiet,
    });
    let flash = match SpiNor::new(FlashBus::new()) {
        Ok(flash) => flash,
        Err(error) => {
            defmt::error!("no flash: {}", error);
            semihosting::process::exit(102)
        }
    };
    let parts = Parts {
        flash,
        readings: Fed(&feed),
        port: Port::link(),
        cue: Fed(&feed),
        display: Fed(&feed),
        keys: Fed(&feed),
    };
    // By reference: a copy would stay on the stack for good.
    let mut opened = Adapter::new(parts, PLATE);
    let adapter = match &mut opened {
        Ok(adapter) => adapter,
        Err(error) => {
            defmt::error!("the flash cannot be read: {}", error);
            semihosting::process::exit(103)
        }
    };
    adapter.run()
}
