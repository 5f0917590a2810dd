//! The link over a line that loses, damages, repeats and invents bytes, between ends that restart: nothing is lost and
//! nothing is done twice.
//!
//! The line is 115,200 bit/s in both directions, in virtual time. A failing seed prints itself; `EVENDRAW_LINK_SEED` runs it
//! alone.

mod ends;
mod line;
mod transfers;

use ends::{Adapter, Host};
use line::{Line, Rng, Trouble};

/// Runs both ends until the host has done its transfers `rounds` times; then the line goes quiet and the journal is pulled to
/// its end. Returns frames sent by both.
fn worked(seed: u64, trouble: Trouble, rounds: u32) -> u32 {
    let mut rng = Rng::new(seed);
    let mut adapter = Adapter::new();
    let mut host = Host::new(rounds, seed);
    let (mut down, mut up) = (Line::new(trouble), Line::new(trouble));
    let (mut boots, mut restarts) = (1_u32, 0_u32);
    let limit = 3_000_000_u64;
    let mut at = 0_u64;
    while !host.is_finished() {
        at += 1;
        assert!(
            at < limit,
            "seed {seed}: no end in sight in round {}",
            host.round()
        );
        if host.is_settling() {
            (down, up) = (down.quiet(), up.quiet());
        } else {
            if rng.one_in(trouble.adapter_restart) {
                adapter.restart();
                boots += 1;
            }
            if rng.one_in(trouble.host_restart) {
                host.restart();
                restarts += 1;
            }
            if rng.one_in(trouble.work) {
                adapter.work(&mut rng);
            }
        }
        host.run(at, &mut down);
        for byte in down.arrived(&mut rng) {
            adapter.hear(byte, &mut up);
        }
        adapter.run(at, &mut up);
        for byte in up.arrived(&mut rng) {
            host.hear(byte);
        }
    }
    assert!(
        host.journal == adapter.journal,
        "seed {seed}: the journals differ"
    );
    adapter.check(seed, &host, boots);
    println!(
        "seed {seed}: {} frames sent, {} damaged of {} arrived, {} starts of the adapter, {restarts} of the host, {} s",
        down.frames + up.frames,
        host.bad() + adapter.bad(),
        host.bad() + adapter.bad() + host.good() + adapter.good(),
        boots,
        at / 1_000,
    );
    down.frames + up.frames
}

#[test]
fn ten_thousand_frames_over_a_bad_line_lose_nothing_and_repeat_nothing() {
    let mut frames = 0;
    if let Ok(seed) = std::env::var("EVENDRAW_LINK_SEED") {
        worked(seed.parse().expect("a number"), Trouble::BAD, 12);
        return;
    }
    for seed in 0.. {
        frames += worked(seed, Trouble::BAD, 12);
        if frames >= 10_000 {
            break;
        }
    }
    println!("{frames} frames");
}

#[test]
fn a_clean_line_needs_no_frame_twice() {
    let frames = worked(7, Trouble::NONE, 3);
    assert!((60..100).contains(&frames), "{frames}");
}

#[test]
fn a_very_bad_line_is_slow_and_still_right() {
    worked(99, Trouble::VERY_BAD, 12);
}
