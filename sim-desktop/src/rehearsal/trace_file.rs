//! Trace files: CSV with the header `time_s,torque_Nm,angle_deg`, `#` lines are comments.
//!
//! Torque and rotation as the adapter measured them, positive clockwise. What cannot be read is pointed at by line and column;
//! nothing is skipped in silence. Knows nothing of fasteners.
//!
//! # Why a file that cannot be read is pointed at
//!
//! *Context:* traces come from any instrument. *Choice:* three columns, points for decimals, times that never go
//! back; the first row that does not fit is named by line and column, and nothing is skipped. A left-hand thread is
//! turned round by the host, as the file is positive clockwise. *Would change our mind:* instruments that cannot
//! write a header.

use std::fmt;
use std::io::{self, BufRead, Write};

use crate::limits::{TRACE_BYTES_MAX, TRACE_LINE_BYTES_MAX, TRACE_SAMPLES_MAX, counted, read_line};
use crate::lines::LineParser;
use crate::lines::format::{TRACE_COLUMNS, short};
use evendraw_core::sample::Sample;
use evendraw_core::unit::{Instant, Rotation, Torque};

/// The header, in this order.
pub const COLUMNS: [&str; 3] = TRACE_COLUMNS;

/// Longest trace that is read, in s: a day.
const TIME_MAX: f64 = 86_400.0;

/// What is wrong with a trace file.
#[derive(Debug)]
#[non_exhaustive]
pub enum TraceFileError {
    /// It could not be read.
    Read(io::Error),
    /// A line that is no row of a trace.
    Row {
        /// The line, from 1.
        line: usize,
        /// The column's name, or the place in the line.
        column: String,
        /// What stands there.
        given: String,
        /// What is allowed there.
        allowed: String,
    },
    /// There is no row in it.
    Empty,
}

impl fmt::Display for TraceFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Read(error) => write!(f, "cannot be read: {error}"),
            Self::Row {
                line,
                column,
                given,
                allowed,
            } => {
                write!(f, "line {line}, {column}: `{given}`; allowed: {allowed}")
            }
            Self::Empty => write!(
                f,
                "there is no sample in it; allowed: the header `{}`, then one sample a line",
                COLUMNS.join(",")
            ),
        }
    }
}

impl std::error::Error for TraceFileError {}

impl From<io::Error> for TraceFileError {
    fn from(error: io::Error) -> Self {
        Self::Read(error)
    }
}

