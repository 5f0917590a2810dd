//! Where everything stands in a plan's text: tables, keys, values, and the sections that headers begin.
//!
//! Knows nothing of what the keys mean, and changes nothing.

use std::fmt;
use std::ops::Range;
use std::str::FromStr;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::plan::tree::is_whole;

/// One step down: into a key, or to a place in a list.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Step {
    /// A key of a table.
    Key(String),
    /// A place in a list, from 0.
    At(usize),
}

/// The way to something in the text: `joint/2/stage/0/torque`. Places count from 0.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Path(pub Vec<Step>);

impl Path {
    /// The way to a key below this.
    #[must_use]
    pub fn key(&self, key: &str) -> Self {
        self.with(Step::Key(key.to_owned()))
    }

    /// The way to a place in the list at this.
    #[must_use]
    pub fn at(&self, index: usize) -> Self {
        self.with(Step::At(index))
    }

    fn with(&self, step: Step) -> Self {
        let mut steps = self.0.clone();
        steps.push(step);
        Self(steps)
    }

    /// The way to what holds this, and the last step.
    #[must_use]
    pub fn split(&self) -> Option<(Self, &Step)> {
        let (last, before) = self.0.split_last()?;
        Some((Self(before.to_vec()), last))
    }

    /// What holds this.
    #[must_use]
    pub fn parent(&self) -> Self {
        self.split()
            .map_or_else(Self::default, |(parent, _)| parent)
    }

    /// The list that this is an item of, with its place there.
    #[must_use]
    pub fn item(&self) -> Option<(Self, usize)> {
        match self.split()? {
            (list, Step::At(index)) => Some((list, *index)),
            _ => None,
        }
    }

    /// The last key on the way.
    #[must_use]
    pub fn last_key(&self) -> Option<&str> {
        self.0.iter().rev().find_map(|step| match step {
            Step::Key(key) => Some(key.as_str()),
            Step::At(_) => None,
        })
    }

    /// Whether this is `other` or lies below it.
    #[must_use]
    pub fn is_in(&self, other: &Self) -> bool {
        self.0.starts_with(&other.0)
    }
}

impl fmt::Display for Path {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, step) in self.0.iter().enumerate() {
            if number > 0 {
                f.write_str("/")?;
            }
            match step {
                Step::Key(key) => f.write_str(key)?,
                Step::At(index) => write!(f, "{index}")?,
            }
        }
        Ok(())
    }
}

impl FromStr for Path {
    type Err = std::convert::Infallible;

    /// Reads `joint/2/stage`; whole numbers are places, so a key of digits alone is built with [`Path::key`].
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let steps = text.split('/').filter(|step| !step.is_empty());
        Ok(Self(
            steps
                .map(|step| match step.parse() {
                    Ok(index) => Step::At(index),
                    Err(_) => Step::Key(step.to_owned()),
                })
                .collect(),
        ))
    }
}

/// How a table is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// The whole file.
    Root,
    /// Under a header in brackets.
    Header,
    /// In braces.
    Inline,
    /// By dotted keys, or only by the headers below it.
    Implied,
}

/// A table where it stands.
#[derive(Clone, Debug)]
pub struct Table {
    /// How it is written.
    pub shape: Shape,
    /// Its header, its braces, or its first key.
    pub place: Range<usize>,
    /// Its keys in the order of the file.
    pub entries: Vec<Entry>,
}

/// A key with what stands under it.
#[derive(Clone, Debug)]
pub struct Entry {
    /// The key, without quotes.
    pub key: String,
    /// Where it stands.
    pub place: Range<usize>,
    /// What stands under it.
    pub node: Node,
}

/// Anything that stands in a plan.
#[derive(Clone, Debug)]
pub enum Node {
    /// A value that is neither table nor list.
    Value(Range<usize>),
    /// A table.
    Table(Table),
    /// A list: in brackets, or of headers.
    List {
        /// Written in brackets.
        inline: bool,
        /// The brackets; the first header of a list of headers.
        place: Range<usize>,
        /// Its items.
        items: Vec<Node>,
    },
}

impl Node {
    /// Where it stands; of a table under a header, the header alone.
    #[must_use]
    pub fn place(&self) -> Range<usize> {
        match self {
            Self::Value(place) | Self::List { place, .. } => place.clone(),
            Self::Table(table) => table.place.clone(),
        }
    }

