//! The desktop's one binary, built once, and run as a shell would.
//!
//! Knows nothing of what it does.

use std::ffi::{OsStr, OsString};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

use crate::emulator::workspace;

/// The path of `evendraw`, built from this workspace in the profile of this test.
///
/// # Panics
/// When it does not build: then there is nothing to test.
#[must_use]
pub fn evendraw() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| OsString::from("cargo"));
        let mut build = Command::new(cargo);
        // The tests of the whole workspace have the program built with the features that theirs come to. Asked for by its package alone it
        // would be built with others, and half of what it stands on a second time. Any test beside it will do.
        build.current_dir(workspace()).args([
            "test",
            "--quiet",
            "--workspace",
            "--no-run",
            "--test",
            "told_to_end",
        ]);
        if !cfg!(debug_assertions) {
            build.arg("--release");
        }
        let status = build.status().expect("cargo starts");
        assert!(status.success(), "evendraw does not build");
        let folder = std::env::var_os("CARGO_TARGET_DIR")
            .map_or_else(|| workspace().join("target"), PathBuf::from);
        let profile = if cfg!(debug_assertions) {
            "debug"
        } else {
            "release"
        };
        folder
            .join(profile)
            .join(format!("evendraw{}", std::env::consts::EXE_SUFFIX))
    })
}

/// Runs it with no display, in a folder, and waits.
///
/// # Panics
/// When it does not start.
pub fn run(folder: &Path, line: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Output {
    command(folder, line).output().expect("evendraw starts")
}

/// Runs it with no display, in a folder, with this typed, and waits.
///
/// # Panics
/// When it does not start.
pub fn run_typed(
    folder: &Path,
    line: impl IntoIterator<Item = impl AsRef<OsStr>>,
    text: &str,
) -> Output {
    let mut child = command(folder, line)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("evendraw starts");
    let mut input = child.stdin.take().expect("piped");
    // It may end before it has read all: then the rest is not wanted.
    let _ = input.write_all(text.as_bytes());
    drop(input);
    child.wait_with_output().expect("it ends")
}

/// A command that runs it with no display, in a folder; what it keeps of the user's own lies there too.
pub fn command(folder: &Path, line: impl IntoIterator<Item = impl AsRef<OsStr>>) -> Command {
    let mut command = Command::new(evendraw());
    command
        .current_dir(folder)
        .args(line)
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .env("NO_COLOR", "1")
        .env("XDG_STATE_HOME", folder.join(".state"));
    command
}
