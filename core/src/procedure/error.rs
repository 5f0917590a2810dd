//! Why a procedure is refused, with the numbers.

use core::fmt;

/// What is wrong with the limits of a stage, or of the whole. Its words are there only for whoever prints them: a chip need not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Rule {
    /// What follows beyond the limit restarts at a later stage.
    OnOver,
    /// The same of a length too small.
    OnUnder,
    /// The order of a torque window.
    TorqueWindow,
    /// The order of an angle window.
    AngleWindow,
    /// A running torque below zero.
    Prevailing,
    /// Movement that counts as none.
    Still,
    /// Passes of a repeat.
    Passes,
    /// Torque of a hold.
    HoldTorque,
    /// Time of a hold.
    HoldTime,
    /// Angle of a back-off.
    BackOff,
    /// Turns by hand.
    Turns,
    /// Order of a length window.
    Length,
    /// Order of a wait.
    Wait,
    /// What a wait counts from.
    WaitAfter,
    /// Times that a fastener may be used.
    Cycles,
    /// Limit on the sum of angles.
    AngleSum,
    /// Torques of the curve limits.
    LimitTorques,
    /// Stiffnesses of the curve limits.
    LimitStiffness,
    /// Their least and most gradient.
    LimitGradients,
    /// Their parts.
    LimitParts,
    /// Their teeth and angles.
    LimitTeeth,
}

impl fmt::Display for Rule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::OnOver => "on_over restarts at a stage that is not earlier",
            Self::OnUnder => "on_under restarts at a stage that is not earlier",
            Self::TorqueWindow => {
                "torque window must be 0 ≤ min ≤ target ≤ max with target above 0 N·m"
            }
            Self::AngleWindow => "angle window must be 0 ≤ min ≤ target ≤ max with target above 0°",
            Self::Prevailing => "prevailing torque must not be negative",
            Self::Still => "still must be above 0°",
            Self::Passes => "passes must run from min to max, 1 to 30",
            Self::HoldTorque => "hold torque must be above 0 N·m",
            Self::HoldTime => "hold time must be above 0 s",
            Self::BackOff => "back-off angle must be above 0°",
            Self::Turns => "turns must be above 0",
            Self::Length => "length window is empty",
            Self::Wait => "wait must not end before it begins",
            Self::WaitAfter => "wait counts from a stage that is not earlier",
            Self::Cycles => "cycles must be at least 1",
            Self::AngleSum => "sum_max must be above 0°",
            Self::LimitTorques => "snug, re-grip, noise and overload torque must not be negative",
            Self::LimitStiffness => "a stiffness must not be above 100,000 N·m per degree",
            Self::LimitGradients => "the least gradient must not be above the most",
            Self::LimitParts => "a part must be from 1 to 100 %",
            Self::LimitTeeth => "teeth must be at least 1 and angles not negative",
        })
    }
}

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
        why: Rule,
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
            Self::Version { found } => {
                let known = super::blob::VERSION;
                write!(f, "stored procedure of version {found}, known is {known}")
            }
            Self::Buffer { size } => {
                write!(f, "buffer of {size} bytes is too small for the procedure")
            }
        }
    }
}

impl core::error::Error for ProcedureError {}
