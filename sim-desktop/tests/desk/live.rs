//! The desk and an adapter: connected by key, followed, lost, found again; the adapter's records are the journal's.

use std::time::{Duration, Instant};

use egui::Key;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::model::Model;
use evendraw::desk::view::{Ask, Cue, Heard, JointView, Mark};
use evendraw::store::{self, Fact, HostFact};
use evendraw_core::record::{Entry, Record};
use evendraw_core::trace;

use crate::adapter::{Adapter, Do};
use crate::drive::{COVER, Folder, Window, at_work as work_window, press, window};

type Desk = Harness<'static, Window>;

/// Frames until it is so; the adapter lives in a thread of its own, so some time passes between.
fn until(desk: &mut Desk, what: &str, done: impl Fn(&Window) -> bool) {
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(30) {
        if done(desk.state()) {
            desk.step();
            return;
        }
        desk.step();
        std::thread::sleep(Duration::from_millis(3));
    }
    let view = desk.state().model.view();
    panic!(
        "never: {what}; notice {:?}, link {:?}, joint {:?}",
        view.notice, view.build.link, view.joint
    );
}

fn joint(window: &Window) -> &JointView {
    window.model.view().joint.as_ref().expect("a joint is open")
}

fn heard(window: &Window) -> Option<Heard> {
    window
        .model
        .view()
        .build
        .link
        .as_ref()
        .map(|link| link.heard)
}

fn attempts(window: &Window) -> usize {
    let rows = &window.model.view().record;
    rows.iter().filter(|row| row.attempt > 0).count()
}

/// Types the path of the socket into the sheet behind F11.
fn connect(desk: &mut Desk, path: &str) {
    press(desk, Key::F11);
    desk.step();
    desk.event(egui::Event::Text(path.to_owned()));
    desk.step();
    press(desk, Key::Enter);
    until(desk, "connected", |window| {
        heard(window) == Some(Heard::Connected)
    });
}

/// The desk on the cover's plan with an adapter, which has been sent the joint.
fn at_work(name: &str) -> (Folder, Desk, Adapter) {
    let folder = Folder::new(name);
    let path = folder.path().join("port");
    let adapter = Adapter::start(&path, "4411", Vec::new());
    let mut desk = work_window(Model::in_folder("cover.toml", COVER, folder.path()));
    connect(&mut desk, path.to_str().expect("a plain path"));
    press(&mut desk, Key::Enter);
    until(&mut desk, "asked", |window| joint(window).prompt.is_some());
    let asked = joint(desk.state()).prompt.clone().expect("a question");
    assert!(
        asked.words.contains("Send Discharge cover to adapter 4411"),
        "{asked:?}"
    );
    press(&mut desk, Key::Enter);
    until(&mut desk, "worked at the adapter", |window| {
        joint(window).at_adapter.is_some()
    });
    say_who(&mut desk);
    (folder, desk, adapter)
}

/// Who works is asked here and recorded there.
fn say_who(desk: &mut Desk) {
    until(desk, "asked who works", |window| {
        let asked = &joint(window).prompt;
        asked
            .as_ref()
            .is_some_and(|asked| asked.title == "Who works")
    });
    desk.step();
    desk.event(egui::Event::Text("M. Ahlers".to_owned()));
    desk.step();
    press(desk, Key::Enter);
    until(desk, "named", |window| {
        let joint = joint(window);
        joint.prompt.is_none() && joint.live.cue == Cue::Ready
    });
}

fn kept(folder: &Folder) -> Vec<Fact> {
    // No journal before something was done.
    store::read(&folder.path().join("cover.evj"))
        .unwrap_or_default()
        .facts
}

fn entries(facts: &[Fact]) -> Vec<Entry> {
    let entry = |fact: &Fact| match fact {
        Fact::Entry(entry) => Some(entry.clone()),
        Fact::Host(_) => None,
    };
    facts.iter().filter_map(entry).collect()
}

