//! Plans that change while the work goes on, told as text: what is done, what the change is, and what every face says then.
//!
//! Every file in `tests/scripts/revision` is run. It begins with a plan; a line that begins with `>` is what somebody does; the lines below
//! it, up to the next, are all that comes of it: what was refused, each joint that stands otherwise than before, what a command prints.
//! `EVENDRAW_REWRITE=1` writes the rows anew: read the difference before you keep it. Our judgement throughout; no source.

mod language;

use std::fs;
use std::path::PathBuf;

use language::Script;

fn files() -> Vec<PathBuf> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("scripts/revision");
    let entries = fs::read_dir(folder).expect("a folder of scripts");
    let mut files: Vec<PathBuf> = entries
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|end| end == "txt"))
        .collect();
    files.sort();
    files
}

#[test]
fn every_script_brings_exactly_its_rows() {
    let rewrite = std::env::var_os("EVENDRAW_REWRITE").is_some();
    let files = files();
    assert!(files.len() >= 6, "only {} scripts found", files.len());
    let mut wrong = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).expect("a script");
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        let ran = Script::parse(&name, &text).run();
        if ran == text {
            continue;
        }
        if rewrite {
            fs::write(&file, &ran).expect("rewriting");
            continue;
        }
        let is_other = |(ran, text): (&str, &str)| ran != text;
        let at = ran.lines().zip(text.lines()).position(is_other);
        let line = at.unwrap_or_else(|| ran.lines().count().min(text.lines().count()));
        wrong.push(format!(
            "{name} line {}:\n  expected: {}\n  came:     {}",
            line + 1,
            text.lines().nth(line).unwrap_or("(end)"),
            ran.lines().nth(line).unwrap_or("(end)"),
        ));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What the scripts are there for: each way in which a change can meet the work stands in one of them, and on the printed sheet.
#[test]
fn every_way_a_change_meets_the_work_has_its_rows() {
    let texts: Vec<String> = files()
        .iter()
        .map(|file| fs::read_to_string(file).expect("a script"))
        .collect();
    for row in [
        "> revise ",
        "> leave ",
        "> redo ",
        "> loosen ",
        "> killed ",
        "> at the adapter ",
        "> taken back ",
        "> evendraw plan revise ",
        "> evendraw check ",
    ] {
        assert!(
            texts.iter().any(|text| text.contains(row)),
            "no script has `{row}`"
        );
    }
    for (number, text) in texts.iter().enumerate() {
        assert!(
            text.contains("\n> sheet\n"),
            "script {number} prints no sheet"
        );
    }
}
