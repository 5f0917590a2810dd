//! Orders of work: cross, centre-out, reverse, listed.
//!
//! An order is a list of fastener indices, written into the caller's slice; its length is the number of fasteners.
//! Integers only, so that every machine finds the same order. Knows nothing of stages or labels.
//!
//! # Why one rule for every number of fasteners
//!
//! Halve the circle as long as the number is even; what is left is odd and is taken as a star. For powers of two that
//! is bit reversal, for 12, 20, 24 it gives each four one in every quadrant. Only twice an odd number (6, 10, 14)
//! needs opposite pairs on axes that alternate between the two halves. Centre-out takes fasteners by distance from
//! the middle of the bounding box; those equally far to 2 % are taken crosswise. *Would change our mind:* a standard
//! that prescribes another order; a plan can list its own.

use core::cmp::Ordering;
use core::fmt;

use crate::unit::Length;

/// Most fasteners that an order can name: the last index stands for the whole joint.
pub const ORDER_MAX: usize = 255;

/// Where a fastener sits in the plane of the joint. Axes: x right, y up, as on the map; only differences count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Point {
    /// To the right.
    pub x: Length,
    /// Up.
    pub y: Length,
}

/// Why there is no such order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum PatternError {
    /// Too few or too many fasteners.
    Count {
        /// How many were given.
        given: usize,
        /// The fewest allowed.
        least: usize,
    },
    /// Not as many positions as fasteners.
    Positions {
        /// Positions given.
        given: usize,
        /// Fasteners.
        fasteners: usize,
    },
    /// A listed order names a fastener that does not exist.
    Unknown {
        /// Its place in the list.
        place: usize,
    },
    /// A listed order names a fastener twice.
    Twice {
        /// The second place in the list.
        place: usize,
    },
    /// A listed order leaves a fastener out.
    Missing {
        /// The fastener's index.
        fastener: usize,
    },
}

impl fmt::Display for PatternError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Count { given, least } => {
                write!(
                    f,
                    "{given} fasteners have no such order: {least} to {ORDER_MAX} are allowed"
                )
            }
            Self::Positions { given, fasteners } => {
                write!(
                    f,
                    "{given} positions for {fasteners} fasteners: each needs one"
                )
            }
            Self::Unknown { place } => write!(
                f,
                "entry {} of the order names no fastener",
                place.saturating_add(1)
            ),
            Self::Twice { place } => {
                write!(
                    f,
                    "entry {} of the order names a fastener for the second time",
                    place.saturating_add(1)
                )
            }
            Self::Missing { fastener } => {
                write!(
                    f,
                    "the order leaves out fastener {}",
                    fastener.saturating_add(1)
                )
            }
        }
    }
}

impl core::error::Error for PatternError {}

/// Cross order for fasteners numbered one after another round a circle.
///
/// Where their number is even, every second lies opposite the one before. Each four after one another, counted from the
/// first, have one in every quadrant. For powers of two it is the bit-reversal order: 8 gives 1 5 3 7 2 6 4 8. Where the
/// number is odd it is the star: on by just under half the circle each time.
///
/// # Errors
/// [`PatternError::Count`] for fewer than 3 or more than 255.
///
/// # Examples
/// ```
/// let mut order = [0; 5];
/// evendraw_core::pattern::cross(&mut order)?;
/// assert_eq!(order, [0, 2, 4, 1, 3]);
/// # Ok::<(), evendraw_core::pattern::PatternError>(())
/// ```
pub fn cross(into: &mut [u8]) -> Result<(), PatternError> {
    let count = counted(into.len(), 3)?;
    for (place, slot) in (0_u16..).zip(into.iter_mut()) {
        *slot = u8::try_from(crossed(place, count)).unwrap_or(u8::MAX);
    }
    Ok(())
}

/// The fastener at a place of the cross order of `count`.
fn crossed(place: u16, count: u16) -> u16 {
    if count % 4 == 2 {
        // Axes of opposite pairs, on by just over half of them: each next pair crosses the one before.
        let axes = count / 2;
        let step = axes.saturating_add(1) / 2;
        let axis = wrapped(place / 2, step, axes);
        return axis.saturating_add((place % 2).saturating_mul(axes));
    }
    let mut place = place;
    let mut part = count;
    let mut found = 0_u16;
    while part > 0 && part.is_multiple_of(2) {
        part /= 2;
        found = found.saturating_add((place % 2).saturating_mul(part));
        place /= 2;
    }
    // What is left is odd: a star over the part.
    found.saturating_add(wrapped(place, (part / 2).max(1), part))
}

