//! The register of tools: taken by plans, kept by journals, asked by recall.

use std::fs;
use std::path::Path;

use evendraw::job::Job;
use evendraw::plan::Plan;
use evendraw::store::Purpose;
use serde_json::Value;

use super::make::{self, Work};
use super::{SMALL, evendraw, objects};

const REGISTER: &str = r#"
[[tool]]
id = "A1"
kind = "adapter"
capacity = "200 N·m"
lowest = "5 N·m"
accuracy = "2 %"

[[tool.calibration]]
date = 2024-01-12
due = 2025-03-01
as_found = "-6 %"
certificate = "K 1231"

[[tool.calibration]]
date = 2023-01-05
due = 2024-01-05
certificate = "K 1180"
"#;

/// A plan of the generated shelf whose tool A1 is the register's.
fn plan(number: u32) -> String {
    let text = make::plan(number, SMALL);
    let (before, rest) = text.split_once("[[tool]]\nid = \"A1\"").expect("A1");
    let (_, after) = rest.split_once("[[tool]]").expect("the next tool");
    format!("{before}tools = [\"A1\"]\n\n[[tool]]{after}")
}

/// Builds 0 to 5, worked to plans that take A1 from the register.
fn shelf(register: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("tools.toml"), register).expect("the register");
    for number in 0..6 {
        let room = folder.path().join(make::name(number));
        fs::create_dir_all(&room).expect("a room");
        let plan = Plan::read("pump.toml", &plan(number), &room).expect("a plan");
        let job = Job::create(&room.join("pump.evj"), plan, Purpose::Job).expect("a job");
        Work::new(job, number).run(number);
    }
    folder
}

fn asked(line: &[&str]) -> Vec<Value> {
    let mut line = line.to_vec();
    line.push("--json");
    let (status, out, err) = evendraw(&line);
    assert_ne!(status, 2, "{err}");
    objects(&out)
}

fn tool<'t>(list: &'t [Value], id: &str) -> &'t Value {
    list.iter().find(|one| one["tool"] == id).expect("the tool")
}

#[test]
fn a_journal_keeps_what_a_tool_of_the_register_was() {
    let folder = shelf(REGISTER);
    let path = folder.path().join(make::name(2)).join("pump.evj");
    fs::remove_file(folder.path().join("tools.toml")).expect("gone");
    let job = Job::open(&path, Purpose::Job).expect("opens without the register");
    let own = job.plan().tool("A1").expect("A1");
    assert_eq!(own.certificate.as_deref(), Some("K 1231"));
    assert_eq!(
        own.due.map(|day| day.to_string()).as_deref(),
        Some("2025-03-01")
    );
    // The text as typed stands first, unchanged: what is told of it is told at its own lines.
    assert!(job.plan().text().starts_with(&plan(2)));
    // And the text as it is kept needs no register.
    Plan::parse("pump.toml", job.plan().text()).expect("stands alone");
}

#[test]
fn a_plans_own_tool_stands_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("tools.toml"), "broken").expect("written");
    let text = make::plan(0, SMALL);
    let plan = Plan::read("pump.toml", &text, folder.path()).expect("nothing of the register");
    assert_eq!(plan.text(), text);
    // Listed in the plan and named besides: the plan's own.
    let both = text.replace("[build]\n", "[build]\ntools = [\"A1\"]\n");
    let plan = Plan::read("pump.toml", &both, folder.path()).expect("its own");
    assert_eq!(plan.text(), both);
}

#[test]
fn a_tool_that_stands_nowhere_is_told_where_it_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let told = |room: &Path, text: &str| {
        let errors = Plan::read("pump.toml", text, room).expect_err("an error");
        let list = errors.list();
        list.iter()
            .map(|one| format!("{}; {}\n", one.what(), one.allowed().unwrap_or_default()))
            .collect::<String>()
    };
    let text = plan(0);
    let lone = told(folder.path(), &text);
    assert!(lone.contains("there is no register"), "{lone}");
    fs::write(
        folder.path().join("tools.toml"),
        REGISTER.replace("\"A1\"", "\"A7\""),
    )
    .expect("written");
    let room = folder.path().join("pump/below");
    fs::create_dir_all(&room).expect("a room");
    let other = told(&room, &text);
    assert!(other.contains("tools there: A7"), "{other}");
    fs::write(
        folder.path().join("tools.toml"),
        REGISTER.replace("-6 %", "6 N·m"),
    )
    .expect("written");
    let wrong = told(&room, &text);
    assert!(
        wrong.contains("line 12: `6 N·m` is not a share of the torque"),
        "{wrong}"
    );
}

