//! A plan's text in its one form: what stands between the words is put in order, and every word, comment and line stays.
//!
//! Only white space and line breaks are ever touched, so that nothing can mean something else afterwards; line breaks within a text of
//! several lines are part of the text. Knows nothing of what the keys mean.
//!
//! The form: one empty line in front of a header with its comments, elsewhere at most one; no indent; `key = value`, and all of a
//! table set under each other where one was; comments behind a line two spaces off, or under each other where they were; within
//! brackets one space behind a comma and inside braces, and four for each bracket that stays open over a line. *Our judgement.*

use std::ops::Range;

use toml_parser::Source;
use toml_parser::lexer::{Token, TokenKind as Kind};

use super::layout::Layout;
use super::{Document, EditError};

/// A line that stands by itself; a value may go on over several.
#[derive(Debug)]
enum Line {
    Empty,
    Comment(String),
    Header(String, Behind),
    Entry {
        key: String,
        value: String,
        behind: Behind,
    },
}

/// The comment behind a line, and the column it stood at.
type Behind = Option<(String, usize)>;

/// The text in its form.
///
/// # Errors
/// [`EditError::Broken`] where the text is no TOML.
pub fn in_form(text: &str) -> Result<String, EditError> {
    let (mark, body) = match text.strip_prefix('\u{feff}') {
        Some(body) => ("\u{feff}", body),
        None => ("", text),
    };
    Layout::of(body).ok_or(EditError::Broken)?;
    let tokens: Vec<Token> = Source::new(body).lex().collect();
    let ending = match tokens.iter().find(|token| token.kind() == Kind::Newline) {
        Some(first) if of(body, first) == "\r\n" => "\r\n",
        _ => "\n",
    };
    let lines = spaced(lines(body, &tokens));
    let written = with_comments(with_columns(lines));
    let mut out = String::from(mark);
    for line in written {
        // Within a value the breaks between its lines are ours, and those of a text of several lines its own.
        out.push_str(&line.replace(BREAK, ending));
        out.push_str(ending);
    }
    Ok(out)
}

impl Document {
    /// Brings the whole text into its form, as one change.
    ///
    /// # Errors
    /// [`EditError::Broken`] where it is no TOML; then nothing is changed.
    pub fn put_in_form(&mut self) -> Result<(), EditError> {
        let text = in_form(self.text())?;
        self.set_text(&text);
        Ok(())
    }
}

/// A break between two lines of a value: a letter that no TOML holds.
const BREAK: char = '\u{1}';

fn of<'a>(text: &'a str, token: &Token) -> &'a str {
    let place: Range<usize> = token.span().start()..token.span().end();
    text.get(place).unwrap_or_default()
}

/// The tokens of each line, brackets that stay open over a line kept together.
fn lines(text: &str, tokens: &[Token]) -> Vec<Line> {
    let mut lines = Vec::new();
    let mut own: Vec<&Token> = Vec::new();
    let (mut depth, mut is_value) = (0_usize, false);
    for token in tokens {
        match token.kind() {
            Kind::Equals => is_value = true,
            Kind::LeftSquareBracket | Kind::LeftCurlyBracket if is_value => {
                depth = depth.saturating_add(1);
            }
            Kind::RightSquareBracket | Kind::RightCurlyBracket if is_value => {
                depth = depth.saturating_sub(1);
            }
            Kind::Newline if depth == 0 => {
                lines.push(line(text, &own));
                own.clear();
                is_value = false;
                continue;
            }
            _ => {}
        }
        own.push(token);
    }
    if own.iter().any(|token| token.kind() != Kind::Eof) {
        lines.push(line(text, &own));
    }
    lines
}

