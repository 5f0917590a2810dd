//! Where a joint stands as a whole.

use super::*;

#[test]
fn where_a_joint_stands_is_told_by_the_gravest_thing_about_it() {
    let later = Stage::new(StageKind::Later {
        window: window(40),
        state: EngineState::Any,
    });
    type Done = fn(&mut Joint);
    let all: Done = |joint| {
        for fastener in 0..4 {
            joint.accept(fastener, 0);
        }
    };
    let rows: [(&[Stage], Done, Standing); 22] = [
        (&[tighten(40)], |_| {}, Standing::Untouched),
        (
            &[tighten(40)],
            |joint| {
                joint.keep(Begun { step: 2 });
            },
            Standing::InHand,
        ),
        (
            &[tighten(40)],
            |joint| {
                joint.accept(1, 0);
            },
            Standing::InHand,
        ),
        (&[tighten(40)], all, Standing::Final),
        (
            &[tighten(40)],
            |joint| {
                (0..4).for_each(|step| {
                    joint.keep(skipped(step));
                })
            },
            Standing::Final,
        ),
        (&[tighten(40), later], all, Standing::RetorqueDue),
        // A pull that is not judged yet: not final, whatever it will be.
        (
            &[tighten(40), later],
            |joint| {
                (0..4).for_each(|own| {
                    joint.accept(own, 0);
                });
                joint.keep(Begun { step: 4 });
            },
            Standing::InHand,
        ),
        (
            &[tighten(40), later],
            |joint| {
                (0..4).for_each(|own| {
                    joint.accept(own, 0);
                });
                joint.reject(2, 1, Reason::TorqueLow);
            },
            Standing::Doubtful,
        ),
        (
            &[tighten(40), later],
            |joint| {
                (0..4).for_each(|own| {
                    joint.accept(own, 0).accept(own, 1);
                });
            },
            Standing::Final,
        ),
        (
            &[tighten(40)],
            |joint| {
                joint.reject(0, 0, Reason::TorqueLow);
            },
            Standing::Doubtful,
        ),
        (
            &[tighten(40)],
            |joint| {
                joint.keep(noted(3, Doubt::Raised));
            },
            Standing::Doubtful,
        ),
        (
            &[tighten(40)],
            |joint| {
                joint
                    .keep(noted(3, Doubt::Raised))
                    .keep(noted(3, Doubt::Settled));
            },
            Standing::Untouched,
        ),
        (
            &[tighten(40)],
            |joint| {
                joint.keep(noted(3, Doubt::None));
            },
            Standing::Untouched,
        ),
        (
            &[tighten(40)],
            |joint| {
                let replace = decided(0, Decision::Replace);
                joint.accept(0, 0).keep(replace);
            },
            Standing::Doubtful,
        ),
        (
            &[tighten(40)],
            |joint| {
                let restart = decided(0, Decision::Restart(0));
                joint.accept(0, 0).keep(restart);
            },
            Standing::Disturbed,
        ),
        (
            &[tighten(40)],
            |joint| {
                joint.accept(0, 0).keep(loosened(0));
            },
            Standing::Disturbed,
        ),
        (
            &[tighten(40)],
            |joint| {
                joint.keep(threads(false));
            },
            Standing::Doubtful,
        ),
        (
            &[tighten(40)],
            |joint| {
                joint.keep(threads(false)).keep(threads(true));
            },
            Standing::Untouched,
        ),
        // It was to be loosened, and was left out: it is as tight as before.
        (
            &[tighten(40)],
            |joint| {
                let restart = decided(0, Decision::Restart(0));
                (0..4).for_each(|own| {
                    joint.accept(own, 0);
                });
                joint.keep(restart).keep(skipped(0));
            },
            Standing::Disturbed,
        ),
        (&[trial(tighten(40)), tighten(40)], all, Standing::MockUp),
        (
            &[trial(tighten(40)), tighten(40)],
            |joint| {
                joint.accept(0, 0).keep(apart());
            },
            Standing::InHand,
        ),
        // A trial alone is never final.
        (
            &[trial(tighten(40))],
            |joint| {
                (0..4).for_each(|own| {
                    joint.accept(own, 0);
                });
                joint.keep(apart());
            },
            Standing::InHand,
        ),
    ];
    for (number, (stages, act, standing)) in rows.into_iter().enumerate() {
        let mut joint = Joint::of(stages);
        act(&mut joint);
        assert_eq!(joint.standing(), standing, "row {number}");
    }
}

fn threads(matches: bool) -> Condition {
    Condition {
        found: Text::cut("oil"),
        matches,
    }
}

#[test]
fn a_fastener_is_final_once_nothing_is_left_to_do_or_to_ask() {
    let acts: [(&str, Record); 5] = [
        (
            "a decision",
            Record::from(Rechecked {
                step: 0,
                peak: torque(40),
                moved: None,
                verdict: Verdict::Rejected,
            }),
        ),
        ("a doubt", noted(0, Doubt::Raised).into()),
        ("a new one", decided(0, Decision::Replace).into()),
        ("loosening", decided(0, Decision::Restart(0)).into()),
        ("another pull", decided(0, Decision::Again).into()),
    ];
    for (name, act) in acts {
        let mut joint = Joint::of(&[tighten(40)]);
        assert!(!joint.ledger.is_final(&joint.procedure, 0));
        joint.accept(0, 0);
        assert!(joint.ledger.is_final(&joint.procedure, 0));
        joint.keep(act);
        assert!(!joint.ledger.is_final(&joint.procedure, 0), "{name}");
        // Its step left out, what was asked for is still asked for; a decision and another pull are not.
        joint.keep(skipped(0));
        let is_final = ["a decision", "another pull"].contains(&name);
        assert_eq!(
            joint.ledger.is_final(&joint.procedure, 0),
            is_final,
            "{name}"
        );
    }
    // A retorque after running is not waited for, and a trial is never final.
    let later = Stage::new(StageKind::Later {
        window: window(40),
        state: EngineState::Any,
    });
    for (stage, is_final) in [(later, true), (tighten(45), false)] {
        let mut joint = Joint::of(&[tighten(40), stage]);
        joint.accept(0, 0);
        assert_eq!(joint.ledger.is_final(&joint.procedure, 0), is_final);
    }
    let mut joint = Joint::of(&[trial(tighten(40))]);
    joint.accept(0, 0);
    assert!(!joint.ledger.is_final(&joint.procedure, 0));
}

#[test]
fn a_running_torque_is_kept_as_it_was_seen_or_told() {
    let mut joint = Joint::of(&[tighten(40)]);
    assert_eq!(joint.ledger.running(0), None);
    for own in [0, 1, 2_000, 32_768, Torque::MAX.millinewton_meters()] {
        for seen in [Seen::Measured, Seen::Typed] {
            let torque = Torque::from_millinewton_meters(own);
            joint.keep(Running {
                fastener: 0,
                torque,
                seen,
            });
            assert_eq!(joint.ledger.running(0), Some((torque, seen)));
        }
    }
    joint.keep(Running {
        fastener: 0,
        torque: Torque::from_millinewton_meters(-1),
        seen: Seen::Typed,
    });
    assert_eq!(joint.ledger.running(0), None, "below zero is no torque");
}