/// The attempts in the journal whose curves lie beside it, and how many attempts there are.
fn curves(folder: &Folder) -> (usize, usize) {
    let traces = store::Traces::beside(&folder.path().join("cover.evj"));
    let (mut there, mut all) = (0, 0);
    for entry in entries(&kept(folder)) {
        let Record::Attempt(attempt) = &entry.record else {
            continue;
        };
        all += 1;
        if let Some(points) = traces.load(entry.joint, entry.seq) {
            assert_eq!(trace::digest(points.into_iter()), attempt.trace);
            there += 1;
        }
    }
    (there, all)
}

#[test]
fn a_joint_is_worked_at_the_adapter_and_its_records_are_the_journals() {
    let (folder, mut desk, adapter) = at_work("adapter-work");
    assert!(
        !desk.state().model.view().status.rehearsal,
        "metal from here on"
    );
    assert!(
        desk.query_by_label_contains("Readings: connected, 4411")
            .is_some(),
        "the title block says so"
    );
    // The pull is followed while it goes on.
    adapter.order(Do::Hold(15.0));
    until(&mut desk, "the reading follows", |window| {
        let live = &joint(window).live;
        let value = live.gauges.first().and_then(|gauge| gauge.value);
        live.loaded && value.is_some_and(|value| value > 14.0)
    });
    let live = joint(desk.state()).live.clone();
    assert_eq!(live.cue, Cue::Stop, "{live:?}");
    assert!(live.curve.points.len() > 3, "the curve grows: {live:?}");
    assert_eq!(attempts(desk.state()), 0, "no verdict before its record");
    adapter.order(Do::LetGo);
    until(&mut desk, "a verdict", |window| attempts(window) == 1);
    assert_eq!(joint(desk.state()).fasteners[0].mark, Mark::Accepted);
    // The curve stays on the adapter until the next pull begins: by then it is here, digest and all.
    until(&mut desk, "its curve", |_| curves(&folder) == (1, 1));
    for done in 2..=10 {
        adapter.order(Do::Pull(if done <= 5 { 15.0 } else { 40.0 }));
        until(&mut desk, "the next verdict", |window| {
            attempts(window) == done
        });
    }
    until(&mut desk, "finished", |window| joint(window).finished);
    until(&mut desk, "the last curve", |_| {
        let (there, all) = curves(&folder);
        there >= 2 && all == 10
    });
    assert!(desk.state().model.is_joint_final());
    drop(desk);
    let facts = kept(&folder);
    assert_eq!(entries(&facts), adapter.off(), "the same records");
    assert!(
        facts.contains(&Fact::Host(HostFact::AtAdapter {
            joint: 0,
            serial: "4411".to_owned()
        })),
        "and whose they are"
    );
}

#[test]
fn a_pulled_cable_is_said_and_what_was_recorded_meanwhile_comes_after_it_is_back() {
    let (folder, mut desk, adapter) = at_work("adapter-cable");
    adapter.order(Do::Pull(15.0));
    until(&mut desk, "a verdict", |window| attempts(window) == 1);
    adapter.order(Do::Cut);
    until(&mut desk, "lost", |window| {
        heard(window) == Some(Heard::Lost)
    });
    assert!(
        desk.query_by_label_contains("ADAPTER LOST").is_some(),
        "a band says so on every screen"
    );
    let live = joint(desk.state()).live.clone();
    assert_eq!(
        live.gauges.first().map(|gauge| gauge.value),
        Some(None),
        "the last reading is no reading"
    );
    assert_eq!(live.cue, Cue::Wait, "{live:?}");
    assert_eq!(live.cue_words, "Adapter lost");
    press(&mut desk, Key::F2);
    assert!(desk.query_by_label_contains("ADAPTER LOST").is_some());
    press(&mut desk, Key::F3);
    // Work goes on without the desk.
    adapter.order(Do::Pull(15.0));
    adapter.order(Do::Pull(22.0));
    std::thread::sleep(Duration::from_millis(900));
    assert_eq!(attempts(desk.state()), 1);
    adapter.order(Do::PutBack);
    until(&mut desk, "back, and both verdicts with it", |window| {
        heard(window) == Some(Heard::Connected) && attempts(window) == 3
    });
    assert!(desk.query_by_label_contains("ADAPTER LOST").is_none());
    let marks: Vec<Mark> = joint(desk.state())
        .path
        .iter()
        .take(3)
        .map(|&index| joint(desk.state()).fasteners[index].mark)
        .collect();
    assert_eq!(marks, [Mark::Accepted, Mark::Accepted, Mark::Rejected]);
    assert!(
        joint(desk.state()).is_alerted(),
        "the rejected one is an alert here too"
    );
    drop(desk);
    assert_eq!(entries(&kept(&folder)), adapter.off());
}

