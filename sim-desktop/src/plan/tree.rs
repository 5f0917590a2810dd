//! The plan as a tree of values with their places in the text, and a reader that misses no key.
//!
//! Knows nothing of what the keys mean.

use std::collections::BTreeMap;
use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::fault::Faults;

/// Bytes of the file.
pub(super) type Place = Range<usize>;

/// A value where it stands.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub(super) place: Place,
    pub(super) value: Value,
}

/// A key where it stands.
#[derive(Clone, Debug)]
pub(super) struct Key {
    pub(super) place: Place,
    pub(super) text: String,
}

/// Keys and values in the order of the file.
pub(super) type Entries = Vec<(Key, Node)>;

#[derive(Clone, Debug)]
pub(super) enum Value {
    Text(String),
    Whole(i64),
    Decimal(String),
    Flag(bool),
    Date(String),
    List(Vec<Node>),
    Table(Entries),
}

impl Value {
    pub(super) const fn word(&self) -> &'static str {
        match self {
            Self::Text(_) => "a text",
            Self::Whole(_) => "a whole number",
            Self::Decimal(_) => "a number",
            Self::Flag(_) => "true or false",
            Self::Date(_) => "a date",
            Self::List(_) => "a list",
            Self::Table(_) => "a table",
        }
    }
}

/// Reads TOML; faults of its grammar are reported, and what could be read is returned.
pub(super) fn parse(text: &str, faults: &mut Faults) -> Entries {
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in errors {
        let place = error.span().unwrap_or(0..0);
        let message = error.message().lines().collect::<Vec<_>>().join("; ");
        faults.error(&place, message, "here", "");
    }
    entries(document.get_ref(), faults)
}

fn entries(table: &DeTable<'_>, faults: &mut Faults) -> Entries {
    let mut list: Entries = table
        .iter()
        .map(|(key, value)| {
            let key = Key {
                place: key.span(),
                text: key.get_ref().to_string(),
            };
            let value = node(value.span(), value.get_ref(), faults);
            (key, value)
        })
        .collect();
    list.sort_by_key(|(key, _)| key.place.start);
    list
}

fn node(place: Place, value: &DeValue<'_>, faults: &mut Faults) -> Node {
    let value = match value {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(number) => match i64::from_str_radix(number.as_str(), number.radix()) {
            Ok(number) => Value::Whole(number),
            Err(_) => {
                faults.error(
                    &place,
                    format!("number {number} is too large"),
                    "here",
                    format!("whole numbers reach to {}", i64::MAX),
                );
                Value::Whole(0)
            }
        },
        DeValue::Float(number) => Value::Decimal(number.as_str().to_owned()),
        DeValue::Boolean(flag) => Value::Flag(*flag),
        DeValue::Datetime(date) => Value::Date(date.to_string()),
        DeValue::Array(list) => Value::List(
            list.iter()
                .map(|item| node(item.span(), item.get_ref(), faults))
                .collect(),
        ),
        DeValue::Table(table) => Value::Table(entries(table, faults)),
    };
    Node { place, value }
}

/// A text as typed, where it stands.
#[derive(Clone, Debug)]
pub(super) struct Typed {
    pub(super) text: String,
    pub(super) place: Place,
}

/// The answers that hold while a joint is read: answer in force, and every answer there is.
#[derive(Clone, Debug, Default)]
pub(super) struct Choice {
    /// Answers whose values count, by the answer a value is written under.
    pub(super) in_force: Vec<String>,
    /// Every answer of every variant of the joint.
    pub(super) known: Vec<String>,
}

/// Takes keys out of a table; what is left at the end is unknown.
pub(super) struct Reader<'a> {
    /// What the table describes, for messages.
    pub(super) of: String,
    /// Where it stands.
    pub(super) place: Place,
    entries: &'a [(Key, Node)],
    asked: Vec<&'static str>,
    choice: &'a Choice,
}

impl<'a> Reader<'a> {
    pub(super) fn new(
        of: impl Into<String>,
        place: &Place,
        entries: &'a [(Key, Node)],
        choice: &'a Choice,
    ) -> Self {
        Self {
            of: of.into(),
            place: place.clone(),
            entries,
            asked: Vec::new(),
            choice,
        }
    }

