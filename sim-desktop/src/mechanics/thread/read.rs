//! Reads a designation as printed.
//!
//! Knows nothing of geometry beyond sizes.

use std::str::FromStr;

use super::tables::{
    ASSOCIATION, METRIC_COARSE, NATIONAL_PIPE, PIPE, TRAPEZOIDAL_PITCHES, UNIFIED, WHITWORTH,
    WHITWORTH_FINE,
};
use super::{Thread, ThreadError, ThreadKind, plain};
use crate::mechanics::INCH_MM;

impl FromStr for Thread {
    type Err = ThreadError;

    fn from_str(text: &str) -> Result<Self, ThreadError> {
        let trimmed = text
            .trim()
            .replace('×', "x")
            .replace(['–', '−'], "-")
            .replace(['″', '"'], "");
        if trimmed.is_empty() {
            return Err(ThreadError::Empty);
        }
        let (body, left_hand) = match strip_word(&trimmed, "LH") {
            Some(rest) => (rest, true),
            None => (trimmed.clone(), false),
        };
        let unknown = || ThreadError::Unknown(text.trim().to_owned());
        let metric_size = body
            .strip_prefix(['M', 'm'])
            .filter(|size| size.trim_start().starts_with(|c: char| c.is_ascii_digit()));
        let mut thread = if let Some(size) = metric_size {
            metric(size, &unknown)?
        } else if let Some(rest) = after(&body, "Tr") {
            trapezoidal(rest, &unknown)?
        } else if let Some(number) = association(&body) {
            number?
        } else if let Some(whitworth) = whitworth(&body, &unknown) {
            whitworth?
        } else if let Some(pipe) = pipe(&body, &unknown) {
            pipe?
        } else {
            unified(&body, &unknown)?
        };
        thread.left_hand = left_hand;
        Ok(thread)
    }
}

/// The text without its last word, when that word is the one asked for.
fn strip_word(text: &str, word: &str) -> Option<String> {
    let split = text.len().checked_sub(word.len())?;
    let (rest, tail) = (text.get(..split)?, text.get(split..)?);
    let apart = rest.ends_with([' ', '-', '_']) || rest.ends_with(|c: char| c.is_ascii_digit());
    (tail.eq_ignore_ascii_case(word) && apart).then(|| rest.trim_end_matches([' ', '-']).to_owned())
}

/// The text after its first word, when that word is the one asked for and a size follows.
fn after<'t>(text: &'t str, word: &str) -> Option<&'t str> {
    let (head, rest) = (text.get(..word.len())?, text.get(word.len()..)?);
    let sized = rest
        .trim_start()
        .starts_with(|c: char| c.is_ascii_digit() || c == '#');
    (head.eq_ignore_ascii_case(word) && sized).then(|| rest.trim_start())
}

/// The size of a designation whose family stands before or behind it: `3/8 BSW`, `BSW 3/8`.
fn beside<'t>(text: &'t str, word: &str) -> Option<&'t str> {
    after(text, word).or_else(|| {
        let split = text.len().checked_sub(word.len())?;
        let (rest, tail) = (text.get(..split)?, text.get(split..)?);
        let rest = rest.trim_end_matches([' ', '-', '.']);
        (tail.eq_ignore_ascii_case(word) && rest.ends_with(|c: char| c.is_ascii_digit()))
            .then_some(rest)
    })
}

/// `2BA`, `2 BA`, `BA 2`, `No.2 BA`.
fn association(body: &str) -> Option<Result<Thread, ThreadError>> {
    let size = beside(body, "BA").or_else(|| after(body, "BA No."))?;
    let digits = size
        .trim_start_matches(['N', 'n', 'O', 'o', '.', '#', ' '])
        .trim();
    let row = digits
        .parse::<usize>()
        .ok()
        .and_then(|number| ASSOCIATION.get(number));
    Some(match row {
        Some(&(major_mm, pitch_mm)) => Thread::checked(
            ThreadKind::BritishAssociation,
            major_mm,
            pitch_mm,
            digits.to_owned(),
            "BA",
        ),
        None => Err(ThreadError::Size {
            size: size.to_owned(),
            family: "British Association (0BA to 16BA)",
        }),
    })
}

