//! Postcard's bytes read back in little flash: what records and procedures are made of.
//!
//! The form is postcard's, and postcard writes it; serde's readers of the same types take 6 KB more of a small
//! microcontroller's flash. Here a fault sticks: after it everything reads as zero, and [`Decoder::end`] says so once at the end,
//! so that no field needs a branch of its own. Stricter than postcard in one thing: a number has one spelling, so what is
//! read is written as the same bytes again. Knows nothing of frames, records or procedures.
//!
//! # Why not the readers that serde derives
//!
//! The form is postcard's; with the readers that serde derives the adapter was 6 KB over the 64 KiB of flash it had
//! then. *Choice:* `core/src/wire.rs` reads field by field; a fault sticks and is asked about once, so no field needs
//! a branch: 6.3 KB less, no panic in the reader of records, every number in one spelling. A test holds every shape
//! against postcard on the same random bytes. *Alternative:* serde's readers, and writing again to compare. *Would
//! change our mind:* a library with readers as small.

/// Fields one after another, taken from the front.
pub(crate) struct Decoder<'a> {
    rest: &'a [u8],
    is_sound: bool,
}

/// What can be read from [`Decoder`].
pub(crate) trait Decode: Sized {
    /// The next fields as one of these; anything, where the fields are at fault.
    fn read(from: &mut Decoder<'_>) -> Self;
}

/// Bits that a byte of a number carries.
const BITS: u32 = 7;
/// Set in every byte of a number but the last.
const MORE: u8 = 1 << BITS;

impl<'a> Decoder<'a> {
    pub(crate) const fn new(bytes: &'a [u8]) -> Self {
        Self {
            rest: bytes,
            is_sound: true,
        }
    }

    /// Bytes left behind what was read; none when a field was at fault.
    pub(crate) const fn end(&self) -> Option<usize> {
        if self.is_sound {
            Some(self.rest.len())
        } else {
            None
        }
    }

    pub(crate) fn item<T: Decode>(&mut self) -> T {
        T::read(self)
    }

    const fn fail(&mut self) {
        self.is_sound = false;
        self.rest = &[];
    }

    #[inline(never)]
    fn byte(&mut self) -> u8 {
        match self.rest.split_first() {
            Some((&byte, rest)) => {
                self.rest = rest;
                byte
            }
            None => {
                self.fail();
                0
            }
        }
    }

    /// One of this many choices, numbered from 0.
    #[inline(never)]
    pub(crate) fn choice(&mut self, choices: u8) -> u8 {
        let chosen = self.byte();
        if chosen < choices {
            return chosen;
        }
        self.fail();
        0
    }

    /// A number in groups of seven bits, the lowest first, up to and including `most`.
    #[inline(never)]
    fn number(&mut self, most: u64) -> u64 {
        let (mut value, mut shift) = (0_u64, 0_u32);
        while shift < u64::BITS {
            let byte = self.byte();
            let group = u64::from(byte & !MORE);
            let placed = group.wrapping_shl(shift);
            let is_whole = placed.wrapping_shr(shift) == group;
            value |= placed;
            if byte & MORE == 0 {
                // A last group of nothing would be a second spelling.
                if is_whole && value <= most && (byte != 0 || shift == 0) {
                    return value;
                }
                break;
            }
            shift = shift.wrapping_add(BITS);
        }
        self.fail();
        0
    }

    #[inline(never)]
    fn small(&mut self, most: u32) -> u32 {
        u32::try_from(self.number(u64::from(most))).unwrap_or(0)
    }

    /// A signed number of at most this size; signs alternate: 0, −1, 1, −2 …
    #[inline(never)]
    pub(crate) fn within(&mut self, size: i32) -> i32 {
        let number = self.small(u32::MAX);
        let sign = 0_u32.wrapping_sub(number & 1);
        let number = ((number >> 1) ^ sign).cast_signed();
        if number.unsigned_abs() <= size.unsigned_abs() {
            return number;
        }
        self.fail();
        0
    }

