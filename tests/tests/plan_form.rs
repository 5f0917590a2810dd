//! A plan's text in its one form: whatever white space it had, it means what it meant, and no word or comment is lost.
//!
//! Meaning is compared by the TOML reader, which knows nothing of the form.

use std::fs;
use std::path::PathBuf;
use std::sync::LazyLock;

use evendraw::plan::edit::Document;
use evendraw::plan::edit::form::in_form;
use evendraw::plan::edit::layout::Layout;
use evendraw_tests::binary::run;
use proptest::prelude::*;

/// Every plan of the fixtures that is TOML, the bad ones too.
static PLANS: LazyLock<Vec<(String, String)>> = LazyLock::new(|| {
    let fixtures = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures"));
    let demo = "../../sim-desktop/src/plan/demo.toml";
    let mut files = vec![fixtures.join(demo)];
    for folder in ["patterns", "bad_plans", "doubtful_plans", "metal"] {
        let entries = fs::read_dir(fixtures.join(folder)).unwrap();
        files.extend(entries.map(|entry| entry.unwrap().path()));
    }
    files.retain(|path| path.extension().is_some_and(|own| own == "toml"));
    files.sort();
    let read = |path: PathBuf| {
        let text = fs::read_to_string(&path).ok()?;
        Layout::of(&text).map(|_| (path.display().to_string(), text))
    };
    files.into_iter().filter_map(read).collect()
});

fn meaning(text: &str) -> Option<toml::Table> {
    text.parse().ok()
}

fn without_space(text: &str) -> String {
    text.split_whitespace().collect()
}

fn assert_same(name: &str, text: &str) {
    let Ok(formed) = in_form(text) else {
        panic!("{name}: no form\n{text}");
    };
    assert_eq!(
        meaning(&formed),
        meaning(text),
        "{name}\n{text}\n---\n{formed}"
    );
    assert_eq!(without_space(&formed), without_space(text), "{name}");
    assert_eq!(in_form(&formed).as_deref(), Ok(formed.as_str()), "{name}");
    assert!(!formed.contains("\n\n\n"), "{name}\n{formed}");
    assert!(formed.is_empty() || formed.ends_with('\n'), "{name}");
}

/// Who looks at the demo to learn how a plan is written sees the form.
#[test]
fn the_demo_is_in_form() {
    let demo = evendraw::plan::DEMO;
    assert_eq!(in_form(demo).as_deref(), Ok(demo));
}

#[test]
fn every_plan_of_the_fixtures_means_the_same_in_form() {
    assert!(PLANS.len() > 50, "{}", PLANS.len());
    for (name, text) in PLANS.iter() {
        assert_same(name, text);
    }
}

#[test]
fn the_beginnings_are_in_form() {
    let own = PLANS
        .iter()
        .filter(|(name, _)| name.contains("fixtures/patterns/"));
    for (name, text) in own {
        assert_eq!(in_form(text).as_ref(), Ok(text), "{name}");
    }
}

#[test]
fn a_text_that_is_no_toml_has_no_form() {
    for text in [
        "[[joint\n",
        "id = \n",
        "a = 1\na = 2\n",
        "a = \"x\n",
        "a = 0x\n",
        "a = [{ b = 1_0;\u{1} }]\n",
    ] {
        assert!(in_form(text).is_err(), "{text}");
        let mut document = Document::new(text);
        assert!(document.put_in_form().is_err());
        assert_eq!(document.text(), text);
    }
}

#[test]
fn the_form_is_as_it_is_said() {
    let text = "\r\n\n  [build]\r\n\r\n\ttitle=\"Winch\"   # on its plate\n  note  = '''\n   two\r\n  lines  '''  \n[[ tool ]]\nid= \"A\"\n\n\n\n# the lid\n[[joint]]# first\nid='lid'\npositions={1=[0,0],2=[ 90 ,0 ],}\nafter=[\n\"a\", # one\n\n\n  \"b\"\n ]\nx . y = 1\nday = 2026-05-04 07:30:00\n\n\n";
    let formed = "[build]\r\ntitle = \"Winch\"  # on its plate\r\nnote  = '''\n   two\r\n  lines  '''\r\n\r\n[[tool]]\r\nid = \"A\"\r\n\r\n# the lid\r\n[[joint]]  # first\r\nid = 'lid'\r\npositions = { 1 = [0, 0], 2 = [90, 0], }\r\nafter = [\r\n    \"a\",  # one\r\n\r\n    \"b\"\r\n]\r\nx.y = 1\r\nday = 2026-05-04 07:30:00\r\n";
    assert_eq!(in_form(text).unwrap(), formed);
    let aligned = "a   = 1 # x\nbcd = 2 # y\nef  = [1] # zz\n";
    let formed = "a   = 1    # x\nbcd = 2    # y\nef  = [1]  # zz\n";
    assert_eq!(
        in_form("a   = 1   # x\nbcd =2    # y\nef  = [1] # zz\n").unwrap(),
        formed
    );
    assert_eq!(
        in_form(aligned).unwrap(),
        "a   = 1  # x\nbcd = 2  # y\nef  = [1]  # zz\n"
    );
}

