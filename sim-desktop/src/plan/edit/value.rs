//! What a field shows of a value, and the value that is written for what is typed.
//!
//! Texts are typed without quotes, lists with commas, values by fastener or answer as `3 = 27 N·m; outer = 20 N·m`. What begins with
//! a bracket or brace and is TOML is taken as it is. Knows nothing of which keys there are.

use std::fmt::Write as _;

use super::item::{key, quoted};

/// What a field takes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Takes {
    /// A text.
    Text,
    /// A whole number.
    Whole,
    /// A number, or a text.
    Number,
    /// Yes or no.
    Flag,
    /// A day.
    Day,
    /// One of these words.
    Words(Vec<String>),
    /// Labels, names, ids.
    Labels,
    /// One of these words, or labels.
    WordsOrLabels(Vec<String>),
    /// Yes, or labels.
    FlagOrLabels,
    /// Pairs of labels: `1+1b, 2+2b`.
    Pairs,
    /// Values by name.
    Map,
    /// One of these words, or values by name.
    WordsOrMap(Vec<String>),
    /// A place for each label: `1 = 0, 0; 2 = 90, 0`.
    Places,
    /// A table with fields of its own.
    Table,
}

/// A text of TOML without its quotes; none for anything else.
#[must_use]
pub fn decoded(toml: &str) -> Option<String> {
    match read(toml)? {
        toml::Value::String(text) => Some(text),
        _ => None,
    }
}

fn read(toml: &str) -> Option<toml::Value> {
    let table: toml::Table = format!("x = {toml}\n").parse().ok()?;
    if table.len() != 1 {
        return None;
    }
    table.get("x").cloned()
}

/// What a field shows of a value.
#[must_use]
pub fn shown(toml: &str, takes: &Takes) -> String {
    let raw = || toml.trim().to_owned();
    let Some(value) = read(toml) else {
        return raw();
    };
    let words = match (&value, takes) {
        (toml::Value::String(text), _) => Some(text.clone()),
        (toml::Value::Boolean(flag), _) => Some(if *flag { "yes" } else { "no" }.to_owned()),
        (toml::Value::Array(list), Takes::Pairs) => pairs_shown(list),
        (toml::Value::Array(list), _) => list_shown(list),
        (toml::Value::Table(_), Takes::Places) => places_shown(toml),
        (toml::Value::Table(_), _) => map_shown(toml),
        _ => None,
    };
    // What could not be typed back to the same value is shown as it is written.
    match words {
        Some(words) if read(&written(&words, takes)) == Some(value) => words,
        _ => raw(),
    }
}

/// A label or name without its quotes.
fn label(value: &toml::Value) -> Option<String> {
    match value {
        toml::Value::String(text) => Some(text.clone()),
        toml::Value::Integer(number) => Some(number.to_string()),
        _ => None,
    }
}

fn list_shown(list: &[toml::Value]) -> Option<String> {
    let labels: Option<Vec<String>> = list.iter().map(label).collect();
    Some(labels?.join(", "))
}

fn pairs_shown(list: &[toml::Value]) -> Option<String> {
    let pairs: Option<Vec<String>> = list
        .iter()
        .map(|pair| {
            let labels: Option<Vec<String>> = pair.as_array()?.iter().map(label).collect();
            Some(labels?.join("+"))
        })
        .collect();
    Some(pairs?.join(", "))
}

/// The keys of a table in braces in the order of the text, each with its value.
fn entries(toml: &str) -> Option<Vec<(String, toml::Value)>> {
    let text = format!("x = {toml}\n");
    let layout = super::layout::Layout::of(&text)?;
    let table = layout.root.get("x")?.node.table()?;
    table
        .entries
        .iter()
        .map(|entry| Some((entry.key.clone(), read(text.get(entry.node.place())?)?)))
        .collect()
}

