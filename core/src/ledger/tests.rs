//! What each record does to what is known of a joint: records as they stand in a journal, whoever made them.

use std::vec::Vec;

use super::*;
use crate::procedure::{
    AngleWindow, EngineState, Fastener, Parts, Policy, Prevailing, Redo, Terms, TorqueWindow,
};
use crate::record::{
    Added, AfterPass, Apart, Attempt, Begun, Condition, Decided, Decision, Done, Doubt, Entry,
    Fitted, Loosened, Manner, Measured, Moment as Came, Noted, Pass, Person, Read, Record, Role,
    Running, Skipped, Started, Tool, Way, Zero,
};
use crate::text::{Label, Text};
use crate::unit::{Length, Span};
use crate::verdict::{Reason, Verdict};

const fn torque(newton_meters: i32) -> Torque {
    Torque::from_millinewton_meters(newton_meters * 1_000)
}

const fn degrees(degrees: i32) -> Angle {
    Angle::from_millidegrees(degrees * 1_000)
}

fn window(newton_meters: i32) -> TorqueWindow {
    TorqueWindow {
        target: torque(newton_meters),
        min: torque(newton_meters - 1),
        max: torque(newton_meters + 1),
    }
}

fn tighten(newton_meters: i32) -> Stage {
    Stage::new(StageKind::Tighten {
        window: window(newton_meters),
        prevailing: Prevailing::None,
    })
}

fn turn(angle: i32) -> Stage {
    Stage::new(StageKind::Turn {
        window: AngleWindow {
            target: degrees(angle),
            min: degrees(angle - 5),
            max: degrees(angle + 5),
        },
        torque: None,
        one_sweep: false,
    })
}

fn repeat(newton_meters: i32) -> Stage {
    Stage::new(StageKind::Repeat {
        window: window(newton_meters),
        still: degrees(2),
        min: 1,
        max: 5,
    })
}

fn back_off(angle: Option<i32>) -> Stage {
    Stage::new(StageKind::BackOff {
        angle: angle.map(degrees),
    })
}

fn trial(stage: Stage) -> Stage {
    Stage {
        mock_up: true,
        ..stage
    }
}

fn wait(after: Moment) -> Stage {
    Stage::new(StageKind::Wait {
        at_least: Span::from_millis(1_000),
        at_most: Span::MAX,
        after,
    })
}

/// Fasteners 1 to 4 in a ring, each stage at every one of them, a wait and a check for the joint.
struct Joint {
    procedure: Procedure,
    ledger: Ledger,
}

impl Joint {
    fn of(stages: &[Stage]) -> Self {
        Self::under(Terms::default(), stages)
    }

    fn under(terms: Terms, stages: &[Stage]) -> Self {
        let near = [[1, 3], [0, 2], [1, 3], [2, 0]];
        let fasteners: Vec<Fastener> = near
            .into_iter()
            .zip(["1", "2", "3", "4"])
            .map(|([one, other], label)| Fastener {
                label: Label::cut(label),
                near: [Some(one), Some(other), None, None],
            })
            .collect();
        let mut steps = Vec::new();
        for (number, stage) in (0..).zip(stages) {
            match stage.kind {
                StageKind::Wait { .. } | StageKind::Check => steps.push(Step::joint(number)),
                _ => steps.extend((0..4).map(|fastener| Step::on(fastener, number))),
            }
        }
        let parts = Parts {
            fasteners: &fasteners,
            stages,
            steps: &steps,
            overrides: &[],
            terms,
        };
        Self {
            procedure: Procedure::new(&parts).unwrap(),
            ledger: Ledger::new(),
        }
    }

    /// Takes a record into the ledger, a second after the one before.
    fn keep(&mut self, record: impl Into<Record>) -> &mut Self {
        self.keep_in_run(1, record)
    }

    /// Likewise, in the n-th run of the clock.
    fn keep_in_run(&mut self, boot: u16, record: impl Into<Record>) -> &mut Self {
        let seq = self.ledger.seq() + 1;
        let entry = Entry {
            joint: 0,
            seq,
            boot,
            at: seconds(seq),
            record: record.into(),
        };
        fold(&mut self.ledger, &self.procedure, &entry);
        self
    }

    fn step(&self, fastener: u8, stage: u8) -> u16 {
        let own = |fastener| {
            let mut steps = self.procedure.numbered_steps();
            steps.find(|(_, step)| step.fastener() == fastener && step.stage() == stage)
        };
        let found = own(Some(fastener)).or_else(|| own(None));
        found.expect("a step").0
    }

    fn state(&self, fastener: u8, stage: u8) -> StepState {
        self.ledger.step(self.step(fastener, stage))
    }

