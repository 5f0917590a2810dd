//! Hands that know nothing of the desk: any key, any press of the mouse, any text, any size of the window, on plans of every kind.
//!
//! Nothing it does may end the desk. A seed gives the same keys again: the line that a failing one prints replays it. Knows nothing
//! of what a screen is for.

use std::path::PathBuf;

use egui::{
    Event, Key, Modifiers, MouseWheelUnit, PointerButton, Pos2, TouchPhase, Vec2, pos2, vec2,
};
use evendraw::desk::model::Model;
use evendraw::desk::view::Ask;
use evendraw::job::Job;
use evendraw::plan::Plan;
use evendraw::store::Purpose;
use rand::seq::IndexedRandom as _;
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use crate::drive::{COVER, Driven, Folder, asking, at_work, window};

/// Seeds of a run, unless `EVENDRAW_MONKEY_SEEDS` says how many.
const SEEDS: u64 = 20;
/// What one seed does.
const ACTS: usize = 250;
/// Sides of a window, from one point to more than any screen has.
const SIZES: [f32; 12] = [
    1.0, 2.0, 17.0, 60.0, 200.0, 400.0, 640.0, 800.0, 1280.0, 2560.0, 7680.0, 30_000.0,
];
/// What is typed: quantities, threads, keys of a plan, and what is none of them.
const TEXTS: [&str; 24] = [
    "40 N·m",
    "±10 %",
    "1e308",
    "-1",
    "0",
    "NaN",
    "999999999999",
    "M10x1.5",
    "M0x0",
    "1/4-20 UNC",
    "G 1/2",
    "8.8",
    "A2-70",
    "x",
    "",
    " ",
    "\"",
    "[[joint]]\n",
    "4294967296",
    "°",
    "0.0000001 N·m",
    "cover",
    "12:61",
    "ß–µ½",
];

/// One of a kind: plans that are not the demo, sound ones, unsound ones, and none.
fn plan(random: &mut ChaCha8Rng) -> (String, String) {
    let fixtures = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../tests/fixtures");
    let mut texts = vec![
        ("cover.toml".to_owned(), COVER.to_owned()),
        ("nothing.toml".to_owned(), String::new()),
        ("none.toml".to_owned(), "\u{1b}[2J no plan".to_owned()),
        ("many.toml".to_owned(), many(60, 2)),
        ("two.toml".to_owned(), many(1, 60)),
    ];
    for folder in ["patterns", "bad_plans", "doubtful_plans"] {
        let Ok(entries) = std::fs::read_dir(fixtures.join(folder)) else {
            continue;
        };
        let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
        paths.retain(|path| path.extension().is_some_and(|ending| ending == "toml"));
        paths.sort();
        for path in paths {
            let text = std::fs::read_to_string(&path).expect("a fixture");
            texts.push((
                path.file_name().expect("a name").to_string_lossy().into(),
                text,
            ));
        }
    }
    texts.choose(random).expect("a plan").clone()
}

/// As many joints with as many fasteners each.
fn many(joints: usize, fasteners: usize) -> String {
    let mut text = "[build]\ntitle = \"Harbour pumps\"\n".to_owned();
    let places: Vec<String> = (1..=fasteners)
        .map(|number| format!("{number} = [{}, {}]", number * 30, number % 7 * 40))
        .collect();
    for joint in 0..joints {
        text.push_str(&format!(
            "[[joint]]\nid = \"j{joint}\"\ntitle = \"Flange {joint}\"\nthread = \"M12\"\nclass = \"10.9\"\n\
             positions = {{ {} }}\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"60 N·m\"\nwithin = \"±5 %\"\n",
            places.join(", ")
        ));
    }
    assert!(Plan::parse("many.toml", &text).is_ok(), "a plan of its own");
    text
}

/// A folder with builds in it, for the shelf.
fn shelf(folder: &Folder) {
    for (name, title) in [("seven", "Harbour pump 7"), ("eight", "Harbour pump 8")] {
        let text = COVER.replace("Harbour pump 7", title);
        let plan = Plan::parse("cover.toml", &text).expect("a plan");
        Job::create(
            &folder.path().join(format!("{name}.evj")),
            plan,
            Purpose::Job,
        )
        .expect("a job");
        std::fs::write(folder.path().join(format!("{name}.toml")), text).expect("a plan");
    }
    std::fs::write(folder.path().join("noise.evj"), "no journal").expect("noise");
}

fn begin(seed: u64, folder: &Folder, random: &mut ChaCha8Rng) -> Driven {
    let (name, text) = plan(random);
    let mut model = match random.random_range(0..3) {
        0 => Model::in_folder(&name, &text, folder.path()),
        _ => {
            let path = folder.path().join(&name);
            std::fs::write(&path, &text).expect("a plan");
            Model::open(Some(&path)).expect("a file that reads")
        }
    };
    model.set_browser(false);
    model.set_pace(50.0);
    if seed.is_multiple_of(4) {
        shelf(folder);
        model.carry_out(Ask::ReadShelf(folder.path().to_owned()));
    }
    match random.random_range(0..4) {
        0 => asking(model),
        1 => at_work(model),
        _ => window(model),
    }
}

/// Says how to see it again, if it goes wrong while this lives.
struct Replay(u64);

