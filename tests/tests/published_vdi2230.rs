//! Torque and tension against the tables of VDI 2230:2001 for fine threads.

#![expect(non_snake_case, reason = "a unit is spelled as the unit is")]

use evendraw::mechanics::{
    Bearing, Friction, Strength, Thread, TorqueTension, preload_at_yield_share_N,
};
use evendraw_tests::table::rows;

/// Bearing face and hole of the table's hexagon screws, mm. [VDI 2230:2001, ISO 4014 dw with ISO 273 dh]
const RINGS: [(f64, f64, f64); 9] = [
    (8.0, 11.63, 9.0),
    (10.0, 14.63, 11.0),
    (12.0, 16.63, 13.5),
    (14.0, 19.64, 15.5),
    (16.0, 22.49, 17.5),
    (18.0, 25.34, 20.0),
    (20.0, 28.19, 22.0),
    (22.0, 31.71, 24.0),
    (24.0, 33.61, 26.0),
];

#[test]
fn every_preload_and_torque_of_the_fine_thread_table_is_met() {
    let table = rows("vdi2230_fine_threads.csv");
    assert_eq!(table.len(), 18);
    for row in &table {
        let thread: Thread = row.text("thread").parse().unwrap();
        let mu = row.number("mu").unwrap();
        let friction = Friction {
            thread: mu,
            head: mu,
        };
        let (_, face_mm, hole_mm) = *RINGS
            .iter()
            .find(|ring| (ring.0 - thread.major_mm).abs() < 1e-9)
            .unwrap();
        // The ring that the program knows for the thread is the table's.
        let ring = Bearing { face_mm, hole_mm };
        assert_eq!(Bearing::hexagon(&thread), ring, "{thread}");
        for class in ["8.8", "10.9", "12.9"] {
            let strength = Strength::property_class(class, thread.major_mm).unwrap();
            let preload_kN = preload_at_yield_share_N(&thread, &strength, mu, 0.9) / 1000.0;
            let printed_kN = row.number(&format!("FM_{class}_kN")).unwrap();
            assert!(
                (preload_kN / printed_kN - 1.0).abs() < 0.0035,
                "{thread} µ {mu} {class}: {preload_kN:.2} kN, printed {printed_kN}"
            );
            let torque =
                TorqueTension::Friction(friction).torque_Nm(&thread, ring, preload_kN * 1000.0);
            let printed = row.number(&format!("MA_{class}_Nm")).unwrap();
            assert!(
                (torque / printed - 1.0).abs() < 0.0125,
                "{thread} µ {mu} {class}: {torque:.1} N·m, printed {printed}"
            );
        }
    }
}
