//! A joint that goes on under another procedure: what holds, what is done again, what is asked, and what a restart makes of it.
//!
//! Our judgement throughout; the words are those of `core/JOURNAL.md`, kind 30.

use evendraw_core::ledger::{Carry, Standing, StepState};
use evendraw_core::procedure::{
    Fastener, Parts, Procedure, Redo, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Decision, Entry, Record, Revised};
use evendraw_core::session::{Input, Next, Refusal, RestoreError, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Instant, Torque};
use evendraw_core::verdict::Aim;
use proptest::prelude::*;

fn tighten(newton_meters: i32) -> Stage {
    let mnm = |value: i32| Torque::from_millinewton_meters(value * 1000);
    Stage::new(StageKind::Tighten {
        window: TorqueWindow {
            target: mnm(newton_meters),
            min: mnm(newton_meters - 2),
            max: mnm(newton_meters + 2),
        },
        prevailing: Default::default(),
    })
}

/// Stages one after the other over all fasteners; one of 0 N·m is a check of the whole joint.
fn procedure(labels: &[&str], torques: &[i32], redo: Redo) -> Procedure {
    let fasteners: Vec<Fastener> = labels
        .iter()
        .map(|label| Fastener {
            label: Label::new(label).unwrap(),
            near: [None; 4],
        })
        .collect();
    let stages: Vec<Stage> = torques
        .iter()
        .map(|&torque| match torque {
            0 => Stage::new(StageKind::Check),
            torque => tighten(torque),
        })
        .collect();
    let mut steps = Vec::new();
    for (number, &torque) in (0_u8..).zip(torques) {
        match torque {
            0 => steps.push(Step::joint(number)),
            _ => steps.extend((0_u8..).zip(labels).map(|(own, _)| Step::on(own, number))),
        }
    }
    let terms = Terms {
        redo,
        ..Terms::default()
    };
    Procedure::new(&Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: &[],
        terms,
    })
    .unwrap()
}

/// A joint at work, its records kept as soon as they are made.
struct Joint<'p> {
    session: Session<&'p Procedure>,
    procedure: &'p Procedure,
    kept: Vec<Entry>,
    at: u64,
}

impl<'p> Joint<'p> {
    fn new(procedure: &'p Procedure) -> Self {
        let mut joint = Self {
            session: Session::new(procedure, 0),
            procedure,
            kept: Vec::new(),
            at: 0,
        };
        joint.say(Input::Start {
            boot: 1,
            rehearsal: false,
        });
        joint
    }

    fn say(&mut self, input: Input<'_>) -> Option<Refusal> {
        self.at += 1_000_000;
        let at = Instant::from_micros(self.at);
        let outcome = self.session.apply(at, input);
        self.kept.extend(outcome.entries().iter().cloned());
        let seq = self.session.ledger().seq();
        let _ = self.session.apply(at, Input::Durable { seq });
        self.law_three();
        outcome.refusal
    }

    /// Told from paper, the steps of these numbers.
    fn done(&mut self, steps: impl IntoIterator<Item = u16>) {
        for step in steps {
            assert_eq!(self.say(Input::Paper { step }), None, "step {step}");
        }
    }

    fn revise(&mut self, procedure: &'p Procedure, stages: &[Option<u8>]) -> Result<(), Refusal> {
        let carry = Carry {
            stages,
            condition: true,
            moments: true,
        };
        let kept = &mut self.kept;
        self.session
            .revise(procedure, carry, |entry| kept.push(entry))?;
        self.procedure = procedure;
        let seq = self.session.ledger().seq();
        let at = Instant::from_micros(self.at);
        let _ = self.session.apply(at, Input::Durable { seq });
        self.law_three();
        Ok(())
    }

