//! Every rule of the curve at its bound.

use std::vec::Vec;

use super::super::tests::seen;
use super::*;

fn thresholds() -> Thresholds {
    let mut own = Thresholds::IDLE;
    own.target = 40_000;
    own.snug = 4_000;
    own.worth_watching = 10_000;
    own.yield_step = 5_000;
    own.yield_ratio = 40;
    own.drop = 8_000;
    own.drop_turn = 4_000;
    own.tooth = 3_200;
    own.teeth = 5;
    own.wind_up = 1_250;
    own.restart_turn = 500;
    own
}

/// A curve with something of everything in it.
const fn used() -> Shape {
    Shape {
        level: 1,
        level_rotation: 2,
        chord: 3,
        chord_least: 4,
        pair_least: 9,
        on_chord: true,
        bend: Some((6, 7)),
        restart: 8,
        top: 9,
        anchor: 10,
        high: 11,
        high_at: 12,
        low: 13,
        falling: true,
        sharp: true,
        teeth: 4,
        same_torque: 15,
        same_rotation: 16,
        same_since: 17,
        same_from: (18, 19),
        both_same: 20,
        both_most: 21,
        torque_jitter: 22,
        rotation_jitter: 23,
        torque_up: true,
        rotation_up: true,
        repeats: true,
    }
}

#[test]
fn a_pull_is_watched_from_snug_or_a_quarter_above_what_the_fastener_was_left_at() {
    for (still_below, level) in [(0, 4_000), (3_200, 4_000), (3_204, 4_005), (20_000, 25_000)] {
        let mut shape = Shape::NEW;
        shape.start_pull(still_below, &thresholds());
        assert!(!shape.ends_chord(level - 1), "{still_below}");
        assert!(shape.ends_chord(level), "{still_below}");
        assert_eq!(shape.restart, still_below);
    }
}

#[test]
fn nothing_of_one_pulls_curve_is_held_against_the_next_but_how_steep_it_was_and_whether_its_sensor_lives()
 {
    let mut shape = used();
    shape.start_pull(0, &thresholds());
    assert_eq!((shape.chord, shape.on_chord), (0, false));
    assert_eq!((shape.restart, shape.top), (0, 0));
    assert_eq!((shape.teeth, shape.high, shape.falling), (0, 0, false));
    assert_eq!((shape.same_torque, shape.same_rotation), (0, 0));
    assert_eq!((shape.chord_least, shape.pair_least), (4, 9));
    assert_eq!(shape.bend, Some((6, 7)));
    assert_eq!((shape.torque_jitter, shape.rotation_jitter), (22, 23));
}

#[test]
fn what_lies_on_either_side_of_a_gap_is_not_one_curve_but_teeth_seen_are_seen() {
    let mut shape = used();
    shape.restart();
    assert_eq!((shape.chord, shape.on_chord), (0, false));
    assert_eq!(shape.top, 0);
    assert_eq!((shape.high, shape.falling), (0, false));
    assert_eq!((shape.same_torque, shape.same_rotation), (0, 0));
    assert_eq!((shape.level, shape.restart, shape.teeth), (1, 8, 4));
}

#[test]
fn chords_are_measured_from_one_level_to_the_next_and_two_in_a_row_make_a_pair() {
    let limits = thresholds();
    let mut shape = Shape::NEW;
    shape.start_pull(0, &limits);
    let rows = [
        // Torque, rotation; level, chord, steepest chord and pair.
        ((4_000, 900), (9_000, 0, i32::MAX, i32::MAX)),
        ((9_000, 2_900), (14_000, 2_000, 2_000, i32::MAX)),
        ((14_100, 5_900), (19_000, 3_000, 2_000, 5_000)),
        ((19_000, 7_400), (24_000, 1_500, 1_500, 4_500)),
        ((24_000, 11_000), (29_000, 3_600, 1_500, 4_500)),
        // Two levels at once: what lies between cannot be told.
        ((34_000, 11_100), (39_000, 0, 1_500, 4_500)),
        ((39_000, 12_400), (44_000, 1_300, 1_300, 4_500)),
        ((44_000, 14_000), (49_000, 1_600, 1_300, 2_900)),
        // Back is no turning, and makes no pair with the next.
        ((49_000, 13_000), (54_000, 0, 0, 1_600)),
        ((54_000, 13_100), (59_000, 100, 0, 1_600)),
    ];
    for ((torque, rotation), expected) in rows {
        shape.end_chord(torque, rotation, &limits);
        let found = (
            shape.level,
            shape.chord,
            shape.chord_least,
            shape.pair_least,
        );
        assert_eq!(found, expected, "{torque} at {rotation}");
        assert!(shape.on_chord);
        assert_eq!(shape.level_rotation, rotation);
    }
}

