//! A shelf of builds: recalled, listed, exported; with damaged, locked, foreign and newer journals among them.

mod history;
mod make;
mod revised;
mod running;
mod tools;

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};

use evendraw::job::Job;
use evendraw::plan::Plan;
use evendraw::shelf::export::{ExportError, Format, export, tables};
use evendraw::shelf::recall::{Line, Off, Question};
use evendraw::shelf::{Passed, Shelf};
use evendraw::store::{Journal, Purpose, read};
use evendraw_core::journal::{Frame, Scan, encode};
use evendraw_core::record::Record;
use evendraw_core::verdict::Verdict;
use serde_json::Value;

use make::{Size, Work};

const SMALL: Size = Size {
    builds: 20,
    joints: 3,
    fasteners: 6,
};

/// What the generator appends in one go is byte for byte what a job keeps record by record, synced and read back.
#[test]
fn the_store_writes_the_same_bytes_in_one_go() {
    let folder = tempfile::tempdir().expect("a folder");
    for number in [2, 3, 5] {
        make::build(folder.path(), number, SMALL);
        let path = folder.path().join("live.evj");
        let _ = fs::remove_file(&path);
        let _ = fs::remove_dir_all(folder.path().join("live.evj.traces"));
        let plan = Plan::parse("pump.toml", &make::plan(number, SMALL)).expect("a plan");
        let mut work = Work::new(
            Job::create(&path, plan, Purpose::Job).expect("a job"),
            number,
        );
        work.run(number);
        drop(work);
        let made = folder.path().join(make::name(number)).join("pump.evj");
        assert!(
            fs::read(&path).expect("live") == fs::read(made).expect("made"),
            "build {number}"
        );
    }
}

/// Otherwise the figures would be those of a shelf of rejected pulls.
#[test]
fn most_pulls_of_the_shelf_are_accepted_and_some_are_not() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut accepted, mut others) = (0, 0);
    for number in 0..SMALL.builds {
        make::build(folder.path(), number, SMALL);
        let content = read(&folder.path().join(make::name(number)).join("pump.evj")).expect("read");
        for entry in content.entries() {
            if let Record::Attempt(attempt) = &entry.record {
                if attempt.verdict == Verdict::Accepted {
                    accepted += 1;
                } else {
                    others += 1;
                }
            }
        }
    }
    assert!(
        accepted > 1_000 && others > 0 && others < accepted / 20,
        "{accepted} {others}"
    );
}

/// Runs one command line.
fn evendraw(line: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let line = std::iter::once("evendraw").chain(line.iter().copied());
    let status = evendraw::command::run(line.map(OsString::from), &mut out, &mut err, false);
    let text = |bytes| String::from_utf8(bytes).expect("text");
    (status, text(out), text(err))
}

fn objects(text: &str) -> Vec<Value> {
    text.lines()
        .map(|line| serde_json::from_str(line).expect("an object"))
        .collect()
}

fn shelf_of(builds: std::ops::Range<u32>) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for number in builds {
        make::build(folder.path(), number, SMALL);
    }
    folder
}

fn ask(shelf: &Shelf, question: &Question) -> (Vec<Line>, Vec<Passed>) {
    let (mut lines, mut passed) = (Vec::new(), shelf.passed().to_vec());
    let done: Result<(), ()> = shelf.read(|read| {
        passed.extend(read.passed);
        if let Some(build) = &read.build {
            let name = &read.found.name;
            lines.extend(
                question
                    .of(build)
                    .into_iter()
                    .map(|pull| Line::of(question, name, build, pull)),
            );
        }
        Ok(())
    });
    done.expect("nothing refuses");
    (lines, passed)
}

/// One attempt of the plain scan: build, joint, fastener, stage, torque and limits in mN·m.
type Plain = (String, u8, u8, u8, i32, Option<i32>, Option<i32>);

