//! The board's hardware: two serial ports, the SPI controller.
//!
//! Register maps as the emulator models them [QEMU 7.2, hw/arm/aspeed_ast10x0.c, hw/ssi/aspeed_smc.c, hw/char/serial.c]. Knows
//! nothing of the adapter.
#![expect(unsafe_code, reason = "registers are memory at fixed addresses")]

use core::convert::Infallible;
use core::ptr;

use embedded_hal::spi::{ErrorKind, ErrorType, Operation, SpiDevice};

/// A 16550 whose registers stand four bytes apart.
#[derive(Debug)]
pub(crate) struct Port {
    base: usize,
}

const DATA: usize = 0x00;
const FIFO_CONTROL: usize = 0x08;
const LINE_STATUS: usize = 0x14;
const FIFO_ON: u32 = 0x01;
const RECEIVED: u32 = 0x01;
const CAN_SEND: u32 = 0x20;

impl Port {
    /// The port that carries the link.
    pub(crate) fn link() -> Self {
        Self::at(0x7e78_4000)
    }

    /// The port that stands for the sensors.
    pub(crate) fn feed() -> Self {
        Self::at(0x7e78_3000)
    }

    fn at(base: usize) -> Self {
        let port = Self { base };
        port.set(FIFO_CONTROL, FIFO_ON);
        // Whatever stood there before is old; reading it also tells the sender that there is room again.
        port.get(DATA);
        port
    }

    fn get(&self, register: usize) -> u32 {
        // SAFETY: `base` is a serial port of this board, and every register of it may be read.
        unsafe { ptr::read_volatile((self.base + register) as *const u32) }
    }

    fn set(&self, register: usize, value: u32) {
        // SAFETY: as above; the port is used by this struct alone.
        unsafe { ptr::write_volatile((self.base + register) as *mut u32, value) }
    }
}

impl embedded_io::ErrorType for Port {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Port {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.get(LINE_STATUS) & RECEIVED != 0)
    }
}

impl embedded_io::Read for Port {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let mut count = 0;
        for byte in bytes {
            // The first byte is waited for, as the trait asks; the rest is taken if it is there.
            while count == 0 && self.get(LINE_STATUS) & RECEIVED == 0 {}
            if self.get(LINE_STATUS) & RECEIVED == 0 {
                break;
            }
            [*byte, ..] = self.get(DATA).to_le_bytes();
            count += 1;
        }
        Ok(count)
    }
}

impl embedded_io::WriteReady for Port {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.get(LINE_STATUS) & CAN_SEND != 0)
    }
}

impl embedded_io::Write for Port {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let Some(&first) = bytes.first() else {
            return Ok(0);
        };
        while self.get(LINE_STATUS) & CAN_SEND == 0 {}
        self.set(DATA, u32::from(first));
        Ok(1)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// The flash chip on the first select of the first SPI controller, driven byte by byte.
#[derive(Debug)]
pub(crate) struct FlashBus(());

const CONTROLLER: usize = 0x7e63_0000;
const SETTINGS: usize = 0x00;
const SELECT_0: usize = 0x10;
const WINDOW: usize = 0x9000_0000;
const WRITABLE_0: u32 = 1 << 16;
const USER_MODE: u32 = 3;
const DESELECTED: u32 = 1 << 2;

/// Sending and receiving at once, which the controller cannot do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct NotBothWays;

impl embedded_hal::spi::Error for NotBothWays {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}

impl FlashBus {
    /// Makes the chip's window writable.
    pub(crate) fn new() -> Self {
        let bus = Self(());
        // SAFETY: the controller's settings; nothing else uses it.
        unsafe {
            let settings = (CONTROLLER + SETTINGS) as *mut u32;
            ptr::write_volatile(settings, ptr::read_volatile(settings) | WRITABLE_0);
        }
        bus.select(false);
        bus
    }

    fn select(&self, selected: bool) {
        let value = if selected {
            USER_MODE
        } else {
            USER_MODE | DESELECTED
        };
        // SAFETY: as above.
        unsafe { ptr::write_volatile((CONTROLLER + SELECT_0) as *mut u32, value) }
    }
}

impl ErrorType for FlashBus {
    type Error = NotBothWays;
}

impl SpiDevice for FlashBus {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), NotBothWays> {
        self.select(true);
        let mut result = Ok(());
        for operation in operations {
            match operation {
                Operation::Read(bytes) => {
                    for byte in bytes.iter_mut() {
                        // SAFETY: in user mode a read of the window clocks one byte in.
                        *byte = unsafe { ptr::read_volatile(WINDOW as *const u8) };
                    }
                }
                Operation::Write(bytes) => {
                    for &byte in bytes.iter() {
                        // SAFETY: in user mode a write to the window clocks one byte out.
                        unsafe { ptr::write_volatile(WINDOW as *mut u8, byte) }
                    }
                }
                // The emulator has no time to pass between the bytes of a transfer.
                Operation::DelayNs(_) => {}
                Operation::Transfer(..) | Operation::TransferInPlace(_) => {
                    result = Err(NotBothWays);
                }
            }
        }
        self.select(false);
        result
    }
}
