//! The rise of a joint and of a turn, each rule at its bound.

use super::*;

/// Snug at 4 N·m, target 40: half of the way is 18 N·m, most of it 27.
fn thresholds() -> Thresholds {
    let mut own = Thresholds::IDLE;
    own.target = 40_000;
    own.snug = 4_000;
    own.turn_least = 1_000;
    own.turn_rise_after = 30_000;
    own.turn_rise_to = 22_000;
    own
}

const NOTHING: (bool, bool, bool) = (false, false, false);
const NO_TURN: (bool, bool, bool) = (true, false, false);
const EARLY: (bool, bool, bool) = (false, true, false);
const LATE: (bool, bool, bool) = (false, false, true);

/// A joint whose limits are these, and a reading.
#[derive(Clone, Copy)]
struct Row {
    steepest: i64,
    flattest: i64,
    late: i32,
    still_below: i32,
    torque: i32,
    top: i32,
    least: i64,
    most: i64,
    exact: bool,
}

const PLAIN: Row = Row {
    steepest: 0,
    flattest: 0,
    late: 0,
    still_below: 0,
    torque: 24_000,
    top: 0,
    least: 0,
    most: 0,
    exact: false,
};

fn found(row: &Row) -> (bool, bool, bool) {
    let mut limits = thresholds();
    limits.gradient_max = row.steepest;
    limits.gradient_min = row.flattest;
    limits.late = row.late;
    limits.still_below = row.still_below;
    let turned = Turned {
        least: row.least,
        most: row.most,
        exact: row.exact,
    };
    let rise = rise(&limits, row.torque, row.top, turned);
    (rise.no_turn, rise.early, rise.late)
}

fn hold(rows: &[(Row, (bool, bool, bool))]) {
    for (index, (row, expected)) in rows.iter().enumerate() {
        assert_eq!(found(row), *expected, "row {index}");
    }
}

#[test]
fn a_rise_is_early_past_half_of_the_way_and_steeper_than_the_joint_with_a_degree_to_spare() {
    // 20 N·m risen at 2 N·m a degree: 10°, one of them to spare.
    let steep = Row {
        steepest: 2_000,
        most: 8_999,
        ..PLAIN
    };
    let row = |torque, most| Row {
        torque,
        most,
        ..steep
    };
    hold(&[
        (PLAIN, NOTHING),
        (steep, EARLY),
        (row(24_000, 9_000), NOTHING),
        (row(22_001, 0), EARLY),
        (row(22_000, 0), NOTHING),
        (row(23_998, 8_999), NOTHING),
        // Tight already: no rise of its own can be seen.
        (
            Row {
                still_below: 3_999,
                ..steep
            },
            EARLY,
        ),
        (
            Row {
                still_below: 4_000,
                ..steep
            },
            NOTHING,
        ),
    ]);
}

#[test]
fn a_rise_is_late_that_is_flatter_than_the_joint_with_ten_degrees_to_spare() {
    // 1 N·m risen at 0.1 N·m a degree: 10°, and ten to spare.
    let flat = Row {
        flattest: 100,
        torque: 5_000,
        least: 20_001,
        ..PLAIN
    };
    hold(&[
        (flat, LATE),
        (
            Row {
                least: 20_000,
                ..flat
            },
            NOTHING,
        ),
        // The highest so far counts: who lets go does not make a joint flat.
        (Row { top: 5_001, ..flat }, NOTHING),
        (Row { top: 4_999, ..flat }, LATE),
        // Below snug, within ten degrees and just beyond.
        (
            Row {
                torque: 3_999,
                least: 10_000,
                ..flat
            },
            NOTHING,
        ),
        (
            Row {
                torque: 3_999,
                least: 10_001,
                ..flat
            },
            LATE,
        ),
        (
            Row {
                flattest: 0,
                torque: 3_999,
                ..flat
            },
            NOTHING,
        ),
    ]);
}

