//! Law L2: the same inputs make the same record bytes on the desktop, debug and release, and on an emulated Cortex-M4F.

use std::ffi::OsString;
use std::process::Command;
use std::time::Duration;

use evendraw_tests::emulator::{Board, Setup, firmware, workspace};

/// What the program prints on the desktop.
fn on_the_desktop(profile: &str) -> String {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| OsString::from("cargo"));
    let output = Command::new(cargo)
        .current_dir(workspace())
        .args(["run", "--quiet", "--package", "evendraw-firmware"])
        .args(["--bin", "sessions", "--profile", profile])
        .output()
        .expect("cargo starts");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).expect("digits and blanks")
}

#[test]
fn two_hundred_sessions_make_the_same_bytes_on_desktop_and_chip() {
    let debug = on_the_desktop("dev");
    let release = on_the_desktop("release");
    let mut board = Board::start(&Setup {
        machine: "mps2-an386",
        firmware: firmware("sessions"),
        more: ["-semihosting-config", "enable=on,target=native"]
            .map(OsString::from)
            .to_vec(),
        ..Setup::default()
    });
    let chip =
        String::from_utf8(board.finish(Duration::from_secs(120))).expect("digits and blanks");

    assert_eq!(debug.lines().count(), 200);
    for ((debug, release), chip) in debug.lines().zip(release.lines()).zip(chip.lines()) {
        assert_eq!(debug, release, "debug and release");
        assert_eq!(debug, chip, "desktop and chip");
    }
    assert_eq!(chip.lines().count(), 200, "{chip}");

    // Two sessions alike would be two that did nothing.
    let digests: std::collections::BTreeSet<&str> = chip
        .lines()
        .filter_map(|line| line.split(' ').nth(1))
        .collect();
    assert_eq!(digests.len(), 200);
    let sum = |column: usize| -> u32 {
        let numbers = chip.lines().filter_map(|line| line.split(' ').nth(column));
        numbers
            .filter_map(|number| number.parse::<u32>().ok())
            .sum()
    };
    println!(
        "{} records from {} readings, the same on all three",
        sum(2),
        sum(3)
    );
    assert!(sum(2) > 4_000, "too little happened: {} records", sum(2));
}