fn line(text: &str, tokens: &[&Token]) -> Line {
    let is_word = |token: &&&Token| !matches!(token.kind(), Kind::Whitespace | Kind::Eof);
    let (tokens, behind) = match tokens.iter().rev().find(is_word) {
        Some(last) if last.kind() == Kind::Comment => {
            let words = of(text, last).trim_end().to_owned();
            let start = super::layout::line_start(text, last.span().start());
            let before = text.get(start..last.span().start()).unwrap_or_default();
            let rest = tokens.iter().copied();
            let rest: Vec<&Token> = rest.take_while(|own| own.span() != last.span()).collect();
            (rest, Some((words, before.chars().count())))
        }
        _ => (tokens.to_vec(), None),
    };
    let words: Vec<&Token> = tokens.iter().copied().filter(|own| is_word(&own)).collect();
    let joined = |tokens: &[&Token]| -> String { tokens.iter().map(|own| of(text, own)).collect() };
    match (words.first(), behind) {
        (None, None) => Line::Empty,
        (None, Some((comment, _))) => Line::Comment(comment),
        (Some(first), behind) if first.kind() == Kind::LeftSquareBracket => {
            Line::Header(joined(&words), behind)
        }
        (Some(_), behind) => {
            let equals = tokens.iter().position(|own| own.kind() == Kind::Equals);
            let (key, value) = tokens.split_at(equals.unwrap_or(tokens.len()));
            let key: Vec<&Token> = key.iter().copied().filter(|own| is_word(&own)).collect();
            // How far the sign stands from its key says whether it was set under others.
            let padding: usize = tokens
                .iter()
                .skip_while(|own| own.kind() == Kind::Whitespace)
                .take_while(|own| own.kind() != Kind::Equals)
                .filter(|own| own.kind() == Kind::Whitespace)
                .map(|own| of(text, own).chars().map(width).sum::<usize>())
                .max()
                .unwrap_or(0);
            let mut key = joined(&key);
            if padding > 1 {
                key.push(' ');
            }
            Line::Entry {
                key,
                value: value_in_form(text, value.get(1..).unwrap_or_default()),
                behind,
            }
        }
    }
}

/// A tab is as good as two spaces.
fn width(letter: char) -> usize {
    if letter == '\t' { 2 } else { 1 }
}

/// A value, brackets and all, its lines parted by [`BREAK`].
fn value_in_form(text: &str, tokens: &[&Token]) -> String {
    let mut out = String::new();
    let mut depth = 0_usize;
    let (mut breaks, mut is_apart) = (0_usize, false);
    let mut before: Option<Kind> = None;
    for token in tokens {
        let kind = token.kind();
        let is_closing = matches!(kind, Kind::RightSquareBracket | Kind::RightCurlyBracket);
        match kind {
            Kind::Whitespace => {
                is_apart = true;
                continue;
            }
            Kind::Newline => {
                breaks = breaks.saturating_add(1);
                continue;
            }
            Kind::Eof => continue,
            _ => {}
        }
        if is_closing {
            depth = depth.saturating_sub(1);
        }
        if breaks > 0 {
            // At most one empty line, and none inside a bracket's own line.
            let is_first = matches!(
                before,
                Some(Kind::LeftSquareBracket | Kind::LeftCurlyBracket)
            );
            let count = if is_first || is_closing {
                1
            } else {
                breaks.min(2)
            };
            out.extend(std::iter::repeat_n(BREAK, count));
            out.push_str(&"    ".repeat(depth));
        } else {
            out.push_str(between(before, kind, is_apart));
        }
        out.push_str(match kind {
            Kind::Comment => of(text, token).trim_end(),
            _ => of(text, token),
        });
        if matches!(kind, Kind::LeftSquareBracket | Kind::LeftCurlyBracket) {
            depth = depth.saturating_add(1);
        }
        (breaks, is_apart, before) = (0, false, Some(kind));
    }
    out
}

