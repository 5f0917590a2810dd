//! Signals at any moment of the commands that write: finished or clean, the status right, nothing half written.
#![cfg(unix)]

use std::fs;
use std::os::unix::process::ExitStatusExt as _;
use std::path::Path;
use std::process::{Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use evendraw::store::read;
use evendraw_tests::binary::{command, run};

const SIGNALS: [(&str, i32); 3] = [("HUP", 1), ("INT", 2), ("TERM", 15)];

/// Ends it with a signal after a while; how it ended, and what it said.
fn ended(at: &Path, line: &[&str], signal: &str, after: Duration) -> (ExitStatus, String) {
    let child = command(at, line)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    std::thread::sleep(after);
    let sent = Command::new("kill")
        .args([format!("-{signal}"), child.id().to_string()])
        .stderr(Stdio::null())
        .status();
    sent.expect("kill runs");
    let output = child.wait_with_output().expect("it ends");
    (
        output.status,
        String::from_utf8_lossy(&output.stderr).into_owned(),
    )
}

fn nothing_half_written(at: &Path, sheet: &[u8], what: &str) {
    for file in fs::read_dir(at).expect("a folder") {
        let path = file.expect("a file").path();
        let name = path
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        assert!(
            !name.contains("unfinished") && !name.contains("torn"),
            "{what}: {name}"
        );
        if name.ends_with(".evj") {
            let content = read(&path).unwrap_or_else(|error| panic!("{what}: {error}"));
            assert!(content.damage.is_empty(), "{what}: {:?}", content.damage);
        }
        if name.ends_with(".html") {
            assert!(
                fs::read(&path).expect("bytes") == sheet,
                "{what}: half a sheet"
            );
        }
        if name.ends_with(".svg") {
            assert!(
                fs::read(&path).expect("bytes").ends_with(b"</svg>"),
                "{what}: half a picture"
            );
        }
    }
}

#[test]
fn a_signal_at_any_moment_leaves_nothing_half_written_and_the_status_says_why() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    // The shorter of two: what else the machine does makes one long, and then every later one would end before its moment.
    let long = ["whole.evj", "again.evj"].map(|journal| {
        let began = Instant::now();
        let whole = run(at, ["rehearse", "--joint", "head", "--journal", journal]);
        assert!(whole.status.code().is_some_and(|code| code < 2));
        began.elapsed()
    });
    let long = long[0].min(long[1]);
    let printed = run(at, ["sheet", "whole.evj", "-o", "sheet.html"]);
    assert_eq!(printed.status.code(), Some(0));
    let sheet = fs::read(at.join("sheet.html")).expect("bytes");
    let mut cut = 0;
    for round in 0_u32..6 {
        for (signal, number) in SIGNALS {
            let journal = format!("{round}-{signal}.evj");
            let lines: [&[&str]; 2] = [
                &[
                    "rehearse",
                    "--joint",
                    "head",
                    "--journal",
                    &journal,
                    "--svg",
                    "pictures",
                    "--force",
                ],
                &["sheet", "whole.evj", "-o", "sheet.html", "--force"],
            ];
            for line in lines {
                let share = f64::from(round) / 6.0 + f64::from(number) / 200.0;
                let (status, said) = ended(at, line, signal, long.mul_f64(share));
                let what = format!("{line:?} and {signal} after {share:.2}");
                match (status.signal(), status.code()) {
                    (Some(by), None) => {
                        cut += 1;
                        assert_eq!(by, number, "{what}");
                    }
                    (None, Some(code)) => assert!(code < 2, "{what}: {code} {said}"),
                    other => panic!("{what}: {other:?}"),
                }
                assert!(!said.contains("panicked"), "{what}: {said}");
                nothing_half_written(at, &sheet, &what);
            }
            if let Ok(pictures) = fs::read_dir(at.join("pictures")) {
                assert!(
                    pictures
                        .flatten()
                        .all(|file| { fs::read(file.path()).expect("bytes").ends_with(b"</svg>") })
                );
            }
        }
    }
    assert!(cut > 6, "only {cut} were cut short");
}

/// `nohup` has a program ignore the closed terminal; that stays so.
#[cfg(target_os = "linux")]
#[test]
fn a_program_that_was_made_to_ignore_a_signal_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let program = command(folder.path(), ["--version"])
        .get_program()
        .to_owned();
    let script = "trap '' HUP; \"$EVENDRAW\" rehearse --joint head --journal a.evj & sleep 0.05; kill -HUP $!; wait $!";
    let status = Command::new("sh")
        .args(["-c", script])
        .current_dir(folder.path())
        .env("EVENDRAW", program)
        .stdout(Stdio::null())
        .status()
        .expect("a shell");
    assert!(status.code().is_some_and(|code| code < 2), "{status:?}");
}

/// A reader that leaves is no failure: the work that is kept stays, and the status is a shell's for a closed pipe.
#[test]
fn a_reader_that_leaves_stops_a_rehearsal_and_harms_no_journal() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let mut child = command(at, ["rehearse", "--journal", "a.evj", "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(141));
    assert!(output.stderr.is_empty());
    let content = read(&at.join("a.evj")).expect("a journal");
    assert!(content.damage.is_empty());
}
