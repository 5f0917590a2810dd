//! One line of text as one reading: columns with their units, separator, decimal mark, sign.
//!
//! The default is the trace file's own header and rows. Nothing is guessed: what does not read is an error with its column, what
//! stands there and what is allowed. Knows nothing of where lines come from and when.

use std::fmt;

use crate::quantity::{AngleUnit, TorqueUnit, Unit};
use evendraw_core::unit::MAGNITUDE_MAX;

/// The trace file's header.
pub const TRACE_COLUMNS: [&str; 3] = ["time_s", "torque_Nm", "angle_deg"];
/// Columns of a line: more than any instrument with one torque prints.
pub const COLUMNS_MAX: usize = 32;
/// Lines a second, the fewest and the most that a stated rate may have.
pub const RATE_HZ: (f64, f64) = (1.0, 10_000.0);
/// Bits a second, the fewest and the most.
pub const BAUD: (u32, u32) = (300, 4_000_000);
/// Bits a second where the plan is silent.
pub const BAUD_USUAL: u32 = 115_200;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Column {
    /// Time, in parts of a second: 1, 1,000 or 1,000,000.
    Time(u32),
    /// Torque.
    Torque(TorqueUnit),
    /// Rotation of the tool.
    Angle(AngleUnit),
    /// Nothing that is read.
    Skip,
}

impl Column {
    /// What may stand as a column's name.
    pub const ALLOWED: &'static str = "time_s, time_ms, time_us, torque_ and its unit (torque_Nm, torque_lbf_ft), angle_deg, angle_turns, skip";

    /// The column of a name: `time_s`, `torque_lbf_ft`, `angle_deg`, `skip`. None for a name that says no unit, or another one.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        let (what, unit) = name.split_once('_').unwrap_or((name, ""));
        let letters: String = unit
            .chars()
            .filter(|letter| letter.is_alphabetic())
            .flat_map(char::to_lowercase)
            .collect();
        match (what, unit) {
            ("skip", "") => Some(Self::Skip),
            ("time", "s") => Some(Self::Time(1)),
            ("time", "ms") => Some(Self::Time(1_000)),
            ("time", "us" | "µs") => Some(Self::Time(1_000_000)),
            ("torque", _) => TorqueUnit::from_letters(&letters, unit)
                .ok()
                .map(Self::Torque),
            ("angle", _) => AngleUnit::from_letters(&letters, unit)
                .ok()
                .map(Self::Angle),
            _ => None,
        }
    }

    /// N·m, degrees or seconds in one of its unit.
    fn scale(self) -> f64 {
        let of = |(over, under): (u64, u64)| {
            #[expect(
                clippy::cast_precision_loss,
                reason = "17 digits of a unit's fraction are far more than a reading has"
            )]
            {
                over as f64 / under as f64 / 1_000.0
            }
        };
        match self {
            Self::Time(parts) => 1.0 / f64::from(parts),
            // A thousand mN·m are 1 N·m: not a digit is lost where the unit is the core's own.
            Self::Torque(TorqueUnit::NewtonMeter) | Self::Angle(AngleUnit::Degree) => 1.0,
            Self::Torque(unit) => of(unit.ratio()),
            Self::Angle(unit) => of(unit.ratio()),
            Self::Skip => 0.0,
        }
    }

    /// Whether letters behind a number are this column's own unit.
    fn has_unit(self, letters: &str) -> bool {
        let lower: String = letters
            .chars()
            .filter(|letter| letter.is_alphabetic())
            .flat_map(char::to_lowercase)
            .collect();
        match self {
            Self::Time(parts) => matches!(
                (parts, lower.as_str()),
                (1, "s" | "sec") | (1_000, "ms") | (1_000_000, "us" | "µs")
            ),
            Self::Torque(unit) => TorqueUnit::from_letters(&lower, letters) == Ok(unit),
            Self::Angle(unit) => {
                unit == AngleUnit::Degree && letters == "°"
                    || AngleUnit::from_letters(&lower, letters) == Ok(unit)
            }
            Self::Skip => true,
        }
    }
}

