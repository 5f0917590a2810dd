//! Torque and tension against the tables of VDI 2230:2001 for fine threads.

#![expect(non_snake_case, reason = "a unit is spelled as the unit is")]

use evendraw::mechanics::{
    Bearing, Friction, Strength, Thread, TorqueTension, preload_at_yield_share_N,
};
use evendraw_tests::table::rows;

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
        // The table's rings are those of ISO 4014 and ISO 273: torques that agree confirm the program's own table of them.
        let ring = Bearing::hexagon(&thread);
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
