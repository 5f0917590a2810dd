//! Whatever a plan file holds, it is taken or told what is wrong with it: never a panic, never without end, never pages of text.
//!
//! The first half changes sound and faulty plans at random; the second builds what went wrong once, one row a class.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::time::Instant;

use evendraw::limits::{DIAGNOSTICS_SHOWN, PLAN_BYTES_MAX};
use evendraw::plan::{DEMO, Plan, report};
use proptest::prelude::*;

/// Every plan of the fixtures, and the demo.
fn plans() -> Vec<String> {
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    let mut list = vec![DEMO.to_owned()];
    for folder in ["bad_plans", "doubtful_plans", "patterns"] {
        let mut paths: Vec<_> = fs::read_dir(fixtures.join(folder))
            .expect("the folder of fixtures")
            .map(|entry| entry.expect("an entry").path())
            .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
            .collect();
        paths.sort();
        list.extend(
            paths
                .iter()
                .map(|path| fs::read_to_string(path).expect("a fixture")),
        );
    }
    assert!(list.len() > 20, "{} plans", list.len());
    list
}

/// What may stand where a number or a text stood.
const STRANGE: [&str; 30] = [
    "0",
    "-1",
    "255",
    "256",
    "65536",
    "4294967295",
    "9223372036854775807",
    "-9223372036854775808",
    "99999999999999999999999999",
    "1e308",
    "-0.0",
    "nan",
    "inf",
    "0x7fffffffffffffff",
    "true",
    "1979-05-27",
    "[]",
    "{}",
    "[[]]",
    "{ short = 1 }",
    "\"\"",
    "\"max 1000000 N·m\"",
    "\"0.000000000000000000000000001 N·m\"",
    "\"99999999999999999999 lbf·ft\"",
    "\"1..0 N·m\"",
    "\"±200 %\"",
    "\"restart 0\"",
    "\"stage 0\"",
    "\"§ µ° 𝄞\"",
    "[\"1\", \"1\", 1, 1.5, {}]",
];

/// One change of a plan, told by three numbers.
fn change(text: &mut String, kind: u8, at: usize, with: usize) {
    let lines: Vec<&str> = text.lines().collect();
    if lines.is_empty() {
        return;
    }
    let line = at % lines.len();
    let other = with % lines.len();
    let mut lines: Vec<String> = lines.iter().map(|&line| line.to_owned()).collect();
    match kind % 8 {
        0 => {
            lines.remove(line);
        }
        1 => lines.swap(line, other),
        2 => {
            let copy = lines[other].clone();
            lines.insert(line, copy);
        }
        // A value becomes a strange one.
        3 | 4 => {
            if let Some((key, _)) = lines[line].split_once('=') {
                lines[line] = format!("{key}= {}", STRANGE[with % STRANGE.len()]);
            }
        }
        // A number inside a line becomes a strange one.
        5 => {
            let digits = lines[line].find(|letter: char| letter.is_ascii_digit());
            if let Some(start) = digits {
                let rest = &lines[line][start..];
                let length =
                    rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_digit()).len();
                let strange = STRANGE[with % 14];
                lines[line].replace_range(start..start + length, strange);
            }
        }
        // A part of the file stands many times.
        6 => {
            let end = (line + with % 12).min(lines.len());
            let part: Vec<String> = lines[line..end].to_vec();
            for _ in 0..with % 40 {
                lines.splice(line..line, part.iter().cloned());
            }
        }
        // A letter becomes another one.
        _ => {
            let mut letters: Vec<char> = lines[line].chars().collect();
            if !letters.is_empty() {
                let at = with % letters.len();
                letters[at] = [
                    '"', '[', ']', '{', '=', '.', '/', ' ', '9', '-', '°', '\u{0}',
                ][at % 12];
            }
            lines[line] = letters.into_iter().collect();
        }
    }
    *text = lines.join("\n");
}

