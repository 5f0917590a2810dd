//! A plan's text while it is written: typed changes that leave every other byte as it is, each of which can be taken back.
//!
//! The text is the one truth. A change is worked out on where things stand in it ([`layout`]), made in the text itself, and
//! checked by [`Plan::parse`], so that a fault is told at the field in the same words as everywhere. Knows nothing of screens.

pub mod drawing;
mod faults;
pub mod fields;
pub mod form;
mod history;
pub mod item;
pub mod joints;
pub mod layout;
pub mod other;
mod places;
pub mod table;
pub mod under;
pub mod value;

use std::fmt;

use history::History;
use item::Item;
use layout::{Layout, Node, Path, Shape, Step, Table};

pub use faults::{Checked, Fault};

/// Why a change cannot be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum EditError {
    /// The grammar of the text is broken; it is put right in the text first.
    Broken,
    /// Nothing of this kind stands there.
    Missing,
    /// The value is no TOML.
    Value,
    /// Fasteners are named elsewhere: under other numbers those names would mean others.
    Named,
    /// Another fastener has this label, or it is none.
    Label,
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Broken => {
                "the text is not TOML at one place: it is put right in the text, or taken back"
            }
            Self::Missing => "nothing stands there",
            Self::Value => "this is no value of TOML",
            Self::Label => {
                "a label is 1 to 8 bytes, and no two fasteners of a joint have the same one"
            }
            Self::Named => {
                "the plan names these fasteners (order, groups, on, each, shares …): those keys are taken away first, or they would mean others"
            }
        })
    }
}

impl std::error::Error for EditError {}

/// Where something new goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Where {
    /// Behind the last of its list, or at the end of what holds it.
    Last,
    /// Right behind this.
    After(Path),
    /// Right before this.
    Before(Path),
}

/// A plan's text with everything that was done to it.
#[derive(Clone, Debug)]
pub struct Document {
    history: History,
    layout: Option<Layout>,
}

impl Document {
    /// Begins with a text.
    #[must_use]
    pub fn new(text: &str) -> Self {
        Self {
            history: History::new(text),
            layout: Layout::of(text),
        }
    }

    /// The text as it is now.
    #[must_use]
    pub fn text(&self) -> &str {
        self.history.text()
    }

    /// Where everything stands; none while the grammar is broken.
    #[must_use]
    pub const fn layout(&self) -> Option<&Layout> {
        self.layout.as_ref()
    }

    /// Whether something can be taken back.
    #[must_use]
    pub fn can_undo(&self) -> bool {
        self.history.can_undo()
    }

    /// Whether something taken back can be done again.
    #[must_use]
    pub fn can_redo(&self) -> bool {
        self.history.can_redo()
    }

    /// Takes the last change back. False where there is none.
    pub fn undo(&mut self) -> bool {
        let done = self.history.undo();
        self.lay_out();
        done
    }

    /// Does again what was taken back last. False where there is nothing.
    pub fn redo(&mut self) -> bool {
        let done = self.history.redo();
        self.lay_out();
        done
    }

    /// What is typed next is a change of its own.
    pub fn pause(&mut self) {
        self.history.pause();
    }

    fn lay_out(&mut self) {
        self.layout = Layout::of(self.history.text());
    }

    fn change(&mut self, to: &str, places: Vec<(std::ops::Range<usize>, String)>) {
        self.history.change(to, places);
        self.lay_out();
    }

    fn laid_out(&self) -> Result<&Layout, EditError> {
        self.layout.as_ref().ok_or(EditError::Broken)
    }

    /// Takes another text in place of this one, as one change of what differs.
    pub fn set_text(&mut self, text: &str) {
        let old = self.history.text();
        let same = |pairs: &mut dyn Iterator<Item = (char, char)>| -> usize {
            pairs
                .take_while(|(a, b)| a == b)
                .map(|(a, _)| a.len_utf8())
                .sum()
        };
        let start = same(&mut old.chars().zip(text.chars()));
        let (old_rest, new_rest) = (
            old.get(start..).unwrap_or_default(),
            text.get(start..).unwrap_or_default(),
        );
        let end = same(&mut old_rest.chars().rev().zip(new_rest.chars().rev()));
        let place = start..old.len().saturating_sub(end);
        let put = text
            .get(start..text.len().saturating_sub(end))
            .unwrap_or_default()
            .to_owned();
        self.change("", vec![(place, put)]);
    }

