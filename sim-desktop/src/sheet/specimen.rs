//! A made-up sheet with one of everything, for the tests of both printers.

use super::*;

pub(super) fn specimen() -> SheetModel {
    let six = |label: &str, x: f64, y: f64, mark, order| Place {
        label: label.into(),
        x_mm: x,
        y_mm: y,
        mark,
        order: Some(order),
    };
    let head_map = Map {
        front: "left".into(),
        places: vec![
            six("1", 0.0, 0.0, Some(Mark::Done), 5),
            six("2", 90.0, 0.0, Some(Mark::Done), 1),
            six("3", 180.0, 0.0, Some(Mark::Disturbed), 3),
            six("4", 0.0, 110.0, Some(Mark::Rejected), 4),
            six("5", 90.0, 110.0, Some(Mark::Done), 2),
            six("6", 180.0, 110.0, Some(Mark::Open), 6),
        ],
    };
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
        limit: Limit {
            torque_nm: Some((50.0, 58.0)),
        },
        of: "stage 2".into(),
    };
    let cell = |mark, reached: &str| StageCell {
        mark: Some(mark),
        reached: reached.into(),
        attempts: 1,
        tool: "A1".into(),
        ..StageCell::default()
    };
    let fastener = |label: &str, order, mark, cells, remarks: &str, curve| FastenerRow {
        label: label.into(),
        order: Some(order),
        mark: Some(mark),
        cells,
        remarks: remarks.into(),
        curve,
    };
    let head = JointSheet {
        id: "head".into(),
        title: "Cylinder head".into(),
        mark: Some(Mark::Doubtful),
        why: "Fastener 4 waits for a decision.".into(),
        map: head_map,
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
            StageRow {
                number: 1,
                what: "tighten".into(),
                printed: "29.5 lbf·ft (40 N·m)".into(),
                window: "38.4 to 41.6 N·m".into(),
                has_column: true,
                mock_up: false,
            },
            StageRow {
                number: 2,
                what: "turn".into(),
                printed: "90°, +4° -0°".into(),
                window: "90.0 to 94.0°".into(),
                has_column: true,
                mock_up: false,
            },
            StageRow {
                number: 3,
                what: "check".into(),
                printed: "crank turns freely?".into(),
                ..StageRow::default()
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
                Mark::Done,
                vec![
                    cell(Mark::Done, "40.1 N·m"),
                    cell(Mark::Done, "91.2° at 63.0 N·m"),
                ],
                "new, cycle 1, marked",
                Some(curve.clone()),
            ),
            fastener(
                "4",
                4,
                Mark::Rejected,
                vec![
                    cell(Mark::Done, "39.8 N·m"),
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
    };
    SheetModel {
        title: "Harbour pump 7, top end".into(),
        unit: "pump 7, serial 4411".into(),
        document: "Pump overhaul instructions, section 6, revision C".into(),
        journal: "pump7.journal".into(),
        rehearsal: false,
        demo: false,
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
            Mark::Done,
            "head, fastener 1, stage 1",
            "loosened: gasket replaced",
        )],
        due: vec![Item::new(
            Mark::Due,
            "manifold, stage 3",
            "retorque when cold after 10 h; not yet due",
        )],
        amendments: vec![],
        people: vec![PersonRow {
            name: "R. Quay".into(),
            role: "operator".into(),
            when: "time unknown".into(),
        }],
        witnessed: "nobody".into(),
        when: "2026-05-14 10:02 to 2026-05-14 10:22".into(),
        tools: vec![ToolRow {
            id: "A1".into(),
            what: "adapter, to 200 N·m, 2 %".into(),
            calibration: "2026-05-04, due 2027-05-04".into(),
            in_date: "yes".into(),
            readings: 13,
            waiver: String::new(),
        }],
        given: vec![("Short or long head?".into(), "short".into())],
        joints: vec![head],
        notes: vec![],
        plan: "[build]\ntitle = \"Harbour pump 7, top end\"\n".into(),
        colophon: "31 records, rules 1, journal digest 4d5ac2f0".into(),
    }
}
