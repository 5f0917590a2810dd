//! "Your first evening" as it stands in `FIRST-EVENING.md`, worked through: its plan is saved, every command in it is run in order, what
//! is typed is typed, and what the page prints below a command is said by it. Its pictures are compared by `tests/desk/guide.rs`.

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

const GUIDE: &str = include_str!("../FIRST-EVENING.md");

/// The blocks of the page behind a fence with this word.
fn blocks(word: &str) -> Vec<Vec<&'static str>> {
    let (mut list, mut open) = (Vec::new(), None);
    for line in GUIDE.lines() {
        match (line.strip_prefix("```"), &mut open) {
            (Some(kind), None) => open = Some((kind == word, Vec::new())),
            (Some(_), Some((wanted, lines))) => {
                if *wanted {
                    list.push(std::mem::take(lines));
                }
                open = None;
            }
            (None, Some((_, lines))) => lines.push(line),
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "a fence is left open");
    list
}

/// A command of the page: its words, what is typed, what it says.
#[derive(Default)]
struct Told {
    line: &'static str,
    typed: Vec<&'static str>,
    said: Vec<&'static str>,
}

fn told() -> Vec<Told> {
    let mut list: Vec<Told> = Vec::new();
    for block in blocks("console") {
        for line in block {
            if let Some(line) = line.strip_prefix("$ ") {
                list.push(Told {
                    line,
                    ..Told::default()
                });
                continue;
            }
            let last = list.last_mut().expect("a command first");
            match line.strip_prefix("> ") {
                Some(typed) => last.typed.push(typed),
                None => last.said.push(line),
            }
        }
    }
    list
}

/// The words of a command as a shell takes them apart: quotation marks hold words together.
fn words(line: &str) -> Vec<String> {
    let (mut list, mut word, mut quoted) = (Vec::new(), String::new(), false);
    for letter in line.chars() {
        match letter {
            '"' => quoted = !quoted,
            ' ' if !quoted => list.push(std::mem::take(&mut word)),
            letter => word.push(letter),
        }
    }
    list.push(word);
    list.retain(|word| !word.is_empty());
    list
}

/// Runs it with no display and returns everything it said.
fn run(folder: &Path, told: &Told) -> (i32, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_evendraw"))
        .args(&words(told.line)[1..])
        .current_dir(folder)
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("evendraw starts");
    let mut input = child.stdin.take().expect("piped");
    let typed: String = told.typed.iter().map(|line| format!("{line}\n")).collect();
    // It may end before it has read all: then what it says is looked at.
    let _ = input.write_all(typed.as_bytes());
    drop(input);
    let done = child.wait_with_output().expect("it ends");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let said = text(&done.stdout) + &text(&done.stderr);
    (done.status.code().unwrap_or(-1), said)
}

/// The lines stand there in this order, with others between them.
fn assert_says(told: &Told, said: &str) {
    let mut lines = said.lines();
    for wanted in told.said.iter().filter(|line| **line != "…") {
        assert!(
            lines.any(|line| line.trim_end() == *wanted),
            "`{}` does not say `{wanted}` there:\n{said}",
            told.line
        );
    }
}

#[test]
fn every_command_of_the_guide_does_what_the_page_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let plans = blocks("toml");
    let [plan] = plans.as_slice() else {
        panic!("one plan on the page");
    };
    std::fs::write(folder.path().join("winch.toml"), plan.join("\n")).expect("the plan");
    let mut opened = 0;
    for told in &told() {
        assert_eq!(words(told.line)[0], "evendraw", "{}", told.line);
        let (status, said) = run(folder.path(), told);
        if told.line == "evendraw winch.toml" {
            // The desk: opened by its own tests; here there is no display, and it says so.
            opened += 1;
            assert!(status == 2 && said.contains("no display"), "{said}");
            continue;
        }
        assert_eq!(status, 0, "`{}`:\n{said}", told.line);
        assert_says(told, &said);
    }
    assert_eq!(opened, 1);
    for file in ["winch.evj", "winch.html", "owner.html", "stand.html"] {
        assert!(folder.path().join(file).is_file(), "{file}");
    }
}

/// What is only named in a sentence is there too: commands, keys, files, pictures. And it is no book.
#[test]
fn what_the_guide_names_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut pictures = 0;
    for (_, rest) in GUIDE
        .match_indices("](")
        .map(|(at, _)| GUIDE.split_at(at + 2))
    {
        let path = rest.split(')').next().unwrap_or_default();
        assert!(root.join(path).is_file(), "{path}");
        pictures += 1;
    }
    assert!(pictures >= 6, "{pictures}");
    assert!(root.join("../sim-desktop/PLAN.md").is_file());
    for kind in [
        "display",
        "beam",
        "dial",
        "click",
        "angle-gauge",
        "stream",
        "adapter",
        "hand",
    ] {
        let plan = format!("[[tool]]\nid = \"x\"\nkind = \"{kind}\"\n");
        let errors = evendraw::plan::Plan::parse("x.toml", &plan).expect_err("no joint");
        assert!(
            !errors.report(false).contains("kind"),
            "{}",
            errors.report(false)
        );
        assert!(GUIDE.contains(&format!("`{kind}`")), "{kind}");
    }
    // Ten printed pages: some 55 lines each, a picture takes half a page.
    let lines: usize = GUIDE
        .lines()
        .map(|line| 1 + line.chars().count() / 90)
        .sum();
    assert!(
        lines + 27 * pictures < 550,
        "{lines} lines, {pictures} pictures"
    );
}
