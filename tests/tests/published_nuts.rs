//! Nuts, stainless steel and B7 against their standards, and what a weak nut does.

use evendraw::mechanics::{KSI_MPA, NutClass, Strength, Thread, nut_and_bolt};
use evendraw_tests::table::rows;

#[test]
fn proof_loads_of_nuts_are_the_printed_ones() {
    let table = rows("iso898_2_nut_proof_loads.csv");
    assert_eq!(table.len(), 14);
    for row in &table {
        let thread: Thread = row.text("thread").parse().unwrap();
        for class in NutClass::ALL {
            let proof = class.proof_MPa(thread.major_mm).unwrap() * row.number("As_mm2").unwrap();
            let printed = row.number(class.name()).unwrap();
            // Printed loads are rounded to 50 or 100 N.
            assert!(
                (proof - printed).abs() < (0.006 * printed).max(50.0),
                "{thread} class {}: {proof:.0} N, printed {printed}",
                class.name()
            );
        }
    }
    assert!(NutClass::Eight.proof_MPa(2.0).is_err() && NutClass::Eight.proof_MPa(42.0).is_err());
    assert!(
        NutClass::from_text("9")
            .unwrap_err()
            .to_string()
            .contains("5, 6, 8, 10, 12")
    );
}

#[test]
fn a_nut_holds_the_bolts_it_is_meant_for_and_says_what_happens_with_stronger_ones() {
    // [ISO 898-2 table 1: 5 up to 5.8, 6 up to 6.8, 8 up to 8.8, 10 up to 10.9, 12 up to 12.9]
    let thread: Thread = "M12".parse().unwrap();
    let strength = |class: &str| Strength::property_class(class, 12.0).unwrap();
    for nut in NutClass::ALL {
        let pair = nut_and_bolt(nut, &thread, &strength(nut.bolt_class())).unwrap();
        assert!(pair.strong_enough, "{}: {}", nut.name(), pair.why);
    }
    let weak = nut_and_bolt(NutClass::Eight, &thread, &strength("10.9")).unwrap();
    assert!(
        !weak.strong_enough && weak.why.contains("strips first"),
        "{}",
        weak.why
    );
    assert!(weak.why.contains("up to 8.8"), "{}", weak.why);
    let weaker = nut_and_bolt(NutClass::Five, &thread, &strength("12.9")).unwrap();
    assert!(weaker.why.contains("may strip the nut"), "{}", weaker.why);
}

#[test]
fn stainless_classes_have_the_strength_of_iso_3506() {
    // [ISO 3506-1:2009 table 2, as printed at torqbolt.com/suppliers/a2-stainless-steel: tensile and 0.2 % limit 500 210, 700 450, 800 600 MPa]
    for (class, tensile, limit) in [
        ("50", 500.0, 210.0),
        ("70", 700.0, 450.0),
        ("80", 800.0, 600.0),
    ] {
        for steel in ["A2", "A4"] {
            let strength = Strength::property_class(&format!("{steel}-{class}"), 12.0).unwrap();
            assert!((strength.tensile_MPa - tensile).abs() < 1e-9);
            assert!((strength.yield_MPa - limit).abs() < 1e-9);
        }
    }
    assert!(Strength::property_class("A2-70", 42.0).is_err());
    assert!(
        Strength::property_class("A2-60", 12.0)
            .unwrap_err()
            .to_string()
            .contains("A2-50")
    );
}

#[test]
fn b7_has_the_strength_of_astm_a193_for_its_size() {
    // [ASTM A193, as printed at bacoent.com and nan-long.com: 125/105 ksi up to 2½ in, 115/95 up to 4, 100/75 up to 7]
    for (inches, tensile, limit) in [
        (0.5, 125.0, 105.0),
        (2.5, 125.0, 105.0),
        (3.0, 115.0, 95.0),
        (5.0, 100.0, 75.0),
    ] {
        for strength in [
            Strength::grade("B7", inches * 25.4).unwrap(),
            Strength::property_class("B7", inches * 25.4).unwrap(),
        ] {
            assert!((strength.tensile_MPa - tensile * KSI_MPA).abs() < 1e-6);
            assert!((strength.yield_MPa - limit * KSI_MPA).abs() < 1e-6);
        }
    }
    assert!(Strength::grade("B7", 8.0 * 25.4).is_err());
}