#[test]
fn a_torque_just_short_of_the_level_does_not_reach_it_and_sixteen_levels_are_climbed_at_once() {
    let mut limits = thresholds();
    let mut shape = Shape::NEW;
    shape.start_pull(0, &limits);
    shape.end_chord(13_999, 0, &limits);
    assert_eq!(shape.level, 14_000);
    limits.yield_step = 1;
    shape.start_pull(0, &limits);
    shape.end_chord(30_000, 0, &limits);
    assert_eq!(shape.level, 4_016);
}

/// Two chords so steep together and one so steep alone, the top at 16 N·m; then a reading.
struct Bend {
    pair: i32,
    one: i32,
    torque: i32,
    chord: i32,
    step: i32,
    compliance: i64,
    wind_up: i32,
}

const BENT: Bend = Bend {
    pair: 4_000,
    one: 2_000,
    torque: 16_000,
    chord: 5_001,
    step: 0,
    compliance: 0,
    wind_up: 1_250,
};

fn bent(row: &Bend) -> (bool, Shape) {
    let mut limits = thresholds();
    limits.wind_up = row.wind_up;
    let mut shape = Shape {
        pair_least: row.pair,
        chord_least: row.one,
        chord: 1,
        on_chord: true,
        top: 16_000,
        level_rotation: 700,
        ..Shape::NEW
    };
    let rotation = 700 + row.chord;
    let yields = shape.yielding(row.torque, rotation, row.step, row.compliance, &limits);
    (yields, shape)
}

#[test]
fn a_fastener_yields_where_a_chord_is_two_and_a_half_times_the_steepest_and_longer_by_a_degree_and_a_half()
 {
    // Steepest two chords and one, torque, chord, step and what the softest train winds up by.
    let rows = [
        ((4_000, 2_000), (16_000, 5_001), 0, 1_250, true),
        ((4_000, 2_000), (16_000, 5_000), 0, 1_250, false),
        // Steeper: a degree and a half more than the steepest.
        ((1_600, 800), (16_000, 2_301), 0, 100, true),
        ((1_600, 800), (16_000, 2_300), 0, 100, false),
        // Letting go is no yield: an eighth below the top.
        ((4_000, 2_000), (14_000, 5_001), 0, 1_250, true),
        ((4_000, 2_000), (13_999, 5_001), 0, 1_250, false),
        // Without a pair nothing is known to be steeper.
        (
            (i32::MAX, 2_000),
            (16_000, i32::MAX - 1_000),
            0,
            1_250,
            false,
        ),
        // As steep as the softest train: not without its stiffness; what the hand turned within a reading is taken off.
        ((4_000, 2_000), (16_000, 5_001), 0, 1_999, true),
        ((4_000, 2_000), (16_000, 5_001), 0, 2_000, false),
        ((4_000, 2_000), (16_000, 5_001), 749, 1_250, true),
        ((4_000, 2_000), (16_000, 5_001), 750, 1_250, false),
        ((2_500, 1_300), (16_000, 5_001), 0, 1_250, false),
        ((2_501, 1_300), (16_000, 5_001), 0, 1_250, true),
        ((2_520, 1_400), (16_000, 5_001), 20, 1_250, false),
        ((4_000, 1_250), (16_000, 5_001), 0, 1_250, false),
    ];
    for (index, ((pair, one), (torque, chord), step, wind_up, yields)) in
        rows.into_iter().enumerate()
    {
        let row = Bend {
            pair,
            one,
            torque,
            chord,
            step,
            compliance: 0,
            wind_up,
        };
        assert_eq!(bent(&row).0, yields, "row {index}");
    }
    let mut shape = Shape {
        pair_least: 4_000,
        chord_least: 2_000,
        ..Shape::NEW
    };
    assert!(!shape.yielding(16_000, 50_000, 0, 0, &thresholds()));
}

