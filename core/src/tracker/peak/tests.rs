//! The highest torque, spikes, teeth and noise.

use super::*;
use crate::curve_limits::CurveLimits;
use crate::procedure::TorqueWindow;
use crate::tracker::Start;
use crate::unit::Torque;
use crate::verdict::Aim;

fn thresholds() -> Thresholds {
    let torque = Torque::from_millinewton_meters(40_000);
    let window = TorqueWindow {
        target: torque,
        min: torque,
        max: torque,
    };
    Thresholds::new(
        &Aim::Torque { window },
        &CurveLimits::default(),
        &Start::default(),
    )
}

#[test]
fn one_sample_alone_is_a_spike_but_tips_in_a_row_are_teeth() {
    let thresholds = thresholds();
    let top = |last: &[i32]| {
        let mut peak = Peak::NEW;
        for torque in [29_000, 29_500, 30_000].iter().chain(last) {
            peak.push(*torque, true, &thresholds);
        }
        peak.value()
    };
    let level = [30_000; 10];
    assert_eq!(top(&[35_000, 30_000, 30_000]), 30_000);
    assert_eq!(top(&[35_000, 30_000, 34_000, 30_000, 30_000]), 35_000);
    let far_apart = [&[35_000][..], &level, &[34_000], &level].concat();
    assert_eq!(top(&far_apart), 30_000);
}

#[test]
fn a_halt_on_the_way_is_not_where_the_pull_ended() {
    let thresholds = thresholds();
    let mut peak = Peak::NEW;
    for torque in (0..=10_000).step_by(500) {
        peak.push(torque, true, &thresholds);
    }
    peak.stands(10_000);
    for torque in (10_500..=39_000).step_by(500) {
        peak.push(torque, true, &thresholds);
    }
    peak.push(39_000, true, &thresholds);
    peak.end_pull(39_000);
    assert_eq!((peak.value(), peak.settled), (39_000, 39_000));
}

#[test]
fn a_weaker_pull_afterwards_takes_nothing_away() {
    let thresholds = thresholds();
    let mut peak = Peak::NEW;
    for torque in (0..=38_000).step_by(500) {
        peak.push(torque, true, &thresholds);
    }
    peak.push(37_000, true, &thresholds);
    peak.end_pull(38_000);
    for torque in (0..=25_000).step_by(500) {
        peak.push(torque, true, &thresholds);
    }
    peak.stands(25_000);
    peak.end_pull(25_000);
    assert_eq!(peak.settled, 38_000);
}

#[test]
fn where_the_torque_stood_last_it_ended() {
    let thresholds = thresholds();
    let mut peak = Peak::NEW;
    for torque in (0..=41_000).step_by(500) {
        peak.push(torque, true, &thresholds);
    }
    for _ in 0..20 {
        peak.push(39_500, true, &thresholds);
    }
    peak.stands(39_500);
    for torque in (0..39_000).rev().step_by(500) {
        peak.push(torque, true, &thresholds);
    }
    peak.end_pull(41_000);
    assert_eq!((peak.value(), peak.settled), (41_000, 39_500));
}

/// At rest, up by `step` a sample, a stand of `stand` samples with `over` more on two of them, and down again; noise as the sum of
/// twelve even ones.
fn read(seed: u64, noise: i64, step: i64, stand: i64, over: i64) -> i64 {
    let thresholds = thresholds();
    let mut peak = Peak::NEW;
    let mut loaded = false;
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut dice = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        i64::try_from(state >> 48).unwrap_or(0) - 32_768
    };
    let rest = core::iter::repeat_n(0, 150);
    let up = (0..40_000 / step).map(|index| index * step);
    let top = (0..stand).map(|index| 40_000 + if (3..5).contains(&index) { over } else { 0 });
    let down = (0..40).map(|index| 40_000 - index * 1_000);
    for torque in rest.chain(up).chain(top).chain(down) {
        let bell: i64 = (0..12).map(|_| dice()).sum::<i64>() * noise / 65_536;
        let torque = i32::try_from(torque + bell).unwrap_or(0);
        if torque > 2_000 && !loaded {
            loaded = true;
            peak.start_pull();
        }
        peak.push(torque, loaded, &thresholds);
    }
    i64::from(peak.value())
}

