//! Consistent Overhead Byte Stuffing: bytes without a zero, so that a zero can end a frame.
//!
//! [Cheshire and Baker, *Consistent Overhead Byte Stuffing*, IEEE/ACM Transactions on Networking 7(2), 1999.] The last block of
//! 254 bytes takes no extra code byte when nothing follows. Knows nothing of what the bytes mean.

/// Longest block: a code byte of 255 stands for 254 bytes and no zero.
const BLOCK: u8 = u8::MAX;

/// Bytes that `length` bytes take at most.
#[must_use]
pub const fn encoded_max(length: usize) -> usize {
    length.saturating_add(length / 254).saturating_add(1)
}

/// Writes bytes as they come.
#[derive(Debug)]
pub(super) struct Encoder<'b> {
    into: &'b mut [u8],
    at: usize,
    code_at: usize,
    code: u8,
}

impl<'b> Encoder<'b> {
    /// Into a buffer; [`encoded_max`] says how long it must be.
    #[must_use]
    pub(super) const fn new(into: &'b mut [u8]) -> Self {
        Self {
            into,
            at: 1,
            code_at: 0,
            code: 1,
        }
    }

    /// One more byte; none if the buffer is full.
    #[must_use]
    pub(super) fn push(&mut self, byte: u8) -> Option<()> {
        // A full block is closed only once something follows it.
        if self.code == BLOCK {
            self.close()?;
        }
        if byte == 0 {
            return self.close();
        }
        *self.into.get_mut(self.at)? = byte;
        self.at = self.at.saturating_add(1);
        self.code = self.code.saturating_add(1);
        Some(())
    }

    /// Ends the last block and returns the number of bytes written; none if the buffer is full.
    #[must_use]
    pub(super) fn finish(self) -> Option<usize> {
        *self.into.get_mut(self.code_at)? = self.code;
        Some(self.at)
    }

    fn close(&mut self) -> Option<()> {
        *self.into.get_mut(self.code_at)? = self.code;
        self.code_at = self.at;
        self.at = self.at.saturating_add(1);
        self.code = 1;
        Some(())
    }
}

/// Writes all of `bytes` and returns how many it took; none if the buffer is too small.
#[must_use]
pub fn encode(bytes: &[u8], into: &mut [u8]) -> Option<usize> {
    let mut encoder = Encoder::new(into);
    for &byte in bytes {
        encoder.push(byte)?;
    }
    encoder.finish()
}

/// Reads bytes as they come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Decoder {
    /// Bytes still to come in this block.
    left: u8,
    /// Whether a zero stands between this block and the next.
    zero_after: bool,
    begun: bool,
}

/// What a byte of the line means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Decoded {
    /// Nothing by itself: the next block's length.
    Length,
    /// A byte of content.
    Byte(u8),
    /// A zero of content.
    Zero,
}

impl Decoder {
    /// At the beginning of a frame.
    #[must_use]
    pub(super) const fn new() -> Self {
        Self {
            left: 0,
            zero_after: false,
            begun: false,
        }
    }

    /// Takes a byte that is not zero. (A zero ends the frame: see [`Decoder::is_whole`].)
    pub(super) const fn push(&mut self, byte: u8) -> Decoded {
        if self.left > 0 {
            self.left = self.left.saturating_sub(1);
            return Decoded::Byte(byte);
        }
        let zero = self.begun && self.zero_after;
        self.left = byte.saturating_sub(1);
        self.zero_after = byte != BLOCK;
        self.begun = true;
        if zero { Decoded::Zero } else { Decoded::Length }
    }

    /// Whether a frame may end here: it began, and its last block is complete.
    #[must_use]
    pub(super) const fn is_whole(&self) -> bool {
        self.begun && self.left == 0
    }
}

/// Reads all of `bytes` and returns how many came of it; none if they are no such frame or the buffer is too small.
#[must_use]
pub fn decode(bytes: &[u8], into: &mut [u8]) -> Option<usize> {
    let mut decoder = Decoder::new();
    let mut at = 0_usize;
    for &byte in bytes {
        if byte == 0 {
            return None;
        }
        let content = match decoder.push(byte) {
            Decoded::Length => continue,
            Decoded::Byte(byte) => byte,
            Decoded::Zero => 0,
        };
        *into.get_mut(at)? = content;
        at = at.saturating_add(1);
    }
    decoder.is_whole().then_some(at)
}
