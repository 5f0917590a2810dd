//! `cargo verify`: everything the build server runs, in one command.
//!
//! Installs what it can and names what it cannot; runs every step even after one has failed, so that one run tells all; ends
//! with one line, `N passed, N failed`, and a status other than zero if anything failed. A step that failed without a failed
//! test in it (a warning, a build that broke, a target that ran no test) counts as one failure in that line.
//! Uses only the standard library, so that it starts at once on a fresh clone. Knows nothing of what the tests test.

use std::collections::BTreeMap;
use std::io::{self, BufRead, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::{Duration, Instant};

use evendraw_tests::{emulator, size};

/// The targets that the toolchain file names; listed again because rustup does not always install them unasked.
const TARGETS: [&str; 2] = [emulator::TARGET, emulator::SMALLEST_TARGET];
/// The desktop's commands are checked for these too, Windows and macOS, without the desk: there is neither a screen nor an emulator for them here.
const OTHER_SYSTEMS: [&str; 2] = ["x86_64-pc-windows-gnu", "aarch64-apple-darwin"];
/// The same for components.
const COMPONENTS: [&str; 2] = ["clippy", "rustfmt"];

/// A step: its name on the command line, what it is, and how it runs.
struct Step {
    name: &'static str,
    title: &'static str,
    run: fn(&Path) -> Report,
}

const STEPS: [Step; 12] = [
    Step {
        name: "tools",
        title: "Toolchain and emulator",
        run: tools,
    },
    Step {
        name: "fmt",
        title: "Formatting",
        run: formatting,
    },
    Step {
        name: "clippy",
        title: "Lints",
        run: lints,
    },
    Step {
        name: "firmware",
        title: "Firmware for every board, in the profile `firmware`",
        run: firmware,
    },
    Step {
        name: "gate",
        title: "No panic can be reached from the core's live path",
        run: gate,
    },
    Step {
        name: "core",
        title: "The core alone for the smallest chips",
        run: core_alone,
    },
    Step {
        name: "systems",
        title: "The commands, checked for Windows and macOS",
        run: other_systems,
    },
    Step {
        name: "crate",
        title: "The core as others get it: package and pages",
        run: the_crate,
    },
    Step {
        name: "test",
        title: "Tests",
        run: tests,
    },
    Step {
        name: "judging",
        title: "Faults against the reasons named, over the corpus of pulls",
        run: judging,
    },
    Step {
        name: "emulated",
        title: "Tests on the emulated board",
        run: emulated,
    },
    Step {
        name: "size",
        title: "Size of the firmware",
        run: sizes,
    },
];

/// What came of a step.
#[derive(Default)]
struct Report {
    passed: u64,
    failed: u64,
    /// Why the step failed, if it failed for anything but a failed test.
    faults: Vec<String>,
}

impl Report {
    fn fault(&mut self, what: impl Into<String>) {
        self.faults.push(what.into());
    }

    fn failures(&self) -> u64 {
        if self.failed > 0 {
            self.failed
        } else {
            u64::from(!self.faults.is_empty())
        }
    }
}

fn main() -> ExitCode {
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    if wanted.iter().any(|word| word == "-h" || word == "--help") {
        println!("cargo verify [STEP]...\n\nRuns every step, or the named ones, in this order:\n");
        for step in &STEPS {
            println!("  {:<10} {}", step.name, step.title);
        }
        return ExitCode::SUCCESS;
    }
    if let Some(unknown) = wanted
        .iter()
        .find(|word| STEPS.iter().all(|step| step.name != **word))
    {
        eprintln!("verify: no step is called `{unknown}`; `cargo verify --help` lists them");
        return ExitCode::from(2);
    }
    let Some(root) = Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .map(Path::to_path_buf)
    else {
        eprintln!("verify: the tests package has no parent folder");
        return ExitCode::from(2);
    };

    let started = Instant::now();
    let mut reports = Vec::new();
    for step in STEPS
        .iter()
        .filter(|step| wanted.is_empty() || wanted.iter().any(|word| word == step.name))
    {
        println!("\n=== {} ({})", step.title, step.name);
        let began = Instant::now();
        let report = (step.run)(&root);
        for fault in &report.faults {
            println!("FAILED: {fault}");
        }
        reports.push((step, report, began.elapsed()));
    }

    println!("\n=== Summary");
    let (mut passed, mut failed) = (0, 0);
    for (step, report, took) in &reports {
        let verdict = if report.failures() == 0 {
            "ok"
        } else {
            "FAILED"
        };
        println!(
            "{:<10} {:<6} {:>8}  {} passed, {} failed",
            step.name,
            verdict,
            seconds(*took),
            report.passed,
            report.failed
        );
        for fault in &report.faults {
            println!("           {fault}");
        }
        passed += report.passed;
        failed += report.failures();
    }
    println!("in {}", seconds(started.elapsed()));
    println!("{passed} passed, {failed} failed");
    if failed == 0 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn seconds(took: Duration) -> String {
    format!("{:.1} s", took.as_secs_f64())
}

/// What the toolchain lacks is added; the emulator is installed where that is ours to do, and named where it is not.
fn tools(root: &Path) -> Report {
    let mut report = Report::default();
    match output(
        Command::new("rustc")
            .args(["--print", "sysroot"])
            .current_dir(root),
    ) {
        Ok(sysroot) => {
            let installed = PathBuf::from(sysroot.trim()).join("lib/rustlib");
            let all = [TARGETS, OTHER_SYSTEMS].concat();
            let missing: Vec<&str> = all
                .iter()
                .copied()
                .filter(|target| !installed.join(target).is_dir())
                .collect();
            if missing.is_empty() {
                println!("targets: {}", all.join(", "));
            } else {
                require(
                    &mut report,
                    Command::new("rustup")
                        .args(["target", "add"])
                        .args(missing)
                        .current_dir(root),
                );
            }
        }
        Err(problem) => report.fault(format!("rustc --print sysroot: {problem}")),
    }
    for component in COMPONENTS {
        let program = if component == "clippy" {
            "cargo-clippy"
        } else {
            component
        };
        if output(Command::new(program).arg("--version").current_dir(root)).is_err() {
            require(
                &mut report,
                Command::new("rustup")
                    .args(["component", "add", component])
                    .current_dir(root),
            );
        }
    }
    if emulator::find().is_none() {
        let root_user = output(Command::new("id").arg("-u")).is_ok_and(|id| id.trim() == "0");
        if root_user && Path::new("/etc/debian_version").exists() {
            require(&mut report, Command::new("apt-get").args(["-qq", "update"]));
            require(
                &mut report,
                Command::new("apt-get")
                    .args([
                        "-qq",
                        "-y",
                        "--no-install-recommends",
                        "install",
                        emulator::PACKAGE,
                    ])
                    .env("DEBIAN_FRONTEND", "noninteractive"),
            );
        }
    }
    match emulator::find() {
        Some(path) => println!("emulator: {}", path.display()),
        None => report.fault(emulator::missing()),
    }
    report
}

fn formatting(root: &Path) -> Report {
    let mut report = Report::default();
    require(&mut report, cargo(root).args(["fmt", "--all", "--check"]));
    report
}

fn lints(root: &Path) -> Report {
    let mut report = Report::default();
    require(
        &mut report,
        cargo(root).args([
            "clippy",
            "--workspace",
            "--all-targets",
            "--",
            "-D",
            "warnings",
        ]),
    );
    report
}

fn firmware(root: &Path) -> Report {
    let mut report = Report::default();
    for mut command in emulator::build_commands(root) {
        require(&mut report, &mut command);
    }
    report
}

/// Links only if no panic is reachable; at three levels of optimisation, because it is the optimiser that proves it.
fn gate(root: &Path) -> Report {
    let mut report = Report::default();
    for level in ["z", "2", "3"] {
        let mut command = cargo(root);
        command
            .args(["build", "--package", "evendraw-firmware", "--bin", "gate"])
            .args(["--profile", "firmware", "--target", emulator::TARGET])
            .env("CARGO_PROFILE_FIRMWARE_OPT_LEVEL", level);
        if level != "z" {
            // The firmware that is measured and run is of level z: the others must not displace it.
            command.env(
                "CARGO_TARGET_DIR",
                emulator::target_folder(root).join("gate"),
            );
        }
        require(&mut report, &mut command);
    }
    report
}

fn core_alone(root: &Path) -> Report {
    let mut report = Report::default();
    for target in TARGETS {
        require(
            &mut report,
            cargo(root).args([
                "build",
                "--package",
                "evendraw-core",
                "--release",
                "--target",
                target,
            ]),
        );
    }
    report
}

/// Types only: what differs between systems stands in the desktop's room `disk`, and in `link/port.rs` and `signals.rs`.
fn other_systems(root: &Path) -> Report {
    let mut report = Report::default();
    let mut check = cargo(root);
    check.args(["check", "--package", "evendraw", "--no-default-features"]);
    for target in OTHER_SYSTEMS {
        check.args(["--target", target]);
    }
    require(&mut report, &mut check);
    report
}

/// The package as it would be published, its pages without a warning, its examples run.
fn the_crate(root: &Path) -> Report {
    let mut report = Report::default();
    let package = ["--package", "evendraw-core"];
    require(
        &mut report,
        cargo(root)
            .args(["package", "--allow-dirty", "--no-verify"])
            .args(package),
    );
    require(
        &mut report,
        cargo(root)
            .args(["doc", "--no-deps"])
            .args(package)
            .env("RUSTDOCFLAGS", "-D warnings"),
    );
    for example in ["bolt_circle", "procedure_in_pieces"] {
        require(
            &mut report,
            cargo(root)
                .args(["run", "--quiet", "--example", example])
                .args(package),
        );
    }
    // No journal at all: every byte of it must be told as such.
    let no_journal = root.join("core/Cargo.toml");
    require(
        &mut report,
        cargo(root)
            .args(["run", "--quiet", "--example", "read_journal"])
            .args(package)
            .arg("--")
            .arg(no_journal),
    );
    report
}

/// The corpus has a step of its own, so that its matrix is in the report.
const JUDGING: &str = "judging";

/// Everything but the corpus and the emulated board: `--skip` would also hide tests elsewhere, so the targets are named one by one.
fn tests(root: &Path) -> Report {
    let mut report = Report::default();
    let targets: Vec<String> = test_targets(root)
        .into_iter()
        .filter(|name| !name.starts_with("emulated_") && name != JUDGING)
        .collect();
    let mut outer = cargo(root);
    outer.args([
        "test",
        "--workspace",
        "--no-fail-fast",
        "--lib",
        "--bins",
        "--examples",
    ]);
    for target in &targets {
        outer.args(["--test", target]);
    }
    for target in package_test_targets(root) {
        outer.args(["--test", &target]);
    }
    let ran = require(&mut report, &mut outer);
    empty_targets(&mut report, &ran, targets.iter());
    require(
        &mut report,
        cargo(root).args(["test", "--workspace", "--no-fail-fast", "--doc"]),
    );
    if report.passed == 0 {
        report.fault("no test ran");
    }
    report
}

fn judging(root: &Path) -> Report {
    let mut report = Report::default();
    let mut command = cargo(root);
    command.args(["test", "--package", "evendraw-tests", "--test", JUDGING]);
    let ran = require(&mut report, command.args(["--", "--nocapture"]));
    empty_targets(&mut report, &ran, [JUDGING.to_owned()].iter());
    report
}

fn emulated(root: &Path) -> Report {
    let mut report = Report::default();
    let targets: Vec<String> = test_targets(root)
        .into_iter()
        .filter(|name| name.starts_with("emulated_"))
        .collect();
    if targets.is_empty() {
        report.fault("tests/tests holds no emulated_*.rs");
        return report;
    }
    let mut inner = cargo(root);
    inner.args(["test", "--workspace", "--no-fail-fast"]);
    for target in &targets {
        inner.args(["--test", target]);
    }
    // One emulator at a time: two would share the cores with their own clocks, and time is what some of them measure.
    inner.args(["--", "--nocapture", "--test-threads=1"]);
    let ran = require(&mut report, &mut inner);
    empty_targets(&mut report, &ran, targets.iter());
    report
}

fn sizes(root: &Path) -> Report {
    let mut report = Report::default();
    let folders = TARGETS.map(|target| emulator::firmware_folder(root, target));
    match size::report(&folders) {
        Ok(text) => println!("{text}"),
        Err(problem) => report.fault(problem),
    }
    report
}

/// The integration tests of the tests package, by the name cargo gives them.
fn test_targets(root: &Path) -> Vec<String> {
    rust_files(&root.join("tests/tests"))
}

/// The integration tests of the other packages.
fn package_test_targets(root: &Path) -> Vec<String> {
    ["core", "sim-desktop", "firmware-example"]
        .iter()
        .flat_map(|package| rust_files(&root.join(package).join("tests")))
        .collect()
}

fn rust_files(folder: &Path) -> Vec<String> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut names: Vec<String> = entries
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| {
            path.extension().is_some_and(|ending| ending == "rs") || path.join("main.rs").is_file()
        })
        .filter_map(|path| {
            path.file_stem()
                .map(|stem| stem.to_string_lossy().into_owned())
        })
        .collect();
    names.sort();
    names
}

