//! The 27 patterns that real procedures contain, each as a plan: it loads, has nothing to ask about, compiles under every
//! answer, and can be worked to its end.
//!
//! The patterns come from public manuals (FAA, US Army, Navy) in our own words; their values here are invented.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use evendraw::plan::{JointPlan, Plan, report};
use evendraw_core::ledger::{Ledger, Standing};
use evendraw_core::procedure::{EngineState, Policy, Prevailing, Procedure, StageKind};
use evendraw_core::record::Role;
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::unit::{Angle, Instant, Length, Span, Torque};

fn pattern(number: usize) -> Plan {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fixtures/patterns/P{number:02}.toml"));
    let text = fs::read_to_string(&path).expect("a pattern");
    Plan::parse(&format!("P{number:02}.toml"), &text)
        .unwrap_or_else(|errors| panic!("{}", errors.report(false)))
}

fn only_joint(number: usize) -> (Plan, Procedure) {
    let plan = pattern(number);
    let procedure = plan.joints()[0].first_plan().procedure.clone();
    (plan, procedure)
}

fn kinds(procedure: &Procedure) -> Vec<StageKind> {
    procedure.stages().iter().map(|stage| stage.kind).collect()
}

fn labels(procedure: &Procedure, stage: u8) -> Vec<String> {
    procedure
        .steps()
        .iter()
        .filter(|step| step.stage() == stage)
        .filter_map(|step| step.fastener())
        .map(|fastener| {
            procedure.fasteners()[usize::from(fastener)]
                .label
                .to_string()
        })
        .collect()
}

const fn newton_meters(value: i32) -> Torque {
    Torque::from_millinewton_meters(value * 1_000)
}

const fn degrees(value: i32) -> Angle {
    Angle::from_millidegrees(value * 1_000)
}

/// Works a procedure as from paper, answering yes and letting time pass, and returns where the joint ends up.
fn worked(plan: &JointPlan) -> Standing {
    let mut session = Session::new(&plan.procedure, 0);
    let mut now = Instant::BOOT;
    let mut input = Input::Start {
        boot: 1,
        rehearsal: true,
    };
    for _ in 0..10_000 {
        let outcome = session.apply(now, input);
        assert_eq!(outcome.refusal, None, "{input:?} at {:?}", session.next());
        now = now.after(Span::from_millis(100));
        if let Some(last) = outcome.entries().last() {
            session.apply(now, Input::Durable { seq: last.seq });
        }
        input = match session.next() {
            Next::Person => Input::Person {
                name: "R. Falk",
                role: Role::Operator,
            },
            Next::Tool => Input::Tool {
                id: "A1",
                waiver: "",
            },
            Next::Condition => Input::Condition {
                found: "as planned",
                matches: true,
            },
            Next::Pull { step } | Next::Hand { step } | Next::Fit { step } => Input::Paper { step },
            Next::Answer { step } => Input::Answer {
                step,
                yes: true,
                note: "",
            },
            Next::Measure { step } => {
                let Some(StageKind::Measure { min, max }) =
                    plan.procedure.stage_of(step).map(|stage| stage.kind)
                else {
                    panic!("a length is asked for where none is measured");
                };
                let middle = min.micrometers().midpoint(max.micrometers());
                Input::Measure {
                    step,
                    length: Length::from_micrometers(middle),
                }
            }
            Next::Moment { moment, .. } => Input::Moment { moment },
            Next::Wait { until, .. } => {
                now = until;
                Input::Tick
            }
            Next::TakeApart => Input::TakenApart { note: "" },
            Next::AwaitDue { stage } => Input::Due {
                stage,
                state: match plan.procedure.stages()[usize::from(stage)].kind {
                    StageKind::Later { state, .. } => state,
                    _ => EngineState::Any,
                },
            },
            Next::Nothing => return session.standing(),
            Next::Start | Next::Store => Input::Tick,
            stuck => panic!("stuck at {stuck:?}"),
        };
    }
    panic!("no end in 10,000 inputs, at {:?}", session.next());
}

#[test]
fn every_pattern_loads_without_a_question_and_can_be_worked_to_its_end() {
    for number in 1..=27 {
        let plan = pattern(number);
        assert!(
            plan.warnings().is_empty(),
            "P{number}: {}",
            report(plan.warnings(), false)
        );
        for joint in plan.joints() {
            for made in joint.plans() {
                assert_eq!(
                    worked(made),
                    Standing::Final,
                    "P{number}, joint {}, {:?}",
                    joint.id(),
                    made.answers
                );
                for stage in &made.stages {
                    assert!(!stage.sentence().is_empty(), "P{number}");
                }
            }
        }
    }
}

#[test]
fn the_demo_can_be_worked_to_its_end() {
    let plan = Plan::demo().unwrap_or_else(|errors| panic!("{}", errors.report(false)));
    for joint in plan.joints() {
        for made in joint.plans() {
            assert_eq!(worked(made), Standing::Final, "{}", joint.id());
        }
    }
}

