//! CRC-32/ISO-HDLC, seeded: the one check sum of the journal, the link and stored procedures.
#![expect(
    clippy::as_conversions,
    reason = "a const function knows no `From`; what a cast may lose is linted apart"
)]

/// The polynomial 04C11DB7, its bits in reverse [catalogue of parametrised CRC algorithms, CRC-32/ISO-HDLC].
const POLYNOMIAL: u32 = 0xEDB8_8320;

/// What four bits at the low end do to the sum: 64 bytes. Eight bits at a time would be 1 KiB on a chip, one bit at a time three
/// times the work.
const NIBBLES: [u32; 16] = {
    let mut table = [0; 16];
    let mut left: &mut [u32] = &mut table;
    let mut nibble = 0_u32;
    while let [first, others @ ..] = left {
        let mut sum = nibble;
        let mut bit = 0;
        while bit < 4 {
            sum = sum >> 1 ^ if sum & 1 == 1 { POLYNOMIAL } else { 0 };
            bit += 1;
        }
        *first = sum;
        left = others;
        nibble += 1;
    }
    table
};

/// The sum of `bytes` following bytes whose sum is `before`; 0 where nothing stands before.
///
/// `crc32(crc32(0, a), b)` equals the sum of `a` and `b` one after the other.
#[must_use]
pub fn crc32(before: u32, bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!before, |sum, &byte| {
        let sum = sum ^ u32::from(byte);
        low_nibble_out(low_nibble_out(sum))
    })
}

fn low_nibble_out(sum: u32) -> u32 {
    // Sixteen places and four bits: there always is one.
    let by = NIBBLES.get((sum & 0xF) as usize).copied().unwrap_or(0);
    sum >> 4 ^ by
}

#[cfg(test)]
mod tests {
    use super::crc32;
    use crc::{CRC_32_ISO_HDLC, Crc};

    /// Check value of CRC-32/ISO-HDLC for "123456789": CBF43926 (catalogue value, also zlib).
    #[test]
    fn check_value_holds_in_one_piece_and_in_two() {
        assert_eq!(crc32(0, b"123456789"), 0xCBF4_3926);
        assert_eq!(crc32(crc32(0, b"1234"), b"56789"), 0xCBF4_3926);
    }

    /// Against the `crc` crate, every byte at every place of a text of its own.
    #[test]
    fn another_implementation_comes_to_the_same() {
        let theirs = Crc::<u32>::new(&CRC_32_ISO_HDLC);
        let mut text = [0_u8; 300];
        for byte in 0..=u8::MAX {
            for (place, index) in text.iter_mut().zip(0_u16..) {
                *place = byte.wrapping_mul(31).wrapping_add((index % 251) as u8);
            }
            assert_eq!(crc32(0, &text), theirs.checksum(&text), "{byte}");
        }
    }
}
