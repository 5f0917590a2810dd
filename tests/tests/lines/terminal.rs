//! In a terminal: `evendraw work --lines`, as a shell runs it.

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::time::{Duration, Instant as Clock};

use evendraw::plan::Plan;
use evendraw_core::record::Attempt;
use evendraw_core::tracker::Cue;
use evendraw_core::verdict::Verdict;
use evendraw_tests::binary::command;
use serde_json::Value;

use crate::instrument::{Instrument, Print, Pull};
use crate::{POUND_FEET, TRACE, alone, attempts, reach, station};

/// Fastener, stage and verdict of an attempt that was announced or kept.
pub(crate) type Verdicted = (String, u64, String);

/// A run of the command whose lines are read as they come.
pub(crate) struct Run {
    pub(crate) child: Child,
    pub(crate) said: Receiver<Value>,
}

impl Run {
    pub(crate) fn start(folder: &Path, more: &[&str]) -> Self {
        let line = ["work", "cover.toml", "--json", "--answer", "person=R. Falk"];
        let of: Command = command(folder, line.iter().chain(more));
        // Whoever holds the instrument's end of the pseudo terminal never sees the plug pulled: the shell lets go of it.
        let close = "exec 3>&- 4>&- 5>&- 6>&- 7>&- 8>&- 9>&-; exec \"$0\" \"$@\"";
        let mut command = Command::new("sh");
        let own = command.args(["-c", close]).arg(of.get_program());
        own.args(of.get_args()).current_dir(folder);
        for (name, value) in of.get_envs() {
            match value {
                Some(value) => command.env(name, value),
                None => command.env_remove(name),
            };
        }
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("evendraw starts");
        let out = child.stdout.take().expect("a pipe");
        let (told, said) = mpsc::channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines() {
                let Ok(line) = line else { return };
                if let Ok(value) = serde_json::from_str(&line)
                    && told.send(value).is_err()
                {
                    return;
                }
            }
        });
        Self { child, said }
    }

    /// How it ended; one that does not end is killed, and has no status.
    pub(crate) fn status(mut self) -> Option<i32> {
        let began = Clock::now();
        while began.elapsed() < Duration::from_secs(10) {
            if let Some(status) = self.child.try_wait().expect("it is ours") {
                return status.code();
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
        None
    }
}

/// Fastener, stage and verdict of an attempt that was announced.
pub(crate) fn verdict(said: &Value) -> Verdicted {
    (
        said["fastener"].as_str().unwrap_or_default().to_owned(),
        said["stage"].as_u64().unwrap_or_default(),
        said["verdict"].as_str().unwrap_or_default().to_owned(),
    )
}

/// What the hand does with what is said; the verdicts announced, by fastener and stage.
fn follow(
    run: &Run,
    instrument: &Instrument,
    journal: &Path,
    plan: &Plan,
    until: Clock,
    announced: &mut Vec<Verdicted>,
) {
    let (mut is_heard, mut is_next) = (false, false);
    // What is under way: pulled on where the hand let go short of it.
    let (mut under_way, mut off_since): (Option<Pull>, Clock) = (None, Clock::now());
    while Clock::now() < until {
        match run.said.recv_timeout(Duration::from_millis(5)) {
            Ok(said) => match said["record"].as_str() {
                Some("instrument") => is_heard = said["state"] == "heard",
                Some("next") => (is_next, under_way) = (true, None),
                Some("cue") => instrument.hear(
                    match said["cue"].as_str() {
                        Some("approach") => Cue::Approach,
                        Some("target" | "over") => Cue::Target,
                        _ => Cue::None,
                    },
                    said["cue"] == "halt",
                ),
                Some("attempt") => {
                    under_way = None;
                    announced.push(verdict(&said));
                }
                _ => {}
            },
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
        if instrument.is_busy() {
            off_since = Clock::now();
        } else if is_heard && is_next {
            is_next = false;
            under_way = reach(journal, plan);
            if let Some(pull) = &under_way {
                instrument.pull(pull);
            }
        } else if off_since.elapsed() > Duration::from_millis(600)
            && let Some(pull) = &mut under_way
        {
            pull.spins = false;
            instrument.pull(pull);
            off_since = Clock::now();
        }
    }
}

pub(crate) fn setting(
    text: &str,
    rate: u32,
    print: Print,
) -> (tempfile::TempDir, Plan, Instrument, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("cover.toml"), text).expect("a plan");
    let plan = Plan::parse("cover.toml", text).expect("a plan");
    let instrument = Instrument::start(folder.path(), station(&plan, 3), rate, print);
    let journal = folder.path().join("cover.evj");
    (folder, plan, instrument, journal)
}

/// A joint worked in the terminal to its end: the status, what was announced, and what is kept.
fn worked(text: &str, rate: u32, print: Print) -> (Option<i32>, Vec<Verdicted>, Vec<Attempt>) {
    let _alone = alone();
    let (folder, plan, instrument, journal) = setting(text, rate, print);
    let run = Run::start(folder.path(), &["--lines", instrument.port()]);
    let mut announced = Vec::new();
    let until = Clock::now() + Duration::from_mins(3);
    follow(&run, &instrument, &journal, &plan, until, &mut announced);
    (run.status(), announced, attempts(&journal))
}

#[test]
fn a_joint_is_worked_in_a_terminal_at_a_thousand_lines_a_second() {
    let (status, announced, kept) = worked(TRACE, 1_000, Print::Trace);
    assert_eq!(status, Some(0), "{announced:?}");
    assert_eq!(announced.len(), 6);
    assert!(
        announced.iter().all(|(.., verdict)| verdict == "accepted"),
        "{announced:?}"
    );
    assert_eq!(kept.len(), 6);
}

#[test]
fn what_the_instrument_cannot_measure_ends_it_with_status_1() {
    let (status, announced, kept) = worked(POUND_FEET, 100, Print::PoundFeet);
    assert_eq!(status, Some(1), "{announced:?}");
    assert_eq!(kept.len(), 4, "{announced:?}");
    assert!(
        kept.iter()
            .all(|attempt| attempt.verdict == Verdict::Accepted)
    );
}

/// Samples of a pull to so many N·m, as a trace file's rows.
fn rows(peak: f64) -> String {
    let mut rows = String::from("time_s,torque_Nm,angle_deg\n");
    for line in 0..1_500_u32 {
        let time = f64::from(line) / 500.0;
        let part = ((time - 0.6) / 1.2).clamp(0.0, 1.0);
        let torque = if time > 1.9 { 0.0 } else { peak * part };
        let turned = if time > 1.9 {
            60.0
        } else {
            60.0 * part + torque / 20.0
        };
        rows += &format!("{time:.3},{torque:.3},{turned:.3}\n");
    }
    rows
}

#[test]
fn standard_input_and_tcp_work_as_a_port_does() {
    let plain = TRACE.replace(
        "thread = \"M10x1.5\"\nclass = \"8.8\"\ngrip = \"40 mm\"\n",
        "",
    );
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("cover.toml"), plain).expect("a plan");
    let mut run = Run::start(folder.path(), &["--lines", "-"]);
    let mut input = run.child.stdin.take().expect("a pipe");
    input.write_all(rows(20.0).as_bytes()).expect("it reads");
    drop(input);
    let said: Vec<Value> = run.said.iter().collect();
    assert_eq!(run.status(), Some(1), "two fasteners are open");
    let told = |said: &[Value]| -> Vec<(String, String)> {
        let attempts = said.iter().filter(|said| said["record"] == "attempt");
        let word = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        attempts
            .map(|said| (word(&said["fastener"]), word(&said["verdict"])))
            .collect()
    };
    assert_eq!(
        told(&said),
        [("1".to_owned(), "accepted".to_owned())],
        "{said:?}"
    );

    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let place = listener.local_addr().expect("it has one").to_string();
    let run = Run::start(folder.path(), &["--lines", &place]);
    let (mut line, _) = listener.accept().expect("it connects");
    line.write_all(rows(20.0).as_bytes()).expect("it reads");
    let began = Clock::now();
    let mut said = Vec::new();
    while told(&said).is_empty() && began.elapsed() < Duration::from_secs(20) {
        said.extend(run.said.recv_timeout(Duration::from_millis(100)));
    }
    assert_eq!(
        told(&said),
        [("2".to_owned(), "accepted".to_owned())],
        "{said:?}"
    );
    // Ctrl-C: it ends as it is told to, and nothing is lost.
    let id = run.child.id().to_string();
    let status = Command::new("kill").args(["-INT", &id]).status();
    assert!(status.is_ok_and(|status| status.success()));
    assert_eq!(run.status(), None, "ended by the signal");
    assert_eq!(attempts(&folder.path().join("cover.evj")).len(), 2);
}

