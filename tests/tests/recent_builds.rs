//! Builds worked in a terminal stand on the list of recent ones, as those opened at the desk do.

use std::fs;

use evendraw_tests::binary::{run, run_typed};

const PLAN: &str = "[build]\ntitle = \"Winch\"\nunit = \"winch 3\"\n[[tool]]\nid = \"D1\"\nkind = \"display\"\ncapacity = \"50 N·m\"\n\
    [[joint]]\nid = \"lid\"\npositions = { 1 = [0, 0], 2 = [40, 0] }\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\n";

#[test]
fn a_build_worked_in_a_terminal_is_on_the_list() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("winch.toml"), PLAN).unwrap();
    let listed = || {
        let output = run(at, ["recent"]);
        assert_eq!(output.status.code(), Some(0));
        String::from_utf8(output.stdout).unwrap()
    };
    assert!(listed().contains("no build was opened or worked yet"));
    // What does not begin is not on it.
    let work = ["work", "winch.toml", "--read", "--tool", "D1"];
    let typo = run(at, work.iter().chain(&["--joint", "foot"]));
    assert_eq!(typo.status.code(), Some(2));
    assert!(listed().contains("no build was opened or worked yet"));
    let answers = ["--answer", "person=R. Falk"];
    let worked = run_typed(at, work.iter().chain(&answers), "20.1\n");
    assert_eq!(worked.status.code(), Some(1), "one of two is open");
    let list = listed();
    assert!(list.starts_with("Winch; winch 3\n    worked "), "{list}");
    assert!(list.contains("; open, 50 %; next: "), "{list}");
    assert!(list.contains("winch.toml"), "{list}");
    // Once more is not twice.
    run_typed(at, work.iter().chain(&answers), "");
    assert!(listed().contains("1 build"), "{}", listed());
    // A journal that lies elsewhere is not what the list would read.
    fs::write(at.join("other.toml"), PLAN.replace("Winch", "Other")).unwrap();
    let line = [
        "work",
        "other.toml",
        "--read",
        "--tool",
        "D1",
        "--journal",
        "far.evj",
    ];
    run_typed(at, line.iter().chain(&answers), "20.1\n");
    assert!(!listed().contains("Other"), "{}", listed());
}
