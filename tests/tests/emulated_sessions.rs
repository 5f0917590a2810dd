//! Law L2: the same inputs make the same record bytes on the desktop, debug and release, and on an emulated Cortex-M4F and
//! Cortex-M0.

use std::ffi::OsString;
use std::process::Command;
use std::time::Duration;

use evendraw_tests::emulator::{Board, SMALLEST_TARGET, Setup, TARGET, firmware_for, workspace};

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

/// A core on a board that counts instructions.
struct Core {
    name: &'static str,
    target: &'static str,
    machine: &'static str,
    /// Instructions that a tick of the board's timer stands for: 40 at 25 MHz, 62.5 at 16 MHz, one a nanosecond.
    instructions_a_tick: f64,
    /// Instructions at most, for each that the Cortex-M4 may take: the smallest core has no long multiplication.
    allowed: f64,
}

const CORES: [Core; 2] = [
    Core {
        name: "Cortex-M4",
        target: TARGET,
        machine: "mps2-an386",
        instructions_a_tick: 40.0,
        allowed: 1.0,
    },
    Core {
        name: "Cortex-M0",
        target: SMALLEST_TARGET,
        machine: "microbit",
        instructions_a_tick: 62.5,
        allowed: 2.0,
    },
];

/// What the program prints on a core: the sessions, after its sizes and costs were reported and held.
fn on(core: &Core) -> String {
    let mut board = Board::start(&Setup {
        machine: core.machine,
        firmware: firmware_for(core.target, "sessions"),
        more: [
            "-semihosting-config",
            "enable=on,target=native",
            "-icount",
            "shift=0",
        ]
        .map(OsString::from)
        .to_vec(),
        ..Setup::default()
    });
    let said =
        String::from_utf8(board.finish(Duration::from_secs(120))).expect("digits and blanks");
    let (sessions, facts) = said
        .split_once("size ")
        .expect("the sessions, then size and cost");
    let (size, costs) = facts.split_once('\n').expect("a line of sizes");
    println!("{}:", core.name);
    weigh(size);
    let (costs, inputs) = costs
        .split_once("joint ")
        .expect("the cost of readings, then that of inputs");
    report(core, costs);
    let (inputs, stack) = inputs.split_once("stack ").expect("at last the stack");
    report_inputs(core, inputs);
    let stack: u32 = stack.trim().parse().expect("a number");
    println!("the sessions' stack came to {stack} bytes");
    sessions.to_owned()
}

#[test]
fn two_hundred_sessions_make_the_same_bytes_on_desktop_and_chips() {
    let debug = on_the_desktop("dev");
    let release = on_the_desktop("release");
    let [chip, smallest] = CORES.map(|core| on(&core));

    assert_eq!(debug.lines().count(), 200);
    for ((debug, release), chip) in debug.lines().zip(release.lines()).zip(chip.lines()) {
        assert_eq!(debug, release, "debug and release");
        assert_eq!(debug, chip, "desktop and chip");
    }
    assert_eq!(chip.lines().count(), 200, "{chip}");
    assert_eq!(chip, smallest, "the two chips");

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
        "{} records from {} readings, the same on all four",
        sum(2),
        sum(3)
    );
    assert!(sum(2) > 4_000, "too little happened: {} records", sum(2));
}

/// What a reading may cost on average, and at worst, in instructions, over the 200 sessions. The aim of 350 is not met: see
/// `firmware-example/MEASURED.md`. At 16 MHz this is a twentieth of the millisecond between two readings.
const AVERAGE_MAX: f64 = 760.0;
const WORST_MAX: f64 = 3_200.0;

/// What each kind of input may cost at worst, on joints of 6, 14 and 64 fasteners; a reading that ends an attempt tells the
/// verdict, makes its records, works out what is next and arms for it. The aim of 5,000 is not met there: judging and keeping take a
/// third, thresholds of the next step another. At the limits of the core, told by a person, the run-down is looked for through every later step.
const INPUT_WORST_MAX: [(&str, f64); 6] = [
    ("Pulled", 2_000.0),
    ("Rest", 3_000.0),
    ("Records", 8_400.0),
    ("Idle", 480.0),
    ("Durable", 2_800.0),
    ("Told", 10_600.0),
];
/// What an average reading may cost more on the largest joint than on the smallest.
const GROWTH_MAX: f64 = 1.1;

