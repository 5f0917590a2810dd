//! CRC-32/ISO-HDLC, seeded: the one check sum of the journal, the link and stored procedures.

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

/// Bitwise, without a table: a frame is short, and 1 KiB of table is not.
const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// The sum of `bytes` following bytes whose sum is `before`; 0 where nothing stands before.
///
/// `crc32(crc32(0, a), b)` equals the sum of `a` and `b` one after the other.
#[must_use]
pub fn crc32(before: u32, bytes: &[u8]) -> u32 {
    let mut digest = CRC.digest_with_initial(before.reverse_bits() ^ u32::MAX);
    digest.update(bytes);
    digest.finalize()
}

#[cfg(test)]
mod tests {
    use super::crc32;

    /// Check value of CRC-32/ISO-HDLC for "123456789": CBF43926 (catalogue value, also zlib).
    #[test]
    fn check_value_holds_in_one_piece_and_in_two() {
        assert_eq!(crc32(0, b"123456789"), 0xCBF4_3926);
        assert_eq!(crc32(crc32(0, b"1234"), b"56789"), 0xCBF4_3926);
    }
}
