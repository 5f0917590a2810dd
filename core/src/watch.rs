//! What the curve of a pull is watched for: every threshold as data, with its default and reason.
//!
//! Knows nothing of samples; the tracker applies these.

use serde::{Deserialize, Serialize};

use crate::procedure::ProcedureError;
use crate::unit::{Span, Torque};

/// Thresholds for one procedure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Watch {
    /// Members in firm contact: the angle counts from here. Zero: a tenth of the stage's target.
    pub snug: Torque,
    /// Below this the tool is not on the fastener: rotation is frozen. Zero: a twentieth of the stage's target.
    pub regrip: Torque,
    /// Stiffness of the tool train in mN·m per degree; zero: measured from the release of each pull.
    pub train: u32,
    /// An attempt left alone for this long is over.
    pub idle: Span,
}

impl Default for Watch {
    fn default() -> Self {
        Self {
            snug: Torque::ZERO,
            regrip: Torque::ZERO,
            train: 0,
            idle: Span::from_seconds(30),
        }
    }
}

impl Watch {
    pub(crate) fn checked(&self) -> Result<(), ProcedureError> {
        if self.snug.is_negative() || self.regrip.is_negative() {
            return Err(ProcedureError::Limits {
                stage: 0,
                why: "snug and re-grip torque must not be negative",
            });
        }
        Ok(())
    }
}
