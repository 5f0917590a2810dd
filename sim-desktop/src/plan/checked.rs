//! Which lines of a plan were compared with the document, by whom, and which were changed since.
//!
//! A line is the head of a joint, or one stage. Beside who and when, the plan keeps a sum over what the line said then: a line that
//! says something else now has lost its check, whoever changed it and wherever. It tells a slip, not a forgery.
//!
//! *Choice:* keys of the plan. They move with the line, are kept with every revision in the journal, and need no second file.
//! *Alternative:* records of the journal; a plan is checked before there is one. *Would change our mind:* checks that must be signed.
//!
//! Knows nothing of screens.

use std::fmt::Write as _;

use evendraw_core::crc::crc32;
use jiff::civil::Date;

use super::build::date;
use super::tree::{Choice, Node, Reader, Value};

/// What the values of a joint stand on.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Source<'a> {
    /// The document, its page and revision.
    pub(super) document: Option<&'a str>,
    /// Who typed them.
    pub(super) entered_by: Option<&'a str>,
}

/// Who compared a line with the document, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// Who.
    pub by: String,
    /// When.
    pub day: Date,
    /// The line says what it said then.
    pub holds: bool,
    /// Who typed the values checked them: no second person.
    pub is_same: bool,
}

/// A line of the plan that can be compared with the document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What it is called within its joint: `head`, `stage 2`.
    pub name: String,
    /// The sum over what it says.
    pub sum: String,
    /// Its check.
    pub checked: Option<Checked>,
}

impl Line {
    /// A second person compared what it says now.
    #[must_use]
    pub fn is_checked(&self) -> bool {
        self.checked
            .as_ref()
            .is_some_and(|own| own.holds && !own.is_same)
    }
}

/// Keys that say nothing of the document's values.
const APART: [&str; 3] = ["checked", "picture", "entered_by"];

/// The lines of a joint: its head, then its stages in the order of the file.
pub(super) fn lines<'a>(
    joint: &'a Node<'a>,
    id: &str,
    stages: impl Iterator<Item = &'a Node<'a>>,
    source: Source<'_>,
) -> Vec<Line> {
    let stages: Vec<&Node<'_>> = stages.collect();
    let around = format!("{id}\n{}\n", source.document.unwrap_or_default());
    let mut head = around.clone();
    // Which stages there are belongs to the head; what each says is its own line.
    for stage in &stages {
        let _ = writeln!(head, "{}", kind(stage));
    }
    put(&mut head, joint, true);
    let mut list = vec![line(joint, "head".to_owned(), id, &head, source)];
    for (number, stage) in (1_usize..).zip(stages) {
        let mut own = around.clone();
        put(&mut own, stage, true);
        list.push(line(stage, format!("stage {number}"), id, &own, source));
    }
    list
}

fn kind<'n>(stage: &'n Node<'_>) -> &'n str {
    let Value::Table(entries) = &stage.value else {
        return "";
    };
    let own = entries.iter().find(|(key, _)| key.text == "do");
    match own.map(|(_, node)| &node.value) {
        Some(Value::Text(text)) => text,
        _ => "",
    }
}

fn line(node: &Node<'_>, name: String, id: &str, says: &str, source: Source<'_>) -> Line {
    let sum = format!("{:08x}", crc32(0, says.as_bytes()));
    let checked = checked(node, &name, id, &sum, source);
    Line { name, sum, checked }
}

/// What a value says, whatever way it is spelt: keys in one order, no comments, no blanks.
fn put(out: &mut String, node: &Node<'_>, is_line: bool) {
    // Writing to a text cannot fail.
    let _ = match &node.value {
        Value::Text(text) => write!(out, "{}:{text};", text.len()),
        Value::Whole(number) => write!(out, "i{number};"),
        Value::Decimal(number) => write!(out, "d{number};"),
        Value::Flag(flag) => write!(out, "f{flag};"),
        Value::Date(date) => write!(out, "t{date};"),
        Value::List(list) => {
            out.push('[');
            for item in list {
                put(out, item, false);
            }
            write!(out, "]")
        }
        Value::Table(entries) => {
            let mut entries: Vec<_> = entries
                .iter()
                .filter(|(key, _)| !is_line || !APART.contains(&key.text.as_str()))
                // Stages are lines of their own, also those of a block.
                .filter(|(key, value)| {
                    key.text != "stage" || !matches!(value.value, Value::List(_))
                })
                .collect();
            entries.sort_by(|(a, _), (b, _)| a.text.cmp(&b.text));
            out.push('{');
            for (key, value) in entries {
                let _ = write!(out, "{}={}", key.text.len(), key.text);
                put(out, value, false);
            }
            write!(out, "}}")
        }
    };
}