/// What another reader of the journals comes to: every record in order, the tool as it was named last, and the limits that the plan's
/// text was written with. Shares nothing with the shelf but the store.
fn plain_scan(folder: &Path, tool: &str, from: i64, before: i64) -> Vec<Plain> {
    let mut found = Vec::new();
    for number in 0..SMALL.builds {
        let name = make::name(number);
        let content = read(&folder.join(&name).join("pump.evj")).expect("read");
        let mut tools: BTreeMap<u8, String> = BTreeMap::new();
        let mut zero = 0;
        for entry in content.entries() {
            match &entry.record {
                Record::Tool(named) => {
                    tools.insert(entry.joint, named.id.to_string());
                }
                Record::Anchor(anchor) => {
                    zero = anchor.unix_seconds
                        - i64::try_from(entry.at.micros() / 1_000_000).expect("short");
                }
                Record::Attempt(attempt) => {
                    let at = zero + i64::try_from(entry.at.micros() / 1_000_000).expect("short");
                    if tools.get(&entry.joint).is_none_or(|named| named != tool)
                        || at < from
                        || at >= before
                    {
                        continue;
                    }
                    let (torque, low, high) = match attempt.stage {
                        4 => (attempt.final_torque, 70_000, 110_000),
                        stage => {
                            let target = [15_000, 25_000, 35_000, 45_000][usize::from(stage)];
                            (attempt.peak, target / 100 * 96, target / 100 * 104)
                        }
                    };
                    found.push((
                        format!("{name}/pump"),
                        entry.joint,
                        attempt.fastener,
                        attempt.stage,
                        torque.millinewton_meters(),
                        Some(low),
                        Some(high),
                    ));
                }
                _ => {}
            }
        }
    }
    found
}

fn thousandths(value: f64) -> i32 {
    let text = format!("{:.0}", value * 1_000.0);
    text.parse().expect("a whole number")
}

fn plain(line: &Line) -> Plain {
    let joint: u8 = line
        .joint
        .trim_start_matches("ring-")
        .parse()
        .expect("a number");
    let fastener: u8 = line.fastener.parse().expect("a number");
    (
        line.build.clone(),
        joint - 1,
        fastener - 1,
        u8::try_from(line.stage).expect("few") - 1,
        thousandths(line.torque_Nm.expect("measured")),
        line.low_Nm.map(thousandths),
        line.high_Nm.map(thousandths),
    )
}

#[test]
fn recall_finds_what_a_plain_scan_finds_cold_and_warm() {
    let folder = shelf_of(0..SMALL.builds);
    let shelf = Shelf::open(folder.path()).expect("a shelf");
    let day = 86_400;
    let morning = 1_704_693_600;
    for (tool, from, before) in [
        ("A1", morning + 3 * day, morning + 15 * day),
        ("B3", i64::MIN, i64::MAX),
        (
            "A2",
            morning + 5 * day + 3_000 + 60,
            morning + 5 * day + 3_000 + 120,
        ),
    ] {
        let question = Question {
            tools: vec![tool.to_owned()],
            from: Some(from),
            before: Some(before),
            ..Question::default()
        };
        let scanned = plain_scan(folder.path(), tool, from, before);
        for temperature in ["cold", "warm"] {
            let (lines, passed) = ask(&shelf, &question);
            let found: Vec<Plain> = lines.iter().map(plain).collect();
            assert_eq!(passed, []);
            assert!(
                found == scanned,
                "{tool} {temperature}: {} {}",
                found.len(),
                scanned.len()
            );
        }
        assert!(
            scanned.len() > 20 || tool == "A2",
            "{tool} {}",
            scanned.len()
        );
    }
}

#[test]
fn a_pull_that_was_on_another_fastener_is_counted_once_by_the_hands_that_pulled() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = folder.path().join("live");
    fs::create_dir(&own).expect("a folder");
    let plan = Plan::parse("pump.toml", &make::plan(7, SMALL)).expect("a plan");
    let job = Job::create(&own.join("pump.evj"), plan, Purpose::Job).expect("a job");
    let mut work = Work::new(job, 7);
    work.pull_put_right();
    drop(work);
    let shelf = Shelf::open(folder.path()).expect("a shelf");
    let of = |tool: &str| Question {
        tools: vec![tool.to_owned()],
        ..Question::default()
    };
    for temperature in ["cold", "warm"] {
        let (lines, _) = ask(&shelf, &of("A1"));
        let found: Vec<(&str, &str)> = lines
            .iter()
            .map(|line| (line.fastener.as_str(), line.person.as_str()))
            .collect();
        assert_eq!(found, [("3", "R. Falk")], "{temperature}");
        assert!(lines[0].last);
        assert_eq!(ask(&shelf, &of("A2")).0.len(), 0, "{temperature}");
    }
    let tables = tempfile::tempdir().expect("a folder");
    export(&shelf, tables.path(), Format::Csv).expect("exported");
    let attempts = rows(tables.path(), "attempts");
    let instead: Vec<&str> = attempts
        .iter()
        .map(|row| row.rsplit_once(',').expect("columns").1)
        .collect();
    assert_eq!(attempts.len(), 2, "both records are there: {attempts:?}");
    assert_eq!(instead.iter().filter(|own| !own.is_empty()).count(), 1);
}