#[test]
fn a_bend_as_steep_as_a_train_is_kept_until_its_stiffness_is_known_and_the_curve_begins_anew() {
    let steep = Bend {
        wind_up: 3_000,
        step: 100,
        ..BENT
    };
    let (_, mut shape) = bent(&steep);
    assert_eq!(shape.bend, Some((3_900, 1_900)));
    let anew = (i32::MAX, i32::MAX, 0, false);
    let found = (
        shape.chord_least,
        shape.pair_least,
        shape.chord,
        shape.on_chord,
    );
    assert_eq!(found, anew);
    // The first bend counts: what comes after it is flat anyhow.
    shape.pair_least = 3_000;
    shape.chord_least = 1_000;
    shape.on_chord = true;
    let mut limits = thresholds();
    limits.wind_up = 3_000;
    let _ = shape.yielding(16_000, 50_000, 0, 0, &limits);
    assert_eq!(shape.bend, Some((3_900, 1_900)));
    // With the stiffness known it is told at once and nothing is kept: 5 N·m wind a train of 5 N·m a degree up by one.
    let compliance = (1_000 << COMPLIANCE_BITS) / 5_000;
    for (compliance, yields) in [(compliance, true), (compliance * 2, false)] {
        let (found, shape) = bent(&Bend {
            compliance,
            ..steep
        });
        assert_eq!((found, shape.bend), (yields, None));
    }
}

#[test]
fn a_fastener_turned_where_both_its_steepest_chords_are_longer_than_the_train_winds_up() {
    let mut limits = thresholds();
    limits.yield_step = 4_096;
    // A quarter of a millidegree for a mN·m: 1,024 a chord.
    let compliance = 1 << (COMPLIANCE_BITS - 2);
    for (steep, turned) in [
        ((2_549, 1_275), true),
        ((2_548, 1_275), false),
        ((2_549, 1_274), false),
        ((-2_549, 1_275), false),
    ] {
        assert_eq!(turned_in(steep, compliance, &limits), turned, "{steep:?}");
        let mut shape = Shape {
            bend: Some(steep),
            ..Shape::NEW
        };
        assert_eq!(shape.yielded(compliance, &limits), turned);
        // Told once.
        assert!(!shape.yielded(0, &limits));
        shape.bend = Some(steep);
        assert!(shape.yielded(0, &limits), "the worse counts");
    }
}

#[test]
fn a_fastener_gives_way_where_the_torque_falls_while_it_turns_on() {
    for (top, torque, rotation, gives) in [
        (20_000, 11_999, 5_001, true),
        (20_000, 11_999, 5_000, false),
        (20_000, 12_000, 5_001, false),
        (10_000, 1_999, 5_001, true),
        (9_999, 1_998, 5_001, false),
    ] {
        let limits = thresholds();
        let mut shape = Shape::NEW;
        assert!(!shape.giving_way(top, 0, &limits));
        // Half of a fall is not one yet: it is counted from there.
        assert!(!shape.giving_way(top - 4_000, 1_000, &limits));
        assert_eq!(shape.anchor, 1_000);
        assert!(!shape.giving_way(top - 4_001, 3_000, &limits));
        assert_eq!((shape.anchor, shape.top), (1_000, top));
        let found = shape.giving_way(torque, rotation, &limits);
        assert_eq!(found, gives, "{top} {torque} {rotation}");
    }
}

#[test]
fn a_fastener_that_stood_still_may_dip_when_it_starts() {
    let mut shape = Shape::NEW;
    for (restart, top, torque, is_dip) in [
        (15_000, 20_000, 12_500, true),
        (15_000, 20_001, 12_500, false),
        (15_000, 20_000, 12_499, false),
        (0, 0, 0, false),
        (1, 1, 1, true),
    ] {
        shape.restart = restart;
        assert_eq!(
            shape.is_dip_of_restart(top, torque),
            is_dip,
            "{restart} {top} {torque}"
        );
    }
    let mut limits = thresholds();
    limits.drop = 4_000;
    for (restart, top, anchor) in [(15_000, 15_000, 9_000), (14_999, 20_000, 0)] {
        let mut shape = Shape {
            restart,
            top: 20_000,
            ..Shape::NEW
        };
        assert_eq!(shape.giving_way(15_000, 9_000, &limits), restart < 15_000);
        assert_eq!((shape.top, shape.anchor), (top, anchor));
    }
}

#[test]
fn on_letting_go_a_broken_stud_goes_on() {
    for (top, rotation, broke) in [
        (10_000, 7_001, true),
        (9_999, 7_001, false),
        (10_000, 7_000, false),
    ] {
        let shape = Shape {
            top,
            anchor: 5_000,
            ..Shape::NEW
        };
        assert_eq!(
            shape.broke(rotation, &thresholds()),
            broke,
            "{top} {rotation}"
        );
    }
}

/// At which tooth of seven it is a saw: each falls and climbs by so much, the fall in so many ticks.
fn saw(fall: i32, climb: i32, ticks: u32) -> Vec<i32> {
    let mut shape = Shape::NEW;
    let (mut at, mut torque) = (1_000, 30_000);
    let mut told = Vec::new();
    assert!(!shape.saw(at, torque, &thresholds()));
    for tooth in 1..=7 {
        at += ticks;
        torque -= fall;
        assert!(!shape.saw(at, torque, &thresholds()));
        at += 500;
        torque += climb;
        if shape.saw(at, torque, &thresholds()) {
            told.push(tooth);
        }
    }
    told
}

