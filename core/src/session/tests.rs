//! What a session answers from one input to the next, where a script cannot look: signals, readings at rest, time that passes.

use std::vec::Vec;

use super::*;
use crate::curve_limits::CurveLimits;
use crate::procedure::samples::{self, tighten};
use crate::procedure::{AngleWindow, Moment as Awaited, Stage, StageKind, Terms};
use crate::record::{Added, Attempt, Record, Role};
use crate::sample::Sample;
use crate::tracker::{Cue, Start};
use crate::unit::{Angle, Rotation, Span, Torque};
use crate::verdict::{Reason, Reasons, Verdict};

const fn mn_m(value: i32) -> Torque {
    Torque::from_millinewton_meters(value)
}

fn wait(millis: u32) -> Stage {
    Stage::new(StageKind::Wait {
        at_least: Span::from_millis(millis),
        at_most: Span::MAX,
        after: Awaited::StageDone(0),
    })
}

/// Fasteners 1 and 2, each stage at both of them; a wait and a check for the joint.
fn procedure(stages: &[Stage], limits: CurveLimits) -> Procedure {
    let terms = Terms {
        limits,
        ..Terms::default()
    };
    samples::procedure(&[[None; 4]; 2], stages, terms)
}

fn millis(value: u32) -> Instant {
    Instant::BOOT.after(Span::from_millis(value))
}

fn started(procedure: &Procedure) -> Session<&Procedure> {
    let mut session = Session::new(procedure, 0);
    let start = Input::Start {
        boot: 1,
        rehearsal: false,
    };
    assert_eq!(session.apply(Instant::BOOT, start).refusal, None);
    session
}

fn sample(torque: i32, rotation: i32) -> Sample {
    Sample {
        torque: mn_m(torque),
        rotation: Rotation::from_millidegrees(rotation),
    }
}

const WITNESS: Input<'_> = Input::Person {
    name: "Ada",
    role: Role::Witness,
};

#[test]
fn an_outcome_that_is_used_again_holds_nothing_of_before() {
    let own = procedure(&[tighten(20)], CurveLimits::default());
    let mut session = started(&own);
    for input in [Input::Tick, Input::Sample(sample(0, 0))] {
        let mut outcome = Outcome {
            halt: Some(Reason::Overload),
            cue: Cue::Target,
            announce: Some(Announcement {
                seq: 1,
                step: 0,
                verdict: Verdict::Accepted,
                reasons: Reasons::NONE,
            }),
            refusal: Some(Refusal::Store),
            entries: heapless::Vec::new(),
        };
        outcome
            .entries
            .extend(session.apply(Instant::BOOT, WITNESS).entries);
        assert_eq!(outcome.entries().len(), 1);
        session.apply_into(Instant::BOOT, input, &mut outcome);
        assert_eq!(outcome.halt, None);
        assert_eq!(outcome.cue, Cue::None);
        assert_eq!(outcome.announce, None);
        assert_eq!(outcome.refusal, None);
        assert_eq!(outcome.entries(), []);
    }
}

/// Readings come all the time: it is said once that nothing is to be pulled. Whoever pulls is told each time.
#[test]
fn a_reading_at_rest_is_refused_once_and_a_pull_each_time() {
    for (regrip, noise, rest) in [
        (0, 0, 500),
        (499, 124, 500),
        (501, 0, 501),
        (0, 200, 800),
        (900, 200, 900),
    ] {
        let limits = CurveLimits {
            regrip: mn_m(regrip),
            noise: mn_m(noise),
            ..CurveLimits::default()
        };
        let own = procedure(&[Stage::new(StageKind::Check), tighten(20)], limits);
        let mut session = started(&own);
        let mut refused = |input| session.apply(Instant::BOOT, input).refusal;
        let nothing = Some(Refusal::NothingToPull);
        for torque in [rest, -rest] {
            let still = Input::Sample(sample(torque, 0));
            assert_eq!(refused(still), nothing, "{rest}");
            assert_eq!(refused(still), None, "{rest}");
            let pulled = Input::Sample(sample(torque + torque.signum(), 0));
            assert_eq!([refused(pulled), refused(pulled)], [nothing; 2], "{rest}");
            assert_eq!(refused(still), None, "{rest}");
            assert_eq!(refused(WITNESS), None);
        }
    }
}