fn wrapped(place: u16, step: u16, count: u16) -> u16 {
    let far = u32::from(place).saturating_mul(u32::from(step));
    let left = far.checked_rem(u32::from(count)).unwrap_or(0);
    u16::try_from(left).unwrap_or(0)
}

/// Cross order for fasteners round a joint whose numbers need not follow the circle: taken anticlockwise from the first
/// about the middle of their bounding box.
///
/// # Errors
/// [`PatternError::Count`] for fewer than 3 or more than 255; [`PatternError::Positions`] if not each has a position.
pub fn cross_at(positions: &[Point], into: &mut [u8]) -> Result<(), PatternError> {
    let count = counted(into.len(), 3)?;
    positioned(positions, into)?;
    let centre = Centre::of(positions);
    let first = positions
        .first()
        .map_or((0, 0), |&point| centre.from(point));
    let mut ring = [0_u8; ORDER_MAX];
    let ring = ring.get_mut(..into.len()).unwrap_or(&mut []);
    numbered(ring);
    ring.sort_unstable_by(|&one, &two| {
        let (a, b) = (centre.at(positions, one), centre.at(positions, two));
        turned(first, a, b)
            .then(size(a).cmp(&size(b)))
            .then(one.cmp(&two))
    });
    for (place, slot) in (0_u16..).zip(into.iter_mut()) {
        let at = usize::from(crossed(place, count));
        *slot = ring.get(at).copied().unwrap_or(u8::MAX);
    }
    Ok(())
}

/// From the middle of the joint to its edges.
///
/// Fasteners are taken by their distance from the middle of the bounding box. Those that are equally far, to 2 %, are taken
/// crosswise: each time the one farthest from the fastener before; then the lower index.
///
/// # Errors
/// [`PatternError::Count`] for none or more than 255; [`PatternError::Positions`] if not each has a position.
pub fn centre_out(positions: &[Point], into: &mut [u8]) -> Result<(), PatternError> {
    counted(into.len(), 1)?;
    positioned(positions, into)?;
    let centre = Centre::of(positions);
    numbered(into);
    into.sort_unstable_by(|&one, &two| {
        let (a, b) = (centre.at(positions, one), centre.at(positions, two));
        size(a).cmp(&size(b)).then(one.cmp(&two))
    });
    let mut rest = into;
    let mut before = None;
    while let Some(&nearest) = rest.first() {
        let ring = ring_end(size(centre.at(positions, nearest)));
        let mut best = 0_usize;
        if let Some((x, y)) = before {
            let mut best_gap = None;
            for (place, &other) in rest.iter().enumerate() {
                let at = centre.at(positions, other);
                if size(at) > ring {
                    break;
                }
                let gap = size((at.0.saturating_sub(x), at.1.saturating_sub(y)));
                if best_gap.is_none_or(|best_gap| gap > best_gap) {
                    best_gap = Some(gap);
                    best = place;
                }
            }
        }
        // Bring it to the front and keep the others in their order.
        if let Some(head) = rest.get_mut(..=best) {
            head.rotate_right(1);
        }
        before = rest.first().map(|&taken| centre.at(positions, taken));
        rest = rest.get_mut(1..).unwrap_or(&mut []);
    }
    Ok(())
}

/// The same order from its end.
pub const fn reverse(order: &mut [u8]) {
    order.reverse();
}

/// Checks an order that was listed: every one of `fasteners` once.
///
/// # Errors
/// [`PatternError`] naming the first entry that is wrong, or the first fastener left out.
pub fn listed(order: &[u8], fasteners: usize) -> Result<(), PatternError> {
    counted(fasteners, 1)?;
    for (place, entry) in order.iter().enumerate() {
        if usize::from(*entry) >= fasteners {
            return Err(PatternError::Unknown { place });
        }
        if order.iter().take(place).any(|earlier| earlier == entry) {
            return Err(PatternError::Twice { place });
        }
    }
    let missing =
        (0..fasteners).find(|&fastener| !order.iter().any(|&entry| usize::from(entry) == fastener));
    match missing {
        Some(fastener) => Err(PatternError::Missing { fastener }),
        None => Ok(()),
    }
}