/// Names every target that was meant to run and ran no test.
fn empty_targets<'a>(
    report: &mut Report,
    ran: &BTreeMap<String, u64>,
    targets: impl Iterator<Item = &'a String>,
) {
    for target in targets {
        if ran.get(target).copied().unwrap_or(0) == 0 {
            report.fault(format!("tests/tests/{target}.rs ran no test"));
        }
    }
}

fn cargo(root: &Path) -> Command {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.current_dir(root);
    command
}

fn output(command: &mut Command) -> Result<String, String> {
    let output = command.output().map_err(|problem| problem.to_string())?;
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    } else {
        Err(String::from_utf8_lossy(&output.stderr).into_owned())
    }
}

/// Runs a command, showing its output as it comes; adds the tests it ran to the report, and its failure if it had one.
/// Returns the number of tests by target.
fn require(report: &mut Report, command: &mut Command) -> BTreeMap<String, u64> {
    let mut ran = BTreeMap::new();
    let words: Vec<String> = std::iter::once(command.get_program())
        .chain(command.get_args())
        .map(|word| word.to_string_lossy().into_owned())
        .collect();
    let words = words.join(" ");
    println!(
        "$ {}",
        words
            .rsplit_once("/bin/")
            .map_or(words.as_str(), |(_, rest)| rest)
    );
    match watch(report, &mut ran, command) {
        Ok(true) => {}
        Ok(false) => report.fault(format!("`{words}` failed")),
        Err(problem) => report.fault(format!("`{words}` did not start: {problem}")),
    }
    ran
}

