//! Plans with faults, and what is said about them: line, column, caret, what is allowed.
//!
//! Each `.toml` in `fixtures/bad_plans` must be refused with the text beside it; each in `fixtures/doubtful_plans` must be
//! taken with the questions beside it. `EVENDRAW_REWRITE=1 cargo test -p evendraw-tests --test plan_errors` writes the texts
//! anew; look at the difference before it is kept.

use std::fs;
use std::path::{Path, PathBuf};

use evendraw::plan::{Plan, report};

fn plans(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(folder);
    let mut list: Vec<PathBuf> = fs::read_dir(&folder)
        .expect("the folder of fixtures")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .collect();
    list.sort();
    assert!(!list.is_empty(), "no plans in {}", folder.display());
    list
}

fn name(path: &Path) -> String {
    path.file_name()
        .expect("a file name")
        .to_string_lossy()
        .into_owned()
}

fn compare(path: &Path, said: &str) -> Option<String> {
    let beside = path.with_extension("txt");
    if std::env::var_os("EVENDRAW_REWRITE").is_some() {
        fs::write(&beside, said).expect("the text can be written");
        return None;
    }
    let expected = fs::read_to_string(&beside).unwrap_or_default();
    (expected != said).then(|| format!("{}: expected\n{expected}\nbut it says\n{said}", name(path)))
}

#[test]
fn every_bad_plan_is_refused_with_its_places_and_what_is_allowed() {
    let mut wrong = Vec::new();
    for path in plans("bad_plans") {
        let text = fs::read_to_string(&path).expect("a fixture");
        match Plan::parse(&name(&path), &text) {
            Ok(_) => wrong.push(format!("{} is taken", name(&path))),
            Err(errors) => {
                for fault in errors.list() {
                    assert!(fault.line() >= 1 && fault.column() >= 1);
                    assert!(fault.place().end <= text.len(), "{fault}");
                }
                wrong.extend(compare(&path, &errors.report(false)));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

#[test]
fn a_doubtful_plan_is_taken_and_asked_about() {
    let mut wrong = Vec::new();
    for path in plans("doubtful_plans") {
        let text = fs::read_to_string(&path).expect("a fixture");
        match Plan::parse(&name(&path), &text) {
            Err(errors) => wrong.push(errors.report(false)),
            Ok(plan) => {
                assert!(!plan.warnings().is_empty(), "{}", name(&path));
                wrong.extend(compare(&path, &report(plan.warnings(), false)));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

#[test]
fn the_place_of_a_fault_is_its_line_and_column() {
    let text = "[[joint]]\nid = \"a\"\npositions = { 1 = [0, 0] }\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"30 lb\"\n";
    let errors = Plan::parse("a.toml", text).expect_err("a bare pound");
    let [fault] = errors.list() else {
        panic!("{}", errors.report(false));
    };
    assert_eq!((fault.line(), fault.column()), (6, 14));
    assert_eq!(&text[fault.place()], "lb");
}

/// Whatever is cut off or broken, the answer is a plan or errors, never a panic.
#[test]
fn a_plan_cut_at_any_byte_or_with_any_byte_changed_does_no_harm() {
    let text = evendraw::plan::DEMO;
    for end in (0..text.len())
        .filter(|&end| text.is_char_boundary(end))
        .step_by(23)
    {
        let _ = Plan::parse("cut.toml", &text[..end]);
    }
    for at in (0..text.len()).step_by(29) {
        let mut bytes = text.as_bytes().to_vec();
        for other in *b"\"[=]0-\n" {
            bytes[at] = other;
            if let Ok(changed) = std::str::from_utf8(&bytes) {
                let _ = Plan::parse("changed.toml", changed);
            }
        }
    }
}
