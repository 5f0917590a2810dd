//! The tools that people own, end to end: values typed in a terminal work three joints, and the sheet says what stands behind each
//! fastener.
//!
//! A click wrench through an offset adapter works one joint, a typed display another, five tools a third. The plan is invented.

mod killed;
mod taken_away;

use std::path::Path;
use std::process::Output;

use evendraw_tests::binary::{run, run_typed};
use serde_json::Value;

const PLAN: &str = include_str!("strainer.toml");

/// A folder of its own with the plan in it.
pub(crate) fn folder(name: &str) -> std::path::PathBuf {
    let folder = std::env::temp_dir().join(format!("evendraw-ways-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join("strainer.toml"), PLAN).expect("the plan");
    folder
}

/// `evendraw work strainer.toml --read …` with these lines typed.
fn work(folder: &Path, more: &[&str], typed: &[&str]) -> Output {
    let line = ["work", "strainer.toml", "--read"].iter().chain(more);
    run_typed(folder, line, &format!("{}\n", typed.join("\n")))
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn objects(output: &Output) -> Vec<Value> {
    said(output)
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{line}: {error}")))
        .collect()
}

fn attempts(objects: &[Value]) -> Vec<String> {
    let own = objects
        .iter()
        .filter(|object| object["record"] == "attempt");
    own.map(|own| {
        format!(
            "{}/{} {} {} {} {}",
            own["fastener"].as_str().unwrap_or_default(),
            own["stage"],
            own["evidence"].as_str().unwrap_or_default(),
            own["peak_torque_Nm"],
            own["angle_deg"],
            own["verdict"].as_str().unwrap_or_default(),
        )
    })
    .collect()
}

const FALK: [&str; 2] = ["--answer", "person=R. Falk"];

/// A click wrench: set once a stage, through the offset adapter; then one word a click.
fn cover(folder: &Path) {
    let more = ["--joint", "cover", "--tool", "W1", FALK[0], FALK[1]];
    let typed = [
        "click",
        "24",
        "click",
        "click",
        "click",
        "click",
        "41",
        "40.0 N·m",
        "click",
        "click",
        "click",
        "click",
    ];
    let output = work(folder, &more, &typed);
    let said = said(&output);
    assert_eq!(output.status.code(), Some(0), "{said}");
    // [NAVEDTRA 14315 fig. 3-45] 400/(400 + 100) of 30 and of 50 N·m.
    for line in [
        "Set W1 to 24.00 N·m, which is 30.00 N·m at the fastener, and type it back as set",
        "fastener 4, stage 1: by setting 24.00 N·m, which stands for 30.00 N·m, accepted",
        "? it is to be set to 40.00 N·m, not 41. The same once more if that is so",
        "fastener 4, stage 2: by setting 40.00 N·m, which stands for 50.00 N·m, accepted",
        "cover: 8 of 8 steps done.",
    ] {
        assert!(said.contains(line), "{line}\nis not in\n{said}");
    }
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(
        told.contains("set it first, and type the setting back as set"),
        "{told}"
    );
}

/// A display: comma and point, with a unit and without, a value that makes no sense, one that is rejected.
fn flange(folder: &Path) {
    let more = [
        "--joint", "flange", "--tool", "D1", "--json", FALK[0], FALK[1],
    ];
    let typed = [
        "45,2",
        "33.2 lbf·ft",
        "4.5",
        "45",
        "53",
        "loosened",
        "45",
        "44",
        "91°",
        "90 90",
        "90",
        "90",
        "90",
    ];
    let output = work(folder, &more, &typed);
    let objects = objects(&output);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    // 33.2 lbf·ft is 45.013 N·m. [NIST SP 811, appendix B.8: 1 lbf·ft = 1.355 818 N·m]
    assert_eq!(
        attempts(&objects),
        [
            "1/1 read 45.2 null accepted",
            "2/1 read 45.013 null accepted",
            "3/1 read 45.0 null accepted",
            "4/1 read 53.0 null rejected",
            "4/1 read 45.0 null accepted",
            "1/2 read null 91.0 accepted",
            "2/2 read null 90.0 accepted",
            "3/2 read null 90.0 accepted",
            "4/2 read null 90.0 accepted",
        ]
    );
    let asked: Vec<&str> = objects
        .iter()
        .filter(|object| object["record"] == "question" && object["key"] == "again")
        .filter_map(|object| object["allowed"].as_str())
        .collect();
    assert_eq!(asked, ["4.5", "44"]);
}

/// Five tools in one joint, each taken when it is wanted.
fn body(folder: &Path) {
    let more = ["--joint", "body", "--json", FALK[0], FALK[1]];
    let typed = [
        "tool D1",
        "40.3",
        "tool B1",
        "40",
        "tool W1",
        "40",
        "click",
        "tool D1",
        "40.1",
        "tool G1",
        "92",
        "done",
        "tool spanner",
        "done",
        "180",
    ];
    let output = work(folder, &more, &typed);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let objects = objects(&output);
    assert_eq!(
        attempts(&objects),
        [
            "1/1 read 40.3 null accepted",
            "2/1 read 40.0 null accepted",
            "3/1 setting null null accepted",
            "4/1 read 40.1 null accepted",
            "4/2 read null 92.0 accepted",
            "6/4 observed null 180.0 accepted",
        ]
    );
    let ways: Vec<&str> = objects
        .iter()
        .filter_map(|own| own["way"].as_str())
        .collect();
    assert_eq!(
        ways,
        [
            "read from the display",
            "read by eye",
            "by setting",
            "read from the display",
            "angle read",
            "observed by mark"
        ]
    );
    assert!(
        objects
            .iter()
            .any(|own| own["record"] == "done" && own["manner"] == "by hand")
    );
}

#[test]
fn three_joints_are_worked_and_every_face_says_with_what() {
    let folder = folder("three");
    cover(&folder);
    flange(&folder);
    body(&folder);

    let audit = run(&folder, ["record", "strainer.evj", "--audit"]);
    assert_eq!(audit.status.code(), Some(0));
    assert!(
        said(&audit).contains("23 attempts judged again: 23 agree, 0 differ"),
        "{}",
        said(&audit)
    );
    let counted = "Done: 12 read, 1 observed by mark, 9 by setting, 1 by hand.";
    for (more, name) in [(&[][..], "sheet.html"), (&["--short"][..], "short.html")] {
        let own = ["sheet", "strainer.evj", "-o", name];
        let made = run(&folder, own.iter().chain(more));
        assert_eq!(
            made.status.code(),
            Some(0),
            "{}",
            String::from_utf8_lossy(&made.stderr)
        );
        let page = std::fs::read_to_string(folder.join(name)).expect("the sheet");
        for words in [
            counted,
            "read from the display",
            "read by eye",
            "set to 40.00 N·m",
            "angle read",
            "observed by mark",
            "by hand",
        ] {
            assert!(page.contains(words), "{words} is not in {name}");
        }
        // A rejected try is out of the ordinary; how a value was read is not.
        assert!(page.contains("COMPLETE, WITH 1 EXCEPTION"), "{name}");
    }
    let table = run(&folder, ["record", "strainer.evj", "--csv"]);
    let table = said(&table);
    let header = table.lines().next().unwrap_or_default();
    assert!(header.ends_with(",evidence,put_right_by"), "{header}");
    assert_eq!(table.matches(",setting,\n").count(), 9, "{table}");
}

/// What is weaker than a stage asks for is not taken, whatever is typed; what sends its samples is not typed.
#[test]
fn better_evidence_is_asked_for_by_name() {
    let folder = folder("refused");
    let more = ["--joint", "flange", "--tool", "W1", FALK[0], FALK[1]];
    let output = work(
        &folder,
        &more,
        &[
            "45",
            "click",
            "reason R. Falk: it is all I have",
            "tool D1",
            "45",
        ],
    );
    let said = said(&output);
    assert!(
        said.contains("this stage asks for evidence `reading`, and tool W1 gives `setting` at best: take another. Type `tool ID` (suits: D1, B1)"),
        "{said}"
    );
    assert!(
        said.contains("fastener 1, stage 1: 45.00 N·m, read from the display"),
        "{said}"
    );
    assert!(!said.contains("by setting"), "{said}");
    // Three of four fasteners are open.
    assert_eq!(output.status.code(), Some(1));

    let typed = [
        "4 5",
        "45 N·m 46 N·m",
        "90° 91° 45",
        "fast",
        "45 apples",
        "moved 45",
        "-45",
        "skip",
        "skip R. Falk: no room",
        "fastener 9",
        "fastener 3",
        "45",
    ];
    let more = ["--joint", "flange", "--tool", "D1", FALK[0], FALK[1]];
    let output = work(&folder, &more, &typed);
    let (said, told) = (
        self::said(&output),
        String::from_utf8_lossy(&output.stderr).into_owned(),
    );
    for words in [
        "`46 N·m` is a second torque",
        "`91°` is a second angle",
        "`fast` is no number",
        "`45 apples`",
        "`moved` is said only where nothing may move",
        "a name or reason is needed",
        "there is no fastener `9` here",
    ] {
        assert!(told.contains(words), "{words}\nis not in\n{told}");
    }
    assert!(
        said.contains("fastener 2, stage 1: SKIPPED: R. Falk: no room"),
        "{said}"
    );
    assert!(said.contains("fastener 3, stage 1: 45.00 N·m"), "{said}");
    assert_eq!(said.matches("accepted").count(), 1, "{said}");
}

#[test]
fn a_wrong_line_is_told_and_has_status_2() {
    let folder = folder("wrong");
    for (more, words) in [
        (
            &["--joint", "cover", "--tool", "W9"][..],
            "tools that are read: D1, B1, W1, G1, spanner",
        ),
        (
            &["--joint", "cover", "--lines", "-"][..],
            "cannot be used with",
        ),
        (&["--joint", "lid"][..], "it has: cover, flange, body"),
    ] {
        let output = work(&folder, more, &[]);
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(told.contains(words), "{told}");
    }
    assert!(!folder.join("strainer.evj").exists());
}
