//! How the fasteners of a joint feel each other: tightening one presses the parts together and relieves its neighbours.
//!
//! The upper part is a [`Plate`] on an elastic foundation (gasket or the parts below), pressed down at each fastener. On a gasket the part
//! above is a [`Cover`], which sinks and tilts as a whole too. Each fastener adds its own spring and the cone of pressed material under
//! its head.
//!
//! Knows nothing of torque, time or tools.

use super::matrix::dot;
use super::{Cholesky, Cover, Matrix, Plate};

/// One fastener's own spring in the joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spring {
    /// Give of fastener and pressed cone, mm/N.
    pub compliance_mm_per_N: f64,
    /// Give of the rough surfaces that closes first, mm.
    pub toe_mm: f64,
    /// Load at which 63 % of the surfaces' give is used up, N.
    pub toe_N: f64,
}

impl Spring {
    /// Give of the rough surfaces at a load, mm.
    #[must_use]
    pub fn toe(&self, load_N: f64) -> f64 {
        if self.toe_mm > 0.0 {
            self.toe_mm * -(-load_N / self.toe_N).exp_m1()
        } else {
            0.0
        }
    }

    /// Slope of [`Spring::toe`], mm/N.
    #[must_use]
    pub fn toe_slope(&self, load_N: f64) -> f64 {
        if self.toe_mm > 0.0 {
            self.toe_mm / self.toe_N * (-load_N / self.toe_N).exp()
        } else {
            0.0
        }
    }

    /// Work stored in the surfaces at a load, N·mm: ∫ F d(toe).
    #[must_use]
    pub fn toe_energy_Nmm(&self, load_N: f64) -> f64 {
        if self.toe_mm > 0.0 {
            let x = load_N / self.toe_N;
            self.toe_mm * self.toe_N * (1.0 - (1.0 + x) * (-x).exp())
        } else {
            0.0
        }
    }
}

/// Positions (mm) about their middle as orthonormal axes: two, one where all lie in a line, none for a single one.
#[must_use]
pub fn axes(positions_mm: &[[f64; 2]]) -> Vec<Vec<f64>> {
    let mut axes: Vec<Vec<f64>> = Vec::new();
    for which in 0..2 {
        let mut axis: Vec<f64> = positions_mm.iter().map(|place| place[which]).collect();
        let middle = axis.iter().sum::<f64>() / (axis.len().max(1) as f64);
        axis.iter_mut().for_each(|entry| *entry -= middle);
        let before = dot(&axis, &axis);
        for other in &axes {
            let along = dot(&axis, other);
            for (entry, taken) in axis.iter_mut().zip(other) {
                *entry -= along * taken;
            }
        }
        let length = dot(&axis, &axis).sqrt();
        if length > 1e-6 * before.sqrt().max(1.0) {
            axis.iter_mut().for_each(|entry| *entry /= length);
            axes.push(axis);
        }
    }
    axes
}

/// The fasteners of one joint, and what each does to all.
#[derive(Debug, Clone, PartialEq)]
pub struct Interaction {
    /// Each fastener's own spring.
    pub springs: Vec<Spring>,
    /// Deflection of the parts at the row's fastener for each newton at the column's, mm/N.
    pub parts: Matrix,
}

impl Interaction {
    /// Fasteners at positions (mm) of one plate.
    #[must_use]
    pub fn of_plate(plate: &Plate, positions_mm: &[[f64; 2]], springs: Vec<Spring>) -> Self {
        let parts = Matrix::from_fn(positions_mm.len(), |i, j| {
            let ([ax, ay], [bx, by]) = (positions_mm[i], positions_mm[j]);
            plate.compliance_mm_per_N((ax - bx).hypot(ay - by))
        });
        Self { springs, parts }
    }

    /// Fasteners at positions (mm) of one cover that moves as a body as well.
    #[must_use]
    pub fn of_cover(cover: &Cover, positions_mm: &[[f64; 2]], springs: Vec<Spring>) -> Self {
        Self {
            springs,
            parts: cover.compliance(positions_mm),
        }
    }

    /// How far the part above tilts at given loads: the difference of closing across the joint in the plane that lies nearest to what the
    /// fasteners' places close by, mm. `places` are the fasteners' positions about their own middle, one row an axis, orthonormal
    /// ([`axes`]).
    #[must_use]
    pub fn tilt_mm(&self, places: &[Vec<f64>], loads_N: &[f64]) -> f64 {
        let closed = self.parts.times(loads_N);
        let slopes: Vec<f64> = places.iter().map(|axis| dot(axis, &closed)).collect();
        let (mut low, mut high) = (0.0_f64, 0.0_f64);
        for fastener in 0..closed.len() {
            let height: f64 = places
                .iter()
                .zip(&slopes)
                .map(|(axis, slope)| axis[fastener] * slope)
                .sum();
            low = low.min(height);
            high = high.max(height);
        }
        high - low
    }

