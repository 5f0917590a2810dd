//! Which bytes a change concerns, and what stands there afterwards.
//!
//! Knows nothing of what the keys mean, and changes nothing itself.

use std::ops::Range;

use super::EditError;
use super::Where;
use super::item;
use super::layout::{Layout, Node, Path, Shape, Step, Table, line_end, line_start};

/// Bytes, and what stands there instead.
pub(super) type Place = (Range<usize>, String);

/// A new key of a table: where its line goes, or its place in the braces.
pub(super) fn insertion(
    text: &str,
    layout: &Layout,
    of: &Path,
    table: &Table,
    (key, toml): (&str, &str),
    order: &[&str],
) -> Result<Place, EditError> {
    let entry = format!("{} = {toml}", item::key(key));
    let rank = |key: &str| order.iter().position(|own| *own == key);
    // Behind the last key that usually stands before it.
    let before = |entries: &[&super::layout::Entry]| -> usize {
        match rank(key) {
            Some(own) => entries
                .iter()
                .rposition(|entry| rank(&entry.key).is_none_or(|other| other < own))
                .map_or(0, |at| at.saturating_add(1)),
            None => entries.len(),
        }
    };
    if table.shape == Shape::Inline {
        let entries: Vec<_> = table.entries.iter().collect();
        let index = before(&entries);
        let place = if let Some(next) = entries.get(index) {
            let at = next.place.start;
            (at..at, format!("{entry}, "))
        } else if let Some(last) = entries.last() {
            let at = last.node.end();
            (at..at, format!(", {entry}"))
        } else {
            (table.place.clone(), format!("{{ {entry} }}"))
        };
        return Ok(place);
    }
    // The lines of the table's own section.
    let lines = match table.shape {
        Shape::Header => {
            let section = layout.section(of).ok_or(EditError::Missing)?;
            section.header.end..section.end
        }
        Shape::Root => {
            0..layout
                .sections
                .first()
                .map_or(text.len(), |first| first.start)
        }
        _ => 0..text.len(),
    };
    let own: Vec<&super::layout::Entry> = table
        .entries
        .iter()
        .filter(|entry| !entry.node.has_headers() && lines.contains(&entry.place.start))
        .collect();
    if table.shape == Shape::Implied && own.is_empty() {
        // Only headers below it: a header of its own.
        let at = layout
            .sections_of(of)
            .next()
            .map_or(text.len(), |section| section.start);
        let keys: Vec<String> =
            of.0.iter()
                .filter_map(|step| match step {
                    Step::Key(key) => Some(item::key(key)),
                    Step::At(_) => None,
                })
                .collect();
        return Ok(section_at(
            text,
            at,
            &format!("[{}]\n{entry}\n", keys.join(".")),
        ));
    }
    let index = before(&own);
    let neighbour = index.checked_sub(1).and_then(|index| own.get(index));
    let at = match (neighbour, table.shape) {
        (Some(before), _) => line_end(text, before.node.end()),
        (None, Shape::Header) => line_end(text, lines.start),
        (None, _) => own
            .first()
            .map_or(lines.end, |first| line_start(text, first.place.start)),
    };
    let like = neighbour.or(own.first());
    let lead = like.map_or("", |entry| {
        text.get(line_start(text, entry.place.start)..entry.place.start)
            .unwrap_or_default()
    });
    // In front of a dotted key stands what it is a key of; in front of any other at most an indent.
    let lead = if table.shape == Shape::Implied {
        lead
    } else {
        let indent = lead.len().saturating_sub(lead.trim_start().len());
        lead.get(..indent).unwrap_or_default()
    };
    let aligned = match aligned_at(text, &own) {
        Some(column) => {
            let name = item::key(key);
            let width = column.saturating_sub(lead.chars().count());
            format!("{lead}{name:width$}= {toml}")
        }
        None => format!("{lead}{entry}"),
    };
    let break_before = if at > 0 && !text.get(..at).is_some_and(|before| before.ends_with('\n')) {
        line_break(text)
    } else {
        ""
    };
    Ok((
        at..at,
        format!("{break_before}{aligned}{}", line_break(text)),
    ))
}

