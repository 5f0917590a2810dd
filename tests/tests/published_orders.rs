//! Orders of work against real flanges and against other ways to find them.

use std::f64::consts::TAU;

use evendraw_core::pattern::{Point, centre_out, cross, cross_at, listed};
use evendraw_core::unit::Length;
use evendraw_tests::table::rows;

/// The bolts of a flange in µm, straddling its centre line, numbered clockwise from the top.
fn bolts(count: u8, circle_mm: f64) -> Vec<Point> {
    let place = |index: u8| {
        let turned = TAU * (f64::from(index) + 0.5) / f64::from(count);
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a flange is a few metres wide"
        )]
        let part =
            |value: f64| Length::from_micrometers((value * circle_mm * 500.0).round() as i32);
        Point {
            x: part(turned.sin()),
            y: part(turned.cos()),
        }
    };
    (0..count).map(place).collect()
}

fn apart(one: Point, two: Point) -> f64 {
    let part = |length: Length| f64::from(length.micrometers());
    (part(one.x) - part(two.x)).hypot(part(one.y) - part(two.y))
}

/// Every drilling of ASME B16.5: each second bolt lies opposite the one before, each four have one in every quadrant.
#[test]
fn cross_order_of_every_flange_is_opposite_by_twos_and_spread_by_fours() {
    let table = rows("asme_b16_5_drilling.csv");
    assert_eq!(table.len(), 112);
    for row in table {
        let count: u8 = row.text("n_bolts").parse().expect("whole");
        let circle = row.number("W_bolt_circle_mm").expect("printed");
        let bolts = bolts(count, circle);
        let count = usize::from(count);
        let mut by_number = vec![0; count];
        cross(&mut by_number).expect("a circle");
        // The same flange with only the places known, not that the numbers go round: the other way round, and the same rules.
        let mut by_place = vec![0; count];
        cross_at(&bolts, &mut by_place).expect("placed");
        for order in [by_number, by_place] {
            listed(&order, count).expect("each once");
            let places: Vec<Point> = order.iter().map(|&at| bolts[usize::from(at)]).collect();
            for pair in places.chunks(2) {
                assert!(
                    (apart(pair[0], pair[1]) - circle * 1_000.0).abs() < 3.0,
                    "{count} bolts on {circle} mm"
                );
            }
            for four in places.chunks(4) {
                let mut quadrants = four
                    .iter()
                    .map(|place| (place.x > Length::ZERO, place.y > Length::ZERO))
                    .collect::<Vec<_>>();
                quadrants.sort_unstable();
                quadrants.dedup();
                assert_eq!(quadrants.len(), 4, "{count} bolts: {four:?}");
            }
        }
    }
}

/// For powers of two the order is bit reversal, the van der Corput sequence in base 2 (scipy's unscrambled Halton gives the
/// same): 8 gives 1 5 3 7 2 6 4 8.
#[test]
fn cross_order_of_powers_of_two_is_bit_reversal() {
    for bits in 2..=7_u32 {
        let count = 1_usize << bits;
        let mut order = vec![0; count];
        cross(&mut order).expect("a circle");
        let reversed: Vec<u8> = (0..=127_u8)
            .take(count)
            .map(|place| place.reverse_bits() >> (8 - bits))
            .collect();
        assert_eq!(order, reversed, "{count}");
    }
    let mut eight = [0; 8];
    cross(&mut eight).expect("a circle");
    assert_eq!(eight.map(|at| at + 1), [1, 5, 3, 7, 2, 6, 4, 8]);
}

/// From the most rigid part, the centre, to the free edges (AISC; commentary of the RCSC specification): no fastener comes more than
/// 2 % nearer to the middle than one before it.
#[test]
fn centre_out_never_goes_back_towards_the_middle() {
    let row = |columns: i32, rows: i32, skew: i32| -> Vec<Point> {
        let place = |index: i32| Point {
            x: Length::from_micrometers(90_000 * (index % columns) + skew * (index / columns)),
            y: Length::from_micrometers(-70_000 * (index / columns)),
        };
        (0..columns * rows).map(place).collect()
    };
    for joint in [
        row(7, 2, 0),
        row(5, 2, 0),
        row(8, 1, 0),
        row(5, 3, 0),
        row(9, 2, 31_000),
        row(1, 6, 0),
        row(4, 4, 0),
    ] {
        let mut order = vec![0; joint.len()];
        centre_out(&joint, &mut order).expect("placed");
        listed(&order, joint.len()).expect("each once");
        let middle = |part: fn(&Point) -> Length| {
            let all = || {
                joint
                    .iter()
                    .map(part)
                    .map(|length| f64::from(length.micrometers()))
            };
            (all().fold(f64::INFINITY, f64::min) + all().fold(f64::NEG_INFINITY, f64::max)) / 2.0
        };
        let (x, y) = (middle(|point| point.x), middle(|point| point.y));
        let mut farthest = 0.0_f64;
        for at in order {
            let point = joint[usize::from(at)];
            let away =
                (f64::from(point.x.micrometers()) - x).hypot(f64::from(point.y.micrometers()) - y);
            assert!(away * 1.0201 >= farthest, "{away} after {farthest}");
            farthest = farthest.max(away);
        }
    }
}
