//! Small dense symmetric matrices: as many rows as a joint has fasteners.
//!
//! Knows nothing of what the numbers mean.

/// A square matrix, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Matrix {
    size: usize,
    values: Vec<f64>,
}

impl Matrix {
    /// All zero.
    #[must_use]
    pub fn zero(size: usize) -> Self {
        Self {
            size,
            values: vec![0.0; size * size],
        }
    }

    /// From a function of row and column.
    #[must_use]
    pub fn from_fn(size: usize, mut value: impl FnMut(usize, usize) -> f64) -> Self {
        let mut matrix = Self::zero(size);
        for row in 0..size {
            for column in 0..size {
                matrix.values[row * size + column] = value(row, column);
            }
        }
        matrix
    }

    /// Number of rows.
    #[must_use]
    pub fn size(&self) -> usize {
        self.size
    }

    /// One element.
    #[must_use]
    pub fn at(&self, row: usize, column: usize) -> f64 {
        self.values[row * self.size + column]
    }

    /// Adds to one element.
    pub fn add(&mut self, row: usize, column: usize, value: f64) {
        self.values[row * self.size + column] += value;
    }

    /// One row.
    #[must_use]
    pub fn row(&self, row: usize) -> &[f64] {
        &self.values[row * self.size..(row + 1) * self.size]
    }

    /// Matrix times vector.
    #[must_use]
    pub fn times(&self, vector: &[f64]) -> Vec<f64> {
        (0..self.size)
            .map(|row| dot(self.row(row), vector))
            .collect()
    }
}

/// Sum of products.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// The lower factor L of a symmetric positive matrix, A = L·Lᵀ.
#[derive(Debug, Clone)]
pub struct Cholesky {
    lower: Matrix,
}

impl Cholesky {
    /// Factors a symmetric matrix; none if it is not positive definite.
    #[must_use]
    pub fn of(matrix: &Matrix) -> Option<Self> {
        let n = matrix.size;
        let mut lower = Matrix::zero(n);
        for row in 0..n {
            for column in 0..=row {
                let (head, tail) = lower.values.split_at_mut(row * n);
                let above = if column < row {
                    &head[column * n..column * n + column]
                } else {
                    &tail[..column]
                };
                let sum = matrix.at(row, column) - dot(&tail[..column], above);
                if column < row {
                    tail[column] = sum / head[column * n + column];
                } else if sum > 0.0 {
                    tail[row] = sum.sqrt();
                } else {
                    return None;
                }
            }
        }
        Some(Self { lower })
    }

    /// Solves A·x = b.
    #[must_use]
    pub fn solve(&self, right: &[f64]) -> Vec<f64> {
        let n = self.lower.size;
        let mut x = right.to_vec();
        for row in 0..n {
            let sum = dot(&self.lower.row(row)[..row], &x[..row]);
            x[row] = (x[row] - sum) / self.lower.at(row, row);
        }
        for row in (0..n).rev() {
            x[row] /= self.lower.at(row, row);
            let value = x[row];
            for (column, entry) in x[..row].iter_mut().enumerate() {
                *entry -= self.lower.at(row, column) * value;
            }
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solving_gives_back_what_was_multiplied() {
        let n = 12;
        let matrix = Matrix::from_fn(n, |i, j| {
            if i == j {
                4.0
            } else {
                1.0 / (1.0 + i.abs_diff(j) as f64)
            }
        });
        let x: Vec<f64> = (0..n).map(|i| (i as f64 * 1.7).sin()).collect();
        let solved = Cholesky::of(&matrix).unwrap().solve(&matrix.times(&x));
        assert!(x.iter().zip(&solved).all(|(a, b)| (a - b).abs() < 1e-12));
        assert!(Cholesky::of(&Matrix::from_fn(2, |i, j| if i == j { 1.0 } else { 2.0 })).is_none());
    }
}
