//! What a step has to reach, with what its fastener has been turned so far taken into account.
//!
//! One function for the session that judges and the audit that judges again. Knows nothing of samples.

use super::Ledger;
use crate::procedure::{Procedure, StageKind};
use crate::verdict::Aim;

impl Ledger {
    /// What an attempt at a step has to reach as things stand; `None` where the procedure has no such step, or it is not
    /// pulled.
    #[must_use]
    pub fn aim_of(&self, procedure: &Procedure, step: u16) -> Option<Aim> {
        Some(match procedure.stage_of(step)?.kind {
            StageKind::Tighten { .. } | StageKind::Align { .. } | StageKind::Later { .. } => {
                Aim::Torque {
                    window: procedure.torque_window(step)?,
                }
            }
            StageKind::Repeat { still, .. } => Aim::Repeat {
                window: procedure.torque_window(step)?,
                still,
            },
            StageKind::Turn {
                torque, one_sweep, ..
            } => {
                let fastener = procedure.steps().get(usize::from(step))?.fastener();
                Aim::Turn {
                    window: procedure.angle_window(step)?,
                    torque,
                    one_sweep,
                    left: match (procedure.terms().angle_sum_max, fastener) {
                        (Some(sum), Some(fastener)) => Some(sum - self.turned(fastener)),
                        _ => None,
                    },
                }
            }
            StageKind::Hold {
                torque,
                time,
                still,
            } => Aim::Hold {
                torque,
                time,
                still,
            },
            StageKind::BackOff { angle } => Aim::BackOff { angle },
            _ => return None,
        })
    }
}