/// Reads a plan and everything that can be asked of it afterwards; the length of what is said.
fn read(text: &str) -> usize {
    match Plan::parse("strange.toml", text) {
        Ok(plan) => {
            for joint in plan.joints() {
                assert!(joint.stages().len() <= 16 && !joint.title().is_empty());
                let _ = joint.plan(&Default::default());
                for stage in joint.stages() {
                    assert!(!stage.sentence().is_empty() || stage.word == "wait");
                }
            }
            let progress = evendraw::plan::progress::Progress::at_start(&plan);
            assert_eq!(progress.joints().len(), plan.joints().len());
            report(plan.warnings(), false).len()
        }
        Err(errors) => {
            let list = errors.list();
            assert!(!list.is_empty() && list.len() <= DIAGNOSTICS_SHOWN + 1);
            assert!(errors.count() >= list.len() || errors.count() == DIAGNOSTICS_SHOWN + 1);
            for one in list {
                assert!(one.line() >= 1 && one.column() >= 1 && !one.what().is_empty());
                assert!(one.place().start <= text.len());
            }
            assert!(!errors.to_string().is_empty());
            errors.report(false).len()
        }
    }
}

/// All that is said of a plan, at most: so many errors, each with a few lines of the file.
const SAID_MAX: usize = 200_000;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn a_plan_changed_at_random_is_taken_or_told(
        which in any::<usize>(),
        changes in prop::collection::vec((any::<u8>(), any::<usize>(), any::<usize>()), 1..12),
    ) {
        let plans = plans();
        let mut text = plans[which % plans.len()].clone();
        for (kind, at, with) in changes {
            change(&mut text, kind, at, with);
        }
        prop_assert!(read(&text) <= SAID_MAX);
    }

    #[test]
    fn bytes_at_random_are_no_plan(text in "[\\[\\]a-z0-9\\.={}\",\n #'-]{0,400}") {
        prop_assert!(read(&text) <= SAID_MAX);
    }
}

fn joint(id: &str, keys: &str) -> String {
    format!(
        "[[joint]]\nid = \"{id}\"\n{keys}\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"36 N·m\"\n"
    )
}

const PLACE: &str = "positions = { 1 = [0, 0] }";

fn many(count: usize, one: impl FnMut(usize) -> String) -> String {
    (0..count).map(one).collect()
}

/// What is said of a plan that must be refused.
fn refused(text: &str) -> String {
    let begun = Instant::now();
    let length = read(text);
    assert!(length <= SAID_MAX, "{length} bytes are said");
    // 2 s for a file of this size is what is wanted; a machine at work on other things gets room, a square of the size does not.
    assert!(begun.elapsed().as_secs() < 40, "{:?}", begun.elapsed());
    match Plan::parse("much.toml", text) {
        Ok(_) => panic!("it is taken"),
        Err(errors) => errors.report(false),
    }
}

