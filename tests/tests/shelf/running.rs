//! Running torque over builds: locking nuts of several builds held against a plain scan and against what their locks drag; and whoever
//! goes on with a build puts it beside its forerunners by the one rule, the desk as `work`, while `check` says so beforehand.
//!
//! The nuts are those of `running/model.rs`; everything in it is invented.

use std::fs;
use std::path::Path;

use evendraw::desk::model::Model;
use evendraw::job::Job;
use evendraw::plan::Plan;
use evendraw::store::{Purpose, read};
use evendraw_core::record::{Added, Doubt, Entry, Record, Role};
use evendraw_core::sample::Sample;
use evendraw_core::session::Input;
use evendraw_core::unit::{Instant, Rotation, Torque};
use evendraw_tests::binary::run_typed;
use serde_json::Value;

use super::{evendraw, objects};

#[path = "../running/model.rs"]
#[expect(dead_code, reason = "what only the tests of running torque use")]
mod model;

use model::{Model as Nut, Rng, Setup};

const PLAN: &str = r#"
[build]
title = "Strainer"

[[tool]]
id = "A1"
kind = "adapter"
capacity = "120 N·m"
lowest = "2 N·m"
accuracy = "2 %"
calibrated = 2026-01-05
due = 2099-01-05

[[tool]]
id = "D1"
kind = "display"
capacity = "120 N·m"
lowest = "5 N·m"
step = "0.1 N·m"
accuracy = "2 %"
calibrated = 2026-01-05
due = 2099-01-05

[[joint]]
id = "cover"
title = "Strainer cover"
thread = "M10x1.5"
class = "10.9"
grip = "30 mm"
prevailing = "measure"
circle = { number = 6, diameter = "120 mm" }

[[joint.stage]]
do = "tighten"
order = "listed"
torque = "25 N·m"
within = "±8 %"

[[joint.stage]]
do = "tighten"
order = "listed"
torque = "40 N·m"
within = "±8 %"
"#;
const NUTS: u32 = 6;

/// What the lock of a nut drags: 3 to 3.5 N·m over the shop.
fn drag(build: u32, nut: u32) -> f64 {
    3.0 + 0.1 * f64::from((build + nut) % 6)
}

fn thousandths(value: f64) -> i32 {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a few hundred N·m or some thousand degrees"
    )]
    let whole = (value * 1_000.0).round() as i32;
    whole
}

/// A build whose nuts were run down and pulled at their first stage; its journal.
fn build(folder: &Path, number: u32, drag: impl Fn(u32) -> f64) -> std::path::PathBuf {
    fs::create_dir_all(folder).expect("a folder");
    fs::write(folder.join("strainer.toml"), PLAN).expect("a plan");
    let path = folder.join("strainer.evj");
    let plan = Plan::parse("strainer.toml", PLAN).expect("a plan");
    let mut job = Job::create(&path, plan, Purpose::Job).expect("a job");
    job.set_wall_time(1_777_000_000 + i64::from(number) * 86_400);
    let who = Input::Person {
        name: "R. Falk",
        role: Role::Operator,
    };
    let with = Input::Tool {
        id: "A1",
        waiver: "",
    };
    for input in [who, with] {
        job.apply(0, Instant::BOOT, input).expect("the joint");
    }
    let mut rng = Rng::new(u64::from(number) + 1);
    let mut begun = 0.0;
    for nut in 0..NUTS {
        let setup = Setup {
            drag: drag(nut),
            wave: 0.03,
            breakaway: 0.1,
            run_down: 200.0,
            toe: 4.0,
            slope: 25.0 / 30.0,
            train: 10.0,
            rate: 200.0,
            torque_noise: 0.05,
            angle_noise: 0.05,
        };
        let mut last = begun;
        let mut model = Nut::new(setup, &mut rng);
        let take = &mut |seconds: f64, torque: f64, angle: f64| {
            last = begun + seconds;
            let at = u64::from(thousandths(last).unsigned_abs()) * 1_000;
            let sample = Sample {
                torque: Torque::from_millinewton_meters(thousandths(torque)),
                rotation: Rotation::from_millidegrees(thousandths(angle)),
            };
            let done = job
                .apply(0, Instant::from_micros(at), Input::Sample(sample))
                .expect("the plan has this joint");
            assert!(done.held.is_empty(), "{:?}", done.held);
        };
        model.rest(0.5, take);
        model.run_down(3, take);
        model.pull(setup.drag + 25.0, take);
        model.rest(1.5, take);
        begun = last + 1.0;
    }
    path
}

fn shop(builds: u32) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for number in 0..builds {
        let own = folder.path().join(format!("strainer-{number}"));
        build(&own, number, |nut| drag(number, nut));
    }
    folder
}

fn measured(path: &Path) -> Vec<i32> {
    let content = read(path).expect("a journal");
    let of = |entry: &Entry| match &entry.record {
        Record::Attempt(own) => match own.prevailing {
            Added::Measured(torque) => Some(torque.millinewton_meters()),
            _ => None,
        },
        _ => None,
    };
    content.entries().filter_map(of).collect()
}

