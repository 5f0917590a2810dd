//! A calibration as it is kept on an adapter: what was found, when, how well, and for which adapter.
//!
//! The form is `LINK.md`'s, "A calibration". Knows nothing of readings or of how it was found.

use crate::crc::crc32;

/// What one calibration came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Kept<'a> {
    /// The adapter's calibrations are counted from 1.
    pub number: u16,
    /// Twice its standard uncertainty, in hundredths of a per cent of the reading.
    pub within: u16,
    /// Count of the load cell without load.
    pub zero: i32,
    /// mN·m a count, times 65,536.
    pub scale: u32,
    /// Millidegrees a second for a count of the gyro, times 256.
    pub rate_scale: u32,
    /// Seconds since 1970-01-01 00:00 UTC.
    pub unix_seconds: u32,
    /// The adapter's serial number, at most 24 bytes.
    pub serial: &'a str,
    /// In words, at most 48 bytes: what records say of it.
    pub said: &'a str,
}

const VERSION: u8 = 1;
const SERIAL_MAX: usize = crate::link::NAME_MAX;
const SAID_MAX: usize = crate::limits::TEXT_MAX;
/// Where the serial number begins.
const HEAD: usize = 24;
const SUM: usize = 4;

/// Bytes that one [`Kept`] takes.
pub const KEPT_BYTES: usize = HEAD + SERIAL_MAX + SAID_MAX + SUM;

impl<'a> Kept<'a> {
    /// As it is stored; none where a text is too long.
    #[must_use]
    pub fn to_bytes(&self) -> Option<[u8; KEPT_BYTES]> {
        let mut bytes = [0; KEPT_BYTES];
        let (body, sum) = bytes.split_last_chunk_mut::<SUM>()?;
        let (head, texts) = body.split_at_mut(HEAD);
        let lengths = [
            VERSION,
            u8::try_from(self.serial.len()).ok()?,
            u8::try_from(self.said.len()).ok()?,
            0,
        ];
        let [number, number_high] = self.number.to_le_bytes();
        let [within, within_high] = self.within.to_le_bytes();
        let words = [
            lengths,
            [number, number_high, within, within_high],
            self.zero.to_le_bytes(),
            self.scale.to_le_bytes(),
            self.rate_scale.to_le_bytes(),
            self.unix_seconds.to_le_bytes(),
        ];
        for (place, word) in head.as_chunks_mut::<4>().0.iter_mut().zip(words) {
            *place = word;
        }
        let (serial, said) = texts.split_at_mut(SERIAL_MAX);
        serial
            .get_mut(..self.serial.len())?
            .copy_from_slice(self.serial.as_bytes());
        said.get_mut(..self.said.len())?
            .copy_from_slice(self.said.as_bytes());
        *sum = crc32(0, body).to_le_bytes();
        Some(bytes)
    }

    /// What is stored; none where the bytes do not prove themselves.
    #[must_use]
    pub fn from_bytes(bytes: &'a [u8; KEPT_BYTES]) -> Option<Self> {
        let (body, sum) = bytes.split_last_chunk::<SUM>()?;
        let (head, texts) = body.split_at_checked(HEAD)?;
        let (serial, said) = texts.split_at_checked(SERIAL_MAX)?;
        let (&[lengths, counts, zero, scale, rate_scale, unix_seconds], _) =
            head.as_chunks::<4>().0.split_first_chunk()?;
        let [version, serial_length, said_length, _] = lengths;
        if crc32(0, body) != u32::from_le_bytes(*sum) || version != VERSION {
            return None;
        }
        let [number, number_high, within, within_high] = counts;
        let text = |bytes: &'a [u8], length: u8| {
            let bytes = bytes.get(..usize::from(length))?;
            core::str::from_utf8(bytes).ok()
        };
        Some(Self {
            number: u16::from_le_bytes([number, number_high]),
            within: u16::from_le_bytes([within, within_high]),
            zero: i32::from_le_bytes(zero),
            scale: u32::from_le_bytes(scale),
            rate_scale: u32::from_le_bytes(rate_scale),
            unix_seconds: u32::from_le_bytes(unix_seconds),
            serial: text(serial, serial_length)?,
            said: text(said, said_length)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::{KEPT_BYTES, Kept};

    const KEPT: Kept<'_> = Kept {
        number: 3,
        within: 84,
        zero: -1_200,
        scale: 13_421,
        rate_scale: 17_920,
        unix_seconds: 1_780_000_000,
        serial: "4411",
        said: "calibration 3 of 2026-05-28, ±0.84 %",
    };

    #[test]
    fn it_reads_back_and_any_byte_changed_is_refused() {
        let bytes = KEPT.to_bytes().expect("short texts");
        assert_eq!(Kept::from_bytes(&bytes), Some(KEPT));
        for at in 0..bytes.len() {
            let mut other = bytes;
            if let Some(byte) = other.get_mut(at) {
                *byte ^= 0x10;
            }
            assert_eq!(Kept::from_bytes(&other), None, "byte {at}");
        }
        assert_eq!(Kept::from_bytes(&[0xFF; KEPT_BYTES]), None);
        let long = "a serial number that is far too long";
        assert_eq!(
            Kept {
                serial: long,
                ..KEPT
            }
            .to_bytes(),
            None
        );
    }
}
