//! What the joint clamps with after every pass, and whether it was closed in time.
//!
//! Knows nothing of hands or samples.

use evendraw_core::procedure::StageKind;
use evendraw_core::record::{Record, Waited};
use evendraw_core::unit::Span;

use super::{Rehearsal, WorkError};
use crate::job::Done;
use crate::rehearsal::hands;
use crate::rehearsal::result::{PassResult, WindowResult};

impl Rehearsal {
    /// What every fastener clamps with each time a pass is through, and the waits with a limit.
    pub(super) fn keep_passes<E>(&mut self, joint: u8, done: &Done) -> Result<(), WorkError<E>> {
        for entry in &done.entries {
            match &entry.record {
                Record::Pass(pass) => self.keep_pass(joint, pass.stage, Some(pass.pass))?,
                Record::Waited(waited) => self.keep_window(joint, waited),
                _ => {}
            }
        }
        let Some(session) = self.job.session(joint) else {
            return Ok(());
        };
        let (procedure, ledger) = (session.procedure(), session.ledger());
        let mut through = Vec::new();
        for (number, stage) in (0_u8..).zip(procedure.stages()) {
            let is_settled = stage.kind.tightens() && ledger.is_stage_settled(procedure, number);
            let was_settled = self.settled_stages.contains(&number);
            if is_settled && !was_settled {
                self.settled_stages.push(number);
                // The rounds of a repeated stage were kept one by one.
                if !matches!(stage.kind, StageKind::Repeat { .. }) {
                    through.push(number);
                }
            } else if !is_settled && was_settled {
                self.settled_stages.retain(|stage| *stage != number);
            }
        }
        through
            .into_iter()
            .try_for_each(|stage| self.keep_pass(joint, stage, None))
    }

    fn keep_pass<E>(
        &mut self,
        joint: u8,
        stage: u8,
        round: Option<u8>,
    ) -> Result<(), WorkError<E>> {
        let Some(station) = self.stations.get(&joint) else {
            return Ok(());
        };
        let clamps_kn = hands::keep_clamps(&mut self.job, station, joint, stage)?;
        self.result.passes.push(PassResult {
            stage,
            round,
            clamps_kn,
            embedding_um: station.embedding_um(),
            seconds: self.since_begun(),
        });
        Ok(())
    }

    fn keep_window(&mut self, joint: u8, waited: &Waited) {
        let Some(session) = self.job.session(joint) else {
            return;
        };
        let procedure = session.procedure();
        if let (Some(StageKind::Wait { at_most, .. }), Some(place)) = (
            procedure.stage_of(waited.step).map(|stage| stage.kind),
            procedure.step_at(waited.step),
        ) && at_most < Span::MAX
        {
            self.result.windows.push(WindowResult {
                stage: place.stage(),
                took_s: u64::from(waited.seconds),
                allowed_s: u64::from(at_most.millis()) / 1_000,
                verdict: waited.verdict,
            });
        }
    }

    /// Clamp loads of the fasteners that the joint's stages tighten, after the joint has stood for so many seconds; the joint itself
    /// does not stand.
    pub(super) fn clamps_after(&self, joint: u8, seconds: f64) -> Vec<(u8, f64)> {
        let (Some(station), Some(plan)) = (self.stations.get(&joint), self.job.joint_plan(joint))
        else {
            return Vec::new();
        };
        let mut stood = station.clone();
        stood.idle(seconds);
        hands::clamps(plan, &stood)
    }
}
