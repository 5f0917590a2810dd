//! The program is killed at moments that chance chooses: what it told stands, for its own eyes and for those of another system.
//!
//! Knows nothing of Wine but how to start it.

use std::io::{BufRead as _, BufReader, Write as _};
use std::process::Stdio;
use std::sync::mpsc;
use std::time::Duration;

use serde_json::Value;

use super::wine::{Said, Wine};

/// Kills, without the variable `EVENDRAW_KILLS`.
const KILLS: usize = 60;
/// How long a line is waited for while the program runs, and after it was killed.
const START: Duration = Duration::from_secs(20);
const REST: Duration = Duration::from_millis(300);
/// Fasteners of the joint that is worked: more than are worked between two looks.
const FASTENERS: usize = 60;

/// Joint, fastener, stage, attempt and verdict.
type Told = [String; 5];

/// Chance, the same each time.
struct Chance(u32);

impl Chance {
    fn below(&mut self, end: u32) -> u32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 8) % end
    }
}

/// An invented cover with many studs.
fn plan() -> String {
    let places: Vec<String> = (0..FASTENERS)
        .map(|at| format!("{} = [{}, {}]", at + 1, at % 10 * 40, at / 10 * 40))
        .collect();
    format!(
        "[build]\ntitle = \"Harbour pump 7\"\n\n[[tool]]\nid = \"D1\"\nkind = \"display\"\ncapacity = \"100 N·m\"\nlowest = \"2 N·m\"\n\n\
        [[joint]]\nid = \"cover\"\nreuse = \"free\"\norder = \"listed\"\npositions = {{ {} }}\n\n\
        [[joint.stage]]\ndo = \"tighten\"\ntorque = \"30 N·m\"\nwithin = \"±10 %\"\n\n\
        [[joint.stage]]\ndo = \"tighten\"\ntorque = \"60 N·m\"\nwithin = \"±10 %\"\n",
        places.join(", ")
    )
}

fn told(line: &str) -> Option<Told> {
    let object: Value = serde_json::from_str(line).ok()?;
    if object["record"] != "attempt" {
        return None;
    }
    Some(["joint", "fastener", "stage", "attempt", "verdict"].map(|key| object[key].to_string()))
}

/// Works, or rehearses, until it is killed; what was told before.
fn one(wine: &Wine, is_rehearsal: bool, chance: &mut Chance) -> Vec<Told> {
    let line: &[&str] = if is_rehearsal {
        &[
            "rehearse",
            "kills.toml",
            "--json",
            "--journal",
            "rehearsed.evj",
        ]
    } else {
        &[
            "work",
            "kills.toml",
            "--json",
            "--read",
            "--tool",
            "D1",
            "--joint",
            "cover",
            "--answer",
            "person=R. Falk",
        ]
    };
    let mut child = wine
        .command(line)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    if let Some(mut input) = child.stdin.take() {
        std::thread::spawn(move || {
            let typed = "30,2\n".repeat(FASTENERS) + &"60,1\n".repeat(FASTENERS);
            let _ = input.write_all(typed.as_bytes());
            // Open until it is killed.
            std::thread::sleep(Duration::from_secs(20));
        });
    }
    let out = BufReader::new(child.stdout.take().expect("piped"));
    let (sender, lines) = mpsc::channel();
    std::thread::spawn(move || {
        out.lines()
            .map_while(Result::ok)
            .try_for_each(|line| sender.send(line))
    });
    let after = chance.below(4);
    let mut heard = Vec::new();
    while heard.len() < usize::try_from(after).unwrap_or(0)
        && let Ok(line) = lines.recv_timeout(START)
    {
        heard.extend(told(&line));
    }
    let most = if after == 0 { 600_000 } else { 12_000 };
    std::thread::sleep(Duration::from_micros(u64::from(chance.below(most))));
    let _ = child.kill();
    let _ = child.wait();
    // What others of Wine hold open has no end.
    while let Ok(line) = lines.recv_timeout(REST) {
        heard.extend(told(&line));
    }
    heard
}

/// Every told verdict is among those kept, as both systems read them.
fn is_kept(wine: &Wine, journal: &str, announced: &[Told]) -> Result<(), String> {
    let line = ["record", journal, "--json"];
    let (there, here): (Said, Said) = (wine.run(line), wine.run_here(line));
    if (there.status, &there.out) != (here.status, &here.out) {
        return Err(format!("{journal} reads otherwise there than here"));
    }
    if there.status != Some(0) && !announced.is_empty() {
        return Err(format!("{journal} does not read: {}", there.err));
    }
    let mut kept: Vec<Told> = there.out.lines().filter_map(told).collect();
    for one in announced {
        match kept.iter().position(|own| own == one) {
            Some(at) => drop(kept.remove(at)),
            None => return Err(format!("{one:?} was told and is not kept in {journal}")),
        }
    }
    Ok(())
}

/// The check.
pub(crate) fn nothing_told_is_lost(wine: &Wine) -> Result<String, String> {
    wine.put("kills.toml", &plan());
    let kills = std::env::var("EVENDRAW_KILLS");
    let kills: usize = kills
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(KILLS);
    let mut chance = Chance(0x9e37_79b9);
    let (mut worked, mut rehearsed) = (Vec::new(), Vec::new());
    for kill in 0..kills {
        let is_rehearsal = kill % 2 == 0;
        let own = one(wine, is_rehearsal, &mut chance);
        if is_rehearsal {
            rehearsed.extend(own);
            is_kept(wine, "rehearsed.evj", &rehearsed)?;
        } else {
            worked.extend(own);
            is_kept(wine, "kills.evj", &worked)?;
        }
    }
    if kills > 10 && (worked.is_empty() || rehearsed.is_empty()) {
        return Err("nothing was told before the kills".to_owned());
    }
    Ok(format!(
        "{kills} kills, {} verdicts told at work and {} in rehearsal, none lost, read alike there and here",
        worked.len(),
        rehearsed.len()
    ))
}
