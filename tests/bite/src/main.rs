//! Breaks the core in a thousand places, one at a time, and asks its tests whether they notice.
//!
//! ```sh
//! tests/bite/workspace.sh /tmp/bite
//! nice -n 19 cargo run --release --manifest-path tests/bite/Cargo.toml -- /tmp/bite            # all of it
//! nice -n 19 cargo run --release --manifest-path tests/bite/Cargo.toml -- /tmp/bite 3/10       # every tenth, from the third
//! nice -n 19 cargo run --release --manifest-path tests/bite/Cargo.toml -- /tmp/bite =812,=813  # these
//! nice -n 19 cargo run --release --manifest-path tests/bite/Cargo.toml -- /tmp/bite ledger,sample  # files whose path begins so
//! nice -n 19 cargo run --release --manifest-path tests/bite/Cargo.toml -- /tmp/bite again      # what survived the last time
//! nice -n 19 cargo run --release --manifest-path tests/bite/Cargo.toml -- /tmp/bite ledger stated  # by what states a rule alone
//! ```
//! The second word says which: `session` is `session.rs` and all of `session/`, below `core/src`. `again` reads `survivors.txt` and finds each
//! break by its file, its function and what is done there, so that it is found where lines have moved. With `stated` behind it, what only keeps
//! what was brought once (`kept`) is not asked: what survives then is noticed, and said by no test.
//!
//! Every break is compiled in, each behind a switch that an environment variable throws: one build for all of them, where a build for each
//! takes a hundred times as long. What survives is written to `survivors.txt` there; what was found stands in `tests/BITE.md`. The switch also
//! stands in functions that are worked out while compiling, where it is always off; for that the compiler must let a stable build use what it has
//! for itself (`RUSTC_BOOTSTRAP`).

mod breaks;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

use breaks::{Break, Places};

/// What decides verdicts, below `core/src`.
const FILES: [&str; 8] = [
    "verdict.rs",
    "tracker.rs",
    "tracker",
    "ledger.rs",
    "ledger",
    "session.rs",
    "session",
    "sample",
];
/// And one more.
const CHECK: &str = "procedure/check.rs";
/// The variable that throws a switch.
const SWITCH: &str = "EVENDRAW_BITE";
/// What is run against each break: package, target, and which of its tests. What states a rule comes first, what only keeps what was brought
/// once (`kept`) last, so that the count says which of them noticed. The rest of the laws and the whole corpus of pulls take minutes: they
/// are asked by hand about what survives these.
const TESTS: [(&str, &str, &str); 6] = [
    ("bite", "scripts", ""),
    ("more", "revise", ""),
    ("evendraw-core", "evendraw_core", ""),
    ("more", "journal", ""),
    ("more", "laws", "kept"),
    ("more", "judging", "kept"),
];
/// Whatever is not at its end by then has noticed.
const PATIENCE: Duration = Duration::from_secs(120);

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let Some(folder) = words.first() else {
        eprintln!(
            "usage: evendraw-bite FOLDER [K/N | =NUMBER,… | PATH,… | again [stated]]; FOLDER is made by tests/bite/workspace.sh"
        );
        return ExitCode::from(2);
    };
    let is_stated_alone = words.get(2).is_some_and(|word| word == "stated");
    let part = words.get(1).map(String::as_str);
    match bite(Path::new(folder), part, is_stated_alone) {
        Ok(()) => ExitCode::SUCCESS,
        Err(problem) => {
            eprintln!("evendraw-bite: {problem}");
            ExitCode::from(2)
        }
    }
}

fn bite(folder: &Path, part: Option<&str>, is_stated_alone: bool) -> Result<(), String> {
    let list = folder.join("survivors.txt");
    let wanted = Wanted::read(part, &list)?;
    let sources = sources(&folder.join("core/src"))?;
    let (breaks, mut programs) = broken_and_built(folder, &sources)?;
    println!("{} breaks", breaks.len());
    if is_stated_alone {
        programs.retain(|(name, _)| !TESTS.iter().any(|own| own.1 == *name && own.2 == "kept"));
    }
    if let Some(failing) = noticed_by(&programs, 0) {
        return Err(format!("{failing} fails with nothing broken"));
    }
    // For each file how many are tried, and which test noticed how many of them.
    let mut of_file = BTreeMap::<&str, (usize, BTreeMap<&str, usize>)>::new();
    let mut survivors = String::new();
    std::fs::write(&list, "").map_err(told)?;
    for (file, own) in breaks.iter().filter(|(file, own)| wanted.is(file, own)) {
        let (tried, noticed) = of_file.entry(file).or_default();
        *tried += 1;
        if let Some(by) = noticed_by(&programs, own.number) {
            *noticed.entry(by).or_default() += 1;
        } else {
            let line = format!("{} {file}:{} {}", own.number, own.line, place(own));
            println!("{line}");
            let _ = writeln!(survivors, "{line}");
            std::fs::write(&list, &survivors).map_err(told)?;
        }
    }
    for (file, (tried, noticed)) in &of_file {
        let count: usize = noticed.values().sum();
        println!("{file}: {count} of {tried} noticed, by {noticed:?}");
    }
    let tried: usize = of_file.values().map(|(tried, _)| tried).sum();
    println!("{tried} tried; {} survive", survivors.lines().count());
    Ok(())
}

