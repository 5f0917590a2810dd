//! A working sheet as a table of text: read from what any table program writes, and written to be filled in.
//!
//! Comma, semicolon or tab between the cells, whichever the first line has; with commas a cell with a comma in it stands in quotes
//! (RFC 4180). Knows nothing of plans.

use std::fmt;

use super::{Column, Row};
use crate::job::status::telling::quoted;

/// Lines of a table at most.
const LINES_MAX: usize = 20_000;

/// Why a table does not read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TableError {
    /// The line, from 1.
    pub line: usize,
    /// What is wrong, and what is allowed.
    pub why: String,
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.why)
    }
}

/// Reads a table with its names of columns in the first line.
///
/// # Errors
/// [`TableError`] with the line where a column is unknown, missing or named twice, or a row has more cells than the first line.
pub fn read_table(text: &str) -> Result<Vec<Row>, TableError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let first = text.lines().next().unwrap_or_default();
    let delimiter = [b'\t', b';']
        .into_iter()
        .find(|own| first.as_bytes().contains(own))
        .unwrap_or(b',');
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut columns: Vec<Column> = Vec::new();
    let mut rows = Vec::new();
    for (number, record) in reader.records().enumerate() {
        let record = record.map_err(|error| TableError {
            line: line_of(error.position(), number),
            why: "the table does not read".to_owned(),
        })?;
        let line = line_of(record.position(), number);
        let wrong = |why: String| TableError { line, why };
        if columns.is_empty() {
            columns = head(&record).map_err(wrong)?;
            continue;
        }
        if rows.len() >= LINES_MAX {
            return Err(wrong(format!(
                "more than the {LINES_MAX} rows that are read"
            )));
        }
        if record.len() > columns.len()
            && record.iter().skip(columns.len()).any(|own| !own.is_empty())
        {
            return Err(wrong(format!(
                "{} cells, and the first line names {} columns: a cell with a comma in it, such as 48,2, stands in quotes",
                record.len(),
                columns.len()
            )));
        }
        let cells = columns.iter().zip(record.iter());
        rows.push(cells.fold(Row::new(line), |row, (column, cell)| {
            row.with(*column, cell)
        }));
    }
    if columns.is_empty() {
        return Err(TableError {
            line: 1,
            why: format!("it is empty; the first line names the columns: {}", names()),
        });
    }
    Ok(rows)
}

fn line_of(position: Option<&csv::Position>, number: usize) -> usize {
    position
        .and_then(|position| usize::try_from(position.line()).ok())
        .unwrap_or(number + 1)
}

fn names() -> String {
    Column::ALL.map(Column::name).join(", ")
}

fn head(record: &csv::StringRecord) -> Result<Vec<Column>, String> {
    let mut columns: Vec<Column> = Vec::new();
    for name in record {
        let name = name.trim();
        let own = Column::ALL
            .into_iter()
            .find(|own| own.name().eq_ignore_ascii_case(name));
        let Some(own) = own else {
            return Err(format!("`{name}` is no column; allowed are {}", names()));
        };
        if columns.contains(&own) {
            return Err(format!("column `{name}` is named twice"));
        }
        columns.push(own);
    }
    for wanted in [Column::Stage, Column::Value] {
        if !columns.contains(&wanted) {
            return Err(format!("column `{}` is missing", wanted.name()));
        }
    }
    Ok(columns)
}

/// The table of these rows, the names of the columns first.
#[must_use]
pub fn write_table(rows: &[Row]) -> String {
    let mut table = Column::ALL.map(Column::name).join(",");
    table.push('\n');
    for row in rows {
        let cells = Column::ALL.map(|column| quoted(row.cell(column)));
        table.push_str(&cells.join(","));
        table.push('\n');
    }
    table
}
