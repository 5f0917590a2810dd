//! The whole way: a procedure sent over a pseudo terminal, worked by a simulated hand on the emulated adapter, its journal taken over.
//!
//! Once by the command line, which then prints the sheet of the demo's head; once by the desk, whose cable is pulled in between.

mod adapter_rig;

use std::os::unix::fs::symlink;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use adapter_rig::wire::Wire;
use adapter_rig::{Rig, blank_flash};
use evendraw::desk::model::Model;
use evendraw::desk::view::{Act, Ask, Cue, DeskView, Heard};

/// Runs the command line in this process: its status, what it printed and what it complained of.
fn evendraw(words: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let line = std::iter::once("evendraw").chain(words.iter().copied());
    let status = evendraw::command::run(line.map(Into::into), &mut out, &mut err, false);
    let text = |bytes| String::from_utf8(bytes).expect("text");
    (status, text(out), text(err))
}

#[test]
fn the_demos_head_goes_over_the_link_and_comes_back_as_a_sheet() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = blank_flash(folder.path());
    let mut rig = Rig::start(&image);
    rig.still(700);

    let wire = Wire::between(&rig);
    let port = wire.port.clone();
    let rig = Arc::new(Mutex::new(rig));

    // Readings are the adapter's clock: they go on while the command line talks.
    let talk = |words: &[&str]| {
        let talking = Arc::new(AtomicBool::new(true));
        let (hand, going) = (Arc::clone(&rig), Arc::clone(&talking));
        let ticking = thread::spawn(move || {
            while going.load(Ordering::Relaxed) {
                hand.lock().expect("no panic there").still(20);
            }
        });
        let answer = evendraw(words);
        talking.store(false, Ordering::Relaxed);
        ticking.join().expect("no panic there");
        answer
    };

    let plan = folder.path().join("demo.toml");
    std::fs::write(&plan, evendraw::plan::DEMO).expect("written");
    let plan = plan.to_str().expect("a plain path");
    let (status, said, wrong) =
        talk(&["adapter", &port, "send", plan, "--joint", "head", "--work"]);
    assert_eq!(status, 0, "{said}{wrong}");
    assert!(said.contains("is stored at place 1"), "{said}");
    let (mut accepted, mut pulls) = (0, 0);
    for _ in 0..80 {
        let mut rig = rig.lock().expect("no panic there");
        let page = rig.page();
        let number = |after: &str| {
            let rest = page.split(after).nth(1)?;
            rest.split_whitespace().next()?.parse::<f64>().ok()
        };
        if let Some(torque) = number("to ") {
            rig.pull(torque * 1.005, torque);
            pulls += 1;
            accepted += u32::from(rig.page().contains("ACCEPTED"));
            rig.still(2_500);
        } else {
            rig.yes();
        }
        if accepted >= 6 {
            break;
        }
    }
    println!("{accepted} of {pulls} pulls accepted");
    assert!(
        accepted >= 6,
        "{}",
        rig.lock().expect("no panic there").page()
    );

    let journal = folder.path().join("pump.journal");
    let journal = journal.to_str().expect("a plain path");
    let (status, said, wrong) = talk(&["adapter", &port, "pull", journal, "--plan", plan]);
    assert!(status <= 1, "{said}{wrong}");
    assert!(said.contains("the curve of the newest attempt"), "{said}");
    // Again: nothing is new, nothing is twice; and nothing is given back of a joint that is not finished.
    let (status, said, wrong) = talk(&["adapter", &port, "pull", journal, "--give-back"]);
    assert_eq!(status, 0, "{said}{wrong}");
    assert!(said.contains(" 0 of them new"), "{said}");
    assert!(said.contains("nothing is given back"), "{said}");
    rig.lock().expect("no panic there").cut();
    drop(wire);

    let (status, listed, wrong) = evendraw(&["record", journal, "--json"]);
    assert!(status <= 1, "{listed}{wrong}");
    let good = listed
        .lines()
        .filter(|line| line.contains("\"accepted\""))
        .count();
    assert!(good >= 6, "{listed}");
    let sheet = folder.path().join("sheet.html");
    let (status, said, wrong) = evendraw(&[
        "sheet",
        journal,
        "-o",
        sheet.to_str().expect("a plain path"),
    ]);
    assert!(status <= 1, "{said}{wrong}");
    let page = std::fs::read_to_string(&sheet).expect("the sheet");
    assert!(
        page.contains("Cylinder head") || page.contains("head"),
        "the joint is on its sheet"
    );
}

const FLANGE: &str = r#"
[build]
title = "Harbour pump 7"

[[joint]]
id = "flange"
title = "Suction flange"
positions = { 1 = [0, 60], 2 = [60, 0], 3 = [0, -60], 4 = [-60, 0] }
order = "cross"

[[joint.stage]]
do = "tighten"
torque = "20 N·m"
within = "±10 %"
"#;

