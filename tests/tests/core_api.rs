//! What the core shows the world, line by line, against the list kept in `tests/data/core_api.txt`: a change of it is seen.
//!
//! `EVENDRAW_REWRITE=1 cargo test -p evendraw-tests --test core_api` writes the list anew; look at the difference before it is kept.
//! The list is of declarations as they stand in the source: what a private module holds is on it only where it is re-exported.

use std::fs;
use std::path::{Path, PathBuf};

use evendraw_tests::emulator::workspace;

fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder)
        .expect("a folder of sources")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    entries.sort();
    for path in entries {
        let stem = path.file_stem().and_then(|stem| stem.to_str());
        if stem == Some("tests") {
            continue;
        }
        if path.is_dir() {
            sources(&path, into);
        } else {
            into.push(path);
        }
    }
}

/// The declarations that begin with `pub `, each on one line, without what follows `{`, `;` or `=`.
fn shown(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut lines = text
        .lines()
        .map(str::trim)
        .take_while(|line| *line != "mod tests {");
    while let Some(line) = lines.next() {
        if !line.starts_with("pub ") {
            continue;
        }
        let mut whole = line.to_owned();
        // A head that is broken over lines ends with its brace, a list of names with its semicolon.
        while !whole.contains(['{', ';', ','])
            || whole.contains('(') && whole.matches('(').count() > whole.matches(')').count()
            || whole.starts_with("pub use") && !whole.ends_with(';')
        {
            let Some(next) = lines.next() else { break };
            whole.push(' ');
            whole.push_str(next);
        }
        let end = if whole.starts_with("pub use") {
            whole.len()
        } else {
            whole.find(['{', ';']).unwrap_or(whole.len())
        };
        found.push(whole[..end].trim_end_matches([' ', ',', ';']).to_owned());
    }
    found
}

#[test]
fn the_core_shows_what_is_listed() {
    let root = workspace();
    let mut files = Vec::new();
    sources(&root.join("core/src"), &mut files);
    let mut now = String::new();
    for file in &files {
        let text = fs::read_to_string(file).expect("a source");
        let name = file
            .strip_prefix(root.join("core/src"))
            .expect("in the core");
        for line in shown(&text) {
            now.push_str(&format!("{}: {line}\n", name.display()));
        }
    }
    assert!(now.lines().count() > 300, "too little was found:\n{now}");
    let kept = root.join("tests/data/core_api.txt");
    if std::env::var_os("EVENDRAW_REWRITE").is_some() {
        fs::write(&kept, &now).expect("written");
    }
    let before = fs::read_to_string(&kept).expect("tests/data/core_api.txt");
    let gone: Vec<&str> = before
        .lines()
        .filter(|line| !now.lines().any(|other| other == *line))
        .collect();
    let new: Vec<&str> = now
        .lines()
        .filter(|line| !before.lines().any(|other| other == *line))
        .collect();
    assert!(
        gone.is_empty() && new.is_empty(),
        "the core shows something else; gone: {gone:#?}, new: {new:#?}; EVENDRAW_REWRITE=1 writes the list anew"
    );
}

/// What is built and tested with is the oldest compiler that the crate says it takes: the toolchain file names it.
#[test]
fn the_compiler_that_is_asked_for_is_the_one_that_is_tested() {
    let read = |name| fs::read_to_string(workspace().join(name)).expect(name);
    let toml = |name| read(name).parse::<toml::Table>().expect(name);
    let asked = toml("Cargo.toml")["workspace"]["package"]["rust-version"].clone();
    let asked = asked.as_str().expect("a text");
    let used = toml("rust-toolchain.toml")["toolchain"]["channel"].clone();
    assert_eq!(used.as_str(), Some(format!("{asked}.0").as_str()));
    assert_eq!(
        toml("core/Cargo.toml")["package"]["rust-version"]["workspace"].as_bool(),
        Some(true)
    );
    let told = format!("Needs Rust {asked}");
    assert!(read("core/README.md").contains(&told), "{told}");
}
