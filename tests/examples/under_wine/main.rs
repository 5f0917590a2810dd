//! The program for Windows, tried under Wine: what differs there, each with its promise.
//!
//! ```sh
//! apt-get install wine64 gcc-mingw-w64-x86-64 && rustup target add x86_64-pc-windows-gnu
//! cargo run -p evendraw-tests --example under_wine              # EVENDRAW_KILLS=n for other than 60 kills
//! ```
//! `EVENDRAW_EXE` and `EVENDRAW_HERE` name programs that are built already, for there and for here. Words behind `--` choose checks by name.
//!
//! It is no part of the ordinary tests: Wine is not Windows, and few have it. What is found becomes a test that runs everywhere. Each check
//! says one line; a check that fails says why and the run ends with status 1.

mod killed;
mod wine;

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, ExitCode, Stdio};
use std::time::Duration;

use wine::{Said, Wine};

/// An invented strainer with five kinds of tool.
const PLAN: &str = include_str!("../../tests/ways/strainer.toml");

type Check = (&'static str, fn(&Wine) -> Result<String, String>);

/// Only where it is asked for by name. KNOWN WRONG: the lines are read and judged, as the journal shows, and yet this check does not end.
const BY_NAME: &str = "a port by its name";

const CHECKS: [Check; 9] = [
    ("a plan as an editor there writes it", plan),
    ("killed at any moment", killed::nothing_told_is_lost),
    ("beside a writer", beside_a_writer),
    ("the journal taken away", taken_away),
    ("outputs", outputs),
    ("paper", paper),
    ("export", export),
    (BY_NAME, port),
    ("the day of the place", day),
];

fn main() -> ExitCode {
    let wine = match Wine::start() {
        Ok(wine) => wine,
        Err(problem) => {
            eprintln!("under_wine: {problem}");
            return ExitCode::from(2);
        }
    };
    wine.put("strainer.toml", PLAN);
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    let mut failed = false;
    for (name, check) in CHECKS {
        let is_named = wanted.iter().any(|word| name.contains(word.as_str()));
        if !is_named && (name == BY_NAME || !wanted.is_empty()) {
            continue;
        }
        match check(&wine) {
            Ok(how) => println!("ok      {name}: {how}"),
            Err(why) => {
                println!("FAILED  {name}: {why}");
                failed = true;
            }
        }
    }
    if failed {
        println!("kept for looking: {}", wine.folder.display());
        return ExitCode::FAILURE;
    }
    wine.end();
    ExitCode::SUCCESS
}

/// That a run ended like this and said these words.
fn expect(said: &Said, status: i32, words: &[&str]) -> Result<(), String> {
    let all = format!("{}{}", said.out, said.err);
    if said.status != Some(status) {
        return Err(format!("status {:?}, not {status}: {all}", said.status));
    }
    match words.iter().find(|words| !all.contains(**words)) {
        Some(missing) => Err(format!("`{missing}` is not said: {all}")),
        None => Ok(()),
    }
}

/// That it says the same there as here.
fn same(wine: &Wine, line: &[&str]) -> Result<Said, String> {
    let (there, here) = (wine.run(line), wine.run_here(line));
    if (there.status, &there.out, &there.err) == (here.status, &here.out, &here.err) {
        return Ok(there);
    }
    Err(format!(
        "{line:?} differs\nthere: {:?} {}{}\nhere: {:?} {}{}",
        there.status, there.out, there.err, here.status, here.out, here.err
    ))
}

/// A mark before the text, and two characters at the end of each line.
fn plan(wine: &Wine) -> Result<String, String> {
    let plain = same(wine, &["check", "strainer.toml"])?;
    wine.put(
        "edited.toml",
        &format!("\u{feff}{}", PLAN.replace('\n', "\r\n")),
    );
    let edited = same(wine, &["check", "edited.toml"])?;
    if plain.out != edited.out {
        return Err(format!("{}\nis not\n{}", edited.out, plain.out));
    }
    wine.put("wrong.toml", &PLAN.replace("\"30 N·m\"", "\"30 apples\""));
    let wrong = same(wine, &["check", "wrong.toml"])?;
    expect(&wrong, 2, &["apples"])?;
    std::fs::remove_file(wine.folder.join("wrong.toml")).map_err(|error| error.to_string())?;
    same(wine, &["tonight", "strainer.toml"])?;
    // Figures worked out afterwards differ there in their twelfth digit; what is recorded does not.
    let line = ["rehearse", "strainer.toml", "--seed", "3", "--journal"];
    wine.run(line.iter().chain(&["there.evj"]));
    wine.run_here(line.iter().chain(&["here.evj"]));
    let bytes = |name: &str| std::fs::read(wine.folder.join(name)).unwrap_or_default();
    if bytes("there.evj").is_empty() || bytes("there.evj") != bytes("here.evj") {
        return Err("the same seed gives other records there than here".to_owned());
    }
    Ok("check and tonight say what they say here; the same seed, the same bytes".to_owned())
}

/// A process that works one joint until its input ends.
struct Writer {
    child: Child,
    input: Option<ChildStdin>,
    out: BufReader<std::process::ChildStdout>,
}

impl Writer {
    fn start(wine: &Wine, journal: &str) -> Self {
        let line = ["work", "strainer.toml", "--read", "--joint", "flange"];
        let more = ["--tool", "D1", "--answer", "person=R. Falk", "--journal"];
        let mut child = wine
            .command(line.iter().chain(&more).chain(&[journal]))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        let input = child.stdin.take();
        let out = BufReader::new(child.stdout.take().expect("piped"));
        Self { child, input, out }
    }

    fn send(&mut self, words: &str) {
        if let Some(input) = &mut self.input {
            let _ = input.write_all(words.as_bytes());
            let _ = input.flush();
        }
    }

    /// Types, and waits for what is told.
    fn type_until(&mut self, words: &str, told: &str) -> Result<(), String> {
        self.send(words);
        let (mut line, mut all) = (String::new(), String::new());
        while self.out.read_line(&mut line).is_ok_and(|count| count > 0) {
            if line.contains(told) {
                return Ok(());
            }
            all += &std::mem::take(&mut line);
        }
        Err(format!("`{told}` is not told: {all}"))
    }

    /// Ends the input, and gives what else was said.
    fn end(mut self) -> Said {
        drop(self.input.take());
        let (mut out, mut err) = (String::new(), String::new());
        let _ = self.out.read_to_string(&mut out);
        if let Some(mut own) = self.child.stderr.take() {
            let _ = own.read_to_string(&mut err);
        }
        let status = self.child.wait().expect("it ends").code();
        Said { status, out, err }
    }
}

/// Who only reads, reads; who would write is told who is there.
fn beside_a_writer(wine: &Wine) -> Result<String, String> {
    let mut writer = Writer::start(wine, "beside.evj");
    writer.type_until("45\n", "accepted")?;
    let told = "45.00 N·m, read from the display (0.1 N·m, 2 %), accepted";
    expect(&wine.run(["record", "beside.evj"]), 0, &[told])?;
    expect(
        &wine.run(["sheet", "beside.evj", "-o", "beside.html"]),
        0,
        &[],
    )?;
    expect(&wine.run(["check", "beside.evj"]), 1, &["flange"])?;
    let here = wine.run_here(["record", "beside.evj"]);
    expect(&here, 0, &[told])?;
    let line = ["work", "strainer.toml", "--read", "--joint", "cover"];
    let second = wine.run(line.iter().chain(&["--journal", "beside.evj"]));
    expect(&second, 2, &["beside.evj", "another program"])?;
    writer.type_until("46\n", "accepted")?;
    let end = writer.end();
    if end.status == Some(2) {
        return Err(end.err);
    }
    expect(&wine.run(["record", "beside.evj"]), 0, &[told, "46.00 N·m"])?;
    Ok("record, sheet and check read; a second writer is told of the first".to_owned())
}

/// Deleted, moved and replaced while it is written.
fn taken_away(wine: &Wine) -> Result<String, String> {
    type Takes = fn(&Path, &Path) -> std::io::Result<()>;
    let ways: [(&str, Takes); 3] = [
        ("deleted", |path, _| std::fs::remove_file(path)),
        ("moved", |path, aside| std::fs::rename(path, aside)),
        ("replaced", |path, aside| {
            std::fs::copy(path, aside)?;
            std::fs::rename(aside, path)
        }),
    ];
    for (way, take) in ways {
        let name = format!("{way}.evj");
        let mut writer = Writer::start(wine, &name);
        writer.type_until("45\n", "accepted")?;
        let (path, aside) = (wine.folder.join(&name), wine.folder.join("aside.evj"));
        take(&path, &aside).map_err(|error| error.to_string())?;
        writer.send("46\n");
        let end = writer.end();
        let rescued = format!("{way}.rescued.evj");
        expect(&end, 2, &[&rescued]).map_err(|why| format!("{way}: {why}"))?;
        let kept = wine.run(["record", &rescued]);
        expect(&kept, 0, &["45.00 N·m"]).map_err(|why| format!("{way}: {why}"))?;
        let _ = std::fs::remove_file(aside);
    }
    Ok("deleted, moved or replaced, it is told and all is in the rescued one".to_owned())
}

/// Onto a plan, a journal, a stranger's file: refused, and as it was. Onto an earlier sheet: only when asked.
fn outputs(wine: &Wine) -> Result<String, String> {
    let typed = "45\n45\n45\n45\n";
    let line = ["work", "strainer.toml", "--read", "--joint", "flange"];
    let more = ["--tool", "D1", "--answer", "person=R. Falk", "--journal"];
    wine.run_typed(line.iter().chain(&more).chain(&["out.evj"]), typed);
    wine.put("letter.html", "a letter");
    for name in ["strainer.toml", "out.evj", "letter.html"] {
        let before = std::fs::read(wine.folder.join(name)).map_err(|error| error.to_string())?;
        for force in [&[][..], &["--force"]] {
            let line = ["sheet", "out.evj", "-o", name];
            let refused = wine.run(line.iter().chain(force));
            expect(&refused, 2, &["never written over"])?;
        }
        let after = std::fs::read(wine.folder.join(name)).map_err(|error| error.to_string())?;
        if before != after {
            return Err(format!("{name} was written over"));
        }
    }
    let sheet = ["sheet", "out.evj", "-o", "Blatt für Ölpumpe.html"];
    expect(&wine.run(sheet), 0, &[])?;
    expect(&wine.run(sheet), 2, &["--force replaces it"])?;
    expect(&wine.run(sheet.iter().chain(&["--force"])), 0, &[])?;
    // By its whole name, with the drive's letter.
    let whole = format!("Z:{}\\whole.html", wine.folder.display()).replace('/', "\\");
    expect(&wine.run(["sheet", "out.evj", "-o", &whole]), 0, &[])?;
    if wine.text("whole.html") != wine.text("Blatt für Ölpumpe.html") {
        return Err("the same sheet is not the same under its whole name".to_owned());
    }
    let left: Vec<String> = names(wine)?
        .into_iter()
        .filter(|name| name.contains("unfinished"))
        .collect();
    if !left.is_empty() {
        return Err(format!("left behind: {left:?}"));
    }
    Ok(
        "nothing that lasts is written over, with --force neither; nothing is left behind"
            .to_owned(),
    )
}

fn names(wine: &Wine) -> Result<Vec<String>, String> {
    let listed = std::fs::read_dir(&wine.folder).map_err(|error| error.to_string())?;
    Ok(listed
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect())
}

/// A table as it comes from a spreadsheet there: a mark before the text, semicolons, commas in numbers.
fn paper(wine: &Wine) -> Result<String, String> {
    let blank = ["paper", "strainer.toml", "--blank", "-o", "evening.csv"];
    expect(&wine.run(blank), 0, &[])?;
    wine.put("paper.evj", "");
    std::fs::remove_file(wine.folder.join("paper.evj")).map_err(|error| error.to_string())?;
    let line = ["work", "strainer.toml", "--read", "--joint", "flange"];
    let more = ["--tool", "D1", "--answer", "person=R. Falk", "--journal"];
    wine.run_typed(line.iter().chain(&more).chain(&["paper.evj"]), "45\n");
    wine.put(
        "back.csv",
        "\u{feff}joint;fastener;stage;way;value;tool;name;date\r\nflange;2;1;display;45,2;D1;R. Falk;2026-05-04\r\n",
    );
    let back = wine.run(["paper", "paper.evj", "back.csv"]);
    if back.status == Some(2) {
        return Err(back.err);
    }
    let kept = same(wine, &["record", "paper.evj"])?;
    expect(&kept, 0, &["45.20 N·m"])?;
    Ok("a table given out, filled and taken back".to_owned())
}

fn export(wine: &Wine) -> Result<String, String> {
    let shelf = wine.folder.join("shop");
    std::fs::create_dir_all(&shelf).map_err(|error| error.to_string())?;
    for (from, to) in [
        ("out.evj", "shop/pump7.evj"),
        ("strainer.toml", "shop/pump7.toml"),
    ] {
        std::fs::copy(wine.folder.join(from), wine.folder.join(to))
            .map_err(|error| format!("{from}: {error}"))?;
    }
    expect(
        &wine.run(["export", "shop", "--parquet", "parquet"]),
        0,
        &[],
    )?;
    let line = ["export", "shop", "--csv", "tables"];
    expect(&wine.run(line), 0, &[])?;
    let there = read_all(&wine.folder.join("tables"));
    let again = wine.run(line);
    expect(&again, 0, &[])?;
    if read_all(&wine.folder.join("tables")) != there {
        return Err("a second run changed a table".to_owned());
    }
    let here = wine.run_here(["export", "shop", "--csv", "here"]);
    expect(&here, 0, &[])?;
    let own = read_all(&wine.folder.join("here"));
    if own.len() != there.len() || own.is_empty() {
        return Err(format!("{} tables there, {} here", there.len(), own.len()));
    }
    let listed = same(wine, &["shelf", "shop"])?;
    expect(&listed, 0, &["pump7"])?;
    Ok(format!(
        "{} tables, the same in a second run; the shelf lists as here",
        own.len()
    ))
}

/// Every file below a folder, by its name, without what stands in it of where it was made.
fn read_all(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_owned()];
    while let Some(here) = open.pop() {
        for entry in std::fs::read_dir(&here).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap_or(&path);
                found.push((
                    name.to_string_lossy().into_owned(),
                    std::fs::read(&path).unwrap_or_default(),
                ));
            }
        }
    }
    found.sort();
    found
}

