//! The adapter under interrupts and beside the tasks of an async executor, on a host: what on a chip are interrupts are threads here.
//!
//! `cargo run -p evendraw-firmware --example beside`
//!
//! A turn takes what readings there are and does one short thing of everything else; it never waits. So it needs no task and no lock of its
//! own: an interrupt puts readings into a queue, the turn takes them out, and between two turns the processor sleeps or others have it.

/// The log of a host: nowhere.
#[path = "../src/silent_log.rs"]
mod silent_log;

use std::cell::Cell;
use std::convert::Infallible;
use std::future::Future;
use std::pin::pin;
use std::task::{Context, Waker};
use std::thread;
use std::time::Duration;

use evendraw_core::sample::{Calibration, Counts, Numbers};
use evendraw_core::unit::{Instant, Span, Torque};
use evendraw_firmware::adapter::{Adapter, Clock, Key, Keys, Parts, Plate};
use evendraw_firmware::cue::{Cue, Signal};
use evendraw_firmware::display::{Display, Page};
use evendraw_firmware::nor::{Flash, SECTOR};
use evendraw_firmware::power::Steady;
use evendraw_firmware::readings::Readings;
use heapless::spsc::{Consumer, Queue};

/// Readings that wait while a turn is long: at 1,000 a second the longest turn measured leaves a handful.
const WAITING: usize = 32;

/// The turn's end of the queue: the interrupt of the converter has the other.
struct Ring<'q> {
    queue: Consumer<'q, Counts>,
    now: Instant,
}

impl Readings for Ring<'_> {
    fn next(&mut self) -> Option<Counts> {
        let counts = self.queue.dequeue()?;
        self.now = counts.at;
        Some(counts)
    }

    // On a chip the timer that stamps the readings is read here.
    fn now(&mut self) -> Instant {
        self.now
    }
}

fn main() {
    let mut queue = Queue::<Counts, WAITING>::new();
    let (mut to, from) = queue.split();
    thread::scope(|scope| {
        // The interrupt: a reading every millisecond, stamped where it is taken.
        scope.spawn(move || {
            for at in (0..2_000).map(|tick| tick * 1_000) {
                let reading = Counts {
                    at: Instant::from_micros(at),
                    bridge: 0,
                    rate: 0,
                };
                // No room would be a lost reading; the core sees the gap in the times.
                let _ = to.enqueue(reading);
                thread::sleep(Duration::from_micros(100));
            }
        });
        let parts = Parts {
            flash: Memory(vec![0xff; 64 * 4096]),
            readings: Ring {
                queue: from,
                now: Instant::BOOT,
            },
            port: Nothing,
            cue: Nothing,
            display: Shown(String::new()),
            keys: Nothing,
            power: Steady,
        };
        // A task of some executor: it counts, and gives the processor back each time. An executor with a `poll` of its own is called in
        // its place; one that wants the thread for itself runs in an interrupt of low priority, and this loop stays where it is.
        let polled = Cell::new(0_u32);
        let mut task = pin!(async {
            loop {
                polled.set(polled.get() + 1);
                yielded().await;
            }
        });
        let mut context = Context::from_waker(Waker::noop());
        match &mut Adapter::new(parts, PLATE) {
            Ok(adapter) => adapter.run_beside(|| {
                let _ = task.as_mut().poll(&mut context);
                // On a chip: `cortex_m::asm::wfi()`; the next reading's interrupt ends it.
                thread::yield_now();
                if polled.get() == 100_000 {
                    println!("100,000 turns, the task polled after each");
                    std::process::exit(0);
                }
            }),
            Err(never) => match *never {},
        }
    });
}

/// Pending once.
async fn yielded() {
    let mut before = false;
    std::future::poll_fn(|_| match std::mem::replace(&mut before, true) {
        true => std::task::Poll::Ready(()),
        false => std::task::Poll::Pending,
    })
    .await;
}

const PLATE: Plate = Plate {
    serial: "example",
    clock: Clock::Crystal,
    firmware: "example",
    calibration: match Calibration::new(Numbers {
        zero: 0,
        scale: 65_536,
        count_max: 8_000_000,
        rate_scale: 1_146_880,
        capacity: Torque::from_millinewton_meters(200_000),
        band: Torque::from_millinewton_meters(2_000),
        drift: Torque::from_millinewton_meters(1_000),
        // A host lets its threads wait as it likes.
        gap: Span::ZERO,
        same_max: 0,
    }) {
        Ok(calibration) => calibration,
        Err(_) => panic!("numbers that are no calibration"),
    },
};

/// A flash that is never busy.
struct Memory(Vec<u8>);

impl Memory {
    fn at(&mut self, at: u32, length: usize) -> &mut [u8] {
        let at = usize::try_from(at).unwrap_or(usize::MAX);
        self.0.get_mut(at..at + length).unwrap_or_default()
    }
}

impl Flash for Memory {
    type Error = Infallible;

    fn size(&self) -> u32 {
        u32::try_from(self.0.len()).unwrap_or(u32::MAX)
    }

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Infallible> {
        bytes.copy_from_slice(self.at(at, bytes.len()));
        Ok(())
    }

    fn start_program(&mut self, at: u32, bytes: &[u8]) -> Result<(), Infallible> {
        let cells = self.at(at, bytes.len()).iter_mut();
        cells.zip(bytes).for_each(|(cell, byte)| *cell &= byte);
        Ok(())
    }

    fn start_erase(&mut self, at: u32) -> Result<(), Infallible> {
        let sector = usize::try_from(SECTOR).unwrap_or(0);
        self.at(at, sector).fill(0xff);
        Ok(())
    }

    fn is_busy(&mut self) -> Result<bool, Infallible> {
        Ok(false)
    }
}

/// Says what it shows, when that changes.
struct Shown(String);

impl Display for Shown {
    fn show(&mut self, page: &Page) {
        let text: Vec<_> = page
            .rows()
            .iter()
            .map(|row| String::from_utf8_lossy(row))
            .collect();
        let text = text.join("|");
        if text != self.0 {
            println!("{text}");
            self.0 = text;
        }
    }
}

/// No link, no lamps, no keys.
struct Nothing;

impl embedded_io::ErrorType for Nothing {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Nothing {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(false)
    }
}

impl embedded_io::Read for Nothing {
    fn read(&mut self, _: &mut [u8]) -> Result<usize, Infallible> {
        Ok(0)
    }
}

impl embedded_io::WriteReady for Nothing {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

impl embedded_io::Write for Nothing {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

impl Cue for Nothing {
    fn tell(&mut self, _: Signal, _: u32) {}
}

impl Keys for Nothing {
    fn pressed(&mut self, _: Instant) -> Option<Key> {
        None
    }
}