#[test]
fn five_sharp_teeth_make_a_saw_told_once() {
    assert_eq!(saw(3_201, 3_201, 40), [5]);
    assert_eq!(saw(3_200, 3_200, 40), []);
    assert_eq!(saw(3_201, 3_200, 40), []);
    assert_eq!(saw(3_201, 3_201, 41), []);
}

#[test]
fn a_tooth_falls_from_its_tip_and_climbs_from_its_foot() {
    let limits = thresholds();
    // A quarter of a tooth below the tip still belongs to the tip.
    for (near, sharp) in [(29_200, true), (29_199, false)] {
        let mut shape = Shape::NEW;
        shape.saw(1_000, 30_000, &limits);
        shape.saw(1_100, near, &limits);
        assert_eq!(shape.high, 30_000);
        shape.saw(1_120, 26_800, &limits);
        assert!(!shape.falling);
        shape.saw(1_130, 26_799, &limits);
        assert_eq!(
            (shape.falling, shape.sharp, shape.low),
            (true, sharp, 26_799)
        );
        shape.saw(1_140, 25_000, &limits);
        shape.saw(1_150, 25_100, &limits);
        assert_eq!(shape.low, 25_000);
        shape.saw(1_160, 28_200, &limits);
        assert!(shape.falling);
        shape.saw(1_170, 28_201, &limits);
        assert_eq!((shape.falling, shape.teeth), (false, u8::from(sharp)));
        assert_eq!((shape.high, shape.high_at), (28_201, 1_170));
    }
}

#[test]
fn the_dip_when_a_fastener_starts_is_no_tooth() {
    let limits = thresholds();
    let mut shape = Shape {
        restart: 15_000,
        ..Shape::NEW
    };
    shape.saw(1_000, 20_000, &limits);
    assert!(!shape.saw(1_010, 16_799, &limits));
    assert_eq!(
        (shape.high, shape.high_at, shape.falling),
        (16_799, 1_010, false)
    );
    shape.saw(1_020, 12_499, &limits);
    assert!(shape.falling);
}

#[test]
fn a_sensor_lives_that_changed_its_direction_eight_times_and_no_more_is_asked() {
    let mut shape = Shape::NEW;
    let mut last = seen(0, 0, 0);
    // Torque and rotation; how often each changed its direction: down is where they were going.
    let rows = [
        ((-1, 0), (0, 0)),
        ((5, -5), (1, 0)),
        ((9, -9), (1, 0)),
        ((9, -8), (1, 1)),
        ((10, -7), (1, 1)),
        ((9, -7), (2, 1)),
        ((8, -9), (2, 2)),
    ];
    for ((torque, rotation), changes) in rows {
        let next = seen(0, torque, rotation);
        shape.ripple(&last, next);
        last = next;
        assert_eq!(
            (shape.torque_jitter, shape.rotation_jitter),
            changes,
            "{torque} {rotation}"
        );
    }
    for step in 0..40 {
        let next = seen(0, step % 2, step % 2);
        shape.ripple(&last, next);
        last = next;
    }
    assert_eq!((shape.torque_jitter, shape.rotation_jitter), (8, 8));
}

#[test]
fn what_repeats_is_counted_from_the_first_time() {
    let mut shape = Shape::NEW;
    let mut last = seen(100, 10, 20);
    // Torque, rotation; how often each repeated itself and both did, the most both did, since when and from where, and whether any does.
    let rows = [
        ((11, 21), (0, 0, 0, 0), (0, (0, 0)), false),
        ((11, 22), (1, 0, 0, 0), (101, (11, 21)), true),
        ((11, 22), (2, 1, 1, 0), (101, (11, 21)), true),
        ((11, 22), (3, 2, 2, 0), (101, (11, 21)), true),
        ((12, 22), (0, 3, 0, 2), (101, (11, 21)), true),
        ((13, 23), (0, 0, 0, 2), (101, (11, 21)), false),
        ((14, 24), (0, 0, 0, 2), (101, (11, 21)), false),
        ((14, 24), (1, 1, 1, 2), (107, (14, 24)), true),
        ((15, 25), (0, 0, 0, 2), (107, (14, 24)), false),
        ((16, 25), (0, 1, 0, 2), (109, (15, 25)), true),
        ((16, 26), (1, 0, 0, 2), (109, (15, 25)), true),
    ];
    for ((torque, rotation), counts, from, repeats) in rows {
        let next = seen(last.ticks + 1, torque, rotation);
        shape.ripple(&last, next);
        last = next;
        let found = (
            shape.same_torque,
            shape.same_rotation,
            shape.both_same,
            shape.both_most,
        );
        assert_eq!(found, counts, "{torque} {rotation}");
        assert_eq!((shape.same_since, shape.same_from), from);
        assert_eq!(shape.repeats, repeats);
    }
}

