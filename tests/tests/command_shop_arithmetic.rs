//! The shop's arithmetic from the command line: keys, values, refusals.

use serde_json::Value;
use std::ffi::OsString;

fn run(line: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let words = std::iter::once("evendraw")
        .chain(line.iter().copied())
        .map(OsString::from);
    let status = evendraw::command::run(words, &mut out, &mut err, false);
    (
        status,
        String::from_utf8(out).unwrap(),
        String::from_utf8(err).unwrap(),
    )
}

fn object(line: &[&str]) -> Value {
    let (status, out, err) = run(&[&["--json"], line].concat());
    assert_eq!((status, err.as_str()), (0, ""), "{line:?}");
    serde_json::from_str(&out).unwrap()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("no number `{key}` in {value}"))
}

#[test]
fn setting_speaks_the_manuals_examples() {
    // [NAVEDTRA 14315 fig. 3-45] 66.7 lbf·in for 100, lever 12, offset 6.
    let answer = object(&[
        "setting",
        "--torque",
        "100 in-lb",
        "--lever",
        "12 in",
        "--offset",
        "6 in",
    ]);
    assert!(
        (number(&answer, "setting_Nm") - 100.0 * 0.112_984_829_027_616_7 * 2.0 / 3.0).abs() < 1e-9
    );
    assert!((number(&answer, "factor") - 2.0 / 3.0).abs() < 1e-12);
    let back = object(&[
        "setting",
        "--reading",
        "66.6667 lbf·in",
        "--lever",
        "12 in",
        "--offset",
        "6 in",
    ]);
    assert!((number(&back, "torque_Nm") - 11.298_48).abs() < 1e-4);
    let (status, out, _) = run(&[
        "setting", "--torque", "40 lb-ft", "--lever", "12 in", "--offset", "4 in",
    ]);
    assert!(
        status == 0 && out.contains("30.00 lbf·ft (40.67 N·m)"),
        "{out}"
    ); // [TM 9-2350-277-40&P p. 44]
}

#[test]
fn preload_gives_the_keys_of_the_contract() {
    // [Shigley 9e solution 8-29] 476 N·m at K 0.18 on M20 gives 132.3 kN, nine tenths of the proof load of class 8.8.
    let answer = object(&[
        "preload", "--thread", "M20", "--class", "8.8", "--torque", "476 N·m", "--k", "0.18",
    ]);
    assert!((number(&answer, "preload_kN") - 132.2).abs() < 0.1);
    assert!((number(&answer, "proof_ratio") - 0.9).abs() < 0.002);
    assert!((number(&answer, "stress_area_mm2") - 244.8).abs() < 0.1);
    assert!((number(&answer, "low_kN") / number(&answer, "preload_kN") - 0.75).abs() < 1e-9); // torque wrench ±25 % [Machinery's Handbook]
    assert!((number(&answer, "stress_MPa") - 540.0).abs() < 1.0);
    // [VDI 2230:2001] M10x1.25, µ 0.14, 10.9: 83 N·m gives 45.2 kN; the head there is 16.0/11 hexagon as here.
    let answer = object(&[
        "preload",
        "--thread",
        "M10x1.25",
        "--class",
        "10.9",
        "--torque",
        "83 N·m",
        "--mu-thread",
        "0.14",
        "--mu-head",
        "0.14",
    ]);
    assert!(
        (number(&answer, "preload_kN") - 45.2).abs() < 0.5,
        "{answer}"
    );
    assert!(
        (number(&answer, "yield_ratio") - 0.9).abs() < 0.01,
        "{answer}"
    );
}

