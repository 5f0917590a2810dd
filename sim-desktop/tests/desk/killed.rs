//! The desk killed at any moment, window and all: it comes back to the same place, and no verdict it showed is lost.
//!
//! The desk runs in a process of its own (this test again, told by an environment variable), drawing real frames on the
//! processor; what is on its screen it also says line by line. SIGKILL lets it close nothing.

use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use egui::Key;
use evendraw::desk::app::Screen;
use evendraw::desk::source::Source;
use evendraw::desk::view::{DeskView, Mark};
use evendraw::store::Fact;
use evendraw_core::record::Record;

use crate::drive::{Driven, Folder, press, window};

/// Set in the process that is killed: the folder it works in.
const FOLDER: &str = "EVENDRAW_TEST_KILLED_IN";
const KILLS: usize = 24;

/// Thirty fasteners, two passes: work for several lives.
fn plan() -> String {
    let places: Vec<String> = (0..30)
        .map(|number| {
            format!(
                "{} = [{}, {}]",
                number + 1,
                number % 6 * 60,
                number / 6 * 60
            )
        })
        .collect();
    format!(
        "[build]\ntitle = \"Harbour pump 7\"\n\n[[joint]]\nid = \"casing\"\ntitle = \"Casing\"\n\
         positions = {{ {} }}\norder = \"listed\"\n\n\
         [[joint.stage]]\ndo = \"tighten\"\ntorque = \"15 N·m\"\nwithin = \"±10 %\"\n\n\
         [[joint.stage]]\ndo = \"tighten\"\ntorque = \"40 N·m\"\nwithin = \"±10 %\"\n",
        places.join(", ")
    )
}

fn desk(folder: &Path) -> Driven {
    let mut source = Source::in_folder("casing.toml", &plan(), folder);
    source.set_pace(15.0);
    source.set_browser(false);
    window(source)
}

/// What the screen says: where it stands, and every verdict on it.
fn said(view: &DeskView) -> (String, Vec<String>) {
    let place = view.joint.as_ref().map_or_else(String::new, |joint| {
        let next = joint.next().map_or("-", |next| next.label.as_str());
        format!("{}; {next}", joint.stage_words)
    });
    let verdicts = view.record.iter().filter(|row| row.attempt > 0);
    let verdicts = verdicts
        .map(|row| format!("{} {} {}", row.sequence, row.fastener, row.words))
        .collect();
    (place, verdicts)
}

/// Works on, whatever stands in the way, and says what is on the screen. Returns when the joint is final.
fn work(folder: &Path) {
    let mut desk = desk(folder);
    let mut out = std::io::stdout();
    let mut told = 0;
    loop {
        let view = desk.state().source.view().clone();
        let (place, verdicts) = said(&view);
        for verdict in verdicts.iter().skip(told) {
            writeln!(out, "VERDICT {verdict}").expect("somebody listens");
        }
        told = verdicts.len();
        let last = view.record.last().map_or(0, |row| row.sequence);
        writeln!(out, "AT {last} {place}").expect("somebody listens");
        out.flush().expect("somebody listens");
        if desk.state().source.is_joint_final() {
            return;
        }
        match &view.joint {
            None => press(&mut desk, Key::Enter),
            // What a kill left in mid-pull is loosened and done again.
            Some(joint) if joint.alert.is_some() => press(&mut desk, Key::L),
            Some(joint) if joint.question.is_some() => press(&mut desk, Key::Enter),
            Some(joint) if !joint.live.hand_at_work => press(&mut desk, Key::J),
            Some(_) => desk.step(),
        }
    }
}