#[test]
fn a_sensor_is_stuck_that_lived_and_repeats_itself_for_long_while_the_other_goes_on() {
    let lives = |torque_jitter, rotation_jitter| Shape {
        torque_jitter,
        rotation_jitter,
        same_since: 1_000,
        same_from: (10_000, 50_000),
        repeats: true,
        ..Shape::NEW
    };
    let both = |jitter: (u8, u8), both_same, ticks: u32| {
        let shape = Shape {
            both_same,
            both_most: 2,
            ..lives(jitter.0, jitter.1)
        };
        (shape, seen(1_000 + ticks, 10_000, 50_000))
    };
    let torque = |jitter, same_torque, turned, ticks: u32| {
        let shape = Shape {
            same_torque,
            ..lives(jitter, 0)
        };
        (shape, seen(1_000 + ticks, 10_000, 50_000 + turned))
    };
    let rotation = |jitter, same_rotation, loaded, ticks: u32| {
        let shape = Shape {
            same_rotation,
            ..lives(0, jitter)
        };
        (shape, seen(1_000 + ticks, 10_000 + loaded, 50_000))
    };
    let rows = [
        (both((8, 8), 32, 50), true),
        (both((8, 8), 31, 50), false),
        (both((8, 8), 32, 49), false),
        (both((7, 8), 32, 50), false),
        (both((8, 7), 32, 50), false),
        (torque(8, 40, 8_001, 200), true),
        (torque(7, 40, 8_001, 200), false),
        (torque(8, 39, 8_001, 200), false),
        (torque(8, 40, 8_000, 200), false),
        (torque(8, 40, 8_001, 199), false),
        (rotation(8, 40, 10_001, 200), true),
        (rotation(7, 40, 10_001, 200), false),
        (rotation(8, 39, 10_001, 200), false),
        (rotation(8, 40, 10_000, 200), false),
        (rotation(8, 40, 10_001, 199), false),
    ];
    let limits = thresholds();
    for (index, ((shape, seen), is_stuck)) in rows.iter().enumerate() {
        assert_eq!(shape.stuck(*seen, &limits), *is_stuck, "row {index}");
        let mut shape = *shape;
        let told = shape.follow(*seen, *seen, (seen.torque, seen.rotation), 0, None, &limits);
        assert_eq!(told, is_stuck.then_some(Reason::Stuck), "row {index}");
    }
}

#[test]
fn of_what_a_reading_shows_the_sensors_fault_goes_first_and_giving_way_before_yield() {
    let limits = thresholds();
    let yields = Shape {
        pair_least: 4_000,
        chord_least: 2_000,
        on_chord: true,
        top: 20_000,
        ..Shape::NEW
    };
    let turned = seen(0, 20_000, 5_001);
    let mut shape = yields;
    let told = shape.follow(
        turned,
        turned,
        (turned.torque, turned.rotation),
        0,
        Some(0),
        &limits,
    );
    assert_eq!(told, Some(Reason::Yielding));
    // Where a turn is aimed at a fastener may yield.
    let mut shape = yields;
    assert_eq!(
        shape.follow(
            turned,
            turned,
            (turned.torque, turned.rotation),
            0,
            None,
            &limits
        ),
        None
    );
    let mut shape = Shape {
        top: 30_000,
        ..yields
    };
    let told = shape.follow(
        turned,
        turned,
        (turned.torque, turned.rotation),
        0,
        Some(0),
        &limits,
    );
    assert_eq!(told, Some(Reason::GivingWay));
}

#[test]
fn a_hand_turns_by_a_part_of_the_way_between_two_looks_within_a_reading() {
    let mut limits = thresholds();
    limits.wind_up = 1_990;
    // Four readings together: nine in each, or ten.
    for (from, yields) in [(-39, true), (-40, false), (40, true)] {
        let mut shape = Shape {
            pair_least: 4_000,
            chord_least: 2_000,
            on_chord: true,
            ..Shape::NEW
        };
        let turned = seen(0, 20_000, 6_000);
        let before = seen(0, 20_000, 6_000 + from);
        let told = shape.follow(
            before,
            turned,
            (turned.torque, turned.rotation),
            2,
            Some(0),
            &limits,
        );
        assert_eq!(told.is_some(), yields, "{from}");
    }
}