fn checked(
    node: &Node<'_>,
    name: &str,
    id: &str,
    sum: &str,
    source: Source<'_>,
) -> Option<Checked> {
    let Value::Table(entries) = &node.value else {
        return None;
    };
    let (key, node) = entries.iter().find(|(key, _)| key.text == "checked")?;
    let silent = Choice::default();
    let mut reader = Reader::of_node(
        format!("`checked` of {name} of joint `{id}`"),
        node,
        &silent,
    )?;
    let by = reader.needed_text("by");
    if !reader.has("day") {
        reader.missing("day");
    }
    let day = date(&mut reader, "day");
    let of = reader.needed_text("of");
    reader.finish(|_| None);
    let (by, day, of) = (by?.text, day?, of?.text);
    let holds = of.trim().eq_ignore_ascii_case(sum);
    let is_same = source.entered_by.is_some_and(|names| is_among(&by, names));
    if !holds {
        key.place.warning(
            format!("{name} of joint `{id}` is not what {by} checked on {day}"),
            "this check counts no more",
            "compare it with the document again, or take the check away",
        );
    } else if is_same {
        key.place.warning(
            format!("{name} of joint `{id}` was checked by {by}, who typed it"),
            "this is no second person",
            "one who did not type it compares it with the document",
        );
    }
    Some(Checked {
        by,
        day,
        holds,
        is_same,
    })
}

/// Whether a name is one of several, however they are divided and spaced.
fn is_among(name: &str, names: &str) -> bool {
    let plain = |name: &str| -> String {
        let letters = name.chars().filter(|letter| letter.is_alphanumeric());
        letters.flat_map(char::to_lowercase).collect()
    };
    let wanted = plain(name);
    names
        .split([',', ';', '/', '&', '+'])
        .flat_map(|part| part.split(" and "))
        .any(|own| !wanted.is_empty() && plain(own) == wanted)
}

/// How the lines stand, in words: `all 3 by M. Aster, 2026-11-29`. Empty where none was ever checked.
#[must_use]
pub fn told<'l>(lines: impl Iterator<Item = &'l Line>) -> String {
    let lines: Vec<&Line> = lines.collect();
    let mut groups: Vec<(String, Vec<&str>)> = Vec::new();
    let mut open: Vec<&str> = Vec::new();
    for line in &lines {
        let said = match &line.checked {
            None => {
                open.push(&line.name);
                continue;
            }
            Some(own) if !own.holds => format!("changed since {} checked it, {}", own.by, own.day),
            Some(own) if own.is_same => {
                format!("only by {}, who typed it, {}", own.by, own.day)
            }
            Some(own) => format!("by {}, {}", own.by, own.day),
        };
        match groups.iter_mut().find(|(known, _)| *known == said) {
            Some((_, names)) => names.push(&line.name),
            None => groups.push((said, vec![&line.name])),
        }
    }
    if groups.is_empty() {
        return String::new();
    }
    let is_all = |names: &[&str]| names.len() == lines.len() && names.len() > 1;
    let mut parts: Vec<String> = groups
        .iter()
        .map(|(said, names)| {
            if is_all(names) {
                format!("all {} lines {said}", names.len())
            } else {
                format!("{} {said}", names.join(", "))
            }
        })
        .collect();
    if !open.is_empty() {
        parts.push(format!("not checked: {}", open.join(", ")));
    }
    parts.join("; ")
}

#[cfg(test)]
mod tests {
    use super::{Line, is_among, told};
    use crate::plan::Plan;

    const PLAN: &str = "[build]\ndocument = \"section 6\"\nentered_by = \"R. Quay, T. Hull\"\n\n[[joint]]\nid = \"lid\"\nreuse = \"free\"\npositions = { 1 = [0, 0], 2 = [90, 0] }\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\n\n[[joint.stage]]\ndo = \"turn\"\nangle = \"90°\"\n";