fn counted(given: usize, least: usize) -> Result<u16, PatternError> {
    match u16::try_from(given) {
        Ok(count) if given >= least && given <= ORDER_MAX => Ok(count),
        _ => Err(PatternError::Count { given, least }),
    }
}

const fn positioned(positions: &[Point], into: &[u8]) -> Result<(), PatternError> {
    if positions.len() == into.len() {
        Ok(())
    } else {
        Err(PatternError::Positions {
            given: positions.len(),
            fasteners: into.len(),
        })
    }
}

fn numbered(order: &mut [u8]) {
    for (index, slot) in (0_u8..).zip(order.iter_mut()) {
        *slot = index;
    }
}

/// Twice the middle of the bounding box, so that it stays whole.
struct Centre {
    x: i64,
    y: i64,
}

impl Centre {
    fn of(positions: &[Point]) -> Self {
        let middle = |part: fn(&Point) -> Length| {
            let all = || {
                positions
                    .iter()
                    .map(part)
                    .map(|length| i64::from(length.micrometers()))
            };
            all()
                .min()
                .unwrap_or(0)
                .saturating_add(all().max().unwrap_or(0))
        };
        Self {
            x: middle(|point| point.x),
            y: middle(|point| point.y),
        }
    }

    /// Twice the way from the middle to a point.
    fn from(&self, point: Point) -> (i64, i64) {
        let twice = |length: Length| i64::from(length.micrometers()).saturating_mul(2);
        (
            twice(point.x).saturating_sub(self.x),
            twice(point.y).saturating_sub(self.y),
        )
    }

    fn at(&self, positions: &[Point], index: u8) -> (i64, i64) {
        positions
            .get(usize::from(index))
            .map_or((0, 0), |&point| self.from(point))
    }
}

/// Square of a distance.
fn size(of: (i64, i64)) -> i128 {
    let square = |part: i64| i128::from(part).saturating_mul(i128::from(part));
    square(of.0).saturating_add(square(of.1))
}

/// The square of a distance 2 % larger.
const fn ring_end(nearest: i128) -> i128 {
    // 1.02² is 1.0404.
    nearest.saturating_add(nearest.saturating_mul(404) / 10_000)
}

/// Which of two directions comes first, going anticlockwise from `first`.
fn turned(first: (i64, i64), a: (i64, i64), b: (i64, i64)) -> Ordering {
    // What sits in the middle has no direction: it comes before all.
    let first = if first == (0, 0) { (1, 0) } else { first };
    let placed = |of: (i64, i64)| of != (0, 0);
    let late = |of: (i64, i64)| {
        let side = crossed_product(first, of);
        side < 0 || (side == 0 && dot(first, of) < 0)
    };
    placed(a)
        .cmp(&placed(b))
        .then(late(a).cmp(&late(b)))
        .then(0.cmp(&crossed_product(a, b)))
}

fn crossed_product(a: (i64, i64), b: (i64, i64)) -> i128 {
    let one = i128::from(a.0).saturating_mul(i128::from(b.1));
    one.saturating_sub(i128::from(a.1).saturating_mul(i128::from(b.0)))
}