    /// Up to this many bytes of UTF-8, their length in front.
    pub(crate) fn text(&mut self, longest: usize) -> &'a str {
        let longest = u32::try_from(longest).unwrap_or(u32::MAX);
        let length = usize::try_from(self.small(longest)).unwrap_or(0);
        if let Some((text, rest)) = self.rest.split_at_checked(length)
            && let Ok(text) = core::str::from_utf8(text)
        {
            self.rest = rest;
            return text;
        }
        self.fail();
        ""
    }
}

impl Decode for u8 {
    fn read(from: &mut Decoder<'_>) -> Self {
        from.byte()
    }
}

impl Decode for bool {
    fn read(from: &mut Decoder<'_>) -> Self {
        from.choice(2) == 1
    }
}

impl Decode for u16 {
    fn read(from: &mut Decoder<'_>) -> Self {
        Self::try_from(from.small(u32::from(Self::MAX))).unwrap_or(0)
    }
}

impl Decode for u32 {
    fn read(from: &mut Decoder<'_>) -> Self {
        from.small(Self::MAX)
    }
}

impl Decode for u64 {
    fn read(from: &mut Decoder<'_>) -> Self {
        from.number(Self::MAX)
    }
}

/// Signs alternate: 0, −1, 1, −2 …
impl Decode for i64 {
    fn read(from: &mut Decoder<'_>) -> Self {
        let number = from.number(u64::MAX);
        let sign = 0_u64.wrapping_sub(number & 1);
        ((number >> 1) ^ sign).cast_signed()
    }
}

impl<T: Decode> Decode for Option<T> {
    fn read(from: &mut Decoder<'_>) -> Self {
        let is_some = from.item();
        if is_some { Some(from.item()) } else { None }
    }
}

impl<T: Decode, const N: usize> Decode for [T; N] {
    fn read(from: &mut Decoder<'_>) -> Self {
        core::array::from_fn(|_| from.item())
    }
}

/// Reads a structure field by field, in the order in which they are declared, or an enumeration by the number of the
/// variant: the last pattern is `_`.
macro_rules! wire {
    (struct $name:ident { $($field:ident),* $(,)? }) => {
        impl $crate::wire::Decode for $name {
            fn read(from: &mut $crate::wire::Decoder<'_>) -> Self {
                Self { $($field: from.item(),)* }
            }
        }
    };
    (enum $name:ident, $choices:literal {
        $($number:pat => $variant:ident $({ $($field:ident),* })? $(($one:ident))?,)*
    }) => {
        impl $crate::wire::Decode for $name {
            fn read(from: &mut $crate::wire::Decoder<'_>) -> Self {
                match from.choice($choices) {
                    $($number => Self::$variant $({ $($field: from.item()),* })? $(({
                        let $one = from.item();
                        $one
                    }))?,)*
                }
            }
        }
    };
}
pub(crate) use wire;

/// Held against postcard, a library that reads the same form by serde.
#[cfg(test)]
mod tests {
    use std::fmt::Debug;
    use std::vec::Vec;

    use proptest::prelude::*;
    use serde::Serialize;
    use serde::de::DeserializeOwned;

    use super::{Decode, Decoder};
    use crate::procedure::{Fastener, Override, Stage, Step, Terms};
    use crate::record;
    use crate::unit::{Instant, Torque};

    /// What is read, and how many bytes are left.
    type Read<T> = Option<(T, usize)>;

    fn ours<T: Decode>(bytes: &[u8]) -> Read<T> {
        let mut fields = Decoder::new(bytes);
        let item = fields.item();
        Some((item, fields.end()?))
    }

    /// As postcard reads it; nothing where it would be written in another way.
    fn theirs<T: Serialize + DeserializeOwned>(bytes: &[u8]) -> Read<T> {
        let (item, rest) = postcard::take_from_bytes::<T>(bytes).ok()?;
        let mut room = [0; 256];
        let again = postcard::to_slice(&item, &mut room).ok()?;
        (bytes.strip_prefix(&*again) == Some(rest)).then_some((item, rest.len()))
    }

