//! What hands do at the bench besides pulling, and what is kept of it: one rule each, for the desk and for `rehearse`.
//!
//! Knows nothing of clocks and loops: whoever drives moves its clock by the time that the station's work took.

use std::sync::Arc;

use evendraw_core::procedure::{Prevailing, Procedure, StageKind};
use evendraw_core::session::Session;
use evendraw_core::verdict::Aim;

use super::station::{Station, degrees};
use crate::job::{Job, JobError};
use crate::plan::JointPlan;

type Worked = Session<Arc<Procedure>>;

/// What is to be pulled next.
#[derive(Clone, Debug)]
pub struct Reach {
    /// The step.
    pub step: u16,
    /// Its fastener.
    pub fastener: u8,
    /// What is pulled for.
    pub aim: Aim,
}

impl Reach {
    /// Of a session that waits for a pull.
    #[must_use]
    pub fn of(session: &Worked) -> Option<Self> {
        let (step, aim) = session.armed()?;
        Some(Self {
            step,
            fastener: session.procedure().fastener_of(step)?,
            aim,
        })
    }

    /// A screw that has not been tightened is spun down with the fingers before it is pulled; a locking nut is run down with the tool,
    /// as its running torque is measured.
    pub fn prepare(&self, session: &Worked, station: &mut Station) {
        let procedure = session.procedure();
        let kind = procedure.stage_of(self.step).map(|stage| stage.kind);
        let is_spun = matches!(kind, Some(StageKind::Tighten { .. }))
            && procedure.prevailing(self.step) == Prevailing::None
            && !session.ledger().is_tight(self.fastener)
            && !session.is_in_pull();
        if is_spun {
            station.spin_in(self.fastener, None);
        }
    }
}

/// Does on the bench what a step by hand asks for: a seat is turned in by so much.
pub fn seat(session: &Worked, station: &mut Station, step: u16) {
    let kind = session.procedure().stage_of(step).map(|stage| stage.kind);
    let fastener = session.procedure().fastener_of(step);
    if let (Some(StageKind::Seat { turns }), Some(fastener)) = (kind, fastener) {
        station.spin_in(fastener, Some(degrees(turns) / 360.0));
    }
}

/// Clamp loads, in kN, of the fasteners that the joint's stages tighten.
#[must_use]
pub fn clamps(plan: &JointPlan, station: &Station) -> Vec<(u8, f64)> {
    let procedure = &plan.procedure;
    let is_tightened = |fastener: u8| {
        procedure.numbered_steps().any(|(index, step)| {
            let stage = procedure.stage_of(index);
            step.fastener() == Some(fastener) && stage.is_some_and(|stage| stage.kind.tightens())
        })
    };
    (0_u8..)
        .zip(station.clamps_kn())
        .filter(|(fastener, _)| is_tightened(*fastener))
        .collect()
}

/// Keeps in the rehearsal's journal what the joint carries after a stage.
///
/// # Errors
/// [`JobError`].
pub fn keep_clamps(
    job: &mut Job,
    station: &Station,
    joint: u8,
    stage: u8,
) -> Result<Vec<(u8, f64)>, JobError> {
    let carried = job
        .joint_plan(joint)
        .map_or_else(Vec::new, |plan| clamps(plan, station));
    for &(fastener, load) in &carried {
        job.keep_clamp(joint, fastener, stage, load)?;
    }
    Ok(carried)
}
