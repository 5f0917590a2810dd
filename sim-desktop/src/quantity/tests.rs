//! Spellings, faults, ranges, tolerances, pairs.

use proptest::prelude::*;

use super::*;

fn torque(text: &str) -> Quantity<TorqueUnit> {
    match Quantity::parse(text) {
        Ok(found) => found,
        Err(error) => panic!("{text}: {error} at {}..{}", error.from, error.to),
    }
}

fn fault(text: &str) -> (Fault, &str) {
    match Target::<TorqueUnit>::parse(text) {
        Ok(found) => panic!("{text} was read as {found}"),
        Err(error) => (error.fault, &text[error.from..error.to]),
    }
}

#[test]
fn spellings_of_manuals_are_read() {
    for (unit, spellings) in [
        (
            "N·m",
            "Nm|N·m|N-m|N.m|N m|N⋅m|NM|newton-metres|Newton meters|N*m",
        ),
        (
            "lbf·ft",
            "ft-lb|ft-lbs|ft·lbs|ft.lb|ft. lb.|ft lb|lbf-ft|lbf·ft|lbf ft|lb-ft|lb·ft|lb. ft.|foot-pounds|pound-feet|foot lbs|ft-pounds|pound-force feet|lbs-ft|feet-pounds|FT-LB|FT. LBS.",
        ),
        (
            "lbf·in",
            "in-lb|in-lbs|in.lb|in. lbs.|lbf·in|lbf in|lb-in|inch-pounds|pound-inches|inch-lbs|inch lb|in-pounds|pound-force inches|IN-LB|inch pounds",
        ),
        (
            "kgf·m",
            "kgf-m|kgf·m|kg-m|m·kg|kilogram-metres|kg·m|kgm|mkg|mkp|kpm|kp·m",
        ),
        ("kgf·cm", "kgf·cm|kgf-cm|kg-cm|cmkg|kp·cm"),
        (
            "ozf·in",
            "ozf·in|oz-in|in-oz|inch ounce|ounce-force inches|inch-ounces",
        ),
        ("N·cm", "Ncm|N·cm|N-cm|cNm"),
        ("mN·m", "mNm|mN·m|mN-m"),
        ("kN·m", "kNm|kN·m"),
        ("daN·m", "daNm|daN·m|m·daN|mdaN"),
    ] {
        for spelling in spellings.split('|') {
            for text in [
                format!("12.5 {spelling}"),
                format!("12.5{spelling}"),
                format!(" 12,5  {spelling} "),
            ] {
                assert_eq!(torque(&text).to_string(), format!("12.5 {unit}"), "{text}");
            }
        }
    }
}