#[test]
fn p01_the_same_torque_is_two_passes() {
    let (_, procedure) = only_joint(1);
    assert_eq!(procedure.steps().len(), 12);
    assert_eq!(labels(&procedure, 0), labels(&procedure, 1));
}

#[test]
fn p02_groups_are_interleaved() {
    let (_, procedure) = only_joint(2);
    let a = ["A2", "A1", "A3"];
    let b = ["B2", "B1", "B3"];
    assert_eq!(labels(&procedure, 1), b);
    assert_eq!(labels(&procedure, 2), b);
    assert_eq!(labels(&procedure, 3), a);
    assert_eq!(labels(&procedure, 4), a);
}

#[test]
fn p03_and_p04_the_answer_decides_the_values() {
    let target = |procedure: &Procedure| procedure.torque_window(0).expect("a torque").target;
    let guard = pattern(3);
    let by_head: Vec<(Torque, usize)> = guard.joints()[0]
        .plans()
        .iter()
        .map(|made| (target(&made.procedure), made.stages.len()))
        .collect();
    assert_eq!(
        by_head,
        [(newton_meters(22), 1), (newton_meters(18), 2)],
        "the long head alone is angled"
    );
    let rod = pattern(4);
    let by_nut: Vec<Torque> = rod.joints()[0]
        .plans()
        .iter()
        .map(|made| target(&made.procedure))
        .collect();
    assert_eq!(
        by_nut,
        [newton_meters(34), newton_meters(39), newton_meters(34)],
        "a mixed set takes the older value"
    );
}

#[test]
fn p05_to_p07_windows_are_as_printed() {
    let window = |plan: &Plan, joint: usize| {
        plan.joints()[joint]
            .first_plan()
            .procedure
            .torque_window(0)
            .expect("a torque")
    };
    let covers = pattern(5);
    // 24 and 28 lbf·ft by the exact fraction 3389544870828501/2500000000000000 N·m [NIST SP 811, from the definitions].
    assert_eq!(window(&covers, 0).min.millinewton_meters(), 32_540);
    assert_eq!(window(&covers, 0).max.millinewton_meters(), 37_963);
    assert_eq!(window(&covers, 1).min, newton_meters(25));
    assert_eq!(window(&covers, 1).max, newton_meters(29));
    let clamps = pattern(6);
    assert_eq!(window(&clamps, 0).min, newton_meters(44));
    assert_eq!(window(&clamps, 0).max.millinewton_meters(), 48_400);
    assert_eq!(window(&clamps, 1).min.millinewton_meters(), 8_100);
    let (_, head) = only_joint(7);
    let angles: Vec<(Angle, Angle, Angle)> = kinds(&head)
        .iter()
        .filter_map(|kind| match kind {
            StageKind::Turn { window, .. } => Some((window.target, window.min, window.max)),
            _ => None,
        })
        .collect();
    assert_eq!(
        angles,
        [
            (degrees(90), degrees(90), degrees(94)),
            (degrees(50), degrees(50), degrees(55))
        ]
    );
}

#[test]
fn p08_and_p09_back_off_runs_in_reverse() {
    let (_, liner) = only_joint(8);
    let mut reversed = labels(&liner, 0);
    reversed.reverse();
    assert_eq!(labels(&liner, 1), reversed);
    assert!(matches!(
        kinds(&liner)[1],
        StageKind::BackOff { angle: None }
    ));
    let (_, casing) = only_joint(9);
    assert_eq!(casing.terms().angle_sum_max, Some(degrees(90)));
    assert_eq!(
        labels(&casing, 5).into_iter().collect::<BTreeSet<_>>(),
        BTreeSet::from(["2".to_owned(), "5".to_owned()])
    );
}

#[test]
fn p10_and_p12_fasteners_differ_inside_a_pass() {
    let (_, bearing) = only_joint(10);
    let targets: Vec<Torque> = (0..4)
        .map(|step| bearing.torque_window(step).expect("a torque").target)
        .collect();
    assert_eq!(
        targets,
        [61, 61, 27, 27].map(newton_meters),
        "inner before outer"
    );
    let stack = pattern(10).joints()[1].first_plan().procedure.clone();
    let angles: Vec<Angle> = (3..6)
        .map(|step| stack.angle_window(step).expect("an angle").target)
        .collect();
    assert_eq!(angles, [55, 65, 75].map(degrees));
    let (_, rear) = only_joint(12);
    assert_eq!(
        labels(&rear, 3),
        ["2", "3"],
        "the outer bolts are never angled"
    );
}

