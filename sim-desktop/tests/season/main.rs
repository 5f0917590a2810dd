//! A season: a pump of 12 joints and 120 fasteners rebuilt in six evenings with seven tools, kills, an expired tool, a part that
//! arrives, a second person and faults on the metal.
//!
//! Whoever works knows what was truly done; at each evening's end every face must say that. 20 seasons here;
//! `EVENDRAW_SEASONS=1000` runs more, `EVENDRAW_SEASON_SEED=n` one of them.

#![cfg(feature = "desk")]

mod faces;
mod hands;
mod table;
mod truth;

use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use hands::World;

const PLAN: &str = include_str!("../../../tests/fixtures/season.toml");

/// An empty folder of its own, taken away with the season.
struct Folder(PathBuf);

impl Folder {
    fn new(seed: u64) -> Self {
        let name = format!("evendraw-season-{}-{seed}", std::process::id());
        let path = std::env::temp_dir().join(name);
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).expect("a folder");
        Self(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn season(seed: u64) {
    let folder = Folder::new(seed);
    let mut world = World::new(&folder.0, PLAN, seed);
    for evening in 0..6 {
        world.begin_evening(evening);
        if evening < 5 {
            world.work(64);
        } else {
            world.finish();
        }
        faces::agree(&mut world, &folder.0, PLAN);
    }
    assert!(world.truth.is_finished());
}

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

#[test]
fn at_each_evenings_end_every_face_says_what_was_truly_done() {
    let seeds = match number("EVENDRAW_SEASON_SEED") {
        Some(seed) => seed..=seed,
        None => 1..=number("EVENDRAW_SEASONS").unwrap_or(20),
    };
    let left = Mutex::new(seeds);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let next = || left.lock().unwrap_or_else(PoisonError::into_inner).next();
    let work = || {
        while let Some(seed) = next() {
            if let Err(why) = std::panic::catch_unwind(|| season(seed)) {
                eprintln!("EVENDRAW_SEASON_SEED={seed} cargo test -p evendraw --test season");
                std::panic::resume_unwind(why);
            }
        }
    };
    std::thread::scope(|scope| {
        let running: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        for one in running {
            one.join().expect("every face tells the truth");
        }
    });
}
