//! Random numbers, seeded: the same seed and purpose give the same numbers on every machine.
//!
//! Knows nothing of what is drawn.

use crate::limited::Limited as _;
use rand::{Rng as _, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A stream of random numbers.
#[derive(Debug, Clone)]
pub struct Rng {
    source: ChaCha8Rng,
    spare: Option<f64>,
}

impl Rng {
    /// The stream of a seed for one purpose; streams of different purposes are independent.
    #[must_use]
    pub fn new(seed: u64, purpose: u64) -> Self {
        let mut source = ChaCha8Rng::seed_from_u64(seed);
        source.set_stream(purpose);
        Self {
            source,
            spare: None,
        }
    }

    /// Uniform from 0 up to 1.
    pub fn uniform(&mut self) -> f64 {
        self.source.random()
    }

    /// Uniform between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Normal with mean 0 and standard deviation 1, by the polar method. [Marsaglia and Bray 1964]
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (u, v) = (self.between(-1.0, 1.0), self.between(-1.0, 1.0));
            let square = u * u + v * v;
            if square > 0.0 && square < 1.0 {
                let scale = (-2.0 * square.ln() / square).sqrt();
                self.spare = Some(v * scale);
                return u * scale;
            }
        }
    }

    /// Normal about a mean, never beyond three standard deviations.
    pub fn about(&mut self, mean: f64, deviation: f64) -> f64 {
        mean + deviation * self.normal().limited(-3.0, 3.0)
    }
}
