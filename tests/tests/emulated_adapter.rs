//! The whole adapter on the emulated board: worked by hand alone, worked over the link, its power cut 300 times.

mod adapter_rig;

use adapter_rig::{Rig, attempts, blank_flash, entries, procedure, used_flash};
use evendraw_core::link::{PullJournal, SendProcedure, SendStep};
use evendraw_core::link::{Reply, Request};
use evendraw_core::procedure::Procedure;
use evendraw_core::record::{Entry, Record};
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::unit::Instant;
use evendraw_core::verdict::Verdict;
use evendraw_tests::emulator;
use std::time::{Duration, Instant as Clock};

/// RAM of the budget, less what is not stack (16 bytes) and a little to spare.
const STACK_BUDGET: u32 = 16 * 1024 - 256;

/// How long a slow machine may take to the first verdict.
const PATIENCE: Duration = Duration::from_mins(2);

#[test]
fn a_bolt_circle_is_made_and_worked_with_two_keys() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = blank_flash(folder.path());
    let mut rig = Rig::start(&image);
    rig.still(700);
    rig.make_circle(4);
    assert!(rig.page().contains("NEXT 1 stage 1/2"), "{}", rig.page());
    assert!(rig.page().contains("clockwise to 10.0"), "{}", rig.page());
    for _ in 0..4 {
        rig.pull(10.1, 30.0);
        assert!(rig.page().contains("ACCEPTED"), "{}", rig.page());
    }
    // Second stage: twice the torque; too little is rejected, and it is the same one's turn again.
    assert!(rig.page().contains("stage 2/2"), "{}", rig.page());
    rig.pull(15.0, 15.0);
    // The hand could go on; the key says that it is done.
    rig.yes();
    assert!(rig.page().contains("TOO LITTLE TORQUE"), "{}", rig.page());
    rig.still(3_000);
    assert!(rig.page().contains("PULL ON 1 2/2"), "{}", rig.page());
    assert!(rig.page().contains("clockwise to 20.0"), "{}", rig.page());
    let stack = rig.stack();
    println!("stack: {stack} bytes of {STACK_BUDGET}");
    assert!(stack <= STACK_BUDGET, "{stack} bytes of stack");
    emulator::keep_stack(emulator::TARGET, "adapter_ast1030", stack);

    let said = rig.cut_and_read_log();
    let golden = include_str!("emulated_adapter/log.txt");
    assert_eq!(
        said, golden,
        "what the adapter logged; the file is tests/tests/emulated_adapter/log.txt"
    );
    let kept = entries(&image);
    let accepted = attempts(&kept, Verdict::Accepted);
    assert_eq!((accepted, attempts(&kept, Verdict::Rejected)), (4, 1));
}

