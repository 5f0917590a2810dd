//! What holds, what is done again and what is asked, stage by stage; and that the records of a change say all of it.

use std::vec::Vec;

use super::*;
use crate::ledger::{StepState, before};
use crate::limits::MOMENTS_MAX;
use crate::procedure::samples::{self, degrees, tighten, torque, window};
use crate::procedure::{
    AngleWindow, EngineState, Evidence, Fastener, Override, OverrideAim, Parts, Policy, Prevailing,
    Redo, Stage, Terms,
};
use crate::record::{Entry, Seen};
use crate::text::Label;
use crate::unit::{Instant, Length, Span};
use crate::verdict::{Reason, Reasons};

fn turn(angle: i32, end: i32, one_sweep: bool) -> Stage {
    Stage::new(StageKind::Turn {
        window: AngleWindow {
            target: degrees(angle),
            min: degrees(angle - 5),
            max: degrees(angle + 5),
        },
        torque: Some(window(end)),
        one_sweep,
    })
}

fn wait(at_least: u32, at_most: u32, after: Moment) -> Stage {
    Stage::new(StageKind::Wait {
        at_least: Span::from_millis(at_least),
        at_most: Span::from_millis(at_most),
        after,
    })
}

fn repeat(max: u8) -> Stage {
    Stage::new(StageKind::Repeat {
        window: window(40),
        still: degrees(2),
        min: 1,
        max,
    })
}

/// Fasteners 1 and 2, each stage at both of them; a wait and a check for the joint.
fn procedure(stages: &[Stage]) -> Procedure {
    let terms = Terms {
        redo: Redo::Fastener,
        ..Terms::default()
    };
    samples::procedure(&[[None; 4]; 2], stages, terms)
}

/// All steps of these stages done, both fasteners tight.
fn worked(procedure: &Procedure, stages: usize) -> Ledger {
    let mut ledger = Ledger::new();
    for (index, step) in procedure.numbered_steps() {
        if usize::from(step.stage()) < stages {
            ledger.put(procedure, index, Done);
        }
    }
    for fastener in &mut ledger.fasteners[..2] {
        fastener.set(super::super::TIGHT, stages > 0);
    }
    ledger
}

const fn carry<'a>(stages: &'a [Option<u8>]) -> Carry<'a> {
    Carry {
        stages,
        condition: true,
        moments: true,
    }
}

/// What became of the first fastener's step at each stage, or of the joint's.
fn states(ledger: &Ledger, procedure: &Procedure) -> Vec<StepState> {
    let own = |step: &Step| step.fastener().is_none_or(|fastener| fastener == 0);
    let steps = procedure.numbered_steps().filter(|(_, step)| own(step));
    steps.map(|(index, _)| ledger.step(index)).collect()
}

use StepState::{Disturbed, Done, Doubtful, Open};

/// A joint in progress, a stage that nobody has come to behind: what of the stages done holds.
#[test]
fn work_in_progress_is_done_again_from_the_first_stage_that_changed() {
    /// What is changed, the torques before and after, which stage is which, and what becomes of the steps.
    type Row<'a> = (
        &'a str,
        &'a [i32],
        &'a [i32],
        &'a [Option<u8>],
        &'a [StepState],
    );
    let rows: [Row<'_>; 8] = [
        (
            "nothing changed",
            &[20, 40, 60],
            &[20, 40, 60],
            &[Some(0), Some(1), Some(2)],
            &[Done, Done, Done, Open],
        ),
        (
            "the last",
            &[20, 40, 60],
            &[20, 40, 70],
            &[Some(0), Some(1), Some(2)],
            &[Done, Done, Disturbed, Open],
        ),
        (
            "the second and the last",
            &[20, 40, 60],
            &[20, 45, 70],
            &[Some(0), Some(1), Some(2)],
            &[Done, Disturbed, Disturbed, Open],
        ),
        (
            "the first alone",
            &[20, 40, 60],
            &[25, 40, 60],
            &[Some(0), Some(1), Some(2)],
            &[Disturbed, Disturbed, Disturbed, Open],
        ),
        (
            "one put in, the one before it changed",
            &[20, 60],
            &[25, 40, 60],
            &[Some(0), None, Some(1)],
            &[Disturbed, Open, Disturbed, Open],
        ),
        (
            "one put in before, the last changed",
            &[20, 60],
            &[10, 20, 70],
            &[None, Some(0), Some(1)],
            &[Open, Disturbed, Disturbed, Open],
        ),
        (
            "two put in",
            &[20, 60],
            &[20, 30, 40, 60],
            &[Some(0), None, None, Some(1)],
            &[Done, Open, Open, Disturbed, Open],
        ),
        (
            "one taken out that was done: what is on the fastener nobody asked for",
            &[20, 40, 60],
            &[20, 60],
            &[Some(0), Some(2)],
            &[Done, Disturbed, Open],
        ),
    ];
    for (name, before, after, stages, wanted) in rows {
        let of = |torques: &[i32]| {
            let stages: Vec<Stage> = torques.iter().chain(&[80]).copied().map(tighten).collect();
            procedure(&stages)
        };
        let (old, new) = (of(before), of(after));
        let mut stages = stages.to_vec();
        stages.push(u8::try_from(before.len()).ok());
        let next = revise(&worked(&old, before.len()), &old, &new, carry(&stages));
        assert_eq!(states(&next, &new), wanted, "{name}");
        let is_kept = !wanted.contains(&Disturbed);
        assert_eq!(next.must_loosen(0), !is_kept, "{name}");
    }
}