#[test]
fn faults_name_the_bytes_and_a_way_out() {
    assert_eq!(fault("40 lb"), (Fault::PoundAlone, "lb"));
    assert_eq!(fault("40 lbs."), (Fault::PoundAlone, "lbs."));
    assert_eq!(fault("4 kg"), (Fault::ForceAlone, "kg"));
    assert_eq!(fault("40"), (Fault::UnitMissing, ""));
    assert_eq!(fault("40 furlongs"), (Fault::UnitUnknown, "furlongs"));
    assert_eq!(fault("40 MNm"), (Fault::UnitUnknown, "MNm"));
    assert_eq!(fault("40 mN"), (Fault::ForceAlone, "mN"));
    assert_eq!(
        fault("40 pounds-force"),
        (Fault::PoundAlone, "pounds-force")
    );
    assert_eq!(fault("40 lb·m"), (Fault::UnitUnknown, "lb·m"));
    assert_eq!(fault("40 N·mm"), (Fault::UnitUnknown, "N·mm"));
    assert_eq!(fault("40 N·ft"), (Fault::UnitUnknown, "N·ft"));
    assert_eq!(fault("40 ft"), (Fault::UnitUnknown, "ft"));
    assert_eq!(fault("40 N/m"), (Fault::Stroke, "N/m"));
    assert_eq!(fault("40 (N·m)"), (Fault::UnitUnknown, "(N·m)"));
    assert_eq!(fault("1,234 N·m"), (Fault::DigitGroups, "1,234"));
    assert_eq!(fault("1,234.5 N·m"), (Fault::DigitGroups, "1,234"));
    assert_eq!(fault("1.234,5 N·m"), (Fault::DigitGroups, "1.234,5"));
    assert_eq!(fault("1.234.567 N·m"), (Fault::DigitGroups, "1.234.567"));
    assert_eq!(fault("1'234 N·m"), (Fault::DigitGroups, "1'234"));
    assert_eq!(fault("1 234 N·m"), (Fault::DigitGroups, "1 234"));
    assert_eq!(fault("24..1,234 N·m"), (Fault::DigitGroups, "1,234"));
    assert_eq!(fault("-5 N·m"), (Fault::Negative, "-"));
    assert_eq!(fault("N·m"), (Fault::NumberMissing, "N"));
    assert_eq!(fault("  "), (Fault::Empty, "  "));
    assert_eq!(fault("1/0 N·m"), (Fault::ZeroDenominator, "1/0"));
    assert_eq!(
        fault("1234567890123 N·m"),
        (Fault::TooManyDigits, "1234567890123")
    );
    assert_eq!(
        fault("0.1234567891 N·m"),
        (Fault::TooManyDigits, "0.1234567891")
    );
    assert_eq!(fault("2000000 N·m"), (Fault::OutOfRange, "2000000 N·m"));
    assert_eq!(fault("28..24 N·m"), (Fault::RangeBackwards, "28..24 N·m"));
    assert_eq!(fault("27 ±2 N·m"), (Fault::ToleranceInside, " ±2 N·m"));
    assert_eq!(fault("27 N·m +/- 2 N·m").0, Fault::ToleranceInside);
    assert_eq!(fault("max 5..6 N·m"), (Fault::LeftOver, "6 N·m"));
    assert_eq!(fault("24..28..30 N·m").0, Fault::LeftOver);
    assert_eq!(fault("3 - -5 N·m").0, Fault::LeftOver);
    for text in ["40 lb", "1,234 N·m", "27 ±2 N·m", "4 kg"] {
        let error = Target::<TorqueUnit>::parse(text).expect_err("refused");
        assert!(error.hint().is_some(), "{text}");
    }
    let error = Target::<TorqueUnit>::parse("40 lb").expect_err("refused");
    assert!(
        error.to_string().contains("allowed are N·m, lbf·ft"),
        "{error}"
    );
}

#[test]
fn decimal_comma_is_a_point() {
    assert_eq!(torque("9,99 N·m").torque().millinewton_meters(), 9_990);
    assert_eq!(torque("0,125 N·m").torque().millinewton_meters(), 125);
    assert_eq!(torque("1.234 N·m").torque().millinewton_meters(), 1_234);
    assert_eq!(
        torque("1234,567 N·m").torque().millinewton_meters(),
        1_234_567
    );
    assert_eq!(torque(".5 N·m").to_string(), "0.5 N·m");
}

#[test]
fn rounding_is_to_the_nearest_with_halves_away_from_zero() {
    assert_eq!(torque("0.0005 N·m").torque().millinewton_meters(), 1);
    assert_eq!(torque("0.00049 N·m").torque().millinewton_meters(), 0);
    let length: Quantity<LengthUnit> = Quantity::parse("-0.0005 mm").expect("reads");
    assert_eq!(length.length().micrometers(), -1);
}

