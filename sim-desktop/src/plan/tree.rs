//! The plan as a tree of values with their places in the text, and a reader that misses no key.
//!
//! A place knows where to say what is wrong with it, so whoever holds a value can. Knows nothing of what the keys mean.
//!
//! # Why a tree of our own
//!
//! Errors need the place of every key, all of them in one run, and "did you mean". *Choice:* the `toml` crate's
//! spanned tree, copied into one of our own in the order of the file (`plan/tree.rs`), and a reader that knows which
//! keys were asked for. Stages and blocks may stand mixed, so the order of the file is what counts. *Alternative:*
//! serde with `Spanned`; it stops at the first error and cannot say which table a key belongs in. *Would change our
//! mind:* nothing so far.

use std::ops::{Range, RangeInclusive};

use toml::de::{DeInteger, DeTable, DeValue};

use super::diagnostic::Diagnostics;
use crate::limits::{ENTRIES_MAX, KEY_BYTES_MAX, TEXT_BYTES_MAX, counted};

/// Bytes of the file, and who is told what is wrong with them.
#[derive(Clone)]
pub(super) struct Place<'d> {
    bytes: Range<usize>,
    pub(super) to: &'d Diagnostics,
}

impl<'d> Place<'d> {
    pub(super) const fn new(bytes: Range<usize>, to: &'d Diagnostics) -> Self {
        Self { bytes, to }
    }

    /// The bytes alone, to be kept when the plan has been read.
    pub(super) fn bytes(&self) -> Range<usize> {
        self.bytes.clone()
    }

    /// Refuses what stands here: what was found, lower case; the word under it; what is allowed instead.
    pub(super) fn error(
        &self,
        what: impl Into<String>,
        here: impl Into<String>,
        allowed: impl Into<String>,
    ) {
        self.to.error(&self.bytes, what, here, allowed);
    }

    /// Whether something here was refused already.
    fn has_error(&self) -> bool {
        self.to.has_error_in(&self.bytes)
    }

    /// Asks about what stands here.
    pub(super) fn warning(
        &self,
        what: impl Into<String>,
        here: impl Into<String>,
        allowed: impl Into<String>,
    ) {
        self.to.warning(&self.bytes, what, here, allowed);
    }
}

/// A value where it stands.
#[derive(Clone)]
pub(super) struct Node<'d> {
    pub(super) place: Place<'d>,
    pub(super) value: Value<'d>,
}

/// A key where it stands.
#[derive(Clone)]
pub(super) struct Key<'d> {
    pub(super) place: Place<'d>,
    pub(super) text: String,
}

/// Keys and values in the order of the file.
pub(super) type Entries<'d> = Vec<(Key<'d>, Node<'d>)>;

#[derive(Clone)]
pub(super) enum Value<'d> {
    Text(String),
    Whole(i64),
    Decimal(String),
    Flag(bool),
    Date(String),
    List(Vec<Node<'d>>),
    Table(Entries<'d>),
}

impl Value<'_> {
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
pub(super) fn parse<'d>(text: &str, to: &'d Diagnostics) -> Entries<'d> {
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in errors {
        let place = error.span().unwrap_or(0..0);
        let said = error.message();
        let allowed = match said {
            "duplicate key" => twice(text, &place),
            _ => String::new(),
        };
        let message = said.lines().collect::<Vec<_>>().join("; ");
        to.error(&place, message, "here", allowed);
    }
    entries(&Place::new(0..0, to), document.get_ref())
}

/// What to write where a table in single brackets stands twice.
fn twice(text: &str, place: &Range<usize>) -> String {
    let start = text
        .get(..place.start)
        .and_then(|before| before.rfind('\n'))
        .map_or(0, |end| end.saturating_add(1));
    let line = text.get(start..).and_then(|rest| rest.lines().next());
    let header = line.unwrap_or_default().trim();
    match header
        .strip_prefix('[')
        .and_then(|rest| rest.split_once(']'))
    {
        Some((name, _)) if !name.starts_with('[') => {
            format!("one of several is written `[[{name}]]`, each time")
        }
        _ => "each key once".to_owned(),
    }
}

fn entries<'d>(place: &Place<'d>, table: &DeTable<'_>) -> Entries<'d> {
    few_enough(place, table.len(), "keys");
    let mut list: Entries<'d> = table
        .iter()
        .map(|(key, value)| {
            let key = Key {
                place: Place::new(key.span(), place.to),
                text: short_enough(
                    &Place::new(key.span(), place.to),
                    key.get_ref(),
                    KEY_BYTES_MAX,
                    "key",
                ),
            };
            (key, value)
        })
        .take(ENTRIES_MAX)
        .map(|(key, value)| {
            let place = Place::new(value.span(), place.to);
            (key, node(place, value.get_ref()))
        })
        .collect();
    list.sort_by_key(|(key, _)| key.place.bytes.start);
    list
}

