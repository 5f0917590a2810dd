//! Sessions told as text: input rows and the rows they must bring.
//!
//! Every file in `tests/scripts/session` (orders, storage, people) and `tests/scripts/judge` (one curve a reason) is run. A line that begins with `>` is an input; the lines below it, up to the
//! next, are all that comes of it: records, verdicts told, refusals, halts, and what is next. `EVENDRAW_REWRITE=1` writes the
//! rows anew: read the difference before you keep it.

mod curve;
mod files;
mod hand;
mod header;
mod language;

use std::fs;
use std::path::PathBuf;

use evendraw_core::crc::crc32;
use evendraw_core::record::RULES;
use evendraw_core::verdict::Reason;
use files::{folder, found, hold};
use language::Script;

fn files() -> Vec<PathBuf> {
    found(&["session", "judge"])
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
    let files = files();
    assert!(files.len() >= 15, "only {} scripts found", files.len());
    hold(&files, |name, text| Script::parse(name, text).run());
}