    /// The table, if it is one.
    #[must_use]
    pub const fn table(&self) -> Option<&Table> {
        match self {
            Self::Table(table) => Some(table),
            Self::Value(_) | Self::List { .. } => None,
        }
    }

    /// Whether it is written under headers of its own.
    #[must_use]
    pub const fn has_headers(&self) -> bool {
        match self {
            Self::Value(_) => false,
            Self::Table(table) => matches!(table.shape, Shape::Header),
            Self::List { inline, .. } => !*inline,
        }
    }

    /// The last byte of it that stands in the section of its key.
    pub(super) fn end(&self) -> usize {
        match self {
            Self::Table(table) if table.shape == Shape::Implied => {
                let own = table.entries.iter().filter(|own| !own.node.has_headers());
                own.map(|entry| entry.node.end())
                    .max()
                    .unwrap_or(table.place.end)
            }
            _ => self.place().end,
        }
    }
}

impl Table {
    /// What stands under a key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.key == key)
    }
}

/// What stands from one header to the next, with the comments right above the header.
#[derive(Clone, Debug)]
pub struct Section {
    /// From the first of the comments above the header.
    pub start: usize,
    /// The header.
    pub header: Range<usize>,
    /// To the beginning of the next section.
    pub end: usize,
    /// What the header begins.
    pub path: Path,
}

/// A plan's text, laid out.
#[derive(Clone, Debug)]
pub struct Layout {
    /// All of it as a table.
    pub root: Table,
    /// Its sections in the order of the file. What stands before the first belongs to the root.
    pub sections: Vec<Section>,
}

impl Layout {
    /// Lays out a text; none where its grammar is broken.
    #[must_use]
    pub fn of(text: &str) -> Option<Self> {
        let (document, errors) = DeTable::parse_recoverable(text);
        if !errors.is_empty() || document.get_ref().values().any(is_no_toml) {
            return None;
        }
        let mut headers = Vec::new();
        let root = table(
            text,
            document.get_ref(),
            Shape::Root,
            0..text.len(),
            &Path::default(),
            &mut headers,
        );
        headers.sort_by_key(|(place, _)| place.start);
        let starts: Vec<usize> = headers
            .iter()
            .map(|(place, _)| with_comments(text, place.start))
            .collect();
        let ends = starts.iter().skip(1).copied().chain([text.len()]);
        let sections = headers
            .into_iter()
            .zip(&starts)
            .zip(ends)
            .map(|(((header, path), &start), end)| Section {
                start,
                header,
                end,
                path,
            })
            .collect();
        Some(Self { root, sections })
    }

    /// What stands there.
    #[must_use]
    pub fn get(&self, path: &Path) -> Option<&Node> {
        let mut steps = path.0.iter();
        let Some(Step::Key(first)) = steps.next() else {
            return None;
        };
        let mut node = &self.root.get(first)?.node;
        for step in steps {
            node = match (step, node) {
                (Step::Key(key), Node::Table(table)) => &table.get(key)?.node,
                (Step::At(index), Node::List { items, .. }) => items.get(*index)?,
                _ => return None,
            };
        }
        Some(node)
    }

    /// The table there; the whole file for an empty way.
    #[must_use]
    pub fn table(&self, path: &Path) -> Option<&Table> {
        if path.0.is_empty() {
            return Some(&self.root);
        }
        self.get(path)?.table()
    }

    /// The sections that something consists of, in the order of the file.
    pub fn sections_of<'a>(&'a self, path: &'a Path) -> impl Iterator<Item = &'a Section> {
        self.sections
            .iter()
            .filter(move |section| section.path.is_in(path))
    }

    /// The section that a header table opens.
    #[must_use]
    pub fn section(&self, path: &Path) -> Option<&Section> {
        self.sections.iter().find(|section| section.path == *path)
    }

    /// The innermost thing that a byte of the text belongs to.
    #[must_use]
    pub fn path_at(&self, byte: usize) -> Path {
        let section = self
            .sections
            .iter()
            .rev()
            .find(|section| section.start <= byte);
        let base = section.map_or_else(Path::default, |section| section.path.clone());
        if section.is_some_and(|section| byte < section.header.end) {
            return base;
        }
        match self.table(&base) {
            Some(table) => inner(table, &base, byte),
            None => base,
        }
    }
}