#[test]
fn noise_is_no_torque_and_an_overshoot_of_two_samples_is() {
    // 250 mN·m; 40 N·m in one second at 200, 500 and 1,000 samples a second, and a stand of 20 to 150 ms.
    for (step, stands) in [(200, [4, 12, 30]), (80, [10, 30, 75]), (40, [20, 60, 150])] {
        for stand in stands {
            let sum: i64 = (0..100)
                .map(|seed| read(seed, 250, step, stand, 0) - 40_000)
                .sum();
            let mean = sum / 100;
            assert!(
                mean.abs() < 100,
                "{step} mN·m a sample, {stand} samples: {mean}"
            );
            let over: i64 = (0..100)
                .map(|seed| read(seed, 250, step, stand.max(6), 2_000) - 42_000)
                .sum();
            let over = over / 100;
            assert!(
                over.abs() < 200,
                "overshoot, {step} mN·m a sample, {stand} samples: {over}"
            );
        }
    }
}

/// With a noise of 200 mN·m: steps of 100.
fn noisy() -> Peak {
    Peak {
        counted_by: 200,
        top: 10_000,
        edge: 10_000,
        near: [1, 2, 3, 4],
        ..Peak::NEW
    }
}

#[test]
fn a_spike_stands_above_both_neighbours_by_more_than_it_may_and_than_twice_the_rise_before() {
    // Four in a row: what is sure of the third once the fourth came. A spike is more than 1.6 N·m.
    for (readings, sure) in [
        ([30_000, 30_000, 31_600, 30_000], 31_600),
        ([30_000, 30_000, 31_601, 30_000], 30_000),
        ([30_000, 30_000, 31_700, 30_100], 31_700),
        ([30_000, 30_000, 31_701, 30_100], 30_100),
        ([30_000, 30_100, 31_701, 30_000], 30_100),
        ([29_000, 30_000, 32_000, 30_000], 32_000),
        ([29_000, 30_000, 32_001, 30_000], 30_000),
        // A fall before is no rise.
        ([35_000, 30_000, 31_601, 30_000], 30_000),
        ([30_000, 30_000, 28_000, 30_000], 28_000),
    ] {
        let limits = thresholds();
        let mut peak = Peak::NEW;
        for torque in &readings[..3] {
            peak.push(*torque, true, &limits);
        }
        assert_eq!(peak.push(readings[3], true, &limits), sure, "{readings:?}");
    }
}

#[test]
fn the_first_reading_is_sure_of_itself_and_each_lags_by_one_from_then_on() {
    let limits = thresholds();
    let mut peak = Peak::NEW;
    for _ in 0..2 {
        for (torque, sure) in [
            (5_000, 5_000),
            (6_500, 5_000),
            (6_000, 6_500),
            (6_100, 6_000),
        ] {
            assert_eq!(peak.push(torque, true, &limits), sure);
        }
        peak.alone = 3;
        peak.restart();
        assert_eq!(peak.alone, 0);
    }
}

#[test]
fn a_second_tip_within_seven_readings_makes_teeth_of_both() {
    let limits = thresholds();
    for (apart, sure) in [(7, 35_000), (8, 30_000)] {
        let mut peak = Peak::NEW;
        for torque in [30_000, 30_000, 35_000] {
            peak.push(torque, true, &limits);
        }
        for _ in 1..apart {
            peak.push(30_000, true, &limits);
        }
        peak.push(34_000, true, &limits);
        assert_eq!(peak.push(30_000, true, &limits), sure, "{apart}");
        assert_eq!((peak.spike, peak.alone), (34_000, 8));
    }
}

#[test]
fn only_under_load_a_torque_counts_and_only_near_the_highest() {
    let limits = thresholds();
    for (loaded, torque, top) in [(true, 9_000, 9_000), (false, 9_000, 0)] {
        let mut peak = Peak::NEW;
        peak.push(torque, loaded, &limits);
        assert_eq!(peak.top(), top);
    }
    for (torque, near) in [(9_600, 11), (9_599, 10)] {
        let mut peak = noisy();
        peak.counted_from = 9_600;
        peak.push(torque, true, &limits);
        assert_eq!(peak.near.iter().sum::<u16>(), near);
    }
}