/// How lines end here.
fn line_break(text: &str) -> &'static str {
    if text.contains("\r\n") { "\r\n" } else { "\n" }
}

/// The column at which every `=` of these lines stands, where they are set under each other with room to spare.
fn aligned_at(text: &str, entries: &[&super::layout::Entry]) -> Option<usize> {
    let entries: Vec<_> = entries
        .iter()
        .filter(|entry| !super::is_implied(&entry.node))
        .collect();
    let mut columns = entries.iter().map(|entry| {
        let start = line_start(text, entry.place.start);
        let before = text.get(start..entry.node.place().start)?;
        let at = before.rfind('=')?;
        Some(before.get(..at)?.chars().count())
    });
    let first = columns.next()??;
    let is_padded = entries.iter().any(|entry| {
        text.get(entry.place.end..)
            .is_some_and(|rest| rest.starts_with("  "))
    });
    (is_padded && columns.all(|column| column == Some(first))).then_some(first)
}

/// What goes away with a value, a table or an item.
pub(super) fn removal(text: &str, layout: &Layout, path: &Path) -> Result<Vec<Place>, EditError> {
    let node = layout.get(path).ok_or(EditError::Missing)?;
    if node.has_headers() {
        return Ok(layout
            .sections_of(path)
            .map(|section| (section.start..section.end, String::new()))
            .collect());
    }
    let (parent, step) = path.split().ok_or(EditError::Missing)?;
    match step {
        Step::At(index) => {
            let Some(Node::List { items, .. }) = layout.get(&parent) else {
                return Err(EditError::Missing);
            };
            let spans: Vec<Range<usize>> = items.iter().map(Node::place).collect();
            cut(text, &spans, *index).ok_or(EditError::Missing)
        }
        Step::Key(key) => {
            let table = layout.table(&parent).ok_or(EditError::Missing)?;
            let index = table
                .entries
                .iter()
                .position(|entry| entry.key == *key)
                .ok_or(EditError::Missing)?;
            if is_in_braces(layout, &parent) {
                let spans: Vec<Range<usize>> = table
                    .entries
                    .iter()
                    .map(|entry| entry.place.start..entry.node.end())
                    .collect();
                return cut(text, &spans, index).ok_or(EditError::Missing);
            }
            let entry = table.entries.get(index).ok_or(EditError::Missing)?;
            let mut places: Vec<Place> = lines_of(text, entry)
                .into_iter()
                .map(|lines| (lines, String::new()))
                .collect();
            // What is also written under headers goes with it.
            places.extend(
                layout
                    .sections_of(path)
                    .map(|section| (section.start..section.end, String::new())),
            );
            Ok(places)
        }
    }
}

/// Whether a table stands in braces, itself or by way of dotted keys there.
fn is_in_braces(layout: &Layout, path: &Path) -> bool {
    let mut path = path.clone();
    while let Some(table) = layout.table(&path) {
        match table.shape {
            Shape::Inline => return true,
            Shape::Implied => path = path.parent(),
            Shape::Root | Shape::Header => return false,
        }
    }
    false
}

/// The whole lines of an entry; of one that is written by dotted keys, each of its lines.
fn lines_of(text: &str, entry: &super::layout::Entry) -> Vec<Range<usize>> {
    if let Node::Table(table) = &entry.node
        && table.shape == Shape::Implied
    {
        let own = table.entries.iter().filter(|own| !own.node.has_headers());
        return own.flat_map(|own| lines_of(text, own)).collect();
    }
    let whole = line_start(text, entry.place.start)..line_end(text, entry.node.end());
    std::iter::once(whole).collect()
}