/// The torque there was is what was shown over one and the error: 47 N·m shown at -6 % are 50 N·m.
#[test]
fn an_error_is_a_part_of_the_truth_and_its_limits_are_exact() {
    let folder = shelf_of(0..2);
    let shelf = Shelf::open(folder.path()).expect("a shelf");
    let off = Off::from_ppm(-60_000).expect("not too far");
    assert_eq!(off.truth(47_000), 50_000);
    assert_eq!(Off::from_ppm(500_001), None);
    let question = Question {
        tools: ["A1", "A2", "B3", "C4"].map(str::to_owned).to_vec(),
        off: Some(off),
        ..Question::default()
    };
    let (lines, _) = ask(&shelf, &question);
    let (mut high, mut low) = (0, 0);
    for line in &lines {
        // In decimal numbers of the standard library, with room to spare on both sides.
        let truth = line.torque_Nm.expect("measured") / 0.94;
        assert!(
            (truth - line.true_Nm.expect("asked for")).abs() < 0.001,
            "{line:?}"
        );
        let expected = match (line.verdict, line.low_Nm, line.high_Nm) {
            ("accepted", Some(low), _) if truth < low - 1e-6 => Some("low"),
            ("accepted", _, Some(high)) if truth > high + 1e-6 => Some("high"),
            _ => None,
        };
        assert_eq!(line.outside, expected, "{line:?}");
        high += usize::from(line.outside == Some("high"));
        low += usize::from(line.outside == Some("low"));
    }
    assert!(high > 50 && low == 0, "{high} {low}");
}

