//! Offset adapters against the worked examples of US Army and Navy manuals.

use evendraw::mechanics::OffsetAdapter;

#[test]
fn the_manuals_worked_examples_come_out() {
    for (torque, lever, offset, printed, half_digit, source) in [
        (
            300.0,
            10.0,
            4.0,
            214.0,
            0.5,
            "TM 1-1500-204-23-9 p. 8-(143)",
        ),
        (40.0, 12.0, 4.0, 30.0, 0.5, "TM 9-2350-277-40&P p. 44"),
        (100.0, 12.0, 6.0, 66.7, 0.05, "NAVEDTRA 14315 fig. 3-45"),
    ] {
        let adapter = OffsetAdapter::new(lever, offset, 0.0).unwrap();
        assert!(
            (adapter.setting(torque) - printed).abs() <= half_digit,
            "{source}: {}",
            adapter.setting(torque)
        );
    }
}

#[test]
fn at_an_angle_the_length_along_the_handle_counts() {
    // Derived from the rule of NAVEDTRA 14315 and TM 9-254 fig. 4-6 for 100, 12, 6.
    for (angle, setting) in [
        (0.0, 66.667),
        (45.0, 73.880),
        (60.0, 80.0),
        (90.0, 100.0),
        (180.0, 200.0),
        (270.0, 100.0),
        (-60.0, 80.0),
        (300.0, 80.0),
    ] {
        let adapter = OffsetAdapter::new(12.0, 6.0, angle).unwrap();
        assert!(
            (adapter.setting(100.0) - setting).abs() < 0.001,
            "{angle}°: {}",
            adapter.setting(100.0)
        );
        assert!(
            (adapter.at_fastener(adapter.setting(100.0)) - 100.0).abs() < 1e-9,
            "{angle}° and back"
        );
    }
    assert!(
        (OffsetAdapter::new(12.0, 6.0, 90.0).unwrap().factor() - 1.0).abs() < f64::EPSILON,
        "square on is exactly 1"
    );
    assert!(
        (OffsetAdapter::new(12.0, 0.0, 33.0).unwrap().factor() - 1.0).abs() < f64::EPSILON,
        "no offset is exactly 1"
    );
    // 90 N·m, 300 mm, 25 mm: 83.1 in line; towards the hand the reading is higher than the target (÷ 0.9167).
    assert!((OffsetAdapter::new(300.0, 25.0, 0.0).unwrap().setting(90.0) - 83.1).abs() < 0.05);
    assert!((OffsetAdapter::new(300.0, 25.0, 45.0).unwrap().factor() - 1.0 / 1.0589).abs() < 1e-4);
    assert!((OffsetAdapter::new(300.0, 25.0, 180.0).unwrap().factor() - 1.0 / 0.9167).abs() < 1e-4);
}
