//! The emulated adapter on a pseudo terminal, with a hand that pulls what its display asks for: to look at the desk with.
//!
//! ```sh
//! cargo verify firmware && cargo run -p evendraw-tests --example board_on_a_terminal -- /tmp/port
//! ```
//! In the desk: F11, the printed path, Enter; then a joint, and Enter to have the board work it. The hand waits until something
//! is to be pulled, goes slowly enough to be watched, and stops at Ctrl-C. `--cut 5` pulls the cable after so many seconds, for
//! as long again.

#[path = "../tests/adapter_rig/mod.rs"]
mod adapter_rig;

use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use adapter_rig::wire::Wire;
use adapter_rig::{Rig, blank_flash};

fn main() {
    let mut words = std::env::args().skip(1);
    let name = PathBuf::from(words.next().unwrap_or_else(|| "port".to_owned()));
    let cut = match (words.next().as_deref(), words.next()) {
        (Some("--cut"), Some(seconds)) => seconds.parse::<f32>().ok().map(Duration::from_secs_f32),
        _ => None,
    };
    let folder = std::env::temp_dir().join(format!("evendraw-board-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    let mut rig = Rig::start(&blank_flash(&folder));
    rig.still(700);
    let mut cable = Some(plug(&rig, &name));
    println!("the board is at {}", name.display());
    let began = Instant::now();
    loop {
        // A second of the board's clock is a second here.
        let page = rig.page();
        let asked = page
            .split("to ")
            .nth(1)
            .and_then(|rest| rest.split_whitespace().next()?.parse::<f64>().ok());
        match asked {
            Some(torque) if page.starts_with("NEXT") => slowly(&mut rig, torque),
            _ => rest(&mut rig, 40),
        }
        if let Some(after) = cut {
            let since = began.elapsed();
            let out = since >= after && since < after * 2;
            if out && cable.is_some() {
                cable = None;
                println!("the cable is out");
            } else if !out && cable.is_none() {
                cable = Some(plug(&rig, &name));
                println!("the cable is in again");
            }
        }
    }
}

/// Readings at rest, in their own time.
fn rest(rig: &mut Rig, times: usize) {
    for _ in 0..times {
        rig.still(25);
        thread::sleep(Duration::from_millis(25));
    }
}

/// A pull of two seconds, held for a moment, and a rest.
fn slowly(rig: &mut Rig, torque: f64) {
    for step in 1..=80 {
        rig.load(torque * f64::from(step) / 80.0, 15.0, 25);
        thread::sleep(Duration::from_millis(25));
    }
    rig.load(torque * 1.003, 0.0, 300);
    thread::sleep(Duration::from_millis(300));
    rig.load(torque / 2.0, 0.0, 10);
    rest(rig, 60);
}

/// A cable between the board and a pseudo terminal under this name.
fn plug(rig: &Rig, name: &Path) -> Wire {
    let wire = Wire::between(rig);
    let _ = std::fs::remove_file(name);
    symlink(&wire.port, name).expect("a name for it");
    wire
}
