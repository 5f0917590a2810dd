//! A joint half worked at the emulated board goes on there under a revised procedure: the change is made on the host, carried over record
//! by record with the power cut in between, and both sides fold the same.
//!
//! Our judgement throughout; the question is number 15 of `core/LINK.md`.

mod adapter_rig;

use adapter_rig::{Rig, attempts, blank_flash, entries};
use evendraw_core::journal::{FIRST_SEED, Found, OVERHEAD, Scan, decode_entry, encode_entry};
use evendraw_core::ledger::{Carry, Standing};
use evendraw_core::limits::RECORD_MAX;
use evendraw_core::link::{PullJournal, Refused, Reply, Request, SendProcedure, SendStep};
use evendraw_core::procedure::{
    Fastener, Parts, Procedure, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::record::{Entry, Record};
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::text::Label;
use evendraw_core::unit::{Instant, Torque};
use evendraw_core::verdict::Verdict;

const JOINT: u8 = 9;

/// Fasteners taken as they are named, each to one torque.
fn procedure(labels: &[&str], newton_meters: i32) -> Procedure {
    let named = |label: &&str| Fastener {
        label: Label::cut(label),
        near: [None; 4],
    };
    let mnm = |value: i32| Torque::from_millinewton_meters(value * 1_000);
    let window = TorqueWindow {
        target: mnm(newton_meters),
        min: mnm(newton_meters - 1),
        max: mnm(newton_meters + 1),
    };
    Procedure::new(&Parts {
        fasteners: &labels.iter().map(named).collect::<Vec<_>>(),
        stages: &[Stage::new(StageKind::Tighten {
            window,
            prevailing: Default::default(),
        })],
        steps: &(0_u8..)
            .zip(labels)
            .map(|(own, _)| Step::on(own, 0))
            .collect::<Vec<_>>(),
        overrides: &[],
        terms: Terms::default(),
    })
    .expect("sound parts")
}

/// Stores a procedure at a place.
fn send(rig: &mut Rig, slot: u8, procedure: &Procedure) {
    let mut room = [0; 2048];
    let blob = procedure.encode(&mut room).expect("room").to_vec();
    let mut transfer = SendProcedure::new(slot, &blob);
    loop {
        let reply = rig.ask(&transfer.request());
        match transfer.answered(&reply.borrowed()) {
            SendStep::GoOn => {}
            SendStep::Done => return,
            SendStep::Refused(why, at) => panic!("{why} at {at}"),
        }
    }
}

fn work(rig: &mut Rig, slot: u8) -> Result<(), Refused> {
    match rig.ask(&Request::Work { slot, joint: JOINT }).borrowed() {
        Reply::Working { .. } => Ok(()),
        Reply::Refused { why, .. } => Err(why),
        other => panic!("{other:?}"),
    }
}

fn carry(rig: &mut Rig, entry: &Entry) -> Result<(), Refused> {
    let mut room = [0; RECORD_MAX + OVERHEAD];
    let bytes = encode_entry(entry, 1, FIRST_SEED, &mut room).expect("fits");
    match rig.ask(&Request::Carry { bytes }).borrowed() {
        Reply::Told => Ok(()),
        Reply::Refused { why, .. } => Err(why),
        other => panic!("{other:?}"),
    }
}

/// The board's journal, asked for over the link.
fn fetched(rig: &mut Rig) -> Vec<Entry> {
    let mut pull = PullJournal::from_start();
    let mut journal = Vec::new();
    loop {
        let reply = rig.ask(&pull.request());
        let step = pull
            .answered(&reply.borrowed())
            .expect("frames that prove themselves");
        journal.extend_from_slice(step.frames);
        if !step.more {
            break;
        }
    }
    let found = Scan::new(&journal).map(|found| match found {
        Found::Frame { frame, .. } => decode_entry(&frame).expect("a record").expect("a record"),
        other => panic!("{other:?}"),
    });
    found.collect()
}

/// What the page says is next, once it does.
fn asked(rig: &mut Rig) -> String {
    for _ in 0..20 {
        rig.still(300);
        let page = rig.page();
        if ["NEXT", "PULL ON", "LOOSEN"]
            .iter()
            .any(|word| page.contains(word))
        {
            return page;
        }
    }
    panic!("nothing is asked: {}", rig.page())
}

#[test]
fn a_half_worked_joint_goes_on_at_the_board_under_the_revised_procedure() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = blank_flash(folder.path());
    let old = procedure(&["1", "2", "3", "4"], 10);
    // The manual corrected: a higher torque, and the fourth bolt is another one.
    let new = procedure(&["1", "2", "3", "5"], 12);
    let mut rig = Rig::start(&image);
    rig.still(700);
    rig.identify();
    send(&mut rig, 1, &old);
    work(&mut rig, 1).expect("it is worked");
    rig.still(400);
    for _ in 0..2 {
        rig.pull(10.1, 30.0);
        assert!(rig.page().contains("ACCEPTED"), "{}", rig.page());
    }
    rig.still(2_500);
    rig.cut();

    // On the host the records of the board are taken over, its start after the cut among them, and the change is made.
    let mut rig = Rig::start(&image);
    rig.still(700);
    rig.identify();
    // A place is written while a joint is worked: that is answered, and the joint goes on.
    send(&mut rig, 2, &new);
    rig.still(700);
    let worked = fetched(&mut rig);
    assert_eq!(attempts(&worked, Verdict::Accepted), 2);
    let mut session = Session::restore(&old, JOINT, &worked).expect("whole records");
    let mut carried = Vec::new();
    let same = Carry {
        stages: &[Some(0)],
        condition: true,
        moments: true,
    };
    session
        .revise(&new, same, |entry| carried.push(entry))
        .expect("no pull is under way");
    assert_eq!(carried.len(), 5, "the joint, and four fasteners");

    // Carried over, the power cut before each record but the first: what is there already stays as it is, and nothing else is taken for it.
    let mut other = carried[0].clone();
    other.seq = worked.last().map_or(0, |entry| entry.seq);
    assert_eq!(
        carry(&mut rig, &other),
        Err(Refused::Session),
        "another record has its number"
    );
    assert_eq!(
        carry(&mut rig, &carried[2]),
        Err(Refused::Session),
        "one is missing before it"
    );
    carry(&mut rig, &carried[0]).expect("the next of its joint");
    for upto in 1..carried.len() {
        // What the chip has programmed the emulator hands to the host's file by threads of its own, which a kill would end before.
        rig.still(100);
        rig.cut();
        assert_eq!(
            entries(&image)[worked.len()..],
            carried[..upto],
            "safe once it is answered"
        );
        rig = Rig::start(&image);
        rig.still(700);
        rig.identify();
        assert!(work(&mut rig, 2).is_err(), "half a change is not worked");
        for entry in &carried[..=upto] {
            carry(&mut rig, entry).expect("there, or the next");
        }
    }

    // What the host's fold asks for the board asks for too.
    work(&mut rig, 2).expect("the change is whole");
    let after: Vec<Entry> = [&worked[..], &carried].concat();
    let folded = Session::restore(&new, JOINT, &after).expect("whole records");
    assert_eq!(folded.ledger(), session.ledger());
    let page = asked(&mut rig);
    println!("{page}");
    let mut live = folded;
    live.apply(
        Instant::BOOT,
        Input::Start {
            boot: 99,
            rehearsal: false,
        },
    );
    println!("{:?}", live.next());
    // Both that were done are loosened and pulled again, then the others.
    for _ in 0..12 {
        let page = asked(&mut rig);
        println!("{page}");
        if page.contains("LOOSEN") {
            rig.yes();
        } else {
            rig.pull(12.1, 30.0);
        }
        if attempts_told(&rig) >= 4 {
            break;
        }
    }
    rig.still(2_500);
    rig.cut();
    let kept = entries(&image);
    assert_eq!(
        kept[..after.len()],
        after,
        "what was carried stands before what was done to it"
    );
    let at_the_end = Session::restore(&new, JOINT, &kept).expect("whole records");
    assert_eq!(at_the_end.standing(), Standing::Final);
    assert_eq!(at_the_end.next(), Next::Start);
    assert_eq!(attempts(&kept, Verdict::Accepted), 6);
    let loosened = kept
        .iter()
        .filter(|entry| matches!(entry.record, Record::Loosened(_)));
    assert_eq!(loosened.count(), 2);
}

fn attempts_told(rig: &Rig) -> usize {
    rig.told()
}
