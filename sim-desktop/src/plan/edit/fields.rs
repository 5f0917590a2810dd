//! The fields of a plan: key, what it takes, in which table it stands, for which stages.
//!
//! All of it is read from the schema, so that a key has one description. Knows nothing of what is typed.

use std::sync::LazyLock;

use serde_json::Value;

use super::layout::{Path, Step};
use super::value::Takes;
use crate::plan::{schema, stage};

/// One key of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    /// The key.
    pub key: String,
    /// What it is for, and what is written there.
    pub about: String,
    /// What is typed.
    pub takes: Takes,
    /// A table of this kind needs it.
    pub needed: bool,
    /// It is usually filled in: it comes first.
    pub usual: bool,
    /// The stage kinds that have it; empty for all.
    pub kinds: Vec<&'static str>,
    /// The fields of the table under it.
    pub below: Vec<Field>,
}

/// A kind of table, with its fields in their usual order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Kind {
    /// Its keys.
    pub fields: Vec<Field>,
    /// The lists of tables below it.
    pub lists: Vec<String>,
}

/// What is usually filled in beside what is needed, by the keys that lead to it.
const USUAL: [&str; 30] = [
    "build/title",
    "build/unit",
    "build/document",
    "build/entered_by",
    "build/checked_by",
    "tool/lowest",
    "tool/accuracy",
    "tool/due",
    "part/number",
    "part/quantity",
    "task/title",
    "task/after",
    "task/needs",
    "joint/title",
    "joint/thread",
    "joint/class",
    "joint/condition",
    "joint/circle/number",
    "joint/circle/diameter",
    "joint/positions",
    "joint/order",
    "stage/torque",
    "stage/printed",
    "stage/angle",
    "stage/to",
    "stage/within",
    "stage/at_least",
    "stage/at_most",
    "stage/after",
    "block/one_at_a_time",
];

/// Every kind of table, by the keys that lead to it: `joint/stage`.
static KINDS: LazyLock<Vec<(String, Kind)>> = LazyLock::new(|| {
    let schema = schema::schema();
    let mut kinds = Vec::new();
    gather(&schema, &schema, "", &mut kinds);
    kinds
});

/// A kind of stage, with one sentence about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StageKind {
    /// The word behind `do`.
    pub word: &'static str,
    /// What it means.
    pub about: &'static str,
}

/// The kinds of stages.
pub fn stage_kinds() -> impl Iterator<Item = StageKind> {
    stage::KINDS
        .into_iter()
        .zip(stage::ABOUT)
        .map(|(word, about)| StageKind { word, about })
}

/// What belongs into the table there.
#[must_use]
pub fn kind_of(path: &Path) -> Option<&'static Kind> {
    let keys: Vec<&str> = path
        .0
        .iter()
        .filter_map(|step| match step {
            Step::Key(key) => Some(key.as_str()),
            Step::At(_) => None,
        })
        .collect();
    let name = keys.join("/");
    KINDS
        .iter()
        .find(|(own, _)| *own == name)
        .map(|(_, kind)| kind)
}

impl Kind {
    /// The keys in their usual order.
    #[must_use]
    pub fn order(&self) -> Vec<&str> {
        self.fields.iter().map(|field| field.key.as_str()).collect()
    }

    /// The field of a key.
    #[must_use]
    pub fn field(&self, key: &str) -> Option<&Field> {
        self.fields.iter().find(|field| field.key == key)
    }
}

impl Field {
    /// Whether a stage of this kind has it.
    #[must_use]
    pub fn is_for(&self, kind: &str) -> bool {
        self.kinds.is_empty() || self.kinds.contains(&kind)
    }

    /// Whether a stage of this kind cannot do without it.
    #[must_use]
    pub fn is_needed_by(&self, kind: &str) -> bool {
        self.needed
            || NEEDED
                .iter()
                .any(|(own, key)| *own == kind && *key == self.key)
    }
}