#[test]
fn a_closed_desk_comes_back_to_a_joint_that_is_the_adapters_and_makes_no_record_of_it() {
    let (folder, mut desk, adapter) = at_work("adapter-again");
    adapter.order(Do::Hold(15.0));
    until(&mut desk, "in mid-pull", |window| joint(window).live.loaded);
    // Dropped in mid-pull: the pull is the adapter's, and nothing was interrupted.
    drop(desk);
    adapter.order(Do::LetGo);
    let before = kept(&folder);
    let mut desk = work_window(Model::in_folder("cover.toml", COVER, folder.path()));
    connect(
        &mut desk,
        folder.path().join("port").to_str().expect("a plain path"),
    );
    press(&mut desk, Key::Enter);
    until(&mut desk, "the verdict", |window| attempts(window) == 1);
    assert_eq!(joint(desk.state()).fasteners[0].mark, Mark::Accepted);
    assert!(joint(desk.state()).prompt.is_none(), "nothing to ask");
    // What is said here the adapter records: one key, one record.
    let records = entries(&kept(&folder)).len();
    press(&mut desk, Key::W);
    until(&mut desk, "recorded as felt wrong", |window| {
        joint(window).fasteners[0].mark == Mark::Doubtful
    });
    assert_eq!(entries(&kept(&folder)).len(), records + 1);
    assert_eq!(
        kept(&folder)[..before.len()],
        before[..],
        "nothing is rewritten"
    );
    press(&mut desk, Key::K);
    press(&mut desk, Key::Num1);
    until(&mut desk, "left out", |window| {
        let rows = &window.model.view().record;
        rows.iter()
            .any(|row| row.words.contains("not within reach"))
    });
    drop(desk);
    assert_eq!(entries(&kept(&folder)), adapter.off());
}

#[test]
fn a_rehearsal_and_an_adapter_never_share_a_record() {
    let folder = Folder::new("adapter-rehearsal");
    let path = folder.path().join("port");
    let adapter = Adapter::start(&path, "4411", Vec::new());
    adapter.order(Do::Rehearse);
    let mut desk = window(Model::in_folder("cover.toml", COVER, folder.path()));
    press(&mut desk, Key::Enter);
    press(&mut desk, Key::F2);
    let rehearsed = folder.path().join("cover.rehearsal.evj");
    // In a rehearsal no adapter is heard: it is said how to get to work.
    desk.state_mut().model.carry_out(Ask::Connect(path.clone()));
    desk.step();
    let told = desk.state().model.view().notice.clone().expect("said");
    assert!(told.words.contains("belong to work"), "{told:?}");
    press(&mut desk, Key::V);
    press(&mut desk, Key::W);
    connect(&mut desk, path.to_str().expect("a plain path"));
    press(&mut desk, Key::F2);
    press(&mut desk, Key::Enter);
    press(&mut desk, Key::Enter);
    until(&mut desk, "said", |window| {
        let notice = &window.model.view().notice;
        notice
            .as_ref()
            .is_some_and(|notice| notice.bad && notice.words.contains("rehearsal"))
    });
    // What it calls a rehearsal is not taken into the job.
    assert!(entries(&kept(&folder)).is_empty());
    // And the rehearsal is gone on with without it.
    press(&mut desk, Key::F2);
    press(&mut desk, Key::V);
    press(&mut desk, Key::R);
    assert!(desk.state().model.view().status.rehearsal);
    assert_eq!(heard(desk.state()), None, "let go");
    adapter.order(Do::Pull(15.0));
    for _ in 0..60 {
        desk.step();
        std::thread::sleep(Duration::from_millis(3));
    }
    let rehearsed = store::read(&rehearsed).expect("the rehearsal").facts;
    let worked = |entry: &Entry| matches!(entry.record, Record::Begun(_) | Record::Attempt(_));
    assert!(!entries(&rehearsed).iter().any(worked), "{rehearsed:?}");
    adapter.off();
}