/// `3/8 BSW`, `3/8-16 BSW`, `BSF 3/8`, `3/8 Whitworth`.
fn whitworth(body: &str, unknown: &dyn Fn() -> ThreadError) -> Option<Result<Thread, ThreadError>> {
    let (text, series, table) = [
        ("BSW", "BSW", WHITWORTH.as_slice()),
        ("Whitworth", "BSW", WHITWORTH.as_slice()),
        ("Whit", "BSW", WHITWORTH.as_slice()),
        ("BSF", "BSF", WHITWORTH_FINE.as_slice()),
    ]
    .into_iter()
    .find_map(|(word, series, table)| Some((beside(body, word)?, series, table)))?;
    Some(whitworth_size(text, series, table, unknown))
}

fn whitworth_size(
    text: &str,
    series: &'static str,
    table: &[(&str, f64, f64)],
    unknown: &dyn Fn() -> ThreadError,
) -> Result<Thread, ThreadError> {
    let (size_text, given) = split_count(text).ok_or_else(unknown)?;
    let (size, inches) = inch_size(size_text).ok_or_else(unknown)?;
    let row = table.iter().find(|row| row.0 == size);
    let Some(&(_, count, _)) = row else {
        return Err(ThreadError::Size {
            size,
            family: series,
        });
    };
    agreed(given, count, &size, series)?;
    Thread::checked(
        ThreadKind::Whitworth,
        inches * INCH_MM,
        INCH_MM / count,
        size,
        series,
    )
}

/// `40x7`, `40 x 7-7e`, what stands after `Tr`.
fn trapezoidal(text: &str, unknown: &dyn Fn() -> ThreadError) -> Result<Thread, ThreadError> {
    if text.contains(['P', 'p', '(']) {
        return Err(ThreadError::Starts(format!("Tr {text}")));
    }
    // A tolerance class after the pitch changes no dimension that matters here.
    let text = text.split_once('-').map_or(text, |(head, _)| head);
    let (diameter, pitch) = text.split_once(['x', 'X', '*']).ok_or_else(unknown)?;
    let (major_mm, pitch_mm) = number(diameter).zip(number(pitch)).ok_or_else(unknown)?;
    let listed = TRAPEZOIDAL_PITCHES
        .iter()
        .any(|own| (own - pitch_mm).abs() < 1e-9);
    if !listed || !(8.0..=300.0).contains(&major_mm) {
        return Err(ThreadError::Size {
            size: format!("Tr {}x{}", plain(major_mm), plain(pitch_mm)),
            family: "the trapezoidal threads (8 to 300 mm; pitches 1.5, 2, 3 to 10, 12, 14 …)",
        });
    }
    Thread::checked(
        ThreadKind::Trapezoidal,
        major_mm,
        pitch_mm,
        format!("Tr {}", plain(major_mm)),
        "Tr",
    )
}

fn number(text: &str) -> Option<f64> {
    let text = text.trim().replace(',', ".");
    if text.is_empty() || !text.chars().all(|c| c.is_ascii_digit() || c == '.') {
        return None;
    }
    text.parse()
        .ok()
        .filter(|n: &f64| n.is_finite() && *n > 0.0)
}

