//! Outputs on the command line: nothing that lasts is written over, and what is written is whole or not there.

use std::fs;
use std::path::Path;

use evendraw_tests::binary::{command, run};

const TRACE: &str = "# mine\ntime_s,torque_Nm,angle_deg\n0.000,0.000,0.000\n";

/// A folder with everything in it that lasts, and the names of it.
fn bay() -> (tempfile::TempDir, Vec<&'static str>) {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let rehearsed = run(at, ["rehearse", "--joint", "oil-jet", "--journal", "a.evj"]);
    assert!(rehearsed.status.code().is_some_and(|code| code < 2));
    fs::write(at.join("plan.toml"), evendraw::plan::DEMO).expect("written");
    fs::write(at.join("plan.txt"), evendraw::plan::DEMO).expect("written");
    fs::write(at.join("trace.csv"), TRACE).expect("written");
    fs::write(
        at.join("notes.html"),
        "<!DOCTYPE html><title>my own</title>",
    )
    .expect("written");
    fs::hard_link(at.join("a.evj"), at.join("linked.html")).expect("a second name");
    fs::copy(at.join("a.evj"), at.join("other.evj")).expect("a copy");
    // A journal whose first frame is damaged is one still.
    let mut bytes = fs::read(at.join("a.evj")).expect("bytes");
    bytes[3] ^= 1;
    fs::write(at.join("damaged.evj"), bytes).expect("written");
    let curve = fs::read_dir(at.join("a.evj.traces"))
        .expect("curves")
        .next()
        .expect("a curve")
        .expect("a file");
    fs::rename(curve.path(), at.join("a.evj.traces/0-1.csv")).expect("renamed");
    #[cfg(unix)]
    std::os::unix::fs::symlink("plan.toml", at.join("link.html")).expect("a link");
    let mut names = vec![
        "a.evj",
        "plan.toml",
        "plan.txt",
        "trace.csv",
        "notes.html",
        "linked.html",
        "other.evj",
        "damaged.evj",
        "a.evj.traces/0-1.csv",
    ];
    if cfg!(unix) {
        names.push("link.html");
    }
    (folder, names)
}

#[test]
fn nothing_that_lasts_is_written_over_with_or_without_force() {
    let (folder, names) = bay();
    let at = folder.path();
    let outputs: [&[&str]; 6] = [
        &["sheet", "a.evj", "-o"],
        &["sheet", "a.evj", "--text", "-o"],
        &["sheet", "--blank", "--plan", "plan.toml", "-o"],
        &["schema", "-o"],
        &["pattern", "--circle", "6", "--svg"],
        &[
            "compare", "--joint", "oil-jet", "--runs", "1", "--passes", "1", "--svg",
        ],
    ];
    for name in names {
        let before = fs::read(at.join(name)).expect("bytes");
        for output in outputs {
            for force in [&["--force"][..], &[]] {
                let line = output
                    .iter()
                    .copied()
                    .chain([name])
                    .chain(force.iter().copied());
                let ran = run(at, line);
                let said = String::from_utf8_lossy(&ran.stderr).into_owned();
                assert_eq!(
                    ran.status.code(),
                    Some(2),
                    "{output:?} {name} {force:?}: {said}"
                );
                assert!(
                    said.contains(name) && said.contains("never written over"),
                    "{said}"
                );
                assert_eq!(
                    fs::read(at.join(name)).expect("bytes"),
                    before,
                    "{output:?} {name}"
                );
            }
        }
    }
    for output in outputs {
        let ran = run(at, output.iter().copied().chain(["a.evj.traces"]));
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert_eq!(ran.status.code(), Some(2));
        assert!(said.contains("a folder"), "{said}");
    }
    for folder in ["--svg", "--trace"] {
        let ran = run(
            at,
            ["rehearse", "--joint", "oil-jet", folder, "a.evj.traces"],
        );
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert_eq!(ran.status.code(), Some(2), "{said}");
        assert!(said.contains("curves of a journal"), "{said}");
    }
    no_strays(at);
}