/// Reads a whole trace. Times count from the first sample.
///
/// # Errors
/// [`TraceFileError::Row`] with line and column of the first row that cannot be read; [`TraceFileError::Empty`].
///
/// # Examples
/// ```
/// use evendraw::rehearsal::trace_file;
/// let file = "# pull on fastener 3\ntime_s,torque_Nm,angle_deg\n0.000,0.0,10.0\n0.002,1.25,10.5\n";
/// let samples = trace_file::read(file.as_bytes())?;
/// assert_eq!(samples[1].1.torque.millinewton_meters(), 1_250);
/// # Ok::<(), trace_file::TraceFileError>(())
/// ```
pub fn read(mut file: impl BufRead) -> Result<Vec<(Instant, Sample)>, TraceFileError> {
    let mut samples = Vec::new();
    let mut first_time = None;
    let mut last_time = f64::NEG_INFINITY;
    let parser = LineParser::of_trace();
    let mut has_header = false;
    let mut bytes = Vec::new();
    let mut length = 0_u64;
    for line in 1.. {
        let read = read_line(&mut file, TRACE_LINE_BYTES_MAX, &mut bytes)?;
        let fault = |column: &str, given: &str, allowed: String| TraceFileError::Row {
            line,
            column: column.to_owned(),
            given: short(given),
            allowed,
        };
        match read {
            Some(false) => break,
            Some(true) => {}
            None => {
                let start = String::from_utf8_lossy(&bytes);
                let allowed = format!("lines of up to {} bytes", counted(TRACE_LINE_BYTES_MAX));
                return Err(fault("the whole line", &start, allowed));
            }
        }
        length = length.saturating_add(u64::try_from(bytes.len()).unwrap_or(u64::MAX));
        if length > TRACE_BYTES_MAX {
            let most = usize::try_from(TRACE_BYTES_MAX).unwrap_or(usize::MAX);
            let allowed = format!("files of up to {} bytes", counted(most));
            return Err(fault("here it is too long", "", allowed));
        }
        let text = match std::str::from_utf8(&bytes) {
            Ok(text) => text,
            Err(error) => {
                let column = format!("byte {}", error.valid_up_to() + 1);
                return Err(fault(
                    &column,
                    "bytes that are no text",
                    "UTF-8 text".to_owned(),
                ));
            }
        };
        let text = text.strip_prefix('\u{feff}').unwrap_or(text).trim();
        if text.is_empty() || text.starts_with('#') {
            continue;
        }
        if !has_header {
            if !text.split(',').map(str::trim).eq(COLUMNS) {
                return Err(fault("header", text, format!("`{}`", COLUMNS.join(","))));
            }
            has_header = true;
            continue;
        }
        let row = parser
            .row(text)
            .map_err(|error| fault(&error.column, &error.given, error.allowed))?;
        let (time, angle) = (
            row.time_s.unwrap_or_default(),
            row.angle_deg.unwrap_or_default(),
        );
        let start = *first_time.get_or_insert(time);
        if time < last_time {
            let allowed = format!("times that never go back; the row before is at {last_time}");
            return Err(fault("column 1 (time_s)", &time.to_string(), allowed));
        }
        if time - start > TIME_MAX {
            let allowed = format!("up to {TIME_MAX} s after the first row");
            return Err(fault("column 1 (time_s)", &time.to_string(), allowed));
        }
        if samples.len() == TRACE_SAMPLES_MAX {
            let allowed = format!("up to {} samples", counted(TRACE_SAMPLES_MAX));
            return Err(fault("one too many", text, allowed));
        }
        last_time = time;
        samples.push((instant(time - start), sample(row.torque_nm, angle)));
    }
    if samples.is_empty() {
        Err(TraceFileError::Empty)
    } else {
        Ok(samples)
    }
}

/// Writes a trace file; `about` becomes its first comment.
///
/// # Errors
/// What the writer says.
pub fn write(
    mut file: impl Write,
    about: &str,
    samples: impl IntoIterator<Item = (Instant, Sample)>,
) -> io::Result<()> {
    for line in about.lines() {
        writeln!(file, "# {line}")?;
    }
    writeln!(file, "{}", COLUMNS.join(","))?;
    for (at, sample) in samples {
        let (torque, angle) = (
            sample.torque.millinewton_meters(),
            sample.rotation.millidegrees(),
        );
        let micros = at.micros();
        writeln!(
            file,
            "{}.{:06},{},{}",
            micros / 1_000_000,
            micros % 1_000_000,
            thousandths(torque),
            thousandths(angle)
        )?;
    }
    file.flush()
}

/// N·m and degrees as the core counts them: to the nearest mN·m and millidegree.
#[must_use]
pub fn sample(torque_nm: f64, angle_deg: f64) -> Sample {
    Sample {
        torque: Torque::from_millinewton_meters(thousand(torque_nm)),
        rotation: Rotation::from_millidegrees(thousand(angle_deg)),
    }
}

/// An id or label as part of a file's name: letters, digits and dashes.
#[must_use]
pub fn file_word(text: &str) -> String {
    text.chars()
        .map(|letter| {
            if letter.is_alphanumeric() || letter == '-' {
                letter
            } else {
                '_'
            }
        })
        .collect()
}

/// Seconds as the core counts them: to the nearest µs.
#[must_use]
pub fn instant(seconds: f64) -> Instant {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a float becomes the nearest integer of the range; below zero it becomes zero"
    )]
    Instant::from_micros((seconds * 1e6).round() as u64)
}