fn told(error: std::io::Error) -> String {
    error.to_string()
}

/// A break's function and what is done there.
fn place(own: &Break) -> String {
    format!("{}: {}", own.function, own.what)
}

/// Which breaks are tried.
enum Wanted {
    All,
    Every {
        from: usize,
        of: usize,
    },
    Numbers(Vec<usize>),
    /// Files whose path below `core/src` begins with one of these.
    Files(Vec<String>),
    /// File, function and what is done there.
    Again(Vec<(String, String)>),
}

impl Wanted {
    fn read(part: Option<&str>, survivors: &Path) -> Result<Self, String> {
        let Some(part) = part else {
            return Ok(Self::All);
        };
        let parse = |text: &str| {
            text.parse::<usize>()
                .map_err(|_| format!("`{part}` is neither K/N nor =NUMBER,…"))
        };
        if part == "again" {
            let text = std::fs::read_to_string(survivors).map_err(told)?;
            return Ok(Self::Again(text.lines().filter_map(survivor).collect()));
        }
        if part.starts_with('=') {
            let numbers = part
                .split(',')
                .map(|text| parse(text.trim_start_matches('=')));
            return Ok(Self::Numbers(numbers.collect::<Result<_, _>>()?));
        }
        if part.starts_with(|first: char| first.is_ascii_digit()) {
            let (from, of) = part
                .split_once('/')
                .ok_or_else(|| format!("`{part}` is neither K/N nor =NUMBER,…"))?;
            let of = parse(of)?.max(1);
            return Ok(Self::Every {
                from: parse(from)? % of,
                of,
            });
        }
        Ok(Self::Files(part.split(',').map(str::to_owned).collect()))
    }

    fn is(&self, file: &str, own: &Break) -> bool {
        match self {
            Self::All => true,
            Self::Every { from, of } => own.number % of == *from,
            Self::Numbers(numbers) => numbers.contains(&own.number),
            Self::Files(paths) => paths.iter().any(|path| file.starts_with(path)),
            Self::Again(list) => list
                .iter()
                .any(|(of, what)| of == file && *what == place(own)),
        }
    }
}

/// `12 ledger/fold.rs:34 fold: …`: the file and what comes behind the line's number.
fn survivor(line: &str) -> Option<(String, String)> {
    let (_, rest) = line.split_once(' ')?;
    let (file, rest) = rest.split_once(':')?;
    let (_, what) = rest.split_once(' ')?;
    Some((file.to_owned(), what.to_owned()))
}

/// The files that are broken, by their name below `core/src`, and their text as it was.
fn sources(root: &Path) -> Result<Vec<(String, String)>, String> {
    let mut names: Vec<PathBuf> = vec![root.join(CHECK)];
    for name in FILES {
        let path = root.join(name);
        if path.is_dir() {
            for entry in std::fs::read_dir(&path).map_err(told)? {
                names.push(entry.map_err(told)?.path());
            }
        } else {
            names.push(path);
        }
    }
    names.retain(|path| {
        path.extension().is_some_and(|end| end == "rs") && !path.ends_with("tests.rs")
    });
    names.sort();
    let mut found = Vec::new();
    for path in names {
        let name = path.strip_prefix(root).unwrap_or(&path);
        let text = std::fs::read_to_string(sound(&path)).map_err(told)?;
        found.push((name.to_string_lossy().into_owned(), text));
    }
    Ok(found)
}

/// The text as it was, kept beside the broken one.
fn sound(path: &Path) -> PathBuf {
    let kept = path.with_extension("rs.sound");
    if !kept.exists() {
        // Where it cannot be kept, reading it fails and is told.
        let _ = std::fs::copy(path, &kept);
    }
    kept
}

