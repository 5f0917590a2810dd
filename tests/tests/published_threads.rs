//! Whitworth, British Association and trapezoidal threads, and the limits of tolerance, against printed tables.

use evendraw::mechanics::{Engagement, INCH_MM, Strength, Tapped, Thread, limits};
use evendraw_tests::table::{Row, rows};

fn thread(row: &Row) -> Thread {
    row.text("thread").parse().unwrap()
}

#[test]
fn whitworth_sizes_are_those_of_bs_84() {
    let table = rows("bs84_whitworth.csv");
    assert_eq!(table.len(), 27);
    for row in &table {
        let thread = thread(row);
        assert!(
            (thread.threads_per_inch() - row.number("tpi").unwrap()).abs() < 1e-9,
            "{thread}"
        );
        let own = [
            ("major_in", thread.major_mm),
            ("pitch_in", thread.pitch_diameter_mm()),
            ("minor_in", thread.minor_diameter_mm()),
        ];
        for (column, millimeters) in own {
            let Some(printed) = row.number(column) else {
                continue;
            };
            // The two printings differ by 0.0001 in among themselves.
            let slack = row.half_digit(column) + 0.000_06;
            assert!(
                (millimeters / INCH_MM - printed).abs() < slack,
                "{thread} {column}: {:.5}, printed {printed}",
                millimeters / INCH_MM
            );
        }
    }
}

#[test]
fn association_sizes_are_those_of_bs_93() {
    for (number, row) in rows("bs93_association.csv").iter().enumerate() {
        let thread = thread(row);
        assert!(
            (thread.major_mm - row.number("major_mm").unwrap()).abs() < 1e-9,
            "{thread}"
        );
        assert!(
            (thread.pitch_mm - row.number("pitch_mm").unwrap()).abs() < 1e-9,
            "{thread}"
        );
        // Pitch 0.9 to the power of the number, major diameter 6 P^1.2, both to two digits. [BS 93, in en.wikipedia.org/wiki/British_Association_screw_threads]
        let power = 0.9_f64.powi(i32::try_from(number).unwrap());
        assert!((thread.pitch_mm - power).abs() < 0.006, "{thread}");
        assert!(
            (thread.major_mm / (6.0 * power.powf(1.2)) - 1.0).abs() < 0.03,
            "{thread}"
        );
        if let Some(core) = row.number("core_in") {
            let own = thread.minor_diameter_mm() / INCH_MM;
            assert!(
                (own - core).abs() < 0.0006,
                "{thread}: {own:.4}, printed {core}"
            );
        }
    }
}

#[test]
fn trapezoidal_sizes_are_those_of_iso_2904() {
    for row in &rows("iso2904_trapezoidal.csv") {
        let thread = thread(row);
        let own = |value: f64, column: &str, slack: f64| {
            let printed = row.number(column).unwrap();
            assert!(
                (value - printed).abs() < slack,
                "{thread} {column}: {value}, printed {printed}"
            );
        };
        own(thread.major_mm, "major_mm", 1e-9);
        own(thread.minor_diameter_mm(), "minor_max_mm", 1e-9);
        // Printed is the greatest of tolerance 7e, which lies below the basic diameter by 0.067 to 0.095 mm.
        let below = thread.pitch_diameter_mm() - row.number("pitch_max_mm").unwrap();
        assert!((0.06..0.10).contains(&below), "{thread}: {below}");
        // [engineersedge.com/hardware/iso-metric-trapezoidal-threads1.htm: d2 = d − 0.5 P]
        own(thread.pitch_diameter_mm() - below, "pitch_max_mm", 1e-9);
    }
}

#[test]
fn the_widest_metric_thread_is_that_of_iso_965() {
    // [obliczenia.icad.pl/gwinty/metryczne, M10 - 6g: d 9.732, d2 8.862 mm at least; taylorfrancis.com 9781482273786-99: D2 9.206 mm at most]
    let own = limits(&"M10".parse().unwrap());
    for (value, printed) in [
        (own.major_min_mm, 9.732),
        (own.pitch_min_mm, 8.862),
        (own.internal_pitch_max_mm, 9.206),
    ] {
        assert!(
            (value - printed).abs() < 0.000_6,
            "{value}, printed {printed}"
        );
    }
}

fn areas(thread: &Thread) -> (f64, f64) {
    let any = Strength::grade("5", 12.0).unwrap();
    let engagement = Engagement::new(thread, &any, &Tapped::named("steel").unwrap()).unwrap();
    let d = thread.major_mm;
    (
        engagement.external_mm2_per_mm * d,
        engagement.internal_mm2_per_mm * d,
    )
}

#[test]
fn metric_shear_areas_are_the_printed_ones() {
    let table = rows("metric_shear_areas.csv");
    assert_eq!(table.len(), 17);
    for row in &table {
        let thread = thread(row);
        let (bolt, nut) = areas(&thread);
        for (own, column, slack) in [
            (thread.stress_area_mm2().unwrap(), "At_mm2", 0.000_5),
            (bolt, "bolt_mm2", 0.004),
            // 0.3 % at M48, where the standard's pitch tolerance lies a step below its formula.
            (nut, "nut_mm2", 0.004),
        ] {
            let printed = row.number(column).unwrap();
            assert!(
                (own / printed - 1.0).abs() < slack,
                "{thread} {column}: {own:.2}, printed {printed}"
            );
        }
    }
}

#[test]
fn unified_shear_areas_are_the_printed_ones() {
    let table = rows("unified_shear_areas.csv");
    assert_eq!(table.len(), 18);
    for row in &table {
        let thread = thread(row);
        let (bolt, nut) = areas(&thread);
        for (own, column) in [(bolt, "bolt_in2"), (nut, "nut_in2")] {
            let printed = row.number(column).unwrap();
            let own = own / (INCH_MM * INCH_MM);
            assert!(
                (own / printed - 1.0).abs() < 0.03,
                "{thread} {column}: {own:.4}, printed {printed}"
            );
        }
    }
}