/// What a session may take in memory on the chip, ledger and tracker included, the trace of the pull apart, in bytes. 2,048 was
/// aimed at; a byte for each of 1,024 steps and ten for each of 64 fasteners leave too little for the tracker's 1,150.
const SESSION_MAX: u32 = 2_920;

/// Prints what a session takes in memory, and holds it.
fn weigh(size: &str) {
    let sizes: Vec<u32> = size
        .split(' ')
        .map(|word| word.trim().parse().expect("a number"))
        .collect();
    let [session, trace] = sizes[..] else {
        panic!("{size}");
    };
    let own = session - trace;
    println!("a session takes {own} bytes, and {trace} for the trace of the pull");
    assert!(own < SESSION_MAX, "{own}");
}

/// Prints what a reading costs by kind of stage, and holds it.
fn report(core: &Core, costs: &str) {
    let (tick, allowed) = (core.instructions_a_tick, core.allowed);
    println!("instructions a reading, from Session::apply to its outcome:");
    println!(
        "{:<8} {:>8} {:>8} {:>8}",
        "stage", "readings", "average", "worst"
    );
    let mut seen = 0;
    for line in costs.lines() {
        let words: Vec<&str> = line.split(' ').collect();
        let [_, kind, readings, ticks, worst] = words[..] else {
            panic!("{line}");
        };
        let number = |word: &str| word.parse::<f64>().expect("a number");
        if number(readings) == 0.0 {
            continue;
        }
        if kind == "nothing" {
            let each = number(ticks) / number(readings) * tick;
            println!("measuring itself takes {each:.0}");
            continue;
        }
        seen += 1;
        let average = number(ticks) / number(readings) * tick;
        let worst = number(worst) * tick;
        println!("{kind:<8} {readings:>8} {average:>8.0} {worst:>8.0}");
        assert!(
            average < AVERAGE_MAX * allowed,
            "{kind}: {average} on average"
        );
        assert!(worst < WORST_MAX * allowed, "{kind}: {worst} at worst");
    }
    assert!(seen >= 4, "{costs}");
}

/// Prints what each kind of input costs by the size of the joint, and holds it.
fn report_inputs(core: &Core, joints: &str) {
    let tick = core.instructions_a_tick;
    println!("instructions an input, by fasteners and stages of the joint:");
    println!(
        "{:<8} {:<8} {:>8} {:>8} {:>8} {:>8}",
        "joint", "input", "inputs", "average", "99 %", "worst"
    );
    let number = |word: &str| word.trim().parse::<f64>().expect("a number");
    let mut pulled = Vec::new();
    for joint in joints.split("joint ") {
        let (head, inputs) = joint.split_once('\n').expect("a joint, then its inputs");
        let words: Vec<&str> = head.split(' ').collect();
        let [fasteners, stages, settled] = words[..] else {
            panic!("{head}");
        };
        let name = format!("{fasteners} x {stages}");
        assert_eq!(
            number(fasteners) * number(stages),
            number(settled),
            "{name}: not worked to its end"
        );
        let mut seen = 0;
        for line in inputs.lines().filter(|line| !line.is_empty()) {
            let words: Vec<&str> = line.split(' ').collect();
            let [_, kind, inputs, ticks, most, worst] = words[..] else {
                panic!("{line}");
            };
            let average = number(ticks) / number(inputs) * tick;
            let most = number(most) * tick;
            let worst = number(worst) * tick;
            println!("{name:<8} {kind:<8} {inputs:>8} {average:>8.0} {most:>8.0} {worst:>8.0}");
            let (_, allowed) = INPUT_WORST_MAX
                .iter()
                .find(|(known, _)| *known == kind)
                .expect("a kind that has a budget");
            assert!(number(inputs) > 0.0, "{name}, {kind}: never happened");
            assert!(
                worst < *allowed * core.allowed,
                "{name}, {kind}: {worst} at worst"
            );
            if kind == "Pulled" {
                pulled.push(average);
            }
            seen += 1;
        }
        assert_eq!(seen, INPUT_WORST_MAX.len(), "{name}");
    }
    let [small, _, large] = pulled[..] else {
        panic!("three joints: {joints}");
    };
    assert!(
        large < small * GROWTH_MAX,
        "a reading costs {small} on the smallest joint and {large} on the largest"
    );
}