#[test]
fn a_procedure_sent_over_the_link_is_worked_and_its_journal_fetched() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = blank_flash(folder.path());
    let mut rig = Rig::start(&image);
    rig.still(700);
    rig.identify();
    let sent = adapter_rig::circle(5);
    let mut room = [0; 2048];
    let blob = sent.encode(&mut room).expect("room").to_vec();

    // First a damaged one: refused with the byte, and nothing is stored.
    let mut bad = blob.clone();
    bad[30] ^= 0x40;
    let mut transfer = SendProcedure::new(2, &bad);
    let refused = loop {
        let reply = rig.ask(&transfer.request());
        match transfer.answered(&reply.borrowed()) {
            SendStep::GoOn => {}
            other => break other,
        }
    };
    assert!(matches!(refused, SendStep::Refused(..)), "{refused:?}");
    assert!(matches!(
        rig.ask(&Request::Slot { slot: 2 }).borrowed(),
        Reply::Slot { length: 0, .. }
    ));

    let mut transfer = SendProcedure::new(2, &blob);
    loop {
        let reply = rig.ask(&transfer.request());
        match transfer.answered(&reply.borrowed()) {
            SendStep::GoOn => {}
            SendStep::Done => break,
            SendStep::Refused(why, at) => panic!("{why} at {at}"),
        }
    }
    let working = rig.ask(&Request::Work { slot: 2, joint: 9 });
    assert!(matches!(
        working.borrowed(),
        Reply::Working { slot: 2, joint: 9 }
    ));
    rig.still(400);
    for _ in 0..5 {
        rig.pull(10.1, 30.0);
    }
    assert!(rig.page().contains("ACCEPTED"), "{}", rig.page());
    let anchored = rig.ask(&Request::Anchor {
        unix_seconds: 1_780_000_000,
    });
    assert!(matches!(anchored.borrowed(), Reply::Anchored));

    let mut pull = PullJournal::from_start();
    let mut journal = Vec::new();
    loop {
        let reply = rig.ask(&pull.request());
        let reply = reply.borrowed();
        let step = pull.answered(&reply).expect("frames that prove themselves");
        assert_eq!(step.gap, None);
        journal.extend_from_slice(step.frames);
        if !step.more {
            break;
        }
    }
    rig.cut();
    let fetched: Vec<_> = evendraw_core::journal::Scan::new(&journal)
        .map(|found| match found {
            evendraw_core::journal::Found::Frame { frame, .. } => {
                evendraw_core::journal::decode_entry(&frame)
                    .expect("a record")
                    .expect("a record")
            }
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(fetched, entries(&image), "fetched and kept");
    assert_eq!(attempts(&fetched, Verdict::Accepted), 5);
    assert!(fetched.iter().any(|entry| matches!(&entry.record, Record::Anchor(anchor) if anchor.unix_seconds == 1_780_000_000)));
    assert!(fetched.iter().all(|entry| entry.joint == 9));
}

#[test]
fn three_hundred_power_cuts_lose_no_verdict_that_was_told() {
    const CUTS: u32 = 300;
    let folder = tempfile::tempdir().expect("a folder");
    // Not blank, so that every sector must be erased before it is used: some cuts fall into an erase.
    let made = || {
        let image = used_flash(folder.path());
        let mut rig = Rig::start(&image);
        rig.still(700);
        rig.make_circle(64);
        assert!(rig.page().contains("NEXT 1 "), "{}", rig.page());
        rig.still(2_000);
        rig.cut();
        image
    };
    // How long this machine takes from a start to the first verdict, so that a slow one is cut as late as a quick one.
    let image = made();
    let began = Clock::now();
    Rig::start(&image).work_until(10.1, |rig| {
        assert!(began.elapsed() < PATIENCE, "no verdict: {}", rig.page());
        rig.told() > 0
    });
    let pace = began.elapsed();
    println!("{pace:.2?} from a start to the first verdict");

    let mut image = made();
    let worked = procedure(&image).expect("the circle");

    // A seed of its own, so that a failure can be repeated as far as the host's clock allows.
    let mut state = 0x5eed_u32;
    let (mut told, mut told_before) = (0, 0);
    let (mut recovered, mut unchanged, mut went_on) = (0, 0, 0);
    for cut in 0..CUTS {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let before = entries(&image);
        let done = attempts(&before, Verdict::Accepted);
        if done >= worked.steps().len() - 2 {
            // The joint is finished: the next one begins on another chip.
            image = made();
            (told_before, told) = (told_before + told, 0);
            continue;
        }
        let asked = asked_after_a_start(&worked, &before);
        let before = before.len();
        // What is cut short is loosened and begins again at its first stage.
        let torque = match asked {
            Some((_, _, 1)) => 20.2,
            _ => 10.1,
        };
        let mut rig = Rig::start(&image);
        // From before the journal is read to well into the second pull.
        let wait = pace.mul_f64(3.5 * f64::from(state >> 8) / f64::from(u32::MAX >> 8));
        let began = Clock::now();
        let came = rig.work_until(torque, |_| began.elapsed() >= wait);
        told += came.told;
        if let (Some((label, what, _)), Some(page)) = (asked, came.first) {
            assert!(
                ["NEXT", "PULL ON"]
                    .iter()
                    .any(|word| page.starts_with(&format!("{word} {label} ")))
                    && page.contains(what),
                "cut {cut}: the records ask for {label}, {what}; the page says {page}"
            );
            went_on += 1;
        }
        let kept = entries(&image);
        let accepted = attempts(&kept, Verdict::Accepted);
        assert!(accepted >= told, "cut {cut}: {told} told, {accepted} kept");
        unchanged += u32::from(kept.len() == before);
        recovered = kept
            .iter()
            .filter(|entry| matches!(entry.record, Record::Recovered(_)))
            .count();
    }
    let kept = entries(&image);
    println!(
        "{CUTS} cuts: {} verdicts told, all kept; {} records, {recovered} torn tails noted, {unchanged} cuts before the first record; {went_on} restarts asked for the fastener that the records ask for",
        told_before + told,
        kept.len()
    );
    let told = told_before + told;
    assert!(told > 100, "too little happened: {told} verdicts in all");
    assert!(went_on > 100, "too little was asked: {went_on}");
}

/// The fastener that a restart must ask for, what of it, and the stage that is pulled then, as the records say it through the same
/// core here; none where it must ask something else first.
fn asked_after_a_start(worked: &Procedure, kept: &[Entry]) -> Option<(String, &'static str, u8)> {
    let mut session = Session::restore(worked, 0, kept.iter()).expect("the records are whole");
    let boot = kept.iter().map(|entry| entry.boot).max().unwrap_or(0) + 1;
    let start = Input::Start {
        boot,
        rehearsal: false,
    };
    session.apply(Instant::BOOT, start);
    let of = |step: u16| worked.steps()[usize::from(step)];
    let (fastener, what, stage) = match session.next() {
        Next::Pull { step } => (of(step).fastener()?, "to ", of(step).stage()),
        // The key that answers it may have come before the page.
        Next::Decide { step } => (of(step).fastener()?, "", 0),
        Next::Loosen { fastener } => (fastener, "", 0),
        _ => return None,
    };
    let label = worked.fasteners()[usize::from(fastener)].label.as_str();
    Some((label.to_owned(), what, stage))
}
