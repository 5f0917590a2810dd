//! The gyro: rate of turn about the drive's axis (LSM6DSO and its pin-compatible kin) over SPI.
//!
//! Register names and values from its data sheet [DS12140, "Register description"]. A driver of our own, because the
//! adapter needs one axis and four registers. Knows nothing of angles: rates go out.

use core::fmt;

use embedded_hal::spi::{Operation, SpiDevice};

const WHO_AM_I: u8 = 0x0f;
const CTRL2_G: u8 = 0x11;
const CTRL3_C: u8 = 0x12;
const OUTZ_L_G: u8 = 0x26;
const READ: u8 = 0x80;

/// LSM6DS3TR-C, LSM6DSR, LSM6DSO.
const IDENTITIES: [u8; 3] = [0x6a, 0x6b, 0x6c];
/// ODR 8: 1,666 rates a second; FS 3: full scale ±2,000 °/s.
const RATE: u8 = 8 << 4 | 3 << 2;
/// BDU: both bytes of a rate belong together; `IF_INC`: addresses count up.
const WHOLE: u8 = 1 << 6 | 1 << 2;

/// One count in millidegrees a second at this full scale [DS12140, table "Mechanical characteristics", `G_So`].
pub const MILLIDEGREES_PER_SECOND_PER_COUNT: i32 = 70;
/// The same for a calibration: times 256.
pub const RATE_SCALE: u32 = 70 * 256;

/// What can go wrong with the gyro.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
#[non_exhaustive]
pub enum GyroError {
    /// The bus failed.
    Bus,
    /// Another chip answered, or none; what it gave for its identity.
    NoChip(u8),
}

impl fmt::Display for GyroError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bus => write!(f, "the bus to the gyro failed"),
            Self::NoChip(found) => write!(f, "no gyro answered: identity {found:02x}"),
        }
    }
}

impl core::error::Error for GyroError {}

/// The gyro, running.
#[derive(Debug)]
pub struct Gyro<S> {
    spi: S,
}

impl<S: SpiDevice> Gyro<S> {
    /// Finds the chip and sets its rate and range. SPI mode 3, at most 10 MHz.
    ///
    /// # Errors
    ///
    /// [`GyroError::NoChip`] if another chip answers, or none.
    pub fn new(mut spi: S) -> Result<Self, GyroError> {
        let mut identity = [0];
        spi.transaction(&mut [
            Operation::Write(&[READ | WHO_AM_I]),
            Operation::Read(&mut identity),
        ])
        .map_err(bus)?;
        if !IDENTITIES.contains(&identity[0]) {
            return Err(GyroError::NoChip(identity[0]));
        }
        spi.write(&[CTRL3_C, WHOLE]).map_err(bus)?;
        spi.write(&[CTRL2_G, RATE]).map_err(bus)?;
        Ok(Self { spi })
    }

    /// The newest rate about the axis that stands out of the chip's top.
    ///
    /// Unit: counts of [`MILLIDEGREES_PER_SECOND_PER_COUNT`]. Sign: positive is anticlockwise seen from above the chip.
    ///
    /// # Errors
    ///
    /// The bus.
    pub fn rate(&mut self) -> Result<i16, GyroError> {
        let mut data = [0; 2];
        self.spi
            .transaction(&mut [
                Operation::Write(&[READ | OUTZ_L_G]),
                Operation::Read(&mut data),
            ])
            .map_err(bus)?;
        Ok(i16::from_le_bytes(data))
    }
}

fn bus<E>(_: E) -> GyroError {
    GyroError::Bus
}

#[cfg(test)]
mod tests {
    use embedded_hal_mock::eh1::spi::{Mock, Transaction};

    use super::{Gyro, GyroError};

    fn one(mut operations: Vec<Transaction<u8>>) -> Vec<Transaction<u8>> {
        let mut all = vec![Transaction::transaction_start()];
        all.append(&mut operations);
        all.push(Transaction::transaction_end());
        all
    }

    fn asked(register: u8, answer: &[u8]) -> Vec<Transaction<u8>> {
        one(vec![
            Transaction::write_vec(vec![register]),
            Transaction::read_vec(answer.to_vec()),
        ])
    }

    #[test]
    fn rates_are_read_low_byte_first_with_their_sign() {
        let steps = [
            asked(0x8f, &[0x6c]),
            one(vec![Transaction::write_vec(vec![0x12, 0x44])]),
            one(vec![Transaction::write_vec(vec![0x11, 0x8c])]),
            asked(0xa6, &[0x02, 0x01]),
            asked(0xa6, &[0xff, 0xff]),
        ]
        .concat();
        let mut spi = Mock::new(&steps);
        let mut gyro = Gyro::new(spi.clone()).unwrap();
        assert_eq!(gyro.rate(), Ok(0x0102));
        assert_eq!(gyro.rate(), Ok(-1));
        spi.done();
    }

    #[test]
    fn another_chip_is_refused() {
        let mut spi = Mock::new(&asked(0x8f, &[0x00]));
        assert_eq!(Gyro::new(spi.clone()).err(), Some(GyroError::NoChip(0x00)));
        spi.done();
    }
}