/// What the tracker signals goes out with the reading that it is signalled for; where readings stay away, with the time that passed.
#[test]
fn signals_go_out_as_the_tracker_gives_them() {
    let own = procedure(&[tighten(20)], CurveLimits::default());
    let mut session = started(&own);
    let (_, aim) = session.armed().expect("a pull");
    let mut tracker = Tracker::new();
    tracker.begin(aim, &CurveLimits::default(), Start::default());
    let mut told = Vec::new();
    // Up, down and at rest for a while; then a pull that is there all at once, after a time in which nothing came.
    let slowly = (0..10).chain((0..10).rev()).chain([0; 10]);
    let slowly = slowly.zip((10..).step_by(10));
    let at_once = (19..25).zip((1_500..).step_by(10));
    for (torque, at) in slowly.chain(at_once) {
        let sample = sample(torque * 1_000, torque * 2_000);
        let wanted = tracker.feed(millis(at), sample);
        let found = session.apply(millis(at), Input::Sample(sample));
        let found = (found.cue, found.halt);
        assert_eq!(found, (wanted.cue, wanted.halt), "{at} ms");
        told.push(found);
    }
    for cue in [Cue::None, Cue::Approach, Cue::Target, Cue::Over] {
        assert!(told.iter().any(|own| own.0 == cue), "{cue:?}");
    }
    assert_eq!(told[30].1, Some(Reason::NoTurn), "with the first of it");
    // In mid-pull nothing comes any more.
    let mut session = started(&own);
    for step in 0_i32..19 {
        let at = millis(u32::try_from(step).unwrap() * 10);
        session.apply(at, Input::Sample(sample(step * 1_000, step * 2_000)));
    }
    let silent = session.apply(millis(400), Input::Tick);
    assert_eq!((silent.cue, silent.halt), (Cue::Target, Some(Reason::Gap)));
}

fn paper(session: &mut Session<&Procedure>, steps: impl IntoIterator<Item = u16>) {
    for step in steps {
        let done = session.apply(Instant::BOOT, Input::Paper { step });
        assert_eq!(done.refusal, None);
    }
}

fn durable(session: &mut Session<&Procedure>) -> Outcome {
    let seq = session.ledger().seq();
    session.apply(Instant::BOOT, Input::Durable { seq })
}

/// Putting right is an act like any other, refused or not: what was due happens first, and a verdict that waited is told with it.
#[test]
fn time_passes_while_a_pull_is_put_right() {
    let wrong = Attempt {
        step: 0,
        fastener: 0,
        stage: 0,
        attempt: 1,
        pulls: 1,
        verdict: Verdict::Accepted,
        reasons: Reasons::NONE,
        peak: mn_m(20_000),
        final_torque: mn_m(20_000),
        angle: None,
        prevailing: Added::Nothing,
        restart: None,
        trace: 0,
        took_ms: 0,
    };
    let own = procedure(&[tighten(20), wait(5_000)], CurveLimits::default());
    let mut session = started(&own);
    paper(&mut session, 0..2);
    durable(&mut session);
    let outcome = session.reassign(millis(6_000), 1, &wrong, 1);
    assert_eq!(outcome.refusal, Some(Refusal::PastPutRight));
    let entry = outcome.entries().first().expect("the wait");
    assert!(matches!(entry.record, Record::Waited(_)));
    assert_eq!(entry.at, millis(5_000));
    assert_eq!(session.next(), Next::Nothing);

    let own = procedure(&[tighten(20)], CurveLimits::default());
    let mut session = started(&own);
    for step in 0..2 {
        let set = Input::BySetting {
            step,
            setting: mn_m(20_000),
            stands_for: mn_m(20_000),
            moved: false,
        };
        assert_eq!(session.apply(Instant::BOOT, set).announce, None);
    }
    let told = |outcome: Outcome| outcome.announce.map(|own| own.step);
    assert_eq!(told(durable(&mut session)), Some(0));
    let outcome = session.reassign(Instant::BOOT, 1, &wrong, 9);
    assert_eq!(told(outcome), Some(1));
}

/// A finished one that turned by 2° and no more before it took the torque again has not moved.
#[test]
fn a_check_finds_a_fastener_in_place_up_to_two_degrees() {
    let own = procedure(&[tighten(20)], CurveLimits::default());
    let checked = |turned: i32| {
        let mut session = started(&own);
        let set = Input::BySetting {
            step: 0,
            setting: mn_m(20_000),
            stands_for: mn_m(20_000),
            moved: false,
        };
        session.apply(Instant::BOOT, set);
        durable(&mut session);
        session.apply(Instant::BOOT, Input::Recheck { fastener: 0 });
        // Up to 18 N·m it stands; then it turns so far on the way to 20; then the hand lets go.
        let up = (0..=18).map(|torque| (torque * 1_000, 0));
        let on = (1..=10).map(|part| (18_000 + part * 200, turned * part / 10));
        let back = (0..20).rev().map(|torque| (torque * 1_000, turned));
        let rest = core::iter::repeat_n((0, turned), 60);
        let mut found = None;
        for ((torque, rotation), at) in up.chain(on).chain(back).chain(rest).zip((10..).step_by(10))
        {
            let outcome = session.apply(millis(at), Input::Sample(sample(torque, rotation)));
            for entry in outcome.entries() {
                if let Record::Rechecked(own) = &entry.record {
                    found = Some((own.moved.map(Angle::millidegrees), own.verdict));
                }
            }
        }
        found
    };
    for (turned, verdict) in [
        (0, Verdict::Accepted),
        (1_999, Verdict::Accepted),
        (2_000, Verdict::Accepted),
        (2_001, Verdict::Rejected),
    ] {
        assert_eq!(checked(turned), Some((Some(turned), verdict)));
    }
}