#[test]
fn recall_speaks_as_text_table_objects_and_page() {
    let folder = shelf_of(0..6);
    let shelf = folder.path().to_str().expect("a path");
    let (status, out, err) = evendraw(&[
        "--json", "recall", shelf, "--tool", "A1", "--tool", "A2", "--off", "-6%",
    ]);
    assert_eq!((status, err.contains("attempts in")), (0, true), "{err}");
    let told = objects(&out);
    let keys: Vec<&String> = told[0]
        .as_object()
        .expect("an object")
        .keys()
        .take(9)
        .collect();
    assert_eq!(
        keys,
        [
            "build",
            "joint",
            "fastener",
            "stage",
            "tool",
            "torque_Nm",
            "low_Nm",
            "high_Nm",
            "at"
        ]
    );
    let (_, table, _) = evendraw(&[
        "recall", shelf, "--tool", "A1", "--tool", "A2", "--off", "-6%", "--csv",
    ]);
    assert_eq!(table.lines().count(), told.len() + 1);
    // A name that stands nowhere was mistyped: an empty answer alone would be a dangerous one.
    let (_, out, err) = evendraw(&["recall", shelf, "--tool", "a1", "--person", "r. falk"]);
    assert!(out.starts_with("0 attempts"), "{out}");
    assert!(err.contains("tool a1 stands in no build"), "{err}");
    assert!(!err.contains("falk"), "{err}");
    let (_, text, _) = evendraw(&[
        "recall", shelf, "--tool", "A1", "--tool", "A2", "--off", "-6%",
    ]);
    assert!(
        text.contains(&format!("{} attempts in", told.len())),
        "{text}"
    );
    let outside = told
        .iter()
        .filter(|line| !line["outside"].is_null())
        .count();
    assert_eq!(text.matches("too high").count(), outside);
    let (_, only, _) = evendraw(&[
        "--json",
        "recall",
        shelf,
        "--tool",
        "A1",
        "--tool",
        "A2",
        "--off",
        "-6%",
        "--outside",
    ]);
    assert_eq!(objects(&only).len(), outside);
    let page = folder.path().join("recall.html");
    let page = page.to_str().expect("a path");
    let (status, _, err) = evendraw(&[
        "recall", shelf, "--tool", "A1", "--tool", "A2", "--off", "-6%", "-o", page,
    ]);
    assert_eq!(status, 0, "{err}");
    let html = fs::read_to_string(page).expect("a page");
    assert_eq!(html.matches("<tr>").count(), told.len() + 1);
    // And by everything else that may be asked.
    let count =
        |line: &[&str]| objects(&evendraw(&[&["--json", "recall", shelf], line].concat()).1);
    let whole = count(&["--from", "2024-01-01"]).len();
    let by_person: usize = ["M. Ahlers", "R. Falk", "J. Lund", "S. Brandt", "K. Voss"]
        .iter()
        .map(|name| count(&["--person", name]).len())
        .sum();
    assert_eq!(by_person, whole);
    let by_thread: usize = ["M8", "m10X1.5", "M12"]
        .iter()
        .map(|thread| count(&["--thread", thread]).len())
        .sum();
    assert_eq!(by_thread, whole);
    let by_revision: usize = ["revision B", "REVISION c"]
        .iter()
        .map(|document| count(&["--document", document]).len())
        .sum();
    assert_eq!(by_revision, whole);
    assert!(
        count(&["--part", "gasket"])
            .iter()
            .all(|line| line["joint"] == "ring-2")
    );
    assert_eq!(
        count(&["--from", "2024-01-08", "--to", "2024-01-08"])
            .iter()
            .filter(|line| line["build"] != "pump-0000/pump")
            .count(),
        0
    );
}

/// Nobody can take a rehearsal of invented values for work, wherever an attempt of it is told.
#[test]
fn a_rehearsal_of_the_demo_says_so_on_every_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| {
        folder
            .path()
            .join(name)
            .to_str()
            .expect("a path")
            .to_owned()
    };
    let journal = at("demo.evj");
    let (status, _, err) = evendraw(&["rehearse", "--joint", "oil-jet", "--journal", &journal]);
    assert_eq!(status, 0, "{err}");
    let shelf = at("");
    let (_, none, _) = evendraw(&["recall", &shelf, "--tool", "A2"]);
    assert!(none.starts_with("0 attempts"), "{none}");
    let words = "REHEARSAL, DEMO, invented values";
    let ask = ["recall", &shelf, "--tool", "A2", "--rehearsals"];
    let (_, text, _) = evendraw(&ask);
    assert!(
        text.lines()
            .next()
            .is_some_and(|line| line.ends_with(words)),
        "{text}"
    );
    let (_, json, _) = evendraw(&[&["--json"], &ask[..]].concat());
    let told = objects(&json);
    assert_eq!(told.len(), 3);
    assert!(
        told.iter()
            .all(|line| line["rehearsal"] == true && line["demo"] == true)
    );
    let (_, table, _) = evendraw(&[&ask[..], &["--csv"]].concat());
    assert!(
        table.lines().skip(1).all(|row| row.ends_with(",true,true")),
        "{table}"
    );
    let page = at("recall.html");
    evendraw(&[&ask[..], &["-o", &page]].concat());
    let page = fs::read_to_string(page).expect("a page");
    assert_eq!(page.matches(words).count(), 3);
    let (_, listed, _) = evendraw(&["shelf", &shelf, "--rehearsals"]);
    assert!(listed.contains(words), "{listed}");
}