    /// Goes on from how the joint stood after so many records, under the procedure of that time.
    fn revise_since(
        &mut self,
        (records, then): (usize, &'p Procedure),
        procedure: &'p Procedure,
        stages: &[Option<u8>],
    ) {
        let since = Session::restore(then, 0, &self.kept[..records]).expect("its own records");
        let carry = Carry {
            stages,
            condition: true,
            moments: true,
        };
        let kept = &mut self.kept;
        self.session
            .revise_since(&since, carry, procedure, stages, |entry| kept.push(entry))
            .unwrap();
        self.procedure = procedure;
        let seq = self.session.ledger().seq();
        let at = Instant::from_micros(self.at);
        let _ = self.session.apply(at, Input::Durable { seq });
        self.law_three();
    }

    /// What a restart makes of the records, with the procedure of today alone, is what is held now.
    fn law_three(&self) {
        let restored = Session::restore(self.procedure, 0, &self.kept).expect("its own records");
        assert_eq!(restored.ledger(), self.session.ledger());
        assert_eq!(restored.standing(), self.session.standing());
    }

    fn states(&self) -> Vec<StepState> {
        let steps = self.procedure.numbered_steps();
        steps
            .map(|(index, _)| self.session.ledger().step(index))
            .collect()
    }
}

use StepState::{Disturbed, Doubtful, Open, Unmeasured, Waived};

/// 45 edited to 60: nothing is judged again, nothing is silent. Left on a name and a reason, or done again.
#[test]
fn a_finished_joint_whose_stage_changed_is_a_doubt_to_settle() {
    let (old, new) = (
        procedure(&["1", "2"], &[20, 45], Redo::Fastener),
        procedure(&["1", "2"], &[20, 60], Redo::Fastener),
    );
    let mut joint = Joint::new(&old);
    joint.done(0..4);
    assert_eq!(joint.session.standing(), Standing::Final);
    joint.revise(&new, &[Some(0), Some(1)]).unwrap();
    assert_eq!(joint.states(), [Unmeasured, Unmeasured, Doubtful, Doubtful]);
    assert_eq!(joint.session.standing(), Standing::Doubtful);
    assert_eq!(joint.session.next(), Next::Decide { step: 2 });
    // Without a reason it is not left so.
    let waive = |step, note| Input::Decide {
        step,
        decision: Decision::Waive,
        note,
    };
    assert_eq!(joint.say(waive(2, "")), Some(Refusal::ReasonMissing));
    assert_eq!(joint.say(waive(2, "M. Odum: 45 will do here")), None);
    // The other one is done again from the stage that changed.
    let restart = Input::Decide {
        step: 3,
        decision: Decision::Restart(1),
        note: "",
    };
    assert_eq!(joint.say(restart), None);
    assert_eq!(joint.session.next(), Next::Loosen { fastener: 1 });
    let loosened = Input::Loosened {
        fastener: 1,
        elsewhere: false,
        cause: "revision 2",
    };
    joint.say(loosened);
    joint.done([3]);
    assert_eq!(joint.states(), [Unmeasured, Unmeasured, Waived, Unmeasured]);
    assert_eq!(joint.session.standing(), Standing::Final);
}

#[test]
fn a_finished_joint_that_did_not_change_stays_final() {
    let (old, new) = (
        procedure(&["1", "2"], &[20, 45], Redo::Joint),
        procedure(&["2", "1"], &[20, 45], Redo::Joint),
    );
    let mut joint = Joint::new(&old);
    joint.done(0..4);
    joint.say(Input::Mark { fastener: 0 });
    joint.revise(&new, &[Some(0), Some(1)]).unwrap();
    assert_eq!(joint.session.standing(), Standing::Final);
    // The label carries the identity, not the place in the list.
    assert!(joint.session.ledger().is_marked(1) && !joint.session.ledger().is_marked(0));
}

/// Typed wrongly and typed back before anybody worked by it: nothing is asked, nothing is loosened.
#[test]
fn a_change_that_is_taken_back_before_anything_is_done_leaves_everything_as_it_was() {
    let (old, new) = (
        procedure(&["1", "2"], &[20, 45], Redo::Fastener),
        procedure(&["1", "2"], &[20, 60], Redo::Fastener),
    );
    for done in [4, 3] {
        let mut joint = Joint::new(&old);
        joint.done(0..done);
        let (before, standing) = (joint.states(), joint.session.standing());
        let records = joint.kept.len();
        joint.revise(&new, &[Some(0), Some(1)]).unwrap();
        assert_ne!(joint.states(), before);
        joint.revise_since((records, &old), &old, &[Some(0), Some(1)]);
        assert_eq!(
            (joint.states(), joint.session.standing()),
            (before, standing)
        );
        assert!((0..2).all(|own| !joint.session.ledger().must_loosen(own)));
    }
}

/// A second correction while the first waits for a decision is one more thing to decide on, and loosens nothing.
#[test]
fn a_finished_joint_that_is_in_doubt_stays_to_be_decided_on() {
    let (old, new, third) = (
        procedure(&["1", "2"], &[20, 45], Redo::Fastener),
        procedure(&["1", "2"], &[20, 60], Redo::Fastener),
        procedure(&["1", "2"], &[20, 70], Redo::Fastener),
    );
    let mut joint = Joint::new(&old);
    joint.done(0..4);
    joint.revise(&new, &[Some(0), Some(1)]).unwrap();
    let left = Input::Decide {
        step: 2,
        decision: Decision::Waive,
        note: "M. Odum: 45 will do here",
    };
    assert_eq!(joint.say(left), None);
    assert_eq!(joint.states(), [Unmeasured, Unmeasured, Waived, Doubtful]);
    joint.revise(&third, &[Some(0), Some(1)]).unwrap();
    assert_eq!(joint.states(), [Unmeasured, Unmeasured, Doubtful, Doubtful]);
    assert!((0..2).all(|own| !joint.session.ledger().must_loosen(own)));
}

#[test]
fn a_joint_in_progress_goes_on_and_only_what_changed_is_done_again() {
    let (old, new) = (
        procedure(&["1", "2", "3"], &[20, 45], Redo::Fastener),
        procedure(&["1", "2", "3"], &[20, 60], Redo::Fastener),
    );
    let mut joint = Joint::new(&old);
    joint.done(0..4);
    joint.revise(&new, &[Some(0), Some(1)]).unwrap();
    assert_eq!(
        joint.states(),
        [Unmeasured, Unmeasured, Unmeasured, Disturbed, Open, Open]
    );
    assert!(joint.session.ledger().must_loosen(0));
    assert!(!joint.session.ledger().must_loosen(1));
    assert_eq!(joint.session.next(), Next::Loosen { fastener: 0 });
    // A change of a stage that nobody has come to touches nothing.
    let mut joint = Joint::new(&old);
    joint.done(0..2);
    joint.revise(&new, &[Some(0), Some(1)]).unwrap();
    assert_eq!(
        joint.states(),
        [Unmeasured, Unmeasured, Open, Open, Open, Open]
    );
    assert_eq!(joint.session.standing(), Standing::InHand);
}

/// What one finished fastener spoils is spoilt with it, as when it is loosened.
#[test]
fn the_redo_rule_holds_for_a_finished_fastener() {
    for (redo, other) in [(Redo::Fastener, Unmeasured), (Redo::Joint, Disturbed)] {
        let (old, new) = (
            procedure(&["1", "2"], &[45, 50], redo),
            procedure(&["1", "2"], &[45, 60], redo),
        );
        let mut joint = Joint::new(&old);
        // Fastener 1 through both stages, fastener 2 only the first.
        joint.done([0, 1, 2]);
        joint.revise(&new, &[Some(0), Some(1)]).unwrap();
        assert_eq!(joint.states()[1], other, "{redo:?}");
        // One that is not finished spoils nothing.
        let (old, new) = (
            procedure(&["1", "2"], &[45, 50, 60], redo),
            procedure(&["1", "2"], &[45, 55, 60], redo),
        );
        let mut joint = Joint::new(&old);
        joint.done([0, 1, 2]);
        joint.revise(&new, &[Some(0), Some(1), Some(2)]).unwrap();
        assert_eq!(joint.states()[1], Unmeasured, "{redo:?}");
    }
}

#[test]
fn fasteners_are_added_and_removed() {
    let (old, new) = (
        procedure(&["1", "2"], &[20], Redo::Fastener),
        procedure(&["2", "3"], &[20], Redo::Fastener),
    );
    let mut joint = Joint::new(&old);
    joint.done(0..2);
    assert_eq!(joint.session.standing(), Standing::Final);
    joint.revise(&new, &[Some(0)]).unwrap();
    assert_eq!(joint.states(), [Unmeasured, Open]);
    assert_eq!(joint.session.standing(), Standing::InHand);
    let from: Vec<u8> = joint
        .kept
        .iter()
        .filter_map(|entry| match &entry.record {
            Record::Revised(Revised::Fastener { from, .. }) => Some(*from),
            _ => None,
        })
        .collect();
    assert_eq!(from, [1, 255]);
}

#[test]
fn stages_are_put_in_and_taken_out() {
    let old = procedure(&["1"], &[20, 45], Redo::Fastener);
    // Put in before what is done already: nobody pulls 30 N·m on what holds 45.
    let put_in = procedure(&["1"], &[20, 30, 45], Redo::Fastener);
    let mut joint = Joint::new(&old);
    joint.done(0..2);
    joint.revise(&put_in, &[Some(0), None, Some(1)]).unwrap();
    assert_eq!(joint.states()[0], Unmeasured);
    assert_eq!(joint.states()[1], Doubtful);
    // Taken out after it was done: what is on the fastener nobody asked for.
    let taken_out = procedure(&["1"], &[20], Redo::Fastener);
    let mut joint = Joint::new(&old);
    joint.done(0..2);
    joint.revise(&taken_out, &[Some(0)]).unwrap();
    assert_eq!(joint.states(), [Doubtful]);
    // Put behind: open, and no more than that.
    let behind = procedure(&["1"], &[20, 45, 0], Redo::Fastener);
    let mut joint = Joint::new(&old);
    joint.done(0..2);
    joint.revise(&behind, &[Some(0), Some(1), None]).unwrap();
    assert_eq!(joint.states(), [Unmeasured, Unmeasured, Open]);
}

#[test]
fn a_joint_that_nobody_touched_makes_no_record() {
    let (old, new) = (
        procedure(&["1"], &[20], Redo::Fastener),
        procedure(&["1"], &[30], Redo::Fastener),
    );
    let mut session = Session::new(&old, 0);
    let carry = Carry {
        stages: &[Some(0)],
        condition: true,
        moments: true,
    };
    let mut count = 0;
    session.revise(&new, carry, |_| count += 1).unwrap();
    assert_eq!(count, 0);
    assert_eq!(session.procedure(), &new);
}

/// Killed between any two records of the change: it is said how much is missing, and the procedure before takes up what stood before.
#[test]
fn a_change_that_was_cut_off_is_told_and_nothing_is_lost() {
    let (old, new) = (
        procedure(&["1", "2", "3"], &[20, 45], Redo::Fastener),
        procedure(&["1", "2", "3"], &[20, 60], Redo::Fastener),
    );
    let mut joint = Joint::new(&old);
    joint.done(0..6);
    let before = joint.kept.len();
    let ledger = joint.session.ledger().clone();
    joint.revise(&new, &[Some(0), Some(1)]).unwrap();
    let all = joint.kept.clone();
    assert_eq!(all.len(), before + 4, "the joint, and three fasteners");
    for cut in before + 1..all.len() {
        let missing = u8::try_from(all.len() - cut).unwrap();
        let error = Session::restore(&new, 0, &all[..cut])
            .map(|_| ())
            .unwrap_err();
        assert_eq!(error, RestoreError::Unfinished { missing });
    }
    let as_before = Session::restore(&old, 0, &all[..before]).unwrap();
    assert_eq!(as_before.ledger(), &ledger);
    // The same change made again gives the same records: it can be written to its end.
    let mut again = as_before;
    let carry = Carry {
        stages: &[Some(0), Some(1)],
        condition: true,
        moments: true,
    };
    let mut made = Vec::new();
    again
        .revise(&new, carry, |entry| made.push(entry.record))
        .unwrap();
    let wanted: Vec<Record> = all[before..]
        .iter()
        .map(|entry| entry.record.clone())
        .collect();
    assert_eq!(made, wanted);
}

/// The records of two revisions, with the last procedure alone; the ones before it do not fit.
#[test]
fn two_revisions_are_taken_up_with_the_last_procedure() {
    let one = procedure(&["1"], &[20], Redo::Fastener);
    let two = procedure(&["1"], &[30], Redo::Fastener);
    let three = procedure(&["1", "2"], &[30], Redo::Fastener);
    let mut joint = Joint::new(&one);
    joint.done([0]);
    joint.revise(&two, &[Some(0)]).unwrap();
    joint.revise(&three, &[Some(0)]).unwrap();
    for wrong in [&one, &two] {
        let error = Session::restore(wrong, 0, &joint.kept)
            .map(|_| ())
            .unwrap_err();
        let recorded = three.digest();
        let given = wrong.digest();
        assert_eq!(error, RestoreError::OtherProcedure { recorded, given });
    }
}

/// Changed between two days, before the first word of the morning: the start is recorded under the new procedure.
#[test]
fn a_joint_that_is_changed_before_it_is_begun_again_begins_under_the_new_procedure() {
    let (old, new) = (
        procedure(&["1", "2"], &[20, 45], Redo::Fastener),
        procedure(&["1", "2"], &[20, 60], Redo::Fastener),
    );
    let mut joint = Joint::new(&old);
    joint.done(0..3);
    joint.session = Session::restore(&old, 0, &joint.kept).unwrap();
    joint.revise(&new, &[Some(0), Some(1)]).unwrap();
    assert_eq!(joint.session.next(), Next::Start);
    let start = Input::Start {
        boot: 2,
        rehearsal: false,
    };
    assert_eq!(joint.say(start), None);
    let Some(Record::Started(started)) = joint.kept.last().map(|entry| &entry.record) else {
        panic!("the start is the last record");
    };
    assert_eq!(started.procedure, new.digest());
    assert_eq!(joint.session.next(), Next::Loosen { fastener: 0 });
}

/// In a joint at work what is next is known with the change, before its records are safe.
#[test]
fn what_is_next_under_the_new_procedure_is_known_at_once() {
    let (old, new) = (
        procedure(&["1", "2"], &[20, 45], Redo::Fastener),
        procedure(&["1", "2"], &[25, 45], Redo::Fastener),
    );
    let mut joint = Joint::new(&old);
    joint.done([0]);
    assert_eq!(joint.session.next(), Next::Pull { step: 1 });
    let carry = Carry {
        stages: &[Some(0), Some(1)],
        condition: true,
        moments: true,
    };
    joint.session.revise(&new, carry, |_| {}).unwrap();
    assert_eq!(joint.session.next(), Next::Loosen { fastener: 0 });
}

/// Armed for what is asked for now; whoever was taken out of turn is taken in turn again.
#[test]
fn the_next_pull_is_for_the_new_target_and_in_the_order_of_work() {
    let (old, new) = (
        procedure(&["1", "2"], &[20, 45], Redo::Fastener),
        procedure(&["1", "2"], &[30, 45], Redo::Fastener),
    );
    let mut joint = Joint::new(&old);
    let target = |joint: &Joint| match joint.session.armed() {
        Some((step, Aim::Torque { window })) => (step, window.target.millinewton_meters()),
        other => panic!("{other:?}"),
    };
    assert_eq!(target(&joint), (0, 20_000));
    joint.revise(&new, &[Some(0), Some(1)]).unwrap();
    assert_eq!(target(&joint), (0, 30_000));
    joint.say(Input::Select { fastener: 1 });
    assert_eq!(target(&joint), (1, 30_000));
    joint.revise(&old, &[Some(0), None]).unwrap();
    assert_eq!(target(&joint), (0, 20_000));
    let told = joint
        .kept
        .iter()
        .rev()
        .find_map(|entry| match &entry.record {
            Record::Revised(Revised::Joint { stages, .. }) => Some(stages[..3].to_vec()),
            _ => None,
        });
    assert_eq!(told, Some(vec![0, 255, 255]));
}

/// A verdict that is not safe yet belongs to the procedure it was made under.
#[test]
fn nothing_is_changed_while_a_verdict_waits_for_its_record() {
    let (old, new) = (
        procedure(&["1"], &[20, 45], Redo::Fastener),
        procedure(&["1"], &[20, 60], Redo::Fastener),
    );
    let mut joint = Joint::new(&old);
    let at = Instant::from_micros(2_000_000);
    let set = Input::BySetting {
        step: 0,
        setting: Torque::from_millinewton_meters(20_000),
        stands_for: Torque::from_millinewton_meters(20_000),
        moved: false,
    };
    let outcome = joint.session.apply(at, set);
    joint.kept.extend(outcome.entries().iter().cloned());
    let stages = [Some(0), Some(1)];
    assert_eq!(joint.revise(&new, &stages), Err(Refusal::Store));
    let seq = joint.session.ledger().seq();
    let told = joint.session.apply(at, Input::Durable { seq }).announce;
    assert_eq!(told.map(|own| own.seq), Some(seq));
    assert_eq!(joint.revise(&new, &stages), Ok(()));
    let _ = joint.session.apply(at, Input::StoreFailed);
    assert_eq!(joint.revise(&new, &stages), Err(Refusal::Store));
}

proptest! {
    /// Whatever was done and whatever changes: a restart folds to the live state (L3), what is settled and did not change is not undone
    /// but by the redo rule, and the session goes on without a panic.
    #[test]
    fn any_change_at_any_time_is_taken_up(
        acts in prop::collection::vec((0..5_u8, 0..16_u16), 0..40),
        before in (1..4_usize, prop::collection::vec(prop_oneof![Just(0), 20..60_i32], 1..4)),
        after in (1..4_usize, prop::collection::vec(prop_oneof![Just(0), 20..60_i32], 1..4)),
        map in prop::collection::vec(prop::option::of(0..4_u8), 4),
        redo in prop_oneof![Just(Redo::Fastener), Just(Redo::Joint)],
        more in prop::collection::vec((0..5_u8, 0..16_u16), 0..20),
    ) {
        const LABELS: [&str; 4] = ["1", "2", "3", "4"];
        let old = procedure(&LABELS[..before.0], &before.1, redo);
        let new = procedure(&LABELS[4 - after.0..], &after.1, redo);
        let mut used = Vec::new();
        let map: Vec<Option<u8>> = map
            .into_iter()
            .map(|old| old.filter(|old| {
                let fresh = !used.contains(old);
                used.push(*old);
                fresh
            }))
            .take(after.1.len())
            .collect();
        let mut joint = Joint::new(&old);
        let act = |joint: &mut Joint<'_>, (kind, number): (u8, u16)| {
            let fastener = u8::try_from(number % 4).unwrap();
            let step = number;
            joint.say(match kind {
                0 | 1 => Input::Paper { step },
                2 => Input::Answer { step, yes: number % 3 != 0, note: "" },
                3 => Input::Loosened { fastener, elsewhere: number % 2 == 0, cause: "" },
                _ => Input::Skip { step, reason: "R. Falk" },
            });
        };
        for one in acts {
            act(&mut joint, one);
        }
        joint.revise(&new, &map).unwrap();
        for one in more {
            act(&mut joint, one);
        }
    }
}