/// What stands between two words of one line.
const fn between(before: Option<Kind>, kind: Kind, is_apart: bool) -> &'static str {
    match (before, kind) {
        (None, _) | (_, Kind::Comma) | (Some(Kind::LeftCurlyBracket), Kind::RightCurlyBracket) => {
            ""
        }
        (_, Kind::Comment) => "  ",
        (Some(Kind::LeftSquareBracket), _) | (_, Kind::RightSquareBracket) => "",
        (Some(Kind::Comma | Kind::Equals | Kind::LeftCurlyBracket), _)
        | (_, Kind::Equals | Kind::RightCurlyBracket) => " ",
        (_, Kind::Dot) | (Some(Kind::Dot), _) => "",
        // A day and its time are one value of two words.
        _ if is_apart => " ",
        _ => "",
    }
}

/// Empty lines where they belong, and no others.
fn spaced(lines: Vec<Line>) -> Vec<Line> {
    let mut out: Vec<Line> = Vec::new();
    for line in lines {
        match line {
            Line::Empty if out.is_empty() => {}
            Line::Empty if matches!(out.last(), Some(Line::Empty)) => {}
            Line::Header(..) => {
                let own = out
                    .iter()
                    .rposition(|line| !matches!(line, Line::Comment(_)))
                    .map_or(0, |at| at.saturating_add(1));
                let is_apart = own
                    .checked_sub(1)
                    .and_then(|before| out.get(before))
                    .is_none_or(|before| matches!(before, Line::Empty));
                if !is_apart {
                    out.insert(own, Line::Empty);
                }
                out.push(line);
            }
            Line::Entry { .. } => {
                // Right behind its header.
                if let [.., Line::Header(..), Line::Empty] = out.as_slice() {
                    out.pop();
                }
                out.push(line);
            }
            line => out.push(line),
        }
    }
    while matches!(out.last(), Some(Line::Empty)) {
        out.pop();
    }
    out
}

/// The signs of a table under each other, where one was set off from its key.
fn with_columns(lines: Vec<Line>) -> Vec<(String, Behind)> {
    let mut out: Vec<(String, Behind)> = Vec::new();
    let mut rest = lines.into_iter().peekable();
    while rest.peek().is_some() {
        let mut table = Vec::new();
        while let Some(line) =
            rest.next_if(|line| table.is_empty() || !matches!(line, Line::Header(..)))
        {
            table.push(line);
        }
        let keys = || {
            table.iter().filter_map(|line| match line {
                Line::Entry { key, .. } => Some(key.as_str()),
                _ => None,
            })
        };
        let column = if keys().any(|key| key.ends_with(' ')) {
            keys()
                .map(|key| key.trim_end().chars().count())
                .max()
                .unwrap_or(0)
        } else {
            0
        };
        out.extend(table.into_iter().map(|line| match line {
            Line::Empty => (String::new(), None),
            Line::Comment(words) => (words, None),
            Line::Header(words, behind) => (words, behind),
            Line::Entry { key, value, behind } => {
                (format!("{:column$} = {value}", key.trim_end()), behind)
            }
        }));
    }
    out
}

/// Each line with the comment behind it: under each other where two neighbours were.
fn with_comments(lines: Vec<(String, Behind)>) -> Vec<String> {
    let mut out = Vec::with_capacity(lines.len());
    let mut at = 0;
    while let Some((line, behind)) = lines.get(at) {
        let Some((_, column)) = behind else {
            out.push(line.clone());
            at = at.saturating_add(1);
            continue;
        };
        let rest = lines.get(at..).unwrap_or_default();
        let together: Vec<(&str, &str)> = rest
            .iter()
            .map_while(|(line, behind)| match behind {
                Some((words, own)) if own == column => Some((line.as_str(), words.as_str())),
                _ => None,
            })
            .collect();
        let last = |line: &str| {
            line.rsplit([BREAK, '\n'])
                .next()
                .map_or(0, |own| own.chars().count())
        };
        let widest = together
            .iter()
            .map(|(line, _)| last(line))
            .max()
            .unwrap_or(0);
        for (line, words) in &together {
            let gap = widest.saturating_sub(last(line)).saturating_add(2);
            out.push(format!("{line}{}{words}", " ".repeat(gap)));
        }
        at = at.saturating_add(together.len().max(1));
    }
    out
}