#[test]
fn records_the_adapter_has_from_before_are_taken_only_on_somebodys_word() {
    let (folder, mut desk, adapter) = at_work("adapter-before");
    adapter.order(Do::Pull(15.0));
    until(&mut desk, "a verdict", |window| attempts(window) == 1);
    drop(desk);
    let before = adapter.off();
    drop(folder);
    let folder = Folder::new("adapter-before-2");
    let path = folder.path().join("port");
    let adapter = Adapter::start(&path, "4411", before.clone());
    let mut desk = work_window(Model::in_folder("cover.toml", COVER, folder.path()));
    connect(&mut desk, path.to_str().expect("a plain path"));
    press(&mut desk, Key::Enter);
    press(&mut desk, Key::Enter);
    let words = joint(desk.state()).prompt.clone().map(|asked| asked.words);
    assert!(
        words
            .as_ref()
            .is_some_and(|words| words.contains(&format!("holds {} records", before.len()))),
        "{words:?}"
    );
    assert_eq!(attempts(desk.state()), 0);
    press(&mut desk, Key::N);
    assert_eq!(attempts(desk.state()), 0);
    assert!(entries(&kept(&folder)).is_empty(), "nothing is taken");
    // Asked again, and of this unit after all.
    press(&mut desk, Key::Enter);
    press(&mut desk, Key::Enter);
    until(&mut desk, "taken over", |window| attempts(window) == 1);
    say_who(&mut desk);
    adapter.order(Do::Pull(15.0));
    until(&mut desk, "gone on with", |window| attempts(window) == 2);
    drop(desk);
    assert_eq!(entries(&kept(&folder)), adapter.off());
}

#[test]
fn without_its_adapter_a_joint_is_gone_on_with_at_the_desk() {
    let (folder, mut desk, adapter) = at_work("adapter-broken");
    adapter.order(Do::Pull(15.0));
    until(&mut desk, "a verdict", |window| attempts(window) == 1);
    let theirs = adapter.off();
    until(&mut desk, "lost", |window| {
        heard(window) == Some(Heard::Lost)
    });
    press(&mut desk, Key::F11);
    assert!(
        desk.query_by_label_contains("Go on with Discharge cover at the desk")
            .is_some(),
        "one of the ways"
    );
    press(&mut desk, Key::Num2);
    until(&mut desk, "at the desk", |window| {
        joint(window).at_adapter.is_none()
    });
    press(&mut desk, Key::W);
    drop(desk);
    let facts = entries(&kept(&folder));
    assert_eq!(facts[..theirs.len()], theirs[..]);
    assert!(
        facts[theirs.len()..]
            .iter()
            .any(|entry| matches!(entry.record, Record::Noted(_))),
        "the desk records again: {facts:?}"
    );
}

/// The notice that stands.
fn notice(window: &Window) -> String {
    let notice = window.model.view().notice.as_ref();
    notice.map_or_else(String::new, |notice| notice.words.clone())
}

