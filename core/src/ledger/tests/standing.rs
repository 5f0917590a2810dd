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
    let rows: [(&[Stage], Done, Standing); 21] = [
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