fn map_shown(toml: &str) -> Option<String> {
    let parts: Option<Vec<String>> = entries(toml)?
        .into_iter()
        .map(|(name, value)| {
            let value = match &value {
                toml::Value::Array(list) => list_shown(list)?,
                value => label(value)?,
            };
            Some(format!("{name} = {value}"))
        })
        .collect();
    Some(parts?.join("; "))
}

fn places_shown(toml: &str) -> Option<String> {
    let parts: Option<Vec<String>> = entries(toml)?
        .into_iter()
        .map(|(name, value)| {
            let both: Option<Vec<String>> = value
                .as_array()?
                .iter()
                .map(|one| match one {
                    toml::Value::Float(number) => Some(number.to_string()),
                    other => label(other),
                })
                .collect();
            Some(format!("{name} = {}", both?.join(", ")))
        })
        .collect();
    Some(parts?.join("; "))
}

/// The value that is written for what was typed, as TOML. Nothing typed is no value: its key is taken away.
#[must_use]
pub fn written(typed: &str, takes: &Takes) -> String {
    let typed = typed.trim();
    if (typed.starts_with('{') || typed.starts_with('[')) && read(typed).is_some() {
        return typed.to_owned();
    }
    match takes {
        Takes::Whole if typed.parse::<i64>().is_ok() => typed.to_owned(),
        Takes::Number if is_number(typed) => typed.to_owned(),
        Takes::Flag => flag(typed).map_or_else(|| quoted(typed), str::to_owned),
        Takes::Day if matches!(read(typed), Some(toml::Value::Datetime(_))) => typed.to_owned(),
        Takes::Labels => labels(typed),
        Takes::WordsOrLabels(words) if words.iter().any(|word| word == typed) => quoted(typed),
        Takes::WordsOrLabels(_) => labels(typed),
        Takes::FlagOrLabels => flag(typed).map_or_else(|| labels(typed), str::to_owned),
        Takes::Pairs => pairs(typed),
        Takes::Places => places(typed).unwrap_or_else(|| quoted(typed)),
        Takes::Map | Takes::Table => map(typed).unwrap_or_else(|| quoted(typed)),
        Takes::Text | Takes::WordsOrMap(_) => map(typed).unwrap_or_else(|| quoted(typed)),
        Takes::Whole | Takes::Number | Takes::Day | Takes::Words(_) => quoted(typed),
    }
}

fn is_number(typed: &str) -> bool {
    matches!(
        read(typed),
        Some(toml::Value::Integer(_) | toml::Value::Float(_))
    )
}

fn flag(typed: &str) -> Option<&'static str> {
    match typed {
        "yes" | "true" => Some("true"),
        "no" | "false" => Some("false"),
        _ => None,
    }
}

/// One label is a text, several are a list.
fn labels(typed: &str) -> String {
    if !typed.contains(',') {
        return quoted(typed);
    }
    let list: Vec<String> = typed
        .split(',')
        .map(str::trim)
        .filter(|label| !label.is_empty())
        .map(quoted)
        .collect();
    format!("[{}]", list.join(", "))
}

fn pairs(typed: &str) -> String {
    let list: Vec<String> = typed
        .split(',')
        .map(str::trim)
        .filter(|pair| !pair.is_empty())
        .map(|pair| {
            let both: Vec<String> = pair.split('+').map(str::trim).map(quoted).collect();
            format!("[{}]", both.join(", "))
        })
        .collect();
    format!("[{}]", list.join(", "))
}

/// Parts divided by semicolons, each a name and what stands behind its `=`.
fn named(typed: &str) -> Option<Vec<(&str, &str)>> {
    let parts: Vec<&str> = typed
        .split(';')
        .map(str::trim)
        .filter(|part| !part.is_empty())
        .collect();
    if parts.is_empty() {
        return None;
    }
    parts
        .into_iter()
        .map(|part| {
            let (name, value) = part.split_once(" = ").or_else(|| part.split_once('='))?;
            let (name, value) = (name.trim(), value.trim());
            (!name.is_empty() && !value.is_empty()).then_some((name, value))
        })
        .collect()
}

