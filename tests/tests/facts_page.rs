//! `sim-desktop/FACTS.md`, what the desktop keeps in a journal, against the code; and golden bytes of every fact.
//!
//! Golden lines are added for a new fact, never edited: `EVENDRAW_GOLDEN=add cargo test -p evendraw-tests --test facts_page`.

use std::fs;
use std::path::PathBuf;

use evendraw::store::{Became, HostFact, PartState};
use evendraw_tests::emulator::workspace;

mod by_the_page;

fn words(text: &str) -> String {
    text.to_owned()
}

/// One of every fact, in the order of their numbers.
fn one_of_each() -> Vec<HostFact> {
    let unix = 1_764_000_000;
    let by = words("R. Falk");
    vec![
        HostFact::Opened {
            rehearsal: true,
            plan_name: words("pump.toml"),
            plan_bytes: 1_234,
        },
        HostFact::Plan {
            text: words("[build]\nname = \"Harbour pump\"\n"),
        },
        HostFact::Variant {
            joint: 2,
            question: words("Gasket?"),
            answer: words("fibre"),
        },
        HostFact::PartArrived {
            part: words("cover gasket"),
        },
        HostFact::Geometry {
            joint: 2,
            lever_um: 350_000,
            offset_um: 60_000,
            angle_mdeg: 90_000,
        },
        HostFact::Handover {
            text: words("second ring is next · ½ done"),
        },
        HostFact::Clamp {
            joint: 2,
            fastener: 7,
            stage: 1,
            newtons: 23_400,
        },
        HostFact::PlanChanged {
            plan_name: words("pump-b.toml"),
            plan_bytes: 200,
        },
        HostFact::PartMissing {
            part: words("cover gasket"),
        },
        HostFact::AtAdapter {
            joint: 2,
            serial: words("4411"),
        },
        HostFact::TaskDone {
            task: words("drain"),
            by: by.clone(),
            unix,
            said: words("dry"),
        },
        HostFact::TaskUndone {
            task: words("drain"),
            by: by.clone(),
            unix: -1,
            said: words("water came back"),
        },
        HostFact::PartIs {
            part: words("cover gasket"),
            state: PartState::Ordered,
            by: by.clone(),
            unix,
            said: words("from the quay store"),
        },
        HostFact::Reminder {
            number: 3,
            about: words("cover"),
            text: words("ask about the stud"),
            holds: words("filling"),
            by: by.clone(),
            unix: 0,
        },
        HostFact::ReminderClosed {
            number: 3,
            became: Became::Task,
            said: words("Change the stud"),
            by,
            unix,
        },
        HostFact::FromPaper {
            joint: 2,
            date: words("2026-02-20"),
            row: words("3|1|display|48.2|||D1||R. Falk|2026-02-20"),
        },
    ]
}

fn page_path() -> PathBuf {
    workspace().join("sim-desktop/FACTS.md")
}

fn page() -> String {
    fs::read_to_string(page_path()).expect("sim-desktop/FACTS.md")
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect()
}

fn bytes_of(hex: &str) -> Vec<u8> {
    let digits: Vec<u8> = hex
        .bytes()
        .filter(|byte| !byte.is_ascii_whitespace())
        .collect();
    let byte = |pair: &[u8]| {
        u8::from_str_radix(std::str::from_utf8(pair).expect("digits"), 16).expect("a byte")
    };
    digits.chunks(2).map(byte).collect()
}

/// What the page's tables find in a payload.
fn by_page(payload: &[u8]) -> Result<Vec<by_the_page::Met>, String> {
    let forms = by_the_page::forms(&page(), 512);
    let mut reader = by_the_page::Reader {
        bytes: payload,
        at: 0,
        met: Vec::new(),
        forms: &forms,
    };
    reader.read("", "fact")?;
    if reader.at != payload.len() {
        return Err(format!("something is left at byte {}", reader.at));
    }
    Ok(reader.met)
}

