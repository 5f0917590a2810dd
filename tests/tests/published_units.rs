//! Torque units against exact fractions, printed tables and printed mistakes.

use evendraw::quantity::{
    AngleUnit, Converted, LengthUnit, Quantity, Target, TorqueUnit, Unit, printed_pair,
    printed_targets,
};
use evendraw_tests::table::rows;

fn torque(text: &str) -> Quantity<TorqueUnit> {
    Quantity::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// By definition 1 lb = 0.45359237 kg, standard gravity 9.80665 m/s², 1 in = 25.4 mm. The fractions are those of pint 0.25
/// (PyPI) in Fraction mode.
#[test]
fn units_are_the_exact_fractions() {
    for (unit, over, under) in [
        (
            TorqueUnit::PoundFoot,
            3_389_544_870_828_501_u128,
            2_500_000_000_000_000_u128,
        ),
        (
            TorqueUnit::PoundInch,
            1_129_848_290_276_167,
            10_000_000_000_000_000,
        ),
        (
            TorqueUnit::OunceInch,
            1_129_848_290_276_167,
            160_000_000_000_000_000,
        ),
        (TorqueUnit::KilogramMeter, 196_133, 20_000),
        (TorqueUnit::KilogramCentimeter, 196_133, 2_000_000),
        (TorqueUnit::NewtonMeter, 1, 1),
        (TorqueUnit::NewtonCentimeter, 1, 100),
        (TorqueUnit::MillinewtonMeter, 1, 1_000),
        (TorqueUnit::DecanewtonMeter, 10, 1),
        (TorqueUnit::KilonewtonMeter, 1_000, 1),
    ] {
        let (numerator, denominator) = unit.ratio();
        // The core counts in mN·m.
        assert_eq!(
            u128::from(numerator) * under,
            over * 1_000 * u128::from(denominator),
            "{unit:?}"
        );
    }
}

/// Made by Python's fractions and decimal from the same definitions; see the file.
#[test]
fn conversions_are_exact_to_the_last_decimal_or_cut_to_twenty_digits() {
    let units = [
        TorqueUnit::NewtonMeter,
        TorqueUnit::PoundFoot,
        TorqueUnit::PoundInch,
        TorqueUnit::KilogramMeter,
        TorqueUnit::KilogramCentimeter,
        TorqueUnit::OunceInch,
    ];
    let mut seen = 0;
    for row in rows("torque_conversions.csv") {
        let text = format!("{} {}", row.text("value"), row.text("unit"));
        for unit in units {
            let expected = row.text(unit.symbol());
            let found = Converted::new(torque(&text), unit);
            let mark = if found.is_exact() { '=' } else { '~' };
            assert_eq!(
                format!("{mark}{found}"),
                expected,
                "{text} in {}",
                unit.symbol()
            );
            seen += 1;
        }
    }
    assert!(seen > 350, "{seen}");
}

/// NIST SP 811, appendix B (quoted by a third party): to seven digits.
#[test]
fn conversions_agree_with_the_printed_factors() {
    for (text, printed) in [
        ("1 lbf·ft", "1.355818"),
        ("1 lbf·in", "0.1129848"),
        ("1 kgf·m", "9.80665"),
        ("1 ozf·in", "0.007061552"),
    ] {
        let decimals = printed.len() - 2;
        let found = Converted::new(torque(text), TorqueUnit::NewtonMeter);
        assert_eq!(format!("{found:.decimals$}"), printed, "{text}");
    }
}

/// US Army locknut tables print every torque in both units: the conversion reproduces each to the last printed digit, and
/// each pair is found to agree.
#[test]
fn printed_pairs_of_an_army_table_agree() {
    let table = rows("army_locknut_torque_pairs.csv");
    assert_eq!(table.len(), 13);
    for row in table {
        let inch = torque(&format!("{} lbf·in", row.text("lbf_in")));
        let metric = torque(&format!("{} N·m", row.text("N_m_printed")));
        let found = Converted::new(inch, TorqueUnit::NewtonMeter);
        assert_eq!(
            format!("{found:.2} N·m"),
            metric.to_string(),
            "{}",
            row.text("thread")
        );
        assert_eq!(printed_pair(inch, metric), Ok(()));
        // The same number as if it were foot-pounds is twelve times too much, and the right unit is named.
        let wrong = inch.with_unit(TorqueUnit::PoundFoot).expect("small");
        let refused = printed_pair(metric, wrong).expect_err("twelve times too much");
        assert_eq!(refused.second_would_agree_in, Some(TorqueUnit::PoundInch));
    }
}

/// A US Army manual prints 1820 lb·ft beside 2712 N·m; its sister manual prints 2000 lb·ft for the same joint.
#[test]
fn a_printed_misprint_is_refused_and_its_correction_is_not() {
    let refused = printed_pair(torque("1820 lb·ft"), torque("2712 N·m")).expect_err("a misprint");
    let message = refused.to_string();
    assert!(
        message.contains("1820 lbf·ft and 2712 N·m disagree"),
        "{message}"
    );
    assert!(message.contains("2712 N·m is 2000.27 lbf·ft"), "{message}");
    assert_eq!(
        printed_pair(torque("2000 lb·ft"), torque("2712 N·m")),
        Ok(())
    );
}

/// Common practice, no source: pairs that trades know by heart.
#[test]
fn pairs_known_by_heart_are_exact() {
    for (feet, inches) in [
        ("4.7 lbf·ft", "56.4"),
        ("14 lbf·ft", "168"),
        ("16.2 lbf·ft", "194.4"),
    ] {
        let found = Converted::new(torque(feet), TorqueUnit::PoundInch);
        assert!(found.is_exact());
        assert_eq!(found.to_string(), inches);
    }
}

/// The rule is half the last printed digit of each plus 2 % of the larger: at its edge, from both sides.
#[test]
fn the_edge_of_agreement_lies_where_it_is_stated() {
    // Halves 0.5 + 0.5, and 2 % of 101.
    assert_eq!(printed_pair(torque("100 N·m"), torque("103 N·m")), Ok(()));
    assert!(printed_pair(torque("100 N·m"), torque("104 N·m")).is_err());
    // Halves 0.005 + 0.005, and 2 %: 2.0600 + 0.01.
    assert_eq!(
        printed_pair(torque("100.00 N·m"), torque("102.05 N·m")),
        Ok(())
    );
    assert!(printed_pair(torque("100.00 N·m"), torque("102.06 N·m")).is_err());
    let target = |text: &str| Target::parse(text).expect("reads");
    assert_eq!(
        printed_targets(&target("24..28 lbf·ft"), &target("33..38 N·m")),
        Ok(())
    );
    assert!(printed_targets(&target("24..28 lbf·ft"), &target("33..48 N·m")).is_err());
}

/// By definition an inch is 25.4 mm and a turn 360°.
#[test]
fn lengths_and_angles_are_exact() {
    let length = |text: &str| Quantity::<LengthUnit>::parse(text).expect("reads").length();
    assert_eq!(length("1 in").micrometers(), 25_400);
    assert_eq!(length("0.0001 in"), length("2.54 µm"));
    let angle = |text: &str| Quantity::<AngleUnit>::parse(text).expect("reads").angle();
    assert_eq!(angle("1/6 turn"), angle("60°"));
}