/// Where all was finished nothing is loosened unasked: the first stage put in is what is decided about.
#[test]
fn of_two_stages_put_into_a_finished_joint_the_first_is_decided_about() {
    let old = procedure(&[tighten(20), tighten(60)]);
    let new = procedure(&[tighten(20), tighten(30), tighten(40), tighten(60)]);
    let stages = [Some(0), None, None, Some(1)];
    let next = revise(&worked(&old, 2), &old, &new, carry(&stages));
    assert_eq!(states(&next, &new), [Done, Doubtful, Open, Done]);
    assert!(next.must_decide(0) && !next.must_loosen(0));
}

/// A target of its own for the first fastener; the other one is what it was.
#[test]
fn what_changed_for_one_fastener_is_asked_of_that_one_alone() {
    let own = |first: i32| {
        let fasteners = ["1", "2"].map(|label| Fastener {
            label: Label::cut(label),
            near: [None; 4],
        });
        Procedure::new(&Parts {
            fasteners: &fasteners,
            stages: &[tighten(20), tighten(40), tighten(60)],
            steps: &[0, 1, 2]
                .map(|stage| [Step::on(0, stage), Step::on(1, stage)])
                .concat(),
            overrides: &[Override {
                fastener: 0,
                stage: 1,
                aim: OverrideAim::Torque(window(first)),
            }],
            terms: Terms::default(),
        })
        .unwrap()
    };
    let (old, new) = (own(41), own(45));
    let mut ledger = worked(&old, 3);
    for fastener in &mut ledger.fasteners[..2] {
        fastener.set(MARKED, true);
    }
    let next = revise(&ledger, &old, &new, carry(&[Some(0), Some(1), Some(2)]));
    let all: Vec<StepState> = (0..6).map(|step| next.step(step)).collect();
    assert_eq!(all, [Done, Done, Doubtful, Done, Done, Done]);
    assert!(next.must_decide(0) && !next.must_decide(1));
    assert!(!next.is_marked(0) && next.is_marked(1));
}

/// A stage that is no more matters where it was done, to that fastener, and only if its torque is still on it.
#[test]
fn a_stage_taken_out_matters_where_its_torque_is_on_the_fastener() {
    let measure = Stage::new(StageKind::Measure {
        min: Length::from_micrometers(100),
        max: Length::from_micrometers(200),
    });
    let trial = Stage {
        mock_up: true,
        ..tighten(40)
    };
    // The stage taken out, the first step of which fasteners was done, and what becomes of the stage before at both.
    for (gone, done, wanted) in [
        (tighten(40), [true, true], [Disturbed, Disturbed]),
        (tighten(40), [false, true], [Done, Disturbed]),
        (tighten(40), [true, false], [Disturbed, Done]),
        (tighten(40), [false, false], [Done, Done]),
        (measure, [true, true], [Done, Done]),
        (trial, [true, true], [Done, Done]),
    ] {
        let old = procedure(&[tighten(20), gone, tighten(60)]);
        let new = procedure(&[tighten(20), tighten(60)]);
        let mut ledger = worked(&old, 1);
        for (step, done) in (2..).zip(done) {
            ledger.put(&old, step, if done { Done } else { Open });
        }
        let next = revise(&ledger, &old, &new, carry(&[Some(0), Some(2)]));
        assert_eq!([next.step(0), next.step(1)], wanted, "{gone:?} {done:?}");
    }
}