/// The innermost entry of a table that a byte belongs to.
fn inner(table: &Table, base: &Path, byte: usize) -> Path {
    for entry in table.entries.iter().filter(|own| !own.node.has_headers()) {
        if !(entry.place.start..=entry.node.end()).contains(&byte) {
            continue;
        }
        let path = base.key(&entry.key);
        return match &entry.node {
            Node::Table(below) => inner(below, &path, byte),
            Node::List { items, .. } => items
                .iter()
                .enumerate()
                .find(|(_, item)| (item.place().start..=item.end()).contains(&byte))
                .map_or_else(
                    || path.clone(),
                    |(index, item)| match item.table() {
                        Some(below) => inner(below, &path.at(index), byte),
                        None => path.at(index),
                    },
                ),
            Node::Value(_) => path,
        };
    }
    base.clone()
}

fn table(
    text: &str,
    from: &DeTable<'_>,
    shape: Shape,
    place: Range<usize>,
    path: &Path,
    headers: &mut Vec<(Range<usize>, Path)>,
) -> Table {
    if shape == Shape::Header {
        headers.push((place.clone(), path.clone()));
    }
    let mut entries: Vec<Entry> = from
        .iter()
        .map(|(key, value)| {
            let path = path.key(key.get_ref());
            Entry {
                key: key.get_ref().to_string(),
                place: key.span(),
                node: node(text, value.get_ref(), value.span(), &path, headers),
            }
        })
        .collect();
    entries.sort_by_key(|entry| entry.place.start);
    Table {
        shape,
        place,
        entries,
    }
}

fn node(
    text: &str,
    value: &DeValue<'_>,
    place: Range<usize>,
    path: &Path,
    headers: &mut Vec<(Range<usize>, Path)>,
) -> Node {
    let first = text.as_bytes().get(place.start).copied();
    match value {
        DeValue::Table(below) => {
            let shape = match first {
                Some(b'[') => Shape::Header,
                Some(b'{') => Shape::Inline,
                _ => Shape::Implied,
            };
            Node::Table(table(text, below, shape, place, path, headers))
        }
        DeValue::Array(list) => {
            // The items of a list of headers stand at headers themselves; a list in brackets begins before its first item.
            let first = list.iter().next();
            let inline = !first.is_some_and(|item| item.span() == place);
            let items = list
                .iter()
                .enumerate()
                .map(|(index, item)| {
                    node(text, item.get_ref(), item.span(), &path.at(index), headers)
                })
                .collect();
            Node::List {
                inline,
                place,
                items,
            }
        }
        DeValue::String(_)
        | DeValue::Integer(_)
        | DeValue::Float(_)
        | DeValue::Boolean(_)
        | DeValue::Datetime(_) => Node::Value(place),
    }
}

/// Whether a number in it is none, which the grammar alone lets pass.
fn is_no_toml(value: &Spanned<DeValue<'_>>) -> bool {
    match value.get_ref() {
        DeValue::Integer(number) => !is_whole(number),
        DeValue::Array(items) => items.iter().any(is_no_toml),
        DeValue::Table(table) => table.values().any(is_no_toml),
        _ => false,
    }
}

/// Where the line of a byte begins.
pub(super) fn line_start(text: &str, byte: usize) -> usize {
    text.get(..byte)
        .and_then(|before| before.rfind('\n'))
        .map_or(0, |end| end.saturating_add(1))
}

/// Where the line of a byte ends, behind its line break.
pub(super) fn line_end(text: &str, byte: usize) -> usize {
    text.get(byte..)
        .and_then(|rest| rest.find('\n'))
        .map_or(text.len(), |at| byte.saturating_add(at).saturating_add(1))
}

/// Where the comments right above a header begin.
fn with_comments(text: &str, header: usize) -> usize {
    let mut start = line_start(text, header);
    while start > 0 {
        let above = line_start(text, start.saturating_sub(1));
        let is_comment = text
            .get(above..start)
            .is_some_and(|line| line.trim_start().starts_with('#'));
        if !is_comment {
            break;
        }
        start = above;
    }
    start
}
