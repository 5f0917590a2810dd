//! What hangs on the board, as slow as its data sheet says: flash, display, the sending half of the link.
//!
//! What the processor waits for passes the time; what goes on alone is busy until then. Knows nothing of the adapter.

use core::convert::Infallible;
use core::sync::atomic::{AtomicU32, Ordering};

use embedded_hal::delay::DelayNs;

use evendraw_firmware::bus::Bus;
use evendraw_firmware::nor::{Flash, PAGE, SECTOR};
use evendraw_firmware::queue::Sends;

use crate::board::{self, micros, pass};

/// Sectors of the flash: what the slots take, and ten for the journal.
pub(crate) const SECTORS: usize = 28;
/// Bytes of the flash.
pub(crate) const BYTES: usize = SECTORS * 4096;

/// A byte on the flash's bus, in 1/4 µs: one at 8 MHz, and what a driver that waits for each takes on a core of 16 MHz.
const QUARTERS: u32 = 10;
/// The longest that a page takes, and a sector [W25Q32JV data sheet, "AC Electrical Characteristics", `tPP`, `tSE`].
const PROGRAMMED: u32 = 3_000;
const ERASED: u32 = 400_000;

/// Pages programmed, sectors erased, writes to the display.
static DONE: [AtomicU32; 3] = [const { AtomicU32::new(0) }; 3];
const PROGRAM: usize = 0;
const ERASE: usize = 1;
const WRITE: usize = 2;

fn one_more(which: usize) {
    if let Some(count) = DONE.get(which) {
        count.store(count.load(Ordering::Relaxed) + 1, Ordering::Relaxed);
    }
}

/// Pages programmed, sectors erased, writes to the display so far.
pub(crate) fn done() -> [u32; 3] {
    DONE.each_ref().map(|count| count.load(Ordering::Relaxed))
}

/// Flash in memory, as slow as a chip.
pub(crate) struct Chip {
    bytes: &'static mut [u8; BYTES],
    /// When the command under way began, and how long it takes.
    busy: Option<(u32, u32)>,
}

impl Chip {
    /// Nothing of it is blank, so every sector of the journal is erased before it is used.
    pub(crate) fn new(bytes: &'static mut [u8; BYTES]) -> Self {
        bytes.fill(0x55);
        Self { bytes, busy: None }
    }

    /// The bytes from an address on, after the time that the bus takes for them and the command.
    fn over_the_bus(&mut self, at: u32, length: usize) -> &mut [u8] {
        assert!(self.busy.is_none(), "a command into one that is under way");
        let count = u32::try_from(length).unwrap_or(u32::MAX);
        pass((count + 5) * QUARTERS / 4);
        let at = usize::try_from(at).unwrap_or(usize::MAX);
        self.bytes.get_mut(at..at + length).unwrap_or_default()
    }
}

impl Flash for Chip {
    type Error = Infallible;

    fn size(&self) -> u32 {
        u32::try_from(BYTES).unwrap_or(0)
    }

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Infallible> {
        let found = self.over_the_bus(at, bytes.len());
        for (byte, found) in bytes.iter_mut().zip(found) {
            *byte = *found;
        }
        Ok(())
    }

    fn start_program(&mut self, at: u32, bytes: &[u8]) -> Result<(), Infallible> {
        assert!(at % PAGE + u32::try_from(bytes.len()).unwrap_or(PAGE) <= PAGE);
        for (cell, byte) in self.over_the_bus(at, bytes.len()).iter_mut().zip(bytes) {
            *cell &= byte;
        }
        one_more(PROGRAM);
        self.busy = Some((micros(), PROGRAMMED));
        Ok(())
    }

    fn start_erase(&mut self, at: u32) -> Result<(), Infallible> {
        let length = usize::try_from(SECTOR).unwrap_or(0);
        self.over_the_bus(at, 0);
        let at = usize::try_from(at).unwrap_or(usize::MAX);
        let sector = self.bytes.get_mut(at..at + length).unwrap_or_default();
        sector.fill(0xff);
        one_more(ERASE);
        self.busy = Some((micros(), ERASED));
        Ok(())
    }

    fn is_busy(&mut self) -> Result<bool, Infallible> {
        pass(2 * QUARTERS / 4);
        self.busy = self
            .busy
            .filter(|(from, span)| micros().wrapping_sub(*from) < *span);
        Ok(self.busy.is_some())
    }
}

/// A byte on the display's bus at 100 kHz, in µs.
const AT_100_KHZ: u32 = 90;

/// The display's expander.
#[derive(Default)]
pub(crate) struct Expander {
    busy: Option<(u32, u32)>,
}

impl Bus for Expander {
    type Error = Infallible;

    fn start_write(&mut self, _: u8, bytes: &[u8]) -> Result<(), Infallible> {
        assert!(self.busy.is_none(), "a write into one that is under way");
        let count = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
        one_more(WRITE);
        self.busy = Some((micros(), (count + 1) * AT_100_KHZ));
        Ok(())
    }

    fn is_busy(&mut self) -> Result<bool, Infallible> {
        self.busy = self
            .busy
            .filter(|(from, span)| micros().wrapping_sub(*from) < *span);
        Ok(self.busy.is_some())
    }
}

/// The sending half of the port.
pub(crate) struct Out;

impl Sends for Out {
    fn is_free(&mut self) -> bool {
        board::is_free()
    }

    fn send(&mut self, byte: u8) {
        board::send(byte);
    }
}

/// Waits by the clock.
pub(crate) struct Delay;

impl DelayNs for Delay {
    fn delay_ns(&mut self, span: u32) {
        pass(span.div_ceil(1_000));
    }
}
