//! What a pull, and what is said instead of one, leaves of a fastener.

use super::*;

/// All that settles a fastener's step, or takes the fastener back to its beginning.
#[test]
fn whatever_settles_a_fastener_leaves_no_question_and_no_want_of_running_torque() {
    type Act = fn(&Joint) -> Record;
    let acts: [(&str, Act); 9] = [
        ("accepted", |own| own.pull(0, 0, Verdict::Accepted).into()),
        ("read and accepted", |own| {
            let pull = own.pull(0, 0, Verdict::Accepted);
            Read {
                step: pull.step,
                fastener: 0,
                stage: 0,
                attempt: 2,
                way: Way::Display,
                verdict: Verdict::Accepted,
                reasons: Reasons::NONE,
                torque: Some(pull.peak),
                angle: None,
                moved: false,
                prevailing: Added::Nothing,
                stated: Text::empty(),
            }
            .into()
        }),
        ("by hand", |own| done(own.step(0, 0), Manner::Hand).into()),
        ("from paper", |own| {
            done(own.step(0, 0), Manner::Paper).into()
        }),
        ("left out", |own| skipped(own.step(0, 0)).into()),
        ("left as it is", |own| {
            decided(own.step(0, 0), Decision::Waive).into()
        }),
        ("once more", |own| {
            decided(own.step(0, 0), Decision::Again).into()
        }),
        ("loosened", |_| loosened(0).into()),
        ("a new one", |_| Fitted { fastener: 0 }.into()),
    ];
    for (name, act) in acts {
        let mut joint = Joint::of(&[tighten(40)]);
        joint.want_running(0, 0);
        assert!(joint.ledger.must_decide(0) && joint.ledger.wants_running(0));
        let record = act(&joint);
        joint.keep(record);
        assert!(!joint.ledger.must_decide(0), "{name}");
        assert!(!joint.ledger.wants_running(0), "{name}");
    }
    // Those that are done again with a finished one, and all of a trial that comes apart.
    let mut joint = Joint::under(
        Terms {
            redo: Redo::Joint,
            ..Terms::default()
        },
        &[tighten(40)],
    );
    joint.want_running(0, 0).accept(1, 0).keep(loosened(1));
    assert!(!joint.ledger.must_decide(0) && !joint.ledger.wants_running(0));
    let mut joint = Joint::of(&[trial(tighten(40)), tighten(40)]);
    joint.want_running(0, 0).keep(apart());
    assert!(!joint.ledger.wants_running(0));
}

#[test]
fn only_the_running_torque_may_be_missing_for_it_to_be_wanted() {
    for (reasons, is_wanted) in [
        (&[Reason::RunningUnknown][..], true),
        (&[Reason::RunningUnknown, Reason::OutOfOrder], true),
        (&[Reason::RunningUnknown, Reason::TorqueLow], true),
        (&[Reason::RunningUnknown, Reason::Gap], false),
        (&[Reason::RunningUnknown, Reason::Interrupted], false),
        (&[Reason::Interrupted], false),
        (&[], false),
    ] {
        let mut joint = Joint::of(&[tighten(40)]);
        let reasons = reasons
            .iter()
            .fold(Reasons::NONE, |all, reason| all.with(*reason));
        let pull = Attempt {
            reasons,
            ..joint.pull(0, 0, Verdict::Unknown)
        };
        joint.keep(pull.clone());
        assert_eq!(joint.ledger.wants_running(0), is_wanted, "{reasons:?}");
        // One that is rejected is rejected: nothing is missing.
        joint.keep(Attempt {
            verdict: Verdict::Rejected,
            ..pull
        });
        assert!(!joint.ledger.wants_running(0));
    }
}