/// An instrument at COM3: its lines are judged, and a port that is not there is told. Which verdict comes is the machine's business: a busy
/// one loses samples.
fn port(wine: &Wine) -> Result<String, String> {
    use serialport::SerialPort as _;
    let (mut instrument, port) = serialport::TTYPort::pair().map_err(|error| error.to_string())?;
    let name = port.name().ok_or("the port has no name")?;
    wine.name_port("com3", &name);
    wine.put("lines.toml", &format!("{PLAN}{STREAM}"));
    let line = ["work", "lines.toml", "--joint", "lid", "--tool", "S1"];
    let more = ["--answer", "person=R. Falk", "--lines"];
    let mut child = wine
        .command(line.iter().chain(&more).chain(&["COM3"]))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| error.to_string())?;
    std::thread::sleep(Duration::from_secs(3));
    // Nobody waits for it: what is left of the pull has no reader in the end.
    std::thread::spawn(move || {
        for row in pull() {
            let _ = instrument.write_all(row.as_bytes());
            std::thread::sleep(Duration::from_millis(4));
        }
        instrument
    });
    let mut out = BufReader::new(child.stdout.take().ok_or("piped")?);
    let (sender, told) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let (mut line, mut all) = (String::new(), String::new());
        while out.read_line(&mut line).is_ok_and(|count| count > 0) {
            let is_it = line.starts_with("fastener 1, stage 1: ");
            all += &std::mem::take(&mut line);
            if is_it {
                let _ = sender.send(Ok(()));
                return;
            }
        }
        let _ = sender.send(Err(all));
    });
    let heard = told
        .recv_timeout(Duration::from_secs(30))
        .unwrap_or_else(|_| Err("nothing in 30 s".to_owned()));
    let _ = child.kill();
    let _ = child.wait();
    heard.map_err(|all| format!("no verdict: {all}"))?;
    // One that is not there is waited for, as an instrument may be plugged in later.
    let mut child = wine
        .command(line.iter().chain(&more).chain(&["COM77"]))
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|error| error.to_string())?;
    let err = BufReader::new(child.stderr.take().ok_or("piped")?);
    let is_told = err
        .lines()
        .map_while(Result::ok)
        .any(|line| line.contains("COM77: listening for it: nothing is plugged in there"));
    let _ = child.kill();
    let _ = child.wait();
    if !is_told {
        return Err("COM77 is not told".to_owned());
    }
    Ok("lines at COM3 are judged; COM77 is told".to_owned())
}