fn metric(size: &str, unknown: &dyn Fn() -> ThreadError) -> Result<Thread, ThreadError> {
    // A tolerance class after the pitch (M10x1.5-6g) changes no dimension that matters here.
    let dimensions = match size.split_once('-') {
        Some((head, tail))
            if tail.chars().all(|c| c.is_ascii_alphanumeric())
                && tail.chars().any(|c| c.is_ascii_alphabetic()) =>
        {
            head
        }
        _ => size,
    };
    let (diameter, pitch) = match dimensions.split_once(['x', 'X', '*']) {
        Some((diameter, pitch)) => (
            number(diameter).ok_or_else(unknown)?,
            Some(number(pitch).ok_or_else(unknown)?),
        ),
        None => match dimensions.split_once('-') {
            Some((diameter, pitch)) => (
                number(diameter).ok_or_else(unknown)?,
                Some(number(pitch).ok_or_else(unknown)?),
            ),
            None => (number(dimensions).ok_or_else(unknown)?, None),
        },
    };
    let pitch = match pitch {
        Some(pitch) => pitch,
        None => METRIC_COARSE
            .iter()
            .find(|(d, _)| (d - diameter).abs() < 1e-9)
            .map(|&(_, pitch)| pitch)
            .ok_or_else(|| ThreadError::Size {
                size: format!("M{}", plain(diameter)),
                family: "the metric coarse series",
            })?,
    };
    Thread::metric(diameter, pitch)
}

/// A size in inches as printed, with its proper spelling: `1-1/8`, `1 1/8`, `3/8`, `No.10`, `#10`.
fn inch_size(text: &str) -> Option<(String, f64)> {
    let text = text.trim();
    let lower = text.to_ascii_lowercase();
    let numbered = lower
        .strip_prefix("no.")
        .or_else(|| lower.strip_prefix("no"))
        .or_else(|| lower.strip_prefix('#'));
    if let Some(rest) = numbered {
        let n: u32 = rest.trim().parse().ok()?;
        return (n <= 14).then(|| (format!("No.{n}"), 0.060 + 0.013 * f64::from(n)));
    }
    let (whole, fraction) = match text.split_once([' ', '-']) {
        Some((whole, fraction)) => (whole.trim(), Some(fraction.trim())),
        None if text.contains('/') => ("", Some(text)),
        None => (text, None),
    };
    let mut value = if whole.is_empty() {
        0.0
    } else {
        number(whole)?
    };
    if let Some(fraction) = fraction {
        let (top, bottom) = fraction.split_once('/')?;
        let (top, bottom): (u32, u32) = (top.trim().parse().ok()?, bottom.trim().parse().ok()?);
        if top == 0 || bottom == 0 || top >= bottom {
            return None;
        }
        value += f64::from(top) / f64::from(bottom);
        let spelled = if whole.is_empty() {
            format!("{top}/{bottom}")
        } else {
            format!("{whole}-{top}/{bottom}")
        };
        return Some((spelled, value));
    }
    Some((plain(value), value))
}

/// Without as many bytes at the end as this word has, which stands there in whatever case.
fn without_end<'b>(body: &'b str, word: &str) -> &'b str {
    let end = body.len().saturating_sub(word.len());
    body.get(..end).unwrap_or_default()
}

fn pipe(body: &str, unknown: &dyn Fn() -> ThreadError) -> Option<Result<Thread, ThreadError>> {
    let letters: String = body.chars().take_while(char::is_ascii_alphabetic).collect();
    let size = body.strip_prefix(letters.as_str()).unwrap_or_default();
    let (kind, series, rest) = match letters.as_str() {
        "G" | "g" => (
            ThreadKind::PipeParallel,
            "G",
            size.trim_end_matches(['A', 'B']),
        ),
        "R" => (ThreadKind::PipeTaper, "R", size),
        "Rc" | "RC" => (ThreadKind::PipeTaper, "Rc", size),
        "Rp" | "RP" => (ThreadKind::PipeParallelSealing, "Rp", size),
        "NPT" | "NPTF" => (ThreadKind::NationalPipeTaper, "NPT", size),
        "BSPT" => (ThreadKind::PipeTaper, "R", size),
        "BSPP" => (ThreadKind::PipeParallel, "G", size),
        "BSP" => (ThreadKind::PipeUnstated, "BSP", size),
        _ => {
            let upper = body.to_ascii_uppercase();
            let (word, kind, series) = [
                ("BSPT", ThreadKind::PipeTaper, "R"),
                ("BSPP", ThreadKind::PipeParallel, "G"),
                ("BSP", ThreadKind::PipeUnstated, "BSP"),
                ("NPTF", ThreadKind::NationalPipeTaper, "NPTF"),
                ("NPT", ThreadKind::NationalPipeTaper, "NPT"),
            ]
            .into_iter()
            .find(|(word, ..)| upper.ends_with(word))?;
            (kind, series, without_end(body, word).trim_end())
        }
    };
    Some(pipe_size(kind, series, rest.trim(), unknown))
}