fn dot(a: (i64, i64), b: (i64, i64)) -> i128 {
    let one = i128::from(a.0).saturating_mul(i128::from(b.0));
    one.saturating_add(i128::from(a.1).saturating_mul(i128::from(b.1)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crossing<const N: usize>() -> [u8; N] {
        let mut order = [0; N];
        cross(&mut order).expect("three or more");
        order
    }

    /// Rows of fasteners, 90 mm apart along and 110 mm across.
    fn rows<const N: usize>(across: usize) -> [Point; N] {
        let mut points = [Point::default(); N];
        let along = N / across;
        for (index, point) in points.iter_mut().enumerate() {
            let (column, row) = (index % along, index / along);
            point.x = Length::from_micrometers(90_000 * i32::try_from(column).expect("few"));
            point.y = Length::from_micrometers(110_000 * i32::try_from(row).expect("few"));
        }
        points
    }

    #[test]
    fn small_circles_have_the_known_orders() {
        // 4, 8, 16: bit reversal. 5: the star of a five-bolt wheel, common practice, no source.
        assert_eq!(crossing::<3>(), [0, 1, 2]);
        assert_eq!(crossing::<4>(), [0, 2, 1, 3]);
        assert_eq!(crossing::<5>(), [0, 2, 4, 1, 3]);
        assert_eq!(crossing::<6>(), [0, 3, 2, 5, 1, 4]);
        assert_eq!(crossing::<8>(), [0, 4, 2, 6, 1, 5, 3, 7]);
        assert_eq!(crossing::<12>(), [0, 6, 3, 9, 1, 7, 4, 10, 2, 8, 5, 11]);
    }

    #[test]
    fn cross_order_of_every_size_is_a_permutation_with_opposites() {
        for count in 3..=if cfg!(miri) { 24 } else { ORDER_MAX } {
            let mut room = [0; ORDER_MAX];
            let order = room.get_mut(..count).expect("in range");
            cross(order).expect("in range");
            listed(order, count).expect("each once");
            if count % 2 == 0 {
                for pair in order.chunks(2) {
                    assert_eq!(usize::from(pair[0].abs_diff(pair[1])), count / 2, "{count}");
                }
                for four in order.chunks_exact(4) {
                    let mut quadrants = [false; 4];
                    for &at in four {
                        quadrants[usize::from(at) * 4 / count] = true;
                    }
                    assert_eq!(quadrants, [true; 4], "{count}: {four:?}");
                }
            }
        }
    }

    #[test]
    fn centre_out_of_two_rows_begins_in_the_middle_and_crosses() {
        let mut order = [0; 6];
        centre_out(&rows::<6>(2), &mut order).expect("placed");
        assert_eq!(order, [1, 4, 0, 5, 3, 2]);
        let mut order = [0; 14];
        centre_out(&rows::<14>(2), &mut order).expect("placed");
        assert_eq!(&order[..2], &[3, 10]);
        let mut ends = [order[10], order[11], order[12], order[13]];
        ends.sort_unstable();
        assert_eq!(ends, [0, 6, 7, 13]);
    }

    #[test]
    fn centre_out_of_one_row_goes_from_side_to_side() {
        let mut order = [0; 5];
        centre_out(&rows::<5>(1), &mut order).expect("placed");
        assert_eq!(order, [2, 1, 3, 0, 4]);
    }

    #[test]
    fn cross_by_position_does_not_mind_how_the_fasteners_are_numbered() {
        // A square of four and their middles, numbered row by row.
        let at = |x, y| Point {
            x: Length::from_micrometers(x),
            y: Length::from_micrometers(y),
        };
        let square = [
            at(0, 0),
            at(1, 0),
            at(2, 0),
            at(0, 1),
            at(2, 1),
            at(0, 2),
            at(1, 2),
            at(2, 2),
        ];
        let mut order = [0; 8];
        cross_at(&square, &mut order).expect("placed");
        assert_eq!(order, [0, 7, 2, 5, 1, 6, 4, 3]);
    }

    #[test]
    fn fasteners_on_one_spot_or_in_the_middle_still_have_one_order() {
        let mut order = [0; 7];
        cross_at(&[Point::default(); 7], &mut order).expect("placed");
        listed(&order, 7).expect("each once");
        centre_out(&[Point::default(); 7], &mut order).expect("placed");
        listed(&order, 7).expect("each once");
    }

    #[test]
    fn listed_orders_are_checked_entry_by_entry() {
        assert_eq!(listed(&[2, 0, 1], 3), Ok(()));
        assert_eq!(
            listed(&[2, 0, 3], 3),
            Err(PatternError::Unknown { place: 2 })
        );
        assert_eq!(listed(&[2, 0, 2], 3), Err(PatternError::Twice { place: 2 }));
        assert_eq!(
            listed(&[2, 0], 3),
            Err(PatternError::Missing { fastener: 1 })
        );
        assert_eq!(
            cross(&mut [0; 2]),
            Err(PatternError::Count { given: 2, least: 3 })
        );
    }

    proptest::proptest! {
        #[test]
        fn every_set_of_positions_has_both_orders(
            places in proptest::collection::vec((-1_000_000_000_i32..=1_000_000_000, -9_i32..9), 3..64)
        ) {
            let points: std::vec::Vec<Point> = places
                .iter()
                .map(|&(x, y)| Point { x: Length::from_micrometers(x), y: Length::from_micrometers(y) })
                .collect();
            let mut order = std::vec![0; points.len()];
            centre_out(&points, &mut order).expect("placed");
            listed(&order, points.len()).expect("each once");
            cross_at(&points, &mut order).expect("placed");
            listed(&order, points.len()).expect("each once");
        }
    }
}