#[test]
fn ranges_and_limits_are_read_in_every_form() {
    let read = |text: &str| Target::<TorqueUnit>::parse(text).map(|found| found.to_string());
    for text in [
        "24..28 lbf·ft",
        "24 .. 28 lbf·ft",
        "24-28 ft-lb",
        "24 – 28 ft-lb",
        "24 to 28 ft-lb",
        "24 lbf·ft..28 lbf·ft",
        "24 ft-lb - 28 ft-lb",
        "24 ft. lb. to 28 ft. lb.",
    ] {
        assert_eq!(read(text).as_deref(), Ok("24..28 lbf·ft"), "{text}");
    }
    for text in [
        "max 10 N·m",
        "max. 10 Nm",
        "10 N·m max",
        "10 N·m max.",
        "≤ 10 N·m",
        "<=10 N·m",
        "up to 10 N·m",
        "maximum 10 N·m",
    ] {
        assert_eq!(read(text).as_deref(), Ok("max 10 N·m"), "{text}");
    }
    for text in ["min 10 N·m", "10 N·m min", "≥10 N·m", "at least 10 N·m"] {
        assert_eq!(read(text).as_deref(), Ok("min 10 N·m"), "{text}");
    }
    assert_eq!(read("2 N·m..28 lbf·in").as_deref(), Ok("2 N·m..28 lbf·in"));
    assert_eq!(read("55..120.5 N·m").as_deref(), Ok("55..120.5 N·m"));
    assert_eq!(read("max .5 N·m").as_deref(), Ok("max 0.5 N·m"));
    assert_eq!(fault("max.5 N·m"), (Fault::NumberMissing, "m"));
    let gap = |text: &str| Target::<LengthUnit>::parse(text).map(|found| found.to_string());
    assert_eq!(gap("-0.05..0.10 mm").as_deref(), Ok("-0.05..0.10 mm"));
    assert_eq!(gap("-0.05..-0.02 mm").as_deref(), Ok("-0.05..-0.02 mm"));
    assert_eq!(gap("0.05-0.10 mm").as_deref(), Ok("0.05..0.10 mm"));
    assert_eq!(gap("0.002-0.004 in").as_deref(), Ok("0.002..0.004 in"));
    let span = |text: &str| Target::<SpanUnit>::parse(text).map(|found| found.to_string());
    assert_eq!(span("5 min").as_deref(), Ok("5 min"));
    assert_eq!(span("4 h min").as_deref(), Ok("min 4 h"));
    assert_eq!(span("30 min max").as_deref(), Ok("max 30 min"));
}

#[test]
fn angles_lengths_and_spans_are_read() {
    let angle =
        |text: &str| Quantity::<AngleUnit>::parse(text).map(|found| found.angle().millidegrees());
    for (text, millidegrees) in [
        ("90°", 90_000),
        ("90 deg", 90_000),
        ("1/4 turn", 90_000),
        ("2 turns", 720_000),
        ("1 1/2 turns", 540_000),
        ("½ turn", 180_000),
        ("1½ turns", 540_000),
        ("1-1/2 turns", 540_000),
        ("0,25 rev", 90_000),
        ("1/3 turn", 120_000),
    ] {
        assert_eq!(angle(text), Ok(millidegrees), "{text}");
    }
    let length =
        |text: &str| Quantity::<LengthUnit>::parse(text).map(|found| found.length().micrometers());
    for (text, micrometers) in [
        ("62 mm", 62_000),
        ("6.2 cm", 62_000),
        ("1 m", 1_000_000),
        ("1/4 in", 6_350),
        ("1 1/4\"", 31_750),
        ("5 thou", 127),
        ("12 µm", 12),
        ("1 ft", 304_800),
        ("3/8 inch", 9_525),
    ] {
        assert_eq!(length(text), Ok(micrometers), "{text}");
    }
    let span = |text: &str| Quantity::<SpanUnit>::parse(text).map(|found| found.span().micros());
    for (text, seconds) in [
        ("5 s", 5),
        ("3 min", 180),
        ("4 h", 14_400),
        ("1 d", 86_400),
        ("1.5 hours", 5_400),
    ] {
        assert_eq!(span(text), Ok(seconds * 1_000_000), "{text}");
    }
    assert_eq!(
        Quantity::<PercentUnit>::parse("2 %").map(Quantity::parts_per_million),
        Ok(20_000)
    );
    assert!(Quantity::<LengthUnit>::parse("5 m/s").is_err());
    assert!(
        Quantity::<LengthUnit>::parse("5 mil").is_err(),
        "a thousandth of an inch or a millimetre"
    );
}

#[test]
fn tolerances_are_read_in_every_form() {
    let read = |text: &str| Tolerance::<TorqueUnit>::parse(text).map(|found| found.to_string());
    for text in [
        "±5 %",
        "± 5%",
        "+-5 %",
        "+/-5 %",
        "+/- 5 percent",
        "+5 % -5 %",
    ] {
        assert_eq!(read(text).as_deref(), Ok("±5 %"), "{text}");
    }
    for text in [
        "+10 % -0 %",
        "+10% -0%",
        "+10/-0 %",
        "+10 -0 %",
        "-0 % +10 %",
        "+10 %, -0 %",
        "+10 %",
    ] {
        assert_eq!(read(text).as_deref(), Ok("+10 % -0 %"), "{text}");
    }
    assert_eq!(read("±2 N·m").as_deref(), Ok("±2 N·m"));
    assert_eq!(
        read("+2 ft-lb -1 ft-lb").as_deref(),
        Ok("+2 lbf·ft -1 lbf·ft")
    );
    let angle = |text: &str| Tolerance::<AngleUnit>::parse(text).map(|found| found.to_string());
    assert_eq!(angle("+4° -0°").as_deref(), Ok("+4° -0°"));
    assert_eq!(angle("±5°").as_deref(), Ok("±5°"));
    assert_eq!(
        angle("5°").map_err(|error| error.fault),
        Err(Fault::SignMissing)
    );
    assert_eq!(
        angle("+5° +3°").map_err(|error| error.fault),
        Err(Fault::SideTwice)
    );
    assert_eq!(
        angle("±5 N·m").map_err(|error| error.fault),
        Err(Fault::UnitUnknown)
    );
}