#[test]
fn a_reading_near_the_highest_is_counted_by_how_near() {
    for (sure, edge, near) in [
        (9_999, 10_000, [2, 2, 3, 4]),
        (9_900, 10_000, [2, 2, 3, 4]),
        (9_899, 10_000, [1, 3, 3, 4]),
        (9_800, 10_000, [1, 3, 3, 4]),
        (9_799, 10_000, [1, 2, 4, 4]),
        (9_700, 10_000, [1, 2, 4, 4]),
        (9_699, 10_000, [1, 2, 3, 5]),
        (9_600, 10_000, [1, 2, 3, 5]),
        (9_599, 10_000, [1, 2, 3, 4]),
        (10_000, 10_100, [1, 1, 2, 3]),
        (10_099, 10_100, [1, 1, 2, 3]),
        (10_100, 10_200, [1, 0, 1, 2]),
        (10_299, 10_300, [1, 0, 0, 1]),
        (10_300, 10_350, [1, 0, 0, 0]),
    ] {
        let mut peak = noisy();
        peak.count(sure, 100);
        assert_eq!((peak.edge, peak.near), (edge, near), "{sure}");
    }
    let mut peak = noisy();
    peak.count(12_000, 1);
    assert_eq!(peak.edge, 12_001);
}

#[test]
fn a_higher_reading_is_the_highest_and_how_fast_it_came_bounds_it() {
    let mut peak = noisy();
    peak.rise = 700;
    peak.climb(10_000, 900);
    assert_eq!((peak.top, peak.bound), (10_000, 0));
    peak.climb(10_001, 900);
    assert_eq!((peak.top, peak.bound), (10_001, 900));
    peak.climb(10_002, 600);
    assert_eq!((peak.top, peak.bound), (10_002, 700));
    // Four steps below the edge, and no higher than the highest.
    assert_eq!(peak.counted_from, peak.edge - 400);
    let mut quiet = Peak::NEW;
    quiet.climb(10_000, 0);
    assert_eq!(quiet.counted_from, 9_997);
    assert_eq!(quiet.near, [1, 0, 0, 0]);
    let mut far = noisy();
    far.edge = 20_000;
    far.climb(10_001, 0);
    assert_eq!(far.counted_from, 10_001);
}

#[test]
fn what_the_highest_of_so_many_lies_too_high_by_is_taken_off_in_sixteenths_of_the_noise() {
    for (near, sixteenths) in [
        (0, 0),
        (1, 0),
        (2, 9),
        (3, 18),
        (4, 24),
        (5, 27),
        (6, 29),
        (8, 29),
        (9, 31),
        (15, 31),
        (16, 36),
        (23, 36),
        (24, 39),
        (31, 39),
        (32, 42),
        (47, 42),
        (48, 45),
        (63, 45),
        (64, 48),
        (95, 48),
        (96, 50),
        (u16::MAX, 50),
    ] {
        assert_eq!(excess(near), sixteenths, "{near}");
    }
    // Ten near it: 31 sixteenths of 200 mN·m.
    let mut peak = noisy();
    assert_eq!(peak.value(), 10_000 - 387);
    peak.top = 386;
    assert_eq!(peak.value(), 0);
}

/// What the noise is found to be after each of these, read at rest.
fn noise_of(readings: impl Iterator<Item = i32>) -> Peak {
    let limits = thresholds();
    let mut peak = Peak::NEW;
    for torque in readings {
        peak.push(torque, false, &limits);
    }
    peak
}

#[test]
fn the_noise_is_a_part_of_what_readings_bend_by_and_no_more_than_a_quarter_of_what_they_reach_over()
{
    let up_and_down = |count: usize| (0..count).map(|own| if own % 2 == 0 { 0 } else { 100 });
    assert_eq!(noise_of(up_and_down(33)).noise(), 0);
    // A quarter of 100, and a sixteenth more.
    assert_eq!(noise_of(up_and_down(34)).noise(), 26);
    // One step of 400 bends twice: 800 of 64, twelve.
    let step = (0..34).map(|own| if own < 20 { 0 } else { 400 });
    assert_eq!(noise_of(step).noise(), 12);
    // A jolt of 3 N·m: 1.25 each time, 39 and two; a quarter of the way back with the next block.
    let jolt = |count: i32| (0..count).map(|own| if own < 20 { 0 } else { 3_000 });
    assert_eq!(noise_of(jolt(34)).noise(), 41);
    assert_eq!(noise_of(jolt(65)).noise(), 41);
    assert_eq!(noise_of(jolt(66)).noise(), 30);
    // An even rise is no noise.
    assert_eq!(noise_of((0..34).map(|own| 100 * own)).noise(), 0);
}