#[test]
fn a_running_torque_that_is_told_opens_the_pull_that_waited_for_it_and_no_other() {
    let told = |fastener, seen| Running {
        fastener,
        torque: torque(2),
        seen,
    };
    let mut joint = Joint::of(&[tighten(40)]);
    joint.want_running(0, 0).want_running(1, 0);
    // Seen by the tool it settles nothing: that pull was made without it.
    joint.keep(told(0, Seen::Measured));
    assert_eq!(joint.state(0, 0), StepState::Doubtful);
    joint.keep(told(0, Seen::Typed));
    assert_eq!(joint.state(0, 0), StepState::Open);
    assert!(!joint.ledger.must_decide(0) && !joint.ledger.wants_running(0));
    assert_eq!(joint.state(1, 0), StepState::Doubtful);
    assert!(joint.ledger.must_decide(1) && joint.ledger.wants_running(1));
    // What is unknown for another reason stays so.
    let lost = joint.pull(2, 0, Verdict::Unknown);
    joint.keep(lost).keep(told(2, Seen::Typed));
    assert_eq!(joint.state(2, 0), StepState::Doubtful);
    assert!(joint.ledger.must_decide(2));
    // A turn is never made twice.
    let mut joint = Joint::of(&[tighten(40), turn(90)]);
    joint.accept(0, 0).want_running(0, 1);
    joint.keep(told(0, Seen::Typed));
    assert_eq!(joint.state(0, 1), StepState::Doubtful);
}

#[test]
fn a_fastener_is_tight_and_a_cycle_is_spent_once_it_was_pulled() {
    let mut joint = Joint::of(&[tighten(20), tighten(40)]);
    let none = Attempt {
        pulls: 0,
        ..joint.pull(0, 0, Verdict::Unknown)
    };
    joint.keep(none);
    assert!(!joint.ledger.is_tight(0));
    assert_eq!(joint.ledger.cycles(0), 0);
    joint.accept(0, 0).accept(0, 1);
    assert!(joint.ledger.is_tight(0));
    assert_eq!(joint.ledger.cycles(0), 1, "one tightening in two stages");
    joint.keep(loosened(0));
    assert!(!joint.ledger.is_tight(0));
    let paper = done(joint.step(0, 0), Manner::Paper);
    joint.keep(paper);
    assert_eq!(joint.ledger.cycles(0), 2, "told, and tight all the same");
    let observed = decided(joint.step(1, 0), Decision::Observed);
    joint.keep(observed);
    assert!(joint.ledger.is_tight(1));
    assert_eq!(joint.state(1, 0), StepState::Unmeasured);
}

#[test]
fn a_pull_leaves_its_torque_and_one_that_is_unknown_leaves_nobody_knows_what() {
    let mut joint = Joint::of(&[tighten(20), tighten(40), back_off(None)]);
    joint.accept(0, 1);
    assert_eq!(joint.ledger.left_at(0), Some(torque(40)));
    // Pulling at less turns nothing back.
    joint.accept(0, 0);
    assert_eq!(joint.ledger.left_at(0), Some(torque(40)));
    // What was rejected is on the fastener too.
    joint.reject(1, 1, Reason::TorqueHigh);
    assert_eq!(joint.ledger.left_at(1), Some(torque(40)));
    let unknown = joint.pull(1, 1, Verdict::Unknown);
    joint.keep(unknown);
    assert_eq!(joint.ledger.left_at(1), None);
    let back = Attempt {
        final_torque: torque(3),
        ..joint.pull(0, 2, Verdict::Rejected)
    };
    joint.keep(back);
    assert_eq!(joint.ledger.left_at(0), None);
}

#[test]
fn angles_are_summed_over_all_turns_until_the_fastener_is_turned_back() {
    let turned = |joint: &Joint, stage, angle| Attempt {
        angle: Some(Angle::from_millidegrees(angle)),
        ..joint.pull(0, stage, Verdict::Accepted)
    };
    let stages = [tighten(20), turn(90), turn(90), back_off(Some(30))];
    let mut joint = Joint::of(&stages);
    let first = turned(&joint, 0, 36_000);
    joint.keep(first);
    assert_eq!(joint.ledger.turned(0), Angle::ZERO, "no turn");
    for (angle, sum) in [(90_000, 90_000), (60_290, 150_200), (-1_000, 150_200)] {
        let next = turned(&joint, 1, angle);
        joint.keep(next);
        assert_eq!(joint.ledger.turned(0).millidegrees(), sum);
    }
    let short = Attempt {
        verdict: Verdict::Rejected,
        reasons: Reasons::NONE.with(Reason::AngleLow),
        ..turned(&joint, 3, 10_000)
    };
    joint.keep(short);
    assert_eq!(joint.ledger.turned(0).millidegrees(), 150_200);
    joint.accept(0, 3);
    assert_eq!(joint.ledger.turned(0), Angle::ZERO);
    assert!(joint.ledger.is_tight(0), "30° back leaves it tight");
    let mut joint = Joint::of(&[tighten(20), turn(90), back_off(None)]);
    let far = turned(&joint, 1, 90_000);
    joint.accept(0, 0).keep(far).accept(0, 2);
    assert_eq!(joint.ledger.turned(0), Angle::ZERO);
    assert!(!joint.ledger.is_tight(0));
}