/// One thing that is asked for otherwise, and the step is another one. What does not touch what was reached is no change.
#[test]
fn a_step_is_the_same_only_if_everything_it_asks_for_is() {
    let (check, fit) = (Stage::new(StageKind::Check), Stage::new(StageKind::Fit));
    let measure = |max| {
        Stage::new(StageKind::Measure {
            min: Length::from_micrometers(100),
            max: Length::from_micrometers(max),
        })
    };
    let given = |torque| {
        Stage::new(StageKind::Tighten {
            window: window(40),
            prevailing: Prevailing::Given(torque),
        })
    };
    let hold = |torque, millis, still| {
        Stage::new(StageKind::Hold {
            torque,
            time: Span::from_millis(millis),
            still,
        })
    };
    let later = |state| {
        Stage::new(StageKind::Later {
            window: window(40),
            state,
        })
    };
    let proven = |evidence| Stage {
        evidence,
        ..tighten(40)
    };
    let (named, after) = (Moment::Named, Moment::StageDone(0));
    let same = |stage: Stage| (stage, stage, true);
    let rows = [
        same(tighten(40)),
        (tighten(40), tighten(41), false),
        (
            tighten(40),
            Stage::new(StageKind::Align { window: window(40) }),
            false,
        ),
        (given(torque(1)), given(torque(2)), false),
        (given(torque(1)), tighten(40), false),
        same(turn(90, 60, true)),
        (turn(90, 60, true), turn(91, 60, true), false),
        (turn(90, 60, true), turn(90, 61, true), false),
        (turn(90, 60, true), turn(90, 60, false), false),
        same(hold(torque(40), 1_000, degrees(2))),
        (
            hold(torque(40), 1_000, degrees(2)),
            hold(torque(41), 1_000, degrees(2)),
            false,
        ),
        (
            hold(torque(40), 1_000, degrees(2)),
            hold(torque(40), 1_001, degrees(2)),
            false,
        ),
        (
            hold(torque(40), 1_000, degrees(2)),
            hold(torque(40), 1_000, degrees(1)),
            false,
        ),
        same(wait(1_000, 2_000, after)),
        (wait(1_000, 2_000, after), wait(999, 2_000, after), false),
        (wait(1_000, 2_000, after), wait(1_000, 2_001, after), false),
        (
            wait(1_000, 2_000, after),
            wait(1_000, 2_000, named(1)),
            false,
        ),
        same(wait(1_000, 2_000, named(1))),
        (
            wait(1_000, 2_000, named(1)),
            wait(1_000, 2_000, named(2)),
            false,
        ),
        (
            wait(1_000, 2_000, named(1)),
            wait(1_000, 2_000, after),
            false,
        ),
        same(check),
        same(fit),
        same(measure(200)),
        (measure(200), measure(201), false),
        (repeat(3), repeat(4), false),
        (later(EngineState::Hot), later(EngineState::Cold), false),
        (
            tighten(40),
            Stage {
                mock_up: true,
                ..tighten(40)
            },
            false,
        ),
        // Known better than is asked for now will do; known worse will not.
        (proven(Evidence::Reading), proven(Evidence::Setting), true),
        (proven(Evidence::Reading), proven(Evidence::Reading), true),
        (proven(Evidence::Reading), proven(Evidence::Curve), false),
        // What follows on a failure, and in which order, is not what was reached.
        (
            tighten(40),
            Stage {
                on_over: Policy::Replace,
                ..tighten(40)
            },
            true,
        ),
        (
            tighten(40),
            Stage {
                any_order: true,
                ..tighten(40)
            },
            true,
        ),
    ];
    for (before, now, is_same) in rows {
        let end = tighten(80);
        let (old, new) = (
            procedure(&[tighten(20), before, end]),
            procedure(&[tighten(20), now, end]),
        );
        let stages = [Some(0), Some(1), Some(2)];
        let next = revise(&worked(&old, 2), &old, &new, carry(&stages));
        let wanted = if is_same { Done } else { Disturbed };
        let found = states(&next, &new);
        assert_eq!(found, [Done, wanted, Open], "{before:?} {now:?}");
    }
}

/// A wait counts from a stage, whatever its number is now; from a moment of the plan only while the plan's moments have the same numbers.
#[test]
fn a_wait_is_the_same_while_it_counts_from_the_same() {
    for (after, stages, wanted) in [
        (Moment::StageDone(1), &[None, Some(0), Some(1)], Done),
        (Moment::StageDone(0), &[None, Some(0), Some(1)], Disturbed),
    ] {
        let old = procedure(&[tighten(20), wait(1, 2, Moment::StageDone(0))]);
        let fit = Stage::new(StageKind::Fit);
        let new = procedure(&[fit, tighten(20), wait(1, 2, after)]);
        let next = revise(&worked(&old, 2), &old, &new, carry(stages));
        assert_eq!(states(&next, &new)[2], wanted, "{after:?}");
    }
    for (moments, wanted) in [(true, Done), (false, Disturbed)] {
        let own = procedure(&[tighten(20), wait(1, 2, Moment::Named(1))]);
        let mut ledger = worked(&own, 2);
        ledger.moments_told = 0b10;
        let same = Carry {
            moments,
            ..carry(&[Some(0), Some(1)])
        };
        let next = revise(&ledger, &own, &own, same);
        assert_eq!(states(&next, &own)[1], wanted);
        assert_eq!(next.moments_told, if moments { 0b10 } else { 0 });
    }
}

