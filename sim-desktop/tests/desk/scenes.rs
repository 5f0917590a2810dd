//! Views made by hand: a build with every state in it, a joint half done.

use evendraw::desk::view::*;
use evendraw::job::status::{Item, JointStatus, NextJoint, PartStatus, ToolStatus};
use evendraw::store::PartState;

fn text(words: &str) -> String {
    words.to_owned()
}

fn row(
    id: &str,
    title: &str,
    what: &str,
    mark: Mark,
    why: &str,
    (done, steps): (usize, usize),
) -> JointStatus {
    JointStatus {
        id: text(id),
        title: text(title),
        what: text(what),
        mark,
        why: text(why),
        done,
        steps,
        ..JointStatus::default()
    }
}

/// A pump with a joint in every state.
pub(crate) fn status() -> Status {
    let joints = vec![
        row(
            "dowels",
            "Dowel screws",
            "M6",
            Mark::Final,
            "every stage is settled",
            (8, 8),
        ),
        row(
            "head",
            "Cylinder head",
            "M10x1.5",
            Mark::InProgress,
            "next: fastener 7, stage 2 of 3",
            (17, 30),
        ),
        row(
            "manifold",
            "Manifold",
            "M8",
            Mark::Waiting,
            "Cylinder head must be final first",
            (0, 16),
        ),
        row(
            "cover",
            "Discharge cover",
            "M12",
            Mark::Ready,
            "nothing stands in its way",
            (0, 24),
        ),
        row(
            "bracket",
            "Lifting bracket",
            "M10",
            Mark::Disturbed,
            "shares fastener 3 with Cylinder head, which was loosened",
            (3, 6),
        ),
        row(
            "oil-jet",
            "Oil jet",
            "1/4-20 UNC",
            Mark::Doubtful,
            "fastener 2 was interrupted: its angle is unknown",
            (1, 2),
        ),
        row(
            "sump",
            "Sump",
            "M6",
            Mark::Rejected,
            "fastener 4: angle above 95\u{b0}, fit a new one",
            (9, 14),
        ),
        row(
            "bearing",
            "Bearing cap",
            "M8",
            Mark::MockUp,
            "must come apart again",
            (4, 4),
        ),
        row(
            "locknut",
            "Shaft locknut",
            "M20x1.5",
            Mark::Skipped,
            "thread to be repaired",
            (0, 2),
        ),
        row(
            "plug",
            "Drain plug",
            "G 1/2",
            Mark::Due,
            "final but for the retorque after running",
            (1, 2),
        ),
    ];
    let tool = |id: &str, what: &str, calibration: &str, is_expired| ToolStatus {
        id: text(id),
        what: text(what),
        calibration: text(calibration),
        is_expired,
        is_undated: false,
        ..ToolStatus::default()
    };
    Status {
        title: text("Harbour pump 7, top end"),
        unit: text("pump 7, serial 4411"),
        document: text("Pump overhaul instructions, section 6, revision C"),
        rehearsal: true,
        demo: true,
        joints,
        tools: vec![
            tool(
                "A1",
                "adapter, 10 to 200 N\u{b7}m",
                "2026-05-04, due 2027-05-04",
                false,
            ),
            tool(
                "K2",
                "click, 4 to 20 N\u{b7}m",
                "2025-03-01, calibration expired on 2026-03-01",
                true,
            ),
        ],
        next: Some(NextJoint {
            joint: 1,
            id: text("head"),
            words: text("Cylinder head, fastener 7, stage 2 of 3"),
        }),
        parts: vec![PartStatus {
            name: text("head gasket"),
            for_joints: text("Cylinder head"),
            is_here: false,
            state: PartState::Ordered,
            ..PartStatus::default()
        }],
        due: vec![Item::new(
            Mark::Due,
            "plug",
            "retorque after 10 h, engine cold",
        )],
        exceptions: vec![Item::new(
            Mark::Rejected,
            "sump, fastener 4, stage 2",
            "97\u{b0}, above 90 to 95\u{b0}",
        )],
        open: vec![Item::new(Mark::Open, "head", "not final")],
        ..Status::default()
    }
}

pub(crate) fn build() -> BuildView {
    BuildView {
        link: None,
        readings: Readings::Bench,
        person: Some(text("M. Ahlers")),
        witness: Some(text("R. Falk")),
        tool: Some(text("A1")),
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
        (Mark::InProgress, ""),
        (Mark::Accepted, "91\u{b0}"),
        (Mark::Accepted, "88\u{b0}"),
        (Mark::Rejected, "97\u{b0}"),
        (Mark::Doubtful, "unknown"),
        (Mark::Disturbed, "89\u{b0}"),
        (Mark::InProgress, ""),
        (Mark::Accepted, "90\u{b0}"),
        (Mark::Skipped, ""),
        (Mark::InProgress, ""),
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
        picture: None,
        out_of_turn: None,
        typing: None,
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
        front: Some(Front::Left),
        left_hand: false,
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
                mark: Mark::InProgress,
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
                    beside: String::new(),
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
                    beside: String::new(),
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
        prompt: None,
        clock: None,
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
            ..RecordRow::default()
        });
    }
    DeskView {
        start: None,
        paper: None,
        tonight: None,
        put_right: Vec::new(),
        shelf: ShelfView::default(),
        recent: Vec::new(),
        ports: Vec::new(),
        instruments: Vec::new(),
        status: status(),
        build: build(),
        joint: Some(joint()),
        record,
        curve: Some((22, joint().live.curve)),
        recovery: None,
        edit: evendraw::desk::model::plan_written(
            "pump7.toml",
            "[build]\ntitle    = \"Harbour pump 7, top end\"\n\n[[joint]]\nid = \"head\"\ntitle = \"Cylinder head\"\ncircle = { number = 6, diameter = \"140 mm\" }\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"1820 lbf\u{b7}ft\"\nprinted = \"2712 N\u{b7}m\"\n\n# turned afterwards\n[[joint.stage]]\ndo = \"turn\"\nangle = \"90\"\n",
            "joint/0/stage/0",
        ),
        plan: PlanView {
            is_demo: false,
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
pub(crate) fn alert() -> Prompt {
    let choice = |key, words: &str, act| Choice {
        key,
        words: text(words),
        act,
        asks: "",
        because: &[],
    };
    Prompt {
        grave: true,
        title: text("Fastener 4: turned too far"),
        words: text("97.2\u{b0}, the window is 90 to 94\u{b0}."),
        what_now: vec![
            text("Do not back it off to the mark: that proves nothing."),
            text("Loosen it fully and take it out."),
            text("Fit a new one and start it again at stage 1."),
        ],
        gauge: joint().live.gauges.first().map(|gauge| Gauge {
            value: Some(97.2),
            ..gauge.clone()
        }),
        typed: None,
        choices: vec![
            choice("B", "New one fitted", Act::Fitted(3)),
            Choice {
                asks: "Why is it skipped?",
                ..choice("K", "Skip, with a reason", Act::Skip(text("4")))
            },
        ],
        is_open: false,
    }
}

/// A check that is asked.
pub(crate) fn check() -> Prompt {
    let choice = |key, words: &str, yes| Choice {
        key,
        words: text(words),
        act: Act::Answer(7, yes),
        asks: "",
        because: &[],
    };
    Prompt {
        title: text("Check"),
        words: text("Does the crank turn freely?"),
        choices: vec![choice("Enter", "Yes", true), choice("N", "No", false)],
        ..Prompt::default()
    }
}