    /// A pull that ended so, at the target of its stage.
    fn pull(&self, fastener: u8, stage: u8, verdict: Verdict) -> Attempt {
        let step = self.step(fastener, stage);
        let reached = match self.procedure.torque_window(step) {
            Some(window) => window.target,
            None => Torque::ZERO,
        };
        Attempt {
            step,
            fastener,
            stage,
            attempt: 1,
            pulls: 1,
            verdict,
            reasons: Reasons::NONE,
            peak: reached,
            final_torque: reached,
            angle: None,
            prevailing: Added::Nothing,
            restart: None,
            trace: 0,
            took_ms: 0,
        }
    }

    fn accept(&mut self, fastener: u8, stage: u8) -> &mut Self {
        let pull = self.pull(fastener, stage, Verdict::Accepted);
        self.keep(pull)
    }

    fn reject(&mut self, fastener: u8, stage: u8, reason: Reason) -> &mut Self {
        let pull = Attempt {
            reasons: Reasons::NONE.with(reason),
            ..self.pull(fastener, stage, Verdict::Rejected)
        };
        self.keep(pull)
    }

    /// A pull whose verdict is not known for want of the running torque.
    fn want_running(&mut self, fastener: u8, stage: u8) -> &mut Self {
        let pull = Attempt {
            reasons: Reasons::NONE.with(Reason::RunningUnknown),
            ..self.pull(fastener, stage, Verdict::Unknown)
        };
        self.keep(pull)
    }

    fn standing(&self) -> Standing {
        self.ledger.standing(&self.procedure)
    }
}

fn seconds(value: u32) -> Instant {
    Instant::BOOT.after(Span::from_seconds(value))
}

fn loosened(fastener: u8) -> Loosened {
    Loosened {
        fastener,
        elsewhere: false,
        cause: Text::empty(),
    }
}

fn noted(fastener: u8, doubt: Doubt) -> Noted {
    Noted {
        fastener: Some(fastener),
        doubt,
        text: Text::empty(),
    }
}

fn decided(step: u16, decision: Decision) -> Decided {
    Decided {
        step,
        decision,
        note: Text::empty(),
    }
}

fn skipped(step: u16) -> Skipped {
    Skipped {
        step,
        reason: Text::cut("M. Odum: not reached"),
    }
}

fn done(step: u16, manner: Manner) -> Done {
    Done { step, manner }
}

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

fn apart() -> Apart {
    Apart {
        note: Text::empty(),
    }
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

#[test]
fn a_time_is_known_in_the_run_of_the_clock_that_it_came_in_and_no_longer() {
    let stages = [
        tighten(40),
        wait(Moment::StageDone(0)),
        wait(Moment::Named(3)),
    ];
    let mut joint = Joint::of(&stages);
    let moments = |joint: &Joint| {
        [Moment::StageDone(0), Moment::Named(3), Moment::Named(2)]
            .map(|moment| joint.ledger.moment(&joint.procedure, moment))
    };
    assert_eq!(moments(&joint), [Reached::NotYet; 3]);
    (0..4).for_each(|own| {
        joint.accept(own, 0);
    });
    joint.keep(Came { moment: 3 });
    let known = [
        Reached::At(seconds(4)),
        Reached::At(seconds(5)),
        Reached::NotYet,
    ];
    assert_eq!(moments(&joint), known);
    joint.keep_in_run(
        2,
        Zero {
            taken: true,
            offset: Torque::ZERO,
        },
    );
    let unknown = [Reached::TimeUnknown, Reached::TimeUnknown, Reached::NotYet];
    assert_eq!(moments(&joint), unknown);
    // Told again it is known again; a stage that is opened again has not come to its end.
    joint.keep_in_run(2, Came { moment: 3 });
    joint.keep_in_run(2, loosened(2));
    let again = [Reached::NotYet, Reached::At(seconds(7)), Reached::NotYet];
    assert_eq!(moments(&joint), again);
}

#[test]
fn a_start_asks_anew_who_works_and_with_what() {
    let person = |role| Person {
        name: Text::cut("M. Odum"),
        role,
    };
    let mut joint = Joint::of(&[tighten(40)]);
    joint.keep(person(Role::Witness));
    assert!(!joint.ledger.has_person(), "whoever looks on does not work");
    joint
        .keep(person(Role::Operator))
        .keep(person(Role::Witness));
    joint.keep(Tool {
        id: Text::cut("W1"),
        waiver: Text::empty(),
    });
    assert!(joint.ledger.has_person() && joint.ledger.has_tool());
    joint.keep(Started {
        rules: 1,
        procedure: 0,
        rehearsal: false,
    });
    assert!(!joint.ledger.has_person() && !joint.ledger.has_tool());
}
