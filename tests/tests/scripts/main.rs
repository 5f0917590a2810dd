//! Sessions told as text: input rows and the rows they must bring.
//!
//! Every file in `tests/scripts/session` (orders, storage, people) and `tests/scripts/judge` (one curve a reason) is run. A line that begins with `>` is an input; the lines below it, up to the
//! next, are all that comes of it: records, verdicts told, refusals, halts, and what is next. `EVENDRAW_REWRITE=1` writes the
//! rows anew: read the difference before you keep it.

mod curve;
mod hand;
mod header;
mod language;

use std::fs;
use std::path::PathBuf;

use evendraw_core::crc::crc32;
use evendraw_core::record::RULES;
use evendraw_core::verdict::Reason;
use language::Script;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("scripts")
}

fn files() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = ["session", "judge"]
        .into_iter()
        .flat_map(|room| fs::read_dir(folder().join(room)).expect("a folder of scripts"))
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|end| end == "txt"))
        .collect();
    files.sort();
    files
}

/// The rules of a released program never change under their number: what the scripts bring is tied to it.
///
/// `tests/scripts/rules.txt` has a line for each number: the number and the sum of every row that the scripts brought under
/// it. When this fails, either the change was not meant, or `RULES` moves and a line is added; a released line is never
/// edited.
#[test]
fn the_number_of_the_rules_moves_when_the_rows_do() {
    let sum = files().iter().fold(0, |sum, file| {
        let text = fs::read_to_string(file).expect("a script");
        crc32(sum, Script::parse("a script", &text).run().as_bytes())
    });
    let kept = fs::read_to_string(folder().join("rules.txt")).expect("the sums");
    let line = format!("{RULES} {sum:08X}");
    assert!(
        kept.lines().any(|kept| kept == line),
        "the scripts now bring `{line}`; kept are:\n{kept}"
    );
}

/// Every reason that an attempt can be given stands in some script.
#[test]
fn every_reason_has_a_row() {
    let rows: String = files()
        .iter()
        .map(|file| fs::read_to_string(file).expect("a script"))
        .collect();
    let missing: Vec<&str> = Reason::ALL
        .iter()
        .map(|reason| reason.word())
        .filter(|word| {
            !rows.lines().any(|row| {
                row.trim_start().starts_with("record")
                    && row.split(['[', ']', ',', ' ']).any(|part| part == *word)
            })
        })
        .collect();
    assert!(missing.is_empty(), "no script brings {missing:?}");
}

#[test]
fn every_script_brings_exactly_its_rows() {
    let rewrite = std::env::var_os("EVENDRAW_REWRITE").is_some();
    let files = files();
    assert!(files.len() >= 15, "only {} scripts found", files.len());
    let mut wrong = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).expect("a script");
        let name = file
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let ran = Script::parse(&name, &text).run();
        if ran == text {
            continue;
        }
        if rewrite {
            fs::write(&file, &ran).expect("rewriting");
            continue;
        }
        let at = ran
            .lines()
            .zip(text.lines())
            .position(|(ran, text)| ran != text);
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