/// A copy of a joint that is worked elsewhere says what is next there, at that time, and makes no record of its own.
#[test]
fn whoever_looks_on_sees_what_is_next_at_that_time() {
    let own = procedure(&[tighten(20), wait(5_000)], CurveLimits::default());
    let mut live = started(&own);
    let mut kept: Vec<Entry> = Vec::new();
    for step in 0..2 {
        let outcome = live.apply(millis(900), Input::Paper { step });
        kept.extend(outcome.entries().iter().cloned());
    }
    kept.insert(
        0,
        Entry {
            joint: 0,
            seq: 1,
            boot: 1,
            at: Instant::BOOT,
            record: Started {
                rules: crate::record::RULES,
                procedure: own.digest(),
                rehearsal: false,
            }
            .into(),
        },
    );
    let mut copy = Session::restore(&own, 0, &kept).unwrap();
    assert_eq!(copy.durable(), 3, "what was read back is safe");
    assert_eq!(copy.next(), Next::Start);
    assert_eq!(copy.deadline(), None);
    let until = millis(5_000);
    for (at, next) in [
        (millis(900), Next::Wait { step: 2, until }),
        (millis(4_999), Next::Wait { step: 2, until }),
        // An earlier time counts as the last one.
        (millis(1_000), Next::Wait { step: 2, until }),
        (until, Next::Nothing),
    ] {
        copy.look_on(at);
        assert_eq!(copy.next(), next);
    }
}

/// Two things to wait for, a time that must pass and a check that ends when the hand has let go: the clock is wanted for the earlier one.
#[test]
fn the_clock_is_wanted_for_what_is_due_first() {
    for (wait_for, is_check_first) in [(60_000, true), (1_300, false)] {
        let own = procedure(&[tighten(20), wait(wait_for)], CurveLimits::default());
        let mut session = started(&own);
        for step in 0..2 {
            let set = Input::BySetting {
                step,
                setting: mn_m(20_000),
                stands_for: mn_m(20_000),
                moved: false,
            };
            session.apply(Instant::BOOT, set);
            durable(&mut session);
        }
        let until = millis(wait_for);
        assert_eq!(session.deadline(), Some(until));
        session.apply(Instant::BOOT, Input::Recheck { fastener: 0 });
        for (torque, at) in (0..21)
            .chain((0..20).rev())
            .chain([0; 4])
            .zip((800..).step_by(10))
        {
            session.apply(millis(at), Input::Sample(sample(torque * 1_000, 0)));
        }
        let due = session.deadline().expect("two of them");
        assert_eq!(due < until, is_check_first, "{due:?}");
        assert!(due <= until);
        let outcome = session.apply(due, Input::Tick);
        let found = outcome.entries().first().map(|entry| &entry.record);
        let is_check = matches!(found, Some(Record::Rechecked(_)));
        let is_wait = matches!(found, Some(Record::Waited(_)));
        assert_eq!([is_check, is_wait], [is_check_first, !is_check_first]);
    }
}

#[test]
fn rotation_is_needed_while_a_turn_is_to_be_pulled() {
    let turn = Stage::new(StageKind::Turn {
        window: AngleWindow {
            target: Angle::from_millidegrees(90_000),
            min: Angle::from_millidegrees(85_000),
            max: Angle::from_millidegrees(95_000),
        },
        torque: None,
        one_sweep: false,
    });
    let own = procedure(
        &[tighten(20), turn, Stage::new(StageKind::Check)],
        CurveLimits::default(),
    );
    let mut session = started(&own);
    let mut needed = Vec::new();
    for step in 0..4 {
        needed.push((session.next(), session.needs_rotation()));
        let reason = "Ada: not within reach";
        session.apply(Instant::BOOT, Input::Skip { step, reason });
    }
    needed.push((session.next(), session.needs_rotation()));
    let wanted = [
        (Next::Pull { step: 0 }, false),
        (Next::Pull { step: 1 }, false),
        (Next::Pull { step: 2 }, true),
        (Next::Pull { step: 3 }, true),
        (Next::Answer { step: 4 }, false),
    ];
    assert_eq!(needed, wanted);
}

