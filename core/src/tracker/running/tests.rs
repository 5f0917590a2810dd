//! Running torque and travel, each rule at its bound.

use super::*;

const LEVEL: Level = Level {
    floor: 200,
    ceiling: 20_000,
    band: 400,
};

const fn seen(torque: i32, rotation: i32) -> Seen {
    Seen {
        ticks: 0,
        torque,
        rotation,
    }
}

/// Blocks of 3°, five samples each, at these torques; from here on.
fn blocks(running: &mut Running, from: &mut i32, torques: &[i32]) {
    for &torque in torques {
        for step in 0..=4 {
            running.push(seen(torque, *from + step * BLOCK_TURN / 4), LEVEL);
        }
        *from += BLOCK_TURN;
    }
}

#[test]
fn three_level_blocks_are_a_plateau_and_two_are_none() {
    let (mut running, mut at) = (Running::NEW, 0);
    blocks(&mut running, &mut at, &[5_000, 5_000]);
    assert_eq!(running.torque(), None);
    blocks(&mut running, &mut at, &[5_000]);
    assert_eq!(running.torque(), Some(5_000));
}

#[test]
fn means_lie_level_up_to_the_band_and_not_beyond() {
    for (highest, is_plateau) in [(5_400, true), (5_401, false)] {
        for torques in [
            [5_000, highest, 5_000],
            [highest, 5_000, 5_000],
            [5_000, 5_000, highest],
        ] {
            let (mut running, mut at) = (Running::NEW, 0);
            blocks(&mut running, &mut at, &torques);
            assert_eq!(running.torque().is_some(), is_plateau, "{torques:?}");
        }
    }
}

#[test]
fn the_newest_block_may_be_the_foot_of_the_rise_and_is_left_out() {
    let (mut running, mut at) = (Running::NEW, 0);
    blocks(&mut running, &mut at, &[5_000, 5_100, 5_300]);
    assert_eq!(running.torque(), Some(5_050));
}

#[test]
fn floor_and_ceiling_themselves_are_torques_of_turning() {
    for (torque, is_plateau) in [(199, false), (200, true), (20_000, true), (20_001, false)] {
        let (mut running, mut at) = (Running::NEW, 0);
        blocks(&mut running, &mut at, &[torque; 3]);
        assert_eq!(running.torque().is_some(), is_plateau, "{torque}");
    }
}

#[test]
fn a_stroke_ends_on_the_way_back_and_the_plateau_stays() {
    let (mut running, mut at) = (Running::NEW, 0);
    blocks(&mut running, &mut at, &[5_000; 3]);
    let back = |by| seen(0, 9_000 - by);
    assert!(!running.push(back(BACK), LEVEL));
    assert!(running.push(back(BACK + 1), LEVEL));
    // Once is enough.
    assert!(!running.push(back(BACK + 500), LEVEL));
    assert_eq!(running.torque(), Some(5_000));
    // The next stroke needs three level blocks of its own.
    let mut at = 0;
    blocks(&mut running, &mut at, &[9_000, 9_000]);
    assert_eq!(running.torque(), Some(5_000));
    blocks(&mut running, &mut at, &[9_000, 9_000]);
    assert_eq!(running.torque(), Some(9_000));
}

#[test]
fn the_mean_follows_slowly_within_twice_the_band_and_at_once_beyond() {
    let (mut running, mut at) = (Running::NEW, 0);
    blocks(&mut running, &mut at, &[5_000; 3]);
    // 800 is twice the band: the second of two, so half of the way.
    let (mut slow, mut there) = (running, at);
    slow.end_stroke();
    blocks(&mut slow, &mut there, &[5_800; 3]);
    assert_eq!(slow.torque(), Some(5_400));
    running.end_stroke();
    blocks(&mut running, &mut at, &[5_801; 3]);
    assert_eq!(running.torque(), Some(5_801));
}

#[test]
fn what_stands_under_load_makes_no_block() {
    let (mut running, mut at) = (Running::NEW, 0);
    blocks(&mut running, &mut at, &[5_000; 2]);
    for _ in 0..3 * BLOCK_MOST {
        assert!(!running.push(seen(15_000, at), LEVEL));
    }
    assert_eq!(running.torque(), None);
    blocks(&mut running, &mut at, &[5_000]);
    assert_eq!(running.torque(), Some(5_000));
}

#[test]
fn travel_counts_one_way_and_leaves_the_swing_back_out() {
    let mut travel = Travel::NEW;
    for (rotation, turned) in [
        (10_000, 0),
        (40_000, 30_000),
        // Noise: not more than a degree back.
        (39_000, 30_000),
        (41_000, 31_000),
        // A ratchet swings back, and its first degree on is noise.
        (11_000, 31_000),
        (10_000, 31_000),
        (11_000, 31_000),
        (11_001, 32_001),
        (20_001, 41_001),
    ] {
        travel.push(seen(0, rotation));
        assert_eq!(travel.turned, turned, "at {rotation}");
    }
}

#[test]
fn a_block_takes_four_readings_and_three_degrees() {
    for (readings, turn, is_plateau) in [
        (12, 1_000, true),
        (11, 1_000, false),
        (9, 1_500, false),
        (12, 1_500, true),
        (12, 999, false),
    ] {
        let mut running = Running::NEW;
        for step in 0..readings {
            running.push(seen(5_000, turn * step), LEVEL);
        }
        assert_eq!(running.torque().is_some(), is_plateau, "{readings} {turn}");
    }
}

#[test]
fn a_stroke_without_a_block_is_none() {
    let mut running = Running::NEW;
    assert!(!running.push(seen(5_000, 5_000), LEVEL));
    assert!(!running.push(seen(5_000, 3_000), LEVEL));
}

#[test]
fn even_where_it_turns_easily_three_blocks_make_a_plateau() {
    let (mut running, mut at) = (Running::NEW, 0);
    blocks(&mut running, &mut at, &[300]);
    assert_eq!(running.torque(), None);
    blocks(&mut running, &mut at, &[300]);
    assert_eq!(running.torque(), None);
    blocks(&mut running, &mut at, &[300]);
    assert_eq!(running.torque(), Some(300));
}

#[test]
fn each_of_three_blocks_must_be_level_with_both_others() {
    for torques in [
        [5_000, 5_401, 5_401],
        [5_401, 5_000, 5_401],
        [5_401, 5_401, 5_000],
        [5_000, 5_200, 5_401],
        [5_401, 5_200, 5_000],
    ] {
        let (mut running, mut at) = (Running::NEW, 0);
        blocks(&mut running, &mut at, &torques);
        assert_eq!(running.torque(), None, "{torques:?}");
    }
}

#[test]
fn the_mean_goes_by_the_last_sixteen_blocks() {
    let (mut running, mut at) = (Running::NEW, 0);
    blocks(&mut running, &mut at, &[5_000; 30]);
    assert_eq!(running.weight, 16);
    // Two blocks more at 5.32: the first pulls their mean up by half, a sixteenth of it.
    blocks(&mut running, &mut at, &[5_320; 2]);
    assert_eq!(running.torque(), Some(5_010));
}

#[test]
fn a_swing_back_counts_from_where_it_came_nearest() {
    let mut travel = Travel::NEW;
    for (rotation, turned) in [
        (10_000, 0),
        (40_000, 30_000),
        (20_000, 30_000),
        (25_000, 35_000),
        (25_500, 35_500),
    ] {
        travel.push(seen(0, rotation));
        assert_eq!(travel.turned, turned, "at {rotation}");
    }
}
