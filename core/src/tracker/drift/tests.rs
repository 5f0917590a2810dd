//! A gyro's bias, each rule at its bound.

use super::*;

const fn seen(ticks: u32, rotation: i32) -> Seen {
    Seen {
        ticks,
        torque: 0,
        rotation,
    }
}

/// At rest over these means of blocks, at these times.
fn rested(blocks: &[(i32, u32)]) -> Drift {
    let mut drift = Drift::NEW;
    for (mean, at) in blocks {
        drift.block(*mean, *at);
    }
    drift
}

#[test]
fn a_bias_is_told_after_a_second_of_rest() {
    for (at, rate) in [(1_000, 10 << 20), (999, 0)] {
        let drift = rested(&[(5, 0), (15, at)]);
        assert_eq!(drift.rate(), rate / 1_000, "{at}");
    }
    let drift = rested(&[(5_000, 0), (4_500, 1_000)]);
    assert_eq!(drift.rate(), (-500 << 20) / 1_000);
    // The longest way counts: from the first block to the newest.
    let drift = rested(&[(0, 0), (100, 1_000), (200, 2_000), (330, 3_000)]);
    assert_eq!((drift.turned, drift.passed), (330, 3_000));
    assert_eq!(drift.newest, Some((330, 3_000)));
}

#[test]
fn what_moves_faster_than_half_a_degree_a_second_is_moved_by_hand() {
    for (mean, is_rest) in [(560, true), (561, false), (-560, true), (-561, false)] {
        let drift = rested(&[(0, 0), (mean, 1_000)]);
        assert_eq!(drift.first.is_some(), is_rest, "{mean}");
        assert_eq!(drift.newest.is_some(), is_rest, "{mean}");
        assert_eq!(drift.rate() != 0, is_rest);
    }
}

#[test]
fn what_bends_from_a_straight_drift_is_moved_by_hand() {
    for (mean, is_rest) in [(320, true), (321, false), (80, true), (79, false)] {
        let drift = rested(&[(0, 0), (100, 1_000), (mean, 2_000)]);
        assert_eq!(drift.first.is_some(), is_rest, "{mean}");
        // What was told before stays.
        assert_eq!(drift.passed, if is_rest { 2_000 } else { 1_000 });
    }
    // 60 over the whole rest, by what each part of it lasted.
    for (mean, is_rest) in [(180, true), (181, false)] {
        let drift = rested(&[(0, 0), (0, 500), (mean, 1_500)]);
        assert_eq!(drift.first.is_some(), is_rest, "{mean}");
    }
}

#[test]
fn a_tool_is_still_within_eight_tenths_of_a_degree() {
    for (one, other, is_still) in [
        (0, 800, true),
        (0, 801, false),
        (800, 0, true),
        (-801, -1, false),
        (-400, 400, true),
        (-400, 401, false),
        (400, -401, false),
    ] {
        // What moved on begins a block of its own.
        let left = u8::from(one < -800);
        let mut drift = Drift::NEW;
        for (ticks, rotation) in [(0, 70_000), (10, 70_000 + one), (20, 70_000 + other)] {
            drift.rest(seen(ticks, rotation));
        }
        assert_eq!(
            drift.count,
            if is_still { 3 } else { left },
            "{one} {other}"
        );
    }
}

#[test]
fn a_block_is_the_mean_of_64_readings_from_where_it_began() {
    let mut drift = Drift::NEW;
    for step in 0..63 {
        drift.rest(seen(100 + step, 70_000 + if step < 32 { 0 } else { 64 }));
    }
    assert_eq!((drift.first, drift.count), (None, 63));
    drift.rest(seen(163, 70_064));
    assert_eq!(drift.first, Some((70_032, 100)));
    assert_eq!((drift.newest, drift.count), (drift.first, 0));
    // The next is measured on its own: its low and its high too.
    for step in 0..64 {
        drift.rest(seen(1_200 + step, 70_000 - if step < 32 { 0 } else { 64 }));
    }
    assert_eq!(drift.newest, Some((69_968, 1_200)));
    drift.rest(seen(2_000, 70_700));
    drift.rest(seen(2_001, 71_500));
    assert_eq!((drift.low, drift.high, drift.sum), (0, 800, 800));
    drift.rest(seen(2_002, 71_501));
    assert_eq!((drift.count, drift.first, drift.newest), (0, None, None));
    let before = drift.rate();
    drift.disturb();
    assert_eq!(drift.rate(), before);
}

#[test]
fn a_block_is_still_by_its_own_readings_alone() {
    let mut drift = Drift::NEW;
    for (from, other) in [(0, 500), (1_000, -400), (2_000, 500)] {
        for step in 0..64 {
            drift.rest(seen(from + step, 70_000 + other * i32::from(step > 62)));
        }
        assert_eq!(drift.newest.map(|(_, at)| at), Some(from));
    }
}
