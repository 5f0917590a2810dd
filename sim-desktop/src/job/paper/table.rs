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
/// [`TableError`] with the line where a column is unknown, missing or named twice, a row has more cells than the first line, or a quote
/// is not closed.
pub fn read_table(text: &str) -> Result<Vec<Row>, TableError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let first = text.lines().next().unwrap_or_default();
    let between = ['\t', ';'].into_iter().find(|own| first.contains(*own));
    let mut columns: Vec<Column> = Vec::new();
    let mut rows = Vec::new();
    for record in records(text, between.unwrap_or(',')) {
        let Record { line, cells } = record?;
        let wrong = |why: String| TableError { line, why };
        if columns.is_empty() {
            columns = head(&cells).map_err(wrong)?;
            continue;
        }
        if rows.len() >= LINES_MAX {
            return Err(wrong(format!(
                "more than the {LINES_MAX} rows that are read"
            )));
        }
        if cells.iter().skip(columns.len()).any(|own| !own.is_empty()) {
            return Err(wrong(format!(
                "{} cells, and the first line names {} columns: a cell with a comma in it, such as 48,2, stands in quotes",
                cells.len(),
                columns.len()
            )));
        }
        let cells = columns.iter().zip(cells);
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

/// One row of cells, with the line that it begins on.
struct Record {
    line: usize,
    cells: Vec<String>,
}

/// The rows of a table, the cells apart by `between`; what stands in quotes may have that, ends of lines and doubled quotes in it
/// [RFC 4180]. Empty lines are passed over.
fn records(text: &str, between: char) -> impl Iterator<Item = Result<Record, TableError>> {
    let mut rest = text.chars().peekable();
    let mut line = 1;
    std::iter::from_fn(move || {
        loop {
            rest.peek()?;
            let begins = line;
            let mut cells = vec![String::new()];
            let mut is_quoted = false;
            while let Some(letter) = rest.next() {
                let cell = cells.last_mut()?;
                match letter {
                    '"' if is_quoted && rest.peek() == Some(&'"') => {
                        rest.next();
                        cell.push('"');
                    }
                    '"' if is_quoted => is_quoted = false,
                    '"' if cell.is_empty() => is_quoted = true,
                    '\n' => {
                        line = usize::saturating_add(line, 1);
                        if !is_quoted {
                            break;
                        }
                        cell.push('\n');
                    }
                    '\r' if !is_quoted => {}
                    letter if letter == between && !is_quoted => cells.push(String::new()),
                    letter => cell.push(letter),
                }
            }
            if is_quoted {
                return Some(Err(TableError {
                    line: begins,
                    why: "a cell begins with a quote that is not closed".to_owned(),
                }));
            }
            if cells.iter().any(|cell| !cell.is_empty()) {
                let line = begins;
                return Some(Ok(Record { line, cells }));
            }
        }
    })
}

fn names() -> String {
    Column::ALL.map(Column::name).join(", ")
}

fn head(cells: &[String]) -> Result<Vec<Column>, String> {
    let mut columns: Vec<Column> = Vec::new();
    for name in cells {
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
