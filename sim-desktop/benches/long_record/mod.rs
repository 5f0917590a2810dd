//! A record of a hundred thousand rows with a curve of a million samples, for both benches.

use evendraw::desk::view::{CurveView, DeskView, RecordRow};

/// A curve of a million samples: re-grips make a saw of it, so the angle goes back now and then.
#[expect(clippy::cast_possible_truncation, reason = "points for a drawing")]
pub(crate) fn points() -> Vec<[f32; 2]> {
    (0..1_000_000u32)
        .map(|index| {
            let turned = f64::from(index) / 1_000_000.0 * 90.0;
            let back = if (index / 50_000) % 2 == 1 { 2.0 } else { 0.0 };
            [
                turned as f32 - back,
                (turned * 1.1 + f64::from(index % 97) * 0.01) as f32,
            ]
        })
        .collect()
}

/// The view with that record in place of its own.
pub(crate) fn on(view: DeskView) -> DeskView {
    let record = (1..=100_000u64)
        .map(|sequence| RecordRow {
            sequence,
            time: "09:00:00".to_owned(),
            joint: "head".to_owned(),
            fastener: "7".to_owned(),
            stage: 2,
            attempt: 1,
            torque: Some(40.0),
            torque_unit: "N·m".to_owned(),
            words: "accepted".to_owned(),
            traced: true,
            ..RecordRow::default()
        })
        .collect();
    DeskView {
        record,
        curve: Some((
            100_000,
            CurveView {
                points: points(),
                unit: "N·m".to_owned(),
                ..CurveView::default()
            },
        )),
        ..view
    }
}