#[test]
fn each_start_has_a_larger_number_than_the_last() {
    let own = procedure(&[tighten(20)], CurveLimits::default());
    let mut first = Session::new(&own, 7);
    let start = |boot| Input::Start {
        boot,
        rehearsal: false,
    };
    let outcome = first.apply(Instant::BOOT, start(3));
    assert_eq!((first.joint(), outcome.entries()[0].joint), (7, 7));
    let mut again = Session::restore(&own, 7, outcome.entries()).unwrap();
    for (boot, refusal) in [
        (2, Some(Refusal::StartedBefore)),
        (3, Some(Refusal::StartedBefore)),
        (4, None),
        (5, Some(Refusal::StartedBefore)),
    ] {
        assert_eq!(again.apply(Instant::BOOT, start(boot)).refusal, refusal);
    }
}

/// Readings of a torque alone judge what is about a torque, and nothing else.
#[test]
fn a_torque_alone_is_judged_where_no_rotation_is_asked_for() {
    let own = procedure(&[tighten(20)], CurveLimits::default());
    let mut session = started(&own);
    let mut kept = Vec::new();
    let pull = (0..21).chain((0..20).rev()).chain([0; 100]);
    for (torque, at) in pull.zip((10..).step_by(10)) {
        let outcome = session.apply(millis(at), Input::TorqueAlone(mn_m(torque * 1_000)));
        kept.extend(outcome.entries().iter().cloned());
    }
    let [begun, ended] = &kept[..] else {
        panic!("{kept:?}");
    };
    assert!(matches!(begun.record, Record::Begun(_)));
    let Record::Attempt(attempt) = &ended.record else {
        panic!("{ended:?}");
    };
    assert_eq!(
        (attempt.verdict, attempt.peak),
        (Verdict::Accepted, mn_m(20_000))
    );
    assert_eq!(attempt.angle, None);
    // From the first load to the judgement.
    assert_eq!(attempt.took_ms, ended.at.since(begun.at).millis());
    let hold = Stage::new(StageKind::Hold {
        torque: mn_m(20_000),
        time: Span::from_millis(1_000),
        still: Angle::from_millidegrees(1_000),
    });
    let own = procedure(&[hold], CurveLimits::default());
    let outcome = started(&own).apply(millis(10), Input::TorqueAlone(mn_m(20_000)));
    assert_eq!(outcome.refusal, Some(Refusal::NoRotation));
}

#[test]
fn a_record_has_the_time_of_what_it_records_and_time_never_goes_back() {
    let own = procedure(&[tighten(20)], CurveLimits::default());
    let mut session = started(&own);
    let mut begun = None;
    for step in 0_i32..10 {
        let at = millis(5_000 + u32::try_from(step).unwrap() * 10);
        let outcome = session.apply(at, Input::Sample(sample(step * 1_000, step * 2_000)));
        if let Some(entry) = outcome.entries().first() {
            begun = Some((entry.at, at));
        }
    }
    let (recorded, at) = begun.expect("a pull");
    assert_eq!(recorded, at);
    let earlier = session.apply(millis(1), WITNESS);
    assert_eq!(earlier.entries()[0].at, millis(5_090));
}

#[test]
fn only_fasteners_that_are_there_are_spoken_of() {
    let own = procedure(&[tighten(20)], CurveLimits::default());
    let mut session = started(&own);
    for (fastener, refusal) in [
        (1, None),
        (2, Some(Refusal::NoSuch)),
        (u8::MAX, Some(Refusal::NoSuch)),
    ] {
        let fitted = Input::Fitted { fastener };
        assert_eq!(session.apply(Instant::BOOT, fitted).refusal, refusal);
    }
}

#[test]
fn what_is_next_names_its_step_where_it_is_about_one() {
    let (step, fastener) = (3, 3);
    let until = Instant::BOOT;
    for next in [
        Next::Pull { step },
        Next::Hand { step },
        Next::Fit { step },
        Next::Answer { step },
        Next::Measure { step },
        Next::Moment { step, moment: 1 },
        Next::Wait { step, until },
        Next::Decide { step },
    ] {
        assert_eq!(next.step(), Some(3), "{next:?}");
    }
    for next in [
        Next::Start,
        Next::Store,
        Next::Loosen { fastener },
        Next::Replace { fastener },
        Next::Settle { fastener },
        Next::AwaitDue { stage: 3 },
        Next::Nothing,
    ] {
        assert_eq!(next.step(), None, "{next:?}");
    }
}