fn pipe_size(
    kind: ThreadKind,
    series: &'static str,
    text: &str,
    unknown: &dyn Fn() -> ThreadError,
) -> Result<Thread, ThreadError> {
    if text.is_empty() {
        return Err(unknown());
    }
    let (size_text, given) = split_count(text).ok_or_else(unknown)?;
    let (size, _) = inch_size(size_text).ok_or_else(unknown)?;
    let (count, major_mm) = if kind == ThreadKind::NationalPipeTaper {
        NATIONAL_PIPE
            .iter()
            .find(|row| row.0 == size)
            .map(|row| (row.1, row.2 * INCH_MM))
    } else {
        PIPE.iter()
            .find(|row| row.0 == size)
            .map(|row| (row.1, row.2))
    }
    .ok_or_else(|| ThreadError::Size {
        size: size.clone(),
        family: "pipe threads",
    })?;
    agreed(given, count, &size, series)?;
    Thread::checked(kind, major_mm, INCH_MM / count, size, series)
}

/// The threads per inch written, if any, are those that the size has.
fn agreed(
    given: Option<f64>,
    allowed: f64,
    size: &str,
    series: &'static str,
) -> Result<(), ThreadError> {
    match given {
        Some(given) if (given - allowed).abs() > 1e-9 => Err(ThreadError::Pitch {
            size: size.to_owned(),
            series,
            given,
            allowed,
        }),
        _ => Ok(()),
    }
}

/// Splits `1-1/8-7` into size and threads per inch: the last part is a count when it has no fraction bar and another part stands
/// before it.
fn split_count(text: &str) -> Option<(&str, Option<f64>)> {
    match text.rsplit_once('-') {
        Some((size, count)) if !count.contains('/') => Some((size, Some(number(count)?))),
        _ => Some((text, None)),
    }
}

/// A numbered size written without its `No.`: `10-32`, where 32 threads to the inch are those of No. 10 and of no thread of
/// 10 inches. `1-8`, `2-4.5` and the like stay inches.
fn numbered_size(text: &str, given: Option<f64>) -> Option<String> {
    let number: u32 = text.trim().parse().ok()?;
    let name = format!("No.{number}");
    let row = UNIFIED.iter().find(|row| row.0 == name)?;
    let is_its_own = match given {
        Some(count) => [row.2, row.3, row.4]
            .iter()
            .any(|own| *own > 0.0 && (own - count).abs() < 1e-9),
        None => UNIFIED.iter().all(|row| row.0 != text.trim()),
    };
    is_its_own.then_some(name)
}

