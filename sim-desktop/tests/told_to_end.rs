//! Every command is told to end at moments of a seed's choice: it is finished or clean, its status says why, nothing is half written.
//!
//! The commands are those that the program itself lists, so that none is forgotten. Knows nothing of what they do.
#![cfg(unix)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write as _;
use std::os::unix::process::ExitStatusExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant as Clock};

use evendraw::store;
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

const PLAN: &str = r#"
[build]
title = "Harbour pump 7"

[[tool]]
id = "S1"
kind = "stream"
title = "in-line sensor"
capacity = "200 N·m"

[[tool]]
id = "W2"
kind = "click"
capacity = "60 N·m"

[[part]]
name = "gasket"
on_order = true

[[joint]]
id = "cover"
title = "Discharge cover"
thread = "M10x1.5"
class = "8.8"
positions = { 1 = [0, 60], 2 = [57, 19], 3 = [35, -49], 4 = [-35, -49], 5 = [-57, 19] }
order = "cross"

[[joint.stage]]
do = "tighten"
torque = "15 N·m"
within = "±10 %"

[[joint.stage]]
do = "tighten"
torque = "40 N·m"
within = "±10 %"
"#;

/// What is run: every command, with what it is given; a command that waits for lines gets an open input.
const LINES: &[&[&str]] = &[
    &["check", "plan.toml"],
    &["check", "a.evj", "--json"],
    &["plan", "diff", "a.evj", "second.toml"],
    &["plan", "revise", "a.evj", "second.toml"],
    &[
        "rehearse",
        "plan.toml",
        "--journal",
        "new.evj",
        "--svg",
        "pictures",
    ],
    &["rehearse", "plan.toml", "--json"],
    &[
        "judge",
        "--plan",
        "plan.toml",
        "--joint",
        "cover",
        "pull.csv",
    ],
    &[
        "work",
        "plan.toml",
        "--joint",
        "cover",
        "--lines",
        "-",
        "--answer",
        "person=R. Falk",
    ],
    &[
        "work",
        "plan.toml",
        "--joint",
        "cover",
        "--read",
        "--tool",
        "W2",
        "--answer",
        "person=R. Falk",
    ],
    &["record", "a.evj", "--audit"],
    &["record", "a.evj", "--csv"],
    &["sheet", "a.evj", "-o", "sheet.html", "--force"],
    &[
        "paper",
        "a.evj",
        "--joint",
        "cover",
        "--fastener",
        "1",
        "--stage",
        "1",
        "--name",
        "R. Falk",
    ],
    &[
        "say",
        "a.evj",
        "part",
        "gasket",
        "ordered",
        "--said",
        "harbour stores",
    ],
    &["say", "a.evj", "remind", "order two clips"],
    &["parts", "plan.toml", "-o", "parts.html"],
    &["shelf", "shop"],
    &["recall", "shop", "--thread", "M10x1.5", "-o", "recall.html"],
    &["tools", "shop"],
    &["history", "shop"],
    &["export", "shop", "--csv", "tables"],
    &["convert", "33.2 lbf·ft"],
    &["pattern", "--circle", "12", "--svg", "pattern.svg"],
    &[
        "compare",
        "plan.toml",
        "--joint",
        "cover",
        "--runs",
        "60",
        "--svg",
        "compared.svg",
    ],
    &[
        "setting", "--torque", "90 N·m", "--lever", "300 mm", "--offset", "25 mm",
    ],
    &[
        "preload", "--thread", "M10x1.5", "--class", "10.9", "--torque", "60 N·m", "--k", "0.18",
    ],
    &[
        "stretch", "--thread", "M12", "--class", "10.9", "--grip", "60 mm", "--load", "40 kN",
    ],
    &[
        "engagement",
        "--thread",
        "M10",
        "--class",
        "8.8",
        "--into",
        "aluminium",
    ],
    &[
        "slope", "--thread", "M10", "--class", "8.8", "--grip", "40 mm", "pull.csv",
    ],
    &["tonight", "plan.toml"],
    &["recent"],
    &["twist", "16 x 250"],
    &["thread", "M8", "5/16-18"],
    &["schema", "-o", "schema.json"],
    &["guide"],
    &["adapter", "port", "send", "plan.toml"],
    &[
        "adapter",
        "port",
        "pull",
        "pulled.evj",
        "--plan",
        "plan.toml",
    ],
    &["adapter", "port", "watch"],
];