#[test]
fn bad_words_are_told_with_what_is_allowed() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("cover.toml"), TRACE).expect("a plan");
    for (line, wanted) in [
        (&["--lines", "-", "--tool", "S9"][..], "those are: S1"),
        (
            &["--lines", "-", "--answer", "speed=fast"][..],
            "and always: person, reason",
        ),
        (&["--lines", "-", "--joint", "lid"][..], "it has: cover"),
        (&[][..], "--lines <PLACE>"),
    ] {
        let out =
            evendraw_tests::binary::run(folder.path(), ["work", "cover.toml"].iter().chain(line));
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        assert_eq!(out.status.code(), Some(2), "{said}");
        assert!(said.contains(wanted), "{said}");
    }
}

/// Twenty-four fasteners, one torque each: work for many lives.
fn long() -> String {
    let places: Vec<String> = (0..24)
        .map(|at| format!("{} = [{}, {}]", at + 1, at % 6 * 60, at / 6 * 60))
        .collect();
    let head = TRACE.split("[[joint]]").next().unwrap_or_default();
    format!(
        "{head}[[joint]]\nid = \"cover\"\npositions = {{ {} }}\norder = \"listed\"\n\n\
         [[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\nwithin = \"±10 %\"\n\n\
         [[joint.stage]]\ndo = \"tighten\"\ntorque = \"30 N·m\"\nwithin = \"±10 %\"\n",
        places.join(", ")
    )
}