    /// A reader of a node that must be a table.
    pub(super) fn of_node(
        of: impl Into<String>,
        node: &'a Node,
        choice: &'a Choice,
        faults: &mut Faults,
    ) -> Option<Self> {
        let of = of.into();
        match &node.value {
            Value::Table(entries) => Some(Self::new(of, &node.place, entries, choice)),
            other => {
                faults.error(
                    &node.place,
                    format!("{of} is {}", other.word()),
                    "here",
                    "a table is wanted",
                );
                None
            }
        }
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.entries.iter().any(|(own, _)| own.text == key)
    }

    pub(super) fn key_place(&self, key: &str) -> Place {
        self.entries
            .iter()
            .find(|(own, _)| own.text == key)
            .map_or_else(|| self.place.clone(), |(own, _)| own.place.clone())
    }

    /// The value as it stands, without a look at the answers.
    pub(super) fn raw(&mut self, key: &'static str) -> Option<&'a Node> {
        self.asked.push(key);
        self.entries
            .iter()
            .find(|(own, _)| own.text == key)
            .map(|(_, node)| node)
    }

    /// The value, or the one for the answers in force where it is written by answer.
    pub(super) fn value(&mut self, key: &'static str, faults: &mut Faults) -> Option<&'a Node> {
        let node = self.raw(key)?;
        chosen(
            node,
            self.choice,
            &format!("`{key}` of {}", self.of),
            faults,
        )
    }

    pub(super) fn text(&mut self, key: &'static str, faults: &mut Faults) -> Option<Typed> {
        let node = self.value(key, faults)?;
        text_of(node, &format!("`{key}` of {}", self.of), faults)
    }

    pub(super) fn needed_text(&mut self, key: &'static str, faults: &mut Faults) -> Option<Typed> {
        if !self.has(key) {
            self.asked.push(key);
            self.missing(key, faults);
            return None;
        }
        self.text(key, faults)
    }

    pub(super) fn missing(&self, key: &str, faults: &mut Faults) {
        faults.error(
            &self.place,
            format!("{} has no `{key}`", self.of),
            "it is missing here",
            format!("add `{key} = …`"),
        );
    }

    pub(super) fn flag(&mut self, key: &'static str, faults: &mut Faults) -> Option<bool> {
        let node = self.value(key, faults)?;
        match node.value {
            Value::Flag(flag) => Some(flag),
            ref other => {
                faults.error(
                    &node.place,
                    format!("`{key}` of {} is {}", self.of, other.word()),
                    "here",
                    "write true or false",
                );
                None
            }
        }
    }

    /// A whole number inside a range.
    pub(super) fn whole(
        &mut self,
        key: &'static str,
        allowed: Range<u32>,
        faults: &mut Faults,
    ) -> Option<u32> {
        let node = self.value(key, faults)?;
        let number = match node.value {
            Value::Whole(number) => u32::try_from(number).ok(),
            _ => None,
        };
        match number {
            Some(number) if allowed.contains(&number) => Some(number),
            _ => {
                faults.error(
                    &node.place,
                    format!("`{key}` of {} is not a number it can be", self.of),
                    "here",
                    format!(
                        "a whole number from {} to {}",
                        allowed.start,
                        allowed.end - 1
                    ),
                );
                None
            }
        }
    }

    /// A list of texts; one text stands for a list of one.
    pub(super) fn texts(&mut self, key: &'static str, faults: &mut Faults) -> Vec<Typed> {
        let of = format!("`{key}` of {}", self.of);
        match self.value(key, faults) {
            Some(node) => texts_of(node, &of, faults),
            None => Vec::new(),
        }
    }

    /// The tables of an array of tables.
    pub(super) fn tables(&mut self, key: &'static str, faults: &mut Faults) -> Vec<&'a Node> {
        let Some(node) = self.raw(key) else {
            return Vec::new();
        };
        match &node.value {
            Value::List(list) => list.iter().collect(),
            other => {
                faults.error(
                    &node.place,
                    format!("`{key}` of {} is {}", self.of, other.word()),
                    "here",
                    format!("write it as `[[…{key}]]`, once for each"),
                );
                Vec::new()
            }
        }
    }

    /// The keys asked for, for another reader of the same table.
    pub(super) fn into_asked(self) -> Vec<&'static str> {
        self.asked
    }

    /// Counts keys as asked for that another reader of the same table asked for.
    pub(super) fn also_asked(&mut self, keys: &[&'static str]) {
        self.asked.extend_from_slice(keys);
    }

    /// Reports every key that nobody asked for. `elsewhere` says where a key that exists, but not here, belongs.
    pub(super) fn finish(self, faults: &mut Faults, elsewhere: impl Fn(&str) -> Option<String>) {
        for (key, _) in self.entries {
            if self.asked.contains(&key.text.as_str()) {
                continue;
            }
            let allowed = elsewhere(&key.text).unwrap_or_else(|| {
                match closest(&key.text, self.asked.iter().copied()) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => {
                        let mut all = self.asked.clone();
                        all.sort_unstable();
                        all.dedup();
                        format!("keys here: {}", all.join(", "))
                    }
                }
            });
            faults.error(
                &key.place,
                format!("unknown key `{}` in {}", key.text, self.of),
                "nothing reads this",
                allowed,
            );
        }
    }
}

/// The node itself, or the one written under an answer in force.
pub(super) fn chosen<'a>(
    node: &'a Node,
    choice: &Choice,
    of: &str,
    faults: &mut Faults,
) -> Option<&'a Node> {
    let Value::Table(entries) = &node.value else {
        return Some(node);
    };
    if choice.known.is_empty()
        || !entries
            .iter()
            .any(|(key, _)| choice.known.contains(&key.text))
    {
        return Some(node);
    }
    for (key, _) in entries {
        if !choice.known.contains(&key.text) {
            faults.error(
                &key.place,
                format!("`{}` is no answer of this joint's variants", key.text),
                "here",
                format!("answers: {}", choice.known.join(", ")),
            );
        }
    }
    let found = choice
        .in_force
        .iter()
        .find_map(|answer| entries.iter().find(|(key, _)| key.text == *answer));
    match found {
        Some((_, node)) => Some(node),
        None => {
            faults.error(
                &node.place,
                format!("{of} has no value for the answer {}", {
                    let quoted: Vec<String> = choice
                        .in_force
                        .iter()
                        .map(|answer| format!("`{answer}`"))
                        .collect();
                    quoted.join(" with ")
                }),
                "here",
                "give a value under every answer, or one value for all",
            );
            None
        }
    }
}