/// What each kind of stage needs, from the schema's conditions.
static NEEDED: LazyLock<Vec<(String, String)>> = LazyLock::new(|| {
    let schema = schema::schema();
    let rules = schema
        .pointer("/$defs/stage/allOf")
        .and_then(Value::as_array);
    let mut needed = Vec::new();
    for rule in rules.into_iter().flatten() {
        let kind = rule
            .pointer("/if/properties/do/const")
            .and_then(Value::as_str);
        let keys = rule.pointer("/then/required").and_then(Value::as_array);
        for key in keys.into_iter().flatten().filter_map(Value::as_str) {
            needed.push((kind.unwrap_or_default().to_owned(), key.to_owned()));
        }
    }
    needed
});

fn resolved<'a>(schema: &'a Value, value: &'a Value) -> &'a Value {
    let reference = value.get("$ref").and_then(Value::as_str);
    reference
        .and_then(|reference| schema.pointer(reference.trim_start_matches('#')))
        .unwrap_or(value)
}

/// The items of a list of tables.
fn tables<'a>(schema: &'a Value, value: &'a Value) -> Option<&'a Value> {
    let value = resolved(schema, value);
    let items = resolved(schema, value.get("items")?);
    (value.get("type")? == "array" && items.get("properties").is_some()).then_some(items)
}

fn gather(schema: &Value, table: &Value, name: &str, kinds: &mut Vec<(String, Kind)>) {
    let mut kind = Kind::default();
    let properties = table.get("properties").and_then(Value::as_object);
    let below = |key: &str| {
        if name.is_empty() {
            key.to_owned()
        } else {
            format!("{name}/{key}")
        }
    };
    for (key, value) in properties.into_iter().flatten() {
        if let Some(items) = tables(schema, value) {
            kind.lists.push(key.clone());
            gather(schema, items, &below(key), kinds);
            continue;
        }
        let field = field(schema, table, key, value, name);
        if field.takes == Takes::Table {
            gather(schema, resolved(schema, value), &below(key), kinds);
        }
        kind.fields.push(field);
    }
    kinds.push((name.to_owned(), kind));
}

fn field(schema: &Value, table: &Value, key: &str, value: &Value, of: &str) -> Field {
    let full = resolved(schema, value);
    let about = value
        .get("description")
        .or_else(|| full.get("description"))
        .and_then(Value::as_str)
        .unwrap_or_default();
    let needed = table
        .get("required")
        .and_then(Value::as_array)
        .is_some_and(|keys| keys.iter().any(|own| own == key));
    let takes = takes(schema, full, key);
    let below = match takes {
        Takes::Table => {
            let properties = full.get("properties").and_then(Value::as_object);
            let properties = properties.into_iter().flatten();
            properties
                .map(|(below, value)| field(schema, full, below, value, &format!("{of}/{key}")))
                .collect()
        }
        _ => Vec::new(),
    };
    let kinds = if of.ends_with("stage") {
        stage::kinds_with(key)
    } else {
        Vec::new()
    };
    let name = format!("{of}/{key}");
    let usual = needed
        && !of.ends_with("circle")
        && !of.ends_with("access")
        && !of.ends_with("checked")
        && !of.ends_with("picture")
        || USUAL
            .iter()
            .any(|own| name == *own || name.ends_with(&format!("/{own}")));
    Field {
        key: key.to_owned(),
        about: about.to_owned(),
        takes,
        needed,
        usual,
        kinds,
        below,
    }
}

fn words(value: &Value) -> Option<Vec<String>> {
    let list = value.get("enum")?.as_array()?;
    Some(
        list.iter()
            .filter_map(Value::as_str)
            .map(str::to_owned)
            .collect(),
    )
}