#[test]
fn killed_at_any_moment_it_loses_no_announced_verdict() {
    let kills: u32 = std::env::var("EVENDRAW_KILLS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(4);
    let text = long();
    let _alone = alone();
    let (folder, plan, instrument, journal) = setting(&text, 1_000, Print::Trace);
    let mut announced = Vec::new();
    let mut seed = 0x9e37_79b9_u32;
    for _ in 0..kills {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let until = Clock::now() + Duration::from_millis(3_500 + u64::from(seed >> 20));
        // What was unknown or rejected is done again.
        let more = ["--lines", instrument.port(), "--answer", "decide=again"];
        let mut run = Run::start(folder.path(), &more);
        follow(&run, &instrument, &journal, &plan, until, &mut announced);
        let _ = run.child.kill();
        let _ = run.child.wait();
        // What was on its way out when it died was announced as well.
        for said in run.said.iter().filter(|said| said["record"] == "attempt") {
            announced.push(verdict(&said));
        }
        let kept: Vec<Verdicted> = attempts(&journal)
            .iter()
            .map(|own| {
                (
                    (own.fastener + 1).to_string(),
                    u64::from(own.stage) + 1,
                    match own.verdict {
                        Verdict::Accepted => "accepted",
                        Verdict::Rejected => "rejected",
                        Verdict::Unknown => "unknown",
                    }
                    .to_owned(),
                )
            })
            .collect();
        let mut left = kept.iter();
        for one in &announced {
            assert!(
                left.any(|own| own == one),
                "{one:?} was announced and is not kept: {kept:?}"
            );
        }
    }
    assert!(!announced.is_empty(), "it came to verdicts");
    println!(
        "{kills} kills, {} verdicts announced, none lost",
        announced.len()
    );
}
