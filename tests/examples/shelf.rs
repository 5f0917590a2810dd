//! Makes a large shelf of builds, for figures: `cargo run --release -p evendraw-tests --example shelf -- FOLDER [BUILDS] [FIRST]`.
//!
//! 2,000 builds of 6 joints of 50 fasteners unless told otherwise, each worked through the real session and kept by the real store.

#[path = "../tests/shelf/make.rs"]
#[expect(dead_code, reason = "what only the tests use")]
mod make;

use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, AtomicUsize, Ordering};
use std::time::Instant;

fn main() {
    let mut args = std::env::args().skip(1);
    let folder = PathBuf::from(args.next().expect("a folder"));
    let number =
        |text: Option<String>, or: u32| text.map_or(or, |text| text.parse().expect("a number"));
    let builds = number(args.next(), 2_000);
    let first = number(args.next(), 0);
    let size = make::Size {
        builds,
        joints: 6,
        fasteners: 50,
    };
    let (next, attempts) = (AtomicU32::new(first), AtomicUsize::new(0));
    let began = Instant::now();
    let threads = std::thread::available_parallelism().map_or(2, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= first + builds {
                        break;
                    }
                    let made = make::build(&folder, number, size);
                    attempts.fetch_add(made, Ordering::Relaxed);
                }
            });
        }
    });
    println!(
        "{builds} builds, {} attempts, {:.0} s",
        attempts.load(Ordering::Relaxed),
        began.elapsed().as_secs_f64()
    );
}
