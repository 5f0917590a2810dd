//! Pipe thread sizes against ISO 228-1, and the NPT size that is so often taken for one of them.

use evendraw::mechanics::{Thread, fit};
use evendraw_tests::table::rows;

#[test]
fn every_parallel_pipe_size_has_its_published_diameters() {
    let table = rows("iso228_1_pipe_threads.csv");
    assert_eq!(table.len(), 24);
    for row in &table {
        let thread: Thread = format!("G {}", row.text("size")).parse().unwrap();
        assert!(
            (thread.threads_per_inch() - row.number("tpi").unwrap()).abs() < 1e-9,
            "{thread}"
        );
        for (value, column) in [
            (thread.major_mm, "major_diameter"),
            (thread.pitch_diameter_mm(), "pitch_diameter"),
            (thread.minor_diameter_mm(), "minor_diameter"),
        ] {
            assert!(
                (value - row.number(column).unwrap()).abs() < 0.0016,
                "{thread} {column}: {value}"
            );
        }
    }
}

#[test]
fn eighth_inch_pipe_threads_of_28_and_27_start_and_then_bind() {
    // ISO 7-1/228-1: 28 per inch, 55°, 9.728 mm; ASME B1.20.1: 27 per inch, 60°, pipe 10.287 mm outside.
    let national: Thread = "1/8-27 NPT".parse().unwrap();
    assert!((national.major_mm - 10.287).abs() < 1e-9);
    for other in ["G 1/8", "R 1/8", "1/8-28 BSPT", "Rp 1/8"] {
        let judged = fit(&other.parse().unwrap(), &national);
        assert!(
            !judged.fits && judged.why.contains("start together and then bind"),
            "{other}: {}",
            judged.why
        );
    }
    // 1/2 and 3/4 share 14 per inch and still differ in flank angle and diameter.
    for size in ["1/2", "3/4"] {
        let judged = fit(
            &format!("R {size}").parse().unwrap(),
            &format!("{size} NPT").parse().unwrap(),
        );
        assert!(
            !judged.fits && judged.why.contains("55°"),
            "{size}: {}",
            judged.why
        );
    }
}
