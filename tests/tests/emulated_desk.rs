//! The whole way: the demo's head procedure sent by the command line over a pseudo terminal, worked by a simulated hand on the
//! emulated adapter, its journal fetched, its sheet printed.

mod adapter_rig;

use std::io::{Read as _, Write as _};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use adapter_rig::{Rig, blank_flash};
use serialport::{SerialPort as _, TTYPort};

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

    let (mut outer, inner) = TTYPort::pair().expect("a pseudo terminal");
    let port = inner.name().expect("its name");
    outer
        .set_timeout(Duration::from_millis(20))
        .expect("a timeout");
    let (mut to_board, mut from_board) = rig.link();
    let mut back = outer.try_clone_native().expect("a second handle");
    let over = Arc::new(AtomicBool::new(false));
    let ended = Arc::clone(&over);
    let there = thread::spawn(move || {
        let mut bytes = [0; 512];
        while !ended.load(Ordering::Relaxed) {
            if let Ok(count) = outer.read(&mut bytes) {
                let _ = to_board.write_all(&bytes[..count]);
            }
        }
    });
    let ended = Arc::clone(&over);
    let here = thread::spawn(move || {
        let mut bytes = [0; 512];
        while !ended.load(Ordering::Relaxed) {
            if let Ok(count @ 1..) = from_board.read(&mut bytes) {
                let _ = back.write_all(&bytes[..count]);
            }
        }
    });
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

    let (status, said, wrong) = talk(&["adapter", &port, "send", "--joint", "head", "--work"]);
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
    let (status, said, wrong) = talk(&["adapter", &port, "pull", journal]);
    assert!(status <= 1, "{said}{wrong}");
    // Again: nothing is new, nothing is twice.
    let (status, said, wrong) = talk(&["adapter", &port, "pull", journal]);
    assert_eq!(status, 0, "{said}{wrong}");
    assert!(said.contains(" 0 of them new"), "{said}");
    over.store(true, Ordering::Relaxed);
    rig.lock().expect("no panic there").cut();
    there.join().expect("no panic there");
    here.join().expect("no panic there");

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