#[test]
fn a_joint_revised_at_the_desk_goes_on_at_the_adapter_behind_what_was_settled() {
    let folder = Folder::new("adapter-revised");
    let (plan, port) = (folder.path().join("cover.toml"), folder.path().join("port"));
    std::fs::write(&plan, COVER).unwrap();
    let adapter = Adapter::start(&port, "4411", Vec::new());
    let mut desk = work_window(Model::open(Some(&plan)).unwrap());
    connect(&mut desk, port.to_str().expect("a plain path"));
    press(&mut desk, Key::Enter);
    until(&mut desk, "asked", |window| joint(window).prompt.is_some());
    press(&mut desk, Key::Enter);
    until(&mut desk, "worked at the adapter", |window| {
        joint(window).at_adapter.is_some()
    });
    say_who(&mut desk);
    for (done, torque) in [15.0, 15.0, 15.0, 15.0, 15.0, 40.0].into_iter().enumerate() {
        adapter.order(Do::Pull(torque));
        until(&mut desk, "a verdict", |window| {
            attempts(window) == done + 1
        });
    }
    // The manual was corrected. The adapter works to what it was sent: that is said, and nothing changes.
    let second = COVER.replace("40 N·m", "44 N·m").replace(
        "[build]",
        "[build]\nrevision = 2\nreason = \"correction 2\"",
    );
    std::fs::write(&plan, &second).unwrap();
    desk.state_mut().model.carry_out(Ask::ReloadPlan);
    desk.step();
    assert!(
        joint(desk.state()).at_adapter.is_some(),
        "{}",
        notice(desk.state())
    );
    // Taken back, revised here, and sent anew.
    desk.state_mut().model.carry_out(Ask::TakeBack);
    desk.state_mut().model.carry_out(Ask::ReloadPlan);
    desk.step();
    until(&mut desk, "revised", |window| {
        window.model.view().status.revision.contains("correction 2")
    });
    assert!(joint(desk.state()).may_send);
    let before = entries(&kept(&folder)).len();
    desk.state_mut().model.carry_out(Ask::SendJoint);
    until(&mut desk, "worked at the adapter again", |window| {
        let joint = joint(window);
        joint.at_adapter.is_some() && window.model.view().record.len() > before
    });
    let view = desk.state().model.view();
    let cells = &view.status.joints[0].fasteners;
    let first =
        |own: &&evendraw::job::status::FastenerStatus| own.cells[0].mark == Some(Mark::Accepted);
    assert_eq!(
        cells.iter().filter(first).count(),
        5,
        "the first pass stays settled"
    );
    until(&mut desk, "asked who works", |window| {
        let asked = &joint(window).prompt;
        asked
            .as_ref()
            .is_some_and(|asked| asked.title == "Who works")
    });
    desk.step();
    desk.event(egui::Event::Text("M. Ahlers".to_owned()));
    desk.step();
    press(&mut desk, Key::Enter);
    // What changed is done again, after that fastener is loosened.
    until(&mut desk, "asked to loosen it", |window| {
        let asked = &joint(window).prompt;
        asked
            .as_ref()
            .is_some_and(|asked| asked.title.contains("oosen"))
    });
    press(&mut desk, Key::Enter);
    until(&mut desk, "loosened", |window| {
        joint(window).prompt.is_none()
    });
    let mut done = attempts(desk.state());
    while !joint(desk.state()).finished {
        let next = desk.state().model.view().status.next.clone();
        let words = next.map_or_else(String::new, |next| next.words);
        adapter.order(Do::Pull(if words.contains("stage 1") {
            15.0
        } else {
            44.0
        }));
        done += 1;
        assert!(done < 20, "{words}: {}", notice(desk.state()));
        until(&mut desk, "the next verdict", |window| {
            attempts(window) == done
        });
        desk.step();
    }
    assert!(desk.state().model.is_joint_final());
    assert!(desk.state().model.view().status.is_complete());
    drop(desk);
    let theirs = adapter.off();
    assert_eq!(entries(&kept(&folder)), theirs, "the same records");
    // With those alone, and the revised procedure, an adapter goes on after a power cut.
    let made = evendraw::plan::Plan::parse("cover.toml", &second).unwrap();
    let procedure = made.joints()[0]
        .procedure(&evendraw::plan::Answers::default())
        .unwrap();
    let session = evendraw_core::session::Session::restore(&procedure, 0, &theirs).unwrap();
    assert_eq!(session.standing(), evendraw_core::ledger::Standing::Final);
}
