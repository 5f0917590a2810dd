//! Texts are data: whatever stands in a plan, a journal, a name or an argument, nothing that reaches a person steers the terminal,
//! turns the reading direction or hides. Every command that prints such texts is here.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::OnceLock;

use evendraw::plan::Plan;
use evendraw::words::hides;
use evendraw_tests::binary::run;

/// What is put into every text: clear the screen, another title for the window, a forged line, C1, reading direction, no width.
const HOSTILE: &str = "\u{1b}[2J\u{1b}]0;x\u{7}\u{9b}31m\u{7f}\rDONE\nall accepted\u{202e}\u{2066}\u{200b}\u{feff}\u{85}";

/// The demo plan with it in every text that takes it. The same text is changed everywhere at once, so that names still meet.
fn hostile_plan() -> &'static (String, usize) {
    static MADE: OnceLock<(String, usize)> = OnceLock::new();
    MADE.get_or_init(make_hostile)
}

fn make_hostile() -> (String, usize) {
    let mut text = include_str!("../../sim-desktop/src/plan/demo.toml").to_owned();
    let words: BTreeSet<String> = text
        .lines()
        .filter(|line| !line.trim_start().starts_with('#'))
        .flat_map(|line| line.split('"').skip(1).step_by(2).map(str::to_owned))
        .collect();
    // A key of its own is a name of an answer or of a fastener.
    let escaped: String = HOSTILE
        .chars()
        .map(|c| {
            if hides(c) {
                format!("\\u{:04X}", u32::from(c))
            } else {
                c.to_string()
            }
        })
        .collect();
    let mut taken = 0;
    for word in words.iter().filter(|word| !word.is_empty()) {
        let tried = text.replace(&format!("\"{word}\""), &format!("\"{word}{escaped}\""));
        if tried != text && Plan::parse("hostile.toml", &tried).is_ok() {
            text = tried;
            taken += 1;
        }
    }
    (text, taken)
}

fn assert_visible(what: &str, bytes: &[u8]) {
    let text = std::str::from_utf8(bytes).unwrap_or_else(|error| panic!("{what}: {error}"));
    for (number, line) in (1..).zip(text.split('\n')) {
        // Ends of lines in a table are CSV's own matter, in quotes.
        let found = line.chars().find(|&c| hides(c) && c != '\t');
        assert!(
            found.is_none(),
            "{what}: line {number} has {found:?} in {line:?}"
        );
    }
}

fn assert_json(what: &str, bytes: &[u8]) -> Vec<serde_json::Value> {
    let text = String::from_utf8_lossy(bytes);
    text.lines()
        .map(|line| {
            serde_json::from_str(line).unwrap_or_else(|error| panic!("{what}: {error}: {line}"))
        })
        .collect()
}