#[test]
fn what_this_program_wrote_is_replaced_when_asked_and_a_link_stays_a_link() {
    let (folder, _) = bay();
    let at = folder.path();
    let lines: [&[&str]; 4] = [
        &["sheet", "a.evj", "-o", "out"],
        &["sheet", "a.evj", "--text", "-o", "out"],
        &["pattern", "--circle", "6", "--svg", "out"],
        &["schema", "-o", "out"],
    ];
    // Each over the one before.
    for (number, line) in lines.iter().enumerate() {
        if number > 0 {
            let before = fs::read(at.join("out")).expect("bytes");
            let ran = run(at, line.iter().copied());
            let said = String::from_utf8_lossy(&ran.stderr).into_owned();
            assert_eq!(ran.status.code(), Some(2), "{line:?}");
            assert!(said.contains("--force"), "{said}");
            assert_eq!(fs::read(at.join("out")).expect("bytes"), before);
        }
        let ran = run(at, line.iter().copied().chain(["--force"]));
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert_eq!(ran.status.code(), Some(0), "{line:?}: {said}");
    }
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("out", at.join("front.json")).expect("a link");
        let ran = run(at, ["schema", "-o", "front.json", "--force"]);
        assert_eq!(ran.status.code(), Some(0));
        assert!(at.join("front.json").is_symlink() && !at.join("out").is_symlink());
        let ran = run(at, ["schema", "-o", "/dev/null"]);
        assert_eq!(ran.status.code(), Some(0), "a device is written into");
    }
    // Pictures and traces of a rehearsal.
    let pictures = [
        "rehearse", "--joint", "oil-jet", "--svg", "look", "--trace", "look",
    ];
    let status = |line: &[&str]| run(at, line.iter().copied()).status.code();
    assert!(status(&pictures).is_some_and(|code| code < 2));
    assert_eq!(status(&pictures), Some(2));
    let again = [&pictures[..], &["--force"]].concat();
    assert!(status(&again).is_some_and(|code| code < 2));
    fs::write(at.join("look/oil-jet-map.svg"), "<svg>drawn by hand</svg>").expect("written");
    assert_eq!(status(&again), Some(2));
    no_strays(at);
}

/// A file may be no longer than this allows; the write that goes beyond it fails as on a full disk.
#[cfg(unix)]
fn with_little_room(at: &Path, line: &str) -> std::process::Output {
    let mut shell = command(at, ["--version"]);
    let program = shell.get_program().to_owned();
    shell = std::process::Command::new("sh");
    shell.current_dir(at).env("EVENDRAW", program).args([
        "-c",
        &format!("trap '' XFSZ; ulimit -f 1; exec \"$EVENDRAW\" {line}"),
    ]);
    shell.output().expect("a shell")
}

#[cfg(unix)]
#[test]
fn a_full_disk_leaves_the_old_sheet_whole_and_no_stray_file() {
    let (folder, _) = bay();
    let at = folder.path();
    assert_eq!(
        run(at, ["sheet", "a.evj", "-o", "a.html"]).status.code(),
        Some(0)
    );
    let before = fs::read(at.join("a.html")).expect("bytes");
    for line in [
        "sheet a.evj -o a.html --force",
        "sheet a.evj -o new.html",
        "schema -o new.json",
        "rehearse --journal new.evj",
    ] {
        let ran = with_little_room(at, line);
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert_eq!(ran.status.code(), Some(2), "{line}: {said}");
        assert!(said.contains("cannot"), "{said}");
    }
    assert_eq!(fs::read(at.join("a.html")).expect("bytes"), before);
    for name in ["new.html", "new.json", "new.evj"] {
        assert!(!at.join(name).exists(), "{name}");
    }
    no_strays(at);
}

fn no_strays(at: &Path) {
    for file in fs::read_dir(at).expect("a folder") {
        let name = file.expect("a file").file_name();
        assert!(!name.to_string_lossy().contains("unfinished"), "{name:?}");
    }
}

/// A journal without its first frame is listed, said to be what its records say, and never complete or gone on with as a job.
#[test]
fn a_journal_whose_beginning_is_damaged_is_listed_and_said_to_be_what_it_is() {
    let (folder, _) = bay();
    let at = folder.path();
    let count = |name: &str| {
        let ran = run(at, ["record", name, "--csv"]);
        String::from_utf8(ran.stdout)
            .expect("UTF-8")
            .lines()
            .count()
    };
    assert_eq!(count("damaged.evj"), count("a.evj"));
    let ran = run(at, ["record", "damaged.evj"]);
    assert_eq!(ran.status.code(), Some(1));
    let (out, said) = (
        String::from_utf8_lossy(&ran.stdout).into_owned(),
        String::from_utf8_lossy(&ran.stderr).into_owned(),
    );
    assert!(out.contains("DAMAGED: bytes 0 to"), "{out}");
    assert!(
        said.contains("this is a rehearsal") && said.contains("plan in this journal is lost"),
        "{said}"
    );
    let sheet = run(
        at,
        ["sheet", "damaged.evj", "--plan", "plan.toml", "--text"],
    );
    let sheet = String::from_utf8_lossy(&sheet.stdout).into_owned();
    assert!(sheet.starts_with("*** REHEARSAL"), "{sheet}");
    let words: Vec<&str> = sheet.split_whitespace().collect();
    assert!(words.join(" ").contains("first entry is lost"), "{sheet}");
    let typed = ["--joint", "oil-jet", "--fastener", "1", "--stage", "1"];
    let ran = run(at, ["paper", "damaged.evj"].into_iter().chain(typed));
    assert_eq!(ran.status.code(), Some(2));
}
