//! The power goes, whatever way a joint is worked in: what was told stands, and work goes on where it stood.
//!
//! Lines, a display, a pointer, a gauge, a mark, a click, a tick by hand, a sheet typed back, and what puts records right: each is
//! worked by a process that SIGKILL ends at a moment that chance chooses. A round kills each once; `EVENDRAW_KILLS=n` kills n times.

mod hands;

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use evendraw_tests::binary::{command, run};
use serde_json::Value;

use super::FALK;

/// Fasteners of each joint: work for many lives.
const FASTENERS: usize = 60;

/// A way of working, by the joint that is worked in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    /// Values typed for this tool; what is typed before the first, and for each.
    Read(&'static str, &'static str, &'static str),
    /// Samples at standard input.
    Lines,
    /// A sheet typed back, a process for each box.
    Paper,
    /// Pulls moved to another fastener, clicks withdrawn: at a desk without its window.
    PutRight,
}

const WAYS: [(&str, Way); 9] = [
    ("display", Way::Read("D1", "", "30,2\n")),
    ("eye", Way::Read("B1", "", "30\n")),
    ("setting", Way::Read("W1", "30\n", "click\n")),
    ("gauge", Way::Read("G1", "", "91\n")),
    ("mark", Way::Read("spanner", "", "90\n")),
    ("hand", Way::Read("spanner", "", "done\n")),
    ("lines", Way::Lines),
    ("paper", Way::Paper),
    ("put-right", Way::PutRight),
];

/// An invented pump with a joint for each way.
fn plan() -> String {
    let mut plan = String::from("[build]\ntitle = \"Harbour pump 7\"\n");
    let torque = "capacity = \"100 N·m\"\nlowest = \"2 N·m\"\n";
    for (id, kind, more) in [
        ("D1", "display", torque),
        ("B1", "beam", torque),
        ("W1", "click", torque),
        ("S1", "stream", torque),
        ("G1", "angle-gauge", ""),
        ("spanner", "hand", ""),
    ] {
        plan += &format!("\n[[tool]]\nid = \"{id}\"\nkind = \"{kind}\"\n{more}");
    }
    let places: Vec<String> = (0..FASTENERS)
        .map(|at| format!("{} = [{}, {}]", at + 1, at % 10 * 40, at / 10 * 40))
        .collect();
    for (joint, way) in WAYS {
        let stage = match (joint, way) {
            ("gauge" | "mark", _) => "do = \"turn\"\nangle = \"90°\"",
            ("hand", _) => "do = \"tighten\"\ntorque = \"12 N·m\"\ntool = \"spanner\"",
            _ => "do = \"tighten\"\ntorque = \"30 N·m\"\nwithin = \"±10 %\"",
        };
        plan += &format!(
            "\n[[joint]]\nid = \"{joint}\"\nreuse = \"free\"\norder = \"listed\"\npositions = {{ {} }}\n\n[[joint.stage]]\n{stage}\n",
            places.join(", ")
        );
    }
    plan
}

/// Joint, fastener, verdict or what else was told.
type Told = (String, String, String);

/// What an object says that must not be lost; none where it says nothing of the kind.
fn told(object: &Value) -> Option<Told> {
    let text = |key: &str| object[key].as_str().unwrap_or_default().to_owned();
    let what = match object["record"].as_str()? {
        "attempt" | "reassigned" => text("verdict"),
        "done" => text("manner"),
        "withdrawn" => format!("record {} is withdrawn", object["of"]),
        _ => return None,
    };
    Some((text("joint"), text("fastener"), what))
}

/// Chance, the same each time.
struct Chance(u32);

impl Chance {
    fn below(&mut self, end: u32) -> u32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 8) % end
    }
}

struct Bench {
    folder: PathBuf,
    chance: Chance,
    announced: Vec<Told>,
    /// Boxes of the sheet that somebody began to type back.
    typed: usize,
}

impl Bench {
    /// Works in a way until SIGKILL, and takes in what was told before it.
    fn one(&mut self, joint: &str, way: Way) {
        let mut child = self.start(joint, way);
        let mut input = child.stdin.take().expect("piped");
        let typing = std::thread::spawn(move || {
            // It is killed before it has read all.
            let _ = input.write_all(typed(way).as_bytes());
            let _ = input.flush();
            input
        });
        let mut out = BufReader::new(child.stdout.take().expect("piped"));
        let after = self.chance.below(4);
        let (mut heard, mut line) = (0, String::new());
        while heard < after && out.read_line(&mut line).expect("text") > 0 {
            let own = serde_json::from_str(&line).ok().as_ref().and_then(told);
            heard += u32::from(own.is_some());
            self.announced.extend(own);
            line.clear();
        }
        // Before anything was told the start of a process counts too.
        let most = if after == 0 { 120_000 } else { 6_000 };
        std::thread::sleep(Duration::from_micros(u64::from(self.chance.below(most))));
        // A box that was typed back may be at its end.
        let _ = child.kill();
        child.wait().expect("it ends");
        let mut rest = String::new();
        out.read_to_string(&mut rest).expect("text");
        let lines = rest
            .lines()
            .filter_map(|line| serde_json::from_str(line).ok());
        self.announced
            .extend(lines.filter_map(|object: Value| told(&object)));
        // Kept or not when it was killed: the next box.
        self.typed += usize::from(way == Way::Paper);
        drop(typing.join());
    }

