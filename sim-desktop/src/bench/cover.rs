//! A cover as one body on its gasket: it sinks and tilts as a whole, and bends besides.
//!
//! A thin plate with free edges on an elastic foundation, by Ritz's method: the deflection is a sum of polynomials, and their shares are
//! those that make the energy of bending and foundation least. [Timoshenko and Woinowsky-Krieger, *Theory of Plates and Shells*, art. 81, 82;
//! foundation after Winkler; from memory] The first three polynomials are sinking and the two tilts, in which nothing bends, so a stiff
//! cover is the rigid footing of the textbooks (p = P/A + M·x/I) and a load on one side lifts the other. Against the same sum of twice the
//! order with exact integrals it is within 6 % (`tests/bench/cover.py`).
//!
//! The gasket both pushes and pulls here; once every fastener is snug it only pushes. It lies under the whole cover.
//!
//! Knows nothing of fasteners' springs.

use super::matrix::dot;
use super::{Cholesky, Matrix, Plate};
use crate::limited::Limited as _;

/// A cover's outline: the fasteners' convex hull and an edge around it.
#[derive(Debug, Clone, PartialEq)]
pub struct Cover {
    plate: Plate,
    hull: Vec<[f64; 2]>,
    edge_mm: f64,
    /// Middle and half size of the box around it, mm.
    middle: [f64; 2],
    half: [f64; 2],
    /// Highest order of the polynomials.
    order: usize,
}

/// Poisson's ratio, as [`Plate::new`] has it.
const POISSON: f64 = 0.3;
/// Orders tried: enough to follow a dent as wide as the plate's reach, few enough to solve at once. A cover more than eight reaches wide
/// dents a little more under each fastener than it says here.
const ORDERS: (f64, f64) = (6.0, 10.0);

impl Cover {
    /// Around fasteners at positions (mm), reaching `edge_mm` beyond them.
    #[must_use]
    pub fn around(plate: Plate, positions_mm: &[[f64; 2]], edge_mm: f64) -> Self {
        let hull = hull(positions_mm);
        let bound = |axis: usize, better: fn(f64, f64) -> f64| {
            hull.iter()
                .map(|place| place[axis])
                .reduce(better)
                .unwrap_or(0.0)
        };
        let span = [0, 1].map(|axis| (bound(axis, f64::min), bound(axis, f64::max)));
        let half = span.map(|(low, high)| (high - low) / 2.0 + edge_mm);
        let across = 2.0 * half[0].max(half[1]) / plate.reach_mm();
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "between the two orders"
        )]
        let order = (1.3 * across).round().limited(ORDERS.0, ORDERS.1) as usize;
        Self {
            plate,
            edge_mm,
            middle: span.map(|(low, high)| f64::midpoint(low, high)),
            half,
            order,
            hull,
        }
    }

    /// Deflection at the row's place for each newton at the column's, mm/N.
    #[must_use]
    pub fn compliance(&self, positions_mm: &[[f64; 2]]) -> Matrix {
        let shapes: Vec<Vec<f64>> = positions_mm
            .iter()
            .map(|&place| self.shapes(place).deflection)
            .collect();
        // Foundation under all of the plate makes this positive definite.
        let Some(factor) = Cholesky::of(&self.stiffness()) else {
            return Matrix::from_fn(positions_mm.len(), |i, j| {
                let ([ax, ay], [bx, by]) = (positions_mm[i], positions_mm[j]);
                self.plate.compliance_mm_per_N((ax - bx).hypot(ay - by))
            });
        };
        let answers: Vec<Vec<f64>> = shapes.iter().map(|shape| factor.solve(shape)).collect();
        // Both halves alike to the last bit: what one does to another, that other does to it.
        Matrix::from_fn(positions_mm.len(), |i, j| {
            let (low, high) = (i.min(j), i.max(j));
            dot(&shapes[low], &answers[high])
        })
    }

    /// Energy of bending and foundation for the shares of the polynomials: twice it is the sum over this matrix.
    fn stiffness(&self) -> Matrix {
        let terms = (self.order + 1) * (self.order + 2) / 2;
        let mut sum = Matrix::zero(terms);
        let along = 2 * self.order + self.order / 2;
        let step = self.half.map(|half| 2.0 * half / count(along));
        let area = step[0] * step[1];
        for row in 0..along {
            for column in 0..along {
                let place = [
                    self.middle[0] - self.half[0] + (count(column) + 0.5) * step[0],
                    self.middle[1] - self.half[1] + (count(row) + 0.5) * step[1],
                ];
                if distance(&self.hull, place) <= self.edge_mm {
                    self.add_cell(&mut sum, &self.shapes(place), area);
                }
            }
        }
        // What the cells can hardly tell apart is kept apart.
        let trace: f64 = (0..terms).map(|term| sum.at(term, term)).sum();
        for term in 0..terms {
            sum.add(term, term, 1e-12 * trace / count(terms));
            for other in 0..term {
                let value = sum.at(term, other);
                sum.add(other, term, value);
            }
        }
        sum
    }

    /// Adds a cell's part below the diagonal and on it.
    fn add_cell(&self, sum: &mut Matrix, shapes: &Shapes, area: f64) {
        let (rigidity, foundation) = (
            self.plate.rigidity_Nmm * area,
            self.plate.foundation_N_per_mm3 * area,
        );
        let Shapes {
            deflection,
            bent_x,
            bent_y,
            twist,
        } = shapes;
        for a in 0..deflection.len() {
            let (along_x, along_y) = (
                rigidity * (bent_x[a] + POISSON * bent_y[a]),
                rigidity * (bent_y[a] + POISSON * bent_x[a]),
            );
            let twisted = 2.0 * (1.0 - POISSON) * rigidity * twist[a];
            let pressed = foundation * deflection[a];
            for b in 0..=a {
                let value = along_x * bent_x[b]
                    + along_y * bent_y[b]
                    + twisted * twist[b]
                    + pressed * deflection[b];
                sum.add(a, b, value);
            }
        }
    }

    /// Every polynomial and its second derivatives at a place: products of Legendre's, up to the order in all.
    fn shapes(&self, place: [f64; 2]) -> Shapes {
        let [x, y] = [0, 1]
            .map(|axis| legendre(place[axis] - self.middle[axis], self.half[axis], self.order));
        let mut shapes = Shapes::default();
        for (i, [x, dx, ddx]) in x.iter().enumerate() {
            for [y, dy, ddy] in y.iter().take(self.order + 1 - i) {
                shapes.deflection.push(x * y);
                shapes.bent_x.push(ddx * y);
                shapes.bent_y.push(x * ddy);
                shapes.twist.push(dx * dy);
            }
        }
        shapes
    }
}

