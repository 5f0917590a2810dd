//! Views made by hand: a build with every state in it, a joint half done.

use evendraw::desk::view::*;

fn text(words: &str) -> String {
    words.to_owned()
}

fn row(
    id: &str,
    title: &str,
    what: &str,
    mark: Mark,
    startable: bool,
    why: &str,
    (done, steps): (usize, usize),
) -> JointRow {
    JointRow {
        id: text(id),
        title: text(title),
        what: text(what),
        mark,
        startable,
        why: text(why),
        done,
        steps,
        closes: vec![],
        still_open_beneath: vec![],
    }
}

/// A pump with a joint in every state.
pub(crate) fn build() -> BuildView {
    let mut joints = vec![
        row(
            "dowels",
            "Dowel screws",
            "4 x M6",
            Mark::Final,
            false,
            "final",
            (8, 8),
        ),
        row(
            "head",
            "Cylinder head",
            "10 x M10x1.5",
            Mark::PartWay,
            true,
            "stage 2 of 3, fastener 7 is next",
            (17, 30),
        ),
        row(
            "manifold",
            "Manifold",
            "8 x M8",
            Mark::Held,
            false,
            "held: Cylinder head must be final first",
            (0, 16),
        ),
        row(
            "cover",
            "Discharge cover",
            "8 x M12",
            Mark::Open,
            true,
            "may be started now",
            (0, 24),
        ),
        row(
            "bracket",
            "Lifting bracket",
            "3 x M10",
            Mark::Disturbed,
            true,
            "shares fastener 3 with Cylinder head, which was loosened",
            (3, 6),
        ),
        row(
            "oil-jet",
            "Oil jet",
            "2 x 1/4-20 UNC",
            Mark::Doubtful,
            true,
            "fastener 2 was interrupted: its angle is unknown",
            (1, 2),
        ),
        row(
            "sump",
            "Sump",
            "14 x M6",
            Mark::Rejected,
            true,
            "fastener 4: angle above 95\u{b0}, fit a new one",
            (9, 14),
        ),
        row(
            "bearing",
            "Bearing cap",
            "2 x M8",
            Mark::MockUp,
            true,
            "mock-up: must come apart again",
            (4, 4),
        ),
        row(
            "locknut",
            "Shaft locknut",
            "1 x M20x1.5",
            Mark::Skipped,
            true,
            "left out: thread to be repaired",
            (0, 2),
        ),
    ];
    joints[6].closes = vec![text("oil-jet")];
    joints[6].still_open_beneath = vec![text("Oil jet")];
    BuildView {
        link: None,
        title: text("Harbour pump 7, top end"),
        unit: text("pump 7, serial 4411"),
        document: text("Pump overhaul instructions, section 6, revision C"),
        rehearsal: true,
        demo: true,
        readings: Readings::Bench,
        person: Some(text("M. Ahlers")),
        witness: Some(text("R. Falk")),
        tool: Some(text("A1")),
        tools: vec![
            ToolView {
                id: text("A1"),
                words: text("adapter, 10 to 200 N\u{b7}m"),
                date: text("due 2027-05-04"),
                in_date: true,
            },
            ToolView {
                id: text("K2"),
                words: text("click, 4 to 20 N\u{b7}m"),
                date: text("out of date since 2026-03-01"),
                in_date: false,
            },
        ],
        joints,
        next: Some(NextStep {
            joint: text("head"),
            words: text("Cylinder head, fastener 7, stage 2 of 3"),
        }),
        parts: vec![PartView {
            name: text("head gasket"),
            for_joints: text("Cylinder head"),
            arrived: false,
        }],
        dues: vec![text("Manifold: retorque after 10 h, engine cold")],
        exceptions: vec![text(
            "Sump 4: angle above its window, 97\u{b0} of at most 95\u{b0}",
        )],
        complete: false,
        journal: text("pump7.journal"),
    }
}

