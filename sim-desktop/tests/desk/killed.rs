//! The desk killed at any moment, window and all: it comes back to the same place, and no verdict it showed is lost.
//!
//! The desk runs in a process of its own (this test again, told by an environment variable), drawing real frames on the
//! processor; what is on its screen it also says line by line. SIGKILL lets it close nothing.

use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use egui::Key;
use evendraw::desk::app::Screen;
use evendraw::desk::model::Model;
use evendraw::desk::view::{DeskView, Mark};
use evendraw::store::{Fact, HostFact};
use evendraw_core::record::Record;

use crate::drive::{Driven, Folder, press, window};

/// Set in the process that is killed: the folder it works in.
const FOLDER: &str = "EVENDRAW_TEST_KILLED_IN";
/// Set in some of them: after how many verdicts it stands still, drawing on, until it is killed.
const STILL: &str = "EVENDRAW_TEST_STILL_AFTER";
const KILLS: usize = 24;
/// Frames in a row with nothing new before a desk that stands still says so.
const QUIET_FRAMES: usize = 3;
/// How long a slow machine may take to come to a standstill.
const PATIENCE: Duration = Duration::from_mins(2);

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
    let mut model = Model::in_folder("casing.toml", &plan(), folder);
    model.set_pace(15.0);
    model.set_browser(false);
    window(model)
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

/// Whether nothing is left to work on, and so no place to come back to.
fn is_done(view: &DeskView) -> bool {
    let mut joints = view.status.joints.iter();
    joints.all(|joint| joint.mark == Mark::Final)
}

/// Works on, whatever stands in the way, and says what is on the screen. Returns when the joint is final; stands still
/// after so many verdicts, where it is told to.
fn work(folder: &Path, still_after: Option<usize>) {
    let mut desk = desk(folder);
    let mut out = std::io::stdout();
    let (mut told, mut quiet, mut before) = (0, 0, None);
    loop {
        let view = desk.state().model.view().clone();
        let (place, verdicts) = said(&view);
        for verdict in verdicts.iter().skip(told) {
            writeln!(out, "VERDICT {verdict}").expect("somebody listens");
        }
        let new = verdicts.len() - told;
        told = verdicts.len();
        let last = view.record.last().map_or(0, |row| row.sequence);
        writeln!(out, "AT {last} {place}").expect("somebody listens");
        let hand = view
            .joint
            .as_ref()
            .is_some_and(|joint| joint.live.hand_at_work);
        quiet = if new == 0 && !hand && before == Some(last) {
            quiet + 1
        } else {
            0
        };
        before = Some(last);
        let stands = still_after.is_some_and(|verdicts| told >= verdicts);
        if stands && quiet == QUIET_FRAMES {
            writeln!(out, "STILL").expect("somebody listens");
        }
        out.flush().expect("somebody listens");
        if is_done(&view) {
            return;
        }
        if stands {
            if hand {
                press(&mut desk, Key::J);
            } else {
                desk.step();
            }
            continue;
        }
        match &view.joint {
            None => press(&mut desk, Key::Enter),
            // What a kill left in mid-pull is loosened and done again.
            Some(joint) if joint.prompt.is_some() => press(&mut desk, Key::Enter),
            Some(joint) if !joint.live.hand_at_work => press(&mut desk, Key::J),
            Some(_) => desk.step(),
        }
    }
}

/// When a desk is killed.
enum Moment {
    /// This long after it was started, whatever it is at.
    After(Duration),
    /// Standing still with nothing under way, after this many verdicts.
    Still(usize),
}

