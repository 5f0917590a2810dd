//! The Kelvin function kei against scipy.

use evendraw::bench::kei;
use evendraw_tests::table::rows;

#[test]
fn kei_agrees_with_scipy_from_nought_to_forty() {
    let table = rows("kelvin_kei.csv");
    assert!(table.len() > 25);
    for row in &table {
        let (x, expected) = (row.number("x").unwrap(), row.number("kei").unwrap());
        let off = (kei(x) - expected).abs();
        // Relative to the envelope √(π/2x)·e^{−x/√2}, for kei itself goes through zero.
        let envelope = (std::f64::consts::FRAC_PI_2 / x).sqrt().min(1.0)
            * (-x * std::f64::consts::FRAC_1_SQRT_2).exp();
        assert!(
            off < 2e-9 * envelope.max(1e-300),
            "kei({x}): {} against {expected}",
            kei(x)
        );
    }
    assert!((kei(0.0) + std::f64::consts::FRAC_PI_4).abs() < 1e-15);
}
