//! A bus to a slow part: a write is started and asked after, as with flash.
//!
//! Knows nothing of what hangs on it.

use embedded_hal::i2c::I2c;

/// Bytes to slow parts, which go out while the loop goes on.
///
/// A started write must be over ([`Bus::is_busy`] says no) before the next is started.
pub trait Bus {
    /// What can go wrong.
    type Error;

    /// Starts writing to the part at this address. At most eight bytes.
    ///
    /// # Errors
    ///
    /// The bus.
    fn start_write(&mut self, address: u8, bytes: &[u8]) -> Result<(), Self::Error>;

    /// Whether the last started write still runs; a bus that needs a hand for every byte gets it here.
    ///
    /// # Errors
    ///
    /// The bus: nobody answered, or it was disturbed. The write is over then.
    fn is_busy(&mut self) -> Result<bool, Self::Error>;
}

/// A blocking bus where [`Bus`] is asked for: a start does the whole work. At 100 kHz that is a millisecond for eight bytes.
#[derive(Debug)]
pub struct Waiting<I>(pub I);

impl<I: I2c> Bus for Waiting<I> {
    type Error = I::Error;

    fn start_write(&mut self, address: u8, bytes: &[u8]) -> Result<(), I::Error> {
        self.0.write(address, bytes)
    }

    fn is_busy(&mut self) -> Result<bool, I::Error> {
        Ok(false)
    }
}