#[test]
fn preload_goes_the_other_way_as_well() {
    // [Shigley 9e solution 8-29] 132.3 kN on M20 at K 0.18 takes 476 N·m.
    let m20 = [
        "preload", "--thread", "M20", "--class", "8.8", "--k", "0.18",
    ];
    let torque = |more: &[&str]| number(&object(&[&m20, more].concat()), "torque_Nm");
    assert!((torque(&["--want", "132.3 kN"]) - 476.0).abs() < 0.5);
    assert!((torque(&["--share-proof", "90 %"]) - 476.0).abs() < 1.0);
    // 29.742 kip is 132.3 kN.
    assert!((torque(&["--want", "29.742 kip"]) - 476.3).abs() < 0.1);
    assert!((torque(&["--torque", "476 N·m"]) - 476.0).abs() < 1e-9);
    let (status, out, _) = run(&[&m20[..], &["--want", "132.3 kN"]].concat());
    assert!(status == 0 && out.contains("476.3 N·m"), "{out}");
    assert!(out.contains("where the maker states a torque"), "{out}");
}

#[test]
fn stretch_gives_all_three_from_any_one() {
    let m12 = [
        "stretch", "--thread", "M12", "--class", "10.9", "--grip", "60 mm",
    ];
    let of = |more: &[&str]| object(&[&m12, more].concat());
    let load = of(&["--load", "40 kN"]);
    let angle = format!("{:.4}°", number(&load, "angle_deg"));
    let stretch = format!("{:.4} mm", number(&load, "stretch_mm"));
    assert!((number(&of(&["--angle", &angle]), "load_kN") - 40.0).abs() < 0.01);
    assert!((number(&of(&["--stretch", &stretch]), "load_kN") - 40.0).abs() < 1.0);
    assert!((number(&load, "stretch_mm") * number(&load, "bolt_kN_per_mm") - 40.0).abs() < 0.05);
    // Past yield the load hardly grows, and what stays is said.
    let past = of(&["--angle", "240°"]);
    assert!(
        number(&past, "yield_ratio") > 1.0 && number(&past, "permanent_mm") > 0.2,
        "{past}"
    );
    let (_, out, _) = run(&[&m12[..], &["--angle", "240°"]].concat());
    assert!(out.contains("yielded") && out.contains("maker"), "{out}");
}

#[test]
fn engagement_says_what_strips_and_tells_the_shell() {
    let line = |more: &[&str]| {
        let fixed = ["--json", "engagement", "--thread", "M10", "--class", "8.8"];
        let (status, out, err) = run(&[&fixed[..], more].concat());
        assert_eq!(err, "", "{more:?}");
        (status, serde_json::from_str::<Value>(&out).unwrap())
    };
    let (status, short) = line(&["--into", "aluminium", "--length", "8 mm"]);
    assert_eq!(
        (status, &short["first"]),
        (1, &Value::from("internal-strips"))
    );
    let (status, long) = line(&["--into", "aluminium", "--length", "20 mm"]);
    assert_eq!((status, &long["first"]), (0, &Value::from("bolt-breaks")));
    assert!(number(&long, "needed_mm") < 20.0 && number(&short, "needed_mm") > 8.0);
    // [Bickford, tests/data/metric_shear_areas.csv] 15.58 and 21.48 mm² for each mm engaged.
    assert!((number(&long, "external_shear_mm2_per_mm") - 15.58).abs() < 0.01);
    assert!((number(&long, "internal_shear_mm2_per_mm") - 21.477).abs() < 0.01);
    let (status, nut) = line(&["--nut", "6"]);
    assert_eq!(status, 1);
    assert!(
        nut["nut_why"].as_str().unwrap().contains("strips first"),
        "{nut}"
    );
}