/// White space put into a text where it means nothing, by numbers.
fn spread(text: &str, noise: &[(usize, u8)]) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    for &(at, what) in noise {
        let at = at % lines.len().max(1);
        let Some(line) = lines.get_mut(at) else {
            continue;
        };
        match what % 6 {
            0 => line.insert_str(0, "   "),
            1 => line.push_str(" \t"),
            2 => *line = line.replacen('=', "\t=   ", 1),
            3 => *line = line.replacen(", ", " ,", 1),
            4 => line.push_str("# seen"),
            _ => lines.insert(at, String::new()),
        }
    }
    lines.join(if noise.len().is_multiple_of(2) {
        "\n"
    } else {
        "\r\n"
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    /// Whatever is put between the words, the form means the same; where it was only indents and ends of lines, it is the same form.
    #[test]
    fn white_space_never_means_anything(
        plan in any::<prop::sample::Index>(),
        noise in prop::collection::vec((any::<usize>(), any::<u8>()), 0..30),
    ) {
        let (name, text) = plan.get(&PLANS);
        let other = spread(text, &noise);
        // What falls into a text in quotes may have broken it.
        if Layout::of(&other).is_some() {
            assert_same(name, &other);
        }
        let small: Vec<(usize, u8)> = noise.iter().map(|(at, what)| (*at, what % 2)).collect();
        let other = spread(text, &small).replace("\r\n", "\n");
        if meaning(&other) == meaning(text) {
            prop_assert_eq!(in_form(&other), in_form(text), "{}", name);
        }
    }

    /// Also a text of nothing but the signs of TOML.
    #[test]
    fn any_toml_means_the_same(text in "([a-c]{1,2}[ .]{0,2}= {0,3}(\\[{0,2}[0-9]{0,2}, ?\\]{0,2}|\\{ ?[a-b]=1 ?\\}|\"[ #=]{0,3}\"|'''\n  x\n''')[ ]{0,2}(#[ a]{0,3})?\n{1,3}|\\[{1,2}[d-z]{1,3}\\]{1,2} {0,2}\n){0,8}") {
        if Layout::of(&text).is_some() {
            assert_same("text", &text);
        }
    }
}

#[test]
fn plans_are_brought_into_form_from_the_command_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("winch.toml");
    let rough = "[build]\n\ntitle=\"Winch\"\n[[joint]]\nid = \"lid\"\npositions={a=[0,0]}\n[[joint.stage]]\ndo=\"tighten\"\ntorque=\"9 lb\"  # as printed\n";
    fs::write(&path, rough).unwrap();
    let said = |line: &[&str]| {
        let output = run(folder.path(), line);
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        (output.status.code(), text)
    };
    let (status, told) = said(&["plan", "fmt", "winch.toml", "--check"]);
    assert_eq!(status, Some(1), "{told}");
    assert!(
        told.contains("not in form, the first time in line 2"),
        "{told}"
    );
    assert_eq!(fs::read_to_string(&path).unwrap(), rough);
    let (status, told) = said(&["plan", "fmt", "winch.toml"]);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("it has 1 fault, as before"), "{told}");
    let formed = fs::read_to_string(&path).unwrap();
    assert_eq!(meaning(&formed), meaning(rough));
    let (status, told) = said(&["plan", "fmt", "winch.toml", "--check", "--json"]);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("\"in_form\":true"), "{told}");
    // One that is no TOML: nothing is written, also not of the others.
    fs::write(&path, rough).unwrap();
    fs::write(folder.path().join("broken.toml"), "[[joint\n").unwrap();
    let (status, _) = said(&["plan", "fmt", "winch.toml", "broken.toml"]);
    assert_eq!(status, Some(2));
    assert_eq!(fs::read_to_string(&path).unwrap(), rough);
}