/// All polynomials at one place.
#[derive(Default)]
struct Shapes {
    deflection: Vec<f64>,
    bent_x: Vec<f64>,
    bent_y: Vec<f64>,
    twist: Vec<f64>,
}

/// Legendre's polynomials of `x/half` with their first two derivatives by x, by recurrence:
/// n·Pₙ = (2n − 1)·u·Pₙ₋₁ − (n − 1)·Pₙ₋₂ and P′ₙ = P′ₙ₋₂ + (2n − 1)·Pₙ₋₁, likewise P″.
fn legendre(x: f64, half: f64, order: usize) -> Vec<[f64; 3]> {
    let u = x / half;
    let mut list = vec![[1.0, 0.0, 0.0], [u, 1.0, 0.0]];
    for n in 2..=order {
        let ([p2, d2, s2], [p1, d1, _]) = (list[n - 2], list[n - 1]);
        let odd = count(2 * n - 1);
        list.push([
            (odd * u * p1 - count(n - 1) * p2) / count(n),
            d2 + odd * p1,
            s2 + odd * d1,
        ]);
    }
    for [_, first, second] in &mut list {
        *first /= half;
        *second /= half * half;
    }
    list
}

/// Convex hull, counter-clockwise (Andrew's monotone chain); of two places the segment, of one the place.
fn hull(positions_mm: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut sorted = positions_mm.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let turn = |o: [f64; 2], a: [f64; 2], b: [f64; 2]| {
        (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
    };
    let chain = |places: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for place in places {
            while let [.., o, a] = chain.as_slice()
                && turn(*o, *a, place) <= 0.0
            {
                chain.pop();
            }
            chain.push(place);
        }
        chain.pop();
        chain
    };
    let mut lower = chain(&mut sorted.iter().copied());
    lower.extend(chain(&mut sorted.iter().rev().copied()));
    if lower.is_empty() { sorted } else { lower }
}