/// Damaged, locked, foreign and newer journals: each is named, none is fatal, and the sound ones are there as before.
#[test]
fn what_cannot_be_read_is_named_and_never_fatal() {
    let folder = shelf_of(0..3);
    let at = |name: &str| -> PathBuf { folder.path().join(name) };
    let before = objects(
        &evendraw(&[
            "--json",
            "recall",
            folder.path().to_str().expect("a path"),
            "--from",
            "2024-01-01",
        ])
        .1,
    );
    // Foreign.
    fs::write(at("notes.evj"), "not a journal at all").expect("written");
    fs::write(at("empty.journal"), "").expect("written");
    fs::create_dir(at("folder.evj")).expect("a folder");
    // Damaged in the middle, and torn at its end.
    let whole = fs::read(at("pump-0001/pump.evj")).expect("a journal");
    let mut bytes = whole.clone();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x40;
    bytes.truncate(whole.len() - 3);
    fs::create_dir(at("damaged")).expect("a folder");
    fs::write(at("damaged/pump.evj"), &bytes).expect("written");
    // Newer: a kind of record that nobody knows yet, behind sound ones.
    let (mut seed, mut sequence) = (0, 0);
    for found in Scan::new(&whole) {
        if let evendraw_core::journal::Found::Frame { frame, sum, .. } = found {
            (seed, sequence) = (sum, frame.sequence);
        }
    }
    let mut room = [0; 64];
    let frame = Frame {
        kind: 120,
        version: 1,
        sequence: sequence + 1,
        payload: b"of a later day",
    };
    let newer = [
        whole.as_slice(),
        encode(&frame, seed, &mut room).expect("room"),
    ]
    .concat();
    fs::create_dir(at("newer")).expect("a folder");
    fs::write(at("newer/pump.evj"), newer).expect("written");
    // Its plan is lost.
    fs::create_dir(at("planless")).expect("a folder");
    fs::write(
        at("planless/pump.evj"),
        [&whole[..300], &whole[900..]].concat(),
    )
    .expect("written");
    // A plan with errors, and one that nobody began.
    fs::write(at("bad.toml"), "[[joint]]\nid = 3\n").expect("written");
    fs::write(at("next.toml"), make::plan(9, SMALL)).expect("written");
    fs::write(at("other.toml"), "colour = 1\n").expect("written");
    // Locked: open in another program.
    let (locked, _) = Journal::open(&at("pump-0002/pump.evj"), Purpose::Job).expect("opened");

    let shelf = folder.path().to_str().expect("a path");
    for _ in ["cold", "warm"] {
        let (status, out, err) = evendraw(&["--json", "recall", shelf, "--from", "2024-01-01"]);
        assert_eq!(status, 1, "{err}");
        for (name, why) in [
            ("notes", "nothing in it reads as a journal: passed over"),
            ("empty", "nothing in it reads as a journal: passed over"),
            ("damaged/pump", "damaged in 1 place"),
            ("damaged/pump", "cut off"),
            (
                "newer/pump",
                "1 record of a kind that this program does not know",
            ),
            ("planless/pump", "its plan is lost"),
            ("bad", "a plan with errors"),
            ("pump-0002/pump", "it is open to be worked"),
        ] {
            assert!(
                err.lines()
                    .any(|line| line.starts_with(&format!("{name}: ")) && line.contains(why)),
                "{name}: {why}\n{err}"
            );
        }
        let told = objects(&out);
        let sound = |line: &&Value| {
            line["build"]
                .as_str()
                .is_some_and(|build| build.starts_with("pump-"))
        };
        assert_eq!(
            told.iter().filter(sound).cloned().collect::<Vec<_>>(),
            before
        );
        let of = |name: &str| told.iter().filter(|line| line["build"] == name).count();
        assert_eq!(of("newer/pump"), of("pump-0001/pump"));
        assert!(of("damaged/pump") + 2 >= of("pump-0001/pump") && of("planless/pump") > 0);
        let (status, out, err) = evendraw(&["--json", "shelf", shelf]);
        assert_eq!(status, 0, "{err}");
        let states: BTreeMap<String, String> = objects(&out)
            .iter()
            .map(|row| {
                (
                    row["build"].as_str().expect("a name").to_owned(),
                    row["state"].as_str().expect("a state").to_owned(),
                )
            })
            .collect();
        assert_eq!(states["damaged/pump"], "doubtful");
        assert_eq!(states["next"], "ready");
        assert!(!states.contains_key("other") && !states.contains_key("bad"));
    }
    drop(locked);
    let tables = tempfile::tempdir().expect("a folder");
    let (status, _, err) = evendraw(&[
        "export",
        shelf,
        "--csv",
        tables.path().to_str().expect("a path"),
    ]);
    assert_eq!(status, 1);
    assert!(
        err.contains("newer/pump: it holds records that this program does not know"),
        "{err}"
    );
    let (status, _, err) = evendraw(&["recall", &format!("{shelf}/nowhere"), "--tool", "A1"]);
    assert_eq!(status, 2, "{err}");
}