fn unified(body: &str, unknown: &dyn Fn() -> ThreadError) -> Result<Thread, ThreadError> {
    const SERIES: [&str; 12] = [
        "UNJEF", "UNJC", "UNJF", "UNRC", "UNRF", "UNEF", "UNJ", "UNC", "UNF", "UNS", "UNR", "UN",
    ];
    // Class of fit (-2A, -2B, -3A) after the series.
    let body = body
        .strip_suffix(|c: char| matches!(c, 'A' | 'B' | 'a' | 'b'))
        .and_then(|rest| rest.strip_suffix(['1', '2', '3']))
        .map_or(body, |rest| rest.trim_end_matches(['-', ' ']));
    let upper = body.to_ascii_uppercase();
    let found = SERIES.into_iter().find(|series| upper.ends_with(series));
    let (text, series) = match found {
        Some(series) => (
            without_end(body, series).trim_end_matches([' ', '-']),
            series,
        ),
        None => (body, ""),
    };
    let (size_text, given) = split_count(text).ok_or_else(unknown)?;
    let numbered = numbered_size(size_text, given);
    let size_text = numbered.as_deref().unwrap_or(size_text);
    let (size, inches) = inch_size(size_text).ok_or_else(unknown)?;
    let row = UNIFIED.iter().find(|row| row.0 == size);
    let fixed = match series {
        "UNC" | "UNJC" | "UNRC" => row.map(|row| row.2),
        "UNF" | "UNJF" | "UNRF" => row.map(|row| row.3),
        "UNEF" | "UNJEF" => row.map(|row| row.4),
        _ => None,
    }
    .filter(|count| *count > 0.0);
    let named = !matches!(series, "" | "UN" | "UNS" | "UNR" | "UNJ");
    let count = match (given, fixed) {
        (Some(given), Some(allowed)) if (given - allowed).abs() > 1e-9 => {
            return Err(ThreadError::Pitch {
                size,
                series,
                given,
                allowed,
            });
        }
        (Some(given), _) if !named || fixed.is_some() => given,
        (None, Some(allowed)) => allowed,
        (None, None) if !named => return Err(ThreadError::NoPitch(size)),
        _ => {
            return Err(ThreadError::Size {
                size,
                family: series,
            });
        }
    };
    let series = if series.is_empty() {
        match row {
            Some(row) if (row.2 - count).abs() < 1e-9 => "UNC",
            Some(row) if (row.3 - count).abs() < 1e-9 => "UNF",
            Some(row) if (row.4 - count).abs() < 1e-9 => "UNEF",
            _ => "",
        }
    } else {
        series
    };
    Thread::checked(
        ThreadKind::Unified,
        inches * INCH_MM,
        INCH_MM / count,
        size,
        series,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Thread {
        text.parse()
            .unwrap_or_else(|error| panic!("{text}: {error}"))
    }

    #[test]
    fn every_designation_of_the_plan_format_is_read() {
        for (text, kind, major, pitch) in [
            ("M10x1.5", ThreadKind::Metric, 10.0, 1.5),
            ("M10", ThreadKind::Metric, 10.0, 1.5),
            ("m10×1,25", ThreadKind::Metric, 10.0, 1.25),
            ("M10x1.5-6g", ThreadKind::Metric, 10.0, 1.5),
            ("3/8-16 UNC", ThreadKind::Unified, 9.525, 25.4 / 16.0),
            ("1/2-20 UNF", ThreadKind::Unified, 12.7, 1.27),
            ("1/2 UNF", ThreadKind::Unified, 12.7, 1.27),
            ("No.10-32", ThreadKind::Unified, 4.826, 25.4 / 32.0),
            ("#10-32 UNF-2A", ThreadKind::Unified, 4.826, 25.4 / 32.0),
            ("10-32 UNF", ThreadKind::Unified, 4.826, 25.4 / 32.0),
            ("10-24", ThreadKind::Unified, 4.826, 25.4 / 24.0),
            ("1-64 UNC", ThreadKind::Unified, 1.8542, 25.4 / 64.0),
            ("1-8 UNC", ThreadKind::Unified, 25.4, 25.4 / 8.0),
            ("2-4.5 UNC", ThreadKind::Unified, 50.8, 25.4 / 4.5),
            ("1-12", ThreadKind::Unified, 25.4, 25.4 / 12.0),
            ("1-1/8-7 UNC", ThreadKind::Unified, 28.575, 25.4 / 7.0),
            ("1 1/8-7", ThreadKind::Unified, 28.575, 25.4 / 7.0),
            ("G 1/8", ThreadKind::PipeParallel, 9.728, 25.4 / 28.0),
            ("G1/8A", ThreadKind::PipeParallel, 9.728, 25.4 / 28.0),
            ("R 1/8", ThreadKind::PipeTaper, 9.728, 25.4 / 28.0),
            (
                "Rp 1/8",
                ThreadKind::PipeParallelSealing,
                9.728,
                25.4 / 28.0,
            ),
            ("1/8-28 BSPT", ThreadKind::PipeTaper, 9.728, 25.4 / 28.0),
            (
                "1/8 NPT",
                ThreadKind::NationalPipeTaper,
                10.287,
                25.4 / 27.0,
            ),
            (
                "1/8-27 NPT",
                ThreadKind::NationalPipeTaper,
                10.287,
                25.4 / 27.0,
            ),
            (
                "1-11.5 NPT",
                ThreadKind::NationalPipeTaper,
                33.401,
                25.4 / 11.5,
            ),
            ("3/8 BSW", ThreadKind::Whitworth, 9.525, 25.4 / 16.0),
            ("3/8-16 BSW", ThreadKind::Whitworth, 9.525, 25.4 / 16.0),
            ("BSW 1/2", ThreadKind::Whitworth, 12.7, 25.4 / 12.0),
            ("1-1/8 Whitworth", ThreadKind::Whitworth, 28.575, 25.4 / 7.0),
            ("3/8 BSF", ThreadKind::Whitworth, 9.525, 1.27),
            ("2BA", ThreadKind::BritishAssociation, 4.7, 0.81),
            ("0 BA", ThreadKind::BritishAssociation, 6.0, 1.0),
            ("BA 4", ThreadKind::BritishAssociation, 3.6, 0.66),
            ("No.2 BA", ThreadKind::BritishAssociation, 4.7, 0.81),
            ("Tr 40x7", ThreadKind::Trapezoidal, 40.0, 7.0),
            ("tr16×4-7e", ThreadKind::Trapezoidal, 16.0, 4.0),
            ("3/8 BSP", ThreadKind::PipeUnstated, 16.662, 25.4 / 19.0),
        ] {
            let thread = parse(text);
            assert_eq!(thread.kind, kind, "{text}");
            assert!(
                (thread.major_mm - major).abs() < 1e-9,
                "{text}: {}",
                thread.major_mm
            );
            assert!(
                (thread.pitch_mm - pitch).abs() < 1e-9,
                "{text}: {}",
                thread.pitch_mm
            );
            let again = parse(&thread.to_string());
            assert!(
                again.kind == kind && (again.major_mm - major).abs() < 1e-6,
                "{text} printed as {thread}"
            );
        }
        assert!(parse("M10x1.5 LH").left_hand);
    }

    #[test]
    fn a_bad_designation_says_what_is_allowed() {
        for (text, part) in [
            ("", "allowed"),
            ("M", "allowed"),
            ("M13", "not a standard size"),
            ("M10x15", "0.008 to 0.4"),
            ("3/8-17 UNC", "16 threads per inch, not 17"),
            ("3/8", "threads per inch or its series"),
            ("1/8-28 NPT", "27 threads per inch, not 28"),
            ("G 7/16", "not a standard size"),
            ("10 mm", "allowed"),
            ("M10x", "allowed"),
            ("8/3-16", "allowed"),
            ("Größe", "allowed"),
            ("M10x1.5.5", "allowed"),
            ("3/8-20 BSW", "16 threads per inch, not 20"),
            ("3/8-16 BSF", "20 threads per inch, not 16"),
            ("17BA", "0BA to 16BA"),
            ("Tr 40x14 P7", "one start"),
            ("Tr 40x11", "pitches 1.5"),
            ("13/64 BSW", "not a standard size"),
            ("BSP", "allowed"),
        ] {
            match text.parse::<Thread>() {
                Ok(thread) => panic!("`{text}` read as {thread}"),
                Err(error) => assert!(error.to_string().contains(part), "`{text}`: {error}"),
            }
        }
    }
}