/// Signals, by the name that `kill` takes. A closed pipe is told by writing, not by its signal, which is nothing to this program.
const SIGNALS: [(&str, i32); 4] = [("INT", 2), ("TERM", 15), ("HUP", 1), ("PIPE", 13)];

/// Moments of each command and signal, unless `EVENDRAW_MOMENTS` says how many.
const MOMENTS: u64 = 1;

/// How long a command that waits is left alone at most.
const LONGEST: Duration = Duration::from_millis(1_500);

fn prepared(at: &Path) {
    let put = |name: &str, text: &str| fs::write(at.join(name), text).expect("a file");
    put("plan.toml", PLAN);
    put("second.toml", &PLAN.replace("40 N·m", "42 N·m"));
    let mut pull = "time_s,torque_Nm,angle_deg\n".to_owned();
    for step in 0..900_u32 {
        let part = f64::from(step.saturating_sub(150).min(500)) / 500.0;
        let torque = if step > 700 { 0.0 } else { 15.0 * part };
        pull += &format!(
            "{:.3},{torque:.3},{:.3}\n",
            f64::from(step) * 0.002,
            part * 12.5
        );
    }
    put("pull.csv", &pull);
    fs::create_dir(at.join("shop")).expect("a folder");
    put(
        "shop/tools.toml",
        "[[tool]]\nid = \"W2\"\nkind = \"click\"\ncapacity = \"60 N·m\"\n",
    );
    for journal in ["a.evj", "shop/seven.evj"] {
        let plan = evendraw::plan::Plan::parse("plan.toml", PLAN).expect("a plan");
        let job = evendraw::job::Job::create(&at.join(journal), plan, store::Purpose::Job);
        drop(job.expect("a job"));
    }
    fs::copy(at.join("plan.toml"), at.join("shop/seven.toml")).expect("a copy");
}

/// Every file below a folder, with its bytes.
fn files(at: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![at.to_owned()];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(&folder).expect("a folder").flatten() {
            let kind = entry.file_type().expect("a kind");
            if kind.is_dir() {
                open.push(entry.path());
            } else if kind.is_file() {
                let name = entry.path().strip_prefix(at).expect("below").to_owned();
                found.insert(name, fs::read(entry.path()).expect("bytes"));
            }
        }
    }
    found
}