/// A cylinder head in the middle of its turn stage.
pub(crate) fn joint() -> JointView {
    let places = [
        (0.0, 0.0),
        (90.0, 0.0),
        (180.0, 0.0),
        (270.0, 0.0),
        (360.0, 0.0),
    ];
    let mut fasteners = Vec::new();
    let marks = [
        (Mark::PartWay, ""),
        (Mark::Accepted, "91\u{b0}"),
        (Mark::Accepted, "88\u{b0}"),
        (Mark::Rejected, "97\u{b0}"),
        (Mark::Doubtful, "unknown"),
        (Mark::Disturbed, "89\u{b0}"),
        (Mark::PartWay, ""),
        (Mark::Accepted, "90\u{b0}"),
        (Mark::Skipped, ""),
        (Mark::PartWay, ""),
    ];
    for (index, (mark, reading)) in marks.into_iter().enumerate() {
        let (x, y) = places[index % 5];
        fasteners.push(FastenerView {
            label: (index + 1).to_string(),
            x,
            y: if index < 5 { y } else { 130.0 },
            mark,
            reading: text(reading),
            place: text(if index < 5 {
                "upper row"
            } else {
                "lower row, second from the front"
            }),
            marked: index == 1 || index == 7,
        });
    }
    let curve: Vec<[f32; 2]> = (0..640u16)
        .map(|i| {
            let angle = f32::from(i) / 10.0;
            [
                angle,
                if angle < 8.0 {
                    4.0
                } else {
                    4.0 + (angle - 8.0) * 1.35
                },
            ]
        })
        .collect();
    JointView {
        at_adapter: None,
        may_send: false,
        id: text("head"),
        title: text("Cylinder head"),
        what: text("M10x1.5, 10.9, oiled"),
        mock_up: false,
        finished: false,
        checking_again: false,
        witness_wanted: None,
        witnesses: vec![text("R. Falk")],
        fasteners,
        front: Front::Left,
        path: vec![2, 7, 1, 3, 5, 6, 8, 0, 4, 9],
        at: Some(5),
        stages: vec![
            StageRow {
                number: 1,
                words: text("tighten 40 N\u{b7}m"),
                mark: Mark::Accepted,
                done: 10,
                of: 10,
                current: false,
            },
            StageRow {
                number: 2,
                words: text("turn 90\u{b0}"),
                mark: Mark::PartWay,
                done: 5,
                of: 10,
                current: true,
            },
            StageRow {
                number: 3,
                words: text("check: crank turns freely"),
                mark: Mark::Open,
                done: 0,
                of: 1,
                current: false,
            },
        ],
        stage_words: text("Stage 2 of 3: turn 90\u{b0}"),
        live: LiveView {
            gauges: vec![
                Gauge {
                    quantity: text("Angle"),
                    unit: text("\u{b0}"),
                    value: Some(63.4),
                    decimals: 1,
                    low: Some(90.0),
                    high: Some(94.0),
                    target: Some(90.0),
                    typed: text("90\u{b0} +4\u{b0} \u{2212}0\u{b0}"),
                    scale: 120.0,
                    missing: String::new(),
                },
                Gauge {
                    quantity: text("Torque"),
                    unit: text("N\u{b7}m"),
                    value: Some(78.9),
                    decimals: 1,
                    low: Some(55.0),
                    high: Some(120.0),
                    target: None,
                    typed: String::new(),
                    scale: 140.0,
                    missing: String::new(),
                },
            ],
            cue: Cue::Pull,
            cue_words: text("Keep pulling"),
            loaded: true,
            pulls: 2,
            curve: CurveView {
                points: curve,
                unit: text("N\u{b7}m"),
                torque_low: Some(55.0),
                torque_high: Some(120.0),
                angle_low: Some(90.0),
                angle_high: Some(94.0),
            },
            hand_at_work: false,
        },
        entries: vec![
            Entry {
                mark: Some(Mark::Disturbed),
                fastener: text("6"),
                words: text("loosened: fitted the bracket"),
            },
            Entry {
                mark: Some(Mark::Rejected),
                fastener: text("4"),
                words: text("97.2\u{b0}, 3.2\u{b0} above 90 to 94\u{b0}: fit a new one"),
            },
            Entry {
                mark: Some(Mark::Accepted),
                fastener: text("2"),
                words: text("91.0\u{b0}, 96.3 N\u{b7}m, 3 pulls"),
            },
        ],
        alert: None,
        question: None,
        faults: vec![
            text("the thread is crossed"),
            text("a part under it is soft"),
            text("the thread strips"),
        ],
        clamp: None,
    }
}