type Broken = Vec<(String, Break)>;
/// Each test's target and its program.
type Programs = Vec<(&'static str, PathBuf)>;

/// Breaks every file and builds. A line whose break does not compile is spared, and all is built again.
fn broken_and_built(
    folder: &Path,
    sources: &[(String, String)],
) -> Result<(Broken, Programs), String> {
    let root = folder.join("core/src");
    switch(&root)?;
    let mut spared: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for _ in 0..20 {
        let (mut breaks, mut next) = (Vec::new(), 1);
        for (name, text) in sources {
            let none = Vec::new();
            let places = Places::of(text, next, spared.get(name).unwrap_or(&none))
                .map_err(|error| format!("{name}: {error}"))?;
            std::fs::write(root.join(name), places.text()).map_err(told)?;
            next += places.breaks.len();
            breaks.extend(places.breaks.into_iter().map(|own| (name.clone(), own)));
        }
        match build(folder)? {
            Ok(programs) => {
                let lines: usize = spared.values().map(Vec::len).sum();
                println!("{lines} lines are spared, as their breaks do not compile");
                return Ok((breaks, programs));
            }
            Err(faults) => {
                let mut faults = faults;
                faults.sort();
                faults.dedup();
                for (name, line) in &faults {
                    // Where a line is spared already, the fault is of one of those behind it that belong to it.
                    let own = spared.entry(name.clone()).or_default();
                    let next = (*line..).find(|line| !own.contains(line));
                    own.extend(next);
                }
            }
        }
    }
    Err("it does not build".to_owned())
}

/// Puts the switch itself into the core.
fn switch(root: &Path) -> Result<(), String> {
    const SWITCHES: &str = "
/// Whether this break is the one.
pub(crate) const fn bite(number: u32) -> bool {
    const fn never(_: u32) -> bool { false }
    fn asked(number: u32) -> bool {
        static OWN: std::sync::OnceLock<u32> = std::sync::OnceLock::new();
        number == *OWN.get_or_init(|| std::env::var(\"EVENDRAW_BITE\").ok().and_then(|own| own.parse().ok()).unwrap_or(0))
    }
    core::intrinsics::const_eval_select((number,), never, asked)
}
";
    let path = root.join("lib.rs");
    let text = std::fs::read_to_string(sound(&path)).map_err(told)?;
    let text = text
        .replace("#![no_std]", "#![no_std] #![feature(core_intrinsics, const_eval_select)] #![allow(warnings, internal_features)]")
        .replace("#![forbid(unsafe_code)]", "")
        .replace("#[cfg(test)]\nextern crate std;", "\nextern crate std;");
    std::fs::write(path, text + SWITCHES).map_err(told)
}

type Faults = Vec<(String, usize)>;

/// The test programs, or where the compiler found fault: file below `core/src`, and line.
fn build(folder: &Path) -> Result<Result<Programs, Faults>, String> {
    let mut programs = Vec::new();
    for (package, target, _) in TESTS {
        let mut cargo = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
        cargo
            .current_dir(folder)
            .args(["test", "--no-run", "--message-format=short", "-p", package])
            .env("RUSTC_BOOTSTRAP", "1")
            .env("CARGO_INCREMENTAL", "0")
            .env("CARGO_PROFILE_DEV_DEBUG", "false")
            .env("CARGO_PROFILE_DEV_OPT_LEVEL", "2")
            .stdout(Stdio::null());
        if package == target.replace('_', "-") {
            // As in the whole workspace, where the desktop puts records right.
            cargo.args(["--lib", "--features", "put-right"]);
        } else {
            cargo.args(["--test", target]);
        }
        let output = cargo.output().map_err(told)?;
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        if !output.status.success() {
            let faults: Faults = said.lines().filter_map(fault).collect();
            if faults.is_empty() {
                return Err(said);
            }
            println!("{} faults of the compiler", faults.len());
            return Ok(Err(faults));
        }
        // `  Executable tests/scripts/main.rs (target/debug/deps/scripts-0123)`
        let program = said
            .lines()
            .filter(|line| line.contains("Executable"))
            .find_map(|line| Some(line.rsplit_once('(')?.1.trim_end_matches(')')))
            .ok_or_else(|| format!("no program in: {said}"))?;
        programs.push((target, folder.join(program)));
    }
    Ok(Ok(programs))
}

/// `core/src/ledger.rs:12:5: error[E0308]: …`
fn fault(line: &str) -> Option<(String, usize)> {
    let (place, _) = line.split_once(": error")?;
    let mut parts = place.split(':');
    let name = parts.next()?.strip_prefix("core/src/")?;
    Some((name.to_owned(), parts.next()?.parse().ok()?))
}

/// The first test that fails with this break; none where all of them pass.
fn noticed_by(programs: &[(&'static str, PathBuf)], number: usize) -> Option<&'static str> {
    programs
        .iter()
        .find(|(name, program)| !passes(name, program, number))
        .map(|(name, _)| *name)
}

fn passes(name: &str, program: &Path, number: usize) -> bool {
    // Where the package lies: its tests read files beside them.
    let package = match program
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
    {
        Some(name) if name.starts_with("scripts") => "bite",
        Some(name) if name.starts_with("evendraw_core") => "core",
        _ => "more",
    };
    let root = program.ancestors().nth(4).unwrap_or(Path::new("."));
    let own = TESTS.iter().find(|(_, target, _)| *target == name);
    let only = own.map(|(.., only)| *only).filter(|only| !only.is_empty());
    let child = Command::new(program)
        .current_dir(root.join(package))
        .args(only)
        .args(["--test-threads", "1"])
        .env(SWITCH, number.to_string())
        .env("PROPTEST_CASES", "48")
        .env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let Ok(mut child) = child else { return false };
    let began = Instant::now();
    loop {
        match child.try_wait() {
            Ok(Some(status)) => return status.success(),
            Ok(None) if began.elapsed() < PATIENCE => std::thread::sleep(Duration::from_millis(5)),
            _ => {
                let _ = child.kill();
                let _ = child.wait();
                return false;
            }
        }
    }
}