/// The fields of a fact as the code knows them: numbers as they are, yes and no as 1 and 0, a choice by its place.
fn fields(fact: &HostFact) -> Vec<String> {
    fn put(value: &serde_json::Value, into: &mut Vec<String>) {
        match value {
            serde_json::Value::Bool(flag) => into.push(u8::from(*flag).to_string()),
            serde_json::Value::String(text) => into.push(text.clone()),
            other => into.push(other.to_string()),
        }
    }
    let value = serde_json::to_value(fact).expect("JSON");
    let (_, fields) = value
        .as_object()
        .and_then(|fact| fact.iter().next())
        .expect("a fact with fields");
    let mut all = Vec::new();
    fields
        .as_object()
        .expect("fields")
        .values()
        .for_each(|value| put(value, &mut all));
    all.sort();
    all
}

#[test]
fn golden_bytes_of_every_fact_stay_and_the_page_reads_them() {
    let path = workspace().join("tests/data/golden/facts.txt");
    let mut text = fs::read_to_string(&path).unwrap_or_default();
    let golden: Vec<Vec<u8>> = text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(bytes_of)
        .collect();
    for (number, fact) in one_of_each().into_iter().enumerate() {
        let bytes = postcard::to_stdvec(&fact).expect("bytes");
        match golden.get(number) {
            Some(line) => {
                assert_eq!(hex(line), hex(&bytes), "fact {number}");
                assert_eq!(postcard::from_bytes::<HostFact>(line).as_ref(), Ok(&fact));
            }
            None if std::env::var("EVENDRAW_GOLDEN").is_ok_and(|value| value == "add") => {
                text.push_str(&format!("{}\n", hex(&bytes)));
            }
            None => panic!("fact {number} has no golden line; EVENDRAW_GOLDEN=add adds it"),
        }
        let found = by_page(&bytes).unwrap_or_else(|problem| panic!("fact {number}: {problem}"));
        let found: Vec<String> = found.into_iter().map(|met| met.value).collect();
        assert_eq!(found.first(), Some(&number.to_string()));
        // The order is the golden line's; here that nothing is missing, and that every value is what was said.
        let mut values: Vec<String> = found.into_iter().skip(1).collect();
        values.sort();
        let mut known = fields(&fact);
        for word in &mut known {
            let state = PartState::ALL
                .iter()
                .position(|state| format!("{state:?}") == *word);
            let became = [Became::Ticked, Became::Part, Became::Task]
                .iter()
                .position(|became| format!("{became:?}") == *word);
            if let Some(place) = state.or(became) {
                *word = place.to_string();
            }
        }
        known.sort();
        assert_eq!(values, known, "fact {number}");
        for end in 0..bytes.len() {
            assert!(
                by_page(&bytes[..end]).is_err(),
                "fact {number} cut at {end}"
            );
        }
    }
    if text.lines().count() > golden.len() + 1 {
        fs::write(&path, text).expect("written");
    }
}

#[test]
fn the_page_lists_what_there_is_and_its_example_is_one() {
    let forms = by_the_page::forms(&page(), 512);
    let count = u8::try_from(one_of_each().len()).expect("few");
    let listed: Vec<u8> = forms.choices["fact"].keys().copied().collect();
    assert_eq!(listed, (0..count).collect::<Vec<u8>>());
    // A number beyond the page's is no fact of this version: whoever adds one adds it here.
    assert!(postcard::from_bytes::<HostFact>(&[count, 0, 0, 0, 0, 0, 0, 0, 0]).is_err());
    let words: Vec<&str> = forms.choices["state"]
        .values()
        .map(|(word, _)| word.as_str())
        .collect();
    assert_eq!(words, PartState::ALL.map(PartState::word));
}

#[test]
fn the_worked_example_is_a_fact() {
    let first = one_of_each().into_iter().next().expect("one");
    let bytes = postcard::to_stdvec(&first).expect("bytes");
    let wanted = by_the_page::listing(&bytes, &by_page(&bytes).expect("its own"));
    let text = page();
    let (shown, anew) = by_the_page::example(&text, &wanted);
    if std::env::var_os("EVENDRAW_REWRITE").is_some() {
        fs::write(page_path(), anew).expect("written");
        return;
    }
    assert_eq!(shown, wanted, "EVENDRAW_REWRITE=1 writes it anew");
    assert_eq!(postcard::from_bytes(&by_the_page::listed(shown)), Ok(first));
}