/// One more joint, for a tool that sends its samples.
const STREAM: &str = r#"
[[tool]]
id = "S1"
kind = "stream"
capacity = "120 N·m"
lowest = "2 N·m"

[[joint]]
id = "lid"
positions = { 1 = [0, 0], 2 = [60, 0] }
[[joint.stage]]
do = "tighten"
torque = "30 N·m"
within = "±10 %"
"#;

/// Time, torque and rotation of a pull to 30 N·m, every 4 ms, as a trace file's rows.
fn pull() -> Vec<String> {
    let rows = (0..700_u32).map(|line| {
        let part = ((f64::from(line) - 100.0) / 200.0).clamp(0.0, 1.0);
        let torque = match line {
            0..320 => 30.0 * part,
            320..340 => 30.0 * f64::from(340 - line) / 20.0,
            _ => 0.0,
        };
        let time = f64::from(line) * 0.004;
        format!("{time:.3},{torque:.3},{:.3}\n", 60.0 * part + torque / 20.0)
    });
    std::iter::once("time_s,torque_Nm,angle_deg\n".to_owned())
        .chain(rows)
        .collect()
}

/// At the same moment it is a day later in Auckland than in Honolulu: a tool that is due to-day there is overdue here.
fn day(wine: &Wine) -> Result<String, String> {
    const WEST: &str = "Pacific/Honolulu";
    let today = Command::new("date")
        .arg("+%F")
        .env("TZ", WEST)
        .output()
        .map_err(|error| error.to_string())?;
    let today = String::from_utf8_lossy(&today.stdout).trim().to_owned();
    wine.put("due.toml", &PLAN.replace("2199-05-04", &today));
    for (zone, words) in [
        (WEST, format!("calibration due on {today}")),
        (
            "Pacific/Auckland",
            format!("calibration expired on {today}"),
        ),
    ] {
        let mut command = wine.command(["check", "due.toml"]);
        let output = command
            .env("TZ", zone)
            .output()
            .map_err(|error| error.to_string())?;
        let said = String::from_utf8_lossy(&output.stdout);
        if !said.contains(&words) {
            return Err(format!("in {zone} `{words}` is not said: {said}"));
        }
    }
    Ok("what is due to-day is due in Honolulu and overdue in Auckland".to_owned())
}