#[test]
fn twist_gives_the_train_for_the_plan() {
    // Derived: G·J/L of steel, 79 GPa: 10 × 250 mm 18.5°, 16 × 250 mm 2.8° for each 100 N·m.
    let thin = object(&["twist", "10 mm x 250 mm", "--torque", "50 N·m"]);
    assert!((number(&thin, "deg_per_100_Nm") - 18.5).abs() < 0.05);
    assert!((number(&thin, "twist_deg") - 9.23).abs() < 0.02);
    assert_eq!(thin["train"], "5.41 N·m/°");
    let both = object(&["twist", "10 x 250", "16 x 250"]);
    assert!((number(&both, "deg_per_100_Nm") - 21.3).abs() < 0.1);
    // [Beer and Johnston, Mechanics of Materials, example 3.02, from memory] 60 mm with a bore of 40, 1.5 m, G 77 GPa: 2° at 1.829 kN·m.
    let shaft = object(&["twist", "60 bore 40 x 1500", "--torque", "1829 N·m"]);
    assert!(
        (number(&shaft, "twist_deg") * 79.0 / 77.0 - 2.0).abs() < 0.002,
        "{shaft}"
    );
}

#[test]
fn slope_estimates_from_a_trace_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pull.csv");
    // M10 in springs that the command itself calculates, at a lever of 1.5 mm: friction 0.12 or so by the form of VDI 2230.
    let stretch = object(&[
        "stretch", "--thread", "M10", "--class", "8.8", "--grip", "40 mm", "--load", "20 kN",
    ]);
    let degrees = number(&stretch, "angle_deg");
    // A tenth of a second at rest, so that its zero can be seen; then the pull.
    let rest: String = (0..10)
        .map(|i| format!("{:.3},0,0\n", f64::from(i) / 100.0))
        .collect();
    let rows: String = (0..=200)
        .map(|i| {
            let share = f64::from(i) / 200.0;
            format!(
                "{:.3},{:.4},{:.4}\n",
                0.1 + 2.0 * share,
                30.0 * share,
                degrees * share
            )
        })
        .collect();
    std::fs::write(&path, format!("time_s,torque_Nm,angle_deg\n{rest}{rows}")).unwrap();
    let line = [
        "slope",
        "--thread",
        "M10",
        "--class",
        "8.8",
        "--grip",
        "40 mm",
        path.to_str().unwrap(),
    ];
    let answer = object(&line);
    assert!(
        (number(&answer, "preload_kN") - 20.0).abs() < 0.1,
        "{answer}"
    );
    assert!(
        (number(&answer, "nut_factor") - 0.15).abs() < 0.001,
        "{answer}"
    );
    assert!(
        (0.10..0.13).contains(&number(&answer, "friction")),
        "{answer}"
    );
    let low = number(&answer, "preload_low_kN");
    let high = number(&answer, "preload_high_kN");
    assert!(low < 14.0 && (22.5..24.0).contains(&high), "{answer}");
    // The same pull with a tool that winds up, told: the same preload.
    let wound: String = (0..=200)
        .map(|i| {
            let share = f64::from(i) / 200.0;
            format!(
                "{:.3},{:.4},{:.4}\n",
                0.1 + 2.0 * share,
                30.0 * share,
                (degrees + 30.0 / 5.0) * share
            )
        })
        .collect();
    std::fs::write(&path, format!("time_s,torque_Nm,angle_deg\n{rest}{wound}")).unwrap();
    let told = object(&[&line[..], &["--train", "5 N·m/°"]].concat());
    assert!((number(&told, "preload_kN") - 20.0).abs() < 0.1, "{told}");
}

#[test]
fn thread_answers_with_a_reason() {
    for (a, b, fits, part) in [
        (
            "1/8-28 BSPT",
            "1/8-27 NPT",
            false,
            "start together and then bind",
        ),
        ("M10x1.5", "M10", true, "same thread"),
        ("10-32 UNF", "No.10-32 UNF", true, "same thread"),
        ("M8", "5/16-18", false, "bind"),
        ("3/8 BSW", "3/8 UNC", false, "60° against 55°"),
        ("2BA", "M5", false, "then bind"),
        ("3/8 BSP", "G 3/8", false, "does not say"),
        ("Tr 40x7", "Tr 40x7", true, "same thread"),
    ] {
        // The shell hears the answer too: 0 when they go together, 1 when they do not.
        let (status, out, err) = run(&["--json", "thread", a, b]);
        assert_eq!((status, err.as_str()), (u8::from(!fits), ""), "{a} {b}");
        let answer: Value = serde_json::from_str(&out).unwrap();
        assert_eq!(answer["fits"], Value::Bool(fits), "{a} {b}");
        assert!(answer["why"].as_str().unwrap().contains(part), "{answer}");
    }
}