/// What holds for the joint goes over with the numbers of the new stages.
#[test]
fn what_is_due_and_what_did_not_converge_keep_their_stage() {
    let later = Stage::new(StageKind::Later {
        window: window(60),
        state: EngineState::Any,
    });
    let old = procedure(&[tighten(40), repeat(3), later]);
    let new = procedure(&[Stage::new(StageKind::Fit), tighten(40), repeat(3), later]);
    let mut ledger = worked(&old, 2);
    ledger.stages_due = 0b100;
    ledger.not_converged = Some(1);
    (ledger.pass, ledger.moved) = (2, 1);
    ledger.apart = true;
    ledger.condition = Confirmed::Matches;
    let reasons = Reasons::NONE.with(Reason::TorqueHigh);
    ledger.judged = Some((1, reasons));
    let stages = [None, Some(0), Some(1), Some(2)];
    let next = revise(&ledger, &old, &new, carry(&stages));
    assert_eq!(next.stages_due, 0b1000);
    assert_eq!(next.not_converged, Some(2));
    assert_eq!((next.pass, next.moved, next.apart), (2, 1, true));
    assert_eq!(next.condition, Confirmed::Matches);
    assert_eq!(next.judged, Some((3, reasons)));
    // Other threads are asked about anew; other passes begin anew.
    let other = Carry {
        condition: false,
        ..carry(&stages)
    };
    assert_eq!(
        revise(&ledger, &old, &new, other).condition,
        Confirmed::NotYet
    );
    let longer = procedure(&[Stage::new(StageKind::Fit), tighten(40), repeat(4), later]);
    let next = revise(&ledger, &old, &longer, carry(&stages));
    assert_eq!((next.pass, next.moved), (0, 0));
    // A stage that is no more has nothing due, and what was judged there is no advice.
    let without = procedure(&[tighten(41), repeat(3)]);
    let next = revise(&ledger, &old, &without, carry(&[Some(0), Some(1)]));
    assert_eq!((next.stages_due, next.judged), (0, None));
}

/// Written as records and taken up by a joint that stood quite otherwise: what was worked out is what stands, and nothing else.
#[test]
fn the_records_of_a_change_say_all_that_holds() {
    let own = procedure(&[
        tighten(20),
        tighten(40),
        Stage::new(StageKind::Check),
        repeat(3),
    ]);
    let mut next = worked(&own, 1);
    next.put(&own, 2, StepState::Waived);
    next.put(&own, 3, StepState::Rejected);
    next.steps[3] = next.steps[3].attempted().attempted();
    next.stages_due = 0b1000_0000_0000_0001;
    next.moments_told = 0b1000_0001;
    next.judged = Some((3, Reasons::NONE.with(Reason::TorqueHigh)));
    (next.pass, next.moved, next.apart) = (3, 2, true);
    next.not_converged = Some(3);
    next.condition = Confirmed::Differs;
    next.fasteners[1] = FastenerCell {
        flags: 0b1010_1011,
        cycles: 7,
        turned: 1_234,
        left_at: 400,
        running: RunningCell::of(torque(1_000), Seen::Typed),
    };
    // All that could be left over from before.
    let mut ledger = worked(&own, 4);
    ledger.put(&own, 3, StepState::Waived);
    ledger.begun = Some(3);
    ledger.stage_done = [9; STAGES_MAX];
    ledger.moments = [9; MOMENTS_MAX];
    ledger.fasteners = [FastenerCell {
        flags: u8::MAX,
        cycles: 1,
        ..FastenerCell::default()
    }; FASTENERS_MAX];
    (ledger.person, ledger.tool, ledger.boot) = (true, true, 4);
    for number in 0..=2 {
        let revised = next.as_revised(&own, 0, [NONE; STAGES_MAX], number, |_| None);
        let entry = Entry {
            joint: 0,
            seq: u32::from(number) + 8,
            boot: 4,
            at: Instant::BOOT,
            record: revised.into(),
        };
        assert_eq!(ledger.carrying, [0, 2, 1][usize::from(number)]);
        crate::ledger::fold(&mut ledger, &own, &entry);
    }
    // Who works, with what and when is no part of the change.
    let wanted = Ledger {
        seq: 10,
        boot: 4,
        person: true,
        tool: true,
        before: before::LastBefore::new(),
        ..next
    };
    assert_eq!(ledger, wanted);
}