#[test]
fn a_rise_is_late_that_took_longer_than_it_may_for_less_than_three_quarters_of_the_way() {
    let long = Row {
        late: 720_000,
        torque: 30_999,
        least: 720_001,
        ..PLAIN
    };
    hold(&[
        (long, LATE),
        (
            Row {
                least: 720_000,
                ..long
            },
            NOTHING,
        ),
        (
            Row {
                torque: 31_000,
                ..long
            },
            NOTHING,
        ),
        (
            Row {
                top: 31_000,
                ..long
            },
            NOTHING,
        ),
        (Row { late: 0, ..long }, NOTHING),
        (
            Row {
                late: 1,
                least: 1,
                ..long
            },
            NOTHING,
        ),
        // A pass that adds less than a quarter of its target says nothing.
        (
            Row {
                still_below: 30_000,
                torque: 30_000,
                ..long
            },
            LATE,
        ),
        (
            Row {
                still_below: 30_001,
                torque: 30_000,
                ..long
            },
            NOTHING,
        ),
    ]);
}

#[test]
fn a_fastener_did_not_turn_that_stands_still_over_most_of_the_way_or_half_where_that_is_too_steep()
{
    let fixed = Row {
        torque: 31_001,
        most: 999,
        exact: true,
        ..PLAIN
    };
    hold(&[
        (fixed, NO_TURN),
        (
            Row {
                torque: 31_000,
                ..fixed
            },
            NOTHING,
        ),
        (
            Row {
                most: 1_000,
                ..fixed
            },
            NOTHING,
        ),
        (
            Row {
                exact: false,
                ..fixed
            },
            NOTHING,
        ),
        (
            Row {
                still_below: 4_000,
                ..fixed
            },
            NOTHING,
        ),
        (
            Row {
                steepest: 2_000,
                torque: 22_001,
                ..fixed
            },
            NO_TURN,
        ),
        (
            Row {
                steepest: 2_000,
                torque: 22_000,
                ..fixed
            },
            NOTHING,
        ),
        (
            Row {
                steepest: 2_000,
                torque: 22_001,
                most: 1_000,
                ..fixed
            },
            EARLY,
        ),
    ]);
}

#[test]
fn the_highest_torque_is_asked_for_where_it_can_make_a_difference() {
    for (flattest, late, least, asks) in [
        (100, 0, 10_001, true),
        (100, 0, 10_000, false),
        (0, 0, 10_001, false),
        (0, 5_000, 5_001, true),
        (0, 5_000, 5_000, false),
        (100, 20_000, 10_001, true),
        (0, 0, 5_001, false),
    ] {
        let mut limits = thresholds();
        limits.gradient_min = flattest;
        limits.late = late;
        let turned = Turned {
            least,
            most: 0,
            exact: false,
        };
        assert_eq!(
            asks_for_the_top(&limits, turned),
            asks,
            "{flattest} {late} {least}"
        );
    }
}

/// Torque, and how far it turned.
type Readings = [(i32, i64)];

/// What is said at the last of these readings; nothing before.
fn turn(readings: &Readings) -> Option<bool> {
    let mut rise = TurnRise::NEW;
    let mut said = None;
    for (torque, turned) in readings {
        assert_eq!(said, None);
        said = rise.push(*torque, *turned, &thresholds());
    }
    said
}

#[test]
fn a_turn_is_held_to_what_it_took_on_average_over_the_ten_degrees_before() {
    let rows: [(&Readings, Option<bool>); 12] = [
        (&[(22_000, 30_000)], Some(true)),
        (&[(21_999, 30_000)], Some(false)),
        (&[(22_000, 29_999)], None),
        // The last reading itself does not count where others do.
        (&[(22_000, 20_000), (22_900, 30_000)], Some(true)),
        (&[(21_999, 20_000), (22_900, 30_000)], Some(false)),
        // Nor do those before.
        (
            &[(10_000, 19_999), (22_000, 20_000), (22_000, 30_000)],
            Some(true),
        ),
        (
            &[(22_000, 19_999), (21_000, 20_000), (22_000, 30_000)],
            Some(false),
        ),
        // The mean of what was taken.
        (
            &[(21_000, 20_000), (23_000, 29_999), (23_000, 30_000)],
            Some(true),
        ),
        (
            &[(21_000, 20_000), (22_999, 29_999), (23_000, 30_000)],
            Some(false),
        ),
        // More than an eighth below the top is letting go.
        (
            &[(23_200, 20_000), (20_300, 21_000), (23_200, 30_000)],
            Some(false),
        ),
        (
            &[(23_200, 20_000), (20_299, 21_000), (23_200, 30_000)],
            Some(true),
        ),
        (&[(24_000, 20_000), (20_999, 30_000)], None),
    ];
    for (readings, said) in rows {
        assert_eq!(turn(readings), said, "{readings:?}");
    }
}