fn watch(
    report: &mut Report,
    ran: &mut BTreeMap<String, u64>,
    command: &mut Command,
) -> io::Result<bool> {
    // One pipe for both streams, so that cargo's "Running …" stays before the results it belongs to.
    let (reader, writer) = io::pipe()?;
    command
        .stdin(std::process::Stdio::null())
        .stdout(writer.try_clone()?)
        .stderr(writer);
    let mut child = command.spawn()?;
    // The command holds the writing end; while it lives the reading end never sees an end.
    command
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null());
    let mut target = String::new();
    let mut out = io::stdout().lock();
    for line in BufReader::new(reader).split(b'\n') {
        let line = line?;
        let line = String::from_utf8_lossy(&line);
        writeln!(out, "{line}")?;
        let words = line.trim();
        if let Some(rest) = words.strip_prefix("Running ") {
            target = target_name(rest);
        } else if let Some((passed, failed)) = results(words) {
            report.passed += passed;
            report.failed += failed;
            *ran.entry(target.clone()).or_default() += passed + failed;
        }
    }
    out.flush()?;
    Ok(child.wait()?.success())
}

/// `tests/laws.rs (target/debug/deps/laws-0123)` is the target `laws`.
fn target_name(rest: &str) -> String {
    let path = rest.split(" (").next().unwrap_or(rest);
    let path = Path::new(path.trim_start_matches("unittests "));
    let stem = if path.ends_with("main.rs") {
        path.parent().and_then(Path::file_name)
    } else {
        path.file_stem()
    };
    stem.map(|stem| stem.to_string_lossy().into_owned())
        .unwrap_or_default()
}

