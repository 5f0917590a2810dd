//! Unified threads against the areas of Shigley's table 8-2 (ANSI B1.1), which tell 0.9743/n from the metric 0.9382.

use evendraw::mechanics::{INCH_MM, Thread};
use evendraw_tests::table::rows;
use std::f64::consts::PI;

#[test]
fn stress_and_root_areas_agree_to_the_printed_digit_and_the_metric_constant_would_not() {
    let (mut seen, mut told_apart) = (0, 0);
    for row in rows("unified_stress_areas.csv") {
        for series in ["unc", "unf"] {
            let Some(count) = row.number(&format!("{series}_tpi")) else {
                continue;
            };
            let column = format!("{series}_At_in2");
            let (printed, half) = (row.number(&column).unwrap(), row.half_digit(&column));
            let thread: Thread = format!("{}-{count} {}", row.text("size"), series.to_uppercase())
                .parse()
                .unwrap();
            let area = thread.stress_area_mm2().unwrap() / (INCH_MM * INCH_MM);
            // The table's own last digit is now and then one off.
            assert!(
                (area - printed).abs() <= 2.0 * half,
                "{thread}: {area:.5} in², printed {printed}"
            );
            let minor = thread.minor_diameter_mm() / INCH_MM;
            let root_column = format!("{series}_Ar_in2");
            let root = PI / 4.0 * minor * minor;
            let root_off = (root - row.number(&root_column).unwrap()).abs();
            assert!(
                root_off <= 2.0 * row.half_digit(&root_column),
                "{thread}: root {root:.5}"
            );
            let metric_way =
                PI / 4.0 * (row.number("major_in").unwrap() - 0.938_194 / count).powi(2);
            told_apart += usize::from((metric_way - printed).abs() > 2.0 * half);
            seen += 1;
        }
    }
    assert!(
        seen >= 20 && told_apart >= 15,
        "{seen} rows, {told_apart} of them would refuse the metric constant"
    );
}
