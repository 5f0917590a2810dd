//! `[tool.lines]`: how a tool of kind `stream` prints its readings.
//!
//! Knows nothing of readings.

use super::tree::{Choice, Reader, Typed};
use crate::lines::format::{BAUD, BAUD_USUAL, COLUMNS_MAX, RATE_HZ, check_columns};
use crate::lines::{Column, Format, Positive};

/// Reads the table under a tool; the trace file's own rows where there is none.
pub(super) fn lines(tool: &mut Reader<'_>) -> Option<Format> {
    let silent = Choice::default();
    let Some(node) = tool.raw("lines") else {
        return Some(Format::default());
    };
    let of = format!("[tool.lines] of {}", tool.of);
    let mut own = Reader::of_node(of, node, &silent)?;
    let columns = columns(&mut own);
    let decimal_comma = word(own.text("decimal"), "decimal mark", &["point", "comma"])
        .is_some_and(|word| word == "comma");
    let separator = separator(&mut own, decimal_comma);
    let words = Positive::ALL.map(Positive::word);
    let positive = word(own.text("positive"), "way of a positive reading", &words)
        .and_then(|word| Positive::ALL.into_iter().find(|way| way.word() == word))
        .unwrap_or_default();
    let typed = own.text("rate");
    let rate_hz = typed.as_ref().and_then(rate);
    if let (Some(typed), Some(columns)) = (&typed, &columns)
        && columns
            .iter()
            .any(|name| matches!(Column::named(name), Some(Column::Time(_))))
    {
        typed.place.error(
            "a rate beside a time column",
            "here",
            "one of the two: the instrument's own time, or its rate",
        );
    }
    let baud = own.whole("baud", BAUD.0..=BAUD.1).unwrap_or(BAUD_USUAL);
    own.finish(|_| None);
    Some(Format {
        columns: columns.unwrap_or_default(),
        separator: separator?,
        decimal_comma,
        positive,
        rate_hz,
        baud,
    })
}

/// The columns' names; none where the table has no such key or one of them is wrong, which is told.
fn columns(own: &mut Reader<'_>) -> Option<Vec<String>> {
    if !own.has("columns") {
        let _ = own.raw("columns");
        return None;
    }
    let place = own.key_place("columns");
    let typed = own.texts("columns");
    if typed.len() > COLUMNS_MAX {
        place.error(
            format!("{} columns", typed.len()),
            "here",
            format!("at most {COLUMNS_MAX}"),
        );
        return None;
    }
    let mut columns = Vec::new();
    for name in &typed {
        match Column::named(&name.text) {
            Some(column) => columns.push(column),
            None => name.place.error(
                format!("unknown column `{}`", name.text),
                "here",
                Column::ALLOWED,
            ),
        }
    }
    if columns.len() < typed.len() {
        return None;
    }
    if let Err(why) = check_columns(&columns) {
        place.error("columns that make no reading", "here", why);
        return None;
    }
    Some(typed.into_iter().map(|name| name.text).collect())
}

fn separator(own: &mut Reader<'_>, decimal_comma: bool) -> Option<char> {
    // A blank or a tab is a text here, not an empty one.
    let Some(node) = own.raw("separator") else {
        return Some(if decimal_comma { ';' } else { ',' });
    };
    let text = match &node.value {
        super::tree::Value::Text(text) => text.as_str(),
        _ => "",
    };
    let mut letters = text.chars();
    let only = letters.next().filter(|_| letters.next().is_none());
    let is_of_a_number = |letter: char| {
        letter.is_alphanumeric()
            || letter.is_control() && letter != '\t'
            || matches!(letter, '+' | '-' | '.' | '#' | '_' | '°')
            || decimal_comma && letter == ','
    };
    let found = only.filter(|letter| !is_of_a_number(*letter));
    if found.is_none() {
        node.place.error(
            format!("`separator` of {} is not one that can be", own.of),
            "here",
            if decimal_comma {
                "one character that no number has, and not the decimal comma: \";\", \" \" (any run of blanks), \"\\t\""
            } else {
                "one character that no number has: \",\", \";\", \" \" (any run of blanks), \"\\t\""
            },
        );
    }
    found
}

/// `200 Hz`, `1 kHz`: lines a second.
fn rate(typed: &Typed<'_>) -> Option<f64> {
    let text = typed.text.trim();
    let (number, by) = match text.strip_suffix("kHz") {
        Some(number) => (number, 1_000.0),
        None => (text.strip_suffix("Hz").unwrap_or(""), 1.0),
    };
    let found = number
        .trim()
        .parse::<f64>()
        .ok()
        .map(|hz| hz * by)
        .filter(|hz| (RATE_HZ.0..=RATE_HZ.1).contains(hz));
    if found.is_none() {
        typed.place.error(
            format!("`{}` is no rate of lines", typed.text),
            "here",
            format!(
                "lines a second, from {} Hz to {} Hz: \"200 Hz\"",
                RATE_HZ.0, RATE_HZ.1
            ),
        );
    }
    found
}

fn word<'w>(typed: Option<Typed<'_>>, what: &str, words: &[&'w str]) -> Option<&'w str> {
    let typed = typed?;
    let found = words.iter().copied().find(|word| *word == typed.text);
    if found.is_none() {
        typed.place.error(
            format!("unknown {what} `{}`", typed.text),
            "here",
            match typed.place.to.closest(&typed.text, words.iter().copied()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => words.join(", "),
            },
        );
    }
    found
}
