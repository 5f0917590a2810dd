//! A cover as one body on its gasket: it sinks and tilts as a whole, and bends besides.
//!
//! A plate with free edges on an elastic foundation has two kinds of movement that do not disturb each other: those of a rigid body (sinking,
//! tilting about two axes), in which it does not bend, and the rest. For the first the foundation alone answers: a load P at a point presses
//! with P/A + M·x/I, as under any rigid footing; the deflection is that over k. [Winkler's foundation: Hetényi, *Beams on Elastic
//! Foundation*, ch. 1; the distribution is Navier's for direct load and bending] So a load on one side lifts the other. For the rest the wide
//! plate's deflection of [`Plate`] is taken, with its share of the rigid movements removed. For a cover much wider than the plate's reach that
//! is the wide plate, for one much narrower the rigid body; between the two it leaves out that a plate is softer against bending at its edge.
//!
//! The gasket both pushes and pulls here; once every fastener is snug it only pushes.
//!
//! Knows nothing of fasteners' springs.

use super::{Matrix, Plate};

/// A cover's outline: the fasteners' convex hull and an edge around it, cut into square cells.
#[derive(Debug, Clone, PartialEq)]
pub struct Cover {
    plate: Plate,
    cells_mm: Vec<[f64; 2]>,
    cell_mm2: f64,
    /// Sinking and two tilts, orthonormal over the cells.
    moves: [Move; 3],
}

/// A movement of the whole: deflection at a place is `c + x·dx + y·dy`, 1/mm.
type Move = [f64; 3];

/// About so many cells.
const CELLS: f64 = 160.0;

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
        let low = [bound(0, f64::min) - edge_mm, bound(1, f64::min) - edge_mm];
        let size = [
            bound(0, f64::max) + edge_mm - low[0],
            bound(1, f64::max) + edge_mm - low[1],
        ];
        let side = (size[0] * size[1] / CELLS).sqrt();
        let mut cells_mm = Vec::new();
        let mut y = low[1] + side / 2.0;
        while y < low[1] + size[1] {
            let mut x = low[0] + side / 2.0;
            while x < low[0] + size[0] {
                if distance(&hull, [x, y]) <= edge_mm {
                    cells_mm.push([x, y]);
                }
                x += side;
            }
            y += side;
        }
        let cell_mm2 = side * side;
        let moves = whole_moves(&cells_mm, cell_mm2);
        Self {
            plate,
            cells_mm,
            cell_mm2,
            moves,
        }
    }

    /// Area, mm².
    #[must_use]
    pub fn area_mm2(&self) -> f64 {
        count(self.cells_mm.len()) * self.cell_mm2
    }

    /// Deflection at the row's place for each newton at the column's, mm/N.
    #[must_use]
    pub fn compliance(&self, positions_mm: &[[f64; 2]]) -> Matrix {
        let wide = |a: [f64; 2], b: [f64; 2]| {
            self.plate
                .compliance_mm_per_N((a[0] - b[0]).hypot(a[1] - b[1]))
        };
        // How much of each whole movement the wide plate makes under a load at a place.
        let share = |place: [f64; 2]| {
            let mut shares = [0.0; 3];
            for &cell in &self.cells_mm {
                let deflection = wide(place, cell) * self.cell_mm2;
                for (share, own) in shares.iter_mut().zip(&self.moves) {
                    *share += deflection * at(own, cell);
                }
            }
            shares
        };
        let of_cells: Vec<[f64; 3]> = self.cells_mm.iter().map(|&cell| share(cell)).collect();
        let mut among = [[0.0; 3]; 3];
        for (&cell, shares) in self.cells_mm.iter().zip(&of_cells) {
            for (row, own) in among.iter_mut().zip(&self.moves) {
                for (entry, share) in row.iter_mut().zip(shares) {
                    *entry += at(own, cell) * share * self.cell_mm2;
                }
            }
        }
        let shares: Vec<[f64; 3]> = positions_mm.iter().map(|&place| share(place)).collect();
        let whole: Vec<[f64; 3]> = positions_mm
            .iter()
            .map(|&place| [0, 1, 2].map(|which| at(&self.moves[which], place)))
            .collect();
        Matrix::from_fn(positions_mm.len(), |i, j| {
            let mut sum = wide(positions_mm[i], positions_mm[j]);
            for a in 0..3 {
                sum -= whole[j][a] * shares[i][a] + whole[i][a] * shares[j][a];
                sum += whole[i][a] * whole[j][a] / self.plate.foundation_N_per_mm3;
                for b in 0..3 {
                    sum += whole[i][a] * among[a][b] * whole[j][b];
                }
            }
            sum
        })
    }
}

fn at(own: &Move, place: [f64; 2]) -> f64 {
    own[0] + own[1] * place[0] + own[2] * place[1]
}

/// 1, x and y made orthonormal over the cells (Gram and Schmidt). A movement that the cells cannot tell from the others is left out as 0.
fn whole_moves(cells_mm: &[[f64; 2]], cell_mm2: f64) -> [Move; 3] {
    let product = |a: &Move, b: &Move| {
        cells_mm
            .iter()
            .map(|&cell| at(a, cell) * at(b, cell))
            .sum::<f64>()
            * cell_mm2
    };
    let mut moves = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    for which in 0..3 {
        let (done, rest) = moves.split_at_mut(which);
        let Some(own) = rest.first_mut() else { break };
        let before = product(own, own);
        for other in done {
            let along = product(own, other);
            for (entry, taken) in own.iter_mut().zip(other.iter()) {
                *entry -= along * taken;
            }
        }
        let length = product(own, own);
        let scale = if length > 1e-9 * before.max(1e-300) {
            1.0 / length.sqrt()
        } else {
            0.0
        };
        for entry in own.iter_mut() {
            *entry *= scale;
        }
    }
    moves
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
            ((along[0] * to[0] + along[1] * to[1]) / length).clamp(0.0, 1.0)
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

    /// A cover much wider than its reach is the wide plate.
    #[test]
    fn a_wide_cover_is_the_wide_plate() {
        let plate = Plate::new(70_000.0, 10.0, 400.0);
        let places = [[0.0, 0.0], [30.0, 0.0], [0.0, 60.0]];
        let cover = Cover::around(plate, &places, 600.0);
        let give = cover.compliance(&places);
        for (i, a) in places.iter().enumerate() {
            for (j, b) in places.iter().enumerate() {
                let wide = plate.compliance_mm_per_N((a[0] - b[0]).hypot(a[1] - b[1]));
                let own = plate.compliance_mm_per_N(0.0);
                assert!((give.at(i, j) - wide).abs() < 0.02 * own, "{i} {j}");
            }
        }
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
                assert!(cover.area_mm2() > 900.0);
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