    fn start(&self, joint: &str, way: Way) -> Child {
        let mut command: Command = match way {
            Way::Read(tool, ..) => {
                let line = ["work", "all.toml", "--json", "--read", "--tool", tool];
                command(
                    &self.folder,
                    line.iter().chain(&["--joint", joint]).chain(&FALK),
                )
            }
            Way::Lines => {
                let line = ["work", "all.toml", "--json", "--lines", "-", "--tool", "S1"];
                // What the kill before left in mid-pull is pulled again.
                let more = ["--joint", joint, "--answer", "decide=again"];
                command(&self.folder, line.iter().chain(&more).chain(&FALK))
            }
            Way::Paper => {
                let fastener = (self.typed + 1).to_string();
                let line = [
                    "paper", "all.evj", "--json", "--joint", joint, "--stage", "1",
                ];
                let who = ["--name", "R. Falk", "--fastener", &fastener];
                command(&self.folder, line.iter().chain(&who))
            }
            Way::PutRight => hands::process(&self.folder),
        };
        command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts")
    }

    /// Everything that was told is kept, as often as it was told.
    fn nothing_is_lost(&self) {
        let listed = run(&self.folder, ["record", "all.evj", "--json"]);
        assert_eq!(listed.status.code(), Some(0));
        let listed = String::from_utf8_lossy(&listed.stdout).into_owned();
        let mut kept: Vec<Told> = listed
            .lines()
            .filter_map(|line| told(&serde_json::from_str(line).expect("an object")))
            .collect();
        for one in &self.announced {
            let at = kept.iter().position(|own| own == one);
            let at = at.unwrap_or_else(|| panic!("{one:?} was told and is not kept"));
            kept.remove(at);
        }
    }
}

/// What is typed or sent in one life: more than it lives to read.
fn typed(way: Way) -> String {
    match way {
        Way::Read(_, first, each) => first.to_owned() + &each.repeat(FASTENERS),
        Way::Lines => hands::rows(12),
        Way::Paper | Way::PutRight => String::new(),
    }
}

fn folder() -> PathBuf {
    let folder = std::env::temp_dir().join(format!("evendraw-ways-{}-killed", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join("all.toml"), plan()).expect("the plan");
    folder
}

/// Whether the joint is worked to its end: then it says nothing new.
fn is_done(folder: &Path, joint: &str) -> bool {
    let listed = run(folder, ["work", "all.toml", "--read", "--joint", joint]);
    listed.status.code() == Some(0)
}

#[test]
fn no_verdict_that_was_told_is_lost_in_any_way_of_working() {
    let kills = std::env::var("EVENDRAW_KILLS");
    let kills: usize = kills.ok().and_then(|text| text.parse().ok()).unwrap_or(18);
    let mut bench = Bench {
        folder: folder(),
        chance: Chance(0x9e37_79b9),
        announced: Vec::new(),
        typed: 0,
    };
    // A journal to begin with: a sheet is typed back into one.
    run(
        &bench.folder,
        [
            "work", "all.toml", "--read", "--joint", "display", FALK[0], FALK[1],
        ],
    );
    let mut killed = [0_usize; WAYS.len()];
    for kill in 0..kills {
        let at = kill % WAYS.len();
        let (joint, way) = WAYS[at];
        bench.one(joint, way);
        killed[at] += 1;
        if kill % WAYS.len() == WAYS.len() - 1 {
            bench.nothing_is_lost();
        }
    }
    bench.nothing_is_lost();
    let audit = run(&bench.folder, ["record", "all.evj", "--audit"]);
    let said = String::from_utf8_lossy(&audit.stdout).into_owned();
    assert!(said.contains(", 0 differ"), "{said}");
    for (joint, _) in WAYS {
        let own = bench.announced.iter().filter(|(own, ..)| own == joint);
        println!("{joint}: {} told", own.count());
    }
    println!(
        "{kills} kills, {} verdicts and words told, none lost",
        bench.announced.len()
    );
    assert!(!is_done(&bench.folder, "paper") || kills > FASTENERS);
    let _ = std::fs::remove_dir_all(&bench.folder);
}