fn thousand(value: f64) -> i32 {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a float becomes the nearest integer of the range"
    )]
    {
        (value * 1_000.0).round() as i32
    }
}

fn thousandths(value: i32) -> String {
    let sign = if value < 0 { "-" } else { "" };
    format!(
        "{sign}{}.{:03}",
        value.unsigned_abs() / 1_000,
        value.unsigned_abs() % 1_000
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use evendraw_core::unit::MAGNITUDE_MAX;
    use proptest::prelude::*;

    fn fault(text: &str) -> String {
        read(text.as_bytes())
            .map(|samples| format!("{} samples", samples.len()))
            .unwrap_or_else(|error| error.to_string())
    }

    #[test]
    fn a_bad_row_is_pointed_at() {
        let head = "# from the harbour\ntime_s,torque_Nm,angle_deg\n";
        for (rows, wanted) in [
            ("", "no sample"),
            ("0,1\n", "line 3, column 3 (angle_deg)"),
            (
                "0,1,2\n0.1,x,3\n",
                "line 4, column 2 (torque_Nm): `x`; allowed: a decimal number",
            ),
            ("0,1,2\n0.1,nan,3\n", "line 4, column 2"),
            ("0,1,inf\n", "line 3, column 3"),
            ("0,1,1e300\n", "allowed: -1000000 to 1000000"),
            ("0,1,2,3\n", "line 3, 4 columns"),
            ("0,5,40,2\n", "decimal point, not a comma"),
            (
                "1,0,0\n0.5,0,0\n",
                "line 4, column 1 (time_s): `0.5`; allowed: times that never go back",
            ),
            ("0,0,0\n1e9,0,0\n", "up to 86400 s"),
        ] {
            let said = fault(&format!("{head}{rows}"));
            assert!(said.contains(wanted), "{rows:?}: {said}");
        }
        let long = format!("{head}0,1,2\n{}", "9".repeat(5_000_000));
        let said = fault(&long);
        assert!(
            said.contains("line 4, the whole line")
                && said.contains("allowed: lines of up to 1,024 bytes")
        );
        assert!(
            said.len() < 500,
            "cut around the place: {} bytes",
            said.len()
        );
        assert!(
            fault("0,1,2\n").contains("line 1, header"),
            "a header is needed"
        );
        assert!(read(&b"time_s,torque_Nm,angle_deg\n0,\xff,0\n"[..]).is_err());
    }

    #[test]
    fn endings_blanks_marks_and_comments_are_taken_as_they_come() {
        let file = "\u{feff}time_s, torque_Nm, angle_deg\r\n\r\n# a remark\r\n-1.5 , 0.0004,-0.0005\r\n-1,12,3\r\n";
        let samples = read(file.as_bytes()).unwrap_or_default();
        assert_eq!(samples.len(), 2);
        assert_eq!(samples[0], (Instant::BOOT, sample(0.0, -0.001)));
        assert_eq!(samples[1].0, Instant::from_micros(500_000));
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back_the_same(
            rows in prop::collection::vec((0_u64..1_000_000, -MAGNITUDE_MAX..MAGNITUDE_MAX, -MAGNITUDE_MAX..MAGNITUDE_MAX), 1..50)
        ) {
            let mut at = 0;
            let rows: Vec<_> = rows.into_iter().enumerate().map(|(index, (step, torque, angle))| {
                at += if index == 0 { 0 } else { step };
                let sample = Sample {
                    torque: Torque::from_millinewton_meters(torque),
                    rotation: Rotation::from_millidegrees(angle),
                };
                (Instant::from_micros(at), sample)
            }).collect();
            let mut file = Vec::new();
            write(&mut file, "a test\nof two lines", rows.iter().copied())?;
            prop_assert_eq!(read(file.as_slice()).map_err(|error| TestCaseError::fail(error.to_string()))?, rows);
        }

        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = read(bytes.as_slice());
            let mut file = b"time_s,torque_Nm,angle_deg\n".to_vec();
            file.extend(bytes);
            let _ = read(file.as_slice());
        }
    }
}
