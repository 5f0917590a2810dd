//! Scripts as files: found, run, and held to the rows that stand in them.
//!
//! Knows nothing of what a row means.

use std::fs;
use std::path::PathBuf;

/// Where all scripts are.
pub(crate) fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("scripts")
}

/// The scripts of these rooms of the folder, in order.
pub(crate) fn found(rooms: &[&str]) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = rooms
        .iter()
        .flat_map(|room| fs::read_dir(folder().join(room)).expect("a folder of scripts"))
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|end| end == "txt"))
        .collect();
    files.sort();
    files
}

/// Every script, by its name and text, brings exactly its rows; with `EVENDRAW_REWRITE=1` they are written anew.
pub(crate) fn hold(files: &[PathBuf], run: impl Fn(&str, &str) -> String) {
    let rewrite = std::env::var_os("EVENDRAW_REWRITE").is_some();
    let mut wrong = Vec::new();
    for file in files {
        let text = fs::read_to_string(file).expect("a script");
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        let ran = run(&name, &text);
        if ran == text {
            continue;
        }
        if rewrite {
            fs::write(file, &ran).expect("rewriting");
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
