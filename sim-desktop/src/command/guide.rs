//! `evendraw guide`: prints "Your first evening", the guide of `FIRST-EVENING.md`, for whoever has the program and no web page at hand.
//!
//! Knows nothing of what the guide says; a test works through it.

use clap::Args as ClapArgs;
use serde_json::json;

use super::{CommandError, Done, Output};

/// The page as it stands in the repository.
const GUIDE: &str = include_str!("../../FIRST-EVENING.md");

/// Prints "Your first evening": own plan, tools, rehearse, work, put right, hand over, print.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw guide\n  \
        evendraw guide | less\n\n\
        The same guide with its pictures: sim-desktop/FIRST-EVENING.md.")]
pub(super) struct Args {}

/// Runs the command.
pub(super) fn run(_: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    for piece in pieces(GUIDE) {
        match piece {
            Piece::Lines(lines) => out.lines(lines)?,
            Piece::Words(first, words) => out.wrapped(first, &words)?,
        }
    }
    out.object(&json!({ "guide": GUIDE }))?;
    Ok(Done::Good)
}

/// A part of the page as a terminal shows it.
#[derive(Debug, PartialEq, Eq)]
enum Piece {
    /// As they stand.
    Lines(String),
    /// Wrapped behind a first column.
    Words(&'static str, String),
}

/// The page without what only a browser draws: pictures by their words, fences as an indent.
fn pieces(page: &str) -> Vec<Piece> {
    let mut list = Vec::new();
    let mut open: Option<(&'static str, String)> = None;
    let mut is_fenced = false;
    for line in page.lines() {
        let is_fence = line.starts_with("```");
        is_fenced ^= is_fence;
        let begun = [("- ", "- "), ("1. ", "   ")]
            .into_iter()
            .find(|(mark, _)| line.starts_with(mark));
        let ends = line.is_empty() || is_fence || is_fenced || begun.is_some();
        if (ends || line.starts_with(['#', '!', '|']))
            && let Some((first, words)) = open.take()
        {
            list.push(Piece::Words(first, words));
        }
        match (line, begun) {
            _ if is_fence => {}
            _ if is_fenced => list.push(Piece::Lines(format!("    {line}"))),
            ("", _) => list.push(Piece::Lines(String::new())),
            (line, _) if line.starts_with('#') => {
                list.push(Piece::Lines(
                    line.trim_start_matches(['#', ' ']).to_uppercase(),
                ));
            }
            (line, _) if line.starts_with("![") => {
                let words = line.trim_start_matches("![").split("](").next();
                open = Some(("", format!("[picture: {}]", words.unwrap_or_default())));
            }
            (line, _) if line.starts_with('|') => list.push(Piece::Lines(line.to_owned())),
            (line, Some((mark, first))) => {
                open = Some((first, plain(line.trim_start_matches(mark))));
            }
            (line, None) => match &mut open {
                Some((_, words)) => {
                    words.push(' ');
                    words.push_str(&plain(line.trim()));
                }
                None => open = Some(("", plain(line))),
            },
        }
    }
    list.extend(open.map(|(first, words)| Piece::Words(first, words)));
    list
}

/// Without the marks of emphasis and code.
fn plain(line: &str) -> String {
    line.replace("**", "").replace('`', "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_terminal_is_shown_words_and_no_marks_of_a_page() {
        let page = "# A\n\nOne **two**\nthree `four`.\n\n![A desk.](x.png)\n- five\n  six\n- seven\n\n```sh\nevendraw  check\n```\n| a | b |\n";
        let words = |first, words: &str| Piece::Words(first, words.to_owned());
        let lines = |lines: &str| Piece::Lines(lines.to_owned());
        assert_eq!(
            pieces(page),
            [
                lines("A"),
                lines(""),
                words("", "One two three four."),
                lines(""),
                words("", "[picture: A desk.]"),
                words("- ", "five six"),
                words("- ", "seven"),
                lines(""),
                lines("    evendraw  check"),
                lines("| a | b |"),
            ]
        );
    }

    /// Nothing of it gets lost on the way.
    #[test]
    fn every_command_of_the_guide_is_printed() {
        let told: Vec<String> = pieces(GUIDE)
            .into_iter()
            .map(|piece| match piece {
                Piece::Lines(words) | Piece::Words(_, words) => words,
            })
            .collect();
        let told = told.join("\n");
        for line in GUIDE.lines().filter_map(|line| line.strip_prefix("$ ")) {
            assert!(told.contains(line), "{line}");
        }
        assert!(!told.contains("```") && !told.contains("]("), "{told}");
    }
}