    fn lines(text: &str) -> Vec<Line> {
        let plan = Plan::parse("lid.toml", text).unwrap_or_else(|errors| panic!("{errors}"));
        plan.joints()[0].lines().to_vec()
    }

    /// The plan with a line checked as it stands.
    fn with_check(text: &str, line: usize, behind: &str, by: &str) -> String {
        let sum = &lines(text)[line].sum;
        let key = format!("checked = {{ by = \"{by}\", day = 2026-11-29, of = \"{sum}\" }}\n");
        text.replacen(behind, &format!("{behind}{key}"), 1)
    }

    #[test]
    fn a_line_keeps_its_check_while_it_says_the_same_and_loses_it_with_any_value() {
        let checked = with_check(PLAN, 1, "torque = \"20 N·m\"\n", "M. Aster");
        let checked = with_check(&checked, 0, "id = \"lid\"\n", "M. Aster");
        let plan = Plan::parse("lid.toml", &checked).unwrap();
        assert!(plan.warnings().is_empty());
        let own = plan.joints()[0].lines();
        assert!(own[0].is_checked() && own[1].is_checked() && !own[2].is_checked());
        assert_eq!(
            told(own.iter()),
            "head, stage 1 by M. Aster, 2026-11-29; not checked: stage 2"
        );
        // Another spelling says the same.
        let same = checked
            .replace("do = \"tighten\"\n", "# first\n'do'   = 'tighten'\n")
            .replace("\n[build]", "\n\n[build]");
        assert!(lines(&same)[1].is_checked());
        // Any other value, another document, a stage more.
        for (old, new, lost) in [
            ("20 N·m", "21 N·m", vec![1]),
            ("2 = [90, 0]", "2 = [91, 0]", vec![0]),
            ("section 6", "section 6, revision B", vec![0, 1]),
            (
                "do = \"turn\"\nangle = \"90°\"\n",
                "do = \"fit\"\n",
                vec![0],
            ),
            ("90°", "91°", vec![]),
        ] {
            let changed = checked.replacen(old, new, 1);
            let plan = Plan::parse("lid.toml", &changed).unwrap();
            let own = plan.joints()[0].lines();
            let gone: Vec<usize> = (0..2).filter(|at| !own[*at].is_checked()).collect();
            assert_eq!(gone, lost, "{new}");
            let asked = plan
                .warnings()
                .iter()
                .filter(|one| {
                    one.what()
                        .contains("is not what M. Aster checked on 2026-11-29")
                })
                .count();
            assert_eq!(asked, lost.len(), "{new}");
        }
    }

    #[test]
    fn who_typed_it_is_no_second_person() {
        let checked = with_check(PLAN, 1, "torque = \"20 N·m\"\n", "t hull");
        let plan = Plan::parse("lid.toml", &checked).unwrap();
        let own = &plan.joints()[0].lines()[1];
        assert!(!own.is_checked() && own.checked.as_ref().unwrap().is_same);
        assert!(plan.warnings()[0].what().contains("who typed it"));
        assert!(told([own].into_iter()).contains("only by t hull, who typed it"));
        // The joint was typed by another.
        let other = checked.replacen(
            "id = \"lid\"\n",
            "id = \"lid\"\nentered_by = \"N. Sill\"\n",
            1,
        );
        assert!(lines(&other)[1].is_checked());
        for (name, names, wanted) in [
            ("R. Quay", "r quay", true),
            ("Quay", "R. Quay", false),
            ("T. Hull", "R. Quay and T. Hull", true),
            ("", "", false),
        ] {
            assert_eq!(is_among(name, names), wanted, "{name} in {names}");
        }
    }

    #[test]
    fn a_check_that_says_too_little_is_an_error() {
        for check in [
            "{ by = \"M. Aster\" }",
            "{ day = 2026-11-29, of = \"00000000\" }",
            "{ by = \"M. Aster\", day = \"soon\", of = \"00000000\" }",
            "\"yes\"",
            "{ by = \"M. Aster\", day = 2026-11-29, of = \"00000000\", at = 3 }",
        ] {
            let text = PLAN.replacen("20 N·m\"\n", &format!("20 N·m\"\nchecked = {check}\n"), 1);
            assert!(Plan::parse("lid.toml", &text).is_err(), "{check}");
        }
    }
}
