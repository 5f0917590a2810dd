//! The record, and the curve of any of its attempts.

use super::super::view::{CurveView, RecordRow};
use super::Model;
use crate::job::status::{curve_of, rows};
use crate::store::Fact;

impl Model {
    /// The record: a first load alone says nothing that its attempt does not say.
    pub(super) fn record_view(&self) -> Vec<RecordRow> {
        let Some(job) = &self.job else {
            return Vec::new();
        };
        let mut rows = rows(
            job.facts(),
            self.is_rehearsing(),
            &job.names(),
            Some(job.plan()),
        );
        rows.retain(|row| !row.is_first_load);
        rows
    }

    /// Loads the curve of an entry from beside the journal, with what it was judged by.
    pub(super) fn load_curve(&mut self, sequence: u64) {
        let Some(job) = &self.job else { return };
        let index = usize::try_from(sequence.saturating_sub(1)).unwrap_or(usize::MAX);
        let Some(Fact::Entry(entry)) = job.facts().get(index) else {
            return;
        };
        let Some(attempt) = entry.record.attempt() else {
            return;
        };
        let plan = job.joint_plan(entry.joint);
        let curve = plan.and_then(|plan| curve_of(job.traces(), &plan.procedure, entry, attempt));
        self.curve = Some((sequence, curve.map_or_else(CurveView::default, drawn)));
        self.dirty = true;
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "newton-metres and degrees for a drawing"
)]
fn drawn(curve: crate::job::status::Curve) -> CurveView {
    let point = |&(angle, torque): &(f64, f64)| [angle as f32, torque as f32];
    // A limit that is none is not drawn.
    let limit = |value: f64| (value.abs() < 1e5).then_some(value as f32);
    let (torque, angle) = (curve.torque_nm, curve.angle_deg);
    CurveView {
        points: curve.points.iter().map(point).collect(),
        unit: "N·m".to_owned(),
        torque_low: torque.and_then(|(low, _)| limit(low)),
        torque_high: torque.and_then(|(_, high)| limit(high)),
        angle_low: angle.and_then(|(low, _)| limit(low)),
        angle_high: angle.and_then(|(_, high)| limit(high)),
    }
}