    fn agree<T: Decode + Serialize + DeserializeOwned + PartialEq + Debug>(bytes: &[u8]) -> bool {
        let found = ours::<T>(bytes);
        assert_eq!(found, theirs::<T>(bytes), "{bytes:02X?}");
        found.is_some()
    }

    /// Every shape there is, by its number.
    fn agree_on(shape: usize, bytes: &[u8]) -> bool {
        macro_rules! shapes {
            ($($number:literal $shape:ty,)*) => {
                match shape {
                    $($number => agree::<$shape>(bytes),)*
                    _ => panic!("there is no shape {shape}"),
                }
            };
        }
        shapes! {
            0 u16, 1 u32, 2 u64, 3 i64, 4 Torque, 5 Instant,
            6 Terms, 7 Fastener, 8 Stage, 9 Step, 10 Override,
            11 record::Started, 12 record::Begun, 13 record::Attempt, 14 record::Done, 15 record::Answered,
            16 record::Measured, 17 record::Waited, 18 record::Person, 19 record::Tool, 20 record::Condition,
            21 record::Anchor, 22 record::Zero, 23 record::Loosened, 24 record::Fitted, 25 record::Skipped,
            26 record::Noted, 27 record::Decided, 28 record::Marked, 29 record::Rechecked, 30 record::Pass,
            31 record::Moment, 32 record::Due, 33 record::Apart, 34 record::Recovered, 35 record::Running,
            36 record::AttemptV1, 37 record::Read, 38 record::BySetting, 39 record::Reassigned, 40 record::Withdrawn,
            41 record::Revised,
        }
    }
    const SHAPES: usize = 42;

    /// Bytes that are often a choice or a short length, sometimes the edge of a number, and sometimes anything.
    fn bytes() -> impl Strategy<Value = Vec<u8>> {
        let byte = prop_oneof![
            6 => 0..4_u8,
            2 => prop::sample::select(&[0x7F, 0x80, 0x81, 0xFF][..]),
            1 => any::<u8>(),
        ];
        prop::collection::vec(byte, 0..100)
    }

    proptest! {
        #[test]
        fn any_bytes_read_as_postcard_reads_them(bytes in bytes()) {
            for shape in 0..SHAPES {
                agree_on(shape, &bytes);
            }
        }
    }

    /// Otherwise the test above would compare refusals only.
    #[test]
    fn every_shape_is_read_from_some_bytes() {
        for shape in 0..SHAPES {
            assert!(
                agree_on(shape, &[1; 100]) && agree_on(shape, &[0; 100]),
                "{shape}"
            );
        }
    }

    #[test]
    fn a_number_at_its_edge_is_read_and_one_beyond_is_not() {
        for number in [
            0,
            1,
            127,
            128,
            16_383,
            16_384,
            u64::MAX / 2,
            u64::MAX - 1,
            u64::MAX,
        ] {
            let mut room = [0; 10];
            let bytes = &*postcard::to_slice(&number, &mut room).expect("room");
            assert_eq!(ours::<u64>(bytes), Some((number, 0)));
            assert_eq!(ours::<u32>(bytes).is_some(), u32::try_from(number).is_ok());
            assert_eq!(ours::<u16>(bytes).is_some(), u16::try_from(number).is_ok());
        }
        let beyond = [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x02];
        assert_eq!(ours::<u64>(&beyond), None);
        let mut room = [0; 10];
        for torque in [
            1_000_000_000,
            -1_000_000_000,
            1_000_000_001,
            -1_000_000_001,
            i32::MIN,
        ] {
            let bytes = &*postcard::to_slice(&torque, &mut room).expect("room");
            assert_eq!(
                agree::<Torque>(bytes),
                torque.unsigned_abs() <= 1_000_000_000,
                "{torque}"
            );
        }
    }
}