/// One life: started, listened to, killed. What it said last, the number of its last record and its place, and whether it ended by itself.
fn live(
    folder: &Path,
    moment: &Moment,
    verdicts: &mut BTreeSet<String>,
) -> (Option<(u64, String)>, bool) {
    let mut command = Command::new(std::env::current_exe().expect("this test"));
    if let Moment::Still(after) = moment {
        command.env(STILL, after.to_string());
    }
    let mut child = command
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
    let (say, hear) = mpsc::channel();
    let listener = std::thread::spawn(move || {
        lines
            .map_while(Result::ok)
            .try_for_each(|line| say.send(line))
    });
    let began = Instant::now();
    let longest = match moment {
        Moment::After(wait) => *wait,
        Moment::Still(_) => PATIENCE,
    };
    let (mut heard, mut is_still, mut ended) = (Vec::new(), false, false);
    while !ended && !is_still && began.elapsed() < longest {
        ended = child.try_wait().expect("its status").is_some();
        std::thread::sleep(Duration::from_micros(500));
        for line in hear.try_iter() {
            is_still |= line == "STILL";
            heard.push(line);
        }
    }
    child.kill().expect("it can be killed");
    child.wait().expect("it is gone");
    listener
        .join()
        .expect("the listener ends")
        .expect("it is heard");
    heard.extend(hear.try_iter());
    assert!(
        ended || is_still || matches!(moment, Moment::After(_)),
        "it never stands still: {:?}",
        heard.last()
    );
    let mut place = None;
    for line in heard {
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
        let still = std::env::var(STILL).ok();
        let still = still.map(|after| after.parse().expect("a number"));
        return work(Path::new(&folder), still);
    }
    let (mut rng, mut kills, mut seen, mut moved, mut strict) = (0x5EED_u64, 0, 0, 0, 0);
    let (mut round, mut lives) = (0, 0);
    while kills < KILLS {
        let folder = Folder::new(&format!("sigkill-{round}"));
        round += 1;
        let mut verdicts = BTreeSet::new();
        loop {
            rng = rng
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            // At any moment; every third time with nothing under way, where the place must be the very same.
            let is_still = lives % 3 == 2;
            lives += 1;
            let moment = if is_still {
                Moment::Still(verdicts.len() + 2)
            } else {
                Moment::After(Duration::from_millis(250 + (rng >> 33) % 900))
            };
            let (place, ended) = live(folder.path(), &moment, &mut verdicts);
            if ended {
                break;
            }
            kills += 1;
            let Some((last, place)) = place else { continue };
            let journal = folder.path().join("casing.rehearsal.evj");
            let on_disk = evendraw::store::read(&journal).expect("a journal").facts;
            // Opened again, without a key.
            let desk = desk(folder.path());
            let view = desk.state().model.view();
            let (after, kept) = said(view);
            for verdict in &verdicts {
                assert!(
                    kept.contains(verdict),
                    "shown before kill {kills} and lost: {verdict}\nkept: {kept:#?}"
                );
            }
            seen = seen.max(verdicts.len());
            // It may have been killed between the last record and the next frame.
            if !place.is_empty() && !is_done(view) {
                assert_eq!(desk.state().desk.screen, Screen::Joint, "where it was");
                // The same fastener and stage, or, where the record was safe and not shown yet, the one after it.
                // The first load of a pull is no step further, nor are the clamp loads after a pass.
                let further = |fact: &Fact| match fact {
                    Fact::Entry(entry) => !matches!(entry.record, Record::Begun(_)),
                    Fact::Host(fact) => !matches!(fact, HostFact::Clamp { .. }),
                };
                let shown = usize::try_from(last).expect("few");
                let later = on_disk.iter().skip(shown).any(further);
                assert!(
                    !(is_still && later),
                    "it stood still and did not show {:?}",
                    on_disk.get(shown..)
                );
                strict += usize::from(!later);
                assert!(
                    after == place || later,
                    "was at {place:?}, came back to {after:?}, with nothing new: {kept:#?}"
                );
                moved += usize::from(after != place);
                let joint = view.joint.as_ref().expect("it is open");
                let next = joint.next().map(|next| next.mark);
                assert!(
                    !joint.is_alerted() || matches!(next, Some(Mark::Doubtful | Mark::Disturbed)),
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
    assert!(strict >= KILLS / 6, "the place was never compared strictly");
}