/// Which way a positive reading pulls.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Positive {
    /// Clockwise, as in a trace file.
    #[default]
    Clockwise,
    /// Counter-clockwise.
    CounterClockwise,
    /// Tightening, whatever the thread's hand.
    Tightening,
}

impl Positive {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Clockwise, Self::CounterClockwise, Self::Tightening];

    /// The word a plan uses.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Clockwise => "clockwise",
            Self::CounterClockwise => "counter-clockwise",
            Self::Tightening => "tightening",
        }
    }
}

/// How an instrument prints its readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Format {
    /// The columns in order, by name; empty where the instrument's own header names them.
    pub columns: Vec<String>,
    /// What stands between them; a blank stands for any run of blanks.
    pub separator: char,
    /// Decimals behind a comma instead of a point.
    pub decimal_comma: bool,
    /// Which way a positive reading pulls.
    pub positive: Positive,
    /// Lines a second, where the instrument keeps to one rate and prints no time.
    pub rate_hz: Option<f64>,
    /// Bits a second of a serial port.
    pub baud: u32,
}

impl Default for Format {
    /// The trace file's rows behind a header that the instrument prints.
    fn default() -> Self {
        Self {
            columns: Vec::new(),
            separator: ',',
            decimal_comma: false,
            positive: Positive::Clockwise,
            rate_hz: None,
            baud: BAUD_USUAL,
        }
    }
}

/// A reading as it was printed, in s, N·m and degrees; signs as printed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// The instrument's own time.
    pub time_s: Option<f64>,
    /// Torque.
    pub torque_nm: f64,
    /// Rotation of the tool.
    pub angle_deg: Option<f64>,
}

/// Why a line is no reading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowError {
    /// The column's name, or the place in the line.
    pub column: String,
    /// What stands there.
    pub given: String,
    /// What is allowed there.
    pub allowed: String,
}

impl fmt::Display for RowError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            column,
            given,
            allowed,
        } = self;
        write!(f, "{column}: `{given}`; allowed: {allowed}")
    }
}

impl std::error::Error for RowError {}

/// Reads line after line; the columns are the format's, or those of the header that came.
#[derive(Clone, Debug)]
pub struct LineParser {
    format: Format,
    columns: Vec<(String, Column)>,
}

impl LineParser {
    /// For a format. Columns that have no sense were refused where they were typed.
    #[must_use]
    pub fn new(format: Format) -> Self {
        let columns = columns(format.columns.iter().map(String::as_str)).unwrap_or_default();
        Self { format, columns }
    }

    /// For rows of the trace file, whose header was read already.
    #[must_use]
    pub fn of_trace() -> Self {
        Self::new(Format {
            columns: TRACE_COLUMNS.map(str::to_owned).to_vec(),
            ..Format::default()
        })
    }

    /// The format.
    #[must_use]
    pub const fn format(&self) -> &Format {
        &self.format
    }

    /// Whether the columns are known: rows can be read.
    #[must_use]
    pub fn knows_columns(&self) -> bool {
        !self.columns.is_empty()
    }

    /// Whether lines bring a rotation; `None` as long as no header came.
    #[must_use]
    pub fn has_angle(&self) -> Option<bool> {
        self.has(|column| matches!(column, Column::Angle(_)))
    }

    /// Whether lines bring their time; `None` as long as no header came.
    #[must_use]
    pub fn has_time(&self) -> Option<bool> {
        self.has(|column| matches!(column, Column::Time(_)))
    }

    fn has(&self, is_it: impl Fn(Column) -> bool) -> Option<bool> {
        self.knows_columns()
            .then(|| self.columns.iter().any(|(_, column)| is_it(*column)))
    }

    /// Reads a line; `None` for a blank one, a remark behind `#`, and a header.
    ///
    /// # Errors
    /// [`RowError`] with the first column that does not read.
    pub fn line(&mut self, line: &str) -> Result<Option<Row>, RowError> {
        let text = line.trim_start_matches('\u{feff}').trim();
        if text.is_empty() || text.starts_with('#') {
            return Ok(None);
        }
        if let Some(found) = columns(split(self.format.separator, text)) {
            let is_own = self.format.columns.is_empty()
                || found.iter().map(|(name, _)| name).eq(&self.format.columns);
            if is_own {
                self.columns = found;
                return Ok(None);
            }
            return Err(RowError {
                column: "header".to_owned(),
                given: short(text),
                allowed: format!(
                    "the columns of the plan, `{}`",
                    self.format.columns.join(",")
                ),
            });
        }
        if !self.knows_columns() {
            return Err(RowError {
                column: "header".to_owned(),
                given: short(text),
                allowed: format!(
                    "first a line that names the columns, like `{}`, or `columns` in the plan's [tool.lines]",
                    TRACE_COLUMNS.join(",")
                ),
            });
        }
        self.row(text).map(Some)
    }