#[test]
fn too_many_of_anything_is_told_with_what_is_allowed() {
    let mut wrong = Vec::new();
    let joints = |count| many(count, |number| joint(&format!("j{number}"), PLACE));
    let one = joint("a", PLACE);
    let labels = many(100_000, |number| format!("\"{number}\", "));
    let ways = many(9, |number| {
        format!(
            "[[joint.variant]]\nask = \"q{number}\"\nanswers = [\"a{number}\", \"b{number}\"]\n"
        )
    });
    let asked = |count: usize| {
        let variants = many(6, |number| {
            format!(
                "[[joint.variant]]\nask = \"q{number}\"\nanswers = [\"a{number}\", \"b{number}\"]\n"
            )
        });
        many(count, |number| {
            joint(&format!("j{number}"), &format!("{PLACE}\n{variants}"))
        })
    };
    for (text, wanted) in [
        (joints(251), "251 joints: more than the 250 allowed"),
        (joints(255), "255 joints: more than the 250 allowed"),
        (joints(256), "256 joints: more than the 250 allowed"),
        (joints(9_000), "9,000 entries in one place"),
        (
            many(90_000, |n| format!("k{n} = 1\n")),
            "90,000 keys in one place",
        ),
        (
            many(20_000, |n| format!("[[tool]]\nid = \"T{n}\"\n")),
            "20,000 entries in one place",
        ),
        (
            many(300, |n| {
                format!("[[tool]]\nid = \"T{n}\"\nkind = \"dial\"\ncapacity = \"90 N·m\"\n")
            }),
            "300 tools: more than the 250 allowed",
        ),
        (
            many(400, |n| format!("[[task]]\nid = \"t{n}\"\n")),
            "400 tasks: more than the 250",
        ),
        (
            format!(
                "[[task]]\nid = \"t\"\nstack = [{}]\n",
                many(100, |n| format!("\"{n}\", "))
            ),
            "100 layers in `stack`",
        ),
        (
            many(400, |n| format!("[[part]]\nname = \"p{n}\"\n")),
            "400 parts: more than the 250",
        ),
        (
            joint("a", &format!("{PLACE}\norder = [{labels}]")),
            "100,000 entries in one place",
        ),
        (
            joint(
                "a",
                &format!("{PLACE}\nneeds = [{}]", many(700, |n| format!("\"{n}\", "))),
            ),
            "names under `needs`",
        ),
        (
            joint("a", &format!("{PLACE}\n{ways}")),
            "asks 9 questions before work starts",
        ),
        (asked(20), "split the build into two plans"),
        (
            joint(
                "a",
                &format!(
                    "positions = {{ {} }}",
                    many(50_000, |n| format!("{n} = [0, 0], "))
                ),
            ),
            "50,000 keys in one place",
        ),
        (
            joint(
                "a",
                &format!(
                    "positions = {{ {} }}",
                    many(900, |n| format!("{n} = [0, 0], "))
                ),
            ),
            "has 900 fasteners: more than the 64 allowed",
        ),
        (
            format!(
                "{one}{}",
                many(900, |_| "[[joint.stage]]\ndo = \"tighten\"\n".to_owned())
            ),
            "has 901 stages written",
        ),
        (
            format!("{one}{}", many(90, |_| "[[joint.block]]\n".to_owned())),
            "has 90 blocks",
        ),
        (
            format!("{one}tool = [{}]", many(90, |n| format!("\"T{n}\", "))),
            "90 tools for one stage",
        ),
        (joint(&"x".repeat(200), PLACE), "id of 200 bytes"),
        (
            format!("{one}note = \"{}\"", "x".repeat(900_000)),
            "a text of 900,000 bytes",
        ),
        (
            format!("{one}{} = 1", "x".repeat(900_000)),
            "a key of 900,000 bytes",
        ),
        (
            format!("{one}note = \"{}\"", "x".repeat(5_000_000)),
            "a plan of 5,000,105 bytes",
        ),
        (
            joint(
                "a",
                &format!(
                    "positions = {{ {} }}",
                    many(1_000_000, |n| format!("{n} = [0, 0], "))
                ),
            ),
            "at most 1,048,576",
        ),
        ("[".repeat(1_000_000), "unquoted keys cannot be empty"),
        (format!("a = {}", "[".repeat(1_000_000)), "recursion"),
        (format!("{} = 1", "a.".repeat(400_000)), "expected"),
        (
            many(4_000, |_| format!("{} = 1\n", "a.".repeat(100))),
            "expected",
        ),
    ] {
        let said = refused(&text);
        if !said.contains(wanted) {
            wrong.push(format!("wanted {wanted:?}: {said:.600}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn three_thousand_faults_on_one_line_are_fifty_and_how_many_more() {
    let labels = many(1_000, |number| format!("\"x{number}\", "));
    let joints = many(3, |number| {
        format!(
            "{{ id = \"j{number}\", positions = {{ 1 = [0, 0] }}, order = [{labels}], stage = [{{ do = \"check\", ask = \"?\" }}] }}, "
        )
    });
    let text = format!("joint = [{joints}]");
    let said = refused(&text);
    assert!(said.contains("and 2,950 more errors"), "{said}");
    assert!(
        said.contains("has no fastener `x0`") && !said.contains("`x50`"),
        "the first fifty"
    );
    let longest = said.lines().map(str::len).max();
    assert!(
        longest < Some(700),
        "lines are cut around the place: {longest:?}"
    );
    assert!(said.len() < 60_000, "{} bytes", said.len());
}

#[test]
fn what_multiplies_inside_stays_small() {
    // Groups of groups of groups.
    let first = many(60, |n| format!("{n} = [{n}, 0], "));
    let names = many(60, |n| format!("\"{n}\", "));
    let groups = many(12, |n| match n {
        0 => format!("g0 = [{names}], "),
        _ => format!("g{n} = [{}], ", format!("\"g{}\", ", n - 1).repeat(500)),
    });
    let text = joint(
        "a",
        &format!("positions = {{ {first} }}\ngroups = {{ {groups} }}"),
    );
    assert!(Plan::parse("groups.toml", &text).is_ok());
    // Every joint waits for every other.
    let text = many(250, |n| {
        let others = (0..250).filter(|&other| other != n);
        let names: String = others.map(|other| format!("\"j{other}\", ")).collect();
        joint(&format!("j{n}"), &format!("{PLACE}\nafter = [{names}]"))
    });
    assert!(refused(&text).contains("joints wait for each other"));
    // Every joint waits for all before it, and needs what is nearly listed.
    let parts = many(250, |n| {
        format!("[[part]]\nname = \"gasket of the very long name number {n}\"\n")
    });
    let text = parts
        + &many(150, |n| {
            let before = many(n, |n| format!("\"j{n}\", "));
            let needs = many(60, |n| {
                format!("\"gasket of the very long nome number {n}\", ")
            });
            joint(
                &format!("j{n}"),
                &format!("{PLACE}\nafter = [{before}]\nneeds = [{needs}]"),
            )
        });
    assert!(text.len() < PLAN_BYTES_MAX);
    let begun = Instant::now();
    assert!(read(&text) <= SAID_MAX);
    assert!(begun.elapsed().as_secs() < 40, "{:?}", begun.elapsed());
    // All fasteners at one place, under every answer.
    let places = many(64, |n| format!("{n} = [0, 0], "));
    let pairs = many(32, |n| format!("[\"{}\", \"{}\"], ", 2 * n, 2 * n + 1));
    let mut text = String::new();
    for number in 0..15 {
        let variants = many(6, |n| {
            format!("[[joint.variant]]\nask = \"q{n}\"\nanswers = [\"a{n}\", \"b{n}\"]\n")
        });
        let keys = format!("positions = {{ {places} }}\ntogether = [{pairs}]\n{variants}");
        text.push_str(&joint(&format!("j{number}"), &keys));
        for stage in 0..15 {
            let _ = writeln!(
                text,
                "[[joint.stage]]\ndo = \"tighten\"\ntorque = \"{} N·m\"",
                40 + stage
            );
        }
    }
    let begun = Instant::now();
    assert!(read(&text) <= SAID_MAX);
    assert!(begun.elapsed().as_secs() < 40, "{:?}", begun.elapsed());
}

#[test]
fn one_cause_is_one_error() {
    let mut wrong = Vec::new();
    let other = joint(
        "b",
        &format!("{PLACE}\nafter = [\"pump\"]\nshares = {{ 1 = \"pump/1\" }}"),
    );
    for (plan, wanted) in [
        // The joint is there; its position is wrong.
        (joint("pump", "positions = { 1 = [0] }") + &other, "has 1 numbers"),
        (
            joint("pump", PLACE) + "[joint.stage]\ndo = \"tighten\"\n",
            "one of several is written `[[joint.stage]]`",
        ),
        (
            "[[joint]]\nid = \"pump\"\npositions = { 1 = [0, 0] }\n[joint.stage]\ndo = \"tighten\"\ntorque = \"9 N·m\"\n".to_owned()
                + &other,
            "[[joint.stage]]",
        ),
        (joint("pump", PLACE).replacen("[[joint]]", "[joint]", 1), "[[joint]]"),
        // A pass that cannot be read is a pass all the same.
        (
            joint("pump", PLACE).replace("36 N·m", "36 lb") + "[[joint.stage]]\ndo = \"repeat\"\n",
            "lb",
        ),
        // A label that is unknown stands for the one that is left out.
        (
            joint("pump", "positions = { 1 = [0, 0], 2 = [9, 0] }\norder = [\"1\", \"zwei\"]"),
            "has no fastener `zwei`",
        ),
        // A tool with a fault of its own is listed all the same.
        (
            "[[tool]]\nid = \"W\"\nkind = \"dial\"\ncapacity = \"90 lb\"\n".to_owned()
                + &joint("pump", PLACE)
                + "tool = \"W\"\n",
            "lb",
        ),
        // `pump` is no slip of `sump`.
        (
            joint("sump", PLACE) + &joint("b", &format!("{PLACE}\nafter = [\"pump\"]")),
            "joints: b, sump",
        ),
    ] {
        let errors = Plan::parse("one.toml", &plan).expect_err("a fault");
        let said = errors.report(false);
        if errors.count() != 1 || !said.contains(wanted) {
            wrong.push(format!("wanted {wanted:?} alone: {said}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