#[test]
fn turned_back_by_hand_it_is_known_to_hold_nothing_and_from_paper_it_is_not() {
    for (angle, manner, is_tight, turned) in [
        (None, Manner::Hand, false, 0),
        (Some(30), Manner::Hand, true, 0),
        (None, Manner::Paper, true, 90_000),
    ] {
        let mut joint = Joint::of(&[tighten(20), turn(90), back_off(angle)]);
        let far = Attempt {
            angle: Some(degrees(90)),
            final_torque: torque(60),
            ..joint.pull(0, 1, Verdict::Accepted)
        };
        let back = done(joint.step(0, 2), manner);
        joint.accept(0, 0).keep(far).keep(back);
        assert_eq!(joint.ledger.is_tight(0), is_tight, "{angle:?} {manner:?}");
        assert_eq!(joint.ledger.turned(0).millidegrees(), turned);
        let left = joint.ledger.left_at(0);
        assert_eq!(left, (manner == Manner::Paper).then_some(torque(60)));
    }
}

#[test]
fn up_to_the_limit_of_still_a_fastener_did_not_move() {
    for (angle, moved, count) in [
        (Some(1_999), false, 0),
        (Some(2_000), false, 0),
        (Some(2_001), false, 1),
        (None, false, 0),
        (None, true, 1),
    ] {
        let mut joint = Joint::of(&[tighten(40), repeat(40)]);
        let pull = joint.pull(0, 1, Verdict::Accepted);
        joint.keep(Read {
            step: pull.step,
            fastener: 0,
            stage: 1,
            attempt: 1,
            way: Way::Eye,
            verdict: Verdict::Accepted,
            reasons: Reasons::NONE,
            torque: Some(pull.peak),
            angle: angle.map(Angle::from_millidegrees),
            moved,
            prevailing: Added::Nothing,
            stated: Text::empty(),
        });
        assert_eq!(joint.ledger.moved(), count, "{angle:?} {moved}");
    }
}

#[test]
fn each_repeated_stage_counts_its_own_passes() {
    let pass = |stage, pass, next| Pass {
        stage,
        pass,
        moved: 1,
        next,
    };
    let mut joint = Joint::of(&[tighten(40), repeat(40), tighten(60), repeat(60)]);
    joint.keep(pass(1, 1, AfterPass::Again));
    assert_eq!(joint.ledger.pass(), 2);
    for (next, not_converged) in [
        (AfterPass::Converged, None),
        (AfterPass::NotConverged, Some(1)),
    ] {
        joint.keep(pass(1, 1, AfterPass::Again));
        joint.keep(pass(1, 2, next));
        assert_eq!(joint.ledger.pass(), 1, "the next one begins anew");
        assert_eq!(joint.ledger.not_converged(), not_converged);
    }
    // A decision about another step leaves that question open; one about that stage closes it.
    for (stage, is_left) in [(0, true), (3, true), (1, false)] {
        let mut after = Joint::of(joint.procedure.stages());
        after.ledger = joint.ledger.clone();
        let step = after.step(0, stage);
        after.keep(decided(step, Decision::Waive));
        assert_eq!(after.ledger.not_converged().is_some(), is_left, "{stage}");
    }
    // A step that is not there belongs to no stage.
    let mut none = Joint::of(&[tighten(40)]);
    none.keep(decided(999, Decision::Again));
    assert_eq!(none.ledger.not_converged(), None);
}