    /// Reads a row.
    ///
    /// # Errors
    /// [`RowError`] with the first column that does not read.
    pub fn row(&self, text: &str) -> Result<Row, RowError> {
        let (separator, comma) = (self.format.separator, self.format.decimal_comma);
        let fault = |column: String, given: &str, allowed: String| RowError {
            column,
            given: short(given),
            allowed,
        };
        let names = || {
            let names: Vec<&str> = self.columns.iter().map(|(name, _)| name.as_str()).collect();
            format!("{} columns: {}", names.len(), names.join(","))
        };
        let mut row = Row {
            time_s: None,
            torque_nm: 0.0,
            angle_deg: None,
        };
        let mut fields = split(separator, text);
        for (index, (name, column)) in self.columns.iter().enumerate() {
            let place = || format!("column {} ({name})", index.saturating_add(1));
            let Some(field) = fields.next() else {
                return Err(fault(place(), text, names()));
            };
            let (into, most): (&mut f64, f64) = match column {
                Column::Skip => continue,
                Column::Time(_) => (row.time_s.insert(0.0), f64::INFINITY),
                Column::Torque(_) => (&mut row.torque_nm, f64::from(MAGNITUDE_MAX) / 1_000.0),
                Column::Angle(_) => (
                    row.angle_deg.insert(0.0),
                    f64::from(MAGNITUDE_MAX) / 1_000.0,
                ),
            };
            let Some(value) = number(field, *column, comma) else {
                let allowed = if comma {
                    "a decimal number with a comma, like 12,5 or -0,03"
                } else {
                    "a decimal number with a point, like 12.5 or -0.03"
                };
                return Err(fault(place(), field, allowed.to_owned()));
            };
            *into = value * column.scale();
            if into.abs() > most {
                return Err(fault(place(), field, format!("-{most} to {most}")));
            }
        }
        if fields.next().is_some() {
            let count = split(separator, text).count();
            let mark = if comma {
                "numbers with a decimal comma, not a point"
            } else {
                "numbers with a decimal point, not a comma"
            };
            let allowed = format!("{} columns; {mark}", self.columns.len());
            return Err(fault(format!("{count} columns"), text, allowed));
        }
        Ok(row)
    }
}

/// Whether columns have sense together: exactly one torque, at most one time and one angle.
///
/// # Errors
/// What is wrong with them.
pub fn check_columns(columns: &[Column]) -> Result<(), &'static str> {
    let count = |is_it: fn(&Column) -> bool| columns.iter().filter(|column| is_it(column)).count();
    if count(|column| matches!(column, Column::Torque(_))) != 1 {
        return Err("exactly one torque column");
    }
    if count(|column| matches!(column, Column::Time(_))) > 1 {
        return Err("at most one time column");
    }
    if count(|column| matches!(column, Column::Angle(_))) > 1 {
        return Err("at most one angle column");
    }
    Ok(())
}

/// The columns of a header; none where one of its names is no column, or they have no sense together.
fn columns<'n>(names: impl Iterator<Item = &'n str>) -> Option<Vec<(String, Column)>> {
    let mut found = Vec::new();
    for name in names {
        if found.len() == COLUMNS_MAX {
            return None;
        }
        found.push((name.to_owned(), Column::named(name)?));
    }
    let kinds: Vec<Column> = found.iter().map(|(_, column)| *column).collect();
    check_columns(&kinds).ok()?;
    Some(found)
}

/// The fields of a line, blanks around them taken off.
fn split(separator: char, text: &str) -> impl Iterator<Item = &str> {
    let (blank, other) = if separator == ' ' {
        (Some(text.split_whitespace()), None)
    } else {
        (None, Some(text.split(separator).map(str::trim)))
    };
    blank
        .into_iter()
        .flatten()
        .chain(other.into_iter().flatten())
}

