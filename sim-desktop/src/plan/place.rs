//! Where fasteners sit: positions, neighbours, and the order they are taken in.
//!
//! Knows nothing of stages. Positions are in µm here, so that orders and neighbours come from whole numbers.

use crate::limited::Limited as _;
use evendraw_core::pattern::{self, PatternError, Point};
use evendraw_core::unit::Length;

/// A fastener's place on the map.
#[derive(Clone, Debug, PartialEq)]
pub struct Position {
    /// The label on the metal.
    pub label: String,
    /// To the right, in mm.
    pub x_mm: f64,
    /// Upwards, in mm.
    pub y_mm: f64,
}

/// How the fasteners of a stage are taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Order {
    /// As the positions are written.
    Listed,
    /// From the middle outwards.
    CentreOut,
    /// Across the circle.
    Cross,
    /// The joint's order from its end.
    Reverse,
    /// As they come to hand.
    Any,
    /// These labels, by index.
    Own(Vec<u8>),
}

impl Order {
    /// The word a plan uses.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Listed => "listed",
            Self::CentreOut => "centre-out",
            Self::Cross => "cross",
            Self::Reverse => "reverse",
            Self::Any => "any",
            Self::Own(_) => "own",
        }
    }
}

/// The words for an order.
pub(super) const ORDER_WORDS: [&str; 5] = ["centre-out", "cross", "listed", "reverse", "any"];

/// The fasteners in an order of their own, by index.
///
/// # Errors
/// [`PatternError`] when these positions have no such order.
pub(super) fn arrange(order: &Order, points: &[Point]) -> Result<Vec<u8>, PatternError> {
    let mut list = vec![0_u8; points.len()];
    match order {
        Order::CentreOut => pattern::centre_out(points, &mut list)?,
        Order::Cross => pattern::cross_at(points, &mut list)?,
        Order::Own(own) => return Ok(own.clone()),
        Order::Listed | Order::Any | Order::Reverse => {
            for (index, slot) in (0_u8..).zip(list.iter_mut()) {
                *slot = index;
            }
            if *order == Order::Reverse {
                list.reverse();
            }
        }
    }
    Ok(list)
}

/// So many fasteners on a circle, the first so many degrees clockwise from the top, labelled from 1 on clockwise.
pub(super) fn on_circle(number: u32, diameter_mm: f64, first_deg: f64) -> Vec<Position> {
    let place = |index: u32| {
        let turned = (f64::from(index) * 360.0 / f64::from(number) + first_deg).to_radians();
        let rounded = |value: f64| (value * 1_000.0).round() / 1_000.0 + 0.0;
        Position {
            label: index.saturating_add(1).to_string(),
            x_mm: rounded(turned.sin() * diameter_mm / 2.0),
            y_mm: rounded(turned.cos() * diameter_mm / 2.0),
        }
    };
    (0..number).map(place).collect()
}

/// A position for the core.
pub(super) fn point(x_mm: f64, y_mm: f64) -> Point {
    Point {
        x: micrometers(x_mm),
        y: micrometers(y_mm),
    }
}

fn micrometers(mm: f64) -> Length {
    let wide = (mm * 1_000.0).round().limited(-1.0e9, 1.0e9);
    #[expect(
        clippy::cast_possible_truncation,
        reason = "clamped to ±10⁹ just above"
    )]
    Length::from_micrometers(wide as i32)
}

/// Up to four fasteners next to each: the nearest, and those hardly further away.
pub(super) fn neighbours(points: &[Point]) -> Vec<[Option<u8>; 4]> {
    let square = |a: Point, b: Point| {
        let apart = |one: Length, other: Length| {
            i128::from(one.micrometers().abs_diff(other.micrometers())).pow(2)
        };
        // Two differences of 32 bits: their squares fit many times over.
        apart(a.x, b.x).saturating_add(apart(a.y, b.y))
    };
    points
        .iter()
        .enumerate()
        .map(|(own, &point)| {
            let mut others: Vec<(i128, usize)> = points
                .iter()
                .enumerate()
                .filter(|&(other, _)| other != own)
                .map(|(other, &place)| (square(point, place), other))
                .collect();
            others.sort_unstable();
            let mut near = [None; 4];
            let Some(&(nearest, _)) = others.first() else {
                return near;
            };
            // Within half as far again as the nearest (9/4 of its square) counts as next to it; two at least, as on a ring.
            for (slot, (index, &(distance, other))) in
                near.iter_mut().zip(others.iter().enumerate())
            {
                if index >= 2 && distance.saturating_mul(4) > nearest.saturating_mul(9) {
                    break;
                }
                *slot = u8::try_from(other).ok();
            }
            near
        })
        .collect()
}