fn takes(schema: &Value, value: &Value, key: &str) -> Takes {
    if let Some(words) = words(value) {
        return Takes::Words(words);
    }
    if value.get("format").is_some_and(|format| format == "date") {
        return Takes::Day;
    }
    let kinds: Vec<&Value> = match value.get("anyOf").and_then(Value::as_array) {
        Some(any) => any.iter().map(|one| resolved(schema, one)).collect(),
        None => vec![value],
    };
    let has = |kind: &str| {
        kinds
            .iter()
            .any(|one| one.get("type").is_some_and(|own| own == kind))
    };
    let choice = kinds.iter().find_map(|one| words(one));
    let list = has("array")
        || kinds.iter().any(|one| {
            let inner = one.get("anyOf").and_then(Value::as_array);
            inner.is_some_and(|inner| inner.iter().any(|own| own["type"] == "array"))
        });
    match choice {
        Some(words) if list => return Takes::WordsOrLabels(words),
        Some(words) => return Takes::WordsOrMap(words),
        None => {}
    }
    if has("boolean") {
        return if list {
            Takes::FlagOrLabels
        } else {
            Takes::Flag
        };
    }
    if has("integer") {
        return Takes::Whole;
    }
    if has("number") {
        return Takes::Number;
    }
    if list {
        let items = resolved(schema, value).get("items");
        let items = items.map(|items| resolved(schema, items));
        return if items.is_some_and(|items| items["type"] == "array") {
            Takes::Pairs
        } else {
            Takes::Labels
        };
    }
    if has("string") {
        return Takes::Text;
    }
    if value.get("properties").is_some() {
        return Takes::Table;
    }
    match value.get("additionalProperties") {
        Some(below) if resolved(schema, below)["type"] == "array" && key == "positions" => {
            Takes::Places
        }
        Some(Value::Object(_)) => Takes::Map,
        _ => Takes::Text,
    }
}

#[cfg(test)]
mod tests {
    use super::{StageKind, Takes, kind_of, stage_kinds};
    use crate::plan::edit::layout::Path;
    use crate::plan::{Diagnostic, Plan};

    fn path(text: &str) -> Path {
        text.parse().unwrap()
    }

    #[test]
    fn every_field_says_what_it_takes() {
        for (name, kind) in super::KINDS.iter() {
            for field in &kind.fields {
                assert!(!field.about.is_empty(), "{name}: `{}`", field.key);
                for below in &field.below {
                    assert!(!below.about.is_empty(), "{name}: `{}`", below.key);
                }
            }
        }
    }

    #[test]
    fn fields_are_typed_as_the_schema_has_them() {
        let joint = kind_of(&path("joint/0")).unwrap();
        let takes = |key: &str| joint.field(key).unwrap().takes.clone();
        assert_eq!(takes("thread"), Takes::Text);
        assert_eq!(takes("positions"), Takes::Places);
        assert_eq!(takes("circle"), Takes::Table);
        assert_eq!(takes("access"), Takes::Table);
        assert_eq!(takes("shares"), Takes::Map);
        assert_eq!(takes("groups"), Takes::Map);
        assert_eq!(takes("together"), Takes::Pairs);
        assert_eq!(takes("after"), Takes::Labels);
        assert_eq!(takes("second_look"), Takes::FlagOrLabels);
        assert!(matches!(takes("order"), Takes::WordsOrLabels(words) if words.len() >= 3));
        assert!(matches!(takes("reuse"), Takes::WordsOrMap(_)));
        let stage = kind_of(&path("joint/0/stage/1")).unwrap();
        let takes = |key: &str| stage.field(key).unwrap().takes.clone();
        assert_eq!(takes("torque"), Takes::Text);
        assert_eq!(takes("each"), Takes::Map);
        assert_eq!(takes("seconds"), Takes::Whole);
        assert_eq!(takes("turns"), Takes::Number);
        assert_eq!(takes("on"), Takes::Labels);
        assert_eq!(takes("one_sweep"), Takes::Flag);
        let tool = kind_of(&path("tool/0")).unwrap();
        assert_eq!(tool.field("due").unwrap().takes, Takes::Day);
        assert!(kind_of(&path("joint/0/block/0/stage/0")).is_some());
    }

    /// The keys that the reader knows for the table there: it names them all where it meets a key it does not know.
    fn keys_of_the_reader(plan: &str, header: &str) -> Vec<String> {
        let wrong = plan.replacen(header, &format!("{header}\nqqqqqqqqqqqqqqqq = 1"), 1);
        assert_ne!(wrong, plan, "{header}");
        let errors = Plan::parse("keys.toml", &wrong).unwrap_err();
        let unknown = errors
            .list()
            .iter()
            .find(|one| one.what().contains("qqqqqqqqqqqqqqqq"));
        let hint = unknown.and_then(Diagnostic::allowed).unwrap_or_default();
        let keys = hint.strip_prefix("keys here: ");
        let keys = keys.unwrap_or_else(|| panic!("{header}: {hint}"));
        keys.split(", ").map(str::to_owned).collect()
    }

