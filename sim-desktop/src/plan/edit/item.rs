//! Something new for a plan: a joint, a stage, a tool, before it has a place in the text.
//!
//! Knows nothing of which keys there are.

use std::fmt::Write as _;

use super::layout::{Node, Table};

/// A table with its values as TOML, and the lists of tables below it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Item {
    /// Keys with their values as TOML.
    pub values: Vec<(String, String)>,
    /// Lists of tables.
    pub lists: Vec<(String, Item)>,
}

/// A text as TOML, in quotes.
#[must_use]
pub fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A key as TOML: in quotes where it must be.
#[must_use]
pub fn key(text: &str) -> String {
    let bare = |letter: char| letter.is_ascii_alphanumeric() || letter == '_' || letter == '-';
    if !text.is_empty() && text.chars().all(bare) {
        text.to_owned()
    } else {
        // A key on several lines is none.
        format!("\"{}\"", text.chars().flat_map(escaped).collect::<String>())
    }
}

fn escaped(letter: char) -> Vec<char> {
    match letter {
        '"' | '\\' => vec!['\\', letter],
        letter if letter.is_control() => format!("\\u{:04X}", u32::from(letter)).chars().collect(),
        letter => vec![letter],
    }
}

impl Item {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The same with a text under a key.
    #[must_use]
    pub fn text(self, key: &str, text: &str) -> Self {
        let text = quoted(text);
        self.value(key, &text)
    }

    /// The same with a value, written as TOML, under a key.
    #[must_use]
    pub fn value(mut self, key: &str, toml: &str) -> Self {
        self.values.push((key.to_owned(), toml.to_owned()));
        self
    }

    /// The same with one more table in a list below it.
    #[must_use]
    pub fn with(mut self, list: &str, item: Self) -> Self {
        self.lists.push((list.to_owned(), item));
        self
    }

    /// What stands in a table of this text, without its comments.
    #[must_use]
    pub fn of(text: &str, table: &Table) -> Self {
        let mut item = Self::default();
        for entry in &table.entries {
            match &entry.node {
                Node::List { items, .. } if items.iter().any(|own| own.table().is_some()) => {
                    let tables = items.iter().filter_map(Node::table);
                    item.lists
                        .extend(tables.map(|below| (entry.key.clone(), Self::of(text, below))));
                }
                node => item.values.push((entry.key.clone(), inline(text, node))),
            }
        }
        item
    }

    /// As it stands under its header, and those below it.
    #[must_use]
    pub fn under(&self, header: &str) -> String {
        let mut out = String::new();
        self.write(header, &mut out);
        out
    }

    fn write(&self, header: &str, out: &mut String) {
        let _ = writeln!(out, "[[{header}]]");
        for (own, value) in &self.values {
            let _ = writeln!(out, "{} = {value}", key(own));
        }
        for (list, item) in &self.lists {
            out.push('\n');
            item.write(&format!("{header}.{}", key(list)), out);
        }
    }

    /// As it stands in braces.
    #[must_use]
    pub fn braced(&self) -> String {
        let mut parts: Vec<String> = self
            .values
            .iter()
            .map(|(own, value)| format!("{} = {value}", key(own)))
            .collect();
        let mut lists: Vec<(&str, Vec<String>)> = Vec::new();
        for (list, item) in &self.lists {
            match lists.iter_mut().find(|(own, _)| own == list) {
                Some((_, items)) => items.push(item.braced()),
                None => lists.push((list, vec![item.braced()])),
            }
        }
        parts.extend(
            lists
                .into_iter()
                .map(|(list, items)| format!("{} = [{}]", key(list), items.join(", "))),
        );
        if parts.is_empty() {
            "{}".to_owned()
        } else {
            format!("{{ {} }}", parts.join(", "))
        }
    }
}

/// A value as TOML on one line, whatever way it is written.
pub(super) fn inline(text: &str, node: &Node) -> String {
    match node {
        Node::Table(table) if table.shape != super::layout::Shape::Inline => {
            Item::of(text, table).braced()
        }
        _ => text.get(node.place()).unwrap_or_default().to_owned(),
    }
}