/// An index that was spoilt, or made of another state of the journal, is made anew.
#[test]
fn an_index_is_never_truth() {
    let folder = shelf_of(0..2);
    let shelf = Shelf::open(folder.path()).expect("a shelf");
    let everything = Question {
        from: Some(0),
        ..Question::default()
    };
    let (lines, _) = ask(&shelf, &everything);
    let room = folder.path().join(".evendraw-shelf");
    let indexes = || -> Vec<PathBuf> {
        let listed = fs::read_dir(&room).expect("the room");
        listed.map(|entry| entry.expect("a file").path()).collect()
    };
    assert_eq!(indexes().len(), 2);
    for at in [0, 8, 40, 400] {
        for index in indexes() {
            let mut bytes = fs::read(&index).expect("an index");
            bytes[at] ^= 1;
            fs::write(&index, bytes).expect("written");
        }
        assert_eq!(ask(&shelf, &everything).0, lines, "byte {at}");
    }
    let first = indexes().remove(0);
    let other = indexes().remove(1);
    fs::copy(other, first).expect("copied");
    assert_eq!(ask(&shelf, &everything).0, lines);
    // One byte of a journal's middle changes under an index that fitted: the day of the file says nothing, its bytes do.
    let path = folder.path().join(make::name(0)).join("pump.evj");
    let mut bytes = fs::read(&path).expect("a journal");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(&path, bytes).expect("written");
    assert!(!ask(&shelf, &everything).1.is_empty());
}

/// Every file below a folder with its bytes.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let (mut found, mut open) = (BTreeMap::new(), vec![folder.to_owned()]);
    while let Some(at) = open.pop() {
        for entry in fs::read_dir(at).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                open.push(path);
            } else {
                let bytes = fs::read(&path).expect("a file");
                found.insert(path, bytes);
            }
        }
    }
    found
}

fn rows(folder: &Path, table: &str) -> Vec<String> {
    let mut rows = Vec::new();
    for (path, bytes) in files(&folder.join(table)) {
        assert!(path.extension().is_some_and(|end| end == "csv"), "{path:?}");
        let text = String::from_utf8(bytes).expect("text");
        rows.extend(text.lines().skip(1).map(str::to_owned));
    }
    rows.sort();
    rows
}

/// Rows without the number of the run that wrote them: the last column, or what was put right follows it.
fn whenever(table: &str, rows: &[String]) -> Vec<String> {
    let strip = |row: &str| {
        let (row, last) = row.rsplit_once(',').expect("columns");
        match table {
            "attempts" => {
                let row = row.rsplit_once(',').expect("columns").0;
                format!("{row},{last}")
            }
            _ => row.to_owned(),
        }
    };
    let mut rows: Vec<String> = rows.iter().map(|row| strip(row)).collect();
    rows.sort();
    rows
}