/// A finite decimal number, its own unit behind it or none; `inf`, `nan` and the like are none.
fn number(field: &str, column: Column, comma: bool) -> Option<f64> {
    let mark = if comma { ',' } else { '.' };
    let is_number = |letter: char| {
        letter.is_ascii_digit() || letter == mark || matches!(letter, '+' | '-' | 'e' | 'E')
    };
    let end = field
        .find(|letter| !is_number(letter))
        .unwrap_or(field.len());
    let (digits, unit) = field.split_at_checked(end)?;
    let unit = unit.trim();
    // `12.5 lbf ft` where a comma is the decimal mark is not 12 of something that begins with a point.
    let begins = |first: char| first.is_alphabetic() || matches!(first, '°' | 'µ');
    let is_unit = unit.starts_with(begins)
        && !unit.contains(|letter: char| letter.is_ascii_digit() || letter == ',')
        && column.has_unit(unit);
    if !unit.is_empty() && !is_unit {
        return None;
    }
    let value: Option<f64> = if comma {
        digits.replace(',', ".").parse().ok()
    } else {
        digits.parse().ok()
    };
    value.filter(|value| value.is_finite())
}

/// Enough of a text to recognise it.
pub(crate) fn short(text: &str) -> String {
    let mut start: String = text
        .chars()
        .take(60)
        .filter(|character| !character.is_control())
        .collect();
    if text.chars().count() > 60 {
        start.push('…');
    }
    start
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn parser(columns: &[&str], change: impl FnOnce(&mut Format)) -> LineParser {
        let mut format = Format {
            columns: columns.iter().map(|&name| name.to_owned()).collect(),
            ..Format::default()
        };
        change(&mut format);
        LineParser::new(format)
    }

    fn said(parser: &mut LineParser, line: &str) -> String {
        match parser.line(line) {
            Ok(Some(row)) => format!("{:?} {:.3} {:?}", row.time_s, row.torque_nm, row.angle_deg),
            Ok(None) => "nothing".to_owned(),
            Err(error) => error.to_string(),
        }
    }

    #[test]
    fn the_trace_files_own_header_and_rows_are_the_default() {
        let mut own = parser(&[], |_| {});
        assert!(said(&mut own, "0.1,2,3").starts_with("header: `0.1,2,3`; allowed: first a line"));
        assert_eq!(said(&mut own, "# a remark"), "nothing");
        assert_eq!(said(&mut own, "time_s, torque_Nm, angle_deg\r"), "nothing");
        assert_eq!(
            said(&mut own, "0.5,-1.25,10"),
            "Some(0.5) -1.250 Some(10.0)"
        );
        // An instrument that is switched off and on prints its header again.
        assert_eq!(said(&mut own, "time_s,torque_Nm,angle_deg"), "nothing");
        assert_eq!((own.has_angle(), own.has_time()), (Some(true), Some(true)));
    }

    #[test]
    fn a_header_of_other_columns_is_heeded_where_the_plan_names_none() {
        let mut own = parser(&[], |_| {});
        assert_eq!(said(&mut own, "torque_lbf_ft"), "nothing");
        // 1 lbf·ft = 1.3558179483314004 N·m [NIST SP 811, appendix B.8]
        assert_eq!(said(&mut own, "10"), "None 13.558 None");
        assert_eq!(
            (own.has_angle(), own.has_time()),
            (Some(false), Some(false))
        );
        let mut plan = parser(&["torque_Nm", "angle_deg"], |_| {});
        assert!(said(&mut plan, "torque_lbf_ft,angle_deg").contains("the columns of the plan"));
    }

    #[test]
    fn units_separators_and_decimal_commas() {
        let mut own = parser(
            &["skip", "torque_kgf_m", "angle_turns", "time_ms"],
            |format| {
                format.separator = ';';
                format.decimal_comma = true;
            },
        );
        // 1 kgf·m = 9.80665 N·m, exact [NIST SP 811, appendix B.8].
        assert_eq!(
            said(&mut own, "ch1; 2,0 ;0,25;1500"),
            "Some(1.5) 19.613 Some(90.0)"
        );
        assert!(said(&mut own, "ch1;2.0;0;0").contains("a decimal number with a comma"));
        // One column, the other mark, and the unit behind: not 12 of it.
        let mut comma = parser(&["torque_lbf_ft"], |format| {
            format.separator = ';';
            format.decimal_comma = true;
        });
        for bad in [
            "12.5 lbf ft, 3",
            "12.5 lbf ft",
            "12 lbf ft, 3",
            "12 lbf ft 3",
        ] {
            assert!(
                said(&mut comma, bad).contains("a decimal number with a comma"),
                "{bad}"
            );
        }
        let mut blanks = parser(&["torque_Ncm"], |format| format.separator = ' ');
        assert_eq!(said(&mut blanks, "   +125.5  "), "None 1.255 None");
        let mut tab = parser(&["torque_Nm", "angle_deg"], |format| {
            format.separator = '\t'
        });
        assert_eq!(said(&mut tab, "1.5\t-2"), "None 1.500 Some(-2.0)");
    }

    #[test]
    fn a_unit_behind_the_number_must_be_the_columns_own() {
        let mut own = parser(&["torque_Nm", "angle_deg"], |_| {});
        assert_eq!(said(&mut own, "12.5 N·m, 3°"), "None 12.500 Some(3.0)");
        assert_eq!(said(&mut own, "12.5 Nm, 3 deg"), "None 12.500 Some(3.0)");
        assert!(said(&mut own, "12.5 lbf·ft,3").starts_with("column 1 (torque_Nm): `12.5 lbf·ft`"));
        for bad in [
            "12,5 Nm",
            "12;5 Nm,3",
            "12 N5m,3",
            "OL,3",
            "12.5.6,3",
            "--,3",
            "1e,3",
            "nan,3",
            "inf,3",
            ",3",
            "1 2,3",
            "12",
            "1,2,3",
        ] {
            assert!(said(&mut own, bad).contains("; allowed: "), "{bad}");
        }
    }

    #[test]
    fn columns_without_a_unit_are_none() {
        for bad in [
            "torque",
            "torque_",
            "torque_lb",
            "torque_N",
            "angle",
            "time",
            "time_h",
            "peak_Nm",
            "",
            "Torque_Nm",
        ] {
            assert_eq!(Column::named(bad), None, "{bad}");
        }
        assert!(check_columns(&[Column::Time(1)]).is_err());
        assert!(check_columns(&[Column::Torque(TorqueUnit::NewtonMeter); 2]).is_err());
    }

    proptest! {
        #[test]
        fn no_line_makes_it_panic_and_what_reads_is_within_range(
            lines in prop::collection::vec(".{0,80}", 1..20),
            separator in prop::sample::select(vec![',', ';', ' ', '\t']),
            comma in any::<bool>(),
            named in any::<bool>(),
        ) {
            let columns: &[&str] = if named { &["time_ms", "torque_ozf_in", "angle_deg"] } else { &[] };
            let mut own = parser(columns, |format| {
                format.separator = separator;
                format.decimal_comma = comma;
            });
            for line in lines {
                if let Ok(Some(row)) = own.line(&line) {
                    prop_assert!(row.torque_nm.abs() <= 1e6 && row.torque_nm.is_finite());
                    prop_assert!(row.angle_deg.is_none_or(|angle| angle.abs() <= 1e6));
                }
            }
        }

        #[test]
        fn digits_that_are_printed_are_the_digits_that_are_read(torque in -1_000_000_i32..1_000_000, angle in any::<i16>()) {
            let mut own = parser(&["torque_Nm", "angle_deg"], |_| {});
            let line = format!("{:.3},{}", f64::from(torque) / 1_000.0, angle);
            let row = own.line(&line).ok().flatten().expect("a row");
            let sample = crate::rehearsal::trace_file::sample(row.torque_nm, row.angle_deg.unwrap_or(0.0));
            prop_assert_eq!(sample.torque.millinewton_meters(), torque);
            prop_assert_eq!(sample.rotation.millidegrees(), i32::from(angle) * 1_000);
        }
    }
}