#[test]
fn bad_input_ends_with_2_and_says_what_is_allowed() {
    for (line, part) in [
        (
            &[
                "setting", "--torque", "100 lb", "--lever", "12 in", "--offset", "6 in",
            ][..],
            "write lbf·ft or lbf·in",
        ),
        (
            &[
                "setting", "--torque", "100 N·m", "--lever", "0 mm", "--offset", "6 in",
            ],
            "allowed",
        ),
        (
            &[
                "setting", "--torque", "100 N·m", "--lever", "100 mm", "--offset", "100 mm",
                "--angle", "180°",
            ],
            "shorter than the lever",
        ),
        (&["thread", "M10", "M13"], "M13"),
        (
            &[
                "preload", "--thread", "M10", "--class", "8.7", "--torque", "40 N·m", "--k", "0.2",
            ],
            "allowed: 4.6, 4.8",
        ),
        (
            &[
                "preload", "--thread", "G 1/8", "--class", "8.8", "--torque", "40 N·m", "--k",
                "0.2",
            ],
            "pipe thread",
        ),
        (
            &[
                "preload", "--thread", "M10", "--class", "8.8", "--torque", "40 N·m", "--k", "7",
            ],
            "nut factor 7 is outside 0.03 to 1",
        ),
        (
            &[
                "preload", "--thread", "M10", "--class", "8.8", "--torque", "40 N·m",
            ],
            "--k",
        ),
    ] {
        let (status, out, err) = run(line);
        assert_eq!((status, out.as_str()), (2, ""), "{line:?}");
        assert!(err.contains(part), "{line:?}: {err}");
    }
}

#[test]
fn setting_with_a_plan_says_which_tool_can_do_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pump.toml");
    let tool = |id: &str, capacity: &str, due: &str| {
        format!(
            "[[tool]]\nid = \"{id}\"\nkind = \"click\"\ncapacity = \"{capacity}\"\nstep = \"0.5 N·m\"\naccuracy = \"4 %\"\ndue = {due}\n"
        )
    };
    let joint = "[[joint]]\nid = \"cover\"\ntitle = \"Cover\"\npositions = { 1 = [0, 0] }\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"40 N·m\"\n";
    let text = format!(
        "[build]\ntitle = \"Harbour pump\"\n{}{}{}{joint}",
        tool("C1", "100 N·m", "2099-01-01"),
        tool("C2", "100 N·m", "2020-01-01"),
        tool("C3", "400 N·m", "2099-01-01")
    );
    std::fs::write(&path, text).unwrap();
    let line = [
        "--json",
        "setting",
        "--torque",
        "40 N·m",
        "--lever",
        "300 mm",
        "--offset",
        "25 mm",
        "--plan",
        path.to_str().unwrap(),
    ];
    let (status, out, err) = run(&line);
    assert_eq!((status, err.as_str()), (0, ""));
    let lines: Vec<Value> = out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert!((number(&lines[0], "setting_Nm") - 36.923).abs() < 1e-3);
    let tool = |id: &str| lines.iter().find(|line| line["tool"] == id).unwrap();
    // 36.92 within 4 %: the nearest half newton-metre is 37.
    assert!((number(tool("C1"), "setting_Nm") - 37.0).abs() < 1e-9);
    assert_eq!(tool("C2")["usable"], Value::Bool(false));
    assert!(tool("C2")["why"].as_str().unwrap().contains("2020-01-01"));
    assert!(
        tool("C3")["why"]
            .as_str()
            .unwrap()
            .contains("lowest usable 80.0")
    );
}
