//! The journal is deleted, moved or replaced while a joint is worked: it is told once, the work ends, and nothing known is lost.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::Path;
use std::process::Stdio;

use evendraw_tests::binary::{command, run};

use super::FALK;

type Takes = fn(&Path, &Path) -> std::io::Result<()>;

/// Where everything known is then.
const KEPT: &str = "strainer.rescued.evj";

const WAYS: [(&str, Takes); 3] = [
    ("deleted", |path, _| std::fs::remove_file(path)),
    ("moved", |path, aside| std::fs::rename(path, aside)),
    ("replaced", |path, aside| {
        std::fs::copy(path, aside)?;
        std::fs::rename(aside, path)
    }),
];

#[test]
fn a_journal_that_is_taken_away_ends_the_work_and_is_told_once() {
    for (way, take) in WAYS {
        let folder = super::folder(way);
        let line = [
            "work",
            "strainer.toml",
            "--read",
            "--joint",
            "flange",
            "--tool",
            "D1",
        ];
        let mut child = command(&folder, line.iter().chain(&FALK))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        let mut input = child.stdin.take().expect("piped");
        let mut out = BufReader::new(child.stdout.take().expect("piped"));
        input.write_all(b"45\n").expect("typed");
        let mut line = String::new();
        while !line.contains("accepted") {
            line.clear();
            assert_ne!(out.read_line(&mut line).expect("text"), 0, "{way}");
        }
        take(&folder.join("strainer.evj"), &folder.join("aside.evj")).expect("taken");
        // The input stays open: it is the journal that ends this.
        input.write_all(b"46\n").expect("typed");
        let status = child.wait().expect("it ends");
        let mut told = String::new();
        let mut err = child.stderr.take().expect("piped");
        err.read_to_string(&mut told).expect("text");
        assert_eq!(status.code(), Some(2), "{way}: {told}");
        assert_eq!(told.matches("not stored").count(), 1, "{way}: {told}");
        assert!(told.contains(KEPT), "{way}: {told}");
        let listed = run(&folder, ["record", KEPT]);
        let listed = String::from_utf8_lossy(&listed.stdout).into_owned();
        for words in [
            "fastener 1, stage 1: 45.00 N·m",
            "fastener 2, stage 1: 46.00 N·m",
        ] {
            assert!(listed.contains(words), "{way}: {words} is not in {listed}");
        }
        let _ = std::fs::remove_dir_all(&folder);
    }
}
