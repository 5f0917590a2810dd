//! The board's watchdog, and the supply as it is fed.
//!
//! Register map as the emulator models it [QEMU 7.2, hw/watchdog/wdt_aspeed.c]: its counter runs at 1 MHz. Memory outlives a reset and not
//! the power: what this board calls a start by the watchdog is one that finds its mark there. Knows nothing of the adapter.
#![expect(
    unsafe_code,
    reason = "registers are memory at fixed addresses, and a mark is where no start clears it"
)]

use core::cell::RefCell;
use core::ptr;
use core::sync::atomic::{AtomicU32, Ordering};

use evendraw_firmware::fed::Feed;
use evendraw_firmware::power::{Cause, Power};

use crate::board::Port;

const WATCHDOG: usize = 0x7e78_5000;
const RELOAD: usize = 0x04;
const RESTART: usize = 0x08;
const CONTROL: usize = 0x0c;
/// The word that restarts the counter.
const PASSWORD: u32 = 0x4755;
/// Enabled, and the whole system is reset when it runs out.
const RESETS: u32 = 0x3;

/// How long a turn may take no reading: a host under load must not be taken for dead sensors.
const PATIENCE_MICROS: u32 = 5_000_000;

const MARK: u32 = 0x5ca1_ab1e;
#[unsafe(link_section = ".uninit.WATCHED")]
static WATCHED: AtomicU32 = AtomicU32::new(0);

/// The watchdog, and the line over which the supply is fed.
pub(crate) struct Fed<'f> {
    feed: &'f RefCell<Feed<Port>>,
    cause: Cause,
    watched: bool,
}

impl<'f> Fed<'f> {
    /// Not watched yet.
    pub(crate) fn new(feed: &'f RefCell<Feed<Port>>) -> Self {
        let cause = match WATCHED.swap(0, Ordering::Relaxed) {
            MARK => Cause::Watchdog,
            _ => Cause::PowerOn,
        };
        Self {
            feed,
            cause,
            watched: false,
        }
    }
}

fn set(register: usize, value: u32) {
    // SAFETY: the first watchdog of this board, used here alone.
    unsafe { ptr::write_volatile((WATCHDOG + register) as *mut u32, value) }
}

impl Power for Fed<'_> {
    fn cause(&self) -> Cause {
        self.cause
    }

    fn is_low(&mut self) -> bool {
        self.feed.borrow().is_low()
    }

    fn is_alive(&mut self) {
        if !self.feed.borrow().is_watched() {
            return;
        }
        if !self.watched {
            self.watched = true;
            WATCHED.store(MARK, Ordering::Relaxed);
            set(RELOAD, PATIENCE_MICROS);
            set(CONTROL, RESETS);
        }
        set(RESTART, PASSWORD);
    }
}
