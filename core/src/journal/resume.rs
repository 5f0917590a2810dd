//! Where a journal goes on after damage: found in one walk, with the same short work at every byte.
//!
//! Trying a sum at every byte would go over up to 520 bytes for each. A CRC is linear: the sum of a stretch follows from the sums
//! of what stands before its beginning and before its end, by one multiplication. [Adler, `crc32_combine` of zlib: the sum of two
//! pieces from the sums of each and the length of the second]. What is found this way is proved again byte by byte by whoever
//! asked. Knows nothing of what frames say.
#![expect(
    clippy::as_conversions,
    reason = "a const function knows no `From`; what a cast may lose is linted apart"
)]

use super::{HEADER, SUM};
use crate::limits::PAYLOAD_MAX;

/// The polynomial of CRC-32/ISO-HDLC, low bit first.
const POLYNOMIAL: u32 = 0xEDB8_8320;
/// Sums kept: of every place from a frame's beginning to its end, and a power of two.
const KEPT: usize = 1024;
const _: () = assert!(KEPT > HEADER + PAYLOAD_MAX + SUM);

/// What so many zero bytes do to a register, for every length that a sum goes over.
static ZEROS: [u32; HEADER + PAYLOAD_MAX + 1] = zeros();

const fn zeros() -> [u32; HEADER + PAYLOAD_MAX + 1] {
    let mut all = [0; HEADER + PAYLOAD_MAX + 1];
    // The polynomial 1, low bit first.
    let mut power = 1 << 31;
    let mut rest: &mut [u32] = &mut all;
    while let Some((first, after)) = rest.split_first_mut() {
        *first = power;
        power = byte(power, 0);
        rest = after;
    }
    all
}

/// The register after one more byte.
const fn byte(register: u32, byte: u8) -> u32 {
    let mut register = register ^ byte as u32;
    let mut bit = 0_u8;
    while bit < 8 {
        register = halved(register);
        bit = bit.saturating_add(1);
    }
    register
}

const fn halved(register: u32) -> u32 {
    if register & 1 == 1 {
        (register >> 1) ^ POLYNOMIAL
    } else {
        register >> 1
    }
}

/// The product of two polynomials, low bit first.
fn product(one: u32, mut other: u32) -> u32 {
    let mut sum = 0;
    let mut rest = one;
    while rest != 0 {
        if rest >> 31 == 1 {
            sum ^= other;
        }
        rest <<= 1;
        other = halved(other);
    }
    sum
}

/// A walk over bytes that knows, for the places just ahead, the register of everything before them.
pub(super) struct Resume<'a> {
    bytes: &'a [u8],
    /// Registers by place, from zero at `from`.
    kept: [u32; KEPT],
    /// The place up to which they are known.
    known: usize,
    register: u32,
}

impl<'a> Resume<'a> {
    pub(super) fn new(bytes: &'a [u8], from: usize) -> Self {
        let mut kept = [0; KEPT];
        if let Some(place) = kept.get_mut(from % KEPT) {
            *place = 0;
        }
        Self {
            bytes,
            kept,
            known: from,
            register: 0,
        }
    }

    fn register(&self, place: usize) -> u32 {
        self.kept.get(place % KEPT).copied().unwrap_or(0)
    }

    fn go_on(&mut self, to: usize) {
        let ahead = self.bytes.get(self.known..to).unwrap_or_default();
        for &next in ahead {
            self.register = byte(self.register, next);
            self.known = self.known.saturating_add(1);
            if let Some(place) = self.kept.get_mut(self.known % KEPT) {
                *place = self.register;
            }
        }
    }

    /// Whether the bytes at this place are a frame under the four bytes in front of it. Places must be asked for in order.
    pub(super) fn may_begin(&mut self, at: usize) -> bool {
        let Some(seed) = self.bytes.get(..at).and_then(<[u8]>::last_chunk::<SUM>) else {
            return false;
        };
        let Some(length) = self.bytes.get(at..).and_then(<[u8]>::first_chunk::<2>) else {
            return false;
        };
        let length = usize::from(u16::from_le_bytes(*length));
        if length > PAYLOAD_MAX {
            return false;
        }
        let covered = length.saturating_add(HEADER);
        let end = at.saturating_add(covered);
        let Some(sum) = self.bytes.get(end..).and_then(<[u8]>::first_chunk::<SUM>) else {
            return false;
        };
        self.go_on(end);
        let before = self.register(at) ^ !u32::from_le_bytes(*seed);
        let zeros = ZEROS.get(covered).copied().unwrap_or(0);
        self.register(end) ^ product(zeros, before) == !u32::from_le_bytes(*sum)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::{Frame, OVERHEAD, encode, frame_at};
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// The same places as trying every byte, on noise with frames in it.
        #[test]
        fn a_frame_is_found_where_trying_every_byte_finds_it(
            noise in prop::collection::vec(prop_oneof![Just(0_u8), Just(2), any::<u8>()], 4..1500),
            payload in prop::collection::vec(any::<u8>(), 0..=PAYLOAD_MAX),
            more in prop::collection::vec(any::<u8>(), 0..1200),
            from in 0_usize..3000,
        ) {
            let mut bytes = noise;
            let seed = bytes.last_chunk::<4>().map_or(0, |seed| u32::from_le_bytes(*seed));
            let frame = Frame { kind: 3, version: 1, sequence: 9, payload: &payload };
            let mut room = [0; PAYLOAD_MAX + OVERHEAD];
            bytes.extend_from_slice(encode(&frame, seed, &mut room).unwrap());
            bytes.extend_from_slice(&more);
            let from = from % bytes.len();
            let mut resume = Resume::new(&bytes, from);
            for at in from.max(4)..bytes.len() {
                let seed = u32::from_le_bytes(*bytes[..at].last_chunk::<4>().unwrap());
                prop_assert_eq!(resume.may_begin(at), frame_at(&bytes[at..], seed).is_some(), "at {}", at);
            }
        }
    }

    /// 10 MB of the shortest trap: at every second byte a frame of full length might begin. Counted, not timed.
    #[test]
    fn every_byte_is_gone_over_once() {
        let bytes = [0_u8, 2].repeat(50_000);
        let mut resume = Resume::new(&bytes, 4);
        let mut gone_over = 0;
        for at in 4..bytes.len() {
            let before = resume.known;
            assert!(!resume.may_begin(at));
            gone_over += resume.known - before;
        }
        assert!(gone_over <= bytes.len(), "{gone_over}");
    }
}