/// One life: started, listened to, killed after a while. What it said last, the number of its last record and its place, and whether it ended by itself.
fn live(
    folder: &Path,
    wait: Duration,
    verdicts: &mut BTreeSet<String>,
) -> (Option<(u64, String)>, bool) {
    let mut child = Command::new(std::env::current_exe().expect("this test"))
        .args([
            "--exact",
            "killed::killed_at_any_moment_the_desk_comes_back_to_the_same_place",
            "--nocapture",
        ])
        .env(FOLDER, folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    let lines = BufReader::new(child.stdout.take().expect("its output")).lines();
    let heard = std::thread::spawn(move || lines.map_while(Result::ok).collect::<Vec<_>>());
    let began = Instant::now();
    let mut ended = false;
    while !ended && began.elapsed() < wait {
        ended = child.try_wait().expect("its status").is_some();
        std::thread::sleep(Duration::from_micros(500));
    }
    child.kill().expect("it can be killed");
    child.wait().expect("it is gone");
    let mut place = None;
    for line in heard.join().expect("the reader ends") {
        if let Some(verdict) = line.strip_prefix("VERDICT ") {
            verdicts.insert(verdict.to_owned());
        } else if let Some(at) = line.strip_prefix("AT ") {
            place = at
                .split_once(' ')
                .and_then(|(last, place)| Some((last.parse().ok()?, place.to_owned())));
        }
    }
    (place, ended)
}

#[test]
fn killed_at_any_moment_the_desk_comes_back_to_the_same_place() {
    if let Some(folder) = std::env::var_os(FOLDER) {
        return work(Path::new(&folder));
    }
    let (mut chance, mut kills, mut seen, mut moved, mut strict) = (0x5EED_u64, 0, 0, 0, 0);
    let mut round = 0;
    while kills < KILLS {
        let folder = Folder::new(&format!("sigkill-{round}"));
        round += 1;
        let mut verdicts = BTreeSet::new();
        loop {
            chance = chance
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let wait = Duration::from_millis(250 + (chance >> 33) % 900);
            let (place, ended) = live(folder.path(), wait, &mut verdicts);
            if ended {
                break;
            }
            kills += 1;
            let Some((last, place)) = place else { continue };
            let journal = folder.path().join("casing.rehearsal.evj");
            let on_disk = evendraw::store::read(&journal).expect("a journal").facts;
            // Opened again, without a key.
            let desk = desk(folder.path());
            let view = desk.state().source.view();
            let (after, kept) = said(view);
            for verdict in &verdicts {
                assert!(
                    kept.contains(verdict),
                    "shown before kill {kills} and lost: {verdict}\nkept: {kept:#?}"
                );
            }
            seen = seen.max(verdicts.len());
            // Killed between the last record and the next frame: there is no place to come back to.
            let is_done = view
                .build
                .joints
                .iter()
                .all(|joint| joint.mark == Mark::Final);
            if !place.is_empty() && !is_done {
                assert_eq!(desk.state().desk.screen, Screen::Joint, "where it was");
                // The same fastener and stage, or, where the record was safe and not shown yet, the one after it.
                // The first load of a pull is no step further.
                let further = |fact: &Fact| !matches!(fact, Fact::Entry(entry) if matches!(entry.record, Record::Begun(_)));
                let shown = usize::try_from(last).expect("few");
                let later = on_disk.iter().skip(shown).any(further);
                strict += usize::from(!later);
                assert!(
                    after == place || later,
                    "was at {place:?}, came back to {after:?}, with nothing new: {kept:#?}"
                );
                moved += usize::from(after != place);
                let joint = view.joint.as_ref().expect("it is open");
                let next = joint.next().map(|next| next.mark);
                assert!(
                    joint.alert.is_none() || matches!(next, Some(Mark::Doubtful | Mark::Disturbed)),
                    "what was cut off is doubtful: {joint:?}"
                );
            }
            if kills >= KILLS {
                break;
            }
        }
    }
    println!(
        "{kills} kills; up to {seen} verdicts at stake; {strict} times with nothing recorded that was not shown; {moved} times one further"
    );
    assert!(seen > 10, "too little was at stake: {seen}");
    assert!(strict > 0, "the place was never compared strictly");
}
