//! What is undone with a fastener: loosened, replaced, begun again, taken apart; and what it spoils with it.

use super::*;

const CHECK: Stage = Stage::new(StageKind::Check);

fn under(redo: Redo) -> Terms {
    Terms {
        redo,
        ..Terms::default()
    }
}

fn running(fastener: u8) -> Running {
    Running {
        fastener,
        torque: torque(2),
        seen: Seen::Typed,
    }
}

/// All four finished and marked, the joint's check answered.
fn finished(redo: Redo) -> Joint {
    let mut joint = Joint::under(under(redo), &[tighten(40), CHECK]);
    for fastener in 0..4 {
        joint.accept(fastener, 0).keep(Marked { fastener });
    }
    joint.keep(Answered {
        step: 4,
        yes: true,
        note: Text::empty(),
    });
    joint
}

#[test]
fn a_finished_fastener_that_is_disturbed_spoils_what_the_redo_rule_says() {
    let elsewhere = Loosened {
        elsewhere: true,
        ..loosened(0)
    };
    let acts: [Record; 3] = [
        loosened(0).into(),
        elsewhere.into(),
        Fitted { fastener: 0 }.into(),
    ];
    for (redo, spoilt) in [
        (Redo::Fastener, [false, false, false]),
        (Redo::Neighbours, [true, false, true]),
        (Redo::Joint, [true, true, true]),
    ] {
        for act in &acts {
            let mut joint = finished(redo);
            joint.keep(act.clone());
            assert_eq!(joint.state(0, 0), StepState::Disturbed);
            assert!(!joint.ledger.is_marked(0) && !joint.ledger.must_loosen(0));
            for (fastener, spoilt) in (1..).zip(spoilt) {
                let wanted = if spoilt {
                    StepState::Disturbed
                } else {
                    StepState::Done
                };
                assert_eq!(joint.state(fastener, 0), wanted, "{redo:?} {fastener}");
                assert_eq!(joint.ledger.must_loosen(fastener), spoilt);
                assert_eq!(joint.ledger.is_marked(fastener), !spoilt);
            }
            let check = if redo == Redo::Joint {
                StepState::Disturbed
            } else {
                StepState::Done
            };
            assert_eq!(joint.ledger.step(4), check, "{redo:?}");
        }
    }
}

#[test]
fn what_is_not_finished_spoils_nothing_unless_another_joint_loosened_it() {
    for (elsewhere, spoilt) in [(false, StepState::Done), (true, StepState::Disturbed)] {
        let stages = [tighten(20), tighten(40), CHECK];
        let mut joint = Joint::under(under(Redo::Joint), &stages);
        joint.accept(0, 0).accept(1, 0).keep(Loosened {
            elsewhere,
            ..loosened(0)
        });
        assert_eq!(joint.state(1, 0), spoilt);
        // What nobody came to stays open, and what is loose need not be loosened.
        assert_eq!(joint.state(2, 0), StepState::Open);
        assert_eq!(joint.ledger.step(8), StepState::Open);
        assert_eq!(joint.ledger.must_loosen(1), elsewhere);
        assert!(!joint.ledger.must_loosen(2));
        let mut joint = Joint::under(under(Redo::Joint), &stages);
        joint.accept(0, 0).accept(1, 0).keep(Fitted { fastener: 0 });
        assert_eq!(joint.state(1, 0), StepState::Done);
    }
}

/// Tightened, turned, its running torque told and a decision waited for.
fn used() -> Joint {
    let mut joint = Joint::of(&[
        tighten(20),
        Stage::new(StageKind::Fit),
        tighten(40),
        turn(90),
    ]);
    let fit = joint.step(0, 1);
    let far = Attempt {
        angle: Some(degrees(99)),
        reasons: Reasons::NONE.with(Reason::Yielding),
        ..joint.pull(0, 3, Verdict::Rejected)
    };
    joint.keep(running(0)).accept(0, 0);
    joint.keep(done(fit, Manner::Hand)).accept(0, 2).keep(far);
    let own = &joint.ledger;
    assert!(own.must_decide(0) && own.is_tight(0));
    assert_eq!((own.turned(0), own.cycles(0)), (degrees(99), 1));
    joint
}

#[test]
fn loosened_it_holds_nothing_and_all_of_it_is_done_again() {
    let mut joint = used();
    joint.keep(loosened(0));
    let own = &joint.ledger;
    assert!(!own.must_decide(0) && !own.is_tight(0) && !own.must_loosen(0));
    assert_eq!((own.turned(0), own.left_at(0)), (Angle::ZERO, None));
    assert_eq!((own.running(0), own.cycles(0)), (None, 1));
    let states = [0, 1, 2, 3].map(|stage| joint.state(0, stage));
    assert_eq!(states, [StepState::Disturbed; 4]);
}