#[test]
fn windows_hold_the_printed_limits() {
    let window = |target: &str, within: &str| {
        let target = Target::<TorqueUnit>::parse(target).expect("reads");
        let found = target.window(&Tolerance::parse(within).expect("reads"))?;
        let [min, aim, max] = [found.min, found.target, found.max].map(Torque::millinewton_meters);
        Ok((min, aim, max))
    };
    assert_eq!(window("40 N·m", "±5 %"), Ok((38_000, 40_000, 42_000)));
    assert_eq!(window("40 N·m", "+10 % -0 %"), Ok((40_000, 40_000, 44_000)));
    assert_eq!(window("27 N·m", "±2 N·m"), Ok((25_000, 27_000, 29_000)));
    assert_eq!(
        window("24..28 lbf·ft", "±4 %"),
        Ok((32_540, 35_251, 37_963))
    );
    assert_eq!(window("max 10 N·m", "±4 %"), Ok((0, 9_600, 10_000)));
    assert_eq!(
        window("min 10 N·m", "±4 %"),
        Ok((10_000, 10_400, 1_000_000_000))
    );
    assert_eq!(
        window("5 N·m", "±6 N·m"),
        Err(WindowError::BelowZero { amount: -1_000 })
    );
    let angle = Target::<AngleUnit>::parse("90°").expect("reads");
    let found = angle
        .window(&Tolerance::parse("+4° -0°").expect("reads"))
        .expect("a window");
    assert_eq!(
        (found.min.millidegrees(), found.max.millidegrees()),
        (90_000, 94_000)
    );
}

#[test]
fn a_pair_that_disagrees_says_which_unit_would_agree() {
    assert_eq!(
        printed_pair(torque("29.5 lbf·ft"), torque("40 N·m")),
        Ok(())
    );
    let wrong = printed_pair(torque("7.5 N·m"), torque("66 ft-lb")).expect_err("twelve times");
    assert_eq!(wrong.second_would_agree_in, Some(TorqueUnit::PoundInch));
    assert!(
        wrong.to_string().contains("66 lbf·in would agree"),
        "{wrong}"
    );
}

#[test]
fn conversions_write_every_decimal_or_say_that_they_cannot() {
    let shown = |text: &str, to: TorqueUnit| {
        let found = Converted::new(torque(text), to);
        (found.is_exact(), found.to_string())
    };
    assert_eq!(
        shown("1 lbf·ft", TorqueUnit::PoundInch),
        (true, "12".to_string())
    );
    assert_eq!(
        shown("1 lbf·in", TorqueUnit::PoundFoot),
        (false, "0.083333333333333333333".to_string())
    );
    assert_eq!(
        shown("1 lbf·ft", TorqueUnit::NewtonMeter),
        (true, "1.3558179483314004".to_string())
    );
    assert_eq!(
        shown("1 kgf·m", TorqueUnit::NewtonMeter),
        (true, "9.80665".to_string())
    );
    assert_eq!(
        shown("20 N·m", TorqueUnit::KilogramMeter),
        (false, "2.0394324259558564851".to_string())
    );
    assert_eq!(
        shown("0 N·m", TorqueUnit::PoundFoot),
        (true, "0".to_string())
    );
    assert_eq!(
        format!(
            "{:.2}",
            Converted::from_torque(
                Torque::from_millinewton_meters(-1_355),
                TorqueUnit::PoundFoot
            )
        ),
        "-1.00"
    );
    assert_eq!(
        format!(
            "{:.0}",
            Converted::new(torque("0.5 N·m"), TorqueUnit::NewtonMeter)
        ),
        "1"
    );
    assert_eq!(
        format!(
            "{:.1}",
            Converted::new(torque("9.96 N·m"), TorqueUnit::NewtonMeter)
        ),
        "10.0"
    );
}