    /// Fasteners that do not feel each other; `parts_mm_per_N` under each.
    #[must_use]
    pub fn apart(springs: Vec<Spring>, parts_mm_per_N: f64) -> Self {
        let parts = Matrix::from_fn(
            springs.len(),
            |i, j| if i == j { parts_mm_per_N } else { 0.0 },
        );
        Self { springs, parts }
    }

    /// Number of fasteners.
    #[must_use]
    pub fn count(&self) -> usize {
        self.springs.len()
    }

    /// What one newton more in a fastener does to the others that are in contact and stay so, N/N; its own entry is 1. Fasteners without
    /// load get 0.
    ///
    /// Solves (C + S)·g = −C·eᵢ over the loaded others, S their own springs.
    #[must_use]
    pub fn influence(&self, turned: usize, loads_N: &[f64]) -> Vec<f64> {
        let others: Vec<usize> = (0..self.count())
            .filter(|&j| j != turned && loads_N[j] > 0.0)
            .collect();
        let mut result = vec![0.0; self.count()];
        result[turned] = 1.0;
        if others.is_empty() {
            return result;
        }
        let give = Matrix::from_fn(others.len(), |a, b| {
            let own = if a == b {
                self.springs[others[a]].compliance_mm_per_N
                    + self.springs[others[a]].toe_slope(loads_N[others[a]])
            } else {
                0.0
            };
            self.parts.at(others[a], others[b]) + own
        });
        let right: Vec<f64> = others.iter().map(|&j| -self.parts.at(j, turned)).collect();
        // Compliances are sums of springs: positive definite unless the plate's numbers are nonsense, and then nothing is passed on.
        if let Some(factor) = Cholesky::of(&give) {
            for (slot, value) in others.iter().zip(factor.solve(&right)) {
                result[*slot] = value;
            }
        }
        result
    }

    /// Loads of all fasteners for given advances (what each has been screwed in past first contact, less all permanent set), mm; N, never
    /// negative. Starts from `loads_N` and leaves the answer there.
    ///
    /// Newton on the loaded fasteners, each load held at 0 or above, until no load moves by more than 10⁻⁹ of the largest.
    pub fn settle(&self, advances_mm: &[f64], loads_N: &mut [f64]) {
        let n = self.count();
        let give = |i: usize, load: f64| {
            self.springs[i].compliance_mm_per_N * load + self.springs[i].toe(load)
        };
        for _ in 0..60 {
            let mut gap = vec![0.0; n];
            for i in 0..n {
                gap[i] = advances_mm[i] - give(i, loads_N[i]) - dot(self.parts.row(i), loads_N);
            }
            let active: Vec<usize> = (0..n)
                .filter(|&i| loads_N[i] > 0.0 || gap[i] > 1e-12)
                .collect();
            if active.is_empty() {
                return;
            }
            let matrix = Matrix::from_fn(active.len(), |a, b| {
                let own = if a == b {
                    self.springs[active[a]].compliance_mm_per_N
                        + self.springs[active[a]].toe_slope(loads_N[active[a]])
                } else {
                    0.0
                };
                self.parts.at(active[a], active[b]) + own
            });
            let right: Vec<f64> = active.iter().map(|&i| gap[i]).collect();
            let Some(factor) = Cholesky::of(&matrix) else {
                return;
            };
            let step = factor.solve(&right);
            let mut moved = 0.0_f64;
            let largest = loads_N.iter().fold(1.0_f64, |m, &f| m.max(f));
            for (&i, step) in active.iter().zip(&step) {
                let next = (loads_N[i] + step).max(0.0);
                moved = moved.max((next - loads_N[i]).abs());
                loads_N[i] = next;
            }
            if moved <= 1e-9 * largest {
                return;
            }
        }
    }

    /// Energy stored in fasteners and parts at given loads, J.
    #[must_use]
    pub fn energy_J(&self, loads_N: &[f64]) -> f64 {
        let own: f64 = self
            .springs
            .iter()
            .zip(loads_N)
            .map(|(s, &f)| 0.5 * s.compliance_mm_per_N * f * f + s.toe_energy_Nmm(f))
            .sum();
        (own + 0.5 * dot(&self.parts.times(loads_N), loads_N)) / 1000.0
    }
}