#[test]
fn a_new_one_begins_where_it_is_fitted_and_keeps_only_what_felt_wrong() {
    let mut joint = used();
    joint
        .keep(noted(0, Doubt::Raised))
        .keep(Fitted { fastener: 0 });
    let own = &joint.ledger;
    assert!(own.is_new(0) && own.felt_wrong(0));
    assert!(!own.must_decide(0) && !own.is_tight(0) && !own.must_replace(0));
    assert_eq!((own.turned(0), own.left_at(0)), (Angle::ZERO, None));
    assert_eq!((own.running(0), own.cycles(0)), (None, 0));
    let states = [0, 1, 2, 3].map(|stage| joint.state(0, stage));
    let (done, again) = (StepState::Done, StepState::Disturbed);
    assert_eq!(states, [done, done, again, again]);
}

#[test]
fn begun_again_from_a_stage_it_is_loosened_first_and_what_came_before_holds() {
    let mut joint = used();
    let again = decided(joint.step(0, 3), Decision::Restart(2));
    joint.keep(again);
    let own = &joint.ledger;
    assert!(own.must_loosen(0) && !own.must_decide(0));
    assert_eq!(own.turned(0), Angle::ZERO);
    let states = [0, 1, 2, 3].map(|stage| joint.state(0, stage));
    let (done, again) = (StepState::Done, StepState::Disturbed);
    assert_eq!(states, [done, done, again, again]);
    // The loosening that was asked for opens no more than that.
    joint.keep(loosened(0));
    assert_eq!(joint.state(0, 0), done);
    // Where a policy says so, nobody need decide, whatever was waited for before.
    let stage = Stage {
        on_over: Policy::Restart(0),
        ..tighten(40)
    };
    let mut joint = Joint::of(&[stage]);
    let lost = joint.pull(0, 0, Verdict::Unknown);
    joint.keep(lost).reject(0, 0, Reason::TorqueHigh);
    assert!(joint.ledger.must_loosen(0) && !joint.ledger.must_decide(0));
}

#[test]
fn a_trial_that_came_apart_leaves_its_fasteners_loose_and_used() {
    for (reuse, is_spent) in [
        (Reuse::Free, false),
        (Reuse::ReplaceIfLoosened, true),
        (Reuse::Cycles(1), true),
        (Reuse::Cycles(2), false),
    ] {
        let terms = Terms {
            reuse,
            ..Terms::default()
        };
        let mut joint = Joint::under(terms, &[trial(tighten(40)), trial(turn(90)), tighten(40)]);
        let far = Attempt {
            angle: Some(degrees(90)),
            ..joint.pull(0, 1, Verdict::Accepted)
        };
        joint.keep(running(0)).accept(0, 0).keep(far);
        joint.keep(noted(0, Doubt::Raised)).keep(apart());
        let own = &joint.ledger;
        assert!(!own.is_tight(0) && !own.felt_wrong(0));
        assert_eq!((own.turned(0), own.left_at(0)), (Angle::ZERO, None));
        assert_eq!((own.running(0), own.cycles(0)), (None, 1));
        assert_eq!(own.must_replace(0), is_spent, "{reuse:?}");
    }
}

#[test]
fn a_mark_is_gone_once_it_is_pulled_again_and_a_check_that_moved_is_asked_about() {
    let mut joint = Joint::of(&[tighten(20), tighten(40)]);
    joint.accept(0, 0).keep(Marked { fastener: 0 }).accept(0, 1);
    assert!(!joint.ledger.is_marked(0));
    for (verdict, state) in [
        (Verdict::Accepted, StepState::Done),
        (Verdict::Rejected, StepState::Doubtful),
        (Verdict::Unknown, StepState::Doubtful),
    ] {
        let checked = Rechecked {
            step: joint.step(0, 1),
            peak: torque(40),
            moved: None,
            verdict,
        };
        joint.keep(checked);
        assert_eq!(joint.state(0, 1), state);
        assert_eq!(joint.ledger.must_decide(0), state == StepState::Doubtful);
    }
}

#[test]
fn what_is_told_from_paper_says_nothing_of_the_torque_that_is_left() {
    let mut joint = Joint::of(&[tighten(20), tighten(40)]);
    let paper = done(joint.step(0, 1), Manner::Paper);
    joint.accept(0, 0).keep(paper);
    assert_eq!(joint.ledger.left_at(0), None);
    joint.keep(Begun { step: 3 });
    assert_eq!(joint.ledger.begun(), Some(3));
    assert_eq!(joint.ledger.begun_at(), seconds(3));
}