#[test]
fn p13_and_p26_a_measure_outside_its_band_sends_back() {
    let (_, head) = only_joint(13);
    assert_eq!(head.stages()[1].on_over, Policy::Restart(0));
    assert_eq!(head.stages()[1].on_under, Policy::Restart(0));
    let (_, rod) = only_joint(26);
    assert_eq!(rod.stages()[1].on_over, Policy::Replace);
    assert_eq!(rod.stages()[1].on_under, Policy::Restart(0));
    assert_eq!(labels(&rod, 1), ["1", "2"], "bolt by bolt");
}

#[test]
fn p15_a_trial_is_marked_as_one() {
    let (_, cap) = only_joint(15);
    let trial: Vec<bool> = cap.stages().iter().map(|stage| stage.mock_up).collect();
    assert_eq!(trial, [true, true, false, false]);
}

#[test]
fn p16_to_p18_waits_count_from_their_moment() {
    for (number, joint) in [(16, 0), (17, 1), (18, 0)] {
        let plan = pattern(number);
        let made = plan.joints()[joint].first_plan();
        let waits = kinds(&made.procedure)
            .iter()
            .filter_map(|kind| match *kind {
                StageKind::Wait {
                    at_least, at_most, ..
                } => Some((at_least, at_most)),
                _ => None,
            })
            .collect::<Vec<_>>();
        let minutes = |value: u32| Span::from_seconds(value * 60);
        let expected = match number {
            16 => (Span::ZERO, minutes(3)),
            17 => (Span::ZERO, minutes(30)),
            _ => (minutes(240), Span::MAX),
        };
        assert_eq!(waits, [expected], "P{number}");
        let named = if number == 18 {
            Vec::new()
        } else {
            vec!["sealant applied".to_owned()]
        };
        assert_eq!(made.moments, named, "P{number}");
    }
}

#[test]
fn p19_and_p21_one_fastener_is_finished_before_the_next() {
    for (number, from) in [(19, 5), (21, 4)] {
        let (_, procedure) = only_joint(number);
        let steps: Vec<(Option<u8>, u8)> = procedure.steps()[from..]
            .iter()
            .map(|step| (step.fastener(), step.stage()))
            .collect();
        for pair in steps.chunks(2) {
            let [back, again] = pair else {
                panic!("a fastener is left half done")
            };
            assert_eq!(back.0, again.0, "P{number}");
            assert_eq!(back.1 + 1, again.1, "P{number}");
        }
    }
}

#[test]
fn p22_both_ends_of_a_stud_stand_together() {
    let (plan, procedure) = only_joint(22);
    assert_eq!(labels(&procedure, 0), ["3", "3b", "1", "1b", "2", "2b"]);
    assert!(procedure.stages()[1].any_order);
    assert_eq!(plan.joints()[0].second_look().len(), 6);
}

#[test]
fn p25_passes_go_on_until_nothing_moves() {
    let (_, procedure) = only_joint(25);
    let kinds = kinds(&procedure);
    assert!(matches!(
        kinds[0],
        StageKind::Seat { turns } if turns == degrees(3 * 360)
    ));
    let StageKind::Repeat {
        window, min, max, ..
    } = kinds[3]
    else {
        panic!("{:?}", kinds[3]);
    };
    assert_eq!((window.target, min, max), (newton_meters(120), 1, 5));
}

#[test]
fn p27_retorques_are_due_cold() {
    let (plan, procedure) = only_joint(27);
    let cold = kinds(&procedure)
        .iter()
        .filter(|kind| {
            matches!(
                kind,
                StageKind::Later {
                    state: EngineState::Cold,
                    ..
                }
            )
        })
        .count();
    assert_eq!(cold, 3);
    let due: Vec<&str> = plan.joints()[0]
        .stages()
        .iter()
        .filter_map(|stage| stage.due.as_deref())
        .collect();
    assert_eq!(
        due,
        [
            "after 10 miles, engine cold",
            "after 25 miles, engine cold",
            "after 50 miles, engine cold"
        ]
    );
}

#[test]
fn a_known_running_torque_is_carried_into_the_repeated_pass() {
    let text = r#"
[[joint]]
id = "lock"
positions = { 1 = [0, 0], 2 = [50, 0] }
[[joint.stage]]
do = "tighten"
torque = "20 N·m"
prevailing = "3 N·m"
[[joint.stage]]
do = "repeat"
"#;
    let plan = Plan::parse("lock.toml", text).unwrap_or_else(|errors| panic!("{errors:?}"));
    let procedure = &plan.joints()[0].first_plan().procedure;
    let [
        StageKind::Tighten { prevailing, .. },
        StageKind::Repeat { window, .. },
    ] = kinds(procedure)[..]
    else {
        panic!("{:?}", kinds(procedure));
    };
    let given = Prevailing::Given(newton_meters(3));
    assert_eq!((prevailing, procedure.prevailing(3)), (given, given));
    assert_eq!(window.target, newton_meters(20));
    let raised = Ledger::new().torque_window(procedure, 3);
    assert_eq!(raised.map(|window| window.target), Some(newton_meters(23)));
}
