//! Plans that change while the work goes on, told as text: what is done, what the change is, and what every face says then.
//!
//! Every file in `tests/scripts/revision` is run. It begins with a plan; a line that begins with `>` is what somebody does; the lines below
//! it, up to the next, are all that comes of it: what was refused, each joint that stands otherwise than before, what a command prints.
//! `EVENDRAW_REWRITE=1` writes the rows anew: read the difference before you keep it. Our judgement throughout; no source.

#[path = "../scripts/files.rs"]
mod files;
mod language;

use std::fs;
use std::path::PathBuf;

use files::{found, hold};
use language::Script;

fn files() -> Vec<PathBuf> {
    found(&["revision"])
}

#[test]
fn every_script_brings_exactly_its_rows() {
    let files = files();
    assert!(files.len() >= 6, "only {} scripts found", files.len());
    hold(&files, |name, text| Script::parse(name, text).run());
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
