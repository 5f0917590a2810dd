//! Bytes become lines, each of bounded length; what ends a line may be either of the two usual signs, or both.
//!
//! Knows nothing of what a line says.

/// Longest line, in bytes: many times what an instrument prints of one reading.
pub const LINE_BYTES_MAX: usize = 256;

/// Why bytes are no line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Broken {
    /// Longer than [`LINE_BYTES_MAX`].
    Long,
    /// No UTF-8 text.
    NoText,
}

/// Collects bytes until a line is whole.
#[derive(Debug, Default)]
pub(super) struct Splitter {
    line: Vec<u8>,
    too_long: bool,
}

impl Splitter {
    /// Takes bytes, and gives every line that they end.
    pub(super) fn push(&mut self, bytes: &[u8], mut take: impl FnMut(Result<&str, Broken>)) {
        for &byte in bytes {
            if byte != b'\n' && byte != b'\r' {
                if self.line.len() < LINE_BYTES_MAX {
                    self.line.push(byte);
                } else {
                    self.too_long = true;
                }
                continue;
            }
            if self.too_long {
                take(Err(Broken::Long));
            } else if !self.line.is_empty() {
                take(std::str::from_utf8(&self.line).map_err(|_no_text| Broken::NoText));
            }
            self.line.clear();
            self.too_long = false;
        }
    }

    /// What is left without an end when the place is closed: half a line, and no reading.
    pub(super) fn forget(&mut self) {
        self.line.clear();
        self.too_long = false;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn lines(pieces: &[&[u8]]) -> Vec<Result<String, Broken>> {
        let mut splitter = Splitter::default();
        let mut found = Vec::new();
        for piece in pieces {
            splitter.push(piece, |line| found.push(line.map(str::to_owned)));
        }
        found
    }

    #[test]
    fn lines_end_with_either_sign_and_have_a_longest_length() {
        let long = [b'7'; LINE_BYTES_MAX + 1];
        let found = lines(&[
            b"1,2\r", b"\n3", b",4\n\n", &long, b"9\n5\n", b"\xff\n", b"half",
        ]);
        let wanted = [
            Ok("1,2".to_owned()),
            Ok("3,4".to_owned()),
            Err(Broken::Long),
            Ok("5".to_owned()),
            Err(Broken::NoText),
        ];
        assert_eq!(found, wanted);
    }

    proptest! {
        #[test]
        fn however_bytes_come_the_lines_are_the_same_and_no_more_is_kept_than_one(
            bytes in prop::collection::vec(any::<u8>(), 0..2_000),
            cut in 1_usize..300,
        ) {
            let pieces: Vec<&[u8]> = bytes.chunks(cut).collect();
            prop_assert_eq!(lines(&pieces), lines(&[&bytes]));
            let mut splitter = Splitter::default();
            splitter.push(&bytes, |_| {});
            prop_assert!(splitter.line.len() <= LINE_BYTES_MAX);
        }
    }
}