/// The whole desk.
pub(crate) fn desk() -> DeskView {
    let mut record = Vec::new();
    for sequence in 1..=60u64 {
        let odd = sequence % 11 == 0;
        record.push(RecordRow {
            sequence,
            time: format!("09:{:02}:{:02}", sequence / 3, sequence * 17 % 60),
            joint: text("head"),
            fastener: (sequence % 10 + 1).to_string(),
            stage: if sequence < 30 { 1 } else { 2 },
            attempt: if odd { 2 } else { 1 },
            torque: Some(39.0 + (sequence % 7) as f64 * 0.3),
            torque_unit: text("N\u{b7}m"),
            angle: (sequence >= 30).then_some(88.0 + (sequence % 5) as f64),
            mark: Some(if odd { Mark::Rejected } else { Mark::Accepted }),
            words: text(if odd {
                "angle above its window"
            } else {
                "1 pull"
            }),
            person: text("M. Ahlers"),
            tool: text("A1"),
            exception: odd,
            traced: sequence % 3 > 0,
        });
    }
    DeskView {
        ports: Vec::new(),
        build: build(),
        joint: Some(joint()),
        record,
        curve: Some((22, joint().live.curve)),
        recovery: None,
        plan: PlanView {
            path: Some("pump7.toml".into()),
            text: text(
                "[build]\ntitle    = \"Harbour pump 7, top end\"\n\n[[joint]]\nid = \"head\"\ntitle = \"Cylinder head\"\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"1820 lbf\u{b7}ft\"\nprinted = \"2712 N\u{b7}m\"\n\n# turned afterwards\n[[joint.stage]]\ndo = \"turn\"\nangle = \"90\"\n",
            ),
            findings: vec![
                Finding {
                    warning: false,
                    line: 11,
                    column: 11,
                    length: 10,
                    words: text("2712 N\u{b7}m is not 1820 lbf\u{b7}ft: that is 2467.6 N\u{b7}m"),
                    hint: text("2000 lbf\u{b7}ft would agree; look at the document again"),
                },
                Finding {
                    warning: true,
                    line: 16,
                    column: 9,
                    length: 4,
                    words: text("is 90 meant in degrees?"),
                    hint: text("write \"90\u{b0}\""),
                },
            ],
            changed_on_disk: false,
        },
        compare: CompareView {
            running: true,
            done: 7_200,
            of: 18_000,
            stopped: false,
            rows: vec![
                CompareRow {
                    order: text("centre-out"),
                    passes: 3,
                    scatter: 0.051,
                    scatter_error: 0.001,
                    place: 1,
                    tilt_um: 38.0,
                    tilt_place: 1,
                    lowest: 0.91,
                    pulls: 30,
                },
                CompareRow {
                    order: text("cross"),
                    passes: 3,
                    scatter: 0.064,
                    scatter_error: 0.001,
                    place: 2,
                    tilt_um: 37.0,
                    tilt_place: 1,
                    lowest: 0.88,
                    pulls: 30,
                },
                CompareRow {
                    order: text("centre-out"),
                    passes: 1,
                    scatter: 0.124,
                    scatter_error: 0.002,
                    place: 3,
                    tilt_um: 74.0,
                    tilt_place: 3,
                    lowest: 0.79,
                    pulls: 10,
                },
                CompareRow {
                    order: text("listed"),
                    passes: 1,
                    scatter: 0.183,
                    scatter_error: 0.003,
                    place: 4,
                    tilt_um: 121.0,
                    tilt_place: 4,
                    lowest: 0.66,
                    pulls: 10,
                },
            ],
            headline: text(
                "Most even: centre-out in 3 passes (scatter 5.1 %). Least tilt on the way: cross in 3 passes or centre-out in 3 passes, no \
                 difference shown between them (37 to 38 µm).",
            ),
            joint: text("Cylinder head"),
            error: None,
        },
        notice: None,
    }
}

/// What is shown after a pull went too far.
pub(crate) fn alert() -> Alert {
    Alert {
        title: text("Fastener 4: turned too far"),
        detail: text("97.2\u{b0}, the window is 90 to 94\u{b0}."),
        what_now: vec![
            text("Do not back it off to the mark: that proves nothing."),
            text("Loosen it fully and take it out."),
            text("Fit a new one and start it again at stage 1."),
        ],
        ways: vec![Way::NewFitted, Way::FeltWrong, Way::Skip],
    }
}
