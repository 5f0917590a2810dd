//! The chip's serial port and its own flash behind its controller.
//!
//! Registers from the chip's reference manual [nRF51 Series Reference Manual 3.0, "UART", "NVMC"; the addresses were written
//! down from memory and run on the emulator's model]. Knows nothing of the adapter.
#![expect(
    unsafe_code,
    reason = "registers and the chip's own flash are memory at fixed addresses"
)]

use core::convert::Infallible;
use core::ptr;

use embedded_storage::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase,
    check_read, check_write,
};
use evendraw_core::link::WIRE_MAX;

fn get(register: usize) -> u32 {
    // SAFETY: only the registers below are given; all may be read.
    unsafe { ptr::read_volatile(register as *const u32) }
}

fn set(register: usize, value: u32) {
    // SAFETY: only the registers below are given, each by the one struct that owns it.
    unsafe { ptr::write_volatile(register as *mut u32, value) }
}

const UART: usize = 0x4000_2000;
const START_RECEIVING: usize = UART;
const START_SENDING: usize = UART + 0x008;
const RECEIVED: usize = UART + 0x108;
const SENT: usize = UART + 0x11c;
const ENABLE: usize = UART + 0x500;
const PIN_SENDING: usize = UART + 0x50c;
const PIN_RECEIVING: usize = UART + 0x514;
const RECEIVED_BYTE: usize = UART + 0x518;
const BYTE_TO_SEND: usize = UART + 0x51c;
const RATE: usize = UART + 0x524;
const ENABLED: u32 = 4;
const RATE_115200: u32 = 0x01d7_e000;

/// The serial port.
#[derive(Debug)]
pub(crate) struct Uart {
    sending: bool,
}

impl Uart {
    /// Starts it at 115,200 bit/s on the pins that the board's USB chip is wired to.
    pub(crate) fn new() -> Self {
        set(PIN_SENDING, 24);
        set(PIN_RECEIVING, 25);
        set(RATE, RATE_115200);
        set(ENABLE, ENABLED);
        set(START_RECEIVING, 1);
        set(START_SENDING, 1);
        Self { sending: false }
    }

    /// A byte that has come.
    pub(crate) fn take(&mut self) -> Option<u8> {
        if get(RECEIVED) == 0 {
            return None;
        }
        // Cleared first: the next byte of the port's buffer sets it again.
        set(RECEIVED, 0);
        let [byte, ..] = get(RECEIVED_BYTE).to_le_bytes();
        Some(byte)
    }

    /// Whether a byte would be sent without waiting.
    pub(crate) fn can_send(&self) -> bool {
        !self.sending || get(SENT) != 0
    }

    /// Sends a byte, once the one before is gone.
    pub(crate) fn send(&mut self, byte: u8) {
        while !self.can_send() {}
        set(SENT, 0);
        self.sending = true;
        set(BYTE_TO_SEND, u32::from(byte));
    }
}

const CONTROLLER: usize = 0x4001_e000;
const READY: usize = CONTROLLER + 0x400;
const CONFIG: usize = CONTROLLER + 0x504;
const ERASE_PAGE: usize = CONTROLLER + 0x508;
const READ_ONLY: u32 = 0;
const WRITE: u32 = 1;
const ERASE: u32 = 2;
/// Bytes of a page of the chip.
const PAGE: u32 = 1024;

/// The chip's own flash behind the program. While it is written or erased the program stands still: 46 µs a word, 22 ms a page.
#[derive(Debug)]
pub(crate) struct OwnFlash(());

/// Where the program's part ends (`build.rs`), and where the flash ends.
const FIRST: u32 = 96 * 1024;
const END: u32 = 256 * 1024;

impl OwnFlash {
    pub(crate) const fn new() -> Self {
        Self(())
    }

    fn done() {
        while get(READY) & 1 == 0 {}
    }
}

fn address(at: u32) -> usize {
    usize::try_from(FIRST + at).unwrap_or(usize::MAX)
}