/// Says that there are too many; the rest is not read.
fn few_enough(place: &Place<'_>, count: usize, what: &str) {
    if count > ENTRIES_MAX {
        place.error(
            format!("{} {what} in one place", counted(count)),
            "here",
            format!("at most {}", counted(ENTRIES_MAX)),
        );
    }
}

/// The text, or its beginning where it is too long, which is said.
fn short_enough(place: &Place<'_>, text: &str, most: usize, what: &str) -> String {
    if text.len() <= most {
        return text.to_owned();
    }
    place.error(
        format!("a {what} of {} bytes", counted(text.len())),
        "here",
        format!("at most {}", counted(most)),
    );
    let end = text.floor_char_boundary(most);
    text.get(..end).unwrap_or_default().to_owned()
}

fn node<'d>(place: Place<'d>, value: &DeValue<'_>) -> Node<'d> {
    let value = match value {
        DeValue::String(text) => Value::Text(short_enough(&place, text, TEXT_BYTES_MAX, "text")),
        DeValue::Integer(number) => match i64::from_str_radix(number.as_str(), number.radix()) {
            Ok(number) => Value::Whole(number),
            Err(_) if !is_whole(number) => {
                if !place.has_error() {
                    place.error(
                        format!("{number} is no number"),
                        "here",
                        "digits alone, like 12 or 1_000; a number with its unit stands in quotes",
                    );
                }
                Value::Whole(0)
            }
            Err(_) => {
                place.error(
                    format!("number {number} is too large"),
                    "here",
                    format!("whole numbers reach to {}", i64::MAX),
                );
                Value::Whole(0)
            }
        },
        DeValue::Float(number) => Value::Decimal(short_enough(
            &place,
            number.as_str(),
            KEY_BYTES_MAX,
            "number",
        )),
        DeValue::Boolean(flag) => Value::Flag(*flag),
        DeValue::Datetime(date) => Value::Date(date.to_string()),
        DeValue::Array(list) => {
            few_enough(&place, list.len(), "entries");
            Value::List(
                list.iter()
                    .take(ENTRIES_MAX)
                    .map(|item| node(Place::new(item.span(), place.to), item.get_ref()))
                    .collect(),
            )
        }
        DeValue::Table(table) => Value::Table(entries(&place, table)),
    };
    Node { place, value }
}

/// Whether a number has digits and nothing else: behind a low line the reader of TOML takes anything for one.
pub(super) fn is_whole(number: &DeInteger<'_>) -> bool {
    let digits = number.as_str().trim_start_matches(['+', '-']);
    !digits.is_empty() && digits.chars().all(|digit| digit.is_digit(number.radix()))
}

/// A text as typed, where it stands.
#[derive(Clone)]
pub(super) struct Typed<'d> {
    pub(super) text: String,
    pub(super) place: Place<'d>,
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
    pub(super) place: Place<'a>,
    entries: &'a [(Key<'a>, Node<'a>)],
    asked: Vec<&'static str>,
    choice: &'a Choice,
}