/// Distance of a place from a convex polygon, mm; 0 inside.
fn distance(hull: &[[f64; 2]], place: [f64; 2]) -> f64 {
    let mut nearest = f64::INFINITY;
    let mut is_inside = hull.len() > 2;
    for (index, &a) in hull.iter().enumerate() {
        let b = hull[(index + 1) % hull.len()];
        let (along, to) = (
            [b[0] - a[0], b[1] - a[1]],
            [place[0] - a[0], place[1] - a[1]],
        );
        is_inside &= along[0] * to[1] - along[1] * to[0] >= 0.0;
        let length = along[0] * along[0] + along[1] * along[1];
        let share = if length > 0.0 {
            ((along[0] * to[0] + along[1] * to[1]) / length).limited(0.0, 1.0)
        } else {
            0.0
        };
        nearest = nearest.min((to[0] - share * along[0]).hypot(to[1] - share * along[1]));
    }
    if is_inside { 0.0 } else { nearest }
}

fn count(number: usize) -> f64 {
    u32::try_from(number).map_or(0.0, f64::from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Cholesky;

    fn circle(number: u32, radius: f64) -> Vec<[f64; 2]> {
        (0..number)
            .map(|i| {
                let turn = std::f64::consts::TAU * f64::from(i) / f64::from(number);
                [radius * turn.cos(), radius * turn.sin()]
            })
            .collect()
    }

    /// A very stiff cover is the rigid footing of the textbooks: 1/(kA)·(1 + 4·x·x'/R²) for a round one. [p = P/A + M·x/I with I = π·R⁴/4]
    #[test]
    fn a_stiff_round_cover_tilts_like_a_rigid_footing() {
        let places = circle(8, 80.0);
        let plate = Plate::new(70_000.0, 2_000.0, 10.0);
        let cover = Cover::around(plate, &circle(96, 80.0), 20.0);
        let give = cover.compliance(&places);
        let area = std::f64::consts::PI * 100.0 * 100.0;
        for other in 0..8_u32 {
            let angle = std::f64::consts::TAU * f64::from(other) / 8.0;
            let expected = (1.0 + 4.0 * 0.64 * angle.cos()) / (10.0 * area);
            let found = give.at(0, usize::try_from(other).expect("small"));
            // The cells follow the round edge to a few percent.
            assert!(
                (found - expected).abs() < 0.05 * 3.56 / (10.0 * area),
                "{other}: {found} for {expected}"
            );
        }
        assert!(give.at(0, 4) < 0.0, "one side down lifts the other");
    }

    /// In the middle of a cover a few reaches wide, the dent is that of the wide plate. [Hertz, l²/8D]
    #[test]
    fn far_from_its_edge_a_cover_is_the_wide_plate() {
        let plate = Plate::new(70_000.0, 20.0, 60.0);
        let corners = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]
            .map(|place| place.map(|side| side * 2.4 * plate.reach_mm()));
        let cover = Cover::around(plate, &corners, 1.0);
        let found = cover.compliance(&[[0.0, 0.0]]).at(0, 0);
        let wide = plate.reach_mm().powi(2) / (8.0 * plate.rigidity_Nmm);
        assert!((found / wide - 1.0).abs() < 0.1, "{found} for {wide}");
    }

    /// Reciprocal and positive definite, whatever the outline: no arrangement gives energy away.
    #[test]
    fn every_outline_is_a_spring() {
        for places in [
            circle(6, 60.0),
            vec![[0.0, 0.0]],
            vec![[0.0, 0.0], [90.0, 0.0]],
            vec![[0.0, 0.0], [50.0, 0.0], [100.0, 0.0]],
            vec![
                [0.0, 0.0],
                [85.0, 0.0],
                [170.0, 0.0],
                [0.0, 130.0],
                [85.0, 130.0],
                [170.0, 130.0],
            ],
        ] {
            for foundation in [5.0, 60.0, 400.0] {
                let cover = Cover::around(Plate::new(70_000.0, 15.0, foundation), &places, 20.0);
                let give = cover.compliance(&places);
                for i in 0..places.len() {
                    for j in 0..places.len() {
                        assert!((give.at(i, j) - give.at(j, i)).abs() < 1e-12);
                    }
                }
                assert!(Cholesky::of(&give).is_some(), "{places:?} on {foundation}");
            }
        }
    }
}
