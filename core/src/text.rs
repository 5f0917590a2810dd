//! Short texts of fixed capacity: labels on the metal, names, reasons.
//!
//! Decode arrays, because a text is part of the path that must link without a panic. Knows nothing of formatting: texts are
//! copied, compared and stored.

use core::fmt;

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::limits::{LABEL_MAX, TEXT_MAX};
use crate::wire::{Decode, Decoder};

/// A text that is longer than its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TextTooLong {
    /// Bytes given.
    pub given: usize,
    /// Bytes allowed.
    pub allowed: usize,
}

impl fmt::Display for TextTooLong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "text of {} bytes is longer than the {} allowed",
            self.given, self.allowed
        )
    }
}

impl core::error::Error for TextTooLong {}

macro_rules! text {
    ($(#[$doc:meta])* $name:ident, $capacity:expr) => {
        $(#[$doc])*
        #[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name {
            /// UTF-8, zeros behind its end.
            bytes: [u8; $capacity],
            used: u8,
        }

        impl $name {
            /// No text.
            #[must_use]
            pub const fn empty() -> Self {
                Self { bytes: [0; $capacity], used: 0 }
            }

            /// The text, if it fits.
            ///
            /// # Errors
            /// [`TextTooLong`] with both sizes in bytes.
            pub fn new(text: &str) -> Result<Self, TextTooLong> {
                match u8::try_from(text.len()) {
                    Ok(used) if text.len() <= $capacity => {
                        let mut own = Self { used, ..Self::empty() };
                        for (place, byte) in own.bytes.iter_mut().zip(text.bytes()) {
                            *place = byte;
                        }
                        Ok(own)
                    }
                    _ => Err(TextTooLong { given: text.len(), allowed: $capacity }),
                }
            }

            /// As much of the text as fits, cut between characters.
            #[must_use]
            pub fn cut(text: &str) -> Self {
                let end = text.floor_char_boundary($capacity);
                text.get(..end).and_then(|text| Self::new(text).ok()).unwrap_or_default()
            }

            /// The text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                let used = self.bytes.get(..usize::from(self.used)).unwrap_or(&[]);
                core::str::from_utf8(used).unwrap_or("")
            }

            /// Whether there is none.
            #[must_use]
            pub const fn is_empty(&self) -> bool {
                self.used == 0
            }
        }

        impl Default for $name {
            fn default() -> Self {
                Self::empty()
            }
        }

        #[cfg(feature = "defmt")]
        impl defmt::Format for $name {
            fn format(&self, f: defmt::Formatter<'_>) {
                defmt::write!(f, "{=str}", self.as_str());
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Debug::fmt(self.as_str(), f)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(self.as_str())
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.as_str())
            }
        }

        impl Decode for $name {
            fn read(from: &mut Decoder<'_>) -> Self {
                Self::new(from.text($capacity)).unwrap_or_default()
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let text = <&'de str>::deserialize(deserializer)?;
                match Self::new(text) {
                    Ok(own) => Ok(own),
                    Err(_) => Err(D::Error::custom("text longer than its place")),
                }
            }
        }
    };
}

text! {
    /// A position label as it stands on the map and the metal: `7`, `3b`, `L10`. At most 8 bytes.
    Label, LABEL_MAX
}
text! {
    /// A name, reason or note. At most 48 bytes.
    Text, TEXT_MAX
}
