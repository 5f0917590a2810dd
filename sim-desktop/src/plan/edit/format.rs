//! A plan set in order: `=` under `=`, one empty line before each header, nothing behind the end of a line.
//!
//! Comments, the order of everything and the spelling of every value stay. Knows nothing of what the keys mean.

use std::ops::Range;

use super::layout::{Entry, Layout, Node, Shape, Table, line_end, line_start};
use super::places::Place;
use super::{Document, EditError};

impl Document {
    /// Sets the text in order, as one change.
    ///
    /// # Errors
    /// [`EditError::Broken`]; then nothing is changed.
    pub fn set_in_order(&mut self) -> Result<(), EditError> {
        let mut places = aligned(self.text(), self.laid_out()?);
        places.extend(spaced(self.text(), self.laid_out()?));
        let mut ordered = Self::new(self.text());
        ordered.change("", places);
        let text = ordered.text().to_owned();
        let read = |text: &str| text.parse::<toml::Table>().ok();
        // Setting in order changes no meaning: where it did, it would be left alone.
        if read(&text) == read(self.text()) {
            self.set_text(&text);
        }
        Ok(())
    }
}

/// What makes `=` stand under `=` in lines that follow each other.
fn aligned(text: &str, layout: &Layout) -> Vec<Place> {
    let mut lines: Vec<Line> = Vec::new();
    gather(text, &layout.root, &mut lines);
    lines.sort_by_key(|line| line.whole.start);
    let mut places = Vec::new();
    let mut rest = lines.as_slice();
    while let Some(first) = rest.first() {
        let mut end = first.whole.end;
        let mut count = 1;
        while let Some(next) = rest.get(count).filter(|next| next.whole.start == end) {
            end = next.whole.end;
            count = count.saturating_add(1);
        }
        let (group, others) = rest.split_at(count);
        rest = others;
        let width = group.iter().map(|line| line.width).max().unwrap_or(0);
        for line in group {
            let pad = " ".repeat(width.saturating_sub(line.width));
            places.push((line.gap.clone(), format!("{pad} = ")));
        }
    }
    places
}

/// A line that begins with a key.
struct Line {
    whole: Range<usize>,
    /// From the end of the key to the value.
    gap: Range<usize>,
    /// Columns to the end of the key.
    width: usize,
}

fn gather(text: &str, table: &Table, lines: &mut Vec<Line>) {
    for entry in &table.entries {
        match &entry.node {
            Node::Table(below) if below.shape != Shape::Inline => gather(text, below, lines),
            Node::List {
                inline: false,
                items,
                ..
            } => {
                for item in items.iter().filter_map(Node::table) {
                    gather(text, item, lines);
                }
            }
            _ => lines.extend(line(text, entry)),
        }
    }
}

fn line(text: &str, entry: &Entry) -> Option<Line> {
    let start = line_start(text, entry.place.start);
    let value = entry.node.place();
    let gap = entry.place.end..value.start;
    let between = text.get(gap.clone())?;
    (between.trim() == "=").then(|| Line {
        whole: start..line_end(text, value.end),
        width: text
            .get(start..entry.place.end)
            .unwrap_or_default()
            .chars()
            .count(),
        gap,
    })
}

/// What sets the sections apart and takes away what cannot be seen.
fn spaced(text: &str, layout: &Layout) -> Vec<Place> {
    let mut values = Vec::new();
    spans(&layout.root, &mut values);
    let mut places: Vec<Place> = Vec::new();
    for section in &layout.sections {
        let before = text.get(..section.start).unwrap_or_default();
        let kept = before.trim_end().len();
        let gap = if kept == 0 { "" } else { "\n\n" };
        places.push((kept..section.start, gap.to_owned()));
    }
    let end = text.trim_end().len();
    places.push((end..text.len(), "\n".to_owned()));
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        let start = at;
        at = start.saturating_add(line.len());
        let words = line.trim_end();
        let ending = line.trim_end_matches(['\n', '\r']);
        let tail = start.saturating_add(words.len())..start.saturating_add(ending.len());
        let is_taken = places
            .iter()
            .any(|(place, _)| tail.start < place.end && place.start < tail.end);
        let is_value = values
            .iter()
            .any(|value: &Range<usize>| value.start <= tail.start && tail.end < value.end);
        if !tail.is_empty() && !is_taken && !is_value {
            places.push((tail, String::new()));
        }
    }
    places
}

/// Where every value stands: the ends of lines within one are its own.
fn spans(table: &Table, into: &mut Vec<Range<usize>>) {
    for entry in &table.entries {
        match &entry.node {
            Node::Table(below) if below.shape != Shape::Inline => spans(below, into),
            Node::List {
                inline: false,
                items,
                ..
            } => items
                .iter()
                .filter_map(Node::table)
                .for_each(|item| spans(item, into)),
            node => into.push(node.place()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Document;

    fn ordered(text: &str) -> String {
        let mut document = Document::new(text);
        document.set_in_order().unwrap();
        let once = document.text().to_owned();
        document.set_in_order().unwrap();
        assert_eq!(document.text(), once, "set in order it stays as it is");
        once
    }

    #[test]
    fn equals_signs_stand_under_each_other_and_headers_apart() {
        let text = "\n[build]  \ntitle=\"a\" # why\nentered_by   =  'b'\n\n# free\n\n\n\n# its own\n[[joint]]\nid = \"x\"\nnote = \"\"\"a  \nb\"\"\"\naccess.lever = \"3 mm\"\n[[joint.stage]]\ndo = \"fit\"   \n\n\n";
        let wanted = "[build]\ntitle      = \"a\" # why\nentered_by = 'b'\n\n# free\n\n# its own\n[[joint]]\nid           = \"x\"\nnote         = \"\"\"a  \nb\"\"\"\naccess.lever = \"3 mm\"\n\n[[joint.stage]]\ndo = \"fit\"\n";
        assert_eq!(ordered(text), wanted);
    }

    #[test]
    fn the_demo_stands_in_order_already() {
        assert_eq!(ordered(crate::plan::DEMO), crate::plan::DEMO);
    }

    #[test]
    fn a_broken_text_is_left_alone() {
        let mut document = Document::new("[[joint\n");
        assert!(document.set_in_order().is_err());
        assert_eq!(document.text(), "[[joint\n");
    }
}