/// The doubts about peers that stand in a journal.
fn doubts(path: &Path) -> usize {
    let content = read(path).expect("a journal");
    let is_doubt = |entry: &&Entry| match &entry.record {
        Record::Noted(note) => {
            note.doubt == Doubt::Raised
                && note
                    .text
                    .as_str()
                    .starts_with("unlike peers, stage 1: runs")
        }
        _ => false,
    };
    content.entries().filter(is_doubt).count()
}

fn check(path: &Path) -> (u8, Vec<Value>) {
    let path = path.to_str().expect("a name");
    let (status, out, err) = evendraw(&["check", path, "--json"]);
    assert_ne!(status, 2, "{err}");
    (status, objects(&out))
}

/// What `check` says would be doubted.
fn due(path: &Path) -> usize {
    let (_, said) = check(path);
    let due = said.iter().filter(|one| one["record"] == "due").count();
    let summed = said
        .last()
        .and_then(|one| one["unlike_forerunners"].as_u64());
    assert_eq!(summed, Some(due as u64));
    due
}

/// One reading typed in a terminal, at the second stage.
fn work(folder: &Path) -> String {
    let line = ["work", "strainer.toml", "--read", "--tool", "D1"];
    let done = run_typed(
        folder,
        line.iter().chain(&["--answer", "person=R. Falk"]),
        "50\n",
    );
    String::from_utf8_lossy(&done.stderr).into_owned()
}

/// Distributions of running torque are those of a plain scan of the records, and what the locks drag, to a tenth.
#[test]
fn running_torque_over_builds_is_what_the_locks_drag() {
    let folder = shop(8);
    let name = folder.path().to_str().expect("a name");
    let (_, out, _) = evendraw(&["history", name, "--json"]);
    let told = objects(&out);
    let of: Vec<&Value> = told
        .iter()
        .filter(|one| one["what"] == "running_torque_Nm")
        .collect();
    let [one] = of.as_slice() else {
        panic!("one kind of nut at one stage: {of:?}");
    };
    let mut plain = Vec::new();
    for number in 0..8 {
        let path = folder
            .path()
            .join(format!("strainer-{number}/strainer.evj"));
        let values = measured(&path);
        assert_eq!(values.len(), 6, "build {number}");
        for (nut, value) in (0..).zip(&values) {
            let (seen, there) = (f64::from(*value) / 1_000.0, drag(number, nut));
            assert!((seen / there - 1.0).abs() < 0.1, "{seen} N·m of {there}");
        }
        plain.extend(values);
    }
    plain.sort_unstable();
    let newton_meters = |value: i32| f64::from(value) / 1_000.0;
    assert_eq!(one["values"], plain.len());
    assert_eq!(one["builds"], 8);
    assert_eq!(one["least"], newton_meters(plain[0]));
    assert_eq!(one["most"], newton_meters(plain[plain.len() - 1]));
    let middle = one["median"].as_f64().expect("a number");
    let below = plain.iter().filter(|one| newton_meters(**one) < middle);
    let above = plain.iter().filter(|one| newton_meters(**one) > middle);
    assert!(below.count().abs_diff(above.count()) <= 1, "{middle}");
}

/// Nuts that all run three times as hard as any before are alike among themselves. On no shelf nobody says otherwise; on a shelf
/// `check` says what would be doubted, and the desk and `work` raise just that when they go on.
#[test]
fn on_a_shelf_whoever_goes_on_doubts_what_check_said() {
    let folder = shop(8);
    let shelf = folder.path();
    let hard = |name: &str| build(&shelf.join(name), 20, |nut| 3.0 * drag(20, nut));
    let (first, second) = (hard("new-1"), hard("new-2"));
    // It is no shelf yet: nobody has read it as one, and it has no register of tools.
    assert_eq!(due(&first), 0);
    let said = work(&shelf.join("new-1"));
    assert!(!said.contains("shelf"), "{said}");
    assert_eq!(doubts(&first), 0);

    fs::write(shelf.join("tools.toml"), "").expect("a register");
    assert_eq!(due(&first), 6, "as it was worked where there was no shelf");
    assert_eq!(due(&second), 6);
    assert_eq!(check(&second).0, 1);

    // By the terminal.
    let said = work(&shelf.join("new-1"));
    assert!(
        said.contains("like ones of 9 builds on the shelf"),
        "{said}"
    );
    assert_eq!((doubts(&first), due(&first)), (6, 0));

    // At the desk, whose shelf is read in the background.
    let mut model = Model::open(Some(&shelf.join("new-2/strainer.toml"))).expect("a plan");
    model.set_browser(false);
    model.begin(Purpose::Job);
    let mut seconds = 0.0;
    while doubts(&second) == 0 && seconds < 600.0 {
        std::thread::sleep(std::time::Duration::from_millis(5));
        seconds += 0.1;
        model.tick(seconds);
    }
    drop(model);
    assert_eq!((doubts(&second), due(&second)), (6, 0));

    // What is known of the other builds decides nothing once it is recorded: the same files elsewhere say the same.
    let away = tempfile::tempdir().expect("a folder");
    let copy = away.path().join("strainer.evj");
    fs::copy(&second, &copy).expect("a copy");
    let open = |path: &Path| check(path).1.last().map(|one| one["open"].clone());
    assert_eq!(open(&copy), open(&second));
}