    /// The value there as TOML, as typed.
    #[must_use]
    pub fn raw(&self, path: &Path) -> Option<&str> {
        let node = self.layout.as_ref()?.get(path)?;
        self.text().get(node.place())
    }

    /// The value there on one line of TOML, whatever way it is written.
    #[must_use]
    pub fn raw_value(&self, path: &Path) -> Option<String> {
        let node = self.layout.as_ref()?.get(path)?;
        Some(item::inline(self.text(), node))
    }

    /// Puts a value, written as TOML, under a key of the table at `of`. A table that is not there yet is begun. `order` is the
    /// order that keys of this table usually have.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn set(
        &mut self,
        of: &Path,
        key: &str,
        toml: &str,
        order: &[&str],
    ) -> Result<(), EditError> {
        let is_value = toml::Table::try_from_value(toml);
        if !is_value {
            return Err(EditError::Value);
        }
        let layout = self.laid_out()?;
        let to = format!("{of}/{key}");
        let Some(table) = layout.table(of) else {
            return self.begin_table(of, key, toml);
        };
        let place = match table.get(key) {
            Some(entry) if !entry.node.has_headers() && !is_implied(&entry.node) => {
                (entry.node.place(), toml.to_owned())
            }
            Some(_) => {
                // Written under a header, or by dotted keys: it gives way to the one line.
                let path = of.key(key);
                let mut places = places::removal(self.text(), layout, &path)?;
                places.push(places::insertion(
                    self.text(),
                    layout,
                    of,
                    table,
                    (key, toml),
                    order,
                )?);
                self.change(&to, places);
                return Ok(());
            }
            None => places::insertion(self.text(), layout, of, table, (key, toml), order)?,
        };
        self.change(&to, vec![place]);
        Ok(())
    }

    /// A table that is not there yet, with its first key.
    fn begin_table(&mut self, of: &Path, key: &str, toml: &str) -> Result<(), EditError> {
        let Some((parent, Step::Key(name))) = of.split() else {
            return Err(EditError::Missing);
        };
        let braces = format!("{{ {} = {toml} }}", item::key(key));
        if parent.0.is_empty() {
            let layout = self.laid_out()?;
            let at = layout
                .sections
                .first()
                .map_or(self.text().len(), |section| section.start);
            let body = format!("[{}]\n{} = {toml}\n", item::key(name), item::key(key));
            let place = places::section_at(self.text(), at, &body);
            self.change("", vec![place]);
            return Ok(());
        }
        self.set(&parent, name, &braces, &[])
    }

    /// Takes away what stands there: a value, a table, an item of a list.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn remove(&mut self, path: &Path) -> Result<(), EditError> {
        let places = places::removal(self.text(), self.laid_out()?, path)?;
        self.change("", places);
        Ok(())
    }

    /// Another name for the key of an entry.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn rename(&mut self, path: &Path, name: &str) -> Result<(), EditError> {
        let layout = self.laid_out()?;
        let (parent, Step::Key(old)) = path.split().ok_or(EditError::Missing)? else {
            return Err(EditError::Missing);
        };
        let entry = layout
            .table(&parent)
            .and_then(|table| table.get(old))
            .filter(|entry| !entry.node.has_headers())
            .ok_or(EditError::Missing)?;
        let place = (entry.place.clone(), item::key(name));
        self.change("", vec![place]);
        Ok(())
    }

    /// Adds an item to a list of tables and returns where it is then.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn add(&mut self, list: &Path, item: &Item, to: &Where) -> Result<Path, EditError> {
        let layout = self.laid_out()?;
        let (parent, name) = match list.split() {
            Some((parent, Step::Key(name))) => (parent, name.clone()),
            _ => return Err(EditError::Missing),
        };
        let table = layout.table(&parent).ok_or(EditError::Missing)?;
        let there = table.get(&name).map(|entry| &entry.node);
        let known = |items: &[Node]| -> usize {
            let index = |path: &Path| path.item().filter(|(own, _)| own == list).map(|(_, at)| at);
            match to {
                Where::Last => items.len(),
                Where::After(path) => index(path).map_or(items.len(), |at| at.saturating_add(1)),
                Where::Before(path) => index(path).unwrap_or(items.len()),
            }
        };
        match there {
            Some(Node::List {
                inline: true,
                items,
                place,
            }) => {
                let index = known(items).min(items.len());
                let change = places::listed(items, place, index, &item.braced());
                self.change("", vec![change]);
                return Ok(list.at(index));
            }
            None if table.shape == Shape::Inline => {
                let value = format!("[{}]", item.braced());
                self.set(&parent, &name, &value, &[])?;
                self.pause();
                return Ok(list.at(0));
            }
            _ => {}
        }
        let header = header_of(list);
        self.add_text(list, &item.under(&header), to)
    }

    /// Adds a text that begins with the header of an item of `list`, and returns where the item is then.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn add_text(&mut self, list: &Path, body: &str, to: &Where) -> Result<Path, EditError> {
        let layout = self.laid_out()?;
        let at = places::place_for(self.text(), layout, list, to).ok_or(EditError::Missing)?;
        let before = layout
            .sections
            .iter()
            .filter(|section| section.start < at)
            .filter(|section| section.path.item().is_some_and(|(own, _)| own == *list))
            .count();
        let place = places::section_at(self.text(), at, body);
        self.change("", vec![place]);
        Ok(list.at(before))
    }

    /// Puts one thing right behind another, which follows it; both are items under headers, or of one list in brackets.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn swap(&mut self, first: &Path, second: &Path) -> Result<(), EditError> {
        let layout = self.laid_out()?;
        let (a, b) = (
            layout.get(first).ok_or(EditError::Missing)?,
            layout.get(second).ok_or(EditError::Missing)?,
        );
        let text = self.text();
        if !a.has_headers() && !b.has_headers() {
            let of = |node: &Node| text.get(node.place()).unwrap_or_default().to_owned();
            let places = vec![(a.place(), of(b)), (b.place(), of(a))];
            self.change("", places);
            return Ok(());
        }
        let places = places::moved_behind(text, layout, first, second).ok_or(EditError::Missing)?;
        self.change("", places);
        Ok(())
    }

    /// The text of an item, comments and all, to be added elsewhere; `None` for one that is written in brackets.
    #[must_use]
    pub fn text_of(&self, path: &Path) -> Option<String> {
        let layout = self.layout.as_ref()?;
        let node = layout.get(path)?;
        if !node.has_headers() {
            return None;
        }
        let pieces: Vec<&str> = layout
            .sections_of(path)
            .filter_map(|section| self.text().get(section.start..section.end))
            .map(str::trim_end)
            .collect();
        Some(format!("{}\n", pieces.join("\n\n")))
    }

    /// The item there, without its comments.
    #[must_use]
    pub fn item(&self, path: &Path) -> Option<Item> {
        let table = self.layout.as_ref()?.table(path)?;
        Some(Item::of(self.text(), table))
    }

    /// The steps of a joint: its stages and blocks, in the order of the file.
    #[must_use]
    pub fn steps(&self, joint: &Path) -> Vec<Path> {
        let Some(table) = self.layout.as_ref().and_then(|layout| layout.table(joint)) else {
            return Vec::new();
        };
        let mut steps: Vec<(usize, Path)> = Vec::new();
        for list in ["stage", "block"] {
            if let Some(Node::List { items, .. }) = table.get(list).map(|entry| &entry.node) {
                let path = joint.key(list);
                steps.extend(
                    items
                        .iter()
                        .enumerate()
                        .map(|(index, item)| (item.place().start, path.at(index))),
                );
            }
        }
        steps.sort();
        steps.into_iter().map(|(_, path)| path).collect()
    }

    /// How many items a list has.
    #[must_use]
    pub fn len_of(&self, list: &Path) -> usize {
        match self.layout.as_ref().and_then(|layout| layout.get(list)) {
            Some(Node::List { items, .. }) => items.len(),
            _ => 0,
        }
    }

    /// The text under a key of a table, decoded; none where it is no text.
    #[must_use]
    pub fn words(&self, table: &Path, key: &str) -> Option<String> {
        value::decoded(self.raw(&table.key(key))?)
    }
}

/// What stands in the brackets of an item of this list.
fn header_of(list: &Path) -> String {
    let keys = list.0.iter().filter_map(|step| match step {
        Step::Key(key) => Some(item::key(key)),
        Step::At(_) => None,
    });
    keys.collect::<Vec<_>>().join(".")
}

fn is_implied(node: &Node) -> bool {
    matches!(
        node,
        Node::Table(Table {
            shape: Shape::Implied,
            ..
        })
    )
}

/// Whether a text is one value of TOML.
trait TryFromValue {
    fn try_from_value(toml: &str) -> bool;
}

impl TryFromValue for toml::Table {
    fn try_from_value(toml: &str) -> bool {
        format!("x = {toml}\n")
            .parse::<Self>()
            .is_ok_and(|table| table.len() == 1 && table.contains_key("x"))
    }
}

#[cfg(test)]
mod tests;