/// A node that must be a text.
pub(super) fn text_of(node: &Node, of: &str, faults: &mut Faults) -> Option<Typed> {
    match &node.value {
        Value::Text(text) => {
            if text.trim().is_empty() {
                faults.error(&node.place, format!("{of} is empty"), "here", "");
                return None;
            }
            Some(Typed {
                text: text.clone(),
                place: node.place.clone(),
            })
        }
        Value::Whole(_) | Value::Decimal(_) => {
            faults.error(
                &node.place,
                format!("{of} is a number without a unit or quotes"),
                "here",
                "write it as a text in quotes, a quantity with its unit: \"40 N·m\"",
            );
            None
        }
        other => {
            faults.error(
                &node.place,
                format!("{of} is {}", other.word()),
                "here",
                "a text in quotes is wanted",
            );
            None
        }
    }
}

/// A node that must be a text or a list of texts.
pub(super) fn texts_of(node: &Node, of: &str, faults: &mut Faults) -> Vec<Typed> {
    match &node.value {
        Value::List(list) => list
            .iter()
            .filter_map(|item| label_of(item, of, faults))
            .collect(),
        _ => label_of(node, of, faults).into_iter().collect(),
    }
}

/// A label or name: a text, or a whole number meant as one.
pub(super) fn label_of(node: &Node, of: &str, faults: &mut Faults) -> Option<Typed> {
    match node.value {
        Value::Whole(number) => Some(Typed {
            text: number.to_string(),
            place: node.place.clone(),
        }),
        _ => text_of(node, of, faults),
    }
}

/// The known word closest to a mistyped one, if any is close.
pub(super) fn closest<'w>(word: &str, known: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    let word = word.to_lowercase();
    // Of two letters, any word is one slip away.
    let allowance = (word.chars().count() / 3).min(3);
    let mut best: BTreeMap<usize, &'w str> = BTreeMap::new();
    for candidate in known {
        let distance = strsim::damerau_levenshtein(&word, &candidate.to_lowercase());
        if distance <= allowance {
            best.entry(distance).or_insert(candidate);
        }
    }
    best.into_values().next()
}
