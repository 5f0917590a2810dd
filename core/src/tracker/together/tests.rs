//! Readings that are taken as one.

use std::vec::Vec;

use super::*;

/// A reading every `micros`: torque and rotation as functions of its number, spikes so high; the means that are made of 200 of them.
fn means(
    micros: u32,
    torque: impl Fn(i32) -> i32,
    rotation: impl Fn(i32) -> i32,
    spike: impl Fn(i32) -> i32,
) -> Vec<(i32, Together)> {
    let mut together = Together::NEW;
    let mut made = Vec::new();
    for number in 0..200_u16 {
        let own = i32::from(number);
        let seen = Seen {
            ticks: (u32::from(number) * micros) >> 10,
            torque: torque(own),
            rotation: rotation(own),
        };
        if number == 0 {
            together.begin(seen);
        }
        if together.push(seen, spike(own - 1)) {
            assert!(together.take(seen));
            made.push((own, together));
        }
    }
    made
}

fn even(micros: u32) -> Vec<(i32, Together)> {
    means(micros, |_| 0, |_| 0, |_| 0)
}

#[test]
fn as_many_are_taken_together_as_come_in_five_ms() {
    for (micros, together) in [
        (100_000, 1),
        (5_000, 1),
        (3_000, 1),
        (2_500, 2),
        (2_000, 2),
        (1_000, 4),
        (500, 8),
        (125, 32),
        // No more than that, however fast they come.
        (62, 32),
    ] {
        let made = even(micros);
        let last: Vec<i32> = made
            .iter()
            .rev()
            .take(3)
            .map(|(number, _)| *number)
            .collect();
        assert_eq!(last[0] - last[1], together, "{micros} µs");
        assert_eq!(last[1] - last[2], together, "{micros} µs");
        assert_eq!(1 << made[made.len() - 1].1.bits(), together);
    }
}

#[test]
fn the_mean_is_that_of_the_readings_and_what_is_sure_lags_by_one() {
    let made = means(1_000, |own| 1_000 * own, |own| 50_000 + 80 * own, |_| 0);
    let (number, together) = made[made.len() - 1];
    let seen = (together.seen.torque, together.seen.rotation);
    // Of the last four: one and a half before the newest.
    assert_eq!(seen, (1_000 * number - 1_500, 50_000 + 80 * number - 120));
    assert_eq!(together.sure, (seen.0 - 1_000, seen.1 - 80));
}

#[test]
fn a_spike_is_in_what_was_seen_and_not_in_what_is_sure() {
    let tall = |own: i32| if own == 150 { 8_000 } else { 0 };
    let made = means(1_000, |own| 20_000 + tall(own), |_| 0, tall);
    let seen: Vec<i32> = made
        .iter()
        .map(|(_, together)| together.seen.torque)
        .collect();
    assert_eq!(seen.iter().filter(|torque| **torque == 22_000).count(), 1);
    assert!(made.iter().all(|(_, together)| together.sure.0 == 20_000));
}

#[test]
fn what_was_not_whole_is_a_mean_too_and_nothing_is_none() {
    let mut made = means(1_000, |_| 30_000, |_| 0, |_| 0);
    let (_, mut together) = made.pop().expect("some");
    let from = together.seen.ticks;
    let at = |millis: u32, torque: i32| Seen {
        ticks: from + millis,
        torque,
        rotation: 0,
    };
    assert!(!together.take(at(0, 30_000)));
    let (one, other) = (at(1, 30_000), at(2, 31_000));
    assert!(!together.push(one, 0));
    assert!(!together.push(other, 0));
    assert!(together.take(other));
    assert_eq!((together.seen.torque, together.sure.0), (30_500, 30_000));
    // Late: it is not waited for more.
    let late = at(10, 33_000);
    assert!(together.push(late, 0));
}