fn begin(at: &Path, line: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_evendraw"))
        .args(line)
        .current_dir(at)
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .env("NO_COLOR", "1")
        .env("XDG_STATE_HOME", at.join("state"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts")
}

/// Runs it undisturbed, as far as it ends by itself: how long it took, and its status.
fn undisturbed(at: &Path, line: &[&str]) -> (Duration, Option<i32>) {
    let mut child = begin(at, line);
    let began = Clock::now();
    // Nobody takes what it prints: a pipe holds more than any of these prints before it is read below.
    let (out, err) = (child.stdout.take(), child.stderr.take());
    let reader = thread::spawn(move || out.map(std::io::read_to_string));
    let complains = thread::spawn(move || err.map(std::io::read_to_string));
    loop {
        if let Some(status) = child.try_wait().expect("a child") {
            let took = began.elapsed();
            drop(reader.join());
            let said = complains.join().expect("a reader");
            assert!(
                status.code().is_some_and(|code| code < 2),
                "{line:?}: {said:?}"
            );
            return (took, status.code());
        }
        if began.elapsed() > LONGEST {
            child.kill().expect("a child");
            child.wait().expect("a child");
            return (LONGEST, None);
        }
        thread::sleep(Duration::from_millis(2));
    }
}

/// What stands in the folder is what was there, or whole.
fn nothing_half_written(
    at: &Path,
    before: &BTreeMap<PathBuf, Vec<u8>>,
    whole: &BTreeMap<PathBuf, Vec<u8>>,
    what: &str,
) {
    for (name, bytes) in files(at) {
        let shown = name.display().to_string();
        assert!(
            !shown.contains("unfinished") && !shown.contains("torn"),
            "{what}: {shown} is left"
        );
        let ends = |end: &str| bytes.trim_ascii_end().ends_with(end.as_bytes());
        let is_whole = match name.extension().and_then(|ending| ending.to_str()) {
            Some("evj") => {
                let content =
                    store::read(&at.join(&name)).unwrap_or_else(|error| panic!("{what}: {error}"));
                content.damage.is_empty() && content.has_beginning() && content.plan().is_some()
            }
            // It names the folder that it is of.
            _ if name.ends_with("recent.toml") => {
                ends("\"")
                    && toml::from_str::<toml::Table>(&String::from_utf8_lossy(&bytes)).is_ok()
            }
            Some("html") => ends("</html>"),
            Some("svg") => ends("</svg>"),
            _ => {
                before.get(&name) == Some(&bytes)
                    || whole.get(&name).is_none_or(|whole| *whole == bytes)
            }
        };
        assert!(
            is_whole,
            "{what}: {shown} is half written, {} bytes",
            bytes.len()
        );
    }
    for name in before.keys() {
        assert!(at.join(name).exists(), "{what}: {} is gone", name.display());
    }
}

#[test]
fn every_command_ends_when_it_is_told_to_and_leaves_nothing_half_written() {
    let help = Command::new(env!("CARGO_BIN_EXE_evendraw"))
        .arg("--help")
        .output()
        .expect("it starts");
    let help = String::from_utf8(help.stdout).expect("text");
    let listed: BTreeSet<&str> = help
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    let run: BTreeSet<&str> = LINES
        .iter()
        .filter_map(|line| line.first().copied())
        .collect();
    assert_eq!(run, listed, "a command without a line here");

    let number = |name: &str| std::env::var(name).ok()?.parse::<u64>().ok();
    let moments = number("EVENDRAW_MOMENTS").unwrap_or(MOMENTS);
    let mut random = ChaCha8Rng::seed_from_u64(number("EVENDRAW_MOMENTS_SEED").unwrap_or(15));
    let (mut ended, mut finished) = (0, 0);
    for line in LINES {
        let model = tempfile::tempdir().expect("a folder");
        prepared(model.path());
        let listens = line.first() == Some(&"adapter");
        let before = files(model.path());
        let silent = |at: &Path| {
            // An adapter that says nothing.
            listens
                .then(|| std::os::unix::net::UnixListener::bind(at.join("port")).expect("a socket"))
        };
        let (long, code) = {
            let _adapter = silent(model.path());
            undisturbed(model.path(), line)
        };
        let whole = files(model.path());
        for (signal, number) in SIGNALS {
            for _ in 0..moments {
                let folder = tempfile::tempdir().expect("a folder");
                let at = folder.path();
                prepared(at);
                let _adapter = silent(at);
                let after = long.mul_f64(random.random_range(0.0..1.1)).min(LONGEST);
                let what = format!("{line:?} and {signal} after {after:?}");
                let mut child = begin(at, line);
                if line.first() == Some(&"work")
                    && let Some(input) = &mut child.stdin
                {
                    let _ = input.write_all(b"time_s,torque_Nm\n0.0,0.0\n0.1,0.0\n");
                }
                thread::sleep(after);
                let sent = Command::new("kill")
                    .args([format!("-{signal}"), child.id().to_string()])
                    .stderr(Stdio::null())
                    .status();
                sent.expect("kill runs");
                if signal == "PIPE" {
                    // The reader leaves; one that only waits is then told to end as well.
                    drop(child.stdout.take());
                    drop(child.stdin.take());
                    let until = Clock::now();
                    while child.try_wait().expect("a child").is_none() {
                        if until.elapsed() > LONGEST {
                            assert!(code.is_none(), "{what}: it goes on and on");
                            let _ = Command::new("kill")
                                .args(["-TERM", &child.id().to_string()])
                                .status();
                            break;
                        }
                        thread::sleep(Duration::from_millis(2));
                    }
                }
                let told = Clock::now();
                let output = child.wait_with_output().expect("it ends");
                assert!(
                    told.elapsed() < Duration::from_secs(8),
                    "{what}: it ended after {:?}",
                    told.elapsed()
                );
                let said = String::from_utf8_lossy(&output.stderr);
                assert!(!said.contains("panicked"), "{what}: {said}");
                match (output.status.signal(), output.status.code()) {
                    (Some(by), None) => {
                        assert!(
                            by == number || (signal == "PIPE" && by == 15),
                            "{what}: ended by {by}"
                        );
                        ended += 1;
                    }
                    (None, Some(code)) => {
                        assert!(
                            code < 2
                                || (signal == "PIPE" && code == 141)
                                // Nobody answers at this port, which was found out first.
                                || (listens && said.contains("no answer")),
                            "{what}: {code} {said}"
                        );
                        finished += 1;
                    }
                    other => panic!("{what}: {other:?}"),
                }
                nothing_half_written(at, &before, &whole, &what);
            }
        }
    }
    println!("{ended} ended by a signal, {finished} finished");
    assert!(ended > 10, "hardly one was met at work: {ended}");
}
