//! Why a procedure is refused, with the numbers.

use core::fmt;

/// Why a procedure is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ProcedureError {
    /// More of something than there is room for.
    TooMany {
        /// What there is too much of.
        what: &'static str,
        /// How many were given.
        given: usize,
        /// How many are allowed.
        allowed: usize,
    },
    /// There must be at least one.
    None {
        /// Of what.
        what: &'static str,
    },
    /// A label is empty or used twice.
    Label {
        /// The fastener with the label.
        fastener: u8,
    },
    /// A step names a fastener or stage that does not exist.
    Dangling {
        /// The step.
        step: u16,
    },
    /// The same fastener and stage twice.
    Twice {
        /// The second of the two.
        step: u16,
    },
    /// A stage's limits contradict each other or are out of range.
    Limits {
        /// The stage.
        stage: u8,
        /// What is wrong with it.
        why: &'static str,
    },
    /// The step is for the whole joint but the stage needs a fastener, or the reverse.
    Place {
        /// The step.
        step: u16,
    },
    /// The steps of a repeated pass do not stand together.
    Scattered {
        /// The stage.
        stage: u8,
    },
    /// An override names nothing that exists or gives the wrong kind of window.
    Override {
        /// Its place in the list.
        index: u8,
    },
    /// The stored form is damaged.
    Damaged {
        /// The byte where reading stopped.
        offset: usize,
    },
    /// The stored form is of a version that this reader does not know.
    Version {
        /// The version found.
        found: u8,
    },
    /// The buffer is too small.
    Buffer {
        /// Its size.
        size: usize,
    },
}

impl fmt::Display for ProcedureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::TooMany {
                what,
                given,
                allowed,
            } => {
                write!(f, "{given} {what} are more than the {allowed} allowed")
            }
            Self::None { what } => write!(f, "no {what}: at least one is needed"),
            Self::Label { fastener } => {
                write!(f, "the label of fastener {fastener} is empty or used twice")
            }
            Self::Dangling { step } => write!(
                f,
                "step {step} names a fastener or stage that does not exist"
            ),
            Self::Twice { step } => write!(f, "step {step} repeats an earlier fastener and stage"),
            Self::Limits { stage, why } => {
                write!(f, "stage {}: {why}", u16::from(stage).saturating_add(1))
            }
            Self::Place { step } => {
                write!(
                    f,
                    "step {step}: its stage needs a fastener, or is for the whole joint"
                )
            }
            Self::Scattered { stage } => {
                write!(
                    f,
                    "stage {}: the steps of a repeated pass must stand together",
                    u16::from(stage).saturating_add(1)
                )
            }
            Self::Override { index } => write!(f, "target {index} for one fastener fits no step"),
            Self::Damaged { offset } => write!(f, "stored procedure damaged at byte {offset}"),
            Self::Version { found } => write!(f, "stored procedure of version {found}, known is 1"),
            Self::Buffer { size } => {
                write!(f, "buffer of {size} bytes is too small for the procedure")
            }
        }
    }
}

impl core::error::Error for ProcedureError {}