    #[test]
    fn every_key_that_the_reader_knows_is_a_field_and_no_other() {
        let plan = "[build]\n[[tool]]\nid = \"A\"\nkind = \"stream\"\n[tool.lines]\n[[part]]\nname = \"seal\"\n[[task]]\nid = \"drain\"\n[[joint]]\nid = \"flange\"\n[joint.circle]\nnumber = 4\ndiameter = \"90 mm\"\n[joint.access]\n[joint.picture]\nfile = \"a.png\"\n[[joint.variant]]\nask = \"which?\"\nanswers = [\"a\", \"b\"]\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\n[[joint.block]]\n[[joint.block.stage]]\ndo = \"tighten\"\ntorque = \"30 N·m\"\n";
        for (header, at) in [
            ("[build]", "build"),
            ("[[tool]]", "tool/0"),
            ("[tool.lines]", "tool/0/lines"),
            ("[[part]]", "part/0"),
            ("[[task]]", "task/0"),
            ("[[joint]]", "joint/0"),
            ("[joint.circle]", "joint/0/circle"),
            ("[joint.access]", "joint/0/access"),
            ("[joint.picture]", "joint/0/picture"),
            ("[[joint.variant]]", "joint/0/variant/0"),
            ("[[joint.block]]", "joint/0/block/0"),
        ] {
            let kind = kind_of(&path(at)).unwrap();
            let mut own: Vec<&str> = kind.order();
            own.extend(kind.lists.iter().map(String::as_str));
            own.sort_unstable();
            let mut read = keys_of_the_reader(plan, header);
            read.dedup();
            assert_eq!(own, read, "{header}");
        }
        // Of a stage the reader asks for the keys of its kind.
        let stage = kind_of(&path("joint/0/stage/0")).unwrap();
        for StageKind { word: kind, .. } in stage_kinds() {
            let needed = match kind {
                "tighten" | "align" => "torque = \"24..28 N·m\"",
                "turn" | "back-off" => "angle = \"90°\"",
                "hold" => "torque = \"20 N·m\"\nseconds = 30",
                "start-by-hand" => "turns = 3",
                "check" => "ask = \"flush?\"",
                "measure" => "ask = \"gap\"\nlength = \"1..2 mm\"",
                "wait" => "at_least = \"10 min\"",
                "retorque" => "torque = \"20 N·m\"\nafter = \"10 h\"",
                _ => "",
            };
            let header = "[[joint.stage]] # this one";
            let of_kind = format!("{plan}\n{header}\ndo = \"{kind}\"\n{needed}\n");
            let read = keys_of_the_reader(&of_kind, header);
            for key in &read {
                let field = stage.field(key);
                assert!(
                    field.is_some_and(|field| field.is_for(kind)),
                    "{kind}: {key}"
                );
            }
            for field in stage.fields.iter().filter(|field| field.is_for(kind)) {
                assert!(read.contains(&field.key), "{kind}: {}", field.key);
            }
        }
    }

    #[test]
    fn each_kind_of_stage_has_the_keys_that_the_reader_knows_for_it() {
        let stage = kind_of(&path("joint/0/stage/0")).unwrap();
        let keys = |kind: &str| -> Vec<&str> {
            let own = stage.fields.iter().filter(|field| field.is_for(kind));
            own.map(|field| field.key.as_str()).collect()
        };
        assert!(keys("turn").contains(&"one_sweep") && !keys("turn").contains(&"seconds"));
        assert!(keys("fit").contains(&"note") && !keys("fit").contains(&"torque"));
        for StageKind { word: kind, .. } in stage_kinds() {
            for field in &stage.fields {
                if field.is_needed_by(kind) {
                    assert!(field.is_for(kind), "{kind}: {}", field.key);
                }
            }
        }
    }
}
