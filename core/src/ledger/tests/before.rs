//! What is put back when somebody says that a record was not so, and what cannot be.

use super::*;
use crate::record::Withdrawn;

fn withdrawn(of: u32) -> Withdrawn {
    Withdrawn {
        of,
        reason: Text::cut("M. Odum: the wrong list"),
    }
}

fn read(joint: &Joint, fastener: u8, stage: u8, moved: bool) -> Read {
    let pull = joint.pull(fastener, stage, Verdict::Accepted);
    Read {
        step: pull.step,
        fastener,
        stage,
        attempt: 1,
        way: Way::Eye,
        verdict: Verdict::Accepted,
        reasons: Reasons::NONE,
        torque: Some(pull.peak),
        angle: None,
        moved,
        prevailing: Added::Nothing,
        stated: Text::empty(),
    }
}

#[test]
fn the_last_four_records_can_be_put_right_while_nothing_touched_their_fastener() {
    let mut joint = Joint::of(&[tighten(20), tighten(40)]);
    let right = |joint: &Joint| [0, 1, 2, 3, 4, 5, 6].map(|seq| joint.ledger.can_put_right(seq));
    assert_eq!(right(&joint), [false; 7], "there is no record 0");
    (0..4).for_each(|own| {
        joint.accept(own, 0);
    });
    assert_eq!(right(&joint), [false, true, true, true, true, false, false]);
    joint.accept(1, 1);
    assert_eq!(right(&joint), [false, true, false, true, true, true, false]);
    // What belongs to no fastener and says nothing of the joint changes nothing of that.
    joint.keep(Begun { step: 4 });
    assert_eq!(right(&joint), [false, true, false, true, true, true, false]);
    joint.keep(loosened(3));
    assert_eq!(
        right(&joint),
        [false; 7],
        "who knows what came loose with it"
    );
}

#[test]
fn a_fastener_stands_as_it_stood_before() {
    let mut joint = Joint::of(&[tighten(20), turn(90), back_off(None)]);
    let far = Attempt {
        angle: Some(degrees(90)),
        final_torque: torque(60),
        ..joint.pull(0, 1, Verdict::Accepted)
    };
    joint.accept(0, 0).keep(far);
    let before = joint.ledger.fastener(0);
    let back = done(joint.step(0, 2), Manner::Hand);
    joint.keep(back).keep(withdrawn(3));
    assert_eq!(joint.ledger.fastener(0), before);
    assert_eq!(joint.state(0, 2), StepState::Open);
    let paper = done(joint.step(1, 0), Manner::Paper);
    joint.keep(paper);
    assert_eq!(joint.ledger.cycles(1), 1);
    joint.keep(withdrawn(5));
    assert_eq!(joint.ledger.cycles(1), 0);
    assert!(!joint.ledger.is_tight(1));
}

/// Advice goes by what was judged last; of what was not so there is none, of another one there is.
#[test]
fn what_was_judged_last_is_no_more_if_it_was_not_so() {
    for (of, left) in [(1, Some(1)), (2, None)] {
        let mut joint = Joint::of(&[tighten(20)]);
        let (one, other) = (read(&joint, 0, 0, false), read(&joint, 1, 0, false));
        joint.keep(one).keep(other);
        assert_eq!(joint.ledger.judged().map(|own| own.0), Some(1));
        joint.keep(withdrawn(of));
        assert_eq!(joint.ledger.judged().map(|own| own.0), left);
    }
}

#[test]
fn one_that_did_not_move_after_all_is_not_counted() {
    for (of, moved) in [(1, 1), (2, 1), (3, 2)] {
        let mut joint = Joint::of(&[repeat(20)]);
        for (fastener, moved) in [(0, true), (1, true), (2, false)] {
            let own = read(&joint, fastener, 0, moved);
            joint.keep(own);
        }
        assert_eq!(joint.ledger.moved(), 2);
        joint.keep(withdrawn(of));
        assert_eq!(joint.ledger.moved(), moved, "{of}");
    }
}

/// A wrong length had opened what was done: it is done again. What was open for another reason stays so, and what was told from paper
/// cannot be told from what was measured.
#[test]
fn what_a_wrong_record_opened_is_done_again() {
    let measure = Stage {
        on_under: Policy::Restart(0),
        ..Stage::new(StageKind::Measure {
            min: Length::from_micrometers(100),
            max: Length::from_micrometers(200),
        })
    };
    let wrong = |joint: &Joint| Measured {
        step: joint.step(0, 1),
        length: Length::from_micrometers(50),
        verdict: Verdict::Rejected,
    };
    let mut joint = Joint::of(&[tighten(20), measure]);
    joint.accept(0, 0).accept(1, 0).keep(loosened(1));
    let length = wrong(&joint);
    joint.keep(length);
    let states = |joint: &Joint| [joint.state(0, 0), joint.state(1, 0)];
    assert_eq!(states(&joint), [StepState::Disturbed; 2]);
    joint.keep(withdrawn(4));
    assert_eq!(states(&joint), [StepState::Done, StepState::Disturbed]);
    // Opened by a loosening, not by what is withdrawn.
    let left_out = skipped(joint.step(1, 1));
    joint.keep(left_out).keep(withdrawn(6));
    assert_eq!(states(&joint), [StepState::Done, StepState::Disturbed]);
    let mut joint = Joint::of(&[tighten(20), measure]);
    let (paper, length) = (done(joint.step(0, 0), Manner::Paper), wrong(&joint));
    joint.keep(paper).keep(length);
    assert!(!joint.ledger.can_put_right(2));
    joint.keep(withdrawn(2));
    assert_eq!(joint.state(0, 0), StepState::Disturbed);
}