#[test]
fn readings_since_are_those_of_the_days_from_the_calibration_on() {
    let folder = shelf(REGISTER);
    let shop = folder.path().to_str().expect("a name");
    let list = asked(&["tools", shop]);
    let own = tool(&list, "A1");
    let all = asked(&["recall", shop, "--tool", "A1"]).len();
    let since = asked(&["recall", shop, "--tool", "A1", "--from", "2024-01-12"]).len();
    let late = asked(&["recall", shop, "--tool", "A1", "--from", "2025-03-02"]).len();
    assert!(all > since && since > 0, "{all} {since}");
    assert_eq!(own["readings"], all);
    assert_eq!(own["readings_since"], since);
    assert_eq!(own["readings_after_due"], late);
    assert_eq!(own["expired"], true);
    assert_eq!(own["as_found_ppm"], -60_000);
    // Used, and in no register.
    assert_eq!(tool(&list, "C4")["registered"], false);
}

#[test]
fn as_found_asks_with_the_error_and_the_days_of_the_register() {
    let folder = shelf(REGISTER);
    let shop = folder.path().to_str().expect("a name");
    let typed = asked(&[
        "recall",
        shop,
        "--tool",
        "A1",
        "--off",
        "-6%",
        "--from",
        "2023-01-05",
        "--to",
        "2024-01-12",
    ]);
    let found = asked(&["recall", shop, "--tool", "A1", "--as-found"]);
    assert_eq!(found, typed);
    assert!(found.iter().any(|line| line["outside"] == "high"));
    for (line, wanted) in [
        (
            vec!["recall", shop, "--tool", "C4", "--as-found"],
            "has no tool C4",
        ),
        (
            vec!["recall", shop, "--tool", "A1", "--tool", "C4", "--as-found"],
            "one --tool",
        ),
        (
            vec!["recall", shop, "--tool", "A1", "--as-found", "--off", "2%"],
            "--off",
        ),
    ] {
        let (status, _, err) = evendraw(&line);
        assert_eq!(status, 2, "{line:?}");
        assert!(err.contains(wanted), "{err}");
    }
}

#[test]
fn whether_a_registered_tool_has_expired_is_the_registers_to_say() {
    let folder = shelf(REGISTER);
    let shop = folder.path().to_str().expect("a name");
    let expired = |register: &str| -> Vec<bool> {
        fs::write(folder.path().join("tools.toml"), register).expect("written");
        asked(&["shelf", shop])
            .iter()
            .map(|row| {
                row["expired_tools"]
                    .as_array()
                    .expect("a list")
                    .contains(&"A1".into())
            })
            .collect()
    };
    let before = expired(REGISTER);
    assert!(before.contains(&true), "{before:?}");
    let again = "\n[[tool.calibration]]\ndate = 2026-01-02\ndue = 2098-01-02\n";
    let after = expired(&format!("{REGISTER}{again}"));
    assert!(!after.contains(&true), "{after:?}");
}

/// Whether a calibration holds that nobody knows of is told in words: a tick would be a promise.
#[test]
fn a_tool_without_a_due_date_has_words_and_no_mark() {
    let dated = make::plan(1, SMALL);
    let own = |text: &str| {
        let plan = Plan::parse("pump.toml", text).expect("a plan");
        let status = evendraw::job::status::Kept::before_work(&plan).status();
        let tool = status.tools.iter().find(|tool| tool.id == "A1");
        let tool = tool.expect("A1");
        (tool.mark(), tool.line())
    };
    let (mark, line) = own(&dated);
    assert_eq!(mark, Some(evendraw::mark::Mark::Accepted));
    assert!(
        line.ends_with("; calibration 2024-01-05, due 2099-01-05"),
        "{line}"
    );
    let (mark, line) = own(&dated.replacen("due = 2099-01-05\n", "", 1));
    assert_eq!(mark, None);
    assert!(
        line.ends_with("; calibration 2024-01-05, no due date"),
        "{line}"
    );
    let undated = "calibrated = 2024-01-05\ndue = 2099-01-05\n";
    let (mark, line) = own(&dated.replacen(undated, "", 1));
    assert_eq!(mark, None);
    assert!(line.ends_with("; calibration unknown"), "{line}");
}
