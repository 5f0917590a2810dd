//! `convert` and `pattern` from the command line: keys, values, pictures, refusals.

use std::ffi::OsString;

use serde_json::{Value, json};

fn run(line: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let words = std::iter::once("evendraw")
        .chain(line.iter().copied())
        .map(OsString::from);
    let status = evendraw::command::run(words, &mut out, &mut err, false);
    let text = |bytes| String::from_utf8(bytes).expect("text");
    (status, text(out), text(err))
}

fn object(line: &[&str]) -> Value {
    let (status, out, err) = run(&[&["--json"], line].concat());
    assert_eq!((status, err.as_str()), (0, ""), "{line:?}");
    assert_eq!(out.lines().count(), 1, "{out}");
    serde_json::from_str(&out).expect("an object")
}

fn order(line: &[&str]) -> Vec<String> {
    let answer = object(line);
    let list = answer["order"].as_array().expect("a list");
    list.iter()
        .map(|label| label.as_str().expect("a label").to_owned())
        .collect()
}

#[test]
fn convert_gives_every_unit_as_exact_decimals() {
    // Exact by the definitions of pound, gravity and inch.
    assert_eq!(
        object(&["convert", "29.5 lbf·ft"]),
        json!({
            "N·m": "39.9966294757763118",
            "lbf·ft": "29.5",
            "lbf·in": "354",
            "kgf·m": "4.078521154092",
            "kgf·cm": "407.8521154092",
            "ozf·in": "5664",
        })
    );
    let metric = object(&["convert", "20 N·m"]);
    assert_eq!(metric["lbf·ft"], "14.751242985545307278");
    let (_, out, _) = run(&["convert", "20 N·m"]);
    assert!(
        out.contains("= 20 N·m\n") && out.contains("≈ 14.75 lbf·ft\n"),
        "{out}"
    );
    // People get four digits, or as many as they typed; a value whose few digits are all there is exact.
    for (text, line) in [
        ("29.5 lbf·ft", "≈ 40.00 N·m\n"),
        ("29.5 lbf·ft", "= 354 lbf·in\n"),
        ("29.5000 lbf·ft", "≈ 39.9966 N·m\n"),
        ("0.05 N·m", "≈ 0.03688 lbf·ft\n"),
        ("1 kN·m", "≈ 737.6 lbf·ft\n"),
        ("1 kN·m", "= 1000 N·m\n"),
        ("123456 N·m", "≈ 91056.5 lbf·ft\n"),
    ] {
        let (_, out, _) = run(&["convert", text]);
        assert!(out.contains(line), "{text}: {out}");
    }
}

#[test]
fn convert_refuses_with_what_is_allowed() {
    for (text, says) in [
        ("40 lb", "lbf·ft or lbf·in"),
        ("1,234 ft-lb", "1234"),
        ("40", "N·m, lbf·ft"),
        ("40 parsec", "N·m, lbf·ft"),
        ("-3 N·m", "below zero"),
        ("24..28 N·m", "more than one value"),
        ("27 ±2 N·m", "tolerance"),
        ("", "nothing given"),
        ("99999999 N·m", "too large"),
    ] {
        let (status, out, err) = run(&["convert", "--", text]);
        assert_eq!((status, out.as_str()), (2, ""), "{text}");
        assert!(err.contains(says), "{text}: {err}");
    }
}

#[test]
fn pattern_of_a_circle_lists_and_draws_the_order() {
    assert_eq!(
        order(&["pattern", "--circle", "8"]),
        ["1", "5", "3", "7", "2", "6", "4", "8"]
    );
    assert_eq!(
        order(&["pattern", "--circle", "5", "--order", "listed", "--reverse"]),
        ["5", "4", "3", "2", "1"]
    );
    assert_eq!(
        order(&["pattern", "--circle", "4", "--order", "2, 4,1,3"]),
        ["2", "4", "1", "3"]
    );
    let (status, out, _) = run(&["pattern", "--circle", "12"]);
    assert_eq!(status, 0);
    assert!(
        out.starts_with("cross: 1 7 4 10 2 8 5 11 3 9 6 12\n"),
        "{out}"
    );
    let (drawn, labels) = (out.matches(':').count() - 1, 12);
    assert_eq!(drawn, labels, "{out}");
    assert!(out.contains("10:4"), "the tenth comes fourth: {out}");
}

#[test]
fn pattern_of_the_demo_head_is_its_own_order_and_can_be_another() {
    let folder = tempfile::tempdir().expect("a folder");
    let plan = folder.path().join("pump.toml");
    std::fs::write(&plan, evendraw::plan::DEMO).expect("written");
    let plan = plan.to_str().expect("text");
    let own = order(&["pattern", "--plan", plan, "--joint", "head"]);
    let demo = evendraw::plan::Plan::demo().expect("the demo reads");
    let head = demo
        .joints()
        .iter()
        .find(|joint| joint.id() == "head")
        .expect("a head");
    let base: Vec<&str> = head
        .first_plan()
        .base
        .iter()
        .map(|&at| head.label(at))
        .collect();
    assert_eq!(own, base);
    let listed = order(&[
        "pattern", "--plan", plan, "--joint", "head", "--order", "listed",
    ]);
    let written: Vec<&str> = head
        .positions()
        .iter()
        .map(|position| position.label.as_str())
        .collect();
    assert_eq!(listed, written);
    let svg = folder.path().join("head.svg");
    let (status, ..) = run(&[
        "pattern",
        "--plan",
        plan,
        "--joint",
        "head",
        "--svg",
        svg.to_str().expect("text"),
    ]);
    assert_eq!(status, 0);
    let drawing = std::fs::read_to_string(&svg).expect("drawn");
    assert_eq!(drawing.matches("<circle").count(), own.len());
    assert_eq!(drawing.matches("<line").count(), own.len() - 1);
    assert!(drawing.contains("FRONT"));
}

#[test]
fn pattern_refuses_with_what_is_allowed() {
    for (line, says) in [
        (&["--circle", "2"][..], "3 to 255"),
        (&["--circle", "256"], "3 to 255"),
        (
            &["--circle", "5", "--order", "1,2,3"],
            "fastener 4 is left out",
        ),
        (&["--circle", "5", "--order", "1,2,3,4,4"], "second time"),
        (
            &["--circle", "5", "--order", "spiral"],
            "cross, centre-out, listed",
        ),
        (
            &["--plan", "no-such.toml", "--joint", "head"],
            "no-such.toml",
        ),
        (&["--plan", "no-such.toml"], "--joint"),
        (&[], "--circle"),
    ] {
        let (status, out, err) = run(&[&["pattern"], line].concat());
        assert_eq!((status, out.as_str()), (2, ""), "{line:?}");
        assert!(err.contains(says), "{line:?}: {err}");
    }
}