#[test]
fn once_more_round_opens_what_was_pulled_and_leaves_what_was_left_out() {
    for again in [true, false] {
        let mut joint = Joint::of(&[tighten(40), repeat(40)]);
        let (left_out, told) = (joint.step(1, 1), joint.step(2, 1));
        joint.accept(0, 0).accept(0, 1);
        joint.keep(skipped(left_out));
        joint.keep(done(told, Manner::Paper));
        joint.keep(Pass {
            stage: 1,
            pass: 1,
            moved: 1,
            next: if again {
                AfterPass::Again
            } else {
                AfterPass::NotConverged
            },
        });
        if !again {
            joint.keep(decided(left_out, Decision::Again));
            assert_eq!(joint.ledger.pass(), 1);
        }
        assert_eq!(joint.state(0, 0), StepState::Done, "another stage");
        assert_eq!(joint.state(0, 1), StepState::Open);
        assert_eq!(joint.state(1, 1), StepState::Waived);
        assert_eq!(joint.state(2, 1), StepState::Unmeasured);
    }
}

#[test]
fn a_length_that_is_too_long_or_too_short_has_its_own_remedy() {
    let stage = |on_over, on_under| Stage {
        on_over,
        on_under,
        ..Stage::new(StageKind::Measure {
            min: Length::from_micrometers(100),
            max: Length::from_micrometers(200),
        })
    };
    let measured = |joint: &Joint, length, verdict| Measured {
        step: joint.step(0, 1),
        length: Length::from_micrometers(length),
        verdict,
    };
    // What is asked for: a decision, a new fastener, the stages before once more.
    let asked = |joint: &Joint| {
        let own = &joint.ledger;
        let again = joint.state(0, 0) == StepState::Disturbed;
        [own.must_decide(0), own.must_replace(0), again]
    };
    let policies = [Policy::Ask, Policy::Replace, Policy::Restart(0)];
    for (number, policy) in policies.into_iter().enumerate() {
        for (over, under, length) in [(policy, Policy::Ask, 201), (Policy::Ask, policy, 99)] {
            let mut joint = Joint::of(&[tighten(40), stage(over, under)]);
            let wrong = measured(&joint, length, Verdict::Rejected);
            joint.accept(0, 0).keep(wrong);
            let wanted = [0, 1, 2].map(|one| one == number);
            assert_eq!(asked(&joint), wanted, "{policy:?} {length} µm");
        }
    }
    let mut joint = Joint::of(&[tighten(40), stage(Policy::Replace, Policy::Replace)]);
    let right = measured(&joint, 200, Verdict::Accepted);
    joint.accept(0, 0).keep(right);
    assert_eq!(asked(&joint), [false; 3]);
    assert_eq!(joint.state(0, 1), StepState::Done);
}

#[test]
fn attempts_are_counted_to_thirty_one_and_never_change_what_became_of_the_step() {
    let mut joint = Joint::of(&[tighten(40)]);
    let step = joint.step(0, 0);
    for number in 1..=40 {
        joint.reject(0, 0, Reason::TorqueLow);
        assert_eq!(joint.ledger.attempts(step), number.min(31));
        assert_eq!(joint.state(0, 0), StepState::Rejected);
    }
    joint.accept(0, 0);
    assert_eq!(joint.ledger.attempts(step), 31);
    assert_eq!(joint.state(0, 0), StepState::Done);
}

/// Whatever comes in whatever order: the first open step is where looking begins, so that a long procedure costs no more than a short one.
#[test]
fn what_is_next_is_looked_for_from_the_first_open_step_on() {
    let mut joint = Joint::of(&[tighten(20), tighten(40)]);
    let first = |joint: &Joint| {
        let mut open = joint.ledger.steps_maybe_open(&joint.procedure);
        open.next().map(|(step, _)| step)
    };
    assert_eq!(first(&joint), Some(0));
    for (step, next) in [
        (1, 0),
        (2, 0),
        (0, 3),
        (3, 4),
        (6, 4),
        (4, 5),
        (5, 7),
        (7, 8),
    ] {
        joint.keep(skipped(step));
        assert_eq!(first(&joint), Some(next).filter(|next| *next < 8));
    }
    for (again, next) in [(6, 6), (2, 2), (4, 2)] {
        joint.keep(decided(again, Decision::Again));
        assert_eq!(first(&joint), Some(next));
    }
    joint.keep(skipped(2));
    assert_eq!(first(&joint), Some(4));
}
