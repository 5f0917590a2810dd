//! The power goes while values are typed: what was announced stands, and work goes on where it stood.

use std::io::{BufRead as _, BufReader, Write as _};
use std::process::Stdio;

use evendraw_tests::binary::{command, run};

use super::{FALK, folder};

/// Killed after each attempt that was told, eight times in a joint of a click wrench, and once while it waits.
#[test]
fn no_verdict_that_was_told_is_lost() {
    let folder = folder("killed");
    let mut told = 0;
    for round in 0..9 {
        let more = [
            "work",
            "strainer.toml",
            "--joint",
            "cover",
            "--read",
            "--tool",
            "W1",
            FALK[0],
            FALK[1],
        ];
        let mut child = command(&folder, more)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("evendraw starts");
        let mut input = child.stdin.take().expect("piped");
        let output = BufReader::new(child.stdout.take().expect("piped"));
        for line in output.lines() {
            let line = line.expect("text");
            let typed = if line.contains("Set W1 to 24") {
                "24"
            } else if line.contains("Set W1 to 40") {
                "40"
            } else if line.contains("`click` when it clicks") {
                "click"
            } else {
                ""
            };
            if line.contains("accepted") {
                told += 1;
                break;
            }
            if round == 4 && typed == "click" {
                break;
            }
            // It may be gone already.
            let _ = writeln!(input, "{typed}");
        }
        child.kill().expect("it runs");
        child.wait().expect("it ends");
    }
    assert_eq!(told, 8);
    let listed = run(&folder, ["record", "strainer.evj"]);
    let listed = String::from_utf8_lossy(&listed.stdout).into_owned();
    assert_eq!(listed.matches("by setting").count(), 8, "{listed}");
    let checked = run(&folder, ["check", "strainer.toml"]);
    assert_eq!(checked.status.code(), Some(0));
}
