//! The Kelvin function kei of order zero.
//!
//! Knows nothing of plates.

use std::f64::consts::{FRAC_1_SQRT_2, FRAC_PI_4, PI};

/// Euler's constant γ.
const GAMMA: f64 = 0.577_215_664_901_532_9;

/// kei(x), the imaginary part of K₀(x·e^{iπ/4}), for x ≥ 0; kei(0) = −π/4.
///
/// Power series below 12 [Abramowitz and Stegun 9.9.10 to 9.9.12], the asymptotic series of K₀ above [9.7.2]. Relative error below 10⁻⁸
/// except at its zeros.
#[must_use]
pub fn kei(x: f64) -> f64 {
    if x <= 0.0 {
        return -FRAC_PI_4;
    }
    if x < 12.0 { series(x) } else { far(x) }
}

fn series(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let square = quarter * quarter;
    // ber = Σ (−1)^k q^{2k}/((2k)!)², bei = Σ (−1)^k q^{2k+1}/((2k+1)!)², the last sum weighted with the digamma ψ(2k+2).
    let (mut ber, mut bei, mut weighted) = (0.0, 0.0, 0.0);
    let mut even = 1.0;
    let mut digamma = 1.0 - GAMMA;
    let mut k = 0.0;
    loop {
        let odd = even * quarter / ((2.0 * k + 1.0) * (2.0 * k + 1.0));
        ber += even;
        bei += odd;
        weighted += digamma * odd;
        let next = -even * square
            / ((2.0 * k + 1.0) * (2.0 * k + 1.0) * (2.0 * k + 2.0) * (2.0 * k + 2.0));
        digamma += 1.0 / (2.0 * k + 2.0) + 1.0 / (2.0 * k + 3.0);
        k += 1.0;
        if next.abs() < 1e-18 * ber.abs().max(1e-3) && k > 3.0 {
            break;
        }
        even = next;
    }
    -(x / 2.0).ln() * bei - FRAC_PI_4 * ber + weighted
}

fn far(x: f64) -> f64 {
    // K₀(z) ≈ √(π/2z)·e^{−z}·Σ aₖ/zᵏ with aₖ₊₁ = −aₖ·(2k+1)²/(8(k+1)), z = x·e^{iπ/4}.
    let (mut real, mut imaginary) = (0.0, 0.0);
    let mut size = 1.0_f64;
    let mut k = 0.0;
    while k < 20.0 {
        let angle = -FRAC_PI_4 * k;
        real += size * angle.cos();
        imaginary += size * angle.sin();
        let next = -size * (2.0 * k + 1.0) * (2.0 * k + 1.0) / (8.0 * (k + 1.0) * x);
        if next.abs() >= size.abs() {
            break;
        }
        size = next;
        k += 1.0;
    }
    let phase = -x * FRAC_1_SQRT_2 - PI / 8.0;
    (PI / (2.0 * x)).sqrt()
        * (-x * FRAC_1_SQRT_2).exp()
        * (real * phase.sin() + imaginary * phase.cos())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn series_and_asymptote_meet() {
        // Beyond 12.1 the sum loses what its largest term, about e^(x/√2), cancels: 3 parts in 10⁷ at 13. The join is at 12.
        for x in [11.0, 11.5, 11.9, 12.0, 12.1] {
            let (near, far) = (series(x), far(x));
            assert!(
                (near - far).abs() < 1e-7 * far.abs().max(1e-6),
                "{x}: {near} {far}"
            );
        }
    }
}
