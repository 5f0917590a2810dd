//! A plan whose values are invented says so on every face, and no other plan does; what is wrong is told the gravest first.

use std::path::Path;

fn evendraw(words: &[&str]) -> (u8, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let line = std::iter::once("evendraw").chain(words.iter().copied());
    let status = evendraw::command::run(line.map(Into::into), &mut out, &mut err, false);
    (status, String::from_utf8(out).expect("text"))
}

fn faces(plan: &Path, folder: &Path) -> Vec<(String, String)> {
    let journal = folder.join("a.journal");
    let (plan, journal) = (
        plan.to_str().expect("a plain path"),
        journal.to_str().expect("a plain path"),
    );
    let rehearsed = evendraw(&["rehearse", plan, "--joint", "oil-jet", "--journal", journal]);
    assert_eq!(rehearsed.0, 0, "{}", rehearsed.1);
    let lines: [&[&str]; 9] = [
        &["check", plan],
        &["check", plan, "--json"],
        &["rehearse", plan, "--joint", "oil-jet", "--json"],
        &["record", journal],
        &["record", journal, "--json"],
        &["sheet", journal],
        &["sheet", journal, "--text"],
        &["sheet", "--blank", "--plan", plan],
        &["compare", plan, "--joint", "oil-jet", "--runs", "1"],
    ];
    let mut faces = vec![("rehearse".to_owned(), rehearsed.1)];
    for line in lines {
        faces.push((line.join(" "), evendraw(line).1));
    }
    let text = std::fs::read_to_string(plan).expect("a plan");
    let own = evendraw::plan::Plan::parse(plan, &text).expect("a sound plan");
    let status = evendraw::job::status::Kept::before_work(&own).status();
    faces.push(("tag".to_owned(), evendraw::desk::tag_text(&status)));
    faces
}

#[test]
fn invented_values_are_called_so_on_every_face() {
    let folder = tempfile::tempdir().expect("a folder");
    let plan = folder.path().join("demo.toml");
    std::fs::write(&plan, evendraw::plan::DEMO).expect("written");
    for (face, said) in faces(&plan, folder.path()) {
        if face.ends_with("--json") {
            assert!(!said.is_empty());
            for object in said.lines() {
                let value: serde_json::Value = serde_json::from_str(object).expect("an object");
                assert_eq!(value["demo"], true, "{face}: {object}");
            }
        } else {
            assert!(said.contains(evendraw::words::DEMO), "{face}: {said}");
        }
    }
}

#[test]
fn a_plan_of_ones_own_is_not_called_a_demo() {
    let folder = tempfile::tempdir().expect("a folder");
    let plan = folder.path().join("own.toml");
    let own = evendraw::plan::DEMO.replacen("demo       = true\n", "", 1);
    assert_ne!(own, evendraw::plan::DEMO);
    std::fs::write(&plan, own).expect("written");
    for (face, said) in faces(&plan, folder.path()) {
        assert!(
            !said.contains("DEMO") && !said.contains("\"demo\""),
            "{face}: {said}"
        );
    }
}
