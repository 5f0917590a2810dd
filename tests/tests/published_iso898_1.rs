//! Stress areas and proof stresses against the proof loads of ISO 898-1.

use evendraw::mechanics::{Strength, Thread};
use evendraw_tests::table::rows;

#[test]
fn every_proof_load_is_stress_area_times_proof_stress() {
    let mut seen = 0;
    for row in rows("iso898_1_proof_loads.csv") {
        let thread: Thread = row.text("thread").parse().unwrap();
        let area = thread.stress_area_mm2().unwrap();
        assert!(
            (area / row.number("As_nom_mm2").unwrap() - 1.0).abs() < 0.005,
            "{thread}: {area}"
        );
        for class in [
            "4.6", "4.8", "5.6", "5.8", "6.8", "8.8", "9.8", "10.9", "12.9",
        ] {
            let strength = Strength::property_class(class, thread.major_mm);
            let Some(printed) = row.number(class) else {
                assert!(
                    strength.is_err(),
                    "{class} in {thread} is not made, and must be refused"
                );
                continue;
            };
            let nominal = row.number("As_nom_mm2").unwrap();
            let load = nominal * strength.unwrap().proof_MPa;
            assert!(
                (load / printed - 1.0).abs() < 0.006,
                "{thread} {class}: {load:.0} N, printed {printed}"
            );
            seen += 1;
        }
    }
    assert!(seen > 130, "{seen} proof loads compared");
}
