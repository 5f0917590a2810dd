//! Texts are data: what would steer a terminal, turn the reading direction or hide is shown as an escape that can be seen.
//!
//! Whatever a plan, a journal, a file name, a port or an adapter says goes through here on its way to a person: in the lines and
//! errors of a command, on the desk, on the sheet. The escapes are those of TOML, so that what is shown can be looked for in the
//! plan. Knows nothing of where a text comes from.

use std::borrow::Cow;
use std::fmt::Write as _;

/// One line: every character that steers or hides is shown, ends of lines too.
///
/// # Examples
/// ```
/// use evendraw::words::visible;
/// assert_eq!(visible("Zylinderkopf, 45 N·m"), "Zylinderkopf, 45 N·m");
/// assert_eq!(visible("\u{1b}[2Jgood\n"), "\\u001B[2Jgood\\n");
/// assert_eq!(visible("a\u{202e}b"), "a\\u202Eb");
/// ```
#[must_use]
pub fn visible(text: &str) -> Cow<'_, str> {
    shown(text, hides)
}

/// The same of a text of several lines, or one with columns apart by tabs: those stay.
#[must_use]
pub fn visible_lines(text: &str) -> Cow<'_, str> {
    shown(text, |c| !matches!(c, '\n' | '\t') && hides(c))
}

/// JSON on its way to a terminal: the same characters, escaped as JSON escapes them, so that a reader gets the text as it is.
#[must_use]
pub fn visible_json(json: &str) -> Cow<'_, str> {
    // Outside of its strings JSON has none but ends of lines.
    if !json.chars().any(|c| c != '\n' && hides(c)) {
        return Cow::Borrowed(json);
    }
    let mut out = String::with_capacity(json.len().saturating_add(16));
    for c in json.chars() {
        if c == '\n' || !hides(c) {
            out.push(c);
            continue;
        }
        for unit in c.encode_utf16(&mut [0; 2]) {
            // Writing to a string does not fail.
            let _ = write!(out, "\\u{unit:04x}");
        }
    }
    Cow::Owned(out)
}

/// Whether a character steers a terminal, turns the reading direction or cannot be seen. The joiners of scripts that need them
/// (U+200C, U+200D) are letters.
#[must_use]
pub const fn hides(c: char) -> bool {
    // Nearly all of every text, told apart at once: each text that is shown is looked through.
    if matches!(c, ' '..='~') {
        return false;
    }
    matches!(c,
        '\0'..='\u{1f}' | '\u{7f}'..='\u{9f}'           // C0, DEL, C1
        | '\u{ad}' | '\u{200b}' | '\u{2060}'..='\u{2064}' | '\u{feff}' // no width
        | '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{206f}' // reading direction
        | '\u{2028}' | '\u{2029}'                         // ends of lines elsewhere
        | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}' // notes between the lines, tags
    )
}

/// What is shown for a character that hides.
pub(crate) fn escape(c: char, out: &mut String) {
    match c {
        '\n' => out.push_str("\\n"),
        '\r' => out.push_str("\\r"),
        '\t' => out.push_str("\\t"),
        // Writing to a string does not fail.
        c if u32::from(c) > 0xFFFF => drop(write!(out, "\\U{:08X}", u32::from(c))),
        c => drop(write!(out, "\\u{:04X}", u32::from(c))),
    }
}

fn shown(text: &str, hides: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.chars().any(&hides) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len().saturating_add(16));
    for c in text.chars() {
        if hides(c) {
            escape(c, &mut out);
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_control_character_of_unicode_is_shown() {
        for c in (0..=0x0010_FFFF).filter_map(char::from_u32) {
            let text = format!("a{c}b");
            assert_eq!(c.is_control() || hides(c), hides(c), "{c:?}");
            assert_eq!(hides(c), visible(&text) != text, "{c:?}");
            assert!(!visible(&text).chars().any(hides), "{c:?}");
        }
    }

    /// The characters with an effect on the reading direction that have no look of their own. [Unicode Standard Annex 9, table 4: explicit
    /// formatting characters; from memory]
    #[test]
    fn every_mark_of_reading_direction_is_shown() {
        for c in [
            '\u{61c}', '\u{200e}', '\u{200f}', '\u{202a}', '\u{202b}', '\u{202c}', '\u{202d}',
            '\u{202e}', '\u{2066}', '\u{2067}', '\u{2068}', '\u{2069}',
        ] {
            assert!(hides(c), "{c:?}");
        }
    }

    #[test]
    fn json_is_still_the_same_text() {
        let text = "a\u{9b}31m\u{202e}b\u{7f}\u{e0041}\u{1b}\n";
        let plain = serde_json::to_string(text).unwrap();
        let json = visible_json(&plain);
        assert!(!json.chars().any(hides), "{json}");
        assert_eq!(serde_json::from_str::<String>(&json).unwrap(), text);
    }
}
