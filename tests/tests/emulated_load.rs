//! The adapter at full load on an emulated board whose time is counted in instructions: nothing is lost, whatever a turn takes.
//!
//! An instruction takes 128 ns: two cycles of a core at 16 MHz, which is what the board one can buy runs at without its crystal; flash,
//! display, converter and wires take what their data sheets say (`firmware-example/src/bin/load`).

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::time::Duration;

use evendraw_tests::emulator::{Board, Setup, firmware};

/// What the emulator may take on a slow host; the board's own clock decides everything else.
const PATIENCE: Duration = Duration::from_mins(10);

/// Readings that can wait for a turn on the board: a turn of half as many milliseconds would still lose none.
const LONGEST_MICROS: u32 = 4_000;

#[test]
fn no_byte_and_no_reading_is_lost_at_full_load() {
    let mut board = Board::start(&Setup {
        machine: "mps2-an386",
        firmware: firmware("load"),
        more: [
            "-semihosting-config",
            "enable=on,target=native",
            "-icount",
            "shift=7",
        ]
        .map(OsString::from)
        .to_vec(),
        ..Setup::default()
    });
    let said = String::from_utf8(board.finish(PATIENCE)).expect("words and digits");
    let found: BTreeMap<&str, u32> = said
        .lines()
        .filter_map(|line| {
            let (what, number) = line.rsplit_once(' ')?;
            Some((what, number.parse().ok()?))
        })
        .collect();
    let of = |what: &str| {
        let number = found.get(what).copied();
        number.unwrap_or_else(|| panic!("the board does not say `{what}`: {said}"))
    };
    println!(
        "longest turn {} µs, overruns {}\n{said}",
        of("longest turn"),
        of("bytes lost") + of("readings lost")
    );
    assert_eq!((of("bytes lost"), of("readings lost")), (0, 0), "{said}");
    assert!(of("longest turn") < LONGEST_MICROS, "{said}");
    // An answer that had to be asked for twice would have cost 0.7 s; the first was asked while the flash was opened.
    assert!(of("questions asked again") <= 1, "{said}");

    // It was a load: a port and a pin that hold one until the loop looks would have lost much of it.
    assert!(of("bytes lost without a queue") > 1_000, "{said}");
    assert!(of("readings lost without a queue") > 100, "{said}");
    assert!(of("journal fetched") > 50_000, "{said}");
    assert!(of("told unasked") > 400, "{said}");
    assert!(of("display written") > 2_000, "{said}");
    assert!(of("pages programmed") > 100, "{said}");
    assert!(of("sectors erased") > 0, "{said}");
}