fn map(typed: &str) -> Option<String> {
    let parts: Vec<String> = named(typed)?
        .into_iter()
        .map(|(name, value)| {
            let value = if value.parse::<i64>().is_ok() {
                value.to_owned()
            } else if value.contains(", ") {
                labels(value)
            } else {
                quoted(value)
            };
            format!("{} = {value}", key(name))
        })
        .collect();
    Some(format!("{{ {} }}", parts.join(", ")))
}

fn places(typed: &str) -> Option<String> {
    let mut out = String::from("{ ");
    for (index, (name, value)) in named(typed)?.into_iter().enumerate() {
        // Two numbers may stand beside each other without a comma; lengths with their unit may not.
        let divided = if value.contains(',') {
            value.split(',').map(str::trim).collect::<Vec<_>>()
        } else {
            value.split_whitespace().collect()
        };
        let both: Vec<String> = divided
            .into_iter()
            .filter(|part| !part.is_empty())
            .map(|part| {
                if is_number(part) {
                    part.to_owned()
                } else {
                    quoted(part)
                }
            })
            .collect();
        let comma = if index > 0 { ", " } else { "" };
        let _ = write!(out, "{comma}{} = [{}]", key(name), both.join(", "));
    }
    out.push_str(" }");
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::{Takes, shown, written};

    /// Typed, and written: the other way it is the same again.
    #[test]
    fn what_is_typed_is_written_and_shown_again() {
        let order = Takes::WordsOrLabels(vec!["cross".to_owned()]);
        for (takes, typed, toml) in [
            (Takes::Text, "33.2 lbf·ft", "\"33.2 lbf·ft\""),
            (
                Takes::Text,
                "older = 34 N·m; newer = 39 N·m",
                "{ older = \"34 N·m\", newer = \"39 N·m\" }",
            ),
            (Takes::Whole, "30", "30"),
            (Takes::Whole, "thirty", "\"thirty\""),
            (Takes::Number, "2.5", "2.5"),
            (Takes::Flag, "yes", "true"),
            (Takes::Day, "2027-05-04", "2027-05-04"),
            (Takes::Labels, "3, 8", "[\"3\", \"8\"]"),
            (Takes::Labels, "inner", "\"inner\""),
            (order.clone(), "cross", "\"cross\""),
            (order, "3, 8, 1", "[\"3\", \"8\", \"1\"]"),
            (Takes::FlagOrLabels, "yes", "true"),
            (Takes::FlagOrLabels, "3, 4", "[\"3\", \"4\"]"),
            (
                Takes::Pairs,
                "1+1b, 2+2b",
                "[[\"1\", \"1b\"], [\"2\", \"2b\"]]",
            ),
            (
                Takes::Map,
                "3 = 27 N·m; outer = 20 N·m",
                "{ 3 = \"27 N·m\", outer = \"20 N·m\" }",
            ),
            (Takes::Map, "inner = 2, 3", "{ inner = [\"2\", \"3\"] }"),
            (
                Takes::WordsOrMap(Vec::new()),
                "cycles = 5",
                "{ cycles = 5 }",
            ),
            (
                Takes::Places,
                "1 = 0, 0; 2b = 90.5, 3 in",
                "{ 1 = [0, 0], 2b = [90.5, \"3 in\"] }",
            ),
        ] {
            assert_eq!(written(typed, &takes), toml, "{typed}");
            assert_eq!(shown(toml, &takes), typed, "{toml}");
        }
        assert_eq!(written("A = 3 -4.5", &Takes::Places), "{ A = [3, -4.5] }");
    }

    #[test]
    fn what_could_not_be_typed_back_is_shown_as_it_is_written() {
        for toml in [
            "{ a = \"1 N·m; really\" }",
            "[\"a, b\", \"c\"]",
            "{ a = { b = 1 } }",
            "1979-05-27T07:32:00Z",
        ] {
            assert_eq!(shown(toml, &Takes::Labels), toml);
            assert_eq!(shown(toml, &Takes::Map), toml);
        }
    }
}