#[test]
fn noise_is_looked_for_below_snug_and_each_block_begins_anew() {
    let up_and_down = |low: i32| (0..34).map(move |own| low + 100 * (own % 2));
    assert_eq!(noise_of(up_and_down(3_899)).noise(), 26);
    assert_eq!(noise_of(up_and_down(4_000)).noise(), 0);
    assert_eq!(noise_of(up_and_down(3_900)).noise(), 0);
    // At 3.95 and 4.05: only every other one is below.
    assert_eq!(noise_of(up_and_down(3_950)).noise(), 0);
    let peak = noise_of(up_and_down(1_000));
    assert_eq!((peak.noise_sum, peak.noise_count), (0, 0));
    assert_eq!((peak.noise_low, peak.noise_high), (i32::MAX, i32::MIN));
}

#[test]
fn noise_that_was_known_widens_what_a_jolt_may_bend_by() {
    // Readings at 0, 1.5 and 3 N·m in turn: they bend by 4.5 at two of three.
    let turns = |count: i32| (0..count).map(|own| 1_500 * (own % 3));
    let first = noise_of(turns(34)).noise();
    // 21 of 1.25 are 410 of 64, and a sixteenth more.
    assert_eq!(first, 435);
    // 21 of 3.48 would be 1,141 and reach over 750: 796, a quarter of the way.
    assert_eq!(noise_of(turns(66)).noise(), 435 + (796 - 435) / 4);
}

#[test]
fn a_pull_is_counted_by_the_noise_that_was_known_when_it_began() {
    let mut peak = Peak {
        noise: 300,
        counted_from: 9_000,
        ..Peak::NEW
    };
    peak.start_pull();
    assert_eq!((peak.counted_by, peak.counted_from), (300, i32::MIN));
}

#[test]
fn what_was_highest_in_a_stroke_is_forgotten_and_the_readings_next_to_it_are_not() {
    let mut peak = noisy();
    peak.rise = 1;
    peak.before = 2;
    peak.last = 3;
    peak.filled = 2;
    peak.noise = 5;
    peak.settled = 6;
    peak.forget();
    assert_eq!(
        (peak.rise, peak.before, peak.last, peak.filled),
        (1, 2, 3, 2)
    );
    assert_eq!((peak.top, peak.near, peak.noise), (0, [0; 4], 0));
    assert_eq!((peak.settled, peak.counted_by), (0, 0));
}

#[test]
fn the_last_reading_of_an_attempt_counts_as_it_came() {
    let mut peak = noisy();
    peak.before = 10_000;
    peak.last = 11_000;
    peak.flush();
    assert_eq!((peak.top, peak.filled), (10_000, 0));
    peak.filled = 1;
    peak.flush();
    assert_eq!((peak.top, peak.bound, peak.filled), (11_000, 1_000, 0));
}

#[test]
fn a_torque_that_stood_counts_until_the_hand_goes_on_by_more_than_a_plateau() {
    let limits = thresholds();
    assert_eq!(limits.plateau, 625);
    for (torque, stood) in [(10_625, true), (10_626, false)] {
        let mut peak = Peak::NEW;
        peak.stands(10_000);
        peak.push(torque, true, &limits);
        assert_eq!(peak.stood, stood, "{torque}");
        peak.end_pull(20_000);
        assert_eq!(peak.settled, if stood { 10_000 } else { 10_626 });
        assert!(!peak.stood);
    }
    // Without a stand the pull's own highest, and not more than the highest of all.
    let mut peak = noisy();
    peak.end_pull(9_000);
    assert_eq!(peak.settled, 9_000);
    peak.end_pull(9_700);
    assert_eq!(peak.settled, 9_613);
}
