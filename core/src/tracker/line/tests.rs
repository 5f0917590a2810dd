//! A line through samples, and its slope.

use super::*;

#[test]
fn a_line_gives_back_its_slope() {
    for stiffness in [5_000_i64, 12_345, 60_000, 400_000] {
        let mut line = Line::EMPTY;
        for step in 0..200_i32 {
            let torque = 1_000 + step * 300;
            let rotation = i64::from(torque) * 1_000 / stiffness;
            line.add(
                torque,
                i32::try_from(rotation).unwrap_or(0),
                step.unsigned_abs(),
            );
        }
        let found = line.compliance(1_000).unwrap_or(0);
        let exact = (1_000_i64 << COMPLIANCE_BITS) / stiffness;
        assert!(
            (found - exact).abs() * 200 <= exact,
            "{stiffness}: {found} for {exact}"
        );
        let middle = line.middle().map(|middle| middle.torque / 16);
        assert_eq!(middle, Some(1_000 + 199 * 150));
    }
}

#[test]
fn few_or_crowded_samples_give_no_slope() {
    let mut line = Line::EMPTY;
    assert_eq!(line.compliance(0), None);
    for step in 0..100_u16 {
        line.add(5_000 + i32::from(step % 3), 100, 0);
    }
    assert_eq!(line.compliance(100), None);
}

#[test]
fn a_sample_adds_to_every_sum_within_its_edges() {
    let mut line = Line::EMPTY;
    line.add(2, 3, 4);
    line.add(-5, 7, 10);
    let sums = |line: &Line| {
        (
            line.count,
            line.torque,
            line.rotation,
            line.square,
            line.product,
            line.ticks,
        )
    };
    assert_eq!(sums(&line), (2, -3, 10, 29, -29, 14));
    line.clear();
    assert_eq!(sums(&line), (0, 0, 0, 0, 0, 0));
    line.add(i32::MAX, i32::MIN, 0x40_0001);
    let (torque, rotation) = (i64::from(TORQUE_EDGE), -i64::from(ROTATION_EDGE));
    let edge = (
        1,
        TORQUE_EDGE,
        rotation,
        torque * torque,
        torque * rotation,
        1,
    );
    assert_eq!(sums(&line), edge);
    line.clear();
    line.add(i32::MIN, i32::MAX, 0x3F_FFFF);
    let edge = (
        1,
        -TORQUE_EDGE,
        -rotation,
        torque * torque,
        torque * rotation,
        0x3F_FFFF,
    );
    assert_eq!(sums(&line), edge);
}

#[test]
fn no_more_than_1024_samples_are_summed() {
    let mut line = Line::EMPTY;
    for _ in 0..1_100 {
        line.add(1, 1, 1);
    }
    assert_eq!(
        (line.count(), line.torque, line.ticks),
        (1_024, 1_024, 1_024)
    );
}

#[test]
fn the_middle_is_told_in_sixteenths() {
    let mut line = Line::EMPTY;
    assert!(line.middle().is_none());
    for (torque, rotation, ticks) in [(1, 10, 100), (2, 20, 101), (6, 33, 105)] {
        line.add(torque, rotation, ticks);
    }
    let middle = line.middle().expect("three of them");
    assert_eq!(
        (middle.torque, middle.rotation, middle.ticks),
        (48, 336, 1_632)
    );
}

/// Half of so many at each of two torques, the rotation so many times as much.
fn two(count: u16, torque: i32, times: i32) -> Line {
    let mut line = Line::EMPTY;
    for own in 0..count {
        let torque = if own % 2 == 0 { -torque } else { torque };
        line.add(torque, torque * times, 0);
    }
    line
}

#[test]
fn a_slope_takes_eight_samples_that_spread_far_enough_and_rotation_that_grows_with_torque() {
    let slope = Some(3 << COMPLIANCE_BITS);
    assert_eq!(two(8, 10, 3).compliance(10), slope);
    assert_eq!(two(8, 10, 3).compliance(11), None);
    assert_eq!(two(6, 10, 3).compliance(1), None);
    assert_eq!(two(8, 10, 0).compliance(10), None);
    assert_eq!(two(8, 10, -1).compliance(10), None);
    let mut seven = two(6, 10, 3);
    seven.add(10, 30, 0);
    assert_eq!(seven.compliance(1), None);
    // Without any spread there is none either, whatever is asked.
    let mut flat = Line::EMPTY;
    for _ in 0..8 {
        flat.add(5, 5, 0);
    }
    assert_eq!(flat.compliance(0), None);
    // Off the middle as well.
    let mut off = Line::EMPTY;
    for own in 0..8 {
        let torque = 1_000 + 20 * (own % 2);
        off.add(torque, 7 + 2 * torque, 0);
    }
    assert_eq!(off.compliance(10), Some(2 << COMPLIANCE_BITS));
}

#[test]
fn the_largest_sums_give_their_slope_too() {
    assert_eq!(
        two(1_024, TORQUE_EDGE, 15).compliance(10),
        Some(15 << COMPLIANCE_BITS)
    );
    assert_eq!(
        two(1_024, 0x1_0000, 1).compliance(10),
        Some(1 << COMPLIANCE_BITS)
    );
}
