//! Length of engagement and the thread that strips first, against published examples.

use evendraw::mechanics::{Engagement, NutClass, Strength, Strips, Tapped, Thread};
use proptest::prelude::*;

#[test]
fn aluminium_310_needs_what_the_handbook_says() {
    // [Handbook of Bolts and Bolted Joints, chapter at taylorfrancis.com 10.1201/9781482273786-99: M10x1.5-6g of class 10.9 at 1200 MPa over
    // 58 mm² in aluminium of 130 MPa in shear: 21.6 mm. It takes d 9.968 mm, the greatest of 6g; FED-STD-H28 takes the least, 9.732 mm.]
    let thread: Thread = "M10x1.5".parse().unwrap();
    let strength = Strength::property_class("10.9", 10.0).unwrap();
    let engagement = Engagement::new(&thread, &strength, &Tapped::of_shear(130.0)).unwrap();
    let at = |diameter: f64| {
        let area = std::f64::consts::PI * diameter / 1.5
            * (0.75 + 0.577_35 * (diameter - engagement.limits.internal_pitch_max_mm));
        1200.0 * 58.0 / (130.0 * area)
    };
    assert!((at(9.968) - 21.6).abs() < 0.1, "{}", at(9.968));
    // With the least diameter a fifth more, and the ends of the thread on top.
    let least = at(engagement.limits.major_min_mm);
    let own = 1200.0 * 58.0 / engagement.internal_N_per_mm;
    assert!((own / least - 1.0).abs() < 0.002, "{own} against {least}");
    assert!(engagement.needed_mm > own, "{}", engagement.needed_mm);
}

#[test]
fn rules_of_thumb_of_the_trade_come_out() {
    // [Roloff and Matek's table, in scribd.com/doc/183112520: 8.8 in grey cast iron of over 200 MPa about 1.3 to 1.5 d, in hardened aluminium
    // alloy 1.2 to 1.6 d; cast aluminium 1.6 to 2.2 d; steel of 400 MPa about 0.8 to 1.2 d] within a third, as they know no tolerance.
    for (name, low, high) in [
        ("steel", 0.8, 1.6),
        ("aluminium", 1.1, 1.7),
        ("cast-aluminium", 1.2, 2.2),
        ("cast-iron", 1.0, 1.9),
        ("ductile-iron", 0.7, 1.3),
    ] {
        for (size, d) in [("M6", 6.0), ("M10", 10.0), ("M16", 16.0)] {
            let thread: Thread = size.parse().unwrap();
            let strength = Strength::property_class("8.8", d).unwrap();
            let tapped = Tapped::named(name).unwrap();
            let needed = Engagement::new(&thread, &strength, &tapped)
                .unwrap()
                .needed_mm
                / d;
            assert!(
                (low..high).contains(&needed),
                "{size} in {name}: {needed:.2} d"
            );
        }
    }
}

#[test]
fn a_full_nut_of_the_right_class_breaks_the_bolt_and_a_thin_one_strips() {
    // Nut height m of ISO 4032 is 8.4 mm for M10 and 10.8 for M12 [references: bd-warehouse iso4032_m]; full nuts are made so that the bolt of least
    // strength breaks [ISO 898-2 clause 3].
    for (size, d, height) in [("M10", 10.0, 8.4), ("M12", 12.0, 10.8)] {
        let thread: Thread = size.parse().unwrap();
        let strength = Strength::property_class("8.8", d).unwrap();
        let nut = Tapped::nut(NutClass::Ten, d).unwrap();
        let engagement = Engagement::new(&thread, &strength, &nut).unwrap();
        let full = engagement.at(height).unwrap();
        assert_eq!(full.first, Strips::BoltBreaks, "{size}: {full:?}");
        let thin = engagement.at(0.4 * d).unwrap();
        assert_ne!(thin.first, Strips::BoltBreaks, "{size}: {thin:?}");
    }
    // A soft part strips, not the hard bolt.
    let thread: Thread = "M10".parse().unwrap();
    let strength = Strength::property_class("12.9", 10.0).unwrap();
    let soft = Engagement::new(
        &thread,
        &strength,
        &Tapped::named("cast-aluminium").unwrap(),
    )
    .unwrap();
    assert_eq!(soft.at(8.0).unwrap().first, Strips::Internal);
    // A soft bolt in a hard nut strips its own thread where there is too little of it.
    let mild = Strength::property_class("4.6", 10.0).unwrap();
    let hard = Engagement::new(
        &thread,
        &mild,
        &Tapped::nut(NutClass::Twelve, 10.0).unwrap(),
    )
    .unwrap();
    assert_eq!(hard.at(4.0).unwrap().first, Strips::External);
}

proptest! {
    #[test]
    fn the_needed_length_is_just_enough(
        size in prop::sample::select(vec!["M5", "M8", "M12x1.25", "M20", "3/8-16", "1/2 BSF", "2BA", "Tr 20x4"]),
        class in prop::sample::select(vec!["4.6", "8.8", "10.9", "A2-70", "B7"]),
        shear in 60.0..900.0_f64,
    ) {
        let thread: Thread = size.parse().unwrap();
        let strength = Strength::property_class(class, thread.major_mm).unwrap();
        let engagement = Engagement::new(&thread, &strength, &Tapped::of_shear(shear)).unwrap();
        let needed = engagement.needed_mm;
        prop_assert_eq!(engagement.at(needed * 1.001).unwrap().first_with_strong_bolt, Strips::BoltBreaks);
        let less = (needed * 0.98).max(thread.pitch_mm);
        prop_assert_ne!(engagement.at(less).unwrap().first_with_strong_bolt, Strips::BoltBreaks);
    }
}