#[test]
fn every_command_that_prints_texts_shows_what_hides_in_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let (plan, taken) = hostile_plan();
    assert!(*taken > 25, "only {taken} texts of the demo take it");
    fs::write(at.join("p.toml"), plan).expect("a file");
    let parsed = Plan::parse("p.toml", plan).expect("it was read before");
    let joints: Vec<String> = parsed
        .joints()
        .iter()
        .map(|joint| joint.id().to_owned())
        .collect();
    let first = joints.first().expect("a joint").as_str();

    // The only journal in which people, notes and reasons were typed is made by `rehearse` and `paper`.
    let name = format!("R. Falk{HOSTILE}");
    let lines: Vec<Vec<&str>> = vec![
        vec!["check", "p.toml"],
        vec!["check", "p.toml", "--done", first],
        vec!["rehearse", "p.toml", "--seed", "1", "--journal", "j.evj"],
        vec!["rehearse", "p.toml", "--joint", first, "--svg", "pictures"],
        vec!["record", "j.evj"],
        vec!["record", "j.evj", "--csv"],
        vec!["record", "j.evj", "--audit"],
        vec!["sheet", "j.evj"],
        vec!["sheet", "j.evj", "--short"],
        vec!["sheet", "j.evj", "--text"],
        vec!["sheet", "--blank", "--plan", "p.toml"],
        vec![
            "paper",
            "j.evj",
            "--joint",
            first,
            "--fastener",
            "1",
            "--stage",
            "1",
            "--name",
            &name,
        ],
        vec![
            "pattern",
            "--plan",
            "p.toml",
            "--joint",
            first,
            "--svg",
            "pattern.svg",
        ],
        vec![
            "compare",
            "p.toml",
            "--joint",
            first,
            "--runs",
            "2",
            "--svg",
            "compare.svg",
        ],
        vec![
            "adapter",
            "no-\u{1b}[2Jport",
            "send",
            "p.toml",
            "--joint",
            first,
        ],
        // What was given comes back in the error.
        vec!["check", "p.toml", "--done", HOSTILE],
        vec!["rehearse", "p.toml", "--joint", HOSTILE],
        vec!["rehearse", "p.toml", "--fault", HOSTILE],
        vec!["rehearse", "p.toml", "--answer", HOSTILE],
        vec!["check", HOSTILE],
        vec!["record", HOSTILE],
        vec!["thread", HOSTILE],
        vec!["convert", HOSTILE],
        vec![HOSTILE],
        vec!["--\u{1b}[2J"],
        vec!["rehearse", "--seed", HOSTILE],
    ];
    for line in &lines {
        let output = run(at, line);
        let what = format!("{line:?}");
        assert!(
            output.status.code().is_some_and(|code| code < 3),
            "{what}: {}",
            output.status
        );
        assert_visible(&what, &output.stdout);
        assert_visible(&what, &output.stderr);
        if line.contains(&"--csv") || line.contains(&"--svg") || line.contains(&"--seed") {
            continue;
        }
        let output = run(at, std::iter::once(&"--json").chain(line));
        let what = format!("--json {line:?}");
        assert_visible(&what, &output.stdout);
        assert_visible(&what, &output.stderr);
        if line.first() != Some(&"sheet") {
            assert_json(&what, &output.stdout);
        }
    }
    for file in ["pattern.svg", "compare.svg"] {
        assert_visible(file, &fs::read(at.join(file)).expect(file));
    }
    for file in fs::read_dir(at.join("pictures")).expect("pictures") {
        let path = file.expect("a file").path();
        assert_visible(&path.to_string_lossy(), &fs::read(&path).expect("bytes"));
    }
}

/// Scripts get the text itself.
#[test]
fn json_gives_back_the_text_as_it_was_typed() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let (plan, _) = hostile_plan();
    fs::write(at.join("p.toml"), plan).expect("a file");
    let said = assert_json("check", &run(at, ["--json", "check", "p.toml"]).stdout);
    let whole = said
        .iter()
        .any(|object| strings(object).any(|text| text.contains(HOSTILE)));
    assert!(whole, "{said:?}");
}

fn strings(value: &serde_json::Value) -> Box<dyn Iterator<Item = &str> + '_> {
    use serde_json::Value;
    match value {
        Value::String(text) => Box::new(std::iter::once(text.as_str())),
        Value::Array(list) => Box::new(list.iter().flat_map(strings)),
        Value::Object(map) => Box::new(map.values().flat_map(strings)),
        Value::Null | Value::Bool(_) | Value::Number(_) => Box::new(std::iter::empty()),
    }
}

/// A line of a bad plan is echoed with a caret under the place, counted in what is shown.
#[test]
fn the_echo_of_a_plan_line_is_data_and_the_caret_still_points() {
    let folder = tempfile::tempdir().expect("a folder");
    let at: &Path = folder.path();
    for c in (0..0x2_0000)
        .filter_map(char::from_u32)
        .filter(|&c| hides(c) && c != '\n')
    {
        // Control characters are no TOML, the others stand in a text before the fault.
        fs::write(
            at.join("p.toml"),
            format!("[build]\ntitle = \"a{c}b\" oops\n[[joint]]\nid = \"{c}\"\n"),
        )
        .expect("a file");
        let error = Plan::parse(
            "p.toml",
            &fs::read_to_string(at.join("p.toml")).expect("text"),
        )
        .expect_err("no plan");
        assert_visible(&format!("{c:?}"), error.report(false).as_bytes());
    }
    fs::write(
        at.join("p.toml"),
        "[build]\ntitle = \"T\" # \u{202e}\u{1b}\n[[joint]]\nid = \"\u{202e}lid\"\npositions = { L = [0, 0] } # \u{202e}\n\
         [[joint.stage]]\ndo = \"tighten\" # \u{202e}\ntorque = \"9\u{202e} lb\"\n",
    )
    .expect("a file");
    let output = run(at, ["check", "p.toml"]);
    assert_eq!(output.status.code(), Some(2));
    assert_visible("check", &output.stderr);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        said.contains("\\u202E") || said.contains("\\u001B"),
        "{said}"
    );
}