/// `test result: ok. 12 passed; 0 failed; …` is (12, 0).
fn results(line: &str) -> Option<(u64, u64)> {
    let rest = line.strip_prefix("test result: ")?;
    let count = |word: &str| {
        let before = rest.split(word).next()?.trim_end();
        before
            .rsplit(|c: char| !c.is_ascii_digit())
            .next()?
            .parse()
            .ok()
    };
    Some((count(" passed")?, count(" failed")?))
}

#[cfg(test)]
mod tests {
    use super::{results, target_name};

    #[test]
    fn the_result_line_of_a_test_run_is_counted() {
        let line = "test result: ok. 12 passed; 3 failed; 0 ignored; 0 measured; 5 filtered out; finished in 0.51s";
        assert_eq!(results(line), Some((12, 3)));
        assert_eq!(results("running 12 tests"), None);
    }

    #[test]
    fn a_target_is_known_by_its_file() {
        assert_eq!(
            target_name("tests/laws.rs (target/debug/deps/laws-5a2b)"),
            "laws"
        );
        assert_eq!(
            target_name("tests/emulated/main.rs (target/debug/deps/emulated-5a2b)"),
            "emulated"
        );
        assert_eq!(
            target_name("unittests src/lib.rs (target/debug/deps/x-5a2b)"),
            "lib"
        );
    }
}