impl ErrorType for OwnFlash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for OwnFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, at, bytes.len())?;
        let from = address(at) as *const u8;
        for (offset, byte) in bytes.iter_mut().enumerate() {
            // SAFETY: inside the flash, as was checked.
            *byte = unsafe { ptr::read_volatile(from.wrapping_add(offset)) };
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        usize::try_from(END - FIRST).unwrap_or(0)
    }
}

impl NorFlash for OwnFlash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE as usize;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        set(CONFIG, ERASE);
        let mut at = from;
        while at < to {
            set(ERASE_PAGE, FIRST + at);
            Self::done();
            at += PAGE;
        }
        set(CONFIG, READ_ONLY);
        Ok(())
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, at, bytes.len())?;
        set(CONFIG, WRITE);
        let (words, _) = bytes.as_chunks::<4>();
        for (offset, word) in (0..).step_by(4).zip(words) {
            set(address(at) + offset, u32::from_le_bytes(*word));
            Self::done();
        }
        set(CONFIG, READ_ONLY);
        Ok(())
    }
}

// A word may be written twice between two erases.
impl MultiwriteNorFlash for OwnFlash {}

/// One serial port that carries both the link's frames and, between them, what is fed.
///
/// The link sends whole frames, each between two zeros; a byte that begins outside of them is fed. This holds on a line that
/// loses nothing, like the emulator's; on a real cable a lost zero costs a question, which is asked again.
#[derive(Debug)]
pub(crate) struct Line {
    uart: Uart,
    /// Bytes of the frame that is coming in; none outside of one.
    frame: Option<usize>,
    /// Bytes still to come of a fed reading.
    fed: u8,
    waiting: Option<(bool, u8)>,
}

impl Line {
    pub(crate) fn new(uart: Uart) -> Self {
        Self {
            uart,
            frame: None,
            fed: 0,
            waiting: None,
        }
    }

    /// Takes a byte from the port, if none is waiting, and says whose it is: true for the link's.
    fn look(&mut self) -> Option<bool> {
        if self.waiting.is_none() {
            let byte = self.uart.take()?;
            let links = match (self.fed, self.frame, byte) {
                (1.., ..) => {
                    self.fed -= 1;
                    false
                }
                (0, None, 0) | (0, Some(0), 0) => {
                    self.frame = Some(0);
                    true
                }
                (0, Some(_), 0) => {
                    self.frame = None;
                    true
                }
                (0, Some(count), _) => {
                    // Longer than any frame: it was none.
                    self.frame = Some(count + 1).filter(|&count| count < WIRE_MAX);
                    true
                }
                (0, None, first) => {
                    self.fed = match first {
                        0xa5 => 7,
                        0xa6 => 2,
                        _ => 0,
                    };
                    false
                }
            };
            self.waiting = Some((links, byte));
        }
        self.waiting.map(|(links, _)| links)
    }

    fn take(&mut self, links: bool) -> Option<u8> {
        if self.look() != Some(links) {
            return None;
        }
        self.waiting.take().map(|(_, byte)| byte)
    }
}

/// An end of the shared line: the link's, or what is fed.
#[derive(Debug)]
pub(crate) struct End<'l> {
    pub(crate) line: &'l core::cell::RefCell<Line>,
    pub(crate) links: bool,
}

impl embedded_io::ErrorType for End<'_> {
    type Error = Infallible;
}

impl embedded_io::ReadReady for End<'_> {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.line.borrow_mut().look() == Some(self.links))
    }
}

impl embedded_io::Read for End<'_> {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let Some(first) = bytes.first_mut() else {
            return Ok(0);
        };
        loop {
            // Waited for, as the trait asks; the loop only reads what is ready.
            if let Some(byte) = self.line.borrow_mut().take(self.links) {
                *first = byte;
                return Ok(1);
            }
        }
    }
}

impl embedded_io::WriteReady for End<'_> {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.line.borrow().uart.can_send())
    }
}

impl embedded_io::Write for End<'_> {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let Some(&first) = bytes.first() else {
            return Ok(0);
        };
        self.line.borrow_mut().uart.send(first);
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
