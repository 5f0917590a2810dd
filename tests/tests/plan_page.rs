//! The reference page of the plan file, and the schema, against the reader itself.

use std::fs;
use std::path::Path;

use evendraw::plan::{Plan, report, schema::schema};
use serde_json::Value;

fn page() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim-desktop/PLAN.md");
    fs::read_to_string(path).expect("the reference page")
}

#[test]
fn every_example_of_the_reference_page_is_a_plan() {
    let page = page();
    let examples: Vec<&str> = page
        .split("```toml\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .collect();
    assert!(examples.len() >= 4);
    for example in examples {
        let plan = Plan::parse("example.toml", example)
            .unwrap_or_else(|errors| panic!("{}", errors.report(false)));
        assert!(
            plan.warnings().is_empty(),
            "{}",
            report(plan.warnings(), false)
        );
    }
}

#[test]
fn the_page_names_every_key_that_the_schema_knows() {
    let page = page();
    let schema = schema();
    for keys in [
        &schema["properties"]["joint"]["items"]["properties"],
        &schema["properties"]["tool"]["items"]["properties"],
        &schema["properties"]["build"]["properties"],
        &schema["properties"]["part"]["items"]["properties"],
        &schema["properties"]["task"]["items"]["properties"],
        &schema["$defs"]["stage"]["properties"],
    ] {
        for key in keys.as_object().expect("properties").keys() {
            let named = page.contains(&format!("`{key}`"))
                || page.contains(&format!("`{key} ="))
                || page.contains(&format!("joint.{key}]]"))
                || page.contains(&format!("`{key}\n"));
            assert!(named, "PLAN.md does not name `{key}`");
        }
    }
}

/// A TOML document as JSON: what an editor's schema checker sees. Days become texts.
fn json(value: toml::Value) -> Value {
    match value {
        toml::Value::String(text) => Value::from(text),
        toml::Value::Integer(number) => Value::from(number),
        toml::Value::Float(number) => Value::from(number),
        toml::Value::Boolean(flag) => Value::from(flag),
        toml::Value::Datetime(day) => Value::from(day.to_string()),
        toml::Value::Array(list) => list.into_iter().map(json).collect(),
        toml::Value::Table(table) => table
            .into_iter()
            .map(|(key, value)| (key, json(value)))
            .collect(),
    }
}

fn complaints(text: &str) -> Vec<String> {
    let validator = jsonschema::validator_for(&schema()).expect("a sound schema");
    let document = json(toml::from_str(text).expect("TOML"));
    validator
        .iter_errors(&document)
        .map(|error| format!("{}: {error}", error.instance_path))
        .collect()
}

#[test]
fn the_demo_and_every_pattern_conform_to_the_schema() {
    assert_eq!(complaints(evendraw::plan::DEMO), Vec::<String>::new());
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/patterns");
    for entry in fs::read_dir(folder).expect("the patterns") {
        let path = entry.expect("an entry").path();
        let text = fs::read_to_string(&path).expect("a pattern");
        assert_eq!(
            complaints(&text),
            Vec::<String>::new(),
            "{}",
            path.display()
        );
    }
}

#[test]
fn the_schema_refuses_what_the_reader_refuses_by_shape() {
    for (from, to) in [
        ("[build]", "[bild]"),
        ("kind       = \"adapter\"", "kind = \"clicker\""),
        ("do     = \"tighten\"", "do = \"tigthen\""),
        ("redo      = \"joint\"", "redo = \"everything\""),
        ("turns = 3", "turns = -3"),
        ("on_over = \"replace\"", "on_over = \"back off a little\""),
    ] {
        let broken = evendraw::plan::DEMO.replacen(from, to, 1);
        assert_ne!(broken, evendraw::plan::DEMO, "{from} is in the demo");
        assert!(!complaints(&broken).is_empty(), "{to}");
        assert!(Plan::parse("broken.toml", &broken).is_err(), "{to}");
    }
}
