//! The load cell: a 24-bit converter for bridges (ADS1220) over SPI.
//!
//! Register names and values from its data sheet [SBAS501, "Register map"]. Knows nothing of torque: counts go out.

use core::fmt;

use embedded_hal::spi::{Operation, SpiDevice};

const RESET: u8 = 0x06;
const START: u8 = 0x08;
const READ_DATA: u8 = 0x10;
const READ_REGISTERS: u8 = 0x20;
const WRITE_REGISTERS: u8 = 0x40;

/// MUX 0: AIN0 against AIN1; GAIN 7: 128; amplifier in use.
const INPUT: u8 = 7 << 1;
/// DR 6 in normal mode: 1,000 samples a second; CM: going on by itself; no temperature, no burn-out current.
const RATE: u8 = 6 << 5 | 1 << 2;
/// VREF 1: the bridge's own supply on REFP0/REFN0; no line filter (it works at 20 a second only), no current source.
const REFERENCE: u8 = 1 << 6;
/// Data ready on its own pin only.
const READY: u8 = 0;
const SETTINGS: [u8; 4] = [INPUT, RATE, REFERENCE, READY];

/// Samples a second.
pub const SAMPLES_PER_SECOND: u32 = 1000;
/// The largest count either way; at it the converter or the cell is at its end.
pub const COUNT_MAX: i32 = 0x7f_ffff;

/// What can go wrong with the converter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
#[non_exhaustive]
pub enum BridgeError {
    /// The bus failed.
    Bus,
    /// The registers did not read back as written; what they gave.
    Settings([u8; 4]),
}

impl fmt::Display for BridgeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bus => write!(f, "the bus to the load cell failed"),
            Self::Settings(found) => write!(
                f,
                "the load cell's converter read back {found:02x?} instead of {SETTINGS:02x?}"
            ),
        }
    }
}

impl core::error::Error for BridgeError {}

/// The converter, running.
#[derive(Debug)]
pub struct Bridge<S> {
    spi: S,
}

impl<S: SpiDevice> Bridge<S> {
    /// Resets the converter, sets it for a bridge and starts it.
    ///
    /// SPI mode 1, at most 5 MHz. The chip wants 50 µs after its reset and gets twice that.
    ///
    /// # Errors
    ///
    /// [`BridgeError::Settings`] if what was written does not read back: no chip, or no supply.
    pub fn new(mut spi: S) -> Result<Self, BridgeError> {
        spi.transaction(&mut [Operation::Write(&[RESET]), Operation::DelayNs(100_000)])
            .map_err(bus)?;
        let [a, b, c, d] = SETTINGS;
        spi.write(&[WRITE_REGISTERS | 3, a, b, c, d]).map_err(bus)?;
        let mut found = [0; 4];
        spi.transaction(&mut [
            Operation::Write(&[READ_REGISTERS | 3]),
            Operation::Read(&mut found),
        ])
        .map_err(bus)?;
        if found != SETTINGS {
            return Err(BridgeError::Settings(found));
        }
        spi.write(&[START]).map_err(bus)?;
        Ok(Self { spi })
    }

    /// The newest conversion; call when the chip's ready pin has fallen.
    ///
    /// Unit: counts. Range: ±[`COUNT_MAX`].
    ///
    /// # Errors
    ///
    /// The bus.
    pub fn count(&mut self) -> Result<i32, BridgeError> {
        let mut data = [0; 3];
        self.spi
            .transaction(&mut [Operation::Write(&[READ_DATA]), Operation::Read(&mut data)])
            .map_err(bus)?;
        let [high, middle, low] = data;
        // Two's complement in 24 bits: shifted to the top, and down again with the sign.
        Ok(i32::from_be_bytes([high, middle, low, 0]) >> 8)
    }
}

fn bus<E>(_: E) -> BridgeError {
    BridgeError::Bus
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::spi::{Mock, Transaction};

    use super::{Bridge, BridgeError, COUNT_MAX};

    fn one(mut operations: Vec<Transaction<u8>>) -> Vec<Transaction<u8>> {
        let mut all = vec![Transaction::transaction_start()];
        all.append(&mut operations);
        all.push(Transaction::transaction_end());
        all
    }

    fn starting(found: [u8; 4]) -> Vec<Transaction<u8>> {
        [
            one(vec![
                Transaction::write_vec(vec![0x06]),
                Transaction::delay(100_000),
            ]),
            one(vec![Transaction::write_vec(vec![
                0x43, 0x0e, 0xc4, 0x40, 0x00,
            ])]),
            one(vec![
                Transaction::write_vec(vec![0x23]),
                Transaction::read_vec(found.to_vec()),
            ]),
        ]
        .concat()
    }

    #[test]
    fn counts_keep_their_sign() {
        let mut steps = starting([0x0e, 0xc4, 0x40, 0x00]);
        steps.extend(one(vec![Transaction::write_vec(vec![0x08])]));
        // [SBAS501, table "Ideal output code"]: 7fffff and 800000 are the ends of the range.
        let cases = [
            ([0x00, 0x00, 0x01], 1),
            ([0xff, 0xff, 0xff], -1),
            ([0x7f, 0xff, 0xff], COUNT_MAX),
            ([0x80, 0x00, 0x00], -COUNT_MAX - 1),
        ];
        for (bytes, _) in cases {
            steps.extend(one(vec![
                Transaction::write_vec(vec![0x10]),
                Transaction::read_vec(bytes.to_vec()),
            ]));
        }
        let mut spi = Mock::new(&steps);
        let mut bridge = Bridge::new(spi.clone()).unwrap();
        for (_, count) in cases {
            assert_eq!(bridge.count(), Ok(count));
        }
        spi.done();
    }

    #[test]
    fn settings_that_do_not_read_back_are_an_error() {
        let mut spi = Mock::new(&starting([0xff; 4]));
        assert_eq!(
            Bridge::new(spi.clone()).err(),
            Some(BridgeError::Settings([0xff; 4]))
        );
        spi.done();
    }
}