#[test]
fn an_export_is_only_added_to_and_in_pieces_comes_to_the_same_as_at_once() {
    let folder = shelf_of(0..4);
    // One that is worked on, with its curves beside it, in three sittings.
    let own = folder.path().join("live");
    fs::create_dir(&own).expect("a folder");
    let path = own.join("pump.evj");
    let plan = || Plan::parse("pump.toml", &make::plan(7, SMALL)).expect("a plan");
    let mut whole = Work::new(Job::create(&path, plan(), Purpose::Job).expect("a job"), 7);
    whole.run(7);
    drop(whole);
    let bytes = fs::read(&path).expect("a journal");
    let pieces = tempfile::tempdir().expect("a folder");
    let mut seen: BTreeMap<PathBuf, Vec<u8>> = BTreeMap::new();
    let ends: Vec<usize> = Scan::new(&bytes)
        .filter_map(|found| match found {
            evendraw_core::journal::Found::Frame { frame, offset, .. } => {
                Some(offset + frame.payload.len() + 12)
            }
            _ => None,
        })
        .collect();
    for part in [ends.len() / 3, ends.len() / 2, ends.len() / 2, ends.len()] {
        fs::write(&path, &bytes[..ends[part - 1]]).expect("written");
        let shelf = Shelf::open(folder.path()).expect("a shelf");
        export(&shelf, pieces.path(), Format::Csv).expect("exported");
        let now = files(pieces.path());
        for (path, bytes) in seen
            .iter()
            .filter(|(path, _)| path.extension().is_some_and(|end| end == "csv"))
        {
            assert_eq!(now.get(path), Some(bytes), "{path:?} was changed");
        }
        seen = now;
    }
    let shelf = Shelf::open(folder.path()).expect("a shelf");
    let again = export(&shelf, pieces.path(), Format::Csv).expect("exported");
    assert_eq!((again.builds, again.unchanged, again.run), (0, 5, 3));
    let at_once = tempfile::tempdir().expect("a folder");
    let once = export(&shelf, at_once.path(), Format::Csv).expect("exported");
    assert_eq!((once.builds, once.run), (5, 1));
    for table in ["attempts", "facts", "curves"] {
        let (one, other) = (rows(pieces.path(), table), rows(at_once.path(), table));
        assert!(!one.is_empty(), "{table}");
        let strip = |rows: &[String]| whenever(table, rows);
        assert_eq!(strip(&one), strip(&other), "{table}");
    }
    assert_eq!(
        rows(at_once.path(), "attempts").len(),
        ask(
            &shelf,
            &Question {
                from: Some(0),
                ..Question::default()
            }
        )
        .0
        .len()
    );
    // A run that was cut short counts for nothing.
    let torn = pieces.path().join("attempts/year=2024/part-000009.csv");
    fs::write(&torn, "rubbish").expect("written");
    let done = export(&shelf, pieces.path(), Format::Csv).expect("exported");
    assert_eq!((done.cleared, torn.exists()), (1, false));
    // Another journal under the same name is not mixed in.
    let other = fs::read(folder.path().join(make::name(2)).join("pump.evj")).expect("a journal");
    fs::write(&path, [bytes.as_slice(), &other].concat()).expect("written");
    let mut swapped = fs::read(&path).expect("a journal");
    swapped[100] ^= 1;
    fs::write(&path, swapped).expect("written");
    let done = export(&shelf, pieces.path(), Format::Csv).expect("exported");
    assert!(
        done.passed[0]
            .why
            .contains("not the journal that was exported"),
        "{:?}",
        done.passed
    );
    // Nor does it go into a folder of something else.
    let foreign = tempfile::tempdir().expect("a folder");
    fs::write(foreign.path().join("holiday.txt"), "sun").expect("written");
    assert!(matches!(
        export(&shelf, foreign.path(), Format::Csv),
        Err(ExportError::NotOurs { .. })
    ));
    // Nor two encodings into one folder.
    assert!(matches!(
        export(&shelf, pieces.path(), Format::Parquet),
        Err(ExportError::NotOurs { .. })
    ));
}

/// The page that people write their queries from lists the columns that are written.
#[test]
fn the_page_lists_every_column_with_its_type() {
    let page = include_str!("../../../sim-desktop/SCHEMA.md");
    for table in tables::ALL {
        let (_, own) = page
            .split_once(&format!("\n## {}\n", table.name))
            .expect("a chapter");
        let own = own.split("\n## ").next().expect("text");
        let listed: Vec<(String, String)> = own
            .lines()
            .filter_map(|line| {
                let mut cells = line.strip_prefix("| ")?.split(" | ");
                Some((cells.next()?.to_owned(), cells.next()?.to_owned()))
            })
            .filter(|(name, _)| name != "column")
            .collect();
        let written: Vec<(String, String)> = table
            .columns
            .iter()
            .map(|column| {
                let null = if column.is_optional { ", null" } else { "" };
                (
                    column.name.to_owned(),
                    format!("{}{null}", column.kind.word()),
                )
            })
            .collect();
        assert_eq!(listed, written, "{}", table.name);
    }
}