/// The bytes of one thing of a row with the comma that goes with it.
fn cut(text: &str, spans: &[Range<usize>], index: usize) -> Option<Vec<Place>> {
    let own = spans.get(index)?;
    let next = spans.get(index.checked_add(1)?);
    let before = index.checked_sub(1).and_then(|index| spans.get(index));
    let mut gone = vec![match (before, next) {
        (_, Some(next)) => own.start..next.start,
        (Some(before), None) => before.end..own.end,
        (None, None) => own.clone(),
    }];
    if spans.len() == 1 {
        gone.extend(comma_behind(text, own.end));
    }
    Some(gone.into_iter().map(|own| (own, String::new())).collect())
}

/// The comma behind the last thing of a row, where there is one; a comment may stand before it.
fn comma_behind(text: &str, end: usize) -> Option<Range<usize>> {
    let mut rest = text.get(end..)?.trim_start();
    while rest.starts_with('#') {
        rest = rest.split_once('\n')?.1.trim_start();
    }
    let start = text.len().checked_sub(rest.len())?;
    rest.starts_with(',')
        .then(|| start..start.saturating_add(1))
}

/// A new item of a list in brackets.
pub(super) fn listed(items: &[Node], place: &Range<usize>, index: usize, item: &str) -> Place {
    if let Some(next) = items.get(index) {
        let at = next.place().start;
        return (at..at, format!("{item}, "));
    }
    match items.last() {
        Some(last) => {
            let at = last.end();
            (at..at, format!(", {item}"))
        }
        None => (place.clone(), format!("[{item}]")),
    }
}

/// The byte at which a new item of a list under headers goes.
pub(super) fn place_for(text: &str, layout: &Layout, list: &Path, to: &Where) -> Option<usize> {
    let end_of = |path: &Path| layout.sections_of(path).map(|section| section.end).max();
    match to {
        Where::After(path) => end_of(path),
        Where::Before(path) => layout.sections_of(path).map(|section| section.start).min(),
        Where::Last => end_of(list).or_else(|| {
            let parent = list.parent();
            if parent.0.is_empty() {
                // What joints refer to stands before them.
                let joints = Path::default().key("joint");
                let first = layout.sections_of(&joints).next();
                let first = first.filter(|_| list.last_key() != Some("joint"));
                Some(first.map_or(text.len(), |section| section.start))
            } else {
                end_of(&parent)
            }
        }),
    }
}

/// A section put in at a byte where another may begin, with an empty line on either side.
pub(super) fn section_at(text: &str, at: usize, body: &str) -> Place {
    let ending = line_break(text);
    let before = text.get(..at).unwrap_or_default();
    let after = text.get(at..).unwrap_or_default();
    let lead = if before.is_empty() || before.ends_with(&format!("{ending}{ending}")) {
        ""
    } else if before.ends_with('\n') {
        ending
    } else if ending == "\r\n" {
        "\r\n\r\n"
    } else {
        "\n\n"
    };
    let body = body.trim_end().replace("\r\n", "\n").replace('\n', ending);
    let trail = if after.trim().is_empty() {
        ending.to_owned()
    } else {
        format!("{ending}{ending}")
    };
    (at..at, format!("{lead}{body}{trail}"))
}

/// The first thing put right behind the second.
pub(super) fn moved_behind(
    text: &str,
    layout: &Layout,
    first: &Path,
    second: &Path,
) -> Option<Vec<Place>> {
    let pieces: Vec<Range<usize>> = layout
        .sections_of(first)
        .map(|section| section.start..section.end)
        .collect();
    let at = layout
        .sections_of(second)
        .map(|section| section.end)
        .max()?;
    if pieces.is_empty() || pieces.iter().any(|piece| piece.end > at) {
        return None;
    }
    let body: String = pieces
        .iter()
        .filter_map(|piece| text.get(piece.clone()))
        .collect();
    let mut places: Vec<Place> = pieces
        .into_iter()
        .map(|piece| (piece, String::new()))
        .collect();
    places.push(section_at(text, at, &body));
    Some(places)
}