impl<'a> Reader<'a> {
    pub(super) fn new(
        of: impl Into<String>,
        place: &Place<'a>,
        entries: &'a [(Key<'a>, Node<'a>)],
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
        node: &'a Node<'a>,
        choice: &'a Choice,
    ) -> Option<Self> {
        let of = of.into();
        match &node.value {
            Value::Table(entries) => Some(Self::new(of, &node.place, entries, choice)),
            other => {
                node.place.error(
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

    pub(super) fn key_place(&self, key: &str) -> Place<'a> {
        self.entries
            .iter()
            .find(|(own, _)| own.text == key)
            .map_or_else(|| self.place.clone(), |(own, _)| own.place.clone())
    }

    /// The value as it stands, without a look at the answers.
    pub(super) fn raw(&mut self, key: &'static str) -> Option<&'a Node<'a>> {
        self.asked.push(key);
        self.entries
            .iter()
            .find(|(own, _)| own.text == key)
            .map(|(_, node)| node)
    }

    /// The value, or the one for the answers in force where it is written by answer.
    pub(super) fn value(&mut self, key: &'static str) -> Option<&'a Node<'a>> {
        let node = self.raw(key)?;
        chosen(node, self.choice, &format!("`{key}` of {}", self.of))
    }

    pub(super) fn text(&mut self, key: &'static str) -> Option<Typed<'a>> {
        let node = self.value(key)?;
        text_of(node, &format!("`{key}` of {}", self.of))
    }

    pub(super) fn needed_text(&mut self, key: &'static str) -> Option<Typed<'a>> {
        if !self.has(key) {
            self.asked.push(key);
            self.missing(key);
            return None;
        }
        self.text(key)
    }

    pub(super) fn missing(&self, key: &str) {
        self.place.error(
            format!("{} has no `{key}`", self.of),
            "it is missing here",
            format!("add `{key} = …`"),
        );
    }

    pub(super) fn flag(&mut self, key: &'static str) -> Option<bool> {
        let node = self.value(key)?;
        match node.value {
            Value::Flag(flag) => Some(flag),
            ref other => {
                node.place.error(
                    format!("`{key}` of {} is {}", self.of, other.word()),
                    "here",
                    "write true or false",
                );
                None
            }
        }
    }

    /// A whole number inside a range.
    pub(super) fn whole(&mut self, key: &'static str, allowed: RangeInclusive<u32>) -> Option<u32> {
        let node = self.value(key)?;
        let number = match node.value {
            Value::Whole(number) => u32::try_from(number).ok(),
            _ => None,
        };
        match number {
            Some(number) if allowed.contains(&number) => Some(number),
            _ => {
                node.place.error(
                    format!("`{key}` of {} is not a number it can be", self.of),
                    "here",
                    format!(
                        "a whole number from {} to {}",
                        allowed.start(),
                        allowed.end()
                    ),
                );
                None
            }
        }
    }

    /// A list of texts; one text stands for a list of one.
    pub(super) fn texts(&mut self, key: &'static str) -> Vec<Typed<'a>> {
        let of = format!("`{key}` of {}", self.of);
        match self.value(key) {
            Some(node) => texts_of(node, &of),
            None => Vec::new(),
        }
    }

    /// The tables of an array of tables; `header` is what stands in the brackets of each. One table that is written like a single
    /// one is told, and taken as the first.
    pub(super) fn tables(&mut self, key: &'static str, header: &str) -> Vec<&'a Node<'a>> {
        let Some(node) = self.raw(key) else {
            return Vec::new();
        };
        match &node.value {
            Value::List(list) => list.iter().collect(),
            other => {
                node.place.error(
                    format!("`{key}` of {} is {}", self.of, other.word()),
                    "here",
                    format!("write it as `[[{header}]]`, once for each"),
                );
                match other {
                    Value::Table(_) => vec![node],
                    _ => Vec::new(),
                }
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
    pub(super) fn finish(&self, elsewhere: impl Fn(&str) -> Option<String>) {
        for (key, _) in self.entries {
            if self.asked.contains(&key.text.as_str()) {
                continue;
            }
            let allowed = elsewhere(&key.text).unwrap_or_else(|| {
                match key.place.to.closest(&key.text, self.asked.iter().copied()) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => {
                        let mut all = self.asked.clone();
                        all.sort_unstable();
                        all.dedup();
                        format!("keys here: {}", all.join(", "))
                    }
                }
            });
            key.place.error(
                format!("unknown key `{}` in {}", key.text, self.of),
                "nothing reads this",
                allowed,
            );
        }
    }
}

/// The node itself, or the one written under an answer in force.
pub(super) fn chosen<'a>(node: &'a Node<'a>, choice: &Choice, of: &str) -> Option<&'a Node<'a>> {
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
    let mut is_strange = false;
    for (key, _) in entries {
        if !choice.known.contains(&key.text) {
            is_strange = true;
            key.place.error(
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
        // The answer that is missing may be the one misspelt.
        None if is_strange => None,
        None => {
            node.place.error(
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
pub(super) fn text_of<'d>(node: &Node<'d>, of: &str) -> Option<Typed<'d>> {
    match &node.value {
        Value::Text(text) => {
            if text.trim().is_empty() {
                node.place.error(format!("{of} is empty"), "here", "");
                return None;
            }
            Some(Typed {
                text: text.clone(),
                place: node.place.clone(),
            })
        }
        Value::Whole(_) | Value::Decimal(_) => {
            node.place.error(
                format!("{of} is a number without a unit or quotes"),
                "here",
                "write it as a text in quotes, a quantity with its unit: \"40 N·m\"",
            );
            None
        }
        other => {
            node.place.error(
                format!("{of} is {}", other.word()),
                "here",
                "a text in quotes is wanted",
            );
            None
        }
    }
}

/// A node that must be a text or a list of texts.
pub(super) fn texts_of<'d>(node: &Node<'d>, of: &str) -> Vec<Typed<'d>> {
    match &node.value {
        Value::List(list) => list.iter().filter_map(|item| label_of(item, of)).collect(),
        _ => label_of(node, of).into_iter().collect(),
    }
}

/// A label or name: a text, or a whole number meant as one.
pub(super) fn label_of<'d>(node: &Node<'d>, of: &str) -> Option<Typed<'d>> {
    match node.value {
        Value::Whole(number) => Some(Typed {
            text: number.to_string(),
            place: node.place.clone(),
        }),
        _ => text_of(node, of),
    }
}