impl Drop for Replay {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!(
                "replay: EVENDRAW_MONKEY_SEED={} cargo test -p evendraw --test desk monkey -- --nocapture",
                self.0
            );
        }
    }
}

fn place(random: &mut ChaCha8Rng, size: Vec2) -> Pos2 {
    match random.random_range(0..8) {
        0 => pos2(-5.0, size.y * 2.0),
        1 => pos2(size.x, size.y),
        _ => pos2(
            random.random_range(0.0..=1.0_f32) * size.x,
            random.random_range(0.0..=1.0_f32) * size.y,
        ),
    }
}

fn act(harness: &mut Driven, random: &mut ChaCha8Rng, size: &mut Vec2, tells: bool) {
    /// What opens screens and cards and lets the hand work; otherwise hardly any act would be one of these.
    const KNOWN: [Key; 22] = [
        Key::Enter,
        Key::Enter,
        Key::H,
        Key::J,
        Key::F2,
        Key::F3,
        Key::F4,
        Key::F5,
        Key::F6,
        Key::F7,
        Key::F8,
        Key::F11,
        Key::F12,
        Key::Num0,
        Key::ArrowDown,
        Key::ArrowRight,
        Key::Tab,
        Key::Space,
        Key::Escape,
        Key::N,
        Key::W,
        Key::R,
    ];
    let modifiers = [
        Modifiers::NONE,
        Modifiers::COMMAND,
        Modifiers::SHIFT,
        Modifiers::ALT,
    ];
    match random.random_range(0..20) {
        0..=8 => {
            let key = if random.random_bool(0.6) {
                *KNOWN.choose(random).expect("a key")
            } else {
                *Key::ALL.choose(random).expect("a key")
            };
            let with = if random.random_bool(0.8) {
                Modifiers::NONE
            } else {
                *modifiers.choose(random).expect("one")
            };
            if tells {
                eprintln!("key {with:?} {key:?}");
            }
            harness.key_press_modifiers(with, key);
        }
        9..=13 => {
            let (at, to) = (place(random, *size), place(random, *size));
            let button = *[
                PointerButton::Primary,
                PointerButton::Primary,
                PointerButton::Secondary,
            ]
            .choose(random)
            .expect("one");
            let event = |pos, pressed| Event::PointerButton {
                pos,
                button,
                pressed,
                modifiers: Modifiers::NONE,
            };
            let drags = random.random_bool(0.2);
            if tells {
                eprintln!("press {at} {button:?}, drags {drags} to {to}");
            }
            harness.event(Event::PointerMoved(at));
            harness.event(event(at, true));
            if drags {
                harness.step();
                harness.event(Event::PointerMoved(to));
                harness.step();
            }
            harness.event(event(if drags { to } else { at }, false));
        }
        14 => {
            let delta = vec2(
                random.random_range(-2e3..2e3),
                random.random_range(-2e3..2e3),
            );
            if tells {
                eprintln!("wheel {delta}");
            }
            harness.event(Event::PointerMoved(place(random, *size)));
            harness.event(Event::MouseWheel {
                unit: MouseWheelUnit::Point,
                delta,
                phase: TouchPhase::Move,
                source: egui::MouseWheelSource::Unknown,
                modifiers: Modifiers::NONE,
            });
        }
        15..=17 => {
            let text = *TEXTS.choose(random).expect("a text");
            if tells {
                eprintln!("text {text:?}");
            }
            harness.event(if random.random_bool(0.2) {
                Event::Paste(text.to_owned())
            } else {
                Event::Text(text.to_owned())
            });
        }
        18 => {
            let side = |random: &mut ChaCha8Rng| *SIZES.choose(random).expect("a size");
            *size = vec2(side(random), side(random));
            if tells {
                eprintln!("size {size}");
            }
            harness.set_size(*size);
        }
        _ => {
            if tells {
                eprintln!("waits");
            }
            for _ in 0..random.random_range(1..6) {
                harness.step();
            }
        }
    }
    harness.step();
}

#[test]
fn whatever_is_pressed_in_a_window_of_any_size_the_desk_goes_on() {
    goes_on(0);
}

/// The other half of the seeds: at the same time, where there are two processors.
#[test]
fn whatever_else_is_pressed_the_desk_goes_on() {
    goes_on(1);
}

/// Every second seed, from this one.
fn goes_on(from: u64) {
    let number = |name: &str| std::env::var(name).ok()?.parse::<u64>().ok();
    let only = number("EVENDRAW_MONKEY_SEED");
    let seeds = match only {
        Some(seed) => seed..seed.saturating_add(1),
        None => 0..number("EVENDRAW_MONKEY_SEEDS").unwrap_or(SEEDS),
    };
    let mut acts = 0;
    for seed in seeds.filter(|seed| seed % 2 == from) {
        let _replay = Replay(seed);
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let folder = Folder::new(&format!("monkey-{seed}"));
        let mut harness = begin(seed, &folder, &mut random);
        let mut size = vec2(1280.0, 800.0);
        for _ in 0..ACTS {
            act(&mut harness, &mut random, &mut size, only.is_some());
            acts += 1;
        }
        // And it can still be used.
        harness.set_size(vec2(1280.0, 800.0));
        harness.step();
        harness.key_press(Key::F2);
        harness.step();
    }
    println!("{acts} acts");
}
