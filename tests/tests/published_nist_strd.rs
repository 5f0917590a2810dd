//! The scatter that rehearsal and comparison report, against NIST's certified univariate values.

use evendraw::bench::compare;
use evendraw::rehearsal::JointResult;
use evendraw_tests::table::rows;

/// What a comparison and what a rehearsal report: standard deviation over n − 1, as a fraction of the mean.
fn scatters(values: &[f64]) -> [Option<f64>; 2] {
    // `scatter` never looks at which fastener a load belongs to.
    let result = JointResult {
        clamps_kn: values.iter().map(|&load| (0, load)).collect(),
        ..JointResult::default()
    };
    [Some(compare::scatter(values)), result.scatter()]
}

fn agrees(name: &str, values: &[f64], mean: f64, deviation: f64, digits: i32) {
    let expected = deviation / mean;
    for found in scatters(values) {
        let found = found.expect("more than one value, and a mean above zero");
        let off = ((found - expected) / expected).abs();
        assert!(
            off < 10_f64.powi(-digits),
            "{name}: {found:e}, certified {expected:e}, off by {off:e}"
        );
    }
}

#[test]
fn scatter_agrees_with_the_certified_sets() {
    let table = rows("nist_strd.csv");
    assert_eq!(table.len(), 3);
    for row in table {
        let mut values: Vec<f64> = row
            .text("values")
            .split(' ')
            .map(|value| value.parse().expect("a number"))
            .collect();
        let mut mean = row.number("mean").expect("certified");
        // Loads are positive: what lies below zero is mirrored, which changes no deviation.
        if mean < 0.0 {
            values.iter_mut().for_each(|value| *value = -*value);
            mean = -mean;
        }
        agrees(
            row.text("dataset"),
            &values,
            mean,
            row.number("sd").expect("certified"),
            12,
        );
    }
}

/// NumAcc3 and NumAcc4: 1,001 values that differ in the last of eight and nine digits. A variance in one pass, the sum of
/// squares less the square of the sum, loses all of them.
#[test]
fn scatter_is_not_lost_where_values_hardly_differ() {
    for (name, middle, digits) in [("NumAcc3", 1_000_000.2, 8), ("NumAcc4", 10_000_000.2, 7)] {
        let mut values = vec![middle];
        for _ in 0..500 {
            values.extend([middle - 0.1, middle + 0.1]);
        }
        agrees(name, &values, middle, 0.1, digits);
        let count = 1_001.0;
        let sum: f64 = values.iter().sum();
        let squares: f64 = values.iter().map(|value| value * value).sum();
        let one_pass = ((squares - sum * sum / count) / (count - 1.0))
            .max(0.0)
            .sqrt();
        assert!(
            (one_pass - 0.1).abs() > 1e-4,
            "{name} tells the two apart: {one_pass}"
        );
    }
}
