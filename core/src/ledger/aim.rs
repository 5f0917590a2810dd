//! What a step has to reach, with what its fastener has been turned so far and its running torque taken into account.
//!
//! One function for the session that judges and the audit that judges again. Knows nothing of samples.

use super::Ledger;
use crate::procedure::{Prevailing, Procedure, StageKind, TorqueWindow};
use crate::record::{Added, Seen};
use crate::unit::Torque;
use crate::verdict::Aim;

impl Ledger {
    /// What an attempt at a step has to reach as things stand, the running torque put in as far as it is known; `None` where the
    /// procedure has no such step, or it is not pulled.
    #[must_use]
    pub fn aim_of(&self, procedure: &Procedure, step: u16) -> Option<Aim> {
        let aim = self.aim_as_planned(procedure, step)?;
        let added = self.added(procedure, step).torque();
        Some(aim.raised(added.unwrap_or(Torque::ZERO)))
    }

    /// The running torque that a step's torques come on top of as things stand. What somebody told goes before what the plan
    /// gives for every fastener alike.
    #[must_use]
    pub fn added(&self, procedure: &Procedure, step: u16) -> Added {
        let fastener = procedure.fastener_of(step);
        let known = fastener.and_then(|fastener| self.running(fastener));
        match (procedure.prevailing(step), known) {
            (Prevailing::None, _) => Added::Nothing,
            (_, Some((torque, Seen::Typed))) => Added::Typed(torque),
            (Prevailing::Given(torque), _) => Added::Given(torque),
            (Prevailing::Measure, Some((torque, Seen::Measured))) => Added::Measured(torque),
            (Prevailing::Measure, None) => Added::Unknown,
        }
    }

    /// The torque window of a step as things stand, the running torque put in as far as it is known; `None` for stages without
    /// one.
    #[must_use]
    pub fn torque_window(&self, procedure: &Procedure, step: u16) -> Option<TorqueWindow> {
        let window = procedure.torque_window(step)?;
        let added = self.added(procedure, step).torque();
        Some(window.raised(added.unwrap_or(Torque::ZERO)))
    }

    /// What an attempt at a step has to reach without any running torque.
    pub(crate) fn aim_as_planned(&self, procedure: &Procedure, step: u16) -> Option<Aim> {
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
                let fastener = procedure.fastener_of(step);
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
