//! A made-up sheet with one of everything, for the tests of both printers.

use super::Sheet;
use crate::job::status::*;
use crate::mark::Mark;

pub(super) fn specimen() -> Sheet {
    let curve = Curve {
        points: (0..40)
            .map(|step| {
                let angle = f64::from(step) * 3.2;
                (
                    angle,
                    if angle < 20.0 {
                        angle * 0.1
                    } else {
                        2.0 + (angle - 20.0) * 0.52
                    },
                )
            })
            .collect(),
        torque_nm: Some((50.0, 58.0)),
        angle_deg: Some((90.0, 94.0)),
        of: "stage 2".into(),
    };
    let cell = |mark, reached: &str| StageCell {
        mark: Some(mark),
        reached: reached.into(),
        attempts: 1,
        tool: "A1".into(),
        ..StageCell::default()
    };
    let fastener =
        |label: &str, order, mark, (x_mm, y_mm), cells, remarks: &str, curve| FastenerStatus {
            label: label.into(),
            x_mm,
            y_mm,
            order: Some(order),
            mark: Some(mark),
            cells,
            remarks: remarks.into(),
            is_new: remarks.starts_with("new"),
            curve,
            ..FastenerStatus::default()
        };
    let head = JointStatus {
        id: "head".into(),
        title: "Cylinder head".into(),
        mark: Mark::Doubtful,
        why: "Fastener 4 waits for a decision.".into(),
        front: "left".into(),
        facts: [
            ("Thread", "M10x1.5"),
            ("Class", "10.9"),
            ("Order", "centre-out"),
            ("Used again", "replace if loosened"),
        ]
        .map(|(name, text)| (name.into(), text.into()))
        .to_vec(),
        condition: "oiled".into(),
        confirmed: "oiled, as the plan assumes".into(),
        stages: vec![
            StageStatus {
                number: 1,
                what: "tighten".into(),
                printed: "33.2 lbf·ft (45 N·m)".into(),
                window: "38.4 to 41.6 N·m".into(),
                has_column: true,
                ..StageStatus::default()
            },
            StageStatus {
                number: 2,
                what: "turn".into(),
                printed: "90°, +4° -0°".into(),
                window: "90.0 to 94.0°".into(),
                has_column: true,
                ..StageStatus::default()
            },
            StageStatus {
                number: 3,
                what: "check".into(),
                printed: "crank turns freely?".into(),
                ..StageStatus::default()
            },
        ],
        checks: vec![CheckRow {
            question: "Does the shaft turn freely?".into(),
            answer: "not answered".into(),
            mark: Mark::Open,
            by: String::new(),
        }],
        fasteners: vec![
            fastener(
                "1",
                5,
                Mark::Final,
                (0.0, 0.0),
                vec![
                    cell(Mark::Accepted, "40.1 N·m"),
                    cell(Mark::Accepted, "91.2° at 63.0 N·m"),
                ],
                "new, cycle 1, marked",
                Some(curve.clone()),
            ),
            fastener(
                "4",
                4,
                Mark::Rejected,
                (0.0, 110.0),
                vec![
                    cell(Mark::Accepted, "39.8 N·m"),
                    StageCell {
                        attempts: 2,
                        detail: "peak 66.0 N·m".into(),
                        ..cell(Mark::Rejected, "97.0° at 64.1 N·m")
                    },
                ],
                "cycle 1",
                Some(curve),
            ),
            fastener(
                "6",
                6,
                Mark::Open,
                (180.0, 110.0),
                vec![cell(Mark::Unmeasured, ""), StageCell::default()],
                "",
                None,
            ),
        ],
        attempts: vec![AttemptRow {
            place: "fastener 4, stage 2".into(),
            attempt: 2,
            reached: "97.0° at 64.1 N·m, peak 66.0 N·m, 3 pulls".into(),
            mark: Mark::Rejected,
            reasons: "angle above the window".into(),
            followed: "decision waited for".into(),
            when: "2026-05-14 10:22".into(),
        }],
        notes: vec!["Fastener 3 was loosened by work on the bracket (shared).".into()],
        is_as_assumed: true,
        ..JointStatus::default()
    };
    let status = Status {
        title: "Harbour pump 7, top end".into(),
        unit: "pump 7, serial 4411".into(),
        document: "Pump overhaul instructions, section 6, revision C".into(),
        rehearsal: false,
        open: vec![
            Item::new(
                Mark::Rejected,
                "head, fastener 4, stage 2",
                "angle above the window; a decision is waited for",
            ),
            Item::new(Mark::Open, "head, fastener 6, stage 2", "not done"),
        ],
        exceptions: vec![Item::new(
            Mark::Unmeasured,
            "head, fastener 6, stage 1",
            "from paper, unmeasured",
        )],
        redone: vec![Item::new(
            Mark::Final,
            "head, fastener 1, stage 1",
            "loosened: gasket replaced",
        )],
        due: vec![Item::new(
            Mark::Due,
            "manifold, stage 3",
            "retorque when cold after 10 h; not yet due",
        )],
        amendments: vec![],
        people: vec![PersonStatus {
            name: "R. Quay".into(),
            is_witness: false,
            when: "time unknown".into(),
        }],
        witnessed: "nobody".into(),
        when: "2026-05-14 10:02 to 2026-05-14 10:22".into(),
        tools: vec![ToolStatus {
            id: "A1".into(),
            what: "adapter, to 200 N·m, 2 %".into(),
            calibration: "2026-05-04, due 2027-05-04".into(),
            in_date: "yes".into(),
            readings: 13,
            is_used: true,
            ..ToolStatus::default()
        }],
        given: vec![("Short or long head?".into(), "short".into())],
        joints: vec![head],
        notes: vec![],
        ..Status::default()
    };
    Sheet {
        pictures: Vec::new(),
        status,
        journal: "pump7.journal".into(),
        plan: "[build]\ntitle = \"Harbour pump 7, top end\"\n".into(),
        colophon: "31 records, rules 1, journal digest 4d5ac2f0".into(),
    }
}