/// Readings and frames go on until it is so.
fn until(rig: &mut Rig, desk: &mut Model, what: &str, done: impl Fn(&DeskView) -> bool) {
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(60) {
        // Readings are the board's clock.
        rig.still(20);
        desk.tick(began.elapsed().as_secs_f64());
        if done(desk.view()) {
            return;
        }
    }
    let view = desk.view();
    panic!(
        "never: {what}; {:?}, {:?}, {:?}, the board shows {}",
        view.notice,
        view.build.link,
        view.joint,
        rig.page()
    );
}

fn heard(view: &DeskView) -> Option<Heard> {
    view.build.link.as_ref().map(|link| link.heard)
}

fn attempts(view: &DeskView) -> usize {
    view.record.iter().filter(|row| row.attempt > 0).count()
}

#[test]
fn the_desk_follows_the_board_over_a_cable_that_is_pulled_and_put_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = blank_flash(folder.path());
    let mut rig = Rig::start(&image);
    rig.still(700);
    // One name for the port, whichever pseudo terminal is behind it.
    let port = folder.path().join("port");
    let wire = Wire::between(&rig);
    symlink(&wire.port, &port).expect("a name for it");
    let mut desk = Model::in_folder("flange.toml", FLANGE, folder.path());
    desk.begin(evendraw::store::Purpose::Job);
    desk.carry_out(Ask::Connect(port.clone()));
    until(&mut rig, &mut desk, "the board answers", |view| {
        heard(view) == Some(Heard::Connected)
    });
    let link = desk.view().build.link.clone().expect("a link");
    println!("{}", link.who);
    desk.carry_out(Ask::OpenJoint("flange".to_owned()));
    // It is asked once the adapter has said what it holds.
    until(&mut rig, &mut desk, "asked whether to send it", |view| {
        let joint = view.joint.as_ref().expect("it is open");
        let question = joint.prompt.as_ref();
        question.is_some_and(|question| question.words.starts_with("Send "))
    });
    desk.carry_out(Ask::Act(Act::AtAdapter(true), String::new()));
    until(&mut rig, &mut desk, "worked at the adapter", |view| {
        let joint = view.joint.as_ref().expect("it is open");
        joint.at_adapter.as_deref() == Some(link.serial.as_str()) && joint.prompt.is_some()
    });
    // Said at the desk, recorded by the board.
    desk.carry_out(Ask::Act(Act::Person, "M. Ahlers".to_owned()));
    until(&mut rig, &mut desk, "the board waits for a pull", |view| {
        let joint = view.joint.as_ref().expect("it is open");
        joint.live.cue == Cue::Ready
    });
    for pulled in 1..=2 {
        rig.pull(20.1, 20.0);
        until(&mut rig, &mut desk, "a verdict", |view| {
            attempts(view) == pulled
        });
        let (told, curves) = (Instant::now(), folder.path().join("flange.evj.traces"));
        until(&mut rig, &mut desk, "its curve", |_| {
            let kept = std::fs::read_dir(&curves).map_or(0, Iterator::count);
            assert!(kept <= pulled, "{kept} curves of {pulled} attempts");
            kept == pulled
        });
        println!("the curve came {:.0?} after the verdict", told.elapsed());
    }
    // The cable is out; the hand goes on, and the board records.
    drop(wire);
    until(&mut rig, &mut desk, "lost", |view| {
        heard(view) == Some(Heard::Lost)
    });
    let joint = desk.view().joint.clone().expect("it is open");
    let shown = joint.live.gauges.first().map(|gauge| gauge.value);
    assert_eq!(shown, Some(None), "the last reading is none");
    rig.pull(20.1, 20.0);
    rig.still(2_500);
    assert_eq!(attempts(desk.view()), 2);
    let wire = Wire::between(&rig);
    std::fs::remove_file(&port).expect("the old name");
    symlink(&wire.port, &port).expect("a name for it");
    until(
        &mut rig,
        &mut desk,
        "found again, with what came meanwhile",
        |view| heard(view) == Some(Heard::Connected) && attempts(view) == 3,
    );
    desk.carry_out(Ask::FeltWrong(String::new()));
    until(&mut rig, &mut desk, "felt wrong is on record", |view| {
        let mut rows = view.record.iter();
        rows.any(|row| row.words.contains("felt wrong"))
    });
    desk.carry_out(Ask::Loosen("1".to_owned()));
    until(&mut rig, &mut desk, "loosened is on record", |view| {
        let mut rows = view.record.iter();
        rows.any(|row| row.words.contains("loosened"))
    });
    drop(desk);
    drop(wire);
    rig.cut();
    let kept = evendraw::store::read(&folder.path().join("flange.evj")).expect("a journal");
    let kept: Vec<_> = kept.entries().cloned().collect();
    assert_eq!(
        kept,
        adapter_rig::entries(&image),
        "the desk's journal is what the chip holds"
    );
    println!("{} records on the chip and in the journal", kept.len());
    let journal = folder.path().join("flange.evj");
    let journal = journal.to_str().expect("a plain path");
    // The third attempt was made while the cable was out; its curve was still there when it was put back.
    let (status, audited, wrong) = evendraw(&["record", journal, "--audit"]);
    print!("{audited}");
    assert!(status <= 1, "{audited}{wrong}");
    assert!(audited.contains("3 agree"), "{audited}");
}