fn printed_number() -> impl Strategy<Value = String> {
    prop_oneof![
        (0_u32..1_000_000, 0_usize..4, 0_u32..1_000).prop_map(|(whole, decimals, rest)| {
            if decimals == 0 {
                whole.to_string()
            } else {
                let digits = format!("{rest:03}");
                format!("{whole}.{}", &digits[..decimals])
            }
        }),
        (0_u32..100, 1_u32..64)
            .prop_flat_map(|(whole, under)| (Just(whole), 0..=under.saturating_sub(1), Just(under)))
            .prop_map(|(whole, over, under)| if whole == 0 {
                format!("{over}/{under}")
            } else {
                format!("{whole} {over}/{under}")
            }),
    ]
}

fn comes_back<U: Unit>(text: &str) {
    match Target::<U>::parse(text) {
        Ok(found) => assert_eq!(found.to_string(), text),
        Err(error) => assert_eq!(error.fault, Fault::OutOfRange, "{text}: {error}"),
    }
}

proptest! {
    #[test]
    fn every_entered_value_comes_back_as_the_same_text(number in printed_number(), high in printed_number(), unit in 0_usize..10) {
        let unit = TorqueUnit::ALL[unit].symbol();
        comes_back::<TorqueUnit>(&format!("{number} {unit}"));
        comes_back::<TorqueUnit>(&format!("max {number} {unit}"));
        comes_back::<AngleUnit>(&format!("{number}°"));
        comes_back::<LengthUnit>(&format!("{number} mm"));
        comes_back::<LengthUnit>(&format!("{number} in"));
        comes_back::<SpanUnit>(&format!("{number} min"));
        comes_back::<PercentUnit>(&format!("{number} %"));
        let range = format!("{number}..{high} {unit}");
        match Target::<TorqueUnit>::parse(&range) {
            Ok(found) => prop_assert_eq!(found.to_string(), range),
            Err(error) => prop_assert!(matches!(error.fault, Fault::OutOfRange | Fault::RangeBackwards), "{}: {}", range, error),
        }
        let tolerance = format!("+{number} {unit} -{high} {unit}");
        if let Ok(found) = Tolerance::<TorqueUnit>::parse(&tolerance) && number != high {
            prop_assert_eq!(found.to_string(), tolerance);
        }
    }

    #[test]
    fn no_text_breaks_the_reader(text in "[-0-9.,/±+ %a-zA-Z·°½'\"≤µ…–]{0,24}|\\PC{0,16}") {
        if let Err(error) = Target::<TorqueUnit>::parse(&text) {
            prop_assert!(text.get(error.from..error.to).is_some(), "{:?} {:?}", text, error);
        }
        if let Err(error) = Target::<LengthUnit>::parse(&text) {
            prop_assert!(text.get(error.from..error.to).is_some(), "{:?} {:?}", text, error);
        }
        if let Err(error) = Tolerance::<AngleUnit>::parse(&text) {
            prop_assert!(text.get(error.from..error.to).is_some(), "{:?} {:?}", text, error);
        }
        if let Ok(found) = Target::<TorqueUnit>::parse(&text) {
            prop_assert_eq!(Target::parse(&found.to_string()), Ok(found));
        }
        if let Ok(found) = Target::<LengthUnit>::parse(&text) {
            prop_assert_eq!(Target::parse(&found.to_string()), Ok(found));
        }
    }

    #[test]
    fn a_value_agrees_with_itself_in_every_unit(digits in 1_u64..1_000_000, decimals in 0_u8..4, from in 0_usize..10, to in 0_usize..10) {
        let number = Number::decimal(digits, decimals).expect("few digits");
        let (from, to) = (TorqueUnit::ALL[from], TorqueUnit::ALL[to]);
        if let Some(given) = Quantity::new(number, from) {
            let text = format!("{:.9} {}", Converted::new(given, to), to.symbol());
            if let Ok(other) = Quantity::parse(&text) {
                prop_assert_eq!(printed_pair(given, other), Ok(()));
            }
        }
    }
}
