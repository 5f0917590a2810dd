//! Short texts of fixed capacity: labels on the metal, names, reasons.
//!
//! Knows nothing of formatting: texts are copied, compared and stored.

use core::fmt;

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::limits::{LABEL_MAX, TEXT_MAX};

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
        #[derive(Clone, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub struct $name(heapless::String<{ $capacity }>);

        impl $name {
            /// No text.
            #[must_use]
            pub const fn empty() -> Self {
                Self(heapless::String::new())
            }

            /// The text, if it fits.
            ///
            /// # Errors
            /// [`TextTooLong`] with both sizes in bytes.
            pub fn new(text: &str) -> Result<Self, TextTooLong> {
                let mut own = heapless::String::new();
                match own.push_str(text) {
                    Ok(()) => Ok(Self(own)),
                    Err(_) => Err(TextTooLong { given: text.len(), allowed: $capacity }),
                }
            }

            /// As much of the text as fits, cut between characters.
            #[must_use]
            pub fn cut(text: &str) -> Self {
                let mut own = heapless::String::new();
                for character in text.chars() {
                    if own.push(character).is_err() {
                        break;
                    }
                }
                Self(own)
            }

            /// The text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                self.0.as_str()
            }

            /// Whether there is none.
            #[must_use]
            pub fn is_empty(&self) -> bool {
                self.0.is_empty()
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
